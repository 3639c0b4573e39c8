"""Windows that follow the shaking, records cut from longer files, and settings by record and component."""

from __future__ import annotations

import tomllib

import numpy as np
import pytest
from scipy.signal import butter, sosfilt

from strongmotion import Archive, Component, Record, RecordError, Settings, SettingsError, Station, process
from strongmotion.arrivals import begins_in_shaking, shaking_energy
from strongmotion.batch import process_files, reprocess
from strongmotion.chain import correct, cut_to_shocks, shaking_in, signal_and_noise, to_acceleration
from strongmotion.chain.counts import count_interval, rounding_offset
from strongmotion.chain.windows import find_windows
from strongmotion.formats import write_miniseed
from strongmotion.record import Finding

DT = 0.02
START = np.datetime64("2031-03-17T03:00:00", "ns")


def burst(seconds: float, peak: float, seed: int) -> np.ndarray:
    """Return three components of shaking, 0.5 to 10 Hz, that rises in a tenth of its length, dies away and rests.

    Below 0.5 Hz acceleration falls as f³, so velocity and displacement end at zero.
    """
    n = round(seconds / DT)
    time = np.arange(n) / n
    envelope = np.minimum(1.0, time / 0.1) * np.exp(-4.0 * time) * (1.0 - time)
    shaken = np.pad(np.random.default_rng(seed).normal(size=(3, n)) * envelope, ((0, 0), (0, round(10 / DT))))
    shaken = sosfilt(butter(3, (0.5, 10.0), "bandpass", fs=1 / DT, output="sos"), shaken)
    return shaken * peak / np.abs(shaken).max()


def noisy(seconds: float, *shocks: tuple[float, float], noise: float = 1e-4, seed: int = 5) -> np.ndarray:
    """Return noise with shocks of 20 s, each a begin, s, and a peak, m/s²."""
    whole = np.random.default_rng(seed).normal(0.0, noise, (3, round(seconds / DT)))
    for number, (begin, peak) in enumerate(shocks):
        shaken = burst(20.0, peak, seed + number)
        first = round(begin / DT)
        whole[:, first : first + shaken.shape[1]] += shaken
    return whole


def record(whole: np.ndarray, start: np.datetime64 | None = START, count: float = 1e-6) -> Record:
    counts = np.rint(whole / count).astype(np.int32)
    return Record(
        tuple(
            Component(name, samples, DT, "counts", 1.0 / count, start)
            for name, samples in zip(("H1", "H2", "V"), counts, strict=True)
        ),
        Station("QUAY", "XX"),
    )


# Windows


@pytest.mark.parametrize("more", [300.0, 3600.0])
def test_noise_added_after_the_shaking_changes_no_corner_and_no_peak(more):
    """The first 150 s are the same samples, to the bit."""
    whole = noisy(150.0 + more, (60.0, 0.8))
    short, long = process(record(whole[:, : round(150 / DT)])), process(record(whole))
    for name in ("H1", "H2", "V"):
        one, two = short.usable_band[name], long.usable_band[name]
        assert (two.low_cut, two.high_cut) == pytest.approx((one.low_cut, one.high_cut), rel=0.03)
    pga = [each.peaks[each.peaks.quantity == "PGA"].value.to_numpy() for each in (short, long)]
    np.testing.assert_allclose(pga[1], pga[0], rtol=0.005)


def test_the_signal_window_is_the_strongest_shock_with_its_margins():
    windows, _, _ = find_windows(
        [to_acceleration(component) for component in record(noisy(300.0, (50.0, 0.8), (150.0, 0.2)))], Settings().onset
    )
    begin, end = windows.signal.start * DT, windows.signal.stop * DT
    assert 48.0 < begin < 50.5
    assert 60.0 < end < 90.0
    assert windows.tail.start * DT > 155.0  # the tail is what comes after the last shock


@pytest.mark.parametrize(("noise", "late"), [(0.8 / 30, False), (0.8 / 12, False)])
def test_a_weak_record_after_quiet_does_not_begin_late(noise, late):
    """Noise of a tenth of the strongest second, which the end of the record shows to be noise."""
    _, _, findings = find_windows(
        [to_acceleration(component) for component in record(noisy(80.0, (20.0, 0.8), noise=noise))], Settings().onset
    )
    assert bool(findings) == late


