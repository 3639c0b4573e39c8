"""Where and when: epicentre, depth and origin time from arrival times, with what they are worth.

All of it is least squares with errors known beforehand: those of the picks and of the travel times. Places are searched
for all over first, then each likely one is brought to its minimum (Levenberg-Marquardt). What the arrivals cannot tell
is said, not guessed: one station gives a circle, two give two points, and so may stations in a line.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from itertools import combinations
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares
from scipy.stats import chi2 as chi_square

from ..foundation.errors import InputError
from ..foundation.geodesy import Plane, azimuthal_gap, distance_and_azimuth, middle
from .travel import VelocityModel, epicentral_distance, travel_times

__all__ = ["Circle", "Ellipse", "Hypocentre", "Location", "Residual", "StationTimes", "locate", "wadati"]

Floats = NDArray[np.float64]

WITHIN_95 = float(chi_square.ppf(0.95, 2))
"""Two coordinates with known errors lie within this squared standardised distance with 95 %."""

LEAST_LIKELY = 0.01
"""Arrivals whose misfit would be exceeded by chance less often than this do not belong together."""

COST_OF_LEAVING_OUT = 4.0
"""Misfit that leaving out one more arrival must save: two standard errors, squared."""

DECISIVE = 0.25
"""Leaving out arrivals is kept, where the rest do not agree yet, if it brings the misfit down to this part."""

MOST_SUSPECTED = 12
"""Stations, those that fit least, of which two are left out together: there are too many pairs of all."""

SAME_PLACE = 0.1
"""km; stations closer than this see the event from one place."""

TWO_PLACES = 0.5
"""km; minima farther apart than this are two places, nearer ones are one that was reached from two sides."""

FARTHEST = 1000.0
"""km; beyond, the ground is not flat and the event is not local."""


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
    """

    station: str
    latitude: float
    longitude: float
    p: float | None = None
    s: float | None = None
    p_uncertainty: float = 0.05
    s_uncertainty: float = 0.1
    timed: bool = True

    def __post_init__(self) -> None:
        times = [value for value in (self.p, self.s) if value is not None]
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
    """The area that holds the epicentre with 95 % where the errors are as stated.

    Semi-axes in km; azimuth of the longer one in degrees clockwise from north.
    """

    semi_major: float
    semi_minor: float
    azimuth: float


@dataclass(frozen=True)
class Hypocentre:
    """One place and time that suits the arrivals.

    Parameters
    ----------
    latitude, longitude : float
        Degrees.
    depth, depth_uncertainty : float
        km below the stations, and standard error.
    origin_time, origin_uncertainty : float
        s after the epoch, and standard error; NaN where no clock is right.
    ellipse : Ellipse
    covariance : ndarray, shape (3, 3)
        Of east, north and depth, km².
    misfit : float
        Sum of squared residuals over their errors.
    """

    latitude: float
    longitude: float
    depth: float
    depth_uncertainty: float
    origin_time: float
    origin_uncertainty: float
    ellipse: Ellipse
    covariance: Floats = field(repr=False)
    misfit: float


@dataclass(frozen=True)
class Residual:
    """Observed minus predicted at one station, s; `used` is False where it was left out."""

    station: str
    phase: Literal["P", "S", "S-P"]
    residual: float
    error: float
    used: bool


@dataclass(frozen=True)
class Circle:
    """The epicentre lies this far from a station, km, by S minus P."""

    station: str
    latitude: float
    longitude: float
    radius: float
    uncertainty: float


