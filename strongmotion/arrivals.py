"""P and S arrivals on an accelerogram.

The energy of all components in a band where noise is weak is averaged over a short window and over the long window
before it; shaking has begun where their ratio exceeds a threshold (the short-term over long-term average of Allen,
1978), and stays up. The instant is then refined as the best split of the trace into two stationary pieces, the
minimum of the Akaike criterion computed straight from the trace (Maeda, 1985). S is the same split of the energy
across the direction in which P moved the ground (after Cichowicz, 1993).

References
----------
Allen, R. V. (1978). Automatic earthquake recognition and timing from single traces. Bulletin of the Seismological
Society of America 68(5), 1521-1532.

Maeda, N. (1985). A method for reading and checking phase time in auto-processing system of seismic wave data. Zisin 38,
365-379.

Cichowicz, A. (1993). An automatic S-phase picker. Bulletin of the Seismological Society of America 83(1), 180-189.
"""

from __future__ import annotations

import functools
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import median_filter
from scipy.signal import butter, sosfilt, sosfilt_zi

from .foundation.errors import InputError

__all__ = [
    "Arrivals",
    "Direction",
    "Pick",
    "begins_in_shaking",
    "level_before",
    "p_direction",
    "pick_arrivals",
    "pick_onset",
    "rounding_energy",
    "shaking_energy",
    "shock_spans",
    "silent_samples",
]

Floats = NDArray[np.float64]

BAND = (1.0, 20.0)
"""Corners, Hz, of the band in which shaking is looked for: above microseisms and drift, below most machine noise."""

LASTS = 5
"""Short-term windows, one after the other, each of which shaking must fill to half the threshold: common practice,
without a source. A spike, or a step of the zero line, is over sooner."""

LEAST_NOISE = 1e-8
"""Energy over the record's largest that is taken for noise where there is less, as in a simulation: common practice,
without a source. The filter's own ringing would pass for shaking there."""

LEAST_GAIN, LEAST_STEP = 10.0, 1.4
"""Logarithm of the likelihood that a weak motion before an onset must gain over stationary noise, and how many times
the energy it must have: judgements, without a source. In noise alone the best of all splits gains about 5."""

BURST = 8.0
"""Energy over the median of the short-term means around it beyond which it does not count, so that a spike among the
noise hides no onset: common practice, without a source."""

HIGHEST_NOISE, HIGHEST_UNSEEN, HIGHEST_LEVEL = 0.04, 0.1, 0.3
"""What comes before an onset is noise where its root mean square is below the first fraction of that of the strongest
second. Above it, the record must show elsewhere that it is as quiet; where it ends in the shaking, and cannot, the
second fraction is the limit, and the third where it can. All are common practice, without a source."""

FLICKER = 3.0
"""What comes before P and what rounding leaves count this much more than count²/12: where the ground is quieter than a
count, rounding leaves nothing while the zero line lies between two steps, and count²/4 while it crosses one."""

AT_ONCE = 0.25
"""Fraction of the change from sample to sample in the first 0.3 s of motion that the first change of most components
must have for the silence before it to be no record of the ground. Shaking grows over some samples, and not in all
components at the same one: a judgement, without a source."""

LEAST_SILENCE = 0.5
"""s; of a run of equal samples at the begin of all components."""

AS_QUIET = 4.0
"""What comes before an onset has at most this many times the energy of the quietest 3 s after the shaking, if both are
noise: a judgement, without a source. The P waves of a record that begins in them exceed the noise by more, or are too
weak to matter."""

NEXT_SHOCK, FALLEN, FALLEN_IN_CODA, RISEN, WORTH, FARTHEST_P = 25, 0.05, 0.3, 2.5, 1e-3, 20
"""s from one shock to the next; the fraction of a shock's strongest second to which the energy must fall before a
stronger and before a weaker one; the factor by which it must rise; the fraction of the record's strongest second it
must then have; s by which P may come before what rises so. Common practice, without a source. S follows P by as much as
the first from 200 km on only."""

LEAST_UPRIGHT = 0.2
"""Least fraction of the vertical in the energy that comes with P. Of simulated P 97 in 100 have more, of S three in
four less: a judgement, without a source."""

S_UPRIGHT, MOSTLY = 1.7, 0.4
"""Fraction of the vertical in the energy before a rise, over that after it, beyond which the rise is S and what came
before P, and the least such fraction: S moves the ground across. Judgements, without a source."""

LEAST_UNCERTAINTY = {"P": 0.05, "S": 0.1}
"""Standard error, s, of a pick that a person gives without one: common practice, without a source."""

QUIET_SPAN = {"P": 3.0, "S": 1.0}
"""s before a pick over which the energy is that before it."""

