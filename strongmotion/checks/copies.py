"""Components that are copies of each other."""

from __future__ import annotations

from itertools import combinations

import numpy as np

from ..record import Finding, Record

__all__ = ["duplicated_components"]


def duplicated_components(record: Record) -> tuple[Finding, ...]:
    """Two components with the same samples, or the same with the sign reversed."""
    found = []
    for one, two in combinations(record.components, 2):
        a, b = (part.samples.astype(np.float64) - part.samples.mean(dtype=float) for part in (one, two))
        size = float(np.sqrt((a @ a) * (b @ b)))
        if size == 0.0:
            continue
        alike = float(a @ b) / size
        if abs(alike) < 0.99999:
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
