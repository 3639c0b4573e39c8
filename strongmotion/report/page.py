"""The page of one record: self-contained HTML that needs no network, and says all it has to say without script."""

from __future__ import annotations

import base64
import functools
import hashlib
import math
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import jinja2
from markupsafe import Markup

from .. import __version__
from ..foundation.files import write_whole
from ..foundation.units import acceleration_unit
from ..record import PEAKS
from .definitions import definition_of, key_of
from .figures import FIGURES, SECTIONS
from .happened import happened, instant
from .made import FOLDER, Made
from .tables import (
    DAGGER,
    SEVERITIES,
    facts,
    headline_table,
    history_values,
    measures_table,
    most_severe_first,
    number,
    spectra_table,
)
from .verdict import touched, verdict_of
from .zoom import packed_motion

if TYPE_CHECKING:
    from ..archive import Entry, Standing
    from ..chain import Band
    from ..record import Finding
    from ..result import Result

__all__ = ["Neighbour", "Picture", "Surroundings", "record_page", "templates", "write_record_page"]


@dataclass(frozen=True)
class Picture:
    """A figure on a page: its SVG and what stands under it."""

    svg: Markup
    caption: str


@dataclass(frozen=True)
class Neighbour:
    """Another record of the archive, and where its page lies."""

    record: str
    link: str


@dataclass(frozen=True)
class Surroundings:
    """What an archive knows of a record beside its result.

    Parameters
    ----------
    index : str
        Where the archive's page lies, for a link to it.
    before, after : Neighbour, optional
        The pages to turn to.
    standing : Standing, optional
        Versions and decisions of the record, of which the result is the current version.
    history : tuple of Entry
        All that happened to it.
    made : Made, optional
        What the page is to carry of its making.
    """

    index: str = ""
    before: Neighbour | None = None
    after: Neighbour | None = None
    standing: Standing | None = None
    history: tuple[Entry, ...] = ()
    made: Made | None = None


@functools.cache
def templates() -> jinja2.Environment:
    """Return the templates, in which everything is escaped."""
    environment = jinja2.Environment(
        loader=jinja2.FileSystemLoader(FOLDER),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.globals.update(inline=_inline, policy=_policy)
    return environment


@functools.cache
def _inline(name: str) -> Markup:
    """Return a style sheet or a script of the house, to stand in a page as it is."""
    return Markup((FOLDER / name).read_text(encoding="utf-8"))


@functools.cache
def _policy(style: str, *scripts: str, images: bool = False) -> str:
    """Return the Content-Security-Policy of a page: its own style and scripts by their hashes, and nothing else.

    With `images` it may show those that it holds itself.
    """

    def hashed(name: str) -> str:
        return f"'sha256-{base64.b64encode(hashlib.sha256(_inline(name).encode()).digest()).decode()}'"

    allowed = " ".join(map(hashed, scripts)) or "'none'"
    shown = " img-src data:;" if images else ""
    rest = "base-uri 'none'; form-action 'none'"
    return f"default-src 'none';{shown} style-src {hashed(style)}; script-src {allowed}; {rest}"


def record_page(result: Result, unit: str = "m/s2", around: Surroundings | None = None) -> str:
    """Return the page of one record as HTML.

    Parameters
    ----------
    result : Result
    unit : {"m/s2", "cm/s2", "g"}
        Of acceleration.
    around : Surroundings, optional
        Its archive: pages to turn to, versions and decisions.

    Returns
    -------
    str
        The verdict first, then findings, headline numbers, figures, tables, how it was processed, definitions and
        cautions. It needs no other file and no network. A small script of its own draws the motion at full resolution,
        to zoom and pan; without script, and in print, still pictures stand there.

    Raises
    ------
    InputError
        `unit` is not one of acceleration.
    """
    unit = acceleration_unit(unit)
    around = around or Surroundings()
    record, station = result.record, result.record.station
    headline_columns, headline = headline_table(result, unit)
    named = ["PGA", "PGV", "PGD", "PSA", "RotD50", "usable band", "band of a number"]
    sources = {str(row.measure): str(row.source) for row in result.measures.itertuples()}
    glossary = [definition_of(name, sources.get(name, "")) for name in dict.fromkeys([*named, *sources])]
    return templates().get_template("record.html").render(
        title=station.name or record.id,
        record=record,
        station=station,
        facts=facts(record),
        version=result.version,
        made_with=__version__,
        cautions=result.cautions,
        verdict=verdict_of(result, around.standing),
        peaks_used=PEAKS,
        severities=SEVERITIES,
        findings=_alike(result),
        unit=unit,
        touched=touched,
        headline_columns=headline_columns,
        headline=headline,
        dagger=DAGGER,
        anything_marked=any(cell.mark for _, _, cells in headline for cell in cells),
        bands=[
            (name, _hertz(band.low_cut), _hertz(band.high_cut), *_periods(band))
            for name, band in result.usable_band.items()
        ],
        pictures=_pictures(result, unit),
        motion=packed_motion(result, unit),
        measures=measures_table(result, unit),
        spectra=spectra_table(result, unit),
        history=[
            (entry.step, entry.component, entry.what, history_values(entry, unit))
            for entry in result.history
        ],
        changed=result.settings.changed(),
        settings=result.settings.to_toml(),
        glossary=glossary,
        key_of=key_of,
        around=around,
        happened=[(instant(entry.time), happened(entry), entry.by, entry.why) for entry in around.history],
        instant=instant,
    )  # fmt: skip


def write_record_page(result: Result, path: str | Path, unit: str = "m/s2", around: Surroundings | None = None) -> Path:
    """Write a record's page, whole or not at all; see `record_page`.

    Raises
    ------
    ArchiveError
        The file cannot be written.
    InputError
        `unit` is not one of acceleration.
    """
    path = Path(path)
    write_whole(path, record_page(result, unit, around).encode(), replace=True)
    return path


def _alike(result: Result) -> list[list[Finding]]:
    """Return the findings, most severe first, those of one kind on several components together."""
    together: dict[tuple, list[Finding]] = {}
    for finding in sorted(result.findings, key=most_severe_first):
        kind = (finding.name, finding.severity, finding.effect, finding.remedy, finding.confidence)
        together.setdefault(kind, []).append(finding)
    return list(together.values())


def _pictures(result: Result, unit: str) -> Iterator[tuple[str, list[Picture]]]:
    """Draw the figures of a page, section by section."""
    for section in SECTIONS:
        pictures = [
            Picture(Markup(sheet.svg(key_of(key), f"{title}. {caption}")), caption)
            for entry in FIGURES
            if entry.section == section and entry.needs(result)
            for key, title, caption, sheet in entry.pictures(result, unit)
        ]
        if pictures:
            yield section, pictures


def _periods(band: Band) -> tuple[str, str]:
    """Return the shortest and the longest usable period in words."""
    if not band.usable:
        return "none", "none"
    return number(band.shortest_period), "no limit" if math.isinf(band.longest_period) else number(band.longest_period)


def _hertz(corner: float) -> str:
    return f"{corner:.3g}" if corner > 0 else "none"
