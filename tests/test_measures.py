"""Measures against closed forms, and the laws they obey for any motion."""

from __future__ import annotations

import re

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp
from scipy.stats import linregress

from strongmotion import Component, Record, process
from strongmotion import measures as ms
from strongmotion.foundation.errors import InputError
from strongmotion.foundation.units import G
from strongmotion.measures import (
    arias_intensity,
    cumulative_absolute_velocity,
    measure_table,
    peak_table,
    significant_duration,
)
from strongmotion.motion import Motion
from strongmotion.settings import MeasuresSettings
from strongmotion.spectra import fourier_spectrum, response_history, response_spectrum, rotated_peaks

DT = 0.005
TIME = np.arange(4001) * DT  # 20 s
AMPLITUDE = 3.0
SINUSOID = AMPLITUDE * np.sin(2 * np.pi * TIME)
FINE = 0.001
FINE_SINUSOID = AMPLITUDE * np.sin(2 * np.pi * np.arange(20001) * FINE)
"""Where a threshold cuts near the crest, the chords of the coarser one fall short of the curve by more than 0.1 %."""
MOTIONS = hnp.arrays(float, st.integers(2, 200), elements=st.floats(-50, 50, allow_subnormal=False))


# Arias (1970): pi / (2 g) times the integral of a²; for whole cycles of a sinusoid that integral is A² D / 2.
def test_arias_intensity_of_a_sinusoid(held):
    expected = np.pi * AMPLITUDE**2 * 20 / (4 * G)
    held("Arias (1970)", "Arias intensity of a sinusoid", expected, arias_intensity(SINUSOID, DT), rel=1e-3, unit="m/s")


# EPRI (1988): the integral of |a|; for whole cycles of a sinusoid its mean is 2 A / pi.
def test_cumulative_absolute_velocity_of_a_sinusoid(held):
    found = cumulative_absolute_velocity(SINUSOID, DT)
    held("EPRI (1988)", "CAV of a sinusoid", 2 * AMPLITUDE * 20 / np.pi, found, rel=1e-3, unit="m/s")


# Trifunac & Brady (1975): at constant amplitude intensity grows evenly.
@pytest.mark.parametrize(("end", "share"), [(0.95, 0.9), (0.75, 0.7)])
def test_significant_duration_of_a_sinusoid(held, end, share):
    found = significant_duration(SINUSOID, DT, 0.05, end)[1]
    quantity = f"significant duration of a sinusoid, 5 to {100 * end:.0f} %"
    held("Trifunac & Brady (1975)", quantity, share * 20, found, rel=1e-3, unit="s")


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


# Energy


# The integral of v²; for whole cycles of a sinusoid V² D / 2.
def test_squared_velocity_integral_of_a_sinusoid(held):
    found, quantity = ms.squared_velocity_integral(SINUSOID, DT), "squared-velocity integral of a sinusoid"
    held("definition", quantity, AMPLITUDE**2 * 20 / 2, found, rel=1e-3, unit="m²/s")


# Kramer & Mitchell (2006): |a| counts where it is at least 5 cm/s². In a quarter cycle of A sin(w t) that is from
# asin(c / A) on, where the integral is A cos / w = sqrt(A² - c²) / w.
@pytest.mark.parametrize("threshold", [0.05, 1.0, 2.9])
def test_cumulative_absolute_velocity_above_a_threshold(held, threshold):
    expected = 2 * 20 / np.pi * np.sqrt(AMPLITUDE**2 - threshold**2)
    found = cumulative_absolute_velocity(FINE_SINUSOID, FINE, threshold)
    held("Kramer & Mitchell (2006)", "CAV of a sinusoid above a threshold", expected, found, rel=1e-3, unit="m/s")
    assert cumulative_absolute_velocity(SINUSOID, DT, 3.01) == 0.0


def test_cumulative_absolute_velocity_above_a_threshold_is_exact_on_straight_lines():
    # 0 to 4 in one step, above 1 for three quarters of it at a mean of 2.5; then level at 4, and below at 0.5.
    assert cumulative_absolute_velocity([0.0, 4.0, 4.0], 1.0, 1.0) == pytest.approx(0.75 * 2.5 + 4.0, rel=1e-12)
    assert cumulative_absolute_velocity([0.5, 0.5], 1.0, 1.0) == 0.0
    # From -2 to 2 above 1 in a quarter of the step at each end, at a mean of 1.5.
    assert cumulative_absolute_velocity([-2.0, 2.0], 1.0, 1.0) == pytest.approx(2 * 0.25 * 1.5, rel=1e-12)


# EPRI (1991): seconds whose peak reaches 0.025 g.
def test_standardized_cumulative_absolute_velocity_of_strong_and_weak_seconds(held):
    amplitude = np.where(np.floor(TIME) % 2 == 0, 0.05 * G, 0.02 * G)
    a = amplitude * np.sin(2 * np.pi * TIME)
    found = ms.standardized_cumulative_absolute_velocity(a, DT)
    quantity = "standardized CAV of strong and weak seconds"
    held("EPRI (1991)", quantity, 2 * 0.05 * G * 10 / np.pi, found, rel=1e-3, unit="m/s")
    assert ms.standardized_cumulative_absolute_velocity(a, DT, threshold=0.0) == pytest.approx(
        cumulative_absolute_velocity(a, DT), rel=1e-12
    )
    assert ms.standardized_cumulative_absolute_velocity(0.4 * a, DT) == 0.0


@pytest.mark.parametrize(("size", "counts"), [(0.0251, True), (0.0249, False)])
def test_a_standard_second_counts_from_its_threshold_on(size, counts):
    a = size * G * np.cos(2 * np.pi * TIME)
    assert (ms.standardized_cumulative_absolute_velocity(a, DT) > 0) == counts


def test_standard_windows_hold_where_the_interval_does_not_divide_a_second():
    # 0.3 s: windows begin at steps 0, 4, 7, 10, that is at 0, 1.2, 2.1 and 3.0 s.
    a = np.array([1.0] * 4 + [0.1] * 7)
    assert ms.standardized_cumulative_absolute_velocity(a, 0.3) == pytest.approx(0.3 * (3 + 0.55), rel=1e-12)


def test_a_second_counts_that_only_reaches_the_threshold():
    a = np.full(201, 0.025 * G)
    assert ms.standardized_cumulative_absolute_velocity(a, 0.01) == pytest.approx(2 * 0.025 * G, rel=1e-12)


def test_a_peak_at_the_edge_of_two_seconds_counts_for_both():
    a = np.full(301, 0.2)
    a[100] = 1.0  # a triangle of height 0.8 on two seconds at 0.2
    assert ms.standardized_cumulative_absolute_velocity(a, 0.01) == pytest.approx(2 * 0.2 + 0.8 * 0.01, rel=1e-12)


def test_round_off_does_not_move_the_edge_of_a_second():
    a = np.full(2 * 49 + 1, 0.2)  # 49 * (1 / 49) is below 1
    a[70] = 1.0
    found = ms.standardized_cumulative_absolute_velocity(a, 1 / 49)
    assert found == pytest.approx(0.2 + 0.8 / 49, rel=1e-12)