EMERGENCE = {
    "P": ((2.5, 7.5, 15.0, 30.0, 50.0, 72.0, 92.0, 108.0), (0.35, 0.15, 0.115, 0.078, 0.044, 0.027, 0.017, 0.01)),
    "S": (
        (2.0, 4.5, 7.0, 9.0, 11.5, 14.0, 16.5, 19.0, 26.0, 31.0),
        (1.3, 0.9, 0.57, 0.38, 0.27, 0.21, 0.17, 0.15, 0.13, 0.115),
    ),
}
"""Standard error, s, of automatic picks by the rise of energy, decibels in 0.5 s: an onset emerges from the noise, so
picks come late, and the later the weaker the rise. A sampling interval is the least. Found on simulated records of 8 to
24 bits; held on others by `tests/test_event_picks.py`."""

LATEST_S = 0.35
"""Fraction of the horizontal energy that may come before S: S carries most of it, so a later pick is one of something
else. Common practice, without a source."""

P_WINDOW = 1.0
"""Length after P, s, over which the motion of the ground is taken for that of P alone."""

LEAST_RISE, LEAST_ALONE = 3.0, 4.0
"""Energy across the P direction in the second after S, over that in the second before: below the first there is no S.
Where there is no P, all energy in the 2 s after S must exceed that of all before by the second. That leaves out half of
the later waves that would pass for S on simulated records that begin after P, and next to no true S."""

LEAST_EXPLAINED = 0.5
"""Least fraction of the horizontal P motion that follows the vertical, for a direction to be given."""

LEAST_LINEAR = 0.9
"""Least linearity 1 - l2/l1 of the horizontal P motion (l1, l2 its principal energies), for an axis to be given."""


@dataclass(frozen=True)
class Pick:
    """The arrival of one wave.

    Parameters
    ----------
    phase : {"P", "S"}
    time : float
        s after the record's first sample.
    uncertainty : float
        Standard error, s.
    given : bool
        Read by a person; picked from the trace where False.
    """

    phase: Literal["P", "S"]
    time: float
    uncertainty: float
    given: bool = False

    def __post_init__(self) -> None:
        if self.phase not in LEAST_UNCERTAINTY:
            raise InputError(f"a pick is of P or S, not of {self.phase!r}")
        if not (math.isfinite(self.time) and math.isfinite(self.uncertainty) and self.uncertainty > 0):
            raise InputError(f"invalid {self.phase} pick: time {self.time} s, uncertainty {self.uncertainty} s")


@dataclass(frozen=True)
class Arrivals:
    """The picks of one record, and by phase why one is missing that was looked for."""

    p: Pick | None
    s: Pick | None
    missing: Mapping[str, str] = field(default_factory=dict)

    @property
    def notes(self) -> tuple[str, ...]:
        """A sentence for each missing phase."""
        return tuple(f"no {phase}: {why}" for phase, why in self.missing.items())

    def later(self, time: float) -> Arrivals:
        """Return the arrivals in a part of a record that begins so many s later as times of the record."""
        p, s = (None if pick is None else replace(pick, time=pick.time + time) for pick in (self.p, self.s))
        return Arrivals(p, s, self.missing)

    @property
    def lag(self) -> float | None:
        """S minus P, s, where both are there."""
        return None if self.p is None or self.s is None else self.s.time - self.p.time


@dataclass(frozen=True)
class Direction:
    """Where P came from, by the way it moved the ground.

    Parameters
    ----------
    back_azimuth : float
        Direction from the station to the source, degrees clockwise from north.
    uncertainty : float
        Standard error, degrees.
    either_way : bool
        The source may as well lie the other way, 180 degrees round: the vertical does not tell push from pull.
    """

    back_azimuth: float
    uncertainty: float
    either_way: bool


def shaking_energy(components: Sequence[Floats], dt: float, counts: Sequence[float] = ()) -> Floats:
    """Return the squared band-passed acceleration, summed over components.

    Parameters
    ----------
    components : sequence of ndarray, shape (n,)
        Acceleration, m/s². Offsets do no harm.
    dt : float
        Sampling interval, s.
    counts : sequence of float, optional
        Interval between counts by component, m/s². What rounding to them would leave of noise is added, since a site
        whose noise is less shows the same count for seconds, and then a single step.

    Returns
    -------
    ndarray, shape (n,)
        (m/s²)².

    Examples
    --------
    >>> import strongmotion as sm
    >>> record = sm.read("demo_records/quay.csv")
    >>> components = [one.samples * one.scale - (one.samples * one.scale).mean() for one in record]
    >>> energy = shaking_energy(components, record.dt)
    >>> bool(energy.max() > 100 * np.median(energy))
    True
    """
    return np.asarray((_band_passed(components, dt) ** 2).sum(axis=0) + rounding_energy(counts, dt))


