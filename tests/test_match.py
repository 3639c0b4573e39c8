"""Spectral matching: the wavelet's effect, the match itself, what is said of it, and how it is kept."""

from __future__ import annotations

import h5py
import numpy as np
import pytest
from typer.testing import CliRunner

from strongmotion import Archive, ArchiveError, InputError, Record, process, read
from strongmotion.archive import Derived, derived_files, export_derived, keep_derived, read_derived
from strongmotion.chain import integrate_twice
from strongmotion.cli import app
from strongmotion.report import match_figure
from strongmotion.spectra import (
    TargetSpectrum,
    asce7_spectrum,
    match_spectrum,
    response_history,
    response_spectrum,
    spectrogram,
)
from strongmotion.spectra.matching import wavelet, wavelet_response, wavelet_width
from strongmotion.suite import match, match_pair

TARGET = asce7_spectrum(0.3, 0.2, 8.0)


@pytest.mark.parametrize("damping", [0.02, 0.05, 0.2])
@pytest.mark.parametrize("wave", [0.1, 0.7, 3.0])
@pytest.mark.parametrize("period", [0.08, 0.7, 0.77, 4.0])
def test_the_effect_of_a_wavelet_is_that_of_the_oscillator(period, wave, damping):
    # Held against the oscillator recursion, which knows nothing of the closed form.
    dt = min(period, wave) / 200
    reach = 4 * float(wavelet_width(wave))
    time = np.arange(-reach, reach + 5 * period, dt)
    shaking = wavelet(time, wave, damping)
    u = response_history(shaking, dt, period, damping, interpolation="linear")[0] * (2 * np.pi / period) ** 2
    found = wavelet_response(time, period, wave, damping)
    np.testing.assert_allclose(found, u, atol=2e-3 * np.abs(u).max())


def test_a_wavelet_leaves_the_ground_at_rest():
    for period in (0.05, 0.5, 5.0):
        time = np.arange(-8 * period, 8 * period, period / 100)
        velocity, displacement = integrate_twice(wavelet(time, period, 0.05), period / 100)
        assert abs(velocity[-1]) < 1e-3 * np.abs(velocity).max()
        assert abs(displacement[-1]) < 0.05 * np.abs(displacement).max()


@pytest.fixture(scope="module")
def shaking():
    """A burst of noise, 20 s at 100 Hz, whose spectrum is far from the target's."""
    rng = np.random.default_rng(3)
    time = np.arange(2000) * 0.01
    smooth = np.exp(-np.arange(60) / 8.0)
    return np.convolve(rng.normal(size=2000) * (time / 4) ** 2 * np.exp(2 - 0.5 * time), smooth, "same")


@pytest.fixture(scope="module")
def found(shaking):
    return match_spectrum(shaking, 0.01, TARGET, (0.2, 1.2))


def test_the_spectrum_is_within_the_tolerance_at_periods_that_were_not_used(found):
    periods = np.geomspace(0.2, 1.2, 173)
    psa = response_spectrum(found.acceleration, 0.01, periods, quantities=["psa"]).psa[0]
    assert np.abs(psa / TARGET.at(periods) - 1).max() < 0.05
    assert found.misfit < 0.05
    assert np.abs(found.psa_before / found.target - 1).max() > 0.3


def test_velocity_and_displacement_end_at_rest(found):
    velocity, displacement = integrate_twice(found.acceleration, 0.01)
    np.testing.assert_allclose(velocity, found.velocity, atol=1e-12)
    np.testing.assert_allclose(displacement, found.displacement, atol=1e-12)
    assert abs(velocity[-1]) < 1e-9 * np.abs(velocity).max()
    assert abs(displacement[-1]) < 1e-9 * np.abs(displacement).max()


def test_a_permanent_displacement_stays(shaking):
    kept = match_spectrum(shaking, 0.01, TARGET, (0.2, 0.5), displacement=0.01, tolerance=0.2)
    assert kept.displacement[-1] == pytest.approx(kept.factor * 0.01, rel=1e-9)
    assert abs(kept.velocity[-1]) < 1e-9


