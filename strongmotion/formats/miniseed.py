"""FDSN miniSEED, versions 2 and 3 (https://docs.fdsn.org/projects/miniseed3/), through the library `pymseed`.

A file may hold many channels, stations and segments. Channels of one station, location and instrument (the band and
source codes) make a record; `channels` chooses which are read. A fault affects only its own channel or record. Metadata
that miniSEED's own header cannot hold (unit, sensitivity, direction, names) are written to and read from the extra
header ``strongmotion`` in version 3.
"""

from __future__ import annotations

import json
import math
import re
import struct
from collections.abc import Callable, Mapping
from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from typing import Any, Literal, NamedTuple

import numpy as np
from numpy.typing import NDArray

from ..foundation.errors import InputError, RecordError
from ..foundation.times import leap_seconds_between
from ..foundation.units import COUNTS
from ..record import Component, Finding, Record, Severity, Source
from . import header
from .channels import MOST_NAMED, SEISMOMETERS, Codes, Passed, counted, listed, passed_over, remedy_of
from .header import Field, Reading, Records, Unread
from .stationxml import measured
from .text import described, save

LONGEST_FILLED = 0.1
"""Longest gap that may be filled, s (common practice, no source)."""

DENSEST = 1.65
"""Largest number of samples in a byte: Steim-2 packs 105 into a frame of 64 bytes."""

MOST_CHANNELS, MOST_SEGMENTS, RECORDS_AT_ONCE = 5000, 1000, 4000
MOST_FILLED = 1000
_HEAD_2 = re.compile(rb"[0-9 \0]{6}[DRQM][ \0]")
_BEYOND = (
    "component", "channel", "unit", "sensitivity", "azimuth", "dip",
    "name", "latitude", "longitude", "elevation", "instrument", "instrument_code", "processed",
)  # fmt: skip
_BANDS = ((1000.0, "F"), (250.0, "C"), (80.0, "H"), (10.0, "B"), (1.0, "M"), (0.0, "L"))
_WHOLE = "Copy the file again from its source"

_LENGTHS_3 = struct.Struct("<BHI")

_USUAL_2 = b"\0\x30\x03\xe8"
"""At byte 46 of most records of version 2: blockette 1000, which holds the length, follows the header."""

NS = 1_000_000_000

Instrument = tuple[str, ...]
"""Network, station, location, band and instrument code."""


class _Segment(NamedTuple):
    """A segment as the library describes it. Queries to the library are slow, so each is made once."""

    start: int  # ns since 1970
    end: int
    length: int
    rate: float  # Hz
    described: Any


class _Channel(NamedTuple):
    """A channel to read: the extra header of its first record, and its error, if any."""

    codes: Codes
    source: str
    segments: list[_Segment]
    said: Mapping[str, Field]
    rate: float  # Hz, or below 0 the interval in s
    measures: str  # acceleration or velocity according to StationXML; else empty
    fault: RecordError | None


class _Piece(NamedTuple):
    start: int  # ns since 1970
    samples: NDArray[Any]


class _Run:
    """Contiguous pieces, not yet copied into one array, with their findings."""

    def __init__(self, piece: _Piece) -> None:
        self.start, self.parts, self.count = piece.start, [piece.samples], len(piece.samples)
        self.findings: list[Finding] = []

    def add(self, samples: NDArray[Any]) -> None:
        self.parts.append(samples)
        self.count += len(samples)

    def part(self, begin: int, end: int) -> NDArray[Any]:
        """Return its samples from `begin` to `end`."""
        found, last = [], self.count
        for samples in reversed(self.parts):
            first = last - len(samples)
            if first < end and begin < last:
                found.append(samples[max(begin - first, 0) : end - first])
            if first <= begin:
                break
            last = first
        return np.concatenate(found[::-1]) if found else self.parts[0][:0]

    def whole(self) -> NDArray[Any]:
        """Return all its samples, read-only."""
        samples = self.parts[0] if len(self.parts) == 1 else np.concatenate(self.parts)
        samples.flags.writeable = False
        return samples

    def end(self, dt: float) -> int:
        """Return the time of the last sample, ns since 1970, without leap seconds."""
        return self.start + round((self.count - 1) * dt * 1e9)

    def between(self, begin: int, end: int, dt: float) -> _Run:
        """Return the samples between two times, both included, with a finding if some are left out."""
        first = max(0, math.ceil((begin - self.start) * 1e-9 / dt - 0.1))
        stop = min(self.count, math.floor((end - self.start) * 1e-9 / dt + 0.1) + 1)
        if (first, stop) == (0, self.count):
            return self
        part = _Run(_Piece(self.start + round(first * dt * 1e9), self.part(first, stop).copy()))
        note = Finding(
            "gap", "note", f"{first} samples before and {self.count - stop} after were left out, where another "
            "component has a gap or belongs to another record", "Motion there is not included",
            "Get the missing data, if available", values={"before": first, "after": self.count - stop},
        )  # fmt: skip
        part.findings = [*self.findings, note]
        return part


def recognises(head: bytes) -> bool:
    """Whether the start of a file is miniSEED."""
    return head.startswith(b"MS\x03") or bool(_HEAD_2.match(head))


