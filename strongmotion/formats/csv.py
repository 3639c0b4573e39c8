"""Comma-separated values: ``# key: value`` lines, a row that names the columns with their units, then numbers.

::

    # station: QUAY
    # dt_s: 0.005
    # sensitivity_H1: 427336.5
    H1 [counts],H2 [counts],V [counts]
    12,-7,3

A column ``time [s]`` may stand among the others, in place of ``dt_s``. The delimiter may be a comma, a semicolon or a
tab. Keys are ``station``, ``network``, ``location``, ``name``, ``latitude``, ``longitude``, ``elevation``,
``instrument``, ``start``, ``dt_s`` or ``sampling_rate``, ``samples``, ``unit``, ``scale`` and ``sensitivity``; and for
one component, with its name behind an underscore, ``sensitivity``, ``scale``, ``azimuth``, ``dip`` and ``channel``.
"""

from __future__ import annotations

import difflib
import io
import re
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..errors import RecordError
from ..record import Finding, Record
from . import header
from .header import OF_STATION, Field, Reading
from .layout import LONGEST_HEADER_LINE, described, save
from .time_column import interval_from_times, printed_place

_OF_FILE = (*OF_STATION, "dt_s", "sampling_rate", "samples", "start", "unit", "scale", "sensitivity")
_OF_ONE = ("sensitivity", "scale", "azimuth", "dip", "channel")
_KEY = re.compile(r"#\s*([A-Za-z][A-Za-z0-9_-]*)\s*:(?!//)(.*)")
_CELL = re.compile(r"([^\[\]]*?)\s*(?:\[([^\[\]]*)\])?")
_TIME = ("time", "t")
_SECONDS = ("s", "sec", "second", "seconds")


@dataclass(frozen=True)
class _Column:
    label: str
    unit: str | None

    @property
    def is_time(self) -> bool:
        return self.label.lower() in _TIME


def recognises(head: bytes) -> bool:
    """Whether the start of a file holds a row that names columns."""
    for line in head.decode(errors="replace").split("\n"):
        if line.strip() and not line.startswith("#"):
            cells = _columns(line[:LONGEST_HEADER_LINE], _delimiter(line[:LONGEST_HEADER_LINE]))
            if cells is None:
                return False
            known = any(header.direction(cell.label)[0] in ("H1", "H2", "V") for cell in cells)
            return known or any(cell.unit is not None for cell in cells)
    return False


def _delimiter(line: str) -> str:
    return max(",;\t", key=line.count)


