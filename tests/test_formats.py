"""Reading and writing records: what a file says is what the record holds."""

from __future__ import annotations

import hashlib

import numpy as np
import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from strongmotion.formats import lines, read, write_csv, write_text
from strongmotion.formats.header import Reading
from strongmotion.formats.time_column import interval_from_times, printed_place
from strongmotion.foundation.errors import InputError, RecordError, SettingsError
from strongmotion.record import Component, Record, Station

G = 9.80665  # m/s², ISO 80000-3


def save(folder, text, name="quay.csv"):
    path = folder / name
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return path


def assert_same(one, two):
    assert one.components == two.components
    assert one.station == two.station


# --- CSV ---------------------------------------------------------------------------------------------------------


def test_csv_holds_what_it_says(tmp_path):
    path = save(
        tmp_path,
        "# station: QUAY\n# network: XX\n# location: 00\n# name: Old quay\n# latitude: 45.5\n# longitude: -12.25\n"
        "# elevation: 3\n# instrument: box 7\n# start: 2031-05-04T03:02:01.25Z\n# dt_s: 0.005\n"
        "# sensitivity: 400000\n# sensitivity_V: 500000\n# azimuth_H1: 17.5\n# a remark without a key\n"
        "H1 [counts],H2 [counts],V [counts]\n1,-2,3\n4,5,-6\n",
    )
    record = read(path)
    assert record.station == Station("QUAY", "XX", "00", "Old quay", 45.5, -12.25, 3.0, "box 7")
    assert record.names == ("H1", "H2", "V")
    assert record["V"].samples.tolist() == [3, -6]
    assert record["V"].samples.dtype == np.int64
    assert (record["H1"].sensitivity, record["V"].sensitivity) == (400000, 500000)
    assert (record["H1"].azimuth, record["H2"].azimuth) == (17.5, None)
    assert record.start == np.datetime64("2031-05-04T03:02:01.25")
    assert record.dt == 0.005
    assert record.source.file == "quay.csv"
    assert record.source.format == "CSV"
    assert record.source.sha256 == hashlib.sha256(path.read_bytes()).hexdigest()
    assert record.findings == ()


@pytest.mark.parametrize(
    ("label", "expected"),
    [
        ("N", ("H1", 0.0, 0.0, "N")),
        ("NS", ("H1", 0.0, 0.0, "NS")),
        ("E", ("H2", 90.0, 0.0, "E")),
        ("ew", ("H2", 90.0, 0.0, "ew")),
        ("Z", ("V", None, -90.0, "Z")),
        ("UD", ("V", None, -90.0, "UD")),
        ("HNE", ("H2", 90.0, 0.0, "HNE")),  # FDSN channel code: H high rate, N accelerometer, E
        ("H1", ("H1", None, None, "")),
        ("roof-3", ("roof-3", None, None, "")),
    ],
)
def test_labels_tell_name_and_direction(tmp_path, label, expected):
    record = read(save(tmp_path, f"# dt_s: 0.01\n{label} [g]\n0.1\n0.2\n"))
    component = record.components[0]
    assert (component.name, component.azimuth, component.dip, component.channel) == expected


@pytest.mark.parametrize(("unit", "in_si"), [("cm/s²", 0.01), ("cm/s2", 0.01), ("Gal", 0.01), ("g", G), ("m/s^2", 1.0)])
def test_unit_of_a_column(tmp_path, unit, in_si):
    component = read(save(tmp_path, f"# dt_s: 0.01\nH1 [{unit}]\n0.5\n0.25\n")).components[0]
    assert component.samples.tolist() == [0.5, 0.25]
    assert component.scale == in_si


def test_scale_becomes_sensitivity_and_samples_stay_raw(tmp_path):
    component = read(save(tmp_path, "# dt_s: 0.01\n# scale_H1: 0.5\nH1 [gal]\n10\n20\n")).components[0]
    assert component.samples.dtype == np.int64
    np.testing.assert_allclose(component.samples * component.scale, [0.05, 0.1], rtol=1e-15)