def read_miniseed(reading: Reading) -> Records:
    """Read the records of a miniSEED file.

    Parameters
    ----------
    reading : Reading
        Its ``choice`` selects the channels, ``time`` the time window, and ``gaps`` the treatment of channels with gaps.
        ``"refuse"``: the channel is not read. ``"longest"``: keep the longest continuous segment. ``"fill"``:
        interpolate linearly across gaps of at most `LONGEST_FILLED`. ``"split"``: make a record of each segment.
        Identical duplicate samples are used once. A finding reports each case.

    Returns
    -------
    Records
        Integer samples as int32, others as float32 or float64. Its ``unread`` lists the channels that could not be
        read.

    Raises
    ------
    RecordError
        The file is damaged or truncated, or nothing in it can be read: no channel is of the requested sensor, or every
        channel has a gap or holds floating-point samples without a unit.
    """
    from pymseed import MiniSEEDError

    data, begins, cut = _whole_records(reading)
    unread: list[Unread] = []
    try:
        traces, damaged = _traces(reading, data, begins)
        every: dict[str, list[_Segment]] = {}
        for trace in traces:
            every.setdefault(trace.sourceid, []).extend(_segments(trace))
        if sum(segment.length for segments in every.values() for segment in segments) > DENSEST * len(data):
            raise reading.error(f"more samples are declared than {len(data)} bytes can hold", remedy=_WHOLE)
        instruments, passed, others = _instruments(reading, every, unread, damaged)
        for name in sorted(damaged.keys() - every.keys()):
            unread.append(Unread("", name, damaged[name]))
            cut = (*cut, _of_no_channel(name, damaged[name]))
        parts = [_records_of(reading, channels, cut, unread) for channels in instruments.values()]
    except (MiniSEEDError, ValueError) as error:  # such as invalid text or an invalid encoding
        raise _fault(reading, data, error) from None
    records = [record for part in parts for record in part]
    if not records:
        raise _nothing(reading, unread, passed, others)
    here = {(record.station.network, record.station.code) for record in records}
    return Records((_with_passed(record, passed, here) for record in records), unread)


def _traces(reading: Reading, data: bytes, begins: list[int]) -> tuple[Any, dict[str, RecordError]]:
    """Return the file's traces, and the errors of damaged records by the channel in their header."""
    from pymseed import MiniSEEDError, MS3TraceList

    traces = MS3TraceList()
    try:
        for begin, end in pairwise([*begins, len(data)]):
            # In parts, so that a file with too many gaps is refused before it is sorted.
            traces.add_buffer(data[begin:end] if len(begins) > 1 else data, record_list=True)
            _check_count(reading, traces)
    except (MiniSEEDError, ValueError) as error:
        sound, damaged = _sound(reading, data, error)
        traces = MS3TraceList()
        traces.add_buffer(sound, record_list=True)
        _check_count(reading, traces)
        return traces, damaged
    return traces, {}


def _of_no_channel(name: str, error: RecordError) -> Finding:
    """Return the finding on a damaged record whose header names a channel found nowhere else in the file."""
    return Finding(
        "damaged record", "doubt", f"{error.what}; its header names {header.shown(name)}",
        "If that name is damaged too, a channel of this record may end early", error.remedy or "",
    )  # fmt: skip


def _check_count(reading: Reading, traces: Any) -> None:
    if len(traces) > MOST_CHANNELS or any(len(trace) > MOST_SEGMENTS for trace in traces):
        raise reading.error(
            f"the file has more than {MOST_CHANNELS} channels, or {MOST_SEGMENTS} segments of one",
            remedy="Split it into one file for each event",
        )


def _sound(reading: Reading, data: bytes, error: Exception) -> tuple[bytes, dict[str, RecordError]]:
    """Return the readable records of a damaged file, and the errors of the others by channel.

    Raises
    ------
    RecordError
        The boundaries of the records are unknown, or a damaged record does not name its channel.
    """
    from pymseed import MiniSEEDError, MS3Record

    at, sound = 0, []
    damaged: dict[str, RecordError] = {}
    while at < len(data):
        length = _length_at(data, at)
        if length is None:
            raise _fault(reading, data, error) from None
        record = data[at : at + length]
        try:
            _ = MS3Record.parse(record).sourceid  # only reading it fails
            sound.append(record)
        except (MiniSEEDError, ValueError) as found:
            source = _source_of(record)
            if len(damaged) >= MOST_CHANNELS or not source:
                raise _fault(reading, data, error) from None
            damaged.setdefault(source, _damaged(reading, at, str(found)))
        at += length
    if not sound or not damaged:
        raise _fault(reading, data, error) from None
    return b"".join(sound), damaged


def _source_of(record: bytes) -> str:
    """Return the source identifier in the header of a record; empty if it is unreadable."""
    try:
        if record.startswith(b"MS\x03"):
            return record[40 : 40 + record[33]].decode("ascii")
        codes = [record[begin:end].decode("ascii").strip() for begin, end in ((18, 20), (8, 13), (13, 15), (15, 18))]
        network, station, location, code = codes
        band, instrument, direction = tuple(code)
        return f"FDSN:{network}_{station}_{location}_{band}_{instrument}_{direction}"
    except (UnicodeDecodeError, ValueError):
        return ""


