"""Where and when: epicentre, depth and origin time from arrival times, with what they are worth.

The posterior of the place is computed on a grid (Tarantola & Valette 1982). The errors are those of the picks; a delay
at each station, which P and S share, S being later by Vp/Vs; one error of slowness, in proportion to travel time, that
all share, one that differs from side to side, and one of S alone; a delay of all S, as slow ground beneath all stations
makes it; and an error that grows with distance. How large the stations' delays are is not known: three sizes are tried,
and weighed by the arrivals themselves. Any one clock may be wrong, and the arrivals of any one station may be: both
count with a small prior probability, so that what cannot be decided widens the region instead of moving it.

What the arrivals tell is then summarised: an ellipse where the posterior is one, a region where it is not; the depth as
an interval, or not constrained where it is the prior's.

Tarantola, A. and Valette, B. (1982). Inverse problems = quest for information. Journal of Geophysics 50, 159-170.
"""

from __future__ import annotations

import functools
import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import label
from scipy.stats import chi2 as chi_square

from ..foundation.errors import InputError
from ..foundation.geodesy import Plane, azimuthal_gap, distance_and_azimuth, middle
from ._posterior import evaluate
from .travel import LAYERED_EARTH, VelocityModel, epicentral_distance, slowness_table, time_at_station

__all__ = [
    "Circle", "ClockError", "Ellipse", "Hypocentre", "Location", "Region", "Residual", "StationDistance",
    "StationTimes", "locate", "wadati",
]  # fmt: skip

Floats = NDArray[np.float64]

CONFIDENCE = 0.95
"""Probability that regions and intervals hold."""

LEAST_LIKELY = 0.001
"""Arrivals whose misfit would be exceeded by chance less often than this do not belong together."""

SAME_PLACE = 0.1
"""km; stations closer than this see the event from one place."""

DEEPEST = 150.0
"""km; no deeper earthquake is considered unless its depth is given."""

DEPTH_BEND = 20.0
"""km; the prior density of depth is 1 / (depth + this): most earthquakes are shallow, and deep ones are not excluded. A
judgement, without a source."""

SLOWNESS_ERROR = {"given": (0.02, 0.01), "not given": (0.04, 0.02)}
"""Standard error of slowness, and of that of S at known P, as fractions. The mean velocity of P in continental crust
scatters by 0.23 km/s about 6.45 (Christensen & Mooney 1995, from memory): 4 %. Vp/Vs of crustal rocks other than
sediments lies between 1.68 and 1.82 or so (Christensen 1996, from memory): 2 %. Half of that where a model is given."""

SIDEWAYS_ERROR = {"given": 0.01, "not given": 0.0125}
"""Standard error of slowness towards east, and towards north, as a fraction: ground differs from one side of an event
to the other. A part of the 4 % between regions: a judgement, without a source."""

COMMON_S_DELAY = {"given": 0.10, "not given": 0.25}
"""s; sediment of 1.5 km under all stations, at 3.5 km/s and Vp/Vs of 2, delays S by 0.25 s more than P."""

STATION_DELAY = {"given": 0.10, "not given": 0.12}
"""s; the middle one of three sizes of the stations' delays: common practice, without a source."""

DELAY_SIZES = ((0.5, 0.25), (1.0, 0.5), (2.0, 0.25))
"""Factors of the middle size, and their prior weights."""

GROWTH = 0.01
"""Standard error of a travel time by uneven ground, as a fraction of it: a judgement, without a source."""

WRONG_CLOCK, CLOCK_SPREAD = 0.03, 5.0
"""Prior probability that the clock of a station is wrong, and the standard deviation of its error, s."""

WRONG_ARRIVALS, ARRIVAL_SPREAD = 0.02, 3.0
"""Prior probability that the arrivals of a station are wrong, and the standard deviation of their errors, s."""

DECIDED = 0.95
"""A station is named as wrong where that is at least so probable."""

LEAST_OTHERS = 4
"""Stations that must remain for one to be named: three determine a place and time, the fourth can disagree."""

FINE, LEVELS, MOST_TIMES = 250, 24, 200_000
"""The grid is refined until the 95 % region holds so many cells, and the depths so many levels, or until there would be
too many pairs of a cell and a station for a location to stay quick."""

COARSE = 0.3
"""s; while the cells count for a larger error of times than this, only the likeliest of too many are kept."""

NEGLIGIBLE = 8.0
"""Cells less likely by a factor exp(-8) than the best are not refined: together they hold less than a hundredth."""

UNLIKELY = 1e-5
"""Probability below which a hypothesis is given up."""

ELLIPTIC = 1.35
"""The region is an ellipse where the one with the posterior's covariance that holds 95 % has at most this many times
the area of the smallest region that does."""

AT_EDGE = 0.04
"""Probability at the edge of the map above which the place is open: less than what a region leaves out."""

LARGEST_AREA = 2e5
"""km²; an epicentre that may lie anywhere in more is not determined."""

INFORMED = 0.7
"""The depth is constrained where its 95 % interval is shorter than the prior's by this factor."""


