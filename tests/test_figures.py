"""Figures: what is drawn is what the result holds, in the units the labels name, with nothing cut off."""

from __future__ import annotations

import dataclasses
import subprocess
import sys

import numpy as np
import pandas as pd
import pytest

from strongmotion import ArchiveError, Component, Finding, InputError, Motion, Record, Result, Settings, Station
from strongmotion.cautions import CAUTION
from strongmotion.chain import Band
from strongmotion.measures import measure_table, peak_table
from strongmotion.motion import Entry, History
from strongmotion.report import motion_figure, save, spectrum_figure

G = 9.80665  # m/s², ISO 80000-3
DT, LEAD, TRAIL, SAMPLES = 0.01, 300, 200, 2000
PERIODS = np.array([0.0, 0.01, 0.02, 0.1, 1.0, 5.0, 10.0])


def made(names=("H1", "H2", "V"), quiet=3.5, dampings=(0.05,), findings=(), size=1.0, peak_in_pad=False):
    """Build a result by hand: each component a pulse of its own frequency, with pads, around 8 s."""
    time = (np.arange(LEAD + SAMPLES + TRAIL) - LEAD) * DT
    motion = {}
    for number, name in enumerate(names):
        window = np.exp(-((time - 8 - number) ** 2))
        pulse = size * (number + 1) * np.cos(2 * np.pi * (number + 1) * (time - 8 - number)) * window
        displacement = 0.01 * pulse + (0.5 * (time < -2.9) if peak_in_pad else 0.0)
        motion[name] = Motion(name, -pulse, DT, 0.1 * pulse, displacement, LEAD, TRAIL)
    record = Record(
        tuple(
            Component(name, motion[name].acceleration[motion[name].window], DT, start=np.datetime64("2031-04-17"))
            for name in names
        ),
        Station(code="QUAY", network="XX", name="Old Quay"),
    )
    band = Band(low_cut=0.14, high_cut=50.0, nyquist=50.0, period_fraction=0.7)
    rotated = ("RotD00", "RotD50", "RotD100") if "H2" in names else ()
    tables = []
    for number, name in enumerate((*names, *rotated)):
        for damping in dampings:
            psa = size * (number + 1) / (1 + PERIODS) / damping
            rows = {"component": name, "damping": damping, "period": PERIODS, "psa": psa, "usable": band.holds(PERIODS)}
            tables.append(pd.DataFrame(rows))
    return Result(
        record=record,
        settings=Settings(),
        motion=motion,
        usable_band=dict.fromkeys((*names, "horizontal"), band),
        peaks=peak_table(motion),
        spectra=pd.concat(tables, ignore_index=True),
        measures=measure_table(motion),
        findings=findings,
        history=History().add(Entry("onset", "", "Onset given", {"onset_s": 4.0, "pre_event_s": quiet})),
    )


@pytest.fixture(scope="module")
def result():
    return made()


def grid(figure):
    return np.array(figure.axes).reshape(3, -1)


def trace(axes):
    return max(axes.lines, key=lambda line: len(line.get_xdata()))


def marker(axes, label):
    (line,) = [line for line in axes.lines if line.get_label() == label]
    return float(line.get_xdata()[0]), float(line.get_ydata()[0])


def line_of(axes, start):
    (line,) = [line for line in axes.lines if line.get_label().startswith(start)]
    return line


@pytest.mark.parametrize(("unit", "factor"), [("m/s2", 1.0), ("cm/s2", 100.0), ("g", 1 / G)])
def test_motion_draws_the_record_window_in_the_unit(result, unit, factor):
    axes = grid(motion_figure(result, unit))
    own = slice(LEAD, LEAD + SAMPLES)
    for column, name in enumerate(result.motion):
        motion = result.motion[name]
        for row, expected in enumerate((motion.acceleration * factor, motion.velocity, motion.displacement)):
            line = trace(axes[row, column])
            np.testing.assert_allclose(line.get_ydata(), expected[own], rtol=1e-12)
            np.testing.assert_allclose(line.get_xdata(), np.arange(SAMPLES) * DT, atol=1e-9)
            assert axes[row, column].get_xlim() == pytest.approx((0.0, (SAMPLES - 1) * DT))


def test_motion_axes_name_their_units(result):
    axes = grid(motion_figure(result, "g"))
    assert [row[0].get_ylabel() for row in axes] == ["Acceleration, g", "Velocity, m/s", "Displacement, m"]
    assert {cell.get_xlabel() for cell in axes[2]} == {"Time after the first sample, s"}
    assert grid(motion_figure(result, "Gal"))[0, 0].get_ylabel() == "Acceleration, cm/s²"


