"""Low-cuts from 0.02 to 0.5 Hz: whether the bands of PGV and PGD hold what the filter takes.

Published motions have no energy below their own low-cut, so they cannot tell. The truth here is simulated, and its long
periods are known: the motions of `benchmarks.simulations`, stochastic ones made otherwise (`stochastic`), and ones that
end displaced. The far-field components of FEMA P695 are shown apart. What the chain assumes was chosen on the first of
these classes, with other seeds.
"""

from __future__ import annotations

import itertools
import os
import sys
import time
from collections.abc import Callable, Iterable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.signal import lfilter

import strongmotion as sm
from strongmotion.chain import integrate_twice

from . import restoration, simulations

Floats = NDArray[np.float64]

SEED = 51423
RECORDS = 80
"""How many records of each class are drawn."""

LOW_CUTS = (0.02, 0.05, 0.1, 0.2, 0.5)
"""Hz; limits of the classes of low-cut in the table."""

NAMES = ("H1", "H2", "V")
PERIODS = (0.1, 0.5, 1.0, 2.0, 3.0, 5.0, 7.5, 10.0, 15.0, 20.0)


@dataclass(frozen=True)
class Recorded:
    """A record, the true acceleration of its components, m/s², and its low-cut, Hz, or ``"auto"``."""

    record: sm.Record
    truth: dict[str, Floats]
    low_cut: float | str


def drawn_low_cut(rng: np.random.Generator) -> float | str:
    """Draw a low-cut from 0.02 to 0.5 Hz, given three times in four, else chosen by the chain."""
    given = simulations.log_uniform(rng, LOW_CUTS[0], LOW_CUTS[-1])
    return given if rng.random() < 0.75 else "auto"


def simulated(rng: np.random.Generator, number: int) -> Recorded:
    """Draw a motion of `benchmarks.simulations` without a permanent displacement, and record it."""
    motion = simulations.draw_motion(rng, rate=float(rng.choice([100.0, 200.0])), before=20.0, after=40.0, fling=False)
    seen = simulations.record_motion(rng, motion)
    parts = (
        sm.Component(name, acceleration, motion.dt)
        if seen.counts is None
        else sm.Component(name, counts, motion.dt, "counts", 1.0 / seen.count)
        for name, acceleration, counts in zip(
            NAMES, seen.acceleration, seen.acceleration if seen.counts is None else seen.counts, strict=True
        )
    )
    record = sm.Record(tuple(parts), sm.Station(f"S{number:04d}"))
    return Recorded(record, dict(zip(NAMES, motion.acceleration, strict=True)), drawn_low_cut(rng))


def stochastic(rng: np.random.Generator, number: int) -> Recorded:
    """Simulate noise under a window t² exp(-t/tau), made slow by two poles at the corner frequency (Brune, 1970).

    Displacement has a flat spectrum below the corner of 0.05 to 0.5 Hz, begins at rest and dies away. Noise of the
    instrument is white, and grows as 1/f below 0.1 Hz.
    """
    dt, before, after = 0.01, 20.0, 60.0
    tau, corner, peak = (simulations.log_uniform(rng, *of) for of in ((1.0, 5.0), (0.05, 0.5), (0.05, 8.0)))
    n = round((12.0 * tau + after) / dt)
    elapsed = np.arange(n) * dt
    window = elapsed**2 * np.exp(-elapsed / tau) * (elapsed < 12.0 * tau)
    # (s / (s + w))², by the bilinear rule: velocity and displacement come to rest.
    pole = (1.0 - np.pi * corner * dt) / (1.0 + np.pi * corner * dt)
    gain = 1.0 / (1.0 + np.pi * corner * dt)
    damping = np.exp(-dt * 2.0 * np.pi * rng.uniform(4.0, 15.0))
    truth, parts = {}, []
    for name in NAMES[:2]:
        acceleration = rng.normal(size=n) * window
        for _ in range(2):
            acceleration = lfilter([gain, -gain], [1.0, -pole], acceleration)
            acceleration = lfilter([1.0 - damping], [1.0, -damping], acceleration)
        acceleration = np.pad(acceleration * (peak / np.abs(acceleration).max()), (round(before / dt), 0))
        noise = restoration.noise(len(acceleration), dt, peak / simulations.log_uniform(rng, 100.0, 1e4), rng)
        parts.append(sm.Component(name, acceleration + noise + rng.uniform(-0.05, 0.05), dt))
        truth[name] = acceleration
    return Recorded(sm.Record(tuple(parts), sm.Station(f"N{number:04d}")), truth, drawn_low_cut(rng))


def displaced(rng: np.random.Generator, number: int) -> Recorded:
    """Record a simulated pair that ends displaced by 0.1 to 3 m; the low-cut takes the displacement."""
    pairs = restoration.fling()
    truth = pairs[number % len(pairs)]
    cut = simulations.log_uniform(rng, LOW_CUTS[0], LOW_CUTS[-1])
    return Recorded(restoration.instrument(truth, rng), truth.acceleration, cut)


