"""The command line: thin, and quick to start. What it does is in `batch`, `formats`, `checks` and `archive`."""

from __future__ import annotations

import contextlib
import shutil
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Literal

import typer

from . import __version__
from .cautions import CAUTION
from .errors import InputError, SettingsError, StrongMotionError
from .units import COUNTS, acceleration_unit, in_unit, label

if TYPE_CHECKING:
    import numpy as np
    import pandas as pd

    from .batch import Outcome, Reprocessed
    from .record import Component, Finding, Record

__all__ = ["app", "main"]

app = typer.Typer(
    name="strongmotion",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
)


def _unit(text: str) -> str:
    try:
        in_unit(text)
    except InputError as error:
        raise typer.BadParameter(str(error)) from None
    return acceleration_unit(text)


HDF5 = b"\x89HDF\r\n\x1a\n"
"""How such a file begins."""

Jobs = Annotated[int, typer.Option("--jobs", min=1, metavar="N", help="Worker processes.")]
Cluster = Annotated[
    str | None,
    typer.Option("--cluster", metavar="ADDRESS", help="A Dask scheduler, tcp://HOST:PORT, whose workers do the work."),
]
CsvFile = Annotated[Path | None, typer.Option("--csv", metavar="F", help="Write all columns as CSV.")]
ParquetFile = Annotated[
    Path | None, typer.Option("--parquet", metavar="F", help="Write all columns as Parquet (needs pyarrow).")
]
ArchiveFolder = Annotated[Path, typer.Argument(metavar="ARCHIVE", help="The folder of an archive.")]
LayoutFile = Annotated[
    Path | None, typer.Option("--layout", metavar="L.toml", help="How the text files are laid out; see the README.")
]
StationXml = Annotated[
    Path | None,
    typer.Option("--stationxml", metavar="F|FOLDER", help="StationXML: sensitivity, direction and place of channels."),
]
EventFile = Annotated[
    Path | None, typer.Option("--event", metavar="F", help="QuakeML: the earthquake the records are of.")
]
SampleUnit = Annotated[
    str | None,
    typer.Option("--sample-unit", metavar="UNIT", help="Of the raw samples, where a file is silent or wrong about it."),
]
Sensitivity = Annotated[
    float | None, typer.Option("--sensitivity", metavar="N", help="Counts per m/s², where a file is silent or wrong.")
]
Missing = Annotated[
    Literal["refuse", "truncate"],
    typer.Option("--missing", help="A file cut short: refuse it, or read what is there and note it."),
]
Gaps = Annotated[
    Literal["refuse", "longest", "fill"],
    typer.Option("--gaps", help="miniSEED with a gap: refuse, keep the longest segment, or fill up to 0.1 s."),
]
CommonWindow = Annotated[
    bool, typer.Option("--common-window", help="Cut components of unequal length to the time they share.")
]
Differentiate = Annotated[
    bool, typer.Option("--differentiate", help="Make acceleration of what StationXML says is velocity.")
]
Unit = Annotated[
    str, typer.Option("--unit", metavar="g|m/s2|cm/s2", callback=_unit, help="Of acceleration in what is shown.")
]


def _version(asked: bool) -> None:
    if asked:
        typer.echo(f"strongmotion {__version__}")
        raise typer.Exit


@app.callback()
def _top(
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Print the version.")
    ] = False,
) -> None:
    """Turn raw accelerograms into peaks, response spectra and an archive that can be defended.

    \b
    Try it on the demo records:
      strongmotion inspect demo_records/quay.csv
      strongmotion process demo_records -o archive --figures
      strongmotion catalogue archive
      strongmotion find archive "pga_h > 0.1" --unit g
      strongmotion report archive -o pages
      strongmotion verify archive

    Exit status: 0 all well; 1 some records failed, each named with its reason; 2 wrong use.
    """


