"""Swapped components: the vertical under the name of a horizontal."""

from __future__ import annotations

import numpy as np

from ..arrivals import pick_onset, shaking_energy
from ..foundation.units import COUNTS
from ..record import Finding, Record

__all__ = ["swapped_components"]

P_WINDOW = 0.5
"""s of P that are looked at."""

MOST, LEAST = 0.7, 0.15
"""Parts of the energy of P: P comes up steeply through soft ground and moves it up and down. A horizontal that has more
than the first, while the vertical has less than the second, may be the vertical: common practice, without a source."""


def swapped_components(record: Record) -> tuple[Finding, ...]:
    """Say where P moves a horizontal, and hardly the vertical.

    Examples
    --------
    >>> from strongmotion import read
    >>> swapped_components(read("demo_records/quay.csv"))
    ()
    """
    if not {"H1", "H2", "V"} <= set(record.names):
        return ()
    parts = [record[name] for name in ("H1", "H2", "V")]
    if any(part.unit == COUNTS and part.sensitivity is None for part in parts):
        return ()
    dt = parts[0].dt
    values = [(part.samples - np.median(part.samples)) * part.scale for part in parts]
    onset = pick_onset(shaking_energy(values, dt), dt)
    if onset is None or onset * dt < 1.0:
        return ()
    window = slice(onset, onset + max(4, round(P_WINDOW / dt)))
    before = slice(max(0, onset - round(5.0 / dt)), max(1, onset - round(0.2 / dt)))
    energy = np.array([max(float(np.var(one[window]) - np.var(one[before])), 0.0) for one in values])
    total = float(energy.sum())
    if total <= 0.0 or energy[:2].max() < MOST * total or energy[2] > LEAST * total:
        return ()
    name = ("H1", "H2")[int(np.argmax(energy[:2]))]
    return (
        Finding(
            "swapped components", "note",
            what=f"the first half second moves {name} ({energy[:2].max() / total:.0%} of the energy) and hardly V "
            f"({energy[2] / total:.0%}): P usually moves the vertical",
            effect="if they are swapped, the horizontal results hold the vertical",
            remedy=f"check in the instrument's papers which channel is which; rename {name} and V if so",
            span=(onset * dt, (onset + max(4, round(P_WINDOW / dt))) * dt),
            values={f"share_{name}": float(energy[:2].max() / total), "share_V": float(energy[2] / total)},
            confidence=0.5,
        ),
    )  # fmt: skip