@dataclass(frozen=True)
class Location:
    """What the arrivals tell of the place.

    Parameters
    ----------
    kind : {"point", "two points", "circle", "nothing"}
    hypocentres : tuple of Hypocentre
        One for a point, two or more where the arrivals suit several places, none else.
    depth_resolved : bool
        The depth comes from the arrivals; where False it was assumed, with its error.
    circles : tuple of Circle
    residuals : tuple of Residual
        Of a point.
    left_out : tuple of str
        Stations, or ``"station P"``, ``"station S"``, whose arrivals do not fit the others'.
    gap : float
        Widest angle without a station, degrees; NaN but for a point.
    degrees_of_freedom : int
    notes : tuple of str
        What cannot be determined, and why.
    """

    kind: Literal["point", "two points", "circle", "nothing"]
    hypocentres: tuple[Hypocentre, ...] = ()
    depth_resolved: bool = False
    circles: tuple[Circle, ...] = ()
    residuals: tuple[Residual, ...] = ()
    left_out: tuple[str, ...] = ()
    gap: float = math.nan
    degrees_of_freedom: int = 0
    notes: tuple[str, ...] = ()

    @property
    def point(self) -> Hypocentre | None:
        """The hypocentre where there is just one."""
        return self.hypocentres[0] if self.kind == "point" else None


def locate(
    stations: Sequence[StationTimes],
    model: VelocityModel | None = None,
    *,
    travel_time_error: float = 0.1,
    assumed_depth: tuple[float, float] = (10.0, 7.0),
) -> Location:
    """Locate an event.

    Parameters
    ----------
    stations : sequence of StationTimes
    model : VelocityModel, optional
        6.0 and 3.5 km/s throughout if not given.
    travel_time_error : float
        Standard error of a travel time, s: what the model does not know of the ground.
    assumed_depth : tuple of float
        Depth and standard error, km, taken where the arrivals do not tell: with fewer than four stations, or where
        their own depth is less than its error, or its error more than this one.

    Returns
    -------
    Location

    Raises
    ------
    InputError
        Errors are not above 0, or S comes before P.

    Examples
    --------
    >>> at = [(0.2, 0.1), (-0.2, 0.2), (0.1, -0.3), (-0.1, -0.1)]
    >>> stations = []
    >>> for number, (latitude, longitude) in enumerate(at):
    ...     distance, _ = distance_and_azimuth(0.0, 0.0, latitude, longitude)
    ...     slant = math.hypot(distance, 8.0)
    ...     stations.append(StationTimes(f"S{number}", latitude, longitude, 5 + slant / 6.0, 5 + slant / 3.5))
    >>> found = locate(stations).point
    >>> abs(found.latitude) < 1e-4, round(found.depth, 3), round(found.origin_time, 3)
    (True, 8.0, 5.0)
    """
    model = model or VelocityModel()
    taken = (travel_time_error, *assumed_depth)
    if not all(math.isfinite(value) for value in taken) or travel_time_error < 0 or min(assumed_depth) <= 0:
        raise InputError("the error of travel times must not be negative, and the assumed depth and its error above 0")
    problem = _Problem(tuple(stations), model, travel_time_error, assumed_depth)
    telling = problem.stations_telling()
    circles = _circles(stations, model, travel_time_error, assumed_depth)
    if telling == 0:
        return Location("nothing", notes=("no station has an arrival",))
    if telling == 1:
        if not circles:
            return Location("nothing", notes=("one station without S minus P determines neither distance nor place",))
        note = f"one station tells the distance, {circles[0].radius:.1f} km, not the place: it lies on a circle"
        return Location("circle", circles=circles, notes=(note,))

    solution = problem.solve()
    left_out: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    if solution.unlikely:
        solution, left_out, notes = _leave_out(problem, solution)
    solution = replace(solution, circles=circles, left_out=left_out, notes=notes)
    return _judged(solution, problem, left_out)


@dataclass(frozen=True)
class _Row:
    """One equation: an arrival time, or a lag where the clock is not right."""

    station: int
    phase: Literal["P", "S", "S-P"]
    observed: float
    error: float


Minimum = tuple[Plane, Floats, Floats, float]
"""A map about a place, (east, north, depth, origin time) on it, their covariance, and the misfit."""


@dataclass(frozen=True)
class _Solution:
    minima: tuple[Minimum, ...]
    """The best first."""
    depth_resolved: bool
    freedom: int
    rows: tuple[_Row, ...]
    circles: tuple[Circle, ...] = ()
    left_out: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()

    @property
    def misfit(self) -> float:
        return self.minima[0][3] if self.minima else math.inf

    @property
    def unlikely(self) -> bool:
        return bool(self.minima) and self.freedom > 0 and chi_square.sf(self.misfit, self.freedom) < LEAST_LIKELY


