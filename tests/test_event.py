"""An event from its stations: travel times, place, size, the whole picture of the demo, and what cannot be told."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.optimize import minimize

from benchmarks.events import ground, simulate
from strongmotion import Component, InputError, Record, RecordError, Settings, SettingsError, Station, process, read
from strongmotion.arrivals import Pick
from strongmotion.event import (
    CLASSICAL,
    EventSettings,
    StationTimes,
    VelocityModel,
    WoodAnderson,
    describe,
    epicentral_distance,
    expected_pga,
    hypocentral_distance,
    locate,
    moment_magnitude,
    moment_of,
    read_station,
    seismic_moment,
    source_spectrum,
    study,
    time_at_station,
    travel_times,
    wadati,
    wood_anderson,
)
from strongmotion.event._posterior import evaluate
from strongmotion.event.travel import LAYERED_EARTH, slowness_table
from strongmotion.foundation.geodesy import Plane, azimuthal_gap, destination, distance_and_azimuth, middle

FOLDER = Path(__file__).parents[1] / "demo_records"
TRUTH = json.loads((FOLDER / "truth" / "event.json").read_text(encoding="utf-8"))
QUICK = Settings.from_dict({"spectra": {"periods": [1.0]}})
HOMOGENEOUS = VelocityModel()
LAYERED = VelocityModel.parse(["0:4.0/2.3", "3:6.0/3.5", "30:8.0/4.6"])


# ---- geodesy


# The quarter meridian of WGS 84 is 10 001.9657 km, and a degree of its equator 111.3195 km (textbook values).
def test_ellipsoid_is_wgs_84():
    assert distance_and_azimuth(0, 10, 90, 10)[0] == pytest.approx(10001.9657, abs=1e-3)
    assert distance_and_azimuth(0, 0, 0, 1) == pytest.approx((math.pi * 6378.137 / 180, 90.0), abs=1e-9)


@given(st.floats(-89, 89), st.floats(-180, 180), st.floats(-200, 200), st.floats(-200, 200))
def test_plane_and_back(latitude, longitude, east, north):
    plane = Plane(latitude, longitude)
    there = plane.onto(*[[value] for value in plane.back(east, north)])[0]
    np.testing.assert_allclose(there, [east, north], atol=1e-6)


def test_middle_and_gap_know_no_antimeridian():
    assert middle([-10.0, -10.0], [179.0, -179.0])[1] % 360 == pytest.approx(180.0)
    assert azimuthal_gap([350.0, 10.0, 90.0]) == pytest.approx(260.0)
    assert azimuthal_gap([77.0]) == 360.0
    assert destination(0.0, 179.95, 90.0, 20.0)[1] == pytest.approx(-179.870, abs=1e-3)


# ---- travel times


def layer_time(model: VelocityModel, phase: str, distance: float, depth: float, refractor: int | None) -> float:
    """Return the least time over all broken lines, Fermat's principle: no formula of rays."""
    velocity, top = model.velocity(phase), list(model.top)
    source = max(i for i, t in enumerate(top) if t < depth)
    up = [(min(depth, ([*top, math.inf])[i + 1]) - top[i], velocity[i]) for i in range(source + 1)]
    if refractor is None:
        legs, along = up, None
    else:
        down = [(top[source + 1] - depth, velocity[source])]
        down += [(top[i + 1] - top[i], velocity[i]) for i in range(source + 1, refractor)]
        legs = [*down, *((top[i + 1] - top[i], velocity[i]) for i in range(refractor))]
        along = velocity[refractor]

    def time(x):
        left = distance - np.sum(x)
        total = sum(math.hypot(h, xi) / v for (h, v), xi in zip(legs, x, strict=False))
        if along is None:
            h, v = legs[-1]
            return total + math.hypot(h, left) / v
        return total + abs(left) / along

    free = len(legs) - (along is None)
    if free == 0:
        return time(np.empty(0))
    # From several starts: the corner where a head wave sets in is not smooth.
    starts = [np.full(free, share * distance / (free + 1)) for share in (0.05, 0.3, 1.0)]
    options = {"xatol": 1e-9, "fatol": 1e-12, "maxiter": 8000, "maxfev": 8000}
    return min(minimize(time, start, method="Nelder-Mead", options=options).fun for start in starts)


@pytest.mark.parametrize("phase", ["P", "S"])
@pytest.mark.parametrize(
    ("distance", "depth"), [(0.0, 8.0), (12.0, 1.5), (40.0, 8.0), (150.0, 20.0), (260.0, 8.0), (90, 33)]
)
def test_layered_times_obey_fermat(phase, distance, depth):
    source = max(i for i, top in enumerate(LAYERED.top) if top < depth)
    ways = [None, *range(source + 1, len(LAYERED.top))]
    least = min(layer_time(LAYERED, phase, distance, depth, way) for way in ways)
    assert travel_times(LAYERED, phase, distance, depth)[0][0] == pytest.approx(least, rel=1e-6)


# Shearer (2009), Introduction to Seismology, ch. 4: T = x/v2 + 2 h sqrt(1/v1² - 1/v2²), source at the surface.
def test_head_wave_from_the_surface():
    model = VelocityModel.parse(["0:5/2.9", "20:8/4.6"])
    distance = np.array([150.0, 300.0])
    expected = distance / 8 + 2 * 20 * math.sqrt(1 / 25 - 1 / 64)
    np.testing.assert_allclose(travel_times(model, "P", distance, 0.0)[0], expected, rtol=1e-6)


