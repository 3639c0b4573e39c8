"""Many files into one archive: worker processes, resuming, and bad files set aside with their reasons."""

from __future__ import annotations

import contextlib
import csv
import io
import multiprocessing
import signal
from collections import deque
from collections.abc import Callable, Generator, Iterable, Mapping, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from .archive import Archive, write_whole
from .errors import ArchiveError, InputError, StrongMotionError
from .settings import Settings

if TYPE_CHECKING:
    from .record import Record
    from .result import Result

__all__ = ["NOT_RECORDS", "Done", "Failure", "Outcome", "files_of", "process_files"]

NOT_RECORDS = (".md", ".py", ".toml", ".png", ".json", ".html", ".h5", ".npz")
"""Files with these endings are passed over in a folder; named one by one they are read like any other."""

FAILURES = "failed.csv"
"""The file in an archive that lists what failed in the last run."""


@dataclass(frozen=True)
class Done:
    """A file whose record is in the archive, with its peaks: the largest over its components, SI units."""

    file: Path
    record: str
    pga: float
    pgv: float
    pgd: float
    severity: str
    skipped: bool = False


@dataclass(frozen=True)
class Failure:
    """A file that was set aside, and why."""

    file: Path
    reason: str


@dataclass
class Outcome:
    """What became of each record of a run, in the order of the files given.

    Parameters
    ----------
    done : list of Done
        Processed and stored.
    skipped : list of Done
        In the archive already, made from the same raw samples with the same settings.
    failed : list of Failure
        Set aside.
    remaining : list of Path
        Not begun, because the run was interrupted.
    """

    done: list[Done] = field(default_factory=list)
    skipped: list[Done] = field(default_factory=list)
    failed: list[Failure] = field(default_factory=list)
    remaining: list[Path] = field(default_factory=list)


Answers = list[Done | Failure]
"""What became of the records of one file; at least one."""


@dataclass(frozen=True)
class _Job:
    """What is alike for every file of a run."""

    archive: Path
    settings: Settings
    reading: Mapping[str, Any]
    replace: bool
    figures: bool
    unit: str
    threads: int | None


def files_of(paths: Iterable[str | Path]) -> list[Path]:
    """Return the files to read: those named, and those in the folders named.

    Parameters
    ----------
    paths : iterable of str or Path
        A folder stands for its files, sorted by name, without hidden files, those in folders of its own, and those
        that end in `NOT_RECORDS`.

    Raises
    ------
    InputError
        A folder has no such file.
    """
    files: dict[Path, Path] = {}
    for path in map(Path, paths):
        found = [path]
        if path.is_dir():
            found = sorted(
                file
                for file in path.iterdir()
                if file.is_file() and not file.name.startswith(".") and file.suffix.lower() not in NOT_RECORDS
            )
            if not found:
                raise InputError("no file to process in this folder", source=str(path), remedy="Name the files")
        for file in found:
            files.setdefault(file.resolve(), file)  # a file named twice is one file
    return list(files.values())


