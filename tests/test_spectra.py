"""Response, rotated and Fourier spectra: laws that hold for all inputs, and references of other making."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from scipy.integrate import solve_ivp
from scipy.linalg import expm

from strongmotion import InputError
from strongmotion.spectra import (
    constant_ductility_spectrum,
    constant_strength_spectrum,
    default_periods,
    fourier_spectrum,
    geometric_mean_spectrum,
    konno_ohmachi,
    response_history,
    response_spectrum,
    rotated_peaks,
    rotated_spectrum,
    yielding_response,
)

DT = 0.01
PERIODS = np.array([0.0, 0.04, 0.1, 0.5, 1.0, 4.0])
QUANTITIES = ("sd", "psv", "psa", "sv", "sa")

samples = arrays(np.float64, st.integers(3, 120), elements=st.floats(-10, 10, width=32))
records = samples.filter(lambda a: np.abs(a).max() > 1e-3)


def shaking(n=1500, seed=0):
    return np.random.default_rng(seed).standard_normal(n) * np.hanning(n)


def same(one, two, rtol=1e-9):
    for quantity in QUANTITIES:
        first, second = getattr(one, quantity), getattr(two, quantity)
        np.testing.assert_allclose(first, second, rtol=rtol, atol=1e-12 * np.abs(second).max())


@given(records, st.floats(1e-3, 1e3))
def test_scale(a, factor):
    one, two = response_spectrum(a, DT, PERIODS), response_spectrum(factor * a, DT, PERIODS)
    for quantity in QUANTITIES:
        np.testing.assert_allclose(getattr(two, quantity), factor * getattr(one, quantity), rtol=1e-9)


@pytest.mark.parametrize("power", [-1000, -660, -201, 201, 660])
def test_scale_where_squares_leave_the_range_of_numbers(power):
    # A power of two changes no digit.
    a, b, factor = shaking(300), shaking(300, seed=1), 2.0**power
    one, two = response_spectrum(a, DT, PERIODS), response_spectrum(factor * a, DT, PERIODS)
    for quantity in QUANTITIES:
        np.testing.assert_array_equal(getattr(two, quantity), factor * getattr(one, quantity))
    np.testing.assert_array_equal(
        rotated_spectrum(factor * a, factor * b, DT, PERIODS).psa, factor * rotated_spectrum(a, b, DT, PERIODS).psa
    )
    strengths = constant_ductility_spectrum(a, DT, [0.1, 1.0], [1, 3])
    # Found by way of logarithms, to 1e-12 of the ductility.
    found = constant_ductility_spectrum(factor * a, DT, [0.1, 1.0], [1, 3])
    np.testing.assert_allclose(found / factor, strengths, rtol=1e-9)
    np.testing.assert_array_equal(
        constant_strength_spectrum(factor * a, DT, [0.1, 1.0], factor * strengths[1, 0]),
        constant_strength_spectrum(a, DT, [0.1, 1.0], strengths[1, 0]),
    )
    history = yielding_response(a, DT, 1.0, strengths[1, 1])
    scaled = yielding_response(factor * a, DT, 1.0, factor * strengths[1, 1])
    assert (scaled.ductility, scaled.peak, scaled.permanent) == (
        history.ductility, factor * history.peak, factor * history.permanent
    )  # fmt: skip
    np.testing.assert_array_equal(scaled.velocity, factor * history.velocity)


@given(records)
def test_sign(a):
    same(response_spectrum(-a, DT, PERIODS), response_spectrum(a, DT, PERIODS))


@given(records, st.integers(1, 90))
def test_waiting_before_the_record_changes_nothing(a, wait):
    # Straight lines: the record starts and ends at 0, so that only its place in time moves.
    a = np.concatenate([[0.0], a, [0.0]])
    late = np.concatenate([np.zeros(wait), a])
    same(
        response_spectrum(late, DT, PERIODS, interpolation="linear"),
        response_spectrum(a, DT, PERIODS, interpolation="linear"),
    )


@given(records, records)
def test_histories_add_up(a, b):
    n = min(a.size, b.size)
    a, b = a[:n], b[:n]
    for period in (0.04, 1.0):
        parts = [response_history(x, DT, period) for x in (a, b, 2 * a + 3 * b)]
        for first, second, both in zip(*parts, strict=True):
            np.testing.assert_allclose(both, 2 * first + 3 * second, atol=1e-11 * np.abs(both).max() + 1e-9)


@given(st.floats(0.5, 2.0))
def test_unit_of_time(factor):
    # Time stretched by k at the same acceleration: displacement grows by k², velocity by k, acceleration stays.
    a = shaking(300)
    one = response_spectrum(a, DT, PERIODS)
    two = response_spectrum(a, factor * DT, factor * PERIODS)
    np.testing.assert_allclose(two.sd, factor**2 * one.sd, rtol=1e-9)
    np.testing.assert_allclose(two.sv, factor * one.sv, rtol=1e-9)
    np.testing.assert_allclose(two.sa, one.sa, rtol=1e-9)


@given(st.integers(0, 359))
def test_rotated_spectra_do_not_depend_on_the_sensors_azimuth(degrees):
    a1, a2 = shaking(300, 1), shaking(300, 2)
    c, s = np.cos(np.deg2rad(degrees)), np.sin(np.deg2rad(degrees))
    one = rotated_spectrum(a1, a2, DT, PERIODS)
    two = rotated_spectrum(c * a1 + s * a2, c * a2 - s * a1, DT, PERIODS)
    np.testing.assert_allclose(two.psa, one.psa, rtol=1e-9)


def windowed_sines(t, duration, highest):
    """Return ten sinusoids up to `highest` Hz under a smooth window."""
    rng = np.random.default_rng(1)
    f, phase, size = rng.uniform(0.3, highest, 10), rng.uniform(0, 6, 10), rng.uniform(0.3, 1, 10)
    window = np.where((t > 0) & (t < duration), np.sin(np.pi * t / duration) ** 4, 0.0)
    return window * sum(a * np.sin(2 * np.pi * q * t + p) for a, q, p in zip(size, f, phase, strict=True))


def truth(period, damping, duration, highest):
    """Largest u, u' and u'' + a by an integrator that knows nothing of samples (DOP853, tolerance 1e-12)."""
    w = 2 * np.pi / period

    def motion(t, state):
        ground = windowed_sines(np.float64(t), duration, highest)
        return state[1], -ground - 2 * damping * w * state[1] - w * w * state[0]

    times = np.linspace(0, duration, 40_001)
    solution = solve_ivp(
        motion, (0, duration), (0, 0), "DOP853", times, rtol=1e-12, atol=1e-15, max_step=min(period, 0.05)
    )
    u, v = solution.y
    return {"sd": np.abs(u).max(), "sv": np.abs(v).max(), "sa": np.abs(2 * damping * w * v + w * w * u).max()}