@given(st.floats(0.5, 300), st.floats(0.2, 45))
def test_homogeneous_time_is_straight(distance, depth):
    time, by_distance, by_depth = (part[0] for part in travel_times(HOMOGENEOUS, "S", distance, depth))
    slant = math.hypot(distance, depth)
    assert time == pytest.approx(slant / 3.5, rel=1e-12)
    assert by_distance == pytest.approx(distance / slant / 3.5, rel=1e-9)
    assert by_depth == pytest.approx(depth / slant / 3.5, rel=1e-6)


@given(st.floats(1.0, 300), st.floats(0.2, 45))
@settings(deadline=None)
def test_derivatives_are_those_of_the_time(distance, depth):
    step = 1e-5
    here = travel_times(LAYERED, "P", distance, depth)
    farther, deeper = (
        travel_times(LAYERED, "P", distance + step, depth),
        travel_times(LAYERED, "P", distance, depth + step),
    )
    if here[1][0] == pytest.approx(farther[1][0], rel=1e-3):  # not at the onset of a head wave
        assert (farther[0] - here[0])[0] / step == pytest.approx(here[1][0], abs=1e-4)
    if here[2][0] == pytest.approx(deeper[2][0], rel=1e-3):  # nor at an interface
        assert (deeper[0] - here[0])[0] / step == pytest.approx(here[2][0], abs=1e-4)


@pytest.mark.parametrize(
    ("layers", "message"),
    [
        (["six/3"], "is not a layer"),
        (["6.0"], "is not a layer"),
        (["6.0/5.5"], "no ground has P at 6 and S at 5.5"),
        (["nan/3"], "no ground"),
        (["0:6/3.5", "0:7/4"], "must begin at 0 and go down"),
        (["5:6/3.5"], "must begin at 0"),
    ],
)
def test_impossible_layers_are_refused(layers, message):
    with pytest.raises(SettingsError, match=message):
        VelocityModel.parse(layers)


# ---- distance from S minus P


# Common practice, without a source: about 8 km a second in ordinary crust; a Poisson solid has Vp/Vs = sqrt(3).
def test_about_8_km_a_second():
    assert 8.0 <= hypocentral_distance(1.0, 6.0, 6.0 / math.sqrt(3))[0] <= 8.4
    assert 8.0 <= hypocentral_distance(1.0)[0] <= 8.5


@given(st.floats(0.1, 60), st.floats(3, 8), st.floats(1.2, 2.5))
def test_lag_and_distance_are_one(lag, vp, ratio):
    distance, _ = hypocentral_distance(lag, vp, vp / ratio)
    assert distance * (ratio / vp - 1 / vp) == pytest.approx(lag, rel=1e-9)
    assert hypocentral_distance(1.1 * lag, vp, vp / ratio)[0] > distance


def test_uncertainty_of_the_distance_is_that_of_many_trials():
    rng = np.random.default_rng(8)
    lag, vp, vs = rng.normal(4.0, 0.1, 200_000), rng.normal(6.0, 0.06, 200_000), rng.normal(3.5, 0.035, 200_000)
    _, stated = hypocentral_distance(4.0, 6.0, 3.5, 0.1, 0.01)
    assert np.std(lag * vp * vs / (vp - vs)) == pytest.approx(stated, rel=0.02)


@pytest.mark.parametrize("model", [HOMOGENEOUS, LAYERED])
def test_epicentral_distance_turns_the_lag_back(model):
    for distance, depth in ((0.0, 7.0), (3.0, 10.0), (80.0, 12.0), (200.0, 5.0)):
        lag = float(np.subtract(*(travel_times(model, phase, distance, depth)[0][0] for phase in "SP")))
        assert epicentral_distance(lag, depth, model) == pytest.approx(distance, abs=0.05)
    assert epicentral_distance(0.1, 30.0, model) is None


def test_no_distance_from_impossible_lags():
    with pytest.raises(SettingsError, match="give no distance"):
        hypocentral_distance(-1.0)


# ---- location


def arrivals(
    at, source=(0.0, 0.0), depth=8.0, *, centre=(0.0, 0.0), model=HOMOGENEOUS, noise=0.0, seed=0, origin=100.0
):
    """Return the arrivals at stations `at`, km east and north of a centre, with noise in units of their errors."""
    plane, rng = Plane(*centre), np.random.default_rng(seed)
    latitude, longitude = plane.back(*source)
    stations = []
    for number, (east, north) in enumerate(at):
        place = plane.back(east, north)
        distance = distance_and_azimuth(latitude, longitude, *place)[0]
        p, s = (origin + travel_times(model, phase, distance, depth)[0][0] for phase in "PS")
        p, s = p + noise * rng.normal(0, 0.05), s + noise * rng.normal(0, 0.1)
        stations.append(StationTimes(f"S{number}", *place, p, max(s, p + 1e-3)))
    return stations


def misplaced(hypocentre, centre=(0.0, 0.0), source=(0.0, 0.0)):
    """Return how far the epicentre lies from the true one, km east and north."""
    latitude, longitude = Plane(*centre).back(*source)
    distance, azimuth = distance_and_azimuth(hypocentre.latitude, hypocentre.longitude, latitude, longitude)
    return distance * np.array([math.sin(math.radians(azimuth)), math.cos(math.radians(azimuth))])


AROUND = [(30, 10), (-20, 25), (0, -30), (-40, -10), (15, 12)]


