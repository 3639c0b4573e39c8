"""The tables of a page: what is known of a record, its headline numbers, measures and spectral ordinates."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from ..units import in_unit, label
from .definitions import key_of

if TYPE_CHECKING:
    from ..record import Finding, Record
    from ..result import Result

__all__ = [
    "SEVERITIES", "Cell", "facts", "gravest_first", "headline_table", "measures_table", "number", "spectra_table",
]  # fmt: skip

PERIODS = (0.2, 1.0, 3.0)
"""Periods, s, of the spectral ordinates among the headline numbers."""

HEADLINE_MEASURES = ("Arias intensity", "cumulative absolute velocity", "significant duration 5-95 %")

SEVERITIES = {
    "unfit": "Unfit: do not use the results it touches",
    "doubt": "In doubt: some results may be wrong",
    "note": "Worth knowing",
}


@dataclass(frozen=True)
class Cell:
    """A number as printed, its band or nothing, and whether it lies in the usable band."""

    value: str
    band: str = ""
    usable: bool = True


def number(value: float, digits: int = 3) -> str:
    """Return a number as a page prints it.

    Examples
    --------
    >>> number(0.123456), number(1234.5), number(float("nan")), number(2.5e-7)
    ('0.123', '1234', 'none', '2.5e-07')
    """
    if not math.isfinite(value):
        return "none" if math.isnan(value) else "no limit"
    if value == 0 or 1e-4 <= abs(value) < 10.0**digits:
        return np.format_float_positional(value, precision=digits, fractional=False, trim="-")
    return f"{value:.0f}" if 10.0**digits <= abs(value) < 1e7 else f"{value:.{digits}g}"


def facts(record: Record) -> list[tuple[str, str]]:
    """Return what is known of the record, each with its name."""
    station = record.station
    place = [
        f"{value:g}{unit} {what}"
        for value, unit, what in (
            (station.latitude, "°", "north"), (station.longitude, "°", "east"), (station.elevation, " m", "high"),
        )
        if value is not None
    ]  # fmt: skip
    facts = (
        ("Record", record.id),
        ("Station", ", ".join(part for part in (station.network, station.code, station.location) if part)),
        ("Place", ", ".join(place)),
        ("Instrument", station.instrument),
        ("First sample", "" if record.start is None else f"{np.datetime_as_string(record.start, 'ms')} UTC"),
        ("Samples", f"{record.samples}, every {record.dt:g} s: {record.duration:g} s"),
        ("File", record.source.file),
        ("SHA-256 of the file", record.source.sha256),
    )
    return [(what, value or "not known") for what, value in facts]


def gravest_first(finding: Finding) -> int:
    """Return what findings are sorted by so that the gravest comes first."""
    return list(SEVERITIES).index(finding.severity)


def headline_table(result: Result, unit: str) -> tuple[list[str], list[tuple[str, str, list[Cell]]]]:
    """Return the columns of the headline table, and its rows: name, key of the definition, cells."""
    peaks, spectra, measures = result.peaks, result.spectra, result.measures
    have = set(peaks["component"]) | set(spectra["component"])
    columns = [*result.motion, *(name for name in ("RotD50", "RotD100") if name in have)]
    rows: list[tuple[str, str, list[Cell]]] = []
    for quantity in dict.fromkeys(peaks["quantity"]):
        of = peaks[peaks["quantity"] == quantity]
        kind = str(of["unit"].iloc[0])
        factor = in_unit(unit) if kind == "m/s2" else 1.0
        found = _by_component(of)
        cells = [_cell(found.get(name), factor) for name in columns]
        rows.append((f"{quantity}, {label(unit if kind == 'm/s2' else kind)}", key_of(str(quantity)), cells))
    damping = float(spectra["damping"].iloc[0]) if len(spectra) else 0.05
    for period in PERIODS:
        at = spectra[np.isclose(spectra["period"], period) & (spectra["damping"] == damping)]
        if len(at):
            found = _by_component(at)
            cells = [_cell(found.get(name), in_unit(unit), "psa") for name in columns]
            rows.append((f"PSA at {period:g} s, {100 * damping:g} %, {label(unit)}", "psa", cells))
    for measure in HEADLINE_MEASURES:
        of = measures[measures["measure"] == measure]
        if len(of):
            found = _by_component(of)
            cells = [_cell(found.get(name), 1.0) for name in columns]
            rows.append(
                (f"{measure[0].upper()}{measure[1:]}, {label(str(of['unit'].iloc[0]))}", key_of(measure), cells)
            )
    return columns, rows


def measures_table(result: Result) -> tuple[list[str], list[tuple[str, str, list[Cell], str]]]:
    """Return the columns of the table of measures, and its rows: name, key of the definition, cells, source."""
    table = result.measures
    columns = [str(name) for name in dict.fromkeys(table["component"])]
    rows = []
    measured: dict[str, dict[str, dict]] = {}
    for row in table.to_dict("records"):
        measured.setdefault(str(row["measure"]), {})[str(row["component"])] = row
    for measure, by_component in measured.items():
        first = next(iter(by_component.values()))
        cells = [_cell(by_component.get(name), 1.0) for name in columns]
        title = measure if first["unit"] in ("", "1") else f"{measure}, {label(str(first['unit']))}"
        rows.append((title, key_of(measure), cells, str(first["source"])))
    return columns, rows


def spectra_table(result: Result, unit: str) -> tuple[list[str], list[tuple[str, list[Cell]]], str]:
    """Return the columns of the table of PSA, its rows by period, and what it holds."""
    table = result.spectra
    if not len(table):
        return [], [], ""
    damping = float(table["damping"].iloc[0])
    table = table[table["damping"] == damping]
    values = table.pivot_table("psa", "period", "component", sort=False) * in_unit(unit)
    usable = table.pivot_table("usable", "period", "component", sort=False, aggfunc="first")
    rows = [
        (
            f"{period:g}",
            [Cell(number(v), usable=bool(u)) for v, u in zip(row, usable.loc[period], strict=True)],
        )
        for period, row in zip(values.index, values.to_numpy(), strict=True)
    ]
    return (
        [str(name) for name in values.columns],
        rows,
        f"PSA, {label(unit)}, at {100 * damping:g} % of critical damping",
    )


def _by_component(table: pd.DataFrame) -> dict[str, dict]:
    """Return the rows of a table by their component."""
    return {str(row["component"]): row for row in table.to_dict("records")}


def _cell(row: dict | None, factor: float, value: str = "value") -> Cell:
    """Print the number of a row, if there is one."""
    if row is None:
        return Cell("–")
    low, high = ("band_low", "band_high") if value == "value" else (f"{value}_low", f"{value}_high")
    ends = [float(row.get(end, math.nan)) * factor for end in (low, high)]
    band = f"{number(ends[0])} to {number(ends[1])}" if all(math.isfinite(end) for end in ends) else ""
    return Cell(number(float(row[value]) * factor), band, bool(row.get("usable", True)))