@app.command(no_args_is_help=True)
def process(
    inputs: Annotated[
        list[Path], typer.Argument(metavar="FILE|FOLDER...", help="Records, and folders of them.", show_default=False)
    ],
    archive: Annotated[
        Path, typer.Option("--output", "-o", metavar="ARCHIVE", help="Where results go; made if not there.")
    ],
    settings: Annotated[
        Path | None,
        typer.Option("--settings", metavar="S.toml", help="Processing choices; `strongmotion settings` shows them."),
    ] = None,
    layout: LayoutFile = None,
    jobs: Jobs = 1,
    cluster: Cluster = None,
    unit: Unit = "m/s2",
    figures: Annotated[
        bool, typer.Option("--figures", help="Draw motion and spectra of each record into ARCHIVE/figures.")
    ] = False,
    replace: Annotated[
        bool, typer.Option("--replace", help="Process again what is there, and put it in the old result's place.")
    ] = False,
    stationxml: StationXml = None,
    event: EventFile = None,
    sample_unit: SampleUnit = None,
    sensitivity: Sensitivity = None,
    missing: Missing = "refuse",
    gaps: Gaps = "refuse",
    common_window: CommonWindow = False,
    differentiate: Differentiate = False,
) -> None:
    """Process records into an archive.

    Of a folder all files are taken, but not hidden ones, those in folders inside it, and those that end in
    .md .py .toml .png .json .html .h5 .npz. A file that cannot be processed is set aside with its reason, here and
    in ARCHIVE/failed.csv, and the rest goes on. Records that are in the archive already, from the same samples and
    settings, are skipped: run the same command again to go on after an interruption. Interrupted once (Ctrl-C), it
    finishes the records in hand; interrupted twice, it stops at once.

    \b
    Examples:
      strongmotion process demo_records -o archive
      strongmotion process demo_records/quay.csv -o archive --unit g --figures
      strongmotion settings > mine.toml       then edit mine.toml
      strongmotion process demo_records -o archive --settings mine.toml --replace --jobs 4
    """
    from .batch import process_files
    from .settings import Settings

    chosen = Settings.load(settings) if settings else Settings()
    how = _reading(stationxml, event, sample_unit, sensitivity, missing, gaps, common_window, differentiate)
    with _Progress() as progress:
        outcome = process_files(
            inputs, archive, chosen, layout, jobs, progress=progress, replace=replace, figures=figures, unit=unit,
            reading=how, cluster=cluster, interrupted=_say_stopping,
        )  # fmt: skip
    _show_outcome(outcome, archive, unit)
    if outcome.failed or outcome.remaining:
        raise typer.Exit(1)


@app.command(no_args_is_help=True)
def inspect(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="A record.", show_default=False)],
    layout: LayoutFile = None,
    stationxml: StationXml = None,
    event: EventFile = None,
    sample_unit: SampleUnit = None,
    sensitivity: Sensitivity = None,
    missing: Missing = "refuse",
    gaps: Gaps = "refuse",
    common_window: CommonWindow = False,
    differentiate: Differentiate = False,
    unit: Unit = "m/s2",
) -> None:
    """Show what a file holds, what is missing or would be assumed, and what the checks say of it.

    Nothing is processed or written. StationXML and QuakeML are shown, too; of a record in an archive its peaks, usable
    periods, findings and the history of its processing.

    \b
    Examples:
      strongmotion inspect demo_records/quay.csv
      strongmotion inspect demo_records/bell.txt --unit g
      strongmotion inspect archive/records/XX.QUAY.00_20310417T032627.h5
      strongmotion inspect quay.ms --stationxml stations/
    """
    from .formats import read_all

    if _show_document(file) or _show_stored(file, unit):
        return
    how = _reading(stationxml, event, sample_unit, sensitivity, missing, gaps, common_window, differentiate)
    for number, record in enumerate(read_all(file, layout=layout, **how)):
        if number:
            typer.echo()
        _show_record(record, unit)


def _reading(
    stationxml: Path | None,
    event: Path | None,
    unit: str | None,
    sensitivity: float | None,
    missing: str,
    gaps: str,
    common_window: bool,
    differentiate: bool,
) -> dict[str, Any]:
    """Return the keyword arguments of `read_all` that the options give; read what is for all files."""
    from .formats import read_quakeml, read_stationxml

    if unit is not None:
        acceleration_unit(unit)
    # What is wrong with these would fail every file, each with the same reason.
    if stationxml is not None:
        read_stationxml(stationxml)
    if event is not None:
        read_quakeml(event)
    return {
        "stationxml": stationxml, "event": event, "unit": unit, "sensitivity": sensitivity, "missing": missing,
        "gaps": gaps, "common_window": common_window, "differentiate": differentiate,
    }  # fmt: skip


def _show_document(file: Path) -> bool:
    """Show StationXML or QuakeML; False for any other file."""
    from .formats import document_kind, read_quakeml, read_stationxml

    kind = document_kind(file)
    if kind == "StationXML":
        rows = []
        for channel in read_stationxml(file).channels:
            whole = channel.node.first("Response", "InstrumentSensitivity")
            numbers = [channel.node.number("Azimuth"), channel.node.number("Dip")]
            numbers.append(None if whole is None else whole.number("Value"))
            azimuth, dip, value = ("not known" if number is None else f"{number:g}" for number in numbers)
            unit = "" if whole is None else whole.words("InputUnits", "Name")
            epoch = (str(time)[:19] if time is not None else "open" for time in (channel.begin, channel.end))
            rows.append((channel.id, *epoch, azimuth, dip, value, unit))
        _table(("channel", "from", "to", "azimuth °", "dip °", "sensitivity", "counts per"), rows)
    elif kind == "QuakeML":
        quakes = read_quakeml(file)
        rows = [
            tuple(
                "not known" if value in (None, "") else f"{value:g}" if isinstance(value, float) else value
                for value in (
                    q.name or q.id, q.time, q.latitude, q.longitude, q.depth, q.magnitude, q.magnitude_type
                )
            )
            for q in quakes
        ]  # fmt: skip
        _table(("earthquake", "origin time", "latitude °", "longitude °", "depth m", "magnitude", "of type"), rows)
    return bool(kind)


