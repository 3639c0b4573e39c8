"""Response of damped oscillators to ground acceleration: histories and spectra.

The relative displacement u of an oscillator of period T = 2 pi / w and damping ratio z obeys

    u'' + 2 z w u' + w² u = -a(t),

at rest before the record. It is solved exactly for acceleration linear between samples (Nigam & Jennings 1969), peaks
between samples counted, and the free vibration after the record's end too.

What the record is between its samples is settled in `resampling`.
"""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike, NDArray

from ..foundation.arrays import Floats, non_negative, positive, signal
from ..foundation.errors import InputError
from . import _kernels
from .resampling import (
    FACTORS,
    LARGEST_ERROR,
    Interpolation,
    known_interpolation,
    left_at_nyquist,
    left_by_resampling,
    left_by_straight_lines,
    resample,
    resampling_factors,
)
from .solving import Group, angular_frequency, factors_of, group, largest_responses, threads_for, work
from .tables import dataset, long_table

if TYPE_CHECKING:
    import pandas as pd
    import xarray

__all__ = [
    "QUANTITIES",
    "ResponseSpectrum",
    "default_periods",
    "response_history",
    "response_spectra",
    "response_spectrum",
]

QUANTITIES = ("sd", "psv", "psa", "sv", "sa")
"""Relative displacement, pseudo-velocity, pseudo-acceleration, relative velocity, absolute acceleration."""

R20 = (1.0, 1.12, 1.25, 1.4, 1.6, 1.8, 2.0, 2.24, 2.5, 2.8, 3.15, 3.55, 4.0, 4.5, 5.0, 5.6, 6.3, 7.1, 8.0, 9.0)
"""Preferred numbers of the R20 series (ISO 3)."""

CODE_PERIODS = (0.0, 0.2, 0.3, 1.0, 3.0)


@dataclass(frozen=True, eq=False)
class ResponseSpectrum:
    """Largest responses of many oscillators to one ground acceleration.

    Parameters
    ----------
    periods : array (p,)
        s.
    damping : array (d,)
        Ratio to critical.
    sd, psv, psa : array (d, p) or None
        Relative displacement, m; w sd, m/s; w² sd, m/s². None if not asked for.
    sv, sa : array (d, p) or None
        Relative velocity, m/s; absolute acceleration, m/s². None if not asked for.
    resampled : int array (p,)
        How many times finer the record was resampled for each period; 1 where it was taken as it is.
    interpolation : str
        What was assumed between samples where it was resampled.
    interpolation_error : array (d, p)
        Bound on what straight lines between samples change of a band-limited record's response, relative: of its
        displacement or velocity where the record was taken as it is, of steady motion at its Nyquist frequency where
        it was resampled; and on what motion changes that is too near the Nyquist frequency for samples to resolve. A
        lightly damped oscillator of a period of two samples resonates with such motion: a bound of 1 or more says that
        samples cannot tell its response. 0 for "linear", where straight lines are the record.
    """

    periods: Floats
    damping: Floats
    sd: Floats | None
    psv: Floats | None
    psa: Floats | None
    sv: Floats | None
    sa: Floats | None
    resampled: NDArray[np.int64]
    interpolation: str
    interpolation_error: Floats

    def table(self) -> pd.DataFrame:
        """Return the spectrum in long form, a row an oscillator: ``damping, period`` and the quantities asked for."""
        return long_table(self.damping, self.periods, {name: getattr(self, name) for name in QUANTITIES})

    def to_xarray(self) -> xarray.Dataset:
        """Return the spectrum on the axes ``damping`` and ``period``, with units; needs the package xarray."""
        return dataset(
            {"damping": self.damping, "period": self.periods}, {name: getattr(self, name) for name in QUANTITIES}
        )


def default_periods() -> Floats:
    """Return the periods used unless others are asked for, s.

    Preferred numbers of the R20 series (ISO 3), twenty a decade, from 0.01 s to 20 s; 0, where the spectrum is the
    peak ground acceleration; and 0.2, 0.3, 1 and 3 s, at which building codes ask for ordinates.

    Examples
    --------
    >>> periods = default_periods()
    >>> periods[[0, 1, 2, -1]].tolist()
    [0.0, 0.01, 0.0112, 20.0]
    """
    series = [round(number * 10.0**decade, 6) for decade in (-2, -1, 0, 1) for number in R20]
    return np.array(sorted({*CODE_PERIODS, *(period for period in series if period <= 20.0)}))


