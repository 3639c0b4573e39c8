"""Where everything of a `Result` lies in its HDF5 file, layout 3.

===========================  ====================================================================================
attributes of the file       title, record, station, source file and its SHA-256, software version, cautions: for
                             readers of HDF5 and netCDF; `read` holds them against ``/about``
``/raw/<component>``         samples as recorded, in their own type; unit, sensitivity, direction as attributes
``/motion/``                 ``acceleration_<component>``, also velocity and displacement, on ``time``; with pads
``/spectra/``                sd, psv, psa, sv, sa, usable on the axes ``component``, ``damping``, ``period``
``/peaks/``, ``/measures/``  tables, a dataset a column on the axis ``row``; columns of any name
``/usable_band/``            corner frequencies on the axis ``component``
``/settings``                TOML text
``/about``                   JSON: all that is known of the record but its samples: station, source files, components
``/choices``                 JSON: every other field of the result, such as windows and baselines
``/history``                 JSON: the record's steps under ``record``, each component's under ``motion``
``/findings``                JSON: of the processing under ``result``, of the reading under ``record``
===========================  ====================================================================================

JSON is as `strongmotion.archive.typed` writes it, so a new field of a result or a record needs no new layout.

Axes are HDF5 dimension scales; every number has ``long_name`` and ``units`` spelled as the CF conventions ask
(UDUNITS), so HDF5 and netCDF-4 readers label arrays without this library.

Tables and spectra keep whatever numeric, boolean and text columns they have. Attributes of their group list the names,
``columns``, and the datasets they lie in, ``datasets``. The unit of a column that `_NUMBERS` does not know is taken
from ``DataFrame.attrs["units"]``, a dict of column to unit, and is restored there.

Equal results give equal bytes: everything is made in one order, and every object stays open until the bytes are taken.
What HDF5 writes depends on when an object is closed, and any thread that looks at the interpreter's frames can delay
that.

In layouts 1 and 2 the record lay in the attributes, and JSON had no types. Layout 1 had no ``datasets``: each column
lay in a dataset of its own name.
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
from ..foundation.errors import ArchiveError
from ..motion import Entry, History, Motion
from ..record import Component, Earthquake, Finding, Record, Source, Station
from ..result import Result
from ..settings import Settings
from .gate import RESTORE, attribute, texts
from .typed import from_json, rebuilt, to_json
from .writing import Writer

__all__ = [
    "LAYOUT_VERSION",
    "about",
    "check_layout",
    "raw_sha256",
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
LAYOUT_VERSION = 3

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
    "steady_from": ("lowest frequency at which the signal is clear of other baselines, 0 where none matter", "Hz"),
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

_RENAMED_SHIFT = {"passing": "transient", "lasting": "transient_span"}
"""Fields of a baseline shift that files of layout 2 hold under another name."""

_MOTIONS = ("acceleration", "velocity", "displacement")
_SPECTRA_AXES = ("component", "damping", "period")
_TEXT_COLUMNS = ("component", "quantity", "measure", "unit", "source")
_NUMBER_COLUMNS = ("value", "time", "band_low", "band_high", *_NUMBERS)
_COLUMNS = {"peaks": ("component", "quantity", "value", "unit"), "measures": ("component", "measure", "value", "unit")}
"""Columns that a table cannot do without."""

_PLACED = {
    "record", "settings", "motion", "usable_band", "peaks", "spectra", "measures", "findings", "history", "version",
    "cautions",
}  # fmt: skip
"""Fields of a result that have a place of their own; the others are choices."""


def write(result: Result) -> bytes:
    """Return `result` as the bytes of an HDF5 file.

    Raises
    ------
    ArchiveError
        The spectra are not a full grid of component, damping and period, the motions do not share one time base, or a
        text cannot be stored in HDF5.
    """
    try:
        with Writer() as file:
            _write_attributes(file, result)
            _write_raw(file.group("raw"), result.record)
            _write_motion(file.group("motion"), result.motion)
            _write_spectra(file.group("spectra"), result.spectra)
            _write_table(file.group("peaks"), result.peaks)
            _write_table(file.group("measures"), result.measures)
            _write_bands(file.group("usable_band"), result.usable_band)
            file.text("settings", result.settings.to_toml(), "settings of the processing, TOML")
            file.text("about", to_json(about(result.record)), "the record but its samples, JSON")
            choices = {
                item.name: getattr(result, item.name) for item in dataclasses.fields(result) if item.name not in _PLACED
            }
            file.text("choices", to_json(choices), "windows, baselines and other choices, JSON")
            history = {
                "record": tuple(result.history),
                "motion": {name: tuple(motion.history) for name, motion in result.motion.items()},
            }
            file.text("history", to_json(history), "every step of the processing with its numbers, JSON")
            findings = {"result": result.findings, "record": result.record.findings}
            file.text("findings", to_json(findings), "what the checks say of the record, JSON")
            return file.content()
    except ArchiveError as error:
        raise ArchiveError(error.what, source=result.record.id, remedy=error.remedy) from error
    except (ValueError, TypeError) as error:
        raise ArchiveError(
            f"cannot be stored: {error}",
            source=result.record.id,
            remedy="Look for NUL characters in its texts, or objects other than text and numbers in its tables",
        ) from error


def about(record: Record) -> dict[str, Any]:
    """Return all that is known of a record but its samples and findings, by field."""
    own = {
        item.name: getattr(record, item.name)
        for item in dataclasses.fields(record)
        if item.name not in ("components", "findings")
    }
    components = tuple(
        {item.name: getattr(one, item.name) for item in dataclasses.fields(one) if item.name != "samples"}
        for one in record
    )
    return own | {"components": components}


def read(file: h5py.File) -> Result:
    """Rebuild the result that `write` stored.

    Raises
    ------
    ArchiveError
        The file is of another layout, or something in it is missing, wrong or cannot be read.
    """
    version = check_layout(file)
    if version < 3:
        stored = json.loads(_read_text(file, "history"))
        histories = {name: _old_history(entries) for name, entries in stored["motion"].items()}
        history, record, choices = _old_history(stored["record"]), _old_record(file), _old_choices(file)
    else:
        typed = from_json(_read_text(file, "history"), dict[str, Any])
        histories = {name: _history(entries) for name, entries in typed["motion"].items()}
        history, record = _history(typed["record"]), _read_record(file)
        choices = from_json(_read_text(file, "choices"), dict[str, Any])
    values = {
        "record": record,
        "settings": read_settings(file),
        "motion": _read_motion(_get(file, "motion"), histories),
        "usable_band": read_bands(file),
        "peaks": read_table(file, "peaks"),
        "spectra": _read_spectra(file),
        "measures": read_table(file, "measures"),
        "findings": read_findings(file),
        "history": history,
        "version": _plain(_attribute(file, "software_version")),
        "cautions": tuple(_texts(_attribute(file, "cautions"))),
    }
    if odd := set(values) & set(choices):
        raise ArchiveError(f"{', '.join(sorted(odd))} stand in two places", remedy=RESTORE)
    result: Result = rebuilt(Result, values | choices)
    if version >= 3:
        _check_attributes(file, result)
    return result


def raw_sha256(file: h5py.File) -> str:
    """Return the hash of the raw samples that the file claims."""
    return str(_plain(_attribute(file, "raw_sha256")))


def read_settings(file: h5py.File) -> Settings:
    """Read the settings a record was processed with; those of earlier layouts by their present names."""
    stored = tomllib.loads(_read_text(file, "settings"))
    for (section, before), now in _RENAMED_SETTINGS.items():
        if before in stored.get(section, {}):
            stored[section][now] = stored[section].pop(before)
    return Settings.from_dict(stored)


def check_layout(file: h5py.File) -> int:
    """Return the layout of a file; refuse one of another making, or of a layout newer than this software.

    Raises
    ------
    ArchiveError
    """
    if _plain(attribute(file, "layout")) != LAYOUT:
        raise ArchiveError(
            "is HDF5, but not a record of an archive", remedy="Move it elsewhere: an archive holds only its own files"
        )
    version = int(_attribute(file, "layout_version"))
    if version > LAYOUT_VERSION:
        raise ArchiveError(
            f"has layout {version}, this version of strongmotion reads up to {LAYOUT_VERSION}",
            remedy="Read it with a newer strongmotion",
        )
    return version


# What belongs to the whole file


def _attributes(result: Result) -> dict[str, Any]:
    """Return the attributes of the file: what readers without this library show first."""
    record = result.record
    attributes: dict[str, Any] = {
        "title": f"Processed accelerogram {record.id}",
        "Conventions": "CF-1.11",
        "layout": LAYOUT,
        "layout_version": LAYOUT_VERSION,
        "software_version": result.version,
        "cautions": list(result.cautions),
        "record": record.id,
        "components": list(record.names),
    }
    if record.start is not None:
        attributes["start"] = str(record.start)
    parts = (("station", record.station), ("source", record.source), ("earthquake", record.earthquake))
    for prefix, part in parts:
        for item in dataclasses.fields(part) if part is not None else ():
            value = getattr(part, item.name)
            if isinstance(value, str | bool | int | float):
                attributes[_field_name(prefix, item.name)] = value
    attributes["raw_sha256"] = record.raw_sha256
    return attributes


def _write_attributes(file: Writer, result: Result) -> None:
    for name, value in _attributes(result).items():
        file.attribute(name, value)


def _check_attributes(file: h5py.File, result: Result) -> None:
    """Refuse a file whose attributes say something else than it holds."""
    for name, value in _attributes(result).items():
        if name in ("layout_version", "title"):
            continue
        if not value and attribute(file, name) is None:
            continue  # a field that came later, at its default
        found = _attribute(file, name)
        held = list(_texts(found)) if isinstance(value, list) else _plain(found)
        if held != value and not (value != value and held != held):
            raise ArchiveError(f"attribute {name} is not what the file holds", remedy=RESTORE)


def _field_name(prefix: str, field: str) -> str:
    unit = {
        "latitude": "_degrees_north", "longitude": "_degrees_east", "elevation": "_m", "depth": "_m", "vs30": "_m_s",
        "sensor_depth": "_m",
    }.get(field, "")  # fmt: skip
    return f"{prefix}_{field}{unit}"


def _old_part(file: h5py.File, prefix: str, kind: type) -> Any:
    """Read a station, source or earthquake of layout 1 or 2 from the attributes."""
    values = {}
    for item in dataclasses.fields(kind):
        for name in (_field_name(prefix, item.name), f"{prefix}_{item.name}"):  # some had no unit in their names
            stored = attribute(file, name)
            if stored is not None:
                values[item.name] = _plain(stored)
                break
    return rebuilt(kind, values)


# Raw samples


def _write_raw(group: Writer, record: Record) -> None:
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
                dataset.attribute(name, value)


def _read_record(file: h5py.File) -> Record:
    about = from_json(_read_text(file, "about"), dict[str, Any])
    components = []
    for its in about.pop("components", ()):
        name = its.get("name") if isinstance(its, dict) else None
        if not isinstance(name, str) or "/" in name:
            raise ArchiveError("/about lists a component without a name", remedy=RESTORE)
        components.append(rebuilt(Component, its | {"samples": _array(file, f"raw/{name}")}))
    about |= {"components": tuple(components), "findings": read_findings(file, "record")}
    record: Record = rebuilt(Record, about)
    if record.raw_sha256 != _plain(_attribute(file, "raw_sha256")):
        raise ArchiveError("the raw samples are not those that were stored", remedy=RESTORE)
    return record


def _old_record(file: h5py.File) -> Record:
    components = []
    for name in _texts(_attribute(file, "components")):
        dataset = _get(file, f"raw/{name}")

        def of(field: str, dataset: h5py.Dataset = dataset) -> Any:
            return _plain(attribute(dataset, field))

        start = of("start")
        its = {
            "name": name,
            "samples": _array(file, f"raw/{name}"),
            "dt": of("dt_s"),
            "unit": _FROM_UDUNITS[of("units")],
            "sensitivity": of("sensitivity_counts_per_m_s2"),
            "start": None if start is None else np.datetime64(start, "ns"),
            "azimuth": of("azimuth_degrees"),
            "dip": of("dip_degrees"),
            "channel": of("channel"),
        }
        components.append(rebuilt(Component, its))
    record = Record(
        tuple(components),
        _old_part(file, "station", Station),
        _old_part(file, "source", Source),
        read_findings(file, "record"),
        _old_part(file, "earthquake", Earthquake) if attribute(file, "earthquake_id") is not None else None,
    )
    if record.raw_sha256 != _plain(_attribute(file, "raw_sha256")):
        raise ArchiveError("the raw samples are not those that were stored", remedy="Read the source file again")
    return record


# Motion


def _write_motion(group: Writer, motions: dict[str, Motion]) -> None:
    bases = {(motion.dt, motion.lead, motion.trail, len(motion)) for motion in motions.values()}
    if len(bases) != 1 or any(name != motion.component for name, motion in motions.items()):
        raise ArchiveError("the components of motion do not share one time base, or go by two names")
    dt, lead, trail, _ = bases.pop()
    group.attribute("components", list(motions))
    group.attribute("dt_s", dt)
    group.attribute("lead_samples", lead)
    group.attribute("trail_samples", trail)
    time = _write_numbers(group, "time", next(iter(motions.values())).time)
    time.make_scale("time")
    for name, motion in motions.items():
        for quantity in _MOTIONS:
            array = getattr(motion, quantity)
            if array is None:
                raise ArchiveError(f"component {name} has no {quantity}", remedy="Integrate the motion first")
            long_name, unit = _NUMBERS[quantity]
            _write_numbers(group, f"{quantity}_{name}", array, [time], (f"{long_name}, component {name}", unit))


def _read_motion(group: h5py.Group, histories: dict[str, History]) -> dict[str, Motion]:
    dt, lead, trail = (_plain(_attribute(group, name)) for name in ("dt_s", "lead_samples", "trail_samples"))
    motions = {}
    for name in _texts(_attribute(group, "components")):
        arrays = [_array(group, f"{quantity}_{name}") for quantity in _MOTIONS]
        if any(array.dtype != np.float64 for array in arrays):
            raise ArchiveError(f"the motion of {name} is not of float64", remedy=RESTORE)
        acceleration, velocity, displacement = arrays
        values = {
            "component": name, "acceleration": acceleration, "dt": dt, "velocity": velocity,
            "displacement": displacement, "lead": lead, "trail": trail, "history": histories[name],
        }  # fmt: skip
        motions[name] = rebuilt(Motion, values)
    return motions


def _history(entries: Any) -> History:
    result: History = rebuilt(History, {"entries": entries})
    return result


def _old_history(entries: Iterable[dict[str, Any]]) -> History:
    return History(tuple(rebuilt(Entry, entry) for entry in entries))


# Spectra: a long table in memory, a labelled grid on disk


def _write_spectra(group: Writer, frame: pd.DataFrame) -> None:
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
    scales = {}
    for name, values in zip(_SPECTRA_AXES, axes, strict=True):
        scales[name] = _write_column(group, name, values)
        scales[name].make_scale(name)
    _write_columns(group, frame, shape, list(scales.values()), scales)


def _run(values: NDArray[Any]) -> int:
    """Return how many values at the start are alike."""
    changes = np.flatnonzero(values != values[:1])
    return int(changes[0]) if changes.size else len(values)


def _read_spectra(file: h5py.File) -> pd.DataFrame:
    group = _get(file, "spectra")
    axes = _spectra_axes(group)
    grid = dict(zip(_SPECTRA_AXES, np.meshgrid(*axes, indexing="ij"), strict=True))
    return _frame(group, grid, tuple(len(axis) for axis in axes))


def _spectra_axes(group: h5py.Group) -> list[NDArray[Any]]:
    axes = [_read_column(group, name) for name in _SPECTRA_AXES]
    if any(axis.ndim != 1 for axis in axes) or axes[0].dtype != object or any(a.dtype.kind != "f" for a in axes[1:]):
        raise ArchiveError("/spectra has no axes of component, damping and period", remedy=RESTORE)
    return axes


def read_ordinates(file: h5py.File, component: str, damping: float, periods: Collection[float]) -> dict[float, float]:
    """Read pseudo-spectral accelerations, m/s², at those of `periods` (s) that the spectra hold."""
    group = _get(file, "spectra")
    axes = _spectra_axes(group)
    row, column = np.flatnonzero(axes[0] == component), np.flatnonzero(np.isclose(axes[1], damping))
    if not (row.size and column.size):
        return {}
    psa = _values(group, "psa")[row[0], column[0]]
    found = {period: np.flatnonzero(np.isclose(axes[2], period)) for period in periods}
    return {period: float(psa[at[0]]) for period, at in found.items() if at.size}


# Tables


def _write_table(group: Writer, frame: pd.DataFrame) -> None:
    row = _write_numbers(group, "row", np.arange(len(frame)))
    row.make_scale("row")
    _write_columns(group, frame, (len(frame),), [row], {})


def read_table(file: h5py.File, name: str) -> pd.DataFrame:
    """Read the table ``"peaks"`` or ``"measures"``."""
    frame = _frame(_get(file, name), {}, None)
    if lacking := [column for column in _COLUMNS[name] if column not in frame]:
        raise ArchiveError(f"/{name} has no {', '.join(lacking)}", remedy=RESTORE)
    return frame


def read_columns(file: h5py.File, name: str, *columns: str) -> Iterator[tuple[Any, ...]]:
    """Yield the rows of some columns of a table: quicker than `read_table` by far."""
    group = _get(file, name)
    return zip(*(_checked_column(group, column, column).tolist() for column in columns), strict=True)


def _write_columns(
    group: Writer, frame: pd.DataFrame, shape: tuple[int, ...], scales: Sequence[Writer], axes: dict[str, Writer]
) -> None:
    """Write every column that is not an axis, and list all of them."""
    units = frame.attrs.get("units", {})
    names, datasets = list(frame.columns), []
    for number, name in enumerate(names):
        if not isinstance(name, str) or names.count(name) > 1:
            raise TypeError(f"columns need each a text of its own as name, found {name!r}")
        if name in axes:
            stored, dataset = name, axes[name]
        else:
            plain = re.fullmatch(r"[A-Za-z_][A-Za-z0-9_]*", name) and name not in group and len(name) < 200
            stored = name if plain else f"column {number}"
            unit = _UDUNITS.get(units[name], units[name]) if name in units else None
            dataset = _write_column(group, stored, frame[name].to_numpy().reshape(shape), scales, name, unit)
            if name in _IN_UNIT_OF_ROW and not axes:
                dataset.attribute("comment", "the unit of each row stands in the dataset unit")
        datasets.append(stored)
        if name in units:
            dataset.attribute("unit", units[name])
    group.attribute("columns", names)
    group.attribute("datasets", datasets)


def _frame(group: h5py.Group, axes: dict[str, NDArray[Any]], shape: tuple[int, ...] | None) -> pd.DataFrame:
    names = list(_texts(_attribute(group, "columns")))
    stored = attribute(group, "datasets")
    datasets = names if stored is None else list(_texts(stored))  # layout 1 has none
    columns, units = {}, {}
    for name, dataset in zip(names, datasets, strict=True):
        if "/" in dataset:
            raise ArchiveError(f"{group.name} lists a column elsewhere", remedy=RESTORE)
        values = axes[name] if name in axes else _checked_column(group, dataset, name)
        shape = shape or values.shape
        if values.shape != shape or (not axes and values.ndim != 1):
            raise ArchiveError(f"{group.name}/{dataset} has shape {values.shape}, not {shape}", remedy=RESTORE)
        flat = values.ravel()
        columns[name] = text_column(flat) if flat.dtype == object else flat
        unit = _plain(attribute(_get(group, dataset), "unit"))
        if unit is not None:
            units[name] = unit
    frame = pd.DataFrame(columns)
    if units:
        frame.attrs["units"] = units
    return frame


def _checked_column(group: h5py.Group, dataset: str, name: str) -> NDArray[Any]:
    values = _read_column(group, dataset)
    text = values.dtype == object
    if (text and name in _NUMBER_COLUMNS) or (not text and name in _TEXT_COLUMNS):
        raise ArchiveError(f"{group.name}/{dataset} holds {'texts' if text else 'numbers'}", remedy=RESTORE)
    return values


def text_column(texts: NDArray[Any]) -> pd.Series:
    """Return a column of the type that pandas itself gives to texts, missing ones among them."""
    return pd.Series(texts.astype(object), dtype=pd.Series([""]).dtype)


def _write_bands(group: Writer, bands: dict[str, Band]) -> None:
    names = _write_column(group, "component", np.array(list(bands), dtype=object))
    names.make_scale("component")
    for field in dataclasses.fields(Band):
        kind = np.uint8 if field.name == "usable" else np.float64
        values: NDArray[Any] = np.array([getattr(band, field.name) for band in bands.values()], dtype=kind)
        _write_numbers(group, field.name, values, [names])


def read_bands(file: h5py.File) -> dict[str, Band]:
    """Read the usable bands by component."""
    group = _get(file, "usable_band")
    names = [field.name for field in dataclasses.fields(Band) if field.name in group]
    columns = [_checked_column(group, name, name).tolist() for name in names]
    if "usable" in names:
        columns[names.index("usable")] = [bool(value) for value in columns[names.index("usable")]]
    components = _checked_column(group, "component", "component")
    bands = zip(components, *columns, strict=True)
    return {component: rebuilt(Band, dict(zip(names, values, strict=True))) for component, *values in bands}


def read_findings(file: h5py.File, of: str = "result") -> tuple[Finding, ...]:
    """Read the findings of the ``"result"``, or those the ``"record"`` came with."""
    text = _read_text(file, "findings")
    if _plain(_attribute(file, "layout_version")) >= 3:
        typed: dict[str, tuple[Finding, ...]] = from_json(text, dict[str, tuple[Finding, ...]])
        return typed[of]
    return tuple(_old_finding(its) for its in json.loads(text)[of])


def _old_finding(its: dict[str, Any]) -> Finding:
    values = {"place" if key == "where" else key: its[key] for key in its}
    if values.get("span") is not None:
        values["span"] = tuple(values["span"])
    finding: Finding = rebuilt(Finding, values)
    return finding


def _old_choices(file: h5py.File) -> dict[str, Any]:
    """Read what was chosen, of layout 1 or 2; the earliest files know neither windows nor baselines."""
    stored = json.loads(_read_text(file, "choices")) if "choices" in file else {"windows": {}, "baseline": {}}
    baseline = {}
    for name, chosen in stored["baseline"].items():
        shift, displacement = chosen["shift"], chosen["displacement"]
        if shift is not None:
            now = {_RENAMED_SHIFT.get(name, name): its for name, its in shift.items()}
            shift = rebuilt(Shift, _tupled(now))
        if displacement is not None:
            displacement = rebuilt(PermanentDisplacement, displacement)
        baseline[name] = Baseline(chosen["method"], shift, displacement)
    return {"windows": rebuilt(Windows, {"onset": 0, "noise": 0} | _tupled(stored["windows"])), "baseline": baseline}


def _tupled(values: dict[str, Any]) -> dict[str, Any]:
    return {name: tuple(its) if isinstance(its, list) else its for name, its in values.items()}


# One dataset


def _write_numbers(
    group: Writer,
    name: str,
    values: NDArray[Any],
    scales: Sequence[Writer] = (),
    described: tuple[str, str] | None = None,
) -> Writer:
    dataset = group.numbers(name, values)
    for axis, scale in enumerate(scales):
        dataset.attach_scale(axis, scale)
    long_name, units = described or _NUMBERS.get(name, (name.replace("_", " "), ""))
    dataset.attribute("long_name", long_name)
    if units:
        dataset.attribute("units", units)
    return dataset


def _write_column(
    group: Writer,
    name: str,
    values: NDArray[Any],
    scales: Sequence[Writer] = (),
    called: str | None = None,
    unit: str | None = None,
) -> Writer:
    described = None if called in (None, name) else (called or name, unit or "")
    if unit is not None and described is None:
        described = (_NUMBERS.get(name, (name.replace("_", " "), ""))[0], unit)
    if values.dtype.kind == "b":
        dataset = _write_numbers(group, name, values.astype(np.int8), scales, described)
        dataset.attribute("dtype", "bool")  # netCDF has no booleans; readers of it know them by this attribute
        return dataset
    if values.dtype.kind in "iuf":
        return _write_numbers(group, name, values, scales, described)
    texts, missing = values.astype(object).ravel(), []
    for at, value in enumerate(texts):
        if value is None or value is pd.NA or (isinstance(value, float) and math.isnan(value)):
            texts[at] = ""
            missing.append(at)
        elif not isinstance(value, str):
            raise TypeError(f"column {called or name} holds {value!r} among its texts")
    dataset = group.texts(name, texts.reshape(values.shape))
    if missing:
        dataset.attribute("missing", np.array(missing))  # places from 0, in the order of storage
    for axis, scale in enumerate(scales):
        dataset.attach_scale(axis, scale)
    dataset.attribute("long_name", described[0] if described else name.replace("_", " "))
    return dataset


def _read_column(group: h5py.Group, name: str) -> NDArray[Any]:
    dataset = _get(group, name)
    values = _data(dataset)
    if not isinstance(values, np.ndarray):
        raise ArchiveError(f"{group.name}/{name} is no column", remedy=RESTORE)
    missing = attribute(dataset, "missing")
    if missing is not None:
        values.ravel()[missing] = None
    return values.astype(bool) if _plain(attribute(dataset, "dtype")) == "bool" else values


def _read_text(file: h5py.File, name: str) -> str:
    text = _values(file, name)
    if not isinstance(text, str):
        raise ArchiveError(f"/{name} is no text", remedy=RESTORE)
    return text


def _array(group: h5py.Group, name: str) -> NDArray[Any]:
    values = _values(group, name)
    if not isinstance(values, np.ndarray) or values.ndim != 1 or values.dtype.kind not in "iuf":
        raise ArchiveError(f"{group.name.rstrip('/')}/{name} is not a row of numbers", remedy=RESTORE)
    return values


def _values(group: h5py.Group, name: str) -> Any:
    return _data(_get(group, name))


def _data(dataset: Any) -> Any:
    if not isinstance(dataset, h5py.Dataset):
        raise ArchiveError(f"{dataset.name} is no dataset", remedy=RESTORE)
    try:
        return texts(dataset) if h5py.check_string_dtype(dataset.dtype) else dataset[()]
    except (OSError, UnicodeDecodeError) as error:
        raise ArchiveError(f"{dataset.name} is damaged", remedy=RESTORE) from error


def _get(group: h5py.Group, name: str) -> Any:
    if not isinstance(group, h5py.Group):
        raise ArchiveError(f"{group.name} is no group", remedy=RESTORE)
    if name not in group:
        raise ArchiveError(f"{group.name.rstrip('/')}/{name} is missing", remedy=RESTORE)
    return group[name]


def _attribute(item: Any, name: str) -> Any:
    value = attribute(item, name)
    if value is None:
        raise ArchiveError(f"attribute {name} of {item.name} is missing", remedy=RESTORE)
    return value


def _texts(stored: Any) -> Iterator[str]:
    """Yield the texts of an attribute, of fixed or variable length."""
    if np.ndim(stored) != 1:
        raise ArchiveError("an attribute is not a list of texts", remedy=RESTORE)
    for one in stored:
        text = one.decode() if isinstance(one, bytes) else one
        if not isinstance(text, str):
            raise ArchiveError("an attribute is not a list of texts", remedy=RESTORE)
        yield text


def _plain(value: Any) -> Any:
    if isinstance(value, bytes):  # NumPy's bytes among them
        return value.decode()
    return value.item() if isinstance(value, np.generic) else value