def _segments(trace: Any) -> list[_Segment]:
    return [_Segment(one.starttime, one.endtime, one.samplecnt, one.samprate, one) for one in trace]


def _instruments(
    reading: Reading, every: Mapping[str, list[_Segment]], unread: list[Unread], damaged: Mapping[str, RecordError]
) -> tuple[dict[Instrument, list[_Channel]], list[Passed], list[str]]:
    """Return the channels to read by instrument, the skipped channels, and the names of the unselected ones."""
    from pymseed import DataEncoding

    instruments: dict[Instrument, list[_Channel]] = {}
    passed: list[Passed] = []
    others: list[str] = []
    for source, its in every.items():
        try:
            codes = _codes(reading, source)
        except RecordError as error:
            unread.append(Unread("", source, error))
            continue
        segments, first = [], None
        for segment in its:
            if segment.length > 0 and segment.rate > 0:
                begins = next(iter(segment.described.recordlist)).record
                if begins.encoding != DataEncoding.TEXT:
                    segments.append(segment)
                    first = first or begins
        if first is None:
            continue  # a log has none
        if not reading.choice.holds(codes) or not any(_touches(reading, segment) for segment in segments):
            others.append(codes.name)
            continue
        said = _beyond(first)
        metadata = "" if reading.inventory is None else measured(reading.inventory, codes, segments[0].start)
        if "unit" in said and said["unit"].text != COUNTS:
            metadata = "acceleration"  # by a header of this library's own
        measures = reading.choice.unwanted(codes, metadata)
        if measures and not reading.own:
            passed.append(Passed(codes, measures))
            continue
        if source in damaged:
            unread.append(Unread(_instrument_of(codes), codes.name, damaged[source]))
        channel = _Channel(codes, source, segments, said, first.samprate_raw, metadata, damaged.get(source))
        instruments.setdefault(codes[:5], []).append(channel)
    return instruments, passed, others


def _instrument_of(codes: Codes) -> str:
    return ".".join((codes.network, codes.station, codes.location, codes.band + codes.instrument)).strip(".")


def _touches(reading: Reading, segment: _Segment) -> bool:
    """Whether a segment overlaps the requested time window."""
    if reading.time is None:
        return True
    begin, end = (int(moment.astype(np.int64)) for moment in reading.time)
    return segment.start <= end and segment.end >= begin


def _nothing(reading: Reading, unread: list[Unread], passed: list[Passed], others: list[str]) -> RecordError:
    """Return the error for a file from which nothing was read."""
    if unread:
        first = unread[0].error
        if len(unread) == 1:
            return first
        also = ", ".join(header.shown(one.channel) for one in unread[1 : 1 + MOST_NAMED])
        more = f" and {len(unread) - 1 - MOST_NAMED} more" if len(unread) - 1 > MOST_NAMED else ""
        return RecordError(
            f"{first.what}; {also}{more} cannot be read either", source=first.source, line=first.line,
            remedy=first.remedy,
        )  # fmt: skip
    if passed:
        return reading.error(
            f"the file holds no samples of the requested sensor; {counted(passed)} skipped: {listed(passed)}",
            remedy=remedy_of(passed),
        )
    if others:
        names = ", ".join(header.shown(name) for name in others[:MOST_NAMED])
        more = f" and {len(others) - MOST_NAMED} more" if len(others) > MOST_NAMED else ""
        return reading.error(
            f"nothing in the file matches the requested channels, stations and time; it holds {names}{more}",
            remedy="Choose others with channel=, station= or time= (--channel, --station, --time)",
        )
    return reading.error("the file holds no samples of motion", remedy="Check that it is the right file")


def _with_passed(record: Record, passed: list[Passed], here: set[tuple[str, str]]) -> Record:
    """Return the record with a finding on skipped channels: those of its station, and those without any record."""
    own = (record.station.network, record.station.code)
    its = [one for one in passed if (one.channel[:2] == own or one.channel[:2] not in here)]
    note = passed_over(its)
    return replace(record, findings=(*record.findings, *note)) if note else record


def _whole_records(reading: Reading) -> tuple[bytes, list[int], tuple[Finding, ...]]:
    """Return the data up to the last complete record, the offsets of its parts, and a finding if truncated."""
    data, at, last = reading.data, 0, 0
    if common := _common_length(data):
        return data, [0, *range((RECORDS_AT_ONCE - 1) * common, len(data), RECORDS_AT_ONCE * common)], ()
    begins, count = [0], 0
    while at < len(data):
        count += 1
        if count % RECORDS_AT_ONCE == 0:
            begins.append(at)
        if data.startswith(b"MS\x03", at) and at + 40 <= len(data):
            identifier, extra, payload = _LENGTHS_3.unpack_from(data, at + 33)
            last, at = at, at + 40 + identifier + extra + payload
            continue
        usual = data.startswith(_USUAL_2, at + 46) and at + 64 <= len(data) and 7 <= data[at + 54] <= 20
        length = 1 << data[at + 54] if usual else _length_2(data, at)
        if length is None:
            return data, [0], ()  # unusual record: the library finds its length, or the fault
        last, at = at, at + length
    if at == len(data):
        return data, begins, ()
    if reading.missing == "refuse" or last == 0:
        raise reading.error(
            f"the record at byte {last + 1} should be {at - last} bytes long, {len(data) - last} were found",
            remedy=f"The file may be cut off: copy it again, or read it with {header.TRUNCATE}",
        )
    finding = Finding(
        "cut off",
        "doubt",
        f"the file ends inside the record at byte {last + 1}; the records before it were read",
        "Shaking after the cut is missing: durations, energy and permanent displacement may be wrong",
        "Get the complete file",
        place=f"byte {last + 1}",
        values={"byte": last + 1},
    )
    return data[:last], [begin for begin in begins if begin < last], (finding,)


