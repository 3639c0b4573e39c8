"""The one gate that every file of an archive passes before a byte of it is used.

A record file from elsewhere is hostile until it has passed. `read_regular` opens a regular file without following a
link, bounds its size and reads it once; `check_seal` checks its seal. `passed` then lets HDF5 parse those bytes, in
memory, and walks every object before any dataset is read: no soft or external links, no virtual or external storage,
each object linked once, bounded names, ranks, counts, sizes and compression, only plain numbers and texts. Nothing but
the bytes of the file itself can become a number.
"""

from __future__ import annotations

import contextlib
import hashlib
import math
import os
import re
import stat
from collections.abc import Iterator
from contextvars import ContextVar
from pathlib import Path
from typing import Any

import h5py
import numpy as np
from h5py import h5a, h5d, h5f, h5g, h5l, h5o, h5s, h5t, h5z

from ..foundation.errors import ArchiveError, StrongMotionError

__all__ = [
    "LARGEST_FILE",
    "RESTORE",
    "SEAL_LENGTH",
    "attribute",
    "check_seal",
    "describe_odd",
    "passed",
    "read_regular",
    "sealed",
    "texts",
]

RESTORE = "Restore the file from a copy, or process its source again"
"""The remedy for damage."""

LARGEST_FILE = 4 << 30
"""Largest record file, bytes: 400 channels of an hour at 200 Hz have less."""
LARGEST_TEXT = 64 << 20
"""Longest single text, bytes."""
MOST_OBJECTS = 20_000
"""Groups and datasets of a file: 400 channels have about 1700."""
LONGEST_NAME = 255
DEEPEST = 4
MOST_DIMENSIONS = 3
LARGEST_ATTRIBUTE = 1 << 20
LARGEST_CHUNK = 8 << 20
LARGEST_TEXTS = 256 << 20
"""All texts of a dataset together, characters."""
LARGEST_TEXTS_IN_ATTRIBUTE = 4 << 30
"""Texts of an attribute, bytes, if each were as long as all that lies outside datasets."""
EXPANSION = 200
"""Bytes of numbers that a byte of the file may stand for: deflate on a dead channel gives more, so small data have
`EXPANSION_FREE` bytes beside."""
EXPANSION_FREE = 64 << 20

_SEAL = re.compile(rb"\nstrongmotion seal sha256 ([0-9a-f]{64})\n")
SEAL_LENGTH = 91
_PLAIN_NAME = re.compile(rb"[A-Za-z0-9_ -]+")
_SIGNATURE = b"\x89HDF\r\n\x1a\n"

_FILTERS = {h5z.FILTER_DEFLATE: "deflate", h5z.FILTER_SHUFFLE: "shuffle", h5z.FILTER_FLETCHER32: "fletcher32"}
_LAYOUTS = (h5d.COMPACT, h5d.CONTIGUOUS, h5d.CHUNKED)
_LOOSE: ContextVar[int] = ContextVar("loose", default=LARGEST_FILE)
"""Bytes of the file at hand that lie outside datasets."""


# The file


def describe_odd(path: Path) -> str:
    """Say why a name in the folder is no regular file; empty if it is one.

    Nothing is opened, so that no pipe or device is waited for.
    """
    try:
        mode = os.lstat(path).st_mode
    except OSError as error:
        return f"cannot be read: {error.strerror}"
    if stat.S_ISREG(mode):
        return ""
    kinds = (
        (stat.S_ISLNK, "a symbolic link"),
        (stat.S_ISDIR, "a folder"),
        (stat.S_ISFIFO, "a pipe"),
        (stat.S_ISSOCK, "a socket"),
        (stat.S_ISBLK, "a device"),
        (stat.S_ISCHR, "a device"),
    )
    kind = next((name for holds, name in kinds if holds(mode)), "no regular file")
    return f"cannot be read: it is {kind}, and an archive holds regular files only"


def read_regular(path: Path, longest: int = LARGEST_FILE) -> bytes:
    """Read a regular file of at most `longest` bytes, following no link.

    Raises
    ------
    ArchiveError
        It is something else, too long, or cannot be read.

    Examples
    --------
    >>> read_regular(Path("demo_records/quay.csv"))[:2]
    b'# '
    """
    if odd := describe_odd(path):
        raise ArchiveError(odd, source=str(path), remedy="Move it elsewhere, or restore the file from a copy")
    flags = os.O_RDONLY | getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0)
    try:
        descriptor = os.open(path, flags | getattr(os, "O_CLOEXEC", 0))
        try:
            state = os.fstat(descriptor)
            if not stat.S_ISREG(state.st_mode):
                raise ArchiveError("is no regular file", source=str(path), remedy="Move it elsewhere")
            if state.st_size > longest:
                raise ArchiveError(
                    f"has {state.st_size} bytes, more than any record file ({longest})",
                    source=str(path),
                    remedy="Move it elsewhere",
                )
            content = bytearray(state.st_size)
            view, at = memoryview(content), 0
            while at < len(content):
                got = os.readv(descriptor, [view[at:]]) if hasattr(os, "readv") else _read_into(descriptor, view[at:])
                if got == 0:
                    raise ArchiveError("was cut short while it was read", source=str(path), remedy="Read it again")
                at += got
            return bytes(content)
        finally:
            os.close(descriptor)
    except OSError as error:
        raise ArchiveError(f"cannot be read: {error.strerror}", source=str(path), remedy=RESTORE) from None


