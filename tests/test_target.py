"""Target spectra: the code shapes by hand, tables with their units, and the comparison with a record."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from strongmotion.foundation.errors import InputError, RecordError
from strongmotion.foundation.units import G
from strongmotion.spectra.target import (
    TargetSpectrum,
    asce7_spectrum,
    best_scale,
    ec8_elastic_spectrum,
    ratio,
    target_from_table,
)

# --- ASCE/SEI 7-16, section 11.4.6 ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("period", "expected"),
    [
        # S_DS = 0.8 g, S_D1 = 0.4 g, TL = 6 s: T0 = 0.1 s, TS = 0.5 s; equations (11.4-5) to (11.4-7) by hand, in g.
        (0.0, 0.4 * 0.8),
        (0.05, 0.8 * (0.4 + 0.6 * 0.5)),
        (0.1, 0.8),
        (0.3, 0.8),
        (0.5, 0.8),
        (1.0, 0.4),
        (4.0, 0.1),
        (6.0, 0.4 / 6),
        (12.0, 0.4 * 6 / 144),
        (60.0, 0.4 * 6 / 3600),
    ],
)
def test_asce7_points(period, expected):
    assert asce7_spectrum(0.8, 0.4, 6.0).at(period)[0] == pytest.approx(expected * G, rel=1e-12)


@given(s_ds=st.floats(0.05, 3), s_d1=st.floats(0.02, 2), beyond=st.floats(1.5, 16), fraction=st.floats(0, 1))
def test_asce7_branches(s_ds, s_d1, beyond, fraction):
    t_s = s_d1 / s_ds
    t_0, t_l = 0.2 * t_s, beyond * t_s
    target = asce7_spectrum(s_ds, s_d1, t_l)

    def between(low, high):
        return min(low + fraction * (high - low), high)

    for period, expected in (
        (t := between(0, t_0), s_ds * (0.4 + 0.6 * t / t_0)),
        (between(t_0, t_s), s_ds),
        (t := between(t_s, t_l), s_d1 / t),
        (t := between(t_l, 10 * t_l), s_d1 * t_l / t**2),
    ):
        assert target.at(period)[0] == pytest.approx(expected * G, rel=1e-9)


@pytest.mark.parametrize("corner", [0.1, 0.5, 6.0])
def test_asce7_is_continuous_at_its_corners(corner):
    before, after = asce7_spectrum(0.8, 0.4, 6.0).at([corner * (1 - 1e-9), corner * (1 + 1e-9)])
    assert before == pytest.approx(after, rel=1e-8)


@pytest.mark.parametrize(
    ("s_ds", "s_d1", "t_l", "words"),
    [(0, 0.4, 6, "s_ds"), (0.8, -0.4, 6, "s_d1"), (0.8, 0.4, np.nan, "t_l"), (0.5, 1.0, 2.0, "TS")],
)
def test_asce7_wrong_input(s_ds, s_d1, t_l, words):
    with pytest.raises(InputError, match=words):
        asce7_spectrum(s_ds, s_d1, t_l)


# --- EN 1998-1:2004, 3.2.2.2 ------------------------------------------------------------------------------------------

# Type 1 spectrum, ground type B, Table 3.2 (values from memory): S = 1.2, TB = 0.15 s, TC = 0.5 s, TD = 2.0 s.
GROUND_B = {"s": 1.2, "t_b": 0.15, "t_c": 0.5, "t_d": 2.0}


@pytest.mark.parametrize(
    ("period", "expected"),
    [
        # a_g = 2.5 m/s², so a_g S = 3 and the plateau 7.5 m/s²; expressions (3.2) to (3.5) by hand.
        (0.0, 3.0),
        (0.05, 3.0 * (1 + 1.5 / 3)),
        (0.15, 7.5),
        (0.5, 7.5),
        (1.0, 7.5 * 0.5),
        (2.0, 7.5 * 0.25),
        (3.0, 7.5 * 0.5 * 2 / 9),
        (4.0, 7.5 / 16),
    ],
)
def test_ec8_points(period, expected):
    assert ec8_elastic_spectrum(2.5, **GROUND_B).at(period)[0] == pytest.approx(expected, rel=1e-12)


@pytest.mark.parametrize("corner", [0.15, 0.5, 2.0])
def test_ec8_is_continuous_at_its_corners(corner):
    before, after = ec8_elastic_spectrum(2.5, **GROUND_B).at([corner * (1 - 1e-9), corner * (1 + 1e-9)])
    assert before == pytest.approx(after, rel=1e-8)


@pytest.mark.parametrize(
    ("damping", "eta"),
    # (3.6): sqrt(10/(5 + xi)) >= 0.55, xi in per cent; the floor is met at xi = 28.06.
    [(0.0, np.sqrt(2)), (0.05, 1.0), (0.10, np.sqrt(2 / 3)), (0.28, np.sqrt(10 / 33)), (0.29, 0.55), (0.9, 0.55)],
)
def test_ec8_damping(damping, eta):
    target = ec8_elastic_spectrum(2.5, **GROUND_B, damping=damping)
    assert target.at(0.3)[0] == pytest.approx(7.5 * eta, rel=1e-12)
    # The ground's own acceleration does not depend on the damping, and (3.2) is linear from it to the plateau.
    assert target.at(0.0)[0] == pytest.approx(3.0, rel=1e-12)
    assert target.at(0.075)[0] == pytest.approx(3.0 * (1 + 0.5 * (2.5 * eta - 1)), rel=1e-12)
    assert target.damping == damping


@pytest.mark.parametrize("damping", [0.0, 0.02, 0.1, 0.3])
def test_a_damped_spectrum_is_that_of_en_1998(damping):
    whole = ec8_elastic_spectrum(2.5, **GROUND_B, damping=damping)
    damped = ec8_elastic_spectrum(2.5, **GROUND_B).damped(damping)
    periods = np.linspace(0.0, 4.0, 200)
    np.testing.assert_allclose(damped.at(periods), whole.at(periods), rtol=1e-12)
    assert damped.damping == damping
    assert "EN 1998-1 (3.6)" in damped.name
    with pytest.raises(InputError, match="from 5 % damping"):
        damped.damped(0.05)


def test_ec8_ends_at_four_seconds():
    with pytest.raises(InputError, match="4 s"):
        ec8_elastic_spectrum(2.5, **GROUND_B).at(4.01)


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"a_g": 0}, "a_g"),
        ({"s": -1}, "s: "),
        ({"t_b": 0}, "t_b"),
        ({"t_b": 0.5}, "TB < TC"),
        ({"t_d": 5}, "TD < 4"),
        ({"damping": -0.05}, "damping"),
    ],
)
def test_ec8_wrong_input(changes, words):
    with pytest.raises(InputError, match=words):
        ec8_elastic_spectrum(**({"a_g": 2.5} | GROUND_B | changes))


# --- Points of one's own ----------------------------------------------------------------------------------------------


def test_points_are_joined_by_power_laws():
    target = TargetSpectrum([0.1, 0.4, 1.6], [2.0, 8.0, 0.5])
    np.testing.assert_allclose(target.at([0.1, 0.2, 0.4, 0.8, 1.6]), [2, 4, 8, 2, 0.5], rtol=1e-12)


def test_first_stretch_from_zero_is_straight():
    target = TargetSpectrum([0.0, 0.1, 1.0], [4.0, 10.0, 1.0])
    np.testing.assert_allclose(target.at([0.0, 0.025, 0.1]), [4, 5.5, 10], rtol=1e-12)


@pytest.mark.parametrize("period", [0.05, 3.0])
def test_periods_not_covered_are_refused(period):
    with pytest.raises(InputError, match=r"mine covers 0\.1 s to 2 s"):
        TargetSpectrum([0.1, 2.0], [1.0, 1.0], name="mine").at([0.5, period])


@pytest.mark.parametrize(
    ("periods", "psa", "words"),
    [
        ([0.1], [1.0], "two points"),
        ([0.1, 0.2], [1.0], "two points"),
        ([0.2, 0.1], [1.0, 1.0], "rising"),
        ([0.1, 0.1], [1.0, 1.0], "rising"),
        ([-0.1, 0.1], [1.0, 1.0], "negative"),
        ([0.1, 0.2], [1.0, 0.0], "psa"),
        ([0.1, np.inf], [1.0, 1.0], "finite"),
    ],
)
def test_wrong_points(periods, psa, words):
    with pytest.raises(InputError, match=words):
        TargetSpectrum(periods, psa)


def test_a_target_is_its_own_copy_and_carries_a_caution():
    psa = np.array([1.0, 2.0])
    target = TargetSpectrum([0.1, 1.0], psa)
    psa[:] = 9
    assert target.psa.tolist() == [1, 2]
    with pytest.raises(ValueError, match="read-only"):
        target.psa[0] = 3
    assert "licensed engineers" in target.caution
    assert "code in force" in target.caution


# --- Tables -----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("unit", "factor"), [("g", G), ("m/s²", 1.0), ("gal", 0.01), ("cm/s^2", 0.01)])
def test_table_units(tmp_path, unit, factor):
    file = tmp_path / "quay.csv"
    file.write_text(f"# invented\n\nPeriod [s], PSA [{unit}]\n0,0.4\n0.1,1.0\n\n1,0.5\n", encoding="utf-8-sig")
    target = target_from_table(file, damping=0.02)
    np.testing.assert_allclose(target.psa, np.array([0.4, 1.0, 0.5]) * factor, rtol=1e-15)
    assert target.periods.tolist() == [0, 0.1, 1]
    assert (target.name, target.damping) == ("quay", 0.02)
    assert target_from_table(file, name="site").name == "site"


def test_a_table_may_hold_a_spread(tmp_path):
    file = tmp_path / "conditional.csv"
    file.write_text("period [s],psa [g],sigma [ln]\n0.1,1.0,0.6\n1,0.5,0\n10,0.05,0.8\n", encoding="utf-8")
    target = target_from_table(file)
    np.testing.assert_allclose(target.spread_at([0.1, 1.0, np.sqrt(10.0)]), [0.6, 0.0, 0.4], atol=1e-12)
    np.testing.assert_allclose(target.damped(0.1).spread, target.spread)
    assert TargetSpectrum([0.1, 1.0], [1.0, 1.0]).spread_at([0.5]) is None
    with pytest.raises(InputError, match="a spread a period"):
        TargetSpectrum([0.1, 1.0], [1.0, 1.0], spread=np.array([0.5]))
    with pytest.raises(InputError, match="covers"):
        target.spread_at([20.0])


@pytest.mark.parametrize(
    ("text", "line", "words"),
    [
        ("period [s],psa [g],sigma [ln]\n0.1,1,0.5\n1,1\n", 3, "three numbers"),
        ("period [s],psa [g],sigma [ln]\n0.1,1,-0.5\n1,1,1\n", 2, "three numbers"),
        ("period [s],psa [g],sigma\n0.1,1,0.5\n1,1,1\n", 1, "expected the row"),
        ("", None, "no row"),
        ("# only a remark\n", None, "no row"),
        ("0.1,1.0\n0.2,1.0\n", 1, "expected the row"),
        ("period [s],psa\n0.1,1\n1,1\n", 1, "expected the row"),
        ("period [s],psa [furlong]\n0.1,1\n1,1\n", 1, "unknown unit"),
        ("period [s],psa [counts]\n0.1,1\n1,1\n", 1, "counts"),
        ("period [s],psa [g]\n0.1,1\n1\n", 3, "two numbers"),
        ("period [s],psa [g]\n0.1,1\n1,1,1\n", 3, "two numbers"),
        ("period [s],psa [g]\n0.1,1\none,1\n", 3, "two numbers"),
        ("period [s],psa [g]\n# remark\n0.1,1\n0.1,2\n", 4, "above the last"),
        ("period [s],psa [g]\n-0.1,1\n1,2\n", 2, "0 or more"),
        ("period [s],psa [g]\n0.1,1\n1,0\n", 3, "PSA above 0"),
        ("period [s],psa [g]\n0.1,nan\n1,1\n", 2, "PSA above 0"),
        ("period [s],psa [g]\nnan,1\n1,1\n", 2, "0 or more"),
        ("period [s],psa [g]\n0.1,1\n", None, "two points"),
    ],
)
def test_wrong_tables_are_named_with_their_line(tmp_path, text, line, words):
    file = tmp_path / "quay.csv"
    file.write_text(text, encoding="utf-8")
    with pytest.raises(RecordError, match=words) as caught:
        target_from_table(file)
    assert (caught.value.source, caught.value.line) == (str(file), line)


def test_files_that_are_no_text(tmp_path):
    with pytest.raises(RecordError, match=r"no such file\. Check its name"):
        target_from_table(tmp_path / "absent.csv")
    (tmp_path / "bytes.csv").write_bytes(b"\xff\xfe\x00")
    with pytest.raises(RecordError, match="cannot be read"):
        target_from_table(tmp_path / "bytes.csv")


# --- Comparison -------------------------------------------------------------------------------------------------------

PERIODS = np.geomspace(0.05, 3.0, 40)


@given(factor=st.floats(1e-3, 1e3))
def test_best_scale_recovers_a_known_factor(factor):
    target = ec8_elastic_spectrum(2.5, **GROUND_B)
    psa = target.at(PERIODS) / factor
    assert best_scale(target, PERIODS, psa, (0.2, 2.0), unit="m/s2") == pytest.approx(factor, rel=1e-12)
    np.testing.assert_allclose(ratio(target, PERIODS, psa, unit="m/s2"), 1 / factor, rtol=1e-12)


@given(seed=st.integers(0, 10_000), off=st.sampled_from([0.99, 1.01]))
def test_best_scale_leaves_the_least_misfit(seed, off):
    target = asce7_spectrum(1.0, 0.6, 8.0)
    psa = target.at(PERIODS) * np.exp(np.random.default_rng(seed).normal(0, 0.5, PERIODS.size))
    best = best_scale(target, PERIODS, psa, (0.1, 1.0), unit="m/s2")

    def misfit(scale):
        inside = (PERIODS >= 0.1) & (PERIODS <= 1.0)
        return np.mean(np.log(scale * psa[inside] / target.at(PERIODS[inside])) ** 2)

    assert misfit(best) < misfit(best * off)


def test_only_the_range_counts():
    target = TargetSpectrum([0.1, 2.0], [4.0, 4.0])
    # Outside the range neither a zero nor a period that the target does not cover matters; its ends are inside.
    psa = np.array([0.0, 2.0, 8.0, 2.0, 100.0])
    scale = best_scale(target, [0.01, 0.2, 0.5, 1.0, 5.0], psa, (0.2, 1.0), unit="m/s2")
    assert scale == pytest.approx((2 * 0.5 * 2) ** (1 / 3), rel=1e-12)


@pytest.mark.parametrize(
    ("psa", "period_range", "words"),
    [
        ([1.0, 1.0], (3.0, 4.0), "no period"),
        ([1.0, 1.0], (1.0, 0.1), "no period"),
        ([1.0], (0.1, 1.0), "a PSA a period"),
        ([1.0, 0.0], (0.1, 1.0), "psa"),
        ([1.0, np.nan], (0.1, 1.0), "psa"),
        ([1.0, 1.0], (0.1, 5.0), "covers"),
    ],
)
def test_wrong_comparisons(psa, period_range, words):
    target = TargetSpectrum([0.1, 0.9], [4.0, 4.0])
    with pytest.raises(InputError, match=words):
        best_scale(target, [0.2, 1.0 if "covers" in words else 0.8], psa, period_range, unit="m/s2")


@pytest.mark.parametrize(("unit", "factor"), [("m/s2", 1.0), ("cm/s2", 100.0), ("g", 1 / G)])
def test_a_factor_does_not_depend_on_the_unit_and_a_bare_array_must_name_it(unit, factor):
    target = ec8_elastic_spectrum(2.5, **GROUND_B)
    psa = np.linspace(1.0, 4.0, PERIODS.size)
    expected = best_scale(target, PERIODS, psa, (0.2, 2.0), unit="m/s2")
    assert best_scale(target, PERIODS, factor * psa, (0.2, 2.0), unit=unit) == pytest.approx(expected, rel=1e-12)
    with pytest.raises(TypeError, match="unit"):
        best_scale(target, PERIODS, psa, (0.2, 2.0))
    with pytest.raises(InputError, match="unknown unit"):
        ratio(target, PERIODS, psa, unit="furlong")


def test_ratio_wants_like_shapes():
    with pytest.raises(InputError, match="a PSA a period"):
        ratio(TargetSpectrum([0.1, 1.0], [4.0, 4.0]), [0.2, 0.3], [1.0], unit="m/s2")
