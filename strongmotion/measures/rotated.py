"""Energy and duration of two horizontals in all directions: percentiles that do not depend on the sensor's orientation.

As RotDnn of Boore (2010) for spectra: the nn-th percentile of the measure over 180 directions one degree apart.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

from ..foundation.arrays import non_negative, positive, signal
from ..foundation.compiling import compiled
from ..foundation.errors import InputError
from ..foundation.units import G
from ._history import square_history

__all__ = ["rotated_arias_intensity", "rotated_cumulative_absolute_velocity", "rotated_significant_duration"]

Floats = NDArray[np.float64]

_ANGLES = np.deg2rad(np.arange(180))
_COS, _SIN = np.cos(_ANGLES), np.sin(_ANGLES)


def rotated_arias_intensity(a1: ArrayLike, a2: ArrayLike, dt: float, percentiles: Sequence[float] = (50,)) -> Floats:
    """Return percentiles of Arias intensity over all directions, m/s (Arias 1970; RotD after Boore 2010).

    Parameters
    ----------
    a1, a2 : array (n,)
        Acceleration in two perpendicular horizontal directions, m/s².
    dt : float
        Sampling interval, s.
    percentiles : sequence of float
        From 0 to 100; between two of the sorted directions in proportion.

    Returns
    -------
    array (k,)

    Raises
    ------
    InputError
        A component is empty, of the wrong shape or not finite; lengths differ; dt or a percentile is out of range.

    Examples
    --------
    Motion along one line: in the median direction half of it.

    >>> a = np.sin(2 * np.pi * np.arange(1000) * 0.01)
    >>> whole, half = rotated_arias_intensity(a, 0 * a, 0.01, (100, 50))
    >>> bool(abs(half / whole - 0.5) < 0.01)
    True
    """
    one, two = _pair(a1, a2)
    return _percentiles(_energies(one, two, positive("dt", dt))[:, -1], _shape(), percentiles)


def rotated_significant_duration(
    a1: ArrayLike,
    a2: ArrayLike,
    dt: float,
    start: float = 0.05,
    end: float = 0.95,
    percentiles: Sequence[float] = (50,),
) -> Floats:
    """Return percentiles of significant duration over all directions, s (Trifunac & Brady 1975; RotD after Boore 2010).

    Parameters
    ----------
    a1, a2, dt, percentiles
        As in `rotated_arias_intensity`.
    start, end : float
        Fractions of Arias intensity, as in `significant_duration`.

    Returns
    -------
    array (k,)

    Raises
    ------
    InputError
        As in `rotated_arias_intensity`; or the fractions are not 0 <= start < end <= 1.

    Examples
    --------
    >>> steady = np.ones(1001)  # 10 s
    >>> [float(round(value, 2)) for value in rotated_significant_duration(steady, steady, 0.01)]
    [9.0]
    """
    one, two = _pair(a1, a2)
    energies = _energies(one, two, positive("dt", dt))
    if not 0.0 <= start < end <= 1.0:
        raise InputError(f"fractions {start} and {end} must satisfy 0 <= start < end <= 1")
    durations = dt * (_reached(energies, end) - _reached(energies, start))
    return np.percentile(durations, non_negative("percentiles", percentiles))


def rotated_cumulative_absolute_velocity(
    a1: ArrayLike, a2: ArrayLike, dt: float, percentiles: Sequence[float] = (50,)
) -> Floats:
    """Return percentiles of cumulative absolute velocity over all directions, m/s (EPRI 1988; RotD after Boore 2010).

    Parameters and errors are those of `rotated_arias_intensity`; the integral is exact for straight lines between
    samples, as that of `cumulative_absolute_velocity`.

    Examples
    --------
    >>> sine = np.sin(2 * np.pi * np.arange(1001) * 0.01)  # m/s², 10 s
    >>> values = rotated_cumulative_absolute_velocity(sine, sine, 0.01, percentiles=(0, 100))
    >>> [float(round(value, 2)) for value in values]  # largest towards 45 degrees: sqrt(2) times 2 / pi times 10 m/s
    [0.0, 9.0]
    """
    one, two = _pair(a1, a2)
    dt = positive("dt", dt)
    return np.percentile(dt * _absolute(one, two, _COS, _SIN), non_negative("percentiles", percentiles))


def _pair(a1: ArrayLike, a2: ArrayLike) -> tuple[Floats, Floats]:
    one, two = signal("a1", a1), signal("a2", a2)
    if one.size != two.size:
        raise InputError(f"components of {one.size} and {two.size} samples are not a pair", source="a2")
    return one, two


def _shape() -> Floats:
    """Return what a direction takes of the energies of H1, of both, and of H2; shape (180, 3)."""
    return np.column_stack((_COS**2, _COS * _SIN, _SIN**2))


def _energies(one: Floats, two: Floats, dt: float) -> Floats:
    """Return the build-up of the energies of H1, of twice their product and of H2, m/s, shape (3, n)."""
    ends = [square_history(each, dt) for each in (one, two, one + two)]
    return np.pi / (2.0 * G) * np.array([ends[0], ends[2] - ends[0] - ends[1], ends[1]])


def _reached(energies: Floats, fraction: float) -> Floats:
    """Return the sample, with its fraction, at which each direction's build-up reaches a fraction of its whole."""
    shape = _shape()
    level = fraction * (shape @ energies[:, -1])
    low, high = np.zeros(180, dtype=np.intp), np.full(180, energies.shape[1] - 1)
    while (high - low > 1).any():  # a build-up never falls, so halving finds the step
        middle = (low + high) // 2
        is_there = (shape * energies[:, middle].T).sum(axis=1) >= level
        high, low = np.where(is_there, middle, high), np.where(is_there, low, middle)
    before, after = ((shape * energies[:, at].T).sum(axis=1) for at in (low, high))
    rise = after - before
    return np.asarray(low + np.divide(level - before, rise, out=np.zeros(180), where=rise > 0))


def _percentiles(energies: Floats, shape: Floats, percentiles: Sequence[float]) -> Floats:
    return np.percentile(np.maximum(shape @ energies, 0.0), non_negative("percentiles", percentiles))


def _sums(one: Floats, two: Floats, cos: Floats, sin: Floats) -> Floats:  # pragma: no cover - compiled
    """Return for each direction the sum over steps of the mean of |a|, exact where a straight line crosses zero."""
    out = np.zeros(cos.size)
    before = cos * one[0] + sin * two[0]
    for i in range(1, one.size):
        for k in range(cos.size):
            b, a = before[k], cos[k] * one[i] + sin[k] * two[i]
            span = abs(b) + abs(a)
            crossed = (b * b + a * a) / (span if span > 0.0 else 1.0)
            out[k] += 0.5 * (crossed if b * a < 0.0 else span)
            before[k] = a
    return out


_absolute = compiled(_sums)
