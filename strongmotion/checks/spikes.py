"""Spikes: single samples that no ground motion made."""

from __future__ import annotations

import numpy as np
from scipy.ndimage import maximum_filter1d

from ..record import Component, Finding

__all__ = ["spikes"]

STANDS_OUT = 5.0
"""A spike's misfit against the largest within half a second on both sides: common practice, without a source."""

NEAREST = 4
"""Samples on each side whose own misfit a spike spoils."""

LEAST = 0.05
"""A spike is worth a word from this part of the record's peak."""


def spikes(component: Component) -> Finding | None:
    """Single samples far from what their four neighbours let expect, where the samples about them fit."""
    values = component.samples.astype(np.float64)
    if len(values) < 32:
        return None
    misfit = np.zeros(len(values))
    inner = values[2:-2]
    # A cubic through the four neighbours.
    misfit[2:-2] = np.abs(inner - (4 * (values[1:-3] + values[3:-1]) - (values[:-4] + values[4:])) / 6)
    half = max(2 * NEAREST, round(0.5 / component.dt))
    own = 2 * NEAREST + 1
    # The largest misfit on either side of the nearest samples, which the spike itself spoils.
    side = half - NEAREST
    largest = maximum_filter1d(misfit, side, mode="nearest")
    shift = NEAREST + 1 + side // 2
    padded = np.pad(largest, shift, mode="edge")
    around = np.maximum(padded[: len(values)], padded[2 * shift :])
    peak = float(np.abs(values - np.median(values)).max())
    locally = maximum_filter1d(misfit, own, mode="nearest")
    found = np.flatnonzero((misfit == locally) & (misfit > STANDS_OUT * around) & (misfit > LEAST * peak))
    if found.size == 0:
        return None
    times = ", ".join(f"{at * component.dt:.3f}" for at in found[:5])
    return Finding(
        "spikes", "doubt",
        what=f"{found.size} single sample{'s' * (found.size != 1)} stand{'s' * (found.size == 1)} out from all about",
        effect="PGA and short-period spectra may be those of the spike; each leaves a jump in velocity",
        remedy="look at the samples; mend them at the source, or use another instrument",
        component=component.name,
        where=f"{times} s" + (" and more" if found.size > 5 else ""),
        confidence=0.9,
    )  # fmt: skip
