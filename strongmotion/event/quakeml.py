"""An event as QuakeML 1.2, basic event description (Schorlemmer et al. 2011; https://quake.ethz.ch/quakeml)."""

from __future__ import annotations

import math
import re
from typing import Any
from xml.etree import ElementTree

import numpy as np

from .. import __version__
from ..arrivals import Pick
from .location import Hypocentre
from .study import Event, Reading, Size

__all__ = ["to_quakeml"]

NAMESPACE = "http://quakeml.org/xmlns/bed/1.2"
WRAPPER = "http://quakeml.org/xmlns/quakeml/1.2"
KM_IN_A_DEGREE = 111.195
"""On a sphere of 6371 km; QuakeML gives distances and errors of coordinates in degrees."""


def to_quakeml(event: Event) -> str:
    """Return the event as a QuakeML document.

    Every pick has its uncertainty and mode (manual or automatic); the origin its depth type, quality and ellipse;
    magnitudes their stations. Where the arrivals do not tell one place there is no origin, and a comment says why. The
    same event always gives the same text: no time of writing is in it.

    Parameters
    ----------
    event : Event

    Returns
    -------
    str
    """
    name = re.sub(r"[^A-Za-z0-9]", "", str(event.epoch)[:19]) if event.epoch is not None else "untimed"
    ids = f"smi:local/strongmotion/{name}"
    root = ElementTree.Element("q:quakeml", {"xmlns:q": WRAPPER, "xmlns": NAMESPACE})
    parameters = _add(root, "eventParameters", publicID=f"{ids}/parameters")
    element = _add(parameters, "event", publicID=f"{ids}/event")

    point = event.location.point
    origin_time = None if point is None else event.utc(point.origin_time)
    has_origin = point is not None and origin_time is not None
    if has_origin:
        _text(element, "preferredOriginID", f"{ids}/origin")
        if event.size is not None and not event.size.at_least:
            _text(element, "preferredMagnitudeID", f"{ids}/magnitude/{event.size.kind}")
    _text(element, "type", "earthquake")
    statements = [clock.sentence for clock in event.location.clocks]
    if not has_origin:
        statements += [distance.sentence for distance in event.location.distances_by_lag]
    for sentence in (*event.cautions, *statements, *event.notes):
        _text(_add(element, "comment"), "text", sentence)
    _text(_add(element, "creationInfo"), "author", f"strongmotion {__version__}")

    names = dict(zip(event.stations["record"], event.stations["station"], strict=True))
    for reading in event.readings:
        for pick in (reading.arrivals.p, reading.arrivals.s):
            if pick is not None and reading.start is not None:
                _pick(element, f"{ids}/pick/{_safe(names[reading.record])}/{pick.phase}", pick, reading)
    if has_origin:
        assert point is not None
        _origin(element, ids, event, point, str(origin_time))
        rows = event.stations.set_index("record")
        for size, column in ((event.local, "local_magnitude"), (event.moment, "moment_magnitude")):
            if size is not None and not size.at_least:
                _magnitude(element, ids, size)
                for reading in event.readings:
                    value = rows.loc[reading.record, column]
                    if math.isfinite(value):
                        _station_magnitude(element, ids, size.kind, float(value), reading, names[reading.record])
    ElementTree.indent(root)
    return ElementTree.tostring(root, encoding="unicode", xml_declaration=False).join(
        ('<?xml version="1.0" encoding="UTF-8"?>\n', "\n")
    )


def _add(parent: ElementTree.Element, tag: str, **attributes: str) -> ElementTree.Element:
    return ElementTree.SubElement(parent, tag, {name: _clean(value) for name, value in attributes.items()})


def _text(parent: ElementTree.Element, tag: str, value: Any) -> None:
    _add(parent, tag).text = _clean(value)


def _clean(value: Any) -> str:
    """Leave out what XML cannot hold at all."""
    return re.sub(r"[^\t\n\r\x20-\uD7FF\uE000-\uFFFD\U00010000-\U0010FFFF]", "", str(value))


def _quantity(parent: ElementTree.Element, tag: str, value: str, uncertainty: float | None = None) -> None:
    element = _add(parent, tag)
    _text(element, "value", value)
    if uncertainty is not None and math.isfinite(uncertainty):
        _text(element, "uncertainty", f"{uncertainty:.6g}")


def _safe(name: str) -> str:
    return re.sub(r"[^A-Za-z0-9.\-]", "_", name) or "_"


def _waveform(parent: ElementTree.Element, reading: Reading) -> None:
    station = reading.station
    codes = {"networkCode": station.network[:8] or "XX", "stationCode": (station.code or reading.record)[:8]}
    if station.location:
        codes["locationCode"] = station.location[:8]
    _add(parent, "waveformID", **codes)


