"""The page over an archive: a table that sorts, a map, and how the numbers are spread; and the pages behind it."""

from __future__ import annotations

import base64
import dataclasses
import gzip
import json
import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from markupsafe import Markup

from .. import __version__
from ..archive import Archive
from ..foundation.cautions import CAUTIONS
from ..foundation.errors import ArchiveError, StrongMotionError
from ..foundation.files import write_whole
from ..foundation.units import acceleration_unit, label
from .archive_figures import distribution_figure, largest, station_figure
from .definitions import key_of
from .made import Made, made_in, made_of, stamp_of
from .page import Neighbour, Picture, Surroundings, templates, write_record_page
from .pdf import is_stamped, write_pdf
from .spectrum_figures import comparison_figure
from .summary import Prints
from .svg import Sheet
from .tables import number
from .verdict import SET_ASIDE

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["Report", "archive_page", "write_report"]

ROWS = 50
"""Rows of the table on one leaf."""

SPREAD = ("PGA, the largest over the components", "PGV, the largest over the components", "longest usable period")
"""What is drawn of how the numbers are spread."""

MOST_PICTURED = 2000
"""Of more records than this the table shows no motion: the pictures would be most of the page."""

MOST_COMPARED = 200
"""Spectra of more records than this make no readable figure."""


@dataclass
class Report:
    """What `write_report` wrote, and the records it could not.

    Parameters
    ----------
    index : Path
        The archive's page.
    pages : list of Path
        Those of the records that were asked for.
    written : list of Path
        Those among them that were not there, or of which something had changed.
    failed : list of (str, str)
        Records that could not be read, with the reason.
    """

    index: Path
    pages: list[Path] = field(default_factory=list)
    written: list[Path] = field(default_factory=list)
    failed: list[tuple[str, str]] = field(default_factory=list)


def write_report(
    archive: Archive | str | Path,
    folder: str | Path,
    records: Iterable[str] = (),
    unit: str = "m/s2",
    prints: Prints | None = None,
    progress: Callable[[int, int], None] | None = None,
) -> Report:
    """Write a page for each record and one over the archive; pages of what has not changed are left as they are.

    Parameters
    ----------
    archive : Archive or path
    folder : str or Path
        Made if it is not there. The archive's page is ``index.html``, those of records ``records/<id>.html``.
    records : iterable of str
        Ids of the records to write pages for; all if none is given. The archive's page covers all either way.
    unit : {"m/s2", "cm/s2", "g"}
        Of acceleration.
    prints : Prints, optional
        Which PDF to write beside each page; none if not given.
    progress : callable, optional
        Called with the number of records finished and of all records: at the start and after each.

    Returns
    -------
    Report
        Records that could not be read are in it with their reasons; the rest goes on.

    Raises
    ------
    ArchiveError
        The archive is not there, holds no record or not one that was asked for, or the folder cannot be written.
    InputError
        `unit` is not one of acceleration.

    Notes
    -----
    A page holds a hash of all it was made from: the software, the unit, the pages beside it, and the names of the
    record's files and manifest entries, which hold hashes of their content. Where that is the same, neither the
    record's file nor its manifest is opened.
    """
    unit = acceleration_unit(unit)
    prints = prints or Prints()
    store = archive if isinstance(archive, Archive) else Archive(archive)
    marks = store.marks()
    every = sorted(marks)
    chosen = list(dict.fromkeys(records)) or every
    for record in chosen:
        if record not in marks:
            store[record]  # raises, with the nearest id
    if not every:
        raise ArchiveError("the archive holds no record", source=str(store.folder), remedy="Process some into it")
    folder = Path(folder)
    pages = folder / "records"
    try:
        pages.mkdir(parents=True, exist_ok=True)
        there = {path.stem for path in pages.glob("*.html")}
    except OSError as error:
        raise ArchiveError(f"the folder cannot be made: {error.strerror}", source=str(folder)) from None

    report = Report(folder / "index.html")
    made: dict[str, Made] = {}
    turned = [one for one in every if one in there or one in set(chosen)] if records else every
    places = {record: place for place, record in enumerate(turned)}
    if progress:
        progress(0, len(chosen))
    for done, record in enumerate(chosen, 1):
        before, after = (_neighbour(turned, places[record] + step) for step in (-1, 1))
        stamp = stamp_of(unit, marks[record], [one and one.record for one in (before, after)])
        page = pages / f"{record}.html"
        of_pdf = stamp_of(stamp, prints.mark)
        wanted = [
            (pages / f"{record}{ending}.pdf", dataclasses.replace(prints, full=not ending))
            for ending, asked in (("", prints.full), (".summary", prints.summary))
            if asked
        ]
        try:
            its = made_in(page) if record in there else None
            stale = [(path, print_) for path, print_ in wanted if not is_stamped(path, of_pdf)]
            if its is None or its.stamp != stamp or stale:
                result = store[record]
                its = made_of(result, stamp)
                around = Surroundings(
                    "../index.html", before, after, store.standing(record), tuple(store.history(record)), its
                )  # fmt: skip
                write_record_page(result, page, unit, around)
                for path, print_ in stale:
                    write_pdf(result, path, unit, around, print_, of_pdf)
                report.written.append(page)
        except StrongMotionError as error:
            report.failed.append((record, str(error)))
        else:
            report.pages.append(page)
            made[record] = its
        if progress:
            progress(done, len(chosen))
    there.update(made)
    links = {record: f"records/{record}.html" for record in every if record in there}
    if records:
        others = ((record, made_in(pages / f"{record}.html")) for record in every if record in there - set(made))
        made |= {record: its for record, its in others if its is not None}
    text = archive_page(store.catalogue(unit), unit, links, made).encode()
    if not (report.index.exists() and report.index.read_bytes() == text):
        write_whole(report.index, text, replace=True)
    return report


