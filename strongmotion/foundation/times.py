"""Instants of time from text: one parser for files, options and picks."""

from __future__ import annotations

import re

import numpy as np

__all__ = ["instant_in", "leap_seconds_between"]

_INSTANT = re.compile(
    r"(\d{4}-\d\d-\d\d)(?:[T ](\d\d:\d\d(?::\d\d(?:\.\d{1,9})?)?))?\s*(?:Z|UTC|([+-])(\d\d):?(\d\d))?", re.ASCII
)

_LEAPS = np.array(
    [
        f"{year}-{half}-01"
        for half, years in (
            ("07", (1972, 1981, 1982, 1983, 1985, 1992, 1993, 1994, 1997, 2012, 2015)),
            ("01", (*range(1973, 1981), 1988, 1990, 1991, 1996, 1999, 2006, 2009, 2017)),
        )
        for year in years
    ],
    dtype="datetime64[ns]",
)
"""The days that began after a leap second (IERS, Bulletin C; none has been announced after that of 2016)."""


def leap_seconds_between(begin: np.datetime64, end: np.datetime64) -> int:
    """Return the number of leap seconds after `begin` and before `end`.

    Instants counted in days of 86400 s, as here and in POSIX, hold none of them, so what lasts from one to the other is
    longer than their difference by so many seconds.

    Examples
    --------
    >>> leap_seconds_between(np.datetime64("2016-12-31T23:59:50"), np.datetime64("2017-01-01T00:00:10"))
    1
    """
    return int(np.count_nonzero((begin < _LEAPS) & (end >= _LEAPS)))


def instant_in(text: str) -> np.datetime64:
    """Return the time an ISO 8601 text means, to the nanosecond; UTC unless it gives its offset.

    Raises
    ------
    ValueError
        It is no such text, or not of 1900 to 2150.
    """
    match = _INSTANT.fullmatch(text)
    if not match or not 1900 <= int(match[1][:4]) <= 2150:  # spans that 64 bits of nanoseconds hold
        raise ValueError(text)
    start = np.datetime64(f"{match[1]}T{match[2] or '00:00'}", "ns")
    if match[3]:
        ahead = np.timedelta64(int(match[4]) * 60 + int(match[5]), "m")
        start = start - ahead if match[3] == "+" else start + ahead
    return start
