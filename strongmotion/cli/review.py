"""The command that opens the review desk."""

from __future__ import annotations

from typing import Annotated

import typer

from .app import ARCHIVES, app
from .options import ArchiveFolder, By


@app.command(no_args_is_help=True, rich_help_panel=ARCHIVES)
def review(
    archive: ArchiveFolder,
    by: By = "",
    read_only: Annotated[bool, typer.Option("--read-only", help="Look and try, decide nothing.")] = False,
    port: Annotated[
        int, typer.Option("--port", metavar="N", min=0, max=65535, help="Where to serve the page; 0 for any free port.")
    ] = 0,
    no_browser: Annotated[bool, typer.Option("--no-browser", help="Only print the link.")] = False,
) -> None:
    """Look at records, change what processing chose, and decide, on a page in the browser.

    The page is served to this machine alone, under a link that holds a random token. Every decision is kept in the
    archive with name and reason; nothing is overwritten. Needs Bokeh: pip install "strongmotion[review]".

    \b
    Example:
      strongmotion review archive --by "D. Analyst"
    """
    from ..review import review

    review(archive, by, read_only, port, not no_browser, typer.echo)
