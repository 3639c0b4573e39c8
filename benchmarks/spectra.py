"""Response spectra: time per oscillator and sample, beside two ways of doing it without this library.

All are timed in turn in the same run, the best of several rounds each, since a shared machine does not keep its pace.
The two others solve for displacement at the samples only: no peaks between samples, no motion after the end.
"""

from __future__ import annotations

import platform
import time
from collections.abc import Callable
from pathlib import Path

import numba
import numpy as np
import scipy
from scipy.signal import lfilter

from strongmotion.spectra import _kernels, response_spectrum, rotated_spectrum

DT = 0.005
DAMPING = 0.05
CASES = [(4_000, 64), (20_000, 64), (20_000, 256), (60_000, 512)]
ROUNDS = 7
ROUND_SECONDS = 0.05


def shaking(n: int) -> np.ndarray:
    return np.random.default_rng(n).standard_normal(n) * np.hanning(n)


def filtered(acceleration: np.ndarray, coefficients: np.ndarray) -> np.ndarray:
    """Largest |u| at the samples by one second-order filter an oscillator."""
    peaks = np.empty(len(coefficients))
    for i, (d, c, w00, w01, _, _, b, _) in enumerate(coefficients):
        trace = 1 + d - c
        # u = W00 p + W01 q + b a, and p, q have one denominator.
        numerator = [b, w00 + w01 - b * trace, b * d - w01]
        peaks[i] = np.abs(lfilter(numerator, [1, -trace, d], acceleration)).max()
    return peaks


def looped(acceleration: np.ndarray, coefficients: np.ndarray) -> np.ndarray:
    """Largest |u| at the samples by a loop over time, NumPy over oscillators."""
    d, c, w00, w01, _, _, b, _ = coefficients.T
    p = q = peaks = np.zeros(len(coefficients))
    for a in acceleration:
        peaks = np.maximum(peaks, np.abs(w00 * p + w01 * q + b * a))
        q = d * q - c * p + a
        p = p + q
    return peaks


def best(job: Callable[[], object], rounds: int = ROUNDS) -> float:
    job()
    times = []
    for _ in range(rounds):
        calls, start = 0, time.perf_counter()
        while True:
            job()
            calls += 1
            taken = time.perf_counter() - start
            if taken > ROUND_SECONDS:
                break
        times.append(taken / calls)
    return min(times)


def processor() -> str:
    try:
        lines = Path("/proc/cpuinfo").read_text().splitlines()
        return next(line.split(":")[1].strip() for line in lines if line.startswith("model name"))
    except (OSError, StopIteration):
        return platform.processor() or platform.machine()


def main() -> None:
    host = numba.core.codegen.get_host_cpu_features().split(",") if hasattr(numba.core, "codegen") else []
    wide = "AVX-512" if "+avx512f" in host else "no AVX-512"
    print(f"{processor()}, {wide}, Python {platform.python_version()}, NumPy {np.__version__}, ", end="")
    print(f"SciPy {scipy.__version__}, Numba {numba.__version__}")
    print("ns per oscillator and sample; in brackets how many times faster than scipy.signal.lfilter, same run\n")
    print(f"{'samples':>8} {'periods':>8} {'lfilter':>8} {'NumPy loop':>11}", end="")
    print(f" {'SD, 1 thread':>16} {'SD, 2 threads':>16} {'all five, 1':>16} {'all five, 2':>16}")
    for n, m in CASES:
        acceleration, periods = shaking(n), np.geomspace(64 * DT, 20, m)
        coefficients = np.array([_kernels.step_coefficients(2 * np.pi / period, DAMPING, DT) for period in periods])
        # The three agree on what they compute: the peak at the samples, which ours may only exceed.
        found = response_spectrum(acceleration, DT, periods, DAMPING, ["sd"]).sd[0]
        plain = filtered(acceleration, coefficients[:4])
        np.testing.assert_allclose(plain, looped(acceleration, coefficients[:4]), rtol=1e-6)
        if not ((found[:4] > plain * (1 - 1e-9)) & (found[:4] < plain * 1.05)).all():
            raise AssertionError("the ways do not agree: nothing here may be compared")
        scale = 1e9 / n / m
        by_filter = best(lambda a=acceleration, c=coefficients: filtered(a, c), 2) * scale
        few = coefficients[: max(8, m // 8)] if n > 20_000 else coefficients
        by_loop = best(lambda a=acceleration, c=few: looped(a, c), 1) * 1e9 / n / len(few)
        print(f"{n:8d} {m:8d} {by_filter:8.2f} {by_loop:11.1f}", end="")
        for quantities in (["sd"], ["sd", "psv", "psa", "sv", "sa"]):
            for threads in (1, 2):
                seconds = best(
                    lambda a=acceleration, p=periods, q=quantities, t=threads: response_spectrum(
                        a, DT, p, DAMPING, q, threads=t
                    )
                )
                print(f" {seconds * scale:8.3f} ({by_filter / (seconds * scale):4.1f}x)", end="")
        print()

    n = 12_000
    one, two = shaking(n), shaking(n + 1)[:n]
    print(f"\ndefault periods, 5 %, {n} samples, resampled where short, one thread:")
    print(f"  response_spectrum, all five: {1e3 * best(lambda: response_spectrum(one, DT, threads=1)):7.2f} ms")
    print(f"  rotated_spectrum, 180 angles: {1e3 * best(lambda: rotated_spectrum(one, two, DT, threads=1), 3):6.2f} ms")
