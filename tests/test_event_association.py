"""Which records share an earthquake: several shocks, unrelated records, wrong clocks, a record with two shocks."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from benchmarks import simulations
from benchmarks.events import simulate
from strongmotion import RecordError
from strongmotion.arrivals import Arrivals, Pick, pick_arrivals, shock_spans
from strongmotion.event import Arrived, Reading, associate, events_in
from strongmotion.record import Station


def shocks(event, later=0.0):
    """Return the arrivals of a simulated event, as many s later."""
    found = []
    for station in event.stations:
        p, s = (None if time is None else time + later for time in (station.p, station.s))
        place = station.latitude, station.longitude
        found.append(Arrived(station.station, p, s, station.p_uncertainty, station.s_uncertainty, place, True))
    return found


def readings(event, later=0.0, first=0):
    """Return readings that tell just the arrivals of a simulated event."""
    found = []
    for number, station in enumerate(event.stations):
        start = np.datetime64("2031-04-17T00:00:00", "ns") + np.timedelta64(round(later * 1e9), "ns")
        picks = [None if t is None else Pick(phase, t + 100.0, u) for phase, t, u in
                 (("P", station.p, station.p_uncertainty), ("S", station.s, station.s_uncertainty))]  # fmt: skip
        found.append(
            Reading(
                f"record {first + number}", Station(code=station.station, latitude=station.latitude,
                longitude=station.longitude), start, Arrivals(*picks), None, math.nan, math.nan, math.nan, {}, None,
                (), np.arange(10.0), np.zeros(10),
            )
        )  # fmt: skip
    return found


def with_right_clocks(seed, least=6):
    """Return simulated events whose clocks are right."""
    return [e for e in (simulate(seed, n) for n in range(60)) if not e.clocks and len(e.stations) >= least]


@pytest.mark.parametrize("later", [30.0, 150.0, 600.0])
def test_two_shocks_at_the_same_stations_are_two_events(later):
    for event in with_right_clocks(21)[:12]:
        both = [*shocks(event), *shocks(event, later)]
        events, alone = associate(both)
        n = len(event.stations)
        assert all(max(group) < n or min(group) >= n for group in events)
        assert sum(len(group) for group in events) >= 0.9 * 2 * n
        assert len(events) == 2, (later, alone)


def test_records_of_one_event_stay_together():
    whole = lost = 0
    for event in with_right_clocks(22, least=4)[:25]:
        events, alone = associate(shocks(event))
        whole += len(events) == 1
        lost += len(alone)
    assert whole >= 24
    assert lost <= 3


def test_unrelated_records_share_no_earthquake():
    """Stations of eight events hours apart, one of each; and eight records without clock or place."""
    events = with_right_clocks(23)[:8]
    mixed = [shocks(event, 3600.0 * number)[1] for number, event in enumerate(events)]
    assert associate(mixed)[0] == ()
    lost = [replace(one, place=None, timed=False) for one in mixed]
    assert associate(lost)[0] == ()
    apart = [readings(event, 3600.0 * number, 10 * number)[1] for number, event in enumerate(events)]
    with pytest.raises(RecordError, match="share no earthquake"):
        events_in(apart)


def test_clocks_that_are_all_wrong_make_no_event():
    rng = np.random.default_rng(1)
    for event in with_right_clocks(24)[:5]:
        off = 600 * np.arange(len(event.stations)) + rng.uniform(0, 200)
        wrong = [
            replace(one, p=one.p and one.p + late, s=one.s and one.s + late)
            for one, late in zip(shocks(event), off, strict=True)
        ]
        assert associate(wrong)[0] == ()


def test_one_wrong_clock_of_three_is_not_part_of_the_event():
    event = next(e for e in with_right_clocks(25) if all(s.lag for s in e.stations[:3]))
    three = shocks(event)[:3]
    three[0] = replace(three[0], p=three[0].p + 40.0, s=three[0].s + 40.0)
    assert associate(three) == (((1, 2),), (0,))


def test_one_wrong_clock_of_many_stays_for_the_location_to_name():
    event = next(e for e in with_right_clocks(26) if e.stations[0].lag)
    many = readings(event)
    many[0] = replace(many[0], start=many[0].start + np.timedelta64(20, "s"))
    (found,) = events_in(many)
    assert [clock.station for clock in found.location.clocks] == ["S0"]


def test_two_events_are_studied_apart():
    one, other = with_right_clocks(27)[:2]
    found = events_in([*readings(one), *readings(other, 200.0, 50)])
    assert len(found) == 2
    for event, simulated in zip(found, (one, other), strict=True):
        assert event.location.holds(simulated.latitude, simulated.longitude)


def test_a_record_of_two_shocks_is_split_and_one_of_one_is_not():
    """Shocks 30 s apart or more; simulated in `benchmarks/simulations.py` without a look at the splitting."""
    names = ("H1", "H2", "V")
    split = whole = 0
    for number in range(12):
        rng = np.random.default_rng([31, number])
        motion = simulations.draw_two_shocks(rng, "quiet", after=40.0, rate=100.0, before=20.0, shaking=10.0)
        assert (motion.shocks[1].onset - motion.shocks[0].onset) * motion.dt > 25
        record = simulations.record_motion(rng, motion)
        spans = shock_spans(dict(zip(names, record.acceleration, strict=True)), record.dt)
        begin = motion.shocks[1].onset * motion.dt
        split += len(spans) == 2 and spans[0][1] - 3 < begin < spans[1][1] and abs(spans[1][0] - begin) < 12
        motion = simulations.draw_motion(rng, rate=100.0)
        record = simulations.record_motion(rng, motion)
        whole += len(shock_spans(dict(zip(names, record.acceleration, strict=True)), record.dt)) == 1
    assert split >= 11
    assert whole == 12


def test_an_aftershock_in_the_coda_is_another_shock():
    """The same shock again, half as strong, 40 s later, in a coda that decays as exp(-t / 8 s)."""
    rng = np.random.default_rng(5)
    dt, n = 0.01, 12000
    time = np.arange(n) * dt

    def shock(at, strength):
        after = time - at
        p = np.where((after > 0) & (after < 4), 0.2 * np.exp(-np.clip(after, 0, 4) / 8), 0.0)
        s = np.where(after > 4, np.exp(-np.clip(after - 4, 0, None) / 8), 0.0)
        return strength * (p + s)

    envelope = np.hypot(np.hypot(shock(20, 1.0), shock(60, 0.5)), 1e-3)
    parts = {name: rng.normal(size=n) * envelope for name in ("H1", "H2", "V")}
    first, second = shock_spans(parts, dt)
    assert first[1] == second[0]
    assert 50 < second[0] < 64


def coda_shock(rng, time, at, strength, lag, decay):
    """Return a shock whose P is mostly vertical, whose S is not, and whose coda decays as exp(-t / decay)."""
    after, late = time - at, time - at - lag
    p = 0.25 * np.clip(after / 0.2, 0, 1) * np.exp(-np.clip(after, 0, None) / decay)
    s = np.clip(late / 0.5, 0, 1) * np.exp(-np.clip(late, 0, None) / decay)
    across = np.array([[0.6], [0.6], [1.4]]) * p, np.array([[1.1], [1.1], [0.7]]) * s
    return strength * sum(part * rng.normal(size=(3, len(time))) for part in across)


def test_aftershocks_in_codas_are_split_and_single_shocks_are_not():
    """Aftershocks 30 to 90 s later, 0.1 to 1.2 times as strong, 20 decibels above the coda; and S late after P."""
    names, time = ("H1", "H2", "V"), np.arange(15000) * 0.01
    split = picked_p = late = whole = cases = 0
    for number in range(30):
        rng = np.random.default_rng([41, number])
        lag, decay, gap = rng.uniform(1.5, 12), rng.uniform(3, 12), rng.uniform(30, 90)
        strength = math.exp(rng.uniform(math.log(0.1), math.log(1.2)))
        noise = 10 ** rng.uniform(-5, -2.5) * rng.normal(size=(3, len(time)))
        one = coda_shock(rng, time, 20.0, 1.0, lag, decay) + noise
        whole += len(shock_spans(dict(zip(names, one, strict=True)), 0.01)) == 1
        far = coda_shock(rng, time, 20.0, 1.0, rng.uniform(15, 24), decay) + noise
        whole += len(shock_spans(dict(zip(names, far, strict=True)), 0.01)) == 1
        if 20 * math.log10(strength) + 8.7 * (gap - lag) / decay < 20:
            continue
        cases += 1
        both = one + coda_shock(rng, time, 20.0 + gap, strength, lag, decay)
        spans = shock_spans(dict(zip(names, both, strict=True)), 0.01)
        if len(spans) != 2 or not 20 + gap - 15 < spans[1][0] < 20 + gap + lag:
            continue
        split += 1
        found = pick_arrivals(dict(zip(names, both[:, round(spans[1][0] * 100) :], strict=True)), 0.01)
        if found.p is not None:
            picked_p += 1
            late += found.p.time + spans[1][0] > 20 + gap + 1.0
    assert cases >= 20
    assert split >= 0.9 * cases
    assert whole >= 59
    assert picked_p >= 0.5 * split
    assert late <= 1


def test_shocks_of_one_record_need_room():
    assert shock_spans({"V": np.zeros(10)}, 0.01) == ((0.0, 0.1),)
    assert len(shock_spans({"V": np.random.default_rng(1).normal(size=9000)}, 0.01)) == 1
