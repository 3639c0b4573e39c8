"""Text files of number blocks, read and written by a layout: a TOML file that says where things stand.

A file holds one component, or several one after another, each with its own header and block of numbers.

``name``, ``description``
    Of the layout.
``recognise``
    A pattern (regular expression) found in one of the first 20 lines of every such file, and of no other.
``encoding``
    Of the file, UTF-8 unless given.
``[header]``
    ``first``: a pattern of the first header line of every component; without it the file holds one. ``lines``: the
    number of header lines, or ``last``: a pattern of the last of them.
``[header.dt]``, ``[header.unit]`` and so on, for each of `QUANTITIES`
    Where it stands: ``line`` (from 1 at ``first``) with ``columns = [first, last]`` (from 1), or ``pattern`` with one
    group, searched in that line and those columns, or in every header line; or a constant ``value``. Needed are ``dt``
    in s or ``sampling_rate`` in Hz, and ``unit`` unless the caller gives it. ``scale`` turns samples into ``unit``.
``[block]``
    ``values_per_line``, if all lines but the last hold as many; ``width`` in characters, if numbers stand in columns
    of one width, else they stand between blanks.
``[write]``
    To write such files: the ``header``, with quantities in curly brackets, and how to print ``integers`` and
    ``floats`` (Python format specifications); leave one out if the layout cannot hold it.

Two ready layouts stand in the folder ``layouts``, and serve as examples.
"""

from __future__ import annotations

import difflib
import functools
import re
import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from itertools import chain
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..errors import RecordError, SettingsError
from ..record import Component, Finding, Record
from . import header
from .header import QUANTITIES, Field, Reading

LONGEST_HEADER_LINE = 1000
LONGEST_HEADER = 200
_LINES_RECOGNISED = 20
_READY = Path(__file__).parent / "layouts"


@dataclass(frozen=True)
class Rule:
    """Where one quantity stands in a header.

    `line` counts from 1 in the component's header; `columns` are its first and last column, from 1; `pattern` is
    searched in those columns of that line, or in every line until it matches, and its one group is the text; `value`
    is a constant.
    """

    line: int | None = None
    columns: tuple[int, int] | None = None
    pattern: re.Pattern[str] | None = None
    value: str | None = None

    def find(self, lines: list[str], first_line: int) -> Field | None:
        """Return the quantity's text and line in the file, or None."""
        if self.value is not None:
            return Field(self.value)
        numbered = list(enumerate(lines, first_line))
        for at, text in numbered if self.line is None else numbered[self.line - 1 : self.line]:
            part = text if self.columns is None else text[self.columns[0] - 1 : self.columns[1]]
            if self.pattern is None:
                return Field(part.strip(), at)
            if match := self.pattern.search(part):
                return Field((match[1] or "").strip(), at)
        return None


@dataclass(frozen=True)
class Layout:
    """How one kind of text file is laid out; see the module's docstring."""

    name: str
    description: str
    recognise: re.Pattern[str] | None
    encoding: str
    first: re.Pattern[str] | None
    lines: int | None
    last: re.Pattern[str] | None
    rules: Mapping[str, Rule]
    values_per_line: int | None
    width: int | None
    written_header: str | None
    written_integers: str | None
    written_floats: str | None

    def recognises(self, head: bytes) -> bool:
        """Whether the start of a file looks like this layout; True for one that does not say."""
        if self.recognise is None:
            return True
        lines = head.decode(self.encoding, errors="replace").split("\n", _LINES_RECOGNISED)[:_LINES_RECOGNISED]
        return any(self.recognise.search(line[:LONGEST_HEADER_LINE]) for line in lines)


@functools.cache
def ready_layouts() -> tuple[str, ...]:
    """Return the names of the layouts that come with the library."""
    return tuple(sorted(path.stem for path in _READY.glob("*.toml")))


@functools.cache
def ready_layout(name: str) -> Layout:
    """Return a layout that comes with the library."""
    return load_layout(name)


