"""Choose the value of each quantity from a header, with its unit, line, alternatives and reasons.

Every number is a candidate for each quantity that its label and unit allow. Candidates are scored together: count times
interval is the duration, columns times lines the count, the time column steps by the interval, the largest sample is
the stated peak. A quantity is doubtful if an alternative with a similar score would change the result. The order of
lines never decides.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

import numpy as np
import re2

from ...foundation.errors import InputError
from ...foundation.units import ACCELERATION, COUNTS, G, acceleration_unit
from ..phrases import coordinate, coordinate_pair, letters_alone, moments, plain, unit_at, zone_in
from .concepts import DECOYS, concept
from .items import LARGEST_STEP, Item, several_labels

MARGIN = 1.0
"""Smallest lead in score without doubt. A score counts independent pieces of evidence."""


@dataclass
class Choice:
    """The choice made for a quantity.

    `value` is in the unit of the quantity, None if it is not stated; `item` is its place; `why` gives the evidence;
    `rivals` are alternatives with their places; `doubt` says what cannot be decided.
    """

    quantity: str
    value: float | str | None = None
    item: Item | None = None
    why: str = ""
    rivals: list[str] = field(default_factory=list)
    doubt: str = ""
    parts: tuple[tuple[str, Item], ...] = ()
    """Further numbers combined into it: ``times``, ``over`` or ``then``, and their places."""
    unit: str = ""
    factor: float = 1.0
    order: str = ""
    zone: str = ""
    note: str = ""
    """A remark, although the choice is not doubtful."""

    @property
    def place(self) -> str:
        """Place of the value, for a message."""
        return f"line {self.item.line + 1}" if self.item is not None else ""


def numbers(items: Iterable[Item], *concepts: str) -> list[Item]:
    """Return the numbers whose label names one of some concepts."""
    return [item for item in items if item.kind == "number" and concept(item.label) in concepts]


def _kind(item: Item) -> str:
    return item.unit.kind if item.unit is not None else ""


def _of_event(item: Item) -> bool:
    event = ("event", "event place")
    if concept(item.label) in event:
        return True
    if concept(item.under) in event and concept(item.label) != "station":
        return True
    bare = not re2.search(r"station|site|instrument|sensor|recorder|accelerograph|receiver", item.label)
    return bare and concept(item.context) in event and not re2.search(r"station|site", item.context)


# Interval ------------------------------------------------------------------------------------------------------------


@dataclass
class _Reading:
    value: float
    score: float
    item: Item | None
    quantity: str
    why: list[str]


def interval(items: Sequence[Item], count: int, from_column: float | None, column_sure: bool) -> Choice:
    """Return the sampling interval.

    Parameters
    ----------
    items : sequence of Item
    count : int
        Samples of each component.
    from_column : float or None
        The step of a column of times, s.
    column_sure : bool
        Whether that column is known to be in seconds.
    """
    readings: list[_Reading] = []

    def add(value: float, score: float, item: Item | None, quantity: str, why: str) -> None:
        for reading in readings:
            if abs(reading.value - value) <= 2e-4 * value:
                reading.score += score if why not in reading.why else 0
                reading.why.append(why)
                if reading.item is None or (quantity == "dt" and reading.quantity != "dt" and item is not None):
                    reading.item, reading.quantity = item or reading.item, quantity if item else reading.quantity
                    reading.value = value if item else reading.value
                return
        readings.append(_Reading(value, score, item, quantity, [why]))

    for item in items:
        if item.kind != "number" or item.number <= 0 or _of_event(item):
            continue
        name, kind = concept(item.label), _kind(item)
        if name in DECOYS:
            continue
        if (
            name == "samples"
            and kind == "time"
            and re2.search(r"(?:points|ordinates|samples|values) (?:at|every)\b", item.label)
        ) or (
            kind == "time" and re2.search(r"\b(?:spaced|sampled|digiti[sz]ed|interpolated) (?:at|every)\b", item.label)
        ):
            name = "interval"
        if (
            name in ("", "number of")
            and kind in ("", "frequency")
            and re2.match(r"^freq", item.label)
            and re2.search(r"record|acquis|digiti|data", item.under)
        ):
            name = "rate"
        sampled = name in ("rate", "interval") or (name == "samples" and kind == "frequency")
        if name in ("interval", "rate") and kind == "time":
            value = item.number * (item.unit.factor if item.unit else 1.0)
            add(value, 2.0, item, "dt", "stated as an interval")
        elif name == "interval" and not kind and item.number <= 1:
            add(item.number, 1.5, item, "dt", "stated as an interval")
        elif (
            sampled
            and kind == "frequency"
            and re2.search(
                (
                    r"sampl|scan|rate|points?|sps|abtast|freq\w* d|taxa|values|ordinates|acqui|smp"
                    r"|decimat|this file|muestreo|campion|echantillon|amostr"
                ),
                f"{item.label} {item.stated.lower()[:20]}",
            )
        ):
            rate = item.number * (item.unit.factor if item.unit else 1.0)
            this = re2.search(r"this file|after|output|below|of the data", item.label)
            add(1 / rate, 3.5 if this else 2.0, item, "sampling_rate", "stated as a rate")
        elif (
            name == "rate"
            and not kind
            and item.number >= 1
            and not re2.search(r"[0-9] ?k?hz\b", item.label)
            and (item.labelled or re2.match(r"^ *(?:samples|per)", item.stated))
        ):
            add(1 / item.number, 1.5 if item.number >= 10 else 0.5, item, "sampling_rate", "stated as a rate")
    if not readings and from_column is None:
        bare = [
            item for item in items
            if item.kind == "number" and _kind(item) == "frequency" and re2.fullmatch(r"(?:k?hz|sps)?", item.label)
        ]  # fmt: skip
        if len(bare) == 1 and 10 <= bare[0].number <= 5000:
            add(1 / bare[0].number, 1.0, bare[0], "sampling_rate", "the only frequency without a name")
    if not readings and from_column is None:
        alone = [item for item in items if item.kind == "number" and concept(item.label) not in DECOYS]
        if len(alone) == 1 and _kind(alone[0]) == "frequency" and 10 <= alone[0].number <= 5000:
            add(1 / alone[0].number, 1.0, alone[0], "sampling_rate", "the only number of the header")
    readings = [one for one in readings if 1e-5 <= one.value <= 10]
    stated = list(readings)
    if from_column is not None:
        match = next((one for one in readings if abs(one.value - from_column) <= 1e-3 * from_column), None)
        if match is not None:
            match.score += 3
            match.why.append("steps of the time column")
        else:
            readings.append(_Reading(from_column, 3.0, None, "dt", ["steps of the time column"]))
    # A duration goes with one of them.
    lasts = [
        item for item in numbers(items, "duration") if _kind(item) == "time" and not _of_event(item) and item.number > 0
    ]
    for item in lasts:
        seconds = item.number * (item.unit.factor if item.unit else 1.0)
        last_place = 0.5 * 10.0 ** -_places(item.text) + 1e-9 * seconds
        for reading in readings:
            ends = (reading.value * (count - 1), reading.value * count)
            if any(abs(seconds - end) <= last_place + 1e-9 * end for end in ends):
                reading.score += 2
                reading.why.append(f"count and duration (line {item.line + 1})")
                break
        else:
            derived = None if stated or from_column is not None else _from_duration(seconds, count, last_place)
            if derived is not None:
                readings.append(_Reading(derived, 1.5, None, "dt", [f"count and duration (line {item.line + 1})"]))
    if not readings:
        return Choice("dt")
    readings.sort(key=lambda one: -one.score)
    best, *others = readings
    rivals = [_said_interval(one) for one in others]
    choice = Choice("dt", best.value, best.item, " and ".join(dict.fromkeys(best.why)), rivals)
    choice.quantity = best.quantity if best.item is not None else "dt"
    choice.unit = (
        "ms"
        if best.item is not None and best.quantity == "dt" and best.item.unit and best.item.unit.factor == 1e-3
        else ""
    )
    if best.item is not None and best.item.unit is not None and best.item.unit.factor not in (1.0, 1e-3):
        choice.factor = best.item.unit.factor
    near = [one for one in others if best.score - one.score < MARGIN]
    if near:
        choice.doubt = "the sampling interval is " + " or ".join(_said_interval(one) for one in (best, *near))
    elif others:
        choice.note = f"the sampling interval was read as {_said_interval(best)}, not as {', '.join(rivals)}"
    if best.value > 0.1 and not choice.doubt:
        choice.doubt = f"the sampling interval is {_said_interval(best)}, longer than that of any accelerograph"
    if from_column is not None and not column_sure and not stated:
        choice.doubt = f"the first column steps by {from_column:.6g} in an unstated unit"
    return choice


def _said_interval(reading: _Reading) -> str:
    place = f", line {reading.item.line + 1}" if reading.item is not None else ""
    return f"{reading.value:.7g} s ({' and '.join(dict.fromkeys(reading.why))}{place})"


def _places(text: str) -> int:
    digits = text.lower().replace(",", ".").partition("e")
    places = len(digits[0].partition(".")[2])
    return places - int(digits[2] or 0) if digits[1] else places


def _from_duration(seconds: float, count: int, last_place: float) -> float | None:
    """Return the only interval compatible with a count and a duration that is a whole rate or has few digits."""
    if count < 3:
        return None
    found = set()
    for steps in (count - 1, count):
        low, high = (seconds - last_place) / steps, (seconds + last_place) / steps
        middle = seconds / steps
        for value in (
            1 / round(1 / middle) if round(1 / middle) else middle,
            float(f"{middle:.1e}"),
            float(f"{middle:.2e}"),
        ):
            if low <= value * (1 + 1e-9) and value <= high * (1 + 1e-9):
                found.add(float(f"{value:.9g}"))
    nice = {one for one in found if one * 1000 == round(one * 1000, 4)} or found
    return nice.pop() if len(nice) == 1 else None


# Count ---------------------------------------------------------------------------------------------------------------

_CERTAIN = re2.compile(
    r"(?:number|\bno\b\.?|num\b\.?|anzahl|numero|nombre) (?:of |de |di |d')?(?:\w+ )?(?:samples?"
    r"|points?|values|ordinates|data|scans|muestras|campioni|echantillons|valeurs|werte)"
    r"|\bnpts\b|\bnpoints\b|^samples?\b|^points\b|^n$|^ordinates\b|length \(samples\)|^scans$"
    r"|^values\b|values of acceleration|counts follow|pairs of"
)


def count(items: Sequence[Item], found: int, total: int) -> Choice:
    """Return the declared number of samples, with a doubt if it differs from the number found.

    Parameters
    ----------
    items : sequence of Item
    found : int
        Samples of each component.
    total : int
        Numbers in the block, or in all blocks.
    """
    stepped = {item.line for item in items if item.kind in ("step", "digit")}
    candidates = [
        item
        for item in items
        if item.kind == "number" and item.number == int(item.number) and item.number >= 2 and not _of_event(item)
        and (concept(item.label) == "samples" or (concept(item.label) == "duration" and _kind(item) == "count"))
        and _kind(item) in ("", "count", "counts") and "." not in item.text and item.line not in stepped
    ]  # fmt: skip
    right = [item for item in candidates if int(item.number) == found]
    if right:
        return Choice("samples", float(found), right[0], "the count of numbers")
    wrong = [
        item for item in candidates
        if (_CERTAIN.search(item.label) or _kind(item) == "count" or concept(item.label) == "duration")
        and item.number >= 10 and int(item.number) != total
    ]  # fmt: skip
    if wrong:
        said = ", ".join(f"{int(item.number)} (line {item.line + 1})" for item in wrong[:3])
        return Choice("samples", None, wrong[0], "", [said], f"{said} samples are declared, but {found} were found")
    return Choice("samples")


# Unit ----------------------------------------------------------------------------------------------------------------

_IN = re2.compile(
    r"(?i)(?:\bin\b|\bem\b|\ben\b|\bunits? (?:is|are)\b|acc\w*|ordinates|values|amplitude|\bunits?\b|einheit"
    r"|unidad\w*) *:? *(?:of +)?([^,;:]+)$"
)


@dataclass
class _UnitReading:
    unit: str
    score: float
    item: Item | None
    why: str


def unit(items: Sequence[Item], named: Sequence[tuple[str, int]], peak: float, whole: bool) -> Choice:
    """Return the unit of the samples.

    Parameters
    ----------
    items : sequence of Item
    named : sequence of (str, int)
        Units given with the column names, with their lines.
    peak : float
        The largest absolute sample.
    whole : bool
        Whether all samples are integers.
    """
    readings: dict[str, _UnitReading] = {}
    stepped = {item.line for item in items if item.kind in ("step", "digit")}

    def add(text: str, score: float, item: Item | None, why: str) -> None:
        name = unit_name(text)
        if name:
            old = readings.get(name)
            if old is None:
                readings[name] = _UnitReading(name, score, item, why)
            elif score >= old.score:
                readings[name] = _UnitReading(name, score, item or old.item, why)

    for text, line in named:
        add(text, 3.0, None, f"beside the names of the columns, line {line + 1}")
    for item in items:
        if item.kind != "text" or item.line in stepped or (_of_event(item) and concept(item.label) != "unit"):
            continue
        name = concept(item.label)
        if item.labelled:
            if name == "unit" and unit_name(item.text):
                add(item.text, 3.0, item, "stated")
            elif name == "unit" and unit_name(item.label.rpartition(" in ")[2]) and " in " in item.label:
                add(item.label.rpartition(" in ")[2], 2.5, item, "stated")
            elif name == "unit":
                match = _IN.search(item.text)
                if match:
                    add(match[1], 3.0, item, "stated")
            elif re2.search(r"(?:^|\b)acc\w* in [^,;]+$", item.label) and name not in DECOYS:
                add(item.label.rpartition(" in ")[2], 2.5, item, "stated")
            elif (
                name in ("samples", "")
                and unit_name(item.text)
                and re2.search(r"data|values|acc|ordinates", item.label)
            ):
                add(item.text, 2.5, item, "stated")
            continue
        if name in DECOYS and name not in ("other",):
            continue
        words = plain(re2.sub(r"[-+]?[0-9]+(?:\.[0-9]+)? ", "", item.text))
        if unit_name(words):
            add(words, 2.0, item, "stated alone")
            continue
        for match in re2.finditer(r"(?:\b(?:in|en|em)\b|acceleration|acc\b|units?|counts)", words):
            rest = words[match.start() if match[0] == "counts" else match.end() :].strip(" :=")
            rest = re2.sub(r"^(?:in|en|em|of|is|are) ", "", rest)
            rest = re2.split(r" (?:at|with|every|equally|sampled|spaced)\b", rest)[0]
            known = unit_at(rest)
            if (
                known is not None
                and known.kind in ("acceleration", "counts")
                and rest[known.length :].strip(" .") == ""
            ):
                add(rest[: known.length], 2.5, item, "stated")
            elif unit_name(rest):
                add(rest, 2.5, item, "stated")
    steps = [item for item in items if item.kind in ("step", "digit")]
    if steps and not readings:
        named_so = next((name for name, worth in ACCELERATION.items()
                         if all(math.isclose(worth, item.number, rel_tol=1e-9) for item in steps)), "")  # fmt: skip
        why = f"the value of 1 in line {steps[0].line + 1}"
        if named_so or whole:
            return Choice("unit", named_so or COUNTS, None, why)
        if all(item.kind == "step" for item in steps):
            return Choice("unit", COUNTS, None, why)
    for item in items:
        if leads_to(item):
            return Choice("unit", COUNTS, None, f"a factor of line {item.line + 1} converts to a unit")
    counted = (
        bool(_UNIT_SCALES & {_kind(item) for item in items if item.kind == "number"})
        or any(
            _LSB.search(item.label)
            and not (_kind(item) == "acceleration" and item.number * _factor(item) >= LARGEST_STEP)
            for item in items
            if item.kind == "number" and _kind(item) in ("acceleration", "volts")
        )
        or bool(_at_full_scale(items))
        or bool(steps)
    )
    peaks = [
        item for item in numbers(items, "peak")
        if _kind(item) == "acceleration" and not re2.search(r"veloc|displ", item.label) and item.number
    ]  # fmt: skip
    supported: dict[str, Item] = {}
    contradicted: dict[str, Item] = {}
    for item in peaks:
        size = abs(item.number) * (item.unit.factor if item.unit else 1.0)
        tolerance = 0.002 + 0.6 * 10.0 ** -_places(item.text) / abs(item.number)
        for name, worth in _COMMON.items():
            if peak > 0 and abs(peak * worth / size - 1) <= tolerance:
                supported.setdefault(name, item)
            elif peak > 0 and not 0.5 < peak * worth / size < 2:
                contradicted.setdefault(name, item)
    for name in supported:
        if name in readings:
            readings[name].score += 2
            readings[name].why += ", and the largest sample is the stated peak"
    if not readings:
        names = list(supported)
        if len(names) == 1 and not (whole and counted):
            item = supported[names[0]]
            why = f"the largest sample is the peak of line {item.line + 1}"
            return Choice("unit", names[0], None, why, note=f"the unit {names[0]} is inferred: {why}")
        if whole and counted:
            return Choice("unit", COUNTS, None, "the samples are integers, and the header gives a sensitivity")
        return Choice("unit")
    order = sorted(readings.values(), key=lambda one: -one.score)
    best, *others = order
    choice = Choice("unit", best.unit, best.item, best.why, [_said_unit(one) for one in others])
    against = [
        item for item in steps
        if best.unit != COUNTS and (whole or item.kind == "step")
        and not math.isclose(ACCELERATION[best.unit], item.number, rel_tol=1e-9)
    ]  # fmt: skip
    if against:
        choice.doubt = (
            f"the unit is {_said_unit(best)}, but line {against[0].line + 1} gives the value of 1 "
            f"({' '.join(against[0].stated.split())[:80]!r})"
        )
        return choice
    near = [one for one in others if best.score - one.score < MARGIN]
    if near:
        choice.doubt = "the unit is " + " or ".join(_said_unit(one) for one in (best, *near))
    elif best.unit in contradicted and best.unit not in supported and best.unit != COUNTS and supported:
        item = contradicted[best.unit]
        choice.doubt = (
            f"the unit is {_said_unit(best)}, but the largest sample is the peak of line {item.line + 1} in "
            f"{' or '.join(supported)}"
        )
    return choice


_COMMON = {name: ACCELERATION[name] for name in ("m/s2", "cm/s2", "mm/s2", "g", "mg", "%g", "in/s2")}
_LSB = re2.compile(r"\blsb\b|one count|\bcount\b|least significant|resolution|multiplier|scale factor|calibration")
_UNIT_SCALES = {"counts per acceleration", "acceleration per count", "counts per volt", "volts per count"}


def unit_name(text: str) -> str:
    """Return a unit of samples in the library's spelling; empty if the text names none."""
    text = text.strip(" .()[]:=")
    if not text or len(text) > 60:
        return ""
    for part in (
        text,
        re2.sub(r" *\([^()]*\)$", "", text),
        re2.sub(r"^(?:in|of|ordinates in|values in|accelerations? in|data in|are in) ", "", text.lower()),
    ):
        try:
            return acceleration_unit(part)
        except InputError:
            continue
    known = unit_at(text)
    if known is not None and known.kind == "acceleration" and known.length == len(text):
        return next((name for name, worth in ACCELERATION.items() if math.isclose(worth, known.factor)), "")
    return ""


