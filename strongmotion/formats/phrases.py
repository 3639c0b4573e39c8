"""Parsers for the values people write in headers: coordinates, dates and times, directions, units of numbers.

Each function returns every possible interpretation, so that its caller can ask if there are several. All patterns are
RE2's, whose search time is proportional to the text.
"""

from __future__ import annotations

import re
import unicodedata
from typing import NamedTuple

import numpy as np
import re2

from ..foundation.units import G

NUMBER = r"[-+]?(?:[0-9]+(?:[.,][0-9]*)?|[.,][0-9]+)(?:[eEdD][-+]?[0-9]{1,3})?"
"""A number in a header; the decimal sign may be a comma."""

_MONTHS = {
    name: month
    for month, names in enumerate(
        (
            "jan ene gen janv janvier january januar enero gennaio janeiro ocak",
            "feb fev fevr fevrier february februar febrero febbraio fevereiro subat",
            "mar mars march marz maerz marzo marco mrz mart",
            "apr abr avr avril april abril aprile nisan",
            "may mai maggio mayo mag maio mayis",
            "jun june juni juin junio giugno giu junho haziran",
            "jul july juli juillet julio luglio lug julho temmuz",
            "aug ago aou aout august agosto agustos",
            "sep sept set september septembre septiembre settembre setembro eylul",
            "oct okt ott out october oktober octobre octubre ottobre outubro ekim",
            "nov november novembre noviembre novembro kasim",
            "dec dez dic december dezember decembre diciembre dicembre dezembro aralik",
        ),
        1,
    )
    for name in names.split()
}

_CLOCK = (
    r"(?:(?P<h>[0-2]?[0-9])[:h] ?(?P<m>[0-5]?[0-9])(?:[:m] ?(?P<s>[0-5]?[0-9](?:[.,][0-9]{1,9})?) ?s?)?"
    r"|(?P<hms>[0-2][0-9][0-5][0-9][0-5][0-9](?:[.,][0-9]{1,9})?))"
)
_ZONE = re2.compile(
    r"(?i)(?:\b(?:UTC|GMT|UT|TU)\b *(?P<sign>[-+\x{2212}]) *(?P<h>[0-9]{1,2})(?::?(?P<m>[0-5][0-9]))?(?: *h)?"
    r"|(?P<utc>\bUTC\b|\bGMT\b|\bUT\b|\bTU\b|\bU\.T\.|[0-9]Z\b)"
    r"|[0-9] ?(?P<sign2>[-+])(?P<h2>[0-1][0-9]):?(?P<m2>[0-5][0-9])\b)"
)
_BETWEEN = r"(?:T|[ ,]+(?:at +)?)"
_CLOCK_NEXT = _CLOCK.replace("?P<h>", "").replace("?P<m>", "").replace("?P<s>", "").replace("?P<hms>", "")
_DATES = tuple(
    (kind, re2.compile(r"(?i)(?:^|[^0-9.])" + date + rf"(?:{_BETWEEN}{_CLOCK})?(?:[^0-9]|$)"))
    for kind, date in (
        ("ymd", r"(?P<a>[12][0-9]{3})[-/.](?P<b>[0-9]{1,2})[-/.](?P<c>[0-9]{1,2})"),
        ("dmy", r"(?P<a>[0-9]{1,2})[-/.](?P<b>[0-9]{1,2})[-/.](?P<c>[12][0-9]{3})"),
        (
            "dMy",
            r"(?P<a>[0-9]{1,2})(?:st|nd|rd|th)?[-/. ]+(?:de )?(?P<b>\pL{3,10})\.?,?[-/. ]+(?:de )?(?P<c>[12][0-9]{3})",
        ),
        ("Mdy", r"(?P<a>\pL{3,10})\.? +(?P<b>[0-9]{1,2})(?:st|nd|rd|th)?,? +(?P<c>[12][0-9]{3})"),
        ("yMd", r"(?P<a>[12][0-9]{3})[-/. ]+(?P<b>\pL{3,10})\.?[-/. ]+(?P<c>[0-9]{1,2})"),
        ("ord", r"(?P<a>[12][0-9]{3})(?:[.,/-]| +(?:day|doy|d) *)(?P<b>[0-3][0-9]{2})(?P<c>)"),
        ("ord", rf"(?P<a>[12][0-9]{{3}}) +(?P<b>[0-3][0-9]{{2}})(?P<c>) +{_CLOCK_NEXT}"),
        ("ymd", r"(?P<a>[12][0-9]{3})(?P<b>[01][0-9])(?P<c>[0-3][0-9])"),
    )
)
_CLOCK_ALONE = re2.compile(rf"(?i)(?:^|[^0-9.]){_CLOCK}(?:[^0-9]|$)")
_BLANKS_ONLY = re2.compile(
    r"\b([12][0-9]{3}) +([01]?[0-9]) +([0-3]?[0-9]) +([0-2]?[0-9]) +([0-5]?[0-9]) +([0-5]?[0-9](?:\.[0-9]*)?)\b"
)
_MONTH_AND_BLANKS = re2.compile(
    r"\b(([12][0-9]{3}) +\pL+ +[0-3]?[0-9]|[0-3]?[0-9] +\pL+ +([12][0-9]{3})) +([0-2]?[0-9]) +([0-5][0-9]) "
    r"+([0-5][0-9](?:\.[0-9]*)?)([^0-9.:]|$)"
)
_ORDER_SAID = re2.compile(
    r"(?i)\b(dd|mm|jj|tt|gg|aaaa|yyyy|jjjj)[-/. ](dd|mm|jj|tt|gg)[-/. ](dd|mm|jj|tt|gg|aaaa|yyyy|jjjj)\b"
)


