"""Any frozen dataclass of this library <-> JSON, so that a new field of a result needs no new layout.

Which types may come out of a file is no choice of the file: the whitelist is what the annotations of `Result` and
`Record` lead to. Every value is checked against its annotation before an object is made of it.

=====================  ==============================================
value                  JSON
=====================  ==============================================
None, bool, int, text  as they are
float                  its shortest decimal; NaN and Infinity so spelled
list                   ``[...]``
tuple                  ``{"tuple": [...]}``
mapping                ``{"map": {...}}``
time                   ``{"time": "2031-03-07T04:15:00.000000000"}``
slice                  ``{"slice": [start, stop, step]}``
array                  ``{"array": [...], "dtype": "<f8", "shape": [...]}``
dataclass              ``{"is": "Windows", "fields": {...}}``
=====================  ==============================================
"""

from __future__ import annotations

import dataclasses
import functools
import json
import math
import sys
import types
import typing
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from ..foundation.errors import ArchiveError, InputError, StrongMotionError
from .gate import RESTORE

__all__ = ["decoded", "encoded", "fits", "from_json", "hints_of", "known_types", "rebuilt", "to_json"]

_DEEPEST = 24
_MOST_IN_ARRAY = 1 << 24


def to_json(value: Any) -> str:
    """Write a value as JSON; the same value gives the same text."""
    # JSON writes the shortest decimal that reads back as the same float.
    return json.dumps(encoded(value), indent=1, ensure_ascii=False)


def from_json(text: str, hint: Any = Any) -> Any:
    """Read what `to_json` wrote, and check it against an annotation.

    Raises
    ------
    ArchiveError
        It is no such JSON, names an unknown type, or does not fit.
    """
    try:
        value = decoded(json.loads(text))
    except StrongMotionError:
        raise
    except (ValueError, TypeError, RecursionError) as error:
        raise ArchiveError(f"holds JSON that cannot be read: {error}", remedy=RESTORE) from error
    if not fits(value, hint):
        raise ArchiveError(f"holds {_shown(value)} where {_shown_hint(hint)} belongs", remedy=RESTORE)
    return value


def encoded(value: Any) -> Any:
    """Return what JSON can hold of a value.

    Raises
    ------
    TypeError
        It holds an object of another kind.
    """
    if isinstance(value, np.datetime64):
        return {"time": str(value.astype("datetime64[ns]"))}
    if isinstance(value, np.generic):
        value = value.item()
    if value is None or isinstance(value, bool | int | float | str):
        return value
    if isinstance(value, tuple):
        return {"tuple": [encoded(item) for item in value]}
    if isinstance(value, list):
        return [encoded(item) for item in value]
    if isinstance(value, Mapping):
        if not all(isinstance(key, str) for key in value):
            raise TypeError(f"a mapping has keys that are not texts: {list(value)[:3]}")
        return {"map": {key: encoded(item) for key, item in value.items()}}
    if isinstance(value, slice):
        return {"slice": [encoded(part) for part in (value.start, value.stop, value.step)]}
    if isinstance(value, np.ndarray) and value.dtype.kind in "biuf":
        return {"array": value.ravel().tolist(), "dtype": value.dtype.str, "shape": list(value.shape)}
    if type(value).__name__ in known_types() and dataclasses.is_dataclass(value):
        fields = {item.name: encoded(getattr(value, item.name)) for item in dataclasses.fields(value)}
        return {"is": type(value).__name__, "fields": fields}
    raise TypeError(f"{type(value).__name__} is not a type that an archive can store")


def decoded(stored: Any, depth: int = 0) -> Any:
    """Return the value that `encoded` made this of.

    Raises
    ------
    ArchiveError
        It is not of that form, or a field does not fit its annotation.
    """
    if depth > _DEEPEST:
        raise ArchiveError("holds values nested too deeply", remedy=RESTORE)
    if stored is None or isinstance(stored, bool | int | float | str):
        return stored
    if isinstance(stored, list):
        return [decoded(item, depth + 1) for item in stored]
    keys = tuple(stored)
    if keys == ("tuple",) and isinstance(stored["tuple"], list):
        return tuple(decoded(item, depth + 1) for item in stored["tuple"])
    if keys == ("map",) and isinstance(stored["map"], dict):
        return {key: decoded(item, depth + 1) for key, item in stored["map"].items()}
    if keys == ("time",) and isinstance(stored["time"], str):
        return np.datetime64(stored["time"], "ns")
    if keys == ("slice",) and _are(stored["slice"], int | types.NoneType, 3):
        return slice(*stored["slice"])
    if keys == ("array", "dtype", "shape"):
        return _array(stored)
    if keys == ("is", "fields") and isinstance(stored["fields"], dict):
        kind = known_types().get(stored["is"]) if isinstance(stored["is"], str) else None
        if kind is None:
            raise InputError(f"unknown type {_shown(stored['is'])}")
        return rebuilt(kind, {key: decoded(item, depth + 1) for key, item in stored["fields"].items()})
    raise ArchiveError(f"holds {_shown(keys)}, which is no value", remedy=RESTORE)


