"""Turn the fields of a file's header into a station and components.

Every format gives its header as fields (a text and its line number) under the names in `QUANTITIES`. This module alone
interprets the texts and reports their errors.
"""

from __future__ import annotations

import math
import re
from array import array
from collections.abc import Iterable, Mapping
from concurrent.futures import Future
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Literal, NamedTuple

import numpy as np
from numpy.typing import NDArray

from ..foundation.errors import InputError, RecordError
from ..foundation.times import instant_in
from ..foundation.units import ACCELERATION, COUNTS, acceleration_unit
from ..record import NO_PERIODS, Component, Finding, Record, Source, Station, Touched
from .channels import ACCELERATION_ALONE, Choice
from .phrases import coordinate, moments, pointing

if TYPE_CHECKING:
    from .stationxml import Inventory

OF_STATION = (
    "station", "network", "location", "name", "latitude", "longitude", "elevation", "instrument", "instrument_code",
)  # fmt: skip
OF_COMPONENT = ("component", "channel", "unit", "scale", "sensitivity", "azimuth", "dip")
OF_TIME = ("dt", "sampling_rate", "samples", "start")
SHORTEST, LONGEST = 1e-6, 1e6
"""Accepted sampling intervals, s. Much shorter ones would exhaust memory when the motion is padded by seconds."""
NUMERIC = (
    "latitude", "longitude", "elevation", "dt", "sampling_rate", "samples", "scale", "sensitivity", "azimuth", "dip",
)  # fmt: skip
QUANTITIES = OF_STATION + OF_TIME + OF_COMPONENT
GIVEN = (*OF_STATION, "dt", "samples", "start", "scale", "sensitivity", "azimuth", "dip")
"""Quantities that the caller may give when the file omits them."""

NO_RECORD = ("scaled by ", "not a recorded motion")
"""Words that mark scaled and matched motion in a file."""

LARGEST = 1e20
"""Largest acceleration accepted, m/s². Much larger numbers overflow when they are squared and summed."""

NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?", re.ASCII)
_RATIO = re.compile(rf"({NUMBER.pattern.replace('(', '(?:')}) */ *({NUMBER.pattern.replace('(', '(?:')})", re.ASCII)
_THOUSANDS = re.compile(r"[+-]?\d{1,3}([,'’ \u00a0\u202f]\d{3})+(\.\d*)?")
INTEGER = re.compile(r"[+-]?\d+", re.ASCII)

# N, E and Z are true north, true east and up; an accelerometer's channel code (band, N, orientation) is FDSN's.
_DIRECTIONS: dict[str, tuple[str, float | None, float | None]] = {
    "N": ("H1", 0.0, 0.0),
    "E": ("H2", 90.0, 0.0),
    "Z": ("V", None, -90.0),
    "1": ("H1", None, None),
    "2": ("H2", None, None),
}
_LABELS = {
    "N": "N", "NS": "N", "N-S": "N", "NORTH": "N",
    "E": "E", "EW": "E", "E-W": "E", "EAST": "E",
    "Z": "Z", "UD": "Z", "U-D": "Z", "U": "Z", "UP": "Z",
}  # fmt: skip
_UNPLACED = {
    "V": "V", "VERT": "V", "VERTICAL": "V",
    "L": "H1", "LONG": "H1", "LONGITUDINAL": "H1", "R": "H1", "RADIAL": "H1",
    "T": "H2", "TRAN": "H2", "TRANS": "H2", "TRANSVERSE": "H2", "TRANSVERSAL": "H2",
}  # fmt: skip
"""Names that refer to the axes of a structure or of the wave path, so their azimuth is unknown."""


TRUNCATE = 'missing="truncate" (--missing truncate)'
"""How to ask for the samples present in a truncated file, for messages."""


class Field(NamedTuple):
    """A text of the header and its line number (None if the layout itself gives the text)."""

    text: str
    line: int | None = None


