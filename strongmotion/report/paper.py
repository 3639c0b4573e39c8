"""Upright pages that Matplotlib sets without a browser.

Text is laid out by the widths of the font that is embedded, so that nothing is cut off or runs into anything else.
"""

from __future__ import annotations

import functools
from dataclasses import dataclass, field
from typing import Any

from matplotlib.figure import Figure
from matplotlib.font_manager import FontProperties
from matplotlib.patches import Rectangle
from matplotlib.textpath import TextToPath

from .. import __version__
from ..foundation.cautions import CAUTION
from ..foundation.errors import InputError
from .style import STYLES, printable

__all__ = [
    "LARGE",
    "LEADING",
    "MARGIN",
    "NORMAL",
    "PAPERS",
    "POINTS",
    "SMALL",
    "PaperSheet",
    "known_paper",
    "lines_of",
]

PAPERS = {"a4": (210 / 25.4, 297 / 25.4), "letter": (8.5, 11.0)}
"""Paper upright: width and height, inches (ISO 216; ANSI/ASME Y14.1 size A)."""

POINTS = 72.0
MARGIN = 46.0
SMALL, NORMAL, LARGE = 7.5, 8.5, 13.0
LEADING = 1.32


def known_paper(name: str) -> str:
    """Return the name of a paper.

    Raises
    ------
    InputError
        There is none of that name.
    """
    if name not in PAPERS:
        raise InputError(f"there is no paper {name!r}", field="paper", remedy=f"Use {' or '.join(PAPERS)}")
    return name


@functools.cache
def width_of(text: str, size: float, weight: str) -> float:
    """Return the width of a text, points."""
    if not text:
        return 0.0
    return float(_setter().get_text_width_height_descent(text, FontProperties(size=size, weight=weight), False)[0])


@functools.cache
def _setter() -> TextToPath:
    return TextToPath()


def lines_of(text: str, width: float, size: float, weight: str = "normal") -> list[str]:
    """Break a text into lines no wider than `width` points; a longer word is broken within."""
    lines, line = [], ""
    for word in printable(" ".join(text.split())).split(" "):
        while width_of(word, size, weight) > width and len(word) > 1:
            most = max(1, int(len(word) * width / width_of(word, size, weight)) - 1)
            lines += [line] if line else []
            lines.append(word[:most])
            line, word = "", word[most:]
        joined = f"{line} {word}".strip()
        if width_of(joined, size, weight) > width:
            lines.append(line)
            line = word
        else:
            line = joined
    return [*lines, line] if line else lines


@dataclass
class PaperSheet:
    """One page, written from its head downwards; `at` is where the next line begins, points from the foot."""

    figure: Figure
    width: float
    at: float
    foot: float
    ink: str = field(default=STYLES["light"].ink)

    @classmethod
    def new(cls, paper: str, number: int, about: str) -> PaperSheet:
        """Return page `number` of two, with the caution and what it is about at its foot."""
        width, height = PAPERS[paper]
        figure = Figure(figsize=(width, height), facecolor="white")
        sheet = cls(figure, width * POINTS, height * POINTS - MARGIN, MARGIN + 2.4 * SMALL)
        faint = STYLES["light"].faint
        sheet.write(MARGIN, CAUTION, MARGIN - 4, SMALL, colour=faint)
        sheet.write(
            MARGIN, f"{about}. Page {number} of 2. strongmotion {__version__}", MARGIN - 15, SMALL, colour=faint
        )
        return sheet

    @property
    def across(self) -> float:
        """Room between the margins, points."""
        return self.width - 2 * MARGIN

    def write(self, x: float, text: str, y: float, size: float = NORMAL, **look: Any) -> None:
        """Write one line with its foot at `y`."""
        height = self.figure.get_size_inches()[1] * POINTS
        self.figure.text(
            x / self.width, y / height, printable(text), fontsize=size, va="baseline", ha=look.pop("ha", "left"),
            color=look.pop("colour", self.ink), parse_math=False, **look,
        )  # fmt: skip

    def line(self, text: str, size: float = NORMAL, indent: float = 0.0, **look: Any) -> None:
        """Write a line and go down."""
        self.at -= size * LEADING
        self.write(MARGIN + indent, text, self.at, size, **look)

    def paragraph(self, text: str, size: float = NORMAL, indent: float = 0.0, **look: Any) -> None:
        """Write a text over as many lines as it takes."""
        for line in lines_of(text, self.across - 2 * indent, size, look.get("weight", "normal")):
            self.line(line, size, indent, **look)

    def heading(self, text: str) -> None:
        """Write a heading under a rule."""
        self.at -= 9.0
        self.box(MARGIN, self.at, self.across, 0.8, self.ink)
        self.at -= 2.0
        self.line(text, 10.0, weight="bold")
        self.at -= 2.0

    def box(self, x: float, y: float, width: float, height: float, colour: str) -> None:
        """Fill a rectangle, behind what is written."""
        high = self.figure.get_size_inches()[1] * POINTS
        self.figure.patches.append(
            Rectangle(
                (x / self.width, y / high), width / self.width, height / high, transform=self.figure.transFigure,
                facecolor=colour, edgecolor="none", zorder=-1, figure=self.figure,
            )
        )  # fmt: skip

    def axes(self, rows: int, columns: int, height: float, gaps: tuple[float, float]) -> list[Any]:
        """Return panels over the whole width, `height` points high, with room for their labels; and go down."""
        high = self.figure.get_size_inches()[1] * POINTS
        top = self.at - 16.0
        bottom = self.at - height + 30.0
        left, right = MARGIN + 44.0, self.width - MARGIN
        grid = self.figure.add_gridspec(
            rows, columns, left=left / self.width, right=right / self.width, bottom=bottom / high, top=top / high,
            wspace=gaps[0], hspace=gaps[1],
        )  # fmt: skip
        self.at -= height
        return [
            self.figure.add_subplot(grid[row, column]) for row in range(rows) for column in range(columns)
        ]  # fmt: skip
