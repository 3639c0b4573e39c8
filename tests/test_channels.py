"""Channels of a file: chosen by sensor, code, station and time; what is wrong with one spoils it alone."""

from __future__ import annotations

import fnmatch
import re
import struct
from pathlib import Path

import numpy as np
import pymseed
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from test_miniseed import START, packed, save, shaking
from typer.testing import CliRunner

from strongmotion import Archive, Settings
from strongmotion.batch import process_files
from strongmotion.cli import app
from strongmotion.formats import read, read_all, write_miniseed
from strongmotion.formats.channels import Choice, Codes
from strongmotion.foundation.errors import InputError, RecordError
from strongmotion.foundation.times import leap_seconds_between
from strongmotion.record import Component, Record, Station

QUICK = Settings.from_dict({"spectra": {"periods": [0.2, 1.0]}})


def source(code, station="QUAY", location="00"):
    return f"FDSN:XX_{station}_{location}_{code[0]}_{code[1]}_{code[2:]}"


def log():
    traces = pymseed.MS3TraceList()
    traces.add_data(source("LOG", location=""), b"clock locked", "t", 0.0, starttime=int(START.astype(np.int64)))
    return b"".join(traces.generate(encoding=pymseed.DataEncoding.TEXT, format_version=2, max_record_length=512))


def slow(code):
    """Return miniSEED of a channel that has a sample a second."""
    traces = pymseed.MS3TraceList()
    traces.add_data(source(code), shaking(60), "i", 1.0, starttime=int(START.astype(np.int64)))
    return b"".join(traces.generate(encoding=pymseed.DataEncoding.STEIM2, format_version=2, max_record_length=512))


def mixed(n=6000):
    """Return a file as stations send it: accelerometers of two bands and two places, clock, pressure, a log."""
    codes = [("HNN", "00"), ("HNE", "00"), ("HNZ", "00"), ("BNN", "00"), ("BNE", "00"), ("BNZ", "00")]
    codes += [("HNN", "10"), ("HNE", "10"), ("HNZ", "10")]
    truth = {(code, location): shaking(n, seed) for seed, (code, location) in enumerate(codes)}
    parts = [packed((source(code, location=location), x, 0)) for (code, location), x in truth.items()]
    parts += [slow("LCQ"), slow("VCO"), slow("LDO"), slow("LKI"), log()]
    return b"".join(parts), truth


# --- sensors -----------------------------------------------------------------------------------------------------


def test_all_accelerometers_of_a_mixed_file_are_archived(tmp_path):
    data, truth = mixed(2000)
    path = save(tmp_path, data)
    shown = CliRunner().invoke(app, ["process", str(path), "-o", str(tmp_path / "arch"), "--sensitivity", "4e5"])
    assert shown.exit_code == 0, shown.output
    archive = Archive(tmp_path / "arch")
    assert sorted(archive) == [f"XX.QUAY.{which}_20310417T032627.125" for which in ("00.BN", "00.HN", "10.HN")]
    found = {
        (component.channel, archive[name].record.station.location): component.samples
        for name in archive
        for component in archive[name].record
    }
    assert found.keys() == truth.keys()
    assert all(np.array_equal(found[key], truth[key]) for key in truth)
    for name in archive:
        (note,) = (f for f in archive[name].record.findings if f.name == "other channels")
        assert note.values == {"channels": 4}
        assert re.findall(r"00\.(...) \(([a-z ]+)\)", note.what) == [
            ("LCQ", "calibration or clock"), ("LDO", "pressure"), ("LKI", "temperature"),
            ("VCO", "calibration or clock"),
        ]  # fmt: skip


def test_a_file_without_an_accelerometer_says_what_it_holds(tmp_path):
    path = save(tmp_path, slow("LCQ") + slow("LDO"))
    with pytest.raises(
        RecordError, match=r"2 channels .* XX\.QUAY\.00\.LCQ \(calibration or clock\), XX\.QUAY\.00\.LDO"
    ):
        read_all(path)
    path = save(tmp_path, packed((source("HHZ"), shaking(), 0)))
    with pytest.raises(RecordError, match=r"HHZ \(seismometer\)\. .*--sensor seismometer"):
        read(path)


