"""Clipping: the motion exceeded what the instrument could record."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from ..record import Component, Finding
from ._prepared import prepared

__all__ = ["clipping"]

LONGEST_CHANCE_RUN = 2
"""A smooth peak may give two equal samples in a row; more at the record's own extreme may be a flat top."""

LEAST_STEP = 4
"""A smooth top in coarse counts is left by a few counts at most (a parabola within half a count over three samples
has fallen by under three at the next); a cut-off peak is entered or left at the slope of the motion."""

NOISY_STEP = 6.0
"""Standard deviations of the noise by which such a step may be larger."""

LOPSIDED = 4.0
"""Where two samples in a row are equal, a smooth top falls alike on both sides; a cut-off one need not."""

LIMITS = tuple(2**bits for bits in (15, 17, 19, 23, 31))
"""Where the counts of recorders of 16, 18, 20, 24 and 32 bits end: a peak right there has no room above it."""

CHANCE = 1e-3
"""Probability that samples share the extreme by chance, below which they were cut off."""

TOPMOST = 10
"""Number of values next to the extreme that show how far apart values lie there."""

WITHIN = 4.5
"""Standard deviations of the noise, below the extreme, within which noise leaves the samples of a flat top."""

LEVELLED = 1.8
"""Evidence from which tops were cut off before noise came in. Of clean components, with noise up to 1 % of the peak,
1 in 200 has as much; of those cut off at 60 to 90 % of the peak about 65 in 100."""

SURE = 3.0
"""Evidence from which the component is unfit."""


def _flat_tops(values: NDArray[np.float64], usual: float, noise: float = 0.0) -> list[tuple[int, int]]:
    """Return the runs of samples, first and one past the last, that are held at an extreme as by cutting off."""
    runs: list[tuple[int, int]] = []
    steps = np.abs(np.diff(values))
    if not steps.any():
        return runs
    count_of_one = steps[steps > 0].min()
    beside = np.concatenate(([0.0], steps, [0.0]))  # the step into each sample, and out of the last
    for extreme in (values.max(), values.min()):
        if extreme == usual:
            continue  # the rest of a one-sided record, not its peak
        held = np.concatenate(([False], values == extreme, [False])).astype(np.int8)
        edges = np.flatnonzero(np.diff(held))
        held_runs = [(int(a), int(b)) for a, b in edges.reshape(-1, 2)]
        # Once one flat top is seen, every touch of that extreme is a cut-off peak, however short.
        for first, last in held_runs:
            less, more = sorted((beside[first], beside[last]))
            longer = last - first > LONGEST_CHANCE_RUN
            again = last - first == LONGEST_CHANCE_RUN and len(held_runs) > 1 and more > LOPSIDED * less
            if more > LEAST_STEP * count_of_one + NOISY_STEP * noise and (longer or again):
                runs += held_runs
                break
    return runs


def _shared_extremes(values: NDArray[np.float64], usual: float) -> list[tuple[int, int]]:
    """Return the samples, as runs of one, at an extreme that more of them share than chance lets.

    Where values next to the extreme lie d counts apart, one more falls on it with a probability of 1/d. A steady wave
    shares it too, but with the same samples beside.
    """
    steps = np.abs(np.diff(values))
    strong = np.abs(values[1:] - usual) > 0.1 * np.abs(values - usual).max()
    if np.count_nonzero(steps[strong] == 0) > 0.2 * np.count_nonzero(strong):
        return []  # samples are repeated throughout
    count_of_one = steps[steps > 0].min()
    runs: list[tuple[int, int]] = []
    for extreme in (values.max(), values.min()):
        held = np.flatnonzero(values == extreme)
        if extreme == usual or not 1 < len(held) < len(values) - TOPMOST:
            continue
        away = np.abs(values - extreme)
        apart = np.partition(away, len(held) + TOPMOST - 1)[len(held) + TOPMOST - 1] / TOPMOST / count_of_one
        if (len(held) - 1) * np.log(apart) < -np.log(CHANCE):
            continue
        beside = np.concatenate((held[held > 0] - 1, held[held < len(values) - 1] + 1))
        differ = away[beside][away[beside] > 0] / away.max()
        if len(np.unique(differ.round(6))) == len(differ):
            runs += [(int(at), int(at) + 1) for at in held]
    return runs


