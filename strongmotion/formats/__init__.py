"""From a file to records. One file a format; the format is recognised from the content, never from the name."""

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
    """One kind of file: its name, whether the start of a file is of it, and its reader."""

    name: str
    recognises: Callable[[bytes], bool]
    read: Callable[[Reading], list[Record]]


def read(path: str | Path, **options: Unpack[ReadOptions]) -> Record:
    """Read a file as a record.

    Parameters
    ----------
    path : str or Path
        The file; ``~`` is the home folder, ``-`` standard input. It may be compressed by gzip. Of a zip or tar archive
        each member is read as a file of its own, named ``archive.zip!member``.
    layout : str or Path, optional
        A layout file (TOML) that says how a text file is laid out, or the name of a ready layout.
    stationxml : str, Path or Inventory, optional
        A StationXML document, a folder of them, or what `read_stationxml` made of them: sensitivity, direction and
        place of each channel at the record's time.
    event : str or Path, optional
        A QuakeML document: the earthquake the record is of.
    common_window : bool
        Cut components of unequal length or start to the time span they share; a finding says so.
    missing : {"refuse", "truncate"}
        What to do with a file that holds fewer samples than it declares. ``"truncate"`` reads what is there and adds
        a finding.
    gaps : {"refuse", "longest", "fill", "split"}
        What to do where a channel of miniSEED breaks off and goes on later: refuse it, keep the longest segment,
        draw a straight line across gaps of at most 0.1 s, or make a record of each segment; a finding says so.
    sensor : {"accelerometer", "seismometer", "motion"}
        Which sensors are read: accelerometers, those of velocity, or both; the code of a channel says which it is, and
        StationXML, if given, wins. Of a sensor of velocity its whole response, poles and zeros, is divided out. A
        finding names the channels that were passed over.
    channel : str, optional
        Channels of miniSEED to read: patterns such as ``"HN?,BN*"``.
    time : (str, str), optional
        Begin and end, ISO 8601, UTC, of what is read of miniSEED.
    unit : str, optional
        The unit of the samples, when the file does not state it or is wrong; a finding says if it differs.
    sensitivity : float, optional
        Counts per m/s² of every component, likewise.
    dt : float, optional
        The sampling interval, s, of a text file that does not state it or is wrong, likewise.
    component : str, optional
        The names of a text file's components in their order (``"H1,H2,V"``), or new names (``"X=H1,Y=H2"``).
    station, start : str, optional
        The station's code, or of miniSEED patterns of those to read; the time of the first sample, ISO 8601.
    given : mapping of str to str, optional
        What else is known of a text file: ``latitude``, ``azimuth`` and so on, by the names in `header.GIVEN`.

    Returns
    -------
    Record
        Samples bit for bit as in the file, integers as integers.

    Raises
    ------
    RecordError
        The file cannot be read, is of no known format, does not hold a sound record, or holds several; the message
        names the line or byte.
    SettingsError
        The layout is not sound.
    InputError
        Another argument is not one of those allowed.

    Examples
    --------
    >>> record = read("quay.csv")  # doctest: +SKIP
    >>> record.names  # doctest: +SKIP
    ('H1', 'H2', 'V')
    """
    records = read_all(path, **options)
    if len(records) > 1:
        ids = ", ".join(record.id for record in records[:10])
        raise RecordError(
            f"the file holds {len(records)} records: {ids}{', ...' if len(records) > 10 else ''}",
            source=records[0].source.file,
            remedy="Read them with read_all, or process the file from the command line, which takes all",
        )
    own = (_instrument(records[0]), records[0].id)
    if other := [one for one in records.unread if not one.record or one.record not in own]:
        first = other[0].error
        raise RecordError(
            f"beside {records[0].id}, {len(other)} of the file cannot be read; the first: {first.what}",
            source=first.source,
            line=first.line,
            remedy="Choose a record with station= or channel=, or take those that can be read with read_all",
        )
    return records[0]


def _instrument(record: Record) -> str:
    station = record.station
    return ".".join((station.network, station.code, station.location, station.instrument_code)).strip(".")


