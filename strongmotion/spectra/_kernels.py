"""Compiled kernels of the oscillator u'' + 2 z w u' + w² u = -a(t); no validation here.

Exact for acceleration linear between samples (Nigam & Jennings 1969). With x = (u, u') one step of length h is

    x[k+1] = A x[k] + B0 a[k] + B1 a[k+1],

and y[k] = x[k] - B1 a[k] takes one input a step: y[k+1] = A y[k] + (A B1 + B0) a[k]. A change of basis y = W (p, q)
leaves the shortest recursion there is for it, two multiplications and three additions:

    q[k+1] = d q[k] - c p[k] + a[k],    p[k+1] = p[k] + q[k+1],    d = det A,  c = det(I - A).

It is a state form, a position and its increment, with c ~ (w h)² computed without cancellation; unlike the difference
equation in u alone it keeps its digits at long periods.

In every step u, u' and the total acceleration s = u'' + a obey one equation, r'' + 2 z w r' + w² r = f, with f linear:
f = -a for u, -a' for u', and w² a + 2 z w a' for s. So one routine finds an extremum inside a step, and one bound says
where none can be: at it r' = 0, hence |r'| <= h max|r''| in that step, hence

    |r| <= (M + k F) / (1 - k w²),    k = h² / 8 / (1 - 2 z w h),

where M is the larger |r| of the step's two ends and F the largest |f| in it.
"""

# Numba infers the types from the arrays it is given.
# mypy: disallow-untyped-defs=False

from __future__ import annotations

import math

import numpy as np

from ..foundation.compiling import compiled
from . import _lanes
from ._lanes import LANES, STEPS

__all__ = ["histories", "peaks", "step_coefficients"]

SHORTEST_BLOCK, LONGEST_BLOCK, FEW_BLOCKS = 32, 512, 256
"""Steps in a block, the unit in which the search for an extremum inside a step is narrowed down, and how many blocks
are few: a longer record has longer blocks, so that what is kept of them stays in the cache."""

PER_STEP = np.array([1.0 / ((n + 1) * (n + 2)) for n in range(40)])
"""From one coefficient of a Taylor series to the one after the next."""

DISPLACEMENT, VELOCITY, ACCELERATION = 0, 1, 2


@compiled
def impulse_integrals(omega, damping, h):
    """Return the unit impulse response g0(h) and its first and second integrals g1(h), g2(h).

    g0'' + 2 z w g0' + w² g0 = 0 from g0 = 0, g0' = 1; units s, s², s³. A Taylor series where w h is small; closed forms
    elsewhere, by divided differences of exp where heavy damping separates the two roots.
    """
    theta = omega * h
    root = math.sqrt(abs(1.0 - damping * damping))
    if theta * (damping + (root if damping > 1.0 else 1.0)) <= 1.5:
        g0 = g1 = g2 = 0.0
        before, term, n = 0.0, 1.0, 1
        while n < 40 and abs(before) + abs(term) > 1e-18 * abs(g0):
            # The nth derivative of g0 at 0, times h^(n-1) / n!
            g0 += term
            g1 += term / (n + 1)
            g2 += term / ((n + 1) * (n + 2))
            following = -(2.0 * damping * theta * term + theta * theta * before / n) / (n + 1)
            before, term = term, following
            n += 1
        return h * g0, h * h * g1, h * h * h * g2
    if damping < 1.0:
        decay = math.exp(-damping * theta)
        angle = theta * root
        g0 = h * decay * math.sin(angle) / angle
        slope = decay * math.cos(angle) - damping * omega * g0
    else:
        slow = -theta / (damping + root)
        fast = -theta * (damping + root)
        gap = slow - fast
        divided = math.exp(slow) if gap == 0.0 else -math.exp(slow) * math.expm1(-gap) / gap
        g0 = h * divided
        if damping > 1.5:
            g1 = h * h * (phi1(slow) - phi1(fast)) / gap
            g2 = h * h * h * (phi2(slow) - phi2(fast)) / gap
            return g0, g1, g2
        slope = 0.5 * (math.exp(slow) + math.exp(fast)) - damping * omega * g0
    g1 = (1.0 - slope - 2.0 * damping * omega * g0) / (omega * omega)
    g2 = (h - g0 - 2.0 * damping * omega * g1) / (omega * omega)
    return g0, g1, g2