_UNFINISHED = Finding(
    "last line not ended",
    "note",
    "the last line of the file does not end with a newline",
    "if the file was cut off inside its last number, that number is wrong",
    "compare the last line with the original",
    place="last line",
)

Fields = Mapping[str, Field]


@dataclass(frozen=True)
class Reading:
    """A file being read: its bytes and the caller's options."""

    file: str
    data: bytes
    digest: Future[str] | None = None
    """SHA-256 of the file, computed while the file is read."""
    unit: str | None = None
    sensitivity: float | None = None
    missing: Literal["refuse", "truncate"] = "refuse"
    common_window: bool = False
    gaps: Literal["refuse", "longest", "fill", "split"] = "refuse"
    inventory: Inventory | None = None
    """StationXML given by the caller, which identifies the channels' sensors."""
    choice: Choice = ACCELERATION_ALONE
    """Channels to read from a file that holds several."""
    time: tuple[np.datetime64, np.datetime64] | None = None
    """Time window to read, UTC."""
    own: bool = False
    """Whether this library has just written the file; then all its channels are read."""
    given: Mapping[str, str] = field(default_factory=dict)
    """Metadata given by the caller, under the names in `GIVEN`; they override the file."""
    names: tuple[str, ...] = ()
    """Names of the components in order, if the caller gives them."""

    @property
    def sha256(self) -> str:
        """SHA-256 of the file; empty if it was not requested."""
        return self.digest.result() if self.digest is not None else ""

    def error(self, what: str, line: int | None = None, remedy: str | None = None) -> RecordError:
        """Return an error that names this file."""
        return RecordError(what, source=self.file, line=line, remedy=remedy)

    def place(self, at: int) -> tuple[int, int]:
        """Return the line of a byte of the file, and its position in that line; both count from 1."""
        return self.data.count(b"\n", 0, at) + 1, at - self.data.rfind(b"\n", 0, at)

    def text(self, encoding: str, remedy: str) -> str:
        """Return the file decoded."""
        try:
            return self.data.decode(encoding)
        except UnicodeError as error:
            line, byte = self.place(getattr(error, "start", 0))
            raise self.error(f"byte {byte} of the line is not {encoding}", line, remedy) from None

    def record(
        self, components: Iterable[Component], station: Station, format: str, findings: Iterable[Finding]
    ) -> Record:
        """Return the record, with this file as its source."""
        findings = tuple(findings)
        if not self.data.endswith(b"\n") and not any(finding.name == "cut off" for finding in findings):
            findings += (_UNFINISHED,)
        return Record.from_components(
            components,
            station,
            Source(self.file, self.sha256, format),
            findings,
            common_window=self.common_window,
        )


@dataclass(frozen=True)
class Unread:
    """Part of a file that could not be read: instrument codes, channel (empty for the whole record), and the error."""

    record: str
    channel: str
    error: RecordError


class Records(list[Record]):
    """Records in file order; ``unread`` lists what could not be read, and why."""

    def __init__(self, records: Iterable[Record] = (), unread: Iterable[Unread] = ()) -> None:
        super().__init__(records)
        self.unread = tuple(unread)


def channel_left_out(channel: str, error: RecordError) -> Finding:
    """Return the finding on a component that could not be read."""
    return Finding(
        "channel left out",
        "doubt",
        f"{shown(channel)} was left out: {error.what}",
        "The record lacks this component",
        error.remedy or "",
        touches=Touched((), NO_PERIODS),
    )


