"""The look that all figures share: colours, axes, headings and small print.

Figures are bare `matplotlib.figure.Figure` objects: no window system, no global state, so they can be drawn in worker
processes and put into other people's pages. Colours are those of Okabe & Ito (2008), which readers with any of the
common colour-vision deficiencies can tell apart; on dark paper their lighter ones, and a lighter green. Lines that
share a colour differ in dash.
"""

from __future__ import annotations

import functools
import io
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from matplotlib.figure import Figure
from matplotlib.font_manager import FontProperties, findfont, get_font
from matplotlib.ticker import FuncFormatter, LogLocator, NullLocator

from .. import __version__
from ..foundation.cautions import CAUTION
from ..foundation.errors import InputError
from ..foundation.files import write_whole
from .svg import Panel

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from ..record import Record
    from ..result import Result

__all__ = [
    "STYLES",
    "Drawing",
    "Style",
    "canvas",
    "finish",
    "heading",
    "logarithmic",
    "named_style",
    "quieten",
    "save",
    "shortened",
]


TURNING = frozenset("$\u200e\u200f\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069")
"""Marks that change how the letters beside them are set."""

WIDEST_HEADING = 80
"""Letters on a line of a heading."""

LETTERS_AN_INCH = 7.5
"""Letters of full size to an inch of a heading, wide ones among them; a longer one is written smaller."""


@dataclass(frozen=True)
class Style:
    """Colours on one kind of paper.

    Parameters
    ----------
    paper, ink, faint, rule, shade, alarm : str
        Background; text and combined lines; text of less weight; grid lines; what is shaded; what needs care.
    components : dict of str to str
        The colours of H1, H2 and V.
    others : tuple of str
        Those of any other component or record, in turn.
    """

    paper: str
    ink: str
    faint: str
    rule: str
    shade: str
    alarm: str
    components: dict[str, str]
    others: tuple[str, ...]

    def colour(self, name: str, index: int = 0) -> str:
        """Return the colour of a component; `index` tells those without a colour of their own apart."""
        return self.components.get(name, self.others[index % len(self.others)])


STYLES = {
    "light": Style(
        paper="#ffffff",
        ink="#222222",
        faint="#6a6a6a",
        rule="#e2e2e2",
        shade="#eef1e4",
        alarm="#a3360c",
        components={"H1": "#0072B2", "H2": "#D55E00", "V": "#009E73"},
        others=("#CC79A7", "#E69F00", "#56B4E9"),
    ),
    "dark": Style(
        paper="#15181d",
        ink="#ececec",
        faint="#a6a9ae",
        rule="#343940",
        shade="#23292b",
        alarm="#ff9d7a",
        components={"H1": "#56B4E9", "H2": "#E69F00", "V": "#3DD6A5"},
        others=("#E5A6C8", "#F0E442", "#D98A5B"),
    ),
}


class Drawing(Figure):
    """A figure that notebooks show without a window system or an inline backend."""

    def _repr_png_(self) -> bytes:
        content = io.BytesIO()
        self.savefig(content, format="png", dpi=110)
        return content.getvalue()


def named_style(name: str) -> Style:
    """Return the style of this name.

    Raises
    ------
    InputError
        There is none.
    """
    if name not in STYLES:
        raise InputError(f"there is no style {name!r}", remedy=f"Use {' or '.join(repr(known) for known in STYLES)}")
    return STYLES[name]


def canvas(
    axes: Axes | Iterable[Axes] | None,
    rows: int,
    columns: int,
    size: tuple[float, float],
    style: Style,
    **sharing: Any,
) -> tuple[Figure, np.ndarray]:
    """Return a figure and its axes, shape (rows, columns): a new one of `size` inches, or the caller's own.

    Raises
    ------
    InputError
        The caller's axes are not as many as the panels.
    """
    if axes is None:
        figure: Figure = Drawing(figsize=size, facecolor=style.paper, layout="constrained")
        return figure, figure.subplots(rows, columns, squeeze=False, **sharing)
    given = np.array([axes] if not isinstance(axes, Iterable) else list(axes), dtype=object).ravel()
    if given.size != rows * columns:
        panels = f"{rows * columns} panel{'s' * (rows * columns != 1)}"
        raise InputError(f"{given.size} axes were given for a figure of {panels}", source="axes")
    return given[0].get_figure(root=True), given.reshape(rows, columns)


