"""miniSEED: exact both ways, gaps never silently joined, damage named with its byte."""

from __future__ import annotations

import struct
import tracemalloc

import numpy as np
import pymseed
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from strongmotion.formats import miniseed as miniseed_room
from strongmotion.formats import read, read_all, write_miniseed
from strongmotion.formats.header import Reading
from strongmotion.foundation.errors import InputError, RecordError
from strongmotion.record import Component, Record, Station

START = np.datetime64("2031-04-17T03:26:27.125", "ns")


def shaking(n=3000, seed=1, step=900):
    return np.cumsum(np.random.default_rng(seed).integers(-step, step, n)).astype(np.int32)


def quay(n=3000, names=("H1", "H2", "V")):
    components = tuple(
        Component(name, shaking(n, seed), 0.005, "counts", sensitivity=4e5, start=START, channel=f"HN{letter}")
        for seed, (name, letter) in enumerate(zip(names, "12Z", strict=False))
    )
    return Record(components, Station("QUAY", "XX", "00", "Old Quay", 45.5, -12.25, 3.0, "box 7", "HN"))


def packed(*segments, version=2, length=512, encoding="STEIM2"):
    """Return miniSEED of (source identifier, samples, start in samples at 200 Hz), in separate records."""
    data = b""
    for source, samples, at in segments:
        traces = pymseed.MS3TraceList()
        kind = {"i": "i", "f": "f" if samples.dtype == np.float32 else "d"}[samples.dtype.kind]
        traces.add_data(source, samples, kind, 200.0, starttime=int(START.astype(np.int64)) + at * 5_000_000)
        code = pymseed.DataEncoding[encoding]
        data += b"".join(traces.generate(encoding=code, format_version=version, max_record_length=length))
    return data


def save(folder, data):
    path = folder / "quay.ms"
    path.write_bytes(data)
    return path


Z = "FDSN:XX_QUAY_00_H_N_Z"


@pytest.mark.parametrize("version", [2, 3])
@pytest.mark.parametrize("encoding", ["steim2", "int32"])
def test_integers_come_back_bit_for_bit(tmp_path, version, encoding):
    record = quay()
    write_miniseed(record, tmp_path / "a.ms", version=version, encoding=encoding)
    # The library itself says what was written: version and encoding as asked.
    first = next(iter(pymseed.MS3Record.from_file(tmp_path / "a.ms")))
    assert (first.formatversion, first.encoding) == (version, pymseed.DataEncoding[encoding.upper()])
    back = read(tmp_path / "a.ms")
    assert back.station.code == "QUAY"
    for one, two in zip(record, back, strict=True):
        assert two.samples.dtype == np.int32
        assert one.samples.tobytes() == two.samples.tobytes()
        assert (one.name, one.dt, one.start, one.channel) == (two.name, two.dt, two.start, two.channel)


def test_components_come_in_the_usual_order_whatever_their_codes(tmp_path):
    codes = (("H1", "HNN", 0.0), ("H2", "HNE", 90.0), ("V", "HNZ", None), ("roof", "HN4", None))
    parts = tuple(Component(n, shaking(), 0.005, "counts", 4e5, START, azimuth, channel=c) for n, c, azimuth in codes)
    write_miniseed(Record(parts, Station("QUAY", "XX")), tmp_path / "a.ms")
    assert read(tmp_path / "a.ms").components == parts


def test_version_3_keeps_all_that_the_record_says(tmp_path):
    record = quay()
    write_miniseed(record, tmp_path / "a.ms")
    back = read(tmp_path / "a.ms")
    assert back.components == record.components
    assert back.station == record.station
    assert back.source.format == "miniSEED 3"


slowly = settings(max_examples=100, suppress_health_check=[HealthCheck.function_scoped_fixture])
floats = st.floats(-1e18, 1e18)  # in g, as large as is read


