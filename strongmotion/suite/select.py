"""A choice of records and factors whose mean meets a target, with a proof of how good it is.

For each record let x be 1 if it is chosen and y = x ln s, s its factor. The mean of ln(s PSA / target) over the suite
is linear in x and y at each period, and so are the bounds on factors, the caps on records of one event or station, and
the cost: of each chosen record the misfit of its shape, the mean absolute departure of ln(PSA / target) from its own
median. So the choice is a mixed-integer linear programme, solved by HiGHS in `scipy.optimize.milp`, which also proves
how far from the best the answer can be at most. (To minimise the misfit of the mean itself would prove nothing: without
whole numbers it can always be 0.)

The mean depends on the factors by the mean of their logarithms alone. So of all factors that keep it to the target
those are taken that depart least, in the sum of squares, from each record's own best: one shift of ln s for all, within
bounds.
"""

from __future__ import annotations

import time
from collections import defaultdict
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.optimize import Bounds, LinearConstraint, brentq, milp
from scipy.sparse import coo_array, csr_array, vstack

from ..foundation.arrays import Floats
from ..foundation.errors import InputError
from ..spectra import TargetSpectrum
from .compare import log_ratios, mean_limits, range_of
from .spectra import SuiteSpectra

__all__ = ["Selection", "SelectionRules", "select", "spread_rows"]

LONGEST_SEARCH = 10.0
"""Time for the closest suite when none meets the rules, s."""


@dataclass(frozen=True)
class SelectionRules:
    """What a suite must keep to.

    Parameters
    ----------
    factors : (float, float)
        Least and largest factor of a record.
    tolerance : float
        Largest departure of the suite's mean of ln PSA from that of the target at any period: 0.1 is about 10 %.
    below : float
        Largest fraction by which the suite's mean may lie below the target at any period; the local code rules.
    per_event, per_station : int
        Most records of one earthquake, and of one station; 0 for no limit. A record whose earthquake or station is
        unknown counts on its own.
    time_limit : float
        s, after which the best suite found so far is returned, with the gap proved by then.
    gap : float
        Relative gap to stop at.
    spread : float
        Largest departure of the suite's standard deviation of ln PSA from the target's at any period, as a fraction of
        that, where the target has a spread. It is held by a linear stand-in: squared departures from the target of each
        record with its own best factor.
    """

    factors: tuple[float, float] = (0.25, 4.0)
    tolerance: float = 0.1
    below: float = 0.1
    per_event: int = 0
    per_station: int = 0
    time_limit: float = 60.0
    gap: float = 0.01
    spread: float = 0.3


@dataclass(frozen=True, eq=False)
class Selection:
    """The suite that was chosen.

    Parameters
    ----------
    table : pandas.DataFrame
        A row a record: ``record, event, station, factor, factor_low, factor_high, shape_misfit, lowest_ratio,
        lowest_at_s, reason``. The limits of 5 and 95 % of a factor are those that the record's own band allows.
    periods, mean, target : array (p,)
        Periods within the range, s; exp of the mean of ln PSA of the scaled suite, and the target, m/s².
    spread : array (p,)
        Standard deviation of ln PSA of the scaled suite.
    mean_low, mean_high : array (p,)
        Limits of 5 and 95 % of the mean with these factors, m/s², as in `Comparison`.
    cost, bound : float
        Sum of the shape misfits of the chosen records, and a value that no suite can be below.
    seconds : float
        That the solver took.
    considered : int
        Records that are usable over the range.
    left_out : tuple of str
        The others.
    period_range : (float, float)
        As asked for, s.
    rules : SelectionRules
        That it keeps to.
    """

    table: pd.DataFrame
    periods: Floats
    mean: Floats
    target: Floats
    spread: Floats
    mean_low: Floats
    mean_high: Floats
    cost: float
    bound: float
    seconds: float
    considered: int
    left_out: tuple[str, ...]
    period_range: tuple[float, float]
    rules: SelectionRules

    @property
    def gap(self) -> float:
        """How far the cost can be above the least possible, as a fraction of it."""
        return max(0.0, (self.cost - self.bound) / self.cost) if self.cost > 0 else 0.0


