"""What the low-cut takes with the noise: the motion at long periods, estimated from what is left of it.

The displacement spectrum of an earthquake is flat below the corner frequency of its source (Brune, 1970), falls as 1/f²
above it, and grows as 1/f towards zero frequency where a permanent displacement is part of it. Which of these holds
below the low-cut a record cannot tell. But the motion begins at the onset, dies away with the shaking, and agrees above
the low-cut with what was recorded, so it is drawn at random under these three conditions for each shape of the spectrum
(Gaussian processes; Tarantola, 2005, from memory). The peaks of these draws say by how much those of the filtered
motion fall short.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.fft import irfft, next_fast_len, rfft, rfftfreq
from scipy.linalg import cholesky, solve_triangular
from scipy.ndimage import uniform_filter1d

from ..motion import Motion
from ..record import NO_PERIODS, Finding, Touched
from .band import Band
from .baseline import NORMAL_95
from .corners import SignalAndNoise
from .filter import butterworth_gain
from .order import step
from .windows import Windows

__all__ = ["WholeMotion", "WholePeak", "estimate_whole", "takes"]

STEP = step("below the low-cut", 125)

Floats = NDArray[np.float64]

FINE, COARSE = 16, 4
"""Samples, and amplitudes that are drawn, in a period of the corner."""

BEYOND = 2.0
"""Periods of the corner before the onset and after the shaking in which its filter still rings."""

LONGEST = 40.0
"""Periods of the corner, at most, over which motion is drawn: those around the peak displacement."""

COMPARED = (0.5, 2.0)
"""The draws agree with the record between these frequencies, in corners, as far as the noise allows."""

SOURCES = (4.0, 0.6, 0.2)
"""Corner frequencies of the source, in corners of the filter: from a spectrum that is flat there to one that grows."""

SMOOTH = 0.5
"""Periods of the corner over which the motion's size is averaged: where it is small, so is what is missing."""

AGREES = 0.2
"""Part of the largest amplitude of the spectrum within which draws need not agree: they are a sketch of the motion."""

TRUST = 0.3
"""Power to which the likelihoods of the shapes are raised: the few numbers that decide between them are not
independent, and none of the shapes is the true one. This, `SMOOTH` and `AGREES` were chosen on simulations."""

DRAWS, RESPONDING = 64, 16
"""How many motions are drawn, and of how many the response of oscillators is computed."""

PERIODS, DAMPING = (0.2, 0.4, 0.6, 1.0, 2.0), 0.05
"""Periods, over that of the corner, and damping of these oscillators."""

STIFF = 0.02
"""Period, over that of the corner, from which down an oscillator follows what is missing as the ground does."""

SHORT = 0.1
"""Part of the peak, estimated to be taken by the low-cut, from which on a finding says so."""

ENDS = ("low", "middle", "high")


@dataclass(frozen=True)
class WholePeak:
    """A peak of the motion with what the low-cut takes: its median, and the limits of 5 and 95 %."""

    low: float
    middle: float
    high: float


@dataclass(frozen=True)
class WholeMotion:
    """What the motion may be with what the low-cut takes.

    Parameters
    ----------
    peaks : dict of str to WholePeak
        ``"PGA"``, m/s², ``"PGV"``, m/s, and ``"PGD"``, m.
    periods : tuple of float
        Of oscillators, s; the first is so short that they follow the ground.
    psa_ratio : tuple of float
        The limit of 95 % of their pseudo-acceleration, over that of the filtered motion.
    """

    peaks: dict[str, WholePeak]
    periods: tuple[float, ...]
    psa_ratio: tuple[float, ...]

    def psa_factor(self, periods: Floats) -> Floats:
        """Return by how much the response may be larger, at least 1, at periods, s."""
        ratio = np.interp(np.log(np.maximum(periods, 1e-3)), np.log(self.periods), self.psa_ratio)
        return np.maximum(ratio, 1.0)


