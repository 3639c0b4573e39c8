"""Two pages on one record, for a client: what may be used, peaks with bands, findings, spectra, motion, decisions.

What has no room is counted, and stands in the full record.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from matplotlib.figure import Figure

from ..record import PEAKS
from .happened import happened, instant
from .motion_figures import motion_figure
from .page import Surroundings
from .paper import LARGE, LEADING, MARGIN, NORMAL, PAPERS, POINTS, SMALL, PaperSheet, known_paper, lines_of
from .spectrum_figures import spectrum_figure
from .style import STYLES, place
from .tables import DAGGER, SEVERITIES, Cell, facts, headline_table, most_severe_first
from .verdict import Verdict, touched, verdict_of

if TYPE_CHECKING:
    from ..result import Result
    from ..spectra import TargetSpectrum

__all__ = ["PAPERS", "Prints", "summary_pages"]

COLUMNS = 5
"""Components and combinations of which the table has room for their numbers."""
DRAWN = 3
"""Components of which the motion has room for its traces."""
TOLD = 7
"""Entries of a record's history that the second page has room for."""

_BANNER = {
    "usable": ("#1d5a2c", "#eef5ef"),
    "usable within": ("#7a4b00", "#fff8ea"),
    "not usable": ("#8c1c13", "#fbe9e7"),
}
_SAID = {"no": "#8c1c13", "in doubt": "#7a4b00", "wide band": "#7a4b00", "at least": "#7a4b00"}


@dataclass(frozen=True)
class Prints:
    """What is written as PDF beside a record's page.

    Parameters
    ----------
    full : bool
        The summary and the full record after it, ``<id>.pdf``.
    summary : bool
        The summary alone, ``<id>.summary.pdf``.
    paper : {"a4", "letter"}
    target : TargetSpectrum, optional
        Drawn with the spectra; of their damping.

    Raises
    ------
    InputError
        There is no such paper.
    """

    full: bool = False
    summary: bool = False
    paper: str = "a4"
    target: TargetSpectrum | None = None

    def __post_init__(self) -> None:
        known_paper(self.paper)

    @property
    def mark(self) -> list[Any]:
        """All that decides what a PDF of these shows, as JSON holds it."""
        target = self.target
        goal = [] if target is None else [target.name, target.damping, target.periods.tolist(), target.psa.tolist()]
        return [self.paper, goal]


def summary_pages(
    result: Result,
    unit: str = "m/s2",
    around: Surroundings | None = None,
    paper: str = "a4",
    target: TargetSpectrum | None = None,
) -> Iterator[Figure]:
    """Draw the two pages of a record's summary.

    Parameters
    ----------
    result : Result
    unit : {"m/s2", "cm/s2", "g"}
        Of acceleration.
    around : Surroundings, optional
        Versions and decisions of the record in its archive.
    paper : {"a4", "letter"}
    target : TargetSpectrum, optional
        To draw with the spectra.

    Yields
    ------
    matplotlib.figure.Figure
        Upright pages: what may be used, peaks with bands and findings; then spectra, motion, decisions and cautions.

    Raises
    ------
    InputError
        `unit` or `paper` is unknown, or the target is of another damping than the spectra.
    """
    paper = known_paper(paper)
    around = around or Surroundings()
    verdict = verdict_of(result, around.standing)
    about = f"{place(result.record)}{f', version {verdict.version}' if verdict.version else ''}"
    yield _first(PaperSheet.new(paper, 1, about), result, unit, verdict)
    yield _second(PaperSheet.new(paper, 2, about), result, unit, around, target)


def _first(sheet: PaperSheet, result: Result, unit: str, verdict: Verdict) -> Figure:
    record = result.record
    for line in lines_of(record.station.name or record.id, sheet.across, LARGE, "bold")[:1]:
        sheet.line(line, LARGE, weight="bold")
    event = record.earthquake
    said = [f"{name}: {value}" for name, value in facts(record)[:6]]
    if event is not None and (event.name or event.id):
        size = f", {event.magnitude_type or 'M'} {event.magnitude:g}" if event.magnitude is not None else ""
        said.append(f"Earthquake: {event.name or event.id}{size}")
    for line in lines_of(". ".join(said) + ".", sheet.across, SMALL)[:4]:
        sheet.line(line, SMALL, colour=STYLES["light"].faint)
    sheet.at -= 6.0
    _banner(sheet, verdict)
    sheet.heading("Peaks, spectral ordinates and measures")
    _numbers(sheet, result, unit)
    sheet.heading("What the checks found")
    _findings(sheet, result, unit)
    return sheet.figure


