"""Chopra, Dynamics of Structures: Theory and Applications to Earthquake Engineering, chapters 2 to 5.

The book's load p(t) on mass m is the ground acceleration a = -p/m here, so u'' + 2 z w u' + w² u = p(t)/m. Section and
example numbers, and the printed values of Example 5.1, are from memory.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest

from strongmotion.spectra import response_history, response_spectrum

DAMPING = [0.0, 0.02, 0.05, 0.2, 0.7]


def displacement(load, dt, period, damping):
    """u(t) under load p/m, linear between samples."""
    return response_history(-np.asarray(load), dt, period, damping, interpolation="linear")[0]


def scaled(expected, found, largest=None):
    """Both over the largest expected value, which tolerances are relative to."""
    largest = expected.max() if largest is None else largest
    return expected / largest, found / largest


def step_response(t, w, z):
    """Response to p/m = 1 from t = 0, in closed form (sec. 4.3)."""
    wd = w * np.sqrt(1 - z * z)
    t = np.maximum(t, 0)
    return (1 - np.exp(-z * w * t) * (np.cos(wd * t) + z * w / wd * np.sin(wd * t))) / w**2


def ramp_response(t, w, z):
    """Response to p/m = t from t = 0, in closed form (sec. 4.4)."""
    wd = w * np.sqrt(1 - z * z)
    t = np.maximum(t, 0)
    decay = np.exp(-z * w * t)
    return (t - 2 * z / w + decay * (2 * z / w * np.cos(wd * t) + (2 * z * z - 1) / wd * np.sin(wd * t))) / w**2


@pytest.mark.parametrize("damping", DAMPING)
@pytest.mark.parametrize("period", [0.08, 0.5, 2.0, 30.0])
def test_ramp(held, period, damping):
    t = np.arange(2000) * 0.01
    w = 2 * np.pi / period
    expected = ramp_response(t, w, damping)
    found = displacement(t, 0.01, period, damping)
    held("sec. 4.4", "displacement under a ramp / its largest", *scaled(expected, found), abs=1e-10)


@pytest.mark.parametrize("damping", DAMPING)
@pytest.mark.parametrize("period", [0.08, 0.5, 2.0, 30.0])
def test_step_reached_by_a_ramp_of_one_sample(held, period, damping):
    # Sec. 4.5: a step with finite rise time is a difference of two ramps.
    dt = 0.01
    t = np.arange(2000) * dt
    w = 2 * np.pi / period
    load = np.minimum(t / dt, 1)
    expected = (ramp_response(t, w, damping) - ramp_response(t - dt, w, damping)) / dt
    found = displacement(load, dt, period, damping)
    held("sec. 4.5", "displacement under a step with rise time / its largest", *scaled(expected, found), abs=1e-10)


@pytest.mark.parametrize("damping", DAMPING)
@pytest.mark.parametrize("period", [0.5, 2.0, 30.0])
def test_step_present_from_the_first_sample(held, period, damping):
    # The record starts at full load, so this is the step itself (sec. 4.3), overshoot and all.
    t = np.arange(4000) * 0.01
    w = 2 * np.pi / period
    expected = step_response(t, w, damping)
    found = displacement(np.ones(t.size), 0.01, period, damping)
    held("sec. 4.3", "displacement under a step / its largest", *scaled(expected, found), abs=1e-10)


@pytest.mark.parametrize("damping", [0.0, 0.05, 0.2, 0.7])
def test_step_overshoot_is_found_between_samples(held, damping):
    # Sec. 4.3: the largest response to a step is 1 + exp(-pi z / sqrt(1 - z²)) times the static one. T/2 falls between
    # samples, so a search of the samples alone would miss it.
    period, dt = 1.0, 0.0317
    spectrum = response_spectrum(-np.ones(64), dt, [period], damping, interpolation="linear")
    overshoot = 1 + np.exp(-np.pi * damping / np.sqrt(1 - damping**2))
    held("sec. 4.3", "PSA of a step / the static one", overshoot, spectrum.psa[0, 0], rel=1e-10)


@pytest.mark.parametrize("rise_ratio", [0.2, 0.5, 1.3, 2.4, 3.7])
def test_step_with_finite_rise_time(held, rise_ratio):
    # Sec. 4.5: largest undamped response 1 + |sin(pi tr/T)| / (pi tr/T) times the static one.
    period = 1.0
    dt = rise_ratio * period / 50
    t = np.arange(50 + int(3 * period / dt)) * dt
    load = np.minimum(t / (rise_ratio * period), 1)
    spectrum = response_spectrum(load, dt, [period], 0.0, interpolation="linear")
    expected = 1 + abs(np.sin(np.pi * rise_ratio)) / (np.pi * rise_ratio)
    held("sec. 4.5", "PSA of a step with rise time / the static one", expected, spectrum.psa[0, 0], rel=1e-10)


@pytest.mark.parametrize("length_ratio", [0.1, 0.25, 0.4, 0.5, 0.75, 1.0, 2.0])
def test_rectangular_pulse_shock_spectrum(held, length_ratio):
    # Sec. 4.7: 2 sin(pi td/T) for td < T/2, else 2. The load is there from the first sample and gone after the last.
    steps = 40
    dt = length_ratio / steps
    spectrum = response_spectrum(np.ones(steps + 1), dt, [1.0], 0.0, interpolation="linear")
    expected = 2 * np.sin(np.pi * length_ratio) if length_ratio < 0.5 else 2.0
    held("sec. 4.7", "PSA of a rectangular pulse / the static one", expected, spectrum.psa[0, 0], rel=1e-10)


@pytest.mark.parametrize("length_ratio", [0.25, 0.5, 1.0, 1.5, 2.3])
@pytest.mark.parametrize("damping", [0.0, 0.05])
def test_triangular_pulse(held, length_ratio, damping):
    # Sec. 4.9, symmetrical triangle: three ramps, while the load lasts and after.
    period, steps = 1.0, 40
    td = length_ratio * period
    dt = td / steps
    t = np.arange(6 * steps) * dt
    w = 2 * np.pi / period
    load = np.maximum(1 - np.abs(2 * t / td - 1), 0)
    expected = (
        2
        / td
        * (ramp_response(t, w, damping) - 2 * ramp_response(t - td / 2, w, damping) + ramp_response(t - td, w, damping))
    )
    found = displacement(load, dt, period, damping)
    pair = scaled(expected, found, np.abs(expected).max())
    held("sec. 4.9", "displacement under a triangular pulse / its largest", *pair, abs=1e-10)


@pytest.mark.parametrize("length_ratio", [0.25, 0.4])
def test_triangular_pulse_shock_spectrum(held, length_ratio):
    # A short triangle is two rectangular pulses of td/2 in convolution: free vibration of amplitude
    # 4 sin²(pi td/(2 T)) / (pi td/T) follows it, and for td < T/2 nothing before is larger.
    steps = 40
    dt = length_ratio / steps
    load = 1 - np.abs(np.linspace(-1, 1, steps + 1))
    spectrum = response_spectrum(load, dt, [1.0], 0.0, interpolation="linear")
    expected = 4 * np.sin(np.pi * length_ratio / 2) ** 2 / (np.pi * length_ratio)
    held("sec. 4.9", "PSA of a triangular pulse / the static one", expected, spectrum.psa[0, 0], rel=1e-10)


@pytest.mark.parametrize("length_ratio", [0.2, 0.35, 0.8, 1.2])
def test_half_sine_pulse_shock_spectrum(held, length_ratio):
    # Sec. 4.8. td < T/2: the free vibration, 4 (td/T) cos(pi td/T) / (1 - (2 td/T)²);
    # T/2 < td < 3T/2: the forced peak, sin(2 pi / (1 + 2 td/T)) / (1 - T/(2 td)).
    steps = 2000
    dt = length_ratio / steps
    load = np.sin(np.pi * np.arange(steps + 1) / steps)
    spectrum = response_spectrum(load, dt, [1.0], 0.0, interpolation="linear")
    x = length_ratio
    if x < 0.5:
        expected = 4 * x * np.cos(np.pi * x) / (1 - 4 * x * x)
    else:
        expected = np.sin(2 * np.pi / (1 + 2 * x)) / (1 - 1 / (2 * x))
    # Chords of a sine lie inside it by at most (pi/steps)²/8, and the response to an error of that size is at most
    # its integral times w.
    error = (np.pi / steps) ** 2 / 8 * 2 * np.pi * length_ratio
    held("sec. 4.8", "PSA of a half-sine pulse / the static one", abs(expected), spectrum.psa[0, 0], abs=2 * error)


@pytest.mark.parametrize("damping", [0.02, 0.05, 0.2])
@pytest.mark.parametrize("frequency_ratio", [0.4, 1.0, 1.7])
def test_harmonic_load(held, frequency_ratio, damping):
    # Sec. 3.2: steady state plus the transient that starts it from rest.
    w = 2 * np.pi
    load_w = frequency_ratio * w
    dt = 0.002
    t = np.arange(6000) * dt
    stiffness = (1 - frequency_ratio**2) ** 2 + (2 * damping * frequency_ratio) ** 2
    c = (1 - frequency_ratio**2) / stiffness / w**2
    d = -2 * damping * frequency_ratio / stiffness / w**2
    wd = w * np.sqrt(1 - damping**2)
    b = (-c * load_w - damping * w * d) / wd
    transient = np.exp(-damping * w * t) * (-d * np.cos(wd * t) + b * np.sin(wd * t))
    expected = c * np.sin(load_w * t) + d * np.cos(load_w * t) + transient
    # A sine joined by straight lines is the sine times sinc²(f dt), less (w dt)²/12 of it, and weak images.
    found = displacement(np.sin(load_w * t), dt, 1.0, damping)
    pair = scaled(expected, found, np.abs(expected).max())
    held("sec. 3.2", "displacement under a harmonic load / its largest", *pair, abs=1.5 * (load_w * dt) ** 2 / 12)


@pytest.mark.parametrize("damping", DAMPING)
def test_free_vibration(held, damping):
    # Sec. 2.1 and 2.2: after the load has gone, the motion is free; start it from the state at 1 s.
    dt, period = 0.01, 0.7
    w = 2 * np.pi / period
    wd = w * np.sqrt(1 - damping**2)
    load = np.zeros(600)
    load[20:60] = np.random.default_rng(2).normal(size=40)
    u, v, _ = response_history(load, dt, period, damping, interpolation="linear")
    t = np.arange(500) * dt
    free = np.exp(-damping * w * t) * (u[100] * np.cos(wd * t) + (v[100] + damping * w * u[100]) / wd * np.sin(wd * t))
    pair = scaled(free, u[100:], np.abs(u).max())
    held("sec. 2.1, 2.2", "displacement in free vibration / the largest", *pair, abs=1e-10)


# Example 5.1: u, in., at t = 0.1, 0.2, ... s. Both columns are from memory; of the first only the five values that two
# independent computations confirm are kept.
EXAMPLE_5_1_INTERPOLATED = [0.0318, 0.2274, 0.6336, 1.1339, 1.4896]
EXAMPLE_5_1_THEORETICAL = [0.0328, 0.2332, 0.6487, 1.1605, 1.5241, 1.4814, 0.9245, 0.0593, -0.7751, -1.2718]


def test_interpolation_of_excitation_example_5_1(held):
    # m = 0.2533 kip s²/in, k = 10 kip/in, T = 1 s, z = 0.05, p = 10 sin(pi t / 0.6) kip until 0.6 s, dt = 0.1 s.
    mp = pytest.importorskip("mpmath")
    mass, stiffness, damping, dt = 0.2533, 10.0, 0.05, 0.1
    w = np.sqrt(stiffness / mass)
    t = np.arange(11) * dt
    load = np.where(t < 0.6 - 1e-9, 10 * np.sin(np.pi * t / 0.6), 0.0) / mass
    found = displacement(load, dt, 2 * np.pi / w, damping)

    # The same by the exponential of the whole system's matrix, thirty digits: state u, u', load, its slope.
    with mp.workdps(30):
        system = mp.matrix(4, 4)
        system[0, 1], system[1, 0], system[1, 1], system[1, 2], system[2, 3] = 1, -(w**2), -2 * damping * w, 1, 1
        step = mp.expm(system * dt)
        u, v, independent = 0, 0, [0.0]
        for now, following in pairwise(load):
            u, v, _, _ = step * mp.matrix([u, v, now, (following - now) / dt])
            independent.append(float(u))
    np.testing.assert_allclose(found, independent, rtol=0, atol=1e-10 * np.abs(found).max())
    # Printed to four places.
    example = "Example 5.1, interpolated", "displacement"
    held(*example, EXAMPLE_5_1_INTERPOLATED, found[1:6], abs=0.6e-4, unit="in.", memory=True)


def test_theoretical_response_of_example_5_1(held):
    # The column beside it is the response to the half-sine itself, which chords of 0.1 ms follow to 3e-8 of the load.
    mass, stiffness, dt = 0.2533, 10.0, 1e-4
    t = np.arange(10001) * dt
    load = np.where(t < 0.6, 10 * np.sin(np.pi * t / 0.6), 0.0) / mass
    found = displacement(load, dt, 2 * np.pi / np.sqrt(stiffness / mass), 0.05)
    example = "Example 5.1, theoretical", "displacement"
    held(*example, EXAMPLE_5_1_THEORETICAL, found[1000::1000], abs=0.6e-4, unit="in.", memory=True)