@dataclass(frozen=True)
class StationTimes:
    """The arrivals at one station.

    Parameters
    ----------
    station : str
    latitude, longitude : float
        Degrees.
    p, s : float, optional
        Arrival times, s after the epoch common to all stations.
    p_uncertainty, s_uncertainty : float
        Standard errors, s.
    timed : bool
        The clock is right; where False only S minus P counts.
    elevation : float, optional
        Of the instrument above sea level, m; taken for the mean of the others' where it is not known.
    """

    station: str
    latitude: float
    longitude: float
    p: float | None = None
    s: float | None = None
    p_uncertainty: float = 0.05
    s_uncertainty: float = 0.1
    timed: bool = True
    elevation: float | None = None

    def __post_init__(self) -> None:
        times = [value for value in (self.p, self.s, self.elevation) if value is not None]
        if not all(math.isfinite(value) for value in (self.latitude, self.longitude, *times)):
            raise InputError(f"station {self.station}: place and times must be numbers")
        if not (self.p_uncertainty > 0 and self.s_uncertainty > 0):
            raise InputError(f"station {self.station}: the uncertainty of a pick must be above 0")
        if self.lag is not None and self.lag <= 0:
            raise InputError(f"station {self.station}: S comes {-self.lag:g} s before P", remedy="Correct the picks")

    @property
    def lag(self) -> float | None:
        """S minus P, s."""
        return None if self.p is None or self.s is None else self.s - self.p

    @property
    def lag_uncertainty(self) -> float:
        """Standard error of S minus P, s."""
        return math.hypot(self.p_uncertainty, self.s_uncertainty)


@dataclass(frozen=True)
class Ellipse:
    """The area that holds the epicentre with 95 %.

    Semi-axes in km; azimuth of the longer one in degrees clockwise from north.
    """

    semi_major: float
    semi_minor: float
    azimuth: float


@dataclass(frozen=True, eq=False)
class Region:
    """The smallest area that holds the epicentre with 95 %, as cells of a map.

    Parameters
    ----------
    plane : Plane
        The map.
    west, south, size : float
        Corner of the first cell, and the cells' size, km.
    density : ndarray, shape (north, east)
        Probability of each cell.
    inside : ndarray of bool, shape (north, east)
    """

    plane: Plane
    west: float
    south: float
    size: float
    density: Floats = field(repr=False)
    inside: NDArray[np.bool_] = field(repr=False)

    @property
    def area(self) -> float:
        """km²."""
        return float(self.inside.sum()) * self.size**2

    @property
    def extent(self) -> tuple[float, float, float, float]:
        """Least and largest latitude, least and largest longitude of the region, degrees."""
        rows, columns = np.nonzero(self.inside)
        edge = [(self.west + (c + 0.5) * self.size, self.south + (r + 0.5) * self.size)
                for r, c in ((rows.min(), columns.mean()), (rows.max(), columns.mean()),
                             (rows.mean(), columns.min()), (rows.mean(), columns.max()))]  # fmt: skip
        places = [self.plane.back(*point) for point in edge]
        return places[0][0], places[1][0], places[2][1], places[3][1]

    def holds(self, latitude: float, longitude: float) -> bool:
        """Tell whether a place lies in the region."""
        east, north = self.plane.onto([latitude], [longitude])[0]
        row, column = math.floor((north - self.south) / self.size), math.floor((east - self.west) / self.size)
        rows, columns = self.inside.shape
        return 0 <= row < rows and 0 <= column < columns and bool(self.inside[row, column])


@dataclass(frozen=True)
class Hypocentre:
    """One place and time that suits the arrivals.

    Parameters
    ----------
    latitude, longitude : float
        Degrees.
    depth, depth_uncertainty : float
        km below the stations' mean elevation: the mean, and standard error; see the location's `depth_interval`.
    origin_time, origin_uncertainty : float
        s after the epoch, and standard error; NaN where no clock is right.
    ellipse : Ellipse
    covariance : ndarray, shape (3, 3)
        Of east, north and depth, km².
    """

    latitude: float
    longitude: float
    depth: float
    depth_uncertainty: float
    origin_time: float
    origin_uncertainty: float
    ellipse: Ellipse
    covariance: Floats = field(repr=False)


@dataclass(frozen=True)
class Residual:
    """Observed minus predicted at one station, s; `used` is False where it was left out."""

    station: str
    phase: Literal["P", "S", "S-P"]
    residual: float
    error: float
    used: bool


@dataclass(frozen=True)
class ClockError:
    """A station whose clock is wrong: `offset` s are to be subtracted from its times."""

    station: str
    offset: float
    uncertainty: float

    @property
    def sentence(self) -> str:
        """The error in words."""
        return (
            f"the clock of {self.station} is {abs(self.offset):.1f} ± {self.uncertainty:.1f} s "
            f"{'ahead' if self.offset > 0 else 'behind'}: the others agree without it, and only its S minus P counts"
        )


@dataclass(frozen=True)
class Circle:
    """The epicentre lies this far from a station, km, by S minus P."""

    station: str
    latitude: float
    longitude: float
    radius: float
    uncertainty: float


@dataclass(frozen=True)
class StationDistance:
    """How far the event is from a station: median and 95 % interval, km."""

    station: str
    hypocentral: tuple[float, float, float]
    epicentral: tuple[float, float, float]

    @property
    def sentence(self) -> str:
        """The distances in words."""
        (middle_, low, high), (_, near, far) = self.hypocentral, self.epicentral
        return (
            f"{self.station}: hypocentral distance {middle_:.0f} km, {low:.0f} to {high:.0f} km (95 %); the epicentre "
            f"is {near:.0f} to {far:.0f} km away, depending on the depth"
        )


