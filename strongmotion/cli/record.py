"""Commands about a record: process, inspect, measures, layout, settings."""

from __future__ import annotations

import contextlib
import dataclasses
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from ..foundation.cautions import CAUTION
from ..foundation.errors import StrongMotionError
from ..foundation.files import printable
from ..foundation.units import COUNTS, G, in_unit, label
from .app import RECORDS, app
from .options import (
    By,
    Channels,
    Cluster,
    CommonWindow,
    ComponentNames,
    Dt,
    EventFile,
    Gaps,
    Given,
    Jobs,
    LayoutFile,
    Missing,
    SampleUnit,
    Sensitivity,
    SensorKind,
    StartTime,
    StationCode,
    StationXml,
    TimeSpan,
    Unit,
    Why,
    reading_options,
)
from .tables import (
    Progress,
    cell,
    complain,
    count,
    say_stopping,
    show_findings,
    show_table,
)

if TYPE_CHECKING:
    from ..batch import Done, Outcome
    from ..formats import Records
    from ..formats.draft import Draft
    from ..record import Component, Finding, Record
    from ..settings import Settings


@app.command(no_args_is_help=True, rich_help_panel=RECORDS)
def process(
    inputs: Annotated[
        list[Path], typer.Argument(metavar="FILE|FOLDER...", help="Files and folders of records.", show_default=False)
    ],
    archive: Annotated[
        Path, typer.Option("--output", "-o", metavar="ARCHIVE", help="Archive to write; created if needed.")
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
        bool, typer.Option("--figures", help="Draw motion and spectra of each record in ARCHIVE/figures.")
    ] = False,
    by: By = "",
    why: Why = "",
    watch: Annotated[
        bool, typer.Option("--watch", help="Process files as they arrive in the folders, until interrupted.")
    ] = False,
    stationxml: StationXml = None,
    event: EventFile = None,
    sample_unit: SampleUnit = None,
    sensitivity: Sensitivity = None,
    dt: Dt = None,
    component: ComponentNames = None,
    station: StationCode = None,
    start: StartTime = None,
    given: Given = None,
    missing: Missing = "refuse",
    gaps: Gaps = "refuse",
    common_window: CommonWindow = False,
    sensor: SensorKind = "accelerometer",
    channel: Channels = None,
    time: TimeSpan = None,
    join: Annotated[bool, typer.Option("--join/--no-join", help="Join files that hold one component each.")] = True,
    begin: Annotated[
        str | None,
        typer.Option("--from", metavar="T", help="Start of the record: s after the file's first sample, or UTC."),
    ] = None,
    end: Annotated[str | None, typer.Option("--to", metavar="T", help="End of the record, in the same form.")] = None,
    split_shocks: Annotated[
        bool, typer.Option("--split-shocks", help="Make a record of each shock in the file.")
    ] = False,
) -> None:
    """Process records into an archive.

    Files of one component each are joined into one record if station, start, interval, length, unit and instrument
    agree. If files look like one record but are not joined, the reason is printed; --no-join keeps all files separate.

    A file longer than a quarter of an hour is treated as continuous data, and its strongest shaking is extracted.
    --from and --to extract another time window, and --split-shocks makes a record of each shock.

    In a folder, all files are read except hidden ones, those in subfolders, and those that end in
    .md .py .toml .png .json .html .h5 .npz. A file that cannot be processed does not stop the others: it is listed with
    the reason, on the screen and in ARCHIVE/failed.csv. Records that are already in the archive, from the same samples,
    metadata, settings and software, are skipped, so the same command resumes after an interruption. If one of these
    differs, the result is added as a new version; nothing is overwritten, and a version that a person accepted stays
    current.
    Ctrl-C finishes the records in progress and then stops; a second Ctrl-C stops immediately.

    \b
    Examples:
      strongmotion process demo_records -o archive
      strongmotion process demo_records/quay.csv -o archive --unit g --figures
      strongmotion settings > mine.toml       (then edit mine.toml)
      strongmotion process demo_records -o archive --settings mine.toml --jobs 4
      strongmotion process inbox -o archive --watch
      strongmotion process day.ms -o archive --split-shocks
      strongmotion process day.ms -o archive --station QUAY --channel 'HN?' --gaps split
      strongmotion process day.ms -o archive --from 2031-03-17T03:26:00 --to 2031-03-17T03:30:00
    """
    from ..batch import process_files, watch_folders
    from ..settings import Settings

    chosen = _with_window(Settings.load(settings) if settings else Settings(), begin, end)
    how = reading_options(
        given, layout=layout, stationxml=stationxml, event=event, unit=sample_unit, sensitivity=sensitivity, dt=dt,
        component=component, station=station, start=start, missing=missing, gaps=gaps, common_window=common_window,
        sensor=sensor, channel=channel, time=time,
    )  # fmt: skip
    options: dict[str, Any] = {
        "jobs": jobs, "figures": figures, "unit": unit, "reading": how, "cluster": cluster,
        "interrupted": say_stopping, "by": by, "why": why, "split_shocks": split_shocks,
        "join": join,
    }  # fmt: skip
    if watch:
        for outcome in watch_folders(inputs, archive, chosen, **options):
            _show_outcome(outcome, archive, unit)
        return
    with Progress() as progress:
        outcome = process_files(inputs, archive, chosen, progress=progress, **options)
    _show_outcome(outcome, archive, unit)
    if outcome.failed or outcome.remaining:
        raise typer.Exit(1)


