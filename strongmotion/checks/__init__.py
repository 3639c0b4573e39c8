"""Record -> findings, one small function a finding. A check never edits the record."""

from __future__ import annotations

from ..record import Finding, Record
from ._prepared import prepared
from .aliasing import aliasing
from .clipping import clipping
from .continuity import broken_continuity
from .copies import duplicated_components, reversed_polarity
from .dead import dead_component
from .ends import early_stop, forget_levels, second_event
from .fills import repeated_block, straight_fill
from .plausibility import implausible_amplitude, implausible_interval, looks_processed, negative_sensitivity, too_short
from .resolution import coarse_quantisation
from .spikes import spikes
from .stuck import stuck_samples
from .swapped import swapped_components
from .tones import tone

__all__ = [
    "aliasing",
    "broken_continuity",
    "clipping",
    "coarse_quantisation",
    "dead_component",
    "duplicated_components",
    "early_stop",
    "examine",
    "implausible_amplitude",
    "implausible_interval",
    "looks_processed",
    "negative_sensitivity",
    "repeated_block",
    "reversed_polarity",
    "second_event",
    "spikes",
    "straight_fill",
    "stuck_samples",
    "swapped_components",
    "tone",
    "too_short",
]

CHECKS = (
    dead_component,
    too_short,
    clipping,
    spikes,
    stuck_samples,
    straight_fill,
    repeated_block,
    broken_continuity,
    coarse_quantisation,
    implausible_amplitude,
    implausible_interval,
    negative_sensitivity,
    looks_processed,
    early_stop,
    second_event,
    tone,
    aliasing,
)
"""The checks of one component, in the order they report."""

TOGETHER = (duplicated_components, reversed_polarity, swapped_components)
"""The checks that compare components."""


EXPLAINED = ("spikes", "stuck samples", "straight fill", "repeated block", "clipping")
"""Findings that explain a break of continuity in or beside their span."""

SHARED = ("stuck samples", "straight fill", "repeated block", "broken continuity", "gain jump")
"""Findings of faults in the digitiser, which other components of the same one may share."""

MORE = 1.1
"""Energy that a break must explain of the innovations, against that which a spike there explains."""

BESIDE = 0.2
"""s about a span that still belong to it."""


def examine(record: Record) -> tuple[Finding, ...]:
    """Return what was noted when the record was read, and what every check finds, component by component.

    A fault of the digitiser on one component is noted on the others too: it may be there unseen.

    Examples
    --------
    >>> from strongmotion import read
    >>> for finding in examine(read("demo_records/bell.txt"))[:2]:
    ...     print(finding.severity, finding.name, finding.component)
    unfit clipping H1
    unfit clipping H2
    """
    found: list[Finding] = []
    for component in record:
        its = [finding for check in CHECKS if (finding := check(component)) is not None]
        found += _explained(its)
    prepared.cache_clear()  # no record is kept alive by what was computed of it
    forget_levels()
    compared = (finding for check in TOGETHER for finding in check(record))
    return (*record.findings, *found, *_beside(record, found), *compared)


def _explained(its: list[Finding]) -> list[Finding]:
    """Leave out a break of continuity where another fault was found; and a spike where a break explains more."""
    breaks = [finding for finding in its if finding.name in ("broken continuity", "gain jump")]
    for finding in breaks:
        assert finding.span is not None
        begin, end = finding.span[0] - BESIDE, finding.span[1] + BESIDE
        there = [
            other for other in its
            if other.name in EXPLAINED and other.span is not None and other.span[0] <= end and other.span[1] >= begin
        ]  # fmt: skip
        lone = [
            other for other in there
            if other.name == "spikes" and other.span is not None and begin <= other.span[0] and other.span[1] <= end
        ]  # fmt: skip
        if lone and there == lone and finding.values["energy_to_that_of_a_spike"] > MORE:
            its = [other for other in its if other is not lone[0]]
        elif there:
            its = [other for other in its if other is not finding]
    return its


def _beside(record: Record, found: list[Finding]) -> list[Finding]:
    """Return a note for every component that shares its digitiser with one of a fault, and does not show it itself."""
    notes = []
    for fault in found:
        if fault.name not in SHARED or fault.span is None:
            continue
        for name in record.names:
            if name == fault.component or any(other.name == fault.name for other in found if other.component == name):
                continue
            notes.append(
                Finding(
                    "fault beside", "note",
                    what=f"{fault.component} has the finding {fault.name}; {name} comes from the same digitiser",
                    effect="the same may have happened here and not show",
                    remedy=f"look at {name} there",
                    component=name,
                    span=fault.span,
                    confidence=0.5 * fault.confidence,
                )
            )  # fmt: skip
    return notes
