"""Ratios and coherence of two motions: vertical over horizontal, and one station over another."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from ..foundation.arrays import Floats, positive, signal
from ..foundation.errors import InputError
from .fourier import fourier_spectrum, konno_ohmachi
from .response import response_spectrum
from .rotation import rotated_spectrum

__all__ = ["coherence", "spectral_ratio", "vertical_to_horizontal"]


def vertical_to_horizontal(
    a1: ArrayLike, a2: ArrayLike, vertical: ArrayLike, dt: float, periods: ArrayLike, damping: float = 0.05
) -> Floats:
    """Return the response spectral ratio of the vertical to RotD50 of the horizontals.

    The horizontal does not depend on the sensor's orientation. The ratio of response spectra as in Gülerce & Abrahamson
    (2011, from memory), there with the geometric mean.

    Parameters
    ----------
    a1, a2, vertical : array (n,)
        Acceleration, any one unit; `a1` and `a2` at right angles.
    dt : float
        Sampling interval, s.
    periods : array (p,)
        s.
    damping : float
        Ratio to critical.

    Returns
    -------
    array (p,)
        Infinite or not a number where the horizontals do not move.

    Raises
    ------
    InputError
        An argument is empty, of the wrong shape, out of range or not finite.

    Examples
    --------
    >>> a = np.random.default_rng(1).standard_normal(1000)
    >>> vertical_to_horizontal(a, 0 * a, a, 0.01, [0.5]).round(2)  # RotD50 of motion on a line: cos 45 degrees of it
    array([1.41])
    """
    up = response_spectrum(vertical, dt, periods, damping, quantities=("psa",)).psa
    assert up is not None
    horizontal = rotated_spectrum(a1, a2, dt, periods, damping, percentiles=(50,)).psa[0, 0]
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.asarray(up[0] / horizontal)


def spectral_ratio(
    site: ArrayLike, reference: ArrayLike, dt: float, centres: ArrayLike, bandwidth: float = 40.0
) -> Floats:
    """Return the ratio of smoothed Fourier amplitudes of a site and a reference site (Borcherdt 1970).

    Both spectra are smoothed before they are divided (Konno & Ohmachi 1998). What the ratio tells of the site rests on
    the reference: rock without amplification of its own, much closer to the site than to the source.

    Parameters
    ----------
    site, reference : array (n,), array (m,)
        Acceleration of one earthquake, any one unit.
    dt : float
        Sampling interval of both, s.
    centres : array (k,)
        Frequencies, Hz, above 0.
    bandwidth : float
        As in `konno_ohmachi`.

    Returns
    -------
    array (k,)
        Infinite or not a number where the reference does not move.

    Raises
    ------
    InputError
        As `fourier_spectrum` and `konno_ohmachi`.

    Examples
    --------
    >>> a = np.random.default_rng(1).standard_normal(1000)
    >>> spectral_ratio(2.5 * a, a, 0.01, [1.0, 5.0]).round(6)
    array([2.5, 2.5])
    """
    smoothed = []
    for each in (site, reference):
        spectrum = fourier_spectrum(each, dt)
        smoothed.append(konno_ohmachi(spectrum.frequency, spectrum.amplitude, centres, bandwidth))
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.asarray(smoothed[0] / smoothed[1])


def coherence(one: ArrayLike, two: ArrayLike, dt: float, half_width: int = 5) -> tuple[Floats, Floats]:
    """Return the lagged coherence of two motions: 1 where one is the other behind any filter, delayed or not.

    |S12| / sqrt(S11 S22) with cross and power spectra smoothed over frequencies by a Hamming window of 2 M + 1 points;
    M = 5 is common for the coherence of arrays (Abrahamson et al. 1991, from memory). Of unrelated motions it is not 0:
    its square is then about the sum of the squared weights of the window, 0.35 for M = 5 in amplitude.

    Parameters
    ----------
    one, two : array (n,)
        Acceleration, of one length and time; tapered where it does not begin and end at rest.
    dt : float
        Sampling interval, s.
    half_width : int
        M, 1 or more; without smoothing the coherence is always 1.

    Returns
    -------
    frequency, coherence : array (m,)
        Hz; not a number where one of them does not move.

    Raises
    ------
    InputError
        Lengths differ, or an argument is empty, of the wrong shape, out of range or not finite.

    Examples
    --------
    >>> a = np.random.default_rng(1).standard_normal(1000)
    >>> bool(abs(coherence(a, -3 * a, 0.01)[1] - 1).max() < 1e-9)
    True
    """
    one, two, dt = signal("one", one), signal("two", two), positive("dt", dt)
    if one.size != two.size:
        raise InputError(f"motions of {one.size} and {two.size} samples are not a pair", source="two")
    if half_width < 1 or 2 * half_width + 1 > one.size // 2 + 1:
        raise InputError(f"expected a half width from 1 to a quarter of the samples, found {half_width}")
    window = np.hamming(2 * half_width + 1)
    window /= window.sum()
    first, second = np.fft.rfft(one), np.fft.rfft(two)

    def smooth(values: Floats) -> Floats:
        return np.convolve(np.pad(values, half_width, mode="reflect"), window, "valid")

    products = first * np.conj(second)
    cross = np.hypot(smooth(products.real), smooth(products.imag))
    powers = np.sqrt(smooth(np.abs(first) ** 2) * smooth(np.abs(second) ** 2))
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.asarray(np.fft.rfftfreq(one.size, dt)), np.asarray(np.where(powers > 0, cross / powers, np.nan))
