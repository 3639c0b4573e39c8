"""A first picture of one earthquake from the records of its stations: each is read alone, then all together."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from ..archive import Archive
from ..arrivals import LEAST_UNCERTAINTY, P_WINDOW, Arrivals, Direction, Pick, p_direction, pick_arrivals, shock_spans
from ..chain import to_acceleration
from ..foundation.cautions import EVENT_CAUTIONS
from ..foundation.errors import InputError, RecordError
from ..foundation.geodesy import distance_and_azimuth
from ..measures import modified_mercalli
from ..record import Record, Station
from ..result import Result
from ..settings import AUTO
from .association import Arrived, associate
from .attenuation import FARTHEST, PGA_MAGNITUDES, PGA_SCATTER, expected_pga
from .location import Location, StationTimes, locate, wadati
from .magnitude import (
    PLAUSIBLE_STRESS,
    RICHTER_DISTANCES,
    RICHTER_SATURATES,
    UHRHAMMER_COLLINS,
    SourceSpectrum,
    WoodAnderson,
    local_magnitude,
    moment_magnitude,
    radiated_energy,
    seismic_moment,
    source_spectrum,
    stress_drop,
    wood_anderson,
)
from .picks import PickFile
from .travel import VelocityModel, epicentral_distance

__all__ = [
    "Event",
    "EventSettings",
    "Reading",
    "Size",
    "events_in",
    "read_archive",
    "read_shocks",
    "read_station",
    "study",
    "study_archive",
]

Floats = NDArray[np.float64]

IMPLAUSIBLE = 3.0
"""Standard deviations of the published relation beyond which a peak is called implausible."""

S_WINDOW = 20.0
"""Least length of the S window, s, for the corner of a magnitude 6 to 7 to be seen: common practice, no source."""

STATION_SCATTER, SHARED_SCATTER = 0.25, 0.15
"""Least standard deviation of a station's magnitude (radiation, directivity, soft ground), and that of what all share
(spreading, velocity at the source, mean amplification): judgements, without a source. Hutton & Boore (1987) find 0.21
for ML with station corrections."""

ALONE_SATURATES = 5.0
"""ML beyond which it is a lower bound while no record sees below the corner: the event may be far larger than what the
instrument of 0.8 s shows. A judgement, without a source: simulated events of M 5.8 and 6.7 had ML 5.0 and 5.5."""

DISAGREE = 0.5
"""Difference of moment and local magnitude beyond which it is said."""

TRACE_POINTS = 6000
"""Points to which the traces kept for the record section are thinned."""


@dataclass(frozen=True)
class EventSettings:
    """What may be chosen.

    Parameters
    ----------
    model : VelocityModel or tuple of VelocityModel, optional
        Several are weighed by the arrivals, and the place by each alone is given beside. Without one two very
        different ones are weighed, and errors are larger; see `locate`.
    travel_time_error : float, optional
        Standard error of a travel time by the ground beneath a station, s.
    assumed_depth : tuple of float, optional
        km, with its standard error, where it is known beforehand.
    instrument : WoodAnderson
        For the local magnitude.
    """

    model: VelocityModel | tuple[VelocityModel, ...] | None = None
    travel_time_error: float | None = None
    assumed_depth: tuple[float, float] | None = None
    instrument: WoodAnderson = UHRHAMMER_COLLINS


@dataclass(frozen=True, eq=False)
class Reading:
    """What one record tells by itself.

    Parameters
    ----------
    record : str
        Its id.
    station : Station
    start : numpy.datetime64 or None
        Of the first sample.
    arrivals : Arrivals
    direction : Direction or None
    pga, pgv : float
        Larger of the two horizontals, m/s² and m/s; NaN where clipped or unfit, or where there is none.
    intensity : float
        Modified Mercalli intensity by the PGV (Worden et al. 2012); NaN where there is none.
    trace_mm : dict of str to float
        Peak of the simulated Wood-Anderson trace by horizontal component, mm; only of those that are fit.
    spectrum : SourceSpectrum or None
    unfit : tuple of str
        Components whose amplitude does not count, such as clipped ones.
    time, trace : ndarray
        Of the record section: s after the first sample, and acceleration over its peak.
    shock : int
        Which shock of the record this is, from 1; 0 where there is one.
    """

    record: str
    station: Station
    start: np.datetime64 | None
    arrivals: Arrivals
    direction: Direction | None
    pga: float
    pgv: float
    intensity: float
    trace_mm: Mapping[str, float]
    spectrum: SourceSpectrum | None
    unfit: tuple[str, ...]
    time: Floats = field(repr=False)
    trace: Floats = field(repr=False)
    shock: int = 0


@dataclass(frozen=True)
class Size:
    """A magnitude: the median of the stations', their scatter (standard deviation), and how many there are.

    Parameters
    ----------
    kind : str
        ``"Mw"`` or ``"ML"``.
    value, scatter : float
    stations : int
    error : float
        Standard error: scatter, never less than `STATION_SCATTER` a station, the distances' error, and what all
        stations share.
    at_least : bool
        The value is a lower bound: the scale saturates, or the band does not reach below the corner.
    """

    kind: str
    value: float
    scatter: float
    stations: int
    error: float = math.nan
    at_least: bool = False


@dataclass(frozen=True, eq=False)
class Event:
    """A first picture of one earthquake.

    Parameters
    ----------
    readings : tuple of Reading
    location : Location
        Times in s after `epoch`.
    epoch : numpy.datetime64 or None
    local, moment : Size or None
        Local and moment magnitude.
    vp_vs : tuple of float, or None
        Vp/Vs and its standard error, by the Wadati diagram.
    stations : pandas.DataFrame
        A row a record; every column of a physical quantity ends in its unit.
    notes : tuple of str
        What cannot be determined, and what looks wrong.
    settings : EventSettings
    by_model : tuple of Location
        The place by each model alone, where several were given.
    cautions : tuple of str
    """

    readings: tuple[Reading, ...]
    location: Location
    epoch: np.datetime64 | None
    local: Size | None
    moment: Size | None
    vp_vs: tuple[float, float] | None
    stations: pd.DataFrame
    notes: tuple[str, ...]
    settings: EventSettings
    by_model: tuple[Location, ...] = ()
    cautions: tuple[str, ...] = EVENT_CAUTIONS

    @property
    def size(self) -> Size | None:
        """The moment magnitude where there is one that is no bound, else the local, else the larger bound."""
        known = [size for size in (self.moment, self.local) if size is not None]
        exact = [size for size in known if not size.at_least]
        return exact[0] if exact else max(known, key=lambda size: size.value, default=None)

    @property
    def energy(self) -> float | None:
        """Energy radiated in waves, J, by Gutenberg & Richter (1956); None where the size is a bound only."""
        return None if self.size is None or self.size.at_least else radiated_energy(self.size.value)

    @property
    def about(self) -> np.datetime64 | None:
        """The origin time, or that of the first arrival, UTC to the s; None where no clock is right."""
        point = self.location.point
        times = [point.origin_time] if point is not None and math.isfinite(point.origin_time) else []
        if not times:
            times = self.stations[["p_after_epoch_s", "s_after_epoch_s"]].stack().dropna().tolist()
        found = self.utc(min(times)) if times else None
        return None if found is None else found.astype("datetime64[s]")

    def utc(self, seconds: float) -> np.datetime64 | None:
        """Return the UTC time of `seconds` after the epoch, to the ms; None where no clock is right."""
        if self.epoch is None or not math.isfinite(seconds):
            return None
        return (self.epoch + np.timedelta64(round(seconds * 1000), "ms")).astype("datetime64[ms]")


def read_station(
    result: Result, picks: Mapping[str, Pick] | None = None, instrument: WoodAnderson = UHRHAMMER_COLLINS
) -> Reading:
    """Read one processed record: arrivals from its raw samples, amplitudes from its corrected motion.

    Parameters
    ----------
    result : Result
    picks : mapping of str to Pick, optional
        ``"P"`` and ``"S"`` as read by a person; they win. So does `onset.time` of the settings.
    instrument : WoodAnderson
        For the local magnitude.

    Returns
    -------
    Reading

    Raises
    ------
    InputError
        A pick lies beyond the record.
    """
    return _read(result, dict(picks or {}), instrument, None)


def read_shocks(
    result: Result, picks: Mapping[str, Pick] | None = None, instrument: WoodAnderson = UHRHAMMER_COLLINS
) -> tuple[Reading, ...]:
    """Read each shock of a record by itself; the record as a whole where a person gave its picks.

    Parameters
    ----------
    result, picks, instrument
        As for `read_station`.

    Returns
    -------
    tuple of Reading
        In order of time.
    """
    raw = {component.name: to_acceleration(component).acceleration for component in result.record}
    given = picks or result.settings.onset.time != AUTO
    spans = () if given else shock_spans(raw, result.record.dt)
    if len(spans) < 2:
        return (_read(result, dict(picks or {}), instrument, None),)
    return tuple(
        replace(_read(result, {}, instrument, span), shock=number) for number, span in enumerate(spans, start=1)
    )


def _read(
    result: Result, picks: dict[str, Pick], instrument: WoodAnderson, span: tuple[float, float] | None
) -> Reading:
    record = result.record
    for pick in picks.values():
        if not 0 <= pick.time <= record.duration:
            raise InputError(
                f"record {record.id}: the pick of {pick.phase} at {pick.time:g} s is not in the record, "
                f"which ends at {record.duration:g} s"
            )
    raw = {component.name: to_acceleration(component).acceleration for component in record}
    if "P" not in picks and result.settings.onset.time != AUTO:
        picks["P"] = Pick("P", float(result.settings.onset.time), LEAST_UNCERTAINTY["P"], given=True)
    begin, end = (0, record.samples) if span is None else (round(time / record.dt) for time in span)
    here = {name: trace[begin:end] for name, trace in raw.items()}
    counts = [to_acceleration(component).count for component in record]
    onset = picks["P"].time if "P" in picks else None
    arrivals = pick_arrivals(here, record.dt, onset, counts).later(begin * record.dt)
    p, s = picks.get("P", arrivals.p), picks.get("S", arrivals.s)
    if p is not None and s is not None and s.time <= p.time:
        raise InputError(f"record {record.id}: S at {s.time:g} s does not come after P at {p.time:g} s")
    arrivals = Arrivals(p, s, {phase: why for phase, why in arrivals.missing.items() if phase not in picks})

    unfit = {finding.component for finding in result.findings if finding.severity == "unfit"}
    unfit_here = tuple(name for name in record.names if unfit & {name, ""})
    fit = [name for name in ("H1", "H2") if name in result.motion and name not in unfit_here]
    # The larger of two is not known while one of them is clipped.
    both = len(fit) == 2
    moved = {name: result.motion[name].unpadded() for name in fit}
    pgv = max(_peak(moved[name].velocity, begin, end) for name in fit) if both else math.nan
    trace_mm: dict[str, float] = {
        name: _peak(wood_anderson(moved[name].acceleration, record.dt, instrument), begin, end) for name in fit if both
    }
    shown = "V" if "V" in raw else record.names[0]
    trace = raw[shown] - raw[shown].mean()
    thin = max(1, len(trace) // TRACE_POINTS)
    return Reading(
        record=record.id,
        station=record.station,
        start=record.start,
        arrivals=arrivals,
        direction=_direction(record, raw, arrivals),
        pga=max(_peak(moved[name].acceleration, begin, end) for name in fit) if both else math.nan,
        pgv=pgv,
        intensity=modified_mercalli(pgv, "PGV")[0] if both else math.nan,
        trace_mm=trace_mm,
        spectrum=_spectrum(result, arrivals, unfit_here, end),
        unfit=unfit_here,
        time=np.arange(0, len(trace), thin) * np.float64(record.dt),
        trace=trace[::thin] / max(float(np.abs(trace).max()), np.finfo(float).tiny),
    )


def _peak(trace: Floats | None, begin: int, end: int) -> float:
    return math.nan if trace is None else float(np.abs(trace[begin:end]).max(initial=0.0))


def _direction(record: Record, raw: Mapping[str, Floats], arrivals: Arrivals) -> Direction | None:
    if arrivals.p is None or record.horizontals is None:
        return None
    azimuths = [record[name].azimuth for name in record.horizontals]
    if None in azimuths:
        return None
    turn = np.radians(np.array(azimuths, dtype=float))
    # Each horizontal is what north and east give along its azimuth.
    north, east = np.linalg.solve(np.column_stack((np.cos(turn), np.sin(turn))), [raw["H1"], raw["H2"]])
    up = raw.get("V")
    if up is not None and record["V"].dip is not None:
        up = up if record["V"].dip < 0 else -up
    window = P_WINDOW if arrivals.lag is None else min(P_WINDOW, 0.8 * arrivals.lag)
    return p_direction(north, east, up, record.dt, arrivals.p.time, window)


def _spectrum(result: Result, arrivals: Arrivals, unfit: Sequence[str], last: int) -> SourceSpectrum | None:
    """Fit the spectrum from shortly before S to where 95 % of the horizontal energy have come, at least `S_WINDOW`."""
    if arrivals.s is None or unfit or not {"H1", "H2"} <= set(result.motion):
        return None
    motions = [motion.unpadded() for motion in result.motion.values()]
    horizontals = np.array([result.motion[name].unpadded().acceleration[:last] for name in ("H1", "H2")])
    energy = np.cumsum((horizontals**2).sum(axis=0))
    dt = result.record.dt
    end = max(float(np.searchsorted(energy, 0.95 * energy[-1])) * dt, arrivals.s.time + S_WINDOW)
    bands = [result.usable_band[name] for name in result.motion]
    lowest = max(band.low_cut for band in bands) * 1.4  # where the filter takes less than a seventh of the amplitude
    highest = min(band.high_cut or band.nyquist for band in bands) / 1.4
    accelerations = [motion.acceleration for motion in motions]
    quiet = None if arrivals.p is None else (0.0, arrivals.p.time - 0.5)
    return source_spectrum(accelerations, dt, arrivals.s.time - 0.3, end, lowest, highest, quiet)


def study(readings: Iterable[Reading], settings: EventSettings | None = None) -> Event:
    """Put the readings of one event together.

    Parameters
    ----------
    readings : iterable of Reading
    settings : EventSettings, optional

    Returns
    -------
    Event
        Shocks that do not share its origin are left out, and named in the notes.

    Raises
    ------
    RecordError
        No reading, records of several events, or records that share no event.
    """
    found = events_in(readings, settings)
    if len(found) > 1:
        raise RecordError(
            f"the records are of {len(found)} events, at {', '.join(str(event.about) for event in found)}",
            remedy="Choose those of one event with --from and --to",
        )
    return found[0]


def events_in(readings: Iterable[Reading], settings: EventSettings | None = None) -> tuple[Event, ...]:
    """Put readings together that share an origin; see `associate`.

    Parameters
    ----------
    readings : iterable of Reading
        A reading a shock; one record may have several.
    settings : EventSettings, optional

    Returns
    -------
    tuple of Event
        In order of time; at least one.

    Raises
    ------
    RecordError
        No reading, or several that share no event.
    """
    settings = settings or EventSettings()
    readings = tuple(readings)
    if not readings:
        raise RecordError("there is no record of the event", remedy="Process records into the archive first")
    if len(readings) == 1:
        return (_together(readings, (), settings),)
    starts = [reading.start for reading in readings if reading.start is not None]
    epoch = min(starts) if starts else None
    groups, _ = associate([_arrived(reading, epoch) for reading in readings])
    found = []
    for group in groups:
        mine = [readings[number] for number in group]
        apart = [reading for number, reading in enumerate(readings) if number not in group]
        others = {number for other in groups for number in other}
        event = _together(mine, [r for r in apart if readings.index(r) not in others], settings)
        if event.location.consistent:
            found.append(event)
    if not found:
        raise RecordError(
            f"these {len(readings)} records share no earthquake: no common origin explains any two of them",
            remedy="Look at one record at a time, choosing it with --from and --to, or give picks with --picks",
        )
    return tuple(found)


def _arrived(reading: Reading, epoch: np.datetime64 | None) -> Arrived:
    """Return what counts for the association."""
    station, p, s = reading.station, reading.arrivals.p, reading.arrivals.s
    offset = _offset(reading, epoch)
    place = None
    if station.latitude is not None and station.longitude is not None:
        place = (station.latitude, station.longitude)
    return Arrived(
        reading.record,
        None if p is None else (offset or 0.0) + p.time,
        None if s is None else (offset or 0.0) + s.time,
        LEAST_UNCERTAINTY["P"] if p is None else p.uncertainty,
        LEAST_UNCERTAINTY["S"] if s is None else s.uncertainty,
        place,
        offset is not None,
    )


def _offset(reading: Reading, epoch: np.datetime64 | None) -> float | None:
    """Return the record's start, s after the epoch; None where it is not known."""
    if reading.start is None or epoch is None:
        return None
    return float((reading.start - epoch) / np.timedelta64(1, "ns")) * 1e-9


