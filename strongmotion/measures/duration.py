"""How long the shaking was: significant, effective, bracketed and uniform duration.

Acceleration is taken as linear between samples, so that it crosses a level between them.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from ..foundation.arrays import non_negative, positive, signal
from ._history import duration_between, reached
from .energy import arias_history

__all__ = ["bracketed_duration", "effective_duration", "significant_duration", "uniform_duration"]


def significant_duration(
    acceleration: ArrayLike, dt: float, start: float = 0.05, end: float = 0.95
) -> tuple[float, float]:
    """Return when the Arias intensity reaches two fractions of its final value (Trifunac & Brady, 1975).

    Parameters
    ----------
    acceleration : array (n,)
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
    return duration_between(arias_history(acceleration, dt), dt, start, end)


def bracketed_duration(acceleration: ArrayLike, dt: float, threshold: float) -> tuple[float, float]:
    """Return when |a| first reaches a threshold, and how long until it last does (Bolt, 1973).

    Parameters
    ----------
    acceleration : array (n,)
        m/s².
    dt : float
        Sampling interval, s.
    threshold : float
        m/s²; 0.05 g is usual.

    Returns
    -------
    begin, duration : float
        s, the first after the first sample; both 0 where the threshold is never reached.

    Raises
    ------
    InputError
        The acceleration is empty, of the wrong shape or not finite, dt is not above 0 or the threshold is below it.

    References
    ----------
    Bolt, B. A. (1973). Duration of strong ground motion. Proceedings of the Fifth World Conference on Earthquake
    Engineering, Rome.

    Examples
    --------
    >>> begin, duration = bracketed_duration([0.0, 2.0, 0.0, -1.0, 0.0], 1.0, threshold=0.5)
    >>> begin, duration
    (0.25, 3.25)
    """
    acceleration, dt, threshold = _checked(acceleration, dt, threshold)
    above = np.flatnonzero(np.abs(acceleration) >= threshold)
    if above.size == 0:
        return 0.0, 0.0
    first, last = int(above[0]), int(above[-1])
    begin = first - (_past(acceleration[first], acceleration[first - 1], threshold) if first > 0 else 0.0)
    end = float(last)
    if last < acceleration.size - 1:
        end += _past(acceleration[last], acceleration[last + 1], threshold)
    return begin * dt, (end - begin) * dt


def uniform_duration(acceleration: ArrayLike, dt: float, threshold: float) -> float:
    """Return for how long in all |a| is at or above a threshold, s (Bolt, 1973).

    Parameters
    ----------
    acceleration, dt, threshold
        As in `bracketed_duration`.

    Examples
    --------
    >>> uniform_duration([0.0, 2.0, 0.0, -1.0, 0.0], 1.0, threshold=0.5)
    2.5
    """
    acceleration, dt, threshold = _checked(acceleration, dt, threshold)
    change = np.diff(acceleration)
    above = np.abs(acceleration) >= threshold
    # The primitive of "at or above", from which follows the part of each step that is.
    primitive = np.sign(acceleration) * np.maximum(np.abs(acceleration) - threshold, 0.0)
    share = np.diff(primitive) / np.where(change == 0, 1.0, change)
    return float(np.where(change == 0, above[1:], np.clip(share, 0.0, 1.0)).sum() * dt)


def effective_duration(
    acceleration: ArrayLike, dt: float, start: float = 0.01, remaining: float = 0.125
) -> tuple[float, float]:
    """Return the duration between two absolute levels of Arias intensity (Bommer & Martinez-Pereira, 1999).

    Parameters
    ----------
    acceleration : array (n,)
        m/s².
    dt : float
        Sampling interval, s.
    start : float
        It begins where the Arias intensity reaches this, m/s.
    remaining : float
        It ends where this much is still to come, m/s.

    Returns
    -------
    begin, duration : float
        s, the first after the first sample; both 0 where the shaking is too weak to have one.

    Raises
    ------
    InputError
        As `bracketed_duration`, for either level.

    References
    ----------
    Bommer, J. J. and Martinez-Pereira, A. (1999). The effective duration of earthquake strong motion. Journal of
    Earthquake Engineering 3(2), 127-172. Both levels from memory.

    Examples
    --------
    >>> shaking = 3.0 * np.sin(2 * np.pi * np.arange(10001) * 0.001)  # 7.2 m/s in 10 s
    >>> round(effective_duration(shaking, 0.001)[1], 1)
    9.7
    """
    start, remaining = (float(non_negative("level", [level])[0]) for level in (start, remaining))
    return duration_of_history(arias_history(acceleration, dt), dt, start, remaining)


def duration_of_history(
    history: NDArray[np.float64], dt: float, start: float = 0.01, remaining: float = 0.125
) -> tuple[float, float]:
    """Return begin and `effective_duration` from the build-up of Arias intensity."""
    if history[-1] <= start + remaining:
        return 0.0, 0.0
    begin = reached(history, start) * dt
    return begin, reached(history, history[-1] - remaining) * dt - begin


def _checked(acceleration: ArrayLike, dt: float, threshold: float) -> tuple[NDArray[np.float64], float, float]:
    threshold = float(non_negative("threshold", [threshold])[0])
    return signal("acceleration", acceleration), positive("dt", dt), threshold


def _past(inside: float, outside: float, threshold: float) -> float:
    """Return how far from a sample above the threshold towards one below it the crossing lies, in steps."""
    return float((abs(inside) - threshold) / abs(inside - outside))
