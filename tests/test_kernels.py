"""The compiled kernels on their own, at the points where formulas go singular."""

from __future__ import annotations

import mpmath
import numpy as np
import pytest
from scipy.signal import lfilter

from strongmotion.spectra import _kernels

DAMPINGS = [0.0, 1e-6, 0.05, 0.5, 0.999, 1 - 1e-12, 1.0, 1 + 1e-12, 1.2, 1.6, 3.0, 10.0]
ANGLES = [1e-6, 3e-5, 1e-3, 0.1, 0.5, 1.4, 1.6, 3.0, 10.0]
"""w h: an oscillator of 30 000 s to one of h/1.6, if h is 0.005 s."""


def exact_step(omega, damping, h):
    """A, B0 and B1 by the exponential of the whole system's matrix in fifty digits."""
    with mpmath.workdps(50):
        omega, damping, h = map(mpmath.mpf, (omega, damping, h))
        system = mpmath.matrix(4, 4)
        system[0, 1], system[1, 0], system[1, 1] = 1, -(omega**2), -2 * damping * omega
        system[1, 2], system[2, 3] = -1, 1 / h
        step = mpmath.expm(system * h)
        return step[:2, :2], step[:2, 2] - step[:2, 3], step[:2, 3]


@pytest.mark.parametrize("angle", ANGLES)
@pytest.mark.parametrize("damping", DAMPINGS)
def test_step_coefficients_against_the_matrix_exponential(damping, angle):
    h = 0.005
    a, b0, b1 = exact_step(angle / h, damping, h)
    d, c, w00, w01, w10, w11, b_u, b_v = _kernels.step_coefficients(angle / h, damping, h)
    with mpmath.workdps(50):
        determinant = mpmath.det(a)
        assert abs(d - determinant) < 1e-15
        assert float(abs(c / mpmath.det(mpmath.eye(2) - a) - 1)) < 1e-13
        assert float(abs(b_u / b1[0] - 1)) < 1e-13
        assert float(abs(b_v / b1[1] - 1)) < 1e-13
        # The change of basis: W F = A W and W (1, 1) = A B1 + B0.
        w = mpmath.matrix([[w00, w01], [w10, w11]])
        f = mpmath.matrix([[1 - mpmath.mpf(c), d], [-c, d]])
        recursion, load = w * f - a * w, w * mpmath.matrix([1, 1]) - (a * b1 + b0)
        for row in (0, 1):
            size = max(abs(w[row, 0]), abs(w[row, 1]))
            assert float(max(abs(recursion[row, 0]), abs(recursion[row, 1]), abs(load[row])) / size) < 1e-13


@pytest.mark.parametrize("period", [0.02, 1.0, 1000.0])
def test_long_history_keeps_its_digits(period):
    # Twenty thousand steps against the same recursion in fifty digits; a second-order difference equation in u alone
    # would have lost eight of them at 1000 s.
    h, n, damping = 0.005, 20_000, 0.05
    rng = np.random.default_rng(5)
    acceleration = rng.standard_normal(n)
    u, v = np.empty(n), np.empty(n)
    _kernels.histories(acceleration, h, 2 * np.pi / period, damping, u, v)
    a, b0, b1 = exact_step(2 * np.pi / period, damping, h)
    scale = mpmath.mpf(2) ** 120
    a, b0, b1 = ([int(value * scale) for value in matrix] for matrix in (a, b0, b1))
    loads = [int(mpmath.mpf(value) * scale) for value in acceleration]
    x, y, worst_u, worst_v = 0, 0, 0.0, 0.0
    for k in range(n - 1):  # fixed-point arithmetic: exact enough, and quick
        x, y = (
            (a[0] * x + a[1] * y + b0[0] * loads[k] + b1[0] * loads[k + 1]) >> 120,
            (a[2] * x + a[3] * y + b0[1] * loads[k] + b1[1] * loads[k + 1]) >> 120,
        )
        worst_u = max(worst_u, abs(float(x / scale) - u[k + 1]))
        worst_v = max(worst_v, abs(float(y / scale) - v[k + 1]))
    assert worst_u < 1e-11 * np.abs(u).max()
    assert worst_v < 1e-11 * np.abs(v).max()


def exact_peak(acceleration, h, period, damping):
    """Largest |u| at the samples, each step a product of exact matrices in fixed-point arithmetic of 120 bits."""
    scale = mpmath.mpf(2) ** 120
    a, b0, b1 = ([int(value * scale) for value in matrix] for matrix in exact_step(2 * np.pi / period, damping, h))
    loads = [int(mpmath.mpf(value) * scale) for value in acceleration]
    x = y = largest = 0
    for k in range(len(loads) - 1):
        x, y = (
            (a[0] * x + a[1] * y + b0[0] * loads[k] + b1[0] * loads[k + 1]) >> 120,
            (a[2] * x + a[3] * y + b0[1] * loads[k] + b1[1] * loads[k + 1]) >> 120,
        )
        largest = max(largest, abs(x))
    return float(largest / scale)


