"""Records a second into an archive, on one worker and on two, beside a plain script of SciPy and h5py.

A record has three components of 60 s at 200 Hz, read from CSV, with 100 periods at 5 dampings and RotD at
5 %. The plain script does what such scripts do: the mean off, `sosfiltfilt`, sums for velocity and displacement, two
`lfilter` for each oscillator (relative displacement and velocity), RotD by 180 angles, and h5py. It has no peaks
between samples, no motion after the end, no short periods made good, no corners chosen, no history, no checks, no
flush to disk. All are timed in turn in one run, since a shared machine does not keep its pace. Then the memory of the
parent over many small records, and how fast the index is rebuilt.
"""

from __future__ import annotations

import functools
import os
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import h5py
import numpy as np
from scipy.signal import butter, cont2discrete, lfilter, sosfiltfilt

from strongmotion import Archive, Component, Record, Settings, Station, batch, write_csv

from .spectra import processor

DT = 0.005
SAMPLES = 12_000
PERIODS = np.geomspace(0.05, 10.0, 100)
DAMPING = (0.02, 0.05, 0.1, 0.15, 0.2)
ROTATED = 0.05
SETTINGS = Settings.from_dict(
    {
        "spectra": {"periods": PERIODS.tolist(), "damping": list(DAMPING), "rotated_damping": [ROTATED]},
        "uncertainty": {"bands": False},  # the plain script has none; with bands a record is processed several times
    }
)
RECORDS = 32
WARM = 4
ROUNDS = 3

MEMORY = (200, 2000)


def shaking(seed: int, n: int = SAMPLES, dt: float = DT, names: tuple[str, ...] = ("H1", "H2", "V")) -> Record:
    """Return a record of shaped noise, the shape of common practice: rise, then exponential decay."""
    rng, time_ = np.random.default_rng(seed), np.arange(n) * dt
    onset = 0.2 * n * dt
    later = np.maximum(time_ - onset, 0.0)
    envelope = later / 3 * np.exp(1 - later / 3)
    band = butter(2, (0.2, 20.0), "bandpass", fs=1 / dt, output="sos")
    components = []
    for name in names:
        motion = sosfiltfilt(band, rng.normal(size=n)) * envelope + rng.normal(0, 1e-4, n)
        samples = np.round(motion * 4e5).astype(np.int32)
        components.append(Component(name, samples, dt, "counts", 4e5, np.datetime64("2031-04-17T03:26:27")))
    return Record(tuple(components), Station(f"S{seed:05d}", "XX"))


def plain(path: Path, folder: Path) -> None:
    """Process one record as a plain script would."""
    rows = np.loadtxt(path, delimiter=",", skiprows=9)
    band = butter(4, (0.1, 40.0), "bandpass", fs=1 / DT, output="sos")
    with h5py.File(folder / f"{path.stem}.h5", "w") as file:
        histories = {}
        for name, samples in zip(("H1", "H2", "V"), rows.T, strict=True):
            acceleration = sosfiltfilt(band, (samples - samples[:2000].mean()) / 4e5)
            velocity = np.cumsum(acceleration) * DT
            displacement = np.cumsum(velocity) * DT
            spectra = np.empty((5, len(DAMPING), len(PERIODS)))
            for i, damping in enumerate(DAMPING):
                for j, period in enumerate(PERIODS):
                    response, speed = oscillator(acceleration, period, damping)
                    omega, sd = 2 * np.pi / period, np.abs(response).max()
                    absolute = 2 * damping * omega * speed + omega**2 * response
                    spectra[:, i, j] = (sd, omega * sd, omega**2 * sd, np.abs(speed).max(), np.abs(absolute).max())
                    if name != "V" and damping == ROTATED:
                        histories[name, j] = response
            for key, array in (("a", acceleration), ("v", velocity), ("d", displacement), ("spectra", spectra)):
                file.create_dataset(f"{name}/{key}", data=array, compression="gzip", compression_opts=1)
        angles = np.radians(np.arange(180))[:, np.newaxis]
        rotated = [
            np.percentile(np.abs(np.cos(angles) * histories["H1", j] + np.sin(angles) * histories["H2", j]).max(1), q)
            for j in range(len(PERIODS))
            for q in (0, 50, 100)
        ]
        file.create_dataset("rotated", data=np.array(rotated).reshape(-1, 3))


def oscillator(acceleration: np.ndarray, period: float, damping: float) -> tuple[np.ndarray, np.ndarray]:
    """Return relative displacement and velocity by one second-order filter each."""
    of_displacement, of_velocity = filters(period, damping)
    return lfilter(*of_displacement, acceleration), lfilter(*of_velocity, acceleration)


@functools.cache
def filters(period: float, damping: float) -> list[tuple[np.ndarray, np.ndarray]]:
    """Return numerator and denominator of displacement and velocity, exact for acceleration linear between samples."""
    omega = 2 * np.pi / period
    found = []
    for numerator in ([-1.0], [-1.0, 0.0]):
        top, bottom, _ = cont2discrete((numerator, [1.0, 2 * damping * omega, omega**2]), DT, method="foh")
        found.append((top.ravel(), bottom))
    return found


