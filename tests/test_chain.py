"""Every step of the chain against what it promises, and the whole chain against known truth."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp
from scipy.signal import butter, sosfilt, sosfreqz

from strongmotion import Component, InputError, Record, RecordError, Settings, SettingsError, process
from strongmotion.arrivals import pick_onset, shaking_energy
from strongmotion.chain import (
    Band,
    butterworth_gain,
    check_end,
    correct,
    filter_band,
    find_windows,
    integrate,
    integrate_twice,
    order,
    pad_ends,
    remove_baseline,
    to_acceleration,
)
from strongmotion.chain.corners import signal_and_noise
from strongmotion.chain.order import in_order, step
from strongmotion.chain.windows import Windows
from strongmotion.foundation.units import G
from strongmotion.motion import Entry, Motion

DT = 0.01


def pulse(n: int, onset: float, frequency: float = 1.5):
    """Return acceleration, velocity and displacement of Im(t^4 exp(p t)), in closed form, at rest before and after."""
    t = np.clip(np.arange(n) * DT - onset, 0.0, None)
    p = -1.0 + 2j * np.pi * frequency
    decay = np.exp(p * t) / 300.0
    return (
        ((12 * t**2 + 8 * p * t**3 + p**2 * t**4) * decay).imag,
        ((4 * t**3 + p * t**4) * decay).imag,
        (t**4 * decay).imag,
    )


def shaking(n: int = 6000, onset: float = 15.0, seed: int = 3, noise: float = 1e-4):
    """Return the acceleration of a pulse that sets in at `onset` s, m/s², in weak noise."""
    return pulse(n, onset)[0] + np.random.default_rng(seed).normal(0.0, noise, n)


def one(acceleration, **more) -> Record:
    return Record((Component("H1", acceleration, dt=DT, **more),))


def no_filter(**more) -> Settings:
    return Settings.from_dict({"filter": {"low_cut": 0, "high_cut": 0}, **more})


def test_counts_become_acceleration_by_the_sensitivity():
    component = Component("H1", np.array([0, 1000, -500], dtype=np.int32), dt=DT, unit="counts", sensitivity=250.0)
    assert to_acceleration(component).acceleration.tolist() == [0.0, 4.0, -2.0]


@pytest.mark.parametrize(("unit", "factor"), [("g", G), ("gal", 0.01), ("m/s2", 1.0)])
def test_every_unit_becomes_m_s2(unit, factor):
    component = Component("H1", np.array([0.0, 1.0]), dt=DT, unit=unit)
    assert to_acceleration(component).acceleration[1] == factor


def test_counts_without_sensitivity_are_refused_with_the_remedy():
    with pytest.raises(RecordError, match=r"H1 is in counts, but its sensitivity is unknown.*StationXML"):
        process(one(np.arange(100), unit="counts"))


def test_onset_is_found_within_a_tenth_of_a_second():
    windows, _, findings = find_windows([Motion("H1", shaking(), DT)], Settings().onset)
    assert windows.onset * DT == pytest.approx(15.0, abs=0.1)
    assert windows.noise * DT == pytest.approx(14.5, abs=0.1)
    assert findings == ()


def test_onset_ignores_an_offset_of_the_zero_line():
    plain, _, _ = find_windows([Motion("H1", shaking(), DT)], Settings().onset)
    offset, _, _ = find_windows([Motion("H1", shaking() + 3.0, DT)], Settings().onset)
    assert abs(plain.onset - offset.onset) <= 1


def test_given_onset_wins():
    settings = Settings.from_dict({"onset": {"time": 12.0}})
    windows, entry, _ = find_windows([Motion("H1", shaking(), DT)], settings.onset)
    assert windows.onset == 1200
    assert "given in the settings" in entry.what


def test_record_that_starts_in_the_shaking_has_no_noise_window():
    windows, _, findings = find_windows([Motion("H1", shaking()[1550:], DT)], Settings().onset)
    assert windows.pre_event is None
    assert [finding.name for finding in findings] == ["late start"]


@pytest.mark.parametrize(("mean", "expected"), [("auto", 0.25), ("pre-event", 0.25), ("whole", 0.5), ("none", 0.0)])
def test_baseline_takes_the_mean_it_says(mean, expected):
    acceleration = np.concatenate((np.full(500, 0.25), np.full(500, 0.75)))
    settings = Settings.from_dict({"baseline": {"mean": mean}}).baseline
    corrected = remove_baseline(Motion("H1", acceleration, DT), Windows(onset=500, noise=500), settings)
    entry = list(corrected.history)[-1]
    assert entry.values["mean_m_s2"] == pytest.approx(expected, abs=1e-15)
    np.testing.assert_allclose(corrected.acceleration, acceleration - expected, atol=1e-15)


def test_velocity_trend_is_removed():
    time = np.arange(2000) * DT
    wave = np.sin(2 * np.pi * time)
    settings = Settings.from_dict({"baseline": {"mean": "none", "velocity_trend": True}}).baseline
    corrected = remove_baseline(Motion("H1", wave + 0.03, DT), Windows(0, 0), settings)
    slope = list(corrected.history)[-1].values["velocity_slope_m_s2"]
    assert slope == pytest.approx(0.03, rel=0.03)
    np.testing.assert_allclose(corrected.acceleration, wave + 0.03 - slope, atol=1e-15)


# Converse & Brady (1992): pads of 1.5 n / f_c in all.
@pytest.mark.parametrize(("order", "corner"), [(4, 0.1), (2, 0.05), (8, 0.5)])
def test_pads_are_as_long_as_converse_and_brady_advise(order, corner):
    padded = pad_ends(Motion("H1", shaking(), DT), corner, order, Settings().taper)
    assert (padded.lead + padded.trail) * DT >= 1.5 * order / corner - 2 * DT
    assert padded.lead * DT == pytest.approx(0.75 * order / corner, abs=DT)
    assert not padded.acceleration[: padded.lead].any()


def test_ends_are_cut_at_zero_crossings_and_nowhere_else():
    acceleration = np.cos(2 * np.pi * 0.9 * np.arange(1000) * DT + 0.3)
    padded = pad_ends(Motion("H1", acceleration, DT), 1.0, 4, Settings().taper)
    inside = padded.acceleration[padded.window]
    changed = np.flatnonzero(inside != acceleration)
    first = np.flatnonzero(acceleration < 0)[0]
    assert changed[changed < 500].tolist() == list(range(first))
    assert np.abs(np.diff(padded.acceleration)).max() <= 2 * np.pi * 0.9 * DT  # no jump beyond the motion's own


def test_end_without_a_crossing_is_tapered():
    padded = pad_ends(Motion("H1", np.ones(1000), DT), 1.0, 4, Settings().taper)
    assert np.abs(np.diff(padded.acceleration)).max() < 0.02


# The Butterworth formula (Butterworth, 1930) through scipy.signal's own evaluation of the analogue prototype.
@pytest.mark.parametrize("order", [2, 4, 7])
def test_gain_is_that_of_the_analogue_butterworth(order):
    from scipy.signal import freqs

    frequency = np.geomspace(1e-3, 50.0, 200)
    for corner, kind, ours in (
        (0.1, "highpass", butterworth_gain(frequency, 0.1, 0.0, order)),
        (25.0, "lowpass", butterworth_gain(frequency, 0.0, 25.0, order)),
    ):
        b, a = butter(order, 2 * np.pi * corner, kind, analog=True)
        _, response = freqs(b, a, 2 * np.pi * frequency)
        np.testing.assert_allclose(ours, np.abs(response), rtol=1e-9)


@pytest.mark.parametrize("corner", [0.1, 0.5])
def test_acausal_filter_has_the_stated_gain_at_zero_phase(corner):
    """An impulse comes out as the inverse transform of the gain: its own transform is real and equal to it."""
    impulse = np.zeros(2**16)
    impulse[2**15] = 1.0
    filtered = filter_band(Motion("H1", impulse, DT), Band(corner, 20.0, 50.0, 0.7), 4, "acausal")
    spectrum = np.fft.rfft(np.roll(filtered.acceleration, -(2**15)))
    expected = butterworth_gain(np.fft.rfftfreq(2**16, DT), corner, 20.0, 4)
    np.testing.assert_allclose(spectrum, expected, atol=1e-9)


def test_causal_filter_is_scipys_and_does_not_look_ahead():
    impulse = np.zeros(2**15)
    impulse[1000] = 1.0
    filtered = filter_band(Motion("H1", impulse, DT), Band(0.2, 0.0, 50.0, 0.7), 4, "causal").acceleration
    assert not filtered[:1000].any()
    frequency, response = sosfreqz(butter(4, 0.2, "highpass", fs=1 / DT, output="sos"), worN=4096, fs=1 / DT)
    ours = np.abs(np.exp(-2j * np.pi * np.outer(frequency[:40], np.arange(2**15) * DT)) @ filtered)
    np.testing.assert_allclose(ours, np.abs(response[:40]), atol=1e-9)


def test_causal_high_cut_has_the_stated_gain_at_its_corner():
    impulse = np.zeros(2**15)
    impulse[1000] = 1.0
    filtered = filter_band(Motion("H1", impulse, DT), Band(0.0, 12.5, 50.0, 0.7), 4, "causal").acceleration
    gain = np.abs(np.fft.rfft(filtered))
    frequency = np.fft.rfftfreq(2**15, DT)
    assert gain[np.argmin(np.abs(frequency - 12.5))] == pytest.approx(np.sqrt(0.5), rel=1e-6)
    assert gain[0] == pytest.approx(1.0, rel=1e-9)


# Boore & Akkar (2003): acausal filtering leaves the response well inside the band nearly untouched by the corner.
def test_acausal_spectra_are_less_sensitive_to_the_corner_than_causal_ones():
    time = np.arange(12000) * DT
    noise = np.random.default_rng(11).normal(0.0, 1.0, time.size)
    acceleration = noise * np.exp(-0.5 * ((time - 40.0) / 6.0) ** 2)
    change = {}
    for phase in ("acausal", "causal"):
        psa = []
        for corner in (0.04, 0.12):
            settings = Settings.from_dict(
                {"filter": {"low_cut": corner, "high_cut": 0, "phase": phase}, "spectra": {"periods": [2.0, 3.0, 4.0]}}
            )
            psa.append(process(one(acceleration), settings).spectra.psa.to_numpy())
        change[phase] = np.abs(psa[1] / psa[0] - 1).max()
    assert change["acausal"] < 0.03
    assert change["causal"] > 2 * change["acausal"]


@pytest.mark.parametrize(
    ("chosen", "message"),
    [
        ({"low_cut": 60.0}, "corner 60 Hz is not below the Nyquist frequency 50 Hz"),
        ({"low_cut": 10.0, "high_cut": 5.0}, "low-cut 10 Hz is not below the high-cut 5 Hz"),
    ],
)
def test_impossible_corners_are_refused(chosen, message):
    with pytest.raises(SettingsError, match=message):
        process(one(shaking()), Settings.from_dict({"filter": chosen}))


def test_integration_is_exact_for_a_parabola_of_velocity_and_a_cubic_of_displacement():
    time = np.arange(1000) * DT
    velocity, displacement = integrate_twice(3.0 - 0.5 * time, DT)
    np.testing.assert_allclose(velocity, 3.0 * time - 0.25 * time**2, rtol=1e-11, atol=1e-13)
    np.testing.assert_allclose(displacement, 1.5 * time**2 - time**3 / 12, rtol=1e-11, atol=1e-13)


def test_integration_of_a_sinusoid_converges_as_the_square_of_the_step():
    errors = []
    for dt in (0.01, 0.005):
        time = np.arange(round(10 / dt) + 1) * dt
        velocity, _ = integrate_twice(np.sin(time), dt)
        errors.append(np.abs(velocity - (1 - np.cos(time))).max())
    assert errors[0] / errors[1] == pytest.approx(4.0, rel=0.01)


def test_end_check_speaks_only_when_the_motion_does_not_come_to_rest():
    still = integrate(Motion("H1", pulse(6000, 5.0)[0], DT))
    drifting = integrate(Motion("H1", np.ones(1000), DT))
    assert check_end(still)[1] == ()
    assert check_end(drifting)[1][0].name == "unsettled end"


STEPPED = shaking(8000) + np.where(np.arange(8000) * DT > 20.0, 0.03, 0.0)


@pytest.mark.parametrize("phase", ["acausal", "causal"])
def test_a_step_of_the_baseline_left_in_puts_displacement_in_doubt(phase):
    settings = Settings.from_dict({"baseline": {"shift": False}, "filter": {"phase": phase, "low_cut": 0.03}})
    found = {name: {finding.name for finding in process(one(acceleration), settings).findings} for name, acceleration in
             (("clean", shaking(8000)), ("stepped", STEPPED))}  # fmt: skip
    assert "displacement in doubt" not in found["clean"]
    assert "displacement in doubt" in found["stepped"]


# Boore (2005): without room for the filter's transients displacement is spoiled; with pads it comes to rest.
def test_padded_displacement_comes_to_rest():
    result = process(one(shaking(onset=3.0)[:2500]), Settings.from_dict({"filter": {"low_cut": 0.1}}))
    motion = result.motion["H1"]
    peak = np.abs(motion.displacement).max()
    assert abs(motion.displacement[-1]) < 0.01 * peak
    assert abs(motion.velocity[-1]) < 0.01 * np.abs(motion.velocity).max()


def test_true_motion_is_recovered_from_offset_noise_and_counts():
    truth, velocity, displacement = pulse(8000, 15.0)
    spoiled = truth + 0.02 + np.random.default_rng(5).normal(0.0, 2e-4, truth.size)
    record = one(np.round(spoiled * 1e5).astype(np.int32), unit="counts", sensitivity=1e5)
    result = process(record)
    peaks = result.peaks.set_index("quantity").value
    assert peaks["PGA"] == pytest.approx(np.abs(truth).max(), rel=0.01)
    assert peaks["PGV"] == pytest.approx(np.abs(velocity).max(), rel=0.01)
    assert peaks["PGD"] == pytest.approx(np.abs(displacement).max(), rel=0.02)


def test_both_horizontals_share_the_low_cut_and_the_vertical_has_its_own():
    parts = [
        Component(name, shaking(seed=seed, noise=noise), dt=DT)
        for name, seed, noise in (("H1", 1, 1e-4), ("H2", 2, 3e-3), ("V", 3, 1e-4))
    ]
    band = correct(Record(tuple(parts)), Settings()).usable_band
    assert band["H1"].low_cut == band["H2"].low_cut == band["horizontal"].low_cut
    assert band["V"].low_cut < band["H1"].low_cut


def test_user_corners_win_and_the_history_says_so():
    settings = Settings.from_dict({"filter": {"low_cut": 0.2, "high_cut": 20.0}})
    corrected = correct(one(shaking()), settings)
    assert (corrected.usable_band["H1"].low_cut, corrected.usable_band["H1"].high_cut) == (0.2, 20.0)
    entry = next(entry for entry in corrected.history if entry.step == "corners")
    assert entry.what == "Low-cut: given in the settings. High-cut: given in the settings"


def test_record_without_noise_window_falls_back():
    corrected = correct(one(shaking()[1550:]), Settings())
    entry = next(entry for entry in corrected.history if entry.step == "corners")
    assert "noise from the tail" in entry.what
    assert corrected.usable_band["H1"].low_cut >= Settings().filter.fallback_low_cut


def test_record_without_any_quiet_window_models_its_noise_and_falls_back():
    corrected = correct(one(shaking()[1550:1900]), Settings())
    entry = next(entry for entry in corrected.history if entry.step == "corners")
    assert "fallback: no pre-event window" in entry.what
    assert "modelled from the smallest step" in entry.what


def test_noise_alone_is_unfit():
    result = process(one(np.random.default_rng(9).normal(0, 1e-3, 6000)), Settings.from_dict({"onset": {"time": 20}}))
    assert "low signal" in {finding.name for finding in result.findings}
    assert result.severity == "unfit"


def test_every_step_is_in_the_history_with_numbers():
    history = process(one(shaking())).history
    assert [entry.step for entry in history] == [
        "acceleration", "onset", "baseline", "rival baselines", "method", "corners", "pad", "displacement test",
        "filter", "integrate", "below the low-cut", "end check",
    ]  # fmt: skip
    assert all(entry.values for entry in history)


def test_constant_record_is_processed_to_zero_and_found_dead():
    result = process(one(np.full(1000, 7.0)))
    assert {"dead component"} <= {finding.name for finding in result.findings}
    assert np.abs(result.motion["H1"].acceleration).max() < 1e-12
    assert np.isfinite(result.spectra.psa).all()


@pytest.mark.parametrize(
    "values",
    [np.zeros(4000), (np.arange(4000) > 2000) * 1.0, np.eye(1, 4000, 2000)[0], (-1.0) ** np.arange(4000),
     np.arange(4000) * 0.01],
    ids=["zeros", "a step", "a spike", "every sample the other way", "a ramp"],
)  # fmt: skip
def test_what_is_no_shaking_is_unfit_without_a_number_that_is_none(values):
    result = process(Record(tuple(Component(name, values, 0.01, "m/s2") for name in ("H1", "H2", "V"))))
    assert not result.usable_band["H1"].usable
    assert not result.peaks.usable.any()
    assert not any("nan" in f"{one.what} {one.values}" for one in result.findings)


@pytest.mark.parametrize("samples", [2, 3, 5, 10, 50])
def test_very_short_records_are_processed(samples):
    result = process(one(np.sin(np.arange(samples) + 0.5)))
    assert np.isfinite(result.peaks.value).all()


# The chain is linear in the record once onset and corners are given.
@given(st.floats(0.01, 100.0), st.sampled_from([-1.0, 1.0]))
def test_scale_and_sign_pass_through_the_chain(size, sign):
    settings = Settings.from_dict(
        {"onset": {"time": 15.0}, "filter": {"low_cut": 0.1, "high_cut": 0}, "spectra": {"periods": [1.0]}}
    )
    plain = process(one(shaking()), settings)
    scaled = process(one(size * sign * shaking()), settings)
    np.testing.assert_allclose(scaled.peaks.value, plain.peaks.value * size, rtol=1e-9)
    np.testing.assert_allclose(
        scaled.motion["H1"].displacement, plain.motion["H1"].displacement * size * sign, rtol=1e-6, atol=size * 1e-12
    )


@given(st.sampled_from(["g", "cm/s2"]))
def test_a_change_of_unit_changes_nothing(unit):
    factor = {"g": G, "cm/s2": 0.01}[unit]
    plain = process(one(shaking()))
    other = process(one(shaking() / factor, unit=unit))
    np.testing.assert_allclose(other.peaks.value, plain.peaks.value, rtol=1e-9)


@given(
    hnp.arrays(float, 300, elements=st.floats(-10, 10)),
    hnp.arrays(float, 300, elements=st.floats(-10, 10)),
    st.floats(-3, 3),
)
def test_integration_is_linear(a, b, factor):
    combined = integrate_twice(a + factor * b, DT)
    parts = zip(integrate_twice(a, DT), integrate_twice(b, DT), strict=True)
    for whole, (one_part, other_part) in zip(combined, parts, strict=True):
        np.testing.assert_allclose(whole, one_part + factor * other_part, rtol=0, atol=1e-10)


def in_band(low: float, high: float, seed: int, n: int = 12000) -> np.ndarray:
    """Return white shaking between two frequencies after 40 s, m/s², over white noise fifty times weaker."""
    rng = np.random.default_rng(seed)
    frequency = np.fft.rfftfreq(n, DT)
    signal = np.fft.irfft(np.fft.rfft(rng.normal(0.0, 1.0, n)) * ((frequency > low) & (frequency < high)), n)
    signal[:4000] = 0.0
    return signal + rng.normal(0.0, 0.02, n)


AT_40_S = Settings.from_dict({"onset": {"time": 40.0}})


def test_horizontals_without_a_common_band_keep_their_own_and_are_not_rotated():
    parts = (Component("H1", in_band(0.2, 1.0, 1), dt=DT), Component("H2", in_band(5.0, 20.0, 2), dt=DT))
    result = process(Record(parts), AT_40_S)
    assert "no common band" in {finding.name for finding in result.findings}
    assert "horizontal" not in result.usable_band
    assert not result.spectra.component.str.startswith("RotD").any()
    assert not result.peaks.component.str.startswith("RotD").any()


def test_components_not_at_right_angles_are_not_rotated():
    parts = (
        Component("H1", shaking(), dt=DT, azimuth=0.0), Component("H2", shaking(seed=4), dt=DT, azimuth=45.0),
        Component("V", shaking(seed=5), dt=DT),
    )  # fmt: skip
    result = process(Record(parts))
    assert "not at right angles" in {finding.name for finding in result.findings}
    assert not result.peaks.component.str.startswith("RotD").any()
    combined = result.measures[result.measures.component.isin(["horizontal", "all"])]
    assert len(combined) == 4
    assert combined.measure.str.startswith("Modified Mercalli").all()  # of the larger peak: no sum of squares


def test_an_onset_beyond_the_record_is_refused():
    with pytest.raises(SettingsError, match=r"onset.time = 1000.0 s is beyond the record, which ends at 59.99 s"):
        process(one(shaking()), Settings.from_dict({"onset": {"time": 1000.0}}))


def test_a_corner_far_below_what_the_record_holds_is_refused():
    with pytest.raises(SettingsError, match="far below what a record of 60 s can hold"):
        process(one(shaking()), Settings.from_dict({"filter": {"low_cut": 1e-7}}))


def test_corners_do_not_depend_on_the_offset():
    settings = Settings.from_dict({"baseline": {"mean": "none"}})
    plain = correct(one(shaking()), settings).usable_band["H1"]
    offset = correct(one(shaking() + 5.0), settings).usable_band["H1"]
    assert (offset.low_cut, offset.high_cut) == pytest.approx((plain.low_cut, plain.high_cut), rel=1e-9)


def test_a_high_cut_alone_is_padded_too():
    """Shaking at the end must not come round to the start through the transform."""
    acceleration = np.zeros(3000)
    acceleration[2700:] = np.random.default_rng(2).normal(0, 1, 300)
    settings = Settings.from_dict({"filter": {"low_cut": 0, "high_cut": 1.0}, "baseline": {"mean": "none"}})
    motion = process(one(acceleration), settings).motion["H1"].unpadded()
    assert np.abs(motion.acceleration[:200]).max() < 1e-3 * np.abs(motion.acceleration).max()


def test_a_short_record_without_noise_has_no_corner_below_two_cycles():
    band = correct(one(shaking()[1700:2000]), Settings()).usable_band["H1"]
    assert band.low_cut >= 2.0 / 3.0 * (1 - 1e-12)


def test_automatic_corners_lie_where_signal_meets_noise():
    """The corners are the edges of the shaking's band, or beyond them by no more than the smoothing reaches.

    The window of Konno & Ohmachi (1998) first vanishes at a ratio of frequencies of 10^(pi/b).
    """
    reach = 10 ** (np.pi / AT_40_S.filter.smoothing)
    band = correct(one(in_band(0.5, 10.0, 12)), AT_40_S).usable_band["H1"]
    assert 0.5 / reach * 0.95 <= band.low_cut <= 0.5 * 1.05
    assert 10.0 * 0.95 <= band.high_cut <= 10.0 * reach * 1.05


def test_nothing_of_an_unfit_component_is_usable():
    parts = (Component("H1", shaking(), dt=DT), Component("H2", np.zeros(6000), dt=DT))
    table = process(Record(parts)).spectra.set_index("component").usable
    assert table["H1"].any()
    assert not table["H2"].any()
    assert not table["RotD50"].any()


@pytest.mark.parametrize("noise_window", [1500, 3000])
def test_noise_stands_at_one_above_itself_and_grows_towards_low_frequency(noise_window):
    """The same white noise before and after: a ratio of 1, however long the window, and f times it below 2/T."""
    motion = Motion("H1", np.random.default_rng(21).normal(0, 1.0, 24000), DT)
    compared = signal_and_noise(motion, Windows(onset=noise_window + 100, noise=noise_window), 20.0)
    frequency, ratio = compared.frequency, compared.signal / compared.noise
    resolved = frequency > 1.0
    assert np.median(ratio[resolved]) == pytest.approx(1.0, rel=0.1)
    lowest = 2.0 / (noise_window * DT)
    below = frequency < lowest / 2
    assert below.sum() > 10
    steady = ratio[below] / (frequency[below] / lowest)
    assert np.median(steady) == pytest.approx(1.0, rel=0.6)
    assert np.median(ratio[below]) < 0.5


@pytest.mark.parametrize(("part", "usable"), [(0.05, True), (0.2, False)])
def test_a_pre_event_window_loud_as_shaking_is_not_noise(part, usable):
    """Stationary noise whose root mean square is a given part of the shaking's; the limit is a tenth."""
    rng = np.random.default_rng(4)
    motion = Motion("H1", np.concatenate((rng.normal(0, part, 2000), rng.normal(0, 1.0, 3000))), DT)
    windows, _, findings = find_windows([motion], Settings().onset)
    assert (windows.pre_event is not None) == usable
    assert bool(findings) != usable