def _together(readings: Sequence[Reading], apart: Sequence[Reading], settings: EventSettings) -> Event:
    """Put the readings of one event together."""
    readings = tuple(readings)
    starts = [reading.start for reading in readings if reading.start is not None]
    epoch = min(starts) if starts else None
    names = _names(readings)
    times = [_station_times(reading, name, epoch) for reading, name in zip(readings, names, strict=True)]
    located = [found for found in times if found is not None]
    models = settings.model if isinstance(settings.model, tuple) else ()

    def place(model: VelocityModel | tuple[VelocityModel, ...] | None) -> Location:
        return locate(
            located, model, travel_time_error=settings.travel_time_error, assumed_depth=settings.assumed_depth
        )

    location = place(settings.model)
    by_model = tuple(place(model) for model in models) if len(models) > 1 else ()
    notes = list(location.notes)
    table = _table(readings, names, times, location)
    notes += _implausible(table)
    if apart:
        others = ", ".join(dict.fromkeys(reading.station.code or reading.record for reading in apart))
        notes.append(f"not part of this event, since no common origin explains them: {others}")
    local, moment = _local(table), _moment(table)
    if local is not None and local.value > ALONE_SATURATES and (moment is None or moment.at_least):
        local = replace(local, at_least=True)
    if local and moment and not local.at_least and not moment.at_least and abs(local.value - moment.value) > DISAGREE:
        notes.append(
            f"moment and local magnitude differ by {abs(local.value - moment.value):.1f}: look at the records before "
            "either is used"
        )
    if local is not None and moment is not None and moment.at_least != local.at_least:
        bound, value = (moment, local) if moment.at_least else (local, moment)
        if bound.value > value.value + DISAGREE:
            notes.append(f"{value.kind} is below the least that {bound.kind} allows: look at the records")
    notes += _of_stations(readings, names, table)
    doubted = {*location.left_out, *(clock.station for clock in location.clocks)}
    ratio = wadati([s for s in located if s.station not in doubted]) if location.consistent else None
    return Event(
        readings, location, epoch, local, moment, None if ratio is None else ratio[:2], table, tuple(notes), settings,
        by_model,
    )  # fmt: skip


