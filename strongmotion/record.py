"""What the instrument gave, never modified.

A `Record` is the components of one instrument for one event: raw samples exactly as the file held them, with what
is needed to make acceleration of them. Arrays are read-only; every object is frozen.
"""

from __future__ import annotations

import hashlib
import itertools
import math
import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from typing import Any, Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from .foundation.errors import RecordError
from .foundation.times import instant_in
from .foundation.units import ACCELERATION, COUNTS, acceleration_unit, in_unit, label

__all__ = [
    "NO_PERIODS",
    "PEAKS",
    "Component",
    "Earthquake",
    "Finding",
    "Quantity",
    "Record",
    "Source",
    "Station",
    "Touched",
]

Severity = Literal["note", "doubt", "unfit"]

PEAKS = ("PGA", "PGV", "PGD")

WITHOUT_SENSITIVITY = ("no station metadata", "no sensitivity", "velocity sensor")
"""Names of the findings that explain an unknown sensitivity."""

Instant = float | str | np.datetime64
"""s after the first sample of a record, or UTC."""


@dataclass(frozen=True)
class Quantity:
    """A number that a sentence says, with its unit.

    Parameters
    ----------
    name : str
        As among the values of a finding, without the unit: ``"shift"``.
    value : float
        In SI units.
    unit : str
        ``"m/s2"``, which is said in the unit asked for, or any other.
    digits : int
        Significant ones that are said.
    """

    name: str
    value: float
    unit: str
    digits: int = 3

    def said(self, unit: str = "m/s2") -> str:
        """Return it in words, an acceleration in `unit`.

        Examples
        --------
        >>> Quantity("shift", 0.0041, "m/s2").said("cm/s2")
        '0.41 cm/s²'
        """
        asked = unit if self.unit == "m/s2" else self.unit
        value = self.value * (in_unit(unit) if self.unit == "m/s2" else 1.0)
        return f"{value:.{self.digits}g} {label(asked)}"


@dataclass(frozen=True)
class Touched:
    """The numbers that a finding speaks of: all of them, unless it says otherwise.

    Parameters
    ----------
    peaks : tuple of str
        Of PGA, PGV and PGD.
    periods : (float, float)
        First and last period, s, of the spectral ordinates; the first above the last where it is none.
    alone : bool
        Whether numbers of single components are meant, too, and not only those that combine both horizontals.
    """

    peaks: tuple[str, ...] = PEAKS
    periods: tuple[float, float] = (0.0, math.inf)
    alone: bool = True

    def __post_init__(self) -> None:
        object.__setattr__(self, "peaks", tuple(self.peaks))
        object.__setattr__(self, "periods", (float(self.periods[0]), float(self.periods[1])))

    @property
    def spectrum(self) -> bool:
        """Whether it speaks of any ordinate."""
        return self.periods[0] <= self.periods[1]

    @property
    def everything(self) -> bool:
        """Whether it speaks of all peaks and all ordinates."""
        return set(self.peaks) == set(PEAKS) and self.periods == (0.0, math.inf)

    def holds(self, period: float) -> bool:
        """Tell whether it speaks of the ordinate at a period, s."""
        return self.periods[0] <= period <= self.periods[1]


NO_PERIODS = (math.inf, 0.0)
"""Of a finding that speaks of no spectral ordinate."""


