"""Many oscillators solved at once: grouped by the resampling they need, cut into chunks, worked on in threads."""

from __future__ import annotations

import functools
import math
import os
from collections.abc import Callable, Iterable
from concurrent.futures import ThreadPoolExecutor
from functools import partial

import numpy as np
from numpy.typing import NDArray

from ..foundation.arrays import Floats
from ..foundation.errors import InputError
from .resampling import Interpolation, resample, resampling_factors

__all__ = [
    "Group",
    "angular_frequency",
    "factors_of",
    "group",
    "largest_responses",
    "oscillators",
    "parts",
    "run",
    "threads_for",
    "work",
]

LANES = 128
"""Most oscillators in one call of a kernel: their state stays in the first-level cache."""

THREADING_WORK = 2_000_000
"""Oscillators times samples below which threads cost more than they save."""

Group = tuple[int, NDArray[np.intp], NDArray[np.intp]]
"""A resampling factor, and the rows (dampings) and columns (periods) of the oscillators that need it."""


def angular_frequency(periods: Floats) -> Floats:
    """Return 2 pi / T, rad/s, and 0 at T = 0."""
    return np.divide(2 * np.pi, periods, out=np.zeros_like(periods), where=periods > 0)


def group(periods: Floats, dampings: int, dt: float, interpolation: Interpolation) -> list[Group]:
    """Group all oscillators but rigid ones by the resampling that their period needs."""
    factors = resampling_factors(periods, dt, interpolation)
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
    kernel: tuple[Callable[..., None], int],
    components: list[Floats],
    dt: float,
    periods: Floats,
    damping: Floats,
    groups: list[Group],
    interpolation: Interpolation,
    threads: int,
) -> Floats:
    """Run a kernel on every oscillator, each on the components resampled as its period needs, in threads.

    Beside the kernel stands the number of rows that it fills.

    Returns
    -------
    array (count, d, p)
        What the kernel fills its last argument with, by damping and period; 0 where the period is 0.
    """
    solving, count = kernel
    out = np.zeros((count, damping.size, periods.size))
    # Squares of very large or small samples would leave the range of numbers; a power of two changes no other bit.
    peak = max(max(float(a.max()), -float(a.min())) for a in components)
    scale = 1.0
    if peak > 0.0 and not 1e-100 < peak < 1e100:
        scale = math.ldexp(1.0, math.frexp(peak)[1] - 1)
        components = [component / scale for component in components]

    def solve(fine: list[Floats], step: float, row: NDArray[np.intp], column: NDArray[np.intp]) -> None:
        largest = np.empty((count, row.size))
        solving(*fine, step, 2 * np.pi / periods[column], damping[row], largest)
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
