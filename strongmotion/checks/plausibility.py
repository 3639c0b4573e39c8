"""Amplitudes that no ground has shown: most often a wrong unit or sensitivity."""

from __future__ import annotations

import numpy as np

from ..record import Component, Finding
from ..units import COUNTS, G

__all__ = ["implausible_amplitude"]

LARGEST = 5.0 * G
"""m/s²; the largest accelerations recorded so far are about 4 g (from memory)."""

SMALLEST = 1e-5
"""m/s²: below what an accelerograph resolves."""


def implausible_amplitude(component: Component) -> Finding | None:
    """Say where the peak is beyond any ground motion, or below what the instrument resolves.

    A unit wrong by a factor of ten, such as g read as m/s², leaves a plausible record: amplitude alone cannot tell it.
    """
    if component.unit == COUNTS and component.sensitivity is None:
        return None
    values = component.samples * np.float64(abs(component.scale))
    peak = float(np.abs(values - np.median(values)).max())
    if peak == 0.0 or SMALLEST <= peak <= LARGEST:
        return None
    return Finding(
        "implausible amplitude", "doubt",
        what=f"the peak would be {peak:.3g} m/s² ({peak / G:.3g} g)",
        effect="every result is wrong by the same factor if the unit or the sensitivity is",
        remedy="check the unit and the sensitivity",
        component=component.name,
        confidence=0.9,
    )  # fmt: skip
