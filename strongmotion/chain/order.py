"""The order of the steps: each says its own place where it is written."""

from __future__ import annotations

from collections.abc import Iterable

from ..foundation.errors import InputError
from ..motion import Entry

__all__ = ["in_order", "step"]

_PLACES: dict[str, int] = {}


def step(name: str, place: int) -> str:
    """Give a step of the chain its place, and return its name, by which the history knows it.

    Parameters
    ----------
    name : str
        As in the entries of the history.
    place : int
        Steps are ordered by it; the steps there are stand ten apart, so that others fit between.

    Raises
    ------
    InputError
        Another step has this place, or this step another place.
    """
    if _PLACES.get(name, place) != place:
        raise InputError(f"the step {name!r} stands at {_PLACES[name]} already", field=name, remedy="Name it otherwise")
    if others := [other for other, taken in _PLACES.items() if taken == place and other != name]:
        raise InputError(
            f"the steps {others[0]!r} and {name!r} both stand at {place}", field=name, remedy="Choose a place between"
        )
    _PLACES[name] = place
    return name


def in_order(entries: Iterable[Entry]) -> tuple[Entry, ...]:
    """Return entries of the history in the order of their steps; those of one step stay as they are.

    Raises
    ------
    InputError
        A step has no place.
    """
    entries = tuple(entries)
    for entry in entries:
        if entry.step not in _PLACES:
            raise InputError(
                f"the step {entry.step!r} has no place in the chain",
                field=entry.step,
                remedy=f'Add step("{entry.step}", place) to its file, with a number between those of its neighbours',
            )
    return tuple(sorted(entries, key=lambda entry: _PLACES[entry.step]))