class _Problem:
    """The equations of one event, and their solution."""

    def __init__(
        self,
        stations: tuple[StationTimes, ...],
        model: VelocityModel,
        travel_time_error: float,
        assumed_depth: tuple[float, float],
        without: frozenset[tuple[int, str]] = frozenset(),
        place: tuple[int, ...] | None = None,
    ) -> None:
        self.stations, self.model = stations, model
        self.place = _places(stations) if place is None else place
        self.travel_time_error, self.assumed_depth = travel_time_error, assumed_depth
        self.without = without
        rows = []
        for number, station in enumerate(stations):
            p = station.p if (number, "P") not in without else None
            s = station.s if (number, "S") not in without else None
            error_p = math.hypot(station.p_uncertainty, travel_time_error)
            error_s = math.hypot(station.s_uncertainty, travel_time_error)
            if station.timed:
                if p is not None:
                    rows.append(_Row(number, "P", p, error_p))
                if s is not None:
                    rows.append(_Row(number, "S", s, error_s))
            elif p is not None and s is not None:
                rows.append(_Row(number, "S-P", s - p, math.hypot(error_p, error_s)))
        self.rows = tuple(rows)
        self.number = np.array([row.station for row in rows], dtype=int)
        self.observed = np.array([row.observed for row in rows])
        self.error = np.array([row.error for row in rows])
        # How much of a row is travel time of P, of S, and origin time.
        self.of_p = np.array([{"P": 1.0, "S": 0.0, "S-P": -1.0}[row.phase] for row in rows])
        self.of_s = np.array([{"P": 0.0, "S": 1.0, "S-P": 1.0}[row.phase] for row in rows])
        self.of_origin = self.of_p + self.of_s

    def less(self, left_out: frozenset[tuple[int, str]]) -> _Problem:
        """Return the problem without these arrivals."""
        without = self.without | left_out
        return _Problem(self.stations, self.model, self.travel_time_error, self.assumed_depth, without, self.place)

    def stations_telling(self) -> int:
        """Count the places from which there are arrivals."""
        return len({self.place[number] for number in self.number})

    @property
    def timed(self) -> bool:
        return bool(self.of_origin.any())

    def solve(self, near: Minimum | None = None) -> _Solution:
        """Find every place that suits the arrivals, with the depth they tell or the assumed one.

        Where a place `near` the right one is known, only the minimum reached from there is looked for.
        """
        unknowns = 4 if self.timed else 3
        used = sorted(set(self.number.tolist()))
        here = [self.stations[number] for number in used]
        plane = Plane(*middle([s.latitude for s in here], [s.longitude for s in here])) if near is None else near[0]
        # Four stations tell the depth where they can; fewer cannot.
        if self.stations_telling() >= 4 and len(self.rows) >= unknowns:
            minima = self._minima(plane, near, assume=False)
            if minima and self._tells_depth(minima[0]):
                return _Solution(minima, True, len(self.rows) - unknowns, self.rows)
        if len(self.rows) + 1 < unknowns:
            return _Solution((), False, 0, self.rows)
        return _Solution(self._minima(plane, near, assume=True), False, len(self.rows) + 1 - unknowns, self.rows)

    def _tells_depth(self, minimum: Minimum) -> bool:
        depth, error = minimum[1][2], math.sqrt(minimum[2][2, 2])
        return error < min(depth, self.assumed_depth[1])

    def _minima(self, plane: Plane, near: Minimum | None, assume: bool) -> tuple[Minimum, ...]:
        at = self._on(plane)
        reached: list[tuple[Floats, float]] = []
        for start in self._search(at, assume) if near is None else [near[1]]:
            place, _, misfit = self._descend(start, at, assume)
            if np.hypot(*place[:2]) < FARTHEST and all(
                np.linalg.norm((place - other)[:3]) > 0.01 for other, _ in reached
            ):
                reached.append((place, misfit))
        best = min((misfit for _, misfit in reached), default=0.0)
        found: list[Minimum] = []
        for place, misfit in reached:
            if misfit > best + 2 * WITHIN_95:  # the map is not true enough to tell more closely
                continue
            # Once more on a map about the place itself, where its distances are true.
            about = Plane(*plane.back(place[0], place[1]))
            place, covariance, misfit = self._descend(np.array([0.0, 0.0, *place[2:]]), self._on(about), assume)
            found.append((Plane(*about.back(*place[:2])), np.array([0.0, 0.0, *place[2:]]), covariance, misfit))
        found.sort(key=lambda minimum: minimum[3])
        apart: list[Minimum] = []
        for minimum in found:
            if minimum[3] > found[0][3] + WITHIN_95:
                break
            if all(_different(minimum, other) for other in apart):
                apart.append(minimum)
        return tuple(apart)

    def _on(self, plane: Plane) -> Floats:
        points = plane.onto([s.latitude for s in self.stations], [s.longitude for s in self.stations])
        return points[self.number]

    def _search(self, at: Floats, assume: bool) -> list[Floats]:
        """Return the most likely nodes of a grid, (east, north, depth, origin time)."""
        aperture = float(np.abs(at).max())
        lags = self._lags()
        # A km of distance takes at least this part of a second of lag.
        lag_rate = min((vp - vs) / (vp * vs) for vp, vs in zip(self.model.vp, self.model.vs, strict=True))
        reach = aperture + 1.2 * max(lags) / lag_rate if lags else max(3 * aperture, 150.0)
        axis = np.linspace(-reach, reach, 41)
        east, north = (part.ravel() for part in np.meshgrid(axis, axis))
        distance = np.hypot(east[:, None] - at[:, 0], north[:, None] - at[:, 1])
        table = np.linspace(0.0, float(distance.max()) * 1.001, 300)
        best, misfit = np.full((east.size, 2), np.nan), np.full(east.size, np.inf)
        weight = self.error**-2
        origin_weight = weight * self.of_origin**2
        depths = [3.0, 10.0, 30.0]
        if len(self.model.top) > 1:  # times have a kink in depth at each interface: look within each layer
            depths += [(upper + lower) / 2 for upper, lower in zip(self.model.top, self.model.top[1:], strict=False)]
        for depth in depths:
            rest = np.tile(self.observed, (east.size, 1))
            for phase, share in (("P", self.of_p), ("S", self.of_s)):
                if share.any():
                    times = travel_times(self.model, phase, table, depth)[0]
                    rest -= share * np.interp(distance, table, times)
            origin = (rest * origin_weight).sum(axis=1) / origin_weight.sum() if self.timed else np.zeros(east.size)
            now = ((rest - origin[:, None] * self.of_origin) ** 2 * weight).sum(axis=1)
            if assume:
                now += ((depth - self.assumed_depth[0]) / self.assumed_depth[1]) ** 2
            better = now < misfit
            misfit[better] = now[better]
            best[better] = np.column_stack((np.full(east.size, depth), origin))[better]
        # The lowest nodes of their surroundings, and the lowest of all.
        field_ = misfit.reshape(41, 41)
        padded = np.pad(field_, 1, constant_values=np.inf)
        around = [padded[i : i + 41, j : j + 41] for i in range(3) for j in range(3) if (i, j) != (1, 1)]
        low = np.flatnonzero((field_ <= np.min(around, axis=0)).ravel())
        low = low[np.argsort(misfit[low])][:6]
        starts = [np.array([east[i], north[i], *best[i]]) for i in low]
        if len(self.model.top) > 1:
            starts += [np.array([*starts[0][:2], depth, starts[0][3]]) for depth in depths]
        # What suits here may suit as well across the line of the stations.
        starts += [np.array([*_mirrored(start[:2], at), *start[2:]]) for start in starts[:2]]
        return starts

    def _lags(self) -> list[float]:
        lags = []
        for number, station in enumerate(self.stations):
            both = not {(number, "P"), (number, "S")} & self.without
            if both and station.lag is not None:
                lags.append(station.lag)
        return lags

    def _descend(self, start: Floats, at: Floats, assume: bool) -> tuple[Floats, Floats, float]:
        """Bring a place to its minimum; return it, its covariance and its misfit."""
        size = 4 if self.timed else 3
        last: dict[bytes, tuple[Floats, Floats]] = {}

        def equations(unknowns: Floats) -> tuple[Floats, Floats]:
            key = unknowns.tobytes()
            if key not in last:
                last.clear()
                # Times are an even function of depth: beyond the surface lies what is below it.
                place = np.array([unknowns[0], unknowns[1], abs(unknowns[2]), *unknowns[3:], 0.0])[:4]
                residual, jacobian = self._equations(place, at, assume)
                jacobian[:, 2] *= -1.0 if unknowns[2] < 0 else 1.0
                last[key] = residual, -jacobian[:, :size]
            return last[key]

        found = least_squares(
            lambda unknowns: equations(unknowns)[0],
            start[:size],
            jac=lambda unknowns: equations(unknowns)[1],
            method="lm",
            x_scale="jac",
            ftol=1e-6,
            xtol=1e-7,
            gtol=1e-8,
            max_nfev=400,
        )
        place = np.concatenate((found.x, start[size:]))
        place[2] = abs(place[2])
        covariance = np.full((4, 4), np.inf)
        normal = found.jac.T @ found.jac
        if np.linalg.cond(normal) < 1e14:
            covariance[:size, :size] = np.linalg.inv(normal)
        return place, covariance, 2.0 * float(found.cost)

    def _equations(self, place: Floats, at: Floats, assume: bool) -> tuple[Floats, Floats]:
        """Return standardised residuals and their derivatives by east, north, depth and origin time."""
        apart = place[:2] - at
        distance = np.hypot(apart[:, 0], apart[:, 1])
        predicted = self.of_origin * place[3]
        by_distance, by_depth = np.zeros(len(at)), np.zeros(len(at))
        for phase, share in (("P", self.of_p), ("S", self.of_s)):
            time, slowness, vertical = travel_times(self.model, phase, distance, place[2])
            predicted = predicted + share * time
            by_distance += share * slowness
            by_depth += share * vertical
        towards = apart / np.maximum(distance, 1e-9)[:, None]
        jacobian = np.column_stack((by_distance[:, None] * towards, by_depth, self.of_origin))
        residual = (self.observed - predicted) / self.error
        jacobian /= self.error[:, None]
        if assume:
            depth, error = self.assumed_depth
            residual = np.append(residual, (depth - place[2]) / error)
            jacobian = np.vstack((jacobian, [0.0, 0.0, 1 / error, 0.0]))
        return residual, jacobian

    def residuals(self, minimum: Minimum, used: frozenset[_Row]) -> tuple[Residual, ...]:
        """Return all arrivals' residuals at a place, also of those left out."""
        plane, place, _, _ = minimum
        standardised, _ = self._equations(place, self._on(plane), assume=False)
        return tuple(
            Residual(self.stations[row.station].station, row.phase, float(r * row.error), row.error, row in used)
            for row, r in zip(self.rows, standardised, strict=True)
        )


