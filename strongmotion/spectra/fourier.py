"""Fourier and power spectra, and two ways to smooth them on a logarithmic axis."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from ..foundation.arrays import Floats, positive, signal
from ..foundation.errors import InputError
from . import _smoothing

__all__ = [
    "FourierSpectrum",
    "effective_amplitude_spectrum",
    "fourier_spectrum",
    "horizontal_to_vertical",
    "konno_ohmachi",
    "log_box",
    "power_spectral_density",
]


@dataclass(frozen=True, eq=False)
class FourierSpectrum:
    """Fourier spectrum of one component.

    Parameters
    ----------
    frequency : array (m,)
        Hz, from 0 to the Nyquist frequency.
    amplitude : array (m,)
        m/s for acceleration in m/s²; smoothed if that was asked for.
    phase : array (m,)
        rad, never smoothed.
    smoothing : float or None
        Bandwidth b of the smoothing.
    """

    frequency: Floats
    amplitude: Floats
    phase: Floats
    smoothing: float | None = None


def fourier_spectrum(acceleration: ArrayLike, dt: float, smoothing: float | None = None) -> FourierSpectrum:
    """Compute the Fourier spectrum, an approximation by samples of the integral of a(t) exp(-2 pi i f t) dt.

    Parameters
    ----------
    acceleration : array (n,)
        m/s². Taken as it is: taper and pad it first where that is wanted.
    dt : float
        Sampling interval, s.
    smoothing : float, optional
        Bandwidth b of `konno_ohmachi`, dimensionless; 40 is common practice, less is smoother.

    Returns
    -------
    FourierSpectrum
        m = n // 2 + 1 frequencies; the amplitude is dt |rfft(a)|.

    Raises
    ------
    InputError
        The acceleration is empty, of the wrong shape or not finite; dt or smoothing is not above 0.

    Examples
    --------
    >>> spectrum = fourier_spectrum(np.sin(2 * np.pi * np.arange(0, 10, 0.01)), 0.01)
    >>> float(spectrum.frequency[spectrum.amplitude.argmax()]), round(float(spectrum.amplitude.max()), 6)
    (1.0, 5.0)
    """
    acceleration = signal("acceleration", acceleration)
    dt = positive("dt", dt)
    transform = dt * np.fft.rfft(acceleration)
    frequency = np.asarray(np.fft.rfftfreq(acceleration.size, dt), dtype=np.float64)
    amplitude = np.asarray(np.abs(transform), dtype=np.float64)
    if smoothing is not None:
        smoothing = positive("smoothing", smoothing)
        amplitude = _smoothed(frequency, amplitude, smoothing)
    return FourierSpectrum(frequency, amplitude, np.angle(transform), smoothing)


def effective_amplitude_spectrum(
    a1: ArrayLike, a2: ArrayLike, dt: float, smoothing: float | None = None
) -> tuple[Floats, Floats]:
    """Compute the effective amplitude spectrum of two horizontals, the root of their mean squared amplitude.

    It does not depend on how the sensor was oriented.

    Parameters
    ----------
    a1, a2 : array (n,)
        Two perpendicular horizontal components, m/s².
    dt, smoothing
        As in `fourier_spectrum`; the root is taken first and smoothed after.

    Returns
    -------
    frequency, amplitude : array (m,)
        Hz; m/s.

    Raises
    ------
    InputError
        The components differ in length, or as `fourier_spectrum`.

    References
    ----------
    Goulet, C. A., Kottke, A., Boore, D. M. et al. (2018). Effective amplitude spectrum (EAS) as a metric for ground
    motion modeling using Fourier amplitudes. Seismology of the Americas Meeting (from memory).

    Examples
    --------
    >>> a = np.sin(2 * np.pi * np.arange(0, 10, 0.01))
    >>> frequency, amplitude = effective_amplitude_spectrum(3 * a, 4 * a, 0.01)
    >>> round(float(amplitude.max() / 5.0), 6)  # the amplitude of `a` alone is 5
    3.535534
    """
    one, two = fourier_spectrum(a1, dt), fourier_spectrum(a2, dt)
    _same_length(a1, a2)
    amplitude = np.sqrt((one.amplitude**2 + two.amplitude**2) / 2.0)
    if smoothing is not None:
        amplitude = _smoothed(one.frequency, amplitude, positive("smoothing", smoothing))
    return one.frequency, amplitude


def horizontal_to_vertical(
    a1: ArrayLike, a2: ArrayLike, vertical: ArrayLike, dt: float, centres: ArrayLike, bandwidth: float = 40.0
) -> Floats:
    """Compute the horizontal-to-vertical spectral ratio (Nakamura, 1989).

    The horizontal is the `effective_amplitude_spectrum`, so the ratio does not depend on the sensor's orientation;
    both spectra are smoothed before they are divided.

    Parameters
    ----------
    a1, a2, vertical : array (n,)
        m/s², or any one unit.
    dt : float
        Sampling interval, s.
    centres : array (k,)
        Frequencies, Hz, above 0.
    bandwidth : float
        As in `konno_ohmachi`.

    Returns
    -------
    array (k,)
        Infinite or not a number where the vertical has no motion.

    Raises
    ------
    InputError
        The components differ in length, or as `fourier_spectrum` and `konno_ohmachi`.

    Examples
    --------
    >>> a = np.random.default_rng(1).standard_normal(1000)
    >>> horizontal_to_vertical(3 * a, 4 * a, a, 0.01, [1.0, 10.0]).round(4)
    array([3.5355, 3.5355])
    """
    _same_length(a1, vertical)
    frequency, horizontal = effective_amplitude_spectrum(a1, a2, dt)
    upright = fourier_spectrum(vertical, dt).amplitude
    with np.errstate(divide="ignore", invalid="ignore"):
        return konno_ohmachi(frequency, horizontal, centres, bandwidth) / konno_ohmachi(
            frequency, upright, centres, bandwidth
        )


def power_spectral_density(acceleration: ArrayLike, dt: float, segment: float | None = None) -> tuple[Floats, Floats]:
    """Estimate the one-sided power spectral density by averaging over overlapping segments (Welch, 1967).

    Parameters
    ----------
    acceleration : array (n,)
        m/s².
    dt : float
        Sampling interval, s.
    segment : float, optional
        Length of a segment, s: it sets the resolution, 1 / segment. An eighth of the record if not given. Segments
        overlap by half, lose their mean and are tapered with a Hann window.

    Returns
    -------
    frequency, density : array (m,)
        Hz; (m/s²)²/Hz, whose integral over frequency is the mean square about the mean.

    Raises
    ------
    InputError
        As `fourier_spectrum`, or the segment is not of 2 samples at least and of the record at most.

    References
    ----------
    Welch, P. D. (1967). The use of fast Fourier transform for the estimation of power spectra. IEEE Transactions on
    Audio and Electroacoustics 15(2), 70-73.

    Examples
    --------
    >>> frequency, density = power_spectral_density(np.sin(2 * np.pi * np.arange(0, 40, 0.01)), 0.01, segment=5.0)
    >>> float(frequency[density.argmax()]), round(float(density.sum() * frequency[1]), 3)
    (1.0, 0.5)
    """
    from scipy.signal import welch

    acceleration = signal("acceleration", acceleration)
    dt = positive("dt", dt)
    samples = max(2, acceleration.size // 8) if segment is None else round(positive("segment", segment) / dt)
    if not 2 <= samples <= acceleration.size:
        raise InputError(
            f"a segment of {samples} samples does not fit a record of {acceleration.size}",
            source="segment",
            remedy="Choose at least 2 samples and at most the record",
        )
    frequency, density = welch(acceleration, 1.0 / dt, nperseg=samples)
    return np.asarray(frequency, dtype=np.float64), np.asarray(density, dtype=np.float64)


def konno_ohmachi(frequency: ArrayLike, amplitude: ArrayLike, centres: ArrayLike, bandwidth: float = 40.0) -> Floats:
    """Smooth an amplitude spectrum with a window of constant width on a logarithmic axis.

    The weight of frequency f about the centre fc is (sin x / x)⁴ with x = b log10(f / fc), over all frequencies above
    0; weights are divided by their sum. Where centres crowd, sums are taken at nodes and interpolated with a relative
    error under 1e-10: see `_smoothing`.

    Parameters
    ----------
    frequency, amplitude : array (m,)
        Hz, and any unit. A frequency of 0 has no place on the axis and is passed over.
    centres : array (k,)
        Where to take the smoothed spectrum, Hz, above 0.
    bandwidth : float
        b, dimensionless.

    Returns
    -------
    array (k,)
        The unit of `amplitude`.

    Raises
    ------
    InputError
        Shapes differ, a frequency is negative, a centre or the bandwidth is not above 0, or no frequency is.

    References
    ----------
    Konno, K. and Ohmachi, T. (1998). Ground-motion characteristics estimated from spectral ratio between horizontal
    and vertical components of microtremor. Bulletin of the Seismological Society of America 88(1), 228-241.

    Examples
    --------
    >>> konno_ohmachi([0.0, 1.0, 2.0, 4.0], [9.0, 3.0, 3.0, 3.0], [1.5]).round(6)
    array([3.])
    """
    frequency, amplitude, centres = _checked(frequency, amplitude, centres)
    kept = frequency > 0
    if not kept.any() and centres.size:
        raise InputError("expected at least one frequency above 0", source="frequency")
    bandwidth = positive("bandwidth", bandwidth)
    y, amplitude, about = bandwidth * np.log10(frequency[kept]), amplitude[kept], bandwidth * np.log10(centres)
    step, margin = _smoothing.NODE_SPACING, (_smoothing.REACH + 1) * _smoothing.NODE_SPACING
    nodes = (
        about.min(initial=np.inf)
        - margin
        + step * np.arange(1 + np.ceil((np.ptp(about) + 2 * margin) / step) if about.size else 0)
    )
    if about.size > nodes.size:
        sums, smooth = np.empty((2, nodes.size)), np.empty(about.size)
        _smoothing.weighted_sums(y, amplitude, nodes, sums)
        _smoothing.from_nodes(nodes[0], sums, about, smooth)
    else:
        smooth = np.full(about.size, np.nan)
    left = np.isnan(smooth)
    sums = np.empty((2, np.count_nonzero(left)))
    _smoothing.weighted_sums(y, amplitude, about[left], sums)
    smooth[left] = sums[0] / sums[1]
    return smooth


def log_box(frequency: ArrayLike, amplitude: ArrayLike, centres: ArrayLike, width: float = 0.1) -> Floats:
    """Smooth an amplitude spectrum by its mean over a box of constant width on a logarithmic axis.

    Common practice, without a source. Where no frequency falls into the box, as at the lowest ones, the spectrum is
    interpolated linearly at the centre.

    Parameters
    ----------
    frequency, amplitude : array (m,)
        Hz, rising; and any unit.
    centres : array (k,)
        Where to take the smoothed spectrum, Hz, above 0.
    width : float
        Of the whole box, decades: the box is from fc 10^(-width / 2) to fc 10^(width / 2).

    Returns
    -------
    array (k,)
        The unit of `amplitude`.

    Raises
    ------
    InputError
        Shapes differ, frequencies do not rise or are negative, or a centre or the width is not above 0.

    Examples
    --------
    >>> log_box([1.0, 2.0, 3.0, 4.0], [1.0, 2.0, 6.0, 9.0], [2.5, 9.0], width=0.2).round(6)
    array([4., 9.])
    """
    frequency, amplitude, centres = _checked(frequency, amplitude, centres)
    if (np.diff(frequency) <= 0).any():
        raise InputError("expected rising frequencies", source="frequency")
    half = 10.0 ** (positive("width", width) / 2.0)
    first = np.searchsorted(frequency, centres / half, "left")
    last = np.searchsorted(frequency, centres * half, "right")
    # A sum over each pair of bounds, without the digits that differences of a running sum would lose.
    sums = np.add.reduceat(np.append(amplitude, 0.0), np.column_stack([first, last]).ravel())[::2]
    mean = sums / np.maximum(last - first, 1)
    return np.where(last > first, mean, np.interp(centres, frequency, amplitude))


def _smoothed(frequency: Floats, amplitude: Floats, bandwidth: float) -> Floats:
    """Smooth at the spectrum's own frequencies; 0 Hz, which has no place on a logarithmic axis, stays."""
    return np.concatenate([amplitude[:1], konno_ohmachi(frequency, amplitude, frequency[1:], bandwidth)])


def _checked(frequency: ArrayLike, amplitude: ArrayLike, centres: ArrayLike) -> tuple[Floats, Floats, Floats]:
    frequency, amplitude = signal("frequency", frequency), signal("amplitude", amplitude)
    centres = signal("centres", centres) if np.size(centres) else np.empty(0)
    if frequency.size != amplitude.size:
        raise InputError(f"{frequency.size} frequencies but {amplitude.size} amplitudes")
    if (frequency < 0).any() or (centres <= 0).any():
        raise InputError("expected frequencies of 0 or more and centres above 0")
    return frequency, amplitude, centres


def _same_length(one: ArrayLike, two: ArrayLike) -> None:
    if np.size(one) != np.size(two):
        raise InputError(
            f"the components have {np.size(one)} and {np.size(two)} samples",
            remedy="Cut both to the samples they have in common",
        )
