"""A component that records nothing."""

from __future__ import annotations

from ..record import Component, Finding

__all__ = ["dead_component"]


def dead_component(component: Component) -> Finding | None:
    """All samples are the same: the sensor or its channel was dead.

    Examples
    --------
    >>> from dataclasses import replace
    >>> from strongmotion import read
    >>> good = read("demo_records/quay.csv")["H1"]
    >>> dead_component(replace(good, samples=0 * good.samples + 7)).what
    'all 16000 samples are 7: the record is constant'
    """
    samples = component.samples
    if samples.min() != samples.max():
        return None
    return Finding(
        "dead component", "unfit",
        what=f"all {len(component)} samples are {samples[0]}: the record is constant",
        effect="its motion and spectra are zero, and so is its share of the rotated ones",
        remedy="leave the component out",
        component=component.name,
        span=(0.0, (len(component) - 1) * component.dt),
        values={"value": float(samples[0])},
    )  # fmt: skip
