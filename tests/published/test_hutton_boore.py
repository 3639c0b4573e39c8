"""Hutton & Boore (1987), The ML scale in southern California, BSSA 77(6), 2074-2094; abstract read."""

from __future__ import annotations

import numpy as np
import pytest

from strongmotion.event import local_magnitude


# Read in the abstract: -log A0 = 1.110 log(r / 100) + 0.00189 (r - 100) + 3.0, r about 10 to 700 km, A in mm.
@pytest.mark.parametrize("distance", [10.0, 30.0, 100.0, 250.0, 700.0])
def test_the_printed_attenuation(held, distance):
    expected = 1.110 * np.log10(distance / 100) + 0.00189 * (distance - 100) + 3.0
    held("abstract", "-log10 A0", expected, local_magnitude(1.0, distance), abs=1e-9)


# The anchor of 10 mm at 17 km is from memory.
def test_ten_millimetres_at_17_km_are_magnitude_3(held):
    """Their other anchor: nearer to where most records are made, and the same as Richter's at 100 km."""
    held("anchor", "ML of 10 mm at 17 km", 3.0, local_magnitude(10.0, 17.0), abs=0.02, memory=True)


def test_attenuation_is_continuous_and_grows_with_distance():
    distance = np.geomspace(1.0, 700.0, 20001)
    size = np.array([local_magnitude(1.0, r) for r in distance])
    steps = np.diff(size)
    assert (steps > 0).all()
    assert steps.max() < 0.001  # of steps of a 30th of a percent in distance


# IASPEI (2013), Summary of magnitude working group recommendations, the same scale with the true magnification of 2080:
# ML = log10 A + 1.11 log10 R + 0.00189 R - 2.09, with A in nm of ground-equivalent motion; from memory.
@pytest.mark.parametrize(("ground_nm", "distance"), [(1e6, 20.0), (3e4, 150.0), (1e3, 500.0)])
def test_agrees_with_the_iaspei_form(held, ground_nm, distance):
    trace_mm = ground_nm * 1e-6 * 2080
    theirs = np.log10(ground_nm) + 1.11 * np.log10(distance) + 0.00189 * distance - 2.09
    found = local_magnitude(trace_mm, distance)
    held("IASPEI (2013)", "ML", theirs, found, abs=0.005, memory=True)  # their constant has two decimals
