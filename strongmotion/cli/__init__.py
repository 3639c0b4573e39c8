"""The command line: thin, and quick to start. A file a group of commands; the work is done in the rooms below."""

from __future__ import annotations

from . import archive, design, event, record, review
from .app import app, main

__all__ = ["app", "archive", "design", "event", "main", "record", "review"]
