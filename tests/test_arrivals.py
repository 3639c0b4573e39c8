"""P and S picks, and the direction P comes from, on simulated records whose arrivals are known."""

from __future__ import annotations

import importlib.util
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy.signal import butter, sosfilt

from strongmotion import InputError
from strongmotion.arrivals import LEAST_UNCERTAINTY, Pick, level_before, p_direction, pick_arrivals

ROOT = Path(__file__).parents[1]
DT = 0.01


def _load_make_demo():
    spec = importlib.util.spec_from_file_location("make_demo", ROOT / "demo_records" / "make_demo.py")
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module  # dataclasses look their module up
    spec.loader.exec_module(module)
    return module


demo = _load_make_demo()


def simulated(number: int, signal_to_noise: float):
    """Return the components of one record of the demo's simulation, and its P and S, s after the first sample.

    The station lies anywhere within 100 km; `signal_to_noise` is that of the first 2 s of P, root mean square.
    """
    rng = np.random.default_rng([9, number])
    place = replace(
        demo.SITES[0].station,
        latitude=demo.LATITUDE + rng.uniform(-0.7, 0.7),
        longitude=demo.LONGITUDE + rng.uniform(-1, 1),
    )
    site = replace(demo.SITES[0], station=place, dt=DT, duration=70.0, pre_event=float(rng.uniform(6, 15)))
    motion = demo.true_motion(site, rng) * demo.TRUTH_STEP
    p, s = (site.travel_time(wave) - site.begins for wave in (demo.P, demo.S))
    first = motion[:, round(p / DT) : round(p / DT) + 200]
    rms = np.sqrt((first**2).mean()) / signal_to_noise
    noisy = [trace + demo.sensor_noise(trace.size, DT, rms, rng) + rng.normal(0, 0.01) for trace in motion]
    return dict(zip(demo.COMPONENTS, noisy, strict=True)), p, s


def test_nine_of_ten_picks_are_right_on_300_simulated_records():
    """At ratios of P to noise of 5, 10, 30 and 100: P within 0.1 s and S within 0.3 s for 90 %, at the worst 80 %."""
    errors = {"P": [], "S": []}
    standard = {"P": [], "S": []}
    for number in range(300):
        components, p, s = simulated(number, (5.0, 10.0, 30.0, 100.0)[number % 4])
        arrivals = pick_arrivals(components, DT)
        for phase, pick, truth in (("P", arrivals.p, p), ("S", arrivals.s, s)):
            errors[phase].append(np.inf if pick is None else pick.time - truth)
            standard[phase].append(np.nan if pick is None else pick.uncertainty)
    for phase, within in (("P", 0.1), ("S", 0.3)):
        error, uncertainty = np.abs(errors[phase]), np.array(standard[phase])
        right = error <= within
        assert right.mean() >= 0.9
        assert all(right[start::4].mean() >= 0.8 for start in range(4))
        assert (error <= 2 * uncertainty).mean() >= 0.9


def test_picks_do_not_depend_on_offset_or_size():
    components, _, _ = simulated(3, 30.0)
    plain = pick_arrivals(components, DT)
    moved = pick_arrivals({name: 50 * trace + 7.0 for name, trace in components.items()}, DT)
    assert moved.p.time == pytest.approx(plain.p.time, abs=0.011)
    assert moved.s.time == pytest.approx(plain.s.time, abs=0.011)


def test_late_record_has_no_p_and_says_so():
    components, p, s = simulated(1, 30.0)
    cut = round((p + 0.3 * (s - p)) / DT)
    arrivals = pick_arrivals({name: trace[cut:] for name, trace in components.items()}, DT)
    assert arrivals.p is None
    assert arrivals.lag is None
    assert arrivals.notes[0].startswith("no P: ")
    assert arrivals.s.time + cut * DT == pytest.approx(s, abs=0.3)


def test_noise_alone_has_neither():
    rng = np.random.default_rng(2)
    arrivals = pick_arrivals({name: rng.normal(size=6000) for name in ("H1", "H2", "V")}, DT)
    assert arrivals.p is None
    assert arrivals.s is None
    assert len(arrivals.notes) == 2


@pytest.mark.parametrize("high_cut", [2.0, 5.0, 20.0])
@pytest.mark.parametrize("names", [("H1", "H2", "V"), ("V",)])
def test_noise_that_rises_and_falls_is_no_arrival(high_cut, names):
    """Noise of a narrow band varies from second to second: an arrival in 1 of 20 records of it at most."""
    rng = np.random.default_rng(21)
    sections = butter(4, high_cut, fs=1 / DT, output="sos")
    found = {"P": 0, "S": 0}
    for _ in range(40):
        arrivals = pick_arrivals({name: sosfilt(sections, rng.normal(size=6500))[500:] for name in names}, DT)
        found["P"] += arrivals.p is not None
        found["S"] += arrivals.s is not None
    assert max(found.values()) <= 2


@pytest.mark.parametrize("size", [5.0, 50.0, 500.0])
@pytest.mark.parametrize("samples", [1, None])
def test_spike_or_step_before_p_is_not_p(size, samples):
    """`size` is that of the disturbance over the noise's root mean square, 4 s before P."""
    for number in range(2, 40, 4):  # those with P 30 times as strong as the noise
        components, p, s = simulated(number, 30.0)
        at = round((p - 4.0) / DT)
        vertical = components["V"]
        vertical[at : None if samples is None else at + samples] += size * vertical[: at - 100].std()
        arrivals = pick_arrivals(components, DT)
        assert arrivals.p is not None
        assert arrivals.p.time == pytest.approx(p, abs=0.2)
        assert arrivals.s.time == pytest.approx(s, abs=0.5)


