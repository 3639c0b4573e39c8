"""Record -> findings, one small function a finding. A check never edits the record."""

from __future__ import annotations

from ..record import Finding, Record
from .aliasing import aliasing
from .clipping import clipping
from .copies import duplicated_components, reversed_polarity
from .dead import dead_component
from .ends import early_stop, second_event
from .plausibility import implausible_amplitude, implausible_interval, negative_sensitivity, too_short
from .resolution import coarse_quantisation
from .spikes import spikes
from .stuck import stuck_samples
from .swapped import swapped_components
from .tones import tone

__all__ = [
    "aliasing",
    "clipping",
    "coarse_quantisation",
    "dead_component",
    "duplicated_components",
    "early_stop",
    "examine",
    "implausible_amplitude",
    "implausible_interval",
    "negative_sensitivity",
    "reversed_polarity",
    "second_event",
    "spikes",
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
    coarse_quantisation,
    implausible_amplitude,
    implausible_interval,
    negative_sensitivity,
    early_stop,
    second_event,
    tone,
    aliasing,
)
"""The checks of one component, in the order they report."""

TOGETHER = (duplicated_components, reversed_polarity, swapped_components)
"""The checks that compare components."""


def examine(record: Record) -> tuple[Finding, ...]:
    """Return what was noted when the record was read, and what every check finds, component by component."""
    found = (check(component) for component in record for check in CHECKS)
    compared = (finding for check in TOGETHER for finding in check(record))
    return (*record.findings, *(finding for finding in found if finding is not None), *compared)