def _assumed(record: Record) -> list[str]:
    """Return what is missing in a record, and what that leads to."""
    said = []
    for component in record:
        if component.unit == COUNTS and component.sensitivity is None:
            said.append(
                f"{component.name} is in counts and its sensitivity is not known: it cannot be processed "
                "before --sensitivity, --stationxml or the file gives it"
            )
    if record.start is None:
        said.append("The start is not known: times are counted from the first sample")
    directions = {component.name: component.azimuth for component in record if component.name in ("H1", "H2")}
    if len(directions) == 2 and None in directions.values():
        said.append("The azimuths of H1 and H2 are not both known: they are taken to be at right angles")
    if record.station.latitude is None or record.station.longitude is None:
        said.append("The station's coordinates are not known: it will have no distance from the earthquake")
    return said


def _show_stored(file: Path, unit: str) -> bool:
    """Show a record of an archive; False for any other file."""
    head = b""
    with contextlib.suppress(OSError), file.open("rb") as stream:
        head = stream.read(len(HDF5))
    if head != HDF5:
        return False
    from .archive import read_result

    result = read_result(file)
    _show_record(result.record, unit, result.findings)
    typer.echo()
    factors = {"PGA": (in_unit(unit), unit), "PGV": (1.0, "m/s"), "PGD": (1.0, "m")}
    shown: dict[str, list[str]] = {}
    for row in result.peaks.itertuples():
        factor, _ = factors[row.quantity]
        known = row.band_low == row.band_low  # nothing where bands were left out
        limits = f" ({row.band_low * factor:.4g} to {row.band_high * factor:.4g})" if known else ""
        shown.setdefault(row.component, []).append(f"{row.value * factor:.4g}{limits}")
    _table(("component", *(f"{name} {its}" for name, (_, its) in factors.items())), [(c, *p) for c, p in shown.items()])
    typer.echo("In brackets the band of 5 to 95 %.\n")
    for name, band in result.usable_band.items():
        longest = "all longer" if band.longest_period == float("inf") else f"{band.longest_period:.3g} s"
        typer.echo(f"Usable periods of {name}: {band.shortest_period:.3g} s to {longest}.")
    typer.echo("\nHow it was processed:")
    for entry in result.history:
        typer.echo(f"  {entry.step}{f' ({entry.component})' if entry.component else ''}: {entry.what}.")
    typer.echo(CAUTION)
    return True


def _show_record(record: Record, unit: str, findings: Sequence[Finding] | None = None) -> None:
    station, quake = record.station, record.earthquake
    event = []
    if quake is not None:
        size = "" if quake.magnitude is None else f"{quake.magnitude_type or 'magnitude'} {quake.magnitude:g}"
        event = [part for part in (quake.name or quake.id, size, quake.time) if part]
    place = [f"{value:g}{unit_of} {what}" for value, unit_of, what in (
        (station.latitude, "°", "north"), (station.longitude, "°", "east"), (station.elevation, " m", "high")
    ) if value is not None]  # fmt: skip
    facts = (
        ("file", record.source.file),
        ("format", record.source.format),
        ("SHA-256", record.source.sha256),
        ("record", record.id),
        ("station", ", ".join(part for part in (station.network, station.code, station.location) if part)),
        ("name", station.name),
        ("place", ", ".join(place)),
        ("instrument", station.instrument),
        ("earthquake", ", ".join(event)),
        ("start", "" if record.start is None else f"{record.start} UTC"),
        ("samples", f"{record.samples}, every {record.dt:g} s"),
        ("duration", f"{record.duration:g} s"),
    )
    _table(("", ""), [(what, value or "not known") for what, value in facts])
    typer.echo()
    columns = ("component", "channel", "azimuth °", "dip °", "unit", "counts per m/s²", "mean", f"raw peak {unit}")
    _table(columns, [_component_row(component, unit) for component in record])
    typer.echo("The mean is in the unit of the samples; the raw peak is the largest departure from it.\n")
    for assumed in _assumed(record):
        typer.echo(f"{assumed}.")
    _show_findings(_found(record) if findings is None else findings)


@app.command(no_args_is_help=True)
def layout(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="A text file of the kind.", show_default=False)],
) -> None:
    """Draft a layout from an example file, for you to correct.

    The layout goes to the output; what the draft is unsure of, and what the file reads as by it, to the screen beside.

    \b
    Example:
      strongmotion layout station.txt > mine.toml        then look at mine.toml and correct it
      strongmotion inspect station.txt --layout mine.toml
    """
    from .formats.draft import draft_layout

    draft = draft_layout(file)
    typer.echo(draft.toml, nl=False)
    for doubt in draft.unsure:
        typer.echo(f"Unsure: {doubt}.", err=True)
    if draft.record is None:
        _complain(f"the draft does not read the file yet: {draft.problem}")
        raise typer.Exit(1)
    typer.echo(f"It reads as {draft.record.samples} samples every {draft.record.dt:g} s:", err=True)
    for component in draft.record:
        first = ", ".join(f"{value:g}" for value in component.samples[:4])
        last = f"{component.samples[-1]:g}"
        typer.echo(f"  {component.name} in {component.unit}: {first}, ... {last}", err=True)