@pytest.mark.parametrize("samples_in_a_period", [4, 5, 8, 16, 40, 63])
def test_short_periods_of_a_band_limited_record(samples_in_a_period):
    # Content up to a quarter of the sampling rate; the tolerance is 0.1 % down to T = 4 dt.
    duration, period = 3.0, samples_in_a_period * DT
    a = windowed_sines(np.arange(301) * DT, duration, 25.0)
    spectrum = response_spectrum(a, DT, [period])
    assert spectrum.resampled[0] == 4
    for quantity, value in truth(period, 0.05, duration, 25.0).items():
        assert getattr(spectrum, quantity)[0, 0] == pytest.approx(value, rel=1e-3), quantity


@pytest.mark.parametrize("period", [0.7, 2.0])
def test_long_periods_of_a_well_sampled_record(period):
    # Below 1.5 Hz straight lines at 100 samples a second damp by (pi f dt)²/3 at most, 0.07 %.
    a = windowed_sines(np.arange(601) * DT, 6.0, 1.5)
    spectrum = response_spectrum(a, DT, [period])
    assert spectrum.resampled[0] == 1
    for quantity, value in truth(period, 0.05, 6.0, 1.5).items():
        assert getattr(spectrum, quantity)[0, 0] == pytest.approx(value, rel=1e-3), quantity