@pytest.mark.parametrize("how", [{"sensor": "seismometer"}, {"sensor": "motion"}, {"channel": "HH?"}])
def test_a_seismometer_is_read_on_request(tmp_path, how):
    data = packed((source("HHZ"), shaking(), 0), (source("HNZ"), shaking(seed=2), 0), (source("LDO"), shaking(), 0))
    records = read_all(save(tmp_path, data), **how)
    wanted = ["HH", "HN"] if how == {"sensor": "motion"} else ["HH"]
    assert [record.station.instrument_code for record in records] == wanted
    assert "velocity sensor" in [finding.name for finding in records[0].findings]


def test_acceleration_in_a_file_of_ours_is_read_whatever_its_code(tmp_path):
    component = Component("V", shaking() * 1e-6, 0.005, "m/s2", start=START, channel="HHZ")
    write_miniseed(Record((component,), Station("QUAY", "XX", "00", instrument_code="HH")), tmp_path / "a.ms")
    record = read(tmp_path / "a.ms")
    assert record.components == (component,)
    assert record.findings == ()


def test_a_gravimeter_code_is_noted(tmp_path):
    record = read(save(tmp_path, packed((source("LGZ"), shaking(), 0))))
    assert [finding.name for finding in record.findings] == ["instrument code"]


# --- choosing ----------------------------------------------------------------------------------------------------


def test_channels_and_stations_are_chosen(tmp_path):
    path = save(tmp_path, mixed(600)[0] + packed((source("HNZ", "PIER"), shaking(), 0)))

    def chosen(**how):
        return sorted(f"{r.station.code}.{r.station.location}.{c.channel}" for r in read_all(path, **how) for c in r)

    assert chosen(channel="HN?", station="QU*") == sorted(f"QUAY.{at}.HN{d}" for at in ("00", "10") for d in "NEZ")
    assert chosen(channel="?NZ", station="PIER, QUAY") == ["PIER.00.HNZ", "QUAY.00.BNZ", "QUAY.00.HNZ", "QUAY.10.HNZ"]
    assert chosen(channel="bnz") == ["QUAY.00.BNZ"]
    with pytest.raises(RecordError, match=r"nothing in the file matches the requested channels.*XX\.QUAY\.00\.BNE"):
        read_all(path, channel="EN*")
    with pytest.raises(InputError, match="channel must be codes"):
        read_all(path, channel="H(N")


codes = st.text("HNZ1", max_size=6)


@given(st.text("HNZ1*?", min_size=1, max_size=8), codes)
def test_wildcards_are_those_of_the_standard_library(pattern, code):
    choice = Choice(channels=(pattern,))
    channel = Codes("XX", "QUAY", "00", "", "", code)
    assert choice.holds(channel) == fnmatch.fnmatchcase(code, pattern)


def test_a_span_of_time_is_chosen_before_gaps_matter(tmp_path):
    x = shaking()
    data = packed((source("HNZ"), x[:1000], 0), (source("HNZ"), x[1030:], 1030))
    path = save(tmp_path, data)
    span = ("2031-04-17T03:26:33.125", "2031-04-17T03:26:35.125Z")  # samples 1200 to 1600
    record = read(path, time=span)
    assert record["V"].samples.tolist() == x[1200:1601].tolist()
    assert record.start == START + np.timedelta64(6, "s")
    assert [(finding.name, finding.severity) for finding in record.findings] == [("time chosen", "note")]
    with pytest.raises(RecordError, match=r"nothing in the file matches the requested .* time"):
        read(path, time=("2031-04-18", "2031-04-19"))
    for bad, words in ((("dawn", "2031-04-19"), "found 'dawn'"), (("2031-04-19", "2031-04-18"), "end after it begins")):
        with pytest.raises(InputError, match=words):
            read(path, time=bad)
    shown = CliRunner().invoke(app, ["inspect", str(path), "--sensitivity", "1e5", "--time", *span])
    assert shown.exit_code == 0, shown.output
    assert "401" in shown.output


# --- one bad part spoils itself alone ----------------------------------------------------------------------------


def with_bad_parts():
    x = shaking()
    gap = packed((source("HNZ", "PIER"), x[:1000], 0), (source("HNZ", "PIER"), x[1007:], 1007))
    east = packed((source("HNE"), x[:900], 0), (source("HNE"), x[950:], 950))
    good = packed((source("HNN"), x, 0), (source("HNZ"), x, 0), (source("HNZ", "MOLE"), x, 0))
    floats = packed((source("HNZ", "DOCK"), np.sin(np.arange(900.0)), 0), encoding="FLOAT64")
    return gap + east + good + floats


