"""Compiled kernels of the yielding oscillator u'' + 2 z w u' + f(u)/m = -a(t); no validation here.

The restoring force is bilinear, a spring of stiffness alpha w² beside one of stiffness (1 - alpha) w² that slides once
it is stretched by the yield displacement u_y:

    f/m = alpha w² u + (1 - alpha) w² x,    x = u - u_p,    |x| <= u_y,    f_y/m = w² u_y.

So the oscillator is always on one of three straight branches u'' + c u' + k u = p + s t, c = 2 z w: elastic, where k =
w² and the slider rests, or yielding to one side (+1 or -1), where k = alpha w² and x = ±u_y. On a branch the solution
is closed; with g0, g1, g2 the unit impulse response and its integrals,

    u(t) = u + v g0 + (p - k u) g1 + s g2,    v(t) = v (1 - k g1 - c g0) + (p - k u) g0 + s g1.

On a branch u'' obeys a homogeneous equation, so within 1/w it changes sign at most once (and, within 1/(z w) too, is
then nowhere larger than at the two ends); between such points u' is monotone, and between the zeros of u' so is u.
That is what makes the search for the ends of a branch sure to miss none.
"""

from __future__ import annotations

import math

import numpy as np

from ..foundation.compiling import compiled
from ._kernels import impulse_integrals, phi1, phi2

__all__ = ["demand", "histories", "strengths"]

SLOPE, CURVATURE = 1, 2

SCAN = 10.0 ** (-1.0 / 100.0)
"""Ratio of neighbouring strengths in the scan: a hundred to a decade."""

SCANNED = 1200
"""Strengths to scan at most: twelve decades, where anything that moves has yielded a million times over."""

SETTLING = 100_000
"""Steps taken after the record's end at most; only oscillators without damping, or creeping, ever come near."""


@compiled
def branch_integrals(stiffness, rate, t):
    """Return g0(t), g1(t), g2(t) of g0'' + c g0' + k g0 = 0; units s, s², s³.

    With so little stiffness that its damping ratio is beyond all measure, and with none, a damped mass is left.
    """
    if stiffness > 1e-30 * rate * rate:
        omega = math.sqrt(stiffness)
        return impulse_integrals(omega, 0.5 * rate / omega, t)
    x = -rate * t
    if x < -0.5:
        third = (phi2(x) - 0.5) / x
    else:
        third, term = 0.0, 1.0 / 6.0
        for n in range(4, 20):
            third += term
            term *= x / n
    return t * phi1(x), t * t * phi2(x), t * t * t * third


@compiled
def motion_at(g, t, u, v, stiffness, rate, load, slope):
    """Return u, u', u'' on a branch, t after it held u and u' = v, from its integrals g at t."""
    unbalanced = load - stiffness * u
    u_end = u + v * g[0] + unbalanced * g[1] + slope * g[2]
    v_end = v * (1.0 - stiffness * g[1] - rate * g[0]) + unbalanced * g[0] + slope * g[1]
    return u_end, v_end, load + slope * t - rate * v_end - stiffness * u_end


@compiled
def crossing(order, level, rising, low, high, u, v, stiffness, rate, load, slope):
    """Return when u (order 0), u' (1) or u'' (2) passes `level` between two times with one passage between them.

    Newton's method kept inside the bracket, to 1e-13 of it; it halves the bracket where Newton's step leaves it.
    """
    span = high - low
    t = 0.5 * (low + high)
    for _ in range(100):
        u_t, v_t, r_t = motion_at(branch_integrals(stiffness, rate, t), t, u, v, stiffness, rate, load, slope)
        if order == 0:
            value, change = u_t - level, v_t
        elif order == SLOPE:
            value, change = v_t - level, r_t
        else:
            value, change = r_t - level, slope - rate * r_t - stiffness * v_t
        if (value > 0.0) == rising:
            high = t
        else:
            low = t
        following = t - value / change if change != 0.0 else low
        if not low < following < high:
            following = 0.5 * (low + high)
        moved = abs(following - t)
        t = following
        if moved <= 1e-13 * span:
            break
    return t


@compiled
def turns(t, u, v, r, v_end, r_end, stiffness, rate, load, slope):
    """Return the times in (0, t) at which u' changes sign, at most two, in order; t in place of those there are not."""
    bend, v_bend = t, v_end
    if r * r_end < 0.0:
        bend = crossing(CURVATURE, 0.0, r_end > 0.0, 0.0, t, u, v, stiffness, rate, load, slope)
        g = branch_integrals(stiffness, rate, bend)
        v_bend = motion_at(g, bend, u, v, stiffness, rate, load, slope)[1]
    first = second = t
    if v * v_bend < 0.0:
        first = crossing(SLOPE, 0.0, v_bend > 0.0, 0.0, bend, u, v, stiffness, rate, load, slope)
    if bend < t and v_bend * v_end < 0.0:
        second = crossing(SLOPE, 0.0, v_end > 0.0, bend, t, u, v, stiffness, rate, load, slope)
    return min(first, second), max(first, second)


