"""Decide what the numbers of each line are: one series along the lines, or columns of times, components and others."""

from __future__ import annotations

import csv
import math
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import re2
from numpy.typing import NDArray

from .. import header
from ..lines import Lines
from ..phrases import Direction, Unit, plain, pointing, unit_at
from .concepts import concept
from .items import is_unit_text
from .shape import Blocks, Shape, table

_TIME = re2.compile(
    r"^(?:t|time|times|zeit|tiempo|temps|tempo|zaman|sec|secs|seconds?|s|elapsed|clock)(?:$|[^\pL])|\btime\b"
)
_COLUMNS_SAID = re2.compile(r"(?i)^ *(?:columns?|fields|spalten|colonnes|columnas|colonne|colunas) *[:=] *")
_COUNTER = re2.compile(r"^(?:#|no|nr|n|num|number|index|i|row|point|pt|sample|samples|id|k|count)\.?$")
_FACTS = ("interval", "rate", "samples", "duration", "start", "latitude", "longitude")
_VELOCITY = re2.compile(r"\bvel(?:oc\w*|\b)|\bhiz\b|geschwind|\bvit(?:esse)?\b")
_DISPLACEMENT = re2.compile(r"\bdis(?:pl\w*|\b)|yer ?degistirme|deplac|verschieb|spostam|desplaz|desloc")
_ACCELERATION = re2.compile(
    r"^(?:a|ivme\w*|acc\w*|acel\w*|beschl\w*|accel\w*|ug|amplitude|value|values|signal|data|wert|valor)$"
)


_UNIT_IN_A_NAME = re2.compile(
    r"(?i)(.+?)[_ ]([cmun]?m|in|ft)(?:[_/]s(?:ec)?(?:([_^-]{0,2}2)|([_/]s(?:ec)?))?|s(?:ec)?([_^-]{0,2}2))"
)
"""A name with its unit behind it, as names without signs have it: ``acc_cm_s2``, ``vel_m_s``."""


_DIRECTION_IN_A_NAME = re2.compile(r"(?i)(?:a(?:cc\w*?|cel\w*?)?[_. -])?(ns|ew|ud|[nez])")
"""A name with its direction behind it: ``acc_e``."""


@dataclass
class Column:
    """A column of numbers: kind, name and unit."""

    role: str
    """``time``, ``clock``, ``motion`` or ``-``."""
    name: str = ""
    unit: str = ""
    direction: Direction = field(default_factory=lambda: Direction(""))


@dataclass
class Arrangement:
    """The arrangement of the numbers of a block."""

    mode: str
    """``along`` the lines, or ``columns``; ``pairs`` are columns that repeat along the line."""
    columns: list[Column]
    samples: int
    """Samples of each component in the first block."""
    total: int
    """Numbers in the first block."""
    names_at: list[int]
    """Lines that hold names, units or directions of the columns."""
    step: float | None = None
    """Step of the time column, in its own unit."""
    time_unit: str = "s"
    time_sure: bool = True
    doubt: str = ""
    note: str = ""

    @property
    def motion(self) -> list[Column]:
        """The columns of components."""
        return [column for column in self.columns if column.role == "motion"]


def rows_above(lines: Lines, begin: int, shape: Shape, cells: int) -> list[tuple[int, list[str]]]:
    """Return the rows of words above the numbers with a cell for each column, and their lines; nearest last."""
    found: list[tuple[int, list[str]]] = []
    at = begin - 1
    while at >= 0 and len(found) < 3 and begin - at <= 6:
        text = re2.sub(r"^[\s#!%*>\x{FEFF}]+", lambda match: " " * len(match[0]), lines.line(at)[:1000])
        if not re2.search(r"[\pL0-9]", text):
            at -= 1
            continue
        if said := _COLUMNS_SAID.match(text):
            text = " " * said.end() + text[said.end() :]
        row = _row(text, shape, cells)
        if row is None or any(re2.search("[:=]", cell) or len(cell) > 40 for cell in row):
            break
        below = _units_only(row) or _directions_only(row)
        if not below and not _names_only(row):
            break
        found.insert(0, (at, row))
        if not below:
            return found
        at -= 1
    return found[-1:] if found and any(re2.search(r"\pL", cell) for cell in found[-1][1]) else []