def _places(stations: Sequence[StationTimes]) -> tuple[int, ...]:
    """Return for each station the first one that stands at the same place."""
    return tuple(
        next(
            first
            for first, there in enumerate(stations)
            if distance_and_azimuth(here.latitude, here.longitude, there.latitude, there.longitude)[0] <= SAME_PLACE
        )
        for here in stations
    )


def _mirrored(point: Floats, at: Floats) -> Floats:
    """Return the point on the other side of the line through the stations that fits them best."""
    centre = at.mean(axis=0)
    along = np.linalg.svd(at - centre)[2][0]
    apart = point - centre
    return centre + 2 * (apart @ along) * along - apart


def _different(one: Minimum, other: Minimum) -> bool:
    """Tell whether two minima are two places."""
    between = distance_and_azimuth(one[0].latitude, one[0].longitude, other[0].latitude, other[0].longitude)[0]
    return between > TWO_PLACES


@dataclass(frozen=True)
class _Trial:
    """What remains without some arrivals: the misfit, with the cost of leaving them out."""

    score: float
    stations: frozenset[int]
    names: tuple[str, ...]
    rows: frozenset[tuple[int, str]]


def _trials(problem: _Problem, near: Minimum, groups: Iterable[tuple[int, ...]]) -> list[_Trial]:
    """Leave out each group of stations in turn, and each pick of a lone one; return what remains, the least first."""
    trials = []
    for group in groups:
        count = {number: int((problem.number == number).sum()) for number in group}
        rows = frozenset((number, phase) for number in group for phase in ("P", "S"))
        if problem.less(rows).stations_telling() < 3:
            continue  # the others alone could not tell that this one is wrong
        choices = [(rows, tuple(problem.stations[number].station for number in group), sum(count.values()))]
        if len(group) == 1 and count[group[0]] == 2:
            choices = [(frozenset({row}), (f"{choices[0][1][0]} {row[1]}",), 1) for row in sorted(rows)] + choices
        for left_out, names, arrivals in choices:
            rest = problem.less(left_out)
            tried = rest.solve(near=near)
            if tried.minima and tried.freedom > 0:
                score = tried.misfit + COST_OF_LEAVING_OUT * arrivals
                trials.append(_Trial(score, frozenset(group), names, left_out))
    return sorted(trials, key=lambda trial: trial.score)