@app.command()
def settings() -> None:
    """Print the default settings as commented TOML.

    Start your own from it: keep the lines you change, delete or leave the rest.

    \b
    Example:
      strongmotion settings > mine.toml
    """
    from .settings import Settings

    typer.echo(Settings().to_toml(), nl=False)


@app.command(no_args_is_help=True)
def reprocess(
    archive: ArchiveFolder,
    records: Annotated[
        list[str] | None, typer.Argument(metavar="RECORD...", help="Ids; all if none is given.", show_default=False)
    ] = None,
    settings: Annotated[
        Path | None,
        typer.Option("--settings", metavar="S.toml", help="Other choices than those each record was processed with."),
    ] = None,
    replace: Annotated[bool, typer.Option("--replace", help="Put the new results in place of the old.")] = False,
    jobs: Jobs = 1,
    cluster: Cluster = None,
    csv: Annotated[Path | None, typer.Option("--csv", metavar="F", help="Write every number that moved.")] = None,
) -> None:
    """Process records of an archive again from their stored raw samples, and say what moved.

    With the software and the settings they were made with, every number comes out the same to the last bit. The archive
    is left as it is unless --replace is given. Exit status 1: some failed, or moved without a reason.

    \b
    Examples:
      strongmotion reprocess archive
      strongmotion reprocess archive XX.QUAY_20310417T032627 --settings mine.toml --csv moved.csv
    """
    from .batch import reprocess
    from .settings import Settings

    chosen = Settings.load(settings) if settings else None
    with _Progress() as progress:
        answers = reprocess(archive, records or None, chosen, jobs, progress, replace, cluster, _say_stopping)
    _show_reprocessed(answers, csv)
    unexplained = [a for a in answers if not a.same and chosen is None and a.version == __version__]
    if unexplained or any(answer.failed for answer in answers):
        raise typer.Exit(1)


@app.command(no_args_is_help=True)
def catalogue(
    archive: ArchiveFolder,
    csv: CsvFile = None,
    parquet: ParquetFile = None,
    unit: Unit = "m/s2",
    periods: Annotated[
        str, typer.Option("--periods", metavar="T,T,...", help="Further oscillator periods, s, to have PSA at.")
    ] = "",
    rebuild: Annotated[bool, typer.Option("--rebuild", help="Build the index anew from every file.")] = False,
    jobs: Jobs = 1,
) -> None:
    """Tabulate an archive, a row a record.

    The screen has room for the most asked-for columns; --csv and --parquet write all of them. An index,
    ARCHIVE/catalogue.sqlite, keeps the table; new and changed files are read into it. It can be deleted at any time.

    \b
    Examples:
      strongmotion catalogue archive --unit g
      strongmotion catalogue archive --csv catalogue.csv --periods 0.5,2
    """
    from .archive import Archive

    store = Archive(archive)
    with _Progress() as progress:
        store.index.refresh(_periods(periods), rebuild, jobs, progress)
    _show_catalogue(store.catalogue(unit), csv, parquet)


def _periods(text: str) -> list[float]:
    try:
        periods = [float(part) for part in text.split(",") if part.strip()]
    except ValueError:
        raise InputError(f"--periods must be numbers of s with commas between, found {text!r}") from None
    return periods


@app.command(no_args_is_help=True)
def find(
    archive: ArchiveFolder,
    question: Annotated[str, typer.Argument(metavar="QUESTION", help="A pandas query over the catalogue's columns.")],
    csv: CsvFile = None,
    parquet: ParquetFile = None,
    unit: Unit = "m/s2",
) -> None:
    """Tabulate the records that a question holds for.

    Columns may be named without their unit: pga_h (the larger horizontal), pga_H1, pgv_RotD50, arias_intensity_H1,
    usable_period (the longest), severity, station, magnitude. Accelerations are in --unit. A name with a dot stands in
    `backticks`.

    \b
    Examples:
      strongmotion find archive "pga_h > 0.3 and usable_period > 2" --unit g
      strongmotion find archive "station == 'QUAY' and severity != 'unfit'" --csv quay.csv
    """
    from .archive import Archive

    _show_catalogue(Archive(archive).find(question, unit), csv, parquet)


