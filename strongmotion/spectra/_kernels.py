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
from collections.abc import Callable
from typing import Any

import numba
import numpy as np

__all__ = ["compiled", "histories", "peaks", "rotated_peaks", "step_coefficients"]

BLOCK = 64
"""Samples in a block: the unit in which the search for an extremum inside a step is narrowed down."""

UNROLL = 8
"""Steps taken in registers before a lane goes back to memory; divides BLOCK."""

DISPLACEMENT, VELOCITY, ACCELERATION = 0, 1, 2


def compiled(function: Callable[..., Any], fastmath: set[str] | bool = False) -> Callable[..., Any]:
    """Compile with Numba, without the lock, and keep the machine code on disk where a disk lets us."""
    options: dict[str, Any] = {"nogil": True, "fastmath": fastmath, "error_model": "numpy"}
    try:
        return numba.njit(cache=True, **options)(function)
    except RuntimeError:  # Numba found no folder it may write its cache to
        return numba.njit(**options)(function)


def compiled_fused(function: Callable[..., Any]) -> Callable[..., Any]:
    """Compile with multiplications and additions fused: for inner loops that call nothing.

    Where functions call each other, what is fused depends on how the compiler happened to inline them, and that differs
    between code compiled afresh and code from the cache: the same input would not give the same bits.
    """
    return compiled(function, {"contract"})


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
        before, term = 0.0, 1.0
        for n in range(1, 40):
            # The nth derivative of g0 at 0, times h^(n-1) / n!
            g0 += term
            g1 += term / (n + 1)
            g2 += term / ((n + 1) * (n + 2))
            following = -(2.0 * damping * theta * term + theta * theta * before / n) / (n + 1)
            before, term = term, following
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
def step_extremum(r, slope, f, f_slope, theta_damping, theta, h, slope_end):
    """Return |r| at the extremum inside one step, given that r' changes sign in it.

    r'' + 2 z w r' + w² r = f + f_slope t from r and r' = slope at the step's start. The solution is summed as a Taylor
    series in t/h and r' = 0 solved by Newton's method kept inside a bracket. A step much longer than the oscillator's
    period is left to its two ends.
    """
    if theta + 2.0 * theta_damping > 6.0:
        return 0.0
    series = np.empty(40)
    series[0] = r
    series[1] = slope * h
    series[2] = 0.5 * (h * h * f - 2.0 * theta_damping * series[1] - theta * theta * r)
    series[3] = (h * h * h * f_slope - 4.0 * theta_damping * series[2] - theta * theta * series[1]) / 6.0
    scale = abs(series[0]) + abs(series[1]) + abs(series[2]) + abs(series[3])
    terms = 4
    while terms < 40:
        n = terms - 2
        series[terms] = -(2.0 * theta_damping * (n + 1) * series[n + 1] + theta * theta * series[n]) / (
            (n + 1) * (n + 2)
        )
        terms += 1
        if abs(series[terms - 1]) + abs(series[terms - 2]) < 1e-18 * scale:
            break
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
        if abs(following - x) < 1e-9:  # r is flat here: its own error is the square of this
            x = following
            break
        x = following
    value = 0.0
    for i in range(terms - 1, -1, -1):
        value = value * x + series[i]
    return abs(value)


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


@compiled_fused
def advance(acceleration, start, stop, d, c, p, q, largest):
    """Take all lanes from sample `start` to `stop`; raise `largest` to the |p| met on the way, `stop` not counted."""
    lanes = p.size
    k = start
    while k + UNROLL <= stop:
        for j in range(lanes):
            dj, cj, pj, qj, top = d[j], c[j], p[j], q[j], largest[j]
            for i in range(UNROLL):
                size = abs(pj)
                top = size if size > top else top
                qj = (dj * qj + acceleration[k + i]) - cj * pj
                pj = pj + qj
            p[j] = pj
            q[j] = qj
            largest[j] = top
        k += UNROLL
    for i in range(k, stop):
        for j in range(lanes):
            size = abs(p[j])
            largest[j] = size if size > largest[j] else largest[j]
            q[j] = (d[j] * q[j] + acceleration[i]) - c[j] * p[j]
            p[j] = p[j] + q[j]