def random_network(number):
    """Return a source, its depth and its stations somewhere on Earth, with errors as stated."""
    rng = np.random.default_rng([5, number])
    centre = rng.uniform(-70, 70), rng.uniform(-180, 180)
    at, source = rng.uniform(-60, 60, (int(rng.integers(6, 13)), 2)), rng.uniform(-40, 40, 2)
    depth = rng.uniform(2, 25)
    return centre, source, depth, arrivals(at, source, depth, centre=centre, noise=1.0, seed=number)


@pytest.mark.parametrize("count", [12, pytest.param(150, marks=pytest.mark.slow)])
def test_95_percent_regions_hold_the_truth_whatever_the_ground(count):
    """Grounds unlike the models taken, delays of stations, wrong clocks; by class in `python -m benchmarks events`."""
    held, accused = [], 0
    for number in range(count):
        event = simulate(7, number)
        found = locate(event.stations)
        accused += bool({clock.station for clock in found.clocks} - set(event.clocks))
        if found.region is not None:
            low, high = found.depth_interval
            held.append((found.holds(event.latitude, event.longitude), low <= event.depth <= high))
    assert len(held) >= 0.95 * count
    assert accused <= 0.02 * count + 1
    # 95 %, less three standard deviations of the binomial.
    assert np.mean(held, axis=0).min() >= 0.95 - 3 * math.sqrt(0.95 * 0.05 / count)


def test_rays_of_the_simulation_agree_with_those_of_the_location():
    """Two codes that share nothing: bisection of the slowness there, Newton's method here."""
    rng = np.random.default_rng(2)
    for _ in range(20):
        truth = ground(rng, "layered")
        model = VelocityModel(truth.top, truth.vp, truth.vs)
        for phase in "PS":
            distance, depth = rng.uniform(0.1, 250), rng.uniform(0.5, 80)
            time = travel_times(model, phase, distance, depth)[0][0]
            assert truth.first_arrival(phase, distance, depth) == pytest.approx(time, abs=1e-5)


@pytest.mark.parametrize("model", [HOMOGENEOUS, LAYERED, LAYERED_EARTH])
def test_interpolated_times_are_those_of_the_rays(model):
    table, (bend, by_depth, by_distance) = slowness_table(model, 150.0)
    rng = np.random.default_rng(3)
    for distance, depth in zip(rng.uniform(0.5, 300, 60), rng.uniform(0.5, 100, 60), strict=True):
        k, j = math.log1p(depth / bend) / by_depth, math.log1p(distance / bend) / by_distance
        w, u = k - int(k), j - int(j)
        for which, phase in enumerate("PS"):
            corner = table[which, int(k) : int(k) + 2, int(j) : int(j) + 2]
            mean = np.array([1 - w, w]) @ corner @ np.array([1 - u, u])
            exact = travel_times(model, phase, distance, depth)[0][0]
            assert mean * math.hypot(distance, depth) == pytest.approx(exact, abs=0.05)


def test_likelihood_is_that_of_the_whole_covariance():
    """The compiled loop against one dense Gaussian, with the clock's error as part of the covariance."""
    rng = np.random.default_rng(4)
    n, place = 5, np.array([3.0, -4.0, 9.0])
    at = rng.uniform(-40, 40, (n, 2))
    table, axes = slowness_table(HOMOGENEOUS, 150.0)
    slant = np.hypot(np.hypot(*(at - place[:2]).T), place[2])
    rise = rng.uniform(-1, 2, n)
    ahead = slant + rise * place[2] / slant  # a plane wave goes on up to the station
    times = np.column_stack((ahead / 6.0, ahead / 3.5))
    observed = times + rng.normal(0, 0.3, (n, 2)) + 2.0
    observed[1, 1] = np.nan
    variance = rng.uniform(0.01, 0.09, (n, 2))
    stations = np.column_stack((at, observed, variance, np.ones((n, 3)), rise))
    common, slow, slow_s, growth, delay, ratio, spread, wrong = 0.2, 0.03, 0.02, 0.01, 0.15, 1.73, 5.0, 3.0
    sideways = 0.02
    budget = np.array([common, slow, slow_s, growth, 0.0, ratio, 0.0, spread, 0.0, wrong, sideways])
    logs, _ = evaluate(place[None], stations, table, axes, budget, np.array([[delay, 0.0]]))

    is_s, time = np.tile([0.0, 1.0], n), times.ravel()
    base = np.diag(variance.ravel())
    for i in range(n):
        e = np.zeros(2 * n)
        e[2 * i], e[2 * i + 1] = 1.0, ratio
        base += (delay**2 + (growth * times[i, 0]) ** 2) * np.outer(e, e)
    towards = np.repeat((at - place[:2]) / np.hypot(*(at - place[:2]).T)[:, None], 2, axis=0)
    both_sides = (sideways * time[:, None] * towards).T
    for column in (common * is_s, slow * time, slow_s * time * is_s, *both_sides, 1e5 * np.ones(2 * n)):
        base += np.outer(column, column)
    there = np.isfinite(observed.ravel())
    residual = (observed.ravel() - time)[there]

    def dense(covariance):
        covariance = covariance[np.ix_(there, there)]
        _, log_det = np.linalg.slogdet(covariance)
        return -0.5 * residual @ np.linalg.solve(covariance, residual) - 0.5 * log_det

    right = dense(base)
    for i in range(n):
        late = np.zeros(2 * n)
        late[2 * i : 2 * i + 2] = spread
        if i != 1:
            assert logs[0, 1 + i] - logs[0, 0] == pytest.approx(dense(base + np.outer(late, late)) - right, abs=1e-3)
        wild = np.zeros((2 * n, 2 * n))
        wild[2 * i, 2 * i] = wild[2 * i + 1, 2 * i + 1] = wrong**2
        assert logs[0, 1 + n + i] - logs[0, 0] == pytest.approx(dense(base + wild) - right, abs=1e-3)


