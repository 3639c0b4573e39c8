"""Read and write text files of numbers with a layout; `layout` documents the language."""

from __future__ import annotations

import itertools
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..foundation.errors import RecordError, SettingsError
from ..foundation.files import write_whole
from ..record import Component, Finding, Record, Station
from . import header
from .header import NUMERIC, QUANTITIES, Field, Reading
from .layout import (
    LONGEST_HEADER,
    MOMENT,
    MOST_COMPONENTS,
    NO_COMPONENT,
    Layout,
    Rules,
    load_layout,
)  # fmt: skip
from .lines import LONGEST_HEADER_LINE, Lines, typed
from .odd_rows import odd_rows
from .phrases import moments, unit_at
from .time_column import clock_times, interval_from_times, jitter, printed_place


def read_text(reading: Reading, layout: Layout) -> Record:
    """Read the only record of a text file with a layout.

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
        The file does not follow the layout, is truncated, or holds something that is not a number, or several records.
    """
    records = read_texts(reading, layout)
    if len(records) > 1:
        raise reading.error(f"the file holds {len(records)} records", remedy="Read them with read_all")
    return records[0]


def read_texts(reading: Reading, layout: Layout) -> list[Record]:
    """Read every record of a text file with a layout.

    A component whose name the record already has, with another start, begins the next record.
    """
    return _Reader(reading, layout).records()


