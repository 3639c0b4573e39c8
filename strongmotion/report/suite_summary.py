"""Two pages on a suite, for a client: what was asked, factors, peaks, what is said of each record, spectra, motion.

What has no room is counted, and stands on the suite's page.
"""

from __future__ import annotations

import io
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import matplotlib
import numpy as np
from matplotlib.backends.backend_pdf import PdfPages

from .. import __version__
from ..foundation.cautions import CAUTION, CAUTIONS
from ..foundation.errors import InputError
from ..foundation.files import write_whole
from ..foundation.units import acceleration_unit, in_unit, label
from ..record import PEAKS
from .decimate import peaks_kept
from .happened import instant
from .paper import LARGE, LEADING, MARGIN, NORMAL, SMALL, PaperSheet, known_paper, lines_of
from .style import STYLES, quieten
from .suite_figure import short_names, suite_figure
from .suite_page import suite_facts
from .tables import DAGGER, Cell, at_least, band_words, doubts_of, number
from .verdict import Verdict, verdict_of

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from ..archive import Standing
    from ..result import Result
    from ..spectra import TargetSpectrum
    from ..suite import Comparison, Selection, SuiteSpectra

__all__ = ["Member", "scaled_peak", "suite_summary_pages", "write_suite_summary"]

ROOM = 12
"""Records that the two pages have room for."""

BLANK = "–"


@dataclass(frozen=True)
class Member:
    """A record of a suite, and how it stands in its archive where it is of one."""

    result: Result
    standing: Standing | None = None


def suite_summary_pages(
    suite: SuiteSpectra,
    target: TargetSpectrum,
    found: Comparison | Selection,
    members: Sequence[Member],
    unit: str = "g",
    paper: str = "a4",
) -> Iterator[Figure]:
    """Draw the two pages of a suite's summary.

    Parameters
    ----------
    suite : SuiteSpectra
    target : TargetSpectrum
    found : Comparison or Selection
        Of this suite against this target.
    members : sequence of Member
        The records of its table, in that order; those that there is room for are enough.
    unit : {"m/s2", "cm/s2", "g"}
        Of acceleration.
    paper : {"a4", "letter"}

    Yields
    ------
    matplotlib.figure.Figure
        Upright pages: what was asked, factors, scaled peaks with their bands, and what the checks and persons say of
        each record; then scaled spectra with target and mean, scaled horizontal motion of each record, and cautions.

    Raises
    ------
    InputError
        `unit` or `paper` is unknown, or there are fewer members than records that have room.
    """
    unit, paper = acceleration_unit(unit), known_paper(paper)
    rows = found.table.to_dict("records")[:ROOM]
    if len(members) < len(rows):
        raise InputError(f"expected {len(rows)} members, found {len(members)}", source="members")
    names = short_names(found.table["record"].tolist())[: len(rows)]
    shown = list(zip(names, rows, members, strict=False))
    title = f"{len(found.table)} record{'s' if len(found.table) != 1 else ''} against {target.name}"
    sheet = PaperSheet.new(paper, 1, title[:90])
    for line in lines_of(title, sheet.across, LARGE, "bold")[:2]:
        sheet.line(line, LARGE, weight="bold")
    sheet.heading("What was asked, and what came of it")
    for what, value in suite_facts(suite, target, found, unit):
        for number_, line in enumerate(lines_of(value, sheet.across - 130, NORMAL)):
            sheet.at -= NORMAL * LEADING
            if number_ == 0:
                sheet.write(MARGIN, what, sheet.at, colour=STYLES["light"].faint)
            sheet.write(MARGIN + 130, line, sheet.at)
    _table(sheet, suite, shown, unit, len(found.table) - len(rows))
    _said(sheet, shown)
    yield sheet.figure
    yield _second(PaperSheet.new(paper, 2, title[:90]), suite, target, found, shown, unit)


