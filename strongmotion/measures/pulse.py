"""Velocity pulses: whether a component of motion is pulse-like, and the pulse's period (Baker 2007).

The pulse is what a Daubechies wavelet of order 4 finds: the wavelet of the largest coefficient of the continuous
transform of velocity is taken out, then that of the largest that is left beside it, ten times in all. Beside it are
wavelets within a quarter of its period, in time and in period; that rule is ours: without it, the pulse of any motion
of few cycles grows until nothing is left. Whether the motion is pulse-like follows from how
much of peak velocity and energy is left:

    indicator = 1 / (1 + exp(-23.3 + 14.6 (PGV left / PGV) + 20.5 (energy left / energy)))

Pulse-like are an indicator above 0.85, a peak velocity above 0.3 m/s, and a pulse that comes early: 10 % of its energy
before 20 % of that of the motion. Procedure and numbers are from memory of Baker, J. W. (2007), Quantitative
classification of near-fault ground motions using wavelet analysis, BSSA 97, 1486-1501. The wavelet itself is made from
its defining equations.
"""

from __future__ import annotations

import functools
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from ..foundation.arrays import positive, signal

__all__ = ["VelocityPulse", "velocity_pulse"]

Floats = NDArray[np.float64]

LEAST_INDICATOR, LEAST_VELOCITY = 0.85, 0.3
EXTRACTIONS = 10
NEAR = 0.25
"""How far from the first wavelet the others may lie, as a fraction of its period: in time, and in period."""
PERIODS = np.geomspace(0.25, 15.0, 60)
"""Pseudo-periods of the wavelets tried, s."""


@dataclass(frozen=True, eq=False)
class VelocityPulse:
    """What was found of a pulse.

    Parameters
    ----------
    is_pulse : bool
        Whether the motion is pulse-like by all three marks.
    indicator : float
        0 to 1.
    period : float
        Of the wavelet of the largest coefficient, s: the period at which its Fourier amplitude is largest.
    is_early : bool
        Whether the pulse comes before most of the energy.
    pulse, rest : array (n,)
        The velocity that was taken out, and what is left, m/s.
    """

    is_pulse: bool
    indicator: float
    period: float
    is_early: bool
    pulse: Floats
    rest: Floats


def velocity_pulse(velocity: ArrayLike, dt: float) -> VelocityPulse:
    """Classify a component of velocity as pulse-like or not, with its pulse (Baker 2007, from memory).

    The classification was made for the fault-normal component of near-fault motion; elsewhere, and in other directions,
    a mark is only a mark. It says nothing of whether the rupture made the pulse.

    Parameters
    ----------
    velocity : array (n,)
        m/s, corrected.
    dt : float
        Sampling interval, s.

    Returns
    -------
    VelocityPulse
        Without motion, or where it is too short for any wavelet, the indicator is 0 and the period not a number.

    Raises
    ------
    InputError
        The velocity is empty, of the wrong shape or not finite, or dt is not above 0.

    Examples
    --------
    >>> time = np.arange(4000) * 0.01
    >>> pulse = np.exp(-(((time - 8) / 1.2) ** 2)) * np.cos(2 * np.pi * (time - 8) / 2.5)
    >>> found = velocity_pulse(pulse, 0.01)
    >>> found.is_pulse, bool(2.0 < found.period < 3.2)
    (True, True)
    """
    velocity, dt = signal("velocity", velocity), positive("dt", dt)
    largest = float(np.abs(velocity).max())
    periods = PERIODS[_within(PERIODS, 4 * dt, velocity.size * dt)]
    if largest == 0.0 or not periods.size:
        return VelocityPulse(False, 0.0, np.nan, False, np.zeros_like(velocity), velocity.copy())
    scaled = velocity / largest
    wave, period, centre = _strongest(scaled, dt, periods, None)
    pulse, near = wave, periods[np.abs(np.log(periods / period)) < np.log(1 + NEAR)]
    for _ in range(EXTRACTIONS - 1):
        wave, _, _ = _strongest(scaled - pulse, dt, near, (centre - NEAR * period, centre + NEAR * period))
        pulse = pulse + wave
    rest = scaled - pulse
    left_peak = float(np.abs(rest).max())
    left_energy = float(rest @ rest) / float(scaled @ scaled)
    indicator = float(1.0 / (1.0 + np.exp(np.clip(-23.3 + 14.6 * left_peak + 20.5 * left_energy, -700, 700))))
    early = _reaches(pulse, 0.1) < _reaches(scaled, 0.2)
    is_pulse = indicator > LEAST_INDICATOR and largest >= LEAST_VELOCITY and early
    return VelocityPulse(is_pulse, indicator, float(period), early, largest * pulse, largest * rest)


