"""Figures of one result: its motion against time, and its response spectra against period.

Figures are bare `matplotlib.figure.Figure` objects: no window system, no global state, so they can be drawn in worker
processes and put into other people's pages. Colours are those of Okabe & Ito (2008), which readers with any of the
common colour-vision deficiencies can tell apart; lines that share a colour differ in dash.
"""

from __future__ import annotations

import io
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.ticker import FuncFormatter

from .. import __version__
from ..archive import write_whole
from ..cautions import CAUTION
from ..errors import InputError
from ..units import acceleration_unit, in_unit, label

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from numpy.typing import NDArray

    from ..record import Component
    from ..result import Result

__all__ = ["motion_figure", "save", "spectrum_figure"]

COLOURS = {"H1": "#0072B2", "H2": "#D55E00", "V": "#009E73"}
_OTHER_COLOURS = ("#CC79A7", "#E69F00", "#56B4E9")
_INK, _FAINT, _SHADE = "#222222", "#767676", "#f1f4ea"

_ROWS = (
    ("acceleration", "Acceleration", "PGA"),
    ("velocity", "Velocity", "PGV"),
    ("displacement", "Displacement", "PGD"),
)


def motion_figure(result: Result, unit: str = "m/s2") -> Figure:
    """Draw acceleration, velocity and displacement of every component over the record's own window.

    Parameters
    ----------
    result : Result
    unit : {"m/s2", "cm/s2", "g"}
        For acceleration; velocity is in m/s and displacement in m.

    Returns
    -------
    matplotlib.figure.Figure
        A column a component and a row a quantity, each row on one scale. A dot marks the peak, with its value and
        time; a dashed line marks the onset where the record
        begins before the shaking. Pads are left out.

    Raises
    ------
    InputError
        `unit` is not a unit of acceleration.

    Examples
    --------
    >>> figure = motion_figure(result, unit="g")           # doctest: +SKIP
    >>> save(figure, "quay_motion.png")                    # doctest: +SKIP
    """
    unit = acceleration_unit(unit)
    factors = {"acceleration": in_unit(unit), "velocity": 1.0, "displacement": 1.0}
    units = {"acceleration": label(unit), "velocity": "m/s", "displacement": "m"}
    names = list(result.motion)
    onset = _onset(result)

    figure = Figure(figsize=(max(3.4 * len(names), 6.2), 6.2), layout="constrained")
    grid = figure.subplots(3, len(names), sharex=True, sharey="row", squeeze=False)
    for column, name in enumerate(names):
        motion = result.motion[name].unpadded()
        grid[0, column].set_title(_component_title(result, name), fontsize=9.5, color=_INK)
        for row, (history, title, quantity) in enumerate(_ROWS):
            axes = grid[row, column]
            values = getattr(motion, history) * factors[history]
            axes.plot(motion.time, values, color=_colour(name, column), linewidth=0.7)
            if onset is not None:
                axes.axvline(onset, color=_FAINT, linewidth=0.9, linestyle=(0, (4, 3)), label="onset")
            _mark_peak(axes, result, name, quantity, factors[history], units[history])
            axes.set_xlim(motion.time[0], motion.time[-1])
            _quieten(axes)
            if column == 0:
                axes.set_ylabel(f"{title}, {units[history]}")
            if row == 2:
                axes.set_xlabel("Time after the first sample, s")
    for row, (history, _, _) in enumerate(_ROWS):
        # One scale a row, the same both ways, with room above the traces for the peak's value.
        largest = max(np.abs(getattr(result.motion[name].unpadded(), history)).max() for name in names)
        limit = 1.45 * largest * factors[history] or 1.0
        grid[row, 0].set_ylim(-limit, limit)
    if onset is not None:
        grid[0, 0].annotate(
            "onset", (onset, 0.03), xycoords=("data", "axes fraction"), xytext=(3, 0), textcoords="offset points",
            fontsize=8, color=_FAINT,
        )  # fmt: skip
    figure.align_ylabels(grid[:, 0])
    _heading(figure, result, "corrected motion")
    _small_print(figure)
    return figure


