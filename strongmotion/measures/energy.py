"""Measures of the energy in a motion: Arias intensity, cumulative absolute velocity and their kin.

Motion is taken as linear between samples, and each integral over a step is exact for it. A single sample spans no time,
so each integral of it is 0.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from ..foundation.arrays import non_negative, positive, signal
from ..foundation.units import G
from ._history import duration_between, square_history

__all__ = [
    "CAV5_THRESHOLD",
    "STANDARD_THRESHOLD",
    "arias_history",
    "arias_intensity",
    "characteristic_intensity",
    "cumulative_absolute_velocity",
    "rms_acceleration",
    "squared_velocity_integral",
    "standardized_cumulative_absolute_velocity",
]

CAV5_THRESHOLD = 0.05
"""m/s²: with it the cumulative absolute velocity is CAV5 (Kramer & Mitchell, 2006)."""

STANDARD_THRESHOLD = 0.025 * G
"""m/s²: a window of the standardized cumulative absolute velocity counts from this peak on (EPRI, 1991)."""


def arias_history(acceleration: ArrayLike, dt: float) -> NDArray[np.float64]:
    """Return the build-up of Arias intensity, pi/(2 g) times the integral of a² (Arias, 1970).

    Parameters
    ----------
    acceleration : array (n,)
        m/s².
    dt : float
        Sampling interval, s.

    Returns
    -------
    ndarray, shape (n,)
        m/s; begins at 0, never falls, and ends at the Arias intensity.

    Raises
    ------
    InputError
        The acceleration is empty, of the wrong shape or not finite, or dt is not above 0; so in all that follows.

    Examples
    --------
    >>> history = arias_history(np.ones(1001), 0.01)  # 1 m/s² for 10 s
    >>> float(round(history[-1] / (np.pi / (2 * G) * 10), 12))
    1.0
    """
    return np.pi / (2.0 * G) * square_history(signal("acceleration", acceleration), positive("dt", dt))


def arias_intensity(acceleration: ArrayLike, dt: float) -> float:
    """Return the Arias intensity, m/s (Arias, 1970).

    Examples
    --------
    A sinusoid of amplitude A over whole cycles of duration D: pi A² D / (4 g).

    >>> time = np.arange(10001) * 0.001
    >>> round(arias_intensity(2.0 * np.sin(2 * np.pi * time), 0.001) / (np.pi * 4.0 * 10.0 / (4 * G)), 4)
    1.0
    """
    return float(arias_history(acceleration, dt)[-1])


def squared_velocity_integral(velocity: ArrayLike, dt: float) -> float:
    """Return the integral of v², m²/s: after Sarma (1971), "Energy flux of strong earthquakes" (from memory).

    Times the density and the shear-wave speed of the ground it is the energy that a plane shear wave of this velocity
    carries through a unit area, half of it kinetic and half strain.

    Parameters
    ----------
    velocity : array (n,)
        m/s.
    dt : float
        Sampling interval, s.

    Examples
    --------
    A sinusoid of amplitude V over whole cycles of duration D: V² D / 2.

    >>> time = np.arange(10001) * 0.001
    >>> round(squared_velocity_integral(2.0 * np.sin(2 * np.pi * time), 0.001), 3)
    20.0
    """
    return float(square_history(signal("velocity", velocity), positive("dt", dt))[-1])


def cumulative_absolute_velocity(acceleration: ArrayLike, dt: float, threshold: float = 0.0) -> float:
    """Return the cumulative absolute velocity, the integral of |a|, m/s (EPRI, 1988).

    Parameters
    ----------
    acceleration : array (n,)
        m/s².
    dt : float
        Sampling interval, s.
    threshold : float
        Only what is at or above it counts, m/s². With 0.05, `CAV5_THRESHOLD`, it is CAV5.

    References
    ----------
    EPRI (1988). A criterion for determining exceedance of the operating basis earthquake. Report NP-5930.

    Kramer, S. L. and Mitchell, R. A. (2006). Ground motion intensity measures for liquefaction hazard evaluation.
    Earthquake Spectra 22(2), 413-438.

    Examples
    --------
    A sinusoid of amplitude A over whole cycles of duration D: 2 A D / pi.

    >>> time = np.arange(10001) * 0.001
    >>> round(cumulative_absolute_velocity(2.0 * np.sin(2 * np.pi * time), 0.001) / (2 * 2.0 * 10.0 / np.pi), 4)
    1.0
    """
    acceleration = signal("acceleration", acceleration)
    dt, threshold = positive("dt", dt), float(non_negative("threshold", [threshold])[0])
    return float(_absolute_steps(acceleration, threshold).sum() * dt)


def standardized_cumulative_absolute_velocity(
    acceleration: ArrayLike, dt: float, threshold: float = STANDARD_THRESHOLD, window: float = 1.0
) -> float:
    """Return the integral of |a| over those windows in which |a| reaches a threshold, m/s.

    Windows follow each other from the first sample. A step between samples belongs to the window it begins in.

    Parameters
    ----------
    acceleration : array (n,)
        m/s².
    dt : float
        Sampling interval, s.
    threshold : float
        m/s²; 0.025 g if not given.
    window : float
        s.

    References
    ----------
    EPRI (1991). Standardization of the cumulative absolute velocity. Report TR-100082.

    Examples
    --------
    One second of strong shaking counts, nine of weak do not.

    >>> strong, weak = np.full(100, 1.0), np.full(900, 0.2)
    >>> round(standardized_cumulative_absolute_velocity(np.append(strong, weak), 0.01), 3)
    0.996
    """
    acceleration = signal("acceleration", acceleration)
    dt, window = positive("dt", dt), positive("window", window)
    threshold = float(non_negative("threshold", [threshold])[0])
    if acceleration.size < 2:
        return 0.0
    # A step that begins at a window's edge, but for round-off, begins there.
    number = np.floor(np.arange(acceleration.size - 1) * (dt / window) + 1e-9)
    starts = np.flatnonzero(np.diff(number, prepend=-1.0))
    sums = np.add.reduceat(_absolute_steps(acceleration, 0.0), starts) * dt
    size = np.abs(acceleration)
    peaks = np.maximum.reduceat(np.maximum(size[:-1], size[1:]), starts)
    return float(sums[peaks >= threshold].sum())


def rms_acceleration(acceleration: ArrayLike, dt: float, start: float = 0.05, end: float = 0.95) -> float:
    """Return the root mean square acceleration over the significant duration, m/s².

    Parameters
    ----------
    acceleration, dt, start, end
        As in `significant_duration`; 0 and 1 take all from the first sample to the last that adds anything.

    Returns
    -------
    float
        0 for a motion that is zero throughout.

    Examples
    --------
    A sinusoid of amplitude A: A / sqrt(2).

    >>> shaking = 2.0 * np.sin(2 * np.pi * np.arange(10001) * 0.001)
    >>> round(rms_acceleration(shaking, 0.001), 3)
    1.414
    """
    history = arias_history(acceleration, dt)
    return rms_over(history[-1] * (end - start), duration_between(history, dt, start, end)[1])


def characteristic_intensity(acceleration: ArrayLike, dt: float) -> float:
    """Return the characteristic intensity, rms acceleration^1.5 times duration^0.5, m^1.5/s^2.5.

    Both are taken over the significant duration from 5 to 95 %.

    References
    ----------
    Park, Y.-J., Ang, A. H.-S. and Wen, Y. K. (1985). Seismic damage analysis of reinforced concrete buildings. Journal
    of Structural Engineering 111(4), 740-757.

    Examples
    --------
    >>> shaking = 2.0 * np.sin(2 * np.pi * np.arange(10001) * 0.001)
    >>> round(characteristic_intensity(shaking, 0.001) / (2.0**0.75 * 9.0**0.5), 3)
    1.0
    """
    return (
        rms_acceleration(acceleration, dt) ** 1.5
        * duration_between(arias_history(acceleration, dt), dt, 0.05, 0.95)[1] ** 0.5
    )


def rms_over(arias: float, duration: float) -> float:
    """Return the root mean square acceleration, m/s², of an Arias intensity, m/s, that came in a duration, s."""
    return float(np.sqrt(arias * 2.0 * G / (np.pi * duration))) if duration > 0 else 0.0


def _absolute_steps(acceleration: NDArray[np.float64], threshold: float) -> NDArray[np.float64]:
    """Return the mean over each step of |a| where it is at or above the threshold and 0 where it is not."""
    before, after = acceleration[:-1], acceleration[1:]
    if threshold == 0.0:
        span = np.abs(before) + np.abs(after)
        # Where a step crosses zero the two triangles have area h (a0² + a1²) / (2 (|a0| + |a1|)).
        crossed = (before * before + after * after) / np.where(span > 0, span, 1.0)
        return 0.5 * np.where(before * after < 0, crossed, span)
    primitive = 0.5 * np.sign(acceleration) * np.maximum(acceleration * acceleration - threshold * threshold, 0.0)
    change = after - before
    level = np.abs(change) <= 1e-9 * (np.abs(before) + np.abs(after))
    middle = 0.5 * np.abs(before + after)
    return np.where(
        level, np.where(middle >= threshold, middle, 0.0), np.diff(primitive) / np.where(level, 1.0, change)
    )