def _said_unit(reading: _UnitReading) -> str:
    return f"{reading.unit} (line {reading.item.line + 1})" if reading.item is not None else reading.unit


# Scale of counts -----------------------------------------------------------------------------------------------------


def scale(items: Sequence[Item]) -> list[Choice]:
    """Return the sensitivities given in a header, in counts per m/s²."""
    found: list[Choice] = []
    plain_numbers = [item for item in items if item.kind == "number" and item.number > 0]

    def of(kind: str) -> list[Item]:
        return [item for item in plain_numbers if _kind(item) == kind]

    lsb = _LSB
    steps = [item for item in items if item.kind in ("step", "digit")]
    stepped = {item.line for item in steps}
    plain_numbers = [item for item in plain_numbers if item.line not in stepped or " per " not in _kind(item)]
    for item in of("counts per acceleration"):
        found.append(Choice("sensitivity", item.number * _factor(item), item, "stated", unit=_per(item)))
    for item in of("acceleration per count"):
        found.append(Choice("scale", 1 / (item.number * _factor(item)), item, "stated", unit=_name_of(item)))
    found += [Choice("scale", 1 / item.number, item, "stated") for item in steps]
    for item in of("acceleration"):
        if (
            item.line not in stepped
            and item.number * _factor(item) < LARGEST_STEP
            and lsb.search(item.label)
            and concept(item.label) not in ("full scale", "trigger", "peak")
        ):
            found.append(Choice("scale", 1 / (item.number * _factor(item)), item, "stated", unit=_name_of(item)))
    for item in plain_numbers:
        if item.line not in stepped and (name := leads_to(item)):
            found.append(Choice("scale", 1 / (item.number * ACCELERATION[name]), item, "stated", unit=name))
    sensors = of("volts per acceleration")
    for item in of("counts per volt"):
        for sensor in sensors:
            value = item.number * _factor(item) * sensor.number * _factor(sensor)
            found.append(
                Choice("sensitivity", value, sensor, "sensor times digitiser", parts=(("times", item),),
                       factor=_factor(item) * _factor(sensor))
            )  # fmt: skip
    volts = of("volts per count") + [i for i in of("volts") if lsb.search(i.label) and concept(i.label) != "full scale"]
    for item in volts:
        for sensor in sensors:
            worth = item.number * _factor(item) / (sensor.number * _factor(sensor))
            found.append(
                Choice("sensitivity", 1 / worth, sensor, "sensor over digitiser's step", parts=(("over", item),),
                       factor=_factor(sensor) / _factor(item))
            )  # fmt: skip
    for item, other in _at_full_scale(items):
        value = other.number / (item.number * _factor(item))
        found.append(
            Choice("sensitivity", value, other, "counts at full scale", parts=(("over", item),),
                   factor=1 / _factor(item))
        )  # fmt: skip
    return found


