"""How far the numbers move under choices an expert could equally have made.

Each number is made again with the low-cut lower and higher by a factor, the high-cut likewise, another order of the
filter, and, where the baseline was seen to shift, with the most different baselines that explain the quiet windows as
well (`rivals`). The choices are combined
so that few members do (a half fraction of all combinations; Box, Hunter & Hunter, 1978; from memory). All go through
one Fourier transform. Noise that no choice removes adds what the spectrum of the noise gives: its root mean square
after the same filter and integration, or as the response of the same oscillator (random vibration; Crandall & Mark,
1963; from memory).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.fft import irfft, rfft, rfftfreq

from ..motion import Motion
from ..settings import UncertaintySettings
from .band import Band
from .baseline import NORMAL_95, Shift
from .corners import SignalAndNoise
from .filter import butterworth_gain
from .integrate import integrate_twice
from .low_motion import WholeMotion

__all__ = ["Choices", "band_of", "members", "noise_in_peaks", "noise_in_response"]

Floats = NDArray[np.float64]

DESIGN = (
    # lower or higher corners, order, which of the extreme baselines
    (-1, -1, 0),
    (+1, -1, 1),
    (+1, +1, 2),
    (-1, +1, 3),
)
"""The members: the two first alone already span each choice."""


@dataclass(frozen=True)
class Choices:
    """What the chain had before it filtered, and what it chose: all that is needed to choose otherwise.

    Parameters
    ----------
    padded : Motion
        Acceleration before the filter, pads included.
    band : Band
        The corners it was given.
    shift : Shift or None
        The baseline shift that was removed, if one was.
    rivals : tuple of ndarray
        The zero lines, m/s², most different of all that explain the quiet windows, one a member; empty where there is
        no sign of any.
    noise : SignalAndNoise
        Its noise.
    whole : WholeMotion or None
        What the motion may be with what the low-cut takes; None where nothing is cut.
    """

    padded: Motion
    band: Band
    shift: Shift | None
    rivals: tuple[Floats, ...]
    noise: SignalAndNoise
    whole: WholeMotion | None


def members(
    motion: Mapping[str, Motion], choices: Mapping[str, Choices], order: int, settings: UncertaintySettings
) -> list[dict[str, Motion]]:
    """Process again with other choices.

    Parameters
    ----------
    motion : mapping of str to Motion
        As the chain made it.
    choices : mapping of str to Choices
        By the same components.
    order : int
        Order of the filter.
    settings : UncertaintySettings
        How far the corners may move, and the order.

    Returns
    -------
    list of dict of str to Motion
        A member each; empty where there is nothing to choose.
    """
    if not any(choice.band.low_cut or choice.band.high_cut or choice.shift for choice in choices.values()):
        return []
    made: list[dict[str, Motion]] = [{} for _ in DESIGN]
    for name, choice in choices.items():
        padded, band = choice.padded, choice.band
        n, dt = len(padded), padded.dt
        frequency = rfftfreq(n, dt)
        spectrum = rfft(padded.acceleration)
        for member, (corners, orders, which) in zip(made, DESIGN, strict=True):
            factor = settings.corner_factor**corners
            high = band.high_cut / factor
            gain = butterworth_gain(
                frequency,
                band.low_cut * factor,
                high if high < band.nyquist else 0.0,
                max(2, order + orders * settings.order_change),
            )
            other = _other_baseline(choice, which) if choice.rivals else None
            acceleration = irfft((spectrum if other is None else spectrum + rfft(other)) * gain, n)
            velocity, displacement = integrate_twice(acceleration, dt)
            member[name] = replace(
                motion[name], acceleration=acceleration, velocity=velocity, displacement=displacement
            )
    return made


def _other_baseline(choice: Choices, which: int) -> Floats:
    """Return what to add to the padded acceleration for another baseline."""
    padded, removed = choice.padded, choice.shift
    other = -choice.rivals[which]
    if removed is not None:
        other = other + removed.zero_line(len(other), padded.dt, removed.half_length)
    return np.pad(other, (padded.lead, padded.trail))


def noise_in_peaks(choice: Choices, order: int) -> dict[str, float]:
    """Return the root mean square of the noise left in acceleration, velocity and displacement: m/s², m/s, m."""
    frequency, power = _filtered_power(choice, order)
    omega = 2 * np.pi * frequency
    fitted = _fitted(choice)
    return {
        quantity: float(np.hypot(np.sqrt(np.trapezoid(power / omega ** (2 * times), frequency)), fitted[quantity]))
        for quantity, times in (("PGA", 0), ("PGV", 1), ("PGD", 2))
    }


def noise_in_response(choice: Choices, order: int, periods: Floats, damping: Floats) -> Floats:
    """Return the root mean square of the pseudo-acceleration of oscillators under the noise, m/s²; shape (d, p)."""
    frequency, power = _filtered_power(choice, order)
    own = 1.0 / np.maximum(periods, 1e-3)[None, :, None]
    ratio = frequency / own
    response = 1.0 / ((1.0 - ratio**2) ** 2 + (2.0 * np.asarray(damping)[:, None, None] * ratio) ** 2)
    # An oscillator follows a slow error of acceleration as it is.
    return np.asarray(np.hypot(np.sqrt(np.trapezoid(power * response, frequency, axis=-1)), _fitted(choice)["PGA"]))


def _fitted(choice: Choices) -> dict[str, float]:
    """Return what a kept permanent displacement is uncertain by, m, and what grew to it over the shaking.

    A constant error of acceleration e over a time t leaves e t of velocity and e t² / 2 of displacement.
    """
    shift = choice.shift
    if shift is None or choice.band.low_cut > 0:
        return dict.fromkeys(("PGA", "PGV", "PGD"), 0.0)
    spread, time = shift.spread / NORMAL_95, max(shift.transient_span[1] - shift.transient_span[0], 1.0)
    return {"PGA": 2.0 * spread / time**2, "PGV": 2.0 * spread / time, "PGD": spread}


def _filtered_power(choice: Choices, order: int) -> tuple[Floats, Floats]:
    """Return frequency, Hz, and one-sided power, (m/s²)²/Hz, of the noise behind the filter."""
    (frequency, power), band = choice.noise.noise_spectrum(), choice.band
    return frequency, power * butterworth_gain(frequency, band.low_cut, band.high_cut, order) ** 2


def band_of(value: Floats, others: Sequence[Floats], noise: Floats | float) -> tuple[Floats, Floats]:
    """Return the 5 and 95 % limits of a number: how far the members move it, and noise, as independent errors.

    The limits lie alike on both sides: what a lower corner adds, the same motion in another phase would have taken.

    Parameters
    ----------
    value : ndarray
        The central value, as the chain made it.
    others : sequence of ndarray
        The same, by each member.
    noise : ndarray or float
        Standard deviation of what noise adds.

    Examples
    --------
    >>> low, high = band_of(np.array([1.0]), [np.array([0.9]), np.array([1.1])], 0.0)
    >>> bool(low[0] < 1.0 < high[0])
    True
    """
    with np.errstate(invalid="ignore"):  # a ratio of a dead record is infinite in each member
        moved = np.max([np.abs(other - value) for other in others], axis=0) if others else np.zeros_like(value)
    half = np.hypot(moved, NORMAL_95 * noise)
    low = value - half
    return np.where(value >= 0, np.maximum(low, 0.0), low), value + half
