"""The files and figures of one event: where it was, how its records line up, and how the shaking fell off."""

from __future__ import annotations

import base64
import math
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from matplotlib.lines import Line2D
from matplotlib.patches import Circle as CirclePatch
from matplotlib.patches import Ellipse as EllipsePatch

from .. import __version__
from ..event import (
    FARTHEST,
    PGA_MAGNITUDES,
    PGA_SCATTER,
    PGV_MAGNITUDES,
    PGV_SCATTER,
    describe,
    expected_pga,
    expected_pgv,
    to_json,
    to_quakeml,
    travel_times,
)
from ..foundation.cautions import EVENT_CAUTION
from ..foundation.errors import ArchiveError
from ..foundation.files import write_whole
from ..foundation.geodesy import Plane, middle
from ..foundation.units import acceleration_unit, in_unit, label
from ..measures import modified_mercalli
from .labels import Corner, quietest_corner, write_names
from .page import templates
from .style import canvas, finish, logarithmic, named_style, quieten, save, shortened
from .tables import number

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from ..event import Event
    from .style import Style

__all__ = ["map_figure", "section_figure", "shaking_figure", "stations_in", "write_event"]

PICTURES = {
    "map.png": "Stations, their distances by S minus P, and the epicentre with its region of 95 %.",
    "section.png": "Acceleration of each record over its own peak, at its distance, with picks and travel times.",
    "shaking.png": "Peaks against distance. Shaded: Joyner & Boore (1981), one standard deviation. ×: implausible.",
}
"""Pictures of the page, the most important first, and what they show."""

NAMES = 0.032
"""Part of the height of a record section that a name takes."""


def write_event(event: Event, folder: str | Path, unit: str = "m/s2") -> list[Path]:
    """Write all that is known of an event into a folder.

    Parameters
    ----------
    event : Event
    folder : str or Path
        Made if it is not there.
    unit : {"m/s2", "cm/s2", "g"}
        Of acceleration, in the table, the page and the figures.

    Returns
    -------
    list of Path
        ``event.txt`` (in words), ``event.json``, ``event.xml`` (QuakeML 1.2), ``stations.csv`` (a row a record; its
        first line is the caution), ``event.html`` (all of it to read), ``map.png``, ``section.png`` and
        ``shaking.png``.

    Raises
    ------
    ArchiveError
        A file cannot be written.
    InputError
        `unit` is not one of acceleration.
    """
    folder = Path(folder)
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise ArchiveError(f"cannot be made: {error.strerror}", source=str(folder)) from None
    unit = acceleration_unit(unit)
    table = stations_in(event, unit).to_csv(index=False, lineterminator="\n", float_format="%.6g")
    texts = {
        "event.txt": describe(event),
        "event.json": to_json(event),
        "event.xml": to_quakeml(event),
        "stations.csv": f"# {EVENT_CAUTION}\n{table}",
    }
    written = []
    for name, text in texts.items():
        write_whole(folder / name, text.encode(), replace=True)
        written.append(folder / name)
    figures = {"map.png": map_figure(event), "section.png": section_figure(event)}
    figures["shaking.png"] = shaking_figure(event, unit=unit)
    written += [save(figure, folder / name) for name, figure in figures.items()]
    page = folder / "event.html"
    write_whole(page, _page(event, unit, folder).encode(), replace=True)
    return [*written, page]


def stations_in(event: Event, unit: str) -> pd.DataFrame:
    """Return the table of an event's stations with PGA in a unit, which its column names."""
    suffix = unit.replace("/", "_")
    columns = {
        f"{name}_m_s2": f"{name}_{suffix}" for name in ("pga", "expected_pga") if f"{name}_m_s2" in event.stations
    }
    table = event.stations.rename(columns=columns)
    return table.assign(**{name: table[name] * in_unit(unit) for name in columns.values()})


