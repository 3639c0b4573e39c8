"""Names of files in an archive."""

from __future__ import annotations

import re

import numpy as np

__all__ = ["id_of_file", "start_in_id", "version_of_file"]

_ID = r"[A-Za-z0-9_-][A-Za-z0-9._~-]{0,200}"
_VERSION = re.compile(rf"({_ID})\.v([1-9][0-9]{{0,8}}-[0-9a-f]{{8}})\.h5")
_EARLIER = re.compile(rf"({_ID})\.h5")
_START = re.compile(r"_(\d{4})(\d\d)(\d\d)T(\d\d)(\d\d)(\d\d(?:\.\d{3})?)(?:~[0-9a-f]+)?$")


def version_of_file(name: str) -> tuple[str, str] | None:
    """Return the record and the version that a file is named for, or None.

    Examples
    --------
    >>> version_of_file("XX.QUAY_20310307T041500.v2-1f0c9a7e.h5")
    ('XX.QUAY_20310307T041500', '2-1f0c9a7e')
    """
    found = _VERSION.fullmatch(name)
    return (found[1], found[2]) if found else None


def id_of_file(name: str, earlier: bool) -> str | None:
    """Return the record a file is named for, or None; `earlier` layouts had no versions."""
    found = _VERSION.fullmatch(name) or (_EARLIER.fullmatch(name) if earlier else None)
    return found[1] if found else None


def start_in_id(record_id: str) -> np.datetime64 | None:
    """Return the start that a record's id holds, to the ms; None where it holds none.

    Examples
    --------
    >>> str(start_in_id("XX.QUAY..HN_20310307T041500.250"))
    '2031-03-07T04:15:00.250'
    >>> start_in_id("quay_0123456789") is None
    True
    """
    found = _START.search(record_id)
    if found is None:
        return None
    year, month, day, hour, minute, second = found.groups()
    try:
        return np.datetime64(f"{year}-{month}-{day}T{hour}:{minute}:{second}", "ms")
    except ValueError:
        return None
