"""Options and arguments that several commands share."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal, Unpack

import typer

from ..foundation.errors import InputError
from ..foundation.units import acceleration_unit, in_unit
from .tables import complain

if TYPE_CHECKING:
    from ..formats import ReadOptions


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
    typer.Option("--cluster", metavar="ADDRESS", help="Run on the workers of a Dask scheduler, tcp://HOST:PORT."),
]
By = Annotated[str, typer.Option("--by", metavar="NAME", help="Your name, recorded in the archive.")]
Why = Annotated[str, typer.Option("--why", metavar="TEXT", help="The reason, recorded in the archive.")]
CsvFile = Annotated[Path | None, typer.Option("--csv", metavar="F", help="Write all columns as CSV.")]
ParquetFile = Annotated[
    Path | None, typer.Option("--parquet", metavar="F", help="Write all columns as Parquet (needs pyarrow).")
]
ExcelFile = Annotated[
    Path | None, typer.Option("--excel", metavar="F.xlsx", help="Write all columns for a spreadsheet (needs openpyxl).")
]
ArchiveFolder = Annotated[Path, typer.Argument(metavar="ARCHIVE", help="The folder of an archive.")]
LayoutFile = Annotated[
    Path | None,
    typer.Option("--layout", metavar="L.toml", help="Layout of the text files; see `guide formats`."),
]
StationXml = Annotated[
    Path | None,
    typer.Option("--stationxml", metavar="F|FOLDER", help="StationXML: sensitivity, direction and coordinates."),
]
EventFile = Annotated[Path | None, typer.Option("--event", metavar="F", help="QuakeML: the earthquake of the records.")]
SampleUnit = Annotated[
    str | None,
    typer.Option("--sample-unit", metavar="UNIT", help="Unit of the raw samples, if the file omits it or is wrong."),
]
Sensitivity = Annotated[
    float | None, typer.Option("--sensitivity", metavar="N", help="Counts per m/s², if the file omits it or is wrong.")
]
Dt = Annotated[
    float | None, typer.Option("--dt", metavar="S", help="Sampling interval of a text file, s, if the file omits it.")
]
ComponentNames = Annotated[
    str | None,
    typer.Option("--component", metavar="NAMES", help="Component names in order (H1,H2,V), or new names (X=H1,Y=H2)."),
]
StationCode = Annotated[
    str | None,
    typer.Option("--station", metavar="CODE", help="Station of a text file; stations of miniSEED to read (A*,B?)."),
]
StartTime = Annotated[
    str | None, typer.Option("--start", metavar="TIME", help="Time of the first sample of a text file, ISO 8601, UTC.")
]
Given = Annotated[
    list[str] | None,
    typer.Option("--set", metavar="NAME=VALUE", help="Other metadata of a text file: latitude, azimuth, samples ..."),
]
Missing = Annotated[
    Literal["refuse", "truncate"],
    typer.Option("--missing", help="Truncated file: refuse it, or read the samples present with a finding."),
]
Gaps = Annotated[
    Literal["refuse", "longest", "fill", "split"],
    typer.Option(
        "--gaps",
        help="miniSEED with gaps: refuse, keep the longest segment, fill up to 0.1 s, or split into records.",
    ),
]
CommonWindow = Annotated[
    bool, typer.Option("--common-window", help="Trim components of unequal length to their common time span.")
]
SensorKind = Annotated[
    Literal["accelerometer", "seismometer", "motion"],
    typer.Option(
        "--sensor", help="Sensors to read: accelerometers, velocity sensors (full response removed), or both."
    ),
]
Channels = Annotated[
    str | None, typer.Option("--channel", metavar="CODES", help="miniSEED channels to read: HN?,BN* ...")
]
TimeSpan = Annotated[
    tuple[str, str] | None,
    typer.Option("--time", metavar="FROM TO", help="Read only this time window of miniSEED, ISO 8601, UTC."),
]
Unit = Annotated[
    str, typer.Option("--unit", metavar="g|m/s2|cm/s2", callback=known_unit, help="Unit of acceleration in the output.")
]


def reading_options(sets: list[str] | None = None, **options: Unpack[ReadOptions]) -> ReadOptions:
    """Return the options of `read_all`, checked; what is for all files is read, as a fault in it would fail each.

    Parameters
    ----------
    sets : list of str, optional
        What --set gives, NAME=VALUE.
    """
    from ..formats import checked, read_quakeml, read_stationxml
    from ..formats.kept import named_layout

    given = {}
    for pair in sets or ():
        name, mark, value = pair.partition("=")
        if not mark or not value.strip():
            raise typer.BadParameter(f"--set needs NAME=VALUE, found {pair!r}")
        given[name.strip()] = value.strip()
    options = checked({**options, "given": given})
    stationxml, event, layout = options.get("stationxml"), options.get("event"), options.get("layout")
    if isinstance(stationxml, str | Path):
        for error in read_stationxml(stationxml).unread:
            complain(str(error))
    if event is not None:
        read_quakeml(event)
    if layout is not None:
        named_layout(layout)
    return options


Into = Annotated[Path, typer.Option("--output", "-o", metavar="ARCHIVE", help="Archive to write; created if needed.")]
