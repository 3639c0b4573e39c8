"""The few units of the trade, exact.

Inside the library acceleration is in m/s², velocity in m/s, displacement in m. Other units exist only at the
edges: files come in `counts`, `g`, `cm/s2` (gal) or `m/s2`, and a person may ask for results in the last three.
The standard acceleration of gravity is 9.80665 m/s² exactly (ISO 80000-3).
"""

from __future__ import annotations

from .errors import InputError

__all__ = ["ACCELERATION", "COUNTS", "G", "acceleration_unit", "in_unit", "label"]

G = 9.80665
"""Standard acceleration of gravity, m/s² (ISO 80000-3, exact)."""

COUNTS = "counts"
"""The unit of a digitiser's integers; a sensitivity in counts per m/s² turns them into acceleration."""

ACCELERATION = {"m/s2": 1.0, "cm/s2": 0.01, "g": G}
"""m/s² in one of each acceleration unit the library writes."""

_OTHER = {
    "mg": "0.001 g", "milli-g": "0.001 g", "%g": "0.01 g", "% g": "0.01 g", "mgal": "0.001 cm/s2",
    "mm/s2": "0.001 m/s2", "um/s2": "1e-6 m/s2", "µm/s2": "1e-6 m/s2", "nm/s2": "1e-9 m/s2",
    "ft/s2": "0.3048 m/s2", "in/s2": "0.0254 m/s2",
}  # fmt: skip
"""What other units of acceleration are worth, for a word on how to convert them. No unit is guessed from a near
spelling: it may be a thousand times another."""

_SPELLINGS = {
    "m/s2": (
        "m/s2",
        "m/s²",
        "m/s^2",
        "m/s**2",
        "m/s/s",
        "m s-2",
        "m.s-2",
        "m*s-2",
        "m s^-2",
        "m/sec2",
        "m/sec^2",
        "m/sec/sec",
    ),
    "cm/s2": (
        "cm/s2",
        "cm/s²",
        "cm/s^2",
        "cm/s**2",
        "cm/s/s",
        "cm s-2",
        "cm.s-2",
        "gal",
        "gals",
        "cm/sec2",
        "cm/sec^2",
        "cm/sec/sec",
    ),
    "g": ("g", "g0", "gn"),
    COUNTS: ("counts", "count", "cts"),
}
_CANONICAL = {spelling: unit for unit, spellings in _SPELLINGS.items() for spelling in spellings}


def acceleration_unit(text: str) -> str:
    """Name a unit of recorded samples as the library spells it.

    Parameters
    ----------
    text : str
        Any usual spelling: ``"Gal"``, ``"cm/s^2"``, ``"m/s/s"``, ``"g"``, ``"counts"``.

    Returns
    -------
    str
        ``"m/s2"``, ``"cm/s2"``, ``"g"`` or ``"counts"``.

    Raises
    ------
    InputError
        The unit is not one of these.

    Examples
    --------
    >>> acceleration_unit("Gal")
    'cm/s2'
    """
    spelling = " ".join(text.split()).lower()
    try:
        return _CANONICAL[spelling]
    except KeyError:
        worth = _OTHER.get(spelling.replace("^", "").replace("²", "2").replace("sec", "s"))
        if worth is None:
            raise InputError(f"unknown unit {text!r}", remedy="Use m/s2, cm/s2 (gal), g or counts") from None
        number, unit = worth.split()
        raise InputError(
            f"the unit {text!r} is not read: 1 {spelling} is {worth}",
            remedy=f"Multiply the samples by {number} and name their unit {unit}",
        ) from None


def in_unit(unit: str) -> float:
    """Return the factor that turns m/s² into `unit`.

    Examples
    --------
    >>> round(9.80665 * in_unit("g"), 12)
    1.0
    """
    name = acceleration_unit(unit)
    if name == COUNTS:
        raise InputError("results cannot be given in counts", remedy="Use m/s2, cm/s2 (gal) or g")
    return {"m/s2": 1.0, "cm/s2": 100.0, "g": 1.0 / G}[name]


def label(unit: str) -> str:
    """Return the unit as printed on an axis or over a column.

    Examples
    --------
    >>> label("cm/s2")
    'cm/s²'
    """
    return unit.replace("s2", "s²")
