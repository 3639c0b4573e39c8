"""The end of the record: shaking cut off, or more than one event."""

from __future__ import annotations

import functools

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import uniform_filter1d

from ..record import Component, Finding
from ._prepared import prepared

__all__ = ["early_stop", "forget_levels", "second_event"]

CUT_OFF = 0.1
"""RMS level of the last second, as a fraction of the strongest second, from which shaking is cut off."""

QUIET, LOUD = 0.02, 0.15
"""Fractions of the RMS level of the strongest second: shaking is over below the first, and a new event has come above
the second. Both, and `CUT_OFF`, are common practice, without a source."""

APART = 5.0
"""s of quiet between two events."""

SINGLE = 4
"""Steps between samples that a second's level may owe more than half of its energy to, where it is that of a spike."""

ABOVE_NOISE = 2.0
"""The last second against the quietest: below it, it may be as quiet as the record's own noise lets it be."""


@functools.lru_cache(maxsize=1)
def _level(component: Component) -> NDArray[np.float64]:
    """Return the root mean square over a second of steps between samples, as a part of its largest; both checks ask."""
    steps = prepared(component).steps
    power = uniform_filter1d(np.concatenate(([0.0], steps * steps)), max(1, round(1.0 / component.dt)), mode="nearest")
    largest = float(power.max())
    return np.asarray(np.sqrt(np.maximum(power, 0.0) / largest)) if largest > 0 else np.zeros(len(power))


def _single(component: Component, at: int) -> bool:
    """Tell whether a few steps, as those of a spike, make most of the energy in the two seconds about a sample."""
    second = max(1, round(1.0 / component.dt))
    squares = np.diff(component.samples[max(0, at - second) : at + second].astype(np.float64)) ** 2
    if len(squares) <= 4 * SINGLE:
        return False
    return float(np.partition(squares, -SINGLE)[-SINGLE:].sum()) > 0.5 * float(squares.sum())


def early_stop(component: Component) -> Finding | None:
    """Report a last second with a high RMS level: the record ends in the shaking.

    Examples
    --------
    >>> from dataclasses import replace
    >>> from strongmotion import read
    >>> good = read("demo_records/quay.csv")["H1"]
    >>> early_stop(replace(good, samples=good.samples[:4400])).what
    'the RMS level of the last second is 100% of that of the strongest second'
    """
    level = _level(component)
    last = float(level[-1])
    if last < max(CUT_OFF, ABOVE_NOISE * float(level.min())) or len(level) * component.dt < 2 * APART:
        return None
    if _single(component, len(component) - 1 - round(0.5 / component.dt)):
        return None
    end = (len(component) - 1) * component.dt
    return Finding(
        "early stop", "doubt",
        what=f"the RMS level of the last second is {last:.0%} of that of the strongest second",
        effect="later peaks, durations and energy are missing; displacement cannot be seen to come to rest",
        remedy="look for the rest of the record",
        component=component.name,
        span=(max(0.0, end - 1.0), end),
        values={"last_to_strongest_second": last},
        confidence=0.9,
    )  # fmt: skip


def second_event(component: Component) -> Finding | None:
    """Say where shaking comes again after seconds of quiet.

    Examples
    --------
    >>> from dataclasses import replace
    >>> from strongmotion import read
    >>> good = read("demo_records/quay.csv")["H1"]
    >>> second_event(replace(good, samples=np.tile(good.samples, 2))).what
    'shaking begins again after it has ended'
    """
    level, apart = _level(component), round(APART / component.dt)
    loud = np.flatnonzero(level > LOUD)
    for end in np.flatnonzero(np.diff(loud) > apart):
        between = level[loud[end] : loud[end + 1]]
        if np.count_nonzero(between < QUIET) > apart and not _single(component, int(loud[end + 1])):
            return Finding(
                "second event", "note",
                what="shaking begins again after it has ended",
                effect="durations, energy and cycles count both events",
                remedy="cut the record between them: `process --split-shocks` makes a record of each",
                component=component.name,
                span=(loud[end + 1] * component.dt, (len(component) - 1) * component.dt),
                values={"begins_s": float(loud[end + 1] * component.dt)},
                confidence=0.8,
            )  # fmt: skip
    return None


def forget_levels() -> None:
    """Drop what is kept of the last component."""
    _level.cache_clear()
