"""Join files of one component each into one record of the instrument.

Files are joined if station, start, interval, length, unit and everything else known of the instrument agree, and each
holds a different component. A wrong record is worse than several incomplete ones, so files are kept apart if there is
any evidence against joining them, and the reason is reported.

If a file does not state its station, start or component, the file names may replace them. This takes three files whose
names differ only in the component (``quay_NS.txt``, ``quay_EW.txt``, ``quay_UD.txt``), and which agree in everything
they state. Two such files are not enough: they could come from a northern and an eastern site.
"""

from __future__ import annotations

import itertools
import re
from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, fields, replace
from pathlib import Path
from typing import NamedTuple

import numpy as np

from ..record import Component, Earthquake, Finding, Record, Source, Station
from .header import direction

__all__ = ["Apart", "Group", "Part", "gathered", "is_whole", "joined"]

_RIGHT_ANGLE = 5.0
"""Tolerance of the right angle between two horizontals, degrees; the same as in `Record.horizontals`."""

_MOST = 3
"""Number of components of an instrument."""


class Way(NamedTuple):
    """A component's name and direction."""

    name: str
    channel: str
    azimuth: float | None
    dip: float | None

    @property
    def is_stated(self) -> bool:
        """Whether the file states the component. A drafted layout names unknown components C1, C2 ..."""
        return self.azimuth is not None or self.dip is not None or not re.fullmatch(r"C\d+", self.name)

    @property
    def is_vertical(self) -> bool:
        """Whether it is known to point up or down."""
        return self.name == "V" or (self.dip is not None and abs(self.dip) > 90 - _RIGHT_ANGLE)

    @property
    def is_horizontal(self) -> bool:
        """Whether it is known to lie in the horizontal plane."""
        level = self.dip is None or abs(self.dip) < _RIGHT_ANGLE
        return not self.is_vertical and level and (self.azimuth is not None or self.name in ("H1", "H2", "X", "Y"))


@dataclass(frozen=True)
class Part:
    """The properties that decide whether the record of one file belongs with records of others.

    Parameters
    ----------
    file : Path
        The file that was read.
    number : int
        Index of the record in the file, from 0.
    name : str
        The name of the file, or of the member of an archive file.
    station : Station
    start : numpy.datetime64, optional
    dt : float
        s.
    samples : int
    units : tuple of str
        Units of the samples, without repetition.
    processed : tuple
        Earlier processing stated in the file; empty if none.
    earthquake : Earthquake, optional
    ways : tuple of Way
        Its components.
    """

    file: Path
    number: int
    name: str
    station: Station
    start: np.datetime64 | None
    dt: float
    samples: int
    units: tuple[str, ...]
    processed: tuple[tuple[str, float], ...]
    earthquake: Earthquake | None
    ways: tuple[Way, ...]

    @classmethod
    def of(cls, record: Record, file: Path, number: int) -> Part:
        """Return the part that describes a record, given its index in the file."""
        said = [finding for finding in record.findings if finding.name == "already processed"]
        return cls(
            file, number, record.source.file, record.station, record.start, record.dt, record.samples,
            tuple(sorted({component.unit for component in record})),
            tuple((name, value) for finding in said for name, value in (("processed", 1.0), *finding.values.items())),
            record.earthquake,
            tuple(Way(one.name, one.channel, one.azimuth, one.dip) for one in record),
        )  # fmt: skip

    @property
    def key(self) -> tuple[object, ...]:
        """Everything that must be equal in the files of one record."""
        return (self.station, self.start, self.dt, self.samples, self.units, self.processed, self.earthquake)

    @property
    def is_known(self) -> bool:
        """Whether station, start and components are stated, so the file name is not needed."""
        return bool(self.station.code) and self.start is not None and all(way.is_stated for way in self.ways)

    @property
    def duration(self) -> float:
        """Time from the first sample to the last, s."""
        return (self.samples - 1) * self.dt


