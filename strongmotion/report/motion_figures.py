"""Figures of motion against time: raw and corrected, in all its quantities, its energy, its path, its offset."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from ..chain import integrate_twice, to_acceleration
from ..foundation.errors import InputError
from ..foundation.units import acceleration_unit, in_unit, label
from ..measures import arias_history, significant_duration
from .decimate import peaks_kept
from .style import Style, canvas, finish, named_style, quieten, shortened
from .tables import at_least, row_of_peak

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure
    from matplotlib.lines import Line2D

    from ..record import Finding
    from ..result import Result

__all__ = ["husid_figure", "motion_figure", "offset_figure", "particle_figure", "raw_figure"]

QUANTITIES = (
    ("acceleration", "Acceleration", "PGA"),
    ("velocity", "Velocity", "PGV"),
    ("displacement", "Displacement", "PGD"),
)
TIME = "Time after the first sample, s"
PLANES = (("H1", "H2"), ("H1", "V"), ("H2", "V"))


def raw_figure(
    result: Result, unit: str = "m/s2", axes: Axes | Iterable[Axes] | None = None, style: str = "light"
) -> Figure:
    """Draw the acceleration as recorded behind the corrected one, a row a component.

    Parameters
    ----------
    result : Result
    unit : {"m/s2", "cm/s2", "g"}
    axes : Axes or iterable of Axes, optional
        One a component, to draw into; a figure is made if not given.
    style : {"light", "dark"}

    Returns
    -------
    matplotlib.figure.Figure
        The raw samples less their median, which is written beside them: an instrument's offset is often larger than
        the motion.

    Raises
    ------
    InputError
        `unit` is not one of acceleration, `style` is unknown, or the axes are not one a component.

    Examples
    --------
    >>> import strongmotion as sm
    >>> result = sm.process(sm.read("demo_records/quay.csv"))
    >>> len(raw_figure(result).axes) > 0
    True
    """
    look, unit = named_style(style), acceleration_unit(unit)
    factor = in_unit(unit)
    names = list(result.motion)
    figure, grid = canvas(axes, len(names), 1, (8.0, 1.2 + 1.6 * len(names)), look, sharex=True)
    for index, (name, panel) in enumerate(zip(names, grid[:, 0], strict=True)):
        motion = result.motion[name].unpadded()
        raw = to_acceleration(result.record[name]).acceleration * factor
        offset = float(np.median(raw))
        panel.plot(*peaks_kept(motion.time, raw - offset), color=look.faint, linewidth=0.9, label="raw")
        panel.plot(
            *peaks_kept(motion.time, motion.acceleration * factor),
            color=look.colour(name, index), linewidth=0.7, label="corrected",
        )  # fmt: skip
        quieten(panel, look)
        panel.set_xlim(motion.time[0], motion.time[-1])
        panel.set_ylabel(f"{name}, {label(unit)}")
        panel.text(
            0.99, 0.97, f"offset taken off: {_plain(offset)} {label(unit)}",
            transform=panel.transAxes, ha="right", va="top", fontsize=7.5, color=look.faint,
        )  # fmt: skip
        panel.margins(y=0.16)
    grid[0, 0].legend(
        loc="lower right", ncols=2, fontsize=8, frameon=False, labelcolor=look.ink, borderaxespad=0.1, borderpad=0.1
    )
    grid[-1, 0].set_xlabel(TIME)
    return finish(figure, axes is None, "raw and corrected acceleration", look, result)


def motion_figure(
    result: Result,
    unit: str = "m/s2",
    components: Sequence[str] | None = None,
    axes: Axes | Iterable[Axes] | None = None,
    style: str = "light",
) -> Figure:
    """Draw acceleration, velocity and displacement over the record's own window.

    Parameters
    ----------
    result : Result
    unit : {"m/s2", "cm/s2", "g"}
        For acceleration; velocity is in m/s and displacement in m.
    components : sequence of str, optional
        Those to draw; all if not given. The scales are those of all, so figures of one record can be compared.
    axes : iterable of Axes, optional
        To draw into, row by row; a figure is made if not given.
    style : {"light", "dark"}

    Returns
    -------
    matplotlib.figure.Figure
        A column a component and a row a quantity, on one time axis, each row on one scale. A dot marks the peak, with
        its value and time; a dashed line the onset where the record begins before the shaking. Bars at the foot of the
        acceleration show the pre-event window and the significant duration (5 to 95 %); bars at its head, where the
        findings point. Pads are left out.

    Raises
    ------
    InputError
        `unit` is not one of acceleration, a component is not there, `style` is unknown, or the axes do not fit.

    Examples
    --------
    >>> figure = motion_figure(result, unit="g")           # doctest: +SKIP
    >>> save(figure, "quay_motion.png")                    # doctest: +SKIP
    """
    look, unit = named_style(style), acceleration_unit(unit)
    factors = {"acceleration": in_unit(unit), "velocity": 1.0, "displacement": 1.0}
    units = {"acceleration": label(unit), "velocity": "m/s", "displacement": "m"}
    every = list(result.motion)
    names = every if components is None else list(components)
    if unknown := [name for name in names if name not in every] or not names:
        raise InputError(f"components {unknown} are not in this result", remedy=f"Choose from {', '.join(every)}")
    onset, quiet = shaking_begins(result)
    pointed = _rows_of_findings(result)

    figure, grid = canvas(
        axes, 3, len(names), (max(3.4 * len(names), 6.2), 6.2), look, sharex=True, sharey="row"
    )  # fmt: skip
    for column, name in enumerate(names):
        motion = result.motion[name].unpadded()
        grid[0, column].set_title(_component_title(result, name))
        for row, (history, title, quantity) in enumerate(QUANTITIES):
            panel = grid[row, column]
            values = getattr(motion, history) * factors[history]
            panel.plot(
                *peaks_kept(motion.time, values), color=look.colour(name, every.index(name)), linewidth=0.7,
                label=name,
            )  # fmt: skip
            if onset is not None:
                panel.axvline(onset, color=look.faint, linewidth=0.9, linestyle=(0, (4, 3)), label="onset")
            _mark_peak(panel, result, name, quantity, factors[history], units[history], look)
            panel.set_xlim(motion.time[0], motion.time[-1])
            quieten(panel, look)
            # One scale a row, the same both ways, with room above the traces for the peak's value.
            largest = max(np.abs(getattr(result.motion[of].unpadded(), history)).max() for of in every)
            limit = (1.5 + 0.3 * min(pointed, 3) * (row == 0)) * largest * factors[history] or 1.0
            panel.set_ylim(-limit, limit)
            if column == 0:
                panel.set_ylabel(f"{title}, {units[history]}")
        grid[2, column].set_xlabel(TIME)
        _mark_windows(grid[0, column], result, name, quiet, look)
        _mark_findings(grid[0, column], result, name, look)
    if onset is not None:
        grid[1, 0].annotate(
            "onset", (onset, 0.03), xycoords=("data", "axes fraction"), xytext=(3, 0), textcoords="offset points",
            fontsize=8, color=look.faint,
        )  # fmt: skip
    figure.align_ylabels(grid[:, 0])
    return finish(figure, axes is None, "corrected motion", look, result)


def husid_figure(result: Result, axes: Axes | None = None, style: str = "light") -> Figure:
    """Draw the build-up of Arias intensity (Husid 1969) and the significant durations.

    Parameters
    ----------
    result : Result
    axes : Axes, optional
        To draw into; a figure is made if not given.
    style : {"light", "dark"}

    Returns
    -------
    matplotlib.figure.Figure
        Each component's Arias intensity up to a time, in % of its whole, which the legend gives in m/s. Dots mark 5,
        75 and 95 %; bars below, the significant durations from 5 to 95 % (Trifunac & Brady 1975) and to 75 %.

    Raises
    ------
    InputError
        `style` is unknown, or more than one Axes is given.

    Examples
    --------
    >>> import strongmotion as sm
    >>> result = sm.process(sm.read("demo_records/quay.csv"))
    >>> len(husid_figure(result).axes) > 0
    True
    """
    look = named_style(style)
    figure, grid = canvas(axes, 1, 1, (8.0, 4.6), look)
    panel = grid[0, 0]
    names = list(result.motion)
    own = result.motion[names[0]].unpadded().time
    panel.set_xlim(own[0], own[-1])
    for index, name in enumerate(names):
        motion = result.motion[name]
        build_up = arias_history(motion.acceleration, motion.dt)
        whole = build_up[-1]
        share = 100 * build_up / (whole or 1.0)
        colour = look.colour(name, index)
        # The eye follows a curve that rises: so many points give it, peaks or none.
        time, values = peaks_kept(motion.time[motion.window], share[motion.window], 600)
        panel.plot(time, values, color=colour, linewidth=1.4, label=f"{name}, {whole:.3g} m/s")
        if whole == 0.0:
            continue
        ends = [_significant(result, name, end) for end in (0.95, 0.75)]
        panel.plot(
            [ends[0][0], ends[1][1], ends[0][1]], [5, 75, 95], "o", markersize=4, color=colour, label=f"_{name} marks"
        )
        level = -8.0 - 9.0 * index
        for (begin, end), width in zip(ends, (2.0, 5.0), strict=True):
            panel.plot([begin, end], [level, level], color=colour, linewidth=width, solid_capstyle="butt", label="_bar")
        place = _beside_bar(panel, *ends[0])
        panel.annotate(
            f"{name} {ends[0][1] - ends[0][0]:.1f} s (to 75 %: {ends[1][1] - ends[1][0]:.1f} s)",
            (place.pop("at"), -8.0 - 9.0 * index), fontsize=7.5, color=look.ink, **place,
        )  # fmt: skip
    quieten(panel, look, nbins=None)
    panel.set_yticks([0, 5, 25, 50, 75, 95])
    panel.set_ylim(-5.0 - 9.0 * len(names), 103)
    panel.set_xlabel(TIME)
    panel.set_ylabel("Arias intensity so far, % of the whole")
    panel.legend(
        loc="center right", fontsize=8, title="Arias intensity", title_fontsize=8, labelcolor=look.ink, frameon=False
    ).get_title().set_color(look.ink)
    return finish(figure, axes is None, "build-up of Arias intensity", look, result)


def particle_figure(
    result: Result,
    quantity: str = "displacement",
    unit: str = "m/s2",
    planes: Sequence[tuple[str, str]] = PLANES,
    axes: Axes | Iterable[Axes] | None = None,
    style: str = "light",
) -> Figure:
    """Draw the path of the ground in planes of H1, H2 and V.

    Parameters
    ----------
    result : Result
        Of H1, H2 and V.
    quantity : {"displacement", "velocity", "acceleration"}
    unit : {"m/s2", "cm/s2", "g"}
        For acceleration.
    planes : sequence of (str, str)
        The components across and up in each plane; all three planes if not given.
    axes : Axes or iterable of Axes, optional
        To draw into; a figure is made if not given.
    style : {"light", "dark"}

    Returns
    -------
    matplotlib.figure.Figure
        All planes on one scale, the same both ways. The path is strong over the significant duration (5 to 95 %) of the
        horizontals and faint before and after it; a dot marks the largest excursion in the plane.

    Raises
    ------
    InputError
        The result has not H1, H2 and V, the quantity or `style` is unknown, or the axes are not as many as the planes.

    Examples
    --------
    >>> import strongmotion as sm
    >>> result = sm.process(sm.read("demo_records/quay.csv"))
    >>> len(particle_figure(result).axes) > 0
    True
    """
    look, unit = named_style(style), acceleration_unit(unit)
    if missing := {"H1", "H2", "V"} - set(result.motion):
        raise InputError(f"the three planes need H1, H2 and V; {', '.join(sorted(missing))} is not there")
    if quantity not in {history for history, *_ in QUANTITIES}:
        raise InputError(f"unknown quantity {quantity!r}", remedy="Use displacement, velocity or acceleration")
    factor, name_of_unit = {"velocity": (1.0, "m/s"), "displacement": (1.0, "m")}.get(
        quantity, (in_unit(unit), label(unit))
    )
    paths = {name: getattr(result.motion[name].unpadded(), quantity) * factor for name in ("H1", "H2", "V")}
    limit = 1.08 * max(float(np.abs(path).max()) for path in paths.values()) or 1.0
    spans = [_significant(result, name, 0.95) for name in ("H1", "H2")]
    dt = result.motion["H1"].dt
    strong = slice(max(0, int(min(span[0] for span in spans) / dt)), int(max(span[1] for span in spans) / dt) + 2)

    figure, grid = canvas(axes, 1, len(planes), (3.4 * len(planes), 4.2), look)
    for panel, (across, up) in zip(grid[0], planes, strict=True):
        panel.plot(paths[across], paths[up], color=look.faint, linewidth=0.5, alpha=0.5, label="whole")
        panel.plot(
            paths[across][strong],
            paths[up][strong],
            color=look.colour("H1"),
            linewidth=0.8,
            label="significant duration",
        )
        at = int(np.argmax(np.hypot(paths[across], paths[up])))
        panel.plot([paths[across][at]], [paths[up][at]], "o", markersize=4.5, color=look.ink, label="largest")
        quieten(panel, look)
        panel.locator_params(nbins=5)
        panel.set(xlim=(-limit, limit), ylim=(-limit, limit), aspect="equal")
        panel.set_xlabel(f"{_towards(result, across)}, {name_of_unit}")
        panel.set_ylabel(f"{_towards(result, up)}, {name_of_unit}")
    return finish(figure, axes is None, f"path of the ground, {quantity}", look, result)


def offset_figure(result: Result, axes: Axes | Iterable[Axes] | None = None, style: str = "light") -> Figure:
    """Draw what the correction did to displacement, with the permanent offset where one was fitted.

    Parameters
    ----------
    result : Result
    axes : Axes or iterable of Axes, optional
        One a component, to draw into; a figure is made if not given.
    style : {"light", "dark"}

    Returns
    -------
    matplotlib.figure.Figure
        A row a component: the corrected displacement; behind it, what integrating the raw acceleration twice gives once
        its pre-event mean (or, without one, its whole mean) is removed, which mostly runs away and then leaves the
        picture. Where the result tells a permanent displacement, its step is dashed, from the begin to the end of the
        baseline shift, or of the significant duration.

    Raises
    ------
    InputError
        `style` is unknown, or the axes are not one a component.

    Examples
    --------
    >>> import strongmotion as sm
    >>> result = sm.process(sm.read("demo_records/quay.csv"))
    >>> len(offset_figure(result).axes) > 0
    True
    """
    look = named_style(style)
    names = list(result.motion)
    _, quiet = shaking_begins(result)
    figure, grid = canvas(axes, len(names), 1, (8.0, 1.2 + 1.6 * len(names)), look, sharex=True)
    for index, (name, panel) in enumerate(zip(names, grid[:, 0], strict=True)):
        motion = result.motion[name].unpadded()
        assert motion.displacement is not None
        raw = to_acceleration(result.record[name]).acceleration
        before = raw[: round(quiet / motion.dt)] if quiet else raw
        _, drifting = integrate_twice(raw - before.mean(), motion.dt)
        largest = float(np.abs(motion.displacement).max()) or 1.0
        runs_away = float(np.abs(drifting).max()) > 3.0 * largest
        panel.plot(
            *peaks_kept(motion.time, drifting),
            color=look.faint,
            linewidth=1.0,
            linestyle=(0, (5, 2)),
            label="mean removed",
        )
        panel.plot(
            *peaks_kept(motion.time, motion.displacement),
            color=look.colour(name, index),
            linewidth=1.2,
            label="corrected",
        )
        said = f"without correction it reaches {np.abs(drifting).max():.3g} m" if runs_away else ""
        step = fitted_offset(result, name)
        if step is not None:
            largest = max(largest, abs(step.value))
            panel.plot(
                [motion.time[0], step.begins, step.ends, motion.time[-1]], [0.0, 0.0, step.value, step.value],
                color=look.ink, linewidth=1.2, linestyle=(0, (2, 1.5)), label="permanent displacement",
            )  # fmt: skip
            band = f" ({step.low:.3g} to {step.high:.3g})" if np.isfinite(step.low + step.high) else ""
            said = f"permanent displacement {step.value:.3g} m{band}"
        quieten(panel, look)
        panel.set_xlim(motion.time[0], motion.time[-1])
        panel.set_ylim(-1.5 * largest, 1.5 * largest)
        panel.set_ylabel(f"{name}, m")
        panel.text(
            0.01, 0.97, said, transform=panel.transAxes, ha="left", va="top",
            fontsize=8, color=look.ink,
        )  # fmt: skip
    handles: dict[object, Line2D] = {}
    for line in (line for panel in grid[:, 0] for line in panel.lines):
        handles.setdefault(line.get_label(), line)
    grid[0, 0].legend(
        handles=list(handles.values()), loc="lower right", ncols=3, fontsize=8, frameon=False, labelcolor=look.ink,
        borderaxespad=0.1, borderpad=0.1,
    )  # fmt: skip
    grid[-1, 0].set_xlabel(TIME)
    return finish(figure, axes is None, "displacement and its offset", look, result)


def shaking_begins(result: Result) -> tuple[float | None, float]:
    """Return the onset, s after the first sample, and the length of the pre-event window, s.

    The onset is None, and the length 0, where no quiet before it bears it out.
    """
    windows, dt = result.windows, result.record.dt
    return (windows.onset * dt, windows.noise * dt) if windows.noise else (None, 0.0)


@dataclass(frozen=True)
class Offset:
    """A permanent displacement, m, with its 5 to 95 % band (NaN where there is none), and when it came, s."""

    value: float
    low: float
    high: float
    begins: float
    ends: float


def fitted_offset(result: Result, name: str) -> Offset | None:
    """Return the permanent displacement that is resolved of a component; None without one."""
    chosen = result.baseline.get(name)
    if chosen is None or chosen.displacement is None or not chosen.displacement.resolved:
        return None
    its, shift = chosen.displacement, chosen.shift
    begins, ends = _significant(result, name, 0.95)
    if shift is not None:
        begins, ends = shift.middle - shift.half_length, shift.middle + shift.half_length
    return Offset(its.value, its.low, its.high, begins, ends)


def _significant(result: Result, name: str, end: float) -> tuple[float, float]:
    """Return when a component's Arias intensity reaches 5 % and `end` of its whole, s after the first sample."""
    motion = result.motion[name]
    begin, duration = significant_duration(motion.acceleration, motion.dt, 0.05, end)
    begin -= motion.lead * motion.dt
    return begin, begin + duration