def process_files(
    paths: Iterable[str | Path],
    archive: Archive | str | Path,
    settings: Settings | None = None,
    layout: str | Path | None = None,
    jobs: int = 1,
    progress: Callable[[int, int], None] | None = None,
    replace: bool = False,
    figures: bool = False,
    unit: str = "m/s2",
    reading: Mapping[str, Any] | None = None,
) -> Outcome:
    """Process files into an archive.

    Parameters
    ----------
    paths : iterable of str or Path
        Files and folders; see `files_of`.
    archive : Archive or path
        Made if it is not there.
    settings : Settings, optional
        The defaults if not given.
    layout : str or Path, optional
        How the text files are laid out, for all of them.
    jobs : int
        Worker processes; 1 works in this process.
    progress : callable, optional
        Called with the number of files finished and of all files: at the start and after each file.
    replace : bool
        Process again what is in the archive already, and put it in place of the earlier result.
    figures : bool
        Also draw each record's motion and spectra into ``ARCHIVE/figures``.
    unit : {"m/s2", "cm/s2", "g"}
        Of acceleration in the figures.
    reading : mapping, optional
        Other keyword arguments of `strongmotion.read_all`, for all files, such as ``stationxml`` or ``missing``.

    Returns
    -------
    Outcome
        What failed is also in ``ARCHIVE/failed.csv``, with its reason, until the next run.

    Raises
    ------
    ArchiveError
        The archive cannot be made.
    SettingsError
        The layout is not sound.
    InputError
        A folder has no file to process, or `jobs` is below 1.

    Notes
    -----
    Records do not depend on each other, so the archive is the same for any number of workers. After an interruption,
    of the keyboard or the machine, the same call goes on where it stopped: what is done is skipped.

    Workers are fresh processes that load the calling script anew: with `jobs` above 1, call this in a script under
    ``if __name__ == "__main__":``.
    """
    from .formats.layout import load_layout

    if jobs < 1:
        raise InputError(f"jobs must be at least 1, found {jobs}")
    if layout is not None:
        load_layout(layout)  # a layout that is not sound would fail every file, each with the same reason
    store = archive if isinstance(archive, Archive) else Archive(archive)
    files = files_of(paths)
    threads = None if jobs == 1 else 1  # worker processes share the cores
    job = _Job(
        store.folder, settings or Settings(), {**(reading or {}), "layout": layout}, replace, figures, unit, threads
    )
    if figures:
        _make_figures_folder(store.folder)

    answers: dict[Path, Answers] = {}
    if progress:
        progress(0, len(files))
    work = _in_turn(files, job) if jobs == 1 else _in_workers(files, job, jobs)
    with contextlib.suppress(KeyboardInterrupt), contextlib.closing(work):
        for answer in work:
            answers[answer[0].file] = answer
            if progress:
                progress(len(answers), len(files))
    outcome = _outcome(files, answers)
    _list_failures(store.folder / FAILURES, outcome.failed)
    return outcome


def _outcome(files: Sequence[Path], answers: dict[Path, Answers]) -> Outcome:
    outcome = Outcome()
    written: dict[str, Path] = {}
    for file in files:
        if file not in answers:
            outcome.remaining.append(file)
        for answer in answers.get(file, ()):
            if isinstance(answer, Failure):
                outcome.failed.append(answer)
            elif answer.skipped:
                outcome.skipped.append(answer)
            elif answer.record in written:
                # Only with `replace`; without it the archive refuses the second.
                reason = (
                    f"holds record {answer.record}, and so does {written[answer.record]}: one has taken the other's "
                    "place. Process them into two archives, or leave one out."
                )
                outcome.failed.append(Failure(file, reason))
            else:
                written[answer.record] = file
                outcome.done.append(answer)
    return outcome


def _in_turn(files: Sequence[Path], job: _Job) -> Generator[Answers]:
    for file in files:
        yield _process_file(file, job)


def _in_workers(files: Sequence[Path], job: _Job, jobs: int) -> Generator[Answers]:
    """Process in worker processes, with no more files handed out than keep them busy.

    When a worker dies, nothing tells which of the files in hand killed it: each of them is tried again on its own.
    """
    waiting = deque(files)
    while waiting:
        in_hand: dict[Future[Answers], Path] = {}
        with _workers(min(jobs, len(waiting))) as pool:
            try:
                while waiting or in_hand:
                    while waiting and len(in_hand) < 2 * jobs:
                        in_hand[pool.submit(_process_file, waiting[0], job)] = waiting[0]
                        waiting.popleft()  # only once it is handed out
                    for future in wait(in_hand, return_when=FIRST_COMPLETED).done:
                        answer = future.result()
                        del in_hand[future]
                        yield answer
            except BrokenProcessPool:
                pass
            except KeyboardInterrupt:
                for future in [future for future in in_hand if not future.cancel()]:
                    yield future.result()  # finish what is begun
                raise
        for future, file in in_hand.items():
            finished = future.done() and not future.cancelled() and future.exception() is None
            yield future.result() if finished else _alone(file, job)