def rounding_energy(counts: Sequence[float], dt: float) -> float:
    """Return the energy that rounding leaves in `BAND`: count²/12 is white up to the Nyquist frequency.

    Parameters
    ----------
    counts : sequence of float
        Interval between counts by component, m/s².
    dt : float
        Sampling interval, s.

    Returns
    -------
    float
        (m/s²)².

    Examples
    --------
    >>> coarse, fine = (rounding_energy([count] * 3, 0.01) for count in (1e-3, 1e-5))  # m/s² a count
    >>> coarse > fine
    True
    """
    low, high = _band(dt)
    return sum(count**2 for count in counts) / 12.0 * (high - low) * 2.0 * dt


def _band(dt: float) -> tuple[float, float]:
    """Return the corners, Hz, of `BAND`, or of what the sampling allows of it."""
    nyquist = 0.5 / dt
    return min(BAND[0], 0.2 * nyquist), min(BAND[1], 0.8 * nyquist)


def _band_passed(components: Sequence[Floats], dt: float) -> Floats:
    """Return the components in `BAND`, shape (components, n)."""
    # A causal filter: a zero-phase one would carry shaking to before its onset.
    sections, settled = _band_pass(*_band(dt), 1.0 / dt)
    return np.array([sosfilt(sections, trace, zi=settled * trace[0])[0] for trace in components])


@functools.cache
def _band_pass(low: float, high: float, rate: float) -> tuple[Floats, Floats]:
    """Return second-order sections of the filter, and their state after a steady 1."""
    sections = butter(2, (low, high), "bandpass", fs=rate, output="sos")
    return sections, sosfilt_zi(sections)


def level_before(energy: Floats, samples: int, dt: float) -> float:
    """Return the RMS level of the first `samples` as a fraction of that in the strongest second.

    Parameters
    ----------
    energy : ndarray, shape (n,)
        As from `shaking_energy`.
    samples : int
        0 gives 0.
    dt : float
        Sampling interval, s.

    Examples
    --------
    >>> import strongmotion as sm
    >>> record = sm.read("demo_records/quay.csv")
    >>> components = [one.samples * one.scale - (one.samples * one.scale).mean() for one in record]
    >>> energy = shaking_energy(components, record.dt)
    >>> bool(level_before(energy, 500, record.dt) < 1e-3 * energy.max())
    True
    """
    second = min(len(energy), max(1, round(1.0 / dt)))
    strongest = float(np.convolve(energy, np.full(second, 1.0 / second), "valid").max())
    return float(np.sqrt(energy[:samples].mean() / strongest)) if samples and strongest > 0 else 0.0


def begins_in_shaking(energy: Floats, samples: int, dt: float) -> bool:
    """Tell whether the first samples are shaking, and not noise.

    A record that is triggered late begins in P; the picker then takes S for the onset, and P would pass for noise.
    Where the record comes to rest, its end tells how quiet it can be; so a weak motion in strong noise is not taken
    for one that begins late.

    Parameters
    ----------
    energy : ndarray, shape (n,)
        As from `shaking_energy`.
    samples : int
        Samples before the onset.
    dt : float
        Sampling interval, s.

    Examples
    --------
    >>> import strongmotion as sm
    >>> record = sm.read("demo_records/quay.csv")
    >>> components = [one.samples * one.scale - (one.samples * one.scale).mean() for one in record]
    >>> energy = shaking_energy(components, record.dt)
    >>> begins_in_shaking(energy, 500, record.dt)
    False
    """
    level = level_before(energy, samples, dt)
    if level <= HIGHEST_NOISE:
        return False
    three = min(max(1, round(3.0 / dt)), max(1, samples))
    total = np.concatenate(([0.0], np.cumsum(energy[samples + int(np.argmax(energy[samples:])) :])))
    quietest = float((total[three:] - total[:-three]).min(initial=np.inf)) / three
    before = float(energy[:samples].mean())
    if before > AS_QUIET * quietest:
        return True
    came_to_rest = quietest <= AS_QUIET * before
    return level > (HIGHEST_LEVEL if came_to_rest else HIGHEST_UNSEEN)


