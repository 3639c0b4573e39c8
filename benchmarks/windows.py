"""Windows, corners and onsets: records of any length and rate, continuous data, and coarse counts.

The motions are those of `benchmarks.simulations`, whose truth is known, and which were written without a look at the
chain. `SEED` was used for nothing else. Each line names what is wanted beside what is found.
"""

from __future__ import annotations

import multiprocessing
import resource
import tempfile
import time
from collections.abc import Iterable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pandas as pd

import strongmotion as sm
from strongmotion.batch import process_files
from strongmotion.chain import correct, cut_to_shaking, integrate_twice
from strongmotion.checks import examine
from strongmotion.formats import write_miniseed
from strongmotion.foundation.errors import RecordError

from . import simulations

SEED = 90210
NAMES = ("H1", "H2", "V")
RECORDS, LONG, HOURS, COARSE = 2000, 60, 30, 40
"""How many records are drawn, lengthened, hours of continuous data simulated, and records a size of count."""

JOBS = 2
PERIODS = (0.05, 0.1, 0.2, 0.5, 1.0, 2.0, 5.0)


def as_record(simulated: simulations.SimulatedRecord) -> sm.Record:
    """Return what the instrument gave, in counts where it is digital."""
    if simulated.counts is None:
        return in_m_s2(simulated.acceleration, simulated.dt)
    return in_counts(simulated.counts, simulated.count, simulated.dt)


def in_m_s2(acceleration: Iterable, dt: float) -> sm.Record:
    """Return a record of acceleration."""
    return sm.Record(tuple(sm.Component(name, row, dt) for name, row in zip(NAMES, acceleration, strict=True)))


def in_counts(counts: Iterable, count: float, dt: float, **more: object) -> sm.Record:
    """Return a record of whole counts of `count` m/s²."""
    return sm.Record(
        tuple(
            sm.Component(name, samples, dt, "counts", 1.0 / count, channel=f"HN{letter}", **more)
            for name, letter, samples in zip(NAMES, "12Z", counts, strict=True)
        ),
        sm.Station("QUAY", "XX"),
    )


# Records drawn


def drawn(number: int) -> dict[str, bool]:
    """Draw a record, and tell what the chain does to it."""
    simulated = simulations.draw_record(np.random.default_rng((SEED, 1, number)))
    record, truth = as_record(simulated), simulated.truth
    settings = sm.Settings()
    made = correct(record, settings)
    findings = (*examine(record), *made.findings)
    told = dict.fromkeys(("silent", "doubt", "unfit", "late", "onset"), False)
    noise = float(np.hypot(simulated.noise_rms, simulated.count / np.sqrt(12)))
    for name, acceleration in zip(NAMES, truth.acceleration, strict=True):
        peak = float(np.abs(acceleration).max())
        off = abs(float(np.abs(made.motion[name].acceleration).max()) - peak) > 0.05 * peak + 3 * noise
        its = [finding for finding in findings if finding.component in ("", name) and "PGA" in finding.touches.peaks]
        severities = {finding.severity for finding in its}
        told["silent"] |= off and not severities
        told["doubt"] |= off and "unfit" not in severities
        told["unfit"] |= not off and "unfit" in severities
    before = truth.onset * record.dt
    told["late"] = before >= 10 and any(finding.name == "late start" for finding in findings)
    told["onset"] = abs(made.windows.onset - truth.onset) * record.dt > 0.5
    return told


def show_drawn(pool: ProcessPoolExecutor) -> None:
    """Print how many of the records drawn are wrong, and in what way."""
    results = pd.DataFrame(pool.map(drawn, range(RECORDS), chunksize=8))
    print(f"{RECORDS} records drawn, in percent of records; wrong: PGA off by more than 5 % plus 3 noise rms")
    for key, what, wanted in (
        ("silent", "a component wrong without a finding", 0.2),
        ("doubt", "a component wrong with at most a doubt", 2.0),
        ("unfit", "a component unfit though right", 1.0),
        ("late", "said to start late after 10 s of quiet", 0.5),
        ("onset", "onset off by more than 0.5 s", 3.0),
    ):
        print(f"  {what:45}{100 * results[key].mean():8.2f}   wanted at most {wanted}")


# Longer files