def response_spectrum(
    acceleration: ArrayLike,
    dt: float,
    periods: ArrayLike | None = None,
    damping: ArrayLike = 0.05,
    quantities: Sequence[str] = QUANTITIES,
    *,
    interpolation: Interpolation = "band-limited",
    threads: int | None = None,
) -> ResponseSpectrum:
    """Compute the response spectra of one ground acceleration.

    Parameters
    ----------
    acceleration : array (n,)
        Ground acceleration, m/s². The ground is still before the first sample and after the last.
    dt : float
        Sampling interval, s.
    periods : array (p,), optional
        Oscillator periods, s; `default_periods` if not given. At 0 the oscillator is rigid: SD, PSV and SV are 0, PSA
        and SA are the largest sample of the acceleration. At short periods other than 0 a band-limited record may
        peak between its samples, above that.
    damping : float or array (d,)
        Ratio to critical: 0.05 is 5 %.
    quantities : sequence of str
        Which of ``sd, psv, psa, sv, sa`` to compute; the first three together cost a third of all five.
    interpolation : {"band-limited", "linear"}
        What the record is between its samples: a signal without anything above its Nyquist frequency, or straight
        lines.
    threads : int, optional
        Threads to use; one for small work and every available processor for large work if not given.

    Returns
    -------
    ResponseSpectrum

    Raises
    ------
    InputError
        An argument is empty, of the wrong shape, out of range, or not finite.

    References
    ----------
    Nigam, N. C. and Jennings, P. C. (1969). Calculation of response spectra from strong-motion earthquake records.
    Bulletin of the Seismological Society of America 59(2), 909-922.

    Examples
    --------
    >>> time = np.arange(0, 10, 0.01)
    >>> spectrum = response_spectrum(np.sin(2 * np.pi * time), 0.01, periods=[0, 0.5, 1.0], quantities=["psa"])
    >>> spectrum.psa.round(2)
    array([[1.  , 1.62, 9.57]])
    """
    return response_spectra(
        [acceleration], dt, periods, damping, quantities, interpolation=interpolation, threads=threads
    )[0]


def response_spectra(
    accelerations: Sequence[ArrayLike],
    dt: float | Sequence[float],
    periods: ArrayLike | None = None,
    damping: ArrayLike = 0.05,
    quantities: Sequence[str] = QUANTITIES,
    *,
    interpolation: Interpolation = "band-limited",
    threads: int | None = None,
) -> list[ResponseSpectrum]:
    """Compute the response spectra of many ground accelerations, of any lengths, at the same periods.

    Parameters
    ----------
    accelerations : sequence of array (n,)
        Ground accelerations, m/s²; each with a length of its own.
    dt : float or sequence of float
        Sampling interval, s: one for all, or one for each.
    periods, damping, quantities, interpolation, threads
        As in `response_spectrum`.

    Returns
    -------
    list of ResponseSpectrum
        In the order given; each the same bits as `response_spectrum` gives.

    Raises
    ------
    InputError
        An argument is empty, of the wrong shape, out of range, or not finite.

    Examples
    --------
    >>> one, two = response_spectra([[0.0, 1.0, 0.0], [0.0, 2.0]], [0.01, 0.02], periods=[0.0, 0.5])
    >>> one.psa[0, 0], two.psa[0, 0]
    (np.float64(1.0), np.float64(2.0))
    """
    count = len(accelerations)
    name = (lambda i: "acceleration") if count == 1 else (lambda i: f"acceleration {i}")
    signals = [signal(name(i), acceleration) for i, acceleration in enumerate(accelerations)]
    steps = [positive("dt", step) for step in (np.repeat(dt, count) if np.ndim(dt) == 0 else np.asarray(dt))]
    if len(steps) != count:
        raise InputError(f"expected one dt for each of the {count} accelerations, found {len(steps)}", source="dt")
    periods = default_periods() if periods is None else non_negative("periods", periods)
    damping = non_negative("damping", damping)
    asked = _known(quantities)
    known_interpolation(interpolation)
    groups = {step: group(periods, damping.size, step, interpolation) for step in set(steps)}
    everything = bool({"sv", "sa"} & asked)

    def spectrum(acceleration: Floats, step: float, threads: int) -> ResponseSpectrum:
        def solve(groups: list[Group]) -> Floats:
            return largest_responses(
                (_kernels.peaks, 3 if everything else 1), [acceleration], step, periods, damping, groups,
                interpolation, threads,
            )  # fmt: skip

        out = solve(groups[step])
        factors = factors_of(groups[step], periods.size)
        error = np.zeros((damping.size, periods.size))
        if interpolation == "band-limited":
            left = left_by_straight_lines([acceleration], step, periods, damping, out)
            # Each quantity of each oscillator on its own: none depends on what else is asked for.
            finer = (left > LARGEST_ERROR) & (factors == 1) & (periods > 0)
            row, column = np.nonzero(finer.any(axis=0))
            if row.size:
                resampled = solve([(FACTORS[0], row, column)])
                out[finer] = resampled[finer]
                left[:, finer.any(axis=0)] = 0
                factors[column] = FACTORS[0]
            by_resampling = left_by_resampling(periods, damping, step, factors, acceleration.size)
            unresolved = left_at_nyquist(acceleration, step, periods, damping, out).max(axis=0)
            error = np.where(factors == 1, left.max(axis=0), by_resampling) + unresolved
            error[:, periods == 0] = 0
        peak, omega = np.abs(acceleration).max(), angular_frequency(periods)
        sd, rigid = out[0], periods == 0
        psa = omega**2 * sd
        psa[:, rigid] = peak
        sv = out[1] if everything else None
        sa = out[2] if everything else None
        if sa is not None:
            sa[:, rigid] = peak
        found = {"sd": sd, "psv": omega * sd, "psa": psa, "sv": sv, "sa": sa}
        return ResponseSpectrum(
            periods,
            damping,
            **{name: values if name in asked else None for name, values in found.items()},
            resampled=factors,
            interpolation=interpolation,
            interpolation_error=error,
        )

    threads = threads_for(sum(a.size * work(groups[step]) for a, step in zip(signals, steps, strict=True)), threads)
    if count < 2 or threads == 1:
        return [spectrum(a, step, threads) for a, step in zip(signals, steps, strict=True)]
    with ThreadPoolExecutor(threads) as pool:
        return list(pool.map(lambda a, step: spectrum(a, step, 1), signals, steps))