@pytest.mark.parametrize("delimiter", [",", ";", "\t"])
@pytest.mark.parametrize("newline", ["\n", "\r\n", "\r"])
@pytest.mark.parametrize("bom", ["", "\ufeff"])
def test_delimiters_and_line_ends(tmp_path, delimiter, newline, bom):
    rows = ["# dt_s: 0.02", "N [g];E [g]", "0.125; -1e-3", "7;8.5"]
    text = bom + newline.join(row.replace(";", delimiter) for row in rows) + newline
    record = read(save(tmp_path, text))
    assert record["H1"].samples.tolist() == [0.125, 7.0]
    assert record["H2"].samples.tolist() == [-1e-3, 8.5]


def test_format_is_told_from_content_not_from_the_name(tmp_path):
    record = Record((Component("H1", np.arange(20), 0.01, "counts"),))
    write_text(record, tmp_path / "odd.csv", layout="harbour")
    write_csv(record, tmp_path / "odd.txt")
    assert read(tmp_path / "odd.csv").source.format == "text, layout harbour"
    assert read(str(tmp_path / "odd.txt")).source.format == "CSV"


def test_home_folder_is_expanded(tmp_path, monkeypatch):
    monkeypatch.setenv("HOME", str(tmp_path))
    save(tmp_path, "# dt_s: 0.01\nH1 [g]\n0.1\n0.2\n")
    assert read("~/quay.csv").samples == 2


def test_caller_overrules_the_header_and_a_finding_says_so(tmp_path):
    path = save(tmp_path, "# dt_s: 0.01\n# sensitivity: 10\nH1 [counts]\n1\n2\n")
    record = read(path, sensitivity=20.0)
    assert record["H1"].sensitivity == 20
    assert [f.name for f in record.findings] == ["overruled header"]
    assert "10" in record.findings[0].what
    assert "20" in record.findings[0].what
    bare = read(save(tmp_path, "# dt_s: 0.01\nH1,H2\n1,2\n2,3\n"), unit="gal")
    assert bare["H1"].unit == "cm/s2"
    assert bare.findings == ()


def test_misspelt_key_is_noted(tmp_path):
    record = read(save(tmp_path, "# dt_s: 0.01\n# sensitivty_H1: 10\nH1 [counts]\n1\n2\n"))
    (finding,) = record.findings
    assert "sensitivty_H1 (line 2" in finding.what
    assert finding.severity == "note"


def test_wrong_arguments_are_refused(tmp_path):
    path = save(tmp_path, "# dt_s: 0.01\nH1 [g]\n1\n2\n")
    with pytest.raises(InputError, match="refuse"):
        read(path, missing="guess")
    with pytest.raises(InputError, match="furlong"):
        read(path, unit="furlong")
    with pytest.raises(InputError, match="sensitivity"):
        read(path, sensitivity=0.0)


# --- the time column ---------------------------------------------------------------------------------------------


def interval(texts, declared=None):
    place = printed_place([*texts[:50], *texts[-50:]])
    times = np.array([float(text) for text in texts])
    return interval_from_times(Reading("quay.csv", b""), times, place, 2, declared)


@pytest.mark.parametrize("true", [0.005, 0.01, 0.004, 1 / 128, 1 / 60, 0.0024, 0.1, 1 / 75, 1.0])
@pytest.mark.parametrize("print_time", ["{:.3f}", "{:.4f}", "{:.6f}", "{!r}", "{:.7e}", "{:.9g}"])
@pytest.mark.parametrize("start", [0.0, 12.345])
def test_interval_survives_rounding_in_print(true, print_time, start):
    texts = [print_time.format(start + i * true) for i in range(3000)]
    # Recovered exactly wherever the true interval is a short decimal or a whole rate that the print resolves; printing
    # to 0.001 s over 3000 samples leaves an error of at most 0.001/2999 s, whichever value is chosen.
    found = interval(texts)
    assert abs(found - true) <= float(printed_place(texts)) / 2999 + 1e-15
    if true in (0.005, 0.01, 0.004, 0.1, 1.0):
        assert found == true


