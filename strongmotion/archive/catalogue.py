"""The catalogue: a row a record, indexed in SQLite, rebuilt from files and manifest at any time.

The index, ``ARCHIVE/catalogue.sqlite``, is never the only copy of anything: delete it, and the next question builds it
again. Its rows are keyed by the SHA-256 of the record file they were read from, and it lists the names, sizes and times
of the files, so that a question reads only what is new or changed. It is written anew, by one process at a time, and
takes its place whole. It holds the SHA-256 of its own content and the time its file was given: an index whose time is
another is checked, and one whose content is another is built anew.
"""

from __future__ import annotations

import ast
import contextlib
import hashlib
import io
import itertools
import json
import os
import re
import secrets
import sqlite3
import stat
import time
from collections.abc import Callable, Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import h5py
import numpy as np
import pandas as pd
from numpy.typing import NDArray

from ..foundation.cautions import CAUTION
from ..foundation.errors import ArchiveError, InputError
from ..foundation.files import one_at_a_time, printable, write_whole
from ..foundation.units import acceleration_unit, in_unit
from ..foundation.workers import in_processes
from ..measures import MEASURES
from ..result import RANKED_SEVERITIES
from . import gate, layout
from .decisions import STATES
from .files import check_name, read_bytes
from .names import id_of_file

if TYPE_CHECKING:
    from ..result import Result
    from .store import Archive

__all__ = ["PERIODS", "Index", "write_catalogue"]

PERIODS = (0.2, 0.3, 1.0, 3.0)
"""Oscillator periods, s, of the spectral ordinates that a catalogue always has."""

DAMPING = 0.05
"""Their fraction of critical damping."""

MOST_CELLS = 40_000_000
"""Columns of rare components are left out of a whole catalogue of more cells than this; questions know them."""

_WHO = (
    "record", "station", "network", "location", "instrument", "latitude_deg", "longitude_deg", "start", "earthquake",
    "magnitude", "source_file",
)  # fmt: skip
_STANDING = ("version", "state", "versions", "event", "epicentral_distance_km", "hypocentral_distance_km")
_SITE = ("vs30_m_s", "vs30_method", "site_class", "housing", "sensor_depth_m")
_USUAL = (
    *(f"pga_{name}_m_s2" for name in ("H1", "H2", "V", "RotD00", "RotD50", "RotD100", "h")),
    *(f"pgv_{name}_m_s" for name in ("H1", "H2", "V", "RotD00", "RotD50", "RotD100", "h")),
    *(f"pgd_{name}_m" for name in ("H1", "H2", "V", "RotD00", "RotD50", "RotD100", "h")),
    *(f"psa_{period:g}s_RotD50_m_s2" for period in PERIODS),
    *(f"arias_intensity_{name}_m_s" for name in ("H1", "H2", "V")),
    *(f"significant_duration_5_95_{name}_s" for name in ("H1", "H2", "V")),
)
"""Numbers of the usual three components: a column each. All others stand in the long table ``quantities``."""
_ALWAYS = ("pga_h_m_s2", "pgv_h_m_s", "pgd_h_m")
_WHOLE = (
    "low_cut_hz", "high_cut_hz", "shortest_usable_period_s", "longest_usable_period_s", "worst_finding", "findings",
    "path",
)  # fmt: skip
_TEXTS = {
    "record", "station", "network", "location", "instrument", "start", "earthquake", "source_file", "worst_finding",
    "version", "state", "event", "vs30_method", "site_class", "housing", "file",
}  # fmt: skip
_COUNTS = {"findings", "versions"}

_SHORT = {"usable_period": "longest_usable_period_s", "severity": "worst_finding"}
"""Names that a question may use beside the columns themselves and the columns without their unit."""

_UNITS = ("m_s2", "cm_s2", "g", "m_s", "km", "m", "s", "hz", "deg")

_VERSION = "6"

_OF_FILE = tuple(name for name in (*_WHO, *_SITE, *_USUAL, *_WHOLE) if name not in ("record", "path"))
"""Columns that are read from a file; the others are of the manifest."""

_SETTLED = 2_000_000_000
"""Age, ns, from which a folder cannot change again within one tick of its clock."""


def _kinds() -> list[str]:
    """Return what the columns of numbers begin with, in their order."""
    return ["pga", "pgv", "pgd", "psa", *dict.fromkeys(measure.column for measure in MEASURES if measure.column)]