def _banner(sheet: PaperSheet, verdict: Verdict) -> None:
    """Write the verdict in a box, with what may be used of each component."""
    strong, weak = _BANNER[verdict.kind]
    top = sheet.at
    sheet.at -= 20.0
    sheet.write(MARGIN + 10, verdict.title, sheet.at + 5, 12.0, colour="white", weight="bold")
    head = sheet.at
    if verdict.decision is not None:
        one = verdict.decision
        of = f"version {one.version}" if one.version else "the whole record"
        text = f"{verdict.state[:1].upper()}{verdict.state[1:]} by {one.by}, {instant(one.time)}, {of}: {one.reason}"
        for line in lines_of(text, sheet.across - 20, NORMAL)[:3]:
            sheet.line(line, indent=10)
    elif verdict.state:
        sheet.line(f"No person has decided: processed automatically, version {verdict.version}.", indent=10)
    for severity, names in verdict.findings:
        for line in lines_of(f"{severity}: {names}.", sheet.across - 20, NORMAL, "bold")[:2]:
            sheet.line(line, indent=10, weight="bold")
    sheet.at -= 3.0
    places = [MARGIN + 10, *(MARGIN + 110 + 62 * k for k in range(len(PEAKS))), MARGIN + 310]
    sheet.at -= NORMAL * LEADING
    for x, text in zip(places, ("May be used", *PEAKS, "Spectrum, periods"), strict=True):
        sheet.write(x, text, sheet.at, weight="bold")
    for use in verdict.uses[:COLUMNS]:
        sheet.at -= NORMAL * LEADING
        cells = [use.component[:18], *(use.peaks[name] for name in PEAKS), use.spectrum]
        for x, text in zip(places, cells, strict=True):
            doubtful = "in doubt" if use.doubtful and x == places[-1] else text
            sheet.write(x, text, sheet.at, colour=_SAID.get(doubtful, sheet.ink))
    if len(verdict.uses) > COLUMNS:
        sheet.line(f"and {len(verdict.uses) - COLUMNS} more components: see the full record.", indent=10)
    sheet.at -= 7.0
    sheet.box(MARGIN, sheet.at, sheet.across, top - sheet.at, weak)
    sheet.box(MARGIN, head, sheet.across, top - head, strong)
    sheet.box(MARGIN, sheet.at, 4.0, top - sheet.at, strong)


def _numbers(sheet: PaperSheet, result: Result, unit: str) -> None:
    """Write the table of headline numbers, the band under each."""
    columns, rows = headline_table(result, unit)
    kept = columns[:COLUMNS]
    title = 138.0
    step = (sheet.across - title) / max(len(kept), 1)
    ends = [MARGIN + title + step * (k + 1) for k in range(len(kept))]
    sheet.at -= NORMAL * LEADING
    for x, name in zip(ends, kept, strict=True):
        sheet.write(x, name[:18], sheet.at, weight="bold", ha="right")
    faint = STYLES["light"].faint
    for name, _, cells in rows:
        sheet.at -= NORMAL * LEADING + 1.5
        sheet.write(MARGIN, name, sheet.at)
        banded = False
        for x, cell in zip(ends, cells, strict=False):
            sheet.write(x, _printed(cell), sheet.at, ha="right", colour=sheet.ink if cell.usable else faint)
            if cell.band:
                sheet.write(x, cell.band, sheet.at - 7.0 * LEADING, 6.5, ha="right", colour=faint)
                banded = True
        sheet.at -= 7.0 * LEADING if banded else 0.0
    sheet.at -= 3.0
    more = f" Of {len(columns)} columns {len(kept)} are here; see the full record." if len(columns) > len(kept) else ""
    sheet.paragraph(
        f"Small: the 5 to 95 % band under other choices of processing. {DAGGER}.{more}", SMALL, colour=faint
    )  # fmt: skip


def _printed(cell: Cell) -> str:
    return f"{cell.value}{cell.mark}"