def _read_into(descriptor: int, view: memoryview) -> int:
    part = os.read(descriptor, min(len(view), 1 << 20))
    view[: len(part)] = part
    return len(part)


def sealed(content: bytes) -> bytes:
    """Return the bytes of an HDF5 file with its seal behind them."""
    return content + f"\nstrongmotion seal sha256 {hashlib.sha256(content).hexdigest()}\n".encode()


def check_seal(content: bytes) -> str:
    """Return the SHA-256 of a sealed file, seal included.

    Raises
    ------
    ArchiveError
        The seal is missing, or is not that of the bytes before it.
    """
    view = memoryview(content)
    body = hashlib.sha256(view[:-SEAL_LENGTH])
    seal = _SEAL.fullmatch(bytes(view[-SEAL_LENGTH:]))
    if seal and seal[1].decode() == body.hexdigest():
        body.update(view[-SEAL_LENGTH:])
        return body.hexdigest()
    if bytes(view[: len(_SIGNATURE)]) != _SIGNATURE:
        raise ArchiveError("is not an HDF5 file, or its beginning is damaged", remedy=RESTORE)
    raise ArchiveError(
        "was changed after it was written: its bytes do not match its seal"
        if seal
        else "has no seal: it was cut off, or written anew by another program",
        remedy=RESTORE,
    )


# What HDF5 makes of it


@contextlib.contextmanager
def passed(content: bytes) -> Iterator[h5py.File]:
    """Parse bytes as HDF5, check every object, and yield the file; whatever goes wrong becomes an `ArchiveError`."""
    file = token = None
    try:
        file = h5py.File(h5f.open_file_image(bytes(content)))
        token = _LOOSE.set(_check_structure(file, len(content)))
        yield file
    except ArchiveError:
        raise
    except StrongMotionError as error:
        raise ArchiveError(
            f"holds what this version of strongmotion does not accept: {error}",
            remedy="Read it with the version it names, or process its source again",
        ) from error
    except (Exception, RecursionError) as error:  # what HDF5 and JSON raise on damaged bytes is of many kinds
        raise ArchiveError(f"is damaged: {error}"[:500], remedy=RESTORE) from error
    finally:
        if token is not None:
            _LOOSE.reset(token)
        if file is not None:
            file.close()


def _refuse(place: str, what: str) -> ArchiveError:
    shown = place if len(place) <= 80 else place[:77] + "..."
    return ArchiveError(f"{shown!r} {what}", remedy="It is not as this software writes: do not use it")


