"""Spectra of many records: the table, the comparison with a target, and the choice against brute force."""

from __future__ import annotations

import dataclasses
import itertools
import re

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import linprog
from typer.testing import CliRunner

from strongmotion import Archive, InputError, Record, process
from strongmotion.cli import app
from strongmotion.spectra import TargetSpectrum
from strongmotion.suite import compare, select
from strongmotion.suite.select import SelectionRules, shape_misfit
from strongmotion.suite.spectra import SuiteSpectra, spectra_of, target_named

PERIODS = np.geomspace(0.1, 4.0, 12)
FLAT = TargetSpectrum([0.05, 10.0], [4.0, 4.0])
_TIME = np.arange(3000) * 0.01
BURST = np.where(_TIME > 10, np.sin(9 * _TIME) * np.exp(-0.3 * (_TIME - 10)), 0) + 1e-4 * np.sin(701 * _TIME)


def made(n, seed=1, usable=None, events=None, scatter=0.5):
    """Return spectra that scatter about a flat one, with a tilt and bumps of their own."""
    rng = np.random.default_rng(seed)
    shape = rng.normal(0, scatter, (n, 1)) + rng.normal(0, 0.3, (n, 1)) * np.log(PERIODS) + rng.normal(0, 0.2, (n, 12))
    psa = 4.0 * np.exp(shape)
    return SuiteSpectra(
        tuple(f"R{i}" for i in range(n)), tuple(events or [""] * n), ("",) * n, PERIODS, psa, 0.9 * psa, 1.1 * psa,
        np.ones(psa.shape, bool) if usable is None else usable, "RotD50", 0.05,
    )  # fmt: skip


def test_the_best_factor_is_that_of_least_squares_in_the_logarithm():
    spectra = made(5)
    found = compare(spectra, FLAT, (0.1, 4.0))
    for row, psa in zip(found.table.itertuples(), spectra.psa, strict=True):
        tried = row.factor * np.linspace(0.9, 1.1, 401)
        misfits = [np.sqrt(np.mean(np.log(factor * psa / 4.0) ** 2)) for factor in tried]
        assert tried[int(np.argmin(misfits))] == pytest.approx(row.factor, rel=1e-3)
        assert row.misfit == pytest.approx(min(misfits), rel=1e-6)
        assert row.lowest_ratio == pytest.approx((row.factor * psa / 4.0).min())
        assert (row.factor_low, row.factor_high) == pytest.approx((row.factor / 1.1, row.factor / 0.9))
    scaled = found.table["factor"].to_numpy()[:, None] * spectra.psa
    np.testing.assert_allclose(found.mean, np.exp(np.log(scaled).mean(axis=0)))
    np.testing.assert_allclose(found.spread, np.log(scaled).std(axis=0, ddof=1))


def test_the_bands_of_the_records_are_carried_into_factors_and_mean():
    spectra = made(6)
    found = compare(spectra, FLAT, (0.1, 4.0))
    np.testing.assert_allclose(found.mean_low, 0.9 * found.mean)
    np.testing.assert_allclose(found.mean_high, 1.1 * found.mean)
    chosen = select(spectra, FLAT, (0.1, 4.0), 3, SelectionRules(tolerance=0.8, below=0.6))
    np.testing.assert_allclose(chosen.mean_low, 0.9 * chosen.mean)
    np.testing.assert_allclose(chosen.mean_high, 1.1 * chosen.mean)
    np.testing.assert_allclose(chosen.table["factor_low"], chosen.table["factor"] / 1.1)
    np.testing.assert_allclose(chosen.table["factor_high"], chosen.table["factor"] / 0.9)
    without = dataclasses.replace(spectra, low=np.full_like(spectra.psa, np.nan))
    assert np.isnan(compare(without, FLAT, (0.1, 4.0)).mean_low).all()


def test_records_that_are_not_usable_over_the_range_are_left_out_and_named_or_kept_with_their_mark():
    usable = np.ones((4, 12), bool)
    usable[2, PERIODS > 3.0] = False
    spectra = made(4, usable=usable)
    found = compare(spectra, FLAT, (0.1, 4.0))
    assert found.left_out == ("R2",)
    assert "R2" not in set(found.table["record"])
    assert compare(spectra, FLAT, (0.1, 2.5)).left_out == ()
    kept = compare(spectra, FLAT, (0.1, 4.0), keep_unusable=True)
    assert list(kept.table.usable) == [True, True, False, True]
    with pytest.raises(InputError, match="no record is usable"):
        compare(made(2, usable=np.zeros((2, 12), bool)), FLAT, (0.1, 4.0))


