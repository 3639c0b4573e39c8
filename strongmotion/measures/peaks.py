"""Peak ground acceleration, velocity and displacement, by component and over all horizontal directions.

RotDnn is the nn-th percentile, over 180 directions one degree apart, of the peak of the two horizontals combined in
that direction (Boore, 2010). Peaks are those of the samples, as published peaks are.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pandas as pd

from ..motion import Motion
from ..spectra import rotated_peaks

__all__ = ["PERCENTILES", "peak_table"]

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
        Also give RotD00, 50 and 100 where H1 and H2 are there.

    Returns
    -------
    pandas.DataFrame
        ``component, quantity, value, unit, time``: SI units, and the time in s after the record's first sample. The
        time of a RotD value is that of the peak in the direction whose peak is nearest to it.
    """
    rows = []
    for name, component in motion.items():
        for quantity, history, unit in _QUANTITIES:
            size = np.abs(getattr(component, history))
            at = int(np.argmax(size))
            rows.append((name, quantity, float(size[at]), unit, (at - component.lead) * component.dt))
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
                rows.append((f"RotD{percentile:02d}", quantity, value, unit, (at - one.lead) * one.dt))
    return pd.DataFrame(rows, columns=["component", "quantity", "value", "unit", "time"])