def _array(stored: dict[str, Any]) -> np.ndarray:
    values, dtype, shape = stored["array"], stored["dtype"], stored["shape"]
    known = isinstance(dtype, str) and dtype[1:2] in "biuf" and len(dtype) <= 3
    whole = isinstance(values, list) and _are(shape, int, None) and len(values) == math.prod(shape) <= _MOST_IN_ARRAY
    if not (known and whole):
        raise ArchiveError("holds an array of no such shape", remedy=RESTORE)
    return np.array(values, dtype=dtype).reshape(shape)


def _are(values: Any, kind: Any, count: int | None) -> bool:
    return (
        isinstance(values, list)
        and (count is None or len(values) == count)
        and all(isinstance(value, kind) and not isinstance(value, bool) for value in values)
    )


def rebuilt(kind: type, values: Mapping[str, Any]) -> Any:
    """Make an object of its stored fields; what an older version did not store has its default.

    Raises
    ------
    InputError
        A field is unknown to this version.
    ArchiveError
        A field is missing, or holds what does not fit its annotation.
    """
    fields = {item.name: item for item in dataclasses.fields(kind)}
    if unknown := set(values) - set(fields):
        raise InputError(f"{kind.__name__} has no {', '.join(sorted(unknown))}")
    lacking = {
        name
        for name, item in fields.items()
        if name not in values and item.default is dataclasses.MISSING and item.default_factory is dataclasses.MISSING
    }
    if lacking:
        raise ArchiveError(f"{', '.join(sorted(lacking))} of {kind.__name__} is missing", remedy=RESTORE)
    hints = hints_of(kind)
    for name, value in values.items():
        if not fits(value, hints[name]):
            raise ArchiveError(
                f"{name} of {kind.__name__} is {_shown(value)}, where {_shown_hint(hints[name])} belongs",
                remedy=RESTORE,
            )
    return kind(**values)


def fits(value: Any, hint: Any) -> bool:
    """Tell whether a value is what an annotation says."""
    if hint is Any:
        return True
    origin, inside = typing.get_origin(hint), typing.get_args(hint)
    if origin in (typing.Union, types.UnionType):
        return any(fits(value, one) for one in inside)
    if origin is typing.Literal:
        return value in inside and isinstance(value, str | int)
    if origin is tuple:
        if not isinstance(value, tuple):
            return False
        if len(inside) == 2 and inside[1] is Ellipsis:
            return all(fits(item, inside[0]) for item in value)
        return len(value) == len(inside) and all(map(fits, value, inside))
    if origin is np.ndarray or hint is np.ndarray:
        return isinstance(value, np.ndarray)
    if isinstance(origin, type) and issubclass(origin, Mapping):
        return isinstance(value, Mapping) and all(
            fits(key, inside[0]) and fits(item, inside[1]) for key, item in value.items()
        )
    if isinstance(origin, type) and issubclass(origin, Sequence):
        return isinstance(value, list | tuple) and all(fits(item, inside[0]) for item in value)
    if hint is float:
        return isinstance(value, int | float) and not isinstance(value, bool)
    if hint is int:
        return isinstance(value, int) and not isinstance(value, bool)
    if hint is None:
        return value is None
    return isinstance(value, hint) if isinstance(hint, type) else False


@functools.cache
def hints_of(kind: type) -> dict[str, Any]:
    """Return the annotations of a dataclass as types, also those imported only for type checkers."""
    names = dict(vars(sys.modules[kind.__module__]))
    if "pd" not in names:
        import pandas

        names["pd"] = pandas
    return typing.get_type_hints(kind, names)


@functools.cache
def known_types() -> dict[str, type]:
    """Return the dataclasses that may stand in a file, by name: those the annotations of a result lead to."""
    from ..record import Record
    from ..result import Result

    known: dict[str, type] = {}
    waiting: list[Any] = [Result, Record]
    while waiting:
        kind = waiting.pop()
        waiting.extend(typing.get_args(kind))
        ours = isinstance(kind, type) and dataclasses.is_dataclass(kind) and kind.__module__.startswith("strongmotion.")
        if ours and kind.__name__ not in known:
            known[kind.__name__] = kind
            waiting.extend(hints_of(kind).values())
    return known


def _shown(value: Any) -> str:
    text = repr(value)
    return text if len(text) <= 60 else text[:57] + "..."


def _shown_hint(hint: Any) -> str:
    return hint.__name__ if isinstance(hint, type) else str(hint).replace("typing.", "")
