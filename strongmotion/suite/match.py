"""A component of a record, or both horizontals, adjusted in time to a target; see `strongmotion.spectra.matching`.

The result is no record. It is kept apart from the records of an archive, with what it was made from.

Of a pair the geometric mean of both spectra follows the target, not each spectrum: two horizontals that both follow
one spectrum have lost which of them was the stronger, and at which periods. Each has its own target, the pair's times
the component's share of the geometric mean in the record, smoothed over a third of an octave. The targets of both
multiply to the square of the pair's, so the geometric mean is within the tolerance where both components are, and both
take one factor (after the idea of Grant 2011 to match both horizontals together, from memory; the shares are our own).
Each has wavelets of its own, at the times of its own largest responses; `PairMatch.relation` says what that does to the
correlation of both, to RotD50 and to RotD100. The geometric mean depends on how the sensors are turned (Boore 2010).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.ndimage import gaussian_filter1d

from ..archive import Derived
from ..foundation.cautions import CAUTION
from ..foundation.errors import InputError
from ..measures import arias_intensity, significant_duration
from ..result import Result
from ..spectra import (
    MatchedMotion,
    TargetSpectrum,
    match_spectrum,
    response_spectrum,
    rotated_spectrum,
)
from ..spectra.matching import PAD, wavelet_width

__all__ = ["MATCH_CAUTIONS", "PAIR", "Match", "PairMatch", "match", "match_pair"]

PAIR = "geometric mean"
"""What is matched of a pair, by the name that spectra have for it."""

SMOOTHED = np.log(2.0) / 3
"""Width in ln period over which a component's share is smoothed: a third of an octave."""
SHARES = 0.01
"""Steps of ln period at which it is computed: closer than the oscillators of the matching."""

MATCH_CAUTIONS = (
    "Not a recorded motion: a record was adjusted in time until its spectrum followed a target.",
    "Its spectrum is smoother than that of any record, and its energy, duration and peaks differ from the record's.",
    "The local code determines whether adjusted motion may be used, and how much it may differ from its record.",
    CAUTION,
)
"""What is said of every adjusted motion, a sentence each."""


@dataclass(frozen=True, eq=False)
class Match:
    """A component adjusted to a target.

    Parameters
    ----------
    record : str
        Id of the record it was made from.
    component : str
    target : TargetSpectrum
    period_range : (float, float)
        s.
    tolerance : float
        Asked for, as a fraction of the target.
    motion : MatchedMotion
        What came out, on the way from the scaled record.
    change : pandas.DataFrame
        A row a quantity: ``quantity, unit, recorded, scaled, matched``, in SI units; ``scaled`` is the record times
        the factor that wavelets were added to.
    """

    record: str
    component: str
    target: TargetSpectrum
    period_range: tuple[float, float]
    tolerance: float
    motion: MatchedMotion
    change: pd.DataFrame

    @property
    def is_within(self) -> bool:
        """Whether the spectrum is within the tolerance at every period checked."""
        return self.motion.misfit <= self.tolerance

    def derived(self, version: str, record: str = "") -> Derived:
        """Return it as an archive keeps it, made from this version of a record; `record` is its id there."""
        found = self.motion
        return Derived(
            kind="matched",
            record=record or self.record,
            version=version,
            component=self.component,
            acceleration=found.acceleration,
            velocity=found.velocity,
            displacement=found.displacement,
            dt=found.dt,
            lead=found.lead,
            made_with={
                "target": self.target.name,
                "damping": self.target.damping,
                "first_period_s": self.period_range[0],
                "last_period_s": self.period_range[1],
                "tolerance": self.tolerance,
                "misfit": found.misfit,
                "factor": found.factor,
                "steps": found.steps,
                "arias_ratio": self._ratio("Arias intensity"),
                "duration_ratio": self._ratio("D5-95"),
                "pgv_ratio": self._ratio("PGV"),
                "pgd_ratio": self._ratio("PGD"),
            },
            spectrum={
                "period": found.periods, "psa_scaled": found.psa_before, "psa_matched": found.psa,
                "psa_target": found.target,
            },
            cautions=MATCH_CAUTIONS,
        )  # fmt: skip

    def _ratio(self, quantity: str) -> float:
        row = self.change.set_index("quantity").loc[quantity]
        return float(row["matched"] / row["scaled"])


