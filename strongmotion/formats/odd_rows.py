"""Checks for rows that are valid numbers but wrong, as a layout that is off by a line or column produces them."""

from __future__ import annotations

import re
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..record import Finding
from . import header
from .lines import Block, Lines

_LOOKED_AT = 40
_LEAST_VALUES = 4


def odd_rows(lines: Lines, numbered: NDArray[np.int32], block: Block, component: str) -> list[Finding]:
    """Return findings on suspicious lines of a block.

    Parameters
    ----------
    lines : Lines
    numbered : ndarray of int32
        The lines that were read.
    block : Block
        Arrangement of the numbers.
    component : str
        Name of the component; empty if there are several.

    Raises
    ------
    RecordError
        The column widths cut through numbers, or the last number of each line is a line counter.
    """
    if numbered.size < 2:
        return []
    shown = [lines.line(int(at)) for at in numbered[:_LOOKED_AT]]
    _check_widths(lines, numbered, block, shown)
    _check_counter(lines, numbered, block, shown)
    return [
        *_row_above(lines, numbered, block, shown, component),
        *_first_row(numbered, block, shown, component),
        *_repeated(lines, numbered, block, component),
    ]


def _check_widths(lines: Lines, numbered: NDArray[np.int32], block: Block, shown: list[str]) -> None:
    if not isinstance(block.width, int):
        return
    edges = cut = 0
    for line in shown:
        body = line[block.margin : block.last_column]
        for at in range(block.width, len(body), block.width):
            after = body[at : at + block.width]
            full = len(after) == block.width and not any(letter.isspace() for letter in after)  # a number may fill it
            edges += 1
            cut += body[at - 1].isdigit() and (body[at].isdigit() or body[at] == block.decimal) and not full
    if edges >= 3 and cut > 0.25 * edges:
        raise lines.reading.error(
            f"columns of width {block.width} cut through numbers",
            int(numbered[0]) + 1,
            "Correct width or margin in the layout",
        )


def _check_counter(lines: Lines, numbered: NDArray[np.int32], block: Block, shown: list[str]) -> None:
    if block.rows or len(shown) < 8:
        return
    last = [block.number(cells[-1]) for line in shown[:-1] if len(cells := block.cells(line)) >= 3]
    if len(last) < 7 or not all(re.fullmatch(r"\d{1,9}", text) for text in last):
        return
    others = [block.number(cell) for line in shown[:3] for cell in block.cells(line)[:-1]]
    if all(re.fullmatch(r"[-+]?\d+", text) for text in others) and max(len(text) for text in others) > 6:
        return
    steps = np.diff([int(text) for text in last])
    if steps[0] > 0 and np.all(steps == steps[0]):
        raise lines.reading.error(
            f"the last number of each line is a line counter ({', '.join(last[:3])}, ...), not a sample",
            int(numbered[0]) + 1,
            "Set last_column in the layout to the last character of the samples",
        )


def _skeleton(line: str) -> str:
    return re.sub(r"\d", "9", line.replace("-", " ").rstrip())


def _places(cell: str) -> int:
    """Return the number of decimal places."""
    return len(cell.partition(".")[2])


def _row_above(
    lines: Lines, numbered: NDArray[np.int32], block: Block, shown: list[str], component: str
) -> list[Finding]:
    first = int(numbered[0])
    if first == 0:
        return []
    above = lines.line(first - 1)
    cells = block.cells(above)
    usual = block.cells(shown[0])
    if first > 1 and not any(header.usable_number(block.number(cell)) for cell in cells):
        # Perhaps names. A row of numbers above them with as many decimal places is a row of samples.
        higher = block.cells(lines.line(first - 2))
        if [_places(cell) for cell in higher] == [_places(cell) for cell in usual] and any(map(_places, usual)):
            first, above, cells = first - 1, lines.line(first - 2), higher
    alike = _skeleton(above) == _skeleton(shown[0]) if len(usual) == 1 else len(cells) == len(usual)
    if not alike or not all(header.usable_number(block.number(cell)) for cell in cells):
        return []
    if len(usual) > 1 and not any("." in cell or "," in cell for cell in cells) and any("." in c for c in usual):
        return []  # a row of azimuths or channel numbers
    return [
        Finding(
            "row above the numbers", "doubt",
            f"line {first}, above the numbers, looks like a row of samples, but was not read",
            "if it holds samples, the motion is shifted by one row",
            "check the number of header lines against the file",
            component, place=f"line {first}",
        )
    ]  # fmt: skip