def _common_length(data: bytes) -> int:
    """Return the length of miniSEED 2 records if all are usual, equally long and complete; else 0."""
    if len(data) < 64 or not data.startswith(_USUAL_2, 46) or not 7 <= data[54] <= 20:
        return 0
    length = 1 << data[54]
    count, rest = divmod(len(data), length)
    usual = all(data[at::length] == data[at : at + 1] * count for at in (46, 47, 48, 49, 54))
    return length if usual and rest == 0 and b"M" not in data[::length] else 0


def _length_at(data: bytes, at: int) -> int | None:
    """Return the length of the record at a byte, from its header, or None."""
    if data.startswith(b"MS\x03", at) and at + 40 <= len(data):
        identifier, extra, payload = _LENGTHS_3.unpack_from(data, at + 33)
        return int(40 + identifier + extra + payload)
    return _length_2(data, at)


def _length_2(data: bytes, at: int) -> int | None:
    """Return the length of the miniSEED 2 record at a byte, from its header, or None."""
    if at + 64 > len(data):
        return 64  # the shortest possible record: this one is truncated
    if not _HEAD_2.match(data, at):
        return None
    order = ">" if 1900 <= int.from_bytes(data[at + 20 : at + 22], "big") <= 2100 else "<"
    place = struct.unpack_from(f"{order}H", data, at + 46)[0]
    for _ in range(10):
        if not 48 <= place <= 1000 or at + place + 8 > len(data):
            return None
        kind, following = struct.unpack_from(f"{order}HH", data, at + place)
        if kind == 1000 and 7 <= data[at + place + 6] <= 20:
            return 1 << data[at + place + 6]
        place = following
    return None


def _fault(reading: Reading, data: bytes, error: Exception, source: str = "") -> RecordError:
    """Return an error that names the byte of the first unreadable record (of one channel, if given)."""
    from pymseed import MiniSEEDError, MS3Record, get_error_messages

    at, reason = 0, str(error)
    try:
        for record in MS3Record.from_buffer(data, unpack_data=not source):
            if source and record.sourceid == source:
                record.unpack_data()
            if messages := get_error_messages():
                reason = messages[0]
                break
            _ = record.sourceid  # only reading it fails
            at += record.reclen
    except (MiniSEEDError, ValueError) as found:
        reason = str(found)
    return _damaged(reading, at, reason)


def _damaged(reading: Reading, at: int, reason: str) -> RecordError:
    reason = " ".join(reason.split("::")[0].split())
    return reading.error(f"the record at byte {at + 1} is damaged ({header.shown(reason, 120)})", remedy=_WHOLE)


def _codes(reading: Reading, source: str) -> Codes:
    """Return the codes of an FDSN source identifier."""
    parts = source.removeprefix("FDSN:").split("_")
    if not source.startswith("FDSN:") or len(parts) != 6:
        raise reading.error(
            f"{header.shown(source)} is not an FDSN source identifier",
            remedy="Write it as FDSN:network_station_location_band_source_orientation",
        )
    if not parts[5]:
        raise reading.error(
            f"{header.shown(source)} has no channel code, so its direction is unknown",
            remedy="Give the channel the code it has in its StationXML, such as HNZ",
        )
    return Codes(*parts)


def _records_of(
    reading: Reading, channels: list[_Channel], cut: tuple[Finding, ...], unread: list[Unread]
) -> list[Record]:
    """Return the record of one instrument, or one record for each event if ``gaps="split"``."""
    instrument = _instrument_of(channels[0].codes)
    left_out: list[Finding] = []

    def leave_out(channel: _Channel, error: RecordError) -> None:
        note = header.channel_left_out(channel.codes.name, error)
        if note in left_out:  # of another event
            return
        left_out.append(note)
        if channel.fault is None:
            unread.append(Unread(instrument, channel.codes.name, error))

    unbroken: list[tuple[_Channel, list[_Run], float]] = []
    for channel in channels:
        try:
            if channel.fault is not None:
                raise channel.fault
            unbroken.append((channel, *_channel(reading, channel)))
        except RecordError as error:
            leave_out(channel, error)
    dts = [dt for _, _, dt in unbroken]
    usual = max(dts, key=lambda dt: (dts.count(dt), -dt), default=0.0)
    for channel, _, dt in unbroken:
        if dt != usual:
            what = f"channel {channel.source} has a sample every {dt:g} s, others of its instrument every {usual:g} s"
            leave_out(channel, reading.error(what, remedy="Read it separately with channel= (--channel)"))
    alike = [(channel, runs) for channel, runs, dt in unbroken if dt == usual]
    records = []
    names = _names([channel for channel, _ in alike])
    for event in _events(alike, usual, split=reading.gaps == "split"):
        try:
            record = _record(reading, event, usual, names, leave_out)
        except RecordError as error:
            unread.append(Unread(instrument, "", error))
            continue
        if record is not None:
            records.append(record)
    found = (*cut, *left_out, *_chosen(reading))
    return [replace(record, findings=(*found, *record.findings)) for record in records] if found else records