def _page(event: Event, unit: str, folder: Path) -> str:
    """Return the page of an event, with the pictures that stand in a folder; the most important first."""
    pictures = [
        (f"data:image/png;base64,{base64.b64encode((folder / name).read_bytes()).decode()}", caption)
        for name, caption in PICTURES.items()
    ]
    columns = {
        "station": "Station", "epicentral_distance_km": "Distance, km", "s_minus_p_s": "S−P, s",
        "p_residual_s": "P residual, s", "s_residual_s": "S residual, s",
        f"pga_{unit.replace('/', '_')}": f"PGA, {label(unit)}", "pgv_m_s": "PGV, m/s", "local_magnitude": "ML",
        "moment_magnitude": "Mw",
    }  # fmt: skip
    table = stations_in(event, unit).sort_values("epicentral_distance_km", na_position="last")
    rows = [
        [value if isinstance(value, str) else "–" if math.isnan(value) else number(value) for value in row]
        for row in table[list(columns)].to_numpy(dtype=object).tolist()
    ]
    lines = describe(event).splitlines()
    return templates().get_template("event.html").render(
        title=_what(event),
        lines=[line for line in lines if line.strip() and line not in event.cautions],
        columns=list(columns.values()),
        rows=rows,
        pictures=pictures,
        cautions=event.cautions,
        made_with=__version__,
    )  # fmt: skip


def map_figure(event: Event, *, style: str = "light", axes: Axes | None = None) -> Figure:
    """Draw the stations, their circles of S minus P, and the epicentre with its ellipse of 95 %.

    Parameters
    ----------
    event : Event
    style : {"light", "dark"}
    axes : matplotlib.axes.Axes, optional
        Draw there.

    Returns
    -------
    matplotlib.figure.Figure
        Kilometres east and north of the epicentre, or of the middle of the stations where there is no one epicentre.
    """
    colours = named_style(style)
    figure, grid = canvas(axes, 1, 1, (7.6, 7.4), colours)
    plot = grid[0, 0]
    table = event.stations.dropna(subset=["latitude_deg", "longitude_deg"])
    point = event.location.point
    if point is not None:
        centre = Plane(point.latitude, point.longitude)
    elif len(table):
        centre = Plane(*middle(table["latitude_deg"].tolist(), table["longitude_deg"].tolist()))
    else:
        centre = Plane(0.0, 0.0)
    reach = [1.0]
    at = centre.onto(table["latitude_deg"].tolist(), table["longitude_deg"].tolist())
    # Without a point there are no residuals to tell the used from the others.
    used = (table["p_used"] | table["s_used"] | (point is None)).to_numpy(dtype=bool)
    faint = 1.0 if len(event.location.circles) <= 8 else 0.6  # so that many leave the stations to be seen
    for circle in event.location.circles:
        middle_of = centre.onto([circle.latitude], [circle.longitude])[0]
        plot.add_patch(
            CirclePatch(
                middle_of,
                circle.radius,
                fill=False,
                edgecolor=colours.components["H1"],
                linewidth=0.9 * faint,
                alpha=0.8 * faint,
            )
        )
        if event.location.kind == "circle":
            reach.append(float(np.abs(middle_of).max()) + circle.radius)
    region = event.location.region
    if region is not None and point is None and event.location.kind != "two points":
        rows, columns = region.inside.shape
        offset = centre.onto([region.plane.latitude], [region.plane.longitude])[0]
        east = offset[0] + region.west + (np.arange(-1, columns + 1) + 0.5) * region.size
        north = offset[1] + region.south + (np.arange(-1, rows + 1) + 0.5) * region.size
        plot.contourf(east, north, np.pad(region.inside, 1).astype(float), levels=[0.5, 1.5],
                      colors=[colours.components["H2"]], alpha=0.35, zorder=3)  # fmt: skip
        reach += [float(np.abs(east).max()), float(np.abs(north).max())]
    for hypocentre in event.location.hypocentres:
        place = centre.onto([hypocentre.latitude], [hypocentre.longitude])[0]
        ellipse = hypocentre.ellipse
        plot.add_patch(
            EllipsePatch(
                place, 2 * ellipse.semi_minor, 2 * ellipse.semi_major, angle=-ellipse.azimuth,
                facecolor=colours.components["H2"], edgecolor=colours.components["H2"], alpha=0.35, zorder=3,
            )
        )  # fmt: skip
        plot.plot(
            *place, marker="*", markersize=13, color=colours.components["H2"], markeredgecolor=colours.ink, zorder=4
        )
        reach.append(float(np.abs(place).max()) + ellipse.semi_major)
    for (east, north), filled in zip(at, used, strict=True):
        plot.plot(
            east, north, marker="^", markersize=8, color=colours.ink, zorder=5,
            markerfacecolor=colours.ink if filled else colours.paper,
        )  # fmt: skip
        reach.append(max(abs(east), abs(north)))
    limit = 1.15 * max(reach)
    plot.set(xlim=(-limit, limit), ylim=(-limit, limit), aspect="equal")
    where = "the epicentre" if point is not None else "the middle of the stations"
    plot.set(xlabel=f"km east of {where}", ylabel=f"km north of {where}")
    handles = [
        Line2D([], [], marker="^", color=colours.ink, linestyle="none", label="station"),
        Line2D([], [], marker="^", color=colours.ink, markerfacecolor=colours.paper, linestyle="none",
               label="not used"),
        Line2D([], [], color=colours.components["H1"], linewidth=0.9, label="distance by S minus P"),
        Line2D([], [], marker="*", color=colours.components["H2"], linestyle="none", markersize=11,
               label="epicentre (95 %)"),
    ]  # fmt: skip
    across, up = [float(east) for east, _ in at], [float(north) for _, north in at]
    corner = quietest_corner(plot, across, up)
    _legend(plot, handles if used.any() and not used.all() else [handles[0], *handles[2:]], colours, corner)
    quieten(plot, colours)
    sources = [tuple(centre.onto([one.latitude], [one.longitude])[0]) for one in event.location.hypocentres]
    write_names(plot, across, up, [shortened(name, 16) for name in table["station"]], 8.5, colours, clear=sources)
    return _finished(figure, axes is None, f"{_what(event)}", colours)