def test_single_precision_times():
    texts = [repr(float(np.float32(i * 0.005))) for i in range(60000)]
    assert interval(texts) == 0.005


def test_declared_interval_wins_where_the_print_allows():
    texts = [f"{i / 128:.3f}" for i in range(1000)]
    assert interval(texts, declared=1 / 128) == 1 / 128
    coarse = [f"{i * 0.005:.2f}" for i in range(1000)]
    assert interval(coarse, declared=0.005) == 0.005
    with pytest.raises(RecordError, match=r"too coarse.*dt_s"):
        interval(coarse)
    with pytest.raises(RecordError, match=r"declares 0\.01 s"):
        interval([f"{i * 0.005:.3f}" for i in range(1000)], declared=0.01)


def test_a_gap_in_coarse_times_is_uneven_not_coarse():
    with pytest.raises(RecordError, match="line 5: time steps are uneven"):
        interval(["0", "1", "2", "4"])


@pytest.mark.parametrize(
    ("text", "utc"),
    [
        ("2031-04-17T03:26:27+09:00", "2031-04-16T18:26:27"),
        ("2031-04-17T03:26:27-0330", "2031-04-17T06:56:27"),
        ("2031-04-17T03:26:27Z", "2031-04-17T03:26:27"),
        ("2031-04-17 03:26", "2031-04-17T03:26:00"),
    ],
)
def test_a_start_is_turned_into_utc(tmp_path, text, utc):
    # ISO 8601: local time is ahead of UTC by a positive offset.
    record = read(save(tmp_path, f"# start: {text}\n# dt_s: 0.01\nH1 [g]\n1\n2\n"))
    assert record.start == np.datetime64(utc, "ns")


def test_an_interval_that_contradicts_the_rate_or_the_times_is_refused(tmp_path):
    with pytest.raises(RecordError, match=r"line 2: dt is 0\.01 s and sampling_rate 99 Hz, which contradict"):
        read(save(tmp_path, "# dt_s: 0.01\n# sampling_rate: 99\nH1 [g]\n1\n2\n"))
    times = "".join(f"{i * 0.0102:.4f},{i}\n" for i in range(60))
    with pytest.raises(RecordError, match=r"the time column steps by 0\.0102 s, but the header declares 0\.01 s"):
        read(save(tmp_path, f"# dt_s: 0.01\ntime [s],H1 [g]\n{times}"))


@settings(max_examples=60, deadline=None)
@given(
    n=st.integers(5, 400), gap=st.integers(0, 398), dt=st.sampled_from([0.005, 0.01, 1 / 128]), size=st.integers(1, 5)
)
def test_a_gap_is_always_seen(n, gap, dt, size):
    gap = gap % (n - 1)
    times = [(i + size * (i > gap)) * dt for i in range(n)]
    with pytest.raises(RecordError, match=rf"line {gap + 3}: time steps are uneven"):
        interval([f"{t:.5f}" for t in times])


# --- round trips -------------------------------------------------------------------------------------------------

names = st.lists(st.sampled_from(["H1", "H2", "V", "roof-3", "base_x"]), min_size=1, max_size=5, unique=True)
words = st.text("abcdefghij KLMNOP-.'äß,;:=#", max_size=20).map(lambda text: " ".join(text.split()))
angle = st.none() | st.floats(-180, 180)


