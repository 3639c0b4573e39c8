"""Response of yielding oscillators to ground acceleration: histories, ductility demand and constant-ductility spectra.

The displacement u of an oscillator of mass m, small-amplitude period T = 2 pi / w and damping ratio z obeys

    u'' + 2 z w u' + f(u)/m = -a(t),

where f is elastoplastic, or bilinear with kinematic hardening: stiffness m w² up to the yield force f_y, alpha m w²
beyond, and m w² again on unloading. The damping coefficient stays 2 z w after yielding. Strength is given as f_y/m, in
m/s²; divided by g it is the seismic coefficient f_y/(m g). The yield displacement is u_y = (f_y/m)/w², and ductility
the largest |u| ever over u_y: below 1 where the oscillator stays elastic.

The equation is solved exactly for acceleration linear between samples, from branch to branch, with the ends of each
branch found inside the step; short periods are resampled as in `response_spectrum`. Peaks inside steps and in the free
vibration after the record's end count.

A single bilinear oscillator is no building: no loss of stiffness or strength, no P-delta effect, no second mode.
Results are for information; design is for licensed engineers under the local code.
"""

from __future__ import annotations

import functools
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from ..foundation.arrays import above_zero, non_negative, positive, signal
from ..foundation.errors import InputError
from . import _yielding
from .resampling import Interpolation, resample, resampling_factors
from .solving import run, threads_for

__all__ = [
    "HystereticDemand",
    "YieldingResponse",
    "constant_ductility_spectrum",
    "constant_strength_spectrum",
    "hysteretic_demand",
    "park_ang_index",
    "yielding_response",
]

Floats = NDArray[np.float64]

RUNS = 150
"""Histories that one period of a constant-ductility spectrum takes, about: what its work is computed by."""


@dataclass(frozen=True, eq=False)
class YieldingResponse:
    """Motion of one yielding oscillator.

    Parameters
    ----------
    displacement, velocity : array (n,)
        Relative to the ground, at the record's samples, m and m/s.
    force : array (n,)
        Restoring force over mass, f/m, m/s².
    peak : float
        Largest |u| ever, m: between samples and after the record's end too.
    ductility : float
        `peak` over the yield displacement.
    permanent : float
        Displacement at which the oscillator comes to rest after the record's end, m.
    """

    displacement: Floats
    velocity: Floats
    force: Floats
    peak: float
    ductility: float
    permanent: float


def yielding_response(
    acceleration: ArrayLike,
    dt: float,
    period: float,
    strength: float,
    damping: float = 0.05,
    hardening: float = 0.0,
    *,
    interpolation: Interpolation = "band-limited",
) -> YieldingResponse:
    """Compute the motion of one yielding oscillator, at rest and unyielded before the record.

    Parameters
    ----------
    acceleration : array (n,)
        Ground acceleration, m/s². The ground is still before the first sample and after the last.
    dt : float
        Sampling interval, s.
    period : float
        Small-amplitude period, s, above 0.
    strength : float
        Yield force over mass f_y/m, m/s², above 0; the seismic coefficient times g.
    damping : float
        Ratio to critical, of the elastic oscillator.
    hardening : float
        Stiffness after yielding over stiffness before, alpha, in [0, 1); 0 is elastoplastic.
    interpolation : {"band-limited", "linear"}
        As in `response_spectrum`.

    Returns
    -------
    YieldingResponse

    Raises
    ------
    InputError
        An argument is empty, of the wrong shape, out of range, or not finite.

    References
    ----------
    Chopra, A. K. Dynamics of Structures, ch. 7: Earthquake response of inelastic systems.

    Examples
    --------
    A pulse that pushes the oscillator past its strength leaves it displaced.

    >>> pulse = np.where(np.arange(400) < 50, -3.0, 0.0)
    >>> response = yielding_response(pulse, 0.01, period=1.0, strength=2.0)
    >>> round(response.ductility, 2), round(float(response.force.max()), 2), response.permanent > 0
    (5.77, 2.0, True)
    """
    acceleration = signal("acceleration", acceleration)
    dt, period = positive("dt", dt), positive("period", period)
    strength = positive("strength", strength)
    damping, hardening = _one("damping", damping), _hardening(hardening)
    exponent = _exponent(acceleration)
    factor = int(resampling_factors(np.array([period]), dt)[0])
    fine = resample(np.ldexp(acceleration, -exponent), factor, interpolation)
    strength = float(np.ldexp(strength, -exponent))
    omega = 2 * np.pi / period
    u, v, force = np.empty_like(fine), np.empty_like(fine), np.empty_like(fine)
    peak, permanent = _yielding.histories(fine, dt / factor, omega, damping, hardening, strength, u, v, force)
    u, v, force = (np.ldexp(history[::factor], exponent) for history in (u, v, force))
    ductility = peak * omega**2 / strength
    return YieldingResponse(
        u, v, force, float(np.ldexp(peak, exponent)), ductility, float(np.ldexp(permanent, exponent))
    )  # fmt: skip