class Moment(NamedTuple):
    """One interpretation of a text as an instant."""

    time: np.datetime64
    """The instant as written, or in UTC if the text or the caller gives the zone."""
    order: str
    """The order of day, month and year in this interpretation."""
    clock: bool
    """Whether the text includes the time of day."""
    zone: str
    """``UTC``, an offset such as ``+05:30``, or empty if the text does not state it."""


_LETTERS = str.maketrans({"ß": "ss", "ı": "i", "ø": "o", "Ø": "O", "ł": "l", "Ł": "L", "æ": "ae", "Æ": "AE"})
"""Letters that are not a plain one with an accent."""


def plain(text: str) -> str:
    """Return a text in lower case, without accents and with single blanks."""
    parted = unicodedata.normalize("NFKD", text.translate(_LETTERS))
    bare = "".join(c for c in parted if not unicodedata.combining(c))
    return " ".join(bare.replace("_", " ").lower().split())


def zone_in(text: str) -> str:
    """Return the time zone in a text: ``UTC``, an offset such as ``+05:30``, or empty."""
    match = _ZONE.search(text)
    if match is None:
        return ""
    sign, hours, minutes = match["sign"] or match["sign2"], match["h"] or match["h2"], match["m"] or match["m2"] or "00"
    if not sign:
        return "UTC"
    if int(hours) > 14:
        return ""
    return f"{'+' if sign == '+' else '-'}{int(hours):02d}:{minutes}"


