"""Spikes: single samples that no ground motion made.

Ground motion is coloured: what a sample will be follows in part from those before it, by an autoregressive model
fitted to the record (Yule & Walker; Levinson's recursion). What does not follow is nearly white, and a false sample
leaves the model's own impulse response there. Its size is fitted by least squares at every sample (a matched filter),
and the largest are taken out one after another, so that several do not hide each other. A spike stands out from what
is left about it.
"""

from __future__ import annotations

import numpy as np
from scipy.linalg import solve_toeplitz

from ..record import Component, Finding

__all__ = ["spikes"]

ORDER = 8
"""Samples that a sample is foretold from."""

MOST = 20
"""As many spikes are looked for: a record with more has another fault."""

STANDS_OUT = 3.0
"""A spike's size against the largest that is left within half a second. Of 600 simulated records at 100 samples a
second each, 3 in 1000 have a sample that does so by chance, and none at 200; at 50, where motion reaches closer to the
Nyquist frequency, 4 in 100."""

LEAST = 0.15
"""A spike is worth a word from this part of the record's peak; a smaller one only where it stands out twice as much."""

SMALLEST = 0.05
"""Part of the peak below which nothing is said, nor taken out."""


def spikes(component: Component) -> Finding | None:
    """Single samples far from what their neighbours let expect."""
    values = component.samples.astype(np.float64)
    values -= np.median(values)
    n, peak = len(values), float(np.abs(values).max())
    # Sums and no dot products: those of long arrays go to threads, and wait for them where processors are busy.
    lags = np.array([(values[: n - lag] * values[lag:]).sum() for lag in range(min(ORDER, n - 1) + 1)])
    if n < 6 * ORDER or lags[0] == 0.0:
        return None
    lags[0] *= 1.0 + 1e-6
    model = np.concatenate(([1.0], -solve_toeplitz(lags[:-1], lags[1:])))
    energy = float(model @ model)
    unforeseen = np.convolve(values, model)
    size = np.correlate(unforeseen, model, "valid") / energy
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
    half = max(ORDER, round(0.5 / component.dt))
    lowest, highest = values.min(), values.max()
    found = []
    for at, height in sorted(taken.items()):
        around = float(left[max(0, at - half) : at + half + 1].max())
        if height <= (STANDS_OUT if height >= LEAST * peak else 2 * STANDS_OUT) * around:
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
        remedy="look at the samples; mend them at the source, or use another instrument",
        component=component.name,
        span=(found[0] * component.dt, found[-1] * component.dt),
        values={"spikes": len(found), **{f"spike_{i}_s": at * component.dt for i, at in enumerate(found[:5], 1)}},
        confidence=0.9,
    )  # fmt: skip
