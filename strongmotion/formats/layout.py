"""Layouts: TOML files that describe where a text file of numbers holds its data.

A file holds one component; or several in sequence, each with its own header and block of numbers; or several side by
side in the columns of one block.

``name``, ``description``
    Name and description of the layout.
``recognise``
    A pattern (regular expression) that matches one of the first 20 lines of every such file, and of no other file.
``encoding``
    Encoding of the file; UTF-8 by default.
``[header]``
    ``first``: a pattern of the first header line of every component; without it the file has one header. ``lines``: the
    number of header lines, or ``last``: a pattern of the last of them.
``[header.dt]``, ``[header.unit]`` and so on, for each of `QUANTITIES`
    The place of the quantity: ``line`` (from 1 at ``first``) with ``columns = [first, last]`` (from 1), or ``pattern``
    with one group, searched in that line and those columns, or in every header line; or a constant ``value``. Required
    are ``dt`` in s or ``sampling_rate`` in Hz, unless a column holds the time, and ``unit``, unless the caller gives
    it. ``scale`` turns samples into ``unit``. ``file_name`` is a pattern searched in the file name instead. ``unit`` is
    the unit of the number (``"ms"``, ``"km"``, ``"counts/g"``; for ``scale`` the value of one count, such as
    ``"gal"``). ``times`` and ``over`` are further rules, by whose numbers it is multiplied or divided; ``factor`` is a
    constant factor. The start may be in parts: ``date``, ``time`` and ``zone``. ``order`` (``"dmy"``, ``"mdy"``) is the
    order of day and month; ``zone`` (``"+05:30"``) is the offset of the clock from UTC if the file does not state it.
    ``azimuth`` may be written as ``N35E`` or as a compass word, coordinates in degrees and minutes with the letter of a
    hemisphere. ``"?"`` instead of a rule leaves a quantity open: the file is not read until the rule is filled in or
    the quantity is given by an option. ``order``: names of the components in the order of their blocks, if the file
    does not name them. ``skip``: a pattern of headers whose blocks are skipped. ``lines`` may be a rule if the file
    states the length of its header.
``[record.start]`` and so on
    The same for quantities stated once for each record of a file of several records; needs ``found`` in [block]. Its
    ``first`` is a pattern of the line that begins a record.
``[file.station]`` and so on
    The same for quantities stated once, above the header of the first component.
``[component.<label>.azimuth]`` and so on
    The same for one of several components side by side, searched in the header.
``[block]``
    ``columns``: the labels of components side by side, ``"time"`` for seconds (or ``time_unit = "ms"``), ``"clock"``
    for date and time of day, ``"-"`` for a column to skip; with ``values_per_line`` the columns repeat along the line.
    ``values_per_line``: the number of values on every line but the last. ``width``: the width of the numbers in
    characters, or a list of widths; without it, numbers are separated by blanks or by ``delimiter``. ``margin``:
    characters to skip at the left. ``decimal = ","``: also applies to the header. ``exponent``: a letter used for e,
    such as D. ``comment``: a mark that begins lines to skip. ``until``: a pattern of the first line after the numbers.
    ``trailer``: the number of lines after them. ``counted = true``: the numbers end after the declared number of
    samples. ``last_column``: the last character read from a line. ``found``: the number of blocks. Each run of lines
    that hold only numbers is then a block, the lines above it are its header, and ``first`` is not needed.
``format``, ``path``
    ``format = "json"`` or ``"matlab"``: see `tables`; ``path`` replaces line, columns and pattern.
``[write]``
    For writing such files: the ``header``, with quantities in curly brackets, and the Python format specifications of
    ``integers`` and ``floats``. Omit a kind of number that the layout cannot hold.

Patterns cannot hang; see `patterns`. The built-in layouts in the folder ``layouts`` serve as examples.
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

from ..foundation.errors import SettingsError
from . import header
from .header import QUANTITIES, Field
from .lines import LONGEST_HEADER_LINE, Block
from .patterns import Pattern, PatternError
from .phrases import unit_at, zone_in

LONGEST_HEADER = 200
MOST_COMPONENTS = 1000
LARGEST_PLACE = 1_000_000
_LINES_RECOGNISED = 20
NO_COMPONENT = ("-", "time", "clock")
_READY = Path(__file__).parent / "layouts"


MOMENT = ("date", "time", "zone")
"""Parts from which a start time may be assembled."""

RULES = (*QUANTITIES, "processed", *MOMENT)
OPEN = "?"
_KINDS = {"dt": "time", "sampling_rate": "frequency", "elevation": "length", "sensitivity": "counts per acceleration"}


@dataclass(frozen=True)
class Rule:
    """The place of a quantity in a header.

    `line` counts from 1 in the component's header; `columns` are its first and last column, from 1; `pattern` is
    searched in those columns of that line, or in every line until it matches, and its one group is the text;
    `file_name` is searched in the file name; `value` is a constant. A number is multiplied by `factor` and by the
    numbers of the rules in `times`, divided by those of the rules in `over`, and converted from `unit` to the unit of
    the quantity.
    """

    line: int | None = None
    columns: tuple[int, int] | None = None
    pattern: Pattern | None = None
    value: str | None = None
    file_name: Pattern | None = None
    path: str = ""
    unit: str = ""
    factor: float = 1.0
    times: tuple[Rule, ...] = ()
    over: tuple[Rule, ...] = ()
    order: str = ""
    zone: str = ""

    @property
    def is_open(self) -> bool:
        """Whether the layout leaves the quantity open."""
        return self.value == OPEN

    @property
    def is_number(self) -> bool:
        """Whether the rule changes the number it finds."""
        return bool(self.unit or self.times or self.over) or self.factor != 1.0

    def find(self, lines: list[str], first_line: int, name: str = "") -> Field | None:
        """Return the quantity's text and line in the file, or None."""
        if self.value is not None:
            return Field(self.value)
        if self.file_name is not None:
            named = self.file_name.search(name)
            return Field((named[1] or "").strip()) if named else None
        numbered = list(enumerate(lines, first_line))
        for at, text in numbered if self.line is None else numbered[self.line - 1 : self.line]:
            part = text if self.columns is None else text[self.columns[0] - 1 : self.columns[1]]
            if self.pattern is None:
                return Field(part.strip(), at)
            if match := self.pattern.search(part):
                return Field((match[1] or "").strip(), at)
        return None

    def number(self, lines: list[str], first_line: int, name: str, comma: bool) -> Field | None:
        """Return the number as text, in the unit of the quantity; text that is not a number is returned unchanged."""
        found = self.find(lines, first_line, name)
        if found is None or not found.text:
            return found
        text = found.text.replace(",", ".") if comma else found.text
        if not header.usable_number(text):
            return found._replace(text=text)
        value = float(text) * self.factor * (_worth(self.unit) if self.unit else 1.0)
        for rule, over in [(one, False) for one in self.times] + [(one, True) for one in self.over]:
            other = rule.number(lines, first_line, name, comma)
            if other is None or not header.usable_number(other.text) or (over and float(other.text) == 0):
                return found._replace(text=f"{text}, without its factor")
            value = value / float(other.text) if over else value * float(other.text)
        return found._replace(text=repr(value))


