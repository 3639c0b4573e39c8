"""What each number on a page means, and who defined it."""

from __future__ import annotations

import re
from dataclasses import dataclass

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
    "PGA": (
        "Peak ground acceleration: the largest corrected acceleration, either sign, among the samples.",
        "Chopra, Dynamics of Structures, ch. 6",
    ),
    "PGV": (
        "Peak ground velocity: the largest corrected velocity, either sign, among the samples.",
        "Chopra, Dynamics of Structures, ch. 6",
    ),
    "PGD": (
        "Peak ground displacement: the largest corrected displacement, either sign, among the samples. It depends on "
        "the low-cut more than any other peak.",
        "Chopra, Dynamics of Structures, ch. 6; Boore & Bommer (2005)",
    ),
    "PSA": (
        "Pseudo-acceleration: (2 pi / T)² times the largest displacement, relative to the ground, of a damped "
        "oscillator of period T; here at 5 % of critical damping unless said otherwise.",
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
        "How far the number moves, from 5 to 95 %, over processing choices that an expert could equally have made.",
        "our own, after Boore & Bommer (2005) on the influence of processing choices",
    ),
    "Arias intensity": (
        "pi / (2 g) times the integral over time of acceleration squared: a measure of the energy shaking brings.",
        "Arias (1970)",
    ),
    "cumulative absolute velocity": ("The integral over time of the absolute acceleration.", "EPRI (1988)"),
    "significant duration 5-95 %": (
        "The time over which Arias intensity grows from 5 to 95 % of its whole.",
        "Trifunac & Brady (1975)",
    ),
    "significant duration 5-75 %": (
        "The time over which Arias intensity grows from 5 to 75 % of its whole.",
        "after Trifunac & Brady (1975), to 75 %",
    ),
}


def definition_of(name: str, source: str = "") -> Definition:
    """Return the definition of a quantity; of one that is not in this glossary, the `source` its table gives."""
    meaning, known = _KNOWN.get(name, ("As its source defines it.", ""))
    return Definition(key_of(name), name, meaning, known or source or "the documentation of strongmotion")
