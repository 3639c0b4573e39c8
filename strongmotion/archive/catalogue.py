"""The catalogue: a row a record, indexed in SQLite, rebuilt from the files at any time.

The index, ``ARCHIVE/catalogue.sqlite``, is never the only copy of anything: delete it, and the next question builds it
again. It lists each file with its size and time of change, so it reads only files that are new or changed.
"""

from __future__ import annotations

import ast
import contextlib
import io
import json
import operator
import os
import re
import sqlite3
import time
from collections.abc import Callable, Collection, Iterable, Iterator, Sequence
from pathlib import Path
from typing import Any

import h5py
import numpy as np
import pandas as pd

from ..foundation.cautions import CAUTION
from ..foundation.errors import ArchiveError, InputError
from ..foundation.files import write_whole
from ..foundation.units import acceleration_unit, in_unit
from ..foundation.workers import in_processes
from ..measures import MEASURES
from ..result import RANKED_SEVERITIES
from . import layout
from .files import check_name, opened

__all__ = ["PERIODS", "Index", "write_catalogue"]

PERIODS = (0.2, 0.3, 1.0, 3.0)
"""Oscillator periods, s, of the spectral ordinates that a catalogue always has."""

DAMPING = 0.05
"""Their fraction of critical damping."""

_WHO = (
    "record", "station", "network", "location", "latitude_deg", "longitude_deg", "start", "earthquake", "magnitude",
    "source_file",
)  # fmt: skip
_HORIZONTAL = ("pga_h_m_s2", "pgv_h_m_s", "pgd_h_m")
_WHOLE = (
    "low_cut_hz", "high_cut_hz", "shortest_usable_period_s", "longest_usable_period_s", "worst_finding", "findings",
    "path",
)  # fmt: skip
_TEXTS = {"record", "station", "network", "location", "start", "earthquake", "source_file", "worst_finding"}

_SHORT = {"usable_period": "longest_usable_period_s", "severity": "worst_finding", "event": "earthquake"}
"""Names that a question may use beside the columns themselves and the columns without their unit."""

_UNITS = ("m_s2", "cm_s2", "g", "m_s", "m", "s", "hz", "deg")

_VERSION = "2"
_AT_ONCE = 500
"""Rows a transaction or a selection."""


def _kinds() -> list[str]:
    """Return what the columns of numbers begin with, in their order."""
    return ["pga", "pgv", "pgd", "psa", *dict.fromkeys(measure.column for measure in MEASURES if measure.column)]


