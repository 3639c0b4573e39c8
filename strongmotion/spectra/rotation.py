"""Peaks and response spectra of two horizontal components turned through all directions (Boore 2010).

RotDnn is the nn-th percentile, over the 180 whole degrees of half a turn, of the largest response in each direction;
RotD50 is the median and RotD100 the largest. It does not depend on how the sensor was oriented.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike, NDArray

from ..foundation.arrays import Floats, non_negative, positive, signal
from ..foundation.errors import InputError
from . import _rotation
from .resampling import FACTORS, LARGEST_ERROR, Interpolation, known_interpolation, left_by_straight_lines
from .response import ResponseSpectrum, default_periods, response_spectra, response_spectrum
from .solving import Group, angular_frequency, factors_of, group, largest_responses, threads_for, work
from .tables import dataset, long_table

if TYPE_CHECKING:
    import pandas as pd
    import xarray

__all__ = [
    "RotatedSpectrum",
    "directional_spectrum",
    "geometric_mean_spectrum",
    "rotated_peaks",
    "rotated_spectrum",
]

ANGLES = np.deg2rad(np.arange(_rotation.ANGLES))


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
    largest_sd, largest_psv, largest_psa : array (d, p)
        The same in whatever direction they are largest: RotD100 of all directions, not of whole degrees alone, from
        which it differs by 0.004 % at most.
    resampled : int array (p,)
        As in `ResponseSpectrum`.
    """

    periods: Floats
    damping: Floats
    percentiles: Floats
    sd: Floats
    psv: Floats
    psa: Floats
    largest_sd: Floats
    largest_psv: Floats
    largest_psa: Floats
    resampled: NDArray[np.int64]

    def table(self) -> pd.DataFrame:
        """Return the spectra in long form: ``percentile, damping, period, sd, psv, psa``."""
        import pandas as pd

        names = ("sd", "psv", "psa")
        tables = []
        for i, percentile in enumerate(self.percentiles):
            table = long_table(self.damping, self.periods, {name: getattr(self, name)[i] for name in names})
            table.insert(0, "percentile", percentile)
            tables.append(table)
        return pd.concat(tables, ignore_index=True)

    def to_xarray(self) -> xarray.Dataset:
        """Return sd, psv and psa on the axes ``percentile, damping, period``, with units; needs the package xarray."""
        return dataset(
            {"percentile": self.percentiles, "damping": self.damping, "period": self.periods},
            {"sd": self.sd, "psv": self.psv, "psa": self.psa},
        )


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
        From 0 to 100, over 180 whole degrees; between two of the sorted directions in proportion.

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
    known_interpolation(interpolation)
    groups = group(periods, damping.size, dt, interpolation)
    threads = threads_for(2 * a1.size * work(groups), threads)

    def solve(groups: list[Group]) -> Floats:
        return largest_responses(
            (_rotation.rotated_peaks, ANGLES.size + 1), [a1, a2], dt, periods, damping, groups, interpolation, threads
        )

    out = solve(groups)
    factors = factors_of(groups, periods.size)
    if interpolation == "band-limited":
        left = left_by_straight_lines([a1, a2], dt, periods, damping, out[-1:])
        row, column = np.nonzero((left[0] > LARGEST_ERROR) & (factors == 1) & (periods > 0))
        if row.size:
            out[:, row, column] = solve([(FACTORS[0], row, column)])[:, row, column]
            factors[column] = FACTORS[0]
    omega, rigid = angular_frequency(periods), periods == 0
    by_angle = np.sort(np.moveaxis(out[:-1], 0, -1), axis=-1)
    at_rest = np.sort(rotated_peaks(a1, a2)[0])
    # Between two of the sorted directions, in proportion.
    place = percents / 100 * (ANGLES.size - 1)
    below = np.minimum(place.astype(np.intp), ANGLES.size - 2)
    share = place - below
    sd = np.moveaxis(by_angle[..., below] * (1 - share) + by_angle[..., below + 1] * share, -1, 0)
    psa, largest_psa = omega**2 * sd, omega**2 * out[-1]
    psa[:, :, rigid] = (at_rest[below] * (1 - share) + at_rest[below + 1] * share)[:, None, None]
    largest_psa[:, rigid] = np.hypot(a1, a2).max()
    return RotatedSpectrum(
        periods,
        damping,
        percents,
        sd=sd,
        psv=omega * sd,
        psa=psa,
        largest_sd=out[-1],
        largest_psv=omega * out[-1],
        largest_psa=largest_psa,
        resampled=factors,
    )


