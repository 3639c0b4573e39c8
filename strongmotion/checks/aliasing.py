"""Aliasing: motion above the Nyquist frequency, folded back where no filter took it out before sampling."""

from __future__ import annotations

import numpy as np
from scipy.fft import next_fast_len, rfft

from ..record import Component, Finding
from ._prepared import prepared

__all__ = ["aliasing"]

LARGE = 0.05
"""Amplitude next to the Nyquist frequency, as a part of the largest, from which folded motion would show in peaks."""

FLAT = 0.5
"""Amplitude there as a part of that at two thirds of it: a filter before sampling leaves far less."""

FEWEST = 64
"""Samples of strong shaking that are looked at."""

ABOVE_NOISE = 3.0
"""Both, and this ratio to the noise of the quietest second, are common practice, without a source."""


def aliasing(component: Component) -> Finding | None:
    """Say where the spectrum of the strong shaking does not fall towards the Nyquist frequency.

    Examples
    --------
    >>> from dataclasses import replace
    >>> from strongmotion import read
    >>> good = read("demo_records/quay.csv")["H1"]
    >>> aliasing(replace(good, samples=good.samples[::8], dt=8 * good.dt)).name
    'aliasing'
    """
    seen = prepared(component)
    values = seen.values
    grown = np.cumsum(values**2)
    first, last = np.searchsorted(grown, (0.05 * grown[-1], 0.95 * grown[-1]))
    strong = values[first:last]
    if len(strong) < FEWEST:
        return None
    window = np.hanning(len(strong))
    power = np.abs(rfft((strong - strong.mean()) * window, next_fast_len(len(strong), real=True))) ** 2
    bands = np.array([band.mean() for band in np.array_split(power, 20)])
    top, beside, noise = bands[18:].mean(), bands[12:14].mean(), seen.noise**2 * (window**2).sum()
    if top == 0.0 or top < LARGE**2 * bands.max() or top < FLAT**2 * beside or top < ABOVE_NOISE**2 * noise:
        return None
    nyquist = 0.5 / component.dt
    return Finding(
        "aliasing", "note",
        what=f"the spectrum of the shaking does not fall towards the Nyquist frequency of {nyquist:g} Hz: "
        f"it is still {np.sqrt(top / bands.max()):.0%} of its maximum there",
        effect="motion of higher frequency may be aliased; PGA and spectra at the shortest periods may be wrong",
        remedy="ask whether the instrument filters before it samples; look for the record at a higher rate",
        component=component.name,
        span=(first * component.dt, last * component.dt),
        values={"nyquist_hz": nyquist, "amplitude_to_largest": float(np.sqrt(top / bands.max()))},
        confidence=0.5,
    )  # fmt: skip
