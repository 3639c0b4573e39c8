"""Read files into records. Each format has its own module and is recognised by content, never by file name."""

from __future__ import annotations

import codecs
import functools
import hashlib
import os
from collections.abc import Callable, Iterable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from pathlib import Path
from typing import Literal, NamedTuple, Unpack

from ..foundation.errors import InputError, RecordError
from ..record import Record
from . import csv, miniseed
from .channels import Choice
from .containers import LARGEST_OF_ALL, foreign, is_archive, is_json, is_workbook, members, sheet
from .csv import write_csv
from .draft import read_drafted
from .header import Reading, Records, Unread
from .joining import Apart, Part, gathered, is_whole, joined
from .kept import named_layout, recognised_layouts
from .layout import Layout, ready_layout, ready_layouts
from .miniseed import write_miniseed
from .options import ReadOptions, checked, choice_of, span_of, what_is_given
from .quakeml import of_earthquake, read_quakeml
from .source import STANDARD_INPUT, content, stored, unpacked
from .stationxml import Inventory, described_by, read_stationxml
from .tables import read_table
from .text import read_texts, write_text
from .xml import is_xml

__all__ = [
    "ReadOptions",
    "Records",
    "Unread",
    "checked",
    "document_kind",
    "read",
    "read_all",
    "read_joined",
    "read_quakeml",
    "read_stationxml",
    "write_csv",
    "write_miniseed",
    "write_text",
]

LONGEST_LINE = 1_000_000
_HEAD = 65_536


class Format(NamedTuple):
    """A file format: its name, a test of a file's first bytes, and its reader."""

    name: str
    recognises: Callable[[bytes], bool]
    read: Callable[[Reading], list[Record]]


def read(path: str | Path, **options: Unpack[ReadOptions]) -> Record:
    """Read a file as a record.

    Parameters
    ----------
    path : str or Path
        The file; ``~`` is the home folder, ``-`` standard input. It may be compressed with gzip. Each member of a zip
        or tar archive is read as a file of its own, named ``archive.zip!member``.
    layout : str or Path, optional
        A layout file (TOML) that describes the text file, or the name of a built-in layout.
    stationxml : str, Path or Inventory, optional
        A StationXML document, a folder of them, or the result of `read_stationxml`. It supplies the sensitivity,
        direction and coordinates of each channel at the record's time.
    event : str or Path, optional
        A QuakeML document that holds the record's earthquake.
    common_window : bool
        Trim components of unequal length or start to their common time span, and add a finding.
    missing : {"refuse", "truncate"}
        What to do with a file that holds fewer samples than it declares. ``"truncate"`` reads the samples present and
        adds a finding.
    gaps : {"refuse", "longest", "fill", "split"}
        How to handle a miniSEED channel with gaps: refuse it, keep the longest segment, interpolate linearly across
        gaps of at most 0.1 s, or make a record of each segment. A finding reports it.
    sensor : {"accelerometer", "seismometer", "motion"}
        Sensors to read: accelerometers, velocity sensors, or both. The channel code identifies the sensor; StationXML,
        if given, takes precedence. The full response of a velocity sensor (poles and zeros) is removed. A finding names
        the channels that were skipped.
    channel : str, optional
        miniSEED channels to read: patterns such as ``"HN?,BN*"``.
    time : (str, str), optional
        Start and end (ISO 8601, UTC) of the time window to read from miniSEED.
    unit : str, optional
        Unit of the samples, when the file omits it or states it wrongly. A finding reports any difference.
    sensitivity : float, optional
        Sensitivity of every component, counts per m/s², when the file omits it or states it wrongly.
    dt : float, optional
        Sampling interval of a text file, s, when the file omits it or states it wrongly.
    component : str, optional
        Names of a text file's components, in order (``"H1,H2,V"``), or new names (``"X=H1,Y=H2"``).
    station, start : str, optional
        Station code (for miniSEED, patterns of the stations to read), and the time of the first sample, ISO 8601.
    given : mapping of str to str, optional
        Other metadata of a text file, such as ``latitude`` or ``azimuth``; the names are those of `header.GIVEN`.

    Returns
    -------
    Record
        Its samples are those of the file, bit for bit; integers stay integers.

    Raises
    ------
    RecordError
        The file cannot be read, has no known format, holds no valid record, or holds several records. The message names
        the line or byte.
    SettingsError
        The layout is not valid.
    InputError
        Another argument has a value that is not allowed.

    Examples
    --------
    >>> record = read("demo_records/quay.csv")
    >>> record.names, record.dt, record["H1"].unit
    (('H1', 'H2', 'V'), 0.005, 'counts')
    """
    records = read_all(path, **options)
    if len(records) > 1:
        ids = ", ".join(record.id for record in records[:10])
        raise RecordError(
            f"the file holds {len(records)} records: {ids}{', ...' if len(records) > 10 else ''}",
            source=records[0].source.file,
            remedy="Read them with read_all, or process the file from the command line, which reads all of them",
        )
    own = (_instrument(records[0]), records[0].id)
    if other := [one for one in records.unread if not one.record or one.record not in own]:
        first = other[0].error
        raise RecordError(
            f"besides {records[0].id}, {len(other)} of the file's records or channels cannot be read; the first: "
            f"{first.what}",
            source=first.source,
            line=first.line,
            remedy="Choose a record with station= or channel=, or read the good ones with read_all",
        )
    return records[0]


