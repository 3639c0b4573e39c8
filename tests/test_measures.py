"""Measures against closed forms, and the laws they obey for any motion."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from strongmotion.errors import InputError
from strongmotion.measures import (
    arias_intensity,
    cumulative_absolute_velocity,
    measure_table,
    peak_table,
    significant_duration,
)
from strongmotion.motion import Motion
from strongmotion.spectra import rotated_peaks
from strongmotion.units import G

DT = 0.005
TIME = np.arange(4001) * DT  # 20 s
AMPLITUDE = 3.0
SINUSOID = AMPLITUDE * np.sin(2 * np.pi * TIME)
MOTIONS = hnp.arrays(float, st.integers(2, 200), elements=st.floats(-50, 50, allow_subnormal=False))


# Arias (1970): pi / (2 g) times the integral of a²; for whole cycles of a sinusoid that integral is A² D / 2.
def test_arias_intensity_of_a_sinusoid():
    assert arias_intensity(SINUSOID, DT) == pytest.approx(np.pi * AMPLITUDE**2 * 20 / (4 * G), rel=1e-3)


# EPRI (1988): the integral of |a|; for whole cycles of a sinusoid its mean is 2 A / pi.
def test_cumulative_absolute_velocity_of_a_sinusoid():
    assert cumulative_absolute_velocity(SINUSOID, DT) == pytest.approx(2 * AMPLITUDE * 20 / np.pi, rel=1e-3)


# Trifunac & Brady (1975): at constant amplitude intensity grows evenly.
@pytest.mark.parametrize(("end", "share"), [(0.95, 0.9), (0.75, 0.7)])
def test_significant_duration_of_a_sinusoid(end, share):
    assert significant_duration(SINUSOID, DT, 0.05, end)[1] == pytest.approx(share * 20, rel=1e-3)


def test_significant_duration_of_a_constant_is_exact():
    begin, duration = significant_duration(np.ones(1001), 0.01)
    assert (begin, duration) == pytest.approx((0.5, 9.0), rel=1e-12)


def test_integrals_are_exact_for_motion_linear_between_samples():
    """A triangle wave through zero, sampled only at its corners: integrals by hand."""
    corners = np.array([0.0, 2.0, -1.0, 0.0])
    squares = (4 + (4 - 2 + 1) + 1) / 3
    areas = 1 + (4 / 3 + 1 / 3) / 2 + 0.5
    assert arias_intensity(corners, 1.0) == pytest.approx(np.pi / (2 * G) * squares, rel=1e-14)
    assert cumulative_absolute_velocity(corners, 1.0) == pytest.approx(areas, rel=1e-14)


def test_motionless_record_has_no_duration():
    assert significant_duration(np.zeros(100), DT) == (0.0, 0.0)


def test_fractions_out_of_order_are_refused():
    with pytest.raises(InputError, match=r"fractions 0.9 and 0.1 must satisfy"):
        significant_duration(SINUSOID, DT, 0.9, 0.1)


@given(MOTIONS, st.floats(0.01, 100))
def test_scaling(motion, size):
    assert arias_intensity(size * motion, DT) == pytest.approx(size**2 * arias_intensity(motion, DT), rel=1e-9)
    assert cumulative_absolute_velocity(size * motion, DT) == pytest.approx(
        size * cumulative_absolute_velocity(motion, DT), rel=1e-9
    )


@given(MOTIONS)
def test_time_reversal_changes_neither_integral(motion):
    assert arias_intensity(motion[::-1], DT) == pytest.approx(arias_intensity(motion, DT), rel=1e-9)
    assert cumulative_absolute_velocity(motion[::-1], DT) == pytest.approx(
        cumulative_absolute_velocity(motion, DT), rel=1e-9
    )


@given(MOTIONS)
def test_durations_are_ordered(motion):
    span = (len(motion) - 1) * DT
    short, long = (significant_duration(motion, DT, 0.05, end)[1] for end in (0.75, 0.95))
    assert 0 <= short <= long <= span * (1 + 1e-12)


@given(MOTIONS, st.integers(0, 179))
def test_total_arias_intensity_does_not_depend_on_the_axes(motion, degrees):
    other = motion[::-1]
    c, s = np.cos(np.deg2rad(degrees)), np.sin(np.deg2rad(degrees))
    turned = (c * motion + s * other, c * other - s * motion)
    total = arias_intensity(motion, DT) + arias_intensity(other, DT)
    assert sum(arias_intensity(part, DT) for part in turned) == pytest.approx(total, rel=1e-9, abs=1e-12)


# Boore (2010): RotD does not depend on how the instrument was oriented.
@given(MOTIONS, st.integers(0, 359))
def test_rotated_peaks_do_not_depend_on_the_axes(motion, degrees):
    other = np.cumsum(motion) * 0.1
    c, s = np.cos(np.deg2rad(degrees)), np.sin(np.deg2rad(degrees))
    plain, _ = rotated_peaks(motion, other)
    turned, _ = rotated_peaks(c * motion + s * other, c * other - s * motion)
    np.testing.assert_allclose(np.sort(turned), np.sort(plain), rtol=1e-9, atol=1e-9)


def test_circular_motion_peaks_alike_in_every_direction():
    angle = np.deg2rad(np.arange(360.0))
    peaks, samples = rotated_peaks(2 * np.cos(angle), 2 * np.sin(angle))
    np.testing.assert_allclose(peaks, 2.0, rtol=1e-12)
    assert set((samples - np.arange(180)) % 180) == {0}


def test_peak_table_gives_value_unit_and_time_from_the_records_first_sample():
    def moved(name, size):
        history = np.zeros(50)
        history[27] = -size
        return Motion(name, history, 0.1, history / 10, history / 100, lead=10, trail=5)

    table = peak_table({"H1": moved("H1", 4.0), "H2": moved("H2", 3.0)}).set_index(["component", "quantity"])
    assert table.loc[("H1", "PGV"), ["value", "unit"]].tolist() == [0.4, "m/s"]
    assert table.loc[("H2", "PGA"), "time"] == pytest.approx(1.7)
    assert table.loc[("RotD100", "PGA"), "value"] == pytest.approx(5.0, rel=1e-4)
    assert table.loc[("RotD100", "PGA"), "time"] == pytest.approx(1.7)


def test_measure_table_names_unit_and_source():
    table = measure_table({"H1": Motion("H1", SINUSOID, DT)})
    assert (table.unit.str.len() > 0).all()
    assert (table.source.str.len() > 0).all()
    assert table.band_low.isna().all()
    assert table.usable.all()


def test_integers_do_not_overflow_and_nan_is_refused():
    full = np.array([30000, 30000], dtype=np.int16)
    assert arias_intensity(full, 1.0) == pytest.approx(np.pi / (2 * G) * 9e8, rel=1e-12)
    assert cumulative_absolute_velocity(np.array([-128, -128], dtype=np.int8), 1.0) == 128.0
    with pytest.raises(InputError):
        significant_duration(np.array([1.0, np.nan]), 1.0)