def test_ellipse_holds_95_percent_of_the_posterior():
    found = locate(arrivals(AROUND, noise=1.0))
    region = found.region
    rows, columns = np.nonzero(region.density > 0)
    places = [
        region.plane.back(region.west + (c + 0.5) * region.size, region.south + (r + 0.5) * region.size)
        for r, c in zip(rows, columns, strict=True)
    ]
    inside = np.array([found.holds(*place) for place in places])
    assert region.density[rows, columns][inside].sum() == pytest.approx(0.95, abs=0.03)
    assert region.density[region.inside].sum() == pytest.approx(0.95, abs=0.01)
    assert found.point.ellipse.semi_major >= found.point.ellipse.semi_minor


def test_wrong_clock_of_5_s_is_named_with_its_seconds():
    for number in range(2):
        _, _, _, stations = random_network(1000 + number)
        late = stations[0]
        wrong = [replace(late, p=late.p + 5, s=late.s + 5), *stations[1:]]
        found = locate(wrong)
        (clock,) = found.clocks
        assert clock.station == "S0"
        assert clock.offset == pytest.approx(5.0, abs=4 * clock.uncertainty)
        assert clock.uncertainty < 1.5
        assert "the clock of S0 is 5." in clock.sentence or "the clock of S0 is 4." in clock.sentence
        # Its lag still counts; its times do not.
        same = locate([replace(late, timed=False), *stations[1:]]).point
        assert found.point.latitude == pytest.approx(same.latitude, abs=1e-6)
        assert {r.phase for r in found.residuals if r.station == "S0" and r.used} == {"S-P"}


@pytest.mark.parametrize("late", [(5.0, -8.0), (300.0, 300.0)])
def test_two_wrong_clocks_are_named(late):
    for number in range(2):
        _, _, _, stations = random_network(number)
        assert len(stations) >= 7
        wrong = [replace(s, p=s.p + off, s=s.s + off) for s, off in zip(stations[:2], late, strict=True)]
        found = locate([*wrong, *stations[2:]])
        assert {*(clock.station for clock in found.clocks), *found.left_out} == {"S0", "S1"}


def test_station_with_a_wrong_pick_is_left_out_whole():
    stations = arrivals(AROUND, noise=1.0)
    found = locate([replace(stations[0], s=stations[0].s + 6.0), *stations[1:]])
    assert found.left_out == ("S0",)
    assert found.clocks == ()
    assert found.holds(0.0, 0.0)


def test_of_three_stations_none_is_blamed_for_its_clock():
    stations = arrivals(AROUND[:3])
    found = locate([replace(stations[0], p=stations[0].p + 5.0, s=stations[0].s + 5.0), *stations[1:]])
    assert found.left_out == ()
    assert found.clocks == ()
    doubts = ("one station does not fit", "no one place", "clocks do not agree")
    assert any(doubt in note for note in found.notes for doubt in doubts)
    assert found.kind == "nothing" or found.holds(0.0, 0.0)


def test_clocks_that_are_all_wrong_leave_the_lags():
    stations = [
        replace(s, p=s.p + off, s=s.s + off)
        for s, off in zip(arrivals(AROUND, noise=1.0), (0.0, 37.0, -80.0, 150.0, -260.0), strict=True)
    ]
    found = locate(stations)
    assert found.holds(0.0, 0.0)
    assert math.isnan(found.point.origin_time)
    assert any("clocks do not agree" in note for note in found.notes)


def test_late_s_at_all_stations_does_not_feign_a_depth():
    """S picked 0.6 s late everywhere, from 10 km."""
    stations = [replace(s, s=s.s + 0.6) for s in arrivals(AROUND, depth=10.0)]
    low, high = locate(stations).depth_interval
    assert low <= 10.0 <= high


@pytest.mark.parametrize("centre", [(0.0, 0.0), (-47.0, 180.0), (-33.0, -179.9), (89.95, 10.0), (60.0, 25.0)])
@pytest.mark.parametrize("model", [HOMOGENEOUS, LAYERED])
def test_exact_arrivals_give_the_place_anywhere(centre, model):
    found = locate(arrivals(AROUND, (4.0, -6.0), 9.0, centre=centre, model=model), model)
    assert np.hypot(*misplaced(found.point, centre, (4.0, -6.0))) < 0.4
    assert found.holds(*Plane(*centre).back(4.0, -6.0))
    assert found.depth_interval[0] < 9.0 < found.depth_interval[1]
    assert found.point.origin_time == pytest.approx(100.0, abs=0.3)
    assert found.depth_resolved


def test_station_at_the_epicentre():
    found = locate(arrivals([(0, 0), *AROUND]))
    assert np.hypot(*misplaced(found.point)) < 0.5
    assert found.depth_resolved


def test_lags_alone_give_the_place_but_no_time():
    found = locate([replace(station, timed=False) for station in arrivals(AROUND)]).point
    assert np.hypot(*misplaced(found)) < 1.0
    assert math.isnan(found.origin_time)


