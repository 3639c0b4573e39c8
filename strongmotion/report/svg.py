"""Figures as inline SVG for pages: drawn fast, small, and without an id that another figure has too."""

from __future__ import annotations

import io
import re
from html import escape

import matplotlib
import numpy as np
from matplotlib.backends.backend_svg import FigureCanvasSVG
from matplotlib.figure import Figure

from ..cautions import CAUTION

__all__ = ["sheet", "svg"]

_ID = re.compile(r'((?:\bid="|url\(#|xlink:href="#))([pmCD][0-9a-zA-Z_]*)')
_GROUP_ID = re.compile(r'<g id="[^"]*"')
_PATH = re.compile(r' d="[^"]*"')
_LONG = re.compile(r"(\.\d\d)\d+")


def sheet(
    rows: int,
    columns: int,
    width: float,
    height: float,
    *,
    margins: tuple[float, float, float, float] = (0.78, 0.16, 0.26, 0.46),
    gaps: tuple[float, float] = (0.12, 0.16),
    height_ratios: tuple[float, ...] | None = None,
    share: bool = True,
) -> tuple[Figure, np.ndarray]:
    """Return a bare figure and its axes, shape (rows, columns), laid out by fixed measures, in inches.

    Parameters
    ----------
    rows, columns : int
    width, height : float
    margins : tuple of float
        Left, right, above and below the axes.
    gaps : tuple of float
        Between rows and between columns.
    height_ratios : tuple of float, optional
        Of the rows.
    share : bool
        Number only the outermost axes, as those of one column and of one row are alike.
    """
    figure = Figure(figsize=(width, height), facecolor="none")
    FigureCanvasSVG(figure)
    left, right, above, below = margins
    inner_width = (width - left - right - gaps[1] * (columns - 1)) / columns
    inner_height = (height - above - below - gaps[0] * (rows - 1)) / rows
    axes = figure.subplots(
        rows, columns, squeeze=False, sharex="col" if share else False, sharey="row" if share else False,
        gridspec_kw={
            "left": left / width, "right": 1 - right / width, "top": 1 - above / height, "bottom": below / height,
            "hspace": gaps[0] / inner_height, "wspace": gaps[1] / inner_width, "height_ratios": height_ratios,
        },
    )  # fmt: skip
    figure.supxlabel(" ")  # the page, and the description of each figure, carry the caution
    return figure, axes


def svg(figure: Figure, key: str, title: str) -> str:
    """Return a figure as SVG to stand in a page.

    Parameters
    ----------
    figure : Figure
    key : str
        Prefix of every id in it, so that no two figures of a page share one.
    title : str
        Its text alternative.
    """
    content = io.StringIO()
    with matplotlib.rc_context({"svg.fonttype": "none", "svg.hashsalt": "strongmotion", "path.simplify": True}):
        figure.savefig(content, format="svg", metadata={"Date": None, "Creator": None})
    text = content.getvalue()
    text = text[text.index("<svg") :]
    text = re.sub(r"<metadata>.*?</metadata>", "", text, count=1, flags=re.DOTALL)
    text = _GROUP_ID.sub("<g", text)
    text = _ID.sub(lambda found: f"{found[1]}{key}-{found[2]}", text)
    text = _PATH.sub(lambda found: " ".join(_LONG.sub(r"\1", found[0]).split()).join((" ", "")), text)
    size = re.search(r'viewBox="0 0 ([\d.]+) ([\d.]+)"', text)
    assert size is not None
    opening = (
        f'<svg viewBox="0 0 {size[1]} {size[2]}" role="img" aria-labelledby="{key}-title {key}-desc" '
        f'xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink">'
        f'<title id="{key}-title">{escape(title)}</title><desc id="{key}-desc">{escape(CAUTION)}</desc>'
    )
    return opening + text[text.index(">") + 1 :]
