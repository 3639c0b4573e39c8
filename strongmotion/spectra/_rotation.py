"""Compiled kernel of the largest response in every direction; no validation here.

The largest response in a direction is the support function of the path of (u1, u2), and what lies inside the path's
convex hull adds nothing to it. So all oscillators are followed once, with their largest response in four directions
for each block of steps: four strips, whose common part, an octagon, holds the block. The few blocks whose octagon
sticks out of what the others reach are followed again. In each of their steps those directions alone are looked at in
which the path turns back: the velocity, as it swings round, sweeps over just these. What is left is to find the
extremum inside the step, in every direction's best and in those that the bound of `_kernels` leaves in doubt. Nothing
is passed over that could count: the answer is that of all directions one by one.
"""

# Numba infers the types from the arrays it is given.
# mypy: disallow-untyped-defs=False

from __future__ import annotations

import math

import numpy as np

from ..foundation.compiling import compiled
from ._kernels import (
    PER_STEP,
    advance_pair,
    copy_into,
    free_peak,
    oscillators,
    rest,
    starting_speed,
    step_bound,
    step_extremum,
    taylor,
    within_step,
)

__all__ = ["ANGLES", "rotated_peaks"]

ANGLES = 180
"""Directions, one degree apart, that fill half a turn."""

BLOCK = 32
"""Steps in a block."""

SOFT = 0.5
"""The largest w h at which few terms and few corrections find an extremum inside a step."""

DEGREE = math.pi / ANGLES
COSINE, SINE = np.cos(np.arange(2 * ANGLES) * DEGREE), np.sin(np.arange(2 * ANGLES) * DEGREE)
# How far the common part of two strips 45 degrees apart reaches between their directions.
QUARTER = np.arange(45) * DEGREE
CORNER = 1.0 / math.cos(math.pi / 8)
OF_ONE, OF_NEXT = np.sin(math.pi / 4 - QUARTER) / math.sin(math.pi / 4), np.sin(QUARTER) / math.sin(math.pi / 4)


@compiled
def rotated_peaks(a1, a2, h, omega, damping, out):
    """Largest |u| ever of many oscillators, in every whole degree of half a turn, and in whatever direction.

    Parameters
    ----------
    a1, a2 : float64 array (n,)
        Two perpendicular horizontal accelerations, m/s², linear between samples, at rest before and zero after.
    h : float
        Step, s.
    omega, damping : float64 array (m,)
        rad/s, and the ratio to critical.
    out : float64 array (ANGLES + 1, m)
        Displacement of cos(x) u1 + sin(x) u2, m, for x = 0, 1, ... degrees; and in the last row the largest
        sqrt(u1² + u2²).
    """
    n, m = a1.size, omega.size
    omega, damping, coefficient, fixed = oscillators(omega, damping, h)
    blocks = (n + BLOCK - 1) // BLOCK
    inputs = np.empty((2, n))
    load = np.empty(n)
    for k in range(n):
        inputs[0, k], inputs[1, k] = a1[k], a2[k]
        load[k] = math.sqrt(a1[k] * a1[k] + a2[k] * a2[k])
    state, states, reach, farthest, first = survey(inputs, h, omega, damping, coefficient, fixed)
    u, v, radius = np.empty((2, n)), np.empty((2, n)), np.empty(n)
    followed, strips = np.empty(blocks, dtype=np.bool_), np.empty(5)
    best, where, scratch = np.empty(ANGLES), np.empty(ANGLES, dtype=np.int64), np.empty((32, ANGLES))
    turns, reaches = np.empty((0, 2), dtype=np.int64), np.empty(0)
    for j in range(m):
        w, z, constants = omega[j], damping[j], coefficient[:, j].copy()
        kappa = step_bound(w, z, h)
        slack = 1.0 - kappa * w * w
        best[:], where[:], followed[:] = 0.0, -1, False
        # The farthest block in each direction first: the more they raise, the fewer are left.
        count, lowest = 0, 0.0
        for turn in range(blocks + 4):
            b = first[turn, j] if turn < 4 else turn - 4
            if followed[b] or farthest[b, j] < lowest:
                continue
            for i in range(5):
                strips[i] = reach[b, i % 4, j]
            if turn >= 4 and not sticks_out(strips, slack, best):
                continue
            followed[b] = True
            start, stop = b * BLOCK, min((b + 1) * BLOCK, n - 1)
            follow(inputs, start, stop, states[b, :, j], constants, u, v, radius)
            room = count + 2 * ANGLES * BLOCK
            if room > reaches.size:
                count = still_in_doubt(turns, reaches, count, best, slack)
                room = count + 2 * ANGLES * BLOCK
                if 2 * room > reaches.size:
                    turns, reaches = enlarged(turns, reaches, 2 * room)
            if turn < 4:
                raise_to_sample(start + radius[start : stop + 1].argmax(), u, best)
            count = turn_back(start, stop, u, v, load, kappa, slack, best, where, turns, reaches, count)
            if slack <= 0.0:  # no bound, no doubt: each is looked into, and none is kept
                for i in range(count):
                    search_step(turns[i, 0], turns[i, 1], inputs, u, v, z * w * h, w * h, h, best)
                count = 0
            lowest = best.min() * slack
        follow(inputs, n - 1, n - 1, state[:, j], constants, u, v, radius)
        widest = after_the_end(u[:, n - 1], v[:, n - 1], w, z, best)
        refine(inputs, h, w, z, u, v, best, where, scratch)
        count = still_in_doubt(turns, reaches, count, best, slack)
        for i in range(count):
            if where[turns[i, 0]] != turns[i, 1] and reaches[i] > best[turns[i, 0]] * slack:
                search_step(turns[i, 0], turns[i, 1], inputs, u, v, z * w * h, w * h, h, best)
        for i in range(ANGLES):
            out[i, j] = best[i]
        out[ANGLES, j] = widest_of_all(
            followed, farthest[:, j], inputs, u, v, radius, load, kappa, w, z, h, max(widest, best.max())
        )


