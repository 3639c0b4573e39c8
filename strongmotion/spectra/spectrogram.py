"""How the amplitude of a motion is spread over frequency and time."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from ..foundation.arrays import Floats, above_zero, positive, signal
from ..foundation.errors import InputError

__all__ = ["spectrogram"]


def spectrogram(acceleration: ArrayLike, dt: float, frequencies: ArrayLike, bandwidth: float = 1 / 6) -> Floats:
    """Return the envelope of a motion in bands whose width is a constant fraction of their frequency.

    Each band is a Gaussian about f with standard deviation `bandwidth` f, as that of a Morlet wavelet (Morlet et al.
    1982, from memory), so it resolves f to that fraction and time to 1 / (2 pi bandwidth f).

    Parameters
    ----------
    acceleration : array (n,)
        In any unit; samples before and after it count as 0.
    dt : float
        Sampling interval, s.
    frequencies : array (m,)
        Hz, above 0 and up to the Nyquist frequency.
    bandwidth : float
        Standard deviation of each band as a fraction of its frequency.

    Returns
    -------
    array (m, n)
        Amplitude, in the unit of `acceleration`: a sine of amplitude A and frequency f has A at f.

    Raises
    ------
    InputError
        A frequency lies beyond the Nyquist frequency, or an argument is out of range.

    Examples
    --------
    >>> time = 0.01 * np.arange(2000)
    >>> around = spectrogram(3.0 * np.sin(2 * np.pi * 5.0 * time), 0.01, [4.0, 5.0])
    >>> around[:, 1000].round(3)
    array([0.974, 3.   ])
    """
    given, dt, bandwidth = signal("acceleration", acceleration), positive("dt", dt), positive("bandwidth", bandwidth)
    centres = above_zero("frequencies", frequencies)
    if (centres > 0.5 / dt).any():
        raise InputError(
            f"{centres.max():g} Hz lies beyond the Nyquist frequency, {0.5 / dt:g} Hz", source="frequencies"
        )
    # Room for what the longest band carries over the ends: six of its standard deviations in time.
    room = int(np.ceil(6.0 / (2 * np.pi * bandwidth * centres.min() * dt))) if centres.size else 0
    size = 1 << int(given.size + room - 1).bit_length()
    spectrum, at = np.fft.fft(given, size), np.fft.fftfreq(size, dt)
    analytic = np.where(at > 0, 2.0, 0.0) * spectrum
    found = np.empty((centres.size, given.size))
    for row, centre in zip(found, centres, strict=True):
        band = np.exp(-0.5 * ((at - centre) / (bandwidth * centre)) ** 2)
        row[:] = np.abs(np.fft.ifft(analytic * band)[: given.size])
    return found