@dataclass(frozen=True)
class _Folder:
    """What lies in a folder: names, and for each its size, time, ns, and whether it is a folder itself."""

    names: list[str]
    states: NDArray[np.int64]

    @classmethod
    def listed(cls, path: Path) -> _Folder:
        """List a folder but for hidden files, such as those being written."""
        names: list[str] = []
        states: list[int] = []
        # Each question to the catalogue waits for this loop, so it does nothing that can be done after it.
        with contextlib.suppress(FileNotFoundError), os.scandir(path) as entries:
            for entry in entries:
                name = entry.name
                if name[0] == ".":
                    continue
                try:
                    state = entry.stat(follow_symlinks=False)
                except FileNotFoundError:  # deleted a moment ago
                    continue
                names.append(name)
                states += state.st_size, state.st_mtime_ns, state.st_mode
        return cls(names, np.array(states, dtype=np.int64).reshape(-1, 3))

    def digest(self) -> bytes:
        """Return a hash that differs where any name, size, time or mode does."""
        order = sorted(range(len(self.names)), key=self.names.__getitem__)
        digest = hashlib.sha256("\0".join(map(self.names.__getitem__, order)).encode("utf-8", "surrogateescape"))
        digest.update(self.states[order].tobytes())
        return digest.digest()


@dataclass(frozen=True)
class _Listing:
    """Sizes and times, ns, of all files of records, and times of all manifests; what is wrong with other files."""

    files: dict[str, tuple[int, int]]
    manifests: dict[str, int]
    problems: dict[str, str]


