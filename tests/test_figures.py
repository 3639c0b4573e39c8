"""Figures: what is drawn is what the result holds, in the units the labels name, with nothing cut off."""

from __future__ import annotations

import dataclasses
import subprocess
import sys

import numpy as np
import pandas as pd
import pytest
from matplotlib.colors import to_rgb

from strongmotion import ArchiveError, Component, Finding, InputError, Motion, Record, Result, Settings, Station
from strongmotion.chain import Band, Baseline, PermanentDisplacement, Shift, Windows, signal_and_noise, to_acceleration
from strongmotion.foundation.cautions import CAUTION
from strongmotion.measures import arias_history, measure_table, peak_table, significant_duration
from strongmotion.motion import History
from strongmotion.report import (
    acceleration_displacement_figure,
    comparison_figure,
    distribution_figure,
    husid_figure,
    motion_figure,
    offset_figure,
    particle_figure,
    processing_figure,
    raw_figure,
    rotation_figure,
    save,
    spectrum_figure,
    station_figure,
    tripartite_figure,
)
from strongmotion.report.archive_figures import largest
from strongmotion.report.style import STYLES
from strongmotion.spectra import TargetSpectrum, response_spectrum

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
        windows=Windows(round(4.0 / DT), round(quiet / DT)),
        baseline={},
        history=History(),
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


# The other figures of one result


def hold(axes, label):
    (line,) = [line for line in axes.lines if line.get_label() == label]
    return np.asarray(line.get_xdata(), float), np.asarray(line.get_ydata(), float)


def test_raw_is_drawn_less_its_median_behind_the_corrected(result):
    offset = 0.37
    parts = tuple(dataclasses.replace(part, samples=part.samples + offset) for part in result.record)
    axes = raw_figure(
        dataclasses.replace(result, record=dataclasses.replace(result.record, components=parts)), "g"
    ).axes
    for panel, part in zip(axes, parts, strict=True):
        raw, corrected = hold(panel, "raw")[1], hold(panel, "corrected")[1]
        np.testing.assert_allclose(raw, (part.samples - np.median(part.samples)) / G, atol=1e-12)
        np.testing.assert_allclose(corrected, result.motion[part.name].unpadded().acceleration / G, rtol=1e-12)
        assert panel.get_ylabel() == f"{part.name}, g"
        assert panel.texts[0].get_text() == f"offset taken off: {offset / G:.3g} g"
    assert axes[-1].get_xlabel() == "Time after the first sample, s"


def test_motion_marks_windows_and_findings_where_they_are(result):
    finding = Finding("clipping", "unfit", "flat tops", "too low", "another", "H2", span=(8.5, 9.25))
    axes = grid(motion_figure(dataclasses.replace(result, findings=(finding,))))
    assert set(hold(axes[0, 0], "pre-event window")[0]) == {0.0, 3.5}
    begin, end = hold(axes[0, 1], "significant duration")[0]
    start, lasting = significant_duration(result.motion["H2"].acceleration, DT)
    assert (begin, end - begin) == pytest.approx((start - LEAD * DT, lasting))
    assert list(hold(axes[0, 1], "finding: clipping")[0]) == [8.5, 9.25]
    assert not [line for line in axes[0, 0].lines if line.get_label().startswith("finding")]
    assert "clipping" in [text.get_text() for text in axes[0, 1].texts]


def test_motion_of_chosen_components_keeps_the_scale_of_all(result):
    every, one = grid(motion_figure(result)), grid(motion_figure(result, components=["H1"]))
    assert one.shape == (3, 1)
    assert [cell.get_ylim() for cell in one[:, 0]] == [cell.get_ylim() for cell in every[:, 0]]
    with pytest.raises(InputError, match="X"):
        motion_figure(result, components=["X"])


