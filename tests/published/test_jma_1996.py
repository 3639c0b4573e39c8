"""Japan Meteorological Agency (1996), notification no. 4: seismic intensity from three components of acceleration.

The period filter, the high-cut up to y⁸, the definition of I and the classes were read in the notification; the
high-cut's last two terms and the low-cut are from memory.

sqrt(1/f); (1 + 0.694 x² + 0.241 x⁴ + 0.0557 x⁶ + 0.009664 x⁸ + 0.00134 x¹⁰ + 0.000155 x¹²)^(-1/2), x = f / 10;
(1 - exp(-(f / 0.5)³))^(1/2); I = 2 log10(a) + 0.94, a held for 0.3 s, in cm/s².
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from strongmotion.foundation.errors import InputError
from strongmotion.measures import japanese_intensity, japanese_words
from strongmotion.measures.intensity import _held, japanese_filter

DT = 0.01
TIME = np.arange(6000) * DT


def gain(f):
    x = f / 10
    powers = {2: 0.694, 4: 0.241, 6: 0.0557, 8: 0.009664, 10: 0.00134, 12: 0.000155}
    high_cut = (1 + sum(factor * x**power for power, factor in powers.items())) ** -0.5
    return math.sqrt(1 / f) * high_cut * math.sqrt(1 - math.exp(-((f / 0.5) ** 3)))


@pytest.mark.parametrize("f", [0.05, 0.5, 1.0, 5.0, 20.0, 100.0])
def test_the_filter_is_the_published_formula(held, f):
    found = japanese_filter(np.array([f]))[0]
    held("formula", "gain of the filter", gain(f), found, rel=1e-12, memory=True)


# What could contradict the remembered last terms and low-cut: the high-cut falls without a dip or a bump, and the
# low-cut alone takes what sqrt(1/f) would add without bound.
def test_the_filter_rises_to_one_peak_and_falls_on_both_sides():
    gains = japanese_filter(np.geomspace(0.01, 50, 2000))
    assert (np.diff(np.sign(np.diff(gains))) != 0).sum() == 1
    # At the Nyquist frequency of 100 samples a second the sixth and later terms still matter: half of the fall.
    x = 5.0
    printed = (1 + 0.694 * x**2 + 0.241 * x**4 + 0.0557 * x**6 + 0.009664 * x**8) ** -0.5
    assert japanese_filter(np.array([50.0]))[0] < printed * math.sqrt(1 / 50)


def test_the_filter_at_one_hertz_by_hand(held):
    # x = 0.1: 1 + 0.00694 + 0.0000241 + ... = 1.0069642; 1 - exp(-8) = 0.9996645; sqrt(0.9996645 / 1.0069642).
    found = japanese_filter(np.array([0.0, 1.0]))
    held("by hand", "gain of the filter at 0 and 1 Hz", [0.0, 0.9963688], found, abs=1e-7, memory=True)


# Of A sin, |a| >= s holds for the part 1 - (2 / pi) asin(s / A) of the time D: for 0.3 s, s = A cos(0.15 pi / D).
@pytest.mark.parametrize("f", [0.5, 2.0, 10.0])
def test_a_sinusoid(held, f):
    a = 2.0 * np.sin(2 * np.pi * f * TIME + 0.3)
    level = 200 * gain(f) * math.cos(0.15 * math.pi / 60)
    expected = 2 * math.log10(level) + 0.94
    found = japanese_intensity(a, 0 * a, 0 * a, DT)
    held("filter and definition", "intensity of a sinusoid", expected, found, abs=1e-3, memory=True)


# Sizes spread evenly over 0 to 1 during one second: 0.3 s of it lies at or above 0.7.
def test_the_level_held_for_a_time(held):
    sizes = np.random.default_rng(1).permutation((np.arange(100) + 0.5) / 100)
    held("definition", "level held for 0.3 s", 0.7, _held(sizes, 0.3 / DT), rel=1e-12)


def test_components_add_as_a_vector_in_any_axes(held):
    # A circle has one length all the time: level A.
    one, two = np.sin(2 * np.pi * TIME), np.cos(2 * np.pi * TIME)
    circle = japanese_intensity(one, two, 0 * one, DT)
    expected = 2 * math.log10(100 * gain(1.0)) + 0.94
    held("filter and definition", "intensity of circular motion", expected, circle, abs=1e-6, memory=True)
    c, s = math.cos(0.4), math.sin(0.4)
    rng = np.random.default_rng(2)
    x, y, z = rng.standard_normal((3, 3000))
    assert japanese_intensity(c * x + s * y, c * y - s * x, z, DT) == pytest.approx(
        japanese_intensity(x, y, z, DT), abs=1e-9
    )


def test_ten_times_the_motion_is_two_grades_and_the_unit_is_the_gal(held):
    one = np.random.default_rng(3).standard_normal(3000)
    grade = japanese_intensity(one, one, one, DT)
    ten = japanese_intensity(10 * one, 10 * one, 10 * one, DT)
    held("definition", "intensity that ten times the motion adds", 2, ten - grade, abs=1e-9)


# The bounds of the ten classes are published: 0.5, 1.5, 2.5, 3.5, 4.5, 5.0, 5.5, 6.0, 6.5. They are those of the
# intensity as published: rounded to two decimals, of which the second is then cut off (from memory).
def test_classes():
    bounds = [0.5, 1.5, 2.5, 3.5, 4.5, 5.0, 5.5, 6.0, 6.5]
    names = ["0", "1", "2", "3", "4", "5 lower", "5 upper", "6 lower", "6 upper", "7"]
    assert [japanese_words(bound - 0.0051)[0] for bound in bounds] == names[:-1]
    assert [japanese_words(bound - 0.0049)[0] for bound in bounds] == names[1:]
    assert [japanese_words(bound)[0] for bound in bounds] == names[1:]
    assert japanese_words(-math.inf)[0] == "0"
    assert japanese_words(math.inf)[0] == "7"


def test_what_is_refused():
    a = np.ones(100)
    with pytest.raises(InputError, match=r"shorter than the 0\.3 s"):
        japanese_intensity(a[:29], a[:29], a[:29], DT)
    with pytest.raises(InputError, match="100, 99, 100 samples"):
        japanese_intensity(a, a[1:], a, DT)
    with pytest.raises(InputError, match="found nan"):
        japanese_words(math.nan)