def _factor(item: Item) -> float:
    """Return the unit of an item in SI units; its kind implies that it has one."""
    assert item.unit is not None
    return item.unit.factor


def leads_to(item: Item) -> str:
    """Return the unit to which a factor converts (``factor 0.5 to cm/s2``); empty for other numbers."""
    match = re2.match(r"(?i)^ *to +(.+)$", item.stated) if item.kind == "number" and item.unit is None else None
    if match is None or not re2.search(r"factor|scale|multipl", item.label):
        return ""
    name = unit_name(match[1])
    return name if name in ACCELERATION else ""


def _at_full_scale(items: Sequence[Item]) -> list[tuple[Item, Item]]:
    """Return accelerations and the equivalent counts stated on one line."""
    found = []
    for item in items:
        if (
            item.kind == "number"
            and _kind(item) == "counts"
            and re2.search(r"\bone g equals\b|\b1 g equals\b|\b1 g =", item.label)
        ):
            found.append((Item("number", "one g", "1", item.line, 1.0, unit_at("g")), item))
    if found:
        return found
    for item in items:
        if item.kind != "number" or _kind(item) != "acceleration" or item.number <= 0:
            continue
        scale = concept(item.label) == "full scale"
        one = item.number == 1 and re2.search(r"equal", item.label + item.stated.lower())
        if not scale and not one:
            continue
        for other in items:
            counts = (
                _kind(other) == "counts"
                or re2.search(r"\(counts\)", other.label)
                or re2.search(r"(?i)^ *counts", other.stated)
            )
            beside = other.kind == "number" and other is not item and other.line == item.line and other.number > 1
            if beside and counts and _kind(other) in ("", "counts"):
                found.append((item, other))
    return found