def section_figure(event: Event, *, style: str = "light", axes: Axes | None = None) -> Figure:
    """Draw every record at its distance, with its picks and the travel times of P and S.

    Parameters
    ----------
    event : Event
    style : {"light", "dark"}
    axes : matplotlib.axes.Axes, optional

    Returns
    -------
    matplotlib.figure.Figure
        Acceleration over its own peak; time from the origin where it is known, else from the first record's start.
        Records without a clock or a distance are left out.
    """
    colours = named_style(style)
    figure, grid = canvas(axes, 1, 1, (8.6, 6.8), colours)
    plot = grid[0, 0]
    point = event.location.point
    begin = point.origin_time if point is not None and math.isfinite(point.origin_time) else 0.0
    distances = dict(zip(event.stations["record"], event.stations["epicentral_distance_km"], strict=True))
    names = dict(zip(event.stations["record"], event.stations["station"], strict=True))
    shown = [r for r in event.readings if r.start is not None and math.isfinite(distances[r.record])]
    shown.sort(key=lambda reading: distances[reading.record])
    along = np.array([distances[reading.record] for reading in shown])
    farthest = float(along.max(initial=1.0))
    height = 0.42 * max(farthest, 1.0) / max(2, len(shown))
    rows = _apart(along, 2.1 * height)
    latest = 5.0
    for reading, row in zip(shown, rows, strict=True):
        assert reading.start is not None
        assert event.epoch is not None
        offset = (reading.start - event.epoch) / np.timedelta64(1, "ns") * 1e-9 - begin
        plot.plot(offset + reading.time, row + height * reading.trace, color=colours.ink, linewidth=0.45)
        for pick, colour in ((reading.arrivals.p, "H1"), (reading.arrivals.s, "H2")):
            if pick is not None:
                at = offset + pick.time
                plot.plot(
                    [at, at], [row - height, row + height], color=colours.components[colour], linewidth=2.0,
                    linestyle="-" if not pick.given else (0, (2, 1)), solid_capstyle="butt",
                )  # fmt: skip
                latest = max(latest, at)
    if point is not None and begin:
        # Rows that were moved apart take the curves along: these pass each trace where it stands.
        model = np.linspace(0.0, 1.1 * farthest, 200)
        up = np.interp(model, along, rows - along, left=0.0) + model
        for phase, colour in (("P", "H1"), ("S", "H2")):
            time = travel_times(event.location.model, phase, model, point.depth)[0]
            plot.plot(time, up, color=colours.components[colour], linewidth=0.9, linestyle=(0, (5, 3)), zorder=1)
    top = float(rows.max(initial=farthest))
    plot.set(xlim=(-6.0 if begin else 0.0, 1.25 * latest + 4.0), ylim=(-2 * height, top + 2.5 * height))
    plot.set(xlabel=f"Time after the {'origin' if begin else 'first record began'}, s", ylabel="Epicentral distance")
    names_at = [
        f"{shortened(names[reading.record], 16)}  {far:.0f} km" for reading, far in zip(shown, along, strict=True)
    ]
    handles = [
        Line2D([], [], color=colours.components["H1"], linewidth=2, label="P picked"),
        Line2D([], [], color=colours.components["H2"], linewidth=2, label="S picked"),
    ]
    if point is not None and begin:
        handles.append(Line2D([], [], color=colours.faint, linestyle=(0, (5, 3)), label="travel times of the model"))
    _legend(plot, handles, colours, "lower right")
    quieten(plot, colours)
    plot.set_yticks(rows, names_at)
    return _finished(figure, axes is None, f"{_what(event)}: record section", colours)