@compiled_fused
def advance_all(acceleration, start, stop, d, c, v_rows, s_rows, p, q, largest, v_largest, s_largest):
    """`advance` that also keeps the largest |u'| and |u'' + a| at the samples."""
    lanes = p.size
    vp, vq, va = v_rows[0], v_rows[1], v_rows[2]
    sp, sq, sa = s_rows[0], s_rows[1], s_rows[2]
    k = start
    while k < stop:
        steps = UNROLL if k + UNROLL <= stop else 1
        if steps == UNROLL:
            for j in range(lanes):
                dj, cj, pj, qj = d[j], c[j], p[j], q[j]
                top, v_top, s_top = largest[j], v_largest[j], s_largest[j]
                for i in range(UNROLL):
                    a = acceleration[k + i]
                    size = abs(pj)
                    top = size if size > top else top
                    size = abs(vp[j] * pj + vq[j] * qj + va[j] * a)
                    v_top = size if size > v_top else v_top
                    size = abs(sp[j] * pj + sq[j] * qj + sa[j] * a)
                    s_top = size if size > s_top else s_top
                    qj = (dj * qj + a) - cj * pj
                    pj = pj + qj
                p[j], q[j] = pj, qj
                largest[j], v_largest[j], s_largest[j] = top, v_top, s_top
        else:
            a = acceleration[k]
            for j in range(lanes):
                largest[j] = max(largest[j], abs(p[j]))
                v_largest[j] = max(v_largest[j], abs(vp[j] * p[j] + vq[j] * q[j] + va[j] * a))
                s_largest[j] = max(s_largest[j], abs(sp[j] * p[j] + sq[j] * q[j] + sa[j] * a))
                q[j] = (d[j] * q[j] + a) - c[j] * p[j]
                p[j] = p[j] + q[j]
        k += steps


@compiled
def visit(row, acceleration, start, stop, p, q, w, omega, damping, h, kappa, best):
    """Return `best` raised to the largest |r| from sample `start` to `stop`, inside steps too."""
    d, c, w00, w01, w10, w11, b_u, b_v = w
    theta = omega * h
    slack = 1.0 - kappa * omega * omega
    a = acceleration[start]
    u = w00 * p + w01 * q + b_u * a
    v = w10 * p + w11 * q + b_v * a
    r, slope, _, _ = motion_of(row, u, v, a, 0.0, omega, damping)
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
            r, slope, f, f_slope = motion_of(row, u, v, a, (following - a) / h, omega, damping)
            reach = max(abs(r), abs(r_end)) + kappa * max(abs(f), abs(f + f_slope * h))
            if slack <= 0.0 or reach > best * slack:
                best = max(best, step_extremum(r, slope, f, f_slope, damping * theta, theta, h, slope_end))
        a, u, v, r, slope = following, u_end, v_end, r_end, slope_end
    return best


