"""Text files of numbers, read and written by a layout: a TOML file that says where things stand.

A file holds one component, or several one after another, each with its own header and block of numbers, or several side
by side in the columns of one block.

``name``, ``description``
    Of the layout.
``recognise``
    A pattern (regular expression) found in one of the first 20 lines of every such file, and of no other.
``encoding``
    Of the file, UTF-8 unless given.
``[header]``
    ``first``: a pattern of the first header line of every component; without it the file has one header. ``lines``: the
    number of header lines, or ``last``: a pattern of the last of them.
``[header.dt]``, ``[header.unit]`` and so on, for each of `QUANTITIES`
    Where it stands: ``line`` (from 1 at ``first``) with ``columns = [first, last]`` (from 1), or ``pattern`` with one
    group, searched in that line and those columns, or in every header line; or a constant ``value``. Needed are ``dt``
    in s or ``sampling_rate`` in Hz, unless a column holds the time; and ``unit`` unless the caller gives it. ``scale``
    turns samples into ``unit``.
``[file.station]`` and so on
    The same for what stands once, above the first component's header.
``[component.<label>.azimuth]`` and so on
    The same for one component of those side by side, looked for in the header.
``[block]``
    ``columns``: the labels of components side by side, ``"time"`` for seconds, ``"-"`` for one to pass over.
    ``values_per_line``, if all lines but the last hold as many; ``width`` in characters, if numbers stand in columns of
    one width, or a list of widths; else they stand between blanks, or a ``delimiter``. ``margin``: characters to pass
    over at the left. ``decimal = ","``, in the header too; ``exponent``: a letter used for e, such as D. ``comment``: a
    mark that begins lines to pass over. ``until``: a pattern of the first line after the numbers; ``trailer``: how many
    lines come after.
``[write]``
    To write such files: the ``header``, with quantities in curly brackets, and how to print ``integers`` and
    ``floats`` (Python format specifications); leave one out if the layout cannot hold it.

Patterns cannot hang: see `patterns`. Two ready layouts stand in the folder ``layouts``, and serve as examples.
"""

from __future__ import annotations

import difflib
import functools
import itertools
import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, fields
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..foundation.errors import RecordError, SettingsError
from ..foundation.files import write_whole
from ..record import Component, Finding, Record
from . import header
from .header import NUMERIC, QUANTITIES, Field, Reading
from .lines import LONGEST_HEADER_LINE, Block, Lines, typed
from .patterns import Pattern, PatternError
from .time_column import interval_from_times, jitter, printed_place

LONGEST_HEADER = 200
MOST_COMPONENTS = 1000
LARGEST_PLACE = 1_000_000
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
    pattern: Pattern | None = None
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


Rules = Mapping[str, Rule]


@dataclass(frozen=True)
class Layout:
    """How one kind of text file is laid out; see the module's docstring."""

    name: str
    description: str
    recognise: Pattern | None
    encoding: str
    first: Pattern | None
    lines: int | None
    last: Pattern | None
    rules: Rules
    of_file: Rules | None
    of_component: Mapping[str, Rules]
    block: Block
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
        text = path.expanduser().read_bytes().decode("utf-8")
    except (OSError, RuntimeError) as error:
        raise SettingsError(
            f"the layout cannot be read ({getattr(error, 'strerror', None) or error})",
            source=str(layout),
            remedy=f"Give the path of a layout file, or the name of a ready layout ({', '.join(ready)})",
        ) from None
    except UnicodeDecodeError as error:
        raise SettingsError(f"the layout is not UTF-8: {error}", source=path.name, remedy="Save it as UTF-8") from None
    except ValueError as error:  # a name no system allows
        raise SettingsError(f"the layout cannot be read ({error})", source=str(layout), remedy="Correct it") from None
    return layout_from_text(text, path.name)


def layout_from_text(text: str, file: str) -> Layout:
    """Return the layout that a TOML text gives; `file` is for messages.

    Raises
    ------
    SettingsError
        Something in it is unknown, missing or of the wrong type.
    """
    try:
        table = tomllib.loads(text)
    except (ValueError, RecursionError) as error:
        raise SettingsError(f"the layout is not TOML: {error}", source=file, remedy="Correct it") from None
    return _layout_from(table, file)