# Park, Ang & Wen (1985): rms^1.5 times duration^0.5; the rms of a sinusoid is A / sqrt(2), its 5-95 % 0.9 D.
def test_rms_and_characteristic_intensity_of_a_sinusoid(held):
    rms, source = AMPLITUDE / np.sqrt(2), "Park, Ang & Wen (1985)"
    held(source, "rms acceleration of a sinusoid", rms, ms.rms_acceleration(SINUSOID, DT), rel=1e-3, unit="m/s²")
    assert ms.rms_acceleration(SINUSOID, DT, 0, 1) == pytest.approx(AMPLITUDE / np.sqrt(2), rel=1e-3)
    expected = (AMPLITUDE / np.sqrt(2)) ** 1.5 * np.sqrt(0.9 * 20)
    found, quantity = ms.characteristic_intensity(SINUSOID, DT), "characteristic intensity of a sinusoid"
    held(source, quantity, expected, found, rel=1e-3, unit="m^1.5 / s^2.5")


# Uang & Bertero (1990). Constant acceleration A from rest, no damping: u = -A (1 - cos w t) / w², input energy -A u.
def test_input_energy_of_a_step_is_exact():
    omega = 2 * np.pi / 0.8
    given, absorbed, step = ms.energy_history(np.full(401, 3.0), 0.02, 0.8, damping=0.0, interpolation="linear")
    time = np.arange(given.size) * step
    np.testing.assert_allclose(given, 9 / omega**2 * (1 - np.cos(omega * time)), atol=1e-12)
    velocity = 3.0 / omega * np.sin(omega * time)
    np.testing.assert_allclose(absorbed, given - velocity**2 / 2, atol=1e-12)
    spectrum = ms.energy_spectrum(np.full(401, 3.0), 0.005, [0.8, 1.6], damping=[0.0])
    np.testing.assert_allclose(spectrum.input[0], 2 * 9 / (2 * np.pi / np.array([0.8, 1.6])) ** 2, rtol=1e-3)
    np.testing.assert_allclose(spectrum.input_velocity**2, 2 * spectrum.input, rtol=1e-12)


# A pulse much shorter than the period only gives a velocity: half its square, whatever the period.
def test_input_energy_of_a_short_pulse():
    hump = np.hanning(13)
    pulse = np.concatenate([10 * hump / hump.sum(), np.zeros(500)])
    spectrum = ms.energy_spectrum(pulse, 0.001, [2.0, 3.0], damping=0.0)
    np.testing.assert_allclose(spectrum.input[0], 0.5 * 0.01**2, rtol=1e-3)


@pytest.mark.parametrize("period", [0.03, 0.2, 1.0, 20.0])
def test_energies_balance(period):
    # What came in less what moves is in the spring or was spent in damping; the latter by quadrature, finely sampled.
    a, dt, damping, omega = np.sin(TIME * 7) * np.exp(-0.1 * TIME), DT / 8, 0.1, 2 * np.pi / period
    fine = np.interp(np.arange(0, 20, dt), TIME, a)
    _, absorbed, step = ms.energy_history(fine, dt, period, damping, interpolation="linear")
    u, v, _ = response_history(fine, dt, period, damping, interpolation="linear")
    spent = np.concatenate([[0.0], np.cumsum(damping * omega * dt * (v[1:] ** 2 + v[:-1] ** 2))])
    np.testing.assert_allclose(absorbed[:: round(dt / step)], spent + omega**2 * u**2 / 2, atol=1e-3 * spent.max())


# Duration


# |A sin| first reaches c at asin(c / A) / w; symmetric at the end.
@pytest.mark.parametrize("threshold", [0.5, 2.0, 2.95])
def test_bracketed_and_uniform_duration_of_a_sinusoid(held, threshold):
    first = np.arcsin(threshold / AMPLITUDE) / (2 * np.pi)
    begin, duration = ms.bracketed_duration(FINE_SINUSOID, FINE, threshold)
    expected = first, 20 - 2 * first
    held("definition", "begin and bracketed duration of a sinusoid", expected, (begin, duration), rel=1e-3, unit="s")
    share = 1 - 2 / np.pi * np.arcsin(threshold / AMPLITUDE)
    found = ms.uniform_duration(FINE_SINUSOID, FINE, threshold)
    held("definition", "uniform duration of a sinusoid", 20 * share, found, rel=1e-3, unit="s")
    assert ms.bracketed_duration(SINUSOID, DT, 3.01) == (0.0, 0.0)
    assert ms.uniform_duration(SINUSOID, DT, 3.01) == 0.0


def test_a_threshold_crossed_together_with_zero():
    # From 3 to -1 in one step, then level below: 1 is passed after half of it.
    assert ms.bracketed_duration([3.0, -1.0, -0.5], 2.0, 2.0) == pytest.approx((0.0, 0.5), rel=1e-12)
    assert ms.uniform_duration([3.0, -1.0, -0.5], 2.0, 2.0) == pytest.approx(0.5, rel=1e-12)


# An exponential decay A exp(-t / s) falls to c after s ln(A / c).
def test_bracketed_duration_of_a_decay(held):
    a = 4.0 * np.exp(-TIME / 3)
    found, quantity = (ms.bracketed_duration(a, DT, 0.5)[1], ms.uniform_duration(a, DT, 0.5)), "durations of a decay"
    held("definition", quantity, 2 * (3 * np.log(8),), found, rel=1e-3, unit="s")


# Bommer & Martinez-Pereira (1999): from 0.01 m/s to 0.125 m/s before the end. Constant A gathers pi A² / (2 g) a
# second.
def test_effective_duration_of_a_constant(held):
    rate = np.pi / (2 * G)
    begin, duration = ms.effective_duration(np.ones(2001), 0.01)
    source, quantity = "Bommer & Martinez-Pereira (1999)", "begin and effective duration of a constant"
    held(source, quantity, (0.01 / rate, 20 - 0.135 / rate), (begin, duration), rel=1e-9, unit="s")
    assert ms.effective_duration(np.full(2001, 0.2), 0.01) == (0.0, 0.0)
    for levels in ((-0.01, 0.125), (0.01, -0.125), (np.nan, 0.125)):
        with pytest.raises(InputError, match="expected"):
            ms.effective_duration(np.ones(2001), 0.01, *levels)


# Peaks and cycles


def test_motion_that_touches_zero_is_in_the_same_half_cycle():
    history = [0.0, 5.0, 0.0, 4.0, 0.0, 0.0, -3.0, 2.0]
    assert [ms.sustained_maximum(history, rank) for rank in (1, 2, 3, 4)] == [5.0, 3.0, 2.0, 0.0]


# Nuttli (1979), each half-cycle once: peaks of a decaying oscillation stand in the ratio exp(-pi z / sqrt(1 - z²)).
@pytest.mark.parametrize("rank", [1, 3, 5])
def test_sustained_maximum_of_a_decaying_oscillation(held, rank):
    z, omega = 0.03, 2 * np.pi
    a = np.exp(-z * omega * TIME) * np.sin(omega * np.sqrt(1 - z * z) * TIME)
    ratio = np.exp(-(rank - 1) * np.pi * z / np.sqrt(1 - z * z))
    found = ms.sustained_maximum(a, rank) / np.abs(a).max()
    held("Nuttli (1979)", "sustained maximum of a decay / its peak", ratio, found, rel=1e-3)
    with pytest.raises(InputError, match="rank"):
        ms.sustained_maximum(a, 0)


