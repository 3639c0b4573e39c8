"""Travel times of P and S in flat layers, by exact rays: the direct wave and head waves.

Shearer, P. M. (2009). Introduction to Seismology, 2nd ed., ch. 4. Cambridge University Press.
"""

from __future__ import annotations

import functools
import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from ..foundation.errors import SettingsError

__all__ = [
    "LAYERED_EARTH",
    "VelocityModel",
    "epicentral_distance",
    "hypocentral_distance",
    "slowness_table",
    "time_at_station",
    "travel_times",
]

Floats = NDArray[np.float64]

SHALLOWEST = 1e-6
"""km; a source is taken to lie at least this deep, so that its ray has a direction."""


@dataclass(frozen=True)
class VelocityModel:
    """Flat layers of constant velocity; the last one is a half-space. One layer is a homogeneous ground.

    Parameters
    ----------
    top : tuple of float
        Depth of the top of each layer, km; the first is 0, at the stations.
    vp, vs : tuple of float
        Velocities of P and S in each layer, km/s.

    Raises
    ------
    SettingsError
        The layers are not in order, or a velocity is impossible: S must be slower than P/sqrt(4/3).

    Examples
    --------
    >>> VelocityModel.parse(["6.0/3.5"])
    VelocityModel(top=(0.0,), vp=(6.0,), vs=(3.5,))
    >>> VelocityModel.parse(["0:5.5/3.2", "12:6.4/3.7"]).top
    (0.0, 12.0)
    """

    top: tuple[float, ...] = (0.0,)
    vp: tuple[float, ...] = (6.0,)
    vs: tuple[float, ...] = (3.5,)

    def __post_init__(self) -> None:
        for name in ("top", "vp", "vs"):
            object.__setattr__(self, name, tuple(float(value) for value in getattr(self, name)))
        if not len(self.top) == len(self.vp) == len(self.vs) >= 1:
            raise SettingsError("a velocity model needs a top, a P and an S velocity for each layer")
        if self.top[0] != 0 or any(not below > above for above, below in zip(self.top, self.top[1:], strict=False)):
            tops = ", ".join(f"{top:g}" for top in self.top)
            raise SettingsError(f"tops of layers must begin at 0 and go down, found {tops} km")
        for vp, vs in zip(self.vp, self.vs, strict=True):
            # A solid keeps its volume stiffness positive: (Vp/Vs)² > 4/3.
            if not (math.isfinite(vp) and vs > 0 and vp > vs * math.sqrt(4 / 3)):
                raise SettingsError(
                    f"no ground has P at {vp:g} and S at {vs:g} km/s",
                    remedy="Give P before S, in km/s, such as 6.0/3.5",
                )

    @classmethod
    def parse(cls, layers: list[str]) -> VelocityModel:
        """Read layers written as ``TOP:VP/VS`` in km and km/s; ``VP/VS`` alone begins at the surface.

        Raises
        ------
        SettingsError
            A layer is written otherwise, or impossible.
        """
        rows = []
        for layer in layers:
            top, _, velocities = layer.rpartition(":")
            vp, _, vs = velocities.partition("/")
            try:
                rows.append((float(top or 0.0), float(vp), float(vs)))
            except ValueError:
                raise SettingsError(
                    f"{layer!r} is not a layer of a velocity model",
                    remedy="Write VP/VS in km/s, such as 6.0/3.5, or TOP:VP/VS for each layer, such as 12:6.4/3.7",
                ) from None
        return cls(*zip(*rows, strict=True))

    def velocity(self, phase: str) -> tuple[float, ...]:
        """Return the velocity of P or S in each layer, km/s."""
        return self.vp if phase == "P" else self.vs

    def __str__(self) -> str:
        layers = zip(self.top, self.vp, self.vs, strict=True)
        if len(self.top) == 1:
            return f"P {self.vp[0]:g}, S {self.vs[0]:g} km/s"
        return "; ".join(f"from {top:g} km P {vp:g}, S {vs:g} km/s" for top, vp, vs in layers)


LAYERED_EARTH = VelocityModel((0.0, 20.0, 35.0), (5.8, 6.5, 8.04), (3.36, 3.75, 4.47))
"""Crust and uppermost mantle of IASP91 (Kennett & Engdahl 1991, Geophysical Journal International 105; from memory)."""