def _rivals(trials: list[_Trial]) -> list[str]:
    """Return the names of others that could as well be left out as the best."""
    best, others = trials[0], trials[1:]
    close = [trial for trial in others if trial.score < best.score + COST_OF_LEAVING_OUT]
    return [" and ".join(trial.names) for trial in close if trial.stations != best.stations]


def _leave_out(problem: _Problem, solution: _Solution) -> tuple[_Solution, tuple[str, ...], tuple[str, ...]]:
    """Find the arrivals that do not belong, by leaving out one pick or station after the other, or two stations."""
    bad: frozenset[tuple[int, str]] = frozenset()
    named: tuple[str, ...] = ()
    doubt = ""
    allowed = max(1, problem.stations_telling() // 3)
    while allowed > 0:
        less, near = problem.less(bad), solution.minima[0]
        trials = _trials(less, near, ((number,) for number in sorted(set(less.number.tolist()))))
        if not trials:
            break
        tried = less.less(trials[0].rows).solve()
        decided = not _rivals(trials) and tried.misfit <= DECISIVE * solution.misfit
        if allowed >= 2 and tried.unlikely and not decided:
            # Two wrong clocks hide each other: neither one's absence makes the rest fit.
            suspects = list(dict.fromkeys(min(trial.stations) for trial in trials))[:MOST_SUSPECTED]
            pairs = _trials(less, near, combinations(sorted(suspects), 2))
            without_pair = less.less(pairs[0].rows).solve() if pairs else tried
            if not without_pair.unlikely:
                trials, tried = pairs, without_pair
        if rivals := _rivals(trials):
            names = dict.fromkeys([" and ".join(trials[0].names), *rivals])
            doubt = f"; which one is wrong cannot be determined: {', '.join(names)}"
            break
        if tried.unlikely and not decided:
            break
        bad, named, solution = bad | trials[0].rows, (*named, *trials[0].names), tried
        allowed -= len(trials[0].stations)
        if not tried.unlikely:
            break
    notes: tuple[str, ...] = ()
    if named:
        notes += (f"left out, because the others agree without: {', '.join(named)}",)
    if solution.unlikely:
        notes += (
            "the arrivals do not fit together within their errors: the errors of the place were enlarged by "
            f"{math.sqrt(solution.misfit / solution.freedom):.1f} to suit{doubt}",
        )
    return solution, named, notes


def _judged(solution: _Solution, problem: _Problem, left_out: tuple[str, ...]) -> Location:
    notes = solution.notes
    sound = [minimum for minimum in solution.minima if np.isfinite(minimum[2][:3, :3]).all()]
    nowhere = Location("nothing", circles=solution.circles, left_out=left_out, notes=notes)
    if not solution.minima:
        return replace(nowhere, notes=(*notes, "too few arrivals to determine the place"))
    if problem.stations_telling() == 2 and len(solution.minima) < 2:
        # Least squares alone would feign a point between the two.
        return replace(nowhere, notes=(*notes, "the circles of two stations do not meet in two points, so tell none"))
    if not sound:
        return replace(nowhere, notes=(*notes, "the arrivals leave the place open in at least one direction"))
    enlarged = solution.misfit / solution.freedom if solution.unlikely else 1.0
    hypocentres = tuple(_hypocentre(minimum, problem.timed, enlarged) for minimum in sound)
    widest = max(hypocentre.ellipse.semi_major for hypocentre in hypocentres)
    if widest > FARTHEST:
        return replace(nowhere, notes=(*notes, "the arrivals leave the place open in at least one direction"))
    if not solution.depth_resolved:
        depth, error = problem.assumed_depth
        notes += (
            f"the arrivals alone do not tell the depth: one of {depth:g} km, within {error:g} km, was assumed as well",
        )
    if len(hypocentres) > 1:
        notes += (
            f"{len(hypocentres)} places suit the arrivals equally well: one of them is right, not a point between",
        )
        return Location("two points", hypocentres, solution.depth_resolved, solution.circles, (), left_out,
                        degrees_of_freedom=solution.freedom, notes=notes)  # fmt: skip
    point, used = hypocentres[0], {row.station for row in solution.rows}
    azimuths = [
        distance_and_azimuth(point.latitude, point.longitude, s.latitude, s.longitude)[1]
        for number, s in enumerate(problem.stations)
        if number in used
    ]
    gap = azimuthal_gap(azimuths)
    if gap > 180:
        notes += (
            f"all stations lie to one side (azimuthal gap {gap:.0f} degrees): errors of the model count for more",
        )
    return Location(
        "point", hypocentres, solution.depth_resolved, solution.circles,
        problem.residuals(solution.minima[0], frozenset(solution.rows)), left_out, gap, solution.freedom, notes,
    )  # fmt: skip


def _hypocentre(minimum: Minimum, timed: bool, enlarged: float) -> Hypocentre:
    plane, place, covariance, misfit = minimum
    covariance = enlarged * covariance
    latitude, longitude = plane.back(place[0], place[1])
    values, vectors = np.linalg.eigh(covariance[:2, :2])
    minor, major = np.sqrt(np.maximum(values, 0.0) * WITHIN_95)
    azimuth = math.degrees(math.atan2(vectors[0, 1], vectors[1, 1])) % 180
    return Hypocentre(
        latitude, longitude, float(place[2]), math.sqrt(covariance[2, 2]),
        float(place[3]) if timed else math.nan, math.sqrt(covariance[3, 3]) if timed else math.nan,
        Ellipse(float(major), float(minor), azimuth), covariance[:3, :3].copy(), misfit,
    )  # fmt: skip


def _circles(
    stations: Sequence[StationTimes], model: VelocityModel, travel_time_error: float, assumed_depth: tuple[float, float]
) -> tuple[Circle, ...]:
    """Return the circles of S minus P, from a source at the assumed depth."""
    circles = []
    depth, depth_error = assumed_depth
    for station in stations:
        if station.lag is None:
            continue
        error = math.hypot(station.lag_uncertainty, math.sqrt(2) * travel_time_error)
        radius = epicentral_distance(station.lag, depth, model) or 0.0
        # By finite steps: the radius is far from linear where it is not much more than the depth.
        far = epicentral_distance(station.lag + error, depth, model) or 0.0
        near = epicentral_distance(max(station.lag - error, 0.0), depth, model) or 0.0
        deep = epicentral_distance(station.lag, depth + depth_error, model) or 0.0
        shallow = epicentral_distance(station.lag, max(depth - depth_error, 0.0), model) or 0.0
        spread = math.hypot((far - near) / 2, (shallow - deep) / 2)
        circles.append(Circle(station.station, station.latitude, station.longitude, radius, spread))
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