def moments(text: str, order: str = "", zone: str = "") -> list[Moment]:
    """Return the possible instants of a text: several if day and month are ambiguous, none if it is not a date.

    Parameters
    ----------
    text : str
        A date, optionally with a time of day and a zone.
    order : {"", "dmy", "mdy", "ymd"}
        The order of day, month and year, if known.
    zone : str
        The zone if the text does not name one.

    Examples
    --------
    >>> [str(one.time) for one in moments("18/02/2003 17h 35m 33.32s (UTC + 3 h)")]
    ['2003-02-18T14:35:33.320000000']
    >>> [one.order for one in moments("03/04/2001 10:00:00 UTC")]
    ['dmy', 'mdy']
    """
    text = _BLANKS_ONLY.sub(r"\1-\2-\3 \4:\5:\6", text)
    text = _MONTH_AND_BLANKS.sub(r"\1 \4:\5:\6\7", text)
    if said := _ORDER_SAID.search(text):
        letters = "".join({"d": "d", "t": "d", "g": "d", "j": "d", "m": "m"}.get(part[0].lower(), "y") if len(part) == 2
                          else "y" for part in said.groups())  # fmt: skip
        order = order or (letters if letters in ("dmy", "mdy", "ymd") else "")
        text = text[: said.start()] + " " + text[said.end() :]
    elif words := re2.search(r"(?i)\(?\b(day|month|year)/(day|month|year)/(day|month|year)\b\)?", text):
        order = order or "".join(word[0].lower() for word in words.groups())
        text = text[: words.start()] + " " + text[words.end() :]
    for kind, pattern in _DATES:
        match = pattern.search(text[:200])
        if match is None:
            continue
        found = _of_date(match, kind, order)
        if not found:
            continue
        rest = text[match.end(3) if match[3] else match.end(2) :]
        clock = _clock(match) if match["h"] or match["hms"] else None
        if clock is None and (alone := _CLOCK_ALONE.search(rest) or _CLOCK_ALONE.search(text[: match.start()])):
            clock = _clock(alone)
        named = zone_in(text[match.start() :]) or zone_in(text) or zone
        return [
            Moment(_in_utc(day + (clock or np.timedelta64(0, "ns")), named), which, clock is not None, named)
            for which, day in found
        ]
    return []


def _of_date(match: re.Match[str], kind: str, order: str) -> list[tuple[str, np.datetime64]]:
    a, b, c = match["a"], match["b"], match["c"]
    tries: list[tuple[str, str | int, str | int, str | int]]
    if kind == "ord":
        if not 1 <= int(b) <= 366 or not 1900 <= int(a) <= 2150:
            return []
        day = np.datetime64(f"{int(a)}-01-01", "ns") + np.timedelta64(int(b) - 1, "D")
        return [("ordinal", day)]
    if kind == "ymd":
        tries = [("ymd", a, b, c)]
    elif kind == "dmy":
        tries = [("dmy", c, b, a), ("mdy", c, a, b)]
        if order in ("dmy", "mdy"):
            tries = [one for one in tries if one[0] == order]
    elif kind == "dMy":
        tries = [("dmy", c, _MONTHS.get(plain(b), 0), a)]
    elif kind == "Mdy":
        tries = [("mdy", c, _MONTHS.get(plain(a), 0), b)]
    else:
        tries = [("ymd", a, _MONTHS.get(plain(b), 0), c)]
    found: list[tuple[str, np.datetime64]] = []
    for which, year, month, day_ in tries:
        if 1900 <= int(year) <= 2150 and 1 <= int(month) <= 12 and 1 <= int(day_) <= 31:
            try:
                day = np.datetime64(f"{int(year):04d}-{int(month):02d}-{int(day_):02d}", "ns")
            except ValueError:
                continue
            if not any(day == other for _, other in found):
                found.append((which, day))
    return found


def _clock(match: re.Match[str]) -> np.timedelta64 | None:
    if match["hms"]:
        hours, minutes, seconds = match["hms"][:2], match["hms"][2:4], match["hms"][4:]
    else:
        hours, minutes, seconds = match["h"], match["m"], match["s"] or "0"
    if int(hours) > 23:
        return None
    whole, _, fraction = seconds.replace(",", ".").partition(".")
    total = (int(hours) * 60 + int(minutes)) * 60 + int(whole)
    return np.timedelta64(total * 1_000_000_000 + int((fraction + "000000000")[:9]), "ns")


def _in_utc(time: np.datetime64, zone: str) -> np.datetime64:
    if zone in ("", "UTC"):
        return time
    ahead = np.timedelta64(int(zone[1:3]) * 60 + int(zone[4:6]), "m")
    return time - ahead if zone[0] == "+" else time + ahead