@pytest.mark.parametrize(("end", "before", "expected"), [
    (0.015, 0.2, set()), (0.03, 0.2, {"unsettled end"}), (0.015, 0.3, {"displacement in doubt"}),
])  # fmt: skip
def test_limits_of_the_end_check(end, before, expected):
    displacement = np.concatenate((np.full(50, before), [1.0], np.full(50, end)))
    motion = Motion("H1", np.ones(101), DT, np.concatenate((np.ones(100), [0.0])), displacement)
    assert {finding.name for finding in check_end(motion, onset=50)[1]} == expected


def test_rotated_spectra_are_marked_by_the_band_of_the_pair():
    parts = (Component("H1", in_band(0.2, 8.0, 5), dt=DT), Component("H2", in_band(0.2, 25.0, 6), dt=DT))
    result = process(Record(parts), AT_40_S)
    band = result.usable_band
    assert band["horizontal"].high_cut == min(band["H1"].high_cut, band["H2"].high_cut) < band["H2"].high_cut
    table = result.spectra
    for name, its in (("H1", "H1"), ("H2", "H2"), ("RotD50", "horizontal"), ("RotD100", "horizontal")):
        rows = table[table.component == name]
        assert rows.usable.tolist() == band[its].holds(rows.period).tolist()
        assert not rows.usable.all()


