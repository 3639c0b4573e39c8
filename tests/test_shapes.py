"""Text files as people publish them: read right in one command, or refused with the quantity in doubt."""

from __future__ import annotations

import numpy as np
import pytest
from shapes.headers import G, N, motion, shapes

from strongmotion.formats import read, read_all
from strongmotion.formats.draft import draft_layout
from strongmotion.formats.kept import keep_layout, kept_layouts
from strongmotion.formats.phrases import coordinate, moments, pointing, unit_at
from strongmotion.foundation.errors import InputError, RecordError

SHAPES = shapes()


def saved(folder, name):
    shape = SHAPES[name]
    path = folder / f"{name.replace(' ', '_').replace(',', '')}{shape.suffix}"
    path.write_bytes(shape.text.encode(shape.encoding))
    return path, shape


@pytest.mark.parametrize("name", SHAPES)
def test_a_file_is_read_right_in_one_command(tmp_path, name):
    path, shape = saved(tmp_path, name)
    record = read(path, **shape.options)
    assert record.dt == pytest.approx(shape.dt, rel=1e-9)
    assert len(record.components) == len(shape.values)
    for component, values in zip(record, shape.values, strict=True):
        np.testing.assert_allclose(component.samples * component.scale, values * shape.scale, rtol=1e-9, atol=1e-12)
    if shape.azimuth:
        assert tuple(component.azimuth for component in record) == pytest.approx(shape.azimuth)
    if shape.station:
        assert record.station.code == shape.station
    assert (record.station.latitude, record.station.longitude) == (
        pytest.approx(shape.latitude), pytest.approx(shape.longitude),
    )  # fmt: skip
    assert record.start == (np.datetime64(shape.start) if shape.start else None)
    said = [finding for finding in record.findings if finding.name == "read by a draft"]
    assert len(said) == 1 or path.suffix == ".csv"


def test_what_is_said_of_a_csv_file_wins(tmp_path):
    path = tmp_path / "one.csv"
    path.write_text("# station: ABC\nAcceleration (gal)\n" + "".join(f"{100 * v:.4f}\n" for v in motion(1)))
    record = read(path, dt=0.01, station="XYZ", start="2031-01-01T00:00:00Z")
    assert (record.dt, record.station.code, record.start) == (0.01, "XYZ", np.datetime64("2031-01-01"))
    assert [finding.name for finding in record.findings if finding.severity == "doubt"] == ["overruled header"]


@pytest.mark.parametrize(
    ("head", "code", "scale"),
    [
        ("Station ID ....... RIM (Upper Quay)\nrate: 100 Hz\nunit: gal\n", "RIM", 0.01),
        ("100 Hz                            Sampling rate\n% g      Acceleration in\n", "", 0.01 * G),
        (f"{N} points of acceleration in g at intervals of 0.01 s\n", "", G),
    ],
)
def test_a_label_is_no_code_and_percent_of_g_no_remark(tmp_path, head, code, scale):
    path = tmp_path / "one.txt"
    path.write_text(head + "".join(f"{v:10.5f}\n" for v in motion(1)))
    record = read(path)
    assert (record.station.code, record.dt) == (code, 0.01)
    assert record.components[0].scale == pytest.approx(scale)


def test_many_columns_without_names_are_a_doubt(tmp_path):
    path = tmp_path / "one.txt"
    path.write_text("dt 0.01 s, gal\n" + "".join(f"x{at}y" + f"{v:9.3f}" * 5 + "\n" for at, v in enumerate(motion(1))))
    with pytest.raises(RecordError, match="5 numbers of each line may be as many components side by side"):
        read(path)


def test_a_start_in_local_time_of_no_zone_is_a_doubt(tmp_path):
    path = tmp_path / "one.txt"
    head = "Hora local del primer dato: 2031-03-06 22:15:30.5\nFs;100\n"
    path.write_text(f"{head}unit: gal\n" + "".join(f"{100 * v:10.3f}\n" for v in motion(1)))
    record = read(path)
    assert (record.start, record.dt) == (None, 0.01)
    (doubt,) = [finding for finding in record.findings if finding.name == "doubtful header"]
    assert "the start is in local time (line 1), and its zone is not stated" in doubt.what


