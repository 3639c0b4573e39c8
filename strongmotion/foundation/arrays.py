"""Checks of numbers and arrays that a caller hands in: what they return is float64, finite and of the right shape."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from .errors import InputError

__all__ = ["Floats", "above_zero", "non_negative", "positive", "signal"]

Floats = NDArray[np.float64]


def signal(name: str, values: ArrayLike) -> Floats:
    """Return `values` as a contiguous, finite, non-empty float64 array of one dimension, with no sample masked."""
    if np.ma.is_masked(values):
        index = int(np.flatnonzero(np.ma.getmaskarray(np.ma.asarray(values)))[0])
        raise InputError(f"a number is masked at index {index}", source=name, remedy="Fill it, or cut it off")
    if np.iscomplexobj(values):
        raise InputError("expected real numbers, found complex ones", source=name)
    try:
        array = np.ascontiguousarray(values, dtype=np.float64)
    except (TypeError, ValueError) as error:
        raise InputError(f"expected numbers: {error}", source=name) from None
    if array.ndim != 1:
        raise InputError(
            f"expected one dimension, found shape {array.shape}", source=name, remedy="Pass one component at a time"
        )
    if array.size == 0:
        raise InputError("expected at least one number, found none", source=name)
    if not np.isfinite(array).all():
        index = int(np.flatnonzero(~np.isfinite(array))[0])
        raise InputError(f"expected finite numbers, found {array[index]} at index {index}", source=name)
    return array


def non_negative(name: str, values: ArrayLike) -> Floats:
    """Return a number or array as an array of finite numbers, none below 0."""
    array = signal(name, np.atleast_1d(np.asarray(values)))
    if (array < 0).any():
        index = int(np.flatnonzero(array < 0)[0])
        raise InputError(f"expected no negative number, found {array[index]} at index {index}", source=name)
    return array


def above_zero(name: str, values: ArrayLike) -> Floats:
    """Return a number or array as an array of finite numbers above 0."""
    array = non_negative(name, values)
    if (array == 0).any():
        raise InputError("expected numbers above 0, found 0", source=name)
    return array


def positive(name: str, value: float) -> float:
    """Return a finite number above 0."""
    return float(above_zero(name, [value])[0])