@pytest.mark.parametrize(("components", "most"), [(1, 10), (3, 1)])
def test_the_picker_seldom_takes_noise_for_an_onset(components, most):
    """Low-passed noise, the hardest kind, with shaking ten times as strong from 50 s; picks in 100 that come early."""
    lowpass = butter(2, 5.0, "lowpass", fs=1 / DT, output="sos")
    early = 0
    for seed in range(100):
        noise = sosfilt(lowpass, np.random.default_rng(seed).normal(0, 1.0, (components, 8000)))
        noise[:, 5000:] *= 10.0
        picked = pick_onset(shaking_energy(list(noise), DT), DT)
        assert picked is not None
        assert picked < 5030
        early += picked < 4900
    assert early <= most


def slowly_wrong() -> Record:
    """Return shaking of 0.06 to 4 Hz from 45 s on, and a baseline shift by 4 mm/s² in it that stays."""
    time = np.arange(14000) * DT
    window = np.exp(-(((time - 62.0) / 8.0) ** 4))
    wave = 0.01 * window * sum(np.sin(2 * np.pi * f * time + f) for f in 0.06 * 2.0 ** np.arange(0.0, 6.5, 0.5))
    noise = np.random.default_rng(5).normal(0.0, 1e-5, len(time))
    return one(np.gradient(np.gradient(wave, DT), DT) + 4e-3 * (time > 62.0) + noise)


