"""Baseline shifts, permanent displacement, the transducer, and the bands: simulated, so the truth is known."""

from __future__ import annotations

import numpy as np
import pytest

from strongmotion import Component, Record, Settings, process
from strongmotion.chain import integrate_twice
from strongmotion.chain.tail import TailSums

DT, N = 0.01, 8000
WITHOUT_BANDS = Settings.from_dict({"uncertainty": {"bands": False}, "spectra": {"periods": [1.0]}})
TIME = np.arange(N) * DT


def shaking() -> np.ndarray:
    """Return twenty seconds of shaking from 20 s on, m/s², from rest to rest."""
    wave = np.sin(2 * np.pi * 0.8 * (TIME - 30.0)) * np.exp(-(((TIME - 30.0) / 2.5) ** 4)) * 0.1
    return np.gradient(np.gradient(wave, DT), DT)


def fling(displacement: float, rise: float = 4.0) -> np.ndarray:
    """Return acceleration from 28 s on that moves the ground by `displacement` for good.

    Velocity is a pulse sin^4, so acceleration is smooth where it begins and ends: a kink is a fault that is found.
    """
    phase = (TIME - 28.0) / rise
    inside = (phase >= 0) & (phase <= 1)
    return (
        np.where(inside, 32 * np.pi / 3 / rise**2 * np.sin(np.pi * phase) ** 3 * np.cos(np.pi * phase), 0.0)
        * displacement
    )


def recorded(acceleration, seed: int = 1, noise: float = 2e-5, offset: float = 3e-3) -> Record:
    spoiled = acceleration + offset + np.random.default_rng(seed).normal(0.0, noise, N)
    return Record((Component("H1", spoiled, dt=DT),))


def method(result) -> str:
    return next(entry.values["method"] for entry in result.history if entry.step == "method")


def told(result):
    rows = result.measures[result.measures.measure == "permanent displacement"]
    return rows.iloc[0] if len(rows) else None


def test_a_permanent_displacement_of_an_unfit_component_is_not_usable():
    settings = Settings.from_dict({"checks": {"severity": ["permanent displacement=unfit"]}})
    row = told(process(recorded(shaking() + fling(0.3)), settings))
    assert row is not None
    assert not row.usable


@pytest.mark.parametrize("displacement", [0.3, -1.5])
def test_a_permanent_displacement_is_kept_and_told(displacement):
    result = process(recorded(shaking() + fling(displacement)))
    assert method(result) == "offset-preserving"
    row = told(result)
    assert row.value == pytest.approx(displacement, abs=0.02)
    assert row.band_low <= displacement <= row.band_high
    assert row.usable
    motion = result.motion["H1"].unpadded()
    assert motion.displacement[-1] == pytest.approx(displacement, abs=0.02)


def test_without_one_the_route_is_band_limited():
    assert method(process(recorded(shaking()))) == "band-limited"


def test_a_large_shift_leaves_the_displacement_untold():
    """A shift of 10 cm/s² may have come suddenly or gradually: b w² / 6 apart, here over a tenth."""
    spoiled = shaking() + fling(0.3) + 0.1 * (TIME >= 30.0)
    result = process(recorded(spoiled))
    assert method(result) == "band-limited"
    assert told(result) is None
    assert {"baseline shift", "permanent displacement not resolved"} <= {finding.name for finding in result.findings}


@pytest.mark.parametrize("size", [0.005, -0.05])
def test_a_sudden_shift_is_measured_and_taken_out(size):
    result = process(recorded(shaking() + size * (TIME >= 31.0)))
    entry = next(entry for entry in result.history if entry.step == "baseline shift")
    assert entry.values["shift_m_s2"] == pytest.approx(size, rel=0.01)
    middle = (entry.values["begins_s"] + entry.values["ends_s"]) / 2
    assert middle == pytest.approx(31.0, abs=0.1)
    velocity, _ = integrate_twice(shaking(), DT)
    pgv = result.peaks.set_index("quantity").value["PGV"]
    assert pgv == pytest.approx(np.abs(velocity).max(), rel=0.06)


@pytest.mark.parametrize("given", ["band-limited", "offset-preserving", "polynomial"])
def test_a_given_route_wins_and_the_history_says_so(given):
    result = process(recorded(shaking() + fling(0.5)), Settings.from_dict({"baseline": {"method": given}}))
    entry = next(entry for entry in result.history if entry.step == "method")
    assert entry.what == f"Method {given}: given in the settings"
    assert (result.usable_band["H1"].low_cut > 0) == (given == "band-limited")


def test_a_given_low_cut_keeps_the_band_limited_route():
    result = process(recorded(shaking() + fling(0.5)), Settings.from_dict({"filter": {"low_cut": 0.1}}))
    assert method(result) == "band-limited"
    assert result.usable_band["H1"].low_cut == 0.1


def test_without_a_tail_offset_preserving_is_refused_with_the_reason():
    cut = Record((Component("H1", recorded(shaking())["H1"].samples[:3200], dt=DT),))
    result = process(cut, Settings.from_dict({"baseline": {"method": "offset-preserving"}}))
    assert "needs a pre-event window and a tail" in next(e.what for e in result.history if e.step == "method")


