"""How the spectra of a suite compare with a target over a range of periods.

All is computed in the logarithm of PSA, in which records scatter evenly and a factor is a shift.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from ..foundation.arrays import Floats, non_negative
from ..foundation.errors import InputError
from ..spectra import TargetSpectrum
from .spectra import SuiteSpectra

__all__ = ["Comparison", "compare", "log_ratios", "mean_limits", "range_of"]


@dataclass(frozen=True, eq=False)
class Comparison:
    """A suite against a target.

    Parameters
    ----------
    table : pandas.DataFrame
        A row a record used: ``record, event, station, factor, factor_low, factor_high, misfit, lowest_ratio,
        lowest_at_s, usable``. The factor brings its spectrum closest to the target; its limits of 5 and 95 % are those
        that the record's own band allows. The misfit is the root mean square of ln(factor PSA / target). The lowest
        ratio is that of the scaled record to the target, and the period it is at. ``usable`` says whether all the range
        lies in the record's usable band.
    left_out : tuple of str
        Records whose usable band does not hold the range.
    periods : array (p,)
        s, within the range.
    mean : array (p,)
        exp of the mean of ln PSA of the scaled records, m/s².
    spread : array (p,)
        Standard deviation of ln PSA of the scaled records.
    target : array (p,)
        m/s².
    mean_low, mean_high : array (p,)
        Limits of 5 and 95 % of the mean with these factors, m/s²: as if all records were at their ends together, so no
        narrower than the truth. Not a number where a record has no band.
    period_range : (float, float)
        As asked for, s.
    """

    table: pd.DataFrame
    left_out: tuple[str, ...]
    periods: Floats
    mean: Floats
    spread: Floats
    target: Floats
    mean_low: Floats
    mean_high: Floats
    period_range: tuple[float, float]


def range_of(spectra: SuiteSpectra, target: TargetSpectrum, period_range: tuple[float, float]) -> NDArray[np.intp]:
    """Return the columns of the periods within a range.

    Raises
    ------
    InputError
        The range is none, holds no period, or is not covered by the target; the target is of another damping.
    """
    first, last = (float(end) for end in period_range)
    if not 0 < first < last:
        raise InputError(f"expected a rising range of periods above 0, found {first:g} s to {last:g} s", source="range")
    if not np.isclose(target.damping, spectra.damping):
        raise InputError(
            f"the target is of {100 * target.damping:g} % damping, the spectra of {100 * spectra.damping:g} %",
            source="target",
            remedy="Give a target of that damping, or choose the spectra's damping",
        )
    columns = np.flatnonzero((spectra.periods >= first * (1 - 1e-9)) & (spectra.periods <= last * (1 + 1e-9)))
    if not columns.size:
        raise InputError(f"no period is in the range {first:g} s to {last:g} s", source="range")
    return columns


def log_ratios(spectra: SuiteSpectra, target: TargetSpectrum, columns: NDArray[np.intp]) -> Floats:
    """Return ln(PSA / target), shape (n, columns)."""
    return np.log(np.maximum(spectra.psa[:, columns], 1e-300)) - np.log(target.at(spectra.periods[columns]))


def mean_limits(
    spectra: SuiteSpectra, rows: NDArray[np.intp], columns: NDArray[np.intp], logs: Floats
) -> tuple[Floats, Floats]:
    """Return the limits of 5 and 95 % of a scaled suite's mean, m/s², all records at their ends together.

    `logs` are ln of the factors of the records in these rows.
    """
    low, high = (
        np.exp((np.log(np.maximum(its[rows][:, columns], 1e-300)) + logs[:, None]).mean(axis=0))
        for its in (spectra.low, spectra.high)
    )
    return low, high


def weights_of(weights: ArrayLike | None, count: int) -> Floats:
    """Return weights of the periods that sum to 1; even ones if none are given.

    Raises
    ------
    InputError
        They are not one a period, or all are 0.
    """
    if weights is None:
        return np.full(count, 1.0 / count)
    given = non_negative("weights", weights)
    if given.size != count or given.sum() == 0:
        raise InputError(f"expected {count} weights, one a period, not all 0; found {given.size}", source="weights")
    return given / given.sum()


def compare(
    spectra: SuiteSpectra,
    target: TargetSpectrum,
    period_range: tuple[float, float],
    *,
    weights: ArrayLike | None = None,
    keep_unusable: bool = False,
) -> Comparison:
    """Compare every record of a suite with a target.

    For comparison only: whether and how far a motion may be scaled the local code says.

    Parameters
    ----------
    spectra : SuiteSpectra
    target : TargetSpectrum
        Of the same damping.
    period_range : (float, float)
        First and last period, s. Each period of the spectra within it counts by its weight.
    weights : array (p,), optional
        Of the periods within the range; even if not given.
    keep_unusable : bool
        Also use records whose usable band does not hold the range; their rows keep the mark.

    Returns
    -------
    Comparison

    Raises
    ------
    InputError
        The range or weights are not sound, the target is of another damping, or no record is usable over the range.

    Examples
    --------
    >>> periods = np.array([0.2, 0.5, 1.0])
    >>> psa = np.array([[2.0, 2.0, 2.0], [8.0, 8.0, 8.0]])
    >>> suite = SuiteSpectra(("a", "b"), ("", ""), ("", ""), periods, psa, psa, psa, psa > 0, "H1", 0.05)
    >>> found = compare(suite, TargetSpectrum([0.1, 2.0], [4.0, 4.0]), (0.2, 1.0))
    >>> found.table["factor"].round(6).tolist(), found.mean.round(6).tolist()
    ([2.0, 0.5], [4.0, 4.0, 4.0])
    """
    columns = range_of(spectra, target, period_range)
    weight = weights_of(weights, columns.size)
    usable = spectra.usable[:, columns].all(axis=1)
    used = np.flatnonzero(usable | keep_unusable)
    left_out = tuple(spectra.records[i] for i in np.flatnonzero(~usable) if not keep_unusable)
    if not used.size:
        raise InputError(
            f"no record is usable from {period_range[0]:g} s to {period_range[1]:g} s",
            remedy="Choose a shorter range, or keep unusable records and their mark",
        )
    ratio = log_ratios(spectra, target, columns)[used]
    factor = np.exp(-ratio @ weight)
    goal = target.at(spectra.periods[columns])
    # Where the record has a band, its ends shift the factor the other way.
    ends = [np.log(its[used][:, columns]) - np.log(goal) for its in (spectra.high, spectra.low)]
    factor_low, factor_high = (np.exp(-end @ weight) for end in ends)
    scaled = ratio + np.log(factor)[:, None]
    at = scaled.argmin(axis=1)
    table = pd.DataFrame(
        {
            "record": [spectra.records[i] for i in used],
            "event": [spectra.events[i] for i in used],
            "station": [spectra.stations[i] for i in used],
            "factor": factor,
            "factor_low": factor_low,
            "factor_high": factor_high,
            "misfit": np.sqrt(scaled**2 @ weight),
            "lowest_ratio": np.exp(scaled.min(axis=1)),
            "lowest_at_s": spectra.periods[columns][at],
            "usable": np.asarray(usable)[used],
        }
    )
    mean = np.exp(scaled.mean(axis=0)) * goal
    spread = scaled.std(axis=0, ddof=1) if used.size > 1 else np.full(columns.size, np.nan)
    low, high = mean_limits(spectra, used, columns, np.log(factor))
    first, last = period_range
    return Comparison(
        table, left_out, spectra.periods[columns], mean, spread, goal, low, high, (float(first), float(last))
    )
