"""Picks on simulated records of few and many bits: none in the rounding of the noise, none of S in its coda."""

from __future__ import annotations

import numpy as np
import pytest

from benchmarks.events import picked
from benchmarks.simulations import digitise, draw_motion, log_uniform
from strongmotion.arrivals import pick_arrivals, silent_samples

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
    assert 0.58 <= one <= 0.77
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


def test_drift_over_one_step_of_the_count_is_no_onset():
    """Noise far below a count flickers between two steps while the zero line crosses from one to the next."""
    early = 0
    for number in range(15):
        motion, found = picked(63, 16, number, 1.0)
        early += found.p is not None and found.p.time < motion.onset * motion.dt - 0.5
    assert early == 0


def triggered_late(number, where, silence):
    """Return a record of 24 or 16 bits that begins between P and S or after S, with s of the same sample before."""
    rng = np.random.default_rng([64, number])
    motion = draw_motion(rng, rate=100.0, peak=log_uniform(rng, 0.05, 5), before=20.0)
    bits, largest = (16, 24)[number % 2], float(np.abs(motion.acceleration).max())
    scale = largest / 9.80665 * log_uniform(rng, 2, 40)
    count = scale * 9.80665 / 2 ** (bits - 1)
    ground = motion.acceleration + count * log_uniform(rng, 0.05, 1.0) * rng.normal(size=motion.acceleration.shape)
    counts, count, _ = digitise(ground, bits, scale, rng)
    p, s = motion.onset, motion.s_onset
    begin = int(p + rng.uniform(0.1, 0.9) * (s - p)) if where == "after P" else s + int(rng.uniform(0, 600))
    heard = counts[:, begin:] * count
    before = np.repeat(heard[:, :1] * (number % 2), round(silence * 100), axis=1)
    return dict(zip(NAMES, np.concatenate((before, heard), axis=1), strict=True)), count


@pytest.mark.parametrize("silence", [0.0, 10.0])
@pytest.mark.parametrize("where", ["after P", "after S"])
def test_record_that_begins_after_p_has_no_p(where, silence):
    """Also where zeros, or the first sample over and over, stand before the trigger."""
    given = 0
    for number in range(30):
        parts, count = triggered_late(number, where, silence)
        found = pick_arrivals(parts, 0.01, counts=[count] * 3)
        given += found.p is not None
        if found.p is None and silence:
            assert "its first 10.0 s are one value" in found.missing["P"]
    assert given <= 4


@pytest.mark.parametrize("bits", [12, 16, 24])
def test_quiet_site_is_not_taken_for_silence(bits):
    """Noise below the count shows the same value until P."""
    for number in range(12):
        motion, found = picked(65, bits, number)
        assert found.p is not None
        assert abs(found.p.time - motion.onset * motion.dt) < 2.5


def test_silence_before_shaking_that_grows_is_a_quiet_site():
    rng = np.random.default_rng(1)
    time = np.arange(3000) * 0.01 - 10.0
    envelope = np.clip(time / 0.5, 0, 1)
    counts = np.round(50 * envelope * rng.normal(size=(3, 3000)))
    assert silent_samples(counts, 0.01) == 0
    assert silent_samples(counts[:, 1100:], 0.01) == 0
    cut = np.concatenate((np.zeros((3, 500)), counts[:, 1100:]), axis=1)
    assert silent_samples(cut, 0.01) == 500
    assert silent_samples(np.zeros((3, 500)), 0.01) == 0


def test_s_is_not_taken_for_p_where_p_is_in_the_noise():
    """P a tenth of the noise; S 40 times as strong moves the ground across. The same upright would be P."""
    rng = np.random.default_rng(2)
    time = np.arange(6000) * 0.01
    envelope = np.where(time > 30, np.exp(-np.clip(time - 30, 0, None) / 6), 0.0)
    for strength, is_p in (((1.2, 1.0, 0.4), False), ((0.4, 0.4, 1.2), True)):
        parts = {
            name: rng.normal(size=6000) * np.hypot(1.0, 40 * share * envelope)
            for name, share in zip(NAMES, strength, strict=True)
        }
        found = pick_arrivals(parts, 0.01)
        assert (found.p is not None) is is_p
        if not is_p:
            assert "as S does" in found.missing["P"]
            assert abs(found.s.time - 30.0) < 0.3


@pytest.mark.parametrize("bits", [12, 16])
def test_noise_in_few_counts_has_no_s(bits):
    """Noise of a fifth of a count, on swell that carries it over many steps."""
    for number in range(8):
        rng = np.random.default_rng([66, bits, number])
        time = np.arange(6000) * 0.01
        swell = rng.uniform(0.5, 5) * np.sin(2 * np.pi * rng.uniform(0.1, 0.25) * time + rng.uniform(0, 6))
        counts = np.round(swell + rng.uniform(0, 1, (3, 1)) + 0.2 * rng.normal(size=(3, 6000)))
        found = pick_arrivals(dict(zip(NAMES, counts, strict=True)), 0.01, counts=[1.0] * 3)
        assert found.p is None
        assert found.s is None