@dataclass(frozen=True)
class Location:
    """What the arrivals tell of the place.

    Parameters
    ----------
    kind : {"point", "two points", "region", "circle", "nothing"}
        A point has an ellipse; a region is no ellipse; a circle lies about the one station.
    hypocentres : tuple of Hypocentre
        One for a point, two where the arrivals suit two places, none else.
    region : Region or None
    depth_interval : tuple of float
        95 % interval, km.
    depth_resolved : bool
        The depth comes from the arrivals; where False the interval is what was allowed beforehand, or little less.
    circles : tuple of Circle
    distances : tuple of StationDistance
        Of each station.
    residuals : tuple of Residual
        Of a point.
    left_out : tuple of str
        Stations whose arrivals do not fit the others'.
    clocks : tuple of ClockError
        Stations whose clock is wrong; their S minus P still counts.
    gap : float
        Widest angle without a station, degrees; NaN but for a point.
    degrees_of_freedom : int
    notes : tuple of str
        What cannot be determined, and why.
    model : VelocityModel
        The most probable of those given.
    consistent : bool
        One place and time explains the arrivals.
    datum : float or None
        The stations' mean elevation, m above sea level, from which depths count; None where no elevation is known.
    probabilities : tuple of float
        Of each model given, by the arrivals.
    """

    kind: Literal["point", "two points", "region", "circle", "nothing"]
    hypocentres: tuple[Hypocentre, ...] = ()
    region: Region | None = None
    depth_interval: tuple[float, float] = (math.nan, math.nan)
    depth_resolved: bool = False
    circles: tuple[Circle, ...] = ()
    distances: tuple[StationDistance, ...] = ()
    residuals: tuple[Residual, ...] = ()
    left_out: tuple[str, ...] = ()
    clocks: tuple[ClockError, ...] = ()
    gap: float = math.nan
    degrees_of_freedom: int = 0
    notes: tuple[str, ...] = ()
    model: VelocityModel = field(default_factory=VelocityModel)
    consistent: bool = True
    datum: float | None = None
    probabilities: tuple[float, ...] = ()

    @property
    def distances_by_lag(self) -> tuple[StationDistance, ...]:
        """Distances of the stations that have S minus P."""
        with_lag = {circle.station for circle in self.circles}
        return tuple(distance for distance in self.distances if distance.station in with_lag)

    @property
    def point(self) -> Hypocentre | None:
        """The hypocentre where there is just one."""
        return self.hypocentres[0] if self.kind == "point" else None

    def holds(self, latitude: float, longitude: float) -> bool:
        """Tell whether a place lies within what is stated: the ellipse of a point, else the region."""
        point = self.point
        if point is None:
            return self.region is not None and self.region.holds(latitude, longitude)
        distance, azimuth = distance_and_azimuth(point.latitude, point.longitude, latitude, longitude)
        turn = math.radians(azimuth - point.ellipse.azimuth)
        along, across = distance * math.cos(turn), distance * math.sin(turn)
        return math.hypot(along / point.ellipse.semi_major, across / point.ellipse.semi_minor) <= 1.0


def locate(
    stations: Sequence[StationTimes],
    model: VelocityModel | Sequence[VelocityModel] | None = None,
    *,
    travel_time_error: float | None = None,
    assumed_depth: tuple[float, float] | None = None,
) -> Location:
    """Locate an event.

    Parameters
    ----------
    stations : sequence of StationTimes
    model : VelocityModel, or a sequence of them, optional
        Several are weighed by the arrivals. Without one, 6.0 and 3.5 km/s throughout and a layered crust over the
        mantle are, and the errors of travel times are larger.
    travel_time_error : float, optional
        Standard error of a travel time by the ground beneath a station, s: 0.10 where a model is given, 0.12 else.
    assumed_depth : tuple of float, optional
        Depth and standard error, km, known beforehand. Without it any depth to 150 km is allowed, shallow ones rather.

    Returns
    -------
    Location

    Raises
    ------
    InputError
        Errors are negative, or S comes before P.

    Examples
    --------
    >>> at = [(0.2, 0.1), (-0.2, 0.2), (0.1, -0.3), (-0.1, -0.1)]
    >>> stations = []
    >>> for number, (latitude, longitude) in enumerate(at):
    ...     distance, _ = distance_and_azimuth(0.0, 0.0, latitude, longitude)
    ...     slant = math.hypot(distance, 8.0)
    ...     stations.append(StationTimes(f"S{number}", latitude, longitude, 5 + slant / 6.0, 5 + slant / 3.5))
    >>> found = locate(stations, VelocityModel())
    >>> found.kind, found.holds(0.0, 0.0), found.depth_interval[0] < 8.0 < found.depth_interval[1]
    ('point', True, True)
    """
    ground = "not given" if model is None else "given"
    models = (VelocityModel(), LAYERED_EARTH) if model is None else model
    models = (models,) if isinstance(models, VelocityModel) else tuple(models)
    error = STATION_DELAY[ground] if travel_time_error is None else travel_time_error
    known = (error, *(assumed_depth or (1.0, 1.0)))
    if not all(math.isfinite(value) for value in known) or error < 0 or min(known[1:]) <= 0:
        raise InputError("the error of travel times must not be negative, and the assumed depth and its error above 0")
    problem = _Problem(tuple(stations), models, ground, error, assumed_depth)
    places = len({problem.place[number] for number in problem.telling()})
    if places == 0:
        return Location("nothing", notes=("no station has an arrival",), model=models[0])
    if places == 1 and all(stations[number].lag is None for number in problem.telling()):
        why = "one station without S minus P determines neither distance nor place"
        return Location("nothing", notes=(why,), model=models[0])
    return _summary(*_judged(problem))


