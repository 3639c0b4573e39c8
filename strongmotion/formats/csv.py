"""Comma-separated values: ``# key: value`` lines, a row of column names with units, then numbers.

::

    # station: QUAY
    # dt_s: 0.005
    # sensitivity_H1: 427336.5
    H1 [counts],H2 [counts],V [counts]
    12,-7,3

Units may also be in round brackets. A column ``time [s]`` may replace ``dt_s``. The delimiter is a comma, a semicolon
or a tab. Keys are ``station``, ``network``, ``location``, ``name``, ``latitude``, ``longitude``, ``elevation``,
``instrument``, ``start``, ``dt_s`` or ``sampling_rate``, ``samples``, ``unit``, ``scale`` and ``sensitivity``. For a
single component, add an underscore and its name to ``sensitivity``, ``scale``, ``azimuth``, ``dip`` and ``channel``.
"""

from __future__ import annotations

import difflib
import re
from csv import reader
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..foundation.errors import InputError, RecordError
from ..foundation.units import acceleration_unit
from ..record import Finding, Record
from . import header
from .header import OF_STATION, Field, Reading
from .layout import LONGEST_HEADER
from .lines import LONGEST_HEADER_LINE, Block, Lines, typed
from .odd_rows import check_counter, repeated_rows
from .text import described, save
from .time_column import interval_from_times, jitter, printed_place

_OF_FILE = ("processed", *OF_STATION, "dt_s", "sampling_rate", "samples", "start", "unit", "scale", "sensitivity")
_OF_ONE = ("sensitivity", "scale", "azimuth", "dip", "channel")
_KEY = re.compile(r"#\s*([A-Za-z][A-Za-z0-9_-]*)\s*:(?!//)(.*)")
_CELL = re.compile(r"([^][()]*?)\s*(?:\[([^][]*)\]|\(([^()]*)\))?")
_TIME = ("time", "t")
_OTHER_MOTION = re.compile(r"(?i)(?:^|[^a-z])(?:vel|velocity|veloc|dis|disp|displ|displacement)(?:$|[^a-z])")
_SECONDS = ("s", "sec", "second", "seconds")


@dataclass(frozen=True)
class _Column:
    label: str
    unit: str | None
    is_time: bool = False


def recognises(head: bytes) -> bool:
    """Whether a file begins as this format does: with lines of keys, or a row of complete column names.

    A row of incomplete names, or one not followed by numbers, is not enough: the file may be any table, and drafting a
    layout for it shows what is missing.
    """
    lines = head.decode(errors="replace").split("\n")
    keys = any(
        (match := _KEY.match(line[:LONGEST_HEADER_LINE])) and match[1].lower() in _OF_FILE
        for line in lines[:LONGEST_HEADER]
    )
    for at, line in enumerate(lines):
        if line.strip() and not line.startswith("#"):
            delimiter = _delimiter(line[:LONGEST_HEADER_LINE])
            cells = _columns(line[:LONGEST_HEADER_LINE], delimiter)
            if cells is None:
                return False
            known = any(header.direction(cell.label)[0] in ("H1", "H2", "V") for cell in cells)
            if keys:
                return known or any(cell.unit is not None for cell in cells)
            if len(cells) > 1 and delimiter not in line:
                return False
            return all(_is_certain(cell) for cell in cells) and not _is_other_table(
                lines[at + 1 : at + 2], cells, delimiter
            )
    return False


def _is_certain(cell: _Column) -> bool:
    """Whether a column's name is complete: the time, or a component of acceleration with its unit."""
    if cell.is_time:
        return cell.unit is None or cell.unit.strip().lower() in _SECONDS
    if _OTHER_MOTION.search(cell.label):
        return False
    known = header.direction(cell.label)[0] in ("H1", "H2", "V")
    try:
        return acceleration_unit(cell.unit or "") != "" and bool(re.fullmatch(r"[A-Za-z0-9_-]{1,32}", cell.label))
    except InputError:
        return known and cell.unit is not None


