"""Figures over an archive: where its stations lie, and how its numbers are spread."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

import numpy as np
from matplotlib import colormaps

from ..foundation.errors import InputError
from ..foundation.units import acceleration_unit, label
from .labels import quietest_corner, write_names
from .style import canvas, finish, logarithmic, named_style, quieten, shortened

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure
    from numpy.typing import NDArray

__all__ = ["distribution_figure", "largest", "station_figure"]

EARTH_RADIUS = 6371.0
"""Mean radius of the Earth, km."""

MOST_NAMED = 30
"""More stations than this are drawn without their codes."""

CLASSES = 4
"""Classes of PGA on the map."""


def largest(catalogue: pd.DataFrame, quantity: str) -> NDArray[np.float64]:
    """Return the largest of a quantity over each record's components, NaN where it has none.

    Parameters
    ----------
    catalogue : pandas.DataFrame
        From `Archive.catalogue`.
    quantity : str
        ``"pga"``, ``"pgv"`` or ``"pgd"``; combinations such as RotD50 do not count.
    """
    combined = ("Rot", "geometric_mean", "resultant", "horizontal")
    columns = [
        name
        for name in catalogue
        if name.startswith(f"{quantity}_")
        and not name.removeprefix(f"{quantity}_").startswith(combined)
        and "_band_" not in name
    ]
    if not columns:
        return np.full(len(catalogue), np.nan)
    return catalogue[columns].max(axis=1).to_numpy(dtype=float)


def station_figure(
    catalogue: pd.DataFrame,
    unit: str = "m/s2",
    centre: tuple[float, float] | None = None,
    axes: Axes | None = None,
    style: str = "light",
) -> Figure:
    """Draw where the stations lie, as a plain plot of distance east and north, with rings of equal distance.

    Parameters
    ----------
    catalogue : pandas.DataFrame
        From `Archive.catalogue`, with accelerations in `unit`.
    unit : {"m/s2", "cm/s2", "g"}
        That of the catalogue.
    centre : tuple of float, optional
        Latitude and longitude, degrees, to draw the rings about, such as an epicentre; the middle of the stations if
        not given.
    axes : Axes, optional
        To draw into; a figure is made if not given.
    style : {"light", "dark"}

    Returns
    -------
    matplotlib.figure.Figure
        Azimuthal equidistant about the centre, on a sphere: distances and directions from it are true (Snyder 1987,
        Map Projections, sec. 25). Colour tells the largest PGA among the components. Records without coordinates
        are counted below the map.

    Raises
    ------
    InputError
        No record has coordinates, or `unit` or `style` is unknown.
    """
    look, unit = named_style(style), acceleration_unit(unit)
    latitude = catalogue["latitude_deg"].to_numpy(dtype=float)
    longitude = catalogue["longitude_deg"].to_numpy(dtype=float)
    known = np.isfinite(latitude) & np.isfinite(longitude)
    if not known.any():
        raise InputError("no record of the archive has coordinates")
    if centre is None:
        centre = _middle(latitude[known], longitude[known])
    east, north = _from_centre(latitude[known], longitude[known], *centre)
    pga = largest(catalogue, "pga")[known]

    figure, grid = canvas(axes, 1, 1, (6.6, 6.4), look)
    panel = grid[0, 0]
    reach = max(float(np.hypot(east, north).max()), 1.0)
    step = _nice(reach / 3.0)
    rings = np.arange(step, 1.001 * reach + step, step)
    angle = np.linspace(0.0, 2 * np.pi, 181)
    for radius in rings:
        panel.plot(
            radius * np.cos(angle), radius * np.sin(angle), color=look.rule, linewidth=0.9, zorder=1, label="_ring"
        )
        panel.annotate(
            f"{radius:g} km", (0.0, radius), xytext=(0, 1), textcoords="offset points", ha="center", va="bottom",
            fontsize=7.5, color=look.faint,
        )  # fmt: skip
    panel.plot([0], [0], "+", color=look.faint, markersize=9, label="_centre")
    for title, chosen, colour in _classes(pga, unit):
        panel.plot(
            east[chosen], north[chosen], "o", color=colour, markeredgecolor=look.ink, markeredgewidth=0.5,
            markersize=7 if len(east) <= MOST_NAMED else 4.5, label=title, zorder=3,
        )  # fmt: skip
    limit = 1.12 * rings[-1]
    quieten(panel, look)
    panel.grid(False)
    panel.set(xlim=(-limit, limit), ylim=(-limit, limit), aspect="equal")
    panel.set_xlabel(f"East of {centre[0]:.2f}°, {centre[1]:.2f}°, km")
    panel.set_ylabel("North, km")
    panel.legend(
        loc=quietest_corner(panel, east, north), fontsize=8, title="largest PGA", title_fontsize=8, frameon=True,
        framealpha=0.85, facecolor=look.paper, edgecolor="none", labelcolor=look.ink,
    ).get_title().set_color(look.ink)  # fmt: skip
    if missing := int((~known).sum()):
        panel.text(
            0.99, 0.01, f"{missing} without coordinates", transform=panel.transAxes, ha="right", va="bottom",
            fontsize=8, color=look.ink,
        )  # fmt: skip
    if len(east) <= MOST_NAMED:
        codes = [shortened(str(code), 10) for code in catalogue["station"][known]]
        write_names(panel, east.tolist(), north.tolist(), codes, 8, look, clear=[(0.0, 0.0)])
    return finish(figure, axes is None, "Where the stations lie", look)


def distribution_figure(
    catalogue: pd.DataFrame, unit: str = "m/s2", axes: Iterable[Axes] | None = None, style: str = "light"
) -> Figure:
    """Draw how PGA, PGV and the longest usable period are spread over the records.

    Parameters
    ----------
    catalogue : pandas.DataFrame
        From `Archive.catalogue`, with accelerations in `unit`.
    unit : {"m/s2", "cm/s2", "g"}
        That of the catalogue.
    axes : iterable of three Axes, optional
        To draw into; a figure is made if not given.
    style : {"light", "dark"}

    Returns
    -------
    matplotlib.figure.Figure
        Counts of records in equal steps of the logarithm; PGA and PGV are the largest over the components.

    Raises
    ------
    InputError
        `unit` or `style` is unknown, or the axes are not three.
    """
    look, unit = named_style(style), acceleration_unit(unit)
    figure, grid = canvas(axes, 1, 3, (10.0, 3.6), look)
    columns = (
        (f"PGA, {label(unit)}", largest(catalogue, "pga")),
        ("PGV, m/s", largest(catalogue, "pgv")),
        ("Longest usable period, s", catalogue["longest_usable_period_s"].to_numpy(dtype=float)),
    )
    for panel, (title, values) in zip(grid[0], columns, strict=True):
        values = values[np.isfinite(values) & (values > 0)]
        if values.size:
            low, high = values.min() / 1.05, values.max() * 1.05
            bins = np.geomspace(low, high, int(np.clip(2 * np.sqrt(values.size), 4, 40)) + 1)
            logarithmic(panel, "x", marks=(1.0, 2.0, 5.0) if high < 100 * low else (1.0,))
            panel.hist(values, bins, color=look.colour("H1"), edgecolor=look.paper, linewidth=0.6)
        quieten(panel, look)
        panel.locator_params(axis="y", integer=True)
        panel.set_xlabel(title)
        panel.set_ylabel("Records")
    return finish(figure, axes is None, f"{len(catalogue)} records", look)


def _middle(latitude: NDArray[np.float64], longitude: NDArray[np.float64]) -> tuple[float, float]:
    """Return the middle of points on the sphere: the direction of the mean of their directions."""
    phi, lam = np.radians(latitude), np.radians(longitude)
    x, y, z = (np.cos(phi) * np.cos(lam)).mean(), (np.cos(phi) * np.sin(lam)).mean(), np.sin(phi).mean()
    return float(np.degrees(np.arctan2(z, np.hypot(x, y)))), float(np.degrees(np.arctan2(y, x)))


def _from_centre(
    latitude: NDArray[np.float64], longitude: NDArray[np.float64], centre_latitude: float, centre_longitude: float
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return distances east and north, km, in the azimuthal equidistant projection (Snyder 1987, eq. 25-2 to 25-5)."""
    phi, lam = np.radians(latitude), np.radians(longitude - centre_longitude)
    phi0 = np.radians(centre_latitude)
    east = np.cos(phi) * np.sin(lam)
    north = np.cos(phi0) * np.sin(phi) - np.sin(phi0) * np.cos(phi) * np.cos(lam)
    ahead = np.sin(phi0) * np.sin(phi) + np.cos(phi0) * np.cos(phi) * np.cos(lam)
    sine = np.hypot(east, north)
    stretch = EARTH_RADIUS * np.divide(np.arctan2(sine, ahead), sine, out=np.ones_like(sine), where=sine > 0)
    return stretch * east, stretch * north


