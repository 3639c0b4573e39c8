"""ASTM E1049-85, Standard practices for cycle counting in fatigue analysis, 5.4.4: rainflow example, from memory."""

from __future__ import annotations

import numpy as np

from strongmotion.measures import rainflow

REVERSALS = [-2.0, 1.0, -3.0, 5.0, -1.0, 3.0, -4.0, 4.0, -2.0]
"""A to I of its figure 6."""

COUNTS = {3.0: 0.5, 4.0: 1.5, 6.0: 0.5, 8.0: 1.0, 9.0: 0.5}
"""Cycles by range, the table of that figure; its other ranges have none."""

IN_ORDER = [(3.0, 0.5), (4.0, 0.5), (4.0, 1.0), (8.0, 0.5), (9.0, 0.5), (8.0, 0.5), (6.0, 0.5)]
"""Ranges A-B, B-C, E-F, C-D, D-G, G-H, H-I as the text counts them."""


def test_the_worked_example(held):
    cycles = rainflow(REVERSALS)
    found = dict(cycles.table().values.tolist())
    for size, count in COUNTS.items():
        held("5.4.4", f"cycles of range {size:g}", count, found[size], abs=0, memory=True)
    assert dict(cycles.table().values.tolist()) == COUNTS
    assert list(zip(cycles.range.tolist(), cycles.count.tolist(), strict=True)) == IN_ORDER


def test_of_equal_ranges_the_earlier_is_counted():
    # X >= Y: from 4 to 2 and back is one cycle, and half of one is left from 1 to 4.
    cycles = rainflow([1.0, 4.0, 2.0, 4.0])
    assert list(zip(cycles.range.tolist(), cycles.count.tolist(), strict=True)) == [(2.0, 1.0), (3.0, 0.5)]


def test_points_between_reversals_change_nothing():
    between = np.interp(np.linspace(0, 8, 81), range(9), REVERSALS)
    assert dict(rainflow(np.repeat(between, 2)).table().round(9).values.tolist()) == COUNTS