def _apart(places: np.ndarray, least: float) -> np.ndarray:
    """Return ascending places moved as little as that takes to lie so far apart: means of those that must move."""
    groups: list[tuple[list[float], float]] = []  # places less their rank's share, and their mean
    for rank, place in enumerate(places):
        members, mean = [float(place) - rank * least], float(place) - rank * least
        while groups and groups[-1][1] > mean:
            members = groups.pop()[0] + members
            mean = sum(members) / len(members)
        groups.append((members, mean))
    level = np.array([mean for members, mean in groups for _ in members])
    return level + least * np.arange(len(places))


def shaking_figure(event: Event, *, unit: str = "m/s2", style: str = "light") -> Figure:
    """Draw peak acceleration, velocity and intensity against distance, with what Joyner & Boore (1981) expect.

    Parameters
    ----------
    event : Event
    unit : {"m/s2", "cm/s2", "g"}
        Of acceleration.
    style : {"light", "dark"}

    Returns
    -------
    matplotlib.figure.Figure
        The relation is shaded within one standard deviation, for the event's magnitude, where it holds for that and as
        far as its records reach; implausible peaks are marked. Intensity has a panel where the records have it, with
        bars of one standard deviation of the relation.
    """
    colours = named_style(style)
    table = event.stations
    unit = acceleration_unit(unit)
    panels = [
        (
            "pga_m_s2",
            f"PGA, larger horizontal, {label(unit)}",
            expected_pga,
            PGA_SCATTER,
            PGA_MAGNITUDES,
            in_unit(unit),
        ),
        ("pgv_m_s", "PGV, larger horizontal, m/s", expected_pgv, PGV_SCATTER, PGV_MAGNITUDES, 1.0),
    ]
    felt = table["intensity"].notna().any()
    figure, grid = canvas(None, 1, 2 + felt, (4.3 * (2 + felt), 4.8), colours)
    known = table["epicentral_distance_km"].notna()
    distances = table.loc[known, "epicentral_distance_km"]
    nearest, farthest = (max(1.0, 0.7 * distances.min()), max(20.0, 1.4 * distances.max())) if known.any() else (1, 100)
    along = np.geomspace(nearest, min(farthest, FARTHEST), 100)
    size = None if event.size is None or event.size.at_least else event.size.value
    shown: list[tuple[Axes, list[float], list[float], list[str]]] = []
    for plot, (column, title, relation, scatter, (least, largest), factor) in zip(grid[0], panels, strict=False):
        held = size is not None and least <= size <= largest
        if size is not None and held:
            median = factor * relation(size, along)
            plot.fill_between(along, median / 10**scatter, median * 10**scatter, color=colours.shade, zorder=0)
            plot.plot(along, median, color=colours.faint, linewidth=1.2, label="Joyner & Boore (1981), ± 1 σ")
        logarithmic(plot)
        plot.set(xlim=(nearest, farthest), xlabel="Epicentral distance, km", ylabel=title)
        if held:
            _legend(plot, plot.get_legend_handles_labels()[0][:1], colours, "lower left")
        else:
            why = "needs a magnitude" if size is None else f"holds for M {least:g} to {largest:g}"
            plot.set_title(f"Joyner & Boore (1981) {why}: not drawn", fontsize=7.5, color=colours.faint)
        quieten(plot, colours, nbins=None)
        shown.append((plot, *_observed(plot, event, column, colours, factor)))
    if felt:
        plot = grid[0, 2]
        logarithmic(plot, "x")
        plot.set(
            xlim=(nearest, farthest),
            xlabel="Epicentral distance, km",
            ylabel="Modified Mercalli intensity by PGV (Worden et al. 2012), ± 1 σ",
        )
        quieten(plot, colours)
        shown.append((plot, *_observed(plot, event, "intensity", colours, sigma=modified_mercalli(0.1, "PGV")[1])))
    finished = _finished(figure, True, f"{_what(event)}: shaking against distance", colours)
    for plot, across, up, names in shown:
        write_names(plot, across, up, names, 8, colours)
    return finished


