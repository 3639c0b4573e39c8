"""A scaled suite against its target, each record distinguished by its line and a label at the end of it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from ..foundation.errors import InputError
from ..foundation.units import acceleration_unit, in_unit, label
from ..spectra import TargetSpectrum
from .labels import spread
from .style import Style, canvas, finish, logarithmic, named_style, quieten, shortened

if TYPE_CHECKING:
    from ..suite import SuiteSpectra

__all__ = ["short_names", "suite_figure"]

MOST_LABELS = 12
"""Records labelled at their lines; in a larger suite labels would lie on each other."""

LABEL = 6.8
"""Size of their letters, points."""

LABELLED = 0.2
"""Part of the width that labels take."""

DASHES = ("-", (0, (5, 1.5)), (0, (1.5, 1.2)))
"""Of the lines of records, in turn once all colours are taken."""


def suite_figure(
    suite: SuiteSpectra,
    target: TargetSpectrum,
    factors: Mapping[str, float],
    period_range: tuple[float, float],
    unit: str = "g",
    axes: Axes | None = None,
    style: str = "light",
) -> Figure:
    """Draw the scaled spectra of some records, their mean and the target.

    Parameters
    ----------
    suite : SuiteSpectra
    target : TargetSpectrum
    factors : mapping of str to float
        By record, for those to draw.
    period_range : (float, float)
        Over which they were compared, s; shaded.
    unit : {"m/s2", "cm/s2", "g"}
    axes : Axes, optional
        To draw into; a figure is made if not given.
    style : {"light", "dark"}

    Returns
    -------
    matplotlib.figure.Figure
        Each record is drawn only where it is usable. The mean is exp of the mean of ln PSA, where all are usable; about
        it the limits of 5 and 95 % with all records at their ends together.

    Raises
    ------
    InputError
        No factor is given, or one of a record that is not in the suite.
    """
    look, unit = named_style(style), acceleration_unit(unit)
    places = {name: place for place, name in enumerate(suite.records)}
    if not factors or set(factors) - set(places):
        raise InputError("expected factors of records in the suite", source="factors")
    figure, grid = canvas(axes, 1, 1, (9.0, 6.0), look)
    panel = grid[0, 0]
    logarithmic(panel)
    rows = [places[name] for name in factors]
    scale = np.array(list(factors.values()))[:, None] * in_unit(unit)
    psa = np.where(suite.usable[rows] & (suite.psa[rows] > 0), suite.psa[rows] * scale, np.nan)
    panel.axvspan(*period_range, color=look.faint, alpha=0.12, linewidth=0)
    names = short_names(list(factors))
    labelled = len(factors) <= MOST_LABELS
    colours = (*look.others, look.components["V"], look.faint)
    for number, (row, (record, factor)) in enumerate(zip(psa, factors.items(), strict=True)):
        panel.plot(
            suite.periods, row, color=colours[number % len(colours)] if labelled else look.faint, linewidth=1.0,
            linestyle=DASHES[number // len(colours) % len(DASHES)] if labelled else "-", alpha=0.9,
            label=f"_{shortened(record, 60)}, times {factor:.3g}", gid=f"record-{number}",
        )  # fmt: skip
    mean = np.exp(np.log(psa).mean(axis=0))
    with np.errstate(invalid="ignore", divide="ignore"):
        limits = [np.exp(np.log(its[rows] * scale).mean(axis=0)) for its in (suite.low, suite.high)]
    limits = [np.where(np.isfinite(mean), its, np.nan) for its in limits]
    panel.fill_between(suite.periods, *limits, color=look.colour("H1"), alpha=0.25, linewidth=0)
    panel.plot(suite.periods, mean, color=look.colour("H1"), linewidth=2.2, label="mean of the scaled suite")
    inside = (suite.periods >= target.periods[0]) & (suite.periods <= target.periods[-1])
    goal = np.full_like(suite.periods, np.nan)
    goal[inside] = target.at(suite.periods[inside]) * in_unit(unit)
    panel.plot(
        suite.periods, goal, color=look.colour("H2"), linewidth=2.0, linestyle=(0, (5, 2)),
        label=f"target: {shortened(target.name, 40)}",
    )  # fmt: skip
    held = np.flatnonzero(np.isfinite(psa).any(axis=0))
    first, last = (float(suite.periods[end]) for end in ((held[0], held[-1]) if held.size else (0, -1)))
    panel.set_xlim(first, last * (last / first) ** (LABELLED / (1 - LABELLED) if labelled else 0.0))
    if labelled:
        known = [np.flatnonzero(np.isfinite(row)) for row in psa]
        ends = [
            (float(row[at[-1]]), float(suite.periods[at[-1]]), name, colours[number % len(colours)])
            for number, (row, at, name) in enumerate(zip(psa, known, names, strict=True))
            if at.size
        ]
        _label(panel, ends, last, look)
    panel.set_xlabel("Period, s")
    panel.set_ylabel(f"PSA of {suite.component}, {label(unit)}")
    panel.legend(loc="lower left", fontsize=8.5, frameon=False, labelcolor=look.ink)
    quieten(panel, look, nbins=None)
    heading = f"{len(factors)} scaled records: {suite.component}, {100 * suite.damping:g} % damping"
    return finish(figure, axes is None, heading, look)


def short_names(records: list[str]) -> list[str]:
    """Return what of each id comes before the time of its first sample, where that tells the records apart.

    Examples
    --------
    >>> short_names(["XX.QUAY.00_20310417T032627", "XX.FERN.00_20310417T032632"])
    ['XX.QUAY.00', 'XX.FERN.00']
    """
    short = [record.partition("_")[0] for record in records]
    return [shortened(name, 24) for name in (short if len(set(short)) == len(records) else records)]


def _label(panel: Axes, ends: list[tuple[float, float, str, str]], last: float, look: Style) -> None:
    """Write each record's name right of all lines, joined to the end of its own, so that none lies on another."""
    low, high = (float(np.log10(end)) for end in panel.get_ylim())
    panel.set_ylim(10**low, 10**high)
    ordered = sorted(ends)
    places = spread([float(np.log10(level)) for level, *_ in ordered], 0.034 * (high - low), low, high)
    for at, (level, period, name, colour) in zip(places, ordered, strict=True):
        panel.plot(
            [period, 1.02 * last, 1.15 * last], [level, level, 10**at], color=colour, linewidth=0.7,
            linestyle=(0, (1, 1.5)), label=f"_to {name}",
        )  # fmt: skip
        panel.text(1.18 * last, 10**at, name, fontsize=LABEL, va="center", color=look.ink)
