"""Files written whole or not at all, and brought to disk."""

from __future__ import annotations

import contextlib
import errno
import os
import secrets
from collections.abc import Iterator
from pathlib import Path

from .errors import ArchiveError, StrongMotionError

__all__ = ["flush_folder", "one_at_a_time", "printable", "write_to_disk", "write_whole"]


def write_whole(path: Path, content: bytes, replace: bool, kind: type[StrongMotionError] = ArchiveError) -> None:
    """Write a file so that it is there whole, under its name, or not at all.

    Parameters
    ----------
    path : Path
    content : bytes
    replace : bool
        Whether an earlier file may be replaced.
    kind : type
        The error to raise.

    Raises
    ------
    FileExistsError
        The file exists, and `replace` is false.
    StrongMotionError
        Of the given `kind`: the system cannot write the file. Nothing of it is kept.
    """
    part = path.with_name(f".{path.name}.{secrets.token_hex(6)}.part")
    try:
        try:
            write_to_disk(part, content)
            if replace:
                part.replace(path)
            else:
                _name_once(part, path)
        finally:
            with contextlib.suppress(OSError):
                part.unlink(missing_ok=True)
    except FileExistsError:
        raise FileExistsError(errno.EEXIST, os.strerror(errno.EEXIST), str(path)) from None
    except OSError as error:
        full = error.errno in (errno.ENOSPC, errno.EDQUOT, errno.EFBIG)
        raise kind(
            f"could not be written: {error.strerror}; nothing of it was kept",
            source=str(path),
            remedy="Make room on the disk and run again" if full else "Check the folder and its permissions",
        ) from error
    try:
        flush_folder(path.parent)
    except OSError as error:
        raise kind(
            f"was written, but its folder could not be flushed to disk: {error.strerror}; a power failure may undo it",
            source=str(path),
            remedy="Check the disk, then verify the archive",
        ) from error


def write_to_disk(path: Path, content: bytes) -> None:
    """Make a new file of these bytes and flush it."""
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


@contextlib.contextmanager
def one_at_a_time(lock: Path) -> Iterator[None]:
    """Wait for other processes that hold this lock; where the system or its disk has no locks, go on without."""
    with contextlib.ExitStack() as held:
        with contextlib.suppress(ImportError, OSError):
            import fcntl

            # Neither a link nor a pipe of this name is followed or waited for.
            descriptor = os.open(lock, os.O_RDWR | os.O_CREAT | os.O_NOFOLLOW | os.O_NONBLOCK, 0o666)
            held.callback(os.close, descriptor)
            fcntl.flock(descriptor, fcntl.LOCK_EX)  # falls with the process, however it ends
        yield


def flush_folder(folder: Path) -> None:
    """Bring the names in a folder to disk."""
    if os.name == "nt":  # Windows has no handle on a folder to flush
        return
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    except OSError as error:
        if error.errno not in (errno.EINVAL, errno.ENOTSUP):  # some network file systems do not know how, and need not
            raise
    finally:
        os.close(descriptor)


def printable(path: str | Path) -> str:
    r"""Return a path that any terminal can show: bytes that are no UTF-8 and control characters are escaped.

    Examples
    --------
    >>> printable("a\nb")
    'a\\nb'
    """
    text = os.fsencode(path).decode("utf-8", "backslashreplace")
    shown = "".join(mark if mark.isprintable() else mark.encode("unicode_escape").decode() for mark in text)
    return shown if len(shown) <= 400 else f"{shown[:200]}...{shown[-100:]}"
