"""Samples in JSON and in MATLAB files, by a layout: a path stands in the place of lines and columns.

A path is the names and places (from 0) that lead to a value, parted by points: ``station.code``, ``traces.0.data``. A
``*`` takes every element of a list: ``rows.*.1`` is the second number of each row. `[block.paths]` gives the path of
each column, ``[header.<quantity>]`` takes a ``path`` or a constant::

    format = "json"
    [header]
    dt.path = "header.dt"
    unit.value = "g"
    station.path = "header.station"
    [block.paths]
    H1 = "data.ns"
    H2 = "data.ew"

Files are hostile until read: JSON has no duplicate keys and no NaN; of MATLAB files (versions 5 to 7) all sizes are
checked against what the file holds before SciPy reads it, and only numbers, texts and structures are let through.
"""

from __future__ import annotations

import io
import itertools
import json
import math
import struct
import zlib
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..record import Component, Finding, Record
from . import header
from .header import Field, Reading
from .layout import NO_COMPONENT, Layout, Rules
from .phrases import unit_at
from .source import LARGEST_FILE
from .time_column import interval_from_times, jitter

_DEEPEST, _MOST_ELEMENTS = 20, 100_000
_LARGEST_GROWN = LARGEST_FILE
_STRUCT, _CHAR = 2, 4
_NUMBERS = range(6, 16)
_COMPRESSED, _MATRIX = 15, 14


def read_table(reading: Reading, layout: Layout) -> list[Record]:
    """Read a JSON or MATLAB file by a layout.

    Raises
    ------
    RecordError
        The file is damaged or of another kind, a path leads nowhere or to no numbers, or the record is not sound.
    """
    document = _json(reading) if layout.format == "json" else _matlab(reading)
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
            if isinstance(value, bool) or not isinstance(value, (str, int, float)):
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
    """Return a column as numbers, whole ones as int64."""
    if isinstance(value, np.ndarray):
        value = value.squeeze()
        if value.ndim == 1 and value.dtype.kind in "iuf":
            return np.array(value, np.int64 if value.dtype.kind in "iu" and value.dtype.itemsize < 8 else value.dtype)
        raise reading.error(f"{path} is no row of numbers", remedy="Correct the path in the layout")
    if not isinstance(value, list) or not value:
        raise reading.error(f"{path} is no list of numbers", remedy="Correct the path in the layout")
    for at, one in enumerate(value):
        if isinstance(one, bool) or not isinstance(one, (int, float)) or not math.isfinite(one) or abs(one) >= 2**63:
            raise reading.error(
                f"{path}: element {at} is no number: {header.shown(str(one))}",
                remedy="Mend it at its source: missing samples are never guessed",
            )
    return np.array(value, np.int64 if all(isinstance(one, int) for one in value) else np.float64)


def _json(reading: Reading) -> Any:
    def once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
        if len(dict(pairs)) < len(pairs):
            raise ValueError("a key stands twice in one object")
        return dict(pairs)

    def refuse(text: str) -> None:
        raise ValueError(f"{text} is no JSON number")

    try:
        return json.loads(reading.data.decode("utf-8-sig"), object_pairs_hook=once, parse_constant=refuse)
    except (ValueError, RecursionError, OverflowError) as error:
        line = getattr(error, "lineno", None)
        raise reading.error(
            f"the file is not JSON: {header.shown(str(error), 120)}", line, "Check that the file is whole"
        ) from None


def _matlab(reading: Reading) -> Any:
    data = reading.data
    if data.startswith(b"\x89HDF") or data[512:516] == b"\x89HDF":
        raise reading.error("the file is MATLAB 7.3, which is HDF5", remedy="Save it in MATLAB with -v7")
    if len(data) < 128 or data[126:128] not in (b"IM", b"MI"):
        raise reading.error("the file is not a MATLAB file of version 5 to 7", remedy="Save it in MATLAB with -v7")
    order = "<" if data[126:128] == b"IM" else ">"
    try:
        _Gate(order).file(data[128:])
    except (_Refused, struct.error) as error:
        raise reading.error(
            f"the MATLAB file is damaged, or holds what is not read: {error}",
            remedy="Save the samples as plain arrays, or as a structure of them, with -v7",
        ) from None
    import scipy.io

    try:
        return scipy.io.loadmat(io.BytesIO(data), simplify_cells=True, mat_dtype=False)
    except Exception as error:  # SciPy raises many kinds for damage
        raise reading.error(
            f"the MATLAB file is damaged ({header.shown(str(error), 80)})", remedy="Copy it again from its source"
        ) from None


