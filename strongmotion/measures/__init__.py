"""What engineers measure on a motion: peaks, energy, duration. Each function takes a bare array."""

from __future__ import annotations

from collections.abc import Mapping

import pandas as pd

from ..motion import Motion
from .duration import significant_duration
from .energy import arias_history, arias_intensity, cumulative_absolute_velocity
from .peaks import PERCENTILES, peak_table

__all__ = [
    "PERCENTILES",
    "arias_history",
    "arias_intensity",
    "cumulative_absolute_velocity",
    "measure_table",
    "peak_table",
    "significant_duration",
]


def measure_table(motion: Mapping[str, Motion]) -> pd.DataFrame:
    """Tabulate Arias intensity, cumulative absolute velocity and significant durations.

    Parameters
    ----------
    motion : mapping of str to Motion
        Corrected motion by component.

    Returns
    -------
    pandas.DataFrame
        ``component, measure, value, unit, source``.
    """
    rows = []
    for name, component in motion.items():
        acceleration, dt = component.acceleration, component.dt
        rows += [
            (name, "Arias intensity", arias_intensity(acceleration, dt), "m/s", "Arias (1970)"),
            (
                name, "cumulative absolute velocity", cumulative_absolute_velocity(acceleration, dt), "m/s",
                "EPRI (1988)",
            ),
            (
                name, "significant duration 5-75 %", significant_duration(acceleration, dt, 0.05, 0.75)[1], "s",
                "after Trifunac & Brady (1975), to 75 %",
            ),
            (
                name, "significant duration 5-95 %", significant_duration(acceleration, dt, 0.05, 0.95)[1], "s",
                "Trifunac & Brady (1975)",
            ),
        ]  # fmt: skip
    return pd.DataFrame(rows, columns=["component", "measure", "value", "unit", "source"])