@st.composite
def records(draw, kind):
    n = draw(st.integers(2, 40))
    dt = draw(st.sampled_from([0.005, 0.01, 1 / 128, 1 / 3]) | st.floats(1e-6, 100))
    start = draw(st.none() | st.integers(0, 4 * 10**18).map(lambda ns: np.datetime64(ns, "ns")))
    numbers = (
        hnp.arrays(np.int64, n, elements=st.integers(-(2**31), 2**31))
        if kind == "counts"
        else hnp.arrays(np.float64, n, elements=st.floats(-1e6, 1e6))
    )
    components = [
        Component(
            name,
            draw(numbers),
            dt,
            unit="counts" if kind == "counts" else draw(st.sampled_from(["g", "cm/s2", "m/s2"])),
            sensitivity=draw(st.none() | st.floats(1e-3, 1e9)) if kind == "counts" else None,
            start=start,
            azimuth=draw(angle),
            dip=draw(st.none() | st.floats(-90, 90)),
            channel=draw(st.sampled_from(["", "HNZ", "12"])),
        )
        for name in draw(names)
    ]
    coordinate = st.none() | st.floats(-90, 90)
    station = Station(
        draw(st.sampled_from(["", "QUAY"])),
        "XX",
        "",
        draw(words),
        draw(coordinate),
        draw(coordinate),
        None,
        draw(words),
    )
    return Record(tuple(components), station)


slowly = settings(max_examples=80, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])


@slowly
@given(record=records("counts") | records("acceleration"))
def test_csv_round_trip(tmp_path, record):
    write_csv(record, tmp_path / "a.csv")
    assert_same(read(tmp_path / "a.csv"), record)


@slowly
@given(record=records("counts"))
def test_harbour_round_trip(tmp_path, record):
    if any(len(str(value)) > 10 for component in record for value in component.samples.tolist()):
        with pytest.raises(RecordError, match="harbour cannot hold"):
            write_text(record, tmp_path / "a.txt", layout="harbour")
    else:
        write_text(record, tmp_path / "a.txt", layout="harbour")
        assert_same(read(tmp_path / "a.txt"), record)


def test_numbers_that_fill_their_columns_are_not_cut(tmp_path):
    samples = np.array([7, 1234567890] * 20, dtype=np.int32)
    record = Record((Component("H1", samples, 0.01, "counts", 4e5),))
    write_text(record, tmp_path / "a.txt", layout="harbour")
    assert np.array_equal(read(tmp_path / "a.txt")["H1"].samples, samples)


@slowly
@given(record=records("counts") | records("acceleration"))
def test_ridge_round_trip(tmp_path, record):
    write_text(record, tmp_path / "a.txt", layout="ridge")
    assert_same(read(tmp_path / "a.txt"), record)


def test_what_a_layout_cannot_hold_is_refused_before_writing(tmp_path):
    floats = Record((Component("H1", np.array([0.1, 0.2]), 0.01, "g"),))
    with pytest.raises(RecordError, match=r"cannot hold the numbers.*write_csv"):
        write_text(floats, tmp_path / "a.txt", layout="harbour")
    long_name = Record((Component("H1", np.arange(9), 0.01, "counts"),), Station(name="x" * 81))
    with pytest.raises(RecordError, match="harbour cannot hold this record"):
        write_text(long_name, tmp_path / "a.txt", layout="harbour")
    assert not (tmp_path / "a.txt").exists()


def test_fast_and_precise_parsing_agree_with_pandas(tmp_path):
    rng = np.random.default_rng(20310504)
    values = rng.normal(size=(500, 3)) * 10.0 ** rng.integers(-12, 6, (500, 3))
    table = pd.DataFrame(values, columns=["H1 [g]", "H2 [g]", "V [g]"])
    path = save(tmp_path, "# dt_s: 0.01\n" + table.to_csv(index=False))
    record = read(path)
    assert np.array_equal(np.column_stack([c.samples for c in record]), values)