@dataclass(frozen=True)
class Group:
    """The parts of one record; a single part if nothing is joined.

    Parameters
    ----------
    parts : tuple of Part
    ways : tuple of Way
        The component of each part according to the file names; else empty.
    by_names : bool
        Whether the file names are the evidence for joining them.
    """

    parts: tuple[Part, ...]
    ways: tuple[Way, ...] = ()
    by_names: bool = False

    @property
    def files(self) -> tuple[Path, ...]:
        """The files of the parts."""
        return tuple(part.file for part in self.parts)

    @property
    def is_whole(self) -> bool:
        """Whether no further component can belong to it."""
        return _is_whole([way.name for part in self.parts for way in part.ways])


@dataclass(frozen=True)
class Apart:
    """Files that look like parts of one record, and the reason why they are not joined.

    Parameters
    ----------
    files : tuple of Path
    quantity : str
        The property that differs or is missing: ``"start"``, ``"samples"``, ``"dt"``, ``"component"``, ``"direction"``,
        ``"name"``, ``"unit"``, ``"processed"``, ``"earthquake"``, or a field of `Station`.
    what : str
        The same in words.
    remedy : str
        What to do if they do belong together.
    difference : float, optional
        Size of the difference, in the unit of the quantity, if it is a number.
    """

    files: tuple[Path, ...]
    quantity: str
    what: str
    remedy: str
    difference: float | None = None


def is_whole(record: Record) -> bool:
    """Whether a record has all components of an instrument, so nothing can be joined to it."""
    return _is_whole(record.names)


def _is_whole(names: Sequence[str]) -> bool:
    return len(names) >= _MOST


def gathered(parts: Iterable[Part]) -> tuple[list[Group], list[Apart]]:
    """Group the parts of each record.

    Parameters
    ----------
    parts : iterable of Part
        Of incomplete records.

    Returns
    -------
    groups : list of Group
        Groups in the order of their first parts; each part is in exactly one.
    apart : list of Apart
        Files that look like one record but were not joined.
    """
    parts = list(parts)
    place = {id(part): at for at, part in enumerate(parts)}
    alike: dict[tuple[object, ...], list[Part]] = defaultdict(list)
    nameless = []
    for part in parts:
        if part.is_known:
            alike[part.key].append(part)
        else:
            nameless.append(part)
    groups, apart = _by_names(nameless)
    loose: list[Group] = []
    for members in alike.values():
        problem = _against(members)
        if problem is None:
            groups.append(Group(tuple(members)))
            loose += groups[-1:]
        elif len({way.name for part in members for way in part.ways}) > 1:
            apart.append(problem)
    taken = {id(part) for group in groups for part in group.parts}
    groups += [Group((part,)) for part in parts if id(part) not in taken]
    apart += _nearly([group for group in loose if not group.is_whole])
    return sorted(groups, key=lambda group: place[id(group.parts[0])]), apart


def joined(records: Sequence[Record], group: Group) -> Record:
    """Join the records of a group, in the order of its parts.

    Returns
    -------
    Record
        Horizontal components come first. The source is the file of the first component, and `joined` lists the other
        files; each states its components.
    """
    if len(records) == 1:
        return records[0]
    components: list[tuple[Component, int]] = []
    findings: list[Finding] = []
    for at, record in enumerate(records):
        own = tuple(record)
        if group.ways:
            own = tuple(_named(component, group.ways[at]) for component in own)
        components += [(component, at) for component in own]
        names = dict(zip(record.names, (component.name for component in own), strict=True))
        for finding in record.findings:
            name = names.get(finding.component, finding.component) or (own[0].name if len(own) == 1 else "")
            if (here := replace(finding, component=name)) not in findings:
                findings.append(here)
    components.sort(key=lambda pair: (pair[0].name == "V", pair[0].name))
    order = dict.fromkeys(at for _, at in components)
    sources = [
        replace(records[at].source, components=tuple(one.name for one, own in components if own == at)) for at in order
    ]
    if group.by_names:
        findings.append(_said_by_names(sources))
    first = records[0]
    return Record(
        tuple(component for component, _ in components), first.station, sources[0], tuple(findings), first.earthquake,
        tuple(sources[1:]),
    )  # fmt: skip