@compiled
def phi1(x):
    """Return (exp(x) - 1) / x."""
    return 1.0 if x == 0.0 else math.expm1(x) / x


@compiled
def phi2(x):
    """Return (exp(x) - 1 - x) / x²."""
    if abs(x) > 0.5:
        return (phi1(x) - 1.0) / x
    total, term = 0.0, 0.5
    for n in range(3, 18):
        total += term
        term *= x / n
    return total


@compiled
def step_coefficients(omega, damping, h):
    """Return (d, c, W00, W01, W10, W11, b_u, b_v) of one step: see the head of this module.

    u = W00 p + W01 q + b_u a and u' = W10 p + W11 q + b_v a at every sample; units of W and b: s² for u, s for u'.
    """
    theta = omega * h
    g0, g1, g2 = impulse_integrals(omega, damping, h)
    d = math.exp(-2.0 * damping * theta)
    root = math.sqrt(abs(1.0 - damping * damping))
    if damping < 1.0:
        c = math.expm1(-damping * theta) ** 2
        c += 4.0 * math.exp(-damping * theta) * math.sin(0.5 * theta * root) ** 2
    else:
        c = math.expm1(-theta / (damping + root)) * math.expm1(-theta * (damping + root))
    # I - A, without cancellation.
    m00 = omega * omega * g1
    m11 = m00 + 2.0 * damping * omega * g0
    a10 = -omega * omega * g0
    b_u, b_v = -g2 / h, -g1 / h
    c_u = (1.0 - m00) * b_u + g0 * b_v - (g1 - g2 / h)
    c_v = a10 * b_u + (1.0 - m11) * b_v - (g0 - g1 / h)
    w00 = m11 * c_u + g0 * c_v
    w10 = a10 * c_u + m00 * c_v
    return d, c, w00, c_u - w00, w10, c_v - w10, b_u, b_v


@compiled
def rest(w00, w01, w10, w11, b_u, b_v, a):
    """Return (p, q) for which u = u' = 0 while the ground already accelerates by `a`."""
    determinant = w00 * w11 - w01 * w10
    if abs(determinant) <= 1e-12 * (abs(w00 * w11) + abs(w01 * w10)):
        return 0.0, 0.0  # a step of just half periods: (p, q) and (u, u') then tell different things
    return (w01 * b_v - w11 * b_u) * a / determinant, (w10 * b_u - w00 * b_v) * a / determinant


@compiled
def taylor(r, slope, f, f_slope, theta_damping, theta, h, series):
    """Fill `series` with the terms of r(t) in powers of t/h, r'' + 2 z w r' + w² r = f + f_slope t; return how many.

    From r and r' = slope at t = 0; theta = w h, theta_damping = z w h.
    """
    twice, square = 2.0 * theta_damping, theta * theta
    series[0] = r
    series[1] = slope * h
    series[2] = 0.5 * (h * h * f - twice * series[1] - square * r)
    series[3] = (h * h * h * f_slope - 2.0 * twice * series[2] - square * series[1]) / 6.0
    scale = abs(series[0]) + abs(series[1]) + abs(series[2]) + abs(series[3])
    terms = 4
    while terms < series.size:
        n = terms - 2
        series[terms] = -(twice * (n + 1) * series[n + 1] + square * series[n]) * PER_STEP[n]
        terms += 1
        if abs(series[terms - 1]) + abs(series[terms - 2]) < 1e-18 * scale:
            break
    return terms


@compiled
def step_extremum(r, slope, f, f_slope, theta_damping, theta, h, slope_end):
    """Return |r| at the extremum inside one step, given that r' changes sign in it.

    r'' + 2 z w r' + w² r = f + f_slope t from r and r' = slope at the step's start. The solution is summed as a Taylor
    series in t/h and r' = 0 solved by Newton's method kept inside a bracket. Where the series would take too many
    terms, an oscillator that does not swing is followed in closed form; of one that does, such a step is longer than
    its period, and left to its two ends.
    """
    if theta + 2.0 * theta_damping > 6.0:
        if theta_damping < theta:
            return 0.0
        low, high, size = 0.0, h, 0.0
        for _ in range(60):
            t = 0.5 * (low + high)
            value, rate = within_step(t, r, slope, f, f_slope, theta_damping / h, theta / h)
            size = max(size, abs(value))
            if (rate > 0.0) == (slope > 0.0):
                low = t
            else:
                high = t
        return size
    series = np.empty(40)
    terms = taylor(r, slope, f, f_slope, theta_damping, theta, h, series)
    low, high = 0.0, 1.0
    x = slope / (slope - slope_end)
    for _ in range(30):
        first, second = 0.0, 0.0
        for i in range(terms - 1, 0, -1):
            second = second * x + first
            first = first * x + i * series[i]
        if (first > 0.0) == (slope > 0.0):
            low = x
        else:
            high = x
        following = x - first / second if second != 0.0 else low
        if not low < following < high:
            following = 0.5 * (low + high)
        if abs(following - x) < 1e-8:  # the next correction would be about the square of this, and r is flat here
            x = following
            break
        x = following
    value = 0.0
    for i in range(terms - 1, -1, -1):
        value = value * x + series[i]
    return abs(value)


