"""Worker processes: how they start, how they end, and how many calls go through them, or through a cluster."""

from __future__ import annotations

import contextlib
import multiprocessing
import os
import signal
import threading
from collections import deque
from collections.abc import Callable, Generator, Iterable, Iterator, Mapping, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass
from typing import Any, Generic, TypeVar

from .errors import ArchiveError, InputError

__all__ = ["Run", "in_processes", "workers"]

Item = TypeVar("Item")
Answer = TypeVar("Answer")
Job = TypeVar("Job")

DIED = "the worker process died, each time it was tried, perhaps for lack of memory. Try fewer jobs."
"""Why an item has no answer."""

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


@dataclass
class Run(Generic[Item, Answer, Job]):
    """Call `work(item, job)` for many items, few of them in hand at a time.

    Parameters
    ----------
    work : callable
        At the top level of a module, so that other processes find it. It must not raise.
    lost : callable
        The answer for an item that no worker could work on, and why.
    count : callable
        How much an item counts for in the progress, once it has its answer.
    then : callable, optional
        Further items, called once with all answers, unless the run was interrupted.
    """

    work: Callable[[Item, Job], Answer]
    lost: Callable[[Item, str], Answer]
    job: Job
    jobs: int
    cluster: str | None = None
    interrupted: Callable[[], None] | None = None
    progress: Callable[[int, int], None] | None = None
    stopping: bool = False
    lost_cluster: bool = False
    count: Callable[[Item, Answer], int] = lambda item, answer: 1
    then: Callable[[list[tuple[Item, Answer]]], Iterable[Item]] | None = None

    def of(self, items: Sequence[Item]) -> list[tuple[Item, Answer]]:
        """Return each item with its answer, in the order they were finished; fewer after an interruption.

        The items are how much there is to do in all, for the progress.
        """
        waiting = deque(items)
        self.got: list[tuple[Item, Answer]] = []
        if self.cluster:
            answers = self._on_cluster(waiting, self.cluster)
        elif self.jobs == 1:
            answers = self._in_turn(waiting)
        else:
            answers = self._in_workers(waiting)
        finished = 0
        with contextlib.suppress(KeyboardInterrupt), self._obeying_interruption(), contextlib.closing(answers):
            if self.progress:
                self.progress(0, len(items))
            for item, answer in answers:
                self.got.append((item, answer))
                finished += self.count(item, answer)
                if self.progress:
                    self.progress(finished, len(items))
        return self.got

    def _left(self, waiting: deque[Item], in_hand: Mapping[Any, Item] | None = None) -> bool:
        """Whether anything is left to do; what comes after the first items is among it once they are finished."""
        if not (waiting or in_hand or self.stopping) and self.then is not None:
            then, self.then = self.then, None
            waiting.extend(then(self.got))
        return bool(waiting or in_hand)

    @contextlib.contextmanager
    def _obeying_interruption(self) -> Iterator[None]:
        if threading.current_thread() is not threading.main_thread():
            yield  # signals go to the main thread
            return

        def obey(*_: object) -> None:
            if self.stopping:
                raise KeyboardInterrupt
            self.stopping = True
            if self.interrupted:
                self.interrupted()

        before = signal.signal(signal.SIGINT, obey)
        try:
            yield
        finally:
            signal.signal(signal.SIGINT, before)

    def _in_turn(self, waiting: deque[Item]) -> Generator[tuple[Item, Answer]]:
        while self._left(waiting) and not self.stopping:
            item = waiting.popleft()
            yield item, self.work(item, self.job)

    def _in_workers(self, waiting: deque[Item]) -> Generator[tuple[Item, Answer]]:
        """Work in processes, with no more items handed out than keep them busy.

        When a worker dies, nothing tells which of the items in hand killed it: each of them is tried again on its own.
        """
        while self._left(waiting) and not self.stopping:
            in_hand: dict[Future[Answer], Item] = {}
            with workers(min(self.jobs, len(waiting))) as pool:
                try:
                    while self._left(waiting, in_hand):
                        while waiting and not self.stopping and len(in_hand) < 2 * self.jobs:
                            in_hand[pool.submit(self.work, waiting[0], self.job)] = waiting[0]
                            waiting.popleft()  # only once it is handed out
                        if self.stopping:
                            waiting.clear()
                            for future in [future for future in in_hand if future.cancel()]:
                                del in_hand[future]
                        # Short waits, so that an interruption takes back what has not begun.
                        for future in wait(in_hand, timeout=0.5, return_when=FIRST_COMPLETED).done:
                            answer = future.result()
                            yield in_hand.pop(future), answer
                except BrokenProcessPool:
                    pass
            if in_hand:
                _check_workers_start()
            for future, item in in_hand.items():
                finished = future.done() and not future.cancelled() and future.exception() is None
                yield item, future.result() if finished else self._alone(item)

    def _alone(self, item: Item) -> Answer:
        with workers(1) as pool:
            try:
                return pool.submit(self.work, item, self.job).result()
            except BrokenProcessPool:
                return self.lost(item, DIED)

    def _on_cluster(self, waiting: deque[Item], address: str) -> Generator[tuple[Item, Answer]]:
        """Work on a Dask cluster, which tries the items of a lost worker again on another."""
        try:
            from distributed import CancelledError, Client, KilledWorker
            from distributed import wait as wait_for_futures
        except ImportError:
            raise InputError("a cluster needs Dask", remedy="Install strongmotion[cluster]") from None
        try:
            client = Client(address, timeout=10)
        except (OSError, ValueError) as error:
            raise InputError(
                f"no scheduler answers at {address!r}: {error}", remedy="Start one with `dask scheduler`"
            ) from None
        in_hand: dict[Any, Item] = {}
        try:
            while (self._left(waiting, in_hand) and not self.stopping) or in_hand:
                room = max(8, 2 * sum(client.nthreads().values())) - len(in_hand)
                while waiting and room > 0 and not self.stopping:
                    item = waiting.popleft()
                    in_hand[client.submit(self.work, item, self.job, pure=False)] = item
                    room -= 1
                # Short waits, so that an interruption and a scheduler that is gone are noticed.
                try:
                    done = wait_for_futures(list(in_hand), timeout=2, return_when="FIRST_COMPLETED").done
                except TimeoutError:
                    done = set()
                if client.status != "running":
                    break
                for future in done:
                    item = in_hand.pop(future)
                    if future.status == "finished":
                        yield item, future.result()
                    elif future.status == "cancelled":
                        self.lost_cluster = True
                    else:
                        cause = future.exception() if future.status == "error" else None
                        died = cause is None or isinstance(cause, KilledWorker)
                        yield item, self.lost(item, DIED if died else f"a worker could not begin: {cause!r}")
                    future.release()
        except (OSError, CancelledError, TimeoutError):  # of many kinds, as Dask happens to notice
            self.lost_cluster = True
        finally:
            if client.status != "running":
                self.lost_cluster = True
            with contextlib.suppress(Exception):  # nothing is left to be lost
                client.close(timeout=2)


def _check_workers_start() -> None:
    """Tell a worker that died at its work from one that cannot even begin."""
    with workers(1) as pool:
        try:
            pool.submit(os.getpid).result()
        except BrokenProcessPool:
            raise InputError(
                "worker processes cannot start",
                remedy='Call this in a script file, under `if __name__ == "__main__":`, or with jobs=1',
            ) from None