def test_husid_rises_from_nothing_to_all_through_its_marks(result):
    axes = husid_figure(result).axes[0]
    for name, motion in result.motion.items():
        history = arias_history(motion.acceleration, motion.dt)
        time, share = hold(axes, f"{name}, {history[-1]:.3g} m/s")
        assert (np.diff(share) >= 0).all()
        np.testing.assert_allclose(np.interp(time, motion.time, 100 * history / history[-1]), share, atol=1e-9)
        at, level = hold(axes, f"_{name} marks")
        assert list(level) == [5, 75, 95]
        np.testing.assert_allclose(np.interp(at, time, share), level, atol=1.0)
    assert axes.get_ylabel() == "Arias intensity so far, % of the whole"
    husid_figure(made(size=0.0)).draw_without_rendering()


def test_particle_motion_is_on_one_scale_and_marks_the_farthest(result):
    axes = particle_figure(result).axes
    paths = {name: motion.unpadded().displacement for name, motion in result.motion.items()}
    for panel, (across, up) in zip(axes, (("H1", "H2"), ("H1", "V"), ("H2", "V")), strict=True):
        x, y = hold(panel, "whole")
        np.testing.assert_array_equal(x, paths[across])
        np.testing.assert_array_equal(y, paths[up])
        at = np.argmax(np.hypot(paths[across], paths[up]))
        assert [float(part[0]) for part in hold(panel, "largest")] == [paths[across][at], paths[up][at]]
        assert panel.get_xlim() == panel.get_ylim() == axes[0].get_xlim()
        assert panel.get_aspect() == 1.0
        assert (panel.get_xlabel(), panel.get_ylabel()) == (f"{across}, m", f"{up}, m")
    assert particle_figure(result, "acceleration", "g").axes[0].get_xlabel() == "H1, g"
    with pytest.raises(InputError, match="H2, V is not there"):
        particle_figure(made(names=("H1",)))


def test_offset_shows_the_drift_of_the_raw_and_the_permanent_displacement(result):
    # Over 7 to 9 s: the middle of what the strong shaking allows is the longest over the square root of 2.
    shift = Shift(0.01, 8.0, 2**0.5, 0.0, (7.0, 9.0), True, 0.42, 0.02)
    chosen = Baseline("offset-preserving", shift, PermanentDisplacement(0.42, 0.4, 0.45, True))
    axes = offset_figure(dataclasses.replace(result, baseline={"H2": chosen})).axes
    x, y = hold(axes[1], "permanent displacement")
    assert list(x) == pytest.approx([0.0, 7.0, 9.0, (SAMPLES - 1) * DT])
    assert list(y) == [0.0, 0.0, 0.42, 0.42]
    assert "permanent displacement 0.42 m (0.4 to 0.45)" in axes[1].texts[0].get_text()
    assert not [line for line in axes[0].lines if line.get_label() == "permanent displacement"]
    raw = result.record["H1"].samples
    drift = hold(axes[0], "mean removed")[1]
    # From rest, by the trapezoidal rule twice, which for so smooth a pulse is as good.
    velocity = (
        np.concatenate(([0.0], np.cumsum((raw[1:] + raw[:-1]) * DT / 2))) - raw[:350].mean() * np.arange(2000) * DT
    )
    expected = np.concatenate(([0.0], np.cumsum((velocity[1:] + velocity[:-1]) * DT / 2)))
    np.testing.assert_allclose(drift, expected, atol=2e-3 * np.abs(expected).max())