def _of_stations(readings: Sequence[Reading], names: Sequence[str], table: pd.DataFrame) -> list[str]:
    """Say what cannot be determined of single stations: each reason once, with the stations it holds for."""
    by_reason: dict[str, list[str]] = {}

    def say(name: str, reason: str) -> None:
        by_reason.setdefault(reason, []).append(name)

    for reading, name in zip(readings, names, strict=True):
        if reading.station.latitude is None or reading.station.longitude is None:
            say(name, "the coordinates are not known, so it does not count for the place")
        if reading.start is None:
            say(name, "the clock is not known, so only S minus P counts")
        if reading.unfit:
            say(name, f"{', '.join(reading.unfit)} unfit (see its findings): no amplitude, so no magnitude")
        for note in reading.arrivals.notes:
            say(name, note)
        if reading.spectrum is not None and not reading.spectrum.noise_known:
            say(name, "no noise before P to compare the spectrum with: no moment magnitude")
        elif reading.spectrum is not None and not reading.spectrum.plateau_seen:
            say(name, "the band does not reach an octave below the corner: the moment is a lower bound")
    low, high = PLAUSIBLE_STRESS
    for row in table.itertuples():
        if math.isfinite(row.stress_drop_mpa) and not low <= row.stress_drop_mpa * 1e6 <= high:
            say(row.station, "the stress drop is not within the plausible 0.1 to 100 MPa: the moment does not count")
    return [f"{', '.join(stations)}: {reason}" for reason, stations in by_reason.items()]