@compiled
def step_bound(omega, damping, h):
    """Return k of the bound on an extremum inside a step; infinite where the bound does not hold."""
    open_part = 1.0 - 2.0 * damping * omega * h
    if open_part <= 0.0 or h * h / 8.0 * omega * omega >= open_part:
        return np.inf
    return h * h / 8.0 / open_part


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
        m; m, m/s and m/s². The first alone is a third of the work. Best m is a multiple of 8, to fill vector registers.
    """
    n, lanes = acceleration.size, omega.size
    blocks = (n + BLOCK - 1) // BLOCK
    rows = out.shape[0]
    loads = block_loads(acceleration, h)
    coefficient = np.empty((8, lanes))
    for j in range(lanes):
        w = step_coefficients(omega[j], damping[j], h)
        for i in range(8):
            coefficient[i, j] = w[i]
    # By index, not by unpacking: Numba then knows the rows for contiguous, and fills vector registers.
    d, c, w00, w01 = coefficient[0], coefficient[1], coefficient[2], coefficient[3]
    w10, w11, b_u, b_v = coefficient[4], coefficient[5], coefficient[6], coefficient[7]
    v_rows, s_rows = coefficient[4:7].copy(), coefficient[4:7].copy()
    for j in range(lanes):
        v_rows[0, j], v_rows[1, j], v_rows[2, j] = w10[j], w11[j], b_v[j]
        twice, square = -2.0 * damping[j] * omega[j], -omega[j] * omega[j]
        s_rows[0, j] = twice * w10[j] + square * w00[j]
        s_rows[1, j] = twice * w11[j] + square * w01[j]
        s_rows[2, j] = twice * b_v[j] + square * b_u[j]

    states = np.empty((blocks + 1, 2, lanes))
    tops = np.zeros((rows, blocks, lanes))
    p, q = np.empty(lanes), np.empty(lanes)
    for j in range(lanes):
        p[j], q[j] = rest(w00[j], w01[j], w10[j], w11[j], b_u[j], b_v[j], acceleration[0])
    for b in range(blocks):
        # The last sample of all ends the last step: nothing is taken from it onwards.
        start, stop = b * BLOCK, min((b + 1) * BLOCK, n - 1)
        states[b, 0, :] = p
        states[b, 1, :] = q
        if rows == 3:
            advance_all(
                acceleration, start, stop, d, c, v_rows, s_rows, p, q,
                tops[0, b], tops[1, b], tops[2, b],
            )  # fmt: skip
        else:
            advance(acceleration, start, stop, d, c, p, q, tops[0, b])
    states[blocks, 0, :] = p
    states[blocks, 1, :] = q

    kappa, slack, best, bar = np.empty(lanes), np.empty(lanes), np.empty(lanes), np.empty(lanes)
    largest, reach, where = np.empty(lanes), np.empty(lanes), np.empty(lanes, dtype=np.int64)
    for j in range(lanes):
        kappa[j] = step_bound(omega[j], damping[j], h)
        slack[j] = 1.0 - kappa[j] * omega[j] * omega[j]
    for row in range(rows):
        # The block with the largest sample first: it sets the bar, and most others fall to the bound.
        largest[:] = -1.0
        for b in range(blocks):
            top = tops[row, b]
            for j in range(lanes):
                where[j] = b if top[j] > largest[j] else where[j]
                largest[j] = top[j] if top[j] > largest[j] else largest[j]
        for turn in range(blocks + 1):
            if turn > 0:
                bound_block(
                    row, tops[row, turn - 1], states[turn - 1], states[turn],
                    acceleration[min(turn * BLOCK, n - 1)], loads[0, turn - 1], loads[1, turn - 1],
                    coefficient, v_rows, s_rows, omega, damping, kappa, reach,
                )  # fmt: skip
            for j in range(lanes):
                b = turn - 1
                if turn == 0:
                    b = where[j]
                    last = acceleration[n - 1]
                    u = w00[j] * p[j] + w01[j] * q[j] + b_u[j] * last
                    v = w10[j] * p[j] + w11[j] * q[j] + b_v[j] * last
                    # After the last sample the ground is still; u and u' go on from where they are.
                    r, slope, _, _ = motion_of(row, u, v, 0.0, 0.0, omega[j], damping[j])
                    best[j] = max(abs(r), free_peak(r, slope, omega[j], damping[j]))
                elif reach[j] <= bar[j] or b == where[j]:
                    continue
                w = (
                    d[j], c[j], w00[j], w01[j], w10[j], w11[j], b_u[j], b_v[j],
                )  # fmt: skip
                best[j] = visit(
                    row, acceleration, b * BLOCK, min((b + 1) * BLOCK, n - 1), states[b, 0, j], states[b, 1, j],
                    w, omega[j], damping[j], h, kappa[j], best[j],
                )  # fmt: skip
                bar[j] = best[j] * slack[j] if slack[j] > 0.0 else -1.0
        out[row, :] = best


@compiled
def bound_block(
    row, top, state, state_end, a_end, load, rate, coefficient, v_rows, s_rows, omega, damping, kappa, reach
):
    """Fill `reach` with M + k F of a block, over all lanes; see the head of this module.

    `top` holds the largest |p|, |u'| or |s| at its samples but the last, `load` and `rate` its largest |a| and |a'|.
    """
    lanes = omega.size
    p, q = state_end[0], state_end[1]
    if row == DISPLACEMENT:
        # u = W00 p + W01 q + b_u a, where W01 is small, and a step's q is the difference of two p.
        w00, w01, b_u, q_start = coefficient[2], coefficient[3], coefficient[6], state[1]
        for j in range(lanes):
            p_top = max(top[j], abs(p[j]))
            q_top = max(2.0 * p_top, abs(q_start[j]))
            reach[j] = abs(w00[j]) * p_top + abs(w01[j]) * q_top + (abs(b_u[j]) + kappa[j]) * load
        return
    rows = v_rows if row == VELOCITY else s_rows
    for j in range(lanes):
        force = rate if row == VELOCITY else omega[j] * (omega[j] * load + 2.0 * damping[j] * rate)
        end = abs(rows[0, j] * p[j] + rows[1, j] * q[j] + rows[2, j] * a_end)
        reach[j] = max(top[j], end) + kappa[j] * force


@compiled
def block_loads(acceleration, h):
    """Return the largest |a| (m/s²) and |a'| (m/s³) in the steps of each block, shape (2, blocks)."""
    n = acceleration.size
    blocks = (n + BLOCK - 1) // BLOCK
    loads = np.zeros((2, blocks))
    for b in range(blocks):
        before = acceleration[b * BLOCK]
        load, change = abs(before), 0.0
        for k in range(b * BLOCK, min((b + 1) * BLOCK, n - 1)):
            following = acceleration[k + 1]
            load = max(load, abs(following))
            change = max(change, abs(following - before))
            before = following
        loads[0, b], loads[1, b] = load, change / h
    return loads


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


