"""The interval between counts: no record is quieter than rounding to them leaves it.

Rounding to multiples of an interval q adds noise of variance q²/12, white where the motion crosses many of them (Widrow
& Kollár, 2008; from memory). Where it does not, as before the shaking at a quiet site, all samples may be one and the
same count: the record looks free of noise, and its zero line is that count, off by up to half an interval.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from ..foundation.units import COUNTS
from ..record import Component

__all__ = ["count_interval", "rounding_offset"]

OFF_LATTICE = 0.02
"""Steps between samples are multiples of one interval where they are within this fraction of it."""

FARTHEST = 1000.0
"""Steps of more intervals than this are not looked at: printed digits may round them."""


def count_interval(component: Component) -> float:
    """Return the interval between the values that samples can take, m/s²; 0 where they can take any.

    Parameters
    ----------
    component : Component
        Whole numbers are multiples of the largest number that divides all their steps, which is not 1 where counts
        were shifted or scaled. Of other numbers the least step counts, if the others are multiples of it.

    Examples
    --------
    >>> count_interval(Component("H1", np.array([0, 4, 12, -8]), 0.01, "counts", sensitivity=200.0))
    0.02
    >>> count_interval(Component("H1", np.array([0.01, 0.03, 0.02, 0.07]), 0.01)).__round__(12)
    0.01
    >>> count_interval(Component("H1", np.random.default_rng(1).normal(size=100), 0.01))
    0.0
    """
    samples, scale = component.samples, abs(component.scale)
    if samples.dtype.kind in "iu":
        steps = np.abs(np.diff(samples.astype(np.int64)))
        return float(max(np.gcd.reduce(steps), component.unit == COUNTS)) * scale
    steps = np.abs(np.diff(samples.astype(np.float64)))
    # What rounding of floating-point numbers leaves is no step.
    steps = steps[steps > 1e-6 * float(np.abs(samples).max(initial=0.0))]
    if steps.size < 2:
        return 0.0
    ratios = steps / steps.min()
    ratios = ratios[ratios < FARTHEST]
    on_lattice = np.abs(ratios - np.round(ratios)) <= OFF_LATTICE
    return float(steps.min()) * scale if on_lattice.mean() > 0.99 and len(np.unique(np.round(ratios))) > 1 else 0.0


def rounding_offset(values: NDArray[np.float64], interval: float) -> float:
    """Return the standard error, m/s², that rounding leaves of the mean of quiet samples.

    Without noise it is that of a number rounded to whole intervals q: q / sqrt(12). Noise of standard deviation s
    makes the rounded samples average out: the first harmonic of the sawtooth of rounding errors is held down by
    exp(-2 pi² s²/q²) (Widrow & Kollár, 2008; from memory).

    Parameters
    ----------
    values : ndarray, shape (n,)
        Samples of the quiet window, m/s².
    interval : float
        As from `count_interval`.
    """
    if interval == 0.0 or len(values) == 0:
        return 0.0
    # The rounding's own variance is part of what is seen.
    variance = max(float(np.var(values)) - interval**2 / 12.0, 0.0)
    return interval / np.sqrt(12.0) * float(np.exp(-2.0 * np.pi**2 * variance / interval**2))
