"""Which numbers a finding touches, in which unit it speaks, and what of the demo records may be used by their pages."""

from __future__ import annotations

import ast
import dataclasses
import html
import math
import re
from pathlib import Path

import numpy as np
import pytest

from benchmarks.simulations import draw_baseline_record
from strongmotion import Archive, InputError, Record, process, read
from strongmotion.chain import narrowed
from strongmotion.record import NO_PERIODS, PEAKS, Finding, Quantity, Touched
from strongmotion.report import record_page
from strongmotion.report.tables import PERIODS, doubts_of
from strongmotion.report.verdict import touched, verdict_of
from strongmotion.spectra import response_spectrum

ROOT = Path(__file__).parents[1]
DEMO = ROOT / "demo_records"
FILES = {path.stem.upper(): path for path in DEMO.iterdir() if path.suffix in (".csv", ".txt")}


@pytest.fixture(scope="module")
def results():
    return {code: process(read(path)) for code, path in sorted(FILES.items())}


def test_a_sentence_is_said_in_the_unit_asked_and_the_values_stay_si():
    finding = Finding(
        "baseline shift", "doubt", "", "effect", "remedy", values={"shift_m_s2": 0.0041},
        says=("it shifted by ", Quantity("shift", 0.0041, "m/s2"), " over ", Quantity("length", 3.0, "s")),
    )  # fmt: skip
    assert finding.what == finding.said() == "it shifted by 0.0041 m/s² over 3 s"
    assert finding.said("cm/s2") == "it shifted by 0.41 cm/s² over 3 s"
    assert finding.said("g") == f"it shifted by {0.0041 / 9.80665:.3g} g over 3 s"
    assert finding.values == {"shift_m_s2": 0.0041}
    # What comes from a file may hold anything, and is no template.
    plain = Finding("x", "note", "a {0} of {shift} m/s²", "", "")
    assert plain.said("g") == plain.what
    with pytest.raises(InputError):
        finding.said("furlong")


def test_no_finding_writes_an_acceleration_into_its_sentence_by_hand():
    """It would stay in m/s² whatever the unit asked for; `Quantity` is for that."""
    by_hand = []
    for path in (ROOT / "strongmotion").rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and ast.unparse(node.func) == "Finding":
                texts = [ast.unparse(one) for one in (*node.args, *(one.value for one in node.keywords))]
                by_hand += [(path.name, text) for text in texts if re.search(r"\} (m/s²|g\b|cm/s²|gal\b)", text)]
    assert by_hand == []


def test_touches_and_quantities_survive_the_archive(tmp_path, results):
    archive = Archive(tmp_path / "a", create=True)
    archive.add(results["SALT"])
    back = archive[archive.ids()[0]]
    assert back.findings == results["SALT"].findings
    assert {finding.touches for finding in back.findings} != {Touched()}


def test_a_finding_without_touches_touches_all():
    whole = Touched()
    assert whole.everything
    assert whole.holds(0.0)
    assert whole.holds(1e3)
    assert whole.peaks == PEAKS
    assert not Touched((), NO_PERIODS).spectrum
    assert not Touched((), NO_PERIODS).holds(1.0)
    said = {
        touched(Finding("x", "doubt", "", "", "", touches=its))
        for its in (whole, Touched(("PGD",), NO_PERIODS), Touched((), NO_PERIODS), Touched(alone=False))
    }
    assert said == {"all numbers", "PGD", "none of the numbers", "all numbers that combine both horizontals"}


def test_a_baseline_shift_touches_what_the_bands_do_not_agree_on(results):
    result = results["SALT"]
    for finding in result.findings:
        if finding.name != "baseline shift":
            continue
        its = result.spectra[(result.spectra.component == finding.component) & (result.spectra.damping == 0.05)]
        half = ((its.psa_high - its.psa_low) / 2 / its.psa)[its.period > 0].to_numpy()
        periods = its.period[its.period > 0].to_numpy()
        first, last = finding.touches.periods
        assert math.isinf(last)
        beyond = periods >= periods[its.psa[its.period > 0].to_numpy().argmax()]
        assert (half[beyond & (periods < first)] <= 0.05).all()
        assert half[periods == first][0] > 0.05
        peaks = result.peaks[result.peaks.component == finding.component].set_index("quantity")
        wide = (peaks.band_high - peaks.band_low) / 2 / peaks.value > 0.05
        assert finding.touches.peaks == tuple(name for name in ("PGV", "PGD") if wide[name])
    # Without bands nothing is known of how well the explanations agree.
    blank = result.spectra.assign(psa_low=np.nan, psa_high=np.nan)
    peaks = result.peaks.assign(band_low=np.nan, band_high=np.nan)
    again = narrowed(result.findings, peaks, blank, result.usable_band)
    assert {one.touches for one in again if one.name == "baseline shift"} == {Touched(("PGV", "PGD"))}


