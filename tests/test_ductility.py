"""Yielding oscillators: closed forms, an independent integrator, limits and laws."""

from __future__ import annotations

import functools

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp
from scipy.signal import lsim

from strongmotion.foundation.errors import InputError
from strongmotion.spectra import _yielding, response_spectrum
from strongmotion.spectra.ductility import (
    HystereticDemand,
    constant_ductility_spectrum,
    constant_strength_spectrum,
    hysteretic_demand,
    park_ang_index,
    yielding_response,
)


def shaking(seed, n=400, dt=0.02, strongest=4.0):
    """Return noise smoothed over a few samples, under a window, scaled to a largest sample, m/s²."""
    noise = np.convolve(np.random.default_rng(seed).normal(size=n), np.hanning(7), "same")
    noise *= np.sin(np.pi * np.arange(n) / n)
    return noise * (strongest / np.abs(noise).max())


def weakened(acceleration, dt, period, reduction, damping):
    """Return the elastic strength f_y/m, m/s², over a reduction."""
    return response_spectrum(acceleration, dt, [period], damping, ["psa"], interpolation="linear").psa[0, 0] / reduction


# --- Closed forms -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("strength_ratio", [0.6, 0.75, 0.9, 0.99])
def test_suddenly_applied_load_on_an_undamped_elastoplastic_oscillator(strength_ratio):
    # Biggs, Introduction to Structural Dynamics (1964), sec. 2.7 (section from memory). At the peak, where u' = 0, the
    # load's work is all in the spring and in the slider: F0 u = Fy u - Fy u_y / 2, so mu = 1 / (2 (1 - F0/Fy)) once F0
    # > Fy/2.
    load = 2.0
    response = yielding_response(
        np.full(3000, -load), 0.01, period=1.0, strength=load / strength_ratio, damping=0, interpolation="linear"
    )
    assert response.ductility == pytest.approx(1 / (2 * (1 - strength_ratio)), rel=1e-11)


def test_suddenly_applied_load_below_half_the_strength_stays_elastic():
    # The elastic oscillator swings to twice the static displacement: Chopra, Dynamics of Structures, sec. 4.3.
    response = yielding_response(np.full(500, -1.0), 0.01, period=1.0, strength=2.5, damping=0, interpolation="linear")
    assert response.ductility == pytest.approx(2 * 1.0 / 2.5, rel=1e-12)
    assert response.permanent == 0


@pytest.mark.parametrize("hardening", [0.0, 0.1, 0.5])
@pytest.mark.parametrize("speed", [2.0, 10.0])
def test_impulse_on_an_undamped_bilinear_oscillator(hardening, speed):
    # An impulse leaves the kinetic energy of the initial speed v; at the peak all of it is under the force's curve:
    # v²/2 = f_y u_y (1/2 + (mu - 1) + alpha (mu - 1)² / 2). The impulse is one triangle a thousandth of a period long.
    dt, omega, strength = 0.0005, 2 * np.pi, 1.0
    pulse = np.zeros(3000)
    pulse[1] = -speed / dt
    response = yielding_response(pulse, dt, 1.0, strength, damping=0, hardening=hardening)
    over = response.ductility - 1
    work = strength**2 / omega**2 * (0.5 + over + 0.5 * hardening * over**2)
    assert work == pytest.approx(speed**2 / 2, rel=2 * strength / speed * dt + 1e-5)