def _alone(file: Path, job: _Job) -> Answers:
    with _workers(1) as pool:
        try:
            return pool.submit(_process_file, file, job).result()
        except BrokenProcessPool:
            return [Failure(file, "the worker process died, perhaps for lack of memory. Try fewer jobs.")]


def _workers(number: int) -> ProcessPoolExecutor:
    # Spawned, not forked: a fork of a process that has threads can hang.
    return ProcessPoolExecutor(number, mp_context=multiprocessing.get_context("spawn"), initializer=_start_worker)


def _start_worker() -> None:
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the parent decides what an interruption means


def _process_file(file: Path, job: _Job) -> Answers:
    from .formats import read_all

    with _set_aside(file) as failures:
        records = read_all(file, **job.reading)
    if failures:
        return failures
    answers: Answers = []
    for record in records:
        with _set_aside(file, record.id if len(records) > 1 else "") as failures:
            answers.append(_store(file, record, job))
        answers.extend(failures)
    return answers


@contextlib.contextmanager
def _set_aside(file: Path, record: str = "") -> Generator[Answers]:
    """Yield a list that gets the failure, if there is one."""
    failures: Answers = []
    which = f"record {record}: " if record else ""
    try:
        yield failures
    except StrongMotionError as error:
        # The file is named beside its reason; only another place (the archive) needs saying.
        source = None if error.source is None or Path(error.source).name == file.name else error.source
        reason = str(StrongMotionError(error.what, source=source, line=error.line, remedy=error.remedy))
        failures.append(Failure(file, which + reason))
    except Exception as error:  # one record must not stop thousands
        failures.append(Failure(file, f"{which}unexpected error, please report it: {type(error).__name__}: {error}"))


def _store(file: Path, record: Record, job: _Job) -> Done:
    from .result import process

    archive = Archive(job.archive)
    skipped = not job.replace and archive.path(record.id).exists()
    if skipped:
        result = archive[record.id]
        same_samples = result.record.raw_sha256 == record.raw_sha256
        if not (same_samples and result.settings == job.settings):
            other = "with other settings" if same_samples else "from other samples"
            raise ArchiveError(
                f"record {record.id} is already in the archive, made {other}",
                remedy="Use --replace (replace=True) to put the new result in its place, or choose another archive",
            )
    else:
        result = process(record, job.settings, threads=job.threads)
        archive.add(result, replace=job.replace)
    if job.figures:
        from .report import motion_figure, save, spectrum_figure

        folder = job.archive / "figures"
        save(motion_figure(result, job.unit), folder / f"{record.id}_motion.png")
        save(spectrum_figure(result, unit=job.unit), folder / f"{record.id}_spectrum.png")
    return Done(file, record.id, *_largest_peaks(result), result.severity, skipped)


def _largest_peaks(result: Result) -> tuple[float, float, float]:
    """Return PGA, PGV and PGD, each the largest over the components."""
    peaks = result.peaks[result.peaks["component"].isin(result.record.names)]
    pga, pgv, pgd = (float(peaks.loc[peaks["quantity"] == name, "value"].max()) for name in ("PGA", "PGV", "PGD"))
    return pga, pgv, pgd


def _make_figures_folder(archive: Path) -> None:
    try:
        (archive / "figures").mkdir(exist_ok=True)
    except OSError as error:
        raise ArchiveError(
            f"the folder for figures cannot be made: {error.strerror}", source=str(archive / "figures")
        ) from None


def _list_failures(path: Path, failed: Sequence[Failure]) -> None:
    """Write the failures of this run, or remove the list of an earlier one."""
    if not failed:
        path.unlink(missing_ok=True)
        return
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(("file", "reason"))
    writer.writerows((failure.file, failure.reason) for failure in failed)
    write_whole(path, text.getvalue().encode(), replace=True)