def _instrument(record: Record) -> str:
    station = record.station
    return ".".join((station.network, station.code, station.location, station.instrument_code)).strip(".")


def read_all(path: str | Path, **options: Unpack[ReadOptions]) -> Records:
    """Read every record of a file. A miniSEED file gives one record for each station, location and instrument.

    Parameters and errors are those of `read`.

    Returns
    -------
    Records
        A list of at least one record, in file order. Its ``unread`` attribute lists what could not be read, and why.

    Examples
    --------
    >>> [record.station.code for record in read_all("demo_records/quay.csv")]
    ['QUAY']
    """
    read = _Reader(checked(options))
    file, packed = stored(path)
    data = unpacked(file, packed)
    if not is_archive(data) or is_workbook(data):
        return read.file(file, packed, data)
    records: list[Record] = []
    unread: list[Unread] = []
    found, left = False, LARGEST_OF_ALL
    for member in members(file, data):
        found = True
        try:
            if member.problem is not None:
                raise member.problem
            own = unpacked(member.name, member.data)
            if (left := left - len(own)) < 0:
                raise RecordError("the total size of the archive's members is too large", source=member.name)
            if is_archive(own) and not is_workbook(own):
                raise RecordError(
                    "nested archives are not read",
                    source=member.name,
                    remedy="Unpack the outer archive first",
                )
            its = read.file(member.name, member.data, own)
            records += its
            unread += its.unread
        except RecordError as error:
            unread.append(Unread("", "", error))
    if not found:
        raise RecordError("the archive holds no readable file", source=file, remedy="Give the archive of the records")
    if not records:
        raise unread[0].error
    return Records(records, unread)


def _described(
    records: list[Record], inventory: Inventory, choice: Choice, unread: list[Unread], *, keep: bool
) -> list[Record]:
    """Return the records with the metadata of an inventory; append faulty ones to `unread`."""
    found = []
    for record in records:
        try:
            found.append(described_by(record, inventory, choice=choice, keep=keep, unread=unread))
        except RecordError as error:
            if len(records) == 1:
                raise
            unread.append(Unread(record.id, "", error))
    if not found:
        raise unread[-1].error
    return found