def direction(label: str) -> tuple[str, float | None, float | None]:
    """Return the component name, azimuth and dip for a label.

    Examples
    --------
    >>> direction("NS"), direction("HNZ"), direction("roof-3")
    (('H1', 0.0, 0.0), ('V', None, -90.0), ('roof-3', None, None))
    """
    upper = label.strip().upper()
    if upper in ("H1", "H2", "V"):
        return upper, None, None
    if code := re.fullmatch(r"[A-Z]N([NEZ12])", upper):
        return _DIRECTIONS[code[1]]
    if upper in _LABELS:
        return _DIRECTIONS[_LABELS[upper]]
    if upper in _UNPLACED:
        return _UNPLACED[upper], None, None
    if re.fullmatch(r"[NS] ?\d{1,3}(\.\d+)? ?[EW]|[A-Z]{3,10} [A-Z]{2,4}", upper):
        where = pointing(label)
        if where.kind:
            name = "V" if where.kind == "vertical" else re.sub(r"[^A-Za-z0-9_-]", "-", label.strip())
            return name, where.azimuth, where.dip
    return label.strip(), None, None


def number(reading: Reading, fields: Fields, quantity: str) -> float | None:
    """Return a field as a finite number, or None if it is absent or blank."""
    field = fields.get(quantity)
    if field is None or not field.text.strip():
        return None
    text = field.text.strip()
    value = _value(text, quantity)
    if not math.isfinite(value):
        raise reading.error(
            f"{quantity} must be a number, found {shown(text)}", field.line, f"Correct {quantity} in the header"
        )
    return value


def _value(text: str, quantity: str) -> float:
    """Return the value of a field's text (a number, ratio, angle or direction), or NaN if it has none."""
    if NUMBER.fullmatch(text):
        return float(text)
    if quantity in ("latitude", "longitude"):
        readings = coordinate(text, quantity)
        return readings[0] if len(readings) == 1 else math.nan
    if quantity == "azimuth":
        where = pointing(text)
        return math.nan if where.azimuth is None else where.azimuth
    if quantity in ("scale", "sensitivity") and (ratio := _RATIO.fullmatch(text)):
        return float(ratio[1]) / float(ratio[2]) if float(ratio[2]) else math.nan
    return math.nan


def settled(reading: Reading, fields: Fields) -> tuple[dict[str, Field], tuple[Finding, ...]]:
    """Return the fields with the caller's values in place of the file's, and findings where they differ."""
    chosen, notes = dict(fields), []
    for quantity, text in reading.given.items():
        stated = fields.get(quantity)
        if stated is not None and stated.text.strip() and not _alike(stated.text.strip(), text, quantity):
            notes.append(_overruled(quantity, shown(stated.text.strip()), text, ""))
        if quantity == "dt" and "sampling_rate" in chosen:
            rate = chosen.pop("sampling_rate")
            if stated is None and not _alike(rate.text.strip(), repr(1 / float(text)), "sampling_rate"):
                notes.append(
                    _overruled("sampling_rate", f"{shown(rate.text.strip())} Hz", f"an interval of {text} s", "")
                )
        chosen[quantity] = Field(text)
    return chosen, tuple(notes)


def _alike(one: str, two: str, quantity: str) -> bool:
    if one == two:
        return True
    if quantity == "start":
        return bool({moment.time for moment in moments(one)} & {moment.time for moment in moments(two)})
    a, b = _value(one, quantity), _value(two, quantity)
    return math.isfinite(a) and math.isfinite(b) and abs(a - b) <= 1e-9 * abs(b)


def interval(reading: Reading, fields: Fields) -> float | None:
    """Return the declared sampling interval, s, from ``dt`` or from ``sampling_rate`` in Hz."""
    dt, rate = number(reading, fields, "dt"), number(reading, fields, "sampling_rate")
    for quantity, value in (("dt", dt), ("sampling_rate", rate)):
        if value is not None and not value > 0:
            raise reading.error(
                f"{quantity} must be positive, found {value:g}",
                fields[quantity].line,
                "Give the true sampling interval in seconds",
            )
    if dt is not None and rate is not None and abs(dt * rate - 1) > 1e-4:
        raise reading.error(
            f"dt is {dt:g} s and sampling_rate {rate:g} Hz, which contradict each other",
            fields["sampling_rate"].line,
            "Correct the wrong one",
        )
    derived = None if rate is None else 1 / rate
    if derived is not None and not math.isfinite(derived):
        raise reading.error(
            f"sampling_rate is {rate:g} Hz, too low to be a sampling rate", fields["sampling_rate"].line, "Correct it"
        )
    return derived if dt is None else dt