def test_a_start_without_a_zone_beside_a_time_of_another_zone_is_a_doubt(tmp_path):
    path = tmp_path / "one.txt"
    head = "Event time 2031/03/07 13:15:20 (JST, UTC+9)\nRecord start 2031/03/07 13:15:33.00\n"
    path.write_text(f"{head}rate: 100 Hz\nunit: gal\n" + "".join(f"{100 * v:10.3f}\n" for v in motion(1)))
    record = read(path)
    assert record.start is None
    (doubt,) = [finding for finding in record.findings if finding.name == "doubtful header"]
    assert "zone of the start is not stated (line 2): UTC or +09:00" in doubt.what


@pytest.mark.parametrize("name", [name for name, shape in SHAPES.items() if "unit" in shape.options])
def test_a_missing_unit_is_named_with_its_option(tmp_path, name):
    path, shape = saved(tmp_path, name)
    without = {key: value for key, value in shape.options.items() if key != "unit"}
    with pytest.raises(RecordError, match=r"no unit.*--sample-unit") as caught:
        read(path, **without)
    assert caught.value.field == "unit"


def test_both_missing_are_named_together(tmp_path):
    path, _ = saved(tmp_path, "one column")
    with pytest.raises(RecordError, match=r"no sampling interval and no unit.*--dt\) and unit= \(--sample-unit"):
        read(path)


HEAD = f"Station code: LMIL\nSampling rate: 200 Hz\nNumber of samples: {N}\nUnits: gal\n"
BODY = "".join(f"{value:10.3f}\n" for value in 100 * motion(4))


@pytest.mark.parametrize(
    ("header", "words", "field"),
    [
        (
            HEAD.replace("200 Hz", "200 Hz\nSampling interval: 0.01 s"),
            "0.005 s .* or 0.01 s|0.01 s .* or 0.005 s",
            "dt",
        ),
        (HEAD.replace("gal", "gal\nAcceleration units: g"), "the unit is (cm/s2|g) .* or (cm/s2|g)", "unit"),
        (
            HEAD.replace(f"samples: {N}", "samples: 400"),
            rf"400 \(line 3\) samples are declared, but {N} were found",
            "samples",
        ),
        (HEAD.replace("200 Hz", "1 Hz"), "longer than that of any accelerograph", "sampling_rate"),
    ],
)  # fmt: skip
def test_what_is_doubtful_is_refused_with_its_rivals(tmp_path, header, words, field):
    path = tmp_path / "doubt.txt"
    path.write_text(header + BODY)
    with pytest.raises(RecordError, match=words) as caught:
        read(path)
    assert field in (caught.value.field, "dt" if caught.value.field == "sampling_rate" else "")


def test_a_doubtful_rate_is_settled_by_duration_and_count(tmp_path):
    path = tmp_path / "settled.txt"
    path.write_text(
        HEAD.replace("200 Hz", f"200 Hz\nSampling interval: 0.01 s\nDuration: {(N - 1) * 0.01:.2f} s") + BODY
    )
    record = read(path)
    assert record.dt == 0.01
    assert any("not as 0.005 s" in finding.what for finding in record.findings)


@pytest.mark.parametrize("order", [False, True])
def test_a_tie_is_not_settled_by_the_order_of_lines(tmp_path, order):
    lines = ["Sampling rate: 200 Hz", "Sampling interval: 0.01 s"]
    path = tmp_path / "tie.txt"
    path.write_text("\n".join(lines[:: -1 if order else 1]) + "\nUnits: gal\n" + BODY)
    with pytest.raises(RecordError, match="the sampling interval is"):
        read(path)


def test_a_doubtful_date_is_left_out_and_said(tmp_path):
    path = tmp_path / "date.txt"
    path.write_text(HEAD + "Start of recording: 03/04/2011 10:15:00 UTC\n" + BODY)
    record = read(path)
    assert record.start is None
    doubt = next(finding for finding in record.findings if finding.name == "doubtful header")
    assert doubt.severity == "doubt"
    assert "2011-04-03 or 2011-03-04" in doubt.what
    assert read(path, start="2011-04-03T10:15:00Z").start == np.datetime64("2011-04-03T10:15:00")


def test_what_the_caller_gives_wins_and_is_said(tmp_path):
    path = tmp_path / "given.txt"
    path.write_text(HEAD + BODY)
    record = read(path, dt=0.01, station="OTHR", given={"latitude": "45.5"}, component="NS")
    assert (record.dt, record.station.code, record.station.latitude, record.names) == (0.01, "OTHR", 45.5, ("H1",))
    assert {finding.what.split()[4] for finding in record.findings if finding.name == "overruled header"} == {
        "sampling_rate", "station",
    }  # fmt: skip
    with pytest.raises(InputError, match="'latitud' cannot be given, perhaps latitude"):
        read(path, given={"latitud": "45"})


