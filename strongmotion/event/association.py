"""Which records belong to one earthquake: those that a common origin explains.

P and S of one record give the origin time without any place, P - (S - P) / (Vp/Vs - 1) (Wadati 1933). Shocks whose
origin times agree are put together, one of each record; what has no such time of its own joins where its arrivals can
be those of the same source. Nothing else makes an event: a common file, folder or time of trigger does not.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from ..foundation.geodesy import distance_and_azimuth
from .location import StationTimes

__all__ = ["Arrived", "associate"]

RATIO, RATIO_ERROR = 1.73, 0.05
"""Vp/Vs of a Poisson solid, and its standard error with sediment counted in: a judgement, without a source."""

LEAST_ERROR, LARGEST_ERROR = 0.5, 8.0
"""s; of an origin time by one record. A lag that leaves it more open tells no time."""

AGREE = 3.0
"""Standard errors within which origin times are one."""

SLOWEST = {"P": 4.5, "S": 2.5}
"""km/s; a wave needs at most so long from one station to the next."""

FARTHEST_APART = 600.0
"""km; accelerographs farther apart do not record one earthquake, but the largest: a judgement, without a source."""

SLACK = 2.0
"""s; for picks, delays and the clock."""

NEAR = 90.0
"""s; a record whose clock is off by more cannot be distinguished from one of another earthquake."""

LEAST_OTHERS = 4
"""Stations that must agree before one whose time differs may be one with a wrong clock."""

LEAST_UNTIMED = 4
"""Records without a clock that make an event by their lags alone, if these meet in one place."""


@dataclass(frozen=True)
class Arrived:
    """The arrivals of one shock on one record; a place or a clock may be missing.

    Parameters
    ----------
    record : str
        Of one record an event holds one shock at most.
    p, s : float, optional
        s after an epoch common to all records.
    p_uncertainty, s_uncertainty : float
        s.
    place : tuple of float, optional
        Latitude and longitude, degrees.
    timed : bool
    """

    record: str
    p: float | None
    s: float | None
    p_uncertainty: float
    s_uncertainty: float
    place: tuple[float, float] | None
    timed: bool

    @property
    def origin(self) -> tuple[float, float] | None:
        """Origin time by S minus P, and its standard error, s; None where it tells nothing."""
        if not self.timed or self.p is None or self.s is None:
            return None
        lag = self.s - self.p
        error = math.hypot(
            math.hypot(self.p_uncertainty, self.s_uncertainty) / (RATIO - 1), lag * RATIO_ERROR / (RATIO - 1) ** 2
        )
        error = math.hypot(error, LEAST_ERROR)
        return None if error > LARGEST_ERROR else (self.p - lag / (RATIO - 1), error)

    def times(self, name: str) -> StationTimes | None:
        """Return the arrivals for a location; None where the place is not known."""
        if self.place is None or (self.p is None and self.s is None):
            return None
        return StationTimes(
            name, *self.place, self.p, self.s, self.p_uncertainty, self.s_uncertainty, self.timed
        )  # fmt: skip


def associate(arrived: Sequence[Arrived]) -> tuple[tuple[tuple[int, ...], ...], tuple[int, ...]]:
    """Put shocks together that a common origin may explain.

    Parameters
    ----------
    arrived : sequence of Arrived

    Returns
    -------
    events : tuple of tuple of int
        Numbers of the shocks of each event, at least two, in order of time.
    alone : tuple of int
        Those that share an origin with no other.

    Examples
    --------
    >>> shocks = [Arrived(record, origin + p, origin + s, 0.05, 0.1, None, True)
    ...           for origin in (0.0, 150.0) for record, p, s in (("A", 2.0, 3.46), ("B", 5.0, 8.65))]
    >>> associate(shocks)
    (((0, 1), (2, 3)), ())
    """
    groups = _by_origin(arrived)
    taken = {number for group in groups for number in group}
    # What has one phase only joins where its time may be that of the same source.
    for number, one in enumerate(arrived):
        if number in taken or not one.timed or one.origin is not None:
            continue
        suitable = [group for group in groups if _may_join(arrived, group, number)]
        suitable.sort(key=len, reverse=True)
        # One shock alone is less likely to be another event than to have a wrong clock.
        if suitable and (len(suitable) == 1 or len(suitable[0]) > len(suitable[1]) == 1):
            suitable[0].append(number)
            taken.add(number)
    _join_single_phases(arrived, groups, taken)
    # One whose time differs may have a wrong clock, if there is one event only that it can belong to.
    large = [group for group in groups if len(group) > LEAST_OTHERS - 1]
    loose = [group for group in groups if len(group) == 1]
    for lone in loose:
        number = lone[0]
        origin = arrived[number].origin
        if len(large) == 1 and origin is not None and arrived[number].record not in _records(arrived, large[0]):
            middle = _middle(arrived, large[0])
            if middle is not None and abs(origin[0] - middle[0]) < NEAR:
                large[0].append(number)
                groups.remove(lone)
    untimed = [number for number, one in enumerate(arrived) if not one.timed]
    events = [group for group in groups if len(group) > 1]
    if len(events) == 1:
        records = _records(arrived, events[0])
        for number in untimed:
            one = arrived[number]
            if one.place is not None and one.p is not None and one.s is not None and one.record not in records:
                events[0].append(number)
                records.add(one.record)
    elif not events and len(groups) == 0:
        meeting = [n for n in untimed if arrived[n].place and arrived[n].p is not None and arrived[n].s is not None]
        if len({arrived[n].place for n in meeting}) >= LEAST_UNTIMED:
            events.append(meeting)
    together = {number for event in events for number in event}
    alone = tuple(number for number in range(len(arrived)) if number not in together)
    return tuple(tuple(sorted(event)) for event in events), alone


def _by_origin(arrived: Sequence[Arrived]) -> list[list[int]]:
    """Chain origin times that agree, then keep one shock of each record."""
    timed = sorted((one.origin[0], number) for number, one in enumerate(arrived) if one.origin is not None)
    groups: list[list[int]] = []
    for _, number in timed:
        for group in reversed(groups):
            middle, mine = _middle(arrived, group), arrived[number].origin
            assert middle is not None
            assert mine is not None
            apart = abs(mine[0] - middle[0])
            if (
                apart < AGREE * math.hypot(mine[1], middle[1])
                and arrived[number].record not in _records(arrived, group)
                and all(_apart(arrived[number], arrived[other]) <= FARTHEST_APART for other in group)
            ):
                group.append(number)
                break
        else:
            groups.append([number])
    return groups


def _middle(arrived: Sequence[Arrived], group: Sequence[int]) -> tuple[float, float] | None:
    """Return the weighted mean of a group's origin times, and the error of one of them."""
    origins = [origin for number in group if (origin := arrived[number].origin) is not None]
    if not origins:
        return None
    weight = [error**-2 for _, error in origins]
    mean = sum(w * time for w, (time, _) in zip(weight, origins, strict=True)) / sum(weight)
    return mean, min(error for _, error in origins)


