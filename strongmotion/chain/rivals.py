"""Rival baselines: what else explains the quiet windows as well, and where it leaves the ground.

The quiet windows give few numbers: slope, level and curvature of velocity after the shaking, and a trend of
acceleration before it. Many histories of the zero line give the same numbers and different displacements: none; one
step, sudden or gradual; two levels, one during the strong shaking and another after it (Iwan, Moser & Peng, 1985;
Boore, 2001); a tilt that grows with the shaking (Graizer, 2006). Each is a sum of few shapes. The zero can change only
between the onset and the time from which velocity is a straight line, so times of change are drawn from that interval,
and the spread of displacements is what is not known (Akkar & Boore, 2009). Given the times, amplitudes follow from the
quiet windows by generalised least squares, with the noise as known beforehand (`tail`) and a normal distribution of
amplitudes, and displacement is a sum of weights times amplitudes.

All models can explain the numbers, so what is assumed beforehand sets the interval. A level that came and went has
about the size of what remains after the shaking: where nothing remains, rivals are small by construction, and where
something does, none is preferred. To every model belong what changes slowly (a drift since before the shaking, a
recovery after it), which only curved quiet windows let in, and half a count of offset where noise is below the count.
Displacements that the velocity of the shaking could not have reached in its duration are unlikely.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.signal import lfilter

from ..motion import Motion
from .baseline import NORMAL_95, Shift
from .counts import rounding_offset
from .integrate import integrate_twice
from .tail import Tail
from .windows import Windows

__all__ = ["BaselineModel", "Rivals", "rival_baselines"]

Floats = NDArray[np.float64]

DRAWS = 256
"""Draws of the times of change; a quarter is of each kind below."""

NONE, ONE_STEP, TWO_LEVELS, TILT = "none", "one step", "two levels", "tilt with the shaking"

REMOVED, REMOVED_WEIGHT = "as removed", 0.2
"""What the motion is made with: one step, or an error that noise explains. It counts as one of five."""

KINDS = (ONE_STEP, TWO_LEVELS, TILT, ONE_STEP)
"""Draws in turn. Of the two of one step the first is sudden, the last gradual."""

DRAWN = np.append(np.resize(KINDS, DRAWS), NONE)
"""The model of each draw; the last has no error but half a count."""

RELATIVE_LEVEL = 1.0
"""Standard deviation of a level that came and went, as a multiple of what remains after the shaking: a judgement,
without a source."""

FINAL_LEVEL = 2.0
"""The same of the level after the shaking: wide, since that level is measured."""

DRIFT = 3.0
"""The same of a drift since before the shaking."""

SLOWEST = (1.0, 3.0, 10.0, 30.0, 100.0, 300.0)
"""Time constants, s, of what changes slowly."""

WITHIN_NOISE = 2.0
"""Slope and level after the shaking are signs of a baseline by what they exceed this many standard deviations by."""

BRIEFEST = 0.5
"""Shortest time, s, that a level lasts. What came and went leaves a velocity, whatever time it took: the briefer, the
larger its level may be."""

LEAST_STRONG = 5.0
"""Shortest duration of strong shaking, s, over which velocity came to the level that it shows at rest."""

FELT = 2.0
"""Shortest length, s, of a level that oscillators of long periods feel in full: half a period of 4 s."""

FARTHEST = 0.025
"""Fraction of draws whose level that came and went is larger than the largest of the extremes, on either side."""

SMALLEST = 1e-15
"""Least standard deviation of what the quiet windows say, in SI units, so that records without noise can be solved."""

ROUNDING = 1e-9
"""The same as a fraction of its variance: numbers of double precision say no more."""

QUANTILES = (-1.645, -0.97, -0.52, -0.17, 0.17, 0.52, 0.97, 1.645)
"""The normal distribution by eight of its values."""


def _evenly(count: int, dimensions: int) -> Floats:
    """Return points that fill a unit cube evenly, the same each time; shape (count, dimensions).

    The additive recurrence whose steps are powers of the root of x^(d+1) = x + 1 (from memory).
    """
    root = 2.0
    for _ in range(64):
        root = (1.0 + root) ** (1.0 / (dimensions + 1))
    return np.asarray((0.5 + np.outer(np.arange(1, count + 1), root ** -np.arange(1.0, dimensions + 1))) % 1.0)


EVENLY = _evenly(DRAWS, 7)
"""Five times of change, the time constants, and whether the times follow the energy of the shaking."""


@dataclass(frozen=True)
class BaselineModel:
    """One explanation of the quiet windows.

    Parameters
    ----------
    name : str
        ``"as removed"``, ``"none"``, ``"one step"``, ``"two levels"`` or ``"tilt with the shaking"``.
    weight : float
        Its share in the interval, from 0 to 1.
    misfit : float
        Root mean square of what the best of it leaves of the quiet windows, in standard deviations of the noise.
    low, high : float
        Permanent displacement with it, m, from 5 to 95 %.
    """

    name: str
    weight: float
    misfit: float
    low: float
    high: float


@dataclass(frozen=True, eq=False)
class Rivals:
    """All explanations together.

    Parameters
    ----------
    models : tuple of BaselineModel
    low, high : float
        Permanent displacement, m, from 5 to 95 %, over all.
    extremes : tuple of ndarray, each of shape (n,)
        Four zero lines of acceleration, m/s²: with two of them the ground ends near `low` and `high`, the others have
        the largest levels that came and went, down and up, which long periods feel most.
    """

    models: tuple[BaselineModel, ...]
    low: float
    high: float
    extremes: tuple[Floats, ...]


def rival_baselines(motion: Motion, windows: Windows, tail: Tail, shift: Shift) -> Rivals:
    """Weigh explanations of the quiet windows, and say where they leave the ground.

    Parameters
    ----------
    motion : Motion
        Acceleration, m/s², its zero that of the pre-event window, before any shift is removed.
    windows : Windows
        Onset, pre-event window and strong shaking.
    tail : Tail
        What velocity at rest says.
    shift : Shift
        The simplest explanation, whose displacement is measured over the whole tail.

    Returns
    -------
    Rivals
    """
    data = _Data(motion, windows, tail, shift)
    shapes = _Shapes(data)
    mean, deviation, log_weight, misfit = data.solve(shapes.sums)
    # Each model is as likely beforehand as another, however many draws it has.
    log_weight -= np.log(DRAWS / len(KINDS)) * (DRAWN != NONE) + np.log(2.0) * (DRAWN == ONE_STEP)
    log_weight -= log_weight.max()
    weight = np.exp(log_weight) / np.exp(log_weight).sum()
    # What the motion itself is made with is one more model, with a share like theirs.
    its_low, its_high = shift.interval
    models = [BaselineModel(REMOVED, REMOVED_WEIGHT, 0.0, its_low, its_high)]
    low, high = _interval(
        np.append(mean, (its_low + its_high) / 2),
        np.append(deviation, (its_high - its_low) / 2 / NORMAL_95),
        np.append((1.0 - REMOVED_WEIGHT) * weight, REMOVED_WEIGHT),
    )
    low, high = min(low, shift.displacement), max(high, shift.displacement)
    for name in (NONE, ONE_STEP, TWO_LEVELS, TILT):
        of_it = name == DRAWN
        share = float(weight[of_it].sum()) * (1.0 - REMOVED_WEIGHT)
        # What is next to impossible still has its displacements.
        relative = np.exp(log_weight[of_it] - log_weight[of_it].max())
        its_low, its_high = _interval(mean[of_it], deviation[of_it], relative / relative.sum())
        models.append(BaselineModel(name, share, float(misfit[of_it].min()), its_low, its_high))
    amplitudes = data.amplitudes(shapes.sums)
    brief = shapes.felt(amplitudes)
    at = [_quantile(mean, weight, 0.05), _quantile(mean, weight, 0.95)]
    at += [_quantile(brief, weight, FARTHEST), _quantile(brief, weight, 1.0 - FARTHEST)]
    return Rivals(tuple(models), low, high, tuple(shapes.zero_line(i, amplitudes[i], motion) for i in at))


def _quantile(values: Floats, weight: Floats, part: float) -> int:
    """Return which of the values has the given part of all weight below it."""
    order = np.argsort(values)
    below = np.cumsum(weight[order])
    return int(order[min(int(np.searchsorted(below, part * below[-1])), len(order) - 1)])


def _interval(mean: Floats, deviation: Floats, weight: Floats) -> tuple[float, float]:
    """Return 5 and 95 % of a mixture of normal distributions."""
    values = (mean[:, None] + deviation[:, None] * np.array(QUANTILES)).ravel()
    order = np.argsort(values)
    share = np.repeat(weight, len(QUANTILES))[order] / len(QUANTILES)
    low, high = np.interp((0.05, 0.95), np.cumsum(share) - share / 2, values[order])
    return float(low), float(high)


class _Data:
    """What the quiet windows say, with its errors: trend before, slope, level and curvature of velocity after.

    The last number is the displacement, which is asked for.
    """

    def __init__(self, motion: Motion, windows: Windows, tail: Tail, shift: Shift) -> None:
        sums, line, dt = tail.sums, tail.line, motion.dt
        self.tail, self.windows, self.dt = tail, windows, dt
        self.weights = np.array([sums.trend, sums.slope, sums.level, sums.curvature, sums.displaced])
        self.seen = self.weights @ sums.means
        block, count = round(sums.step / dt), len(sums.means)
        self.blocks = (count, block)
        zero_line = shift.zero_line(len(motion), dt, 0.0)
        self.seen[4] = shift.offset + self.weights[4] @ self.by_block(zero_line)
        self.acceleration = motion.acceleration - shift.zero_line(len(motion), dt, shift.half_length)
        self.velocity, displacement = integrate_twice(self.acceleration, dt)
        # The coda is an error of the straight line, and of the displacement.
        span = sums.time[-1] - line.start * dt
        whole = line.slope_error * span / np.sqrt(12.0)
        self.error = sums.covariance(self.weights)
        self.error[1, 1] += line.slope_error**2
        self.error[2, 2] += whole**2 + (line.slope_error * span / 2) ** 2
        self.error[1, 2] -= line.slope_error**2 * span / 2
        self.error[2, 1] = self.error[1, 2]
        self.error[3, 3] += 720.0 * (whole / span**2) ** 2
        parts = np.array_split(displacement[line.start :: 10], 3)
        self.coda = float(np.ptp([np.median(part) for part in parts])) / 2 / NORMAL_95
        self.strong = strong = max((windows.strong[1] - windows.strong[0]) * dt, LEAST_STRONG)
        self.farthest = max(float(np.abs(self.velocity[: line.start]).max()) * strong, SMALLEST)
        # What noise explains is no sign of any baseline.
        beyond_noise = np.maximum(np.abs(self.seen) - WITHIN_NOISE * np.sqrt(np.diag(self.error)), 0.0)
        left = float(max(beyond_noise[1], beyond_noise[2] / strong))
        half_count = rounding_offset(motion.acceleration[: windows.noise], motion.count)
        sizes = np.array((FINAL_LEVEL, RELATIVE_LEVEL, RELATIVE_LEVEL, DRIFT)) * left
        self.prior = np.append(sizes, half_count) ** 2

    def by_block(self, values: Floats) -> Floats:
        """Average samples over the blocks of the sums."""
        count, block = self.blocks
        return np.asarray(values[: count * block].reshape(count, block).mean(axis=1))

    def solve(self, shapes: Floats) -> tuple[Floats, Floats, Floats, Floats]:
        """Return displacement, its standard deviation, the log of the weight and the misfit for each draw.

        `shapes` are the sums of each shape with an amplitude of 1; shape (draws, shapes, 5).
        """
        common = np.einsum("dsi,s,dsj->dij", shapes, self.prior, shapes) + self.error
        (inverse, log_size), seen = _inverse(common[:, :4, :4]), self.seen[:4]
        linked = common[:, 4, :4]
        solved = inverse @ seen
        mean = self.seen[4] - (linked * solved).sum(axis=1)
        variance = common[:, 4, 4] - np.einsum("di,dij,dj->d", linked, inverse, linked)
        deviation = np.sqrt(np.maximum(variance, 0.0) + self.coda**2)
        log_weight = -(solved @ seen + log_size + (mean / self.farthest) ** 2) / 2
        # What remains is that part of the noise which the solution ascribes to noise.
        remains = solved @ self.error[:4, :4]
        misfit = np.sqrt(np.mean(remains**2 / np.maximum(np.diag(self.error)[:4], SMALLEST**2), axis=1))
        return mean, deviation, log_weight, misfit

    def amplitudes(self, shapes: Floats) -> Floats:
        """Return the likeliest amplitudes of the shapes of each draw, m/s²; shape (draws, shapes)."""
        of_it = shapes[..., :4]
        common = np.einsum("dsi,s,dsj->dij", of_it, self.prior, of_it) + self.error[:4, :4]
        return np.asarray(self.prior * np.einsum("dsi,dij,j->ds", of_it, _inverse(common)[0], self.seen[:4]))


def _inverse(covariance: Floats) -> tuple[Floats, Floats]:
    """Return inverse and log of the determinant of covariances of numbers of unlike units, also without any noise."""
    scale = np.sqrt(np.maximum(np.diagonal(covariance, axis1=1, axis2=2), SMALLEST**2))
    scaled = covariance / (scale[:, :, None] * scale[:, None, :]) + ROUNDING * np.eye(covariance.shape[1])
    inverse = np.linalg.inv(scaled) / (scale[:, :, None] * scale[:, None, :])
    return inverse, np.linalg.slogdet(scaled)[1] + 2.0 * np.log(scale).sum(axis=1)


class _Shapes:
    """Draws of the shapes: the level that stays, one that came and went, a recovery, a drift, half a count.

    Attributes
    ----------
    sums : ndarray, shape (draws, 5, 5)
        Sums of the shapes (second axis), by the weights of the data (last axis).
    """

    def __init__(self, data: _Data) -> None:
        sums = data.tail.sums
        self._data, self._step = data, sums.step
        self._change = (data.windows.noise * data.dt, data.tail.line.start * data.dt)
        after = np.cumsum(data.weights[:, ::-1], axis=1)[:, ::-1]
        self._after = np.pad(after, ((0, 0), (0, 1)))  # sums of a step at each edge of the blocks
        acceleration = data.by_block(data.acceleration**2)
        self._growths = [
            self._growth(part)
            for part in (
                data.by_block(np.abs(data.velocity)),
                data.by_block(data.velocity**2),
                np.sqrt(acceleration),
                acceleration,
            )
        ]
        drawn = EVENLY
        by_energy = drawn[:, 6] < 0.5
        self._times = np.where(by_energy[:, None], self._with_energy(drawn[:, :5]), self._any_time(drawn[:, :5]))
        self._times[:, :2].sort(axis=1)
        self._times[:, 2:4].sort(axis=1)
        length = np.maximum(self._times[:, 1] - self._times[:, 0], BRIEFEST)
        self._brief = np.maximum(data.strong / length, 1.0)
        self._slow = (drawn[:, 5] * len(SLOWEST)).astype(int)
        self._drift = (drawn[::-1, 5] * len(SLOWEST)).astype(int)
        self.sums = np.zeros((DRAWS + 1, 5, 5))
        self._add_sums()

    def _growth(self, rate: Floats) -> Floats:
        """Return what grows from 0 to 1 at a rate between the quiet windows, by block."""
        time = self._data.tail.sums.time
        grown = np.cumsum(np.where((time > self._change[0]) & (time < self._change[1]), rate, 0.0))
        return np.asarray(grown / grown[-1] if grown[-1] > 0 else np.zeros_like(grown))

    def _any_time(self, parts: Floats) -> Floats:
        return self._change[0] + parts * (self._change[1] - self._change[0])

    def _with_energy(self, parts: Floats) -> Floats:
        return np.interp(parts, self._growths[-1], self._data.tail.sums.time)

    def _steps(self, times: Floats) -> Floats:
        """Return the sums of sudden steps; the last axis is that of the weights."""
        at = np.clip(times / self._step, 0.0, self._after.shape[1] - 1.001)
        below = at.astype(int)
        part = (at - below)[..., None]
        table = self._after.T
        return np.asarray((1 - part) * table[below] + part * table[below + 1])

    def _add_sums(self) -> None:
        times, weights = self._times, self._data.weights
        kind = np.arange(DRAWS) % len(KINDS)
        level = self.sums[:DRAWS, 0]
        level[:] = self._steps(times[:, 2])
        level[kind == 1] = self._steps(times[kind == 1, 1])
        growths = np.array([np.diff(growth, prepend=0.0) @ self._after[:, :-1].T for growth in self._growths])
        level[kind == 2] = growths[np.arange(int((kind == 2).sum())) % len(growths)]
        first, last = times[kind == 3, 2], times[kind == 3, 3]
        within = first[:, None] + (last - first)[:, None] * (np.arange(16) + 0.5) / 16
        level[kind == 3] = self._steps(within).mean(axis=1)
        between = self._steps(times[:, 0]) - self._steps(times[:, 1])
        self.sums[:DRAWS, 1] = self._brief[:, None] * between
        dying = []
        for constant in SLOWEST:
            kept = np.exp(-self._step / constant)
            summed = lfilter([1.0], [1.0, -kept], weights[:, ::-1] * np.sqrt(kept), axis=1)[:, ::-1]
            dying.append(summed.T)
        table = np.array(dying)
        at = np.clip((times[:, 4] / self._step).round().astype(int), 0, table.shape[1] - 1)
        self.sums[:DRAWS, 2] = table[self._slow, at]
        self.sums[:DRAWS, 3] = table[self._drift, 0]
        self.sums[:, 4] = self._steps(np.array(self._change[0])) - self._steps(np.array(self._change[1]))

    def felt(self, amplitudes: Floats) -> Floats:
        """Return the level that came and went, m/s², as an oscillator feels it: by as much less as it is brief."""
        length = self._times[:, 1] - self._times[:, 0]
        return np.append(amplitudes[:-1, 1] * self._brief * np.minimum(length / FELT, 1.0), 0.0)

    def zero_line(self, draw: int, amplitudes: Floats, motion: Motion) -> Floats:
        """Return the error of acceleration of one draw, m/s², its mean before the onset removed."""
        time, step = self._data.tail.sums.time, self._step

        def ramp(first: float, last: float) -> Floats:
            # What is sudden takes one block, with the same middle.
            return np.clip((time - (first + last) / 2) / max(last - first, step) + 0.5, 0.0, 1.0)

        def between(first: float, last: float) -> Floats:
            return ramp(first, first) - ramp(last, last)

        line = amplitudes[4] * between(*self._change)
        if draw < DRAWS:
            times, kind = self._times[draw], draw % len(KINDS)
            if kind == 2:
                level = self._growths[draw // len(KINDS) % len(self._growths)]
            else:
                first, last = {0: (times[2], times[2]), 1: (times[1], times[1]), 3: (times[2], times[3])}[kind]
                level = ramp(first, last)
            line = line + amplitudes[0] * level + amplitudes[1] * self._brief[draw] * between(times[0], times[1])
            since = np.maximum(time - times[4], 0.0)
            line += amplitudes[2] * ramp(times[4], times[4]) * np.exp(-since / SLOWEST[self._slow[draw]])
            line += amplitudes[3] * np.exp(-time / SLOWEST[self._drift[draw]])
        whole = np.interp(np.arange(len(motion)) * motion.dt, time, line)
        return np.asarray(whole - whole[: self._data.windows.noise].mean())