@dataclass(frozen=True, eq=False)
class _Problem:
    """The arrivals of one event, and what is taken of the ground."""

    stations: tuple[StationTimes, ...]
    models: tuple[VelocityModel, ...]
    ground: str
    travel_time_error: float
    assumed_depth: tuple[float, float] | None
    untimed: frozenset[int] = frozenset()
    out: frozenset[int] = frozenset()

    @functools.cached_property
    def place(self) -> tuple[int, ...]:
        """For each station the first one that stands at the same place."""
        latitude, longitude = [s.latitude for s in self.stations], [s.longitude for s in self.stations]
        at = Plane(*middle(latitude, longitude)).onto(latitude, longitude)
        apart = np.hypot(*(at[:, None] - at[None]).transpose(2, 0, 1))
        return tuple(int(np.argmax(row <= SAME_PLACE)) for row in apart)

    def timed(self, number: int) -> bool:
        """Tell whether the clock of a station counts."""
        return self.stations[number].timed and number not in self.untimed

    def telling(self) -> list[int]:
        """Return the stations whose arrivals count."""
        return [
            number
            for number, station in enumerate(self.stations)
            if number not in self.out
            and (station.lag is not None or (self.timed(number) and not station.p is station.s is None))
        ]

    @functools.cached_property
    def datum(self) -> float | None:
        """Mean elevation of the stations, m; None where none is known."""
        known = [station.elevation for station in self.stations if station.elevation is not None]
        return sum(known) / len(known) if known else None

    def rise(self, number: int) -> float:
        """Return how far a station stands above the mean elevation, km."""
        elevation = self.stations[number].elevation
        return 0.0 if elevation is None or self.datum is None else (elevation - self.datum) / 1000.0

    @property
    def deepest(self) -> float:
        """km; the largest depth considered."""
        if self.assumed_depth is None:
            return DEEPEST
        return max(40.0, math.ceil(self.assumed_depth[0] + 4 * self.assumed_depth[1]))

    def prior(self, depth: Floats) -> Floats:
        """Return the log prior density of depth."""
        if self.assumed_depth is None:
            return np.asarray(-np.log(depth + DEPTH_BEND))
        return np.asarray(-0.5 * ((depth - self.assumed_depth[0]) / self.assumed_depth[1]) ** 2)

    def prior_interval(self) -> tuple[float, float]:
        """Return the shortest interval that holds the depth with 95 % beforehand, km."""
        depth = (np.arange(2000) + 0.5) * self.deepest / 2000
        weight = np.exp(self.prior(depth))
        return _shortest(depth, weight / weight.sum(), self.deepest / 2000)


@dataclass(frozen=True, eq=False)
class _Posterior:
    """Cells of the grid and their weights, which sum up to 1."""

    plane: Plane
    numbers: list[int]
    points: Floats
    weight: Floats
    size: tuple[float, float]
    """Of a cell, horizontally and vertically, km."""
    hypotheses: Floats
    """Probability that all is right, of a wrong clock at each station, of wrong arrivals at each."""
    origin: Floats
    """Mean and variance in each cell."""
    epoch: float
    by_model: Floats
    misfit: tuple[float, int]
    """Of the best cell, with the largest delays allowed, under the best hypothesis; and its degrees of freedom."""
    at_edge: float
    """Probability at the edge of the map."""