@slowly
@given(
    samples=hnp.arrays(np.int32, st.integers(2, 300))
    | hnp.arrays(np.float64, st.integers(2, 300), elements=floats)
    | hnp.arrays(np.float32, st.integers(2, 300), elements=st.floats(-(2.0**59), 2.0**59, width=32)),
    dt=st.sampled_from([0.005, 0.01, 1 / 128, 1 / 3, 0.0024]) | st.floats(1e-4, 100),
    ns=st.integers(0, 2 * 10**18),
)
def test_any_record_comes_back_bit_for_bit(tmp_path, samples, dt, ns):
    unit = "counts" if samples.dtype.kind == "i" else "g"
    component = Component("H1", samples, dt, unit, start=np.datetime64(ns, "ns"))
    write_miniseed(Record((component,), Station("QUAY", "XX")), tmp_path / "a.ms")
    back = read(tmp_path / "a.ms").components[0]
    assert back.samples.dtype == samples.dtype
    assert back.samples.tobytes() == samples.tobytes()
    assert (back.dt, back.start, back.unit) == (dt, component.start, unit)


def test_differences_too_large_for_steim_2_are_kept(tmp_path):
    samples = np.array([-(2**31) + 1, 2**31 - 1] * 50, dtype=np.int32)
    write_miniseed(Record((Component("V", samples, 0.01, "counts", start=START),), Station("QUAY")), tmp_path / "a.ms")
    assert read(tmp_path / "a.ms")["V"].samples.tobytes() == samples.tobytes()


def test_what_miniseed_cannot_hold_is_refused(tmp_path):
    def refused(words, version=3, **how):
        component = Component(
            **{"name": "H1", "samples": np.arange(50), "dt": 0.01, "unit": "counts", "start": START} | how
        )
        with pytest.raises(RecordError, match=words):
            write_miniseed(Record((component,), Station("QUAY", "XX")), tmp_path / "a.ms", version=version)
        assert not (tmp_path / "a.ms").exists()

    refused("no start time", start=None)
    refused("32-bit integers", samples=np.arange(50) + 2**40)
    refused("samples, interval or start would change", version=2, dt=0.0123456789)
    refused("samples, interval or start would change", version=2, start=START + np.timedelta64(7, "ns"))
    with pytest.raises(InputError, match="version 4"):
        write_miniseed(quay(), tmp_path / "a.ms", version=4)


def test_several_records_are_named_and_read_one_by_one(tmp_path):
    data = packed(
        (Z, shaking(), 0), ("FDSN:XX_QUAY_00_H_N_N", shaking(seed=2), 0),
        ("FDSN:XX_PIER__H_N_E", shaking(seed=3), 0), ("FDSN:XX_QUAY_10_H_N_E", shaking(seed=4), 0),
    )  # fmt: skip
    path = save(tmp_path, data)
    records = read_all(path)
    assert sorted((r.station.code, r.station.location, r.names) for r in records) == [
        ("PIER", "", ("H2",)), ("QUAY", "00", ("H1", "V")), ("QUAY", "10", ("H2",)),
    ]  # fmt: skip
    with pytest.raises(RecordError, match=r"holds 3 records: .*XX\.PIER\.\.HN_20310417T032627.*read_all"):
        read(path)


def test_a_log_is_no_motion(tmp_path):
    traces = pymseed.MS3TraceList()
    traces.add_data("FDSN:XX_QUAY__L_O_G", b"clock locked", "t", 0.0, starttime=int(START.astype(np.int64)))
    log = b"".join(traces.generate(encoding=pymseed.DataEncoding.TEXT, format_version=2, max_record_length=512))
    assert [r.names for r in read_all(save(tmp_path, packed((Z, shaking(), 0)) + log))] == [("V",)]
    with pytest.raises(RecordError, match="no samples of motion"):
        read(save(tmp_path, log))


# --- gaps --------------------------------------------------------------------------------------------------------


def with_gap(missing, kind=np.int32):
    x = shaking().astype(kind)
    encoding = "STEIM2" if kind == np.int32 else "FLOAT64"
    return x, packed((Z, x[:1000], 0), (Z, x[1000 + missing :], 1000 + missing), encoding=encoding)


def test_a_gap_is_refused_with_its_place_and_length(tmp_path):
    path = save(tmp_path, with_gap(7)[1])
    with pytest.raises(RecordError, match=r"H_N_Z has a gap of 0\.035 s before 2031-04-17T03:26:32\.160"):
        read(path)


