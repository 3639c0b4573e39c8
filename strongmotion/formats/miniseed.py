"""FDSN miniSEED, versions 2 and 3 (https://docs.fdsn.org/projects/miniseed3/), through the library `pymseed`.

A file may hold many channels, stations and segments. Channels of one station, location and instrument (the band and
source codes) make a record. What a record says of itself beyond miniSEED's own header (unit, sensitivity, direction,
names) is written, in version 3, to the extra header ``strongmotion``, and read from there.
"""

from __future__ import annotations

import json
import re
import struct
from collections.abc import Mapping
from itertools import pairwise
from pathlib import Path
from typing import Any, Literal, NamedTuple

import numpy as np
from numpy.typing import NDArray

from ..foundation.errors import InputError, RecordError
from ..record import Component, Finding, Record, Severity, Source
from . import header
from .header import Field, Reading
from .text import described, save

LONGEST_FILLED = 0.1
"""Longest gap that may be filled, s (common practice, no source)."""

DENSEST = 1.65
"""Samples that a byte can hold at most: Steim-2 packs 105 into a frame of 64 bytes."""

MOST_CHANNELS, MOST_SEGMENTS, RECORDS_AT_ONCE = 5000, 1000, 4000
MOST_FILLED = 1000
_HEAD_2 = re.compile(rb"[0-9 \0]{6}[DRQM][ \0]")
_BEYOND = (
    "component", "channel", "unit", "sensitivity", "azimuth", "dip",
    "name", "latitude", "longitude", "elevation", "instrument", "processed",
)  # fmt: skip
_BANDS = ((1000.0, "F"), (250.0, "C"), (80.0, "H"), (10.0, "B"), (1.0, "M"), (0.0, "L"))
_WHOLE = "Copy the file again from its source"

_LENGTHS_3 = struct.Struct("<BHI")

_USUAL_2 = b"\0\x30\x03\xe8"
"""At byte 46 of most records of version 2: blockette 1000, which holds the length, follows the header."""

Codes = tuple[str, str, str, str, str]


class _Segment(NamedTuple):
    """A segment as the library describes it; each question to the library costs, so they are asked once."""

    start: int  # ns since 1970
    end: int
    length: int
    rate: float  # Hz
    described: Any


class _Piece(NamedTuple):
    start: int  # ns since 1970
    samples: NDArray[Any]


class _Run:
    """Pieces joined end to end, not yet copied together."""

    def __init__(self, piece: _Piece) -> None:
        self.start, self.parts, self.count = piece.start, [piece.samples], len(piece.samples)

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


def recognises(head: bytes) -> bool:
    """Whether the start of a file is miniSEED."""
    return head.startswith(b"MS\x03") or bool(_HEAD_2.match(head))


def read_miniseed(reading: Reading) -> list[Record]:
    """Read the records of a miniSEED file.

    Parameters
    ----------
    reading : Reading
        Its ``gaps`` says what to do where a channel's samples break off and go on later. ``"refuse"``: an error.
        ``"longest"``: keep the longest unbroken segment. ``"fill"``: draw a straight line across gaps of at most
        `LONGEST_FILLED`. Samples that are there twice, and alike, are taken once. A finding tells of each.

    Returns
    -------
    list of Record
        Integer samples as int32, others as float32 or float64.

    Raises
    ------
    RecordError
        The file is damaged or cut off, a channel has a gap, or floating-point samples come without a unit.
    """
    from pymseed import MiniSEEDError, MS3TraceList

    data, begins, cut = _whole_records(reading)
    instruments: dict[Codes, list[tuple[str, str, list[_Segment]]]] = {}
    traces = MS3TraceList()
    try:
        for begin, end in pairwise([*begins, len(data)]):
            # In parts, so that a file of nothing but gaps is noticed before it is sorted.
            traces.add_buffer(data[begin:end] if len(begins) > 1 else data, record_list=True)
            if len(traces) > MOST_CHANNELS or any(len(trace) > MOST_SEGMENTS for trace in traces):
                raise reading.error(
                    f"the file has more than {MOST_CHANNELS} channels, or {MOST_SEGMENTS} segments of one",
                    remedy="Split it into one file for each event",
                )
        declared = 0
        for trace in traces:
            segments = [_Segment(one.starttime, one.endtime, one.samplecnt, one.samprate, one) for one in trace]
            declared += sum(segment.length for segment in segments)
            source = trace.sourceid
            network, station, location, band, instrument, orientation = _codes(reading, source)
            codes = (network, station, location, band, instrument)
            instruments.setdefault(codes, []).append((orientation, source, segments))
        if declared > DENSEST * len(data):
            raise reading.error(f"more samples are declared than {len(data)} bytes can hold", remedy=_WHOLE)
        found = [_record(reading, codes, channels, cut) for codes, channels in instruments.items()]
    except (MiniSEEDError, ValueError) as error:  # among them text that is none, and an encoding that is none
        raise _fault(reading, data, error) from None
    records = [record for record in found if record is not None]
    if not records:
        raise reading.error("the file holds no samples of motion", remedy="Check that it is the right file")
    return records