def test_processing_draws_the_spectra_the_corners_were_chosen_from(result):
    axes = np.array(processing_figure(result).axes).reshape(2, 3)
    windows = Windows(400, 350)
    for column, name in enumerate(result.motion):
        compared = signal_and_noise(to_acceleration(result.record[name]), windows, result.settings.filter.smoothing)
        frequency, shaking = hold(axes[0, column], "shaking, smoothed")
        np.testing.assert_allclose(frequency, compared.frequency)
        np.testing.assert_allclose(shaking, compared.signal)
        np.testing.assert_allclose(hold(axes[0, column], "noise, smoothed")[1], compared.noise)
        np.testing.assert_allclose(hold(axes[1, column], "ratio")[1], compared.signal / compared.noise)
        corners = [line.get_xdata()[0] for line in axes[0, column].lines if line.get_label() == "corner"]
        assert corners == [0.14, 50.0]
    assert (axes[0, 0].get_ylabel(), axes[1, 0].get_ylabel()) == ("Fourier amplitude, m/s", "Signal over noise")
    late = processing_figure(made(quiet=0.0)).axes
    assert any("no quiet window" in text.get_text() for axes in late for text in axes.texts)


# Spectra


def test_linear_spectrum_begins_at_the_peak_acceleration(result):
    axes = spectrum_figure(result, unit="m/s2", scale="linear").axes[0]
    line = line_of(axes, "H1,")
    assert line.get_xdata()[0] == 0.0
    assert line.get_ydata()[0] == result.spectra.psa.iloc[0]
    assert axes.get_xlim() == (0.0, 5.0)
    assert axes.get_ylim()[0] == 0.0
    with pytest.raises(InputError, match="unknown scale"):
        spectrum_figure(result, scale="cubic")


def test_spectrum_draws_the_band_of_the_median_where_there_is_one(result):
    table = result.spectra
    spectra = table.assign(psa_low=0.8 * table.psa, psa_high=1.3 * table.psa)
    axes = spectrum_figure(dataclasses.replace(result, spectra=spectra), unit="m/s2").axes[0]
    (area,) = [area for area in axes.collections if area.get_label() == "5 to 95 % band of RotD50"]
    corners = area.get_paths()[0].vertices
    psa = table[(table.component == "RotD50") & (table.period == 1.0)].psa.iloc[0]
    assert sorted(set(corners[np.isclose(corners[:, 0], 1.0), 1])) == pytest.approx([0.8 * psa, 1.3 * psa])
    assert not spectrum_figure(result).axes[0].collections


def full(result):
    """Fill in SD and PSV from PSA."""
    table = result.spectra
    omega = np.divide(2 * np.pi, table.period, out=np.zeros(len(table)), where=table.period > 0)
    safe = np.where(omega > 0, omega, np.inf)
    return dataclasses.replace(result, spectra=table.assign(psv=table.psa / safe, sd=table.psa / safe**2))


def test_four_axes_agree_with_each_other(result):
    axes = tripartite_figure(full(result)).axes[0]
    table = result.spectra[(result.spectra.component == "H1") & (result.spectra.period > 0) & result.spectra.usable]
    y = hold(axes, "H1")[1]
    known = np.isfinite(y)
    np.testing.assert_allclose(y[known], table.psa * table.period / (2 * np.pi))
    # A line of 1 g: PSV = PSA T / 2 pi; of 1 m: PSV = 2 pi SD / T.
    period, psv = hold(axes, "_1 g")
    np.testing.assert_allclose(2 * np.pi / period * psv, G)
    period, psv = hold(axes, "_1 m")
    np.testing.assert_allclose(psv * period / (2 * np.pi), 1.0)
    assert (axes.get_xscale(), axes.get_yscale()) == ("log", "log")
    assert axes.get_ylabel() == "Pseudo-velocity (PSV), m/s"


def test_acceleration_displacement_rays_are_of_one_period(result):
    axes = acceleration_displacement_figure(full(result), unit="m/s2").axes[0]
    table = full(result).spectra.query("component == 'H2'")
    x, y = hold(axes, "H2")
    known = np.isfinite(y)
    assert known.tolist() == table.usable.tolist()
    np.testing.assert_allclose(x, table.sd)
    np.testing.assert_allclose(y[known], table[table.usable].psa)
    rays = [line for line in axes.lines if line.get_label() == "_ray"]
    periods = [2 * np.pi * np.sqrt(line.get_xdata()[1] / line.get_ydata()[1]) for line in rays]
    named = [float(text.get_text().removesuffix(" s")) for text in axes.texts]
    assert len(named) >= len(periods) - 2  # a number that would run into the one before is left out
    assert all(min(abs(period / one - 1.0) for period in periods) < 1e-6 for one in named)
    assert axes.get_xlabel() == "Spectral displacement (SD), m"


