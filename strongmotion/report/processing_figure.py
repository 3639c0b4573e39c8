"""The figure of how the band was chosen: signal, noise, their ratio and the corner frequencies."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

import numpy as np
from scipy.signal.windows import tukey

from ..chain import signal_and_noise, to_acceleration
from ..foundation.errors import InputError
from ..spectra import fourier_spectrum
from .decimate import peaks_kept
from .style import canvas, finish, logarithmic, named_style, quieten

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from ..result import Result

__all__ = ["processing_figure"]


def processing_figure(
    result: Result,
    components: Sequence[str] | None = None,
    axes: Iterable[Axes] | None = None,
    style: str = "light",
) -> Figure:
    """Draw how the band was chosen: Fourier spectra of raw signal and noise, their ratio, and the corners.

    Parameters
    ----------
    result : Result
    components : sequence of str, optional
        Those to draw; all if not given.
    axes : iterable of Axes, optional
        To draw into, first the spectra of all, then the ratios; a figure is made if not given.
    style : {"light", "dark"}

    Returns
    -------
    matplotlib.figure.Figure
        A column a component. Above: Fourier amplitude of the raw shaking, as it is (faint) and smoothed (Konno &
        Ohmachi 1998), and of the pre-event noise, smoothed and scaled to the same length, with the chosen band shaded
        between its corners. Below: signal over noise, and the ratio the settings ask for. Without a pre-event window
        there is no noise to draw, and it says so.

    Raises
    ------
    InputError
        A component is not there, `style` is unknown, or the axes are not two a component.

    Examples
    --------
    >>> import strongmotion as sm
    >>> result = sm.process(sm.read("demo_records/quay.csv"))
    >>> len(processing_figure(result).axes) > 0
    True
    """
    look = named_style(style)
    every = list(result.motion)
    names = every if components is None else list(components)
    if unknown := [name for name in names if name not in every] or not names:
        raise InputError(f"components {unknown} are not in this result", remedy=f"Choose from {', '.join(every)}")
    settings = result.settings.filter
    dt = result.record.dt
    windows = result.windows

    figure, grid = canvas(
        axes, 2, len(names), (max(3.4 * len(names), 6.2), 6.0), look, sharex=True, sharey="row", height_ratios=(2, 1)
    )
    lowest, highest = np.inf, 0.0
    for column, name in enumerate(names):
        above, below = grid[:, column]
        colour, band = look.colour(name, every.index(name)), result.usable_band[name]
        for panel in (above, below):
            logarithmic(panel, marks=(1.0,))
            begin, end = band.low_cut or 1e-9, band.high_cut or band.nyquist
            panel.axvspan(begin, end, color=look.shade, zorder=0, label="band kept")
            for corner in (band.low_cut, band.high_cut):
                if corner > 0:
                    panel.axvline(corner, color=look.ink, linewidth=0.9, linestyle=(0, (4, 3)), label="corner")
        motion = to_acceleration(result.record[name])
        shaking = motion.acceleration[windows.signal]
        raw = fourier_spectrum((shaking - shaking.mean()) * tukey(len(shaking), 0.1), dt)
        above.plot(
            *peaks_kept(raw.frequency[1:], np.maximum(raw.amplitude[1:], 1e-30), 800),
            color=colour, alpha=0.28, linewidth=0.5, label="shaking",
        )  # fmt: skip
        smooth = signal_and_noise(motion, windows, settings.smoothing)
        above.plot(smooth.frequency, smooth.signal, color=colour, linewidth=1.6, label="shaking, smoothed")
        floor = smooth.signal.max() * 1e-5 if smooth.noise is None else smooth.noise.min() / 2
        lowest, highest = min(lowest, floor), max(highest, smooth.signal.max() * 3)
        if smooth.noise is not None:
            named = "noise, smoothed" if windows.pre_event is not None else "noise of the tail, smoothed"
            above.plot(smooth.frequency, smooth.noise, color=look.ink, linewidth=1.3, label=named)
            below.plot(smooth.frequency, smooth.signal / smooth.noise, color=colour, linewidth=1.4, label="ratio")
            below.axhline(
                settings.signal_to_noise, color=look.alarm, linewidth=1.0, linestyle=(0, (2, 1.5)),
                label=f"asked for: {settings.signal_to_noise:g}",
            )  # fmt: skip
        else:
            below.text(
                0.5, 0.5, "no quiet window: the noise\nwas modelled, not measured", transform=below.transAxes,
                ha="center", va="center", fontsize=8.5, color=look.ink,
            )  # fmt: skip
            below.set_yticks([])
        for panel in (above, below):
            panel.set_xlim(smooth.frequency[0], 0.5 / dt)
        above.set_title(f"{name}: {_corners(band.low_cut, band.high_cut)}")
        below.set_xlabel("Frequency, Hz")
        for panel in (above, below):
            quieten(panel, look, nbins=None)
    if highest > 0:
        for above in grid[0]:
            # Room at the foot, so that the legend hides no noise.
            above.set_ylim(max(lowest, highest * 1e-7) / 20, highest)
    grid[0, 0].set_ylabel("Fourier amplitude, m/s")
    grid[1, 0].set_ylabel("Signal over noise")
    grid[0, 0].legend(
        handles=[line for line in grid[0, 0].lines if line.get_label() not in ("corner", "shaking")],
        loc="lower left", fontsize=8, frameon=True, framealpha=0.85, facecolor=look.paper, edgecolor="none",
        labelcolor=look.ink,
    )  # fmt: skip
    figure.align_ylabels(grid[:, 0])
    return finish(figure, axes is None, "signal, noise and the band kept", look, result)


def _corners(low: float, high: float) -> str:
    if not low and not high:
        return "nothing cut"
    return " to ".join((f"{low:.3g} Hz" if low else "no low-cut", f"{high:.3g} Hz" if high else "no high-cut"))
