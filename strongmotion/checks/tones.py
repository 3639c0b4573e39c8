"""Tones: mains or machine frequencies in the quiet part of the record."""

from __future__ import annotations

import numpy as np
from scipy.ndimage import median_filter

from ..record import Component, Finding

__all__ = ["tone"]

WINDOW = 4.0
"""s of the quietest part that are looked at."""

STANDS_OUT = 10.0
"""Amplitude of a line against the median about it; of noise alone the largest of a thousand stays below four."""


def tone(component: Component) -> Finding | None:
    """One narrow line stands far above the spectrum about it, in the quietest seconds.

    A line at the Nyquist frequency is no tone: it is named ``alternating samples``.

    Examples
    --------
    >>> from dataclasses import replace
    >>> from strongmotion import read
    >>> good = read("demo_records/quay.csv")["H1"]
    >>> hum = 3000 * np.sin(2 * np.pi * 50 * good.dt * np.arange(len(good)))
    >>> tone(good) is None, tone(replace(good, samples=good.samples + hum)).name
    (True, 'tone')
    """
    n = round(WINDOW / component.dt)
    values = component.samples.astype(np.float64)
    if len(values) < 2 * n or n < 64:
        return None
    pieces = values[: len(values) // n * n].reshape(-1, n)
    quietest = pieces[np.argmin(np.diff(pieces, axis=1).std(axis=1))]
    amplitude = np.abs(np.fft.rfft((quietest - quietest.mean()) * np.hanning(n)))
    usual = median_filter(amplitude, 41, mode="reflect")
    ratio = amplitude / np.maximum(usual, 1e-12 * max(float(amplitude.max()), 1e-300))
    ratio[: round(2.0 * WINDOW)] = 0.0  # slow motion below 2 Hz is no tone
    at = int(np.argmax(ratio))
    if ratio[at] < STANDS_OUT or not usual[at] > 0:
        return None
    frequency = at / (n * component.dt)
    if at >= n // 2 - 1:
        return Finding(
            "alternating samples", "note",
            what=f"alternate samples are offset: a line at the Nyquist frequency of {frequency:.1f} Hz is "
            f"{ratio[at]:.0f} times the noise around it",
            effect="two alternating converters differ, or a higher tone is aliased; weak motion is affected",
            remedy="set filter.high_cut below it",
            component=component.name,
            values={"frequency_hz": float(frequency), "ratio_to_noise": float(ratio[at])},
            confidence=0.7,
        )  # fmt: skip
    return Finding(
        "tone", "note",
        what=f"a steady tone of {frequency:.1f} Hz is {ratio[at]:.0f} times the noise around it",
        effect="weak motion and short-period spectra near this frequency come from the mains or a machine",
        remedy="set filter.high_cut below it if it matters",
        component=component.name,
        values={"frequency_hz": float(frequency), "ratio_to_noise": float(ratio[at])},
        confidence=0.8,
    )  # fmt: skip
