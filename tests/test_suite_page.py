"""The page and the two-page summary of a suite: their numbers, their texts, and what a reader can do with the page."""

from __future__ import annotations

import dataclasses
import itertools
import re
import shutil
import subprocess

import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.text import Text
from typer.testing import CliRunner

from strongmotion import Archive, Component, InputError, Record, Station, process
from strongmotion.cli import app
from strongmotion.foundation.cautions import CAUTIONS
from strongmotion.report import PAPERS, Member, suite_figure, suite_page, write_suite_summary
from strongmotion.report.suite_summary import scaled_peak, suite_summary_pages
from strongmotion.report.svg import Sheet
from strongmotion.report.tables import band_words, doubts_of, number
from strongmotion.spectra import asce7_spectrum
from strongmotion.suite import compare, select, spectra_of
from strongmotion.suite.select import SelectionRules

TARGET = asce7_spectrum(0.5, 0.3, 8.0)
RANGE = (0.3, 1.0)
HOSTILE = '<script>window.ran = true</script> & "quoted"'
G = 9.80665


def burst(seed):
    """Return a record of noise under an envelope, of a spectrum of its own."""
    generator = np.random.default_rng(seed)
    time = np.arange(4000) * 0.01
    frequency = np.fft.rfftfreq(time.size, 0.01)
    shape = frequency**2 / (1 + (frequency / (0.4 + 0.1 * seed)) ** 2) / (1 + (frequency / 15.0) ** 4)
    after = np.maximum(time - 12, 0.0)
    parts = []
    for name, size in (("H1", 1.5), ("H2", 1.8), ("V", 0.9)):
        shaken = np.fft.irfft(np.fft.rfft(generator.normal(size=time.size)) * shape, time.size) * after**1.5
        shaken *= np.exp(-after / (2 + 0.3 * seed))
        parts.append(Component(name, size * shaken / np.abs(shaken).max() + generator.normal(0, 1e-3, 4000), 0.01))
    return Record(tuple(parts), Station(f"S{seed:02d}", "XX", location="00", name=f"Site {seed}"))


@pytest.fixture(scope="module")
def archive(tmp_path_factory):
    made = Archive(tmp_path_factory.mktemp("suite") / "archive", create=True)
    for seed in range(8):
        made.add(process(burst(seed)))
    made.decide(made.ids()[1], "accepted", "A. Reader", "clear onset, quiet end")
    return made


@pytest.fixture(scope="module")
def suite(archive):
    spectra = spectra_of(archive[record] for record in archive.ids())
    return dataclasses.replace(spectra, records=tuple(archive.ids()))


@pytest.fixture(scope="module")
def chosen(suite):
    return select(suite, TARGET, RANGE, 7, SelectionRules(tolerance=0.9, below=0.6))


@pytest.fixture(scope="module")
def members(archive, chosen):
    return [Member(archive[record], archive.standing(record)) for record in chosen.table["record"]]


@pytest.mark.parametrize("unit", ["g", "cm/s2"])
def test_every_number_of_the_page_is_that_of_the_suite_in_the_unit_asked(archive, suite, chosen, unit):
    factor = {"g": 1 / G, "cm/s2": 100.0}[unit]
    page = suite_page(suite, TARGET, chosen, unit, archive.catalogue(unit))
    text = re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", page.partition("<h2>What")[2]))
    for row in chosen.table.itertuples():
        cells = f"{number(row.factor)} ({band_words(row.factor, row.factor_low, row.factor_high)})"
        assert f"{cells} {number(row.shape_misfit)} {row.lowest_ratio:.2f} at {row.lowest_at_s:g} s" in text
        assert f"{row.reason}" in text
    for k, period in enumerate(chosen.periods):
        limits = band_words(*(its[k] * factor for its in (chosen.mean, chosen.mean_low, chosen.mean_high)))
        goal, mean = number(chosen.target[k] * factor), number(chosen.mean[k] * factor)
        assert f"{period:g} {goal} {mean} {limits} {chosen.mean[k] / chosen.target[k]:.3f}" in text
    top = int(chosen.mean.argmax())
    assert f"{number(chosen.mean[top] * factor)} {'g' if unit == 'g' else 'cm/s²'} at {chosen.periods[top]:g} s" in text
    assert "accepted" in text
    assert all(caution in text for caution in (*CAUTIONS, TARGET.caution))


