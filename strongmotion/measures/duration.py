"""Significant duration: the time over which most of the Arias intensity arrives (Trifunac & Brady, 1975)."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from ..errors import InputError
from .energy import arias_history

__all__ = ["significant_duration"]


def significant_duration(
    acceleration: NDArray[np.float64], dt: float, start: float = 0.05, end: float = 0.95
) -> tuple[float, float]:
    """Return when the Arias intensity reaches two fractions of its final value.

    Parameters
    ----------
    acceleration : ndarray, shape (n,)
        m/s².
    dt : float
        Sampling interval, s.
    start, end : float
        Fractions; 0.05 and 0.95, or 0.05 and 0.75, are the usual ones.

    Returns
    -------
    begin, duration : float
        s, the first after the first sample; both 0 for a motion that is zero throughout.

    Raises
    ------
    InputError
        The fractions are not 0 <= start < end <= 1.

    Examples
    --------
    A sinusoid of constant amplitude: 0.9 of its length.

    >>> shaking = np.sin(2 * np.pi * np.arange(10001) * 0.001)
    >>> round(significant_duration(shaking, 0.001)[1], 2)
    9.0
    """
    if not 0.0 <= start < end <= 1.0:
        raise InputError(f"fractions {start} and {end} must satisfy 0 <= start < end <= 1")
    history = arias_history(acceleration, dt)
    if history[-1] == 0.0:  # motionless
        return 0.0, 0.0
    begin, finish = (_reached(history, fraction * history[-1]) * dt for fraction in (start, end))
    return begin, finish - begin


def _reached(history: NDArray[np.float64], level: float) -> float:
    """Return the sample, with its fraction, at which a history that never falls first reaches `level`."""
    after = max(1, int(np.searchsorted(history, level)))
    rise = history[after] - history[after - 1]
    return after - 1 + (float((level - history[after - 1]) / rise) if rise > 0 else 0.0)
