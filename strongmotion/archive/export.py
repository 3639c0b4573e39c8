"""Processed motion and spectra as files for other programs: CSV, Parquet and miniSEED 3, each with the cautions."""

from __future__ import annotations

import io
import json
from collections.abc import Iterable
from pathlib import Path
from typing import Literal

import numpy as np
import pandas as pd

from ..formats.miniseed import miniseed_of
from ..foundation.errors import ArchiveError, InputError
from ..foundation.files import write_whole
from ..motion import Motion
from ..record import Component
from ..result import Result

__all__ = ["export"]

QUANTITIES = {"acceleration": "m/s2", "velocity": "m/s", "displacement": "m"}
_SPECTRAL_UNITS = {"period": "s", "sd": "m", "psv": "m/s", "psa": "m/s2", "sv": "m/s", "sa": "m/s2"}
_IN_NAMES = {"m/s2": "m_s2", "m/s": "m_s", "m": "m", "s": "s"}

Form = Literal["csv", "parquet", "miniseed"]


def export(
    result: Result,
    folder: str | Path,
    forms: Iterable[Form] = ("csv",),
    record: str = "",
    version: str = "",
    state: str = "",
) -> list[Path]:
    """Write a result's motion, without pads, and its spectra, to files; numbers are read back bit for bit.

    Parameters
    ----------
    result : Result
    folder : str or Path
        Made if it is not there. Files of the same names are replaced.
    forms : iterable of {"csv", "parquet", "miniseed"}
        ``"csv"``: a file each of acceleration, velocity and displacement, and one of the spectra. `strongmotion.read`
        reads the acceleration. ``"parquet"``: a file of all motion, a column each, the cautions in its metadata.
        ``"miniseed"``: a file of each quantity, version 3, float64; source code X, FDSN's for derived channels.
    record, version, state : str, optional
        Its id, version and state in the archive it is from; said in every file.

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
        No such form.

    Examples
    --------
    >>> export(archive["XX.QUAY.00_20310417T032627.310"], "for_others", ["csv", "miniseed"])  # doctest: +SKIP
    """
    made: dict[str, bytes] = {}
    of = {"record": record or result.record.id, "version": version, "state": state}
    motions = {name: motion.unpadded() for name, motion in result.motion.items()}
    for form in dict.fromkeys(forms):
        if form == "csv":
            made |= {f"_{quantity}.csv": _motion_csv(result, motions, quantity, of) for quantity in QUANTITIES}
            made["_spectra.csv"] = _spectra_csv(result, of)
        elif form == "parquet":
            made["_motion.parquet"] = _motion_parquet(result, motions, of)
        elif form == "miniseed":
            made |= {f"_{quantity}.mseed": _motion_miniseed(result, motions, quantity, of) for quantity in QUANTITIES}
        else:
            raise InputError(f"no export as {form!r}", remedy="Use csv, parquet or miniseed")
    folder = Path(folder).expanduser()
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise ArchiveError(f"the folder cannot be made: {error.strerror}", source=str(folder)) from None
    paths = [folder / f"{of['record']}{ending}" for ending in made]
    for path, content in zip(paths, made.values(), strict=True):
        write_whole(path, content, replace=True)
    return paths


def _head(result: Result, of: dict[str, str]) -> str:
    """Return the comment lines of a CSV file: the cautions, and what the numbers are of."""
    record, station = result.record, result.record.station
    facts = {
        "station": station.code, "network": station.network, "location": station.location, "name": station.name,
        "latitude": station.latitude, "longitude": station.longitude, "elevation": station.elevation,
        "start": None if record.start is None else f"{record.start}Z",
    }  # fmt: skip
    unfit = sorted({finding.component or "all" for finding in result.findings if finding.severity == "unfit"})
    facts |= {"processed": _processed(result)}
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


def _processed(result: Result) -> str:
    """Say that the motion was processed, with the band that all components have, as a reader understands it."""
    bands = [result.usable_band[name] for name in result.motion]
    low = max(band.low_cut for band in bands)
    high = min(band.high_cut or band.nyquist for band in bands)
    return f"baseline corrected and filtered, {low!r} to {high!r} Hz"


def _motion_csv(result: Result, motions: dict[str, Motion], quantity: str, of: dict[str, str]) -> bytes:
    unit = QUANTITIES[quantity]
    columns = [getattr(motion, quantity).tolist() for motion in motions.values()]
    own = "".join(
        f"# {key}_{component.name}: {value!r}\n"
        for component in result.record
        for key, value in (("azimuth", component.azimuth), ("dip", component.dip))
        if value is not None
    )
    head = f"{_head(result, of)}# dt_s: {result.record.dt!r}\n{own}"
    names = ",".join(f"{name} [{unit}]" for name in motions)
    rows = "\n".join(",".join(map(repr, row)) for row in zip(*columns, strict=True))
    return f"{head}{names}\n{rows}\n".encode()


def _spectra_csv(result: Result, of: dict[str, str]) -> bytes:
    units = {name: f"{name}_{_IN_NAMES[unit]}" for name, unit in _SPECTRAL_UNITS.items()}
    frame = result.spectra.rename(columns=units)
    return (_head(result, of) + frame.to_csv(index=False, lineterminator="\n")).encode()


def _motion_parquet(result: Result, motions: dict[str, Motion], of: dict[str, str]) -> bytes:
    try:
        import pyarrow as pa
        import pyarrow.parquet as pq
    except ImportError:
        raise ArchiveError(
            "Parquet needs pyarrow", remedy="Install strongmotion[parquet], or export CSV or miniSEED"
        ) from None
    record = result.record
    columns: dict[str, np.ndarray] = {"time_s": np.arange(record.samples) * record.dt}
    for name, motion in motions.items():
        for quantity, unit in QUANTITIES.items():
            columns[f"{name}_{quantity}_{_IN_NAMES[unit]}"] = getattr(motion, quantity)
    table = pa.Table.from_pandas(pd.DataFrame(columns), preserve_index=False)
    said = {
        **of, "start": "" if record.start is None else f"{record.start}Z", "dt_s": repr(record.dt),
        "cautions": json.dumps(result.cautions), "software": f"strongmotion {result.version}",
    }  # fmt: skip
    buffer = io.BytesIO()
    pq.write_table(table.replace_schema_metadata({**(table.schema.metadata or {}), **said}), buffer)
    return buffer.getvalue()


def _motion_miniseed(result: Result, motions: dict[str, Motion], quantity: str, of: dict[str, str]) -> bytes:
    said = {
        **{name: its for name, its in of.items() if its}, "unit": QUANTITIES[quantity], "quantity": quantity,
        "processed": _processed(result), "caution": " ".join(result.cautions),
    }  # fmt: skip
    parts = []
    for raw in result.record:
        samples = getattr(motions[raw.name], quantity)
        component = Component(
            raw.name, samples, raw.dt, "m/s2", None, raw.start, raw.azimuth, raw.dip, raw.channel
        )  # fmt: skip
        parts.append(miniseed_of(result.record, component, 3, "float64", derived=said))
    return b"".join(parts)