def lengthened(number: int) -> list[dict[str, object]]:
    """Add 5 min or 1 h of the same noise before or after a record, and compare what comes out."""
    rng = np.random.default_rng((SEED, 2, number))
    rate = float(rng.choice([50.0, 100.0, 200.0]))
    before, after = (simulations.log_uniform(rng, 20, most) for most in (120, 600))
    truth = simulations.draw_motion(rng, rate=rate, before=before, after=after, fling=False)
    dt, n, hour = truth.dt, truth.acceleration.shape[1], round(3600 * rate)
    peak = max(truth.shocks[0].pga)
    noise = simulations.instrument_noise(rng, n + 2 * hour, dt, str(rng.choice(["white", "mixed"])))
    whole = noise * peak / simulations.log_uniform(rng, 30, 10_000)
    whole[:, hour : hour + n] += truth.acceleration

    def outcome(earlier: float, later: float) -> tuple[dict[str, tuple[float, float, float, float]], int]:
        first, last = hour - round(earlier * rate), hour + n + round(later * rate)
        record = in_m_s2(whole[:, first:last], dt)
        part = cut_to_shaking(record, sm.Settings())
        made = correct(part, sm.Settings())
        doubts = sum(finding.severity != "note" for finding in (*examine(part), *made.findings))
        return {
            name: (band.low_cut, band.high_cut or band.nyquist, band.longest_period,
                   float(np.abs(made.motion[name].acceleration).max()))
            for name, band in made.usable_band.items() if name in NAMES
        }, doubts  # fmt: skip

    base, doubts = outcome(0.0, 0.0)
    rows: list[dict[str, object]] = []
    for where, earlier, later in (("after", 0, 300), ("after", 0, 3600), ("before", 300, 0), ("before", 3600, 0)):
        try:
            longer, others = outcome(earlier, later)
        except RecordError:  # nothing is found that is worth a record
            rows.append({"where": f"{max(earlier, later)} s {where}", "refused": True})
            continue
        for name, (low, high, longest, pga) in longer.items():
            low_0, high_0, longest_0, pga_0 = base[name]
            rows.append({
                "where": f"{max(earlier, later)} s {where}",
                "corners": max(abs(low / low_0 - 1) if low_0 else float(low > 0), abs(high / high_0 - 1)),
                "pga": abs(pga / pga_0 - 1), "lost": longest < 0.8 * longest_0, "doubts": others - doubts,
                "refused": False,
            })  # fmt: skip
    return rows


def show_lengths(pool: ProcessPoolExecutor) -> None:
    """Print how far corners and peaks move with the length of the file."""
    table = pd.DataFrame([row for rows in pool.map(lengthened, range(LONG)) for row in rows])
    print(f"\n{LONG} records with at least 20 s of quiet on both sides, longer by noise; in percent of components")
    for where, every in table.groupby("where", sort=False):
        rows = every[~every.refused.astype(bool)].drop(columns="refused").astype({"lost": bool})
        most = 0.03 if "after" in where else 0.2
        print(
            f"  {where:14} a corner moves by more than {most:.0%}: {100 * (rows.corners > most).mean():.1f}; "
            f"PGA by more than 0.5 %: {100 * (rows.pga > 0.005).mean():.1f}; a fifth of the usable periods lost: "
            f"{100 * rows.lost.mean():.1f}; median and largest change of corners {rows.corners.median():.2%}, "
            f"{rows.corners.max():.1%}, of PGA {rows.pga.median():.3%}, {rows.pga.max():.2%}; "
            f"more doubts: {100 * (rows.doubts > 0).mean():.1f}, fewer: {100 * (rows.doubts < 0).mean():.1f}; "
            f"records refused: {int(every.refused.sum())}"
        )


# Continuous data


@dataclass(frozen=True)
class Searched:
    """What was found in one file: shocks in it, missed, invented, errors of PGA, seconds taken and memory, GB."""

    shocks: int
    missed: int
    invented: int
    errors: list[tuple[float, float]]
    seconds: float
    memory: float


def search(file: Path, archive: Path) -> tuple[list[tuple[float, float, dict[str, float]]], float, float]:
    """Process a file, a record a shock; return begin, end and PGA of each, the time it took, and the memory, GB."""
    begun = time.perf_counter()
    process_files([file], archive, reading={"sensitivity": 1e6}, split_shocks=True)
    taken = time.perf_counter() - begun
    found = []
    for result in map(
        sm.Archive(archive).__getitem__, sm.Archive(archive).ids() if (archive / "records").exists() else ()
    ):
        peaks = result.peaks[result.peaks.quantity == "PGA"].set_index("component").value
        onset = result.record.source.first_sample * result.record.dt + result.windows.onset * result.record.dt
        last = result.record.source.first_sample * result.record.dt + result.windows.strong[1] * result.record.dt
        found.append((onset, last, {name: float(peaks[name]) for name in NAMES}))
    return found, taken, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6


def searched(hours: float, shocks: int, number: int) -> Searched:
    """Simulate continuous data as miniSEED, search it in a process of its own, and compare."""
    rng = np.random.default_rng((SEED, 3, round(hours), number))
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "day.ms"
        data = simulations.continuous(rng, hours, 100.0, shocks)
        counts = np.rint(data.acceleration * 1e6).astype(np.int32)
        truth, noise, dt = data.shocks, data.noise_rms, data.dt
        del data
        write_miniseed(in_counts(counts, 1e-6, dt, start=np.datetime64("2031-03-17T00:00:00", "ns")), file)
        del counts
        with multiprocessing.get_context("spawn").Pool(1) as one:
            found, seconds, memory = one.apply(search, (file, Path(folder) / "archive"))
    errors, left = [], list(found)
    missed = 0
    for shock in truth:
        hit = [its for its in left if its[0] < shock.strong_end * dt and its[1] > shock.onset * dt]
        if not hit:
            missed += 1
            continue
        left.remove(hit[0])
        errors += [(abs(hit[0][2][name] / pga - 1), noise / pga) for name, pga in zip(NAMES, shock.pga, strict=True)]
    return Searched(shocks, missed, len(left), errors, seconds, memory)


