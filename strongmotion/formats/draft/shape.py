"""Find the numbers of a text file and their arrangement: blocks, columns, widths, decimal sign."""

from __future__ import annotations

import itertools
import math
from collections import Counter
from dataclasses import dataclass, field, replace

import numpy as np
import re2
from numpy.typing import NDArray

from .. import header
from ..lines import Block, Lines

LEAST_ROWS = 3
LEAST_IN_A_LINE = 50
"""Numbers of a line that alone is a block: more than any header states beside each other."""
_LOOKED_AT = 200
_MOST_HEADER = 199
_FORMAT = re2.compile(
    r"(?i)(?:^|[^\pL0-9])(\(?(?:[0-9]{1,2} ?\()?(?:[0-9]{0,2}[FEDGI][0-9]{1,2}(?:\.[0-9]{1,2})?"
    r"|[0-9]{0,2}X|[ ,])+\)?\)?)(?:[^\pL0-9.]|$)"
)
_PIECE = re2.compile(r"(?i)([0-9]{0,2})([FEDGI])([0-9]{1,2})(?:\.([0-9]{1,2}))?|([0-9]{0,2})X")


@dataclass(frozen=True)
class Shape:
    """The arrangement of numbers on a line; `cells` is the count of numbers on a full line."""

    delimiter: str = ""
    decimal: str = "."
    exponent: str = ""
    width: int | tuple[int, ...] | None = None
    cells: int = 0
    last_column: int | None = None
    why: str = ""

    @property
    def block(self) -> Block:
        """The shape as the block of a layout."""
        return Block(
            values_per_line=self.cells or None, width=self.width, delimiter=self.delimiter, decimal=self.decimal,
            exponent=self.exponent, last_column=self.last_column,
        )  # fmt: skip

    def numbers(self, line: str) -> list[float]:
        """Return the numbers of a line; NaN for a cell that is not a number."""
        block = self.block
        texts = [block.number(cell) for cell in block.cells(line)]
        return [float(text) if header.usable_number(text) else math.nan for text in texts]


@dataclass
class Blocks:
    """The blocks of numbers of a file: first line, and the line after the last, of each."""

    runs: list[tuple[int, int]]
    shape: Shape
    rivals: list[Shape] = field(default_factory=list)
    comment: str = ""
    """The mark at the beginning of lines to skip among the numbers."""
    mixed: bool = False
    """Whether a column holds words."""
    clock: int = 0
    """Number of leading cells of each line that hold date and time of day."""


