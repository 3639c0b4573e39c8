"""Richter (1935), An instrumental earthquake magnitude scale, BSSA 25(1), 1-32; values from memory."""

from __future__ import annotations

import math

import pytest

from strongmotion import InputError
from strongmotion.event import local_magnitude


def test_one_millimetre_at_100_km_is_magnitude_3(held):
    held("definition", "ML of 1 mm at 100 km", 3.0, local_magnitude(1.0, 100.0), abs=0, memory=True)


@pytest.mark.parametrize("distance", [12.0, 100.0, 431.0])
def test_one_unit_is_ten_times_the_amplitude(held, distance):
    step = local_magnitude(10.0, distance) - local_magnitude(1.0, distance)
    held("definition", "ML that ten times the amplitude adds", 1.0, step, abs=1e-12, memory=True)


@pytest.mark.parametrize(("amplitude", "distance"), [(0.0, 100.0), (-1.0, 100.0), (1.0, 0.0), (math.nan, 100.0)])
def test_nothing_has_no_magnitude(amplitude, distance):
    with pytest.raises(InputError, match="has no magnitude"):
        local_magnitude(amplitude, distance)
