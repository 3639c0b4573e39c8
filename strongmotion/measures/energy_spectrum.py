"""Energy spectra: what oscillators take from the ground, and what they keep of it.

Per unit mass, in relative motion (Uang & Bertero, 1990): multiplied by u' and integrated, the oscillator's equation is

    u'² / 2 + w² u² / 2 + integral of 2 z w u'² dt = -integral of a u' dt.

The right side is the input energy; without the first term, the kinetic energy, the left is what is absorbed: held by
the spring, or spent in damping.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from ..foundation.arrays import above_zero, non_negative, positive, signal
from ..spectra import default_periods, response_history
from ..spectra.resampling import Interpolation, resample, resampling_factors

__all__ = ["EnergySpectrum", "energy_history", "energy_spectrum"]


@dataclass(frozen=True, eq=False)
class EnergySpectrum:
    """Largest energies, during the record, of oscillators of unit mass.

    Parameters
    ----------
    periods : array (p,)
        s.
    damping : array (d,)
        Ratio to critical.
    input : array (d, p)
        Largest input energy, m²/s² (J/kg).
    absorbed : array (d, p)
        Largest sum of strain energy and energy spent in damping, m²/s².
    """

    periods: NDArray[np.float64]
    damping: NDArray[np.float64]
    input: NDArray[np.float64]
    absorbed: NDArray[np.float64]

    @property
    def input_velocity(self) -> NDArray[np.float64]:
        """The velocity equivalent of the input energy, sqrt(2 E), m/s (Akiyama, 1985)."""
        return np.sqrt(2.0 * self.input)

    @property
    def absorbed_velocity(self) -> NDArray[np.float64]:
        """The velocity equivalent of the absorbed energy, sqrt(2 E), m/s."""
        return np.sqrt(2.0 * self.absorbed)


def energy_spectrum(
    acceleration: ArrayLike, dt: float, periods: ArrayLike | None = None, damping: ArrayLike = 0.05
) -> EnergySpectrum:
    """Compute the largest input and absorbed energy of many oscillators.

    Parameters
    ----------
    acceleration : array (n,)
        Ground acceleration, m/s².
    dt : float
        Sampling interval, s.
    periods : array (p,), optional
        s, above 0; the default periods of `strongmotion.response_spectrum` without 0 if not given.
    damping : float or array (d,)
        Ratio to critical.

    Returns
    -------
    EnergySpectrum
        Energies are those at the samples, of the record as it is resampled for short periods.

    Raises
    ------
    InputError
        An argument is empty, of the wrong shape, out of range, or not finite.

    References
    ----------
    Uang, C.-M. and Bertero, V. V. (1990). Evaluation of seismic energy in structures. Earthquake Engineering and
    Structural Dynamics 19(1), 77-90.

    Akiyama, H. (1985). Earthquake-resistant limit-state design for buildings. University of Tokyo Press.

    Examples
    --------
    A constant acceleration A and no damping: 2 A² / w².

    >>> spectrum = energy_spectrum(np.ones(201), 0.01, periods=[1.0], damping=0.0)
    >>> round(float(spectrum.input[0, 0] * (2 * np.pi) ** 2), 6)
    2.0
    """
    periods = default_periods()[1:] if periods is None else above_zero("periods", periods)
    damping = non_negative("damping", damping)
    largest = np.array(
        [
            [[energy.max() for energy in energy_history(acceleration, dt, period, ratio)[:2]] for period in periods]
            for ratio in damping
        ]
    )
    return EnergySpectrum(periods, damping, largest[..., 0], largest[..., 1])


def energy_history(
    acceleration: ArrayLike,
    dt: float,
    period: float,
    damping: float = 0.05,
    *,
    interpolation: Interpolation = "band-limited",
) -> tuple[NDArray[np.float64], NDArray[np.float64], float]:
    """Compute the input and the absorbed energy of one oscillator of unit mass as they grow.

    The integral is exact for acceleration linear between samples: by parts, -a u plus a' times the integral of u, which
    the oscillator's equation gives from its state at both ends of a step.

    Parameters
    ----------
    acceleration, dt
        As in `energy_spectrum`.
    period : float
        s, above 0.
    damping : float
        Ratio to critical.
    interpolation : {"band-limited", "linear"}
        As in `strongmotion.response_spectrum`.

    Returns
    -------
    input, absorbed : array (m,)
        m²/s².
    step : float
        Between them, s: dt, or what the record was resampled to for a short period.

    Raises
    ------
    InputError
        As `energy_spectrum`.

    Examples
    --------
    >>> given, absorbed, step = energy_history(np.ones(201), 0.01, period=1.0, damping=0.0)
    >>> round(float(given[50] * (2 * np.pi) ** 2), 6), step  # half a period: 2 A² / w², all of it strain
    (2.0, 0.01)
    """
    acceleration = signal("acceleration", acceleration)
    dt, period = positive("dt", dt), positive("period", period)
    factor = int(resampling_factors(np.array([period]), dt)[0])
    a, step = resample(acceleration, factor, interpolation), dt / factor
    u, v, _ = response_history(a, step, period, damping, interpolation="linear")
    omega = 2.0 * np.pi / period
    before, after = a[:-1], a[1:]
    swept = -(step * (before + after) / 2.0 + np.diff(v) + 2.0 * damping * omega * np.diff(u)) / omega**2
    given = np.zeros(a.size)
    # The ground starts from rest: a first sample that is not 0 does no work, for nothing has moved yet.
    np.cumsum(swept * (after - before) / step - np.diff(a * u), out=given[1:])
    return given, given - v * v / 2.0, step