def settled_scale(items: Sequence[Item]) -> Choice:
    """Return the sensitivity, counts per m/s², with a doubt if the header gives several."""
    ways = scale(items)
    if not ways:
        return Choice("sensitivity")
    direct = [way for way in ways if not way.parts] or ways
    best = direct[0]
    if not all(alike(one, other) for one, other in itertools.combinations(direct, 2)):
        best.rivals = [f"{way.value:.7g} counts per m/s² ({way.place})" for way in direct[1:]]
        best.doubt = "the sensitivity is " + " or ".join(
            f"{way.value:.7g} counts per m/s² ({way.place})" for way in direct
        )
    return best


def alike(one: Choice, other: Choice) -> bool:
    """Whether two sensitivities agree within rounding.

    In different units they may differ by a thousandth, because people convert with g from 9.8 to 9.81 m/s².
    """
    a, b = float(one.value or 0), float(other.value or 0)
    limit = 1e-9
    stated = [[choice.item, *(part for _, part in choice.parts)] for choice in (one, other)]
    for mine, theirs in (stated, stated[::-1]):
        for item in mine:
            # Common factors make no difference, and a small integer is exact.
            exact = any(item is of_other for of_other in theirs) or (item is not None and item.number in range(1, 11))
            if item is not None and item.number and not exact:
                # Of a step the number is what a count is worth, and the text the number that was written.
                written = item.number if item.kind == "number" else float(item.text.lower().replace("d", "e"))
                limit += 0.5 * 10.0 ** -_places(item.text) / abs(written)
    units = [
        choice.item.unit.factor if choice.item is not None and choice.item.unit else 0.0 for choice in (one, other)
    ]
    if units[0] != units[1]:
        limit += 1e-3
    return abs(a - b) <= limit * max(a, b)