def test_effective_cycles_of_a_sinusoid_that_starts_at_its_top(held):
    held("definition", "effective cycles", 20.0, ms.effective_cycles(np.cos(2 * np.pi * TIME)), rel=1e-9)
    two = np.concatenate([np.cos(2 * np.pi * TIME[:-1]), 0.5 * np.cos(2 * np.pi * TIME)])
    # Of full range 40 halves; one half down from 1 to -0.5; then, of half range, 19 cycles and the half that is left.
    assert ms.effective_cycles(two, exponent=1.0) == pytest.approx(20 + 0.5 * 0.75 + (19 + 0.5) * 0.5, rel=1e-3)


def test_peak_table_has_sign_resultant_and_geometric_mean():
    def swinging(name, size):
        history = size * np.sin(2 * np.pi * np.arange(100) / 40)
        return Motion(name, history, 0.1, history, history)

    table = peak_table({"H1": swinging("H1", -2.0), "H2": swinging("H2", 3.0), "V": swinging("V", 6.0)})
    pga = table[table.quantity == "PGA"].set_index("component")
    assert pga.sign.to_dict() == {
        "H1": -1, "H2": 1, "V": 1, "RotD00": 0, "RotD50": 0, "RotD100": 0, "geometric mean": 0, "resultant": 0,
    }  # fmt: skip
    assert pga.value["resultant"] == pytest.approx(7.0, rel=1e-12)
    assert pga.time["resultant"] == pytest.approx(1.0)
    assert pga.value["geometric mean"] == pytest.approx(np.sqrt(6.0), rel=1e-12)


# Frequency


# A constant acceleration A from rest: u peaks at A (1 + exp(-pi z / sqrt(1 - z²))) / w², so PSA is the same at all T.
@pytest.mark.parametrize("damping", [0.05, 0.2])
def test_spectrum_intensities_of_a_step(held, damping):
    a, peak = np.full(4001, 2.0), 2 * (1 + np.exp(-np.pi * damping / np.sqrt(1 - damping**2)))
    found, step = ms.acceleration_spectrum_intensity(a, DT, damping), "definition, PSA of a step"
    held(step, "acceleration spectrum intensity", 0.4 * peak, found, rel=1e-3, unit="m/s")
    expected = peak * (2.5**2 - 0.1**2) / (4 * np.pi)
    found = ms.housner_intensity(a, DT, damping), ms.velocity_spectrum_intensity(a, DT, damping)
    held(step, "Housner and velocity spectrum intensity", (expected, expected), found, rel=1e-3, unit="m")
    found = ms.average_spectral_acceleration(a, DT, (0.2, 2.0), damping)
    held(step, "average spectral acceleration", peak, found, rel=1e-3, unit="m/s²")
    if damping == 0.05:  # ATC 3-06 (1978)
        found = ms.effective_peak_acceleration(a, DT)
        held("ATC 3-06 (1978), PSA of a step", "effective peak acceleration", peak / 2.5, found, rel=1e-3, unit="m/s²")


# Two sinusoids over whole cycles are two lines in the spectrum: moments by hand.
def test_periods_and_bandwidth_of_two_lines(held):
    a = 3 * np.sin(2 * np.pi * TIME[:-1]) + 4 * np.sin(2 * np.pi * 5 * TIME[:-1])
    m0, m1, m2 = 9 + 16, 9 * 1 + 16 * 5, 9 * 1 + 16 * 25
    period, frequency, width = (9 / 1 + 16 / 5) / 25, np.sqrt(m2 / m0), np.sqrt(1 - m1**2 / (m0 * m2))
    held("two sinusoids", "mean period", period, ms.mean_period(a, DT), rel=1e-9, unit="s")
    held("two sinusoids", "central frequency", frequency, ms.central_frequency(a, DT), rel=1e-9, unit="Hz")
    held("two sinusoids", "spectral bandwidth", width, ms.spectral_bandwidth(a, DT), rel=1e-9)


# Rathje et al. (1998): from 0.25 to 20 Hz, both counted; the lines at 0.2 and 20.05 Hz lie one step outside.
def test_the_mean_period_keeps_to_its_band():
    a = sum(np.sin(2 * np.pi * f * TIME[:-1]) for f in (0.2, 0.25, 20.0, 20.05))
    assert ms.mean_period(a, DT) == pytest.approx((1 / 0.25 + 1 / 20) / 2, rel=1e-9)


# Rathje et al. (1998): frequencies at most 0.05 Hz apart, however short the record; its transform summed directly.
def test_the_mean_period_of_a_short_record_has_frequencies_close_enough():
    time = TIME[:200]
    a = np.exp(-3 * time) * np.sin(2 * np.pi * 0.8 * time)
    f = 0.05 * np.arange(5, 401)
    power = np.abs(np.exp(-2j * np.pi * np.outer(f, time)) @ a) ** 2
    assert ms.mean_period(a, DT) == pytest.approx((power / f).sum() / power.sum(), rel=1e-9)


def test_an_offset_counts_once_in_the_moments():
    # One-sided: B² at 0 Hz, A² / 2 at 3 Hz.
    a = 2 + 3 * np.sin(2 * np.pi * 3 * TIME[:-1])
    assert ms.central_frequency(a, DT) == pytest.approx(3 * np.sqrt(4.5 / (4 + 4.5)), rel=1e-9)


# Vanmarcke (1976): a flat spectrum from 0 to f has moments in the ratio 1 : f / 2 : f² / 3, so a bandwidth of 0.5.
def test_bandwidth_of_a_flat_spectrum(held):
    impulse = np.zeros(8001)
    impulse[0] = 1.0
    width, frequency = ms.spectral_bandwidth(impulse, DT), ms.central_frequency(impulse, DT)
    held("Vanmarcke (1976)", "bandwidth of a flat spectrum", 0.5, width, rel=1e-3)
    held("Vanmarcke (1976)", "its central frequency", 100 / np.sqrt(3), frequency, rel=1e-3, unit="Hz")


# Steady response to a harmonic is largest at w_n = w / sqrt(1 - 2 z²), for a given acceleration: PSA = R_d a.
def test_predominant_period_of_a_slowly_growing_harmonic(held):
    time = np.arange(12000) * DT
    a = np.minimum(1, time / 30) * np.sin(2 * np.pi * time)
    periods = np.linspace(0.9, 1.1, 41)
    psa = response_spectrum(a, DT, periods, 0.05, ["psa"]).psa[0]
    found, expected = ms.predominant_period(periods, psa), np.sqrt(1 - 2 * 0.05**2)
    held("steady response", "predominant period of a harmonic", expected, found, rel=1e-3, unit="s")


def test_predominant_period_at_an_edge_on_a_plateau_and_of_nothing():
    assert ms.predominant_period([0.1, 0.2, 0.4], [3.0, 2.0, 1.0]) == pytest.approx(0.1)
    assert ms.predominant_period([0.1, 0.2, 0.4, 0.8], [1.0, 2.0, 2.0, 2.0]) == pytest.approx(0.2 * 2**0.5)
    assert np.isnan(ms.predominant_period([0.1, 0.2], [0.0, 0.0]))
    with pytest.raises(InputError, match="rising periods"):
        ms.predominant_period([0.2, 0.1], [1.0, 1.0])


# Anderson & Hough (1984): A(f) = A0 exp(-pi kappa f), made by its own inverse transform.
@pytest.mark.parametrize("decay", [0.02, 0.06])
def test_kappa_of_an_exact_decay(held, decay):
    a = np.fft.irfft(3.0 / DT * np.exp(-np.pi * decay * np.fft.rfftfreq(4000, DT)), 4000)
    fit = ms.kappa(a, DT, band=(5.0, 30.0))
    assert fit.amplitude == pytest.approx(3.0, rel=1e-6)
    held("Anderson & Hough (1984)", "kappa of an exact decay", decay, fit.kappa, rel=1e-6, unit="s")
    assert fit.standard_error == pytest.approx(0.0, abs=1e-9)
    assert fit.band == (5.0, 30.0)
    assert fit.frequencies == 501


