"""Response of damped oscillators to ground acceleration: histories and spectra.

The relative displacement u of an oscillator of period T = 2 pi / w and damping ratio z obeys

    u'' + 2 z w u' + w² u = -a(t),

at rest before the record. It is solved exactly for acceleration linear between samples (Nigam & Jennings 1969), peaks
between samples counted, and the free vibration after the record's end too.

A straight line between samples damps what it joins by sinc²(f dt): a signal at the oscillator's own frequency by 0.1 %
at T = 58 dt and by 6 % at T = 7 dt. So for shorter periods the record is first resampled band-limited, and its
spectrum divided by the sinc² of the finer step.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING, Any, Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from ..errors import InputError
from . import _kernels

if TYPE_CHECKING:
    import pandas as pd

__all__ = [
    "QUANTITIES",
    "Interpolation",
    "ResponseSpectrum",
    "default_periods",
    "response_history",
    "response_spectrum",
]

Floats = NDArray[np.float64]
Interpolation = Literal["band-limited", "linear"]

QUANTITIES = ("sd", "psv", "psa", "sv", "sa")
"""Relative displacement, pseudo-velocity, pseudo-acceleration, relative velocity, absolute acceleration."""

R20 = (1.0, 1.12, 1.25, 1.4, 1.6, 1.8, 2.0, 2.24, 2.5, 2.8, 3.15, 3.55, 4.0, 4.5, 5.0, 5.6, 6.3, 7.1, 8.0, 9.0)
"""Preferred numbers of the R20 series (ISO 3)."""

CODE_PERIODS = (0.0, 0.2, 0.3, 1.0, 3.0)

LONG_PERIOD = 64.0
"""Samples in a period from which a straight line between samples costs a signal of the oscillator's own frequency
less than 0.1 %: (pi / 64)² / 3."""

FINE_PERIOD = 16.0
"""Samples in a period that resampling aims at."""

FACTORS = (4, 16, 64, 256)
"""How many times finer a record may be resampled. Shorter than dt/16 an oscillator just follows the ground."""

LANES = 128
"""Most oscillators in one call of a kernel: their state stays in the first-level cache."""

THREADING_WORK = 2_000_000
"""Oscillators times samples below which threads cost more than they save."""


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

    def table(self) -> pd.DataFrame:
        """Return the spectrum in long form, a row an oscillator: ``damping, period`` and the quantities asked for."""
        import pandas as pd

        columns = {name: getattr(self, name) for name in QUANTITIES if getattr(self, name) is not None}
        return pd.DataFrame(
            {
                "damping": np.repeat(self.damping, self.periods.size),
                "period": np.tile(self.periods, self.damping.size),
                **{name: values.ravel() for name, values in columns.items()},
            }
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
        What the record is between its samples for periods under 64 dt: a signal without anything above its Nyquist
        frequency, or straight lines. Longer periods take straight lines either way,
        by which ground motion of a frequency f far above the oscillator's loses (pi f dt)² / 3: SV shows it first.
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
    acceleration = signal("acceleration", acceleration)
    dt = positive("dt", dt)
    periods = default_periods() if periods is None else non_negative("periods", periods)
    damping = non_negative("damping", damping)
    asked = _known(quantities)
    everything = bool({"sv", "sa"} & asked)
    out = largest_responses(
        _kernels.peaks, [acceleration], dt, periods, damping, interpolation, threads, 3 if everything else 1
    )

    omega = angular_frequency(periods)
    peak = np.abs(acceleration).max()
    sd = out[0]
    psa = np.where(periods > 0, omega**2 * sd, peak)
    sv = out[1] if everything else None
    sa = np.where(periods > 0, out[2], peak) if everything else None
    found = {"sd": sd, "psv": omega * sd, "psa": psa, "sv": sv, "sa": sa}
    return ResponseSpectrum(
        periods,
        damping,
        **{name: values if name in asked else None for name, values in found.items()},
        resampled=resampling_factors(periods, dt),
        interpolation=interpolation,
    )


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
    if period == 0:
        return np.zeros_like(acceleration), np.zeros_like(acceleration), acceleration.copy()
    factor = int(resampling_factors(np.array([period]), dt)[0])
    fine = resample(acceleration, dt, factor, interpolation)
    u, v = np.empty_like(fine), np.empty_like(fine)
    omega = 2 * np.pi / period
    _kernels.histories(fine, dt / factor, omega, damping, u, v)
    u, v = u[::factor].copy(), v[::factor].copy()
    return u, v, -2 * damping * omega * v - omega**2 * u


def angular_frequency(periods: Floats) -> Floats:
    """Return 2 pi / T, rad/s, and 0 at T = 0."""
    return np.divide(2 * np.pi, periods, out=np.zeros_like(periods), where=periods > 0)


def resampling_factors(periods: Floats, dt: float) -> NDArray[np.int64]:
    """Choose how many times finer than `dt` each period needs the record: 1, or at least 16 samples a period."""
    needed = np.divide(FINE_PERIOD * dt, periods, out=np.zeros_like(periods), where=periods > 0)
    finer = np.array(FACTORS)[np.minimum(np.searchsorted(FACTORS, needed * (1 - 1e-12)), len(FACTORS) - 1)]
    return np.where((periods == 0) | (periods >= LONG_PERIOD * dt * (1 - 1e-12)), 1, finer)


def resample(acceleration: Floats, dt: float, factor: int, interpolation: str) -> Floats:
    """Return the record at `factor` times as many samples a second, from its first sample to its last.

    Straight lines are just cut into shorter ones. A band-limited record is continued by its mirror image, so that
    neither end meets the other, its spectrum filled up with zeros, and divided by sinc²(f dt / factor), by which the
    straight lines between the new samples will damp it.
    """
    if interpolation not in ("band-limited", "linear"):
        raise InputError(f"unknown interpolation {interpolation!r}", remedy='Choose "band-limited" or "linear"')
    n = acceleration.size
    if factor == 1 or n == 1:
        return acceleration
    if interpolation == "linear":
        return np.interp(np.arange((n - 1) * factor + 1) / factor, np.arange(n), acceleration)
    import scipy.fft

    # The last sample is held between the record and its mirror image until their length suits the transform.
    half = scipy.fft.next_fast_len(n - 1, real=True)
    held = np.full(2 * (half - n + 1), acceleration[-1])
    spectrum = scipy.fft.rfft(np.concatenate([acceleration, held, acceleration[-2:0:-1]]))
    spectrum /= np.sinc(np.arange(half + 1) / (2 * half) / factor) ** 2
    spectrum[-1] *= 0.5  # the Nyquist frequency, now one of two halves
    fine = scipy.fft.irfft(spectrum, 2 * half * factor)
    return np.ascontiguousarray(fine[: (n - 1) * factor + 1]) * factor


def largest_responses(
    kernel: Callable[..., None],
    records: list[Floats],
    dt: float,
    periods: Floats,
    damping: Floats,
    interpolation: str,
    threads: int | None,
    count: int,
) -> Floats:
    """Run a kernel on every oscillator, each on the records resampled as its period needs, in threads.

    Returns
    -------
    array (count, d, p)
        What the kernel fills its last argument with, by damping and period; 0 where the period is 0.
    """
    out = np.zeros((count, damping.size, periods.size))
    factors = resampling_factors(periods, dt)
    groups = []
    for factor in np.unique(factors[periods > 0]).tolist():
        columns = np.flatnonzero((factors == factor) & (periods > 0))
        fine = [resample(record, dt, factor, interpolation) for record in records]
        row, column = (index.ravel() for index in np.meshgrid(np.arange(damping.size), columns, indexing="ij"))
        groups.append((fine, dt / factor, row, column))
    threads = threads_for(sum(fine[0].size * row.size for fine, _, row, _ in groups), threads)

    def solve(fine: list[Floats], step: float, row: NDArray[np.intp], column: NDArray[np.intp]) -> None:
        largest = np.empty((count, row.size))
        kernel(*fine, step, 2 * np.pi / periods[column], damping[row], largest)
        out[:, row, column] = largest

    run(
        [
            partial(solve, fine, step, row[part], column[part])
            for fine, step, row, column in groups
            for part in parts(row.size, threads)
        ],
        threads,
    )
    return out


def threads_for(work: int, threads: int | None) -> int:
    """Return how many threads to run `work` oscillator-samples in."""
    if threads is None:
        available = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
        return available if work > THREADING_WORK else 1
    if threads < 1:
        raise InputError(f"threads must be at least 1, not {threads}")
    return int(threads)


def parts(count: int, threads: int) -> list[slice]:
    """Cut `count` oscillators into chunks that fit the cache and leave no thread idle."""
    size = min(LANES, max(8, 8 * -(-count // (8 * threads))))
    return [slice(start, start + size) for start in range(0, count, size)]


def run(jobs: Iterable[Callable[[], Any]], threads: int) -> None:
    """Run the jobs, in this thread if one is enough."""
    if threads == 1:
        for job in jobs:
            job()
        return
    with ThreadPoolExecutor(threads) as pool:
        for _ in pool.map(lambda job: job(), list(jobs)):
            pass


def signal(name: str, values: ArrayLike) -> Floats:
    """Return `values` as a contiguous, finite, non-empty float64 array of one dimension."""
    try:
        array = np.ascontiguousarray(values, dtype=np.float64)
    except (TypeError, ValueError) as error:
        raise InputError(f"expected numbers: {error}", source=name) from None
    if array.ndim != 1:
        raise InputError(
            f"expected one dimension, found shape {array.shape}", source=name, remedy="Pass one component at a time"
        )
    if array.size == 0:
        raise InputError("expected at least one number, found none", source=name)
    if not np.isfinite(array).all():
        index = int(np.flatnonzero(~np.isfinite(array))[0])
        raise InputError(f"expected finite numbers, found {array[index]} at index {index}", source=name)
    return array


def non_negative(name: str, values: ArrayLike) -> Floats:
    """Return a number or array as an array of finite numbers, none below 0."""
    array = signal(name, np.atleast_1d(np.asarray(values)))
    if (array < 0).any():
        index = int(np.flatnonzero(array < 0)[0])
        raise InputError(f"expected no negative number, found {array[index]} at index {index}", source=name)
    return array


def above_zero(name: str, values: ArrayLike) -> Floats:
    """Return a number or array as an array of finite numbers above 0."""
    array = non_negative(name, values)
    if (array == 0).any():
        raise InputError("expected numbers above 0, found 0", source=name)
    return array


def positive(name: str, value: float) -> float:
    """Return a finite number above 0."""
    return float(above_zero(name, [value])[0])


def _known(quantities: Sequence[str]) -> set[str]:
    asked = {quantities} if isinstance(quantities, str) else set(quantities)
    if not asked or not asked <= set(QUANTITIES):
        raise InputError(
            f"unknown quantities {sorted(asked - set(QUANTITIES))}" if asked else "no quantity was asked for",
            source="quantities",
            remedy=f"Choose from {', '.join(QUANTITIES)}",
        )
    return asked