@pytest.mark.parametrize("dtype", [np.int64, np.float64])
def test_a_long_record_comes_back_bit_for_bit(tmp_path, dtype):
    # Long enough for the compiled reader.
    rng = np.random.default_rng(20310504)
    whole, powers = rng.integers(-(2**62), 2**62, 4000), rng.integers(-30, 30, 4000)
    values = whole if dtype == np.int64 else rng.normal(size=4000) * 10.0**powers
    record = Record(tuple(Component(name, values + k, 0.005, "counts") for k, name in enumerate(("H1", "V"))))
    write_csv(record, tmp_path / "a.csv")
    write_text(record, tmp_path / "a.txt", layout="ridge")
    assert_same(read(tmp_path / "a.csv"), record)
    assert_same(read(tmp_path / "a.txt"), record)


def test_both_ways_of_reading_csv_agree(tmp_path, monkeypatch):
    from test_fuzz import mutated

    path = save(tmp_path, "# dt_s: 0.01\nH1 [g];V [g]\n" + "".join(f"{i * 0.37!r}; {-i}\n" for i in range(30)))
    data = path.read_bytes()
    rng = np.random.default_rng(20310504)

    def outcome(compiled_from):
        monkeypatch.setattr(lines, "COMPILED_FROM", compiled_from)
        try:
            return read(path).raw_sha256
        except RecordError as error:
            return str(error)

    for _ in range(500):
        path.write_bytes(mutated(data, rng))
        assert outcome(0) == outcome(10**12)


@pytest.mark.parametrize("name", ["N", "h1", "time", "HNE"])
def test_names_that_would_change_are_not_written(tmp_path, name):
    record = Record((Component(name, np.arange(3), 0.01, "counts"),))
    with pytest.raises(RecordError, match="read as something else"):
        write_csv(record, tmp_path / "a.csv")
    if name != "time":
        with pytest.raises(RecordError, match="cannot hold this record"):
            write_text(record, tmp_path / "a.txt", layout="ridge")


def test_unwritable_place(tmp_path):
    record = Record((Component("H1", np.arange(3), 0.01, "counts"),))
    with pytest.raises(RecordError, match="could not be written"):
        write_csv(record, tmp_path / "none" / "a.csv")


# --- layouts -----------------------------------------------------------------------------------------------------

LAYOUT = """
name = "slope"
recognise = 'SLOPE STATION'
encoding = "latin-1"
[header]
first = '^SLOPE STATION'
lines = 3
[header.station]
pattern = 'STATION (\\w+)'
[header.component]
line = 2
columns = [1, 4]
[header.sampling_rate]
line = 2
pattern = '(\\S+) Hz'
[header.samples]
line = 2
pattern = 'n=(\\d+)'
[header.name]
line = 3
columns = [1, 40]
[header.scale]
value = 0.25
[header.unit]
value = "gal"
[block]
values_per_line = 3
width = 4
"""
SLOPE = (
    "SLOPE STATION K7\nN    200.0 Hz n=5\nVallée haute\n 100-200 300\n-400 500\n"
    "SLOPE STATION K7\nUD   200.0 Hz n=5\nVallée haute\n   1   2   3\n   4   5\n"
)


def test_own_layout(tmp_path):
    layout = save(tmp_path, LAYOUT, "slope.toml")
    record = read(save(tmp_path, SLOPE.encode("latin-1"), "k7.dat"), layout=layout)
    assert record.names == ("H1", "V")
    assert record["H1"].samples.tolist() == [100, -200, 300, -400, 500]
    assert (record.dt, record.station.code, record.station.name) == (0.005, "K7", "Vallée haute")
    assert record["V"].dip == -90
    np.testing.assert_allclose(record["H1"].scale * 100, 0.25 * 100 * 0.01, rtol=1e-15)


