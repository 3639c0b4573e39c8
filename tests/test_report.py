"""Pages: what they hold, that hostile metadata cannot break them, that thinning keeps peaks, that files are whole."""

from __future__ import annotations

import base64
import dataclasses
import gzip
import html
import html.parser
import importlib.util
import itertools
import json
import re
import shutil
import subprocess
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.image import imread
from matplotlib.text import Text
from typer.testing import CliRunner

from strongmotion import Archive, ArchiveError, Component, Finding, InputError, Record, Settings, Station, process
from strongmotion.archive import Entry, catalogue
from strongmotion.cli import app
from strongmotion.foundation.cautions import CAUTION, CAUTIONS
from strongmotion.guide import page as guide_page
from strongmotion.measures import GROUPS, MEASURES, Measure
from strongmotion.record import Source
from strongmotion.report import (
    FIGURES,
    PAPERS,
    FigureEntry,
    Prints,
    archive_page,
    peaks_kept,
    record_page,
    write_pdf,
    write_report,
)
from strongmotion.report.definitions import definition_of
from strongmotion.report.made import made_in, thumbnail
from strongmotion.report.page import Surroundings
from strongmotion.report.pdf import is_stamped
from strongmotion.report.style import canvas, finish, named_style, quieten
from strongmotion.report.summary import summary_pages
from strongmotion.report.svg import Sheet
from strongmotion.report.tables import doubts_of, headline_table, number
from strongmotion.report.verdict import verdict_of
from strongmotion.report.zoom import packed_motion
from strongmotion.spectra import asce7_spectrum

ROOT = Path(__file__).parents[1]
VOID = {"meta", "br", "input", "link", "img", "hr", "wbr"}
HOSTILE = "<script>alert('x')</script>\"&'"
ARABIC = "محطة الرصيف \u202eBAY"


QUAY = Station("QUAY", "XX", name="Old Quay", latitude=-47.0, longitude=-124.0)


def recorded(station=QUAY, names=("H1", "H2", "V")):
    """Return an invented record: noise, and from 12 s on a pulse that dies away."""
    generator = np.random.default_rng(11)
    time = np.arange(5000) * 0.01
    parts = []
    for k, name in enumerate(names):
        swing = np.where(time > 12, np.sin(2 * np.pi * (1.2 + k) * time) * np.exp(-0.4 * np.abs(time - 14)), 0.0)
        parts.append(
            Component(name, swing + generator.normal(0, 1e-3, time.size), 0.01, start=np.datetime64("2031-04-17"))
        )
    return Record(tuple(parts), station, Source("quay.csv", "00" * 32, "CSV"))


@pytest.fixture(scope="module")
def result():
    return process(recorded())


@pytest.fixture(scope="module")
def page(result):
    return record_page(result, "g")


class Reading(html.parser.HTMLParser):
    """Read a page strictly: tags must nest; collect what a test asks for."""

    def __init__(self, text):
        super().__init__()
        self.open, self.tags, self.ids, self.headings, self.texts = [], [], [], [], []
        self.feed(text)
        self.close()
        assert self.open == []

    def handle_starttag(self, tag, attrs):
        if tag in ("h1", "h2", "h3"):
            self.headings.append([tag, ""])
        self.tags.append((tag, dict(attrs)))
        self.ids += [value for name, value in attrs if name == "id"]
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))
        self.ids += [value for name, value in attrs if name == "id"]

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_data(self, data):
        if {"h1", "h2", "h3"} & set(self.open):
            self.headings[-1][1] += data
        if "script" not in self.open and "style" not in self.open:
            self.texts.append(data)

    @property
    def text(self):
        return " ".join(" ".join(self.texts).split())


# Thinning


