"""Compiled sums of the Konno & Ohmachi (1998) smoothing; no validation here.

On the axis y = b log10(f) the weight is W(y) = (sin y / y)⁴. sin y / y is the transform of a box over [-1, 1] rad per
unit of y, so W holds nothing above 4, and neither does the sum of any amplitudes times W. Sums taken at a spacing
well below pi / 4 therefore give the sum everywhere: many centres cost no more than the nodes that span them.
"""

# Numba infers the types from the arrays it is given.
# mypy: disallow-untyped-defs=False

from __future__ import annotations

import math

import numpy as np

from ..foundation.compiling import compiled

__all__ = ["NODE_SPACING", "REACH", "from_nodes", "weighted_sums"]

NODE_SPACING = math.pi / 12.0
"""Of nodes in y: three times as close as the highest frequency of W asks for."""

REACH = 16
"""Nodes on each side that an interpolated sum takes part of."""

DIP = 1e-3
"""Of the sums about it, below which an interpolated sum has lost too many digits."""

SHARPNESS = REACH * math.pi * (1.0 - 4.0 * NODE_SPACING / math.pi)
"""Of the window exp(s (sqrt(1 - (t / REACH)²) - 1)) on the sinc: its stop band begins where the images of W do."""


def _weighted_sums(y, amplitude, centre, out):
    """Fill `out`, shape (2, k), with the sums of W amplitude and of W about each centre.

    The sine of a difference comes from sines and cosines taken once, so the inner loop has none; near 0, where that
    would cancel, the series of sin x / x stands in.
    """
    sine, cosine = np.sin(y), np.cos(y)
    for i in range(centre.size):
        sine_i, cosine_i = math.sin(centre[i]), math.cos(centre[i])
        total = weights = 0.0
        for k in range(y.size):
            x = y[k] - centre[i]
            square = x * x
            series = 1.0 - square / 6.0 * (1.0 - square / 20.0 * (1.0 - square / 42.0))
            near = square < 0.0025
            ratio = (sine[k] * cosine_i - cosine[k] * sine_i) / (1.0 if near else x)
            ratio = series if near else ratio
            weight = (ratio * ratio) * (ratio * ratio)
            total += weight * amplitude[k]
            weights += weight
        out[0, i] = total
        out[1, i] = weights


weighted_sums = compiled(_weighted_sums, fastmath={"reassoc", "contract"})


@compiled
def from_nodes(start, nodes, y, out):
    """Fill `out` with the ratio of the two sums at every y, from their values at equally spaced nodes.

    The interpolation errs by under 1e-13 of the sums about it. Where they dip far below that, as between the lobes of a
    lone frequency, `out` is not a number, and the sum must be taken itself.

    Parameters
    ----------
    start : float
        y of the first node.
    nodes : array (2, k)
        From `weighted_sums`; at least REACH nodes lie beyond every y on both sides.
    y : array (m,)
    out : array (m,)
    """
    for i in range(y.size):
        place = (y[i] - start) / NODE_SPACING
        before = math.floor(place)
        offset = place - before
        sine = math.sin(math.pi * offset) / math.pi
        total = weights = total_about = weights_about = 0.0
        for j in range(1 - REACH, REACH + 1):
            t = offset - j
            share = 1.0
            if t != 0.0:
                share = math.exp(SHARPNESS * (math.sqrt(max(0.0, 1.0 - (t / REACH) ** 2)) - 1.0)) * sine / t
                share = -share if j % 2 else share
            total += share * nodes[0, before + j]
            weights += share * nodes[1, before + j]
            total_about = max(total_about, abs(nodes[0, before + j]))
            weights_about = max(weights_about, nodes[1, before + j])
        dips = weights < DIP * weights_about or abs(total) < DIP * total_about
        out[i] = math.nan if dips else total / weights