def test_motion_marks_peaks_where_they_are(result):
    axes = grid(motion_figure(result, "g"))
    # By construction component number k (from 0) peaks at 8 + k s with acceleration -(k + 1) m/s².
    for column in range(3):
        assert marker(axes[0, column], "PGA") == pytest.approx((8 + column, -(column + 1) / G))
        assert marker(axes[1, column], "PGV") == pytest.approx((8 + column, 0.1 * (column + 1)))
        assert marker(axes[2, column], "PGD") == pytest.approx((8 + column, 0.01 * (column + 1)))
    assert axes[0, 1].texts[0].get_text() == "PGA 0.204 g at 9.00 s"
    assert axes[2, 2].texts[0].get_text() == "PGD 0.03 m at 10.00 s"


def test_motion_says_when_a_peak_lies_in_the_pad():
    axes = grid(motion_figure(made(peak_in_pad=True)))
    assert axes[2, 0].texts[0].get_text().endswith("s, in the pad")
    assert "pad" not in axes[0, 0].texts[0].get_text()


def test_rows_share_one_symmetric_scale_that_holds_every_trace(result):
    axes = grid(motion_figure(result))
    for row in axes:
        limits = {cell.get_ylim() for cell in row}
        assert len(limits) == 1
        low, high = limits.pop()
        assert low == -high
        assert high > max(np.abs(trace(cell).get_ydata()).max() for cell in row)


def test_onset_is_drawn_where_the_history_puts_it(result):
    for cell in grid(motion_figure(result)).flat:
        assert set(line_of(cell, "onset").get_xdata()) == {4.0}
    for cell in grid(motion_figure(made(quiet=0.0))).flat:
        assert not [line for line in cell.lines if line.get_label() == "onset"]


def test_motion_of_one_component_and_of_nothing():
    assert grid(motion_figure(made(names=("V",)))).shape == (3, 1)
    silent = grid(motion_figure(made(size=0.0)))
    assert silent[0, 0].get_ylim() == (-1.0, 1.0)


@pytest.mark.parametrize(("unit", "factor"), [("m/s2", 1.0), ("g", 1 / G)])
def test_spectrum_draws_every_ordinate_and_fades_those_outside_the_band(result, unit, factor):
    axes = spectrum_figure(result, unit=unit).axes[0]
    table = result.spectra[(result.spectra.component == "H2") & (result.spectra.period > 0)]
    expected, usable = table.psa.to_numpy() * factor, table.usable.to_numpy()
    assert usable.tolist() == [False, True, True, True, True, False]
    full, faded = line_of(axes, "H2"), line_of(axes, "_H2 faded")
    np.testing.assert_array_equal(np.isfinite(full.get_ydata()), usable)
    np.testing.assert_allclose(full.get_ydata()[usable], expected[usable])
    np.testing.assert_allclose(faded.get_ydata()[~usable], expected[~usable])
    assert faded.get_alpha() < 0.5
    assert full.get_alpha() is None
    assert (axes.get_xscale(), axes.get_yscale()) == ("log", "log")
    assert axes.get_xlim() == pytest.approx((0.01, 10.0))


def test_spectrum_names_units_lines_and_peaks(result):
    axes = spectrum_figure(result, unit="cm/s2").axes[0]
    assert (axes.get_xlabel(), axes.get_ylabel()) == ("Period, s", "Pseudo-acceleration (PSA), cm/s²")
    shown = [text.get_text() for text in axes.get_legend().get_texts()]
    assert [text.split(",")[0] for text in shown] == [
        "H1", "H2", "V", "RotD50", "RotD100", "usable band", "outside the usable band",
    ]  # fmt: skip
    assert shown[1] == "H2, PGA 200 cm/s²"


def test_spectrum_shades_the_usable_band_of_the_pair(result):
    axes = spectrum_figure(result).axes[0]
    (shade,) = (patch for patch in axes.patches if patch.get_label() == "usable band")
    band = result.usable_band["horizontal"]
    low, high = axes.get_xlim()
    begin, end = shade.get_x(), shade.get_x() + shade.get_width()
    assert (begin, end) == pytest.approx((max(band.shortest_period, low), min(band.longest_period, high)))


def test_spectrum_of_an_unfit_pair_shades_nothing(result):
    spectra = result.spectra.assign(usable=False)
    axes = spectrum_figure(dataclasses.replace(result, spectra=spectra)).axes[0]
    assert not axes.patches
    assert not np.isfinite(line_of(axes, "H1").get_ydata()).any()


