"""Acceleration to velocity and displacement.

Acceleration is taken as linear between samples, as the oscillators take it, and integrated exactly, both times, from
rest: over a step h, v1 = v0 + h (a0 + a1) / 2 and d1 = d0 + h v0 + h² (2 a0 + a1) / 6.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from ..foundation.compiling import compiled
from ..motion import Motion
from .order import step

__all__ = ["integrate", "integrate_twice"]

STEP = step("integrate", 120)


def integrate_twice(
    acceleration: NDArray[np.float64], dt: float, velocity: float = 0.0, displacement: float = 0.0
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Integrate acceleration linear between samples, exactly, from rest or from a given start.

    A motion cut from its pads starts in motion: integrated from its first velocity and displacement it is the same
    motion, to round-off; integrated from rest it is another (Boore, Azari Sisi & Akkar, 2012).

    Parameters
    ----------
    acceleration : ndarray, shape (n,)
        m/s².
    dt : float
        Sampling interval, s.
    velocity, displacement : float
        At the first sample, m/s and m.

    Returns
    -------
    velocity, displacement : ndarray, shape (n,)
        m/s and m.

    Examples
    --------
    A ramp of acceleration a = t: velocity t²/2 and displacement t³/6, with no error of the step.

    >>> velocity, displacement = integrate_twice(np.arange(5.0), 1.0)
    >>> velocity.tolist()
    [0.0, 0.5, 2.0, 4.5, 8.0]
    >>> (displacement * 6).round(12).tolist()
    [0.0, 1.0, 8.0, 27.0, 64.0]
    """
    velocities, displacements = np.empty((2, len(acceleration)))
    _sums(
        np.asarray(acceleration, np.float64), float(dt), float(velocity), float(displacement), velocities, displacements
    )
    return velocities, displacements


@compiled
def _sums(
    acceleration: NDArray[np.float64],
    dt: float,
    velocity: float,
    displacement: float,
    velocities: NDArray[np.float64],
    displacements: NDArray[np.float64],
) -> None:
    """Fill `velocities` and `displacements` by running sums."""
    velocities[0], displacements[0] = velocity, displacement
    faster = farther = 0.0
    for i in range(acceleration.size - 1):
        before, after = acceleration[i], acceleration[i + 1]
        farther += velocities[i] * dt + (2.0 * before + after) * (dt * dt / 6.0)
        faster += (before + after) * (0.5 * dt)
        velocities[i + 1] = velocity + faster
        displacements[i + 1] = displacement + farther


def integrate(motion: Motion) -> Motion:
    """Add velocity and displacement to a motion, from rest at its first sample, pads included.

    Parameters
    ----------
    motion : Motion
        Filtered acceleration, m/s².

    Returns
    -------
    Motion
        The same acceleration, with velocity (m/s) and displacement (m).

    Examples
    --------
    >>> motion = Motion("H1", np.ones(101), 0.01)  # 1 m/s² for 1 s
    >>> done = integrate(motion)
    >>> float(round(done.velocity[-1], 12)), float(round(done.displacement[-1], 12))
    (1.0, 0.5)
    """
    velocity, displacement = integrate_twice(motion.acceleration, motion.dt)
    return motion.after(
        STEP,
        "Integrated twice from rest, exact for acceleration linear between samples",
        {"pgv_m_s": float(np.abs(velocity).max()), "pgd_m": float(np.abs(displacement).max())},
        velocity=velocity,
        displacement=displacement,
    )