class _Reader:
    """The reading options, prepared once for all members of an archive."""

    def __init__(self, options: ReadOptions) -> None:
        self.options = options
        layout, stationxml, event = options.get("layout"), options.get("stationxml"), options.get("event")
        self.plan = None if layout is None else named_layout(layout)
        self.chosen = None if self.plan is None else _text_format(self.plan)
        self.inventory = read_stationxml(stationxml) if isinstance(stationxml, str | Path) else stationxml
        self.earthquakes = None if event is None else read_quakeml(event)

    def file(self, file: str, packed: bytes, data: bytes) -> Records:
        """Return the records of one file, given its name, its bytes as stored, and its uncompressed bytes."""
        options, inventory = self.options, self.inventory
        component, sensitivity = options.get("component"), options.get("sensitivity")
        renaming = component is not None and "=" in component
        names = () if component is None or renaming else tuple(name.strip() for name in component.split(","))
        reading = Reading(
            file,
            data,
            _hashing().submit(lambda data: hashlib.sha256(data).hexdigest(), packed),
            options.get("unit"),
            sensitivity,
            options.get("missing", "refuse"),
            options.get("common_window", False),
            options.get("gaps", "refuse"),
            inventory,
            choice_of(options),
            span_of(options),
            False,
            what_is_given(options),
            names,
        )
        records = self.records(reading)
        unread = list(records.unread) if isinstance(records, Records) else []
        if component is not None and renaming:
            records = [renamed(record, component) for record in records]
        if inventory is not None:
            records = _described(records, inventory, reading.choice, unread, keep=sensitivity is not None)
        if self.earthquakes is not None:
            event = Path(str(options.get("event"))).name
            records = [of_earthquake(record, self.earthquakes, event) for record in records]
        return Records(records, unread)

    def records(self, reading: Reading) -> list[Record]:
        data, plan, chosen = reading.data, self.plan, self.chosen
        if not data:
            raise reading.error("the file is empty", remedy="Copy it again from its source")
        if plan is not None and plan.format != "text":
            return read_table(reading, plan)
        if (other := foreign(data)) is not None:
            kind, remedy = other
            raise reading.error(f"this is {kind}", remedy=remedy)
        if is_workbook(data):
            reading = replace(reading, data=sheet(reading.file, data))
        elif chosen is None and miniseed.recognises(data):
            return miniseed.read_miniseed(reading)
        reading = _as_text(reading)
        return _format_of(reading, chosen).read(reading)


class Joined(NamedTuple):
    """Records read from several files, and the files that were not joined."""

    records: list[Record]
    """Records, in the order of their first files."""
    unread: list[Unread]
    """What could not be read, and why."""
    apart: list[Apart]
    """Groups of files that look like components of one record, with the reason why they were not joined."""


def read_joined(paths: Iterable[str | Path], **options: Unpack[ReadOptions]) -> Joined:
    """Read files, and join those that hold the components of one record.

    Parameters
    ----------
    paths : iterable of str or Path
        Files to read. Each is read once.
    **options
        As for `read`. New component names (``"X=H1,Y=H2"``) apply to the joined records.

    Returns
    -------
    Joined
        Records, and the files that were not joined. A record's `source` is the file of its first component; `joined`
        lists the other files, each with its hash and components.

    Raises
    ------
    RecordError, SettingsError, InputError
        As for `read`.

    Examples
    --------
    >>> records, unread, apart = read_joined(["demo_records/quay.csv", "demo_records/fern.txt"])
    >>> [record.station.code for record in records], apart  # two stations, so nothing is joined
    (['QUAY', 'FERN'], [])
    """
    component = options.get("component") or ""
    if "=" in component:
        del options["component"]
    there: dict[tuple[Path, int], Record] = {}
    parts, order = [], []
    unread: list[Unread] = []
    for path in dict.fromkeys(map(Path, paths)):
        its = read_all(path, **options)
        unread += its.unread
        for number, record in enumerate(its):
            there[path, number] = record
            order.append((path, number))
            if not is_whole(record):
                parts.append(Part.of(record, path, number))
    groups, apart = gathered(parts)
    for group in groups:
        keys = [(part.file, part.number) for part in group.parts]
        there[keys[0]] = joined([there[key] for key in keys], group)
        for key in keys[1:]:
            del there[key]
    records = [there[key] for key in order if key in there]
    return Joined([renamed(one, component) for one in records] if "=" in component else records, unread, apart)


def renamed(record: Record, component: str) -> Record:
    """Return a copy of a record with its components renamed.

    Parameters
    ----------
    record : Record
    component : str
        Such as ``"X=H1,Y=H2"``.
    """
    new = {}
    for part in component.split(","):
        old, mark, name = (piece.strip() for piece in part.partition("="))
        if not mark or old not in record.names:
            raise InputError(
                f"there is no component {old!r}", remedy=f"Write OLD=NEW for one of {', '.join(record.names)}"
            )
        new[old] = name
    paired = {"H1", "H2"} <= {*new.values(), *record.names}
    return replace(
        record,
        findings=tuple(
            replace(finding, component=new.get(finding.component, finding.component))
            for finding in record.findings
            if not (paired and finding.name == "no horizontal pair")
        ),
        components=tuple(
            replace(one, name=new.get(one.name, one.name), channel=one.channel or one.name) if one.name in new else one
            for one in record.components
        ),
    )