@compiled
def enlarged(turns, reaches, size):
    """Return the two lists with room for `size` entries."""
    more_turns, more_reaches = np.empty((size, 2), dtype=np.int64), np.empty(size)
    for i in range(reaches.size):
        more_turns[i, 0], more_turns[i, 1], more_reaches[i] = turns[i, 0], turns[i, 1], reaches[i]
    return more_turns, more_reaches


@compiled
def still_in_doubt(turns, reaches, count, best, slack):
    """Keep of the list what may exceed the best of its direction; return how many."""
    kept = 0
    for i in range(count):
        if reaches[i] > best[turns[i, 0]] * slack:
            turns[kept, 0], turns[kept, 1], reaches[kept] = turns[i, 0], turns[i, 1], reaches[i]
            kept += 1
    return kept


@compiled
def survey(inputs, h, omega, damping, coefficient, fixed):
    """Follow all oscillators once.

    Returns
    -------
    state : array (4, lanes)
        p1, q1, p2, q2 at the last sample.
    states : array (blocks, 4, lanes)
        The same at the start of each block.
    reach : array (blocks, 4, lanes)
        What |u| (1 - k w²) does not exceed in each block, at 0, 45, 90 and 135 degrees; see the head of `_kernels`.
    farthest : array (blocks, lanes)
        What it does not exceed in any direction: the distance of an octagon's corner.
    first : int array (4, lanes)
        The block that reaches farthest in each of the four directions.
    """
    n, lanes = inputs.shape[1], omega.size
    blocks = (n + BLOCK - 1) // BLOCK
    state, states, reach = np.empty((4, lanes)), np.empty((blocks, 4, lanes)), np.empty((blocks, 4, lanes))
    of_size, of_q_start, of_load = np.empty(lanes), np.empty(lanes), np.empty(lanes)
    for j in range(lanes):
        w = coefficient[:, j]
        for i in range(2):
            state[2 * i, j], state[2 * i + 1, j] = rest(w[2], w[3], w[4], w[5], w[6], w[7], inputs[i, 0])
        of_size[j] = abs(w[2]) + 2.0 * abs(w[3])
        of_q_start[j] = abs(w[3])
        of_load[j] = abs(w[6]) + step_bound(omega[j], damping[j], h)
    farthest, highest, first = np.zeros((blocks, lanes)), np.zeros((4, lanes)), np.zeros((4, lanes), dtype=np.int64)
    tops, half = np.empty((4, lanes)), math.sqrt(0.5)
    for b in range(blocks):
        start, stop = b * BLOCK, min((b + 1) * BLOCK, n - 1)
        copy_into(states[b], state)
        tops[:] = 0.0
        advance_pair(inputs, start, stop, fixed, state, tops)
        load = 0.0
        for k in range(start, stop + 1):
            load = max(load, inputs[0, k] * inputs[0, k] + inputs[1, k] * inputs[1, k])
        load = math.sqrt(load)
        bound_strip(tops[0], states[b], state, 1.0, 0.0, load, of_size, of_q_start, of_load, reach[b, 0])
        bound_strip(tops[1], states[b], state, half, half, load, of_size, of_q_start, of_load, reach[b, 1])
        bound_strip(tops[2], states[b], state, 0.0, 1.0, load, of_size, of_q_start, of_load, reach[b, 2])
        bound_strip(tops[3], states[b], state, -half, half, load, of_size, of_q_start, of_load, reach[b, 3])
        for i in range(4):
            raise_farthest(b, reach[b, i], farthest[b], highest[i], first[i])
    return state, states, reach, farthest, first


