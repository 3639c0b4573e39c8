"""Fewer points for the same picture: the least and the largest of each pixel's samples."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

__all__ = ["peaks_kept"]

Floats = NDArray[np.float64]


def peaks_kept(time: Floats, values: Floats, pixels: int = 1500) -> tuple[Floats, Floats]:
    """Thin a trace to what a picture of so many pixels can show, keeping every peak.

    Samples are put into `pixels` groups of equal length, as drawing puts them into columns of pixels; of each group its
    least and its largest sample are kept, in their order.

    Parameters
    ----------
    time, values : array (n,)
    pixels : int
        Columns of the picture.

    Returns
    -------
    time, values : array (m,)
        Samples of the trace; all of them where n is no more than four times `pixels`, else at most two a group and both
        ends.

    Examples
    --------
    >>> time = np.arange(100000.0)
    >>> spike = np.where(time == 54321, 7.0, 0.0)
    >>> _, kept = peaks_kept(time, spike, 500)
    >>> kept.size <= 1002, kept.max()
    (True, np.float64(7.0))
    """
    n = len(values)
    if n <= 4 * pixels:
        return time, values
    each = -(-n // pixels)
    whole = n // each
    groups = values[: whole * each].reshape(whole, each)
    first = np.arange(whole) * each
    kept = [first + groups.argmin(axis=1), first + groups.argmax(axis=1), [0, n - 1]]
    if rest := n - whole * each:
        kept.append([n - rest + values[-rest:].argmin(), n - rest + values[-rest:].argmax()])
    at = np.unique(np.concatenate(kept))
    return time[at], values[at]
