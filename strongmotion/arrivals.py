"""The onset of shaking on an accelerogram.

The energy of all components in a band where noise is weak is averaged over a short window and over the long window
before it; shaking has begun where their ratio exceeds a threshold (the short-term over long-term average of Allen,
1978), and stays up. The instant is then refined as the best split of the trace into two stationary pieces, the
minimum of the Akaike criterion computed straight from the trace (Maeda, 1985).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from scipy.signal import butter, sosfilt, sosfilt_zi

__all__ = ["pick_onset", "shaking_energy"]

BAND = (1.0, 20.0)
"""Corners, Hz, of the band in which shaking is looked for: above microseisms and drift, below most machine noise."""

LASTING = 8
"""Short-term windows over which shaking must last, at half the threshold: common practice, without a source."""


def shaking_energy(components: Sequence[NDArray[np.float64]], dt: float) -> NDArray[np.float64]:
    """Return the squared band-passed acceleration, summed over components.

    Parameters
    ----------
    components : sequence of ndarray, shape (n,)
        Acceleration, m/s². Offsets do no harm.
    dt : float
        Sampling interval, s.

    Returns
    -------
    ndarray, shape (n,)
        (m/s²)².
    """
    nyquist = 0.5 / dt
    # A causal filter: a zero-phase one would carry shaking to before its onset.
    low, high = min(BAND[0], 0.2 * nyquist), min(BAND[1], 0.8 * nyquist)
    sections = butter(2, (low, high), "bandpass", fs=1.0 / dt, output="sos")
    settled = sosfilt_zi(sections)
    energy = np.zeros(len(components[0]))
    for acceleration in components:
        passed, _ = sosfilt(sections, acceleration, zi=settled * acceleration[0])
        energy += passed**2
    return energy


def pick_onset(
    energy: NDArray[np.float64], dt: float, short_window: float = 0.5, long_window: float = 5.0, ratio: float = 4.0
) -> int | None:
    """Find the sample at which shaking begins.

    Parameters
    ----------
    energy : ndarray, shape (n,)
        As from `shaking_energy`.
    dt : float
        Sampling interval, s.
    short_window, long_window : float
        Averaging windows, s; the long one ends where the short one begins.
    ratio : float
        Short-term over long-term energy at which shaking is declared.

    Returns
    -------
    int or None
        The first sample of shaking; None where the ratio is never exceeded.

    Examples
    --------
    >>> noise = np.random.default_rng(1).normal(size=4000) ** 2
    >>> noise[2500:] *= 400
    >>> abs(pick_onset(noise, 0.01) - 2500) <= 5
    True
    """
    n = len(energy)
    short, long = max(1, round(short_window / dt)), max(2, round(long_window / dt))
    total = np.concatenate(([0.0], np.cumsum(energy)))
    # The short window is [end - short, end). Until half the long one is filled its average is too rough to trust.
    end = np.arange(short + max(short, long // 2), n + 1)
    if end.size == 0:
        return None
    middle = end - short
    begin = np.maximum(middle - long, 0)
    recent = (total[end] - total[middle]) / short
    # Noise has quiet spells too: what came before them counts as well.
    before = np.maximum((total[middle] - total[begin]) / (middle - begin), total[middle] / middle)
    # Shaking lasts: a burst of noise falls back before the sustained window, several short ones long, is over.
    until = np.minimum(middle + LASTING * short, n)
    lasting = (total[until] - total[middle]) / (until - middle)
    quiet = np.maximum(before, np.finfo(float).tiny)
    triggered = np.flatnonzero((recent > ratio * quiet) & (lasting > ratio * quiet / 2.0))
    if triggered.size == 0:
        return None
    at = int(end[triggered[0]])
    first, last = max(0, at - long - short), min(n, at + short)
    return first + _best_split(energy[first:last])


def _best_split(energy: NDArray[np.float64]) -> int:
    """Return where a zero-mean trace of this energy is best split in two stationary pieces (Maeda, 1985)."""
    n = len(energy)
    if n < 4:
        return 0
    total = np.cumsum(energy)
    k = np.arange(1, n - 1)
    tiny = np.finfo(float).tiny
    left = np.maximum(total[k - 1] / k, tiny)
    right = np.maximum((total[-1] - total[k - 1]) / (n - k), tiny)
    return int(k[np.argmin(k * np.log(left) + (n - k - 1) * np.log(right))])