def _per(item: Item) -> str:
    assert item.unit is not None
    for name in ("g", "gal", "m/s2", "mg", "ug"):
        worth = {"g": G, "gal": 0.01, "m/s2": 1.0, "mg": 0.001 * G, "ug": 1e-6 * G}[name]
        if math.isclose(item.unit.factor, 1 / worth, rel_tol=1e-9):
            return f"counts/{name}"
    return ""


def _name_of(item: Item) -> str:
    assert item.unit is not None
    return next(
        (name for name, worth in ACCELERATION.items() if math.isclose(worth, item.unit.factor, rel_tol=1e-9)), ""
    )


# Station -------------------------------------------------------------------------------------------------------------

_CODE = re2.compile(r"^[A-Z0-9](?:[A-Z0-9-]{0,6}[A-Z0-9])$")
_STATED_CODE = re2.compile(
    r"(?:\b[Ss]tation|\bSTATION|\b[Ss]ite|\bSITE|[Aa]ccelerograph|ACCELEROGRAPH|\b[Ee]stacion"
    r"|\b[Ss]tn)(?: (?:[Cc]ode|CODE|[Nn]o\.?|NO\.?))?[ :]+\(?([A-Z](?:[A-Z0-9-]{0,6}[A-Z0-9]))"
    r"(?:[^A-Za-z0-9-]|-[^A-Za-z0-9]|$)"
)
_CODE_ALONE = re2.compile(r"^(?:(?i:station|site) )?(?i:code|stn|sta)[ .:]+([A-Z](?:[A-Z0-9-]{0,6}[A-Z0-9]))$")