def pointed(result: Result) -> list[tuple[Finding, tuple[float, float]]]:
    """Return the findings above a note that point to a span of time, with it."""
    return [(one, one.span) for one in result.findings if one.severity != "note" and one.span is not None]


def _rows_of_findings(result: Result) -> int:
    """Return how many findings stand one below the other at the head of a panel, in that which has most."""
    named = [finding.component for finding, _ in pointed(result)]
    return max((sum(one in ("", name) for one in named) for name in result.motion), default=0)


def _mark_windows(panel: Axes, result: Result, name: str, quiet: float, look: Style) -> None:
    """Draw bars at the foot of a panel: the pre-event window, and the significant duration."""
    foot = panel.get_xaxis_transform()
    begin, end = _significant(result, name, 0.95)
    spans = [("pre-event window", 0.0, quiet, look.faint), ("significant duration", begin, end, look.ink)]
    for title, first, last, colour in spans:
        if last <= first:
            continue
        panel.plot(
            [first, last], [0.035, 0.035], transform=foot, color=colour, linewidth=2.5, solid_capstyle="butt",
            label=title,
        )  # fmt: skip
        if title == "significant duration":
            place = _beside_bar(panel, first, last)
            panel.annotate(
                f"5 to 95 %: {last - first:.1f} s", (place.pop("at"), 0.035), xycoords=foot, fontsize=7, color=look.ink,
                **place,
            )  # fmt: skip


