"""FDSN StationXML: the instrument, its coordinates, and the conversion of its counts to acceleration.

https://www.fdsn.org/xml/station/ (version 1). For each channel the epoch that contains the record's start is used: its
coordinates, azimuth, dip and overall sensitivity, and its poles and zeros, to check that the sensitivity holds over the
band.
"""

from __future__ import annotations

import cmath
import functools
import itertools
import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..foundation.errors import InputError, RecordError
from ..foundation.units import ACCELERATION, COUNTS, acceleration_unit
from ..record import WITHOUT_SENSITIVITY, Component, Finding, Record, Station
from .channels import ACCELERATION_ALONE, Choice, Codes
from .header import Unread, channel_left_out, direction, last_instant
from .source import content
from .xml import Node, parse

FLAT_FROM, FLAT_TO, FLAT_WITHIN = 0.1, 0.8, 0.1
"""The response must stay within 10 % from 0.1 Hz to 0.8 of the Nyquist frequency (common practice, no source)."""

LEAST_GAIN = 0.1
"""Smallest gain at which a response is removed, as a fraction of that at the frequency of the sensitivity. Below it the
digitiser noise would be amplified more than tenfold (a judgement, without a source)."""

DIRECTION_WITHIN = 5.0
"""Tolerance between a channel's direction and that of its code, degrees (SEED 2.4 for N, E and Z; from memory)."""

MOST_ROOTS = 1000
"""Largest number of poles and zeros of one stage; sensors have about ten."""

_KEPT = frozenset((
    "Network", "Station", "Site", "Name", "Channel", "Latitude", "Longitude", "Elevation", "Azimuth", "Dip",
    "Sensor", "Description", "Type", "Model", "Response", "InstrumentSensitivity", "Value", "Frequency",
    "InputUnits", "OutputUnits", "Stage", "PolesZeros", "PzTransferFunctionType", "NormalizationFactor",
    "NormalizationFrequency", "Zero", "Pole", "Real", "Imaginary", "StageGain",
))  # fmt: skip
_VELOCITY = {"m/s": 1.0, "cm/s": 0.01, "mm/s": 0.001, "um/s": 1e-6, "nm/s": 1e-9}
_SMALL_ACCELERATION = {"mm/s2": 0.001, "um/s2": 1e-6, "nm/s2": 1e-9}


@dataclass(frozen=True)
class Channel:
    """One epoch of one channel."""

    network: str
    station: str
    location: str
    code: str
    begin: np.datetime64 | None
    end: np.datetime64 | None
    node: Node
    name: str
    fault: RecordError | None = None
    """The error of dates that cannot be read."""

    @property
    def id(self) -> str:
        """The codes, joined by points."""
        return ".".join((self.network, self.station, self.location, self.code))

    @property
    def said(self) -> tuple[float | str | None, ...]:
        """The meaning of the samples: sensitivity and its units, azimuth and dip."""
        whole = self.node.first("Response", "InstrumentSensitivity")
        of_whole = () if whole is None else (whole.number("Value"), whole.words("InputUnits", "Name").lower())
        return (*of_whole, self.node.number("Azimuth"), self.node.number("Dip"))

    def holds(self, time: np.datetime64 | None) -> bool:
        """Whether the epoch contains a time; every epoch contains an unknown time."""
        if self.fault is not None:
            raise self.fault
        if time is None:
            return True
        return not ((self.begin is not None and time < self.begin) or (self.end is not None and time >= self.end))


@dataclass(frozen=True)
class Inventory:
    """The channels of one or more StationXML documents; ``unread`` holds the errors of those that could not be read."""

    files: tuple[str, ...]
    channels: tuple[Channel, ...]
    unread: tuple[RecordError, ...] = ()

    @functools.cached_property
    def by_code(self) -> dict[tuple[str, str, str], list[Channel]]:
        """The channels by station, location and channel code."""
        found: dict[tuple[str, str, str], list[Channel]] = {}
        for channel in self.channels:
            found.setdefault((channel.station, channel.location, channel.code), []).append(channel)
        return found

    def named(self, network: str, station: str, location: str, code: str) -> list[Channel]:
        """Return all epochs of a channel, of any network if none is given."""
        its = self.by_code.get((station, location.replace("--", ""), code), [])
        return [channel for channel in its if not network or channel.network == network]