@dataclass(frozen=True)
class Finding:
    """What a check says of a record.

    Parameters
    ----------
    name : str
        The check that spoke, such as ``"clipping"``.
    severity : {"note", "doubt", "unfit"}
        ``note``: worth knowing. ``doubt``: some results may be wrong. ``unfit``: results are still computed, and
        should not be used.
    what : str
        What was seen, in words made from `values`; accelerations in m/s². Made from `says` where that is given.
    effect : str
        What it does to the results.
    remedy : str
        What to do.
    component : str
        The component it was seen on; empty for the whole record.
    place : str
        Where in the file, such as ``"byte 4097"``, where that says more than a time.
    span : (float, float), optional
        Where in the record: first and last time, s after the first sample.
    values : mapping of str to float
        What was measured, each key with its unit: ``{"step_m_s2": 0.0041}``.
    confidence : float
        0 to 1: how sure the check is.
    touches : Touched
        The numbers it speaks of.
    says : tuple of str and Quantity
        The parts of `what`, where it holds an acceleration: `said` writes that in any unit.

    Examples
    --------
    >>> from strongmotion import read
    >>> from strongmotion.checks import examine
    >>> finding = examine(read("demo_records/bell.txt"))[0]
    >>> finding.severity, finding.name, finding.component, finding.span
    ('unfit', 'clipping', 'H1', (14.0, 16.17))
    """

    name: str
    severity: Severity
    what: str
    effect: str
    remedy: str
    component: str = ""
    place: str = ""
    span: tuple[float, float] | None = None
    values: Mapping[str, float] = field(default_factory=dict)
    confidence: float = 1.0
    touches: Touched = Touched()
    says: tuple[str | Quantity, ...] = ()

    def __post_init__(self) -> None:
        if self.says and not self.what:
            object.__setattr__(self, "what", self.said())
        if self.span is not None:
            object.__setattr__(self, "span", (float(self.span[0]), float(self.span[1])))
        object.__setattr__(self, "values", {name: float(value) for name, value in self.values.items()})

    def said(self, unit: str = "m/s2") -> str:
        """Return what was seen in words, accelerations in `unit`.

        Raises
        ------
        InputError
            `unit` is not one of acceleration.
        """
        if not self.says:
            return self.what
        return "".join(part if isinstance(part, str) else part.said(unit) for part in self.says)

    @property
    def where(self) -> str:
        """The span, or the place in the file, in words; empty where there is neither."""
        if self.span is None:
            return self.place
        first, last = (f"{time:.3f}".rstrip("0").rstrip(".") for time in self.span)
        return f"{first} s" if first == last else f"{first} to {last} s"


@dataclass(frozen=True)
class Station:
    """Where the instrument stands and what it is; codes as in FDSN StationXML.

    Parameters
    ----------
    code, network, location : str
        As in FDSN StationXML.
    name : str
        What the station is called.
    latitude, longitude : float, optional
        Degrees, north and east positive.
    elevation : float, optional
        m.
    instrument : str
        The instrument's make, in the words of the file.
    instrument_code : str
        Band and source code of its channels, as in FDSN source identifiers: ``HN`` is an accelerometer sampled at 80
        to 250 Hz.
    vs30 : float, optional
        Time-averaged shear-wave velocity of the uppermost 30 m, m/s.
    vs30_method : str
        How it was had: measured, inferred from geology, and so on.
    site_class : str
        By the code that the file follows.
    housing : str
        Free field, building, dam and so on.
    sensor_depth : float, optional
        m below the ground.

    Examples
    --------
    >>> Station("QUAY", "XX", latitude=-47.1, longitude=-124.7).code
    'QUAY'
    """

    code: str = ""
    network: str = ""
    location: str = ""
    name: str = ""
    latitude: float | None = None
    longitude: float | None = None
    elevation: float | None = None
    instrument: str = ""
    instrument_code: str = ""
    vs30: float | None = None
    vs30_method: str = ""
    site_class: str = ""
    housing: str = ""
    sensor_depth: float | None = None

    def __post_init__(self) -> None:
        for name, value, limit in (("latitude", self.latitude, 90.0), ("longitude", self.longitude, 360.0)):
            if value is not None and not abs(value) <= limit:
                raise RecordError(
                    f"{name} of station {self.code!r} is {value}, outside ±{limit:g} degrees",
                    field=name,
                    remedy="Correct the station's coordinates",
                )


@dataclass(frozen=True)
class Earthquake:
    """The event a record is of, as a seismological agency located it.

    Parameters
    ----------
    id : str
        The agency's, such as a QuakeML ``publicID``.
    time : str
        Origin time, ISO 8601, UTC.
    latitude, longitude : float, optional
        Epicentre, degrees, north and east positive.
    depth : float, optional
        Hypocentre below sea level, m.
    magnitude : float, optional
    magnitude_type : str
        Such as ``Mw``.
    name : str
        What it is called.

    Examples
    --------
    >>> Earthquake(name="Coast 2031", magnitude=6.3, magnitude_type="Mw").magnitude
    6.3
    """

    id: str = ""
    time: str = ""
    latitude: float | None = None
    longitude: float | None = None
    depth: float | None = None
    magnitude: float | None = None
    magnitude_type: str = ""
    name: str = ""


