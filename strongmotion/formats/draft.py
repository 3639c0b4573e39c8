"""A first layout for a text file, drafted from the file itself, with what is unsure said beside it.

The draft finds where numbers begin and end, how they stand, and which words of the header look like an interval, a
count, a unit and so on. It guesses; the person who knows the file corrects it. What cannot be told is left open.
"""

from __future__ import annotations

import itertools
import re
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path

from ..foundation.errors import InputError, StrongMotionError
from ..foundation.units import acceleration_unit
from ..record import Record
from . import header
from .header import Reading
from .layout import QUANTITIES, layout_from_text
from .text import read_text
from .lines import LONGEST_HEADER_LINE
from .source import content

MOST_BYTES = 5_000_000
_MOST_HEADER = 100
_LEAST_ROWS = 3

_NUMBER = r"[-+]?(?:\d+\.?\d*|\.\d+)(?:[eEdD][-+]?\d+)?"
_WORDS: dict[str, str] = {
    # What stands before a value, and what the value looks like. Common words; the first that fits is taken.
    "sampling_rate": rf"(?:sampl\w* *(?:rate|freq\w*)|rate|freq\w*|sps)[^\d\n]*?({_NUMBER})",
    "dt": rf"(?:interv\w*|time *step|step|\bdt\b|delta *t|increment|period)[^\d\n]*?({_NUMBER})",
    "samples": r"(?:samples|points|values|number|npts|count|length|\bn\b)[^\d\n]*?(\d+)(?![.\d])",
    "sensitivity": rf"(?:sensitivity|counts? */ *\S*|counts? per \S*)[^\d\n]*?({_NUMBER})",
    "scale": rf"(?:scale|factor|multipl\w*|lsb)[^\d\n]*?({_NUMBER})",
    "latitude": rf"(?:lat\w*)[^\d\n]*?({_NUMBER})",
    "longitude": rf"(?:lon\w*)[^\d\n]*?({_NUMBER})",
    "elevation": rf"(?:elev\w*|altitude|height)[^\d\n]*?({_NUMBER})",
    "azimuth": rf"(?:azimuth)[^\d\n]*?({_NUMBER})",
    "station": r"(?:station *code|station|site|\bsta\b)[ :=;,]+(\w[\w-]{0,11})\b",
    "component": r"(?:component|channel|direction|axis|comp)[ :=;,]+([\w-]{1,8})\b",
}
_START = re.compile(r"\d{4}-\d\d-\d\d[T ]\d\d:\d\d(?::\d\d(?:\.\d{1,9})?)?Z?")
_UNIT = re.compile(r"[A-Za-z²^*/\d().-]+")
_USUAL = {2: ("H1", "H2"), 3: ("H1", "H2", "V"), 1: ("H1",)}


@dataclass
class Draft:
    """A drafted layout.

    Parameters
    ----------
    toml : str
        The layout, commented.
    unsure : list of str
        What a person must look at.
    record : Record or None
        What the file reads as by it; None where it cannot be read so.
    problem : str
        Why it cannot.
    """

    toml: str
    unsure: list[str]
    record: Record | None
    problem: str


@dataclass
class _Shape:
    """How the numbers stand."""

    delimiter: str = ""
    decimal: str = "."
    exponent: str = ""
    width: int | None = None
    counts: Counter[int] = field(default_factory=Counter)

    def cells(self, line: str) -> list[str]:
        if self.width is not None:
            line = line.rstrip()
            return [line[i : i + self.width] for i in range(0, len(line), self.width)]
        return line.split(self.delimiter or None)

    def is_number(self, cell: str) -> bool:
        text = cell.strip()
        if self.decimal == ",":
            text = text.replace(".", "?").replace(",", ".")
        if self.exponent:
            text = text.replace(self.exponent, "e")
        return header.usable_number(text)


