"""An event in words, for a screen or a text file."""

from __future__ import annotations

import math

from ..foundation.geodesy import distance_and_azimuth
from .location import Hypocentre, Location
from .study import Event, Size

__all__ = ["describe", "spread_of_models"]


def describe(event: Event) -> str:
    """Return what is known of the event, the most important first, what is not, and the cautions, a line each."""
    location = event.location
    lines = []
    if location.kind == "point":
        lines += _place(event, location.hypocentres[0])
    elif location.kind == "two points":
        for number, hypocentre in enumerate(location.hypocentres, 1):
            lines += [f"Possible place {number}:", *(f"  {line}" for line in _place(event, hypocentre))]
    elif location.kind == "region" and location.region is not None:
        south, north, west, east = location.region.extent
        low, high = location.depth_interval
        lines += [
            f"Epicentre in a region of {location.region.area:.0f} km² (95 %), from {_degrees(south, west)} to "
            f"{_degrees(north, east)}; see the map.",
            f"Depth {low:.0f} to {high:.0f} km (95 %).",
        ]
    elif location.kind == "nothing":
        lines.append("The place cannot be determined from these records.")
    lines += [f"{name} {_size(size)}." for size, name in _sizes(event)]
    if location.kind in ("region", "circle"):
        lines += _far(event)
    if location.kind == "circle":
        lines += _directions(event)
    if event.energy is not None and event.size is not None:
        lines.append(f"Radiated energy about {event.energy:.1e} J, by {event.size.kind} (Gutenberg & Richter 1956).")
    lines += [f"{clock.sentence[0].upper()}{clock.sentence[1:]}." for clock in location.clocks]
    lines += [f"Note: {note}." for note in event.notes]
    if location.kind == "point":
        used = {residual.station for residual in location.residuals if residual.used}
        phases = sum(residual.used for residual in location.residuals)
        lines.append(f"From {phases} arrivals at {len(used)} stations; azimuthal gap {location.gap:.0f} degrees.")
    if event.vp_vs is not None:
        lines.append(f"Vp/Vs by the Wadati diagram: {event.vp_vs[0]:.3f} ± {event.vp_vs[1]:.3f}.")
    given = "Velocities" if event.settings.model is not None else "No velocities given; the likelier of two models has"
    if event.by_model:
        lines += _by_model(event)
    else:
        lines.append(f"{given} {location.model}.")
    if event.moment is not None:
        lines.append(
            "The moment assumes spherical spreading, 2.8 t/m³ and 3.5 km/s at the source, a mean radiation of 0.63, a "
            "free-surface factor of 2 and no site amplification; stress drops from 0.1 to 100 MPa are considered."
        )
    return "\n".join([*lines, *event.cautions]) + "\n"


def spread_of_models(event: Event) -> tuple[float | None, float, float] | None:
    """Return how far the epicentres by each model alone lie apart, and the least and largest depth any allows, km.

    Parameters
    ----------
    event : Event

    Returns
    -------
    tuple of float, or None
        The first is None where some model gives no epicentre; None for fewer than two models.
    """
    if not event.by_model:
        return None
    points = [alone.point for alone in event.by_model]
    apart: float | None = 0.0
    for one in points:
        for other in points:
            if one is None or other is None or apart is None:
                apart = None
            else:
                far, _ = distance_and_azimuth(one.latitude, one.longitude, other.latitude, other.longitude)
                apart = max(apart, far)
    intervals = [alone.depth_interval for alone in event.by_model]
    return apart, min(low for low, _ in intervals), max(high for _, high in intervals)


def _by_model(event: Event) -> list[str]:
    """Say what each model gives alone, and how far they differ."""
    lines = []
    for alone, probability in zip(event.by_model, event.location.probabilities, strict=True):
        lines.append(f"Velocities {alone.model}, probability {probability:.2f}: {_alone(event, alone)}.")
    spread = spread_of_models(event)
    assert spread is not None
    apart, low, high = spread
    between = "not every model gives one epicentre" if apart is None else f"epicentres are up to {apart:.1f} km apart"
    lines.append(f"Spread of the models: {between}, depths from {low:.0f} to {high:.0f} km.")
    return lines


def _alone(event: Event, location: Location) -> str:
    low, high = location.depth_interval
    point = location.point
    if not location.consistent:
        return "no one place and time explains the arrivals"
    if point is None:
        return f"no one epicentre, depth {low:.0f} to {high:.0f} km"
    time = event.utc(point.origin_time)
    origin = "" if time is None else f", origin {str(time)[11:]} UTC"
    return f"{_degrees(point.latitude, point.longitude)}, depth {low:.0f} to {high:.0f} km{origin}"


def _sizes(event: Event) -> list[tuple[Size, str]]:
    """Return the magnitudes there are, the one that counts first."""
    found = [(size, name) for size, name in ((event.moment, "Moment magnitude"), (event.local, "Local magnitude"))
             if size is not None]  # fmt: skip
    return sorted(found, key=lambda pair: pair[0] is not event.size)


def _place(event: Event, hypocentre: Hypocentre) -> list[str]:
    ellipse = hypocentre.ellipse
    time = event.utc(hypocentre.origin_time)
    low, high = event.location.depth_interval
    open_depth = "" if event.location.depth_resolved else ": not constrained by the arrivals"
    datum = event.location.datum
    below = "" if datum is None else f" below the stations, whose mean elevation is {datum:.0f} m"
    lines = []
    if time is not None:
        lines.append(f"Origin time {str(time).replace('T', ' ')} UTC ± {hypocentre.origin_uncertainty:.2f} s.")
    lines += [
        f"Epicentre {_degrees(hypocentre.latitude, hypocentre.longitude)}; 95 % ellipse {ellipse.semi_major:.1f} by "
        f"{ellipse.semi_minor:.1f} km, longer axis towards {ellipse.azimuth:.0f} degrees.",
        f"Depth {low:.0f} to {high:.0f} km{below} (95 %){open_depth}.",
    ]
    return lines


def _far(event: Event) -> list[str]:
    """Say how far the event is from each station, where that is what the arrivals tell."""
    return [f"{distance.sentence}." for distance in event.location.distances_by_lag]


def _directions(event: Event) -> list[str]:
    lines = []
    for reading in event.readings:
        direction = reading.direction
        if direction is None:
            lines.append(f"{reading.record}: the P motion gives no direction.")
            continue
        towards = f"{direction.back_azimuth:.0f} ± {direction.uncertainty:.0f} degrees"
        if direction.either_way:
            towards += f", or {(direction.back_azimuth + 180) % 360:.0f}: which of the two is open"
        lines.append(f"{reading.record}: according to the P motion, the source is towards {towards}.")
    return lines


def _degrees(latitude: float, longitude: float) -> str:
    north, east = "NS"[latitude < 0], "EW"[longitude < 0]
    return f"{abs(latitude):.3f}° {north}, {abs(longitude):.3f}° {east}"


def _size(size: Size) -> str:
    count = f"from {size.stations} station{'s' * (size.stations != 1)}"
    if size.at_least:
        why = "the scale saturates there" if size.kind == "ML" else "the records' band ends above the corner"
        return f"at least {size.kind} {size.value:.1f}, {count}: {why}"
    scatter = "" if math.isnan(size.scatter) else f"; scatter of stations {size.scatter:.2f}"
    return f"{size.kind} {size.value:.2f} ± {size.error:.2f}, {count}{scatter}"