def study_archive(
    archive: Archive,
    settings: EventSettings | None = None,
    *,
    picks: PickFile | None = None,
    begin: np.datetime64 | None = None,
    end: np.datetime64 | None = None,
    where: str = "",
) -> Event:
    """Study the event whose records an archive holds.

    Parameters
    ----------
    archive : Archive
    settings : EventSettings, optional
    picks : PickFile, optional
        As read by a person; they win.
    begin, end : numpy.datetime64, optional
        Only records that begin within these times, UTC.
    where : str, optional
        Only records that this question finds; see `Archive.find`.

    Returns
    -------
    Event

    Raises
    ------
    RecordError
        There are no such records, they are of several events, or a pick names none of them.
    ArchiveError
        A file of the archive is damaged.

    Examples
    --------
    >>> import tempfile
    >>> import strongmotion as sm
    >>> archive = sm.Archive(tempfile.mkdtemp(), create=True)
    >>> for name in ("quay.csv", "fern.txt", "salt.csv"):
    ...     _ = archive.add(sm.process(sm.read(f"demo_records/{name}")))
    >>> study_archive(archive).size.kind
    'Mw'
    """
    return study(read_archive(archive, settings, picks=picks, begin=begin, end=end, where=where), settings)


def read_archive(
    archive: Archive,
    settings: EventSettings | None = None,
    *,
    picks: PickFile | None = None,
    begin: np.datetime64 | None = None,
    end: np.datetime64 | None = None,
    where: str = "",
) -> tuple[Reading, ...]:
    """Read the records of an archive, or those that begin within a time or that the catalogue finds; open no others.

    Parameters
    ----------
    archive, settings, picks, begin, end, where
        As for `study_archive`.

    Returns
    -------
    tuple of Reading
        One for each shock.

    Raises
    ------
    RecordError
        A pick names none of the records.
    """
    settings = settings or EventSettings()
    readings: list[Reading] = []
    names = archive.ids(begin, end)
    if where:
        found = set(archive.find(where)["record"])
        names = [name for name in names if name in found]
    for name in names:
        result = archive[name]
        given = None if picks is None else picks.of(result.record)
        readings += read_shocks(result, given, settings.instrument)
    if picks is not None and (unknown := picks.unknown()):
        raise RecordError(
            f"picks are given for {', '.join(unknown)}, but there is no such record among those of the event",
            remedy="Name records by their id or their station's code",
        )
    return tuple(readings)


