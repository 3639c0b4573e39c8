"""Serving a page to this machine alone.

The server listens on the loopback address. The page lies under a random path, which is the only key to it: without it
there is nothing to see. The web socket takes no other origin than the page's own.
"""

from __future__ import annotations

import asyncio
import functools
import secrets
import socket
import threading
import webbrowser
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

from ..foundation.errors import InputError

if TYPE_CHECKING:
    from bokeh.server.server import Server

    from ..result import Result

__all__ = ["Explored", "explore", "make_server", "review"]

LOOPBACK = "127.0.0.1"


def make_server(modify: Callable[[Any], None], port: int = 0) -> tuple[Server, str]:
    """Make a server of one page.

    Parameters
    ----------
    modify : callable
        Puts the page into a document.
    port : int
        0 for any that is free.

    Returns
    -------
    server : bokeh.server.server.Server
        Not started.
    link : str
        Where the page is, with its token.

    Raises
    ------
    InputError
        Bokeh is not installed, or the port is taken.
    """
    try:
        from bokeh.server.server import Server
    except ImportError:
        raise InputError("the review needs Bokeh", remedy='Install it: pip install "strongmotion[review]"') from None
    try:
        with socket.socket() as free:
            free.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            free.bind((LOOPBACK, port))
            port = free.getsockname()[1]
        token = secrets.token_urlsafe(24)
        server = Server(
            {f"/{token}": modify}, address=LOOPBACK, port=port, allow_websocket_origin=[f"{LOOPBACK}:{port}"],
            use_index=False, redirect_root=False,
        )  # fmt: skip
    except (OSError, OverflowError) as error:
        raise InputError(
            f"port {port} cannot be used: {getattr(error, 'strerror', None) or error}",
            field="port",
            remedy="Choose another one, or none",
        ) from None
    return server, f"http://{LOOPBACK}:{port}/{token}"


def review(
    folder: str | Path,
    by: str = "",
    read_only: bool = False,
    port: int = 0,
    browser: bool = True,
    say: Callable[[str], None] = print,
) -> None:
    """Serve the desk over an archive until the process is interrupted.

    Parameters
    ----------
    folder : str or Path
    by : str
        The reviewer's name; it can be changed on the page.
    read_only : bool
    port : int
        0 for any that is free.
    browser : bool
        Open the page in the browser.
    say : callable
        Called with the link.

    Raises
    ------
    ArchiveError
        There is no archive.
    InputError
        See `make_server`.
    """
    from ..archive import Archive

    archive = Archive(folder)

    def modify(doc: Any) -> None:
        from .page import Desk

        Desk(doc, archive, by, read_only)

    server, link = make_server(modify, port)
    server.start()
    say(f"Review of {folder}: {link}")
    say("Only this machine can open it, with this link. Press Ctrl-C to end.")
    if browser:
        server.io_loop.add_callback(functools.partial(webbrowser.open, link))
    try:
        server.io_loop.start()
    except KeyboardInterrupt:
        say("Ended. Every decision is in the archive.")
    finally:
        server.stop()


class Explored:
    """A page that shows one result, in a notebook or at its `link`, until `stop` is called."""

    def __init__(self, result: Result) -> None:
        self.link = ""
        self._ready = threading.Event()
        self._failed: Exception | None = None
        self._thread = threading.Thread(target=self._run, args=(result,), daemon=True)
        self._thread.start()
        self._ready.wait()
        if self._failed is not None:
            raise self._failed

    def _run(self, result: Result) -> None:
        def modify(doc: Any) -> None:
            from .page import show_record

            show_record(doc, result)

        asyncio.set_event_loop(asyncio.new_event_loop())
        try:
            self._server, self.link = make_server(modify)
            self._server.start()
        except Exception as error:
            self._failed = error
            return
        finally:
            self._ready.set()
        self._server.io_loop.start()
        self._server.io_loop.close()

    def stop(self) -> None:
        """End the server."""
        loop = self._server.io_loop

        def end() -> None:
            self._server.stop()
            loop.stop()

        loop.add_callback(end)
        self._thread.join(10.0)

    def __repr__(self) -> str:
        return f"<record view at {self.link}>"

    def _repr_html_(self) -> str:
        return f'<iframe src="{self.link}" style="width:100%;height:900px;border:0" title="record view"></iframe>'


def explore(result: Result) -> Explored:
    """Show one result as the desk shows it, without decisions; a notebook displays what is returned.

    Parameters
    ----------
    result : Result

    Returns
    -------
    Explored
        Its `link` opens in any browser of this machine.
    """
    return Explored(result)