def test_weights_count_and_a_target_of_another_damping_is_refused():
    spectra = made(3)
    alone = np.zeros(12)
    alone[4] = 2.0
    factors = compare(spectra, FLAT, (0.1, 4.0), weights=alone).table["factor"]
    np.testing.assert_allclose(factors, 4.0 / spectra.psa[:, 4])
    with pytest.raises(InputError, match="expected 12 weights"):
        compare(spectra, FLAT, (0.1, 4.0), weights=[1.0])
    with pytest.raises(InputError, match="2 % damping"):
        compare(spectra, TargetSpectrum([0.05, 10.0], [4.0, 4.0], damping=0.02), (0.1, 4.0))
    for wrong in ((2.0, 1.0), (0.0, 1.0), (5.0, 6.0)):
        with pytest.raises(InputError, match="range"):
            compare(spectra, FLAT, wrong)


def least_by_brute_force(spectra, count, rules):
    """Return the least cost over all subsets for which factors exist that keep the mean to the target."""
    ratio = np.log(spectra.psa / 4.0)
    cost = shape_misfit(ratio)
    low, high = np.log(rules.factors)
    least = max(-rules.tolerance, np.log1p(-rules.below))
    every = sorted(itertools.combinations(range(len(spectra)), count), key=lambda subset: cost[list(subset)].sum())
    for subset in every:  # the cheapest first, so the first that keeps to the rules is the best
        if any(
            rules.per_event and [spectra.events[i] for i in subset].count(event) > rules.per_event
            for event in {spectra.events[i] for i in subset} - {""}
        ):
            continue
        # The mean of y shifts all periods alike: it exists if the window of shifts is not empty within the bounds.
        mean = ratio[list(subset)].mean(axis=0)
        up = np.ones((12, count)) / count
        answer = linprog(np.zeros(count), np.vstack((up, -up)), np.concatenate((rules.tolerance - mean, mean - least)),
                         bounds=[(low, high)] * count)  # fmt: skip
        if answer.status == 0:
            return cost[list(subset)].sum()
    return np.inf


@settings(max_examples=20)
@given(
    st.integers(0, 10**6), st.integers(5, 9), st.integers(1, 4), st.sampled_from([0.15, 0.3, 0.6]), st.integers(0, 2)
)
def test_the_choice_equals_brute_force(seed, n, count, tolerance, cap):
    events = [f"E{i % 3}" for i in range(n)]
    spectra = made(n, seed, events=events)
    rules = SelectionRules(factors=(0.5, 2.0), tolerance=tolerance, below=0.1, per_event=cap, gap=0.0)
    expected = least_by_brute_force(spectra, count, rules)
    if not np.isfinite(expected):
        with pytest.raises(InputError, match="no suite of"):
            select(spectra, FLAT, (0.1, 4.0), count, rules)
        return
    found = select(spectra, FLAT, (0.1, 4.0), count, rules)
    assert found.cost == pytest.approx(expected, abs=1e-6)
    assert len(set(found.table["record"])) == count
    assert found.table["factor"].between(0.5 - 1e-9, 2.0 + 1e-9).all()
    ratio = np.log(found.mean / found.target)
    assert ratio.max() <= tolerance + 1e-6
    assert ratio.min() >= max(-tolerance, np.log(0.9)) - 1e-6
    own = compare(spectra, FLAT, (0.1, 4.0)).table.set_index("record").factor[found.table.record].to_numpy()
    shift = np.log(found.table["factor"].to_numpy() / own)
    inside = found.table["factor"].between(0.5 + 1e-9, 2.0 - 1e-9).to_numpy()
    if inside.any():  # all that the bounds leave free are shifted alike
        np.testing.assert_allclose(shift[inside], shift[inside][0], atol=1e-9)
    if cap:
        assert found.table["event"].value_counts().max() <= cap


@pytest.mark.slow
def test_200_random_archives_are_chosen_from_as_brute_force_does():
    compared = 0
    for seed in range(200):
        rng = np.random.default_rng(7000 + seed)
        n = int(rng.integers(5, 13))
        spectra = made(n, seed=8000 + seed, events=[f"E{i % 4}" for i in range(n)])
        rules = SelectionRules((0.4, 2.5), float(rng.choice([0.15, 0.3, 0.5])), 0.1, int(rng.integers(0, 3)), gap=0.0)
        expected = least_by_brute_force(spectra, 4, rules)
        if np.isfinite(expected):
            compared += 1
            assert select(spectra, FLAT, (0.1, 4.0), 4, rules).cost == pytest.approx(expected, abs=1e-6)
        else:
            with pytest.raises(InputError, match="no suite of"):
                select(spectra, FLAT, (0.1, 4.0), 4, rules)
    assert compared > 50