_HEMISPHERES = {"n": (1, "latitude"), "s": (-1, "latitude"), "e": (1, "longitude"), "w": (-1, "longitude")}
_WORDS_OF_HEMISPHERES = (
    ("north", "n"), ("nord", "n"), ("norte", "n"), ("south", "s"), ("sud", "s"), ("sur", "s"), ("east", "e"),
    ("est", "e"), ("ost", "e"), ("este", "e"), ("west", "w"), ("ouest", "w"), ("oeste", "w"), ("ovest", "w"),
    ("kuzey", "n"), ("guney", "s"), ("dogu", "e"), ("bati", "w"),
)  # fmt: skip
_ANGLE = (
    r"(?:[-+]?[0-9]{1,3}[.,][0-9]+|[-+]?[0-9]{1,3})"
    r"(?: *(?:\x{B0}|\x{BA}|deg(?:rees?)?\b\.?|deg\.?|d) *| *[-: ] *)?"
    r"(?:[0-9]{1,2}(?:[.,][0-9]+)? *(?:(?:['\x{2032}\x{2019}]|min(?:utes?)?\b\.?|m) *"
    r"|[-: ] *)?(?:[0-9]{1,2}(?:[.,][0-9]+)? *(?:\"|''|\x{2033}|sec(?:onds?)?\b\.?|s\b)?)?)? *"
)
COORDINATE = re2.compile(rf"(?i)(?:\b(?P<before>[NSEW]) *)?(?P<angle>{_ANGLE})(?P<after>[NSEWO]\b)?")
_PAIR_LETTERS = re2.compile(rf"(?i)((?:{_ANGLE})[NS]\b)[ ,;/]*(?:\pL*[ ,;:/]+)?((?:{_ANGLE})[EWO]\b)")
_WORD_AND_LETTER = re2.compile(r"(?i)\blat(?:it\w*)?\.? *([NS])\b|\blong?(?:it\w*)?\.? *([EWO])\b")
_PAIR_BEFORE = re2.compile(rf"(?i)\b([NS] *(?:{_ANGLE}))[ ,;/]+([EWO] *(?:{_ANGLE}))(?:[^\pL0-9]|$)")
_PAIR_PLAIN = re2.compile(r"^[ :=;,(]*([-+]?[0-9]{1,2}[.,][0-9]{2,})[ ,;/]+([-+]?[0-9]{1,3}[.,][0-9]{2,})\W*$")


def coordinate(text: str, axis: str = "") -> list[float]:
    """Return the possible values of a text in signed degrees; several if ``O`` may be Ost or Oeste.

    Parameters
    ----------
    text : str
        Degrees, or degrees and minutes, or degrees, minutes and seconds, with a hemisphere or a sign.
    axis : {"", "latitude", "longitude"}
        The coordinate it must be, if known.

    Examples
    --------
    >>> coordinate("8-36.6N"), coordinate("27 30' W"), coordinate("-97.899")
    ([8.61], [-27.5], [-97.899])
    """
    words = plain(text)
    for word, letter in _WORDS_OF_HEMISPHERES:
        words = re2.sub(rf"\b{word}\b", letter, words)
    match = re2.fullmatch(r"([nsewo]?) *([-+]?)([0-9].*?|[.,][0-9]+) *([nsewo]?)[.,;)]?", words)
    if match is None or (match[1] and match[4]):
        return []
    letter = match[1] or match[4]
    body = re2.sub(r"(?:deg(?:rees?)?|min(?:utes?)?|sec(?:onds?)?)\.?|[^0-9.,]", " ", match[3]).replace(",", ".")
    try:
        parts = [float(part) for part in body.split()]
    except ValueError:
        return []
    if not 1 <= len(parts) <= 3 or any(not part.is_integer() for part in parts[:-1]):
        return []
    if any(part >= 60 for part in parts[1:]):
        return []
    value = round(sum(part / 60**place for place, part in enumerate(parts)), 10)
    if match[2] == "-":
        value = -value
    if letter == "o":
        readings = [value, -value] if axis != "latitude" and match[2] != "-" else []
        return [one for one in readings if abs(one) <= 180]
    if letter:
        sign, which = _HEMISPHERES[letter]
        if (axis and which != axis) or match[2] == "-":
            return []
        value, axis = sign * value, which
    limit = 90 if axis == "latitude" else 360
    return [value] if abs(value) <= limit else []