def test_layout_that_does_not_fit_is_refused(tmp_path):
    layout = save(tmp_path, LAYOUT, "slope.toml")
    with pytest.raises(RecordError, match=r"quay.csv: the file does not look like text, layout slope"):
        read(save(tmp_path, "# dt_s: 0.01\nH1 [g]\n1\n2\n"), layout=str(layout))


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("recognise", "recognize", "unknown key 'recognize', perhaps 'recognise'"),
        ("[header.scale]", "[header.scales]", "unknown key 'scales', perhaps 'scale'"),
        ("values_per_line", "value_per_line", "perhaps 'values_per_line'"),
        ("columns = [1, 4]", "columns = [4, 1]", r"[header.component]: columns must be"),
        ("columns = [1, 4]", "colums = [1, 4]", "perhaps 'columns'"),
        ("lines = 3", "lines = '3'", "lines must be a whole number"),
        ("lines = 3", "lines = 3\nlast = 'x'", "one way"),
        ("lines = 3", "lines = 1", "beyond the 1 header lines"),
        ("(\\S+) Hz", "\\S+ Hz", "must have one group"),
        ("(\\S+) Hz", "((\\S+ Hz", "not a supported regular expression"),
        ("width = 4", "width = 0", "at least 1"),
        ('"latin-1"', '"latin-99"', "unknown encoding"),
        ("[block]", "[block", "not TOML"),
        ("[header.sampling_rate]", "[header.elevation]", "no sampling interval"),
        ("value = 0.25", "value = 0.25\nline = 1", "without other keys"),
    ],
)
def test_unsound_layouts_are_refused(tmp_path, old, new, words):
    assert old in LAYOUT
    layout = save(tmp_path, LAYOUT.replace(old, new), "slope.toml")
    with pytest.raises(SettingsError) as caught:
        read(save(tmp_path, SLOPE.encode("latin-1"), "k7.dat"), layout=layout)
    assert words in str(caught.value)
    assert str(caught.value).startswith("slope.toml: ")


def test_missing_layout_names_the_ready_ones(tmp_path):
    with pytest.raises(SettingsError, match=r"harbour, plain, ridge"):
        read(save(tmp_path, "x"), layout=tmp_path / "none.toml")


def test_layout_without_a_writer(tmp_path):
    layout = save(tmp_path, LAYOUT, "slope.toml")
    with pytest.raises(SettingsError, match=r"no \[write\] table"):
        write_text(Record((Component("H1", np.arange(3), 0.01, "counts"),)), tmp_path / "a", layout=layout)


def test_components_of_unequal_length_share_their_common_window(tmp_path):
    layout = save(tmp_path, LAYOUT, "slope.toml")
    text = SLOPE.replace("UD   200.0 Hz n=5", "UD   200.0 Hz n=4").replace("   4   5\n", "   4\n")
    path = save(tmp_path, text.encode("latin-1"), "k7.dat")
    with pytest.raises(RecordError, match="common_window=True"):
        read(path, layout=layout)
    record = read(path, layout=layout, common_window=True)
    assert record.samples == 4
    assert record.findings


@pytest.mark.parametrize("brackets", ["[]", "()"])
def test_units_stand_in_either_kind_of_brackets(tmp_path, brackets):
    left, right = brackets
    head = ",".join(f"{name} {left}{unit}{right}" for name, unit in (("Time", "s"), ("NS", "g"), ("UD", "cm/s2")))
    path = tmp_path / "a.csv"
    path.write_text(f"{head}\n0,1,2\n0.01,3,4\n")
    record = read(path)
    assert [(part.name, part.unit) for part in record] == [("H1", "g"), ("V", "cm/s2")]
    assert record.dt == 0.01


# CSV without surprises


SHAKING = np.round(np.random.default_rng(20310417).normal(0, 30, (60, 3)), 3)


def table(*names, columns=None, above="", quote="", delimiter=",", every=0.01):
    """Return a table whose first column is the time where the first name says so."""
    columns = len(names) if columns is None else columns
    rows = [[f"{i * every:.2f}", *(f"{value:.3f}" for value in SHAKING[i])][:columns] for i in range(60)]
    if names[0].lower().startswith("t") is False:
        rows = [[f"{value:.3f}" for value in SHAKING[i]][:columns] for i in range(60)]
    lines = [names, *rows]
    return above + "".join(delimiter.join(f"{quote}{cell}{quote}" for cell in line) + "\n" for line in lines)