def _show_catalogue(frame: pd.DataFrame, csv: Path | None, parquet: Path | None) -> None:
    from .archive import write_catalogue

    write_catalogue(frame, csv, parquet)
    shown = [column for column in frame.columns if column.startswith(_CATALOGUE_COLUMNS)]
    cells, marked = frame[shown].map(_cell), False
    for column in shown:
        if column.startswith("psa_"):
            period = float(column.split("_")[1].removesuffix("s"))
            outside = (frame.shortest_usable_period_s > period) | (frame.longest_usable_period_s < period)
            cells.loc[outside, column] += " *"
            marked = marked or outside.any()
    if sys.stdout.isatty():
        shown = _fitting(cells)
    _table([_spoken(column) for column in shown], cells[shown].to_numpy().tolist())
    rest = "" if csv or parquet else f" {len(shown)} are shown here; --csv F writes all of them."
    typer.echo(f"{_count(len(frame), 'record')}, {len(frame.columns)} columns.{rest}")
    if marked:
        typer.echo("* outside the record's usable periods.")
    for path in (csv, parquet):
        if path is not None:
            typer.echo(f"All columns are in {path}.")
    typer.echo(CAUTION)
    for problem in frame.attrs["problems"]:
        _complain(problem)
    if frame.attrs["problems"]:
        raise typer.Exit(1)


def _fitting(cells: pd.DataFrame) -> list[str]:
    """Return the first columns that the terminal is wide enough for; at least one."""
    shown: list[str] = []
    room = shutil.get_terminal_size().columns
    for column in cells:
        room -= 2 + max([len(_spoken(column)), *cells[column].map(len)])
        if shown and room < 0:
            break
        shown.append(column)
    return shown


@app.command(no_args_is_help=True)
def report(
    archive: ArchiveFolder,
    folder: Annotated[
        Path, typer.Option("--output", "-o", metavar="FOLDER", help="Where pages go; made if not there.")
    ],
    records: Annotated[
        list[str] | None, typer.Argument(metavar="RECORD", help="Ids of records; all if none is named.")
    ] = None,
    pdf: Annotated[bool, typer.Option("--pdf", help="Write each record's page as PDF too.")] = False,
    unit: Unit = "m/s2",
) -> None:
    """Write pages to read in a browser: one for each record, and one over the archive.

    Each page is one file that needs no network: numbers, findings, figures, the processing history and settings. Begin
    at FOLDER/index.html.

    \b
    Examples:
      strongmotion report archive -o pages --unit g
      strongmotion report archive XX.QUAY.00_20310417T032627 -o pages --pdf
    """
    from .report import write_report

    with _Progress() as progress:
        written = write_report(archive, folder, records or (), unit, pdf, progress)
    for record, reason in written.failed:
        _complain(f"{record}: {reason}")
    typer.echo(f"{_count(len(written.pages), 'page')} of records; begin at {written.index}.")
    typer.echo(CAUTION)
    if written.failed:
        raise typer.Exit(1)


@app.command(no_args_is_help=True)
def measures(
    source: Annotated[
        Path, typer.Argument(metavar="FILE|ARCHIVE", help="A record, or the folder of an archive.", show_default=False)
    ],
    settings: Annotated[
        Path | None, typer.Option("--settings", metavar="S.toml", help="Processing choices for a record.")
    ] = None,
    layout: LayoutFile = None,
    stationxml: StationXml = None,
    sample_unit: SampleUnit = None,
    sensitivity: Sensitivity = None,
    csv: Annotated[
        Path | None, typer.Option("--csv", metavar="F", help="Write the long table as CSV, and show nothing.")
    ] = None,
    unit: Unit = "m/s2",
) -> None:
    """Show every measure of a record, or of all records of an archive.

    A record is processed, and nothing is kept of it. A star marks a value that its usable band does not support. The
    long table has a row a measure and component, with the source of its definition and its band of uncertainty.

    \b
    Examples:
      strongmotion measures demo_records/quay.csv --unit g
      strongmotion measures archive --csv measures.csv
    """
    import pandas as pd

    from .archive import Archive, in_acceleration_unit, write_catalogue

    if source.is_dir():
        whole = Archive(source).measures(unit)
    else:
        from .formats import read_all
        from .result import process
        from .settings import Settings

        chosen = Settings.load(settings) if settings else Settings()
        how = _reading(stationxml, None, sample_unit, sensitivity, "refuse", "refuse", False, False)
        tables = [
            process(record, chosen).measures.assign(record=record.id)
            for record in read_all(source, layout=layout, **how)
        ]
        whole = in_acceleration_unit(pd.concat(tables, ignore_index=True), unit)
        whole = whole[["record", *whole.columns.drop("record")]]
    write_catalogue(whole, csv)
    if csv is not None:
        typer.echo(f"{_count(len(whole), 'row')} of {_count(whole['record'].nunique(), 'record')} are in {csv}.")
    else:
        for record_id, table in whole.groupby("record", sort=False):
            typer.echo(record_id)
            _show_measures(table)
        if not whole["usable"].all():
            typer.echo("* not usable: outside the usable band, of an unfit component, or without a number.")
    typer.echo(CAUTION)
    for problem in whole.attrs.get("problems", ()):
        _complain(problem)
    if whole.attrs.get("problems"):
        raise typer.Exit(1)