def read_stationxml(path: str | Path) -> Inventory:
    """Read a StationXML document, or all documents of a folder (files ending in .xml or .xml.gz).

    Raises
    ------
    RecordError
        The document, or every document of the folder, cannot be read or is not StationXML. The message names the file
        and the line. If only some documents of a folder fail, the inventory's ``unread`` lists them.

    Examples
    --------
    >>> import tempfile
    >>> from pathlib import Path
    >>> path = Path(tempfile.mkdtemp()) / "quay.xml"
    >>> channel = '<Channel code="HNZ" locationCode="00"><Dip>-90</Dip></Channel>'
    >>> station = f'<Network code="XX"><Station code="QUAY">{channel}</Station></Network>'
    >>> _ = path.write_text(f"<FDSNStationXML>{station}</FDSNStationXML>")
    >>> [channel.id for channel in read_stationxml(path).channels]
    ['XX.QUAY.00.HNZ']
    """
    folder = Path(path).expanduser()
    files = [folder]
    if folder.is_dir():
        files = sorted(file for file in folder.iterdir() if file.name.lower().endswith((".xml", ".xml.gz")))
        if not files:
            raise RecordError("no StationXML document (.xml) in this folder", source=str(path), remedy="Name the file")
    return _inventory(tuple((str(file), _stamp(file)) for file in files))


def _stamp(file: Path) -> tuple[int, int]:
    try:
        about = file.stat()
    except (OSError, ValueError):
        return 0, 0  # the error appears when it is read
    return about.st_mtime_ns, about.st_size


@functools.lru_cache(maxsize=4)
def _inventory(files: tuple[tuple[str, tuple[int, int]], ...]) -> Inventory:
    # A batch asks for the same inventory for each of its files: it is parsed again only if a document changes.
    found: list[Channel] = []
    unread: list[RecordError] = []
    for file, _ in files:
        try:
            found += channels_in(*content(file))
        except RecordError as error:
            unread.append(error)
    if len(unread) == len(files):
        raise unread[0]
    return Inventory(tuple(Path(file).name for file, _ in files), tuple(found), tuple(unread))


def channels_in(file: str, data: bytes) -> list[Channel]:
    """Return the channels of a document, given its name and bytes."""
    root = parse(data, file, "FDSNStationXML", _KEPT)
    found = []
    for network in root.all("Network"):
        for station in network.all("Station"):
            for channel in station.all("Channel"):
                begin = end = fault = None
                try:
                    begin, end = channel.time("startDate"), channel.time("endDate")
                except RecordError as error:
                    fault = error
                codes = (item.attributes.get("code", "").strip() for item in (network, station, channel))
                net, sta, code = codes
                location = channel.attributes.get("locationCode", "").strip().replace("--", "")
                name = station.words("Site", "Name")
                found.append(Channel(net, sta, location, code, begin, end, channel, name, fault))
    return found


def measured(inventory: Inventory, codes: Codes, start: int) -> str:
    """Return the quantity measured by a channel at a time in ns since 1970: ``acceleration``, ``velocity`` or empty."""
    time = np.datetime64(start, "ns")
    try:
        its = [one for one in inventory.named(*codes[:3], codes.code) if one.holds(time)]
        wholes = [one.node.first("Response", "InstrumentSensitivity") for one in its]
        kinds = {_factor(whole, whole.words("InputUnits", "Name"))[1] for whole in wholes if whole is not None}
    except RecordError:
        return ""  # the error is reported when the record is described
    return "" if len(kinds) != 1 else "velocity" if kinds.pop() else "acceleration"


