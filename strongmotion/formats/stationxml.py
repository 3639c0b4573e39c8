"""FDSN StationXML: what an instrument is, where it stands, and how its counts become acceleration.

https://www.fdsn.org/xml/station/ (version 1). Of each channel the epoch that holds the record's start is taken: its
coordinates, azimuth, dip, its overall sensitivity and, to check that the sensitivity holds over the band, its poles
and zeros.
"""

from __future__ import annotations

import cmath
import functools
import math
from collections.abc import Iterable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..foundation.errors import InputError, RecordError
from ..foundation.units import ACCELERATION, COUNTS, acceleration_unit
from ..record import Component, Finding, Record, Station
from .header import last_instant
from .source import content
from .xml import Node, parse

FLAT_FROM, FLAT_TO, FLAT_WITHIN = 0.1, 0.8, 0.1
"""The response must stay within 10 % from 0.1 Hz to 0.8 of the Nyquist frequency (common practice, no source)."""

MOST_ROOTS = 1000
"""Poles and zeros of one stage; a sensor has some ten."""

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

    @property
    def id(self) -> str:
        """Its codes, joined by points."""
        return ".".join((self.network, self.station, self.location, self.code))

    @property
    def said(self) -> tuple[float | str | None, ...]:
        """What its samples mean: sensitivity and its units, azimuth and dip."""
        whole = self.node.first("Response", "InstrumentSensitivity")
        of_whole = () if whole is None else (whole.number("Value"), whole.words("InputUnits", "Name").lower())
        return (*of_whole, self.node.number("Azimuth"), self.node.number("Dip"))

    def holds(self, time: np.datetime64 | None) -> bool:
        """Whether the epoch holds a time; any epoch holds an unknown one."""
        if time is None:
            return True
        return not ((self.begin is not None and time < self.begin) or (self.end is not None and time >= self.end))


@dataclass(frozen=True)
class Inventory:
    """The channels of one or more StationXML documents."""

    files: tuple[str, ...]
    channels: tuple[Channel, ...]


