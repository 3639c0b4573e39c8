"""What each number on a page means, and who defined it."""

from __future__ import annotations

import re
from dataclasses import dataclass

from ..measures import MEASURES

__all__ = ["Definition", "definition_of", "key_of"]


@dataclass(frozen=True)
class Definition:
    """A quantity in a sentence, with the publication it comes from; `key` is its anchor on a page."""

    key: str
    name: str
    meaning: str
    source: str


def key_of(name: str) -> str:
    """Return a name as an anchor.

    Examples
    --------
    >>> key_of("significant duration 5-95 %")
    'significant-duration-5-95'
    """
    return re.sub(r"[^a-z0-9]+", "-", name.lower()).strip("-")


_KNOWN = {
    "PSA": (
        "Pseudo-acceleration: (2 pi / T)² times the largest displacement, relative to the ground, of a damped "
        "oscillator of period T; here at 5 % of critical damping unless stated otherwise.",
        "Nigam & Jennings (1969)",
    ),
    "RotD50": (
        "The median, over all horizontal directions, of a peak or a spectral ordinate. RotD00 and RotD100 are the "
        "least and the largest.",
        "Boore (2010)",
    ),
    "usable band": (
        "The periods over which the numbers hold: from one over the high-cut to a fraction of one over the low-cut. "
        "Ordinates outside it are marked †.",
        "Akkar & Bommer (2006)",
    ),
    "band of a number": (
        "The 5 to 95 % range of the number over processing choices that an expert could equally have made.",
        "our own, after Boore & Bommer (2005) on the influence of processing choices",
    ),
    "geometric mean": ("The root of the product of the peaks of H1 and H2.", "common practice"),
    "resultant": ("The largest length, at one instant, of the vector of all components.", "common practice"),
}


def definition_of(name: str, source: str = "") -> Definition:
    """Return the definition of a quantity or a measure.

    An archive may hold a measure of another version, which is unknown here: its definition is the `source` that its
    table gives.
    """
    found = {measure.name: (measure.words, measure.source) for measure in MEASURES} | _KNOWN
    return Definition(key_of(name), name, *found.get(name, ("As its source defines it.", source or "not given")))