def test_rigid_block_slides_like_newmarks():
    # Newmark (1965), Effects of earthquakes on dams and embankments: a block of resistance N gathers speed while the
    # ground's acceleration A exceeds N, and goes on sliding until N has stopped it. An elastoplastic oscillator becomes
    # that block as its period goes to zero. Here A is constant for D and then falls to zero in one step h; the slide,
    # with s = A - N and the fall's rate A/h:
    pulse, resistance, dt = 3.0, 1.0, 0.01
    acceleration = np.zeros(400)
    acceleration[:51] = -pulse
    surplus, lasting = pulse - resistance, 50 * dt
    speed = surplus * lasting + surplus * dt - pulse * dt / 2
    slid = surplus * lasting**2 / 2 + surplus * lasting * dt + surplus * dt**2 / 2 - pulse * dt**2 / 6
    slid += speed**2 / (2 * resistance)
    # Until it has first reached N the spring holds the mass back less: that costs in proportion to the period.
    stiff, stiffer = (
        yielding_response(acceleration, dt, period, resistance, damping=0, interpolation="linear").permanent
        for period in (0.01, 0.005)
    )
    assert stiff == pytest.approx(slid, rel=0.01)
    assert 2 * stiffer - stiff == pytest.approx(slid, rel=1e-5)


# --- An independent integrator ----------------------------------------------------------------------------------------


def integrated(acceleration, dt, period, strength, damping, hardening):
    """Return u, u', f/m at the samples and the largest |u| up to the last, by scipy.integrate.solve_ivp with events."""
    omega = 2 * np.pi / period
    limit = strength / omega**2
    time = np.arange(len(acceleration)) * dt
    u = np.zeros(len(acceleration))
    v, force = u.copy(), u.copy()
    side, slipped, largest = 0, 0.0, 0.0
    step = min(dt, period) / 16  # solve_ivp looks for events at the ends of its steps only
    state = np.zeros(2)

    def spring(u, side, slipped):
        x = side * limit if side else u - slipped
        return omega**2 * (hardening * u + (1 - hardening) * x)

    for k in range(len(acceleration) - 1):
        begun, end = time[k], time[k + 1]
        rate = (acceleration[k + 1] - acceleration[k]) / dt
        while end - begun > 1e-13:

            def motion(t, y, side=side, slipped=slipped, k=k, rate=rate):
                ground = acceleration[k] + rate * (t - time[k])
                return y[1], -ground - 2 * damping * omega * y[1] - spring(y[0], side, slipped)

            def turn(t, y):
                return y[1]

            def yields(t, y, slipped=slipped):
                return limit - abs(y[0] - slipped)

            yields.direction, yields.terminal = -1, True
            turn.terminal = bool(side)
            turn.direction = -side
            events = [turn] if side else [turn, yields]
            found = solve_ivp(
                motion, (begun, end), state, "DOP853", events=events, rtol=1e-11, atol=1e-14, max_step=step
            )
            for _, (peak, _) in zip(found.t_events[0], found.y_events[0], strict=True):
                largest = max(largest, abs(peak))
            state, begun = found.y[:, -1], found.t[-1]
            largest = max(largest, abs(state[0]))
            if found.status == 1:
                if side:
                    slipped, side = state[0] - side * limit, 0
                    state = np.array([state[0], 0.0])
                else:
                    side = 1 if state[0] > slipped else -1
        u[k + 1], v[k + 1] = state
        force[k + 1] = spring(state[0], side, slipped)
    return u, v, force, largest


@pytest.mark.parametrize("seed", range(50))
def test_histories_against_solve_ivp(seed):
    rng = np.random.default_rng(seed)
    dt = 0.05
    acceleration = np.concatenate([[0.0], rng.normal(0, 3, 28), [0.0]])
    period = 10 ** rng.uniform(-0.9, 0.4)
    damping = rng.choice([0.0, 0.02, 0.05, 0.3, 1.2])
    hardening = rng.choice([0.0, 0.0, 0.02, 0.2, 0.7])
    omega = 2 * np.pi / period
    strength = weakened(acceleration, dt, period, rng.uniform(1.2, 6), damping)
    respond = functools.partial(
        yielding_response, dt=dt, period=period, strength=strength, damping=damping, hardening=hardening,
        interpolation="linear",
    )  # fmt: skip
    # Two periods of stillness hold every peak after the record's end.
    padded = np.pad(acceleration, (0, int(2 * period / dt) + 2))
    u, v, force, largest = integrated(padded, dt, period, strength, damping, hardening)
    response, scale = respond(padded), np.abs(u).max()
    np.testing.assert_allclose(response.displacement, u, rtol=0, atol=1e-8 * scale)
    np.testing.assert_allclose(response.velocity, v, rtol=0, atol=1e-8 * scale * max(omega, 1 / dt))
    np.testing.assert_allclose(response.force, force, rtol=0, atol=1e-8 * scale * omega**2)
    assert response.peak == pytest.approx(largest, rel=1e-8)
    assert respond(acceleration).peak == pytest.approx(largest, rel=1e-8)
    assert respond(acceleration).permanent == pytest.approx(response.permanent, abs=1e-8 * scale)