def test_rotation_draws_ratios_to_the_median(result):
    above, below = rotation_figure(result, unit="g").axes
    table = result.spectra[result.spectra.period > 0].pivot(index="period", columns="component", values="psa")
    usable = result.usable_band["horizontal"].holds(table.index)
    np.testing.assert_allclose(hold(below, "RotD100")[1][usable], (table.RotD100 / table.RotD50)[usable])
    np.testing.assert_allclose(hold(above, "H1")[1][usable], table.H1[usable] / G)
    assert below.get_ylabel() == "Ratio to RotD50"
    with pytest.raises(InputError, match="no RotD"):
        rotation_figure(made(names=("V",)))


@pytest.mark.parametrize("draw", [tripartite_figure, acceleration_displacement_figure])
def test_a_bare_spectrum_is_drawn_too(draw):
    motion = made().motion["H1"]
    spectrum = response_spectrum(motion.acceleration, DT, [0.0, 0.1, 1.0, 5.0], [0.02, 0.05])
    axes = draw(spectrum, damping=0.05).axes[0]
    y = spectrum.psv[1, 1:] if draw is tripartite_figure else spectrum.psa[1] / G
    np.testing.assert_allclose(hold(axes, "PSV" if draw is tripartite_figure else "PSA")[1], y)
    with pytest.raises(InputError, match=r"no spectra of damping 0\.1"):
        draw(spectrum, damping=0.1)


def test_comparison_draws_median_and_spread_over_what_is_usable():
    factors = np.array([1.0, 2.0, 8.0])
    results = [made(size=factor) for factor in factors]
    dead = results[2].spectra.assign(usable=results[2].spectra.usable & (results[2].spectra.period < 2.0))
    results[2] = dataclasses.replace(results[2], spectra=dead)
    target = TargetSpectrum([0.05, 0.5, 8.0], [9.0, 9.0, 1.0], "the site's $code")
    axes = comparison_figure(results, target, unit="m/s2").axes[0]
    period, median = hold(axes, "median, where n is half of them or more")
    one = results[0].spectra.query("component == 'RotD50' and period > 0").psa.to_numpy()
    assert median[period == 1.0] == pytest.approx(one[period == 1.0] * np.exp(np.log(factors).mean()))
    assert median[period == 5.0] != pytest.approx(one[period == 5.0] * np.exp(np.log(factors).mean()))
    assert np.isnan(median[period == 10.0])  # usable in none
    counts = {float(text.xy[0]): text.get_text() for text in axes.texts}
    assert counts[0.02] == "n = 3"
    assert (counts[1.0], counts[5.0]) == ("3", "2")
    (spread,) = axes.collections
    corners = spread.get_paths()[0].vertices
    deviation = np.log(factors).std(ddof=1)
    edges = sorted(set(corners[np.isclose(corners[:, 0], 1.0), 1]))
    assert edges == pytest.approx(float(median[period == 1.0][0]) * np.exp([-deviation, deviation]))
    goal = hold(axes, "target: the site's code")[1]
    np.testing.assert_allclose(goal[period == 1.0], target.at([1.0]))
    assert np.isnan(goal[period == 10.0])  # beyond the target's own periods
    nowhere = dataclasses.replace(results[0], spectra=results[0].spectra.assign(usable=False))
    legend = comparison_figure([*results, nowhere]).axes[0].get_legend()
    assert legend.get_texts()[0].get_text() == f"{len(results)} of {len(results) + 1} records, where usable"
    three = [nowhere, nowhere, nowhere]
    by_name = {str(k): one.spectra for k, one in enumerate([*results, *three])}
    drawn = comparison_figure(by_name, unit="m/s2").axes[0]
    np.testing.assert_array_equal(hold(drawn, "median, where n is half of them or more")[1], median)
    one_of_two = comparison_figure(results[1:], unit="m/s2").axes[0]
    assert np.isfinite(hold(one_of_two, "median, where n is half of them or more")[1][period == 5.0])  # just half
    with pytest.raises(InputError, match="damping"):
        comparison_figure(results, dataclasses.replace(target, damping=0.02))
    with pytest.raises(InputError, match="no results"):
        comparison_figure([])
    with pytest.raises(InputError, match="no spectra of RotD50"):
        comparison_figure([made(names=("V",))])