def directional_spectrum(
    a1: ArrayLike,
    a2: ArrayLike,
    dt: float,
    angle: float,
    periods: ArrayLike | None = None,
    damping: ArrayLike = 0.05,
    *,
    interpolation: Interpolation = "band-limited",
    threads: int | None = None,
) -> ResponseSpectrum:
    """Compute the response spectra of two horizontal accelerations in one direction.

    Parameters
    ----------
    a1, a2, dt, periods, damping, interpolation, threads
        As in `rotated_spectrum`.
    angle : float
        Degrees from the first component towards the second: for one that points north and one that points east, the
        azimuth.

    Returns
    -------
    ResponseSpectrum

    Raises
    ------
    InputError
        The components differ in length, or an argument is empty, of the wrong shape, out of range, or not finite.

    Examples
    --------
    >>> directional_spectrum([0.0, 1.0], [0.0, 2.0], 0.01, 90, periods=[0.0]).psa.tolist()
    [[2.0]]
    """
    a1, a2 = _pair(a1, a2)
    angles = signal("angle", np.atleast_1d(angle))
    if angles.size > 1:
        raise InputError(f"expected one number, found {angles.size}", source="angle")
    turn = np.deg2rad(float(angles[0]))
    turned = np.cos(turn) * a1 + np.sin(turn) * a2
    return response_spectrum(turned, dt, periods, damping, interpolation=interpolation, threads=threads)


def geometric_mean_spectrum(
    a1: ArrayLike,
    a2: ArrayLike,
    dt: float,
    periods: ArrayLike | None = None,
    damping: ArrayLike = 0.05,
    *,
    interpolation: Interpolation = "band-limited",
    threads: int | None = None,
) -> ResponseSpectrum:
    """Compute the geometric mean of the response spectra of two horizontal components as recorded.

    It depends on how the sensor was oriented, unlike RotD50, and is nothing where one component is nothing (Boore,
    Watson-Lamprey & Abrahamson 2006).

    Parameters
    ----------
    a1, a2, dt, periods, damping, interpolation, threads
        As in `rotated_spectrum`.

    Returns
    -------
    ResponseSpectrum

    Raises
    ------
    InputError
        The components differ in length, or an argument is empty, of the wrong shape, out of range, or not finite.

    Examples
    --------
    >>> geometric_mean_spectrum([0.0, 1.0], [0.0, 4.0], 0.01, periods=[0.0]).psa.tolist()
    [[2.0]]
    """
    one, two = response_spectra(list(_pair(a1, a2)), dt, periods, damping, interpolation=interpolation, threads=threads)
    # Root by root: the product may leave the range of numbers.
    means = {
        name: np.sqrt(getattr(one, name)) * np.sqrt(getattr(two, name)) for name in ("sd", "psv", "psa", "sv", "sa")
    }
    return ResponseSpectrum(
        one.periods,
        one.damping,
        **means,
        resampled=np.maximum(one.resampled, two.resampled),
        interpolation=one.interpolation,
        interpolation_error=np.maximum(one.interpolation_error, two.interpolation_error),
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
    # No projection exceeds its radius: what lies inside the smallest peak of a few far samples falls out.
    few = np.abs(np.outer(np.cos(ANGLES[::20]), x1) + np.outer(np.sin(ANGLES[::20]), x2)).argmax(axis=1)
    peaks, samples = _largest_projections(x1, x2, np.unique(few))
    kept = np.flatnonzero(np.hypot(x1, x2) >= peaks.min())
    for start in range(0, kept.size, 4096):
        larger, at = _largest_projections(x1, x2, kept[start : start + 4096])
        samples = np.where(larger > peaks, at, samples)
        peaks = np.maximum(peaks, larger)
    return peaks, samples


def _largest_projections(x1: Floats, x2: Floats, chosen: NDArray[np.intp]) -> tuple[Floats, NDArray[np.intp]]:
    projected = np.abs(np.outer(np.cos(ANGLES), x1[chosen]) + np.outer(np.sin(ANGLES), x2[chosen]))
    best = projected.argmax(axis=1)
    return projected[np.arange(ANGLES.size), best], chosen[best]


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