@app.command(no_args_is_help=True)
def verify(archive: ArchiveFolder, jobs: Jobs = 1) -> None:
    """Check that an archive is as it was written.

    Every byte is read; each file that was changed, damaged, left over or put there is named.

    \b
    Example:
      strongmotion verify archive --jobs 2
    """
    from .archive import Archive

    store = Archive(archive)
    with _Progress() as progress:
        problems = store.verify(jobs, progress)
    for problem in problems:
        _complain(str(problem))
    found = _count(len(problems), "problem") if problems else "all sound"
    typer.echo(f"{_count(len(store), 'record')}, {found}.")
    if problems:
        raise typer.Exit(1)


Into = Annotated[Path, typer.Option("--output", "-o", metavar="ARCHIVE", help="Where they go; made if not there.")]


@app.command(no_args_is_help=True)
def extract(
    archive: ArchiveFolder,
    output: Into,
    records: Annotated[
        list[str] | None, typer.Argument(metavar="RECORD...", help="Ids of records.", show_default=False)
    ] = None,
    where: Annotated[
        str, typer.Option("--where", metavar="QUESTION", help="Those that `strongmotion find` finds.")
    ] = "",
    unit: Unit = "m/s2",
) -> None:
    """Copy some records of an archive into another, byte for byte.

    \b
    Examples:
      strongmotion extract archive XX.QUAY_20310417T032627 -o quay
      strongmotion extract archive --where "pga_h > 0.3" --unit g -o strong
    """
    from .archive import Archive

    store = Archive(archive)
    wanted = list(records or ())
    if where:
        wanted += store.find(where, unit)["record"].tolist()
    elif not wanted:
        raise InputError("no record is named", remedy="Give ids, or --where with a question")
    _show_taken(Archive(output, create=True).take_from([store], wanted), output)


@app.command(no_args_is_help=True)
def merge(
    archives: Annotated[list[Path], typer.Argument(metavar="ARCHIVE...", help="Archives.", show_default=False)],
    output: Into,
) -> None:
    """Copy all records of some archives into one, byte for byte.

    Where two hold different results of one record nothing is copied, and the record is named.

    \b
    Example:
      strongmotion merge monday tuesday -o week
    """
    from .archive import Archive

    stores = [Archive(folder) for folder in archives]
    _show_taken(Archive(output, create=True).take_from(stores), output)


def _show_taken(numbers: tuple[int, int], archive: Path) -> None:
    copied, there = numbers
    typer.echo(f"{_count(copied, 'record')} copied, {there} there already; archive {archive}.")


@app.command(no_args_is_help=True)
def export(
    archive: ArchiveFolder,
    records: Annotated[list[str], typer.Argument(metavar="RECORD...", help="Ids of records.", show_default=False)],
    output: Annotated[Path, typer.Option("--output", "-o", metavar="FOLDER", help="Where the files go.")],
    csv: Annotated[
        bool, typer.Option("--csv", help="Motion and spectra as CSV; so, too, if no form is named.")
    ] = False,
    parquet: Annotated[bool, typer.Option("--parquet", help="Motion as Parquet (needs pyarrow).")] = False,
    miniseed: Annotated[bool, typer.Option("--miniseed", help="Motion as miniSEED 3, float64.")] = False,
) -> None:
    """Write processed motion and spectra of records to files for other programs.

    Units are m/s², m/s and m; the pads are left out; the numbers come back bit for bit.

    \b
    Example:
      strongmotion export archive XX.QUAY.00_20310417T032627 -o for_others --csv --miniseed
    """
    from .archive import Archive
    from .archive import export as export_result

    store = Archive(archive)
    chosen = {"csv": csv, "parquet": parquet, "miniseed": miniseed}
    forms: Any = [form for form, wanted in chosen.items() if wanted] or ["csv"]
    for record in records:
        for path in export_result(store[record], output, forms):
            typer.echo(str(path))
    typer.echo(CAUTION)


