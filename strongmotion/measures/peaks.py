"""Peaks of acceleration, velocity and displacement, by component and over all horizontal directions.

RotDnn is the nn-th percentile, over 180 directions one degree apart, of the peak of the two horizontals combined in
that direction (Boore, 2010). Peaks are those of the samples, as published peaks are.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from ..foundation.arrays import signal
from ..foundation.errors import InputError
from ..motion import Motion
from ..spectra import rotated_peaks

__all__ = ["PERCENTILES", "peak_table", "sustained_maximum"]

PERCENTILES = (0, 50, 100)
"""The percentiles of RotD that results carry."""

_QUANTITIES = (("PGA", "acceleration", "m/s2"), ("PGV", "velocity", "m/s"), ("PGD", "displacement", "m"))


def peak_table(motion: Mapping[str, Motion], rotate: bool = True) -> pd.DataFrame:
    """Tabulate PGA, PGV and PGD.

    Parameters
    ----------
    motion : mapping of str to Motion
        Integrated motion by component, on one time base.
    rotate : bool
        Also give what combines components, where H1 and H2 are there: ``RotD00``, ``RotD50`` and ``RotD100``; their
        ``geometric mean``; and the ``resultant``, the largest length of the vector of all components.

    Returns
    -------
    pandas.DataFrame
        ``component, quantity, value, unit, time, sign``: SI units; the time in s after the record's first sample; 1 or
        -1 as the motion of a component was positive or negative there, 0 where it has no sign. The time of a RotD value
        is that of the peak in the direction whose peak is nearest to it; a geometric mean has none.

    Examples
    --------
    >>> import strongmotion as sm
    >>> result = sm.process(sm.read("demo_records/quay.csv"))
    >>> peak_table(result.motion).query("component == 'RotD50'")["quantity"].tolist()
    ['PGA', 'PGV', 'PGD']
    """
    rows = []
    for name, component in motion.items():
        for quantity, history, unit in _QUANTITIES:
            values = getattr(component, history)
            at = int(np.argmax(np.abs(values)))
            rows.append(
                (
                    name,
                    quantity,
                    abs(float(values[at])),
                    unit,
                    (at - component.lead) * component.dt,
                    np.sign(values[at]),
                )
            )
    if rotate and {"H1", "H2"} <= set(motion):
        one, two = motion["H1"], motion["H2"]
        rotated = {
            quantity: rotated_peaks(getattr(one, history), getattr(two, history))
            for quantity, history, _ in _QUANTITIES
        }
        for percentile in PERCENTILES:
            for quantity, _, unit in _QUANTITIES:
                peaks, samples = rotated[quantity]
                value = float(np.percentile(peaks, percentile))
                at = int(samples[np.argmin(np.abs(peaks - value))])
                rows.append((f"RotD{percentile:02d}", quantity, value, unit, (at - one.lead) * one.dt, 0.0))
        for quantity, _, unit in _QUANTITIES:
            peaks, _ = rotated[quantity]
            rows.append(("geometric mean", quantity, float(np.sqrt(peaks[0] * peaks[90])), unit, np.nan, 0.0))
        for quantity, history, unit in _QUANTITIES:
            squares = sum(getattr(component, history) ** 2 for component in motion.values())
            at = int(np.argmax(squares))
            rows.append(("resultant", quantity, float(np.sqrt(squares[at])), unit, (at - one.lead) * one.dt, 0.0))
    return pd.DataFrame(rows, columns=["component", "quantity", "value", "unit", "time", "sign"])


def sustained_maximum(history: ArrayLike, rank: int = 3) -> float:
    """Return the third or fifth highest peak of a motion, one a half-cycle: its sustained maximum (Nuttli, 1979).

    A half-cycle lies between two crossings of zero, and its peak is the largest absolute value in it; to touch zero is
    not to cross it. That each half-cycle counts is our reading, from memory, of Nuttli's "cycle".

    Parameters
    ----------
    history : array (n,)
        Acceleration or velocity, any unit.
    rank : int
        3 or 5; any from 1, which is the peak itself.

    Returns
    -------
    float
        In that unit; 0 where the motion has fewer half-cycles.

    Raises
    ------
    InputError
        The history is empty, of the wrong shape or not finite, or the rank is below 1.

    References
    ----------
    Nuttli, O. W. (1979). The relation of sustained maximum ground acceleration and velocity to earthquake intensity
    and magnitude. US Army Engineer Waterways Experiment Station, Miscellaneous Paper S-73-1, Report 16.

    Examples
    --------
    >>> sustained_maximum([0.0, 5.0, 4.0, -3.0, 2.0, -1.0], rank=3)
    2.0
    """
    if rank < 1:
        raise InputError(f"expected a rank of 1 or more, found {rank}")
    history = signal("history", history)
    moving = history[history != 0]
    starts = np.flatnonzero(np.diff(np.sign(moving), prepend=np.nan))  # of runs of one sign
    peaks = np.maximum.reduceat(np.abs(moving), starts) if moving.size else moving
    return float(np.partition(peaks, -rank)[-rank]) if peaks.size >= rank else 0.0