@compiled
def raise_farthest(b, reach, farthest, highest, first):
    """Raise `farthest` of a block, and `highest` of all blocks so far and where it is, to one of its strips."""
    for j in range(reach.size):
        corner = reach[j] * CORNER
        farthest[j] = corner if corner > farthest[j] else farthest[j]
        first[j] = b if reach[j] > highest[j] else first[j]
        highest[j] = reach[j] if reach[j] > highest[j] else highest[j]


@compiled
def bound_strip(top, state, state_end, cosine, sine, load, of_size, of_q_start, of_load, reach):
    """Fill `reach` with M + k F of a block of steps in one direction, over all lanes."""
    p1, p2, q1, q2 = state_end[0], state_end[2], state[1], state[3]
    unit = max(abs(cosine), abs(sine))
    for j in range(top.size):
        end = abs(cosine * p1[j] + sine * p2[j])
        most = unit * top[j]
        reach[j] = most if most > end else end
    for j in range(top.size):
        more = of_q_start[j] * abs(cosine * q1[j] + sine * q2[j]) + of_load[j] * load
        reach[j] = of_size[j] * reach[j] + more


@compiled
def sticks_out(strips, slack, best):
    """Say whether the octagon of a block reaches beyond the best of any direction."""
    count = 0
    for i in range(4):
        one, following = strips[i], strips[i + 1]
        for k in range(45):
            count += OF_ONE[k] * one + OF_NEXT[k] * following >= best[45 * i + k] * slack
    return count > 0


@compiled
def follow(inputs, start, stop, state, constants, u, v, radius):
    """Fill in the path, displacement (m), velocity (m/s) and distance from rest, from sample `start` to `stop`."""
    d, c, w00, w01 = constants[0], constants[1], constants[2], constants[3]
    w10, w11, b_u, b_v = constants[4], constants[5], constants[6], constants[7]
    p1, q1, p2, q2 = state[0], state[1], state[2], state[3]
    for k in range(start, stop + 1):
        a1, a2 = inputs[0, k], inputs[1, k]
        u[0, k] = w00 * p1 + w01 * q1 + b_u * a1
        u[1, k] = w00 * p2 + w01 * q2 + b_u * a2
        v[0, k] = w10 * p1 + w11 * q1 + b_v * a1
        v[1, k] = w10 * p2 + w11 * q2 + b_v * a2
        q1 = (d * q1 + a1) - c * p1
        q2 = (d * q2 + a2) - c * p2
        p1 = p1 + q1
        p2 = p2 + q2
    if start == 0 and stop > 0:
        first = 0 if inputs[0, 0] != 0.0 or inputs[1, 0] != 0.0 else 1
        for i in range(2):
            v[i, 0] = starting_speed(inputs[i, first])
    for k in range(start, stop + 1):
        radius[k] = math.sqrt(u[0, k] * u[0, k] + u[1, k] * u[1, k])


@compiled
def raise_to_sample(k, u, best):
    """Raise `best` to one sample, in all directions, so that it is not nothing where no path has turned back yet."""
    u1, u2 = u[0, k], u[1, k]
    for i in range(ANGLES):
        size = abs(COSINE[i] * u1 + SINE[i] * u2)
        best[i] = size if size > best[i] else best[i]


