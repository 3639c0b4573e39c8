"""What happened to a record, entry by entry of its manifest, in words."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import TYPE_CHECKING

from .tables import number

if TYPE_CHECKING:
    from ..archive import Entry

__all__ = ["happened", "instant"]


def instant(time: str) -> str:
    """Return the time of an entry as a page prints it; a text that is no time as it stands."""
    try:
        return datetime.fromisoformat(time).astimezone(UTC).strftime("%Y-%m-%d %H:%M UTC")
    except ValueError:
        return time or "not known"


def happened(entry: Entry) -> str:
    """Return what an entry of the manifest says."""
    its = entry.values
    if entry.kind == "version":
        added = "automatic" if its["automatic"] else "by a person"
        return f"version {its['name']} added, {added}"
    if entry.kind == "decision":
        return f"{its['state']}, {'version ' + its['version'] if its['version'] else 'the whole record'}"
    if entry.kind == "current":
        return f"version {its['version']} put first"
    distances = ", ".join(f"{name} {number(float(far))} km" for name, far in its["distances"].items())
    return f"assigned to the event {its['event']}" + (f": {distances}" if distances else "")
