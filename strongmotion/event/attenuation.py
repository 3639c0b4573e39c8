"""How strong shaking should be at a distance: the relation of Joyner & Boore (1981), with its scatter.

A plausibility check for units and gains, not a hazard model: the relation is old, from western North America, and
knows little of the ground.

Joyner, W. B. and Boore, D. M. (1981). Peak horizontal acceleration and velocity from strong-motion records
including records from the 1979 Imperial Valley, California, earthquake. Bulletin of the Seismological Society of
America 71(6), 2011-2038.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from ..foundation.units import G

__all__ = ["FARTHEST", "PGA_MAGNITUDES", "PGA_SCATTER", "PGV_MAGNITUDES", "PGV_SCATTER", "expected_pga", "expected_pgv"]

Floats = NDArray[np.float64]

PGA_SCATTER = 0.26
"""Standard deviation of log10 PGA about the relation."""

PGV_SCATTER = 0.22
"""Standard deviation of log10 PGV about the relation."""


PGA_MAGNITUDES, PGV_MAGNITUDES = (5.0, 7.7), (5.3, 7.4)
"""Moment magnitudes between which the relations hold."""

FARTHEST = 370.0
"""km; the farthest of their records."""


def expected_pga(magnitude: ArrayLike, distance: ArrayLike) -> Floats:
    """Return the median peak horizontal acceleration, m/s²; the larger of two components.

    log10(A/g) = -1.02 + 0.249 M - log10 r - 0.00255 r, with r² = d² + 7.3².

    Parameters
    ----------
    magnitude : array_like
        Moment magnitude, 5.0 to 7.7.
    distance : array_like
        d, km: the shortest to the rupture's projection on the surface; the epicentral distance of a small event.

    Examples
    --------
    >>> round(float(expected_pga(6.5, 10.0)) / 9.80665, 3)
    0.298
    """
    r = np.hypot(np.asarray(distance, dtype=float), 7.3)
    return np.asarray(G * 10 ** (-1.02 + 0.249 * np.asarray(magnitude) - np.log10(r) - 0.00255 * r))


def expected_pgv(magnitude: ArrayLike, distance: ArrayLike, soil: bool = False) -> Floats:
    """Return the median peak horizontal velocity, m/s; the larger of two components.

    log10 V = -0.67 + 0.489 M - log10 r - 0.00256 r + 0.17 S in cm/s, with r² = d² + 4.0² and S = 1 on soil.

    Parameters
    ----------
    magnitude, distance
        As for `expected_pga`; M from 5.3 to 7.4.
    soil : bool

    Examples
    --------
    >>> bool(expected_pgv(6.0, 10.0) > expected_pgv(6.0, 50.0))
    True
    """
    r = np.hypot(np.asarray(distance, dtype=float), 4.0)
    return np.asarray(0.01 * 10 ** (-0.67 + 0.489 * np.asarray(magnitude) - np.log10(r) - 0.00256 * r + 0.17 * soil))