def _pick(parent: ElementTree.Element, public_id: str, pick: Pick, reading: Reading) -> None:
    assert reading.start is not None
    element = _add(parent, "pick", publicID=public_id)
    time = (reading.start + np.timedelta64(round(pick.time * 1e6), "us")).astype("datetime64[us]")
    _quantity(element, "time", f"{time}Z", pick.uncertainty)
    _waveform(element, reading)
    _text(element, "phaseHint", pick.phase)
    _text(element, "evaluationMode", "manual" if pick.given else "automatic")


def _origin(parent: ElementTree.Element, ids: str, event: Event, point: Hypocentre, time: str) -> None:
    location = event.location
    element = _add(parent, "origin", publicID=f"{ids}/origin")
    _quantity(element, "time", f"{time}Z", point.origin_uncertainty)
    north = math.sqrt(point.covariance[1, 1]) / KM_IN_A_DEGREE
    east = math.sqrt(point.covariance[0, 0]) / KM_IN_A_DEGREE / max(math.cos(math.radians(point.latitude)), 1e-6)
    _quantity(element, "longitude", f"{point.longitude:.5f}", east)
    _quantity(element, "latitude", f"{point.latitude:.5f}", north)
    # QuakeML counts depth from sea level.
    _quantity(element, "depth", f"{1000 * point.depth - (location.datum or 0.0):.0f}", 1000 * point.depth_uncertainty)
    _text(element, "depthType", "from location" if location.depth_resolved else "other")
    quality = _add(element, "quality")
    used = [residual for residual in location.residuals if residual.used]
    _text(quality, "usedPhaseCount", len(used))
    _text(quality, "usedStationCount", len({residual.station for residual in used}))
    rms = math.sqrt(sum(residual.residual**2 for residual in used) / len(used))
    _text(quality, "standardError", f"{rms:.4f}")
    _text(quality, "azimuthalGap", f"{location.gap:.1f}")
    distances = event.stations["epicentral_distance_km"].dropna() / KM_IN_A_DEGREE
    _text(quality, "maximumDistance", f"{distances.max():.4f}")
    _text(quality, "minimumDistance", f"{distances.min():.4f}")
    _text(element, "evaluationMode", "automatic")
    _text(element, "evaluationStatus", "preliminary")
    uncertainty = _add(element, "originUncertainty")
    _text(uncertainty, "minHorizontalUncertainty", f"{1000 * point.ellipse.semi_minor:.0f}")
    _text(uncertainty, "maxHorizontalUncertainty", f"{1000 * point.ellipse.semi_major:.0f}")
    _text(uncertainty, "azimuthMaxHorizontalUncertainty", f"{point.ellipse.azimuth:.1f}")
    _text(uncertainty, "preferredDescription", "uncertainty ellipse")
    _text(uncertainty, "confidenceLevel", "95")
    rows = event.stations.set_index("station")
    for residual in location.residuals:
        if residual.phase == "S-P":
            continue
        arrival = _add(element, "arrival", publicID=f"{ids}/arrival/{_safe(residual.station)}/{residual.phase}")
        _text(arrival, "pickID", f"{ids}/pick/{_safe(residual.station)}/{residual.phase}")
        _text(arrival, "phase", residual.phase)
        _text(arrival, "azimuth", f"{rows.loc[residual.station, 'azimuth_from_epicentre_deg']:.2f}")
        _text(arrival, "distance", f"{rows.loc[residual.station, 'epicentral_distance_km'] / KM_IN_A_DEGREE:.5f}")
        _text(arrival, "timeResidual", f"{residual.residual:.4f}")
        _text(arrival, "timeWeight", "1" if residual.used else "0")


def _magnitude(parent: ElementTree.Element, ids: str, size: Size) -> None:
    element = _add(parent, "magnitude", publicID=f"{ids}/magnitude/{size.kind}")
    _quantity(element, "mag", f"{size.value:.2f}", size.error)
    _text(element, "type", size.kind)
    _text(element, "stationCount", size.stations)
    _text(element, "originID", f"{ids}/origin")
    _text(element, "evaluationMode", "automatic")


def _station_magnitude(
    parent: ElementTree.Element, ids: str, kind: str, value: float, reading: Reading, name: str
) -> None:
    element = _add(parent, "stationMagnitude", publicID=f"{ids}/stationmagnitude/{_safe(name)}/{kind}")
    _text(element, "originID", f"{ids}/origin")
    _quantity(element, "mag", f"{value:.2f}")
    _text(element, "type", kind)
    _waveform(element, reading)
