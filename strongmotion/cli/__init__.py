"""The command line: thin, and quick to start. A file a group of commands; the work is done in the rooms below."""

from __future__ import annotations

from . import archive, design, event, guide, record, review
from .app import app, main

__all__ = ["app", "archive", "design", "event", "guide", "main", "record", "review"]
