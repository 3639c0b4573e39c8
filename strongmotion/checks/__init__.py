"""Record -> findings, one small function a finding. A check never edits the record."""

from __future__ import annotations

from ..record import Finding, Record
from .clipping import clipping
from .copies import duplicated_components
from .dead import dead_component
from .ends import early_stop, second_event
from .plausibility import implausible_amplitude
from .resolution import coarse_quantisation
from .spikes import spikes
from .stuck import stuck_samples
from .tones import tone

__all__ = [
    "clipping",
    "coarse_quantisation",
    "dead_component",
    "duplicated_components",
    "early_stop",
    "examine",
    "implausible_amplitude",
    "second_event",
    "spikes",
    "stuck_samples",
    "tone",
]

CHECKS = (
    dead_component,
    clipping,
    spikes,
    stuck_samples,
    coarse_quantisation,
    implausible_amplitude,
    early_stop,
    second_event,
    tone,
)
"""The checks of one component, in the order they report."""


def examine(record: Record) -> tuple[Finding, ...]:
    """Return what was noted when the record was read, and what every check finds, component by component."""
    found = (check(component) for component in record for check in CHECKS)
    return (*record.findings, *(finding for finding in found if finding is not None), *duplicated_components(record))