@functools.cache
def _hashing() -> ThreadPoolExecutor:
    """Return the thread that hashes a file while it is read."""
    return ThreadPoolExecutor(1, thread_name_prefix="strongmotion-hash")


if hasattr(os, "register_at_fork"):
    os.register_at_fork(after_in_child=_hashing.cache_clear)  # a forked child does not have it


def document_kind(path: str | Path) -> Literal["StationXML", "QuakeML", ""]:
    """Return the kind of an XML document, by its root element; an empty string for other files and standard input.

    Examples
    --------
    >>> document_kind("demo_records/quay.csv")
    ''
    """
    if str(path) == STANDARD_INPUT:
        return ""
    head = content(path)[1][:_HEAD]
    if not is_xml(head):
        return ""
    return "StationXML" if b"<FDSNStationXML" in head else "QuakeML" if b"quakeml" in head else ""


def _formats() -> list[Format]:
    """Return the text formats in the order in which they are tried."""
    texts = [_text_format(ready_layout(name)) for name in ready_layouts()]
    texts += [_text_format(layout) for layout in recognised_layouts()]
    return [*texts, Format("CSV", csv.recognises, lambda reading: [csv.read_csv(reading)])]


def _text_format(layout: Layout) -> Format:
    return Format(f"text, layout {layout.name}", layout.recognises, lambda reading: read_texts(reading, layout))


def _as_text(reading: Reading) -> Reading:
    """Return the reading with uniform line ends. Raise an error if it is not text with lines of reasonable length."""
    data = reading.data.removeprefix(codecs.BOM_UTF8)
    if b"\r" in data:
        data = data.replace(b"\r\n", b"\n").replace(b"\r", b"\n")
    reading = replace(reading, data=data)
    _check_size_of_lines(reading)
    return reading


def _format_of(reading: Reading, chosen: Format | None) -> Format:
    head = reading.data[:_HEAD]
    if chosen is not None:
        if chosen.recognises(head):
            return chosen
        raise reading.error(
            f"the file does not look like {chosen.name}: its `recognise` pattern does not match any of the first lines",
            remedy="Give the right layout, or correct its pattern",
        )
    tried = _formats()
    for form in tried:
        if form.recognises(head):
            return form
    if is_xml(head):
        raise reading.error(
            "this is an XML document, which holds no samples",
            remedy="Give StationXML as stationxml= (--stationxml) and QuakeML as event= (--event), with a record",
        )
    if is_json(reading.data):
        raise reading.error(
            "this is JSON, which has no fixed place for its numbers",
            remedy='Give a layout with format = "json" that says where they are (--layout)',
        )
    if not any(48 <= byte <= 57 for byte in head):
        raise reading.error(
            f"the file is of no known format; tried miniSEED, {', '.join(form.name for form in tried)}; "
            "it holds no numbers",
            remedy="Give the file of the samples",
        )
    return Format("text, drafted", lambda head: True, read_drafted)


def _check_size_of_lines(reading: Reading) -> None:
    """Refuse data that is not text with lines of reasonable length, before parsing any of it."""
    data = reading.data
    if data.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        raise reading.error("the file is UTF-16 text", remedy="Save it as UTF-8")
    if (at := data.find(b"\0")) >= 0:
        line, byte = reading.place(at)
        raise reading.error(
            f"byte {byte} of the line is 0, so this is a binary file or a damaged text",
            line,
            "Convert it to CSV or to text with a layout",
        )
    begin = 0
    while len(data) - begin > LONGEST_LINE:
        end = data.rfind(b"\n", begin, begin + LONGEST_LINE)
        if end < 0:
            raise reading.error(
                f"the line is longer than {LONGEST_LINE} characters",
                data.count(b"\n", 0, begin) + 1,
                "Check that this is the right file",
            )
        begin = end + 1