def _named(component: Component, way: Way) -> Component:
    """Return a component with the name and direction from the file name, unless the file states them."""
    if component.name == way.name:
        return component
    return replace(component, name=way.name, channel=way.channel, azimuth=way.azimuth, dip=way.dip)


def _said_by_names(sources: Sequence[Source]) -> Finding:
    files = ", ".join(f"{source.components[0]} of {source.file}" for source in sources)
    return Finding(
        "joined by file names", "note",
        what=f"the files do not state all of station, start and component; they were joined by name ({files})",
        effect="if they are not from one instrument and event, rotated spectra are meaningless",
        remedy="process them separately with --no-join, or give --station and --start",
    )  # fmt: skip


# Evidence against joining


def _against(members: Sequence[Part]) -> Apart | None:
    """Return the reason not to join parts that agree in all instrument metadata, or None."""
    if len(members) == 1:
        return None
    files = tuple(part.file for part in members)
    places = [(part.file, part.name) for part in members]
    if len(set(places)) < len(places):
        return Apart(
            files, "name", f"{members[0].name} holds several of them", "Split the file if its metadata are wrong"
        )
    given: dict[str, Part] = {}
    for part in members:
        for way in part.ways:
            if (other := given.setdefault(way.name, part)) is not part:
                what = f"{len(members)} files agree, but two hold {way.name}: {other.name} and {part.name}"
                return Apart(files, "component", what, "Keep one of them, or state in the files how the sensors differ")
    ways = [way for part in members for way in part.ways]
    if len(ways) > _MOST:
        names = ", ".join(given)
        return Apart(
            files, "component", f"{len(ways)} components ({names}) are more than an instrument has",
            "State the sensor in each file (location, or instrument)",
        )  # fmt: skip
    unknown = [way.name for way in ways if not (way.is_vertical or way.is_horizontal)]
    if unknown:
        return Apart(
            files, "component", f"the direction of {', '.join(unknown)} is not known",
            f"Name it: --component {unknown[0]}=H1, or state the azimuth",
        )  # fmt: skip
    return _directions(members, ways) or _names_differ(members)


def _directions(members: Sequence[Part], ways: Sequence[Way]) -> Apart | None:
    files = tuple(part.file for part in members)
    upright = [way.name for way in ways if way.is_vertical]
    level = [way for way in ways if way.is_horizontal]
    if len(upright) > 1 or len(level) > 2:
        many = upright if len(upright) > 1 else [way.name for way in level]
        kind = "vertical" if len(upright) > 1 else "horizontal"
        return Apart(
            files, "direction", f"{len(many)} components are {kind}: {', '.join(many)}", "Correct the directions"
        )
    for one, two in itertools.combinations(level, 2):
        if one.azimuth is not None and two.azimuth is not None:
            off = abs((two.azimuth - one.azimuth) % 180.0 - 90.0)
            if off > _RIGHT_ANGLE:
                what = (
                    f"{one.name} and {two.name} are not at right angles: azimuths {one.azimuth:g} and {two.azimuth:g}"
                )
                return Apart(files, "direction", what, "Correct the azimuths", off)
    return None


def _names_differ(members: Sequence[Part]) -> Apart | None:
    """Return the reason not to join an incomplete set whose file names differ in more than the component."""
    if len([way for part in members for way in part.ways]) == _MOST:
        return None
    patterns = []
    for part in members:
        own = {
            pattern for way in part.ways for pattern, token, apart in _tokens(part.name) if apart and _agree(way, token)
        }
        patterns.append(own)
    if all(patterns) and not set.intersection(*patterns):
        names = " and ".join(part.name for part in members)
        return Apart(
            tuple(part.file for part in members), "name",
            f"the file names differ in more than the component: {names}",
            "Name them consistently, or state the sensor in each file (location)",
        )  # fmt: skip
    return None


# Names of files

