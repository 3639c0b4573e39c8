"""Spectra of band-limited records against their response in closed form: sums of sinusoids under a window."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from strongmotion.spectra import response_history, response_spectrum

DT, SAMPLES = 0.01, 400
DURATION = SAMPLES * DT


@dataclass(frozen=True)
class Shaking:
    """Sinusoids under a squared Hann window: each a sum of nine lines, zero with five derivatives at both ends.

    A windowed sinusoid is sin(w t + p) (1 - cos(2 pi t / D))² / 4, whose products of cosines are sums of cosines.
    """

    frequency: np.ndarray
    amplitude: np.ndarray
    phase: np.ndarray

    def lines(self):
        """Return frequencies (rad/s) and complex amplitudes whose real part's sum is the ground acceleration."""
        window = np.array([1, -4, 6, -4, 1]) / 16  # (1 - cos x)² / 4 = sum of these times exp(i k x), k = -2 .. 2
        shift = 2 * np.pi / DURATION * np.arange(-2, 3)
        omega = 2 * np.pi * self.frequency[:, None] + shift
        amplitude = (self.amplitude * np.exp(1j * self.phase))[:, None] * window
        return omega.ravel(), amplitude.ravel()

    def at(self, t):
        omega, amplitude = self.lines()
        return (amplitude * np.exp(1j * omega * t[:, None])).sum(axis=1).real

    def response(self, period, damping, t):
        """Return u, u' and u'' + a at times t, from rest: forced and free vibration, and free alone after the end."""
        w = 2 * np.pi / period
        omega, amplitude = self.lines()
        forced = -amplitude / (w**2 - omega**2 + 2j * damping * w * omega)
        root = w * (-damping + 1j * np.sqrt(1 - damping**2))

        def free(u0, v0, t):
            # u = Re(c exp(root t)) with u(0) = u0, u'(0) = v0.
            c = u0 + 1j * (root.real * u0 - v0) / root.imag
            motion = c * np.exp(root * t)
            return motion.real, (root * motion).real

        def driven(t):
            line = forced * np.exp(1j * omega * np.atleast_1d(t)[:, None])
            u, v = line.sum(axis=1).real, (1j * omega * line).sum(axis=1).real
            u_free, v_free = free(-forced.sum().real, -(1j * omega * forced).sum().real, np.atleast_1d(t))
            return u + u_free, v + v_free

        inside = t <= DURATION
        u, v = np.empty(t.size), np.empty(t.size)
        u[inside], v[inside] = driven(t[inside])
        u_end, v_end = driven(DURATION)
        u[~inside], v[~inside] = free(u_end[0], v_end[0], t[~inside] - DURATION)
        return u, v, -2 * damping * w * v - w**2 * u


def crest(values):
    """Largest size, between its neighbours by a parabola."""
    size = np.abs(values)
    i = int(np.clip(size.argmax(), 1, size.size - 2))
    before, at, after = values[i - 1 : i + 2]
    bend = before - 2 * at + after
    return max(abs(at - (after - before) ** 2 / (8 * bend)) if bend else abs(at), size.max())


def truth(shaking, period, damping):
    highest = max(shaking.frequency.max() + 2 / DURATION, 1 / period)
    t = np.arange(0, DURATION + period, 1 / (150 * highest))
    return dict(zip(("sd", "sv", "sa"), map(crest, shaking.response(period, damping, t)), strict=True))


@st.composite
def shakings(draw):
    """Up to four sinusoids, up to 0.4 of the sampling rate; the window adds 0.005 of it."""
    count = draw(st.integers(1, 4))
    share = st.floats(0.02, 0.4)
    return Shaking(
        np.array([draw(share) / DT for _ in range(count)]),
        np.array([draw(st.floats(0.1, 2.0)) for _ in range(count)]),
        np.array([draw(st.floats(0, 6.28)) for _ in range(count)]),
    )


def worst(shaking, samples_in_a_period, damping):
    period = samples_in_a_period * DT
    a = shaking.at(np.arange(SAMPLES + 1) * DT)
    spectrum = response_spectrum(a, DT, [period], damping)
    exact = truth(shaking, period, damping)
    exact["psa"] = (2 * np.pi / period) ** 2 * exact["sd"]
    errors = {name: abs(getattr(spectrum, name)[0, 0] / value - 1) for name, value in exact.items()}
    # The result says itself how far off displacement and velocity may be; the truth above is good to 2e-4.
    assert max(errors["sd"], errors["sv"]) < spectrum.interpolation_error[0, 0] + 2e-4
    return errors


@given(shakings(), st.floats(4, 300), st.sampled_from([0.02, 0.05, 0.2]))
@settings(max_examples=200, deadline=None)
def test_periods_of_four_samples_and_more(shaking, samples_in_a_period, damping):
    errors = worst(shaking, samples_in_a_period, damping)
    assert max(errors.values()) < 1e-3, errors