def read_stationxml(path: str | Path) -> Inventory:
    """Read a StationXML document, or all of a folder (files ending in .xml or .xml.gz).

    Raises
    ------
    RecordError
        A document cannot be read or is not StationXML; the message names the file and the line.
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
        return 0, 0  # reading it says why
    return about.st_mtime_ns, about.st_size


@functools.lru_cache(maxsize=4)
def _inventory(files: tuple[tuple[str, tuple[int, int]], ...]) -> Inventory:
    # A batch reads one inventory for each of its files: it is parsed once, until a file of it changes.
    found: list[Channel] = []
    for file, _ in files:
        found += channels_in(*content(file))
    return Inventory(tuple(Path(file).name for file, _ in files), tuple(found))


def channels_in(file: str, data: bytes) -> list[Channel]:
    """Return the channels of one document, given its name and its bytes."""
    root = parse(data, file, "FDSNStationXML", _KEPT)
    found = []
    for network in root.all("Network"):
        for station in network.all("Station"):
            for channel in station.all("Channel"):
                begin, end = channel.time("startDate"), channel.time("endDate")
                codes = (item.attributes.get("code", "").strip() for item in (network, station, channel))
                net, sta, code = codes
                location = channel.attributes.get("locationCode", "").strip().replace("--", "")
                name = station.words("Site", "Name")
                found.append(Channel(net, sta, location, code, begin, end, channel, name))
    return found


def described_by(record: Record, inventory: Inventory, *, differentiate: bool = False, keep: bool = False) -> Record:
    """Return the record with what an inventory says of its channels.

    Parameters
    ----------
    record : Record
    inventory : Inventory
    differentiate : bool
        Turn samples of a velocity sensor into those of acceleration; else such a component stays without sensitivity.
    keep : bool
        Keep the record's own sensitivities: the caller gave them.

    Returns
    -------
    Record
        With findings on what is missing, doubtful or was overruled.
    """
    components, findings, station = [], list(record.findings), record.station
    for component in record:
        channel, of_epochs = _channel_of(record, component, inventory)
        findings.extend(of_epochs)
        if channel is None:
            components.append(component)
            continue
        station = _station_from(channel, station)
        if not channel.holds(last_instant(record)):
            findings.append(
                _finding(
                    component, "epoch ends", "doubt", f"the epoch of {channel.id} ends within it, at {channel.end} UTC",
                    "The instrument was changed while it recorded.", "Look at what was changed.",
                )
            )  # fmt: skip
        changed, said = _with_response(component, channel, differentiate, keep)
        directed, of_direction = _with_direction(changed, channel)
        components.append(directed)
        findings.extend((*said, *of_direction))
    if len({component.name for component in components}) < len(components):
        components = [
            replace(new, name=old.name) for new, old in zip(components, record.components, strict=True)
        ]  # fmt: skip
    return Record(tuple(components), station, record.source, tuple(findings), record.earthquake)


def _channel_of(
    record: Record, component: Component, inventory: Inventory
) -> tuple[Channel | None, tuple[Finding, ...]]:
    """Return the epoch of a component's channel at the record's start, and a finding on none or several that differ."""
    station, time = record.station, component.start
    code = component.channel or component.name
    full = ".".join((station.network, station.code, station.location, code))
    named = [
        channel
        for channel in inventory.channels
        if channel.station == station.code
        and channel.code == code
        and (not station.network or channel.network == station.network)
        and channel.location == station.location.replace("--", "")
    ]
    fitting = [channel for channel in named if channel.holds(time)]
    if fitting:
        last = max(fitting, key=lambda channel: channel.begin or np.datetime64("1900-01-01", "ns"))
        if len({channel.said for channel in fitting}) == 1:
            return last, ()
        when = "a record of unknown start" if time is None else f"{time} UTC"
        return last, (
            _finding(
                component, "overlapping epochs", "doubt",
                f"{len(fitting)} epochs of {full} hold {when}, and differ in sensitivity or direction; that from "
                f"{last.begin} on was used",
                "All amplitudes follow from it.", "Correct the document, or give the sensitivity yourself.",
            ),
        )  # fmt: skip
    what = f"no epoch of {full} at {time} UTC" if named else f"no channel {full}"
    missing = _finding(
        component, "no station metadata", "doubt",
        f"{what} in {', '.join(inventory.files[:5])}{' and others' if len(inventory.files) > 5 else ''}",
        "Its sensitivity and direction are known only as far as the record itself says.",
        "Get the StationXML of this channel and time.",
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
    """Return the component with its direction, and a finding where that does not fit its name."""
    azimuth, dip = channel.node.number("Azimuth"), channel.node.number("Dip")
    name = component.name
    if dip is not None and abs(abs(dip) - 90) < 1e-9:
        azimuth = None
        name = "V" if name in ("3", "Z") else name
    try:
        directed = replace(
            component,
            name=name,
            azimuth=component.azimuth if azimuth is None and dip is None else azimuth,
            dip=component.dip if dip is None else dip,
        )
    except RecordError as error:
        raise channel.node.error(error.what) from None
    if dip is None or name not in ("H1", "H2", "V"):
        return directed, ()
    if (abs(dip) > 45) != (name == "V"):
        return directed, (
            _finding(
                directed, "doubtful direction", "doubt",
                f"StationXML gives {channel.id} a dip of {dip:g}°, which is not that of a "
                f"{'vertical' if name == 'V' else 'horizontal'} component",
                "Results of the horizontal pair and of the vertical may be of other directions than they say.",
                "Make sure that azimuth and dip, or two channels, are not exchanged.",
            ),
        )  # fmt: skip
    if name == "V" and dip > 0:
        return directed, (
            _finding(
                directed, "positive down", "note", f"StationXML gives {channel.id} a dip of {dip:g}°: positive is down",
                "The sign of vertical motion is turned; peaks and spectra are not.", "Mind it where the sign counts.",
            ),
        )  # fmt: skip
    return directed, ()


def _with_response(
    component: Component, channel: Channel, differentiate: bool, keep: bool
) -> tuple[Component, list[Finding]]:
    """Return the component with its sensitivity, and what must be said of it."""
    whole = channel.node.first("Response", "InstrumentSensitivity")
    value = None if whole is None else whole.number("Value")
    if whole is None or value is None:
        return component, [
            _finding(
                component, "no sensitivity", "doubt", "StationXML gives no overall sensitivity of this channel",
                "Counts cannot become acceleration.", "Give the sensitivity.",
            )
        ]  # fmt: skip
    if value == 0:
        raise whole.error("the sensitivity is 0", "Correct the document, or give the sensitivity yourself")
    unit, output = whole.words("InputUnits", "Name"), whole.words("OutputUnits", "Name")
    if component.unit != COUNTS:
        return component, []  # the samples are acceleration already
    if output and output.lower() not in ("counts", "count", "cts"):
        raise whole.error(
            f"the sensitivity leads to {output!r}, not to counts: the digitiser is missing",
            "Complete the response, or give the sensitivity yourself",
        )
    factor, velocity = _factor(whole, unit)
    findings = []
    if velocity and not differentiate:
        return replace(component, sensitivity=component.sensitivity if keep else None), [
            _finding(
                component, "velocity sensor", "unfit", f"StationXML says that this sensor measures velocity ({unit})",
                "Its samples are no acceleration, so it is not processed.",
                "Use the accelerometer, or read it with differentiate=True (--differentiate).",
            )
        ]  # fmt: skip
    if velocity:
        component, note = _differentiated(component)
        findings.append(note)
    sensitivity = value / factor
    if not 1e-300 < abs(sensitivity) < 1e300:
        raise whole.error(f"the sensitivity is {value:g}, it cannot be one")
    if keep and component.sensitivity is not None:
        if abs(component.sensitivity / sensitivity - 1) > 1e-6:
            findings.append(_overruled(component, sensitivity, component.sensitivity, "StationXML"))
        sensitivity = component.sensitivity
    elif component.sensitivity is not None and abs(component.sensitivity / sensitivity - 1) > 1e-6:
        findings.append(_overruled(component, component.sensitivity, sensitivity, "the record"))
    findings.extend(_not_flat(component, channel.node, whole))
    return replace(component, sensitivity=sensitivity), findings


def _factor(whole: Node, unit: str) -> tuple[float, bool]:
    """Return m/s² (or m/s) in one unit of a sensitivity's input, and whether it is a velocity."""
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
            f"the sensitivity is of the unit {unit!r}, which is no acceleration",
            "Use an accelerometer's channel, or give the sensitivity yourself",
        ) from None


