"""Fourier and power spectra, and their smoothing, against closed forms and direct sums."""

from __future__ import annotations

import tracemalloc

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from strongmotion.foundation.errors import InputError
from strongmotion.spectra import (
    effective_amplitude_spectrum,
    fourier_spectrum,
    horizontal_to_vertical,
    konno_ohmachi,
    log_box,
    power_spectral_density,
)

DT = 0.01


def shaking(n=1500, seed=0):
    return np.random.default_rng(seed).standard_normal(n) * np.hanning(n)


def direct(frequency, amplitude, centres, b):
    # Konno & Ohmachi (1998), eq. 4: W = (sin(b log10(f/fc)) / (b log10(f/fc)))⁴.
    out = []
    for centre in centres:
        weight = np.sinc(b * np.log10(frequency / centre) / np.pi) ** 4
        out.append((weight * amplitude).sum() / weight.sum())
    return np.array(out)


def test_konno_ohmachi_is_the_direct_formula():
    frequency = np.linspace(0, 50, 30_001)[1:]
    amplitude = np.random.default_rng(4).lognormal(size=frequency.size) / (1 + frequency**-2.0)
    centres = np.geomspace(0.05, 49, 300)
    np.testing.assert_allclose(
        konno_ohmachi(frequency, amplitude, centres, 40), direct(frequency, amplitude, centres, 40), rtol=1e-10
    )


@pytest.mark.parametrize("count", [300, 30_000])
def test_konno_ohmachi_takes_memory_for_its_input_only(count):
    frequency, amplitude, centres = np.linspace(0, 50, 30_001)[1:], np.ones(30_000), np.geomspace(0.05, 49, count)
    konno_ohmachi(frequency, amplitude, centres)
    tracemalloc.start()
    try:
        konno_ohmachi(frequency, amplitude, centres)
        assert tracemalloc.get_traced_memory()[1] < 20 * 8 * 30_000  # every weight at once would take 15 times as much
    finally:
        tracemalloc.stop()


@pytest.mark.parametrize("b", [3.0, 20.0, 40.0, 188.5])
def test_crowded_centres_are_interpolated_to_the_same_digits(b):
    frequency = np.linspace(0, 100, 20_001)[1:]
    amplitude = np.random.default_rng(5).lognormal(size=frequency.size) * np.exp(-0.1 * frequency)
    own = konno_ohmachi(frequency, amplitude, frequency, b)
    some = np.r_[:20, 20:20_000:701, 19_990:20_000]
    np.testing.assert_allclose(own[some], direct(frequency, amplitude, frequency[some], b), rtol=1e-10)


def test_a_single_line_in_a_deep_floor_is_smoothed_alike_from_nodes():
    frequency = np.geomspace(0.1, 50, 5000)
    amplitude = np.full(5000, 1e-6)
    amplitude[2500] = 1.0
    crowded = konno_ohmachi(frequency, amplitude, frequency, 30.0)
    np.testing.assert_allclose(crowded, direct(frequency, amplitude, frequency, 30.0), rtol=1e-10)


@given(st.integers(1, 40), st.floats(0.5, 200), st.integers(0, 10_000))
def test_smoothing_stays_between_least_and_largest(n, b, seed):
    rng = np.random.default_rng(seed)
    frequency, amplitude = np.sort(rng.uniform(0.1, 20, n)), rng.uniform(size=n)
    smooth = konno_ohmachi(frequency, amplitude, rng.uniform(0.1, 20, 300), b)
    assert amplitude.min() * (1 - 1e-10) <= smooth.min()
    assert smooth.max() <= amplitude.max() * (1 + 1e-10)


def test_log_box_is_the_mean_of_what_lies_in_the_box():
    frequency = np.linspace(0, 50, 2001)
    amplitude = np.random.default_rng(6).uniform(size=2001)
    centres = np.geomspace(0.001, 49, 50)
    half = 10**0.075
    for centre, found in zip(centres, log_box(frequency, amplitude, centres, 0.15), strict=True):
        inside = (frequency >= centre / half) & (frequency <= centre * half)
        expected = amplitude[inside].mean() if inside.any() else np.interp(centre, frequency, amplitude)
        assert found == pytest.approx(expected, rel=1e-12)
    with pytest.raises(InputError, match="rising"):
        log_box([2.0, 1.0], [1.0, 1.0], [1.0])


def test_effective_amplitude_does_not_depend_on_the_axes():
    one, two = shaking(seed=1), shaking(seed=2)
    c, s = np.cos(0.7), np.sin(0.7)
    frequency, plain = effective_amplitude_spectrum(one, two, DT)
    np.testing.assert_allclose(effective_amplitude_spectrum(c * one + s * two, c * two - s * one, DT)[1], plain)
    # Closed form: equal components give their own spectrum.
    np.testing.assert_allclose(effective_amplitude_spectrum(one, one, DT)[1], fourier_spectrum(one, DT).amplitude)
    smooth = effective_amplitude_spectrum(one, two, DT, smoothing=40)[1]
    np.testing.assert_allclose(smooth[1:], konno_ohmachi(frequency, plain, frequency[1:], 40), rtol=1e-12)
    with pytest.raises(InputError, match="1500 and 3"):
        effective_amplitude_spectrum(one, [1.0, 2.0, 3.0], DT)


def test_horizontal_to_vertical_of_known_amplitudes():
    a = shaking()
    # Root of the mean of 3² and 4², over 2.
    ratio = horizontal_to_vertical(3 * a, 4 * a, -2 * a, DT, [0.5, 5.0, 20.0])
    np.testing.assert_allclose(ratio, np.sqrt(12.5) / 2, rtol=1e-12)
    assert np.isinf(horizontal_to_vertical(a, a, 0 * a, DT, [5.0])).all()


def test_power_spectral_density_of_a_sinusoid_holds_its_mean_square():
    # Of A sin over whole cycles in each segment: A² / 2, all of it at its own frequency and the two beside it.
    time = np.arange(8000) * DT
    frequency, density = power_spectral_density(3 * np.sin(2 * np.pi * 2.0 * time), DT, segment=10.0)
    assert frequency[density.argmax()] == pytest.approx(2.0)
    assert density.sum() * frequency[1] == pytest.approx(4.5, rel=1e-3)
    gal = power_spectral_density(300 * np.sin(2 * np.pi * 2.0 * time), DT, segment=10.0)[1]
    np.testing.assert_allclose(gal, 1e4 * density, rtol=1e-9, atol=1e-12 * gal.max())
    with pytest.raises(InputError, match="does not fit"):
        power_spectral_density(time, DT, segment=100.0)


# Between the lobes of a lone frequency the weights fall to 0, and an interpolated sum would have no digits there.
@pytest.mark.parametrize("b", [5.0, 13.375, 100.0])
def test_a_lone_frequency_gives_its_amplitude_everywhere(b):
    centres = np.geomspace(0.1, 20, 2000)
    np.testing.assert_allclose(konno_ohmachi([3.0], [2.0], centres, b), 2.0, rtol=1e-10)
    few, amplitudes = np.array([1.0, 3.0, 3.3]), np.array([1.0, 1e-4, 7.0])
    np.testing.assert_allclose(
        konno_ohmachi(few, amplitudes, centres, b), direct(few, amplitudes, centres, b), rtol=1e-9
    )