@settings(max_examples=10)
@given(st.integers(0, 10**6), st.integers(5, 8), st.integers(2, 4), st.sampled_from([0.2, 0.5, 0.7]))
def test_a_choice_with_a_spread_equals_brute_force(seed, n, count, sigma):
    spectra = made(n, seed, scatter=0.1)
    goal = dataclasses.replace(FLAT, spread=np.array([sigma, sigma]))
    rules = SelectionRules(factors=(0.3, 3.0), tolerance=0.4, below=0.3, gap=0.0, spread=0.8)
    ratio = np.log(spectra.psa / 4.0)
    own = ratio - ratio.mean(axis=1, keepdims=True)  # with its own best factor
    cost, least = shape_misfit(ratio), np.inf
    lowest, highest = 0.2 * sigma if sigma > 0.4 else 0.0, 1.8 * max(sigma, 0.4)
    for subset in map(list, itertools.combinations(range(n), count)):
        variance = (own[subset] ** 2).sum(axis=0) / (count - 1)
        kept = (variance >= lowest**2).all() and (variance <= highest**2).all()
        if kept and np.isfinite(least_by_brute_force(some(spectra, subset), count, rules)):
            least = min(least, float(cost[subset].sum()))
    if not np.isfinite(least):
        with pytest.raises(InputError, match="a spread within 80 %"):
            select(spectra, goal, (0.1, 4.0), count, rules)
        return
    assert select(spectra, goal, (0.1, 4.0), count, rules).cost == pytest.approx(least, abs=1e-6)


def some(spectra, rows):
    """Return some records of a suite."""
    return dataclasses.replace(
        spectra, records=tuple(spectra.records[i] for i in rows), events=tuple(spectra.events[i] for i in rows),
        stations=tuple(spectra.stations[i] for i in rows), psa=spectra.psa[rows], low=spectra.low[rows],
        high=spectra.high[rows], usable=spectra.usable[rows],
    )  # fmt: skip


def test_a_suite_has_the_spread_of_its_target():
    spectra = made(300, 11, scatter=0.2)
    wanted = np.array([0.45, 0.2])
    goal = TargetSpectrum([0.05, 10.0], [4.0, 4.0], spread=wanted)
    rules = SelectionRules(tolerance=0.1, spread=0.25, time_limit=20.0, gap=0.05)
    found = select(spectra, goal, (0.1, 4.0), 20, rules)
    at = goal.spread_at(found.periods)
    assert (np.abs(found.spread / at - 1) < 0.3).all()
    # Without a spread the closest shapes are taken, which scatter less.
    without = select(spectra, FLAT, (0.1, 4.0), 20, rules)
    assert without.spread.mean() < found.spread.mean()


def test_a_target_is_brought_to_the_damping_asked():
    goal = target_named("ec8:ag=2,s=1.2,tb=0.15,tc=0.5,td=2", 0.1)
    assert goal.damping == 0.1
    assert goal.at([0.3])[0] == pytest.approx(6.0 * np.sqrt(2 / 3))


def test_a_choice_is_reproducible_and_proves_its_gap():
    spectra = made(120, 3)
    rules = SelectionRules(tolerance=0.05)
    one, two = (select(spectra, FLAT, (0.1, 4.0), 7, rules) for _ in range(2))
    assert one.table.equals(two.table)
    assert one.gap <= 0.011
    assert one.bound <= one.cost + 1e-9
    rng = np.random.default_rng(1)
    ratio = np.log(spectra.psa / 4.0)
    cost = shape_misfit(ratio)
    assert one.cost < min(cost[rng.choice(120, 7, replace=False)].sum() for _ in range(1000))


@pytest.mark.parametrize("seed", range(5))
def test_the_closest_suite_that_a_refusal_names_can_be_had_and_none_is_much_closer(seed):
    spectra = made(9, seed)
    with pytest.raises(InputError, match="the closest suite") as caught:
        select(spectra, FLAT, (0.1, 4.0), 3, SelectionRules(tolerance=1e-4))
    low, high = map(float, re.search(r"a mean of ([0-9.]+) to ([0-9.]+) of", str(caught.value)).groups())
    departure = max(-np.log(low), np.log(high))
    found = select(spectra, FLAT, (0.1, 4.0), 3, SelectionRules(tolerance=departure + 0.01, below=0.99))
    assert np.abs(np.log(found.mean / found.target)).max() <= departure + 0.01 + 1e-9
    with pytest.raises(InputError, match="no suite of 3"):  # the search stops within 5 % of the best
        select(spectra, FLAT, (0.1, 4.0), 3, SelectionRules(tolerance=0.93 * departure - 0.01, below=0.99))