def described_by(
    record: Record,
    inventory: Inventory,
    *,
    choice: Choice = ACCELERATION_ALONE,
    keep: bool = False,
    unread: list[Unread] | None = None,
) -> Record:
    """Return the record with the metadata of its channels from an inventory.

    Parameters
    ----------
    record : Record
    inventory : Inventory
    choice : Choice
        Whether velocity sensors are wanted. Their samples are then converted to acceleration by removing the full
        response; otherwise such a component has no sensitivity.
    keep : bool
        Keep the record's own sensitivities, because the caller gave them.
    unread : list of Unread, optional
        Receives an entry for each component left out.

    Returns
    -------
    Record
        With findings on missing, doubtful and overruled metadata. A faulty component is left out, and so is one in
        counts of unknown sensitivity if others can be processed.

    Raises
    ------
    RecordError
        Every component is faulty.
    """
    findings, station = list(record.findings), record.station
    kept: list[tuple[Component, Channel | None]] = []
    faults: list[tuple[Component, RecordError]] = []
    for component in record:
        try:
            channel, said = _channel_of(record, component, inventory)
            if channel is None:
                kept.append((component, None))
                findings.extend(said)
                continue
            if not channel.holds(last_instant(record)):
                said += (
                    _finding(
                        component, "epoch ends", "doubt",
                        f"the epoch of {channel.id} ends during the record, at {channel.end} UTC",
                        "The instrument was changed during the record", "Check what was changed",
                    ),
                )  # fmt: skip
            changed, of_response = _with_response(component, channel, choice, keep)
            directed, of_direction = _with_direction(changed, channel)
            station = _station_from(channel, station)
        except RecordError as error:
            faults.append((component, error))
            continue
        kept.append((directed, channel))
        findings.extend((*said, *of_response, *of_direction))
    if not kept:
        raise faults[0][1]
    unknown = {one.name for one, _ in kept if one.unit == COUNTS and one.sensitivity is None}
    if len(unknown) < len(kept):
        reasons = {one.component: one for one in findings if one.name in WITHOUT_SENSITIVITY}
        for component, _ in kept:
            if component.name in unknown:
                reason = reasons.get(component.name)
                what = f"component {component.name} is in counts, but its sensitivity is unknown"
                what, remedy = (what, "Give it") if reason is None else (reason.what, reason.remedy)
                faults.append((component, RecordError(what, source=record.source.file or None, remedy=remedy)))
        kept = [(one, channel) for one, channel in kept if one.name not in unknown]
    for component, fault in faults:
        own = record.station
        name = ".".join((own.network, own.code, own.location, component.channel or component.name)).lstrip(".")
        findings.append(channel_left_out(name, fault))
        if unread is not None:
            unread.append(Unread(record.id, name, fault))
    components, moved = _named_by_direction(kept)
    gone = {component.name for component, _ in faults}
    findings = [
        replace(one, component=moved.get(one.component, one.component)) for one in findings if one.component not in gone
    ]
    return Record(components, station, record.source, tuple(findings), record.earthquake, record.joined)


def _channel_of(
    record: Record, component: Component, inventory: Inventory
) -> tuple[Channel | None, tuple[Finding, ...]]:
    """Return the epoch of a component's channel at the record's start, and a finding if none or several apply."""
    station, time = record.station, component.start
    code = component.channel or component.name
    full = ".".join((station.network, station.code, station.location, code))
    named = inventory.named(station.network, station.code, station.location, code)
    fitting = [channel for channel in named if channel.holds(time)]
    if fitting:
        last = max(fitting, key=lambda channel: channel.begin or np.datetime64("1900-01-01", "ns"))
        if len({channel.said for channel in fitting}) == 1:
            return last, ()
        when = "an unknown start time" if time is None else f"{time} UTC"
        return last, (
            _finding(
                component, "overlapping epochs", "doubt",
                f"{len(fitting)} epochs of {full} contain {when} and differ in sensitivity or direction; that from "
                f"{last.begin} on was used",
                "All amplitudes follow from it", "Correct the document, or give the sensitivity yourself",
            ),
        )  # fmt: skip
    what = f"no epoch of {full} at {time} UTC" if named else f"no channel {full}"
    what += f" in {', '.join(inventory.files[:5])}{' and others' if len(inventory.files) > 5 else ''}"
    if inventory.unread:
        more = f" and {len(inventory.unread) - 1} more" if len(inventory.unread) > 1 else ""
        what += f"; not read: {str(inventory.unread[0])[:200]}{more}"
    missing = _finding(
        component, "no station metadata", "doubt", what,
        "Sensitivity and direction are known only if the record states them",
        "Get the StationXML of this channel and time",
    )  # fmt: skip
    return None, (missing,)