def _names(readings: Sequence[Reading]) -> list[str]:
    """Return the stations' codes; the record's id where a code is missing or not the only one."""
    codes = [reading.station.code for reading in readings]
    return [
        code if code and codes.count(code) == 1 else reading.record
        for code, reading in zip(codes, readings, strict=True)
    ]


def _station_times(reading: Reading, name: str, epoch: np.datetime64 | None) -> StationTimes | None:
    station, p, s = reading.station, reading.arrivals.p, reading.arrivals.s
    if station.latitude is None or station.longitude is None or (p is None and s is None):
        return None
    known = _offset(reading, epoch)
    timed, offset = known is not None, known or 0.0
    return StationTimes(
        name, station.latitude, station.longitude,
        None if p is None else offset + p.time, None if s is None else offset + s.time,
        LEAST_UNCERTAINTY["P"] if p is None else p.uncertainty,
        LEAST_UNCERTAINTY["S"] if s is None else s.uncertainty, timed, _elevation(station),
    )  # fmt: skip


def _elevation(station: Station) -> float | None:
    """Return the elevation of the instrument, m."""
    return None if station.elevation is None else station.elevation - (station.sensor_depth or 0.0)


def _table(
    readings: Sequence[Reading],
    names: Sequence[str],
    times: Sequence[StationTimes | None],
    location: Location,
) -> pd.DataFrame:
    point = location.point
    residuals = {(r.station, r.phase): r for r in location.residuals}
    far = {distance.station: distance for distance in location.distances}
    depth = 10.0 if point is None else point.depth
    rows = []
    for reading, name, arrived in zip(readings, names, times, strict=True):
        station, p, s, lag = reading.station, reading.arrivals.p, reading.arrivals.s, reading.arrivals.lag
        by_lag = None if lag is None else epicentral_distance(lag, depth, location.model)
        if lag is not None and by_lag is None:
            by_lag = 0.0  # nearer than the depth taken
        epicentral, azimuth = math.nan, math.nan
        if point is not None and station.latitude is not None and station.longitude is not None:
            epicentral, azimuth = distance_and_azimuth(
                point.latitude, point.longitude, station.latitude, station.longitude
            )
        if name in far:
            low, high = far[name].hypocentral[1:]
            elevation = _elevation(station)
            rise = 0.0 if elevation is None or location.datum is None else (elevation - location.datum) / 1000.0
            hypocentral = math.hypot(epicentral, depth + rise) if point is not None else far[name].hypocentral[0]
            epicentral = epicentral if point is not None else far[name].epicentral[0]
        else:
            hypocentral = math.hypot(epicentral, depth)
            low, high = hypocentral, hypocentral
        known = math.isfinite(hypocentral)
        within = known and RICHTER_DISTANCES[0] <= hypocentral <= RICHTER_DISTANCES[1]
        magnitudes = [local_magnitude(mm, hypocentral) for mm in reading.trace_mm.values() if within and mm > 0]
        spectrum = reading.spectrum
        seen = spectrum is not None and spectrum.plateau_seen and known
        moment = seismic_moment(spectrum.plateau, hypocentral) if spectrum is not None and seen else None
        stress = math.nan if moment is None or spectrum is None else stress_drop(moment, spectrum.corner)
        least = math.nan
        if known and spectrum is not None and spectrum.noise_known and spectrum.floor > 0:
            least = moment_magnitude(seismic_moment(spectrum.floor, max(low, 1.0)))
        plausible = moment is not None and PLAUSIBLE_STRESS[0] <= stress <= PLAUSIBLE_STRESS[1]
        p_residual, s_residual = residuals.get((name, "P")), residuals.get((name, "S"))
        rows.append(
            {
                "record": reading.record,
                "station": name,
                "latitude_deg": _number(station.latitude),
                "longitude_deg": _number(station.longitude),
                "p_after_epoch_s": _number(None if arrived is None else arrived.p),
                "p_uncertainty_s": _number(None if p is None else p.uncertainty),
                "p_residual_s": _number(None if p_residual is None else p_residual.residual),
                "p_used": p_residual is not None and p_residual.used,
                "s_after_epoch_s": _number(None if arrived is None else arrived.s),
                "s_uncertainty_s": _number(None if s is None else s.uncertainty),
                "s_residual_s": _number(None if s_residual is None else s_residual.residual),
                "s_used": s_residual is not None and s_residual.used,
                "picked_by": " ".join(
                    f"{pick.phase}:{'person' if pick.given else 'program'}" for pick in (p, s) if pick
                ),
                "s_minus_p_s": _number(lag),
                "epicentral_distance_by_lag_km": _number(by_lag),
                "epicentral_distance_km": _number(epicentral),
                "hypocentral_distance_km": hypocentral,
                "hypocentral_distance_low_km": low,
                "hypocentral_distance_high_km": high,
                "azimuth_from_epicentre_deg": azimuth,
                "p_back_azimuth_deg": _number(None if reading.direction is None else reading.direction.back_azimuth),
                "p_back_azimuth_either_way": reading.direction is not None and reading.direction.either_way,
                "pga_m_s2": reading.pga,
                "pgv_m_s": reading.pgv,
                "intensity": reading.intensity,
                "wood_anderson_mm": max(reading.trace_mm.values(), default=math.nan),
                "local_magnitude": float(np.mean(magnitudes)) if magnitudes else math.nan,
                "moment_magnitude": moment_magnitude(moment) if moment is not None and plausible else math.nan,
                "least_moment_magnitude": least,
                "corner_hz": math.nan if spectrum is None else spectrum.corner,
                "stress_drop_mpa": stress / 1e6,
                "unfit": " ".join(reading.unfit),
            }
        )
    table = pd.DataFrame(rows)
    sizes = table["moment_magnitude"].dropna()
    if sizes.empty:
        sizes = table["local_magnitude"].dropna()
    size, far = float(sizes.median()) if len(sizes) else math.nan, table["epicentral_distance_km"]
    held = PGA_MAGNITUDES[0] <= size <= PGA_MAGNITUDES[1]
    # Outside its magnitudes the relation still tells how peaks fall off, near enough for a wrong unit to stand out.
    level = np.log10(table["pga_m_s2"].where(table["pga_m_s2"] > 0) / expected_pga(np.clip(size, *PGA_MAGNITUDES), far))
    level = level.where(far <= FARTHEST)
    table["expected_pga_m_s2"] = expected_pga(size, far.where(far <= FARTHEST)) if held else math.nan
    table["pga_log10_residual"] = level if held else math.nan
    # Against the stations' own median, so that the event's strength and the magnitude taken do not count.
    table["pga_log10_against_others"] = level - level.median() if level.notna().sum() >= 3 else math.nan
    judged = table["pga_log10_against_others"].fillna(table["pga_log10_residual"])
    table["pga_plausible"] = ~(judged.abs() > IMPLAUSIBLE * PGA_SCATTER)
    table["distance_order"] = table["epicentral_distance_km"].rank(method="first")
    return table.sort_values(["distance_order", "record"]).drop(columns="distance_order").reset_index(drop=True)


