"""How kernels are compiled: by Numba, without the interpreter's lock, cached on disk, the same bits each time."""

from __future__ import annotations

import multiprocessing
import sys
from collections.abc import Callable
from typing import Any

import numba
from numba.core import event

__all__ = ["compiled", "keep_no_code"]

_kept: dict[str, Any] = {"cache": True}


class _Announcer(event.Listener):
    """Says once, to a person at a terminal, why the first use after an installation takes so long."""

    def on_start(self, event: Any) -> None:
        _end_announcement()
        if sys.stderr is not None and sys.stderr.isatty() and multiprocessing.parent_process() is None:
            often = "once per installation" if _kept["cache"] else "anew in each process"
            print(f"strongmotion: compiling numerical kernels, {often}; this takes half a minute.", file=sys.stderr)

    def on_end(self, event: Any) -> None:
        """Nothing is said at the end."""


_announcer = _Announcer()
event.register("numba:compile", _announcer)


def _end_announcement() -> None:
    event.unregister("numba:compile", _announcer)


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
