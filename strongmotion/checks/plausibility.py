"""Amplitudes, sampling intervals and sensitivities that no accelerograph has: most often a wrong header."""

from __future__ import annotations

import numpy as np

from ..foundation.units import COUNTS, G
from ..record import Component, Finding, Quantity
from ._prepared import prepared

__all__ = ["implausible_amplitude", "implausible_interval", "looks_processed", "negative_sensitivity", "too_short"]

LARGEST = 5.0 * G
"""m/s²; the largest accelerations recorded so far are about 4 g (from memory)."""

SMALLEST = 1e-5
"""m/s²: below what an accelerograph resolves."""

IMPOSSIBLE = 10.0 * G, 1e-7
"""m/s²: no ground moved with more than the first, and no accelerograph feels less than the second (judgement of this
library, no source)."""

AT_REST = 0.02
"""Velocity and displacement at the end, as parts of their peaks, that only corrected motion has (judgement of this
library, no source)."""

LEAST_LENGTH, FEWEST = 2.0, 100
"""s, and samples, of the shortest record that can be processed: its band would begin at two cycles of it, 1 Hz, and the
quietest of its seconds would be its only one (judgement of this library, no source)."""

SHORTEST, SLOW, SLOWEST = 1e-4, 0.05, 0.5
"""Sampling intervals, s: no accelerograph has ones below the first; above the second the peak acceleration is missed,
above the third all strong motion is (judgement of this library, no source)."""


def implausible_amplitude(component: Component) -> Finding | None:
    """Say where the peak is beyond any ground motion, or below what the instrument resolves.

    A unit wrong by a factor of ten, such as g read as m/s², leaves a plausible record: amplitude alone cannot tell it.

    Examples
    --------
    >>> from dataclasses import replace
    >>> from strongmotion import read
    >>> good = read("demo_records/quay.csv")["H1"]
    >>> implausible_amplitude(replace(good, sensitivity=good.sensitivity / 1000)).said("g")
    'the peak would be 125 g'
    """
    if component.unit == COUNTS and component.sensitivity is None:
        return None
    values = prepared(component).values
    peak = float(max(values.max(), -values.min())) * abs(component.scale)
    if peak == 0.0 or SMALLEST <= peak <= LARGEST:
        return None
    impossible = not IMPOSSIBLE[1] <= peak <= IMPOSSIBLE[0]
    return Finding(
        "implausible amplitude", "unfit" if impossible else "doubt", what="",
        effect="every result is wrong by the same factor if the unit or the sensitivity is",
        remedy="check the unit and the sensitivity",
        component=component.name,
        values={"peak_m_s2": float(peak)},
        confidence=0.9,
        says=("the peak would be ", Quantity("peak", float(peak), "m/s2")),
    )  # fmt: skip


def implausible_interval(component: Component) -> Finding | None:
    """Say where the samples lie further apart, or closer, than those of any accelerograph.

    Examples
    --------
    >>> from dataclasses import replace
    >>> from strongmotion import read
    >>> good = read("demo_records/quay.csv")["H1"]
    >>> implausible_interval(replace(good, dt=5.0)).what
    'the sampling interval is 5 s, 0.2 Hz'
    """
    dt = component.dt
    if SHORTEST <= dt <= SLOW:
        return None
    return Finding(
        "implausible interval", "unfit" if dt > SLOWEST else "doubt",
        what=f"the sampling interval is {dt:g} s, {1 / dt:.3g} Hz",
        effect="frequencies, periods, velocity and displacement are all wrong if it is; if it is right, "
        + ("the shaking is not resolved" if dt > SLOW else "nothing is lost"),
        remedy="make sure that it is in seconds, and is neither in milliseconds nor the rate in Hz" if dt > SLOW
        else "make sure that it is in seconds",
        component=component.name,
        values={"dt_s": dt},
        confidence=0.9,
    )  # fmt: skip


def negative_sensitivity(component: Component) -> Finding | None:
    """Say where a sensitivity below zero turns the sign of the samples.

    Examples
    --------
    >>> from dataclasses import replace
    >>> from strongmotion import read
    >>> good = read("demo_records/quay.csv")["H1"]
    >>> negative_sensitivity(replace(good, sensitivity=-good.sensitivity)).name
    'negative sensitivity'
    """
    if component.sensitivity is None or component.sensitivity > 0:
        return None
    return Finding(
        "negative sensitivity", "note",
        what=f"the sensitivity is {component.sensitivity:g} counts per m/s²: positive counts are negative acceleration",
        effect="the sign of the motion is reversed; this affects rotated spectra, but not those of one component",
        remedy="check that the sensor is mounted in reverse, and that azimuth and dip do not reverse it again",
        component=component.name,
        values={"sensitivity_counts_per_m_s2": component.sensitivity},
    )  # fmt: skip


def too_short(component: Component) -> Finding | None:
    """Say where a record has too few samples, or too few seconds, to be processed.

    Examples
    --------
    >>> from dataclasses import replace
    >>> from strongmotion import read
    >>> good = read("demo_records/quay.csv")["H1"]
    >>> too_short(replace(good, samples=good.samples[:20])).what
    'the record has 20 samples and lasts 0.1 s'
    """
    length = len(component) * component.dt
    if len(component) >= FEWEST and length >= LEAST_LENGTH:
        return None
    return Finding(
        "too short", "unfit",
        what=f"the record has {len(component)} samples and lasts {length:.3g} s",
        effect="it has no quiet window, and no period of engineering interest fits into it several times",
        remedy="look for the whole record",
        component=component.name,
        values={"samples": len(component), "length_s": length},
    )  # fmt: skip


def looks_processed(component: Component) -> Finding | None:
    """Say where motion integrates to rest without any correction, as raw motion hardly ever does.

    The offset of an instrument alone, a thousandth of the peak, makes velocity end far from zero.

    Examples
    --------
    >>> from dataclasses import replace
    >>> from strongmotion import read
    >>> good = read("demo_records/quay.csv")["H1"]
    >>> looks_processed(good) is None
    True
    """
    if component.samples.dtype.kind != "f":
        return None
    velocity = np.cumsum(component.samples)
    displacement = np.cumsum(velocity)
    ends = [
        abs(float(history[-1])) / max(float(np.abs(history).max()), np.finfo(float).tiny)
        for history in (velocity, displacement)
    ]
    if not np.any(velocity) or ends[0] > AT_REST or ends[1] > AT_REST:
        return None
    return Finding(
        "looks processed", "note",
        what=f"without any correction velocity ends at {ends[0]:.1%} of its peak and displacement at {ends[1]:.1%}",
        effect="if it was filtered before, its usable band ends where that filter did, which is not known here",
        remedy="look for the raw record; or find out how this one was processed",
        component=component.name,
        values={"end_velocity_to_peak": ends[0], "end_displacement_to_peak": ends[1]},
        confidence=0.6,
    )  # fmt: skip
