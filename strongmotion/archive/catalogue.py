"""The catalogue: a row a record, rebuilt from the files at any time."""

from __future__ import annotations

import io
from collections.abc import Iterable
from pathlib import Path
from typing import Any

import h5py
import numpy as np
import pandas as pd

from ..cautions import CAUTION
from ..errors import ArchiveError
from ..result import GRAVITY
from ..units import acceleration_unit, in_unit
from . import layout
from .files import opened, write_whole

__all__ = ["catalogue_of", "write_catalogue"]

PERIODS = (0.2, 0.3, 1.0, 3.0)
"""Oscillator periods, s, of the spectral ordinates in a catalogue."""

DAMPING = 0.05
"""Their fraction of critical damping."""

_WHO = (
    "record", "station", "network", "location", "latitude_deg", "longitude_deg", "start", "source_file",
)  # fmt: skip
_KINDS = ("pga", "pgv", "pgd", "psa", "arias_intensity", "significant_duration_5_95")
_WHOLE = (
    "low_cut_hz", "high_cut_hz", "shortest_usable_period_s", "longest_usable_period_s", "worst_finding", "findings",
    "path",
)  # fmt: skip

_MEASURES = {"Arias intensity": "arias_intensity", "significant duration 5-95 %": "significant_duration_5_95"}


def catalogue_of(files: Iterable[Path], unit: str = "m/s2") -> pd.DataFrame:
    """Tabulate the files of an archive, a row a record.

    Parameters
    ----------
    files : iterable of Path
    unit : {"m/s2", "cm/s2", "g"}
        For accelerations.

    Returns
    -------
    pandas.DataFrame
        Who and where (``record, station, network, location, latitude_deg, longitude_deg, start, source_file``); peaks
        by component and RotD (``pga_H1_m_s2``); pseudo-spectral accelerations of RotD50 at 5 % damping
        (``psa_1s_RotD50_m_s2``); Arias intensity and significant duration by component; corner frequencies and usable
        periods, of the horizontal pair where there is one, else of the first component; findings; ``path``.
        Every column of a physical quantity ends in its unit. ``attrs["caution"]`` is the caution,
        ``attrs["problems"]`` lists the files that could not be read, which have no row.

    Notes
    -----
    To stay quick over many files only their small tables are read, so seals are not checked: `Archive.verify` does.
    """
    unit = acceleration_unit(unit)
    factor = in_unit(unit)
    rows, problems = [], []
    for path in files:
        try:
            with opened(path) as file:
                layout.check_layout(file)
                rows.append(_row(file, unit, factor) | {"path": str(path)})
        except ArchiveError as error:
            problems.append(str(ArchiveError(error.what, source=str(path), remedy=error.remedy)))
    # Records differ in components: the columns are those of any record, each kind together.
    seen = dict.fromkeys(name for row in rows for name in row)
    numbers = [name for kind in _KINDS for name in seen if name.startswith(f"{kind}_")]
    frame = pd.DataFrame(rows, columns=[*_WHO, *numbers, *_WHOLE])
    frame["start"] = pd.to_datetime(frame["start"], utc=True)
    frame.attrs = {"caution": CAUTION, "problems": problems}
    return frame


def _row(file: h5py.File, unit: str, factor: float) -> dict[str, Any]:
    text = file.attrs
    row: dict[str, Any] = {
        "record": text["record"],
        "station": text["station_code"],
        "network": text["station_network"],
        "location": text["station_location"],
        "latitude_deg": float(text.get("station_latitude_degrees_north", np.nan)),
        "longitude_deg": float(text.get("station_longitude_degrees_east", np.nan)),
        "start": text.get("start"),
        "source_file": text["source_file"],
    }
    for peak in layout.read_table(file, "peaks").itertuples():
        acceleration = peak.unit == "m/s2"
        component = peak.component.replace(" ", "_")
        name = f"{peak.quantity.lower()}_{component}_{_suffix(unit if acceleration else peak.unit)}"
        row[name] = peak.value * factor if acceleration else peak.value
    for period, value in layout.read_ordinates(file, "RotD50", DAMPING, PERIODS).items():
        row[f"psa_{period:g}s_RotD50_{_suffix(unit)}"] = value * factor
    for measure in layout.read_table(file, "measures").itertuples():
        if measure.measure in _MEASURES:
            row[f"{_MEASURES[measure.measure]}_{measure.component}_{_suffix(measure.unit)}"] = measure.value
    bands = layout.read_bands(file)
    band = bands.get("horizontal") or next(iter(bands.values()))
    severities = [finding.severity for finding in layout.read_findings(file)]
    return row | {
        "low_cut_hz": band.low_cut,
        "high_cut_hz": band.high_cut,
        "shortest_usable_period_s": band.shortest_period,
        "longest_usable_period_s": band.longest_period,
        "worst_finding": max(severities, key=GRAVITY.index, default=""),
        "findings": len(severities),
    }


def _suffix(unit: str) -> str:
    return unit.replace("/", "_")


def write_catalogue(frame: pd.DataFrame, csv: str | Path | None = None, parquet: str | Path | None = None) -> None:
    """Write a catalogue with its caution.

    Parameters
    ----------
    frame : pandas.DataFrame
        From `Archive.catalogue`.
    csv : str or Path, optional
        Written with the caution as first line, ``# ...``; read it back with ``pandas.read_csv(csv, skiprows=1)``.
    parquet : str or Path, optional
        Written with the caution in the metadata of the file, whence pandas reads it into ``attrs``.

    Raises
    ------
    ArchiveError
        The file cannot be written, or Parquet is asked for and pyarrow is not installed.
    """
    if csv is not None:
        text = f"# {CAUTION}\n" + frame.to_csv(index=False, lineterminator="\n")
        write_whole(Path(csv), text.encode(), replace=True)
    if parquet is not None:
        content = io.BytesIO()
        try:
            frame.to_parquet(content, engine="pyarrow", index=False)
        except ImportError:
            raise ArchiveError(
                "Parquet needs pyarrow", source=str(parquet), remedy="Install strongmotion[parquet], or write CSV"
            ) from None
        write_whole(Path(parquet), content.getvalue(), replace=True)
