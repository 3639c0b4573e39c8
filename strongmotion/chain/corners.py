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
from scipy.fft import next_fast_len, rfft, rfftfreq
from scipy.signal.windows import tukey

from ..motion import Entry, Motion
from ..record import Finding, Touched
from ..settings import AUTO, FilterSettings
from ..spectra import fourier_spectrum, konno_ohmachi
from .band import Band
from .counts import rounding_offset
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
    "modelled": "a floor modelled from the smallest step between samples",
}

TAPERED = 0.1
"""Part of a window that is tapered (Tukey) before its spectrum is taken."""

SPACING = 1.03
"""Ratio of one frequency to the next at which spectra are compared."""

HOLE_ABOVE, HOLE_BELOW = 2.0, 1.25
"""Widest hole in the ratio that is bridged above and below the band, as a ratio of frequencies: judgements, without a
source."""

HOLE_CYCLES = 2.0
"""The spectrum of a shaking of D seconds rises and falls over 1/D Hz: holes of twice that are chance."""

STEEP = 0.25
"""Shortest time, s, in which zero lines change here: above its frequency they are taken as steps."""

NARROWEST = 2.0
"""A band narrower than an octave is a chance of the noise, not a signal."""


def choose_bands(
    motions: Sequence[Motion],
    windows: Windows,
    settings: FilterSettings,
    cuts_low: bool = True,
    unknown: Mapping[str, NDArray[np.float64]] | None = None,
    rivals: Mapping[str, NDArray[np.float64]] | None = None,
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
    rivals : mapping of str to ndarray, optional
        By component, how far other baselines lie from the one that was removed, m/s²; shape (k, n). They limit the
        longest usable period, and move no corner.

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

    Examples
    --------
    >>> from strongmotion import Settings, read
    >>> from strongmotion.chain import find_windows, to_acceleration
    >>> settings = Settings()
    >>> motions = [to_acceleration(one) for one in read("demo_records/quay.csv")]
    >>> windows, *_ = find_windows(motions, settings.onset)
    >>> bands, *_ = choose_bands(motions, windows, settings.filter)
    >>> bands["H1"].low_cut == bands["H2"].low_cut  # the horizontals share it
    True
    """
    nyquist = 0.5 / motions[0].dt
    low: dict[str, Chosen] = {}
    high: dict[str, Chosen] = {}
    findings: list[Finding] = []
    compared: dict[str, SignalAndNoise] = {}
    steady_from: dict[str, float] = {}
    fallback = _fallback(motions[0], windows, settings.fallback_low_cut)
    strong = (windows.strong[1] - windows.strong[0]) * motions[0].dt
    hole = HOLE_CYCLES / strong if strong > 0 else 0.0
    which = next((name for name in ("pre-event", "tail") if windows.named(name) is not None), "modelled")
    for motion in motions:
        asked = f"signal to noise of at least {settings.signal_to_noise:g}, noise {_NOISES[which]}"
        seen = compared[motion.component] = signal_and_noise(motion, windows, settings.smoothing)
        frequency = seen.frequency
        noise = _modelled_noise(motion, seen.span, frequency) if seen.noise is None else seen.noise
        if unknown is not None and motion.component in unknown:
            error = fourier_spectrum(unknown[motion.component] * tukey(len(motion), TAPERED), motion.dt)
            smooth = konno_ohmachi(error.frequency, error.amplitude, frequency, settings.smoothing)
            noise = np.hypot(noise, smooth)
        clear = _clear_band(seen, noise, settings.signal_to_noise, hole)
        if clear is None:
            low[motion.component] = (fallback, "fallback: signal nowhere clear of noise")
            high[motion.component] = (0.0, "none: the signal is nowhere above the noise")
            if which != "modelled":  # a guess at the noise condemns nothing
                best = float((seen.signal / noise).max())
                findings.append(_low_signal(motion.component, best, settings.signal_to_noise))
            continue
        lowest, top = clear
        if rivals is not None and motion.component in rivals:
            # The bands say what other baselines would change, so it is enough that they are less than the signal.
            smooth = _spectrum_of_steps(rivals[motion.component], motion.dt, frequency, settings.smoothing)
            steady = _clear_band(
                seen, np.hypot(noise, smooth / settings.signal_to_noise), settings.signal_to_noise, hole
            )
            steady_from[motion.component] = top if steady is None else steady[0]
        low[motion.component] = (lowest, f"{asked} above it")
        if which != "pre-event":
            # The velocity at the start is not known, and looks like signal; slow coda in the tail looks like noise.
            low[motion.component] = (fallback, "fallback: no pre-event window")
        high[motion.component] = (0.0, f"none needed: {asked} throughout") if top >= HIGHEST * nyquist else (
            top, f"{asked} below it")  # fmt: skip
    clear_from = {name: frequency for name, (frequency, _) in low.items()}
    if not cuts_low:
        low = dict.fromkeys(low, (0.0, "none: the method keeps what a low-cut removes"))
    own = {name: settings.for_component(name) for name in low}
    given = [name for name in low if own[name].low_cut != AUTO]
    low |= {name: (_number(own[name].low_cut), "given in the settings") for name in given}
    high |= {
        name: (_number(its.high_cut), "given in the settings") for name, its in own.items() if its.high_cut != AUTO
    }
    if {"H1", "H2"} <= set(low) and low["H1"][0] != low["H2"][0]:
        shared = max(low["H1"][0], low["H2"][0])
        lower = next(name for name in ("H1", "H2") if low[name][0] < shared)
        if lower not in given and all(high[name][0] == 0.0 or shared < high[name][0] for name in ("H1", "H2")):
            low |= {name: (shared, f"{low[name][1]}; the higher of the two horizontals") for name in ("H1", "H2")}
        else:
            findings.append(_no_common_band(given))

    bands = {
        name: Band(
            low[name][0],
            high[name][0],
            nyquist,
            settings.period_fraction,
            clear_from[name],
            steady_from=steady_from.get(name, 0.0),
        )
        for name in low
    }
    if {"H1", "H2"} <= set(bands) and bands["H1"].low_cut == bands["H2"].low_cut:
        cuts = [bands[name].high_cut for name in ("H1", "H2") if bands[name].high_cut > 0]
        bands["horizontal"] = replace(
            bands["H1"],
            high_cut=min(cuts, default=0.0),
            clear_from=max(clear_from["H1"], clear_from["H2"]),
            steady_from=max(bands[name].steady_from for name in ("H1", "H2")),
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

    def noise_spectrum(self) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Return frequency, Hz, and power of the noise, growing as 1/f² below the frequencies of the spectra.

        Displacement is mostly that of the noise below the low-cut, however little the filter leaves of it.
        """
        below = self.frequency[0] * SPACING ** np.arange(-70.0, 0.0)
        power = self.noise_power
        frequency = np.concatenate((below, self.frequency))
        return frequency, np.concatenate((power[0] * (self.frequency[0] / below) ** 2, power))


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

    Examples
    --------
    >>> from strongmotion import Settings, read
    >>> from strongmotion.chain import find_windows, to_acceleration
    >>> settings = Settings()
    >>> motions = [to_acceleration(one) for one in read("demo_records/quay.csv")]
    >>> windows, *_ = find_windows(motions, settings.onset)
    >>> spectra = signal_and_noise(motions[0], windows, settings.filter.smoothing)
    >>> spectra.frequency.shape == spectra.signal.shape == spectra.noise.shape
    True
    """
    dt = motion.dt
    noise = windows.pre_event
    if noise is None and windows.tail is not None:
        noise = slice((windows.tail.start + len(motion)) // 2, None)  # the coda has not died out at the beginning of it
    signal = motion.acceleration[windows.signal]
    span = len(signal) * dt
    centres = _centres(_lowest(span, dt) / 2.0, 0.5 / dt)
    shaking = _smoothed(signal, dt, centres, bandwidth)
    floor = np.maximum(float(shaking.max()) * np.finfo(float).eps, _rounding(motion, span, centres))
    if noise is None:
        return SignalAndNoise(centres, shaking, None, span)
    values = motion.acceleration[noise]
    quiet = len(values) * dt
    resolved = centres >= 2.0 / quiet
    if not resolved.any():
        resolved[-1] = True
    background = np.empty_like(centres)
    background[resolved] = _smoothed(values, dt, centres[resolved], bandwidth)
    lowest = centres[resolved][0]
    background[~resolved] = background[resolved][0] * lowest / centres[~resolved]
    # The spectrum of stationary noise grows with the square root of the window's length.
    background *= np.sqrt(span / quiet)
    background = np.maximum(background, floor)
    # A constant error over the shaking is a box, whose spectrum falls as 1/f.
    offset = rounding_offset(values, motion.count)
    background = np.hypot(background, offset * np.minimum(span, 1.0 / (np.pi * centres)))
    return SignalAndNoise(centres, shaking, np.maximum(background, np.finfo(float).tiny), span)


def _centres(lowest: float, highest: float) -> NDArray[np.float64]:
    """Return frequencies, Hz, `SPACING` apart, and the ends: the same ones for windows of any length."""
    first, last = np.ceil(np.log(lowest) / np.log(SPACING) + 0.01), np.log(highest) / np.log(SPACING) - 0.01
    return np.concatenate(([lowest], SPACING ** np.arange(first, last), [highest]))


def _rounding(motion: Motion, span: float, frequency: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the mean Fourier amplitude, m/s, of what rounding to whole counts leaves in the tapered window.

    White noise of a twelfth of the interval's square.
    """
    mean_of_rayleigh = np.sqrt(np.pi / 4.0)
    amplitude = motion.count * np.sqrt(span * motion.dt / 12.0 * (1.0 - 0.625 * TAPERED)) * mean_of_rayleigh
    return np.full_like(frequency, amplitude)


def _modelled_noise(motion: Motion, span: float, frequency: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return a floor of noise, m/s, where no window is quiet: what rounding leaves, growing as 1/f below 1 Hz."""
    floor = _rounding(motion, span, frequency) * np.maximum(1.0, 1.0 / frequency)
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


def _spectrum_of_steps(
    lines: NDArray[np.float64], dt: float, frequency: NDArray[np.float64], smoothing: float
) -> NDArray[np.float64]:
    """Return the largest smoothed Fourier amplitude of some zero lines, m/s, which fall as 1/f where they are steep."""
    block = max(1, round(STEEP / dt))
    count = lines.shape[-1] // block
    coarse = lines[:, : count * block].reshape(len(lines), count, block).mean(axis=-1)
    largest = np.abs(rfft(coarse, axis=-1)).max(axis=0) * block * dt
    highest = 0.4 / (block * dt)
    below = np.minimum(frequency, highest)
    smooth = konno_ohmachi(rfftfreq(count, block * dt), largest, np.unique(below), smoothing)
    return np.asarray(np.interp(below, np.unique(below), smooth) * below / frequency)


def _clear_band(
    seen: SignalAndNoise, noise: NDArray[np.float64], least: float, hole: float
) -> tuple[float, float] | None:
    """Return the ends, Hz, of the band with most of the energy in which the ratio is at least `least`; None if narrow.

    The spectrum of a short shaking has holes by chance, in which the ratio falls short though there is signal on both
    sides. They are bridged: what noise they hold is little beside the signal. Below the band they are bridged with
    more care, for there a drift of the zero line stands out of the noise as well: only up to a width of `hole`, Hz.
    """
    frequency = seen.frequency
    ratio = seen.signal / np.maximum(noise, 1e-30 * seen.signal.max(initial=0.0) + np.finfo(float).tiny)
    clear = np.concatenate(([False], ratio >= least, [False])).astype(np.int8)
    runs = (np.flatnonzero(np.diff(clear)).reshape(-1, 2) - [0, 1]).tolist()
    if not runs:
        return None
    # The energy above noise, over steps of equal ratio of frequencies.
    excess = np.maximum(seen.signal**2 - noise**2, 0.0) * frequency
    best = int(np.argmax([excess[first : last + 1].sum() for first, last in runs]))
    first, last = runs[best]
    for begin, end in runs[best + 1 :]:
        if frequency[begin] > HOLE_ABOVE * frequency[last]:
            break
        last = end
    for begin, end in reversed(runs[:best]):
        if frequency[first] > max(HOLE_BELOW * frequency[end], frequency[end] + hole):
            break
        first = begin
    low, high = _crossing(frequency, ratio, first, first - 1, least), _crossing(frequency, ratio, last, last + 1, least)
    return (low, high) if high / low >= NARROWEST else None


def _crossing(
    frequency: NDArray[np.float64], ratio: NDArray[np.float64], inside: int, outside: int, least: float
) -> float:
    """Return where the ratio crosses `least` between a frequency inside the band and its neighbour outside, Hz."""
    if not 0 <= outside < len(frequency):
        return float(frequency[inside])
    above, below = np.log(ratio[inside] / least), np.log(least / max(ratio[outside], np.finfo(float).tiny))
    share = above / (above + below) if above + below > 0 else 0.0
    return float(frequency[inside] * (frequency[outside] / frequency[inside]) ** share)


def _number(corner: object) -> float:
    """Return a corner of one component that is given, Hz."""
    assert isinstance(corner, int | float)
    return float(corner)


def _fallback(motion: Motion, windows: Windows, low_cut: float) -> float:
    """Return the low-cut without noise window, raised where the shaking is too short to hold two cycles of it."""
    span = len(motion.acceleration[windows.signal]) * motion.dt
    return max(low_cut, _lowest(span, motion.dt)) if low_cut > 0 else 0.0


def _lowest(span: float, dt: float) -> float:
    """Return two cycles in the length of the shaking, Hz: a lower low-cut would have no visible effect."""
    return min(2.0 / span, 0.1 / dt)


def _no_common_band(given: Sequence[str]) -> Finding:
    why = "the low-cut one horizontal needs is not below the high-cut of the other"
    return Finding(
        "no common band", "doubt",
        what="a low-cut given in the settings is lower than the other horizontal's" if given else why,
        effect="each horizontal keeps its own band, and the two are not rotated",
        remedy="look at both components; set filter.low_cut and filter.high_cut by hand",
        touches=Touched(alone=False),
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
