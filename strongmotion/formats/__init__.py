"""From a file to a record. One file a format; the format is told from the content, never from the name."""

from __future__ import annotations

import codecs
import hashlib
import math
import stat
from collections.abc import Callable
from pathlib import Path
from typing import Literal, NamedTuple

from ..errors import InputError, RecordError
from ..record import Record
from ..units import acceleration_unit
from . import csv
from .csv import write_csv
from .header import Reading
from .layout import Layout, load_layout, read_text, ready_layouts, write_text

__all__ = ["read", "write_csv", "write_text"]

LARGEST_FILE = 100_000_000
LONGEST_LINE = 1_000_000
MOST_LINES = 20_000_000
_HEAD = 65_536


class Format(NamedTuple):
    """One kind of file: its name, whether the start of a file is of it, and its reader."""

    name: str
    recognises: Callable[[bytes], bool]
    read: Callable[[Reading], Record]


def read(
    path: str | Path,
    *,
    layout: str | Path | None = None,
    common_window: bool = False,
    missing: Literal["refuse", "truncate"] = "refuse",
    unit: str | None = None,
    sensitivity: float | None = None,
) -> Record:
    """Read a file as a record.

    Parameters
    ----------
    path : str or Path
        The file; ``~`` is the home folder.
    layout : str or Path, optional
        A layout file (TOML) that says how a text file is laid out, or the name of a ready layout.
    common_window : bool
        Cut components of unequal length or start to the time span they share; a finding says so.
    missing : {"refuse", "truncate"}
        What to do with a file that holds fewer samples than it declares. ``"truncate"`` reads what is there and adds
        a finding.
    unit : str, optional
        The unit of the samples, when the file does not state it or is wrong; a finding says if it differs.
    sensitivity : float, optional
        Counts per m/s² of every component, likewise.

    Returns
    -------
    Record
        Samples bit for bit as in the file, integers as integers.

    Raises
    ------
    RecordError
        The file cannot be read, is of no known format, or does not hold a sound record; the message names the line.
    SettingsError
        The layout is not sound.
    InputError
        Another argument is not one of those allowed.

    Examples
    --------
    >>> record = read("quay.csv")  # doctest: +SKIP
    >>> record.names  # doctest: +SKIP
    ('H1', 'H2', 'V')
    """
    if missing not in ("refuse", "truncate"):
        raise InputError(f"missing must be 'refuse' or 'truncate', found {missing!r}")
    if unit is not None:
        unit = acceleration_unit(unit)
    if sensitivity is not None and not (math.isfinite(sensitivity) and sensitivity != 0):
        raise InputError(f"sensitivity must be a number other than 0, found {sensitivity}")
    chosen = None if layout is None else _text_format(load_layout(layout))
    file = Path(path)
    data = _content(file)
    digest = hashlib.sha256(data).hexdigest()
    data = data.removeprefix(codecs.BOM_UTF8)
    if b"\r" in data:
        data = data.replace(b"\r\n", b"\n").replace(b"\r", b"\n")
    reading = Reading(file.name, data, digest, unit, sensitivity, missing, common_window)
    _check_size_of_lines(reading)
    return _format_of(reading, chosen).read(reading)


def _formats() -> list[Format]:
    """Return all formats, in the order in which they are tried."""
    texts = [_text_format(load_layout(name)) for name in ready_layouts()]
    return [*texts, Format("CSV", csv.recognises, csv.read_csv)]


def _text_format(layout: Layout) -> Format:
    return Format(f"text, layout {layout.name}", layout.recognises, lambda reading: read_text(reading, layout))


def _format_of(reading: Reading, chosen: Format | None) -> Format:
    head = reading.data[:_HEAD]
    if chosen is not None:
        if chosen.recognises(head):
            return chosen
        raise reading.error(
            f"the file does not look like {chosen.name}: its `recognise` pattern is not in the first lines",
            remedy="Give the layout that fits, or correct its pattern",
        )
    tried = _formats()
    for form in tried:
        if form.recognises(head):
            return form
    raise reading.error(
        f"the file is of no known format; tried {', '.join(form.name for form in tried)}",
        remedy="For a text file write a layout (TOML) and read it with layout=; a CSV needs a row that names its "
        "columns, such as: time [s],H1 [g]",
    )


def _content(file: Path) -> bytes:
    """Return the bytes of a file that may be a record."""
    try:
        file = file.expanduser()
        about = file.stat()
        if stat.S_ISDIR(about.st_mode):
            raise RecordError("this is a folder, not a file", source=str(file), remedy="Name a file in it")
        if not stat.S_ISREG(about.st_mode):
            raise RecordError("this is not an ordinary file", source=str(file), remedy="Copy it to a file first")
        with file.open("rb") as stream:
            data = stream.read(LARGEST_FILE + 1) if about.st_size <= LARGEST_FILE else None
    except FileNotFoundError:
        raise RecordError("no such file", source=str(file), remedy="Check its name and folder") from None
    except PermissionError:
        raise RecordError(
            "no permission to read the file", source=str(file), remedy="Ask its owner, or copy it"
        ) from None
    except (OSError, ValueError, RuntimeError) as error:  # a damaged disk, a name no system allows, no such home
        what = f"the file cannot be read ({getattr(error, 'strerror', None) or error})"
        raise RecordError(what, source=str(file), remedy="Check its name and the disk it is on") from None
    if data is None or len(data) > LARGEST_FILE:
        raise RecordError(
            f"the file is {about.st_size / 1e6:.0f} MB, a record has at most {LARGEST_FILE / 1e6:.0f} MB",
            source=file.name,
            remedy="Split it into one file for each event",
        )
    if not data:
        raise RecordError("the file is empty", source=file.name, remedy="Copy it again from its source")
    return data


def _check_size_of_lines(reading: Reading) -> None:
    """Refuse what is no text of sensible lines, before any of it is taken apart."""
    data = reading.data
    if (at := data.find(b"\0")) >= 0:
        line, byte = reading.place(at)
        raise reading.error(
            f"byte {byte} of the line is 0, so this is a binary file or a damaged text",
            line,
            "Convert it to CSV or to text with a layout",
        )
    begin = 0
    while len(data) - begin > LONGEST_LINE:
        end = data.rfind(b"\n", begin, begin + LONGEST_LINE)
        if end < 0:
            raise reading.error(
                f"the line is longer than {LONGEST_LINE} characters",
                data.count(b"\n", 0, begin) + 1,
                "Check that the file is what it should be",
            )
        begin = end + 1
    if (lines := data.count(b"\n")) > MOST_LINES:
        raise reading.error(
            f"the file has {lines} lines, at most {MOST_LINES} are read",
            remedy="Split it into one file for each event",
        )