def test_straight_lines_alone_would_fail_at_short_periods():
    a = windowed_sines(np.arange(301) * DT, 3.0, 25.0)
    straight = response_spectrum(a, DT, [0.05], interpolation="linear")
    assert abs(straight.sd[0, 0] / truth(0.05, 0.05, 3.0, 25.0)["sd"] - 1) > 0.01


def test_a_search_of_the_samples_misses_the_peak():
    # An undamped oscillator under a ramped step swings on for ever, so its true peak is known; T = 8.3 dt.
    t = np.arange(12) * DT
    period, rise = 8.3 * DT, 3 * DT
    a = np.minimum(t / rise, 1)
    x = np.pi * rise / period
    true = (1 + abs(np.sin(x)) / x) * (period / (2 * np.pi)) ** 2
    u, _, _ = response_history(a, DT, period, 0.0, interpolation="linear")
    found = response_spectrum(a, DT, [period], 0.0, interpolation="linear").sd[0, 0]
    assert np.abs(u).max() < 0.99 * true
    assert found == pytest.approx(true, rel=1e-12)


def test_cutting_straight_lines_shorter_changes_nothing():
    a = shaking(200)
    fine = np.interp(np.arange(199 * 4 + 1) / 4, np.arange(200), a)
    periods = [0.02, 0.1, 0.5, 3.0]
    same(
        response_spectrum(a, DT, periods, interpolation="linear"),
        response_spectrum(fine, DT / 4, periods, interpolation="linear"),
        rtol=1e-10,
    )


def test_response_at_period_zero_is_the_largest_sample():
    a = shaking()
    spectrum = response_spectrum(a, DT, [0.0])
    assert spectrum.psa[0, 0] == spectrum.sa[0, 0] == np.abs(a).max()
    assert spectrum.sd[0, 0] == spectrum.psv[0, 0] == spectrum.sv[0, 0] == 0


def test_very_stiff_oscillator_follows_the_band_limited_ground():
    # Ten samples a cycle, its crest halfway between two of them: 1 is reached, cos(pi / 10) = 0.951 is sampled.
    k = np.arange(201) - 100.5
    a = np.cos(0.2 * np.pi * k) * np.exp(-((k / 30) ** 2))
    spectrum = response_spectrum(a, DT, [0.0, 1e-5, 5e-4])
    np.testing.assert_allclose(spectrum.psa[0], [np.abs(a).max(), 1, 1], rtol=2e-3)
    assert spectrum.psa[0, 0] < 0.952


def test_a_motion_that_goes_on_after_the_end_counts():
    a = np.ones(5)
    long = response_spectrum(np.concatenate([a, np.zeros(1000)]), DT, [2.0], interpolation="linear")
    short = response_spectrum(np.concatenate([a, [0.0]]), DT, [2.0], interpolation="linear")
    u, _, _ = response_history(np.concatenate([a, [0.0]]), DT, 2.0, interpolation="linear")
    same(short, long)
    assert short.sd[0, 0] > 3 * np.abs(u).max()


def test_pseudo_spectra_and_shapes():
    spectrum = response_spectrum(shaking(), DT, PERIODS, [0.02, 0.05, 0.1])
    omega = 2 * np.pi / PERIODS[1:]
    for quantity in QUANTITIES:
        assert getattr(spectrum, quantity).shape == (3, 6)
    np.testing.assert_allclose(spectrum.psv[:, 1:], omega * spectrum.sd[:, 1:])
    np.testing.assert_allclose(spectrum.psa[:, 1:], omega**2 * spectrum.sd[:, 1:])
    assert (np.diff(spectrum.sd[:, 1:], axis=0) < 0).all()


def test_only_what_is_asked_for_is_computed():
    spectrum = response_spectrum(shaking(), DT, PERIODS, quantities=["psa"])
    assert spectrum.sd is spectrum.psv is spectrum.sv is spectrum.sa is None
    np.testing.assert_allclose(spectrum.psa, response_spectrum(shaking(), DT, PERIODS).psa, rtol=1e-12)
    assert list(spectrum.table().columns) == ["damping", "period", "psa"]


