"""Files that hold files (zip and tar archives, workbooks), and names for the kinds of file that are not read.

Members are read in memory, one after another, each as a file of its own; nothing is unpacked to disk. Archives are
treated as hostile: the number of members, the size of each, their total size and their expansion are bounded. Links,
encrypted members, names that lead out of the archive, and nested archives are refused.
"""

from __future__ import annotations

import io
import json
import re
import tarfile
import zipfile
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, time
from pathlib import PurePosixPath
from typing import Any

from ..foundation.errors import RecordError
from .source import LARGEST_FILE, largest_unpacked

__all__ = [
    "LARGEST_OF_ALL",
    "NOT_RECORDS",
    "Member",
    "foreign",
    "is_archive",
    "is_json",
    "is_workbook",
    "members",
    "sheet",
]

NOT_RECORDS = (".md", ".py", ".toml", ".png", ".json", ".html", ".h5", ".npz")
"""Files with these endings are skipped in folders and archives; if named explicitly, they are read."""

MOST_MEMBERS = 10_000
LARGEST_OF_ALL = 5 * LARGEST_FILE
"""Largest total size of an archive's members, bytes."""

_ZIP = (b"PK\x03\x04", b"PK\x05\x06")
_UNPACK = "Unpack the archive, and give the files or their folder"
_MOST_COLUMNS, _MOST_EMPTY = 200, 1000


@dataclass(frozen=True)
class Member:
    """A file in an archive: its bytes or its error. `name` is ``archive.zip!folder/file.txt``."""

    name: str
    data: bytes = b""
    problem: RecordError | None = None


def is_archive(data: bytes) -> bool:
    """Whether the bytes are a zip or tar archive. A workbook is one, too."""
    return data.startswith(_ZIP) or data[257:262] == b"ustar"


def is_workbook(data: bytes) -> bool:
    """Whether the bytes are a workbook (.xlsx)."""
    # In practice the first member has this name; any other workbook is refused as an archive of XML.
    return data.startswith(_ZIP[:1]) and b"[Content_Types].xml" in data[:4096] + data[-65_536:] and b"xl/" in data


def members(name: str, data: bytes) -> Iterator[Member]:
    """Yield the files in a zip or tar archive, except hidden files and those that end in `NOT_RECORDS`.

    Parameters
    ----------
    name : str
        Of the archive.
    data : bytes
        The archive, already decompressed.

    Raises
    ------
    RecordError
        The archive is damaged or too large.
    """
    left = min(LARGEST_OF_ALL, largest_unpacked(len(data)))
    listed = _of_zip(name, data) if data.startswith(_ZIP) else _of_tar(name, data)
    try:
        for member in listed:
            left -= len(member.data)
            if left < 0:
                raise RecordError("the members of the archive are too large in all", source=name, remedy=_UNPACK)
            yield member
    except RecordError:
        raise
    except Exception as error:  # zipfile and tarfile raise many kinds for damage
        what = f"the archive is damaged ({type(error).__name__}: {ascii(str(error))[:80]})"
        raise RecordError(what, source=name, remedy="Copy it again from its source") from None


def _too_many(archive: str) -> RecordError:
    return RecordError(f"the archive has more than {MOST_MEMBERS} members", source=archive, remedy=_UNPACK)


def _wanted(path: str) -> bool:
    parts = PurePosixPath(path.replace("\\", "/")).parts
    hidden = any((part[0] == "." and part not in (".", "..")) or part == "__MACOSX" for part in parts)
    return bool(parts) and not hidden and PurePosixPath(path).suffix.lower() not in NOT_RECORDS


def _refused(name: str, what: str) -> Member:
    return Member(name, problem=RecordError(what, source=name, remedy=_UNPACK))


def _named(archive: str, path: str) -> tuple[str, Member | None]:
    """Return the name of a member, and an error if it leads out of the archive."""
    name = f"{archive}!{path if path.isprintable() and len(path) < 200 else ascii(path)[:200]}"
    out = PurePosixPath(path).is_absolute() or ".." in PurePosixPath(path).parts or "\\" in path or ":" in path
    return name, _refused(name, "the name leads out of the archive") if out else None


def _of_zip(archive: str, data: bytes) -> Iterator[Member]:
    if data.count(b"PK\x01\x02") > MOST_MEMBERS:  # before zipfile makes a list of them
        raise _too_many(archive)
    with zipfile.ZipFile(io.BytesIO(data)) as file:
        for info in file.infolist():
            if info.is_dir() or not _wanted(info.filename):
                continue
            name, refused = _named(archive, info.filename)
            if refused is None and info.flag_bits & 1:
                refused = _refused(name, "it is encrypted")
            if refused is None and info.compress_type not in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED):
                refused = _refused(name, "its compression method is not supported")
            most = min(LARGEST_FILE, largest_unpacked(info.compress_size))
            if refused is None and info.file_size > most:
                refused = _refused(
                    name, f"its uncompressed size is {info.file_size / 1e6:.0f} MB, at most {most / 1e6:.0f} are read"
                )
            if refused is not None:
                yield refused
                continue
            try:
                with file.open(info) as stream:
                    yield Member(name, stream.read(most))
            except Exception as error:  # see `members`; the others may be whole
                yield _refused(name, f"it is damaged ({ascii(str(error))[:80]})")