def draft_layout(path: str | Path) -> Draft:
    """Draft a layout from an example file.

    Parameters
    ----------
    path : str or Path

    Returns
    -------
    Draft

    Raises
    ------
    RecordError
        The file cannot be read, or holds no block of numbers.
    """
    file, data = content(path)
    reading = Reading(file, data.replace(b"\r\n", b"\n").replace(b"\r", b"\n"))
    if len(data) > MOST_BYTES or b"\0" in data:
        what = "is binary" if b"\0" in data else f"has more than {MOST_BYTES / 1e6:.0f} MB"
        raise reading.error(f"the file {what}", remedy="Draft from a small text file of the same kind")
    unsure: list[str] = []
    encoding = "utf-8"
    try:
        text = reading.data.decode(encoding)
    except UnicodeDecodeError:
        encoding = "latin-1"
        text = reading.data.decode(encoding)
        unsure.append("the encoding: it is not UTF-8; Latin-1 reads any byte, right or wrong")
    lines = [line[:LONGEST_HEADER_LINE] for line in text.rstrip().split("\n")]
    shape, blocks = _blocks(lines)
    if not blocks:
        raise reading.error(
            f"no block of {_LEAST_ROWS} or more lines of numbers was found", remedy="Write the layout by hand"
        )
    toml = _written(Path(file).stem, lines, encoding, shape, blocks, unsure)
    try:
        record = read_text(reading, layout_from_text(toml, "the draft"))
        return Draft(_commented(toml, unsure), unsure, record, "")
    except StrongMotionError as error:
        return Draft(_commented(toml, unsure), unsure, None, str(error))


def _commented(toml: str, unsure: list[str]) -> str:
    doubts = "".join(f"# Unsure: {doubt}.\n" for doubt in unsure)
    return f"# A draft: check every line of it against what you know of the file.\n{doubts}{toml}"


def _blocks(lines: list[str]) -> tuple[_Shape, list[tuple[int, int]]]:
    """Return how numbers stand, and the runs of lines that hold them: the shape that explains most."""
    best: tuple[int, _Shape, list[tuple[int, int]]] = (0, _Shape(), [])
    for shape in _shapes(lines):
        widths = [_columns(shape, line) for line in lines]
        runs = _runs(widths)
        explained = sum(end - begin for begin, end in runs)
        if explained > best[0]:
            shape.counts = Counter(widths[i] for begin, end in runs for i in range(begin, end))
            best = (explained, shape, runs)
    return best[1], best[2]


def _shapes(lines: list[str]) -> list[_Shape]:
    text = "\n".join(lines)
    exponent = "D" if re.search(r"\d[D][-+]\d\d", text) else "d" if re.search(r"\d[d][-+]\d\d", text) else ""
    shapes = [_Shape("", ".", exponent)]
    for delimiter in (";", "\t", ",", "|"):
        if text.count(delimiter) >= _LEAST_ROWS:
            shapes.append(_Shape(delimiter, ".", exponent))
            if delimiter != ",":
                shapes.append(_Shape(delimiter, ",", exponent))
    if re.search(r"\d,\d", text):
        shapes.append(_Shape("", ",", exponent))
    # Columns of one width without blanks between: the width divides the length of most long lines.
    lengths = Counter(len(line.rstrip()) for line in lines)
    usual = lengths.most_common(1)[0][0]
    shapes += [_Shape("", ".", exponent, width) for width in range(3, 26) if usual % width == 0 and usual > width]
    return shapes


def _columns(shape: _Shape, line: str) -> int:
    """Return how many cells a line of numbers has; 0 for another line."""
    if not line.strip():
        return 0
    cells = shape.cells(line)
    good = [shape.is_number(cell) for cell in cells]
    if shape.width is not None:
        tidy = all(len(cell) == shape.width and cell[-1:].strip() for cell in cells)
        return len(cells) if tidy and all(good) else 0
    if all(good):
        return len(cells)
    # A column of text, such as a row's number with a mark, is passed over if two numbers or more stand beside it.
    return len(cells) if sum(good) >= max(2, len(cells) - 2) and len(cells) > 2 else 0


def _runs(widths: list[int]) -> list[tuple[int, int]]:
    """Return runs of lines of one number of cells, the last line of each possibly shorter."""
    runs: list[tuple[int, int]] = []
    at = 0
    while at < len(widths):
        end = at
        while end < len(widths) and widths[end] == widths[at] and widths[at]:
            end += 1
        if end - at >= _LEAST_ROWS or (runs and end - at >= 2):
            last = end < len(widths) and 0 < widths[end] < widths[at]
            runs.append((at, end + last))
            end += last
        at = max(end, at + 1)
    most = max((end - begin for begin, end in runs), default=0)
    return [run for run in runs if run[1] - run[0] > 0.5 * most]