def _records(arrived: Sequence[Arrived], group: Sequence[int]) -> set[str]:
    return {arrived[number].record for number in group}


def _apart(one: Arrived, other: Arrived) -> float:
    """Return the distance of two stations, km; 0 where a place is not known."""
    return 0.0 if one.place is None or other.place is None else distance_and_azimuth(*one.place, *other.place)[0]


def _reachable(one: Arrived, other: Arrived) -> bool:
    """Tell whether two stations can have heard one source: no wave takes longer than from one to the other."""
    if one.place is None or other.place is None or not (one.timed and other.timed):
        return True
    apart = _apart(one, other)
    if apart > FARTHEST_APART:
        return False
    for phase, mine, its in (("P", one.p, other.p), ("S", one.s, other.s)):
        if mine is not None and its is not None and abs(mine - its) > apart / SLOWEST[phase] + SLACK:
            return False
    return True


def _may_join(arrived: Sequence[Arrived], group: Sequence[int], number: int) -> bool:
    """Tell whether a shock with a single phase can be of the source of a group."""
    one = arrived[number]
    if one.place is None or one.record in _records(arrived, group):
        return False
    return all(_reachable(one, arrived[other]) for other in group)


def _join_single_phases(arrived: Sequence[Arrived], groups: list[list[int]], taken: set[int]) -> None:
    """Put shocks together that have one phase only, each, and that one source can have sent."""
    for number, one in enumerate(arrived):
        if number in taken or not one.timed or (one.p is None and one.s is None):
            continue
        mine = [number]
        for other in range(number + 1, len(arrived)):
            if (
                other not in taken
                and arrived[other].timed
                and (arrived[other].p is not None or arrived[other].s is not None)
                and _may_join(arrived, mine, other)
            ):
                mine.append(other)
        if len(mine) > 2:  # two single times suit any source
            groups.append(mine)
            taken.update(mine)
