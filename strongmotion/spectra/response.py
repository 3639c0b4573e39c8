"""Response of damped oscillators to ground acceleration: histories and spectra.

The relative displacement u of an oscillator of period T = 2 pi / w and damping ratio z obeys

    u'' + 2 z w u' + w² u = -a(t),

at rest before the record. It is solved exactly for acceleration linear between samples (Nigam & Jennings 1969), peaks
between samples counted, and the free vibration after the record's end too.

A straight line between samples damps what it joins by sinc²(f dt): a signal at the oscillator's own frequency by 0.1 %
at T = 58 dt and by 6 % at T = 7 dt. So for shorter periods the record is first resampled band-limited, and its
spectrum divided by the sinc² of the finer step. For longer ones a twelfth of the second difference makes up for it, and
what little is left is bounded by the record's own differences: where the bound is over 0.1 %, they are resampled too.
"""

from __future__ import annotations

import functools
import math
import os
from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING, Literal, get_args

import numpy as np
from numpy.typing import ArrayLike, NDArray

from ..errors import InputError
from . import _kernels

if TYPE_CHECKING:
    import pandas as pd
    import xarray

__all__ = [
    "QUANTITIES",
    "Interpolation",
    "ResponseSpectrum",
    "default_periods",
    "response_history",
    "response_spectra",
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
"""Samples in a period from which a record is taken as it is, unless its own differences forbid."""

LARGEST_ERROR = 1e-3
"""What straight lines between samples may change of a response, relative, before the record is resampled."""

LEFT = (1 - 4 / np.pi**2 * (1 + 4 / 12)) / 16
"""1 - sinc²(f dt) (1 + s / 12) <= LEFT s², s = 4 sin²(pi f dt): what making up for straight lines leaves, times the
fourth difference, for all f up to the Nyquist frequency, where it is largest; 1/90 at low frequencies."""

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
    interpolation_error : array (d, p)
        Bound on what straight lines between samples change of a band-limited record's response, relative: of its
        displacement or velocity where the record was taken as it is, of steady motion at its Nyquist frequency where
        it was resampled. 0 for "linear", where straight lines are the record.
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
    steps = [positive("dt", step) for step in ([dt] * count if np.ndim(dt) == 0 else list(dt))]  # type: ignore[arg-type]
    if len(steps) != count:
        raise InputError(f"expected one dt for each of the {count} accelerations, found {len(steps)}", source="dt")
    periods = default_periods() if periods is None else non_negative("periods", periods)
    damping = non_negative("damping", damping)
    asked = _known(quantities)
    known_interpolation(interpolation)
    groups = {step: group(periods, damping.size, step) for step in set(steps)}
    everything = bool({"sv", "sa"} & asked)

    def spectrum(acceleration: Floats, step: float, threads: int) -> ResponseSpectrum:
        def solve(groups: list[Group]) -> Floats:
            return largest_responses(
                _kernels.peaks, [acceleration], step, periods, damping, groups, interpolation, threads,
                3 if everything else 1,
            )  # fmt: skip

        out = solve(groups[step])
        factors = factors_of(groups[step], periods.size)
        error = np.zeros((damping.size, periods.size))
        if interpolation == "band-limited":
            left = left_by_straight_lines([acceleration], step, out[:2])
            # Each oscillator's displacement, and velocity, on its own: none depends on what else is asked for.
            finer = (left > LARGEST_ERROR) & (factors == 1) & (periods > 0)
            row, column = np.nonzero(finer.any(axis=0))
            if row.size:
                resampled = solve([(FACTORS[0], row, column)])
                for rows, wanted in zip((slice(0, 1), slice(1, 3)), finer, strict=False):
                    out[rows, wanted] = resampled[rows, wanted]
                    left[:, wanted] = 0
                factors[column] = FACTORS[0]
            by_resampling = left_by_resampling(periods, damping, step, factors)
            error = np.where(factors == 1, left.max(axis=0), by_resampling)
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
    if period == 0:
        return np.zeros_like(acceleration), np.zeros_like(acceleration), acceleration.copy()
    factor = int(resampling_factors(np.array([period]), dt)[0])
    fine = resample(acceleration, factor, interpolation)
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


def left_by_straight_lines(components: list[Floats], dt: float, largest: Floats) -> Floats:
    """Bound what straight lines between samples, made up for, still change: relative, of the same shape as `largest`.

    Of the acceleration LEFT times its fourth difference is lost. What that moves the ground by is the second difference
    times dt², and its velocity the third times dt: `largest`, SD and SV (1 or 2, d, p), are wrong by no more.
    """
    lost = np.zeros_like(largest)
    for order, of, share in zip((2, 3), largest, lost, strict=False):
        size = max(float(np.abs(np.diff(a, order)).max(initial=0.0)) for a in components) * dt ** (4 - order)
        np.divide(LEFT * size, of, out=share, where=of > 0)
    return lost


def left_by_resampling(periods: Floats, damping: Floats, dt: float, factors: NDArray[np.int64]) -> Floats:
    """Bound what straight lines between the samples of a resampled record change, relative, shape (d, p).

    A record's motion of frequency f, at most its Nyquist frequency, has images about the finer sampling rate F and its
    multiples, (f / (F - f))² as large and less; in its velocity, f / (F - f), and all of them 2 zeta(3) times that.
    What they move is held against what the motion itself does.
    """
    highest = 1 / (2 * factors)
    ratio = highest / (1 - highest)
    stiffness = ((1 - highest) * factors / dt * periods) ** 2  # (image's frequency over the oscillator's)²
    light = np.minimum(damping, np.sqrt(0.5))
    resonance = np.divide(0.5, light * np.sqrt(1 - light**2), out=np.full_like(light, np.inf), where=light > 0)
    followed = np.divide(1, stiffness - 1, out=np.full(stiffness.shape, np.inf), where=stiffness > 1)
    nyquist = periods / (2 * dt)  # over the oscillator's frequency
    withstood = np.hypot(np.maximum(1, nyquist**2 - 1), 2 * damping[:, None] * nyquist)
    return 2.404 * ratio * np.minimum(followed, resonance[:, None]) * withstood


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
        return np.interp(np.arange((n - 1) * factor + 1) / factor, np.arange(n), acceleration)
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


Group = tuple[int, NDArray[np.intp], NDArray[np.intp]]
"""A resampling factor, and the rows (dampings) and columns (periods) of the oscillators that need it."""


def group(periods: Floats, dampings: int, dt: float) -> list[Group]:
    """Group all oscillators but rigid ones by the resampling that their period needs."""
    factors = resampling_factors(periods, dt)
    groups = []
    for factor in sorted(set(factors[periods > 0].tolist())):
        groups.append((factor, *oscillators(dampings, np.flatnonzero((factors == factor) & (periods > 0)))))
    return groups


def oscillators(dampings: int, columns: NDArray[np.intp]) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Return the row and the column of every oscillator of some periods."""
    return np.repeat(np.arange(dampings), columns.size), np.tile(columns, dampings)


def factors_of(groups: list[Group], periods: int) -> NDArray[np.int64]:
    """Return the factor of every period; 1 for a rigid oscillator."""
    factors = np.ones(periods, dtype=np.int64)
    for factor, _, column in groups:
        factors[column] = factor
    return factors


def work(groups: list[Group]) -> int:
    """Return how many steps of oscillators one sample of the record asks for."""
    return sum(factor * row.size for factor, row, _ in groups)


def largest_responses(
    kernel: Callable[..., None],
    components: list[Floats],
    dt: float,
    periods: Floats,
    damping: Floats,
    groups: list[Group],
    interpolation: str,
    threads: int,
    count: int,
) -> Floats:
    """Run a kernel on every oscillator, each on the components resampled as its period needs, in threads.

    Returns
    -------
    array (count, d, p)
        What the kernel fills its last argument with, by damping and period; 0 where the period is 0.
    """
    out = np.zeros((count, damping.size, periods.size))
    # Squares of very large or small samples would leave the range of numbers; a power of two changes no other bit.
    peak = max(max(float(a.max()), -float(a.min())) for a in components)
    scale = 1.0
    if peak > 0.0 and not 1e-100 < peak < 1e100:
        scale = math.ldexp(1.0, math.frexp(peak)[1] - 1)
        components = [component / scale for component in components]

    def solve(fine: list[Floats], step: float, row: NDArray[np.intp], column: NDArray[np.intp]) -> None:
        largest = np.empty((count, row.size))
        kernel(*fine, step, 2 * np.pi / periods[column], damping[row], largest)
        out[:, row, column] = scale * largest

    for factor, row, column in groups:
        fine = [resample(component, factor, interpolation) for component in components]
        jobs = [partial(solve, fine, dt / factor, row[part], column[part]) for part in parts(row.size, threads)]
        run(jobs, min(threads, len(jobs)) if fine[0].size * row.size > THREADING_WORK // 8 else 1)
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
    """Cut `count` oscillators into equal chunks that fit the cache, as many for each thread."""
    chunks = threads * -(-count // (LANES * threads))
    size = 8 * -(-count // (8 * chunks))
    return [slice(start, start + size) for start in range(0, count, size)]


@functools.cache
def helpers() -> ThreadPoolExecutor:
    """Return the threads that help the one that calls; they are started once, as they are needed."""
    return ThreadPoolExecutor(os.cpu_count() or 1, thread_name_prefix="strongmotion")


if hasattr(os, "register_at_fork"):
    os.register_at_fork(after_in_child=helpers.cache_clear)  # a forked child has none of them


def run(jobs: Iterable[Callable[[], None]], threads: int) -> None:
    """Run the jobs, in this thread and in as many more as are wanted."""
    waiting = iter(list(jobs))

    def take() -> None:
        for job in waiting:  # a list's iterator hands each out once
            job()

    others = [helpers().submit(take) for _ in range(threads - 1)]
    take()
    for other in others:
        if not other.cancel():  # it has begun
            other.result()


def long_table(damping: Floats, periods: Floats, columns: dict[str, Floats | None]) -> pd.DataFrame:
    """Return columns of shape (d, p) in long form, a row an oscillator, without those that are None."""
    import pandas as pd

    return pd.DataFrame(
        {
            "damping": np.repeat(damping, periods.size),
            "period": np.tile(periods, damping.size),
            **{name: values.ravel() for name, values in columns.items() if values is not None},
        }
    )


LONG_NAMES = {
    "sd": ("relative displacement", "m"),
    "psv": ("pseudo-velocity", "m/s"),
    "psa": ("pseudo-acceleration", "m/s2"),
    "sv": ("relative velocity", "m/s"),
    "sa": ("absolute acceleration", "m/s2"),
    "period": ("natural period", "s"),
    "damping": ("damping ratio", "1"),
    "percentile": ("percentile over directions", "1"),
}
"""What an axis or a quantity is, and its unit."""


def dataset(axes: dict[str, Floats], columns: dict[str, Floats | None]) -> xarray.Dataset:
    """Return columns on their axes as an xarray dataset, with units and long names."""
    try:
        import xarray
    except ImportError:
        raise InputError("xarray is not installed", remedy="Install it: pip install xarray") from None

    def described(name: str) -> dict[str, str]:
        long_name, unit = LONG_NAMES[name]
        return {"long_name": long_name, "units": unit}

    return xarray.Dataset(
        {name: (tuple(axes), values, described(name)) for name, values in columns.items() if values is not None},
        {name: (name, values, described(name)) for name, values in axes.items()},
    )


def signal(name: str, values: ArrayLike) -> Floats:
    """Return `values` as a contiguous, finite, non-empty float64 array of one dimension, with no sample masked."""
    if np.ma.is_masked(values):
        index = int(np.flatnonzero(np.ma.getmaskarray(np.ma.asarray(values)))[0])
        raise InputError(f"a number is masked at index {index}", source=name, remedy="Fill it, or cut it off")
    if np.iscomplexobj(values):
        raise InputError("expected real numbers, found complex ones", source=name)
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


def known_interpolation(interpolation: str) -> None:
    """Refuse an interpolation that is none of `Interpolation`."""
    if interpolation not in get_args(Interpolation):
        raise InputError(f"unknown interpolation {interpolation!r}", remedy='Choose "band-limited" or "linear"')


def _known(quantities: Sequence[str]) -> set[str]:
    asked = {quantities} if isinstance(quantities, str) else set(quantities)
    if not asked or not asked <= set(QUANTITIES):
        raise InputError(
            f"unknown quantities {sorted(asked - set(QUANTITIES))}" if asked else "no quantity was asked for",
            source="quantities",
            remedy=f"Choose from {', '.join(QUANTITIES)}",
        )
    return asked
