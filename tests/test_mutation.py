"""The mutation benchmark itself: each kind of change is the one it says, and places are drawn the same again."""

from __future__ import annotations

import random

import pytest

from benchmarks.mutation import changed, draw, places_in

SOURCE = '''
"""A module of no use."""
from typing import TYPE_CHECKING

__all__ = ["f"]
LIMIT = 4.0

if TYPE_CHECKING:
    import numpy


def f(x: float) -> float:
    """Say 1 + 1."""
    if x < LIMIT:
        raise ValueError(f"{x + 1} is small")
    y = {}
    y["a"] = -x
    return 3.7 * x - y["a"]


def __repr__(self):
    text = "a"
    return text < "b"
'''


def one(kind, number=0):
    places = [place for place in places_in(SOURCE, "strongmotion/f.py") if place.kind == kind]
    return changed(SOURCE, places[number], random.Random(1))


@pytest.mark.parametrize(
    ("kind", "number", "before", "after"),
    [
        ("comparison", 0, "x < LIMIT", "x >= LIMIT"),
        ("sign", 1, "3.7 * x - y['a']", "3.7 * x + y['a']"),
        ("sign", 0, "-x", "+x"),
        ("statement", 0, "y['a'] = -x", "pass"),
        ("statement", 1, "raise ValueError(f'{x + 1} is small')", "pass"),
        ("return", 0, "def f(x: float) -> float:", "return at once"),
    ],
)
def test_each_kind_of_change_is_the_one_it_says(kind, number, before, after):
    new, was, now = one(kind, number)
    assert (was, now) == (before, after)
    assert (now if kind != "return" else "return") in new


def test_numbers_move_by_what_their_kind_allows():
    factor = float(one("formula")[2]) / 3.7
    assert 0.05 <= abs(factor - 1) <= 0.2
    assert one("judgement")[2] in ("LIMIT = 2.0", "LIMIT = 8.0")


def test_what_does_not_change_behaviour_is_left_alone():
    lines = {place.line for place in places_in(SOURCE, "strongmotion/f.py")}
    assert lines == {6, 12, 14, 15, 17, 18}


def test_places_are_drawn_the_same_again_and_none_twice():
    places = places_in(SOURCE, "strongmotion/f.py")
    first = draw(places, 5, 7, {"f": 10})
    assert first == draw(places, 5, 7, {"f": 10})
    assert len(set(first)) == 5
