"""Wald, Quitoriano, Heaton & Kanamori (1999), Earthquake Spectra 15(3), 557-564: intensity in California.

Imm = 3.66 log10(PGA) - 1.66 (sigma 1.08) and 3.47 log10(PGV) + 2.35 (sigma 0.98), cm/s² and cm/s, from V on; below,
2.20 log10(PGA) + 1.00 and 2.10 log10(PGV) + 3.40. The lines from V on, and their ranges, were read in the abstract; the
lower lines and the scatter are from memory.
"""

from __future__ import annotations

import numpy as np
import pytest

from strongmotion.measures import modified_mercalli
from strongmotion.measures.intensity import MERCALLI_RELATIONS

# Read in the abstract: I = 3.66 log PGA - 1.66 for V <= I <= VIII, I = 3.47 log PGV + 2.35 for V <= I <= IX.
READ = [("PGA", 3.66, -1.66, (5.0, 8.0)), ("PGV", 3.47, 2.35, (5.0, 9.0))]


@pytest.mark.parametrize(("quantity", "slope", "constant", "grades"), READ)
def test_the_printed_lines_over_their_printed_ranges(held, quantity, slope, constant, grades):
    for grade in np.linspace(*grades, 7)[1:]:
        peak = 10 ** ((grade - constant) / slope) / 100  # from cm to m
        found = modified_mercalli(peak, quantity, "Wald 1999")[0]
        held("abstract", f"intensity from {quantity}", grade, found, abs=1e-9)


POINTS = [
    ("PGA", 1.0, 5.66),  # 100 cm/s²: 3.66 · 2 - 1.66
    ("PGA", 10.0, 9.32),
    ("PGA", 0.1, 3.20),  # 10 cm/s²: 2.20 + 1.00
    ("PGV", 0.1, 5.82),  # 10 cm/s: 3.47 + 2.35
    ("PGV", 1.0, 9.29),
    ("PGV", 0.01, 3.40),  # 1 cm/s
]
"""By hand."""


@pytest.mark.parametrize(("quantity", "peak", "grade"), POINTS)
def test_hand_computed_points(held, quantity, peak, grade):
    below = grade < 5
    found = modified_mercalli(peak, quantity, "Wald 1999")[0]
    line = "below V" if below else "from V on"
    held(f"by hand, {line}", f"intensity from {quantity}", grade, found, abs=1e-9, memory=below)


@pytest.mark.parametrize(("quantity", "sigma"), [("PGA", 1.08), ("PGV", 0.98)])
def test_the_lines_meet_at_grade_five(held, quantity, sigma):
    relation = MERCALLI_RELATIONS["Wald 1999", quantity]
    meeting = f"intensity at which the lines of {quantity} meet"
    held("both lines", meeting, 5.0, relation.grade_break, abs=0.01, memory=True)  # the printed digits
    at = 10**relation.peak_break / 100
    below, above = (modified_mercalli(at * factor, quantity, "Wald 1999") for factor in (1 - 1e-9, 1 + 1e-9))
    np.testing.assert_allclose(below, above, atol=1e-7)
    assert above[1] == sigma
