"""Reader for MATLAB files of versions 5 to 7, after the published format (MathWorks, "MAT-File Format").

It reads numbers, texts and structures, nothing else. SciPy's reader is not used because damaged files can crash the
process (one in a few hundred with flipped bytes), and checking a file beforehand would take most of a reader.
"""

from __future__ import annotations

import math
import struct
import zlib
from typing import Any

import numpy as np
from numpy.typing import NDArray

from .header import Reading, shown
from .source import LARGEST_FILE

__all__ = ["read_matlab"]

_DEEPEST, _MOST_ELEMENTS = 20, 100_000
_LARGEST_GROWN = LARGEST_FILE
_STRUCT, _CHAR = 2, 4
_CLASSES = range(6, 16)
"""Class codes of numeric arrays."""

_STORED = {
    1: "i1", 2: "u1", 3: "i2", 4: "u2", 5: "i4", 6: "u4", 7: "f4", 9: "f8", 12: "i8", 13: "u8",
}  # fmt: skip
_LETTERS = {1: "latin-1", 2: "latin-1", 4: "utf-16", 16: "utf-8", 17: "utf-16", 18: "utf-32"}
_COMPRESSED, _MATRIX = 15, 14
_COMPLEX = 0x0800


class _Refused(ValueError):
    """The file is damaged, or holds an unsupported element."""


def read_matlab(reading: Reading) -> dict[str, Any]:
    """Return the variables of a MATLAB file by name: arrays, texts, and structures as mappings.

    Raises
    ------
    RecordError
        The file is not a MATLAB file, is damaged, or holds cells, objects, sparse or complex arrays.
    """
    data = reading.data
    if data.startswith(b"\x89HDF") or data[512:516] == b"\x89HDF":
        raise reading.error("the file is MATLAB 7.3, which is HDF5", remedy="Save it in MATLAB with -v7")
    if len(data) < 128 or data[126:128] not in (b"IM", b"MI"):
        raise reading.error("the file is not a MATLAB file of version 5 to 7", remedy="Save it in MATLAB with -v7")
    try:
        return _File("<" if data[126:128] == b"IM" else ">").variables(data[128:])
    except (_Refused, struct.error, UnicodeError) as error:
        raise reading.error(
            f"the MATLAB file is damaged, or holds unsupported data: {shown(str(error), 80)[1:-1]}",
            remedy="Save the samples as plain arrays, or as a structure of arrays, with -v7",
        ) from None


