"""The verdict on a record: what of it may be used, from its findings, its usable bands and what a person decided."""

from __future__ import annotations

import math
from collections.abc import Hashable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal

from ..record import PEAKS
from .tables import SEVERITIES, at_least, doubts_of, number

if TYPE_CHECKING:
    from ..archive import Decision, Standing
    from ..record import Finding
    from ..result import Result

__all__ = ["SET_ASIDE", "TITLES", "Use", "Verdict", "touched", "verdict_of"]

Kind = Literal["usable", "usable within", "not usable"]

TITLES: dict[Kind, str] = {
    "usable": "Usable",
    "usable within": "Usable within limits",
    "not usable": "Not usable",
}
"""The kinds of verdict, as a page says them."""

WIDE = 0.5
"""Fraction of a peak: where its 5 to 95 % band reaches farther, the number alone says too little (a judgement)."""

SET_ASIDE = ("rejected", "withdrawn")
"""States in which nothing of a record is for use."""


@dataclass(frozen=True)
class Use:
    """What may be used of one component or combination.

    Parameters
    ----------
    component : str
    peaks : dict of str to str
        By quantity: ``"yes"``, ``"wide band"`` where only its band is to be used, ``"in doubt"``, ``"at least"`` where
        the number is a lower bound, or ``"no"``.
    shortest, longest : float
        Periods, s, between which spectral ordinates may be used; `longest` is 0 where none may.
    doubtful : tuple of (float, float)
        First and last period, s, of those among them that a finding says may be wrong; rising, apart.
    """

    component: str
    peaks: dict[str, str]
    shortest: float
    longest: float
    doubtful: tuple[tuple[float, float], ...] = ()

    @property
    def doubt(self) -> bool:
        """Whether a finding says that one of its peaks or usable ordinates may be wrong."""
        return bool(self.doubtful) or "in doubt" in self.peaks.values()

    @property
    def spectrum(self) -> str:
        """The periods of the spectrum that may be used, in words."""
        if not self.longest:
            return "no"
        ends = f"{number(self.shortest)} to {number(self.longest)} s"
        if math.isinf(self.longest):
            ends = f"from {number(self.shortest)} s on"
        said = [_in_words(first, last, self.shortest, self.longest) for first, last in self.doubtful]
        return f"{ends}, in doubt{' and'.join(said)}" if said else ends

    def ordinate(self, period: float) -> str:
        """Return whether the ordinate at a period may be used: ``"yes"``, ``"in doubt"`` or ``"no"``."""
        if not self.shortest <= period <= self.longest:
            return "no"
        return "in doubt" if any(first <= period <= last for first, last in self.doubtful) else "yes"


@dataclass(frozen=True)
class Verdict:
    """What a page says first.

    Parameters
    ----------
    kind : {"usable", "usable within", "not usable"}
        ``"usable"``: every peak of every component, and spectra over their usable periods, without a doubt. ``"not
        usable"``: nothing, or a person rejected or withdrew the record. ``"usable within"``: what lies between.
    uses : tuple of Use
        A row a component, and one of RotD50 where there is a pair.
    findings : tuple of (str, str)
        What speaks against use: severity in words, and each finding's name with its components.
    state : str
        One of `strongmotion.archive.STATES`; empty where the result is of no archive.
    decision : Decision, optional
        Who decided, and why, where a person did.
    version : str
        Name of the version; empty where the result is of no archive.
    """

    kind: Kind
    uses: tuple[Use, ...]
    findings: tuple[tuple[str, str], ...]
    state: str = ""
    decision: Decision | None = None
    version: str = ""

    @property
    def title(self) -> str:
        """The verdict in words."""
        return TITLES[self.kind]


def verdict_of(result: Result, standing: Standing | None = None) -> Verdict:
    """Return what may be used of a result.

    Parameters
    ----------
    result : Result
    standing : Standing, optional
        Versions and decisions of its record in an archive, of which the result is the current version.

    Returns
    -------
    Verdict
        A decision can only take from what the findings leave: a record that a person accepted is no more usable than
        its findings and bands say.
    """
    set_aside = standing is not None and standing.state in SET_ASIDE
    doubts = any(one.severity == "doubt" for one in result.findings)
    uses = tuple(_use(result, name, set_aside) for name in _rows(result))
    said = [word for use in uses for word in (*use.peaks.values(), "yes" if use.longest else "no")]
    kind: Kind = "usable within"
    if all(word == "no" for word in said):
        kind = "not usable"
    elif all(word == "yes" for word in said) and not doubts:
        kind = "usable"
    current = standing.current if standing else None
    return Verdict(
        kind,
        uses,
        tuple(_against(result.findings)),
        standing.state if standing else "",
        _deciding(standing) if standing else None,
        current.name if current else "",
    )