def test_spectrum_takes_the_damping_asked_for():
    result = made(dampings=(0.02, 0.1))
    first, second = spectrum_figure(result).axes[0], spectrum_figure(result, damping=0.1).axes[0]
    np.testing.assert_allclose(line_of(first, "H1").get_ydata(), 5 * line_of(second, "H1").get_ydata())
    assert "10 % of critical" in spectrum_figure(result, damping=0.1).get_suptitle()
    with pytest.raises(InputError, match=r"no spectra of damping 0\.05, only of 0\.02, 0\.1"):
        spectrum_figure(result, damping=0.05)


def test_spectrum_without_rotation_and_of_nothing():
    axes = spectrum_figure(made(names=("V",))).axes[0]
    assert [text.get_text().split(",")[0] for text in axes.get_legend().get_texts()] == [
        "V",
        "usable band",
        "outside the usable band",
    ]
    spectrum_figure(made(size=0.0)).draw_without_rendering()


@pytest.mark.parametrize("draw", [motion_figure, spectrum_figure])
def test_unit_must_be_of_acceleration(draw, result):
    with pytest.raises(InputError, match="furlong"):
        draw(result, unit="furlong")
    with pytest.raises(InputError, match="counts"):
        draw(result, unit="counts")


@pytest.mark.parametrize("draw", [motion_figure, spectrum_figure])
def test_caution_and_doubts_are_on_the_figure(draw, result):
    assert draw(result).get_supxlabel() == CAUTION
    assert draw(result).get_suptitle().startswith(f"Old Quay, {result.record.id}: ")
    finding = Finding("clipping", "unfit", what="flat tops", effect="too low", remedy="another instrument")
    assert "unfit for use" in draw(made(findings=(finding,))).get_suptitle()
    assert "unfit" not in draw(result).get_suptitle()


@pytest.mark.parametrize("draw", [motion_figure, spectrum_figure])
@pytest.mark.parametrize("names", [("H1", "H2", "V"), ("V",)])
@pytest.mark.parametrize("size", [1.0, 1e-4])
def test_no_text_is_cut_off(draw, names, size):
    finding = Finding("clipping", "unfit", what="flat tops", effect="too low", remedy="another instrument")
    figure = draw(made(names=names, size=size, findings=(finding,)))
    figure.draw_without_rendering()
    texts = [
        *(figure._suptitle, figure._supxlabel),
        *(item for axes in figure.axes for item in (axes.title, axes.xaxis.label, axes.yaxis.label, *axes.texts)),
    ]
    for text in texts:
        box = text.get_window_extent()
        if text.get_text():
            assert figure.bbox.x0 <= box.x0 < box.x1 <= figure.bbox.x1, text.get_text()
            assert figure.bbox.y0 <= box.y0 < box.y1 <= figure.bbox.y1, text.get_text()


def test_peak_text_stays_clear_of_the_trace(result):
    figure = motion_figure(result)
    figure.draw_without_rendering()
    for cell in grid(figure).flat:
        bottom = cell.texts[0].get_window_extent().y0
        top = cell.transData.transform((0.0, np.max(trace(cell).get_ydata())))[1]
        assert top < bottom


# Okabe & Ito (2008), Color Universal Design: blue, vermillion and bluish green as RGB (from memory).
def test_component_colours_are_okabe_and_ito(result):
    rgb = {"H1": (0, 114, 178), "H2": (213, 94, 0), "V": (0, 158, 115)}
    axes = spectrum_figure(result).axes[0]
    for name, colour in rgb.items():
        assert line_of(axes, f"{name},").get_color() == "#{:02X}{:02X}{:02X}".format(*colour)


def test_saved_figure_is_png_with_its_caution(result, tmp_path):
    path = save(spectrum_figure(result), tmp_path / "spectrum.png")
    content = path.read_bytes()
    assert content.startswith(b"\x89PNG\r\n\x1a\n")
    assert CAUTION.encode() in content
    assert [file.name for file in tmp_path.iterdir()] == ["spectrum.png"]


def test_figure_that_cannot_be_saved_names_its_path(result, tmp_path):
    with pytest.raises(ArchiveError, match=r"spectrum\.png: could not be written"):
        save(spectrum_figure(result), tmp_path / "nowhere" / "spectrum.png")


def test_figures_need_no_window_system():
    code = "import sys, strongmotion.report; print('matplotlib.pyplot' in sys.modules)"
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert run.stdout.strip() == "False"
