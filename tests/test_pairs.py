"""Ratios and coherence of two motions, against what is known of them in closed form."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.signal import fftconvolve

from strongmotion import InputError
from strongmotion.spectra import coherence, response_spectrum, spectral_ratio, vertical_to_horizontal

DT = 0.01
NOISE = np.random.default_rng(3).standard_normal((4, 4096)) * np.hanning(4096)


def test_vertical_to_horizontal_of_circular_motion():
    # Horizontals of equal motion a quarter of a cycle apart respond alike in all directions: RotD50 is each of them.
    t = np.arange(6000) * DT
    envelope = np.minimum(t / 10, 1.0)
    a1, a2 = envelope * np.sin(2 * np.pi * 2 * t), envelope * np.cos(2 * np.pi * 2 * t)
    found = vertical_to_horizontal(a1, a2, 0.6 * a1, DT, [0.3, 0.5])
    np.testing.assert_allclose(found, 0.6, rtol=0.02)


def test_vertical_to_horizontal_does_not_depend_on_orientation_or_unit():
    one, two, up, _ = NOISE
    c, s = np.cos(0.6), np.sin(0.6)
    first = vertical_to_horizontal(one, two, up, DT, [0.2, 1.0])
    turned = vertical_to_horizontal(c * one + s * two, c * two - s * one, up, DT, [0.2, 1.0])
    np.testing.assert_allclose(turned, first, rtol=5e-3)
    np.testing.assert_allclose(vertical_to_horizontal(*(100 * NOISE[:3]), DT, [0.2, 1.0]), first, rtol=1e-9)
    alone = response_spectrum(up, DT, [0.2, 1.0]).psa[0]
    assert (first * alone > 0).all()


def test_the_spectral_ratio_is_the_gain_of_the_ground():
    # A layer's delayed echo: |1 + r exp(-i w tau)|, peaks and holes wide against the smoothing.
    r, lag = 0.5, 3
    site = NOISE[0] + r * np.append(np.zeros(lag), NOISE[0][:-lag])
    centres = np.array([2.0, 8.0, 16.0, 30.0])
    gain = np.abs(1 + r * np.exp(-2j * np.pi * centres * lag * DT))
    np.testing.assert_allclose(spectral_ratio(site, NOISE[0], DT, centres, 80.0), gain, rtol=0.04)
    same = spectral_ratio(site, NOISE[0], DT, centres)
    np.testing.assert_allclose(spectral_ratio(100 * site, 100 * NOISE[0], DT, centres), same)


def test_coherence_is_one_behind_a_filter_and_low_between_strangers():
    filtered = fftconvolve(NOISE[0], np.exp(-np.arange(30) / 5.0))[:4096]
    frequency, same = coherence(NOISE[0], filtered, DT)
    assert frequency[-1] == pytest.approx(50.0)
    assert np.median(same) > 0.99
    # Unrelated motions: of the mean square of a weighted mean of unrelated phases. The powers beneath it scatter, too,
    # which raises it by a tenth at most with so few frequencies.
    stranger = coherence(*np.random.default_rng(9).standard_normal((2, 40_000)), DT)[1]
    window = np.hamming(11)
    expected = np.sqrt((window**2).sum()) / window.sum()
    assert np.sqrt(np.mean(stranger**2)) == pytest.approx(expected, rel=0.1)
    # Signal and noise of powers 1 and q at each station: 1 / (1 + q).
    mixed = [NOISE[0] + 0.7 * NOISE[k] for k in (1, 2)]
    assert np.mean(coherence(*mixed, DT, 20)[1]) == pytest.approx(1 / (1 + 0.49), abs=0.05)
    np.testing.assert_allclose(coherence(*(50 * each for each in mixed), DT)[1], coherence(*mixed, DT)[1])


def test_pairs_that_are_none_are_refused():
    for function in (
        lambda: coherence(NOISE[0], NOISE[1][:-1], DT),
        lambda: coherence(NOISE[0], NOISE[1], DT, 0),
        lambda: coherence([np.nan] * 30, NOISE[0][:30], DT),
        lambda: spectral_ratio([], NOISE[0], DT, [1.0]),
    ):
        with pytest.raises(InputError):
            function()