@compiled
def rotated_peaks(a1, a2, h, omega, damping, out):
    """Largest |u| ever of many oscillators, of the motion turned by equal angles that fill half a turn.

    Parameters
    ----------
    a1, a2 : float64 array (n,)
        Two horizontal accelerations, m/s².
    h : float
        Step, s.
    omega, damping : float64 array (m,)
    out : float64 array (angles, m)
        Displacement of cos(x) u1 + sin(x) u2, m, for x = pi i / angles.
    """
    n, angles = a1.size, out.shape[0]
    turn = np.arange(angles) * (math.pi / angles)
    cosine, sine, best = np.cos(turn), np.sin(turn), np.empty(angles)
    u1, v1, u2, v2 = np.empty(n), np.empty(n), np.empty(n), np.empty(n)
    radius = np.empty(n)
    load = np.empty(n)
    for k in range(n):
        load[k] = math.sqrt(a1[k] * a1[k] + a2[k] * a2[k])
    for j in range(omega.size):
        w, z = omega[j], damping[j]
        histories(a1, h, w, z, u1, v1)
        histories(a2, h, w, z, u2, v2)
        widest = 0
        for k in range(n):
            radius[k] = math.sqrt(u1[k] * u1[k] + u2[k] * u2[k])
            if radius[k] > radius[widest]:
                widest = k
        # The free vibration after the end, and the widest sample, are the first to beat.
        for i in range(angles):
            r = cosine[i] * u1[n - 1] + sine[i] * u2[n - 1]
            slope = cosine[i] * v1[n - 1] + sine[i] * v2[n - 1]
            best[i] = max(free_peak(r, slope, w, z), abs(cosine[i] * u1[widest] + sine[i] * u2[widest]))
        least = best.min()
        for k in range(n):
            # No projection of a point exceeds its radius.
            if radius[k] > least:
                for i in range(angles):
                    size = abs(cosine[i] * u1[k] + sine[i] * u2[k])
                    best[i] = size if size > best[i] else best[i]
                least = best.min()
        kappa = step_bound(w, z, h)
        slack = 1.0 - kappa * w * w
        for k in range(n - 1):
            force = kappa * max(load[k], load[k + 1])
            if slack > 0.0 and max(radius[k], radius[k + 1]) + force <= least * slack:
                continue
            for i in range(angles):
                slope = cosine[i] * v1[k] + sine[i] * v2[k]
                slope_end = cosine[i] * v1[k + 1] + sine[i] * v2[k + 1]
                if slope * slope_end >= 0.0:
                    continue
                r = cosine[i] * u1[k] + sine[i] * u2[k]
                r_end = cosine[i] * u1[k + 1] + sine[i] * u2[k + 1]
                if slack > 0.0 and max(abs(r), abs(r_end)) + force <= best[i] * slack:
                    continue
                a = cosine[i] * a1[k] + sine[i] * a2[k]
                a_slope = (cosine[i] * a1[k + 1] + sine[i] * a2[k + 1] - a) / h
                best[i] = max(best[i], step_extremum(r, slope, -a, -a_slope, z * w * h, w * h, h, slope_end))
        out[:, j] = best