@dataclass(frozen=True)
class HystereticDemand:
    """What one ground acceleration asks of a yielding oscillator over all its cycles.

    Parameters
    ----------
    ductility : float
        Largest |u| over the yield displacement.
    cumulative_ductility : float
        1 plus all plastic displacement, whatever its sign, over the yield displacement; the ductility where the
        oscillator stays elastic.
    energy : float
        Dissipated by yielding, over mass, m²/s².
    normalized_energy : float
        That over yield force times yield displacement.
    """

    ductility: float
    cumulative_ductility: float
    energy: float
    normalized_energy: float


def hysteretic_demand(
    acceleration: ArrayLike,
    dt: float,
    period: float,
    strength: float,
    damping: float = 0.05,
    hardening: float = 0.0,
    *,
    interpolation: Interpolation = "band-limited",
) -> HystereticDemand:
    """Compute cumulative ductility and hysteretic energy of a yielding oscillator (Mahin & Bertero 1981, from memory).

    The bilinear force is that of a spring of stiffness alpha m w² beside one of (1 - alpha) m w² in line with a slider,
    which slips at (1 - alpha) f_y. How far it slips follows from displacement and force at any time, and all the energy
    lost is that of its slip. A slider that turns within one step of the resampled record counts by where it stands at
    the step's ends. Only the record's own time counts: add zeros to include the free vibration after it.

    Parameters
    ----------
    acceleration, dt, period, strength, damping, hardening, interpolation
        As in `yielding_response`.

    Returns
    -------
    HystereticDemand

    Raises
    ------
    InputError
        As in `yielding_response`.

    Examples
    --------
    >>> pulse = np.where(np.arange(400) < 50, -3.0, 0.0)
    >>> demand = hysteretic_demand(pulse, 0.01, period=1.0, strength=2.0)
    >>> demand.cumulative_ductility >= demand.ductility, demand.energy > 0
    (True, True)
    """
    acceleration = signal("acceleration", acceleration)
    dt, period, strength = positive("dt", dt), positive("period", period), positive("strength", strength)
    damping, hardening = _one("damping", damping), _hardening(hardening)
    exponent = _exponent(acceleration)
    factor = int(resampling_factors(np.array([period]), dt)[0])
    fine = resample(np.ldexp(acceleration, -exponent), factor, interpolation)
    limit = float(np.ldexp(strength, -exponent))
    omega = 2 * np.pi / period
    u, v, force = np.empty_like(fine), np.empty_like(fine), np.empty_like(fine)
    peak, _ = _yielding.histories(fine, dt / factor, omega, damping, hardening, limit, u, v, force)
    yielded = limit / omega**2
    slip = (u - force / omega**2) / (1.0 - hardening)  # force = w² (u - (1 - alpha) slip)
    slipped = float(np.abs(np.diff(slip, prepend=0.0)).sum()) / yielded
    ductility = peak / yielded
    slipped = slipped if ductility > 1.0 else 0.0
    normalized = (1.0 - hardening) * slipped
    energy = float(np.ldexp(normalized * limit * yielded, 2 * exponent))
    return HystereticDemand(
        float(ductility), 1.0 + slipped if ductility > 1.0 else float(ductility), energy, normalized
    )