def _layout_from(table: dict[str, Any], file: str) -> Layout:
    keys = ("name", "description", "recognise", "encoding", "file", "header", "component", "block", "write")
    top = _Table(table, file, "the layout", keys)
    head = _Table(top.get("header", dict, {}), file, "[header]", ("first", "lines", "last", *QUANTITIES))
    write = _Table(top.get("write", dict, {}), file, "[write]", ("header", "integers", "floats"))
    encoding = top.get("encoding", str, "utf-8")
    try:
        plain = "0123 -.\n".encode(encoding) == b"0123 -.\n"
    except (LookupError, UnicodeError):
        raise top.error(f"unknown encoding {encoding!r}", "Use utf-8, latin-1 or another of Python's") from None
    if not plain:
        raise top.error(f"encoding {encoding!r} does not write digits as ASCII does", "Save the files as utf-8")
    lines, last = head.whole("lines", least=0), head.pattern("last")
    if (lines is None) == (last is None):
        raise head.error(
            "the end of the header must be told in one way",
            "Give lines = the number of header lines, or last = a pattern of the last one",
        )
    first = head.pattern("first")
    block = _block_from(top, file)
    of_file = None
    if "file" in table:
        if first is None:
            raise top.error("[file] needs a `first` in [header]", "Say how a component's header begins")
        of_file = _rules(_Table(top.get("file", dict, {}), file, "[file]", QUANTITIES), None)
    labels = [label for label in block.columns if label not in ("-", "time")]
    parts = _Table(top.get("component", dict, {}), file, "[component]", labels)
    of_component = {
        label: _rules(_Table(parts.get(label, dict, {}), file, f"[component.{label}]", QUANTITIES), lines)
        for label in parts.table
    }
    rules = _rules(head, lines)
    if not {"dt", "sampling_rate"} & {*rules, *(of_file or ())} and "time" not in block.columns:
        raise head.error("no sampling interval is given", "Add [header.dt] or [header.sampling_rate]")
    written = write.get("header", str, None)
    if written is not None and (block != Block(values_per_line=block.values_per_line, width=block.width)):
        raise write.error("such a block can be read, not written", "Remove [write]")
    return Layout(
        name=top.get("name", str, Path(file).stem),
        description=top.get("description", str, ""),
        recognise=top.pattern("recognise"),
        encoding=encoding,
        first=first,
        lines=lines,
        last=last,
        rules=rules,
        of_file=of_file,
        of_component=of_component,
        block=block,
        written_header=written,
        written_integers=write.get("integers", str, None),
        written_floats=write.get("floats", str, None),
    )


def _block_from(top: _Table, file: str) -> Block:
    names = tuple(item.name for item in fields(Block))
    block = _Table(top.get("block", dict, {}), file, "[block]", names)

    def character(key: str, allowed: str) -> str:
        text = block.get(key, str, "")
        if text and (len(text) != 1 or text not in allowed):
            raise block.error(f"{key} must be one of {' '.join(map(repr, allowed))}, found {text!r}", f"Correct {key}")
        return str(text)

    columns = block.get("columns", list, [])
    if not all(isinstance(label, str) and label for label in columns) or columns.count("time") > 1:
        raise block.error(f"columns must be labels, found {columns}", 'Write columns = ["time", "H1", "-", "V"]')
    if columns and not set(columns) - {"-", "time"}:
        raise block.error("columns name no component", 'Write columns = ["time", "H1", "H2", "V"]')
    width: Any = block.table.get("width")
    if isinstance(width, list):
        if not width or not all(type(one) is int and 0 < one <= LARGEST_PLACE for one in width):
            raise block.error(f"width must be whole numbers above 0, found {width}", "Correct width")
        if columns and len(columns) != len(width):
            raise block.error(f"{len(width)} widths for {len(columns)} columns", "Give each column its width")
        width = tuple(width)
    else:
        width = block.whole("width", least=1)
    made = Block(
        columns=tuple(columns),
        values_per_line=block.whole("values_per_line", least=1),
        width=width,
        delimiter=character("delimiter", ",;\t|:"),
        margin=block.whole("margin", least=0) or 0,
        decimal=character("decimal", ".,") or ".",
        exponent=character("exponent", "DdQq^*"),
        comment=block.get("comment", str, ""),
        until=block.pattern("until"),
        trailer=block.whole("trailer", least=0) or 0,
    )
    if made.delimiter and (made.width is not None or made.delimiter == made.decimal):
        other = "width" if made.width is not None else f"the decimal {made.decimal!r}"
        raise block.error(f"a delimiter cannot stand beside {other}", "Remove one of them")
    if made.columns and made.values_per_line is not None:
        raise block.error("columns already say how many numbers a line holds", "Remove values_per_line")
    return made