@dataclass(frozen=True, eq=False)
class PairMatch:
    """Both horizontals of a record, adjusted so that the geometric mean of their spectra follows a target.

    Parameters
    ----------
    target : TargetSpectrum
        Of the geometric mean.
    tolerance : float
        Asked for, as a fraction of the target.
    parts : dict of str to Match
        By component, each with its own target.
    periods : array (p,)
        s, at which the pair was checked.
    mean : array (p,)
        Geometric mean of both spectra, m/s².
    relation : pandas.DataFrame
        What became of the relation between both: ``quantity, scaled, matched``, all ratios without a unit.
    """

    target: TargetSpectrum
    tolerance: float
    parts: dict[str, Match]
    periods: np.ndarray
    mean: np.ndarray
    relation: pd.DataFrame

    @property
    def misfit(self) -> float:
        """Largest departure of the geometric mean from the target, as a fraction of it."""
        return float(np.abs(self.mean / self.target.at(self.periods) - 1.0).max())

    @property
    def is_within(self) -> bool:
        """Whether both components are within the tolerance of their own targets, and their mean of the pair's."""
        return self.misfit <= self.tolerance and all(part.is_within for part in self.parts.values())


def match_pair(
    result: Result,
    target: TargetSpectrum,
    period_range: tuple[float, float],
    *,
    tolerance: float = 0.05,
    keep_unusable: bool = False,
) -> PairMatch:
    """Adjust both horizontals of a record until the geometric mean of their spectra is within a tolerance of a target.

    For comparison only, as `match`. A code that sets the target for RotD100, or for each component, asks for something
    else: `PairMatch.relation` says how far RotD50 and RotD100 are from the target.

    Parameters
    ----------
    result : Result
        With H1 and H2.
    target : TargetSpectrum
        Of the damping to match at, for the geometric mean.
    period_range : (float, float)
        First and last period, s.
    tolerance : float
        Largest departure of each component from its own target, as a fraction.
    keep_unusable : bool
        Also adjust a pair that is not usable over the range.

    Returns
    -------
    PairMatch
        Look at `PairMatch.is_within`.

    Raises
    ------
    InputError
        The record has no pair, one of both is unfit or not usable over the range, or an argument is out of range.
    """
    if not {"H1", "H2"} <= set(result.motion):
        raise InputError("the record has no pair of horizontals", source=result.record.id, remedy="Name one component")
    for name in ("H1", "H2"):
        _check_usable(result, name, period_range, keep_unusable)
    parts = {
        name: match(result, its, period_range, name, tolerance=tolerance, keep_unusable=keep_unusable)
        for name, its in _targets_of_pair(result, target, period_range).items()
    }
    one, other = parts.values()
    mean = np.sqrt(one.motion.psa * other.motion.psa)
    return PairMatch(target, tolerance, parts, one.motion.periods, mean, _relation(one, other, target))


def _targets_of_pair(
    result: Result, target: TargetSpectrum, period_range: tuple[float, float]
) -> dict[str, TargetSpectrum]:
    """Return a target a component, whose product is the square of the pair's; the record takes one factor to both."""
    first, last = (float(end) for end in period_range)
    if not 0 < first < last:
        raise InputError(f"expected a rising range of periods above 0, found {first:g} s to {last:g} s", source="range")
    periods = np.geomspace(first, last, max(2, int(np.ceil(np.log(last / first) / SHARES)) + 1))
    logs = []
    for name in ("H1", "H2"):
        its = result.motion[name]
        psa = response_spectrum(its.acceleration, its.dt, periods, target.damping, quantities=("psa",)).psa
        assert psa is not None
        logs.append(np.log(psa[0]))
    share = 0.5 * (logs[0] - logs[1])
    step = np.log(last / first) / (periods.size - 1)
    # Smoothing moves the mean of the share over the range; put back, both components have one best factor.
    smooth = gaussian_filter1d(share, SMOOTHED / 2 / step, mode="nearest")
    smooth += share.mean() - smooth.mean()
    return {
        name: TargetSpectrum(
            periods, target.at(periods) * np.exp(sign * smooth), f"{target.name}, share of {name}", target.damping
        )
        for name, sign in (("H1", 1.0), ("H2", -1.0))
    }


def _relation(one: Match, other: Match, target: TargetSpectrum) -> pd.DataFrame:
    periods = one.motion.periods
    goal = target.at(periods)
    rows: dict[str, list[float]] = {}
    for of in ("scaled", "acceleration"):
        pair = [getattr(each.motion, of) for each in (one, other)]
        before = max(each.motion.lead for each in (one, other))
        pair = [np.pad(its, (before - each.motion.lead, 0)) for its, each in zip(pair, (one, other), strict=True)]
        size = max(its.size for its in pair)
        pair = [np.pad(its, (0, size - its.size)) for its in pair]
        rotated = rotated_spectrum(pair[0], pair[1], one.motion.dt, periods, target.damping, (50, 100)).psa
        assert rotated is not None
        psa = [each.motion.psa_before if of == "scaled" else each.motion.psa for each in (one, other)]
        for name, value in (
            ("correlation of both accelerations", float(np.corrcoef(*pair)[0, 1])),
            ("PSA of H1 to H2, geometric mean over the range", float(np.exp(np.log(psa[0] / psa[1]).mean()))),
            ("RotD50 to target, least", float((rotated[0] / goal).min())),
            ("RotD50 to target, largest", float((rotated[0] / goal).max())),
            ("RotD100 to target, least", float((rotated[1] / goal).min())),
            ("RotD100 to target, largest", float((rotated[1] / goal).max())),
        ):
            rows.setdefault(name, []).append(value)
    return pd.DataFrame([(name, *values) for name, values in rows.items()], columns=["quantity", "scaled", "matched"])


