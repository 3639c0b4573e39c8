"""Options and arguments that several commands share."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any, Literal

import typer

from ..foundation.errors import InputError
from ..foundation.units import acceleration_unit, in_unit


def known_unit(text: str) -> str:
    """Return the usual spelling of an acceleration unit; refuse any other text."""
    try:
        in_unit(text)
    except InputError as error:
        raise typer.BadParameter(str(error)) from None
    return acceleration_unit(text)


Jobs = Annotated[int, typer.Option("--jobs", min=1, metavar="N", help="Worker processes.")]
Cluster = Annotated[
    str | None,
    typer.Option("--cluster", metavar="ADDRESS", help="A Dask scheduler, tcp://HOST:PORT, whose workers do the work."),
]
By = Annotated[str, typer.Option("--by", metavar="NAME", help="Who does this; kept in the archive, never guessed.")]
Why = Annotated[str, typer.Option("--why", metavar="TEXT", help="Why; kept in the archive.")]
CsvFile = Annotated[Path | None, typer.Option("--csv", metavar="F", help="Write all columns as CSV.")]
ParquetFile = Annotated[
    Path | None, typer.Option("--parquet", metavar="F", help="Write all columns as Parquet (needs pyarrow).")
]
ExcelFile = Annotated[
    Path | None, typer.Option("--excel", metavar="F.xlsx", help="Write all columns for a spreadsheet (needs openpyxl).")
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
Dt = Annotated[
    float | None, typer.Option("--dt", metavar="S", help="Sampling interval of a text file that does not state it, s.")
]
ComponentNames = Annotated[
    str | None,
    typer.Option("--component", metavar="NAMES", help="Names in order (H1,H2,V), or new names (X=H1,Y=H2)."),
]
StationCode = Annotated[str | None, typer.Option("--station", metavar="CODE", help="Station of a text file.")]
StartTime = Annotated[
    str | None, typer.Option("--start", metavar="TIME", help="Time of the first sample of a text file, ISO 8601, UTC.")
]
Given = Annotated[
    list[str] | None,
    typer.Option(
        "--set", metavar="NAME=VALUE", help="What else is known of a text file: latitude, azimuth, samples ..."
    ),
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
    str, typer.Option("--unit", metavar="g|m/s2|cm/s2", callback=known_unit, help="Of acceleration in what is shown.")
]


def reading_options(
    stationxml: Path | None,
    event: Path | None,
    unit: str | None,
    sensitivity: float | None,
    missing: str,
    gaps: str,
    common_window: bool,
    differentiate: bool,
    text: dict[str, Any] | None = None,
) -> dict[str, Any]:
    """Return the keyword arguments of `read_all` that the options give; read what is for all files."""
    from ..formats import read_quakeml, read_stationxml

    if unit is not None:
        acceleration_unit(unit)
    # What is wrong with these would fail every file, each with the same reason.
    if stationxml is not None:
        read_stationxml(stationxml)
    if event is not None:
        read_quakeml(event)
    return {
        "stationxml": stationxml, "event": event, "unit": unit, "sensitivity": sensitivity, "missing": missing,
        "gaps": gaps, "common_window": common_window, "differentiate": differentiate, **(text or {}),
    }  # fmt: skip


def of_text(
    dt: float | None, component: str | None, station: str | None, start: str | None, given: list[str] | None
) -> dict[str, Any]:
    """Return the keyword arguments of `read_all` that say what a text file does not."""
    from ..formats import what_is_given

    pairs = {}
    for pair in given or ():
        name, mark, value = pair.partition("=")
        if not mark or not value.strip():
            raise typer.BadParameter(f"--set needs NAME=VALUE, found {pair!r}")
        pairs[name.strip()] = value.strip()
    what_is_given(dt, station, start, pairs)
    return {"dt": dt, "component": component, "station": station, "start": start, "given": pairs}


Into = Annotated[Path, typer.Option("--output", "-o", metavar="ARCHIVE", help="Where they go; made if not there.")]