@app.command(no_args_is_help=True)
def event(
    archive: ArchiveFolder,
    output: Annotated[
        Path, typer.Option("--output", "-o", metavar="FOLDER", help="Where the picture goes; made if not there.")
    ],
    velocity: Annotated[
        list[str] | None,
        typer.Option(
            "--velocity",
            metavar="[TOP:]VP/VS",
            help="P and S velocity, km/s; once for each layer, with the depth of its top in km. 6.0/3.5 if not given.",
        ),
    ] = None,
    picks: Annotated[
        Path | None,
        typer.Option("--picks", metavar="F.csv", help="Arrivals you read: record,phase,time[,uncertainty]. They win."),
    ] = None,
    begin: Annotated[
        str | None, typer.Option("--from", metavar="UTC", help="Only records that begin at this time or later.")
    ] = None,
    end: Annotated[
        str | None, typer.Option("--to", metavar="UTC", help="Only records that begin at this time or earlier.")
    ] = None,
    depth: Annotated[
        float, typer.Option("--depth", metavar="KM", help="Taken, within --depth-error, where arrivals do not tell it.")
    ] = 10.0,
    depth_error: Annotated[float, typer.Option("--depth-error", metavar="KM")] = 7.0,
    time_error: Annotated[
        float, typer.Option("--time-error", metavar="S", help="Standard error of the model's travel times.")
    ] = 0.1,
    classical: Annotated[
        bool,
        typer.Option(
            "--classical", help="Wood-Anderson with damping 0.8 and magnification 2800, not 0.7 and 2080, for the ML."
        ),
    ] = False,
) -> None:
    """Draw a first picture of the earthquake from an archive's records.

    P and S are picked on every record; they give place, depth and origin time, with their errors; amplitudes give
    magnitudes. What the records cannot tell is said. FOLDER gets event.txt, event.xml (QuakeML), stations.csv, map.png,
    section.png and shaking.png. Not for warning or public alert; the agencies' solution is the authority.

    In the file of --picks, record is its id or its station's code, and time is in s after the record's first sample, or
    UTC such as 2031-04-17T03:26:45.32.

    \b
    Examples:
      strongmotion event archive -o event
      strongmotion event archive -o event --velocity 0:5.5/3.2 --velocity 12:6.4/3.7
      strongmotion event archive -o event --picks mine.csv --from 2031-04-17T03:20 --to 2031-04-17T03:30
    """
    from .archive import Archive
    from .event import CLASSICAL, UHRHAMMER_COLLINS, EventSettings, VelocityModel, describe, read_picks, study_archive
    from .report import write_event

    chosen = EventSettings(
        VelocityModel.parse(velocity) if velocity else VelocityModel(),
        time_error,
        (depth, depth_error),
        CLASSICAL if classical else UHRHAMMER_COLLINS,
    )
    found = study_archive(
        Archive(archive),
        chosen,
        picks=None if picks is None else read_picks(picks),
        begin=None if begin is None else _instant(begin),
        end=None if end is None else _instant(end),
    )
    write_event(found, output)
    columns = ("station", "s_minus_p_s", "epicentral_distance_km", "p_residual_s", "s_residual_s", "pga_m_s2",
               "local_magnitude", "moment_magnitude")  # fmt: skip
    headings = ("station", "S-P s", "distance km", "P residual s", "S residual s", "PGA m/s2", "ML", "Mw")
    _table(headings, [[_cell(value) for value in row] for row in found.stations[list(columns)].to_numpy()])
    typer.echo()
    typer.echo(describe(found), nl=False)
    typer.echo(f"Written to {output}.")


def _instant(text: str) -> np.datetime64:
    import numpy as np

    try:
        return np.datetime64(text.removesuffix("Z"), "ns")
    except ValueError:
        raise InputError(f"{text!r} is not a time", remedy="Write UTC as 2031-04-17T03:26") from None


def main() -> None:
    """Run the command line; errors of the family become one line and an exit status."""
    try:
        app()
    except (SettingsError, InputError) as error:
        _complain(str(error))
        sys.exit(2)
    except StrongMotionError as error:
        _complain(str(error))
        sys.exit(1)


_CATALOGUE_COLUMNS = (
    "record", "pga_H1", "pga_H2", "pga_V", "pgv_RotD50", "psa_0.2s", "psa_1s", "longest_usable", "worst",
)  # fmt: skip


def _say_stopping() -> None:
    _complain("finishing the records in hand; interrupt again to stop at once.")


def _show_reprocessed(answers: Sequence[Reprocessed], csv: Path | None) -> None:
    rows = []
    for answer in answers:
        if answer.failed:
            _complain(f"{answer.record}: {answer.failed}")
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
        _table(columns, rows)
    same, failed = sum(answer.same for answer in answers), sum(bool(answer.failed) for answer in answers)
    typer.echo(f"{same} the same to the last bit, {len(answers) - same - failed} moved, {failed} failed.")
    tables = [answer.moved for answer in answers if answer.moved is not None]
    if tables:
        typer.echo("Percentages are the largest over components and periods.")
    if csv is not None:
        import pandas as pd

        from .archive import MOVED, write_catalogue

        write_catalogue(pd.concat(tables, ignore_index=True) if tables else pd.DataFrame(columns=MOVED), csv)
        typer.echo(f"Every number that moved is in {csv}.")
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


def _show_outcome(outcome: Outcome, archive: Path, unit: str) -> None:
    factor = in_unit(unit)
    if outcome.done or outcome.skipped:
        rows = [
            (done.record, f"{done.pga * factor:.4g}", f"{done.pgv:.4g}", f"{done.pgd:.4g}", done.severity or "none",
             "there already" if done.skipped else "processed")
            for done in (*outcome.done, *outcome.skipped)
        ]  # fmt: skip
        _table(("record", f"PGA {unit}", "PGV m/s", "PGD m", "worst finding", ""), rows)
        typer.echo("Peaks are the largest over the record's components.")
    for failure in outcome.failed:
        _complain(f"{failure.file}: {failure.reason}")
    counts = f"{len(outcome.done)} processed, {len(outcome.skipped)} there already, {len(outcome.failed)} failed"
    listed = f", listed in {archive / 'failed.csv'}" if outcome.failed else ""
    typer.echo(f"{counts}{listed}; archive {archive}.")
    if outcome.remaining:
        _complain(
            f"interrupted with {_count(len(outcome.remaining), 'file')} to go. Run the same command again to go on."
        )
    typer.echo(CAUTION)


