"""How loud the noise of a record is, told from the record itself."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

__all__ = ["quietest"]


def quietest(values: NDArray[np.float64], dt: float) -> float:
    """Return the standard deviation of white noise in the quietest second; 0 for a record of less than two."""
    n = max(8, round(1.0 / dt))
    if len(values) < 2 * n:
        return 0.0
    steps = np.diff(values)[: (len(values) - 1) // n * n].reshape(-1, n)
    return float(steps.std(axis=1).min()) / np.sqrt(2.0)