def shape_misfit(ratio: Floats) -> Floats:
    """Return the mean absolute departure of each record's ln(PSA / target) from its own median, shape (n,)."""
    return np.abs(ratio - np.median(ratio, axis=1, keepdims=True)).mean(axis=1)


def select(
    spectra: SuiteSpectra,
    target: TargetSpectrum,
    period_range: tuple[float, float],
    count: int,
    rules: SelectionRules | None = None,
) -> Selection:
    """Choose records and factors so that the mean of the suite meets a target.

    For comparison only: how many records, which factors and how far below the target the local code says, and design
    use is for licensed engineers.

    Parameters
    ----------
    spectra : SuiteSpectra
        Those not usable over the whole range are not considered. A pair of horizontals takes one factor.
    target : TargetSpectrum
        Of the same damping.
    period_range : (float, float)
        First and last period, s.
    count : int
        Records to choose.
    rules : SelectionRules, optional

    Returns
    -------
    Selection
        The same for the same input.

    Raises
    ------
    InputError
        Fewer records are usable than asked for, no suite keeps to the rules, or a rule is not sound.

    Examples
    --------
    >>> from strongmotion.spectra import TargetSpectrum
    >>> psa = np.array([[1.0, 2.0], [2.0, 1.0], [1.5, 1.5]])  # m/s²
    >>> names, periods = ("a", "b", "c"), np.array([0.5, 1.0])
    >>> suite = SuiteSpectra(names, ("",) * 3, ("",) * 3, periods, psa, psa, psa, psa > 0, "H1", 0.05)
    >>> select(suite, TargetSpectrum([0.1, 2.0], [3.0, 3.0]), (0.5, 1.0), 1).table[["record", "factor"]].values.tolist()
    [['c', 2.0]]
    """
    rules = rules or SelectionRules()
    lowest, highest = rules.factors
    if not (0 < lowest <= highest and rules.tolerance > 0 and 0 <= rules.below < 1 and rules.spread > 0 and count >= 1):
        raise InputError(
            f"expected 0 < least <= largest factor, a tolerance above 0, a fraction below of 0 to 1, a count of 1 or "
            f"more; found factors {lowest:g} to {highest:g}, tolerance {rules.tolerance:g}, below {rules.below:g}, "
            f"count {count}",
            source="rules",
        )
    columns = range_of(spectra, target, period_range)
    used = np.flatnonzero(spectra.usable[:, columns].all(axis=1))
    if used.size < count:
        raise InputError(
            f"only {used.size} of {len(spectra)} records are usable from {period_range[0]:g} s to "
            f"{period_range[1]:g} s, {count} were asked for",
            remedy="Choose fewer records or a shorter range, or bring more records",
        )
    ratio = log_ratios(spectra, target, columns)[used]
    cost = shape_misfit(ratio)
    begun = time.perf_counter()
    wanted = target.spread_at(spectra.periods[columns]) if count > 1 else None
    answer = _solved(ratio, cost, count, rules, _caps(spectra, used, rules), wanted)
    seconds = time.perf_counter() - begun
    if answer is None:
        raise _none_found(ratio, count, rules, _caps(spectra, used, rules), wanted is not None)
    chosen, bound = answer
    logs = _factors(ratio[chosen], rules)
    scaled = ratio[chosen] + logs[:, None]
    at = scaled.argmin(axis=1)
    goal = target.at(spectra.periods[columns])
    rows = used[chosen]
    ends = [np.log(its[rows][:, columns]) - np.log(goal) for its in (spectra.low, spectra.high)]
    low, high = mean_limits(spectra, rows, columns, logs)
    rank = cost.argsort().argsort()
    table = pd.DataFrame(
        {
            "record": [spectra.records[used[i]] for i in chosen],
            "event": [spectra.events[used[i]] for i in chosen],
            "station": [spectra.stations[used[i]] for i in chosen],
            "factor": np.exp(logs),
            "factor_low": np.exp(logs + (ratio[chosen] - ends[1]).mean(axis=1)),
            "factor_high": np.exp(logs + (ratio[chosen] - ends[0]).mean(axis=1)),
            "shape_misfit": cost[chosen],
            "lowest_ratio": np.exp(scaled.min(axis=1)),
            "lowest_at_s": spectra.periods[columns][at],
            "reason": [
                f"shape ranks {rank[i] + 1} of {used.size}; with its factor the mean keeps to the target"
                for i in chosen
            ],
        }
    )
    return Selection(
        table,
        spectra.periods[columns],
        np.exp(scaled.mean(axis=0)) * goal,
        goal,
        scaled.std(axis=0, ddof=1) if count > 1 else np.full(columns.size, np.nan),
        low,
        high,
        float(cost[chosen].sum()),
        bound,
        seconds,
        int(used.size),
        tuple(spectra.records[i] for i in np.setdiff1d(np.arange(len(spectra)), used)),
        (float(period_range[0]), float(period_range[1])),
        rules,
    )