def spectrum_figure(result: Result, damping: float | None = None, unit: str = "g") -> Figure:
    """Draw the pseudo-acceleration spectra of the components and of RotD50 and RotD100.

    Parameters
    ----------
    result : Result
    damping : float, optional
        Fraction of critical damping, one of those in the result; its first if not given.
    unit : {"m/s2", "cm/s2", "g"}

    Returns
    -------
    matplotlib.figure.Figure
        Both axes logarithmic. The usable band, that of the horizontal pair where there is one, is shaded; each line
        is faded outside its own, and an unfit one all along, never dropped. Period 0 has no place on a logarithmic
        axis: it is the peak ground acceleration, named in the legend.

    Raises
    ------
    InputError
        The result has no spectra of this damping, or `unit` is not a unit of acceleration.
    """
    unit = acceleration_unit(unit)
    factor = in_unit(unit)
    table = result.spectra
    dampings = [float(value) for value in dict.fromkeys(table["damping"])]
    damping = dampings[0] if damping is None else float(damping)
    if damping not in dampings:
        raise InputError(
            f"there are no spectra of damping {damping:g}, only of {', '.join(f'{d:g}' for d in dampings)}",
            remedy="Choose one of these, or set spectra.damping and process the record again",
        )
    table = table[(table["damping"] == damping) & (table["period"] > 0)]

    figure = Figure(figsize=(8.0, 5.6), layout="constrained")
    axes = figure.subplots()
    axes.set(xscale="log", yscale="log")
    faded = False
    lines = [name for name in dict.fromkeys(table["component"]) if name != "RotD00"]
    for index, name in enumerate(lines):
        rows = table[table["component"] == name].sort_values("period")
        period, psa, usable = (rows[column].to_numpy() for column in ("period", "psa", "usable"))
        psa = np.where(psa > 0, psa * factor, np.nan)  # a dead component has no place on a logarithmic axis
        style = _spectrum_style(name, index)
        if not usable.all():
            axes.plot(period, np.where(_beside(~usable), psa, np.nan), **style, alpha=0.3, label=f"_{name} faded")
            faded = True
        pga = f"PGA {_pga(result, name) * factor:.3g} {label(unit)}"
        axes.plot(period, np.where(usable, psa, np.nan), **style, label=f"{name}, {pga}")
    for axis in (axes.xaxis, axes.yaxis):
        axis.set_major_formatter(FuncFormatter(lambda value, _: f"{value:g}"))
    if len(table):
        shortest, longest = table["period"].min(), table["period"].max()
        first = "RotD50" if "RotD50" in lines else lines[0]
        band = result.usable_band["horizontal" if first == "RotD50" else first]
        begin, end = max(band.shortest_period, shortest), min(band.longest_period, longest)
        if begin < end and table[table["component"] == first]["usable"].any():
            axes.axvspan(begin, end, color=_SHADE, zorder=0, label="usable band")
        axes.set_xlim(shortest, longest)
    axes.set_xlabel("Period, s")
    axes.set_ylabel(f"Pseudo-acceleration (PSA), {label(unit)}")
    handles = axes.get_legend_handles_labels()[0]
    if faded:
        handles.append(Line2D([], [], color=_FAINT, alpha=0.4, label="outside the usable band"))
    axes.legend(handles=handles, loc="lower left", fontsize=9, frameon=True, framealpha=0.9, edgecolor="none")
    axes.grid(which="minor", color="#f0f0f0", linewidth=0.5)
    _quieten(axes)
    _heading(figure, result, f"response spectra, {100 * damping:g} % of critical damping")
    _small_print(figure)
    return figure


def save(figure: Figure, path: str | Path) -> Path:
    """Write a figure as PNG, whole or not at all, with the caution in its metadata.

    Raises
    ------
    ArchiveError
        The file cannot be written.
    """
    path = Path(path)
    content = io.BytesIO()
    figure.savefig(
        content, format="png", dpi=130, metadata={"Software": f"strongmotion {__version__}", "Description": CAUTION}
    )
    write_whole(path, content.getvalue(), replace=True)
    return path


def _mark_peak(axes: Axes, result: Result, name: str, quantity: str, factor: float, unit: str) -> None:
    peaks = result.peaks
    peak = peaks[(peaks["component"] == name) & (peaks["quantity"] == quantity)].iloc[0]
    motion = result.motion[name]
    at = round(peak["time"] / motion.dt) + motion.lead
    history = next(history for history, _, of in _ROWS if of == quantity)
    axes.plot(
        [peak["time"]], [getattr(motion, history)[at] * factor], marker="o", markersize=4.5, color=_INK,
        linestyle="none", label=quantity,
    )  # fmt: skip
    window = motion.window
    where = "" if window.start <= at < window.stop else ", in the pad"
    axes.text(
        0.985, 0.96, f"{quantity} {peak['value'] * factor:.3g} {unit} at {peak['time']:.2f} s{where}",
        transform=axes.transAxes, ha="right", va="top", fontsize=8.5, color=_INK,
    )  # fmt: skip


def _beside(marked: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Mark also the neighbours of what is marked, so that the faded part of a line joins its full part."""
    wider = marked.copy()
    wider[1:] |= marked[:-1]
    wider[:-1] |= marked[1:]
    return wider


def _onset(result: Result) -> float | None:
    """Return the onset in s after the first sample; None where no quiet before it bears it out."""
    for entry in result.history:
        onset = entry.values.get("onset_s")
        if isinstance(onset, float) and entry.values["pre_event_s"]:
            return onset
    return None


def _component_title(result: Result, name: str) -> str:
    component: Component = result.record[name]
    band = result.usable_band[name]
    kept = f"{band.low_cut:.3g} to {band.high_cut or band.nyquist:.3g} Hz"
    direction = "" if component.azimuth is None or name == "V" else f", azimuth {component.azimuth:g}°"
    return f"{name}{direction}: {kept}"


def _pga(result: Result, name: str) -> float:
    peaks = result.peaks
    return float(peaks[(peaks["component"] == name) & (peaks["quantity"] == "PGA")]["value"].iloc[0])


def _colour(name: str, index: int) -> str:
    return COLOURS.get(name, _OTHER_COLOURS[index % len(_OTHER_COLOURS)])


def _spectrum_style(name: str, index: int) -> dict:
    if name.startswith("RotD"):
        return {"color": _INK, "linewidth": 2.0, "linestyle": "-" if name == "RotD50" else (0, (5, 2))}
    return {"color": _colour(name, index), "linewidth": 1.3, "linestyle": (0, (2, 1)) if name == "V" else "-"}


def _quieten(axes: Axes) -> None:
    axes.spines[["top", "right"]].set_visible(False)
    axes.grid(which="major", color="#e2e2e2", linewidth=0.6)
    axes.set_axisbelow(True)
    axes.tick_params(labelsize=9, colors=_INK)


def _heading(figure: Figure, result: Result, what: str) -> None:
    record = result.record
    place = ", ".join(part for part in (record.station.name, record.id) if part)
    warning = {"unfit": "\nunfit for use: see the findings", "doubt": "\nin doubt: see the findings"}
    figure.suptitle(f"{place}: {what}{warning.get(result.severity, '')}", fontsize=11.5, color=_INK)


def _small_print(figure: Figure) -> None:
    figure.supxlabel(CAUTION, fontsize=7.5, color=_FAINT)
