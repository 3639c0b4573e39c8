"""The lines of a text file, located but not yet decoded, and the numbers on them."""

from __future__ import annotations

import csv
import functools
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from . import header
from .header import Reading
from .patterns import Pattern

LONGEST_HEADER_LINE = 1000
MOST_LINES = 3_000_000
_IS_DIGIT = np.zeros(256, bool)
_IS_DIGIT[48:58] = True
_IS_NUMERIC = np.zeros(256, bool)
_IS_NUMERIC[np.frombuffer(b'0123456789+-.,;\t eEdD|"', np.uint8)] = True
COMPILED_FROM = 20_000
"""Smallest size of a block, bytes, for which the compiled reader is worth importing."""


@dataclass(frozen=True)
class Block:
    """Arrangement of the numbers; see `layout`."""

    columns: tuple[str, ...] = ()
    values_per_line: int | None = None
    width: int | tuple[int, ...] | None = None
    delimiter: str = ""
    margin: int = 0
    decimal: str = "."
    exponent: str = ""
    comment: str = ""
    until: Pattern | None = None
    trailer: int = 0
    last_column: int | None = None
    counted: bool = False
    found: int | None = None
    time_unit: str = "s"
    paths: tuple[tuple[str, str], ...] = ()

    @property
    def per_line(self) -> int | None:
        """Count of numbers on each full line, if known."""
        return self.values_per_line or len(self.columns) or None

    @property
    def rows(self) -> bool:
        """Whether each line is one row, so no line may be shorter."""
        return bool(self.columns) and self.values_per_line is None

    def cells(self, line: str) -> list[str]:
        """Split a line into the texts that should be numbers."""
        line = line[self.margin : self.last_column].rstrip()
        if self.width is None:
            if self.delimiter and line.endswith(self.delimiter):  # which ends the last cell and begins none
                line = line.removesuffix(self.delimiter)
            if '"' in line and self.delimiter:
                return next(csv.reader([line], delimiter=self.delimiter, skipinitialspace=True), [])
            return line.split(self.delimiter or None) if line or not self.delimiter else []
        if isinstance(self.width, int):
            return [line[i : i + self.width] for i in range(0, len(line), self.width)]
        edges = [sum(self.width[:i]) for i in range(len(self.width))]
        cells = [line[a : a + w] for a, w in zip(edges, self.width, strict=True) if a < len(line)]
        beyond = line[sum(self.width) :]
        return [*cells, beyond] if beyond else cells

    def number(self, cell: str) -> str:
        """Return a cell in the usual notation of numbers."""
        text = cell.strip()
        if self.decimal != ".":
            text = text.replace(".", "?").replace(self.decimal, ".")
        if self.exponent:
            text = text.replace(self.exponent, "e")
        return text