def read_all(path: str | Path, **options: Unpack[ReadOptions]) -> Records:
    """Read every record of a file: of miniSEED one for each station, location and instrument.

    Parameters and errors are those of `read`.

    Returns
    -------
    Records
        A list of at least one, in the order of the file; its ``unread`` holds what could not be read, and why.
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
                raise RecordError("the members of the archive are too large in all", source=member.name)
            if is_archive(own) and not is_workbook(own):
                raise RecordError(
                    "an archive inside an archive is not read",
                    source=member.name,
                    remedy="Unpack the outer one yourself",
                )
            its = read.file(member.name, member.data, own)
            records += its
            unread += its.unread
        except RecordError as error:
            unread.append(Unread("", "", error))
    if not found:
        raise RecordError("the archive holds no file to read", source=file, remedy="Give the archive of the records")
    if not records:
        raise unread[0].error
    return Records(records, unread)


def _described(
    records: list[Record], inventory: Inventory, choice: Choice, unread: list[Unread], *, keep: bool
) -> list[Record]:
    """Return the records with what an inventory says of them; what is wrong with one goes to `unread`."""
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
    """What the options say, made ready once for all members of an archive."""

    def __init__(self, options: ReadOptions) -> None:
        self.options = options
        layout, stationxml, event = options.get("layout"), options.get("stationxml"), options.get("event")
        self.plan = None if layout is None else named_layout(layout)
        self.chosen = None if self.plan is None else _text_format(self.plan)
        self.inventory = read_stationxml(stationxml) if isinstance(stationxml, str | Path) else stationxml
        self.earthquakes = None if event is None else read_quakeml(event)

    def file(self, file: str, packed: bytes, data: bytes) -> Records:
        """Return the records of one file: its name, its bytes as stored, and without compression."""
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
    """Records of several files, and what was not joined."""

    records: list[Record]
    """In the order of their first files."""
    unread: list[Unread]
    """What of the files could not be read, and why."""
    apart: list[Apart]
    """Files that look like components of one record, each time with what keeps them apart."""


def read_joined(paths: Iterable[str | Path], **options: Unpack[ReadOptions]) -> Joined:
    """Read files, and join those that each hold a component of one record.

    Parameters
    ----------
    paths : iterable of str or Path
        Files, which are read once each.
    **options
        As for `read`; new names of components (``"X=H1,Y=H2"``) are those of the joined records.

    Returns
    -------
    Joined
        Records, and what was not joined. A record's `source` is the file of its first component, `joined` has the
        others, each with its hash and the components it gave.

    Raises
    ------
    RecordError, SettingsError, InputError
        As for `read`.

    Examples
    --------
    >>> records, unread, apart = read_joined(["quay.N.csv", "quay.E.csv", "quay.Z.csv"])  # doctest: +SKIP
    >>> records[0].names  # doctest: +SKIP
    ('H1', 'H2', 'V')
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
    """Return a record whose components have other names.

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
    """Return which XML document a file is, by its root; nothing for any other file, or standard input."""
    if str(path) == STANDARD_INPUT:
        return ""
    head = content(path)[1][:_HEAD]
    if not is_xml(head):
        return ""
    return "StationXML" if b"<FDSNStationXML" in head else "QuakeML" if b"quakeml" in head else ""


def _formats() -> list[Format]:
    """Return all text formats, in the order in which they are tried."""
    texts = [_text_format(ready_layout(name)) for name in ready_layouts()]
    texts += [_text_format(layout) for layout in recognised_layouts()]
    return [*texts, Format("CSV", csv.recognises, lambda reading: [csv.read_csv(reading)])]


def _text_format(layout: Layout) -> Format:
    return Format(f"text, layout {layout.name}", layout.recognises, lambda reading: read_texts(reading, layout))


def _as_text(reading: Reading) -> Reading:
    """Return the reading with line ends made alike; what is no text of sensible lines is refused."""
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
            f"the file does not look like {chosen.name}: its `recognise` pattern is not in the first lines",
            remedy="Give the layout that fits, or correct its pattern",
        )
    tried = _formats()
    for form in tried:
        if form.recognises(head):
            return form
    if is_xml(head):
        raise reading.error(
            "this is an XML document, which holds no samples",
            remedy="Give StationXML as stationxml= (--stationxml) and QuakeML as event= (--event), beside a record",
        )
    if is_json(reading.data):
        raise reading.error(
            "this is JSON, which may hold its numbers anywhere",
            remedy='Say by a layout with format = "json" where they stand (--layout)',
        )
    if not any(48 <= byte <= 57 for byte in head):
        raise reading.error(
            f"the file is of no known format; tried miniSEED, {', '.join(form.name for form in tried)}; "
            "it holds no numbers",
            remedy="Give the file of the samples",
        )
    return Format("text, drafted", lambda head: True, read_drafted)


def _check_size_of_lines(reading: Reading) -> None:
    """Refuse what is no text of sensible lines, before any of it is taken apart."""
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
                "Check that the file is what it should be",
            )
        begin = end + 1
