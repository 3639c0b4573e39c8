"""Gutenberg & Richter (1956), Magnitude and energy of earthquakes, Annali di Geofisica 9(1); values from memory."""

from __future__ import annotations

import math

import pytest

from strongmotion.event import moment_magnitude, moment_of, radiated_energy


def test_energy_in_the_published_unit(held):
    """Theirs is in erg, log10 E = 1.5 M + 11.8; 1 J is 10^7 erg."""
    for magnitude in (0.0, 5.0, 7.5):
        found = math.log10(radiated_energy(magnitude)) + 7
        held("1.5 M + 11.8", "log10 E, E in erg", 1.5 * magnitude + 11.8, found, abs=1e-12, memory=True)


# Common practice, without a source: one unit is about 31.6 times the energy, three units about 31 600 times.
def test_steps_of_energy(held):
    one, three = radiated_energy(6.0) / radiated_energy(5.0), radiated_energy(8.0) / radiated_energy(5.0)
    held("common practice, without a source", "energy of one unit of magnitude, as a ratio", 31.6, one, abs=0.05)
    held("common practice, without a source", "energy of three units of magnitude, as a ratio", 31600, three, rel=0.001)


# Hanks & Kanamori (1979), A moment magnitude scale, JGR 84(B5), 2348-2350: M = 2/3 log10 M0 - 10.7, M0 in dyne cm;
# 1 N m is 10^7 dyne cm. Read in the abstract.
@pytest.mark.parametrize("moment", [1e15, 3.2e18, 4e22])
def test_moment_magnitude_in_the_published_unit(held, moment):
    printed = 2 / 3 * math.log10(moment * 1e7) - 10.7
    held("Hanks & Kanamori (1979), abstract", "moment magnitude", printed, moment_magnitude(moment), abs=0.001)
    assert moment_of(moment_magnitude(moment)) == pytest.approx(moment, rel=1e-12)
