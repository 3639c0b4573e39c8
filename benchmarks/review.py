"""How long the review desk takes, from rest, from an event in the browser to the picture redrawn."""

from __future__ import annotations

import shutil
import statistics
import subprocess
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path

import numpy as np
from scipy.signal import butter, sosfilt

from strongmotion import Archive, Component, Record, Result, Station, process

SIZES = ((16_000, 200.0), (120_000, 200.0), (300_000, 500.0))
CHANGES = 15

MEASURE = """
const done = arguments[arguments.length - 1], wanted = [...arguments];
const named = name => [...Bokeh.documents[0]._all_models.values()].filter(model => model.name === name).at(-1);
const span = named('low_cut'), whole = named('response').renderers.find(one => one.name === 'psa').data_source;
const plot = named('displacement-H1');
const source = plot.renderers.find(renderer => renderer.name === 'new').data_source;
const begin = () => {
if (whole.data.T.length < 40) { setTimeout(begin, 100); return }  // the whole job of the change before is not done
const begun = performance.now();
const answered = () => { source.properties.data.change.disconnect(answered);
  requestAnimationFrame(() => requestAnimationFrame(() => done(performance.now() - begun))) };
source.properties.data.change.connect(answered);
if (wanted[0] === 'change') span.location = wanted[1];
else plot.x_range.setv({start: wanted[1], end: wanted[1] + wanted[2]});
};
begin();
"""


def shaking(samples: int, rate: float) -> Result:
    """Process noise in the band of strong shaking, which swells and dies away after a fifth of quiet."""
    time = np.arange(samples) / rate
    length = samples / rate
    after = np.clip(time - 0.2 * length, 0.0, None) / (0.08 * length)
    generator = np.random.default_rng(5)
    band = butter(2, (0.3, 20.0), "bandpass", fs=rate, output="sos")
    parts = []
    for name in ("H1", "H2", "V"):
        noise = sosfilt(band, generator.normal(size=samples))
        samples_of_it = noise / noise.std() * after * np.exp(1.0 - after) + generator.normal(0.0, 1e-3, samples)
        parts.append(Component(name, samples_of_it, 1 / rate))
    return process(Record(tuple(parts), Station("LONG", "XX", name="Long shaking")))


def times(result: Result) -> dict[str, list[float]]:
    """Return the times, s, from moving the low-cut, and from moving the view, to two frames after the new traces."""
    from selenium import webdriver
    from selenium.webdriver.support.ui import WebDriverWait

    with tempfile.TemporaryDirectory() as folder:
        archive = Archive(Path(folder) / "archive", create=True)
        archive.add(result)
        link, stop = serve(archive)
        options = webdriver.ChromeOptions()
        options.binary_location = shutil.which("chromium") or ""
        for argument in ("headless", "no-sandbox", "disable-gpu", "disable-dev-shm-usage", "window-size=1600,1200"):
            options.add_argument(f"--{argument}")
        browser = webdriver.Chrome(options=options, service=webdriver.ChromeService(shutil.which("chromedriver") or ""))
        try:
            browser.set_script_timeout(60)
            browser.get(link)
            ready = (
                "return [...(Bokeh.documents[0]?._all_models.values() ?? [])]"
                ".some(m => m.name === 'models' && m.source.data.method.length > 1)"
            )
            WebDriverWait(browser, 60).until(lambda its: its.execute_script(ready))
            corners = np.geomspace(0.06, 0.3, CHANGES)
            changes = [browser.execute_async_script(MEASURE, "change", float(corner)) / 1e3 for corner in corners]
            length = result.record.duration
            begins = np.linspace(0.0, 0.6 * length, CHANGES)
            views = [browser.execute_async_script(MEASURE, "view", float(b), 0.3 * length) / 1e3 for b in begins]
        finally:
            browser.quit()
            stop()
    return {"a change": changes, "a move of the view": views}


def serve(archive: Archive) -> tuple[str, Callable[[], None]]:
    """Serve the desk from a process of its own, as the command does; return the link, and what ends it."""
    code = "import sys; from strongmotion.review import review; review(sys.argv[1], 'A. Reader', browser=False)"
    run = subprocess.Popen([sys.executable, "-u", "-c", code, str(archive.folder)], stdout=subprocess.PIPE, text=True)
    assert run.stdout is not None
    return run.stdout.readline().split()[-1], run.terminate


def main() -> None:
    if not (shutil.which("chromium") and shutil.which("chromedriver")):
        print("review: needs Chromium and its driver")
        return
    for samples, rate in SIZES:
        for what, seconds in times(shaking(samples, rate)).items():
            print(
                f"review, 3 x {samples} samples: from {what} to the picture redrawn {statistics.median(seconds):.3f} s "
                f"(median of {len(seconds)}), longest {max(seconds):.3f} s"
            )
