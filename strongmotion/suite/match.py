"""One component of a record adjusted in time to a target, with what that changed; see `strongmotion.spectra.matching`.

The result is no record. It is kept apart from the records of an archive, with what it was made from.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from ..archive import Derived
from ..foundation.cautions import CAUTION
from ..foundation.errors import InputError
from ..measures import arias_intensity, significant_duration
from ..result import Result
from ..spectra import MatchedMotion, TargetSpectrum, match_spectrum
from ..spectra.matching import PAD, wavelet_width

__all__ = ["MATCH_CAUTIONS", "Match", "match"]

MATCH_CAUTIONS = (
    "Not a recorded motion: a record was adjusted in time until its spectrum followed a target.",
    "Its spectrum is smooth as none of a record is, and its energy, duration and peaks differ from the record's.",
    "Whether adjusted motion may be used, and how much it may differ from its record, the local code says.",
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
        One of the record's own; pairs are not adjusted together.
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