def test_a_shift_as_large_as_the_motion_touches_the_pga(results):
    result = results["SALT"]
    large = dataclasses.replace(result.findings[0], values={"shift_m_s2": -0.2, "transient_m_s2": 0.0})
    (one,) = narrowed((large,), result.peaks, result.spectra, result.usable_band)
    assert "PGA" in one.touches.peaks


def test_a_drift_of_displacement_touches_pgd_and_the_periods_at_which_it_counts(results):
    result = results["QUAY"]
    band, pgd = (
        result.usable_band["H1"],
        float(result.peaks.query("component == 'H1' and quantity == 'PGD'").value.iloc[0]),
    )
    drift = Finding(
        "displacement in doubt", "doubt", "", "", "", "H1",
        values={"displacement_before_onset_to_peak": 0.3}, touches=Touched(("PGD",)),
    )  # fmt: skip
    (one,) = narrowed((drift,), result.peaks, result.spectra, result.usable_band)
    assert one.touches.peaks == ("PGD",)
    # An oscillator that is slow against the drift moves with it: 0.3 PGD at the low-cut, against its own PSA.
    its = result.spectra[
        (result.spectra.component == "H1") & (result.spectra.damping == 0.05) & (result.spectra.period > 0)
    ]
    over = its.period[0.3 * pgd * (2 * np.pi * band.low_cut) ** 2 > 0.05 * its.psa]
    assert one.touches.periods[0] == over.min()


def test_what_is_not_touched_is_right_where_the_truth_is_known():
    """Simulated baseline errors (Iwan et al. 1985; Graizer 2006): PGA and short periods are free of the doubt."""
    off: dict[bool, list[float]] = {True: [], False: []}
    for seed in range(6):
        simulated = draw_baseline_record(np.random.default_rng([92, seed]))
        truth = simulated.truth
        result = process(Record.from_arrays(dict(zip(("H1", "H2", "V"), simulated.acceleration, strict=True)),
                                            dt=simulated.dt, unit="m/s2"))  # fmt: skip
        unfit = {finding.component for finding in result.findings if finding.severity == "unfit"}
        for finding in result.findings:
            name = finding.component
            if finding.name != "baseline shift" or unfit & {"", name}:
                continue
            its = result.spectra[(result.spectra.component == name) & (result.spectra.damping == 0.05)]
            its = its[its.usable & (its.period > 0.2)]
            true = truth.acceleration[("H1", "H2", "V").index(name)]
            psa = response_spectrum(true, truth.dt, its.period.to_numpy(), quantities=["psa"]).psa[0]
            for period, ratio in zip(its.period, its.psa / psa, strict=True):
                off[finding.touches.holds(period)].append(abs(ratio - 1))
    assert len(off[False]) > 50
    # The limit is 5 % of half a band of 5 to 95 %: most of what is not touched must be as close.
    assert np.mean(np.array(off[False]) < 0.05) > 0.9
    assert np.mean(np.array(off[True] or [1.0]) < 0.05) < np.mean(np.array(off[False]) < 0.05)


# What an engineer reads from a page alone


def cells_of(table):
    rows = [
        re.findall(r"<t[hd][^>]*>(.*?)</t[hd]>", row, re.DOTALL)
        for row in re.findall(r"<tr>(.*?)</tr>", table, re.DOTALL)
    ]
    return [[html.unescape(re.sub(r"<[^>]+>", " ", cell)).split() for cell in row] for row in rows]


def said_of_use(page):
    """Return what the page says of PGA, PGV, PGD, and PSA at 3 s, by component: read from its text alone."""
    table = re.search(r'aria-label="What may be used".*?</table>', page, re.DOTALL)[0]
    header, *rows = [[" ".join(cell) for cell in row] for row in cells_of(table)]
    answers = {}
    for name, *cells in rows:
        its = dict(zip(header[1:4], cells[:3], strict=True))
        words = cells[3].split()
        if words == ["no"]:
            its["PSA at 3 s"] = "no"
        else:
            numbers = [float(word) for word in re.findall(r"[\d.]+", cells[3])]
            inside = numbers[0] <= 3.0 <= numbers[1]
            doubtful = "in doubt" in cells[3] and (len(numbers) == 2 or numbers[2] <= 3.0)
            its["PSA at 3 s"] = "no" if not inside else "in doubt" if doubtful else "yes"
        answers[name] = its
    return answers