def park_ang_index(demand: HystereticDemand, ultimate_ductility: float, beta: float = 0.05) -> float:
    """Return the damage index of Park & Ang (1985): u_max / u_ult + beta E_h / (f_y u_ult).

    It assumes a member whose ultimate ductility under one-way loading is known, and that damage by deformation and by
    energy add up, the latter by the constant beta, fitted to tests of reinforced concrete: about 0.05 where it is well
    confined, 0.1 and more where it is not (from memory). From 0.4 on the authors found damage beyond repair, from 1 on
    collapse (from memory). A single oscillator is no building; for licensed engineers to judge.

    Parameters
    ----------
    demand : HystereticDemand
    ultimate_ductility : float
        Above 1.
    beta : float
        0 or more.

    Raises
    ------
    InputError
        A number is out of range.

    Examples
    --------
    >>> park_ang_index(HystereticDemand(3.0, 8.0, 0.1, 12.0), ultimate_ductility=6.0)
    0.6
    """
    ultimate, beta = positive("ultimate_ductility", ultimate_ductility), _one("beta", beta)
    if ultimate <= 1:
        raise InputError(f"expected an ultimate ductility above 1, found {ultimate:g}", source="ultimate_ductility")
    return (demand.ductility + beta * demand.normalized_energy) / ultimate


def constant_strength_spectrum(
    acceleration: ArrayLike,
    dt: float,
    periods: ArrayLike,
    strength: ArrayLike,
    damping: float = 0.05,
    hardening: float = 0.0,
    *,
    interpolation: Interpolation = "band-limited",
    threads: int | None = None,
) -> Floats:
    """Compute the ductility that one ground acceleration demands of oscillators of given strength.

    Parameters
    ----------
    acceleration, dt, damping, hardening, interpolation
        As in `yielding_response`.
    periods : array (p,)
        Small-amplitude periods, s, above 0.
    strength : float or array (s,)
        Yield force over mass f_y/m, m/s², above 0.
    threads : int, optional
        As in `response_spectrum`.

    Returns
    -------
    array (s, p)
        Largest |u| over the yield displacement; below 1 where the oscillator stays elastic.

    Raises
    ------
    InputError
        An argument is empty, of the wrong shape, out of range, or not finite.

    Examples
    --------
    >>> pulse = np.where(np.arange(400) < 50, 3.0, 0.0)
    >>> constant_strength_spectrum(pulse, 0.01, periods=[0.5, 1.0], strength=[2.0, 8.0]).round(2)
    array([[14.75,  5.77],
           [ 0.7 ,  0.7 ]])
    """
    acceleration, strength = signal("acceleration", acceleration), above_zero("strength", strength)
    exponent = _exponent(acceleration)
    acceleration, strength = np.ldexp(acceleration, -exponent), np.ldexp(strength, -exponent)
    out = np.empty((strength.size, np.size(periods)))

    def column(fine: Floats, step: float, omega: float, damping: float, hardening: float, i: int) -> None:
        for row, one in enumerate(strength):
            out[row, i] = _yielding.demand(fine, step, omega, damping, hardening, one) * omega**2 / one

    _each_period(column, strength.size, acceleration, dt, periods, (damping, hardening), interpolation, threads)
    return out