@compiled
def within_step(t, r, slope, f, f_slope, omega_damping, omega):
    """Return r and r' a time t into a step, r'' + 2 z w r' + w² r = f + f_slope t from r and r' = slope."""
    g0, g1, g2 = impulse_integrals(omega, omega_damping / omega, t)
    load = f - omega * omega * r
    value = r + slope * g0 + load * g1 + f_slope * g2
    return value, slope * (1.0 - omega * omega * g1 - 2.0 * omega_damping * g0) + load * g0 + f_slope * g1


@compiled
def free_peak(r, slope, omega, damping):
    """Return the largest |r| of the free vibration r'' + 2 z w r' + w² r = 0 from r and r' = slope.

    r'² + 2 z w r r' + w² r² decays as exp(-2 z w t), so |r| at the first extremum follows from its time alone.
    """
    across = damping * omega * slope + omega * omega * r
    root = math.sqrt(abs(1.0 - damping * damping))
    if damping < 1.0:
        angle = math.atan2(slope * omega * root, across)
        if angle < 0.0:
            angle += math.pi
        time = angle / (omega * root)
    else:
        if across == 0.0:
            return abs(r)
        ratio = slope * omega / across
        if ratio <= 0.0 or ratio * root >= 1.0:
            return abs(r)
        time = (math.atanh(ratio * root) / root if root > 0.0 else ratio) / omega
    energy = (slope / omega) ** 2 + 2.0 * damping * r * slope / omega + r * r
    return max(abs(r), math.sqrt(max(energy, 0.0)) * math.exp(-damping * omega * time))


@compiled
def motion_of(row, u, v, a, a_slope, omega, damping):
    """Return (r, r', f, f') of u, u' or u'' + a, by `row`, at the start of a step."""
    twice = 2.0 * damping * omega
    square = omega * omega
    if row == DISPLACEMENT:
        return u, v, -a, -a_slope
    relative = -a - twice * v - square * u
    if row == VELOCITY:
        return v, relative, -a_slope, 0.0
    return -twice * v - square * u, -twice * relative - square * v, square * a + twice * a_slope, square * a_slope


displacement_steps, displacement_narrow, displacement_single = _lanes.step_displacement
all_steps, all_narrow, all_single = _lanes.step_all
pair_steps, pair_narrow, pair_single = _lanes.step_pair


@compiled
def advance(inputs, start, stop, fixed, state, tops):
    """Take all lanes from sample `start` to `stop`; raise `tops` to the |p| met on the way, `stop` not counted.

    The arrays are those of `_vector`; the number of lanes is a multiple of `LANES`.
    """
    lanes = state.shape[1]
    whole = lanes - lanes % (2 * LANES)
    k = start
    while k + STEPS <= stop:
        for j in range(0, whole, 2 * LANES):
            displacement_steps(inputs, k, fixed, state, tops, j)
        if whole < lanes:
            displacement_narrow(inputs, k, fixed, state, tops, whole)
        k += STEPS
    for i in range(k, stop):
        for j in range(0, lanes, LANES):
            displacement_single(inputs, i, fixed, state, tops, j)


@compiled
def advance_all(inputs, start, stop, fixed, state, tops):
    """`advance` that also keeps the largest |u'| and |u'' + a| at the samples."""
    lanes = state.shape[1]
    k = start
    while k + STEPS <= stop:
        for j in range(0, lanes, LANES):
            all_steps(inputs, k, fixed, state, tops, j)
        k += STEPS
    for i in range(k, stop):
        for j in range(0, lanes, LANES):
            all_single(inputs, i, fixed, state, tops, j)