def silent_samples(components: Sequence[Floats], dt: float) -> int:
    """Return how many samples at the begin are no record of the ground: a constant, from which motion starts at once.

    Such a silence stands before records that were triggered late and filled up. A quiet site that shows the same count
    until P arrives is none: there the motion grows over some samples, in one component after the other.

    Parameters
    ----------
    components : sequence of ndarray, shape (n,)
    dt : float
        Sampling interval, s.

    Returns
    -------
    int
        0 where there is none.

    Examples
    --------
    >>> rng = np.random.default_rng(1)
    >>> silent_samples([np.concatenate((np.zeros(500), rng.normal(size=500))) for _ in range(3)], 0.01)
    500
    >>> silent_samples([rng.normal(size=500) for _ in range(3)], 0.01)
    0
    """
    traces = np.asarray(components, dtype=float)
    changed = traces != traces[:, :1]
    if not changed.any(axis=1).all():
        return 0
    first = np.argmax(changed, axis=1)
    at, window = int(first.min()), max(8, round(0.3 / dt))
    if at * dt < LEAST_SILENCE or first.max() > at + 1 or traces.shape[1] < at + window:
        return 0
    change = np.abs(np.diff(traces[:, at - 1 : at + window], axis=1))
    usual = np.median(change[:, 3:], axis=1)
    at_once = change[:, :2].max(axis=1) > AT_ONCE * usual
    return at if (usual > 0).all() and at_once.sum() > len(traces) / 2 else 0


