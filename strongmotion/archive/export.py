"""Processed motion and spectra as files for other programs: CSV, text, Parquet and miniSEED 3, each with the cautions.

A `Delivery` says how the motion is handed over: in which direction, times which factor, in which unit. The two
horizontals of a record are turned together and take one factor.
"""

from __future__ import annotations

import csv
import io
import json
import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Literal

import numpy as np
import pandas as pd

from ..formats.miniseed import miniseed_of
from ..foundation.cautions import CAUTION
from ..foundation.errors import ArchiveError, InputError
from ..foundation.files import write_whole
from ..foundation.units import acceleration_unit, in_unit
from ..measures import rotate
from ..motion import Motion
from ..record import Component
from ..result import Result
from .derived import Derived

__all__ = ["Delivery", "export", "export_derived", "factors_in"]

QUANTITIES = {"acceleration": "m/s2", "velocity": "m/s", "displacement": "m"}
_SPECTRAL_UNITS = {"period": "s", "sd": "m", "psv": "m/s", "psa": "m/s2", "sv": "m/s", "sa": "m/s2"}
_OF_ACCELERATION = ("psa", "sa", "psa_low", "psa_high")
_TURNED = ("H1", "H2")

Form = Literal["csv", "text", "parquet", "miniseed"]


@dataclass(frozen=True)
class Delivery:
    """How a record's motion is handed over.

    Parameters
    ----------
    factor : float
        On all components; above 0. Whether and how far a motion may be scaled only the local code says.
    azimuth : float, optional
        Turn the horizontals to this azimuth (``H1``) and the one 90 degrees clockwise of it (``H2``), degrees from
        north.
    strike : float, optional
        Turn the horizontals parallel (``FP``, towards this azimuth) and normal (``FN``, 90 degrees clockwise of it) to
        a fault of this strike, degrees from north.
    unit : {"m/s2", "cm/s2", "g"}
        Of acceleration.
    per_line : int
        Values on a line of a text file.

    Raises
    ------
    InputError
        A number is out of range, or both an azimuth and a strike are given.

    Examples
    --------
    >>> Delivery(factor=1.5, strike=35.0).names
    ('FP', 'FN')
    """

    factor: float = 1.0
    azimuth: float | None = None
    strike: float | None = None
    unit: str = "m/s2"
    per_line: int = 1

    def __post_init__(self) -> None:
        if not (math.isfinite(self.factor) and self.factor > 0):
            raise InputError(f"expected a factor above 0, found {self.factor:g}", source="factor")
        if self.azimuth is not None and self.strike is not None:
            raise InputError("an azimuth and a strike exclude each other", remedy="Give one of them")
        if self.towards is not None and not math.isfinite(self.towards):
            raise InputError(f"expected degrees from north, found {self.towards:g}", source="azimuth")
        if not 1 <= self.per_line <= 100:
            raise InputError(f"expected 1 to 100 values on a line, found {self.per_line}", source="per_line")
        in_unit(self.unit)
        object.__setattr__(self, "unit", acceleration_unit(self.unit))

    @property
    def towards(self) -> float | None:
        """The azimuth of the first horizontal; None where they stay as they are."""
        return self.azimuth if self.strike is None else self.strike

    @property
    def names(self) -> tuple[str, str]:
        """What the two horizontals are called."""
        return ("H1", "H2") if self.strike is None else ("FP", "FN")

    @property
    def said(self) -> str:
        """What was done to the motion, for a file's header; empty where nothing was."""
        parts = [f"turned to {self.towards:g} degrees"] if self.towards is not None else []
        return ", ".join(parts + [f"scaled by {self.factor!r}"] * (self.factor != 1.0))

    @property
    def ending(self) -> str:
        """What files of this motion have in their names, so that they do not replace others of the record."""
        turned = "" if self.towards is None else f"_{'az' if self.strike is None else 'strike'}{self.towards:g}"
        return turned + "_scaled" * (self.factor != 1.0)


@dataclass(frozen=True)
class _Handed:
    """One component as it is handed over."""

    name: str
    motion: Motion
    azimuth: float | None
    dip: float | None
    channel: str


