"""What the command line prints: tables, counts, complaints and progress."""

from __future__ import annotations

import shutil
import sys
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any, Literal

import typer

if TYPE_CHECKING:
    import pandas as pd

    from ..record import Finding

CATALOGUE_COLUMNS = (
    "record", "pga_H1", "pga_H2", "pga_V", "pgv_RotD50", "psa_0.2s", "psa_1s", "longest_usable", "worst",
)  # fmt: skip


def fitting(cells: pd.DataFrame) -> list[str]:
    """Return the first columns that the terminal is wide enough for; at least one."""
    shown: list[str] = []
    room = shutil.get_terminal_size().columns
    for column in cells:
        room -= 2 + max([len(heading(column)), *cells[column].map(len)])
        if shown and room < 0:
            break
        shown.append(column)
    return shown


def heading(column: str) -> str:
    """Turn a catalogue column into a heading: ``pga_H1_m_s2`` into ``PGA H1 m/s2``."""
    text = column.replace("_m_s2", " m/s2").replace("_cm_s2", " cm/s2").replace("_m_s", " m/s").replace("_", " ")
    for word in ("pga", "pgv", "psa"):
        text = text.replace(word, word.upper())
    return text.replace("longest usable period", "longest period")


def cell(value: Any) -> str:
    """Return a value as it stands in a table: four digits of a number, ``-`` for none."""
    if isinstance(value, float):
        return "-" if value != value else f"{value:.4g}"
    return str(value) if value not in (None, "") else "none"


def show_table(columns: Sequence[str], rows: Sequence[Sequence[str]]) -> None:
    """Print a table: drawn on a terminal, else plain columns that nothing cuts short."""
    if not sys.stdout.isatty():
        lines = [columns, *rows] if any(columns) else rows
        widths = [max(len(line[i]) for line in lines) for i in range(len(columns))]
        for line in lines:
            typer.echo("  ".join(f"{cell:<{width}}" for cell, width in zip(line, widths, strict=True)).rstrip())
        return
    from rich import box
    from rich.console import Console
    from rich.table import Table

    table = Table(box=box.SIMPLE_HEAD, show_header=any(columns), pad_edge=False)
    for index, column in enumerate(columns):
        numbers = any(columns) and index > 0 and all(is_number(row[index]) for row in rows)
        justify: Literal["left", "right"] = "right" if numbers else "left"
        table.add_column(column, overflow="fold", no_wrap=index == 0, justify=justify)
    for row in rows:
        table.add_row(*row)
    Console(markup=False, highlight=False).print(table)


def is_number(text: str) -> bool:
    """Return whether a cell holds a number, or the dash that stands for none."""
    try:
        float(text)
    except ValueError:
        return text == "-"
    return True


def count(number: int, thing: str) -> str:
    """Return a number of things, the noun in its plural where it needs one."""
    return f"{number} {thing}{'s' * (number != 1)}"


def complain(text: str) -> None:
    """Print a line on the error stream."""
    typer.echo(f"strongmotion: {text}", err=True)


class Progress:
    """A bar with rate and remaining time on a terminal; nothing where there is none."""

    def __enter__(self) -> Progress:
        self._bar: Any = None
        if sys.stderr.isatty():
            from rich.console import Console
            from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

            self._bar = Progress(
                BarColumn(), MofNCompleteColumn(), TextColumn("{task.fields[rate]}"), TimeRemainingColumn(),
                TextColumn("left"), console=Console(stderr=True), transient=True,
            )  # fmt: skip
            self._task = self._bar.add_task("", rate="")
            self._bar.start()
        return self

    def __call__(self, finished: int, total: int) -> None:
        """Show how many of all are finished."""
        if self._bar is not None:
            elapsed = self._bar.tasks[0].elapsed or 0.0
            rate = f"{finished / elapsed:.1f} records/s" if finished and elapsed > 0 else ""
            self._bar.update(self._task, completed=finished, total=total, rate=rate)

    def __exit__(self, *_: object) -> None:
        if self._bar is not None:
            self._bar.stop()


def show_findings(findings: Sequence[Finding], unit: str = "m/s2") -> None:
    """Print each finding with its effect and remedy, accelerations in a unit."""
    if not findings:
        typer.echo("No problems found.")
        return
    for finding in findings:
        where = " ".join(part for part in (finding.component, finding.where) if part)
        typer.echo(f"{finding.severity}: {finding.name}{f' ({where})' if where else ''}: {finding.said(unit)}.")
        typer.echo(f"    Effect: {finding.effect}.")
        typer.echo(f"    Remedy: {finding.remedy}.")


def say_stopping() -> None:
    """Say that an interruption was noticed."""
    complain("finishing the records in progress; interrupt again to stop immediately.")