@dataclass(frozen=True)
class Source:
    """The file a record came from.

    Parameters
    ----------
    file : str
        Its name.
    sha256 : str
        SHA-256 of its bytes.
    format : str
        Its format.
    first_sample, file_samples : int
        Where the record is a part cut from what the file holds: the sample of the file's record, counted from 0, that
        is the first of this one, and the number of samples of the file's record. 0 and 0 for the whole.
    components : tuple of str
        Of a record joined of several files, the components that this one gave; empty where it gave all.
    """

    file: str = ""
    sha256: str = ""
    format: str = ""
    first_sample: int = 0
    file_samples: int = 0
    components: tuple[str, ...] = ()


@dataclass(frozen=True, eq=False)
class Component:
    """One component of motion, as recorded.

    Parameters
    ----------
    name : str
        ``H1``, ``H2`` or ``V`` for the usual three; any short name for other sensors.
    samples : array_like, shape (n,)
        Raw samples, integers or floats, kept in their own type and made read-only.
    dt : float
        Sampling interval, s.
    unit : str
        ``counts`` or an acceleration unit; any usual spelling.
    sensitivity : float, optional
        Counts per m/s²; needed to process counts.
    start : numpy.datetime64, optional
        UTC time of the first sample.
    azimuth, dip : float, optional
        Direction of positive motion: degrees clockwise from north, and degrees down from the horizontal (so up is
        -90), as in FDSN StationXML.
    channel : str
        The component's name in its file.

    Raises
    ------
    RecordError
        Too few samples, NaN or infinity among them, a sampling interval that is not positive, or a direction that is
        none.

    Examples
    --------
    >>> component = Component("H1", np.array([0, 2000, -1000]), 0.01, "counts", sensitivity=1000.0)
    >>> component.samples * component.scale  # m/s²
    array([ 0.,  2., -1.])
    """

    name: str
    samples: NDArray[Any]
    dt: float
    unit: str = "m/s2"
    sensitivity: float | None = None
    start: np.datetime64 | None = None
    azimuth: float | None = None
    dip: float | None = None
    channel: str = ""

    def __post_init__(self) -> None:
        if not re.fullmatch(r"[A-Za-z0-9_-]{1,32}", self.name):
            raise RecordError(
                f"component name {self.name!r} is not usable",
                remedy="Use 1 to 32 letters, digits, - or _, such as H1, H2, V",
            )
        samples = self.samples
        if not (type(samples) is np.ndarray and samples.flags.owndata and not samples.flags.writeable):
            samples = np.array(samples)  # a copy, so that nothing else can write to it
        if samples.ndim != 1 or samples.dtype.kind not in "iuf":
            raise RecordError(
                f"component {self.name} must be one row of numbers, found shape {samples.shape} of {samples.dtype}"
            )
        if samples.size < 2:
            raise RecordError(
                f"component {self.name} has {samples.size} sample{'s' * (samples.size != 1)}, at least 2 are needed",
                remedy="Check that the file is complete",
            )
        bad = np.flatnonzero(~np.isfinite(samples)) if samples.dtype.kind == "f" else np.empty(0, int)
        if bad.size:
            raise RecordError(
                f"component {self.name}: sample {bad[0] + 1} is {samples[bad[0]]} ({bad.size} such in all)",
                remedy="Mend the gap at its source: missing samples are never guessed",
            )
        if not (math.isfinite(self.dt) and self.dt > 0):
            raise RecordError(
                f"component {self.name}: the sampling interval is {self.dt} s, it must be positive",
                remedy="Give the true sampling interval in seconds",
            )
        if self.sensitivity is not None and not (math.isfinite(self.sensitivity) and self.sensitivity != 0):
            raise RecordError(
                f"component {self.name}: the sensitivity is {self.sensitivity}, it must be a number other than 0",
                remedy="Give the sensitivity in counts per m/s²",
            )
        for quantity, value, limit in (("azimuth", self.azimuth, 360.0), ("dip", self.dip, 90.0)):
            if value is not None and not abs(value) <= limit:
                raise RecordError(
                    f"component {self.name}: the {quantity} is {value:g}, outside ±{limit:g} degrees",
                    remedy=f"Correct the {quantity}, or leave it out where it is not known",
                    field=quantity,
                )
        samples.flags.writeable = False
        object.__setattr__(self, "samples", samples)
        object.__setattr__(self, "unit", acceleration_unit(self.unit))
        object.__setattr__(self, "dt", float(self.dt))
        if self.start is not None:
            start = np.asarray(self.start, dtype="datetime64[ns]")[()]
            if np.isnat(start):
                raise RecordError(
                    f"component {self.name}: the start time is not a time", remedy="Leave it out where it is not known"
                )
            object.__setattr__(self, "start", start)

    def __len__(self) -> int:
        return int(self.samples.size)

    def __eq__(self, other: object) -> bool:
        if not isinstance(other, Component):
            return NotImplemented
        return (
            self._description() == other._description()
            and self.samples.dtype == other.samples.dtype
            and self.samples.tobytes() == other.samples.tobytes()
        )

    def __hash__(self) -> int:
        return hash(self._description())

    def _description(self) -> tuple:
        return (
            self.name, self.dt, self.unit, self.sensitivity, self.start, self.azimuth, self.dip, self.channel
        )  # fmt: skip

    @property
    def scale(self) -> float:
        """The factor that turns a raw sample into m/s².

        Raises
        ------
        RecordError
            The samples are counts and the sensitivity is not known.
        """
        if self.unit != COUNTS:
            return ACCELERATION[self.unit]
        if self.sensitivity is None:
            raise RecordError(
                f"component {self.name} is in counts, but its sensitivity is unknown",
                remedy="Give the sensitivity in counts per m/s², in the file, the layout or StationXML",
            )
        return 1.0 / self.sensitivity