# --- Limits -----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("damping", [0.0, 0.05, 1.0, 1.5])
@pytest.mark.parametrize("period", [0.1, 1.0, 8.0])
def test_strong_oscillator_is_the_linear_one(period, damping):
    # scipy.signal.lsim is exact for input linear between samples.
    acceleration, omega = shaking(3), 2 * np.pi / period
    response = yielding_response(acceleration, 0.02, period, 1e6, damping, interpolation="linear")
    system = ([[0, 1], [-(omega**2), -2 * damping * omega]], [[0], [-1]], np.eye(2), np.zeros((2, 1)))
    # lsim takes samples as given: the finer steps of short periods lie on the same straight lines.
    _, states, _ = lsim(system, acceleration, np.arange(acceleration.size) * 0.02)
    for found, known in zip((response.displacement, response.velocity), states.T, strict=True):
        np.testing.assert_allclose(found, known, rtol=0, atol=1e-10 * np.abs(known).max())
    sd = response_spectrum(acceleration, 0.02, [period], damping, ["sd"], interpolation="linear").sd[0, 0]
    assert response.peak == pytest.approx(sd, rel=1e-9)
    # The slider rests, so the mass comes back to where it was.
    assert response.permanent == 0


def test_ductility_one_is_the_response_spectrum():
    acceleration, periods = shaking(5), np.array([0.03, 0.1, 0.5, 1.0, 3.0, 10.0])
    psa = response_spectrum(acceleration, 0.02, periods, 0.05, ["psa"]).psa
    np.testing.assert_allclose(constant_ductility_spectrum(acceleration, 0.02, periods, 1), psa, rtol=1e-9)


def test_equal_displacement_where_the_period_is_long():
    # Veletsos & Newmark (1960): where T is long against the motion both masses stand still while the ground moves, the
    # displacement is the ground's whatever the strength, and so the strength reduction is the ductility.
    # The ground must come to rest, so its last velocity, the trapezoids' sum, is taken out.
    acceleration, dt = shaking(7, n=300), 0.02
    window = np.sin(np.pi * np.arange(300) / 299)
    acceleration -= window * np.trapezoid(acceleration) / np.trapezoid(window)
    elastic, *weaker = constant_ductility_spectrum(acceleration, dt, [2000.0], [1, 2, 4])
    np.testing.assert_allclose([elastic[0] / row[0] for row in weaker], [2, 4], rtol=0.01)


def test_stiff_oscillator_may_not_be_weakened():
    # Chopra, sec. 7.5: as T goes to zero the strength must be the peak ground acceleration, whatever the ductility.
    acceleration = shaking(9, n=50)
    strength = constant_ductility_spectrum(acceleration, 0.02, [0.0002], [1, 4], interpolation="linear")
    np.testing.assert_allclose(strength[:, 0], np.abs(acceleration).max(), rtol=0.02)


