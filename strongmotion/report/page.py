"""The page of one record: self-contained HTML that needs neither network nor script."""

from __future__ import annotations

import functools
import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import jinja2
from markupsafe import Markup
from matplotlib.figure import Figure

from .. import __version__
from ..foundation.files import write_whole
from ..foundation.units import acceleration_unit
from .definitions import Definition, definition_of, key_of
from .motion_figures import PLANES, husid_figure, motion_figure, offset_figure, particle_figure, raw_figure
from .processing_figure import processing_figure
from .spectrum_figures import (
    acceleration_displacement_figure,
    rotation_figure,
    spectrum_figure,
    tripartite_figure,
)
from .svg import Sheet
from .tables import DAGGER, SEVERITIES, facts, headline_table, measures_table, most_severe_first, number, spectra_table

if TYPE_CHECKING:
    from ..record import Finding
    from ..result import Result

__all__ = ["Picture", "record_page", "templates", "write_record_page"]


@dataclass(frozen=True)
class Picture:
    """A figure on a page: its SVG and what stands under it."""

    svg: Markup
    caption: str


@functools.cache
def templates() -> jinja2.Environment:
    """Return the templates, in which everything is escaped."""
    return jinja2.Environment(
        loader=jinja2.FileSystemLoader(Path(__file__).parent / "templates"),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )


def record_page(result: Result, unit: str = "m/s2", index: str | None = None) -> str:
    """Return the page of one record as HTML.

    Parameters
    ----------
    result : Result
    unit : {"m/s2", "cm/s2", "g"}
        Of acceleration.
    index : str, optional
        Where the archive's page lies, for a link to it.

    Returns
    -------
    str
        Findings first, then the headline numbers, figures, tables, how it was processed, definitions and cautions. It
        needs no other file, no network and no script.

    Raises
    ------
    InputError
        `unit` is not one of acceleration.
    """
    unit = acceleration_unit(unit)
    record, station = result.record, result.record.station
    headline_columns, headline = headline_table(result, unit)
    named = ["PGA", "PGV", "PGD", "PSA", "RotD50", "usable band", "band of a number"]
    sources = {str(row.measure): str(row.source) for row in result.measures.itertuples()}
    glossary: list[Definition] = [definition_of(name) for name in named]
    glossary += [definition_of(name, source) for name, source in sources.items() if name not in named]
    return templates().get_template("record.html").render(
        title=station.name or record.id,
        record=record,
        station=station,
        facts=facts(record),
        version=result.version,
        made_with=__version__,
        cautions=result.cautions,
        severity=result.severity,
        severities=SEVERITIES,
        findings=_alike(result),
        headline_columns=headline_columns,
        headline=headline,
        dagger=DAGGER,
        anything_outside=any(not cell.usable for _, _, cells in headline for cell in cells),
        bands=[
            (name, _hertz(band.low_cut), _hertz(band.high_cut), number(band.shortest_period),
             "no limit" if math.isinf(band.longest_period) else number(band.longest_period))
            for name, band in result.usable_band.items()
        ],
        pictures=_pictures(result, unit),
        measures=measures_table(result, unit),
        spectra=spectra_table(result, unit),
        history=[
            (entry.step, entry.component, entry.what, [(key, _value(value)) for key, value in entry.values.items()])
            for entry in result.history
        ],
        settings=result.settings.to_toml(),
        glossary=glossary,
        key_of=key_of,
        index=index,
    )  # fmt: skip


def write_record_page(result: Result, path: str | Path, unit: str = "m/s2", index: str | None = None) -> Path:
    """Write a record's page, whole or not at all; see `record_page`.

    Raises
    ------
    ArchiveError
        The file cannot be written.
    InputError
        `unit` is not one of acceleration.
    """
    path = Path(path)
    write_whole(path, record_page(result, unit, index).encode(), replace=True)
    return path


def _alike(result: Result) -> list[list[Finding]]:
    """Return the findings, gravest first, those of one kind on several components together."""
    together: dict[tuple, list[Finding]] = {}
    for finding in sorted(result.findings, key=most_severe_first):
        kind = (finding.name, finding.severity, finding.effect, finding.remedy, finding.confidence)
        together.setdefault(kind, []).append(finding)
    return list(together.values())


