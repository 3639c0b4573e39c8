"""Measures of the energy in a motion: Arias intensity and cumulative absolute velocity.

Acceleration is taken as linear between samples, and each integral over a step is exact for it.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from ..spectra.response import signal
from ..units import G

__all__ = ["arias_history", "arias_intensity", "cumulative_absolute_velocity"]


def arias_history(acceleration: NDArray[np.float64], dt: float) -> NDArray[np.float64]:
    """Return the build-up of Arias intensity, pi/(2 g) times the integral of a² (Arias, 1970).

    Parameters
    ----------
    acceleration : ndarray, shape (n,)
        m/s².
    dt : float
        Sampling interval, s.

    Returns
    -------
    ndarray, shape (n,)
        m/s; begins at 0, never falls, and ends at the Arias intensity.
    """
    acceleration = signal("acceleration", acceleration)
    before, after = acceleration[:-1], acceleration[1:]
    history = np.zeros(len(acceleration))
    np.cumsum((before * before + before * after + after * after) * (np.pi * dt / (6.0 * G)), out=history[1:])
    return history


def arias_intensity(acceleration: NDArray[np.float64], dt: float) -> float:
    """Return the Arias intensity, m/s (Arias, 1970).

    Examples
    --------
    A sinusoid of amplitude A over whole cycles of duration D: pi A² D / (4 g).

    >>> time = np.arange(10001) * 0.001
    >>> round(arias_intensity(2.0 * np.sin(2 * np.pi * time), 0.001) / (np.pi * 4.0 * 10.0 / (4 * G)), 4)
    1.0
    """
    return float(arias_history(acceleration, dt)[-1])


def cumulative_absolute_velocity(acceleration: NDArray[np.float64], dt: float) -> float:
    """Return the cumulative absolute velocity, the integral of |a|, m/s (EPRI, 1988).

    Examples
    --------
    A sinusoid of amplitude A over whole cycles of duration D: 2 A D / pi.

    >>> time = np.arange(10001) * 0.001
    >>> round(cumulative_absolute_velocity(2.0 * np.sin(2 * np.pi * time), 0.001) / (2 * 2.0 * 10.0 / np.pi), 4)
    1.0
    """
    acceleration = signal("acceleration", acceleration)
    before, after = acceleration[:-1], acceleration[1:]
    span = np.abs(before) + np.abs(after)
    # Where a step crosses zero the two triangles have area h (a0² + a1²) / (2 (|a0| + |a1|)).
    crossed = (before * before + after * after) / np.where(span > 0, span, 1.0)
    return float(np.where(before * after < 0, crossed, span).sum() * 0.5 * dt)