def test_p_alone_gives_the_place():
    found = locate([replace(station, s=None) for station in arrivals([*AROUND, (-10, 15)])])
    assert found.holds(0.0, 0.0)
    assert found.region.area < 1000


def test_a_known_depth_counts():
    at = arrivals(AROUND[:3], depth=30.0)
    assert not locate(at).depth_interval[1] - locate(at).depth_interval[0] < 8
    low, high = locate(at, assumed_depth=(30.0, 2.0)).depth_interval
    assert 25 < low < 30 < high < 35


def test_far_event_does_not_tell_its_depth():
    found = locate(arrivals(AROUND, (0.0, 200.0), noise=1.0))
    low, high = found.depth_interval
    assert low < 8.0
    assert high > 40.0
    assert any("trade off" in note for note in found.notes)
    assert found.holds(*Plane(0.0, 0.0).back(0.0, 200.0))


def test_two_stations_never_make_a_point():
    found = locate(arrivals([(30, 10), (-20, 25)], depth=10.0))
    assert found.kind in ("two points", "region")
    assert found.point is None
    for distance, (east, north) in zip(found.distances, [(30, 10), (-20, 25)], strict=True):
        middle, low, high = distance.hypocentral
        assert low < math.sqrt(east**2 + north**2 + 100) < high
        assert middle == pytest.approx(math.sqrt(east**2 + north**2 + 100), rel=0.15)
    assert found.holds(0.0, 0.0)


def test_two_far_places_are_told_apart():
    """Shallow and precise enough, so that both sides of the line do not run together."""
    found = locate(arrivals([(60, 40), (-60, 40)], depth=5.0), HOMOGENEOUS, assumed_depth=(5.0, 2.0))
    assert found.kind == "two points"
    assert min(np.hypot(*misplaced(hypocentre)) for hypocentre in found.hypocentres) < 3.0
    assert max(np.hypot(*misplaced(hypocentre)) for hypocentre in found.hypocentres) == pytest.approx(80, abs=5)


@pytest.mark.parametrize("east", [(30, 0, -30), (30, 0, -30, 60), (30, 0, -30, 60, -50, 15)])
def test_stations_in_a_line_allow_both_sides(east):
    found = locate(arrivals([(x, 10) for x in east], depth=10.0, noise=0.3))
    assert found.holds(0.0, 0.0)
    assert found.holds(*Plane(0.0, 0.0).back(0.0, 20.0))  # the same on the other side of the line


def test_event_on_the_line_of_its_stations_may_lie_beside_it():
    found = locate(arrivals([(30, 0), (10, 0), (-30, 0), (60, 0)]))
    assert all(found.holds(*Plane(0.0, 0.0).back(0.0, north)) for north in (0.0, 5.0, -5.0))


def test_one_place_gives_distances_however_many_stations():
    for count in (1, 4):
        found = locate(arrivals([(30, 10)] * count, depth=10.0))
        assert found.kind == "circle"
        assert found.hypocentres == ()
        _, low, high = found.distances[0].hypocentral
        assert low < math.sqrt(1100) < high
        near, far = found.distances[0].epicentral[1:]
        assert near < math.hypot(30, 10) < far


def test_one_deep_station_does_not_claim_its_distance():
    """20 km from an event 60 km deep: its lag gives 63 km, its epicentre may be anywhere nearer."""
    found = locate(arrivals([(20, 0)], depth=60.0))
    near, far = found.distances[0].epicentral[1:]
    assert near < 20.0 < 55.0 < far
    assert found.distances[0].hypocentral[1] < math.hypot(20, 60) < found.distances[0].hypocentral[2]


def test_lags_that_contradict_each_other_are_no_place():
    one, two = arrivals([(30, 10), (-20, 25)])
    found = locate([replace(one, s=one.p + 0.5), replace(two, s=two.p + 0.5)])
    assert found.kind in ("nothing", "region", "two points")
    assert found.point is None


@pytest.mark.parametrize("count", [0, 1, 2])
def test_too_few_arrivals_say_so(count):
    found = locate([replace(station, s=None) for station in arrivals(AROUND[:count])])
    assert found.kind == "nothing"
    assert found.notes


def test_impossible_input_is_refused():
    with pytest.raises(InputError, match="S comes 1 s before P"):
        StationTimes("A", 0.0, 0.0, p=5.0, s=4.0)
    with pytest.raises(InputError, match="must be numbers"):
        StationTimes("A", math.nan, 0.0, p=5.0)
    with pytest.raises(InputError, match="must be above 0"):
        StationTimes("A", 0.0, 0.0, p=5.0, p_uncertainty=0.0)
    with pytest.raises(InputError, match="must not be negative"):
        locate(arrivals(AROUND), travel_time_error=-1.0)
    for unknown in (
        {"travel_time_error": math.nan},
        {"assumed_depth": (math.nan, 7.0)},
        {"assumed_depth": (10.0, math.inf)},
    ):
        with pytest.raises(InputError, match="must not be negative"):
            locate(arrivals(AROUND), **unknown)


def test_wadati_error_holds():
    inside = 0
    for seed in range(300):
        ratio, error, origin, origin_error = wadati(arrivals(AROUND, noise=1.0, seed=seed))
        inside += (abs(ratio - 6.0 / 3.5) < 1.96 * error) + (abs(origin - 100.0) < 1.96 * origin_error)
    assert 0.92 <= inside / 600 <= 0.98