class Index:
    """The catalogue of a folder of records, in an SQLite file beside it.

    Parameters
    ----------
    records : Path
        The folder of the record files.
    path : Path
        The SQLite file. Where it cannot be written the index is built in memory, each time anew.
    """

    def __init__(self, records: Path, path: Path) -> None:
        self._records = records
        self._path = path

    def refresh(
        self,
        periods: Iterable[float] = (),
        rebuild: bool = False,
        jobs: int = 1,
        progress: Callable[[int, int], None] | None = None,
    ) -> None:
        """Bring the index up to the files, reading what is new or changed; see `frame` for the parameters."""
        with self._up_to_date(periods, rebuild, jobs, progress):
            pass

    def frame(self, unit: str = "m/s2", periods: Iterable[float] = ()) -> pd.DataFrame:
        """Tabulate all records.

        Parameters
        ----------
        unit : {"m/s2", "cm/s2", "g"}
            For accelerations.
        periods : iterable of float
            Oscillator periods, s, to have beside `PERIODS`. New ones mean reading every file once.

        Returns
        -------
        pandas.DataFrame
            As `Archive.catalogue` says.
        """
        with self._up_to_date(periods) as base:
            names = _columns(base)
            return self._frame(base, names, base.execute(f"SELECT {_listed(names)} {_SOUND} ORDER BY file"), unit)

    def find(self, question: str, unit: str = "m/s2") -> pd.DataFrame:
        """Tabulate the records that a pandas query holds for; see `Archive.find`."""
        with self._up_to_date() as base:
            names = _columns(base)
            _check_only_asks(question)
            asked = _names_in(question, names, acceleration_unit(unit))
            # Only the columns asked about are read for all records.
            used = list(dict.fromkeys(asked.values()))
            places = ", ".join(["rowid", *(_quoted(name) for name in used)])
            columns = self._arrays(base.execute(f"SELECT {places} {_SOUND}"), ["rowid", *used])
            factor = in_unit(acceleration_unit(unit))
            table = pd.DataFrame({word: _scaled(columns, name, factor) for word, name in asked.items()})
            try:
                held = table.query(question, engine="python", local_dict={}, global_dict={}).index.to_numpy()
            except Exception as error:  # pandas and Python raise what they like on a text that is no query
                raise InputError(
                    f"the question {question!r} is not one for pandas: {error}",
                    remedy='Ask like "pga_h > 0.3 and usable_period > 2"; names with dots stand in `backticks`',
                ) from None
            found = columns["rowid"][held].astype(int).tolist()
            rows: list[tuple[Any, ...]] = []
            for first in range(0, len(found), _AT_ONCE):
                some = ", ".join(map(str, found[first : first + _AT_ONCE]))
                rows += base.execute(f"SELECT {_listed(names)} {_SOUND} AND rowid IN ({some})")
            rows.sort(key=operator.itemgetter(0))  # by file, as the whole catalogue
            return self._frame(base, names, rows, unit)

    def _frame(self, base: sqlite3.Connection, names: Sequence[str], rows: Iterable[Any], unit: str) -> pd.DataFrame:
        unit = acceleration_unit(unit)
        columns = self._arrays(rows, names)
        # Records differ in components: the columns are those of any record, each kind together.
        numbers = [name for kind in _kinds() for name in names if name.startswith(f"{kind}_")]
        factor = in_unit(unit)
        frame = pd.DataFrame(
            {_in(unit, name): _scaled(columns, name, factor) for name in (*_WHO, *numbers, *_WHOLE) if name != "path"}
        )
        folder = str(self._records)
        paths = [os.path.join(folder, file) for file in columns["file"]]  # noqa: PTH118 -- of 100 000 a Path each takes seconds
        frame["path"] = layout.text_column(np.array(paths, dtype=object))
        frame["start"] = pd.to_datetime(frame["start"], utc=True, format="ISO8601").dt.as_unit("ns")
        problems = base.execute("SELECT file, problem FROM records WHERE problem IS NOT NULL ORDER BY file")
        frame.attrs = {
            "caution": CAUTION,
            "problems": [f"{self._records / file}: {problem}" for file, problem in problems],
        }
        return frame

    @staticmethod
    def _arrays(rows: Iterable[Any], names: Sequence[str]) -> dict[str, np.ndarray]:
        rows = list(rows)
        values = zip(*rows, strict=True) if rows else [()] * len(names)
        return {name: np.array(column, dtype=_kind(name)) for name, column in zip(names, values, strict=True)}

    # Keeping up with the files

    @contextlib.contextmanager
    def _up_to_date(
        self,
        periods: Iterable[float] = (),
        rebuild: bool = False,
        jobs: int = 1,
        progress: Callable[[int, int], None] | None = None,
    ) -> Iterator[sqlite3.Connection]:
        if rebuild:
            try:
                self._path.unlink(missing_ok=True)
            except OSError as error:
                raise ArchiveError(
                    f"the index cannot be built anew: {error.strerror}",
                    source=str(self._path),
                    remedy="Check the folder and its permissions",
                ) from None
        periods = tuple(periods)
        with contextlib.closing(self._usable(periods, jobs, progress)) as base:
            yield base

    def _usable(
        self, periods: Sequence[float], jobs: int, progress: Callable[[int, int], None] | None
    ) -> sqlite3.Connection:
        """Open the index and bring it up to date: in its file; else in that file begun anew; else in memory."""
        for place in (self._path, self._path, ":memory:"):
            base = None
            try:
                base = sqlite3.connect(place, timeout=30.0)
                self._bring_up(base, periods, jobs, progress)
                return base
            except sqlite3.DatabaseError as error:
                if base is not None:
                    base.close()
                if place == ":memory:":
                    raise
                damaged = not isinstance(error, sqlite3.OperationalError)
                if damaged:
                    with contextlib.suppress(OSError):
                        self._path.unlink(missing_ok=True)
            except BaseException:
                if base is not None:
                    base.close()
                raise
        raise AssertionError("unreachable")

    def _bring_up(
        self,
        base: sqlite3.Connection,
        periods: Sequence[float],
        jobs: int,
        progress: Callable[[int, int], None] | None,
    ) -> None:
        known = _meta(base)
        held = json.loads(known.get("periods", "[]"))
        wanted = sorted({*PERIODS, *held, *(float(period) for period in periods)})
        if known.get("version") != _VERSION or wanted != held:
            _begin_anew(base, wanted)
            known = {}
        # Every record comes and goes by its name, which changes the folder. A folder changed just now may change again
        # within one tick of its clock, so only a settled one is trusted; and a damaged file may be mended in its place.
        began, changed = time.time_ns(), self._records.stat().st_mtime_ns
        damaged = base.execute("SELECT file FROM records WHERE problem IS NOT NULL").fetchall()
        if known.get("folder") == str(changed) and not damaged:
            return
        there = {}
        for entry in os.scandir(self._records):
            if entry.name.endswith(".h5") and not entry.name.startswith("."):
                with contextlib.suppress(FileNotFoundError):  # deleted a moment ago
                    try:
                        state = entry.stat()
                    except OSError:
                        state = entry.stat(follow_symlinks=False)  # a link to nothing: its row says so
                    there[entry.name] = (state.st_size, state.st_mtime_ns)
        indexed = {file: (size, at) for file, size, at in base.execute("SELECT file, size, changed FROM records")}
        gone = [file for file in indexed if file not in there]
        new = sorted(file for file, state in there.items() if indexed.get(file) != state)
        with base:
            base.executemany("DELETE FROM records WHERE file = ?", [(file,) for file in gone])
        if progress:
            progress(0, len(new))
        calls = ((self._records / file, tuple(wanted)) for file in new)
        batch: list[dict[str, Any]] = []
        for finished, row in enumerate(in_processes(row_of, calls, jobs), 1):
            size, at = there[row["file"]]
            batch.append(row | {"size": size, "changed": at})
            if len(batch) >= _AT_ONCE or finished == len(new):
                _insert(base, batch, wanted)
                batch = []
            if progress:
                progress(finished, len(new))
        if began - changed > 2_000_000_000:
            with contextlib.suppress(sqlite3.OperationalError), base:  # an index that may only be read serves too
                base.execute("INSERT OR REPLACE INTO meta VALUES ('folder', ?)", (str(changed),))