def _chosen(reading: Reading) -> tuple[Finding, ...]:
    """Return the finding that only part of the file was read."""
    if reading.time is None:
        return ()
    begin, end = (str(moment.astype("datetime64[ms]")) for moment in reading.time)
    return (
        Finding(
            "time chosen", "note", f"the file was read from {begin} to {end} UTC",
            "Motion before and after is not included", "Choose another time window if it matters",
        ),
    )  # fmt: skip


def _names(channels: list[_Channel]) -> dict[str, str]:
    """Return the component names of an instrument. H1 and H2 are N and E, or 1 and 2, never a mixture."""
    directions = {channel.codes.direction for channel in channels}
    aligned, others = directions & {"N", "E"}, directions & {"1", "2"}
    unpaired = aligned if len(others) > len(aligned) else others if aligned else set()
    names = {}
    for channel in channels:
        code = channel.codes
        own = "component" in channel.said
        names[channel.source] = (
            code.code if code.direction in unpaired and not own else header.direction(_label(channel))[0]
        )
    return names


def _label(channel: _Channel) -> str:
    """Return the label of a channel's direction for `header.direction`, or else its code."""
    if "component" in channel.said:
        return channel.said["component"].text
    letter = channel.codes.direction
    return f"HN{letter}" if letter in tuple("NEZ12") else letter if letter in ("R", "T") else channel.codes.code


def _events(
    channels: list[tuple[_Channel, list[_Run]]], dt: float, *, split: bool
) -> list[list[tuple[_Channel, _Run]]]:
    """Return the continuous samples of each event, that is of all channels that overlap in time."""
    if not split:
        return [[(channel, runs[0]) for channel, runs in channels]] if channels else []
    every = [(channel, run) for channel, runs in channels for run in runs]
    return [event for group in _groups(every, dt) for event in _without_gaps(group, dt)]


def _groups(every: list[tuple[_Channel, _Run]], dt: float) -> list[list[tuple[_Channel, _Run]]]:
    """Group the runs of several channels that overlap in time."""
    groups: list[list[tuple[_Channel, _Run]]] = []
    last = 0
    for channel, run in sorted(every, key=lambda one: one[1].start):
        if not groups or run.start > last + round(dt * 1e9):
            groups.append([])
            last = run.end(dt)
        groups[-1].append((channel, run))
        last = max(last, run.end(dt))
    return groups


def _without_gaps(group: list[tuple[_Channel, _Run]], dt: float) -> list[list[tuple[_Channel, _Run]]]:
    """Split a group at the gaps of its channels, so that all are continuous in each part."""
    by_channel: dict[str, list[tuple[_Channel, _Run]]] = {}
    for channel, run in group:
        by_channel.setdefault(channel.source, []).append((channel, run))
    if all(len(runs) == 1 for runs in by_channel.values()):
        return [group]
    # Time spans in which every channel has samples.
    spans = [(0, 2**63 - 1)]
    for its in by_channel.values():
        own = [(run.start, run.end(dt)) for _, run in its]
        spans = [
            (max(a, c), min(b, d)) for a, b in spans for c, d in own if min(b, d) - max(a, c) >= round(dt * 1e9)
        ]  # fmt: skip
    parts = []
    used: set[int] = set()
    for begin, end in spans:
        part = []
        for its in by_channel.values():
            channel, run = next(one for one in its if one[1].start <= begin and one[1].end(dt) >= end)
            part.append((channel, run.between(begin, end, dt)))
            used.add(id(run))
        parts.append(part)
    # A run outside these spans is an event of its own.
    rest = [(channel, run) for channel, run in group if id(run) not in used]
    if len(rest) == len(group):
        return [[one] for one in rest]
    return parts + [part for its in _groups(rest, dt) for part in _without_gaps(its, dt)]