def _row(text: str, shape: Shape, cells: int) -> list[str] | None:
    tries = [shape.delimiter] if shape.delimiter else []
    for delimiter in (*tries, "\t", ";", ",", "  ", ""):
        if delimiter == "  ":
            row = [cell.strip() for cell in re2.split(r"\t|  +", text.strip())]
        elif delimiter and '"' in text:
            row = [cell.strip() for cell in next(csv.reader([text], delimiter=delimiter, skipinitialspace=True), [])]
        elif delimiter:
            row = [cell.strip().strip("\"'").strip() for cell in text.strip().removesuffix(delimiter).split(delimiter)]
            if delimiter == "," and len(row) > cells:
                continue
        else:
            row = text.split()
        if len(row) == cells and all(row):
            return row
    return None


def _names_only(row: Sequence[str]) -> bool:
    """Whether cells may be column names."""
    if not all(re2.match(r"^[\pL#(\[\"']", cell) for cell in row) or any(
        re2.search(r"[0-9]{2}[-/.][0-9]|\.$", cell) for cell in row
    ):
        return False
    if any(re2.search("[0-9]", cell) and concept(plain(cell)) in _FACTS for cell in row):
        return False
    if len(row) == 2 and re2.match(r"(?i)^(?:channel|component|comp|direction|kanal|canal|block)$", row[0]):
        return False
    if len(row) == 1 and (len(row[0]) > 24 or "," in row[0]):
        return False
    if len(row) > 1 and any(is_unit_text(cell) for cell in row) and not any(_TIME.search(plain(cell)) for cell in row):
        return False  # a label and its unit
    return any(_speaks(cell) for cell in row) or all(
        len(cell.split()) <= 2 and re2.search("[0-9]", cell) for cell in row
    )


def _speaks(cell: str) -> bool:
    """Whether a cell names a time, a unit, a direction or a motion."""
    name, unit = _name_and_unit(cell)
    words = plain(name)
    return bool(
        unit or header.direction(name)[0] in ("H1", "H2", "V") or pointing(cell).kind
        or any(pattern.search(words) for pattern in (_TIME, _ACCELERATION, _VELOCITY, _DISPLACEMENT))
        or words in ("x", "y", "z", "l", "t", "r")
        or re2.search(r"acc|channel|kanal|comp|beschl|acel", words)
    )  # fmt: skip


def _directions_only(row: Sequence[str]) -> bool:
    if len(row) > 2 and re2.match(r"(?i)^(?:azim\w*|dir\w*|orient\w*)", row[0]):
        row = ["-", *row[1:]]
    return all(
        re2.fullmatch(
            r"[-+]?[0-9]{1,3}(?:\.[0-9]+)?(?: ?(?:\x{B0}|deg))?|-+|\*|(?i:up|down|vert\w*|n/?a|[NS] ?[0-9]+ ?[EW])",
            cell,
        )
        for cell in row
    ) and any(re2.search(r"\pL|\x{B0}", cell) or cell == "-" for cell in row)


def _units_only(row: Sequence[str]) -> bool:
    return all(unit_at(cell.strip("()[] ")) is not None or cell in ("-", "") for cell in row)