def test_wadati_needs_three_stations_at_unequal_distances():
    assert wadati(arrivals(AROUND[:2])) is None
    assert wadati(arrivals([(30, 10)] * 4)) is None


# ---- size


def test_wood_anderson_is_the_transfer_function_of_its_pendulum():
    """By the frequency domain: U = -A / (w0² - w² + 2 i z w0 w), on a record padded until the pendulum rests."""
    for path in ("quay.csv", "fern.txt"):
        motion = process(read(FOLDER / path), QUICK).motion["H1"]
        for instrument in (WoodAnderson(), CLASSICAL):
            n = 2 * len(motion)
            omega, natural = 2 * np.pi * np.fft.rfftfreq(n, motion.dt), 2 * np.pi / instrument.period
            swing = -np.fft.rfft(motion.acceleration, n) / (
                natural**2 - omega**2 + 2j * instrument.damping * natural * omega
            )
            expected = 1000 * instrument.magnification * np.fft.irfft(swing, n)[: len(motion)]
            trace = wood_anderson(motion.acceleration, motion.dt, instrument)
            assert np.abs(trace).max() == pytest.approx(np.abs(expected).max(), rel=0.005)
            assert np.abs(trace - expected).max() < 0.005 * np.abs(expected).max()


def test_classical_constants_raise_the_magnitude_by_little():
    motion = process(read(FOLDER / "quay.csv"), QUICK).motion["H1"]
    peaks = [np.abs(wood_anderson(motion.acceleration, motion.dt, kind)).max() for kind in (WoodAnderson(), CLASSICAL)]
    assert 0.0 < math.log10(peaks[1] / peaks[0]) < math.log10(2800 / 2080) + 0.001


def test_brune_pulse_gives_its_moment_and_corner():
    """Displacement t exp(-2 pi fc t), Brune's (1970) pulse; its spectrum is in closed form, plateau 1 / (2 pi fc)²."""
    dt, corner = 0.005, 0.8
    time = np.arange(12000) * dt - 5.0
    decay = 2 * np.pi * corner
    after = np.clip(time, 0.0, None)
    acceleration = np.where(time > 0, (decay**2 * after - 2 * decay) * np.exp(-decay * after), 0.0)
    acceleration[np.argmin(np.abs(time))] = 1 / dt - decay  # velocity sets in with a step of 1 m/s
    plateau = quad(lambda t: t * math.exp(-decay * t), 0, 20)[0]
    found = source_spectrum([acceleration], dt, 4.0, 44.0, 0.05, 15.0)
    assert found.plateau == pytest.approx(plateau, rel=0.05)
    assert found.corner == pytest.approx(corner, rel=0.05)
    assert not found.plateau_seen  # nothing says that it is no microseism
    assert replace(found, noise_known=True).plateau_seen


def test_moment_turns_back_into_the_plateau():
    """Far field of Brune's source in an even ground (as in Boore 2003): the same constants forwards."""
    moment, distance = moment_of(5.0), 40.0
    plateau = 0.63 * 2 * moment / (4 * math.pi * 2800 * 3500**3 * distance * 1000)
    assert moment_magnitude(seismic_moment(plateau, distance)) == pytest.approx(5.0, abs=1e-12)


def test_band_too_narrow_gives_no_moment():
    assert source_spectrum([np.random.default_rng(1).normal(size=4000)], 0.01, 5.0, 35.0, 2.0, 8.0) is None
    assert source_spectrum([np.zeros(4000)], 0.01, 5.0, 35.0, 0.1, 15.0) is None


# ---- the whole picture


@pytest.fixture(scope="module")
def results():
    return {code: process(read(FOLDER / told["file"]), QUICK) for code, told in TRUTH["stations"].items()}


@pytest.fixture(scope="module")
def readings(results):
    return {code: read_station(result) for code, result in results.items()}


@pytest.mark.parametrize("model", [HOMOGENEOUS, VelocityModel.parse(["5.8/3.4"]), VelocityModel.parse(["6.2/3.6"])])
def test_demo_event_is_found_from_its_own_picks(readings, model):
    """Also with velocities that are a few percent off the demo's own 6.0 and 3.5 km/s."""
    event = study(readings.values(), EventSettings(model=model))
    point = event.location.point
    off = distance_and_azimuth(point.latitude, point.longitude, TRUTH["latitude"], TRUTH["longitude"])[0]
    origin = np.datetime64(TRUTH["origin_time"].removesuffix("Z"))
    assert off < 3.0
    assert abs((event.utc(point.origin_time) - origin) / np.timedelta64(1, "ms")) < 500
    assert event.location.left_out == ()
    if model == HOMOGENEOUS:
        assert abs(point.depth - TRUTH["depth_km"]) < 1.96 * point.depth_uncertainty
        assert event.location.depth_resolved
        assert off < point.ellipse.semi_major


def test_demo_picks_are_those_of_the_truth(readings):
    for code, told in TRUTH["stations"].items():
        begins = told["truth_begins_s"] + told["first_recorded_sample"] * (0.005 if code in ("QUAY", "SALT") else 0.01)
        picked = readings[code].arrivals
        assert picked.s.time + begins == pytest.approx(told["s_arrival_s"], abs=0.3)
        if code == "MOLE":
            assert picked.p is None
        else:
            assert picked.p.time + begins == pytest.approx(told["p_arrival_s"], abs=0.1)