def load_layout(layout: str | Path) -> Layout:
    """Load a layout: the name of a ready one, or the path of a TOML file.

    Raises
    ------
    SettingsError
        The file cannot be read, or something in it is unknown, missing or of the wrong type.
    """
    ready = ready_layouts()
    path = _READY / f"{layout}.toml" if str(layout) in ready else Path(layout)
    try:
        table = tomllib.loads(path.expanduser().read_bytes().decode("utf-8"))
    except (OSError, RuntimeError) as error:
        raise SettingsError(
            f"the layout cannot be read ({getattr(error, 'strerror', None) or error})",
            source=str(layout),
            remedy=f"Give the path of a layout file, or the name of a ready layout ({', '.join(ready)})",
        ) from None
    except ValueError as error:
        raise SettingsError(f"the layout is not TOML: {error}", source=path.name, remedy="Correct it") from None
    return _layout_from(table, path.name)


def _layout_from(table: dict[str, Any], file: str) -> Layout:
    top = _Table(
        table, file, "the layout", ("name", "description", "recognise", "encoding", "header", "block", "write")
    )
    head = _Table(top.get("header", dict, {}), file, "[header]", ("first", "lines", "last", *QUANTITIES))
    block = _Table(top.get("block", dict, {}), file, "[block]", ("values_per_line", "width"))
    write = _Table(top.get("write", dict, {}), file, "[write]", ("header", "integers", "floats"))
    encoding = top.get("encoding", str, "utf-8")
    try:
        "".encode(encoding)
    except LookupError:
        raise top.error(f"unknown encoding {encoding!r}", "Use utf-8, latin-1 or another of Python's") from None
    lines, last = head.whole("lines", least=0), head.pattern("last")
    if (lines is None) == (last is None):
        raise head.error(
            "the end of the header must be told in one way",
            "Give lines = the number of header lines, or last = a pattern of the last one",
        )
    rules = {quantity: _rule(head, quantity, lines) for quantity in QUANTITIES if quantity in head.table}
    if not {"dt", "sampling_rate"} & set(rules):
        raise head.error("no sampling interval is given", "Add [header.dt] or [header.sampling_rate]")
    return Layout(
        name=top.get("name", str, Path(file).stem),
        description=top.get("description", str, ""),
        recognise=top.pattern("recognise"),
        encoding=encoding,
        first=head.pattern("first"),
        lines=lines,
        last=last,
        rules=rules,
        values_per_line=block.whole("values_per_line", least=1),
        width=block.whole("width", least=1),
        written_header=write.get("header", str, None),
        written_integers=write.get("integers", str, None),
        written_floats=write.get("floats", str, None),
    )


def _rule(head: _Table, quantity: str, header_lines: int | None) -> Rule:
    name = f"[header.{quantity}]"
    table = _Table(head.get(quantity, dict, {}), head.file, name, ("line", "columns", "pattern", "value"))
    value = table.table.get("value")
    line, pattern, columns = table.whole("line", least=1), table.pattern("pattern", groups=1), None
    if "columns" in table.table:
        columns = table.get("columns", list, [])
        if not (len(columns) == 2 and all(type(c) is int for c in columns) and 1 <= columns[0] <= columns[1]):
            raise table.error(
                f"columns must be the first and the last column, found {columns}", "Write columns = [11, 20]"
            )
        columns = (columns[0], columns[1])
    if value is not None:
        if len(table.table) > 1 or isinstance(value, bool) or not isinstance(value, (str, int, float)):
            raise table.error("value must be a text or a number, and stand alone", "Remove the other keys")
        return Rule(value=str(value))
    if pattern is None and (line is None or columns is None):
        raise table.error("it does not say where to look", "Give line and columns, or a pattern, or a constant value")
    if line is not None and header_lines is not None and line > header_lines:
        raise table.error(f"line {line} is beyond the {header_lines} header lines", "Correct line or lines")
    return Rule(line, columns, pattern)