def arrange(lines: Lines, blocks: Blocks, counts: set[int], named: int = 0) -> Arrangement:
    """Return the arrangement of the numbers of the first block.

    Parameters
    ----------
    lines : Lines
    blocks : Blocks
    counts : set of int
        Integers of the header that may be a count of samples.
    named : int
        Number of components named by the caller; 0 if none.
    """
    shape, run = blocks.shape, blocks.runs[0]
    held = [at for at in range(run[0], run[1]) if lines.begins[at] < lines.ends[at]]
    filled = sum(1 for at in held if lines.reading.data[lines.begins[at] : lines.ends[at]].strip())
    last = len(shape.block.cells(lines.line(run[1] - 1)))
    total = (filled - 1) * shape.cells + min(last, shape.cells)
    if blocks.clock:
        return _clock(lines, blocks, filled, total)
    above = rows_above(lines, run[0], shape, shape.cells)
    names = [at for at, _ in above]
    if shape.cells == 1:
        column = _named(above, 0)
        if above and not (column.unit or _is_name(above[0][1][0])):
            names, column = [], Column("motion")
        column.role = "motion"
        return Arrangement("along", [column], total, total, names)
    numbers = table(lines, run, shape)
    if blocks.comment:
        numbers = numbers[~np.isnan(numbers).all(axis=1)]
    body = numbers[:-1] if last < shape.cells else numbers
    even = last == shape.cells
    if not blocks.mixed:
        body = body[~np.isnan(body).any(axis=1)]  # a damaged row is refused when it is read
    if len(body) < 3:
        return Arrangement("along", [Column("motion")], total, total, [])
    ramps = [_is_ramp(body[:, i], shape) or (i < 2 and _rises(body[:, i])) for i in range(shape.cells)]
    flat = body[:, ::2].ravel()
    if shape.cells % 2 == 0 and shape.cells > 2 and not above and _is_ramp(flat, shape) and not all(ramps[1::2]):
        time = Column("time", "time")
        samples = total // 2
        return Arrangement("pairs", [time, Column("motion")], samples, total, [], float(np.mean(np.diff(flat))))
    mixed = blocks.mixed
    as_columns = mixed or (even and (bool(above) or any(ramps[:2])))
    doubt = ""
    if not as_columns and named in (1, shape.cells):
        as_columns = even and named > 1
    elif not as_columns:
        along, side = total in counts, filled in counts and even
        if along != side:
            as_columns = side
        else:
            ratio = _smoothness(body)
            as_columns = even and ratio < 1
            near = 0.7 < ratio < 1.4 if shape.cells <= 6 else 0.8 < ratio < 1.1
            if even and near:
                doubt = (
                    f"the {shape.cells} numbers of each line may be {shape.cells} components side by side, or one "
                    "component along the lines"
                )
    if not as_columns:
        return Arrangement("along", [Column("motion")], total, total, [], doubt=doubt)
    made = _columns(body, shape, above, ramps, filled, total, doubt)
    if not above and named == 0 and len(made.motion) > 3 and not made.doubt:
        made.doubt = (
            f"the {len(made.motion)} numbers of each line may be as many components side by side, or one component "
            "along the lines"
        )
    return made