def estimate_whole(
    motion: Motion,
    corner: float,
    band: Band,
    noise: SignalAndNoise,
    windows: Windows,
    order: int,
    permanent: tuple[float, float] | None = None,
) -> WholeMotion | None:
    """Estimate peaks and response of the motion with what is below the low-cut.

    Parameters
    ----------
    motion : Motion
        Filtered with zero phase, and integrated; pads included.
    corner : float
        The low-cut of that filter, Hz, above which the record shows the motion. It need not be that of `band`.
    band : Band
        The corners of the motion that is compared.
    noise : SignalAndNoise
        The noise of the component.
    windows : Windows
        Where the shaking begins and ends.
    order : int
        Order of the filter.
    permanent : (float, float), optional
        Interval of 5 to 95 % of the permanent displacement, m, as velocity at rest tells it.

    Returns
    -------
    WholeMotion or None
        None where the shaking is too short to tell.
    """
    assert motion.velocity is not None
    assert motion.displacement is not None
    block = max(1, int(1.0 / (FINE * corner * motion.dt)))
    begin, end = (min(motion.lead + at, len(motion)) for at in (windows.onset, windows.signal.stop or len(motion)))
    peak = int(np.argmax(np.abs(motion.displacement)))
    reach = round(LONGEST / 2.0 / corner / motion.dt)
    begin, end = max(begin, min(peak, end) - reach), min(end, max(peak, begin) + reach)
    ringing = round(BEYOND / corner / motion.dt)
    first, last = max(0, begin - ringing), min(len(motion), end + ringing)
    count = (last - first) // block
    if count < FINE or end <= begin:
        return None
    acceleration, velocity, displacement = (
        its[first : first + count * block].reshape(count, block)
        for its in (motion.acceleration, motion.velocity, motion.displacement)
    )
    knots = np.arange((begin - first) * motion.dt, (end - first) * motion.dt, 1.0 / (COARSE * corner))
    sketch = _Sketch(displacement.mean(axis=1), block * motion.dt, corner, knots, noise, order)
    missing, steps = sketch.draws(permanent)
    reached = []
    for times, own in enumerate((displacement, velocity, acceleration)):
        added = sketch.history(missing * (2j * np.pi * sketch.frequency) ** times)
        added += steps[:, None] * sketch.step_taken(times)
        reached.append(np.maximum((own.max(axis=1) + added).max(axis=1), -(own.min(axis=1) + added).min(axis=1)))
    limits = np.quantile(reached, (0.05, 0.5, 0.95), axis=1).T.tolist()
    peaks = {quantity: WholePeak(*its) for quantity, its in zip(("PGD", "PGV", "PGA"), limits, strict=True)}
    periods = np.array(PERIODS) / corner
    ratio = sketch.response_ratio(missing + steps[:, None] * sketch.taken * sketch.step, periods, band.low_cut, order)
    ratio_of_pga = peaks["PGA"].high / max(float(np.abs(acceleration).max()), 1e-300)
    return WholeMotion(peaks, (STIFF / corner, *periods.tolist()), (ratio_of_pga, *ratio.tolist()))