def _component_row(component: Component, unit: str) -> tuple[str, ...]:
    mean = component.samples.mean(dtype=float)
    try:
        peak = f"{abs(component.samples - mean).max() * abs(component.scale) * in_unit(unit):.4g}"
    except StrongMotionError:
        peak = "not known"  # counts without a sensitivity
    numbers = (component.azimuth, component.dip, component.sensitivity)
    azimuth, dip, sensitivity = ("-" if number is None else f"{number:g}" for number in numbers)
    return (component.name, component.channel or "-", azimuth, dip, component.unit, sensitivity, f"{mean:.5g}", peak)


def _found(record: Record) -> tuple[Finding, ...]:
    """Return what the checks find, and what processing by the default settings does where the scale is known."""
    from .chain import correct
    from .checks import examine
    from .result import DAMAGING
    from .settings import Settings

    seen = examine(record)
    if any(component.unit == COUNTS and component.sensitivity is None for component in record):
        return seen
    damaged = {finding.component for finding in seen if finding.name in DAMAGING}
    return (*seen, *correct(record, Settings(), damaged).findings)


def _show_findings(findings: Sequence[Finding]) -> None:
    if not findings:
        typer.echo("Nothing was found to say against this record.")
        return
    for finding in findings:
        where = " ".join(part for part in (finding.component, finding.where) if part)
        typer.echo(f"{finding.severity}: {finding.name}{f' ({where})' if where else ''}: {finding.what}.")
        typer.echo(f"    Effect: {finding.effect}.")
        typer.echo(f"    Remedy: {finding.remedy}.")


def _show_measures(table: Any) -> None:
    """Print the measures of one record, a row a measure and a column a component."""
    from .measures import japanese_words, mercalli_words

    components = list(table["component"].unique())
    cells: dict[tuple[str, str], dict[str, str]] = {}
    for row in table.itertuples():
        mark = "" if row.usable else "*"
        cells.setdefault((row.measure, row.unit), {})[row.component] = f"{_cell(row.value)}{mark}"
    _table(
        ("measure", "unit", *components),
        [
            (
                measure,
                "" if unit == "1" else label(unit) if unit.endswith("/s2") else unit,
                *(values.get(component, "") for component in components),
            )
            for (measure, unit), values in cells.items()
        ],
    )
    found = {row.measure: row.value for row in table.itertuples() if row.unit == "grade" and row.usable}
    for measure, words in (
        ("Modified Mercalli intensity from PGV, 2012", mercalli_words), ("Japanese seismic intensity", japanese_words)
    ):  # fmt: skip
        if measure in found:
            grade, meaning = words(found[measure])
            typer.echo(f"{measure} {found[measure]:.2f}, {grade}: {meaning}.")  # 4.46 is class 4, and is not 4.5
    typer.echo()


def _spoken(column: str) -> str:
    """Turn a catalogue column into a heading: ``pga_H1_m_s2`` into ``PGA H1 m/s2``."""
    text = column.replace("_m_s2", " m/s2").replace("_cm_s2", " cm/s2").replace("_m_s", " m/s").replace("_", " ")
    for word in ("pga", "pgv", "psa"):
        text = text.replace(word, word.upper())
    return text.replace("longest usable period", "longest period")


def _cell(value: Any) -> str:
    if isinstance(value, float):
        return "-" if value != value else f"{value:.4g}"
    return str(value) if value not in (None, "") else "none"


def _table(columns: Sequence[str], rows: Sequence[Sequence[str]]) -> None:
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
        numbers = any(columns) and index > 0 and all(_is_number(row[index]) for row in rows)
        justify: Literal["left", "right"] = "right" if numbers else "left"
        table.add_column(column, overflow="fold", no_wrap=index == 0, justify=justify)
    for row in rows:
        table.add_row(*row)
    Console(markup=False, highlight=False).print(table)


def _is_number(text: str) -> bool:
    try:
        float(text)
    except ValueError:
        return text == "-"
    return True


def _count(number: int, thing: str) -> str:
    return f"{number} {thing}{'s' * (number != 1)}"


def _complain(text: str) -> None:
    typer.echo(f"strongmotion: {text}", err=True)


class _Progress:
    """A bar with rate and remaining time on a terminal; nothing where there is none."""

    def __enter__(self) -> _Progress:
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
        if self._bar is not None:
            elapsed = self._bar.tasks[0].elapsed or 0.0
            rate = f"{finished / elapsed:.1f} records/s" if finished and elapsed > 0 else ""
            self._bar.update(self._task, completed=finished, total=total, rate=rate)

    def __exit__(self, *_: object) -> None:
        if self._bar is not None:
            self._bar.stop()


if __name__ == "__main__":
    main()