def _number(value: float | None) -> float:
    return math.nan if value is None else float(value)


def _implausible(table: pd.DataFrame) -> list[str]:
    notes = []
    for row in table[~table["pga_plausible"]].itertuples():
        others = math.isfinite(row.pga_log10_against_others)
        off = row.pga_log10_against_others if others else row.pga_log10_residual
        than = "at the other stations, by the fall-off of Joyner & Boore (1981)" if others else (
            "Joyner & Boore (1981) expect"
        )  # fmt: skip
        notes.append(
            f"{row.station}: its PGA is {10 ** abs(off):.2g} times {'more' if off > 0 else 'less'} than {than}: "
            "its unit or gain looks wrong, and its magnitude does not count"
        )
    return notes


def _local(table: pd.DataFrame) -> Size | None:
    """Return the local magnitude: a lower bound where it saturates."""
    size = _size("ML", table, "local_magnitude", 1.11)
    return None if size is None else replace(size, at_least=size.value > RICHTER_SATURATES)


def _moment(table: pd.DataFrame) -> Size | None:
    """Return the moment magnitude, or a lower bound where no station sees the plateau."""
    size = _size("Mw", table, "moment_magnitude", 2 / 3)
    if size is not None:
        return size
    bound = _size("Mw", table, "least_moment_magnitude", 2 / 3)
    return None if bound is None else replace(bound, at_least=True)


def _size(kind: str, table: pd.DataFrame, column: str, by_distance: float) -> Size | None:
    """Return the median over stations; a magnitude grows by `by_distance` log10 of the distance."""
    rows = table[table["pga_plausible"] & table[column].notna()]
    if rows.empty:
        return None
    values = rows[column]
    scatter = float(values.std(ddof=1)) if len(values) > 1 else math.nan
    spread = np.log10(rows["hypocentral_distance_high_km"] / rows["hypocentral_distance_low_km"].clip(lower=0.1)) / 3.92
    each = max(STATION_SCATTER, 0.0 if math.isnan(scatter) else scatter)
    error = math.hypot(each / math.sqrt(len(values)), SHARED_SCATTER, by_distance * float(spread.median()))
    return Size(kind, float(values.median()), scatter, len(values), error)