def declared_samples(reading: Reading, fields: Fields) -> int | None:
    """Return the number of samples that the header declares, or None."""
    value = number(reading, fields, "samples")
    if value is None:
        return None
    if value != int(value) or value < 0:
        raise reading.error(
            f"samples must be a whole number, found {value:g}",
            fields["samples"].line,
            "Correct the declared number of samples",
        )
    return int(value)


def instant(reading: Reading, fields: Fields) -> np.datetime64 | None:
    """Return the start time, ISO 8601; UTC unless it gives its offset."""
    field = fields.get("start")
    if field is None or not field.text.strip():
        return None
    text = field.text.strip()
    try:
        return instant_in(text)
    except ValueError:
        readings = [moment for moment in moments(text) if moment.clock]
    if len(readings) == 1:
        return readings[0].time
    if readings:
        both = " or ".join(str(moment.time)[:10] for moment in readings)
        raise reading.error(
            f"the start {shown(text)} may be {both}",
            field.line,
            'Set order = "dmy" or "mdy" in the layout, or give start= (--start)',
        )
    raise reading.error(
        f"start must be a date and time, found {shown(text)}",
        field.line,
        "Write it as ISO 8601 in UTC, such as 2024-03-01T12:34:56.78Z, or give start= (--start)",
    )


def last_instant(record: Record) -> np.datetime64 | None:
    """Return the UTC time of a record's last sample, or None if unknown."""
    if record.start is None:
        return None
    longest = 1e9  # s, longer than any record; keeps times within the range of 64-bit nanoseconds
    return record.start + np.timedelta64(round(min(record.duration, longest) * 1e9), "ns")


def station_of(reading: Reading, fields: Fields) -> Station:
    """Return the station described by the header."""
    words = {key: " ".join(fields[key].text.split()) for key in OF_STATION if key in fields}
    try:
        return Station(
            code=words.get("station", ""),
            network=words.get("network", ""),
            location=words.get("location", ""),
            name=words.get("name", ""),
            latitude=number(reading, fields, "latitude"),
            longitude=number(reading, fields, "longitude"),
            elevation=number(reading, fields, "elevation"),
            instrument=words.get("instrument", ""),
            instrument_code=words.get("instrument_code", ""),
        )
    except RecordError as error:
        if error.source:
            raise
        at = fields[error.field].line if error.field and error.field in fields else None
        raise reading.error(error.what, at, error.remedy) from None


def processed_note(fields: Fields) -> tuple[Finding, ...]:
    """Return the finding on a file that declares its motion as processed, with the stated corners, Hz.

    The field ``processed`` holds free text; ``0.1 to 30 Hz`` in it is the band that was kept.
    """
    if "processed" not in fields:
        return ()
    text = " ".join(fields["processed"].text.split())
    band = re.search(rf"({NUMBER.pattern}) to ({NUMBER.pattern}) Hz", text, re.ASCII)
    findings = [
        Finding(
            "already processed", "note",
            what=f"the file says that its motion was processed: {shown(text)}",
            effect="neither baseline nor filter is applied again",
            remedy="process the raw record instead; or set filter.again = true",
            values={} if band is None else {"low_cut_hz": float(band[1]), "high_cut_hz": float(band[4])},
        )
    ]  # fmt: skip
    if any(mark in text for mark in NO_RECORD):
        findings.append(
            Finding(
                "derived motion", "unfit",
                what=f"the file says that its motion was scaled or adjusted: {shown(text)}",
                effect="it is not the ground motion at the station",
                remedy="process the record it was made from",
            )
        )  # fmt: skip
    return tuple(findings)


