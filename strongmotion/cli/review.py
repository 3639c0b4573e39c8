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
    read_only: Annotated[bool, typer.Option("--read-only", help="Inspect, but record no decisions.")] = False,
    port: Annotated[
        int, typer.Option("--port", metavar="N", min=0, max=65535, help="Port of the page; 0 for any free port.")
    ] = 0,
    no_browser: Annotated[bool, typer.Option("--no-browser", help="Only print the link.")] = False,
) -> None:
    """Inspect records, change processing choices, and decide, on a page in the browser.

    The page is accessible from this machine only, under a link with a random token. Every decision is stored in the
    archive with name and reason; nothing is overwritten. Needs Bokeh: pip install "strongmotion[review]".

    \b
    Example:
      strongmotion review archive --by "D. Analyst"
    """
    from ..review import review

    review(archive, by, read_only, port, not no_browser, typer.echo)
