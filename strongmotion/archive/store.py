"""The folder of an archive: its records, and what does not belong there."""

from __future__ import annotations

import contextlib
import difflib
import re
import time
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from ..foundation.errors import ArchiveError
from ..foundation.files import flush_folder, write_whole
from ..foundation.workers import in_processes
from ..result import RANKED_SEVERITIES
from . import layout
from .catalogue import Index
from .files import already_there, check_name, opened, packed, read_result, sealed_bytes
from .measures import measures_of

if TYPE_CHECKING:
    import pandas as pd

    from ..record import Finding
    from ..result import Result
    from ..settings import Settings

__all__ = ["Archive", "Problem", "Summary"]

LEFT_OVER = 3600.0
"""Age, s, from which an unfinished file is taken for left over: no write takes that long."""


@dataclass(frozen=True)
class Problem:
    """What `Archive.verify` found wrong with one file, and what to do."""

    file: Path
    what: str

    def __str__(self) -> str:
        return f"{self.file}: {self.what}"


@dataclass(frozen=True)
class Summary:
    """What a record was made of, and its peaks and findings: the little that tells whether it is done."""

    raw_sha256: str
    settings: Settings
    peaks: pd.DataFrame
    findings: tuple[Finding, ...]

    @property
    def severity(self) -> str:
        """The most severe severity among the findings."""
        return max((finding.severity for finding in self.findings), key=RANKED_SEVERITIES.index, default="")