def component_of(
    reading: Reading, fields: Fields, samples: NDArray[Any], dt: float | None, line: int | None
) -> tuple[Component, tuple[Finding, ...]]:
    """Return one component, and findings on how it was read.

    Parameters
    ----------
    reading : Reading
    fields : mapping of Field
        The component's fields, under the names in `QUANTITIES`.
    samples : ndarray, shape (n,)
    dt : float or None
        Sampling interval, s; None is refused here.
    line : int or None
        Line to name in errors about the component as a whole.
    """
    label = fields["component"].text.strip() if "component" in fields else "H1"
    name, azimuth, dip = direction(label)
    if dt is None:
        raise reading.error(
            f"component {name}: no sampling interval is given", line, "Give dt in seconds in the header"
        )
    if not SHORTEST <= dt <= LONGEST:
        raise reading.error(
            f"component {name}: the sampling interval is {dt:g} s, outside the range of any instrument",
            line,
            "Give the true sampling interval in seconds",
        )
    unit, unit_note = _unit_of(reading, fields, name, line)
    sensitivity = number(reading, fields, "sensitivity")
    scale = number(reading, fields, "scale")
    if scale is not None:
        sensitivity, unit = _from_scale(reading, fields, scale, sensitivity, unit), COUNTS
    notes = list(unit_note)
    if reading.sensitivity is not None:
        if sensitivity is not None and sensitivity != reading.sensitivity:
            notes.append(_overruled("sensitivity", f"{sensitivity:g}", f"{reading.sensitivity:g}", name))
        sensitivity = reading.sensitivity
    largest = float(max(abs(float(samples.min())), abs(float(samples.max())))) if samples.size else 0.0
    known = unit != COUNTS or sensitivity is not None
    worth = (1 / sensitivity if sensitivity else 1.0) if unit == COUNTS else ACCELERATION[unit]
    if known and not largest * abs(worth) <= LARGEST:
        raise reading.error(
            f"component {name}: the largest sample is {largest:.6g} {unit}, beyond any ground acceleration",
            line,
            "Check the numbers, their unit and their sensitivity",
        )
    own = (number(reading, fields, "azimuth"), number(reading, fields, "dip"))
    channel = fields["channel"].text.strip() if "channel" in fields else ""
    try:
        component = Component(
            name,
            samples,
            dt,
            unit=unit,
            sensitivity=sensitivity,
            start=instant(reading, fields),
            azimuth=azimuth if own[0] is None else own[0],
            dip=dip if own[1] is None else own[1],
            channel=channel or (label if label != name else ""),
        )
    except RecordError as error:
        if error.source:
            raise
        at = fields[error.field].line if error.field and error.field in fields else line
        raise reading.error(error.what, at, error.remedy) from None
    return component, tuple(notes)


def _unit_of(reading: Reading, fields: Fields, name: str, line: int | None) -> tuple[str, tuple[Finding, ...]]:
    field = fields.get("unit")
    stated = None
    if field is not None and field.text.strip():
        try:
            stated = acceleration_unit(field.text)
        except InputError as error:
            if reading.unit is None:
                remedy = f"{error.remedy}, or read it with unit= (--sample-unit)"
                what = f"component {name}: {error.what if len(error.what) < 200 else 'unknown unit'}"
                raise reading.error(what, field.line or line, remedy) from None
    if reading.unit is None:
        if stated is None:
            raise reading.error(
                f"component {name}: no unit is given",
                line,
                "Give the unit in the header (counts, g, cm/s2 or m/s2), or read it with unit= (--sample-unit)",
            )
        return stated, ()
    chosen = acceleration_unit(reading.unit)
    if stated is not None and stated != chosen:
        return chosen, (_overruled("unit", stated, chosen, name),)
    return chosen, ()