def _rules(table: _Table, lines: int | None) -> Rules:
    return {quantity: _rule(table, quantity, lines) for quantity in QUANTITIES if quantity in table.table}


def _rule(head: _Table, quantity: str, header_lines: int | None) -> Rule:
    name = f"{head.name[:-1]}.{quantity}]"
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
        if value is not None and value > LARGEST_PLACE:
            raise self.error(f"{key} must be at most {LARGEST_PLACE}, found {value}", f"Correct {key}")
        return value

    def pattern(self, key: str, groups: int | None = None) -> Pattern | None:
        text = self.get(key, str, None)
        if text is None:
            return None
        if len(text) > 500:
            raise self.error(f"{key} is longer than 500 characters", f"Shorten {key}")
        try:
            pattern = Pattern(text)
        except PatternError as error:
            raise self.error(f"{key} is not a regular expression that can be used: {error}", f"Correct {key}") from None
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
    return _Reader(reading, layout).record()


class _Reader:
    """A text file, its lines found but not yet taken out, and the layout it is read by."""

    def __init__(self, reading: Reading, layout: Layout) -> None:
        self.reading, self.layout = reading, layout
        remedy = 'Set the file\'s encoding in the layout (encoding = "latin-1"), if the file is not damaged'
        self.lines = Lines(reading, layout.encoding, remedy)

    def record(self) -> Record:
        components: list[Component] = []
        findings: list[Finding] = []
        station = None
        shared: dict[str, Field] = {}
        for number, (begin, end) in enumerate(self.sections()):
            if number == 0 and self.layout.of_file is not None:
                shared = self.fields(self.layout.of_file, 0, begin)
            data = self.data_begins(begin, end)
            fields = {**shared, **self.fields(self.layout.rules, begin, data)}
            read, said = self.components(fields, begin, data, end)
            components.extend(read)
            findings.extend(said)
            here = header.station_of(self.reading, fields)
            if station is not None and here != station:
                raise self.reading.error(
                    f"component {read[0].name} comes from another station than the first",
                    begin + 1,
                    "A record holds the components of one instrument: split the file",
                )
            station = here
        assert station is not None
        return self.reading.record(components, station, f"text, layout {self.layout.name}", findings)

    def sections(self) -> list[tuple[int, int]]:
        """Return the lines from which to which each header and its block stand."""
        if self.layout.first is None:
            return [(0, self.lines.count)]
        begins = list(itertools.islice(self.lines.found(self.layout.first, 0, self.lines.count), MOST_COMPONENTS + 1))
        if len(begins) > MOST_COMPONENTS:
            raise self.reading.error(
                f"more than {MOST_COMPONENTS} components begin in this file",
                begins[-1] + 1,
                "Correct `first` in the layout",
            )
        above = range(min(begins[0] if begins else self.lines.count, self.lines.count))
        stray = next((at for at in above if self.lines.line(at).strip()), None)
        if not begins or (stray is not None and self.layout.of_file is None):
            at = stray or 0
            found = header.shown(self.lines.line(at))
            raise self.reading.error(
                f"expected the first header line of layout {self.layout.name}, found {found}",
                at + 1,
                "Correct `first` in the layout, or remove the line",
            )
        return list(zip(begins, [*begins[1:], self.lines.count], strict=True))

    def data_begins(self, begin: int, end: int) -> int:
        layout = self.layout
        if layout.lines is not None:
            data = begin + layout.lines
        else:
            assert layout.last is not None
            scanned = min(end, begin + LONGEST_HEADER)
            data = next(self.lines.found(layout.last, begin, scanned), -2) + 1
            if data < 0:
                raise self.reading.error(
                    f"the last header line of layout {layout.name} was not found within {scanned - begin} lines",
                    begin + 1,
                    "Check that the file is whole, or correct `last` in the layout",
                )
        if data >= end:
            raise self.reading.error(
                "the header is there, no numbers follow it", end, "Check that the file is whole: copy it again"
            )
        return data

    def fields(self, rules: Rules, begin: int, end: int) -> dict[str, Field]:
        if end - begin > LONGEST_HEADER:
            raise self.reading.error(
                f"the header has {end - begin} lines, at most {LONGEST_HEADER} are read",
                begin + 1,
                "Check that the file is what it should be",
            )
        lines = []
        for at in range(begin, end):
            lines.append(self.lines.line(at))
            if len(lines[-1]) > LONGEST_HEADER_LINE:
                raise self.reading.error(
                    f"the header line is {len(lines[-1])} characters long, at most {LONGEST_HEADER_LINE} are read",
                    at + 1,
                    "Check that the file is what it should be",
                )
        found = {key: rule.find(lines, begin + 1) for key, rule in rules.items()}
        comma = self.layout.block.decimal == ","
        return {
            key: field._replace(text=field.text.replace(",", ".")) if comma and key in NUMERIC else field
            for key, field in found.items()
            if field is not None
        }

    def components(
        self, fields: dict[str, Field], begin: int, data: int, end: int
    ) -> tuple[list[Component], list[Finding]]:
        """Return the components of one section: one, or those side by side."""
        reading, block = self.reading, self.layout.block
        dt = header.interval(reading, fields)
        declared = header.declared_samples(reading, fields)
        if not block.columns:
            name = header.direction(fields["component"].text)[0] if "component" in fields else "H1"
            (samples,), cut = self.block(data, end, declared, f"component {name}: ", name)
            component, notes = header.component_of(reading, fields, samples, dt, begin + 1)
            return [component], [*cut, *notes]
        columns, found = self.block(data, end, declared, "", "")
        components, findings = [], list(found)
        if "time" in block.columns:
            at = block.columns.index("time")
            rows = [self.lines.line(i) for i in self.numbered[:50]] + [self.lines.line(i) for i in self.numbered[-50:]]
            place = printed_place([block.number(block.cells(row)[at]) for row in rows])
            times = columns[at].astype(float)
            dt = interval_from_times(reading, times, place, int(self.numbered[0]) + 1, dt)
            findings.extend(jitter(times, dt, place))
        for label, samples in zip(block.columns, columns, strict=True):
            if label not in ("-", "time"):
                own = self.fields(self.layout.of_component.get(label, {}), begin, data)
                described = {**fields, "component": Field(label), **own}
                component, notes = header.component_of(reading, described, samples, dt, begin + 1)
                components.append(component)
                findings.extend(notes)
        return components, findings

    def block(
        self, begin: int, end: int, declared: int | None, whose: str, name: str
    ) -> tuple[list[NDArray[Any]], tuple[Finding, ...]]:
        """Return the numbers of a block, an array a column (one where there are none)."""
        reading, block = self.reading, self.layout.block
        per_line = len(block.columns) or block.values_per_line
        numbered: NDArray[np.int32]
        numbered = self.lines_of_numbers(begin, end)
        at_end = numbered.size and numbered[-1] >= self.lines.count - 1 and not reading.data.endswith(b"\n")
        in_row = max(len(block.columns), 1)
        quick = self.lines.numbers(numbered, block)
        texts = (block.cells(self.lines.line(int(at))) for at in numbered)
        found = sum(map(len, texts)) if quick is None else len(quick[0])
        short = declared is not None and found < declared * in_row
        if reading.missing == "truncate" and at_end:
            last = block.cells(self.lines.line(int(numbered[-1])))
            if short or not self.sound(last):
                # A file that stops inside a line may stop inside a number: none of that line can be trusted.
                numbered, found, short = numbered[:-1], found - len(last), True
        if not numbered.size:
            raise reading.error("the header is there, no numbers follow it", begin, "Check that the file is whole")
        self.numbered = numbered
        where = int(numbered[-1]) + 1 if numbered.size else begin
        if quick is None:
            columns = self.precise(numbered, per_line, declared)
        else:
            values, fractions = quick[0][:found], quick[1][:found]
            columns = [typed(values[i::in_row], fractions[i::in_row]) for i in range(in_row)]
        count = found // in_row
        if declared is not None and count > declared:
            raise reading.error(
                f"{whose}{declared} samples are declared, {count} were found",
                where,
                "Correct the declared number of samples, or remove what does not belong",
            )
        if short:
            if reading.missing == "truncate":
                return columns, (header.cut_off(name, count, declared, f"line {where}"),)
            raise reading.error(
                f"{whose}{declared} samples are declared, {count} were found",
                where,
                f"The file may be cut off: copy it again, or read it with {header.TRUNCATE}",
            )
        return columns, ()

    def lines_of_numbers(self, begin: int, end: int) -> NDArray[np.int32]:
        """Return the lines that hold numbers: without trailer and comments."""
        block = self.layout.block
        if block.until is not None:
            end = next(self.lines.found(block.until, begin, end), end)
        end = max(begin, self.lines.last_full(begin, end) - block.trailer)
        numbered = np.arange(begin, self.lines.last_full(begin, end), dtype=np.int32)
        if block.comment and numbered.size:
            mark = block.comment.encode(self.layout.encoding, errors="replace")
            data = self.reading.data
            if data.find(mark, self.lines.begins[begin]) >= 0:
                of = [not data[self.lines.begins[i] : self.lines.ends[i]].lstrip().startswith(mark) for i in numbered]
                numbered = numbered[np.array(of)]
        return numbered

    def sound(self, row: list[str]) -> bool:
        block = self.layout.block
        width = block.width if isinstance(block.width, int) else None
        whole = not block.columns or len(row) == len(block.columns)
        return whole and all(
            header.usable_number(block.number(cell)) and len(cell) == (width or len(cell)) for cell in row
        )

    def precise(self, numbered: NDArray[np.int32], per_line: int | None, declared: int | None) -> list[NDArray[Any]]:
        """Return the numbers of each column, or name the line and place of the first that is none."""
        if (odd := self.lines.odd) is not None and odd[0] < len(numbered):
            self.by_text(numbered, odd[0], odd[0] + 1, odd[1], per_line, declared)  # what stopped the compiled reader
        return self.by_text(numbered, 0, len(numbered), 0, per_line, declared)

    def by_text(
        self, numbered: NDArray[np.int32], begin: int, end: int, before: int, per_line: int | None, declared: int | None
    ) -> list[NDArray[Any]]:
        """Return the numbers on lines `begin` to `end`, text by text; `before` are on the lines above."""
        block, width = self.layout.block, self.layout.block.width
        columns = [header.Numbers() for _ in block.columns or ("",)]
        for index in range(begin, end):
            line = int(numbered[index])
            at, last = line + 1, index == len(numbered) - 1
            row = block.cells(self.lines.line(line))
            cut = "The line may be damaged, or the layout wrong"
            ragged = isinstance(width, int) and len(row) > 0 and len(row[-1]) != width
            whole = index if block.columns else before + len(columns[-1]) + len(row) - ragged
            if last and declared is not None and whole < declared:
                cut = (
                    f"The file may be cut off: {whole} of {declared} declared samples were read. "
                    f"Copy it again, or read it with {header.TRUNCATE}"
                )
            if ragged:
                long = len(self.lines.line(line)[block.margin :].rstrip())
                raise self.reading.error(
                    f"the line is {long} characters long, not a multiple of the width {width}", at, cut
                )
            for position, cell in enumerate(row):
                text = block.number(cell)
                if block.columns[position : position + 1] == ("-",):
                    text = "0"  # passed over, whatever it is
                elif not header.usable_number(text):
                    raise self.reading.error(
                        f"number {position + 1} of the line: {header.bad_number(cell)}",
                        at,
                        "Mend it at its source: missing samples are never guessed",
                    )
                columns[position % len(columns)].add(text)
            if per_line is not None and not (
                len(row) == per_line or (last and 0 < len(row) < per_line and not block.columns)
            ):
                raise self.reading.error(f"expected {per_line} numbers, found {len(row)}", at, cut)
        return [column.array() for column in columns]


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
    between = "" if plan.block.width is not None else " "
    step = plan.block.values_per_line or 1
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
    """Write a file, whole or not at all."""
    write_whole(Path(path).expanduser(), data, replace=True, kind=RecordError)


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