def test_kappa_and_its_error_against_a_regression_by_scipy():
    a = np.random.default_rng(3).standard_normal(3000)
    spectrum = fourier_spectrum(a, 0.01)
    inside = (spectrum.frequency >= 10) & (spectrum.frequency <= 25)
    line = linregress(spectrum.frequency[inside], np.log(spectrum.amplitude[inside]))
    fit = ms.kappa(a, 0.01)
    assert (fit.kappa, fit.standard_error) == pytest.approx((-line.slope / np.pi, line.stderr / np.pi), rel=1e-9)
    assert fit.amplitude == pytest.approx(np.exp(line.intercept), rel=1e-9)


@pytest.mark.parametrize(
    ("a", "band", "match"),
    [
        (np.ones(300), (10.0, 60.0), "Nyquist"),
        (np.ones(300), (20.0, 10.0), "does not rise"),
        (np.ones(20), (10.0, 15.0), "a fit needs three"),
        (np.zeros(300), (10.0, 25.0), "no logarithm"),
    ],
)
def test_kappa_refuses_what_it_cannot_fit(a, band, match):
    with pytest.raises(InputError, match=match):
        ms.kappa(a, 0.01, band)


# Orientation


def test_rotation_to_any_azimuth_and_back():
    one, two = SINUSOID, np.cos(3 * TIME)
    along, across = ms.rotate(one, two, (30.0, 120.0), 75.0)
    back = ms.rotate(along, across, (75.0, 165.0), 30.0)
    np.testing.assert_allclose(back, [one, two], atol=1e-12)
    np.testing.assert_allclose(ms.rotate(one, two, (30.0, 120.0), 210.0), [-one, -two], atol=1e-12)


def test_sensors_that_are_not_at_right_angles_and_left_handed_pairs():
    north, east = SINUSOID, np.cos(3 * TIME)
    slanted = np.cos(np.deg2rad(60)) * north + np.sin(np.deg2rad(60)) * east
    np.testing.assert_allclose(ms.rotate(north, slanted, (0.0, 60.0), 0.0), [north, east], atol=1e-12)
    np.testing.assert_allclose(ms.rotate(north, -east, (0.0, 270.0), 0.0), [north, east], atol=1e-12)
    with pytest.raises(InputError, match="nearly on one line"):
        ms.rotate(north, east, (10.0, 190.0), 0.0)


def test_radial_points_away_from_the_epicentre_and_transverse_to_its_right():
    # An epicentre to the east: away is west, and its right is north.
    radial, transverse = ms.radial_transverse([1.0, 0.0], [0.0, 1.0], (0.0, 90.0), back_azimuth=90.0)
    np.testing.assert_allclose([radial, transverse], [[0.0, -1.0], [1.0, 0.0]], atol=1e-15)


# Penzien & Watabe (1975): an ellipse with semi-axes 3 and 1 at 30 degrees has mean squares 9/2 and 1/2 along its axes.
def test_principal_axes_of_an_ellipse():
    angle = 2 * np.pi * TIME[:-1]
    long, short = 3 * np.cos(angle), np.sin(angle)
    c, s = np.cos(np.pi / 6), np.sin(np.pi / 6)
    one, two = c * long - s * short, s * long + c * short
    axes = ms.principal_axes(one, two)
    np.testing.assert_allclose(axes.mean_square, [4.5, 0.5], rtol=1e-9)
    np.testing.assert_allclose(axes.axes, [[c, s], [-s, c]], atol=1e-9)
    np.testing.assert_allclose(axes.turned(one, two), [long, short], atol=1e-9)
    assert axes.rectilinearity == pytest.approx(1 - 1 / 9, rel=1e-9)
    # With a vertical that stands still: 1 - (l2 + 0) / (2 l1), and motion in one plane.
    three = ms.principal_axes(one, two, 0 * one)
    assert three.rectilinearity == pytest.approx(1 - 1 / 18, rel=1e-9)
    assert three.planarity == pytest.approx(1.0, abs=1e-12)


def test_polarisation_of_motion_alike_in_all_directions_and_of_none():
    angle = 2 * np.pi * TIME[:-1]
    together = np.sin(angle), np.sin(2 * angle), np.sin(3 * angle)
    axes = ms.principal_axes(*together)
    assert (axes.rectilinearity, axes.planarity) == pytest.approx((0.0, 0.0), abs=1e-9)
    assert np.isnan(ms.principal_axes([0.0, 0.0], [0.0, 0.0]).rectilinearity)
    with pytest.raises(InputError, match="two or three"):
        ms.principal_axes(SINUSOID)


@given(MOTIONS)
def test_motion_along_principal_axes_is_uncorrelated_and_keeps_its_energy(motion):
    other = np.cumsum(motion) * 0.1
    axes = ms.principal_axes(motion, other)
    along = axes.turned(motion, other)
    total = (motion**2).sum() + (other**2).sum()
    assert abs(along[0] @ along[1]) <= 1e-9 * total + 1e-300
    assert (along**2).sum() == pytest.approx(total, rel=1e-9)


# Laws


@given(MOTIONS, st.floats(0.1, 5))
def test_each_part_is_at_most_the_whole(motion, threshold):
    assume(not 0.0 < np.abs(motion).max() < 1e-100)  # whose square is no number
    whole = cumulative_absolute_velocity(motion, DT)
    slack = 1e-9 * whole + 1e-12
    above = cumulative_absolute_velocity(motion, DT, threshold)
    assert above <= whole + slack
    assert ms.standardized_cumulative_absolute_velocity(motion, DT) <= whole + slack
    # The integral of a is nowhere more than that of |a|; and by Cauchy and Schwarz CAV² <= D times the integral of a².
    velocity = np.cumsum(DT * (motion[1:] + motion[:-1]) / 2)
    assert np.abs(velocity).max() <= whole + slack
    span = (len(motion) - 1) * DT
    assert whole**2 <= span * arias_intensity(motion, DT) * 2 * G / np.pi * (1 + 1e-9)
    uniform, bracketed = ms.uniform_duration(motion, DT, threshold), ms.bracketed_duration(motion, DT, threshold)[1]
    assert -1e-12 <= uniform <= bracketed + 1e-9
    assert bracketed <= span + 1e-9
    assert threshold * uniform <= above + 1e-9


@given(MOTIONS, st.integers(0, 50), st.integers(0, 50))
def test_zeros_around_a_motion_add_nothing(motion, before, after):
    motion = np.concatenate([[0.0], motion, [0.0]])
    padded = np.concatenate([np.zeros(before), motion, np.zeros(after)])
    for total in (
        arias_intensity, cumulative_absolute_velocity, ms.squared_velocity_integral, ms.effective_cycles,
        ms.sustained_maximum, lambda a, dt: cumulative_absolute_velocity(a, dt, 1.0),
        lambda a, dt: significant_duration(a, dt)[1], lambda a, dt: ms.uniform_duration(a, dt, 1.0),
        lambda a, dt: ms.bracketed_duration(a, dt, 1.0)[1], lambda a, dt: ms.effective_duration(a, dt)[1],
        ms.rms_acceleration, ms.characteristic_intensity,
    ):  # fmt: skip
        arguments = () if total in (ms.effective_cycles, ms.sustained_maximum) else (DT,)
        assert total(padded, *arguments) == pytest.approx(total(motion, *arguments), rel=1e-6, abs=1e-9)


