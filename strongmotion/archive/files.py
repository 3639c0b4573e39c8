"""One record file: packed and sealed, and read through the gate."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from ..foundation.errors import ArchiveError
from . import gate, layout
from .names import version_of_file

if TYPE_CHECKING:
    from ..record import Record
    from ..result import Result

__all__ = ["check_name", "diagnosed", "earlier_id", "packed", "read_bytes", "read_result", "result_in"]


def packed(result: Result) -> bytes:
    """Return a result as the bytes of its file, seal included: a function of the result alone."""
    return gate.sealed(layout.write(result))


def read_result(path: str | Path) -> Result:
    """Read one file of an archive, after checking every byte of it against its seal.

    Raises
    ------
    ArchiveError
        The file cannot be read, is damaged, foreign, hostile or of a newer layout.

    Examples
    --------
    >>> import strongmotion as sm
    >>> result = sm.process(sm.read("demo_records/quay.csv"))
    >>> import tempfile
    >>> archive = sm.Archive(tempfile.mkdtemp(), create=True)
    >>> path = archive.add(result)
    >>> read_result(path) == result
    True
    """
    return result_in(read_bytes(path)[0], path)


def read_bytes(path: str | Path) -> tuple[bytes, str]:
    """Return the bytes of a record file and their SHA-256; say what is wrong in the file's own terms where it can."""
    content = gate.read_regular(Path(path))
    try:
        return content, gate.check_seal(content)
    except ArchiveError as error:
        raise diagnosed(content, error).at(str(path)) from None


def diagnosed(content: bytes, error: ArchiveError) -> ArchiveError:
    """Return what is wrong with bytes whose seal does not hold: which dataset is missing or damaged, if one is."""
    if content[:8] != b"\x89HDF\r\n\x1a\n":
        return error
    try:
        with gate.passed(content) as file:
            layout.read(file)
    except ArchiveError as found:
        return found
    return error


def result_in(content: bytes, path: str | Path) -> Result:
    """Read a result from sealed bytes."""
    try:
        with gate.passed(content) as file:
            return layout.read(file)
    except ArchiveError as error:
        raise error.at(str(path)) from error


def check_name(path: Path, record: Record, named: str) -> None:
    """Raise an `ArchiveError` if a file is named for another record than it holds.

    An archive adds the first digits of a hash to an id that another record has already; see `Archive.id_for`.
    """
    names = [record.id, named if named.startswith(f"{record.id}~") else record.id]
    if version_of_file(path.name) is None:
        names.append(earlier_id(record))
    if named not in names:
        raise ArchiveError(f"holds record {record.id}", source=str(path), remedy="Give the file its name back")


def earlier_id(record: Record) -> str:
    """Return the id that layouts 1 and 2 gave a record: without instrument, to the whole second."""
    codes = replace(record.station, instrument_code="")
    if record.start is None:
        return replace(record, station=codes).id
    whole = record.start.astype("datetime64[s]")
    return replace(record, station=codes, components=tuple(replace(one, start=whole) for one in record)).id