def test_a_match_does_not_depend_on_unit_or_run(shaking):
    one, again, larger = (match_spectrum(f * shaking, 0.01, TARGET, (0.4, 0.8), tolerance=0.1) for f in (1, 1, 128))
    assert again.acceleration.tobytes() == one.acceleration.tobytes()
    # A power of two changes no digit on the way: all is scaled to the target first.
    assert larger.factor == pytest.approx(one.factor / 128, rel=1e-12)
    np.testing.assert_allclose(larger.acceleration, one.acceleration, atol=1e-6 * np.abs(one.acceleration).max())


def test_what_cannot_be_matched_is_refused(shaking):
    for wrong in ((0.01, 1.0), (1.0, 0.5), (np.nan, 1.0)):
        with pytest.raises(InputError, match="rising range"):
            match_spectrum(shaking, 0.01, TARGET, wrong)
    with pytest.raises(InputError, match="all zeros"):
        match_spectrum(np.zeros(100), 0.01, TARGET, (0.1, 1.0))
    with pytest.raises(InputError, match="leaves nothing"):
        match_spectrum(shaking, 0.01, TARGET, (0.1, 1.0), room=(1000, 1000))
    with pytest.raises(InputError, match="covers"):
        match_spectrum(shaking, 0.01, TargetSpectrum([0.5, 1.0], [1.0, 1.0]), (0.1, 1.0))
    with pytest.raises(InputError, match="tolerance"):
        match_spectrum(shaking, 0.01, TARGET, (0.1, 1.0), tolerance=0.0)


@pytest.fixture(scope="module")
def result():
    return process(read("demo_records/quay.csv"))


@pytest.fixture(scope="module")
def matched(result):
    return match(result, TARGET, (0.3, 0.9), tolerance=0.08)


def test_a_match_says_what_it_changed(result, matched):
    assert matched.is_within
    change = matched.change.set_index("quantity")
    motion = result.motion["H1"]
    assert change.loc["PGV", "recorded"] == pytest.approx(np.abs(motion.velocity).max())
    assert change.loc["PGA", "scaled"] == pytest.approx(matched.motion.factor * change.loc["PGA", "recorded"])
    arias = result.measures.query("component == 'H1' and measure == 'Arias intensity'")["value"].iloc[0]
    assert change.loc["Arias intensity", "recorded"] == pytest.approx(arias, rel=1e-6)
    assert change.loc["Arias intensity", "scaled"] == pytest.approx(arias * matched.motion.factor**2, rel=1e-6)
    assert change.loc["PGD", "matched"] == np.abs(matched.motion.displacement).max()
    assert abs(change.loc["displacement at the end", "matched"]) < 1e-9


def test_a_component_that_is_not_usable_is_refused(result):
    with pytest.raises(InputError, match=r"H1 is not usable from 0\.2 s to 60 s"):
        match(result, TARGET, (0.2, 60.0))
    with pytest.raises(InputError, match="no component RotD50"):
        match(result, TARGET, (0.2, 1.0), "RotD50")