@given(MOTIONS)
def test_rainflow_counts_every_reversal_once(motion):
    cycles = ms.rainflow(motion)
    # Two half-cycles to a cycle, and one range between each two reversals.
    moving = motion[np.flatnonzero(np.diff(motion, prepend=np.nan))]
    turns = 2 + (np.diff(np.sign(np.diff(moving))) != 0).sum() if moving.size > 1 else 1
    assert 2 * cycles.count.sum() == turns - 1
    assert cycles.range.max(initial=0.0) == pytest.approx(np.ptp(motion), rel=1e-12)
    assert (cycles.range >= 0).all()


# In all directions


def test_rotated_measures_are_percentiles_over_180_directions():
    rng = np.random.default_rng(4)
    one, two = rng.standard_normal((2, 600)) * np.hanning(600) * np.array([[2.0], [1.0]])
    turned = [np.cos(t) * one + np.sin(t) * two for t in np.deg2rad(np.arange(180))]
    for function, alone in (
        (ms.rotated_arias_intensity, lambda a: arias_intensity(a, DT)),
        (ms.rotated_cumulative_absolute_velocity, lambda a: cumulative_absolute_velocity(a, DT)),
        (ms.rotated_significant_duration, lambda a: significant_duration(a, DT)[1]),
    ):
        expected = np.percentile([alone(a) for a in turned], [0, 50, 100])
        np.testing.assert_allclose(function(one, two, DT, percentiles=(0, 50, 100)), expected, rtol=1e-9)


def test_rotated_measures_of_motion_on_a_line_and_on_a_circle_in_closed_form():
    still = np.zeros_like(SINUSOID)
    # On a line the measure in a direction t away is cos² t, or |cos t|, of that along it: in the median 1/2, cos 45°.
    for angle in (0.0, 20.0, 75.0):  # whatever the orientation of the sensor
        c, s = np.cos(np.deg2rad(angle)), np.sin(np.deg2rad(angle))
        found = ms.rotated_arias_intensity(c * SINUSOID, s * SINUSOID, DT, (50, 100))
        np.testing.assert_allclose(found / arias_intensity(SINUSOID, DT), [0.5, 1.0], rtol=2e-2)
        cav = ms.rotated_cumulative_absolute_velocity(c * SINUSOID, s * SINUSOID, DT, (50, 100))
        np.testing.assert_allclose(cav / cumulative_absolute_velocity(SINUSOID, DT), [0.5**0.5, 1.0], rtol=2e-2)
    assert ms.rotated_significant_duration(SINUSOID, still, DT)[0] == pytest.approx(
        significant_duration(SINUSOID, DT)[1], rel=1e-6
    )
    with pytest.raises(InputError, match="not a pair"):
        ms.rotated_arias_intensity(SINUSOID, SINUSOID[:-1], DT)


# Filtered incremental velocity


@pytest.mark.parametrize(("wave", "period"), [(10.0, 1.0), (4.0, 2.0), (1.5, 1.0)])
def test_filtered_incremental_velocity_of_a_sinusoid_in_closed_form(wave, period):
    # The increment over a window w of A sin(2 pi t / P) swings by A P / pi sin(pi w / P); the Butterworth gain beside.
    dt, alpha, beta = 0.002, 0.7, 0.85
    a = 3.0 * np.sin(2 * np.pi * np.arange(round(12 * wave / dt)) * dt / wave)
    tan = np.tan(np.pi * dt / wave) / np.tan(np.pi * beta / period * dt)
    swing = 3.0 * wave / np.pi * np.sin(np.pi * alpha * period / wave) / np.sqrt(1 + tan**4)
    assert ms.filtered_incremental_velocity(a, dt, period) == pytest.approx(3 * swing, rel=0.03)


def test_filtered_incremental_velocity_takes_the_larger_side_and_no_more_than_three_peaks():
    dt = 0.005
    t = np.arange(8000) * dt

    def bump(at, size):
        return size * np.exp(-(((t - at) / 0.8) ** 2))

    one = ms.filtered_incremental_velocity(bump(5, 1.0), dt, 1.0)
    three = ms.filtered_incremental_velocity(bump(5, 1.0) + bump(15, 2.0) + bump(25, 3.0), dt, 1.0)
    assert three == pytest.approx(6 * one, rel=1e-3)
    four = ms.filtered_incremental_velocity(bump(5, 1.0) + bump(15, 2.0) + bump(25, 3.0) + bump(35, 0.5), dt, 1.0)
    assert four == pytest.approx(three, rel=1e-3)
    mixed = bump(5, 1.0) - bump(15, 2.0) + bump(25, 0.5)
    assert ms.filtered_incremental_velocity(mixed, dt, 1.0) == ms.filtered_incremental_velocity(-mixed, dt, 1.0)
    assert ms.filtered_incremental_velocity(mixed, dt, 1.0) == pytest.approx(2 * one, rel=0.02)
    with pytest.raises(InputError, match="Nyquist"):
        ms.filtered_incremental_velocity(mixed, dt, 0.008)


# Velocity pulses: known pulses in closed form, on simulated motion without any.


def simulated(seed, n=4000, dt=0.01):
    """Velocity of noise under an envelope, as of a source with a corner at 0.5 Hz; its peak is 1 m/s."""
    rng = np.random.default_rng(seed)
    f = np.fft.rfftfreq(n, dt)
    corner = (f / 0.5) ** 2
    band = corner / (1 + corner) / np.maximum(f, 0.01) * (f < 10)
    t = np.arange(n) * dt
    v = np.fft.irfft(np.fft.rfft(rng.standard_normal(n)) * band, n) * (t / 10) ** 2 * np.exp(2 - t / 5)
    return v / np.abs(v).max()


@pytest.mark.parametrize("period", [1.0, 2.5, 6.0])
@pytest.mark.parametrize("phase", [0.0, 90.0])
def test_a_pulse_on_simulated_motion_is_found_with_its_period(period, phase):
    # A wave of one and a half cycles under a Gaussian, as near-fault pulses are modelled.
    t = np.arange(4000) * 0.01
    at = 6.0 + period / 2
    pulse = (
        0.8 * np.exp(-(((t - at) / (0.6 * period)) ** 2)) * np.cos(2 * np.pi * (t - at) / period + np.deg2rad(phase))
    )
    for seed in (1, 2, 3):
        found = ms.velocity_pulse(pulse + 0.15 * simulated(seed), 0.01)
        assert found.is_pulse
        assert found.period == pytest.approx(period, rel=0.3)  # a wavelet's period, not the pulse's own
        np.testing.assert_allclose(found.pulse + found.rest, pulse + 0.15 * simulated(seed), atol=1e-12)


def test_simulated_motion_without_a_pulse_has_none():
    marks = [ms.velocity_pulse(simulated(seed), 0.01) for seed in range(120, 140)]
    assert sum(mark.is_pulse for mark in marks) <= 1
    weak = ms.velocity_pulse(0.1 * np.exp(-(((np.arange(2000) * 0.01 - 6) / 0.7) ** 2)), 0.01)
    assert not weak.is_pulse  # under 0.3 m/s


