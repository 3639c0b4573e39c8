"""The origin and the magnitude of an earthquake, from FDSN QuakeML 1.2 (https://quake.ethz.ch/quakeml/)."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np

from ..foundation.errors import RecordError
from ..foundation.times import instant_in
from ..record import Earthquake, Record
from .header import last_instant
from .source import content
from .xml import Node, parse

LONGEST_TRAVEL = 600
"""Longest time from origin to start of record, s; strong motion arrives within minutes (common practice, no source)."""

_KEPT = frozenset((
    "eventParameters", "event", "preferredOriginID", "preferredMagnitudeID", "origin", "magnitude", "originID",
    "time", "latitude", "longitude", "depth", "value", "mag", "type", "description", "text",
))  # fmt: skip


def read_quakeml(path: str | Path) -> tuple[Earthquake, ...]:
    """Read the earthquakes of a QuakeML document.

    Parameters
    ----------
    path : str or Path

    Returns
    -------
    tuple of Earthquake
        Each with its preferred origin and magnitude, or else the first ones listed.

    Raises
    ------
    RecordError
        The document cannot be read, is not QuakeML, or holds no event. The message names the line.

    Examples
    --------
    >>> import tempfile
    >>> from pathlib import Path
    >>> path = Path(tempfile.mkdtemp()) / "event.xml"
    >>> origin = "<origin><time><value>2031-04-17T03:26:41.2Z</value></time></origin>"
    >>> _ = path.write_text(f"<quakeml><eventParameters><event>{origin}</event></eventParameters></quakeml>")
    >>> str(read_quakeml(path)[0].time)[:19]
    '2031-04-17T03:26:41'
    """
    file, data = content(path)
    root = parse(data, file, "quakeml", _KEPT)
    found = tuple(_earthquake(event) for event in root.all("eventParameters", "event"))
    if not found:
        raise root.error("the document holds no event", "Give the QuakeML of the earthquake")
    return found


def of_earthquake(record: Record, earthquakes: tuple[Earthquake, ...], file: str) -> Record:
    """Return the record with its earthquake: the only one, or the latest whose waves could have arrived in time."""
    chosen = earthquakes[0] if len(earthquakes) == 1 else None
    if chosen is None and record.start is not None:
        end = last_instant(record)
        assert end is not None
        begins = record.start - np.timedelta64(LONGEST_TRAVEL, "s")
        fitting = [one for one in earthquakes if one.time and begins <= instant_in(one.time) <= end]
        chosen = max(fitting, key=lambda one: instant_in(one.time), default=None)
    if chosen is None:
        raise RecordError(
            f"none of the {len(earthquakes)} events is within {LONGEST_TRAVEL} s before record {record.id}",
            source=file,
            remedy="Give a document with only this event",
        )
    return replace(record, earthquake=chosen)


def _earthquake(event: Node) -> Earthquake:
    origin = _preferred(event, "origin", event.words("preferredOriginID"))
    magnitude = _preferred(event, "magnitude", event.words("preferredMagnitudeID"))
    time = ""
    if origin is not None and (text := origin.words("time", "value")):
        instant = origin.time_of(text)
        time = "" if instant is None else f"{instant}Z"
    latitude, longitude, depth = (
        None if origin is None else origin.number(name, "value") for name in ("latitude", "longitude", "depth")
    )
    for name, value, limit in (("latitude", latitude, 90), ("longitude", longitude, 360)):
        if value is not None and abs(value) > limit:
            assert origin is not None
            raise origin.error(f"{name} is {value:g}, outside ±{limit} degrees")
    return Earthquake(
        id=event.attributes.get("publicID", ""),
        time=time,
        latitude=latitude,
        longitude=longitude,
        depth=depth,
        magnitude=None if magnitude is None else magnitude.number("mag", "value"),
        magnitude_type="" if magnitude is None else magnitude.words("type"),
        name=event.words("description", "text"),
    )


def _preferred(event: Node, tag: str, id: str) -> Node | None:
    every = list(event.all(tag))
    return next((node for node in every if id and node.attributes.get("publicID") == id), every[0] if every else None)