def export(
    result: Result,
    folder: str | Path,
    forms: Iterable[Form] = ("csv",),
    record: str = "",
    version: str = "",
    state: str = "",
    delivery: Delivery = Delivery(),
) -> list[Path]:
    """Write a result's motion, without pads, and its spectra, to files; numbers are read back bit for bit.

    Parameters
    ----------
    result : Result
    folder : str or Path
        Made if it is not there. Files of the same names are replaced.
    forms : iterable of {"csv", "text", "parquet", "miniseed"}
        ``"csv"``: a file each of acceleration, velocity and displacement, and one of the spectra. `strongmotion.read`
        reads the acceleration. ``"text"``: a file of acceleration for each component, plain numbers below a header of
        ``#`` lines; `strongmotion.read` reads it by the layout ``plain``. ``"parquet"``: a file of all motion, a column
        each, the cautions in its metadata. ``"miniseed"``: a file of each quantity, version 3, float64; source code X,
        FDSN's for derived channels.
    record, version, state : str, optional
        Its id, version and state in the archive it is from; said in every file.
    delivery : Delivery
        Direction, factor and unit. Of horizontals that are turned the spectra hold RotD only, which does not depend on
        direction.

    Returns
    -------
    list of Path
        The files written.

    Raises
    ------
    RecordError
        The record has no start time, which miniSEED needs.
    ArchiveError
        A file cannot be written, or Parquet's library is missing.
    InputError
        No such form; the horizontals are to be turned, and are not a pair or their azimuths are not known.

    Examples
    --------
    >>> export(archive["XX.QUAY.00_20310417T032627.310"], "for_others", ["csv", "miniseed"])  # doctest: +SKIP
    """
    made: dict[str, bytes] = {}
    of = {"record": record or result.record.id, "version": version, "state": state}
    handed = _handed(result, delivery)
    for form in dict.fromkeys(forms):
        if form == "csv":
            made |= {f"_{its}.csv": _motion_csv(result, handed, its, of, delivery) for its in QUANTITIES}
            made["_spectra.csv"] = _spectra_csv(result, of, delivery)
        elif form == "text":
            made |= {f"_{one.name}.txt": _text(result, one, of, delivery) for one in handed}
        elif form == "parquet":
            made["_motion.parquet"] = _motion_parquet(result, handed, of, delivery)
        elif form == "miniseed":
            made |= {f"_{its}.mseed": _motion_miniseed(result, handed, its, of, delivery) for its in QUANTITIES}
        else:
            raise InputError(f"no export as {form!r}", remedy="Use csv, text, parquet or miniseed")
    folder = Path(folder).expanduser()
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise ArchiveError(f"the folder cannot be made: {error.strerror}", source=str(folder)) from None
    paths = [folder / f"{of['record']}{delivery.ending}{ending}" for ending in made]
    for path, content in zip(paths, made.values(), strict=True):
        write_whole(path, content, replace=True)
    return paths


def export_derived(derived: Derived, folder: str | Path, unit: str = "m/s2", per_line: int = 1) -> Path:
    """Write derived motion as text for analysis programs, as `export` writes a record's.

    Parameters
    ----------
    derived : Derived
    folder : str or Path
        Made if it is not there.
    unit : {"m/s2", "cm/s2", "g"}
        Of acceleration.
    per_line : int
        Values on a line.

    Returns
    -------
    Path
        The file; `strongmotion.read` reads it, and its finding says that it is no record.

    Raises
    ------
    ArchiveError
        The file cannot be written.
    InputError
        A number or the unit is not one of those allowed.
    """
    delivery = Delivery(unit=unit, per_line=per_line)
    facts = {
        "record": f"none; {derived.kind} from {derived.record} {derived.version}",
        "component": derived.component,
        "unit": delivery.unit,
        "dt_s": repr(derived.dt),
        "samples": derived.acceleration.size,
        "per line": per_line,
        "factor": repr(derived.made_with.get("factor", 1.0)),
        "processed": f"{derived.kind}, not a recorded motion; "
        + ", ".join(f"{name} {value}" for name, value in derived.made_with.items()),
        "caution": " ".join(derived.cautions),
    }
    values = derived.acceleration if delivery.unit == "m/s2" else derived.acceleration * in_unit(delivery.unit)
    path = Path(folder).expanduser() / f"{derived.record}.{derived.component}.{derived.kind}.txt"
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise ArchiveError(f"the folder cannot be made: {error.strerror}", source=str(folder)) from None
    write_whole(path, _plain_text(facts, values, per_line), replace=True)
    return path