def _neighbour(turned: list[str], place: int) -> Neighbour | None:
    """Return the record at a place among those with pages."""
    return Neighbour(turned[place], f"{turned[place]}.html") if 0 <= place < len(turned) else None


def archive_page(
    catalogue: pd.DataFrame,
    unit: str = "m/s2",
    links: Mapping[str, str] | None = None,
    made: Mapping[str, Made] | None = None,
) -> str:
    """Return the page over an archive as HTML.

    Parameters
    ----------
    catalogue : pandas.DataFrame
        From `Archive.catalogue`, with accelerations in `unit`.
    unit : {"m/s2", "cm/s2", "g"}
    links : mapping of str to str, optional
        Where the page of each record lies.
    made : mapping of str to Made, optional
        What the page of each record carries of it: its station's name, a small picture, its spectrum.

    Returns
    -------
    str
        A table that a small script in the page sorts, filters and divides into leaves, from data packed by
        column, without numbers of records that are unfit, rejected or withdrawn; a map of the stations; the spread
        of peaks and usable periods; the cautions. It needs no other file and no network.

    Raises
    ------
    InputError
        `unit` is not one of acceleration.
    """
    unit = acceleration_unit(unit)
    catalogue = _without_unusable(catalogue)
    columns, rows = _table(catalogue, unit, links or {}, made or {})
    data = json.dumps(
        {"columns": columns, "values": list(zip(*rows, strict=True)) or [[] for _ in columns], "leaf": ROWS},
        ensure_ascii=False,
        separators=(",", ":"),
    )
    return templates().get_template("archive.html").render(
        columns=columns,
        rows=rows[:ROWS],
        total=len(rows),
        leaf=ROWS,
        data=base64.b64encode(gzip.compress(data.encode(), mtime=0)).decode(),
        pictures=_pictures(catalogue, unit, made or {}),
        number=number,
        problems=catalogue.attrs.get("problems", []),
        cautions=CAUTIONS,
        made_with=__version__,
    )  # fmt: skip


def _without_unusable(catalogue: pd.DataFrame) -> pd.DataFrame:
    """Return the catalogue without the peaks, ordinates and periods of records of which nothing is for use."""
    unusable = catalogue["worst_finding"] == "unfit"
    if "state" in catalogue:
        unusable = unusable | catalogue["state"].isin(SET_ASIDE)
    numbers = [name for name in catalogue if name.startswith(("pga_", "pgv_", "psa_", "longest_usable_period"))]
    return catalogue.assign(**{name: catalogue[name].astype(float).mask(unusable) for name in numbers})


def _table(
    catalogue: pd.DataFrame,
    unit: str,
    links: Mapping[str, str],
    made: Mapping[str, Made],
) -> tuple[list[dict[str, Any]], list[list[Any]]]:
    """Return the columns of the table, each with its kind, and its rows as JSON holds them."""
    psa = next((name for name in catalogue if name.startswith("psa_1s_RotD50")), None)
    numbers: list[tuple[str, np.ndarray]] = [
        (f"PGA, {label(unit)}", largest(catalogue, "pga")),
        ("PGV, m/s", largest(catalogue, "pgv")),
    ]
    if psa is not None:
        numbers.append((f"PSA at 1 s, {label(unit)}", catalogue[psa].to_numpy(dtype=float)))
    numbers.append(("Longest usable period, s", catalogue["longest_usable_period_s"].to_numpy(dtype=float)))
    columns = [
        {"title": "Worst finding", "kind": "severity"},
        {"title": "Record", "kind": "link"},
        {"title": "Motion", "kind": "picture"},
        {"title": "State", "kind": "text"},
        {"title": "Version", "kind": "text"},
        {"title": "Station", "kind": "text"},
        {"title": "First sample, UTC", "kind": "text"},
        *({"title": title, "kind": "number"} for title, _ in numbers),
    ]
    states = catalogue["state"].tolist() if "state" in catalogue else [""] * len(catalogue)
    versions = catalogue["version"].tolist() if "version" in catalogue else [""] * len(catalogue)
    pictured = len(catalogue) <= MOST_PICTURED
    starts = catalogue["start"].dt.strftime("%Y-%m-%d %H:%M:%S").fillna("").tolist()
    rows = []
    for i, (record, station, worst) in enumerate(
        zip(catalogue["record"], catalogue["station"], catalogue["worst_finding"], strict=True)
    ):
        values = [_json(column[i]) for _, column in numbers]
        its = made.get(record)
        rows.append(
            [
                worst or "none", [record, links.get(record, "")], its.thumbnail if its and pictured else "",
                states[i] or "", versions[i] or "", (its.name if its else "") or station or "", starts[i], *values,
            ]
        )  # fmt: skip
    return columns, rows