def test_table_is_long_form():
    spectrum = response_spectrum(shaking(), DT, PERIODS, [0.02, 0.05])
    table = spectrum.table()
    assert list(table.columns) == ["damping", "period", *QUANTITIES]
    row = table.query("damping == 0.05 and period == 0.5")
    assert row.psa.item() == spectrum.psa[1, 3]


def test_any_sequence_of_numbers_will_do():
    whole = [0, 3, -5, 2, 0, 1]
    expected = response_spectrum(np.array(whole, dtype=float), DT, PERIODS)
    for other in (whole, tuple(whole), np.array(whole, dtype=np.float32), np.repeat(whole, 2)[::2]):
        same(response_spectrum(other, DT, PERIODS.tolist()), expected)


def test_threads_do_not_change_the_result():
    a = shaking()
    one, two = (response_spectrum(a, DT, damping=[0.02, 0.05], threads=threads) for threads in (1, 3))
    same(one, two, rtol=1e-13)


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"acceleration": [0.0, np.nan, 1.0]}, "nan at index 1"),
        ({"acceleration": []}, "at least one"),
        ({"acceleration": np.zeros((2, 5))}, "one dimension"),
        ({"acceleration": ["quick"]}, "expected numbers"),
        ({"acceleration": np.array([0.0, 1j])}, "real numbers"),
        ({"acceleration": np.ma.array([0.0, 9.0, 1.0], mask=[False, True, False])}, "masked at index 1"),
        ({"dt": 0.0}, "above 0"),
        ({"dt": -0.01}, "negative"),
        ({"dt": np.inf}, "finite"),
        ({"periods": [1.0, -2.0]}, "-2.0 at index 1"),
        ({"periods": [np.inf]}, "finite"),
        ({"periods": []}, "at least one"),
        ({"damping": -0.05}, "negative"),
        ({"quantities": ["speed"]}, "speed"),
        ({"quantities": []}, "no quantity"),
        ({"interpolation": "cubic"}, "cubic"),
        ({"threads": 0}, "at least 1"),
    ],
)
def test_wrong_input_is_named(change, message):
    given_ = {"acceleration": [0.0, 1.0, 0.0], "dt": DT, "periods": [0.1, 1.0], **change}
    with pytest.raises(InputError, match=message):
        response_spectrum(**given_)


def test_default_periods_are_preferred_numbers():
    # ISO 3: R20 has twenty numbers a decade, among them 1.00, 1.12, 3.15 and 7.10.
    periods = default_periods()
    assert (np.diff(periods) > 0).all()
    assert set(periods) >= {0.0, 0.01, 0.0112, 0.0315, 0.2, 0.3, 0.71, 1.0, 3.0, 3.15, 20.0}
    assert ((periods >= 0.1) & (periods < 1)).sum() == 21
    assert periods[-1] == 20


def test_rotated_spectra_against_every_angle_by_itself():
    # Boore (2010): the percentiles over 180 angles, a degree apart.
    a1, a2 = shaking(seed=1), 0.4 * shaking(seed=2)
    periods = [0.05, 0.3, 0.6]
    every = [
        response_spectrum(np.cos(angle) * a1 + np.sin(angle) * a2, DT, periods, [0.02, 0.05], ["sd"]).sd
        for angle in np.deg2rad(np.arange(180))
    ]
    spectrum = rotated_spectrum(a1, a2, DT, periods, [0.02, 0.05], percentiles=(0, 16, 50, 84, 100))
    np.testing.assert_allclose(spectrum.sd, np.percentile(every, [0, 16, 50, 84, 100], axis=0), rtol=1e-12)


def test_rotated_spectrum_of_one_direction():
    # All motion along one line: a direction at angle x from it sees |cos x| of the peak, and across it there is none.
    a = shaking()
    spectrum = rotated_spectrum(a, np.zeros_like(a), DT, PERIODS)
    alone = response_spectrum(a, DT, PERIODS, quantities=["psa"])
    np.testing.assert_allclose(spectrum.psa[2], alone.psa, rtol=1e-12)
    median = np.median(np.abs(np.cos(np.deg2rad(np.arange(180)))))
    np.testing.assert_allclose(spectrum.psa[1], median * alone.psa, rtol=1e-12)
    assert (spectrum.psa[0] < 1e-12).all()