def test_a_small_gap_is_filled_by_a_straight_line_when_asked(tmp_path):
    x, data = with_gap(7)
    record = read(save(tmp_path, data), gaps="fill")
    samples = record["V"].samples
    assert samples.size == x.size
    assert samples[:1000].tolist() + samples[1007:].tolist() == x[:1000].tolist() + x[1007:].tolist()
    line = x[999] + (x[1007] - x[999]) * np.arange(1, 8) / 8
    np.testing.assert_allclose(samples[1000:1007], line, atol=0.5)
    (finding,) = record.findings
    assert (finding.name, finding.severity, finding.component) == ("gap", "doubt", "V")
    assert "7 missing samples" in finding.what


def test_a_long_gap_is_not_filled(tmp_path):
    path = save(tmp_path, with_gap(30)[1])
    with pytest.raises(RecordError, match=r"a gap of 0\.15 s"):
        read(path, gaps="fill")
    record = read(path, gaps="longest")
    assert record.samples == 1970
    assert record.start == START + np.timedelta64(1030 * 5, "ms")
    assert "1000 samples left out" in record.findings[0].what


def test_data_sent_twice_are_taken_once(tmp_path):
    x = shaking()
    record = read(save(tmp_path, packed((Z, x[:1500], 0), (Z, x[1200:], 1200))))
    assert record["V"].samples.tobytes() == x.tobytes()
    assert [(f.name, f.severity) for f in record.findings] == [("overlap", "note")]
    assert "300 samples" in record.findings[0].what


def test_contradictory_data_are_refused(tmp_path):
    x = shaking()
    y = x.copy()
    y[1300] += 1
    path = save(tmp_path, packed((Z, x[:1500], 0), (Z, y[1200:], 1200)))
    for how in ({}, {"gaps": "fill"}):
        with pytest.raises(RecordError, match=r"an overlap of 1\.5 s"):
            read(path, **how)
    assert read(path, gaps="longest").samples == 1800


def test_a_drifting_clock_is_found(tmp_path):
    # Each record begins 0.3 samples late: joined, as each step is below half a sample, and said.
    x = shaking(2000)
    data = b""
    for k in range(4):
        template = pymseed.MS3Record(encoding=pymseed.DataEncoding.INT32)
        template.sourceid, template.samprate, template.formatversion = Z, 200.0, 3
        template.starttime = int(START.astype(np.int64)) + k * 500 * 5_000_000 + k * 1_500_000
        data += b"".join(template.generate(x[500 * k : 500 * (k + 1)], "i"))
    record = read(save(tmp_path, data))
    assert record["V"].samples.tobytes() == x.tobytes()
    assert [finding.name for finding in record.findings] == ["drifting clock"]
    assert "0.9 samples" in record.findings[0].what


def test_gaps_and_repeats_over_several_segments(tmp_path):
    x = shaking()
    data = packed((Z, x[:800], 0), (Z, x[700:1500], 700), (Z, x[600:1400], 600), (Z, x[1505:], 1505))
    record = read(save(tmp_path, data), gaps="fill")
    samples = record["V"].samples
    assert samples[:1500].tolist() == x[:1500].tolist()
    assert samples[1505:].tolist() == x[1505:].tolist()
    assert [finding.name for finding in record.findings] == ["overlap", "overlap", "gap"]