MOST_SAID = 20
"""Sets of files that were not joined which are named."""


def _with_window(settings: Settings, begin: str | None, end: str | None) -> Settings:
    """Return settings with the span of the options --from and --to, where they are given."""
    given = {name: text for name, text in (("begin", begin), ("end", end)) if text is not None}
    if not given:
        return settings
    times: dict[str, Any] = {}
    for name, text in given.items():
        try:
            times[name] = float(text)
        except ValueError:
            times[name] = text
    return dataclasses.replace(settings, window=dataclasses.replace(settings.window, **times))


def _show_outcome(outcome: Outcome, archive: Path, unit: str) -> None:
    factor = in_unit(unit)
    if outcome.done or outcome.skipped:
        rows = [
            (done.record, *_marked(done, factor), done.severity or "none", _what_became(done))
            for done in (*outcome.done, *outcome.skipped)
        ]
        show_table(("record", f"PGA {unit}", "PGV m/s", "PGD m", "worst finding", ""), rows)
        cells = "".join(one for row in rows for one in row[1:4])
        at_least = " ≥: at least this large." if "≥" in cells else ""
        unusable = " *: not to be used; `strongmotion inspect` says why." if "*" in cells else ""
        typer.echo(f"Peaks are the largest over the record's components.{at_least}{unusable}")
    for apart in outcome.apart[:MOST_SAID]:
        files = ", ".join(printable(file) for file in dict.fromkeys(apart.files))
        complain(f"not joined: {files}: {apart.what}. {apart.remedy}.")
    if len(outcome.apart) > MOST_SAID:
        complain(f"not joined, for like reasons: {count(len(outcome.apart) - MOST_SAID, 'more set')} of files.")
    for failure in outcome.failed:
        complain(f"{printable(failure.file)}: {failure.reason}")
    counts = f"{len(outcome.done)} processed, {len(outcome.skipped)} skipped (unchanged), {len(outcome.failed)} failed"
    listed = f", listed in {archive / 'failed.csv'}" if outcome.failed else ""
    typer.echo(f"{counts}{listed}; archive {archive}.")
    if outcome.remaining:
        if outcome.stopped:
            complain(outcome.stopped)
        complain(
            f"interrupted with {count(len(outcome.remaining), 'file')} remaining. Run the same command again to resume."
        )
        shown = [printable(file) for file in outcome.remaining[:10]]
        more = f" and {len(outcome.remaining) - 10} more" if len(outcome.remaining) > 10 else ""
        complain(f"to go: {', '.join(shown)}{more}.")
    typer.echo(CAUTION)


def _marked(done: Done, factor: float) -> tuple[str, ...]:
    """Return PGA, PGV and PGD, with a mark where the true one is at least this large, or where it may not be used."""
    values = (done.pga * factor, done.pgv, done.pgd)
    return tuple(
        f"{'≥ ' if bound else ''}{value:.4g}{'' if usable else ' *'}"
        for value, usable, bound in zip(values, done.usable, done.bounds, strict=True)
    )


def _what_became(done: Done) -> str:
    if done.skipped:
        return "skipped (unchanged)"
    of = f" from {len(done.joined) + 1} files" if done.joined else ""
    return f"version {done.version}{of}: other {', '.join(done.differs)}" if done.differs else f"processed{of}"