def _is_other_table(after: list[str], cells: list[_Column], delimiter: str) -> bool:
    """Whether the row below the names holds numbers with a decimal comma, or units."""
    row = _cells(after[0][:LONGEST_HEADER_LINE], delimiter) if after else []
    if len(row) != len(cells):
        return False
    texts = [cell.strip().strip("\"'").strip() for cell in row]
    commas = (
        delimiter != ","
        and all(re.fullmatch(r"[-+]?\d+(,\d+)?", text) for text in texts)
        and any("," in text for text in texts)
    )
    return commas or not any(re.search(r"\d", text) for text in texts if text)


def _delimiter(line: str) -> str:
    return max(",;\t", key=line.count)


def _columns(line: str, delimiter: str) -> list[_Column] | None:
    columns = []
    for cell in _cells(line, delimiter):
        match = _CELL.fullmatch(cell.strip("\"'").strip())
        if not match or header.NUMBER.fullmatch(match[1]):
            return None
        columns.append(_Column(match[1], match[3] if match[2] is None else match[2]))
    beside = bool({"R", "RADIAL", "L", "LONG"} & {column.label.upper() for column in columns})
    return [replace(column, is_time=_is_time(column, beside)) for column in columns]


def _is_time(column: _Column, beside: bool) -> bool:
    """Whether a column is the time. T next to R or L, or in a unit of acceleration, is the transverse component."""
    if column.label.lower() not in _TIME:
        return False
    if column.label != "T" or (column.unit or "").strip().lower() in _SECONDS:
        return True
    try:
        return not beside and not acceleration_unit(column.unit or "")
    except InputError:
        return not beside


def _cells(row: str, delimiter: str) -> list[str]:
    """Return the cells of a row, without quotation marks."""
    if '"' not in row:
        return [cell.strip() for cell in row.split(delimiter)]
    return [cell.strip() for cell in next(reader([row], delimiter=delimiter, skipinitialspace=True))]


def read_csv(reading: Reading) -> Record:
    """Read a CSV file; see the module's docstring.

    Parameters
    ----------
    reading : Reading

    Returns
    -------
    Record

    Raises
    ------
    RecordError
        Something in the file is missing, contradictory, or not a number.
    """
    lines = Lines(reading, remedy="Save the file as UTF-8, unless it is damaged")
    head, top = _head(lines)
    delimiter = _delimiter(head[top])
    columns = _checked(reading, _columns(head[top], delimiter), top + 1)
    general, own, notes = _metadata(reading, head[:top], columns)
    general, overruled = header.settled(reading, general)
    notes = (*notes, *overruled)
    declared = header.declared_samples(reading, general)
    rows, cut = _whole_rows(lines, top + 1, columns, delimiter, declared)
    block = Block(columns=tuple(column.label for column in columns), delimiter=delimiter)
    quick = lines.numbers(rows, block)
    if quick is None:
        numbers = _precise(lines, rows, columns, delimiter, declared)
    else:
        numbers = [typed(quick[0][i :: len(columns)], quick[1][i :: len(columns)]) for i in range(len(columns))]
    dt = header.interval(reading, general)
    for at, (column, samples) in enumerate(zip(columns, numbers, strict=True)):
        if column.is_time:
            shown = [lines.line(int(row)) for row in (*rows[:50], *rows[-50:])]
            place = printed_place([_cells(row, delimiter)[at] for row in shown])
            dt = interval_from_times(reading, samples.astype(float), place, top + 2, dt)
            notes = (*notes, *jitter(samples.astype(float), dt, place))
    if dt is None and notes:  # the interval may be in one of the header lines that were not understood
        raise reading.error(
            f"no sampling interval is given; {notes[0].what}",
            top + 1,
            "Give it in s in a line above, such as # dt_s: 0.01, or in a column time [s]",
        )
    components, findings = [], [*notes]
    for column, samples in zip(columns, numbers, strict=True):
        if not column.is_time:
            fields = {**general, **own[column.label], "component": Field(column.label, top + 1)}
            if column.unit is not None:
                _check_unit(reading, general.get("unit"), column, top + 1)
                fields["unit"] = Field(column.unit, top + 1)
            component, of_it = header.component_of(reading, fields, samples, dt, top + 1)
            components.append(component)
            findings.extend(of_it)
    check_counter(reading, numbers, [column.is_time for column in columns], top + 2)
    motion = [column.label for column in columns if not column.is_time]
    findings += [
        *_no_pair(motion),
        *_repeated(lines, rows, numbers, delimiter),
    ]
    return reading.record(
        components, header.station_of(reading, general), "CSV", (*findings, *header.processed_note(general), *cut)
    )