def test_columns_of_unknown_direction_are_no_pair_unless_named(tmp_path):
    path = tmp_path / "xy.txt"
    path.write_text("X Y\n" + "".join(f"{x:.5f} {y:.5f}\n" for x, y in zip(motion(1), motion(2), strict=True)))
    record = read(path, dt=0.01, unit="g")
    assert record.names == ("X", "Y")
    assert any("X=H1, Y=H2" in finding.what for finding in record.findings)
    assert read(path, dt=0.01, unit="g", component="X=H1,Y=H2").names == ("H1", "H2")


def test_a_damaged_row_is_an_error_not_the_end_of_a_block(tmp_path):
    path, _ = saved(tmp_path, "decoys beside a rate")
    lines = path.read_text().splitlines()
    lines[30] = lines[30].replace(lines[30].split()[2], "1O.5", 1)
    path.write_text("\n".join(lines) + "\n")
    with pytest.raises(RecordError, match=r"line 31.*1O\.5"):
        read(path)


def test_a_counter_at_the_end_of_lines_is_no_sample(tmp_path):
    path = tmp_path / "ramp.txt"
    text = "".join(f"{x:9.4f}{y:9.4f}{at:6d}\n" for at, (x, y) in enumerate(zip(motion(1), motion(2), strict=True), 1))
    path.write_text("dt 0.01 s, units: g\n" + text)
    layout = tmp_path / "ramp.toml"
    layout.write_text('[header]\nlines = 1\ndt.value = 0.01\nunit.value = "g"\n[block]\nvalues_per_line = 3\n')
    with pytest.raises(RecordError, match=r"the last number of each line is a line counter \(1, 2, 3"):
        read(path, layout=layout)


def test_repeated_rows_are_found(tmp_path):
    path, _ = saved(tmp_path, "five a line under two lines")
    lines = path.read_text().splitlines()
    lines[20] = lines[19]
    path.write_text("\n".join(lines) + "\n")
    finding = next(finding for finding in read(path).findings if finding.name == "repeated rows")
    assert (finding.severity, finding.place, finding.values["rows"]) == ("doubt", "line 21", 1.0)


def test_a_header_one_line_too_long_is_found(tmp_path):
    path = tmp_path / "late.txt"
    path.write_text(
        "dt 0.01 s, units: g\n" + "".join(f"{x:9.4f}{y:9.4f}\n" for x, y in zip(motion(1), motion(2), strict=True))
    )
    layout = tmp_path / "late.toml"
    layout.write_text('[header]\nlines = 2\ndt.value = 0.01\nunit.value = "g"\n[block]\ncolumns = ["H1", "H2"]\n')
    finding = next(one for one in read(path, layout=layout).findings if one.name == "row above the numbers")
    assert finding.place == "line 2"


def test_numbers_beyond_all_reason_are_an_error(tmp_path):
    path = tmp_path / "huge.txt"
    path.write_text("dt 0.01 s, units: g\n" + "1e200\n2e200\n3e200\n")
    with pytest.raises(RecordError, match="beyond any ground acceleration"):
        read(path, unit="g", dt=0.01)


@pytest.mark.parametrize("name", SHAPES)
def test_a_draft_reads_its_own_file_as_it_was_read(tmp_path, name):
    path, shape = saved(tmp_path, name)
    (tmp_path / "draft.toml").write_text(draft_layout(path).toml)
    again = read(path, layout=tmp_path / "draft.toml", **shape.options)
    assert [component.samples.tolist() for component in again] == [
        component.samples.tolist() for component in read(path, **shape.options)
    ]


def test_a_kept_layout_is_recognised_from_then_on(tmp_path, monkeypatch):
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "config"))
    monkeypatch.setattr("sys.platform", "linux")
    path, _ = saved(tmp_path, "decoys beside a rate")
    assert keep_layout(draft_layout(path).toml, "mill") in kept_layouts().values()
    record = read(path)
    assert record.source.format.startswith("text, layout")
    assert not any(finding.name == "read by a draft" for finding in record.findings)
    assert read_all(path, layout="mill")[0].dt == 0.005