@compiled
def branch(side, slipped, oscillator):
    """Return the stiffness k, 1/s², and the constant part of p, m/s², of the branch the oscillator is on."""
    square, _, hardening, limit = oscillator
    if side == 0:
        return square, (1.0 - hardening) * square * slipped
    return hardening * square, -side * (1.0 - hardening) * square * limit


@compiled
def travel(state, load, slope, h, g_elastic, g_yielding, oscillator):
    """Take the oscillator through a step no longer than `longest_step`, from branch to branch.

    Parameters
    ----------
    state : tuple
        u, u', u_p, side (0 elastic, else where it yields) and the largest |u| so far.
    load, slope : float
        The load -a is load + slope t; m/s² and m/s³.
    h : float
        Step, s.
    g_elastic, g_yielding : tuple
        `branch_integrals` of a whole step on the two kinds of branch.
    oscillator : tuple
        w², c = 2 z w, alpha and u_y.
    """
    u, v, slipped, side, largest = state
    rate, limit = oscillator[1], oscillator[3]
    begun = 0.0
    # A few branches at most fit in a step; the count only keeps rounding errors from stopping the clock.
    for turn in range(32):
        t = h - begun
        stiffness, bias = branch(side, slipped, oscillator)
        p = load + slope * begun + bias
        g = g_elastic if side == 0 else g_yielding
        if begun > 0.0:
            g = branch_integrals(stiffness, rate, t)
        u_end, v_end, r_end = motion_at(g, t, u, v, stiffness, rate, p, slope)
        r = p - rate * v - stiffness * u
        if turn == 31:
            break

        if side == 0:
            fastest = max(abs(v), abs(v_end))
            if r * r_end < 0.0:
                fastest += t * max(abs(r), abs(r_end))
            reach = t * fastest
            # x and u end where they end, and cannot get further from there than `reach`.
            if abs(u_end - slipped) + reach < limit and abs(u_end) + reach <= largest:
                return u_end, v_end, slipped, side, largest
            first, second = turns(t, u, v, r, v_end, r_end, stiffness, rate, p, slope)
            start, u_start = 0.0, u
            for piece in range(3):
                stop = first if piece == 0 else second if piece == 1 else t
                if stop == start and piece > 0:
                    continue
                u_stop = u_end
                if stop < t:
                    u_stop = motion_at(
                        branch_integrals(stiffness, rate, stop), stop, u, v, stiffness, rate, p, slope
                    )[0]  # fmt: skip
                rising = u_stop > u_start
                if abs(u_stop - slipped) > limit and rising == (u_stop > slipped):
                    side = 1 if rising else -1
                    edge = slipped + side * limit
                    stop = crossing(0, edge, rising, start, stop, u, v, stiffness, rate, p, slope)
                    v = motion_at(
                        branch_integrals(stiffness, rate, stop), stop, u, v, stiffness, rate, p, slope
                    )[1]  # fmt: skip
                    u, v = edge, side * max(side * v, 0.0)
                    largest = max(largest, abs(u))
                    begun += stop
                    break
                largest = max(largest, abs(u_stop))
                start, u_start = stop, u_stop
            if side == 0:
                return u_end, v_end, slipped, side, largest
        else:
            first = t
            if v == 0.0 and (side * r < 0.0 or (r == 0.0 and side * v_end < 0.0)):
                first = 0.0
            elif r * r_end < 0.0 or v * v_end < 0.0:
                first = turns(t, u, v, r, v_end, r_end, stiffness, rate, p, slope)[0]
            if first == t:
                break
            u = motion_at(branch_integrals(stiffness, rate, first), first, u, v, stiffness, rate, p, slope)[0]
            v = 0.0
            largest = max(largest, abs(u))
            slipped = u - side * limit
            side = 0
            begun += first
    if side != 0:
        slipped = u_end - side * limit
    return u_end, v_end, slipped, side, max(largest, abs(u_end))


@compiled
def settled(state, oscillator):
    """Whether, the ground being still, the oscillator stays elastic and never again exceeds its largest |u|.

    Its elastic energy bounds how far it can swing about where the springs balance, (1 - alpha) u_p.
    """
    u, v, slipped, side, largest = state
    square, _, hardening, limit = oscillator
    if side != 0:
        return False
    balance = (1.0 - hardening) * slipped
    swing = math.sqrt(v * v / square + (u - balance) * (u - balance))
    room = 1.0 + 1e-12
    return abs(balance) + swing <= largest * room and hardening * abs(slipped) + swing <= limit * room