def _beside_bar(panel: Axes, first: float, last: float) -> dict[str, Any]:
    """Return where what a bar means is written: right of it, left of it, or above one that leaves no room beside."""
    begin, end = panel.get_xlim()
    across = end - begin
    if end - last > 0.4 * across:
        at, ha, shift = last, "left", (4.0, 0.0)
    elif first - begin > 0.4 * across:
        at, ha, shift = first, "right", (-4.0, 0.0)
    else:
        at, ha, shift = begin + 0.5 * across, "center", (0.0, 6.5)
    return {"at": at, "ha": ha, "va": "center", "xytext": shift, "textcoords": "offset points"}


def _mark_findings(panel: Axes, result: Result, name: str, look: Style) -> None:
    """Draw a bar at the head of a panel for each doubtful span."""
    head = panel.get_xaxis_transform()
    own = [(finding, span) for finding, span in pointed(result) if finding.component in ("", name)]
    for row, (finding, (first, last)) in enumerate(own):
        panel.plot(
            [first, last], [0.985, 0.985], transform=head, color=look.alarm, linewidth=4, solid_capstyle="butt",
            marker="|" if first == last else None, markersize=9, label=f"finding: {shortened(finding.name, 40)}",
        )  # fmt: skip
        panel.annotate(
            shortened(finding.name, 24), (first, 0.955), xycoords=head, xytext=(2, -9 * row),
            textcoords="offset points", ha="left", va="top", fontsize=7, color=look.alarm,
        )  # fmt: skip


