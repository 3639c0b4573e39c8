"""The tables of a page: what is known of a record, its headline numbers, measures and spectral ordinates."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from ..foundation.units import in_unit, label
from .definitions import key_of

if TYPE_CHECKING:
    from ..motion import Entry
    from ..record import Finding, Record, Touched
    from ..result import Result

__all__ = [
    "DAGGER",
    "SEVERITIES",
    "Cell",
    "at_least",
    "band_words",
    "doubts_of",
    "facts",
    "headline_table",
    "history_values",
    "measures_table",
    "most_severe_first",
    "number",
    "row_of_peak",
    "spectra_table",
]  # fmt: skip

PERIODS = (0.2, 1.0, 3.0)
"""Periods, s, of the spectral ordinates among the headline numbers."""

HEADLINE_MEASURES = ("Arias intensity", "cumulative absolute velocity", "significant duration 5-95 %")

SEVERITIES = {
    "unfit": "Unfit: do not use the results it touches",
    "doubt": "In doubt: some results may be wrong",
    "note": "Worth knowing",
}


DAGGER = "†: outside the usable band, or from an unfit component; ‡: in doubt, see the findings; ≥: at least this large"


@dataclass(frozen=True)
class Cell:
    """A number as printed, and its band or nothing.

    Whether it may be used: in the usable band, of a fit component; and whether a finding says that it may be wrong.
    """

    value: str
    band: str = ""
    usable: bool = True
    doubt: bool = False

    @property
    def mark(self) -> str:
        """What stands behind it: that it is not usable, or in doubt."""
        return " †" if not self.usable else " ‡" if self.doubt else ""


def number(value: float, digits: int = 3) -> str:
    """Return a number as a page prints it, with all its significant digits.

    Examples
    --------
    >>> number(0.123456), number(0.3), number(1234.5), number(float("nan")), number(2.5e-7)
    ('0.123', '0.300', '1234', 'none', '2.50e-07')
    """
    if not math.isfinite(value):
        return "none" if math.isnan(value) else "no limit"
    size = abs(value)
    if size == 0:
        return "0"
    if size < 1e-4 or size >= 1e7:
        return f"{value:.{digits - 1}e}"
    return f"{value:.0f}" if size >= 10.0**digits - 0.5 else f"{value:#.{digits}g}".rstrip(".")


def row_of_peak(result: Result, component: str, quantity: str) -> int | None:
    """Return the row of the peaks that holds one of a component; None if there is none."""
    peaks = result.peaks
    rows = np.flatnonzero((peaks["component"].to_numpy() == component) & (peaks["quantity"].to_numpy() == quantity))
    return int(rows[0]) if rows.size else None


def at_least(result: Result, component: str, quantity: str) -> str:
    """Return the mark that stands before a peak that is a lower bound; nothing before any other number."""
    row = row_of_peak(result, component, quantity)
    if row is None or "bound" not in result.peaks:
        return ""
    return "≥ " if result.peaks["bound"].iat[row] else ""


def doubts_of(result: Result, name: str) -> list[Touched]:
    """Return what doubts speak of among the numbers of a component or combination."""
    combined = name not in result.motion
    parts = {"", "H1", "H2"} if combined else {"", name}
    if name in ("all", "resultant"):
        parts |= set(result.motion)
    return [
        one.touches
        for one in result.findings
        if one.severity == "doubt" and one.component in parts and (combined or one.touches.alone)
    ]


def facts(record: Record) -> list[tuple[str, str]]:
    """Return what is known of the record, each with its name."""
    station = record.station
    place = []
    if station.latitude is not None:
        place.append(f"{abs(station.latitude):g}° {'south' if station.latitude < 0 else 'north'}")
    if station.longitude is not None:
        place.append(f"{abs(station.longitude):g}° {'west' if station.longitude < 0 else 'east'}")
    if station.elevation is not None:
        place.append(f"{station.elevation:g} m high")
    facts = (
        ("Record", record.id),
        ("Station", ", ".join(part for part in (station.network, station.code, station.location) if part)),
        ("Place", ", ".join(place)),
        ("Instrument", station.instrument),
        ("First sample", "" if record.start is None else f"{np.datetime_as_string(record.start, 'ms')} UTC"),
        ("Samples", f"{record.samples}, every {record.dt:g} s: {record.duration:g} s"),
        *(
            pair
            for source in (record.source, *record.joined)
            for of in (f" of {', '.join(source.components)}" if source.components else "",)
            for pair in ((f"File{of}", source.file), (f"SHA-256 of the file{of}", source.sha256))
        ),
    )
    return [(what, value or "not known") for what, value in facts]


def history_values(entry: Entry, unit: str) -> list[tuple[str, str]]:
    """Return the numbers of an entry of the history as printed, each with its name; accelerations in `unit`.

    Examples
    --------
    >>> from strongmotion.motion import Entry
    >>> history_values(Entry("baseline shift", "H1", "Removed", {"shift_m_s2": 0.0041, "width_s": 3.0}), "cm/s2")
    [('shift_cm_s2', '0.41'), ('width_s', '3')]
    """
    printed = []
    for key, value in entry.values.items():
        if key.endswith("_m_s2") and isinstance(value, float):
            key, value = f"{key.removesuffix('m_s2')}{unit.replace('/', '_')}", value * in_unit(unit)
        printed.append((key, _value(value)))
    return printed


def _value(value: object) -> str:
    if value is None:
        return "none"
    if isinstance(value, float):
        return f"{value:.5g}" if math.isfinite(value) else number(value)
    return str(value)


def most_severe_first(finding: Finding) -> int:
    """Sort key: most severe finding first."""
    return list(SEVERITIES).index(finding.severity)


def headline_table(result: Result, unit: str) -> tuple[list[str], list[tuple[str, str, list[Cell]]]]:
    """Return the columns of the headline table, and its rows: name, key of the definition, cells."""
    peaks, spectra, measures = result.peaks, result.spectra, result.measures
    have = set(peaks["component"]) | set(spectra["component"])
    columns = [*result.motion, *(name for name in ("RotD50", "RotD100") if name in have)]
    unfit = _unfit(result, columns)
    doubts = {name: doubts_of(result, name) for name in columns}
    usable = {(row.component, row.measure): bool(row.usable) for row in measures.itertuples()}
    rows: list[tuple[str, str, list[Cell]]] = []
    for quantity in dict.fromkeys(peaks["quantity"]):
        of = peaks[peaks["quantity"] == quantity]
        kind = str(of["unit"].iloc[0])
        factor = in_unit(unit) if kind == "m/s2" else 1.0
        found = _by_component(of)
        for name, row in found.items():  # a peak of two components may be used where that of each may
            parts = [name] if name in result.motion else ["H1", "H2"]
            row["usable"] = all(usable.get((part, quantity), True) for part in parts)
        cells = [
            _cell(
                found.get(name), factor, unfit=name in unfit, doubt=any(quantity in its.peaks for its in doubts[name])
            )
            for name in columns
        ]
        rows.append((f"{quantity}, {label(unit if kind == 'm/s2' else kind)}", key_of(str(quantity)), cells))
    damping = float(spectra["damping"].iloc[0]) if len(spectra) else 0.05
    for period in PERIODS:
        at = spectra[np.isclose(spectra["period"], period) & (spectra["damping"] == damping)]
        if len(at):
            found = _by_component(at)
            cells = [
                _cell(
                    found.get(name), in_unit(unit), "psa", unfit=name in unfit,
                    doubt=any(its.holds(period) for its in doubts[name]),
                )
                for name in columns
            ]  # fmt: skip
            rows.append((f"PSA at {period:g} s, {100 * damping:g} %, {label(unit)}", "psa", cells))
    for measure in HEADLINE_MEASURES:
        of = measures[measures["measure"] == measure]
        if len(of):
            found = _by_component(of)
            cells = [
                _cell(found.get(name), 1.0, unfit=name in unfit, doubt=any(its.everything for its in doubts[name]))
                for name in columns
            ]
            rows.append(
                (f"{measure[0].upper()}{measure[1:]}, {label(str(of['unit'].iloc[0]))}", key_of(measure), cells)
            )
    return columns, rows


def measures_table(result: Result, unit: str) -> tuple[list[str], list[tuple[str, str, list[Cell], str]]]:
    """Return the columns of the table of measures, and its rows: name, key of the definition, cells, source."""
    table = result.measures
    columns = [str(name) for name in dict.fromkeys(table["component"])]
    unfit = _unfit(result, columns)
    doubts = {name: doubts_of(result, name) for name in columns}
    rows = []
    measured: dict[str, dict[str, dict]] = {}
    bounds = {(row["component"], row["quantity"]): row.get("bound") for row in result.peaks.to_dict("records")}
    for row in table.to_dict("records"):
        row["bound"] = bounds.get((row["component"], row["measure"]))
        measured.setdefault(str(row["measure"]), {})[str(row["component"])] = row
    for measure, by_component in measured.items():
        first = next(iter(by_component.values()))
        its_unit = unit if first["unit"] == "m/s2" else str(first["unit"])
        factor = in_unit(unit) if first["unit"] == "m/s2" else 1.0
        cells = [
            _cell(
                by_component.get(name), factor, unfit=name in unfit,
                doubt=any(measure in its.peaks or its.everything for its in doubts[name]),
            )
            for name in columns
        ]  # fmt: skip
        title = measure if its_unit in ("", "1") else f"{measure}, {label(its_unit)}"
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
    doubts = {name: doubts_of(result, str(name)) for name in values.columns}
    usable = table.pivot_table("usable", "period", "component", sort=False, aggfunc="first")
    rows = [
        (
            f"{period:g}",
            [
                Cell(number(v), usable=bool(u), doubt=any(its.holds(float(period)) for its in doubts[name]))
                for name, v, u in zip(values.columns, row, usable.loc[period], strict=True)
            ],
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


def _unfit(result: Result, columns: list[str]) -> set[str]:
    """Return the columns that an unfit component has a share in."""
    unfit = {finding.component for finding in result.findings if finding.severity == "unfit"}
    if "" in unfit:
        return set(columns)
    of_horizontals = set() if unfit <= {"V"} else {name for name in columns if name not in result.motion}
    return unfit | of_horizontals | ({"all", "resultant"} if unfit else set())


def _cell(
    row: dict | None, factor: float, value: str = "value", unfit: bool = False, doubt: bool = False
) -> Cell:  # fmt: skip
    """Print the number of a row, if there is one; that of an unfit component without a band, which would mislead."""
    if row is None:
        return Cell("–")
    low, high = ("band_low", "band_high") if value == "value" else (f"{value}_low", f"{value}_high")
    ends = [float(row.get(end, math.nan)) * factor for end in (low, high)]
    central = float(row[value]) * factor
    band = "" if unfit or not all(math.isfinite(end) for end in ends) else band_words(central, *ends)
    mark = "≥ " if row.get("bound") else ""
    return Cell(f"{mark}{number(central)}", band, bool(row.get("usable", True)) and not unfit, doubt)


def band_words(value: float, low: float, high: float) -> str:
    """Print a band: from low to high, or its half in % where the two print alike.

    Examples
    --------
    >>> band_words(0.5, 0.45, 0.55), band_words(0.5, 0.4999, 0.5001), band_words(0.5, 0.5, 0.5)
    ('0.450 to 0.550', '± 0.02 %', '± < 0.01 %')
    """
    if number(low) != number(high):
        return f"{number(low)} to {number(high)}"
    half = 50.0 * (high - low) / abs(value) if value else 0.0
    return f"± {half:.2f} %" if half >= 0.01 else "± < 0.01 %"
