"""How long reading takes: CSV beside pandas, fixed columns beside a Python loop, miniSEED beside pymseed alone."""

from __future__ import annotations

import hashlib
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np

from strongmotion import Component, Record, Station
from strongmotion.formats import read, write_csv, write_miniseed, write_text

SAMPLES, ROUNDS = 60_000, 25
START = np.datetime64("2031-04-17T03:26:27", "ns")


def compared(one: Callable[[], Any], two: Callable[[], Any]) -> tuple[float, float]:
    """Return the shortest times of both, taken in turns."""
    times: tuple[list[float], list[float]] = ([], [])
    for number in range(2 * ROUNDS):
        begun = time.perf_counter()
        (one, two)[number % 2]()
        times[number % 2].append(time.perf_counter() - begun)
    return min(times[0]), min(times[1])


def told(what: str, ours: float, beside: str, theirs: float) -> None:
    print(f"{what}: read {ours * 1e3:.2f} ms; {beside} {theirs * 1e3:.2f} ms; {ours / theirs:.2f} times as long")


def main() -> None:
    import pandas as pd
    from pymseed import MS3TraceList

    rng = np.random.default_rng(20310417)
    station = Station("QUAY", "XX")
    waves = [np.cumsum(rng.normal(size=SAMPLES)) for _ in range(3)]
    names = ("H1", "H2", "V")
    floats = Record(
        tuple(Component(n, w, 0.005, "cm/s2", start=START) for n, w in zip(names, waves, strict=True)), station
    )
    whole = Record(
        tuple(
            Component(n, (1000 * w).astype(np.int32), 0.005, "counts", 4e5, START)
            for n, w in zip(names, waves, strict=True)
        ),
        station,
    )
    print(f"3 x {SAMPLES} samples, shortest of {ROUNDS} rounds")
    with tempfile.TemporaryDirectory() as folder:
        csv, text, mseed = (Path(folder) / name for name in ("a.csv", "a.txt", "a.ms"))
        write_csv(floats, csv)
        header = next(i for i, line in enumerate(csv.read_text().splitlines()) if not line.startswith("#"))
        told("CSV", *_about(compared(lambda: read(csv), lambda: pd.read_csv(csv, skiprows=header)), "pandas.read_csv"))

        write_text(whole, text, layout="harbour")

        def loop() -> list[float]:
            lines = text.read_text().splitlines()
            per_component = len(lines) // 3
            blocks = [lines[i * per_component + 9 : (i + 1) * per_component] for i in range(3)]
            return [float(line[a : a + 10]) for block in blocks for line in block for a in range(0, len(line), 10)]

        ours, theirs = compared(lambda: read(text), loop)
        told("Fixed columns", ours, "a loop over float(line[a:b])", theirs)
        print(f"  that is {theirs / ours:.1f} times as fast")

        for version, encoding in ((2, "steim2"), (3, "steim2"), (3, "int32")):
            write_miniseed(whole, mseed, version=version, encoding=encoding)

            def alone() -> list[Any]:
                traces = MS3TraceList.from_file(mseed, unpack_data=True)
                return [segment.take_np_datasamples() for trace in traces for segment in trace]

            def hashed() -> list[Any]:
                hashlib.sha256(mseed.read_bytes()).hexdigest()
                return alone()

            name = f"miniSEED {version}, {encoding}"
            told(name, *_about(compared(lambda: read(mseed), alone), "pymseed alone"))
            told(name, *_about(compared(lambda: read(mseed), hashed), "pymseed and the file's SHA-256"))


def _about(times: tuple[float, float], beside: str) -> tuple[float, str, float]:
    return times[0], beside, times[1]
