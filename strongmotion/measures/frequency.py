"""What a spectrum says in one number: periods, bandwidth, plateau, intensity, decay."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from ..foundation.arrays import above_zero, positive, signal
from ..foundation.errors import InputError
from ..spectra import fourier_spectrum, response_spectrum

__all__ = [
    "Kappa",
    "acceleration_spectrum_intensity",
    "average_spectral_acceleration",
    "central_frequency",
    "effective_peak_acceleration",
    "housner_intensity",
    "kappa",
    "mean_period",
    "predominant_period",
    "spectral_bandwidth",
    "velocity_spectrum_intensity",
]

PLATEAU = (0.1, 0.5)
"""Periods, s, of acceleration spectrum intensity and effective peak acceleration."""

VELOCITY_BAND = (0.1, 2.5)
"""Periods, s, of Housner and velocity spectrum intensity."""

MEAN_PERIOD_BAND = (0.25, 20.0)
"""Frequencies, Hz, that the mean period is taken over."""

INTENSITY_PERIODS = np.concatenate([np.linspace(0.1, 0.5, 33), np.linspace(0.55, 2.5, 40)])
"""Oscillator periods, s, at which spectra are taken to integrate them over period."""


def housner_intensity(acceleration: ArrayLike, dt: float, damping: float = 0.2) -> float:
    """Return the spectrum intensity, the integral of PSV over periods from 0.1 to 2.5 s, m (Housner, 1952).

    At a damping of 0.05 it is the velocity spectrum intensity, and many give it so.

    Parameters
    ----------
    acceleration : array (n,)
        m/s².
    dt : float
        Sampling interval, s.
    damping : float
        Ratio to critical.

    Raises
    ------
    InputError
        The acceleration is empty, of the wrong shape or not finite, dt is not above 0, or damping is below it.

    References
    ----------
    Housner, G. W. (1952). Spectrum intensities of strong-motion earthquakes. Proceedings of the Symposium on
    Earthquake and Blast Effects on Structures, Los Angeles. The damping of 20 % from memory.

    Examples
    --------
    Constant acceleration A: PSA is A (1 + exp(-pi z / sqrt(1 - z²))) at every period.

    >>> peak = float(1 + np.exp(-np.pi * 0.2 / np.sqrt(1 - 0.2**2)))
    >>> round(housner_intensity(np.ones(1001), 0.01) / (peak * (2.5**2 - 0.1**2) / (4 * np.pi)), 6)
    1.0
    """
    spectrum = response_spectrum(acceleration, dt, INTENSITY_PERIODS, damping, ["psv"])
    return integral_over(INTENSITY_PERIODS, _of(spectrum.psv), VELOCITY_BAND)


def velocity_spectrum_intensity(acceleration: ArrayLike, dt: float, damping: float = 0.05) -> float:
    """Return the integral of PSV over periods from 0.1 to 2.5 s, m (Von Thun et al., 1988).

    Parameters
    ----------
    acceleration, dt, damping
        As in `housner_intensity`.

    References
    ----------
    Von Thun, J. L., Roehm, L. H., Scott, G. A. and Wilson, J. A. (1988). Earthquake ground motions for design and
    analysis of dams. Earthquake Engineering and Soil Dynamics II, ASCE.

    Examples
    --------
    >>> pulse = np.where(np.arange(2000) < 100, 1.0, 0.0)  # 1 m/s² for 1 s
    >>> round(velocity_spectrum_intensity(2 * pulse, 0.01) / velocity_spectrum_intensity(pulse, 0.01), 6)
    2.0
    """
    return housner_intensity(acceleration, dt, damping)


def acceleration_spectrum_intensity(acceleration: ArrayLike, dt: float, damping: float = 0.05) -> float:
    """Return the integral of PSA over periods from 0.1 to 0.5 s, m/s (Von Thun et al., 1988).

    Parameters
    ----------
    acceleration, dt, damping
        As in `housner_intensity`.

    Examples
    --------
    Constant acceleration A: PSA is A (1 + exp(-pi z / sqrt(1 - z²))) at every period.

    >>> peak = float(1 + np.exp(-np.pi * 0.05 / np.sqrt(1 - 0.05**2)))
    >>> round(acceleration_spectrum_intensity(np.ones(1001), 0.01) / (0.4 * peak), 6)
    1.0
    """
    spectrum = response_spectrum(acceleration, dt, INTENSITY_PERIODS, damping, ["psa"])
    return integral_over(INTENSITY_PERIODS, _of(spectrum.psa), PLATEAU)


def average_spectral_acceleration(
    acceleration: ArrayLike, dt: float, period_range: tuple[float, float], damping: float = 0.05, count: int = 50
) -> float:
    """Return the geometric mean of PSA over a range of periods, AvgSA, m/s² (Eads, Miranda & Lignos, 2015).

    The range has no default, because none suits every structure (same paper). The periods are evenly spaced.

    Parameters
    ----------
    acceleration : array (n,)
        m/s².
    dt : float
        Sampling interval, s.
    period_range : (float, float)
        Shortest and longest oscillator period, s; both count.
    damping : float
        Ratio to critical.
    count : int
        Number of periods, at least 2.

    Raises
    ------
    InputError
        The range is not 0 < shortest < longest, or there are fewer than 2 periods.

    Examples
    --------
    Constant acceleration A: PSA is A (1 + exp(-pi z / sqrt(1 - z²))) at every period.

    >>> peak = float(1 + np.exp(-np.pi * 0.05 / np.sqrt(1 - 0.05**2)))
    >>> round(average_spectral_acceleration(np.ones(1001), 0.01, (0.2, 2.0)) / peak, 6)
    1.0
    """
    shortest, longest = period_range
    if not 0 < shortest < longest < np.inf:
        raise InputError(f"the period range must rise from above 0 s, got {shortest:g} to {longest:g} s")
    if count < 2:
        raise InputError(f"an average needs at least 2 periods, got {count}")
    spectrum = response_spectrum(acceleration, dt, np.linspace(shortest, longest, count), damping, ["psa"])
    psa = _of(spectrum.psa)
    return float(np.exp(np.mean(np.log(psa)))) if np.all(psa > 0) else 0.0


def effective_peak_acceleration(acceleration: ArrayLike, dt: float) -> float:
    """Return the mean PSA of 5 % damping over periods from 0.1 to 0.5 s, divided by 2.5, m/s² (ATC 3-06, 1978).

    ATC 3-06 lays a straight line through the spectrum there by eye; the mean over period stands for it.

    Parameters
    ----------
    acceleration, dt
        As in `housner_intensity`.

    Examples
    --------
    Constant acceleration A: PSA is A (1 + exp(-pi z / sqrt(1 - z²))) at every period.

    >>> peak = float(1 + np.exp(-np.pi * 0.05 / np.sqrt(1 - 0.05**2)))
    >>> round(effective_peak_acceleration(np.ones(1001), 0.01) / (peak / 2.5), 6)
    1.0
    """
    return acceleration_spectrum_intensity(acceleration, dt) / (PLATEAU[1] - PLATEAU[0]) / 2.5


def predominant_period(periods: ArrayLike, psa: ArrayLike) -> float:
    """Return the period at which a response spectrum is largest, s: common practice, without a source.

    Parameters
    ----------
    periods : array (p,)
        s, rising, above 0.
    psa : array (p,)
        Any unit. Between the three ordinates about the largest a parabola over log period is laid.

    Returns
    -------
    float
        Not a number where the spectrum is 0 throughout.

    Raises
    ------
    InputError
        Shapes differ, periods do not rise from above 0, or an ordinate is not finite.

    Examples
    --------
    >>> round(predominant_period([0.1, 0.2, 0.4], [1.0, 3.0, 1.0]), 6)
    0.2
    """
    x, y = np.log(above_zero("periods", periods)), signal("psa", psa)
    if x.size != y.size or (np.diff(x) <= 0).any():
        raise InputError("expected an ordinate for each of rising periods", source="periods")
    at = int(y.argmax())
    if y[at] <= 0:
        return float("nan")
    if at in (0, x.size - 1):
        return float(np.exp(x[at]))
    left, right = (y[at] - y[at - 1]) / (x[at] - x[at - 1]), (y[at + 1] - y[at]) / (x[at + 1] - x[at])
    if left == right:  # a plateau of three
        return float(np.exp(x[at]))
    middle, next_middle = (x[at - 1] + x[at]) / 2, (x[at] + x[at + 1]) / 2
    return float(np.exp(middle + left * (next_middle - middle) / (left - right)))


def mean_period(acceleration: ArrayLike, dt: float) -> float:
    """Return the mean of 1 / f weighted by the squared Fourier amplitude, from 0.25 to 20 Hz, s.

    The record is padded so that frequencies lie at most 0.05 Hz apart.

    Parameters
    ----------
    acceleration : array (n,)
        m/s².
    dt : float
        Sampling interval, s.

    Returns
    -------
    float
        Not a number where there is no motion in the band.

    Raises
    ------
    InputError
        The acceleration is empty, of the wrong shape or not finite; or dt is not above 0, or 2 s and more.

    References
    ----------
    Rathje, E. M., Abrahamson, N. A. and Bray, J. D. (1998). Simplified frequency content estimates of earthquake
    ground motions. Journal of Geotechnical and Geoenvironmental Engineering 124(2), 150-159.

    Examples
    --------
    >>> round(mean_period(np.sin(2 * np.pi * 0.5 * np.arange(0, 40, 0.01)), 0.01), 6)
    2.0
    """
    return mean_of(*padded_power(acceleration, dt))


def central_frequency(acceleration: ArrayLike, dt: float) -> float:
    """Return the root of the second over the zeroth spectral moment, Hz (Vanmarcke, 1976).

    Of a stationary motion it is the rate at which it crosses zero upward.

    Parameters
    ----------
    acceleration, dt
        As in `mean_period`.

    Returns
    -------
    float
        Not a number for a motion that is zero throughout.

    Examples
    --------
    >>> round(central_frequency(np.sin(2 * np.pi * 3.0 * np.arange(0, 20, 0.01)), 0.01), 6)
    3.0
    """
    return vanmarcke(*padded_power(acceleration, dt))[0]


def spectral_bandwidth(acceleration: ArrayLike, dt: float) -> float:
    """Return the bandwidth sqrt(1 - m1² / (m0 m2)) from spectral moments m: 0 for one sinusoid, towards 1 for noise.

    Parameters
    ----------
    acceleration, dt
        As in `mean_period`.

    Returns
    -------
    float
        Not a number for a motion that is zero throughout.

    References
    ----------
    Vanmarcke, E. H. (1976). Structural response to earthquakes. In Lomnitz, C. and Rosenblueth, E. (eds.), Seismic
    Risk and Engineering Decisions, Elsevier.

    Examples
    --------
    >>> time = np.arange(0, 20, 0.01)
    >>> round(spectral_bandwidth(np.sin(2 * np.pi * time) + np.sin(6 * np.pi * time), 0.01), 6)  # 1 - 2²/5
    0.447214
    """
    return vanmarcke(*padded_power(acceleration, dt))[1]


@dataclass(frozen=True)
class Kappa:
    """A fit of A(f) = A0 exp(-pi kappa f).

    Parameters
    ----------
    kappa, standard_error : float
        s.
    amplitude : float
        A0, m/s.
    band : tuple of float
        The frequencies of the fit, Hz.
    frequencies : int
        How many were fitted.
    """

    kappa: float
    standard_error: float
    amplitude: float
    band: tuple[float, float]
    frequencies: int


def kappa(acceleration: ArrayLike, dt: float, band: tuple[float, float] = (10.0, 25.0)) -> Kappa:
    """Fit the decay of the Fourier amplitude at high frequencies, exp(-pi kappa f).

    A straight line is laid through the logarithm of the amplitude by least squares. The band is a choice, above the
    source's corner frequency and below what is filtered or noise; look at the spectrum. The standard error is that
    of the slope for independent ordinates: pass the record without pads, which would only repeat them.

    Parameters
    ----------
    acceleration : array (n,)
        m/s²; cut it to the shear waves where that is wanted.
    dt : float
        Sampling interval, s.
    band : (float, float)
        First and last frequency of the fit, Hz.

    Returns
    -------
    Kappa

    Raises
    ------
    InputError
        The acceleration is empty, of the wrong shape or not finite; the band does not rise from above 0 to the Nyquist
        frequency at most; it holds less than three frequencies of the record; or an amplitude in it is 0.

    References
    ----------
    Anderson, J. G. and Hough, S. E. (1984). A model for the shape of the Fourier amplitude spectrum of acceleration at
    high frequencies. Bulletin of the Seismological Society of America 74(5), 1969-1993.

    Examples
    --------
    >>> decaying = np.fft.irfft(np.exp(-np.pi * 0.04 * np.fft.rfftfreq(2000, 0.01)))
    >>> round(kappa(decaying, 0.01).kappa, 6)
    0.04
    """
    first, last = (positive("band", limit) for limit in band)
    spectrum = fourier_spectrum(acceleration, dt)
    if not first < last <= 0.5 / dt * (1 + 1e-9):
        raise InputError(
            f"a band from {first:g} to {last:g} Hz does not rise to at most the Nyquist frequency, {0.5 / dt:g} Hz",
            source="band",
        )
    inside = (spectrum.frequency >= first) & (spectrum.frequency <= last)
    frequency, amplitude = spectrum.frequency[inside], spectrum.amplitude[inside]
    if frequency.size < 3:
        raise InputError(
            f"the record has {frequency.size} frequencies from {first:g} to {last:g} Hz, and a fit needs three",
            source="band",
            remedy="Widen the band, or take a longer record",
        )
    if (amplitude == 0).any():
        raise InputError("the amplitude is 0 in the band, and has no logarithm", source="acceleration")
    centred = frequency - frequency.mean()
    logarithm = np.log(amplitude)
    spread = centred @ centred
    slope = centred @ logarithm / spread
    residual = logarithm - logarithm.mean() - slope * centred
    error = np.sqrt(residual @ residual / (frequency.size - 2) / spread)
    level = np.exp(logarithm.mean() - slope * frequency.mean())
    return Kappa(float(-slope / np.pi), float(error / np.pi), float(level), (first, last), int(frequency.size))


def integral_over(periods: NDArray[np.float64], ordinates: NDArray[np.float64], band: tuple[float, float]) -> float:
    """Integrate a spectrum that is linear between its periods over a band that begins and ends at two of them."""
    inside = (periods >= band[0] - 1e-9) & (periods <= band[1] + 1e-9)
    return float(np.trapezoid(ordinates[inside], periods[inside]))


def padded_power(acceleration: ArrayLike, dt: float) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return frequencies at most 0.05 Hz apart, Hz, and the squared transform of the samples there."""
    acceleration, dt = signal("acceleration", acceleration), positive("dt", dt)
    samples = max(acceleration.size, int(np.ceil(20.0 / dt - 1e-6)))
    transform = np.fft.rfft(acceleration, samples)
    power = transform.real**2 + transform.imag**2
    power[0] *= 0.5  # every other line stands for a negative frequency too
    return np.asarray(np.fft.rfftfreq(samples, dt), dtype=np.float64), power


def mean_of(frequency: NDArray[np.float64], power: NDArray[np.float64]) -> float:
    """Return the `mean_period` of a power spectrum, s."""
    inside = (frequency >= MEAN_PERIOD_BAND[0] * (1 - 1e-9)) & (frequency <= MEAN_PERIOD_BAND[1] * (1 + 1e-9))
    if not inside.any():
        raise InputError("a Nyquist frequency below 0.25 Hz leaves no frequency to take a mean over", source="dt")
    frequency, power = frequency[inside], power[inside]
    return float((power / frequency).sum() / power.sum()) if power.any() else float("nan")


def vanmarcke(frequency: NDArray[np.float64], power: NDArray[np.float64]) -> tuple[float, float]:
    """Return central frequency, Hz, and bandwidth."""
    weighted = frequency * power
    zeroth, first, second = power.sum(), weighted.sum(), (frequency * weighted).sum()
    if second == 0:
        return float("nan"), float("nan")
    # Round-off may leave a single line a little below 0.
    return float(np.sqrt(second / zeroth)), float(np.sqrt(max(0.0, 1.0 - first / zeroth * (first / second))))


def _of(ordinates: NDArray[np.float64] | None) -> NDArray[np.float64]:
    assert ordinates is not None
    return ordinates[0]