def marks_of_headline(page):
    """Return the marks that stand behind the headline numbers of the same page, by component."""
    table = re.search(r'aria-label="Headline numbers".*?</table>', page, re.DOTALL)[0]
    header, *rows = cells_of(table)
    marks: dict[str, dict[str, str]] = {}
    for title, *cells in rows:
        what = "PSA at 3 s" if title[:3] == ["PSA", "at", "3"] else title[0].strip(",")
        for name, cell in zip(header[1:], cells, strict=True):
            marks.setdefault(" ".join(name), {})[what] = "no" if "†" in cell else "in doubt" if "‡" in cell else "yes"
    return marks


# By the truth of demo_records/make_demo.py: BELL is clipped, MOLE began late, the baseline of SALT shifted.
EXPECTED = {
    "QUAY": ("yes", "yes", "yes", "yes"),
    "FERN": ("yes", "yes", "wide band", "yes"),
    "HEATH": ("yes", "yes", "wide band", "yes"),
    "MOLE": ("in doubt", "in doubt", "in doubt", "in doubt"),
    "SALT": ("yes", "in doubt", "in doubt", "in doubt"),
    "BELL": ("no", "no", "no", "no"),
}


@pytest.mark.parametrize("code", EXPECTED)
def test_what_may_be_used_is_seen_from_the_page_alone(results, code):
    page = record_page(results[code], "g")
    answers = said_of_use(page)
    assert tuple(answers["RotD50"].values()) == EXPECTED[code]
    marks = marks_of_headline(page)
    for name, its in answers.items():
        # The headline shows the band itself.
        marked = {what: "yes" if word == "wide band" else word for what, word in its.items()}
        assert {what: marks[name][what] for what in its} == marked, name


@pytest.mark.parametrize("code", EXPECTED)
def test_the_answers_agree_with_the_findings(results, code):
    result = results[code]
    verdict = verdict_of(result)
    unfit = {finding.component for finding in result.findings if finding.severity == "unfit"}
    for use in verdict.uses:
        parts = {use.component} if use.component in result.motion else {"H1", "H2"}
        doubts = doubts_of(result, use.component)
        for quantity in PEAKS:
            if unfit & parts:
                assert use.peaks[quantity] == "no"
            else:
                doubted = any(quantity in touches.peaks for touches in doubts)
                (row,) = result.peaks.query(f"component == {use.component!r} and quantity == {quantity!r}").itertuples()
                wide = row.band_high > 1.5 * row.value or row.band_low < 0.5 * row.value
                assert use.peaks[quantity] == ("in doubt" if doubted else "wide band" if wide else "yes")
        for period in PERIODS:
            its = result.spectra[(result.spectra.component == use.component) & (result.spectra.damping == 0.05)]
            usable = bool(its[np.isclose(its.period, period)].usable.iloc[0])
            doubted = any(touches.holds(period) for touches in doubts)
            assert use.ordinate(period) == ("no" if not usable else "in doubt" if doubted else "yes")


def test_every_acceleration_of_the_findings_on_a_page_is_in_the_unit_asked(results):
    for unit, other in (("g", r"[\d.]+ (m|cm)/s²"), ("cm/s2", r"[\d.]+ (m/s²|g\b)")):
        page = record_page(results["SALT"], unit)
        found = page.partition('<h2 id="findings">')[2].partition("<h2>")[0]
        assert "shifted by" in found
        assert not re.search(other, re.sub(r"<[^>]+>", " ", found))


@pytest.mark.parametrize(("unit", "said"), [("g", "g"), ("cm/s2", "cm_s2"), ("m/s2", "m_s2")])
def test_the_history_on_a_page_is_in_the_unit_asked(results, unit, said):
    text = html.unescape(record_page(results["SALT"], unit)).partition("<h2>Processing history")[2].partition("<h2>")[0]
    factor = {"g": 1 / 9.80665, "cm/s2": 100.0, "m/s2": 1.0}[unit]
    entry = next(one for one in results["SALT"].history if one.step == "baseline shift")
    assert f"shift_{said}\N{NO-BREAK SPACE}{entry.values['shift_m_s2'] * factor:.5g}" in text
    assert ("m_s2\N{NO-BREAK SPACE}" in text) == (unit != "g")
    assert "m/s²" not in text