def _written(
    name: str, lines: list[str], encoding: str, shape: _Shape, blocks: list[tuple[int, int]], unsure: list[str]
) -> str:
    begin, end = blocks[0]
    heads = [lines[a:b] for a, b in zip([0, *(b for _, b in blocks[:-1])], (a for a, _ in blocks), strict=True)]
    side, block_keys = _block(lines, shape, blocks, unsure)
    own, shared, first = heads[0], [], ""
    if len(blocks) > 1:
        first, size = _first(heads)
        if any(key.startswith("comment") for key in block_keys):
            pass  # one block, with remarks in it
        elif first:
            own, shared = heads[0][len(heads[0]) - size :], heads[0][: len(heads[0]) - size]
        else:
            unsure.append(f"{len(blocks)} blocks were found, and nothing common begins them: only the first is read")
    rows = end - begin
    counted = {rows, sum(len(shape.cells(lines[i])) for i in range(begin, end))}
    found = _quantities(own, shape, counted, unsure)
    above = _quantities(shared, shape, counted, []) if shared else {}
    for quantity in above:
        found.pop(quantity, None)
    every = {**above, **found}
    if "sampling_rate" in every:
        found.pop("dt", None)
        above.pop("dt", None)
    elif "dt" not in every and "time" not in side:
        unsure.append("the sampling interval: the header does not seem to say it; give it in [header.dt]")
    if "unit" not in every:
        unsure.append("the unit of the numbers: the header does not seem to say it; give it in [header.unit]")
    if len(blocks) > 1 and first and "component" not in found:
        unsure.append("which block is which component")
    parts = [f'name = "{re.sub(r"[^A-Za-z0-9_-]", "-", name)}"']
    beginning = next((line for line in lines[:20] if re.search(r"[^\W\d]{3}", line)), "")
    if opening := _opening(beginning.strip()) or re.split(r"\d", beginning.strip())[0].strip()[:30]:
        blanks = " *" if beginning[0].isspace() else ""
        parts.append(f"recognise = {_quoted('^' + blanks + _literal(opening))}")
    if encoding != "utf-8":
        parts.append(f'encoding = "{encoding}"')
    if above:
        parts.append("\n[file]")
        parts += [f"{quantity}.{rule}" for quantity, rule in above.items()]
    parts.append("\n[header]")
    if first:
        parts.append(f"first = {_quoted(first)}")
    parts.append(f"lines = {len(own)}")
    parts += [f"{quantity}.{rule}" for quantity, rule in found.items()]
    parts.append("\n[block]")
    parts += block_keys
    return "\n".join(parts) + "\n"