class _Refused(ValueError):
    """What the gate does not let through."""


class _Gate:
    """Checks each element of a MATLAB file against the bytes that are there."""

    def __init__(self, order: str) -> None:
        self.order = order
        self.left = _LARGEST_GROWN
        self.elements = 0

    def file(self, data: bytes) -> None:
        at = 0
        while at + 8 <= len(data):
            kind, size = struct.unpack_from(f"{self.order}II", data, at)
            body = data[at + 8 : at + 8 + size]
            if len(body) < size:
                raise _Refused("an element goes beyond the end")
            if kind == _COMPRESSED:
                unpacker = zlib.decompressobj()
                try:
                    body = unpacker.decompress(body, self.left + 1)
                except zlib.error:
                    raise _Refused("a compressed element is damaged") from None
                self.left -= len(body)
                if self.left < 0:
                    raise _Refused(f"it grows beyond {_LARGEST_GROWN / 1e6:.0f} MB")
                if not unpacker.eof:
                    raise _Refused("a compressed element breaks off")
                self.tagged(body, 0)
                at += 8 + size
            elif kind == _MATRIX:
                self.matrix(body, 0)
                at += 8 + size + (-size) % 8
            else:
                raise _Refused(f"an element of kind {kind} stands at the top")

    def tagged(self, data: bytes, depth: int) -> int:
        """Check a matrix with its tag; return how many bytes it takes."""
        kind, body, end = self.element(data, 0)
        if kind != _MATRIX:
            raise _Refused(f"an element of kind {kind} stands where a matrix should")
        if body:
            self.matrix(body, depth)
        return end

    def element(self, data: bytes, at: int) -> tuple[int, bytes, int]:
        """Return the kind and the bytes of an element, and where the next begins."""
        self.elements += 1
        if self.elements > _MOST_ELEMENTS:
            raise _Refused("it has too many elements")
        kind, size = struct.unpack_from(f"{self.order}II", data, at)
        if kind >> 16:  # a small element: its size and bytes stand in the tag
            small = kind >> 16
            if small > 4:
                raise _Refused("a small element is too large")
            return kind & 0xFFFF, data[at + 4 : at + 4 + small], at + 8
        body = data[at + 8 : at + 8 + size]
        if len(body) < size:
            raise _Refused("an element goes beyond the end")
        return kind, body, min(at + 8 + size + (-size) % 8, len(data))

    def matrix(self, data: bytes, depth: int) -> None:
        if depth > _DEEPEST:
            raise _Refused("structures stand too deep in each other")
        _, flags, at = self.element(data, 0)
        _, dims, at = self.element(data, at)
        _, _, at = self.element(data, at)
        if len(flags) < 8 or len(dims) % 4 or not 8 <= len(dims) <= 32:
            raise _Refused("a matrix has no sound dimensions")
        class_ = struct.unpack_from(f"{self.order}I", flags)[0] & 0xFF
        shape = struct.unpack_from(f"{self.order}{len(dims) // 4}i", dims)
        if min(shape) < 0:
            raise _Refused("a matrix has a negative size")
        size = math.prod(shape)
        if class_ in _NUMBERS or class_ == _CHAR:
            if at < len(data):
                _, body, _ = self.element(data, at)
                if size > len(body):
                    raise _Refused(f"a matrix of {size} numbers has {len(body)} bytes")
            elif size:
                raise _Refused("a matrix has no numbers")
        elif class_ == _STRUCT:
            _, length, at = self.element(data, at)
            _, names, at = self.element(data, at)
            if len(length) < 4 or not (each := struct.unpack_from(f"{self.order}I", length)[0]) or len(names) % each:
                raise _Refused("a structure has no sound names")
            for _ in range(size * (len(names) // each)):
                if at >= len(data):
                    raise _Refused("a structure breaks off")
                at += self.tagged(data[at:], depth + 1)
        else:
            raise _Refused(f"it holds an array of class {class_}, such as a cell or an object")
