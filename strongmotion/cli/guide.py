"""The command that shows the guide."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated

import typer

from .app import HELP, app
from .tables import show_table


@app.command(rich_help_panel=HELP)
def guide(
    topic: Annotated[
        str, typer.Argument(metavar="TOPIC", help="A page, or the beginning of its name.", show_default=False)
    ] = "",
    reference: Annotated[
        Path | None,
        typer.Option("--reference", metavar="FOLDER", help="Write the HTML reference of all functions in this folder."),
    ] = None,
) -> None:
    """Read the guide: one page for each task.

    Without a topic, the pages are listed. When the output is not a terminal, a page is written as Markdown.

    \b
    Examples:
      strongmotion guide
      strongmotion guide first-record
      strongmotion guide corners | less
      strongmotion guide --reference reference
    """
    from ..guide import TOPICS, page, title

    if reference is not None:
        from ..guide.reference import write_reference

        typer.echo(f"Open {write_reference(reference)} in a browser.")
        return
    if not topic:
        show_table(("topic", "page"), [(name, title(name)) for name in TOPICS])
        return
    text = page(topic)
    if not sys.stdout.isatty():
        typer.echo(text, nl=False)
        return
    from rich.console import Console
    from rich.markdown import Markdown

    Console(width=min(Console().width, 100)).print(Markdown(text, hyperlinks=False))
