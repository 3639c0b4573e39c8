"""A motion adjusted in time until its spectrum follows a target: wavelets whose effect on each oscillator is known.

Lilhanand & Tseng (1988): at the time of an oscillator's largest response a wavelet is added that changes this response
by what is missing; since wavelets act on their neighbours, too, the amplitudes of all follow from one system of
equations, and since the times of the largest responses move, that is repeated. The wavelet is the improved tapered
cosine of Al Atik & Abrahamson (2010), cos(w' t) exp(-(t/g)²) with w' = w sqrt(1 - z²) and g = 1.178 f^-0.93 s, both
from memory. It has as good as no velocity and displacement at its end, so no baseline correction is needed between the
steps; what is left is taken out by a bell over the record.

Here each oscillator has rows for its largest responses within a tenth of the target, so that one that is lowered does
not make room for the next, and a wavelet at each of them. Rows far off count more from step to step, which drives the
largest misfit down, not the mean one. The least squares are damped, so of all changes that do a small one is taken.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import wofz

from ..foundation.arrays import Floats, positive, signal
from ..foundation.errors import InputError
from . import _kernels
from .resampling import resample, resampling_factors
from .response import response_spectrum
from .target import TargetSpectrum, best_scale

__all__ = ["MatchedMotion", "match_spectrum", "wavelet", "wavelet_response", "wavelet_width"]

SPACING = 0.02
"""Steps of ln period between the oscillators: closer than the width of a peak at 5 % damping."""
REACH = 3.5
"""Widths of a wavelet after which nothing of it is left (exp(-12))."""
PAD = 3.0
"""Widths of the longest wavelet for which there must be room before and after the record."""
NEAR = 0.9
"""Responses above this fraction of the lower of target and peak have a row."""
WAYS = ((2, 0.8), (3, 0.5), (1, 0.5), (3, 0.8), (1, 0.8))
"""Most rows of an oscillator, and fraction of a step that is taken; the next where the one before gets no further."""
DAMPED, SHARPEN = 0.02, 5.0
"""Damping of the least squares relative to a wavelet's own effect; growth of weights."""
HEAVIEST = 20.0
BETWEEN, MOST_ADDED, ENOUGH = 4, 12, 0.85
"""Periods checked for each oscillator; oscillators added at a time; fraction of the tolerance to stop at."""
PATIENCE = 10
SHORTEST = 2.5
"""Sampling intervals in the shortest period that can be matched."""


@dataclass(frozen=True, eq=False)
class MatchedMotion:
    """A motion whose spectrum was brought to a target; it is no record.

    Parameters
    ----------
    acceleration, velocity, displacement : array (n,)
        m/s², m/s and m; at rest at the end, where displacement is what was asked for.
    dt : float
        s.
    lead : int
        Samples of pad before the motion's own first, those that were given among them.
    scaled : array (n,)
        The given motion in the same samples times the factor, m/s²: what the wavelets were added to.
    factor : float
        It was scaled by before wavelets were added.
    periods : array (p,)
        s, at which the match was checked: closer than it was made.
    psa_before, psa, target : array (p,)
        Of the scaled motion, of the matched motion, and wanted, m/s².
    steps : int
        Taken.
    """

    acceleration: Floats
    velocity: Floats
    displacement: Floats
    dt: float
    lead: int
    scaled: Floats
    factor: float
    periods: Floats
    psa_before: Floats
    psa: Floats
    target: Floats
    steps: int

    @property
    def misfit(self) -> float:
        """Largest departure from the target over all periods checked, as a fraction of it."""
        return float(np.abs(self.psa / self.target - 1.0).max())


def wavelet_width(periods: ArrayLike) -> Floats:
    """Return the widths g of the wavelets of some periods, s (Al Atik & Abrahamson 2010, from memory)."""
    return np.asarray(1.178 * np.asarray(periods, dtype=float) ** 0.93)


def wavelet(time: Floats, period: float, damping: float) -> Floats:
    """Return the wavelet of a period, of amplitude 1, at times after its centre, s."""
    return np.asarray(
        np.cos(2 * np.pi / period * np.sqrt(1 - damping**2) * time) * np.exp(-((time / wavelet_width(period)) ** 2))
    )