@compiled
def settle(state, oscillator, resting):
    """Let the oscillator swing, the ground being still, until it is `settled`; return its largest |u| and rest, m.

    Once u' has changed sign twice no later swing is larger, since none can hold more energy than the one before it to
    the same side; after that it goes on only if where it comes to rest is asked for.
    """
    square, rate, hardening, _ = oscillator
    h = longest_step(oscillator)
    g_elastic, g_yielding = branch_integrals(square, rate, h), branch_integrals(hardening * square, rate, h)
    turned = 0
    for _ in range(SETTLING):
        if settled(state, oscillator) or (turned == 2 and not resting):
            break
        v = state[1]
        state = travel(state, 0.0, 0.0, h, g_elastic, g_yielding, oscillator)
        turned += v * state[1] < 0.0
    return state[4], (1.0 - hardening) * state[2]


@compiled
def longest_step(oscillator):
    """Return 1/w, or 1/(z w) where z > 1: within it the search for the ends of a branch misses none."""
    omega = math.sqrt(oscillator[0])
    return 1.0 / max(omega, 0.5 * oscillator[1])


@compiled
def demand(acceleration, h, omega, damping, hardening, strength):
    """Return the largest |u| ever, m, for a strength f_y/m in m/s²; an infinite one never yields."""
    oscillator = (omega * omega, 2.0 * damping * omega, hardening, strength / (omega * omega))
    cuts = max(1, math.ceil(h / longest_step(oscillator)))
    step = h / cuts
    g_elastic = branch_integrals(oscillator[0], oscillator[1], step)
    g_yielding = branch_integrals(hardening * oscillator[0], oscillator[1], step)
    state = (0.0, 0.0, 0.0, 0, 0.0)
    for k in range(acceleration.size - 1):
        load = -acceleration[k]
        slope = (acceleration[k] - acceleration[k + 1]) / h
        for i in range(cuts):
            state = travel(state, load + slope * (i * step), slope, step, g_elastic, g_yielding, oscillator)
    return settle(state, oscillator, False)[0]


@compiled
def histories(acceleration, h, omega, damping, hardening, strength, u, v, force):
    """Fill u (m), u' (m/s) and f/m (m/s²) at the samples; return the largest |u| and the last rest position, m."""
    square = omega * omega
    oscillator = (square, 2.0 * damping * omega, hardening, strength / square)
    cuts = max(1, math.ceil(h / longest_step(oscillator)))
    step = h / cuts
    g_elastic = branch_integrals(oscillator[0], oscillator[1], step)
    g_yielding = branch_integrals(hardening * oscillator[0], oscillator[1], step)
    state = (0.0, 0.0, 0.0, 0, 0.0)
    for k in range(acceleration.size):
        u[k], v[k] = state[0], state[1]
        force[k] = square * (state[0] - (1.0 - hardening) * state[2])
        if k + 1 < acceleration.size:
            load = -acceleration[k]
            slope = (acceleration[k] - acceleration[k + 1]) / h
            for i in range(cuts):
                state = travel(state, load + slope * (i * step), slope, step, g_elastic, g_yielding, oscillator)
    return settle(state, oscillator, True)


@compiled
def strengths(acceleration, h, omega, damping, hardening, ductility, out):
    """Fill `out` with the largest strength f_y/m, m/s², at which each ductility is reached; NaN where none does.

    `ductility` rises and is at least 1. Strengths are scanned downwards from the elastic one, `SCAN` apart; between the
    first that reaches a ductility and the one above it the strength is found by false position on its logarithm.
    """
    square = omega * omega
    elastic = square * demand(acceleration, h, omega, damping, hardening, np.inf)
    out[:] = np.nan
    waiting = 0
    while waiting < ductility.size and (ductility[waiting] == 1.0 or elastic == 0.0):
        out[waiting] = elastic
        waiting += 1
    above, reached_above = elastic, 1.0
    for turn in range(1, SCANNED + 1):
        if waiting == ductility.size:
            return
        below = elastic * SCAN**turn
        reached_below = demand(acceleration, h, omega, damping, hardening, below) * square / below
        while waiting < ductility.size and ductility[waiting] <= reached_below:
            target = ductility[waiting]
            low, f_low = math.log(below), math.log(reached_below / target)
            high, f_high = math.log(above), math.log(reached_above / target)
            middle, kept = low, 0
            for _ in range(100):
                if f_low <= 0.0 or high - low <= 1e-13:
                    middle = low
                    break
                middle = (low * f_high - high * f_low) / (f_high - f_low)
                strength = math.exp(middle)
                f = math.log(demand(acceleration, h, omega, damping, hardening, strength) * square / strength / target)
                if abs(f) <= 1e-12:
                    break
                # The end kept twice running is halved (the Illinois rule), or it would stay for ever.
                if f > 0.0:
                    low, f_low = middle, f
                    f_high *= 0.5 if kept == 1 else 1.0
                    kept = 1
                else:
                    high, f_high = middle, f
                    f_low *= 0.5 if kept == -1 else 1.0
                    kept = -1
            out[waiting] = math.exp(middle)
            waiting += 1
        above, reached_above = below, reached_below
