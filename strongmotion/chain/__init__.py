"""Record -> corrected Motion, one file a step; `correct` holds the order."""

from .band import Band

__all__ = ["Band"]