def _station_from(channel: Channel, station: Station) -> Station:
    node = channel.node
    sensor = node.words("Sensor", "Description") or node.words("Sensor", "Model") or node.words("Sensor", "Type")
    place: dict[str, Any] = {
        key: value for key in ("latitude", "longitude", "elevation") if (value := node.number(key.title())) is not None
    }
    try:
        return replace(
            station,
            network=channel.network,
            name=channel.name or station.name,
            instrument=sensor or station.instrument,
            **place,
        )
    except RecordError as error:
        if error.source:
            raise
        raise node.error(error.what) from None


def _with_direction(component: Component, channel: Channel) -> tuple[Component, tuple[Finding, ...]]:
    """Return the component with its direction, and a finding if that contradicts its code."""
    azimuth, dip = channel.node.number("Azimuth"), channel.node.number("Dip")
    if dip is not None and abs(abs(dip) - 90) < 1e-9:
        azimuth = None
    try:
        directed = replace(
            component,
            azimuth=component.azimuth if azimuth is None and dip is None else azimuth,
            dip=component.dip if dip is None else dip,
        )
    except RecordError as error:
        raise channel.node.error(error.what) from None
    letter = channel.code[-1:]
    _, nominal_azimuth, nominal_dip = direction(f"HN{letter}")
    away = _angle((nominal_azimuth, nominal_dip), (directed.azimuth, directed.dip))
    if letter in ("1", "2") and dip is not None and abs(dip) > DIRECTION_WITHIN:
        away = abs(dip)
    if letter == "Z" and away is not None and away > 180 - DIRECTION_WITHIN:
        return directed, (
            _finding(
                directed, "positive down", "note", f"StationXML gives {channel.id} a dip of {dip:g}°: positive is down",
                "The sign of vertical motion is reversed; peaks and spectra are unaffected",
                "Reverse the sign if it matters",
            ),
        )  # fmt: skip
    if away is None or away <= DIRECTION_WITHIN:
        return directed, ()
    towards = f"an azimuth of {azimuth:g}° and " if azimuth is not None else ""
    return directed, (
        replace(
            _finding(
                directed, "other direction", "note",
                f"StationXML gives {channel.id} {towards}a dip of {directed.dip or 0:g}°, {away:.3g}° off its code",
                "The component is named for its direction, not its code; only horizontal components at right angles "
                "make a pair",
                "Check that azimuth and dip, or two channels, are not swapped",
            ),
            values={"off_degrees": away},
        ),
    )  # fmt: skip


def _angle(one: tuple[float | None, float | None], two: tuple[float | None, float | None]) -> float | None:
    """Return the angle between two directions in degrees, or None if one is unknown."""
    vectors = []
    for azimuth, dip in (one, two):
        if dip is None or (azimuth is None and abs(dip) < 90 - DIRECTION_WITHIN):
            return None
        level, down = math.cos(math.radians(dip)), math.sin(math.radians(dip))
        towards = math.radians(azimuth or 0.0)
        vectors.append((level * math.cos(towards), level * math.sin(towards), down))
    product = sum(a * b for a, b in zip(*vectors, strict=True))
    return math.degrees(math.acos(max(-1.0, min(1.0, product))))


def _named_by_direction(
    parts: list[tuple[Component, Channel | None]],
) -> tuple[tuple[Component, ...], dict[str, str]]:
    """Name components for their directions; return them and the new names by the old ones.

    The vertical component is V, the horizontal ones are H1 and H2; existing names of this kind are kept. A component
    that is neither, or would be a second vertical or third horizontal one, is named by its channel code and makes no
    pair.
    """
    names = {one.name: one.name for one, _ in parts}
    free = [name for name in ("H1", "H2", "V") if name not in names]
    moved: list[tuple[Component, str, str]] = []
    for one, channel in parts:
        if channel is None or one.dip is None or channel.code[-1:] not in tuple("NEZ123"):
            continue
        level, upright = abs(one.dip) <= DIRECTION_WITHIN, abs(one.dip) >= 90 - DIRECTION_WITHIN
        if (one.name == "V" and not upright) or (one.name in ("H1", "H2") and not level):
            free.append(one.name)
            moved.append((one, channel.code, "V" if upright else "H" if level and one.azimuth is not None else ""))
        elif one.name not in ("H1", "H2", "V") and (upright or (level and one.azimuth is not None)):
            moved.append((one, channel.code, "V" if upright else "H"))
    for one, code, kind in moved:
        fitting = sorted(name for name in free if kind and name.startswith(kind))
        names[one.name] = fitting[0] if fitting else code if code not in ("H1", "H2", "V") else f"{code}-other"
        if fitting:
            free.remove(fitting[0])
    changed = [one if names[one.name] == one.name else replace(one, name=names[one.name]) for one, _ in parts]
    if any(old != new for old, new in names.items()):
        usual = {name: place for place, name in enumerate(("H1", "H2", "V"))}
        changed.sort(key=lambda one: usual.get(one.name, len(usual)))
    return tuple(changed), names


