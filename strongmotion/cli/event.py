"""The command about an earthquake."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from ..foundation.errors import InputError
from .app import EVENTS, app
from .options import (
    ArchiveFolder,
    Unit,
)
from .tables import (
    cell,
    show_table,
)

if TYPE_CHECKING:
    import numpy as np

    from ..event import Event


@app.command(no_args_is_help=True, rich_help_panel=EVENTS)
def event(
    archive: ArchiveFolder,
    output: Annotated[
        Path,
        typer.Option("--output", "-o", metavar="FOLDER", help="Folder of the results; created if needed."),
    ],
    model: Annotated[
        list[str] | None,
        typer.Option(
            "--model",
            metavar="[TOP:]VP/VS,...",
            help="P and S velocity (km/s) of each layer, and the depth of its top (km). Repeat to compare models. "
            "Errors are larger without.",
        ),
    ] = None,
    picks: Annotated[
        Path | None,
        typer.Option(
            "--picks",
            metavar="F.csv",
            help="Your own picks, which take precedence: record,phase,time[,uncertainty].",
        ),
    ] = None,
    begin: Annotated[
        str | None, typer.Option("--from", metavar="UTC", help="Only records that begin at this time or later.")
    ] = None,
    end: Annotated[
        str | None, typer.Option("--to", metavar="UTC", help="Only records that begin at this time or earlier.")
    ] = None,
    where: Annotated[
        str, typer.Option("--where", metavar="QUESTION", help="Only records that `strongmotion find` lists for it.")
    ] = "",
    keep: Annotated[
        str,
        typer.Option("--keep", metavar="NAME", help="Store in the archive that the records belong to this event."),
    ] = "",
    depth: Annotated[
        float | None,
        typer.Option("--depth", metavar="KM", help="Known depth (km); by default any depth to 150 km."),
    ] = None,
    depth_error: Annotated[
        float, typer.Option("--depth-error", metavar="KM", help="Standard error of the assumed depth (km).")
    ] = 7.0,
    time_error: Annotated[
        float | None,
        typer.Option("--time-error", metavar="S", help="Standard error of travel times from the site conditions (s)."),
    ] = None,
    classical: Annotated[
        bool,
        typer.Option(
            "--classical", help="Wood-Anderson with damping 0.8 and magnification 2800, not 0.7 and 2080, for the ML."
        ),
    ] = False,
    unit: Unit = "m/s2",
) -> None:
    """Locate and size the earthquake from an archive's records.

    P and S are picked on every record. They determine location, depth and origin time, with their errors; amplitudes
    determine magnitudes. The text states what the records cannot resolve. FOLDER receives event.html, event.txt,
    event.json, event.xml (QuakeML), stations.csv, map.png, section.png and shaking.png. If the records are of several
    earthquakes, each gets a folder, event-1 and so on; records without a common origin are refused. --keep stores
    the event of each record and its distances in the archive; `catalogue`, `find`, `history` and pages show them, as
    NAME-1, NAME-2 if there are several.
    Not for warning or public alert; the solution of the responsible agency is authoritative.

    In the file of --picks, `record` is the id of a record or the code of its station, and `time` is in s after the
    record's first sample, or UTC such as 2031-04-17T03:26:45.32.

    \b
    Examples:
      strongmotion event archive -o event
      strongmotion event archive -o event --model 0:5.5/3.2,12:6.4/3.7 --model 6.0/3.5
      strongmotion event archive -o event --picks mine.csv --from 2031-04-17T03:20 --to 2031-04-17T03:30
      strongmotion event archive -o event --from 2031-04-17 --to 2031-04-18 --keep 2031-quay
      strongmotion event archive -o event --where "event == '2031-quay'"
    """
    from ..archive import Archive
    from ..event import (
        CLASSICAL,
        UHRHAMMER_COLLINS,
        EventSettings,
        VelocityModel,
        events_in,
        keep_events,
        read_archive,
        read_picks,
    )

    models = tuple(VelocityModel.parse(one.split(",")) for one in model or ())
    chosen = EventSettings(
        models[0] if len(models) == 1 else models or None,
        time_error,
        None if depth is None else (depth, depth_error),
        CLASSICAL if classical else UHRHAMMER_COLLINS,
    )
    store = Archive(archive)
    readings = read_archive(
        store,
        chosen,
        picks=None if picks is None else read_picks(picks),
        begin=None if begin is None else _instant(begin),
        end=None if end is None else _instant(end),
        where=where,
    )
    found = events_in(readings, chosen)
    if len(found) > 1:
        typer.echo(f"The records are of {len(found)} earthquakes; each has its own folder.")
    for number, event_ in enumerate(found, start=1):
        _show(event_, output if len(found) == 1 else output / f"event-{number}", unit)
    if keep:
        kept = keep_events(store, found, keep)
        typer.echo(f"{len(kept)} records are stored as belonging to {', '.join(dict.fromkeys(kept.values()))}.")


def _show(found: Event, output: Path, unit: str) -> None:
    """Write one event and print what it is."""
    from ..event import describe
    from ..report import write_event
    from ..report.event_figures import stations_in

    write_event(found, output, unit)
    columns = ("station", "s_minus_p_s", "epicentral_distance_km", "p_residual_s", "s_residual_s",
               f"pga_{unit.replace('/', '_')}", "local_magnitude", "moment_magnitude")  # fmt: skip
    headings = ("station", "S-P s", "distance km", "P residual s", "S residual s", f"PGA {unit}", "ML", "Mw")
    table = stations_in(found, unit)
    show_table(headings, [[cell(value) for value in row] for row in table[list(columns)].to_numpy()])
    typer.echo()
    typer.echo(describe(found), nl=False)
    typer.echo(f"Written to {output}.")


def _instant(text: str) -> np.datetime64:
    from ..foundation.times import instant_in

    try:
        return instant_in(text)
    except ValueError:
        raise InputError(f"{text!r} is not a time", remedy="Write UTC as 2031-04-17T03:26") from None