def _whole_records(reading: Reading) -> tuple[bytes, list[int], tuple[Finding, ...]]:
    """Return the file's data down to its last whole record, where to part it, and a finding if that is not all."""
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
            return data, [0], ()  # of no usual make: the library finds its length, or what is wrong
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
        f"the file breaks off inside the record at byte {last + 1}; what is before it was read",
        "Shaking after the cut is missing: durations, energy and permanent displacement may be wrong.",
        "Get the whole file.",
        place=f"byte {last + 1}",
        values={"byte": last + 1},
    )
    return data[:last], [begin for begin in begins if begin < last], (finding,)


def _common_length(data: bytes) -> int:
    """Return the length of the records of miniSEED 2 where all are of the usual make and alike, and whole; else 0."""
    if len(data) < 64 or not data.startswith(_USUAL_2, 46) or not 7 <= data[54] <= 20:
        return 0
    length = 1 << data[54]
    count, rest = divmod(len(data), length)
    usual = all(data[at::length] == data[at : at + 1] * count for at in (46, 47, 48, 49, 54))
    return length if usual and rest == 0 and b"M" not in data[::length] else 0


def _length_2(data: bytes, at: int) -> int | None:
    """Return the length of the miniSEED 2 record at a byte, by its header; None where that does not say."""
    if at + 64 > len(data):
        return 64  # the least that any record has: this one is cut off
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


def _fault(reading: Reading, data: bytes, error: Exception) -> RecordError:
    """Return an error that names the byte of the first record that cannot be read."""
    from pymseed import MiniSEEDError, MS3Record, get_error_messages

    at, reason = 0, str(error)
    try:
        for record in MS3Record.from_buffer(data, unpack_data=True):
            if messages := get_error_messages():
                reason = messages[0]
                break
            record.sourceid  # noqa: B018 -- reading it is what fails
            at += record.reclen
    except (MiniSEEDError, ValueError) as found:
        reason = str(found)
    reason = " ".join(reason.split("::")[0].split())
    return reading.error(f"the record at byte {at + 1} is damaged ({header.shown(reason, 120)})", remedy=_WHOLE)


def _codes(reading: Reading, source: str) -> tuple[str, ...]:
    """Return network, station, location, band, source and orientation of an FDSN source identifier."""
    parts = source.removeprefix("FDSN:").split("_")
    if not source.startswith("FDSN:") or len(parts) != 6:
        raise reading.error(
            f"{header.shown(source)} is no FDSN source identifier",
            remedy="Write it as FDSN:network_station_location_band_source_orientation",
        )
    if not parts[5]:
        raise reading.error(
            f"{header.shown(source)} has no channel code, which tells its direction",
            remedy="Give the channel the code it has in its StationXML, such as HNZ",
        )
    return tuple(parts)