def _with_response(
    component: Component, channel: Channel, choice: Choice, keep: bool
) -> tuple[Component, list[Finding]]:
    """Return the component with its sensitivity, and findings."""
    whole = channel.node.first("Response", "InstrumentSensitivity")
    value = None if whole is None else whole.number("Value")
    if whole is None or value is None:
        return component, [
            _finding(
                component, "no sensitivity", "doubt", "StationXML gives no overall sensitivity of this channel",
                "Counts cannot be converted to acceleration", "Give the sensitivity",
            )
        ]  # fmt: skip
    if value == 0:
        raise whole.error("the sensitivity is 0", "Correct the document, or give the sensitivity yourself")
    unit, output = whole.words("InputUnits", "Name"), whole.words("OutputUnits", "Name")
    if component.unit != COUNTS:
        return component, []  # the samples are already acceleration
    if output and output.lower() not in ("counts", "count", "cts"):
        raise whole.error(
            f"the output unit of the sensitivity is {output!r}, not counts: the digitiser is missing",
            "Complete the response, or give the sensitivity yourself",
        )
    factor, velocity = _factor(whole, unit)
    findings = []
    if velocity and not choice.wants("seismometer", channel.code):
        return replace(component, sensitivity=component.sensitivity if keep else None), [
            _finding(
                component, "velocity sensor", "unfit", f"StationXML says that this sensor measures velocity ({unit})",
                "Its samples are not acceleration, so it is not processed",
                "Use the accelerometer, or read it with sensor=\"seismometer\" (--sensor seismometer)",
            )
        ]  # fmt: skip
    if velocity and keep:
        raise whole.error(
            "the response of this velocity sensor is removed, so no sensitivity can be given",
            "Leave out sensitivity= (--sensitivity)",
        )
    if velocity and (divided := _divided_out(component, channel.node, whole)) is not None:
        return divided[0], [*_of_gains(component, channel.node, whole), divided[1]]
    if velocity:
        component, note = _differentiated(component)
        findings.append(note)
    sensitivity = value / factor
    if not 1e-300 < abs(sensitivity) < 1e300:
        raise whole.error(f"the sensitivity is {value:g}, which is not valid")
    if keep and component.sensitivity is not None:
        if abs(component.sensitivity / sensitivity - 1) > 1e-6:
            findings.append(_overruled(component, sensitivity, component.sensitivity, "StationXML"))
        sensitivity = component.sensitivity
    elif component.sensitivity is not None and abs(component.sensitivity / sensitivity - 1) > 1e-6:
        findings.append(_overruled(component, component.sensitivity, sensitivity, "the record"))
    findings.extend(_not_flat(component, channel.node, whole))
    return replace(component, sensitivity=sensitivity), findings


def _factor(whole: Node, unit: str) -> tuple[float, bool]:
    """Return the value of the input unit of a sensitivity in m/s² (or m/s), and whether it is a velocity."""
    spelling = unit.lower().replace("**", "").replace("^", "").replace("²", "2").replace(" ", "")
    spelling = spelling.replace("/s/s", "/s2").replace("/(s2)", "/s2").replace("/sec", "/s")
    if spelling in _VELOCITY:
        return _VELOCITY[spelling], True
    if spelling in _SMALL_ACCELERATION:
        return _SMALL_ACCELERATION[spelling], False
    try:
        return ACCELERATION[acceleration_unit(spelling)], False
    except (InputError, KeyError):
        raise whole.error(
            f"the unit of the sensitivity, {unit!r}, is not an acceleration",
            "Use an accelerometer's channel, or give the sensitivity yourself",
        ) from None


