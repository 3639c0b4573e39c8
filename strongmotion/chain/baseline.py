"""The zero line of acceleration.

An accelerometer's zero is not known to the last digit; a constant error of 1 cm/s² grows to a metre of false
displacement in fourteen seconds. The mean of the motionless pre-event window is the best estimate of it; without
such a window the mean of the whole record stands in (Boore, 2001; Boore & Bommer, 2005).
"""

from __future__ import annotations

import numpy as np

from ..motion import Motion, Value
from ..settings import AUTO, BaselineSettings
from .integrate import integrate_twice
from .windows import Windows

__all__ = ["remove_baseline"]


def remove_baseline(motion: Motion, windows: Windows, settings: BaselineSettings) -> Motion:
    """Subtract the zero line.

    Parameters
    ----------
    motion : Motion
        Acceleration, m/s², not padded.
    windows : Windows
        Where the pre-event window is.
    settings : BaselineSettings
        Which mean, and whether a trend in velocity is removed.

    Returns
    -------
    Motion
        Its history says which mean was taken, over what, and its value.
    """
    acceleration = motion.acceleration
    kind = settings.mean
    if kind == AUTO or (kind == "pre-event" and windows.pre_event is None):
        kind = "pre-event" if windows.pre_event is not None else "whole"
    window = {"pre-event": windows.pre_event, "whole": slice(None), "none": None}[kind]
    mean = 0.0 if window is None else float(acceleration[window].mean())
    what = "Removed no mean" if window is None else f"Removed the mean of the {kind} window"
    if kind == "whole" and settings.mean == "pre-event":
        what = "Removed the mean of the whole window: there is no pre-event window"
    corrected = acceleration - mean
    slope = 0.0
    if settings.velocity_trend:
        velocity, _ = integrate_twice(corrected, motion.dt)
        time = np.arange(len(velocity)) * motion.dt
        slope = float(np.polyfit(time, velocity, 1)[0])
        corrected -= slope
        what += " and the slope of the straight line through velocity"
    values: dict[str, Value] = {"mean_m_s2": mean, "velocity_slope_m_s2": slope, "window": kind}
    return motion.after("baseline", what, values, acceleration=corrected)
