"""The desk at which a person looks at records, changes what processing chose, and decides."""

from .desk import METHODS, Listed, Move, Preview, Queue, Session, settings_with, what_moved
from .serve import Explored, explore, make_server, review

__all__ = [
    "METHODS",
    "Explored",
    "Listed",
    "Move",
    "Preview",
    "Queue",
    "Session",
    "explore",
    "make_server",
    "review",
    "settings_with",
    "what_moved",
]