def letters_alone(text: str) -> str:
    """Return a text without the word before the letter of a hemisphere (``16.9 LAT. N``)."""
    return _WORD_AND_LETTER.sub(lambda match: match[1] or match[2], text)


def coordinate_pair(text: str) -> tuple[str, str] | None:
    """Return the texts of an adjacent latitude and longitude, or None."""
    text = letters_alone(text[:300])
    match = _PAIR_LETTERS.search(text[:300]) or _PAIR_BEFORE.search(text[:300]) or _PAIR_PLAIN.search(text[:300])
    if match is None:
        return None
    first, second = match[1].strip(), match[2].strip()
    if len(coordinate(first, "latitude")) == 1 and coordinate(second, "longitude"):
        return first, second
    return None


class Direction(NamedTuple):
    """Direction of positive motion: azimuth and dip in degrees; `kind` is ``horizontal``, ``vertical`` or empty."""

    kind: str
    azimuth: float | None = None
    dip: float | None = None


_QUADRANT = re2.compile(
    r"(?i)(?:^|[^\pL0-9])([NS]) ?([0-9]{1,3}(?:[.,][0-9]+)?) ?(?:\x{B0}|deg)? ?([EW])(?:[^\pL0-9]|$)"
)
_DEGREES = re2.compile(
    r"(?i)(?:^|[^0-9.,-])([0-9]{1,3}(?:[.,][0-9]+)?) *(?:\x{B0}|\x{BA}|deg\b|degrees?\b|grad\b|gradi\b|grados\b)"
)
_UP = re2.compile(r"\b(?:yukari|up|upward|upwards|aufwarts|arriba|haut|alto|above|u-d|ud|hoch|oben)\b")
_DOWN = re2.compile(r"\b(?:down|downward|downwards|abwarts|abajo|bas|basso|d-u|unten)\b")
_VERTICAL = re2.compile(r"\b(?:v|vert|vertical|verticale|vertikal|dusey|z)\b")
_AZIMUTH_SAID = re2.compile(
    r"(?:(?:azim\w*|az|bearing|heading)\.?(?: of)?[ :=]*)?([0-9]{1,3}(?:[.,][0-9]+)?)"
    r"|([0-9]{1,3}(?:[.,][0-9]+)?) +(?:azim\w*|az|bearing)\.?"
)
_COMPASS = {
    "n": 0.0, "north": 0.0, "ns": 0.0, "n-s": 0.0, "n s": 0.0, "north-south": 0.0, "nord": 0.0, "norte": 0.0,
    "nord-sud": 0.0, "norte-sur": 0.0, "norte-sul": 0.0, "s": 180.0, "south": 180.0, "sud": 180.0,
    "leste": 90.0, "leste-oeste": 90.0,
    "e": 90.0, "east": 90.0, "ew": 90.0, "e-w": 90.0, "e w": 90.0, "east-west": 90.0, "ost": 90.0, "este": 90.0,
    "est": 90.0,
    "kuzey": 0.0, "kuzey-guney": 0.0, "k-g": 0.0, "dogu": 90.0, "dogu-bati": 90.0, "d-b": 90.0,
    "est-ouest": 90.0, "este-oeste": 90.0, "est-ovest": 90.0, "ost-west": 90.0, "w": 270.0, "west": 270.0,
}  # fmt: skip


