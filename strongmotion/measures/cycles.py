"""Cycles of a motion: the rainflow count, and the number of equal cycles it amounts to."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike, NDArray

from ..foundation.arrays import positive, signal
from ..foundation.compiling import compiled

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["Cycles", "effective_cycles", "rainflow"]


@dataclass(frozen=True, eq=False)
class Cycles:
    """What a rainflow count found, in the order it was counted.

    Parameters
    ----------
    range, mean : array (k,)
        From valley to peak, and halfway between them; the unit of the history.
    count : array (k,)
        1 for a full cycle, 0.5 for a half.
    """

    range: NDArray[np.float64]
    mean: NDArray[np.float64]
    count: NDArray[np.float64]

    def table(self) -> pd.DataFrame:
        """Return the count by range, smallest first: ``range, count``."""
        import pandas as pd

        ranges, index = np.unique(self.range, return_inverse=True)
        return pd.DataFrame({"range": ranges, "count": np.bincount(index, self.count, ranges.size)})


def rainflow(history: ArrayLike) -> Cycles:
    """Count cycles by the rainflow rule of ASTM E1049, section 5.4.4.

    Parameters
    ----------
    history : array (n,)
        Acceleration, or the response of an oscillator, in any unit. Its first and last samples count as reversals.

    Returns
    -------
    Cycles
        Empty for a history that does not change.

    Raises
    ------
    InputError
        The history is empty, of the wrong shape or not finite.

    References
    ----------
    ASTM E1049-85. Standard practices for cycle counting in fatigue analysis.

    Examples
    --------
    >>> cycles = rainflow([0.0, 3.0, -1.0, 2.0, 0.0, 4.0])
    >>> cycles.table().values.tolist()
    [[2.0, 1.0], [3.0, 0.5], [4.0, 0.5], [5.0, 0.5]]
    """
    turns = reversals(signal("history", history))
    found = np.empty((3, turns.size))
    kept = _count(turns, found, np.empty(turns.size))
    low, high, count = found[:, :kept]
    return Cycles(high - low, 0.5 * (high + low), count)


def effective_cycles(history: ArrayLike, exponent: float = 2.0) -> float:
    """Return the number of cycles of the largest range that does as much as all: the sum of (range / largest)^c.

    Parameters
    ----------
    history : array (n,)
        Acceleration, or the response of an oscillator, in any unit.
    exponent : float
        c: how steeply damage grows with range.

    Returns
    -------
    float
        Cycles; 0 for a history that does not change.

    Raises
    ------
    InputError
        As `rainflow`, or the exponent is not above 0.

    References
    ----------
    Hancock, J. and Bommer, J. J. (2005). The effective number of cycles of earthquake ground motion. Earthquake
    Engineering and Structural Dynamics 34(6), 637-664. The exponent 2 from memory.

    Examples
    --------
    Ten cycles of a sinusoid: nineteen halves of full range, and two of half of it.

    >>> round(effective_cycles(np.sin(2 * np.pi * np.arange(1001) * 0.01)), 6)
    9.75
    """
    exponent = positive("exponent", exponent)
    cycles = rainflow(history)
    largest = cycles.range.max(initial=0.0)
    return float((cycles.count * (cycles.range / largest) ** exponent).sum()) if largest > 0 else 0.0


def reversals(history: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the values at which a history turns, with its first and last; what stands still is one value."""
    moving = history[np.flatnonzero(np.diff(history, prepend=np.nan))]
    rising = np.diff(moving) > 0
    turning = np.flatnonzero(rising[1:] != rising[:-1]) + 1
    return np.concatenate([moving[:1], moving[turning], moving[1:][-1:]])


@compiled
def _count(turns: NDArray[np.float64], found: NDArray[np.float64], stack: NDArray[np.float64]) -> int:
    """Fill `found` with lower end, upper end and count of each cycle, and return how many there are.

    ASTM E1049, 5.4.4: of the last three reversals let X be the later range and Y the earlier. While X >= Y, count Y: as
    half a cycle if it holds the first reversal, else as one. What is left in the end counts by halves.
    """
    kept, depth = 0, 0
    for k in range(turns.size):
        stack[depth] = turns[k]
        depth += 1
        while depth >= 3:
            later, earlier = abs(stack[depth - 1] - stack[depth - 2]), abs(stack[depth - 2] - stack[depth - 3])
            if later < earlier:
                break
            one, two = stack[depth - 3], stack[depth - 2]
            found[0, kept], found[1, kept] = min(one, two), max(one, two)
            if depth == 3:
                found[2, kept] = 0.5
                stack[0], stack[1] = stack[1], stack[2]
                depth = 2
            else:
                found[2, kept] = 1.0
                stack[depth - 3] = stack[depth - 1]
                depth -= 2
            kept += 1
    for k in range(depth - 1):
        found[0, kept], found[1, kept] = min(stack[k], stack[k + 1]), max(stack[k], stack[k + 1])
        found[2, kept] = 0.5
        kept += 1
    return kept