@given(shakings(), st.floats(2, 4), st.sampled_from([0.02, 0.05, 0.2]))
@settings(max_examples=100, deadline=None)
def test_periods_of_two_to_four_samples(shaking, samples_in_a_period, damping):
    errors = worst(shaking, samples_in_a_period, damping)
    assert max(errors.values()) < 1e-2, errors


@given(shakings(), st.floats(4, 300), st.sampled_from([0.02, 0.2, 0.7]))
@settings(max_examples=100, deadline=None)
def test_the_error_bound_covers_absolute_acceleration(shaking, samples_in_a_period, damping):
    period = samples_in_a_period * DT
    spectrum = response_spectrum(shaking.at(np.arange(SAMPLES + 1) * DT), DT, [period], damping)
    error = abs(spectrum.sa[0, 0] / truth(shaking, period, damping)["sa"] - 1)
    assert error < spectrum.interpolation_error[0, 0] + 2e-4


def test_the_largest_sample_would_not_do():
    # The same asked of the samples alone, joined by straight lines, and of no motion after the end.
    shaking = Shaking(np.array([23.0]), np.array([1.0]), np.array([0.3]))
    exact = truth(shaking, 4.5 * DT, 0.05)["sd"]
    a = shaking.at(np.arange(SAMPLES + 1) * DT)
    u, _, _ = response_history(a, DT, 4.5 * DT, 0.05, interpolation="linear")
    assert abs(np.abs(u).max() / exact - 1) > 0.05
    shaking = Shaking(np.array([12.0]), np.array([1.0]), np.array([0.3]))
    u, _, _ = response_history(shaking.at(np.arange(SAMPLES + 1) * DT), DT, 4.5 * DT, 0.05)
    assert abs(np.abs(u).max() / truth(shaking, 4.5 * DT, 0.05)["sd"] - 1) > 1e-3


@pytest.mark.parametrize("damping", [0.02, 0.2, 0.5, 1.0, 3.0])
@pytest.mark.parametrize("of_nyquist", [0.5, 0.8, 0.96])
def test_error_bound_holds_for_steady_motion_up_to_the_nyquist_frequency(of_nyquist, damping):
    # Steady state in closed form: Chopra, Dynamics of Structures, sec. 3.2. The motion swells and fades over 20 s.
    rate = of_nyquist * np.pi / DT
    time = DT * np.arange(6001)
    ground = np.sin(rate * time) * np.clip(np.minimum(time, 60 - time) / 20, 0, 1) ** 2
    ground *= 3 - 2 * np.clip(np.minimum(time, 60 - time) / 20, 0, 1)
    periods = DT * np.array([0.5, 0.9, 1.3, 2.5, 4.0, 4.5, 6.0, 10.0, 15.5])
    spectrum = response_spectrum(ground, DT, periods, damping)
    omega = 2 * np.pi / periods
    sd = 1 / np.hypot(omega**2 - rate**2, 2 * damping * omega * rate)
    truth = {"sd": sd, "sv": rate * sd, "sa": omega * np.hypot(omega, 2 * damping * rate) * sd}
    for name, expected in truth.items():
        error = np.abs(getattr(spectrum, name)[0] / expected - 1)
        assert np.all(error <= spectrum.interpolation_error[0] + 1e-7), name


@given(
    st.floats(2.0, 8.0), st.floats(0, 6.28), st.sampled_from([0.0, 1e-4, 1e-3, 0.005, 0.02, 0.05, 0.2, 0.7]),
    st.one_of(st.just(2.0), st.floats(1.9, 2.1), st.floats(0.5, 80.0)),
)  # fmt: skip
@settings(max_examples=200, deadline=None)
def test_error_bound_holds_near_the_nyquist_frequency(lines_below, phase, damping, samples_in_a_period):
    # Within some cycles of the shaking's length of the Nyquist frequency samples cannot tell motion from its mirror
    # image, and at T = 2 dt the oscillator resonates with it: the bound must say so.
    shaking = Shaking(np.array([0.5 / DT - lines_below / DURATION]), np.array([1.0]), np.array([phase]))
    period = samples_in_a_period * DT
    omega, _ = shaking.lines()
    assume(np.abs(period * omega / (2 * np.pi) - 1).min() > 1e-6 or damping > 0)  # the closed form divides by zero
    worst(shaking, samples_in_a_period, damping)


@pytest.mark.parametrize("damping", [0.0, 0.05, 1.0])
def test_error_bound_is_a_number_at_every_period(damping):
    a = np.random.default_rng(5).normal(size=300)  # loud up to the Nyquist frequency
    spectrum = response_spectrum(a, DT, [0.0, 1e-6, 1e-4, 0.5 * DT, 2 * DT, 1.0, 1000.0], damping)
    assert np.all(np.isfinite(spectrum.interpolation_error))
    assert spectrum.interpolation_error[0, 0] == 0.0
    if damping == 0.0:
        assert spectrum.interpolation_error[0, 4] > 1.0  # samples cannot tell
