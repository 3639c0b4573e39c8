"""Draft a layout for a text file from the file itself, and mark what is doubtful.

`shape` finds the numbers, `items` parses the header, `weigh` chooses among its values, `arrange` distinguishes columns
from series, and `toml` writes the rules. Certain values are used. Doubtful ones are left open in the layout (``?``),
with the alternatives. Missing ones are named with the option that gives them.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np
import re2

from ...foundation.errors import RecordError, SettingsError, StrongMotionError
from ...foundation.units import COUNTS
from ...record import NO_PERIODS, Finding, Record, Touched
from .. import header
from ..header import Reading
from ..layout import LONGEST_HEADER, RULES, layout_from_text
from ..lines import LONGEST_HEADER_LINE, Lines
from ..phrases import Direction, moments, plain, pointing
from ..source import content
from ..text import read_texts
from . import weigh
from .arrange import arrange, means_nothing
from .concepts import DECOYS, concept
from .items import Item, items_of
from .shape import Blocks, blocks_of, table
from .toml import checked, literal, name_of, quoted, rule_text
from .weigh import Choice

MOST_BYTES = 5_000_000
_SPEAKS_OF = {
    "dt": re2.compile(
        r"interv|\bstep\b|\bdt\b|delta|sampl|spac|\brate\b|\bsps\b|\bm?sec\b|[0-9] ?(?:m?s|hz|khz)\b|second|abtast"
        r"|muestr|campion|echantil|amostr|\bhz\b"
    ),
    "unit": re2.compile(
        r"\bunits?\b|\bgals?\b|\bm?g\b|/s|/ s|\bcounts?\b|\bdigits?\b|\blsb\b|accel|acel|beschl|\bscale\b|conversion"
        r"|sensitiv|einheit|unidad|unit[ae]\b|m s-2"
    ),
}
_SPEAKS_OF_SCALE = re2.compile(
    r"sensitiv|\blsb\b|conversion|calibration|scale factor|/ ?counts?\b|counts? ?/|per count|counts? per"
    r"|\bdigit\b|\bm?v ?/"
)
_COMPONENT_WORD = r"(?:\b(?:channel|chan|ch|kanal|canal|component|comp|axis|trace|column|col|sensor))"
_SCALE_WORD = r"\b(?:sensitiv\w*|sensib\w*|empfindlichkeit|sens|scale|factor|calib\w*|constant|gain)"
_ORDER = r"\b(?:axes|channels?|columns?|orienta\w*|directions?|order|components?|canaux|canales|canali|kanale)\b"
_DIRECTION_ALONE = re2.compile(
    r"^(?:[ns] ?[0-9]{1,3} ?[ew]|north-south|east-west|nord-sud|est-ouest|est-ovest|este-oeste|norte-sur|ost-west)$"
)
_LISTED_UNDER = re2.compile(r"^[\s#!%*>/|]*(\pL[^:=\t]*)(?:[:=]|\t+|  +)(.*)$")
_NAMES_THE_TIME = re2.compile(r"(?i)^(?:t|time|tempo|tiempo|temps|zeit)\b")
_PREFIX = r"^(?:channel|chan|ch|kanal|canal|component|comp|axis|trace|column|col|sensor)[ ._-]*"
_NUMBERED = re2.compile(
    rf"(?i){_COMPONENT_WORD}[ ._#:=]*(?:no\.?|number|nr\.?)?[ ._#:=]*([0-9]{{1,2}})(?:[^0-9.-]|[.]?$)"
)
_OTHER_MOTION = r"(?i)\b(veloc|displac|geschwind|verschieb|vitesse|d.plac|spostam|desplaz)"
OPTIONS = {
    "dt": "dt= (--dt)", "unit": "unit= (--sample-unit)", "sensitivity": "sensitivity= (--sensitivity)",
    "sampling_rate": "dt= (--dt)", "scale": "sensitivity= (--sensitivity)", "samples": "--set samples=N",
    "start": "start= (--start)", "station": "station= (--station)",
    "component": "component= (--component)",
    "arrangement": "component= (--component) with a name for each column, or one name for a series along the lines",
}  # fmt: skip


@dataclass
class Draft:
    """A drafted layout.

    Parameters
    ----------
    toml : str
        The layout, with comments. A doubtful quantity that is required is left open as ``?``.
    choices : list of Choice
        The choice for each quantity: value, line, reasons, alternatives, doubt.
    unsure : list of str
        Doubts that a person must settle.
    records : list of Record
        The records read with the layout; empty if that fails.
    problem : str
        Why it fails.
    said : str
        One-line summary of how the file is read.
    """

    toml: str
    choices: list[Choice]
    unsure: list[str]
    records: list[Record] = field(default_factory=list)
    problem: str = ""
    said: str = ""

    @property
    def record(self) -> Record | None:
        """The first record, or None if the file cannot be read."""
        return self.records[0] if self.records else None


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
    reading = prepared(path)
    data = reading.data
    if len(data) > MOST_BYTES or b"\0" in data:
        what = "is binary" if b"\0" in data else f"has more than {MOST_BYTES / 1e6:.0f} MB"
        raise reading.error(f"the file {what}", remedy="Draft from a small text file of the same kind")
    drafted = _Drafter(reading)
    draft = drafted.draft()
    try:
        draft.records = read_texts(reading, layout_from_text(draft.toml, "the draft"))
    except StrongMotionError as error:
        draft.problem = str(error)
    return draft


def prepared(path: str | Path) -> Reading:
    """Return a text file ready to be read, with uniform line ends."""
    file, data = content(path)
    return Reading(file, data.removeprefix(b"\xef\xbb\xbf").replace(b"\r\n", b"\n").replace(b"\r", b"\n"))


def read_drafted(reading: Reading) -> list[Record]:
    """Read a text file of unknown format with a layout drafted from it.

    Raises
    ------
    RecordError
        A quantity needed for acceleration is missing or doubtful, or the draft cannot read the file. The message names
        the quantity, the alternatives and the option that settles it.
    """
    drafter = _Drafter(reading)
    if drafter.arrangement.mode == "columns" and not drafter.arrangement.motion:
        raise reading.error(
            "no column is named as an acceleration",
            drafter.arrangement.names_at[0] + 1 if drafter.arrangement.names_at else None,
            "Velocity and displacement are not used instead: give the file with the acceleration, or correct the names",
        )
    draft = drafter.draft()
    if needed := drafter.needed():
        missing, doubts = needed
        if doubts:
            first = doubts[0]
            raise RecordError(
                "; ".join(choice.doubt for choice in doubts),
                source=reading.file,
                line=first.item.line + 1 if first.item is not None else None,
                field=first.quantity,
                remedy=f"Give {_all(OPTIONS.get(choice.quantity, choice.quantity) for choice in doubts)}, "
                "or write a layout "
                "(`strongmotion layout FILE`)",
            )
        words = {"dt": "sampling interval", "unit": "unit"}
        raise RecordError(
            _all(f"no {words[quantity]}" for quantity in missing),
            source=reading.file,
            field=missing[0],
            remedy=f"{drafter.hints(missing)}: give {_all(OPTIONS[quantity] for quantity in missing)}",
        )
    try:
        layout = layout_from_text(draft.toml, "the draft")
    except SettingsError as error:
        raise reading.error(
            "the file has no known format, and the arrangement of its numbers is unclear",
            remedy="Draft a layout (`strongmotion layout FILE`), correct it and read the file with layout= (--layout)",
        ) from error
    records = read_texts(reading, layout)
    notes = drafter.findings(draft.said)
    return [replace(record, findings=(*record.findings, *notes)) for record in records]


def _all(words: Iterable[str]) -> str:
    return " and ".join(dict.fromkeys(words))


class _Drafter:
    """A parsed text file and the choices made for it."""

    def __init__(self, reading: Reading) -> None:
        self.reading = reading
        self.encoding = "utf-8"
        try:
            reading.data.decode()
        except UnicodeDecodeError:
            self.encoding = "cp1252"
            reading.data.decode(self.encoding, errors="replace")
        self.lines = Lines(reading, self.encoding, "Save it as UTF-8")
        top = [self.shown(at) for at in range(min(self.lines.count, LONGEST_HEADER))]
        found = blocks_of(self.lines, top)
        if found is None or not found.runs:
            raise reading.error(
                "no block of 3 or more lines of numbers was found",
                remedy="The file does not look like a table of numbers; if it is one, write the layout by hand",
            )
        if found.shape.decimal == "." and found.shape.delimiter != "," and self.comma_in_header(found):
            found.shape = replace(found.shape, decimal=",")
        self.blocks: Blocks = found
        self.check_header()
        self.choices: list[Choice] = []
        self.unsure: list[str] = []
        with np.errstate(all="ignore"):  # implausible numbers are refused when the file is read
            self.weigh()

    def shown(self, at: int) -> str:
        try:
            return self.lines.line(at)[:LONGEST_HEADER_LINE]
        except RecordError:
            return ""

    def comma_in_header(self, found: Blocks) -> bool:
        """Whether the header has decimal commas and the numbers have no decimals."""
        begin, end = found.runs[0]
        if any("." in self.shown(at) for at in range(begin, min(end, begin + 20))):
            return False
        text = "\n".join(self.shown(at) for at in range(min(begin, LONGEST_HEADER)))
        commas = len(re2.findall(r"(?:^|[^0-9.,])[0-9]+,[0-9]+(?:[^0-9.,]|$)", text))
        points = len(re2.findall(r"(?:^|[^0-9.,:])[0-9]+\.[0-9]+(?:[^0-9.,]|$)", text))
        return commas >= 2 and commas > 2 * points

    def check_header(self) -> None:
        begin = self.blocks.runs[0][0]
        if begin >= LONGEST_HEADER:
            raise self.reading.error(
                f"the first block of numbers begins in line {begin + 1}, at most {LONGEST_HEADER - 1} header lines "
                "are read",
                begin + 1,
                "Check that this is the right file",
            )

    # Choices -----------------------------------------------------------------------------------------------------

    def weigh(self) -> None:
        runs = self.blocks.runs
        top = [(at, self.shown(at)) for at in range(runs[0][0])]
        gaps = [[(at, self.shown(at)) for at in range(a[1], b[0])] for a, b in itertools.pairwise(runs)]
        self.tail = [(at, self.shown(at)) for at in range(runs[-1][1], min(self.lines.count, runs[-1][1] + 60))]
        sizes = {len([1 for _, text in gap if text.strip()]) for gap in gaps}
        self.own_lines = 0
        if gaps:
            self.own_lines = min(len(gap) for gap in gaps)
            if len(sizes) > 1:
                self.own_lines = min(sizes)
        headers = [top, *gaps]
        self.own = [part[len(part) - min(self.own_lines, len(part)) :] for part in headers] if gaps else [top]
        self.common = top[: len(top) - min(self.own_lines, len(top))] if gaps else []
        first_pass = items_of(top, self.blocks.shape.decimal)
        counts = {
            int(item.number) for item in first_pass
            if item.kind == "number" and item.number == int(item.number)
            and concept(item.label) in ("samples", "total", "duration", "")
        }  # fmt: skip
        self.arrangement = arrange(self.lines, self.blocks, counts, len(self.reading.names))
        names_at = set(self.arrangement.names_at)
        drop = [(at, text) for at, text in top if at not in names_at]
        self.items = items_of(drop, self.blocks.shape.decimal) if names_at else first_pass
        self.own_items = [
            items_of([(at, text) for at, text in part if at not in names_at], self.blocks.shape.decimal)
            for part in self.own
        ]
        tail_items = items_of(self.tail, self.blocks.shape.decimal)
        self.peaks = [item for item in tail_items if concept(item.label) == "peak"]
        self.passed = self.passed_over()
        kept = [at for at in range(len(runs)) if at not in self.passed]
        self.kept = kept
        values = [table(self.lines, runs[at], self.blocks.shape, 200_000) for at in kept[:3]]
        motion = [i for i, column in enumerate(self.arrangement.columns) if column.role == "motion"]
        if self.arrangement.mode == "columns":
            values = [one[:, motion] for one in values]
        elif self.arrangement.mode == "pairs":
            values = [one[:, 1::2] for one in values]
        self.peak = weigh.peak_of(values)
        self.whole = all(np.nanmax(np.abs(one - np.round(one)), initial=0) == 0 for one in values) and not any(
            "." in self.shown(at) for at in range(runs[0][0], min(runs[0][0] + 3, runs[0][1]))
        )
        self.stacked = self.in_one_block()
        self.named_in: dict[int, list[tuple[int, int]]] = {}
        self.owners: dict[int, int | None] = {}
        self.labels: list[str] = []
        self.choose()
        self.identify()
        self.named_in.clear()
        self.owners.clear()
        self.scales()
        self.choices = [
            self.dt, self.count, self.unit, self.sensitivity, self.station, self.name, self.network,
            *self.places.values(), self.start,
        ]  # fmt: skip

    def in_one_block(self) -> list[tuple[str, Item]]:
        """Return the components stated to be consecutive in one block: ``4332 of L, then ...``."""
        if len(self.blocks.runs) > 1 or self.arrangement.mode != "along":
            return []
        for at in range(self.blocks.runs[0][0]):
            found = re2.findall(r"\b([0-9]{2,7}) of ([A-Z][A-Za-z0-9]{0,3})\b", self.shown(at))
            if (
                len(found) in (2, 3)
                and len({count for count, _ in found}) == 1
                and len({name for _, name in found}) == len(found)
            ):
                count = int(found[0][0])
                if count * len(found) == self.arrangement.total:
                    self.arrangement.samples = count
                    return [(name, Item("number", "samples", str(count), at, float(count))) for _, name in found]
        return []

    def passed_over(self) -> set[int]:
        """Return the blocks that hold velocity or displacement."""
        found = set()
        for at, part in enumerate(self.own):
            text = plain(" ".join(line for _, line in part[-4:]))
            other = re2.search(r"veloc|displac|geschwind|verschieb|vitesse|deplac|spostam|velocidad|desplaz", text)
            mine = re2.search(r"accel|\bacc\b|beschl|acel", text)
            if other and not mine and len(self.own) > 1:
                found.add(at)
        return found if len(found) < len(self.own) else set()

    def choose(self) -> None:
        made = self.arrangement
        several = len(self.blocks.runs) > 1
        scope = self.items + (self.own_items[self.kept[0]] if several and self.kept and self.kept[0] > 0 else [])
        mine = self.items
        if several and self.passed:
            # The header of a skipped block does not apply to the others.
            mine = self.items
        lone = self.lone_interval()
        self.dt = weigh.interval(mine, made.samples, made.step, made.time_sure)
        if self.dt.value is None and not self.dt.doubt and lone is not None:
            self.dt = lone
        clock = any(column.role == "clock" for column in made.columns)
        if clock:
            self.dt = Choice("dt")
        if self.stacked:
            self.count = Choice("samples", float(made.samples), self.stacked[0][1], "the count of numbers")
        whole_file = sum(self.numbers_of(at) for at in range(len(self.blocks.runs))) if several else made.total
        if not self.stacked:
            self.count = weigh.count(mine, made.samples, whole_file)
        named = [(column.unit, made.names_at[0]) for column in made.motion if column.unit and made.names_at]
        self.unit = weigh.unit([*scope, *self.peaks], named, self.peak, self.whole)
        self.scope = scope
        self.station = weigh.station(mine, [(at, self.shown(at)) for at in range(self.blocks.runs[0][0])])
        self.name = weigh.named(mine, "name", "station name")
        self.network = weigh.named(mine, "network", "network")
        raw = [(at, self.shown(at)) for at in range(self.blocks.runs[0][0])]
        self.places = weigh.place(mine, raw)
        self.start = weigh.start(mine)
        if self.start.value is None and not self.start.doubt and not clock:
            self.start.doubt = weigh.unread_start(mine, raw)
        if clock and self.start.value is None and not moments(self.shown(self.blocks.runs[0][0])[:40]):
            at = self.blocks.runs[0][0] + 1
            self.start.doubt = f"the start is not known: the times of day from line {at} on have no date"

    def numbers_of(self, at: int) -> int:
        begin, end = self.blocks.runs[at]
        last = len(self.blocks.shape.block.cells(self.lines.line(end - 1)))
        return (end - begin - 1) * self.blocks.shape.cells + last

    def lone_interval(self) -> Choice | None:
        """Return an unlabelled number that may be the interval: next to the count, or alone above the samples."""
        found: list[tuple[Item, str]] = []
        bare: list[Item] = []
        labelled = {(item.line, item.text) for item in self.items if item.kind == "number" and item.label}
        for at in range(self.blocks.runs[0][0]):
            text = self.shown(at)
            cells = text.replace(",", " ").split() if self.blocks.shape.decimal == "." else text.split()
            if not cells or not all(header.usable_number(cell) for cell in cells):
                continue
            values = [float(cell) for cell in cells]
            small = [(cell, value) for cell, value in zip(cells, values, strict=True)
                     if 2e-4 <= value <= 0.1 and (at, cell) not in labelled]  # fmt: skip
            beside = float(self.arrangement.samples) in values
            bare += [Item("number", "", cell, at, value) for cell, value in small]
            if len(small) == 1 and (beside or len(cells) == 1):
                cell, value = small[0]
                found.append(
                    (Item("number", "", cell, at, value), "beside the count" if beside else "a number by itself")
                )
        words = any(re2.search(r"\pL{3}", self.shown(at)) for at in range(self.blocks.runs[0][0]))
        if len(found) == 1 and len(bare) == 1 and (found[0][1] == "beside the count" or not words):
            item, why = found[0]
            return Choice(
                "dt",
                item.number,
                item,
                why,
                note=f"the sampling interval {item.text} s is inferred: {why} in line {item.line + 1}",
            )
        loose = [
            item for item in self.items
            if item.kind == "number" and 2e-4 <= item.number <= 0.1 and item.unit is None and not concept(item.label)
        ]  # fmt: skip
        if bare or loose:
            said = " or ".join(f"{item.text} s (line {item.line + 1})" for item in (bare or loose)[:3])
            return Choice(
                "dt",
                None,
                (bare or loose)[0],
                "",
                [said],
                f"the sampling interval may be {said}: the header does not label it",
            )
        return None

    def scales(self) -> None:
        """Choose the sensitivity: one for all components, or one for each if the header gives several."""
        self.sensitivity = Choice("sensitivity")
        self.per_component: list[Choice] = []
        if self.unit.value != COUNTS:
            return
        self.sensitivity = weigh.settled_scale(self.scope)
        by_row = self.sensitivities_by_row()
        if by_row:
            self.per_component = by_row
        elif len(self.kept) > 1 and self.arrangement.mode != "columns":
            self.per_component = self.sensitivities_by_block()
        elif self.sensitivity.doubt and self.components > 1:
            self.per_component = self.sensitivities_by_line() or self.sensitivities_in_order()
        if not self.per_component:
            item = self.sensitivity.item
            if self.components > 1 and len(self.kept) == 1 and item is not None and not self.sensitivity.doubt:
                stated = {self.owner(way.item) for way in weigh.scale(self.items) if way.item is not None}
                if None not in stated and len(stated) < self.components:
                    self.sensitivity.doubt = (
                        f"the sensitivity {self.sensitivity.value:.7g} counts per m/s² is stated of "
                        f"{len(stated)} of {self.components} components ({self.sensitivity.place})"
                    )
            return
        doubtful = [one for one in self.per_component if one.doubt]
        if doubtful:
            self.sensitivity, self.per_component = doubtful[0], []
            return
        notes = dict.fromkeys(one.note for one in self.per_component if one.note)
        self.sensitivity = Choice("sensitivity", note="; ".join(notes))

    def unread_scale(self) -> str:
        """Return a doubt that quotes the lines with a sensitivity if none was understood; else an empty string."""
        if self.sensitivity.value is not None or self.per_component:
            return ""
        lines = [(at, self.shown(at)) for at in range(self.blocks.runs[0][0]) if at not in self.arrangement.names_at]
        said = [(at, text) for at, text in lines if _SPEAKS_OF_SCALE.search(plain(text)) and re2.search("[0-9]", text)]
        return weigh.not_understood("sensitivity", said) if said else ""

    def sensitivities_by_row(self) -> list[Choice]:
        """Return the sensitivities from a table with a row for each component."""
        rows = sorted({item.row for item in self.items if item.row is not None})
        if len(rows) != self.components:
            return []
        found = [weigh.settled_scale([item for item in self.items if item.row == row]) for row in rows]
        return found if all(one.value is not None and not one.doubt for one in found) else []

    def sensitivities_by_block(self) -> list[Choice]:
        """Return the sensitivities stated in each block, or at the top under each component's name."""
        first = self.own[0][0][0] if self.own[0] else 0
        above = [item for item in self.items if item.line < first]
        found = []
        for number, at in enumerate(self.kept):
            own = weigh.settled_scale(self.own_items[at])
            mine = [item for item in above if self.owner(item) in (None, number)]
            found.append(own if own.value is not None else weigh.settled_scale([*mine, *self.own_items[at]]))
        same = all(one.value == found[0].value for one in found) and not any(one.doubt for one in found)
        return [] if same or any(one.value is None for one in found) else found

    def sensitivities_by_line(self) -> list[Choice]:
        """Return the sensitivities stated with the name or number of each component."""
        shared = [item for item in self.items if self.owner(item) is None]
        found = []
        for number in range(self.components):
            own = [item for item in self.items if self.owner(item) == number]
            one = weigh.settled_scale(own)
            found.append(one if one.value is not None else weigh.settled_scale([*shared, *own]))
        places = {(one.item.line, one.item.text) for one in found if one.item is not None and not one.doubt}
        return found if len(places) == self.components or all(one.parts for one in found if one.value) else []

    def sensitivities_in_order(self) -> list[Choice]:
        """Return the sensitivities listed on one line in the order of the named columns."""
        ways = weigh.scale(self.items)
        lines = {way.item.line for way in ways if way.item is not None}
        if len(ways) != self.components or len(lines) != 1 or any(way.parts for way in ways):
            return []
        if not all(self.component_labels) or self.tokens(min(lines)):
            return []
        for way in ways:
            way.note = f"the sensitivities of line {min(lines) + 1} are assigned in the order of the columns"
        return ways

    # Which component a value belongs to ---------------------------------------------------------------------------

    @property
    def component_labels(self) -> list[str]:
        """The names of the components in the file; empty if unknown."""
        if self.stacked:
            return [name for name, _ in self.stacked]
        if self.arrangement.mode != "columns":
            return self.labels or [""] * self.components
        return ["" if means_nothing(column.name) else column.name for column in self.arrangement.motion]

    def tokens(self, at: int) -> list[tuple[int, int]]:
        """Return the places where a header line names components by label or number, and the components."""
        text, found = self.shown(at), []
        labels = [re2.sub(r" *[(\[].*$", "", label).strip() for label in self.component_labels]
        bare = [re2.sub(_PREFIX, "", plain(label)) for label in labels]
        numbered = any(re2.fullmatch(r"[0-9]{1,2}", one) for one in bare)
        for match in _NUMBERED.finditer(text):
            number = match[1].lstrip("0")
            if numbered and number in bare:
                found.append((match.start(), bare.index(number)))
            elif not numbered and number and 1 <= int(number) <= self.components:
                found.append((match.start(), int(number) - 1))
        for number, label in enumerate(labels):
            if not label:
                continue
            lead = (
                r"(?:^|[^\pL0-9_])"
                if len(label) > 1
                else rf"(?:^[\s#!%*>]*|[,;(] *|(?i:{_COMPONENT_WORD}|{_SCALE_WORD})[ .:=_-]*)"
            )
            end = r"(?:[^\pL0-9_]|$)"
            where = [match.start() for match in re2.finditer(rf"{lead}{re2.escape(label)}{end}", text)]
            if len(label) == 1:
                where += [m.start() for m in re2.finditer(rf"(?:^|[^\pL0-9_]){re2.escape(label)} *[:=]", text)]
            found += [(place, number) for place in where]
        return sorted(set(found))

    def alone(self, at: int) -> bool:
        """Whether a header line names only one component."""
        return len({number for _, number in self.tokens(at)}) == 1

    def owner(self, item: Item) -> int | None:
        """Return the component to which a value belongs by the words of its line, or None if it belongs to all."""
        if self.components < 2:
            return None
        if id(item) not in self.owners:
            self.owners[id(item)] = self.found_owner(item)
        return self.owners[id(item)]

    def found_owner(self, item: Item) -> int | None:
        """Return the component to which a line gives a value."""
        if item.line not in self.named_in:
            self.named_in[item.line] = self.tokens(item.line)
        tokens = self.named_in[item.line]
        if not tokens:
            return None
        if len({number for _, number in tokens}) == 1:
            return tokens[0][1]
        place = self.shown(item.line).find(item.text)
        before = [number for at, number in tokens if at < place]
        values = [self.shown(item.line).find(one.text) for one in self.items
                  if one.line == item.line and one.kind == "number" and one.unit is not None]  # fmt: skip
        if len(values) < len({number for _, number in tokens}):
            return None  # one value of several components
        if any(value < tokens[0][0] for value in values):  # each value before its name
            after = [number for at, number in tokens if at > place]
            return after[0] if after else None
        return before[-1] if before else None

    @property
    def components(self) -> int:
        """Number of components."""
        if self.stacked:
            return len(self.stacked)
        return len(self.kept) if self.arrangement.mode != "columns" else len(self.arrangement.motion)

    # Components --------------------------------------------------------------------------------------------------

    def identify(self) -> None:
        """Name each component, and find its direction."""
        labels: list[str] = []
        where: list[Direction] = []
        stands: list[Item | None] = []
        side = self.arrangement.mode == "columns" and len(self.arrangement.motion) >= 1
        for number in range(self.components):
            if side:
                column = self.arrangement.motion[number]
                label = "" if means_nothing(column.name) else column.name
                direction, item = column.direction, None
                found_label, found, at = self.component_items(label, number, self.items)
                if found.kind and (found.azimuth is not None or not direction.kind or direction.dip is None):
                    direction, item = found, at
                if self.components == 1 and not label:
                    label = found_label
            elif self.stacked:
                label = self.stacked[number][0]
                _, direction, item = self.component_items(label, number, self.items)
            else:
                own = self.own_items[self.kept[number]] if len(self.own) > 1 else self.items
                label, direction, item = self.of_section(number, own)
            labels.append(label)
            where.append(direction)
            stands.append(item)
        listed = self.order_of_columns() if side and self.components > 1 and not any(one.kind for one in where) else []
        if listed:
            labels = [label or name for label, (name, _) in zip(labels, listed, strict=True)]
            where = [points for _, points in listed]
        self.labels, self.where, self.stands = labels, where, stands
        self.names = _names(labels, where)
        unknown = [
            name for name, one in zip(self.names, where, strict=True) if not one.kind and name not in ("H1", "H2", "V")
        ]
        self.direction_note, self.unnamed = "", len(unknown)
        if unknown:
            pair = ", ".join(f"{name}=H{at + 1}" for at, name in enumerate(unknown[:2]))
            offer = f"component={quoted(pair)}" if len(unknown) > 1 else "component="
            self.direction_note = (
                f"the direction of {', '.join(unknown)} is not stated; give {offer} (--component) to name what is known"
            )

    def order_of_columns(self) -> list[tuple[str, Direction]]:
        """Return label and direction of each column if one header line lists as many directions.

        They are in the order of the columns (``Channels: N, E, Z``), or each next to the letter that ends its column's
        name (``X = East, Y = North, Z = Up``).
        """
        found: list[list[tuple[str, Direction]]] = []
        names = [column.name.strip() for column in self.arrangement.motion]
        lines = (_LISTED_UNDER.match(self.shown(at)) for at in range(self.blocks.runs[0][0]))
        said = [(match[1], match[2]) for match in lines if match]
        said += [(item.label, item.text) for item in self.items if item.kind == "text" and item.labelled]
        for label, value in said:
            if not (concept(plain(label)) == "component" or re2.search(_ORDER, plain(label))):
                continue
            listed = re2.sub(r"\([^()]*\)", " ", value).strip(" .;,")
            for between in (r" *; *", r" *, *", r" */ *", r"\t+| +"):
                cells = [cell for cell in re2.split(between, listed) if cell]
                if len(cells) == len(names) + 1 and _NAMES_THE_TIME.match(cells[0]):
                    cells = cells[1:]
                if len(cells) != len(names):
                    continue
                numbered = [re2.match(r"^([0-9]{1,2}) *(?:=|:|is|->)? *(\pL.*)$", cell) for cell in cells]
                keyed = [re2.match(r"^(\w{1,4}) *(?:=|:|is|->) *(\pL.*)$", cell) for cell in cells]
                if all(numbered) and [int(match[1]) for match in numbered if match] == list(range(1, len(cells) + 1)):
                    cells = [match[2] for match in numbered if match]
                elif all(keyed):
                    of_key = {match[1].lower(): match[2] for match in keyed if match}
                    keys = [
                        next((key for key in of_key if re2.search(rf"(?i)(?:^|[^\pL]|\pL{{2}}){key}$", name)), "")
                        for name in names
                    ]
                    if not all(keys) or len(set(keys)) < len(names):
                        continue
                    cells = [of_key[key] for key in keys]
                where = [pointing(cell) if len(cell) > 1 else _pointing_of_letter(cell) for cell in cells]
                if all(one.kind for one in where) and len(set(where)) == len(where):
                    found.append(list(zip(cells, where, strict=True)))
                    break
        return found[0] if found and all(one == found[0] for one in found) else []

    def component_items(self, label: str, number: int, items: Sequence[Item]) -> tuple[str, Direction, Item | None]:
        """Return label and direction of a component stated with its label, or in its row of a table."""
        word = plain(label)
        bare = re2.sub(r"^(?:channel|chan|ch|kanal|canal|comp(?:onent)?)[ ._-]*", "", word) or word
        if word:
            for item in items:
                if item.kind != "text" or not item.labelled or weigh._of_event(item):
                    continue
                tail = re2.sub(
                    (
                        r"^.*\b(?:direction|orientation|azimuth|component|channel|comp|axis|richtung"
                        r"|kanal)(?: azimuth)?(?: of)? "
                    ),
                    "",
                    item.label,
                )
                ahead = re2.sub(r" (?:direction|orientation|azimuth|axis|component|channel|richtung)$", "", item.label)
                if (tail in (word, bare) or ahead in (word, bare)) and pointing(item.text).kind:
                    return label, _pointing(item.text), item
            for item in items:
                if item.kind == "text" and not item.labelled:
                    match = re2.match(rf"^{re2.escape(bare)}\b *[:=-]? *(?:is |points to |= )?(.*)$", plain(item.text))
                    if match and _pointing(match[1]).kind:
                        return label, _pointing(match[1]), None
            for at in range(self.blocks.runs[0][0]):
                match = re2.search(rf"(?:^|[^\pL0-9]){re2.escape(label.strip())} ?\(([^()]*)\)", self.shown(at))
                if match and _pointing(match[1]).kind:
                    return label, _pointing(match[1]), None
            free = re2.compile(rf"\b{re2.escape(bare)}\b(?: component)? (?:points to|is|at|=|:)? *(.*)$")
            for item in items:
                if (
                    item.kind == "text"
                    and not item.labelled
                    and concept(item.label) in ("component", "")
                    and (match := free.search(plain(item.text)))
                ) and _pointing(match[1]).kind:
                    return label, _pointing(match[1]), None
        rows = sorted({item.row for item in items if item.row is not None})
        if len(rows) == self.components and self.components > 1:
            dips = [
                i.number
                for i in items
                if i.kind == "number" and i.row == rows[number] and re2.match(r"^dip\b", i.label)
            ]
            if dips and abs(dips[0]) == 90:
                return label, Direction("vertical", None, dips[0]), None
            for item in items:
                mine = item.kind == "text" and item.row == rows[number] and concept(item.label) == "component"
                if mine and pointing(item.text).kind and not re2.fullmatch(r"[0-9]{1,2}", item.text):
                    return label, _pointing(item.text), item
        if self.components == 1:
            return self.of_section(0, items)
        return label, *self.direction_under(number, items)

    def direction_under(self, number: int, items: Sequence[Item]) -> tuple[Direction, Item | None]:
        """Return the direction in the lines of a component, as an azimuth and a dip or in words."""
        mine = [item for item in items if self.owner(item) == number and not weigh._of_event(item)]
        dips = {i.number for i in mine if i.kind == "number" and re2.match(r"^(?:dip|inclination)\b", i.label)}
        if len(dips) == 1 and abs(min(dips)) == 90:
            return Direction("vertical", None, min(dips)), None
        if dips and dips != {0.0}:
            return Direction(""), None
        azimuths = {
            i.number % 360: i for i in mine
            if i.kind == "number" and re2.match(r"^(?:azimut\w*|azi?)\b", i.label) and 0 <= i.number <= 360
        }  # fmt: skip
        if len(azimuths) == 1:
            value, item = next(iter(azimuths.items()))
            return Direction("horizontal", value, 0.0), item
        said = {
            _pointing(i.text): i for i in mine
            if i.kind == "text" and (
                re2.search(r"direction|orientation|pointing|richtung", i.label) if i.labelled
                else len(i.text.split()) <= 2 and re2.search(r"\pL", i.text) and self.alone(i.line)
            )
        }  # fmt: skip
        said = {where: item for where, item in said.items() if where.kind}
        return next(iter(said.items())) if len(said) == 1 and not azimuths else (Direction(""), None)

    def of_section(self, number: int, own: Sequence[Item]) -> tuple[str, Direction, Item | None]:
        """Return label and direction of the component of a block, from its own header."""
        several = len(self.kept) > 1
        label, best, stands = "", Direction(""), None
        for item in own:
            if (
                item.kind != "text"
                or weigh._of_event(item)
                or not (concept(item.label) == "component" or concept(plain(item.text)) == "component")
            ):
                continue
            if re2.match(r"^[0-9]+ of [0-9]+$", item.text) or re2.search(
                r"number of|per channel|channels\b", item.label
            ):
                continue
            where = _pointing(item.text)
            if (
                item.labelled
                and re2.fullmatch(r"[0-9.]+", item.text)
                and not re2.search(r"azimut|direction|orient|richtung", item.label)
            ):
                where = Direction("")
            if item.text.lower() in ("channel", "component", "comp", "direction"):
                continue
            if (
                not where.kind
                and item.labelled
                and not label
                and re2.fullmatch(r"[A-Za-z][A-Za-z0-9-]{0,11}", item.text)
            ):
                label = item.text
            if where.kind and (not best.kind or (best.azimuth is None and where.azimuth is not None)):
                best, stands = where, item if item.labelled else None
                if re2.fullmatch(r"[A-Za-z][A-Za-z0-9-]{0,11}", item.text) and not label:
                    label = item.text
        if several and number < len(self.kept):
            text = " ".join(line for _, line in self.own[self.kept[number]])
            if word := re2.search(r"(?:^|[^\pL0-9])(H1|H2|NS|EW|UD|N-S|E-W|U-D|V|[LTXYZ])(?:[^\pL0-9]|$)", text):
                label = label or word[1]
                known = header.direction(word[1])
                if (
                    not best.kind
                    and known[0] in ("H1", "H2", "V")
                    and (known[1] is not None or known[2] is not None or known[0] == "V")
                ):
                    best = _pointing(word[1]) if known[0] != "V" or known[2] is not None else Direction("vertical")
            letter = re2.search(rf"(?i:{_COMPONENT_WORD})[ .:=_-]{{1,3}}([NEZ])(?:[^\pL0-9]|$)", text)
            if letter and not label:
                label = letter[1]
                best = best if best.kind else _pointing_of_letter(label)
            if (
                match := re2.search(r"(?i)\b(longitudinal|transvers\w*|vertical|long|tran|vert)\b", text)
            ) and not label:
                label = match[1]
        if label in ("H1", "H2", "V") or (several and label):
            # The common header may give directions by name.
            _, found, at = (
                ("", Direction(""), None) if self.components == 1 else self.component_items(label, number, self.items)
            )
            if (found.kind and not (best.azimuth is not None or best.dip is not None)) or (
                found.azimuth is not None and best.azimuth is None
            ):
                best, stands = found, at
        if not best.kind and several and 1 < self.components > number:
            _, best, stands = self.component_items(label, number, self.items)
        if not best.kind and len(self.kept) == 1 and len(self.own) > 1 and own is not self.items:
            return self.of_section(number, self.items)
        if not best.kind:
            alone = {
                where for item in own
                if item.kind == "text" and not item.labelled and not weigh._of_event(item)
                and _DIRECTION_ALONE.match(plain(item.text)) and (where := _pointing(item.text)).kind
            }  # fmt: skip
            best = alone.pop() if len(alone) == 1 else best
        if not label:
            for item in own:
                if (
                    item.kind == "text"
                    and (word := re2.search(r"(?i)\b(longitudinal|transverse|vertical)\b", item.text))
                    and len(item.text) < 60
                ):
                    label = word[1]
                    break
        return label, best, stands

    # Required quantities -----------------------------------------------------------------------------------------

    def needed(self) -> tuple[list[str], list[Choice]] | None:
        """Return the missing and the doubtful quantities among those required for acceleration."""
        reading = self.reading
        missing, doubts = [], []
        if self.arrangement.doubt:
            doubts.append(Choice("arrangement", doubt=self.arrangement.doubt))
        clock = any(column.role == "clock" for column in self.arrangement.columns)
        if "dt" not in reading.given and not clock:
            if self.dt.doubt:
                doubts.append(self.dt)
            elif self.dt.value is None:
                missing.append("dt")
        if self.count.doubt and "samples" not in reading.given and reading.missing != "truncate":
            doubts.append(self.count)
        if reading.unit is None and reading.sensitivity is None and reading.inventory is None:
            if self.unit.doubt:
                doubts.append(self.unit)
            elif self.unit.value is None:
                missing.append("unit")
        unit = reading.unit or self.unit.value
        if unit == COUNTS and reading.sensitivity is None and reading.inventory is None and self.sensitivity.doubt:
            doubts.append(self.sensitivity)
        return (missing, doubts) if missing or doubts else None

    def hints(self, missing: Sequence[str]) -> str:
        """Quote header lines that may hold the missing quantities in a form that is not understood."""
        known = {item.line for item in (choice.item for choice in self.choices) if item is not None}
        found = []
        for at in range(self.blocks.runs[0][0]):
            text = self.shown(at)
            decoy = concept(plain(re2.sub("[0-9].*", "", text))) in DECOYS - {"other", "number of", "per line", "total"}
            if at not in known and not decoy and any(_SPEAKS_OF[quantity].search(plain(text)) for quantity in missing):
                found.append((at, text))
        if not found:
            return "The file does not seem to state it"
        quotes = ", ".join(f"line {at + 1} ({' '.join(text.split())[:80]!r})" for at, text in found[:3])
        return f"It is not stated in a form that is understood; see {quotes}"

    def findings(self, said: str) -> list[Finding]:
        """Return the findings on a file read with a draft."""
        notes = [
            Finding(
                "read by a draft", "note", f"read as {said}",
                "amplitudes and times depend on these header values",
                "check them; `strongmotion layout FILE` shows the draft",
            )
        ]  # fmt: skip
        given = self.reading.given
        left = [
            choice.doubt
            for choice in self.choices
            if choice.doubt
            and choice.quantity not in ("dt", "sampling_rate", "unit", "sensitivity", "scale", "samples")
            and choice.quantity not in given
        ]
        more = [choice.note for choice in self.choices if choice.note and choice.quantity not in given]
        if self.unit.value == COUNTS and self.reading.sensitivity is None and self.reading.inventory is None:
            left += [doubt] if (doubt := self.unread_scale()) else []
        if self.arrangement.note:
            more.append(self.arrangement.note)
        if self.direction_note and not self.reading.names:
            notes.append(
                Finding(
                    "no horizontal pair", "note", self.direction_note,
                    "components of unknown direction are processed separately, without rotated spectra",
                    "if two of them are the horizontal pair, name them H1 and H2",
                )
                if self.unnamed > 1
                else Finding(
                    "inferred header", "note", self.direction_note, "results that use it depend on this choice",
                    "if it is wrong, give it with an option or a layout",
                )
            )  # fmt: skip
        for text in left:
            notes.append(
                Finding(
                    "doubtful header", "doubt", f"{text}; it was left out", "results that depend on it are missing",
                    "give it with an option (--start, --station, --set NAME=VALUE) or a layout",
                    touches=Touched((), NO_PERIODS),
                )
            )  # fmt: skip
        for text in more:
            notes.append(
                Finding(
                    "inferred header", "note", text, "results that use it depend on this choice",
                    "if it is wrong, give it with an option or a layout",
                )
            )  # fmt: skip
        return notes

    # The layout --------------------------------------------------------------------------------------------------

    def draft(self) -> Draft:
        """Return the layout with its doubts."""
        if self.encoding != "utf-8":
            self.unsure.append(f"the encoding: it is not UTF-8; it is read as {self.encoding}")
        for choice in self.choices:
            if choice.doubt:
                self.unsure.append(choice.doubt)
            elif choice.note:
                self.unsure.append(choice.note)
        for text in (self.arrangement.doubt, self.arrangement.note, self.direction_note):
            if text:
                self.unsure.append(text)
        clock = any(column.role == "clock" for column in self.arrangement.columns)
        if self.dt.value is None and not self.dt.doubt and not clock:
            self.unsure.append("the sampling interval: the header does not seem to state it")
        if self.unit.value is None and not self.unit.doubt:
            self.unsure.append("the unit of the numbers: the header does not seem to state it")
        toml = self.written()
        return Draft(checked(toml), self.choices, self.unsure, said=self.sentence())

    def sentence(self) -> str:
        """Return a one-line summary of how the file is read."""
        made, shape = self.arrangement, self.blocks.shape
        if made.mode == "columns":
            how = f"{len(made.motion)} column{'s' * (len(made.motion) != 1)} of motion"
        else:
            how = f"{shape.cells} value{'s' * (shape.cells != 1)} a line"
            if made.mode == "pairs":
                how = f"{shape.cells // 2} pairs of time and value a line"
        if len(self.kept) > 1:
            how += f" in {len(self.kept)} blocks"
        parts = [how]
        given = self.reading.given
        if "dt" in given:
            parts.append(f"dt {given['dt']} s as given")
        elif isinstance(self.dt.value, float):
            parts.append(f"dt {self.dt.value:.9g} s from {self.dt.place or self.dt.why}")
        if self.reading.unit is not None:
            parts.append(f"{self.reading.unit} as given")
        elif self.unit.value is not None:
            parts.append(f"{self.unit.value} from {self.unit.place or self.unit.why}")
        if self.reading.sensitivity is not None:
            parts.append(f"{self.reading.sensitivity:g} counts per m/s² as given")
        elif self.sensitivity.value is not None and self.unit.value == COUNTS:
            parts.append(f"{self.sensitivity.value:.7g} counts per m/s² from {self.sensitivity.place}")
        elif self.per_component:
            values = ", ".join(f"{one.value:.7g} ({one.place})" for one in self.per_component)
            parts.append(f"{values} counts per m/s²")
        return ", ".join(parts)

    def written(self) -> str:
        """Return the layout as TOML."""
        runs, made = self.blocks.runs, self.arrangement
        several = len(runs) > 1
        top = [(at, self.shown(at)) for at in range(runs[0][0])]
        out = ["# A draft: check every line of it against what you know of the file."]
        out += [f"# Unsure: {doubt}." for doubt in self.unsure]
        out.append(f"name = {quoted(name_of(Path(self.reading.file).stem))}")
        texts = [choice.item.text for choice in (self.station, self.name, self.network) if choice.item is not None]
        if recognise := _recognised(top, texts):
            out.append(f"recognise = {quoted(recognise)}")
        if self.encoding != "utf-8":
            out.append(f"encoding = {quoted(self.encoding)}")
        common: list[str] = []
        own: list[str] = []
        rows: dict[str, list[str]] = {name: [] for name in self.names}
        place = common if several else own
        clock = any(column.role == "clock" for column in made.columns)
        if self.dt.doubt or (self.dt.value is None and not clock):
            place.append('dt = "?"')
        elif not clock and (made.step is None or self.dt.item is not None):
            place.append(self.rule(self.dt, top, comment=self.dt.why))
        if self.count.value is not None:
            place.append(self.rule(self.count, top))
        if self.unit.doubt or self.unit.value is None:
            place.append('unit = "?"')
        elif self.sensitivity.value is None or not self.rule(self.sensitivity, top).startswith("scale"):
            place.append(self.rule(self.unit, top))
        if self.unit.value == COUNTS:
            if self.per_component:
                for name, choice in zip(self.names, self.per_component, strict=True):
                    rows[name].append(self.rule(choice, top) if not several else self.constant(choice, choice.place))
            elif self.sensitivity.doubt:
                place.append('sensitivity = "?"')
            elif self.sensitivity.value is not None:
                place.append(self.rule(self.sensitivity, top))
        for choice in (self.station, self.name, self.network, *self.places.values(), self.start):
            if choice.value is not None and not choice.doubt:
                place.append(self.rule(choice, top))
        for name, label, where, item in zip(self.names, self.labels, self.where, self.stands, strict=True):
            rows[name] += self.direction_rules(name, label, where, item, top)
        if several:
            differ = self.sections_differ()
            for key in differ:
                common[:] = [line for line in common if not line.startswith((f"{key} ", f"{key} ="))]
            own += [self.section_rule(key) for key in differ]
        common = [line for line in common if line]
        if several and common:
            out += ["", "[file]", *common]
        out += ["", "[header]"]
        single = not several and made.mode != "columns"
        if several:
            if self.own_lines:
                out.append(f"lines = {self.own_lines}")
        else:
            out.append(f"lines = {runs[0][0]}")
        if several or (single and self.names):
            repeated = self.repeats()
            if repeated:
                own.append(f"component.value = {quoted(self.names[0])}")
            else:
                out.append(f"order = [{', '.join(quoted(name) for name in self.names)}]")
        if self.passed:
            out.append(f"skip = {quoted(_OTHER_MOTION)}")
        out += [line for line in own if line]
        for name, lines in rows.items():
            if lines := [line for line in lines if line]:
                out += ["", f"[component.{name}]", *lines]
        out += ["", "[block]", *self.block_keys()]
        return "\n".join(out) + "\n"

    def repeats(self) -> bool:
        """Whether the blocks are successive records, not components of one record."""
        if len(self.kept) < 2 or self.arrangement.mode == "columns":
            return len(self.kept) > 1
        starts = [weigh.start(self.own_items[at]) for at in self.kept]
        values = {choice.value for choice in starts}
        return len(values) == len(self.kept) and None not in values and len({*self.labels}) < len(self.labels)

    def sections_differ(self) -> list[str]:
        """Return the quantities that blocks state differently from the first block."""
        keys = []
        for quantity, choice in (("dt", self.dt), ("samples", self.count), ("start", self.start)):
            if choice.item is None or not any(choice.item.line == at for at, _ in self.own[self.kept[0]]):
                continue
            values = [self.of_own(quantity, at) for at in self.kept]
            if len({one.value for one in values}) > 1 and all(one.item is not None for one in values):
                keys.append(choice.quantity if quantity == "dt" else quantity)
        return keys

    def of_own(self, quantity: str, at: int) -> Choice:
        if quantity == "start":
            return weigh.start(self.own_items[at])
        numbers = self.numbers_of(at)
        if quantity == "samples":
            return weigh.count(self.own_items[at], numbers, numbers)
        return weigh.interval(self.own_items[at], numbers, None, True)

    def section_rule(self, key: str) -> str:
        choice = {"dt": self.dt, "sampling_rate": self.dt, "samples": self.count, "start": self.start}[key]
        return self.rule(choice, self.own[self.kept[0]])

    def rule(self, choice: Choice, lines: list[tuple[int, str]], comment: str = "") -> str:
        """Return the layout line for a quantity, tested on the file; a constant if no rule finds it."""
        quantity = choice.quantity
        numeric = quantity not in ("unit", "station", "name", "network", "latitude", "longitude", "start")
        if (
            choice.item is None
            or choice.item.kind in ("step", "digit")
            or (quantity == "unit" and choice.item.kind != "text")
        ):
            return self.constant(choice, comment)
        if quantity == "start" and choice.parts:
            return self.constant(choice, "date and time of day stand apart")
        if quantity == "unit":
            return self.unit_rule(choice, lines)
        found, rule = rule_text(choice, lines, numeric)
        if not found or rule is None:
            return self.constant(choice, choice.place)
        more = ""
        if choice.unit and quantity in ("dt", "sensitivity", "scale"):
            more += f", unit = {quoted(choice.unit)}"
        elif choice.factor != 1.0:
            more += f", factor = {choice.factor!r}"
        for key, item in choice.parts:
            other, _ = rule_text(Choice("", item=item), lines, True)
            if not other:
                return self.constant(choice, choice.place)
            more += f", {key} = {{{other}}}"
        if quantity == "start":
            text = rule.find([line for _, line in lines], 1)
            if choice.order:
                more += f", order = {quoted(choice.order)}" if choice.order in ("dmy", "mdy", "ymd") else ""
            if choice.zone:
                more += f", zone = {quoted(choice.zone)}"
            again = (
                moments(text.text, choice.order if choice.order in ("dmy", "mdy") else "", choice.zone) if text else []
            )
            if len(again) != 1 or f"{again[0].time}Z" != choice.value:
                return self.constant(choice, choice.place)
        if quantity in ("latitude", "longitude") and len(weigh.coordinate(choice.item.text, quantity)) != 1:
            return self.constant(choice, choice.place)
        return f"{quantity} = {{{found}{more}}}"

    def unit_rule(self, choice: Choice, lines: list[tuple[int, str]]) -> str:
        assert choice.item is not None
        if weigh.unit_name(choice.item.text) == choice.value and choice.item.labelled:
            try:
                header.acceleration_unit(choice.item.text)
            except StrongMotionError:
                return self.constant(choice, choice.place)
            found, _ = rule_text(choice, lines, False)
            if found:
                return f"unit = {{{found}}}"
        return self.constant(choice, choice.place)

    def constant(self, choice: Choice, comment: str = "") -> str:
        value = choice.value
        if choice.quantity == "sampling_rate" and isinstance(value, float):
            return f"dt.value = {value!r}  # {comment or choice.why}"
        if choice.quantity in ("sensitivity", "scale"):
            return f"sensitivity.value = {value!r}  # counts per m/s², {comment or choice.why}"
        shown = (
            quoted(value)
            if isinstance(value, str)
            else repr(int(value) if choice.quantity == "samples" and value else value)
        )
        return f"{choice.quantity}.value = {shown}  # {comment or choice.why or 'of this file'}"

    def direction_rules(
        self, name: str, label: str, where: Direction, item: Item | None, top: list[tuple[int, str]]
    ) -> list[str]:
        out = []
        if label and label != name:
            out.append(f"channel.value = {quoted(plain_label(label))}")
        known = header.direction(name)
        if where.azimuth is not None and where.azimuth != known[1]:
            found = ""
            if (
                item is not None
                and item.text
                and any(item.line == at for at, _ in top)
                and _pointing(item.text).azimuth == where.azimuth
            ):
                found, _ = rule_text(Choice("azimuth", item=item), top, False)
            out.append(f"azimuth = {{{found}}}" if found else f"azimuth.value = {where.azimuth!r}")
            if known[2] != 0.0:
                out.append("dip.value = 0.0")
        elif where.dip is not None and where.dip != known[2] and where.kind == "vertical":
            out.append(f"dip.value = {where.dip!r}")
        return out

    def block_keys(self) -> list[str]:
        made, shape, runs = self.arrangement, self.blocks.shape, self.blocks.runs
        keys = []
        if made.mode == "columns":
            names = iter(self.names)
            labels = [
                next(names) if column.role == "motion" else column.role if column.role in ("time", "clock") else "-"
                for column in made.columns
            ]
            keys.append(f"columns = [{', '.join(quoted(label) for label in labels)}]")
        elif made.mode == "pairs":
            name = self.names[0] if len(self.names) == 1 else "value"
            keys += [f"columns = ['time', {quoted(name)}]", f"values_per_line = {shape.cells}"]
        else:
            keys.append(f"values_per_line = {shape.cells}")
        if made.time_unit != "s":
            keys.append(f"time_unit = {quoted(made.time_unit)}")
        if shape.width is not None:
            keys.append(f"width = {list(shape.width) if isinstance(shape.width, tuple) else shape.width}")
        if shape.delimiter:
            keys.append(f"delimiter = {quoted(shape.delimiter)}")
        if shape.decimal != ".":
            keys.append('decimal = ","')
        if shape.exponent:
            keys.append(f'exponent = "{shape.exponent}"')
        if shape.last_column:
            keys.append(f"last_column = {shape.last_column}")
        if self.blocks.comment:
            keys.append(f"comment = {quoted(self.blocks.comment)}")
        if len(runs) > 1:
            keys.append(f"found = {len(runs)}")
        else:
            after = [text for at in range(runs[0][1], self.lines.count) if (text := self.shown(at)).strip()]
            if after and self.count.value is not None:
                keys.append("counted = true")
            elif after:
                keys.append(f"trailer = {self.lines.count - runs[0][1]}")
        return keys