def station(items: Sequence[Item], raw: Sequence[tuple[int, str]]) -> Choice:
    """Return the code of the station."""
    found: list[tuple[float, str, Item]] = []
    for item in items:
        if item.kind != "text" or _of_event(item):
            continue
        name = concept(item.label)
        if item.labelled and name == "station" and not re2.search(r"name|coord|lat|lon", item.label):
            bracket = re2.search(r"\(([A-Z][A-Z0-9]{1,7})\)", item.text)
            lead = re2.match(r"^([A-Z](?:[A-Z0-9-]{0,6}[A-Z0-9]))(?: */| +[-(]|,|$)", item.text)
            text = bracket[1] if bracket else lead[1] if lead else item.text
            if re2.fullmatch(r"[A-Z0-9]{1,8} */ *[A-Z0-9]{2,8}", item.text) or several_labels(item.label):
                return Choice("station", doubt=not_understood("station", [(item.line, item.text)]))
            if _CODE.match(text) and re2.search("[A-Z]", text):
                found.append((2.0 + bool(re2.search(r"code", item.label)), text, item))
        elif (
            not item.labelled
            and (match := _STATED_CODE.search(item.text) or _CODE_ALONE.match(item.text))
            and not _is_word(match[1])
        ):
            found.append((1.5, match[1], item))
    if not found:
        for at, text in raw[:6]:
            match = re2.search(r"(?i:record|station|site)[^(]{0,60}\(([A-Z]{2,6})\)", text) or _STATED_CODE.search(text)
            if match and not _is_word(match[1]):
                found.append((1.0, match[1], Item("text", "station", match[1], at)))
    if not found:
        said = [(item.line, item.text) for item in items if item.kind == "text" and item.labelled
                and concept(item.label) == "station" and not _of_event(item) and len(item.text) < 30
                and not re2.search(r"name|coord|lat|lon", item.label)]  # fmt: skip
        return Choice("station", doubt=not_understood("station", said[:2]) if said else "")
    return _best_text("station", found)


def _is_word(text: str) -> bool:
    return text.lower() in (
        "name", "code", "id", "no", "coordinates", "latitude", "longitude", "elevation", "the", "at", "is", "stands",
        "record", "component", "start", "data", "height", "records", "position", "altitude", "utc", "gmt", "array",
        "network", "centre", "center", "station", "system",
    )  # fmt: skip


def _best_text(quantity: str, found: list[tuple[float, str, Item]]) -> Choice:
    if not found:
        return Choice(quantity)
    best = max(found, key=lambda one: one[0])
    others = {text: item for score, text, item in found if text != best[1] and best[0] - score < MARGIN}
    choice = Choice(quantity, best[1], Item("text", best[2].label, best[1], best[2].line), "stated")
    if others:
        said = " or ".join(
            [f"{best[1]} (line {best[2].line + 1})", *(f"{t} (line {i.line + 1})" for t, i in others.items())]
        )
        choice.rivals = list(others)
        choice.doubt = f"the {quantity} is {said}"
    return choice


def named(items: Sequence[Item], quantity: str, concept_name: str) -> Choice:
    """Return a labelled name, such as that of the station or network."""
    for item in items:
        mine = item.kind == "text" and item.labelled and concept(item.label) == concept_name and not _of_event(item)
        if mine and several_labels(item.label):
            return Choice(quantity, doubt=not_understood(quantity, [(item.line, item.text)]))
        if mine and re2.search(r"\pL", item.text) and len(item.text) < 60:
            return Choice(quantity, item.text, item, "stated")
    return Choice(quantity)


def not_understood(quantity: str, said: Sequence[tuple[int, str]]) -> str:
    """Return the doubt that quotes header lines on a quantity that were not understood."""
    quotes = ", ".join(f"line {at + 1} ({' '.join(text.split())[:80]!r})" for at, text in said[:3])
    return f"the {quantity} was not understood: {quotes}"


_OF_PLACE = re2.compile(r"(?i)[0-9] *\x{B0}|[0-9](?:[.,][0-9]+)?['\"]* *[NSEWO]\b|[0-9]\.[0-9]{2,}.*[0-9]\.[0-9]{2,}")


def unread_place(items: Sequence[Item], axis: str, raw: Sequence[tuple[int, str]]) -> str:
    """Return the doubt that quotes the lines of coordinates that were not understood; else an empty string."""
    lines = {
        item.line for item in items
        if item.kind != "date" and not _of_event(item) and re2.search("[0-9]", item.text)
        and (concept(item.label) == axis or (concept(item.label) == "position" and _OF_PLACE.search(item.text)))
    }  # fmt: skip
    return not_understood(axis, [(at, text) for at, text in raw if at in lines]) if lines else ""


def _pairs_of(raw: Sequence[tuple[int, str]], axis: str) -> list[tuple[int, str, list[float]]]:
    """Return the angles of an axis in pairs of coordinates of lines that name the station and not the event."""
    found = []
    for at, line in raw:
        names = {concept(part) for part in re2.split(r"   *|[,;]", line.lower())}
        its = names & {"station", "station name", "position"} and not names & {"event", "event place", "other station"}
        pair = coordinate_pair(" ".join(line.split())) if its else None
        if pair is not None:
            text = pair[axis == "longitude"]
            found.append((at, text, coordinate(text, axis)))
    return [one for one in found if len(one[2]) == 1]