def test_spike_alone_is_no_arrival():
    rng = np.random.default_rng(22)
    for scale in (0.0, 1.0):
        trace = {name: scale * rng.normal(size=6000) for name in ("H1", "H2", "V")}
        trace["H2"][2000] += 300.0
        arrivals = pick_arrivals(trace, DT)
        assert arrivals.p is None
        assert arrivals.s is None


@pytest.mark.parametrize("high_cut", [2.0, 5.0, 20.0])
def test_no_wave_is_picked_on_coloured_noise(high_cut):
    """Filtered noise swells and ebbs, the more the narrower its band; none of it is an arrival."""
    low_pass = butter(4, high_cut, fs=1 / DT, output="sos")
    for number in range(30):
        noise = np.random.default_rng([5, number]).normal(size=(3, 6000))
        arrivals = pick_arrivals(dict(zip(("H1", "H2", "V"), sosfilt(low_pass, noise), strict=True)), DT)
        assert arrivals.s is None


@pytest.mark.parametrize("number", range(0, 40, 4))
def test_s_is_picked_on_late_records(number):
    """At the lowest ratio of P to noise S still stands out where P was missed."""
    components, p, s = simulated(number, 5.0)
    cut = round((p + 0.3 * (s - p)) / DT)
    arrivals = pick_arrivals({name: trace[cut:] for name, trace in components.items()}, DT)
    assert arrivals.p is None
    assert arrivals.s is not None


def test_one_horizontal_has_no_s():
    components, p, _ = simulated(3, 30.0)
    arrivals = pick_arrivals({name: components[name] for name in ("H1", "V")}, DT)
    assert arrivals.p.time == pytest.approx(p, abs=0.1)
    assert arrivals.s is None
    assert "two horizontal components" in arrivals.notes[0]


def test_given_onset_wins():
    components, p, _ = simulated(3, 30.0)
    arrivals = pick_arrivals(components, DT, onset=p - 0.4)
    assert arrivals.p == Pick("P", p - 0.4, LEAST_UNCERTAINTY["P"], given=True)


@pytest.mark.parametrize("samples", [2, 10, 100, 700])
def test_short_records_are_read(samples):
    rng = np.random.default_rng(samples)
    pick_arrivals({name: rng.normal(size=samples) for name in ("H1", "H2", "V")}, DT)
    pick_arrivals({name: np.zeros(samples) for name in ("H1", "H2", "V")}, DT)


@pytest.mark.parametrize("values", [("X", 1.0, 0.1), ("P", np.nan, 0.1), ("S", 1.0, 0.0)])
def test_impossible_picks_are_refused(values):
    with pytest.raises(InputError):
        Pick(*values)


def test_level_is_a_ratio_of_root_mean_squares():
    energy = np.concatenate((np.full(1000, 0.04), np.full(1000, 4.0)))
    assert level_before(energy, 1000, DT) == pytest.approx(0.1)
    assert level_before(energy, 0, DT) == 0.0
    assert level_before(np.zeros(100), 50, DT) == 0.0


def ray(back_azimuth: float, incidence: float, push: float = 1.0, noise: float = 0.02, seed: int = 0):
    """Return north, east and up of a P wave along a ray, arriving at 10 s."""
    rng = np.random.default_rng(seed)
    time = np.arange(2000) * DT - 10.0
    pulse = push * np.where(time > 0, np.sin(2 * np.pi * 4 * time) * np.exp(-2 * time), 0.0)
    away, steep = np.radians(back_azimuth + 180), np.radians(incidence)
    parts = (np.sin(steep) * np.cos(away), np.sin(steep) * np.sin(away), np.cos(steep))
    return [part * pulse + rng.normal(0, noise, time.size) for part in parts]


@pytest.mark.parametrize("push", [1.0, -1.0])
@pytest.mark.parametrize("back_azimuth", [0.0, 75.0, 200.0, 310.0])
def test_p_points_back_to_its_source_whether_it_pushes_or_pulls(back_azimuth, push):
    direction = p_direction(*ray(back_azimuth, 40.0, push), DT, 10.0)
    assert not direction.either_way
    apart = (direction.back_azimuth - back_azimuth + 180) % 360 - 180
    assert abs(apart) < max(3 * direction.uncertainty, 2.0)


def test_stated_error_of_the_direction_holds():
    inside = 0
    for seed in range(200):
        direction = p_direction(*ray(120.0, 40.0, noise=0.1, seed=seed), DT, 10.0)
        inside += direction is not None and abs(direction.back_azimuth - 120.0) < 2 * direction.uncertainty
    assert 180 <= inside <= 200


def test_without_a_vertical_the_direction_is_open_either_way():
    north, east, _ = ray(75.0, 40.0)
    direction = p_direction(north, east, None, DT, 10.0)
    assert direction.either_way
    assert direction.back_azimuth == pytest.approx(75.0, abs=3.0)  # 75 or 255: given below 180


def test_unpolarised_motion_points_nowhere():
    rng = np.random.default_rng(6)
    told = sum(p_direction(*rng.normal(size=(3, 2000)), DT, 10.0) is not None for _ in range(100))
    assert told <= 2
    assert p_direction(*np.zeros((3, 2000)), DT, 10.0) is None
    assert p_direction(*rng.normal(size=(3, 2000)), DT, 19.99) is None
