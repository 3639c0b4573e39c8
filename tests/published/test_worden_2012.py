"""Worden, Gerstenberger, Rhoades & Wald (2012), BSSA 102(1), 204-221: PGA and PGV to intensity and back, California.

MMI = c1 + c2 log10(Y) up to log10(Y) = t1, where MMI = t2, and c3 + c4 log10(Y) beyond; Y in cm/s² or cm/s. PGA: 1.78,
1.55, -1.60, 3.70, t1 1.57, t2 4.22, sigma 0.73. PGV: 3.78, 1.47, 2.89, 3.16, t1 0.53, t2 4.56, sigma 0.65. Coefficients
from memory.
"""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from strongmotion.foundation.errors import InputError
from strongmotion.measures import mercalli_words, modified_mercalli, peak_of_mercalli
from strongmotion.measures.intensity import MERCALLI_RELATIONS

POINTS = [
    ("PGA", 1.0, 5.80),  # 100 cm/s²: -1.60 + 3.70 · 2
    ("PGA", 10.0, 9.50),
    ("PGA", 0.1, 3.33),  # 10 cm/s²: 1.78 + 1.55
    ("PGV", 0.1, 6.05),  # 10 cm/s: 2.89 + 3.16
    ("PGV", 1.0, 9.21),
    ("PGV", 0.01, 3.78),  # 1 cm/s
]
"""By hand."""


@pytest.mark.parametrize(("quantity", "peak", "grade"), POINTS)
def test_hand_computed_points_in_both_directions(held, quantity, peak, grade):
    found, back = modified_mercalli(peak, quantity)[0], peak_of_mercalli(grade, quantity)[0]
    unit = "m/s²" if quantity == "PGA" else "m/s"
    held("by hand", f"intensity from {quantity}", grade, found, abs=1e-9, memory=True)
    held("by hand", f"{quantity} from intensity", peak, back, rel=1e-9, unit=unit, memory=True)


@pytest.mark.parametrize(("quantity", "sigma"), [("PGA", 0.73), ("PGV", 0.65)])
def test_the_lines_meet_within_the_printed_digits(held, quantity, sigma):
    relation = MERCALLI_RELATIONS["Worden 2012", quantity]
    low, high = (constant + slope * relation.peak_break for constant, slope in (relation.low, relation.high))
    # t1 has two decimals, so 0.005 in it is 0.005 times the slope in grade.
    meeting, tolerance = f"intensity at which the lines of {quantity} meet", 0.005 * (1 + relation.high[1])
    for found in (low, high):
        held("both lines", meeting, relation.grade_break, found, abs=tolerance, memory=True)
    assert low == pytest.approx(high, abs=0.01)
    assert modified_mercalli(1.0, quantity)[1] == sigma


@given(st.floats(1e-6, 100), st.sampled_from(sorted(MERCALLI_RELATIONS)))
def test_intensity_stays_on_the_scale_and_grows_with_the_peak(peak, which):
    relation, quantity = which
    grade = modified_mercalli(peak, quantity, relation)[0]
    assert 1.0 <= grade <= 10.0
    assert modified_mercalli(1.1 * peak, quantity, relation)[0] >= grade - 0.01  # where the lines meet
    if 1.0 < grade < 10.0:
        assert peak_of_mercalli(grade, quantity, relation)[0] == pytest.approx(peak, rel=0.02)


# What could contradict remembered coefficients: two relations of other authors, read in their abstracts, for the same
# quantity. Atkinson & Kaka (2007), BSSA 97: I = 4.37 + 1.32 log PGV for log PGV <= 0.48, 3.54 + 3.03 log PGV above,
# cm/s, standard deviation 0.8. Wald et al. (1999): I = 3.66 log PGA - 1.66, V to VIII; 3.47 log PGV + 2.35, V to IX.
@pytest.mark.parametrize("log_peak", [-0.5, 0.0, 0.48, 1.0, 1.5])
def test_pgv_agrees_with_atkinson_and_kaka_within_their_scatter(held, log_peak):
    theirs = 4.37 + 1.32 * log_peak if log_peak <= 0.48 else 3.54 + 3.03 * log_peak
    found = modified_mercalli(10**log_peak / 100, "PGV")[0]
    held("Atkinson & Kaka (2007), abstract", "intensity from PGV", theirs, found, abs=0.8)


@pytest.mark.parametrize(("quantity", "slope", "constant", "grade"), [
    ("PGA", 3.66, -1.66, 5.5), ("PGA", 3.66, -1.66, 7.5), ("PGV", 3.47, 2.35, 5.5), ("PGV", 3.47, 2.35, 8.5),
])  # fmt: skip
def test_agrees_with_the_relation_of_1999_within_one_standard_deviation(held, quantity, slope, constant, grade):
    peak = 10 ** ((grade - constant) / slope) / 100
    found, scatter = modified_mercalli(peak, quantity)
    held("Wald et al. (1999), abstract", f"intensity from {quantity}", grade, found, abs=scatter)


def test_scatter_of_the_peak_is_that_of_the_grade_over_the_slope():
    assert peak_of_mercalli(6.0, "PGA")[1] == pytest.approx(0.73 / 3.70)
    assert peak_of_mercalli(3.0, "PGV")[1] == pytest.approx(0.65 / 1.47)


# Common practice, without a source: felt indoors from about II or III, frightens and damages from VI.
def test_words_of_the_grades():
    words = dict(map(mercalli_words, range(1, 11)))
    assert list(words) == ["I", "II", "III", "IV", "V", "VI", "VII", "VIII", "IX", "X"]
    assert "not felt" in words["I"]
    assert "felt" in words["II"]
    assert "indoors" in words["III"]
    assert not any(
        "frighten" in words[numeral] or "damage" in words[numeral] for numeral in ("I", "II", "III", "IV", "V")
    )
    assert "frightened" in words["VI"]
    assert "damage" in words["VII"]
    assert mercalli_words(0.0)[0] == "I"
    assert mercalli_words(12.0)[0] == "X"
    assert (mercalli_words(5.49)[0], mercalli_words(5.5)[0]) == ("V", "VI")


def test_a_motionless_record_is_grade_one_and_nonsense_is_refused():
    assert modified_mercalli(0.0)[0] == 1.0
    for call in (
        lambda: modified_mercalli(-1.0), lambda: modified_mercalli(float("nan")), lambda: modified_mercalli(1.0, "PGD"),
        lambda: modified_mercalli(1.0, "PGA", "nobody"), lambda: peak_of_mercalli(11.0),
        lambda: mercalli_words(float("nan")),
    ):  # fmt: skip
        with pytest.raises(InputError):
            call()