def pick_onset(
    energy: Floats,
    dt: float,
    short_window: float = 0.5,
    long_window: float = 5.0,
    ratio: float = 4.0,
    rounding: float = 0.0,
) -> int | None:
    """Find the sample at which shaking begins.

    Parameters
    ----------
    energy : ndarray, shape (n,)
        As from `shaking_energy`.
    dt : float
        Sampling interval, s.
    short_window, long_window : float
        Averaging windows, s; the long one ends where the short one begins.
    ratio : float
        Short-term over long-term energy at which shaking is declared.
    rounding : float
        What rounding to counts leaves of energy, as from `rounding_energy`: what may be its flicker is no shaking.

    Returns
    -------
    int or None
        The first sample of shaking; None where the ratio is never exceeded.

    Examples
    --------
    >>> noise = np.random.default_rng(1).normal(size=4000) ** 2
    >>> noise[2500:] *= 400
    >>> abs(pick_onset(noise, 0.01) - 2500) <= 5
    True
    """
    n = len(energy)
    short, long = max(1, round(short_window / dt)), max(2, round(long_window / dt))
    loudest = float(energy.max(initial=0.0))
    energy = _without_bursts(energy, short)
    total = np.concatenate(([0.0], np.cumsum(energy)))
    # The short window is [end - short, end). Until half the long one is filled its average is too rough to trust.
    end = np.arange(short + max(short, long // 2), n + 1)
    if end.size == 0:
        return None
    middle = end - short
    begin = np.maximum(middle - long, 0)
    recent = (total[end] - total[middle]) / short
    # Noise has quiet spells too: what came before them counts as well.
    before = np.maximum((total[middle] - total[begin]) / (middle - begin), total[middle] / middle)
    # Shaking lasts, a burst of noise falls back; of the record's end only whole windows count.
    sustained = recent.copy()
    for later in range(short, LASTS * short, short):
        np.minimum(sustained[:-later], recent[later:], out=sustained[:-later])
    quiet = np.maximum(before, max(LEAST_NOISE * loudest, FLICKER * rounding, np.finfo(float).tiny))
    triggered = np.flatnonzero((recent > ratio * quiet) & (sustained > ratio * quiet / 2.0))
    if triggered.size == 0:
        return None
    at = int(end[triggered[0]])
    first, last = max(0, at - long - short), min(n, at + short)
    return _earlier(energy, first + _best_split(energy[first:last]), dt, short, long, FLICKER * rounding)


def _earlier(energy: Floats, at: int, dt: float, short: int, long: int, flicker: float) -> int:
    """Return where a weak motion begins that leads up to an onset, or the onset.

    A weak P does not reach the threshold, and S is taken for the onset. The best split of the time before it is one, if
    its likelihood leaves no doubt, and what follows it is stronger. How much the noise scatters by itself is measured.
    """
    first = max(0, at - 2 * long)
    here = energy[first:at]
    if len(here) < 3 * short:
        return at
    before = energy[max(0, first - 12 * long) : first + max(short, (at - first) // 2)]
    blocks = before[: len(before) // short * short].reshape(-1, short).mean(axis=1)
    independent = 2.0 * short * dt * (BAND[1] - BAND[0])
    if len(blocks) >= 6 and blocks.var() > 0:
        independent = 2.0 * float(np.median(blocks)) ** 2 / float(blocks.var())
    total = np.cumsum(here)
    k = np.arange(short, len(here) - short // 2)
    left, right = total[k - 1] / k, (total[-1] - total[k - 1]) / (len(here) - k)
    tiny = np.finfo(float).tiny
    gain = len(here) * np.log(max(total[-1] / len(here), tiny))
    gain = gain - k * np.log(np.maximum(left, tiny)) - (len(here) - k) * np.log(np.maximum(right, tiny))
    best = int(k[np.argmax(gain)])
    likely = 0.5 * independent / short * float(gain.max()) > LEAST_GAIN
    # A spike, or a step of the zero line, is over at once: what is usual must rise, not only the mean. It is that of
    # twice the time for which shaking must last, since a weak P dies away before S.
    parts = here[:best], here[best : best + 2 * LASTS * short]
    quiet, louder = (_usual(part, max(1, short // 2)) for part in parts)
    return first + best if likely and louder > max(LEAST_STEP * quiet, flicker) else at


def _usual(energy: Floats, block: int) -> float:
    """Return the median of the means over blocks."""
    return float(np.median(np.add.reduceat(energy, np.arange(0, len(energy), block)) / block))


def _without_bursts(energy: Floats, short: int) -> Floats:
    """Hold down what is over sooner than shaking, by the median over twice `LASTS` short windows."""
    means = np.add.reduceat(energy, np.arange(0, len(energy), short)) / short
    usual = median_filter(means, 2 * LASTS - 1, mode="nearest")
    return np.minimum(energy, BURST * np.repeat(usual, short)[: len(energy)])


def pick_arrivals(
    components: Mapping[str, Floats], dt: float, onset: float | None = None, counts: Sequence[float] = ()
) -> Arrivals:
    """Pick P and S on one record.

    Parameters
    ----------
    components : mapping of str to ndarray, shape (n,)
        Acceleration, m/s², by component; S needs ``"H1"`` and ``"H2"``. Raw is best: a zero-phase filter carries
        shaking to before its onset. Offsets do no harm.
    dt : float
        Sampling interval, s.
    onset : float, optional
        P as a person read it, s after the first sample; it wins over the picker.
    counts : sequence of float, optional
        Interval between counts by component, m/s²: noise is never below what rounding to them leaves.

    Returns
    -------
    Arrivals
        Times in s after the first sample. Where no quiet comes before the shaking, as in a record that was triggered
        late, there is no P, and a note says so.

    Examples
    --------
    >>> rng = np.random.default_rng(4)
    >>> p, s = np.arange(4000) >= 1500, np.arange(4000) >= 2100
    >>> trace = {name: rng.normal(size=4000) * (1 + 20 * share * p + 200 * s)
    ...          for name, share in (("H1", 0.5), ("H2", 0.5), ("V", 1.0))}
    >>> arrivals = pick_arrivals(trace, 0.01)
    >>> abs(arrivals.p.time - 15.0) < 0.1, abs(arrivals.s.time - 21.0) < 0.1
    (True, True)
    """
    names = list(components)
    silent = silent_samples([components[name] for name in names], dt) if onset is None else 0
    if silent:
        heard = pick_arrivals({name: trace[silent:] for name, trace in components.items()}, dt, None, counts)
        if heard.p is None:
            silence = f"its first {silent * dt:.1f} s are one value and no record of the ground"
            heard = replace(heard, missing={**heard.missing, "P": f"{heard.missing['P']}; {silence}"})
        return heard.later(silent * dt)
    passed = _band_passed([components[name] for name in names], dt)
    rounding = rounding_energy(counts, dt)
    energy = (passed**2).sum(axis=0) + rounding
    of_v = passed[names.index("V")] if "V" in names and len(names) > 1 else None
    missing = {}
    if onset is not None:
        p: Pick | None = Pick("P", onset, LEAST_UNCERTAINTY["P"], given=True)
    else:
        p, why = _pick_p(energy, dt, rounding, of_v)
        missing = {"P": why} if why else {}
    if not {"H1", "H2"} <= set(names):
        return Arrivals(p, None, missing | {"S": "two horizontal components are needed"})
    s = _pick_s(passed, dt, None if p is None else p.time, names.index("V") if "V" in names else None)
    if s is None:
        missing["S"] = "nothing stands out from the motion before it"
    elif p is None and not _stands_alone(energy, s, dt, FLICKER * rounding, of_v):
        s, missing["S"] = None, "without P it cannot be distinguished from noise, or from P"
    elif _share_before([passed[names.index(name)] for name in ("H1", "H2")], dt, p, s) > LATEST_S:
        s, missing["S"] = None, "most of the horizontal energy comes before the arrival that stands out"
    return Arrivals(p, s, missing)


def _share_before(horizontals: Sequence[Floats], dt: float, p: Pick | None, s: Pick) -> float:
    """Return the fraction of the horizontal energy, less that of the noise before P, that comes before S."""
    energy = np.sum(np.square(horizontals), axis=0)
    begin = 0 if p is None else round(p.time / dt)
    noise = float(np.median(energy[:begin])) * 2.2 if begin > round(2.0 / dt) else 0.0
    total = np.cumsum(energy[begin:] - noise)
    last = float(total.max(initial=0.0))
    return float(total[min(max(round(s.time / dt) - begin, 0), len(total) - 1)]) / last if last > 0 else 0.0


def shock_spans(components: Mapping[str, Floats], dt: float) -> tuple[tuple[float, float], ...]:
    """Return where each of several shocks is in a record.

    Another shock begins where the energy, which had fallen to a small fraction of what came before, rises again to many
    times what it was, and stays up. The S waves of one shock do not: between P and S the energy does not fall so far
    for so long.

    Parameters
    ----------
    components : mapping of str to ndarray, shape (n,)
        Acceleration, m/s².
    dt : float
        Sampling interval, s.

    Returns
    -------
    tuple of (float, float)
        Begin and end of each, s after the first sample; one that spans the record where there is one shock, or none.

    Examples
    --------
    >>> import strongmotion as sm
    >>> record = sm.read("demo_records/quay.csv")
    >>> parts = {one.name: one.samples * one.scale - (one.samples * one.scale).mean() for one in record}
    >>> len(shock_spans(parts, record.dt))
    1
    """
    energy = shaking_energy(list(components.values()), dt)
    whole = (0.0, len(energy) * dt)
    first = pick_onset(energy, dt)
    second = max(1, round(1.0 / dt))
    means = _by_block(energy, second)
    if first is None or len(means) < 3 * NEXT_SHOCK:
        return (whole,)
    upright = None
    if "V" in components and len(components) > 1:
        upright = np.stack((_by_block(shaking_energy([components["V"]], dt), second), means))
    means = median_filter(means, 3, mode="nearest")  # a spike is no shock
    settled = np.convolve(means, np.full(3, 1 / 3), "full")[: len(means)]  # of a second and the two before it
    begins = [first // second]
    at = begins[0] + NEXT_SHOCK
    while at + LASTS < len(means):
        largest = float(means[begins[-1] : at].max())
        before, after = float(settled[at - 8 : at].min()), means[at : at + LASTS]
        usual = float(np.median(after))
        rises = after.min() > RISEN * before and usual > 2 * RISEN * before and usual > WORTH * float(means.max())
        now = means[at - 1] < 0.5 * usual  # and not some seconds ago
        # S may come late, and exceeds P; what is weaker than what came before is no S.
        stronger = means[at : at + NEXT_SHOCK].max() > largest
        fallen = before < (FALLEN if stronger else FALLEN_IN_CODA) * largest
        if now and rises and fallen and not (stronger and _is_s(upright, begins[-1], at)):
            # The shock begins where the coda of the one before ends to fall, which is before its P where P stands out.
            since = max(begins[-1] + LASTS, at - FARTHEST_P)
            quiet = settled[since : at + 1]
            begins.append(since + int(np.flatnonzero(quiet <= 1.5 * quiet.min())[-1]))
            at += NEXT_SHOCK
        else:
            at += 1
    ends = [*(begin - QUIET_SPAN["P"] for begin in begins[1:]), whole[1]]
    return tuple(zip([0.0, *ends[:-1]], ends, strict=True))


def _by_block(energy: Floats, block: int) -> Floats:
    """Return the means over whole blocks of samples."""
    return np.asarray(energy[: len(energy) // block * block].reshape(-1, block).mean(axis=1))


def _is_s(upright: Floats | None, begin: int, at: int) -> bool:
    """Tell whether a rise is S after a late P: what came before moved the ground far more upright than it does.

    `upright` holds the energy of the vertical and of all components, by second.
    """
    if upright is None:
        return False
    fractions = []
    for part in (upright[:, begin:at], upright[:, at : at + 2 * LASTS]):
        strong = part[1] >= 0.25 * part[1].max()
        fractions.append(float(part[0, strong].sum() / part[1, strong].sum()))
    return fractions[0] > max(MOSTLY, S_UPRIGHT * fractions[1])


def _pick_p(energy: Floats, dt: float, rounding: float, vertical: Floats | None) -> tuple[Pick | None, str]:
    """Return the pick of P, or why there is none."""
    at = pick_onset(energy, dt, rounding=rounding)
    if at is None:
        return None, "no onset stands out from the motion before it"
    energy = _without_bursts(energy, max(1, round(0.5 / dt)))
    if begins_in_shaking(energy, max(0, at - round(0.5 / dt)), dt):
        return None, "the record begins after P"
    upright = _upright_fraction(energy, at, dt, vertical)
    if upright is not None and upright < LEAST_UPRIGHT:
        return None, "the first arrival that stands out moves the ground horizontally, as S does"
    if _louder_than_rest(energy, at, dt, rounding) and (upright is None or upright < MOSTLY):
        return None, "what comes before the onset is stronger than the end of the record: it may be P"
    first = max(0, at - round(3.0 / dt))
    spread = _split_spread(energy[first : at + round(1.0 / dt)], dt)
    return Pick("P", at * dt, math.hypot(spread, _emergence("P", energy, at, dt))), ""


def _upright_fraction(energy: Floats, at: int, dt: float, vertical: Floats | None) -> float | None:
    """Return the fraction of the vertical in the energy that comes with an onset; None where that is not known.

    P moves the ground mostly up and down, S mostly across, since rays come up steeply.
    """
    half = max(2, round(0.5 / dt))
    if vertical is None or at < half:
        return None
    own = np.square(vertical)
    rise = [float(part[at : at + half].mean() - part[at - half : at].mean()) for part in (own, energy)]
    return max(rise[0], 0.0) / rise[1] if rise[1] > 0 else None


def _louder_than_rest(energy: Floats, at: int, dt: float, rounding: float) -> bool:
    """Tell whether the record shows later that it can be far quieter than before an onset, noise of rounding apart."""
    three = max(1, round(3.0 / dt))
    usual = _usual(energy[max(0, at - three) : max(1, at - round(0.5 / dt))], max(1, round(0.5 / dt)))
    total = np.concatenate(([0.0], np.cumsum(energy[at:])))
    quietest = float((total[three:] - total[:-three]).min(initial=np.inf)) / three
    return usual > 2 * AS_QUIET * max(quietest, FLICKER * rounding / 2)


def _emergence(phase: str, energy: Floats, at: int, dt: float) -> float:
    """Return the standard error, s, of a pick by how far the energy after it exceeds that before."""
    window, after = round(QUIET_SPAN[phase] / dt), energy[at : at + max(1, round(0.5 / dt))]
    before = energy[max(0, at - window) : max(1, at - 1)]
    floor = np.finfo(float).tiny
    decibels = 10 * math.log10(max(float(after.mean()), floor) / max(float(before.mean()), floor))
    rise, error = EMERGENCE[phase]
    return max(1.05 * dt, math.exp(float(np.interp(decibels, rise, np.log(error)))))


def _pick_s(passed: Floats, dt: float, p: float | None, vertical: int | None) -> Pick | None:
    """Split the energy across the P direction, weighted by its share in all energy, before its strongest second."""
    second = max(1, round(1.0 / dt))
    begin = 0 if p is None else round(p / dt)
    if passed.shape[1] - begin < 3 * second:
        return None
    direction = np.zeros(len(passed))
    if p is not None:
        motion = passed[:, begin : begin + max(2, round(P_WINDOW / dt))]
        direction = np.linalg.eigh(motion @ motion.T)[1][:, -1]
    elif vertical is not None:
        direction[vertical] = 1.0  # P comes up steeply under soft ground
    whole = (passed**2).sum(axis=0)
    across = np.maximum(whole - (direction @ passed) ** 2, 0.0)
    smooth = np.ones(max(1, round(0.3 / dt)))
    share = np.convolve(across, smooth, "same") / np.maximum(np.convolve(whole, smooth, "same"), np.finfo(float).tiny)
    measure = across * share**2

    begin += round(0.2 / dt)
    recent = np.convolve(measure, np.full(second, 1.0 / second), "full")[: len(measure)]
    strongest = begin + int(np.argmax(recent[begin:]))
    if strongest - begin < 4:
        return None
    at = begin + _best_split(measure[begin:strongest])
    before = measure[max(begin, at - second) : at]
    if before.size == 0 or measure[at : at + second].mean() < LEAST_RISE * before.mean():
        return None
    # Noise rises and falls as much from one second to the next: with no P to go by, S must rise above all before it.
    calm = _without_bursts(whole, max(1, second // 2))
    quiet = max(float(calm[:at].mean()), LEAST_NOISE * float(whole.max()))
    if p is None and calm[at : at + 2 * second].mean() < LEAST_ALONE * quiet:
        return None
    # Noise of a narrow band passes even so, but is nowhere quiet as a record of shaking is in some second.
    seconds = np.convolve(whole, np.full(second, 1.0 / second), "valid")
    if p is None and seconds.min() > HIGHEST_UNSEEN**2 * seconds.max():
        return None
    spread = _split_spread(measure[begin:strongest], dt)
    return Pick("S", at * dt, math.hypot(spread, _emergence("S", whole, at, dt)))


def _stands_alone(energy: Floats, s: Pick, dt: float, flicker: float, vertical: Floats | None) -> bool:
    """Tell whether S without P stands out from noise and its rounding, and is not P itself."""
    at, two = round(s.time / dt), max(1, round(2.0 / dt))
    upright = _upright_fraction(energy, at, dt, vertical)
    rises = float(energy[at : at + two].mean()) > LEAST_ALONE * max(float(np.median(energy[:at])), flicker)
    return rises and (upright is None or upright < MOSTLY)


def p_direction(
    north: Floats, east: Floats, up: Floats | None, dt: float, p: float, window: float = P_WINDOW
) -> Direction | None:
    """Tell from where P came by the way it moved the ground.

    P moves the ground along its ray, which comes up from below: away from the source and up, or towards it and down.
    So the horizontal motion follows the vertical, and the regression of both horizontals on the vertical points away
    from the source. Where it does not, the axis of a linear horizontal motion is left, either way round.

    Parameters
    ----------
    north, east : ndarray, shape (n,)
        Acceleration, m/s².
    up : ndarray, shape (n,), or None
    dt : float
        Sampling interval, s.
    p : float
        Arrival of P, s after the first sample.
    window : float
        s after P; it should end before S.

    Returns
    -------
    Direction or None
        None where the motion points nowhere.

    Notes
    -----
    Common practice (as in Jurkevics, 1988, BSSA 78(5), 1725-1743), the statistics being those of linear regression. The
    number of independent samples is that of the spectrum's equivalent width.

    Examples
    --------
    >>> time = np.arange(2000) * 0.01
    >>> p = np.where(time > 10, np.exp(-3 * (time - 10)) * np.sin(12 * (time - 10)), 0.0)
    >>> noise = np.random.default_rng(1).normal(0, 1e-4, (3, 2000))
    >>> found = p_direction(*(noise + np.array([[-0.5], [0.0], [1.0]]) * p), 0.01, 10.0)  # up, and away from the north
    >>> round(found.back_azimuth) % 360
    0
    """
    traces = [north, east] if up is None else [north, east, up]
    passed = _band_passed(traces, dt)[:, round(p / dt) : round((p + window) / dt)]
    if passed.shape[1] < 8:
        return None
    horizontal = passed[:2]
    energy = float((horizontal**2).sum())
    power = np.abs(np.fft.rfft(passed[-1])) ** 2
    independent = max(4.0, 2 * power.sum() ** 2 / max((power**2).sum(), np.finfo(float).tiny))
    if up is not None:
        vertical = passed[2]
        slope = horizontal @ vertical / max(float(vertical @ vertical), np.finfo(float).tiny)
        rest = float(((horizontal - np.outer(slope, vertical)) ** 2).sum())
        if rest < (1 - LEAST_EXPLAINED) * energy:
            error = math.sqrt(rest / 2 / float(vertical @ vertical) / independent) / math.hypot(*slope)
            azimuth = math.degrees(math.atan2(-slope[1], -slope[0])) % 360
            return Direction(azimuth, math.degrees(math.atan(error)), either_way=False)
    small, large = np.linalg.eigvalsh(horizontal @ horizontal.T)
    if large <= 0 or 1 - small / large < LEAST_LINEAR:
        return None
    axis = np.linalg.eigh(horizontal @ horizontal.T)[1][:, -1]
    error = math.degrees(math.atan(math.sqrt(small / large / independent)))
    return Direction(math.degrees(math.atan2(axis[1], axis[0])) % 180, error, either_way=True)


def _best_split(energy: Floats) -> int:
    """Return where a zero-mean trace of this energy is best split in two stationary pieces (Maeda, 1985)."""
    if len(energy) < 4:
        return 0
    return 1 + int(np.argmin(_akaike(energy)))


def _split_spread(energy: Floats, dt: float) -> float:
    """Return the standard error, s, of the best split: the spread of its likelihood exp(-AIC/2) over all splits.

    Filtered samples are not independent: the criterion is divided by the samples in one.
    """
    if len(energy) < 4:
        return 0.0
    criterion = _akaike(energy)
    together = max(1.0, 0.5 / (dt * (BAND[1] - BAND[0])))
    weight = np.exp(-(criterion - criterion.min()) / (2 * together))
    apart = np.arange(len(criterion)) - int(np.argmin(criterion))
    return dt * math.sqrt(float((weight * apart**2).sum() / weight.sum()))


def _akaike(energy: Floats) -> Floats:
    """Return the criterion for a split after 1, 2, ... n - 2 samples."""
    n = len(energy)
    total = np.cumsum(energy)
    k = np.arange(1, n - 1)
    tiny = np.finfo(float).tiny
    left = np.maximum(total[k - 1] / k, tiny)
    right = np.maximum((total[-1] - total[k - 1]) / (n - k), tiny)
    return k * np.log(left) + (n - k - 1) * np.log(right)
