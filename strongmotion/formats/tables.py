"""Read samples from JSON and MATLAB files with a layout in which paths replace lines and columns.

A path is the sequence of names and indices (from 0) that leads to a value, separated by points: ``station.code``,
``traces.0.data``. A ``*`` takes every element of a list: ``rows.*.1`` is the second number of each row. `[block.paths]`
gives the path of each column, ``[header.<quantity>]`` takes a ``path`` or a constant::

    format = "json"
    [header]
    dt.path = "header.dt"
    unit.value = "g"
    station.path = "header.station"
    [block.paths]
    H1 = "data.ns"
    H2 = "data.ew"

Files are treated as hostile: JSON may have no duplicate keys and no NaN; `matlab` checks each size against the data.
"""

from __future__ import annotations

import itertools
import json
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..record import Component, Finding, Record
from . import header
from .header import Field, Reading
from .layout import NO_COMPONENT, Layout, Rules
from .matlab import read_matlab
from .phrases import unit_at
from .time_column import interval_from_times, jitter


def read_table(reading: Reading, layout: Layout) -> list[Record]:
    """Read a JSON or MATLAB file with a layout.

    Raises
    ------
    RecordError
        The file is damaged or of another kind, a path leads to nothing or not to numbers, or the record is not valid.
    """
    document = _json(reading) if layout.format == "json" else read_matlab(reading)
    fields, notes = header.settled(reading, _fields(reading, layout, layout.rules, document))
    dt = header.interval(reading, fields)
    columns = {label: _numbers(reading, _at(reading, document, path), path) for label, path in layout.block.paths}
    findings: list[Finding] = list(notes)
    if "time" in columns:
        known = unit_at(layout.block.time_unit)
        times = columns["time"].astype(float) * (known.factor if known is not None else 1.0)
        place = 8 * float(np.finfo(float).eps) * float(np.abs(times).max(initial=0.0)) + 1e-12
        dt = interval_from_times(reading, times, place, 1, dt)
        findings.extend(jitter(times, dt, place))
    components: list[Component] = []
    motion = [label for label in columns if label not in NO_COMPONENT]
    for label, name in itertools.zip_longest(motion, reading.names[: len(motion)]):
        own = _fields(reading, layout, layout.of_component.get(label, {}), document)
        described = {**fields, "component": Field(name or label), **own}
        component, said = header.component_of(reading, described, columns[label], dt, None)
        components.append(component)
        findings.extend(said)
    return [
        reading.record(
            components, header.station_of(reading, fields), f"{layout.format}, layout {layout.name}", findings
        )
    ]


def _fields(reading: Reading, layout: Layout, rules: Rules, document: Any) -> dict[str, Field]:
    fields = {}
    for key, rule in rules.items():
        if rule.path:
            value = _at(reading, document, rule.path)
            if isinstance(value, np.ndarray) and value.size == 1:
                value = value.ravel()[0].item()
            if isinstance(value, bool) or not (
                isinstance(value, str) or (isinstance(value, int | float) and abs(value) < 2**63)
            ):
                raise reading.error(f"{rule.path} holds no {key}", remedy="Correct the path in the layout")
            number = rule.factor * (known.factor if rule.unit and (known := unit_at(rule.unit)) else 1.0)
            fields[key] = Field(repr(value * number) if rule.is_number and not isinstance(value, str) else str(value))
        elif not rule.is_open and (found := rule.find([], 1, reading.file)) is not None:
            fields[key] = found
    return fields


def _at(reading: Reading, document: Any, path: str) -> Any:
    value = document
    parts = path.split(".")
    for place, part in enumerate(parts):
        if part == "*" and isinstance(value, list):
            return [_at(reading, one, ".".join(parts[place + 1 :])) if parts[place + 1 :] else one for one in value]
        try:
            value = value[part] if isinstance(value, dict) else value[int(part)]
        except (KeyError, IndexError, ValueError, TypeError):
            there = ", ".join(list(map(str, value))[:10]) if isinstance(value, dict) else ""
            raise reading.error(
                f"there is no {'.'.join(parts[: place + 1])}"
                + (f" (there are {header.shown(there, 200)})" if there else ""),
                remedy="Correct the path in the layout",
            ) from None
    return value


def _numbers(reading: Reading, value: Any, path: str) -> NDArray[Any]:
    """Return a column as numbers, integers as int64."""
    if isinstance(value, np.ndarray):
        value = value.squeeze()
        if value.ndim == 1 and value.dtype.kind in "iuf":
            return np.array(value, np.int64 if value.dtype.kind in "iu" and value.dtype.itemsize < 8 else value.dtype)
        raise reading.error(f"{path} is not a row of numbers", remedy="Correct the path in the layout")
    if not isinstance(value, list) or not value:
        raise reading.error(f"{path} is not a list of numbers", remedy="Correct the path in the layout")
    for at, one in enumerate(value):
        if isinstance(one, bool) or not isinstance(one, (int, float)) or not abs(one) < 2**63:
            raise reading.error(
                f"{path}: element {at} is not a number: {header.shown(str(one))}",
                remedy="Correct it at its source: missing samples are never filled in",
            )
    return np.array(value, np.int64 if all(isinstance(one, int) for one in value) else np.float64)


def _json(reading: Reading) -> Any:
    def once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
        if len(dict(pairs)) < len(pairs):
            raise ValueError("a key occurs twice in one object")
        return dict(pairs)

    def refuse(text: str) -> None:
        raise ValueError(f"{text} is not a JSON number")

    try:
        return json.loads(reading.data.decode("utf-8-sig"), object_pairs_hook=once, parse_constant=refuse)
    except (ValueError, RecursionError, OverflowError) as error:
        line = getattr(error, "lineno", None)
        raise reading.error(
            f"the file is not JSON: {header.shown(str(error), 120)}", line, "Check that the file is complete"
        ) from None
