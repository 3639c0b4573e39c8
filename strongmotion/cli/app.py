"""The application that every command hangs on, its help, and `main`."""

from __future__ import annotations

import sys
from typing import Annotated, Any

import typer
from typer.core import TyperGroup

from .. import __version__
from ..foundation.errors import InputError, SettingsError, StrongMotionError
from .tables import complain

RECORDS, ARCHIVES, DESIGNS, EVENTS, HELP = HEADINGS = (
    "A record", "An archive", "A design", "An earthquake", "Help",
)  # fmt: skip
"""Headings of the help, by what a person is working on; each command is registered with one."""


class Grouped(TyperGroup):
    """A group whose help lists its commands under headings, in the order of `HEADINGS`."""

    def format_commands(self, ctx: Any, formatter: Any) -> None:
        """Write each command and its first line below its heading."""
        names = self.list_commands(ctx)
        widest = max(map(len, names))
        for heading in HEADINGS:
            with formatter.section(heading):
                formatter.write_dl(
                    [
                        (f"{name:<{widest}}", self.commands[name].get_short_help_str(formatter.width - widest - 6))
                        for name in names
                        if getattr(self.commands[name], "rich_help_panel", None) == heading
                    ]
                )


app = typer.Typer(
    name="strongmotion",
    cls=Grouped,
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
)


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
    """Turn raw accelerograms into defensible peaks, response spectra and archives.

    \b
    Try it on the demo records:
      strongmotion inspect demo_records/quay.csv
      strongmotion process demo_records -o archive --figures
      strongmotion catalogue archive
      strongmotion find archive "pga_h > 0.1" --unit g
      strongmotion report archive -o pages
      strongmotion verify archive

    Exit status: 0 all well; 1 some records failed, each named with its reason; 2 wrong use.

    For a first record, read `strongmotion guide first-record`.
    """


def main() -> None:
    """Run the command line; errors of the family become one line and an exit status."""
    try:
        app(prog_name="strongmotion")
    except (SettingsError, InputError) as error:
        complain(str(error))
        sys.exit(2)
    except StrongMotionError as error:
        complain(str(error))
        sys.exit(1)