@dataclass(frozen=True)
class Record:
    """The components of one instrument for one event.

    All components share one time base; use `from_components` to cut unequal ones to their common window. `source` is
    the file it came from, and `joined` holds the further files where several were joined into one record.

    Raises
    ------
    RecordError
        No component, two of one name, or components that differ in length, sampling interval or start.

    Examples
    --------
    >>> import numpy as np
    >>> shaking = Component("H1", np.sin(np.arange(1000) / 50), dt=0.01)
    >>> record = Record((shaking,), Station(code="QUAY"))
    >>> record.names, record.duration
    (('H1',), 9.99)
    """

    components: tuple[Component, ...]
    station: Station = Station()
    source: Source = Source()
    findings: tuple[Finding, ...] = field(default=())
    earthquake: Earthquake | None = None
    joined: tuple[Source, ...] = ()

    def __post_init__(self) -> None:
        object.__setattr__(self, "components", tuple(self.components))
        object.__setattr__(self, "findings", tuple(self.findings))
        where = self.source.file or None
        if not self.components:
            raise RecordError("no component was found", source=where, remedy="Check that the file is complete")
        seen: set[str] = set()
        for component in self.components:
            if component.name in seen:
                raise RecordError(
                    f"two components are named {component.name}",
                    source=where,
                    remedy="Name each component once (H1, H2, V)",
                )
            seen.add(component.name)
        first = self.components[0]
        for other in self.components[1:]:
            for quantity, one, two in (
                ("length (samples)", len(first), len(other)),
                ("sampling interval (s)", first.dt, other.dt),
                ("start time", first.start, other.start),
            ):
                if one != two:
                    raise RecordError(
                        f"components {first.name} and {other.name} differ in {quantity}: {one} and {two}",
                        source=where,
                        remedy="Cut them to their common window with common_window=True (--common-window)"
                        if quantity != "sampling interval (s)"
                        else "Components of one record must be sampled alike: correct the interval or split them",
                    )

    @classmethod
    def from_arrays(
        cls,
        samples: Mapping[str, ArrayLike],
        dt: float,
        unit: str = "m/s2",
        *,
        sensitivity: float | None = None,
        start: np.datetime64 | str | None = None,
        station: Station = Station(),
    ) -> Record:
        """Build a record of arrays.

        Parameters
        ----------
        samples : mapping of str to array, shape (n,)
            Raw samples by component; ``"H1"`` and ``"H2"`` are the horizontal pair, ``"V"`` points up.
        dt : float
            Sampling interval, s.
        unit : str
            Of the samples: ``"m/s2"``, ``"cm/s2"``, ``"g"``, ``"counts"`` and so on.
        sensitivity : float, optional
            Counts per m/s², for samples in counts.
        start : datetime64 or str, optional
            Time of the first sample, UTC.
        station : Station

        Returns
        -------
        Record

        Raises
        ------
        RecordError
            As for `Component` and `Record`.

        Examples
        --------
        >>> record = Record.from_arrays({"H1": [0.0, 0.1, -0.2], "H2": [0.0, 0.3, 0.1]}, dt=0.01, unit="g")
        >>> record.names, record["H2"].unit
        (('H1', 'H2'), 'g')
        """
        if isinstance(start, str):
            try:
                start = instant_in(start)
            except ValueError:
                raise RecordError(
                    f"{start!r} is no time", remedy="Give it as ISO 8601, such as 2031-04-17T03:26:27.31"
                ) from None
        parts = (Component(name, np.asarray(array), dt, unit, sensitivity, start) for name, array in samples.items())
        return cls(tuple(parts), station)

    @classmethod
    def from_components(
        cls,
        components: Iterable[Component],
        station: Station = Station(),
        source: Source = Source(),
        findings: Iterable[Finding] = (),
        *,
        common_window: bool = False,
    ) -> Record:
        """Build a record, cutting the components to their common window if asked.

        Parameters
        ----------
        components : iterable of Component
            Of one sampling interval.
        station, source, findings
            As for `Record`.
        common_window : bool
            Cut all components to the time span they share; a finding says what was cut. Components without start
            times are taken to start together.

        Returns
        -------
        Record

        Raises
        ------
        RecordError
            The components share no time span, do not sample at the same instants, or differ in sampling interval.
        """
        parts, notes = tuple(components), tuple(findings)
        if common_window and parts:
            parts, cut = _common_window(parts, source.file or None)
            notes += cut
        return cls(parts, station, source, notes)

    def __iter__(self) -> Iterator[Component]:
        return iter(self.components)

    def __len__(self) -> int:
        return len(self.components)

    def __getitem__(self, name: str) -> Component:
        for component in self.components:
            if component.name == name:
                return component
        raise KeyError(f"no component {name!r} in this record; it has {', '.join(self.names)}")

    def __repr__(self) -> str:
        found = f", {len(self.findings)} findings" if self.findings else ""
        return (
            f"<Record {self.id}: {', '.join(self.names)}; {self.samples} samples every {self.dt:g} s{found}; "
            f"from {self.source.file or 'arrays'}>"
        )

    def _repr_html_(self) -> str:
        from .result import from_above

        return str(from_above("notebook_view")(self))

    @property
    def names(self) -> tuple[str, ...]:
        """The components' names, in file order."""
        return tuple(component.name for component in self.components)

    @property
    def horizontals(self) -> tuple[str, str] | None:
        """``("H1", "H2")`` when both are present, else None: only a pair can be rotated.

        None, too, where both azimuths are known and are not within 5 degrees of right angles.
        """
        if not {"H1", "H2"} <= set(self.names):
            return None
        one, two = self["H1"].azimuth, self["H2"].azimuth
        if one is not None and two is not None and abs((two - one) % 180.0 - 90.0) > 5.0:
            return None
        return ("H1", "H2")

    @property
    def dt(self) -> float:
        """Sampling interval, s."""
        return self.components[0].dt

    @property
    def samples(self) -> int:
        """Number of samples in each component."""
        return len(self.components[0])

    @property
    def duration(self) -> float:
        """Time from the first sample to the last, s."""
        return (self.samples - 1) * self.dt

    @property
    def start(self) -> np.datetime64 | None:
        """UTC time of the first sample, where known."""
        return self.components[0].start

    def check_sensitivities(self) -> None:
        """Check that every component can be converted to acceleration.

        Raises
        ------
        RecordError
            A component is in counts and its sensitivity is unknown. The message gives the reason if a finding has it.

        Examples
        --------
        >>> Record.from_arrays({"H1": [0, 1, 0]}, dt=0.01, unit="counts", sensitivity=1000.0).check_sensitivities()
        """
        for component in self:
            if component.unit != COUNTS or component.sensitivity is not None:
                continue
            for finding in self.findings:
                if finding.component == component.name and finding.name in WITHOUT_SENSITIVITY:
                    raise RecordError(
                        f"component {component.name} is in counts, but its sensitivity is unknown: {finding.what}",
                        source=self.source.file or None,
                        remedy=finding.remedy,
                    )
            _ = component.scale  # raises the error

    def window(self, begin: Instant | None = None, end: Instant | None = None) -> Record:
        """Cut the record to a span of time.

        Parameters
        ----------
        begin, end : float, str or numpy.datetime64, optional
            s after the record's first sample, or UTC as ISO 8601. The record's own ends where not given, and where
            the span reaches beyond them.

        Returns
        -------
        Record
            The samples from `begin` to `end`, both included, under their own start time. Its source tells which part
            of the file it is, and a finding ``cut`` says what was left out.

        Raises
        ------
        RecordError
            A time is not one, is UTC where the record has no start time, or the span holds fewer than 2 samples.

        Examples
        --------
        >>> import numpy as np
        >>> record = Record((Component("H1", np.arange(1000), dt=0.01),), Station(code="QUAY"))
        >>> part = record.window(2.0, 3.5)
        >>> part.samples, int(part["H1"].samples[0]), part.source.first_sample
        (151, 200, 200)
        """
        first = 0 if begin is None else max(0, math.ceil(self._seconds(begin) / self.dt - 1e-6))
        last = (
            self.samples - 1 if end is None else min(self.samples - 1, math.floor(self._seconds(end) / self.dt + 1e-6))
        )
        if last - first < 1:
            raise RecordError(
                f"the span from {begin} to {end} holds fewer than 2 samples of a record of {self.duration:g} s",
                source=self.source.file or None,
                remedy="Give begin and end in s after the first sample, or as UTC, inside the record",
            )
        return self.cut(first, last + 1)

    def cut(self, first: int, stop: int) -> Record:
        """Return the samples from `first` up to `stop`, which is not included; see `window`."""
        if (first, stop) == (0, self.samples):
            return self
        shift = np.timedelta64(round(first * self.dt * 1e9), "ns")
        parts = tuple(
            replace(
                component,
                samples=component.samples[first:stop].copy(),
                start=None if component.start is None else component.start + shift,
            )
            for component in self.components
        )
        source = self.source
        whole = source.file_samples or self.samples
        source, *others = (
            replace(one, first_sample=one.first_sample + first, file_samples=whole) for one in (source, *self.joined)
        )
        begin, end = source.first_sample * self.dt, (source.first_sample + stop - first - 1) * self.dt
        note = Finding(
            "cut", "note",
            what=f"the record is what the file holds from {begin:g} to {end:g} s of {(whole - 1) * self.dt:g} s",
            effect="motion before and after is not included",
            remedy="give another span with --from and --to (window.begin and window.end) if it matters",
            span=(0.0, (stop - first - 1) * self.dt),
            values={"from_s": begin, "to_s": end, "file_s": (whole - 1) * self.dt},
        )  # fmt: skip
        shifted = (_moved(finding, -first * self.dt) for finding in self.findings if finding.name != "cut")
        return replace(self, components=parts, source=source, joined=tuple(others), findings=(*shifted, note))

    def _name_of_files(self) -> str:
        """Return what the names of its files share, without their endings."""
        stems = [re.sub(r"(\.[A-Za-z0-9]{1,5})+$", "", one.file) for one in (self.source, *self.joined)]
        shared = itertools.takewhile(lambda letters: len(set(letters)) == 1, zip(*stems, strict=False))
        return "".join(letters[0] for letters in shared) or stems[0]

    def _seconds(self, time: Instant) -> float:
        """Return a time in s after the first sample."""
        if isinstance(time, int | float) and not isinstance(time, bool):
            if math.isfinite(time):
                return float(time)
        elif isinstance(time, str | np.datetime64):
            try:
                instant = instant_in(time) if isinstance(time, str) else time.astype("datetime64[ns]")
            except ValueError:
                instant = np.datetime64("NaT")
            if not np.isnat(instant):
                if self.start is None:
                    raise RecordError(
                        f"{time} is a UTC time, and the start of the record is not known",
                        source=self.source.file or None,
                        remedy="Give seconds after the first sample",
                    )
                return float((instant - self.start) / np.timedelta64(1, "ns")) * 1e-9
        raise RecordError(
            f"{time!r} is not a time", remedy="Give seconds after the first sample, or UTC as in 2031-03-17T03:26:31"
        )

    @property
    def raw_sha256(self) -> str:
        """SHA-256 over all that the samples mean: names, interval, unit, sensitivity, start and raw bytes."""
        digest = hashlib.sha256()
        for component in self.components:
            description = (*component._description(), component.samples.dtype.str)
            digest.update(repr(description).encode())
            digest.update(component.samples.tobytes())
        return digest.hexdigest()

    @property
    def id(self) -> str:
        """The name the record goes by in an archive, safe as a file name.

        Network, station, location, and band and instrument code where it is known; start to the millisecond, which is
        left out where it is 0. A record without a start time is distinguished by the first digits of its content hash.

        Examples
        --------
        >>> shaking = Component("H1", np.arange(9), 0.01, start=np.datetime64("2031-03-07T04:15:00.250"))
        >>> Record((shaking,), Station("QUAY", "XX", instrument_code="HN")).id
        'XX.QUAY..HN_20310307T041500.250'
        """
        station = self.station
        codes = [station.network, station.code, station.location, station.instrument_code]
        # Empty codes at the beginning and end are left out; between others they keep the place of the others.
        name = ".".join(codes).strip(".") if station.instrument_code else ".".join(filter(None, codes))
        name = name or self._name_of_files()
        safe = re.sub(r"[^A-Za-z0-9.-]+", "-", name).strip(".-")[:64] or "record"
        if self.start is None:
            return f"{safe}_{self.raw_sha256[:10]}"
        time = np.datetime_as_string(self.start, "ms").replace("-", "").replace(":", "").removesuffix(".000")
        return f"{safe}_{time}"


