"""A record as PDF, for paper and for files: a summary on two pages, then the same as on its page."""

from __future__ import annotations

import io
import textwrap
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import matplotlib
from matplotlib.backends.backend_pdf import PdfPages
from matplotlib.figure import Figure

from .. import __version__
from ..foundation.cautions import CAUTION
from ..foundation.files import write_whole
from ..foundation.units import acceleration_unit
from .figures import FIGURES
from .style import STYLES, place, printable
from .summary import PAPERS, Prints, summary_pages
from .tables import (
    DAGGER,
    SEVERITIES,
    Cell,
    facts,
    headline_table,
    history_values,
    measures_table,
    most_severe_first,
    spectra_table,
)

if TYPE_CHECKING:
    from ..result import Result
    from .page import Surroundings

__all__ = ["is_stamped", "write_pdf"]

LINES, COLUMNS = 68, 96
"""Of text on a page of either paper."""


def write_pdf(
    result: Result,
    path: str | Path,
    unit: str = "m/s2",
    around: Surroundings | None = None,
    prints: Prints | None = None,
    stamp: str = "",
) -> Path:
    """Write a record as PDF, whole or not at all: its summary on two pages, and unless that is all, the full record.

    Parameters
    ----------
    result : Result
    path : str or Path
    unit : {"m/s2", "cm/s2", "g"}
        Of acceleration.
    around : Surroundings, optional
        Versions and decisions of the record in its archive.
    prints : Prints, optional
        Paper and target. The full record follows where its `full` asks for it, which it does if not given: findings,
        numbers, figures, tables and history.
    stamp : str
        Kept in the file, for `is_stamped`.

    Returns
    -------
    Path

    Raises
    ------
    ArchiveError
        The file cannot be written.
    InputError
        `unit` is not one of acceleration.
    """
    unit = acceleration_unit(unit)
    prints = prints or Prints(full=True)
    path = Path(path)
    content = io.BytesIO()
    about = {"Title": place(result.record), "Subject": CAUTION, "Creator": f"strongmotion {__version__}"}
    if stamp:
        about["Keywords"] = stamp
    with (
        matplotlib.rc_context({"pdf.fonttype": 42}),
        PdfPages(content, metadata={**about, "CreationDate": None}) as pages,
    ):
        for figure in summary_pages(result, unit, around, prints.paper, prints.target):
            pages.savefig(figure)
        if prints.full:
            paper = PAPERS[prints.paper]
            for figure in (
                *_text_pages(_front(result, unit), paper),
                *_figures(result, unit, paper),
                *_text_pages(_back(result, unit), paper),
            ):
                pages.savefig(figure)
    write_whole(path, content.getvalue(), replace=True)
    return path


def is_stamped(path: Path, stamp: str) -> bool:
    """Tell whether a PDF is there that was written with this stamp."""
    try:
        return stamp.encode() in path.read_bytes()
    except OSError:
        return False


def _figures(result: Result, unit: str, paper: tuple[float, float]) -> Iterator[Figure]:
    """Draw each figure, a page each."""
    for entry in FIGURES:
        if entry.needs(result):
            figure = entry.drawn(result, unit)
            figure.set_size_inches(paper[1], paper[0])
            yield figure


def _front(result: Result, unit: str) -> Iterator[str]:
    yield place(result.record)
    yield ""
    for caution in result.cautions:
        yield from _wrapped(caution)
    yield from ("", "WHAT THE CHECKS FOUND", "")
    for finding in sorted(result.findings, key=most_severe_first):
        where = " ".join(part for part in (finding.component, finding.where) if part)
        yield from _wrapped(f"{SEVERITIES[finding.severity]}. {finding.name}{f' ({where})' if where else ''}:")
        yield from _wrapped(f"{finding.said(unit)}. What it does: {finding.effect}. What to do: {finding.remedy}.", 4)
        yield ""
    if not result.findings:
        yield from ("No problems found.", "")
    yield from ("THE NUMBERS", "")
    columns, rows = headline_table(result, unit)
    yield from _table(["", *columns], [[name, *(_cell(cell) for cell in cells)] for name, _, cells in rows])
    yield from _wrapped(f"{DAGGER}. In brackets: the 5 to 95 % band under other choices of processing.")
    yield ""
    yield from ("THE RECORD", "")
    for what, value in facts(result.record):
        yield from _wrapped(f"{what}: {value}")


def _back(result: Result, unit: str) -> Iterator[str]:
    yield from ("MEASURES", "")
    columns, rows = measures_table(result, unit)
    yield from _table(["", *columns], [[name, *(_cell(cell) for cell in cells)] for name, _, cells, _ in rows])
    sources = dict.fromkeys(f"{name.split(',')[0]}: {source}" for name, _, _, source in rows)
    yield ""
    for line in sources:
        yield from _wrapped(line)
    columns, ordinates, what = spectra_table(result, unit)
    yield from ("", "RESPONSE SPECTRA", f"{what}. {DAGGER}", "")
    yield from _table(
        ["Period, s", *columns], [[period, *(_cell(cell) for cell in cells)] for period, cells in ordinates]
    )
    yield from ("", "PROCESSING HISTORY", "")
    for entry in result.history:
        yield from _wrapped(f"{entry.step}{f', {entry.component}' if entry.component else ''}: {entry.what}.")
        yield from _wrapped("; ".join(f"{key} {value}" for key, value in history_values(entry, unit)), 4)
    yield from ("", "SETTINGS", "")
    for line in result.settings.to_toml().splitlines():
        yield from _wrapped(line)


def _cell(cell: Cell) -> str:
    return f"{cell.value}{cell.mark}{f' ({cell.band})' if cell.band else ''}"


def _wrapped(text: str, indent: int = 0) -> list[str]:
    blank = " " * indent
    return textwrap.wrap(
        printable(text), COLUMNS, initial_indent=blank, subsequent_indent=blank + "  ", replace_whitespace=True
    ) or [""]


def _table(columns: list[str], rows: list[list[str]]) -> Iterator[str]:
    """Lay a table out; one too wide for the page is parted by its columns, each part with the first."""
    widths = [max(len(row[i]) for row in [columns, *rows]) for i in range(len(columns))]
    parts: list[list[int]] = [[]]
    for i in range(1, len(columns)):
        if parts[-1] and widths[0] + sum(widths[k] + 2 for k in [*parts[-1], i]) > COLUMNS:
            parts.append([])
        parts[-1].append(i)
    for part in parts:
        for row in [columns, *rows]:
            yield f"{row[0]:<{widths[0]}}" + "".join(f"  {row[i]:>{widths[i]}}" for i in part)
        yield ""


def _text_pages(lines: Iterator[str], paper: tuple[float, float]) -> Iterator[Figure]:
    """Set lines of text, a figure a page, with the caution at its foot."""
    look, every = STYLES["light"], list(lines)
    for first in range(0, len(every), LINES):
        figure = Figure(figsize=paper, facecolor=look.paper)
        figure.text(
            0.08, 0.95, "\n".join(every[first : first + LINES]), family="monospace", fontsize=7.6, va="top",
            linespacing=1.35, color=look.ink, parse_math=False,
        )  # fmt: skip
        figure.text(0.5, 0.03, CAUTION, ha="center", fontsize=7, color=look.faint)
        yield figure