def test_records_that_are_left_out_or_only_kept_are_named_and_marked(suite):
    usable = suite.usable.copy()
    usable[2, suite.periods > 0.8] = False
    some = dataclasses.replace(suite, usable=usable)
    page = suite_page(some, TARGET, compare(some, TARGET, RANGE))
    assert f"<li><bdi>{suite.records[2]}</bdi></li>" in page
    assert "†" not in page
    kept = suite_page(some, TARGET, compare(some, TARGET, RANGE, keep_unusable=True))
    (row,) = re.findall(rf"<tr[^>]*>(?:(?!</tr>).)*{re.escape(suite.records[2])}.*?</tr>", kept, re.DOTALL)
    assert "†" in row
    assert kept.count("s †") == 1


def test_hostile_texts_stay_texts(suite):
    hostile = dataclasses.replace(suite, events=(HOSTILE,) * len(suite), records=(HOSTILE, *suite.records[1:]))
    goal = dataclasses.replace(TARGET, name=HOSTILE)
    page = suite_page(hostile, goal, compare(hostile, goal, RANGE))
    assert "<script>window" not in page
    assert page.count("<script") == 1
    assert "&lt;script&gt;window" in page


def test_each_line_of_the_figure_is_named_on_page_and_in_figure(suite, chosen):
    factors = dict(zip(chosen.table["record"], chosen.table["factor"], strict=True))
    sheet = Sheet(1, 1, 8.0, 4.8)
    suite_figure(suite, TARGET, factors, RANGE, "g", axes=sheet.panels[0])
    drawn = sheet.svg("suite", "A title")
    for number_, (record, factor) in enumerate(factors.items()):
        assert f'data-line="record-{number_}"><title>{record}, times {factor:.3g}</title>' in drawn
    figure = suite_figure(suite, TARGET, factors, RANGE, "g")
    assert {text.get_text() for text in figure.axes[0].texts} == {
        record.partition("_")[0] for record in factors
    } == set(re.findall(r">(XX\.S\d\d\.00)</text>", drawn))  # fmt: skip
    lines = {line.get_gid(): line for line in figure.axes[0].lines if line.get_gid()}
    assert len({(line.get_color(), str(line.get_linestyle())) for line in lines.values()}) == 7
    psa = suite.psa[suite.records.index(next(iter(factors)))] * next(iter(factors.values())) / G
    seen = np.asarray(lines["record-0"].get_ydata())
    np.testing.assert_allclose(seen[np.isfinite(seen)], psa[np.isfinite(seen)])
    with pytest.raises(InputError, match="factors"):
        suite_figure(suite, TARGET, {}, RANGE)


def boxes_of(figure, monkeypatch):
    drawn, draw = [], Text.draw

    def noted(self, renderer, *rest):
        if self.get_visible() and self.get_text().strip():
            drawn.append((self.get_text(), self.get_window_extent(renderer)))
        draw(self, renderer, *rest)

    with monkeypatch.context() as patched:
        patched.setattr(Text, "draw", noted)
        figure.draw(FigureCanvasAgg(figure).get_renderer())
    return figure.bbox, drawn


@pytest.mark.parametrize("size", [(9.0, 6.0), "page"])
def test_no_label_of_the_figure_lies_on_another(suite, size, monkeypatch):
    # All records end at one level and period, the worst case.
    alike = dataclasses.replace(suite, psa=np.repeat(suite.psa[:1], len(suite), 0), usable=np.ones_like(suite.usable))
    factors = dict.fromkeys(suite.records, 1.0)
    if size == "page":
        sheet = Sheet(1, 1, 8.0, 4.8, margins=(0.62, 0.12, 0.12, 0.42))
        suite_figure(alike, TARGET, factors, RANGE, axes=sheet.panels[0])
        drawn = sheet.svg("suite", "A title")
        ys = sorted(float(y) for y in re.findall(r'y="([\d.]+)" font-size="6.8"', drawn))
        assert len(ys) == 8
        assert np.diff(ys).min() > 1.1 * 6.8
        assert ys[0] > 0
        return
    _, boxes = boxes_of(suite_figure(alike, TARGET, factors, RANGE), monkeypatch)
    for (one, first), (two, second) in itertools.combinations(boxes, 2):
        across = min(first.x1, second.x1) - max(first.x0, second.x0)
        up = min(first.y1, second.y1) - max(first.y0, second.y0)
        assert across < 1.0 or up < 3.0, (one, two)


