"""Histories that build up and never fall: the running integral of a square, and when it reaches a level."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from ..foundation.errors import InputError

__all__ = ["duration_between", "reached", "square_history"]


def square_history(values: NDArray[np.float64], dt: float) -> NDArray[np.float64]:
    """Return the running integral of the square of values that are linear between samples."""
    before, after = values[:-1], values[1:]
    history = np.zeros(values.size)
    np.cumsum((before * before + before * after + after * after) * (dt / 3.0), out=history[1:])
    return history


def reached(history: NDArray[np.float64], level: float) -> float:
    """Return the sample, with its fraction, at which a history that never falls first reaches `level`."""
    after = max(1, int(np.searchsorted(history, level)))
    rise = history[after] - history[after - 1]
    return after - 1 + (float((level - history[after - 1]) / rise) if rise > 0 else 0.0)


def duration_between(history: NDArray[np.float64], dt: float, start: float, end: float) -> tuple[float, float]:
    """Return begin and duration, s, between two fractions of a history that never falls."""
    if not 0.0 <= start < end <= 1.0:
        raise InputError(f"fractions {start} and {end} must satisfy 0 <= start < end <= 1")
    if history[-1] == 0.0:  # motionless
        return 0.0, 0.0
    begin, finish = (reached(history, fraction * history[-1]) * dt for fraction in (start, end))
    return begin, finish - begin
