"""Where everything of a `Result` lies in its HDF5 file, layout 2.

===========================  ====================================================================================
attributes of the file       title, record, station, source file and its SHA-256, software version, cautions
``/raw/<component>``         samples as recorded, in their own type; unit, sensitivity, direction as attributes
``/motion/``                 ``acceleration_<component>``, also velocity and displacement, on ``time``; with pads
``/spectra/``                sd, psv, psa, sv, sa, usable on the axes ``component``, ``damping``, ``period``
``/peaks/``, ``/measures/``  tables, a dataset a column on the axis ``row``; columns of any name
``/usable_band/``            corner frequencies on the axis ``component``
``/settings``                TOML text
``/history``                 JSON text: the record's steps under ``record``, each component's under ``motion``
``/findings``                JSON text: of the processing under ``result``, of the reading under ``record``
===========================  ====================================================================================

Axes are HDF5 dimension scales; every number has ``long_name`` and ``units`` spelled as the CF conventions ask
(UDUNITS), so HDF5 and netCDF-4 readers label arrays without this library.

Tables and spectra keep whatever numeric, boolean and text columns they have. Attributes of their group list the names,
``columns``, and the datasets they lie in, ``datasets``. The unit of a column that `_NUMBERS` does not know is taken
from ``DataFrame.attrs["units"]``, a dict of column to unit, and comes back there.

Layout 1 had no ``datasets``: each column lay in a dataset of its own name.
"""

from __future__ import annotations

import dataclasses
import json
import math
import re
import tomllib
from collections.abc import Collection, Iterable, Iterator, Sequence
from typing import Any

import h5py
import numpy as np
import pandas as pd
from numpy.typing import NDArray

from ..chain import Band, Baseline, PermanentDisplacement, Shift, Windows
from ..foundation.errors import ArchiveError, InputError
from ..motion import Entry, History, Motion
from ..record import Component, Earthquake, Finding, Record, Source, Station
from ..result import Result
from ..settings import Settings

__all__ = [
    "LAYOUT_VERSION",
    "RESTORE",
    "check_layout",
    "read",
    "read_bands",
    "read_columns",
    "read_findings",
    "read_ordinates",
    "read_settings",
    "read_table",
    "text_column",
    "write",
]

LAYOUT = "strongmotion record"
LAYOUT_VERSION = 2

RESTORE = "Restore the file from a copy, or process its source again"
"""The remedy for damage."""

_UDUNITS = {"m/s2": "m s-2", "m/s": "m s-1", "cm/s2": "cm s-2", "g": "standard_free_fall", "counts": "count"}
_FROM_UDUNITS = {cf: unit for unit, cf in _UDUNITS.items()}

_ACCELERATION, _VELOCITY, _DISPLACEMENT = ("m s-2", "m s-1", "m")
_NUMBERS = {
    "time": ("time after the record's first sample", "s"),
    "acceleration": ("ground acceleration", _ACCELERATION),
    "velocity": ("ground velocity", _VELOCITY),
    "displacement": ("ground displacement", _DISPLACEMENT),
    "damping": ("fraction of critical damping", "1"),
    "period": ("oscillator period", "s"),
    "sd": ("relative displacement response spectrum", _DISPLACEMENT),
    "psv": ("pseudo-velocity response spectrum", _VELOCITY),
    "psa": ("pseudo-acceleration response spectrum", _ACCELERATION),
    "sv": ("relative velocity response spectrum", _VELOCITY),
    "sa": ("absolute acceleration response spectrum", _ACCELERATION),
    "psa_low": ("lower end of the 5-95 % band of the pseudo-acceleration response spectrum", _ACCELERATION),
    "psa_high": ("upper end of the 5-95 % band of the pseudo-acceleration response spectrum", _ACCELERATION),
    "usable": ("inside the usable band", "1"),
    "sign": ("sign of the motion at its peak, 0 for none", "1"),
    "low_cut": ("low-cut corner frequency, 0 for none", "Hz"),
    "high_cut": ("high-cut corner frequency, 0 for none", "Hz"),
    "nyquist": ("half the sampling rate", "Hz"),
    "period_fraction": ("longest usable period as a fraction of 1 / low-cut", "1"),
    "clear_from": ("lowest frequency at which the signal is clear of noise, 0 where not known", "Hz"),
    "row": ("row of the table", "1"),
}
"""Long name and CF unit of every dataset whose numbers share one unit."""