def test_phrases():
    # Coordinates and directions computed by hand; the day of the year by the calendar.
    assert coordinate("45-39-36.0 N") == [45.66]
    assert coordinate("88,441° O") == [88.441, -88.441]
    assert coordinate("95 N") == []
    assert pointing("S47E").azimuth == 133
    assert pointing("N120E").azimuth == 120
    assert str(moments("2009 day 264 12:00:00 UTC+5:30")[0].time)[:19] == "2009-09-21T06:30:00"
    assert [one.order for one in moments("03/04/2011 10:00")] == ["dmy", "mdy"]
    assert unit_at("counts/g").factor == pytest.approx(1 / G)
    assert unit_at("mg").kind == "acceleration"
    assert unit_at("% of full scale").kind == "percent"


def test_a_column_of_times_with_a_gap_is_no_component(tmp_path):
    path = tmp_path / "gap.txt"
    rows = [f"{0.01 * i:8.2f}{x:12.6f}\n" for i, x in enumerate(motion(1))]
    del rows[100:103]
    path.write_text("".join(rows))
    with pytest.raises(RecordError, match="time steps are uneven"):
        read(path, unit="g")


COUNTS_OF = [np.rint(20000 * motion(seed)) for seed in (1, 2, 3)]
COUNTS_ROWS = "".join("".join(f"{value:9.0f}" for value in row) + "\n" for row in zip(*COUNTS_OF, strict=True))
SENSITIVITIES = (213500.0, 213810.0, 212990.0)
EACH = {
    "keys on a line": (
        "".join(
            f"ch{at} sens={SENSITIVITIES[at - 1]:.0f} counts/g azimuth={azimuth} dip={dip}\n"
            for at, azimuth, dip in ((3, 0, -90), (1, 10, 0), (2, 100, 0))
        ) + "columns: ch1 ch2 ch3\n", (10.0, 100.0, None),
    ),
    "numbered": (
        "".join(f"Channel {at}: {s:.0f} counts/g, {way}\n"
                for at, (s, way) in enumerate(zip(SENSITIVITIES, ("azimuth 10", "azimuth 100", "up"), strict=True), 1)),
        (10.0, 100.0, None),
    ),
    "by name": ("".join(f"Sensitivity {n}: {s:.0f} counts/g\n" for n, s in zip("NEZ", SENSITIVITIES, strict=True))
                + " N E Z\n", (0.0, 90.0, None)),
    "value before its name": (
        "213500 counts/g (N), 213810 counts/g (E), 212990 counts/g (Z)\n N E Z\n", (0.0, 90.0, None),
    ),
    "in the order of the columns": ("Sensitivity (counts/g): 213500 213810 212990\n N E Z\n", (0.0, 90.0, None)),
}  # fmt: skip
COUNTED = "Station code: LMIL\nSampling rate: 200 Hz\nUnits: counts\n"


@pytest.mark.parametrize("name", EACH)
def test_each_component_has_the_sensitivity_that_its_header_gives_it(tmp_path, name):
    header, azimuths = EACH[name]
    path = tmp_path / "each.txt"
    path.write_text(COUNTED + header + COUNTS_ROWS)
    record = read(path)
    assert record.names == ("H1", "H2", "V")
    for component, values, counts_per_g, azimuth in zip(record, COUNTS_OF, SENSITIVITIES, azimuths, strict=True):
        np.testing.assert_allclose(component.samples * component.scale, values / counts_per_g * G, rtol=1e-9)
        assert component.azimuth == azimuth
    (tmp_path / "draft.toml").write_text(draft_layout(path).toml)
    again = read(path, layout=tmp_path / "draft.toml")
    assert [component.scale for component in again] == pytest.approx([component.scale for component in record])


@pytest.mark.parametrize(
    ("header", "words"),
    [
        ("".join(f"Sensitivity {s:.0f} counts/g\n" for s in SENSITIVITIES), r"line 4\) or .*line 5\) or .*line 6"),
        ("Sensitivity (counts/g): 213500 213810 212990\n", r"21770\.94 .*21802\.55 .*21718\.94"),
        ("Channel 2 sensitivity = 213500 counts/g\n", "stated of 1 of 3 components"),
        ("counts/g   213500   213810   212990\n", r"21770\.94 .*21802\.55 .*21718\.94"),
    ],
)
def test_sensitivities_that_belong_to_no_component_for_certain_are_refused(tmp_path, header, words):
    path = tmp_path / "whose.txt"
    path.write_text(COUNTED + header + COUNTS_ROWS)
    with pytest.raises(RecordError, match=words):
        read(path)