_SOUND = "FROM records WHERE problem IS NULL"


def _meta(base: sqlite3.Connection) -> dict[str, str]:
    if not base.execute("SELECT name FROM sqlite_master WHERE name = 'meta'").fetchall():
        return {}
    return dict(base.execute("SELECT key, value FROM meta"))


def _begin_anew(base: sqlite3.Connection, periods: Sequence[float]) -> None:
    with base:
        base.execute("BEGIN IMMEDIATE")  # of several processes one does it
        known = _meta(base)
        if known.get("version") == _VERSION and known.get("periods") == json.dumps(periods):
            return
        base.execute("DROP TABLE IF EXISTS records")
        base.execute("DROP TABLE IF EXISTS meta")
        base.execute("CREATE TABLE meta (key TEXT PRIMARY KEY, value TEXT)")
        base.execute("CREATE TABLE records (file TEXT PRIMARY KEY, size INTEGER, changed INTEGER, problem TEXT)")
        _add_columns(base, [name for name in (*_WHO, *_HORIZONTAL, *_WHOLE) if name != "path"])
        base.executemany(
            "INSERT INTO meta VALUES (?, ?)",
            [("version", _VERSION), ("periods", json.dumps(periods)), ("caution", CAUTION)],
        )


def _columns(base: sqlite3.Connection) -> list[str]:
    there = [name for _, name, *_ in base.execute("PRAGMA table_info(records)")]
    return ["file", *(name for name in there if name not in _BOOKKEEPING)]


_BOOKKEEPING = ("file", "size", "changed", "problem")


def _add_columns(base: sqlite3.Connection, names: Iterable[str]) -> None:
    for name in names:
        base.execute(f"ALTER TABLE records ADD COLUMN {_quoted(name)} {'TEXT' if _is_text(name) else 'REAL'}")