def _record(
    reading: Reading, codes: Codes, channels: list[tuple[str, str, list[_Segment]]], cut: tuple[Finding, ...]
) -> Record | None:
    """Return the record of one instrument; None where it has no samples, as a log has none."""
    from pymseed import DataEncoding

    network, station, location, band, source = codes
    base = {"network": Field(network), "station": Field(station), "location": Field(location)}
    components: list[Component] = []
    findings = list(cut)
    version = 3 if reading.data.startswith(b"MS") else 2
    for orientation, channel, parts in channels:
        segments, first = [], None
        for segment in parts:
            if segment.length > 0 and segment.rate > 0:
                begins = next(iter(segment.described.recordlist)).record
                if begins.encoding != DataEncoding.TEXT:
                    segments.append(segment)
                    first = first or begins
        if first is None:
            continue
        fields = {**base, "channel": Field(band + source + orientation), **_beyond(first)}
        fields.setdefault("component", Field(f"HN{orientation}" if orientation in tuple("NEZ12") else orientation))
        name = header.direction(fields["component"].text)[0]
        samples, start, dt, of_gaps = _channel(reading, channel, name, segments, first.samprate_raw)
        findings.extend(of_gaps)
        if "unit" not in fields:
            if samples.dtype.kind == "f" and reading.unit is None and not reading.described:
                raise reading.error(
                    f"channel {channel} holds {samples.dtype} numbers, and miniSEED states no unit",
                    remedy="Give their unit with unit= (--sample-unit), or their StationXML if they are counts",
                )
            fields["unit"] = Field("counts")
        fields["start"] = Field(f"{np.datetime64(start, 'ns')}Z")
        component, notes = header.component_of(reading, fields, samples, dt, None)
        components.append(component)
        findings.extend(notes)
        if not any(finding.name == "already processed" for finding in findings):
            findings.extend(header.processed_note(fields))
        base.update({key: field for key, field in fields.items() if key in header.OF_STATION})
        if source in ("H", "L") and not reading.described:
            findings.append(
                Finding(
                    "velocity sensor", "doubt", f"by its code {source} the sensor is a seismometer, of velocity",
                    "Then its samples are no acceleration.", "Give its StationXML, or use the accelerometer.",
                    name,
                )
            )  # fmt: skip
    if not components:
        return None
    usual = {name: place for place, name in enumerate(("H1", "H2", "V"))}
    components.sort(key=lambda component: usual.get(component.name, len(usual)))
    return Record.from_components(
        components,
        header.station_of(reading, base),
        Source(reading.file, reading.sha256, f"miniSEED {version}"),
        findings,
        common_window=reading.common_window,
    )


def _beyond(record: Any) -> dict[str, Field]:
    """Return what the extra header says in this library's own words."""
    if not record.extralength:
        return {}
    try:
        said = json.loads(record.extra).get("strongmotion", {})
        return {key: Field(said[key]) for key in _BEYOND if isinstance(said.get(key), str)}
    except (ValueError, AttributeError, RecursionError):
        return {}  # foreign extra headers are free to be anything


def _channel(
    reading: Reading, source: str, name: str, segments: list[_Segment], stated: float
) -> tuple[NDArray[Any], int, float, list[Finding]]:
    """Return a channel's samples, its start in ns since 1970, its interval in s, and findings on its gaps.

    `stated` is its sampling rate in Hz, or below 0 its interval in s.
    """
    from pymseed import get_error_messages

    if any(abs(segment.rate / segments[0].rate - 1) > 1e-4 for segment in segments):
        raise reading.error(f"channel {source} changes its sampling rate", remedy="Split the file where it changes")
    get_error_messages()  # of before
    pieces = [_Piece(segment.start, segment.described.create_numpy_array_from_recordlist()) for segment in segments]
    if messages := get_error_messages():  # a checksum of the compression that does not hold is but a message there
        raise _fault(reading, reading.data, ValueError(messages[0]))
    if len({piece.samples.dtype for piece in pieces}) > 1:
        raise reading.error(f"channel {source} changes the type of its numbers", remedy="Split the file there")
    dt = -stated if stated < 0 else _interval(stated)
    piece, findings = _joined(reading, source, name, pieces, dt)
    drift = max(abs((segment.end - segment.start) * 1e-9 / dt - (segment.length - 1)) for segment in segments)
    if drift > 0.5:
        findings.append(
            Finding(
                "drifting clock", "doubt", f"the times of its records leave even steps by {drift:.2g} samples",
                "Frequencies are wrong by as much, and components may lie apart.",
                "Use a record with a locked clock, or correct the sampling interval.", name,
            )
        )  # fmt: skip
    piece.samples.flags.writeable = False
    return piece.samples, piece.start, dt, findings


def _interval(rate: float) -> float:
    """Return the interval in s of a rate in Hz: the shortest decimal that has this rate, if there is one."""
    dt = 1 / rate
    return next((short for digits in (6, 12) if 1 / (short := float(f"{dt:.{digits}g}")) == rate), dt)


