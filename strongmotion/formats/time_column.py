"""Find the sampling interval from a column of printed times."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from decimal import Decimal, InvalidOperation

import numpy as np
import re2
from numpy.typing import NDArray

from ..foundation.times import instant_in
from ..record import Finding
from .header import LONGEST, SHORTEST, Reading, shown
from .lines import Block, Lines
from .phrases import moments

_LOOKED_AT = 50
_FINEST = -30


def printed_place(texts: list[str]) -> float:
    """Return the resolution of printed times, in their own unit.

    Trailing zeros may be omitted, so the finest of many times is used. With a fixed number of digits the resolution
    becomes coarser along the column, so the coarser of start and end is used.

    Examples
    --------
    >>> printed_place(["0", "0.005", "0.01"])
    0.001
    """

    def finest(some: list[str]) -> int:
        return max(_FINEST, min(int(Decimal(text.strip()).as_tuple().exponent) for text in some))

    try:
        return 10.0 ** min(max(finest(texts[:_LOOKED_AT]), finest(texts[-_LOOKED_AT:])), -_FINEST)
    except InvalidOperation:  # an implausible exponent
        return 10.0**_FINEST


def interval_from_times(
    reading: Reading, times: NDArray[np.float64], place: float, first_line: int, declared: float | None
) -> float:
    """Return the sampling interval that explains the printed times.

    Parameters
    ----------
    reading : Reading
    times : ndarray, shape (n,)
        s.
    place : float
        Resolution of the printed times, s. A true time lies within half of it.
    first_line : int
        Line of the first time.
    declared : float or None
        The interval the header declares, s.

    Returns
    -------
    float
        The declared interval, else the shortest decimal or the whole sampling rate that fits, else
        (last - first)/(n - 1).

    Raises
    ------
    RecordError
        Times do not increase, deviate from constant steps by more than half the printed resolution and 1 % of the step,
        contradict the declared interval, or are printed too coarsely.
    """
    if times.size < 2:
        raise reading.error("a record needs at least 2 samples, found 1", first_line, "Check that the file is complete")
    with np.errstate(over="ignore"):
        steps = np.diff(times)
        mean = float((times[-1] - times[0]) / (times.size - 1))
    backward = np.flatnonzero(~(steps > 0)) if place < abs(mean) else np.flatnonzero(~(steps >= 0))
    if backward.size or not 0 < mean < np.inf:
        at = int(backward[0]) if backward.size else 0
        raise reading.error(
            f"time does not increase: {times[at]:.12g} s is followed by {times[at + 1]:.12g} s",
            first_line + at + 1,
            "Correct the time column, or remove it and give dt_s",
        )
    if not SHORTEST <= mean <= LONGEST:
        return mean  # impossible for an instrument: refused with the component
    noise = 8 * np.finfo(float).eps * float(np.abs(times).max())
    row = np.arange(times.size)

    def off(dt: float) -> float:
        leaning = times - times[0] - row * dt
        return float(np.ptp(leaning)) / 2

    if declared is not None:
        if off(declared) <= max(place / 2 + noise, 0.01 * declared):
            return declared
        if off(mean) <= max(place / 2 + noise, 0.01 * mean):
            raise reading.error(
                f"the time column steps by {mean:.9g} s, but the header declares {declared:.9g} s",
                first_line,
                "Correct the wrong one, or remove the time column",
            )
    for dt in _round_intervals(mean):
        whole_places = abs(dt / place - round(dt / place)) < 1e-6 and round(dt / place) > 0
        if off(dt) <= (noise if whole_places else place / 2 + noise):
            if not whole_places and place > dt / 2 and not _only_rate(dt, place, off):
                break
            return dt
        if abs(dt - mean) <= 1e-6 * mean and off(dt) <= 0.01 * dt:
            return dt
    usual = float(np.median(steps))
    limit = max(place, 0.01 * usual) + noise
    strange = np.abs(steps - usual)
    # If the printed resolution is coarser than the step, rounding makes many steps unequal; a gap makes only one.
    if place > mean / 2 and off(mean) <= place and np.mean(strange > noise) > 0.1 and steps.size > 10:
        raise reading.error(
            f"time is printed to {place:g} s, too coarse to determine a sampling interval near {mean:.6g} s",
            first_line,
            "Give the sampling interval as dt_s in the header",
        )
    if place <= mean / 2 and off(mean) <= max(place / 2 + noise, 0.01 * mean):
        return mean
    at = int(np.argmax(strange > limit if (strange > limit).any() else strange))
    raise reading.error(
        f"time steps are uneven: {usual:.9g} s is usual, from {times[at]:.12g} s to {times[at + 1]:.12g} s it is "
        f"{steps[at]:.9g} s",
        first_line + at + 1,
        "Samples may be missing there: correct them at their source, or resample to even steps",
    )


def _only_rate(dt: float, place: float, off: Callable[[float], float]) -> bool:
    """Whether an integer sampling rate, and no neighbouring one, explains times printed more coarsely than its step.

    Every printed time must be within half the resolution of the true one; neighbouring rates deviate before the end.
    """
    rate = round(1 / dt)
    if rate < 1 or abs(rate * dt - 1) > 1e-9:
        return False
    near = [1 / other for other in (rate - 1, rate + 1) if other > 0]
    return off(dt) <= place / 2 * (1 + 1e-6) and all(off(other) > 2 * place for other in near)


def jitter(times: NDArray[np.float64], dt: float, place: float) -> tuple[Finding, ...]:
    """Return a finding on deviations from even steps of `dt` that exceed the printed resolution.

    Parameters
    ----------
    times : ndarray, shape (n,)
        s.
    dt : float
        The interval used, s.
    place : float
        Resolution of the printed times, s.
    """
    leaning = times - times[0] - np.arange(times.size) * dt
    off = float(np.ptp(leaning)) / 2
    if off <= 0.75 * place + 8 * np.finfo(float).eps * float(np.abs(times).max()):
        return ()
    return (
        Finding(
            "sampling jitter", "note",
            f"times deviate from even steps of {dt:.6g} s by up to {off:.2g} s, {off / dt:.1%} of a step",
            f"the relative error of motion at f Hz is up to {2 * np.pi * off:.2g} f, which is small at a few Hz",
            "use a record with a locked clock if the shortest periods matter",
        ),
    )  # fmt: skip


def _round_intervals(mean: float) -> Iterator[float]:
    yield from (float(f"{mean:.{digits}e}") for digits in range(4))
    if round(1 / mean) > 0:
        yield 1 / round(1 / mean)
    yield from (float(f"{mean:.{digits}e}") for digits in range(4, 12))


def clock_times(
    reading: Reading, lines: Lines, numbered: NDArray[np.int32], block: Block, declared: float | None
) -> tuple[np.datetime64 | None, float]:
    """Return the start and the interval from a column of dates and times of day; no start where the dates are missing.

    Parameters
    ----------
    reading : Reading
    lines : Lines
    numbered : ndarray of int32
        The lines of the block.
    block : Block
        Its columns labelled ``"clock"`` hold date and time; two such columns are combined.
    declared : float or None
        The interval the header declares, s.

    Raises
    ------
    RecordError
        A cell is not a date and time or is ambiguous, or the times are not evenly spaced.
    """
    columns = [at for at, label in enumerate(block.columns) if label == "clock"]
    instants: list[np.datetime64] = []
    fraction = 0
    for at in numbered.tolist():
        cells = block.cells(lines.line(at))
        text = " ".join(cells[column].strip().strip("\"'") for column in columns if column < len(cells))
        readings = _read_clock(text)
        if len(readings) != 1:
            some = "may be " + " or ".join(str(one)[:10] for one in readings) if readings else "is not a date and time"
            raise reading.error(f"{shown(text)} {some}", at + 1, "Write dates as 2031-04-17T03:26:27.500Z")
        instants.append(readings[0])
        fraction = max(fraction, len(text.rpartition(".")[2].rstrip("Zz")) if "." in text else 0)
    start = instants[0]
    times = np.asarray((np.array(instants) - start).astype(np.int64) * 1e-9, np.float64)
    dated = bool(start >= _FIRST_DAY)
    if not dated:  # midnight may have passed
        times = times + 86400.0 * np.append(0, np.cumsum(np.diff(times) < -43200.0))
    interval = interval_from_times(reading, times, 10.0**-fraction, int(numbered[0]) + 1, declared)
    return start if dated else None, interval


_CLOCK_ALONE = re2.compile(r"([0-2]?[0-9]):([0-5][0-9]):([0-5][0-9](?:\.[0-9]{1,9})?)")
_FIRST_DAY = np.datetime64("1971-01-01", "ns")
"""Times of day without a date are read as on a day before this one."""


def _read_clock(text: str) -> list[np.datetime64]:
    if alone := _CLOCK_ALONE.fullmatch(text):
        seconds = (int(alone[1]) * 60 + int(alone[2])) * 60 + Decimal(alone[3])
        return [np.datetime64(int(seconds * 1_000_000_000), "ns")]
    try:
        return [instant_in(text)]
    except ValueError:
        return [moment.time for moment in moments(text) if moment.clock]