def published(rng: np.random.Generator, number: int) -> Recorded:
    """Record a far-field pair with a modern instrument."""
    pairs = restoration.far_field()
    truth = pairs[number % len(pairs)]
    return Recorded(restoration.instrument(truth, rng), truth.acceleration, drawn_low_cut(rng))


CLASSES: dict[str, Callable[[np.random.Generator, int], Recorded]] = {
    "simulations": simulated,
    "stochastic": stochastic,
    "displaced": displaced,
    "far field": published,
}


def judge(case: str, number: int, seed: int = SEED) -> list[dict[str, object]]:
    """Record, process and compare; a row a component and quantity, of those fit and without a baseline shift."""
    recorded = CLASSES[case](np.random.default_rng((seed, list(CLASSES).index(case), number)), number)
    settings = sm.Settings.from_dict(
        {"filter": {"low_cut": recorded.low_cut}, "spectra": {"periods": list(PERIODS), "rotated_damping": [0.05]}}
    )
    result = sm.process(recorded.record, settings, threads=1)
    rows: list[dict[str, object]] = []
    for name, acceleration in recorded.truth.items():
        findings = [finding for finding in result.findings if finding.component in ("", name)]
        if any(finding.severity == "unfit" or finding.name == "baseline shift" for finding in findings):
            continue
        its = [finding for finding in findings if finding.name == "low-cut takes motion"]
        dt = recorded.record.dt
        velocity, displacement = integrate_twice(acceleration, dt)
        peaks = result.peaks[result.peaks.component == name].set_index("quantity")
        common = {
            "case": case,
            "number": number,
            "component": name,
            "chosen": recorded.low_cut == "auto",
            "low_cut": result.usable_band[name].low_cut,
        }
        for quantity, history in (("PGV", velocity), ("PGD", displacement)):
            truth, row = float(np.abs(history).max()), peaks.loc[quantity]
            rows.append(
                common | {
                    "quantity": quantity, "value": row.value / truth, "held": row.band_low <= truth <= row.band_high,
                    "above": truth > row.band_high, "width": (row.band_high - row.band_low) / truth,
                    "low": 1.0 - row.value / truth > 0.1,
                    "said": any(finding.values[f"{quantity.lower()}_taken_fraction"] > 0.1 for finding in its),
                }
            )  # fmt: skip
        table = result.spectra[(result.spectra.component == name) & result.spectra.usable]
        psa = sm.response_spectrum(acceleration, dt, table.period.to_numpy(), quantities=("psa",), threads=1).psa
        for row, truth in zip(table.itertuples(), () if psa is None else psa[0], strict=True):
            rows.append(
                common | {
                    "quantity": "PSA", "period": row.period, "value": row.psa / truth,
                    "held": row.psa_low <= truth <= row.psa_high,
                    "above": truth > row.psa_high, "width": (row.psa_high - row.psa_low) / truth,
                }
            )  # fmt: skip
    return rows


def run(cases: Iterable[str] = CLASSES, records: int = RECORDS, workers: int | None = None) -> pd.DataFrame:
    """Judge so many records of each class."""
    jobs = [(case, number) for case in cases for number in range(records)]
    if workers == 1:
        return pd.DataFrame([row for job in jobs for row in judge(*job)])
    with ProcessPoolExecutor(workers or os.cpu_count()) as pool:
        return pd.DataFrame([row for rows in pool.map(judge, *zip(*jobs, strict=True)) for row in rows])


def table(rows: pd.DataFrame) -> pd.DataFrame:
    """Tabulate by class, quantity and low-cut, in percent.

    How far values fall short (median), how many bands hold the truth, how many lie below it, and their median width;
    how many values more than a tenth too low there are, of how many a finding says so, and of how many others.
    """
    limits = list(itertools.pairwise(LOW_CUTS))
    lines = []
    for (case, quantity), part in rows.groupby(["case", "quantity"], sort=False):
        classes = [("given, all", part[~part.chosen]), ("chosen", part[part.chosen])]
        classes[1:1] = [
            (f"{low:g} to {high:g} Hz", part[~part.chosen & (part.low_cut >= low) & (part.low_cut < high)])
            for low, high in limits
        ]
        for label, its in classes:
            if its.empty:
                continue
            line = {"class": case, "quantity": quantity, "low-cut": label, "of": len(its)}
            line |= {"short": 100 * (1 - its.value.median()), "hold": 100 * its.held.mean()}
            line |= {"below": 100 * its.above.mean(), "width": 100 * its.width.median()}
            if quantity != "PSA":
                low = its.low.astype(bool)
                line |= {"10 % low": 100 * low.mean(), "said": 100 * its.said[low].mean()}
                line |= {"said of others": 100 * its.said[~low].mean()}
            lines.append(line)
    return pd.DataFrame(lines).set_index(["class", "quantity", "low-cut"])


def main(arguments: list[str] | None = None) -> None:
    """Print the table; the names of classes may be given."""
    begun = time.perf_counter()
    for case in arguments or CLASSES:
        with pd.option_context("display.width", 200, "display.precision", 1):
            print(table(run([case])).to_string(), flush=True)
    print(f"{time.perf_counter() - begun:.0f} s", file=sys.stderr)
