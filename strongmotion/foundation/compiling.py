"""How kernels are compiled: by Numba, without the interpreter's lock, cached on disk, the same bits each time."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numba

__all__ = ["compiled", "keep_no_code"]

_kept: dict[str, Any] = {"cache": True}


def compiled(function: Callable[..., Any], fastmath: set[str] | bool = False) -> Callable[..., Any]:
    """Compile with Numba, without the lock, and keep the machine code on disk where a disk lets us.

    Multiplications and additions are left apart but in functions that call nothing: what a compiler fuses depends on
    how it happened to inline, and that differs between fresh and cached code: the bits would not be the same.
    """
    options: dict[str, Any] = {"nogil": True, "fastmath": fastmath, "error_model": "numpy"}
    try:
        return numba.njit(**_kept, **options)(function)
    except RuntimeError:  # Numba found no folder it may write its cache to
        return numba.njit(**options)(function)


def keep_no_code() -> None:
    """Compile from now on without keeping machine code on disk."""
    _kept["cache"] = False