def constant_ductility_spectrum(
    acceleration: ArrayLike,
    dt: float,
    periods: ArrayLike,
    ductility: ArrayLike,
    damping: float = 0.05,
    hardening: float = 0.0,
    *,
    interpolation: Interpolation = "band-limited",
    threads: int | None = None,
) -> Floats:
    """Compute the strength at which one ground acceleration demands a given ductility.

    Demand need not fall steadily as strength grows, so several strengths may meet one ductility. The largest is
    returned, the one of interest in design (Chopra, sec. 7.5): above it no strength asks for more than the ductility.
    Strengths are scanned downwards from the elastic one, a hundred to a decade; an excursion of the demand narrower
    than that may pass unseen.

    Parameters
    ----------
    acceleration, dt, damping, hardening, interpolation
        As in `yielding_response`.
    periods : array (p,)
        Small-amplitude periods, s, above 0.
    ductility : float or array (d,)
        Largest |u| over the yield displacement, 1 or more.
    threads : int, optional
        As in `response_spectrum`.

    Returns
    -------
    array (d, p)
        Yield force over mass f_y/m, m/s²; divided by g, the seismic coefficient. At ductility 1 it is the elastic
        pseudo-acceleration.

    Raises
    ------
    InputError
        An argument is empty, of the wrong shape, out of range, or not finite; or no strength reaches a ductility.

    References
    ----------
    Chopra, A. K. Dynamics of Structures, sec. 7.5: Response spectrum for yield deformation and yield strength.

    Examples
    --------
    >>> pulse = np.where(np.arange(400) < 50, 3.0, 0.0)
    >>> constant_ductility_spectrum(pulse, 0.01, periods=[0.5, 1.0], ductility=[1, 2, 4]).round(2)
    array([[5.56, 5.56],
           [3.73, 3.44],
           [3.11, 2.4 ]])
    """
    acceleration, ductility = signal("acceleration", acceleration), non_negative("ductility", ductility)
    if (ductility < 1).any():
        raise InputError(f"expected 1 or more, found {ductility.min():g}", source="ductility")
    exponent = _exponent(acceleration)
    acceleration = np.ldexp(acceleration, -exponent)
    order = np.argsort(ductility)
    out = np.empty((ductility.size, np.size(periods)))

    def column(fine: Floats, step: float, omega: float, damping: float, hardening: float, i: int) -> None:
        found = np.empty(ductility.size)
        _yielding.strengths(fine, step, omega, damping, hardening, ductility[order], found)
        out[order, i] = found

    _each_period(column, RUNS, acceleration, dt, periods, (damping, hardening), interpolation, threads)
    if np.isnan(out).any():
        row, i = np.argwhere(np.isnan(out))[0]
        raise InputError(
            f"no strength reaches ductility {ductility[row]:g} at period {np.ravel(periods)[i]:g} s",
            source="ductility",
            remedy="Ask for a smaller ductility, or leave the period out",
        )
    return np.ldexp(out, exponent)


def _each_period(
    column: Callable[[Floats, float, float, float, float, int], None],
    runs: int,
    acceleration: ArrayLike,
    dt: float,
    periods: ArrayLike,
    oscillator: tuple[float, float],
    interpolation: Interpolation,
    threads: int | None,
) -> None:
    """Check the arguments and call `column` for each period, with the record as fine as the period needs it.

    `oscillator` holds damping and hardening.
    """
    acceleration = signal("acceleration", acceleration)
    dt, periods = positive("dt", dt), above_zero("periods", periods)
    damping, hardening = _one("damping", oscillator[0]), _hardening(oscillator[1])
    factors = [int(factor) for factor in resampling_factors(periods, dt)]
    fine = {factor: resample(acceleration, factor, interpolation) for factor in set(factors)}

    def one(i: int) -> None:
        step = dt / factors[i]
        column(fine[factors[i]], step, 2 * np.pi / periods[i], damping, hardening, i)

    work = runs * sum(fine[factor].size for factor in factors)
    run((functools.partial(one, i) for i in range(periods.size)), threads_for(work, threads))


def _one(name: str, value: float) -> float:
    return float(non_negative(name, [value])[0])


def _hardening(value: float) -> float:
    ratio = _one("hardening", value)
    if ratio >= 1:
        raise InputError(f"expected a stiffness ratio in [0, 1), found {ratio:g}", source="hardening")
    return ratio


def _exponent(acceleration: Floats) -> int:
    """Return the binary exponent of a record whose squares would leave the range of numbers; 0 for ordinary ones."""
    exponent = int(np.frexp(np.abs(acceleration).max())[1])
    return exponent if abs(exponent) > 200 else 0
