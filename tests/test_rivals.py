"""Rival baselines: which explanations of the quiet windows there are, and where they leave the ground."""

from __future__ import annotations

import numpy as np
import pytest

from strongmotion import Component, Record, Settings, process
from strongmotion.chain import find_windows, integrate_twice, remove_baseline
from strongmotion.chain.baseline import fit_shift
from strongmotion.chain.rivals import Rivals, rival_baselines
from strongmotion.chain.tail import read_tail
from strongmotion.motion import Motion
from strongmotion.settings import BaselineSettings, OnsetSettings

DT, N = 0.01, 8000
TIME = np.arange(N) * DT
PLAIN = Settings.from_dict({"uncertainty": {"bands": False}, "spectra": {"periods": [1.0]}})


def shaking() -> np.ndarray:
    """Return twenty seconds of shaking from 20 s on, m/s², from rest to rest."""
    wave = np.sin(2 * np.pi * 0.8 * (TIME - 30.0)) * np.exp(-(((TIME - 30.0) / 2.5) ** 4)) * 0.1
    return np.gradient(np.gradient(wave, DT), DT)


def two_levels(during: float, after: float) -> np.ndarray:
    """Return a zero line with one level from 27 to 33 s, and another from then on (Iwan, Moser & Peng, 1985)."""
    return during * ((TIME >= 27.0) & (TIME < 33.0)) + after * (TIME >= 33.0)


def recorded(spoiled: np.ndarray, noise: float = 2e-5, seed: int = 1) -> np.ndarray:
    return shaking() + spoiled + np.random.default_rng(seed).normal(0.0, noise, N)


def explained(acceleration: np.ndarray, count: float = 0.0) -> Rivals:
    motion = Motion("H1", acceleration, DT, count=count)
    windows, _, _ = find_windows([motion], OnsetSettings())
    motion = remove_baseline(motion, windows, BaselineSettings())
    tail = read_tail(motion.acceleration, DT, windows)
    return rival_baselines(motion, windows, tail, fit_shift(motion.acceleration, DT, windows, tail))


# Iwan, Moser & Peng (1985), Boore (2001): one record admits a wide range of final displacements.
@pytest.mark.parametrize(
    "zero_line",
    [
        two_levels(0.03, 0.01),
        two_levels(-0.05, 0.02),
        0.02 * np.clip((TIME - 26.0) / 8.0, 0.0, 1.0) ** 3,
        0.03 * np.exp(-np.maximum(TIME - 29.0, 0.0) / 5.0) * (TIME >= 29.0),
        0.01 * np.exp(-TIME / 60.0),
    ],
    ids=["two levels", "opposite levels", "tilt", "recovery", "drift"],
)
def test_a_baseline_unlike_one_step_is_no_permanent_displacement(zero_line):
    rivals = explained(recorded(zero_line))
    assert rivals.low <= 0.0 <= rivals.high
    result = process(Record((Component("H1", recorded(zero_line), dt=DT),)), PLAIN)
    assert result.baseline["H1"].method == "band-limited"
    displacement = result.baseline["H1"].displacement
    assert not displacement.resolved or abs(displacement.value) < 0.05


def test_without_a_sign_of_a_baseline_rivals_are_small():
    rivals = explained(recorded(np.zeros(N)))
    assert rivals.high - rivals.low < 0.02
    assert all(np.abs(line).max() < 1e-4 for line in rivals.extremes)


def test_the_interval_grows_in_proportion_to_the_baseline():
    """Far above the noise all amplitudes are linear in what the tail shows."""
    small, large = (explained(recorded(two_levels(size, size / 2), noise=1e-6)) for size in (0.02, 0.04))
    assert (large.high - large.low) / (small.high - small.low) == pytest.approx(2.0, rel=0.1)


def test_every_extreme_baseline_explains_the_tail():
    """Less any of the extremes velocity is at rest, as it is less the true zero line, and ends elsewhere."""
    acceleration = recorded(two_levels(0.03, 0.01), noise=1e-5)
    rivals = explained(acceleration)
    ends = []
    for line in rivals.extremes:
        velocity, displacement = integrate_twice(acceleration - acceleration[:1500].mean() - line, DT)
        assert np.abs(velocity[5000:]).max() < 0.01
        ends.append(displacement[-1])
    uncorrected, _ = integrate_twice(acceleration - acceleration[:1500].mean(), DT)
    assert np.abs(uncorrected[5000:]).max() > 0.3
    assert max(ends) - min(ends) > 0.1
    assert rivals.low - 0.3 <= min(ends)
    assert max(ends) <= rivals.high + 0.3


def test_history_and_result_list_each_model_with_its_fit_and_displacement():
    result = process(Record((Component("H1", recorded(two_levels(0.03, 0.01)), dt=DT),)), PLAIN)
    models = result.baseline["H1"].models
    assert [model.name for model in models] == ["as removed", "none", "one step", "two levels", "tilt with the shaking"]
    assert sum(model.weight for model in models) == pytest.approx(1.0)
    assert all(model.low <= model.high for model in models)
    none = next(model for model in models if model.name == "none")
    assert none.weight < 1e-6
    assert none.misfit > 10.0
    entry = next(entry for entry in result.history if entry.step == "rival baselines")
    two = next(model for model in models if model.name == "two levels")
    assert entry.values["two_levels_displacement_low_m"] == two.low
    assert entry.values["two_levels_weight"] == two.weight


def test_a_sign_of_a_baseline_widens_the_band_of_displacement():
    settings = Settings.from_dict({"spectra": {"periods": [1.0]}})
    widths = []
    for zero_line in (np.zeros(N), two_levels(0.03, 0.01)):
        peaks = process(Record((Component("H1", recorded(zero_line), dt=DT),)), settings).peaks.set_index("quantity")
        widths.append((peaks.band_high - peaks.band_low)["PGD"] / peaks.value["PGD"])
    assert widths[1] > 2 * widths[0]


def test_records_without_noise_are_solved():
    rivals = explained(shaking() + two_levels(0.03, 0.01))
    assert np.isfinite([rivals.low, rivals.high]).all()
    assert rivals.low <= 0.0 <= rivals.high


# Without noise a zero line hides within half a count, and lasts as long as the shaking crosses counts.
def test_half_a_count_of_offset_is_no_permanent_displacement():
    count = 0.0096
    hidden = 0.45 * count
    rivals = explained(np.round((recorded(np.full(N, hidden), noise=1e-5)) / count) * count, count)
    assert rivals.low <= 0.0 <= rivals.high
