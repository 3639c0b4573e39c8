"""Corner frequencies from the signal-to-noise ratio.

The Fourier spectrum of the shaking is compared with that of the noise, both smoothed (Konno & Ohmachi, 1998) and the
noise scaled to the length of the shaking. The band that is kept is the widest over which the ratio stays at or above
the setting. Noise is that of the pre-event window; else of the tail; else a floor is modelled from the least step
between samples. A window of T seconds says nothing below about 2/T Hz: there the noise is taken to grow as 1/f, as the
drift of an instrument does.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.fft import next_fast_len
from scipy.signal.windows import tukey

from ..motion import Entry, Motion
from ..record import Finding
from ..settings import AUTO, FilterSettings
from ..spectra import fourier_spectrum, konno_ohmachi
from .band import Band
from .order import step
from .windows import Windows

__all__ = ["SignalAndNoise", "choose_bands", "signal_and_noise"]

STEP = step("corners", 70)

Chosen = tuple[float, str]

HIGHEST = 0.8
"""A ratio that holds to this part of the Nyquist frequency needs no high-cut."""

_NOISES = {
    "pre-event": "from the pre-event window",
    "tail": "from the tail",
    "modelled": "a floor modelled from the least step between samples",
}

TAPERED = 0.1
"""Part of a window that is tapered (Tukey) before its spectrum is taken."""

NARROWEST = 2.0
"""A band narrower than an octave is a chance of the noise, not a signal."""


def choose_bands(
    motions: Sequence[Motion],
    windows: Windows,
    settings: FilterSettings,
    cuts_low: bool = True,
    unknown: Mapping[str, NDArray[np.float64]] | None = None,
) -> tuple[dict[str, Band], dict[str, SignalAndNoise], tuple[Entry, ...], tuple[Finding, ...]]:
    """Choose the band of each component; the two horizontals share their low-cut.

    Parameters
    ----------
    motions : sequence of Motion
        The components of one record: acceleration, m/s², baseline removed, not padded.
    windows : Windows
        Onset and pre-event window.
    settings : FilterSettings
        Corners given there win.
    cuts_low : bool
        Whether a low-cut is chosen where none is given; without one the usable band still ends where noise begins.

    unknown : mapping of str to ndarray, optional
        By component, error of acceleration, m/s², that counts as noise too: what is not known of its zero line.

    Returns
    -------
    bands : dict of str to Band
        By component, and ``"horizontal"`` where H1 and H2 are both present: the band over which they can be rotated.
    compared : dict of str to SignalAndNoise
        What the corners were chosen from, by component; without what counts as noise only for the corners.
    entries : tuple of Entry
        What was chosen and why.
    findings : tuple of Finding
        ``low signal`` where no band has the ratio asked for.
    """
    nyquist = 0.5 / motions[0].dt
    low: dict[str, Chosen] = {}
    high: dict[str, Chosen] = {}
    findings: list[Finding] = []
    compared: dict[str, SignalAndNoise] = {}
    fallback = _fallback(motions[0], windows, settings.fallback_low_cut)
    which = next((name for name in ("pre-event", "tail") if windows.named(name) is not None), "modelled")
    for motion in motions:
        asked = f"signal to noise of at least {settings.signal_to_noise:g}, noise {_NOISES[which]}"
        seen = compared[motion.component] = signal_and_noise(motion, windows, settings.smoothing)
        frequency = seen.frequency
        noise = _modelled_noise(motion, windows, frequency) if seen.noise is None else seen.noise
        if unknown is not None and motion.component in unknown:
            error = fourier_spectrum(unknown[motion.component] * tukey(len(motion), TAPERED), motion.dt)
            smooth = konno_ohmachi(error.frequency, error.amplitude, frequency, settings.smoothing)
            noise = np.hypot(noise, smooth)
        ratio = seen.signal / noise
        clear = _clear_band(frequency, ratio, settings.signal_to_noise)
        if clear is None:
            low[motion.component] = (fallback, "fallback: signal nowhere clear of noise")
            high[motion.component] = (0.0, "none: signal nowhere clear of noise")
            if which != "modelled":  # a guess at the noise condemns nothing
                findings.append(_low_signal(motion.component, float(ratio.max()), settings.signal_to_noise))
            continue
        lowest, top = float(frequency[clear[0]]), float(frequency[clear[1]])
        low[motion.component] = (lowest, f"{asked} above it")
        if which != "pre-event":
            # The velocity at the start is not known, and looks like signal; slow coda in the tail looks like noise.
            low[motion.component] = (fallback, "fallback: no pre-event window")
        high[motion.component] = (0.0, f"none needed: {asked} throughout") if top >= HIGHEST * nyquist else (
            top, f"{asked} below it")  # fmt: skip
    clear_from = {name: frequency for name, (frequency, _) in low.items()}
    if not cuts_low:
        low = dict.fromkeys(low, (0.0, "none: the method keeps what a low-cut removes"))
    if settings.low_cut != AUTO:
        low = dict.fromkeys(low, (float(settings.low_cut), "given in the settings"))
    if settings.high_cut != AUTO:
        high = dict.fromkeys(high, (float(settings.high_cut), "given in the settings"))
    if {"H1", "H2"} <= set(low) and low["H1"] != low["H2"]:
        shared = max(low["H1"][0], low["H2"][0])
        if all(high[name][0] == 0.0 or shared < high[name][0] for name in ("H1", "H2")):
            low |= {name: (shared, f"{low[name][1]}; the higher of the two horizontals") for name in ("H1", "H2")}
        else:
            findings.append(_no_common_band())

    bands = {
        name: Band(low[name][0], high[name][0], nyquist, settings.period_fraction, clear_from[name]) for name in low
    }
    if {"H1", "H2"} <= set(bands) and bands["H1"].low_cut == bands["H2"].low_cut:
        cuts = [bands[name].high_cut for name in ("H1", "H2") if bands[name].high_cut > 0]
        bands["horizontal"] = replace(
            bands["H1"], high_cut=min(cuts, default=0.0), clear_from=max(clear_from["H1"], clear_from["H2"])
        )
    entries = tuple(
        Entry(
            STEP, name,
            f"Low-cut: {low[name][1]}. High-cut: {high[name][1]}",
            {
                "low_cut_hz": bands[name].low_cut,
                "high_cut_hz": bands[name].high_cut,
                "longest_usable_period_s": bands[name].longest_period,
                "shortest_usable_period_s": bands[name].shortest_period,
            },
        )
        for name in low
    )  # fmt: skip
    return bands, compared, entries, tuple(findings)


@dataclass(frozen=True, eq=False)
class SignalAndNoise:
    """Smoothed Fourier amplitudes of the shaking and of the noise, scaled to the same length.

    `frequency` in Hz, shape (m,); `signal` and `noise` in m/s. `noise` is None without a quiet window. `span` is that
    length, s.
    """

    frequency: NDArray[np.float64]
    signal: NDArray[np.float64]
    noise: NDArray[np.float64] | None
    span: float = 1.0

    @property
    def noise_power(self) -> NDArray[np.float64]:
        """One-sided power of the noise, (m/s²)²/Hz; zeros without a quiet window.

        Smoothing gives the mean of amplitudes, whose square is pi/4 of the mean square if they are those of Gaussian
        noise (Rayleigh's distribution); the taper leaves 1 - 5/8 of its part.
        """
        if self.noise is None:
            return np.zeros_like(self.frequency)
        return np.asarray(2.0 * self.noise**2 / (np.pi / 4.0 * (1.0 - 0.625 * TAPERED) * self.span))


def signal_and_noise(motion: Motion, windows: Windows, bandwidth: float) -> SignalAndNoise:
    """Compare the shaking of one component with its noise, as the corners are chosen.

    Parameters
    ----------
    motion : Motion
        Acceleration, m/s², not padded. Its mean does not matter.
    windows : Windows
        Onset, pre-event window and tail.
    bandwidth : float
        b of the smoothing (Konno & Ohmachi, 1998).
    """
    dt = motion.dt
    noise = windows.pre_event
    if noise is None and windows.tail is not None:
        noise = slice((windows.tail.start + len(motion)) // 2, None)  # the coda still swings at the beginning of it
    first, last = max(0, windows.onset - round(1.0 / dt)), None
    if windows.pre_event is None and windows.tail is not None:
        last = windows.tail.start
    signal = motion.acceleration[first:last]
    span = len(signal) * dt
    centres = np.geomspace(_lowest(span, dt), 0.5 / dt, 160)
    shaking = _smoothed(signal, dt, centres, bandwidth)
    floor = max(float(shaking.max()) * np.finfo(float).eps, np.finfo(float).tiny)
    if noise is None:
        return SignalAndNoise(centres, shaking, None, span)
    quiet = len(motion.acceleration[noise]) * dt
    resolved = centres >= 2.0 / quiet
    if not resolved.any():
        resolved[-1] = True
    background = np.empty_like(centres)
    background[resolved] = _smoothed(motion.acceleration[noise], dt, centres[resolved], bandwidth)
    lowest = centres[resolved][0]
    background[~resolved] = background[resolved][0] * lowest / centres[~resolved]
    # The spectrum of stationary noise grows with the square root of the window's length.
    background *= np.sqrt(span / quiet)
    return SignalAndNoise(centres, shaking, np.maximum(background, floor), span)


def _modelled_noise(motion: Motion, windows: Windows, frequency: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return a floor of noise, m/s, where no window is quiet: what rounding to whole counts leaves.

    The count of one is taken for the least difference between samples; rounding to it leaves white noise of a twelfth
    of its square. Below 1 Hz the floor is taken to grow as 1/f.
    """
    steps = np.abs(np.diff(motion.acceleration))
    steps = steps[steps > 1e-6 * float(np.abs(motion.acceleration).max())]  # what rounding of floats leaves is no step
    count_of_one = float(steps.min()) if steps.size else 0.0
    span = (len(motion) - windows.onset) * motion.dt
    floor = count_of_one * np.sqrt(span * motion.dt / 12.0) * np.maximum(1.0, 1.0 / frequency)
    return np.asarray(np.maximum(floor, np.finfo(float).tiny))


def _smoothed(
    acceleration: NDArray[np.float64], dt: float, centres: NDArray[np.float64], bandwidth: float
) -> NDArray[np.float64]:
    samples = len(acceleration)
    tapered = np.zeros(next_fast_len(samples, real=True))  # a transform of some lengths takes ten times as long
    # An offset, cut by the window, would leak into the lowest frequencies.
    tapered[:samples] = (acceleration - acceleration.mean()) * tukey(samples, TAPERED)
    spectrum = fourier_spectrum(tapered, dt)
    return konno_ohmachi(spectrum.frequency, spectrum.amplitude, centres, bandwidth)


def _clear_band(frequency: NDArray[np.float64], ratio: NDArray[np.float64], least: float) -> tuple[int, int] | None:
    """Return the first and last index of the widest band, on a log scale, with ratio >= least; None if too narrow."""
    clear = np.concatenate(([False], ratio >= least, [False])).astype(np.int8)
    runs = np.flatnonzero(np.diff(clear)).reshape(-1, 2) - [0, 1]
    if len(runs) == 0:
        return None
    widths = frequency[runs[:, 1]] / frequency[runs[:, 0]]
    first, last = runs[np.argmax(widths)]
    return (int(first), int(last)) if widths.max() >= NARROWEST else None


def _fallback(motion: Motion, windows: Windows, low_cut: float) -> float:
    """Return the low-cut without noise window, raised where the shaking is too short to hold two cycles of it."""
    span = (len(motion) - windows.onset) * motion.dt
    return max(low_cut, _lowest(span, motion.dt)) if low_cut > 0 else 0.0


def _lowest(span: float, dt: float) -> float:
    """Return two cycles in the length of the shaking, Hz: a lower low-cut could not be told from its absence."""
    return min(2.0 / span, 0.1 / dt)


def _no_common_band() -> Finding:
    return Finding(
        "no common band", "doubt",
        what="the low-cut one horizontal needs is not below the high-cut of the other",
        effect="each horizontal keeps its own band, and the two are not rotated",
        remedy="look at both components; set filter.low_cut and filter.high_cut by hand",
    )  # fmt: skip


def _low_signal(component: str, best: float, least: float) -> Finding:
    return Finding(
        "low signal", "unfit",
        what=f"no octave has the signal to noise of {least:g} asked for; the best anywhere is {best:.2g}",
        effect="peaks and spectra may be those of the noise",
        remedy="leave the component out, or set filter.low_cut and filter.high_cut by hand",
        component=component,
        values={"best_signal_to_noise": best, "least_signal_to_noise": least},
        confidence=0.9,
    )  # fmt: skip
