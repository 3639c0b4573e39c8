"""Commands about an archive: list, search, check, copy, hand on, process again."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Literal

import typer

from .. import __version__
from ..foundation.cautions import CAUTION
from ..foundation.errors import InputError
from ..foundation.files import printable
from .app import ARCHIVES, app
from .options import (
    ArchiveFolder,
    By,
    Cluster,
    CsvFile,
    ExcelFile,
    Into,
    Jobs,
    ParquetFile,
    Unit,
    Why,
)
from .tables import (
    CATALOGUE_COLUMNS,
    Progress,
    cell,
    complain,
    count,
    fitting,
    heading,
    say_stopping,
    show_table,
)

if TYPE_CHECKING:
    import pandas as pd

    from ..archive import Archive
    from ..batch import Reprocessed


@app.command(no_args_is_help=True, rich_help_panel=ARCHIVES)
def reprocess(
    archive: ArchiveFolder,
    records: Annotated[
        list[str] | None,
        typer.Argument(metavar="RECORD...", help="Ids; all by default.", show_default=False),
    ] = None,
    settings: Annotated[
        Path | None,
        typer.Option("--settings", metavar="S.toml", help="Settings to use instead of those of each record."),
    ] = None,
    keep: Annotated[bool, typer.Option("--keep", help="Add the changed results as new versions.")] = False,
    by: By = "",
    why: Why = "",
    jobs: Jobs = 1,
    cluster: Cluster = None,
    csv: Annotated[Path | None, typer.Option("--csv", metavar="F", help="Write all changed numbers as CSV.")] = None,
) -> None:
    """Process records of an archive again from their stored raw samples, and show what changed.

    With the same software and settings, every number is identical to the last bit. The archive is not modified unless
    --keep is given. Exit status 1: some records failed, or changed without a reason.

    \b
    Examples:
      strongmotion reprocess archive
      strongmotion reprocess archive XX.QUAY_20310417T032627 --settings mine.toml --csv moved.csv
    """
    from ..batch import reprocess
    from ..settings import Settings

    chosen = Settings.load(settings) if settings else None
    with Progress() as progress:
        answers = reprocess(
            archive, records or None, chosen, keep=keep, jobs=jobs, cluster=cluster, progress=progress,
            interrupted=say_stopping, by=by, why=why,
        )  # fmt: skip
    _show_reprocessed(answers, csv)
    unexplained = [a for a in answers if not a.same and chosen is None and a.version == __version__]
    if unexplained or any(answer.failed for answer in answers):
        raise typer.Exit(1)


def _show_reprocessed(answers: Sequence[Reprocessed], csv: Path | None) -> None:
    rows = []
    for answer in answers:
        if answer.failed:
            complain(f"{answer.record}: {answer.failed}")
        else:
            what = "the same bits" if answer.same else "moved"
            rows.append((answer.record, answer.version, what, *_largest_moves(answer.moved)))
    columns = (
        "record",
        "made by",
        "",
        *(f"{name} %" for name in ("PGA", "PGV", "PGD", "PSA")),
        "low-cut %",
        "most else",
    )
    if rows:
        show_table(columns, rows)
    same, failed = sum(answer.same for answer in answers), sum(bool(answer.failed) for answer in answers)
    typer.echo(f"{same} the same to the last bit, {len(answers) - same - failed} moved, {failed} failed.")
    tables = [answer.moved for answer in answers if answer.moved is not None]
    if tables:
        typer.echo("Percentages are the largest over components and periods.")
    if csv is not None:
        import pandas as pd

        from ..archive import MOVED, write_catalogue

        write_catalogue(pd.concat(tables, ignore_index=True) if tables else pd.DataFrame(columns=MOVED), csv)
        typer.echo(f"Every number that changed is in {csv}.")
    typer.echo(CAUTION)


def _largest_moves(table: pd.DataFrame | None) -> list[str]:
    """Return the largest changes, in percent: of peaks, of PSA, of low-cuts, and of what else moved most."""
    named = ("PGA", "PGV", "PGD", "PSA", "low-cut")
    if table is None:
        return ["-"] * (len(named) + 1)
    sizes = table.assign(size=table["change_percent"].abs()).dropna(subset="size").sort_values("size", ascending=False)
    firsts = sizes.drop_duplicates("quantity").set_index("quantity")
    cells = [f"{firsts['change_percent'][name]:.3g}" if name in firsts.index else "-" for name in named]
    others = firsts[~firsts.index.isin(named)]
    most = f"{others.index[0]} {others['change_percent'].iloc[0]:.3g} %" if len(others) else "-"
    return [*cells, most]


@app.command(no_args_is_help=True, rich_help_panel=ARCHIVES)
def catalogue(
    archive: ArchiveFolder,
    csv: CsvFile = None,
    parquet: ParquetFile = None,
    excel: ExcelFile = None,
    unit: Unit = "m/s2",
    periods: Annotated[
        str, typer.Option("--periods", metavar="T,T,...", help="Additional oscillator periods for PSA, s.")
    ] = "",
    rebuild: Annotated[bool, typer.Option("--rebuild", help="Rebuild the index from every file.")] = False,
    jobs: Jobs = 1,
) -> None:
    """List the records of an archive in a table.

    The screen shows the most common columns; --csv, --parquet and --excel write all of them. The table is kept in an
    index, ARCHIVE/catalogue.sqlite, which is updated from new and changed files. It can be deleted at any time.

    \b
    Examples:
      strongmotion catalogue archive --unit g
      strongmotion catalogue archive --csv catalogue.csv --periods 0.5,2
    """
    from ..archive import Archive

    store = Archive(archive)
    with Progress() as progress:
        store.index.refresh(_periods(periods), rebuild, jobs, progress)
    _show_catalogue(store.catalogue(unit), csv, parquet, excel)


def _periods(text: str) -> list[float]:
    try:
        periods = [float(part) for part in text.split(",") if part.strip()]
    except ValueError:
        raise InputError(f"--periods must be numbers of s with commas between, found {text!r}") from None
    return periods


@app.command(no_args_is_help=True, rich_help_panel=ARCHIVES)
def find(
    archive: ArchiveFolder,
    question: Annotated[str, typer.Argument(metavar="QUESTION", help="A pandas query over the catalogue's columns.")],
    csv: CsvFile = None,
    parquet: ParquetFile = None,
    excel: ExcelFile = None,
    unit: Unit = "m/s2",
    state: Annotated[
        str,
        typer.Option(
            "--state", metavar="all|automatic|accepted|rejected|withdrawn", help="Only records in this state."
        ),
    ] = "",
) -> None:
    """List the records that meet a question.

    Rejected, withdrawn and unfit records are left out, unless --state or the question names a state or severity.

    Columns may be named without their unit: pga_h (the larger horizontal), pga_H1, pgv_RotD50, arias_intensity_H1,
    usable_period (the longest), severity, station, magnitude. Accelerations are in --unit. Put a name that contains a
    dot in `backticks`.

    \b
    Examples:
      strongmotion find archive "pga_h > 0.3 and usable_period > 2" --unit g
      strongmotion find archive "station == 'QUAY' and severity != 'unfit'" --csv quay.csv
    """
    from ..archive import Archive

    _show_catalogue(Archive(archive).find(question, unit, state), csv, parquet, excel)


def _show_catalogue(frame: pd.DataFrame, csv: Path | None, parquet: Path | None, excel: Path | None) -> None:
    from ..archive import write_catalogue

    write_catalogue(frame, csv, parquet, excel)
    shown = [column for column in frame.columns if column.startswith(CATALOGUE_COLUMNS)]
    cells, marked = frame[shown].astype(object).map(cell), False
    unfit = frame.worst_finding == "unfit"
    for column in shown:
        outside = unfit & frame[column].notna()
        if column.startswith("psa_"):
            period = float(column.split("_")[1].removesuffix("s"))
            outside |= (frame.shortest_usable_period_s > period) | (frame.longest_usable_period_s < period)
        elif not column.startswith(("pga_", "pgv_", "pgd_")):
            continue
        cells.loc[outside, column] += " *"
        marked = marked or outside.any()
    if sys.stdout.isatty():
        shown = fitting(cells)
    show_table([heading(column) for column in shown], cells[shown].to_numpy().tolist())
    rest = "" if csv or parquet or excel else f" {len(shown)} are shown here; --csv F writes all of them."
    typer.echo(f"{count(len(frame), 'record')}, {len(frame.columns)} columns.{rest}")
    if marked:
        typer.echo("* not to be used: outside the usable periods, or of an unfit record.")
    for path in (csv, parquet):
        if path is not None:
            typer.echo(f"All columns are in {path}.")
    typer.echo(CAUTION)
    for problem in frame.attrs["problems"]:
        complain(problem)
    if frame.attrs["problems"]:
        raise typer.Exit(1)


@app.command(no_args_is_help=True, rich_help_panel=ARCHIVES)
def report(
    archive: ArchiveFolder,
    folder: Annotated[
        Path,
        typer.Option("--output", "-o", metavar="FOLDER", help="Folder of the pages; created if needed."),
    ],
    records: Annotated[list[str] | None, typer.Argument(metavar="RECORD", help="Ids; all by default.")] = None,
    summary: Annotated[bool, typer.Option("--summary", help="Write a two-page PDF of each record.")] = False,
    pdf: Annotated[
        bool, typer.Option("--pdf", help="Write a PDF of each record: the summary, then all figures.")
    ] = False,
    paper: Annotated[Literal["a4", "letter"], typer.Option("--paper", help="Paper size of the PDF.")] = "a4",
    target: Annotated[
        str,
        typer.Option("--target", metavar="FILE|SHAPE", help="Target spectrum to draw in the PDF, as for `compare`."),
    ] = "",
    unit: Unit = "m/s2",
) -> None:
    """Write pages for a browser: one for each record, and one for the archive.

    Each page is a single file that needs no network: the verdict, findings, numbers, figures, processing history,
    versions and decisions, and settings. Begin at FOLDER/index.html. When run again, it rewrites only the pages of
    records that have changed.

    \b
    Examples:
      strongmotion report archive -o pages --unit g
      strongmotion report archive XX.QUAY.00_20310417T032627.310 -o pages --pdf
      strongmotion report archive -o pages --summary --paper letter --target asce7:sds=1.0,sd1=0.6,tl=8
    """
    from ..report import Prints, write_report
    from ..suite import target_named

    prints = Prints(pdf, summary, paper, target_named(target) if target else None)
    with Progress() as progress:
        written = write_report(archive, folder, records or (), unit, prints, progress)
    for record, reason in written.failed:
        complain(f"{record}: {reason}")
    new = len(written.written)
    typer.echo(f"{count(len(written.pages), 'page')} of records, {new} written now; begin at {written.index}.")
    if pdf or summary:
        kinds = " and ".join(kind for kind, asked in (("*.pdf", pdf), ("*.summary.pdf", summary)) if asked)
        typer.echo(f"The PDF files are beside the pages: {Path(folder) / 'records'}/{kinds}.")
    typer.echo(CAUTION)
    if written.failed:
        raise typer.Exit(1)


@app.command(no_args_is_help=True, rich_help_panel=ARCHIVES)
def verify(
    archive: ArchiveFolder,
    jobs: Jobs = 1,
    since: Annotated[
        str,
        typer.Option("--since", metavar="TIME", help="Only records with an entry since then, ISO 8601, UTC."),
    ] = "",
    sample: Annotated[
        int | None, typer.Option("--sample", min=1, metavar="N", help="Only this many records, chosen at random.")
    ] = None,
    resume: Annotated[bool, typer.Option("--resume", help="Resume an unfinished check.")] = False,
    key: Annotated[
        Path | None, typer.Option("--key", metavar="PUBLIC.pem", help="Public key of the checkpoint's signature.")
    ] = None,
    checkpoint: Annotated[
        Path | None, typer.Option("--checkpoint", metavar="F", help="Checkpoint written by `strongmotion sign`.")
    ] = None,
) -> None:
    """Check an archive for changed, damaged and missing files.

    Every byte is checked against the manifest. Files that were changed, damaged, removed, added from outside or left by
    an unfinished write are named, and so are manifest entries that were changed or are missing. With a checkpoint,
    records that lost their newest entries are found as well.

    \b
    Examples:
      strongmotion verify archive --jobs 2
      strongmotion verify archive --sample 100
      strongmotion verify archive --key public.pem --checkpoint checkpoint.json
    """
    from ..archive import Archive, check_against

    if (key is None) != (checkpoint is None):
        raise InputError("--key and --checkpoint go together", remedy="Give both")
    store = Archive(archive)
    problems = [] if key is None or checkpoint is None else check_against(store, key, checkpoint)
    with Progress() as progress:
        problems += store.verify(jobs, progress, since=since, sample=sample, resume=resume)
    for problem in problems:
        complain(str(problem))
    found = count(len(problems), "problem") if problems else "all sound"
    typer.echo(f"{count(len(store), 'record')}, {found}.")
    if problems:
        raise typer.Exit(1)


@app.command(no_args_is_help=True, rich_help_panel=ARCHIVES)
def history(
    archive: ArchiveFolder,
    record: Annotated[
        str, typer.Argument(metavar="RECORD", help="Id of a record, or its beginning.", show_default=False)
    ],
) -> None:
    """List the versions of a record, the decisions about them, and the event the record was assigned to.

    \b
    Example:
      strongmotion history archive XX.QUAY.00_20310417T032627.310
    """
    from ..archive import Archive

    store = Archive(archive)
    record = store.id_of(record)
    stands = store.standing(record)
    rows = [
        (
            version.name,
            "current" if version.current else "",
            version.state,
            version.time or "-",
            version.by or ("batch" if version.automatic else "-"),
            ", ".join(version.differs) or "-",
            version.software or "-",
            version.why or "-",
        )
        for version in store.versions(record)
    ]
    show_table(("version", "", "state", "entered", "by", "differs in", "software", "why"), rows)
    if stands.decisions:
        typer.echo()
        decided = [(d.time, d.state, d.version or "the record", d.by, d.reason) for d in stands.decisions]
        show_table(("decided", "state", "about", "by", "reason"), decided)
    if stands.event.get("event"):
        far = [f"{kind} distance {km:.1f} km" for kind, km in sorted(stands.event["distances"].items())]
        typer.echo(f"It is of the event {'; '.join([printable(stands.event['event']), *far])}.")
    typer.echo(f"{record} is {stands.state}. Times are by the clocks of the machines that wrote.")


Person = Annotated[str, typer.Option("--by", metavar="NAME", help="Your name.", show_default=False)]
Reason = Annotated[str, typer.Option("--reason", metavar="TEXT", help="The reason.", show_default=False)]
Records = Annotated[
    list[str] | None,
    typer.Argument(metavar="RECORD...", help="Ids of records, or their beginnings.", show_default=False),
]
Where = Annotated[
    str, typer.Option("--where", metavar="QUESTION", help="The records that `strongmotion find` lists for it.")
]
VersionName = Annotated[
    str | None, typer.Option("--version", metavar="N", help="The version to decide on; see `strongmotion history`.")
]


@app.command(no_args_is_help=True, rich_help_panel=ARCHIVES)
def accept(
    archive: ArchiveFolder, by: Person, reason: Reason, records: Records = None, where: Where = "",
    unit: Unit = "m/s2", version: VersionName = None,
) -> None:  # fmt: skip
    """Accept records: their current version, or the one named, stays current until another is accepted.

    \b
    Example:
      strongmotion accept archive XX.QUAY.00_20310417T032627.310 --by "D. Analyst" --reason "corner checked"
    """
    _decide("accepted", archive, records, where, unit, version, by, reason)


@app.command(no_args_is_help=True, rich_help_panel=ARCHIVES)
def reject(
    archive: ArchiveFolder, by: Person, reason: Reason, records: Records = None, where: Where = "",
    unit: Unit = "m/s2", version: VersionName = None,
) -> None:  # fmt: skip
    """Reject records: they stay in the archive, but `strongmotion find` skips them.

    \b
    Example:
      strongmotion reject archive --where "severity == 'unfit'" --by "D. Analyst" --reason "clipped"
    """
    _decide("rejected", archive, records, where, unit, version, by, reason)


@app.command(no_args_is_help=True, rich_help_panel=ARCHIVES)
def withdraw(
    archive: ArchiveFolder, by: Person, reason: Reason, records: Records = None, where: Where = "",
    unit: Unit = "m/s2", version: VersionName = None,
) -> None:  # fmt: skip
    """Withdraw records after delivery: nothing is deleted, and every version can still be read.

    \b
    Example:
      strongmotion withdraw archive XX.QUAY.00_20310417T032627.310 --by "D. Analyst" --reason "wrong sensor"
    """
    _decide("withdrawn", archive, records, where, unit, version, by, reason)


def _found(store: Archive, question: str, unit: str, state: str = "") -> list[str]:
    """Return the ids of the records that meet a question; say so where there are none."""
    found: list[str] = store.find(question, unit, state)["record"].tolist()
    if not found:
        complain(f"no record meets {question!r}, with accelerations in {unit} (--unit)")
    return found


def _decide(
    state: str,
    archive: Path,
    records: list[str] | None,
    where: str,
    unit: str,
    version: str | None,
    by: str,
    reason: str,
) -> None:
    from ..archive import Archive, check_decision

    check_decision(state, by, reason)
    store = Archive(archive)
    wanted = list(records or ())
    if where:
        wanted += _found(store, where, unit, state="all")
    elif not wanted:
        raise InputError("no record is named", remedy="Give ids, or --where with a question")
    wanted = [store.id_of(record) for record in wanted]
    wanted = list(dict.fromkeys(wanted))
    for record in wanted:
        store.version(record, version)  # all of them, before anything is decided
    for record in wanted:
        store.decide(record, state, by, reason, version)
    typer.echo(f"{count(len(wanted), 'record')} {state} by {by}.")


@app.command(no_args_is_help=True, rich_help_panel=ARCHIVES)
def upgrade(archive: ArchiveFolder) -> None:
    """Convert an archive of an earlier layout to the current one, in place.

    Each record is rewritten, read back and compared before its old file is deleted. You can stop at any time; the next
    call resumes.

    \b
    Example:
      strongmotion upgrade archive
    """
    from ..archive import Archive

    with Progress() as progress:
        done, problems = Archive(archive).upgrade(progress)
    for problem in problems:
        complain(str(problem))
    typer.echo(f"{count(done, 'record')} upgraded, {len(problems)} not upgraded.")
    if problems:
        raise typer.Exit(1)


@app.command(no_args_is_help=True, rich_help_panel=ARCHIVES)
def sign(
    archive: ArchiveFolder,
    key: Annotated[Path, typer.Option("--key", metavar="PRIVATE.pem", help="An Ed25519 private key.")],
    output: Annotated[Path, typer.Option("--output", "-o", metavar="F", help="File of the checkpoint.")],
    by: By = "",
) -> None:
    """Write a signed checkpoint of an archive, to keep elsewhere.

    `strongmotion verify --key --checkpoint` then reveals anything that has been removed since.

    \b
    Example:
      openssl genpkey -algorithm ed25519 -out private.pem
      strongmotion sign archive --key private.pem -o checkpoint.json
    """
    from ..archive import Archive
    from ..archive import sign as sign_archive

    typer.echo(f"{count(sign_archive(Archive(archive), key, output, by), 'record')} signed in {output}.")


@app.command(no_args_is_help=True, rich_help_panel=ARCHIVES)
def extract(
    archive: ArchiveFolder,
    output: Into,
    records: Annotated[
        list[str] | None,
        typer.Argument(metavar="RECORD...", help="Ids of records, or their beginnings.", show_default=False),
    ] = None,
    where: Where = "",
    unit: Unit = "m/s2",
) -> None:
    """Copy some records of an archive into another, with all their versions, byte for byte.

    To resume an interrupted copy, run the command again.

    \b
    Examples:
      strongmotion extract archive XX.QUAY_20310417T032627 -o quay
      strongmotion extract archive --where "pga_h > 0.3" --unit g -o strong
    """
    from ..archive import Archive

    store = Archive(archive)
    wanted = list(records or ())
    if where:
        wanted += _found(store, where, unit)
    elif not wanted:
        raise InputError("no record is named", remedy="Give ids, or --where with a question")
    wanted = [store.id_of(record) for record in wanted]
    _show_taken(Archive(output, create=True).take_from([store], wanted), output)


@app.command(no_args_is_help=True, rich_help_panel=ARCHIVES)
def merge(
    archives: Annotated[list[Path], typer.Argument(metavar="ARCHIVE...", help="The archives.", show_default=False)],
    output: Into,
) -> None:
    """Copy all records of some archives into one, byte for byte.

    If two archives hold different results of one record without a common history, nothing is copied and the record is
    named. To resume an interrupted copy, run the command again.

    \b
    Example:
      strongmotion merge monday tuesday -o week
    """
    from ..archive import Archive

    stores = [Archive(folder) for folder in archives]
    _show_taken(Archive(output, create=True).take_from(stores), output)


def _show_taken(numbers: tuple[int, int], archive: Path) -> None:
    copied, there = numbers
    typer.echo(f"{count(copied, 'record')} copied, {there} skipped (unchanged); archive {archive}.")


@app.command(no_args_is_help=True, rich_help_panel=ARCHIVES)
def export(
    archive: ArchiveFolder,
    output: Annotated[Path, typer.Option("--output", "-o", metavar="FOLDER", help="Folder of the files.")],
    records: Annotated[
        list[str] | None,
        typer.Argument(metavar="RECORD...", help="Ids of records, or their beginnings.", show_default=False),
    ] = None,
    where: Where = "",
    csv: Annotated[bool, typer.Option("--csv", help="Motion and spectra as CSV (the default form).")] = False,
    text: Annotated[
        bool, typer.Option("--text", help="Acceleration as text for analysis programs, one file for each component.")
    ] = False,
    per_line: Annotated[
        int, typer.Option("--per-line", metavar="N", min=1, max=100, help="Values on each line of text.")
    ] = 1,
    parquet: Annotated[bool, typer.Option("--parquet", help="Motion as Parquet (needs pyarrow).")] = False,
    miniseed: Annotated[bool, typer.Option("--miniseed", help="Motion as miniSEED 3, float64.")] = False,
    factors: Annotated[
        Path | None,
        typer.Option(
            "--factors",
            metavar="F.csv",
            help="Scale each record by its factor in a table written by `select --csv` or `compare --csv`; without "
            "RECORD, all records of the table are exported.",
        ),
    ] = None,
    azimuth: Annotated[
        float | None,
        typer.Option("--azimuth", metavar="DEG", help="Rotate H1 to this azimuth, H2 90° clockwise."),
    ] = None,
    strike: Annotated[
        float | None,
        typer.Option("--strike", metavar="DEG", help="Rotate the pair to fault-parallel (FP) and fault-normal (FN)."),
    ] = None,
    unit: Unit = "m/s2",
    version: Annotated[
        str | None, typer.Option("--version", metavar="N", help="Version to export; by default the current one.")
    ] = None,
) -> None:
    """Export processed motion and spectra of records for other programs, unchanged or rotated and scaled.

    Velocity is in m/s and displacement in m, without pads; the numbers can be read back bit for bit. The two
    horizontals of a record are rotated together and have the same factor. Every file states the factor, the unit, the
    sampling interval and the caution.

    \b
    Examples:
      strongmotion export archive XX.QUAY.00_20310417T032627.310 -o for_others --csv --miniseed
      strongmotion export archive --where "pga_h > 0.1" --unit g -o strong --text
      strongmotion export archive --factors chosen.csv -o for_analysis --text --unit g --strike 35
    """
    from ..archive import Archive, Delivery, factors_in
    from ..archive import export as export_result

    store = Archive(archive)
    scale = {} if factors is None else factors_in(factors)
    records = list(records or ())
    if where:
        records += _found(store, where, unit)
    elif not records:
        records = list(scale)
        if not records:
            raise InputError(
                "no record is named", remedy="Give ids, --where with a question, or --factors with a table"
            )
    records = list(dict.fromkeys(store.id_of(record) for record in records))
    if missing := [record for record in records if factors is not None and record not in scale]:
        raise InputError(f"{missing[0]} has no factor", source=str(factors), remedy="Name records of that table")
    if version is not None and len(records) != 1:
        raise InputError("--version is about one record", remedy="Name one record")
    chosen = {"csv": csv, "text": text, "parquet": parquet, "miniseed": miniseed}
    forms: Any = [form for form, wanted in chosen.items() if wanted] or ["csv"]
    for record in records:
        named = store.version(record, version)
        delivery = Delivery(scale.get(record, 1.0), azimuth, strike, unit, per_line)
        result = store[record, named.name]
        for path in export_result(result, output, forms, record, named.name, named.state, delivery):
            typer.echo(str(path))
    typer.echo(CAUTION)