def test_demo_sizes_suit_its_magnitude(readings):
    """Not closer: its rock amplifies (Boore & Joyner 1997), and the moment takes an even ground."""
    event = study(readings.values())
    assert event.moment.value == pytest.approx(TRUTH["moment_magnitude"], abs=0.2)
    assert event.local.value == pytest.approx(TRUTH["moment_magnitude"], abs=0.3)
    assert event.local.scatter < 0.3
    assert event.energy == pytest.approx(10 ** (1.5 * event.moment.value + 4.8))
    assert event.vp_vs[0] == pytest.approx(6.0 / 3.5, abs=2 * event.vp_vs[1])


def test_clipped_record_gives_no_amplitude_and_no_magnitude(readings):
    event = study(readings.values())
    bell = event.stations.set_index("station").loc["BELL"]
    assert np.isnan(
        bell[["pga_m_s2", "pgv_m_s", "local_magnitude", "moment_magnitude", "wood_anderson_mm"]].tolist()
    ).all()
    assert bell["p_used"]
    assert any(note.startswith("BELL: ") and "no magnitude" in note for note in event.notes)


def test_incoherent_p_of_the_demo_tells_no_direction(readings):
    """Its components are made apart, as its README says: a direction would be feigned."""
    assert all(reading.direction is None for reading in readings.values())


def test_record_in_a_wrong_unit_is_named_and_does_not_count(results, readings):
    wrong = results["FERN"].record
    parts = tuple(replace(component, unit="m/s2") for component in wrong)  # it is in cm/s²
    spoiled = read_station(process(replace(wrong, components=parts), QUICK))
    event = study({**readings, "FERN": spoiled}.values())
    assert event.stations.set_index("station")["pga_plausible"].to_dict() == {
        "SALT": True, "BELL": True, "QUAY": True, "MOLE": True, "FERN": False, "HEATH": True,
    }  # fmt: skip
    assert any(note.startswith("FERN: its PGA ") and "unit or gain looks wrong" in note for note in event.notes)
    assert event.local.value == pytest.approx(study(readings.values()).local.value, abs=0.1)
    assert event.local.stations == 4


def test_expected_peak_is_the_relation_at_the_distance(readings):
    event = study(readings.values())
    quay = event.stations.set_index("station").loc["QUAY"]
    expected = expected_pga(event.moment.value, quay["epicentral_distance_km"])
    assert quay["expected_pga_m_s2"] == pytest.approx(float(expected), rel=0.05)


def test_given_picks_win(results):
    record = results["QUAY"].record
    reading = read_station(results["QUAY"], {"P": Pick("P", 17.5, 0.3, True), "S": Pick("S", 22.0, 0.4, True)})
    assert (reading.arrivals.p.time, reading.arrivals.s.time) == (17.5, 22.0)
    told = process(record, Settings.from_dict({"onset": {"time": 17.0}, "spectra": {"periods": [1.0]}}))
    assert read_station(told).arrivals.p == Pick("P", 17.0, 0.05, True)
    with pytest.raises(InputError, match="not in the record"):
        read_station(results["QUAY"], {"P": Pick("P", 1e4, 0.1, True)})
    with pytest.raises(InputError, match="does not come after P"):
        read_station(results["QUAY"], {"S": Pick("S", 5.0, 0.1, True)})


def test_one_station_gives_a_circle_and_says_where_it_cannot_point(readings):
    event = study([readings["QUAY"]])
    assert event.location.kind == "circle"
    assert event.location.circles[0].radius == pytest.approx(23.0, abs=1.5)
    assert math.isfinite(event.local.value)
    words = describe(event)
    assert "QUAY: hypocentral distance" in words
    assert "gives no direction" in words
    assert "Not for warning or public alert." in words


def test_polarised_p_points_to_the_source_whatever_the_azimuths():
    """P along a ray from 200 degrees, on horizontals that point to 30 and 120 degrees."""
    dt, turn = 0.01, math.radians(30.0)
    rng = np.random.default_rng(3)
    time = np.arange(6000) * dt - 20.0
    p = np.where(time > 0, np.sin(2 * np.pi * 3 * time) * np.exp(-0.8 * time), 0.0)
    s = np.where(time > 4, np.sin(2 * np.pi * 2 * (time - 4)) * np.exp(-0.3 * (time - 4)), 0.0)
    away, across = math.radians(20.0), math.radians(110.0)
    north = 0.5 * math.cos(away) * p + 5 * math.cos(across) * s
    east = 0.5 * math.sin(away) * p + 5 * math.sin(across) * s
    parts = {
        "H1": (math.cos(turn) * north + math.sin(turn) * east, 30.0, 0.0),
        "H2": (-math.sin(turn) * north + math.cos(turn) * east, 120.0, 0.0),
        "V": (-p, 0.0, 90.0),  # positive down
    }
    components = tuple(
        Component(name, trace + rng.normal(0, 0.005, trace.size), dt, azimuth=azimuth, dip=dip)
        for name, (trace, azimuth, dip) in parts.items()
    )
    reading = read_station(process(Record(components, Station(code="A", latitude=0.0, longitude=0.0)), QUICK))
    assert reading.arrivals.lag == pytest.approx(4.0, abs=0.2)
    assert reading.direction.back_azimuth == pytest.approx(200.0, abs=5.0)
    assert not reading.direction.either_way


