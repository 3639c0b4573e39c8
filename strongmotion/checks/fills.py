"""Samples that were made up where some were missing: straight lines between two samples, and blocks given twice."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from ..record import Component, Finding
from ._prepared import prepared

__all__ = ["repeated_block", "straight_fill"]

SHORTEST = 0.05
"""Shortest fill, s, that is looked for."""

FEWEST = 4
"""Bends between samples, each within rounding of zero."""

CHANCE = 1e-4
"""Probability that a record holds such a line by chance, below which it is one: with bends of mean m beside, each is
within r of zero with a probability of about r/m."""

MATTERS = 0.05
"""Largest motion beside a line, as a part of the record's peak, from which it is worth a word."""

BLOCK = 0.05
"""Shortest block, s, that is compared; at least `FEWEST_SAME` samples."""

FEWEST_SAME = 6

RANGE = 300.0
"""Counts between the least and the largest sample of a block, from which two alike are no chance."""

OFTEN = 0.5
"""Part of the moving samples that occur twice from which the record is a periodic signal."""

WEIGHTS = np.random.default_rng(20).integers(1, 2**63, 4096, dtype=np.uint64) | np.uint64(1)
"""Random odd weights: sums of samples times these, modulo 2**64, tell blocks apart."""


def straight_fill(component: Component) -> Finding | None:
    """Find straight lines between two samples, such as a gap filled by interpolation, in a moving record.

    Examples
    --------
    >>> from dataclasses import replace
    >>> from strongmotion import read
    >>> good = read("demo_records/quay.csv")["H1"]
    >>> samples = good.samples.copy()
    >>> samples[4300:4400] = np.linspace(samples[4300], samples[4400], 100)
    >>> straight_fill(replace(good, samples=samples)).what
    '100 samples lie on 1 straight line while the motion goes on'
    """
    seen, dt = prepared(component), component.dt
    if seen.count == 0.0:
        return None
    bends = np.abs(np.diff(seen.values, 2))
    # Three samples rounded to counts bend by less than two; a line of floats by what their last digits leave.
    rounding = 1.5 * seen.count if component.samples.dtype.kind in "iu" else 1e-9 * float(np.abs(seen.values).max())
    edges = _runs(bends <= rounding)
    least = max(FEWEST, round(SHORTEST / dt) - 2)
    beside = max(least, round(0.25 / dt))
    fills = []
    for first, last in edges[edges[:, 1] - edges[:, 0] >= least]:
        values = seen.values[first : last + 2]
        chord = np.linspace(values[0], values[-1], len(values))
        if values.min() == values.max() or np.abs(values - chord).max() > 2.0 * rounding:
            continue  # held, and said so elsewhere; or slowly bent
        sides = bends[max(0, first - 1 - beside) : max(0, first - 1)], bends[last + 1 : last + 1 + beside]
        about = seen.values[max(0, first - beside) : last + 2 + beside]
        if np.abs(about).max() < MATTERS * np.abs(seen.values).max():
            continue
        least_odds = np.exp(np.log(len(bends) / CHANCE) / (last - first))
        if all(len(side) and side.mean() > least_odds * rounding for side in sides):
            fills.append((int(first), int(last) + 1))
    if not fills:
        return None
    total = sum(last - first + 1 for first, last in fills)
    return Finding(
        "straight fill", "doubt",
        what=f"{total} samples lie on {len(fills)} straight line{'s' * (len(fills) != 1)} while the motion goes on",
        effect="what happened meanwhile is missing; velocity and displacement are wrong from there on",
        remedy="look for the gap at its source, or use another instrument",
        component=component.name,
        span=(fills[0][0] * dt, fills[-1][1] * dt),
        values={"samples": total, "fills": len(fills), "longest_s": max(b - a for a, b in fills) * dt},
        confidence=0.95,
    )  # fmt: skip


def repeated_block(component: Component) -> Finding | None:
    """Find a block of moving samples that the record holds twice, as where a packet of data was written again.

    Examples
    --------
    >>> from dataclasses import replace
    >>> from strongmotion import read
    >>> good = read("demo_records/quay.csv")["H1"]
    >>> samples = good.samples.copy()
    >>> samples[4700:5100] = samples[4300:4700]
    >>> repeated_block(replace(good, samples=samples)).what
    '400 samples from 21.500 s are repeated 2.000 s later'
    """
    seen, dt = prepared(component), component.dt
    length = min(max(FEWEST_SAME, round(BLOCK / dt)), len(WEIGHTS))
    n = len(seen.values) - length + 1
    if seen.count == 0.0 or n < 2:
        return None
    samples = component.samples
    words = samples.astype(np.float64).view(np.uint64) if samples.dtype.kind == "f" else samples.astype(np.uint64)
    marks = np.convolve(words, WEIGHTS[:length], "valid")
    ordered = np.sort(marks)
    if not np.any(ordered[1:] == ordered[:-1]):
        return None
    order = np.argsort(marks, kind="stable")
    twice = np.flatnonzero(marks[order[1:]] == marks[order[:-1]])
    first, again = order[twice], order[twice + 1]
    moving = np.array([np.ptp(seen.values[at : at + length]) for at in first[:4096]]) > RANGE * seen.count
    first, again = first[: len(moving)][moving], again[: len(moving)][moving]
    loud = np.count_nonzero(seen.steps > RANGE / length * seen.count)
    if not len(first) or len(first) > OFTEN * loud:
        return None
    lags, counts = np.unique(again - first, return_counts=True)
    lag = int(lags[np.argmax(counts)])
    starts = np.sort(first[again - first == lag])
    starts = starts[: np.flatnonzero(np.append(np.diff(starts) > 1, True))[0] + 1]
    a, b = int(starts[0]), int(starts[-1]) + length
    return Finding(
        "repeated block", "doubt",
        what=f"{b - a} samples from {a * dt:.3f} s are repeated {lag * dt:.3f} s later",
        effect="the true motion there is missing or delayed; velocity and displacement are wrong from there on",
        remedy="look for the true samples at the source, or use another instrument",
        component=component.name,
        span=((a + lag) * dt, (b + lag - 1) * dt),
        values={"samples": b - a, "later_s": lag * dt},
        confidence=0.95,
    )  # fmt: skip


def _runs(held: NDArray[np.bool_]) -> NDArray[np.intp]:
    """Return first index and one past the last of every run of true values, shape (m, 2)."""
    return np.flatnonzero(np.diff(np.concatenate(([0], held.astype(np.int8), [0])))).reshape(-1, 2)
