"""Record -> findings, one small function a finding. A check never edits the record."""

from __future__ import annotations

from ..record import Finding, Record
from .clipping import clipping
from .dead import dead_component

__all__ = ["clipping", "dead_component", "examine"]

CHECKS = (dead_component, clipping)
"""The checks of one component, in the order they report."""


def examine(record: Record) -> tuple[Finding, ...]:
    """Return what was noted when the record was read, and what every check finds on every component."""
    found = (check(component) for component in record for check in CHECKS)
    return (*record.findings, *(finding for finding in found if finding is not None))