def test_the_wavelet_has_four_vanishing_moments_and_unit_energy():
    from strongmotion.measures.pulse import _daubechies

    wave, centre = _daubechies()
    x = np.linspace(0, 7, wave.size)
    size = np.abs(wave).sum()
    for moment in range(4):
        assert abs((x**moment * wave).sum()) < 1e-6 * size * 7**moment
    assert (wave**2).sum() * 7 / (wave.size - 1) == pytest.approx(1.0, rel=5e-3)
    assert centre == pytest.approx(5 / 7, rel=0.03)  # 0.714 is printed for this wavelet; from memory


# A change of unit: with acceleration a hundred times as large, as cm/s² are, each measure grows by its power.
@pytest.mark.parametrize(
    ("measure", "power"),
    [
        (lambda a, k: arias_intensity(a, DT), 2),
        (lambda a, k: ms.squared_velocity_integral(a, DT), 2),
        (lambda a, k: cumulative_absolute_velocity(a, DT), 1),
        (lambda a, k: cumulative_absolute_velocity(a, DT, 0.5 * k), 1),
        (lambda a, k: ms.standardized_cumulative_absolute_velocity(a, DT, 1.5 * k), 1),
        (lambda a, k: ms.rms_acceleration(a, DT), 1),
        (lambda a, k: ms.characteristic_intensity(a, DT), 1.5),
        (lambda a, k: ms.housner_intensity(a, DT), 1),
        (lambda a, k: ms.velocity_spectrum_intensity(a, DT), 1),
        (lambda a, k: ms.acceleration_spectrum_intensity(a, DT), 1),
        (lambda a, k: ms.effective_peak_acceleration(a, DT), 1),
        (lambda a, k: ms.average_spectral_acceleration(a, DT, (0.2, 2.0)), 1),
        (lambda a, k: ms.energy_spectrum(a, DT, [0.5]).input[0, 0], 2),
        (lambda a, k: ms.energy_spectrum(a, DT, [0.5]).absorbed_velocity[0, 0], 1),
        (lambda a, k: ms.sustained_maximum(a), 1),
        (lambda a, k: ms.rainflow(a).range.sum(), 1),
        (lambda a, k: ms.effective_cycles(a), 0),
        (lambda a, k: significant_duration(a, DT)[1], 0),
        (lambda a, k: ms.bracketed_duration(a, DT, 0.5 * k)[1], 0),
        (lambda a, k: ms.uniform_duration(a, DT, 0.5 * k), 0),
        (lambda a, k: ms.effective_duration(a, DT, 0.01 * k**2, 0.125 * k**2)[1], 0),
        (lambda a, k: ms.mean_period(a, DT), 0),
        (lambda a, k: ms.central_frequency(a, DT), 0),
        (lambda a, k: ms.spectral_bandwidth(a, DT), 0),
        (lambda a, k: ms.predominant_period([0.2, 0.5, 0.9], response_spectrum(a, DT, [0.2, 0.5, 0.9]).psa[0]), 0),
        (lambda a, k: ms.kappa(a, DT).kappa, 0),
        (lambda a, k: ms.kappa(a, DT).amplitude, 1),
        (lambda a, k: ms.rotate(a, -a, (0, 90), 20)[0].max(), 1),
        (lambda a, k: ms.principal_axes(a, a[::-1]).mean_square[0], 2),
        (lambda a, k: ms.principal_axes(a, a[::-1]).rectilinearity, 0),
        (lambda a, k: ms.rotated_arias_intensity(a, a[::-1], DT)[0], 2),
        (lambda a, k: ms.rotated_cumulative_absolute_velocity(a, a[::-1], DT)[0], 1),
        (lambda a, k: ms.rotated_significant_duration(a, a[::-1], DT)[0], 0),
        (lambda a, k: ms.filtered_incremental_velocity(a, DT, 1.0), 1),
        (lambda a, k: ms.velocity_pulse(a, DT).indicator, 0),
        (lambda a, k: ms.velocity_pulse(a, DT).period, 0),
        (lambda a, k: np.abs(ms.velocity_pulse(a, DT).pulse).max(), 1),
    ],
)
def test_a_change_of_unit(measure, power):
    a = np.random.default_rng(8).standard_normal(2000) * np.hanning(2000)
    assert measure(100 * a, 100.0) == pytest.approx(100.0**power * measure(a, 1.0), rel=1e-9)


# A change of the unit of time scales what has seconds in it. Filters and bands of fixed frequencies have no such law.
def test_a_change_of_the_unit_of_time():
    for measure, power in (
        (arias_intensity, 1), (cumulative_absolute_velocity, 1), (ms.squared_velocity_integral, 1),
        (lambda a, dt: significant_duration(a, dt)[1], 1), (ms.characteristic_intensity, 0.5),
        (lambda a, dt: ms.bracketed_duration(a, dt, 1.0)[1], 1), (lambda a, dt: ms.uniform_duration(a, dt, 1.0), 1),
    ):  # fmt: skip
        assert measure(SINUSOID, 60 * DT) == pytest.approx(60.0**power * measure(SINUSOID, DT), rel=1e-9)


# Hostile input

OF_ONE = {
    "arias_history": lambda a: ms.arias_history(a, DT),
    "arias_intensity": lambda a: ms.arias_intensity(a, DT),
    "squared_velocity_integral": lambda a: ms.squared_velocity_integral(a, DT),
    "cumulative_absolute_velocity": lambda a: ms.cumulative_absolute_velocity(a, DT),
    "standardized_cumulative_absolute_velocity": lambda a: ms.standardized_cumulative_absolute_velocity(a, DT),
    "rms_acceleration": lambda a: ms.rms_acceleration(a, DT),
    "characteristic_intensity": lambda a: ms.characteristic_intensity(a, DT),
    "significant_duration": lambda a: ms.significant_duration(a, DT)[1],
    "bracketed_duration": lambda a: ms.bracketed_duration(a, DT, 0.5)[1],
    "uniform_duration": lambda a: ms.uniform_duration(a, DT, 0.5),
    "effective_duration": lambda a: ms.effective_duration(a, DT)[1],
    "effective_cycles": lambda a: ms.effective_cycles(a),
    "rainflow": lambda a: ms.rainflow(a).count.sum(),
    "sustained_maximum": lambda a: ms.sustained_maximum(a),
    "housner_intensity": lambda a: ms.housner_intensity(a, DT),
    "velocity_spectrum_intensity": lambda a: ms.velocity_spectrum_intensity(a, DT),
    "acceleration_spectrum_intensity": lambda a: ms.acceleration_spectrum_intensity(a, DT),
    "effective_peak_acceleration": lambda a: ms.effective_peak_acceleration(a, DT),
    "average_spectral_acceleration": lambda a: ms.average_spectral_acceleration(a, DT, (0.2, 2.0)),
    "energy_spectrum": lambda a: ms.energy_spectrum(a, DT, [1.0]).input[0, 0],
    "energy_history": lambda a: ms.energy_history(a, DT, 1.0)[0],
    "mean_period": lambda a: ms.mean_period(a, DT),
    "central_frequency": lambda a: ms.central_frequency(a, DT),
    "spectral_bandwidth": lambda a: ms.spectral_bandwidth(a, DT),
    "kappa": lambda a: ms.kappa(a, DT),
    "japanese_intensity": lambda a: ms.japanese_intensity(a, a, a, DT),
    "rotate": lambda a: ms.rotate(a, a, (0, 90), 10),
    "radial_transverse": lambda a: ms.radial_transverse(a, a, (0, 90), 10),
    "principal_axes": lambda a: ms.principal_axes(a, a),
    "predominant_period": lambda a: ms.predominant_period(a, a),
    "rotated_arias_intensity": lambda a: ms.rotated_arias_intensity(a, a, DT)[0],
    "rotated_cumulative_absolute_velocity": lambda a: ms.rotated_cumulative_absolute_velocity(a, a, DT)[0],
    "rotated_significant_duration": lambda a: ms.rotated_significant_duration(a, a, DT)[0],
    "filtered_incremental_velocity": lambda a: ms.filtered_incremental_velocity(a, DT, 1.0),
    "velocity_pulse": lambda a: ms.velocity_pulse(a, DT).indicator,
}