def test_a_record_of_one_component_does_not_stop_the_table_of_the_others(tmp_path):
    pair = Record.from_arrays({"H1": BURST, "H2": 0.7 * BURST}, dt=0.01, unit="m/s2")
    alone = Record.from_arrays({"H1": 0.5 * BURST}, dt=0.01, unit="m/s2")
    archive = Archive(tmp_path / "archive", create=True)
    for record in (pair, alone):
        archive.add(process(record))
    shown = CliRunner().invoke(app, ["spectra", str(tmp_path / "archive")])
    assert shown.exit_code == 0
    assert f"1 record left out, without a spectrum of RotD50 at 5 % damping: {alone.id}" in shown.stderr
    assert pair.id in shown.stdout
    assert alone.id not in shown.stdout


def test_what_cannot_be_chosen_is_refused_with_a_remedy():
    spectra = made(6)
    with pytest.raises(InputError, match=r"only 6 of 6 records are usable .* 7 were asked for"):
        select(spectra, FLAT, (0.1, 4.0), 7)
    with pytest.raises(InputError, match=r"no suite of 2 .* closest suite has a mean of .* Allow a larger tolerance"):
        select(spectra, FLAT, (0.1, 4.0), 2, SelectionRules(tolerance=1e-4))
    with pytest.raises(InputError, match="least <= largest factor"):
        select(spectra, FLAT, (0.1, 4.0), 2, SelectionRules(factors=(2.0, 1.0)))


@pytest.mark.parametrize(("unit", "factor"), [("m/s2", 1.0), ("cm/s2", 100.0), ("g", 1 / 9.80665)])
def test_the_table_is_in_the_unit_and_leaves_empty_what_is_not_usable(unit, factor):
    usable = np.ones((2, 12), bool)
    usable[1, -1] = False
    spectra = made(2, usable=usable)
    long = spectra.table(unit)
    column = f"psa_{unit.replace('/', '_')}"
    assert list(long.columns) == ["record", "component", "damping", "period_s", column, "usable"]
    assert long[column].iloc[0] == pytest.approx(factor * spectra.psa[0, 0], rel=1e-12)
    assert np.isnan(long[column].iloc[-1])
    assert np.isfinite(spectra.table(unit, keep_unusable=True)[column]).all()
    wide = spectra.table(unit, wide=True)
    assert wide.shape == (2, 15)
    assert np.isnan(wide.iloc[1, -1])
    assert wide["usable_from_s"].tolist() == [PERIODS[0]] * 2
    assert wide["usable_to_s"].tolist() == [PERIODS[-1], PERIODS[-2]]
    none = made(2, usable=np.zeros((2, 12), bool)).table(unit, wide=True, keep_unusable=True)
    assert none[["usable_from_s", "usable_to_s"]].isna().all(axis=None)


def test_spectra_are_narrowed_to_periods_they_hold():
    spectra = made(3)
    some = spectra.at([PERIODS[4], PERIODS[1]])
    np.testing.assert_array_equal(some.periods, PERIODS[[1, 4]])
    np.testing.assert_array_equal(some.psa, spectra.psa[:, [1, 4]])
    with pytest.raises(InputError, match=r"no spectra at 0\.12 s"):
        spectra.at([0.12])


def test_spectra_are_those_of_the_results():
    from strongmotion import process, read

    result = process(read("demo_records/quay.csv"))
    spectra = spectra_of([result, result])
    own = result.spectra.query("component == 'RotD50' and period > 0")
    np.testing.assert_array_equal(spectra.periods, own["period"])
    np.testing.assert_allclose(spectra.psa[0], own["psa"], rtol=1e-12)
    np.testing.assert_array_equal(spectra.usable[1], own["usable"])
    mean = spectra_of([result], "geometric mean")
    one, two = (
        result.spectra.query(f"component == '{name}' and period > 0")["psa"].to_numpy() for name in ("H1", "H2")
    )
    np.testing.assert_allclose(mean.psa[0], np.sqrt(one * two), rtol=1e-12)
    with pytest.raises(InputError, match="has no spectrum of RotD13"):
        spectra_of([result], "RotD13")
    with pytest.raises(InputError, match="no record has a spectrum of"):
        spectra_of([])


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("asce8:x=1", "neither a file nor a shape"),
        ("asce7:sds=1", "needs sds, sd1, tl"),
        ("asce7:sds=a,sd1=1,tl=2", "numbers"),
    ],
)
def test_targets_by_name_say_what_is_wrong(text, message):
    with pytest.raises(InputError, match=message):
        target_named(text)


def test_targets_by_name(tmp_path):
    file = tmp_path / "site.csv"
    file.write_text("period [s],psa [g]\n0.1,0.5\n1.0,0.25\n")
    assert target_named(str(file)).name == "site"
    assert target_named("ec8:ag=2,s=1.2,tb=0.15,tc=0.5,td=2").at([0.3])[0] == pytest.approx(6.0)