def _insert(base: sqlite3.Connection, rows: Sequence[dict[str, Any]], periods: Sequence[float]) -> None:
    with base:
        base.execute("BEGIN IMMEDIATE")
        if _meta(base).get("periods") != json.dumps(periods):
            raise sqlite3.OperationalError("another process began the index anew, with other periods")
        there = {name for _, name, *_ in base.execute("PRAGMA table_info(records)")}
        names = list(dict.fromkeys(name for row in rows for name in row))
        _add_columns(base, [name for name in names if name not in there])
        marks = ", ".join("?" * len(names))
        base.executemany(
            f"INSERT OR REPLACE INTO records ({_listed(names)}) VALUES ({marks})",
            [[row.get(name) for name in names] for row in rows],
        )


def _quoted(name: str) -> str:
    return '"' + name.replace('"', '""') + '"'


def _listed(names: Iterable[str]) -> str:
    return ", ".join(_quoted(name) for name in names)


def _is_text(name: str) -> bool:
    return name in _TEXTS or name == "file"


def _kind(name: str) -> Any:
    return object if _is_text(name) else np.int64 if name == "findings" else np.float64


# Names and units


def _in(unit: str, name: str) -> str:
    return name.removesuffix("_m_s2") + f"_{unit.replace('/', '_')}" if name.endswith("_m_s2") else name


def _scaled(columns: dict[str, np.ndarray], name: str, factor: float) -> Any:
    if _is_text(name):
        return layout.text_column(columns[name])
    return columns[name] * factor if name.endswith("_m_s2") else columns[name]


def _bare(name: str) -> str:
    """Return the name of a column without its unit."""
    unit = next((unit for unit in _UNITS if name.endswith(f"_{unit}")), None)
    return name if unit is None else name.removesuffix(f"_{unit}")


def _names_in(question: str, columns: Sequence[str], unit: str) -> dict[str, str]:
    """Return what each name in a question stands for: a column, also without its unit or by its short name."""
    known = {_bare(name): name for name in columns} | {name: name for name in columns}
    known |= {_in(unit, name): name for name in columns} | _SHORT
    if unit != "m/s2":
        known = {word: name for word, name in known.items() if not word.endswith("_m_s2")}
    words = [
        quoted or plain
        for _, quoted, plain in re.findall(r"""('[^']*'|"[^"]*")|`([^`]+)`|([^\W\d]\w*)""", question)
        if quoted or plain
    ]
    if not any(word in known for word in words):
        words_known = ", ".join(sorted(_bare(name) for name in columns if name != "file"))
        raise InputError(f"no column is named in {question!r}", remedy=f"The columns are: {words_known}")
    return {word: known[word] for word in words if word in known}


_ASKING = (
    ast.Expression, ast.expr_context, ast.Name, ast.Constant, ast.Tuple, ast.List, ast.Compare, ast.cmpop, ast.BoolOp,
    ast.boolop, ast.BinOp, ast.Add, ast.Sub, ast.Mult, ast.Div, ast.BitAnd, ast.BitOr, ast.UnaryOp, ast.unaryop,
    ast.Call, ast.keyword, ast.Attribute,
)  # fmt: skip
"""What a question may hold. Powers are not among it: those of powers take beyond all time."""

_ASKED_OF_COLUMNS = {"str", "isna", "notna", "isin", "between", "contains", "startswith", "endswith", "lower", "upper"}


def _check_only_asks(question: str) -> None:
    """Refuse a question that does more than compare: pandas would call any method of a column, also one that writes."""
    plain = re.sub(r"""('[^']*'|"[^"]*")|`[^`]+`""", lambda found: found[1] or "column", question)
    try:
        parts = list(ast.walk(ast.parse(plain.strip(), mode="eval")))
    except (SyntaxError, ValueError, RecursionError) as error:
        reason = f"it cannot be read: {error}"
    else:
        attributes = {part.attr for part in parts if isinstance(part, ast.Attribute)} - _ASKED_OF_COLUMNS
        if not attributes and all(isinstance(part, _ASKING) for part in parts):
            return
        reason = f"it may not use {', '.join(sorted(attributes))}" if attributes else "it does more than compare"
    raise InputError(
        f"the question {question!r} is not one for the catalogue: {reason}",
        remedy='Ask like "pga_h > 0.3 and usable_period > 2"; names with dots stand in `backticks`',
    )


# One row


