"""Components that hold the same motion: copies, and sensors side by side with the wrong sign."""

from __future__ import annotations

from itertools import combinations

import numpy as np

from ..record import Component, Finding, Record, Touched

__all__ = ["duplicated_components", "reversed_polarity"]

SAME = 0.99999
"""Correlation of copies."""

ALIKE = 0.8
"""Correlation from which sensors that point the same way, or opposite ways, recorded the same motion: common practice,
without a source."""

PARALLEL = 0.98
"""Cosine of the angle between two directions that count as one."""


def duplicated_components(record: Record) -> tuple[Finding, ...]:
    """Two components with the same samples, or the same with the sign reversed.

    Examples
    --------
    >>> from dataclasses import replace
    >>> from strongmotion import Record, read
    >>> good = read("demo_records/quay.csv")["H1"]
    >>> twice = Record([good, replace(good, name="H2")])
    >>> duplicated_components(twice)[0].what
    'H1 and H2 hold the same'
    """
    found = []
    for one, two in combinations(record.components, 2):
        alike = _correlation(one, two)
        if abs(alike) < SAME:
            continue
        how = "the same" if alike > 0 else "the same with the sign reversed"
        found.append(
            Finding(
                "duplicated components", "unfit",
                what=f"{one.name} and {two.name} hold {how}",
                effect="one direction of motion is missing, and what combines components is wrong",
                remedy="look for the missing component at the source",
                confidence=0.95,
            )
        )  # fmt: skip
    return tuple(found)


def reversed_polarity(record: Record) -> tuple[Finding, ...]:
    """Two sensors that point the same way and moved opposite ways, or the reverse.

    It takes two sensors along one line, so a record of three components at right angles cannot tell.

    Examples
    --------
    >>> from dataclasses import replace
    >>> from strongmotion import Record, read
    >>> record = read("demo_records/quay.csv")
    >>> one, other = record["H1"], record["H2"]
    >>> beside = replace(one, name="B1", samples=other.samples // 4 - one.samples)  # at the same azimuth
    >>> reversed_polarity(Record([one, beside]))[0].name
    'reversed polarity'
    """
    found = []
    for one, two in combinations(record.components, 2):
        along = _cosine(one, two)
        if along is None or abs(along) < PARALLEL:
            continue
        alike = _correlation(one, two)
        if ALIKE <= abs(alike) < SAME and alike * along < 0:
            ways = "the same way" if along > 0 else "opposite ways"
            found.append(
                Finding(
                    "reversed polarity", "doubt",
                    what=f"{one.name} and {two.name} point {ways}, and their motion has a correlation of {alike:.2f}",
                    values={"correlation": float(alike)},
                    effect="the sign of one of them is wrong, and so is what is rotated or added up from it",
                    remedy="find out which by the instrument's papers or by a neighbour; give its true azimuth and dip",
                    confidence=0.9,
                    touches=Touched(alone=False),
                )
            )  # fmt: skip
    return tuple(found)


def _correlation(one: Component, two: Component) -> float:
    a, b = (part.samples.astype(np.float64) - part.samples.mean(dtype=float) for part in (one, two))
    size = float(np.sqrt((a * a).sum() * (b * b).sum()))
    # A negative factor from samples to acceleration turns one of them round.
    signs = [np.sign(part.sensitivity or 1.0) for part in (one, two)]
    return float(signs[0] * signs[1] * (a * b).sum()) / size if size > 0.0 else 0.0


def _cosine(one: Component, two: Component) -> float | None:
    """Return the cosine of the angle between two components; None where a direction is not known."""
    directions = []
    for part in (one, two):
        dip = part.dip if part.dip is not None else (None if part.azimuth is None else 0.0)
        if dip is None or (part.azimuth is None and abs(dip) < 89.0):
            return None
        azimuth, dip = np.radians(part.azimuth or 0.0), np.radians(dip)
        directions.append(np.array([np.cos(dip) * np.cos(azimuth), np.cos(dip) * np.sin(azimuth), np.sin(dip)]))
    return float(directions[0] @ directions[1])