def test_a_bad_station_or_channel_spoils_itself_alone(tmp_path):
    path = save(tmp_path, with_bad_parts())
    records = read_all(path, sensitivity=4e5)
    assert [(record.station.code, record.names) for record in records] == [("MOLE", ("V",)), ("QUAY", ("H1", "V"))]
    assert {(one.channel, str(one.error).split(" before")[0]) for one in records.unread} == {
        ("XX.PIER.00.HNZ", "quay.ms: channel FDSN:XX_PIER_00_H_N_Z has a gap of 0.035 s"),
        ("XX.QUAY.00.HNE", "quay.ms: channel FDSN:XX_QUAY_00_H_N_E has a gap of 0.25 s"),
        (
            "XX.DOCK.00.HNZ",
            "quay.ms: channel FDSN:XX_DOCK_00_H_N_Z holds float64 numbers, and miniSEED states no unit. Give their "
            "unit with unit= (--sample-unit), or their StationXML if they are counts.",
        ),
    }
    assert [(f.name, "HNE" in f.what) for f in records[1].findings] == [("channel left out", True)]
    assert records[0].findings == ()
    with pytest.raises(RecordError, match=r"holds 2 records"):
        read(path)
    with pytest.raises(
        RecordError,
        match=r"besides XX\.MOLE.* 1 of the file's records or channels cannot be read; the first: .*PIER.*a gap",
    ):
        read(path, station="MOLE,PIER")
    assert read(path, station="QUAY").names == ("H1", "V")


def test_a_batch_lists_each_part_that_could_not_be_read(tmp_path):
    path = save(tmp_path, with_bad_parts())
    outcome = process_files([path], tmp_path / "archive", QUICK, reading={"sensitivity": 4e5})
    assert [done.record.split("_")[0] for done in outcome.done] == ["XX.MOLE.00.HN", "XX.QUAY.00.HN"]
    assert sorted(failure.reason.split(" has ")[0].split(" holds ")[0] for failure in outcome.failed) == [
        f"channel XX.{which}: channel FDSN:XX_{which.replace('.', '_').replace('HN', 'H_N_')}"
        for which in ("DOCK.00.HNZ", "PIER.00.HNZ", "QUAY.00.HNE")
    ]
    listed = (tmp_path / "archive" / "failed.csv").read_text()
    assert listed.count("quay.ms") == 3
    shown = CliRunner().invoke(app, ["inspect", str(path), "--sensitivity", "4e5"])
    assert shown.exit_code == 1
    assert "channel XX.PIER.00.HNZ: quay.ms: channel" in shown.output


@pytest.mark.parametrize("version", [2, 3])
def test_damage_in_one_channel_leaves_the_others(tmp_path, version):
    # Version 3 has a checksum for each record; in version 2 Steim compression has its last sample.
    first = packed((source("HNZ"), shaking(), 0), version=version)
    data = bytearray(first + packed((source("HNZ", "PIER"), shaking(), 0), version=version))
    data[1200] ^= 0x10
    records = read_all(save(tmp_path, bytes(data)))
    assert [record.station.code for record in records] == ["PIER"]
    (unread,) = records.unread
    channel, error = unread.channel, unread.error
    assert channel == "XX.QUAY.00.HNZ"
    assert re.search(r"quay\.ms: the record at byte \d+ is damaged", str(error))
    at = int(re.search(r"byte (\d+)", str(error))[1])
    assert at <= 1200 < at + 512


def test_a_damaged_record_that_may_be_of_any_channel_is_a_doubt_about_all(tmp_path):
    first = packed((source("HNZ"), shaking(), 0), version=3)
    data = bytearray(first + packed((source("HNZ", "PIER"), shaking(100), 0), version=3))
    data[len(first) + 40 + 8] ^= 1  # a letter of the station's code: it might be QUAY's last record
    records = read_all(save(tmp_path, bytes(data)))
    assert [(f.name, f.severity) for f in records[0].findings] == [("damaged record", "doubt")]
    (unread,) = records.unread
    channel, error = unread.channel, unread.error
    assert channel == "FDSN:XX_QIER_00_H_N_Z"
    assert f"the record at byte {len(first) + 1} is damaged" in str(error)
    with pytest.raises(
        RecordError, match=r"besides XX\.QUAY\.00\.HN.*1 of the file's records or channels cannot be read"
    ):
        read(tmp_path / "quay.ms")