@compiled
def advance_pair(inputs, start, stop, fixed, state, tops):
    """`advance` for two components at once, that keeps the largest |p1|, |p1 + p2|, |p2| and |p2 - p1|."""
    lanes = state.shape[1]
    k = start
    while k + STEPS <= stop:
        for j in range(0, lanes, LANES):
            pair_steps(inputs, k, fixed, state, tops, j)
        k += STEPS
    for i in range(k, stop):
        for j in range(0, lanes, LANES):
            pair_single(inputs, i, fixed, state, tops, j)


@compiled
def visit(row, acceleration, start, stop, p, q, w, omega, damping, h, kappa, best):
    """Return `best` raised to the largest |r| from sample `start` to `stop`, inside steps too."""
    d, c, w00, w01, w10, w11, b_u, b_v = w[0], w[1], w[2], w[3], w[4], w[5], w[6], w[7]
    theta = omega * h
    slack = 1.0 - kappa * omega * omega
    a = acceleration[start]
    u = w00 * p + w01 * q + b_u * a
    v = w10 * p + w11 * q + b_v * a
    r, slope, _, _ = motion_of(row, u, v, a, 0.0, omega, damping)
    if start == 0 and stop > 0 and row == DISPLACEMENT:
        slope = starting_speed(a if a != 0.0 else acceleration[1])
    best = max(best, abs(r))
    for k in range(start, stop):
        q = (d * q + a) - c * p
        p = p + q
        following = acceleration[k + 1]
        u_end = w00 * p + w01 * q + b_u * following
        v_end = w10 * p + w11 * q + b_v * following
        r_end, slope_end, _, _ = motion_of(row, u_end, v_end, following, 0.0, omega, damping)
        best = max(best, abs(r_end))
        if slope * slope_end < 0.0:
            r, _, f, f_slope = motion_of(row, u, v, a, (following - a) / h, omega, damping)
            reach = max(abs(r), abs(r_end)) + kappa * max(abs(f), abs(f + f_slope * h))
            if slack <= 0.0 or reach > best * slack:
                best = max(best, step_extremum(r, slope, f, f_slope, damping * theta, theta, h, slope_end))
        a, u, v, r, slope = following, u_end, v_end, r_end, slope_end
    return best


@compiled
def starting_speed(a):
    """Return next to nothing, of the sign of the velocity with which an oscillator leaves rest.

    At rest the velocity is nothing, and what rounding leaves of it says nothing of where the first step leads. `a` is
    the first acceleration that is not nothing.
    """
    return -1e-150 * a


@compiled
def step_bound(omega, damping, h):
    """Return k of the bound on an extremum inside a step; huge where the bound does not hold."""
    open_part = 1.0 - 2.0 * damping * omega * h
    if open_part <= 0.0 or h * h / 8.0 * omega * omega >= open_part:
        return 1e300  # not infinite: times nothing it shall be nothing
    return h * h / 8.0 / open_part