def _caps(spectra: SuiteSpectra, used: NDArray[np.intp], rules: SelectionRules) -> list[tuple[list[int], int]]:
    """Return groups of records, and how many of each may be chosen."""
    caps = []
    for names, most in ((spectra.events, rules.per_event), (spectra.stations, rules.per_station)):
        groups: dict[str, list[int]] = defaultdict(list)
        for place, i in enumerate(used):
            if names[i]:
                groups[names[i]].append(place)
        caps += [(group, most) for group in groups.values() if most > 0 and len(group) > most]
    return caps


def _solved(
    ratio: Floats,
    cost: Floats,
    count: int,
    rules: SelectionRules,
    caps: list[tuple[list[int], int]],
    spread: Floats | None = None,
) -> tuple[NDArray[np.intp], float] | None:
    """Return the chosen rows and the proved bound of their cost; None where no suite will do."""
    n, p = ratio.shape
    low, high = np.log(rules.factors)
    eye = csr_array(coo_array((np.ones(n), (np.arange(n), np.arange(n))), shape=(n, n)))
    mean = np.hstack((ratio.T, np.ones((p, n)))) / count
    least = _least_mean(rules)
    rows = [csr_array(np.hstack((np.ones(n), np.zeros(n)))[None]), csr_array(mean)]
    lower, upper = [float(count)] + [least] * p, [float(count)] + [rules.tolerance] * p
    for group, most in caps:
        row = np.zeros(2 * n)
        row[group] = 1.0
        rows.append(csr_array(row[None]))
        lower.append(0.0)
        upper.append(float(most))
    if spread is not None:
        squares, least_square, most_square = spread_rows(ratio, spread, count, rules)
        rows.append(csr_array(np.hstack((squares, np.zeros((p, n))))))
        lower += least_square.tolist()
        upper += most_square.tolist()
    # low x <= y <= high x
    rows.append(csr_array(vstack([_beside(-low * eye, eye), _beside(-high * eye, eye)])))
    lower += [0.0] * n + [-np.inf] * n
    upper += [np.inf] * n + [0.0] * n
    found = milp(
        np.concatenate((cost, np.zeros(n))),
        integrality=np.concatenate((np.ones(n), np.zeros(n))),
        bounds=Bounds(
            np.concatenate((np.zeros(n), np.full(n, min(low, 0.0)))),
            np.concatenate((np.ones(n), np.full(n, max(high, 0.0)))),
        ),
        constraints=LinearConstraint(csr_array(vstack(rows)), lower, upper),
        options={"time_limit": rules.time_limit, "mip_rel_gap": rules.gap},
    )
    if found.x is None:
        return None
    chosen = np.flatnonzero(found.x[:n] > 0.5)
    return chosen, float(found.mip_dual_bound)


def _none_found(
    ratio: Floats, count: int, rules: SelectionRules, caps: list[tuple[list[int], int]], has_spread: bool
) -> InputError:
    """Return the error that no suite meets the rules, with how close to the target one can come."""
    what = f"no suite of {count} keeps its mean within {rules.tolerance:g} of the target (in ln PSA) at every period"
    if rules.below < -np.expm1(-rules.tolerance):
        what += f", and at most {100 * rules.below:g} % below it"
    if has_spread:
        what += f", with a spread within {100 * rules.spread:g} % of the target's"
    remedy = (
        "Allow a larger tolerance (--tolerance) or fraction below (--below) if the local code permits it, widen the "
        f"bounds of the factors (--factors){' or of the spread (--spread)' if has_spread else ''}, loosen the caps, or "
        "shorten the range of periods"
    )
    if (closest := _closest(ratio, count, rules, caps)) is not None:
        low, high = closest
        what += f"; the closest suite has a mean of {np.exp(low):.2f} to {np.exp(high):.2f} of the target"
    return InputError(what, source="rules", remedy=remedy)