def _within(values: NDArray[Any], least: float, most: float) -> NDArray[np.bool_]:
    return (values >= least) & (values <= most)


def _reaches(history: Floats, fraction: float) -> int:
    energy = np.cumsum(history * history)
    return int(np.searchsorted(energy, fraction * energy[-1]))


def _strongest(
    history: Floats, dt: float, periods: Floats, between: tuple[float, float] | None
) -> tuple[Floats, float, float]:
    """Return the wavelet of the largest coefficient, as large as it is in the history, its pseudo-period and middle, s.

    Only wavelets whose middle lies `between` two times count, where they are given.
    """
    shape, centre = _daubechies()
    best: tuple[float, Floats, int, float] = (-1.0, shape, 0, float(periods[0]))
    for period in periods:
        scale = period * centre
        count = max(8, round(7.0 * scale / dt))
        wave = np.interp(np.linspace(0.0, 7.0, count), np.linspace(0.0, 7.0, shape.size), shape)
        wave -= wave.mean()
        wave /= np.sqrt(wave @ wave)
        length = 1 << (history.size + wave.size - 2).bit_length()
        coefficients = np.fft.irfft(np.fft.rfft(history, length) * np.conj(np.fft.rfft(wave, length)), length)
        shifts = np.arange(-wave.size + 1, history.size)
        if between is not None:
            middles = (shifts + wave.size / 2) * dt
            shifts = shifts[_within(middles, *between)]
        if not shifts.size:
            continue
        at = int(np.abs(coefficients[shifts]).argmax())
        value = float(coefficients[shifts[at]])
        if abs(value) > best[0]:
            best = abs(value), value * wave, int(shifts[at]), float(period)
    _, wave, shift, period = best
    out = np.zeros_like(history)
    begin, end = max(shift, 0), min(shift + wave.size, history.size)
    out[begin:end] = wave[begin - shift : end - shift]
    return out, period, (shift + wave.size / 2) * dt


@functools.cache
def _daubechies() -> tuple[Floats, float]:
    """Return the wavelet of four vanishing moments on [0, 7], and the frequency at which its amplitude is largest.

    The filter is the minimum-phase factor of Daubechies' polynomial (1988): the roots inside the unit circle of
    sum over k < 4 of C(3 + k, k) y^k with y = (2 - z - 1/z) / 4, beside four at -1. The wavelet follows by the cascade.
    """
    roots = []
    for y in np.roots([20.0, 10.0, 4.0, 1.0]):  # C(6,3), C(5,2), C(4,1), C(3,0)
        z = np.roots([1.0, 4.0 * y - 2.0, 1.0])
        roots.append(z[np.abs(z).argmin()])
    low = np.real(np.poly([*roots, -1.0, -1.0, -1.0, -1.0]))
    low *= np.sqrt(2.0) / low.sum()
    high = low[::-1] * (-1.0) ** np.arange(low.size)
    levels = 9
    values = high
    for _ in range(levels):
        spread = np.zeros(2 * values.size - 1)
        spread[::2] = values
        values = np.sqrt(2.0) * np.convolve(spread, low)
    step = 7.0 / (values.size - 1)
    amplitude = np.abs(np.fft.rfft(values, 1 << 18))
    centre = float(np.fft.rfftfreq(1 << 18, step)[amplitude.argmax()])
    return np.sqrt(2.0) * values, centre