def blocks_of(lines: Lines, head: list[str]) -> Blocks | None:
    """Return the blocks of numbers and their possible shapes, the most likely first."""
    runs = _real_runs(lines)
    if not runs:
        return _clock_rows(lines) or _few_lines(lines) or _numbered_at_the_end(lines) or _mixed_rows(lines)
    longest = max(runs, key=lambda run: run[1] - run[0])
    sample = _sample(lines, *longest)
    if (touching := _touching(lines, *longest)) is not None:
        sample.insert(len(sample) // 2, touching)
    shapes = shapes_of(sample, head)
    if touching is not None:
        shapes = [one for one in shapes if one.width is not None or one.delimiter] or shapes
    if not shapes:
        return None
    shape = shapes[0]
    begun = [(_trimmed(lines, a, b, shape), b) for a, b in runs]
    return Blocks([run for run in begun if run[1] - run[0] >= 1], shape, shapes[1:])


def _real_runs(lines: Lines) -> list[tuple[int, int]]:
    """Return the runs of lines that are blocks, without rows of numbers in a header; damaged lines do not end a run."""
    runs = lines.runs(LEAST_ROWS)
    if not runs:
        return []
    joined = [runs[0]]
    for begin, end in runs[1:]:
        between = range(joined[-1][1], begin)
        if len(between) <= 3 and all(_is_damaged(lines.line(at)) for at in between):
            joined[-1] = (joined[-1][0], end)
        else:
            joined.append((begin, end))
    most = max(b - a for a, b in joined)
    return [run for run in joined if run[1] - run[0] >= max(LEAST_ROWS, 0.1 * most)]


def _few_lines(lines: Lines) -> Blocks | None:
    """Return the block of a file whose numbers stand along one or two long lines."""
    runs = [run for run in lines.runs(1) if len(lines.line(run[0]).replace(",", " ").split()) >= LEAST_IN_A_LINE]
    if len(runs) != 1:
        return None
    sample = [lines.line(at) for at in range(*runs[0])]
    for delimiter in (",", ";", "\t", ""):
        shape = Shape(delimiter)
        shape = replace(shape, cells=len(shape.block.cells(sample[0])))
        if shape.cells >= LEAST_IN_A_LINE and _fits(shape, sample):
            return Blocks(runs, shape)
    return None


def _is_damaged(line: str) -> bool:
    """Whether a line between numbers is a damaged row, not a header."""
    cells = line.replace(",", " ").replace(";", " ").split()
    good = sum(header.usable_number(cell) for cell in cells)
    return not cells or (len(cells) > 1 and good >= 0.5 * len(cells)) or (len(cells) == 1 and not _words(line))


def _words(line: str) -> bool:
    return bool(re2.search(r"\pL{2}", line)) and not re2.fullmatch(r"(?i) *(?:nan|inf|na|null|none|-+|\*+) *", line)


def _touching(lines: Lines, begin: int, end: int) -> str | None:
    """Return the first line in which adjacent numbers touch, or None."""
    first, last = int(lines.begins[begin]), int(lines.ends[end - 1])
    text = lines.bytes[first:last]
    signs = (
        np.flatnonzero(
            ((text[1:] == 45) | (text[1:] == 43)) & ((text[:-1] >= 48) & (text[:-1] <= 57) | (text[:-1] == 46))
        )
        + 1
    )
    if not signs.size:
        return None
    at = int(np.searchsorted(lines.begins, first + int(signs[0]), "right")) - 1
    return lines.line(at)


def _sample(lines: Lines, begin: int, end: int) -> list[str]:
    """Return a sample of the lines of a block, including the last."""
    if end - begin <= 2 * _LOOKED_AT:
        chosen = list(range(begin, end))
    else:
        middle = np.linspace(begin + _LOOKED_AT, end - 20, _LOOKED_AT).astype(int).tolist()
        chosen = [*range(begin, begin + _LOOKED_AT), *sorted(set(middle)), *range(end - 20, end)]
    return [line for at in chosen if (line := lines.line(at)).strip()]


def shapes_of(sample: list[str], head: list[str]) -> list[Shape]:
    """Return the possible shapes of lines of numbers, the most likely first."""
    text = "\n".join(sample)
    exponent = "D" if re2.search(r"[0-9.]D[-+ ]?[0-9]", text) else "d" if re2.search(r"[0-9.]d[-+]?[0-9]", text) else ""
    found: list[Shape] = []
    touching = bool(re2.search(r"[0-9.][-+][0-9.]|\.[0-9]*\.", re2.sub(r"[eEdD][-+]", "e", text)))
    for stated in _stated(head):
        for decimal in (".", ","):
            shape = replace(stated, decimal=decimal, exponent=exponent)
            if _fits(shape, sample):
                found.append(shape)
                break
            total = shape.width * shape.cells if isinstance(shape.width, int) else sum(shape.width or ())
            shorter = replace(shape, last_column=total)
            beyond = [line[total:].strip() for line in sample]
            if all(text.isdigit() or not text for text in beyond) and any(beyond) and _fits(shorter, sample):
                return [shorter]
    for delimiter, decimal in (
        ("\t", "."), (";", "."), ("|", "."), (",", "."), ("", "."), ("\t", ","), (";", ","), ("|", ","), ("", ","),
    ):  # fmt: skip
        if delimiter and text.count(delimiter) < len(sample) - 1:
            continue
        if decimal == "," and "," not in text:
            continue
        if delimiter == "," and _commas_are_decimal(sample):
            continue
        shape = Shape(delimiter, decimal, exponent)
        usual = Counter(len(shape.block.cells(line)) for line in sample[:_LOOKED_AT]).most_common(1)[0][0]
        shape = replace(shape, cells=usual)
        if _fits(shape, sample):
            found.append(shape)
    if touching or not found:
        found += _by_places(sample, exponent)
        if touching and "." not in text and "," not in text:
            found += _of_one_length(sample)
    return found[:6]


def _commas_are_decimal(sample: list[str]) -> bool:
    """Whether the only comma of each line is a decimal sign: always followed by the same number of digits."""
    parts = [line.strip().split(",") for line in sample]
    if any(len(part) != 2 or not part[1].isdigit() for part in parts):
        return False
    return len({len(part[1]) for part in parts}) == 1 and any(part[0].lstrip("+-") == "0" for part in parts)


def _fits(shape: Shape, sample: list[str]) -> bool:
    """Whether lines hold the count of numbers of a shape. The last line may hold fewer, and a few may differ."""
    block, wrong = shape.block, 0
    for at, line in enumerate(sample):
        cells = block.cells(line)
        count = len(cells) == shape.cells or (at == len(sample) - 1 and 0 < len(cells) < shape.cells)
        good = count and all(header.usable_number(block.number(cell)) for cell in cells)
        if good and isinstance(shape.width, int):
            good = all(len(cell) == shape.width for cell in cells)
        wrong += not good
    return wrong <= max(1, 0.02 * len(sample)) and wrong < len(sample)


def _stated(head: list[str]) -> list[Shape]:
    """Return the shapes stated by FORTRAN format codes in a header."""
    found = []
    for line in head:
        for match in _FORMAT.finditer(line[:300]):
            if shape := fortran(match[1]):
                found.append(replace(shape, why=f"format {match[1].strip()}"))
    return found[::-1]


def fortran(code: str) -> Shape | None:
    """Return the shape stated by a FORTRAN format code.

    Examples
    --------
    >>> fortran("8F10.3").width, fortran("(10(1X,F7.2))").cells, fortran("4(F8.3,F8.2)").width
    (10, 10, 8)
    """
    inner = re2.fullmatch(r" *\(? *([0-9]{1,2})? *\(?([^()]*)\)* *", code.strip())
    if inner is None:
        return None
    repeat = int(inner[1] or 1) if "(" in code.strip().lstrip("(") else 1
    body = code.strip().strip("()") if repeat == 1 else inner[2]
    widths: list[int] = []
    skip = 0
    at = 0
    for piece in _PIECE.finditer(body):
        if body[at : piece.start()].strip(" ,"):
            return None
        at = piece.end()
        if piece[2] is None:
            skip += int(piece[5] or 1)
            continue
        width = int(piece[3])
        if not 1 <= width <= 40:
            return None
        for _ in range(int(piece[1] or 1)):
            widths.append(width + skip)
            skip = 0
    if not widths or body[at:].strip(" ,"):
        return None
    widths *= repeat
    if not 1 <= len(widths) <= 100:
        return None
    same = widths[0] if len(set(widths)) == 1 else tuple(widths)
    return Shape(width=same, cells=len(widths))


def _by_places(sample: list[str], exponent: str) -> list[Shape]:
    """Return shapes of constant width for touching numbers, from the positions of the decimal points."""
    found = []
    for decimal in (".", ","):
        steps: Counter[int] = Counter()
        for line in sample[:_LOOKED_AT]:
            places = [at for at, character in enumerate(line) if character == decimal]
            steps.update(b - a for a, b in itertools.pairwise(places))
        for width, _ in steps.most_common(2):
            for last in (None, 72):
                shape = Shape("", decimal, exponent, width, 0, last)
                usual = Counter(len(shape.block.cells(line)) for line in sample).most_common(1)[0][0]
                shape = replace(shape, cells=usual, why="the places of the decimal points")
                if width >= 3 and _fits(shape, sample):
                    found.append(shape)
    return found


def _of_one_length(sample: list[str]) -> list[Shape]:
    """Return shapes of constant width for touching integers: each cell ends with a digit."""
    usual = Counter(len(line.rstrip()) for line in sample).most_common(1)[0][0]
    found = []
    for width in range(25, 2, -1):
        if usual % width == 0 and usual > width:
            shape = Shape("", ".", "", width, usual // width, why="the length of the lines")
            if _fits(shape, sample) and all(cell[-1:].isdigit() for line in sample for cell in shape.block.cells(line)):
                found.append(shape)
    return found


_WORD_AT_END = re2.compile(r"^(.*[0-9.])( +)([\pL#*][\pL0-9#*_-]*)\s*$")


def _numbered_at_the_end(lines: Lines) -> Blocks | None:
    """Return the block of a file whose fixed-width lines each end with a mark, as punched cards did."""
    shown = [lines.line(at)[:1000] for at in range(min(lines.count, 2000))]
    ended = [_WORD_AT_END.match(line) for line in shown]
    width = Counter(len(match[1]) for match in ended if match).most_common(1)
    if not width or width[0][1] < LEAST_ROWS:
        return None
    last = width[0][0]
    good = [at for at, match in enumerate(ended) if match and len(match[1]) <= last and "." not in match[3]]
    good = [at for at in good if all(map(header.usable_number, shown[at][:last].split()))]
    if len(good) < LEAST_ROWS or good[-1] - good[0] + 1 != len(good):
        return None
    cells = Counter(len(shown[at][:last].split()) for at in good).most_common(1)[0][0]
    shape = Shape("", ".", "", last // cells, cells, last, why="the marks at the ends of the lines")
    if cells < 2 or last % cells or not _fits(shape, [shown[at] for at in good]):
        return None
    return Blocks([(good[0], lines.count if good[-1] == len(shown) - 1 else good[-1] + 1)], shape)


def _mixed_rows(lines: Lines) -> Blocks | None:
    """Return the block of a file whose rows hold a column of words, such as flags, besides numbers."""
    shown = [lines.line(at)[:1000] for at in range(min(lines.count, 2000))]
    text = "\n".join(shown)
    exponent = "D" if re2.search(r"[0-9.]D[-+][0-9]", text) else ""
    best: Blocks | None = None
    for delimiter, decimal in ((";", ","), (";", "."), ("\t", "."), (",", "."), ("", "."), ("|", ".")):
        shape = Shape(delimiter, decimal, exponent)
        begin, kinds, mark = 0, None, ""
        for at, line in enumerate([*shown, ""]):
            if kinds and line[:1] in ("*", "#", "%", "!"):
                mark = line[0]
                continue
            cells = shape.block.cells(line)
            good = tuple(header.usable_number(shape.block.number(cell)) for cell in cells)
            if good == kinds and at < len(shown):
                continue
            if kinds and sum(kinds) >= 2 and at - begin >= LEAST_ROWS:
                run = (begin, at if at < len(shown) else lines.count)
                if best is None or run[1] - run[0] > best.runs[0][1] - best.runs[0][0]:
                    best = Blocks([run], replace(shape, cells=len(kinds)), comment=mark, mixed=not all(kinds))
            begin, kinds, mark = at, good, ""
    return best


def _trimmed(lines: Lines, begin: int, end: int, shape: Shape) -> int:
    """Return the first line of a block, excluding rows of numbers that belong to its header."""
    block = shape.block
    usual_points = Counter(
        _points(cell, shape.decimal)
        for at in range(begin, min(end, begin + 60))
        for cell in block.cells(lines.line(at))
    ).most_common(1)[0][0]
    for at in range(begin, min(begin + 6, end - 1)):
        line = lines.line(at)
        cells = block.cells(line)
        if not cells:
            continue
        good = len(cells) == shape.cells and all(header.usable_number(block.number(cell)) for cell in cells)
        if good and shape.cells == 1 and usual_points > 0 and _points(cells[0], shape.decimal) != usual_points:
            after = [block.cells(lines.line(i)) for i in range(at + 1, min(at + 30, end))]
            same = sum(len(c) == 1 and _points(c[0], shape.decimal) == usual_points for c in after)
            good = same < 0.95 * len(after)
        if good:
            return at
    return begin


def _points(cell: str, decimal: str) -> int:
    """Return the number of decimals; -1 without a decimal sign."""
    text = cell.strip().lower().partition("e")[0]
    return len(text.partition(decimal)[2]) if decimal in text else -1


def _clock_rows(lines: Lines) -> Blocks | None:
    """Return the block of a file whose rows begin with date and time of day, or with the time of day alone."""
    good: list[int] = []
    for at in range(min(lines.count, 400)):
        if re2.match(
            r" *\"?(?:(?:[0-9]{4}[-/][0-9]{2}[-/][0-9]{2}|[0-9]{2}[-/.][0-9]{2}[-/.][0-9]{4})[T ,;][0-9]{2}:"
            r"|[0-9]{1,2}:[0-9]{2}:[0-9]{2}(?:\.[0-9]+)?[ ,;\t])",
            lines.line(at),
        ):
            good.append(at)
    if len(good) < LEAST_ROWS or good[-1] - good[0] + 1 != len(good):
        return None
    sample = [lines.line(at) for at in good]
    for delimiter in (",", ";", "\t", ""):
        shape = Shape(delimiter)
        counts = Counter(len(shape.block.cells(line)) for line in sample)
        usual = counts.most_common(1)[0][0]
        if usual < 2 or len(counts) > 1:
            continue
        first = next(
            i for i in range(usual) if header.usable_number(shape.block.cells(sample[0])[i].strip()) or i == usual - 1
        )
        rest = [cell for line in sample for cell in shape.block.cells(line)[first:]]
        if 1 <= first <= 2 and all(header.usable_number(cell.strip()) for cell in rest):
            return Blocks([(good[0], lines.count)], replace(shape, cells=usual), clock=first)
    return None


def table(lines: Lines, run: tuple[int, int], shape: Shape, most: int = 4000) -> NDArray[np.float64]:
    """Return the numbers of the first lines of a block, a row for each line; NaN where a line is irregular."""
    rows = []
    for at in range(run[0], min(run[1], run[0] + most)):
        line = lines.line(at)
        if line.strip():
            numbers = shape.numbers(line)[: shape.cells]
            rows.append([*numbers, *[math.nan] * (shape.cells - len(numbers))])
    return np.array(rows, float).reshape(-1, max(shape.cells, 1))