def _closest(
    ratio: Floats, count: int, rules: SelectionRules, caps: list[tuple[list[int], int]]
) -> tuple[float, float] | None:
    """Return the least and largest mean of ln(PSA / target) of the suite closest to the target; None if unknown.

    It is the suite with the smallest largest departure, without the rules on tolerance, fraction below and spread.
    """
    n, p = ratio.shape
    low, high = np.log(rules.factors)
    mean = np.hstack((ratio.T, np.ones((p, n)))) / count
    ones = np.ones((p, 1))
    rows = [np.hstack((np.ones(n), np.zeros(n + 1)))[None], np.hstack((mean, -ones)), np.hstack((mean, ones))]
    lower, upper = [float(count)] + [-np.inf] * p + [0.0] * p, [float(count)] + [0.0] * p + [np.inf] * p
    for group, most in caps:
        row = np.zeros((1, 2 * n + 1))
        row[0, group] = 1.0
        rows.append(row)
        lower.append(0.0)
        upper.append(float(most))
    for bound, limits in ((low, (0.0, np.inf)), (high, (-np.inf, 0.0))):
        rows.append(np.hstack((-bound * np.eye(n), np.eye(n), np.zeros((n, 1)))))
        lower += [limits[0]] * n
        upper += [limits[1]] * n
    found = milp(
        np.append(np.zeros(2 * n), 1.0),
        integrality=np.concatenate((np.ones(n), np.zeros(n + 1))),
        bounds=Bounds(
            np.concatenate((np.zeros(n), np.full(n, min(low, 0.0)), [0.0])),
            np.concatenate((np.ones(n), np.full(n, max(high, 0.0)), [np.inf])),
        ),
        constraints=LinearConstraint(csr_array(np.vstack(rows)), lower, upper),
        options={"time_limit": min(rules.time_limit, LONGEST_SEARCH), "mip_rel_gap": 0.05},
    )
    if found.x is None:
        return None
    departure = mean @ found.x[: 2 * n]
    return float(departure.min()), float(departure.max())


def spread_rows(ratio: Floats, spread: Floats, count: int, rules: SelectionRules) -> tuple[Floats, Floats, Floats]:
    """Return what each record adds to the suite's variance of ln PSA, shape (p, n), and the limits of the sum, (p,).

    Scaled by its own best factor a record departs from the target by d. With the mean on the target the variance of the
    suite is the sum of d² over n - 1: linear in the choice. A wanted spread below the tolerance of the mean, as at the
    period that a spectrum is conditioned on, is no lower limit, and counts as that tolerance for the upper.
    """
    departure = ratio - ratio.mean(axis=1, keepdims=True)
    least = np.where(spread > rules.tolerance, (1 - rules.spread) * spread, 0.0)
    most = (1 + rules.spread) * np.maximum(spread, rules.tolerance)
    return (departure**2).T / (count - 1), np.maximum(least, 0.0) ** 2, most**2


def _least_mean(rules: SelectionRules) -> float:
    """Return how low the mean of ln(PSA / target) may lie."""
    return max(-rules.tolerance, float(np.log1p(-rules.below)))


def _factors(ratio: Floats, rules: SelectionRules) -> Floats:
    """Return ln of the factors of a chosen suite: each record's own best, all shifted alike, within bounds."""
    low, high = np.log(rules.factors)
    own = -ratio.mean(axis=1)
    mean = ratio.mean(axis=0)
    first, last = _least_mean(rules) - mean.min(), rules.tolerance - mean.max()  # what the mean of ln s may be
    wanted = float(np.clip(np.clip(own, low, high).mean(), min(first, last), max(first, last)))

    def beyond(shift: float) -> float:
        return float(np.clip(own + shift, low, high).mean()) - wanted

    widest = float(np.abs(own).max()) + max(abs(low), abs(high)) + 1.0
    shift = float(brentq(beyond, -widest, widest)) if beyond(0.0) != 0.0 and low < high else 0.0
    return np.clip(own + shift, low, high)


def _beside(one: csr_array, other: csr_array) -> csr_array:
    from scipy.sparse import hstack

    return csr_array(hstack([one, other]))
