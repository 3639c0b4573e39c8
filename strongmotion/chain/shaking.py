"""Where the shaking is in a long record, and the part that is cut around it.

Continuous data hold an hour or a day of noise around some seconds of shaking. Energy in a band of low frequency, where
shaking is strong and traffic, footsteps and machines are weak, is averaged over 2 s and compared with the median over
the minutes around it. It stands out of the noise where there is shaking; what stands out for a moment, on one
component alone, or mostly at high frequency, is a spike, a fault of one sensor or a disturbance nearby. Samples are
worked through in blocks, and only energies by half seconds are kept, so a day takes seconds, and little memory.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import median_filter, uniform_filter1d
from scipy.signal import butter, sosfilt, sosfilt_zi

from ..foundation.errors import RecordError
from ..motion import Entry, Value
from ..record import Component, Finding, Record
from ..settings import AUTO, Settings
from .order import step

__all__ = ["Shock", "cut_entry", "cut_to_shaking", "cut_to_shocks", "shaking_in"]

STEP = step("cut", 5)

Floats = NDArray[np.float64]

LOW_BAND, HIGH_BAND = (1.0, 2.5), (5.0, 20.0)
"""Hz. Shaking is looked for in the first band, and compared with the second."""

HALF = 0.5
"""Length, s, over which energies are taken; shaking is looked for in means over four of them."""

BLOCK = 1 << 20
"""Samples that are filtered at a time."""

STANDS_OUT, FALLS_BACK = 6.0, 2.5
"""Energy over 2 s, as a multiple of that of the noise, above which shaking begins, and below which it is over. In the
low band 2 s of one component hold 6 independent numbers, and of three 18: six times their mean comes by chance once in
a million, and once in 10^15."""

ON_TWO = 3.0
"""The same for the second strongest component: what is on one alone is a fault of that sensor."""

LASTS = 7
"""Half seconds, over more than half of which shaking lasts. A spike rings in the filter for less."""

BURST = 8.0
"""A half second counts for at most this many times the median over `LASTS` of them."""

SPIKE = (0.98, 0.5)
"""A spike or a step of the zero line, whatever it rings on for in the filter, has more than the first fraction of its
energy in 2 s, and more than the second fraction of all squared differences between samples in four of them."""

LEAST_LOW, SURE = 0.06, 0.1
"""Least energy in the low band, as a fraction of that in the high one, of a shock with a peak below the second number,
m/s². The acceleration spectrum of shaking is flat between its corners (Brune, 1970), so from 1 to 2.5 Hz there is a
tenth of what there is from 5 to 20 Hz, and more where high frequencies are damped. A disturbance nearby has its energy
about the frequencies of its source and of the ground's resonance, which lie above; so has a small earthquake very near,
whose lower corner is above 2 Hz: it is left out unless it exceeds the peak."""

LEAST_PEAK = 0.01
"""Smallest peak acceleration, m/s², that is worth a record: 1 cm/s², common practice, without a source."""

QUIET_BETWEEN = 2.0
"""s below `FALLS_BACK` after which what comes next is another shock."""

P_BEFORE_S = 10.0
"""What is weaker than 0.6 of the shock that follows it within this time, s, is its P wave."""

TOGETHER = 30.0
"""Shocks with less quiet between them, s, stay in one record, unless each is to have its own."""

CHUNK, AROUND = 120, 11
"""The level of the noise is the median over this many half seconds, and over so many of those."""


@dataclass(frozen=True)
class Shock:
    """One shock in a record.

    Parameters
    ----------
    begin, end : float
        s after the record's first sample, to half a second.
    peak : float
        Largest acceleration between them on any component, less the mean, m/s².
    """

    begin: float
    end: float
    peak: float


def shaking_in(record: Record) -> tuple[Shock, ...]:
    """Find the shocks in a record of any length.

    Parameters
    ----------
    record : Record
        Its counts need a sensitivity.

    Returns
    -------
    tuple of Shock
        In order of time; empty where nothing but noise is found.

    Examples
    --------
    >>> import strongmotion as sm
    >>> len(shaking_in(sm.read("demo_records/quay.csv")))
    1
    """
    half = max(1, round(HALF / record.dt))
    count = record.samples // half
    if count < 2 * LASTS:
        return ()
    low, high = (
        np.array([_energies(component, band, half, count) for component in record]) for band in (LOW_BAND, HIGH_BAND)
    )
    alive = [bool((energies > 0).mean() > 0.5) for energies in low]
    if not any(alive):
        return ()
    low, high = low[alive], high[alive]
    steady = np.array([_without_bursts(energies) for energies in low])
    by_two_seconds = uniform_filter1d(steady, 4, axis=-1, mode="nearest")
    ratios = by_two_seconds / np.array([_level_of_noise(energies) for energies in by_two_seconds])
    # Of one component alone nothing better can be asked than that it stands out.
    second = np.sort(ratios, axis=0)[-2] if len(ratios) > 1 else ratios[0]
    ratio = ratios.mean(axis=0)
    shocks = []
    for first, last in _spans(ratio, (ratio > STANDS_OUT) & (second > ON_TWO)):
        here = slice(max(0, first - 1), last + 1)
        raw = low[:, here].sum(axis=0)
        excess, sharp = float(raw.sum()), float(high[:, here].sum())
        begin, end = here.start * half, min(record.samples, here.stop * half)
        if uniform_filter1d(raw, 4, mode="constant").max() * 4 > SPIKE[0] * excess and _jumps(record, begin, end):
            continue
        peak = _peak(record, begin, end)
        if peak >= LEAST_PEAK and (peak >= SURE or excess >= LEAST_LOW * sharp):
            shocks.append(Shock(begin * record.dt, end * record.dt, peak))
    return tuple(_with_their_p(shocks))


def _energies(component: Component, band: tuple[float, float], half: int, count: int) -> Floats:
    """Return the mean square of the band-passed acceleration over each half second, (m/s²)²; shape (count,)."""
    nyquist = 0.5 / component.dt
    corners = (min(band[0], 0.2 * nyquist), min(band[1], 0.8 * nyquist))
    sections = butter(2, corners, "bandpass", fs=1.0 / component.dt, output="sos")
    energies = np.empty(count)
    state = None
    size = max(1, BLOCK // half)
    for first in range(0, count, size):
        here = slice(first * half, min(count, first + size) * half)
        block = component.samples[here] * np.float64(component.scale)
        if state is None:
            state = sosfilt_zi(sections) * block[: 10 * half].mean()
        passed, state = sosfilt(sections, block, zi=state)
        energies[first : first + size] = (passed**2).reshape(-1, half).mean(axis=1)
    return energies


def _without_bursts(energies: Floats) -> Floats:
    """Hold down what is over sooner than shaking."""
    return np.minimum(energies, BURST * median_filter(energies, LASTS, mode="nearest"))


def _level_of_noise(energies: Floats) -> Floats:
    """Return the energy of the noise at each half second: the median over the minutes around it.

    A record of a few minutes may be shaking for the most part; there the tenth that is quietest tells.
    """
    tiny = max(float(energies.max()) * 1e-16, np.finfo(float).tiny)
    chunks = len(energies) // CHUNK
    if chunks < AROUND:
        # A tenth of the numbers of a chi-squared distribution of 6 degrees of freedom lie below 0.367 of its mean.
        return np.full_like(energies, max(float(np.quantile(energies, 0.1)) / 0.367, tiny))
    levels = np.median(energies[: chunks * CHUNK].reshape(chunks, CHUNK), axis=1)
    levels = median_filter(levels, AROUND, mode="nearest")
    return np.maximum(np.interp(np.arange(len(energies)), (np.arange(chunks) + 0.5) * CHUNK, levels), tiny)


def _spans(ratio: Floats, stands_out: NDArray[np.bool_]) -> Iterator[tuple[int, int]]:
    """Yield first and last half second of each time that does not fall back to the noise, if it stands out of it."""
    above = np.flatnonzero(ratio > FALLS_BACK)
    if above.size == 0:
        return
    for run in np.split(above, np.flatnonzero(np.diff(above) > QUIET_BETWEEN / HALF) + 1):
        if stands_out[run].any():
            yield int(run[0]), int(run[-1])


def _jumps(record: Record, begin: int, end: int) -> bool:
    """Tell whether four differences between samples are larger than all others together."""
    squares = sum(np.diff(part.samples[begin:end] * np.float64(part.scale)) ** 2 for part in record)
    return bool(np.sort(squares)[-4:].sum() > SPIKE[1] * np.sum(squares))


def _peak(record: Record, begin: int, end: int) -> float:
    peaks = []
    for component in record:
        values = component.samples[begin:end] * np.float64(component.scale)
        peaks.append(float(np.abs(values - values.mean()).max()))
    return max(peaks)


def _with_their_p(shocks: list[Shock]) -> list[Shock]:
    """Join what is a P wave to its shock."""
    joined: list[Shock] = []
    for shock in shocks:
        before = joined[-1] if joined else None
        if before and before.peak < 0.6 * shock.peak and shock.begin - before.end < P_BEFORE_S:
            joined[-1] = Shock(before.begin, shock.end, shock.peak)
        else:
            joined.append(shock)
    return joined


def cut_to_shaking(record: Record, settings: Settings) -> Record:
    """Return the part of a record that is to be processed.

    Parameters
    ----------
    record : Record
        As it was read, or as it was cut before.
    settings : Settings
        ``window.begin`` and ``window.end`` where they are given, in s after the first sample of the file; else a record
        longer than ``window.longest`` is cut to its strongest shaking, unless ``onset.time`` is given.

    Returns
    -------
    Record
        Its source tells what part of the file it is; findings ``cut`` and, where there are others, ``several shocks``.

    Raises
    ------
    RecordError
        No shaking is found in a record that is longer than ``window.longest``, or the span given holds none of it.

    Examples
    --------
    >>> import strongmotion as sm
    >>> record = sm.read("demo_records/quay.csv")
    >>> cut_to_shaking(record, sm.Settings()) is record  # shorter than window.longest
    True
    """
    window = settings.window
    if window.begin != AUTO or window.end != AUTO:
        ahead = record.source.first_sample * record.dt

        def here(time: str | float) -> str | float | None:
            return None if time == AUTO else time if isinstance(time, str) else time - ahead

        return record.window(here(window.begin), here(window.end))
    if settings.onset.time != AUTO or record.duration <= window.longest:
        return record
    record.check_sensitivities()
    shocks = shaking_in(record)
    if not shocks:
        raise RecordError(
            f"no shaking stands out from the noise in {record.duration:g} s of continuous data",
            source=record.source.file or None,
            remedy="Give --from and --to (window.begin and window.end) to process a part of it",
        )
    groups = _together(shocks)
    strongest = max(range(len(groups)), key=lambda at: max(shock.peak for shock in groups[at]))
    part = _cut(record, [(group[0].begin, group[-1].end) for group in groups], strongest, settings)
    return _say(part, shocks, groups[strongest]) if len(shocks) > 1 else part


def cut_to_shocks(record: Record, settings: Settings) -> tuple[Record, ...]:
    """Return a record for each shock.

    Parameters
    ----------
    record : Record
    settings : Settings
        ``window.before`` and ``window.after``: what is left before and after each shock, if no other is there.

    Returns
    -------
    tuple of Record
        The record alone where there is one shock, or none, and it need not be cut; see `cut_to_shaking`.

    Examples
    --------
    >>> import strongmotion as sm
    >>> len(cut_to_shocks(sm.read("demo_records/quay.csv"), sm.Settings()))
    1
    """
    window = settings.window
    given = window.begin != AUTO or window.end != AUTO or settings.onset.time != AUTO
    record.check_sensitivities()
    shocks = () if given else shaking_in(record)
    if len(shocks) < 2:
        return (cut_to_shaking(record, settings),)
    spans = [(shock.begin, shock.end) for shock in shocks]
    return tuple(_cut(record, spans, at, settings) for at in range(len(spans)))


def cut_entry(record: Record) -> tuple[Entry, ...]:
    """Return what the history says of a record that is a part of its file; nothing where it is all of it."""
    source = record.source
    if source.file_samples == 0:
        return ()
    begin = source.first_sample * record.dt
    values: dict[str, Value] = {
        "from_s": begin,
        "to_s": begin + record.duration,
        "first_sample": source.first_sample,
        "samples": record.samples,
        "file_samples": source.file_samples,
        "file_sha256": source.sha256,
    }
    return (Entry(STEP, "", f"The record is a part of what {source.file or 'its source'} holds", values),)


def _together(shocks: tuple[Shock, ...]) -> list[list[Shock]]:
    groups: list[list[Shock]] = []
    for shock in shocks:
        if groups and shock.begin - groups[-1][-1].end < TOGETHER:
            groups[-1].append(shock)
        else:
            groups.append([shock])
    return groups


def _cut(record: Record, spans: list[tuple[float, float]], at: int, settings: Settings) -> Record:
    """Cut one span with its margins, which end where another span begins."""
    begin, end = spans[at]
    first, last = begin - settings.window.before, end + settings.window.after
    if at > 0:
        first = max(first, spans[at - 1][1])
    if at + 1 < len(spans):
        last = min(last, spans[at + 1][0] - HALF)
    return record.window(max(0.0, first), last)


def _say(part: Record, shocks: tuple[Shock, ...], kept: list[Shock]) -> Record:
    ahead = part.source.first_sample * part.dt
    values = {f"shock_{number}_{key}": value for number, shock in enumerate(shocks, start=1) for key, value in
              (("from_s", shock.begin), ("to_s", shock.end), ("peak_m_s2", shock.peak))}  # fmt: skip
    others = len(shocks) - len(kept)
    finding = Finding(
        "several shocks", "note",
        what=f"the file holds {len(shocks)} shocks, of which {others} lie outside this record" if others else
        f"the record holds {len(shocks)} shocks",
        effect="peaks and measures are those of this record alone",
        remedy="make a record of each shock with --split-shocks",
        span=(kept[0].begin - ahead, kept[-1].end - ahead),
        values=values,
        confidence=0.9,
    )  # fmt: skip
    return dataclasses.replace(part, findings=(*part.findings, finding))