def _json(value: float) -> float | str | None:
    if math.isnan(value):
        return None
    return float(f"{value:.4g}") if math.isfinite(value) else "no limit"


def _thinned(catalogue: pd.DataFrame, cells: int = 40) -> pd.DataFrame:
    """Return all records, or where they are too many for a map the one of the largest PGA in each cell of a grid."""
    if len(catalogue) <= MOST_PICTURED:
        return catalogue
    placed = catalogue[np.isfinite(catalogue[["latitude_deg", "longitude_deg"]].to_numpy(dtype=float)).all(axis=1)]
    cell = np.zeros(len(placed), dtype=int)
    for name in ("latitude_deg", "longitude_deg"):
        at = placed[name].to_numpy(dtype=float)
        width = np.ptp(at) / cells or 1.0
        cell = cell * (cells + 1) + ((at - at.min()) / width).astype(int)
    strongest = np.argsort(-np.nan_to_num(largest(placed, "pga")), kind="stable")
    _, first = np.unique(cell[strongest], return_index=True)
    return placed.iloc[np.sort(strongest[first])]


def _compared(catalogue: pd.DataFrame, made: Mapping[str, Made]) -> dict[str, pd.DataFrame]:
    """Return the spectra to draw together, by record: of those that nobody set aside, at the periods of the first."""
    states = catalogue["state"].tolist() if "state" in catalogue else [""] * len(catalogue)
    spectra: dict[str, pd.DataFrame] = {}
    for record, state in zip(catalogue["record"], states, strict=True):
        if record not in made or state in SET_ASIDE or made[record].spectrum.empty:
            continue
        its = made[record].spectrum
        first = next(iter(spectra.values()), its)
        if np.array_equal(its["period"], first["period"]):
            spectra[record] = its
    return spectra


def _pictures(catalogue: pd.DataFrame, unit: str, made: Mapping[str, Made]) -> list[Picture]:
    pictures = []
    if np.isfinite(catalogue["latitude_deg"].to_numpy(dtype=float)).any():
        sheet = Sheet(1, 1, 5.0, 4.9, margins=(0.66, 0.1, 0.1, 0.42))
        mapped = _thinned(catalogue)
        station_figure(mapped, unit, axes=sheet.panels[0])
        caption = "Where the stations lie, in km from their middle, with rings of distance. Hollow: no PGA to use."
        if len(mapped) < len(catalogue):
            caption += f" Of records close together only that of the largest PGA is drawn: {len(mapped)} in all."
        pictures.append(Picture(Markup(sheet.svg("map", f"Map of the stations. {caption}")), caption))
    compared = _compared(catalogue, made) if len(catalogue) <= MOST_COMPARED else {}
    if compared:
        sheet = Sheet(1, 1, 5.0, 4.4, margins=(0.66, 0.1, 0.32, 0.42))
        comparison_figure(compared, unit=unit, axes=sheet.panels[0])
        whole = "" if len(compared) == len(catalogue) else f"{len(compared)} of {len(catalogue)} "
        caption = (
            f"Spectra of RotD50 at 5 % damping of {whole or 'the '}records, their median and spread, where at least "
            "half are usable. Above: n, how many are at a period."
        )
        pictures.append(Picture(Markup(sheet.svg("spectra", f"Spectra of all. {caption}")), caption))
    if len(catalogue):
        spreads = [Sheet(1, 1, 5.0, 3.6) for _ in SPREAD]
        distribution_figure(catalogue, unit, axes=[sheet.panels[0] for sheet in spreads])
        for what, sheet in zip(SPREAD, spreads, strict=True):
            caption = f"Records of use by {what}."
            pictures.append(Picture(Markup(sheet.svg(f"spread-{key_of(what)}", f"Histogram. {caption}")), caption))
    return pictures