@app.command(no_args_is_help=True, rich_help_panel=RECORDS)
def inspect(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="The file of a record.", show_default=False)],
    layout: LayoutFile = None,
    stationxml: StationXml = None,
    event: EventFile = None,
    sample_unit: SampleUnit = None,
    sensitivity: Sensitivity = None,
    dt: Dt = None,
    component: ComponentNames = None,
    station: StationCode = None,
    start: StartTime = None,
    given: Given = None,
    missing: Missing = "refuse",
    gaps: Gaps = "refuse",
    common_window: CommonWindow = False,
    sensor: SensorKind = "accelerometer",
    channel: Channels = None,
    time: TimeSpan = None,
    unit: Unit = "m/s2",
) -> None:
    """Show the content of a file, what is missing or would be assumed, and the findings of the checks.

    Nothing is processed or written. StationXML and QuakeML files can be shown too. For a record file of an archive, its
    peaks, usable periods, findings and processing history are shown.

    \b
    Examples:
      strongmotion inspect demo_records/quay.csv
      strongmotion inspect demo_records/bell.txt --unit g
      strongmotion inspect archive/records/XX.QUAY.00_20310417T032627.310.v1-0a1b2c3d.h5
      strongmotion inspect quay.ms --stationxml stations/
    """
    from ..formats import read_all

    if _show_document(file) or _show_stored(file, unit):
        return
    how = reading_options(
        given, layout=layout, stationxml=stationxml, event=event, unit=sample_unit, sensitivity=sensitivity, dt=dt,
        component=component, station=station, start=start, missing=missing, gaps=gaps, common_window=common_window,
        sensor=sensor, channel=channel, time=time,
    )  # fmt: skip
    records = read_all(file, **how)
    for number, record in enumerate(records):
        if number:
            typer.echo()
        _show_record(record, unit)
    if _complain_of(records):
        raise typer.Exit(1)


def _complain_of(records: Records) -> bool:
    """Say what of a file could not be read; tell whether there was any."""
    for unread in records.unread:
        which = f"channel {unread.channel}" if unread.channel else f"record {unread.record}"
        complain(f"{printable(which)}: {unread.error}")
    return bool(records.unread)


def _show_document(file: Path) -> bool:
    """Show StationXML or QuakeML; False for any other file."""
    from ..formats import document_kind, read_quakeml, read_stationxml

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
        show_table(("channel", "from", "to", "azimuth °", "dip °", "sensitivity", "counts per"), rows)
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
        show_table(("earthquake", "origin time", "latitude °", "longitude °", "depth m", "magnitude", "of type"), rows)
    return bool(kind)


def _assumed(record: Record) -> list[str]:
    """Return what is missing in a record, and what that leads to."""
    said = []
    for component in record:
        if component.unit == COUNTS and component.sensitivity is None:
            said.append(
                f"{component.name} is in counts, but its sensitivity is unknown: to process it, give --sensitivity or "
                "--stationxml"
            )
    if record.start is None:
        said.append("The start is not known: times are counted from the first sample")
    directions = {component.name: component.azimuth for component in record if component.name in ("H1", "H2")}
    if len(directions) == 2 and None in directions.values():
        said.append("The azimuths of H1 and H2 are not both known: they are assumed to be at right angles")
    if record.station.latitude is None or record.station.longitude is None:
        said.append("The station's coordinates are not known: it will have no distance from the earthquake")
    return said


