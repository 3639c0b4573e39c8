"""How long the page of a long record takes, beside a bare Matplotlib picture of the same three traces."""

from __future__ import annotations

import io
import time
from collections.abc import Callable

import numpy as np
from matplotlib.figure import Figure
from scipy.signal import butter, sosfilt

from strongmotion import Component, Record, Result, Station, process
from strongmotion.report import record_page

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
