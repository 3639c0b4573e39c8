"""Figures of response spectra: over period, on four axes, rotated, against displacement, and of many records."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal, cast

import numpy as np
from matplotlib.lines import Line2D
from numpy.typing import NDArray

from ..foundation.errors import InputError
from ..foundation.units import acceleration_unit, in_unit, label
from ..spectra import ResponseSpectrum
from .style import Style, canvas, finish, logarithmic, named_style, quieten, shortened
from .tables import at_least

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.artist import Artist
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from ..result import Result
    from ..spectra import TargetSpectrum

__all__ = [
    "acceleration_displacement_figure",
    "comparison_figure",
    "rotation_figure",
    "spectrum_figure",
    "tripartite_figure",
]

Floats = NDArray[np.float64]
LAST_LINEAR = 5.0
"""Where a linear axis of periods ends, s: beyond, an ordinate is hardly above 0."""


@dataclass(frozen=True)
class _Curve:
    """One line of a spectrum figure; SI units, periods rising, `low` and `high` the band of PSA or NaN."""

    name: str
    period: Floats
    sd: Floats
    psv: Floats
    psa: Floats
    usable: NDArray[np.bool_]
    low: Floats
    high: Floats


def spectrum_figure(
    result: Result,
    damping: float | None = None,
    unit: str = "g",
    scale: Literal["log", "linear"] = "log",
    axes: Axes | None = None,
    style: str = "light",
    target: TargetSpectrum | None = None,
) -> Figure:
    """Draw the pseudo-acceleration spectra of the components and of RotD50 and RotD100.

    Parameters
    ----------
    result : Result
    damping : float, optional
        Fraction of critical damping, one of those in the result; its first if not given.
    unit : {"m/s2", "cm/s2", "g"}
    scale : {"log", "linear"}
        Of both axes; the linear one ends at 5 s.
    axes : Axes, optional
        To draw into; a figure is made if not given.
    style : {"light", "dark"}
    target : TargetSpectrum, optional
        Of the same damping, drawn dashed.

    Returns
    -------
    matplotlib.figure.Figure
        The usable band, that of the horizontal pair where there is one, is shaded; each line is faded outside its own,
        and an unfit one all along, never dropped. Where the result holds it, the 5 to 95 % band of RotD50 (or of the
        first component) under other choices of processing is drawn around it. Period 0 has no place on a logarithmic
        axis: it is the peak ground acceleration, named in the legend.

    Raises
    ------
    InputError
        The result has no spectra of this damping, `unit` is not one of acceleration, or `scale` or `style` is
        unknown; the target is of another damping.

    Examples
    --------
    >>> import strongmotion as sm
    >>> result = sm.process(sm.read("demo_records/quay.csv"))
    >>> len(spectrum_figure(result).axes) > 0
    True
    """
    look, unit = named_style(style), acceleration_unit(unit)
    factor = in_unit(unit)
    if scale not in ("log", "linear"):
        raise InputError(f"unknown scale {scale!r}", remedy="Use log or linear")
    damping, curves = _curves_of(result, damping)
    _check_damping(target, damping)
    curves = [curve for curve in curves if curve.name != "RotD00"]
    figure, grid = canvas(axes, 1, 1, (8.0, 5.6), look)
    panel = grid[0, 0]
    if scale == "log":
        logarithmic(panel)
        curves = [_without_zero(curve) for curve in curves]
    first = _principal(curves)
    handles: list[Artist] = []
    faded = False
    for index, curve in enumerate(curves):
        pga = f"PGA {at_least(result, curve.name, 'PGA')}{_pga(result, curve.name) * factor:.3g} {label(unit)}"
        line, part = _draw(panel, curve, curve.period, curve.psa * factor, f"{curve.name}, {pga}", index, look)
        handles.append(line)
        faded |= part
    if first is not None:
        if np.isfinite(first.low).any():
            handles.append(
                panel.fill_between(
                    first.period, first.low * factor, first.high * factor, color=look.ink, alpha=0.16, linewidth=0,
                    label=f"5 to 95 % band of {first.name}",
                )
            )  # fmt: skip
        shade = _shade_usable(panel, result, first, look)
        handles += [shade] if shade is not None else []
        panel.set_xlim(*((first.period[0], first.period[-1]) if scale == "log" else (0, _linear_end(first))))
    if scale == "linear":
        panel.set_ylim(bottom=0)
    if target is not None and first is not None:
        handles += _draw_target(panel, target, first.period, factor, look)
    if faded:
        handles.append(Line2D([], [], color=look.faint, alpha=0.4, label="outside the usable band"))
    panel.set_xlabel("Period, s")
    panel.set_ylabel(f"Pseudo-acceleration (PSA), {label(unit)}")
    panel.legend(
        handles=handles, loc="lower left" if scale == "log" else "upper right", fontsize=8.5, frameon=True,
        framealpha=0.85, facecolor=look.paper, edgecolor="none", labelcolor=look.ink,
    )  # fmt: skip
    quieten(panel, look, nbins=6 if scale == "linear" else None)
    return finish(figure, axes is None, f"response spectra, {100 * damping:g} % of critical damping", look, result)


def tripartite_figure(
    source: Result | ResponseSpectrum, damping: float | None = None, axes: Axes | None = None, style: str = "light"
) -> Figure:
    """Draw pseudo-velocity against period, with lines of displacement and pseudo-acceleration across.

    Parameters
    ----------
    source : Result or ResponseSpectrum
        A spectrum with sd, psv and psa.
    damping : float, optional
        Fraction of critical damping, one of those in the source; its first if not given.
    axes : Axes, optional
        To draw into; a figure is made if not given.
    style : {"light", "dark"}

    Returns
    -------
    matplotlib.figure.Figure
        Logarithmic axes. Lines that rise with period are of one PSA, PSV = PSA T / (2 pi), in g; lines that fall are of
        one displacement, PSV = 2 pi SD / T (the paper of Chopra, Dynamics of Structures, sec. 6.6; from memory).

    Raises
    ------
    InputError
        There is no spectrum of this damping, or no pseudo-velocity in it, or `style` is unknown.

    Examples
    --------
    >>> import strongmotion as sm
    >>> result = sm.process(sm.read("demo_records/quay.csv"))
    >>> len(tripartite_figure(result).axes) > 0
    True
    """
    look = named_style(style)
    damping, curves = _curves_of(source, damping)
    curves = [_without_zero(curve) for curve in curves if curve.name not in ("RotD00", "RotD100")]
    figure, grid = canvas(axes, 1, 1, (7.4, 6.4), look)
    panel = grid[0, 0]
    logarithmic(panel)
    handles = [
        _draw(panel, curve, curve.period, curve.psv, curve.name or "PSV", index, look)[0]
        for index, curve in enumerate(curves)
    ]
    quieten(panel, look, nbins=None)
    seen = np.concatenate([curve.psv for curve in curves] or [np.array([np.nan])])
    if np.isfinite(seen).any():
        low, high = np.nanmin(seen), np.nanmax(seen)
        low = max(low, high / 10**2.6)  # the shortest periods fall out of the paper rather than press the rest
        panel.set_ylim(low / 1.25, high * 1.6)
        panel.set_xlim(curves[0].period[0], curves[0].period[-1])
        _lines_across(panel, look)
    panel.set_xlabel("Period, s")
    panel.set_ylabel("Pseudo-velocity (PSV), m/s")
    panel.legend(
        handles=handles, loc="lower center", ncols=min(len(handles), 4), fontsize=8.5, frameon=True, framealpha=0.85,
        facecolor=look.paper, edgecolor="none", labelcolor=look.ink,
    )  # fmt: skip
    return finish(figure, axes is None, f"spectra on four axes, {100 * damping:g} % damping", look, _result(source))


def rotation_figure(
    result: Result,
    damping: float | None = None,
    unit: str = "g",
    axes: Iterable[Axes] | None = None,
    style: str = "light",
) -> Figure:
    """Draw the horizontal components and RotD00, 50 and 100, and their ratios to RotD50.

    Parameters
    ----------
    result : Result
        With a pair of horizontals.
    damping : float, optional
        Fraction of critical damping, one of those in the result; its first if not given.
    unit : {"m/s2", "cm/s2", "g"}
    axes : iterable of two Axes, optional
        For the spectra and for their ratios; a figure is made if not given.
    style : {"light", "dark"}

    Returns
    -------
    matplotlib.figure.Figure
        Percentiles over all directions after Boore (2010); the ratio tells how strongly the motion points one way.

    Raises
    ------
    InputError
        The result has no RotD spectra or none of this damping, `unit` or `style` is unknown, or the axes are not two.

    Examples
    --------
    >>> import strongmotion as sm
    >>> result = sm.process(sm.read("demo_records/quay.csv"))
    >>> len(rotation_figure(result).axes) > 0
    True
    """
    look, unit = named_style(style), acceleration_unit(unit)
    factor = in_unit(unit)
    damping, every = _curves_of(result, damping)
    curves = {curve.name: _without_zero(curve) for curve in every}
    if "RotD50" not in curves:
        raise InputError("there are no RotD spectra in this result: they need H1 and H2 at right angles")
    figure, grid = canvas(axes, 2, 1, (8.0, 6.6), look, sharex=True, height_ratios=(2, 1))
    above, below = grid[:, 0]
    logarithmic(above)
    logarithmic(below, "x")
    median = curves["RotD50"]
    lines = []
    for index, name in enumerate(name for name in ("H1", "H2", "RotD00", "RotD50", "RotD100") if name in curves):
        curve = curves[name]
        lines.append(_draw(above, curve, curve.period, curve.psa * factor, name, index, look)[0])
        ratio = np.divide(curve.psa, median.psa, out=np.full_like(curve.psa, np.nan), where=median.psa > 0)
        _draw(below, curve, curve.period, ratio, name, index, look)
    for panel in (above, below):
        quieten(panel, look, nbins=None)
        panel.set_xlim(median.period[0], median.period[-1])
        _shade_usable(panel, result, median, look)
    above.set_ylabel(f"PSA, {label(unit)}")
    below.set_ylabel("Ratio to RotD50")
    below.set_xlabel("Period, s")
    above.legend(handles=lines, loc="lower left", ncols=2, fontsize=8.5, frameon=False, labelcolor=look.ink)
    figure.align_ylabels([above, below])
    return finish(figure, axes is None, f"spectra in all directions, {100 * damping:g} % damping", look, result)


def acceleration_displacement_figure(
    source: Result | ResponseSpectrum,
    damping: float | None = None,
    unit: str = "g",
    axes: Axes | None = None,
    style: str = "light",
) -> Figure:
    """Draw pseudo-acceleration against displacement, with rays of equal period.

    Parameters
    ----------
    source : Result or ResponseSpectrum
        A spectrum with sd and psa.
    damping : float, optional
        Fraction of critical damping, one of those in the source; its first if not given.
    unit : {"m/s2", "cm/s2", "g"}
    axes : Axes, optional
        To draw into; a figure is made if not given.
    style : {"light", "dark"}

    Returns
    -------
    matplotlib.figure.Figure
        Each ray is PSA = (2 pi / T)² SD; where the demand of a spectrum meets the capacity of a structure in this plane
        is the subject of ATC-40 (1996) and FEMA 440 (2005).

    Raises
    ------
    InputError
        There is no spectrum of this damping, or no displacement in it, or `unit` or `style` is unknown.

    Examples
    --------
    >>> import strongmotion as sm
    >>> result = sm.process(sm.read("demo_records/quay.csv"))
    >>> len(acceleration_displacement_figure(result).axes) > 0
    True
    """
    look, unit = named_style(style), acceleration_unit(unit)
    factor = in_unit(unit)
    damping, curves = _curves_of(source, damping)
    curves = [curve for curve in curves if curve.name not in ("RotD00", "V")] or curves
    figure, grid = canvas(axes, 1, 1, (7.2, 5.6), look)
    panel = grid[0, 0]
    for index, curve in enumerate(curves):
        _draw(panel, curve, curve.sd, curve.psa * factor, curve.name or "PSA", index, look)
    quieten(panel, look)
    across = max((float(np.nanmax(curve.sd)) for curve in curves), default=0.0) * 1.08 or 1.0
    up = max((float(np.nanmax(curve.psa)) for curve in curves), default=0.0) * factor * 1.12 or 1.0
    panel.set(xlim=(0, across), ylim=(0, up))
    last_above, last_beside = -across, 2.0 * up
    for period in (0.1, 0.2, 0.3, 0.5, 0.75, 1.0, 1.5, 2.0, 3.0, 5.0, 10.0):
        slope = (2 * np.pi / period) ** 2 * factor
        end = (across, slope * across) if slope * across < up else (up / slope, up)
        if end[0] < 0.03 * across or end[1] < 0.02 * up:
            continue
        panel.plot(
            [0, end[0]], [0, end[1]], color=look.faint, linewidth=0.6, linestyle=(0, (4, 3)), label="_ray", zorder=1
        )
        top = end[1] >= up
        if top and end[0] - last_above < 0.07 * across:
            continue  # its number would run into the one before
        if not top and last_beside - end[1] < 0.045 * up:
            continue
        last_above, last_beside = (end[0], last_beside) if top else (last_above, end[1])
        panel.annotate(
            f"{period:g} s", end, xytext=(0, 2) if top else (2, 0), textcoords="offset points",
            ha="center" if top else "left", va="bottom" if top else "center", fontsize=7.5, color=look.faint,
            annotation_clip=False,
        )  # fmt: skip
    panel.set_xlabel("Spectral displacement (SD), m")
    panel.set_ylabel(f"Pseudo-acceleration (PSA), {label(unit)}")
    panel.legend(
        loc="upper right", fontsize=8.5, frameon=True, framealpha=0.85, facecolor=look.paper, edgecolor="none",
        labelcolor=look.ink,
    )  # fmt: skip
    what = f"acceleration against displacement, {100 * damping:g} % damping"
    return finish(figure, axes is None, what, look, _result(source))


def comparison_figure(
    results: Sequence[Result] | Mapping[str, pd.DataFrame],
    target: TargetSpectrum | None = None,
    component: str = "RotD50",
    damping: float = 0.05,
    unit: str = "g",
    scale: Literal["log", "linear"] = "log",
    axes: Axes | None = None,
    style: str = "light",
) -> Figure:
    """Draw one component's spectra of many records, their median and spread, and a target.

    Parameters
    ----------
    results : sequence of Result, or mapping of str to pandas.DataFrame
        Each with spectra of this component and damping at the same periods; or such spectra, as in `Result.spectra`,
        by the names of their records.
    target : TargetSpectrum, optional
        Of the same damping.
    component : str
        ``"RotD50"``, or a component.
    damping : float
        Fraction of critical damping.
    unit : {"m/s2", "cm/s2", "g"}
    scale : {"log", "linear"}
    axes : Axes, optional
        To draw into; a figure is made if not given.
    style : {"light", "dark"}

    Returns
    -------
    matplotlib.figure.Figure
        The median is exp of the mean of log PSA, the spread one standard deviation of it either way; both only over the
        records usable at a period, and where those are at least half of all that are drawn. Along the head stands how
        many, n, are usable at a few periods.

    Raises
    ------
    InputError
        No results, or one without these spectra or with other periods; `unit`, `scale` or `style` is
        unknown; the target is of another damping.
    """
    look, unit = named_style(style), acceleration_unit(unit)
    factor = in_unit(unit)
    if scale not in ("log", "linear"):
        raise InputError(f"unknown scale {scale!r}", remedy="Use log or linear")
    if not results:
        raise InputError("there are no results to compare")
    _check_damping(target, damping)
    curves: list[_Curve] = []
    by_name = results if isinstance(results, Mapping) else {}
    spectra = list(by_name.items()) or [
        (result.record.id, result.spectra) for result in cast("Sequence[Result]", results)
    ]
    for name, table in spectra:
        found = [curve for curve in _curves_of(table, damping)[1] if curve.name == component]
        if not found:
            raise InputError(f"record {name} has no spectra of {component}", source="component")
        curves.append(_without_zero(found[0]) if scale == "log" else found[0])
    period = curves[0].period
    if any(not np.array_equal(curve.period, period) for curve in curves):
        raise InputError("the records have spectra at different periods", remedy="Process them with the same settings")
    figure, grid = canvas(axes, 1, 1, (8.0, 5.6), look)
    panel = grid[0, 0]
    if scale == "log":
        logarithmic(panel)
    psa = np.array([np.where(curve.usable & (curve.psa > 0), curve.psa, np.nan) * factor for curve in curves])
    for row, (name, _) in zip(psa, spectra, strict=True):
        panel.plot(period, row, color=look.faint, linewidth=0.6, alpha=0.6, label=f"_{name}")
    count = np.isfinite(psa).sum(axis=0)
    shown = int(np.isfinite(psa).any(axis=1).sum())
    enough = (count >= shown / 2) & (count > 0)
    logs = np.log(psa, where=np.isfinite(psa), out=np.zeros_like(psa))
    mean = logs.sum(axis=0) / np.maximum(count, 1)
    deviation = np.sqrt(np.where(np.isfinite(psa), (logs - mean) ** 2, 0.0).sum(axis=0) / np.maximum(count - 1, 1))
    median = np.where(enough, np.exp(mean), np.nan)
    drawn = f"{shown}" if shown == len(results) else f"{shown} of {len(results)}"
    handles = [Line2D([], [], color=look.faint, linewidth=0.6, label=f"{drawn} records, where usable")]
    if shown > 1:
        handles.append(
            panel.fill_between(
                period, median * np.exp(-deviation), median * np.exp(deviation), color=look.colour("H1"), alpha=0.2,
                linewidth=0, label="median ± 1 standard deviation of ln PSA",
            )
        )  # fmt: skip
    handles += panel.plot(
        period, median, color=look.colour("H1"), linewidth=2.2, label="median, where n is half of them or more"
    )
    _write_counts(panel, period, count, scale, look)
    if target is not None:
        handles += _draw_target(panel, target, period, factor, look)
    panel.set_xlim(*((period[0], period[-1]) if scale == "log" else (0, min(period[-1], LAST_LINEAR))))
    if scale == "linear":
        panel.set_ylim(bottom=0)
    panel.set_xlabel("Period, s")
    panel.set_ylabel(f"PSA of {component}, {label(unit)}")
    panel.legend(
        handles=handles, loc="lower left" if scale == "log" else "upper right", fontsize=8.5, frameon=True,
        framealpha=0.85, facecolor=look.paper, edgecolor="none", labelcolor=look.ink,
    )  # fmt: skip
    quieten(panel, look, nbins=None)
    heading_text = f"{len(results)} record{'s' * (len(results) != 1)}: {component}, {100 * damping:g} % damping"
    return finish(figure, axes is None, heading_text, look)


def _check_damping(target: TargetSpectrum | None, damping: float) -> None:
    if target is not None and not np.isclose(target.damping, damping):
        raise InputError(f"the target is of damping {target.damping:g}, the spectra of {damping:g}", source="target")


def _draw_target(panel: Axes, target: TargetSpectrum, period: Floats, factor: float, look: Style) -> list[Line2D]:
    """Draw a target over the periods that it has."""
    inside = (period >= target.periods[0]) & (period <= target.periods[-1])
    goal = np.full_like(period, np.nan)
    goal[inside] = target.at(period[inside]) * factor
    return panel.plot(
        period, goal, color=look.colour("H2"), linewidth=2.0, linestyle=(0, (5, 2)),
        label=f"target: {shortened(target.name, 40)}",
    )  # fmt: skip


def _write_counts(panel: Axes, period: Floats, count: NDArray[np.int64], scale: str, look: Style) -> None:
    """Write above a panel how many records are usable at a few round periods."""
    last = period[-1] if scale == "log" else min(period[-1], LAST_LINEAR)
    marks = (0.02, 0.05, 0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0) if scale == "log" else (0.5, 1.5, 2.5, 3.5, 4.5)
    first = "n = "
    for mark in marks:
        if 1.02 * period[0] < mark < 0.98 * last:
            panel.annotate(
                f"{first}{count[np.abs(period - mark).argmin()]}", (mark, 1.0), xycoords=panel.get_xaxis_transform(),
                xytext=(0, 2), textcoords="offset points", ha="center", va="bottom", fontsize=8, color=look.faint,
            )  # fmt: skip
            first = ""


def _curves_of(source: Result | ResponseSpectrum | pd.DataFrame, damping: float | None) -> tuple[float, list[_Curve]]:
    """Return the damping drawn, the first if none is asked for, and its lines."""
    if isinstance(source, ResponseSpectrum):
        if source.sd is None or source.psv is None or source.psa is None:
            raise InputError("the spectrum has not SD, PSV and PSA", remedy="Compute it with these quantities")
        dampings = [float(value) for value in source.damping]
    else:
        table: pd.DataFrame = getattr(source, "spectra", source)
        dampings = [float(value) for value in dict.fromkeys(table["damping"])]
    damping = dampings[0] if damping is None else float(damping)
    at = next((i for i, known in enumerate(dampings) if np.isclose(known, damping, rtol=1e-9, atol=0.0)), None)
    if at is None:
        raise InputError(
            f"there are no spectra of damping {damping:g}, only of {', '.join(f'{d:g}' for d in dampings)}",
            remedy="Choose one of these, or set spectra.damping and process the record again",
        )
    if isinstance(source, ResponseSpectrum):
        assert source.sd is not None
        assert source.psv is not None
        assert source.psa is not None
        order = np.argsort(source.periods)
        nothing = np.full(order.size, np.nan)
        return damping, [
            _Curve(
                "", source.periods[order], source.sd[at][order], source.psv[at][order], source.psa[at][order],
                np.ones(order.size, bool), nothing, nothing,
            )
        ]  # fmt: skip
    table = table[table["damping"] == dampings[at]]
    return damping, [
        _curve(str(name), rows.sort_values("period")) for name, rows in table.groupby("component", sort=False)
    ]


def _curve(name: str, rows: pd.DataFrame) -> _Curve:
    def column(of: str) -> Floats:
        return rows[of].to_numpy(dtype=float) if of in rows else np.full(len(rows), np.nan)

    return _Curve(
        name, column("period"), column("sd"), column("psv"), column("psa"), rows["usable"].to_numpy(dtype=bool),
        column("psa_low"), column("psa_high"),
    )  # fmt: skip


def _without_zero(curve: _Curve) -> _Curve:
    """Return a curve without what has no place on logarithmic axes: period 0, and the ordinates of a dead component."""
    kept = curve.period > 0

    def above(values: Floats) -> Floats:
        return np.where(values[kept] > 0, values[kept], np.nan)

    return _Curve(
        curve.name, curve.period[kept], above(curve.sd), above(curve.psv), above(curve.psa), curve.usable[kept],
        above(curve.low), above(curve.high),
    )  # fmt: skip


def _principal(curves: list[_Curve]) -> _Curve | None:
    """Return the line a reader looks at first: RotD50, else the first component; None without any."""
    named = [curve for curve in curves if curve.name == "RotD50"] or curves
    return named[0] if named and named[0].period.size else None


def _draw(panel: Axes, curve: _Curve, x: Floats, y: Floats, title: str, index: int, look: Style) -> tuple[Line2D, bool]:
    """Draw a line, faded where its ordinates are not usable; return it, and whether any part is faded."""
    kind = _line_style(curve.name, index, look)
    partly = not curve.usable.all()
    if partly:
        outside = np.where(_beside(~curve.usable), y, np.nan)
        panel.plot(x, outside, **kind, alpha=0.3, label=f"_{curve.name} faded")
    (line,) = panel.plot(x, np.where(curve.usable, y, np.nan), **kind, label=title)
    return line, partly


def _line_style(name: str, index: int, look: Style) -> dict:
    if name.startswith("RotD") or not name:
        dash = {"RotD00": (0, (1, 1.2)), "RotD100": (0, (5, 2))}.get(name, "-")
        return {"color": look.ink, "linewidth": 1.8, "linestyle": dash}
    return {"color": look.colour(name, index), "linewidth": 1.3, "linestyle": (0, (2, 1)) if name == "V" else "-"}


def _beside(marked: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Mark also the neighbours of what is marked, so that the faded part of a line joins its full part."""
    wider = marked.copy()
    wider[1:] |= marked[:-1]
    wider[:-1] |= marked[1:]
    return wider


