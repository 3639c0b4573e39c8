"""Picks on simulated records of few and many bits: none in the rounding of the noise, none of S in its coda."""

from __future__ import annotations

import numpy as np
import pytest

from benchmarks.events import picked
from strongmotion.arrivals import pick_arrivals

NAMES = ("H1", "H2", "V")


@pytest.mark.parametrize("count", [8, pytest.param(60, marks=pytest.mark.slow)])
def test_p_is_not_picked_in_rounding_and_its_error_holds(count):
    early, within, all_of = 0, [], 0
    cases = [(8, 0.0), (12, 0.0), (16, 0.0), (16, 1.0), (18, 0.0), (24, 0.0)]
    for bits, drift in cases:
        for number in range(count):
            motion, found = picked(61, bits, number, drift)
            all_of += 1
            if found.p is not None:
                off = found.p.time - motion.onset * motion.dt
                early += off < -0.5
                within.append((abs(off) < found.p.uncertainty, abs(off) < 2 * found.p.uncertainty))
    assert early <= 0.01 * all_of
    assert len(within) >= 0.95 * all_of
    one, two = np.mean(within, axis=0)
    assert one >= 0.58
    assert two >= 0.88


def test_s_is_never_picked_after_half_of_the_energy():
    late, found_at_all, within = 0, 0, []
    for number in range(50):
        motion, found = picked(62, 18, number)
        if found.s is None:
            assert "S" in found.missing
            continue
        found_at_all += 1
        energy = np.cumsum((motion.acceleration[:2] ** 2).sum(axis=0))
        at = min(round(found.s.time / motion.dt), len(energy) - 1)
        late += energy[at] > 0.5 * energy[-1]
        within.append(abs(found.s.time - motion.s_onset * motion.dt) < 2 * found.s.uncertainty)
    assert late == 0
    assert found_at_all >= 40
    assert np.mean(within) >= 0.85


def test_record_without_s_says_so():
    """Two seconds of one pulse on all components alike: nothing comes after it."""
    rng = np.random.default_rng(1)
    time = np.arange(4000) * 0.01
    envelope = np.where(time > 20, np.exp(-np.clip(time - 20, 0, None) * 2), 0.0)
    pulse = envelope * rng.normal(size=4000)
    found = pick_arrivals({name: pulse + 1e-4 * rng.normal(size=4000) for name in NAMES}, 0.01)
    assert found.p is not None
    assert found.s is None or found.s.time < 20.6