@pytest.mark.parametrize("paper", PAPERS)
def test_no_text_of_the_summary_leaves_the_paper_or_meets_another(suite, chosen, members, paper, monkeypatch):
    pages = list(suite_summary_pages(suite, TARGET, chosen, members, "cm/s2", paper))
    assert len(pages) == 2
    for page in pages:
        bounds, boxes = boxes_of(page, monkeypatch)
        assert tuple(page.get_size_inches()) == PAPERS[paper]
        for text, box in boxes:
            assert bounds.x0 + 9 <= box.x0 <= box.x1 <= bounds.x1 - 9, text
            assert bounds.y0 <= box.y0 <= box.y1 <= bounds.y1, text
        for (one, first), (two, second) in itertools.combinations(boxes, 2):
            across = min(first.x1, second.x1) - max(first.x0, second.x0)
            up = min(first.y1, second.y1) - max(first.y0, second.y0)
            assert across < 1.0 or up < 3.0, (one, two)


def test_every_number_of_the_summary_is_that_of_the_suite(suite, chosen, members, tmp_path):
    if shutil.which("pdftotext") is None:
        pytest.skip("needs pdftotext: apt-get install poppler-utils")
    path = write_suite_summary(suite, TARGET, chosen, members, tmp_path / "suite.pdf", "g")
    content = path.read_bytes()
    assert content.count(b"/Type /Page ") == 2
    assert b"/FontFile2" in content
    done = subprocess.run(["pdftotext", "-layout", str(path), "-"], capture_output=True, check=True)
    lines = [line.split() for line in done.stdout.decode().splitlines()]
    for row, member in zip(chosen.table.itertuples(), members, strict=True):
        place = next(i for i, line in enumerate(lines) if line[:1] == [row.record.partition("_")[0]])
        peaks = member.result.peaks[member.result.peaks.component == "RotD50"].set_index("quantity")
        said = [
            number(row.factor),
            number(row.shape_misfit),
            f"{row.lowest_ratio:.2f}",
            "at",
            f"{row.lowest_at_s:g}",
            "s",
        ]
        bands = [band_words(row.factor, row.factor_low, row.factor_high)]
        for quantity, unit in (("PGA", 1 / G), ("PGV", 1.0), ("PGD", 1.0)):
            its = peaks.loc[quantity]
            said.append(number(its.value * row.factor * unit))
            doubted = any(quantity in touches.peaks for touches in doubts_of(member.result, "RotD50"))
            said += ["†"] if not its.usable else ["‡"] if doubted else []
            bands.append(band_words(*(end * row.factor * unit for end in (its.value, its.band_low, its.band_high))))
        assert lines[place][1:] == said
        assert " ".join(lines[place + 1]) == " ".join(bands)
    text = " ".join(word for line in lines for word in line)
    for said in ("Accepted by A. Reader", "clear onset, quiet end", "Page 2 of 2", "factors from 0.25 to 4", *CAUTIONS):
        assert said in text
    with pytest.raises(InputError, match="members"):
        write_suite_summary(suite, TARGET, chosen, members[:3], tmp_path / "few.pdf")
    with pytest.raises(InputError, match="paper"):
        write_suite_summary(suite, TARGET, chosen, members, tmp_path / "other.pdf", paper="b5")


def test_the_commands_write_page_and_summary(archive, tmp_path):
    words = [str(archive.folder), "--target", "asce7:sds=0.5,sd1=0.3,tl=8", "--range", "0.3", "1", "--unit", "cm/s2"]
    for name, more in (("compare", []), ("select", ["-n", "3", "--tolerance", "0.9", "--below", "0.6"])):
        page, summary = tmp_path / f"{name}.html", tmp_path / f"{name}.pdf"
        done = CliRunner().invoke(app, [name, *words, *more, "--page", str(page), "--summary", str(summary)])
        assert done.exit_code == 0, done.output
        assert "PSA of RotD50, cm/s²" in page.read_text(encoding="utf-8")
        assert summary.read_bytes().startswith(b"%PDF")


def test_one_record_has_no_spread_and_unfit_peaks_no_band(archive, suite, members, tmp_path):
    first = archive.ids()[0]
    words = [str(archive.folder), "--target", "asce7:sds=0.5,sd1=0.3,tl=8", "--range", "0.3", "1"]
    page = tmp_path / "one.html"
    done = CliRunner().invoke(app, ["compare", *words, "--where", "station == 'S00'", "--page", str(page)])
    assert done.exit_code == 0, done.output
    assert "nan" not in done.output
    text = page.read_text(encoding="utf-8")
    assert f"<bdi>{first}</bdi>" in text
    assert "nan" not in re.sub(r"<script>.*?</script>|<style>.*?</style>", "", text, flags=re.DOTALL)
    result = members[0].result
    unusable = dataclasses.replace(result, peaks=result.peaks.assign(usable=False))
    value, band = scaled_peak(unusable, "RotD50", "PGA", 2.0, "g")
    assert value.endswith(" †")
    assert band == ""