def travel_times(model: VelocityModel, phase: str, distance: ArrayLike, depth: float) -> tuple[Floats, Floats, Floats]:
    """Return the time of the first arrival and how it changes with distance and depth.

    Parameters
    ----------
    model : VelocityModel
    phase : {"P", "S"}
    distance : array (n,)
        Epicentral distance, km.
    depth : float
        km below the stations.

    Returns
    -------
    time : array (n,)
        s.
    by_distance, by_depth : array (n,)
        Derivatives, s/km: the horizontal slowness of the ray, and its vertical slowness at the source, which is
        positive for a ray that leaves upwards.

    Notes
    -----
    The direct ray of slowness p covers x(p) = sum of h_i p v_i / sqrt(1 - p² v_i²) over the layers above the source.
    With p = sin(a)/v_max and t = tan(a) this is increasing and concave in t, so Newton's method from t = 0 cannot
    overshoot. A head wave along a layer of velocity v has p = 1/v and exists from the distance its two legs cover.

    Examples
    --------
    >>> times, *_ = travel_times(VelocityModel(), "P", 16.0, 12.0)  # 20 km along the ray at 6 km/s
    >>> times.round(3)
    array([3.333])
    """
    distance = np.atleast_1d(np.asarray(distance, dtype=float))
    depth = max(float(depth), SHALLOWEST)
    velocity, top = np.array(model.velocity(phase)), np.array(model.top)
    source = int(np.searchsorted(top, depth) - 1)
    height = np.append(top[1 : source + 1], depth) - top[: source + 1]  # of each layer above the source

    time, slowness = _direct(distance, height, velocity[: source + 1])
    by_depth = np.sqrt(np.maximum(velocity[source] ** -2 - slowness**2, 0.0))
    for refractor in range(source + 1, len(top)):
        p = 1.0 / velocity[refractor]
        # Down from the source to the refractor, and from there up to the surface.
        whole = np.diff(top[: refractor + 1])
        down = whole.copy()
        down[: source + 1] -= height
        sine = velocity[:refractor] * p
        if (sine >= 1).any():
            continue  # a faster layer lies above: no head wave comes up through it
        cosine = np.sqrt(1 - sine**2)
        legs = (whole + down) / cosine
        # Measured from the legs' own delay the two terms of T = p x + sum of h sqrt(1/v² - p²) stay exact.
        head = p * distance + ((whole + down) * cosine / velocity[:refractor]).sum()
        first = (distance >= (legs * sine).sum()) & (head < time)
        time = np.where(first, head, time)
        slowness = np.where(first, p, slowness)
        by_depth = np.where(first, -cosine[source] / velocity[source], by_depth)
    return time, slowness, by_depth


def _direct(distance: Floats, height: Floats, velocity: Floats) -> tuple[Floats, Floats]:
    """Return time and slowness of the direct ray up through layers."""
    fastest = velocity.max()
    ratio = (velocity / fastest)[:, None]
    height = height[:, None]
    if len(velocity) == 1:
        tangent = distance / height[0]
    else:
        tangent = np.zeros_like(distance)
        for _ in range(100):
            root = np.sqrt(1 + tangent**2 * (1 - ratio**2))
            gap = distance - (height * ratio * tangent / root).sum(axis=0)
            step = gap / (height * ratio / root**3).sum(axis=0)
            tangent = tangent + step
            if np.all(np.abs(step) <= 1e-13 * (1 + tangent)):
                break
    secant = np.sqrt(1 + tangent**2)
    slowness = tangent / secant / fastest
    # The path in a layer is h / cos(i), and cos(i) = sqrt(1 + t² (1 - ratio²)) / sqrt(1 + t²).
    path = height * secant / np.sqrt(1 + tangent**2 * (1 - ratio**2))
    return (path / velocity[:, None]).sum(axis=0), slowness


def time_at_station(model: VelocityModel, phase: str, distance: ArrayLike, depth: float, rise: ArrayLike) -> Floats:
    """Return the time of the first arrival at stations that stand higher or lower than the model's top.

    Parameters
    ----------
    model, phase, distance, depth
        As for `travel_times`.
    rise : array (n,)
        km above the top of the model; negative below it.

    Returns
    -------
    array (n,)
        s.

    Notes
    -----
    The ray goes on through the uppermost layer with the slowness p it arrives with, which takes sqrt(1/v² - p²) for
    each km of height: exact for a plane wave.

    Examples
    --------
    >>> time_at_station(VelocityModel(), "P", 0.0, 12.0, 1.5).round(4)
    array([2.25])
    """
    time, slowness, _ = travel_times(model, phase, distance, depth)
    return np.asarray(time + np.asarray(rise, dtype=float) * _upward(model, phase, slowness))