def test_channels_of_another_rate_are_named_and_left_out(tmp_path):
    traces = pymseed.MS3TraceList()
    traces.add_data(source("HNE"), shaking(1500), "i", 100.0, starttime=int(START.astype(np.int64)))
    odd = b"".join(traces.generate(encoding=pymseed.DataEncoding.STEIM2, format_version=2))
    records = read_all(save(tmp_path, odd + packed((source("HNN"), shaking(), 0), (source("HNZ"), shaking(), 0))))
    assert [record.names for record in records] == [("H1", "V")]
    assert ["every 0.01 s, others of its instrument every 0.005 s" in str(one.error) for one in records.unread] == [
        True
    ]


def test_north_and_two_make_no_pair(tmp_path):
    data = packed(*((source(f"HN{d}"), shaking(seed=k), 0) for k, d in enumerate("NE12Z")))
    assert read(save(tmp_path, data)).names == ("H1", "H2", "V", "HN1", "HN2")
    data = packed(*((source(f"HN{d}"), shaking(seed=k), 0) for k, d in enumerate("N2Z")))
    assert read(save(tmp_path, data)).names == ("H1", "V", "HN2")


def test_axes_u_v_w_are_no_vertical(tmp_path):
    data = packed(*((source(f"HN{d}"), shaking(seed=k), 0) for k, d in enumerate("UVW")))
    assert sorted(read(save(tmp_path, data)).names) == ["HNU", "HNV", "HNW"]


# --- several events, leap seconds --------------------------------------------------------------------------------


def test_each_segment_becomes_a_record(tmp_path):
    x = [shaking(3000, seed) for seed in range(3)]
    spans = ((0, 1200, 0), (1200, 3000, 50_000))
    parts = [(source(f"HN{d}"), x[k][a:b], at + a) for k, d in enumerate("NEZ") for a, b, at in spans]
    path = save(tmp_path, packed(*parts))
    with pytest.raises(RecordError, match=r'has a gap of 250 s .*"split"'):
        read(path)
    records = read_all(path, gaps="split")
    assert [(r.names, r.samples, r.start) for r in records] == [
        (("H1", "H2", "V"), 1200, START),
        (("H1", "H2", "V"), 1800, START + np.timedelta64(51_200 * 5, "ms")),
    ]
    assert all(np.array_equal(records[1][name].samples, x[k][1200:]) for k, name in enumerate(("H1", "H2", "V")))
    assert len({record.id for record in records}) == 2
    assert [record.findings for record in records] == [(), ()]


def test_a_gap_of_one_component_parts_all_of_them(tmp_path):
    x = [shaking(3000, seed) for seed in range(2)]
    north = [(source("HNN"), x[0], 0)]
    east = [(source("HNE"), x[1][:1000], 0), (source("HNE"), x[1][1100:], 1100)]
    records = read_all(save(tmp_path, packed(*north, *east)), gaps="split")
    assert [(r.names, r.samples) for r in records] == [(("H1", "H2"), 1000), (("H1", "H2"), 1900)]
    assert np.array_equal(records[1]["H1"].samples, x[0][1100:])
    assert [f.values for f in records[0].findings] == [{"before": 0, "after": 2000}]
    assert [f.component for f in records[0].findings] == ["H1"]