def write_suite_summary(
    suite: SuiteSpectra,
    target: TargetSpectrum,
    found: Comparison | Selection,
    members: Sequence[Member],
    path: str | Path,
    unit: str = "g",
    paper: str = "a4",
) -> Path:
    """Write the summary of a suite as PDF of two pages, whole or not at all; see `suite_summary_pages`.

    Raises
    ------
    ArchiveError
        The file cannot be written.
    InputError
        `unit` or `paper` is unknown, or there are fewer members than records that have room.
    """
    content = io.BytesIO()
    about = {"Title": "Suite of records", "Subject": CAUTION, "Creator": f"strongmotion {__version__}"}
    with (
        matplotlib.rc_context({"pdf.fonttype": 42}),
        PdfPages(content, metadata={**about, "CreationDate": None}) as pages,
    ):
        for figure in suite_summary_pages(suite, target, found, members, unit, paper):
            pages.savefig(figure)
    path = Path(path)
    write_whole(path, content.getvalue(), replace=True)
    return path


Shown = list[tuple[str, dict[Any, Any], Member]]


def _table(sheet: PaperSheet, suite: SuiteSpectra, shown: Shown, unit: str, more: int) -> None:
    """Write a row a record: factor, misfit, and the peaks it has after scaling."""
    sheet.heading(f"Factors, and peaks of {suite.component} after scaling")
    titles = ("Record", "Factor", "Misfit", "Lowest to target", f"PGA, {label(unit)}", "PGV, m/s", "PGD, m")
    ends = [MARGIN + x * sheet.across / 503 for x in (0, 172, 214, 306, 371, 437, 503)]
    sheet.at -= NORMAL * LEADING
    for x, text in zip(ends, titles, strict=True):
        sheet.write(x, text, sheet.at, weight="bold", ha="left" if x == MARGIN else "right")
    faint = STYLES["light"].faint
    for name, row, member in shown:
        sheet.at -= NORMAL * LEADING + 1.5
        misfit = float(row["shape_misfit"] if "shape_misfit" in row else row["misfit"])
        mark = "" if row.get("usable", True) else " †"
        cells = [number(row["factor"]), number(misfit), f"{row['lowest_ratio']:.2f} at {row['lowest_at_s']:g} s{mark}"]
        bands = [_limits(row["factor"], row["factor_low"], row["factor_high"]), "", ""]
        for quantity in PEAKS:
            value, band = scaled_peak(member.result, suite.component, quantity, row["factor"], unit)
            cells.append(value)
            bands.append(band)
        sheet.write(MARGIN, name, sheet.at)
        for x, cell, band in zip(ends[1:], cells, bands, strict=True):
            sheet.write(x, cell, sheet.at, ha="right")
            if band:
                sheet.write(x, band, sheet.at - 7.0 * LEADING, 6.5, ha="right", colour=faint)
        sheet.at -= 7.0 * LEADING
    if more:
        sheet.line(f"and {more} more record{'s' * (more > 1)}: see the page of the suite.", weight="bold")
    sheet.at -= 3.0
    sheet.paragraph(f"Small: limits of 5 and 95 % that the record's own band allows. {DAGGER}.", SMALL, colour=faint)


def _limits(value: float, low: float, high: float) -> str:
    return band_words(value, low, high) if np.isfinite([low, high]).all() else ""


def scaled_peak(result: Result, component: str, quantity: str, factor: float, unit: str) -> tuple[str, str]:
    """Return a peak times the factor as printed, with its mark, and its band."""
    peaks = result.peaks
    its = peaks[(peaks["component"] == component) & (peaks["quantity"] == quantity)]
    if its.empty:
        return BLANK, ""
    row = its.iloc[0]
    times = factor * (in_unit(unit) if row["unit"] == "m/s2" else 1.0)
    # The band of a number that is not for use would mislead.
    ends = [float(row[name]) * times for name in ("value", "band_low", "band_high")]
    band = _limits(*ends) if row["usable"] else ""
    mark = at_least(result, component, quantity)
    doubt = any(quantity in touches.peaks for touches in doubts_of(result, component))
    cell = Cell(f"{mark}{number(float(row['value']) * times)}", band, bool(row["usable"]), doubt)
    return f"{cell.value}{cell.mark}", band