def test_long_periods_where_a_difference_equation_loses_its_digits():
    # T = 1000 s, sampled every 0.005 s: hardly a digit is left of a second-order filter in u alone.
    h, period, damping = 0.005, 1000.0, 0.05
    acceleration = np.random.default_rng(9).standard_normal(20_000) * np.hanning(20_000)
    exact = exact_peak(acceleration, h, period, damping)
    omega, out = 2 * np.pi / period, np.empty((1, 1))
    u, v = np.empty(acceleration.size), np.empty(acceleration.size)
    _kernels.histories(acceleration, h, omega, damping, u, v)
    assert abs(np.abs(u).max() / exact - 1) < 1e-12
    # The spectrum counts the free vibration after the end, too: it may exceed the samples, by so much.
    _kernels.peaks(acceleration, h, np.array([omega]), np.array([damping]), out)
    after = _kernels.free_peak(u[-1], v[-1], omega, damping)
    assert abs(out[0, 0] / max(exact, after) - 1) < 1e-8

    # The second-order filter by the closed form of the response to a ramp, u = -(t - 2 z / w + ...) / w².
    damped = omega * np.sqrt(1 - damping**2)
    t = h * np.arange(4)
    swing = 2 * damping / omega * np.cos(damped * t) + (2 * damping**2 - 1) / damped * np.sin(damped * t)
    ramp = -(t - 2 * damping / omega + np.exp(-damping * omega * t) * swing) / omega**2
    pulse = np.diff(ramp, 2, prepend=0.0) / h
    trace, d = 2 * np.exp(-damping * omega * h) * np.cos(damped * h), np.exp(-2 * damping * omega * h)
    numerator = [pulse[0], pulse[1] - trace * pulse[0], pulse[2] - trace * pulse[1] + d * pulse[0]]
    by_filter = lfilter(numerator, [1, -trace, d], acceleration)
    assert abs(np.abs(by_filter).max() / exact - 1) > 1e-6


def searched_everywhere(acceleration, h, omega, damping):
    """Largest u, u' and u'' + a by visiting every step, without the bound that lets most blocks be skipped."""
    n = acceleration.size
    w = _kernels.step_coefficients(omega, damping, h)
    p, q = _kernels.rest(*w[2:], acceleration[0])
    u, v = np.empty(n), np.empty(n)
    _kernels.histories(acceleration, h, omega, damping, u, v)
    found = []
    for row in range(3):
        r, slope, _, _ = _kernels.motion_of(row, u[-1], v[-1], 0.0, 0.0, omega, damping)
        after = _kernels.free_peak(r, slope, omega, damping)
        found.append(_kernels.visit(row, acceleration, 0, n - 1, p, q, w, omega, damping, h, np.inf, after))
    return np.array(found)


@pytest.mark.parametrize("n", [2, 8, 31, 32, 33, 64, 65, 400])
@pytest.mark.parametrize("damping", [0.0, 0.05, 0.3, 1.0, 2.0])
def test_skipped_blocks_hold_no_peak(damping, n):
    h = 0.01
    acceleration = np.random.default_rng(n).standard_normal(n)
    omega = 2 * np.pi / np.geomspace(0.01, 100, 37)
    everything, displacement = np.empty((3, omega.size)), np.empty((1, omega.size))
    ratios = np.full(omega.size, damping)
    _kernels.peaks(acceleration, h, omega, ratios, everything)
    _kernels.peaks(acceleration, h, omega, ratios, displacement)
    expected = np.array([searched_everywhere(acceleration, h, w, damping) for w in omega]).T
    np.testing.assert_allclose(everything, expected, rtol=1e-12)
    np.testing.assert_allclose(displacement[0], expected[0], rtol=1e-12)


def test_one_sample_has_no_duration_and_moves_nothing():
    acceleration, out = np.array([3.0]), np.empty((3, 2))
    _kernels.peaks(acceleration, 0.01, np.array([0.1, 100.0]), np.array([0.05, 0.05]), out)
    assert out.max() < 1e-14


@pytest.mark.parametrize("damping", [0.0, 0.05, 0.9, 1.0, 1.5])
@pytest.mark.parametrize("start", [(1.0, 0.0), (1.0, 3.0), (-0.2, 5.0), (1.0, -4.0), (0.0, 1.0)])
def test_free_peak_against_the_motion_itself(start, damping):
    omega = 3.0
    t = np.linspace(0, 3, 200_001)
    roots = np.roots([1, 2 * damping * omega, omega**2]).astype(complex)
    if roots[0] == roots[1]:
        motion = (start[0] + (start[1] + omega * start[0]) * t) * np.exp(-omega * t)
    else:
        second = (start[1] - roots[0] * start[0]) / (roots[1] - roots[0])
        motion = ((start[0] - second) * np.exp(roots[0] * t) + second * np.exp(roots[1] * t)).real
    assert _kernels.free_peak(*start, omega, damping) == pytest.approx(np.abs(motion).max(), rel=1e-8)


def test_extremum_inside_a_step():
    # r = 1 - cos(w (t - s)) + 5: r' = 0 at t = s, where r = 5, within a step from 0 to h; f = w² 6.
    omega, h, s = 2.0, 0.3, 0.11
    r = 6 - np.cos(omega * s)
    slope, slope_end = -omega * np.sin(omega * s), omega * np.sin(omega * (h - s))
    found = _kernels.step_extremum(r, slope, 6 * omega**2, 0.0, 0.0, omega * h, h, slope_end)
    assert found == pytest.approx(5, rel=1e-14)


def test_function_without_a_cache_folder_still_compiles():
    # Numba finds no folder for a function that comes from no file, as when none may be written to.
    namespace = {}
    exec("def double(x):\n    return 2 * x", namespace)
    assert _kernels.compiled(namespace["double"])(21) == 42