_IN_UNIT_OF_ROW = ("value", "band_low", "band_high")
"""Columns of tables whose unit differs from row to row."""

_RENAMED_SETTINGS = {
    ("baseline", "route"): "method",
    ("baseline", "offset_part"): "resolved_fraction",
    ("baseline", "offset_length"): "resolved_length",
    ("onset", "least_pre_event"): "shortest_pre_event",
}
"""Settings that files of layouts 1 and 2 hold under another name."""
_MOTIONS = ("acceleration", "velocity", "displacement")
_SPECTRA_AXES = ("component", "damping", "period")
_TEXT = h5py.string_dtype()
_LONG = 4096
"""From so many numbers on, float64 arrays are not compressed."""
_CHUNK = 1 << 20
"""Arrays of up to so many bytes lie in one piece."""


def write(file: h5py.File, result: Result) -> None:
    """Write `result` into an empty HDF5 file.

    Raises
    ------
    ArchiveError
        The spectra are not a full grid of component, damping and period, the motions do not share one time base, or a
        text cannot be stored in HDF5.
    """
    try:
        _write_attributes(file, result)
        _write_raw(_group(file, "raw"), result.record)
        _write_motion(_group(file, "motion"), result.motion)
        _write_spectra(_group(file, "spectra"), result.spectra)
        _write_table(_group(file, "peaks"), result.peaks)
        _write_table(_group(file, "measures"), result.measures)
        _write_bands(_group(file, "usable_band"), result.usable_band)
        _write_text(file, "settings", result.settings.to_toml(), "settings of the processing, TOML")
        history = {
            "record": [dataclasses.asdict(entry) for entry in result.history],
            "motion": {
                name: [dataclasses.asdict(entry) for entry in motion.history] for name, motion in result.motion.items()
            },
        }
        _write_text(file, "history", _to_json(history), "every step of the processing with its numbers, JSON")
        findings = {
            "result": [dataclasses.asdict(finding) for finding in result.findings],
            "record": [dataclasses.asdict(finding) for finding in result.record.findings],
        }
        choices = {
            "windows": dataclasses.asdict(result.windows),
            "baseline": {name: dataclasses.asdict(chosen) for name, chosen in result.baseline.items()},
        }
        _write_text(file, "choices", _to_json(choices), "windows and baselines that were chosen, JSON")
        _write_text(file, "findings", _to_json(findings), "what the checks say of the record, JSON")
    except ArchiveError as error:
        raise ArchiveError(error.what, source=result.record.id, remedy=error.remedy) from error
    except (ValueError, TypeError) as error:
        raise ArchiveError(
            f"cannot be stored: {error}",
            source=result.record.id,
            remedy="Look for NUL characters in its texts, or objects other than text and numbers in its tables",
        ) from error


def read(file: h5py.File) -> Result:
    """Rebuild the result that `write` stored.

    Raises
    ------
    ArchiveError
        The file is of another layout, or something in it is missing or cannot be read.
    """
    check_layout(file)
    text = file.attrs
    history = json.loads(_read_text(file, "history"))
    return Result(
        record=_read_record(file),
        settings=read_settings(file),
        motion=_read_motion(_get(file, "motion"), history["motion"]),
        usable_band=read_bands(file),
        peaks=read_table(file, "peaks"),
        spectra=_read_spectra(file),
        measures=read_table(file, "measures"),
        **_read_choices(file),
        findings=read_findings(file),
        history=_history(history["record"]),
        version=str(text["software_version"]),
        cautions=tuple(text["cautions"]),
    )


def read_settings(file: h5py.File) -> Settings:
    """Read the settings a record was processed with; those of earlier layouts by their present names."""
    stored = tomllib.loads(_read_text(file, "settings"))
    for (section, before), now in _RENAMED_SETTINGS.items():
        if before in stored.get(section, {}):
            stored[section][now] = stored[section].pop(before)
    return Settings.from_dict(stored)


def check_layout(file: h5py.File) -> None:
    """Refuse a file of another making, or of a layout newer than this software.

    Raises
    ------
    ArchiveError
    """
    if file.attrs.get("layout") != LAYOUT:
        raise ArchiveError(
            "is HDF5, but not a record of an archive", remedy="Move it elsewhere: an archive holds only its own files"
        )
    version = int(_attribute(file, "layout_version"))
    if version > LAYOUT_VERSION:
        raise ArchiveError(
            f"has layout {version}, this version of strongmotion reads up to {LAYOUT_VERSION}",
            remedy="Read it with a newer strongmotion",
        )