def _pictures(result: Result, unit: str) -> Iterator[tuple[str, list[Picture]]]:
    """Draw the figures of a page, section by section."""
    names = list(result.motion)
    pair = "horizontal" in result.usable_band and (result.spectra["component"] == "RotD50").any()
    count = len(names)

    def drawn(draw: Callable[..., Figure], key: str, title: str, caption: str, sheet: Sheet, **options: Any) -> Picture:
        panels = sheet.panels
        draw(result, axes=panels if len(panels) > 1 else panels[0], **options)
        return Picture(Markup(sheet.svg(key, f"{title}. {caption}")), caption)

    yield "Motion", [
        drawn(
            motion_figure, f"motion-{index}", f"Corrected motion of {name}",
            f"{name}: corrected acceleration, velocity and displacement. Dot: peak. Dashed: onset. Bars at the foot: "
            "pre-event window, and significant duration; at the head: where findings point.",
            Sheet(3, 1, 5.0, 5.2), components=[name], unit=unit,
        )
        for index, name in enumerate(names)
    ]  # fmt: skip
    spectra = [
        drawn(
            spectrum_figure, "spectrum-log", "Response spectra, logarithmic axes",
            "Pseudo-acceleration. Shaded: the usable band; faint: outside it.", Sheet(1, 1, 5.0, 4.2), unit=unit,
        ),
        drawn(
            spectrum_figure, "spectrum-linear", "Response spectra, linear axes",
            "The same on linear axes, to 5 s.", Sheet(1, 1, 5.0, 4.2), unit=unit, scale="linear",
        ),
        drawn(
            tripartite_figure, "spectrum-four", "Response spectra on four axes",
            "Pseudo-velocity; rising lines are of equal pseudo-acceleration, falling ones of equal displacement.",
            Sheet(1, 1, 5.0, 4.6),
        ),
        drawn(
            acceleration_displacement_figure, "spectrum-demand", "Acceleration against displacement",
            "Pseudo-acceleration against displacement; each ray is of one period.",
            Sheet(1, 1, 5.0, 4.6, margins=(0.62, 0.4, 0.3, 0.42)), unit=unit,
        ),
    ]  # fmt: skip
    if pair:
        spectra.append(
            drawn(
                rotation_figure, "rotation", "Spectra in all horizontal directions",
                "Components and RotD00, 50 and 100, and their ratios to RotD50.",
                Sheet(2, 1, 5.0, 4.6, ratios=(2, 1)), unit=unit,
            )
        )  # fmt: skip
    spectra.append(
        drawn(
            husid_figure, "husid", "Build-up of Arias intensity",
            "Arias intensity in % of its whole. Dots: 5, 75 and 95 %; bars: significant durations.",
            Sheet(1, 1, 5.0, 4.6),
        )
    )  # fmt: skip
    yield "Response spectra and energy", spectra
    if {"H1", "H2", "V"} <= set(names):
        planes = [Sheet(1, 1, 5.0, 4.4) for _ in PLANES]
        particle_figure(result, axes=[sheet.panels[0] for sheet in planes])
        paths = []
        for (across, up), sheet in zip(PLANES, planes, strict=True):
            caption = f"Displacement in {across} and {up}. Strong: over the significant duration. Dot: farthest out."
            paths.append(Picture(Markup(sheet.svg(f"path-{across}-{up}", f"Path of the ground. {caption}")), caption))
        yield "Path of the ground", paths
    yield "How it was processed", [
        *(
            drawn(
                processing_figure, f"band-{index}", f"Signal, noise and the band kept for {name}",
                f"{name}: Fourier spectra of the raw shaking and of the noise before it, and their ratio. Shaded: the "
                "band kept, between the corners (dashed).",
                Sheet(2, 1, 5.0, 4.2, ratios=(2, 1)), components=[name],
            )
            for index, name in enumerate(names)
        ),
        drawn(
            raw_figure, "raw", "Raw and corrected acceleration",
            "Raw acceleration, its median taken off, behind the corrected one.",
            Sheet(count, 1, 5.0, 0.7 + 1.3 * count), unit=unit,
        ),
        drawn(
            offset_figure, "offset", "Displacement with and without correction",
            "Displacement: corrected, and from the raw acceleration with only its mean removed (dashed).",
            Sheet(count, 1, 5.0, 0.7 + 1.3 * count),
        ),
    ]  # fmt: skip


def _hertz(corner: float) -> str:
    return f"{corner:.3g}" if corner > 0 else "none"


def _value(value: Any) -> str:
    if value is None:
        return "none"
    if isinstance(value, float):
        return f"{value:.5g}" if math.isfinite(value) else number(value)
    return str(value)