@pytest.mark.parametrize("name", OF_ONE)
@pytest.mark.parametrize(
    ("a", "match"),
    [([], "found none"), ([1.0, np.nan, 2.0], "finite"), ([1.0, np.inf], "finite"), ([[1.0, 2.0]], "one dimension"),
     (["one"], "expected numbers")],
)  # fmt: skip
def test_empty_and_unfit_arrays_are_refused(name, a, match):
    with pytest.raises(InputError, match=match):
        OF_ONE[name](a)


def test_every_public_function_is_among_those_fed_with_unfit_arrays():
    functions = {name for name in ms.__all__ if callable(getattr(ms, name)) and name[0].islower()}
    not_of_arrays = {
        "measure_table", "peak_table", "modified_mercalli", "peak_of_mercalli", "mercalli_words", "japanese_words",
    }  # fmt: skip
    assert set(OF_ONE) == functions - not_of_arrays


@pytest.mark.parametrize("dt", [0.0, -0.01, np.nan])
def test_an_interval_that_is_none_is_refused(dt):
    for measure in (arias_intensity, cumulative_absolute_velocity, ms.mean_period, ms.kappa, ms.housner_intensity):
        with pytest.raises(InputError, match="dt"):
            measure(SINUSOID, dt)


def test_one_sample_spans_no_time():
    for name in (
        "arias_intensity", "squared_velocity_integral", "cumulative_absolute_velocity", "rms_acceleration",
        "standardized_cumulative_absolute_velocity", "characteristic_intensity", "significant_duration",
        "bracketed_duration", "uniform_duration", "effective_duration", "effective_cycles", "rainflow",
        "sustained_maximum", "energy_spectrum",
    ):  # fmt: skip
        assert OF_ONE[name]([2.0]) == 0.0, name


def test_a_constant_turns_nowhere_and_shakes_evenly():
    level = np.full(1001, 2.0)
    assert ms.rainflow(level).count.size == 0
    assert ms.effective_cycles(level) == 0.0
    assert (ms.sustained_maximum(level, 1), ms.sustained_maximum(level, 3)) == (2.0, 0.0)
    assert arias_intensity(level, 0.01) == pytest.approx(np.pi / (2 * G) * 4 * 10, rel=1e-12)
    assert cumulative_absolute_velocity(level, 0.01) == pytest.approx(20.0, rel=1e-12)
    assert ms.rms_acceleration(level, 0.01) == pytest.approx(2.0, rel=1e-12)
    assert ms.bracketed_duration(level, 0.01, 1.0) == pytest.approx((0.0, 10.0), rel=1e-12)
    assert ms.uniform_duration(level, 0.01, 2.0) == pytest.approx(10.0, rel=1e-12)


def test_a_motionless_record_measures_nothing():
    still = np.zeros(100)
    for name, measure in OF_ONE.items():
        if name in ("mean_period", "central_frequency", "spectral_bandwidth"):
            assert np.isnan(measure(still)), name
        elif name in ("kappa", "predominant_period"):
            with pytest.raises(InputError):
                measure(still)
        elif name == "japanese_intensity":
            assert measure(still) == -np.inf
        elif name == "principal_axes":
            assert np.isnan(measure(still).rectilinearity)
        else:
            assert np.max(measure(still)) == 0.0, name


# The table


def three(n=4001, velocity=True):
    rng = np.random.default_rng(5)
    return {
        name: Motion(name, a, DT, a / 10 if velocity else None, a / 100 if velocity else None, lead=200, trail=100)
        for name, a in zip(("H1", "H2", "V"), rng.standard_normal((3, n)) * np.hanning(n), strict=True)
    }


@pytest.mark.parametrize("measure", ms.MEASURES, ids=lambda measure: f"{measure.name}-{measure.named}")
def test_every_measure_has_a_unit_and_a_source(measure):
    assert measure.name
    assert measure.unit in {"1", "s", "Hz", "m", "m/s", "m/s2", "m2/s", "m^1.5/s^2.5", "grade"}
    assert re.search(r"\(\d{4}\)|common practice|significant duration", measure.source)
    assert bool(measure.components) == bool(measure.named)


def test_the_table_holds_what_the_functions_give():
    motion = three()
    table = measure_table(motion)
    assert tuple(table.columns) == ms.table.COLUMNS
    assert not table.duplicated(["component", "measure"]).any()
    assert np.isfinite(table.value).all()
    found = table.set_index(["component", "measure"]).value
    for name, component in motion.items():
        a, v, own = component.acceleration, component.velocity, component.unpadded().acceleration
        expected = {
            "PGA": np.abs(a).max(),
            "PGV": np.abs(v).max(),
            "PGD": np.abs(component.displacement).max(),
            "PGV / PGA": 0.1,
            "sustained maximum acceleration, third": ms.sustained_maximum(a, 3),
            "sustained maximum acceleration, fifth": ms.sustained_maximum(a, 5),
            "sustained maximum velocity, third": ms.sustained_maximum(v, 3),
            "sustained maximum velocity, fifth": ms.sustained_maximum(v, 5),
            "Arias intensity": arias_intensity(a, DT),
            "cumulative absolute velocity": cumulative_absolute_velocity(a, DT),
            "standardized cumulative absolute velocity": ms.standardized_cumulative_absolute_velocity(own, DT),
            "cumulative absolute velocity above 5 cm/s2": cumulative_absolute_velocity(a, DT, 0.05),
            "squared-velocity integral": ms.squared_velocity_integral(v, DT),
            "rms acceleration": ms.rms_acceleration(a, DT),
            "characteristic intensity": ms.characteristic_intensity(a, DT),
            "significant duration 5-75 %": significant_duration(a, DT, 0.05, 0.75)[1],
            "significant duration 5-95 %": significant_duration(a, DT)[1],
            "bracketed duration": ms.bracketed_duration(a, DT, 0.05 * G)[1],
            "uniform duration": ms.uniform_duration(a, DT, 0.05 * G),
            "effective duration": ms.effective_duration(a, DT)[1],
            "effective cycles": ms.effective_cycles(a),
            "mean period": ms.mean_period(a, DT),
            "central frequency": ms.central_frequency(a, DT),
            "spectral bandwidth": ms.spectral_bandwidth(a, DT),
            "kappa": ms.kappa(own, DT).kappa,
            "standard error of kappa": ms.kappa(own, DT).standard_error,
            "Housner spectrum intensity": ms.housner_intensity(a, DT),
            "velocity spectrum intensity": ms.velocity_spectrum_intensity(a, DT),
            "acceleration spectrum intensity": ms.acceleration_spectrum_intensity(a, DT),
            "effective peak acceleration": ms.effective_peak_acceleration(a, DT),
        }
        spectrum = response_spectrum(a, DT, ms.table.PERIODS, quantities=["psa"]).psa[0]
        expected["predominant period"] = ms.predominant_period(ms.table.PERIODS, spectrum)
        assert found[name].to_dict() == pytest.approx(expected, rel=1e-12)
    one, two, up = (motion[name].acceleration for name in ("H1", "H2", "V"))
    assert found["horizontal", "Arias intensity"] == pytest.approx(arias_intensity(one, DT) + arias_intensity(two, DT))
    for measure, function in (
        ("Arias intensity", ms.rotated_arias_intensity),
        ("cumulative absolute velocity", ms.rotated_cumulative_absolute_velocity),
        ("significant duration 5-95 %", ms.rotated_significant_duration),
    ):
        assert found["RotD50", measure] == function(one, two, DT)[0]
    assert found["all", "Japanese seismic intensity"] == ms.japanese_intensity(one, two, up, DT)
    assert found["all", "rectilinearity"] == ms.principal_axes(one, two, up).rectilinearity
    for relation in ("Wald 1999", "Worden 2012"):
        for quantity, size in (("PGA", 1.0), ("PGV", 0.1)):
            peak = size * max(np.abs(one).max(), np.abs(two).max())
            grade = found["horizontal", f"Modified Mercalli intensity from {quantity}, {relation[-4:]}"]
            assert grade == ms.modified_mercalli(peak, quantity, relation)[0]