def test_what_is_louder_than_the_end_of_the_record_is_shaking():
    energy = shaking_energy(list(noisy(80.0, (20.0, 0.8), noise=1e-4)), DT)
    before = np.random.default_rng(2).normal(0.0, 0.03, (3, round(10 / DT)))
    begun = np.concatenate((shaking_energy(list(before), DT), energy[round(15 / DT) :]))
    assert begins_in_shaking(begun, len(before[0]), DT)
    assert not begins_in_shaking(energy, round(19 / DT), DT)


def test_corners_lie_on_no_grid_that_moves_with_the_window():
    """A ratio that crosses 3 between two frequencies is cut there, so a little more noise moves a corner a little."""
    lows = [correct(record(noisy(120.0, (60.0, 0.8), noise=noise)), Settings()).usable_band["H1"].high_cut
            for noise in (1.00e-3, 1.02e-3)]  # fmt: skip
    assert lows[1] == pytest.approx(lows[0], rel=0.03)


# The floor of the noise


def test_the_interval_of_counts_is_found():
    counts = np.random.default_rng(1).integers(-50, 50, 500)
    assert count_interval(Component("H1", counts, DT, "counts", 200.0)) == 1 / 200.0
    assert count_interval(Component("H1", counts * 256, DT, "counts", 200.0)) == 256 / 200.0
    assert count_interval(Component("H1", np.round(counts * 0.037, 3), DT)) == pytest.approx(0.037)
    assert count_interval(Component("H1", np.random.default_rng(1).normal(size=500), DT)) == 0.0
    assert count_interval(Component("H1", np.zeros(50, dtype=int), DT, "counts", 200.0)) == 1 / 200.0


def test_noise_is_never_below_that_of_rounding():
    """Where all samples before the onset are one count. Rounding leaves the white power q²/12 over 0 to Nyquist."""
    count = 2e-3
    motion = to_acceleration(record(noisy(120.0, (60.0, 0.8), noise=1e-5), count=count)["H1"])
    windows, _, _ = find_windows([motion], Settings().onset)
    assert np.ptp(motion.acceleration[windows.pre_event]) == 0.0
    compared = signal_and_noise(motion, windows, 20.0)
    white = count**2 / 12.0 * 2.0 * DT
    high = compared.frequency > 5.0
    np.testing.assert_allclose(compared.noise_power[high], white, rtol=0.2)
    # Half a count of offset, as a box over the shaking, is the larger part at low frequency.
    low = compared.frequency < 0.3
    assert (compared.noise_power[low] > 3 * white).all()


def test_rounding_hides_an_offset_only_without_noise():
    """Simulated: the mean of rounded samples over all positions of the zero between two counts."""
    rng = np.random.default_rng(3)
    for deviation in (0.0, 0.2, 0.3, 0.5):
        zeros = rng.uniform(-0.5, 0.5, 400)
        errors = [np.rint(zero + rng.normal(0.0, deviation, 4000)).mean() - zero for zero in zeros]
        stated = np.mean(
            [rounding_offset(np.rint(zero + rng.normal(0.0, deviation, 4000)), 1.0) for zero in zeros[:50]]
        )
        assert stated >= 0.6 * np.std(errors) - 0.02


# A part of a record


def test_a_window_keeps_the_samples_and_says_what_was_left_out():
    whole = record(noisy(100.0))
    part = whole.window(10.0, 30.0)
    assert part.samples == 1001
    assert part["V"].samples.tolist() == whole["V"].samples[500:1501].tolist()
    assert part.start == START + np.timedelta64(10, "s")
    assert (part.source.first_sample, part.source.file_samples) == (500, 5000)
    (finding,) = part.findings
    assert (finding.name, finding.severity, finding.span) == ("cut", "note", (0.0, 20.0))
    assert finding.values == {"from_s": 10.0, "to_s": 30.0, "file_s": 99.98}
    again = part.window(5.0)
    assert (again.source.first_sample, again.source.file_samples, len(again.findings)) == (750, 5000, 1)
    assert whole.window() == whole


def test_a_window_by_utc_is_the_same():
    whole = record(noisy(100.0))
    assert whole.window("2031-03-17T03:00:10", START + np.timedelta64(30, "s")) == whole.window(10.0, 30.0)


