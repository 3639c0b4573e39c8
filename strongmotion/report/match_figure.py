"""A component before and after it was matched to a target: histories, build-up of energy, spectra, spectrograms."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from ..chain import integrate_twice
from ..foundation.units import acceleration_unit, in_unit, label
from ..measures import arias_history
from ..spectra import spectrogram
from .decimate import peaks_kept
from .style import canvas, finish, logarithmic, named_style, quieten, shortened

if TYPE_CHECKING:
    from ..suite import Match

__all__ = ["match_figure"]

RANGE_DB = 40.0
"""Below the largest amplitude, down to which the spectrograms are shaded: a hundredth."""
BANDS, COLUMNS = 90, 400
"""Frequencies and times drawn of a spectrogram."""


def match_figure(match: Match, unit: str = "g", axes: list[Axes] | None = None, style: str = "light") -> Figure:
    """Draw a matched component over the scaled record it was made from.

    Parameters
    ----------
    match : Match
    unit : {"m/s2", "cm/s2", "g"}
        Of acceleration.
    axes : list of Axes, optional
        Eight, to draw into: acceleration, velocity, displacement, build-up of Arias intensity, spectra, their ratio to
        the target, spectrograms of the scaled record and of what came out. A figure is made if not given.
    style : {"light", "dark"}

    Returns
    -------
    matplotlib.figure.Figure

    Raises
    ------
    InputError
        The style or unit is unknown, or the axes are not eight.
    """
    look, unit = named_style(style), acceleration_unit(unit)
    found = match.motion
    figure, grid = canvas(axes, 4, 2, (11.0, 10.5), look)
    faint, strong = look.faint, look.colour("H1")
    time = (np.arange(found.acceleration.size) - found.lead) * np.float64(found.dt)
    velocity, moved = integrate_twice(found.scaled, found.dt)
    factor = in_unit(unit)
    histories = (
        (f"Acceleration, {label(unit)}", factor * found.scaled, factor * found.acceleration),
        ("Velocity, m/s", velocity, found.velocity),
        ("Displacement, m", moved, found.displacement),
        (
            "Arias intensity so far, m/s",
            arias_history(found.scaled, found.dt),
            arias_history(found.acceleration, found.dt),
        ),
    )
    for panel, (title, before, after) in zip(grid.ravel()[:4], histories, strict=True):
        panel.plot(*peaks_kept(time, before, 900), color=faint, linewidth=0.8, label="scaled record")
        panel.plot(*peaks_kept(time, after, 900), color=strong, linewidth=0.8, label="matched")
        panel.set_ylabel(title)
        panel.set_xlabel("Time after the record's first sample, s")
        quieten(panel, look)
    grid[0, 0].legend(loc="upper right", fontsize=8, frameon=False, labelcolor=look.ink)
    spectra, ratio = grid[2]
    for panel in (spectra, ratio):
        logarithmic(panel, "both" if panel is spectra else "x")
        panel.set_xlabel("Period, s")
    for psa, colour, name in ((found.psa_before, faint, "scaled record"), (found.psa, strong, "matched")):
        spectra.plot(found.periods, psa * factor, color=colour, linewidth=1.2, label=name)
        ratio.plot(found.periods, psa / found.target, color=colour, linewidth=1.2, label=name)
    spectra.plot(
        found.periods, found.target * factor, color=look.colour("H2"), linestyle=(0, (5, 2)),
        label=f"target: {shortened(match.target.name, 40)}",
    )  # fmt: skip
    spectra.legend(loc="lower left", fontsize=8, frameon=False, labelcolor=look.ink)
    spectra.set_ylabel(f"PSA, {label(unit)}")
    ratio.axhspan(1 - match.tolerance, 1 + match.tolerance, color=faint, alpha=0.15, linewidth=0)
    ratio.set_ylabel("PSA to target")
    ratio.set_ylim(0.0, 2.0)
    for panel in (spectra, ratio):
        quieten(panel, look, nbins=None)
    _spectrograms(figure, grid[3], match, time, unit, style)
    heading = f"{shortened(match.record, 40)} {match.component}, adjusted in time to a target: not a recorded motion"
    return finish(figure, axes is None, heading, look)


def _spectrograms(figure: Figure, panels: np.ndarray, match: Match, time: np.ndarray, unit: str, style: str) -> None:
    """Draw amplitude over time and frequency before and after, shaded alike, an octave beyond the range matched."""
    look, found = named_style(style), match.motion
    first, last = match.period_range
    frequencies = np.geomspace(0.5 / last, min(2.0 / first, 0.5 / found.dt), BANDS)
    both = [spectrogram(each, found.dt, frequencies) * in_unit(unit) for each in (found.scaled, found.acceleration)]
    step = max(1, time.size // COLUMNS)
    highest = max(float(each.max()) for each in both)
    for panel, amplitude, name in zip(panels, both, ("Scaled record", "Matched"), strict=True):
        thinned = np.array([amplitude[:, at : at + step].max(axis=1) for at in range(0, time.size, step)]).T
        level = 20 * np.log10(np.maximum(thinned / highest, 10 ** (-RANGE_DB / 20)))
        shades = panel.pcolormesh(
            time[::step],
            frequencies,
            level,
            shading="nearest",
            cmap="cividis",
            vmin=-RANGE_DB,
            vmax=0.0,
            rasterized=True,
        )
        panel.axhline(1 / first, color="#ffffff", linewidth=0.7, linestyle=(0, (4, 3)))
        panel.axhline(1 / last, color="#ffffff", linewidth=0.7, linestyle=(0, (4, 3)))
        logarithmic(panel, "y")
        panel.set_xlabel("Time after the record's first sample, s")
        panel.set_ylabel("Frequency, Hz")
        panel.set_title(f"{name}: amplitude by time and frequency")
        quieten(panel, look, nbins=None)
        panel.grid(visible=False)
    bar = figure.colorbar(shades, ax=list(panels), pad=0.01)
    bar.set_label(f"dB of {highest:.3g} {label(unit)}", color=look.ink, fontsize=9)
    bar.ax.tick_params(labelsize=8.5, colors=look.ink)