def test_a_sensitivity_said_twice_within_rounding_is_one(tmp_path):
    path = tmp_path / "twice.txt"  # 1 / 213500 g is 4.684 micro-g; 213500 / 9.80665 is 21770.9
    path.write_text(COUNTED + "Sensitivity: 213500 counts/g\nLSB: 4.684 micro-g\n" + COUNTS_ROWS)
    assert [component.sensitivity for component in read(path)] == pytest.approx([213500 / G] * 3)


@pytest.mark.parametrize(
    ("header", "said"),
    [
        (
            "Lat 44.10    Lat 45.678\nLon 13.20    Lon 12.345",
            ["latitude is 44.1 (line 5) or 45.678 (line 5)", "longitude is"],
        ),
        ("Coordinates: 45°40'12\"/12°20'42\"", ["latitude was not understood: line 5", "longitude was not understood"]),
        ("Latitude: 45.678\nLongitude: W twelve 20'42\"", ["longitude was not understood: line 6"]),
        ("Network/Station: Mill of the valley", ["network was not understood: line 5"]),
        ("Quake of May 2, 2011\nTRIGGERED AT 03:20:11.5 GMT", ["understood: line 5 ('Quake of May 2, 2011'), line 6"]),
        ("Year 2011 Month 4 Day 17 Hour 3 Min 20 Sec 11.5", ["start was not understood: line 5 ('Year 2011"]),
        ("Epicentre (lat, lon): 45.678, 12.345\nOrigin time: 2011-04-17 03:20:00 UTC", []),
        ("Event: 2011-04-17 03:20:00 UTC\n  Latitude 44.1\n  Longitude 13.2\nSite: Low Mill", []),
        ("EVENT             STATION\nLat.  44.10       Name Low Mill\nLon.  13.20       Elev. 20 m\n", []),
    ],
)  # fmt: skip
def test_what_is_stated_and_not_understood_is_left_out_and_quoted(tmp_path, header, said):
    path = tmp_path / "unread.txt"
    path.write_text(HEAD.replace("Station code", "Code") + header + "\n" + BODY)
    record = read(path)
    doubts = [finding.what for finding in record.findings if finding.name == "doubtful header"]
    for words in said:
        assert any(words in doubt for doubt in doubts), doubts
    assert len(doubts) >= len(said)
    assert bool(doubts) == bool(said)
    assert (record.station.longitude, record.start) == (None, None)


@pytest.mark.parametrize(
    ("header", "words"),
    [
        ("Units: gal\nValues in 10^-4 g", "the unit is cm/s2 .line 3., but line 4 gives the value of 1"),
        ("A thousand of its units make a g", "see line 3 .'A thousand of its units make a g'.: give unit="),
        ("Trigger 0.05 g\nNatural frequency 25 Hz", "The file does not seem to state it: give unit="),
        ("Recorder unit: 0.5 g range", "see line 3 .*give unit="),
        ("Calibration 2000 gal", "give unit="),
    ],
)
def test_a_unit_that_is_not_understood_is_refused_with_its_lines(tmp_path, header, words):
    path = tmp_path / "unit.txt"
    path.write_text(f"Code LMIL\nSampling rate: 200 Hz\n{header}\n" + COUNTS_ROWS)
    with pytest.raises(RecordError, match=words) as caught:
        read(path)
    assert caught.value.field == "unit"


def test_an_interval_that_is_not_understood_is_refused_with_its_lines(tmp_path):
    path = tmp_path / "interval.txt"
    path.write_text("Units: gal\nBand: 0.2 to 30 Hz\nInterval: a hundredth\n" + BODY)
    with pytest.raises(RecordError, match=r"see line 3 \('Interval: a hundredth'\): give dt= \(--dt\)"):
        read(path)


def test_a_sensitivity_that_is_not_understood_is_quoted(tmp_path):
    path = tmp_path / "across.txt"
    path.write_text(COUNTED + "Sensitivity: two hundred thousand counts a g, 2 channels\n" + COUNTS_ROWS)
    record = read(path)
    assert any("sensitivity was not understood: line 4" in finding.what for finding in record.findings)
    given = read(path, sensitivity=21770.0)
    assert not any("not understood" in finding.what for finding in given.findings)
    path.write_text(COUNTED + COUNTS_ROWS)
    assert not any("not understood" in finding.what for finding in read(path).findings)
