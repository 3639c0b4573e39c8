"""Raw samples to acceleration."""

from __future__ import annotations

import numpy as np

from ..foundation.units import COUNTS
from ..motion import Motion
from ..record import Component
from .counts import count_interval
from .order import step

__all__ = ["to_acceleration"]

STEP = step("acceleration", 10)


def to_acceleration(component: Component) -> Motion:
    """Scale raw samples to m/s².

    Parameters
    ----------
    component : Component
        Raw samples; its gain is taken as flat over the band of interest.

    Returns
    -------
    Motion
        Acceleration, m/s², without pads, velocity or displacement.

    Raises
    ------
    RecordError
        The samples are counts and the sensitivity is not known.

    Examples
    --------
    >>> from strongmotion import Record
    >>> record = Record.from_arrays({"H1": [0, 2000, 0]}, dt=0.01, unit="counts", sensitivity=1000.0)
    >>> to_acceleration(record["H1"]).acceleration  # m/s²
    array([0., 2., 0.])
    """
    acceleration = component.samples * np.float64(component.scale)
    motion = Motion(component.name, acceleration, component.dt, count=count_interval(component))
    per = "count" if component.unit == COUNTS else component.unit
    return motion.after(
        STEP,
        f"Multiplied raw samples by their factor, acceleration per {per}",
        {
            "unit": component.unit,
            "factor_m_s2": component.scale,
            "samples": len(motion),
            "dt_s": component.dt,
            "count_interval_m_s2": motion.count,
            "largest_m_s2": float(np.abs(acceleration).max()),
        },
    )