# What belongs to the whole file


def _write_attributes(file: h5py.File, result: Result) -> None:
    record, attributes = result.record, file.attrs
    attributes["title"] = f"Processed accelerogram {record.id}"
    attributes["Conventions"] = "CF-1.11"
    attributes["layout"] = LAYOUT
    attributes["layout_version"] = LAYOUT_VERSION
    attributes["software_version"] = result.version
    attributes["cautions"] = _texts(result.cautions)
    attributes["record"] = record.id
    attributes["components"] = _texts(record.names)
    if record.start is not None:
        attributes["start"] = str(record.start)
    parts = (("station", record.station), ("source", record.source), ("earthquake", record.earthquake))
    for prefix, part in parts:
        for field, value in (dataclasses.asdict(part) if part is not None else {}).items():
            if value is not None:
                attributes[_field_name(prefix, field)] = value
    attributes["raw_sha256"] = record.raw_sha256


def _field_name(prefix: str, field: str) -> str:
    unit = {"latitude": "_degrees_north", "longitude": "_degrees_east", "elevation": "_m", "depth": "_m"}.get(field, "")
    return f"{prefix}_{field}{unit}"


def _read_part(file: h5py.File, prefix: str, kind: type) -> Any:
    names = {item.name: _field_name(prefix, item.name) for item in dataclasses.fields(kind)}
    return kind(**{field: _plain(file.attrs[name]) for field, name in names.items() if name in file.attrs})


# Raw samples


def _write_raw(group: h5py.Group, record: Record) -> None:
    time = _write_numbers(group, "time", np.arange(record.samples) * record.dt)
    time.make_scale("time")
    for component in record:
        dataset = _write_numbers(
            group, component.name, component.samples, [time], ("samples as recorded", _UDUNITS[component.unit])
        )
        attributes = {
            "dt_s": component.dt,
            "sensitivity_counts_per_m_s2": component.sensitivity,
            "start": None if component.start is None else str(component.start),
            "azimuth_degrees": component.azimuth,
            "dip_degrees": component.dip,
            "channel": component.channel,
        }
        for name, value in attributes.items():
            if value is not None:
                dataset.attrs[name] = value


def _read_record(file: h5py.File) -> Record:
    components = []
    for name in _attribute(file, "components"):
        dataset = _get(file, f"raw/{name}")
        # Capitals are the dimension scales' own bookkeeping.
        attributes = {key: _plain(value) for key, value in dataset.attrs.items() if key.islower()}
        start = attributes.get("start")
        components.append(
            Component(
                name=name,
                samples=_values(file, f"raw/{name}"),
                dt=attributes["dt_s"],
                unit=_FROM_UDUNITS[attributes["units"]],
                sensitivity=attributes.get("sensitivity_counts_per_m_s2"),
                start=None if start is None else np.datetime64(start, "ns"),
                azimuth=attributes.get("azimuth_degrees"),
                dip=attributes.get("dip_degrees"),
                channel=attributes["channel"],
            )
        )
    record = Record(
        tuple(components),
        _read_part(file, "station", Station),
        _read_part(file, "source", Source),
        read_findings(file, "record"),
        _read_part(file, "earthquake", Earthquake) if "earthquake_id" in file.attrs else None,
    )
    if record.raw_sha256 != _attribute(file, "raw_sha256"):
        raise ArchiveError("the raw samples are not those that were stored", remedy="Read the source file again")
    return record


# Motion


def _write_motion(group: h5py.Group, motions: dict[str, Motion]) -> None:
    bases = {(motion.dt, motion.lead, motion.trail, len(motion)) for motion in motions.values()}
    if len(bases) != 1 or any(name != motion.component for name, motion in motions.items()):
        raise ArchiveError("the components of motion do not share one time base, or go by two names")
    dt, lead, trail, _ = bases.pop()
    group.attrs["components"] = _texts(motions)
    group.attrs["dt_s"] = dt
    group.attrs["lead_samples"] = lead
    group.attrs["trail_samples"] = trail
    time = _write_numbers(group, "time", next(iter(motions.values())).time)
    time.make_scale("time")
    for name, motion in motions.items():
        for quantity in _MOTIONS:
            array = getattr(motion, quantity)
            if array is None:
                raise ArchiveError(f"component {name} has no {quantity}", remedy="Integrate the motion first")
            long_name, unit = _NUMBERS[quantity]
            _write_numbers(group, f"{quantity}_{name}", array, [time], (f"{long_name}, component {name}", unit))


