"""Invented ground motions and accelerograms whose truth is known.

A motion is built as a displacement: noise with the spectrum of a shock, split into bands, each multiplied by envelopes that
begin at an arrival and end in exact rest. Velocity and acceleration are its derivatives by the product rule, so nothing is
filtered or corrected afterwards and the long periods are part of the construction. The Fourier spectrum of such an acceleration
tends to f² times a constant as f goes to zero, or to f times the permanent displacement where there is one.

A record is a motion seen by an instrument: baseline error, noise and offset are added, and the sum is rounded to counts.
Faults of single samples come last. What was added is kept beside the record.

Arrays hold the components H1, H2 and V in this order, shape (3, n). Units are SI; the full scale of a digitiser is in g.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import fft, integrate, signal, special

STANDARD_GRAVITY = 9.80665  # m/s², ISO 80000-3
RATES = (50.0, 100.0, 200.0, 250.0, 500.0)  # Hz
BITS = (8, 12, 16, 24)
FULL_SCALES = (1.0, 2.0, 4.0)  # g

Floats = NDArray[np.floating]


@dataclass(frozen=True)
class Shock:
    """One shock inside a motion or a continuous trace.

    Attributes
    ----------
    onset, s_onset : int
        Samples of the first P and S motion. The motion is still zero at `onset`.
    strong_end : int
        Sample by which the envelope of the strong shaking has fallen to a tenth.
    end : int
        First sample of rest.
    pga : tuple of 3 floats
        Largest absolute acceleration of H1, H2 and V, m/s².
    """

    onset: int
    s_onset: int
    strong_end: int
    end: int
    pga: tuple[float, float, float]


@dataclass(frozen=True)
class Motion:
    """True motion of the ground.

    Attributes
    ----------
    dt : float
        Sampling interval, s.
    acceleration, velocity, displacement : (3, n) array
        m/s², m/s and m.
    shocks : tuple of Shock
        One entry a shock, in order of time.
    permanent : (3,) array
        Displacement after the last shock, m.
    values : mapping
        What the motion was drawn with: `low`, `high`, `kappa`, `peak` and the like.
    """

    dt: float
    acceleration: Floats
    velocity: Floats
    displacement: Floats
    shocks: tuple[Shock, ...]
    permanent: Floats
    values: Mapping[str, float] = field(default_factory=dict)

    @property
    def onset(self) -> int:
        """Sample of the first P motion."""
        return self.shocks[0].onset

    @property
    def s_onset(self) -> int:
        """Sample of the first S motion."""
        return self.shocks[0].s_onset

    @property
    def end(self) -> int:
        """First sample of the rest after all shocks."""
        return max(shock.end for shock in self.shocks)


@dataclass(frozen=True)
class Baseline:
    """Error of the baseline, known exactly.

    Attributes
    ----------
    kind : str
        One of `BASELINE_KINDS`.
    acceleration, velocity : (3, n) array
        The error, m/s², and its trapezoidal integral from the first sample, m/s.
    drift : (3,) array
        Velocity gained from the onset to the end of the shaking by the error minus its mean before the onset, m/s.
    values : mapping
        Times (s after the first sample) and sizes of the model.
    """

    kind: str
    acceleration: Floats
    velocity: Floats
    drift: Floats
    values: Mapping[str, object]


@dataclass(frozen=True)
class SampleFault:
    """Samples spoilt by an instrument or a file, known exactly.

    Attributes
    ----------
    kind : str
        One of `SAMPLE_KINDS`.
    dt : float
        Sampling interval the file would state, s.
    acceleration : (3, m) array
        What is left, m/s².
    affected : (3, m) array of bool
        Samples whose value or neighbourhood is wrong.
    source : (m,) array of int
        Original sample that stands at each place; differs from 0, 1, 2, ... where time was cut, stretched or repeated.
    values : mapping
        Sizes of the fault.
    """

    kind: str
    dt: float
    acceleration: Floats
    affected: NDArray[np.bool_]
    source: NDArray[np.int64]
    values: Mapping[str, object]


@dataclass(frozen=True)
class SimulatedRecord:
    """An accelerogram with its truth.

    Attributes
    ----------
    dt : float
        Sampling interval, s.
    acceleration : (3, n) array
        What the instrument gave, m/s²; a multiple of `count` if digital.
    counts : (3, n) array of int, or None
        The same in counts.
    count, bits, full_scale : float, int, float
        Size of one count (m/s²), resolution and full scale (g) of the digitiser; zero if there is none.
    truth : Motion
        The motion of the ground.
    baseline : Baseline or None
        The error of the baseline before digitising.
    fault : SampleFault or None
        The fault of single samples; `acceleration` is then that of the fault.
    offset : (3,) array
        Constant offset, with the position of zero within a count, m/s².
    noise_kind, noise_rms : str, float
        Kind and RMS of the instrument noise, m/s², without rounding.
    """

    dt: float
    acceleration: Floats
    counts: NDArray[np.int32] | None
    count: float
    bits: int
    full_scale: float
    truth: Motion
    baseline: Baseline | None
    fault: SampleFault | None
    offset: Floats
    noise_kind: str
    noise_rms: float


@dataclass(frozen=True)
class Continuous:
    """Continuous data with the shocks they hold.

    Attributes
    ----------
    dt : float
        Sampling interval, s.
    acceleration : (3, n) array
        Noise, transients, drift and shocks, m/s².
    shocks : tuple of Shock
        True shocks in order of time.
    transients : tuple of (str, int, int)
        Kind, first sample and last sample + 1 of each local disturbance (`traffic`, `footsteps`, `knock`).
    noise_rms : float
        RMS level of the noise at its quietest time of day, m/s².
    """

    dt: float
    acceleration: Floats
    shocks: tuple[Shock, ...]
    transients: tuple[tuple[str, int, int], ...]
    noise_rms: float


def log_uniform(rng: np.random.Generator, lowest: float, highest: float) -> float:
    """Draw a number whose logarithm is uniform."""
    return float(np.exp(rng.uniform(np.log(lowest), np.log(highest))))


# --- motions


def simulate_motion(
    rng: np.random.Generator,
    *,
    dt: float,
    before: float,
    after: float,
    shaking: float,
    low: float,
    high: float,
    peak: float,
    kappa: float = 0.03,
    permanent: ArrayLike = 0.0,
    coda: float | None = None,
) -> Motion:
    """Simulate the ground motion of one shock between two times of exact rest.

    Parameters
    ----------
    rng : numpy.random.Generator
        Source of all randomness.
    dt : float
        Sampling interval, s.
    before, after : float
        Rest before the P onset and after the coda, s.
    shaking : float
        Time from the P onset until the envelope of the strong shaking has fallen to a tenth, s.
    low, high : float
        Corner frequencies, Hz. The spectrum of acceleration is |A| = (f/low)² / (1 + (f/low)²) exp(-pi kappa f) /
        sqrt(1 + (f/high)^8): an omega-squared source (Brune 1970) with the high cuts of Anderson & Hough (1984) and Boore
        (1983). In the geometric mean over motions this holds within a factor of 1.5 from 0.5 `low` to 2 `high`. A near-field
        pulse, which 3 of 10 motions have (`values["pulse"]`), adds up to 3 times the amplitude around 2 `low`. A taper from 60 to 90 % of the Nyquist frequency stands for the anti-alias filter.
    peak : float
        Largest absolute sample of the two horizontal accelerations, m/s².
    kappa : float
        Decay of the horizontal components, s; the vertical component has 0.6 of it.
    permanent : float or (3,) array
        Displacement at the end, m. A number is the horizontal offset, in a random direction, with a vertical one of up to 0.4
        of it. Three numbers are H1, H2 and V.
    coda : float, optional
        Time from the end of `shaking` to rest, s; by default 1 to 3 times `shaking`, and at least 2/low.

    Returns
    -------
    Motion
        round(before/dt) + round((shaking + coda)/dt) + round(after/dt) + 1 samples.

    Raises
    ------
    ValueError
        A length is not positive, the corners do not fit, or the permanent displacement needs more acceleration than `peak`.
    """
    if not (dt > 0 and before >= 0 and after >= 0 and shaking > 0 and peak > 0 and kappa >= 0):
        raise ValueError(f"dt, shaking and peak must be positive, got {dt}, {shaking}, {peak}.")
    if not 0 < low < high < 0.4 / dt:
        raise ValueError(f"Expected 0 < low < high < 0.4/dt = {0.4 / dt:g} Hz, got low = {low:g}, high = {high:g}.")
    if coda is None:
        coda = max(2 / low, float(rng.uniform(1, 3)) * shaking)
    first = round(before / dt)
    length = round((shaking + coda) / dt)
    count = first + length + round(after / dt) + 1
    time = np.arange(length + 1) * dt
    s_minus_p = min(max(0.3, float(rng.uniform(0.08, 0.35)) * shaking), 0.5 * shaking)
    s_minus_p = round(s_minus_p / dt) * dt

    motion = _waves(rng, time, shaking, s_minus_p, low, high, kappa)
    pulse = rng.random() < 0.3
    if pulse:
        motion += _near_field_pulse(rng, time, s_minus_p, low, np.abs(motion[2, :2]).max())
    offset = _permanent_vector(rng, permanent)
    fling = _fling(rng, time, s_minus_p, offset, peak)

    # The largest factor that keeps every horizontal sample of factor * x + y within the peak.
    x, y = motion[2, :2], fling[2, :2]
    with np.errstate(divide="ignore", invalid="ignore"):
        factor = np.nanmin(np.where(x == 0, np.inf, (peak - y * np.sign(x)) / np.abs(x)))
    motion *= factor
    motion += fling
    total = np.zeros((3, 3, count))
    total[:, :, first : first + length + 1] = motion
    total[0, :, first + length + 1 :] = motion[0, :, -1:]
    shock = Shock(
        onset=first,
        s_onset=first + round(s_minus_p / dt),
        strong_end=first + round(shaking / dt),
        end=first + length,
        pga=_peaks(motion[2]),
    )
    values = {
        "low": low,
        "high": high,
        "kappa": kappa,
        "peak": peak,
        "shaking": shaking,
        "coda": coda,
        "pulse": float(pulse),
    }
    return Motion(dt, total[2], total[1], total[0], (shock,), offset, values)


def spectral_shape(frequency: ArrayLike, low: float, high: float, kappa: float) -> Floats:
    """Amplitude of the acceleration spectrum up to a constant; the formula is in `simulate_motion`."""
    f = np.asarray(frequency, dtype=float)
    ratio = (f / low) ** 2
    return ratio / (1 + ratio) * np.exp(-np.pi * kappa * f) / np.sqrt(1 + (f / high) ** 8)


def _waves(
    rng: np.random.Generator, time: Floats, shaking: float, s_minus_p: float, low: float, high: float, kappa: float
) -> Floats:
    """Displacement, velocity and acceleration, shape (3, 3, n), of P, S, surface waves and coda, of arbitrary size.

    In band b the displacement is the sum over envelopes e of w_e(t) s_b(t); a = w s'' + 2 w' s' + w'' s. An envelope takes
    about one cycle of its band to rise (half a cycle in the lowest), so that its own spectrum does not reach other
    bands, and at least 12 samples, so that little of it lies above the Nyquist frequency.
    """
    n = len(time)
    dt = time[1]
    size = fft.next_fast_len(n + round(0.2 * n), real=True)
    f = fft.rfftfreq(size, dt)
    omega = 2 * np.pi * f
    white = rng.standard_normal((3, len(f), 2)).view(complex)[..., 0]
    mix = np.eye(3) + rng.uniform(-0.3, 0.3, (3, 3))
    mix /= np.linalg.norm(mix, axis=1, keepdims=True)
    taper = 0.5 + 0.5 * np.cos(np.pi * np.clip((2 * f * dt - 0.6) / 0.3, 0, 1))
    # Displacement: acceleration over omega², where the common factor f² is taken out so that zero frequency is regular.
    source = 1 / (1 + (f / low) ** 2) / np.sqrt(1 + (f / high) ** 8) * taper
    decay = np.exp(-np.pi * np.outer([kappa, kappa, 0.6 * kappa], f))
    spectrum = (mix @ white) * (source * decay)

    bands = 1 + max(1, int(np.log(0.5 * high / low) / np.log(3)))
    centres = low * 3.0 ** np.arange(bands)
    place = np.clip(np.log(np.maximum(f, 1e-9) / low) / np.log(3), 0, bands - 1)
    starts, decays, weights, rises = _draw_envelopes(rng, time, shaking, s_minus_p, centres)

    motion = np.zeros((3, 3, n))
    for b, centre in enumerate(centres):
        share = np.cos(0.5 * np.pi * np.clip(np.abs(place - b), 0, 1)) ** 2
        used = np.flatnonzero(share)
        here = slice(0, used[-1] + 1)
        u = spectrum[:, here] * share[here]
        i_omega = 1j * omega[here]
        s0, s1, s2 = (fft.irfft(x, size, axis=-1)[:, :n] for x in (u, u * i_omega, u * i_omega**2))
        envelope = _band_envelope(time, starts, decays, weights[:, :, b], np.maximum(rises, (1 if b else 0.5) / centre))
        for c, (w0, w1, w2) in enumerate(envelope):
            motion[0, c] += w0 * s0[c]
            motion[1, c] += w0 * s1[c] + w1 * s0[c]
            motion[2, c] += w0 * s2[c] + 2 * w1 * s1[c] + w2 * s0[c]
    return motion


def _draw_envelopes(
    rng: np.random.Generator, time: Floats, shaking: float, s_minus_p: float, centres: Floats
) -> tuple[list[int], Floats, Floats, Floats]:
    """Draw the arrivals: first samples, decays (arrival, derivative, n), weights (arrival, component, band), rise times (s).

    A decay is (1 - y^m)^q from the arrival (y = 0) to rest (y = 1): close to exponential for m = 1, to a Gaussian for m = 2,
    and with a plateau for m = 3. The P wave is richer in high frequencies than S; the coda and the surface waves in low ones.
    """
    bands = len(centres)
    top = centres / centres[-1]
    second = float(rng.uniform(0.6, 1.0))
    horizontal = np.array([1.0, second])
    if rng.random() < 0.5:
        horizontal = horizontal[::-1]
    vertical = float(rng.uniform(0.3, 0.7))
    s_weight = np.append(horizontal, vertical)
    p_vertical = log_uniform(rng, 0.25, 1.0)
    p_weight = np.append(horizontal * p_vertical * rng.uniform(0.3, 0.7), p_vertical)

    arrivals = [(0.0, s_minus_p * rng.uniform(0.6, 1.5), 1, p_weight[:, None] * top**0.4, log_uniform(rng, 0.03, 0.3))]
    strong = shaking - s_minus_p
    for k in range(int(rng.integers(1, 5))):
        delay = 0.0 if k == 0 else float(rng.uniform(0.05, 0.6)) * strong
        level = 1.0 if k == 0 else log_uniform(rng, 0.3, 1.5)
        shape = level * s_weight[:, None] * rng.uniform(0.8, 1.2, (3, bands))
        arrivals.append(
            (s_minus_p + delay, strong - delay, int(rng.integers(1, 4)), shape, log_uniform(rng, 0.05, 0.8))
        )
    coda = log_uniform(rng, 0.03, 0.2) * s_weight[:, None] * top**-0.15
    arrivals.append((s_minus_p, np.inf, 1, coda, 0.3 * strong))
    if rng.random() < 0.4:
        surface = rng.uniform(0.3, 1.0) * s_weight[:, None] * np.where(np.arange(bands) < min(2, bands - 1), 1.0, 0.0)
        arrivals.append((s_minus_p + rng.uniform(0.1, 0.4) * strong, np.inf, 2, surface, 0.3 * strong))

    starts = []
    decays = np.zeros((len(arrivals), 3, len(time)))
    dt, total = time[1], time[-1]
    for decay, (start, fall, power, _, _) in zip(decays, arrivals, strict=True):
        first = min(round(start / dt), len(time) - 9)
        y = (time[first:] - time[first]) / (total - time[first])
        tenth = min(0.95, fall / (total - time[first]))
        exponent = max(5.0, np.log(0.1) / np.log1p(-(tenth**power)))
        decay[:, first:] = _decay(y, power, exponent) / (total - time[first]) ** np.arange(3)[:, None]
        starts.append(first)
    return starts, decays, np.array([a[3] for a in arrivals]), np.array([a[4] for a in arrivals])


def _decay(y: Floats, power: int, exponent: float) -> Floats:
    """(1 - y^m)^q and its first two derivatives with respect to y, shape (3, n)."""
    base = 1 - y**power
    slope = -power * y ** (power - 1)
    bend = -power * (power - 1) * y ** max(power - 2, 0)
    with np.errstate(under="ignore"):
        lowest = base ** (exponent - 2)
    return np.stack(
        [
            lowest * base**2,
            exponent * lowest * base * slope,
            exponent * lowest * ((exponent - 1) * slope**2 + base * bend),
        ]
    )


def _rise(x: Floats) -> Floats:
    """Smooth step I_x(6, 6) from 0 to 1 and its first two derivatives with respect to x, shape (3, n)."""
    return np.stack(
        [
            special.betainc(6, 6, x),
            2772 * (x * (1 - x)) ** 5,
            13860 * (x * (1 - x)) ** 4 * (1 - 2 * x),
        ]
    )


def _band_envelope(time: Floats, starts: list[int], decays: Floats, weights: Floats, rises: Floats) -> Floats:
    """Sum of rise times decay over the arrivals with its derivatives, shape (3 components, 3 derivatives, n)."""
    count, _, n = decays.shape
    result = (weights.T @ decays.reshape(count, 3 * n)).reshape(3, 3, n)
    for first, decay, weight, rise in zip(starts, decays, weights, rises, strict=True):
        if not weight.any():
            continue
        length = min(max(12, round(rise / time[1])) + 1, n - first)
        here = slice(first, first + length)
        r0, r1, r2 = _rise(np.linspace(0, 1, length)) / (time[length - 1] ** np.arange(3))[:, None]
        d0, d1, d2 = decay[:, here]
        risen = np.stack([r0 * d0, r1 * d0 + r0 * d1, r2 * d0 + 2 * r1 * d1 + r0 * d2])
        result[:, :, here] += weight[:, None, None] * (risen - decay[:, here])
    return result


def _near_field_pulse(rng: np.random.Generator, time: Floats, s_minus_p: float, low: float, largest: float) -> Floats:
    """Horizontal pulse of a few half cycles, shape (3, 3, n), of 0.15 to 0.6 of the largest acceleration.

    The displacement is (1 - y²)^6 cos(pi g y + phase) with -1 < y < 1, after the idea of Mavroeidis & Papageorgiou (2003).
    """
    cycles = float(rng.uniform(1.0, 2.0))
    half = min(cycles / (2 * low * rng.uniform(1.0, 2.5)), 0.45 * (time[-1] - s_minus_p))
    y = np.clip((time - s_minus_p) / half - 1, -1, 1)
    phase = np.pi * cycles * y + rng.uniform(0, 2 * np.pi)
    g = np.pi * cycles
    base = 1 - y**2
    w0, w1, w2 = base**6, -12 * y * base**5, 120 * y**2 * base**4 - 12 * base**5
    c, s = np.cos(phase), np.sin(phase)
    shape = np.stack([w0 * c, (w1 * c - g * w0 * s) / half, ((w2 - g**2 * w0) * c - 2 * g * w1 * s) / half**2])
    azimuth = rng.uniform(0, 2 * np.pi)
    direction = np.array([np.cos(azimuth), np.sin(azimuth), 0.0])
    size = rng.uniform(0.15, 0.6) * largest / np.abs(shape[2]).max()
    pulse: Floats = size * shape[:, None] * direction[:, None]
    return pulse


def _permanent_vector(rng: np.random.Generator, permanent: ArrayLike) -> Floats:
    """Three components of the permanent displacement, m."""
    given = np.asarray(permanent, dtype=float)
    if given.ndim == 1:
        return given.copy()
    azimuth = rng.uniform(0, 2 * np.pi)
    return float(given) * np.array([np.cos(azimuth), np.sin(azimuth), rng.uniform(-0.4, 0.4)])


def shortest_fling(permanent: float, peak: float) -> float:
    """Shortest rise time (s) of a permanent displacement whose acceleration stays below 0.6 of `peak`."""
    return max(0.8, float(np.sqrt(11.27 * abs(permanent) / (0.6 * peak))))


def _fling(rng: np.random.Generator, time: Floats, s_minus_p: float, offset: Floats, peak: float) -> Floats:
    """Smooth step of displacement to `offset` that begins soon after S, shape (3, 3, n)."""
    if not offset.any():
        return np.zeros((3, 3, len(time)))
    available = time[-1] - s_minus_p
    shortest = shortest_fling(float(np.abs(offset).max()), peak)
    if shortest > available:
        raise ValueError(
            f"A permanent displacement of {np.abs(offset).max():g} m with a peak of {peak:g} m/s² needs {shortest:.1f} s; "
            f"only {available:.1f} s follow the S onset. Ask for a longer shaking, a larger peak or a smaller displacement."
        )
    rise = log_uniform(rng, shortest, min(available, max(shortest, 10.0)))
    start = s_minus_p + rng.uniform(0, 0.1) * (available - rise)
    shape = _rise(np.clip((time - start) / rise, 0, 1)) / rise ** np.arange(3)[:, None]
    return shape[:, None] * offset[:, None]


def _peaks(acceleration: Floats) -> tuple[float, float, float]:
    """Largest absolute value of each component."""
    h1, h2, v = np.abs(acceleration).max(axis=-1)
    return float(h1), float(h2), float(v)


def draw_motion(
    rng: np.random.Generator,
    *,
    rate: float | None = None,
    before: float | None = None,
    after: float | None = None,
    peak: float | None = None,
    fling: bool | None = None,
    **chosen: float,
) -> Motion:
    """Draw a motion from the wide class of `draw_record`.

    Parameters
    ----------
    rng : numpy.random.Generator
        Source of all randomness.
    rate, before, after, peak : float, optional
        Values to hold fixed (Hz, s, s, m/s²).
    fling : bool, optional
        Whether there is a permanent displacement of 0.1 to 1.5 m; by default in a fifth of the motions above 1 m/s².
        True without `peak` draws the peak from 1.5 to 15 m/s².
    **chosen : float
        `shaking`, `low`, `high` or `kappa` to hold fixed.

    Returns
    -------
    Motion
        One with a peak velocity above 3 m/s or a transient displacement above 3 m is drawn again, since none is known.
    """
    for _ in range(100):
        each_rate = float(rng.choice(RATES)) if rate is None else rate
        shaking = chosen.get("shaking", log_uniform(rng, 2, 30))
        low = chosen.get("low", log_uniform(rng, max(0.1, 0.5 / shaking), 1))
        high = chosen.get("high", log_uniform(rng, 5, min(30, 0.35 * each_rate)))
        kappa = chosen.get("kappa", float(rng.uniform(0.2, 1.0)) / (np.pi * high))
        each_peak = log_uniform(rng, 1.5 if fling else 0.002, 15) if peak is None else peak
        permanent = 0.0
        if fling or (fling is None and each_peak > 1 and rng.random() < 0.2):
            permanent = log_uniform(rng, 0.1, 1.5)
            if shortest_fling(permanent, each_peak) > shaking:
                continue
        motion = simulate_motion(
            rng,
            dt=1 / each_rate,
            before=log_uniform(rng, 5, 120) if before is None else before,
            after=log_uniform(rng, 5, 600) if after is None else after,
            shaking=shaking,
            low=low,
            high=high,
            peak=each_peak,
            kappa=kappa,
            permanent=permanent,
        )
        if np.abs(motion.velocity).max() < 3 and np.abs(motion.displacement).max() < 3 + permanent:
            return motion
    raise ValueError("No plausible motion was found in 100 draws; the fixed values do not go together.")


def draw_two_shocks(rng: np.random.Generator, second: str = "coda", **chosen: float) -> Motion:
    """Draw a motion of two shocks.

    Parameters
    ----------
    rng : numpy.random.Generator
        Source of all randomness.
    second : {"coda", "quiet"}
        Whether the second shock begins in the coda of the first or after 5 to 60 s of exact rest.
    **chosen : float
        Values for `draw_motion`: `rate`, `before`, `after`, `peak` (of the first shock) and the corners.

    Returns
    -------
    Motion
        With two entries in `shocks`. The second peak is 0.2 to 2 times the first.
    """
    if second not in ("coda", "quiet"):
        raise ValueError(f'second must be "coda" or "quiet", got {second!r}.')
    after = chosen.pop("after", log_uniform(rng, 5, 600))
    one = draw_motion(rng, after=0.0, fling=False, **chosen)
    chosen |= {"rate": 1 / one.dt, "peak": min(15.0, log_uniform(rng, 0.2, 2.0) * one.values["peak"])}
    chosen["before"] = 0.0
    two = draw_motion(rng, after=after, fling=False, **chosen)
    first = one.shocks[0]
    if second == "quiet":
        start = first.end + round(rng.uniform(5, 60) / one.dt)
    else:
        start = first.strong_end + round(rng.uniform(0.0, 0.4) * (first.end - first.strong_end))
    n = max(start + two.acceleration.shape[1], first.end + 1)
    traces = []
    for name in ("acceleration", "velocity", "displacement"):
        trace = np.zeros((3, n))
        early, late = getattr(one, name), getattr(two, name)
        trace[:, : early.shape[1]] += early
        trace[:, start : start + late.shape[1]] += late
        traces.append(trace)
    a, v, d = traces
    return Motion(one.dt, a, v, d, (first, _moved(two.shocks[0], start)), np.zeros(3), one.values)


def _moved(shock: Shock, samples: int) -> Shock:
    """The same shock later by a number of samples."""
    return replace(
        shock,
        onset=shock.onset + samples,
        s_onset=shock.s_onset + samples,
        strong_end=shock.strong_end + samples,
        end=shock.end + samples,
    )


# --- instrument


def instrument_noise(rng: np.random.Generator, n: int, dt: float, kind: str = "mixed") -> Floats:
    """Stationary noise of three components with an expected RMS of one.

    Parameters
    ----------
    rng : numpy.random.Generator
        Source of all randomness.
    n : int
        Number of samples.
    dt : float
        Sampling interval, s.
    kind : {"white", "mixed"}
        Flat power, or white with 10 to 70 % of the power in 1/f noise (down to 1/(1.1 n dt)) and a microseism peak at 0.15 to
        0.3 Hz.

    Returns
    -------
    (3, n) array
        Independent components.
    """
    if kind == "white":
        return rng.standard_normal((3, n))
    if kind != "mixed":
        raise ValueError(f'kind must be "white" or "mixed", got {kind!r}.')
    size = fft.next_fast_len(n + n // 10 + 2, real=True)  # longer than n, so that the ends do not join
    f = fft.rfftfreq(size, dt)
    f[0] = f[1]
    coloured = float(rng.uniform(0.1, 0.7))
    pink = float(rng.uniform(0.2, 0.8))
    microseism = np.exp(-0.5 * (np.log(f / rng.uniform(0.15, 0.3)) / 0.15) ** 2)
    power = (
        1
        - coloured
        + coloured * (pink / f / np.mean(1 / f) + (1 - pink) * microseism / max(np.mean(microseism), 1e-12))
    )
    power[0] = 0.0
    if size % 2 == 0:
        power[-1] = 0.0
    white = rng.standard_normal((3, len(f), 2)).view(complex)[..., 0]
    noise: Floats = fft.irfft(white * np.sqrt(power), size, axis=-1)[:, :n] * (0.5 * size / np.sqrt(power.sum()))
    return noise


def digitise(
    acceleration: Floats, bits: int, full_scale: float, rng: np.random.Generator
) -> tuple[NDArray[np.int32], float, Floats]:
    """Round an acceleration to counts.

    Parameters
    ----------
    acceleration : (3, n) array
        m/s².
    bits : int
        The counts run from -2^(bits-1) to 2^(bits-1) - 1; what is beyond is held at the limit.
    full_scale : float
        Acceleration of 2^(bits-1) counts, g.
    rng : numpy.random.Generator
        Draws where the true zero of each component lies within a count.

    Returns
    -------
    counts : (3, n) array of int32
    count : float
        Size of one count, m/s².
    zero : (3,) array
        Position of the true zero, -0.5 to 0.5 counts.
    """
    limit = 2 ** (bits - 1)
    count = full_scale * STANDARD_GRAVITY / limit
    zero = rng.uniform(-0.5, 0.5, 3)
    counts = np.clip(np.rint(acceleration / count + zero[:, None]), -limit, limit - 1).astype(np.int32)
    return counts, count, zero


def record_motion(
    rng: np.random.Generator, motion: Motion, *, baseline: Baseline | None = None, digital: bool | None = None
) -> SimulatedRecord:
    """Record a motion with an instrument drawn at random.

    Parameters
    ----------
    rng : numpy.random.Generator
        Source of all randomness.
    motion : Motion
        The true motion.
    baseline : Baseline, optional
        Error to add before the noise.
    digital : bool, optional
        Whether the record is in counts; by default in 70 % of the cases.

    Returns
    -------
    SimulatedRecord
        Peak over noise RMS is drawn from 30 to 10 000, the offset from 0.0001 to 0.5 m/s². Only digitisers that do not clip and
        whose rounding noise (a count over sqrt(12)) is below 1/30 of the peak are drawn; where there is none, the record is
        not digital.
    """
    n = motion.acceleration.shape[1]
    peak = max(max(shock.pga) for shock in motion.shocks)
    noise_rms = peak / log_uniform(rng, 30, 10_000)
    kind = str(rng.choice(["white", "mixed"]))
    offset = rng.choice([-1.0, 1.0], 3) * np.exp(rng.uniform(np.log(1e-4), np.log(0.5), 3))
    acceleration = motion.acceleration + noise_rms * instrument_noise(rng, n, motion.dt, kind) + offset[:, None]
    if baseline is not None:
        acceleration += baseline.acceleration
    largest = np.abs(acceleration).max()
    fitting = [
        (bits, scale)
        for bits in BITS
        for scale in FULL_SCALES
        if largest < 0.98 * scale * STANDARD_GRAVITY
        and scale * STANDARD_GRAVITY / 2 ** (bits - 1) / np.sqrt(12) < peak / 30
    ]
    wanted = rng.random() < 0.7 if digital is None else digital
    if not (wanted and fitting):
        return SimulatedRecord(
            motion.dt, acceleration, None, 0.0, 0, 0.0, motion, baseline, None, offset, kind, noise_rms
        )  # fmt: skip
    bits, scale = fitting[int(rng.integers(len(fitting)))]
    counts, count, zero = digitise(acceleration, bits, scale, rng)
    offset += zero * count
    return SimulatedRecord(
        motion.dt, counts * count, counts, count, bits, scale, motion, baseline, None, offset, kind, noise_rms
    )  # fmt: skip


def draw_record(rng: np.random.Generator) -> SimulatedRecord:
    """Draw a sound record from a wide class, with its truth.

    50 to 500 Hz, 5 to 120 s of quiet before and 5 to 600 s after, 2 to 30 s of shaking, corners of 0.1 to 1 Hz (not below half
    a cycle in the shaking) and 5 to 30 Hz (not above 0.35 of the rate), peak of 0.002 to 15 m/s². All are log-uniform except
    the rate. The instrument is that of `record_motion`.
    """
    return record_motion(rng, draw_motion(rng))


# --- baseline faults


def draw_baseline(
    rng: np.random.Generator, motion: Motion, kind: str | None = None, *, drift: ArrayLike | None = None
) -> Baseline:
    """Draw an error of the baseline that a motion may have caused.

    Parameters
    ----------
    rng : numpy.random.Generator
        Source of all randomness.
    motion : Motion
        The motion that disturbs the instrument.
    kind : str, optional
        One of `BASELINE_KINDS`; drawn if not given.
    drift : (3,) array, optional
        Velocity gained until the end of the shaking, m/s. By default of random sign, from 0.005 to 0.2 m/s on the horizontal
        components (0.005 to 0.03 m/s for thermal drift) and 0.1 to 0.5 of that on the vertical one. In a fifth of the cases
        one component is free of error.

    Returns
    -------
    Baseline
        Every component has the same model with numbers of its own.

    Notes
    -----
    Two levels: Iwan, Moser & Peng (1985), Boore (2001). Tilt that grows with the shaking: Graizer (2006). The choice of
    integrals and the ranges of all numbers are ours.
    """
    if kind is None:
        kind = str(rng.choice(BASELINE_KINDS))
    if kind not in _BASELINES:
        raise ValueError(f"kind must be one of {', '.join(BASELINE_KINDS)}; got {kind!r}.")
    if drift is None:
        highest = 0.03 if kind == "thermal_drift" else 0.2
        target = rng.choice([-1.0, 1.0], 3) * np.exp(rng.uniform(np.log(0.005), np.log(highest), 3))
        target[2] *= rng.uniform(0.1, 0.5)
        if rng.random() < 0.2:
            target[rng.integers(3)] = 0.0
    else:
        target = np.asarray(drift, dtype=float)
    error = np.zeros_like(motion.acceleration)
    values: dict[str, object] = {}
    for c, name in enumerate(("H1", "H2", "V")):
        for _ in range(1000):
            shape, numbers = _BASELINES[kind](rng, motion)
            gained = _gained(shape, motion)
            # An error whose parts cancel would be scaled to absurd levels.
            if abs(gained) > 0.15 * np.abs(shape).max() * (motion.end - motion.onset) * motion.dt * _occupied(
                shape, motion
            ):
                break
        error[c] = shape * (target[c] / gained)
        values[name] = {"scale": float(target[c] / gained), **numbers}
    velocity = integrate.cumulative_trapezoid(error, dx=motion.dt, axis=-1, initial=0)
    return Baseline(kind, error, velocity, np.array([_gained(e, motion) for e in error]), values)


def draw_baseline_record(
    rng: np.random.Generator, kind: str | None = None, *, fling: bool | None = None
) -> SimulatedRecord:
    """Draw a record with a baseline error, of a motion of 0.5 to 15 m/s², half of them with a permanent displacement."""
    if fling is None:
        fling = bool(rng.random() < 0.5)
    motion = draw_motion(rng, peak=log_uniform(rng, 1.5 if fling else 0.5, 15), fling=fling)
    return record_motion(rng, motion, baseline=draw_baseline(rng, motion, kind))


def _gained(error: Floats, motion: Motion) -> float:
    """Velocity gained by an error from onset to end, less its mean before the onset, m/s."""
    rest = error[: motion.onset].mean() if motion.onset else 0.0
    return float(np.trapezoid(error[motion.onset : motion.end + 1] - rest, dx=motion.dt))


def _occupied(error: Floats, motion: Motion) -> float:
    """Fraction of the shaking during which an error is not zero."""
    return float(np.count_nonzero(error[motion.onset : motion.end + 1]) / (motion.end + 1 - motion.onset))


def _at_energy(motion: Motion, fraction: float) -> int:
    """Sample at which a fraction of the horizontal Arias intensity has arrived."""
    energy = np.cumsum((motion.acceleration[:2] ** 2).sum(axis=0))
    return int(np.searchsorted(energy, fraction * energy[-1]))


def _two_levels(rng: np.random.Generator, motion: Motion) -> tuple[Floats, dict[str, object]]:
    start = _at_energy(motion, rng.uniform(0.02, 0.4))
    stop = max(start + 2, _at_energy(motion, rng.uniform(0.6, 0.98)))
    during, later = rng.uniform(-3, 5), rng.choice([-1.0, 1.0])
    error = np.zeros(motion.acceleration.shape[1])
    error[start:stop] = during
    error[stop:] = later
    return error, {"start": start * motion.dt, "stop": stop * motion.dt, "during": during, "after": later}


def _growing(
    quantity: Callable[[Motion], Floats],
) -> Callable[[np.random.Generator, Motion], tuple[Floats, dict[str, object]]]:
    def grow(rng: np.random.Generator, motion: Motion) -> tuple[Floats, dict[str, object]]:
        error = integrate.cumulative_trapezoid(quantity(motion), dx=motion.dt, initial=0)
        error[motion.end :] = error[motion.end]  # at rest exactly, whatever the rounding
        return error / error[-1], {"after": 1.0}

    return grow


def _hysteretic_steps(rng: np.random.Generator, motion: Motion) -> tuple[Floats, dict[str, object]]:
    h = motion.acceleration[int(rng.integers(2))]
    found, _ = signal.find_peaks(np.abs(h), height=0.3 * np.abs(h).max(), distance=max(1, round(0.2 / motion.dt)))
    many = min(len(found), int(rng.integers(3, 13)))
    at = np.sort(rng.choice(found, many, replace=False))
    # A sensor that yields moves in the direction of the force, and mostly to the weaker side.
    weak_side = np.where(np.sign(h[at]) == rng.choice([-1.0, 1.0]), 1.0, 0.4)
    sizes = h[at] * weak_side * rng.lognormal(0, 0.5, many)
    error = np.zeros(len(h))
    np.add.at(error, at, sizes)
    error = np.cumsum(error)
    largest = np.abs(error).max()
    return error / largest, {"times": at * motion.dt, "steps": sizes / largest}


def _recovering_step(rng: np.random.Generator, motion: Motion) -> tuple[Floats, dict[str, object]]:
    at = _at_energy(motion, rng.uniform(0.05, 0.9))
    tau, kept = log_uniform(rng, 1, 60), float(rng.choice([0.0, rng.uniform(0, 0.5)]))
    error = np.zeros(motion.acceleration.shape[1])
    later = np.arange(len(error) - at) * motion.dt
    error[at:] = kept + (1 - kept) * np.exp(-later / tau)
    return error, {"time": at * motion.dt, "tau": tau, "kept": kept}


def _thermal_drift(rng: np.random.Generator, motion: Motion) -> tuple[Floats, dict[str, object]]:
    time = np.arange(motion.acceleration.shape[1]) * motion.dt
    tau = log_uniform(rng, 60, 600)
    if rng.random() < 0.5:
        return 1 - np.exp(-time / tau), {"tau": tau}
    phase = rng.uniform(0, 2 * np.pi)
    return np.sin(time / tau + phase) - np.sin(phase), {"tau": tau, "phase": phase}


def _half_count(rng: np.random.Generator, motion: Motion) -> tuple[Floats, dict[str, object]]:
    """While it is quiet the counts stick and hide an offset of up to half a count, which shows only in the shaking."""
    error = np.zeros(motion.acceleration.shape[1])
    error[motion.onset + 1 : motion.end] = 1.0
    return error, {"fraction_of_count": rng.uniform(0.2, 0.5)}


def _sudden_step(rng: np.random.Generator, motion: Motion) -> tuple[Floats, dict[str, object]]:
    at = _at_energy(motion, rng.uniform(0.02, 0.95))
    error = np.zeros(motion.acceleration.shape[1])
    error[at:] = 1.0
    return error, {"time": at * motion.dt}


def _gradual_step(rng: np.random.Generator, motion: Motion) -> tuple[Floats, dict[str, object]]:
    at = _at_energy(motion, rng.uniform(0.02, 0.8))
    length = max(2, min(round(log_uniform(rng, 0.5, 15) / motion.dt), motion.end - at))
    error = np.zeros(motion.acceleration.shape[1])
    error[at:] = _rise(np.clip(np.arange(len(error) - at) / length, 0, 1))[0]
    return error, {"start": at * motion.dt, "stop": (at + length) * motion.dt}


_BASELINES: dict[str, Callable[[np.random.Generator, Motion], tuple[Floats, dict[str, object]]]] = {
    "two_levels": _two_levels,
    "tilt_with_path": _growing(lambda motion: np.hypot(motion.velocity[0], motion.velocity[1])),
    "tilt_with_squared_velocity": _growing(lambda motion: (motion.velocity[:2] ** 2).sum(axis=0)),
    "tilt_with_energy": _growing(lambda motion: (motion.acceleration[:2] ** 2).sum(axis=0)),
    "hysteretic_steps": _hysteretic_steps,
    "recovering_step": _recovering_step,
    "thermal_drift": _thermal_drift,
    "half_count": _half_count,
    "sudden_step": _sudden_step,
    "gradual_step": _gradual_step,
}
BASELINE_KINDS = tuple(_BASELINES)


# --- faults of single samples


def spoil_samples(
    rng: np.random.Generator, acceleration: Floats, dt: float, span: tuple[int, int], kind: str | None = None
) -> SampleFault:
    """Spoil single samples as an instrument or a broken file would.

    Parameters
    ----------
    rng : numpy.random.Generator
        Source of all randomness.
    acceleration : (3, n) array
        The sound record, m/s². It is not changed.
    dt : float
        Sampling interval, s.
    span : (int, int)
        Samples between which the fault lies; usually onset and end of the strong shaking.
    kind : str, optional
        One of `SAMPLE_KINDS`; drawn if not given.

    Returns
    -------
    SampleFault
        Peaks are counted from the median of the component.
    """
    if kind is None:
        kind = str(rng.choice(SAMPLE_KINDS))
    if kind not in _SAMPLE_FAULTS:
        raise ValueError(f"kind must be one of {', '.join(SAMPLE_KINDS)}; got {kind!r}.")
    if not 0 <= span[0] < span[1] - 4 < acceleration.shape[1]:
        raise ValueError(f"span must hold at least 5 samples of the record, got {span}.")
    return _SAMPLE_FAULTS[kind](rng, np.array(acceleration, dtype=float), dt, span, kind)


def draw_spoilt_record(rng: np.random.Generator, kind: str | None = None) -> SimulatedRecord:
    """Draw a record with a fault of single samples, rounded to its counts again where it is digital.

    For aliasing, the motion has 200 or 250 Hz and a high corner of 20 to 30 Hz, so that there is something to fold. The truth
    keeps its own time base: `fault.source` says which of its samples stands at each place of the record.
    """
    if kind is None:
        kind = str(rng.choice(SAMPLE_KINDS))
    if kind == "aliased":
        motion = draw_motion(rng, rate=float(rng.choice([200.0, 250.0])), high=log_uniform(rng, 20, 30))
    else:
        motion = draw_motion(rng)
    record = record_motion(rng, motion)
    shock = motion.shocks[0]
    fault = spoil_samples(rng, record.acceleration, record.dt, (shock.onset, shock.strong_end), kind)
    counts = None
    if record.count:
        limit = 2 ** (record.bits - 1)
        counts = np.clip(np.rint(fault.acceleration / record.count), -limit, limit - 1).astype(np.int32)
        fault = replace(fault, acceleration=counts * record.count)
    return replace(record, dt=fault.dt, acceleration=fault.acceleration, counts=counts, fault=fault)


def _some_components(rng: np.random.Generator) -> NDArray[np.int64]:
    """One, two or all three components."""
    return np.sort(rng.choice(3, int(rng.integers(1, 4)), replace=False))


def _some_places(rng: np.random.Generator, span: tuple[int, int], many: int, length: int) -> NDArray[np.int64]:
    """First samples of up to `many` blocks of a length that lie inside a span and do not touch, in order."""
    many = max(1, min(many, (span[1] - span[0]) // (2 * length + 2)))
    room = span[1] - span[0] - many * (length + 1)
    return np.sort(rng.integers(0, max(1, room), many)) + span[0] + 1 + np.arange(many) * (length + 1)


def _block_length(rng: np.random.Generator, dt: float, span: tuple[int, int]) -> int:
    """0.05 to 1 s in samples, and at most a quarter of the span."""
    return max(2, min(round(log_uniform(rng, 0.05, 1.0) / dt), (span[1] - span[0]) // 4))


def _pga(a: Floats) -> Floats:
    peaks: Floats = np.abs(a - np.median(a, axis=-1, keepdims=True)).max(axis=-1)
    return peaks


def _clipped(rng: np.random.Generator, a: Floats, dt: float, span: tuple[int, int], kind: str) -> SampleFault:
    """Hold samples at 60 to 90 % of the PGA; noise of 1 % of the PGA is added before (flat tops) or after (rough tops)."""
    affected = np.zeros(a.shape, dtype=bool)
    pga, middle = _pga(a), np.median(a, axis=-1)
    levels = {}
    for c in _some_components(rng):
        noise = 0.01 * pga[c] * rng.standard_normal(a.shape[1])
        level = float(rng.uniform(0.6, 0.9) * pga[c])
        if kind == "clipped":
            a[c] += noise
        affected[c] = np.abs(a[c] - middle[c]) > level
        a[c] = np.clip(a[c], middle[c] - level, middle[c] + level)
        if kind == "clipped_before_noise":
            a[c] += noise
        levels[int(c)] = level
    return SampleFault(kind, dt, a, affected, np.arange(a.shape[1]), {"levels": levels})


def _straight_fills(rng: np.random.Generator, a: Floats, dt: float, span: tuple[int, int], kind: str) -> SampleFault:
    """Replace blocks by straight lines between their neighbours."""
    affected = np.zeros(a.shape, dtype=bool)
    length = _block_length(rng, dt, span)
    components = _some_components(rng)
    places = _some_places(rng, span, int(rng.integers(1, 4)), length)
    for first in places:
        ramp = np.arange(1, length + 1) / (length + 1)
        left, right = a[components, first - 1, None], a[components, first + length, None]
        a[components, first : first + length] = left + (right - left) * ramp
        affected[components, first : first + length] = True
    return SampleFault(kind, dt, a, affected, np.arange(a.shape[1]), {"first": places, "length": length})


def _repeated_blocks(rng: np.random.Generator, a: Floats, dt: float, span: tuple[int, int], kind: str) -> SampleFault:
    """Write blocks of all components a second time, over what follows or between."""
    length = _block_length(rng, dt, span)
    places = _some_places(rng, span, int(rng.integers(1, 3)), 2 * length)
    inserted = bool(rng.random() < 0.5)
    source = np.arange(a.shape[1])
    again = np.zeros(a.shape[1], dtype=bool)
    for first in places[::-1]:
        block = source[first : first + length]
        rest = first + length if inserted else first + 2 * length
        source = np.concatenate([source[: first + length], block, source[rest:]])
        again = np.concatenate([again[: first + length], np.ones(length, dtype=bool), again[rest:]])
    values = {"first": places, "length": length, "inserted": inserted}
    return SampleFault(kind, dt, a[:, source], np.tile(again, (3, 1)), source, values)


def _dropped_samples(rng: np.random.Generator, a: Floats, dt: float, span: tuple[int, int], kind: str) -> SampleFault:
    """Leave out 1 to 20 samples of all components at 1 to 5 places and close the gap."""
    length = int(rng.integers(1, 1 + min(20, (span[1] - span[0]) // 4)))
    places = _some_places(rng, span, int(rng.integers(1, 6)), length)
    source = np.delete(np.arange(a.shape[1]), (places[:, None] + np.arange(length)).ravel())
    affected = np.zeros((3, len(source)), dtype=bool)
    affected[:, np.flatnonzero(np.diff(source) > 1)] = True
    affected[:, np.flatnonzero(np.diff(source) > 1) + 1] = True
    return SampleFault(kind, dt, a[:, source], affected, source, {"first": places, "length": length})


def _doubled_samples(rng: np.random.Generator, a: Floats, dt: float, span: tuple[int, int], kind: str) -> SampleFault:
    """Give 1 to 10 samples of all components twice."""
    places = _some_places(rng, span, int(rng.integers(1, 11)), 1)
    source = np.insert(np.arange(a.shape[1]), places, places)
    affected = np.zeros((3, len(source)), dtype=bool)
    affected[:, np.flatnonzero(np.diff(source) == 0) + 1] = True
    return SampleFault(kind, dt, a[:, source], affected, source, {"first": places})


def _gain_jump(rng: np.random.Generator, a: Floats, dt: float, span: tuple[int, int], kind: str) -> SampleFault:
    """Multiply components by 2 or 1/2 from a sample on; the offset of the component is multiplied too."""
    components = _some_components(rng)
    at = int(rng.integers(span[0] + 1, span[1]))
    factor = float(rng.choice([0.5, 2.0]))
    affected = np.zeros(a.shape, dtype=bool)
    a[components, at:] *= factor
    affected[components, at:] = True
    return SampleFault(kind, dt, a, affected, np.arange(a.shape[1]), {"first": at, "factor": factor})


def _spikes(rng: np.random.Generator, a: Floats, dt: float, span: tuple[int, int], kind: str) -> SampleFault:
    """Add 1 to 5 spikes of 1 or 2 samples and 0.5 to 5 times the PGA, anywhere in the record."""
    affected = np.zeros(a.shape, dtype=bool)
    pga = _pga(a)
    sizes = []
    width = int(rng.integers(1, 3))
    for c in _some_components(rng):
        for at in _some_places(rng, (0, a.shape[1]), int(rng.integers(1, 6)), width):
            size = float(rng.choice([-1.0, 1.0]) * log_uniform(rng, 0.5, 5.0) * pga[c])
            a[c, at : at + width] += size
            affected[c, at : at + width] = True
            sizes.append((int(c), int(at), size))
    return SampleFault(kind, dt, a, affected, np.arange(a.shape[1]), {"spikes": sizes, "width": width})


def _aliased(rng: np.random.Generator, a: Floats, dt: float, span: tuple[int, int], kind: str) -> SampleFault:
    """Keep every k-th sample without a filter, k = 2 to 8 and the new rate not below 20 Hz."""
    factor = int(rng.integers(2, 1 + max(2, min(8, int(1 / (20 * dt))))))
    power = np.abs(fft.rfft(a[:, span[0] : span[1]] - np.median(a, axis=-1, keepdims=True), axis=-1)) ** 2
    folded = fft.rfftfreq(span[1] - span[0], dt) > 0.5 / (factor * dt)
    source = np.arange(0, a.shape[1], factor)
    fraction = power[:, folded].sum(axis=-1) / power.sum(axis=-1)
    values = {"factor": factor, "folded_fraction": fraction}
    return SampleFault(kind, factor * dt, a[:, source], np.ones((3, len(source)), dtype=bool), source, values)


def _tone(rng: np.random.Generator, a: Floats, dt: float, span: tuple[int, int], kind: str) -> SampleFault:
    """Add a sine of 0.5 to 10 % of the PGA and 1 Hz to 0.45 of the rate to the whole record."""
    frequency = log_uniform(rng, 1.0, 0.45 / dt)
    amplitude = log_uniform(rng, 0.005, 0.1) * _pga(a)
    phase = rng.uniform(0, 2 * np.pi, 3)
    affected = np.zeros(a.shape, dtype=bool)
    for c in _some_components(rng):
        a[c] += amplitude[c] * np.sin(2 * np.pi * frequency * dt * np.arange(a.shape[1]) + phase[c])
        affected[c] = True
    return SampleFault(kind, dt, a, affected, np.arange(a.shape[1]), {"frequency": frequency, "amplitude": amplitude})


_SAMPLE_FAULTS: dict[str, Callable[[np.random.Generator, Floats, float, tuple[int, int], str], SampleFault]] = {
    "clipped": _clipped,
    "clipped_before_noise": _clipped,
    "straight_fills": _straight_fills,
    "repeated_blocks": _repeated_blocks,
    "dropped_samples": _dropped_samples,
    "doubled_samples": _doubled_samples,
    "gain_jump": _gain_jump,
    "spikes": _spikes,
    "aliased": _aliased,
    "tone": _tone,
}
SAMPLE_KINDS = tuple(_SAMPLE_FAULTS)


# --- continuous data


def continuous(rng: np.random.Generator, hours: float, rate: float, shocks: int) -> Continuous:
    """Simulate continuous data of an accelerometer in a building or a field.

    Parameters
    ----------
    rng : numpy.random.Generator
        Source of all randomness.
    hours : float
        Length, h.
    rate : float
        Sampling rate, Hz.
    shocks : int
        Number of shocks, of a peak of 0.02 to 5 m/s². They do not overlap; of three or more, the second follows the first
        within 2 minutes.

    Returns
    -------
    Continuous
        Noise of 1e-5 to 3e-4 m/s² RMS by night: white, 2 to 15 Hz from people (1 to 6 times stronger by day) and microseism of
        slowly changing level; thermal drift with the day; traffic, footsteps and knocks of up to 0.015 m/s².

    Raises
    ------
    ValueError
        The time is too short for the shocks.
    """
    n = round(hours * 3600 * rate)
    dt = 1 / rate
    night = log_uniform(rng, 1e-5, 3e-4)
    knots = np.arange(0, n + 60 * rate, 60 * rate)
    clock = 2 * np.pi * (rng.uniform(0, 24) + knots / rate / 3600 - 14) / 24  # loudest at two in the afternoon
    day = log_uniform(rng, 1.0, 6.0) ** (0.5 + 0.5 * np.cos(clock))
    swell = np.exp(0.4 * np.sin(2 * np.pi * knots / rate / 3600 / rng.uniform(6, 30) + rng.uniform(0, 6)))
    samples = np.arange(n, dtype=float)
    culture_level = np.interp(samples, knots, day)
    swell_level = np.interp(samples, knots, swell)
    share = rng.dirichlet([2.0, 2.0, 2.0])  # of the power by night: white, people, microseism

    band = signal.butter(2, [2.0, min(15.0, 0.4 * rate)], "bandpass", fs=rate, output="sos")
    radius = np.exp(-np.pi * 0.05 * dt)  # half-power width of 0.05 Hz
    poles = [1.0, -2 * radius * np.cos(2 * np.pi * rng.uniform(0.15, 0.3) * dt), radius**2]
    warm = min(n, round(60 * rate))
    traces = np.empty((3, n))
    for c in range(3):
        people = signal.sosfilt(band, rng.standard_normal(n))
        waves = signal.lfilter([1.0], poles, rng.standard_normal(n + warm))[warm:]
        people *= culture_level * (np.sqrt(share[1]) / people.std())
        waves *= swell_level * (np.sqrt(share[2]) / waves.std())
        traces[c] = night * (np.sqrt(share[0]) * rng.standard_normal(n) + people + waves)
        drift = log_uniform(rng, 1e-4, 1e-3) * np.cos(clock - rng.uniform(0, 2 * np.pi)) + rng.uniform(-0.05, 0.05)
        traces[c] += np.interp(samples, knots, drift)

    transients = _add_transients(rng, traces, rate, hours, night, day)
    motions = [
        draw_motion(rng, rate=rate, before=0, after=0, fling=False, peak=log_uniform(rng, 0.02, 5))
        for _ in range(shocks)
    ]
    truth = []
    for motion, at in zip(motions, _shock_places(rng, motions, n, rate), strict=True):
        traces[:, at : at + motion.end + 1] += motion.acceleration
        truth.append(_moved(motion.shocks[0], at))
    return Continuous(dt, traces, tuple(truth), transients, night)


def _shock_places(rng: np.random.Generator, motions: list[Motion], n: int, rate: float) -> list[int]:
    """First samples of shocks in order, at least 5 s apart and 60 s (or a tenth of the time) from both ends."""
    lengths = [motion.end + 1 for motion in motions]
    margin = min(round(60 * rate), n // 10)
    apart = round(5 * rate)
    room = n - 2 * margin - sum(lengths) - apart * max(0, len(lengths) - 1)
    if room < 0:
        raise ValueError(
            f"{len(lengths)} shocks of {sum(lengths) / rate:.0f} s altogether do not fit into {n / rate:.0f} s."
        )
    gaps = np.sort(rng.integers(0, room + 1, len(lengths)))
    if len(gaps) > 2:
        gaps[1] = min(gaps[1], gaps[0] + int(rng.integers(0, round(115 * rate))))
    before = np.concatenate([[0], np.cumsum(lengths)[:-1]]) if lengths else np.zeros(0)
    return [int(margin + gap + used + apart * k) for k, (gap, used) in enumerate(zip(gaps, before, strict=True))]


def _add_transients(
    rng: np.random.Generator, traces: Floats, rate: float, hours: float, night: float, day: Floats
) -> tuple[tuple[str, int, int], ...]:
    """Add local disturbances in place; more of them by day."""
    n = traces.shape[1]
    many = rng.poisson(log_uniform(rng, 2, 30) * hours)
    chance = day[:-1] / day[:-1].sum()
    minutes = rng.choice(len(chance), many, p=chance)
    truth = []
    for minute in np.sort(minutes):
        first = int((minute + rng.random()) * 60 * rate)
        kind = str(rng.choice(["traffic", "footsteps", "knock"]))
        time = (
            np.arange(
                round({"traffic": rng.uniform(5, 40), "footsteps": rng.uniform(5, 20), "knock": 1.0}[kind] * rate)
            )
            / rate
        )
        top = min(25.0, 0.4 * rate)
        frequency = rng.uniform(6, top)
        if kind == "traffic":
            sound = rng.standard_normal(len(time))
            wave = (
                signal.lfilter(*signal.iirpeak(frequency, 2.0, fs=rate), sound) * np.sin(np.pi * time / time[-1]) ** 2
            )
        else:
            strokes = np.zeros(len(time))
            period = rng.uniform(0.45, 0.65)
            times = np.arange(0.05, time[-1] - 0.5, period) if kind == "footsteps" else np.array([0.05])
            passing = np.exp(-0.5 * ((times - times.mean()) / (0.3 * time[-1])) ** 2)
            strokes[np.round((times + rng.normal(0, 0.02, len(times)).clip(-0.04, 0.04)) * rate).astype(int)] = passing
            ringing = np.exp(-2 * np.pi * frequency * 0.07 * time) * np.sin(2 * np.pi * frequency * time)
            wave = signal.fftconvolve(strokes, ringing[: round(rate)])[: len(time)]
        size = min(log_uniform(rng, 5, 300) * night, 0.015)
        last = min(n, first + len(time))
        if last - first < 2:
            continue
        direction = rng.uniform(0.2, 1.0, 3) * rng.choice([-1.0, 1.0], 3)
        traces[:, first:last] += np.outer(direction, wave[: last - first]) * (size / np.abs(wave).max())
        truth.append((kind, first, last))
    return tuple(truth)
