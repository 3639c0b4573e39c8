"""What velocity says at rest after the shaking, and what noise does to it.

After the shaking the ground is at rest, so velocity, integrated from rest, is a straight line there: its slope is the
error of acceleration, its level the sum of all errors before. Slope, level and displacement are weighted sums of
acceleration, so the spectrum of the noise times that of the weights is their variance (random vibration; Crandall &
Mark, 1963; from memory). The noise is that of the pre-event window, taken to grow as 1/f below two cycles in it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.fft import next_fast_len, rfft, rfftfreq

from .integrate import integrate_twice
from .windows import LEAST_TAIL, Windows

__all__ = ["Line", "Tail", "TailSums", "read_tail"]

BLOCK = 0.25
"""Length, s, over which acceleration is averaged before the effect of noise is computed: shorter noise has none."""


@dataclass(frozen=True)
class Tail:
    """A straight line through velocity at rest, and the sums of acceleration that it is made of."""

    line: Line
    sums: TailSums


def read_tail(acceleration: NDArray[np.float64], dt: float, windows: Windows) -> Tail | None:
    """Fit a straight line to velocity after the shaking.

    Parameters
    ----------
    acceleration : ndarray, shape (n,)
        m/s², its zero that of the pre-event window.
    dt : float
        Sampling interval, s.
    windows : Windows
        Pre-event window, strong shaking and tail.

    Returns
    -------
    Tail or None
        None without a pre-event window and a tail. The line's level is that at the end of the strong shaking.
    """
    tail, quiet = windows.tail, windows.pre_event
    if tail is None or quiet is None:
        return None
    velocity, _ = integrate_twice(acceleration, dt)
    sums = TailSums(acceleration, dt, quiet.stop, tail.start)
    line = _line_at_rest(velocity, dt, tail.start, windows.strong[1] * dt, sums.deviation(sums.slope))
    if line.start > tail.start:
        sums = TailSums(acceleration, dt, quiet.stop, line.start)
    return Tail(line, sums)


@dataclass(frozen=True)
class Line:
    """A straight line through velocity at rest: slope, m/s², and level, m/s, at a given time, with their errors."""

    start: int
    slope: float
    level: float
    slope_error: float
    level_error: float


def _line_at_rest(velocity: NDArray[np.float64], dt: float, first: int, at: float, wander: float) -> Line:
    """Fit a line to velocity from a sample of the tail on, and give its level at the time `at`, s.

    The coda has not died out at the beginning of the tail; a late start leaves little to fit, and far to go back over
    while the zero wanders, m/s². The start that leaves the least error of the level is taken.
    """
    block = max(1, round(0.1 / dt))
    count = (len(velocity) - first) // block
    means = velocity[first : first + count * block].reshape(count, block).mean(axis=1)
    time = (first + (np.arange(count) + 0.5) * block - 0.5) * dt
    best: Line | None = None
    least = np.inf
    for start in range(0, max(1, count - round(LEAST_TAIL / (block * dt)) + 1), max(1, count // 16)):
        here, values = time[start:], means[start:]
        centre, span = here.mean(), here[-1] - here[0]
        away = here - centre
        level = values.mean()
        slope = float(away @ values / (away @ away))
        rest = values - level - slope * away
        independent = max(int(np.count_nonzero(np.diff(np.signbit(rest)))), 2)
        error = float(rest.std() / np.sqrt(independent))
        slope_error = error * np.sqrt(12.0) / span
        level_error = float(np.hypot(error, slope_error * (centre - at)))
        whole_error = float(np.hypot(level_error, wander * (here[0] - at)))
        if best is None or whole_error < least:
            least = whole_error
            best = Line(first + start * block, slope, level + slope * (at - centre), slope_error, level_error)
    assert best is not None
    return best


class TailSums:
    """What is read from the tail, as weighted sums of acceleration averaged over blocks, and what noise does to them.

    Parameters
    ----------
    acceleration : ndarray, shape (n,)
        m/s², its zero that of the quiet window.
    dt : float
        Sampling interval, s.
    quiet, rest : int
        Samples from the first that are noise; sample from which the ground is at rest.

    Attributes
    ----------
    displaced, level, slope, curvature : ndarray, shape (m,)
        Weights of displacement, of the level and slope of a straight line through velocity, and of its curvature, at
        rest.
    trend : ndarray, shape (m,)
        Weights of the slope of acceleration in the quiet window.
    time, means : ndarray, shape (m,)
        Middles of the blocks, s, and what acceleration is over them, m/s².
    step : float
        Length of a block, s.
    """

    def __init__(self, acceleration: NDArray[np.float64], dt: float, quiet: int, rest: int) -> None:
        block = max(1, round(BLOCK / dt))
        count, self.step = len(acceleration) // block, block * dt
        self.means = means = acceleration[: count * block].reshape(count, block).mean(axis=1)
        self.time = (np.arange(count) + 0.5) * self.step
        self._quiet = slice(0, max(quiet // block, 1))
        self._rest = slice(min(rest // block, count - 2), count)
        at_rest = self.time[self._rest]
        away = at_rest - at_rest.mean()
        slope = away / (away @ away)
        self.slope = self._of_velocity(slope)
        self.level = self._of_velocity(1.0 / len(away) + slope * (rest * dt - at_rest.mean()))
        self.displaced = self._from_zero(np.maximum(rest * dt - self.time, 0.0) * self.step)
        square = away**2 - (away**2).mean()
        self.curvature = self._of_velocity(2.0 * square / (square @ square))
        self.trend = np.zeros_like(self.time)
        in_quiet = self.time[self._quiet] - self.time[self._quiet].mean()
        if len(in_quiet) > 2:
            self.trend[self._quiet] = in_quiet / (in_quiet @ in_quiet)
        noise = means[self._quiet]
        self._density = 2.0 * self.step * float(np.var(noise - _straight(noise))) if len(noise) > 2 else 0.0
        self._grows_below = 2.0 / max(quiet * dt, self.step)

    def _of_velocity(self, weights: NDArray[np.float64]) -> NDArray[np.float64]:
        """Turn weights of velocity at rest into those of acceleration."""
        whole = np.zeros_like(self.time)
        whole[self._rest] = weights
        return self._from_zero(self.step * (np.cumsum(whole[::-1])[::-1] - whole / 2))

    def _from_zero(self, weights: NDArray[np.float64]) -> NDArray[np.float64]:
        """Take the mean of the quiet window from what weights are applied to."""
        weights[self._quiet] -= weights.sum() / (self._quiet.stop - self._quiet.start)
        return weights

    def deviation(self, weights: NDArray[np.float64]) -> float:
        """Return the standard deviation that noise gives a weighted sum."""
        return float(np.linalg.norm(self._spectra(weights, 8)))

    def covariance(self, weights: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return what noise gives sums of weights, shape (k, m), in common; shape (k, k)."""
        spectra = self._spectra(weights, 4)
        return np.asarray((spectra @ spectra.conj().T).real)

    def _spectra(self, weights: NDArray[np.float64], longer: int) -> NDArray[np.complex128]:
        n = next_fast_len(longer * weights.shape[-1], real=True)
        frequency = rfftfreq(n, self.step)
        growth = np.maximum(1.0, self._grows_below / np.maximum(frequency, frequency[1]))
        growth[0] = 0.0
        return np.asarray(np.sqrt(self._density * frequency[1]) * growth * rfft(weights, n))


def _straight(values: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the straight line through evenly spaced values."""
    away = np.arange(len(values)) - (len(values) - 1) / 2
    return np.asarray(values.mean() + away * (away @ values) / (away @ away))
