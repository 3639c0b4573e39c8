"""The check that the motion comes to rest.

After band-limiting, velocity and displacement must end near zero; what is left at the end is the error the chain
could not remove.
"""

from __future__ import annotations

import numpy as np

from ..motion import Motion
from ..record import Finding

__all__ = ["check_end"]

LARGEST = 0.02
"""Largest end value of velocity or displacement, as a part of its own peak, that passes without a finding."""


def check_end(motion: Motion) -> tuple[Motion, tuple[Finding, ...]]:
    """Compare the last velocity and displacement, pads included, with their peaks.

    Parameters
    ----------
    motion : Motion
        Integrated motion.

    Returns
    -------
    Motion
        Unchanged but for its history.
    findings : tuple of Finding
        ``unsettled end`` where either ends above 2 % of its peak.
    """
    ends = {}
    for name, history in (("velocity", motion.velocity), ("displacement", motion.displacement)):
        assert history is not None
        peak = float(np.abs(history).max())
        ends[name] = abs(float(history[-1])) / peak if peak > 0 else 0.0
    assert motion.velocity is not None
    assert motion.displacement is not None
    checked = motion.after(
        "end check",
        f"Velocity ends at {ends['velocity']:.2%} of its peak, displacement at {ends['displacement']:.2%}",
        {
            "end_velocity_m_s": float(motion.velocity[-1]),
            "end_displacement_m": float(motion.displacement[-1]),
            "end_velocity_to_peak": ends["velocity"],
            "end_displacement_to_peak": ends["displacement"],
        },
    )
    if max(ends.values()) <= LARGEST:
        return checked, ()
    return checked, (
        Finding(
            "unsettled end", "doubt",
            what=f"velocity ends at {ends['velocity']:.0%} and displacement at {ends['displacement']:.0%} of its peak",
            effect="displacement, and velocity at long periods, hold an error of that size",
            remedy="raise filter.low_cut, or set baseline.velocity_trend = true",
            component=motion.component,
            where="end of the record",
        ),
    )  # fmt: skip