def _columns(line: str, delimiter: str) -> list[_Column] | None:
    columns = []
    for cell in line.split(delimiter):
        match = _CELL.fullmatch(cell.strip().strip("\"'").strip())
        if not match or header.NUMBER.fullmatch(match[1]):
            return None
        columns.append(_Column(match[1], match[2]))
    return columns


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
        Anything in the file that is missing, contradicts itself, or is not a number.
    """
    lines, body = _divided(reading)
    top = len(lines) - 1
    delimiter = _delimiter(lines[top])
    columns = _checked(reading, _columns(lines[top], delimiter), top + 1)
    general, own, notes = _metadata(reading, lines[:top], columns)
    declared = header.declared_samples(reading, general)
    body, cut = _whole_rows(reading, body, top + 1, columns, delimiter, declared)
    numbers = _fast(body, columns, delimiter)
    if numbers is None:
        numbers = _precise(reading, body.split("\n"), columns, delimiter, top + 2, declared)
    dt = header.interval(reading, general)
    for at, (column, samples) in enumerate(zip(columns, numbers, strict=True)):
        if column.is_time:
            rows = (*body.split("\n", 50)[:50], *body.rsplit("\n", 50)[-50:])
            place = printed_place([row.split(delimiter)[at] for row in rows])
            dt = interval_from_times(reading, samples.astype(float), place, top + 2, dt)
    components, findings = [], [*notes]
    for column, samples in zip(columns, numbers, strict=True):
        if not column.is_time:
            fields = {**general, **own[column.label], "component": Field(column.label, top + 1)}
            if column.unit is not None:
                fields["unit"] = Field(column.unit, top + 1)
            component, of_it = header.component_of(reading, fields, samples, dt, top + 1)
            components.append(component)
            findings.extend(of_it)
    return reading.record(components, header.station_of(reading, general), "CSV", (*findings, *cut))


def _divided(reading: Reading) -> tuple[list[str], str]:
    """Return the lines down to the one that names the columns, and all that stands below."""
    text = reading.text("utf-8", "Save the file as UTF-8, if it is not damaged")
    lines, at = [], 0
    while at < len(text):
        end = text.find("\n", at)
        end = len(text) if end < 0 else end
        lines.append(text[at:end])
        at = end + 1
        if len(lines[-1]) > LONGEST_HEADER_LINE:
            raise reading.error(
                f"the header line is {len(lines[-1])} characters long, at most {LONGEST_HEADER_LINE} are read",
                len(lines),
                "Check that the file is what it should be",
            )
        if lines[-1].strip() and not lines[-1].startswith("#"):
            return lines, text[at:].rstrip("\n ")
    raise reading.error(
        "no row names the columns", len(lines), "Add one above the numbers, such as: H1 [g],H2 [g],V [g]"
    )


def _checked(reading: Reading, columns: list[_Column] | None, line: int) -> list[_Column]:
    remedy = "Name every column once, with its unit, such as: time [s],H1 [g],H2 [g],V [g]"
    if columns is None or not all(column.label for column in columns):
        raise reading.error("a column has no name that can be understood", line, remedy)
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
    if set(seen) == {"time"}:
        raise reading.error("no column holds a component of motion", line, remedy)
    return columns


def _metadata(
    reading: Reading, lines: list[str], columns: list[_Column]
) -> tuple[dict[str, Field], dict[str, dict[str, Field]], tuple[Finding, ...]]:
    """Return what the comment lines say of the file, what they say of each column, and a note on the rest."""
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
            "What they say was not used.",
            "Correct their keys, or leave them if they are remarks.",
        ),
    )  # fmt: skip


def _whole_rows(
    reading: Reading,
    body: str,
    header_lines: int,
    columns: list[_Column],
    delimiter: str,
    declared: int | None,
) -> tuple[str, tuple[Finding, ...]]:
    """Return the rows of numbers, as many as are declared; fewer only if asked, with a finding."""
    if not body:
        raise reading.error(
            "the header is there, no numbers follow it",
            header_lines,
            "Check that the file is whole: copy it again",
        )
    before, _, last = body.rpartition("\n")
    found = body.count("\n") + 1
    cells = last.split(delimiter)
    partial = len(cells) < len(columns) or not all(header.usable_number(cell.strip()) for cell in cells)
    short = declared is not None and found < declared
    if reading.missing == "truncate":
        if not reading.data.endswith(b"\n") and before and (partial or short):
            # A file that stops inside a line may stop inside a number: none of that line can be trusted.
            body, found, short = before, found - 1, True
        if short:
            return body, (header.cut_off("", found, declared, f"line {header_lines + found}"),)
    elif short and len(cells) < len(columns):
        return body, ()  # the last row is refused when it is read, as the place where the file was cut
    if declared is not None and found != declared:
        raise reading.error(
            f"{declared} samples are declared, {found} were found",
            header_lines + found,
            f"The file may be cut off: copy it again, or read it with {header.TRUNCATE}"
            if short
            else "Correct the declared number of samples, or remove what does not belong",
        )
    return body, ()


def _fast(body: str, columns: list[_Column], delimiter: str) -> list[NDArray[Any]] | None:
    """Return each column's numbers, or None where anything at all is unusual."""
    import pandas as pd

    # Before pandas 3.1 only this converter rounds correctly; since then all do, and asking for it is deprecated.
    old = tuple(int(part) for part in pd.__version__.split(".")[:2]) < (3, 1)
    exact: dict[str, Any] = {"float_precision": "round_trip"} if old else {}
    rows = body.count("\n") + 1
    if body.count(delimiter) != rows * (len(columns) - 1):
        return None  # where every row has a number too many, pandas would take the first for a label
    try:
        table = pd.read_csv(
            io.BytesIO(body.encode()),
            sep=delimiter,
            header=None,
            names=range(len(columns)),
            na_filter=False,
            skip_blank_lines=False,
            quoting=3,
            low_memory=False,
            **exact,
        )
    except (ValueError, OverflowError):
        return None
    numbers = [table[at].to_numpy() for at in table]
    sound = all(
        column.dtype == np.int64 or (column.dtype == np.float64 and bool(np.isfinite(column).all()))
        for column in numbers
    )
    return numbers if sound and len(table) == rows else None


def _precise(
    reading: Reading,
    rows: list[str],
    columns: list[_Column],
    delimiter: str,
    first_line: int,
    declared: int | None,
) -> list[NDArray[Any]]:
    """Return each column's numbers, or name the line and column of the first that is none."""
    read: list[list[str]] = [[] for _ in columns]
    for index, row in enumerate(rows):
        cells = [cell.strip() for cell in row.split(delimiter)]
        if len(cells) != len(columns):
            names = ", ".join(column.label for column in columns)
            remedy = "Correct the line"
            if index == len(rows) - 1 and len(cells) < len(columns):
                of = f": {index} of {declared} declared samples were read" if declared is not None else ""
                remedy = f"The file may be cut off{of}. Fix the file, or read it with {header.TRUNCATE}"
            raise reading.error(
                f"expected {len(columns)} number{'s' * (len(columns) > 1)} ({names}), "
                f"found {len(cells) if row.strip() else 0}",
                first_line + index,
                remedy,
            )
        for column, cell, texts in zip(columns, cells, read, strict=True):
            if not header.usable_number(cell):
                raise reading.error(
                    f"column {column.label}: {header.bad_number(cell)}",
                    first_line + index,
                    "Mend it at its source: missing samples are never guessed",
                )
            texts.append(cell)
    return [header.as_numbers(texts) for texts in read]


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
        A component's name would be read as another, such as ``N`` as ``H1``; or the file cannot be written.
    """
    lines = []
    for at, component in enumerate(record):
        if header.direction(component.name)[0] != component.name or component.name.lower() in _TIME:
            raise RecordError(
                f"a CSV column named {component.name} is read as something else",
                source=record.source.file or None,
                remedy="Name the component H1, H2, V or by a longer name, and keep its own name as its channel",
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