def _check_unit(reading: Reading, stated: Field | None, column: _Column, line: int) -> None:
    """Refuse a header whose unit differs from that of a column, unless the caller gives the unit."""
    if stated is None or not stated.text.strip() or reading.unit is not None:
        return
    try:
        differ = acceleration_unit(stated.text) != acceleration_unit(column.unit or "")
    except InputError:
        return  # refused later, where it is used
    if differ:
        raise reading.error(
            f"the unit is {header.shown(stated.text)} (line {stated.line}) or {header.shown(column.unit or '')} "
            f"(column {column.label}, line {line})",
            line,
            "Correct the wrong one, or give unit= (--sample-unit)",
        )


def _no_pair(labels: list[str]) -> list[Finding]:
    """Return a finding that offers two columns of unknown direction as the missing horizontal pair."""
    names = [header.direction(label)[0] for label in labels]
    unknown = [name for name in names if name not in ("H1", "H2", "V")]
    if len(unknown) < 2 or "H1" in names or "H2" in names:
        return []
    one, two = unknown[:2]
    return [
        Finding(
            "no horizontal pair", "note",
            f"{one} and {two} are not named as the horizontal pair, H1 and H2",
            "they are processed one by one, without rotated spectra",
            f"if they are, read them with component='{one}=H1,{two}=H2' (--component {one}=H1,{two}=H2)",
        )
    ]  # fmt: skip


def _repeated(lines: Lines, rows: NDArray[np.int32], numbers: list[NDArray[Any]], delimiter: str) -> list[Finding]:
    """Return the finding on rows that repeat the previous row in too many digits to be chance."""
    if len(numbers) < 2 or len(rows) < 2:
        return []
    same = np.logical_and.reduce([column[1:] == column[:-1] for column in numbers])
    found = []
    for at in np.flatnonzero(same)[:1000].tolist():
        cells = _cells(lines.line(int(rows[at])), delimiter)
        if len(set(cells)) > 1 and sum(len(re.sub(r"[^0-9]|^[-+0.]+", "", cell)) for cell in cells) >= _TELLING_DIGITS:
            found.append(int(rows[at + 1]) + 1)
    return [repeated_rows(found)] if found else []


_TELLING_DIGITS = 10
"""Number of digits of a row that do not repeat by chance."""


def _head(lines: Lines) -> tuple[list[str], int]:
    """Return the lines down to the one with the column names, and its number."""
    head: list[str] = []
    for at in range(min(lines.count, LONGEST_HEADER)):
        head.append(lines.line(at))
        if len(head[-1]) > LONGEST_HEADER_LINE:
            raise lines.reading.error(
                f"the header line is {len(head[-1])} characters long, at most {LONGEST_HEADER_LINE} are read",
                at + 1,
                "Check that this is the right file",
            )
        if head[-1].strip() and not head[-1].startswith("#"):
            return head, at
    raise lines.reading.error(
        "there is no row of column names", len(head), "Add one above the numbers, such as: H1 [g],H2 [g],V [g]"
    )