@given(st.integers(1, 5000), st.integers(1, 300), st.integers(0, 2**32 - 1))
def test_thinning_keeps_every_peak_of_every_pixel(n, pixels, seed):
    values = np.random.default_rng(seed).normal(size=n)
    time, kept = peaks_kept(np.arange(float(n)), values, pixels)
    assert np.array_equal(values[time.astype(int)], kept)  # samples of the trace, none made up
    assert (np.diff(time) > 0).all()
    assert kept.max() == values.max()
    assert kept.min() == values.min()
    if n > 4 * pixels:
        assert kept.size <= 2 * pixels + 4
        each = -(-n // pixels)
        for first in range(0, n, each):
            inside = (time >= first) & (time < first + each)
            assert kept[inside].max() == values[first : first + each].max()
            assert kept[inside].min() == values[first : first + each].min()


# The record page


def test_page_is_whole_and_needs_nothing_else(page):
    read = Reading(page)
    assert not [tag for tag, _ in read.tags if tag in ("link", "img", "iframe", "object", "image")]
    assert [tag for tag, _ in read.tags].count("script") == 2  # the motion's data, and what draws it
    for _, attributes in read.tags:
        for name in ("src", "href", "xlink:href", "action", "srcset", "data"):
            assert attributes.get(name, "#").startswith("#"), attributes
    assert "@import" not in page
    assert set(re.findall(r"url\((.)", page)) <= {"#"}


def test_ids_are_unique_and_every_link_has_its_target(page):
    read = Reading(page)
    assert len(read.ids) == len(set(read.ids))
    for _, attributes in read.tags:
        for name in ("href", "xlink:href"):
            if attributes.get(name):
                assert attributes[name][1:] in read.ids, attributes[name]
        for name in attributes.get("aria-labelledby", "").split():
            assert name in read.ids
    assert set(re.findall(r"url\(#([^)]*)\)", page)) <= set(read.ids)


def test_verdict_and_findings_come_first_and_headings_are_in_order(result):
    finding = Finding("clipping", "doubt", "flat tops", "the peak is too low", "use another", "H1", "14.1 to 14.2 s")
    note = Finding("note of the maker", "note", "spare", "none", "nothing")
    read = Reading(record_page(dataclasses.replace(result, findings=(note, finding))))
    levels = [int(level[1]) for level, _ in read.headings]
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(after <= before + 1 for before, after in itertools.pairwise(levels))
    titles = [title for _, title in read.headings]
    assert titles[1:3] == ["Usable within limits", "What the checks found"]
    assert titles.index("Clipping (H1)") < titles.index("Note of the maker") < titles.index("The numbers")


DOUBT = Finding("baseline shift", "doubt", "a step", "displacement may be wrong", "look", "V")


def unfit(result, *components):
    """Return a result of which these components are unfit, as `process` leaves it."""
    share = {"RotD00", "RotD50", "RotD100", "geometric mean", "resultant"}
    touched = {*components, *(share if {"H1", "H2"} & set(components) else {"resultant"})}
    findings = tuple(Finding("clipping", "unfit", "flat", "wrong", "use another", name) for name in components)
    bands = {
        name: dataclasses.replace(band, usable=not {name, *(("H1", "H2") if name == "horizontal" else ())} & touched)
        for name, band in result.usable_band.items()
    }
    peaks = result.peaks.assign(
        usable=~result.peaks.component.isin(touched),
        bound=np.where(result.peaks.component.isin(components) & (result.peaks.quantity == "PGA"), "at least", ""),
    )
    return dataclasses.replace(result, findings=findings, usable_band=bands, peaks=peaks)


def steady(result):
    """Return a result whose baseline leaves nothing uncertain: all peaks, and all periods within the corners, count."""
    bands = {name: dataclasses.replace(band, steady_from=0.0) for name, band in result.usable_band.items()}
    return dataclasses.replace(result, peaks=result.peaks.assign(usable=True), usable_band=bands)


def sure(result):
    """Return a steady result whose peaks have narrow bands."""
    result = steady(result)
    peaks = result.peaks.assign(band_low=result.peaks.value, band_high=result.peaks.value)
    return dataclasses.replace(result, peaks=peaks)


def test_verdict_is_made_of_findings_and_bands(result):
    assert {use.peaks["PGV"] for use in verdict_of(dataclasses.replace(result, findings=())).uses} == {"no"}
    assert verdict_of(dataclasses.replace(steady(result), findings=())).uses[1].peaks["PGD"] == "wide band"
    result = sure(result)
    sound = verdict_of(dataclasses.replace(result, findings=()))
    assert sound.kind == "usable"
    assert [use.component for use in sound.uses] == ["H1", "H2", "V", "RotD50"]
    assert sound.uses[0].longest == result.usable_band["H1"].longest_period

    doubtful = verdict_of(dataclasses.replace(result, findings=(DOUBT,)))
    assert doubtful.kind == "usable within"
    assert [use.peaks["PGD"] for use in doubtful.uses] == ["yes", "yes", "in doubt", "yes"]
    assert doubtful.uses[2].spectrum.endswith("in doubt")
    assert doubtful.findings == (("In doubt: some results may be wrong", "baseline shift (V)"),)

    partly = verdict_of(unfit(result, "V"))
    assert partly.kind == "usable within"
    assert [use.spectrum == "no" for use in partly.uses] == [False, False, True, False]

    none = verdict_of(unfit(result, "H1", "H2", "V"))
    assert none.kind == "not usable"
    assert {word for use in none.uses for word in (*use.peaks.values(), use.spectrum)} == {"no"}


def test_a_lower_bound_is_marked_wherever_its_number_stands(result):
    result = steady(result)
    bound = result.peaks.assign(bound=np.where(result.peaks.quantity == "PGV", "at least", ""))
    short = dataclasses.replace(result, peaks=bound, findings=())
    assert {use.peaks["PGV"] for use in verdict_of(short).uses} == {"at least"}
    pgv = float(bound.query("component == 'H1' and quantity == 'PGV'").value.iloc[0])
    page = record_page(short)
    assert len(re.findall(rf"≥ {re.escape(number(pgv))}(?!\d)", page)) >= 3  # headline, measures, figure
    assert f"PGV {number(pgv)}" not in page


def test_verdict_of_a_decided_record_names_who_and_why(result, tmp_path):
    archive = Archive(tmp_path / "archive", create=True)
    archive.add(dataclasses.replace(sure(result), findings=()))
    (record,) = archive.ids()
    assert verdict_of(archive[record], archive.standing(record)).decision is None
    archive.decide(record, "accepted", HOSTILE, "clear onset")
    standing = archive.standing(record)
    assert verdict_of(archive[record], standing).kind == "usable"
    archive.decide(record, "rejected", "A. Reader", f"not ours {HOSTILE}")
    standing = archive.standing(record)
    verdict = verdict_of(archive[record], standing)
    assert (verdict.kind, verdict.decision.by) == ("not usable", "A. Reader")
    page = record_page(
        archive[record], around=Surroundings("../index.html", None, None, standing, tuple(archive.history(record)))
    )
    read = Reading(page)
    assert "Not usable Rejected by A. Reader" in read.text
    assert f"version {standing.current.name} added, automatic" in read.text
    assert f"accepted, version {standing.current.name} {HOSTILE} clear onset" in read.text
    assert [tag for tag, _ in read.tags].count("script") == 2


def test_settings_that_differ_come_before_all_of_them(result):
    settings = Settings.from_dict({"filter": {"order": 6}})
    page = record_page(dataclasses.replace(result, settings=settings))
    text = Reading(page).text
    assert "filter.order 6 4 Butterworth order" in text
    assert text.index("filter.order 6 4") < text.index("All settings")
    assert "All are the defaults." in Reading(record_page(result)).text
    assert page.index("<details>") < page.index("<pre ") < page.index("</details>")


def test_links_to_definitions_are_passed_over_by_the_tab_key(page):
    links = re.findall(r'<th scope="row"><a href="#[^"]+"([^>]*)>', page)
    assert len(links) > 10
    assert all('tabindex="-1"' in rest for rest in links)


def test_page_holds_the_numbers_in_the_unit_asked_for(result):
    pga = float(result.peaks.query("component == 'H1' and quantity == 'PGA'").value.iloc[0])
    for unit, factor in (("m/s2", 1.0), ("cm/s2", 100.0), ("g", 1 / 9.80665)):
        text = Reading(record_page(result, unit)).text
        assert f"PGA, {unit.replace('s2', 's²')} {number(pga * factor)}" in text
    with pytest.raises(InputError, match="furlong"):
        record_page(result, "furlong")


def test_bands_stand_under_their_numbers_and_unusable_ordinates_are_marked(result):
    peaks = result.peaks.assign(band_low=result.peaks.value * 0.9, band_high=result.peaks.value * 1.1)
    spectra = result.spectra.assign(psa_low=np.nan, psa_high=np.nan, usable=result.spectra.period != 1.0)
    text = Reading(record_page(dataclasses.replace(result, peaks=peaks, spectra=spectra))).text
    pga = float(result.peaks.query("component == 'H1' and quantity == 'PGA'").value.iloc[0])
    assert f"{number(pga)} ‡ {number(0.9 * pga)} to {number(1.1 * pga)}" in text  # a finding doubts it
    psa = float(result.spectra.query("component == 'H1' and period == 1.0").psa.iloc[0])
    assert f"{number(psa)} †" in text


def test_each_headline_number_links_to_a_definition_with_its_source(page):
    rows = re.findall(r'<th scope="row"><a href="#([^"]+)" tabindex="-1">', page)
    assert {"pga", "pgv", "pgd", "psa", "arias-intensity", "significant-duration-5-95"} <= set(rows)
    for key in rows:
        assert re.search(rf'<dt id="{key}">.+?</dt>\s*<dd>.+?Source: .+?</span></dd>', page, re.DOTALL), key


def test_a_measure_without_a_definition_of_ours_gives_its_source():
    assert definition_of("something new", "Someone (2001)").source == "Someone (2001)"


def test_history_settings_cautions_and_versions_are_on_the_page(result, page):
    text = Reading(page).text
    for entry in result.history:
        assert entry.what in text
    assert " ".join(result.settings.to_toml().split()) in text
    assert all(caution in text for caution in CAUTIONS)
    assert f"strongmotion {result.version}" in text


def test_every_picture_has_a_text_alternative_with_the_caution(page):
    pictures = re.findall(r"<svg .*?</svg>", page, re.DOTALL)
    assert len(pictures) >= 10
    for picture in pictures:
        title = re.search(r'role="img" aria-labelledby="(\S+) (\S+)"', picture)
        assert re.search(rf'<title id="{title[1]}">[^<]{{20,}}</title>', picture)
        assert re.search(rf'<desc id="{title[2]}">{re.escape(CAUTION)}</desc>', picture)


@pytest.mark.parametrize("names", [("V",), ("H1",), ("H1", "V"), ("X", "Y", "Z", "ROT")])
def test_any_components_make_a_page(names):
    Reading(record_page(process(recorded(names=names))))


def test_same_result_same_page(result, page):
    assert record_page(result, "g") == page


# The motion in full resolution


def motion_in(page):
    """Return the head and the traces that a page carries, read as its format says, with NumPy alone."""
    content = gzip.decompress(base64.b64decode(re.search(r'id="motion-data">(.*?)</script>', page)[1]))
    length = int.from_bytes(content[:4], "little")
    head = json.loads(content[4 : 4 + length])
    n = head["samples"]
    planes = np.frombuffer(content, np.uint8, offset=4 + length).reshape(len(head["traces"]), 2, n).astype(np.int64)
    traces = []
    for trace, (low, high) in zip(head["traces"], planes, strict=True):
        numbers = low + 256 * high
        for _ in range(trace["order"]):
            numbers = np.cumsum(numbers)
        traces.append(((numbers + 32768) % 65536 - 32768) * trace["scale"])
    return head, traces


def test_page_carries_every_sample_of_the_motion(result, page):
    head, traces = motion_in(page)
    assert (head["samples"], head["dt"]) == (5000, 0.01)
    expected = [
        getattr(result.motion[name].unpadded(), history) * (1 / 9.80665 if history == "acceleration" else 1.0)
        for history in ("acceleration", "velocity", "displacement")
        for name in ("H1", "H2", "V")
    ]
    assert [trace["title"] for trace in head["traces"]][3:6] == [f"{name} velocity, m/s" for name in ("H1", "H2", "V")]
    assert len({trace["order"] for trace in head["traces"]}) > 1  # differences of several orders are in use
    for trace, values, true in zip(head["traces"], traces, expected, strict=True):
        assert np.abs(values - true).max() <= 0.501 * trace["scale"]
        assert trace["scale"] == pytest.approx(np.abs(true).max() / 32767)


def test_a_long_motion_keeps_its_samples_in_fewer_steps():
    n = 45_000
    values = np.random.default_rng(4).normal(size=n) * np.exp(-(((np.arange(n) - 20_000) / 5000) ** 2)) + 1e-4
    its = process(Record((Component("H1", values, 0.01),)), Settings.from_dict({"uncertainty": {"bands": False}}))
    head, traces = motion_in(f'id="motion-data">{packed_motion(its, "m/s2")}</script>')
    true = its.motion["H1"].unpadded().acceleration
    assert np.abs(traces[0] - true).max() <= np.abs(true).max() / 1020
    assert head["samples"] == n


# Hostile metadata

HOSTILE_STATIONS = {
    "script": Station(HOSTILE[:20], "<b>", "'\"", HOSTILE, instrument=HOSTILE),
    "long": Station("S" * 300, "N" * 300, "", "Long name " * 30, instrument="x" * 300),
    "right to left": Station("محطة", "ZZ", "", ARABIC, instrument=ARABIC),
    "no letters of ours": Station(
        "QUAY", "XX", "", "港の観測点 $\\frac{1}{0}$ {{ 7*7 }} {% raw %}", instrument="\x07\x1b[31m"
    ),
    "nothing": Station(),
}


@pytest.mark.parametrize("kind", HOSTILE_STATIONS)
def test_hostile_metadata_is_escaped_and_breaks_nothing(kind, tmp_path):
    station = HOSTILE_STATIONS[kind]
    finding = Finding(HOSTILE, "doubt", HOSTILE, HOSTILE, "]]>--><!--", place=ARABIC)
    record = recorded(station)
    record = dataclasses.replace(record, source=Source(f"{HOSTILE}.csv", "", "CSV"), findings=(finding,))
    if kind == "nothing":
        parts = tuple(dataclasses.replace(part, start=None) for part in record)
        record = dataclasses.replace(record, components=parts, source=Source())
    archive = Archive(tmp_path / "archive", create=True)
    archive.add(process(record))
    written = write_report(archive, tmp_path / "pages", prints=Prints(summary=kind == "no letters of ours"))
    assert written.failed == []
    page, index = (path.read_text(encoding="utf-8") for path in (*written.pages, written.index))
    read = Reading(page)
    assert not [tag for tag, _ in read.tags if tag in ("b", "img")]
    assert [tag for tag, _ in read.tags].count("script") == 2
    assert [tag for tag, _ in Reading(index).tags].count("script") == 2
    assert station.name.strip() == "" or " ".join(station.name.split()) in read.text
    assert "49" not in re.findall(r"<h1>(.*?)</h1>", page)[0]
    assert "<script>" not in process(record)._repr_html_()
    assert "<script>" not in record._repr_html_()


def unpacked(page):
    return json.loads(gzip.decompress(base64.b64decode(re.search(r'id="data">(.*?)</script>', page)[1])))


def test_data_of_the_archive_page_cannot_end_its_script(tmp_path):
    catalogue = pd.DataFrame(
        {
            "record": ["</script><script>alert(1)</script>"], "station": ["<!--<script>"], "latitude_deg": [np.nan],
            "longitude_deg": [np.nan], "start": pd.to_datetime(pd.Series([None]), utc=True), "pga_H1_m_s2": [1.0],
            "longest_usable_period_s": [np.inf], "worst_finding": [""],
        }
    )  # fmt: skip
    page = archive_page(catalogue)
    assert page.count("<script") == 2
    data = unpacked(page)
    assert data["values"][1][0][0] == catalogue.record[0]
    assert data["values"][-1][0] == "no limit"


# The archive page and the command


@pytest.fixture(scope="module")
def archive(tmp_path_factory):
    store = Archive(tmp_path_factory.mktemp("report") / "archive", create=True)
    for k, code in enumerate(("QUAY", "SALT", "MOLE")):
        store.add(process(recorded(Station(code, "XX", name=f"Station {code}", latitude=10.0 + k, longitude=20.0))))
    return store


def test_report_writes_a_page_each_and_an_index_with_their_numbers(archive, tmp_path):
    steps = []
    written = write_report(archive, tmp_path, unit="cm/s2", progress=lambda *step: steps.append(step))
    assert [path.stem for path in written.pages] == archive.ids()
    assert steps == [(0, 3), (1, 3), (2, 3), (3, 3)]
    index = written.index.read_text(encoding="utf-8")
    read = Reading(index)
    data = unpacked(index)
    catalogue = archive.catalogue("cm/s2")
    column = [column["title"] for column in data["columns"]].index("PGA, cm/s²")
    expected = catalogue[["pga_H1_cm_s2", "pga_H2_cm_s2", "pga_V_cm_s2"]].max(axis=1)
    assert data["values"][column] == pytest.approx(expected.tolist(), rel=1e-3)
    links = [
        attributes["href"] for tag, attributes in read.tags if tag == "a" and not attributes["href"].startswith("#")
    ]
    assert links == [f"records/{record}.html" for record in archive.ids()]
    assert all((tmp_path / link).exists() for link in links)
    turns = [re.findall(r'rel="(prev|next)" href="([^"]+)"', path.read_text("utf-8")) for path in written.pages]
    first, second, third = (path.name for path in written.pages)
    assert turns == [[("next", second)], [("prev", first), ("next", third)], [("prev", second)]]
    for path in written.pages:
        assert 'href="../index.html"' in path.read_text(encoding="utf-8")


def test_archive_page_has_no_number_of_a_record_that_is_not_for_use():
    n = 5
    catalogue = pd.DataFrame(
        {
            "record": [f"XX.S{k}" for k in range(n)], "station": "S", "latitude_deg": np.arange(n) * 0.1,
            "longitude_deg": 2.0, "start": pd.Timestamp("2031-04-17", tz="UTC"), "pga_H1_m_s2": 1.375,
            "pgv_H1_m_s": 0.1375, "psa_1s_RotD50_m_s2": 1.375, "longest_usable_period_s": 13.75,
            "worst_finding": ["note", "unfit", "doubt", "", ""],
            "state": ["automatic", "automatic", "accepted", "rejected", "withdrawn"],
        }
    )  # fmt: skip
    page = archive_page(catalogue)
    data = unpacked(page)
    numbers = [k for k, column in enumerate(data["columns"]) if column["kind"] == "number"]
    assert len(numbers) == 4
    for k in numbers:
        assert [value is None for value in data["values"][k]] == [False, True, False, True, True]
    assert Reading(page).text.count("– † – † – † – †") == 3
    assert "none to use" in page  # on the map
    assert catalogue.pga_H1_m_s2.notna().all()  # the caller's table is as it was


def test_report_of_named_records_covers_the_archive_and_links_what_is_there(archive, tmp_path):
    first, second, _ = archive.ids()
    write_report(archive, tmp_path, [second])
    written = write_report(archive, tmp_path, [first])
    assert [path.stem for path in written.pages] == [first]
    index = written.index.read_text(encoding="utf-8")
    assert len(unpacked(index)["values"][0]) == 3
    assert f"records/{first}.html" in index
    assert f"records/{second}.html" in index


def test_only_what_changed_is_read_and_written_again(archive, tmp_path, monkeypatch):
    monkeypatch.setattr(catalogue, "_SETTLED", 0)  # what has just been written would be looked at once more
    copy = Archive(tmp_path / "archive", create=True)
    for record in archive.ids():
        copy.add(archive[record])
    _, second, third = copy.ids()
    folder = tmp_path / "pages"
    before = write_report(copy, folder)
    assert before.written == before.pages
    copy.catalogue()  # brings the index up
    opened = []
    inner = Archive._content
    monkeypatch.setattr(
        Archive, "_content", lambda self, version: opened.append(version.record) or inner(self, version)
    )
    standing = []
    asked = Archive.standing
    monkeypatch.setattr(Archive, "standing", lambda self, record: standing.append(record) or asked(self, record))

    def stamps():
        return {path: (path.stat().st_mtime_ns, path.stat().st_ino) for path in folder.rglob("*.html")}

    at_first = stamps()
    again = write_report(copy, folder)
    assert (again.written, again.pages, opened, standing) == ([], before.pages, [], [])
    assert stamps() == at_first

    copy.decide(second, "rejected", "A. Reader", "a test")
    opened.clear()
    standing.clear()
    again = write_report(copy, folder)
    assert [path.stem for path in again.written] == [second]
    assert set(opened) == {second}
    assert set(standing) == {second}
    changed = {path.stem for path, stamp in stamps().items() if stamp != at_first[path]}
    assert changed == {second, "index"}
    page = (folder / "records" / f"{second}.html").read_text("utf-8")
    assert "Not usable" in page
    # The archive's page, made without the records, is that which is made with all of them.
    fresh = write_report(copy, tmp_path / "fresh")
    assert fresh.index.read_bytes() == again.index.read_bytes()
    assert all((folder / "records" / path.name).read_bytes() == path.read_bytes() for path in fresh.pages)
    assert write_report(copy, folder, unit="g").written == again.pages  # another unit: all anew
    assert write_report(copy, folder, unit="g", records=[third]).written == []


@pytest.mark.parametrize("spoiled", ['"stamp":1', "{", "", '{"stamp":"a","name":"b","thumbnail":"<script>"}'])
def test_a_page_whose_making_was_changed_is_written_anew(tmp_path, spoiled):
    path = tmp_path / "page.html"
    assert made_in(path) is None
    path.write_text(f'<meta name="made" content="{html.escape(spoiled)}">', encoding="utf-8")
    assert made_in(path) is None


def test_a_damaged_record_is_named_and_the_rest_goes_on(archive, tmp_path):
    copy = Archive(tmp_path / "archive", create=True)
    for record in archive.ids():
        copy.add(archive[record])
    path = copy.path(copy.ids()[1])
    content = bytearray(path.read_bytes())
    content[len(content) // 2] ^= 1
    path.write_bytes(content)
    run = CliRunner().invoke(app, ["report", str(copy.folder), "-o", str(tmp_path / "pages")])
    assert run.exit_code == 1
    assert copy.ids()[1] in run.output
    assert "2 pages of records" in run.output
    assert CAUTION in run.output


def test_command_writes_pdf_of_what_it_is_asked_for(archive, tmp_path):
    record = archive.ids()[0]
    run = CliRunner().invoke(app, ["report", str(archive.folder), record, "-o", str(tmp_path), "--pdf", "--unit", "g"])
    assert run.exit_code == 0, run.output
    assert sorted(path.name for path in (tmp_path / "records").iterdir()) == [f"{record}.html", f"{record}.pdf"]
    content = (tmp_path / "records" / f"{record}.pdf").read_bytes()
    assert content.startswith(b"%PDF-")
    assert content.count(b"/Type /Page ") >= 14


def test_pdf_of_one_component_has_no_pages_it_cannot_have(tmp_path):
    write_pdf(process(recorded(names=("V",))), tmp_path / "v.pdf")


@pytest.mark.parametrize("wrong", [["nowhere"], ["QUAY_no"]])
def test_unknown_records_are_refused_with_the_nearest(archive, tmp_path, wrong):
    with pytest.raises(ArchiveError, match="no record"):
        write_report(archive, tmp_path, wrong)
    with pytest.raises(ArchiveError, match="holds no record"):
        write_report(Archive(tmp_path / "empty", create=True), tmp_path)


# The summary


def read_back(path, *options):
    if shutil.which("pdftotext") is None:
        pytest.skip("needs pdftotext: apt-get install poppler-utils")
    done = subprocess.run(["pdftotext", *options, str(path), "-"], capture_output=True, check=True)
    return done.stdout.decode()


def boxes_of(figure, monkeypatch):
    """Return the box of the paper and those of all texts that are drawn: ticks beyond an axis are not."""
    drawn, draw = [], Text.draw

    def noted(self, renderer, *rest):
        if self.get_visible() and self.get_text().strip():
            drawn.append((self.get_text(), self.get_window_extent(renderer)))
        draw(self, renderer, *rest)

    with monkeypatch.context() as patched:
        patched.setattr(Text, "draw", noted)
        figure.draw(FigureCanvasAgg(figure).get_renderer())
    return figure.bbox, drawn


def test_every_number_of_the_summary_is_that_of_the_archive(archive, tmp_path):
    record = archive.ids()[0]
    archive.decide(record, "accepted", "A. Reader", "clear onset, quiet end")
    target = asce7_spectrum(s_ds=1.0, s_d1=0.6, t_l=8.0)
    prints = Prints(summary=True, target=target)
    written = write_report(archive, tmp_path, [record], "g", prints)
    path = tmp_path / "records" / f"{record}.summary.pdf"
    assert written.failed == []
    content = path.read_bytes()
    assert content.count(b"/Type /Page ") == 2
    assert b"/Subtype /Type3" not in content  # fonts are embedded as they are
    assert b"/FontFile2" in content
    width, height = PAPERS["a4"]
    box = re.search(rb"/MediaBox \[ 0 0 ([\d.]+) ([\d.]+) \]", content)
    assert (float(box[1]), float(box[2])) == pytest.approx((72 * width, 72 * height), abs=0.1)

    result = archive[record]
    lines = [line.split() for line in read_back(path, "-layout").splitlines()]
    for quantity, unit, factor in (("PGA", "g", 1 / 9.80665), ("PGV", "m/s", 1.0), ("PGD", "m", 1.0)):
        place = next(i for i, line in enumerate(lines) if line[:2] == [f"{quantity},", unit])
        of = result.peaks[result.peaks.quantity == quantity].set_index("component")
        names = ["H1", "H2", "V", "RotD50", "RotD100"]
        usable = [bool(of.usable[name]) for name in names]
        expected = [
            f"{number(of.value[name] * factor)}"
            f"{' †' if not good else ' ‡' if any(quantity in its.peaks for its in doubts_of(result, name)) else ''}"
            for name, good in zip(names, usable, strict=True)
        ]
        assert " ".join(lines[place][2:]) == " ".join(expected)
        bands = [
            f"{number(of.band_low[name] * factor)} to {number(of.band_high[name] * factor)}"
            for name in names
            if number(of.band_low[name] * factor) != number(of.band_high[name] * factor)
        ]
        assert all(band in " ".join(lines[place + 1]) for band in bands)
    for period in (0.2, 1.0, 3.0):
        its = result.spectra[(result.spectra.period == period) & (result.spectra.damping == 0.05)].set_index(
            "component"
        )
        row = next(" ".join(line) for line in lines if line[:3] == ["PSA", "at", f"{period:g}"])
        said = [number(its.psa[name] / 9.80665) for name in ("H1", "H2", "V", "RotD50", "RotD100")]
        assert [word for word in row.split("g ", 1)[1].split() if word not in "†‡"] == said
    for measure in ("Arias intensity, m/s", "Cumulative absolute velocity, m/s", "Significant duration 5-95 %, s"):
        its = result.measures[result.measures.measure.str.lower() == measure.rsplit(",", 1)[0].lower()]
        row = next(" ".join(line) for line in lines if " ".join(line).startswith(measure))
        assert [word for word in row.removeprefix(measure).split() if word not in ("†", "‡", "–")] == [
            number(value) for value in its[its.component.isin([*result.motion, "RotD50"])].value
        ]
    text = " ".join(read_back(path).split())
    for row in result.peaks[result.peaks.component.isin(list(result.motion))].itertuples():
        value, unit = (row.value / 9.80665, "g") if row.quantity == "PGA" else (row.value, row.unit)
        assert f"{row.quantity} {value:.3g} {unit} at {row.time:.2f} s" in text
    band = result.usable_band["horizontal"]
    assert f"{number(band.shortest_period)} to {number(band.longest_period)} s" in text
    for said in ("Accepted by A. Reader", "clear onset, quiet end", "target: ASCE", "Page 2 of 2", *CAUTIONS):
        assert said in text
    told = [finding.said("g") in text for finding in result.findings]
    rest = re.search(r"and (\d+) more finding", text)
    assert told.count(False) == (int(rest[1]) if rest else 0) < len(told)
    assert write_report(archive, tmp_path, [record], "g", prints).written == []
    assert not is_stamped(path, "another")


SPREAD = {
    "plain": (("H1", "H2", "V"), QUAY, 1),
    "hostile": (("H1", "H2", "V"), HOSTILE_STATIONS["long"], 12),
    "many": (("A1", "A2", "A3", "A4", "A5", "A6", "A7"), HOSTILE_STATIONS["right to left"], 3),
    "one": (("V",), Station(), 0),
}


@pytest.mark.parametrize("kind", SPREAD)
def test_no_text_of_the_summary_leaves_the_paper_or_meets_another(kind, monkeypatch):
    names, station, count = SPREAD[kind]
    result = process(recorded(station, names))
    spans = [(13.0, 14.0), (20.0, 20.0)]
    findings = tuple(
        dataclasses.replace(
            DOUBT, name=f"{name} {k}", component=names[0], span=spans[k % 2] if k < 2 else None, what=HOSTILE * 9
        )
        for k, name in enumerate(["baseline shift"] * count)
    )
    happened = tuple(
        Entry(
            "r", k, (), "decision", {"version": "", "state": "to look at"}, HOSTILE * 9, ARABIC * 9, "2031-04-17T03:26Z"
        )
        for k in range(2 * count)
    )
    around = Surroundings(history=happened)
    for page in summary_pages(dataclasses.replace(result, findings=findings), "cm/s2", around, "letter"):
        paper, boxes = boxes_of(page, monkeypatch)
        assert tuple(page.get_size_inches()) == PAPERS["letter"]
        for text, box in boxes:
            assert paper.x0 + 9 <= box.x0 <= box.x1 <= paper.x1 - 9, text
            assert paper.y0 <= box.y0 <= box.y1 <= paper.y1, text
        for (one, first), (two, second) in itertools.combinations(boxes, 2):
            inside = (
                min(first.x1, second.x1) - max(first.x0, second.x0),
                min(first.y1, second.y1) - max(first.y0, second.y0),
            )
            # The boxes of lines hold the room below the letters: those of touching lines meet by a little.
            assert inside[0] < 1.0 or inside[1] < 3.0, (one, two)


def test_thumbnail_shows_the_peak(result):
    points = [tuple(map(int, point.split())) for point in thumbnail(result)[1:].split("L")]
    motion = result.motion["H1"].unpadded()
    at = int(np.argmax(np.abs(motion.acceleration)))
    x = round(120 * at / (len(motion) - 1))
    y = 14 - 13 * np.sign(motion.acceleration[at])
    assert (x, int(y)) in points
    assert len(thumbnail(result)) < 1500


def test_five_thousand_records_make_a_small_page():
    n = 5000
    catalogue = pd.DataFrame(
        {
            "record": [f"XX.S{k:04d}_20310417T032627" for k in range(n)], "station": "S", "latitude_deg": 1.0,
            "longitude_deg": 2.0, "start": pd.Timestamp("2031-04-17", tz="UTC"), "pga_H1_m_s2": np.arange(1.0, n + 1),
            "pgv_H1_m_s": 0.1, "longest_usable_period_s": 5.0, "worst_finding": "note",
        }
    )  # fmt: skip
    page = archive_page(catalogue)
    assert len(page) < 2e6
    assert page.count("<tr") == 51  # a leaf and its headings: the rest waits in the data


# Notebooks


def test_notebooks_show_records_results_and_histories(result):
    for shown in (result._repr_html_(), result.record._repr_html_()):
        assert "Old Quay" in Reading(shown).text
    assert "PGA, m/s²" in Reading(result._repr_html_()).text
    assert "low_cut_hz" in result.history._repr_html_()


def test_plot_draws_by_name_and_shows_itself_in_notebooks(result):
    figure = result.plot("spectrum", unit="g")
    assert figure.axes[0].get_ylabel() == "Pseudo-acceleration (PSA), g"
    assert figure._repr_png_().startswith(b"\x89PNG")
    assert "corrected motion" in result.plot().get_suptitle()
    with pytest.raises(InputError, match="perhaps 'spectrum'"):
        result.plot("spectrm")


def test_a_new_figure_is_one_line_on_page_in_pdf_and_by_name(result, tmp_path):
    def dot_figure(result, axes=None, style="light"):
        figure, grid = canvas(axes, 1, 1, (3, 3), named_style(style))
        grid[0, 0].plot([0.0], [0.0], "o", label="dot")
        grid[0, 0].set_title("An invented dot")
        quieten(grid[0, 0], named_style(style))
        return finish(figure, axes is None, "dot", named_style(style), result)

    entry = FigureEntry(
        "dot", dot_figure, "Motion", "A dot", "One dot.", lambda count: Sheet(1, 1, 3, 3), in_unit=False
    )
    every = FIGURES[:]
    FIGURES[:] = [every[0], entry]  # a PDF of all figures takes a while
    try:
        assert result.plot("dot").axes[0].get_title() == "An invented dot"
        page = record_page(result)
        assert "An invented dot" in page
        assert "One dot." in page
        before = write_pdf(result, tmp_path / "with.pdf").read_bytes().count(b"/Type /Page ")
        FIGURES.remove(entry)
        assert write_pdf(result, tmp_path / "without.pdf").read_bytes().count(b"/Type /Page ") == before - 1
    finally:
        FIGURES[:] = every
    with pytest.raises(InputError, match=r"the figure 'dot' has no caption\. Add its caption in FIGURES"):
        dataclasses.replace(entry, caption="")
    with pytest.raises(InputError, match=r"unknown section 'Elsewhere'\. Choose from Motion"):
        dataclasses.replace(entry, section="Elsewhere")


def test_a_new_measure_is_one_line_in_table_page_and_catalogue(tmp_path):
    mean = Measure(
        "mean velocity", "peaks", "m/s", "an invented source", "The mean of the velocity, of no use.",
        lambda component: float(component.velocity.mean()), needs="velocity", column="mean_velocity",
    )  # fmt: skip
    MEASURES.append(mean)
    try:
        made = process(recorded())
        rows = made.measures[made.measures.measure == "mean velocity"]
        assert list(rows.component) == ["H1", "H2", "V"]
        assert set(rows.source) == {"an invented source"}
        assert rows.value.to_numpy() == pytest.approx([made.motion[name].velocity.mean() for name in made.motion])
        assert "The mean of the velocity, of no use." in record_page(made)
        archive = Archive(tmp_path / "archive", create=True)
        archive.add(made)
        assert archive.catalogue()["mean_velocity_H1_m_s"].iloc[0] == rows.value.iloc[0]
    finally:
        MEASURES.remove(mean)


@pytest.mark.parametrize("part", ["unit", "source", "words", "group"])
def test_a_measure_without_a_part_says_what_to_add(part):
    with pytest.raises(InputError, match=r"(Add .* to its line in MEASURES|Choose from peaks, spectrum)") as told:
        dataclasses.replace(MEASURES[0], **{part: ""})
    assert told.value.field == part


def test_measures_stand_by_what_they_describe(result):
    places = [GROUPS.index(measure.group) for measure in MEASURES]
    assert places == sorted(places)


# The README


def test_the_script_draws_what_the_readme_and_the_guide_show(tmp_path):
    spec = importlib.util.spec_from_file_location("make_figures", ROOT / "demo_records" / "make_figures.py")
    script = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(script)
    script.main(tmp_path)
    pages = [ROOT / "README.md", *(ROOT / "strongmotion" / "guide").glob("*.md")]
    text = "".join(page.read_text(encoding="utf-8") for page in pages)
    shown = set(re.findall(r"!\[[^\]]+\]\((?:\.\./\.\./)?demo_records/figures/([^)]+)\)", text))
    shown.remove("far_field_suite.png")  # drawn by `python -m benchmarks far_field_suite`
    drawn = {name for name in shown if not name.startswith("screen_")}  # the others need a browser
    assert drawn == {path.name for path in tmp_path.iterdir()}
    assert script.gallery() == guide_page("gallery")
    for name in drawn:
        made, kept = (imread(folder / name) for folder in (tmp_path, ROOT / "demo_records" / "figures"))
        assert made.shape == kept.shape
        assert np.mean(np.abs(made - kept) > 0.2) < 0.03  # the same picture, whatever the machine's last digits


def test_unfit_component_has_no_number_without_its_mark(result):
    unfit = Finding("clipping", "unfit", "flat tops", "too low", "use another")
    columns, rows = headline_table(dataclasses.replace(result, findings=(unfit,)), "g")
    cells = [cell for _, _, row in rows for cell in row if cell.value != "–"]
    assert columns[:2] == ["H1", "H2"]
    assert cells
    assert not any(cell.usable or cell.band for cell in cells)


def test_headline_peaks_bear_the_marks_of_the_measures(result):
    measures = result.measures.assign(usable=result.measures.component != "H2")
    columns, rows = headline_table(dataclasses.replace(result, measures=measures), "g")
    peaks = next(cells for name, _, cells in rows if name.startswith("PGA"))
    marked = {name for name, cell in zip(columns, peaks, strict=True) if not cell.usable}
    assert marked == {"H2", "RotD50", "RotD100"}


def test_result_and_record_say_themselves_in_a_line(result):
    for thing in (result, result.record):
        assert result.record.id in repr(thing)
        assert len(repr(thing)) < 200