def test_a_matched_motion_is_kept_apart_from_records(tmp_path, result, matched):
    archive = Archive(tmp_path / "a", create=True)
    archive.add(result)
    record, version = archive.ids()[0], archive.version(archive.ids()[0])
    derived = matched.derived(version.name)
    path = keep_derived(archive, derived)
    assert keep_derived(archive, derived) == path
    assert derived_files(archive) == derived_files(archive, record) == [path]
    assert archive.ids() == [record]
    assert len(archive.catalogue()) == 1
    back = read_derived(path)
    assert back.acceleration.tobytes() == matched.motion.acceleration.tobytes()
    assert (back.record, back.version, back.of_file) == (record, version.name, version.sha256)
    assert back.made_with["arias_ratio"] == pytest.approx(derived.made_with["arias_ratio"])
    np.testing.assert_array_equal(back.spectrum["psa_matched"], matched.motion.psa)
    assert "Not a recorded motion" in back.cautions[0]
    with h5py.File(path) as file:  # other programs see at once what it is
        assert file.attrs["title"].startswith("Derived motion, not a record")
        assert file["motion/acceleration"].attrs["units"] == "m s-2"
    assert archive.verify() == []
    text = export_derived(back, tmp_path / "out", "g", 5)
    again = read(text)
    assert again.components[0].samples * 9.80665 == pytest.approx(back.acceleration, rel=1e-12)
    assert ("derived motion", "unfit") in {(finding.name, finding.severity) for finding in again.findings}
    content = bytearray(path.read_bytes())
    content[len(content) // 2] ^= 1
    path.write_bytes(content)
    (problem,) = archive.verify()
    assert problem.file == path
    with pytest.raises(ArchiveError, match="seal"):
        read_derived(path)
    with pytest.raises(ArchiveError, match="no derived motion"):
        read_derived(archive.path(record))
    with pytest.raises(ArchiveError, match="there is no record"):
        keep_derived(archive, Derived(**{**vars(derived), "record": "XX.NONE"}))


def test_the_figure_shows_before_after_and_target(matched):
    axes = match_figure(matched, "cm/s2").axes
    assert axes[8].get_ylabel().endswith("cm/s²")
    assert [panel.get_ylabel().split(",")[0] for panel in axes[:8]] == [
        "Acceleration", "Velocity", "Displacement", "Arias intensity so far", "PSA", "PSA to target",
        "Frequency", "Frequency",
    ]  # fmt: skip
    lines = {line.get_label(): line for line in axes[4].get_lines()}
    np.testing.assert_allclose(lines["matched"].get_ydata(), 100 * matched.motion.psa)
    assert lines[f"target: {TARGET.name}"]
    assert "not a recorded motion" in axes[0].figure.get_suptitle()


def test_both_spectrograms_are_shaded_by_one_scale(matched):
    axes = match_figure(matched, "g").axes
    shades = [panel.collections[0] for panel in axes[6:8]]
    assert {shade.get_clim() for shade in shades} == {(-40.0, 0.0)}
    assert max(shade.get_array().max() for shade in shades) == pytest.approx(0.0, abs=1e-9)
    for panel in axes[6:8]:
        low, high = panel.get_ylim()
        assert low < 1 / 0.9 < 1 / 0.3 < high


def test_a_sine_has_its_amplitude_at_its_frequency_and_a_gaussian_of_it_beside():
    # In closed form: far from its ends a sine of frequency f has A exp(-(f - c)²/2(bc)²) in the band about c.
    time = np.arange(6000) * 0.005
    centres = np.array([1.0, 1.6, 2.0, 2.5, 4.0])
    found = spectrogram(0.7 * np.sin(2 * np.pi * 2.0 * time), 0.005, centres, 0.2)[:, 2500:3500]
    expected = 0.7 * np.exp(-0.5 * ((2.0 - centres) / (0.2 * centres)) ** 2)
    np.testing.assert_allclose(found, np.repeat(expected[:, None], 1000, 1), atol=1e-3)
    # A burst stays where it is.
    burst = np.zeros(6000)
    burst[2000] = 1.0
    at = spectrogram(burst, 0.005, [2.0], 0.2)[0]
    assert at.argmax() == 2000
    away = np.arange(-200, 201) * 0.005 * (2 * np.pi * 0.2 * 2.0)
    np.testing.assert_allclose(at[1800:2201], at[2000] * np.exp(-0.5 * away**2), atol=1e-3 * at[2000])
    with pytest.raises(InputError, match="Nyquist"):
        spectrogram(burst, 0.005, [101.0])


@pytest.fixture(scope="module")
def pair(result):
    return match_pair(result, TARGET, (0.3, 0.9), tolerance=0.08)


def test_the_geometric_mean_of_a_pair_follows_the_target_and_each_keeps_its_share(result, pair):
    assert pair.is_within
    periods = np.geomspace(0.3, 0.9, 91)
    psa = {
        name: [
            response_spectrum(its, part.motion.dt, periods, quantities=["psa"]).psa[0]
            for its in (part.motion.scaled, part.motion.acceleration)
        ]
        for name, part in pair.parts.items()
    }
    mean = np.sqrt(psa["H1"][1] * psa["H2"][1])
    assert np.abs(mean / TARGET.at(periods) - 1).max() < 0.08
    # One factor for both, so that neither is made the stronger one.
    factors = [part.motion.factor for part in pair.parts.values()]
    assert factors[0] == pytest.approx(factors[1], rel=0.01)
    before, after = (np.log(psa["H1"][k] / psa["H2"][k]) for k in (0, 1))
    assert before.std() > 0.1
    assert np.corrcoef(before, after)[0, 1] > 0.9
    assert after.mean() == pytest.approx(before.mean(), abs=0.04)
    goals = [part.target.at(periods) for part in pair.parts.values()]
    np.testing.assert_allclose(np.sqrt(goals[0] * goals[1]), TARGET.at(periods), rtol=1e-3)


def test_what_became_of_the_relation_of_a_pair_is_said(pair):
    relation = pair.relation.set_index("quantity")
    one, other = (part.motion for part in pair.parts.values())
    assert relation.loc["correlation of both accelerations", "matched"] == pytest.approx(
        np.corrcoef(one.acceleration, other.acceleration)[0, 1]
    )
    # RotD100 is never below RotD50 (Boore 2010).
    assert (relation.loc["RotD100 to target, least"] >= relation.loc["RotD50 to target, least"]).all()
    assert (relation.loc["RotD100 to target, largest"] >= relation.loc["RotD50 to target, largest"]).all()


def test_a_pair_needs_both_horizontals_usable(result):
    with pytest.raises(InputError, match=r"H1 is not usable from 0\.2 s to 60 s"):
        match_pair(result, TARGET, (0.2, 60.0))
    with pytest.raises(InputError, match="rising range"):
        match_pair(result, TARGET, (1.0, 0.5), keep_unusable=True)
    alone = process(Record.from_arrays({"H1": result.record.components[0].samples}, dt=result.record.dt, unit="m/s2"))
    with pytest.raises(InputError, match="no pair"):
        match_pair(alone, TARGET, (0.3, 0.9))


def test_the_command_matches_shows_and_keeps(tmp_path, result):
    archive = Archive(tmp_path / "a", create=True)
    archive.add(result)
    words = ["match", str(archive.folder), "XX.QUAY", "--target", "asce7:sds=0.3,sd1=0.2,tl=8", "--range", "0.4", "0.8",
             "--tolerance", "0.1"]  # fmt: skip
    shown = CliRunner().invoke(app, [*words, "-o", str(tmp_path / "out"), "--figure", str(tmp_path / "m.png")])
    assert shown.exit_code == 0, shown.output
    assert "Not a recorded motion" in shown.output
    assert "PGV" in shown.output
    assert len(derived_files(archive)) == 1
    assert (tmp_path / "m.png").exists()
    assert read(next((tmp_path / "out").iterdir())).components[0].unit == "g"


def test_the_command_adjusts_a_pair(tmp_path, result):
    archive = Archive(tmp_path / "a", create=True)
    archive.add(result)
    words = ["match", str(archive.folder), "XX.QUAY", "--target", "asce7:sds=0.3,sd1=0.2,tl=8", "--range", "0.4", "0.8",
             "--tolerance", "0.1", "--component", "geometric mean", "--unit", "cm/s2"]  # fmt: skip
    shown = CliRunner().invoke(app, [*words, "--figure", str(tmp_path / "m.png")])
    assert shown.exit_code == 0, shown.output
    assert "Largest departure of the geometric mean" in shown.output
    assert {read_derived(path).component for path in derived_files(archive)} == {"H1", "H2"}
    assert (tmp_path / "m.H1.png").exists()
    assert (tmp_path / "m.H2.png").exists()