class Lines:
    """The lines of a text file, counted from 0.

    Parameters
    ----------
    reading : Reading
    encoding : str
        An encoding with the digits and line ends of ASCII.
    """

    def __init__(self, reading: Reading, encoding: str = "utf-8", remedy: str = "Save the file as UTF-8") -> None:
        self.reading, self.encoding, self.remedy = reading, encoding, remedy
        self.bytes = np.frombuffer(reading.data, dtype=np.uint8)
        breaks = np.flatnonzero(self.bytes == 10)
        if breaks.size > MOST_LINES:
            raise reading.error(
                f"the file has {breaks.size} lines, at most {MOST_LINES} are read",
                remedy="Split it into one file for each event",
            )
        # 32 bits hold any position in a file of the largest size accepted.
        self.begins = np.empty(breaks.size + 1, np.int32)
        self.begins[0], self.begins[1:] = 0, breaks + 1
        self.ends = np.empty(breaks.size + 1, np.int32)
        self.ends[:-1], self.ends[-1] = breaks, len(reading.data)
        self.count = self.last_full(0, len(self.begins))
        self.odd: tuple[int, int] | None = None
        """Set when `numbers` fails: the line at which it stopped, and the count of numbers on the lines before."""

    def line(self, at: int) -> str:
        """Return a line as text."""
        raw = self.reading.data[self.begins[at] : self.ends[at]]
        try:
            return raw.decode(self.encoding)
        except UnicodeError as error:
            byte = getattr(error, "start", 0) + 1
            raise self.reading.error(
                f"byte {byte} of the line is not {self.encoding}",
                at + 1,
                self.remedy,
            ) from None

    def last_full(self, begin: int, end: int) -> int:
        """Return the end of a range of lines, without trailing blank lines."""
        while end > begin and not self.reading.data[self.begins[end - 1] : self.ends[end - 1]].strip():
            end -= 1
        return end

    def found(self, pattern: Pattern, begin: int, end: int) -> Iterator[int]:
        """Yield the lines that match a pattern."""
        data, begins = self._searched
        last = int(begins[end]) - 1 if end < len(begins) else len(data)
        while begin < end and (place := pattern.next(data, int(begins[begin]), last)) is not None:
            at = int(np.searchsorted(begins, place, "right")) - 1
            if pattern.search(self.line(at)[:LONGEST_HEADER_LINE]):
                yield at
            begin = at + 1

    @functools.cached_property
    def _searched(self) -> tuple[bytes, NDArray[np.integer[Any]]]:
        """The file as UTF-8, and the offsets of its lines."""
        if self.encoding == "utf-8":
            return self.reading.data, self.begins
        data = self.reading.data.decode(self.encoding, errors="replace").encode()
        return data, np.append(0, np.flatnonzero(np.frombuffer(data, np.uint8) == 10) + 1)

    @functools.cached_property
    def numeric(self) -> NDArray[np.bool_]:
        """Lines that hold digits, and only characters of numbers and separators."""
        data = self.bytes
        starts = self.begins.astype(np.int64)
        digits = np.append(0, np.cumsum(_IS_DIGIT[data], dtype=np.int32))
        other = np.append(0, np.cumsum(~_IS_NUMERIC[data], dtype=np.int32))
        return (digits[self.ends] > digits[starts]) & (other[self.ends] == other[starts])

    def runs(self, least: int = 3, begin: int = 0, end: int | None = None) -> list[tuple[int, int]]:
        """Return runs of lines that hold only numbers; blank lines do not end a run."""
        end = self.count if end is None else end
        found: list[tuple[int, int]] = []
        of = np.flatnonzero(self.numeric[begin:end]) + begin
        if not of.size:
            return []
        breaks = np.flatnonzero(np.diff(of) > 1) + 1
        for piece in np.split(of, breaks[: MOST_LINES // 100]):
            a, b = int(piece[0]), int(piece[-1]) + 1
            if found and a - found[-1][1] <= 5 and not any(self.line(i).strip() for i in range(found[-1][1], a)):
                found[-1] = (found[-1][0], b)
            else:
                found.append((a, b))
        return [(a, b) for a, b in found if b - a >= least]

    def size(self, numbered: NDArray[np.int32]) -> int:
        """Return the size of a range of lines, bytes."""
        return int(self.ends[numbered[-1]] - self.begins[numbered[0]]) if numbered.size else 0

    def numbers(
        self, numbered: NDArray[np.int32], block: Block
    ) -> tuple[NDArray[np.float64], NDArray[np.bool_]] | None:
        """Return the numbers of a block, and which of them have a fraction or exponent; None if anything is unusual.

        It is also None for blocks too small for the compiled reader. The caller then reads them text by text, which
        also gives the reasons for errors.
        """
        self.odd = None
        if self.size(numbered) <= COMPILED_FROM:
            return None
        from . import _numbers

        if "clock" in block.columns:
            return None
        begins, ends = self.begins[numbered] + np.int32(block.margin), self.ends[numbered]
        if block.last_column is not None:
            ends = np.minimum(ends, self.begins[numbered] + np.int32(block.last_column))
        longest = int((ends - begins).max())
        if longest < 1:
            return None
        edges = np.empty(0, np.int64)
        if isinstance(block.width, int):
            edges = np.arange(0, longest + block.width, block.width)
        elif block.width is not None:
            edges = np.cumsum([0, *block.width])
        least = min(block.width) if isinstance(block.width, tuple) else block.width
        room = self.size(numbered) // least + len(numbered) if least else self.size(numbered) // 2
        room += 2
        values, kinds = np.empty(room), np.empty(room, np.uint8)
        places, counts = np.empty((room, 2), np.int32), np.empty(len(numbered), np.int32)
        delimiter, point, exponent = (ord(mark or "\0") for mark in (block.delimiter, block.decimal, block.exponent))
        found = _numbers.block(
            self.bytes, begins, ends, edges, delimiter, point, exponent,
            _numbers.TENS, _numbers.FIVES, values, kinds, places, counts,
        )  # fmt: skip
        read = len(numbered) if found >= 0 else -1 - found
        stopped = [read] if found < 0 else []
        per_line = block.per_line
        if per_line is not None and read:
            wrong = counts[:read] != per_line
            if read == len(numbered) and not block.rows and 0 < counts[-1] < per_line:
                wrong[-1] = False  # the last line of a block may be shorter
            stopped += np.flatnonzero(wrong)[:1].tolist()
        if isinstance(block.width, int):
            # The last number of a line must be as wide as the others, without the blanks after it.
            for at in np.flatnonzero((ends - begins)[:read] != counts[:read] * block.width).tolist():
                text = self.line(int(numbered[at]))[block.margin : block.last_column]
                if len(text.rstrip()) != counts[at] * block.width:
                    stopped.append(at)
                    break
        whole = int(counts[: min(stopped, default=read)].sum())
        large = False
        for at in np.flatnonzero(kinds[:whole] == _numbers.HARD).tolist():
            first, end = places[at].tolist()
            text = block.number(self.reading.data[first:end].decode("ascii"))
            if not header.usable_number(text):
                stopped.append(int(np.searchsorted(np.cumsum(counts[:read]), at, side="right")))
                break
            values[at] = float(text)
            large |= bool(header.INTEGER.fullmatch(text))
        if stopped:
            self.odd = min(stopped), int(counts[: min(stopped)].sum())
        if stopped or large:
            return None  # an integer that a float cannot hold is read text by text
        return values[:found], kinds[:found] != _numbers.WHOLE


def typed(values: NDArray[np.float64], fractions: NDArray[np.bool_]) -> NDArray[Any]:
    """Return numbers as int64 if none has a fraction or exponent."""
    return values if fractions.any() else values.astype(np.int64)
