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
    "geometric mean": ("The root of the product of the peaks of H1 and H2.", "common practice"),
    "resultant": ("The largest length, at one instant, of the vector of all components.", "common practice"),
}

_MEASURES = {
    "PGV / PGA": "Peak velocity over peak acceleration: long where slow motion prevails.",
    "sustained maximum acceleration, third": "The third highest peak of acceleration, one a half-cycle.",
    "sustained maximum acceleration, fifth": "The fifth highest peak of acceleration, one a half-cycle.",
    "sustained maximum velocity, third": "The third highest peak of velocity, one a half-cycle.",
    "sustained maximum velocity, fifth": "The fifth highest peak of velocity, one a half-cycle.",
    "effective peak acceleration": "Mean PSA at 5 % damping over periods from 0.1 to 0.5 s, divided by 2.5.",
    "Arias intensity": "pi / (2 g) times the integral over time of acceleration squared.",
    "cumulative absolute velocity": "The integral over time of the absolute acceleration.",
    "standardized cumulative absolute velocity": "The integral of the absolute acceleration over those windows of one "
    "second in which it reaches 0.025 g.",
    "cumulative absolute velocity above 5 cm/s2": "The integral of absolute acceleration while it reaches 5 cm/s².",
    "squared-velocity integral": "The integral over time of velocity squared.",
    "rms acceleration": "The root mean square acceleration over the significant duration from 5 to 95 %.",
    "characteristic intensity": "rms acceleration to the power 1.5 times the root of the duration, both over the "
    "significant duration from 5 to 95 %.",
    "Housner spectrum intensity": "The integral of pseudo-velocity, 20 % damping, over periods from 0.1 to 2.5 s.",
    "velocity spectrum intensity": "The integral of pseudo-velocity, 5 % damping, over periods from 0.1 to 2.5 s.",
    "acceleration spectrum intensity": "The integral of PSA, 5 % damping, over periods from 0.1 to 0.5 s.",
    "significant duration 5-75 %": "The time over which Arias intensity grows from 5 to 75 % of its whole.",
    "significant duration 5-95 %": "The time over which Arias intensity grows from 5 to 95 % of its whole.",
    "bracketed duration": "From the first to the last time the acceleration reaches the threshold of the settings.",
    "uniform duration": "For how long in all the acceleration is at or above the threshold of the settings.",
    "effective duration": "From an Arias intensity of 0.01 m/s to 0.125 m/s less than its whole.",
    "effective cycles": "Cycles of the largest range that would do as much as all, each by its range squared.",
    "mean period": "The mean of 1 / f weighted by the squared Fourier amplitude, from 0.25 to 20 Hz.",
    "predominant period": "The period at which PSA is largest.",
    "central frequency": "The root of the second over the zeroth spectral moment.",
    "spectral bandwidth": "sqrt(1 - m1² / (m0 m2)) of the spectral moments: 0 for one sinusoid, towards 1 for noise.",
    "kappa": "How fast the Fourier amplitude falls, as exp(-pi kappa f), in the band of the settings.",
    "standard error of kappa": "That of the straight line through the logarithm of the amplitude.",
    "permanent displacement": "By how much the ground stands elsewhere after the shaking, with what the record allows.",
    "Modified Mercalli intensity from PGA, 1999": "The grade that the relation gives for the larger PGA of H1 and H2.",
    "Modified Mercalli intensity from PGV, 1999": "The grade that the relation gives for the larger PGV of H1 and H2.",
    "Modified Mercalli intensity from PGA, 2012": "The grade that the relation gives for the larger PGA of H1 and H2.",
    "Modified Mercalli intensity from PGV, 2012": "The grade that the relation gives for the larger PGV of H1 and H2.",
    "rectilinearity": "How far the motion keeps to one line: 1 on a line, 0 alike in all directions.",
    "Japanese seismic intensity": "From the three components under the filter of the definition, by the level that "
    "is exceeded for 0.3 s in all.",
}
"""Each as `strongmotion.measures` computes it; its source stands in the table of measures."""


def definition_of(name: str, source: str = "") -> Definition:
    """Return the definition of a quantity; of one that is not in this glossary, the `source` its table gives."""
    meaning, known = _KNOWN.get(name, (_MEASURES.get(name, "As its source defines it."), ""))
    return Definition(key_of(name), name, meaning, known or source or "the documentation of strongmotion")
