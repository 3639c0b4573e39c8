"""The caller's reading options and their checks."""

from __future__ import annotations

import difflib
import math
from collections.abc import Mapping
from pathlib import Path
from typing import Literal, TypedDict

import numpy as np

from ..foundation.errors import InputError
from ..foundation.times import instant_in
from ..foundation.units import acceleration_unit
from .channels import SENSORS, Choice, Sensor, patterns
from .header import GIVEN, LONGEST, NUMBER, SHORTEST
from .stationxml import Inventory


class ReadOptions(TypedDict, total=False):
    """The keyword arguments of `read` and `read_all`, documented in `read`."""

    layout: str | Path | None
    stationxml: str | Path | Inventory | None
    event: str | Path | None
    common_window: bool
    missing: Literal["refuse", "truncate"]
    gaps: Literal["refuse", "longest", "fill", "split"]
    sensor: Sensor
    channel: str | None
    time: tuple[str, str] | None
    unit: str | None
    sensitivity: float | None
    dt: float | None
    component: str | None
    station: str | None
    start: str | None
    given: Mapping[str, str] | None


_CHOICES = {"missing": ("refuse", "truncate"), "gaps": ("refuse", "longest", "fill", "split"), "sensor": SENSORS}


def checked(options: ReadOptions) -> ReadOptions:
    """Return the options with the unit in its usual spelling.

    Raises
    ------
    InputError
        A name is unknown, or a value is not one of those allowed.

    Examples
    --------
    >>> checked({"unit": "g", "dt": 0.01})
    {'unit': 'g', 'dt': 0.01}
    """
    for name, value in options.items():
        if name not in ReadOptions.__annotations__:
            near = difflib.get_close_matches(name, ReadOptions.__annotations__, n=1)
            raise InputError(
                f"{name!r} is not a reading option{f', perhaps {near[0]}' if near else ''}",
                remedy=f"Give one of {', '.join(ReadOptions.__annotations__)}",
            )
        allowed = _CHOICES.get(name)
        if allowed is not None and value not in allowed:
            raise InputError(f"{name} must be {' or '.join(map(repr, allowed))}, found {value!r}")
    options = options.copy()
    unit, sensitivity = options.get("unit"), options.get("sensitivity")
    if unit is not None:
        options["unit"] = acceleration_unit(unit)
    if sensitivity is not None and not (math.isfinite(sensitivity) and sensitivity != 0):
        raise InputError(f"sensitivity must be a number other than 0, found {sensitivity}")
    what_is_given(options)
    choice_of(options)
    span_of(options)
    return options


def what_is_given(options: ReadOptions) -> dict[str, str]:
    """Return the checked metadata in the options of a text file, under the names in `GIVEN`.

    Raises
    ------
    InputError
        A name is unknown, or a value is not valid.
    """
    known = {key: str(value) for key, value in (options.get("given") or {}).items()}
    for key in known:
        if key not in GIVEN:
            near = difflib.get_close_matches(key, GIVEN, n=1)
            guess = f", perhaps {near[0]}" if near else ""
            raise InputError(f"{key!r} cannot be given{guess}", remedy=f"Give one of {', '.join(GIVEN)}")
    said = (("station", options.get("station")), ("start", options.get("start")))
    known |= {key: str(value) for key, value in said if value is not None}
    if (dt := options.get("dt")) is not None:
        known["dt"] = repr(float(dt))
    if "dt" in known and not (NUMBER.fullmatch(known["dt"]) and SHORTEST <= float(known["dt"]) <= LONGEST):
        raise InputError(f"dt must be a sampling interval in s, found {known['dt']}")
    if "start" in known:
        try:
            instant_in(known["start"])
        except ValueError:
            raise InputError(
                f"start must be a date and time, found {known['start']!r}", remedy="Write it as 2031-04-17T03:26:27.5Z"
            ) from None
    return known


def choice_of(options: ReadOptions) -> Choice:
    """Return the choice of channels in the options.

    Raises
    ------
    InputError
        A channel pattern is not valid.
    """
    stations = tuple(part.strip().upper() for part in (options.get("station") or "").split(",") if part.strip())
    return Choice(options.get("sensor", "accelerometer"), patterns(options.get("channel") or ""), stations)


def span_of(options: ReadOptions) -> tuple[np.datetime64, np.datetime64] | None:
    """Return the start and end of the time window to read.

    Raises
    ------
    InputError
        They are not times, or the end is not after the start.
    """
    time = options.get("time")
    if time is None:
        return None
    try:
        begin, end = (instant_in(one) for one in time)
    except ValueError as error:
        raise InputError(
            f"time must be two dates and times, found {error.args[0]!r}", remedy="Write them as 2031-04-17T03:26:27Z"
        ) from None
    if not begin < end:
        raise InputError(f"the time window must end after it begins, found {time[0]} to {time[1]}")
    return begin, end