@pytest.mark.parametrize("strength", [1.0, 100.0])
def test_motion_goes_on_after_the_record(strength):
    # A triangular impulse a thousandth of a period long, and then nothing: the peak comes after the last sample.
    pulse, dt = np.array([0.0, -2000.0, 0.0]), 0.001
    response = yielding_response(pulse, dt, 1.0, strength, damping=0, interpolation="linear")
    padded = yielding_response(np.pad(pulse, (0, 3000)), dt, 1.0, strength, damping=0, interpolation="linear")
    assert response.peak > 10 * np.abs(response.displacement).max()
    assert response.peak == pytest.approx(padded.peak, rel=1e-9)
    # Where it comes to rest: elastoplastic unloading from the peak gives back the yield displacement.
    slid = response.peak - response.peak / response.ductility
    assert response.permanent == pytest.approx(slid if response.ductility > 1 else 0, rel=1e-9)


def test_peak_does_not_wait_for_a_mass_that_hardly_comes_to_rest():
    # Without damping and nearly without a loop the oscillator rings on for thousands of periods; the spectrum stops
    # once both sides have had their peak, the history goes on: they must agree.
    acceleration = shaking(4)
    for strength in (0.05, 0.5, 2.0):
        found = yielding_response(acceleration, 0.02, 2.0, strength, damping=0, hardening=0.99)
        demand = constant_strength_spectrum(acceleration, 0.02, [2.0], strength, damping=0, hardening=0.99)
        assert demand[0, 0] == pytest.approx(found.ductility, rel=1e-12)


# --- The largest strength ---------------------------------------------------------------------------------------------


def test_constant_ductility_is_met_and_not_passed_above():
    acceleration, periods, targets = shaking(11), [0.2, 0.7, 2.0], [1.5, 4.0, 2.0]
    strength = constant_ductility_spectrum(acceleration, 0.02, periods, targets)
    for row, target in zip(strength, targets, strict=True):
        for period, one in zip(periods, row, strict=True):
            demand = constant_strength_spectrum(acceleration, 0.02, [period], one * np.geomspace(1, 5, 60))
            assert demand[0, 0] == pytest.approx(target, rel=1e-9)
            assert demand.max() <= target * (1 + 1e-9)


def test_of_several_strengths_the_largest_is_taken():
    # A record found by trying seeds, whose demand falls by 7 % as the strength falls past 1.4 m/s².
    acceleration, period, grid = shaking(3), 2.0, np.geomspace(4.0, 0.02, 400)
    demand = constant_strength_spectrum(acceleration, 0.02, [period], grid)[:, 0]
    before = np.maximum.accumulate(demand)
    dip = np.argmax(np.where(before > 1.3, before / demand, 1.0))
    target = np.sqrt(before[dip] * demand[dip])
    several = np.flatnonzero(np.diff(np.sign(demand - target)))
    assert several.size >= 3
    found = constant_ductility_spectrum(acceleration, 0.02, [period], target)[0, 0]
    assert grid[several[0] + 1] <= found <= grid[several[0]]


def test_still_ground_asks_for_no_strength():
    assert constant_ductility_spectrum(np.zeros(50), 0.01, [1.0], [1, 4]).tolist() == [[0.0], [0.0]]
    assert constant_strength_spectrum(np.zeros(50), 0.01, [1.0], 2.0).tolist() == [[0.0]]


def test_threads_change_nothing():
    acceleration, periods = shaking(13), np.geomspace(0.05, 5, 12)
    one, two = (
        constant_ductility_spectrum(acceleration, 0.02, periods, [2, 4], hardening=0.03, threads=k) for k in (1, 2)
    )
    assert one.tobytes() == two.tobytes()


# --- Laws -------------------------------------------------------------------------------------------------------------

cases = {
    "seed": st.integers(0, 10_000),
    "period": st.floats(0.1, 5.0),
    "reduction": st.floats(1.1, 8.0),
    "damping": st.floats(0.0, 1.5),
    "hardening": st.one_of(st.just(0.0), st.floats(0.001, 0.95)),
}


