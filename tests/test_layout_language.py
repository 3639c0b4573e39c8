"""What the layout language can say: each piece on a small file, its value computed by hand."""

from __future__ import annotations

import numpy as np
import pytest

from strongmotion.formats import read, read_all
from strongmotion.foundation.errors import RecordError, SettingsError

G = 9.80665  # m/s², ISO 80000-3
ROWS = "1 2 3\n4 5 6\n7 8 9\n10 11 12\n"


def by(folder, layout, text, name="quay_L.dat", **options):
    (folder / "plan.toml").write_text(layout)
    path = folder / name
    path.write_text(text)
    return read_all(path, layout=folder / "plan.toml", **options)


def one_column(rules, text="0.5\n1\n2\n", header="", lines=None):
    size = header.count("\n") if lines is None else lines
    return f"[header]\nlines = {size}\n{rules}\n[block]\nvalues_per_line = 1\n", header + text


PLAIN = 'dt.value = 0.01\nunit.value = "g"\n'

SCALES = {
    "sensor times digitiser": (
        "sensitivity = {pattern = '([0-9.]+) V/G', times = {pattern = '([0-9.]+) COUNTS PER V'}, unit = 'counts/g'}\n"
        "unit.value = 'counts'", "2.5 V/G\n400 COUNTS PER V\n", G / 1000,
    ),
    "digitiser's step over sensor": (
        "scale = {pattern = '([0-9.]+) uV', over = {pattern = '([0-9.]+) V/G'}, factor = 1e-6, unit = 'g'}",
        "5 uV per count\n2.5 V/G\n", 2e-6 * G,
    ),
    "least significant bit": ("scale = {pattern = 'LSB=([0-9.]+)', unit = 'ug'}", "LSB=0.5\n", 0.5e-6 * G),
    "full scale over counts": (
        "scale = {pattern = '([0-9.]+) g =', over = {pattern = '= ([0-9]+) counts'}, unit = 'g'}", "4 g = 8000 counts\n", G / 2000,
    ),
    "a ratio": ("scale = {pattern = 'factor (.*)$'}\nunit.value = 'cm/s2'", "factor 981/2048\n", 9.81 / 2048),
    "per cent of g": ("unit.pattern = 'in (.*)$'", "in %g\n", G / 100),
    "inches": ("unit.pattern = 'in (.*)$'", "in in/s2\n", 0.0254),
}  # fmt: skip


@pytest.mark.parametrize("case", SCALES)
def test_scales(tmp_path, case):
    rules, head, worth = SCALES[case]
    (record,) = by(tmp_path, *one_column(f"dt.value = 0.01\n{rules}", header=head))
    assert record.components[0].scale == pytest.approx(worth, rel=1e-12)


STARTS = {
    "day first": ("start = {pattern = 'at (.*)$', order = 'dmy'}", "at 03/04/2011 10:15:00 UTC\n", "2011-04-03T10:15"),
    "month first": ("start = {pattern = 'at (.*)$', order = 'mdy'}", "at 03/04/2011 10:15:00 UTC\n", "2011-03-04T10:15"),
    "date and time apart": (
        "date = {pattern = 'date (.*)$', order = 'dmy'}\ntime.pattern = 'time (.*)$'\nzone.pattern = 'zone (.*)$'",
        "date 03/04/2011\ntime 10:15:00\nzone UTC+5:30\n", "2011-04-03T04:45",
    ),
    "offset of the layout": ("start = {pattern = 'at (.*)$', zone = '-05:00'}", "at 2011 day 093 10:15:00\n", "2011-04-03T15:15"),
}  # fmt: skip


@pytest.mark.parametrize("case", STARTS)
def test_starts(tmp_path, case):
    rules, head, start = STARTS[case]
    (record,) = by(tmp_path, *one_column(PLAIN + rules, header=head))
    assert record.start == np.datetime64(start)