class Index:
    """The catalogue of an archive, in an SQLite file beside its records.

    Parameters
    ----------
    archive : Archive
        Where the index cannot be written it is built in memory, each time anew.
    """

    def __init__(self, archive: Archive) -> None:
        self._archive = archive
        self._records = archive.records
        self.path = archive.folder / "catalogue.sqlite"

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
            return self._frame(base, unit, None)

    def find(self, question: str, unit: str = "m/s2", state: str = "") -> pd.DataFrame:
        """Tabulate the records that a pandas query holds for; see `Archive.find`."""
        if state not in ("", "all", *STATES):
            raise InputError(f"unknown state {state!r}", field="state", remedy=f"Use all, {', '.join(STATES)}")
        with self._up_to_date() as base:
            rare = _rare_names(base)
            names = [*_STANDING, *(name for name in _WHO if name != "record"), *_SITE, *_USUAL, *_WHOLE[:-1], "record"]
            _check_only_asks(question)
            asked = _names_in(question, [*names, *rare], acceleration_unit(unit))
            # Only the columns asked about are read for all records.
            used = list(dict.fromkeys(asked.values()))
            columns = self._columns(base, ["file", *(name for name in used if name not in rare)])
            columns |= self._rare_columns(base, [name for name in used if name in rare])
            factor = in_unit(acceleration_unit(unit))
            table = pd.DataFrame({word: _scaled(columns, name, factor) for word, name in asked.items()})
            try:
                held = table.query(question, engine="python", local_dict={}, global_dict={}).index.to_numpy()
            except Exception as error:  # pandas and Python raise what they like on a text that is no query
                raise InputError(
                    f"the question {question!r} is not one for pandas: {error}",
                    remedy='Ask like "pga_h > 0.3 and usable_period > 2"; names with dots stand in `backticks`',
                ) from None
            wanted = np.zeros(len(table), dtype=bool)
            wanted[held] = True
            if state != "all":
                known = self._columns(base, ["state", "worst_finding"])
                if state:
                    wanted &= np.asarray(known["state"] == state)
                elif "state" not in used:
                    wanted &= pd.Series(known["state"]).isin(("automatic", "accepted", "to look at")).to_numpy()
                if "worst_finding" not in used and "state" not in used and not state:
                    wanted &= np.asarray(known["worst_finding"] != "unfit")
            return self._frame(base, unit, np.flatnonzero(wanted))

    def _frame(self, base: sqlite3.Connection, unit: str, held: np.ndarray | None) -> pd.DataFrame:
        unit = acceleration_unit(unit)
        columns = self._columns(base, ["file", "record", *_STANDING, *_OF_FILE])
        count = len(columns["file"]) if held is None else len(held)
        numbered = {name for (name,) in base.execute("SELECT name FROM columns")}
        present = [name for name in _USUAL if name in numbered or name in _ALWAYS]
        rare = _rare_names(base)[: max(0, MOST_CELLS // max(count, 1) - len(_OF_FILE))]
        columns |= self._rare_columns(base, rare)
        if held is not None:
            columns = {name: column[held] for name, column in columns.items()}
        # Records differ in components: the columns are those of any record, each kind together.
        numbers = [name for kind in _kinds() for name in (*present, *rare) if name.startswith(f"{kind}_")]
        factor = in_unit(unit)
        names = (*_WHO, *_STANDING, *_SITE, *numbers, *_WHOLE[:-1])
        frame = pd.DataFrame({_in(unit, name): _scaled(columns, name, factor) for name in names})
        frame["path"] = f"{self._records}{os.sep}" + pd.Series(columns["file"])
        frame["start"] = pd.to_datetime(frame["start"], utc=True, format="ISO8601").dt.as_unit("ns")
        frame.attrs = {"caution": CAUTION, "problems": _problems(base, self._records)}
        return frame

    @staticmethod
    def _columns(base: sqlite3.Connection, names: Iterable[str]) -> dict[str, Any]:
        """Return columns of the view ``records``, ordered by record."""
        count = int(_meta(base)["records"])
        columns = {}
        for name in dict.fromkeys(names):
            stored = base.execute("SELECT data FROM columns WHERE name = ?", (name,)).fetchone()
            columns[name] = _unpacked(name, None if stored is None else stored[0], count)
        return columns

    @staticmethod
    def _rare_columns(base: sqlite3.Connection, names: Sequence[str]) -> dict[str, Any]:
        """Return columns of which some records have a number only, ordered by record."""
        count = int(_meta(base)["records"])
        columns = {}
        for name in names:
            column = np.full(count, np.nan)
            places, values = base.execute("SELECT places, data FROM rare WHERE name = ?", (name,)).fetchone()
            column[np.frombuffer(places, "<i4")] = np.frombuffer(values, "<f8")
            columns[name] = column
        return columns

    # Trusting the index

    def checked(self) -> tuple[str, dict[str, str]]:
        """Check the index against itself; return what is wrong, and the hash of each record's file it has read.

        The hashes are of files that passed the gate and were read whole; none where the index cannot be trusted.
        """
        if not os.path.lexists(self.path):
            return "", {}
        try:
            with contextlib.closing(self._opened()) as base:
                known = _meta(base)
                if known.get("version") != _VERSION:
                    return "", {}
                if known.get("content") != _content_digest(base):
                    return "was changed by another program; it is built anew with the next question.", {}
                rows = base.execute("SELECT record, sha256 FROM standing JOIN files USING (file) WHERE problem IS NULL")
                return "", dict(rows.fetchall())
        except (sqlite3.DatabaseError, OSError, ArchiveError):
            return "cannot be read; it is built anew with the next question.", {}

    def _opened(self) -> sqlite3.Connection:
        if odd := gate.describe_odd(self.path):
            raise ArchiveError(odd, source=str(self.path))
        base = sqlite3.connect(f"{self.path.absolute().as_uri()}?mode=ro&immutable=1", uri=True)
        base.execute("PRAGMA trusted_schema = OFF")
        return base

    def _trusted(self) -> sqlite3.Connection | None:
        """Open the index if it is one of ours, in order; None if it must be built anew."""
        base = None
        try:
            base = self._opened()
            known = _meta(base)
            if known.get("version") == _VERSION and _schema(base) == _SCHEMA_TEXTS:
                stamp = os.lstat(self.path).st_mtime_ns
                if known.get("stamp") == str(stamp) or known.get("content") == _content_digest(base):
                    return base
            base.close()
        except (sqlite3.DatabaseError, OSError, ArchiveError, ValueError):
            if base is not None:
                base.close()
        return None

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
                self.path.unlink(missing_ok=True)
            except OSError as error:
                raise ArchiveError(
                    f"the index cannot be built anew: {error.strerror}",
                    source=str(self.path),
                    remedy="Check the folder and its permissions",
                ) from None
        with contextlib.closing(self._usable(tuple(periods), jobs, progress)) as base:
            yield base

    def _usable(
        self, periods: Sequence[float], jobs: int, progress: Callable[[int, int], None] | None
    ) -> sqlite3.Connection:
        base = self._trusted()
        if base is not None and self._is_current(base, periods):
            return base
        with one_at_a_time(self.path.with_name(".catalogue.lock")):
            if base is not None:
                base.close()
            base = self._trusted()  # another process may have brought it up meanwhile
            if base is not None and self._is_current(base, periods):
                return base
            fresh = sqlite3.connect(":memory:")
            try:
                if base is not None:
                    base.backup(fresh)
                    base.close()
                    base = None
                self._bring_up(fresh, periods, jobs, progress)
                self._keep(fresh)
            except BaseException:
                fresh.close()
                raise
            finally:
                if base is not None:
                    base.close()
            return fresh

    def _is_current(self, base: sqlite3.Connection, periods: Sequence[float]) -> bool:
        known = _meta(base)
        held = json.loads(known["periods"])
        if not {*map(float, periods)} <= {*held} or known["settled"] != "1":
            return False
        return known["listing"] == _digest(self._folders())

    def _folders(self) -> tuple[_Folder, _Folder]:
        return _Folder.listed(self._records), _Folder.listed(self._archive.manifest.folder)

    def _listing(self, records: _Folder, manifests: _Folder) -> _Listing:
        files: dict[str, tuple[int, int]] = {}
        problems: dict[str, str] = {}
        for name, (size, at, _) in zip(records.names, records.states.tolist(), strict=True):
            if id_of_file(name, self._archive.is_earlier) is not None:
                files[name] = (size, at)
            elif name.endswith(".h5"):
                odd = gate.describe_odd(self._records / name)
                problems[name] = odd or "is not named as a version of a record; run `strongmotion verify`"
        held = zip(manifests.names, manifests.states.tolist(), strict=True)
        return _Listing(files, {name: at for name, (_, at, mode) in held if stat.S_ISDIR(mode)}, problems)

    def _bring_up(
        self,
        base: sqlite3.Connection,
        periods: Sequence[float],
        jobs: int,
        progress: Callable[[int, int], None] | None,
    ) -> None:
        known = _meta(base)
        held = json.loads(known.get("periods", "[]"))
        wanted = tuple(sorted({*PERIODS, *held, *(float(period) for period in periods)}))
        if not known or list(wanted) != held:
            _begin_anew(base)
        began = time.time_ns()
        folders = self._folders()
        listing = self._listing(*folders)
        with base:
            unsettled = self._bring_up_standing(base, listing, began)
            self._bring_up_files(base, listing, wanted, jobs, progress)
            meta = {
                "records": str(_pack_columns(base)), "version": _VERSION, "periods": json.dumps(list(wanted)),
                "listing": _digest(folders), "settled": str(int(not unsettled)), "caution": CAUTION,
            }  # fmt: skip
            base.execute("DELETE FROM meta")
            base.executemany("INSERT INTO meta VALUES (?, ?)", meta.items())
            base.execute("INSERT INTO meta VALUES ('content', ?)", (_content_digest(base),))

    def _bring_up_standing(self, base: sqlite3.Connection, listing: _Listing, began: int) -> bool:
        """Bring up which version of each record is current; tell whether a manifest may change again unseen."""
        by_id: dict[str, list[str]] = {}
        earlier = self._archive.is_earlier
        for name in listing.files:
            by_id.setdefault(id_of_file(name, earlier) or "", []).append(name)
        seen = {record: (changed, names) for record, changed, names in base.execute(
            "SELECT record, changed, names FROM standing"
        )}  # fmt: skip
        unsettled = False
        for record in listing.manifests:
            by_id.setdefault(record, [])  # whose files are missing
        gone = [record for record in seen if record not in by_id]
        base.executemany("DELETE FROM standing WHERE record = ?", [(record,) for record in gone])
        for record, names in by_id.items():
            listed = "\n".join(sorted(names))
            changed = listing.manifests.get(record, 0)
            if seen.get(record) == (changed, listed):
                continue
            if began - changed < _SETTLED:
                unsettled, changed = True, -1
            row: tuple[Any, ...]
            try:
                found = self._archive.standing(record)
                current = found.current
                if current is None and not names:  # a writer has only begun
                    unsettled = True
                    continue
                if current is None:
                    raise ArchiveError("is not in the manifest", remedy="Move it elsewhere, or restore the manifest")
                number = len(found.versions)
                far = [found.event.get("distances", {}).get(kind) for kind in ("epicentral", "hypocentral")]
                row = (record, changed, listed, current.file, current.name, found.state, number, current.sha256, None,
                       found.event.get("event") or None, *far)  # fmt: skip
            except ArchiveError as error:
                file = max(names, key=lambda name: (len(name), name), default=f"{record}.*.h5")
                row = (record, changed, listed, file, "", "", 0, "", str(error.at(None)), None, None, None)
            base.execute(f"INSERT OR REPLACE INTO standing VALUES ({', '.join('?' * len(row))})", row)
        return unsettled

    def _bring_up_files(
        self,
        base: sqlite3.Connection,
        listing: _Listing,
        periods: Sequence[float],
        jobs: int,
        progress: Callable[[int, int], None] | None,
    ) -> None:
        current = {file: (record, digest, problem) for record, file, digest, problem in base.execute(
            "SELECT record, file, sha256_entered, trouble FROM standing"
        )}  # fmt: skip
        indexed = {
            file: (size, at, digest or "", problem)
            for file, size, at, digest, problem in base.execute("SELECT * FROM files")
        }
        for file in indexed:
            if file not in current:
                base.execute("DELETE FROM files WHERE file = ?", (file,))
        new = []
        for file, (record, digest, trouble) in sorted(current.items()):
            size, at = listing.files.get(file, (-1, -1))
            if trouble is not None:
                known = (file, size, at, "", trouble)
                base.execute("INSERT OR REPLACE INTO files VALUES (?, ?, ?, ?, ?)", known)
                continue
            before = indexed.get(file)
            same = before is not None and before[:2] == (size, at) and before[3] is None
            if not same or (digest and before is not None and before[2] != digest):
                new.append((file, record, digest))
        for name, problem in listing.problems.items():
            base.execute("INSERT OR REPLACE INTO files VALUES (?, -1, -1, '', ?)", (_storable(name), problem))
        if progress:
            progress(0, len(new))
        calls = ((self._records / file, record, digest, tuple(periods)) for file, record, digest in new)
        for finished, ((file, *_), row) in enumerate(zip(new, in_processes(row_of, calls, jobs), strict=True), 1):
            _insert(base, file, listing.files.get(file, (-1, -1)), row)
            if progress:
                progress(finished, len(new))
        base.execute("DELETE FROM rows WHERE sha256 NOT IN (SELECT sha256 FROM files)")
        base.execute("DELETE FROM quantities WHERE sha256 NOT IN (SELECT sha256 FROM files)")

    def _keep(self, base: sqlite3.Connection) -> None:
        """Write the index to its file, whole; where that cannot be, it stays in memory."""
        part = self.path.with_name(f".{self.path.name}.{secrets.token_hex(6)}.part")
        try:
            stamp = time.time_ns() // 2_000_000_000 * 2_000_000_000  # whole even seconds: any file system keeps them
            with base:
                base.execute("INSERT OR REPLACE INTO meta VALUES ('stamp', ?)", (str(stamp),))
            with contextlib.closing(sqlite3.connect(part)) as kept:
                kept.execute("PRAGMA journal_mode = OFF")
                kept.execute("PRAGMA synchronous = OFF")
                base.backup(kept)
            os.utime(part, ns=(stamp, stamp))
            part.replace(self.path)
        except (OSError, sqlite3.Error):
            pass
        finally:
            with contextlib.suppress(OSError):
                part.unlink(missing_ok=True)


def _digest(folders: Iterable[_Folder]) -> str:
    return hashlib.sha256(b"".join(folder.digest() for folder in folders)).hexdigest()


def _quoted(name: str) -> str:
    return '"' + name.replace('"', '""') + '"'


def _listed(names: Iterable[str]) -> str:
    return ", ".join(_quoted(name) for name in names)


def _is_text(name: str) -> bool:
    return name in _TEXTS


_VIEW = ("record", *_STANDING, *_OF_FILE)
_SCHEMA = (
    "CREATE TABLE meta (key TEXT PRIMARY KEY, value TEXT)",
    "CREATE TABLE standing (record TEXT PRIMARY KEY, changed INTEGER, names TEXT, file TEXT, version TEXT, state TEXT, "
    "versions INTEGER, sha256_entered TEXT, trouble TEXT, assigned TEXT, epicentral_distance_km REAL, "
    "hypocentral_distance_km REAL)",
    "CREATE TABLE files (file TEXT PRIMARY KEY, size INTEGER, changed INTEGER, sha256 TEXT, problem TEXT)",
    "CREATE TABLE rows (sha256 TEXT PRIMARY KEY, "
    + ", ".join(f"{_quoted(name)} {'TEXT' if _is_text(name) else 'REAL'}" for name in _OF_FILE)
    + ")",
    "CREATE TABLE quantities (sha256 TEXT, name TEXT, quantity TEXT, component TEXT, value REAL, "
    "PRIMARY KEY (name, sha256)) WITHOUT ROWID",
    "CREATE TABLE columns (name TEXT PRIMARY KEY, data BLOB)",
    "CREATE TABLE rare (name TEXT PRIMARY KEY, records INTEGER, places BLOB, data BLOB)",
    "CREATE VIEW records AS SELECT record, version, state, versions, COALESCE(assigned, earthquake) AS event, "
    f"epicentral_distance_km, hypocentral_distance_km, file, {_listed(_OF_FILE)} FROM standing "
    "JOIN files USING (file) JOIN rows USING (sha256) WHERE problem IS NULL",
)
_SCHEMA_TEXTS = sorted(_SCHEMA)
_DIGESTS = (
    "SELECT sha256 FROM standing JOIN files USING (file) JOIN rows USING (sha256) WHERE problem IS NULL ORDER BY record"
)
"""The hash of each record's file, in the order of the view ``records``."""


def _schema(base: sqlite3.Connection) -> list[str]:
    return sorted(text for (text,) in base.execute("SELECT sql FROM sqlite_master WHERE sql IS NOT NULL"))


def _meta(base: sqlite3.Connection) -> dict[str, str]:
    if not base.execute("SELECT name FROM sqlite_master WHERE type = 'table' AND name = 'meta'").fetchall():
        return {}
    return dict(base.execute("SELECT key, value FROM meta"))


def _begin_anew(base: sqlite3.Connection) -> None:
    with base:
        for kind, name in base.execute("SELECT type, name FROM sqlite_master WHERE sql IS NOT NULL").fetchall():
            base.execute(f"DROP {kind} IF EXISTS {_quoted(name)}")
        for text in _SCHEMA:
            base.execute(text)


def _content_digest(base: sqlite3.Connection) -> str:
    """Return the SHA-256 over all rows of all tables but what the index says of itself."""
    digest = hashlib.sha256()
    keys = {"standing": "record", "files": "file", "rows": "sha256", "quantities": "name, sha256", "columns": "name"}
    keys["rare"] = "name"
    for table, key in keys.items():
        for row in base.execute(f"SELECT * FROM {table} ORDER BY {key}"):
            digest.update(repr(row).encode("utf-8", "backslashreplace"))
    said = base.execute("SELECT key, value FROM meta WHERE key NOT IN ('content', 'stamp') ORDER BY key").fetchall()
    digest.update(repr(said).encode("utf-8", "backslashreplace"))
    return digest.hexdigest()


def _insert(base: sqlite3.Connection, file: str, state: tuple[int, int], row: dict[str, Any]) -> None:
    size, at = state
    digest = row.get("sha256", "")
    values = [file, size, at, digest, row.get("problem")]
    base.execute("INSERT OR REPLACE INTO files VALUES (?, ?, ?, ?, ?)", values)
    if "problem" in row:
        return
    values = [digest, *(row["columns"].get(name) for name in _OF_FILE)]
    base.execute(f"INSERT OR REPLACE INTO rows VALUES ({', '.join('?' * len(values))})", values)
    base.executemany(
        "INSERT OR REPLACE INTO quantities VALUES (?, ?, ?, ?, ?)",
        [(digest, name, quantity, component, value) for (name, quantity, component), value in row["rare"].items()],
    )


def _pack_columns(base: sqlite3.Connection) -> int:
    """Keep each column of the view ``records`` in one piece, from which it is read in no time; return their length.

    A column of which no record has a number is left out. The order is that of the records.
    """
    rows = base.execute(f"SELECT file, {_listed(_VIEW)} FROM records ORDER BY record").fetchall()
    base.execute("DELETE FROM columns")
    for name, values in zip(("file", *_VIEW), zip(*rows, strict=True), strict=True) if rows else ():
        if _is_text(name):
            place = {text: number for number, text in enumerate(dict.fromkeys(values))}
            texts = json.dumps(list(place), separators=(",", ":"), ensure_ascii=False).encode()
            data = texts + b"\0" + np.array([place[text] for text in values], dtype="<i4").tobytes()
        else:
            column = np.array(values, dtype=np.float64)
            if np.isnan(column).all():
                continue
            data = column.astype("<f8").tobytes()
        base.execute("INSERT INTO columns VALUES (?, ?)", (name, data))
    _pack_rare_columns(base)
    return len(rows)


def _pack_rare_columns(base: sqlite3.Connection) -> None:
    """Keep the numbers of each column that few records have, with the places of these records in the order of all."""
    base.execute("DELETE FROM rare")
    place: dict[str, list[int]] = {}
    for number, (digest,) in enumerate(base.execute(_DIGESTS)):
        place.setdefault(digest, []).append(number)
    numbers = base.execute("SELECT name, sha256, value FROM quantities WHERE value IS NOT NULL ORDER BY name, sha256")
    for name, of_name in itertools.groupby(numbers, key=lambda row: row[0]):
        pairs = [(number, value) for _, digest, value in of_name for number in place.get(digest, ())]
        if pairs:
            places, values = zip(*sorted(pairs), strict=True)
            packed = np.array(places, dtype="<i4").tobytes(), np.array(values, dtype="<f8").tobytes()
            base.execute("INSERT INTO rare VALUES (?, ?, ?, ?)", (name, len(pairs), *packed))


def _unpacked(name: str, data: bytes | None, count: int) -> Any:
    """Return a column that `_pack_columns` kept."""
    if _is_text(name):
        # Many records share a text, so the distinct ones stand once, and then the place of each record's among them.
        texts, _, places = (data or b"[null]\0" + bytes(4 * count)).partition(b"\0")
        distinct = layout.text_column(np.array(json.loads(texts), dtype=object))
        return distinct.array.take(np.frombuffer(places, "<i4"))
    numbers = np.full(count, np.nan) if data is None else np.frombuffer(data, "<f8").astype(np.float64)
    return np.nan_to_num(numbers).astype(np.int64) if name in _COUNTS else numbers


def _storable(name: str) -> str:
    """Return a name of a file without the surrogates that stand for bytes that are no UTF-8."""
    return name.encode("utf-8", "backslashreplace").decode()


def _rare_names(base: sqlite3.Connection) -> list[str]:
    return [name for (name,) in base.execute("SELECT name FROM rare ORDER BY records DESC, name")]


def _problems(base: sqlite3.Connection, folder: Path) -> list[str]:
    found = base.execute("SELECT file, problem FROM files WHERE problem IS NOT NULL ORDER BY file")
    return [f"{printable(folder / file)}: {problem}" for file, problem in found]


# Names and units


def _in(unit: str, name: str) -> str:
    return name.removesuffix("_m_s2") + f"_{unit.replace('/', '_')}" if name.endswith("_m_s2") else name


def _scaled(columns: dict[str, Any], name: str, factor: float) -> Any:
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


def row_of(path: Path, record: str, entered: str, periods: Sequence[float]) -> dict[str, Any]:
    """Return what the catalogue has of one file, SI units; of a file that cannot be read, its ``problem``.

    The whole file is read and passes the gate, and it is the one that was `entered` in the manifest.
    """
    try:
        content, digest = read_bytes(path)
        if entered and digest != entered:
            raise ArchiveError("holds other bytes than were entered in the manifest", remedy=gate.RESTORE)
        with gate.passed(content) as file:
            result = layout.read(file)
            check_name(path, result.record, record)
            columns, rare = _row(result, file, periods)
        return {"sha256": digest, "columns": columns, "rare": rare}
    except ArchiveError as error:
        return {"problem": str(error.at(None))}


def _row(
    result: Result, file: h5py.File, periods: Collection[float]
) -> tuple[dict[str, Any], dict[tuple[str, str, str], float]]:
    record, station, quake = result.record, result.record.station, result.record.earthquake
    numbers: dict[tuple[str, str, str], float] = {}

    def note(quantity: str, component: str, unit: str, value: float) -> None:
        numbers[f"{quantity}_{component}_{unit}", f"{quantity}_{unit}", component] = float(value)

    horizontal: dict[tuple[str, str], float] = {}
    for component, quantity, value, unit in zip(
        *(result.peaks[name] for name in ("component", "quantity", "value", "unit")), strict=True
    ):
        name, suffix = quantity.lower(), _suffix(unit)
        note(name, component.replace(" ", "_"), suffix, value)
        if component in ("H1", "H2"):
            horizontal[name, suffix] = max(value, horizontal.get((name, suffix), 0.0))
    for (name, suffix), value in horizontal.items():
        note(name, "h", suffix, value)
    for period, value in layout.read_ordinates(file, "RotD50", DAMPING, periods).items():
        note(f"psa_{period:g}s", "RotD50", "m_s2", value)
    columns_of = {measure.name: measure.column for measure in MEASURES if measure.column}
    for component, measure, value, unit in zip(
        *(result.measures[name] for name in ("component", "measure", "value", "unit")), strict=True
    ):
        if measure in columns_of:
            note(columns_of[measure], component, _suffix(unit), value)
    bands = result.usable_band
    band = bands.get("horizontal") or next(iter(bands.values()))
    severities = [finding.severity for finding in result.findings]
    columns: dict[str, Any] = {
        "station": station.code,
        "network": station.network,
        "location": station.location,
        "instrument": station.instrument_code,
        "latitude_deg": _number(station.latitude),
        "longitude_deg": _number(station.longitude),
        "start": None if record.start is None else str(record.start),
        "earthquake": (quake.name or quake.id or None) if quake else None,
        "magnitude": _number(quake.magnitude) if quake else None,
        "source_file": record.source.file,
        "vs30_m_s": _number(station.vs30),
        "vs30_method": station.vs30_method,
        "site_class": station.site_class,
        "housing": station.housing,
        "sensor_depth_m": _number(station.sensor_depth),
        "low_cut_hz": band.low_cut,
        "high_cut_hz": band.high_cut,
        "shortest_usable_period_s": band.shortest_period,
        "longest_usable_period_s": band.longest_period,
        "worst_finding": max(severities, key=RANKED_SEVERITIES.index, default=""),
        "findings": len(severities),
    }
    rare = {}
    for (name, quantity, component), value in numbers.items():
        if name in _USUAL:
            columns[name] = value
        else:
            rare[name, quantity, component] = value
    return columns, rare


def _number(value: Any) -> float | None:
    return None if value is None else float(value)


def _suffix(unit: str) -> str:
    return unit.replace("/", "_")


def write_catalogue(
    frame: pd.DataFrame,
    csv: str | Path | None = None,
    parquet: str | Path | None = None,
    excel: str | Path | None = None,
) -> None:
    """Write a catalogue, or another table, with its caution.

    Parameters
    ----------
    frame : pandas.DataFrame
        From `Archive.catalogue` or `Archive.find`.
    csv : str or Path, optional
        Written with the caution in a last column, ``caution``, so that it goes with any row. A text that a spreadsheet
        would take for a formula, such as ``=1+1``, begins with an apostrophe.
    parquet : str or Path, optional
        Written with the caution in the metadata of the file, whence pandas reads it into ``attrs``.
    excel : str or Path, optional
        Written for a spreadsheet, as the CSV file is.

    Raises
    ------
    ArchiveError
        The file cannot be written, or the library that a form needs is not installed.

    Examples
    --------
    >>> import tempfile
    >>> path = Path(tempfile.mkdtemp()) / "table.csv"
    >>> write_catalogue(pd.DataFrame({"record": ["XX.QUAY"], "pga_m_s2": [1.2]}), csv=path)
    >>> path.read_text().splitlines()[1][:11]
    'XX.QUAY,1.2'
    """
    if csv is not None or excel is not None:
        texts = {name: frame[name].map(_no_formula) for name in frame if not pd.api.types.is_numeric_dtype(frame[name])}
        plain = frame.assign(**texts, caution=CAUTION)
    if csv is not None:
        write_whole(Path(csv), plain.to_csv(index=False, lineterminator="\n").encode(), replace=True)
    if excel is not None:
        content = io.BytesIO()
        for name in plain.select_dtypes("datetimetz"):  # spreadsheets know no time zones: UTC stays in the text
            plain[name] = plain[name].map(lambda time: "" if pd.isna(time) else time.isoformat())
        try:
            plain.to_excel(content, index=False, sheet_name="strongmotion", engine="openpyxl")
        except ImportError:
            raise ArchiveError(
                "a spreadsheet needs openpyxl", source=str(excel), remedy="Install strongmotion[excel], or write CSV"
            ) from None
        write_whole(Path(excel), content.getvalue(), replace=True)
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