def _findings(sheet: PaperSheet, result: Result, unit: str) -> None:
    """Write the findings, most severe first, as far as there is room."""
    if not result.findings:
        sheet.paragraph("No problems found. The checks do not detect everything.")
    ordered = sorted(result.findings, key=most_severe_first)
    for number, finding in enumerate(ordered):
        where = ", ".join(part for part in (finding.component, finding.where) if part)
        name = finding.name[:1].upper() + finding.name[1:]
        head = f"{name}{f' ({where})' if where else ''}. {SEVERITIES[finding.severity]}"
        which = "" if finding.severity == "note" else f" It touches {touched(finding)}."
        body = f"{finding.said(unit)}. Effect: {finding.effect}.{which} Remedy: {finding.remedy}."
        lines = lines_of(body, sheet.across - 16, SMALL)
        heads = lines_of(head, sheet.across, NORMAL, "bold")
        needed = (len(heads) * NORMAL + len(lines) * SMALL) * LEADING + 3.0
        last = number == len(ordered) - 1
        if sheet.at - needed < sheet.foot + (0.0 if last else NORMAL * LEADING):
            rest = len(ordered) - number
            sheet.line(f"and {rest} more finding{'s' * (rest > 1)}: see the full record.", weight="bold")
            return
        for line in heads:
            sheet.line(line, weight="bold")
        for line in lines:
            sheet.line(line, SMALL, indent=8)
        sheet.at -= 3.0


def _second(
    sheet: PaperSheet, result: Result, unit: str, around: Surroundings, target: TargetSpectrum | None
) -> Figure:  # fmt: skip
    # What stands below the figures is measured first, so that they take the room that is left.
    below = PaperSheet.new("a4", 2, "")
    below.at = start = 0.0
    _decided(below, result, around)
    room = sheet.at - sheet.foot - (start - below.at) - 2 * 22.0
    sheet.heading("Response spectra" + (f" and target: {target.name}"[:70] if target else ""))
    if len(result.spectra):
        (panel,) = sheet.axes(1, 1, 0.42 * room, (0.0, 0.0))
        sheet.figure.supxlabel(" ", fontsize=1)
        spectrum_figure(result, unit=unit, axes=panel, target=target)
        panel.legend_.set_loc("center left")
        panel.legend_.set_bbox_to_anchor((1.01, 0.5))
        box = panel.get_position()
        panel.set_position((box.x0, box.y0, 0.72 * box.width, box.height))
        for text in panel.legend_.get_texts():
            text.set_fontsize(7)
        _fit_legend(panel)
    names = list(result.motion)[:DRAWN]
    more = "" if len(names) == len(result.motion) else f", {len(names)} of {len(result.motion)} components"
    sheet.heading(f"Corrected motion{more}")
    panels = sheet.axes(3, len(names), 0.58 * room, (0.08, 0.14))
    motion_figure(result, unit, components=names, axes=panels)
    for number, panel in enumerate(panels):
        row, column = divmod(number, len(names))
        panel.tick_params(labelleft=column == 0, labelbottom=row == 2, labelsize=7)
        panel.set_xlabel("Time after the first sample, s" if row == 2 else "", fontsize=7.5)
        panel.yaxis.label.set_fontsize(7.5)
        panel.title.set_fontsize(8)
        for text in panel.texts:
            text.set_fontsize(min(text.get_fontsize(), 7.0))
    _decided(sheet, result, around)
    return sheet.figure


def _fit_legend(panel: Any) -> None:
    """Break the lines of a legend beside a panel, so that none leaves the paper."""
    figure = panel.get_figure()
    room = (1.0 - panel.get_position().x1) * figure.get_size_inches()[0] * POINTS - MARGIN - 40.0
    for text in panel.legend_.get_texts():
        text.set_text("\n".join(lines_of(text.get_text(), room, 7.0)))


def _decided(sheet: PaperSheet, result: Result, around: Surroundings) -> None:
    """Write what happened to the record, the latest last, and the cautions."""
    sheet.heading("What was decided, by whom")
    entries = around.history
    if not entries:
        sheet.line("The result is not in an archive, so no decision has been made.")
    if len(entries) > TOLD:
        sheet.line(f"{len(entries) - TOLD} earlier entries: see the full record.", SMALL)
    for entry in entries[-TOLD:]:
        who = f" by {entry.by}" if entry.by else ""
        why = f": {entry.why}" if entry.why else ""
        for line in lines_of(f"{instant(entry.time)}  {happened(entry)}{who}{why}", sheet.across, SMALL)[:2]:
            sheet.line(line, SMALL)
    if changed := result.settings.changed():
        names = "; ".join(f"{one.name} = {one.value}" for one in changed)
        for line in lines_of(f"Settings that differ from the defaults: {names}", sheet.across, SMALL)[:3]:
            sheet.line(line, SMALL)
    else:
        sheet.line("All settings are the defaults.", SMALL)
    sheet.heading("Cautions")
    for caution in result.cautions:
        sheet.paragraph(caution, SMALL)
