"""What a record is between its samples: straight lines, or a signal without anything above its Nyquist frequency.

A straight line between samples damps what it joins by sinc²(f dt): a signal at an oscillator's own frequency by 0.1 %
at T = 58 dt and by 6 % at T = 7 dt. So for shorter periods the record is first resampled band-limited, and its
spectrum divided by the sinc² of the finer step. For longer ones a twelfth of the second difference makes up for it, and
what little is left is bounded by the record's own differences: where the bound is over 0.1 %, they are resampled too.
"""

from __future__ import annotations

from typing import Literal, get_args

import numpy as np
from numpy.typing import NDArray

from ..foundation.arrays import Floats
from ..foundation.errors import InputError

__all__ = [
    "FACTORS",
    "LARGEST_ERROR",
    "Interpolation",
    "known_interpolation",
    "left_at_nyquist",
    "left_by_resampling",
    "left_by_straight_lines",
    "resample",
    "resampling_factors",
]

Interpolation = Literal["band-limited", "linear"]

LONG_PERIOD = 64.0
"""Samples in a period from which a record is taken as it is, unless its own differences forbid."""

LARGEST_ERROR = 1e-3
"""What straight lines between samples may change of a response, relative, before the record is resampled."""

LEFT = (1 - 4 / np.pi**2 * (1 + 4 / 12)) / 16
"""1 - sinc²(f dt) (1 + s / 12) <= LEFT s², s = 4 sin²(pi f dt): what making up for straight lines leaves, times the
fourth difference, for all f up to the Nyquist frequency, where it is largest; 1/90 at low frequencies."""

BLACKMAN_HARRIS = (0.35875, -0.48829, 0.14128, -0.01168)
"""A window whose sidelobes are below 92 dB (Harris, 1978): motion far from the Nyquist frequency does not show."""

FINE_PERIOD = 16.0
"""Samples in a period that resampling aims at."""

FACTORS = (4, 8, 16, 32, 64, 128, 256)
"""How many times finer a record may be resampled. Shorter than dt/16 an oscillator just follows the ground."""


def resampling_factors(periods: Floats, dt: float, interpolation: Interpolation = "band-limited") -> NDArray[np.int64]:
    """Choose how many times finer than `dt` each period needs the record: 1, or at least 16 samples a period.

    Straight lines are exact at any step. They are cut only so that a step holds a single extremum of the response.
    """
    needed = np.divide(FINE_PERIOD * dt, periods, out=np.zeros_like(periods), where=periods > 0) * (1 - 1e-12)
    if interpolation == "linear":
        factors = (1, 2, *FACTORS)
        return np.array(factors)[np.minimum(np.searchsorted(factors, needed), len(factors) - 1)]
    finer = np.array(FACTORS)[np.minimum(np.searchsorted(FACTORS, needed), len(FACTORS) - 1)]
    return np.where((periods == 0) | (periods >= LONG_PERIOD * dt * (1 - 1e-12)), 1, finer)


def left_by_straight_lines(
    components: list[Floats], dt: float, periods: Floats, damping: Floats, largest: Floats
) -> Floats:
    """Bound what straight lines between samples, made up for, still change: relative, of the same shape as `largest`.

    Of the acceleration LEFT times its fourth difference is lost. What that moves the ground by is the second difference
    times dt², and its velocity the third times dt: `largest`, SD, SV and SA (1 or 3, d, p), are wrong by no more.
    """
    lost = [
        LEFT * max(float(np.abs(np.diff(a, order)).max(initial=0.0)) for a in components) * dt ** (4 - order)
        for order in (2, 3)
    ]
    return _relative(np.reshape(lost, (2, 1, 1)), periods, damping, largest)


def _relative(lost: Floats, periods: Floats, damping: Floats, largest: Floats) -> Floats:
    """Return errors of displacement and velocity (2, d or 1, p or 1), m and m/s, relative to SD, SV and SA.

    That of absolute acceleration follows, since it is ω² times displacement plus 2 ζ ω times velocity.
    """
    omega = np.divide(2 * np.pi, periods, out=np.zeros_like(periods), where=periods > 0)
    of_sa = omega**2 * lost[0] + 2 * damping[:, None] * omega * lost[1]
    relative = np.zeros_like(largest)
    for error, of, share in zip((lost[0], lost[1], of_sa), largest, relative, strict=False):
        np.divide(error, of, out=share, where=of > 0)
    return relative