def factors_in(path: str | Path) -> dict[str, float]:
    """Read the factor of each record from a CSV file, such as `strongmotion select --csv` writes.

    Parameters
    ----------
    path : str or Path
        With the columns ``record`` and ``factor`` among others.

    Returns
    -------
    dict of str to float

    Raises
    ------
    InputError
        The file cannot be read, lacks a column, names a record twice, or a factor is not a number above 0.

    Examples
    --------
    >>> import tempfile
    >>> path = Path(tempfile.mkdtemp()) / "chosen.csv"
    >>> with path.open("w") as file:
    ...     print("record,factor", "XX.QUAY,1.5", sep=chr(10), file=file)
    >>> factors_in(path)
    {'XX.QUAY': 1.5}
    """
    remedy = "Give the table that `strongmotion select --csv` or `compare --csv` wrote"
    try:
        with Path(path).expanduser().open(encoding="utf-8-sig", newline="") as file:
            rows = list(csv.DictReader(file))
    except FileNotFoundError:
        raise InputError("no such file", source=str(path), remedy=remedy) from None
    except (OSError, UnicodeDecodeError, csv.Error) as error:
        reason = getattr(error, "strerror", None) or error
        raise InputError(f"the file cannot be read: {reason}", source=str(path), remedy=remedy) from None
    factors: dict[str, float] = {}
    for number, row in enumerate(rows, 2):
        record = (row.get("record") or "").lstrip("'")
        try:
            factor = float(row.get("factor") or "")
        except ValueError:
            factor = math.nan
        if not record or record in factors or not (math.isfinite(factor) and factor > 0):
            raise InputError(
                f"line {number}: expected a record, each once, and a factor above 0", source=str(path), remedy=remedy
            )
        factors[record] = factor
    if not factors:
        raise InputError("the file names no record", source=str(path), remedy=remedy)
    return factors


def _handed(result: Result, delivery: Delivery) -> list[_Handed]:
    """Return the motion of each component, turned and scaled."""
    motions = {name: motion.unpadded() for name, motion in result.motion.items()}
    parts = {
        raw.name: _Handed(raw.name, motions[raw.name], raw.azimuth, raw.dip, raw.channel)
        for raw in result.record
        if raw.name in motions
    }
    if delivery.towards is not None:
        parts |= _turned(result, motions, delivery)
    factor = delivery.factor
    if factor == 1.0:
        return list(parts.values())
    return [
        replace(one, motion=_with(one.motion, {its: factor * getattr(one.motion, its) for its in QUANTITIES}))
        for one in parts.values()
    ]


def _with(motion: Motion, arrays: dict[str, np.ndarray]) -> Motion:
    return replace(
        motion,
        acceleration=arrays["acceleration"], velocity=arrays["velocity"], displacement=arrays["displacement"],
    )  # fmt: skip


def _turned(result: Result, motions: dict[str, Motion], delivery: Delivery) -> dict[str, _Handed]:
    """Return the two horizontals turned, by their names before."""
    if result.record.horizontals is None or not set(_TURNED) <= set(motions):
        raise InputError("there is no pair of horizontals to rotate", source=result.record.id)
    pair = [result.record[name].azimuth for name in _TURNED]
    if pair[0] is None or pair[1] is None:
        raise InputError(
            "the azimuths of the horizontals are unknown, so they cannot be rotated to an azimuth",
            source=result.record.id,
            remedy="Process the record with azimuths in its file, or with StationXML",
        )
    assert delivery.towards is not None
    azimuths = (float(pair[0]), float(pair[1]))
    turned = {
        its: rotate(getattr(motions["H1"], its), getattr(motions["H2"], its), azimuths, delivery.towards)
        for its in QUANTITIES
    }
    return {
        before: _Handed(
            name,
            _with(motions[before], {its: both[k] for its, both in turned.items()}),
            (delivery.towards + 90.0 * k) % 360.0,
            0.0,
            "",
        )
        for k, (before, name) in enumerate(zip(_TURNED, delivery.names, strict=True))
    }


