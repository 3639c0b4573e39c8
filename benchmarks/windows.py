"""Records drawn over a wide spread of sampling rates, lengths of quiet and levels of noise, and judged by the chain.

Simulated shaking is noise under an envelope, band-limited with zero phase below its own corners, at rest before and
after. Everything is seeded by `SEED` and the number of the record.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.signal import butter, sosfilt

import strongmotion as sm
from strongmotion.chain import correct
from strongmotion.checks import examine

Floats = NDArray[np.float64]

NAMES = ("H1", "H2", "V")
RATES = (50.0, 100.0, 125.0, 200.0, 250.0, 500.0)


@dataclass(frozen=True)
class Drawn:
    """A record, the true motion of its components, m/s², the noise rms by component, and where shaking emerges, s."""

    record: sm.Record
    truth: dict[str, Floats]
    noise: float
    onset: float
    quiet_before: float


def log_uniform(low: float, high: float, rng: np.random.Generator) -> float:
    """Draw a number whose logarithm is uniform."""
    return float(np.exp(rng.uniform(np.log(low), np.log(high))))


def shaking(duration: float, low: float, high: float, rate: float, rng: np.random.Generator) -> Floats:
    """Return one component of shaking, largest 1: noise under an envelope, in a band, from rest to rest."""
    n = round(duration * rate)
    time = np.arange(n) / rate
    kind = rng.integers(3)
    if kind == 0:  # rises, and decays slowly
        peak = rng.uniform(0.1, 0.3) * duration
        envelope = (time / peak) ** 2 * np.exp(2 * (1 - time / peak))
    elif kind == 1:  # sudden, level, and decays
        level = rng.uniform(0.3, 0.7) * duration
        envelope = np.minimum(1.0, time / min(0.3, 0.05 * duration)) * np.exp(
            -np.maximum(0.0, time - level) / (0.08 * duration)
        )
    else:  # P, then S
        s = rng.uniform(0.1, 0.4) * duration
        envelope = 0.2 * np.minimum(1.0, time / 0.1) * np.exp(-time / (0.3 * duration))
        envelope += (
            (time > s) * np.exp(-(time - s) / (0.15 * duration)) * np.minimum(1.0, np.maximum(0, time - s) / 0.3)
        )
    envelope *= np.clip((duration - time) / (0.1 * duration), 0, 1)
    # Causal filters, so that nothing moves before the first sample; below `low` acceleration falls as f³, at rest.
    pad = round(3 / low * rate)
    whole = np.concatenate((rng.normal(size=n) * envelope, np.zeros(pad)))
    whole = sosfilt(butter(3, low, "highpass", fs=rate, output="sos"), whole)
    return sosfilt(butter(4, high, "lowpass", fs=rate, output="sos"), whole)


def noise(n: int, rate: float, rng: np.random.Generator) -> Floats:
    """Return noise of rms about 1: white, growing as 1/f below 0.05 to 0.5 Hz."""
    corner = log_uniform(0.02, 0.3, rng)
    m = 1 << int(np.ceil(np.log2(n)))
    frequency = np.fft.rfftfreq(m, 1 / rate)
    frequency[0] = frequency[1]
    spectrum = np.fft.rfft(rng.normal(size=m)) * np.sqrt(1 + (corner / frequency) ** 2)
    spectrum[frequency < 0.005] = 0
    return np.fft.irfft(spectrum, m)[:n]


def draw(seed: int, number: int, before: float | None = None, after: float | None = None) -> Drawn:
    """Draw one record."""
    rng = np.random.default_rng((seed, number))
    rate = float(rng.choice(RATES))
    quiet_before, quiet_after = log_uniform(5, 120, rng), log_uniform(5, 600, rng)
    if before is not None:
        quiet_before = before
    if after is not None:
        quiet_after = after
    duration = log_uniform(2, 30, rng)
    low = log_uniform(max(0.1, 1 / duration), 1, rng)
    high = min(log_uniform(5, 30, rng), 0.35 * rate)
    peak, ratio = log_uniform(0.02, 5, rng), log_uniform(30, 10000, rng)
    rms = peak / ratio
    lead, tail = round(quiet_before * rate), round(quiet_after * rate)
    parts, truth = [], {}
    relative = {"H1": 1.0, "H2": rng.uniform(0.5, 1.0), "V": rng.uniform(0.3, 0.8)}
    count = peak / 2 ** rng.integers(14, 20)
    total = None
    for name in NAMES:
        own = shaking(duration, low, high, rate, rng)
        own *= peak * relative[name] / np.abs(own).max()
        whole = np.concatenate((np.zeros(lead), own, np.zeros(max(0, tail - round(3 / low * rate)))))
        truth[name] = whole
        seen = whole + rms * noise(len(whole), rate, rng) + rng.uniform(-0.05, 0.05)
        parts.append(sm.Component(name, np.round(seen / count).astype(np.int32), 1 / rate, "counts", 1 / count))
        total = whole**2 if total is None else total + whole**2
    emerges = int(np.argmax(total > 3 * (2 * rms) ** 2)) / rate
    return Drawn(sm.Record(tuple(parts)), truth, rms, emerges, quiet_before)


def judge(drawn: Drawn) -> dict:
    """Process a record as far as its motion, and compare with the truth."""
    record = drawn.record
    seen = examine(record)
    made = correct(record, sm.Settings())
    findings = (*seen, *made.findings)
    severe = {name: {f.severity for f in findings if f.component in ("", name)} for name in record.names}
    rows = {}
    for name in record.names:
        true = float(np.abs(drawn.truth[name]).max())
        got = float(np.abs(made.motion[name].acceleration).max())
        off = abs(got - true) / true
        wrong = off > 0.05 + 3 * drawn.noise / true
        rows[name] = {
            "off": off,
            "wrong": wrong,
            "unfit": "unfit" in severe[name],
            "doubt": "doubt" in severe[name],
            "low_cut": made.usable_band[name].low_cut,
            "high_cut": made.usable_band[name].high_cut,
            "findings": sorted({f"{f.name}:{f.severity}" for f in findings if f.component in ("", name)}),
            "pga": got,
        }
    windows = made.windows
    return {
        "components": rows,
        "onset": windows.onset * record.dt,
        "true_onset": drawn.onset,
        "late": any(f.name == "late start" for f in findings),
        "before": drawn.quiet_before,
        "dt": record.dt,
        "ratio": max(np.abs(t).max() for t in drawn.truth.values()) / drawn.noise,
    }