def test_an_ambiguous_start_is_refused_with_both_dates(tmp_path):
    with pytest.raises(RecordError, match=r"may be 2011-04-03 or 2011-03-04.*order = "):
        by(tmp_path, *one_column(PLAIN + "start.pattern = 'at (.*)$'", header="at 03/04/2011 10:15:00 UTC\n"))


def test_places_directions_and_units_of_quantities(tmp_path):
    rules = (
        (
            "dt = {pattern = 'step ([0-9.]+)', unit = 'ms'}\nunit.value = 'mg'\nlatitude.pattern = 'at ([0-9 .\\x27]+S)'\n"
            "longitude.pattern = ', (.*W)'\nelevation = {pattern = 'h ([0-9.]+)', unit = 'km'}\nazimuth.pattern = 'to (.*)$'"
        )
        .replace("\\x27", "’")
        .replace("'at ([0-9 .’]+S)'", '"at ([0-9 .\']+S)"')
    )
    (record,) = by(tmp_path, *one_column(rules, header="step 5\nat 29 30.0' S, 27 15.0' W\nh 1.5\nto S47E\n"))
    assert (record.dt, record.station.latitude, record.station.longitude) == (0.005, -29.5, -27.25)
    assert (record.station.elevation, record.components[0].azimuth) == (1500.0, 133.0)


def test_a_name_from_the_file_name(tmp_path):
    layout, text = one_column(PLAIN + "component.file_name = '_([LTV])'")
    assert by(tmp_path, layout, text)[0].names == ("H1",)
    assert by(tmp_path, layout, text, name="quay_T.dat")[0].names == ("H2",)


def test_header_length_and_count_from_the_header(tmp_path):
    layout = (
        "[header]\nlines.pattern = '([0-9]+) lines'\nsamples.pattern = '([0-9]+) values'\n" + PLAIN
        + "[block]\nvalues_per_line = 3\ncounted = true\n"
    )  # fmt: skip
    (record,) = by(tmp_path, layout, f"2 lines\n12 values\n{ROWS}velocities\n9 9 9\n")
    assert record.components[0].samples.tolist() == list(range(1, 13))


def test_pairs_along_a_line(tmp_path):
    layout = "[header]\nlines = 0\nunit.value = 'g'\n[block]\ncolumns = ['time', 'H1']\nvalues_per_line = 4\n"
    (record,) = by(tmp_path, layout, "0 1 0.02 2\n0.04 3 0.06 4\n0.08 5\n")
    assert (record.dt, record["H1"].samples.tolist()) == (0.02, [1, 2, 3, 4, 5])
    with pytest.raises(RecordError, match="complete rows of 2 columns"):
        by(tmp_path, layout, "0 1 0.02 2\n0.04 3 0.06 4\n0.08 5 0.1\n")


def test_blocks_that_are_passed_over(tmp_path):
    layout = f"[header]\nlines = 1\nskip = 'VELOCITY'\n{PLAIN}[block]\nvalues_per_line = 3\nfound = 2\n"
    (record,) = by(tmp_path, layout, f"ACCELERATION\n{ROWS}VELOCITY\n{ROWS}")
    assert len(record.components) == 1
    with pytest.raises(RecordError, match=r"2 blocks of numbers are expected, 3 were found \(lines 2 to 5, 7 to 10"):
        by(tmp_path, layout, f"ACCELERATION\n{ROWS}VELOCITY\n{ROWS}MORE\n{ROWS}")


@pytest.mark.parametrize("found", ["", "found = 3\n"])
def test_components_in_a_stated_order(tmp_path, found):
    between = "next\n" if found else ""
    layout = f"[header]\nlines = 1\norder = ['H1', 'V', 'H2']\n{PLAIN}[component.V]\ndip.value = 90\n[block]\nvalues_per_line = 3\n{found}"
    (record,) = by(tmp_path, layout, "head\n" + between.join([ROWS] * 3))
    assert record.names == ("H1", "V", "H2")
    assert (record["V"].dip, record["H1"].dip) == (90.0, None)
    assert record["H2"].samples.tolist() == list(range(1, 13))