def _values(motion: Motion, quantity: str, delivery: Delivery) -> tuple[np.ndarray, str]:
    """Return one quantity in the unit it is handed over in, and that unit."""
    values = getattr(motion, quantity)
    if quantity != "acceleration" or delivery.unit == "m/s2":
        return values, QUANTITIES[quantity]
    return values * in_unit(delivery.unit), delivery.unit


def _in_names(unit: str) -> str:
    return unit.replace("/", "_")


def _head(result: Result, of: dict[str, str], delivery: Delivery) -> str:
    """Return the comment lines of a CSV file: the cautions, and what the numbers are of."""
    record, station = result.record, result.record.station
    facts = {
        "station": station.code, "network": station.network, "location": station.location, "name": station.name,
        "latitude": station.latitude, "longitude": station.longitude, "elevation": station.elevation,
        "start": None if record.start is None else f"{record.start}Z",
    }  # fmt: skip
    unfit = sorted({finding.component or "all" for finding in result.findings if finding.severity == "unfit"})
    facts |= {"processed": _processed(result, delivery)}
    warning = [f"Unfit, not to be used: {', '.join(unfit)}"] if unfit else []
    lines = [
        *result.cautions,
        *warning,
        f"Processed by strongmotion {result.version} from {record.source.file or 'a record'}",
    ]
    if of["version"]:  # without a colon, so that readers take it for a remark
        lines.append(f"Record {of['record']}, version {of['version']}, {of['state']}")
    lines += [f"{key}: {' '.join(str(value).split())}" for key, value in facts.items() if value not in (None, "")]
    return "".join(f"# {line}\n" for line in lines)


def _processed(result: Result, delivery: Delivery) -> str:
    """Say that the motion was processed, with the band that all components have, as a reader understands it."""
    bands = [result.usable_band[name] for name in result.motion]
    low = max(band.low_cut for band in bands)
    high = min(band.high_cut or band.nyquist for band in bands)
    said = f"baseline corrected and filtered, {low!r} to {high!r} Hz"
    return f"{delivery.said}; {said}" if delivery.said else said


def _motion_csv(result: Result, handed: list[_Handed], quantity: str, of: dict[str, str], delivery: Delivery) -> bytes:
    columns, units = zip(*(_values(one.motion, quantity, delivery) for one in handed), strict=True)
    own = "".join(
        f"# {key}_{one.name}: {value!r}\n"
        for one in handed
        for key, value in (("azimuth", one.azimuth), ("dip", one.dip))
        if value is not None
    )
    factor = f"# factor: {delivery.factor!r}\n" if delivery.factor != 1.0 else ""
    head = f"{_head(result, of, delivery)}{factor}# dt_s: {result.record.dt!r}\n{own}"
    names = ",".join(f"{one.name} [{unit}]" for one, unit in zip(handed, units, strict=True))
    rows = "\n".join(",".join(map(repr, row)) for row in zip(*(its.tolist() for its in columns), strict=True))
    return f"{head}{names}\n{rows}\n".encode()


def _text(result: Result, one: _Handed, of: dict[str, str], delivery: Delivery) -> bytes:
    """Return a component's acceleration as the layout ``plain`` describes it: every header has the same lines."""
    record, station = result.record, result.record.station
    values, unit = _values(one.motion, "acceleration", delivery)
    unfit = any(finding.severity == "unfit" for finding in result.findings)
    facts = {
        "record": " ".join(of.values()), "component": one.name, "azimuth": one.azimuth, "dip": one.dip,
        "network": station.network, "station": station.code, "location": station.location,
        "start": None if record.start is None else f"{record.start}Z",
        "unit": unit, "dt_s": repr(record.dt), "samples": len(values), "per line": delivery.per_line,
        "factor": repr(delivery.factor), "processed": _processed(result, delivery),
        "caution": ("Unfit, not to be used. " if unfit else "") + CAUTION,
    }  # fmt: skip
    return _plain_text(facts, values, delivery.per_line)