def _observed(
    plot: Axes, event: Event, column: str, colours: Style, factor: float = 1.0, sigma: float = 0.0
) -> tuple[list[float], list[float], list[str]]:
    """Draw what was observed, and return where and of which stations."""
    shown = [
        row
        for row in event.stations.sort_values("epicentral_distance_km").itertuples()
        if math.isfinite(row.epicentral_distance_km)
        and math.isfinite(getattr(row, column))
        and getattr(row, column) > 0
    ]
    across, up = [], []
    for row in shown:
        at = max(row.epicentral_distance_km, plot.get_xlim()[0])
        colour = colours.components["H1"] if row.pga_plausible else colours.alarm
        across.append(at)
        up.append(factor * getattr(row, column))
        plot.plot(at, up[-1], marker="o" if row.pga_plausible else "X", markersize=7, color=colour, linestyle="none")
    if sigma and shown:
        plot.errorbar(across, up, yerr=sigma, fmt="none", ecolor=colours.faint, elinewidth=0.8, zorder=1)
    return across, up, [shortened(row.station, 16) for row in shown]


def _what(event: Event) -> str:
    point = event.location.point
    time = None if point is None else event.utc(point.origin_time)
    parts = [f"{str(time)[:21].replace('T', ' ')} UTC" if time is not None else "Event"]
    if point is not None:
        north, east = "NS"[point.latitude < 0], "EW"[point.longitude < 0]
        parts.append(f"{abs(point.latitude):.2f}°{north} {abs(point.longitude):.2f}°{east}")
        low, high = event.location.depth_interval
        parts.append(f"{low:.0f} to {high:.0f} km deep")
    parts += [
        f"{size.kind} {'≥ ' if size.at_least else ''}{size.value:.1f}"
        for size in (event.moment, event.local)
        if size is not None
    ]
    return ", ".join(parts)


def _legend(plot: Axes, handles: list, colours: Style, where: Corner) -> None:
    plot.legend(
        handles=handles, loc=where, fontsize=8, frameon=True, framealpha=0.9, facecolor=colours.paper, edgecolor="none",
        labelcolor=colours.ink,
    )  # fmt: skip


def _finished(figure: Figure, own: bool, heading: str, colours: Style) -> Figure:
    if own:
        figure.supxlabel(EVENT_CAUTION, fontsize=7, color=colours.faint)
    return finish(figure, own, heading, colours)