class _Reader:
    """A text file with its lines located but not yet decoded, and its layout."""

    def __init__(self, reading: Reading, layout: Layout) -> None:
        self.reading, self.layout = reading, layout
        remedy = 'Set the encoding in the layout (encoding = "latin-1"), unless the file is damaged'
        self.lines = Lines(reading, layout.encoding, remedy)
        self.start: np.datetime64 | None = None

    def records(self) -> list[Record]:
        records: list[Record] = []
        components: list[Component] = []
        findings: list[Finding] = []
        station: Station | None = None
        shared: dict[str, Field] = {}
        each: dict[str, Field] = {}
        read_before = last_end = 0
        sections = self.sections()
        self.alone = len(sections) == 1
        for number, (begin, data, end) in enumerate(sections):
            if number == 0:
                self.top = (0, begin if self.layout.first is not None else data)
                if self.layout.of_file is not None:
                    shared = self.fields(self.layout.of_file, *self.top)
            if self.layout.record_first is not None:
                above = last_end if number else 0
                if (first := next(self.lines.found(self.layout.record_first, above, data), None)) is not None:
                    if components and station is not None:
                        records.append(self.record(components, station, findings))
                        components, findings, station, read_before = [], [], None, 0
                    each = self.fields(self.layout.of_record, first, data)
            last_end = end
            fields, given = header.settled(
                self.reading, {**shared, **each, **self.fields(self.layout.rules, begin, data)}
            )
            read, said = self.components(fields, begin, data, end, read_before)
            read_before += len(read)
            here = header.station_of(self.reading, fields)
            again = {one.name for one in components} & {one.name for one in read}
            if again and station is not None and read[0].start != components[0].start:
                records.append(self.record(components, station, findings))
                components, findings, station = [], [], None
            components.extend(read)
            findings.extend((*((*given, *header.processed_note(fields)) if number == 0 else ()), *said))
            if station is not None and here != station:
                raise self.reading.error(
                    f"component {read[0].name} comes from a different station than the first",
                    begin + 1,
                    "A record holds the components of one instrument: split the file",
                )
            station = here
        assert station is not None
        if len(self.reading.names) > read_before:
            raise self.reading.error(
                f"{len(self.reading.names)} components were named, but {read_before} were found",
                remedy="Name as many as the file holds",
            )
        records.append(self.record(components, station, findings))
        return records

    def record(self, components: list[Component], station: Station, findings: list[Finding]) -> Record:
        return self.reading.record(components, station, f"text, layout {self.layout.name}", findings)

    def sections(self) -> list[tuple[int, int, int]]:
        """Return the first line of each header, the first line of its numbers, and the line after them."""
        if self.layout.block.found is not None:
            sections = self.found_sections(self.layout.block.found)
        else:
            sections = [(a, self.data_begins(a, b), b) for a, b in self.declared_sections()]
        skip = self.layout.skip
        if skip is not None:
            kept = [one for one in sections if next(iter(self.lines.found(skip, one[0], one[1])), None) is None]
            if not kept:
                raise self.reading.error("every block is skipped", 1, "Correct `skip` in the layout")
            return kept
        return sections

    def found_sections(self, expected: int) -> list[tuple[int, int, int]]:
        runs = self.lines.runs()
        if len(runs) != expected:
            places = ", ".join(f"{a + 1} to {b}" for a, b in runs[:6]) or "none"
            raise self.reading.error(
                f"{expected} blocks of numbers are expected, {len(runs)} were found (lines {places})",
                runs[-1][1] if runs else None,
                "The file may be damaged between them, or truncated; if not, correct `found` in the layout",
            )
        begins = [0, *(end for _, end in runs[:-1])]
        own = self.layout.lines
        if own is not None:
            begins = [max(a, data - own) for a, (data, _) in zip(begins, runs, strict=True)]
        return [(a, data, end) for a, (data, end) in zip(begins, runs, strict=True)]

    def declared_sections(self) -> list[tuple[int, int]]:
        """Return the first line of each header with its block, and the line after it."""
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
        if layout.length is not None:
            found = self.fields({"samples": layout.length}, begin, min(end, begin + LONGEST_HEADER)).get("samples")
            if found is None or not header.INTEGER.fullmatch(found.text) or int(found.text) < 0:
                raise self.reading.error(
                    "the length of the header was not found", begin + 1, "Correct `lines` in the layout"
                )
            data = begin + int(found.text)
        elif layout.lines is not None:
            data = begin + layout.lines
        else:
            assert layout.last is not None
            scanned = min(end, begin + LONGEST_HEADER)
            data = next(self.lines.found(layout.last, begin, scanned), -2) + 1
            if data < 0:
                raise self.reading.error(
                    f"the last header line of layout {layout.name} was not found within {scanned - begin} lines",
                    begin + 1,
                    "Check that the file is complete, or correct `last` in the layout",
                )
        if data >= end:
            raise self.reading.error("no numbers follow the header", end, "The file may be incomplete: copy it again")
        return data

    def fields(self, rules: Rules, begin: int, end: int) -> dict[str, Field]:
        """Return the fields that the rules find in a header: numbers in their standard units, the start in UTC."""
        if end - begin > LONGEST_HEADER:
            raise self.reading.error(
                f"the header has {end - begin} lines, at most {LONGEST_HEADER} are read",
                begin + 1,
                "Check that this is the right file",
            )
        lines = []
        for at in range(begin, end):
            lines.append(self.lines.line(at))
            if len(lines[-1]) > LONGEST_HEADER_LINE:
                raise self.reading.error(
                    f"the header line is {len(lines[-1])} characters long, at most {LONGEST_HEADER_LINE} are read",
                    at + 1,
                    "Check that this is the right file",
                )
        comma = self.layout.block.decimal == ","
        fields: dict[str, Field] = {}
        for key, rule in rules.items():
            if rule.is_open:
                if self.answered(key):
                    continue
                raise RecordError(
                    f"the layout {self.layout.name} leaves {key} open (?)",
                    source=self.reading.file,
                    field=key,
                    remedy=f"Fill it in, or give {_option(key)}",
                )
            if rule.is_number:
                found = rule.number(lines, begin + 1, self.reading.file, comma)
            else:
                found = rule.find(lines, begin + 1, self.reading.file)
                if found is not None and comma and key in NUMERIC:
                    found = found._replace(text=found.text.replace(",", "."))
            if found is not None:
                fields[key] = found
        scale = rules.get("scale")
        if scale is not None and scale.unit and "scale" in fields:
            # The value of a count already implies the unit of the samples.
            worth = fields.pop("scale")
            if header.usable_number(worth.text) and float(worth.text) != 0:
                fields["sensitivity"] = worth._replace(text=repr(1 / float(worth.text)))
                fields["unit"] = Field("counts")
            else:
                fields["scale"] = worth
        return self.with_start(rules, fields)

    def answered(self, key: str) -> bool:
        """Whether the caller gives a quantity that the layout leaves open."""
        reading, given = self.reading, self.reading.given
        if key == "unit":
            return reading.unit is not None or reading.sensitivity is not None
        if key in ("sensitivity", "scale"):
            return reading.sensitivity is not None or key in given
        if key == "component":
            return bool(reading.names)
        return (
            key in given or (key in ("dt", "sampling_rate") and "dt" in given) or (key in MOMENT and "start" in given)
        )

    def with_start(self, rules: Rules, fields: dict[str, Field]) -> dict[str, Field]:
        parts = [fields.pop(key) for key in MOMENT if key in fields]
        if "start" not in fields and parts and "date" in rules:
            fields["start"] = Field(" ".join(part.text for part in parts), parts[0].line)
        rule = rules.get("start") or rules.get("date")
        if "start" in fields and rule is not None and (rule.order or rule.zone or parts):
            readings = moments(fields["start"].text, rule.order, rule.zone)
            if len(readings) == 1:
                fields["start"] = fields["start"]._replace(text=f"{readings[0].time}Z")
        return fields

    def components(
        self, fields: dict[str, Field], begin: int, data: int, end: int, number: int
    ) -> tuple[list[Component], list[Finding]]:
        """Return the components of one section (one, or several side by side); `number` were read before."""
        reading, block = self.reading, self.layout.block
        names = reading.names[number:]
        if not block.columns:
            if len(self.layout.order) > 1 and self.alone:
                return self.parts(fields, begin, data, end)
            own = self.layout.order[number : number + 1]
            if self.layout.order and not own:
                raise reading.error(
                    f"the layout orders {len(self.layout.order)} components, but the file has more",
                    begin + 1,
                    "Correct `order` in the layout",
                )
            if own:
                fields = {**fields, "component": Field(own[0])}
                fields |= self.fields(self.layout.of_component.get(own[0], {}), *self.top)
            if names:
                fields = {**fields, "component": Field(names[0])}
            dt, declared = header.interval(reading, fields), header.declared_samples(reading, fields)
            name = header.direction(fields["component"].text)[0] if "component" in fields else "H1"
            (samples,), cut = self.block(data, end, declared, f"component {name}: ", name)
            component, notes = header.component_of(reading, fields, samples, dt, begin + 1)
            return [component], [*cut, *notes, *odd_rows(self.lines, self.numbered, block, name)]
        dt, declared = header.interval(reading, fields), header.declared_samples(reading, fields)
        columns, found = self.block(data, end, declared, "", "")
        components, findings = [], [*found, *odd_rows(self.lines, self.numbered, block, "")]
        if "time" in block.columns:
            dt, notes = self.interval_from_column(columns[block.columns.index("time")], dt)
            findings.extend(notes)
        if "clock" in block.columns:
            start, dt = clock_times(reading, self.lines, self.numbered, block, dt)
            fields = fields if start is None else {"start": Field(f"{start}Z"), **fields}
        motion = [label for label in block.columns if label not in NO_COMPONENT]
        ordered = dict(zip(motion, self.layout.order[number : number + len(motion)], strict=False))
        for column, samples in zip(block.columns, columns, strict=True):
            if column not in NO_COMPONENT:
                label = ordered.get(column, column)
                own_fields = self.fields(
                    self.layout.of_component.get(label, {}), *(self.top if ordered else (begin, data))
                )
                at = motion.index(column)
                named = Field(names[at] if at < len(names) else label)
                described = {**fields, "component": named, **own_fields}
                if at < len(names):
                    described["component"] = named
                component, of_it = header.component_of(reading, described, samples, dt, begin + 1)
                components.append(component)
                findings.extend(of_it)
        return components, findings

    def parts(self, fields: dict[str, Field], begin: int, data: int, end: int) -> tuple[list[Component], list[Finding]]:
        """Return the consecutive components of one block, in the order given by the layout."""
        order = self.layout.order
        dt, declared = header.interval(self.reading, fields), header.declared_samples(self.reading, fields)
        whole = None if declared is None else declared * len(order)
        (samples,), found = self.block(data, end, whole, "", "")
        if len(samples) % len(order):
            raise self.reading.error(
                f"{len(samples)} numbers cannot be {len(order)} components of equal length ({', '.join(order)})",
                data + 1,
                "Correct `order` in the layout, or check that the file is complete",
            )
        components, findings = [], [*found, *odd_rows(self.lines, self.numbered, self.layout.block, "")]
        names = self.reading.names or order
        for label, name, part in zip(order, names, np.split(samples, len(order)), strict=False):
            own = self.fields(self.layout.of_component.get(label, {}), *self.top)
            component, notes = header.component_of(
                self.reading, {**fields, **own, "component": Field(name)}, part.copy(), dt, begin + 1
            )
            components.append(component)
            findings.extend(notes)
        return components, findings

    def interval_from_column(self, times: NDArray[Any], dt: float | None) -> tuple[float, tuple[Finding, ...]]:
        """Return the interval from a column of times, and findings."""
        block = self.layout.block
        known = unit_at(block.time_unit)
        worth = known.factor if known is not None else 1.0
        at = block.columns.index("time")
        rows = [self.lines.line(i) for i in self.numbered[:50]] + [self.lines.line(i) for i in self.numbered[-50:]]
        step = len(block.columns)
        place = printed_place([block.number(cell) for row in rows for cell in block.cells(row)[at::step]]) * worth
        times = times.astype(float) * worth
        dt = interval_from_times(self.reading, times, place, int(self.numbered[0]) + 1, dt)
        return dt, jitter(times, dt, place)

    def block(
        self, begin: int, end: int, declared: int | None, whose: str, name: str
    ) -> tuple[list[NDArray[Any]], tuple[Finding, ...]]:
        """Return the numbers of a block, one array for each column (a single array if there are no columns)."""
        reading, block = self.reading, self.layout.block
        per_line = block.per_line
        numbered: NDArray[np.int32]
        numbered = self.lines_of_numbers(begin, end, declared)
        at_end = numbered.size and numbered[-1] >= self.lines.count - 1 and not reading.data.endswith(b"\n")
        in_row = max(len(block.columns), 1)
        quick = self.lines.numbers(numbered, block)
        texts = (block.cells(self.lines.line(int(at))) for at in numbered)
        found = sum(map(len, texts)) if quick is None else len(quick[0])
        short = declared is not None and found < declared * in_row
        if reading.missing == "truncate" and at_end:
            last = block.cells(self.lines.line(int(numbered[-1])))
            if short or not self.sound(last):
                # A file that stops inside a line may stop inside a number, so the whole line is discarded.
                numbered, found, short = numbered[:-1], found - len(last), True
        if not numbered.size:
            raise reading.error("no numbers follow the header", begin, "Check that the file is complete")
        self.numbered = numbered
        where = int(numbered[-1]) + 1 if numbered.size else begin
        if quick is None:
            columns = self.precise(numbered, per_line, declared)
        else:
            values, fractions = quick[0][:found], quick[1][:found]
            columns = [typed(values[i::in_row], fractions[i::in_row]) for i in range(in_row)]
        if found % in_row:
            raise reading.error(
                f"expected complete rows of {in_row} columns, but the last one is short",
                where,
                "The file may be cut off",
            )
        count = found // in_row
        if declared is not None and count > declared:
            raise reading.error(
                f"{whose}{declared} samples are declared, {count} were found",
                where,
                "Correct the declared number of samples, or remove the surplus",
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

    def lines_of_numbers(self, begin: int, end: int, declared: int | None) -> NDArray[np.int32]:
        """Return the lines that hold numbers, without trailer and comments."""
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
        if block.counted and declared is not None and block.per_line:
            rows = -(-declared * max(len(block.columns), 1) // block.per_line)
            numbered = numbered[:rows]
        if block.found is not None and numbered.size:
            numbered = numbered[self.lines.numeric[numbered]]  # blank lines among them
        return numbered

    def sound(self, row: list[str]) -> bool:
        block = self.layout.block
        width = block.width if isinstance(block.width, int) else None
        whole = not block.rows or len(row) == len(block.columns)
        return whole and all(
            header.usable_number(block.number(cell)) and len(cell) == (width or len(cell)) for cell in row
        )

    def precise(self, numbered: NDArray[np.int32], per_line: int | None, declared: int | None) -> list[NDArray[Any]]:
        """Return the numbers of each column, or name the line and position of the first entry that is not a number."""
        if (odd := self.lines.odd) is not None and odd[0] < len(numbered):
            self.by_text(numbered, odd[0], odd[0] + 1, odd[1], per_line, declared)  # what stopped the compiled reader
        return self.by_text(numbered, 0, len(numbered), 0, per_line, declared)

    def by_text(
        self, numbered: NDArray[np.int32], begin: int, end: int, before: int, per_line: int | None, declared: int | None
    ) -> list[NDArray[Any]]:
        """Return the numbers on lines `begin` to `end`, read text by text; `before` numbers are on earlier lines."""
        block, width = self.layout.block, self.layout.block.width
        columns = [header.Numbers() for _ in block.columns or ("",)]
        for index in range(begin, end):
            line = int(numbered[index])
            at, last = line + 1, index == len(numbered) - 1
            row = block.cells(self.lines.line(line))
            cut = "The line may be damaged, or the layout wrong"
            ragged = isinstance(width, int) and len(row) > 0 and len(row[-1]) != width
            whole = index if block.rows else before + (len(columns[-1]) + len(row) - ragged)
            if last and declared is not None and whole < declared:
                cut = (
                    f"The file may be cut off: {whole} of {declared} declared samples were read. "
                    f"Copy it again, or read it with {header.TRUNCATE}"
                )
            if ragged:
                long = len(self.lines.line(line)[block.margin : block.last_column].rstrip())
                raise self.reading.error(
                    f"the line is {long} characters long, not a multiple of the width {width}", at, cut
                )
            for position, cell in enumerate(row):
                text = block.number(cell)
                label = block.columns[position % len(block.columns)] if block.columns else ""
                if label in ("-", "clock"):
                    text = "0"  # skipped, whatever it is
                elif not header.usable_number(text):
                    raise self.reading.error(
                        f"number {position + 1} of the line: {header.bad_number(cell)}",
                        at,
                        "Correct it at its source: missing samples are never filled in",
                    )
                columns[position % len(columns)].add(text)
            if per_line is not None and not (
                len(row) == per_line or (last and 0 < len(row) < per_line and not block.rows)
            ):
                raise self.reading.error(f"expected {per_line} numbers, found {len(row)}", at, cut)
        return [column.array() for column in columns]


def _option(quantity: str) -> str:
    """Return the option with which a user gives a quantity."""
    known = {
        "dt": "dt= (--dt)", "sampling_rate": "dt= (--dt)", "unit": "unit= (--sample-unit)",
        "station": "station= (--station)",
        "sensitivity": "sensitivity= (--sensitivity)", "scale": "sensitivity= (--sensitivity)",
        "component": "component= (--component)", "start": "start= (--start)",
    }  # fmt: skip
    return known.get(quantity, f"--set {quantity}=VALUE")


def write_text(record: Record, path: str | Path, layout: str | Path) -> None:
    """Write a record as a text file with a layout. Reading it back gives the same samples bit for bit.

    Parameters
    ----------
    record : Record
    path : str or Path
        The file to write; an existing one is replaced.
    layout : str or Path
        A built-in layout (``"harbour"``, ``"ridge"``) or a layout file with a ``[write]`` table.

    Raises
    ------
    SettingsError
        The layout has no ``[write]`` table.
    RecordError
        The layout cannot hold this record without loss, or the file cannot be written.

    Examples
    --------
    >>> import tempfile
    >>> from pathlib import Path
    >>> from strongmotion import read
    >>> path = Path(tempfile.mkdtemp()) / "quay.txt"
    >>> write_text(read("demo_records/quay.csv"), path, "harbour")
    >>> read(path).names
    ('H1', 'H2', 'V')
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
            f"the layout {plan.name} cannot hold the numbers of component {component.name} ({component.samples.dtype})",
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
    """Return a component's quantities as texts for a file; None if unknown."""
    station = record.station

    def exact(value: float | None) -> str | None:
        return None if value is None else repr(float(value))

    return {
        "station": station.code,
        **{key: getattr(station, key) for key in ("network", "location", "name", "instrument", "instrument_code")},
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
    """Write a file completely or not at all."""
    write_whole(Path(path).expanduser(), data, replace=True, kind=RecordError)


def _same(one: Record, two: Record) -> bool:
    """Whether two records agree except in the width of their numbers, source and findings.

    The instrument code may be lost, since channel codes contain it.
    """
    one, two = (replace(record, station=replace(record.station, instrument_code="")) for record in (one, two))
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