_WORDS: dict[str, str] = {
    "N": "compass", "E": "compass", "NS": "compass", "EW": "compass", "NORTH": "compass", "EAST": "compass",
    "H1": "numbered", "H2": "numbered", "L": "long", "LONG": "long", "LONGITUDINAL": "long", "R": "radial",
    "RADIAL": "radial", "T": "across", "TRAN": "across", "TRANS": "across", "TRANSVERSE": "across",
    "TRANSVERSAL": "across", "X": "axes", "Y": "axes", "V": "up", "Z": "up", "U": "up", "UP": "up", "UD": "up",
    "VERT": "up", "VERTICAL": "up",
}  # fmt: skip
"""Component names used in file names, by families of names that occur together."""


def _kind(token: str) -> str:
    upper = token.upper()
    if re.fullmatch(r"[A-Z]N[NEZ12]", upper):
        return "up" if upper.endswith("Z") else "numbered" if upper[2] in "12" else "compass"
    return _WORDS.get(upper, "")


def _tokens(name: str) -> Iterator[tuple[str, str, bool]]:
    """Yield the rest of a file name, a component that it may contain, and whether that is a word of its own."""
    for run in re.finditer(r"[A-Za-z0-9]+", name[:255]):
        text = run[0]
        spans = [(0, len(text), True)]
        if digits := re.fullmatch(r"([A-Za-z]+)\d+", text):
            spans.append((0, len(digits[1]), True))
        spans += [(len(text) - size, len(text), False) for size in range(1, min(len(text), 4))]
        for begin, end, apart in spans:
            if _kind(token := text[begin:end]):
                yield f"{name[: run.start() + begin]}*{name[run.start() + end :]}", token, apart


def _way(token: str) -> Way:
    return Way(*_direction(token))


def _direction(token: str) -> tuple[str, str, float | None, float | None]:
    name, azimuth, dip = direction(token.upper())
    return name, token, azimuth, dip


def _agree(way: Way, token: str) -> bool:
    """Whether a component is compatible with a token of a file name."""
    named = _way(token)
    if not way.is_stated:
        return True
    return way.name == named.name and (None in (way.azimuth, named.azimuth) or way.azimuth == named.azimuth)


def _by_names(parts: Iterable[Part]) -> tuple[list[Group], list[Apart]]:
    """Group parts by their file names; see the module's docstring."""
    likely: dict[tuple[Path, str], list[tuple[Part, str, bool]]] = defaultdict(list)
    for part in parts:
        if len(part.ways) == 1:
            for pattern, token, whole in _tokens(part.name):
                if _agree(part.ways[0], token):
                    likely[part.file.parent, pattern].append((part, token, whole))
    found: dict[frozenset[int], Group] = {}
    problems: dict[frozenset[int], Apart] = {}
    claims: dict[int, set[frozenset[int]]] = defaultdict(set)
    for members in likely.values():
        together = frozenset(id(part) for part, _, _ in members)
        if len(together) < 2 or together in found:
            continue
        problem = _unlike(members)
        if problem is None:
            found[together] = Group(
                tuple(part for part, _, _ in members), tuple(_way(token) for _, token, _ in members), True
            )
            for one in together:
                claims[one].add(together)
        elif all(whole for _, _, whole in members):
            problems.setdefault(together, problem)
    certain = {}
    for together, group in found.items():
        if all(len(claims[one]) == 1 for one in together):
            certain[together] = group
        else:
            what = "their names can be read in several ways: " + ", ".join(part.name for part in group.parts)
            problems[together] = Apart(group.files, "name", what, "Give station, start and component of each file")
    used = set().union(*certain)
    return list(certain.values()), [one for together, one in problems.items() if not together & used]