class _Walk:
    """A walk over all objects of a file, with what was met so far."""

    def __init__(self, file_size: int) -> None:
        self.file_size = file_size
        self.seen: set[bytes | int] = set()
        self.declared = 0
        self.stored = 0

    def group(self, group: h5g.GroupID, place: str, depth: int) -> None:
        if depth > DEEPEST:
            raise _refuse(place, "lies deeper than any group of a record")
        count = group.get_num_objs()
        if len(self.seen) + count > MOST_OBJECTS:
            raise _refuse(place or "/", f"holds more than {MOST_OBJECTS} objects")
        for name in _names(group):
            shown = name.decode("utf-8", "replace")
            where = f"{place}/{shown}"
            _check_text_name(name, where)
            link = group.links.get_info(name)
            if link.type == h5l.TYPE_SOFT:
                raise _refuse(where, "is a soft link")
            if link.type != h5l.TYPE_HARD:
                raise _refuse(where, "is an external link")
            # A dataset is opened without touching its storage; its creation properties say where that lies.
            child = h5o.open(group, name)
            address = link.u if isinstance(link.u, int) else int(link.u[0])
            if address in self.seen:
                raise _refuse(where, "is a second link to one object")
            self.seen.add(address)
            if isinstance(child, h5g.GroupID):
                self.group(child, where, depth + 1)
            elif isinstance(child, h5d.DatasetID):
                self.dataset(child, where)
            else:
                raise _refuse(where, "is neither group nor dataset")

    def dataset(self, dataset: h5d.DatasetID, place: str) -> None:
        plan = dataset.get_create_plist()
        layout = plan.get_layout()
        if layout not in _LAYOUTS:
            raise _refuse(place, "is a virtual dataset")
        if plan.get_external_count():
            raise _refuse(place, "keeps its numbers in another file")
        space, kind = dataset.get_space(), dataset.get_type()
        if space.get_simple_extent_type() == h5s.NULL:
            raise _refuse(place, "holds nothing")
        shape = space.get_simple_extent_dims()
        if len(shape) > MOST_DIMENSIONS:
            raise _refuse(place, f"has {len(shape)} dimensions")
        count = math.prod(shape)
        size = _size_of(kind, place)
        stored = dataset.get_storage_size()
        self.stored += stored
        if size == 0:  # texts; `texts` bounds what they unpack to
            self.declared += 16 * count
        else:
            if size > LARGEST_TEXT:
                raise _refuse(place, f"has items of {size} bytes")
            self.declared += size * count
            if count and stored == 0:
                raise _refuse(place, f"declares {count} items and stores none")
        if self.declared > EXPANSION * self.file_size + EXPANSION_FREE:
            raise _refuse(place, f"would unpack to more than a record of {self.file_size} bytes holds")
        if layout == h5d.CHUNKED:
            if math.prod(plan.get_chunk()) * max(size, 16) > max(LARGEST_CHUNK, 2 * self.file_size):
                raise _refuse(place, "has chunks larger than any of a record")
            for number in range(plan.get_nfilters()):
                if plan.get_filter(number)[0] not in _FILTERS:
                    raise _refuse(place, "is packed by an unknown filter")
        elif size and stored < size * count:
            raise _refuse(place, "stores less than it declares")


def attribute(item: Any, name: str, default: Any = None) -> Any:
    """Return an attribute of a group or dataset as h5py gives it, its size checked before it is read."""
    if not h5a.exists(item.id, name.encode()):
        return default
    opened = h5a.open(item.id, name.encode())
    size, count = _size_of(opened.get_type(), f"{item.name}@{name}"), math.prod(opened.shape)
    if len(opened.shape) > 1 or max(size, 1) * count > LARGEST_ATTRIBUTE:
        raise _refuse(item.name, f"has an attribute {name} of {count} items")
    if size == 0 and count * _LOOSE.get() > LARGEST_TEXTS_IN_ATTRIBUTE:
        raise _refuse(item.name, f"has an attribute {name} of {count} texts, which could be too long")
    return item.attrs[name]


def texts(dataset: h5py.Dataset) -> Any:
    """Return a text, or an array of texts, of a dataset; what they unpack to is bounded while they are read.

    Many items may stand for one long text: read at once they could fill any memory.
    """
    decoded = dataset.asstr()
    if dataset.shape == ():
        return decoded[()]
    if dataset.size * _LOOSE.get() <= LARGEST_TEXTS:
        return decoded[...]
    whole, total = np.empty(dataset.shape, dtype=object), 0
    for place in np.ndindex(dataset.shape):
        whole[place] = decoded[place]
        total += len(whole[place])
        if total > LARGEST_TEXTS:
            raise _refuse(dataset.name, "holds texts of more than all memory for them")
    return whole


def _check_structure(file: h5py.File, size: int) -> int:
    """Walk over a file, and return how many of its bytes lie outside datasets: no text can be longer."""
    walk = _Walk(size)
    walk.group(h5g.open(file.id, b"/"), "", 0)
    return max(size - walk.stored, 0) + (1 << 12)


def _names(group: h5g.GroupID) -> list[bytes]:
    return list(group)


def _check_text_name(name: bytes, place: str) -> None:
    if len(name) > LONGEST_NAME:
        raise _refuse(place, f"has a name of {len(name)} bytes")
    if _PLAIN_NAME.fullmatch(name):
        return
    try:
        text = name.decode("utf-8")
    except UnicodeDecodeError:
        raise _refuse(place, "has a name that is not UTF-8") from None
    if text in (".", "..") or "/" in text or any(ord(mark) < 32 or ord(mark) == 127 for mark in text):
        raise _refuse(place, "has a name with path parts or control characters")


def _size_of(kind: h5t.TypeID, place: str) -> int:
    """Return the bytes of one item; 0 for a text of variable length."""
    family = kind.get_class()
    if family in (h5t.INTEGER, h5t.FLOAT):
        if kind.get_size() > 8:
            raise _refuse(place, f"holds numbers of {kind.get_size()} bytes")
        return int(kind.get_size())
    if family == h5t.STRING:
        return 0 if kind.is_variable_str() else int(kind.get_size())
    raise _refuse(place, "holds neither numbers nor texts")
