"""The folder of an archive: its records, and what does not belong there."""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from ..errors import ArchiveError
from .catalogue import catalogue_of
from .files import already_there, packed, read_result, write_whole

if TYPE_CHECKING:
    import pandas as pd

    from ..result import Result

__all__ = ["Archive", "Problem"]


@dataclass(frozen=True)
class Problem:
    """What `Archive.verify` found wrong with one file, and what to do."""

    file: Path
    what: str

    def __str__(self) -> str:
        return f"{self.file}: {self.what}"


class Archive:
    """Processed records in a folder, one HDF5 file each.

    Parameters
    ----------
    folder : str or Path
        Where the archive lies; the files are in its subfolder ``records``.
    create : bool
        Make the folder if it is not there.

    Raises
    ------
    ArchiveError
        The folder is not there and may not or cannot be made.

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
    >>> archive = Archive(tempfile.mkdtemp())
    >>> archive.add(process(Record((shaking,), Station("QUAY", "XX")))).name
    'XX.QUAY_20310307T041500.h5'
    >>> archive.ids()
    ['XX.QUAY_20310307T041500']
    >>> archive["XX.QUAY_20310307T041500"].record.station.code
    'QUAY'
    """

    def __init__(self, folder: str | Path, create: bool = True) -> None:
        self.folder = Path(folder).expanduser()
        self._records = self.folder / "records"
        try:
            if create:
                self._records.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise ArchiveError(
                f"the archive cannot be made: {error.strerror}", source=str(folder), remedy="Choose another folder"
            ) from None
        if not self._records.is_dir():
            raise ArchiveError(
                "there is no archive here", source=str(folder), remedy="Give the folder that `process -o` wrote"
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
        write_whole(path, packed(result), replace)
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
        if not path.exists():
            near = difflib.get_close_matches(record_id, self.ids(), n=1)
            raise ArchiveError(
                f"there is no record {record_id!r}" + (f", perhaps {near[0]!r}" if near else ""),
                source=str(self.folder),
                remedy="The catalogue lists the records",
            )
        return read_result(path)

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

    def catalogue(self, unit: str = "m/s2") -> pd.DataFrame:
        """Tabulate the archive, a row a record; see `catalogue_of`.

        Parameters
        ----------
        unit : {"m/s2", "cm/s2", "g"}
            For accelerations.
        """
        return catalogue_of(self.files(), unit)

    def verify(self) -> list[Problem]:
        """Read every file and return what is wrong: damage, missing parts, foreign and left-over files.

        Returns
        -------
        list of Problem
            Empty when every byte is as it was written.
        """
        problems = []
        for path in sorted(self._records.iterdir()):
            if path.name.startswith(".") and path.suffix == ".part":
                problems.append(Problem(path, "was left by a write that did not finish. Delete it."))
            elif path.suffix != ".h5" or not path.is_file():
                problems.append(Problem(path, "does not belong to the archive. Move it elsewhere."))
            else:
                try:
                    found = read_result(path).record.id
                except ArchiveError as error:
                    what = ArchiveError(error.what, remedy=error.remedy)
                    problems.append(Problem(path, str(what)))
                else:
                    if found != path.stem:
                        problems.append(Problem(path, f"holds record {found}. Give the file its name back."))
        return problems
