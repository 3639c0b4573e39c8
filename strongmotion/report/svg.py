"""Panels that write themselves as SVG: what the figures draw into on a page.

Matplotlib spends some 20 ms on a pair of axes before a line is drawn, and a record's page has thirty of them. A `Panel`
takes the same few calls that the figures of this package make of an Axes, and writes plain SVG: fast, small, with text
as text, and without an id that another figure of the page has too. It is no Axes beyond that.
"""

from __future__ import annotations

import functools
import math
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from html import escape
from typing import Any

import numpy as np
from matplotlib.colors import to_hex, to_rgba
from numpy.typing import ArrayLike, NDArray

from ..foundation.cautions import CAUTION
from .decimate import peaks_kept

__all__ = ["LETTER", "Panel", "Sheet"]

Floats = NDArray[np.float64]

COLUMNS = 600
"""Columns of pixels that a trace is thinned to: two and more for each of the screen at the sizes of a page."""

LONGEST_PATH = 8000
"""Most points of a path that turns back."""

LETTER = 0.6
"""Mean width of a letter as a part of its size, for the room a legend takes."""

_LIFT = {"top": 0.8, "center": 0.35, "bottom": -0.2, "baseline": 0.0}
_ANCHOR = {"left": "start", "center": "middle", "right": "end"}

# Names of transforms, as an Axes has objects for them.
_DATA, _AXES, _FOOT = "data", "axes", "x in data, y in axes"


@dataclass(eq=False)
class Drawn:
    """A line, an area or a text of a panel, with what Matplotlib calls its properties."""

    kind: str
    x: Floats
    y: Floats
    label: str
    options: dict[str, Any]
    transform: str = _DATA
    text: str = ""
    high: Floats | None = None

    def get_label(self) -> str:
        """Return the label."""
        return self.label

    def get_title(self) -> Drawn:
        """Return the title of a legend, which has its colour already."""
        return self

    def set_color(self, colour: str) -> None:
        """Take a colour."""
        self.options["color"] = colour


