"""The compiled loop of the location: how well places explain the arrivals, with every shared error integrated out.

Observed times are o = t(x) + U b + e. The columns of U hold what all arrivals share: origin time, a delay of all S,
an error of slowness in proportion to travel time, one of S alone, and two of slowness towards east and towards north.
e has a block for each station: errors of its picks, and a delay that its P and S share. With Gaussian priors on b (none
on the origin time) the likelihood of a place is

    -1/2 (r'Mr - r'MU (U'MU + P)^-1 U'Mr) - 1/2 (log det C + log det (U'MU + P)),    r = o - t(x), M = C^-1,

where P holds the inverse prior variances (Tarantola & Valette, 1982, for the origin time; the rest is alike).
An offset of one station's clock, or of its arrivals, is a further column: a rank-one or rank-two update.

Tarantola, A. and Valette, B. (1982). Inverse problems = quest for information. Journal of Geophysics 50, 159-170.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..foundation.compiling import compiled

__all__ = ["evaluate"]

Floats = NDArray[np.float64]

SHARED = 6
"""Errors that all arrivals share: the columns of U."""


def evaluate(
    points: Floats, stations: Floats, table: Floats, axes: Floats, budget: Floats, scales: Floats
) -> tuple[Floats, Floats]:
    """Return the log likelihood of places under each hypothesis, and mean and variance of the origin time.

    Parameters
    ----------
    points : ndarray, shape (n, 3)
        East, north and depth, km.
    stations : ndarray, shape (m, 10)
        East, north, P and S (NaN where missing), their variances, 1 where the clock counts, where a wrong clock is
        tried, and where wrong arrivals are, and the height above the model's top, km.
    table : ndarray, shape (4, depths, distances)
        Mean slowness of P and S, and vertical slowness at the station of P and S, s/km, on uniform steps of
        log(1 + distance / bend) and log(1 + depth / bend).
    axes : ndarray, shape (3,)
        bend, km, and the steps of depth and distance.
    budget : ndarray, shape (11,)
        Standard errors of the common S delay (s), slowness, S slowness, error in proportion to travel time, and cell
        size over velocity (s); ratio of S to P delay; log prior and spread (s) of a wrong clock, and of wrong arrivals;
        standard error of slowness from one side to the other.
    scales : ndarray, shape (k, 2)
        Standard error of a station's delay, s, and the log of its weight.

    Returns
    -------
    logs : ndarray, shape (n, 1 + 2 m)
        All arrivals right; a wrong clock at each station; wrong arrivals at each station.
    origin : ndarray, shape (n, 2)
    """
    logs = np.full((len(points), 1 + 2 * len(stations)), -np.inf)
    origin = np.zeros((len(points), 2))
    _evaluate(np.ascontiguousarray(points), np.ascontiguousarray(stations), table, axes, budget, scales, logs, origin)
    return logs, origin


@compiled
def _times(east: float, north: float, depth: float, stations: Any, table: Any, axes: Any, times: Any) -> None:
    """Fill the travel times of P and S to each station by bilinear interpolation of the mean slowness."""
    bend, step_z, step_x = axes[0], axes[1], axes[2]
    w = math.log(1.0 + depth / bend) / step_z
    k = min(int(w), table.shape[1] - 2)
    w -= k
    for i in range(len(stations)):
        apart = math.hypot(stations[i, 0] - east, stations[i, 1] - north)
        u = math.log(1.0 + apart / bend) / step_x
        j = min(int(u), table.shape[2] - 2)
        u -= j
        slant = math.hypot(apart, depth)
        for phase in range(2):
            upper = table[phase, k, j] * (1 - u) + table[phase, k, j + 1] * u
            lower = table[phase, k + 1, j] * (1 - u) + table[phase, k + 1, j + 1] * u
            times[i, phase] = slant * (upper * (1 - w) + lower * w)
            if stations[i, 9] != 0.0:
                upper = table[2 + phase, k, j] * (1 - u) + table[2 + phase, k, j + 1] * u
                lower = table[2 + phase, k + 1, j] * (1 - u) + table[2 + phase, k + 1, j + 1] * u
                times[i, phase] += stations[i, 9] * (upper * (1 - w) + lower * w)


@compiled
def _inverse(normal: Any, inverse: Any) -> float:
    """Invert a positive definite matrix of `SHARED` rows by Cholesky; return the log of its determinant."""
    lower = np.zeros((SHARED, SHARED))
    log_det = 0.0
    for i in range(SHARED):
        for j in range(i + 1):
            total = normal[i, j]
            for k in range(j):
                total -= lower[i, k] * lower[j, k]
            lower[i, j] = math.sqrt(max(total, 1e-300)) if i == j else total / lower[j, j]
        log_det += 2.0 * math.log(lower[i, i])
    root = np.zeros((SHARED, SHARED))
    for i in range(SHARED):
        root[i, i] = 1.0 / lower[i, i]
        for j in range(i):
            total = 0.0
            for k in range(j, i):
                total -= lower[i, k] * root[k, j]
            root[i, j] = total / lower[i, i]
    for i in range(SHARED):
        for j in range(SHARED):
            total = 0.0
            for k in range(max(i, j), SHARED):
                total += root[k, i] * root[k, j]
            inverse[i, j] = total
    return log_det


@compiled
def _evaluate(
    points: Any, stations: Any, table: Any, axes: Any, budget: Any, scales: Any, logs: Any, origin: Any
) -> None:
    m = len(stations)
    times = np.zeros((m, 2))
    residual = np.zeros((m, 2))
    precision = np.zeros((m, 3))
    columns = np.zeros((2, SHARED))
    weighed = np.zeros((m, 2, SHARED))  # M U, a row for each arrival
    normal, inverse = np.zeros((SHARED, SHARED)), np.zeros((SHARED, SHARED))
    right, solved, turned = np.zeros(SHARED), np.zeros(SHARED), np.zeros((2, SHARED))
    common, slow, slow_s, growth, cell, ratio = budget[0], budget[1], budget[2], budget[3], budget[4], budget[5]
    sideways = budget[10]
    for c in range(len(points)):
        _times(points[c, 0], points[c, 1], points[c, 2], stations, table, axes, times)
        top, sum_w, sum_t, sum_tt = -np.inf, 0.0, 0.0, 0.0
        for scale in range(len(scales)):
            quadratic, log_det = 0.0, 0.0
            normal[:] = 0.0
            right[:] = 0.0
            for i in range(m):
                has_p, has_s = not math.isnan(stations[i, 2]), not math.isnan(stations[i, 3])
                timed = stations[i, 6] > 0.5
                delay = scales[scale, 0] ** 2 + (growth * times[i, 0]) ** 2
                var_p = stations[i, 4] + delay + cell**2
                var_s = stations[i, 5] + ratio**2 * (delay + cell**2)
                both = ratio * delay
                rp = stations[i, 2] - times[i, 0] if has_p else 0.0
                rs = stations[i, 3] - times[i, 1] if has_s else 0.0
                mpp, mps, mss = 0.0, 0.0, 0.0
                if has_p and has_s and timed:
                    det = var_p * var_s - both**2
                    mpp, mps, mss = var_s / det, -both / det, var_p / det
                    log_det += math.log(det)
                elif has_p and has_s:
                    lag = var_p + var_s - 2.0 * both
                    mpp, mps, mss = 1.0 / lag, -1.0 / lag, 1.0 / lag
                    log_det += math.log(lag)
                elif has_p and timed:
                    mpp = 1.0 / var_p
                    log_det += math.log(var_p)
                elif has_s and timed:
                    mss = 1.0 / var_s
                    log_det += math.log(var_s)
                precision[i, 0], precision[i, 1], precision[i, 2] = mpp, mps, mss
                residual[i, 0], residual[i, 1] = rp, rs
                columns[0, 0], columns[0, 1], columns[0, 2], columns[0, 3] = 1.0, 0.0, slow * times[i, 0], 0.0
                columns[1, 0], columns[1, 1] = 1.0, common
                columns[1, 2], columns[1, 3] = slow * times[i, 1], slow_s * times[i, 1]
                east, north = stations[i, 0] - points[c, 0], stations[i, 1] - points[c, 1]
                apart = max(math.hypot(east, north), 1e-6)
                for phase in range(2):
                    columns[phase, 4] = sideways * times[i, phase] * east / apart
                    columns[phase, 5] = sideways * times[i, phase] * north / apart
                mrp, mrs = mpp * rp + mps * rs, mps * rp + mss * rs
                quadratic += rp * mrp + rs * mrs
                for a in range(SHARED):
                    weighed[i, 0, a] = mpp * columns[0, a] + mps * columns[1, a]
                    weighed[i, 1, a] = mps * columns[0, a] + mss * columns[1, a]
                    right[a] += columns[0, a] * mrp + columns[1, a] * mrs
                for a in range(SHARED):
                    for b in range(a + 1):
                        normal[a, b] += columns[0, a] * weighed[i, 0, b] + columns[1, a] * weighed[i, 1, b]
            normal[0, 0] += 1e-10  # no clock at all: the origin time is anything
            for a in range(1, SHARED):
                normal[a, a] += 1.0
            for a in range(SHARED):
                for b in range(a):
                    normal[b, a] = normal[a, b]
            log_det += _inverse(normal, inverse)
            for a in range(SHARED):
                solved[a] = 0.0
                for b in range(SHARED):
                    solved[a] += inverse[a, b] * right[b]
                quadratic -= solved[a] * right[a]
            base = scales[scale, 1] - 0.5 * quadratic - 0.5 * log_det
            for h in range(1 + 2 * m):
                value, moved, spread = base, 0.0, 0.0
                if h > 0:
                    i = (h - 1) % m
                    if stations[i, 7 if h <= m else 8] < 0.5:
                        continue
                    mpp, mps, mss = precision[i, 0], precision[i, 1], precision[i, 2]
                    timed = stations[i, 6] > 0.5
                    both_there = mps != 0.0
                    # What remains of the residual once the shared errors are taken out, and its precision.
                    alpha_p = mpp * residual[i, 0] + mps * residual[i, 1]
                    alpha_s = mps * residual[i, 0] + mss * residual[i, 1]
                    for a in range(SHARED):
                        alpha_p -= weighed[i, 0, a] * solved[a]
                        alpha_s -= weighed[i, 1, a] * solved[a]
                        turned[0, a] = 0.0
                        turned[1, a] = 0.0
                        for b in range(SHARED):
                            turned[0, a] += inverse[a, b] * weighed[i, 0, b]
                            turned[1, a] += inverse[a, b] * weighed[i, 1, b]
                    app, aps, ass = mpp, mps, mss
                    for a in range(SHARED):
                        app -= weighed[i, 0, a] * turned[0, a]
                        aps -= weighed[i, 0, a] * turned[1, a]
                        ass -= weighed[i, 1, a] * turned[1, a]
                    if h <= m:
                        if not (timed and both_there):
                            continue
                        wide = budget[7] ** 2
                        alpha, gamma = alpha_p + alpha_s, max(app + 2 * aps + ass, 0.0)
                        offset = alpha * wide / (1.0 + wide * gamma)
                        value += budget[6] - 0.5 * math.log(1.0 + wide * gamma) + 0.5 * alpha * offset
                        turn = turned[0, 0] + turned[1, 0]
                        moved, spread = -turn * offset, turn**2 * wide / (1.0 + wide * gamma)
                    else:
                        if mpp == 0.0 and mss == 0.0:
                            continue
                        narrow = 1.0 / budget[9] ** 2
                        if both_there and timed:
                            bpp, bss = app + narrow, ass + narrow
                            det = bpp * bss - aps**2
                            offset_p = (bss * alpha_p - aps * alpha_s) / det
                            offset_s = (bpp * alpha_s - aps * alpha_p) / det
                            value += budget[8] - 0.5 * math.log(det / narrow**2)
                            value += 0.5 * (alpha_p * offset_p + alpha_s * offset_s)
                            moved = -turned[0, 0] * offset_p - turned[1, 0] * offset_s
                        elif mss == 0.0 or both_there:
                            offset_p = alpha_p / (app + narrow)
                            value += budget[8] - 0.5 * math.log((app + narrow) / narrow) + 0.5 * alpha_p * offset_p
                            moved = -turned[0, 0] * offset_p
                        else:
                            offset_s = alpha_s / (ass + narrow)
                            value += budget[8] - 0.5 * math.log((ass + narrow) / narrow) + 0.5 * alpha_s * offset_s
                            moved = -turned[1, 0] * offset_s
                if value < top - 25.0:
                    continue
                high, low = max(logs[c, h], value), min(logs[c, h], value)
                logs[c, h] = high + math.log1p(math.exp(low - high)) if low > -np.inf else high
                if value > top:
                    shrink = math.exp(top - value)
                    sum_w, sum_t, sum_tt, top = sum_w * shrink, sum_t * shrink, sum_tt * shrink, value
                w = math.exp(value - top)
                t = solved[0] + moved
                sum_w += w
                sum_t += w * t
                sum_tt += w * (t * t + inverse[0, 0] + spread)
        mean = sum_t / sum_w
        origin[c, 0] = mean
        origin[c, 1] = max(sum_tt / sum_w - mean * mean, 0.0)
