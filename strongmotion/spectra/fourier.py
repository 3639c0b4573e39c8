"""Fourier amplitude spectra, and the smoothing of Konno & Ohmachi (1998)."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from ..errors import InputError
from . import _kernels
from .response import Floats, positive, signal

__all__ = ["FourierSpectrum", "fourier_spectrum", "konno_ohmachi"]


@dataclass(frozen=True, eq=False)
class FourierSpectrum:
    """Fourier spectrum of one component.

    Parameters
    ----------
    frequency : array (m,)
        Hz, from 0 to the Nyquist frequency.
    amplitude : array (m,)
        m/s for acceleration in m/s²; smoothed if that was asked for.
    phase : array (m,)
        rad, never smoothed.
    smoothing : float or None
        Bandwidth b of the smoothing.
    """

    frequency: Floats
    amplitude: Floats
    phase: Floats
    smoothing: float | None = None


def fourier_spectrum(acceleration: ArrayLike, dt: float, smoothing: float | None = None) -> FourierSpectrum:
    """Compute the Fourier spectrum, an approximation by samples of the integral of a(t) exp(-2 pi i f t) dt.

    Parameters
    ----------
    acceleration : array (n,)
        m/s². Taken as it is: taper and pad it first where that is wanted.
    dt : float
        Sampling interval, s.
    smoothing : float, optional
        Bandwidth b of `konno_ohmachi`, dimensionless; 40 is common practice, less is smoother.

    Returns
    -------
    FourierSpectrum
        m = n // 2 + 1 frequencies; the amplitude is dt |rfft(a)|.

    Raises
    ------
    InputError
        The acceleration is empty, of the wrong shape or not finite; dt or smoothing is not above 0.

    Examples
    --------
    >>> spectrum = fourier_spectrum(np.sin(2 * np.pi * np.arange(0, 10, 0.01)), 0.01)
    >>> float(spectrum.frequency[spectrum.amplitude.argmax()]), round(float(spectrum.amplitude.max()), 6)
    (1.0, 5.0)
    """
    acceleration = signal("acceleration", acceleration)
    dt = positive("dt", dt)
    transform = dt * np.fft.rfft(acceleration)
    frequency = np.asarray(np.fft.rfftfreq(acceleration.size, dt), dtype=np.float64)
    amplitude = np.asarray(np.abs(transform), dtype=np.float64)
    if smoothing is not None:
        smoothing = positive("smoothing", smoothing)
        amplitude[1:] = konno_ohmachi(frequency, amplitude, frequency[1:], smoothing)
    return FourierSpectrum(frequency, amplitude, np.angle(transform), smoothing)


def konno_ohmachi(frequency: ArrayLike, amplitude: ArrayLike, centres: ArrayLike, bandwidth: float = 40.0) -> Floats:
    """Smooth an amplitude spectrum with a window of constant width on a logarithmic axis.

    The weight of frequency f about the centre fc is (sin x / x)⁴ with x = b log10(f / fc), over all frequencies above
    0; weights are divided by their sum.

    Parameters
    ----------
    frequency, amplitude : array (m,)
        Hz, and any unit. A frequency of 0 has no place on the axis and is passed over.
    centres : array (k,)
        Where to take the smoothed spectrum, Hz, above 0.
    bandwidth : float
        b, dimensionless.

    Returns
    -------
    array (k,)
        The unit of `amplitude`.

    Raises
    ------
    InputError
        Shapes differ, a frequency is negative, a centre or the bandwidth is not above 0, or no frequency is.

    References
    ----------
    Konno, K. and Ohmachi, T. (1998). Ground-motion characteristics estimated from spectral ratio between horizontal
    and vertical components of microtremor. Bulletin of the Seismological Society of America 88(1), 228-241.

    Examples
    --------
    >>> konno_ohmachi([0.0, 1.0, 2.0, 4.0], [9.0, 3.0, 3.0, 3.0], [1.5]).round(6)
    array([3.])
    """
    frequency, amplitude = signal("frequency", frequency), signal("amplitude", amplitude)
    centres = signal("centres", centres) if np.size(centres) else np.empty(0)
    if frequency.size != amplitude.size:
        raise InputError(f"{frequency.size} frequencies but {amplitude.size} amplitudes")
    if (frequency < 0).any() or (centres <= 0).any():
        raise InputError("expected frequencies of 0 or more and centres above 0")
    kept = frequency > 0
    if not kept.any() and centres.size:
        raise InputError("expected at least one frequency above 0", source="frequency")
    out = np.empty(centres.size)
    _kernels.konno_ohmachi_sums(
        np.log10(frequency[kept]), amplitude[kept], np.log10(centres), positive("bandwidth", bandwidth), out
    )
    return out
