"""Read the bytes of a possible record from a path or standard input, with limits on size and decompression."""

from __future__ import annotations

import stat
import sys
import zlib
from pathlib import Path
from typing import BinaryIO

from ..foundation.errors import RecordError

LARGEST_FILE = 100_000_000
STANDARD_INPUT = "-"
_GZIP = b"\x1f\x8b"
_GROWTH, _ALLOWANCE = 20, 10_000_000
"""Largest expansion of a compressed file: a factor, plus a number of bytes. Anything larger is an attack."""

_PIECE, _MOST_PARTS = 65_536, 10_000


def content(path: str | Path) -> tuple[str, bytes]:
    """Return the name of a file for messages, and its bytes. ``-`` is standard input; gzip is decompressed.

    Raises
    ------
    RecordError
        The file cannot be read, is empty, too large or not a regular file, or its compression is damaged.
    """
    name, data = stored(path)
    return name, unpacked(name, data)


def stored(path: str | Path) -> tuple[str, bytes]:
    """Return the name of a file and its bytes as stored."""
    if str(path) == STANDARD_INPUT:
        data = _to_end(sys.stdin.buffer)
        name, size = "standard input", len(data)
    else:
        name, size, data = _of_file(Path(path))
    if size > LARGEST_FILE:
        more = "over " if name == "standard input" else ""
        raise RecordError(
            f"the file is {more}{min(size, 10**15) / 1e6:.0f} MB, a record has at most {LARGEST_FILE / 1e6:.0f} MB",
            source=name,
            remedy="Split it into one file for each event",
        )
    if not data:
        raise RecordError("the file is empty", source=name, remedy="Copy it again from its source")
    return name, data


def largest_unpacked(size: int) -> int:
    """Return the largest uncompressed size accepted, bytes."""
    return _GROWTH * size + _ALLOWANCE


def unpacked(name: str, data: bytes) -> bytes:
    """Return the bytes of a file, decompressed if they are gzip."""
    if not data.startswith(_GZIP):
        return data
    most = min(LARGEST_FILE, largest_unpacked(len(data)))
    parts: list[bytes] = []
    size = at = count = 0
    while at < len(data) and (data[at] or data[at:].strip(b"\0")):
        begin, count = at, count + 1
        if count > _MOST_PARTS:
            raise RecordError(
                f"the file has more than {_MOST_PARTS} gzip parts",
                source=name,
                remedy="Decompress and inspect it; records are not stored this way",
            )
        unpacker = zlib.decompressobj(wbits=31)
        while not unpacker.eof:
            # In pieces, because the rest of the last piece after the end of the part is copied.
            piece = data[at : at + _PIECE]
            if not piece:
                raise RecordError(
                    "the gzip data are truncated at the end of the file",
                    source=name,
                    remedy="Copy it again from its source",
                )
            try:
                part = unpacker.decompress(piece, most - size + 1)
            except zlib.error:
                raise RecordError(
                    f"the gzip data are damaged in the part that begins at byte {begin + 1}",
                    source=name,
                    remedy="Copy it again from its source",
                ) from None
            at += len(piece)
            size += len(part)
            parts.append(part)
            if size > most:
                raise RecordError(
                    f"the file exceeds {most / 1e6:.0f} MB when decompressed",
                    source=name,
                    remedy="Decompress and inspect it; records are smaller",
                )
        at -= len(unpacker.unused_data)
    if not size:
        raise RecordError("the file is empty after decompression", source=name, remedy="Copy it again from its source")
    return b"".join(parts)


def _of_file(file: Path) -> tuple[str, int, bytes]:
    try:
        file = file.expanduser()
        about = file.stat()
        if stat.S_ISDIR(about.st_mode):
            raise RecordError("this is a folder, not a file", source=str(file), remedy="Name a file in it")
        if not stat.S_ISREG(about.st_mode):
            raise RecordError("this is not a regular file", source=str(file), remedy="Copy it to a file first")
        if about.st_size > LARGEST_FILE:
            return file.name, about.st_size, b""
        with file.open("rb") as stream:
            data = stream.read(about.st_size + 1)
        return file.name, len(data), data
    except FileNotFoundError:
        raise RecordError("no such file", source=str(file), remedy="Check its name and folder") from None
    except PermissionError:
        raise RecordError(
            "no permission to read the file", source=str(file), remedy="Ask its owner, or copy it"
        ) from None
    except (OSError, ValueError, RuntimeError) as error:  # a damaged disk, a name that is not allowed, no such home
        what = f"the file cannot be read ({getattr(error, 'strerror', None) or error})"
        raise RecordError(what, source=str(file), remedy="Check its name and the disk it is on") from None


def _to_end(stream: BinaryIO) -> bytes:
    """Return the content of a stream, cut just above the size limit."""
    parts, size = [], 0
    while size <= LARGEST_FILE and (part := stream.read(1 << 20)):
        parts.append(part)
        size += len(part)
    return b"".join(parts)