def plain_label(label: str) -> str:
    """Return a label that is valid as a channel name."""
    return " ".join(label.split())[:32]


def _pointing(text: str) -> Direction:
    """Return the direction in a text, ignoring plain channel numbers."""
    text = text.strip()
    match = re2.search(r"(?i)\baz(?:im\w*)?[ :=.]{1,3}([0-9]{1,3}(?:\.[0-9]+)?)(?:[^0-9.]|$)", text)
    if match and float(match[1]) <= 360:
        return Direction("horizontal", float(match[1]) % 360, 0.0)
    if re2.fullmatch(r"[0-9]{1,2} of [0-9]{1,2}|channel [0-9]+", text.lower()):
        return Direction("")
    return pointing(text)


def _pointing_of_letter(letter: str) -> Direction:
    """Return the direction of a letter in a list of directions."""
    name, azimuth, dip = header.direction(letter)
    if name == "V":
        return Direction("vertical", None, dip)
    return Direction("horizontal", azimuth, 0.0) if azimuth is not None else Direction("")


def _names(labels: Sequence[str], where: Sequence[Direction]) -> list[str]:
    """Return a name for each component: H1, H2 and V if directions or labels imply it."""
    names: list[str] = [""] * len(labels)
    for at, (label, one) in enumerate(zip(labels, where, strict=True)):
        plain_name = header.direction(label)[0] if label else ""
        opposite = "horizontal" if plain_name == "V" else "vertical"
        if plain_name in ("H1", "H2", "V") and plain_name not in names and one.kind != opposite:
            names[at] = plain_name
    for at, one in enumerate(where):
        if names[at]:
            continue
        if one.kind == "vertical" and "V" not in names:
            names[at] = "V"
        elif one.kind == "horizontal":
            names[at] = next((name for name in ("H1", "H2") if name not in names), "")
    for at, label in enumerate(labels):
        if not names[at]:
            clean = re2.sub(r"[^A-Za-z0-9_-]+", "-", label).strip("-")[:24]
            known = header.direction(clean)[0] in ("H1", "H2", "V") or clean.lower() in ("t", "time", "clock")
            names[at] = (
                clean if clean and clean not in names and not known and re2.search(r"[A-Za-z]", clean) else f"C{at + 1}"
            )
    return names


def _recognised(top: Sequence[tuple[int, str]], found: Sequence[str]) -> str:
    """Return a pattern of a first line of such files; `found` are words particular to this file.

    It uses the labels of the first line that has any, so that other files of the kind match it too.
    """
    best = ""
    for _, text in top[:20]:
        words = re2.split(r"[0-9:=;,(]|\t|  +[^ ]", text)[0].rstrip()
        if any(len(word) > 2 and word in words for word in found) or not re2.search(r"\pL{3}", words):
            continue
        pattern = "^" + literal(words[:40].rstrip())
        if concept(plain(words)) and re2.search(r"[:=;]", text[len(words) : len(words) + 3]):
            return pattern
        best = best or pattern
    return best


__all__ = ["OPTIONS", "RULES", "Draft", "draft_layout", "read_drafted"]