def at_rest(part: float) -> Settings:
    return Settings.from_dict(
        {
            "uncertainty": {"bands": False},
            "onset": {"time": 45.0},
            "baseline": {"method": "band-limited", "shift": False},
            "filter": {"displacement_at_rest": part},
        }
    )


def test_the_low_cut_is_raised_until_displacement_is_at_rest():
    lax, strict = (process(slowly_wrong(), at_rest(part)) for part in (100.0, 0.15))
    first, second = (next(e for e in each.history if e.step == "displacement test") for each in (lax, strict))
    assert first.values["displacement_at_rest_m"] > 0.15 * np.abs(lax.motion["H1"].displacement).max()
    assert "raised from" in second.what
    assert strict.usable_band["H1"].low_cut == second.values["low_cut_hz"] > 1.1 * lax.usable_band["H1"].low_cut
    motion = strict.motion["H1"]
    assert np.abs(motion.displacement[: motion.lead + 4500]).max() <= 0.15 * np.abs(motion.displacement).max()


def test_a_given_low_cut_is_not_raised():
    settings = Settings.from_dict({"filter": {"low_cut": 0.05, "displacement_at_rest": 1e-9}})
    result = process(one(shaking()), settings)
    assert result.usable_band["H1"].low_cut == 0.05
    assert not [entry for entry in result.history if entry.step == "displacement test"]