# Over an archive


def catalogue(**columns):
    table = {
        "record": ["A", "B", "C"], "station": ["QUAY", "SALT", "MOLE"], "latitude_deg": [0.0, 1.0, np.nan],
        "longitude_deg": [10.0, 10.0, 11.0], "pga_H1_m_s2": [1.0, 2.0, 3.0], "pga_V_m_s2": [0.5, 4.0, np.nan],
        "pga_RotD50_m_s2": [9.0, 9.0, 9.0], "pgv_H1_m_s": [0.1, 0.2, 0.3],
        "longest_usable_period_s": [5.0, 6.0, np.inf],
    }  # fmt: skip
    return pd.DataFrame(table | columns)


def test_map_keeps_distance_and_direction_from_its_centre():
    axes = station_figure(catalogue(), centre=(0.0, 10.0)).axes[0]
    points = np.concatenate([line.get_xydata() for line in axes.lines if line.get_marker() == "o"])
    # One degree of a meridian on a sphere of 6371 km: pi / 180 times the radius.
    np.testing.assert_allclose(sorted(points.tolist()), [[0.0, 0.0], [0.0, np.pi / 180 * 6371]], atol=1e-9)
    assert "1 without coordinates" in [text.get_text() for text in axes.texts]
    far = station_figure(
        catalogue(latitude_deg=[0.0, 0.0, 0.0], longitude_deg=[10.0, 100.0, -80.0]), centre=(0.0, 10.0)
    )
    points = np.concatenate([line.get_xydata() for line in far.axes[0].lines if line.get_marker() == "o"])
    np.testing.assert_allclose(sorted(points[:, 0]), [-np.pi / 2 * 6371, 0.0, np.pi / 2 * 6371], rtol=1e-9, atol=1e-6)
    with pytest.raises(InputError, match="coordinates"):
        station_figure(catalogue(latitude_deg=np.nan))


def test_map_rings_are_circles_of_the_distance_they_name():
    axes = station_figure(catalogue(), centre=(0.0, 10.0)).axes[0]
    named = [float(text.get_text().removesuffix(" km")) for text in axes.texts if text.get_text().endswith(" km")]
    radii = [np.hypot(*line.get_xydata().T) for line in axes.lines if line.get_label() == "_ring"]
    assert [radius.max() for radius in radii] == pytest.approx(named)
    assert [radius.min() for radius in radii] == pytest.approx(named)


def test_largest_counts_components_and_not_their_combinations():
    np.testing.assert_array_equal(largest(catalogue(), "pga"), [1.0, 4.0, 3.0])
    assert np.isnan(largest(catalogue(), "pgd")).all()


def test_distribution_counts_every_record_with_a_number():
    axes = distribution_figure(catalogue(), "g").axes
    assert [sum(bar.get_height() for bar in panel.patches) for panel in axes] == [3, 3, 2]
    assert [panel.get_xlabel() for panel in axes] == ["PGA, g", "PGV, m/s", "Longest usable period, s"]


# What holds for all of them


ONE = [
    motion_figure, raw_figure, offset_figure, husid_figure, particle_figure, processing_figure, spectrum_figure,
    tripartite_figure, rotation_figure, acceleration_displacement_figure,
]  # fmt: skip