class _Table:
    """One table of a layout, its keys checked."""

    def __init__(self, table: dict[str, Any], file: str, name: str, allowed: Iterable[str]) -> None:
        self.table, self.file, self.name = table, file, name
        allowed = tuple(allowed)
        for key in table:
            if key not in allowed:
                near = difflib.get_close_matches(key, allowed, n=1)
                guess = f", perhaps {near[0]!r}" if near else ""
                raise self.error(f"unknown key {key!r}{guess}", f"Use {', '.join(allowed)}")

    def error(self, what: str, remedy: str) -> SettingsError:
        return SettingsError(f"{self.name}: {what}", source=self.file, remedy=remedy)

    def get(self, key: str, kind: type, default: Any) -> Any:
        value = self.table.get(key, default)
        if key in self.table and type(value) is not kind:
            words = {str: "a text", int: "a whole number", dict: "a table", list: "a list"}
            raise self.error(f"{key} must be {words[kind]}, found {value!r}", f"Correct {key}")
        return value

    def whole(self, key: str, least: int) -> int | None:
        value = self.get(key, int, None)
        if value is not None and value < least:
            raise self.error(f"{key} must be at least {least}, found {value}", f"Correct {key}")
        return value

    def pattern(self, key: str, groups: int | None = None) -> re.Pattern[str] | None:
        text = self.get(key, str, None)
        if text is None:
            return None
        try:
            pattern = re.compile(text)
        except re.error as error:
            raise self.error(f"{key} is not a regular expression: {error}", f"Correct {key}") from None
        if groups is not None and pattern.groups != groups:
            raise self.error(
                f"{key} must have one group, found {pattern.groups}", "Put round brackets about what is to be read"
            )
        return pattern


def read_text(reading: Reading, layout: Layout) -> Record:
    """Read a text file by its layout.

    Parameters
    ----------
    reading : Reading
    layout : Layout

    Returns
    -------
    Record

    Raises
    ------
    RecordError
        The file does not follow the layout, is cut off, or holds something that is not a number.
    """
    remedy = 'Set the file\'s encoding in the layout (encoding = "latin-1"), if the file is not damaged'
    lines = reading.text(layout.encoding, remedy).split("\n")
    while lines and not lines[-1].strip():
        lines.pop()
    components: list[Component] = []
    findings: list[Finding] = []
    station = None
    for begin, end in _sections(reading, layout, lines):
        data = _data_begins(reading, layout, lines, begin, end)
        fields = _fields(reading, layout, lines, begin, data)
        dt = header.interval(reading, fields)
        name = header.direction(fields["component"].text)[0] if "component" in fields else "H1"
        declared = header.declared_samples(reading, fields)
        samples, cut = _block(reading, layout, lines, data, end, declared, name)
        component, notes = header.component_of(reading, fields, samples, dt, begin + 1)
        components.append(component)
        findings.extend((*cut, *notes))
        here = header.station_of(reading, fields)
        if station is not None and here != station:
            raise reading.error(
                f"component {component.name} comes from another station than the first",
                begin + 1,
                "A record holds the components of one instrument: split the file",
            )
        station = here
    assert station is not None
    return reading.record(components, station, f"text, layout {layout.name}", findings)


def _sections(reading: Reading, layout: Layout, lines: list[str]) -> list[tuple[int, int]]:
    if layout.first is None:
        return [(0, len(lines))]
    begins = [at for at, line in enumerate(lines) if layout.first.search(line[:LONGEST_HEADER_LINE])]
    stray = next((at for at, line in enumerate(lines) if line.strip() and (not begins or at < begins[0])), None)
    if stray is not None:
        raise reading.error(
            f"expected the first header line of layout {layout.name}, found {header.shown(lines[stray])}",
            stray + 1,
            "Correct `first` in the layout, or remove the line",
        )
    return list(zip(begins, [*begins[1:], len(lines)], strict=True))


def _data_begins(reading: Reading, layout: Layout, lines: list[str], begin: int, end: int) -> int:
    if layout.lines is not None:
        data = begin + layout.lines
    else:
        assert layout.last is not None
        scanned = range(begin, min(end, begin + LONGEST_HEADER))
        data = next((i + 1 for i in scanned if layout.last.search(lines[i][:LONGEST_HEADER_LINE])), -1)
        if data < 0:
            raise reading.error(
                f"the last header line of layout {layout.name} was not found within {len(scanned)} lines",
                begin + 1,
                "Check that the file is whole, or correct `last` in the layout",
            )
    if data >= end:
        raise reading.error(
            "the header is there, no numbers follow it", end, "Check that the file is whole: copy it again"
        )
    return data


