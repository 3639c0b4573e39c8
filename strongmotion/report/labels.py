"""Names beside points, placed so that none lies on another, on a point or on the legend."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING, Any, Literal

import numpy as np
from scipy.optimize import isotonic_regression

from .svg import LETTER, Panel

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from .style import Style

__all__ = ["Corner", "quietest_corner", "spread", "write_names"]

Corner = Literal["lower left", "upper left", "lower right", "upper right"]

Box = tuple[float, float, float, float]
"""Left, foot, right, head, points; upwards."""

AWAY = (7.0, 12.0, 19.0, 28.0, 40.0)
"""Distances from a point at which a name is tried, points."""

TURNS = (45, 135, -45, -135, 0, 180, 90, -90)
"""Directions, degrees from the right upwards, in which it is tried."""

CAPITAL = 1.15 * LETTER
"""Mean width of a letter of a station's code, as a part of its size."""

MARK = 5.0
"""Half the width of a point's mark, points."""

JOINED = 10.0
"""Farther than this a name is joined to its point, where the figure can."""


def write_names(
    panel: Axes,
    x: Sequence[float],
    y: Sequence[float],
    names: Sequence[str],
    size: float,
    look: Style,
    clear: Sequence[tuple[float, float]] = (),
) -> list[str]:
    """Write a name beside each point; call it once limits, legend and all else that is to be kept clear are there.

    Parameters
    ----------
    panel : Axes
        Or a `Panel`.
    x, y : sequence of float
        Data, by priority: the first names get the best places.
    names : sequence of str
    size : float
        Of the letters, points.
    look : Style
    clear : sequence of (float, float)
        Other points, data, that names are to keep clear of.

    Returns
    -------
    list of str
        Names for which there was no room, which are left out.
    """
    points, frame, taken = _laid_out(panel, [*x, *(a for a, _ in clear)], [*y, *(b for _, b in clear)])
    marks = [(px - MARK, py - MARK, px + MARK, py + MARK) for px, py in points]
    left_out = []
    for number, (a, b, name) in enumerate(zip(x, y, names, strict=True)):
        place = _place(points[number], name, size, frame, [*taken, *marks])
        if place is None:
            left_out.append(name)
            continue
        away, (dx, dy), box = place
        taken.append(box)
        joint: dict[str, Any] = {}
        if away > JOINED:
            joint["arrowprops"] = {
                "arrowstyle": "-", "linewidth": 0.5, "color": look.faint, "shrinkA": 0, "shrinkB": 3,
                "relpos": (0.5, 0.5),
            }  # fmt: skip
        panel.annotate(
            name, (a, b), xytext=(dx, dy), textcoords="offset points", fontsize=size, color=look.ink,
            ha="right" if dx < -1 else "left" if dx > 1 else "center", va="center", zorder=6, **joint,
        )  # fmt: skip
    return left_out


def spread(values: Sequence[float], gap: float, low: float, high: float) -> list[float]:
    """Return places for names at these values, in their order, a gap apart at least, within limits, and near.

    Examples
    --------
    >>> spread([2.0, 2.2, 5.0], 1.0, 0.0, 10.0)
    [1.6, 2.6, 5.0]
    """
    order = sorted(range(len(values)), key=lambda k: values[k])
    gap = min(gap, (high - low) / (len(values) + 1))
    steps = gap * np.arange(len(values))
    # Without the gaps the places only have to rise: least squares under that is isotonic regression.
    risen = isotonic_regression(np.array([values[k] for k in order]) - steps).x if order else np.empty(0)
    places = np.clip(risen, low + gap / 2, high - gap / 2 - gap * (len(values) - 1)) + steps
    found = [0.0] * len(values)
    for k, place in zip(order, places.tolist(), strict=True):
        found[k] = place
    return found


def quietest_corner(panel: Axes, x: Iterable[float], y: Iterable[float]) -> Corner:
    """Return the corner of a panel in whose quarter the fewest points lie, as a legend is placed; `x`, `y` are data."""
    (left, right), (foot, head) = panel.get_xlim(), panel.get_ylim()
    count: dict[Corner, float] = {"lower left": 0.0, "upper left": 0.0, "lower right": 0.0, "upper right": 0.0}
    for a, b in zip(x, y, strict=True):
        across, up = (a - left) / (right - left), (b - foot) / (head - foot)
        for corner in count:
            # Points weigh by how near to the corner they lie.
            down, side = corner.split()
            near = math.hypot(across - (side == "right"), up - (down == "upper"))
            count[corner] += max(0.0, 0.75 - near) ** 2
    return min(count, key=lambda corner: count[corner])


def _laid_out(
    panel: Any, x: Sequence[float], y: Sequence[float]
) -> tuple[list[tuple[float, float]], Box, list[Box]]:  # fmt: skip
    """Return where points lie, the frame, and what is taken, in points upwards."""
    if isinstance(panel, Panel):
        return panel.points_of(x, y), panel.frame, panel.taken
    figure = panel.get_figure(root=True)
    figure.draw_without_rendering()
    scale = 72.0 / figure.dpi
    points = [tuple(scale * part for part in panel.transData.transform((a, b))) for a, b in zip(x, y, strict=True)]

    def box_of(artist: Any) -> Box:
        box = artist.get_window_extent()
        return (scale * box.x0, scale * box.y0, scale * box.x1, scale * box.y1)

    taken = [box_of(text) for text in panel.texts if text.get_text().strip()]
    legend = panel.get_legend()
    if legend is not None:
        taken.append(box_of(legend))
    return points, box_of(panel), taken


def _place(
    point: tuple[float, float], name: str, size: float, frame: Box, taken: Sequence[Box]
) -> tuple[float, tuple[float, float], Box] | None:
    """Return distance, offset and box of the first place for a name that meets nothing; None if there is none."""
    wide, high = CAPITAL * size * len(name), 1.1 * size
    for away in AWAY:
        for turn in TURNS:
            dx, dy = away * math.cos(math.radians(turn)), away * math.sin(math.radians(turn))
            # A name stands beside its point; right above or below it is centred.
            left = point[0] + dx - (wide if dx < -1 else wide / 2 if abs(dx) <= 1 else 0.0)
            foot = point[1] + dy - high / 2
            box = (left, foot, left + wide, foot + high)
            if box[0] < frame[0] or box[2] > frame[2] or box[1] < frame[1] or box[3] > frame[3]:
                continue
            if not any(_meet(box, other) for other in taken):
                return away, (dx, dy), box
    return None


def _meet(one: Box, other: Box) -> bool:
    return one[0] < other[2] and other[0] < one[2] and one[1] < other[3] and other[1] < one[3]
