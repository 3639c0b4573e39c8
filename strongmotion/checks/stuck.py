"""Stuck samples: the same value again and again while the ground was moving."""

from __future__ import annotations

import numpy as np

from ..record import Component, Finding
from ._prepared import prepared

__all__ = ["stuck_samples"]

SHORTEST = 0.05
"""Shortest run, s, that counts; at least `FEWEST` samples."""

FEWEST = 5

MATTERS = 0.05
"""Largest motion beside the run, as a part of the record's peak, from which it is worth a word."""

CHANCE = 1e-4
"""Probability that a record holds such a run by chance, below which it is one: with steps of mean m counts beside,
each is zero with a probability of about 1/2m."""


def stuck_samples(component: Component) -> Finding | None:
    """Find runs of equal samples, such as a dropout or a gap filled with its last value, in a moving record.

    Examples
    --------
    >>> from dataclasses import replace
    >>> from strongmotion import read
    >>> good = read("demo_records/quay.csv")["H1"]
    >>> samples = good.samples.copy()
    >>> samples[4300:4400] = samples[4300]
    >>> stuck_samples(replace(good, samples=samples)).what
    '100 samples in 1 run hold one value while the motion goes on'
    """
    seen = prepared(component)
    values, steps, count_of_one = seen.values, seen.steps, seen.count
    if count_of_one == 0.0:
        return None  # dead, and said so elsewhere
    edges = np.flatnonzero(np.diff(np.concatenate(([0], (steps == 0).astype(np.int8), [0])))).reshape(-1, 2)
    least = max(FEWEST, round(SHORTEST / component.dt))
    beside = max(least, round(0.5 / component.dt))
    runs = []
    for first, last in edges[edges[:, 1] - edges[:, 0] >= least - 1]:
        if values[first] in (values.max(), values.min()):
            continue  # a flat top, and a matter of clipping
        # Both sides must move: a record may well begin or end at rest.
        sides = steps[max(0, first - beside) : first], steps[last : last + beside]
        about = values[max(0, first - beside) : last + beside]
        if np.abs(about).max() < MATTERS * np.abs(values).max():
            continue
        least_odds = np.exp(np.log(len(steps) / CHANCE) / (last - first))
        if all(len(side) and 2.0 * side.mean() > least_odds * count_of_one for side in sides):
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