def _first_row(numbers: NDArray[np.int32], block: Block, shown: list[str], component: str) -> list[Finding]:
    """Find a first row of whole numbers above rows of decimals, such as the last line of a header."""
    rows = [[block.number(cell) for cell in block.cells(line)] for line in shown]
    motion = [at for at, label in enumerate(block.columns) if label not in ("time", "clock", "-")]

    def decimals(row: list[str]) -> list[bool]:
        return ["." in cell for at, cell in enumerate(row) if not block.rows or at in motion]

    if len(rows) < 8 or any(decimals(rows[0])) or not all(all(decimals(row)) for row in rows[1:]):
        return []
    if not any(float(cell) for cell in rows[0] if header.usable_number(cell)):
        return []  # a zero may be printed without its decimals
    return [
        Finding(
            "first row unlike the others", "doubt",
            f"line {int(numbers[0]) + 1}, read as samples, has integers, while all rows below have decimals",
            "if it belongs to the header, the first sample is wrong and the motion is shifted by one row",
            "check the number of header lines against the file",
            component, place=f"line {int(numbers[0]) + 1}",
        )
    ]  # fmt: skip


def _repeated(lines: Lines, numbered: NDArray[np.int32], block: Block, component: str) -> list[Finding]:
    """Return lines of several values that are equal to the previous line."""
    if block.rows and len(block.columns) < _LEAST_VALUES:
        return []
    begins, ends = lines.begins[numbered].astype(np.int64), lines.ends[numbered].astype(np.int64)
    sizes = ends - begins
    data = lines.reading.data
    alike = np.flatnonzero(sizes[1:] == sizes[:-1])
    # The last eight bytes differ for most pairs of lines.
    tail = np.minimum(sizes, 8)
    same = np.ones(alike.size, bool)
    for back in range(1, 9):
        use = tail[alike] >= back
        one = lines.bytes[np.maximum(ends[alike] - back, 0)]
        two = lines.bytes[np.maximum(ends[alike + 1] - back, 0)]
        same &= ~use | (one == two)
    found = []
    for at in alike[same].tolist():
        row = data[begins[at] : ends[at]]
        if (
            row == data[begins[at + 1] : ends[at + 1]]
            and len(set(block.cells(lines.line(int(numbered[at]))))) >= _LEAST_VALUES
        ):
            found.append(int(numbered[at + 1]) + 1)
            if len(found) > 100:
                break
    return [repeated_rows(found, component)] if found else []


def repeated_rows(found: list[int], component: str = "") -> Finding:
    """Return the finding on lines (given by number) that repeat the previous line."""
    return Finding(
        "repeated rows", "doubt",
        f"{len(found)} line{'s' * (len(found) > 1)} of samples repeat the previous line, first in line {found[0]}",
        "if a line was written twice, the motion after it is delayed and has a step",
        "compare with the original file",
        component, place=f"line {found[0]}", values={"rows": float(len(found))},
    )  # fmt: skip


def check_counter(reading: header.Reading, columns: list[NDArray[Any]], passed: list[bool], line: int) -> None:
    """Refuse a last column that is a row counter.

    Raises
    ------
    RecordError
        The last column counts the rows.
    """
    last = columns[-1]
    if len(columns) < 2 or passed[-1] or len(last) < 8 or last.dtype.kind != "i" or not np.all(np.diff(last) == 1):
        return
    if any(column.dtype.kind == "f" for column, over in zip(columns[:-1], passed[:-1], strict=True) if not over):
        raise reading.error(
            f"the last number of each line is a line counter ({last[0]}, {last[1]}, ...), not a sample",
            line,
            "Remove the column, or skip it with a layout",
        )
