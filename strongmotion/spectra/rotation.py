"""Peaks and response spectra of two horizontal components turned through all directions (Boore 2010).

RotDnn is the nn-th percentile, over the 180 whole degrees of half a turn, of the largest response in each direction;
RotD50 is the median and RotD100 the largest. It does not depend on how the sensor was oriented.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from ..errors import InputError
from . import _rotation
from .response import (
    Floats,
    Interpolation,
    angular_frequency,
    default_periods,
    largest_responses,
    non_negative,
    positive,
    resampling_factors,
    signal,
)

__all__ = ["RotatedSpectrum", "rotated_peaks", "rotated_spectrum"]

ANGLES = np.deg2rad(np.arange(180))


@dataclass(frozen=True, eq=False)
class RotatedSpectrum:
    """RotDnn spectra of a pair of horizontal components.

    Parameters
    ----------
    periods : array (p,)
        s.
    damping : array (d,)
        Ratio to critical.
    percentiles : array (k,)
        The nn of RotDnn.
    sd, psv, psa : array (k, d, p)
        Relative displacement, m; w sd, m/s; w² sd, m/s².
    resampled : int array (p,)
        As in `ResponseSpectrum`.
    """

    periods: Floats
    damping: Floats
    percentiles: Floats
    sd: Floats
    psv: Floats
    psa: Floats
    resampled: NDArray[np.int64]


def rotated_spectrum(
    a1: ArrayLike,
    a2: ArrayLike,
    dt: float,
    periods: ArrayLike | None = None,
    damping: ArrayLike = 0.05,
    percentiles: Sequence[float] = (0, 50, 100),
    *,
    interpolation: Interpolation = "band-limited",
    threads: int | None = None,
) -> RotatedSpectrum:
    """Compute RotDnn spectra of two horizontal accelerations.

    Parameters
    ----------
    a1, a2 : array (n,)
        Ground acceleration in two perpendicular horizontal directions, m/s².
    dt : float
        Sampling interval, s.
    periods, damping, interpolation, threads
        As in `strongmotion.response_spectrum`.
    percentiles : sequence of float
        From 0 to 100.

    Returns
    -------
    RotatedSpectrum

    Raises
    ------
    InputError
        The components differ in length, or an argument is empty, of the wrong shape, out of range, or not finite.

    References
    ----------
    Boore, D. M. (2010). Orientation-independent, nongeometric-mean measures of seismic intensity from two horizontal
    components of motion. Bulletin of the Seismological Society of America 100(4), 1830-1835.

    Examples
    --------
    >>> a = np.sin(2 * np.pi * np.arange(0, 10, 0.01))
    >>> spectrum = rotated_spectrum(3 * a, 4 * a, 0.01, periods=[0, 0.5])
    >>> spectrum.psa[-1].round(1)
    array([[5. , 8.1]])
    """
    a1, a2 = _pair(a1, a2)
    dt = positive("dt", dt)
    periods = default_periods() if periods is None else non_negative("periods", periods)
    damping = non_negative("damping", damping)
    percents = _percentiles(percentiles)
    by_angle = largest_responses(
        _rotation.rotated_peaks, [a1, a2], dt, periods, damping, interpolation, threads, ANGLES.size + 1
    )[:-1]
    omega = angular_frequency(periods)
    sd = np.percentile(by_angle, percents, axis=0)
    rigid = np.percentile(rotated_peaks(a1, a2)[0], percents)[:, None, None]
    return RotatedSpectrum(
        periods,
        damping,
        percents,
        sd=sd,
        psv=omega * sd,
        psa=np.where(periods > 0, omega**2 * sd, rigid),
        resampled=resampling_factors(periods, dt),
    )


def rotated_peaks(x1: ArrayLike, x2: ArrayLike) -> tuple[Floats, NDArray[np.intp]]:
    """Compute the sample peak of two histories in each of 180 directions one degree apart.

    Its nn-th percentile is RotDnn: of PGA, PGV or PGD by what is passed.

    Parameters
    ----------
    x1, x2 : array (n,)
        Two perpendicular horizontal components, any one unit.

    Returns
    -------
    peaks : array (180,)
        The largest absolute value in each direction, in that unit.
    samples : int array (180,)
        The sample it falls on.

    Examples
    --------
    Motion in one direction only: its peak at 0 degrees, and half of it at 60.

    >>> peaks, _ = rotated_peaks([0.0, 2.0, -1.0], [0.0, 0.0, 0.0])
    >>> peaks[[0, 60]].round(12).tolist()
    [2.0, 1.0]
    """
    x1, x2 = _pair(x1, x2)
    peaks, samples = np.zeros(ANGLES.size), np.zeros(ANGLES.size, dtype=np.intp)
    # No projection exceeds its radius, so samples inside the smallest peak met so far fall out.
    radius = np.hypot(x1, x2)
    for chunk in _by_falling_radius(radius):
        if radius[chunk].max() <= peaks.min():
            break
        projected = np.abs(np.outer(np.cos(ANGLES), x1[chunk]) + np.outer(np.sin(ANGLES), x2[chunk]))
        best = projected.argmax(axis=1)
        largest = projected[np.arange(ANGLES.size), best]
        samples = np.where(largest > peaks, chunk[best], samples)
        peaks = np.maximum(peaks, largest)
    return peaks, samples


def _by_falling_radius(radius: Floats) -> list[NDArray[np.intp]]:
    order = np.argsort(radius)[::-1]
    return [order[start : start + 256] for start in range(0, order.size, 256)]


def _pair(x1: ArrayLike, x2: ArrayLike) -> tuple[Floats, Floats]:
    one, two = signal("first component", x1), signal("second component", x2)
    if one.size != two.size:
        raise InputError(
            f"the components have {one.size} and {two.size} samples",
            remedy="Cut both to the samples they have in common",
        )
    return one, two


def _percentiles(values: Sequence[float] | Floats) -> Floats:
    percentiles = non_negative("percentiles", np.asarray(values, dtype=float))
    if (percentiles > 100).any():
        raise InputError(f"expected at most 100, found {percentiles.max():g}", source="percentiles")
    return percentiles
