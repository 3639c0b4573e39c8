"""Parse the header of a text file into numbers, codes, dates and places, each with its label.

Headers have a few styles: a label followed by a colon, an equals sign, dots or blanks and the value; the value before
its label; a row of labels above a row of values; sentences; titles. All give the same `Item`.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import re2

from ...foundation.errors import InputError
from ...foundation.units import acceleration_unit
from ..phrases import (
    NUMBER,
    Unit,
    coordinate,
    coordinate_pair,
    letters_alone,
    moments,
    plain,
    pointing,
    unit_at,
    zone_in,
)
from .concepts import concept

_LEADING = re2.compile(r"^[\s#!%*>/|\x{FEFF}]+")
_DOTS = re2.compile(r"(?:\. ?){3,}|_{3,}|-{4,}")
_SPLIT = re2.compile(r"\t+|;|\||  +")
_PAIR = re2.compile(r"^([\pL%][^:=]*?) ?(?:=+|:( |$)|:) *(.*)$")
_NEXT_PAIR = re2.compile(r", +\pL[^0-9:=;,()]{0,30}[:=] ")
_KEY_FIRST = re2.compile(
    r"^(?:(?i:channel|chan|ch|component|comp|axis|sensor)[ .]*(?:[0-9]{1,3}|[A-Za-z]|[A-Z]{2}[A-Z0-9]):? +)?"
    r"\pL[\pL0-9_.-]*=[^ =]"
)
_KEY_NEXT = re2.compile(r"[ ,]+(\pL[\pL0-9_.-]*=[^ =])")
_NUMBER = re2.compile(NUMBER)
_LISTED = re2.compile(rf"^ *{NUMBER}(?:(?:, +|[ ;/|]+){NUMBER})+ *")
_STARTS_WITH_VALUE = re2.compile(r"^[-+\x{2212}]?[0-9.,][0-9]*")
_CLAUSE = re2.compile(r"; |, |\. +|[()\[\]{}]|\.$| - ")
_COORDINATE = re2.compile(r"(?i)\b(lat\w*|lon\w*)\.?:? +((?:[NSEW] ?|[-+])?[0-9].*)$")
LARGEST_NUMBER = 1e15
"""Larger than any count, rate or sensitivity."""

_PERCENT_G = re2.compile(r"^\s*% ?g\b")
_NUMBERED_LINE = re2.compile(r"^( *\(?[0-9]{1,2}[.)] +)\pL")
_QUOTED = re2.compile(r'^ *"[^"]*"(?:[,;\t] *(?:"[^"]*"|[^",;\t]*))+ *$')
_BRACKETED = re2.compile(r"[(\[]([^()\[\]]*)[)\]]")
_SECTION = re2.compile(r"^[\[(\-=*~# ]*([\pL ]+?)[\])\-=*~# ]*$")


_HEADINGS = (
    "event", "earthquake", "station", "site", "instrument", "recorder", "recording", "record", "processing",
    "peaks", "data", "sensor", "epicentre", "epicenter", "hypocentre", "hypocenter", "source", "evento", "sismo",
    "estacion", "stazione", "seisme", "erdbeben",
)  # fmt: skip


@dataclass(frozen=True)
class Item:
    """A value of a header and its label.

    `kind` is ``number``, ``date``, ``place`` (a pair of coordinates) or ``text``; or ``step`` (``units of 10**-4 g``)
    and ``digit`` (``1 digit = 2000/8388608 gal``), whose number is the value in m/s² of a sample of 1. `label` is in
    plain lower case; `line` counts from 0 in the file; `text` is verbatim in that line; `row` numbers the rows of a
    table from 0; `under` is the heading of this part of the header.
    """

    kind: str
    label: str
    text: str
    line: int
    number: float = 0.0
    unit: Unit | None = None
    row: int | None = None
    under: str = ""
    stated: str = ""
    """The unit as written, and the rest of the text after the number."""
    labelled: bool = True
    """Whether the value has a label; else the words around it are those of a sentence."""
    context: str = ""
    """The first words of its line."""


def items_of(lines: Sequence[tuple[int, str]], decimal: str = ".") -> list[Item]:
    """Return the items in the lines of a header.

    Parameters
    ----------
    lines : sequence of (int, str)
        Lines and their numbers in the file, from 0.
    decimal : str
        The decimal sign of the file's numbers.
    """
    return _Header(lines, decimal).items()


class _Header:
    def __init__(self, lines: Sequence[tuple[int, str]], decimal: str) -> None:
        self.lines = [(at, _bare(text)) for at, text in lines]
        self.decimal = decimal
        split = self._by_commas([_cells(text) for _, text in self.lines])
        value_first = sum(
            len(c) == 2
            and _is_value(c[0])
            and _is_alone(c[0])
            and _is_label(c[1])
            and _is_known(c[1])
            and not _pair(c[0])
            for c in split
        )
        label_first = sum((len(c) >= 2 and _is_label(c[0]) and _is_value(c[1])) or any(map(_pair, c)) for c in split)
        self.value_first = value_first > label_first
        self.split = split

    def _by_commas(self, split: list[list[str]]) -> list[list[str]]:
        """Return the cells of all lines, split also at commas between labels, or between a label and its value."""
        if self.decimal == ",":
            return split
        cells = [
            [one.strip() for one in text.split(",")] if "," in text and not re2.search("[:=;]", text) else []
            for _, text in self.lines
        ]
        led = [
            len(row) > 1 and _is_label(row[0]) and _is_known(row[0]) and not text.partition(",")[2].startswith(" ")
            for (_, text), row in zip(self.lines, cells, strict=True)
        ]  # fmt: skip
        sure = sum(one and not all(map(_is_label, row)) for one, row in zip(led, cells, strict=True)) > 1
        for at, row in enumerate(cells):
            below = cells[at + 1] if at + 1 < len(cells) else []
            if (
                len(row) > 2 and len(row) == len(below) and all(row) and all(map(_is_label, row)) and _all_known(row)
                and any(map(_is_value, below))
            ):  # fmt: skip
                split[at], split[at + 1] = row, below
            elif sure and led[at]:
                split[at] = [row[0], self.lines[at][1].partition(",")[2].strip()]
        return split

    def items(self) -> list[Item]:
        found: list[Item] = [step for at, text in self.lines if (step := _step(text, at)) is not None]
        under = ""
        at = 0
        while at < len(self.lines):
            if size := self._running(at):
                found += self._facts(at, size)
                at += size
                continue
            if size := self._prose(at):
                found += self._sentences(at, size)
                at += size
                continue
            number, text = self.lines[at]
            cells = self.split[at]
            if not cells:
                at += 1
                continue
            if size := self._side_by_side(at):
                found += self._boxes(at, size)
                at += size
                continue
            heading = _SECTION.match(self.lines[at][1].strip())
            if heading and len(cells) == 1 and re2.search(r"^[\[(\-=*~]", self.lines[at][1].strip()):
                under = plain(heading[1])
                at += 1
                continue
            if heading and len(cells) == 1 and plain(text.strip()) in _HEADINGS and not self._table(at):
                under = plain(text.strip())
                at += 1
                continue
            if rows := self._table(at):
                for row in range(rows):
                    line, _ = self.lines[at + 1 + row]
                    for label, value in zip(cells, self.split[at + 1 + row], strict=True):
                        found += self._valued(label, value, line, under, row if rows > 1 else None)
                at += 1 + rows
                continue
            found += self._of_line(cells, number, under)
            at += 1
        indented = self._indented()
        return [item if item.under or item.line not in indented else replace(item, under="event") for item in found]

    def _indented(self) -> set[int]:
        """Return the lines indented below a line about the event; they describe the event."""
        found: set[int] = set()
        depth: int | None = None
        for at, text in self.lines:
            words = text.lstrip()
            inset = len(text) - len(words)
            if depth is not None and words and inset > depth:
                found.add(at)
                continue
            event = concept(plain(_up_to_number(words))) in ("event", "event place")
            depth = inset if event else None
        return found

    def _side_by_side(self, at: int) -> int:
        """Return the number of lines of boxes side by side, with the line of their headings; 0 if none begin."""
        cells = [cell.strip(" :[]()*=-") for cell in self.split[at]]
        if len(cells) < 2 or not all(plain(cell) in _HEADINGS for cell in cells):
            return 0
        size = 1
        while at + size < len(self.lines):
            text = self.lines[at + size][1]
            if text.strip() and self._parts(self.lines[at][1], text) is None:
                break
            if not text.strip(" |+-=") and not re2.search(r"[|+=-]", text):
                break
            size += 1
        return size if size > 1 else 0

    def _parts(self, headings: str, text: str) -> list[str] | None:
        """Return the parts of a line under each heading, or None if the line does not fit the headings."""
        bars = headings.count("|")
        if bars:
            parts = [part for part in text.split("|") if part.strip()] if text.count("|") == bars else None
            if parts is not None and len(parts) != len(_cells(headings)):
                parts = text.split("|")[: len(_cells(headings))]
            return [""] * len(_cells(headings)) if not re2.search(r"[\pL0-9]", text) else parts
        begins, after = [], 0
        for cell in _cells(headings):
            begins.append(headings.find(cell, after))
            after = begins[-1] + len(cell)
        if any(text[begin - 2 : begin].strip() for begin in begins[1:]):
            return None
        return [text[a:b] for a, b in zip([0, *begins[1:]], [*begins[1:], len(text)], strict=True)]

    def _boxes(self, at: int, size: int) -> list[Item]:
        """Return the items in boxes side by side, each under its heading."""
        headings = [plain(cell.strip(" :[]()*=-")) for cell in self.split[at]]
        found: list[Item] = []
        for row in range(at + 1, at + size):
            number, text = self.lines[row]
            for under, part in zip(headings, self._parts(self.lines[at][1], text) or [], strict=False):
                if cells := _cells(part):
                    context = plain(_up_to_number(part))
                    found += [replace(item, context=context) for item in self._of_line(cells, number, under)]
        return found

    def _running(self, at: int) -> int:
        """Return the number of lines of running text that begins here; 0 if there is none.

        Its facts follow one another, parted by full stops or semicolons, and are broken wherever a line is full.
        """
        size = 0
        while at + size < len(self.lines):
            text = self.lines[at + size][1].strip()
            if not re2.search(r"\pL{2}", text) or re2.search(r"[|\t]|   ", text):
                break
            size += 1
        lines = [self.lines[at + row][1].strip() for row in range(size)]
        widest = max(map(len, lines), default=0)
        last = next((row for row, line in enumerate(lines) if len(line) < 0.75 * widest), size - 1)
        facts = len(_FACT.findall(" ".join(lines[: last + 1])))
        return last + 1 if widest >= 60 and 1 <= last < facts else 0

    def _facts(self, at: int, size: int) -> list[Item]:
        """Return the items of running text, each with the line on which its text begins."""
        lines = [(number, line.strip()) for number, line in self.lines[at : at + size]]
        begins = list(itertools.accumulate((len(line) + 1 for _, line in lines), initial=0))
        text = " ".join(line for _, line in lines)
        cuts = [0, *(match.start(1) for match in _FACT.finditer(text)), len(text)]
        found: list[Item] = []
        for begin, end in itertools.pairwise(cuts):
            fact = text[begin:end].strip(" .;")
            pair = _pair(fact) or _is_said(fact)
            items = self._valued(*pair, 0, "") if pair else self._clauses(fact, 0, "")
            for item in items:
                where = max(begin, text.find(item.text.split("\t")[0], begin))
                row = max(i for i, one in enumerate(begins[:-1]) if one <= where)
                found.append(replace(item, line=lines[row][0], context=plain(_up_to_number(fact))))
        return found

    def _prose(self, at: int) -> int:
        """Return the number of lines of the paragraph that begins at a line; 0 if it is not one."""
        size = 0
        while at + size < len(self.lines):
            text = self.lines[at + size][1].strip()
            if len(text.split()) < 7 or re2.search(r"[:=|;\t]|  ", text) or not re2.search(r"[a-z]{3} [a-z]", text):
                break
            size += 1
        if size and size + at < len(self.lines) and re2.match(r"^[a-z(][^:=|]*\.$", self.lines[at + size][1].strip()):
            size += 1
        return size if size > 1 else 0

    def _sentences(self, at: int, size: int) -> list[Item]:
        """Return the items in a paragraph, each with the line of its text."""
        lines = self.lines[at : at + size]
        text = " ".join(line.strip() for _, line in lines)
        found: list[Item] = []
        begins, begin = [], 0
        for _, line in lines:
            begins.append(begin)
            begin += len(line.strip()) + 1
        after = 0
        for sentence in re2.split(r"\. ", text):
            place = text.find(sentence, after)
            after = place + len(sentence)
            for item in self._clauses(sentence.rstrip("."), 0, ""):
                where = text.find(item.text.split("\t")[0], place)
                number = max((i for i, one in enumerate(begins) if one <= max(where, place)), default=0)
                found.append(replace(item, line=lines[number][0]))
        return found

    def _table(self, at: int) -> int:
        """Return the number of rows of values under a row of labels; 0 if it is not one."""
        labels = self.split[at]
        text = self.lines[at][1]
        if text.endswith(".") and len(text.split()) > 4 and "  " not in text.strip():
            return 0
        if self.value_first or (len(labels) > 1 and _suits(labels[0], labels[1]) and not _is_known(labels[1])):
            return 0
        if any(_pair(cell) for cell in labels) or not all(_is_label(cell) for cell in labels):
            return 0
        if len(labels) == 1 and any(unit_at(after) is not None for *_, after in self._numbers(labels[0])):
            return 0  # it contains its own value
        rows = 0
        while at + 1 + rows < len(self.lines):
            values = self.split[at + 1 + rows]
            if len(values) != len(labels) or any(_pair(cell) for cell in values):
                break
            some = any(_is_value(cell) for cell in values)
            if not some and (rows or not _all_known(labels) or _any_known(values)):
                break
            if rows and not some:
                break
            if (
                len(labels) > 1
                and _is_label(values[0])
                and _is_known(values[0])
                and not _is_label(values[-1])
                and not moments(values[0])
            ):
                return 0
            rows += 1
        if rows and len(labels) == 1 and not (_all_known(labels) and _is_alone(self.split[at + 1][0])):
            return 0
        return rows

    def _of_line(self, cells: list[str], line: int, under: str) -> list[Item]:
        found: list[Item] = []
        at = 0
        cells = _joined(cells)
        text = next(text for number, text in self.lines if number == line)
        context = plain(_up_to_number(text))
        if re2.search(r"; +[\pL0-9]", text) and text.endswith("."):
            for cell in cells:
                found += self._clauses(cell, line, under)
            return [replace(item, context=context) for item in found]
        while at < len(cells):
            cell = cells[at]
            pair = _pair(cell)
            if pair is not None:
                label, value = pair
                rest = at + 1
                if ", " in label and re2.search(r"[0-9]", label):
                    before, _, label = label.rpartition(", ")
                    found += self._clauses(before, line, under)
                elif re2.search(r"[0-9] ?\pL", label) and not re2.search(r"[(\[]", label):
                    found += self._clauses(label, line, under)
                while (
                    rest < len(cells)
                    and not _pair(cells[rest])
                    and (
                        not value
                        or (_is_unit(cells[rest]) and not _is_of_samples(label, cells[rest]))
                        or _goes_on(value, cells[rest])
                        or _lists_on(label, value, cells[rest:])
                    )
                ):
                    value = f"{value} {cells[rest]}".strip()
                    rest += 1
                found += self._valued(label, value, line, under)
                at = rest
            elif (
                _is_label(cell)
                and not is_unit_text(cell)
                and at + 1 < len(cells)
                and not _pair(cells[at + 1])
                and not (self.value_first and len(cells) == 2 and at == 0)
            ):
                value, rest = cells[at + 1], at + 2
                while rest < len(cells) and _is_unit(cells[rest]) and not _is_of_samples(cell, cells[rest]):
                    value = f"{value} {cells[rest]}"
                    rest += 1
                while rest < len(cells) and (_goes_on(value, cells[rest]) or _lists_on(cell, value, cells[rest:])):
                    value = f"{value} {cells[rest]}"
                    rest += 1
                behind = unit_at(re2.sub(rf"^{NUMBER}", "", value)) if _is_value(value) else None
                if not (_is_value(value) or _suits(cell, value) or moments(value)) or (
                    behind and (behind.kind == "count" or _not_of_name(cell, behind))
                ):
                    found += self._clauses(cell, line, under)
                    at += 1
                else:
                    found += self._valued(cell, value, line, under)
                    at = rest
            elif (
                len(cells) == 2
                and at == 0
                and _is_label(cells[1])
                and ((_is_value(cell) and _is_alone(cell)) or self.value_first)
            ):
                found += self._valued(cells[at + 1], cell, line, under)
                at += 2
            else:
                found += self._clauses(cell, line, under)
                at += 1
        return [replace(item, context=context) for item in found]

    def _valued(self, label: str, value: str, line: int, under: str, row: int | None = None) -> list[Item]:
        """Return the items in a value with a label."""
        words = plain(label)
        unit = _unit_of_label(label)
        base: dict[str, Any] = {"line": line, "under": under, "row": row}
        if parts := self._each(label, value):
            return [item for one, text in parts for item in self._valued(one, text, line, under, row)]
        found: list[Item] = [Item("text", words, value.strip(" .,;"), stated=label, **base)]
        if pair := coordinate_pair(value):
            found.append(Item("place", words, " ".join(pair), stated="\t".join(pair), **base))
            return found
        said = f"{value} {label}" if re2.search(r"(?i)UTC|GMT|\bUT\b|d[-/. ]m|m[-/. ]d", label) else value
        if moments(said) or re2.match(r"^ *[0-9]{1,2}[:h][0-9]{2}", value):
            found.append(Item("date", words, said, stated=value, **base))
            return found
        numbers = self._numbers(value)
        shared = _shared_unit(value, unit)
        for place, (text, number, after) in enumerate(numbers):
            behind = unit_at(after) or (unit if place == 0 else None) or shared
            if place and behind is None and len(numbers) > 1:
                words_here = f"{words} {plain(value)}"
            else:
                words_here = words if place == 0 else f"{words} {plain(_between(value, text))}"
            found.append(Item("number", words_here, text, number=number, unit=behind, stated=after, **base))
        if numbers and ", " in numbers[0][2] and shared is None:
            found += self._clauses(numbers[0][2].partition(", ")[2], line, under)
        return found

    def _each(self, label: str, value: str) -> list[tuple[str, str]]:
        """Return combined labels, each with its value (``Network/station: XX / ABC``); else an empty list."""
        labels = several_labels(label)
        if not labels:
            return []
        comma = r", +" if self.decimal == "," else r" *, *"
        for between in (r" */ *", r" *; *", comma, r"\t+| +"):
            values = [one.strip() for one in re2.split(between, value.strip(" ,;/"))]
            if len(values) == len(labels) and all(values):
                return list(zip(labels, values, strict=True))
        codes = re2.split(r"[-._]", value.strip())
        if len(codes) == len(labels) and {concept(plain(one)) for one in labels} == {"network", "station"}:
            return list(zip(labels, codes, strict=True))
        return []

    def _clauses(self, cell: str, line: int, under: str) -> list[Item]:
        """Return the items in a sentence, a title or bare words."""
        base: dict[str, Any] = {"line": line, "under": under, "labelled": False}
        found: list[Item] = []
        rest = cell
        if pair := coordinate_pair(cell):
            for part in pair:
                rest = rest.replace(part, " ", 1)
            found.append(Item("place", plain(rest), " ".join(pair), stated="\t".join(pair), **base))
        parts = [rest]
        if moments(rest):
            parts = re2.split(r"; |, | and | was | at ", rest) if len(rest) > 80 else re2.split(r"; ", rest)
        for at in range(len(parts) - 1, 0, -1):
            if zone_in(parts[at]) and not moments(parts[at]) and moments(parts[at - 1]):
                parts[at - 1 : at + 1] = [f"{parts[at - 1]}, {parts[at]}"]
        for sentence in parts:
            if moments(sentence):
                words = plain(re2.sub(r"[0-9].*", "", sentence)) or plain(
                    re2.sub(r"^[^\pL]*[0-9][0-9/.:\- ]*|[0-9].*$", "", sentence)
                )
                found.append(Item("date", words, sentence.strip(), stated=sentence.strip(), **base))
                rest = rest.replace(sentence, " ")
        previous = ""
        rest = re2.sub(r"(?i)\b(lat|long?|elev|alt|coord)\. ", r"\1 ", rest)
        rest = re2.sub(r"(?i)(counts?|digits|lsb) ?/ ?\((m/s(?:ec)?(?:2|\^2|\*\*2|/s))\)", r"\1/\2", rest)
        for clause in _CLAUSE.split(rest):
            clause = clause.strip()
            if not clause:
                continue
            words = plain(re2.sub(NUMBER, " ", clause))
            if (one := _COORDINATE.search(clause)) and coordinate(one[2].strip(" .,"), ""):
                found.append(Item("coordinate", plain(clause[: one.start(2)]), one[2].strip(" .,"), **base))
            if not re2.search(r"\pL{2}", words) and _NUMBER.search(clause):
                words = f"{previous} {words}".strip()
            elif len(words) > 3:
                previous = words
            found.append(Item("text", plain(clause), clause, **base))
            numbers = self._numbers(clause)
            for place, (text, number, after) in enumerate(numbers):
                unit = unit_at(after)
                if unit is None and place == 0:
                    # The unit of a sensitivity may precede its number.
                    ahead_of = clause[: clause.find(text)].strip()
                    for begin in range(len(ahead_of)):
                        known = unit_at(ahead_of[begin:]) if begin == 0 or ahead_of[begin - 1] == " " else None
                        if known is not None and " per " in known.kind and known.length == len(ahead_of) - begin:
                            unit = known
                label = words
                if len(numbers) > 1:
                    begin = clause.find(text)
                    ahead = plain(clause[:begin]) if place == 0 else plain(_before(clause, begin))
                    label = ahead if re2.search(r"\pL{2}", ahead) else plain(f"{ahead} {_up_to_number(after)}")
                    if place and not concept(label):
                        label = plain(f"{_up_to_number(clause)} {label}")
                found.append(Item("number", label, text, number=number, unit=unit, stated=after, **base))
        return found

    def _numbers(self, value: str) -> list[tuple[str, float, str]]:
        """Return the numbers of a text, each with the text after it."""
        found = []
        for match in _NUMBER.finditer(value):
            before = value[: match.start()][-1:]
            after = value[match.end() :]
            if before.isalpha() or before in ("_", "."):
                continue
            text = match[0].rstrip(",.") if not re2.search(r"[.][0-9]*$|,[0-9]+$", match[0]) else match[0].rstrip(",")
            sign = text.startswith("-") and (before.isdigit() or before.isalpha())
            if sign:
                continue
            plain_number = text.lower().replace("d", "e")
            if self.decimal == ",":
                plain_number = plain_number.replace(",", ".")
            elif "," in plain_number:
                continue
            try:
                number = float(plain_number)
            except ValueError:
                continue
            if not abs(number) < LARGEST_NUMBER:
                continue
            if after[:1].isalpha() and unit_at(after) is None:
                continue
            if re2.search(r"[0-9] */ *$", value[: match.start()]) and (unit := unit_at(after)) and " per " in unit.kind:
                continue  # the lower part of a quotient
            found.append((text, number, value[match.end() :]))
        return found[:8]


def _bare(text: str) -> str:
    """Return a line without comment marks and quotation marks, and with blanks for leader dots."""
    if _QUOTED.match(text):
        cells = [cell.strip(' "') for cell in re2.split(r'"[,;\t] *|[,;\t] *"', text)]
        text = ": ".join(cells) if len(cells) == 2 else text.replace('"', "")
    if number := _NUMBERED_LINE.match(text):
        text = " " * number.end(1) + text[number.end(1) :]
    match = _LEADING.match(text)
    if match and match[0].strip() and not _PERCENT_G.match(text):
        text = " " * match.end() + text[match.end() :]
    if not re2.fullmatch(r"[\s\-=*_.~#]*", text) and not re2.match(r"^\s*[-=*~]{2,} *\pL", text):
        for dots in list(_DOTS.finditer(text)):
            end = dots.end() - (text[dots.end() : dots.end() + 1].isdigit() and text[dots.end() - 1] in ".-")
            label = text[: dots.start()]
            leader = (
                ":"
                if text[dots.start()] == "." and re2.search(r"\pL", label) and not re2.search("[:=]", label)
                else " "
            )
            text = label + leader + " " * (end - dots.start() - 1) + text[end:]
    return re2.sub(r"[ *<#%!]+$", "", text) if re2.search(r"[*<#%!]{2}\s*$", text) else text.rstrip()


def _cells(text: str) -> list[str]:
    """Return the cells of a line, separated by tabs, semicolons or two blanks, except around a colon."""
    cells, begin = [], 0
    for match in _SPLIT.finditer(text):
        after, before = text[match.end() : match.end() + 1], text[: match.start()].rstrip()[-1:]
        if match[0] != ";" and (after in (":", "=") or before in (":", "=")):
            continue
        if match[0].isspace() and re2.match(r"^[\])]", text[match.end() :]):
            continue
        cells.append(text[begin : match.start()].strip())
        begin = match.end()
    cells.append(text[begin:].strip())
    parts: list[str] = []
    for cell in itertools.chain.from_iterable(map(_keyed, cells)):
        while cell and (more := _NEXT_PAIR.search(cell)) and _pair(cell[: more.start()]):
            parts.append(cell[: more.start()])
            cell = cell[more.start() + 1 :].strip()
        if cell and re2.search(r"[\pL0-9%]", cell):
            parts.append(cell)
    return parts


def _keyed(cell: str) -> list[str]:
    """Split a text of several keys, each followed by an equals sign without blanks and its value."""
    if not _KEY_FIRST.match(cell):
        return [cell]
    begins = [0, *(match.start(1) for match in _KEY_NEXT.finditer(cell))]
    return [cell[a:b].strip(" ,") for a, b in zip(begins, [*begins[1:], len(cell)], strict=True)]


_TOGETHER = ("network", "station", "station name", "latitude", "longitude", "elevation", "position")


def several_labels(label: str) -> list[str]:
    """Return the labels of places or codes combined in one label; empty if it is a single label."""
    tries = [label]
    if (bracket := re2.search(r"[(\[]([^()\[\]]*[,/;&][^()\[\]]*)[)\]]", label)) is not None:
        tries.insert(0, bracket[1])
    for text in tries:
        labels = [one.strip(" .") for one in re2.split(r" *[/,;&] *| and | und | et | y ", text)]
        labels = [one for one in labels if one]
        kinds = [concept(plain(one)) for one in labels]
        if len(labels) > 1 and len(set(kinds)) == len(kinds) and all(kind in _TOGETHER for kind in kinds):
            event = [word for word in re2.split(r"[^\pL]+", plain(label)) if concept(word) in ("event", "event place")]
            return [f"{word} {one}" for one in labels for word in event[:1] or [""]]
    return []


_FACT = re2.compile(r"[.;] +(\p{Lu})")
_SAID = re2.compile(r"^(\pL[\pL ()-]*?) (?:is|are|was|were) (.+)$")


def _is_said(fact: str) -> tuple[str, str] | None:
    """Return label and value of a fact in words (``Station code is QUAY``); None if its label means nothing."""
    match = _SAID.match(fact)
    return (match[1], match[2]) if match and len(match[1]) <= 40 and concept(plain(match[1])) else None


def _pair(cell: str) -> tuple[str, str] | None:
    match = _PAIR.match(cell)
    if match is None or len(match[1]) > 70:
        return None
    bare = ":" in cell and not match[2] and cell[match.end(1) :].lstrip()[:1] == ":" and match[3]
    if bare and (match[1][-1:].isdigit() or re2.search(r"(?i)\b(?:utc|gmt)\b", match[1])):
        return None
    if (len(match[1].split()) > 6 and re2.search(r"[.!] \pL", match[1])) or (
        _NUMBER.search(match[1]) and re2.search(r"[0-9]$", match[1]) and bare
    ):
        return None
    return match[1].strip(), match[3].strip()


def _is_value(cell: str) -> bool:
    return bool(_STARTS_WITH_VALUE.match(cell)) or (
        len(cell) < 12 and bool(re2.fullmatch(r"[NS] ?[0-9]{1,3} ?[EW]", cell))
    )


def _is_label(cell: str) -> bool:
    return (
        not _is_value(cell)
        and bool(re2.match(r"^[\pL%(\[]", cell))
        and not re2.search(r"[0-9][.,:][0-9]", re2.sub(r"[(\[].*", "", cell))
    )


def _is_alone(cell: str) -> bool:
    """Whether a cell is a single value with its unit, a place, a date or a name, not a sentence."""
    match = _NUMBER.match(cell)
    if match is None:
        return len(cell.split()) <= 3
    rest = cell[match.end() :].strip()
    unit = unit_at(rest)
    return (
        not rest
        or (unit is not None and unit.length >= len(rest))
        or bool(coordinate_pair(cell) or moments(cell))
        or (len(rest.split()) <= 3 and "," not in rest)
    )


_RATIO = re2.compile(
    rf"(?i)\b(?:(?:1|one|a|each|per) *)?(?:digit|count|lsb|bit|cnt)s?"
    rf"(?: *(?:=|:|is|equals?|corresponds? to) *|\t+|  +)({NUMBER})"
    rf"(?: */ *({NUMBER}))? *(.*)$"
)
_MULTIPLY = re2.compile(
    rf"(?i)(?:to (?:get|obtain|find|give|have) (\pL[^ ,]*),? +multiply by ({NUMBER})(?: */ *({NUMBER}))?"
    rf"|multipl\w+ (?:the )?(?:values |numbers |samples |data |counts )?by ({NUMBER})(?: */ *({NUMBER}))? (?:to|for) "
    rf"(?:get |obtain |find |give |have )?(\pL[^ ,]*))"
)
_COUNTS_ARE = re2.compile(
    rf"(?i)([0-9]+) *(?:counts?|digits|lsb) *(?:=|is|are|equals?|corresponds? to) *(?:\+/?-|\x{{B1}})? *"
    rf"({NUMBER}) *([^0-9].*)$"
)
_IN_COUNTS = re2.compile(
    rf"(?i)(?:^|[^0-9.,])({NUMBER}) *(\pL[\pL0-9/^*]*) *(?:/|=|:|per|for|to|is|in|equals?|corresponds? to) *"
    rf"({NUMBER}) *(?:counts?|digits?|lsb|cts|cnts?)\b"
)
_FACTOR = re2.compile(
    rf"(?i)\b(?:conversion|scale|factor|calibration|multiplier)\b[^0-9=:]*[=: ] *({NUMBER}) *\(?([\pL%/0-9^*]*)\)?"
    rf" */ *({NUMBER}) *(.*)$"
)
_QUOTIENT = re2.compile(rf"(?:^|[^0-9.,/]) *({NUMBER}) */ *({NUMBER}) *(.*)$")
_TO_UNIT = re2.compile(
    rf"(?i)\b(?:to|into) (g|gals?|[cm]?m/s2|[cm]?m/s/s|[cm]?m/s\^2)\b[^0-9]*({NUMBER})(?: */ *({NUMBER}))? *"
    r"(?:/|per|a|for each|for one) *(?:count|digit|lsb|cnt|bit)s?\b"
)
_POWER = r"10 ?(?:\*\*|\^) ?\(?(-[0-9])\)?"
_UNITS_OF = re2.compile(
    r"(?i)(?:\bunits? *(?:of|=|:|is|are)? *"
    r"(?:(?:the )?(?:integers?|numbers|values|samples|ordinates|data) (?:below|here)? *(?:is|are|=|:)? *)?"
    r"|\b(?:accelerations?|acc|ordinates|values|data|samples|amplitudes?) in *"
    rf"|\bx *|\* *)(?:{_POWER}|({NUMBER})) *([^0-9].*)$"
)
LARGEST_STEP = 1.0
"""Largest value of a sample of 1, m/s²: 8 bits over ±2 g give 0.15."""

_TIMES_POWER = re2.compile(rf"(?i)\b(g|gal|cm/s2|m/s2) *(?:\*|x) *{_POWER}")


def _step(text: str, line: int) -> Item | None:
    """Return the value of a sample of 1 stated in a line, as a ratio or in units of a power of ten."""
    if concept(plain(_up_to_number(text))) in ("peak", "full scale", "trigger", "event", "filter"):
        return None
    kind, worth, behind, shown = "digit", 0.0, "", ""
    if match := _MULTIPLY.search(text):
        shown, behind = match[2] or match[4], match[1] or match[6]
        worth = _quotient(shown, match[3] or match[5] or "1")
    elif match := _COUNTS_ARE.search(text):
        worth, behind, shown = _quotient(match[2], match[1]), match[3], match[2]
    elif match := _TO_UNIT.search(text):
        worth, behind, shown = _quotient(match[2], match[3] or "1"), match[1], match[2]
    elif match := _IN_COUNTS.search(text):
        worth, behind, shown = _quotient(match[1], match[3]), match[2], match[1]
    elif (match := _RATIO.search(text)) and (match[2] or re2.search(r"(?i)\bdigits?\b", match[0])):
        worth, behind, shown = _quotient(match[1], match[2] or "1"), match[3], match[1]
    elif match := _FACTOR.search(text):
        worth, behind, shown = _quotient(match[1], match[3]), match[2] or match[4], match[1]
        below = unit_at(match[4])
        if match[2] and below is not None and below.kind not in ("counts", "count"):  # a ratio of two units
            return None
    elif match := _TIMES_POWER.search(text):
        kind, worth, behind, shown = "step", 10.0 ** int(match[2]), match[1], "10"
    elif match := _UNITS_OF.search(text):
        kind, worth = "step", 10.0 ** int(match[1]) if match[1] else _quotient(match[2], "1")
        behind, shown = match[3], match[2] or "10"
        if worth >= 1:
            return None
    elif len(quotients := list(_QUOTIENT.finditer(text))) == 1:
        known = unit_at(quotients[0][3])
        worth, behind, shown = _quotient(quotients[0][1], quotients[0][2]), quotients[0][3], quotients[0][1]
        if known is not None and known.kind == "counts per acceleration" and worth:
            return Item(kind, plain(_up_to_number(text)), shown, line, 1 / (worth * known.factor), stated=text.strip())
    unit = unit_at(behind)
    of_digit = unit is not None and unit.kind == "acceleration per count" and kind == "digit"
    if unit is None or not (of_digit or unit.kind == "acceleration") or not 0 < worth * unit.factor < LARGEST_STEP:
        return None
    return Item(kind, plain(_up_to_number(text)), shown, line, worth * unit.factor, stated=text.strip())


def _quotient(above: str, below: str) -> float:
    """Return the quotient of two numbers as written; 0 if undefined."""
    try:
        over = float(below.lower().replace("d", "e"))
        return float(above.lower().replace("d", "e")) / over if over else 0.0
    except ValueError:
        return 0.0


def _shared_unit(value: str, unit: Unit | None) -> Unit | None:
    """Return the unit common to a list of sensitivities: that of the label, or of the last number."""
    listed = _LISTED.match(value)
    if listed is None:
        return None
    known = unit if listed.end() >= len(value) else unit_at(value[listed.end() :])
    return known if known is not None and " per " in known.kind else None


def _is_unit(cell: str) -> bool:
    unit = unit_at(cell)
    return (unit is not None and unit.length >= len(cell.strip()) - 12) or bool(
        re2.match(r"^(?:[%\[(]|UTC|GMT|UT\b|per |deg|cm/s2 per)", cell)
    )


def _not_of_name(label: str, unit: Unit) -> bool:
    """Whether the unit after a value shows that it is not a code or name."""
    named = concept(plain(label)) in ("component", "station", "station name", "network")
    return named and unit.kind in ("frequency", "time", "acceleration")


def _is_of_samples(label: str, cell: str) -> bool:
    """Whether the unit after a value must be that of the samples, not of the label."""
    unit = unit_at(cell)
    of = concept(plain(label)) in ("samples", "total", "number of", "interval", "rate", "duration", "component")
    return of and unit is not None and unit.kind == "acceleration"


def _goes_on(value: str, cell: str) -> bool:
    """Whether a cell is the longitude to the latitude before it."""
    value, cell = letters_alone(value), letters_alone(cell)
    return bool(re2.search(r"[0-9.'\"] ?[NS]$", value) and re2.match(r"^[0-9][0-9 .'\"-]*[EWO]$", cell))


def _lists_on(label: str, value: str, cells: list[str]) -> bool:
    """Whether a cell continues a list of sensitivities: numbers under a unit, or before that of the last one."""
    if not re2.fullmatch(rf"(?:{NUMBER}[ ,;/]*)+", value) or not _NUMBER.match(cells[0]):
        return False
    ends = [
        unit_at(re2.sub(rf"^{NUMBER}", "", cell)) for cell in itertools.takewhile(lambda one: _NUMBER.match(one), cells)
    ]
    units = [_unit_of_label(label), *ends]
    return any(unit is not None and " per " in unit.kind for unit in units)


def _joined(cells: list[str]) -> list[str]:
    parts = cells[:1]
    for cell in cells[1:]:
        if _goes_on(parts[-1], cell) or (zone_in(cell) and len(cell) < 30 and moments(parts[-1])):
            parts[-1] = f"{parts[-1]} {cell}"
        else:
            parts.append(cell)
    return parts


def _suits(label: str, value: str) -> bool:
    """Whether a text may be the value of a label without a colon between them."""
    kind = concept(plain(label))
    if kind in ("station", "network"):
        return bool(re2.fullmatch(r"[A-Z0-9][A-Z0-9-]{1,9}(?:,.{1,60}| +\(.{2,60}\))?", value))
    if kind == "unit" or re2.search(r"^data$|^values$|^acceleration$", plain(label)):
        return is_unit_text(value)
    if kind == "component":
        return bool(pointing(value).kind) or len(value) <= 4
    return kind == "station name" and len(value) < 40


def is_unit_text(text: str) -> bool:
    """Whether a text names a unit of samples."""
    try:
        acceleration_unit(text.strip(" .()[]"))
    except InputError:
        return False
    return True


def _last_bracket(label: str) -> str:
    found = _BRACKETED.findall(label)
    return found[-1] if found else ""


def _unit_of_label(label: str) -> Unit | None:
    """Return the unit in the brackets of a label, or the unit of a sensitivity that is the label itself."""
    if bracket := _last_bracket(label):
        return unit_at(bracket)
    words = label.split()
    for end in (" ".join(words[at:]) for at in range(len(words))):
        whole = unit_at(end)
        if whole and whole.length >= len(end) and " per " in whole.kind:
            return whole
    return None


def _between(value: str, text: str) -> str:
    return value[: max(value.find(text), 0)]


def _before(clause: str, begin: int) -> str:
    """Return the words between a position and the number before it."""
    before = clause[:begin]
    numbers = list(_NUMBER.finditer(before))
    return before[numbers[-1].end() :] if numbers else before


def _up_to_number(text: str) -> str:
    match = _NUMBER.search(text)
    return text[: match.start()] if match else text


def _is_known(cell: str) -> bool:
    return bool(concept(plain(cell)))


def _all_known(cells: list[str]) -> bool:
    return sum(map(_is_known, cells)) >= 0.5 * len(cells)


def _any_known(cells: list[str]) -> bool:
    return any(_is_known(cell) and not pointing(cell).kind for cell in cells)


def with_row(item: Item, **changes: Any) -> Item:
    """Return an item with changed fields."""
    return replace(item, **changes)


def single_coordinate(text: str, axis: str) -> list[float]:
    """Return the possible values of a text in degrees, ignoring words before them."""
    return coordinate(text, axis)