def test_records_one_after_another(tmp_path):
    layout = """[file]
station.pattern = 'STATION (\\S+)'
[record]
first = '^RECORD'
start.pattern = '^RECORD . (.*)$'
dt.pattern = 'EVERY (\\S+) S'
[header]
lines = 1
component.pattern = 'COMPONENT (.*)$'
unit.value = "g"
[block]
values_per_line = 3
found = 4
"""
    text = "STATION QUAY\n"
    for number, dt in ((1, 0.01), (2, 0.005)):
        text += f"RECORD {number} 2031-04-17 0{number}:00:00 UTC\nEVERY {dt} S\nCOMPONENT NORTH\n{ROWS}COMPONENT EAST\n{ROWS}"
    records = by(tmp_path, layout, text)
    assert [(r.dt, r.names, str(r.start)[11:13], r.station.code) for r in records] == [
        (0.01, ("H1", "H2"), "01", "QUAY"), (0.005, ("H1", "H2"), "02", "QUAY"),
    ]  # fmt: skip


def test_dates_in_a_column(tmp_path):
    layout = "[header]\nlines = 0\nunit.value = 'g'\n[block]\ncolumns = ['clock', 'clock', 'H1']\n"
    rows = "".join(f"17.04.2031 03:26:27.{i}00 {i}\n" for i in range(5))
    (record,) = by(tmp_path, layout, rows)
    assert (record.dt, record.start) == (0.1, np.datetime64("2031-04-17T03:26:27"))


def test_what_is_left_open_reads_nothing_until_it_is_given(tmp_path):
    layout, text = one_column('dt = "?"\nunit = "?"')
    with pytest.raises(RecordError, match=r"leaves dt open \(\?\). Fill it in, or give dt= \(--dt\)") as caught:
        by(tmp_path, layout, text)
    assert caught.value.field == "dt"
    assert by(tmp_path, layout, text, dt=0.01, unit="g")[0].dt == 0.01


@pytest.mark.parametrize(
    ("rules", "words"),
    [
        ("dt = {value = 1, unit = 'km'}", "'km' is not a unit of dt"),
        ("start = {pattern = '(x)', order = 'ydm'}", "order must be dmy, mdy or ymd"),
        ("start = {pattern = '(x)', zone = 'local'}", "zone must be UTC or an offset"),
        ("scale = {pattern = '(x)', factor = 0}", "factor must be a number other than 0"),
        ("scale = {pattern = '(x)', over = 3}", "over must be a rule"),
        ("scale = {pattern = '(x)', file_name = '(y)'}", "gives more than one place to look"),
        ("order = ['H1', 'H1']", "order must be a list of unique names"),
    ],
)
def test_unsound_rules_are_refused(tmp_path, rules, words):
    with pytest.raises(SettingsError, match=words):
        by(tmp_path, *one_column(f"unit.value = 'g'\nsampling_rate.value = 100\n{rules}"))


def test_a_column_cut_through_numbers_is_refused(tmp_path):
    layout = "[header]\nlines = 0\ndt.value = 0.01\nunit.value = 'counts'\n[block]\nvalues_per_line = 3\nwidth = 4\n"
    with pytest.raises(RecordError, match="columns of width 4 cut through numbers"):
        by(tmp_path, layout, "".join(f"  {1000 + i}  {2000 + i}\n" for i in range(9)))


def test_options_name_the_components(tmp_path):
    path = tmp_path / "three.txt"
    path.write_text("".join(f"{i % 7} {i % 5} {i % 3}.5\n" for i in range(60)))
    with pytest.raises(RecordError, match=r"may be 3 components side by side, or one .*a name for each column"):
        read(path, dt=0.01, unit="g")
    assert len(read(path, dt=0.01, unit="g", component="H1").components[0]) == 180
    assert read(path, dt=0.01, unit="g", component="H2,H1,V").names == ("H2", "H1", "V")
