"""One family of errors: each says where, what, and what to do.

Everything the library raises on purpose is a `StrongMotionError`, so a script can catch the family, and the
command line can print one line and go on with the next record.
"""

from __future__ import annotations

from typing import Self

__all__ = ["ArchiveError", "InputError", "RecordError", "SettingsError", "StrongMotionError"]


class StrongMotionError(Exception):
    """Base of all errors raised on purpose.

    Parameters
    ----------
    what : str
        What was expected and what was found, a sentence without its full stop.
    source : str, optional
        The file, array or setting it was found in.
    line : int, optional
        Line in `source`, counted from 1.
    field : str, optional
        The quantity it concerns, such as ``"azimuth"`` or ``"filter.low_cut"``.
    remedy : str, optional
        What the reader can do about it, a sentence without its full stop.

    Examples
    --------
    >>> print(StrongMotionError("the file is empty", source="quay.csv", remedy="Copy it again"))
    quay.csv: the file is empty. Copy it again.
    """

    def __init__(
        self,
        what: str,
        *,
        source: str | None = None,
        line: int | None = None,
        field: str | None = None,
        remedy: str | None = None,
    ) -> None:
        self.what = what
        self.source = source
        self.line = line
        self.field = field
        self.remedy = remedy
        super().__init__(str(self))

    def __str__(self) -> str:
        place = [str(self.source)] if self.source else []
        if self.line is not None:
            place.append(f"line {self.line}")
        text = ", ".join(place) + (": " if place else "") + self.what.rstrip(".") + "."
        return f"{text} {self.remedy.rstrip('.')}." if self.remedy else text

    def __reduce__(self) -> tuple:
        # Errors travel back from worker processes: rebuild them from their parts, not from the printed line.
        return _rebuild, (type(self), self.what, self.source, self.line, self.field, self.remedy)

    def at(self, source: str | None, line: int | None = None) -> Self:
        """Return the same error at another place: the file, and the line where there is one."""
        return type(self)(self.what, source=source, line=line, field=self.field, remedy=self.remedy)


def _rebuild(
    kind: type[StrongMotionError],
    what: str,
    source: str | None,
    line: int | None,
    field: str | None,
    remedy: str | None,
) -> StrongMotionError:
    return kind(what, source=source, line=line, field=field, remedy=remedy)


class RecordError(StrongMotionError):
    """A file cannot be read as a record, or a record cannot be processed."""


class SettingsError(StrongMotionError):
    """A setting or a layout is unknown, of the wrong type, or out of range."""


class ArchiveError(StrongMotionError):
    """An archive cannot be written, or a file in it is damaged or foreign."""


class AbsentError(ArchiveError, KeyError):
    """An archive has no such record, or several records begin with what was given."""

    __str__ = ArchiveError.__str__


class InputError(StrongMotionError, ValueError):
    """A number or array handed to a function is not what its documentation allows."""