def _checked(reading: Reading, columns: list[_Column] | None, line: int) -> list[_Column]:
    remedy = "Name every column once, with its unit, such as: time [s],H1 [g],H2 [g],V [g]"
    if columns is None or not all(column.label for column in columns):
        which = next((f"column {at}" for at, one in enumerate(columns or (), 1) if not one.label), "a column")
        raise reading.error(f"{which} has a name that is not understood", line, remedy)
    seen: dict[str, str] = {}
    for column in columns:
        name = "time" if column.is_time else header.direction(column.label)[0]
        if name in seen:
            both = "" if column.label == seen[name] == name else f" (columns {seen[name]} and {column.label})"
            raise reading.error(f"two columns are named {name}{both}", line, remedy)
        seen[name] = column.label
        if column.is_time and column.unit is not None and column.unit.strip().lower() not in _SECONDS:
            raise reading.error(
                f"time must be in seconds, found the unit {header.shown(column.unit)}",
                line,
                "Give time [s], or remove the column and give dt_s",
            )
        if _OTHER_MOTION.search(column.label):
            raise reading.error(
                f"the column {header.shown(column.label)} is not an acceleration, according to its name",
                line,
                "Remove it, or correct its name",
            )
    if set(seen) == {"time"}:
        raise reading.error("no column holds a component of motion", line, remedy)
    return columns


def _metadata(
    reading: Reading, lines: list[str], columns: list[_Column]
) -> tuple[dict[str, Field], dict[str, dict[str, Field]], tuple[Finding, ...]]:
    """Return the metadata of the file and of each column, and a finding on lines that were not understood."""
    general: dict[str, Field] = {}
    own: dict[str, dict[str, Field]] = {column.label: {} for column in columns}
    labels = {header.direction(c.label)[0]: c.label for c in columns} | {c.label: c.label for c in columns}
    unused = []
    for at, line in enumerate(lines, 1):
        match = _KEY.match(line)
        if not match:
            continue
        key, field = match[1], Field(match[2].strip(), at)
        quantity, _, label = key.partition("_")
        if key.lower() in _OF_FILE:
            place, quantity = general, key.lower().removesuffix("_s")
        elif quantity.lower() in _OF_ONE and label in labels:
            place, quantity = own[labels[label]], quantity.lower()
        else:
            near = difflib.get_close_matches(key.lower(), (*_OF_FILE, *_OF_ONE), n=1, cutoff=0.8)
            unused.append(f"{key} (line {at}{f', perhaps {near[0]}' if near else ''})")
            continue
        if quantity in place:
            raise reading.error(f"{key} is given twice, first in line {place[quantity].line}", at, "Remove one of them")
        place[quantity] = field
    if not unused:
        return general, own, ()
    return general, own, (
        Finding(
            "unused header",
            "note",
            f"header lines that were not understood: {', '.join(unused)}",
            "their content was not used",
            "correct their keys; remarks can stay",
        ),
    )  # fmt: skip


def _whole_rows(
    lines: Lines, first: int, columns: list[_Column], delimiter: str, declared: int | None
) -> tuple[NDArray[np.int32], tuple[Finding, ...]]:
    """Return the declared number of rows; fewer only if the caller allows it, with a finding."""
    reading, rows = lines.reading, np.arange(first, lines.count, dtype=np.int32)
    if not rows.size:
        raise reading.error("no numbers follow the header", first, "The file may be incomplete: copy it again")
    cells = _cells(lines.line(lines.count - 1), delimiter)
    partial = len(cells) < len(columns) or not all(map(header.usable_number, cells))
    short = declared is not None and rows.size < declared
    if reading.missing == "truncate":
        if not reading.data.endswith(b"\n") and rows.size > 1 and (partial or short):
            # A file that stops inside a line may stop inside a number, so the whole line is discarded.
            rows, short = rows[:-1], True
        if short:
            return rows, (header.cut_off("", rows.size, declared, f"line {first + rows.size}"),)
    elif short and len(cells) < len(columns):
        return rows, ()  # the last row is refused when it is read, as the place where the file was cut
    if declared is not None and rows.size != declared:
        raise reading.error(
            f"{declared} samples are declared, {rows.size} were found",
            first + rows.size,
            f"The file may be cut off: copy it again, or read it with {header.TRUNCATE}"
            if short
            else "Correct the declared number of samples, or remove the surplus",
        )
    return rows, ()