@pytest.mark.parametrize("draw", ONE)
def test_every_figure_is_drawn_in_both_styles_with_its_caution(draw, result):
    result = full(result)
    light, dark = draw(result), draw(result, style="dark")
    assert light.get_facecolor()[:3] == (1.0, 1.0, 1.0)
    assert max(dark.get_facecolor()[:3]) < 0.2
    for figure in (light, dark):
        assert figure.get_supxlabel() == CAUTION
        assert all(axes.get_xlabel() or axes.get_subplotspec().rowspan.stop < 3 for axes in figure.axes)
    with pytest.raises(InputError, match="no style 'grey'"):
        draw(result, style="grey")


@pytest.mark.parametrize("draw", ONE)
def test_every_figure_draws_into_the_axes_it_is_given(draw, result):
    from matplotlib.figure import Figure

    result = full(result)
    count = len(draw(result).axes)
    mine = Figure()
    axes = mine.subplots(1, count, squeeze=False)[0]
    assert draw(result, axes=list(axes) if count > 1 else axes[0]) is mine
    assert all(panel.has_data() for panel in axes)
    assert mine.get_suptitle() == ""
    assert mine.get_supxlabel() == CAUTION
    with pytest.raises(InputError, match="axes"):
        draw(result, axes=[*axes, *axes])


@pytest.mark.parametrize("draw", ONE)
def test_no_heading_or_label_of_any_figure_is_cut_off(draw, result):
    figure = draw(full(result))
    figure.draw_without_rendering()
    texts = [figure._suptitle, figure._supxlabel]
    texts += [text for axes in figure.axes for text in (axes.title, axes.xaxis.label, axes.yaxis.label)]
    for text in texts:
        box = text.get_window_extent()
        if text.get_text():
            assert figure.bbox.x0 <= box.x0 < box.x1 <= figure.bbox.x1, text.get_text()
            assert figure.bbox.y0 <= box.y0 < box.y1 <= figure.bbox.y1, text.get_text()


# Contrast of WCAG 2.1, success criterion 1.4.3, for text on either paper.
@pytest.mark.parametrize("name", STYLES)
def test_text_stands_out_from_its_paper(name):
    look = STYLES[name]

    def luminance(colour):
        parts = [c / 12.92 if c <= 0.03928 else ((c + 0.055) / 1.055) ** 2.4 for c in to_rgb(colour)]
        return np.dot(parts, [0.2126, 0.7152, 0.0722])

    for colour in (look.ink, look.faint, look.alarm):
        for paper in (look.paper, look.shade):
            light, dark = sorted([luminance(colour), luminance(paper)], reverse=True)
            assert (light + 0.05) / (dark + 0.05) >= 4.5, (colour, paper)


HOSTILE_NAMES = {
    "long": "Station of the very long name " * 10,
    "without blanks": "W" * 300,
    "mark-up": r"<b>$\frac{1}{0}$</b>",
    "turned": "\u202eمحطة\u2067 الرصيف",
    "other letters": "港の観測点",
    "lines": "one\ntwo\n\nthree",
}


@pytest.mark.parametrize("draw", [motion_figure, spectrum_figure])
@pytest.mark.parametrize("kind", HOSTILE_NAMES)
def test_hostile_names_leave_the_heading_whole(draw, kind):
    result = made(names=("V",))
    station = Station(code="C" * 200, network="XX", name=HOSTILE_NAMES[kind])
    figure = draw(dataclasses.replace(result, record=dataclasses.replace(result.record, station=station)))
    figure.draw_without_rendering()
    box = figure._suptitle.get_window_extent()
    assert figure.bbox.x0 <= box.x0 < box.x1 <= figure.bbox.x1
    assert figure.get_suptitle().count("\n") <= 1
    assert not set("$\u202e\u2067") & set(figure.get_suptitle())
