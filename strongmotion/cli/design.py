"""Commands about a design: spectra of many records, their comparison with a target, and a choice of records."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

import typer

from ..foundation.cautions import CAUTION
from ..foundation.errors import InputError
from ..foundation.units import in_unit
from .app import DESIGNS, app
from .options import ArchiveFolder, CsvFile, ExcelFile, ParquetFile, Unit
from .tables import Progress, cell, complain, count, show_table

if TYPE_CHECKING:
    import pandas as pd

    from ..archive import Archive
    from ..result import Result
    from ..spectra import TargetSpectrum
    from ..suite import Comparison, Match, Selection, SuiteSpectra

MOST_NAMED = 8
"""Records without a spectrum that a message names."""

MOST_SHOWN = 12
"""Columns of the table of spectra that is printed."""

SHOWN = (0.1, 0.2, 0.5, 1.0, 2.0, 4.0)
"""Periods of the table of spectra that is printed, s."""

Target = Annotated[
    str,
    typer.Option(
        "--target", metavar="FILE|SHAPE",
        help="A CSV file of period [s],psa [g] and optionally sigma [ln] (the spread); or a code shape: "
        "asce7:sds=1.0,sd1=0.6,tl=8 (g, s) or ec8:ag=2.0,s=1.2,tb=0.15,tc=0.5,td=2.0 (m/s², s). For 5 % damping; "
        "converted to other dampings by EN 1998-1 (3.6).",
    ),
]  # fmt: skip
Range = Annotated[
    tuple[float, float], typer.Option("--range", metavar="T1 T2", help="First and last period compared, s.")
]
ComponentName = Annotated[
    str, typer.Option("--component", metavar="NAME", help="RotD50, RotD100, RotD00, geometric mean, or a component.")
]
Damping = Annotated[float, typer.Option("--damping", metavar="Z", help="Fraction of critical damping.")]
Where = Annotated[str, typer.Option("--where", metavar="QUESTION", help="Only records that `find` lists for it.")]
Figure = Annotated[Path | None, typer.Option("--figure", metavar="F.png", help="Draw the suite and the target.")]
Page = Annotated[Path | None, typer.Option("--page", metavar="F.html", help="Write a page of the suite for a browser.")]
Summary = Annotated[
    Path | None, typer.Option("--summary", metavar="F.pdf", help="Write a two-page PDF of the suite, for a client.")
]
Paper = Annotated[Literal["a4", "letter"], typer.Option("--paper", help="Paper size of the PDF.")]


@app.command(no_args_is_help=True, rich_help_panel=DESIGNS)
def spectra(
    archive: ArchiveFolder,
    component: ComponentName = "RotD50",
    damping: Damping = 0.05,
    unit: Unit = "m/s2",
    where: Where = "",
    periods: Annotated[
        str, typer.Option("--periods", metavar="T,T,...", help="Only these of the records' periods, s.")
    ] = "",
    wide: Annotated[bool, typer.Option("--wide", help="One row for each record, one column for each period.")] = False,
    keep_unusable: Annotated[
        bool, typer.Option("--keep-unusable", help="Include ordinates outside the usable band, marked.")
    ] = False,
    csv: CsvFile = None,
    parquet: ParquetFile = None,
    excel: ExcelFile = None,
) -> None:
    """Put the response spectra of all records into one table.

    Ordinates outside a record's usable band are left empty, unless --keep-unusable is given.

    \b
    Examples:
      strongmotion spectra archive --unit g --csv spectra.csv
      strongmotion spectra archive --component H1 --wide --csv h1.csv
      strongmotion spectra archive --periods 0.2,1,3 --unit g
    """
    from ..archive import write_catalogue

    suite = _suite(archive, where, component, damping)
    if periods:
        suite = suite.at(_numbers_in(periods))
    table = suite.table(unit, wide, keep_unusable)
    write_catalogue(table, csv, parquet, excel)
    written = [str(path) for path in (csv, parquet, excel) if path is not None]
    if written:
        typer.echo(f"{count(len(suite), 'record')} at {count(suite.periods.size, 'period')}: {', '.join(written)}.")
    else:
        places = [place for place, period in enumerate(suite.periods) if periods or period in SHOWN][:MOST_SHOWN]
        rows = [
            [record, *(_ordinate(psa[k] * in_unit(unit), usable[k], keep_unusable) for k in places)]
            for record, psa, usable in zip(suite.records, suite.psa, suite.usable, strict=True)
        ]
        show_table(["record", *(f"PSA {suite.periods[k]:g} s {unit}" for k in places)], rows)
        if keep_unusable and not suite.usable[:, places].all():
            typer.echo("* outside the usable band.")
        typer.echo("The whole table: --csv F.")
    typer.echo(CAUTION)


def _numbers_in(text: str) -> list[float]:
    try:
        return [float(part) for part in text.replace(",", " ").split()]
    except ValueError:
        raise InputError(
            f"{text!r} is not a list of periods", source="--periods", remedy="Write --periods 0.2,1,3"
        ) from None


def _ordinate(value: float, usable: bool, keep_unusable: bool) -> str:
    """Return an ordinate as a table shows it: none, or marked, outside the usable band."""
    if usable:
        return cell(value)
    return f"{cell(value)} *" if keep_unusable else "-"


@app.command(no_args_is_help=True, rich_help_panel=DESIGNS)
def compare(
    archive: ArchiveFolder,
    target: Target,
    period_range: Range,
    component: ComponentName = "RotD50",
    damping: Damping = 0.05,
    unit: Unit = "g",
    where: Where = "",
    keep_unusable: Annotated[
        bool, typer.Option("--keep-unusable", help="Include records that are not usable over the range, marked.")
    ] = False,
    csv: CsvFile = None,
    figure: Figure = None,
    page: Page = None,
    summary: Summary = None,
    paper: Paper = "a4",
) -> None:
    """Compare the spectra of an archive's records with a target, record by record and as a suite.

    For each record, the table shows the factor that brings its spectrum closest to the target (least squares of ln PSA
    over the range, with the 5 and 95 % limits from the record's band), the remaining misfit, and the lowest ratio of
    the scaled record to the target. Records that are not usable over the range are left out and named.

    \b
    Examples:
      strongmotion compare archive --target asce7:sds=1.0,sd1=0.6,tl=8 --range 0.2 2
      strongmotion compare archive --target site.csv --range 0.2 2 --csv compared.csv --figure compared.png
    """
    from ..archive import Archive
    from ..suite import compare as compared
    from ..suite import target_named

    goal, suite = target_named(target, damping), _suite(archive, where, component, damping)
    found = compared(suite, goal, period_range, keep_unusable=keep_unusable)
    _write(found.table, csv)
    rows = [
        (row.record, f"{cell(row.factor)} ({cell(row.factor_low)} to {cell(row.factor_high)})", f"{row.misfit:.3f}",
         f"{row.lowest_ratio:.2f} at {row.lowest_at_s:g} s{'' if row.usable else ' *'}")
        for row in found.table.itertuples()
    ]  # fmt: skip
    show_table(("record", "factor (5 to 95 %)", "misfit ln", "lowest to target"), rows)
    _show_mean(found, unit, goal.name)
    for name in found.left_out:
        complain(f"{name} is left out: not usable from {period_range[0]:g} s to {period_range[1]:g} s.")
    if not found.table["usable"].all():
        typer.echo("* not usable over the whole range.")
    _write_suite(_Suite(Archive(archive), suite, goal, found, unit), figure, page, summary, paper)
    typer.echo(goal.caution)


@app.command(no_args_is_help=True, rich_help_panel=DESIGNS)
def select(
    archive: ArchiveFolder,
    target: Target,
    period_range: Range,
    number: Annotated[int, typer.Option("-n", "--number", min=1, metavar="N", help="Number of records to choose.")],
    component: ComponentName = "RotD50",
    damping: Damping = 0.05,
    unit: Unit = "g",
    where: Where = "",
    factors: Annotated[
        tuple[float, float], typer.Option("--factors", metavar="LEAST MOST", help="Smallest and largest factor.")
    ] = (0.25, 4.0),
    tolerance: Annotated[
        float, typer.Option("--tolerance", metavar="X", help="Largest departure of the mean ln PSA from the target.")
    ] = 0.1,
    below: Annotated[
        float, typer.Option("--below", metavar="X", help="Largest fraction by which the mean may be below the target.")
    ] = 0.1,
    spread: Annotated[
        float, typer.Option("--spread", metavar="X", help="Largest departure from the target's spread, as a fraction.")
    ] = 0.3,
    per_event: Annotated[
        int, typer.Option("--per-event", metavar="N", help="Most from one earthquake; 0: no limit.")
    ] = 0,
    per_station: Annotated[
        int, typer.Option("--per-station", metavar="N", help="Most from one station; 0: no limit.")
    ] = 0,
    csv: CsvFile = None,
    figure: Figure = None,
    page: Page = None,
    summary: Summary = None,
    paper: Paper = "a4",
) -> None:
    """Choose records and scale factors so that the mean of the suite meets a target.

    Among the suites that meet the rules, the one whose spectral shapes are closest to the target is chosen, with a
    proof of how far from the optimum it can be at most. Both horizontals of a record have the same factor. The
    local code determines the number of records, the permitted factors and how far the mean may be below the target.

    \b
    Examples:
      strongmotion select archive --target asce7:sds=1.0,sd1=0.6,tl=8 --range 0.2 2 -n 7
      strongmotion select archive --target site.csv --range 0.2 2 -n 11 --per-event 3 --csv chosen.csv
    """
    from ..archive import Archive
    from ..suite import select as chosen_of
    from ..suite import target_named
    from ..suite.select import SelectionRules

    goal, suite = target_named(target, damping), _suite(archive, where, component, damping)
    rules = SelectionRules(factors, tolerance, below, per_event, per_station, spread=spread)
    found = chosen_of(suite, goal, period_range, number, rules)
    _write(found.table, csv)
    rows = [
        (row.record, row.event or "-", f"{cell(row.factor)} ({cell(row.factor_low)} to {cell(row.factor_high)})",
         f"{row.shape_misfit:.3f}",
         f"{row.lowest_ratio:.2f} at {row.lowest_at_s:g} s")
        for row in found.table.itertuples()
    ]  # fmt: skip
    show_table(("record", "earthquake", "factor (5 to 95 %)", "shape misfit", "lowest to target"), rows)
    _show_mean(found, unit, goal.name)
    typer.echo(
        f"Chosen of {count(found.considered, 'usable record')} in {found.seconds:.1f} s; the shape misfits sum to "
        f"{found.cost:.4g}, at most {100 * found.gap:.1f} % above the smallest possible."
    )
    _write_suite(_Suite(Archive(archive), suite, goal, found, unit), figure, page, summary, paper)
    typer.echo(goal.caution)


@app.command(no_args_is_help=True, rich_help_panel=DESIGNS)
def match(
    archive: ArchiveFolder,
    record: Annotated[str, typer.Argument(metavar="RECORD", help="Id of the record, or its beginning.")],
    target: Target,
    period_range: Range,
    component: Annotated[
        str,
        typer.Option(
            "--component", metavar="NAME", help="The component to adjust, or geometric mean for both horizontals."
        ),
    ] = "H1",
    tolerance: Annotated[
        float, typer.Option("--tolerance", metavar="X", help="Largest departure from the target, as a fraction.")
    ] = 0.05,
    keep_unusable: Annotated[
        bool, typer.Option("--keep-unusable", help="Adjust a component that is not usable over the range.")
    ] = False,
    output: Annotated[
        Path | None,
        typer.Option("--output", "-o", metavar="FOLDER", help="Also write it as `export --text` does."),
    ] = None,
    per_line: Annotated[
        int, typer.Option("--per-line", metavar="N", min=1, max=100, help="Values on each line of text.")
    ] = 1,
    unit: Unit = "g",
    figure: Annotated[Path | None, typer.Option("--figure", metavar="F.png", help="Draw before and after.")] = None,
) -> None:
    """Adjust a component, or both horizontals, in time until the spectrum follows a target.

    Wavelets are added at the times of the largest responses (Lilhanand & Tseng 1988; Al Atik & Abrahamson 2010) until
    the spectrum is within the tolerance at every period of the range. Velocity ends at zero. The table shows how
    peaks, energy and duration change. The motion is stored in the folder `derived` of the archive, with the record it
    was made from. It is not a recorded motion and is never listed as a record.

    With --component "geometric mean" both horizontals are adjusted so that the geometric mean of their spectra
    follows the target; each keeps its share of it, and both have the same factor.

    \b
    Examples:
      strongmotion match archive XX.QUAY.00_20310417T032627.310 --target asce7:sds=0.3,sd1=0.2,tl=8 --range 0.2 2
      strongmotion match archive XX.QUAY --component H2 --target site.csv --range 0.1 2 -o for_analysis --figure m.png
    """
    from ..archive import Archive, export_derived, keep_derived
    from ..suite import match as matched
    from ..suite import match_pair, target_named
    from ..suite.match import MATCH_CAUTIONS, PAIR

    goal, store = target_named(target), Archive(archive)
    result = store[record]
    record_id = record if record in store else next(name for name in store if name.startswith(record))
    pair = None
    if component == PAIR:
        pair = match_pair(result, goal, period_range, tolerance=tolerance, keep_unusable=keep_unusable)
    parts = (
        list(pair.parts.values())
        if pair
        else [matched(result, goal, period_range, component, tolerance=tolerance, keep_unusable=keep_unusable)]
    )
    for found in parts:
        _show_match(found, unit)
        derived = found.derived(store.version(record_id).name, record_id)
        typer.echo(f"Kept as {keep_derived(store, derived)}.")
        if output is not None:
            typer.echo(f"Written to {export_derived(derived, output, unit, per_line)}.")
        if figure is not None:
            from ..report import match_figure, save

            path = figure.with_suffix(f".{found.component}{figure.suffix}") if pair else figure
            save(match_figure(found, unit), path)
            typer.echo(f"Drawn to {path}.")
    if pair:
        rows = [(row.quantity, f"{row.scaled:.3f}", f"{row.matched:.3f}") for row in pair.relation.itertuples()]
        show_table(("both horizontals", "scaled", "matched"), rows)
        typer.echo(
            f"Largest departure of the geometric mean from {goal.name}, {period_range[0]:g} s to "
            f"{period_range[1]:g} s: {100 * pair.misfit:.1f} %."
        )
    typer.echo(" ".join((*MATCH_CAUTIONS[:-1], goal.caution)))
    if not (pair or parts[0]).is_within:
        complain(f"the tolerance of {100 * tolerance:g} % was not reached; this is the closest motion found")
        raise typer.Exit(1)


def _show_match(found: Match, unit: str) -> None:
    factor, motion = in_unit(unit), found.motion
    rows = [
        (row.quantity, unit if row.unit == "m/s2" else row.unit,
         *(cell(value * factor if row.unit == "m/s2" else value) for value in (row.recorded, row.scaled, row.matched)))
        for row in found.change.itertuples()
    ]  # fmt: skip
    show_table((f"quantity, {found.component}", "unit", "recorded", f"times {motion.factor:.3g}", "matched"), rows)
    before = abs(motion.psa_before / motion.target - 1).max()
    first, last = found.period_range
    typer.echo(
        f"Largest departure from {found.target.name}, {first:g} s to {last:g} s: {100 * before:.0f} % before, "
        f"{100 * motion.misfit:.1f} % after {count(motion.steps, 'step')}."
    )


def _suite(archive: Path, where: str, component: str, damping: float) -> SuiteSpectra:
    from ..archive import Archive
    from ..suite import spectra_of
    from ..suite.spectra import has_spectrum

    store = Archive(archive)
    ids = store.find(where)["record"].tolist() if where else store.ids()
    if not ids:
        raise InputError("there is no record to compare", source=str(archive), remedy="Ask a wider question")
    missing: list[str] = []
    others: set[str] = set()

    def results() -> Iterator[Result]:
        with Progress() as progress:
            for number, record in enumerate(ids):
                progress(number, len(ids))
                result = store[record]
                if has_spectrum(result, component, damping):
                    yield result
                else:
                    missing.append(record)
                    others.update(result.spectra["component"])

    try:
        suite = spectra_of(results(), component, damping)
    except InputError:
        if len(missing) < len(ids):
            raise
        raise InputError(
            f"no record has a spectrum of {component} at {100 * damping:g} % damping",
            source=str(archive),
            remedy=f"Choose --component from {', '.join(sorted(others)[:MOST_NAMED])}, or another damping; RotD "
            "spectra need two horizontals, H1 and H2",
        ) from None
    if missing:
        complain(
            f"{count(len(missing), 'record')} left out, without a spectrum of {component} at {100 * damping:g} % "
            f"damping: {', '.join(missing[:MOST_NAMED])}{' ...' if len(missing) > MOST_NAMED else ''}."
            f" Their components: {', '.join(sorted(others)[:MOST_NAMED])} (--component)."
        )
    # In the archive a record may have a longer id than its own, where others have that already.
    return replace(suite, records=tuple(record for record in ids if record not in missing))


def _write(table: pd.DataFrame, csv: Path | None) -> None:
    from ..archive import write_catalogue

    write_catalogue(table, csv)
    if csv is not None:
        typer.echo(f"All columns are in {csv}.")


def _show_mean(found: Comparison | Selection, unit: str, name: str) -> None:
    ratio = found.mean / found.target
    low, high, top = ratio.argmin(), ratio.argmax(), found.mean.argmax()
    limits = [cell(float(its[top] * in_unit(unit))) for its in (found.mean_low, found.mean_high)]
    spread = "" if len(found.table) < 2 else f"spread of ln PSA up to {max(found.spread):.2f}; "
    typer.echo(
        f"Suite mean against {name}: {ratio[low]:.2f} at {found.periods[low]:g} s to {ratio[high]:.2f} at "
        f"{found.periods[high]:g} s; {spread}PSA of the mean {found.mean[top] * in_unit(unit):.4g} {unit} at most "
        f"({' to '.join(limits)})."
    )


@dataclass(frozen=True)
class _Suite:
    """What a command made of an archive, to be drawn and written."""

    archive: Archive
    suite: SuiteSpectra
    target: TargetSpectrum
    found: Comparison | Selection
    unit: str


def _write_suite(its: _Suite, figure: Path | None, page: Path | None, summary: Path | None, paper: str) -> None:
    from ..report import Member, save, suite_figure, write_suite_page, write_suite_summary
    from ..report.suite_summary import ROOM

    records = its.found.table["record"].tolist()
    if figure is not None:
        factors = dict(zip(records, its.found.table["factor"], strict=True))
        save(suite_figure(its.suite, its.target, factors, its.found.period_range, its.unit), figure)
        typer.echo(f"Drawn to {figure}.")
    if page is not None:
        write_suite_page(its.suite, its.target, its.found, page, its.unit, its.archive.catalogue(its.unit))
        typer.echo(f"The page is {page}.")
    if summary is not None:
        members = [Member(its.archive[record], its.archive.standing(record)) for record in records[:ROOM]]
        write_suite_summary(its.suite, its.target, its.found, members, summary, its.unit, paper)
        typer.echo(f"The summary is {summary}.")
