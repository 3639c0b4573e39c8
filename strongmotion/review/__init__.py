"""The desk at which a person looks at records, changes what processing chose, and decides."""

from .desk import METHODS, Listed, Move, Preview, Queue, Session, settings_with, what_moved

__all__ = [
    "METHODS",
    "Listed",
    "Move",
    "Preview",
    "Queue",
    "Session",
    "settings_with",
    "what_moved",
]
