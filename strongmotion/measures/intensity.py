"""Macroseismic intensity from instruments: Modified Mercalli from peaks, and the Japanese filter method.

An instrumental intensity estimates what people and buildings would have reported. Individual reports scatter by about a
grade.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from ..foundation.arrays import positive, signal
from ..foundation.errors import InputError

__all__ = [
    "MERCALLI_RELATIONS",
    "MercalliRelation",
    "japanese_intensity",
    "japanese_words",
    "mercalli_words",
    "modified_mercalli",
    "peak_of_mercalli",
]

HELD_FOR = 0.3
"""s: the Japanese intensity is that of the acceleration held or exceeded for this long in all."""


@dataclass(frozen=True)
class MercalliRelation:
    """Intensity as two straight lines over the log10 of a peak in cm/s² or cm/s.

    Parameters
    ----------
    low, high : (float, float)
        Constant and slope below and above the break.
    peak_break, grade_break : float
        Where the lines meet: log10 of the peak, and grade.
    sigma : float
        Standard deviation of intensity, grades.
    """

    low: tuple[float, float]
    high: tuple[float, float]
    peak_break: float
    grade_break: float
    sigma: float


def _crossing(low: tuple[float, float], high: tuple[float, float], sigma: float) -> MercalliRelation:
    """Build a relation whose break is where its lines cross."""
    at = (low[0] - high[0]) / (high[1] - low[1])
    return MercalliRelation(low, high, at, low[0] + low[1] * at, sigma)


MERCALLI_RELATIONS = {
    ("Wald 1999", "PGA"): _crossing((1.00, 2.20), (-1.66, 3.66), 1.08),
    ("Wald 1999", "PGV"): _crossing((3.40, 2.10), (2.35, 3.47), 0.98),
    ("Worden 2012", "PGA"): MercalliRelation((1.78, 1.55), (-1.60, 3.70), 1.57, 4.22, 0.73),
    ("Worden 2012", "PGV"): MercalliRelation((3.78, 1.47), (2.89, 3.16), 0.53, 4.56, 0.65),
}
"""Relations by name and peak. All coefficients are from memory; those of each pair of lines agree where they meet."""


def modified_mercalli(peak: float, quantity: str = "PGA", relation: str = "Worden 2012") -> tuple[float, float]:
    """Estimate the Modified Mercalli intensity from a peak of the ground motion.

    Parameters
    ----------
    peak : float
        The larger of the two horizontal peaks: m/s² for PGA, m/s for PGV.
    quantity : {"PGA", "PGV"}
    relation : {"Worden 2012", "Wald 1999"}
        From California. That of 1999 was fitted to grades V to VIII (PGA) and V to IX (PGV); its lower line only
        continues it.

    Returns
    -------
    intensity, sigma : float
        Grades, the first from 1 to 10; and the standard deviation of the relation, without terms of magnitude and
        distance.

    Raises
    ------
    InputError
        The peak is negative or not finite, or the relation is not known.

    References
    ----------
    Wald, D. J., Quitoriano, V., Heaton, T. H. and Kanamori, H. (1999). Relationships between peak ground acceleration,
    peak ground velocity, and Modified Mercalli intensity in California. Earthquake Spectra 15(3), 557-564.

    Worden, C. B., Gerstenberger, M. C., Rhoades, D. A. and Wald, D. J. (2012). Probabilistic relationships between
    ground-motion parameters and Modified Mercalli intensity in California. Bulletin of the Seismological Society of
    America 102(1), 204-221.

    Examples
    --------
    >>> modified_mercalli(1.0)  # -1.60 + 3.70 log10(100)
    (5.8, 0.73)
    """
    lines = _relation(quantity, relation)
    if not (math.isfinite(peak) and peak >= 0):
        raise InputError(f"expected a finite peak, not negative, found {peak}", source=quantity)
    if peak == 0:
        return 1.0, lines.sigma
    log = math.log10(100.0 * peak)
    constant, slope = lines.low if log <= lines.peak_break else lines.high
    return round(min(10.0, max(1.0, constant + slope * log)), 12), lines.sigma


def peak_of_mercalli(intensity: float, quantity: str = "PGA", relation: str = "Worden 2012") -> tuple[float, float]:
    """Estimate a peak of the ground motion from the Modified Mercalli intensity.

    The lines of `modified_mercalli` read the other way. Those of 2012 were fitted to be read both ways; those of 1999
    were not, and read backwards they are only an indication.

    Parameters
    ----------
    intensity : float
        Grades, from 1 to 10.
    quantity, relation
        As in `modified_mercalli`.

    Returns
    -------
    peak, sigma : float
        m/s² or m/s; and the standard deviation of its log10, here that of intensity over the line's slope. The paper
        of 2012 prints values of its own for it, which are not repeated here.

    Raises
    ------
    InputError
        The intensity is not from 1 to 10, or the relation is not known.

    Examples
    --------
    >>> peak, sigma = peak_of_mercalli(5.8)
    >>> round(peak, 6), round(sigma, 3)
    (1.0, 0.197)
    """
    lines = _relation(quantity, relation)
    if not 1.0 <= intensity <= 10.0:
        raise InputError(f"expected an intensity from 1 to 10, found {intensity}")
    constant, slope = lines.low if intensity <= lines.grade_break else lines.high
    return 10.0 ** ((intensity - constant) / slope) / 100.0, lines.sigma / slope


def mercalli_words(intensity: float) -> tuple[str, str]:
    """Return the grade, a Roman numeral, and in words what shaking of this Modified Mercalli intensity does.

    The words are our own, after common descriptions of the scale.

    Examples
    --------
    >>> mercalli_words(5.8)
    ('VI', 'felt by all, many frightened; objects fall, plaster cracks here and there')
    """
    if not math.isfinite(intensity):
        raise InputError(f"expected a finite intensity, found {intensity}")
    return _MERCALLI[min(10, max(1, math.floor(intensity + 0.5))) - 1]


_MERCALLI = (
    ("I", "not felt, but by very few under the best conditions"),
    ("II", "felt by a few people at rest, mostly on upper floors"),
    ("III", "felt indoors by some, as if a cart passed; hanging things may swing"),
    ("IV", "felt indoors by many; dishes, windows and doors rattle"),
    ("V", "felt by nearly all; sleepers wake, small unstable things tip over"),
    ("VI", "felt by all, many frightened; objects fall, plaster cracks here and there"),
    ("VII", "hard to stand; weak buildings are damaged, ordinary ones a little"),
    ("VIII", "damage in ordinary buildings, weak ones collapse in part; chimneys and walls fall"),
    ("IX", "heavy damage even in good buildings; some shift off their foundations"),
    ("X", "most masonry and frames destroyed with their foundations; the ground cracks"),
)


def japanese_intensity(a1: ArrayLike, a2: ArrayLike, vertical: ArrayLike, dt: float) -> float:
    """Compute the Japanese seismic intensity by the filter method (JMA, 1996).

    All components are filtered in the frequency domain by

        sqrt(1 / f) · (1 + 0.694 x² + 0.241 x⁴ + 0.0557 x⁶ + 0.009664 x⁸ + 0.00134 x¹⁰ + 0.000155 x¹²)^(-1/2)
        · sqrt(1 - exp(-(f / 0.5)³)),    x = f / 10,

    and their vector sum taken. With a the level, cm/s², that it holds or exceeds for 0.3 s in all, the intensity is
    2 log10(a) + 0.94. The coefficients are from memory.

    Parameters
    ----------
    a1, a2, vertical : array (n,)
        m/s². The record is taken as it is: the filter is circular, so let it begin and end quietly.
    dt : float
        Sampling interval, s.

    Returns
    -------
    float
        Not rounded; the published value is rounded to hundredths and then cut to tenths. Minus infinity for
        a record that is zero throughout.

    Raises
    ------
    InputError
        A component is empty, of the wrong shape or not finite; lengths differ; dt is not above 0; or the record is
        shorter than 0.3 s.

    References
    ----------
    Japan Meteorological Agency (1996). Notification no. 4 of 15 February 1996, on the calculation of seismic intensity.

    Examples
    --------
    >>> a = np.sin(2 * np.pi * np.arange(0, 40, 0.01))
    >>> round(japanese_intensity(a, 0 * a, 0 * a, 0.01), 2)  # 100 cm/s² at 1 Hz
    4.94
    """
    components = [signal(name, a) for name, a in (("first", a1), ("second", a2), ("vertical", vertical))]
    dt = positive("dt", dt)
    n = components[0].size
    if any(component.size != n for component in components):
        sizes = ", ".join(str(component.size) for component in components)
        raise InputError(f"the components have {sizes} samples", remedy="Cut all to the samples they have in common")
    if n * dt < HELD_FOR:
        raise InputError(f"a record of {n * dt:g} s is shorter than the {HELD_FOR:g} s the intensity must be held for")
    gain = japanese_filter(np.asarray(np.fft.rfftfreq(n, dt), dtype=np.float64))
    filtered = np.fft.irfft(np.fft.rfft(np.stack(components)) * gain, n)
    level = _held(np.sqrt((filtered**2).sum(axis=0)), HELD_FOR / dt)
    return float(2.0 * np.log10(100.0 * level) + 0.94) if level > 0 else -math.inf


def japanese_filter(frequency: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the gain of the filter of `japanese_intensity`; 0 at 0 Hz, where the low-cut outdoes the 1 / sqrt(f)."""
    x = (frequency / 10.0) ** 2
    high_cut = 1.0 + x * (0.694 + x * (0.241 + x * (0.0557 + x * (0.009664 + x * (0.00134 + x * 0.000155)))))
    low_cut = -np.expm1(-((frequency / 0.5) ** 3))
    return np.sqrt(np.divide(low_cut, frequency * high_cut, out=np.zeros_like(frequency), where=frequency > 0))