def _differentiated(component: Component) -> tuple[Component, Finding]:
    from scipy.interpolate import CubicSpline

    time = np.arange(len(component)) * component.dt
    derived = CubicSpline(time, component.samples.astype(float))(time, 1)
    return replace(component, samples=derived), _finding(
        component, "differentiated", "doubt",
        "velocity was turned into acceleration by the derivative of the cubic spline through the samples",
        "High frequencies are too low: by 0.2 % at an eighth of the sampling rate, 4.5 % at a quarter; noise grows.",
        "Use an accelerometer of the same place, if there is one.",
    )  # fmt: skip


def _not_flat(component: Component, node: Node, whole: Node) -> Iterable[Finding]:
    """Yield a finding where poles and zeros leave the sensitivity, or the stages' gains contradict it."""
    stages = list(node.all("Response", "Stage"))
    gains = [number for stage in stages if (number := stage.number("StageGain", "Value")) is not None]
    value = whole.number("Value")
    assert value is not None
    product = math.prod(gains)
    if gains and product and abs(product / value - 1) > 0.02:
        yield _finding(
            component, "contradictory gains", "doubt",
            f"the stages' gains multiply to {product:.6g}, the overall sensitivity is {value:.6g}",
            "All amplitudes follow from the sensitivity.", "Ask the network which of them is right.",
        )  # fmt: skip
    to = FLAT_TO * 0.5 / component.dt
    if to <= FLAT_FROM:
        return
    frequencies = np.geomspace(FLAT_FROM, to, 100)
    at = whole.number("Frequency") or 1.0
    for stage in stages:
        for poles_zeros in stage.all("PolesZeros"):
            gain = _relative_gain(poles_zeros, frequencies, at)
            if gain is None:
                continue
            off = np.abs(gain - 1)
            if off.max() > FLAT_WITHIN:
                begin, end = frequencies[off > FLAT_WITHIN][[0, -1]]
                yield _finding(
                    component, "response not flat", "doubt",
                    f"the sensor's gain leaves that at {at:g} Hz by up to {off.max():.0%}, between {begin:.3g} and "
                    f"{end:.3g} Hz",
                    "One sensitivity for all frequencies is wrong there.",
                    "Keep the corner frequencies clear of that, or deconvolve the response first.",
                )  # fmt: skip


def _relative_gain(node: Node, frequencies: NDArray[np.float64], at: float) -> NDArray[np.float64] | None:
    kind = node.words("PzTransferFunctionType").upper()
    if "LAPLACE" not in kind:
        return None  # digital
    turn = 1.0 if "HERTZ" in kind else 2 * math.pi
    roots: dict[str, list[complex]] = {
        tag: [complex(root.number("Real") or 0.0, root.number("Imaginary") or 0.0) for root in node.all(tag)]
        for tag in ("Zero", "Pole")
    }

    def log_gain(frequency: Any) -> Any:
        s = 1j * turn * np.asarray(frequency)
        with np.errstate(divide="ignore"):
            return sum(np.log(np.abs(s - root)) for root in roots["Zero"]) - sum(
                np.log(np.abs(s - root)) for root in roots["Pole"]
            )

    if (count := sum(map(len, roots.values()))) > MOST_ROOTS:
        raise node.error(f"{count} poles and zeros, at most {MOST_ROOTS} are read", "Make sure that it is a sensor's")

    if not all(cmath.isfinite(root) and abs(root) < 1e150 for group in roots.values() for root in group):
        return None
    with np.errstate(over="ignore", invalid="ignore"):
        gain = np.exp(log_gain(frequencies) - log_gain(at)) * np.ones(len(frequencies))
    return np.nan_to_num(gain, nan=0.0, posinf=1e9)


def _overruled(component: Component, stated: float, chosen: float, by: str) -> Finding:
    return _finding(
        component, "overruled header", "doubt",
        f"{by} states a sensitivity of {stated:g} counts per m/s²; {chosen:g} was used",
        "All amplitudes follow from it.", "Make sure which one is right.",
    )  # fmt: skip


def _finding(component: Component, name: str, severity: Any, what: str, effect: str, remedy: str) -> Finding:
    return Finding(name, severity, what, effect, remedy, component.name)