@compiled
def turn_back(start, stop, u, v, load, kappa, slack, best, where, turns, reaches, count):
    """Raise `best` to the samples at which the path turns back, and list what may be exceeded inside their steps.

    Returns
    -------
    int
        The entries of the list: `turns` holds direction and step, `reaches` what is not exceeded there, times `slack`.
    """
    v1, v2 = v[0, start], v[1, start]
    # The direction, of all 360, at which the speed along it goes below zero.
    edge = math.floor((math.atan2(v2, v1) + 0.5 * math.pi) / DEGREE) % (2 * ANGLES)
    while not at_edge(edge, v1, v2):
        edge = (edge + 1) % (2 * ANGLES)
    for k in range(start, stop):
        force = kappa * max(load[k], load[k + 1])
        # By way of where the step leads: should that not lie between its velocities, the path turns back twice, and a
        # sample may be the largest in a direction with no sign of it in the velocities.
        for half in range(2):
            w1 = u[0, k + 1] - u[0, k] if half == 0 else v[0, k + 1]
            w2 = u[1, k + 1] - u[1, k] if half == 0 else v[1, k + 1]
            if at_edge(edge, w1, w2):
                v1, v2 = w1, w2
                continue
            forward = v1 * w2 - v2 * w1 >= 0.0
            v1, v2 = w1, w2
            for _ in range(ANGLES):
                if not forward:
                    edge = edge - 1 if edge > 0 else 2 * ANGLES - 1
                i = edge if edge < ANGLES else edge - ANGLES
                if forward:
                    edge = edge + 1 if edge + 1 < 2 * ANGLES else 0
                r, r_end = COSINE[i] * u[0, k] + SINE[i] * u[1, k], COSINE[i] * u[0, k + 1] + SINE[i] * u[1, k + 1]
                r = max(abs(r), abs(r_end))
                if r + force > best[i] * slack:
                    turns[count, 0], turns[count, 1], reaches[count] = i, k, r + force
                    count += 1
                    if r >= best[i]:
                        best[i] = r
                        where[i] = k
                if at_edge(edge, v1, v2):
                    break
    return count


@compiled
def at_edge(edge, v1, v2):
    """Say whether the speed is not below zero along the direction before `edge`, and below along `edge` itself.

    So it is, too, where there is no speed.
    """
    before = edge - 1 if edge > 0 else 2 * ANGLES - 1
    along = COSINE[edge] * v1 + SINE[edge] * v2
    return COSINE[before] * v1 + SINE[before] * v2 >= 0.0 and (along < 0.0 or (v1 == 0.0 and v2 == 0.0))


@compiled
def refine(inputs, h, omega, damping, u, v, best, where, scratch):
    """Raise `best` to the extremum inside the step `where` each direction has its largest sample.

    Rows of `scratch` hold what belongs to each direction.
    """
    theta = omega * h
    if theta > SOFT or theta * damping > SOFT:
        where[:] = -1  # left to the search of all steps
        return
    r, slope, f, f_slope, end, x, change = (
        scratch[0], scratch[1], scratch[2], scratch[3], scratch[4], scratch[5], scratch[6]
    )  # fmt: skip
    for i in range(ANGLES):
        k = where[i]
        if k < 0:
            r[i], slope[i], f[i], f_slope[i], end[i] = 0.0, 1.0, 0.0, 0.0, -1.0
            continue
        a, a_end = (
            COSINE[i] * inputs[0, k] + SINE[i] * inputs[1, k],
            COSINE[i] * inputs[0, k + 1] + SINE[i] * inputs[1, k + 1],
        )
        r[i] = COSINE[i] * u[0, k] + SINE[i] * u[1, k]
        slope[i] = COSINE[i] * v[0, k] + SINE[i] * v[1, k]
        end[i] = COSINE[i] * v[0, k + 1] + SINE[i] * v[1, k + 1]
        f[i], f_slope[i] = -a, (a - a_end) / h
    twice, square, terms = 2.0 * damping * theta, theta * theta, 4
    size, few = 1.0, 4
    while terms < 22 and size > 1e-18:
        size *= (theta + twice) / (terms - 2)
        terms += 1
        few = terms if size > 1e-10 else few
    first, second, value, series = scratch[7], scratch[8], scratch[9], scratch[10 : 10 + terms]
    many_extrema(r, slope, f, f_slope, end, twice, square, h, few, series, x, first, second, change, value)
    for i in range(ANGLES):
        if where[i] < 0 or slope[i] * end[i] >= 0.0:
            continue
        # None found, or that of another step, or the rest that the first begins with.
        if not (change[i] < 1e-6 and 1e-6 < x[i] <= 1.0):
            value[i] = step_extremum(r[i], slope[i], f[i], f_slope[i], damping * theta, theta, h, end[i])
        best[i] = max(best[i], value[i])