@pytest.mark.parametrize(
    ("names", "columns"), [(("time [s]", "H1 [gal]", "H2 [gal]"), 3), (("time, s", "NS (gal)"), 2)]
)
def test_quoted_cells_are_read_without_their_quotes(tmp_path, names, columns):
    record = read(save(tmp_path, table(*names, columns=columns, quote='"')))
    assert record["H1"].samples.tolist() == SHAKING[:, 0].tolist()
    assert (record.dt, record["H1"].unit) == (0.01, "cm/s2")


def test_velocity_and_displacement_are_no_acceleration(tmp_path):
    record = read(save(tmp_path, table("time [s]", "acc_ns [gal]", "vel_ns [gal]")))
    assert [(one.name, one.samples.tolist()) for one in record] == [("H1", SHAKING[:, 0].tolist())]
    record = read(save(tmp_path, table("time [s]", "acc [gal]", "vel [cm/s]", "disp [cm]")))
    assert [one.samples.tolist() for one in record] == [SHAKING[:, 0].tolist()]
    for names in (("time [s]", "velocity [cm/s]"), ("Time", "Displacement")):
        with pytest.raises(RecordError, match="line 1: no column is named as an acceleration"):
            read(save(tmp_path, table(*names)), unit="gal")
    with pytest.raises(RecordError, match="the column 'vel_ew' is not an acceleration, according to its name"):
        read(save(tmp_path, table("H1 [gal]", "vel_ew [gal]", above="# dt_s: 0.01\n")))


@pytest.mark.parametrize(
    ("names", "found"),
    [
        (("R [gal]", "T [gal]", "Z [gal]"), ["H1", "H2", "V"]),
        (("L [gal]", "T [gal]", "V [gal]"), ["H1", "H2", "V"]),
        (("t [s]", "R [gal]", "T [gal]"), ["H1", "H2"]),
        (("T [s]", "R [gal]", "V [gal]"), ["H1", "V"]),
        (("T", "N [gal]", "E [gal]"), ["H1", "H2"]),
        (("N [gal]", "HNE [gal]", "UD [gal]"), ["H1", "H2", "V"]),
    ],
)
def test_t_beside_r_is_transverse_and_else_the_time(tmp_path, names, found):
    above = "# dt_s: 0.01\n" if names[0].lower()[0] != "t" else ""
    record = read(save(tmp_path, table(*names, above=above)))
    assert list(record.names) == found
    assert record.dt == 0.01
    assert record.components[-1].samples.tolist() == SHAKING[:, len(found) - 1].tolist()


@pytest.mark.parametrize(
    ("above", "names", "both"),
    [
        ("# unit: g\n", ("time [s]", "H1 [gal]"), r"the unit is 'g' \(line 1\) or 'gal' \(column H1, line 2\)"),
        ("# dt_s: 0.01\n# sampling_rate: 200\n", ("H1 [gal]",), "dt is 0.01 s and sampling_rate 200 Hz"),
        ("# sampling_rate: 200\n", ("time [s]", "H1 [gal]"), "steps by 0.01 s, but the header declares 0.005 s"),
    ],
)
def test_what_is_stated_twice_and_differs_is_refused_with_both(tmp_path, above, names, both):
    with pytest.raises(RecordError, match=both):
        read(save(tmp_path, table(*names, above=above)))


def test_a_unit_stated_twice_alike_or_given_is_read(tmp_path):
    assert read(save(tmp_path, table("time [s]", "H1 [gal]", above="# unit: cm/s2\n")))["H1"].unit == "cm/s2"
    path = save(tmp_path, table("time [s]", "H1 [gal]", above="# unit: g\n"))
    assert read(path, unit="gal")["H1"].unit == "cm/s2"


