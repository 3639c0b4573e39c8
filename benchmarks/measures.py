"""Measures and smoothing: the whole table beside the spectra of the same record, and Konno & Ohmachi beside NumPy."""

from __future__ import annotations

import time
from collections.abc import Callable
from functools import partial

import numpy as np

from strongmotion.measures import measure_table
from strongmotion.motion import Motion
from strongmotion.spectra import konno_ohmachi, response_spectrum

DT = 0.005
ROUNDS = 7


def in_turn(*jobs: Callable[[], object]) -> list[float]:
    """Return the best time of each job, s; all are run in turn, since a shared machine does not keep its pace."""
    times: list[list[float]] = [[] for _ in jobs]
    for job in jobs:
        job()
    for _ in range(ROUNDS):
        for job, taken in zip(jobs, times, strict=True):
            start = time.perf_counter()
            job()
            taken.append(time.perf_counter() - start)
    return [min(taken) for taken in times]


def direct(frequency: np.ndarray, amplitude: np.ndarray, centres: np.ndarray, bandwidth: float) -> np.ndarray:
    """Smooth by the formula, a loop over centres, NumPy over frequencies."""
    smooth = np.empty(centres.size)
    for i, centre in enumerate(centres):
        weight = np.sinc(bandwidth / np.pi * np.log10(frequency / centre)) ** 4
        smooth[i] = (weight * amplitude).sum() / weight.sum()
    return smooth


def main() -> None:
    periods = np.geomspace(0.01, 10.0, 100)
    for n in (4_000, 12_000, 60_000):
        rows = np.random.default_rng(n).standard_normal((3, n)) * np.hanning(n)
        motion = {name: Motion(name, a, DT, a, a) for name, a in zip(("H1", "H2", "V"), rows, strict=True)}

        def spectra(rows: np.ndarray = rows) -> None:
            for a in rows:
                response_spectrum(a, DT, periods, threads=1)

        table, spectrum = in_turn(partial(measure_table, motion, threads=1), spectra)
        print(
            f"{n:6d} samples, 3 components: measures {1e3 * table:6.1f} ms, spectra at 100 periods, 5 %, "
            f"{1e3 * spectrum:6.1f} ms, ratio {table / spectrum:4.2f}"
        )

    frequency, centres = np.linspace(0, 100, 30_001)[1:], np.geomspace(0.1, 90, 300)
    amplitude = np.random.default_rng(1).lognormal(size=frequency.size)
    ours, plain = in_turn(
        lambda: konno_ohmachi(frequency, amplitude, centres), lambda: direct(frequency, amplitude, centres, 40.0)
    )
    apart = np.abs(konno_ohmachi(frequency, amplitude, centres) / direct(frequency, amplitude, centres, 40.0) - 1).max()
    print(
        f"Konno & Ohmachi, 30 000 frequencies to 300 centres: {1e3 * ours:.1f} ms, NumPy {1e3 * plain:.0f} ms, "
        f"{plain / ours:.0f} times; apart by {apart:.1e}"
    )