def _block(
    lines: list[str], shape: _Shape, blocks: list[tuple[int, int]], unsure: list[str]
) -> tuple[list[str], list[str]]:
    """Return the labels of columns side by side, or none, and the lines of the table [block]."""
    begin, end = blocks[0]
    usual = shape.counts.most_common(1)[0][0]
    rows = [shape.cells(lines[i]) for i in range(begin, end) if len(shape.cells(lines[i])) == usual]
    keys, labels = [], []
    good = [all(shape.is_number(row[i]) for row in rows) for i in range(usual)]
    above = _labels(lines, begin, shape, usual)
    even = len(rows) == end - begin
    if shape.width is None and even and (above or usual <= 4 or not all(good)):
        numbers = [[_value(shape, row[i]) for row in rows] if good[i] else [] for i in range(usual)]
        counter = [bool(n) and all(b - a == 1 for a, b in itertools.pairwise(n)) for n in numbers]
        time = next((i for i in range(usual) if _is_time(numbers[i]) and (not counter[i] or _says_time(above, i))), -1)
        motion = [i for i in range(usual) if good[i] and i != time and not counter[i]]
        names = above or [""] * usual
        spoken = [name for i, name in enumerate(names) if i in motion]
        if len(set(spoken)) < len(spoken) or not all(re.fullmatch(r"[A-Za-z0-9_-]{1,32}", name) for name in spoken):
            given = _USUAL.get(len(motion), tuple(f"C{i + 1}" for i in range(len(motion))))
            names = ["" for _ in range(usual)]
            for i, label in zip(motion, given, strict=True):
                names[i] = label
            unsure.append(f"which column is which component: {', '.join(given)} was taken as the order")
        elif any(header.direction(name)[0] not in ("H1", "H2", "V") for name in spoken):
            unsure.append(f"the directions of {', '.join(spoken)}")
        if time >= 0 and not _says_time(above, time):
            unsure.append(f"whether column {time + 1} is the time in seconds")
        labels = ["time" if i == time else names[i] if i in motion else "-" for i in range(usual)]
        keys.append(f"columns = [{', '.join(f'{chr(34)}{label}{chr(34)}' for label in labels)}]")
    elif shape.counts:
        keys.append(f"values_per_line = {usual}")
        if usual <= 4:
            unsure.append("whether numbers go on along the lines, or stand in columns of components")
    if shape.width is not None:
        keys.append(f"width = {shape.width}")
    if shape.delimiter:
        keys.append(f'delimiter = "{shape.delimiter}"'.replace("\t", "\\t"))
    if shape.decimal != ".":
        keys.append('decimal = ","')
    if shape.exponent:
        keys.append(f'exponent = "{shape.exponent}"')
    after = [line for line in lines[blocks[-1][1] :] if line.strip()]
    between = [lines[i] for a, b in _gaps(blocks) for i in range(a, b)]
    marks = {line.strip()[:1] for line in between if line.strip()}
    if len(blocks) > 1 and len(marks) == 1 and not _first_like(blocks, lines):
        mark = marks.pop()
        if not mark.isalnum():
            keys.append(f'comment = "{mark}"')
    if after:
        keys.append(f"until = {_quoted('^' + _literal(_opening(after[0]) or after[0][:5]))}")
        unsure.append(f"{len(after)} lines after the numbers are passed over")
    return labels, keys


def _gaps(blocks: list[tuple[int, int]]) -> list[tuple[int, int]]:
    return [(a[1], b[0]) for a, b in itertools.pairwise(blocks)]


def _first_like(blocks: list[tuple[int, int]], lines: list[str]) -> bool:
    """Whether each block has a header of its own."""
    heads = [lines[: blocks[0][0]], *(lines[a:b] for a, b in _gaps(blocks))]
    return bool(_first(heads)[0])


def _first(heads: list[list[str]]) -> tuple[str, int]:
    """Return a pattern of the line that begins each block's header, and how many lines such a header has."""
    size = min(len(head) for head in heads)
    if not size or len({len(head) for head in heads[1:]}) > 1:
        return "", 0
    starts = [head[len(head) - size] for head in heads]
    common = starts[0]
    for start in starts:
        while not start.startswith(common):
            common = common[:-1]
    common = re.split(r"\d", common)[0]
    return (f"^{_literal(common)}", size) if len(common.strip()) >= 3 else ("", 0)


def _labels(lines: list[str], begin: int, shape: _Shape, columns: int) -> list[str]:
    """Return the words of the line above the numbers, if there is one for each column."""
    if begin == 0:
        return []
    words = [word.strip().strip("\"'") for word in lines[begin - 1].split(shape.delimiter or None)]
    words = [re.sub(r"[\[(].*", "", word).strip() for word in words]
    return words if len(words) == columns and all(re.match(r"[^\W\d]", word) for word in words) else []


def _value(shape: _Shape, cell: str) -> float:
    text = cell.strip().replace(shape.decimal, ".")
    return float(text.replace(shape.exponent, "e") if shape.exponent else text)


def _is_time(numbers: list[float]) -> bool:
    if len(numbers) < _LEAST_ROWS:
        return False
    step = (numbers[-1] - numbers[0]) / (len(numbers) - 1)
    return step > 0 and all(
        abs(value - numbers[0] - i * step) <= 0.51 * step for i, value in enumerate(numbers)
    )  # fmt: skip


def _says_time(labels: list[str], at: int) -> bool:
    return bool(labels) and labels[at].lower().startswith(("t", "zeit", "sec"))