@given(st.integers(1, 2000))
def test_rotated_peak_against_every_angle(n):
    x1, x2 = np.random.default_rng(n).standard_normal((2, n))
    angles = np.deg2rad(np.arange(180))[:, None]
    every = np.abs(np.cos(angles) * x1 + np.sin(angles) * x2).max(axis=1)
    peaks, samples = rotated_peaks(x1, x2)
    np.testing.assert_allclose(peaks, every, rtol=1e-12)
    at = np.abs(np.cos(angles[:, 0]) * x1[samples] + np.sin(angles[:, 0]) * x2[samples])
    np.testing.assert_allclose(at, every, rtol=1e-12)


def test_rotation_refuses_components_of_different_length():
    with pytest.raises(InputError, match="5 and 4 samples"):
        rotated_spectrum(np.zeros(5), np.zeros(4), DT)
    with pytest.raises(InputError, match="at most 100"):
        rotated_spectrum([1.0], [1.0], DT, percentiles=[101])


@given(records)
def test_fourier_amplitudes_keep_the_energy(a):
    # Parseval: the integral of a² over time is twice that of |A|² over positive frequencies.
    spectrum = fourier_spectrum(a, DT)
    twice = np.full(spectrum.frequency.size, 2.0)
    twice[0] = 1
    if a.size % 2 == 0:
        twice[-1] = 1
    energy = (twice * spectrum.amplitude**2).sum() / (a.size * DT)
    assert energy == pytest.approx(DT * (a**2).sum(), rel=1e-9)


def test_fourier_amplitude_of_a_decaying_pulse():
    # a = exp(-t) from t = 0 has |A(f)| = 1 / sqrt(1 + (2 pi f)²); the half first sample makes a trapezium of the sum.
    t = np.arange(0, 40, 0.001)
    a = np.exp(-t)
    a[0] = 0.5
    spectrum = fourier_spectrum(a, 0.001)
    low = spectrum.frequency < 5
    expected = 1 / np.sqrt(1 + (2 * np.pi * spectrum.frequency[low]) ** 2)
    np.testing.assert_allclose(spectrum.amplitude[low], expected, rtol=1e-4)


def test_smoothing_keeps_a_flat_spectrum_and_halves_a_wiggle():
    frequency = np.linspace(0, 50, 2001)
    centres = np.geomspace(0.5, 40, 30)
    np.testing.assert_allclose(konno_ohmachi(frequency, np.full(2001, 3.0), centres, 40), 3.0, rtol=1e-12)
    wiggle = 3 + (-1.0) ** np.arange(2001)
    assert np.ptp(konno_ohmachi(frequency, wiggle, centres[centres > 5], 20)) < 0.05


def test_smoothed_fourier_spectrum_is_konno_ohmachi_at_its_own_frequencies():
    a = shaking(400)
    plain, smooth = fourier_spectrum(a, DT), fourier_spectrum(a, DT, smoothing=30)
    at = konno_ohmachi(plain.frequency, plain.amplitude, plain.frequency[1:], 30)
    np.testing.assert_allclose(smooth.amplitude[1:], at, rtol=1e-12)
    assert smooth.amplitude[0] == plain.amplitude[0]
    with pytest.raises(InputError, match="centres above 0"):
        konno_ohmachi([1.0], [1.0], [0.0])


@pytest.mark.parametrize("period", [0.025, 0.1, 0.64])
@pytest.mark.parametrize("damping", [0.0, 0.05, 1.0, 5.0])
def test_turning_back_inside_the_very_first_step(period, damping):
    # From rest the velocity is nothing, and its rounding says nothing of where the step leads. Cut fine, it is seen.
    a = np.array([1.0, -1.0, 1.0, -1.0])
    fine = np.interp(np.arange(3 * 400 + 1) / 400, np.arange(4), a)
    spectrum = response_spectrum(a, DT, [period], damping, ["sd"], interpolation="linear")
    exact = response_spectrum(fine, DT / 400, [period], damping, ["sd"], interpolation="linear").sd[0, 0]
    assert spectrum.sd[0, 0] == pytest.approx(exact, rel=1e-9)
    pair = rotated_spectrum(a, 0.5 * a, DT, [period], damping, [100], interpolation="linear")
    assert pair.largest_sd[0, 0] == pytest.approx(np.hypot(1, 0.5) * exact, rel=1e-9)
    assert pair.sd[0, 0, 0] == pytest.approx(
        np.cos(np.arctan(0.5) - np.deg2rad(27)) * np.hypot(1, 0.5) * exact, rel=1e-9
    )


