"""The few units of the trade, exact.

Inside the library acceleration is in m/s², velocity in m/s, displacement in m. Other units exist only at the
edges: files come in `counts`, `g`, `mg`, `%g`, `cm/s2` (gal), `m/s2` and others, and a person may ask for results in
`m/s2`, `cm/s2` or `g`.
The standard acceleration of gravity is 9.80665 m/s² exactly (ISO 80000-3).
"""

from __future__ import annotations

from .errors import InputError

__all__ = ["ACCELERATION", "COUNTS", "G", "acceleration_unit", "in_unit", "label"]

G = 9.80665
"""Standard acceleration of gravity, m/s² (ISO 80000-3, exact)."""

COUNTS = "counts"
"""The unit of a digitiser's integers; a sensitivity in counts per m/s² turns them into acceleration."""

ACCELERATION = {
    "m/s2": 1.0, "cm/s2": 0.01, "g": G, "mm/s2": 0.001, "um/s2": 1e-6, "nm/s2": 1e-9, "mg": 0.001 * G, "ug": 1e-6 * G,
    "%g": 0.01 * G, "mgal": 1e-5, "in/s2": 0.0254, "ft/s2": 0.3048,
}  # fmt: skip
"""m/s² in one of each unit of acceleration that samples may have."""

SHOWN = {"m/s2": 1.0, "cm/s2": 100.0, "g": 1.0 / G}
"""The units that results are given in: what one m/s² is in each."""

_WORDS = {
    "g": (
        "g", "g0", "gn", "gravity", "gravities", "fractions of gravity", "fraction of gravity", "fraction of g",
        "fractions of g", "units of gravity", "units of the acceleration of gravity", "acceleration of gravity",
        "g units", "g unit", "units of g", "g's", "gs",
    ),
    "mg": (
        "mg", "milli-g", "millig", "milli g", "milligravity", "g/1000", "1e-3 g", "10^-3 g", "0.001 g",
        "thousandths of g", "thousandths of gravity", "thousandth of g",
    ),
    "ug": ("ug", "µg", "μg", "micro-g", "microg", "micro g", "1e-6 g", "10^-6 g", "millionths of g"),
    "%g": (
        "%g", "% g", "% of g", "pct g", "pct of g", "percent g", "percent of g", "percent of gravity", "per cent of g",
        "per cent g", "per cent of gravity", "percent gravity", "g/100", "0.01 g", "hundredths of g",
        "hundredths of gravity", "hundredth of g", "% de g", "% di g", "por ciento de g", "por cento de g",
        "pour cent de g", "per cento di g", "prozent g", "prozent von g",
    ),
    "cm/s2": ("gal", "gals", "gales"),
    "mgal": ("mgal", "milligal", "milligals"),
    COUNTS: ("counts", "count", "cts", "cnt", "cnts", "digital counts", "digitiser counts", "digitizer counts",
        "raw counts", "digits", "lsb"),
}  # fmt: skip
_LENGTHS = {
    "m": ("m", "meter", "meters", "metre", "metres"),
    "cm": ("cm", "centimeter", "centimeters", "centimetre", "centimetres"),
    "mm": ("mm", "millimeter", "millimeters", "millimetre", "millimetres"),
    "um": ("um", "µm", "μm", "micrometer", "micrometers", "micrometre", "micrometres"),
    "nm": ("nm", "nanometer", "nanometers", "nanometre", "nanometres"),
    "in": ("in", "inch", "inches"),
    "ft": ("ft", "foot", "feet"),
}
_PER_SECOND_SQUARED = (
    "/s2", "ps2", "/s**2", "/s/s", " s-2", ".s-2", "*s-2", "s-2", " s**-2", "/(s*s)", "/s*s",
    " per second per second", " per second squared", " per s per s", " per square second", "/second/second",
)  # fmt: skip
_CANONICAL = {spelling: unit for unit, spellings in _WORDS.items() for spelling in spellings} | {
    name + ending: f"{length}/s2"
    for length, names in _LENGTHS.items()
    for name in names
    for ending in _PER_SECOND_SQUARED
}


def _plain(text: str) -> str:
    spelling = " ".join(text.split()).lower()
    for odd, usual in (("²", "2"), ("^", "**"), ("s**2", "s2"), ("seconds", "second"), ("sec.", "s"), ("sec", "s"),
                       ("·", "."), ("sond", "second")):  # fmt: skip
        spelling = spelling.replace(odd, usual)
    return spelling.replace("s**2", "s2").replace(" / ", "/").replace("10**-", "10^-")


def acceleration_unit(text: str) -> str:
    """Name a unit of recorded samples as the library spells it.

    Parameters
    ----------
    text : str
        Any usual spelling: ``"Gal"``, ``"cm/s^2"``, ``"m/s/s"``, ``"g"``, ``"counts"``.

    Returns
    -------
    str
        ``"counts"``, or one of `ACCELERATION`.

    Raises
    ------
    InputError
        The unit is not one of these.

    Examples
    --------
    >>> acceleration_unit("Gal")
    'cm/s2'
    """
    try:
        return _CANONICAL[_plain(text)]
    except KeyError:
        raise InputError(
            f"unknown unit {text!r}", remedy="Use m/s2, cm/s2 (gal), mm/s2, in/s2, g, %g, mg or counts"
        ) from None


def in_unit(unit: str) -> float:
    """Return the factor that turns m/s² into `unit`.

    Examples
    --------
    >>> round(9.80665 * in_unit("g"), 12)
    1.0
    """
    name = acceleration_unit(unit)
    if name not in SHOWN:
        raise InputError(f"results cannot be given in {name}", remedy="Use m/s2, cm/s2 (gal) or g")
    return SHOWN[name]


def label(unit: str) -> str:
    """Return the unit as printed on an axis or over a column.

    Examples
    --------
    >>> label("cm/s2")
    'cm/s²'
    """
    return unit.replace("s2", "s²")