def _upward(model: VelocityModel, phase: str, slowness: Floats) -> Floats:
    """Return the vertical slowness in the uppermost layer, s/km."""
    return np.asarray(np.sqrt(np.maximum(model.velocity(phase)[0] ** -2 - slowness**2, 0.0)))


def hypocentral_distance(
    lag: float, vp: float = 6.0, vs: float = 3.5, lag_uncertainty: float = 0.0, velocity_uncertainty: float = 0.0
) -> tuple[float, float]:
    """Return the distance that lets S fall behind P by `lag`, and its standard error.

    Parameters
    ----------
    lag : float
        S minus P, s.
    vp, vs : float
        km/s.
    lag_uncertainty : float
        Standard error, s.
    velocity_uncertainty : float
        Standard error of either velocity, as a part of it; the two err independently.

    Returns
    -------
    distance, uncertainty : float
        km: d = lag vp vs / (vp - vs).

    Examples
    --------
    >>> distance, uncertainty = hypocentral_distance(3.0, 6.0, 3.5, lag_uncertainty=0.1)
    >>> round(distance, 6), round(uncertainty, 6)
    (25.2, 0.84)
    """
    if not (lag >= 0 and vp > vs > 0):
        raise SettingsError(f"a lag of {lag:g} s and velocities of {vp:g} and {vs:g} km/s give no distance")
    rate = vp * vs / (vp - vs)
    by_velocity = lag * rate * velocity_uncertainty * math.hypot(vs, vp) / (vp - vs)
    return lag * rate, math.hypot(rate * lag_uncertainty, by_velocity)


def epicentral_distance(lag: float, depth: float, model: VelocityModel) -> float | None:
    """Return the epicentral distance, km, at which S falls behind P by `lag` from a source at `depth` km.

    None where the lag is too short for that depth: the source is shallower.

    Examples
    --------
    >>> lag = 20.0 / 3.5 - 20.0 / 6.0  # s, for 20 km along the ray
    >>> round(epicentral_distance(lag, 12.0, VelocityModel()), 2)  # km
    16.0
    """
    farthest = (
        2 * hypocentral_distance(lag, max(model.vp), max(model.vs))[0]
        + 2 * hypocentral_distance(lag, min(model.vp), min(model.vs))[0]
    )
    low, high = 0.0, max(farthest, 1.0)
    for _ in range(3):  # each time a thousand times finer: a metre at last
        distance = np.linspace(low, high, 1001)
        lags = travel_times(model, "S", distance, depth)[0] - travel_times(model, "P", distance, depth)[0]
        beyond = np.flatnonzero(lags >= lag)
        if beyond.size == 0 or (beyond[0] == 0 and lag < lags[0]):
            return None
        after = max(int(beyond[0]), 1)
        low, high = float(distance[after - 1]), float(distance[after])
    return 0.5 * (low + high)


BEND, FARTHEST, NODES = 10.0, 1500.0, (120, 260)
"""Of the tables: distance and depth are spaced evenly below the first, km, in proportion above; reach, km; nodes."""


@functools.lru_cache(maxsize=16)
def slowness_table(model: VelocityModel, deepest: float) -> tuple[Floats, Floats]:
    """Return the mean slowness, time over slant distance, of P and S on a grid of depths and distances.

    With it comes the vertical slowness at the station. Mean slowness varies slowly, so that times interpolated from it
    are true within a few ms, but where waves change their way.

    Parameters
    ----------
    model : VelocityModel
    deepest : float
        km.

    Returns
    -------
    table : ndarray, shape (4, depths, distances)
        Mean slowness of P and S, and vertical slowness at the station of P and S, s/km.
    axes : ndarray, shape (3,)
        The bend, km, and the steps of log(1 + depth / bend) and log(1 + distance / bend).
    """
    steps = np.log1p(np.array([deepest, FARTHEST]) / BEND) / (np.array(NODES) - 1)
    depths, distances = (BEND * np.expm1(step * np.arange(n)) for step, n in zip(steps, NODES, strict=True))
    distances[0] = 1e-6
    depths[0] = 1e-3
    table = np.empty((4, *NODES))
    for at, depth in enumerate(depths):
        for which, phase in enumerate("PS"):
            time, slowness, _ = travel_times(model, phase, distances, depth)
            table[which, at] = time / np.hypot(distances, depth)
            table[2 + which, at] = _upward(model, phase, slowness)
    return table, np.array([BEND, *steps])