def test_a_file_of_nothing_but_gaps_is_refused_quickly(tmp_path):
    order = np.random.default_rng(5).permutation(6000)
    one = packed((Z, np.arange(10, dtype=np.int32), 0), encoding="INT32", version=3)
    data = bytearray()
    for k in order.tolist():
        # Day of the year and second of version 3's header, which stand at bytes 10 and 14.
        record = bytearray(one)
        struct.pack_into("<H", record, 10, 1 + k // 86400)
        record[12], record[13], record[14] = k // 3600 % 24, k // 60 % 60, k % 60
        record[28:32] = bytes(4)
        record[28:32] = struct.pack("<I", crc32c(bytes(record)))
        data += record
    with pytest.raises(RecordError, match="or 1000 segments of one"):
        read(save(tmp_path, bytes(data)), gaps="longest")
    assert read(save(tmp_path, bytes(data[: 500 * len(one)])), gaps="longest").samples >= 10


# --- what is missing, and damage ---------------------------------------------------------------------------------


def test_floats_need_a_unit(tmp_path):
    x = np.sin(np.arange(500.0))
    path = save(tmp_path, packed((Z, x, 0), encoding="FLOAT64"))
    with pytest.raises(RecordError, match=r"holds float64 numbers, and miniSEED states no unit.*--sample-unit"):
        read(path)
    component = read(path, unit="g").components[0]
    assert component.samples.tobytes() == x.tobytes()
    assert component.unit == "g"


@pytest.mark.parametrize("version", [2, 3])
def test_a_cut_file_is_refused_or_read_to_its_last_whole_record(tmp_path, version):
    x = shaking()
    data = packed((Z, x, 0), version=version)
    path = save(tmp_path, data[:-100])
    with pytest.raises(RecordError, match=r"the record at byte \d+ should be \d+ bytes long, \d+ were found.*truncate"):
        read(path)
    record = read(path, missing="truncate")
    n = record.samples
    assert 0 < n < x.size
    assert record["V"].samples.tobytes() == x[:n].tobytes()
    assert [f.name for f in record.findings] == ["cut off"]


@pytest.mark.parametrize("version", [2, 3])
def test_a_flipped_bit_in_the_samples_is_an_error(tmp_path, version):
    # Version 3 carries a CRC; in version 2 the last sample that Steim compression states is the check.
    data = bytearray(packed((Z, shaking(), 0), version=version))
    data[1200] ^= 0x10
    with pytest.raises(RecordError, match=r"quay\.ms: the record at byte \d+ is damaged \('"):
        read(save(tmp_path, bytes(data)))


def test_junk_between_records_is_an_error_with_its_place(tmp_path):
    data = packed((Z, shaking(), 0))
    with pytest.raises(RecordError, match="the record at byte 513 is damaged"):
        read(save(tmp_path, data[:512] + b"junk" * 128 + data[512:]))


def test_a_huge_count_is_refused_in_little_memory(tmp_path):
    data = bytearray(packed((Z, shaking(), 0), version=3, encoding="INT32"))
    struct.pack_into("<I", data, 24, 2**32 - 1)
    struct.pack_into("<I", data, 28, 0)
    # Header: the CRC of version 3 is Castagnoli's, and stands at byte 28, taken over the record with 0 in its place.
    length = 40 + data[33] + struct.unpack_from("<H", data, 34)[0] + struct.unpack_from("<I", data, 36)[0]
    struct.pack_into("<I", data, 28, crc32c(bytes(data[:length])))
    tracemalloc.start()
    with pytest.raises(RecordError, match=r"quay\.ms: more samples are declared than \d+ bytes can hold"):
        read(save(tmp_path, bytes(data)))
    assert tracemalloc.get_traced_memory()[1] < 50e6
    tracemalloc.stop()


@pytest.mark.parametrize("version", [2, 3])
def test_a_file_cut_inside_a_header_is_refused_or_read_to_the_record_before(tmp_path, version):
    x = shaking()
    data = packed((Z, x, 0), version=version)
    second = data.index(b"MS\x03", 3) if version == 3 else 512  # where the second record begins
    whole = read(save(tmp_path, data[:second]))["V"].samples
    for length in range(9, 64):
        for begin in (0, second):
            path = save(tmp_path, data[: begin + length])
            with pytest.raises(RecordError, match=rf"quay\.ms: the record at byte {begin + 1} "):
                read(path)
        assert read(path, missing="truncate")["V"].samples.tobytes() == whole.tobytes()


def test_a_channel_without_an_orientation_names_the_file(tmp_path):
    data = bytearray(packed((Z, shaking(100), 0)))
    data[15:18] = b"   "  # the channel's code, by the header of miniSEED 2
    with pytest.raises(RecordError, match=r"quay\.ms: .* has no channel code"):
        read(save(tmp_path, bytes(data)))


def recorded(samples, start_ns, rate=200.0):
    """Return miniSEED 3, which holds times to the nanosecond, of samples that start so long after START."""
    traces = pymseed.MS3TraceList()
    traces.add_data(Z, samples, "i", rate, starttime=int(START.astype(np.int64)) + start_ns)
    return b"".join(traces.generate(encoding=pymseed.DataEncoding.STEIM2, format_version=3))


def test_segments_off_each_others_instants_are_never_filled(tmp_path):
    x = shaking()
    late = recorded(x[1003:], 1003 * 5_000_000 + 1_250_000)  # a gap of 3 samples and a quarter
    with pytest.raises(RecordError, match=r"has a gap of 0\.01625 s before"):
        read(save(tmp_path, recorded(x[:1000], 0) + late), gaps="fill")


def test_a_change_of_the_sampling_rate_is_refused(tmp_path):
    x = shaking()
    for gaps in ("refuse", "longest", "fill"):
        with pytest.raises(RecordError, match="changes its sampling rate"):
            read(save(tmp_path, recorded(x[:1000], 0) + recorded(x[1000:], 5_000_000_000, 202.0)), gaps=gaps)


def test_a_repeat_within_a_longer_segment_is_taken_once(tmp_path):
    x = shaking()
    record = read(save(tmp_path, recorded(x, 0) + recorded(x[500:700], 500 * 5_000_000)))
    assert record["V"].samples.tobytes() == x.tobytes()
    assert [f.name for f in record.findings] == ["overlap"]


def _shifted(crc):
    for _ in range(8):
        crc = (crc >> 1) ^ (0x82F63B78 * (crc & 1))
    return crc


_TABLE = [_shifted(byte) for byte in range(256)]


def crc32c(data):
    """CRC-32C (RFC 3720, appendix B.4), a byte at a time."""
    crc = 0xFFFFFFFF
    for byte in data:
        crc = (crc >> 8) ^ _TABLE[(crc ^ byte) & 0xFF]
    return crc ^ 0xFFFFFFFF


def test_crc_by_its_published_check_value():
    assert crc32c(b"123456789") == 0xE3069283  # RFC 3720's polynomial; check value of CRC-32C, from memory


# --- the command line --------------------------------------------------------------------------------------------


def test_a_batch_takes_every_record_of_a_file(tmp_path):
    from strongmotion import Settings
    from strongmotion.batch import process_files

    quick = Settings.from_dict({"spectra": {"periods": [0.2, 1.0]}})
    sources = ("FDSN:XX_QUAY_00_H_N_Z", "FDSN:XX_PIER_00_H_N_Z", "FDSN:XX_MOLE_00_H_H_Z")
    data = packed(*((source, shaking(6000, seed), 0) for seed, source in enumerate(sources)))
    path = save(tmp_path, data)
    how = {"sensitivity": 4e5, "sensor": "motion"}
    outcome = process_files([path], tmp_path / "archive", quick, reading=how)
    assert [done.record for done in outcome.done] == [
        f"XX.{station}_20310417T032627.125" for station in ("MOLE.00.HH", "PIER.00.HN", "QUAY.00.HN")
    ]
    again = process_files([path], tmp_path / "archive", quick, reading=how)
    assert (len(again.skipped), len(again.done)) == (3, 0)
    bare = process_files([path], tmp_path / "other", quick, reading={"sensor": "motion"})
    assert [(failure.file, "record XX." in failure.reason) for failure in bare.failed] == [(path, True)] * 3


def test_inspect_shows_every_record(tmp_path):
    from typer.testing import CliRunner

    from strongmotion.cli import app

    path = save(tmp_path, packed((Z, shaking(), 0), ("FDSN:XX_PIER_00_H_N_Z", shaking(), 0)))
    shown = CliRunner().invoke(app, ["inspect", str(path), "--sensitivity", "4e5"]).output
    assert shown.count("miniSEED 2") == 2
    assert "XX, PIER, 00" in shown
    assert "400000" in shown


@pytest.mark.parametrize("end", [None, -1, 520, 54, 50])
def test_records_alike_are_parted_as_one_by_one(monkeypatch, end):
    """Files of one record length are not walked through; it must make no difference, cut or whole."""
    ramp = Component(
        "H1", np.arange(20_000, dtype=np.int32) ** 2, 0.01, "counts", 1.0, np.datetime64("2031-04-17", "ns")
    )
    data = miniseed_room.miniseed_of(Record((ramp,), Station("QUAY", "XX")), ramp, 2, "int32")[:end]
    monkeypatch.setattr(miniseed_room, "RECORDS_AT_ONCE", 3)

    def parted():
        try:
            return miniseed_room._whole_records(Reading("a.ms", data))
        except RecordError as error:
            return str(error)

    at_once = parted()
    assert (miniseed_room._common_length(data) > 0) == (end is None)
    monkeypatch.setattr(miniseed_room, "_common_length", lambda data: 0)
    assert parted() == at_once