def _differentiated(component: Component) -> tuple[Component, Finding]:
    from scipy.interpolate import CubicSpline

    time = np.arange(len(component)) * component.dt
    derived = CubicSpline(time, component.samples.astype(float))(time, 1)
    return replace(component, samples=derived), _finding(
        component, "differentiated", "doubt",
        "velocity was differentiated with the cubic spline through the samples",
        "High frequencies are too low: by 0.2 % at an eighth of the sampling rate, 4.5 % at a quarter; noise grows",
        "Use an accelerometer at the same site, if there is one",
    )  # fmt: skip


def _divided_out(component: Component, node: Node, whole: Node) -> tuple[Component, Finding] | None:
    """Return the acceleration of a velocity sensor, with its full response removed; None without poles and zeros.

    With S counts per m/s at the frequency f0 of the sensitivity, and the gain G(f) of all poles and zeros, of modulus 1
    at f0, the acceleration has the spectrum 2 pi i f X / (S G). This holds within the band around f0 in which G stays
    above `LEAST_GAIN`; outside it a cosine taper, an octave wide below and a quarter wide above, leads to 0. The record
    is extended at both ends by its mirror image, faded out over two periods of the lowest frequency.
    """
    from scipy.fft import irfft, next_fast_len, rfft, rfftfreq

    at = whole.number("Frequency") or 1.0
    value, (factor, _) = whole.number("Value"), _factor(whole, whole.words("InputUnits", "Name"))
    assert value is not None
    responses = [
        response
        for poles_zeros in node.all("Response", "Stage", "PolesZeros")
        if (response := _gain_of(poles_zeros)) is not None
    ]
    if not responses:
        return None

    def gain(frequency: NDArray[np.float64]) -> NDArray[np.complex128]:
        found = np.ones(len(frequency), complex)
        for response in responses:
            found *= response(frequency)
        return found

    n, dt = len(component), component.dt
    nyquist = 0.5 / dt
    reference = float(abs(gain(np.array([at]))[0]))
    if not (0 < reference < math.inf and 0 < at < FLAT_TO * nyquist):
        raise whole.error(
            f"the response cannot be removed: it has no gain at its frequency of {at:g} Hz, or the record does not "
            "hold that frequency",
            "Correct the document, or use an accelerometer",
        )
    grid = np.geomspace(min(1 / (n * dt), 0.5 * at), FLAT_TO * nyquist, 2000)
    inside = np.abs(gain(grid)) >= LEAST_GAIN * reference
    middle = int(np.searchsorted(grid, at))
    outside = np.flatnonzero(~inside)
    first = int(outside[outside < middle].max(initial=-1)) + 1
    last = int(outside[outside > middle].min(initial=len(grid))) - 1
    begin, end = float(grid[first]), float(grid[last])

    reach = min(n - 1, math.ceil(2 / begin / dt))
    centred = component.samples - component.samples.mean(dtype=float)
    continued = np.pad(centred, reach, mode="reflect")
    fade = 0.5 - 0.5 * np.cos(np.pi * (np.arange(reach) + 0.5) / max(reach, 1))
    continued[:reach] *= fade
    continued[len(continued) - reach :] *= fade[::-1]
    length = next_fast_len(len(continued) + reach, real=True)
    frequency = rfftfreq(length, dt)
    kept = (frequency > begin / 2) & (frequency < min(1.25 * end, nyquist))
    its = frequency[kept]
    window = np.minimum(_rise((its - begin / 2) / (begin / 2)), _rise((1.25 * end - its) / (0.25 * end)))
    spectrum = np.zeros(len(frequency), complex)
    whole_gain = gain(its) * (value / factor / reference)
    with np.errstate(all="ignore"):  # a division that fails shows in the result
        spectrum[kept] = rfft(continued, length)[kept] * window * (2j * np.pi * its) / whole_gain
        acceleration = irfft(spectrum, length)[reach : reach + n]
    if not np.isfinite(acceleration).all():
        raise whole.error("the response cannot be removed: its gain overflows", "Correct the document")
    finding = _finding(
        component, "response divided out", "note",
        f"the full response of a velocity sensor was removed from {begin:.3g} to {end:.3g} Hz",
        "Outside this band the motion is unknown, and so is any permanent displacement",
        "Use an accelerometer at the same site, if there is one",
    )  # fmt: skip
    made = replace(component, samples=np.ascontiguousarray(acceleration), unit="m/s2", sensitivity=None)
    return made, replace(finding, values={"low_hz": begin, "high_hz": end})