def _read_motion(group: h5py.Group, histories: dict[str, list[dict[str, Any]]]) -> dict[str, Motion]:
    dt, lead, trail = (_plain(_attribute(group, name)) for name in ("dt_s", "lead_samples", "trail_samples"))
    motions = {}
    for name in _attribute(group, "components"):
        acceleration, velocity, displacement = (_values(group, f"{quantity}_{name}") for quantity in _MOTIONS)
        history = _history(histories[name])
        motions[name] = Motion(name, acceleration, dt, velocity, displacement, lead, trail, history)
    return motions


def _history(entries: Iterable[dict[str, Any]]) -> History:
    return History(tuple(_rebuilt(Entry, entry) for entry in entries))


# Spectra: a long table in memory, a labelled grid on disk


def _write_spectra(group: h5py.Group, frame: pd.DataFrame) -> None:
    component, damping, period = (frame[name].to_numpy() for name in _SPECTRA_AXES)
    components = list(dict.fromkeys(component))
    block = len(frame) // max(len(components), 1)
    periods = period[: _run(damping[:block])]
    dampings = damping[: block : max(len(periods), 1)]
    axes = (np.array(components, dtype=object), dampings, periods)
    shape = tuple(len(axis) for axis in axes)
    grid = np.meshgrid(*axes, indexing="ij")
    if math.prod(shape) != len(frame) or any(
        not np.array_equal(axis.ravel(), column)
        for axis, column in zip(grid, (component, damping, period), strict=True)
    ):
        raise ArchiveError(
            "the spectra are not a full grid: every component needs the same dampings and periods, in one order",
            remedy="Compute all spectra of a record on the same oscillators",
        )
    scales = []
    for name, values in zip(_SPECTRA_AXES, axes, strict=True):
        scales.append(_write_column(group, name, values))
        scales[-1].make_scale(name)
    _write_columns(group, frame, shape, scales)


def _run(values: NDArray[Any]) -> int:
    """Return how many values at the start are alike."""
    changes = np.flatnonzero(values != values[:1])
    return int(changes[0]) if changes.size else len(values)


def _read_spectra(file: h5py.File) -> pd.DataFrame:
    group = _get(file, "spectra")
    axes = np.meshgrid(*(_read_column(group, name) for name in _SPECTRA_AXES), indexing="ij")
    grid = dict(zip(_SPECTRA_AXES, axes, strict=True))
    return _frame(group, grid)


def read_ordinates(file: h5py.File, component: str, damping: float, periods: Collection[float]) -> dict[float, float]:
    """Read pseudo-spectral accelerations, m/s², at those of `periods` (s) that the spectra hold."""
    group = _get(file, "spectra")
    axes = [_read_column(group, name) for name in _SPECTRA_AXES]
    row, column = np.flatnonzero(axes[0] == component), np.flatnonzero(np.isclose(axes[1], damping))
    if not (row.size and column.size):
        return {}
    psa = _values(group, "psa")[row[0], column[0]]
    found = {period: np.flatnonzero(np.isclose(axes[2], period)) for period in periods}
    return {period: float(psa[at[0]]) for period, at in found.items() if at.size}


# Tables


def _write_table(group: h5py.Group, frame: pd.DataFrame) -> None:
    row = _write_numbers(group, "row", np.arange(len(frame)))
    row.make_scale("row")
    _write_columns(group, frame, (len(frame),), [row])
    for name in _IN_UNIT_OF_ROW:
        if name in group:
            group[name].attrs["comment"] = "the unit of each row stands in the dataset unit"


def read_table(file: h5py.File, name: str) -> pd.DataFrame:
    """Read the table ``"peaks"`` or ``"measures"``."""
    return _frame(_get(file, name), {})


def read_columns(file: h5py.File, name: str, *columns: str) -> Iterator[tuple[Any, ...]]:
    """Yield the rows of some columns of a table: quicker than `read_table` by far."""
    group = _get(file, name)
    return zip(*(_read_column(group, column).tolist() for column in columns), strict=True)