@given(**cases)
def test_energy_is_kept(seed, period, reduction, damping, hardening):
    # Uang & Bertero (1990), relative energy: input = kinetic + strain + slid + damped. The histories at samples so fine
    # that Simpson's rule is good for the integrals, on the same straight lines as the record.
    dt, fine = 0.02, 64
    coarse = shaking(seed, n=100, dt=dt)
    acceleration = np.interp(np.arange((coarse.size - 1) * fine + 1) / fine, np.arange(coarse.size), coarse)
    dt /= fine
    omega = 2 * np.pi / period
    strength = weakened(acceleration, dt, period, reduction, damping)
    found = yielding_response(acceleration, dt, period, strength, damping, hardening, interpolation="linear")
    u, v = found.displacement, found.velocity
    x = (found.force / omega**2 - hardening * u) / (1 - hardening)
    weights = np.tile([2.0, 4.0], u.size // 2 + 1)[: u.size] * dt / 3
    weights[[0, -1]] = dt / 3
    given_in = -(weights * acceleration * v).sum()
    kinetic = v[-1] ** 2 / 2
    strain = omega**2 * (hardening * u[-1] ** 2 + (1 - hardening) * x[-1] ** 2) / 2
    slid = (1 - hardening) * strength * np.abs(np.diff(u - x)).sum()
    damped = 2 * damping * omega * (weights * v**2).sum()
    scale = abs(given_in) + kinetic + strain + slid + damped
    assert given_in == pytest.approx(kinetic + strain + slid + damped, abs=1e-5 * scale)
    assert np.abs(x).max() <= strength / omega**2 * (1 + 1e-9)


@given(**cases, scale=st.floats(1e-3, 1e3))
def test_scaling_motion_and_strength_alike_leaves_ductility(seed, period, reduction, damping, hardening, scale):
    acceleration, dt = shaking(seed, n=200), 0.02
    strength = weakened(acceleration, dt, period, reduction, damping)
    one = yielding_response(acceleration, dt, period, strength, damping, hardening)
    other = yielding_response(scale * acceleration, dt, period, scale * strength, damping, hardening)
    assert other.ductility == pytest.approx(one.ductility, rel=1e-7)
    assert other.permanent == pytest.approx(scale * one.permanent, abs=1e-7 * scale * one.peak)


@given(**cases)
def test_turning_the_motion_round_turns_the_response_round(seed, period, reduction, damping, hardening):
    acceleration, dt = shaking(seed, n=200), 0.02
    strength = weakened(acceleration, dt, period, reduction, damping)
    one = yielding_response(acceleration, dt, period, strength, damping, hardening)
    other = yielding_response(-acceleration, dt, period, strength, damping, hardening)
    np.testing.assert_allclose(other.displacement, -one.displacement, rtol=0, atol=1e-9 * one.peak)
    assert other.ductility == pytest.approx(one.ductility, rel=1e-9)


@given(**cases)
def test_response_does_not_depend_on_how_straight_lines_are_cut(seed, period, reduction, damping, hardening):
    acceleration, dt = shaking(seed, n=100), 0.02
    cut = np.interp(np.arange(99 * 3 + 1) / 3, np.arange(100), acceleration)
    strength = weakened(acceleration, dt, period, reduction, damping)
    respond = functools.partial(
        yielding_response,
        period=period,
        strength=strength,
        damping=damping,
        hardening=hardening,
        interpolation="linear",
    )
    one, other = respond(acceleration, dt), respond(cut, dt / 3)
    assert other.ductility == pytest.approx(one.ductility, rel=1e-7)
    np.testing.assert_allclose(other.displacement[::3], one.displacement, rtol=0, atol=1e-7 * one.peak)


@pytest.mark.parametrize("damping", [0.0, 0.05, 1.0, 5.0])
@pytest.mark.parametrize("hardening", [0.0, 0.1])
def test_longest_step_is_as_good_as_many_short_ones(damping, hardening):
    # Steps in which u' changes sign twice, or touches the yield displacement and leaves it again, are rare in a record
    # and are made here: near an edge of the elastic range, slow, under a load that turns the motion round.
    rng = np.random.default_rng(17)
    oscillator, cuts = (1.0, 2 * damping, hardening, 1.0), 256
    h = _yielding.longest_step(oscillator)
    step = h / cuts
    integrals = [tuple(_yielding.branch_integrals(k, oscillator[1], t) for k in (1.0, hardening)) for t in (h, step)]
    twice_turned = touched = 0
    for _ in range(3000):
        slipped, side = rng.normal(), int(rng.integers(-1, 2))
        edge = side if side else rng.choice([-1, 1]) * (1 - 10 ** rng.uniform(-5, -0.5))
        toward = side if side else np.sign(edge)
        u, v = slipped + edge, toward * 10 ** rng.uniform(-3, 0) * h
        force = u - (1 - hardening) * slipped
        # The load is such that u'' begins against the motion and turns within the step.
        curvature = -toward * 10 ** rng.uniform(-2, 0.5)
        load = curvature + 2 * damping * v + force
        slope = -curvature / h * rng.uniform(0.5, 8)
        whole = _yielding.travel((u, v, slipped, side, abs(u)), load, slope, h, *integrals[0], oscillator)
        state, speeds, sides = (u, v, slipped, side, abs(u)), [v], {side}
        for k in range(cuts):
            state = _yielding.travel(state, load + slope * k * step, slope, step, *integrals[1], oscillator)
            speeds.append(state[1])
            sides.add(state[3])
        np.testing.assert_allclose(whole[:3], state[:3], rtol=0, atol=1e-9)
        assert whole[3] == state[3]
        assert whole[4] == pytest.approx(state[4], rel=1e-9)
        twice_turned += np.count_nonzero(np.diff(np.sign(speeds))) == 2
        touched += len(sides) > 1
    assert min(twice_turned, touched) > 100


@given(rate=st.floats(0, 50), stiffness=st.floats(0, 400), t=st.floats(1e-4, 1.0))
def test_branch_integrals_solve_their_equation(rate, stiffness, t):
    # g1 and g2 integrate g0'' + c g0' + k g0 = 0 once and twice: g0' + c g0 + k g1 = 1, g0 + c g1 + k g2 = t. The first
    # is checked with g0' by a central difference.
    g0, g1, g2 = _yielding.branch_integrals(stiffness, rate, t)
    step = 1e-5 * t
    after, before = (_yielding.branch_integrals(stiffness, rate, t + s)[0] for s in (step, -step))
    assert (after - before) / (2 * step) + rate * g0 + stiffness * g1 == pytest.approx(1, abs=1e-6)
    assert g0 + rate * g1 + stiffness * g2 == pytest.approx(t, rel=1e-9)


# --- Wrong input ------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"periods": [0.0]}, "periods"),
        ({"periods": [-1.0]}, "periods"),
        ({"ductility": 0.9}, "ductility"),
        ({"hardening": 1.0}, "hardening"),
        ({"hardening": -0.1}, "hardening"),
        ({"damping": -0.1}, "damping"),
        ({"dt": 0.0}, "dt"),
        ({"acceleration": [0.0, np.nan]}, "acceleration"),
        ({"interpolation": "cubic"}, "interpolation"),
    ],
)
def test_wrong_input_is_named(changes, words):
    arguments = {"acceleration": [0.0, 1.0, 0.0], "dt": 0.01, "periods": [0.1], "ductility": 2.0} | changes
    with pytest.raises(InputError, match=words):
        constant_ductility_spectrum(**arguments)


