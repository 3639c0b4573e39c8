"""How long pages take: that of a long record, beside a bare Matplotlib picture, and that of an archive in a browser."""

from __future__ import annotations

import io
import shutil
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pandas as pd
from matplotlib.figure import Figure
from scipy.signal import butter, sosfilt

from strongmotion import Component, Record, Result, Station, process
from strongmotion.report import archive_page, record_page

DURATION, RATE = 600.0, 200.0
ROUNDS = 7


def long_record() -> Result:
    """Process 600 s of noise in the band of strong shaking, which swells and dies away after a minute of quiet."""
    samples = round(DURATION * RATE)
    after = np.clip(np.arange(samples) / RATE - 60.0, 0.0, None) / 60.0
    generator = np.random.default_rng(5)
    band = butter(2, (0.3, 20.0), "bandpass", fs=RATE, output="sos")
    parts = []
    for name in ("H1", "H2", "V"):
        noise = sosfilt(band, generator.normal(size=samples))
        shaking = noise / noise.std() * after * np.exp(1.0 - after)
        parts.append(Component(name, shaking + generator.normal(0.0, 1e-3, samples), 1 / RATE))
    return process(Record(tuple(parts), Station("LONG", "XX", name="Long shaking")))


def bare(result: Result, kind: str) -> bytes:
    figure = Figure()
    for axes, motion in zip(figure.subplots(3, 1), result.motion.values(), strict=True):
        own = motion.unpadded()
        axes.plot(own.time, own.acceleration)
    content = io.BytesIO()
    figure.savefig(content, format=kind)
    return content.getvalue()


def shortest(action: Callable[[], object]) -> float:
    times = []
    for _ in range(ROUNDS):
        begun = time.perf_counter()
        action()
        times.append(time.perf_counter() - begun)
    return min(times)


def invented_catalogue(records: int) -> pd.DataFrame:
    """Return the catalogue of an archive of many invented records."""
    generator = np.random.default_rng(4)
    codes = [f"S{number:05d}" for number in range(records)]
    return pd.DataFrame(
        {
            "record": [f"XX.{code}_20310417T032627" for code in codes], "station": codes,
            "latitude_deg": generator.uniform(-48, -46, records),
            "longitude_deg": generator.uniform(-126, -124, records),
            "start": pd.Timestamp("2031-04-17", tz="UTC"), "pga_H1_m_s2": generator.lognormal(size=records),
            "pgv_H1_m_s": generator.lognormal(size=records),
            "longest_usable_period_s": generator.uniform(2, 20, records),
            "worst_finding": "note", "state": "automatic",
            "version": [f"1-{number:08x}" for number in generator.integers(0, 2**32, records)],
        }
    )  # fmt: skip


def page_of(catalogue: pd.DataFrame) -> str:
    return archive_page(catalogue, links={record: f"records/{record}.html" for record in catalogue["record"]})


def in_browser(records: int) -> None:
    """Print how long Chromium takes to open, sort and search the page of an archive."""
    if shutil.which("chromedriver") is None:
        print("no chromedriver is installed: the archive's page was not opened")
        return
    from selenium import webdriver
    from selenium.webdriver.common.by import By

    options = webdriver.ChromeOptions()
    for argument in ("headless", "no-sandbox", "disable-gpu"):
        options.add_argument(f"--{argument}")
    service = webdriver.ChromeService(shutil.which("chromedriver") or "")
    driver = webdriver.Chrome(options=options, service=service)
    try:
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / "index.html"
            path.write_text(page_of(invented_catalogue(records)), encoding="utf-8")
            begun = time.perf_counter()
            driver.get(path.as_uri())
            while not driver.execute_script("return document.querySelector('.tools[hidden]') === null"):
                time.sleep(0.01)
            opened = time.perf_counter() - begun
            took = {}
            clock = "const begun = performance.now(); {} document.body.offsetHeight; return performance.now() - begun;"
            for button in driver.find_elements(By.CSS_SELECTOR, "#table thead button"):
                took[button.text] = driver.execute_script(clock.format("arguments[0].click();"), button)
            search = (
                "const filter = document.getElementById('filter'); filter.value = 'S4242';"
                "filter.dispatchEvent(new Event('input'));"
            )
            searched = driver.execute_script(clock.format(search))
            slowest = max(took, key=lambda name: took[name])
            print(
                f"page of {records} records: {path.stat().st_size / 1e6:.1f} MB, opened in {opened:.2f} s, "
                f"sorted in {took[slowest] / 1000:.2f} s at most ({slowest}), searched in {searched / 1000:.2f} s"
            )
    finally:
        driver.quit()


def main() -> None:
    result = long_record()
    page = shortest(lambda: record_page(result))
    size = len(record_page(result).encode()) / 1e6
    png, svg = (shortest(lambda kind=kind: bare(result, kind)) for kind in ("png", "svg"))
    print(
        f"page of {DURATION:g} s at {RATE:g} Hz, 3 components: {page:.3f} s, {size:.2f} MB; bare savefig of its "
        f"acceleration: PNG {png:.3f} s, the page {page / png:.2f} times as long; "
        f"SVG {svg:.3f} s, {page / svg:.2f} times"
    )
    in_browser(100_000)
