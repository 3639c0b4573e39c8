"""The ends of the record: brought to zero, then padded with zeros.

A filter needs room on both sides for its transients, and acceleration, velocity and displacement agree only if that
room is kept (Boore, 2005; Boore, Azari Sisi & Akkar, 2012). Before padding, each end is brought to zero at its
outermost zero crossing, so that no jump is made there.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.fft import next_fast_len

from ..foundation.errors import SettingsError
from ..motion import Motion
from ..settings import TaperSettings
from .order import step

__all__ = ["pad_ends"]

STEP = step("pad", 80)

LONGEST_PAD = 200
"""A pad longer than this many records is a mistake in the settings."""


def pad_ends(motion: Motion, corner: float, order: int, settings: TaperSettings) -> Motion:
    """Bring the ends to zero and add pads of 1.5 n / f_c in all (Converse & Brady, 1992), half at each end.

    Parameters
    ----------
    motion : Motion
        Acceleration, m/s², baseline removed.
    corner : float
        The lowest corner frequency f_c, Hz; without a filter (0) no pads are needed and none are added.
    order : int
        Order n of the filter.
    settings : TaperSettings
        How far from an end a zero crossing may lie.

    Returns
    -------
    Motion
        Longer by its pads; the trailing one is rounded up to a length of fast Fourier transform.

    Raises
    ------
    SettingsError
        The corner is so low that a pad would be 200 times as long as the record.

    Examples
    --------
    >>> motion = Motion("H1", np.sin(np.arange(1000) * 0.1), 0.01)
    >>> from strongmotion import Settings
    >>> padded = pad_ends(motion, 0.1, 4, Settings().taper)
    >>> padded.lead * padded.dt  # s: at least 1.5 n / f_c
    30.0
    """
    if corner > 0 and 0.75 * order / corner > LONGEST_PAD * len(motion) * motion.dt:
        raise SettingsError(
            f"a corner of {corner:g} Hz is far below what a record of {len(motion) * motion.dt:g} s can hold",
            remedy="Raise filter.low_cut, or set it to 0 for none",
        )
    acceleration = motion.acceleration.copy()
    reach = min(round(settings.longest / motion.dt), (len(acceleration) - 1) // 2)
    head, head_how = _bring_to_zero(acceleration, reach)
    tail, tail_how = _bring_to_zero(acceleration[::-1], reach)
    pad = int(np.ceil(0.75 * order / corner / motion.dt)) if corner > 0 else 0
    trail = next_fast_len(len(acceleration) + 2 * pad, real=True) - len(acceleration) - pad if pad else 0
    padded = np.concatenate((np.zeros(pad), acceleration, np.zeros(trail)))
    return motion.after(
        STEP,
        f"Brought the ends to zero by {head_how} at the start and {tail_how} at the end; "
        + ("padded with zeros" if pad else "no pads"),
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
    if reach == 0:
        return 0, "nothing, no taper being allowed,"
    acceleration[:reach] *= 0.5 * (1.0 - np.cos(np.pi * np.arange(reach) / reach))
    return reach, "a cosine taper"