def japanese_words(intensity: float) -> tuple[str, str]:
    """Return the class of a Japanese seismic intensity, and in words what such shaking does.

    The bounds of the classes are the agency's, and hold for the intensity as it publishes it: rounded to two decimals,
    of which the second is then cut off (JMA, 1996; from memory). 4.496 is 5 lower. The words are our own.

    Examples
    --------
    >>> japanese_words(4.94)
    ('5 lower', 'many want to hold on to something; dishes and books may fall')
    """
    if math.isnan(intensity):
        raise InputError("expected an intensity, found nan")
    return next((grade, words) for bound, grade, words in _JAPANESE if intensity < bound - 0.005 or bound == math.inf)


_JAPANESE = (
    (0.5, "0", "not felt; instruments alone record it"),
    (1.5, "1", "felt by some who keep still indoors"),
    (2.5, "2", "felt by many who keep still indoors; lamps swing a little"),
    (3.5, "3", "felt by most indoors; dishes may rattle"),
    (4.5, "4", "most are startled; lamps swing widely, unstable things may fall"),
    (5.0, "5 lower", "many want to hold on to something; dishes and books may fall"),
    (5.5, "5 upper", "hard to walk without a hold; unfixed furniture and weak block walls may fall"),
    (6.0, "6 lower", "hard to stand; much unfixed furniture moves or falls, tiles and windows may break"),
    (6.5, "6 upper", "people are thrown down or must crawl; weak buildings lean or collapse"),
    (math.inf, "7", "people are tossed about; weak buildings collapse, strong ones may be damaged"),
)


def _held(size: NDArray[np.float64], samples: float) -> float:
    """Return the level held or exceeded for so many samples in all, each of which stands for one interval."""
    ordered = np.sort(size)[::-1]
    return float(np.interp(samples - 0.5, np.arange(size.size), ordered))


def _relation(quantity: str, relation: str) -> MercalliRelation:
    try:
        return MERCALLI_RELATIONS[relation, quantity]
    except KeyError:
        known = "; ".join(f"{name} for {peak}" for name, peak in MERCALLI_RELATIONS)
        raise InputError(f"no relation {relation!r} for {quantity!r}", remedy=f"Choose from: {known}") from None