def touched(finding: Finding) -> str:
    """Return the numbers that a finding speaks of, in words.

    Examples
    --------
    >>> from strongmotion.record import Finding, Touched
    >>> touched(Finding("baseline shift", "doubt", "", "", "", touches=Touched(("PGV", "PGD"), (2.5, math.inf))))
    'PGV, PGD and spectral ordinates from 2.50 s on'
    """
    its = finding.touches
    whole = its.periods[0] <= 0 and math.isinf(its.periods[1])
    parts = list(its.peaks)
    if its.spectrum:
        parts.append(f"spectral ordinates{'' if whole else _in_words(*its.periods, 0.0, math.inf)}")
    if not parts:
        said = "none of the numbers"
    elif whole and len(its.peaks) == len(PEAKS):
        said = "all numbers"
    else:
        said = " and ".join([", ".join(parts[:-1]), parts[-1]] if len(parts) > 1 else parts)
    return said if its.alone else f"{said} that combine both horizontals"


def _rows(result: Result) -> list[str]:
    combined = ["RotD50"] if "horizontal" in result.usable_band else []
    return [*result.motion, *combined]


def _use(result: Result, name: str, set_aside: bool) -> Use:
    doubts = doubts_of(result, name)
    band = result.usable_band[name if name in result.motion else "horizontal"]
    peaks = result.peaks[result.peaks["component"] == name]
    said = {}
    for row in peaks.to_dict("records"):
        usable = row["usable"] and not set_aside
        bound = bool(at_least(result, name, row["quantity"]))
        said[str(row["quantity"])] = (
            "no"
            if not usable
            else "at least"
            if bound
            else "in doubt"
            if any(row["quantity"] in touches.peaks for touches in doubts)
            else "wide band"
            if _is_wide(row)
            else "yes"
        )  # fmt: skip
    longest = 0.0 if set_aside or not band.usable or band.longest_period < band.shortest_period else band.longest_period
    spans = [touches.periods for touches in doubts if touches.spectrum]
    return Use(
        name,
        {quantity: said.get(quantity, "no") for quantity in PEAKS},
        band.shortest_period,
        longest,
        _joined(spans, band.shortest_period, longest),
    )


def _is_wide(row: Mapping[Hashable, Any]) -> bool:
    """Whether the band of a peak reaches far from it; false where there is no band."""
    away = max(row["band_high"] - row["value"], row["value"] - row["band_low"])
    return bool(away > WIDE * row["value"])


def _joined(spans: list[tuple[float, float]], shortest: float, longest: float) -> tuple[tuple[float, float], ...]:
    """Return spans of periods cut to the usable ones, those that meet as one."""
    joined: list[tuple[float, float]] = []
    for first, last in sorted((max(first, shortest), min(last, longest)) for first, last in spans):
        if first > last:
            continue
        if joined and first <= joined[-1][1]:
            joined[-1] = (joined[-1][0], max(last, joined[-1][1]))
        else:
            joined.append((first, last))
    return tuple(joined)


def _in_words(first: float, last: float, shortest: float, longest: float) -> str:
    if first <= shortest and last >= longest:
        return ""
    if last >= longest:
        return f" from {number(first)} s on"
    if first <= shortest:
        return f" to {number(last)} s"
    return f" from {number(first)} to {number(last)} s"


def _against(findings: tuple[Finding, ...]) -> list[tuple[str, str]]:
    """Return what speaks against use: each severity above a note in words, and names with their components."""
    lines = []
    for severity in ("unfit", "doubt"):
        together: dict[str, list[str]] = {}
        for finding in findings:
            if finding.severity == severity:
                together.setdefault(finding.name, []).append(finding.component)
        names = [
            name + (f" ({', '.join(dict.fromkeys(components))})" if all(components) else "")
            for name, components in together.items()
        ]
        if names:
            lines.append((SEVERITIES[severity], "; ".join(names)))
    return lines


def _deciding(standing: Standing) -> Decision | None:
    """Return the decision that gave a record its state; None where nobody decided."""
    name = standing.current.name if standing.current else ""
    return next(
        (one for one in reversed(standing.decisions) if one.state == standing.state and one.version in ("", name)),
        None,
    )
