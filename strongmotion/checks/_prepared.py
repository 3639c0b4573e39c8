"""What several checks need of one component, computed once: departures from the median, noise, and innovations.

Ground motion is coloured: what a sample will be follows in part from those before it, by an autoregressive model
fitted to the record (Yule & Walker; Levinson's recursion). What does not follow, the innovation, is nearly white.
"""

from __future__ import annotations

import functools
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import solve_toeplitz

from ..record import Component

__all__ = ["ORDER", "Prepared", "prepared"]

Floats = NDArray[np.float64]

ORDER = 8
"""Samples that a sample is predicted from."""


@dataclass(frozen=True, eq=False)
class Prepared:
    """One component, in the unit of its samples.

    Parameters
    ----------
    values : ndarray, shape (n,)
        Samples less their median.
    usual : float
        That median.
    steps : ndarray, shape (n - 1,)
        Sizes of the steps between samples.
    count : float
        The least step other than 0, which is one count of a digitiser; 0 where all samples are the same.
    by_second : ndarray
        Standard deviation of the steps between samples over the square root of 2, second by second: that of the
        noise, where it is white and the ground is still. Empty for a record of less than two seconds.
    """

    values: Floats
    usual: float
    steps: Floats
    count: float
    by_second: Floats

    @property
    def noise(self) -> float:
        """Standard deviation of white noise in the quietest second; 0 for a record of less than two."""
        return float(self.by_second.min()) if self.by_second.size else 0.0

    @functools.cached_property
    def model(self) -> Floats | None:
        """The filter that leaves innovations of samples, shape (ORDER + 1,); None where too few samples move."""
        values = self.values
        n = len(values)
        # Sums and no dot products: those of long arrays go to threads, and wait for them where processors are busy.
        lags = np.array([(values[: n - lag] * values[lag:]).sum() for lag in range(min(ORDER, n - 1) + 1)])
        if n < 6 * ORDER or lags[0] == 0.0:
            return None
        lags[0] *= 1.0 + 1e-6
        return np.concatenate(([1.0], -solve_toeplitz(lags[:-1], lags[1:])))

    @functools.cached_property
    def innovations(self) -> Floats | None:
        """Samples less what the model predicts, shape (n + ORDER,); the first and last `ORDER` lack neighbours."""
        return None if self.model is None else np.convolve(self.values, self.model)


@functools.lru_cache(maxsize=1)
def prepared(component: Component) -> Prepared:
    """Return what checks need; kept for the next check of the same component."""
    samples = component.samples.astype(np.float64)
    usual = float(np.median(samples))
    steps = np.diff(samples)
    by_second = _by_second(steps, component.dt)
    np.abs(steps, out=steps)
    moving = steps[steps > 0]
    return Prepared(samples - usual, usual, steps, float(moving.min()) if moving.size else 0.0, by_second)


def _by_second(steps: Floats, dt: float) -> Floats:
    n = max(8, round(1.0 / dt))
    if len(steps) + 1 < 2 * n:
        return np.empty(0)
    return np.asarray(steps[: len(steps) // n * n].reshape(-1, n).std(axis=1) / np.sqrt(2.0))