def response_history(
    acceleration: ArrayLike,
    dt: float,
    period: float,
    damping: float = 0.05,
    *,
    interpolation: Interpolation = "band-limited",
) -> tuple[Floats, Floats, Floats]:
    """Compute the motion of one oscillator at the record's samples.

    Parameters
    ----------
    acceleration : array (n,)
        Ground acceleration, m/s².
    dt : float
        Sampling interval, s.
    period : float
        s; at 0 the oscillator is rigid.
    damping : float
        Ratio to critical.
    interpolation : {"band-limited", "linear"}
        As in `response_spectrum`.

    Returns
    -------
    displacement, velocity, acceleration : array (n,)
        Relative to the ground in m and m/s; absolute in m/s².

    Raises
    ------
    InputError
        An argument is empty, of the wrong shape, out of range, or not finite.

    Examples
    --------
    >>> u, v, a = response_history([0.0, 1.0, 0.0, 0.0], 0.01, period=1.0)
    >>> bool(np.all(u <= 0)), v.shape
    (True, (4,))
    """
    acceleration = signal("acceleration", acceleration)
    dt = positive("dt", dt)
    period = float(non_negative("period", [period])[0])
    damping = float(non_negative("damping", [damping])[0])
    known_interpolation(interpolation)
    if period == 0:
        return np.zeros_like(acceleration), np.zeros_like(acceleration), acceleration.copy()
    factor = int(resampling_factors(np.array([period]), dt, interpolation)[0])
    fine = resample(acceleration, factor, interpolation)
    u, v = np.empty_like(fine), np.empty_like(fine)
    omega = 2 * np.pi / period
    _kernels.histories(fine, dt / factor, omega, damping, u, v)
    u, v = u[::factor].copy(), v[::factor].copy()
    return u, v, -2 * damping * omega * v - omega**2 * u


def _known(quantities: Sequence[str]) -> set[str]:
    asked = {quantities} if isinstance(quantities, str) else set(quantities)
    if not asked or not asked <= set(QUANTITIES):
        raise InputError(
            f"unknown quantities {sorted(asked - set(QUANTITIES))}" if asked else "no quantity was asked for",
            source="quantities",
            remedy=f"Choose from {', '.join(QUANTITIES)}",
        )
    return asked