def _mark_peak(
    panel: Axes, result: Result, name: str, quantity: str, factor: float, unit: str, look: Style
) -> None:  # fmt: skip
    words, time = peak_words(result, name, quantity, factor, unit)
    motion = result.motion[name]
    history = next(history for history, _, of in QUANTITIES if of == quantity)
    panel.plot(
        [time], [getattr(motion, history)[round(time / motion.dt) + motion.lead] * factor], marker="o", markersize=4.5,
        color=look.ink, linestyle="none", label=quantity,
    )  # fmt: skip
    rows = _rows_of_findings(result) if quantity == "PGA" else 0
    panel.annotate(
        words, (0.985, 0.96), xycoords=panel.transAxes, xytext=(0, -9.5 * rows), textcoords="offset points",
        ha="right", va="top", fontsize=8.5, color=look.ink,
    )  # fmt: skip


def peak_words(result: Result, name: str, quantity: str, factor: float, unit: str) -> tuple[str, float]:
    """Return what is written at a peak, and its time, s after the first sample."""
    peaks = result.peaks
    row = row_of_peak(result, name, quantity)
    time, value = float(peaks["time"].iat[row]), float(peaks["value"].iat[row])
    motion = result.motion[name]
    window = motion.window
    where = "" if window.start <= round(time / motion.dt) + motion.lead < window.stop else ", in the pad"
    shown = f"{at_least(result, name, quantity)}{value * factor:.3g}"
    return f"{quantity} {shown} {unit} at {time:.2f} s{where}", time


def _component_title(result: Result, name: str) -> str:
    component, band = result.record[name], result.usable_band[name]
    kept = f"{band.low_cut:.3g} to {band.high_cut or band.nyquist:.3g} Hz"
    direction = "" if component.azimuth is None or name == "V" else f", azimuth {component.azimuth:g}°"
    return f"{name}{direction}: {kept}"


def _towards(result: Result, name: str) -> str:
    azimuth = result.record[name].azimuth
    return name if azimuth is None or name == "V" else f"{name} (azimuth {azimuth:g}°)"


def _plain(value: float) -> str:
    return f"{value:.3g}"
