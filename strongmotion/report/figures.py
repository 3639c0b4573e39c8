"""The list of all figures of one result: by it they are drawn by name, on pages and in PDF."""

from __future__ import annotations

import difflib
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from ..foundation.errors import InputError
from .motion_figures import PLANES, husid_figure, motion_figure, offset_figure, particle_figure, raw_figure
from .processing_figure import processing_figure
from .spectrum_figures import acceleration_displacement_figure, rotation_figure, spectrum_figure, tripartite_figure
from .svg import Sheet

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from ..result import Result

__all__ = ["FIGURES", "SECTIONS", "FigureEntry", "draw", "named"]

SECTIONS = ("Motion", "Response spectra and energy", "Path of the ground", "How it was processed")
"""Sections of a page that hold figures, in order."""


@dataclass(frozen=True)
class FigureEntry:
    """One figure of a result: what draws it, and how it stands on a page.

    Parameters
    ----------
    name : str
        What it is called in ``result.plot(name)``.
    draw : callable
        Takes the result, and ``axes`` and ``style``; also ``unit`` where `in_unit`.
    section : str
        One of `SECTIONS`.
    title, caption : str
        In words; each picture of a component or plane begins with its name.
    sheet : callable
        Takes the number of components, returns the panels to draw into on a page.
    in_unit : bool
        Whether it draws acceleration in a unit.
    options : mapping
        Further options it is drawn with.
    needs : callable
        Whether a result has what it takes.
    parts : callable
        Takes the result, returns the pictures it is split into on a page, each by its name and options; one whole
        picture if not given.

    Raises
    ------
    InputError
        A part of the line is missing.
    """

    name: str
    draw: Callable[..., Figure]
    section: str
    title: str
    caption: str
    sheet: Callable[[int], Sheet]
    in_unit: bool = True
    options: Mapping[str, Any] = field(default_factory=dict)
    needs: Callable[[Result], bool] = lambda result: True
    parts: Callable[[Result], Mapping[str, Mapping[str, Any]]] = lambda result: {"": {}}

    def __post_init__(self) -> None:
        for part in ("name", "title", "caption"):
            if not getattr(self, part).strip():
                raise InputError(
                    f"the figure {self.name!r} has no {part}", field=part, remedy=f"Add its {part} in FIGURES"
                )
        if self.section not in SECTIONS:
            raise InputError(
                f"the figure {self.name!r} is in the unknown section {self.section!r}",
                field="section",
                remedy=f"Choose from {', '.join(SECTIONS)}",
            )

    def drawn(self, result: Result, unit: str, **options: Any) -> Figure:
        """Draw it of a result, accelerations in `unit` where it has any."""
        return self.draw(result, **({"unit": unit} if self.in_unit else {}), **self.options, **options)

    def pictures(self, result: Result, unit: str) -> Iterator[tuple[str, str, str, Sheet]]:
        """Draw it for a page: key, title, caption and the sheet of each of its pictures."""
        for number, (part, options) in enumerate(self.parts(result).items()):
            sheet = self.sheet(len(result.motion))
            panels = sheet.panels
            self.drawn(result, unit, **options, axes=panels if len(panels) > 1 else panels[0])
            before = f"{part}: " if part else ""
            caption = self.caption[:1].lower() + self.caption[1:] if part else self.caption
            yield f"{self.name}-{number}", f"{before}{self.title}", f"{before}{caption}", sheet


def _components(result: Result) -> dict[str, dict[str, Any]]:
    return {name: {"components": [name]} for name in result.motion}


def _planes(result: Result) -> dict[str, dict[str, Any]]:
    return {f"{across} and {up}": {"planes": [(across, up)]} for across, up in PLANES}


def _has_pair(result: Result) -> bool:
    return "horizontal" in result.usable_band and bool((result.spectra["component"] == "RotD50").any())


def _has_three(result: Result) -> bool:
    return {"H1", "H2", "V"} <= set(result.motion)


_MOTION, _SPECTRA, _PATH, _PROCESSING = SECTIONS