def _record(
    reading: Reading,
    event: list[tuple[_Channel, _Run]],
    dt: float,
    names: Mapping[str, str],
    leave_out: Callable[[_Channel, RecordError], None],
) -> Record | None:
    """Return the record of one instrument and event, or None if none of its channels can be read."""
    codes = event[0][0].codes
    base = {
        "network": Field(codes.network), "station": Field(codes.station), "location": Field(codes.location),
        # The header of derived samples may name their instrument.
        "instrument_code": Field("" if codes.instrument == "X" else codes.band + codes.instrument),
    }  # fmt: skip
    components: list[Component] = []
    findings: list[Finding] = []
    for channel, run in event:
        fields = {**base, "channel": Field(channel.codes.code), **channel.said}
        fields["component"] = Field(_label(channel))
        name = names[channel.source]
        samples = run.whole()
        if "unit" not in fields:
            if samples.dtype.kind == "f" and reading.unit is None and reading.inventory is None and not reading.own:
                what = f"channel {channel.source} holds {samples.dtype} numbers, and miniSEED states no unit"
                remedy = "Give their unit with unit= (--sample-unit), or their StationXML if they are counts"
                leave_out(channel, reading.error(what, remedy=remedy))
                continue
            fields["unit"] = Field(COUNTS)
        fields["start"] = Field(f"{np.datetime64(run.start, 'ns')}Z")
        try:
            component, notes = header.component_of(reading, fields, samples, dt, None)
        except RecordError as error:
            leave_out(channel, error)
            continue
        components.append(component if component.name == name else replace(component, name=name))
        findings.extend(replace(finding, component=name) for finding in (*run.findings, *notes))
        if not any(finding.name == "already processed" for finding in findings):
            findings.extend(header.processed_note(fields))
        base.update({key: field for key, field in fields.items() if key in header.OF_STATION})
        findings.extend(_of_sensor(reading, channel, name))
    if not components:
        return None
    version = 3 if reading.data.startswith(b"MS") else 2
    usual = {name: place for place, name in enumerate(("H1", "H2", "V"))}
    components.sort(key=lambda component: usual.get(component.name, len(usual)))
    return Record.from_components(
        components,
        header.station_of(reading, base),
        Source(reading.file, reading.sha256, f"miniSEED {version}"),
        findings,
        common_window=reading.common_window,
    )


def _of_sensor(reading: Reading, channel: _Channel, name: str) -> tuple[Finding, ...]:
    """Return the finding on a channel code that does not settle what is measured."""
    code = channel.codes.instrument
    if channel.measures or reading.own or code not in (*SEISMOMETERS, "G"):
        return ()
    if code == "G":
        return (
            Finding(
                "instrument code", "note", "code G means a gravimeter, or an accelerometer named so "
                "before August 2000", "It was read as an accelerometer", "Give its StationXML.", name,
            ),
        )  # fmt: skip
    severity: Severity = "doubt" if code == "L" else "unfit"  # L was once a code of accelerometers
    return (
        Finding(
            "velocity sensor", severity, f"code {code} means a seismometer, which measures velocity",
            "If so, its samples are not acceleration", "Give its StationXML, or use the accelerometer", name,
        ),
    )  # fmt: skip


def _beyond(record: Any) -> dict[str, Field]:
    """Return this library's own entries of the extra header."""
    if not record.extralength:
        return {}
    try:
        said = json.loads(record.extra).get("strongmotion", {})
        return {key: Field(said[key]) for key in _BEYOND if isinstance(said.get(key), str)}
    except (ValueError, AttributeError, RecursionError):
        return {}  # extra headers written by others may hold anything


def _channel(reading: Reading, channel: _Channel) -> tuple[list[_Run], float]:
    """Return a channel's continuous samples (one run, or several if ``gaps="split"``) and its interval in s."""
    from pymseed import MiniSEEDError, get_error_messages

    source, segments = channel.source, [segment for segment in channel.segments if _touches(reading, segment)]
    if any(abs(segment.rate / segments[0].rate - 1) > 1e-4 for segment in segments):
        raise reading.error(f"channel {source} changes its sampling rate", remedy="Split the file where it changes")
    get_error_messages()  # of before
    try:
        pieces = [_Piece(segment.start, segment.described.create_numpy_array_from_recordlist()) for segment in segments]
    except (MiniSEEDError, ValueError) as error:
        raise _fault(reading, reading.data, error, source) from None
    if messages := get_error_messages():  # the library only logs a wrong checksum of the compression
        raise _fault(reading, reading.data, ValueError(messages[0]), source)
    if len({piece.samples.dtype for piece in pieces}) > 1:
        raise reading.error(f"channel {source} changes the type of its numbers", remedy="Split the file there")
    # A negative rate is an interval in s.
    dt = -channel.rate if channel.rate < 0 else _interval(channel.rate)
    runs = _joined(reading, source, _within(reading, source, pieces, dt), dt)
    drift = max(_drift(segment, dt) for segment in segments)
    if drift > 0.5:
        finding = Finding(
            "drifting clock", "doubt", f"the times of its records deviate from even steps by {drift:.2g} samples",
            "Frequencies are wrong by as much, and components may be misaligned",
            "Use a record with a locked clock, or correct the sampling interval",
        )  # fmt: skip
        for run in runs:
            run.findings.append(finding)
    return runs, dt


def _left(begin: int, end: int, duration: float) -> float:
    """Return the time in s between two instants (ns since 1970) beyond the expected duration, including leap seconds.

    Instants within a leap second, 23:59:60, are ambiguous; the interpretation with the smallest remainder is used.
    """
    plain = (end - begin) * 1e-9 - duration
    if begin >= end:
        return plain
    least, most = (
        leap_seconds_between(np.datetime64(begin - early, "ns"), np.datetime64(end - late, "ns"))
        for early, late in ((0, NS), (NS, 0))
    )
    return min((plain + leaps for leaps in range(least, most + 1)), key=abs)