@compiled
def many_extrema(r, slope, f, f_slope, end, twice, square, h, few, series, x, first, second, change, value):
    """Fill `value` with what `step_extremum` returns, for many at once, and `change` with the last correction to x.

    To find x a few terms will do: r is flat there.
    """
    terms, count = series.shape[0], r.size
    for i in range(count):
        series[0, i] = r[i]
        series[1, i] = slope[i] * h
        series[2, i] = 0.5 * (h * h * f[i] - twice * series[1, i] - square * r[i])
        series[3, i] = (h * h * h * f_slope[i] - 2.0 * twice * series[2, i] - square * series[1, i]) / 6.0
        gap = slope[i] - end[i]
        x[i] = slope[i] / (gap if gap != 0.0 else 1.0)
    for n in range(2, terms - 2):
        one, two = twice * (n + 1) * PER_STEP[n], square * PER_STEP[n]
        for i in range(count):
            series[n + 2, i] = -(one * series[n + 1, i] + two * series[n, i])
    for _ in range(3):
        first[:] = 0.0
        second[:] = 0.0
        for n in range(few - 1, 0, -1):
            for i in range(count):
                second[i] = second[i] * x[i] + first[i]
                first[i] = first[i] * x[i] + n * series[n, i]
        for i in range(count):
            following = x[i] - first[i] / second[i]
            change[i] = abs(following - x[i])
            x[i] = following
    value[:] = 0.0
    for n in range(terms - 1, -1, -1):
        for i in range(count):
            value[i] = value[i] * x[i] + series[n, i]
    for i in range(count):
        value[i] = abs(value[i])


@compiled
def after_the_end(u, v, omega, damping, best):
    """Raise `best` to the free vibration that follows the last sample; return the largest sqrt(u1² + u2²) in it."""
    u1, u2, v1, v2 = u[0], u[1], v[0], v[1]
    widest = max(best.max(), math.sqrt(u1 * u1 + u2 * u2))
    energy = (v1 * v1 + v2 * v2) / (omega * omega) + 2.0 * damping * (u1 * v1 + u2 * v2) / omega + u1 * u1 + u2 * u2
    if math.sqrt(energy + u1 * u1 + u2 * u2) < best.min():
        return widest
    for i in range(ANGLES):
        r, slope = COSINE[i] * u1 + SINE[i] * u2, (COSINE[i] * v1 + SINE[i] * v2) / omega
        # |r| decays with r'² / w² + 2 z r r' / w + r²; what that allows is rarely enough.
        if max(abs(r), math.sqrt(abs(slope * slope + 2.0 * damping * r * slope + r * r))) > best[i]:
            best[i] = max(best[i], free_peak(r, slope * omega, omega, damping))
    top, degree = 0.0, 0
    for i in range(ANGLES):
        r, slope = COSINE[i] * u1 + SINE[i] * u2, COSINE[i] * v1 + SINE[i] * v2
        energy = (slope / omega) ** 2 + 2.0 * damping * r * slope / omega + r * r
        if max(abs(r), math.sqrt(abs(energy))) * 1.001 > widest:
            size = free_peak(r, slope, omega, damping)
            if size > top:
                top, degree = size, i
    if top * 1.001 <= widest:
        return widest
    # Between two whole degrees: the golden section of the one hump there.
    low, high = (degree - 1.0) * DEGREE, (degree + 1.0) * DEGREE
    golden = 0.5 * (math.sqrt(5.0) - 1.0)
    for _ in range(40):
        one, other = high - golden * (high - low), low + golden * (high - low)
        at_one = free_peak(
            math.cos(one) * u1 + math.sin(one) * u2, math.cos(one) * v1 + math.sin(one) * v2, omega, damping
        )
        at_other = free_peak(
            math.cos(other) * u1 + math.sin(other) * u2, math.cos(other) * v1 + math.sin(other) * v2, omega, damping
        )
        widest = max(widest, at_one, at_other)
        if at_one > at_other:
            high = other
        else:
            low = one
    return widest


