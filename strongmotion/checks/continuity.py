"""Continuity: places where the motion after does not go on from the motion before.

Where samples were dropped or given twice, or the gain changed, the innovations of the motion (see `_prepared`) show
what the model makes of the difference between two smooth motions, the one before and the one that would have led to
what comes after: a level, a slope and a bend, for as many samples as the model looks back. An arrival of strong
shaking raises them for longer and in no such shape, and a spike leaves the model's own impulse response. If the gain
changed, one factor on all that comes after makes the innovations small, or the noise changes by it too.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from ..record import Component, Finding
from ._prepared import ORDER, prepared

__all__ = ["broken_continuity"]

Floats = NDArray[np.float64]

STANDS_OUT = 26.0
"""Energy of the innovations in the shape of a break, a degree of freedom, against that of what is about it."""

LESS = 6.0
"""The same where the noise changes there by one of `GAINS`."""

BESIDE = 0.3
"""s of either side that are compared; at least 24 samples."""

MOVING = 0.1
"""Root mean square of the motion about the place, as a part of the record's peak, from which it is looked at."""

EXPLAINED = 0.3
"""Part of the energy that may be left where a factor is to explain it."""

GAINS = (2.0, 0.5)
"""The factors of a change of gain that are looked for."""

NEAR = 1.2
"""The noise may change by a factor that differs by this one."""


def broken_continuity(component: Component) -> Finding | None:
    """Find the place where motion does not go on from what was before, if there is one.

    Examples
    --------
    >>> from dataclasses import replace
    >>> from strongmotion import read
    >>> good = read("demo_records/quay.csv")["H1"]
    >>> samples = good.samples.copy()
    >>> samples[4000:] += 50_000
    >>> broken_continuity(replace(good, samples=samples)).span
    (20.0, 20.0)
    """
    seen = prepared(component)
    if seen.innovations is None or seen.model is None:
        return None
    beside = max(24, round(BESIDE / component.dt))
    innovations = seen.innovations[ORDER:-ORDER]  # the first is that of sample ORDER
    if len(innovations) < 4 * beside:
        return None
    shape = _shape(seen.model)
    energy = np.sum([np.correlate(innovations, one, "valid") ** 2 for one in shape], axis=0)
    total = np.concatenate(([0.0], np.cumsum(innovations**2)))
    count = len(innovations) - 2 * beside - ORDER

    def energy_at(shift: int) -> Floats:
        return total[beside + shift : beside + shift + count]

    energy, here = energy[beside : beside + count], energy_at(ORDER)
    close = (energy_at(2 * ORDER) - energy_at(-ORDER) - energy) / (3 * ORDER - len(shape))
    before = (energy_at(-1) - energy_at(-beside)) / (beside - 1)
    after = (energy_at(ORDER + beside) - here) / beside
    about = np.maximum(np.maximum(np.maximum(before, after), close), seen.noise**2 + seen.count**2 / 6.0)
    ratio = energy / len(shape) / np.maximum(about, np.finfo(float).tiny)
    peak = float(np.abs(seen.values).max())
    best = int(np.argmax(ratio))
    at = beside + best
    begins = at + ORDER
    changed = _noise_changes(seen.by_second, begins * component.dt, seen.count)
    gains = [gain for gain in GAINS if gain / NEAR < changed < gain * NEAR]
    if ratio[best] < (LESS if gains else STANDS_OUT):
        return None
    if float(np.sqrt((seen.values[begins - beside : begins + beside] ** 2).mean())) < MOVING * peak:
        return None
    factor, left, at_factor = _factor(seen.values, seen.model, begins)
    # A spike at any sample hereabouts would leave this much in the shape of the model.
    nearby = innovations[max(0, at - ORDER) : at + 2 * ORDER + 1]
    spike = float((np.correlate(nearby, seen.model, "valid") ** 2).max() / (seen.model @ seen.model))
    measured = {
        "innovation_energy_ratio": float(ratio[best]),
        "energy_to_that_of_a_spike": float(energy[best]) / max(spike, np.finfo(float).tiny),
    }
    factor = gains[0] if gains else factor
    explained = bool(gains) or (left < EXPLAINED and not 1 / NEAR < changed < NEAR)
    place = (at_factor if left < EXPLAINED else begins) * component.dt
    if explained:
        return Finding(
            "gain jump", "doubt",
            what=f"from {place:.3f} s on, the motion is {factor:.3g} times its continuation from before",
            effect="everything after this time, or everything before it, is wrong by this factor",
            remedy="look for a change of gain or of range at the instrument; scale one side at the source",
            component=component.name,
            span=(place, place),
            values={"factor": factor, **measured},
            confidence=0.8,
        )  # fmt: skip
    return Finding(
        "broken continuity", "doubt",
        what=f"at {place:.3f} s the motion is not continuous: it departs from its prediction "
        f"{np.sqrt(ratio[best]):.0f} times as much as nearby",
        effect="samples may be missing or duplicated; times, velocity and displacement are wrong from there on",
        remedy="look for the gap at its source, or use another instrument",
        component=component.name,
        span=(place, place),
        values=measured,
        confidence=0.8,
    )  # fmt: skip


def _shape(model: Floats) -> Floats:
    """Return orthonormal shapes, (3, ORDER), that a level, a slope and a bend between two motions leave."""
    back = np.arange(1.0, ORDER + 1)
    shapes = [np.convolve(back[::-1] ** power, model)[ORDER : 2 * ORDER] for power in (0, 1, 2)]
    return np.asarray(np.linalg.qr(np.array(shapes).T)[0].T)


def _noise_changes(by_second: Floats, place: float, count: float) -> float:
    """Return the noise of the quietest second after a time, s, over that of the quietest before.

    1 without both, and where either is less than a count, so that rounding makes it.
    """
    before, after = by_second[: int(place)], by_second[int(place) + 1 :]
    if not len(before) or not len(after) or min(before.min(), after.min()) < count:
        return 1.0
    return float(after.min() / before.min())


def _factor(values: Floats, model: Floats, begins: int) -> tuple[float, float, int]:
    """Return which of `GAINS` on what comes after explains the innovations best, what it leaves of them, and where."""
    found = (1.0, 1.0, begins)
    for place in range(begins - 2, begins + 3):
        window = values[place - ORDER : place + 2 * ORDER]
        if len(window) < 3 * ORDER:
            continue
        earlier = np.where(np.arange(len(window)) < ORDER, window, 0.0)
        old = np.convolve(earlier, model)[ORDER : 2 * ORDER]
        new = np.convolve(window - earlier, model)[ORDER : 2 * ORDER]
        whole = float(((old + new) ** 2).sum())
        for gain in GAINS:
            # Innovations after the change are larger by the gain themselves.
            left = float(((old + new / gain) ** 2).sum()) * max(gain, 1.0) ** 2 / max(whole, np.finfo(float).tiny)
            if left < found[1]:
                found = (gain, left, place)
    return found