class Archive:
    """Processed records in a folder, one HDF5 file each.

    Parameters
    ----------
    folder : str or Path
        Where the archive lies; the files are in its subfolder ``records``.
    create : bool
        Make the archive if it is not there.

    Raises
    ------
    ArchiveError
        The archive is not there, or cannot be made.

    Notes
    -----
    Each file ends in a seal, the SHA-256 of all bytes before it, which HDF5 readers pass over; so any changed byte
    is found when a record is read. Several processes may add to one archive at once.

    Examples
    --------
    >>> import tempfile
    >>> import numpy as np
    >>> from strongmotion import Archive, Component, Record, Station, process
    >>> noise = np.random.default_rng(1).normal(size=2000)
    >>> shaking = Component("H1", noise, dt=0.01, start=np.datetime64("2031-03-07T04:15"))
    >>> archive = Archive(tempfile.mkdtemp(), create=True)
    >>> archive.add(process(Record((shaking,), Station("QUAY", "XX")))).name
    'XX.QUAY_20310307T041500.h5'
    >>> archive.ids()
    ['XX.QUAY_20310307T041500']
    >>> archive["XX.QUAY_20310307T041500"].record.station.code
    'QUAY'
    """

    def __init__(self, folder: str | Path, create: bool = False) -> None:
        self.folder = Path(folder).expanduser()
        self._records = self.folder / "records"
        try:
            if create and not self._records.is_dir():
                self._records.mkdir(parents=True, exist_ok=True)
                for folder in (self.folder, self.folder.parent):
                    flush_folder(folder)
        except OSError as error:
            raise ArchiveError(
                f"the archive cannot be made: {error.strerror}", source=str(folder), remedy="Choose another folder"
            ) from None
        if not self._records.is_dir():
            raise ArchiveError(
                "there is no archive here",
                source=str(folder),
                remedy="Give the folder that `process -o` wrote, or make an archive with create=True",
            )

    def __repr__(self) -> str:
        return f"Archive({str(self.folder)!r})"

    def add(self, result: Result, replace: bool = False) -> Path:
        """Write a result, whole or not at all.

        Parameters
        ----------
        result : Result
        replace : bool
            Take the place of an earlier result of the same record, which is refused otherwise.

        Returns
        -------
        Path
            The file, named for the record.

        Raises
        ------
        ArchiveError
            The record is already there, the disk is full, or the folder cannot be written. Nothing that was in the
            archive before has changed.
        """
        path = self.path(result.record.id)
        if path.exists() and not replace:
            raise already_there(path)  # before the work of packing; write_whole settles races
        try:
            write_whole(path, packed(result), replace)
        except FileExistsError:
            raise already_there(path) from None
        return path

    def path(self, record_id: str) -> Path:
        """Return where the record of this id lies, or would lie.

        Raises
        ------
        ArchiveError
            Not an id: it could lead out of the archive.
        """
        if not re.fullmatch(r"[A-Za-z0-9_-][A-Za-z0-9._-]{0,200}", record_id):
            raise ArchiveError(
                f"{record_id!r} is not a record id", remedy="Ids are letters, digits, '.', '-' and '_'; see `ids()`"
            )
        return self._records / f"{record_id}.h5"

    def __getitem__(self, record_id: str) -> Result:
        path = self.path(record_id)
        if not path.exists() and not path.is_symlink():
            near = difflib.get_close_matches(record_id, self.ids(), n=1)
            raise ArchiveError(
                f"there is no record {record_id!r}" + (f", perhaps {near[0]!r}" if near else ""),
                source=str(self.folder),
                remedy="The catalogue lists the records",
            )
        result = read_result(path)
        check_name(path, result.record.id)
        return result

    def summary(self, record_id: str) -> Summary:
        """Read the little of a record that tells whether it is done; its seal is not checked.

        Raises
        ------
        ArchiveError
            The record is not there or cannot be read.
        """
        path = self.path(record_id)
        try:
            with opened(path) as file:
                layout.check_layout(file)
                check_name(path, str(file.attrs["record"]))
                return Summary(
                    str(file.attrs["raw_sha256"]),
                    layout.read_settings(file),
                    layout.read_table(file, "peaks"),
                    layout.read_findings(file),
                )
        except ArchiveError as error:
            raise error.at(str(path)) from error

    def __contains__(self, record_id: object) -> bool:
        try:
            return isinstance(record_id, str) and self.path(record_id).exists()
        except ArchiveError:
            return False

    def __iter__(self) -> Iterator[str]:
        return iter(self.ids())

    def __len__(self) -> int:
        return len(self.ids())

    def ids(self) -> list[str]:
        """Return the ids of all records, sorted."""
        return [path.stem for path in self.files()]

    def files(self) -> list[Path]:
        """Return the files of all records, sorted by id."""
        return sorted(path for path in self._records.glob("*.h5") if not path.name.startswith("."))

    @property
    def index(self) -> Index:
        """The index behind the catalogue, the file ``catalogue.sqlite``; see `Index.refresh`."""
        return Index(self._records, self.folder / "catalogue.sqlite")

    def catalogue(self, unit: str = "m/s2", periods: Iterable[float] = ()) -> pd.DataFrame:
        """Tabulate the archive, a row a record.

        Parameters
        ----------
        unit : {"m/s2", "cm/s2", "g"}
            For accelerations.
        periods : iterable of float
            Oscillator periods, s, of pseudo-spectral accelerations to have beside 0.2, 0.3, 1 and 3 s. The first time
            they are asked for, every file is read.

        Returns
        -------
        pandas.DataFrame
            Who, where and when (``record, station, network, location, latitude_deg, longitude_deg, start, earthquake,
            magnitude, source_file``); peaks by component and combination (``pga_H1_m_s2``), and the larger one of the
            horizontal components (``pga_h_m_s2``); pseudo-spectral accelerations of RotD50 at 5 % damping
            (``psa_1s_RotD50_m_s2``); Arias intensity and significant duration by component; corner frequencies and
            usable periods, of the horizontal pair where there is one, else of the first component; findings; ``path``.
            Every column of a physical quantity ends in its unit. ``attrs["caution"]`` is the caution,
            ``attrs["problems"]`` lists the files that could not be read, which have no row.
        """
        return self.index.frame(unit, periods)

    def measures(self, unit: str = "m/s2") -> pd.DataFrame:
        """Put the measures of all records into one table; see `measures_of`.

        Parameters
        ----------
        unit : {"m/s2", "cm/s2", "g"}
            For accelerations.
        """
        return measures_of(self.files(), unit)

    def find(self, question: str, unit: str = "m/s2") -> pd.DataFrame:
        """Tabulate the records that a question holds for.

        Parameters
        ----------
        question : str
            A pandas query over the columns of the catalogue. A column may be named without its unit, ``pga_h`` for
            ``pga_h_m_s2``; ``usable_period`` stands for the longest usable one, ``severity`` for that of the most
            severe finding, ``event`` for the earthquake. A name with a dot stands in backticks.
        unit : {"m/s2", "cm/s2", "g"}
            For accelerations, in the question and in the answer.

        Returns
        -------
        pandas.DataFrame
            As `catalogue`.

        Raises
        ------
        InputError
            The question names no column, or is no query.

        Examples
        --------
        >>> import tempfile
        >>> len(Archive(tempfile.mkdtemp(), create=True).find("pga_h > 0.3 and usable_period > 2", unit="g"))
        0
        """
        return self.index.find(question, unit)

    def verify(self, jobs: int = 1, progress: Callable[[int, int], None] | None = None) -> list[Problem]:
        """Read every file and return what is wrong: damage, missing parts, foreign and left-over files.

        Parameters
        ----------
        jobs : int
            Worker processes; 1 works in this process.
        progress : callable, optional
            Called with the number of files read and of all files.

        Returns
        -------
        list of Problem
            Empty when every byte is as it was written. A file that is just being written is no problem.
        """
        problems, paths = [], []
        for path in sorted(self._records.iterdir()):
            if _is_unfinished(path):
                if _is_left_over(path):
                    problems.append(Problem(path, "was left by a write that did not finish. Delete it."))
            elif path.suffix != ".h5" or not path.is_file():
                problems.append(Problem(path, "does not belong to the archive. Move it elsewhere."))
            else:
                paths.append(path)
        if progress:
            progress(0, len(paths))
        answers = in_processes(_what_is_wrong, ((path,) for path in paths), jobs)
        for finished, (path, what) in enumerate(zip(paths, answers, strict=True), 1):
            if what:
                problems.append(Problem(path, what))
            if progress:
                progress(finished, len(paths))
        return problems

    def remove_left_overs(self) -> None:
        """Delete what writes that were killed left behind, once it is an hour old; nothing of it is a record."""
        for path in self._records.glob(".*.part"):
            if _is_left_over(path):
                with contextlib.suppress(OSError):
                    path.unlink()

    def take_from(self, others: Iterable[Archive], record_ids: Iterable[str] | None = None) -> tuple[int, int]:
        """Copy records of other archives, byte for byte.

        Parameters
        ----------
        others : iterable of Archive
        record_ids : iterable of str, optional
            Those to copy; all if not given.

        Returns
        -------
        copied, there : int
            Records copied, and those that were skipped (unchanged) with the same bytes.

        Raises
        ------
        ArchiveError
            A record is not there, is damaged, or two archives hold different results of it: nothing is copied then.
        """
        chosen: dict[str, Path] = {}
        conflicts = []
        wanted = None if record_ids is None else list(dict.fromkeys(record_ids))
        others = list(others)
        for record_id in wanted or ():
            if not any(record_id in other for other in others):
                raise ArchiveError(
                    f"there is no record {record_id!r}",
                    source=", ".join(str(other.folder) for other in others),
                    remedy="The catalogue lists the records",
                )
        already = 0
        for other in others:
            for path in other.files() if wanted is None else map(other.path, wanted):
                if not path.exists():
                    continue
                own = self.path(path.stem)
                earlier = chosen.get(path.stem) or (own if own.exists() else None)
                if earlier is None:
                    chosen[path.stem] = path
                elif _same_seal(earlier, path):
                    already += 1
                else:
                    conflicts.append(path.stem)
        if conflicts:
            raise ArchiveError(
                f"{len(conflicts)} records have different results in two archives: {', '.join(sorted(conflicts))}",
                source=str(self.folder),
                remedy="Nothing was copied. Delete the results that are not wanted, or choose the records by name",
            )
        for path in chosen.values():
            with opened(path) as file:
                check_name(path, str(file.attrs["record"]))
        for record_id, path in chosen.items():
            try:
                write_whole(self.path(record_id), sealed_bytes(path), replace=False)
            except FileExistsError:
                raise already_there(self.path(record_id)) from None
        return len(chosen), already


def _what_is_wrong(path: Path) -> str:
    try:
        check_name(path, read_result(path).record.id)
    except ArchiveError as error:
        return str(error.at(None))
    return ""


def _same_seal(one: Path, other: Path) -> bool:
    return sealed_bytes(one) == sealed_bytes(other)


def _is_unfinished(path: Path) -> bool:
    return path.name.startswith(".") and path.suffix == ".part"


def _is_left_over(path: Path) -> bool:
    try:
        return time.time() - path.stat().st_mtime > LEFT_OVER
    except OSError:  # it has got its name meanwhile
        return False
