"""Spikes: single samples that no ground motion made.

In the innovations of the motion (see `_prepared`) a false sample leaves the model's own impulse response. Its size is
fitted by least squares at every sample (a matched filter), and the largest are taken out one after another, so that
several do not hide each other. A spike stands out from what is left about it.
"""

from __future__ import annotations

import numpy as np

from ..record import Component, Finding
from ._prepared import ORDER, prepared

__all__ = ["spikes"]

MOST = 20
"""As many spikes are looked for: a record with more has another fault."""

STANDS_OUT = (3.0, 4.0)
"""A spike's size against the largest that is left within half a second, at 100 samples a second and more, and at 50,
where motion reaches closer to the Nyquist frequency; in proportion between. About 1 in 100 clean components has a
sample that does so by chance."""

HALF = 0.5
"""s on either side of a spike that it stands out from."""

LEAST = 0.15
"""A spike is worth a word from this part of the record's peak; a smaller one only where it stands out twice as much."""

SMALLEST = 0.05
"""Part of the peak below which nothing is said, nor taken out."""


def spikes(component: Component) -> Finding | None:
    """Find isolated samples that deviate from the values predicted by their neighbours.

    Examples
    --------
    >>> from dataclasses import replace
    >>> from strongmotion import read
    >>> good = read("demo_records/quay.csv")["H1"]
    >>> samples = good.samples.copy()
    >>> samples[3000] += 200_000
    >>> spikes(replace(good, samples=samples)).what
    '1 single sample deviates from the values predicted by their neighbours, at 15.000 s'
    """
    seen = prepared(component)
    if seen.innovations is None or seen.model is None:
        return None
    values, model = seen.values, seen.model
    n, peak = len(values), float(np.abs(values).max())
    energy = float(model @ model)
    size = np.correlate(seen.innovations, model, "valid") / energy
    spread = np.convolve(model, model[::-1]) / energy
    left = np.abs(size)
    taken: dict[int, float] = {}
    for _ in range(MOST):
        at = int(np.argmax(left))
        if left[at] <= SMALLEST * peak or not 2 * ORDER <= at < n - 2 * ORDER:
            break
        taken[at] = max(taken.get(at, 0.0), float(left[at]))
        about = slice(at - ORDER, at + ORDER + 1)
        size[about] -= size[at] * spread
        left[about] = np.abs(size[about])
    stands_out = float(np.interp(component.dt, (0.01, 0.02), STANDS_OUT))
    half = max(ORDER, round(HALF / component.dt))
    lowest, highest = values.min(), values.max()
    found = []
    for at, height in sorted(taken.items()):
        around = float(left[max(0, at - half) : at + half + 1].max())
        if height <= (1 if height >= LEAST * peak else 2) * stands_out * around:
            continue
        beside = values[at - 2 : at + 3]
        held = beside[1:][beside[1:] == beside[:-1]]
        if not np.any((held == lowest) | (held == highest)):  # else the edge of a flat top, and a matter of clipping
            found.append(at)
    if not found:
        return None
    times = ", ".join(f"{at * component.dt:.3f}" for at in found[:5])
    return Finding(
        "spikes", "doubt",
        what=f"{len(found)} single sample{'s' * (len(found) != 1)} deviate{'s' * (len(found) == 1)} from "
        f"the values predicted by their neighbours, at {times} s{' and later' * (len(found) > 5)}",
        effect="PGA and short-period spectra may be those of the spike; each leaves a jump in velocity",
        remedy="inspect the samples; correct them at the source, or use another instrument",
        component=component.name,
        span=(found[0] * component.dt, found[-1] * component.dt),
        values={"spikes": len(found), **{f"spike_{i}_s": at * component.dt for i, at in enumerate(found[:5], 1)}},
        confidence=0.9,
    )  # fmt: skip