def quieten(axes: Axes, style: Style, nbins: int | None = 5) -> None:
    """Leave of an axes' frame what helps to read it."""
    if isinstance(axes, Panel):
        axes.quieten(style, nbins)
        return
    axes.set_facecolor("none")
    axes.spines[["top", "right"]].set_visible(False)
    axes.spines[["left", "bottom"]].set_color(style.faint)
    axes.grid(color=style.rule, linewidth=0.6)
    axes.set_axisbelow(True)
    axes.tick_params(labelsize=8.5, colors=style.ink, length=3)
    for text in (axes.xaxis.label, axes.yaxis.label, axes.title):
        text.set(color=style.ink, fontsize=9)
    if nbins is not None:
        axes.locator_params(nbins=nbins, axis="y")


def logarithmic(axes: Axes, which: str = "both", marks: tuple[float, ...] = (1.0, 2.0, 5.0)) -> None:
    """Make the ``"x"`` axis, the ``"y"`` axis or both logarithmic, numbered at these multiples of each decade."""
    if isinstance(axes, Panel):
        axes.logarithmic("xy" if which == "both" else which, marks)
        return
    for letter in "xy" if which == "both" else which:
        axes.set(**{f"{letter}scale": "log"})
        axis = axes.xaxis if letter == "x" else axes.yaxis
        axis.set_major_locator(LogLocator(subs=marks, numticks=20))
        axis.set_minor_locator(NullLocator())
        axis.set_major_formatter(FuncFormatter(lambda value, _: f"{value:g}"))


def finish(figure: Figure, own: bool, what: str, style: Style, result: Result | None = None) -> Figure:
    """Put the caution, and on a figure of our own the heading, where they belong.

    A caller who drew into axes of a figure of their own keeps what they wrote at its top and its foot. The heading says
    `what` is shown, and of which `result` if it is of one.
    """
    if own:
        text = what if result is None else heading(result, what)
        letters = max(len(line) for line in text.splitlines())
        size = 11 * min(1.0, LETTERS_AN_INCH * figure.get_size_inches()[0] / letters)
        figure.suptitle(text, fontsize=size, color=style.ink)
    if not figure.get_supxlabel():
        figure.supxlabel(CAUTION, fontsize=7, color=style.faint)
    return figure


def heading(result: Result, what: str) -> str:
    """Return a figure's heading: the place, the record, what is shown, and the most severe finding."""
    warning = {"unfit": "\nunfit for use: see the findings", "doubt": "\nin doubt: see the findings"}
    where = place(result.record)
    joint = ": " if len(where) + len(what) < WIDEST_HEADING else "\n"
    return f"{where}{joint}{what}{warning.get(result.severity, '')}"


def place(record: Record) -> str:
    """Return the station's name and the record's id, cut to what a heading has room for."""
    return ", ".join(part for part in (shortened(record.station.name, 30), shortened(record.id, 36)) if part)


def shortened(text: str, most: int) -> str:
    """Return a text on one line, cut where it is longer than `most`, as `printable` in a figure.

    Examples
    --------
    >>> shortened("Quay of the Long Name", 12)
    'Quay of the…'
    """
    text = printable(" ".join(text.split()))
    return text if len(text) <= most else f"{text[: most - 1].rstrip()}…"


def printable(text: str) -> str:
    """Return a text without what the figures' font has no letters for, and without marks that would turn it about.

    Those are the marks of mathematical text, and those that turn the direction of writing.

    Examples
    --------
    >>> printable("5 $ at \N{CJK UNIFIED IDEOGRAPH-6E2F}")
    '5  at ?'
    """
    letters = _letters()
    kept = (letter for letter in text if letter not in TURNING)
    return "".join(letter if ord(letter) in letters else "?" for letter in kept)


@functools.cache
def _letters() -> frozenset[int]:
    return frozenset(get_font(findfont(FontProperties())).get_charmap())


def save(figure: Figure, path: str | Path) -> Path:
    """Write a figure as PNG, whole or not at all, with the caution in its metadata.

    Raises
    ------
    ArchiveError
        The file cannot be written.
    """
    path = Path(path)
    content = io.BytesIO()
    figure.savefig(
        content, format="png", dpi=130, metadata={"Software": f"strongmotion {__version__}", "Description": CAUTION}
    )
    write_whole(path, content.getvalue(), replace=True)
    return path