def test_runs_that_share_no_time_with_all_channels_are_kept(tmp_path):
    x = shaking(4000)
    north = [(source("HNN"), x[:1000], 0), (source("HNN"), x[1100:2000], 1100)]
    east = [(source("HNE"), x[:1500], 0), (source("HNE"), x[1600:2400], 1600), (source("HNE"), x[2500:], 2500)]
    vertical = [(source("HNZ"), x, 0)]
    records = read_all(save(tmp_path, packed(*north, *east, *vertical)), gaps="split")
    starts = [round((r.start - START) / np.timedelta64(5, "ms")) for r in records]
    assert [(r.names, at, at + r.samples) for r, at in zip(records, starts, strict=True)] == [
        (("H1", "H2", "V"), 0, 1000), (("H1", "H2", "V"), 1100, 1500), (("H1", "H2", "V"), 1600, 2000),
        (("H2",), 2500, 4000),
    ]  # fmt: skip


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.lists(st.lists(st.integers(1, 59), unique=True, max_size=3), min_size=1, max_size=3), st.integers(1, 9))
def test_every_time_that_all_channels_have_is_in_one_record(tmp_path, cuts, size):
    """Segments of each channel end at a cut and go on `size` samples later, on a grid of 20 samples."""
    truth = {letter: shaking(1200, seed) for seed, letter in enumerate("NEZ"[: len(cuts)])}
    there = {letter: np.ones(1200, bool) for letter in truth}
    parts = []
    for letter, its in zip(truth, cuts, strict=True):
        begin = 0
        for end in [20 * cut for cut in sorted(its)] + [1200]:
            parts.append((source(f"HN{letter}"), truth[letter][begin:end], begin))
            there[letter][end : end + size] = False
            begin = end + size
    records = read_all(save(tmp_path, packed(*parts)), gaps="split")
    seen = np.zeros(1200, int)
    for record in records:
        first = round((record.start - START) / np.timedelta64(5, "ms"))
        for component in record:
            expected = truth[component.channel[-1]][first : first + record.samples]
            assert np.array_equal(component.samples, expected)
        if len(record) == len(truth):
            seen[first : first + record.samples] += 1
    everywhere = np.logical_and.reduce(list(there.values()))
    assert np.array_equal(seen > 0, everywhere)
    assert seen.max() <= 1


def at_second(samples, start, version=2, second=None):
    """Return miniSEED that starts at a time; `second` is written over that of the header of its first record."""
    traces = pymseed.MS3TraceList()
    traces.add_data(source("HNZ"), samples, "i", 200.0, starttime=int(np.datetime64(start, "ns").astype(np.int64)))
    data = b"".join(
        traces.generate(encoding=pymseed.DataEncoding.STEIM2, format_version=version, max_record_length=512)
    )
    if second is None:
        return data
    changed = bytearray(data)
    struct.pack_into(">HHBBB", changed, 20, 2016, 366, 23, 59, second)  # miniSEED 2, "record start time"
    return bytes(changed)


@pytest.mark.parametrize("version", [2, 3])
def test_a_leap_second_is_no_overlap(tmp_path, version):
    x = shaking()
    # 15 s from 23:59:55 on hold a second 60: the next sample is of 00:00:09.
    first, rest = at_second(x[:2000], "2016-12-31T23:59:55", version), x[2000:]
    record = read(save(tmp_path, first + at_second(rest, "2017-01-01T00:00:04", version)))
    assert record["V"].samples.tolist() == x.tolist()
    assert record.findings == ()
    filled = read(save(tmp_path, first + at_second(rest[7:], "2017-01-01T00:00:04.035", version)), gaps="fill")
    assert filled.samples == len(x)
    assert ["7 missing samples" in f.what for f in filled.findings] == [True]
    # A year without one: a second is there twice, and differs.
    with pytest.raises(RecordError, match="an overlap of 1 s"):
        read(save(tmp_path, at_second(x[:2000], "2018-12-31T23:59:55") + at_second(rest, "2019-01-01T00:00:04")))


def test_a_record_may_begin_in_second_60(tmp_path):
    x = shaking(2000)
    # 23:59:55 + 5.5 s is 23:59:60.5; 4 s later it is 00:00:03.5.
    parts = at_second(x[:1100], "2016-12-31T23:59:55") + at_second(x[1100:1200], "2017-01-01T00:00:00.5", second=60)
    record = read(save(tmp_path, parts + at_second(x[1200:], "2017-01-01T00:00:00.000")))
    assert record["V"].samples.tolist() == x.tolist()


def test_leap_seconds_are_those_of_the_zone_data():
    file = Path("/usr/share/zoneinfo/leap-seconds.list")  # as the IERS publishes it
    if not file.exists():
        pytest.skip("no list of leap seconds is installed")
    rows = [line.split() for line in file.read_text().splitlines() if re.match(r"\d", line)]
    days = [np.datetime64("1900-01-01", "s") + int(row[0]) for row in rows]
    second = np.timedelta64(1, "s")
    for one in days[1:]:  # the first entry is the offset at the beginning, 10 s
        assert leap_seconds_between(one - second, one + second) == 1
    assert leap_seconds_between(days[0], np.datetime64("2026-01-01")) == len(days) - 1
