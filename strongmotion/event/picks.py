"""Picks read by a person, from a CSV file."""

from __future__ import annotations

import csv
import math
from collections.abc import Mapping
from pathlib import Path
from typing import Literal

import numpy as np

from ..arrivals import LEAST_UNCERTAINTY, Pick
from ..foundation.errors import InputError, RecordError
from ..foundation.times import instant_in
from ..record import Record

__all__ = ["PickFile", "read_picks"]

COLUMNS = ("record", "phase", "time")

Phase = Literal["P", "S"]


class PickFile:
    """Picks by record id or station code.

    Parameters
    ----------
    rows : mapping of str to list
        For each record or station: phase, time as written, standard error in s, and line of the file.
    source : str
    """

    def __init__(self, rows: Mapping[str, list[tuple[Phase, str, float, int]]], source: str) -> None:
        self._rows, self._source = rows, source
        self._taken: set[str] = set()

    def of(self, record: Record) -> dict[str, Pick]:
        """Return the picks of a record, in s after its first sample.

        Raises
        ------
        RecordError
            A time in UTC for a record whose start is not known, or a time that is none.
        """
        picks: dict[str, Pick] = {}
        for key in (record.station.code, record.id):
            for phase, text, uncertainty, line in self._rows.get(key, ()):
                self._taken.add(key)
                try:
                    picks[phase] = Pick(phase, _seconds(text, record), uncertainty, given=True)
                except (ValueError, InputError) as error:
                    raise RecordError(str(error).rstrip("."), source=self._source, line=line) from None
        return picks

    def unknown(self) -> list[str]:
        """Return the records and stations named in the file that no record was asked for by."""
        return sorted(set(self._rows) - self._taken)


def read_picks(path: str | Path) -> PickFile:
    """Read picks from a CSV file.

    Parameters
    ----------
    path : str or Path
        Columns ``record`` (its id, or the station's code), ``phase`` (P or S), ``time`` (s after the record's first
        sample, or UTC as 2031-04-17T03:26:45.32) and, where wanted, ``uncertainty`` (standard error, s). Lines that
        begin with # are passed over.

    Returns
    -------
    PickFile

    Raises
    ------
    RecordError
        The file cannot be read, lacks a column, or a line does not say a pick.
    """
    path = Path(path)
    try:
        lines = path.read_text(encoding="utf-8-sig").splitlines()
    except (OSError, UnicodeDecodeError) as error:
        reason = getattr(error, "strerror", None) or error
        raise RecordError(
            f"the file cannot be read: {reason}", source=str(path), remedy="Check its name, and save it as UTF-8"
        ) from None
    numbered = [(number, line) for number, line in enumerate(lines, 1) if line.strip() and not line.startswith("#")]
    reader = csv.DictReader(line for _, line in numbered)
    names = tuple(name.strip() for name in reader.fieldnames or ())
    if not set(COLUMNS) <= set(names):
        raise RecordError(
            f"expected the columns {', '.join(COLUMNS)}, found {', '.join(names) or 'none'}", source=str(path),
            line=numbered[0][0] if numbered else None, remedy="See `strongmotion event --help`",
        )  # fmt: skip
    reader.fieldnames = list(names)
    rows: dict[str, list[tuple[Phase, str, float, int]]] = {}
    for (line, _), row in zip(numbered[1:], reader, strict=False):
        record, phase, time = ((row[name] or "").strip() for name in COLUMNS)
        if not record or phase.upper() not in LEAST_UNCERTAINTY or not time:
            raise RecordError(
                f"expected a record, P or S, and a time, found {record!r}, {phase!r}, {time!r}",
                source=str(path),
                line=line,
            )
        letter: Phase = "P" if phase.upper() == "P" else "S"
        text = (row.get("uncertainty") or "").strip()
        try:
            uncertainty = float(text) if text else LEAST_UNCERTAINTY[letter]
        except ValueError:
            uncertainty = math.nan
        if not (math.isfinite(uncertainty) and uncertainty > 0):
            raise RecordError(f"the uncertainty {text!r} is not a time in s above 0", source=str(path), line=line)
        rows.setdefault(record, []).append((letter, time, uncertainty, line))
    return PickFile(rows, str(path))


def _seconds(text: str, record: Record) -> float:
    try:
        return float(text)
    except ValueError:
        pass
    if record.start is None:
        raise ValueError(f"record {record.id} has no start time: give the pick in s after its first sample")
    try:
        instant = instant_in(text)
    except ValueError:
        raise ValueError(f"{text!r} is neither a number of s nor a UTC time") from None
    return float((instant - record.start) / np.timedelta64(1, "ns")) * 1e-9