# The transducer's equation of motion, solved in the frequency domain with pads of zeros.
def test_the_transducer_is_taken_out():
    truth = np.random.default_rng(5).normal(0.0, 1.0, N) * np.exp(-(((TIME - 30.0) / 4.0) ** 2))
    ratio = np.fft.rfftfreq(2 * N, DT) / 25.0
    passed = np.fft.irfft(np.fft.rfft(truth, 2 * N) / (1 - ratio**2 + 1.2j * ratio), 2 * N)[:N]
    choices = {"filter": {"low_cut": 0.1, "high_cut": 0}}
    spoiled = recorded(passed, noise=1e-4)
    left = process(spoiled, Settings.from_dict(choices)).peaks.value[0]
    made_good = process(
        spoiled, Settings.from_dict({**choices, "instrument": {"natural_frequency": 25.0, "damping": 0.6}})
    ).peaks.value[0]
    plain = process(recorded(truth, noise=1e-4), Settings.from_dict(choices)).peaks.value[0]
    assert abs(left / plain - 1) > 0.05
    assert made_good == pytest.approx(plain, rel=0.015)


def test_bands_hold_their_values_and_widen_with_noise():
    widths = []
    for noise in (2e-5, 5e-3):
        result = process(recorded(shaking(), noise=noise))
        for table, low, high, value in (
            (result.peaks, "band_low", "band_high", "value"),
            (result.spectra, "psa_low", "psa_high", "psa"),
        ):
            assert (table[low] <= table[value]).all()
            assert (table[value] <= table[high]).all()
        peaks = result.peaks.set_index("quantity")
        widths.append((peaks.band_high - peaks.band_low) / peaks.value)
    assert (widths[1] > widths[0]).all()


def test_bands_can_be_left_out():
    result = process(recorded(shaking()), Settings.from_dict({"uncertainty": {"bands": False}}))
    assert result.peaks.band_low.isna().all()
    assert result.spectra.psa_high.isna().all()


# Boore (2005); Boore, Azari Sisi & Akkar (2012): what is integrated afresh without its pads is another displacement.
def test_removing_the_pads_before_integration_spoils_displacement():
    settings = Settings.from_dict({"filter": {"low_cut": 0.2}})
    motion = process(Record((Component("H1", shaking()[2600:3800], dt=DT),)), settings).motion["H1"]
    kept = motion.unpadded()
    _, afresh = integrate_twice(kept.acceleration, DT)
    assert np.abs(afresh - kept.displacement).max() > 0.5 * np.abs(kept.displacement).max()
    velocity, displacement = integrate_twice(kept.acceleration, DT, kept.velocity[0], kept.displacement[0])
    np.testing.assert_allclose(velocity, kept.velocity, rtol=0, atol=1e-12)
    np.testing.assert_allclose(displacement, kept.displacement, rtol=0, atol=1e-12)


def wandering(rng: np.random.Generator, white: float = 1e-3, below: float = 0.1) -> np.ndarray:
    """Return noise, m/s², white above `below` Hz and growing as 1/f under it."""
    long = 16 * N  # so that it holds much slower waves than the record
    frequency = np.fft.rfftfreq(long, DT)
    spectrum = np.fft.rfft(rng.normal(0.0, white, long)) * np.maximum(1.0, below / np.maximum(frequency, frequency[1]))
    spectrum[0] = 0.0
    return np.fft.irfft(spectrum, long)[:N]


def test_what_noise_does_to_the_tail_is_known_beforehand():
    """The deviation from the spectrum of the weights is that of 400 records of such noise."""
    quiet, rest = 2000, 5000
    rng = np.random.default_rng(7)
    seen, directly, expected = [], [], []
    for _ in range(400):
        noise = wandering(rng)
        sums = TailSums(noise - noise[:quiet].mean(), DT, quiet, rest)
        means = noise[: N // 25 * 25].reshape(-1, 25).mean(axis=1)
        velocity, displacement = integrate_twice(noise - noise[:quiet].mean(), DT)
        slope, level = np.polyfit(TIME[rest:] - rest * DT, velocity[rest:], 1)
        read = [means @ sums.displaced, means @ sums.level, means @ sums.slope]
        seen.append(read)
        directly.append([displacement[rest], level, slope])
        expected.append([sums.deviation(weights) for weights in (sums.displaced, sums.level, sums.slope)])
    misread = np.abs(np.array(seen) - directly).max(axis=0)
    assert (misread < 0.02 * np.std(directly, axis=0)).all()
    np.testing.assert_allclose(np.std(seen, axis=0), np.median(expected, axis=0), rtol=0.2)


def test_the_band_of_the_permanent_displacement_holds_it_as_often_as_it_says():
    """5 to 95 % of 100 records with noise that wanders, three standard deviations of the count either way."""
    rng = np.random.default_rng(11)
    held = 0
    for _ in range(100):
        motion = Record((Component("H1", shaking() + fling(0.5) + wandering(rng, 1e-4), dt=DT),))
        entry = next(e for e in process(motion, WITHOUT_BANDS).history if e.step == "method")
        low, high = (entry.values[f"permanent_displacement_H1_{end}_m"] for end in ("low", "high"))
        held += low <= 0.5 <= high
    assert 81 <= held <= 99