def test_the_table_leaves_out_what_the_motion_lacks():
    whole, flat = measure_table(three()), measure_table(three(velocity=False))
    missing = set(whole.measure) - set(flat.measure)
    assert missing == {measure.name for measure in ms.MEASURES if measure.needs != "acceleration"}
    lone = measure_table({"H1": three()["H1"]})
    assert set(lone.component) == {"H1"}


def test_the_table_marks_what_is_not_usable():
    class Long:
        def holds(self, period):
            return np.asarray(period) >= 0.2

    class Everything:
        def holds(self, period):
            return np.asarray(period) > 0

    bands = {"H1": Long(), "H2": Everything(), "V": Everything()}
    table = measure_table(three(), bands, unfit={"V"})
    usable = table.groupby("component").usable
    assert not usable.any()["H1"]  # every measure needs periods under 0.2 s
    assert usable.all()["H2"]
    assert not usable.any()["V"]
    assert not usable.any()["horizontal"]
    assert not measure_table(three(), unfit={""}).usable.any()


def test_the_threshold_and_the_band_of_kappa_are_settings():
    motion = three()
    changed = MeasuresSettings(threshold=0.1, kappa_band=(15.0, 30.0))
    found = measure_table(motion, settings=changed).set_index(["component", "measure"]).value
    a = motion["H1"].acceleration
    assert found["H1", "uniform duration"] == ms.uniform_duration(a, DT, 0.1 * G)
    own = motion["H1"].unpadded().acceleration
    assert found["H1", "kappa"] == ms.kappa(own, DT, (15.0, 30.0)).kappa


@pytest.mark.parametrize("samples", [1, 2, 6])
def test_a_record_too_short_for_a_measure_has_no_number_there(samples):
    a = np.linspace(1.0, 2.0, samples)
    table = measure_table({name: Motion(name, a, 0.02, a, a) for name in ("H1", "H2", "V")})
    lost = set(table.measure[table.value.isna()])
    assert {"kappa", "standard error of kappa", "Japanese seismic intensity"} <= lost
    assert not table.usable[table.value.isna()].any()
    assert np.isfinite(table.value[table.measure == "Arias intensity"]).all()


def test_the_table_refuses_what_is_not_finite():
    motion = three()
    motion["H2"].acceleration[7] = np.nan
    with pytest.raises(InputError, match=r"H2 acceleration: .*index 7"):
        measure_table(motion)


def test_a_peak_has_one_band():
    time = np.arange(6000) * 0.01
    shaking = np.where(time > 15, np.sin(7 * time) * np.exp(-0.2 * (time - 15)), 0.0)
    noise = np.random.default_rng(3).normal(0, 1e-3, time.size)
    result = process(Record((Component("H1", shaking + noise, dt=0.01),)))
    peaks = result.peaks.set_index("quantity")[["band_low", "band_high"]]
    measures = result.measures.set_index("measure")[["band_low", "band_high"]]
    for quantity in ("PGA", "PGV", "PGD"):
        assert measures.loc[quantity].tolist() == peaks.loc[quantity].tolist()
    with pytest.raises(InputError, match=r"expected a Record, found str.*read\(file\)"):
        process("quay.csv")
    with pytest.raises(InputError, match=r"expected Settings, found str.*Settings.load"):
        process(result.record, "mine.toml")


def test_the_predominant_period_is_the_top_of_a_parabola_on_uneven_periods():
    """Ordinates of 2 - (ln T - ln 0.3)² are largest at 0.3 s, wherever the three periods about it lie."""
    periods = np.array([0.12, 0.2, 0.35, 0.9])
    psa = 2.0 - (np.log(periods) - np.log(0.3)) ** 2
    assert ms.predominant_period(periods, psa) == pytest.approx(0.3, rel=1e-12)


def test_planarity_of_three_harmonics_at_right_angles():
    """Harmonics of 3, 2 and 1, whole cycles of different frequencies: mean squares 4.5, 2 and 0.5."""
    time = np.arange(4000) / 4000
    axes = ms.principal_axes(*(size * np.sin(2 * np.pi * n * time) for size, n in ((3, 5), (2, 7), (1, 11))))
    np.testing.assert_allclose(axes.mean_square, [4.5, 2.0, 0.5], rtol=1e-9)
    assert axes.planarity == pytest.approx(1 - 2 * 0.5 / (4.5 + 2.0), rel=1e-9)
    assert axes.rectilinearity == pytest.approx(1 - (2.0 + 0.5) / (2 * 4.5), rel=1e-9)
    assert ms.principal_axes([1.0, -2.0], [3.0, 1.0]).planarity == 1.0


def test_standard_seconds_begin_at_the_first_recorded_sample_whatever_the_pad():
    recorded = np.full(401, 0.2)
    recorded[150] = 1.0  # of seconds of 200 samples, in the first alone
    padded = Motion("H1", np.concatenate([np.zeros(130), recorded, np.zeros(130)]), DT, lead=130, trail=130)
    table = measure_table({"H1": padded})
    value = table.value[table.measure == "standardized cumulative absolute velocity"].item()
    assert value == pytest.approx(0.2 + 0.8 * DT, rel=1e-9)


def test_intensity_has_the_scatter_of_its_relation_in_its_band():
    """5 to 95 % of a normal distribution: 1.645 standard deviations either way, and what processing leaves open."""
    time = np.arange(4000) * 0.01
    trace = np.where(time > 15, np.exp(-np.clip(time - 15, 0, None) / 4) * np.sin(9 * time), 0.0)
    noise = 1e-4 * np.random.default_rng(1).normal(size=(3, 4000))
    record = Record.from_arrays(dict(zip(("H1", "H2", "V"), trace + noise, strict=True)), dt=0.01, unit="m/s2")
    rows = process(record).measures
    for quantity in ("PGA", "PGV"):
        row = rows[rows.measure == f"Modified Mercalli intensity from {quantity}, 2012"].iloc[0]
        sigma = ms.modified_mercalli(1.0, quantity)[1]
        for half in (row.value - row.band_low, row.band_high - row.value):
            assert 1.645 * sigma <= half < 1.3 * 1.645 * sigma