def test_findings_move_with_the_window():
    finding = Finding("filled gap", "doubt", "a", "b", "c", span=(12.0, 13.0))
    whole = record(noisy(100.0))
    whole = Record(whole.components, findings=(finding,))
    assert whole.window(10.0).findings[0].span == (2.0, 3.0)


@pytest.mark.parametrize(
    ("begin", "end", "message"),
    [
        (200.0, None, "fewer than 2 samples"),
        (30.0, 20.0, "fewer than 2 samples"),
        ("soon", None, "'soon' is not a time"),
        (float("nan"), None, "nan is not a time"),
        (True, None, "True is not a time"),
    ],
)
def test_windows_that_are_none(begin, end, message):
    with pytest.raises(RecordError, match=message):
        record(noisy(100.0)).window(begin, end)


def test_utc_needs_a_start():
    with pytest.raises(RecordError, match="the start of the record is not known"):
        record(noisy(100.0), start=None).window("2031-03-17T03:00:10")


# Continuous data

SHOCKS = ((700.0, 0.05), (1500.0, 1.2), (2900.0, 0.3))


@pytest.fixture(scope="module")
def hour() -> Record:
    return record(noisy(3600.0, *SHOCKS))


def test_each_shock_of_an_hour_is_found(hour):
    found = shaking_in(hour)
    assert len(found) == 3
    for shock, (begin, peak) in zip(found, SHOCKS, strict=True):
        assert shock.begin == pytest.approx(begin, abs=2.0)
        assert shock.begin + 3.0 < shock.end <= begin + 23.0
        assert shock.peak == pytest.approx(peak, rel=0.02)


def test_an_hour_is_cut_to_its_strongest_shaking_and_says_so(hour):
    result = process(hour)
    assert result.record.duration < 300.0
    assert result.record.source.file_samples == hour.samples
    at = result.record.source.first_sample * DT + result.windows.onset * DT
    assert at == pytest.approx(1500.0, abs=0.5)
    peaks = result.peaks[result.peaks.component.isin(result.record.names)]
    pga = peaks[peaks.quantity == "PGA"].value.max()
    assert pga == pytest.approx(1.2, rel=0.01)
    several = next(finding for finding in result.findings if finding.name == "several shocks")
    assert several.severity == "note"
    assert several.values["shock_2_peak_m_s2"] == pytest.approx(1.2, rel=0.01)
    assert several.span[0] == pytest.approx(at - result.record.source.first_sample * DT, abs=2.0)
    entry = result.history[0]
    assert entry.step == "cut"
    assert entry.values["first_sample"] == result.record.source.first_sample


def test_a_cut_record_is_stored_and_processed_again_alike(hour, tmp_path):
    result = process(hour)
    archive = Archive(tmp_path / "archive", create=True)
    archive.add(result)
    assert archive[result.record.id] == result
    (again,) = reprocess(archive)
    assert again.same


def test_each_shock_is_a_record_on_request(hour):
    parts = cut_to_shocks(hour, Settings())
    assert [len(shaking_in(part)) for part in parts] == [1, 1, 1]
    assert len({part.id for part in parts}) == 3


def test_noise_alone_is_no_shaking():
    with pytest.raises(RecordError, match="no shaking stands out from the noise"):
        process(record(noisy(1000.0)))


@pytest.mark.parametrize("kind", ["spike", "step", "one component", "traffic"])
def test_disturbances_are_no_shocks(kind):
    whole = noisy(1200.0)
    at = round(600 / DT)
    if kind == "spike":
        whole[:, at] += 5.0
    elif kind == "step":
        whole[:, at:] += 0.5
    elif kind == "one component":
        whole[0, at : at + 1000] += 0.05 * np.sin(2 * np.pi * 2.0 * np.arange(1000) * DT)
    else:
        passing = np.sin(np.pi * np.arange(1000) / 1000) ** 2
        whole[:, at : at + 1000] += 0.05 * passing * np.sin(2 * np.pi * 12.0 * np.arange(1000) * DT)
    assert shaking_in(record(whole)) == ()


def test_what_is_given_is_cut_once(hour):
    settings = Settings.from_dict({"window": {"begin": 2850.0, "end": "2031-03-17T03:50:00"}})
    result = process(hour, settings)
    assert (result.record.source.first_sample, result.record.samples) == (round(2850 / DT), round(150 / DT) + 1)
    assert process(result.record, settings).record == result.record


