"""Which event a record of an archive is of: kept in its manifest, where catalogue, questions and pages look."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

from ..foundation.errors import InputError

if TYPE_CHECKING:
    from ..archive import Archive
    from .study import Event

__all__ = ["keep_events"]


def keep_events(archive: Archive, events: Sequence[Event], name: str, by: str = "", why: str = "") -> dict[str, str]:
    """Enter in the archive which event each record is of, and its distances where there is one hypocentre.

    Parameters
    ----------
    archive : Archive
        The one the events were read from.
    events : sequence of Event
    name : str
        Of the event; of several the first gets ``name-1``, the next ``name-2``, and so on. A record of several shocks
        counts for that of its largest acceleration.
    by, why : str
        Who says so and why.

    Returns
    -------
    dict of str to str
        The event of each record. What the archive says already is not entered again.

    Raises
    ------
    InputError
        The name is empty.
    ArchiveError
        The manifest cannot be written.
    """
    if not name.strip():
        raise InputError("an event needs a name to be kept under", field="name", remedy="Give one, such as 2031-quay")
    strongest: dict[str, float] = {}
    kept: dict[str, tuple[str, dict[str, float]]] = {}
    for number, event in enumerate(events, start=1):
        called = name.strip() if len(events) == 1 else f"{name.strip()}-{number}"
        rows = event.stations.set_index("record")
        for reading in event.readings:
            level = reading.pga if math.isfinite(reading.pga) else 0.0
            if level <= strongest.get(reading.record, -1.0):
                continue
            strongest[reading.record] = level
            far = {
                kind: float(rows.at[reading.record, f"{kind}_distance_km"]) for kind in ("epicentral", "hypocentral")
            }
            known = event.location.point is not None
            kept[reading.record] = called, {kind: km for kind, km in far.items() if known and math.isfinite(km)}
    for record, (called, distances) in sorted(kept.items()):
        if archive.standing(record).event != {"event": called, "distances": distances}:
            archive.assign(record, called, distances, by, why)
    return {record: called for record, (called, _) in sorted(kept.items())}
