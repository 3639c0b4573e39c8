"""A scaled suite against its target, each record distinguished by a label at the end of its line."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from ..foundation.errors import InputError
from ..foundation.units import acceleration_unit, in_unit, label
from ..spectra import TargetSpectrum
from .style import canvas, finish, logarithmic, named_style, quieten, shortened

if TYPE_CHECKING:
    from ..suite import SuiteSpectra

__all__ = ["suite_figure"]

MOST_LABELS = 12
"""Records labelled at their lines; in a larger suite labels would lie on each other."""


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
    ends = []
    for row, name in zip(psa, factors, strict=True):
        panel.plot(suite.periods, row, color=look.faint, linewidth=0.8, alpha=0.8, label=f"_{name}")
        drawn = np.flatnonzero(np.isfinite(row))
        if drawn.size:
            ends.append((float(row[drawn[-1]]), float(suite.periods[drawn[-1]]), name))
    if len(ends) <= MOST_LABELS:
        _label(panel, ends, look)
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
    panel.set_xlim(suite.periods[0], suite.periods[-1] * (2.2 if len(ends) <= MOST_LABELS else 1.0))
    panel.set_xlabel("Period, s")
    panel.set_ylabel(f"PSA of {suite.component}, {label(unit)}")
    panel.legend(loc="lower left", fontsize=8.5, frameon=False, labelcolor=look.ink)
    quieten(panel, look, nbins=None)
    heading = f"{len(factors)} scaled records: {suite.component}, {100 * suite.damping:g} % damping"
    return finish(figure, axes is None, heading, look)


def _label(panel: Axes, ends: list[tuple[float, float, str]], look: object) -> None:
    """Write each record's name at the end of its line, pushed apart so that none lies on another."""
    least = 0.045  # of a decade a line of text takes
    at = -np.inf
    for level, period, name in sorted(ends):
        at = max(np.log10(level), at + least)
        panel.annotate(
            shortened(name, 28), (period, level), xytext=(period * 1.04, 10**at), fontsize=6.5, va="center",
            color=getattr(look, "ink", "black"), annotation_clip=False,
        )  # fmt: skip