def pointing(text: str) -> Direction:
    """Return the direction in a text: an azimuth, a quadrant (``N35E``), a compass word, up or down.

    Examples
    --------
    >>> pointing("S47E").azimuth, pointing("N120E").azimuth, pointing("azimuth 312 degrees from north").azimuth
    (133.0, 120.0, 312.0)
    >>> pointing("VERTICAL UP")
    Direction(kind='vertical', azimuth=None, dip=-90.0)
    """
    words = plain(text)
    if match := _QUADRANT.search(text[:300]):
        angle = float(match[2].replace(",", "."))
        side = (match[1].upper(), match[3].upper())
        if angle <= 90 or side == ("N", "E"):
            value = {"NE": angle, "SE": 180 - angle, "SW": 180 + angle, "NW": 360 - angle}["".join(side)] % 360
            return Direction("horizontal", value, 0.0) if angle <= 360 else Direction("")
    if words in _COMPASS:
        return Direction("horizontal", _COMPASS[words], 0.0)
    if _UP.search(words) or _DOWN.search(words):
        return Direction("vertical", None, -90.0 if _UP.search(words) else 90.0)
    if match := _DEGREES.search(text[:300]):
        value = float(match[1].replace(",", "."))
        return Direction("horizontal", value % 360, 0.0) if value <= 360 else Direction("")
    if _VERTICAL.search(words):
        return Direction("vertical")
    angle = _AZIMUTH_SAID.fullmatch(words)
    if angle and float((angle[1] or angle[2]).replace(",", ".")) <= 360:
        return Direction("horizontal", float((angle[1] or angle[2]).replace(",", ".")) % 360, 0.0)
    for word in re2.findall(r"\pL+(?:-\pL+)?", words):
        if len(word) > 1 and word in _COMPASS:
            return Direction("horizontal", _COMPASS[word], 0.0)
    return Direction("")


class Unit(NamedTuple):
    """The unit of a number: its kind, its value in SI, and its length in characters."""

    kind: str
    factor: float
    length: int


