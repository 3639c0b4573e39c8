"""From a file to a record. One file a format; the format is told from the content, never from the name."""

from __future__ import annotations

from .csv import write_csv
from .layout import write_text

__all__ = ["write_csv", "write_text"]
