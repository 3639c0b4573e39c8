"""Filtered incremental velocity: the largest changes of velocity within a part of an oscillator's period."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from ..foundation.arrays import positive, signal
from ..foundation.errors import InputError

__all__ = ["filtered_incremental_velocity"]


def filtered_incremental_velocity(
    acceleration: ArrayLike, dt: float, period: float, alpha: float = 0.7, beta: float = 0.85
) -> float:
    """Return FIV3, m/s (Davalos & Miranda 2019, eqs. 2 and 3; alpha and beta from memory).

    Acceleration is low-passed by a second-order Butterworth filter at beta / T, run once forward, and integrated over
    every window of alpha T. FIV3 is the larger of the sum of the three highest peaks of these increments and of the
    absolute sum of their three deepest troughs. A peak counts where it is above 0, a trough where it is below.

    Parameters
    ----------
    acceleration : array (n,)
        m/s².
    dt : float
        Sampling interval, s.
    period : float
        T, s; beta / T must be below the Nyquist frequency.
    alpha, beta : float
        Length of the window over T, and corner of the filter times T.

    Returns
    -------
    float
        0 where the motion is shorter than a window.

    Raises
    ------
    InputError
        The acceleration is empty, of the wrong shape or not finite, or a number is out of range.

    Examples
    --------
    A constant acceleration has no peaks but its onset; three slow waves have three.

    >>> wave = np.sin(2 * np.pi * np.arange(3000) * 0.01 / 10.0)
    >>> round(filtered_incremental_velocity(wave, 0.01, period=1.0) / (3 * 0.7), 2)
    0.99
    """
    acceleration, dt, period = signal("acceleration", acceleration), positive("dt", dt), positive("period", period)
    alpha, beta = positive("alpha", alpha), positive("beta", beta)
    if beta / period >= 0.5 / dt:
        raise InputError(
            f"the corner {beta / period:g} Hz is not below the Nyquist frequency {0.5 / dt:g} Hz",
            source="period",
            remedy="Choose a longer period",
        )
    from scipy.signal import butter, sosfilt

    filtered = sosfilt(butter(2, beta / period, fs=1.0 / dt, output="sos"), acceleration)
    velocity = np.append(0.0, np.cumsum(0.5 * dt * (filtered[1:] + filtered[:-1])))
    starts = np.arange(velocity.size) * dt
    starts = starts[starts + alpha * period <= starts[-1]]
    if starts.size < 3:
        return 0.0
    increments = np.interp(starts + alpha * period, np.arange(velocity.size) * dt, velocity) - velocity[: starts.size]
    return float(max(_three_largest(increments), _three_largest(-increments)))


def _three_largest(series: np.ndarray) -> float:
    """Return the sum of the three highest local maxima above 0, ends and level tops among them."""
    rises = np.append(True, series[1:] > series[:-1])
    falls = np.append(series[:-1] >= series[1:], True)
    peaks = np.sort(series[rises & falls & (series > 0)])[::-1]
    return float(peaks[:3].sum())
