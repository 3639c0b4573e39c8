"""The ends of the record: brought to zero, then padded with zeros.

A filter needs room on both sides for its transients, and acceleration, velocity and displacement agree only if that
room is kept (Boore, 2005; Boore, Azari Sisi & Akkar, 2012). Before padding, each end is brought to zero at its
outermost zero crossing, so that no jump is made there.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.fft import next_fast_len

from ..motion import Motion
from ..settings import TaperSettings

__all__ = ["pad_ends"]


def pad_ends(motion: Motion, low_cut: float, order: int, settings: TaperSettings) -> Motion:
    """Bring the ends to zero and add pads of 1.5 n / f_c in all (Converse & Brady, 1992), half at each end.

    Parameters
    ----------
    motion : Motion
        Acceleration, m/s², baseline removed.
    low_cut : float
        Corner frequency f_c, Hz; without a low-cut (0) no pads are needed and none are added.
    order : int
        Order n of the filter.
    settings : TaperSettings
        How far from an end a zero crossing may lie.

    Returns
    -------
    Motion
        Longer by its pads; the trailing one is rounded up to a length of fast Fourier transform.
    """
    acceleration = motion.acceleration.copy()
    reach = min(round(settings.longest / motion.dt), (len(acceleration) - 1) // 2)
    head, head_how = _bring_to_zero(acceleration, reach)
    tail, tail_how = _bring_to_zero(acceleration[::-1], reach)
    pad = int(np.ceil(0.75 * order / low_cut / motion.dt)) if low_cut > 0 else 0
    trail = next_fast_len(len(acceleration) + 2 * pad, real=True) - len(acceleration) - pad if pad else 0
    padded = np.concatenate((np.zeros(pad), acceleration, np.zeros(trail)))
    return motion.after(
        "pad",
        f"Brought the ends to zero by {head_how} at the start and {tail_how} at the end; padded with zeros",
        {
            "taper_start_s": head * motion.dt,
            "taper_end_s": tail * motion.dt,
            "pad_before_s": pad * motion.dt,
            "pad_after_s": trail * motion.dt,
        },
        acceleration=padded,
        lead=pad,
        trail=trail,
    )


def _bring_to_zero(acceleration: NDArray[np.float64], reach: int) -> tuple[int, str]:
    """Bring the start of `acceleration` to zero, in place; return over how many samples, and how."""
    crossings = np.flatnonzero(np.signbit(acceleration[: reach + 1]) != np.signbit(acceleration[0]))
    if acceleration[0] == 0.0:
        return 0, "nothing to do"
    if crossings.size:
        samples = int(crossings[0])
        acceleration[:samples] = 0.0
        return samples, "its first zero crossing"
    acceleration[:reach] *= 0.5 * (1.0 - np.cos(np.pi * np.arange(reach) / max(reach, 1)))
    return reach, "a cosine taper"