def _columns(
    body: NDArray[np.float64], shape: Shape, above: list[tuple[int, list[str]]], ramps: list[bool], rows: int,
    total: int, doubt: str,
) -> Arrangement:  # fmt: skip
    columns = [_named(above, i) for i in range(shape.cells)]
    made = Arrangement("columns", columns, rows, total, [at for at, _ in above], doubt=doubt)
    time = next((i for i in range(shape.cells) if ramps[i] and _TIME.search(plain(columns[i].name))), None)
    if time is None:
        of = [i for i in range(shape.cells) if ramps[i]]
        counter = [i for i in of if _COUNTER.match(plain(columns[i].name)) or _counts(body[:, i])]
        rest = [i for i in of if i not in counter]
        time = rest[0] if rest else None
        if time is not None and above and columns[time].name and not _TIME.search(plain(columns[time].name)):
            made.note = f"column {time + 1} ({columns[time].name}) rises evenly and was used as the time in seconds"
        if time is None and counter and not any(_COUNTER.match(plain(columns[i].name)) for i in counter):
            first = counter[0]
            if above or first > 0:
                columns[first].role = "-"
            else:
                columns[first].role = "-"
                made.note = f"column {first + 1} counts the rows and was skipped"
    kinds = [unit.kind if (unit := unit_at(column.unit)) else "" for column in columns]
    raw = [
        i for i, kind in enumerate(kinds)
        if kind in ("counts", "volts") and "acceleration" in kinds
        and re2.search(r"\braw\b|count", plain(columns[i].name))
    ]  # fmt: skip
    for i in raw:
        columns[i].role = "-"
        made.note = (
            made.note or f"column {i + 1} ({columns[i].name}) was skipped in favour of one in a unit of acceleration"
        )
    for i, column in enumerate(columns):
        words = plain(f"{column.name} {column.unit}")
        unit = unit_at(column.unit) if column.unit else None
        if np.isnan(body[:, i]).any():
            column.role = "-"
        elif i == time:
            column.role = "time"
        elif (
            (ramps[i] and (_counts(body[:, i]) or time is not None))
            or _VELOCITY.search(words)
            or (unit is not None and unit.kind == "velocity")
            or _DISPLACEMENT.search(words)
            or (unit is not None and unit.kind == "length")
        ):
            column.role = "-"
        elif column.role != "-":
            column.role = "motion"
    if time is not None:
        made.step = float((body[-1, time] - body[0, time]) / (len(body) - 1))
        unit = unit_at(columns[time].unit) if columns[time].unit else None
        if unit is not None and unit.kind == "time":
            made.time_unit = columns[time].unit.lower()
            made.step *= unit.factor
        elif made.step >= 1:
            made.time_sure = False
    if (
        made.note == ""
        and not above
        and len(made.motion) == 3
        and time is not None
        and _is_integral(body, columns, made.step)
    ):
        made.doubt = (
            "the columns may be three components, or acceleration, velocity and displacement of one: the second and "
            "third look like integrals of the one before"
        )
    return made


def _named(above: list[tuple[int, list[str]]], at: int) -> Column:
    """Return a column with its name, unit and direction, from the rows above it."""
    name = unit = ""
    direction = Direction("")
    for _, row in above:
        cell = row[at].strip("\"' ")
        bare = cell.strip("()[] ")
        if name and (unit_at(bare) is not None or is_unit_text(bare)) and not unit:
            unit = bare
            continue
        if not name:
            name, unit = _name_and_unit(cell)
            direction = _direction_of(name, cell)
        elif not direction.kind and pointing(bare).kind:
            direction = pointing(bare)
    if name and not unit and is_unit_text(name):
        unit = name
    return Column("", name, unit, direction)


def _direction_of(name: str, cell: str) -> Direction:
    letter = _DIRECTION_IN_A_NAME.fullmatch(name)
    where = pointing(letter[1] if letter else name if len(name) <= 2 else cell)
    if letter and where.kind:
        return where
    if where.kind == "horizontal" and not re2.search(
        (
            r"(?i)[NS] ?[0-9]+ ?[EW]|[0-9]+ ?(?:\x{B0}|deg)|(?:^|[ _(])(?:n|e|ns|ew|n-s|e-w|north|east"
            r"|nord|ost|sud|est|norte|este)(?:[^\pL0-9]|_|$)"
        ),
        cell,
    ):
        return Direction("")
    return where


def _name_and_unit(cell: str) -> tuple[str, str]:
    bracket = re2.search(r"[(\[]([^()\[\]]*)[)\]] *$", cell)
    if bracket and (unit_at(bracket[1]) is not None or is_unit_text(bracket[1])):
        return cell[: bracket.start()].strip(), bracket[1].strip()
    if bracket:
        inner = bracket[1].split(",")
        if len(inner) > 1 and re2.fullmatch(r"\pL{1,8}", inner[0].strip()):
            return inner[0].strip(), ""
    if written := _UNIT_IN_A_NAME.fullmatch(cell):
        return written[1], f"{written[2]}/s{'2' if any(written.groups()[2:]) else ''}"
    name, mark, end = cell.rpartition("_")
    known = unit_at(end) if mark and name else None
    if mark and name and (is_unit_text(end) or (known is not None and known.length == len(end))):
        return name, end
    if "," in cell:
        name, _, end = cell.rpartition(",")
        if is_unit_text(end) or (unit_at(end.strip()) is not None):
            return name.strip(), end.strip()
    return cell, ""