def _shade_usable(panel: Axes, result: Result, curve: _Curve, look: Style) -> Artist | None:
    """Shade the usable band of a line, if it has one within its periods; return what was drawn."""
    band = result.usable_band["horizontal" if curve.name == "RotD50" else curve.name]
    begin, end = max(band.shortest_period, curve.period[0]), min(band.longest_period, curve.period[-1])
    if begin < end and curve.usable.any():
        return panel.axvspan(begin, end, color=look.shade, zorder=0, label="usable band")
    return None


def _linear_end(curve: _Curve) -> float:
    return float(min(curve.period[-1], LAST_LINEAR))


def _lines_across(panel: Axes, look: Style) -> None:
    """Draw the lines of equal displacement and of equal pseudo-acceleration, numbered at the paper's edge."""
    (left, right), (bottom, top) = panel.get_xlim(), panel.get_ylim()
    ends = np.array([left, right])
    decades = [number * 10.0**power for power in range(-8, 5) for number in (1.0, 2.0, 5.0)]
    gravity = 1.0 / in_unit("g")
    for slope, factor, unit in ((1, gravity / (2 * np.pi), "g"), (-1, 2 * np.pi, "m")):
        for value in decades:
            psv = value * factor * ends**slope
            if psv.max() < bottom or psv.min() > top:
                continue
            strong = f"{value:e}".startswith("1.0")
            panel.plot(
                ends, psv, color=look.rule if not strong else look.faint, linewidth=0.4, alpha=0.9,
                linestyle="-" if slope > 0 else (0, (3, 2)), label=f"_{value:g} {unit}", zorder=1,
            )  # fmt: skip
            if not strong:
                continue
            # Acceleration is written where its line enters at the left, displacement where it leaves at the right.
            period = left * 1.07 if slope > 0 else right / 1.07
            if not bottom * 1.1 < value * factor * period**slope < top / 1.3:
                continue
            panel.text(
                period, value * factor * period**slope, f"{value:g} {unit}", rotation=45 * slope, fontsize=7,
                color=look.faint, ha="left" if slope > 0 else "right", va="bottom", rotation_mode="anchor",
                clip_on=True,
            )  # fmt: skip


def _pga(result: Result, name: str) -> float:
    peaks = result.peaks
    found = peaks[(peaks["component"] == name) & (peaks["quantity"] == "PGA")]["value"]
    return float(found.iloc[0]) if len(found) else np.nan


def _result(source: Result | ResponseSpectrum) -> Result | None:
    return None if isinstance(source, ResponseSpectrum) else source