@pytest.mark.parametrize("strength", [0.0, -1.0, np.inf, np.nan])
def test_wrong_strength_is_refused(strength):
    with pytest.raises(InputError, match="strength"):
        yielding_response([0.0, 1.0], 0.01, 1.0, strength)
    with pytest.raises(InputError, match="strength"):
        constant_strength_spectrum([0.0, 1.0], 0.01, [1.0], strength)


# Demand over all cycles


def test_a_step_of_load_yields_once_by_what_work_and_energy_say():
    # Undamped and elastoplastic, under a sudden constant load A < f_y: A u_max = f_y u_y / 2 + f_y (u_max - u_y), so
    # ductility is 1/2 / (1 - A / f_y); after that it swings about A without yielding.
    dt, period, strength = 0.001, 1.0, 2.0
    for share in (0.6, 0.7, 0.8):
        demand = hysteretic_demand(
            np.full(8000, -share * strength), dt, period, strength, damping=0.0, interpolation="linear"
        )
        ductility = 0.5 / (1 - share)
        assert demand.ductility == pytest.approx(ductility, rel=1e-6)
        assert demand.cumulative_ductility == pytest.approx(ductility, rel=1e-4)
        yielded = strength / (2 * np.pi / period) ** 2
        assert demand.energy == pytest.approx(strength * yielded * (ductility - 1), rel=1e-3)
        assert demand.normalized_energy == pytest.approx(ductility - 1, rel=1e-3)


