"""Stuck samples: the same value again and again while the ground was moving."""

from __future__ import annotations

import numpy as np

from ..record import Component, Finding

__all__ = ["stuck_samples"]

SHORTEST = 0.05
"""Shortest run, s, that counts; at least `FEWEST` samples."""

FEWEST = 8

MOVING = 8.0
"""Mean step between samples beside the run, in counts, from which equal samples are no chance."""


def stuck_samples(component: Component) -> Finding | None:
    """Find runs of equal samples, such as a dropout or a gap filled with its last value, in a moving record."""
    values = component.samples.astype(np.float64)
    steps = np.abs(np.diff(values))
    if not steps.any():
        return None  # dead, and said so elsewhere
    count_of_one = float(steps[steps > 0].min())
    edges = np.flatnonzero(np.diff(np.concatenate(([0], (steps == 0).astype(np.int8), [0])))).reshape(-1, 2)
    least = max(FEWEST, round(SHORTEST / component.dt))
    beside = max(least, round(0.5 / component.dt))
    runs = []
    for first, last in edges[edges[:, 1] - edges[:, 0] >= least - 1]:
        if values[first] in (values.max(), values.min()):
            continue  # a flat top, and a matter of clipping
        # Both sides must move: a record may well begin or end at rest.
        sides = steps[max(0, first - beside) : first], steps[last : last + beside]
        if all(len(side) and side.mean() > MOVING * count_of_one for side in sides):
            runs.append((int(first), int(last)))
    if not runs:
        return None
    total = sum(last - first + 1 for first, last in runs)
    return Finding(
        "stuck samples", "doubt",
        what=f"{total} samples in {len(runs)} run{'s' * (len(runs) != 1)} hold one value while the motion goes on",
        effect="what happened meanwhile is missing; velocity and displacement are wrong from there on",
        remedy="look for the gap at its source, or use another instrument",
        component=component.name,
        span=(runs[0][0] * component.dt, runs[-1][1] * component.dt),
        values={"samples": total, "runs": len(runs)},
        confidence=0.95,
    )  # fmt: skip