def test_a_low_cut_that_no_rise_mends_stays_and_says_so():
    lax, strict = (process(slowly_wrong(), at_rest(part)) for part in (100.0, 1e-9))
    assert "no higher low-cut corrects it" in next(e for e in strict.history if e.step == "displacement test").what
    assert strict.usable_band["H1"].low_cut == lax.usable_band["H1"].low_cut


def test_a_high_cut_that_takes_the_peak_is_told():
    """Given by hand, or from a window before the onset that is not quiet."""
    settings = Settings.from_dict({"filter": {"low_cut": 0, "high_cut": 2.0}})
    (finding,) = (f for f in process(one(shaking()), settings).findings if f.name == "peak cut")
    kept = np.abs(process(one(shaking()), settings).motion["H1"].acceleration).max()
    whole = np.abs(process(one(shaking()), no_filter()).motion["H1"].acceleration).max()
    assert kept < 0.97 * whole
    assert f"from {whole:.4g} m/s² to {kept:.4g} m/s²" in finding.what
    higher = Settings.from_dict({"filter": {"low_cut": 0, "high_cut": 20.0}})
    assert "peak cut" not in {f.name for f in process(one(shaking()), higher).findings}


def test_a_new_step_says_its_own_place():
    before, new, after = (Entry(name, "", "done") for name in ("pad", "a new step", "filter"))
    with pytest.raises(InputError, match=r"'a new step' has no place in the chain\. Add step\(\"a new step\", place\)"):
        in_order([after, new, before])
    with pytest.raises(InputError, match="both stand at 110"):
        step("a new step", 110)
    assert step("a new step", 85) == "a new step"
    assert [entry.step for entry in in_order([after, new, before])] == ["pad", "a new step", "filter"]
    with pytest.raises(InputError, match="stands at 85 already"):
        step("a new step", 86)
    del order._PLACES["a new step"]
