"""An event as JSON: every statement of the text as a number with its unit, for programs."""

from __future__ import annotations

import json
import math
from typing import Any

from .describe import spread_of_models
from .location import Hypocentre, Location
from .study import Event, Size

__all__ = ["to_json"]


def to_json(event: Event) -> str:
    """Return the event as JSON; what is not known is null, and every key of a physical quantity ends in its unit.

    Parameters
    ----------
    event : Event

    Returns
    -------
    str
        An object with ``place``, ``sizes``, ``energy_j``, ``vp_vs``, ``clocks``, ``models`` (each velocity model with
        its probability and the place it gives alone, where several were given), ``spread_of_models``, ``stations``,
        ``notes`` and ``cautions``.
    """
    location = event.location
    spread = spread_of_models(event)
    stations = [{str(name): value for name, value in row.items()} for row in event.stations.to_dict("records")]
    said = {
        "place": _place(event, location),
        "sizes": [_size(size) for size in (event.moment, event.local) if size is not None],
        "energy_j": event.energy,
        "vp_vs": None if event.vp_vs is None else {"ratio": event.vp_vs[0], "standard_error": event.vp_vs[1]},
        "clocks": [
            {"station": clock.station, "ahead_s": clock.offset, "standard_error_s": clock.uncertainty}
            for clock in location.clocks
        ],
        "left_out": list(location.left_out),
        "model": str(location.model),
        "models": [
            {"model": str(alone.model), "probability": probability, "place": _place(event, alone)}
            for alone, probability in zip(event.by_model, location.probabilities, strict=False)
        ],
        "spread_of_models": None if spread is None else {
            "epicentres_apart_km": spread[0], "depth_low_km": spread[1], "depth_high_km": spread[2],
        },
        "stations": stations,
        "notes": list(event.notes),
        "cautions": list(event.cautions),
    }  # fmt: skip
    return json.dumps(_plain(said), indent=1, ensure_ascii=False, allow_nan=False) + "\n"


def _place(event: Event, location: Location) -> dict[str, Any]:
    low, high = location.depth_interval
    region = location.region
    return {
        "kind": location.kind,
        "hypocentres": [_hypocentre(event, hypocentre) for hypocentre in location.hypocentres],
        "region_km2": None if region is None else region.area,
        "region_south_north_west_east_deg": None if region is None else list(region.extent),
        "depth_low_km": low,
        "depth_high_km": high,
        "depth_resolved": location.depth_resolved,
        "depths_below_elevation_m": location.datum,
        "azimuthal_gap_deg": location.gap,
        "consistent": location.consistent,
        "confidence": 0.95,
    }


def _hypocentre(event: Event, hypocentre: Hypocentre) -> dict[str, Any]:
    time = event.utc(hypocentre.origin_time)
    return {
        "latitude_deg": hypocentre.latitude,
        "longitude_deg": hypocentre.longitude,
        "depth_km": hypocentre.depth,
        "depth_standard_error_km": hypocentre.depth_uncertainty,
        "origin_time_utc": None if time is None else f"{time}Z",
        "origin_time_standard_error_s": hypocentre.origin_uncertainty,
        "ellipse_semi_major_km": hypocentre.ellipse.semi_major,
        "ellipse_semi_minor_km": hypocentre.ellipse.semi_minor,
        "ellipse_azimuth_deg": hypocentre.ellipse.azimuth,
    }


def _size(size: Size) -> dict[str, Any]:
    return {
        "kind": size.kind,
        "value": size.value,
        "standard_error": size.error,
        "scatter": size.scatter,
        "stations": size.stations,
        "at_least": size.at_least,
    }


def _plain(value: Any) -> Any:
    """Return what JSON can hold: null for a number that is none."""
    if isinstance(value, dict):
        return {name: _plain(one) for name, one in value.items()}
    if isinstance(value, list):
        return [_plain(one) for one in value]
    if isinstance(value, float):
        return float(value) if math.isfinite(value) else None
    return value.item() if hasattr(value, "item") else value