class _Sketch:
    """Displacement as splines whose amplitudes the spectrum of the filtered displacement constrains."""

    def __init__(
        self, displacement: Floats, dt: float, corner: float, knots: Floats, noise: SignalAndNoise, order: int
    ) -> None:
        self.dt, self.corner, self.knots = dt, corner, knots
        self.spacing = 1.0 / (COARSE * corner)
        self.count, self.padded = len(displacement), next_fast_len(len(displacement), real=True)
        self.all_of_it = rfft(displacement, self.padded) * dt
        frequency = rfftfreq(self.padded, dt)
        used = frequency <= COMPARED[1] * corner
        self.frequency = frequency[used]
        spectrum = self.all_of_it[used] / np.sinc(self.frequency * dt)
        gain = butterworth_gain(self.frequency, corner, 0.0, order)
        self.taken = 1.0 - gain
        # Cubic splines: smooth, and at rest on both sides.
        spline = self.spacing * np.sinc(self.frequency * self.spacing) ** 4
        self.shapes = spline[:, None] * np.exp(-2j * np.pi * self.frequency[:, None] * knots)
        seen = self.frequency >= COMPARED[0] * corner
        at, power = noise.noise_spectrum()
        omega = 2.0 * np.pi * self.frequency[seen]
        # The expected square of the spectrum of noise is half its one-sided power times the length.
        disturbed = np.interp(self.frequency[seen], at, power) / omega**4 / 2.0 * self.padded * dt * gain[seen] ** 2
        largest = float((np.abs(spectrum[seen]) ** 2).max())
        error = np.sqrt((disturbed + AGREES**2 * largest + np.finfo(float).tiny) / 2.0)
        self.rows = _real(self.shapes[seen] * (gain[seen] / error)[:, None])
        self.data = _real(spectrum[seen] / error)
        self.clear = np.tile(self.frequency[seen] >= corner, 2)
        size = uniform_filter1d(displacement**2, max(1, round(SMOOTH / corner / dt)), mode="constant")
        size = np.interp(knots, (np.arange(self.count) + 0.5) * dt, size)
        self.size = np.sqrt(size + AGREES**2 / 2.0 * size.max())
        # A permanent displacement of 1 m that grows as the square of the displacement does: its rate, and its spectrum.
        time = (np.arange(self.count) + 0.5) * dt
        moved = np.where((time >= knots[0]) & (time <= knots[-1] + self.spacing), displacement**2, 0.0)
        self.rate = moved / max(float(moved.sum()), 1e-300)
        step_ = rfft(self.rate, self.padded) / (2j * np.pi * np.maximum(frequency, frequency[1] / 2.0))
        self.step = step_[used]
        self.step_row = _real(self.step[seen] * gain[seen] / error)
        self.step_left = self.history(step_ * butterworth_gain(frequency, corner, 0.0, order))
        at_corner = np.abs(spectrum[self.frequency >= corner]).mean()
        self.largest_step = 2.0 * np.pi * corner * float(at_corner)

    def step_taken(self, times: int) -> Floats:
        """Return what the filter takes of a permanent displacement of 1 m, differentiated so often, by block."""
        taken = np.cumsum(self.rate) - self.rate / 2.0 - self.step_left
        for _ in range(times):
            taken = np.gradient(taken, self.dt)
        return np.asarray(taken)

    def steps(self, permanent: tuple[float, float] | None) -> list[tuple[float, float]]:
        """Return for each shape of the spectrum mean and deviation of the permanent displacement, m."""
        low, high = permanent or (0.0, 0.0)
        known = (high - low) / 2.0 / NORMAL_95
        if low > 0.0 or high < 0.0:
            return [((low + high) / 2.0, known)] * (len(SOURCES) + 2)
        largest = self.largest_step if permanent is None else min(known, self.largest_step)
        return [(0.0, 0.0)] * (len(SOURCES) + 1) + [(0.0, largest)]

    def shapes_of_spectrum(self) -> list[Floats]:
        """Return for each shape of the spectrum how amplitudes are made of independent numbers, up to a factor."""
        count = len(self.knots)
        lag = np.arange(count) * self.spacing
        made = []
        for ratio in SOURCES:
            decay = np.exp(-2.0 * np.pi * ratio * self.corner * lag)
            response = (1.0 + lag / self.spacing) * decay if ratio < SOURCES[0] else (lag == 0).astype(float)
            made.append(self.size[:, None] * _causal(response))
        falling = np.zeros(count)
        falling[:2] = (1.0, -1.0)[:count]
        made.append(self.size[:, None] * _causal(falling))
        made.append(made[0])
        return made

    def draws(self, permanent: tuple[float, float] | None) -> tuple[NDArray[np.complex128], Floats]:
        """Draw the spectrum of displacement that the filter took, m s, and the permanent displacement, m.

        Shapes (draws, frequencies) and (draws,).
        """
        of_models = []
        for shape, (mean, deviation) in zip(self.shapes_of_spectrum(), self.steps(permanent), strict=True):
            rows, data = self.rows @ shape, self.data - mean * self.step_row
            expected = float((rows[self.clear] ** 2).sum())
            scale = np.sqrt(max(float((data[self.clear] ** 2 - 1.0).sum()), 1.0) / max(expected, 1e-300))
            rows = np.column_stack((rows * scale, deviation * self.step_row))
            factor = cholesky(rows.T @ rows + np.eye(rows.shape[1]), lower=True, check_finite=False)
            half = solve_triangular(factor, rows.T @ data, lower=True, check_finite=False)
            fit = float(half @ half) - float(data @ data)
            of_models.append((fit / 2.0 - float(np.log(np.diag(factor)).sum()), shape * scale, factor, half))
        likelihoods = np.array([its[0] for its in of_models])
        weight = np.exp(TRUST * (likelihoods - likelihoods.max()))
        each = np.diff(np.floor(np.cumsum(weight) / weight.sum() * DRAWS + 0.5).astype(int), prepend=0)
        chance = np.random.default_rng(1)
        amplitudes, steps = [], []
        for many, (_, shape, factor, half), (mean, deviation) in zip(
            each, of_models, self.steps(permanent), strict=True
        ):
            if many == 0:
                continue
            free = half[:, None] + chance.standard_normal((len(half), many))
            solved = solve_triangular(factor, free, lower=True, trans="T", check_finite=False)
            amplitudes.append(shape @ solved[:-1])
            steps.append(mean + deviation * solved[-1])
        spectrum = (self.taken[:, None] * self.shapes) @ np.concatenate(amplitudes, axis=1)
        return np.asarray(spectrum.T), np.concatenate(steps)

    def history(self, spectrum: NDArray[np.complex128]) -> Floats:
        """Return the histories of some spectra; shape (draws, blocks)."""
        return np.asarray(irfft(spectrum / self.dt, self.padded, axis=-1)[..., : self.count])

    def response_ratio(self, missing: NDArray[np.complex128], periods: Floats, low_cut: float, order: int) -> Floats:
        """Return the limit of 95 % of the response with what is missing over that of the motion behind a low-cut."""
        frequency = rfftfreq(self.padded, self.dt)
        missing = missing[:: DRAWS // RESPONDING]
        motions = np.zeros((1 + len(missing), len(frequency)), complex)
        motions[:] = self.all_of_it
        motions[1:, : missing.shape[1]] += missing
        if low_cut != self.corner:
            gains = (butterworth_gain(frequency[1:], corner, 0.0, order) for corner in (low_cut, self.corner))
            motions[0, 1:] *= np.divide(*gains)
        limits = []
        for period in periods:
            ratio = frequency * period
            # Displacement relative to the ground, for a displacement of the ground.
            motion = motions * (ratio**2 / (1.0 - ratio**2 + 2j * DAMPING * ratio))
            peaks = np.abs(irfft(motion, self.padded, axis=-1)).max(axis=-1)
            limits.append((peaks[1:].mean() + NORMAL_95 * peaks[1:].std()) / max(peaks[0], 1e-300))
        return np.array(limits)


def takes(motion: Motion, corner: float, whole: WholeMotion | None) -> tuple[Motion, tuple[Finding, ...]]:
    """Say what the low-cut is estimated to take of the peaks.

    Parameters
    ----------
    motion : Motion
        As the chain made it.
    corner : float
        Its low-cut, Hz.
    whole : WholeMotion or None
        As from `estimate_whole`.

    Returns
    -------
    Motion
        Unchanged but for its history.
    findings : tuple of Finding
        ``low-cut takes motion`` where the median of the estimates is more than a tenth of a peak.
    """
    if whole is None:
        return motion, ()
    assert motion.velocity is not None
    assert motion.displacement is not None
    histories = {"PGA": motion.acceleration, "PGV": motion.velocity, "PGD": motion.displacement}
    units = {"PGA": "m_s2", "PGV": "m_s", "PGD": "m"}
    parts: dict[str, tuple[float, ...]] = {}
    values: dict[str, float] = {}
    limits: dict[str, float] = {}
    for name, its in whole.peaks.items():
        own = float(np.abs(histories[name]).max())
        parts[name] = tuple(max(0.0, 1.0 - own / max(end, 1e-300)) for end in (its.low, its.middle, its.high))
        values[f"{name.lower()}_taken_fraction"] = parts[name][1]
        limits |= {f"{name.lower()}_{end}_{units[name]}": getattr(its, end) for end in ENDS}
    noted = motion.after(STEP, f"The low-cut is estimated to remove {_listed(parts)}", values | limits)
    much = {name: part for name, part in parts.items() if part[1] > SHORT}
    if not much:
        return noted, ()
    finding = Finding(
        "low-cut takes motion", "note",
        what=f"the low-cut of {corner:.3g} Hz is estimated to remove {_listed(much)}",
        effect=f"{' and '.join(much)} {'are' if len(much) > 1 else 'is'} too small by this much; the bands include it",
        remedy="use the band and not the value, or lower filter.low_cut where the noise allows it",
        component=motion.component,
        values={"low_cut_hz": corner, **values},
        touches=Touched(tuple(much), NO_PERIODS),
    )  # fmt: skip
    return noted, (finding,)


def _listed(parts: Mapping[str, tuple[float, ...]]) -> str:
    """Return which parts of which peaks, with the limits of 5 and 95 %."""
    return " and ".join(
        f"{middle:.0%} of {name} (5 to 95 %: {low:.0%} to {high:.0%})" for name, (low, middle, high) in parts.items()
    )


def _causal(response: Floats) -> Floats:
    """Return the matrix that filters a series by an impulse response, from rest."""
    count = len(response)
    lag = np.arange(count)[:, None] - np.arange(count)
    return np.where(lag >= 0, response[np.maximum(lag, 0)], 0.0)


def _real(values: NDArray[np.complex128]) -> Floats:
    return np.concatenate((values.real, values.imag))
