"""The check book: which value a row shows, and how differences read."""

from __future__ import annotations

import numpy as np
import pytest
from check_book import PUBLISHED, CheckBook, Row


def row(printed, ours, tolerance, relative=False, unit=""):
    made = Row("| s: q | ", relative, unit)
    made.add(np.atleast_1d(printed).astype(float), np.atleast_1d(ours).astype(float), tolerance)
    return str(made)


def test_a_row_shows_the_value_nearest_to_its_tolerance():
    assert row([1, 2, 3], [1.001, 2.02, 3.001], 0.05, unit="g") == "| s: q | 3 | 2 | 2.02 | 0.02 g | 0.05 g |"
    assert row([1, 100], [1.01, 100.1], 0.05, relative=True) == "| s: q | 2 | 1 | 1.01 | 1 % | 5 % |"
    assert row(2, 2 + 3e-7, 1e-6, relative=True) == "| s: q | 1 | 2 | 2 | 1.5e-07 | 1e-06 |"


def test_round_off_does_not_change_a_row():
    beside = row([0.5, 3.0], [0.5 + 1e-16, 3.0], 1e-10)
    assert beside == row([0.5, 3.0], [0.5, 3.0 - 4e-16], 1e-10) == "| s: q | 2 | 3 | 3 | < 1e-12 | 1e-10 |"
    assert row(3.0, 3.0 + 2e-11, 1e-10) == "| s: q | 1 | 3 | 3 | < 1e-10 | 1e-10 |"


def test_what_must_be_equal_has_no_difference():
    assert row(0.5, 0.5, 0) == "| s: q | 1 | 0.5 | 0.5 | 0 | 0 |"
    assert row(0.0, 0.0, 0.1) == "| s: q | 1 | 0 | 0 | < 1e-12 | 0.1 |"


def test_calls_of_one_check_make_one_row_in_order_of_files():
    book = CheckBook()
    for file in (PUBLISHED / "test_richter.py", PUBLISHED / "test_chopra.py"):
        for ours in (1.0, 1.1):
            book.row(file, "| s: q | ", False, "").add(np.array([1.0]), np.array([ours]), 0.2)
    text = book.text()
    assert text.count("| s: q | 2 | 1 | 1.1 | 0.1 | 0.2 |") == 2
    assert text.index("(../../tests/published/test_chopra.py)") < text.index("(../../tests/published/test_richter.py)")


@pytest.mark.parametrize(
    ("printed", "ours", "tolerance"),
    [
        (1.0, 1.02, {"rel": 0.01}), (1.0, 1.02, {"abs": 0.01}), (1.0, np.nextafter(1.0, 2.0), {"abs": 0}),
        (np.nan, np.nan, {"rel": 0.01}), ([1.0, 1.0], 1.0, {"rel": 0.01}), ([], [], {"rel": 0.01}),
        (1.0, 1.0, {}), (1.0, 1.0, {"rel": 0.01, "abs": 0.01}),
    ],
)  # fmt: skip
def test_values_beyond_the_tolerance_fail(held, printed, ours, tolerance):
    with pytest.raises(AssertionError):
        held("source", "quantity", printed, ours, **tolerance)