def _said(sheet: PaperSheet, shown: Shown) -> None:
    """Write what the checks and persons say of each record, as far as there is room."""
    sheet.heading("What the checks found, and what was decided by whom")
    for place, (name, row, member) in enumerate(shown):
        verdict = verdict_of(member.result, member.standing)
        lines = [line for text in _sayings(verdict) for line in lines_of(text, sheet.across - 112, SMALL)]
        why = str(row.get("reason", ""))
        lines += lines_of(f"Chosen: {why}.", sheet.across - 112, SMALL) if why else []
        head = lines_of(name, 104, SMALL, "bold")
        needed = max(len(lines), len(head)) * SMALL * LEADING + 2.5
        if sheet.at - needed < sheet.foot + (0.0 if place == len(shown) - 1 else SMALL * LEADING):
            rest = len(shown) - place
            sheet.line(f"and {rest} more record{'s' * (rest > 1)}: see the page of each.", SMALL, weight="bold")
            return
        top = sheet.at
        for line in head:
            sheet.line(line, SMALL, weight="bold")
        sheet.at = top
        for line in lines:
            sheet.line(line, SMALL, indent=112)
        sheet.at = top - needed


def _sayings(verdict: Verdict) -> Iterator[str]:
    decided = verdict.decision
    yield verdict.title + (f", version {verdict.version}" if verdict.version else "") + "."
    for severity, names in verdict.findings:
        yield f"{severity}: {names}."
    if decided is not None:
        yield (
            f"{verdict.state[:1].upper()}{verdict.state[1:]} by {decided.by}, {instant(decided.time)}: {decided.reason}"
        )
    elif verdict.state:
        yield "No person has decided."


def _second(
    sheet: PaperSheet,
    suite: SuiteSpectra,
    target: TargetSpectrum,
    found: Comparison | Selection,
    shown: Shown,
    unit: str,
) -> Figure:
    cautions = [*CAUTIONS, target.caution]
    needed = 22.0 + sum(
        SMALL * LEADING * len(lines_of(caution, sheet.across, SMALL)) for caution in cautions
    )  # fmt: skip
    sheet.heading(f"Scaled spectra of {suite.component}, their mean and the target")
    room = sheet.at - sheet.foot - needed
    (panel,) = sheet.axes(1, 1, 0.46 * room, (0.0, 0.0))
    factors = dict(zip(found.table["record"], found.table["factor"], strict=True))
    sheet.figure.supxlabel(" ", fontsize=1)
    suite_figure(suite, target, factors, found.period_range, unit, axes=panel)
    panel.tick_params(labelsize=7)
    for text in (panel.xaxis.label, panel.yaxis.label):
        text.set_fontsize(7.5)
    for text in panel.legend_.get_texts():
        text.set_fontsize(7)
    more = "" if len(shown) == len(found.table) else f", {len(shown)} of {len(found.table)} records"
    sheet.heading(f"Horizontal acceleration after scaling, {label(unit)}{more}")
    height = sheet.at - sheet.foot - needed
    panels = sheet.axes(len(shown), 2, height, (0.1, 0.35))
    _motions(panels, shown, unit)
    sheet.heading("Cautions")
    for caution in cautions:
        sheet.paragraph(caution, SMALL)
    return sheet.figure


def _motions(panels: list[Any], shown: Shown, unit: str) -> None:
    """Draw both horizontals of each record times its factor, a row a record on one scale."""
    look = STYLES["light"]
    for place, (name, row, member) in enumerate(shown):
        its = [one for one in ("H1", "H2") if one in member.result.motion] or list(member.result.motion)[:2]
        motions = [member.result.motion[one].unpadded() for one in its]
        factor = row["factor"] * in_unit(unit)
        largest = max(float(np.abs(one.acceleration).max()) for one in motions) * factor or 1.0
        pair = panels[2 * place : 2 * place + 2]
        for panel, one, motion in zip(pair, its, motions, strict=False):
            panel.plot(
                *peaks_kept(motion.time, factor * motion.acceleration, 700), color=look.colour(one), linewidth=0.5
            )
            panel.set_ylim(-1.1 * largest, 1.1 * largest)
            panel.set_yticks([-largest, 0.0, largest], [f"−{number(largest)}", "0", number(largest)])
            panel.set_xlim(float(motion.time[0]), float(motion.time[-1]))
            quieten(panel, look, nbins=None)
            panel.tick_params(labelsize=6.5, labelbottom=place == len(shown) - 1, labelleft=panel is pair[0])
            panel.text(
                0.99, 0.96, f"{name} {one}", transform=panel.transAxes, ha="right", va="top", fontsize=6.5,
                color=look.ink, parse_math=False,
            )  # fmt: skip
            if place == len(shown) - 1:
                panel.set_xlabel("Time after the first sample, s", fontsize=7)
        for panel in pair[len(its) :]:
            panel.set_visible(False)