def test_a_file_gives_its_shocks_to_an_archive(hour, tmp_path):
    write_miniseed(hour, tmp_path / "hour.ms")
    arguments = ([tmp_path / "hour.ms"], tmp_path / "archive")
    one = process_files(*arguments, reading={"sensitivity": 1e6}, split_shocks=True)
    assert [len(one.done), len(one.failed)] == [3, 0]
    assert sorted(round(done.pga, 2) for done in one.done) == [0.05, 0.3, 1.2]
    two = process_files(*arguments, reading={"sensitivity": 1e6}, split_shocks=True)
    assert [len(two.done), len(two.skipped)] == [0, 3]


# Settings by record and component

OWN = """
[filter]
low_cut = {H1 = 0.2, H2 = 0.2}
[records."XX.QUAY_20310317T030000".filter]
low_cut = {V = 0.3}
high_cut = 20
[records."XX.QUAY_20310317T030000"]
onset.time = 55
"""


def test_settings_of_a_record_and_a_component():
    settings = Settings.from_dict(tomllib.loads(OWN))
    assert Settings.from_dict(tomllib.loads(settings.to_toml())) == settings
    own, other = settings.for_record("XX.QUAY_20310317T030000"), settings.for_record("XX.BELL_20310317T030000")
    assert (own.filter.low_cut, own.filter.high_cut, own.onset.time) == ({"V": 0.3}, 20, 55)
    assert (other.filter.low_cut, other.onset.time) == ({"H1": 0.2, "H2": 0.2}, "auto")
    assert own.records == other.records == {}
    assert settings.sha256 != own.sha256 != other.sha256


def test_a_result_holds_what_was_resolved_for_it():
    result = process(record(noisy(120.0, (60.0, 0.8))), Settings.from_dict(tomllib.loads(OWN)))
    assert result.settings.records == {}
    assert result.windows.onset == round(55 / DT)
    assert result.usable_band["V"].low_cut == 0.3
    assert result.usable_band["H1"].low_cut == result.usable_band["H2"].low_cut != 0.3
    assert {band.high_cut for band in result.usable_band.values()} == {20.0}


def test_a_corner_given_for_one_horizontal_wins():
    settings = Settings.from_dict({"filter": {"low_cut": {"H1": 0.05, "H2": 0.4}}})
    result = process(record(noisy(120.0, (60.0, 0.8))), settings)
    assert (result.usable_band["H1"].low_cut, result.usable_band["H2"].low_cut) == (0.05, 0.4)
    assert "horizontal" not in result.usable_band
    assert "no common band" in {finding.name for finding in result.findings}


@pytest.mark.parametrize(
    ("values", "message"),
    [
        ({"records": {"A": {"filtr": {}}}}, r"unknown setting 'records.\"A\".filtr', perhaps 'filter'"),
        (
            {"records": {"A": {"filter": {"lowcut": 1}}}},
            r"unknown setting 'records.\"A\".filter.lowcut', perhaps 'low_cut'",
        ),
        ({"records": {"A": {"filter": {"low_cut": -1}}}}, "low_cut = -1 is not allowed"),
        ({"records": {"A": {"spectra": {}}}}, "unknown setting"),
        ({"records": {"A": 3}}, "must hold sections"),
        ({"records": 3}, "records must hold sections"),
        ({"record": {}}, "unknown setting 'record', perhaps 'records'"),
        ({"filter": {"low_cut": {"H1": -1}}}, "low_cut = -1 is not allowed"),
        ({"filter": {"low_cut": {"H 1": 1}}}, "'H 1' cannot be the name of a component"),
        ({"filter": {"order": {"H1": 4}}}, "order = .* is not allowed"),
        ({"window": {"begin": "soon"}}, "begin = 'soon' is not allowed"),
    ],
)
def test_wrong_settings_by_record_are_refused_by_name(values, message):
    with pytest.raises(SettingsError, match=message):
        Settings.from_dict(values)


def test_a_component_that_the_record_has_not_is_named():
    settings = Settings.from_dict({"filter": {"low_cut": {"H3": 0.1}}})
    with pytest.raises(SettingsError, match=r"names component 'H3', which the record does not have, perhaps 'H"):
        process(record(noisy(120.0, (60.0, 0.8))), settings)