def _worth(unit: str) -> float:
    known = unit_at(unit)
    return known.factor if known is not None else 1.0


Rules = Mapping[str, Rule]


@dataclass(frozen=True)
class Layout:
    """The layout of one kind of text file; see the module's docstring."""

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
    of_record: Rules
    record_first: Pattern | None
    block: Block
    length: Rule | None
    skip: Pattern | None
    order: tuple[str, ...]
    format: str
    written_header: str | None
    written_integers: str | None
    written_floats: str | None

    def recognises(self, head: bytes) -> bool:
        """Whether the start of a file matches `recognise`; always true without that pattern."""
        if self.recognise is None:
            return True
        lines = head.decode(self.encoding, errors="replace").split("\n", _LINES_RECOGNISED)[:_LINES_RECOGNISED]
        return any(self.recognise.search(line[:LONGEST_HEADER_LINE]) for line in lines)


@functools.cache
def ready_layouts() -> tuple[str, ...]:
    """Return the names of the built-in layouts."""
    return tuple(sorted(path.stem for path in _READY.glob("*.toml")))


@functools.cache
def ready_layout(name: str) -> Layout:
    """Return a built-in layout."""
    return load_layout(name)


def load_layout(layout: str | Path) -> Layout:
    """Load a layout by the name of a built-in one, or from a TOML file.

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
            remedy=f"Give the path of a layout file, or the name of a built-in layout ({', '.join(ready)})",
        ) from None
    except UnicodeDecodeError as error:
        raise SettingsError(f"the layout is not UTF-8: {error}", source=path.name, remedy="Save it as UTF-8") from None
    except ValueError as error:  # a file name that the system does not allow
        raise SettingsError(f"the layout cannot be read ({error})", source=str(layout), remedy="Correct it") from None
    return layout_from_text(text, path.name)


def layout_from_text(text: str, file: str) -> Layout:
    """Return the layout described by a TOML text; `file` is for messages.

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
    keys = (
        "name",
        "description",
        "recognise",
        "encoding",
        "format",
        "file",
        "record",
        "header",
        "component",
        "block",
        "write",
    )
    top = _Table(table, file, "the layout", keys)
    head = _Table(top.get("header", dict, {}), file, "[header]", ("first", "lines", "last", "order", "skip", *RULES))
    format_ = top.get("format", str, "text")
    if format_ not in ("text", "json", "matlab"):
        raise top.error(f"format must be text, json or matlab, found {format_!r}", "Correct format")
    write = _Table(top.get("write", dict, {}), file, "[write]", ("header", "integers", "floats"))
    encoding = top.get("encoding", str, "utf-8")
    try:
        plain = "0123 -.\n".encode(encoding) == b"0123 -.\n"
    except (LookupError, UnicodeError):
        raise top.error(f"unknown encoding {encoding!r}", "Use utf-8, latin-1 or another of Python's") from None
    if not plain:
        raise top.error(f"encoding {encoding!r} does not encode digits as ASCII does", "Save the files as utf-8")
    length = None
    if isinstance(head.table.get("lines"), dict):
        length, lines = _rule(head, "lines", None), None
    else:
        lines = head.whole("lines", least=0)
    last = head.pattern("last")
    first = head.pattern("first")
    block = _block_from(top, file)
    ways = (lines is not None) + (last is not None) + (length is not None)
    if format_ == "text" and ways != 1 and (block.found is None or ways > 1):
        raise head.error(
            "the end of the header must be given in exactly one way",
            "Give lines = the number of header lines, or last = a pattern of the last one",
        )
    if block.found is not None and (first is not None or last is not None or length is not None):
        raise head.error("`found` cannot be combined with first, last or the length of the header", "Remove either")
    order = head.get("order", list, [])
    if not all(isinstance(name, str) for name in order) or len(set(order)) < len(order):
        raise head.error(f"order must be a list of unique names, found {order}", 'Write order = ["H1", "V", "H2"]')
    each = _Table(top.get("record", dict, {}), file, "[record]", ("first", *RULES))
    if "record" in table and (each.pattern("first") is None or block.found is None):
        raise each.error(
            "[record] needs its `first`, and `found` in [block]", "Give the pattern that begins a record's header"
        )
    of_file = None
    if "file" in table:
        if first is None and block.found is None and format_ == "text":
            raise top.error("[file] needs a `first` in [header]", "Give the pattern that begins a component's header")
        of_file = _rules(_Table(top.get("file", dict, {}), file, "[file]", RULES), None)
    labels = [str(name) for name in order] or [
        label for label in (*block.columns, *dict(block.paths)) if label not in NO_COMPONENT
    ]
    parts = _Table(top.get("component", dict, {}), file, "[component]", labels)
    of_component = {
        label: _rules(_Table(parts.get(label, dict, {}), file, f"[component.{label}]", RULES), None)
        for label in parts.table
    }
    rules = _rules(head, lines)
    if (format_ != "text") != bool(block.paths) or (block.paths and set(dict(block.paths)) <= {*NO_COMPONENT}):
        raise top.error(
            "layouts of JSON and MATLAB files, and only these, have paths in [block]", 'Write paths = {H1 = "data.ns"}'
        )
    of_each = set(itertools.chain(*of_component.values()))
    if not {"dt", "sampling_rate"} & {*rules, *(of_file or ()), *of_each, *each.table} and not {"time", "clock"} & {
        *block.columns,
        *dict(block.paths),
    }:
        raise head.error("no sampling interval is given", 'Add [header.dt] or [header.sampling_rate], or dt = "?"')
    written = write.get("header", str, None)
    if written is not None and (block != Block(values_per_line=block.values_per_line, width=block.width)):
        raise write.error("such a block can only be read, not written", "Remove [write]")
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
        of_record=_rules(each, None),
        record_first=each.pattern("first"),
        block=block,
        length=length,
        skip=head.pattern("skip"),
        order=tuple(order),
        format=format_,
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
    if (
        not all(isinstance(label, str) and label for label in columns)
        or columns.count("time") + bool(columns.count("clock")) > 1
    ):
        raise block.error(f"columns must be labels, found {columns}", 'Write columns = ["time", "H1", "-", "V"]')
    if columns and not set(columns) - {*NO_COMPONENT}:
        raise block.error("columns name no component", 'Write columns = ["time", "H1", "H2", "V"]')
    width: Any = block.table.get("width")
    if isinstance(width, list):
        if not width or not all(type(one) is int and 0 < one <= LARGEST_PLACE for one in width):
            raise block.error(f"width must be whole numbers above 0, found {width}", "Correct width")
        if columns and len(width) not in (len(columns), block.table.get("values_per_line")):
            raise block.error(f"{len(width)} widths for {len(columns)} columns", "Give one width for each column")
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
        last_column=block.whole("last_column", least=1),
        counted=bool(block.get("counted", bool, False)),
        found=block.whole("found", least=1),
        time_unit=block.get("time_unit", str, "s"),
        paths=_paths(block),
    )
    if (known := unit_at(made.time_unit)) is None or known.kind != "time":
        raise block.error(f"time_unit must be a unit of time, found {made.time_unit!r}", 'Write time_unit = "ms"')
    if made.delimiter and (made.width is not None or made.delimiter == made.decimal):
        other = "width" if made.width is not None else f"the decimal {made.decimal!r}"
        raise block.error(f"a delimiter cannot be combined with {other}", "Remove one of them")
    if made.columns and (made.values_per_line or 0) % len(made.columns):
        raise block.error(
            f"{made.values_per_line} values on a line are not a multiple of {len(made.columns)} columns",
            "Correct values_per_line, or remove it if each line is one row",
        )
    return made