def _show_stored(file: Path, unit: str) -> bool:
    """Show a record of an archive; False for any other file."""
    head = b""
    if not file.is_file():  # a pipe would be waited for
        return False
    with contextlib.suppress(OSError), file.open("rb") as stream:
        head = stream.read(len(HDF5))
    if head != HDF5:
        return False
    from ..archive import read_result

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
    headings = ("component", *(f"{name} {its}" for name, (_, its) in factors.items()))
    show_table(headings, [(component, *cells) for component, cells in shown.items()])
    typer.echo("In brackets the band of 5 to 95 %.\n")
    for name, band in result.usable_band.items():
        if not band.usable:
            typer.echo(f"Usable periods of {name}: none, it is unfit.")
            continue
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
    place = [
        f"{abs(value):g}° {letters[value < 0]}"
        for value, letters in ((station.latitude, "NS"), (station.longitude, "EW")) if value is not None
    ]  # fmt: skip
    if station.elevation is not None:
        place.append(f"elevation {station.elevation:g} m")
    facts = (
        *(
            (f"{what}{of}", value)
            for source in (record.source, *record.joined)
            for of in (f" of {', '.join(source.components)}" if source.components else "",)
            for what, value in (("file", source.file), ("format", source.format), ("SHA-256", source.sha256))
        ),
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
    show_table(("", ""), [(what, value or "not known") for what, value in facts])
    typer.echo()
    columns = ("component", "channel", "azimuth °", "dip °", "unit", "counts per m/s²", "mean", f"raw peak {unit}")
    show_table(columns, [_component_row(component, unit) for component in record])
    typer.echo("The mean is in the unit of the samples; the raw peak is the largest departure from it.\n")
    for assumed in _assumed(record):
        typer.echo(f"{assumed}.")
    show_findings(_found(record) if findings is None else findings, unit)


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
    from ..chain import correct, cut_to_shaking
    from ..checks import examine
    from ..result import DAMAGING
    from ..settings import Settings

    if any(component.unit == COUNTS and component.sensitivity is None for component in record):
        return examine(record)
    record = cut_to_shaking(record, Settings())
    seen = examine(record)
    damaged = {finding.component for finding in seen if finding.name in DAMAGING}
    return (*seen, *correct(record, Settings(), damaged).findings)


HDF5 = b"\x89HDF\r\n\x1a\n"
"""How such a file begins."""


@app.command(no_args_is_help=True, rich_help_panel=RECORDS)
def layout(
    file: Annotated[
        Path | None,
        typer.Argument(metavar="FILE", help="An example file, or with --save a layout.", show_default=False),
    ] = None,
    save: Annotated[
        str | None,
        typer.Option("--save", metavar="NAME", help="Save it among your layouts; files like it are then recognised."),
    ] = None,
    listed: Annotated[bool, typer.Option("--list", help="List your layouts and the built-in ones.")] = False,
) -> None:
    """Draft a layout from an example file, for you to correct.

    The layout is written to standard output; doubts, and the record as read with the draft, to standard error. On a
    terminal you are asked about each doubtful quantity; otherwise it is written as ?, and the layout cannot be used
    until you fill it in. With --save, a layout file is stored among your layouts.

    \b
    Examples:
      strongmotion layout station.txt > mine.toml        (then check and correct mine.toml)
      strongmotion inspect station.txt --layout mine.toml
      strongmotion layout mine.toml --save quarry        (files like it are then read without --layout)
      strongmotion layout --list
    """
    from ..formats.draft import draft_layout
    from ..formats.kept import folder, keep_layout, kept_layouts
    from ..formats.layout import ready_layouts

    if listed:
        rows = [(name, "ready", "") for name in ready_layouts()]
        rows += [(name, "yours", str(path)) for name, path in kept_layouts().items()]
        show_table(("layout", "", "file"), rows)
        typer.echo(f"Your layouts are the .toml files in {folder()}.")
        return
    if file is None:
        raise typer.BadParameter("give an example FILE, or --list")
    if file.suffix.lower() == ".toml":
        if save is None:
            raise typer.BadParameter("this is a layout already; give --save NAME to keep it")
        typer.echo(f"Kept as {keep_layout(file.read_text(encoding='utf-8'), save)}.")
        return
    draft = draft_layout(file)
    toml = draft.toml
    if sys.stdin.isatty() and sys.stderr.isatty():
        toml = _asked(file, draft)
    if save is not None:
        typer.echo(f"Kept as {keep_layout(toml, save)}.", err=True)
    typer.echo(toml, nl=False)
    for doubt in draft.unsure:
        typer.echo(f"Unsure: {doubt}.", err=True)
    try:
        record = _by_layout(file, toml)
    except StrongMotionError as error:
        complain(f"the draft does not read the file yet: {error}")
        raise typer.Exit(1) from None
    typer.echo(f"Read as {draft.said}." if draft.said else "", err=True)
    _preview(record)


def _by_layout(file: Path, toml: str) -> Record:
    """Return the first record of a file by a layout given as text."""
    from ..formats.draft import prepared
    from ..formats.layout import layout_from_text
    from ..formats.text import read_texts

    return read_texts(prepared(file), layout_from_text(toml, "the draft"))[0]


def _asked(file: Path, draft: Draft) -> str:
    """Ask for each quantity that the draft leaves open, show what it makes of the file, and return the layout."""
    toml = draft.toml
    for choice in draft.choices:
        quantity = "dt" if choice.quantity == "sampling_rate" else choice.quantity
        if f'{quantity} = "?"' not in toml:
            continue
        typer.echo(f"{choice.doubt or f'The file does not seem to state its {quantity}'}.", err=True)
        while True:
            answer = typer.prompt(f"{quantity} (? leaves it open)", err=True).strip()
            if answer == "?":
                break
            shown = answer if quantity in ("dt", "sensitivity") else "'" + answer.replace("'", "") + "'"
            tried = toml.replace(f'{quantity} = "?"', f"{quantity}.value = {shown}")
            try:
                record = _by_layout(file, tried)
            except StrongMotionError as error:
                if error.field is None or f'{error.field} = "?"' not in tried:
                    typer.echo(str(error), err=True)
                    continue
                toml = tried
                break
            _preview(record)
            if typer.confirm("Is this right?", default=True, err=True):
                toml = tried
                break
    return toml


_BARS = " .:-=+*#%@"


def _preview(record: Record) -> None:
    """Show what a draft reads: each component's samples, peak, duration, rate and a trace in characters."""
    import numpy as np

    typer.echo(
        f"{record.samples} samples every {record.dt:g} s ({1 / record.dt:g} Hz), {record.duration:g} s long:", err=True
    )
    for component in record:
        first = ", ".join(f"{value:g}" for value in component.samples[:4])
        samples = component.samples.astype(float)
        try:
            peak = float(abs(samples).max()) * abs(component.scale)
            size = f"PGA {peak * 100:.4g} cm/s² = {peak / G:.4g} g"
        except StrongMotionError:
            size = "no sensitivity, so no PGA"
        typer.echo(f"  {component.name} in {component.unit}: {first}, ... {component.samples[-1]:g}; {size}", err=True)
        pieces = [abs(piece - samples.mean()).max() for piece in np.array_split(samples, min(60, len(samples)))]
        top = max(pieces) or 1.0
        typer.echo("  |" + "".join(_BARS[round(9 * piece / top)] for piece in pieces) + "|", err=True)


@app.command(rich_help_panel=RECORDS)
def settings() -> None:
    """Print the default settings as commented TOML.

    Start your own settings file from it. It needs only the lines that you change.

    \b
    Example:
      strongmotion settings > mine.toml
    """
    from ..settings import Settings

    typer.echo(Settings().to_toml(), nl=False)


@app.command(no_args_is_help=True, rich_help_panel=RECORDS)
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
    dt: Dt = None,
    component: ComponentNames = None,
    station: StationCode = None,
    start: StartTime = None,
    given: Given = None,
    sensor: SensorKind = "accelerometer",
    channel: Channels = None,
    time: TimeSpan = None,
    csv: Annotated[
        Path | None, typer.Option("--csv", metavar="F", help="Write the long table as CSV, and print nothing.")
    ] = None,
    unit: Unit = "m/s2",
) -> None:
    """Show every measure of a record, or of all records of an archive.

    A raw record is processed, but the result is not stored. A star marks a value outside its usable band. The long
    table has one row for each measure and component, with the source of its definition and its uncertainty band.

    \b
    Examples:
      strongmotion measures demo_records/quay.csv --unit g
      strongmotion measures archive --csv measures.csv
    """
    import pandas as pd

    from ..archive import Archive, in_acceleration_unit, write_catalogue

    failed = False
    if source.is_dir():
        whole = Archive(source).measures(unit)
    else:
        from ..formats import read_all
        from ..result import process
        from ..settings import Settings

        chosen = Settings.load(settings) if settings else Settings()
        how = reading_options(
            given, layout=layout, stationxml=stationxml, unit=sample_unit, sensitivity=sensitivity, dt=dt,
            component=component, station=station, start=start, sensor=sensor, channel=channel, time=time,
        )  # fmt: skip
        records = read_all(source, **how)
        tables = [process(record, chosen).measures.assign(record=record.id) for record in records]
        whole = in_acceleration_unit(pd.concat(tables, ignore_index=True), unit)
        whole = whole[["record", *whole.columns.drop("record")]]
        failed = _complain_of(records)
    write_catalogue(whole, csv)
    if csv is not None:
        typer.echo(f"{count(len(whole), 'row')} of {count(whole['record'].nunique(), 'record')} are in {csv}.")
    else:
        for record_id, table in whole.groupby("record", sort=False):
            typer.echo(record_id)
            _show_measures(table)
        if not whole["usable"].all():
            typer.echo("* not usable: outside the usable band, of an unfit component, or without a number.")
    typer.echo(CAUTION)
    for problem in whole.attrs.get("problems", ()):
        complain(problem)
    if failed or whole.attrs.get("problems"):
        raise typer.Exit(1)


def _show_measures(table: Any) -> None:
    """Print the measures of one record, a row a measure and a column a component."""
    from ..measures import japanese_words, mercalli_words

    components = list(table["component"].unique())
    cells: dict[tuple[str, str], dict[str, str]] = {}
    for row in table.itertuples():
        mark = "" if row.usable else "*"
        cells.setdefault((row.measure, row.unit), {})[row.component] = f"{cell(row.value)}{mark}"
    show_table(
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