def throughput(raw: Path) -> None:
    """Print records a second, from the fifth record on, so that the start of worker processes stands apart."""
    files = sorted(raw.iterdir())
    batch._threads = lambda *_: 1  # a worker alone would use all cores, and be no measure for two

    def ours(jobs: int) -> tuple[float, float]:
        times: list[float] = []
        with tempfile.TemporaryDirectory() as folder:
            begun = time.perf_counter()
            outcome = batch.process_files(
                files, Path(folder), SETTINGS, jobs=jobs, progress=lambda *_: times.append(time.perf_counter())
            )
        assert len(outcome.done) == RECORDS, outcome.failed
        return (len(times) - 1 - WARM) / (times[-1] - times[WARM]), times[1] - begun

    def script() -> tuple[float, float]:
        with tempfile.TemporaryDirectory() as folder:
            begun = time.perf_counter()
            for file in files[:2]:
                plain(file, Path(folder))
        return 2 / (time.perf_counter() - begun), 0.0

    script()
    ways = (("plain script", script), ("one worker", lambda: ours(1)), ("two workers", lambda: ours(2)))
    rates: dict[str, float] = {}
    starts: dict[str, float] = {}
    for _ in range(ROUNDS):
        for name, way in ways:
            rate, starts[name] = way()
            rates[name] = max(rates.get(name, 0.0), rate)
    load = os.getloadavg()[0] if hasattr(os, "getloadavg") else float("nan")
    print(f"{RECORDS} records; load of the machine {load:.1f}, this run included:")
    for name, rate in rates.items():
        first = f", the first after {starts[name]:.1f} s" if starts[name] else ""
        print(f"  {name:14} {rate:6.2f} records/s, {rate / rates['plain script']:5.2f} times the plain script{first}")
    print(f"  two workers are {rates['two workers'] / rates['one worker']:.2f} times one (wanted: 1.7)")
    print(f"  one worker is {rates['one worker'] / rates['plain script']:.2f} times the plain script (wanted: 8)\n")


PARENT = """
import sys
from pathlib import Path
from strongmotion import batch
from strongmotion import Settings
if __name__ == "__main__":
    files = sorted(Path(sys.argv[1]).iterdir())[: int(sys.argv[3])]
    settings = Settings.from_dict({"spectra": {"periods": [0.0, 0.3, 1.0]}})
    outcome = batch.process_files(files, sys.argv[2], settings, jobs=2)
    assert not outcome.failed, outcome.failed[:3]
    status = Path("/proc/self/status").read_text()  # getrusage would tell of the process this one was forked from
    print(status.split("VmHWM:")[1].split()[0])
"""


def memory(folder: Path) -> None:
    """Print the largest memory that a parent of two workers held, over few records and over many."""
    raw = folder / "small"
    raw.mkdir()
    for seed in range(MEMORY[-1]):
        write_csv(shaking(seed, 600, 0.02, ("H1",)), raw / f"s{seed:05d}.csv")
    script = folder / "parent.py"
    script.write_text(PARENT)
    held = []
    for number in MEMORY:
        command = [sys.executable, str(script), str(raw), str(folder / f"a{number}"), str(number)]
        environment = os.environ | {"PYTHONPATH": str(Path(__file__).parents[1])}
        begun = time.perf_counter()
        done = subprocess.run(command, capture_output=True, text=True, check=True, env=environment)
        seconds = time.perf_counter() - begun
        held.append(int(done.stdout) / 1024)
        print(
            f"  {number:5d} small records: {held[-1]:6.1f} MB at most in the parent, {number / seconds:.1f} records/s"
        )
    print(f"  {100 * (held[1] / held[0] - 1):+.1f} % from {MEMORY[0]} to {MEMORY[1]} records (wanted: within 10 %)\n")


def rebuilding(folder: Path) -> None:
    """Print how fast the index is rebuilt from files; `python -m benchmarks archive` asks it over many."""
    some = Archive(folder / f"a{MEMORY[-1]}", create=True)
    begun = time.perf_counter()
    some.index.refresh(rebuild=True)
    alone = len(some) / (time.perf_counter() - begun)
    begun = time.perf_counter()
    some.index.refresh(rebuild=True, jobs=2)
    shared = len(some) / (time.perf_counter() - begun)
    print(f"  index rebuilt at {alone:.0f} files/s in one process, {shared:.0f} in two ({len(some)} files)")


def main() -> None:
    print(f"{processor()}, {os.cpu_count()} processors\n")
    folder = Path(tempfile.mkdtemp())
    try:
        raw = folder / "raw"
        raw.mkdir()
        for seed in range(RECORDS):
            write_csv(shaking(seed), raw / f"s{seed:05d}.csv")
        throughput(raw)
        memory(folder)
        rebuilding(folder)
    finally:
        shutil.rmtree(folder)