def test_nothing_known_is_nothing_told(readings):
    lost = replace(readings["QUAY"], station=Station(code="QUAY"), start=None)
    event = study([lost])
    assert event.location.kind == "nothing"
    assert any("coordinates are not known" in note for note in event.notes)
    with pytest.raises(RecordError, match="no record of the event"):
        study([])


def test_records_of_two_events_are_refused(readings):
    later = replace(readings["FERN"], start=readings["FERN"].start + np.timedelta64(2, "h"))
    with pytest.raises(RecordError, match="share no earthquake"):
        study([readings["QUAY"], later])


def test_wrong_clock_does_not_count_for_vp_vs(readings):
    late = replace(readings["QUAY"], start=readings["QUAY"].start + np.timedelta64(5, "s"))
    event = study({**readings, "QUAY": late}.values())
    assert [clock.station for clock in event.location.clocks] == ["QUAY"]
    without = study([reading for code, reading in readings.items() if code != "QUAY"])
    assert event.vp_vs == pytest.approx(without.vp_vs)


def test_unknown_clock_leaves_its_lag(readings):
    untimed = {**readings, "QUAY": replace(readings["QUAY"], start=None)}
    event = study(untimed.values())
    assert event.location.kind == "point"
    assert {r.phase for r in event.location.residuals if r.station == "QUAY"} == {"S-P"}


def test_stations_of_one_code_are_told_apart(readings):
    twin = replace(readings["FERN"], record="twin")
    event = study([*readings.values(), twin])
    names = set(event.stations["station"])
    assert {"twin", readings["FERN"].record} <= names
    assert len(names) == 7


def on_a_slope(rng, known=True):
    """Return arrivals at stations from 0 to 3 km high over a homogeneous ground, by straight rays, and the depth."""
    depth, stations = rng.uniform(4, 15), []
    at = rng.uniform(-25, 25, (8, 2))
    height = 1.5 + 0.06 * at[:, 0]  # km; the farther east the higher
    for number, ((east, north), rise) in enumerate(zip(at, height - height.mean(), strict=True)):
        slant, late = math.hypot(east, north, depth + rise), rng.normal(0, 0.02)
        stations.append(
            StationTimes(
                f"M{number}", *Plane(-30.0, 70.0).back(east, north), slant / 6.0 + late, slant / 3.5 + 1.73 * late,
                elevation=1000 * float(height[number]) if known else None,
            )
        )  # fmt: skip
    return stations, depth


def test_elevation_of_stations_counts():
    """With the elevations the place is right to half a kilometre, without them it is off by two or three times that."""
    off = []
    for number in range(4):
        with_it, depth = on_a_slope(np.random.default_rng([7, number]))
        without, _ = on_a_slope(np.random.default_rng([7, number]), known=False)
        high, flat = (locate(stations, VelocityModel()) for stations in (with_it, without))
        assert high.depth_interval[0] <= depth <= high.depth_interval[1]
        assert high.holds(-30.0, 70.0)
        off.append(
            [
                math.hypot(
                    distance_and_azimuth(-30.0, 70.0, found.point.latitude, found.point.longitude)[0],
                    found.point.depth - depth,
                )
                for found in (high, flat)
            ]
        )
        assert high.datum == pytest.approx(np.mean([s.elevation for s in with_it]))
        assert flat.datum is None
    right, wrong = np.mean(off, axis=0)
    assert right < 0.5 * wrong


def test_height_shared_by_all_stations_moves_nothing():
    stations, _ = on_a_slope(np.random.default_rng(3))
    higher = [replace(station, elevation=station.elevation + 2500.0) for station in stations]
    one, other = locate(stations), locate(higher)
    assert one.point.depth == pytest.approx(other.point.depth, abs=1e-6)
    assert other.datum == pytest.approx(one.datum + 2500.0)


@pytest.mark.parametrize("model", [VelocityModel(), VelocityModel((0.0, 3.0, 20.0), (4.5, 6.0, 7.0), (2.5, 3.5, 4.0))])
def test_time_at_a_high_station_is_that_of_a_deeper_model(model):
    """The uppermost layer made thicker by 1.2 km, against the ray carried on through it: the same to second order."""
    rise, distance = 1.2, np.array([0.0, 10.0, 40.0, 150.0])
    thicker = VelocityModel((0.0, *(top + rise for top in model.top[1:])), model.vp, model.vs)
    for phase in "PS":
        whole = travel_times(thicker, phase, distance, 10.0 + rise)[0]
        assert time_at_station(model, phase, distance, 10.0, rise) == pytest.approx(whole, abs=0.02)


def test_region_holds_where_one_side_is_slower():
    """Ground 3 % slower east of the epicentre and 1 % faster west of it, with stations all round."""
    held = 0
    for number in range(10):
        rng, stations = np.random.default_rng([43, number]), []
        depth, count = rng.uniform(5, 30), int(rng.integers(6, 13))
        for index in range(count):
            far, azimuth = rng.uniform(4, 80), 2 * math.pi * (index + rng.uniform(0, 0.9)) / count
            east, north = far * math.sin(azimuth), far * math.cos(azimuth)
            slant = math.hypot(far, depth) * (1.03 if east > 0 else 0.99)
            late = abs(rng.normal(0, 0.1))
            p, s = slant / 6.0 + late + rng.normal(0, 0.05), slant / 3.45 + 1.9 * late + rng.normal(0, 0.1)
            stations.append(StationTimes(f"T{index}", *Plane(10.0, 20.0).back(east, north), p, s))
        held += locate(stations).holds(10.0, 20.0)
    assert held >= 9