def _write_columns(
    group: h5py.Group, frame: pd.DataFrame, shape: tuple[int, ...], scales: Sequence[h5py.Dataset]
) -> None:
    """Write every column that is not an axis, and list all of them."""
    units = frame.attrs.get("units", {})
    names, datasets = list(frame.columns), []
    for number, name in enumerate(names):
        if not isinstance(name, str) or names.count(name) > 1:
            raise TypeError(f"columns need each a text of its own as name, found {name!r}")
        if name in _SPECTRA_AXES and name in group:
            dataset = group[name]
        else:
            plain = re.fullmatch(r"[A-Za-z_][A-Za-z0-9_]*", name) and name not in group
            stored = name if plain else f"column {number}"
            dataset = _write_column(group, stored, frame[name].to_numpy().reshape(shape), scales)
            if not plain:
                dataset.attrs["long_name"] = name
        datasets.append(dataset.name.rpartition("/")[2])
        if name in units:
            dataset.attrs["unit"] = units[name]
            dataset.attrs["units"] = _UDUNITS.get(units[name], units[name])
    group.attrs["columns"] = _texts(names)
    group.attrs["datasets"] = _texts(datasets)


def _frame(group: h5py.Group, axes: dict[str, NDArray[Any]]) -> pd.DataFrame:
    names = list(_attribute(group, "columns"))
    datasets = group.attrs.get("datasets", names)  # layout 1 has none
    columns, units = {}, {}
    for name, dataset in zip(names, datasets, strict=True):
        values = (axes[name] if name in axes else _read_column(group, dataset)).ravel()
        columns[name] = text_column(values) if values.dtype == object else values
        if "unit" in group[dataset].attrs:
            units[name] = group[dataset].attrs["unit"]
    frame = pd.DataFrame(columns)
    if units:
        frame.attrs["units"] = units
    return frame


def text_column(texts: NDArray[Any]) -> pd.Series:
    """Return a column of the type that pandas itself gives to texts, missing ones among them."""
    return pd.Series(texts.tolist(), dtype=pd.Series([""]).dtype)


def _write_bands(group: h5py.Group, bands: dict[str, Band]) -> None:
    names = _write_column(group, "component", np.array(list(bands), dtype=object))
    names.make_scale("component")
    for field in dataclasses.fields(Band):
        values = np.array([getattr(band, field.name) for band in bands.values()], dtype=np.float64)
        _write_numbers(group, field.name, values, [names])


def read_bands(file: h5py.File) -> dict[str, Band]:
    """Read the usable bands by component."""
    group = _get(file, "usable_band")
    names = [field.name for field in dataclasses.fields(Band) if field.name in group]
    columns = [_read_column(group, name).tolist() for name in names]
    components = _read_column(group, "component")
    bands = zip(components, *columns, strict=True)
    return {component: _rebuilt(Band, dict(zip(names, values, strict=True))) for component, *values in bands}


def read_findings(file: h5py.File, of: str = "result") -> tuple[Finding, ...]:
    """Read the findings of the ``"result"``, or those the ``"record"`` came with."""
    stored = json.loads(_read_text(file, "findings"))[of]
    return tuple(_rebuilt(Finding, {"place" if key == "where" else key: its[key] for key in its}) for its in stored)


def _read_choices(file: h5py.File) -> dict[str, Any]:
    """Read what was chosen; a file of an earlier layout knows neither windows nor baselines."""
    stored = json.loads(_read_text(file, "choices")) if "choices" in file else {"windows": {}, "baseline": {}}
    windows = {name: tuple(its) if isinstance(its, list) else its for name, its in stored["windows"].items()}
    baseline = {}
    for name, chosen in stored["baseline"].items():
        shift, displacement = chosen["shift"], chosen["displacement"]
        if shift is not None:
            shift = _rebuilt(Shift, {key: tuple(its) if isinstance(its, list) else its for key, its in shift.items()})
        if displacement is not None:
            displacement = _rebuilt(PermanentDisplacement, displacement)
        baseline[name] = Baseline(chosen["method"], shift, displacement)
    return {"windows": _rebuilt(Windows, {"onset": 0, "noise": 0} | windows), "baseline": baseline}


def _rebuilt(kind: type, values: dict[str, Any]) -> Any:
    """Make an object of its stored fields; what an older version did not store has its default."""
    required = {
        field.name
        for field in dataclasses.fields(kind)
        if field.default is dataclasses.MISSING and field.default_factory is dataclasses.MISSING
    }
    known = {field.name for field in dataclasses.fields(kind)}
    if unknown := set(values) - known:
        raise InputError(f"{kind.__name__} has no {', '.join(sorted(unknown))}")
    if lacking := required - set(values):
        raise ArchiveError(f"{', '.join(sorted(lacking))} of {kind.__name__} is missing", remedy=RESTORE)
    return kind(**values)