def _fields(reading: Reading, layout: Layout, lines: list[str], begin: int, data: int) -> dict[str, header.Field]:
    for at in range(begin, data):
        if len(lines[at]) > LONGEST_HEADER_LINE:
            raise reading.error(
                f"the header line is {len(lines[at])} characters long, at most {LONGEST_HEADER_LINE} are read",
                at + 1,
                "Check that the file is what it should be",
            )
    found = {key: rule.find(lines[begin:data], begin + 1) for key, rule in layout.rules.items()}
    return {key: field for key, field in found.items() if field is not None}


def _block(
    reading: Reading,
    layout: Layout,
    lines: list[str],
    begin: int,
    end: int,
    declared: int | None,
    name: str,
) -> tuple[NDArray[Any], tuple[Finding, ...]]:
    block = lines[begin:end]
    while block and not block[-1].strip():
        block.pop()
    rows = [_cells(line, layout.width) for line in block]
    found = sum(map(len, rows))
    short = declared is not None and found < declared
    at_end = begin + len(block) >= len(lines) and not reading.data.endswith(b"\n")
    if reading.missing == "truncate" and at_end and rows and (short or not _sound(rows[-1], layout.width)):
        # A file that stops inside a line may stop inside a number: none of that line can be trusted.
        rows.pop()
        block.pop()
        found, short = sum(map(len, rows)), True
    lengths_well = _lengths_well(rows, block, layout)
    samples = _fast(rows, block) if lengths_well else None
    if samples is None:
        samples = _precise(reading, layout, rows, block, begin, declared)
    if declared is not None and found > declared:
        raise reading.error(
            f"component {name}: {declared} samples are declared, {found} were found",
            begin + len(block),
            "Correct the declared number of samples, or remove what does not belong",
        )
    if short:
        where = f"line {begin + len(block)}"
        if reading.missing == "truncate":
            return samples, (header.cut_off(name, found, declared, where),)
        raise reading.error(
            f"component {name}: {declared} samples are declared, {found} were found",
            begin + len(block),
            f"The file may be cut off: copy it again, or read it with {header.TRUNCATE}",
        )
    return samples, ()


def _cells(line: str, width: int | None) -> list[str]:
    if width is None:
        return line.split()
    line = line.rstrip()
    return [line[i : i + width] for i in range(0, len(line), width)]


def _sound(row: list[str], width: int | None) -> bool:
    return all(header.usable_number(cell.strip()) and len(cell) == (width or len(cell)) for cell in row)


def _lengths_well(rows: list[list[str]], block: list[str], layout: Layout) -> bool:
    per_line = layout.values_per_line
    if per_line is not None and not (
        all(len(row) == per_line for row in rows[:-1]) and all(0 < len(row) <= per_line for row in rows[-1:])
    ):
        return False
    return layout.width is None or all(len(row[-1]) == layout.width for row in rows if row)


def _fast(rows: list[list[str]], block: list[str]) -> NDArray[Any] | None:
    """Return the numbers, or None where anything at all is unusual."""
    text = "".join(block)
    if not text.isascii() or "_" in text:
        return None
    cells = chain.from_iterable(rows)
    try:
        if re.search("[.eE]", text):
            samples = np.array(list(map(float, cells)), dtype=np.float64)
            return samples if np.isfinite(samples).all() else None
        return np.array(list(map(int, cells)), dtype=np.int64)
    except (ValueError, OverflowError):
        return None


def _precise(
    reading: Reading,
    layout: Layout,
    rows: list[list[str]],
    block: list[str],
    begin: int,
    declared: int | None,
) -> NDArray[Any]:
    """Return the numbers, or name the line and column of the first that is none."""
    read: list[str] = []
    per_line, width = layout.values_per_line, layout.width
    for index, row in enumerate(rows):
        at, last = begin + index + 1, index == len(rows) - 1
        cut = "The line may be damaged, or the layout wrong"
        ragged = width is not None and len(row) > 0 and len(row[-1]) != width
        whole = len(read) + len(row) - ragged
        if last and declared is not None and whole < declared:
            cut = (
                f"The file may be cut off: {whole} of {declared} declared samples were read. "
                f"Copy it again, or read it with {header.TRUNCATE}"
            )
        if ragged:
            raise reading.error(
                f"the line is {len(block[index].rstrip())} characters long, not a multiple of the width {width}",
                at,
                cut,
            )
        for position, cell in enumerate(row, 1):
            if not header.usable_number(cell.strip()):
                raise reading.error(
                    f"number {position} of the line: {header.bad_number(cell)}",
                    at,
                    "Mend it at its source: missing samples are never guessed",
                )
            read.append(cell.strip())
        if per_line is not None and not (len(row) == per_line or (last and 0 < len(row) < per_line)):
            raise reading.error(f"expected {per_line} numbers, found {len(row)}", at, cut)
    return header.as_numbers(read)