def show_continuous(hours: float, files: int) -> None:
    """Print what is found in continuous data."""
    all_of = [searched(hours, (0, 1, 3)[number % 3], number) for number in range(files)]
    errors = np.array([error for one in all_of for error in one.errors])
    quiet = errors[errors[:, 1] < 0.001]
    print(
        f"\n{files} files of {hours:g} h, 3 components at 100 Hz, 0, 1 and 3 shocks of 0.02 to 5 m/s², as miniSEED\n"
        f"  {sum(one.shocks for one in all_of)} shocks, missed {sum(one.missed for one in all_of)}, "
        f"invented {sum(one.invented for one in all_of)}\n"
        f"  PGA within 1 %: {100 * (errors[:, 0] < 0.01).mean():.1f} % of all components, "
        f"{100 * (quiet[:, 0] < 0.01).mean():.1f} % of the {len(quiet)} with noise by night below 0.1 % of the peak; "
        f"within 1 % plus 3 times that noise: {100 * (errors[:, 0] < 0.01 + 3 * errors[:, 1]).mean():.1f} %\n"
        f"  reading, search and processing: {max(one.seconds for one in all_of):.1f} s at most, "
        f"{max(one.memory for one in all_of):.2f} GB at most"
    )


# Coarse counts


def coarse(bits: int, level: str, number: int) -> list[dict[str, object]]:
    """Record a motion at a quiet or a noisy site with so many bits, and look whether the bands hold the truth."""
    rng = np.random.default_rng((SEED, 4, bits, level == "quiet", number))
    full_scale = 2.0
    count = full_scale * simulations.STANDARD_GRAVITY / 2 ** (bits - 1)
    least = max(20 * count, 0.05)
    truth = simulations.draw_motion(
        rng, fling=False, peak=simulations.log_uniform(rng, least, 0.6 * full_scale * 9.8), before=20.0, after=30.0
    )
    noise = 2e-6 if level == "quiet" else 2e-3
    n = truth.acceleration.shape[1]
    seen = truth.acceleration + noise * simulations.instrument_noise(rng, n, truth.dt) + rng.uniform(-0.1, 0.1, (3, 1))
    counts, count, _ = simulations.digitise(seen, bits, full_scale, rng)
    settings = replace(sm.Settings(), spectra=replace(sm.Settings().spectra, periods=PERIODS))
    result = sm.process(in_counts(counts, count, truth.dt), settings)
    unfit = {finding.component for finding in result.findings if finding.severity == "unfit"}
    rows: list[dict[str, object]] = []
    for name, acceleration in zip(NAMES, truth.acceleration, strict=True):
        if unfit & {name, ""}:
            continue
        velocity, displacement = integrate_twice(acceleration, truth.dt)
        true = {"PGA": acceleration, "PGV": velocity, "PGD": displacement}
        for row in result.peaks[result.peaks.component == name].itertuples():
            value = float(np.abs(true[row.quantity]).max())
            width = (row.band_high - row.band_low) / 2 / value
            rows.append({"quantity": row.quantity, "holds": row.band_low <= value <= row.band_high,
                         "width": width})  # fmt: skip
        table = result.spectra[(result.spectra.component == name) & result.spectra.usable & (result.spectra.period > 0)]
        if len(table):
            psa = sm.response_spectrum(acceleration, truth.dt, table.period.to_numpy(), quantities=("psa",)).psa[0]
            for row, value in zip(table.itertuples(), psa, strict=True):
                rows.append({"quantity": "PSA", "holds": row.psa_low <= value <= row.psa_high,
                             "width": (row.psa_high - row.psa_low) / 2 / value})  # fmt: skip
        its = result.baseline[name].displacement
        told = its is not None and its.resolved and (its.low > 0 or its.high < 0) and abs(its.value) > 0.03
        rows.append({"quantity": "invented displacement", "holds": not told, "width": np.nan})
    return rows


def show_coarse(pool: ProcessPoolExecutor) -> None:
    """Print how often the bands hold, by size of count and level of noise."""
    print(f"\nBands of 5 to 95 % that hold, percent (median half width, percent), {COARSE} records each")
    for bits in (8, 12, 16, 24):
        for level in ("quiet", "noisy"):
            jobs = [pool.submit(coarse, bits, level, number) for number in range(COARSE)]
            table = pd.DataFrame([row for job in jobs for row in job.result()])
            shown = []
            for quantity, rows in table.groupby("quantity", sort=False):
                if quantity == "invented displacement":
                    shown.append(f"{quantity}s {int((~rows.holds.astype(bool)).sum())}")
                else:
                    shown.append(f"{quantity} {100 * rows.holds.mean():.0f} ({100 * rows.width.median():.2g})")
            print(f"  {bits:2} bit, {level:6}: {', '.join(shown)}")


def main() -> None:
    """Print each figure."""
    with ProcessPoolExecutor(JOBS) as pool:
        show_drawn(pool)
        show_lengths(pool)
        show_coarse(pool)
    show_continuous(1.0, HOURS)
    show_continuous(24.0, 3)