def left_at_nyquist(acceleration: Floats, dt: float, periods: Floats, damping: Floats, largest: Floats) -> Floats:
    """Bound what motion that samples cannot resolve changes of a response: relative, of the same shape as `largest`.

    Of a sinusoid at the Nyquist frequency, samples show a part that depends on its phase; within a few cycles of the
    shaking's length of that frequency they cannot tell it from its mirror image above. Such motion is seen as
    alternating samples: with every other sample reversed, as their weighted mean over the length of the shaking. An
    oscillator is taken to feel all of it, as steady motion of that amplitude begun at once, or for as long as the
    record lasts. A twelfth of that did for the worst windowed sinusoids that optimisation found. Motion that shows in
    no sample is not counted.

    Parameters
    ----------
    acceleration : array (n,)
    dt : float
    periods, damping : array (p,), (d,)
    largest : array (1 or 3, d, p)
        SD, and SV and SA where they were computed.
    """
    peak = float(np.abs(acceleration).max())
    if peak == 0.0:
        return np.zeros_like(largest)
    squares = (acceleration / peak) ** 2
    fourth = float((squares * squares).sum())
    # Twice the length of a steady motion of the same moments: that of the shaking, whatever quiet is around it.
    length = int(min(acceleration.size, max(16.0, 2.0 * float(squares.sum()) ** 2 / fourth)))
    turn = 2 * np.pi * np.arange(length) / length
    window = sum(c * np.cos(k * turn) for k, c in enumerate(BLACKMAN_HARRIS)) * (1.0 - 2.0 * (np.arange(length) % 2))
    pieces = np.lib.stride_tricks.sliding_window_view(acceleration, length)[:: max(1, length // 4)]
    amplitude = peak * float(np.abs((pieces / peak) @ window).max()) / (length * BLACKMAN_HARRIS[0])
    ratio = periods / (2 * dt)
    omega = np.divide(2 * np.pi, periods, out=np.zeros_like(periods), where=periods > 0)
    beside = np.abs(1.0 - ratio**2)
    away = np.divide(2.0, beside, out=np.full_like(beside, np.inf), where=beside > 0)
    response = np.minimum(np.minimum(away, omega * acceleration.size * dt), _resonance(damping)[:, None])
    moved = amplitude * np.divide(response, omega**2, out=np.zeros_like(response), where=omega > 0)
    return _relative(np.stack((moved, np.pi / dt * moved)), periods, damping, largest)


def _resonance(damping: Floats) -> Floats:
    """Return the largest response to steady motion of any frequency, relative to the static one; inf undamped."""
    light = np.minimum(damping, np.sqrt(0.5))
    return np.divide(0.5, light * np.sqrt(1 - light**2), out=np.full_like(light, np.inf), where=light > 0)


def left_by_resampling(periods: Floats, damping: Floats, dt: float, factors: NDArray[np.int64], samples: int) -> Floats:
    """Bound what straight lines between the samples of a resampled record change, relative, shape (d, p).

    A record's motion of frequency f, at most its Nyquist frequency, has images about the finer sampling rate F and its
    multiples, (f / (F - f))² as large and less; in its velocity, f / (F - f), and all of them 2 zeta(3) times that.
    What they move is held against what the motion itself does. An oscillator that resonates with an image, as one of
    a period below dt/16 may, cannot gain more in the `samples` of the record than motion in step with it brings.
    """
    highest = 1 / (2 * factors)
    ratio = highest / (1 - highest)
    stiffness = ((1 - highest) * factors / dt * periods) ** 2  # (image's frequency over the oscillator's)²
    longest = np.divide(np.pi * samples * dt, periods, out=np.ones_like(periods), where=periods > 0)
    resonance = np.minimum(_resonance(damping)[:, None], np.maximum(1.0, longest))
    followed = np.divide(1, stiffness - 1, out=np.full(stiffness.shape, np.inf), where=stiffness > 1)
    nyquist = periods / (2 * dt)  # over the oscillator's frequency
    withstood = np.hypot(np.maximum(1, nyquist**2 - 1), 2 * damping[:, None] * nyquist)
    return 2.404 * ratio * np.minimum(followed, resonance) * withstood


def resample(acceleration: Floats, factor: int, interpolation: str) -> Floats:
    """Return the record at `factor` times as many samples a second, from its first sample to its last.

    Straight lines are just cut into shorter ones. A band-limited record is continued by its mirror image, so that
    neither end meets the other, and its spectrum shifted to the times between its samples, and divided by
    sinc²(f dt / factor), by which the straight lines between the new samples will damp it. Where no sample is added, a
    twelfth of the second difference will do: 1 / sinc²(x) = 1 + 4 sin²(pi x) / 12 + ...
    """
    known_interpolation(interpolation)
    n = acceleration.size
    if n == 1 or (factor == 1 and interpolation == "linear"):
        return acceleration
    if factor == 1:
        mirrored = np.concatenate([acceleration[1:2], acceleration, acceleration[-2:-1]])
        return acceleration - np.diff(mirrored, 2) / 12
    if interpolation == "linear":
        fine = np.empty((n - 1) * factor + 1)
        lines = fine[:-1].reshape(n - 1, factor)
        np.multiply.outer(np.diff(acceleration), np.arange(factor) / factor, out=lines)
        lines += acceleration[:-1, None]
        fine[-1] = acceleration[-1]
        return fine
    import scipy.fft

    # The last sample is held between the record and its mirror image until their length suits the transform.
    half = scipy.fft.next_fast_len(n - 1, real=True)
    held = np.full(2 * (half - n + 1), acceleration[-1])
    spectrum = scipy.fft.rfft(np.concatenate([acceleration, held, acceleration[-2:0:-1]])).real
    cycles = np.arange(half + 1) / (2 * half * factor)
    spectrum /= np.sinc(cycles) ** 2
    fine = np.empty((n - 1) * factor + 1)
    fine[::factor] = scipy.fft.irfft(spectrum, 2 * half)[:n]
    shift = np.exp(2j * np.pi * cycles)
    shifted = spectrum.astype(np.complex128)
    for j in range(1, factor // 2 + 1):
        shifted *= shift
        between = scipy.fft.irfft(shifted, 2 * half)
        # The mirror image has the times as long before each sample as these are after it.
        fine[factor - j :: factor] = between[:-n:-1]
        fine[j::factor] = between[: n - 1]
    return fine


def known_interpolation(interpolation: str) -> None:
    """Refuse an interpolation that is none of `Interpolation`."""
    if interpolation not in get_args(Interpolation):
        raise InputError(f"unknown interpolation {interpolation!r}", remedy='Choose "band-limited" or "linear"')