def _quantities(head: list[str], shape: _Shape, counted: set[int], unsure: list[str]) -> dict[str, str]:
    """Return rules for what a header seems to say."""
    found: dict[str, str] = {}
    taken: dict[tuple[str, int], list[str]] = {}
    head = head[-_MOST_HEADER:]
    for line in head:
        if "start" not in found and (match := _START.search(line)):
            found["start"] = _rule(line, match.start(), r"(.*\d\S*)" if " " in match[0] else r"(\S+)")
        for quantity, words in _WORDS.items():
            if quantity in found or quantity not in QUANTITIES:
                continue
            number = words.replace(_NUMBER, _NUMBER.replace(r"\.?", "[.,]?")) if shape.decimal == "," else words
            for match in re.finditer(number, line, re.IGNORECASE):
                value = match[1]
                if quantity == "samples" and int(value) not in counted:
                    continue
                text = value.replace(",", ".") if shape.decimal == "," else value
                if quantity in ("dt", "sampling_rate") and not (header.usable_number(text) and 0 < float(text) < 1e5):
                    continue
                if quantity == "station" and value != value.upper():
                    continue  # a word, not a code
                if quantity == "dt" and (float(text) > 1 or re.search(r"\bms\b|millisec", line)):
                    unsure.append(f"whether {value} in {header.shown(line.strip())} is the interval in seconds")
                found[quantity] = _rule(
                    line, match.start(1), r"([^\s;,]+)" if shape.decimal == "." else r"([^\s;]+)", match.start()
                )
                break
        if "sampling_rate" not in found and (match := re.search(rf"({_NUMBER}) *(?:Hz|sps)\b", line, re.IGNORECASE)):
            found["sampling_rate"] = _rule(line, match.start(1), r"([\d.]+)")
    for (line, _), quantities in taken.items():
        rivals = [quantity for quantity in quantities if quantity != "samples"]  # that one is known by its value
        if len(quantities) > 1:
            for quantity in rivals:
                del found[quantity]
            unsure.append(f"which number in {header.shown(line.strip())} is which: {', '.join(rivals)} is left out")
    unit = _unit_rule(head)
    if unit:
        found["unit"] = unit
    if "scale" in found and "sensitivity" in found:
        found.pop("scale")
        unsure.append("whether the scale or the sensitivity holds")
    return found


def _unit_rule(head: list[str]) -> str:
    """Return the rule of the unit: a word that is one, on a line that speaks of units first."""
    spoken = sorted(head, key=lambda line: not re.search(r"unit|einheit|unidad|unit[àé]", line, re.IGNORECASE))
    if any(re.search(r"counts? *(?:/|per)", line, re.IGNORECASE) for line in head):
        return 'value = "counts"'
    for line in spoken:
        for match in _UNIT.finditer(line):
            word = match[0].strip("().")
            try:
                unit = acceleration_unit(word)
            except InputError:
                continue
            named = line in spoken[:1] and re.search(r"unit|einheit", line, re.IGNORECASE)
            if unit == "g" and not named and not re.search(r"[\[(]g[\])]", line):
                continue
            return _rule(line, match.start() + match[0].index(word), r"([^\s;,()]+)")
    return ""


def _rule(line: str, at: int, group: str, word: int | None = None) -> str:
    """Return a pattern rule for a value: the words before it, from `word` on, else from the last number on."""
    if word is not None:
        anchored = not line[:word].strip()
        words = line[0 if anchored else word : at]
    else:
        anchored = not re.search(r"\d", line[:at])
        words = line[:at] if anchored else re.split(r"\d\S*", line[:at])[-1]
    return f"pattern = {_quoted(('^' if anchored else '') + _literal(words) + group)}"


def _opening(line: str) -> str:
    """Return the words a line begins with, down to its first digit or mark."""
    return re.split(r"[^\w -]|\d", line)[0].rstrip()


def _literal(text: str) -> str:
    """Return a pattern of a text, any blanks for its blanks."""
    return re.sub(r"(?:\\?[ \t])+", " +", re.escape(text)).replace(r"\-", "-").replace(r"\#", "#")


def _quoted(pattern: str) -> str:
    return f"'{pattern}'" if "'" not in pattern else '"' + pattern.replace("\\", "\\\\").replace('"', '\\"') + '"'