# One dataset


def _group(parent: h5py.Group, name: str) -> h5py.Group:
    return parent[name] if name in parent else parent.create_group(name, track_order=True)


def _write_numbers(
    group: h5py.Group,
    name: str,
    values: NDArray[Any],
    scales: Sequence[h5py.Dataset] = (),
    described: tuple[str, str] | None = None,
) -> h5py.Dataset:
    # Chunks cannot be empty, so an empty array goes unfiltered. Of long float64 arrays the last digits are noise:
    # compressing them takes more time than all other writing, to save a fifth of the space.
    filters: dict[str, Any] = {"fletcher32": True} if values.size else {}
    if values.size and (values.dtype != np.float64 or values.size < _LONG):
        filters |= {"compression": "gzip", "compression_opts": 1, "shuffle": True}
    if 0 < values.nbytes <= _CHUNK:
        filters["chunks"] = values.shape
    dataset = group.create_dataset(name, data=values, **filters)
    for axis, scale in enumerate(scales):
        dataset.dims[axis].attach_scale(scale)
    long_name, units = described or _NUMBERS.get(name, (name.replace("_", " "), ""))
    dataset.attrs["long_name"] = long_name
    if units:
        dataset.attrs["units"] = units
    return dataset


def _write_column(
    group: h5py.Group, name: str, values: NDArray[Any], scales: Sequence[h5py.Dataset] = ()
) -> h5py.Dataset:
    if values.dtype.kind == "b":
        dataset = _write_numbers(group, name, values.astype(np.int8), scales)
        dataset.attrs["dtype"] = "bool"  # netCDF has no booleans; readers of it know them by this attribute
        return dataset
    if values.dtype.kind in "iuf":
        return _write_numbers(group, name, values, scales)
    texts, missing = values.astype(object).ravel(), []
    for at, value in enumerate(texts):
        if value is None or value is pd.NA or (isinstance(value, float) and math.isnan(value)):
            texts[at] = ""
            missing.append(at)
        elif not isinstance(value, str):
            raise TypeError(f"column {name} holds {value!r} among its texts")
    dataset = group.create_dataset(name, data=texts.reshape(values.shape), dtype=_TEXT)
    if missing:
        dataset.attrs["missing"] = np.array(missing)  # places from 0, in the order of storage
    for axis, scale in enumerate(scales):
        dataset.dims[axis].attach_scale(scale)
    dataset.attrs["long_name"] = name.replace("_", " ")
    return dataset


def _read_column(group: h5py.Group, name: str) -> NDArray[Any]:
    values = _values(group, name)
    attributes = group[name].attrs
    if "missing" in attributes:
        values.ravel()[attributes["missing"]] = None
    return values.astype(bool) if attributes.get("dtype") == "bool" else values


def _write_text(file: h5py.File, name: str, text: str, long_name: str) -> None:
    file.create_dataset(name, data=text, dtype=_TEXT).attrs["long_name"] = long_name


def _read_text(file: h5py.File, name: str) -> str:
    return _values(file, name)


def _values(group: h5py.Group, name: str) -> Any:
    dataset = _get(group, name)
    try:
        return dataset.asstr()[()] if h5py.check_string_dtype(dataset.dtype) else dataset[()]
    except (OSError, UnicodeDecodeError) as error:
        raise ArchiveError(f"{dataset.name} is damaged", remedy=RESTORE) from error


def _get(group: h5py.Group, name: str) -> Any:
    if name not in group:
        raise ArchiveError(f"{group.name.rstrip('/')}/{name} is missing", remedy=RESTORE)
    return group[name]


def _attribute(item: Any, name: str) -> Any:
    if name not in item.attrs:
        raise ArchiveError(f"attribute {name} of {item.name} is missing", remedy=RESTORE)
    return item.attrs[name]


def _texts(texts: Iterable[str]) -> NDArray[Any]:
    return np.array(list(texts), dtype=_TEXT)


def _plain(value: Any) -> Any:
    return value.item() if isinstance(value, np.generic) else value


def _to_json(value: Any) -> str:
    # JSON writes the shortest decimal that reads back as the same float; NaN and Infinity as Python spells them.
    return json.dumps(value, indent=1, default=_plain)