# The matrix exponential of state and load together, at 10 000 instants a step: exact for straight lines, and no search.
@pytest.mark.parametrize("samples_in_a_period", [1.0, 4.0, 70.0])
@pytest.mark.parametrize("damping", [5.0, 10.0, 50.0])
def test_turning_back_inside_a_step_under_heavy_damping(damping, samples_in_a_period):
    period, cuts = samples_in_a_period * DT, 10000
    omega = 2 * np.pi / period
    a = np.zeros(12)
    a[0] = 1.0
    motion = np.array([[0, 1, 0, 0], [-(omega**2), -2 * damping * omega, -1, 0], [0, 0, 0, 1], [0, 0, 0, 0]])
    small = expm(motion * DT / cuts)
    state, states = np.zeros(2), []
    for start, end in itertools.pairwise(a):
        full = np.array([*state, start, (end - start) / DT])
        for _ in range(cuts):
            states.append(full)
            full = small @ full
        state = full[:2]
    u, v = np.array(states).T[:2]
    expected = [np.abs(q).max() for q in (u, v, 2 * damping * omega * v + omega**2 * u)]
    found = response_spectrum(a, DT, [period], damping, interpolation="linear")
    np.testing.assert_allclose([q[0, 0] for q in (found.sd, found.sv, found.sa)], expected, rtol=1e-5)
    # Along 37 degrees the pair moves as the one component does.
    pair = rotated_spectrum(0.8 * a, 0.6 * a, DT, [period], damping, interpolation="linear")
    np.testing.assert_allclose(pair.largest_sd[0, 0], expected[0], rtol=1e-5)


# A power of two only moves the exponent, so every bit of the answer but the exponent must stay.
@pytest.mark.parametrize("exponent", [-600, 600, 900])
def test_samples_of_any_size_give_the_same_bits(exponent):
    one, two = shaking(300, 1), shaking(300, 2)
    factor = 2.0**exponent
    small, large = response_spectrum(one, DT, PERIODS), response_spectrum(factor * one, DT, PERIODS)
    for quantity in QUANTITIES:
        np.testing.assert_array_equal(getattr(large, quantity), factor * getattr(small, quantity))
    turned, turned_large = (rotated_spectrum(f * one, f * two, DT, PERIODS) for f in (1.0, factor))
    np.testing.assert_array_equal(turned_large.psa, factor * turned.psa)
    np.testing.assert_array_equal(turned_large.largest_psa, factor * turned.largest_psa)
    mean, mean_large = (geometric_mean_spectrum(f * one, f * two, DT, PERIODS) for f in (1.0, factor))
    np.testing.assert_allclose(mean_large.psa, factor * mean.psa, rtol=1e-14)


def test_samples_that_are_masked_or_complex_are_refused():
    masked = np.ma.masked_array([0.0, 1.0, -999.0], mask=[False, False, True])
    with pytest.raises(InputError, match="masked at index 2"):
        response_spectrum(masked, DT, [1.0])
    response_spectrum(np.ma.masked_array([0.0, 1.0, 2.0]), DT, [1.0])  # nothing is masked
    with pytest.raises(InputError, match="complex"):
        response_spectrum(np.array([0.0, 1.0j]), DT, [1.0])


def test_unknown_interpolation_is_named_even_where_none_is_needed():
    for compute in (
        lambda: response_spectrum([0.0, 1.0], DT, [0.0], interpolation="cubic"),
        lambda: rotated_spectrum([0.0, 1.0], [0.0, 1.0], DT, [0.0], interpolation="cubic"),
    ):
        with pytest.raises(InputError, match="unknown interpolation 'cubic'"):
            compute()
