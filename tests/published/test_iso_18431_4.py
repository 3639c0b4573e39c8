"""ISO 18431-4 (2007), Mechanical vibration and shock, signal processing, part 4: shock-response spectrum analysis.

Its filter for the absolute-acceleration response of a damped oscillator is ramp invariant, exact for straight lines
between samples (Smallwood 1981). Coefficients from memory; `test_the_filter_is_ramp_invariant` checks them.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.signal import lfilter

from strongmotion.spectra import response_history, response_spectrum

DT = 0.005


def ramp_invariant(period, damping):
    """Return numerator and denominator, with Q = 1 / (2 z), of base acceleration to absolute acceleration."""
    omega = 2 * np.pi / period
    decay = np.exp(-omega * DT * damping)
    angle = omega * DT * np.sqrt(1 - damping**2)
    sinc = np.sin(angle) / angle
    numerator = [1 - decay * sinc, 2 * decay * (sinc - np.cos(angle)), decay**2 - decay * sinc]
    return numerator, [1, -2 * decay * np.cos(angle), decay**2]


def test_the_filter_is_ramp_invariant():
    # The response to a(t) = t from rest is t - 2 z / w + exp(-z w t) (...) in closed form.
    period, damping = 0.3, 0.1
    omega = 2 * np.pi / period
    damped = omega * np.sqrt(1 - damping**2)
    t = np.arange(200) * DT
    exact = t - np.exp(-damping * omega * t) * np.sin(damped * t) / damped
    np.testing.assert_allclose(lfilter(*ramp_invariant(period, damping), t), exact, atol=1e-13)


@pytest.mark.parametrize("period", [0.02, 0.1, 0.5, 2.0])
@pytest.mark.parametrize("damping", [0.01, 0.05, 0.2])
def test_absolute_acceleration_is_that_of_the_standard(held, period, damping):
    rng = np.random.default_rng(18431)
    a = np.concatenate([[0.0], rng.standard_normal(800) * np.hanning(800), np.zeros(500)])
    expected = lfilter(*ramp_invariant(period, damping), a)
    _, _, absolute = response_history(a, DT, period, damping, interpolation="linear")
    scale = np.abs(expected).max()
    quantity = "absolute acceleration / its largest"
    held("its filter", quantity, expected / scale, absolute / scale, abs=1e-10, memory=True)
    # The standard takes the largest sample; ours may only exceed it, between the samples.
    largest = response_spectrum(a, DT, [period], damping, ["sa"], interpolation="linear").sa[0, 0]
    assert np.abs(expected).max() * (1 - 1e-12) <= largest
    assert largest <= np.abs(expected).max() / np.cos(np.pi * DT / period) * 1.02