def row_of(path: Path, periods: Sequence[float]) -> dict[str, Any]:
    """Return the catalogue's row of one file, SI units; of a file that cannot be read, its ``problem``.

    To stay quick only small tables are read, so seals are not checked: `Archive.verify` does.
    """
    try:
        with opened(path) as file:
            layout.check_layout(file)
            row = {"file": path.name} | _row(file, periods)
            check_name(path, row["record"])
            return row
    except ArchiveError as error:
        return {"file": path.name, "problem": str(error.at(None))}


def _row(file: h5py.File, periods: Collection[float]) -> dict[str, Any]:
    text = file.attrs
    row: dict[str, Any] = {
        "record": text["record"],
        "station": text["station_code"],
        "network": text["station_network"],
        "location": text["station_location"],
        "latitude_deg": _number(text.get("station_latitude_degrees_north")),
        "longitude_deg": _number(text.get("station_longitude_degrees_east")),
        "start": text.get("start"),
        "earthquake": text.get("earthquake_name") or text.get("earthquake_id"),
        "magnitude": _number(text.get("earthquake_magnitude")),
        "source_file": text["source_file"],
    }
    horizontal: dict[str, float] = {}
    for component, quantity, value, unit in layout.read_columns(
        file, "peaks", "component", "quantity", "value", "unit"
    ):
        name, suffix = quantity.lower(), _suffix(unit)
        row[f"{name}_{component.replace(' ', '_')}_{suffix}"] = value
        if component in ("H1", "H2"):
            horizontal[f"{name}_h_{suffix}"] = max(value, horizontal.get(f"{name}_h_{suffix}", 0.0))
    row |= horizontal
    columns_of = {measure.name: measure.column for measure in MEASURES if measure.column}
    for period, value in layout.read_ordinates(file, "RotD50", DAMPING, periods).items():
        row[f"psa_{period:g}s_RotD50_m_s2"] = value
    for component, measure, value, unit in layout.read_columns(
        file, "measures", "component", "measure", "value", "unit"
    ):
        if measure in columns_of:
            row[f"{columns_of[measure]}_{component}_{_suffix(unit)}"] = value
    bands = layout.read_bands(file)
    band = bands.get("horizontal") or next(iter(bands.values()))
    severities = [finding.severity for finding in layout.read_findings(file)]
    return row | {
        "low_cut_hz": band.low_cut,
        "high_cut_hz": band.high_cut,
        "shortest_usable_period_s": band.shortest_period,
        "longest_usable_period_s": band.longest_period,
        "worst_finding": max(severities, key=RANKED_SEVERITIES.index, default=""),
        "findings": len(severities),
    }


def _number(value: Any) -> float | None:
    return None if value is None else float(value)


def _suffix(unit: str) -> str:
    return unit.replace("/", "_")


def write_catalogue(frame: pd.DataFrame, csv: str | Path | None = None, parquet: str | Path | None = None) -> None:
    """Write a catalogue with its caution.

    Parameters
    ----------
    frame : pandas.DataFrame
        From `Archive.catalogue` or `Archive.find`.
    csv : str or Path, optional
        Written with the caution in a last column, ``caution``, so that it goes with any row. A text that a spreadsheet
        would take for a formula, such as ``=1+1``, begins with an apostrophe.
    parquet : str or Path, optional
        Written with the caution in the metadata of the file, whence pandas reads it into ``attrs``.

    Raises
    ------
    ArchiveError
        The file cannot be written, or Parquet is asked for and pyarrow is not installed.
    """
    if csv is not None:
        texts = {name: frame[name].map(_no_formula) for name in frame if not pd.api.types.is_numeric_dtype(frame[name])}
        text = frame.assign(**texts, caution=CAUTION).to_csv(index=False, lineterminator="\n")
        write_whole(Path(csv), text.encode(), replace=True)
    if parquet is not None:
        content = io.BytesIO()
        try:
            frame.to_parquet(content, engine="pyarrow", index=False)
        except ImportError:
            raise ArchiveError(
                "Parquet needs pyarrow", source=str(parquet), remedy="Install strongmotion[parquet], or write CSV"
            ) from None
        write_whole(Path(parquet), content.getvalue(), replace=True)


def _no_formula(value: Any) -> Any:
    return f"'{value}" if isinstance(value, str) and re.match(r"[=+@\t\r-](?!-*$)", value) else value
