"""Findings: seen where they are, silent where they are not."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.signal import butter, sosfilt

import strongmotion as sm
from strongmotion import Component, Finding, Record
from strongmotion.checks import (
    aliasing,
    broken_continuity,
    clipping,
    coarse_quantisation,
    dead_component,
    duplicated_components,
    early_stop,
    examine,
    implausible_amplitude,
    implausible_interval,
    looks_processed,
    negative_sensitivity,
    repeated_block,
    reversed_polarity,
    second_event,
    spikes,
    straight_fill,
    stuck_samples,
    swapped_components,
    tone,
    too_short,
)

WAVE = np.sin(2 * np.pi * 1.3 * np.arange(3000) * 0.01) * np.hanning(3000)


def component(samples):
    return Component("H1", samples, dt=0.01)


@pytest.mark.parametrize("level", [0.5, 0.9, 0.98])
def test_flat_tops_are_found_with_place_and_count(level):
    clipped = np.clip(WAVE, -level, level)
    finding = clipping(component(clipped))
    at_the_limit = np.flatnonzero(np.abs(clipped) == level)
    assert finding is not None
    assert finding.severity == "unfit"
    assert finding.component == "H1"
    assert finding.span == pytest.approx((at_the_limit[0] * 0.01, at_the_limit[-1] * 0.01))
    assert finding.values["samples"] == at_the_limit.size


def test_a_smooth_record_is_not_clipped():
    assert clipping(component(WAVE)) is None


def test_two_equal_samples_at_a_smooth_peak_are_not_clipping():
    coarse = np.round(np.sin(np.pi * (np.arange(11) - 0.5) / 10) * 100)
    assert clipping(component(coarse.astype(int))) is None


def test_quantised_pre_event_zeros_are_not_clipping():
    quiet = np.concatenate((np.zeros(500), WAVE))
    assert clipping(component(np.round(quiet * 1000).astype(int))) is None


def test_a_one_sided_spike_on_zeros_is_not_clipping():
    spike = np.zeros(1000)
    spike[500] = 1.0
    assert clipping(component(spike)) is None


def test_a_constant_record_is_dead_and_not_clipped():
    assert clipping(component(np.full(10, 3))) is None
    finding = dead_component(component(np.full(10, 3)))
    assert finding is not None
    assert "all 10 samples are 3: the record is constant" in finding.what


def test_findings_of_the_reader_come_first():
    note = Finding("truncated", "doubt", "cut off", "late motion is missing", "copy the file again")
    record = Record((component(np.full(300, 3)),), findings=(note,))
    assert [finding.name for finding in examine(record)] == ["truncated", "dead component"]


@pytest.mark.parametrize("amplitude", [50, 200, 500, 1500])
def test_smooth_motion_in_coarse_counts_is_not_clipping(amplitude):
    time = np.arange(6000) * 0.005
    packet = np.sin(2 * np.pi * time) * np.exp(-(((time - 15) / 5) ** 2))
    assert clipping(component(np.round(amplitude * packet).astype(np.int16))) is None


NOISY = np.round(1e5 * (WAVE + np.random.default_rng(2).normal(0, 1e-3, 3000))).astype(int)


def spoiled(fault):
    samples = NOISY.copy()
    fault(samples)
    return component(samples)


def spike(samples):
    samples[1400] += 80_000


def hold(samples):
    samples[1500:1530] = samples[1500]


def hum(samples):
    samples += np.round(2e3 * np.sin(2 * np.pi * 33.0 * np.arange(3000) * 0.01)).astype(int)


@pytest.mark.parametrize(("check", "fault", "span"), [
    (spikes, spike, (14.0, 14.0)), (stuck_samples, hold, (15.0, 15.29)), (tone, hum, None),
])  # fmt: skip
def test_a_fault_is_found_where_it_is_and_not_without_it(check, fault, span):
    assert check(component(NOISY)) is None
    finding = check(spoiled(fault))
    assert finding is not None
    assert finding.component == "H1"
    assert finding.span == (None if span is None else pytest.approx(span, abs=0.02))


def test_the_tone_is_named_by_its_frequency():
    finding = tone(spoiled(hum))
    assert finding is not None
    assert "33.0 Hz" in finding.what


@pytest.mark.parametrize(("counts", "severity"), [(20, "doubt"), (60, "note"), (2000, None)])
def test_too_few_counts_are_coarse(counts, severity):
    finding = coarse_quantisation(component(np.round(counts * WAVE).astype(int)))
    assert (finding.severity if finding else None) == severity


@pytest.mark.parametrize(("unit", "plausible"), [("m/s2", True), ("g", True), ("cm/s2", True)])
def test_a_peak_of_one_is_plausible_in_any_unit(unit, plausible):
    assert (implausible_amplitude(Component("H1", WAVE, dt=0.01, unit=unit)) is None) == plausible


def test_gals_read_as_m_s2_are_implausible():
    finding = implausible_amplitude(Component("H1", 300.0 * WAVE, dt=0.01))
    assert finding is not None
    assert finding.said("g") == f"the peak would be {finding.values['peak_m_s2'] / 9.80665:.3g} g"


@pytest.mark.parametrize(
    ("dt", "severity", "words"),
    [(0.005, None, ""), (0.05, None, ""), (0.06, "doubt", "16.7 Hz"), (1.0, "unfit", "1 Hz"), (5.0, "unfit", "0.2 Hz"),
     (1e-4, None, ""), (5e-5, "doubt", "2e+04 Hz")],
)  # fmt: skip
def test_an_interval_that_no_accelerograph_has_is_found(dt, severity, words):
    finding = implausible_interval(Component("H1", WAVE, dt=dt))
    assert (finding and finding.severity) == severity
    if finding is not None:
        assert f"{dt:g} s, {words}" in finding.what
        assert ("milliseconds" in finding.remedy) == (dt > 0.05)


def test_a_negative_sensitivity_is_found():
    assert negative_sensitivity(Component("H1", WAVE, 0.01, "counts", 4e5)) is None
    assert negative_sensitivity(Component("H1", WAVE, 0.01, "g")) is None
    finding = negative_sensitivity(Component("H1", WAVE, 0.01, "counts", -4e5))
    assert finding is not None
    assert (finding.severity, finding.component) == ("note", "H1")
    assert "-400000 counts per m/s²" in finding.what


def test_a_record_cut_in_the_shaking_stops_early():
    assert early_stop(component(NOISY)) is None
    assert early_stop(component(NOISY[:1600])) is not None


def test_loud_noise_at_the_end_is_not_shaking_cut_off():
    noise = np.random.default_rng(12).normal(0, 0.02, 3000)
    assert early_stop(component(WAVE + noise)) is None
    assert early_stop(component((WAVE + 0.1 * noise)[:1500])) is not None


def test_a_second_event_is_seen():
    quiet = np.random.default_rng(3).normal(0, 10, 1500).astype(int)
    assert second_event(component(NOISY)) is None
    finding = second_event(component(np.concatenate((NOISY, quiet, NOISY))))
    assert finding is not None


@pytest.mark.parametrize("sign", [1, -1])
def test_copies_of_a_component_are_found(sign):
    copied = Record((component(NOISY), Component("H2", sign * NOISY, dt=0.01)))
    (finding,) = duplicated_components(copied)
    assert ("reversed" in finding.what) == (sign < 0)
    other = Component("H2", NOISY[::-1].copy(), dt=0.01)
    assert duplicated_components(Record((component(NOISY), other))) == ()


def test_spikes_near_each_other_do_not_hide_each_other():
    samples = NOISY.copy()
    samples[[1400, 1415, 1440]] += [80_000, -50_000, 60_000]
    finding = spikes(component(samples))
    assert finding is not None
    assert finding.span == pytest.approx((14.0, 14.4))
    assert [finding.values[f"spike_{i}_s"] for i in (1, 2, 3)] == pytest.approx([14.0, 14.15, 14.4])


def test_a_jump_and_a_flat_top_are_no_spikes():
    assert spikes(component(NOISY + 50_000 * (np.arange(3000) > 1400))) is None
    assert spikes(component(np.clip(NOISY, -60_000, 60_000))) is None


def test_a_cut_off_peak_of_two_samples_is_seen_by_its_sides():
    samples = 10 * NOISY
    at, top = int(np.argmax(samples)), int(samples.max()) + 1000
    samples[at : at + 6] = top - np.array([250_000, 0, 0, 250_000, 260_000, 250_000])
    assert clipping(component(samples)) is None  # the sides of a smooth top are alike
    samples[at : at + 6] = top - np.array([250_000, 0, 0, 9_000, 0, 25_000])
    assert clipping(component(samples)) is not None


def test_peaks_cut_off_at_one_sample_each_are_seen_by_their_sharing_the_extreme():
    samples = np.round(1e7 * WAVE + np.random.default_rng(2).normal(0, 1e3, 3000)).astype(int)
    assert clipping(component(samples)) is None
    order = np.argsort(samples)
    first = int(order[-1])
    other = next(int(at) for at in order[::-1] if abs(at - first) > 50)
    samples[[first, other]] = samples.max() + 100_000
    finding = clipping(component(samples))
    assert finding is not None
    assert finding.what.startswith("2 samples in 2 flat tops")
    samples[other] -= 1
    assert clipping(component(samples)) is None


def test_a_top_that_noise_leaves_in_coarse_counts_is_not_clipping():
    """Three equal samples, left by five counts, where noise of half a count adds to the slope."""
    samples = np.round(100 * WAVE + np.random.default_rng(5).normal(0, 0.6, 3000)).astype(int)
    at, top = int(np.argmax(samples)), int(samples.max()) + 2
    samples[at - 3 : at + 5] = top - np.array([4, 1, 1, 0, 0, 0, 5, 12])
    assert clipping(component(samples)) is None
    samples[at - 3 : at + 5] = top - np.array([40, 20, 9, 0, 0, 0, 25, 30])
    assert clipping(component(samples)) is not None


@pytest.mark.parametrize("hertz", [0.5, 2.5, 5.0, 12.5])
def test_a_steady_wave_is_not_clipping(hertz):
    wave = np.sin(2 * np.pi * hertz * np.arange(3000) * 0.01 + 0.3)
    assert clipping(component(wave)) is None
    assert clipping(component(np.round(1e5 * wave).astype(int))) is None


def test_samples_each_given_twice_are_not_clipping():
    assert clipping(component(np.repeat(10 * NOISY, 2))) is None


@pytest.mark.parametrize("bits", [16, 24])
def test_a_peak_at_the_end_of_the_counts_is_clipping(bits):
    samples = np.round(NOISY * (2 ** (bits - 2) / np.abs(NOISY).max())).astype(int)
    assert clipping(component(samples)) is None
    samples[np.argmax(samples)] = 2 ** (bits - 1) - 1
    assert clipping(component(samples)) is not None


def broadband(fall: float, n: int = 3000) -> np.ndarray:
    """Return counts of shaking whose spectrum falls by exp(-fall f), f in Hz, up to 50 Hz."""
    frequency = np.fft.rfftfreq(n, 0.01)
    noise = np.random.default_rng(1).normal(0.0, 1.0, n) * np.exp(-(((np.arange(n) / n - 0.5) / 0.1) ** 2))
    motion = np.fft.irfft(np.fft.rfft(noise) * np.exp(-fall * frequency), n)
    return np.round(1e5 * motion / np.abs(motion).max()).astype(int)


def test_a_spectrum_that_does_not_fall_towards_nyquist_is_noted():
    assert aliasing(component(broadband(0.15))) is None
    finding = aliasing(component(broadband(0.005)))
    assert finding is not None
    assert "50 Hz" in finding.what
    folded = broadband(0.05, 15000)[::5].copy()  # sampled at a fifth of the rate, without a filter
    assert aliasing(component(broadband(0.05, 15000))) is None
    assert aliasing(Component("H1", folded, dt=0.05)) is not None


def three(vertical: str, factor: float = 1.0) -> Record:
    """Return counts of a record whose P, from 10 s on, moves one component, and whose S moves the others."""
    time = np.arange(4000) * 0.01
    rng = np.random.default_rng(8)
    p = 3e3 * np.sin(2 * np.pi * 6 * (time - 10)) * (time > 10) * np.exp(-np.clip(time - 10, 0, None))
    s = 3e4 * np.sin(2 * np.pi * 2 * (time - 15)) * (time > 15) * np.exp(-0.3 * np.clip(time - 15, 0, None))
    parts = dict.fromkeys(("H1", "H2", "V"), s) | {vertical: p + 0.2 * s}
    return Record(
        tuple(
            Component(name, np.round(factor * (part + rng.normal(0, 30, 4000))).astype(int), dt=0.01, unit="counts",
                      sensitivity=1e5)
            for name, part in parts.items()
        )
    )  # fmt: skip


def test_a_horizontal_that_p_moves_may_be_the_vertical():
    assert swapped_components(three("V")) == ()
    (finding,) = swapped_components(three("H2"))
    assert "moves H2" in finding.what
    assert finding.severity == "note"


@pytest.mark.parametrize(("azimuth", "sign", "reversed_"), [(30.0, 1, False), (30.0, -1, True), (210.0, 1, True)])
def test_sensors_side_by_side_tell_a_wrong_sign(azimuth, sign, reversed_):
    noise = np.random.default_rng(4).normal(0, 3e3, 3000).astype(int)
    pair = Record(
        (
            Component("A", NOISY, dt=0.01, azimuth=30.0),
            Component("B", sign * NOISY + noise, dt=0.01, azimuth=azimuth),
        )
    )
    assert bool(reversed_polarity(pair)) == reversed_
    apart = Record((pair["A"], replace(pair["B"], azimuth=azimuth + 90.0)))
    assert reversed_polarity(apart) == ()


def test_times_that_leave_even_steps_are_noted(tmp_path):
    rng = np.random.default_rng(2)

    def noted(jitter: float) -> bool:
        rows = (f"{i * 0.01 + jitter * rng.uniform(-1, 1):.7f},{value}" for i, value in enumerate(NOISY[:500]))
        (tmp_path / "a.csv").write_text("time [s],H1 [cm/s2]\n" + "\n".join(rows) + "\n")
        return "sampling jitter" in {finding.name for finding in sm.read(tmp_path / "a.csv").findings}

    assert not noted(0.0)
    assert noted(5e-5)


def test_a_severity_of_the_settings_wins_and_the_history_says_so():
    record = Record((spoiled(spike),))
    settings = sm.Settings.from_dict({"checks": {"severity": ["spikes = unfit"]}})
    result = sm.process(record, settings)
    assert [f.severity for f in result.findings if f.name == "spikes"] == ["unfit"]
    assert any("Severity of spikes: unfit instead of doubt" in entry.what for entry in result.history)


def test_flat_tops_under_noise_are_found():
    """Clipped in the sensor, before the noise of the recorder comes in."""
    noise = np.random.default_rng(6).normal(0, 1e-4, 3000)
    assert clipping(component(WAVE + noise)) is None
    assert clipping(component(np.clip(WAVE, -0.7, 0.7) + noise)) is not None


def fill(samples):
    samples[1500:1530] = np.round(np.linspace(samples[1500], samples[1530], 30, endpoint=False)).astype(int)


def write_again(samples):
    samples[1430:1460] = samples[1400:1430]


def drop(samples):
    samples[1500:-30] = samples[1530:].copy()


def amplify(samples):
    usual = int(np.median(samples))
    samples[1500:] = usual + 2 * (samples[1500:] - usual)


@pytest.mark.parametrize(("check", "fault", "name", "span", "values"), [
    (straight_fill, fill, "straight fill", (15.0, 15.3), {"samples": 31.0, "fills": 1.0, "longest_s": 0.3}),
    (repeated_block, write_again, "repeated block", (14.3, 14.59), {"samples": 30.0, "later_s": 0.3}),
    (broken_continuity, drop, "broken continuity", (15.0, 15.0), {}),
    (broken_continuity, amplify, "gain jump", (15.0, 15.0), {"factor": 2.0}),
])  # fmt: skip
def test_a_fault_of_the_digitiser_is_named_with_place_and_size(check, fault, name, span, values):
    assert check(component(NOISY)) is None
    finding = check(spoiled(fault))
    assert finding is not None
    assert (finding.name, finding.severity, finding.component) == (name, "doubt", "H1")
    assert finding.span == pytest.approx(span, abs=0.021)
    assert {key: finding.values[key] for key in values} == pytest.approx(values)


def test_an_arrival_is_no_break_and_a_steady_wave_repeats_nothing():
    rng = np.random.default_rng(9)
    arrival = np.round(1e4 * rng.normal(size=3000) * (1 + 20 * (np.arange(3000) > 1500))).astype(int)
    assert broken_continuity(component(arrival)) is None
    wave = np.round(1e5 * np.sin(2 * np.pi * 2.5 * np.arange(3000) * 0.01)).astype(int)
    assert repeated_block(component(wave)) is None
    assert straight_fill(component(np.arange(3000) * 7)) is None


def test_a_spike_is_no_break_and_a_break_no_spike():
    names = [f.name for f in examine(Record((spoiled(spike),)))]
    assert "spikes" in names
    assert "broken continuity" not in names
    names = [f.name for f in examine(Record((spoiled(drop),)))]
    assert "broken continuity" in names
    assert "spikes" not in names


def test_a_fault_of_the_digitiser_is_noted_on_its_other_components():
    other = replace(component(np.roll(NOISY, 90)), name="H2")
    found = examine(Record((spoiled(hold), other)))
    (stuck,) = (f for f in found if f.name == "stuck samples")
    (note,) = (f for f in found if f.name == "fault beside")
    assert (note.component, note.severity, note.span) == ("H2", "note", stuck.span)
    assert not [f for f in examine(Record((component(NOISY), other))) if f.name == "fault beside"]


def test_a_spike_in_the_tail_is_no_second_event():
    quiet = np.random.default_rng(3).normal(0, 10, 1500).astype(int)
    samples = np.concatenate((NOISY, quiet))
    samples[4000] += 60_000
    assert second_event(component(samples)) is None
    samples[-40] += 60_000
    assert early_stop(component(samples)) is None


def test_alternating_samples_are_no_tone():
    samples = NOISY + 2000 * (-1) ** np.arange(3000)
    finding = tone(component(samples))
    assert finding is not None
    assert finding.name == "alternating samples"
    assert finding.values["frequency_hz"] == 50.0


def test_folded_motion_is_noted_in_a_short_record_at_50_hz():
    time = np.arange(0, 12, 0.02)
    rng = np.random.default_rng(4)
    envelope = np.exp(-(((time - 6) / 1.5) ** 2))
    white = np.round(1e5 * rng.normal(size=time.size) * envelope).astype(int)
    finding = aliasing(Component("H1", white, dt=0.02))
    assert finding is not None
    assert finding.values["nyquist_hz"] == 25.0


def test_records_too_short_and_peaks_that_no_ground_has_are_unfit():
    finding = too_short(component(np.array([1.0, 3.0, 2.0])))
    assert finding is not None
    assert (finding.severity, finding.values["samples"]) == ("unfit", 3.0)
    assert too_short(component(WAVE)) is None
    for peak, severity in ((195 * 9.80665, "unfit"), (7 * 9.80665, "doubt"), (3e-8, "unfit"), (5e-6, "doubt")):
        finding = implausible_amplitude(component(peak * WAVE / np.abs(WAVE).max()))
        assert finding is not None
        assert finding.severity == severity
        assert finding.values["peak_m_s2"] == pytest.approx(peak)


def test_motion_that_ends_at_rest_by_itself_looks_processed():
    moved = np.diff(np.hanning(3001) ** 2 * np.sin(np.arange(3001) * 0.05), 2, append=0.0)
    finding = looks_processed(component(moved))
    assert finding is not None
    assert finding.severity == "note"
    assert looks_processed(component(moved + 1e-3 * np.abs(moved).max())) is None


def test_what_is_unfit_has_no_usable_band_and_no_usable_number():
    clipped = np.clip(NOISY, -60_000, 60_000)
    record = Record(tuple(
        Component(name, samples, dt=0.01, unit="counts", sensitivity=1e5)
        for name, samples in (("H1", clipped), ("H2", np.roll(NOISY, 90)), ("V", NOISY[::-1].copy()))
    ))  # fmt: skip
    result = sm.process(record)
    for name in ("H1", "horizontal"):
        band = result.usable_band[name]
        assert not band.usable
        assert not band.holds([0.0, 0.2, 1.0]).any()
        assert band.shortest_period > band.longest_period
    assert result.usable_band["V"].usable
    peaks = result.peaks.set_index(["component", "quantity"])
    assert not peaks.usable[["H1", "RotD50", "RotD100", "resultant", "geometric mean"]].any()
    assert peaks.usable["V", "PGA"]
    assert {key for key, bound in peaks.bound.items() if bound} == {
        ("H1", "PGA"), ("RotD100", "PGA"), ("resultant", "PGA"),
    }  # fmt: skip
    spectra = result.spectra.set_index("component")
    assert not spectra.usable[["H1", "RotD50"]].any()
    assert not result.measures.set_index("component").usable["H1"].any()


def test_a_record_cut_in_the_shaking_has_lower_bounds():
    result = sm.process(Record((component(NOISY[:1600] / 1e5),)))
    assert set(result.peaks.bound) == {"at least"}


def test_what_its_file_says_was_processed_is_not_filtered_again():
    note = Finding(
        "already processed", "note", "it was", "nothing", "none", values={"low_cut_hz": 0.2, "high_cut_hz": 30}
    )
    record = Record((component(NOISY / 1e5),), findings=(note,))
    result = sm.process(record)
    np.testing.assert_allclose(result.motion["H1"].unpadded().acceleration, NOISY / 1e5, atol=1e-3)
    assert (result.usable_band["H1"].low_cut, result.usable_band["H1"].high_cut) == (0.2, 30.0)
    again = sm.process(record, sm.Settings.from_dict({"filter": {"again": True}}))
    assert "already processed" not in {entry.step for entry in again.history}
    assert again.usable_band["H1"].low_cut != 0.2


# Mending


def mended_result(fault, **mend):
    record = Record((Component("H1", spoiled(fault).samples, dt=0.01, unit="counts", sensitivity=1e5),))
    return sm.process(record, sm.Settings.from_dict({"mend": mend}))


@pytest.mark.parametrize(("fault", "mend", "kind", "at"), [
    (spike, {"spikes": True}, "spike", slice(1400, 1401)),
    (hold, {"gaps": 0.4}, "gap", slice(1501, 1530)),
    (lambda samples: np.clip(samples, -85_000, 85_000, out=samples), {"clipping": True}, "clipping", None),
])  # fmt: skip
def test_mending_is_asked_for_recorded_and_brings_samples_nearer(fault, mend, kind, at):
    usual = np.median(NOISY)
    bad, plain, mended = spoiled(fault).samples, mended_result(fault), mended_result(fault, **mend)
    assert plain.mended == ()
    assert {stretch.kind for stretch in mended.mended} == {kind}
    np.testing.assert_array_equal(mended.record["H1"].samples, bad)
    (finding,) = (f for f in mended.findings if f.name == "mended")
    assert finding.values["samples"] == sum(stretch.samples for stretch in mended.mended)
    assert "mend" in {entry.step for entry in mended.history}
    if at is not None:
        (stretch,) = mended.mended
        assert (stretch.span, stretch.samples) == ((at.start * 0.01, (at.stop - 1) * 0.01), at.stop - at.start)
        assert stretch.low < stretch.high
    wrong, left = (
        np.abs(result.motion["H1"].unpadded().acceleration - (NOISY - usual) / 1e5).max() for result in (plain, mended)
    )
    assert left < 0.5 * wrong


def test_mending_has_limits():
    with pytest.raises(sm.SettingsError):
        sm.Settings.from_dict({"mend": {"gaps": 2.0}})
    assert mended_result(hold, gaps=0.1).mended == ()


@pytest.mark.parametrize("peak", [4, 7, 15, 30])
def test_smooth_tops_in_few_counts_are_not_clipped(peak):
    """Noise below a count leaves equal samples on top of every smooth peak, and few steps where the ground is still."""
    time = np.arange(20000) * 0.002
    for seed in range(6):
        rng = np.random.default_rng(seed)
        wave = rng.normal(size=time.size) * np.exp(-(((time - 20.0) / 4.0) ** 2))
        motion = sosfilt(butter(4, 6.0, fs=500.0, output="sos"), wave)
        noise = rng.normal(0.3, 0.08, time.size)
        counts = np.round(peak * motion / np.abs(motion).max() + noise).astype(int)
        assert clipping(Component("V", counts, 0.002, "counts", 1000.0)) is None
