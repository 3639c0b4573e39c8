"""The displacement test: the low-cut is raised until displacement is still where the ground is.

What is left of errors at long periods oscillates on both sides of the shaking, before the onset too, since a zero-phase
filter knows no direction. Displacement passes where the largest before the onset, and in the second half of the tail,
in which the coda has died away, is at most a fraction of its peak. The low-cut is raised in steps of a fifth until it
passes. Where four times the frequency does not do, the cause is another one (a permanent displacement, a clipped peak),
and where the peak acceleration would suffer, the long periods are not worth it: there the corner stays. The limits are
common practice, without a source.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.fft import irfft, rfft, rfftfreq

from ..motion import Entry, Motion
from .band import Band
from .filter import butterworth_gain
from .integrate import integrate_twice
from .order import step
from .windows import Windows

__all__ = ["raise_low_cuts"]

DISPLACEMENT_TEST = step("displacement test", 100)

Floats = NDArray[np.float64]

STEP, STEPS, HALVINGS = 1.2, 8, 3
"""The low-cut is raised by this factor, so many times at most, and the last step is halved so often."""

PEAK_TAKEN = 0.03
"""Fraction of the peak acceleration that a raised low-cut may take: beyond it the long periods are not worth it."""

LATE = (7.5, 15.0)
"""Displacement of the tail is looked at between these times, s, after the shaking, however long the tail is; and for
the second of them before the onset, however much quiet there is."""


def raise_low_cuts(
    padded: Mapping[str, Motion],
    moved: Mapping[str, Motion],
    bands: Mapping[str, Band],
    windows: Windows,
    order: int,
    largest: float,
) -> tuple[dict[str, Band], tuple[Entry, ...]]:
    """Raise the low-cut of each component until its displacement is still at rest; horizontals share theirs.

    Parameters
    ----------
    padded : mapping of str to Motion
        Acceleration, m/s², pads included, by component.
    moved : mapping of str to Motion
        The same, filtered with zero phase to its band, and integrated.
    bands : mapping of str to Band
        By component, and ``"horizontal"``; a component without a low-cut is left alone.
    windows : Windows
        Onset, pre-event window and tail.
    order : int
        Order of the filter.
    largest : float
        Largest displacement at rest, as a part of its peak.

    Returns
    -------
    bands : dict of str to Band
    entries : tuple of Entry
        What was found, and what was done, by component.
    """
    raised = dict(bands)
    entries = []
    for name, motion in padded.items():
        band = bands[name]
        if band.low_cut == 0:
            continue

        def passes(displacement: Floats, motion: Motion = motion) -> bool:
            found, peak = _at_rest(displacement, motion, windows)
            return found <= largest * peak

        higher = (replace(band, low_cut=band.low_cut * STEP**count) for count in range(1, STEPS + 1))
        possible = (tried for tried in higher if band.high_cut == 0 or 2 * tried.low_cut < band.high_cut)
        displacement = moved[name].displacement
        assert displacement is not None
        pga = float(np.abs(moved[name].acceleration).max())
        found, peak = _at_rest(displacement, motion, windows)
        what = f"Where the ground is at rest displacement reaches {found / peak if peak > 0 else 0.0:.0%} of its peak"
        if not passes(displacement):
            accepted: Band | None = None
            failing = band
            for tried in _tried(motion, possible, order):
                if tried.pga < (1 - PEAK_TAKEN) * pga:
                    break
                if passes(tried.displacement):
                    accepted = tried.band
                    break
                failing = tried.band
            if accepted is not None:
                accepted = _between(failing, accepted, motion, order, passes)
            raised[name] = accepted or band
            what += (
                "; no higher low-cut corrects it"
                if accepted is None
                else f"; low-cut raised from {band.low_cut:.4g} Hz"
            )
        values = {"displacement_at_rest_m": found, "low_cut_hz": raised[name].low_cut}
        entries.append(Entry(DISPLACEMENT_TEST, name, what, values))
    if "horizontal" in bands:
        raised |= _shared(raised, bands, padded, moved, order)
    return raised, tuple(entries)


def _shared(
    raised: Mapping[str, Band],
    before: Mapping[str, Band],
    padded: Mapping[str, Motion],
    moved: Mapping[str, Motion],
    order: int,
) -> dict[str, Band]:
    """Return the bands of the horizontals with the higher low-cut of the two, or as before if that takes a peak."""
    low_cut = max(raised[name].low_cut for name in ("H1", "H2"))
    for name in ("H1", "H2"):
        if 0 < raised[name].high_cut <= low_cut:
            return {}
        if raised[name].low_cut < low_cut:
            (tried,) = _tried(padded[name], [replace(raised[name], low_cut=low_cut)], order)
            if tried.pga < (1 - PEAK_TAKEN) * float(np.abs(moved[name].acceleration).max()):
                return {each: before[each] for each in ("H1", "H2", "horizontal")}
    return {name: replace(raised[name], low_cut=low_cut) for name in ("H1", "H2", "horizontal")}


def _between(failing: Band, accepted: Band, motion: Motion, order: int, passes: Callable[[Floats], bool]) -> Band:
    """Return a band between one that fails and one that passes, so that a little noise moves the corner but little."""
    for _ in range(HALVINGS):
        middle = replace(accepted, low_cut=float(np.sqrt(failing.low_cut * accepted.low_cut)))
        (tried,) = _tried(motion, [middle], order)
        failing, accepted = (failing, middle) if passes(tried.displacement) else (middle, accepted)
    return accepted


@dataclass(frozen=True)
class _Tried:
    """What a band leaves: displacement, m, and peak acceleration, m/s²."""

    band: Band
    displacement: Floats
    pga: float


def _tried(motion: Motion, bands: Iterable[Band], order: int) -> Iterator[_Tried]:
    """Try each band in turn; all go through one Fourier transform."""
    n, dt = len(motion), motion.dt
    frequency, spectrum = rfftfreq(n, dt), rfft(motion.acceleration)
    for band in bands:
        gain = butterworth_gain(frequency, band.low_cut, band.high_cut, order)
        acceleration = irfft(spectrum * gain, n)
        yield _Tried(band, integrate_twice(acceleration, dt)[1], float(np.abs(acceleration).max()))


def _at_rest(displacement: Floats, motion: Motion, windows: Windows) -> tuple[float, float]:
    """Return the largest displacement where the ground is at rest, and anywhere, m."""
    size = np.abs(displacement)
    onset = motion.lead + windows.onset
    still = [size[max(0, onset - round(LATE[1] / motion.dt)) : onset]] if windows.pre_event else []
    if windows.tail is not None:
        quiet = size[motion.lead + windows.tail.start : len(size) - motion.trail]
        first, last = (min(len(quiet) * late / LATE[1], late / motion.dt) for late in LATE)
        still.append(quiet[int(first) : max(int(last), 1)])
    return max((float(part.max()) for part in still), default=0.0), float(size.max())