def wavelet_response(delay: Any, period: Any, wave_period: Any, damping: float) -> Floats:
    """Return an oscillator's response to a wavelet of acceleration of amplitude 1, in closed form.

    With h(x) = exp(-z w x) sin(w' x) / w' the response is -w² times the integral of h(x) f(delay - x) over x > 0. The
    sine and the wavelet's cosine are sums of exponentials, so each part is a Gaussian integral, written by the Faddeeva
    function so that nothing overflows.

    Parameters
    ----------
    delay : array
        s after the wavelet's centre.
    period, wave_period : array
        Of the oscillator and of the wavelet, s; broadcast with `delay`.
    damping : float
        Of the oscillator, and of the target that shapes the wavelet; below 1.

    Returns
    -------
    array
        w² times relative displacement, for an acceleration of 1 m/s² in m/s².

    Examples
    --------
    A long oscillator does not feel a short wavelet.

    >>> abs(float(wavelet_response(0.1, 5.0, 0.1, 0.05))) < 1e-3
    True
    """
    delay, omega = np.asarray(delay, dtype=float), 2 * np.pi / np.asarray(period, dtype=float)
    damped = omega * np.sqrt(1 - damping**2)
    wave = 2 * np.pi / np.asarray(wave_period, dtype=float) * np.sqrt(1 - damping**2)
    width = wavelet_width(wave_period)
    envelope = np.exp(-((delay / width) ** 2))
    total: Any = 0.0
    for sign in (1.0, -1.0):
        rate = -damping * omega + 1j * (damped - sign * wave)
        z = -(delay / width + rate * width / 2)
        late = z.real < 0
        tail = envelope * wofz(1j * np.where(late, -z, z))
        free = np.exp(np.where(late, rate * delay + (rate * width / 2) ** 2, -700.0))
        whole = np.where(late, 2 * free - tail, tail)
        total = total + 0.5 * np.exp(1j * sign * wave * delay) * width * np.sqrt(np.pi) / 2 * whole
    return np.asarray(-(omega**2 / damped) * total.imag)


def match_spectrum(
    acceleration: Floats,
    dt: float,
    target: TargetSpectrum,
    period_range: tuple[float, float],
    *,
    tolerance: float = 0.05,
    displacement: float = 0.0,
    room: tuple[int, int] = (0, 0),
    steps: int = 150,
) -> MatchedMotion:
    """Adjust a motion in time until its spectrum is within a tolerance of a target.

    What comes out is no record of an earthquake: its amplitudes are the target's at every period, as no recorded motion
    has them. Whether such motion may be used only the local code says; design use is for licensed
    engineers.

    Parameters
    ----------
    acceleration : array (n,)
        m/s².
    dt : float
        s.
    target : TargetSpectrum
        Of the damping to match at.
    period_range : (float, float)
        s; the first is at least 2.5 dt.
    tolerance : float
        Largest departure from the target to stop at, as a fraction; that reached is in the answer, also where it is
        larger.
    displacement : float
        Of the ground at the end, m: a permanent displacement that the motion has, else 0.
    room : (int, int)
        Samples of pad that the motion has before and after.
    steps : int
        To stop after.

    Returns
    -------
    MatchedMotion
        Longer than the motion where there is no room for the longest wavelets before or after it. The same for the
        same input.

    Raises
    ------
    InputError
        An argument is out of range, the motion is all zeros, or the target does not cover the range.

    Examples
    --------
    >>> import strongmotion as sm
    >>> from strongmotion.spectra import asce7_spectrum
    >>> motion = sm.process(sm.read("demo_records/quay.csv")).motion["H1"].unpadded()
    >>> target = asce7_spectrum(s_ds=0.3, s_d1=0.2, t_l=8.0)
    >>> matched = match_spectrum(motion.acceleration, motion.dt, target, (0.3, 1.0))
    >>> matched.misfit < 0.05
    True
    """
    given, dt = signal("acceleration", acceleration), positive("dt", dt)
    first, last = (float(end) for end in period_range)
    if not SHORTEST * dt <= first < last:
        raise InputError(
            f"expected a rising range of periods from {SHORTEST * dt:g} s ({SHORTEST:g} sampling intervals), found "
            f"{first:g} s to {last:g} s",
            source="range",
        )
    if not 0 < tolerance < 1 or steps < 1 or not 0 < target.damping < 1:
        raise InputError(f"expected a tolerance and a damping of 0 to 1, found {tolerance:g}, {target.damping:g}")
    if not given.any():
        raise InputError("the motion is all zeros", source="acceleration")
    count = int(np.ceil(np.log(last / first) / SPACING)) + 1
    periods = np.geomspace(first, last, count)
    pad = int(np.ceil(PAD * wavelet_width(np.array([last]))[0] / dt))
    if min(room) < 0 or sum(room) >= given.size:
        raise InputError(f"a room of {room[0]} and {room[1]} samples leaves nothing of {given.size}", source="room")
    pads = [max(0, pad - each) for each in room]
    at = np.concatenate((np.zeros(pads[0]), given, np.zeros(pads[1])))
    begin, own = pads[0] + room[0], given.size - sum(room)
    bell = np.zeros(at.size)
    bell[begin : begin + own] = np.sin(np.pi * (np.arange(own) + 0.5) / own) ** 2
    spectrum = _psa(at, dt, periods, target.damping)
    factor = best_scale(target, periods, spectrum, (first, last), unit="m/s2")
    scaled = factor * at
    matching = _Matching(periods, target, dt, bell, factor * displacement)
    best, taken = matching.run(scaled, tolerance, steps)
    checked = np.geomspace(first, last, 2 * count - 1)
    before, after = (_psa(each, dt, checked, target.damping) for each in (scaled, best))
    velocity, moved = _integrated(best, dt)
    return MatchedMotion(
        best, velocity, moved, dt, begin, scaled, factor, checked, before, after, target.at(checked), taken
    )