def _drift(segment: _Segment, dt: float) -> float:
    """Return the largest deviation of the record times from even steps, in samples."""
    duration = (segment.length - 1) * dt
    # The library ignores a leap second in which the last record begins.
    uncounted = (segment.end - segment.start) * 1e-9 - duration
    return min(abs(_left(segment.start, segment.end, duration)), abs(uncounted)) / dt


def _within(reading: Reading, source: str, pieces: list[_Piece], dt: float) -> list[_Piece]:
    """Return the parts of pieces within the requested time window, both ends included."""
    if reading.time is None:
        return pieces
    begin, end = (int(moment.astype(np.int64)) for moment in reading.time)
    kept = []
    for piece in pieces:
        first = max(0, math.ceil((begin - piece.start) * 1e-9 / dt - 1e-6))
        stop = min(len(piece.samples), math.floor((end - piece.start) * 1e-9 / dt + 1e-6) + 1)
        if first < stop:
            kept.append(_Piece(piece.start + round(first * dt * 1e9), piece.samples[first:stop]))
    if not kept:
        raise reading.error(f"channel {source} has no samples in the time chosen", remedy="Choose a longer window")
    return kept


def _interval(rate: float) -> float:
    """Return the interval in s of a rate in Hz, as the shortest decimal with this rate if there is one."""
    dt = 1 / rate
    return next((short for digits in (6, 12) if 1 / (short := float(f"{dt:.{digits}g}")) == rate), dt)


def _joined(reading: Reading, source: str, pieces: list[_Piece], dt: float) -> list[_Run]:
    """Join the pieces of one channel as far as the caller allows. Each run has findings on what was done."""
    ordered = sorted(pieces, key=lambda piece: (piece.start, -len(piece.samples)))
    runs = [_Run(ordered[0])]
    severity: Severity
    for piece in ordered[1:]:
        before = runs[-1]
        after = _left(before.start, piece.start, before.count * dt) / dt  # samples missing; negative for an overlap
        missing = round(after)
        on_grid = abs(after - missing) <= 0.1
        when = str(np.datetime64(piece.start, "ns").astype("datetime64[ms]"))
        joined: list[NDArray[Any]] | None = None
        what, severity, effect = "", "note", ""
        if on_grid and missing <= 0:
            shared = min(-missing, len(piece.samples))
            begin = before.count + missing
            if begin >= 0 and np.array_equal(before.part(begin, begin + shared), piece.samples[:shared]):
                joined = [piece.samples[shared:]]
                what = f"{shared} samples from {when} UTC on occur twice and are identical" if shared else ""
                effect = "They were used once."
        elif on_grid and reading.gaps == "fill" and missing * dt <= LONGEST_FILLED and missing <= MOST_FILLED:
            ends = (float(before.parts[-1][-1]), float(piece.samples[0]))
            line = np.linspace(*ends, missing + 2)[1:-1]
            line = np.rint(line) if piece.samples.dtype.kind == "i" else line
            joined = [line.astype(piece.samples.dtype), piece.samples]
            what, severity = f"{missing} missing samples before {when} UTC were filled by linear interpolation", "doubt"
            effect = "Motion in the gap is not measured."
        if joined is None:
            kind = f"a gap of {after * dt:.6g} s" if after > 0 else f"an overlap of {-after * dt:.6g} s"
            if reading.gaps not in ("longest", "split") or (reading.gaps == "split" and after <= 0):
                raise reading.error(
                    f"channel {source} has {kind} before {when} UTC, in {len(pieces)} segments",
                    remedy='Keep the longest segment with gaps="longest" (--gaps longest), make a record of each with '
                    f'"split", or fill gaps of up to {LONGEST_FILLED:g} s by linear interpolation with "fill"',
                )
            runs.append(_Run(piece))
            continue
        if what:
            before.findings.append(
                Finding(
                    "gap" if severity == "doubt" else "overlap", severity, what, effect,
                    "Get the missing data, if available", place=f"before {when}",
                )
            )  # fmt: skip
        for samples in joined:
            if len(samples):
                before.add(samples)
    if reading.gaps == "split":
        return runs
    longest = max(runs, key=lambda run: run.count)
    if len(runs) > 1:
        left = sum(run.count for run in runs) - longest.count
        longest.findings.append(
            Finding(
                "gap", "doubt", f"the channel has {len(runs)} segments; the longest was kept, {left} samples left out",
                "Motion before or after it is not included", "Get the missing data, if available",
            )
        )  # fmt: skip
    return [longest]


