"""Low-cut and high-cut filtering.

The Butterworth gain, 1 / sqrt(1 + (f_c/f)^2n) below and 1 / sqrt(1 + (f/f_c)^2n) above, applied to the padded
motion. Acausal: in the frequency domain with zero phase, so that response spectra and displacement are insensitive
to the corner (Boore & Akkar, 2003). Causal: by recursion, forward in time, with its phase; its gain
is the same at the corners, and falls faster towards the Nyquist frequency, as that of any bilinear transform does.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.fft import irfft, rfft, rfftfreq
from scipy.signal import butter, sosfilt

from ..foundation.errors import SettingsError
from ..motion import Motion
from .band import Band
from .order import step

__all__ = ["butterworth_gain", "filter_band"]

STEP = step("filter", 110)


def butterworth_gain(
    frequency: NDArray[np.float64], low_cut: float, high_cut: float, order: int
) -> NDArray[np.float64]:
    """Return the gain at each frequency.

    Parameters
    ----------
    frequency : ndarray
        Hz, not negative.
    low_cut, high_cut : float
        Corners, Hz, where the gain is 1/sqrt(2); 0 for none.
    order : int
        The gain falls as (f/f_c)^n beyond a corner.

    Examples
    --------
    >>> butterworth_gain(np.array([0.0, 0.1, 10.0]), 0.1, 0.0, 4).round(4).tolist()
    [0.0, 0.7071, 1.0]
    """
    gain = np.ones_like(frequency, dtype=float)
    if low_cut > 0:
        power = (frequency / low_cut) ** (2 * order)
        gain *= np.sqrt(power / (1.0 + power))
    if high_cut > 0:
        gain /= np.sqrt(1.0 + (frequency / high_cut) ** (2 * order))
    return gain


def filter_band(motion: Motion, band: Band, order: int, phase: str) -> Motion:
    """Keep the band between two corner frequencies.

    Parameters
    ----------
    motion : Motion
        Acceleration, m/s², already padded.
    band : Band
        Low-cut and high-cut, Hz, where the gain is 1/sqrt(2) after all passes; 0 for none.
    order : int
        Butterworth order n.
    phase : {"acausal", "causal"}
        Zero phase, or forward in time only.

    Returns
    -------
    Motion
        The same time base; its history gains corners, order and phase.

    Raises
    ------
    SettingsError
        The low-cut is not below the high-cut, or a corner not below the Nyquist frequency.

    Examples
    --------
    >>> time = np.arange(8000) * 0.01
    >>> slow, fast = np.sin(2 * np.pi * 0.05 * time), np.sin(2 * np.pi * 2.0 * time)
    >>> band = Band(0.25, 20.0, nyquist=50.0, period_fraction=0.6)
    >>> kept = filter_band(Motion("H1", slow + fast, 0.01), band, 4, "acausal")
    >>> bool(np.abs(kept.acceleration - fast)[2000:6000].max() < 0.02)
    True
    """
    low, high, nyquist = band.low_cut, band.high_cut, 0.5 / motion.dt
    if max(low, high) >= nyquist:
        raise SettingsError(
            f"component {motion.component}: corner {max(low, high):g} Hz is not below the Nyquist frequency "
            f"{nyquist:g} Hz",
            remedy="Lower filter.low_cut or filter.high_cut, or set it to 0 for none"
            if nyquist > 1.0
            else f"Make sure that the sampling interval of {motion.dt:g} s is right, in seconds",
        )
    if low > 0 and high > 0 and low >= high:
        raise SettingsError(
            f"component {motion.component}: the low-cut {low:g} Hz is not below the high-cut {high:g} Hz",
            remedy="Lower filter.low_cut or raise filter.high_cut",
        )
    acceleration = motion.acceleration
    if phase == "acausal":
        frequency = rfftfreq(len(acceleration), motion.dt)
        spectrum = rfft(acceleration)
        spectrum *= butterworth_gain(frequency, low, high, order)
        filtered = irfft(spectrum, len(acceleration))
    else:
        filtered = acceleration
        for corner, kind in ((low, "highpass"), (high, "lowpass")):
            if corner > 0:
                filtered = sosfilt(butter(order, corner, kind, fs=1.0 / motion.dt, output="sos"), filtered)
    kept = f"{low:.4g} Hz up" if not high else f"{low:.4g} to {high:.4g} Hz"
    return motion.after(
        STEP,
        f"Kept {kept}, Butterworth of order {order}, {phase}; gain 0.707 at the corners after all passes",
        {"low_cut_hz": low, "high_cut_hz": high, "order": order, "phase": phase},
        acceleration=filtered,
    )
