"""The folder of an archive: files written whole, sealed, and told apart from damaged and foreign ones."""

from __future__ import annotations

import contextlib
import difflib
import errno
import hashlib
import io
import os
import re
import secrets
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import h5py

from ..errors import ArchiveError, StrongMotionError
from . import layout

if TYPE_CHECKING:
    import pandas as pd

    from ..result import Result

__all__ = ["Archive", "Problem", "read_result", "write_whole"]

_SEAL = re.compile(rb"\nstrongmotion seal sha256 ([0-9a-f]{64})\n")
SEAL_LENGTH = 91


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
            raise _already_there(path)  # before the work of packing; write_whole settles races
        write_whole(path, _sealed(_packed(result)), replace)
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
        from .catalogue import catalogue_of

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


def read_result(path: str | Path) -> Result:
    """Read one file of an archive, after checking every byte of it against its seal.

    Raises
    ------
    ArchiveError
        The file cannot be read, is damaged, foreign, or of a newer layout.
    """
    try:
        content = Path(path).read_bytes()
    except OSError as error:
        raise ArchiveError(f"cannot be read: {error.strerror}", source=str(path), remedy=layout.RESTORE) from None
    try:
        _check_seal(content)
        with opened(io.BytesIO(content)) as file:
            return layout.read(file)
    except ArchiveError as error:
        raise ArchiveError(error.what, source=str(path), remedy=error.remedy) from error


@contextlib.contextmanager
def opened(place: Path | io.BytesIO) -> Iterator[h5py.File]:
    """Open an HDF5 file for reading; whatever goes wrong inside becomes an `ArchiveError`."""
    try:
        with h5py.File(place, "r") as file:
            yield file
    except ArchiveError:
        raise
    except StrongMotionError as error:
        raise ArchiveError(
            f"holds what this version of strongmotion does not accept: {error}",
            remedy="Read it with the version it names, or process its source again",
        ) from error
    except Exception as error:  # what HDF5 and JSON raise on damaged bytes is of many kinds
        raise ArchiveError(f"is damaged: {error}", remedy=layout.RESTORE) from error


def _packed(result: Result) -> bytes:
    # In memory, so that a full disk is met where the bytes are written, not inside the HDF5 library.
    # HDF5 1.8 structures are what netCDF-4 reads, and they carry checksums.
    with h5py.File(
        secrets.token_hex(), "w", driver="core", backing_store=False, block_size=1 << 20,
        libver=("v108", "v108"), track_order=True,
    ) as file:  # fmt: skip
        layout.write(file, result)
        file.flush()
        return file.id.get_file_image()


def _sealed(content: bytes) -> bytes:
    return content + f"\nstrongmotion seal sha256 {hashlib.sha256(content).hexdigest()}\n".encode()


def _check_seal(content: bytes) -> None:
    body, seal = content[:-SEAL_LENGTH], _SEAL.fullmatch(content[-SEAL_LENGTH:])
    if seal and seal[1].decode() == hashlib.sha256(body).hexdigest():
        return
    if not content.startswith(b"\x89HDF\r\n\x1a\n"):
        raise ArchiveError("is not an HDF5 file, or its beginning is damaged", remedy=layout.RESTORE)
    # Say what is wrong in the file's own terms where it can be told.
    with opened(io.BytesIO(content)) as file:
        layout.check_layout(file)
        layout.read(file)
    raise ArchiveError(
        "was changed after it was written: its bytes do not match its seal"
        if seal
        else "has no seal: it was cut off, or written anew by another program",
        remedy=layout.RESTORE,
    )


def write_whole(path: Path, content: bytes, replace: bool) -> None:
    """Write a file so that it is there whole, under its name, or not at all.

    Parameters
    ----------
    path : Path
    content : bytes
    replace : bool
        Whether an earlier file may be replaced.

    Raises
    ------
    ArchiveError
        The file is there already, or the system cannot write it; no trace is left then.
    """
    part = path.with_name(f".{path.name}.{secrets.token_hex(6)}.part")
    try:
        try:
            _write_to_disk(part, content)
            if replace:
                part.replace(path)
            else:
                _name_once(part, path)
            _flush_folder(path.parent)
        finally:
            with contextlib.suppress(OSError):
                part.unlink(missing_ok=True)
    except FileExistsError:
        raise _already_there(path) from None
    except OSError as error:
        full = error.errno in (errno.ENOSPC, errno.EDQUOT, errno.EFBIG)
        raise ArchiveError(
            f"could not be written: {error.strerror}; nothing of it was kept",
            source=str(path),
            remedy="Make room on the disk and run again" if full else "Check the folder and its permissions",
        ) from error


def _write_to_disk(path: Path, content: bytes) -> None:
    descriptor = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0), 0o666)
    try:
        rest = memoryview(content)
        while rest:
            rest = rest[os.write(descriptor, rest) :]
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


def _name_once(part: Path, path: Path) -> None:
    """Give `part` its name unless that name is taken, as one act: of two writers one is refused."""
    try:
        os.link(part, path)
    except FileExistsError:
        raise
    except OSError:
        # Some file systems have no hard links. There a second writer within microseconds could win unseen.
        if path.exists():
            raise FileExistsError(errno.EEXIST, os.strerror(errno.EEXIST), str(path)) from None
        part.rename(path)


def _flush_folder(folder: Path) -> None:
    if os.name == "nt":  # Windows has no handle on a folder to flush
        return
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


def _already_there(path: Path) -> ArchiveError:
    return ArchiveError(
        f"record {path.stem} is already in the archive",
        source=str(path),
        remedy="Pass replace=True to put the new result in its place, or choose another archive",
    )