def write_miniseed(
    record: Record,
    path: str | Path,
    *,
    version: Literal[2, 3] = 3,
    encoding: Literal["steim2", "int32", "float32", "float64"] | None = None,
) -> None:
    """Write a record as miniSEED, so that reading it gives the same samples bit for bit.

    Parameters
    ----------
    record : Record
        It must have a start time and a station code. Integers must fit in 32 bits.
    path : str or Path
        The file to write; an existing one is replaced.
    version : {2, 3}
        Version 3 also holds unit, sensitivity, direction and names; version 2 has no place for them.
    encoding : {"steim2", "int32", "float32", "float64"}, optional
        By default the type of the samples: Steim-2 for integers, or 32-bit integers if they vary too much for it.

    Raises
    ------
    RecordError
        miniSEED cannot hold the record, or the file cannot be written.
    InputError
        The version or encoding does not exist.

    Examples
    --------
    >>> import tempfile
    >>> from pathlib import Path
    >>> from strongmotion import read
    >>> record = read("demo_records/quay.csv")
    >>> path = Path(tempfile.mkdtemp()) / "quay.mseed"
    >>> write_miniseed(record, path)
    >>> read(path)["H1"].sensitivity == record["H1"].sensitivity  # counts per m/s²
    True
    """
    if version not in (2, 3) or encoding not in (None, "steim2", "int32", "float32", "float64"):
        raise InputError(
            f"miniSEED has no version {version!r} with encoding {encoding!r}",
            remedy="Use version 2 or 3, and steim2, int32, float32 or float64",
        )
    data = b"".join(miniseed_of(record, component, version, encoding) for component in record)
    back = read_miniseed(Reading(record.source.file or "the record", data, own=True))
    kept = {component.name: component for component in back[0]} if len(back) == 1 else {}
    same = set(kept) == set(record.names) and all(
        kept[one.name].samples.astype(one.samples.dtype).tobytes() == one.samples.tobytes()
        and (kept[one.name].dt, kept[one.name].start) == (one.dt, one.start)
        for one in record
    )
    if not same:
        raise RecordError(
            f"miniSEED {version} cannot hold this record: its samples, interval or start would change",
            source=record.source.file or None,
            remedy="Write version 3, in the encoding of its samples, or CSV",
        )
    save(path, data)


def miniseed_of(
    record: Record, component: Component, version: int, encoding: str | None, derived: Mapping[str, str] | None = None
) -> bytes:
    """Return one component as miniSEED.

    `derived` marks samples computed from those of the instrument, and holds further entries of the extra header.
    """
    from pymseed import DataEncoding, MiniSEEDError, MS3Record

    def error(what: str, remedy: str) -> RecordError:
        return RecordError(what, source=record.source.file or None, remedy=remedy)

    if component.start is None:
        raise error(f"component {component.name} has no start time, which miniSEED needs", "Write it as CSV")
    samples = np.asarray(component.samples)
    kind = "d" if encoding == "float64" else "f" if encoding == "float32" else "i" if encoding else ""
    kind = kind or ("i" if samples.dtype.kind in "iu" else "f" if samples.dtype == np.float32 else "d")
    fits = samples.dtype.kind in "iu" and int(samples.min()) >= -(2**31) and int(samples.max()) < 2**31
    if kind == "i" and not fits:
        raise error(f"component {component.name} does not fit 32-bit integers", "Write it as float64, or as CSV")
    extra = None
    if version == 3:
        said = {key: text for key, text in described(record, component).items() if text and key in _BEYOND}
        if derived is not None:
            said = {**said, **derived, "channel": _identifier(record, component, "X").replace("_", "")[-3:]}
        extra = json.dumps({"strongmotion": said})
    names = {"i": [encoding or "steim2", "int32"], "f": ["float32"], "d": ["float64"]}[kind]
    for name in dict.fromkeys(names):
        template = MS3Record(encoding=DataEncoding[name.upper()])
        template.formatversion = version
        try:
            template.sourceid = _identifier(record, component, "X" if derived is not None else "")
            template.samprate = _rate(component.dt)
            template.starttime = int(component.start.astype(np.int64))
            template.extra = extra
            numbers = samples.astype({"i": np.int32, "f": np.float32, "d": np.float64}[kind])
            return b"".join(template.generate(numbers, kind))
        except (MiniSEEDError, ValueError) as found:
            reason = str(found)
    raise error(f"miniSEED {version} cannot hold component {component.name} ({header.shown(reason, 120)})", "Use CSV")


def _rate(dt: float) -> float:
    """Return the sampling rate in Hz, or the negative interval in s, whichever miniSEED reproduces exactly."""
    return 1 / dt if dt < 1 and _interval(1 / dt) == dt else -dt


def _identifier(record: Record, component: Component, source: str = "") -> str:
    """Return the FDSN source identifier of a component, from its channel code or that of an accelerometer (N).

    `source` replaces the source code of the channel, such as X for derived samples.
    """
    channel = component.channel
    if re.fullmatch(r"[A-Z][A-Z][A-Z0-9]", channel):
        band, own, orientation = tuple(channel)
    else:
        rate = 1 / component.dt
        band, own = next(code for least, code in _BANDS if rate >= least), "N"
        if re.fullmatch(r"[A-Z][A-Z]", record.station.instrument_code):
            band, own = tuple(record.station.instrument_code)
        orientation = {"H1": "1", "H2": "2", "V": "Z"}.get(component.name, component.name)
        if component.azimuth == 0 and component.name == "H1":
            orientation = "N"
        if component.azimuth == 90 and component.name == "H2":
            orientation = "E"
    source = source or own
    station = record.station
    return f"FDSN:{station.network}_{station.code}_{station.location}_{band}_{source}_{orientation}"