def _of_tar(archive: str, data: bytes) -> Iterator[Member]:
    with tarfile.open(fileobj=io.BytesIO(data), mode="r:") as file:
        entries = 0
        while (info := file.next()) is not None:
            if (entries := entries + 1) > MOST_MEMBERS:
                raise _too_many(archive)
            if info.isdir() or not _wanted(info.name):
                continue
            name, refused = _named(archive, info.name)
            if refused is None and (not info.isreg() or info.issparse()):
                refused = _refused(name, "it is a link or another special file")
            if refused is None and info.size > LARGEST_FILE:
                refused = _refused(name, f"it has {info.size / 1e6:.0f} MB, at most {LARGEST_FILE / 1e6:.0f} are read")
            stream = None if refused is not None else file.extractfile(info)
            if refused is not None or stream is None:
                yield refused or _refused(name, "it is not a regular file")
                continue
            yield Member(name, stream.read(info.size))


def sheet(name: str, data: bytes) -> bytes:
    """Return the cells of a workbook's only sheet of numbers as text: one line for each row, cells separated by tabs.

    Raises
    ------
    RecordError
        openpyxl is not installed, the workbook is damaged or too large, or the number of sheets with numbers is not
        one.
    """
    try:
        import openpyxl
    except ImportError:
        raise RecordError(
            "reading this workbook needs openpyxl, which is not installed", source=name,
            remedy="Install strongmotion[excel], or save the sheet as CSV",
        ) from None  # fmt: skip
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as file:
            size = sum(info.file_size for info in file.infolist())
        if size > min(LARGEST_OF_ALL, largest_unpacked(len(data))):
            raise RecordError(
                "the workbook is too large when decompressed", source=name, remedy="Save the sheet as CSV"
            )
        book = openpyxl.load_workbook(io.BytesIO(data), read_only=True, data_only=True)
        texts = {one.title: _rows(one) for one in book.worksheets}
        book.close()
    except RecordError:
        raise
    except Exception as error:  # openpyxl raises many kinds for damage
        what = f"the workbook is damaged ({type(error).__name__}: {ascii(str(error))[:80]})"
        raise RecordError(what, source=name, remedy="Open and save it again, or save the sheet as CSV") from None
    numbered = {title: lines for title, (lines, numbers) in texts.items() if numbers > 2}
    if len(numbered) != 1:
        there = ", ".join(ascii(title) for title in list(numbered)[:10])
        what = f"{len(numbered)} sheets hold numbers ({there})" if numbered else "no sheet holds numbers"
        raise RecordError(what, source=name, remedy="Save the sheet that holds the record as CSV")
    return ("\n".join(next(iter(numbered.values()))) + "\n").encode()


def _rows(one: Any) -> tuple[list[str], int]:
    """Return the rows of a sheet as lines, and the number of lines that begin or end with a number."""
    one.reset_dimensions()  # the size that a sheet states for itself may be wrong
    lines: list[str] = []
    numbers = empty = 0
    for row in one.iter_rows(max_col=_MOST_COLUMNS, values_only=True):
        line = "\t".join(map(_cell, row)).rstrip("\t")
        empty = 0 if line else empty + 1
        if empty > _MOST_EMPTY:
            break
        lines.append(line)
        numbers += any(isinstance(cell, int | float) for cell in row)
    return lines[: len(lines) - empty], numbers


def _cell(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, date | time):
        return value.isoformat()
    return repr(value) if isinstance(value, int | float) else " ".join(str(value).split())


_KINDS: tuple[tuple[bytes, str, str], ...] = (
    (b"BZh", "compressed with bzip2", "Decompress it with bunzip2; gzip, zip and tar are read directly"),
    (b"\xfd7zXZ\0", "compressed with xz", "Decompress it with unxz; gzip, zip and tar are read directly"),
    (b"\x28\xb5\x2f\xfd", "compressed with zstd", "Decompress it; gzip, zip and tar are read directly"),
    (b"\x1f\x9d", "compressed with compress", "Decompress it with uncompress; gzip, zip and tar are read directly"),
    (b"7z\xbc\xaf\x27\x1c", "a 7z archive", _UNPACK),
    (b"Rar!\x1a\x07", "a rar archive", _UNPACK),
    (b"%PDF-", "a PDF document", "Give the file of the samples"),
    (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1", "an old-format workbook or document (.xls)", "Save it as .xlsx or CSV"),
    (b"\x89PNG", "a picture", "Give the file of the samples"),
    (b"\xff\xd8\xff", "a picture", "Give the file of the samples"),
    (b"PAR1", "a Parquet file", "Save it as CSV"),
    (b"\x89HDF\r\n\x1a\n", "an HDF5 file", "`strongmotion inspect` shows records of an archive; save others as CSV"),
    (b"MATLAB 5.0", "a MATLAB file", 'Give a layout with format = "matlab" that says where its numbers are (--layout)'),
)  # fmt: skip


def foreign(data: bytes) -> tuple[str, str] | None:
    """Return the kind of an unsupported file and the remedy; None for any other file.

    Examples
    --------
    >>> foreign(b"<!DOCTYPE html><html><title>404 Not found</title>")[0]
    "a web page, titled '404 Not found'"
    """
    for mark, kind, remedy in _KINDS:
        if data.startswith(mark) and (mark != b"BZh" or data[4:10] == b"1AY&SY"):
            return kind, remedy
    head = data[:4096].decode("utf-8", "replace").lstrip("\ufeff \t\r\n")
    if re.match(r"(?i)<!doctype html|<html|<head|<body", head):
        title = re.search(r"(?is)<title[^<>]*>([^<>]{1,200})", head)
        said = f", titled {ascii(' '.join(title[1].split()))[:80]}" if title else ""
        return f"a web page{said}", "It may be an error page instead of the file: download the file again"
    return None


def is_json(data: bytes) -> bool:
    """Whether a text is a JSON document."""
    text = data.strip()
    if text[:1] + text[-1:] not in (b"{}", b"[]"):
        return False
    try:
        json.loads(text)
    except (ValueError, RecursionError):
        return False
    return True