def _precise(
    lines: Lines, rows: NDArray[np.int32], columns: list[_Column], delimiter: str, declared: int | None
) -> list[NDArray[Any]]:
    """Return each column's numbers. An error names the line and column of the first entry that is not a number."""
    if lines.odd is not None:
        at = lines.odd[0]
        _by_text(lines, rows, range(at, at + 1), columns, delimiter, declared)  # what stopped the compiled reader
    return _by_text(lines, rows, range(len(rows)), columns, delimiter, declared)


def _by_text(
    lines: Lines,
    rows: NDArray[np.int32],
    chosen: range,
    columns: list[_Column],
    delimiter: str,
    declared: int | None,
) -> list[NDArray[Any]]:
    reading = lines.reading
    read = [header.Numbers() for _ in columns]
    for index in chosen:
        at = int(rows[index])
        row = lines.line(at)
        cells = _cells(row, delimiter)
        if len(cells) != len(columns):
            names = ", ".join(column.label for column in columns)
            remedy = "Correct the line"
            if index == len(rows) - 1 and len(cells) < len(columns):
                of = f": {index} of {declared} declared samples were read" if declared is not None else ""
                remedy = f"The file may be cut off{of}. Fix the file, or read it with {header.TRUNCATE}"
            raise reading.error(
                f"expected {len(columns)} number{'s' * (len(columns) > 1)} ({names}), "
                f"found {len(cells) if row.strip() else 0}",
                at + 1,
                remedy,
            )
        for column, cell, numbers in zip(columns, cells, read, strict=True):
            if not header.usable_number(cell):
                raise reading.error(
                    f"column {column.label}: {header.bad_number(cell)}",
                    at + 1,
                    header.mending(cell),
                )
            numbers.add(cell)
    return [numbers.array() for numbers in read]


def write_csv(record: Record, path: str | Path) -> None:
    """Write a record as CSV, so that reading it gives the same samples bit for bit.

    Parameters
    ----------
    record : Record
    path : str or Path
        The file to write; an existing one is replaced.

    Raises
    ------
    RecordError
        A component's name would be read as another one (``N`` as ``H1``), or the file cannot be written.

    Examples
    --------
    >>> import tempfile
    >>> from pathlib import Path
    >>> from strongmotion import read
    >>> record = read("demo_records/fern.txt")
    >>> path = Path(tempfile.mkdtemp()) / "fern.csv"
    >>> write_csv(record, path)
    >>> bool((read(path)["H1"].samples == record["H1"].samples).all())
    True
    """
    lines = []
    for at, component in enumerate(record):
        if header.direction(component.name)[0] != component.name or component.name.lower() in _TIME:
            raise RecordError(
                f"a CSV column named {component.name} would be read as something else",
                source=record.source.file or None,
                remedy="Name the component H1, H2, V or use a longer name, and keep its own name as the channel",
            )
        for key, text in described(record, component).items():
            line = " ".join((text or "").split())
            if not line or key in ("component", "unit", "sampling_rate"):
                continue
            if key in _OF_ONE:
                lines.append(f"# {key}_{component.name}: {line}")
            elif at == 0:
                lines.append(f"# {'dt_s' if key == 'dt' else key}: {line}")
    lines.append(",".join(f"{component.name} [{component.unit}]" for component in record))
    lines.extend(map(",".join, zip(*(map(repr, c.samples.tolist()) for c in record), strict=True)))
    save(path, ("\n".join(lines) + "\n").encode())
