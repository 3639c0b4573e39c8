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
from . import _kernels
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

__all__ = ["RotatedSpectrum", "rotated_peak", "rotated_spectrum"]

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
        _kernels.rotated_peaks, [a1, a2], dt, periods, damping, interpolation, threads, ANGLES.size
    )
    omega = angular_frequency(periods)
    sd = np.percentile(by_angle, percents, axis=0)
    rigid = rotated_peak(a1, a2, percents)[:, None, None]
    return RotatedSpectrum(
        periods,
        damping,
        percents,
        sd=sd,
        psv=omega * sd,
        psa=np.where(periods > 0, omega**2 * sd, rigid),
        resampled=resampling_factors(periods, dt),
    )


def rotated_peak(x1: ArrayLike, x2: ArrayLike, percentiles: Sequence[float] | Floats = (0, 50, 100)) -> Floats:
    """Compute RotDnn of the sample peaks of any two histories: PGA, PGV or PGD by what is passed.

    Parameters
    ----------
    x1, x2 : array (n,)
        Two perpendicular horizontal components, any one unit.
    percentiles : sequence of float
        From 0 to 100.

    Returns
    -------
    array (k,)
        One peak a percentile, in that unit.

    Examples
    --------
    >>> rotated_peak([0.0, 3.0, -1.0], [0.0, 4.0, 2.0], [100]).round(3)
    array([5.])
    """
    x1, x2 = _pair(x1, x2)
    percents = _percentiles(percentiles)
    peak = np.zeros(ANGLES.size)
    # No projection exceeds its radius, so samples inside the smallest peak met so far fall out.
    radius = np.hypot(x1, x2)
    for start in _by_falling_radius(radius):
        if radius[start].max() <= peak.min():
            break
        projected = np.abs(np.outer(np.cos(ANGLES), x1[start]) + np.outer(np.sin(ANGLES), x2[start]))
        peak = np.maximum(peak, projected.max(axis=1))
    return np.asarray(np.percentile(peak, percents))


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