def _solve(problem: _Problem) -> _Posterior:
    """Refine a grid about all places that the arrivals allow."""
    numbers = problem.telling()
    here = [problem.stations[number] for number in numbers]
    plane = Plane(*middle([s.latitude for s in here], [s.longitude for s in here]))
    at = plane.onto([s.latitude for s in here], [s.longitude for s in here])
    nan = math.nan
    times = np.array([[nan if s.p is None else s.p, nan if s.s is None else s.s] for s in here])
    timed = np.array([problem.timed(number) for number in numbers])
    epoch = float(np.nanmedian(times[timed])) if timed.any() else 0.0
    times[~timed] -= np.nanmean(times[~timed], axis=1, keepdims=True)  # only the lag counts
    times[timed] -= epoch
    variance = np.array([[s.p_uncertainty**2, s.s_uncertainty**2] for s in here])
    ones = np.ones(len(here))
    rise = np.array([problem.rise(number) for number in numbers])
    table = np.column_stack((at, times, variance, timed, ones, ones, rise)).astype(float)

    spread = float(np.hypot(*at.T).max())
    lags = [station.lag for station in here if station.lag is not None]
    reach = spread + (30.0 + 12.0 * float(np.median(lags)) if lags else 300.0)
    reach = min(reach, 0.9 * 1500.0 - spread)
    count, levels = 26, 12
    size = 2 * reach / count
    tall = problem.deepest / levels
    axis = -reach + (np.arange(count) + 0.5) * size
    depth = (np.arange(levels) + 0.5) * tall
    points = np.array(np.meshgrid(axis, axis, depth, indexing="ij")).reshape(3, -1).T
    slowness, slowness_s = SLOWNESS_ERROR[problem.ground]
    tables = [slowness_table(model, 1.02 * problem.deepest) for model in problem.models]
    velocity = [model.vp[0] for model in problem.models]

    def logs(points: Floats, cell: float, sizes: Sequence[tuple[float, float]]) -> tuple[list[Floats], list[Floats]]:
        scales = np.array([[f * problem.travel_time_error, math.log(w)] for f, w in sizes])
        found, origins = [], []
        for (means, axes), fast in zip(tables, velocity, strict=True):
            budget = np.array([
                COMMON_S_DELAY[problem.ground], slowness, slowness_s, GROWTH, cell / fast, 1.73,
                math.log(WRONG_CLOCK), CLOCK_SPREAD, math.log(WRONG_ARRIVALS), ARRIVAL_SPREAD,
                SIDEWAYS_ERROR[problem.ground],
            ])  # fmt: skip
            value, origin = evaluate(points, table, means, axes, budget, scales)
            found.append(value + problem.prior(points[:, 2])[:, None])
            origins.append(origin)
        return found, origins

    most = max(4000, MOST_TIMES // len(here))
    while True:
        # Errors nearly as large as the cells, so that no narrow maximum is missed between their centres.
        found, _ = logs(points, 0.35 * size, [(1.0, 1.0)])
        total = np.logaddexp.reduce(np.concatenate(found, axis=1), axis=1)
        near = total > total.max() - NEGLIGIBLE
        if 0.35 * size / max(velocity) > COARSE and near.sum() > most // 4:
            near = total >= np.partition(total, -(most // 4))[-(most // 4)]
        points, weight = points[near], np.exp(total[near] - total.max())
        columns = _columns(points, weight / weight.sum(), size)[1]
        flat = _needed(columns) < FINE and 4 * len(points) <= most
        high = len(np.unique(np.round(points[:, 2] / tall - 0.5))) < LEVELS and 2 * len(points) * (1 + 3 * flat) <= most
        if not (flat or high):
            break
        if flat:
            points = _split(points, np.array([[dx, dy, 0.0] for dx in (-1, 1) for dy in (-1, 1)]) * size / 4)
            size /= 2
        if high:
            points = _split(points, np.array([[0.0, 0.0, dz] for dz in (-1, 1)]) * tall / 4)
            tall /= 2
    # What was next to impossible with errors a little larger need not be tried once more.
    likely = np.logaddexp.reduce(np.logaddexp.reduce(np.stack(found), axis=0), axis=0) - np.logaddexp.reduce(total)
    table[:, 7], table[:, 8] = likely[1:].reshape(2, -1) > math.log(UNLIKELY)
    sizes = DELAY_SIZES if problem.travel_time_error > 0 else ((1.0, 1.0),)
    found, origins = logs(points, size / math.sqrt(12), sizes)
    stacked = np.stack(found)  # models, cells, hypotheses
    top = float(stacked.max())
    share = np.exp(stacked - top)
    share /= share.sum()
    by_cell = share.sum(axis=2)
    weight = by_cell.sum(axis=0)
    mean = (by_cell * [origin[:, 0] for origin in origins]).sum(axis=0) / np.maximum(weight, 1e-300)
    second = (by_cell * [origin[:, 1] + origin[:, 0] ** 2 for origin in origins]).sum(axis=0)
    variance_of = second / np.maximum(weight, 1e-300) - mean**2
    at_edge = float(weight[np.abs(points[:, :2]).max(axis=1) > 0.96 * reach].sum())
    best = int(np.argmax(weight))
    model, worst = (int(at) for at in np.unravel_index(int(stacked[:, best].argmax()), stacked[:, best].shape))
    if 0 < worst <= len(here):
        table[worst - 1, 6] = 0.0
    elif worst > 0:
        table[worst - 1 - len(here), 2:4] = math.nan
    misfit = _misfit(problem, table, points[best], model)
    return _Posterior(
        plane, numbers, points, weight, (size, tall), share.sum(axis=(0, 1)), np.column_stack((mean, variance_of)),
        epoch, by_cell.sum(axis=1), misfit, at_edge,
    )  # fmt: skip


def _split(points: Floats, by: Floats) -> Floats:
    """Return each point once for each displacement."""
    return np.asarray((points[None] + by[:, None]).reshape(-1, 3))


def _misfit(problem: _Problem, table: Floats, place: Floats, which: int) -> tuple[float, int]:
    """Return the squared standardised misfit of all arrivals at a place, and the degrees of freedom."""
    largest = DELAY_SIZES[-1][0] * problem.travel_time_error
    slowness, slowness_s = SLOWNESS_ERROR[problem.ground]
    distance = np.hypot(*(table[:, :2] - place[:2]).T)
    model = problem.models[which]
    predicted = np.column_stack([time_at_station(model, phase, distance, place[2], table[:, 9]) for phase in "PS"])
    n = len(table)
    covariance = np.zeros((2 * n, 2 * n))
    for i in range(n):
        shared = largest**2 + (GROWTH * predicted[i, 0]) ** 2
        covariance[2 * i : 2 * i + 2, 2 * i : 2 * i + 2] = np.diag(table[i, 4:6]) + shared * np.outer(
            [1, 1.73], [1, 1.73]
        )
        if table[i, 6] < 0.5:
            covariance[2 * i : 2 * i + 2, 2 * i : 2 * i + 2] += 1e6
    is_s = np.tile([0.0, 1.0], n)
    time = predicted.ravel()
    towards = np.repeat((table[:, :2] - place[:2]) / np.maximum(distance, 1e-6)[:, None], 2, axis=0)
    sideways = SIDEWAYS_ERROR[problem.ground] * time[:, None] * towards
    for column in (COMMON_S_DELAY[problem.ground] * is_s, slowness * time, slowness_s * time * is_s, *sideways.T):
        covariance += np.outer(column, column)
    covariance += 1e6
    residual = table[:, 2:4].ravel() - time
    there = np.isfinite(residual)
    clocks = (table[:, 6] > 0.5) & np.isfinite(table[:, 2:4]).any(axis=1)
    lags = int((table[:, 6] < 0.5).sum())
    freedom = int(there.sum()) - lags - 3 - int(clocks.any())
    return float(residual[there] @ np.linalg.solve(covariance[np.ix_(there, there)], residual[there])), freedom


def _columns(points: Floats, weight: Floats, size: float) -> tuple[NDArray[np.int64], Floats]:
    """Return the cells of the map, shape (n, 2), and the probability of each."""
    cells, which = np.unique(np.floor(points[:, :2] / size).astype(np.int64), axis=0, return_inverse=True)
    return cells, np.asarray(np.bincount(which.ravel(), weight), dtype=float)


def _needed(probability: Floats) -> int:
    """Return how many cells hold 95 %, the most probable first."""
    return int(np.searchsorted(np.cumsum(np.sort(probability)[::-1]), CONFIDENCE * probability.sum())) + 1


def _shortest(value: Floats, weight: Floats, size: float) -> tuple[float, float]:
    """Return the shortest interval that holds 95 % of a weight on cells of one size."""
    order = np.argsort(value)
    value, total = value[order], np.concatenate(([0.0], np.cumsum(weight[order])))
    first = np.searchsorted(total, total[-1] * CONFIDENCE, side="left")
    best = (float(value[0] - size / 2), float(value[min(first, len(value)) - 1] + size / 2))
    for begin in range(len(value)):
        end = int(np.searchsorted(total, total[begin] + CONFIDENCE * total[-1] - 1e-12))
        if end > len(value):
            break
        interval = float(value[begin] - size / 2), float(value[end - 1] + size / 2)
        if interval[1] - interval[0] < best[1] - best[0] - 1e-9:
            best = interval
    return max(best[0], 0.0), best[1]


def _judged(problem: _Problem) -> tuple[_Problem, _Posterior, tuple[str, ...], bool]:
    """Solve, and take out what is wrong beyond doubt.

    Returns
    -------
    problem, posterior, notes, consistent
        The problem is what is left of it.
    """
    posterior = _solve(problem)
    allowed = len(problem.telling()) // 3
    for _ in range(allowed):
        m = len(posterior.numbers)
        probability = posterior.hypotheses
        worst = 1 + int(np.argmax(probability[1:]))
        by_station = probability[1 : m + 1] + probability[m + 1 :]
        number = posterior.numbers[(worst - 1) % m]
        others = {problem.place[n] for n in posterior.numbers} - {problem.place[number]}
        if len(others) < LEAST_OTHERS or by_station.max() < DECIDED:
            break
        clock = bool(probability[worst] > 0.5 * by_station.max() and worst <= m)
        if clock:
            less = replace(problem, untimed=problem.untimed | {number})
        else:
            less = replace(problem, out=problem.out | {number})
        problem, posterior = less, _solve(less)
    if _unlikely(posterior):
        lags = replace(problem, untimed=frozenset(range(len(problem.stations))))
        if len({lags.place[number] for number in lags.telling()}) >= 3:
            alone = _solve(lags)
            if not _unlikely(alone):
                why = "the clocks do not agree: only S minus P was used, and there is no origin time"
                return lags, alone, (why,), True
        return problem, posterior, ("no one place and time explains these arrivals",), False
    m = len(posterior.numbers)
    by_station = posterior.hypotheses[1 : m + 1] + posterior.hypotheses[m + 1 :]
    if by_station.sum() < 0.5:
        return problem, posterior, (), True
    order = [int(at) for at in np.argsort(-by_station) if by_station[at] > 0.05]
    suspects = ", ".join(problem.stations[posterior.numbers[at]].station for at in order)
    which = f"{suspects} probably" if len(order) == 1 else f"which one cannot be determined: {suspects}"
    return problem, posterior, (f"one station does not fit the others, {which}; the region allows for that",), True


def _unlikely(posterior: _Posterior) -> bool:
    misfit, freedom = posterior.misfit
    return freedom > 0 and bool(chi_square.sf(misfit, freedom) < LEAST_LIKELY)


def _summary(problem: _Problem, posterior: _Posterior, notes: tuple[str, ...], consistent: bool) -> Location:
    size, tall = posterior.size
    points, weight = posterior.points, posterior.weight
    model = problem.models[int(posterior.by_model.argmax())]
    depth = _depth_weights(points, weight, tall)
    interval = _shortest(*depth, tall)
    before = problem.prior_interval()
    resolved = interval[1] - interval[0] < INFORMED * (before[1] - before[0])
    circles = _circles(problem, model, float((points[:, 2] * weight).sum()) if resolved else None)
    known = Location(
        "nothing", depth_interval=interval, depth_resolved=resolved, circles=circles, model=model,
        consistent=consistent, distances=_distances(problem, posterior),
        left_out=tuple(problem.stations[n].station for n in sorted(problem.out)),
        degrees_of_freedom=posterior.misfit[1], datum=problem.datum,
        probabilities=tuple(float(share) for share in posterior.by_model),
    )  # fmt: skip
    if not consistent:
        return replace(known, notes=notes, distances=())
    if problem.out:
        notes = (f"left out, because the others agree without: {', '.join(known.left_out)}", *notes)
    cells, probability = _columns(points, weight, size)
    region = _region(posterior.plane, cells, probability, size)
    parts, count = label(region.inside, np.ones((3, 3)))
    shares = [float(region.density[parts == part].sum()) for part in range(1, count + 1)]
    large = [part for part, share in enumerate(shares, 1) if share > 0.03]
    if len({problem.place[number] for number in posterior.numbers}) == 1:
        return replace(known, kind="circle", region=region, notes=notes)
    if posterior.at_edge > AT_EDGE or region.area > LARGEST_AREA:
        why = "the arrivals do not constrain the location in at least one direction"
        return replace(known, notes=(*notes, why), distances=())
    if not resolved:
        notes += (f"the arrivals do not constrain the depth: {interval[0]:.0f} to {interval[1]:.0f} km is allowed",)
    timed = any(problem.timed(number) for number in posterior.numbers)
    hypocentres = []
    for part in large if len(large) <= 2 else ():
        rows = np.floor(points[:, 1] / size).astype(int) - round(region.south / size)
        columns = np.floor(points[:, 0] / size).astype(int) - round(region.west / size)
        nearest = parts == part
        if len(large) == 1:
            mine = np.ones(len(points), dtype=bool)
        else:
            # What lies outside both parts belongs to the nearer one.
            grown = _nearest_part(parts, large)
            mine = grown[rows, columns] == part
            nearest = (parts == part) & (grown == part)
        hypocentre = _hypocentre(posterior, mine, timed, float(nearest.sum()) * size**2)
        if hypocentre is not None:
            hypocentres.append(hypocentre)
    located = replace(known, region=region, notes=notes)
    if len(hypocentres) == 2:
        note = "two places suit the arrivals: one of them is right, not a point between"
        return replace(located, kind="two points", hypocentres=tuple(hypocentres), notes=(*notes, note))
    if len(hypocentres) != 1 or len(large) > 1 or len({problem.place[number] for number in posterior.numbers}) == 2:
        return replace(located, kind="region")
    point = hypocentres[0]
    gap = azimuthal_gap([
        distance_and_azimuth(point.latitude, point.longitude, s.latitude, s.longitude)[1]
        for s in (problem.stations[number] for number in posterior.numbers)
    ])  # fmt: skip
    if gap > 180:
        notes += (f"all stations lie to one side (azimuthal gap {gap:.0f} degrees): distance and depth trade off",)
    residuals = _residuals(problem, point, model)
    return replace(located, kind="point", hypocentres=(point,), gap=gap, notes=notes, residuals=residuals,
                   clocks=_clocks(problem, point, residuals))  # fmt: skip


def _depth_weights(points: Floats, weight: Floats, tall: float) -> tuple[Floats, Floats]:
    level = np.floor(points[:, 2] / tall).astype(int)
    total = np.asarray(np.bincount(level, weight), dtype=float)
    return (np.arange(len(total), dtype=float) + 0.5) * tall, total


def _region(plane: Plane, cells: NDArray[np.int64], probability: Floats, size: float) -> Region:
    """Return the smallest region that holds 95 %."""
    least = cells.min(axis=0)
    wide = cells.max(axis=0) - least + 1
    density = np.zeros((wide[1], wide[0]))
    density[cells[:, 1] - least[1], cells[:, 0] - least[0]] = probability
    order = np.argsort(-density, axis=None)
    inside = np.zeros(density.size, dtype=bool)
    inside[order[: _needed(probability)]] = True
    return Region(plane, least[0] * size, least[1] * size, size, density, inside.reshape(density.shape))


def _nearest_part(parts: NDArray[np.int32], large: Sequence[int]) -> NDArray[np.int32]:
    """Return for each cell the nearest of the parts."""
    from scipy.ndimage import distance_transform_edt

    kept = np.where(np.isin(parts, large), parts, 0)
    _, (row, column) = distance_transform_edt(kept == 0, return_indices=True)
    return np.asarray(kept[row, column])


def _hypocentre(posterior: _Posterior, mine: NDArray[np.bool_], timed: bool, area: float) -> Hypocentre | None:
    """Return mean and covariance, and the ellipse that holds 95 %; None where the region is no ellipse."""
    points, weight = posterior.points[mine], posterior.weight[mine] / posterior.weight[mine].sum()
    mean = weight @ points
    apart = points - mean
    covariance = (weight[:, None] * apart).T @ apart + np.diag([posterior.size[0] ** 2 / 12] * 2 + [0.0])
    standardised = (apart[:, :2] @ np.linalg.inv(covariance[:2, :2]) * apart[:, :2]).sum(axis=1)
    order = np.argsort(standardised)
    at = int(np.searchsorted(np.cumsum(weight[order]), CONFIDENCE))
    within = max(float(standardised[order[min(at, len(order) - 1)]]), 1e-9)
    values, vectors = np.linalg.eigh(covariance[:2, :2])
    minor, major = np.sqrt(np.maximum(values, 0.0) * within)
    if math.pi * minor * major > ELLIPTIC * area + 1.5 * posterior.size[0] * (minor + major):
        return None
    azimuth = math.degrees(math.atan2(vectors[0, 1], vectors[1, 1])) % 180
    origin = posterior.origin[mine]
    time = float(weight @ origin[:, 0])
    spread = math.sqrt(float(weight @ (origin[:, 1] + (origin[:, 0] - time) ** 2)))
    latitude, longitude = posterior.plane.back(mean[0], mean[1])
    return Hypocentre(
        latitude, longitude, float(mean[2]), math.sqrt(covariance[2, 2]),
        posterior.epoch + time if timed else math.nan, spread if timed else math.nan,
        Ellipse(float(major), float(minor), azimuth), covariance,
    )  # fmt: skip


def _quantiles(value: Floats, weight: Floats) -> tuple[float, float, float]:
    """Return the median, and the ends of the central 95 %."""
    order = np.argsort(value)
    total = np.cumsum(weight[order])
    at = np.minimum(np.searchsorted(total, np.array([0.5, 0.025, 0.975]) * total[-1]), len(value) - 1)
    middle_, low, high = (float(found) for found in value[order[at]])
    return middle_, low, high


def _distances(problem: _Problem, posterior: _Posterior) -> tuple[StationDistance, ...]:
    found = []
    for number, station in enumerate(problem.stations):
        at = posterior.plane.onto([station.latitude], [station.longitude])[0]
        epicentral = np.hypot(*(posterior.points[:, :2] - at).T)
        slant = np.hypot(epicentral, posterior.points[:, 2] + problem.rise(number))
        found.append(
            StationDistance(
                station.station, _quantiles(slant, posterior.weight), _quantiles(epicentral, posterior.weight)
            )
        )
    return tuple(found)


def _residuals(problem: _Problem, point: Hypocentre, model: VelocityModel) -> tuple[Residual, ...]:
    """Return all arrivals' residuals at a place, also of those left out."""
    found = []
    for number, station in enumerate(problem.stations):
        distance = distance_and_azimuth(point.latitude, point.longitude, station.latitude, station.longitude)[0]
        late: dict[str, float] = {}
        for phase, time in (("P", station.p), ("S", station.s)):
            if time is not None:
                late[phase] = time - float(
                    time_at_station(model, phase, distance, point.depth, problem.rise(number))[0]
                )
        error_p = math.hypot(station.p_uncertainty, problem.travel_time_error)
        error_s = math.hypot(station.s_uncertainty, 1.73 * problem.travel_time_error)
        used = number not in problem.out
        if station.timed and math.isfinite(point.origin_time):
            counts = used and problem.timed(number)
            if "P" in late:
                found.append(Residual(station.station, "P", late["P"] - point.origin_time, error_p, counts))
            if "S" in late:
                found.append(Residual(station.station, "S", late["S"] - point.origin_time, error_s, counts))
        if not problem.timed(number) and len(late) == 2:
            error = math.hypot(station.lag_uncertainty, 0.73 * problem.travel_time_error)
            found.append(Residual(station.station, "S-P", late["S"] - late["P"], error, used))
    return tuple(found)


def _clocks(problem: _Problem, point: Hypocentre, residuals: Sequence[Residual]) -> tuple[ClockError, ...]:
    """Return by how much the clocks that were not used are off."""
    if not math.isfinite(point.origin_time):
        return ()
    found = []
    for number in sorted(problem.untimed):
        name = problem.stations[number].station
        mine = [r for r in residuals if r.station == name and r.phase != "S-P"]
        if mine and problem.stations[number].timed:
            weight = np.array([r.error**-2 for r in mine])
            offset = float(weight @ [r.residual for r in mine] / weight.sum())
            spread = math.hypot(point.origin_uncertainty, 1.0 / math.sqrt(float(weight.sum())))
            found.append(ClockError(name, offset, spread))
    return tuple(found)


def _circles(problem: _Problem, model: VelocityModel, depth: float | None) -> tuple[Circle, ...]:
    """Return the circles of S minus P, from a source at a depth, or at the middle of the allowed ones."""
    circles = []
    slowness, slowness_s = SLOWNESS_ERROR[problem.ground]
    if depth is None:
        depth = 10.0 if problem.assumed_depth is None else problem.assumed_depth[0]
    for station in problem.stations:
        if station.lag is None:
            continue
        # A lag errs by picks, delays, and velocities: of Vp/Vs by Vp/Vs over Vp/Vs - 1, 2.4 for a Poisson solid.
        error = math.sqrt(
            station.lag_uncertainty**2 + (0.73 * problem.travel_time_error) ** 2 + COMMON_S_DELAY[problem.ground] ** 2
            + (station.lag * slowness) ** 2 + (2.4 * station.lag * slowness_s) ** 2
        )  # fmt: skip
        radius = epicentral_distance(station.lag, depth, model) or 0.0
        far = epicentral_distance(station.lag + error, depth, model) or 0.0
        near = epicentral_distance(max(station.lag - error, 0.0), depth, model) or 0.0
        circles.append(Circle(station.station, station.latitude, station.longitude, radius, (far - near) / 2))
    return tuple(circles)


def wadati(stations: Sequence[StationTimes]) -> tuple[float, float, float, float] | None:
    """Fit S minus P against P: the ratio Vp/Vs, and the origin time, without any velocity or place.

    Parameters
    ----------
    stations : sequence of StationTimes
        At least three with both arrivals and a right clock.

    Returns
    -------
    ratio, ratio_uncertainty, origin_time, origin_uncertainty : float
        S - P = (Vp/Vs - 1) (P - origin time); None where there are too few stations or they are all as far away.

    References
    ----------
    Wadati, K. (1933). On the travel time of earthquake waves, part II. Geophysical Magazine 7, 101-111.

    Examples
    --------
    >>> times = {"A": (3.0, 4.4), "B": (6.0, 9.5), "C": (9.0, 14.6)}
    >>> stations = [StationTimes(name, 0.0, 0.0, p, s) for name, (p, s) in times.items()]
    >>> ratio, _, origin, _ = wadati(stations)
    >>> round(ratio, 3), round(origin, 3)
    (1.7, 1.0)
    """
    both = [s for s in stations if s.timed and s.lag is not None]
    if len(both) < 3:
        return None
    p = np.array([s.p for s in both], dtype=float)
    # S itself against P: the two picks err independently, where lag and P would not.
    s = np.array([station.s for station in both], dtype=float)
    p_error = np.array([station.p_uncertainty for station in both])
    s_error = np.array([station.s_uncertainty for station in both])
    slope = 1.7
    for _ in range(30):
        weight = 1 / (s_error**2 + slope**2 * p_error**2)
        mean_p, mean_s = np.average(p, weights=weight), np.average(s, weights=weight)
        # York's (1968) line for errors in both coordinates.
        u, v = p - mean_p, s - mean_s
        shifted = weight * (u * s_error**2 + slope * v * p_error**2)
        if abs(float((weight * shifted * u).sum())) < 1e-12:
            return None
        slope, last = float((weight * shifted * v).sum() / (weight * shifted * u).sum()), slope
        if abs(slope - last) < 1e-12:
            break
    spread = float((weight * u**2).sum())
    if not (slope > 1 and spread > 0):
        return None
    slope_error = math.sqrt(1 / spread)
    if slope_error > 0.5 * (slope - 1):
        return None
    # At the origin time P and S are one: t0 = mean_p - (mean_s - mean_p) / (slope - 1).
    lag = mean_s - mean_p
    origin = mean_p - lag / (slope - 1)
    by_mean = math.hypot(slope, 1.0) / (slope - 1) / math.sqrt(float(weight.sum())) / math.hypot(slope, 1.0)
    origin_error = math.hypot(by_mean, lag / (slope - 1) ** 2 * slope_error)
    return slope, slope_error, float(origin), origin_error