def _rise(position: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return a half-cosine ramp from 0 at 0 to 1 at 1."""
    return 0.5 - 0.5 * np.cos(np.pi * np.clip(position, 0.0, 1.0))


def _not_flat(component: Component, node: Node, whole: Node) -> Iterable[Finding]:
    """Yield a finding if the poles and zeros deviate from the sensitivity, or the stage gains contradict it."""
    yield from _of_gains(component, node, whole)
    to = FLAT_TO * 0.5 / component.dt
    if to <= FLAT_FROM:
        return
    frequencies = np.geomspace(FLAT_FROM, to, 100)
    at = whole.number("Frequency") or 1.0
    for poles_zeros in node.all("Response", "Stage", "PolesZeros"):
        response = _gain_of(poles_zeros)
        if response is None:
            continue
        with np.errstate(divide="ignore", over="ignore", invalid="ignore"):
            gain = np.abs(response(frequencies)) / np.abs(response(np.array([at])))
        off = np.abs(np.nan_to_num(gain, nan=0.0, posinf=1e9) - 1)
        if off.max() > FLAT_WITHIN:
            begin, end = frequencies[off > FLAT_WITHIN][[0, -1]]
            yield _finding(
                component, "response not flat", "doubt",
                f"the sensor's gain differs from that at {at:g} Hz by up to {off.max():.0%}, between {begin:.3g} and "
                f"{end:.3g} Hz",
                "A constant sensitivity is wrong there",
                "Choose corner frequencies that exclude this band, or deconvolve the response first",
            )  # fmt: skip


def _of_gains(component: Component, node: Node, whole: Node) -> Iterable[Finding]:
    """Yield a finding if the stage gains contradict the sensitivity."""
    stages = list(node.all("Response", "Stage"))
    gains = [number for stage in stages if (number := stage.number("StageGain", "Value")) is not None]
    value = whole.number("Value")
    assert value is not None
    product = math.prod(gains)
    if gains and product and abs(product / value - 1) > 0.02:
        yield _finding(
            component, "contradictory gains", "doubt",
            f"the product of the stage gains is {product:.6g}, the overall sensitivity is {value:.6g}",
            "All amplitudes follow from the sensitivity", "Ask the network which one is right",
        )  # fmt: skip


def _gain_of(node: Node) -> Callable[[NDArray[np.float64]], NDArray[np.complex128]] | None:
    """Return the gain of poles and zeros up to a factor, a function of frequency in Hz; None if digital or absurd.

    Zeros and poles alternate, each relative to 1 + its own modulus, so that nothing overflows.
    """
    kind = node.words("PzTransferFunctionType").upper()
    if "LAPLACE" not in kind:
        return None
    turn = 1.0 if "HERTZ" in kind else 2 * math.pi
    zeros, poles = (
        [complex(root.number("Real") or 0.0, root.number("Imaginary") or 0.0) for root in node.all(tag)]
        for tag in ("Zero", "Pole")
    )
    if (count := len(zeros) + len(poles)) > MOST_ROOTS:
        raise node.error(f"{count} poles and zeros, at most {MOST_ROOTS} are read", "Check that it is a sensor's stage")
    if not all(cmath.isfinite(root) and abs(root) < 1e150 for root in zeros + poles):
        return None
    sign = math.copysign(1.0, node.number("NormalizationFactor") or 1.0)

    def gain(frequency: NDArray[np.float64]) -> NDArray[np.complex128]:
        s = 1j * turn * frequency
        found = np.full(len(frequency), sign, complex)
        with np.errstate(divide="ignore", over="ignore", invalid="ignore"):
            for zero, pole in itertools.zip_longest(zeros, poles):
                if zero is not None:
                    found *= (s - zero) / (1 + abs(zero))
                if pole is not None:
                    found /= (s - pole) / (1 + abs(pole))
        return found

    return gain


def _overruled(component: Component, stated: float, chosen: float, by: str) -> Finding:
    return _finding(
        component, "overruled header", "doubt",
        f"{by} states a sensitivity of {stated:g} counts per m/s²; {chosen:g} was used",
        "All amplitudes follow from it", "Check which one is right",
    )  # fmt: skip


def _finding(component: Component, name: str, severity: Any, what: str, effect: str, remedy: str) -> Finding:
    return Finding(name, severity, what, effect, remedy, component.name)