def _plain_text(facts: Mapping[str, object], values: np.ndarray, per_line: int) -> bytes:
    """Return a file of the layout ``plain``."""
    lines = ["# acceleration of one component, plain numbers"]
    for key, value in facts.items():
        text = "" if value is None else " ".join(str(value).split())
        lines.append(f"# {key}: {text}".rstrip())
    lines.append(f"# {len(lines) + 1} lines of header, then numbers")
    cells = [f"{value:.16e}".rjust(24) for value in values.tolist()]
    lines += ["".join(cells[i : i + per_line]) for i in range(0, len(cells), per_line)]
    return ("\n".join(lines) + "\n").encode()


def _spectra_csv(result: Result, of: dict[str, str], delivery: Delivery) -> bytes:
    frame = result.spectra
    if delivery.towards is not None:
        frame = frame[~frame["component"].isin(_TURNED)]
    numbers = [name for name in (*_SPECTRAL_UNITS, "psa_low", "psa_high") if name in frame and name != "period"]
    if delivery.factor != 1.0:
        frame = frame.assign(**{name: frame[name] * delivery.factor for name in numbers})
    units = dict(_SPECTRAL_UNITS)
    if delivery.unit != "m/s2":
        frame = frame.assign(
            **{name: frame[name] * in_unit(delivery.unit) for name in _OF_ACCELERATION if name in frame}
        )
        units |= {"psa": delivery.unit, "sa": delivery.unit}
    frame = frame.rename(columns={name: f"{name}_{_in_names(unit)}" for name, unit in units.items()})
    return (_head(result, of, delivery) + frame.to_csv(index=False, lineterminator="\n")).encode()


def _motion_parquet(result: Result, handed: list[_Handed], of: dict[str, str], delivery: Delivery) -> bytes:
    try:
        import pyarrow as pa
        import pyarrow.parquet as pq
    except ImportError:
        raise ArchiveError(
            "Parquet needs pyarrow", remedy="Install strongmotion[parquet], or export CSV or miniSEED"
        ) from None
    record = result.record
    columns: dict[str, np.ndarray] = {"time_s": np.arange(record.samples) * record.dt}
    for one in handed:
        for quantity in QUANTITIES:
            values, unit = _values(one.motion, quantity, delivery)
            columns[f"{one.name}_{quantity}_{_in_names(unit)}"] = values
    table = pa.Table.from_pandas(pd.DataFrame(columns), preserve_index=False)
    said = {
        **of, "start": "" if record.start is None else f"{record.start}Z", "dt_s": repr(record.dt),
        "factor": repr(delivery.factor), "processed": _processed(result, delivery),
        "cautions": json.dumps(result.cautions), "software": f"strongmotion {result.version}",
    }  # fmt: skip
    buffer = io.BytesIO()
    pq.write_table(table.replace_schema_metadata({**(table.schema.metadata or {}), **said}), buffer)
    return buffer.getvalue()


def _motion_miniseed(
    result: Result, handed: list[_Handed], quantity: str, of: dict[str, str], delivery: Delivery
) -> bytes:
    parts = []
    for one in handed:
        values, unit = _values(one.motion, quantity, delivery)
        said = {
            **{name: its for name, its in of.items() if its}, "unit": unit, "quantity": quantity,
            "processed": _processed(result, delivery), "caution": " ".join(result.cautions),
        }  # fmt: skip
        record = result.record
        component = Component(one.name, values, record.dt, unit if quantity == "acceleration" else "m/s2", None,
                              record.start, one.azimuth, one.dip, one.channel)  # fmt: skip
        parts.append(miniseed_of(record, component, 3, "float64", derived=said))
    return b"".join(parts)