def _moved(finding: Finding, by: float) -> Finding:
    """Return a finding whose span is moved by s, as the record's first sample is another."""
    return finding if finding.span is None else replace(finding, span=(finding.span[0] + by, finding.span[1] + by))


def _common_window(
    parts: tuple[Component, ...], where: str | None
) -> tuple[tuple[Component, ...], tuple[Finding, ...]]:
    if len({part.dt for part in parts}) > 1:
        return parts, ()  # Record itself refuses unequal intervals, with the reason
    dt = parts[0].dt
    starts = [0 if part.start is None else int(part.start.astype(np.int64)) for part in parts]  # ns
    timed = sum(part.start is not None for part in parts)
    if timed not in (0, len(parts)):
        raise RecordError(
            "some components have a start time and some have none: the common window cannot be determined",
            source=where,
            remedy="Give all of them a start time, or none",
        )
    offsets = []
    for part, begun in zip(parts, starts, strict=True):
        shift = (begun - min(starts)) * 1e-9 / dt
        if abs(shift - round(shift)) > 0.01:
            raise RecordError(
                f"component {part.name} is sampled {abs(shift - round(shift)) * dt:g} s off the others' instants",
                source=where,
                remedy="Only components sampled at the same instants can share a record",
            )
        offsets.append(round(shift))
    first = max(offsets)
    last = min(offset + len(part) for offset, part in zip(offsets, parts, strict=True))
    if last - first < 2:
        raise RecordError("the components share no time span", source=where, remedy="Read them one by one")
    start = np.datetime64(min(starts) + round(first * dt * 1e9), "ns") if timed else None
    cut, notes = [], []
    for offset, part in zip(offsets, parts, strict=True):
        before, after = first - offset, offset + len(part) - last
        cut.append(replace(part, samples=part.samples[before : last - offset], start=start))
        if before or after:
            notes.append(
                Finding(
                    "common window", "note",
                    what=f"{before} samples before and {after} after the common window were left out",
                    effect="motion outside the common window does not count",
                    remedy="read the components separately to see it",
                    component=part.name,
                )
            )  # fmt: skip
    return tuple(cut), tuple(notes)