@pytest.mark.parametrize("hardening", [0.0, 0.1])
def test_hysteretic_energy_is_what_damping_leaves_of_the_input(hardening):
    # Relative input energy ends as damped and hysteretic energy once the oscillator is at rest (Uang & Bertero 1990).
    rng = np.random.default_rng(6)
    dt, period, damping, strength = 0.002, 0.8, 0.05, 1.0
    a = np.convolve(rng.standard_normal(6000), np.hanning(40) / 20, "same") * np.hanning(6000) * 20
    a = np.append(a, np.zeros(8000))
    response = yielding_response(a, dt, period, strength, damping, hardening, interpolation="linear")
    demand = hysteretic_demand(a, dt, period, strength, damping, hardening, interpolation="linear")
    v, w = response.velocity, 2 * np.pi / period
    left = -np.trapezoid(a * v, dx=dt) - 2 * damping * w * np.trapezoid(v * v, dx=dt)
    assert response.ductility > 3
    assert demand.energy == pytest.approx(left - _locked(response, w, hardening), rel=2e-2)
    assert demand.cumulative_ductility > demand.ductility


def _locked(response, w, hardening):
    """Elastic energy over mass that both springs hold at the end."""
    u, force = response.displacement[-1], response.force[-1]
    beside = force - hardening * w**2 * u
    return 0.5 * hardening * w**2 * u**2 + 0.5 * beside**2 / ((1 - hardening) * w**2)


def test_demand_of_an_elastic_oscillator_and_of_another_unit():
    a = np.sin(2 * np.pi * np.arange(2000) * 0.01) * np.hanning(2000)
    elastic = hysteretic_demand(a, 0.01, 0.7, 1e3)
    assert elastic.cumulative_ductility == elastic.ductility < 1
    assert (elastic.energy, elastic.normalized_energy) == (0.0, 0.0)
    one, hundred = hysteretic_demand(a, 0.01, 0.7, 0.5), hysteretic_demand(100 * a, 0.01, 0.7, 50.0)
    assert hundred.energy == pytest.approx(1e4 * one.energy, rel=1e-6)
    assert hundred.cumulative_ductility == pytest.approx(one.cumulative_ductility, rel=1e-6)


def test_park_and_ang_by_hand_and_their_limits():
    demand = HystereticDemand(ductility=4.0, cumulative_ductility=15.0, energy=0.2, normalized_energy=14.0)
    assert park_ang_index(demand, 8.0, 0.1) == pytest.approx((4.0 + 0.1 * 14.0) / 8.0)
    assert park_ang_index(demand, 8.0, 0.0) == pytest.approx(0.5)  # deformation alone
    for wrong in ((1.0, 0.1), (8.0, -0.1), (np.nan, 0.1)):
        with pytest.raises(InputError):
            park_ang_index(demand, *wrong)