def _levelled(
    values: NDArray[np.float64], noise: float, count_of_one: float = 0.0
) -> tuple[list[tuple[int, int]], float]:
    """Return the runs of samples that were cut off before noise came in, and the evidence of it.

    A smooth top of m samples is a parabola: the second sample outside lies (1 + 3/m)² times as deep as the samples of
    the top do themselves, or up to twice that for the fewest. A cut-off top is as deep as noise makes it, and left at
    the slope of the motion: the logarithm of the ratio is added over the tops of a side. And values of a smooth motion
    thin out towards the extreme, where those of a cut-off one pile up: the samples of the tops are held against those
    down to three times as deep, in standard deviations of their number. Rounding to counts is noise, too, and equal
    samples may differ by a count.
    """
    noise = max(noise, count_of_one / np.sqrt(12.0))
    runs: list[tuple[int, int]] = []
    most = 0.0
    for side in (values, -values):
        top, deep = float(side.max()), WITHIN * noise
        if deep > 0.25 * top:
            continue
        near = np.flatnonzero(side >= top - deep)
        ends = np.flatnonzero(np.diff(near) > 2)
        tops = list(zip(near[np.append(0, ends + 1)].tolist(), (near[np.append(ends, -1)] + 1).tolist(), strict=True))
        below = np.count_nonzero(side >= top - 3.0 * deep) - len(near)
        evidence = (len(near) - below) / np.sqrt(len(near) + below + 1.0)
        for first, last in tops:
            m = last - first
            if m < 3 or first < 2 or last + 1 >= len(side):
                continue
            held = side[first:last]
            outside = float(held.mean()) - 0.5 * (side[first - 2] + side[last + 1])
            smooth = max(float(np.ptp(held)) + count_of_one, 2.0 * noise) * (1.0 + 3.0 / m) ** 2
            evidence += np.log(max(outside / smooth, 1e-3) / 1.6)
        if evidence > LEVELLED:
            runs += tops
            most = max(most, float(evidence))
    return runs, most


def clipping(component: Component) -> Finding | None:
    """Flat tops: samples held at the record's own extreme, too many for a smooth peak or for chance.

    Examples
    --------
    >>> from dataclasses import replace
    >>> from strongmotion import read
    >>> good = read("demo_records/quay.csv")["H1"]
    >>> clipped = replace(good, samples=good.samples.clip(-150_000, 150_000))
    >>> clipping(good) is None, clipping(clipped).what
    (True, "19 samples in 4 flat tops are held at the record's extreme")
    """
    samples = component.samples
    seen = prepared(component)
    if seen.count == 0.0:
        return None  # a dead component, and said so elsewhere
    values = seen.values + seen.usual
    runs = _flat_tops(values, seen.usual, seen.noise) or _shared_extremes(values, seen.usual)
    confidence, evidence = 0.95 if len(runs) > 1 else 0.8, np.inf
    if not runs and seen.noise > 0:
        runs, evidence = _levelled(seen.values, seen.noise, seen.count)
        confidence = 0.8 if evidence > SURE else 0.6
    if not runs and samples.dtype.kind in "iu":
        ends = [end for end in (samples.max(), samples.min()) if {abs(int(end)), abs(int(end)) + 1} & {*LIMITS}]
        runs = [(int(at), int(at) + 1) for end in ends for at in np.flatnonzero(samples == end)]
        confidence, evidence = 0.95 if len(runs) > 1 else 0.8, np.inf
    if not runs:
        return None
    runs.sort()
    count = sum(b - a for a, b in runs)
    first, last = runs[0][0] * component.dt, (runs[-1][1] - 1) * component.dt
    return Finding(
        "clipping", "unfit" if evidence > SURE else "doubt",
        what=f"{count} samples in {len(runs)} flat top{'s' * (len(runs) != 1)} are held at the record's extreme",
        effect="the true peak is higher by an unknown amount; velocity, displacement and spectra are wrong",
        remedy="use another instrument at the site, or give the peak only as a lower bound",
        component=component.name,
        span=(first, last),
        values={"samples": count, "flat_tops": len(runs)},
        confidence=confidence,
    )  # fmt: skip