@pytest.mark.parametrize("pair", [("X", "Y"), ("ch1", "ch2"), ("N35E", "N125E")])
def test_columns_that_are_no_pair_come_with_an_offer_that_works(tmp_path, pair):
    one, two = pair
    path = save(tmp_path, table("time [s]", f"{one} [gal]", f"{two} [gal]", "Z [gal]", columns=4))
    record = read(path)
    assert record.horizontals is None
    (offer,) = (finding for finding in record.findings if finding.name == "no horizontal pair")
    assert f"--component {one}=H1,{two}=H2" in offer.remedy
    taken = read(path, component=f"{one}=H1,{two}=H2")
    assert taken.horizontals == ("H1", "H2")
    assert not taken.findings


# No silent misreading


@pytest.mark.parametrize("number", ["1,234.5", "1'234.5", "1 234.5", "12,345,678"])
def test_thousands_separators_are_refused_as_such(tmp_path, number):
    text = "time [s];H1 [gal]\n" + "".join(f"{i * 0.01:.2f};{number}\n" for i in range(60))
    with pytest.raises(RecordError, match=r"which has thousands separators\. Write numbers without"):
        read(save(tmp_path, text))
    quoted = text.replace(";", ",").replace(number, f'"{number}"')
    with pytest.raises(RecordError, match="which has thousands separators"):
        read(save(tmp_path, quoted))


def test_a_row_of_units_below_the_names_is_read_as_units(tmp_path):
    text = table("Time", "NS", "EW").replace("Time,NS,EW\n", "Time,NS,EW\nms,gal,gal\n")
    rows = "".join(f"{i * 10},{a:.3f},{b:.3f}\n" for i, (a, b, _) in enumerate(SHAKING))
    record = read(save(tmp_path, "".join(text.splitlines(keepends=True)[:2]) + rows))
    assert (record.dt, record["H1"].unit, record.samples) == (0.01, "cm/s2", 60)


def test_a_last_column_that_counts_the_rows_is_no_component(tmp_path):
    rows = "".join(f"{value:.3f},{i + 1}\n" for i, value in enumerate(SHAKING[:, 0]))
    with pytest.raises(RecordError, match=r"the last number of each line is a line counter \(1, 2, \.\.\.\)"):
        read(save(tmp_path, f"# dt_s: 0.01\nH1 [gal],V [gal]\n{rows}"))


def test_a_row_written_twice_is_found_in_csv(tmp_path):
    lines = table("H1 [gal]", "H2 [gal]", "V [gal]", above="# dt_s: 0.01\n").splitlines(keepends=True)
    lines.insert(20, lines[20])
    record = read(save(tmp_path, "".join(lines)))
    (finding,) = record.findings
    assert (finding.name, finding.place, finding.values["rows"]) == ("repeated rows", "line 22", 1.0)
    quiet = "# dt_s: 0.01\nH1 [counts],V [counts]\n" + "0,-1\n0,-1\n3,2\n" * 20
    assert not read(save(tmp_path, quiet)).findings


@pytest.mark.parametrize("short", [True, False])
def test_a_header_one_line_short_is_found(tmp_path, short):
    layout = f"""name = "weir"
[header]
lines = {2 if short else 3}
dt.value = 0.01
unit.value = "gal"
[block]
columns = ["H1", "V"]
"""
    (tmp_path / "weir.toml").write_text(layout)
    text = "WEIR\nraw\n100 60\n" + "".join(f"{a:.3f} {b:.3f}\n" for a, b, _ in SHAKING)
    record = read(save(tmp_path, text), layout=tmp_path / "weir.toml")
    found = [(finding.name, finding.place) for finding in record.findings]
    assert found == ([("first row unlike the others", "line 3")] if short else [])
    assert record.samples == 60 + short


def test_a_row_above_the_names_is_not_dropped_in_silence(tmp_path):
    lines = table("time [s]", "H1 [gal]").splitlines(keepends=True)
    record = read(save(tmp_path, "".join([lines[1], lines[0], *lines[2:]])))
    (finding,) = (finding for finding in record.findings if finding.name == "row above the numbers")
    assert finding.place == "line 1"
