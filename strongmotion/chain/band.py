"""The band that is kept, and the periods over which its results hold."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = ["Band"]


@dataclass(frozen=True)
class Band:
    """The usable band of one component, or common to the two horizontals.

    Parameters
    ----------
    low_cut, high_cut : float
        Corner frequencies, Hz; 0 where nothing is cut.
    nyquist : float
        Half the sampling rate, Hz.
    period_fraction : float
        The longest usable period as a fraction of 1 / low-cut (Akkar & Bommer, 2006): near the corner the filter
        takes part of the response with it.
    clear_from : float
        Hz, the lowest frequency at which the signal is clear of noise; 0 where that is not known. It limits the
        longest period where nothing is cut.
    steady_from : float
        Hz, the lowest frequency at which the signal is clear of what is not known of the baseline; 0 where there is no
        sign of a shift. It limits the longest period, whatever is cut.
    usable : bool
        False where a component is unfit: the corners say how it was filtered, and no period is inside. Its shortest
        usable period is then infinite, and its longest 0.
    """

    low_cut: float
    high_cut: float
    nyquist: float
    period_fraction: float
    clear_from: float = 0.0
    usable: bool = True
    steady_from: float = 0.0

    @property
    def longest_period(self) -> float:
        """Longest usable spectral period, s; infinite where nothing limits it."""
        if not self.usable:
            return 0.0
        limit = max(self.low_cut or self.clear_from, self.steady_from)
        return self.period_fraction / limit if limit > 0 else math.inf

    @property
    def shortest_period(self) -> float:
        """Shortest usable spectral period other than 0, s: one over the high-cut or the Nyquist frequency."""
        if not self.usable:
            return math.inf
        return 1.0 / (self.high_cut if self.high_cut > 0 else self.nyquist)

    def holds(self, period: ArrayLike) -> NDArray[np.bool_]:
        """Tell which periods (s) are inside.

        Period 0, the peak ground acceleration, is where the band holds at least the periods from 0.1 to 1 s, in which
        the acceleration of strong shaking lies: common practice, without a source.

        Examples
        --------
        >>> Band(0.1, 40.0, 100.0, 0.7).holds([0, 0.01, 1.0, 7.0, 8.0]).tolist()
        [True, False, True, True, False]
        >>> Band(0.1, 40.0, 100.0, 0.7, usable=False).holds([0, 1.0]).tolist()
        [False, False]
        """
        period = np.asarray(period, dtype=float)
        # A period computed as the limit itself counts as inside, whatever the last bit of the division says.
        inside = (period >= self.shortest_period * (1 - 1e-9)) & (period <= self.longest_period * (1 + 1e-9))
        peak_holds = self.shortest_period <= 0.1 and self.longest_period >= 1.0
        return np.where(period == 0, peak_holds, inside)
