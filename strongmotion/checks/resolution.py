"""Quantisation: too few counts to draw the motion."""

from __future__ import annotations

import numpy as np

from ..record import Component, Finding
from ._prepared import prepared

__all__ = ["coarse_quantisation"]

FEW, TOO_FEW = 128, 32
"""Counts in the peak below which rounding is worth a note, and a doubt: at 32 it is 1.6 % of the peak either way."""


def coarse_quantisation(component: Component) -> Finding | None:
    """Say where the peak spans but a few of the record's own least steps.

    Examples
    --------
    >>> from dataclasses import replace
    >>> from strongmotion import read
    >>> good = read("demo_records/quay.csv")["H1"]
    >>> coarse_quantisation(replace(good, samples=good.samples // 20_000 * 20_000)).what
    'the peak is only 14 times the smallest step between samples'
    """
    seen = prepared(component)
    values, steps = seen.values, seen.steps
    if not steps.any():
        return None
    counts = float(np.abs(values).max() / steps[steps > 1e-9 * steps.max()].min())
    if counts >= FEW:
        return None
    return Finding(
        "coarse quantisation", "doubt" if counts < TOO_FEW else "note",
        what=f"the peak is only {counts:.0f} times the smallest step between samples",
        effect=f"every sample is rounded to {100 / counts:.2g} % of the peak; weak motion is lost in it",
        remedy="look for the record at full resolution",
        component=component.name,
        values={"steps_in_peak": float(counts)},
        confidence=0.9,
    )  # fmt: skip