def _from_scale(reading: Reading, fields: Fields, scale: float, sensitivity: float | None, unit: str) -> float:
    """Return counts per m/s² from `scale`, the factor from a raw sample to `unit`. The samples stay raw."""
    line = fields["scale"].line
    if sensitivity is not None or unit == COUNTS:
        beside = "a sensitivity" if sensitivity is not None else "the unit counts"
        raise reading.error(
            f"a scale cannot be combined with {beside}",
            line,
            "Give the sensitivity in counts per m/s², or the scale and the acceleration unit of the scaled samples",
        )
    in_si = scale * ACCELERATION[unit]
    if not 1e-300 < abs(in_si) < 1e300:
        raise reading.error(f"scale is {scale:g}, which is not valid", line, "Correct scale in the header")
    return 1 / in_si


def _overruled(quantity: str, stated: str, chosen: str, component: str) -> Finding:
    return Finding(
        "overruled header",
        "doubt",
        f"the file states a {quantity} of {stated}; {chosen} was used, as requested",
        "all amplitudes follow from it",
        f"check that it is the file's {quantity} that is wrong",
        component,
    )


def cut_off(component: str, found: int, declared: int | None, where: str) -> Finding:
    """Return the finding on a component with fewer samples than declared."""
    of = "an unknown number of" if declared is None else str(declared)
    return Finding(
        "cut off",
        "doubt",
        f"{found} of {of} declared samples were found and read",
        "shaking after the cut is missing: durations, energy and permanent displacement may be wrong",
        "get the complete file",
        component,
        where,
    )


def shown(text: str, longest: int = 40) -> str:
    """Quote text of a file for a message, shortened and printable."""
    return ascii(text if len(text) <= longest else text[: longest - 3] + "...")


def bad_number(text: str) -> str:
    """Describe the fault of a text that should be a number."""
    if not text.strip():
        return "a number is missing"
    if re.fullmatch(r"[+-]?\d+,\d+", text.strip()):
        return f"expected a number, found {shown(text.strip())}: decimals need a point"
    if _THOUSANDS.fullmatch(text.strip()):
        return f"expected a number, found {shown(text.strip())}, which has thousands separators"
    return f"expected a number, found {shown(text.strip())}"


def mending(text: str) -> str:
    """Return the remedy for a text that should be a number."""
    text = text.strip()
    if re.fullmatch(r"[+-]?\d+,\d+", text):
        return "Write decimals with a point, or read it by a layout with decimal = ','"
    if _THOUSANDS.fullmatch(text):
        return "Write numbers without thousands separators"
    if text[:1] in ("'", '"'):
        return "Save the file without quotation marks"
    if "\u2212" in text:
        return "Write the minus sign as - (hyphen)"
    if re.search(r"\d:\d\d|\d{4}-\d\d-\d\d", text):
        return "Give times in s from the first sample, and the date as # start: 2031-04-17T03:26:27Z"
    return "Correct it at its source: missing samples are never filled in"


def usable_number(text: str) -> bool:
    """Whether a text is a single finite number written in digits."""
    return bool(NUMBER.fullmatch(text)) and math.isfinite(float(text))


class Numbers:
    """Collects numbers from texts that are `usable_number`: int64 if all are written as integers, else float64.

    An integer beyond 64 bits makes all of them floats.
    """

    def __init__(self) -> None:
        self._floats = array("d")
        self._integers: array[int] | None = array("q")

    def add(self, text: str) -> None:
        """Append a number."""
        self._floats.append(float(text))
        if self._integers is not None:
            try:
                self._integers.append(int(text))
            except (ValueError, OverflowError):  # a fraction, or too large
                self._integers = None

    def __len__(self) -> int:
        return len(self._floats)

    def array(self) -> NDArray[Any]:
        """Return all numbers."""
        if self._integers is None:
            return np.array(self._floats, dtype=np.float64)
        return np.array(self._integers, dtype=np.int64)