def _psa(acceleration: Floats, dt: float, periods: Floats, damping: float) -> Floats:
    found = response_spectrum(acceleration, dt, periods, damping, quantities=("psa",)).psa
    assert found is not None
    return found[0]


class _Matching:
    """Oscillators, their targets, and one step from a motion to the next."""

    def __init__(self, periods: Floats, target: TargetSpectrum, dt: float, bell: Floats, displacement: float) -> None:
        self.target, self.damping = target, target.damping
        self.dt, self.bell, self.displacement = dt, bell, displacement
        self.between = np.geomspace(periods[0], periods[-1], BETWEEN * (periods.size - 1) + 1)
        self.most = 1
        self.take(periods)

    def take(self, periods: Floats) -> None:
        """Go on with these oscillators, all of one weight."""
        self.periods, self.goal = periods, self.target.at(periods)
        self.factors = resampling_factors(periods, self.dt)
        self.weights = np.ones(periods.size)
        delays = np.linspace(0, 2, 401) * periods[:, None]
        effect = np.abs(wavelet_response(delays, periods[:, None], periods[:, None], self.damping))
        self.lag = delays[np.arange(periods.size), effect.argmax(axis=1)]

    def run(self, motion: Floats, tolerance: float, steps: int) -> tuple[Floats, int]:
        """Return the motion of least misfit over all periods, and the steps taken."""
        motion = self.at_rest(motion)
        best, least, taken, since = motion, np.inf, 0, 0
        closest, lowest = motion, np.inf  # of the oscillators at hand
        ways = itertools.cycle(WAYS)
        self.most, fraction = next(ways)
        for step in range(steps + 1):
            of, when, value, sign = self.peaks(motion)
            largest = np.zeros(self.periods.size)
            np.maximum.at(largest, of, value)
            misfit = np.abs(largest / self.goal - 1.0)
            since += 1
            if misfit.max() < lowest:
                closest, lowest, since = motion, float(misfit.max()), 0
            if lowest < 0.5 * tolerance or since >= PATIENCE or step == steps:
                off = np.abs(_psa(closest, self.dt, self.between, self.damping) / self.target.at(self.between) - 1.0)
                if off.max() < least:
                    best, least, taken = closest, float(off.max()), step
                if least < ENOUGH * tolerance or step == steps:
                    break
                # Go on from there with oscillators for the worst of what lies between, and in another way if stuck.
                worst = np.flatnonzero((off >= np.roll(off, 1)) & (off >= np.roll(off, -1)) & (off > 0.6 * tolerance))
                worst = worst[np.argsort(-off[worst], kind="stable")[:MOST_ADDED]]
                self.take(np.unique(np.append(self.periods, self.between[worst])))
                if since >= PATIENCE:
                    self.most, fraction = next(ways)
                motion, lowest, since = closest, np.inf, 0
                of, when, value, sign = self.peaks(motion)
            else:
                self.weights *= 1 + SHARPEN * misfit
                self.weights = np.minimum(self.weights / np.exp(np.log(self.weights).mean()), HEAVIEST)
            motion = self.at_rest(motion + fraction * self.change(of, when, value, sign))
        return best, taken

    def peaks(self, motion: Floats) -> tuple[NDArray[np.intp], Floats, Floats, Floats]:
        """Return oscillator, time, size and sign of the largest responses, each oscillator's own largest first."""
        found: list[tuple[Floats, ...]] = []
        fine = {int(factor): resample(motion, int(factor), "band-limited") for factor in np.unique(self.factors)}
        for i, (period, factor) in enumerate(zip(self.periods, self.factors, strict=True)):
            ground, h = fine[int(factor)], self.dt / factor
            u, v = np.empty_like(ground), np.empty_like(ground)
            _kernels.histories(ground, h, 2 * np.pi / period, self.damping, u, v)
            size = np.abs(u) * (2 * np.pi / period) ** 2
            high = size[1:-1] >= NEAR * min(float(size.max()), float(self.goal[i]))
            places = np.flatnonzero(high & (size[1:-1] >= size[:-2]) & (size[1:-1] > size[2:])) + 1
            if not places.size:
                places = np.clip([int(size.argmax())], 1, size.size - 2)
            before, here, after = size[places - 1], size[places], size[places + 1]
            bend = before - 2 * here + after
            shift = np.divide(0.5 * (before - after), bend, out=np.zeros_like(here), where=bend != 0)
            value = here - 0.25 * (before - after) * shift
            order = np.argsort(-value, kind="stable")[: self.most]
            found.append((np.full(order.size, i), (places + shift)[order] * h, value[order], np.sign(u[places[order]])))
        of, when, value, sign = (np.concatenate(part) for part in zip(*found, strict=True))
        return of.astype(np.intp), when, value, sign

    def change(self, of: NDArray[np.intp], when: Floats, value: Floats, sign: Floats) -> Floats:
        """Return the wavelets to add: those that least squares ask for."""
        first = np.append(True, of[1:] != of[:-1])
        wanted = self.goal[of] - value
        wanted[~first] = np.minimum(wanted[~first], 0.0)  # others than the largest need not grow
        weight = np.where(first, 1.0, 0.7) * self.weights[of] / self.goal[of]
        centre = when - self.lag[of]
        delay = when[:, None] - centre
        effect = np.zeros(delay.shape)
        row, column = np.nonzero(self.is_felt(delay, of))
        effect[row, column] = wavelet_response(
            delay[row, column], self.periods[of[row]], self.periods[of[column]], self.damping
        )
        matrix = effect * weight[:, None] * self.goal[of]
        damped = DAMPED * np.median(np.abs(matrix).max(axis=0))
        amplitude = self.goal[of] * np.linalg.solve(
            matrix.T @ matrix + damped**2 * np.eye(of.size), matrix.T @ (weight * sign * wanted)
        )
        added = np.zeros(self.bell.size)
        for i, at, size in zip(of, centre, amplitude, strict=True):
            reach = REACH * float(wavelet_width(self.periods[i]))
            begin = max(0, int((at - reach) / self.dt))
            end = min(added.size, int((at + reach) / self.dt) + 2)
            time = np.arange(begin, end) * self.dt - at
            added[begin:end] += size * wavelet(time, float(self.periods[i]), self.damping)
        return added

    def is_felt(self, delay: Floats, of: NDArray[np.intp]) -> NDArray[np.bool_]:
        """Return which effects matter: the others, under some per cent of the wavelet, are left to the next step.

        Nothing is felt before a wavelet comes; little of one far shorter than the oscillator's period; and after it has
        passed only what is near resonance, until that has died away.
        """
        reach = REACH * wavelet_width(self.periods[of])
        ratio = self.periods[of][:, None] / self.periods[of]
        near = (ratio > 0.4) & (ratio < 2.5)
        rings = self.periods[of][:, None] / (2 * np.pi * max(self.damping, 0.01)) * 3.0
        return (delay > -reach) & (ratio < 8.0) & (delay < reach + np.where(near, rings, 0.0))

    def at_rest(self, motion: Floats) -> Floats:
        """Return the motion without what leaves velocity, or displacement other than the one wanted, at the end."""
        shapes = (self.bell, self.bell * np.linspace(-1, 1, self.bell.size))
        ends = np.array([_ends(shape, self.dt) for shape in shapes]).T
        wanted = np.array(_ends(motion, self.dt)) - (0.0, self.displacement)
        one, two = np.linalg.solve(ends, wanted)
        return motion - one * shapes[0] - two * shapes[1]


def _integrated(acceleration: Floats, dt: float) -> tuple[Floats, Floats]:
    """Return velocity and displacement from rest, exact for straight lines between samples."""
    a, b = acceleration[:-1], acceleration[1:]
    velocity = np.append(0.0, np.cumsum(dt * (a + b) / 2))
    return velocity, np.append(0.0, np.cumsum(dt * velocity[:-1] + dt**2 * (2 * a + b) / 6))


def _ends(acceleration: Floats, dt: float) -> tuple[float, float]:
    velocity, displacement = _integrated(acceleration, dt)
    return float(velocity[-1]), float(displacement[-1])