_COUNT = r"(?:counts?|cts|cnts?|digits?|lsb|bits? counts?)"
_PER = r"(?: ?/ ?| +per +)"
_ACCELERATIONS = (
    (
        r"(?:%|pct\.?|per ?cent|percentage|por ?ciento|por ?cento|prozent) *(?:(?:of|de|di|von) +)?g(?:ravity)?\b",
        0.01 * G,
    ),
    (r"(?:milli-?g|mg|g/1000|1e-3 g|10\^?-3 g)\b", 0.001 * G),
    (r"(?:micro-?g|ug|\x{B5}g|\x{3BC}g|1e-6 g)\b", 1e-6 * G),
    (r"cm */ *\(?(?:s(?:ec)?\.?(?: *\*\* *2|\^?2|\x{B2}| */ *s(?:ec)?\b)|s\*s)\)?", 0.01),
    (r"mm */ *s(?:ec)?(?: *\*\* *2|\^?2|\x{B2}| */ *s(?:ec)?\b)", 0.001),
    (r"in */ *s(?:ec)?(?: *\*\* *2|\^?2|\x{B2}| */ *s(?:ec)?\b)", 0.0254),
    (r"ft */ *s(?:ec)?(?: *\*\* *2|\^?2|\x{B2}| */ *s(?:ec)?\b)", 0.3048),
    (r"\(?m */ *s(?:ec)?(?: *\*\* *2|\^?2|\x{B2}| */ *s(?:ec)?\b)\)?", 1.0),
    (r"(?:cm|centimet(?:er|re)s?) *(?:s-2|s\^-2|per second per second|per second squared)", 0.01),
    (r"(?:mm|millimet(?:er|re)s?) *(?:s-2|s\^-2|per second per second|per second squared)", 0.001),
    (r"(?:in|inch|inches) *(?:s-2|s\^-2|per second per second|per second squared)", 0.0254),
    (r"(?:m|met(?:er|re)s?) *(?:s-2|s\^-2|per second per second|per second squared)", 1.0),
    (r"(?:mgal|milli-?gal)s?\b", 1e-5),
    (r"gal(?:e?s)?\b", 0.01),
    (r"g(?:'s)?\b", G),
)
_G_OR_GAL = (
    (r"(?:%|pct) *g\b", 0.01 * G), (r"milli-?g\b|mg\b", 0.001 * G), (r"micro-?g\b|ug\b", 1e-6 * G), (r"g\b", G),
    (r"gals?\b", 0.01),
    (r"cm */ *s(?:ec)?(?:\^?2|\x{B2}|/s)", 0.01), (r"\(?m */ *s(?:ec)?(?:\^?2|\x{B2}|/s)\)?", 1.0),
)  # fmt: skip
_VOLT = ((r"micro-?v(?:olts?)?|uv|\x{B5}v|\x{3BC}v", 1e-6), (r"milli-?v(?:olts?)?|mv", 1e-3), (r"v(?:olts?)?", 1.0))
_UNITS: tuple[tuple[str, str, float], ...] = (
    *(("counts per acceleration", rf"{_COUNT}{_PER}(?:{unit})", 1 / size) for unit, size in _G_OR_GAL),
    *(
        ("volts per acceleration", rf"(?:{volt}){_PER}(?:{unit})", v / size)
        for volt, v in _VOLT for unit, size in _G_OR_GAL
    ),
    *(("counts per volt", rf"{_COUNT}{_PER}(?:{volt})\b", 1 / v) for volt, v in _VOLT),
    *(("volts per count", rf"(?:{volt}){_PER}{_COUNT}\b", v) for volt, v in _VOLT),
    *(("acceleration per count", rf"(?:{unit}){_PER}{_COUNT}\b", size) for unit, size in _ACCELERATIONS),
    ("frequency", (
        r"(?:samples?|muestras|amostras|campioni|times) *(?:/|per|por|al|a|each|every) *s(?:e[cg](?:ond\w*)?)?\b"
        r"|sps\b|mps\b|(?:scans?|points?|values?) (?:/"
        r"|per) *s(?:ec(?:ond)?)?\b|hz\b|hertz\b"
    ), 1.0),
    ("frequency", r"khz\b", 1e3),
    ("frequency", r"mhz\b", 1e6),
    ("time", r"(?:s|sec|secs|seconds?|sek(?:unden)?|segundos?|secondi|secondes?|sn|saniye)\b(?: */ *samples?)?", 1.0),
    ("time", r"(?:ms|msec|milli-?sec(?:ond)?s?|millisekunden|milisegundos)\b", 1e-3),
    ("time", r"(?:us|\x{B5}s|usec|micro-?sec(?:ond)?s?)\b", 1e-6),
    *(("acceleration", unit, size) for unit, size in _ACCELERATIONS),
    ("velocity", r"(?:cm|mm|m|in|km) */ *s(?:ec)?\b", 1.0),
    *(("volts", rf"(?:{volt})\b", size) for volt, size in _VOLT),
    ("bits", r"bits?\b", 1.0),
    ("count", (
        r"(?:points?|samples?|values?|ordinates?|scans?|data points|pairs?|puntos|punti|punkte|werte"
        r"|muestras|campioni)\b"
    ), 1.0),
    ("counts", r"(?:counts|cts|cnts?)\b", 1.0),
    ("length", r"km\b", 1000.0),
    ("length", r"cm\b", 0.01),
    ("length", r"mm\b", 0.001),
    ("length", r"ft\b|feet\b", 0.3048),
    ("length", r"m\b|met(?:er|re)s?\b", 1.0),
    ("degrees", r"(?:\x{B0}|\x{BA}|deg(?:rees?)?\b|grad\b)", 1.0),
    ("percent", r"(?:%|pct\b|per ?cent\b)", 0.01),
)  # fmt: skip
_COMPILED = tuple((kind, re2.compile(rf"(?i)^ *(?:{pattern})"), factor) for kind, pattern, factor in _UNITS)


def unit_at(text: str) -> Unit | None:
    """Return the unit at the beginning of a text, or None.

    Examples
    --------
    >>> unit_at(" counts/g of channel 1").kind, unit_at("% of full scale").kind, unit_at("MICRO-G").kind
    ('counts per acceleration', 'percent', 'acceleration')
    """
    best: Unit | None = None
    for kind, pattern, factor in _COMPILED:
        match = pattern.match(text[:60])
        if match and (best is None or match.end() > best.length) and not text[match.end() : match.end() + 1].isalpha():
            best = Unit(kind, factor, match.end())
    return best