@compiled
def oscillators(omega, damping, h):
    """Return the oscillators filled up to whole vectors by repeating the last, and their constants.

    Returns
    -------
    omega, damping : array (lanes,)
    coefficient : array (8, lanes)
        What `step_coefficients` returns.
    fixed : array (8, lanes)
        d and c, and the factors of p, q and a in u' and in u'' + a; see `_vector`.
    """
    m = omega.size
    lanes = LANES * ((m + LANES - 1) // LANES)
    w, z = np.empty(lanes), np.empty(lanes)
    coefficient, fixed = np.empty((8, lanes)), np.empty((8, lanes))
    for j in range(lanes):
        w[j], z[j] = omega[min(j, m - 1)], damping[min(j, m - 1)]
        if j >= m:
            for i in range(8):
                coefficient[i, j], fixed[i, j] = coefficient[i, m - 1], fixed[i, m - 1]
            continue
        d, c, w00, w01, w10, w11, b_u, b_v = step_coefficients(w[j], z[j], h)
        coefficient[0, j], coefficient[1, j], coefficient[2, j], coefficient[3, j] = d, c, w00, w01
        coefficient[4, j], coefficient[5, j], coefficient[6, j], coefficient[7, j] = w10, w11, b_u, b_v
        twice, square = -2.0 * z[j] * w[j], -w[j] * w[j]
        fixed[0, j], fixed[1, j] = d, c
        fixed[2, j], fixed[3, j], fixed[4, j] = w10, w11, b_v
        fixed[5, j] = twice * w10 + square * w00
        fixed[6, j] = twice * w11 + square * w01
        fixed[7, j] = twice * b_v + square * b_u
    return w, z, coefficient, fixed


@compiled
def peaks(acceleration, h, omega, damping, out):
    """Largest |u|, and where there is room for them also |u'| and |u'' + a|, of many oscillators, ever.

    Parameters
    ----------
    acceleration : float64 array (n,)
        m/s², linear between samples, at rest before and zero after.
    h : float
        Step, s.
    omega, damping : float64 array (m,)
        rad/s, and the ratio to critical.
    out : float64 array (1, m) or (3, m)
        m; m, m/s and m/s². The first alone is a third of the work.
    """
    n, m, rows = acceleration.size, omega.size, out.shape[0]
    omega, damping, coefficient, fixed = oscillators(omega, damping, h)
    lanes = omega.size
    block = SHORTEST_BLOCK
    while n > FEW_BLOCKS * block and block < LONGEST_BLOCK:
        block *= 2
    blocks = (n + block - 1) // block
    kappa, limit = limits(rows, omega, damping, h, coefficient, fixed)
    state, states = np.empty((2, lanes)), np.empty((blocks, 2, lanes))
    for j in range(lanes):
        w = coefficient[:, j]
        state[0, j], state[1, j] = rest(w[2], w[3], w[4], w[5], w[6], w[7], acceleration[0])

    # First all samples, with what cannot be exceeded in each block of steps.
    inputs, tops, reach = acceleration.reshape((1, n)), np.empty((rows, lanes)), np.empty((blocks, rows, lanes))
    for b in range(blocks):
        # The last sample of all ends the last step: nothing is taken from it onwards.
        start, stop = b * block, min((b + 1) * block, n - 1)
        copy_into(states[b], state)
        tops[:] = 0.0
        if rows == 3:
            advance_all(inputs, start, stop, fixed, state, tops)
        else:
            advance(inputs, start, stop, fixed, state, tops)
        load, rate = loads(acceleration, start, stop, h)
        for row in range(rows):
            bound(tops[row], states[b, 1], state, acceleration[stop], load, rate, limit[row], reach[b, row])

    # Then the few blocks that may hold the peak, step by step. The most promising sets the bar, and the others fall.
    best, bar, where = np.empty(lanes), np.empty(lanes), np.empty(lanes, dtype=np.int64)
    for row in range(rows):
        farthest_reach(reach, row, where)
        bar[:] = np.inf  # for what only fills up a vector
        for j in range(m):
            best[j] = after_the_end(row, state[:, j], coefficient[:, j], acceleration[n - 1], omega[j], damping[j])
            b = where[j]
            best[j] = visit(
                row, acceleration, b * block, min((b + 1) * block, n - 1), states[b, 0, j], states[b, 1, j],
                coefficient[:, j], omega[j], damping[j], h, kappa[j], best[j],
            )  # fmt: skip
            bar[j] = best[j] * (1.0 - kappa[j] * omega[j] * omega[j])
        for b in range(blocks):
            if not any_beyond(reach[b, row], bar, where, b):
                continue
            for j in range(m):
                if reach[b, row, j] > bar[j] and b != where[j]:
                    best[j] = visit(
                        row, acceleration, b * block, min((b + 1) * block, n - 1), states[b, 0, j], states[b, 1, j],
                        coefficient[:, j], omega[j], damping[j], h, kappa[j], best[j],
                    )  # fmt: skip
                    bar[j] = best[j] * (1.0 - kappa[j] * omega[j] * omega[j])
        for j in range(m):
            out[row, j] = best[j]


@compiled
def copy_into(there, values):
    """Copy a table; a loop, since assigning to a slice compiles for seconds."""
    for i in range(values.shape[0]):
        for j in range(values.shape[1]):
            there[i, j] = values[i, j]


@compiled
def loads(acceleration, start, stop, h):
    """Return the largest |a| (m/s²) and |a'| (m/s³) in the steps from sample `start` to `stop`."""
    load, change = abs(acceleration[start]), 0.0
    for k in range(start, stop):
        load = max(load, abs(acceleration[k + 1]))
        change = max(change, abs(acceleration[k + 1] - acceleration[k]))
    return load, change / h


@compiled
def limits(rows, omega, damping, h, coefficient, fixed):
    """Return by row and oscillator what bounds a block of steps; see the head of this module.

    Returns
    -------
    kappa : array (lanes,)
        k; infinite where no bound holds.
    limit : array (rows, 7, lanes)
        The factors of p, q and a in what `tops` keeps of the row; those of its largest size M, of the block's first
        |q|, of the largest |a| and of the largest |a'| in M + k F.
    """
    lanes = omega.size
    kappa, limit = np.empty(lanes), np.zeros((rows, 7, lanes))
    for j in range(lanes):
        w, z = omega[j], damping[j]
        k = step_bound(w, z, h)
        kappa[j] = k
        # u = W00 p + W01 q + b_u a, where W01 is small, and a step's q is the difference of two p.
        limit[0, 0, j] = 1.0
        limit[0, 3, j] = abs(coefficient[2, j]) + 2.0 * abs(coefficient[3, j])
        limit[0, 4, j] = abs(coefficient[3, j])
        limit[0, 5, j] = abs(coefficient[6, j]) + k
        if rows == 3:
            for i in range(3):
                limit[1, i, j], limit[2, i, j] = fixed[2 + i, j], fixed[5 + i, j]
            limit[1, 3, j], limit[1, 6, j] = 1.0, k
            limit[2, 3, j], limit[2, 5, j], limit[2, 6, j] = 1.0, k * w * w, 2.0 * k * z * w
    return kappa, limit


@compiled
def bound(top, q_start, state, a_end, load, rate, limit, reach):
    """Fill `reach` with M + k F of a block of steps, over all lanes.

    `top` holds the largest sizes at its samples but the last, `q_start` and `state` are what it began and ended with,
    `load` and `rate` its largest |a| and |a'|.
    """
    p, q, of_p, of_q, of_a = state[0], state[1], limit[0], limit[1], limit[2]
    for j in range(top.size):
        end = abs(of_p[j] * p[j] + of_q[j] * q[j] + of_a[j] * a_end)
        reach[j] = top[j] if top[j] > end else end
    of_size, of_q_start, of_load, of_rate = limit[3], limit[4], limit[5], limit[6]
    for j in range(top.size):
        more = of_q_start[j] * abs(q_start[j]) + of_load[j] * load + of_rate[j] * rate
        reach[j] = of_size[j] * reach[j] + more


@compiled
def farthest_reach(reach, row, where):
    """Fill `where` with the block that reaches farthest, for each lane."""
    largest = np.full(where.size, -1.0)
    for b in range(reach.shape[0]):
        for j in range(where.size):
            where[j] = b if reach[b, row, j] > largest[j] else where[j]
            largest[j] = reach[b, row, j] if reach[b, row, j] > largest[j] else largest[j]


@compiled
def any_beyond(reach, bar, where, b):
    """Say whether any lane reaches beyond its bar in block `b`, other than those that were there first."""
    beyond = 0
    for j in range(bar.size):
        beyond += (reach[j] > bar[j]) & (where[j] != b)
    return beyond > 0


@compiled
def after_the_end(row, state, w, a, omega, damping):
    """Return the largest |r| of the free vibration that follows the last sample, where the ground comes to a stand."""
    p, q = state[0], state[1]
    u, v = w[2] * p + w[3] * q + w[6] * a, w[4] * p + w[5] * q + w[7] * a
    r, slope, _, _ = motion_of(row, u, v, 0.0, 0.0, omega, damping)
    return max(abs(r), free_peak(r, slope, omega, damping))


@compiled
def histories(acceleration, h, omega, damping, u, v):
    """Fill `u` (m) and `v` (m/s), shape (n,), with one oscillator's motion at the samples, from rest."""
    d, c, w00, w01, w10, w11, b_u, b_v = step_coefficients(omega, damping, h)
    p, q = rest(w00, w01, w10, w11, b_u, b_v, acceleration[0])
    for k in range(acceleration.size):
        a = acceleration[k]
        u[k] = w00 * p + w01 * q + b_u * a
        v[k] = w10 * p + w11 * q + b_v * a
        q = (d * q + a) - c * p
        p = p + q