def _paths(block: _Table) -> tuple[tuple[str, str], ...]:
    paths = block.get("paths", dict, {})
    if not all(isinstance(path, str) and path for path in paths.values()):
        raise block.error("paths must be texts", 'Write paths = {H1 = "data.ns"}')
    return tuple(paths.items())


def _rules(table: _Table, lines: int | None) -> Rules:
    return {quantity: _rule(table, quantity, lines) for quantity in RULES if quantity in table.table}


def _rule(head: _Table, quantity: str, header_lines: int | None) -> Rule:
    name = f"{head.name[:-1]}.{quantity}]"
    if head.table.get(quantity) == OPEN:
        return Rule(value=OPEN)
    return _rule_from(head.get(quantity, dict, {}), head.file, name, quantity, header_lines)


def _rule_from(given: dict[str, Any], file: str, name: str, quantity: str, header_lines: int | None) -> Rule:
    keys = (
        "line",
        "columns",
        "pattern",
        "value",
        "file_name",
        "path",
        "unit",
        "factor",
        "times",
        "over",
        "order",
        "zone",
    )
    table = _Table(given, file, name, keys)
    value = table.table.get("value")
    line, pattern, columns = table.whole("line", least=1), table.pattern("pattern", groups=1), None
    file_name, path = table.pattern("file_name", groups=1), table.get("path", str, "")
    if "columns" in table.table:
        columns = table.get("columns", list, [])
        if not (len(columns) == 2 and all(type(c) is int for c in columns) and 1 <= columns[0] <= columns[1]):
            raise table.error(
                f"columns must be the first and the last column, found {columns}", "Write columns = [11, 20]"
            )
        columns = (columns[0], columns[1])
    ways = (value is not None, file_name is not None, bool(path), bool(line or pattern or columns))
    if value is not None and (sum(ways) > 1 or isinstance(value, bool) or not isinstance(value, (str, int, float))):
        raise table.error("value must be a text or a number, without other keys", "Remove the other keys")
    if sum(ways) > 1:
        raise table.error("it gives more than one place to look", "Keep one of value, file_name, path and pattern")
    if not any(ways) or (ways[3] and pattern is None and (line is None or columns is None)):
        raise table.error("it gives no place to look", "Give line and columns, or a pattern, or a constant value")
    if line is not None and header_lines is not None and line > header_lines:
        raise table.error(f"line {line} is beyond the {header_lines} header lines", "Correct line or lines")
    unit, order, zone = (table.get(key, str, "") for key in ("unit", "order", "zone"))
    if unit:
        known = unit_at(unit)
        kinds = (
            {_KINDS.get(quantity, "acceleration"), "acceleration per count"}
            if quantity == "scale"
            else {_KINDS.get(quantity, "")}
        )
        if known is None or known.kind not in kinds or known.length != len(unit):
            raise table.error(f"{unit!r} is not a unit of {quantity}", "Correct unit, or use factor")
    if order not in ("", "dmy", "mdy", "ymd"):
        raise table.error(f"order must be dmy, mdy or ymd, found {order!r}", "Correct order")
    if zone and not zone_in(f"UTC{zone}" if zone != "UTC" else zone):
        raise table.error(f"zone must be UTC or an offset such as +05:30, found {zone!r}", "Correct zone")
    factor = table.table.get("factor", 1.0)
    if isinstance(factor, bool) or not isinstance(factor, (int, float)) or not 0 < abs(factor) < 1e300:
        raise table.error(f"factor must be a number other than 0, found {factor!r}", "Correct factor")
    others = {}
    for key in ("times", "over"):
        given_here = table.table.get(key, [])
        many = given_here if isinstance(given_here, list) else [given_here]
        if len(many) > 5 or not all(isinstance(one, dict) for one in many):
            raise table.error(f"{key} must be a rule or a short list of rules", f"Write {key} = {{pattern = '...'}}")
        others[key] = tuple(
            _rule_from(
                {k: v for k, v in one.items() if k not in ("times", "over")}, file, f"{name} {key}", "", header_lines
            )
            for one in many
        )
    text = None if value is None else str(value)
    return Rule(
        line, columns, pattern, text, file_name, path, unit, float(factor), others["times"], others["over"], order, zone
    )


class _Table:
    """A table of a layout, with checked keys."""

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
            words = {str: "a text", int: "a whole number", dict: "a table", list: "a list", bool: "true or false"}
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
            raise self.error(f"{key} is not a supported regular expression: {error}", f"Correct {key}") from None
        if groups is not None and pattern.groups != groups:
            raise self.error(
                f"{key} must have one group, found {pattern.groups}", "Put the text to read in round brackets"
            )
        return pattern