def _classes(pga: NDArray[np.float64], unit: str) -> list[tuple[str, NDArray[np.bool_], tuple]]:
    """Return classes of PGA in equal steps of its logarithm: title, members, colour."""
    known = np.isfinite(pga) & (pga > 0)
    palette = colormaps["cividis"]
    classes = []
    if known.any():
        edges = np.geomspace(pga[known].min(), pga[known].max() * (1 + 1e-9), CLASSES + 1)
        if edges[-1] < 1.01 * edges[0]:
            edges = edges[[0, -1]]
        for i in range(len(edges) - 1):
            chosen = known & (pga >= edges[i]) & ((pga < edges[i + 1]) | (i == len(edges) - 2))
            if chosen.any():
                title = f"{edges[i]:.2g} to {edges[i + 1]:.2g} {label(unit)}"
                classes.append((title, chosen, palette(0.98 * i / max(len(edges) - 2, 1))))
    if (~known).any():
        classes.append(("none to use", ~known, (1.0, 1.0, 1.0, 1.0)))
    return classes


def _nice(value: float) -> float:
    """Return the number among 1, 2 and 5 times powers of ten that is next above a value."""
    power = 10.0 ** np.floor(np.log10(value))
    return float(next(number * power for number in (1.0, 2.0, 5.0, 10.0) if number * power >= value))
