"""Spectral matching: the wavelet's effect, the match itself, what is said of it, and how it is kept."""

from __future__ import annotations

import h5py
import numpy as np
import pytest
from typer.testing import CliRunner

from strongmotion import Archive, ArchiveError, InputError, process, read
from strongmotion.archive import Derived, derived_files, export_derived, keep_derived, read_derived
from strongmotion.chain import integrate_twice
from strongmotion.cli import app
from strongmotion.report import match_figure
from strongmotion.spectra import TargetSpectrum, asce7_spectrum, match_spectrum, response_history, response_spectrum
from strongmotion.spectra.matching import wavelet, wavelet_response, wavelet_width
from strongmotion.suite import match

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
    assert [panel.get_ylabel().split(",")[0] for panel in axes] == [
        "Acceleration", "Velocity", "Displacement", "Arias intensity so far", "PSA", "PSA to target",
    ]  # fmt: skip
    lines = {line.get_label(): line for line in axes[4].get_lines()}
    np.testing.assert_allclose(lines["matched"].get_ydata(), 100 * matched.motion.psa)
    assert lines[f"target: {TARGET.name}"]
    assert "not a recorded motion" in axes[0].figure.get_suptitle()


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