def _check_usable(result: Result, component: str, period_range: tuple[float, float], keep_unusable: bool) -> None:
    """Refuse a component that is not there, unfit or not usable over a range.

    Raises
    ------
    InputError
    """
    if component not in result.motion:
        raise InputError(
            f"there is no component {component}",
            source=result.record.id,
            remedy=f"Choose one of {', '.join(result.motion)}",
        )
    first, last = period_range
    unfit = {finding.component for finding in result.findings if finding.severity == "unfit"}
    usable = result.usable_band[component].holds(np.array([first, last])).all() and not unfit & {component, ""}
    if not usable and not keep_unusable:
        raise InputError(
            f"{component} is not usable from {first:g} s to {last:g} s",
            source=result.record.id,
            remedy="Choose a shorter range, or another record; or keep what is unusable",
        )


def match(
    result: Result,
    target: TargetSpectrum,
    period_range: tuple[float, float],
    component: str = "H1",
    *,
    tolerance: float = 0.05,
    keep_unusable: bool = False,
) -> Match:
    """Adjust a component of a record in time until its spectrum is within a tolerance of a target.

    For comparison only: the result is no record, and whether it may be used the local code says.

    Parameters
    ----------
    result : Result
    target : TargetSpectrum
        Of the damping to match at.
    period_range : (float, float)
        First and last period, s.
    component : str
        One of the record's own; `match_pair` adjusts both horizontals.
    tolerance : float
        Largest departure from the target, as a fraction.
    keep_unusable : bool
        Also adjust a component that is not usable over the range.

    Returns
    -------
    Match
        Look at `Match.is_within`: where the tolerance is not reached, the closest motion found is returned.

    Raises
    ------
    InputError
        There is no such component, it is unfit or not usable over the range, or an argument is out of range.

    Examples
    --------
    >>> import strongmotion as sm
    >>> result = sm.process(sm.read("demo_records/quay.csv"))
    >>> from strongmotion.spectra import asce7_spectrum
    >>> found = match(result, asce7_spectrum(0.3, 0.2, 8.0), (0.3, 1.0), "H1")
    >>> found.is_within, round(found.motion.factor, 2)
    (True, 2.23)
    """
    first, last = period_range
    _check_usable(result, component, period_range, keep_unusable)
    whole = result.motion[component]
    room = int(np.ceil(PAD * float(wavelet_width(np.array([last]))[0]) / whole.dt))
    lead, trail = min(whole.lead, room), min(whole.trail, room)
    begin, end = whole.lead - lead, len(whole) - (whole.trail - trail)
    assert whole.displacement is not None
    assert whole.velocity is not None
    keeps_offset = result.baseline[component].method == "offset-preserving"
    found = match_spectrum(
        whole.acceleration[begin:end],
        whole.dt,
        target,
        (first, last),
        tolerance=tolerance,
        displacement=float(whole.displacement[-1]) if keeps_offset else 0.0,
        room=(lead, trail),
    )
    recorded = (whole.acceleration, whole.velocity, whole.displacement)
    scaled = tuple(found.factor * its for its in recorded)
    matched = (found.acceleration, found.velocity, found.displacement)
    return Match(
        result.record.id, component, target, (float(first), float(last)), tolerance, found,
        _changes(recorded, scaled, matched, whole.dt),
    )  # fmt: skip


def _changes(
    recorded: tuple[np.ndarray, ...], scaled: tuple[np.ndarray, ...], matched: tuple[np.ndarray, ...], dt: float
) -> pd.DataFrame:
    rows = []
    for quantity, unit, of in (
        ("PGA", "m/s2", lambda its: np.abs(its[0]).max()),
        ("PGV", "m/s", lambda its: np.abs(its[1]).max()),
        ("PGD", "m", lambda its: np.abs(its[2]).max()),
        ("Arias intensity", "m/s", lambda its: arias_intensity(its[0], dt)),
        ("D5-95", "s", lambda its: significant_duration(its[0], dt)[1]),
        ("velocity at the end", "m/s", lambda its: its[1][-1]),
        ("displacement at the end", "m", lambda its: its[2][-1]),
    ):
        rows.append((quantity, unit, *(float(of(its)) for its in (recorded, scaled, matched))))
    return pd.DataFrame(rows, columns=["quantity", "unit", "recorded", "scaled", "matched"])