def _joined(reading: Reading, source: str, name: str, pieces: list[_Piece], dt: float) -> tuple[_Piece, list[Finding]]:
    """Return the pieces of one channel as one, as far as the caller allows, and what was done."""
    findings: list[Finding] = []
    ordered = sorted(pieces, key=lambda piece: (piece.start, -len(piece.samples)))
    runs = [_Run(ordered[0])]
    severity: Severity
    for piece in ordered[1:]:
        before = runs[-1]
        after = (piece.start - before.start) * 1e-9 / dt - before.count  # samples missing; below 0 an overlap
        missing = round(after)
        on_grid = abs(after - missing) <= 0.1
        when = str(np.datetime64(piece.start, "ns").astype("datetime64[ms]"))
        joined: list[NDArray[Any]] = []
        if on_grid and missing <= 0:
            shared = min(-missing, len(piece.samples))
            begin = before.count + missing
            if begin >= 0 and np.array_equal(before.part(begin, begin + shared), piece.samples[:shared]):
                joined = [piece.samples[shared:]]
                what, severity = f"{shared} samples from {when} UTC on are there twice, and alike", "note"
                effect = "They were taken once."
        elif on_grid and reading.gaps == "fill" and missing * dt <= LONGEST_FILLED and missing <= MOST_FILLED:
            ends = (float(before.parts[-1][-1]), float(piece.samples[0]))
            line = np.linspace(*ends, missing + 2)[1:-1]
            line = np.rint(line) if piece.samples.dtype.kind == "i" else line
            joined = [line.astype(piece.samples.dtype), piece.samples]
            what, severity = f"{missing} missing samples before {when} UTC were filled by a straight line", "doubt"
            effect = "Motion in the gap is a guess."
        if not joined:
            kind = f"a gap of {after * dt:.6g} s" if after > 0 else f"an overlap of {-after * dt:.6g} s"
            if reading.gaps != "longest":
                raise reading.error(
                    f"channel {source} has {kind} before {when} UTC, in {len(pieces)} segments",
                    remedy='Keep the longest segment with gaps="longest" (--gaps longest), or fill gaps of up to '
                    f'{LONGEST_FILLED:g} s by a straight line with gaps="fill"',
                )
            runs.append(_Run(piece))
            continue
        findings.append(
            Finding(
                "gap" if severity == "doubt" else "overlap", severity, what, effect,
                "Get the missing data, if they exist.", name, f"before {when}",
            )
        )  # fmt: skip
        for samples in joined:
            if len(samples):
                before.add(samples)
    longest = max(runs, key=lambda run: run.count)
    if len(runs) > 1:
        left = sum(run.count for run in runs) - longest.count
        findings.append(
            Finding(
                "gap", "doubt", f"the channel has {len(runs)} segments; the longest was kept, {left} samples left out",
                "Motion before or after it does not count.", "Get the missing data, if they exist.", name,
            )
        )  # fmt: skip
    whole = longest.parts[0] if len(longest.parts) == 1 else np.concatenate(longest.parts)
    return _Piece(longest.start, whole), findings


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
        It needs a start time, and a station code. Integers must fit 32 bits.
    path : str or Path
        The file to write; an existing one is replaced.
    version : {2, 3}
        Version 3 also holds unit, sensitivity, direction and names; version 2 has no place for them.
    encoding : {"steim2", "int32", "float32", "float64"}, optional
        By default the samples' own type: Steim-2 for integers, or 32-bit integers where they vary too much for it.

    Raises
    ------
    RecordError
        miniSEED cannot hold the record, or the file cannot be written.
    InputError
        No such version or encoding.
    """
    if version not in (2, 3) or encoding not in (None, "steim2", "int32", "float32", "float64"):
        raise InputError(
            f"no miniSEED of version {version!r} and encoding {encoding!r}",
            remedy="Use version 2 or 3, and steim2, int32, float32 or float64",
        )
    data = b"".join(miniseed_of(record, component, version, encoding) for component in record)
    back = read_miniseed(Reading(record.source.file or "the record", data, unit=None, described=True))
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

    `derived` marks samples computed from those of the instrument, and says more of them in the extra header.
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
    """Return a sampling rate in Hz, or below 0 the interval in s, whichever miniSEED gives back exactly."""
    return 1 / dt if dt < 1 and _interval(1 / dt) == dt else -dt


def _identifier(record: Record, component: Component, source: str = "") -> str:
    """Return the FDSN source identifier of a component: its own channel code, or one of an accelerometer (N).

    A `source` code given replaces that of the channel, such as X for derived samples.
    """
    channel = component.channel
    if re.fullmatch(r"[A-Z][A-Z][A-Z0-9]", channel):
        band, own, orientation = tuple(channel)
    else:
        rate = 1 / component.dt
        band = next(code for least, code in _BANDS if rate >= least)
        orientation = {"H1": "1", "H2": "2", "V": "Z"}.get(component.name, component.name)
        if component.azimuth == 0 and component.name == "H1":
            orientation = "N"
        if component.azimuth == 90 and component.name == "H2":
            orientation = "E"
        own = "N"
    source = source or own
    station = record.station
    return f"FDSN:{station.network}_{station.code}_{station.location}_{band}_{source}_{orientation}"
