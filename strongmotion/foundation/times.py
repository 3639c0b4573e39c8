"""Instants of time from text: one parser for files, options and picks."""

from __future__ import annotations

import re

import numpy as np

__all__ = ["instant_in"]

_INSTANT = re.compile(
    r"(\d{4}-\d\d-\d\d)(?:[T ](\d\d:\d\d(?::\d\d(?:\.\d{1,9})?)?))?\s*(?:Z|UTC|([+-])(\d\d):?(\d\d))?", re.ASCII
)


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
