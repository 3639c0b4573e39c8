"""Regular expressions that cannot hang, through RE2, whose search time is proportional to the line.

Python's matcher backtracks, which takes unbounded time for some patterns, and a layout may come from anywhere.
Lookaround and back-references, which RE2 does not support, are refused.
"""

from __future__ import annotations

import os
import re
from typing import Any

import re2

MOST_INSTRUCTIONS = 2000


class PatternError(ValueError):
    """Not a valid regular expression, or it uses an unsupported feature."""


class Pattern:
    """A regular expression that is searched in single lines.

    Raises
    ------
    PatternError
        Not a valid regular expression, or it uses an unsupported feature.
    """

    def __init__(self, text: str) -> None:
        if re.search(r"(?<!\\)(\\\\)*\\[Az]", text):
            raise PatternError("use ^ and $ instead of \\A and \\z")
        options = re2.Options()
        options.log_errors = False
        try:
            self._in_line = re2.compile(text, options)
            options.never_nl = True
            self._in_lines = re2.compile(b"(?m)" + text.encode(), options)
        except re2.error as error:
            raise PatternError(error.args[0].decode(errors="replace")) from None
        if self._in_line.programsize > MOST_INSTRUCTIONS:
            raise PatternError("it is too long, or repeats too much")
        self.groups: int = self._in_line.groups
        self._beginning = b""
        if text.startswith("^") and "|" not in text:
            least, most = self._in_line.possiblematchrange(20)
            self._beginning = os.path.commonprefix((least, most))  # noqa: RUF071 -- of bytes, no paths

    def search(self, line: str) -> Any:
        """Return the leftmost match in a line or None, as `re.search` does."""
        return self._in_line.search(line)

    def next(self, data: bytes, begin: int, end: int) -> int | None:
        """Return the span of the next match within a line of UTF-8 text, or None."""
        if self._beginning and not data.startswith(self._beginning, begin, end):
            begin = data.find(b"\n" + self._beginning, begin, end) + 1
            if begin == 0:
                return None
        match = self._in_lines.search(data, begin, end)
        return None if match is None else match.start()