def write_text(record: Record, path: str | Path, layout: str | Path) -> None:
    """Write a record as a text file of a layout, so that reading it gives the same samples bit for bit.

    Parameters
    ----------
    record : Record
    path : str or Path
        The file to write; an existing one is replaced.
    layout : str or Path
        A ready layout (``"harbour"``, ``"ridge"``) or a layout file with a ``[write]`` table.

    Raises
    ------
    SettingsError
        The layout says nothing of writing.
    RecordError
        The layout cannot hold this record: it would not read back the same; or the file cannot be written.
    """
    plan = load_layout(layout)
    if plan.written_header is None:
        raise SettingsError(
            "the layout has no [write] table with a header", source=str(layout), remedy="Add one, or use write_csv"
        )
    text = "".join(_written(record, component, plan) for component in record)
    data = text.encode(plan.encoding, errors="replace")
    try:
        back = read_text(Reading(record.source.file or "the record", data), plan)
        lost = None if _same(record, back) else "something in it would be lost"
    except RecordError as error:
        lost = error.what
    if lost:
        raise RecordError(
            f"the layout {plan.name} cannot hold this record: {lost}",
            source=record.source.file or None,
            remedy="Write it with another layout, or with write_csv",
        )
    save(path, data)


def _written(record: Record, component: Component, plan: Layout) -> str:
    words = {key: "" if text is None else text for key, text in described(record, component).items()}
    kind = plan.written_floats if component.samples.dtype.kind == "f" else plan.written_integers
    if kind is None:
        raise RecordError(
            f"the layout {plan.name} does not hold numbers such as component {component.name}'s "
            f"({component.samples.dtype})",
            source=record.source.file or None,
            remedy="Write it with another layout, or with write_csv",
        )
    assert plan.written_header is not None
    try:
        head = plan.written_header.format(**words)
        cells = [format(value, kind) for value in component.samples.tolist()]
    except (KeyError, IndexError, ValueError, AttributeError) as error:
        raise SettingsError(
            f"[write] of layout {plan.name} cannot be filled in: {error}",
            remedy=f"Use these in its header: {', '.join(QUANTITIES)}",
        ) from None
    between = "" if plan.width is not None else " "
    step = plan.values_per_line or 1
    body = "".join(between.join(cells[i : i + step]) + "\n" for i in range(0, len(cells), step))
    return head + body


def described(record: Record, component: Component) -> dict[str, str | None]:
    """Return a component's quantities as the texts a file holds; None where not known."""
    station = record.station

    def exact(value: float | None) -> str | None:
        return None if value is None else repr(float(value))

    return {
        "station": station.code,
        **{key: getattr(station, key) for key in ("network", "location", "name", "instrument")},
        **{key: exact(getattr(station, key)) for key in ("latitude", "longitude", "elevation")},
        "dt": exact(component.dt),
        "sampling_rate": exact(1 / component.dt),
        "samples": str(len(component)),
        "start": None if component.start is None else f"{component.start}Z",
        "component": component.name,
        "channel": component.channel,
        "unit": component.unit,
        "scale": None,
        **{key: exact(getattr(component, key)) for key in ("sensitivity", "azimuth", "dip")},
    }


def save(path: str | Path, data: bytes) -> None:
    """Write a file's bytes."""
    try:
        Path(path).expanduser().write_bytes(data)
    except OSError as error:
        raise RecordError(
            f"the file cannot be written ({error.strerror or error})",
            source=str(path),
            remedy="Choose another place, or free this one",
        ) from None


def _same(one: Record, two: Record) -> bool:
    """Whether two records agree in all but the width of their numbers, their source and findings."""
    return (
        one.station == two.station
        and one.names == two.names
        and all(
            described(one, a) == described(two, b)
            and a.samples.dtype.kind == b.samples.dtype.kind
            and a.samples.tolist() == b.samples.tolist()
            for a, b in zip(one, two, strict=True)
        )
    )
