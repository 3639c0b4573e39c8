"""Sizes and their gates: noise below the corner, saturation, distances, stress drop, disagreement."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from benchmarks.events import accelerogram, reading_of, simulate
from strongmotion.event import describe, events_in, moment_magnitude, seismic_moment, source_spectrum, stress_drop

DT = 0.01


def of_magnitude(magnitude, seed=41):
    """Return a studied event of a magnitude, from up to five stations with right clocks."""
    event = next(e for e in (simulate(seed, n) for n in range(40)) if not e.clocks and len(e.stations) >= 5)
    event = replace(event, magnitude=magnitude)
    rng = np.random.default_rng(seed)
    return events_in([reading_of(event, index, rng) for index in range(5)])[0]


def test_large_earthquake_has_a_lower_bound_of_local_magnitude_and_no_energy_of_it():
    event = of_magnitude(7.5)
    assert event.local is not None
    assert event.local.at_least
    assert event.size is not None
    assert event.size.value < 8.0
    if event.size.at_least:
        assert event.energy is None
        assert "at least" in describe(event)
    else:
        assert event.size.value == pytest.approx(7.5, abs=0.5)


@pytest.mark.parametrize("magnitude", [4.5, 5.5])
def test_moderate_earthquake_has_its_moment(magnitude):
    event = of_magnitude(magnitude)
    assert event.moment is not None
    assert not event.moment.at_least
    assert event.moment.value == pytest.approx(magnitude, abs=0.5)
    assert event.moment.error >= 0.15
    assert event.stations["stress_drop_mpa"].dropna().between(0.01, 1000).all()


def test_microseism_is_no_plateau():
    """A weak shock above 1 Hz on a swell of 5 s that is stronger: its band ends where the swell begins."""
    rng = np.random.default_rng(3)
    traces = accelerogram(rng, 3.0, 30.0, (25.0, 29.0), DT)
    time = np.arange(traces.shape[1]) * DT
    swell = 1e-3 * np.sin(2 * np.pi * 0.2 * time + rng.uniform(0, 6, (3, 1)))
    blind = source_spectrum(list(traces + swell), DT, 28.7, 50.0, 0.05, 20.0)
    gated = source_spectrum(list(traces + swell), DT, 28.7, 50.0, 0.05, 20.0, (0.0, 24.5))
    assert blind is not None
    assert not blind.noise_known
    assert not blind.plateau_seen
    # What the swell would feign:
    assert moment_magnitude(seismic_moment(blind.plateau, 30.0)) > 3.7
    assert gated is None or gated.lowest > 0.25
    if gated is not None:
        assert moment_magnitude(seismic_moment(gated.floor, 30.0)) < 3.5


def test_noise_alone_gives_no_spectrum():
    noise = np.random.default_rng(1).normal(size=(3, 6000))
    assert source_spectrum(list(noise), DT, 30.0, 55.0, 0.05, 20.0, (0.0, 25.0)) is None


# Brune (1970), correction of 1971: r = 2.34 beta / (2 pi fc); Eshelby (1957): 7/16 M0 / r³, by hand for round numbers.
def test_stress_drop_by_hand():
    corner = 2.34 * 3500.0 / (2 * math.pi * 1000.0)  # a radius of 1 km
    assert stress_drop(16e15 / 7, corner) == pytest.approx(1e6)


def test_local_magnitude_only_within_its_distances():
    event = of_magnitude(5.0)
    near = event.stations["hypocentral_distance_km"] < 10
    assert event.stations.loc[near, "local_magnitude"].isna().all()


def test_sizes_that_disagree_are_said_to():
    event = simulate(41, 3)
    rng = np.random.default_rng(2)
    event = replace(event, magnitude=4.5)
    readings = [reading_of(event, index, rng) for index in range(min(5, len(event.stations)))]
    wrong = [replace(r, trace_mm={name: 12 * mm for name, mm in r.trace_mm.items()}) for r in readings]
    (found,) = events_in(wrong)
    assert found.moment is not None
    assert any("differ by" in note or "below the least" in note for note in found.notes)


def test_text_is_one_screen_and_says_each_thing_once():
    event = of_magnitude(5.0)
    lines = describe(event).splitlines()
    assert len(lines) <= 24
    assert len(lines) == len(set(lines))
    assert lines[0].startswith(("Origin time", "Epicentre"))
    size = next(number for number, line in enumerate(lines) if "magnitude" in line)
    assert size <= 4
    reasons = [line.split(": ", 2)[-1] for line in lines if line.startswith("Note: ")]
    assert len(reasons) == len(set(reasons))
