"""One file of an archive: packed, sealed, written whole or not at all, and checked when it is read."""

from __future__ import annotations

import contextlib
import hashlib
import io
import re
import secrets
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import h5py

from ..foundation.errors import ArchiveError, StrongMotionError
from . import layout

if TYPE_CHECKING:
    from ..result import Result

__all__ = [
    "SEAL_LENGTH",
    "already_there",
    "check_name",
    "opened",
    "packed",
    "read_result",
    "sealed_bytes",
]

_SEAL = re.compile(rb"\nstrongmotion seal sha256 ([0-9a-f]{64})\n")
SEAL_LENGTH = 91


def read_result(path: str | Path) -> Result:
    """Read one file of an archive, after checking every byte of it against its seal.

    Raises
    ------
    ArchiveError
        The file cannot be read, is damaged, foreign, or of a newer layout.
    """
    content = sealed_bytes(path)
    try:
        with opened(io.BytesIO(content)) as file:
            return layout.read(file)
    except ArchiveError as error:
        raise error.at(str(path)) from error


def check_name(path: Path, record_id: str) -> None:
    """Raise an `ArchiveError` if a file is named for another record than it holds."""
    if path.stem != record_id:
        raise ArchiveError(f"holds record {record_id}", source=str(path), remedy="Give the file its name back")


def sealed_bytes(path: str | Path) -> bytes:
    """Return the bytes of one file of an archive, checked against its seal.

    Raises
    ------
    ArchiveError
        The file cannot be read, is damaged or foreign.
    """
    try:
        content = Path(path).read_bytes()
    except OSError as error:
        raise ArchiveError(f"cannot be read: {error.strerror}", source=str(path), remedy=layout.RESTORE) from None
    try:
        _check_seal(content)
    except ArchiveError as error:
        raise error.at(str(path)) from error
    return content


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


def packed(result: Result) -> bytes:
    """Return a result as the bytes of its file, seal included."""
    # In memory, so that a full disk is met where the bytes are written, not inside the HDF5 library.
    # HDF5 1.8 structures are what netCDF-4 reads, and they carry checksums.
    with h5py.File(
        secrets.token_hex(), "w", driver="core", backing_store=False, block_size=1 << 20,
        libver=("v108", "v108"), track_order=True,
    ) as file:  # fmt: skip
        layout.write(file, result)
        file.flush()
        content = file.id.get_file_image()
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


def already_there(path: Path) -> ArchiveError:
    """Return the error that a record of this name is there."""
    return ArchiveError(
        f"record {path.stem} is already in the archive",
        source=str(path),
        remedy="Pass replace=True to put the new result in its place, or choose another archive",
    )