class Panel:
    """One pair of axes on a `Sheet`.

    Parameters
    ----------
    sheet : Sheet
    box : tuple of float
        Left, top, width and height on the sheet, points.
    numbered : bool
        Whether the horizontal axis is numbered.
    """

    transAxes = _AXES

    def __init__(self, sheet: Sheet, box: tuple[float, float, float, float], numbered: bool) -> None:
        self._sheet, self._box, self._numbered = sheet, box, numbered
        self.lines: list[Drawn] = []
        self._others: list[Drawn] = []
        self._scale = {"x": "linear", "y": "linear"}
        self._limits: dict[str, tuple[float, float] | None] = {"x": None, "y": None}
        self._labels = {"x": "", "y": "", "title": ""}
        self._marks: dict[str, Sequence[float]] = {}
        self._ticks: dict[str, Sequence[float]] = {}
        self._most = {"x": 9, "y": 5}
        self._margin = 0.05
        self._equal, self._whole, self._ruled = False, False, True
        self._legend: tuple[list[Any], dict[str, Any]] | None = None
        self._look: Any = None

    # What an Axes is asked for

    def get_figure(self, root: bool = True) -> Sheet:
        """Return the sheet."""
        return self._sheet

    def get_xaxis_transform(self) -> str:
        """Return the name of coordinates that are data across and part of the panel up."""
        return _FOOT

    def plot(self, x: ArrayLike, y: ArrayLike, marker: str = "", **options: Any) -> list[Drawn]:
        """Draw a line, or marks."""
        if marker:
            options |= {"marker": marker, "linestyle": "none"}
        return [self._line("line", x, y, options)]

    def axvline(self, x: float, **options: Any) -> Drawn:
        """Draw a line from foot to head."""
        return self._line("line", [x, x], [0.0, 1.0], options | {"transform": _FOOT})

    def axhline(self, y: float, **options: Any) -> Drawn:
        """Draw a line from side to side."""
        return self._line("across", [0.0, 1.0], [y, y], options)

    def axvspan(self, first: float, last: float, **options: Any) -> Drawn:
        """Shade from one to another place on the horizontal axis."""
        return self._other("span", [first, last], [0.0, 1.0], options | {"transform": _FOOT})

    def fill_between(self, x: ArrayLike, low: ArrayLike, high: ArrayLike, **options: Any) -> Drawn:
        """Shade between two lines."""
        drawn = self._other("area", x, low, options)
        drawn.high = np.asarray(high, dtype=float)
        return drawn

    def hist(self, values: Floats, bins: Floats, **options: Any) -> None:
        """Draw how many values lie in each bin."""
        for count, first, last in zip(np.histogram(values, bins)[0], bins, bins[1:], strict=False):
            self._other("bar", [first, last], [0.0, float(count)], dict(options))

    def text(self, x: float, y: float, text: str, **options: Any) -> None:
        """Write."""
        self._other("text", [x], [y], options).text = text

    def annotate(self, text: str, at: tuple[float, float], **options: Any) -> None:
        """Write beside a point."""
        where = options.pop("xycoords", _DATA)
        options["transform"] = _FOOT if where == ("data", "axes fraction") else where
        options.setdefault("ha", "left")
        self.text(*at, text, **options)

    def legend(self, handles: Iterable[Any] | None = None, **options: Any) -> Drawn:
        """Explain the lines."""
        kept = [
            drawn
            for drawn in (self._others + self.lines if handles is None else handles)
            if drawn.get_label() and not drawn.get_label().startswith("_")
        ]
        self._legend = (kept, options)
        return Drawn("title", np.empty(0), np.empty(0), "", options)

    def set(self, **properties: Any) -> None:
        """Set limits, and the aspect."""
        for name, value in properties.items():
            if name in ("xlim", "ylim"):
                self._limits[name[0]] = value
            elif name in ("xscale", "yscale"):
                self._scale[name[0]] = value
            else:
                self._equal = value == "equal"

    def set_xlim(self, first: float, last: float) -> None:
        """Set the limits across."""
        self._limits["x"] = (first, last)

    def set_ylim(self, bottom: float | None = None, top: float | None = None) -> None:
        """Set the limits up; the one not given stays with the data."""
        low, high = self.get_ylim()
        self._limits["y"] = (low if bottom is None else bottom, high if top is None else top)

    def get_xlim(self) -> tuple[float, float]:
        """Return the limits across."""
        return self._limits["x"] or self._reach("x")

    def get_ylim(self) -> tuple[float, float]:
        """Return the limits up."""
        return self._limits["y"] or self._reach("y")

    def set_xlabel(self, text: str) -> None:
        """Name the horizontal axis."""
        self._labels["x"] = text

    def set_ylabel(self, text: str) -> None:
        """Name the vertical axis."""
        self._labels["y"] = text

    def set_title(self, text: str) -> None:
        """Write above the panel."""
        self._labels["title"] = text

    def set_yticks(self, ticks: Sequence[float]) -> None:
        """Choose where the vertical axis is numbered."""
        self._ticks["y"] = ticks

    def margins(self, y: float) -> None:
        """Leave room above and below the lines, as a part of their height."""
        self._margin = y

    def locator_params(self, axis: str = "both", nbins: int | None = None, integer: bool = False) -> None:
        """Choose at how many places an axis is numbered at most, and whether at whole numbers alone."""
        for letter in "xy" if axis == "both" else axis:
            self._most[letter] = nbins or self._most[letter]
        self._whole = integer

    def grid(self, visible: bool) -> None:
        """Choose whether lines run across the panel at its numbers."""
        self._ruled = visible

    def logarithmic(self, which: str, marks: Sequence[float]) -> None:
        """Make axes logarithmic, numbered at these multiples of each decade."""
        for letter in which:
            self._scale[letter], self._marks[letter] = "log", marks

    def quieten(self, look: Any, nbins: int | None) -> None:
        """Take the colours of the frame."""
        self._look = look
        if nbins is not None:
            self._most["y"] = nbins

    # Where all lies, for what is to keep clear of it: points, upwards from the head of the sheet

    @property
    def frame(self) -> tuple[float, float, float, float]:
        """Left, foot, right and head of the box that is drawn into."""
        left, top, width, height = self._inner()
        return left, -top - height, left + width, -top

    def points_of(self, x: Sequence[float], y: Sequence[float]) -> list[tuple[float, float]]:
        """Return data as points."""
        across, down = (
            self._to_points(np.asarray(x, dtype=float), "x"),
            self._to_points(np.asarray(y, dtype=float), "y"),
        )
        return [(float(a), -float(b)) for a, b in zip(across, down, strict=True)]

    @property
    def taken(self) -> list[tuple[float, float, float, float]]:
        """The boxes of texts and of the legend."""
        boxes = []
        for drawn in self._others:
            if drawn.kind == "text":
                (x,), (y,) = self._points(drawn)
                size, shift = drawn.options.get("fontsize", 9), drawn.options.get("xytext", (0.0, 0.0))
                wide = LETTER * size * len(drawn.text)
                left = x + shift[0] - wide * {"left": 0.0, "center": 0.5, "right": 1.0}[drawn.options.get("ha", "left")]
                foot = -y + shift[1] - size * {"top": 1.0, "center": 0.5}.get(drawn.options.get("va", ""), 0.2)
                boxes.append((left, foot, left + wide, foot + 1.2 * size))
        if self._legend is not None and self._legend[0]:
            left, top, wide, high = self._legend_box()
            boxes.append((left, -top - high, left + wide, -top))
        return boxes

    # What it makes of it

    def _line(self, kind: str, x: ArrayLike, y: ArrayLike, options: dict[str, Any]) -> Drawn:
        drawn = self._drawn(kind, x, y, options)
        self.lines.append(drawn)
        return drawn

    def _other(self, kind: str, x: ArrayLike, y: ArrayLike, options: dict[str, Any]) -> Drawn:
        drawn = self._drawn(kind, x, y, options)
        self._others.append(drawn)
        return drawn

    def _drawn(self, kind: str, x: ArrayLike, y: ArrayLike, options: dict[str, Any]) -> Drawn:
        return Drawn(
            kind, np.asarray(x, dtype=float), np.asarray(y, dtype=float), options.pop("label", ""), options,
            options.pop("transform", _DATA),
        )  # fmt: skip

    def _reach(self, letter: str) -> tuple[float, float]:
        """Return limits that hold all lines, with a margin."""
        seen = [
            values
            for drawn in [*self.lines, *(other for other in self._others if other.kind in ("area", "bar"))]
            for values in ((drawn.x,) if letter == "x" else (drawn.y, drawn.high))
            if values is not None
            and (drawn.transform == _DATA or (letter == "x" and drawn.transform == _FOOT))
            and not (drawn.kind == "across" and letter == "x")
        ]
        values = np.concatenate(seen) if seen else np.empty(0)
        log = self._scale[letter] == "log"
        values = values[np.isfinite(values) & ((values > 0) | (not log))]
        if not values.size:
            return (0.1, 10.0) if log else (0.0, 1.0)
        low, high = float(values.min()), float(values.max())
        if log:
            room = (high / low) ** self._margin if high > low else 2.0
            return low / room, high * room
        room = self._margin * (high - low) or 0.05 * abs(high) or 1.0
        bars = any(other.kind == "bar" for other in self._others) and letter == "y"
        return (0.0 if bars else low - room), high + room

    def _places(self, letter: str) -> tuple[list[float], list[str]]:
        """Return where an axis is numbered, and the numbers."""
        low, high = self.get_xlim() if letter == "x" else self.get_ylim()
        slack = 1e-9 * abs(high - low)
        if letter in self._ticks:
            places = [float(tick) for tick in self._ticks[letter]]
            return places, [f"{place:g}" for place in places]
        if self._scale[letter] == "log":
            first, last = math.floor(math.log10(low)), math.ceil(math.log10(high))
            every = [mark * 10.0**power for power in range(first, last + 1) for mark in self._marks[letter]]
            places = [place for place in every if low * (1 - 1e-9) <= place <= high * (1 + 1e-9)]
            return places, [f"{place:g}" for place in places]
        power = 10.0 ** math.floor(math.log10((high - low) / self._most[letter]))
        power = max(power, 1.0) if self._whole and letter == "y" else power
        step = next(n * power for n in (1.0, 2.0, 2.5, 5.0, 10.0) if (high - low) / (n * power) <= self._most[letter])
        first = math.ceil((low - slack) / step)
        places = [k * step for k in range(first, math.floor((high + slack) / step) + 1)]
        digits = max(0, -math.floor(math.log10(step) + 1e-9) + (f"{step:e}".startswith("2.5")))
        if digits > 5 or step >= 1e6:
            return places, [f"{place:.3g}" for place in places]
        return places, [f"{place:.{digits}f}".replace("-", "−") for place in places]

    def _to_points(self, values: Floats, letter: str) -> Floats:
        """Return data as points on the sheet."""
        left, top, width, height = self._inner()
        low, high = self.get_xlim() if letter == "x" else self.get_ylim()
        if self._scale[letter] == "log":
            low, high = math.log10(low), math.log10(high)
            values = np.log10(values, where=values > 0, out=np.full(values.shape, np.nan))
        part = (values - low) / ((high - low) or 1.0)
        return left + width * part if letter == "x" else top + height * (1.0 - part)

    def _inner(self) -> tuple[float, float, float, float]:
        """Return the box that is drawn into: square where both axes have one scale."""
        left, top, width, height = self._box
        if self._equal:
            side = min(width, height)
            return left + (width - side) / 2, top + (height - side) / 2, side, side
        return self._box

    def _points(self, drawn: Drawn, y: Floats | None = None) -> tuple[Floats, Floats]:
        left, top, width, height = self._inner()
        up = drawn.y if y is None else y
        if drawn.transform == _AXES:
            return left + width * drawn.x, top + height * (1.0 - up)
        if drawn.kind == "across":
            return left + width * drawn.x, self._to_points(up, "y")
        across = self._to_points(drawn.x, "x")
        return across, top + height * (1.0 - up) if drawn.transform == _FOOT else self._to_points(up, "y")

    def write(self, key: str) -> str:
        """Return the panel as SVG; `key` is the id of its clip path."""
        left, top, width, height = self._inner()
        look = self._look
        frame = f'<rect x="{left:.1f}" y="{top:.1f}" width="{width:.1f}" height="{height:.1f}"/>'
        out = [f'<clipPath id="{key}">{frame}</clipPath>']
        clipped = f'<g clip-path="url(#{key})"'
        shades = [self._write_area(drawn) for drawn in self._others if drawn.kind == "span"]
        areas = [self._write_area(drawn) for drawn in self._others if drawn.kind in ("area", "bar")]
        out += [f"{clipped}>", *shades, "</g>"] if shades else []
        out.append(self._write_frame(look))
        out += [f"{clipped}>", *areas, "</g>"] if areas else []
        ordered = sorted(self.lines, key=lambda drawn: drawn.options.get("zorder", 2))
        out += [f'{clipped} fill="none">', *(self._write_line(drawn) for drawn in ordered), "</g>"]
        out += [self._write_marks(drawn) for drawn in ordered if drawn.options.get("marker")]
        out += [self._write_text(drawn) for drawn in self._others if drawn.kind == "text"]
        out.append(self._write_names(look))
        if self._legend is not None:
            out.append(self._write_legend(look))
        return "".join(out)

    def _write_frame(self, look: Any) -> str:
        left, top, width, height = self._inner()
        right, foot = left + width, top + height
        out = []
        xs, x_numbers = self._places("x")
        ys, y_numbers = self._places("y")
        across = self._to_points(np.array(xs), "x").tolist()
        up = self._to_points(np.array(ys), "y").tolist()
        grid = "".join(f"M{x:.1f} {top:.1f}V{foot:.1f}" for x in across)
        grid += "".join(f"M{left:.1f} {y:.1f}H{right:.1f}" for y in up)
        if self._ruled:
            out.append(f'<path d="{grid}" stroke="{look.rule}" stroke-width=".6" fill="none"/>')
        ticks = f"M{left:.1f} {top:.1f}V{foot:.1f}H{right:.1f}"
        ticks += "".join(f"M{x:.1f} {foot:.1f}v3" for x in across) + "".join(f"M{left:.1f} {y:.1f}h-3" for y in up)
        out.append(f'<path d="{ticks}" stroke="{look.faint}" stroke-width=".8" fill="none"/>')
        if self._numbered:
            numbers = zip(across, x_numbers, strict=True)
            texts = "".join(f'<text x="{x:.1f}" y="{foot + 11.5:.1f}">{number}</text>' for x, number in numbers)
            out.append(f'<g font-size="8.5" text-anchor="middle" fill="{look.ink}">{texts}</g>')
        numbers = zip(up, y_numbers, strict=True)
        texts = "".join(f'<text x="{left - 5:.1f}" y="{y + 3:.1f}">{number}</text>' for y, number in numbers)
        out.append(f'<g font-size="8.5" text-anchor="end" fill="{look.ink}">{texts}</g>')
        return "".join(out)

    def _write_names(self, look: Any) -> str:
        left, top, width, height = self._inner()
        out = []
        if self._labels["x"]:
            foot = top + height + (25 if self._numbered else 12)
            out.append(f'<text x="{left + width / 2:.1f}" y="{foot:.1f}">{escape(self._labels["x"])}</text>')
        if self._labels["y"]:
            middle, side = top + height / 2, self._box[0] - self._sheet.left + 9
            out.append(
                f'<text x="{side:.1f}" y="{middle:.1f}" transform="rotate(-90 {side:.1f} {middle:.1f})">'
                f"{escape(self._labels['y'])}</text>"
            )
        if self._labels["title"]:
            out.append(f'<text x="{left + width / 2:.1f}" y="{top - 6:.1f}">{escape(self._labels["title"])}</text>')
        return f'<g font-size="9" text-anchor="middle" fill="{look.ink}">{"".join(out)}</g>'

    def _write_line(self, drawn: Drawn) -> str:
        if drawn.options.get("linestyle") == "none":
            return ""
        x, y = self._points(drawn)
        if len(x) > 4 * COLUMNS:
            x, y = peaks_kept(x, y, COLUMNS) if (np.diff(x) >= 0).all() else _strided(x, y)
        path = _path(x, y)
        if not path:
            return ""
        line = f'<path d="{path}"{_stroke(drawn)}/>'
        if "gid" not in drawn.options:
            return line
        # A line with a name of its own says it when pointed at, a little beside the line, too.
        name = f"<title>{escape(drawn.label.lstrip('_'))}</title>"
        beside = f'<path d="{path}" stroke="transparent" stroke-width="9"/>'
        return f'<g class="line" data-line="{escape(drawn.options["gid"])}">{name}{line}{beside}</g>'

    def _write_marks(self, drawn: Drawn) -> str:
        x, y = self._points(drawn)
        size = drawn.options.get("markersize", 6.0) / 2
        colour = to_hex(drawn.options.get("color", "#000"))
        out = []
        for a, b in zip(x.tolist(), y.tolist(), strict=True):
            if not (math.isfinite(a) and math.isfinite(b)):
                continue
            if drawn.options["marker"] == "o":
                edge = drawn.options.get("markeredgecolor")
                rim = f' stroke="{edge}" stroke-width=".5"' if edge else ""
                out.append(f'<circle cx="{a:.1f}" cy="{b:.1f}" r="{size:.1f}" fill="{colour}"{rim}/>')
            else:
                arms = f"M{a:.1f} {b - size:.1f}v{2 * size:.1f}"
                arms += f"M{a - size:.1f} {b:.1f}h{2 * size:.1f}" if drawn.options["marker"] == "+" else ""
                out.append(f'<path d="{arms}" stroke="{colour}"/>')
        return "".join(out)

    def _write_area(self, drawn: Drawn) -> str:
        colour = to_hex(drawn.options.get("color", "#000"))
        opacity = f' fill-opacity="{drawn.options["alpha"]:g}"' if "alpha" in drawn.options else ""
        x, y = self._points(drawn)
        if drawn.kind == "area":
            assert drawn.high is not None
            above = self._points(drawn, drawn.high)[1]
            known = np.isfinite(x) & np.isfinite(y) & np.isfinite(above)
            x, y, above = x[known], y[known], above[known]
            path = _path(np.append(x, x[::-1]), np.append(y, above[::-1]))
            return f'<path d="{path}Z" fill="{colour}"{opacity}/>' if path else ""
        if not np.isfinite(x).all():
            x = np.clip(np.nan_to_num(x, nan=self._inner()[0]), -1e4, 1e4)
        edge = ' stroke="#fff" stroke-width=".6"' if drawn.kind == "bar" else ""
        size = f'width="{max(x[1] - x[0], 0.1):.1f}" height="{abs(y[1] - y[0]):.1f}"'
        return f'<rect x="{x[0]:.1f}" y="{min(y):.1f}" {size} fill="{colour}"{opacity}{edge}/>'

    def _write_text(self, drawn: Drawn) -> str:
        (x,), (y,) = self._points(drawn)
        left, top, width, height = self._inner()
        if not (math.isfinite(x) and math.isfinite(y)):
            return ""
        if drawn.options.get("clip_on") and not (left <= x <= left + width and top <= y <= top + height):
            return ""
        shift = drawn.options.get("xytext", (0.0, 0.0))
        x, y = x + shift[0], y - shift[1]
        options = drawn.options
        size = options.get("fontsize", 9)
        return _text(
            drawn.text, x, y, size, options.get("color", "#000"),
            (options.get("ha", "left"), options.get("va", "baseline")), options.get("rotation", 0), "bbox" in options,
        )  # fmt: skip

    def _legend_columns(self) -> list[float]:
        """Return the widths of the legend's columns."""
        assert self._legend is not None
        handles, options = self._legend
        size, across = options.get("fontsize", 9), options.get("ncols", 1)
        down = -(-len(handles) // across)
        return [
            28 + LETTER * size * max(len(handle.get_label()) for handle in handles[c * down : (c + 1) * down])
            for c in range(across)
            if handles[c * down : (c + 1) * down]
        ]

    def _legend_box(self) -> tuple[float, float, float, float]:
        """Return left, top, width and height of the legend."""
        assert self._legend is not None
        handles, options = self._legend
        size, across = options.get("fontsize", 9), options.get("ncols", 1)
        down = -(-len(handles) // across)
        width, height = sum(self._legend_columns()), 1.45 * size * (down + bool(options.get("title", ""))) + 3
        left, top, room_x, room_y = self._inner()
        vertical, horizontal = options.get("loc", "upper right").split()
        x = {"left": left + 5, "right": left + room_x - width - 3, "center": left + (room_x - width) / 2}[horizontal]
        y = {"upper": top + 4, "lower": top + room_y - height - 4, "center": top + (room_y - height) / 2}[vertical]
        return x, y, width, height

    def _write_legend(self, look: Any) -> str:
        assert self._legend is not None
        handles, options = self._legend
        if not handles:
            return ""
        size, across = options.get("fontsize", 9), options.get("ncols", 1)
        title = options.get("title", "")
        down = -(-len(handles) // across)
        line = 1.45 * size
        wide = self._legend_columns()
        x, y, width, height = self._legend_box()
        out = []
        if options.get("frameon", True):
            out.append(
                f'<rect x="{x:.1f}" y="{y:.1f}" width="{width:.1f}" height="{height:.1f}" fill="{look.paper}" '
                f'fill-opacity=".85"/>'
            )
        if title:
            out.append(_text(title, x + 4, y + line - 3, size, look.ink, ("left", "baseline")))
            y += line
        for number, handle in enumerate(handles):
            column, row = divmod(number, down)
            at, middle = x + sum(wide[:column]), y + line * (row + 0.5) + 1.5
            out.append(self._write_key(handle, at + 3, middle))
            out.append(_text(handle.get_label(), at + 24, middle, size, look.ink, ("left", "center")))
        return "".join(out)

    def _write_key(self, handle: Any, x: float, y: float) -> str:
        """Return what stands before a line of the legend."""
        if isinstance(handle, Drawn):
            options, kind = handle.options, handle.kind
        else:  # a line that Matplotlib made for a legend alone
            options, kind = {"color": handle.get_color(), "linewidth": handle.get_linewidth()}, "line"
            if handle.get_alpha() is not None:
                options["alpha"] = handle.get_alpha()
        if kind in ("span", "area"):
            opacity = f' fill-opacity="{options["alpha"]:g}"' if "alpha" in options else ""
            colour = to_hex(options["color"])
            return f'<rect x="{x:.1f}" y="{y - 3.5:.1f}" width="17" height="7" fill="{colour}"{opacity}/>'
        if options.get("marker") == "o":
            mark = Drawn("line", np.empty(0), np.empty(0), "", options)
            edge = f' stroke="{options["markeredgecolor"]}" stroke-width=".5"' if "markeredgecolor" in options else ""
            return f'<circle cx="{x + 8:.1f}" cy="{y:.1f}" r="3.2" fill="{to_hex(mark.options["color"])}"{edge}/>'
        drawn = Drawn("line", np.empty(0), np.empty(0), "", options)
        return f'<path d="M{x:.1f} {y:.1f}h17" fill="none"{_stroke(drawn)}/>'


class Sheet:
    """A figure of panels laid out by fixed measures, in inches.

    Parameters
    ----------
    rows, columns : int
    width, height : float
    margins : tuple of float
        Left, right, above and below the panels.
    gaps : tuple of float
        Between rows and between columns.
    ratios : sequence of float, optional
        Heights of the rows to each other.
    share : bool
        Number only the lowest panels across, as those of one column are alike.
    """

    def __init__(
        self,
        rows: int,
        columns: int,
        width: float,
        height: float,
        *,
        margins: tuple[float, float, float, float] = (0.66, 0.16, 0.26, 0.42),
        gaps: tuple[float, float] = (0.13, 0.16),
        ratios: Sequence[float] | None = None,
        share: bool = True,
    ) -> None:
        self._size = (72 * width, 72 * height)
        left, right, above, below = (72 * margin for margin in margins)
        down, beside = (72 * gap for gap in gaps)
        self.left = left
        wide = (self._size[0] - left - right - beside * (columns - 1)) / columns
        parts = np.array(ratios if ratios is not None else [1.0] * rows, dtype=float)
        high = (self._size[1] - above - below - down * (rows - 1)) * parts / parts.sum()
        self.panels: list[Any] = [
            Panel(
                self,
                (left + column * (wide + beside), above + float(high[:row].sum()) + row * down, wide, float(high[row])),
                numbered=row == rows - 1 or not share,
            )
            for row in range(rows)
            for column in range(columns)
        ]

    def get_supxlabel(self) -> str:
        """Return the small print: the page carries it, and so does the description of each figure."""
        return CAUTION

    def align_ylabels(self, panels: Any) -> None:
        """Names of vertical axes stand at one distance from the edge already."""

    def svg(self, key: str, title: str) -> str:
        """Return the figure as SVG to stand in a page.

        Parameters
        ----------
        key : str
            Begins every id in it, so that no two figures of a page share one.
        title : str
            Its text alternative.
        """
        drawn = "".join(panel.write(f"{key}-{number}") for number, panel in enumerate(self.panels))
        return (
            f'<svg viewBox="0 0 {self._size[0]:g} {self._size[1]:g}" role="img" '
            f'aria-labelledby="{key}-title {key}-desc" xmlns="http://www.w3.org/2000/svg">'
            f'<title id="{key}-title">{escape(title)}</title><desc id="{key}-desc">{escape(CAUTION)}</desc>'
            f"{drawn}</svg>"
        )


def _strided(x: Floats, y: Floats) -> tuple[Floats, Floats]:
    """Thin a path that turns back: a point at each stride along it, and those farthest to every side.

    A stride is half a point, or longer where the path is so long that its turns lie over each other.
    """
    way = np.concatenate(([0.0], np.cumsum(np.hypot(np.diff(x), np.diff(y)))))
    stride = max(0.5, way[-1] / LONGEST_PATH)
    kept = np.flatnonzero(np.diff(np.floor(way / stride), prepend=-1.0))
    kept = np.unique([*kept, len(x) - 1, x.argmin(), x.argmax(), y.argmin(), y.argmax()])
    return x[kept], y[kept]


def _path(x: Floats, y: Floats) -> str:
    """Return points, to a tenth of one, as the data of a path, broken where one is not known."""
    known = np.isfinite(x) & np.isfinite(y)
    if not known.all():
        edges = np.flatnonzero(np.diff(np.concatenate(([False], known, [False])).astype(np.int8))).reshape(-1, 2)
        return "".join(_path(x[first:last], y[first:last]) for first, last in edges)
    if not x.size:
        return ""
    x, y = (np.rint(10.0 * np.clip(values, -1e4, 1e4)) for values in (x, y))
    if x.size > 2:  # points that fall together are one
        moved = np.concatenate(([True], (np.diff(x) != 0) | (np.diff(y) != 0)))
        x, y = x[moved], y[moved]
    begin = f"M{x[0] / 10.0:g} {y[0] / 10.0:g}"
    if x.size == 1:
        return begin
    # Steps from point to point are half as long to write as places. They are whole tenths, so they add up exactly.
    steps = np.column_stack((np.diff(x), np.diff(y))).astype(int).ravel().tolist()
    return f"{begin}l{''.join([_tenths(step) for step in steps])}"


@functools.cache
def _tenths(step: int) -> str:
    """Return a number of tenths as a path has it, with what parts it from the number before."""
    text = f"{step / 10.0:g}".replace("0.", ".", 1) if abs(step) < 10 and step else f"{step / 10.0:g}"
    return text if step < 0 else f" {text}"


def _stroke(drawn: Drawn) -> str:
    """Return the attributes of a line."""
    options = drawn.options
    red, green, blue, opacity = to_rgba(options.get("color", "#000"), options.get("alpha"))
    width = options.get("linewidth", 1.5)
    out = f' stroke="{to_hex((red, green, blue))}" stroke-width="{width:g}"'
    if opacity < 1:
        out += f' stroke-opacity="{opacity:g}"'
    dashes = options.get("linestyle", "-")
    if not isinstance(dashes, str):
        # Matplotlib counts dashes in line widths.
        out += f' stroke-dasharray="{" ".join(f"{dash * max(width, 0.9):g}" for dash in dashes[1])}"'
    return (
        out
        if options.get("solid_capstyle") == "butt" or not isinstance(dashes, str)
        else f'{out} stroke-linejoin="round"'
    )


def _text(
    text: str,
    x: float,
    y: float,
    size: float,
    colour: str,
    anchor: tuple[str, str],
    rotation: float = 0.0,
    halo: bool = False,
) -> str:
    """Return a text, of one or several lines, at a place and an anchor: horizontal and vertical, as Matplotlib's."""
    ha, va = anchor
    lines = re.split("\n", text)
    line = 1.25 * size
    first = y + _LIFT[va] * size - (line * (len(lines) - 1)) * {"top": 0.0, "center": 0.5}.get(va, 1.0)
    turn = f' transform="rotate({-rotation:g} {x:.1f} {y:.1f})"' if rotation else ""
    around = ' paint-order="stroke" stroke="#fff" stroke-width="2.5" stroke-linejoin="round"' if halo else ""
    return "".join(
        f'<text x="{x:.1f}" y="{first + number * line:.1f}" font-size="{size:g}" text-anchor="{_ANCHOR[ha]}" '
        f'fill="{to_hex(colour)}"{turn}{around}>{escape(part)}</text>'
        for number, part in enumerate(lines)
        if part
    )