def _unlike(members: Sequence[tuple[Part, str, bool]]) -> Apart | None:
    """Return the reason not to join files whose names differ only in the component, or None."""
    parts = [part for part, _, _ in members]
    files = tuple(part.file for part in parts)
    kinds = sorted(_kind(token) for _, token, _ in members)
    names = {_way(token).name for _, token, _ in members}
    for part in parts[1:]:
        if problem := _difference(parts[0], part):
            return problem
    if len(names) < len(members) or len({(part.file, part.name) for part in parts}) < len(members):
        return Apart(
            files, "component", f"two names give one component: {', '.join(part.name for part in parts)}",
            "Give station, start and component of each file",
        )  # fmt: skip
    if kinds in (["compass", "compass", "up"], ["numbered", "numbered", "up"], ["across", "long", "up"],
                 ["across", "radial", "up"], ["axes", "axes", "up"]):  # fmt: skip
        return None
    missing = [word for word, unknown in (("station", not parts[0].station.code), ("start", parts[0].start is None),
               ("component", not parts[0].ways[0].is_stated)) if unknown]  # fmt: skip
    return Apart(
        files, missing[0] if missing else "component",
        f"no {' and no '.join(missing) or 'component'} is stated, and the names alone are certain only of two "
        f"horizontals and a vertical ({', '.join(part.name for part in parts)})",
        "Give --station and --start",
    )  # fmt: skip


# What differs


def _difference(one: Part, two: Part) -> Apart | None:
    """Return the first difference between two parts that excludes one record."""
    files, both = (one.file, two.file), f"({one.name} and {two.name})"
    remedy = "Correct the files if they belong to one record"
    if one.dt != two.dt:
        what = f"sampling intervals differ: {one.dt:.9g} and {two.dt:.9g} s {both}"
        return Apart(files, "dt", what, remedy, abs(one.dt - two.dt))
    if one.start != two.start:
        if one.start is None or two.start is None:
            return Apart(files, "start", f"one file states its start, the other does not {both}", remedy)
        by = abs(float((one.start - two.start) / np.timedelta64(1, "ns"))) * 1e-9
        return Apart(files, "start", f"starts differ by {by:.9g} s {both}", remedy, by)
    if one.samples != two.samples:
        what = f"lengths differ: {one.samples} and {two.samples} samples {both}"
        return Apart(files, "samples", what, remedy, float(abs(one.samples - two.samples)))
    for quantity in fields(Station):
        a, b = getattr(one.station, quantity.name), getattr(two.station, quantity.name)
        if a != b:
            what = f"{_PLAIN.get(quantity.name, quantity.name)} differs: {_said(a)} and {_said(b)} {both}"
            return Apart(files, quantity.name, what, remedy)
    if one.units != two.units:
        what = f"units differ: {', '.join(one.units)} and {', '.join(two.units)} {both}"
        return Apart(files, "unit", what, remedy)
    if one.processed != two.processed:
        return Apart(
            files, "processed", f"their earlier processing differs {both}", "Use files with the same processing"
        )
    if one.earthquake != two.earthquake:
        return Apart(files, "earthquake", f"they belong to different earthquakes {both}", remedy)
    return None


_PLAIN = {"code": "station", "instrument_code": "instrument code", "site_class": "site class"}


def _said(value: object) -> str:
    return "not stated" if value in (None, "") else ascii(value)[:60]


def _nearly(groups: Sequence[Group]) -> list[Apart]:
    """Return the reasons why groups of one station and time that would complete each other are not joined."""
    found = []
    of_station: dict[str, list[Group]] = defaultdict(list)
    for group in groups:
        of_station[group.parts[0].station.code].append(group)
    for mine in of_station.values():
        mine.sort(key=lambda group: _begin(group.parts[0]))
        met: set[int] = set()
        for at, one in enumerate(mine):
            names = {way.name for part in one.parts for way in part.ways}
            for two in mine[at + 1 : at + 1 + _MOST_NEAR]:
                a, b = one.parts[0], two.parts[0]
                if _begin(b) - _begin(a) > 0.5e9 * min(a.duration, b.duration):
                    break
                other = {way.name for part in two.parts for way in part.ways}
                if id(two) in met or names & other or len(names | other) > _MOST:
                    continue
                if problem := _difference(a, b):
                    met.add(id(two))
                    found.append(replace(problem, files=(*one.files, *two.files)))
    return found


_MOST_NEAR = 50
"""Number of later groups with which each group is compared."""


def _begin(part: Part) -> int:
    assert part.start is not None
    return int(part.start.astype("datetime64[ns]").astype(np.int64))