def place(items: Sequence[Item], raw: Sequence[tuple[int, str]] = ()) -> dict[str, Choice]:
    """Return latitude, longitude and elevation of the station, with a doubt if two places are equally likely.

    Parameters
    ----------
    items : sequence of Item
    raw : sequence of (int, str)
        The lines of the header, for quoting coordinates that were not understood.
    """
    chosen = {name: Choice(name) for name in ("latitude", "longitude", "elevation")}
    for axis in ("latitude", "longitude"):
        found: list[tuple[float, float, Item]] = []
        for item in items:
            name = concept(item.label)
            if _of_event(item) or name in ("other",):
                continue
            if item.kind == "place":
                text = item.stated.split("\t")[axis == "longitude"]
                known = coordinate(text, axis)
                score = _station_words(item)
                if len(known) == 1 and name in ("position", "station", "", "elevation", "latitude", "station name"):
                    found.append((score, known[0], Item("text", item.label, text, item.line)))
            elif item.kind == "coordinate" and name == axis:
                text = item.text
                if not coordinate(text, axis) and (
                    word := re2.match(r"^([-+]?[0-9.]+) *(north|south|east|west)\b", text.lower())
                ):
                    text = word[0]
                known = coordinate(text, axis)
                if len(known) == 1:
                    found.append((_station_words(item), known[0], Item("text", item.label, text, item.line)))
            elif (
                name == axis and item.kind == "text" and item.labelled and re2.match(r"^[NSEWOnsewo] ?[0-9]", item.text)
            ):
                known = coordinate(item.text, axis)
                if len(known) == 1:
                    found.append((_station_words(item), known[0], item))
            elif name == axis and item.kind == "number":
                if any(other.kind == "coordinate" and other.line == item.line for other in items):
                    continue
                full = _text_of(items, item)
                if part_of_angle(items, item):
                    continue
                if full is None and item.labelled:
                    continue  # the minutes of degrees and minutes
                text = full.text if full is not None and full.labelled else item.text
                behind = letters_alone(item.stated)
                if word := re2.match(r"^ *((?i:north|south|east|west)|[NSEW]\b)", behind):
                    text = f"{item.text} {word[1]}"
                text = text.replace(",", ".") if re2.match(r"^[-+]?[0-9]+,[0-9]+$", text) else text
                known = coordinate(text, axis) or coordinate(item.text.replace(",", "."), axis)
                if _plain_coordinate(text) is None and not known:
                    continue
                if len(known) > 1:  # O is Ost in German, Oeste or Ouest elsewhere
                    german = any(re2.search(r"breite|lange\b|laenge|hohe", other.label) for other in items)
                    known = [max(known)] if german else known
                if len(known) == 1:
                    found.append((_station_words(item), known[0], Item("text", item.label, text, item.line)))
        if not found:
            found = [(0.0, known[0], Item("text", axis, text, at)) for at, text, known in _pairs_of(raw, axis)]
        values = {round(value, 9) for _, value, _ in found}
        if len(values) == 1:
            chosen[axis] = Choice(axis, found[0][1], found[0][2], "stated")
        elif len(values) > 1:
            best = max(score for score, _, _ in found)
            top = [one for one in found if one[0] == best]
            if len({round(value, 9) for _, value, _ in top}) == 1:
                chosen[axis] = Choice(axis, top[0][1], top[0][2], "stated as the station's")
            else:
                said = " or ".join(f"{value:g} (line {item.line + 1})" for _, value, item in top)
                chosen[axis] = Choice(axis, None, None, "", [said], f"the {axis} is {said}")
        else:
            chosen[axis].doubt = unread_place(items, axis, raw)
    heights = [
        item for item in numbers(items, "elevation")
        if _kind(item) in ("length", "") and not _of_event(item) and (_kind(item) == "length" or item.labelled)
        and -500 <= item.number * (item.unit.factor if item.unit else 1) <= 9000
    ]  # fmt: skip
    if heights:
        values = {item.number for item in heights}
        item = heights[0]
        worth = item.unit.factor if item.unit else 1.0
        if len(values) == 1:
            chosen["elevation"] = Choice("elevation", item.number * worth, item, "stated", factor=worth)
        else:
            said = " or ".join(f"{one.number:g} (line {one.line + 1})" for one in heights)
            chosen["elevation"] = Choice("elevation", None, None, "", [said], f"the elevation is {said}")
    else:
        for item in items:
            # After the coordinates: 40.2 N, 65.1 W, 1424 m
            if item.kind == "text" and concept(item.label) in ("position", "station") and not _of_event(item):
                match = re2.search(r"[NSEW],? +([0-9]{1,4}(?:\.[0-9]+)?) *m\b", item.text)
                if match:
                    chosen["elevation"] = Choice(
                        "elevation",
                        float(match[1]),
                        Item("number", item.label, match[1], item.line, float(match[1])),
                        "stated",
                    )
    return chosen


def _text_of(items: Sequence[Item], number: Item) -> Item | None:
    """Return the last text before a number with the same label."""
    found = None
    for item in items:
        if item is number:
            return found
        if item.kind == "text" and item.line == number.line and item.label == number.label:
            found = item
    return found


_MARK = r"(?:[\x{B0}\x{BA}\x{2032}\x{2019}\x{2033}\"'`]|deg\.?|\bd\b|\bmin\.?)"


def part_of_angle(items: Sequence[Item], number: Item) -> bool:
    """Whether a number is part of an angle in degrees, minutes and seconds that was not understood as a whole."""
    digits = re2.escape(number.text)
    part = re2.compile(rf"(?i)(?:[0-9] *{_MARK} *{digits}(?:[^0-9]|$)|(?:^|[^0-9.]){digits} *{_MARK} *[0-9])")
    texts = [one.text for one in items if one.line == number.line and one.kind in ("text", "coordinate", "place")]
    whole = _text_of(items, number)
    if whole is not None and whole.labelled and len(coordinate(whole.text)) >= 1:
        return False
    return any(part.search(text) for text in texts)


def _station_words(item: Item) -> float:
    return (
        2.0
        if re2.search(
            r"station|site|instrument|sensor|messstelle|estacion", f"{item.label} {item.under} {item.context}"
        )
        else 1.0
    )


def _plain_coordinate(text: str) -> float | None:
    known = coordinate(text)
    return known[0] if len(known) == 1 else None


# Start ---------------------------------------------------------------------------------------------------------------


_ZONE_LABEL = r"^(?:time ?)?zone\b|^zona horaria|^zeitzone|^fuseau|^fuso"
_DATE = re2.compile(r"^(?:date|time|zeit|datum|fecha|hora|data|ora|heure)\b")


