"""The displacement test: the low-cut is raised until displacement is still where the ground is.

What is left of errors at long periods swings on both sides of the shaking, before the onset too, since a zero-phase
filter knows no direction. Displacement passes where the largest before the onset, and in the second half of the tail,
in which the coda has died away, is at most a part of its peak, or no more than the noise explains. The low-cut is
raised in steps of a fifth until it passes; where four times the frequency does not do, the cause is another one (a
permanent displacement, a clipped peak), and the corner stays. The limits are common practice, without a source.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy.fft import irfft, rfft, rfftfreq

from ..motion import Entry, Motion
from .band import Band
from .corners import SignalAndNoise
from .ensemble import Choices, noise_in_peaks
from .filter import butterworth_gain
from .integrate import integrate_twice
from .order import step
from .windows import Windows

__all__ = ["raise_low_cuts"]

DISPLACEMENT_TEST = step("displacement test", 100)

Floats = NDArray[np.float64]

STEP, STEPS = 1.2, 8
"""The low-cut is raised by this factor, so many times at most."""

IN_NOISE = 4.0
"""Displacement within so many times the root mean square of its noise is no error."""


def raise_low_cuts(
    padded: Mapping[str, Motion],
    moved: Mapping[str, Motion],
    bands: Mapping[str, Band],
    noises: Mapping[str, SignalAndNoise],
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
    noises : mapping of str to SignalAndNoise
        By component.
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

        def passes(displacement: Floats, band: Band, name: str = name, motion: Motion = motion) -> bool:
            found, peak = _at_rest(displacement, motion, windows)
            noise = noise_in_peaks(Choices(motion, band, None, None, noises[name]), order)["PGD"]
            return found <= max(largest * peak, IN_NOISE * noise)

        higher = (replace(band, low_cut=band.low_cut * STEP**count) for count in range(1, STEPS + 1))
        possible = (tried for tried in higher if band.high_cut == 0 or 2 * tried.low_cut < band.high_cut)
        displacement = moved[name].displacement
        assert displacement is not None
        found, peak = _at_rest(displacement, motion, windows)
        what = f"Where the ground is at rest displacement reaches {found / peak if peak > 0 else 0.0:.0%} of its peak"
        if not passes(displacement, band):
            passing = next((one for one, tried in _displacements(motion, possible, order) if passes(tried, one)), None)
            raised[name] = passing or band
            what += (
                "; no higher low-cut mends it" if passing is None else f"; low-cut raised from {band.low_cut:.4g} Hz"
            )
        values = {"displacement_at_rest_m": found, "low_cut_hz": raised[name].low_cut}
        entries.append(Entry(DISPLACEMENT_TEST, name, what, values))
    pair = [raised[name] for name in ("H1", "H2") if "horizontal" in bands]
    shared = max((band.low_cut for band in pair), default=0.0)
    if all(band.high_cut == 0 or shared < band.high_cut for band in pair):
        raised |= {name: replace(raised[name], low_cut=shared) for name in ("H1", "H2", "horizontal") if pair}
    return raised, tuple(entries)


def _displacements(motion: Motion, bands: Iterable[Band], order: int) -> Iterator[tuple[Band, Floats]]:
    """Yield each band with the displacement, m, that it leaves; all go through one Fourier transform."""
    n, dt = len(motion), motion.dt
    frequency, spectrum = rfftfreq(n, dt), rfft(motion.acceleration)
    for band in bands:
        gain = butterworth_gain(frequency, band.low_cut, band.high_cut, order)
        yield band, integrate_twice(irfft(spectrum * gain, n), dt)[1]


def _at_rest(displacement: Floats, motion: Motion, windows: Windows) -> tuple[float, float]:
    """Return the largest displacement where the ground is at rest, and anywhere, m."""
    size = np.abs(displacement)
    still = [size[: motion.lead + windows.onset]] if windows.pre_event else []
    if windows.tail is not None:
        samples = len(motion) - motion.lead - motion.trail
        still.append(size[motion.lead + (windows.tail.start + samples) // 2 :])
    return max((float(part.max()) for part in still), default=0.0), float(size.max())
