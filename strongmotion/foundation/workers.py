"""Worker processes: how they start, how they end, and a window that keeps few calls waiting."""

from __future__ import annotations

import contextlib
import multiprocessing
import os
import signal
import threading
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from typing import Any, TypeVar

from .errors import ArchiveError, InputError

__all__ = ["in_processes", "workers"]

Answer = TypeVar("Answer")

_THREADS = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "VECLIB_MAXIMUM_THREADS")


@contextlib.contextmanager
def workers(number: int) -> Iterator[ProcessPoolExecutor]:
    """Start worker processes; leaving the block waits for them, an error inside it kills them.

    They are spawned, not forked: a fork of a process that has threads can hang. Each computes in one thread, since the
    processes share the cores; each ignores an interruption, which the parent decides on; and each ends when its parent
    does, however that came.
    """
    before = {name: os.environ.get(name) for name in _THREADS}
    os.environ.update({name: "1" for name in _THREADS if before[name] is None})
    context = multiprocessing.get_context("spawn")
    try:
        with ProcessPoolExecutor(number, mp_context=context, initializer=_start) as pool:
            try:
                yield pool
            except BaseException:
                # What they have in hand is dropped: a record is written whole or not at all.
                for process in list((pool._processes or {}).values()):
                    process.kill()
                raise
    finally:
        for name in _THREADS:
            if before[name] is None:
                os.environ.pop(name, None)


def _start() -> None:
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    parent = multiprocessing.parent_process()
    if parent is not None:
        threading.Thread(target=_end_with, args=(parent,), daemon=True).start()


def _end_with(parent: Any) -> None:
    parent.join()
    os._exit(1)


def in_processes(function: Callable[..., Answer], calls: Iterable[tuple[Any, ...]], jobs: int) -> Iterator[Answer]:
    """Yield `function` of each tuple of arguments, in order, worked out in `jobs` processes; 1 works in this one.

    Raises
    ------
    InputError
        `jobs` is below 1.
    ArchiveError
        A worker died.
    """
    if jobs < 1:
        raise InputError(f"jobs must be at least 1, found {jobs}")
    if jobs == 1:
        for arguments in calls:
            yield function(*arguments)
        return
    try:
        with workers(jobs) as pool:
            window: deque[Any] = deque()
            for arguments in calls:
                window.append(pool.submit(function, *arguments))
                if len(window) >= 8 * jobs:
                    yield window.popleft().result()
            while window:
                yield window.popleft().result()
    except BrokenProcessPool:
        raise ArchiveError("a worker process died, perhaps for lack of memory", remedy="Try fewer jobs") from None
