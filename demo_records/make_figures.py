"""Draw the pictures of the README and the guide from the demo's records, and write the guide's gallery.

``python demo_records/make_figures.py [FOLDER]`` draws the figures. With ``--screens`` it also takes pictures of the
pages and of the review desk, for which it needs Chromium, its driver and the extra ``test``.
"""

from __future__ import annotations

import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import strongmotion as sm
from strongmotion.event import study_archive
from strongmotion.report import draw, save, write_event, write_report

HERE = Path(__file__).parent
GALLERY = HERE.parent / "strongmotion" / "guide" / "gallery.md"

FIGURES = {
    "motion": ("quay", "Acceleration, velocity and displacement", "The corrected motion of Old Quay with its peaks."),
    "spectrum": ("quay", "Response spectra", "Periods outside the usable band are faded."),
    "tripartite": ("quay", "Response spectra on four axes", "One curve shows PSA, PSV and SD."),
    "rotation": ("quay", "Spectra in all horizontal directions", "RotD00, RotD50 and RotD100 of the two horizontals."),
    "processing": ("fern", "Signal, noise and the band kept", "How the corner frequencies of Fern Gully were chosen."),
    "offset": ("salt", "Permanent displacement", "Displacement at Salt Pans with and without baseline correction."),
    "raw": ("bell", "Raw and corrected acceleration", "Bell Point is clipped, so its peaks are lower bounds."),
    "husid": ("quay", "Build-up of Arias intensity", "The significant duration is read from this curve."),
    "particle": ("salt", "Path of the ground", "Displacement at Salt Pans in three planes."),
}  # fmt: skip
"""By figure: the record, a title and what it shows."""

EVENT = {
    "map": ("Location of the earthquake", "Epicentre with its 95 % region, and the stations."),
    "section": ("Record section", "Acceleration by distance, with the expected times of P and S."),
    "shaking": ("Shaking against distance", "Peaks of the stations compared with a published relation."),
}
SCREENS = {
    "desk": ("The review desk", "Drag a corner or the onset; displacement, spectra and the table update immediately."),
    "record_page": (
        "The page of a record",
        "The verdict comes first, then the motion, which can be zoomed, and the numbers.",
    ),
    "archive_page": ("The page of an archive", "Each record with its state and its worst finding."),
}
SUITE = ("A suite for a target", "Seven far-field pairs, scaled, with their mean and the target spectrum.")


def main(folder: Path) -> None:
    """Draw all figures into `folder`."""
    folder.mkdir(parents=True, exist_ok=True)
    results = {
        path.stem: sm.process(sm.read(path)) for path in sorted(HERE.glob("*.*")) if path.suffix in (".csv", ".txt")
    }
    for figure, (record, _, _) in FIGURES.items():
        save(draw(results[record], figure), folder / f"{record}_{figure}.png")
    with tempfile.TemporaryDirectory() as place:
        archive = sm.Archive(Path(place) / "archive", create=True)
        for result in results.values():
            archive.add(result)
        write_event(study_archive(archive), Path(place) / "event")
        for figure in EVENT:
            shutil.copy(Path(place) / "event" / f"{figure}.png", folder / f"event_{figure}.png")


def screens(folder: Path) -> None:
    """Take pictures of the desk and of two pages into `folder`."""
    from selenium import webdriver
    from selenium.webdriver.support.ui import WebDriverWait

    options = webdriver.ChromeOptions()
    options.binary_location = shutil.which("chromium") or ""
    for argument in ("headless", "no-sandbox", "disable-gpu", "hide-scrollbars", "window-size=1440,1150"):
        options.add_argument(f"--{argument}")
    with tempfile.TemporaryDirectory() as place:
        archive = Path(place) / "archive"
        subprocess.run([sys.executable, "-m", "strongmotion.cli", "process", str(HERE), "-o", str(archive)], check=True)
        pages = write_report(sm.Archive(archive), Path(place) / "pages")
        code = "import sys; from strongmotion.review import review; review(sys.argv[1], 'A. Reader', browser=False)"
        run = subprocess.Popen([sys.executable, "-u", "-c", code, str(archive)], stdout=subprocess.PIPE, text=True)
        assert run.stdout is not None
        link = run.stdout.readline().split()[-1]
        browser = webdriver.Chrome(options=options, service=webdriver.ChromeService(shutil.which("chromedriver") or ""))
        try:
            browser.get(link)
            ready = (
                "return [...(Bokeh.documents[0]?._all_models.values() ?? [])]"
                ".some(m => m.name === 'models' && m.source.data.method.length > 1)"
            )
            WebDriverWait(browser, 60).until(lambda its: its.execute_script(ready))
            browser.find_element("tag name", "body").send_keys("js")
            time.sleep(5)  # the whole job of the second record
            browser.save_screenshot(str(folder / "screen_desk.png"))
            salt = next(path for path in pages.pages if "SALT" in path.name)
            for path, name in ((salt, "record_page"), (pages.index, "archive_page")):
                browser.get(path.as_uri())
                browser.save_screenshot(str(folder / f"screen_{name}.png"))
        finally:
            browser.quit()
            run.terminate()


def gallery() -> str:
    """Return the guide's page of all pictures, Markdown."""
    shown = [(f"screen_{name}", *said) for name, said in SCREENS.items()]
    shown += [(f"{record}_{name}", title, says) for name, (record, title, says) in FIGURES.items()]
    shown += [(f"event_{name}", *said) for name, said in EVENT.items()] + [("far_field_suite", *SUITE)]
    parts = [
        f"## {title}\n\n{says}\n\n![{title}](../../demo_records/figures/{name}.png)\n" for name, title, says in shown
    ]
    head = (
        "# Gallery\n\nPictures of the demo, whose earthquake, places and stations are invented;\n"
        "`python demo_records/make_figures.py --screens` makes them again.\n"
    )
    return "\n".join([head, *parts])


if __name__ == "__main__":
    given = [argument for argument in sys.argv[1:] if argument != "--screens"]
    where = Path(given[0]) if given else HERE / "figures"
    main(where)
    if "--screens" in sys.argv:
        screens(where)
        GALLERY.write_text(gallery(), encoding="utf-8")