def _is_name(cell: str) -> bool:
    bare = plain(re2.sub(r"[(\[].*", "", cell)).strip()
    return bool(_ACCELERATION.match(bare)) or header.direction(bare)[0] in ("H1", "H2", "V")


def means_nothing(name: str) -> bool:
    """Whether a column's name says no more than acceleration."""
    return not name or bool(_ACCELERATION.match(plain(name)))


def _is_ramp(numbers: NDArray[np.float64], shape: Shape) -> bool:
    """Whether printed numbers rise in even steps."""
    if numbers.size < 3 or np.isnan(numbers).any():
        return False
    step = (numbers[-1] - numbers[0]) / (numbers.size - 1)
    if not step > 0 or not math.isfinite(step):
        return False
    off = np.abs(numbers - numbers[0] - np.arange(numbers.size) * step)
    place = _last_place(numbers)
    return bool(off.max() <= max(0.51 * step, 1.01 * place)) and bool(np.all(np.diff(numbers) >= 0))


def _rises(numbers: NDArray[np.float64]) -> bool:
    """Whether numbers rise by a constant step with few exceptions, as times do if samples are missing."""
    if numbers.size < 10 or np.isnan(numbers).any():
        return False
    steps = np.diff(numbers)
    usual = float(np.median(steps))
    alike = np.abs(steps - usual) <= 1e-6 * abs(usual) + 1e-12 * float(np.abs(numbers).max())
    return usual > 0 and bool(np.all(steps >= 0)) and float(alike.mean()) >= 0.9


def _last_place(numbers: NDArray[np.float64]) -> float:
    """Return the last decimal place of some numbers."""
    for places in range(8):
        if np.allclose(numbers, np.round(numbers, places), rtol=0, atol=1e-9):
            return 10.0**-places
    return 1e-8


def _counts(numbers: NDArray[np.float64]) -> bool:
    """Whether numbers are consecutive integers."""
    return bool(np.all(np.diff(numbers) == 1)) and bool(np.all(numbers == np.round(numbers)))


def _smoothness(body: NDArray[np.float64]) -> float:
    """Return the roughness down the columns relative to that along the lines: below 1 for components side by side."""
    if body.shape[0] < 3:
        return 1.0
    flat = body.ravel()
    flat = flat - np.median(flat)
    along = float(np.mean(np.diff(flat) ** 2))
    down = float(np.mean(np.diff(body, axis=0) ** 2))
    return down / along if along > 0 else 1.0


def _is_integral(body: NDArray[np.float64], columns: list[Column], step: float | None) -> bool:
    motion = [i for i, column in enumerate(columns) if column.role == "motion"]
    if step is None or len(motion) != 3 or len(body) < 20:
        return False
    good = 0
    for a, b in ((motion[0], motion[1]), (motion[1], motion[2])):
        slope, middle = np.diff(body[:, b]), (body[1:, a] + body[:-1, a]) / 2
        if slope.std() > 0 and middle.std() > 0:
            good += bool(np.corrcoef(slope, middle)[0, 1] > 0.8)
    return good == 2


def _clock(lines: Lines, blocks: Blocks, rows: int, total: int) -> Arrangement:
    shape, clock = blocks.shape, blocks.clock
    above = rows_above(lines, blocks.runs[0][0], shape, shape.cells) or rows_above(
        lines, blocks.runs[0][0], shape, shape.cells - clock + 1
    )
    shift = shape.cells - len(above[0][1]) if above else 0
    columns = [Column("clock", "clock") for _ in range(clock)]
    for i in range(clock, shape.cells):
        column = _named(above, i - shift) if above else Column("motion")
        column.role = "motion"
        columns.append(column)
    return Arrangement("columns", columns, rows, total, [at for at, _ in above])


def unit_kind(text: str) -> Unit | None:
    """Return the unit given with a column's name."""
    return unit_at(text) if text else None