@compiled
def search_step(i, k, inputs, u, v, theta_damping, theta, h, best):
    """Raise the best of one direction to the extremum inside one step, if it has one."""
    slope, slope_end = COSINE[i] * v[0, k] + SINE[i] * v[1, k], COSINE[i] * v[0, k + 1] + SINE[i] * v[1, k + 1]
    if slope * slope_end < 0.0:
        r = COSINE[i] * u[0, k] + SINE[i] * u[1, k]
        a = COSINE[i] * inputs[0, k] + SINE[i] * inputs[1, k]
        a_end = COSINE[i] * inputs[0, k + 1] + SINE[i] * inputs[1, k + 1]
        found = step_extremum(r, slope, -a, (a - a_end) / h, theta_damping, theta, h, slope_end)
        best[i] = max(best[i], found)


@compiled
def widest_of_all(followed, farthest, inputs, u, v, radius, load, kappa, omega, damping, h, widest):
    """Return the largest sqrt(u1² + u2²), inside steps too, given what has been met so far.

    No sample of a block is farther than `farthest`, nor what is inside its steps, times `slack`.
    """
    n, theta = radius.size, omega * h
    slack = 1.0 - kappa * omega * omega
    for b in range(farthest.size):
        if not followed[b] or farthest[b] <= widest * slack:
            continue
        for k in range(b * BLOCK, min((b + 1) * BLOCK, n - 1)):
            widest = max(widest, radius[k])
            if max(radius[k], radius[k + 1]) + kappa * max(load[k], load[k + 1]) > widest * slack:
                outward, later = (
                    u[0, k] * v[0, k] + u[1, k] * v[1, k],
                    u[0, k + 1] * v[0, k + 1] + u[1, k + 1] * v[1, k + 1],
                )
                if (outward > 0.0 or k == 0) and later < 0.0:  # from rest there is only outward
                    widest = max(widest, farthest_in_step(k, inputs, u, v, damping * theta, theta, h))
    return widest


@compiled
def farthest_in_step(k, inputs, u, v, theta_damping, theta, h):
    """Return the largest sqrt(u1² + u2²) inside a step in which it first grows and then falls."""
    if theta + 2.0 * theta_damping > 6.0:
        if theta_damping < theta:
            return 0.0
        low, high, size = 0.0, h, 0.0
        for _ in range(60):
            t = 0.5 * (low + high)
            f1, f2 = -inputs[0, k], -inputs[1, k]
            u1, v1 = within_step(
                t, u[0, k], v[0, k], f1, (-inputs[0, k + 1] - f1) / h, theta_damping / h, theta / h
            )  # fmt: skip
            u2, v2 = within_step(
                t, u[1, k], v[1, k], f2, (-inputs[1, k + 1] - f2) / h, theta_damping / h, theta / h
            )  # fmt: skip
            size = max(size, math.sqrt(u1 * u1 + u2 * u2))
            if u1 * v1 + u2 * v2 > 0.0:
                low = t
            else:
                high = t
        return size
    one, two = np.zeros(40), np.zeros(40)
    terms = 0
    for i in range(2):
        a, a_end = inputs[i, k], inputs[i, k + 1]
        series = one if i == 0 else two
        terms = max(terms, taylor(u[i, k], v[i, k], -a, (a - a_end) / h, theta_damping, theta, h, series))
    low, high, x, size = 0.0, 1.0, 0.5, 0.0
    for _ in range(60):
        u1 = u2 = v1 = v2 = w1 = w2 = 0.0
        for n in range(terms - 1, -1, -1):
            w1, v1, u1 = w1 * x + v1, v1 * x + u1, u1 * x + one[n]
            w2, v2, u2 = w2 * x + v2, v2 * x + u2, u2 * x + two[n]
        size = math.sqrt(u1 * u1 + u2 * u2)
        growth = u1 * v1 + u2 * v2
        bend = v1 * v1 + v2 * v2 + 2.0 * (u1 * w1 + u2 * w2)
        if growth > 0.0:
            low = x
        else:
            high = x
        following = x - growth / bend if bend != 0.0 else low
        if not low < following < high:
            following = 0.5 * (low + high)
        if abs(following - x) < 1e-9:
            break
        x = following
    return size
