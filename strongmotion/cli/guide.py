"""The command that shows the guide."""

from __future__ import annotations

import sys
from typing import Annotated

import typer

from .app import HELP, app
from .tables import show_table


@app.command(rich_help_panel=HELP)
def guide(
    topic: Annotated[
        str, typer.Argument(metavar="TOPIC", help="A page, or the beginning of its name.", show_default=False)
    ] = "",
) -> None:
    """Read the guide: one page a task.

    Without a topic the pages are listed. In a pipe a page comes as it is, in Markdown.

    \b
    Examples:
      strongmotion guide
      strongmotion guide first-record
      strongmotion guide corners | less
    """
    from ..guide import TOPICS, page, title

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
