"""What an event is written to: QuakeML, the table, the words, the figures, and the command that makes them."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pandas as pd
import pytest
from matplotlib.text import Text
from typer.testing import CliRunner

from benchmarks.events import reading_of, simulate
from strongmotion import Archive, RecordError, Settings, process, read, read_quakeml
from strongmotion.cli import app
from strongmotion.event import (
    VelocityModel,
    read_picks,
    read_station,
    study,
    study_archive,
    to_json,
    to_quakeml,
)
from strongmotion.foundation.cautions import EVENT_CAUTION, EVENT_CAUTIONS
from strongmotion.foundation.geodesy import distance_and_azimuth
from strongmotion.record import Station
from strongmotion.report import map_figure, section_figure, shaking_figure, write_event

FOLDER = Path(__file__).parents[1] / "demo_records"
QUICK = Settings.from_dict({"spectra": {"periods": [1.0]}})
BED = "{http://quakeml.org/xmlns/bed/1.2}"


@pytest.fixture(scope="module")
def archive(tmp_path_factory):
    store = Archive(tmp_path_factory.mktemp("archive"), create=True)
    for path in sorted([*FOLDER.glob("*.csv"), *FOLDER.glob("*.txt")]):
        store.add(process(read(path), QUICK))
    return store


@pytest.fixture(scope="module")
def event(archive):
    return study_archive(archive)


@pytest.fixture(scope="module")
def document(event):
    return ElementTree.fromstring(to_quakeml(event))


def test_quakeml_tells_what_the_event_tells(document, event):
    point = event.location.point
    origin = next(document.iter(f"{BED}origin"))
    assert float(origin.find(f"{BED}depth/{BED}value").text) == pytest.approx(
        1000 * point.depth - event.location.datum, abs=1
    )  # m
    ellipse = origin.find(f"{BED}originUncertainty/{BED}maxHorizontalUncertainty")
    assert float(ellipse.text) == pytest.approx(1000 * point.ellipse.semi_major, abs=1)  # m
    assert float(origin.find(f"{BED}quality/{BED}azimuthalGap").text) == pytest.approx(event.location.gap, abs=0.1)
    assert len(list(document.iter(f"{BED}pick"))) == 11  # twelve, less the P of MOLE
    assert len(list(origin.iter(f"{BED}arrival"))) == 11
    comments = {element.text for element in document.iter(f"{BED}text")}
    assert set(EVENT_CAUTIONS) <= comments


def test_picks_of_quakeml_are_at_the_times_of_the_readings(document, event):
    told = {}
    for element in document.iter(f"{BED}pick"):
        station = element.find(f"{BED}waveformID").attrib["stationCode"]
        told[station, element.find(f"{BED}phaseHint").text] = element.find(f"{BED}time/{BED}value").text
    for reading in event.readings:
        for pick in filter(None, (reading.arrivals.p, reading.arrivals.s)):
            at = np.datetime64(told.pop((reading.station.code, pick.phase)).removesuffix("Z"), "us")
            assert (at - reading.start) / np.timedelta64(1, "s") == pytest.approx(pick.time, abs=1e-5)
    assert told == {}


def test_quakeml_is_read_back(event, tmp_path):
    (tmp_path / "event.xml").write_text(to_quakeml(event), encoding="utf-8")
    (found,) = read_quakeml(tmp_path / "event.xml")
    point = event.location.point
    assert found.latitude == pytest.approx(point.latitude, abs=1e-5)
    assert found.longitude == pytest.approx(point.longitude, abs=1e-5)
    assert found.magnitude == pytest.approx(event.moment.value, abs=0.005)
    assert found.magnitude_type == "Mw"
    assert np.datetime64(found.time.removesuffix("Z")) == event.utc(point.origin_time)


def test_quakeml_without_a_place_has_no_origin(event):
    alone = study([reading for reading in event.readings if reading.station.code == "QUAY"])
    document = ElementTree.fromstring(to_quakeml(alone))
    assert not list(document.iter(f"{BED}origin"))
    assert not list(document.iter(f"{BED}magnitude"))
    assert len(list(document.iter(f"{BED}pick"))) == 2
    assert any("hypocentral distance" in element.text for element in document.iter(f"{BED}text"))


def test_odd_names_do_no_harm(event, tmp_path):
    odd = Station(code="A<&\x00\u2028$x$", network='"', latitude=-47.11, longitude=-124.68)
    readings = [replace(event.readings[0], station=odd, record="odd <&>"), *event.readings[1:]]
    changed = study(readings)
    ElementTree.fromstring(to_quakeml(changed))
    write_event(changed, tmp_path / "odd")


def test_all_files_are_written_with_their_caution(event, tmp_path):
    written = write_event(event, tmp_path / "a" / "b")
    figures = ["map.png", "section.png", "shaking.png"]
    names = ["event.txt", "event.json", "event.xml", "stations.csv", *figures, "event.html"]
    assert [path.name for path in written] == names
    assert all(path.stat().st_size > 300 for path in written)
    lines = (tmp_path / "a" / "b" / "stations.csv").read_text(encoding="utf-8").splitlines()
    assert lines[0] == f"# {EVENT_CAUTION}"
    table = pd.read_csv(tmp_path / "a" / "b" / "stations.csv", skiprows=1)
    assert len(table) == 6
    words = (tmp_path / "a" / "b" / "event.txt").read_text(encoding="utf-8")
    assert all(caution in words for caution in EVENT_CAUTIONS)


def test_same_event_gives_the_same_bytes(archive, tmp_path):
    for name in ("one", "two"):
        write_event(study_archive(archive), tmp_path / name)
    for path in (tmp_path / "one").iterdir():
        assert path.read_bytes() == (tmp_path / "two" / path.name).read_bytes()


@pytest.mark.parametrize("draw", [map_figure, section_figure, shaking_figure])
@pytest.mark.parametrize("codes", [(), ("QUAY",), ("QUAY", "FERN"), ("QUAY", "FERN", "SALT")])
def test_figures_draw_whatever_is_known(event, draw, codes):
    chosen = [reading for reading in event.readings if not codes or reading.station.code in codes]
    for style in ("light", "dark"):
        figure = draw(study(chosen), style=style)
        assert figure.get_supxlabel() == EVENT_CAUTION
        figure.canvas.draw()


def test_figures_draw_when_nothing_is_known(event, tmp_path):
    write_event(study([replace(event.readings[0], station=Station(), start=None)]), tmp_path)


def test_map_shows_the_circle_of_each_lag(event):
    figure = map_figure(event)
    radii = sorted(round(patch.radius, 6) for patch in figure.axes[0].patches if hasattr(patch, "radius"))
    assert radii == sorted(round(circle.radius, 6) for circle in event.location.circles)
    assert len(radii) == 5


# ---- picks from a file


def picks_file(tmp_path, text):
    path = tmp_path / "picks.csv"
    path.write_text(text, encoding="utf-8")
    return path


def test_picks_in_seconds_and_in_utc_are_the_same(archive, tmp_path):
    record = archive[archive.ids()[0]].record
    utc = record.start + np.timedelta64(12_340, "ms")
    text = f"record,phase,time,uncertainty\n{record.id},P,12.34,0.2\n{record.station.code},s,{utc}Z,\n"
    picks = read_picks(picks_file(tmp_path, text)).of(record)
    assert [picks[phase].time for phase in "PS"] == pytest.approx([12.34, 12.34])
    assert (picks["P"].uncertainty, picks["S"].uncertainty) == (0.2, 0.1)
    assert picks["P"].given


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", "expected the columns record, phase, time, found none"),
        ("record,phase\nQUAY,P\n", "expected the columns"),
        ("# mine\nrecord,phase,time\nQUAY,P,1.0\nQUAY,X,2.0\n", r"line 4: expected a record, P or S"),
        ("record,phase,time,uncertainty\nQUAY,P,1.0,-2\n", r"line 2: the uncertainty '-2'"),
        ("record,phase,time\nQUAY,P,noon\n", r"line 2: 'noon' is neither a number of s nor a UTC time"),
        ("record,phase,time\nQUAY,P,nan\n", r"line 2: invalid P pick: time nan s"),
        ("record,phase,time\nNOWHERE,P,1.0\n", "picks are given for NOWHERE"),
    ],
)
def test_unsound_picks_are_named(archive, tmp_path, text, message):
    with pytest.raises(RecordError, match=message):
        study_archive(archive, picks=read_picks(picks_file(tmp_path, text)))


def test_given_picks_are_used_and_marked(archive, tmp_path):
    path = picks_file(tmp_path, "record,phase,time\nQUAY,P,18.0\nMOLE,S,1.40\n")
    event = study_archive(archive, picks=read_picks(path))
    rows = event.stations.set_index("station")["picked_by"]
    assert rows["QUAY"] == "P:person S:program"
    assert rows["MOLE"] == "S:person"
    modes = [element.text for element in ElementTree.fromstring(to_quakeml(event)).iter(f"{BED}evaluationMode")]
    assert modes.count("manual") == 2


# ---- the command


def run(*words):
    return CliRunner().invoke(app, [str(word) for word in words])


def test_command_writes_and_says_what_it_found(archive, tmp_path):
    result = run("event", archive.folder, "-o", tmp_path / "out", "--model", "6.0/3.5")
    assert result.exit_code == 0
    assert "Epicentre 47.30" in result.stdout
    assert "Not for warning or public alert." in result.stdout
    assert (tmp_path / "out" / "event.xml").exists()


def test_command_takes_layers_depth_and_the_classical_instrument(archive, tmp_path):
    words = ("--model", "0:5.9/3.45,20:6.6/3.8", "--classical", "--depth", 8, "--time-error", 0.2)
    result = run("event", archive.folder, "-o", tmp_path, *words)
    assert result.exit_code == 0
    assert "from 20 km P 6.6, S 3.8 km/s" in result.stdout


@pytest.mark.parametrize(
    "words",
    [
        ("--model", "fast"),
        ("--from", "noon"),
        ("--depth", "-3"),
        ("--depth", "nan"),
        ("--time-error", "-1"),
        ("--time-error", "nan"),
        ("--to", "2000-01-01"),
    ],
)
def test_wrong_use_writes_nothing(archive, tmp_path, words):
    result = run("event", archive.folder, "-o", tmp_path / "out", *words)
    assert result.exit_code != 0
    assert not (tmp_path / "out").exists()


def test_window_of_time_chooses_the_records(archive, event):
    begins = sorted(reading.start for reading in event.readings)
    found = study_archive(archive, begin=begins[1], end=begins[4])
    assert len(found.readings) == 4


def test_reading_is_the_same_from_the_archive(archive, event):
    name = archive.ids()[0]
    again = read_station(archive[name])
    assert again.arrivals == event.readings[0].arrivals
    assert math.isclose(again.pga, event.readings[0].pga) or math.isnan(again.pga)


def test_window_opens_no_file_outside_it(archive, event, monkeypatch):
    """The catalogue knows when records begin."""
    begins = sorted(reading.start for reading in event.readings)
    opened = []
    read_one = Archive.__getitem__
    monkeypatch.setattr(Archive, "__getitem__", lambda self, key: opened.append(key) or read_one(self, key))
    study_archive(archive, begin=begins[2], end=begins[5])
    assert len(opened) == 4


def test_a_question_chooses_the_records(archive):
    found = study_archive(archive, where="station == 'QUAY' or station == 'FERN'")
    assert {reading.station.code for reading in found.readings} == {"QUAY", "FERN"}


def test_archive_remembers_the_event_of_its_records(archive, tmp_path):
    """In catalogue, questions, history and page; said again it is entered once."""
    store = Archive(tmp_path / "kept", create=True)
    store.take_from([archive])
    before = store.marks()
    assert set(store.find("event == '2031-quay'")["record"]) == set()
    words = ("event", store.folder, "-o", tmp_path / "out", "--keep", "2031-quay")
    result = run(*words)
    assert result.exit_code == 0, result.output
    assert "6 records are stored as belonging to 2031-quay" in result.stdout
    table = store.find("event == '2031-quay' and epicentral_distance < 500", state="all")
    assert len(table) == 6
    stations = pd.read_csv(tmp_path / "out" / "stations.csv", skiprows=1).set_index("record")
    for row in table.itertuples():
        assert row.epicentral_distance_km == pytest.approx(stations.epicentral_distance_km[row.record], rel=1e-5)
        assert row.hypocentral_distance_km > row.epicentral_distance_km
    entries = [len(store.history(name)) for name in store.ids()]
    assert all(store.standing(name).event["event"] == "2031-quay" for name in store.ids())
    assert all(store.marks()[name] != mark for name, mark in before.items())  # so pages are written again
    assert "It is of the event 2031-quay; epicentral distance" in run("history", store.folder, store.ids()[0]).stdout
    assert run(*words).exit_code == 0
    assert [len(store.history(name)) for name in store.ids()] == entries
    assert run("event", store.folder, "-o", tmp_path / "again", "--where", "event == '2031-quay'").exit_code == 0


def test_earthquake_named_by_a_file_is_the_event_until_one_is_kept(archive, tmp_path):
    from strongmotion.record import Earthquake

    store = Archive(tmp_path / "named", create=True)
    result = archive[archive.ids()[0]]
    store.add(replace(result, record=replace(result.record, earthquake=Earthquake(name="Quay 2031"))))
    (name,) = store.ids()
    assert list(store.find("event == 'Quay 2031'", state="all")["record"]) == [name]
    store.assign(name, "other", {})
    table = store.find("event == 'other'", state="all")
    assert list(table["earthquake"]) == ["Quay 2031"]
    assert table["epicentral_distance_km"].isna().all()


def test_several_models_are_compared(archive, tmp_path):
    """Each alone gives what the command gives for it; probabilities sum up to 1; text and JSON say the spread."""
    models = "6.0/3.5", "0:5.0/2.9,15:6.8/3.9"
    words = [word for model in models for word in ("--model", model)]
    result = run("event", archive.folder, "-o", tmp_path / "both", *words)
    assert result.exit_code == 0, result.output
    assert "Spread of the models: epicentres are up to" in result.stdout
    said = json.loads((tmp_path / "both" / "event.json").read_text(encoding="utf-8"))
    assert [one["model"] for one in said["models"]] == [str(VelocityModel.parse(m.split(","))) for m in models]
    assert sum(one["probability"] for one in said["models"]) == pytest.approx(1.0)
    points = []
    for number, model in enumerate(models):
        assert run("event", archive.folder, "-o", tmp_path / "one", "--model", model).exit_code == 0
        alone = json.loads((tmp_path / "one" / "event.json").read_text(encoding="utf-8"))
        assert alone["models"] == []
        assert alone["spread_of_models"] is None
        assert alone["place"] == said["models"][number]["place"]
        points.append(alone["place"]["hypocentres"][0])
    apart, _ = distance_and_azimuth(*(point[f"{name}_deg"] for point in points for name in ("latitude", "longitude")))
    assert said["spread_of_models"]["epicentres_apart_km"] == pytest.approx(apart)
    assert said["spread_of_models"]["depth_high_km"] == max(one["place"]["depth_high_km"] for one in said["models"])


def test_json_tells_what_the_event_tells(event):
    said = json.loads(to_json(event))
    point = event.location.point
    assert said["place"]["hypocentres"][0]["latitude_deg"] == pytest.approx(point.latitude)
    assert said["place"]["hypocentres"][0]["origin_time_utc"] == f"{event.utc(point.origin_time)}Z"
    assert (said["place"]["depth_low_km"], said["place"]["depth_high_km"]) == event.location.depth_interval
    assert [size["kind"] for size in said["sizes"]] == ["Mw", "ML"]
    assert [row["station"] for row in said["stations"]] == event.stations["station"].tolist()
    assert said["cautions"] == list(EVENT_CAUTIONS)
    nothing = json.loads(to_json(study([replace(event.readings[0], station=Station(), start=None)])))
    assert nothing["place"]["hypocentres"] == []
    assert nothing["place"]["azimuthal_gap_deg"] is None


def crowd():
    """Return an event of twenty stations, several of them as far away, that tells arrivals and peaks."""
    simulated = next(e for e in (simulate(7, n) for n in range(400)) if len(e.stations) == 20 and not e.clocks)
    rng = np.random.default_rng(1)
    return study([reading_of(simulated, index, rng) for index in range(20)])


def test_figures_of_twenty_stations_can_be_read():
    """No name of a station covers another one, and no trace of the section reaches into another."""
    event = crowd()
    for draw in (map_figure, shaking_figure):
        figure = draw(event)
        figure.canvas.draw()
        for plot in figure.axes:
            for text in plot.texts:
                text.get_window_extent()  # puts the name in its place
            boxes = [Text.get_window_extent(text) for text in plot.texts]  # without the line that leads to it
            pairs = [(one, other) for at, one in enumerate(boxes) for other in boxes[:at]]
            covered = sum(one.shrunk(0.8, 0.6).overlaps(other.shrunk(0.8, 0.6)) for one, other in pairs)
            assert covered == 0
    figure = section_figure(event)
    (plot,) = figure.axes
    rows, names = np.array(plot.get_yticks()), [text.get_text() for text in plot.get_yticklabels()]
    assert len(names) == 20
    assert [float(name.split()[1]) for name in names] == sorted(float(name.split()[1]) for name in names)
    picks = [line.get_ydata() for line in plot.get_lines() if len(line.get_ydata()) == 2]
    assert np.diff(rows).min() >= max(high - low for low, high in picks)


@pytest.mark.parametrize(("mw", "drawn"), [(4.4, (False, False)), (5.1, (True, False)), (6.0, (True, True))])
def test_relation_is_drawn_where_it_holds_only(event, mw, drawn):
    """M 5.0 to 7.7 for PGA, 5.3 to 7.4 for PGV: Joyner & Boore (1981), abstract."""
    changed = replace(event, moment=replace(event.moment, value=mw))
    figure = shaking_figure(changed)
    shaded = tuple(len(plot.collections) > 0 for plot in figure.axes[:2])
    assert shaded == drawn
    bound = replace(event, moment=replace(event.moment, value=6.0, at_least=True), local=None)
    assert not any(len(plot.collections) for plot in shaking_figure(bound).axes[:2])


def test_small_event_has_no_expected_peak_and_still_finds_a_wrong_unit(event):
    """Below M 5 the relation's level does not count, its fall-off does."""
    weak = []
    for reading in event.readings:
        wrong = 100.0 if reading.station.code == "QUAY" else 1.0
        trace = {name: mm / 30 for name, mm in reading.trace_mm.items()}
        weak.append(replace(reading, pga=wrong * reading.pga / 30, trace_mm=trace, spectrum=None))
    found = study(weak)
    assert found.local.value < 5.0
    assert found.stations["expected_pga_m_s2"].isna().all()
    assert not found.stations.set_index("station").loc["QUAY", "pga_plausible"]
    assert any(note.startswith("QUAY: its PGA is") and "than at the other stations" in note for note in found.notes)