FIGURES = [
    FigureEntry(
        "motion", motion_figure, _MOTION, "Corrected motion",
        "Corrected acceleration, velocity and displacement. Dot: peak. Dashed: onset. Bars at the foot: pre-event "
        "window and significant duration; at the head: where findings point.",
        lambda count: Sheet(3, 1, 5.0, 5.2), parts=_components,
    ),
    FigureEntry(
        "spectrum", spectrum_figure, _SPECTRA, "Response spectra, logarithmic axes",
        "Pseudo-acceleration. Shaded: the usable band; faint: outside it.", lambda count: Sheet(1, 1, 5.0, 4.2),
    ),
    FigureEntry(
        "linear spectrum", spectrum_figure, _SPECTRA, "Response spectra, linear axes",
        "The same on linear axes, to 5 s.", lambda count: Sheet(1, 1, 5.0, 4.2), options={"scale": "linear"},
    ),
    FigureEntry(
        "tripartite", tripartite_figure, _SPECTRA, "Response spectra on four axes",
        "Pseudo-velocity; rising lines are of equal pseudo-acceleration, falling ones of equal displacement.",
        lambda count: Sheet(1, 1, 5.0, 4.6), in_unit=False,
    ),
    FigureEntry(
        "acceleration-displacement", acceleration_displacement_figure, _SPECTRA, "Acceleration against displacement",
        "Pseudo-acceleration against displacement; each ray is of one period.",
        lambda count: Sheet(1, 1, 5.0, 4.6, margins=(0.62, 0.4, 0.3, 0.42)),
    ),
    FigureEntry(
        "rotation", rotation_figure, _SPECTRA, "Spectra in all horizontal directions",
        "Components and RotD00, 50 and 100, and their ratios to RotD50.",
        lambda count: Sheet(2, 1, 5.0, 4.6, ratios=(2, 1)), needs=_has_pair,
    ),
    FigureEntry(
        "husid", husid_figure, _SPECTRA, "Build-up of Arias intensity",
        "Arias intensity in % of its total. Dots: 5, 75 and 95 %; bars: significant durations.",
        lambda count: Sheet(1, 1, 5.0, 4.6), in_unit=False,
    ),
    FigureEntry(
        "particle", particle_figure, _PATH, "Path of the ground",
        "Path of the displacement. Strong: over the significant duration. Dot: farthest out.",
        lambda count: Sheet(1, 1, 5.0, 4.4), in_unit=False, needs=_has_three, parts=_planes,
    ),
    FigureEntry(
        "processing", processing_figure, _PROCESSING, "Signal, noise and the band kept",
        "Fourier spectra of the raw shaking and of the noise before it, and their ratio. Shaded: the band kept, "
        "between the corners (dashed).",
        lambda count: Sheet(2, 1, 5.0, 4.2, ratios=(2, 1)), in_unit=False, parts=_components,
    ),
    FigureEntry(
        "raw", raw_figure, _PROCESSING, "Raw and corrected acceleration",
        "Raw acceleration, its median removed, behind the corrected one.",
        lambda count: Sheet(count, 1, 5.0, 0.7 + 1.3 * count),
    ),
    FigureEntry(
        "offset", offset_figure, _PROCESSING, "Displacement with and without correction",
        "Displacement: corrected, and from the raw acceleration with only its mean removed (dashed).",
        lambda count: Sheet(count, 1, 5.0, 0.7 + 1.3 * count), in_unit=False,
    ),
]  # fmt: skip
"""Every figure of one result: one line each is all that a new one needs."""


def named(what: str) -> FigureEntry:
    """Return the entry of a figure.

    Raises
    ------
    InputError
        There is no such figure.
    """
    found = {entry.name: entry for entry in FIGURES}
    if what not in found:
        near = difflib.get_close_matches(what, found, n=1)
        raise InputError(
            f"there is no figure {what!r}" + (f", perhaps {near[0]!r}" if near else ""),
            remedy=f"Use {', '.join(found)}",
        )
    return found[what]


def draw(result: Result, what: str = "motion", **options: Any) -> Figure:
    """Draw one of the figures of a result.

    Parameters
    ----------
    result : Result
    what : str
        The name of an entry of `FIGURES`.
    **options
        As that figure's function takes them: ``unit``, ``axes``, ``style`` and its own.

    Returns
    -------
    matplotlib.figure.Figure

    Raises
    ------
    InputError
        There is no such figure, or as that function says.

    Examples
    --------
    >>> import strongmotion as sm
    >>> result = sm.process(sm.read("demo_records/quay.csv"))
    >>> len(draw(result, "motion").axes) > 0
    True
    """
    entry = named(what)
    return entry.draw(result, **{**entry.options, **options})