class _File:
    """Reads elements, checking each size against the bytes available."""

    def __init__(self, order: str) -> None:
        self.order = order
        self.left = _LARGEST_GROWN
        self.elements = 0

    def variables(self, data: bytes) -> dict[str, Any]:
        found: dict[str, Any] = {}
        at = 0
        while at + 8 <= len(data):
            kind, size = struct.unpack_from(f"{self.order}II", data, at)
            body = data[at + 8 : at + 8 + size]
            if len(body) < size:
                raise _Refused("an element extends beyond the end of the file")
            if kind == _COMPRESSED:
                body = self.decompressed(body)
                kind, body, _ = self.element(body, 0)
                at += 8 + size
            else:
                at += 8 + size + (-size) % 8
            if kind != _MATRIX:
                raise _Refused(f"an element of kind {kind} was found in place of a matrix")
            name, value = self.matrix(body, 0)
            found[name] = value
        return found

    def decompressed(self, body: bytes) -> bytes:
        unpacker = zlib.decompressobj()
        try:
            body = unpacker.decompress(body, self.left + 1)
        except zlib.error:
            raise _Refused("a compressed element is damaged") from None
        self.left -= len(body)
        if self.left < 0:
            raise _Refused(f"its uncompressed size exceeds {_LARGEST_GROWN / 1e6:.0f} MB")
        if not unpacker.eof:
            raise _Refused("a compressed element is truncated")
        return body

    def element(self, data: bytes, at: int) -> tuple[int, bytes, int]:
        """Return the kind and the bytes of an element, and the offset of the next one."""
        self.elements += 1
        if self.elements > _MOST_ELEMENTS:
            raise _Refused("it has too many elements")
        if at >= len(data):
            raise _Refused("a structure is truncated")
        kind, size = struct.unpack_from(f"{self.order}II", data, at)
        if kind >> 16:  # a small element: the tag holds its size and bytes
            small = kind >> 16
            if small > 4:
                raise _Refused("a small element is too large")
            return kind & 0xFFFF, data[at + 4 : at + 4 + small], at + 8
        body = data[at + 8 : at + 8 + size]
        if len(body) < size:
            raise _Refused("an element extends beyond the end of the file")
        return kind, body, min(at + 8 + size + (-size) % 8, len(data))

    def matrix(self, data: bytes, depth: int) -> tuple[str, Any]:
        """Return the name and the value of a matrix."""
        if not data:
            return "", np.empty(0)
        if depth > _DEEPEST:
            raise _Refused("structures are nested too deeply")
        _, flags, at = self.element(data, 0)
        _, dims, at = self.element(data, at)
        _, name, at = self.element(data, at)
        if len(flags) < 8 or len(dims) % 4 or not 8 <= len(dims) <= 32:
            raise _Refused("a matrix has invalid dimensions")
        word = struct.unpack_from(f"{self.order}I", flags)[0]
        shape = struct.unpack(f"{self.order}{len(dims) // 4}i", dims)
        if min(shape) < 0:
            raise _Refused("a matrix has a negative size")
        if word & _COMPLEX:
            raise _Refused("it holds complex numbers")
        if word & 0xFF in _CLASSES:
            return name.decode("latin-1"), self.numbers(data, at, shape)
        if word & 0xFF == _CHAR:
            return name.decode("latin-1"), self.text(data, at, shape)
        if word & 0xFF == _STRUCT:
            return name.decode("latin-1"), self.structure(data, at, shape, depth)
        raise _Refused(f"it holds an array of class {word & 0xFF}, such as a cell or an object")

    def numbers(self, data: bytes, at: int, shape: tuple[int, ...]) -> NDArray[Any]:
        size = math.prod(shape)
        if not size:
            return np.empty(0)
        kind, body, _ = self.element(data, at)
        if kind not in _STORED:
            raise _Refused(f"numbers are of kind {kind}")
        stored = np.dtype(self.order + _STORED[kind])
        if len(body) != size * stored.itemsize:
            raise _Refused(f"a matrix of {size} numbers has {len(body)} bytes")
        numbers = np.frombuffer(body, stored).astype(_STORED[kind])
        return numbers.reshape(shape, order="F").squeeze()

    def text(self, data: bytes, at: int, shape: tuple[int, ...]) -> str | list[str]:
        size = math.prod(shape)
        if not size:
            return ""
        kind, body, _ = self.element(data, at)
        if kind not in _LETTERS:
            raise _Refused(f"letters are of kind {kind}")
        order = {"<": "-le", ">": "-be"}[self.order] if _LETTERS[kind] in ("utf-16", "utf-32") else ""
        text = body.decode(_LETTERS[kind] + order)
        if len(text) != size or len(shape) != 2:
            raise _Refused(f"a text of {size} letters has {len(text)}")
        rows = ["".join(text[row :: shape[0]]).rstrip() for row in range(shape[0])]
        return rows[0] if len(rows) == 1 else rows

    def structure(self, data: bytes, at: int, shape: tuple[int, ...], depth: int) -> Any:
        _, length, at = self.element(data, at)
        _, names, at = self.element(data, at)
        if len(length) < 4 or not (each := struct.unpack_from(f"{self.order}I", length)[0]) or len(names) % each:
            raise _Refused("a structure has invalid field names")
        keys = [names[i : i + each].split(b"\0")[0].decode("latin-1") for i in range(0, len(names), each)]
        made: list[dict[str, Any]] = []
        for _ in range(math.prod(shape) if keys else 0):
            one = {}
            for key in keys:
                kind, body, at = self.element(data, at)
                if kind != _MATRIX:
                    raise _Refused(f"an element of kind {kind} was found in place of a matrix")
                one[key] = self.matrix(body, depth + 1)[1]
            made.append(one)
        return made[0] if len(made) == 1 else made