def start(items: Sequence[Item]) -> Choice:
    """Return the time of the first sample."""
    dated = [item for item in items if item.kind == "date"]
    mine = [
        item for item in dated
        if not re2.search(r"trigger|origin", item.label)
        and (
            concept(item.label) == "start"
            or (_DATE.match(item.label) and item.under.startswith("record"))
            or re2.match(r"^rec(?:ord(?:ing)?)?$", item.label)
        )
    ]  # fmt: skip
    if not any(moments(item.text) for item in mine):
        mine += [
            item for item in dated if re2.match(r"^(?:date|datum|fecha|data)\b", item.label) and not _of_event(item)
        ]
    zones = [item for item in items if item.kind == "text" and item.labelled and re2.match(_ZONE_LABEL, item.label)]
    zone = zone_in(zones[0].text) if len(zones) == 1 else ""
    whole = [item for item in mine if any(one.clock for one in moments(item.text))]
    parts: tuple[tuple[str, Item], ...] = ()
    if not whole:
        days = [item for item in mine if moments(item.text)]
        clocks = [item for item in mine if not moments(item.text)]
        if len(days) == 1 and len(clocks) == 1:
            text = f"{days[0].stated} {clocks[0].text}"
            order = moments(days[0].text)[0].order if len(moments(days[0].text)) == 1 else ""
            whole = [Item("date", "start", text, days[0].line, stated=days[0].stated)]
            parts = (("time", clocks[0]),)
            if order:
                whole = [
                    Item(
                        "date",
                        "start",
                        f"{moments(days[0].text)[0].time!s:.10} {clocks[0].text}",
                        days[0].line,
                        stated=days[0].stated,
                    )
                ]
    if not whole:
        return Choice("start")
    sets = {tuple(str(one.time) for one in moments(item.text)): item for item in whole}
    if len(sets) > 1:
        said = " or ".join(f"{next(iter(times))[:23]} (line {item.line + 1})" for times, item in sets.items())
        return Choice("start", None, None, "", [said], f"the start is {said}")
    item = whole[0]
    beside = {zone_in(other.text) for other in items if other.kind == "text" and other.line == item.line} - {""}
    zone = zone or (beside.pop() if len(beside) == 1 else "")
    readings = moments(item.text, zone=zone)
    order = ""
    if len(readings) > 1:
        orders = _orders(dated)
        kept = [one for one in readings if one.order in orders]
        if len(kept) == 1:
            readings, order = kept, kept[0].order
    if len(readings) > 1:
        said = " or ".join(str(one.time)[:10] for one in readings)
        return Choice("start", None, item, "", [said], f"the date of the start is {said} (line {item.line + 1})")
    one = readings[0]
    choice = Choice(
        "start",
        f"{one.time}Z",
        item,
        "stated",
        order=order or (one.order if one.order in ("dmy", "mdy") else ""),
        zone=one.zone,
        parts=parts,
    )
    local = re2.search(r"\blocal|\blocale?\b|ortszeit", f"{plain(item.label)} {plain(item.text)}")
    if not one.zone and local:
        doubt = f"the start is in local time (line {item.line + 1}), and its zone is not stated"
        return Choice("start", None, item, "", [], doubt)
    elsewhere = {zone_in(other.text) for other in dated} - {"", "UTC"}
    if not one.zone and elsewhere:
        said = f"UTC or {' or '.join(sorted(elsewhere))}, as another time of the header"
        doubt = f"the zone of the start is not stated (line {item.line + 1}): {said}"
        return Choice("start", None, item, "", [said], doubt)
    if not one.zone:
        choice.note = f"the zone of the start is not stated (line {item.line + 1}): assumed UTC"
    return choice


_CLOCK_SAID = re2.compile(r"(?:^|[^0-9:])[0-2]?[0-9][:h] ?[0-5][0-9](?:[:m] ?[0-5][0-9]|[^0-9:]|$)")
_PARTS_SAID = re2.compile(r"\byear\b.*\bmon(?:th)?\b.*\bday\b|\bhour\b.*\bmin(?:ute)?\b.*\bsec(?:ond)?\b")
_OF_START = re2.compile(r"start|begin|first|trigger|inicio|debut|inizio|primer|premier|arm(?:ed)?\b|t zero|\brecord")


def unread_start(items: Sequence[Item], raw: Sequence[tuple[int, str]]) -> str:
    """Return the doubt that quotes dates and times of day if none was understood as the start.

    Times of the earthquake and of file creation are quoted only if a time of day occurs alone.
    """
    clocks, days = [], []
    labelled = {
        item.line for item in items
        if item.labelled and concept(item.label) == "start" and not _of_event(item)
        and re2.search(r"[0-9]{3}", item.text)
    } | {at for at, text in raw if _PARTS_SAID.search(plain(text))}  # fmt: skip
    for at, text in raw:
        known = moments(text)
        clock = any(one.clock for one in known) or bool(_CLOCK_SAID.search(text)) or at in labelled
        if not known and not clock:
            continue
        words = plain(text)
        of = [item for item in items if item.line == at]
        foreign = any(_of_event(item) or concept(item.label) == "other" for item in of) and not _OF_START.search(words)
        if clock and not foreign:
            clocks.append((at, text, bool(known)))
        elif known and not clock:
            days.append((at, text))
    if not clocks:
        return ""
    said = [(at, text) for at, text, _ in clocks]
    if not any(dated for *_, dated in clocks):
        said += days
    return not_understood("start", sorted(said[:3]))


def _orders(dated: Sequence[Item]) -> set[str]:
    """Return the orders of day and month compatible with all numeric dates of a file."""
    orders = {"dmy", "mdy"}
    for item in dated:
        readings = {one.order for one in moments(item.text)}
        if readings and readings <= {"dmy", "mdy"} and re2.search(r"[0-9]{1,2}[-/.][0-9]{1,2}[-/.][0-9]{4}", item.text):
            orders &= readings
    return orders


def peak_of(values: Sequence[np.ndarray]) -> float:
    """Return the largest absolute number of some arrays."""
    return max((float(np.nanmax(np.abs(one))) for one in values if one.size and not np.isnan(one).all()), default=0.0)
