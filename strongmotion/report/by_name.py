"""Figures of a result by name."""

from __future__ import annotations

import difflib
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from ..foundation.errors import InputError
from .motion_figures import husid_figure, motion_figure, offset_figure, particle_figure, raw_figure
from .processing_figure import processing_figure
from .spectrum_figures import acceleration_displacement_figure, rotation_figure, spectrum_figure, tripartite_figure

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from ..result import Result

__all__ = ["FIGURES", "draw"]

FIGURES: dict[str, Callable[..., Figure]] = {
    "motion": motion_figure,
    "raw": raw_figure,
    "offset": offset_figure,
    "husid": husid_figure,
    "particle": particle_figure,
    "processing": processing_figure,
    "spectrum": spectrum_figure,
    "tripartite": tripartite_figure,
    "rotation": rotation_figure,
    "acceleration-displacement": acceleration_displacement_figure,
}


def draw(result: Result, what: str = "motion", **options: Any) -> Figure:
    """Draw one of the figures of a result.

    Parameters
    ----------
    result : Result
    what : str
        A key of `FIGURES`.
    **options
        As that figure's function takes them: ``unit``, ``axes``, ``style`` and its own.

    Returns
    -------
    matplotlib.figure.Figure

    Raises
    ------
    InputError
        There is no such figure, or as that function says.
    """
    if what not in FIGURES:
        near = difflib.get_close_matches(what, FIGURES, n=1)
        raise InputError(
            f"there is no figure {what!r}" + (f", perhaps {near[0]!r}" if near else ""),
            remedy=f"Use {', '.join(FIGURES)}",
        )
    return FIGURES[what](result, **options)
