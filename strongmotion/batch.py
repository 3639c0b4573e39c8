"""Many files into one archive: worker processes, resuming, and bad files set aside with their reasons."""

from __future__ import annotations

import contextlib
import csv
import io
import platform
import signal
import threading
from collections.abc import Callable, Generator, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from time import monotonic
from typing import TYPE_CHECKING, Any, TypedDict, Unpack

from . import __version__
from .archive import Archive, made_of, moved, read_regular, same_numbers, version_of_file
from .formats.containers import NOT_RECORDS
from .foundation.errors import ArchiveError, InputError, RecordError, StrongMotionError
from .foundation.files import one_at_a_time, write_whole
from .foundation.workers import Run
from .settings import Settings

if TYPE_CHECKING:
    import pandas as pd

    from .formats import ReadOptions
    from .formats.joining import Apart, Group, Part
    from .record import Record
    from .result import Result

__all__ = [
    "NOT_RECORDS",
    "Done",
    "Failure",
    "Outcome",
    "Reprocessed",
    "RunOptions",
    "files_of",
    "process_files",
    "reprocess",
    "watch_folders",
]

LONGEST_LIST = 1 << 28
"""Longest list of failures, bytes, that is carried on."""

FAILURES = "failed.csv"
"""The file in an archive that lists what failed and has not been mended since."""


@dataclass(frozen=True)
class Done:
    """A file whose record is in the archive, with its peaks: the largest over its components, SI units.

    `differs` says what differs from the version that was there before: samples, metadata, settings or software.
    `usable` and `bounds` say of PGA, PGV and PGD in turn whether the number may be used, and whether the true one is
    ``"at least"`` as large. `joined` are the further files of a record that was joined of several.
    """

    file: Path
    record: str
    pga: float
    pgv: float
    pgd: float
    severity: str
    skipped: bool = False
    differs: tuple[str, ...] = ()
    version: str = ""
    usable: tuple[bool, bool, bool] = (True, True, True)
    bounds: tuple[str, str, str] = ("", "", "")
    joined: tuple[Path, ...] = ()


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
        In the archive already, made from the same samples and metadata with the same settings and software.
    failed : list of Failure
        Set aside.
    remaining : list of Path
        Not begun, or not known to be done, because the run was interrupted or its cluster was lost.
    stopped : str
        Why it ended before its end, in a sentence; empty if it did not, or a person interrupted it.
    apart : list of strongmotion.formats.joining.Apart
        Files that look like components of one record and were not joined, each with its reason.
    """

    done: list[Done] = field(default_factory=list)
    skipped: list[Done] = field(default_factory=list)
    failed: list[Failure] = field(default_factory=list)
    remaining: list[Path] = field(default_factory=list)
    stopped: str = ""
    apart: list[Apart] = field(default_factory=list)


Answers = list[Done | Failure]
"""What became of records."""


@dataclass(frozen=True)
class _Job:
    """What is alike for every file of a run."""

    archive: Path
    settings: Settings
    reading: Mapping[str, Any]
    figures: bool
    unit: str
    threads: int | None
    by: str
    why: str
    on_cluster: bool
    version: str
    split_shocks: bool = False
    join: bool = False


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

    Examples
    --------
    >>> from pathlib import Path
    >>> [file.name for file in files_of([Path("demo_records")])[:2]]
    ['bell.txt', 'fern.txt']
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


class RunOptions(TypedDict, total=False):
    """How a run is carried out; none of it changes a number."""

    jobs: int
    """Worker processes; 1, the default, works in this process."""
    cluster: str | None
    """Address of a Dask scheduler, such as ``tcp://head:8786``, whose workers do the work instead of `jobs` processes;
    they must see the files and the archive under the same paths."""
    progress: Callable[[int, int], None] | None
    """Called with the number of items finished and of all: at the start and after each."""
    interrupted: Callable[[], None] | None
    """Called when an interruption (SIGINT) begins to be obeyed."""
    by: str
    """Who runs it; kept with each version."""
    why: str
    """Why; likewise."""


class ProcessOptions(RunOptions, total=False):
    """How files are processed."""

    join: bool
    """Join files that each hold a component of one record; the default. See `strongmotion.formats.joining`."""


def process_files(
    paths: Iterable[str | Path],
    archive: Archive | str | Path,
    settings: Settings | None = None,
    reading: ReadOptions | None = None,
    *,
    figures: bool = False,
    unit: str = "m/s2",
    split_shocks: bool = False,
    **run: Unpack[ProcessOptions],
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
    reading : mapping, optional
        Keyword arguments of `strongmotion.read_all`, for all files, such as ``layout`` or ``sensitivity``.
    figures : bool
        Also draw each record's motion and spectra into ``ARCHIVE/figures``.
    unit : {"m/s2", "cm/s2", "g"}
        Of acceleration in the figures.
    split_shocks : bool
        Make a record of each shock of a file that holds several.
    **run
        How the run is carried out, and whether files are joined; see `RunOptions` and `ProcessOptions`.

    Returns
    -------
    Outcome
        What failed is also in ``ARCHIVE/failed.csv``, with its reason, until it is processed or gone.

    Raises
    ------
    ArchiveError
        The archive cannot be made.
    SettingsError
        The layout is not sound.
    InputError
        A folder has no file to process, `jobs` is below 1, or no scheduler answers.

    Notes
    -----
    Records do not depend on each other, so the archive is the same for any number of workers. After an interruption,
    of the keyboard or the machine, the same call goes on where it stopped: what is done is skipped. The first SIGINT
    lets the records in hand finish and begins no more; a second one stops at once. Either way what is in the archive is
    whole.

    A record that is there is processed again only where its samples, its metadata, the settings or the software differ.
    The result is a new version; it never comes before one that a person added or accepted.

    Workers are fresh processes that load the calling script anew: with `jobs` above 1, call this in a script under
    ``if __name__ == "__main__":``.

    Examples
    --------
    >>> import tempfile
    >>> from pathlib import Path
    >>> folder = Path(tempfile.mkdtemp()) / "archive"
    >>> outcome = process_files(["demo_records/quay.csv"], folder)
    >>> len(outcome.done), len(outcome.failed)
    (1, 0)
    """
    store, job = _prepared(archive, settings, reading, figures, unit, split_shocks, run)
    return _Batch(store, job, run).process([file.absolute() if job.on_cluster else file for file in files_of(paths)])


def _prepared(
    archive: Archive | str | Path,
    settings: Settings | None,
    reading: ReadOptions | None,
    figures: bool,
    unit: str,
    split_shocks: bool,
    run: ProcessOptions,
) -> tuple[Archive, _Job]:
    """Return the archive, ready to be written, and what is alike for every file."""
    from .formats import checked
    from .formats.kept import named_layout

    jobs, cluster = run.get("jobs", 1), run.get("cluster")
    if jobs < 1:
        raise InputError(f"jobs must be at least 1, found {jobs}")
    how = checked(reading or {})
    if (layout := how.get("layout")) is not None:
        named_layout(layout)  # a layout that is not sound would fail every file, each with the same reason
    store = archive if isinstance(archive, Archive) else Archive(archive, create=True)
    store.finish_writes()
    there = {name: value.absolute() if cluster and isinstance(value, Path) else value for name, value in how.items()}
    job = _Job(
        store.folder.absolute() if cluster else store.folder,
        settings or Settings(), there, figures, unit, _threads(jobs, cluster), run.get("by", ""), run.get("why", ""),
        bool(cluster), __version__, split_shocks, run.get("join", True),
    )  # fmt: skip
    if figures:
        _make_figures_folder(store.folder)
    return store, job


class _Batch:
    """The files of a run: each is read, and what is incomplete of it is joined with others and read again.

    `parts` has the incomplete records of each file that was read, which others may still complete; `waits` says which
    groups are to wait for that.
    """

    def __init__(
        self, store: Archive, job: _Job, run: ProcessOptions, waits: Callable[[Group], bool] = lambda _: False
    ) -> None:
        self.store, self.job, self.run, self.waits = store, job, run, waits
        self.parts: dict[Path, list[Part]] = {}
        self.finished: set[Group] = set()
        self.waiting: set[Path] = set()
        self.said: set[Apart] = set()

    def forget(self, files: Iterable[Path]) -> None:
        """Leave out what was read of files that have changed since, or are gone."""
        for file in list(files):
            self.parts.pop(file, None)
            self.finished = {group for group in self.finished if file not in group.files}
        self.waiting &= self.parts.keys()

    def process(self, files: Sequence[Path]) -> Outcome:
        """Process files, and what they complete of earlier ones."""
        outcome = Outcome()
        groups: list[Group] = []
        made: dict[Group, Answers] = {}

        def joined(read: list[tuple[Any, Any]]) -> list[tuple[Group, ...]]:
            for file, answers in read:
                self.parts[file] = [one for one in answers if _is_part(one)]
            found, apart = _gathered(part for parts in self.parts.values() for part in parts)
            outcome.apart += [one for one in apart if one not in self.said]
            self.said.update(apart)
            groups.extend(group for group in found if group not in self.finished)
            waiting = {group for group in groups if self.waits(group)}
            self.waiting = {file for group in waiting for file in group.files}
            return _sharing_files([group for group in groups if group not in waiting])

        def count(item: Path | tuple[Group, ...], answers: list[Any]) -> int:
            if isinstance(item, Path):
                return not any(map(_is_part, answers))
            return len({file for group in item for file in group.files} & wanted)

        wanted, run = set(files), self.run
        work: Run[Any, Any, _Job] = Run(
            _process_item, _lost_item, self.job, run.get("jobs", 1), run.get("cluster"), run.get("interrupted"),
            run.get("progress"), count=count, then=joined,
        )  # fmt: skip
        looked = {}
        for item, answers in work.of(files):
            if isinstance(item, Path):
                looked[item] = answers
            else:
                made |= zip(item, answers, strict=True)
        self.finished |= made.keys()
        self._sort(outcome, files, looked, made, groups)
        outcome.stopped = _CLUSTER_LOST if work.lost_cluster else ""
        self._list_failures(outcome, files)
        return outcome

    def _sort(
        self,
        outcome: Outcome,
        files: Sequence[Path],
        looked: Mapping[Path, list[Any]],
        made: Mapping[Group, Answers],
        groups: Sequence[Group],
    ) -> None:
        """Put each answer where it belongs, in the order of the files."""
        of_first: dict[Path, Answers] = {}
        left: set[Path] = set()
        for group in groups:
            if group in made:
                of_first.setdefault(group.files[0], []).extend(made[group])
            else:
                left.update(group.files)
        for file, found in looked.items():
            if not groups and any(map(_is_part, found)):  # interrupted before any could be joined
                left.add(file)
        for file in dict.fromkeys((*files, *of_first)):
            for answer in (*(one for one in looked.get(file, ()) if not _is_part(one)), *of_first.get(file, ())):
                if isinstance(answer, Failure):
                    outcome.failed.append(answer)
                elif answer.skipped:
                    outcome.skipped.append(answer)
                else:
                    outcome.done.append(answer)
            if file not in self.waiting and (file in left or (file in files and file not in looked)):
                outcome.remaining.append(file)

    def _list_failures(self, outcome: Outcome, files: Sequence[Path]) -> None:
        path = self.store.folder / FAILURES
        try:
            _list_failures(path, outcome.failed, set(files) - set(outcome.remaining))
        except ArchiveError as error:  # a full disk, say: what was done is still to be reported
            outcome.failed.append(Failure(path, str(error.at(None))))


def _is_part(answer: object) -> bool:
    return not isinstance(answer, Done | Failure)


def _gathered(parts: Iterable[Part]) -> tuple[list[Group], list[Apart]]:
    """Return which parts belong together; nothing is loaded for none."""
    if not (parts := list(parts)):
        return [], []
    from .formats.joining import gathered

    return gathered(parts)


def _sharing_files(groups: Sequence[Group]) -> list[tuple[Group, ...]]:
    """Return groups in batches that share no file, so that each file is read once."""
    batch_of: dict[Path, list[Group]] = {}
    for group in groups:
        met = {id(batch_of[file]): batch_of[file] for file in group.files if file in batch_of}
        batch = max(met.values(), key=len, default=[])
        batch.append(group)
        for other in met.values():
            if other is not batch:
                batch.extend(other)
                for file in {file for one in other for file in one.files}:
                    batch_of[file] = batch
        batch_of |= dict.fromkeys(group.files, batch)
    return [tuple(batch) for batch in {id(batch): batch for batch in batch_of.values()}.values()]


def watch_folders(
    paths: Iterable[str | Path],
    archive: Archive | str | Path,
    settings: Settings | None = None,
    *,
    every: float = 2.0,
    siblings: float = 30.0,
    interrupted: Callable[[], None] | None = None,
    **options: Any,
) -> Iterator[Outcome]:
    """Process files as they arrive in folders, each once it is whole, until an interruption (SIGINT).

    A file is taken as whole when neither its size nor its time has changed between two looks; one that changes later is
    processed again. A file that holds fewer than three components waits for others of the same record; those that come
    still later make a new version of it.

    Parameters
    ----------
    paths, archive, settings, interrupted, **options
        As in `process_files`.
    every : float
        Time between looks, s.
    siblings : float
        How long an incomplete record waits for its other components after the last of them arrived, s.

    Yields
    ------
    Outcome
        Of each group of files that arrived together; after an interruption those that were waiting are in `remaining`.
    """
    wanted = list(map(Path, paths))
    known: dict[Path, tuple[int, int]] = {}
    before: dict[Path, tuple[int, int]] = {}
    came: dict[Path, float] = {}
    stop = threading.Event()

    def obey(*_: object) -> None:
        if interrupted and not stop.is_set():
            interrupted()
        stop.set()

    def waits(group: Group) -> bool:
        return not group.is_whole and monotonic() - max(came[file] for file in group.files) < siblings

    def prepared(
        reading: ReadOptions | None = None, figures: bool = False, unit: str = "m/s2", split_shocks: bool = False,
        **run: Unpack[ProcessOptions],
    ) -> _Batch:  # fmt: skip
        run["interrupted"] = obey
        return _Batch(*_prepared(archive, settings, reading, figures, unit, split_shocks, run), run, waits)

    batch = prepared(**options)
    main = threading.current_thread() is threading.main_thread()
    handler = signal.signal(signal.SIGINT, obey) if main else None
    try:
        while not stop.is_set():
            now: dict[Path, tuple[int, int]] = {}
            for path in wanted:
                with contextlib.suppress(InputError):  # an empty folder
                    for listed in files_of([path]):
                        file = listed.absolute() if batch.job.on_cluster else listed
                        with contextlib.suppress(OSError):
                            state = file.stat()
                            now[file] = (state.st_size, state.st_mtime_ns)
            ready = [file for file, state in now.items() if state[0] and before.get(file) == state != known.get(file)]
            before = now
            due = [file for file in batch.waiting if monotonic() - came[file] >= siblings]
            if ready or due:
                came |= dict.fromkeys(ready, monotonic())
                batch.forget(file for file in [*ready, *batch.parts] if file in ready or file not in now)
                outcome = batch.process(ready)
                known |= {file: now[file] for file in ready if file not in outcome.remaining}
                if outcome != Outcome():
                    yield outcome
            else:
                stop.wait(every)
        if batch.waiting:
            yield Outcome(remaining=sorted(batch.waiting))
    finally:
        if main:
            signal.signal(signal.SIGINT, handler)


# Working through many items, here, in worker processes or on a cluster


def _threads(jobs: int, cluster: str | None) -> int | None:
    return None if jobs == 1 and not cluster else 1  # workers share the cores


_CLUSTER_LOST = (
    "the scheduler of the cluster was lost. What its workers had finished is in the archive and will be skipped; "
    "start a scheduler and run the same command again."
)


def _process_item(item: Path | tuple[Group, ...], job: _Job) -> list[Any]:
    return _process_file(item, job) if isinstance(item, Path) else _process_groups(item, job)


def _lost_item(item: Path | tuple[Group, ...], why: str) -> list[Any]:
    return [Failure(item, why)] if isinstance(item, Path) else [[Failure(group.files[0], why)] for group in item]


# One file, or the files of one record


def _process_file(file: Path, job: _Job) -> list[Done | Failure | Part]:
    """Process the records of a file; of those that other files may complete only what decides that is returned."""
    from .formats.joining import Part, is_whole

    records, answers = _read(file, job)
    for number, record in enumerate(records):
        if job.join and not is_whole(record):
            answers.append(Part.of(record, file, number))
        else:
            answers.extend(_process_record(file, record, job, len(records) > 1))
    return answers


def _process_groups(groups: tuple[Group, ...], job: _Job) -> list[Answers]:
    """Process the record of each group, whose files are read once."""
    from .formats.joining import joined

    read = {file: _read(file, job) for file in dict.fromkeys(file for group in groups for file in group.files)}
    made: list[Answers] = []
    for group in groups:
        file, *others = group.files
        answers: Answers = []
        record = None
        with _set_aside(file) as failures:
            parts = [_same(part, read[part.file][0]) for part in group.parts]
            record = joined(parts, group)
        answers += failures
        if record is not None:
            several = len(read[file][0]) > 1 and not others
            answers += _process_record(file, record, job, several, tuple(others))
        made.append(answers)
    return made


def _same(part: Part, records: Sequence[Record]) -> Record:
    """Return the record of a part, read again; a file that is another by now is not what was joined."""
    from .formats.joining import Part

    if part.number < len(records) and Part.of(records[part.number], part.file, part.number) == part:
        return records[part.number]
    raise RecordError("the file changed while it was read", source=str(part.file), remedy="Run the same command again")


def _read(file: Path, job: _Job) -> tuple[list[Record], list[Any]]:
    """Return the records of a file, or why there are none."""
    from .formats import read_all

    if job.version != __version__:
        what = f"the worker on {platform.node()} runs strongmotion {__version__}, this is {job.version}."
        return [], [Failure(file, f"{what} Install one version everywhere.")]
    if job.on_cluster and not file.exists():
        what = "does not see the file. Workers need the files and the archive under the same paths."
        return [], [Failure(file, f"the worker on {platform.node()} {what}")]
    options = dict(job.reading)
    if job.join and "=" in (options.get("component") or ""):
        del options["component"]  # the names are those of the record, once it is joined
    with _set_aside(file) as failures:
        records = read_all(file, **options)
        for unread in records.unread:
            channel, record = unread.channel, unread.record
            with _set_aside(file, f"channel {channel}" if channel else f"record {record}" if record else "") as its:
                raise unread.error
            failures += its
        return records, failures
    return [], failures


def _process_record(file: Path, record: Record, job: _Job, several: bool, others: tuple[Path, ...] = ()) -> Answers:
    """Process a record of a file, one of several there, or joined with others."""
    from .chain import cut_to_shaking, cut_to_shocks
    from .formats import renamed

    answers: Answers = []
    component = job.reading.get("component") or ""
    parts: Sequence[Record] = ()
    with _set_aside(file, f"record {record.id}" if several else "") as failures:
        if job.join and "=" in component:
            record = renamed(record, component)
        own = job.settings.for_record(record.id)
        parts = cut_to_shocks(record, own) if job.split_shocks else (cut_to_shaking(record, own),)
    answers += failures
    for part in () if failures else parts:
        with _set_aside(file, f"record {part.id}" if several or len(parts) > 1 else "") as failures:
            done = _store(file, part, job.settings.for_record(record.id, part.id), job)
            answers.append(replace(done, joined=others))
        answers += failures
    return answers


@contextlib.contextmanager
def _set_aside(file: Path, which: str = "") -> Generator[Answers]:
    """Yield a list that gets the failure, if there is one."""
    failures: Answers = []
    which = f"{which}: " if which else ""
    try:
        yield failures
    except StrongMotionError as error:
        # The file is named beside its reason; only another place (the archive) needs saying.
        source = None if error.source is None or Path(error.source).name == file.name else error.source
        reason = str(error.at(source, error.line))
        failures.append(Failure(file, which + reason))
    except Exception as error:  # one record must not stop thousands
        failures.append(Failure(file, f"{which}unexpected error, please report it: {type(error).__name__}: {error}"))


def _store(file: Path, record: Record, settings: Settings, job: _Job) -> Done:
    from .result import process

    archive = Archive(job.archive)  # made at the start; gone now, it must not come back empty
    wanted = made_of(record, settings)
    record_id = archive.id_for(record)
    automatic = [one for one in archive.standing(record_id).versions if one.automatic]
    made: Result | None = None
    if not automatic or any(getattr(automatic[-1], what) != value for what, value in wanted.items()):
        made = process(record, settings, threads=job.threads)
        path = archive.add(made, job.by, job.why, automatic=True)
        record_id, name = version_of_file(path.name) or (record_id, "")
        version = archive.version(record_id, name)
    else:
        version = automatic[-1]
    if job.figures:
        from .report import motion_figure, save, spectrum_figure

        drawn, folder = made or archive[record_id, version.name], job.archive / "figures"
        save(motion_figure(drawn, job.unit), folder / f"{record_id}_motion.png")
        save(spectrum_figure(drawn, unit=job.unit), folder / f"{record_id}_spectrum.png")
    summary = made or archive.summary(record_id, version.name)
    pga, pgv, pgd = (_largest(summary.peaks, record, quantity) for quantity in ("PGA", "PGV", "PGD"))
    return Done(
        file, record_id, float(pga.value), float(pgv.value), float(pgd.value), summary.severity, made is None,
        version.differs if made else (), version.name,
        (bool(pga.usable), bool(pgv.usable), bool(pgd.usable)), (str(pga.bound), str(pgv.bound), str(pgd.bound)),
    )  # fmt: skip


def _largest(peaks: pd.DataFrame, record: Record, quantity: str) -> pd.Series[Any]:
    """Return the row of the component with the largest peak."""
    rows = peaks[peaks["component"].isin(record.names) & (peaks["quantity"] == quantity)]
    return rows.loc[rows["value"].idxmax()]


def _make_figures_folder(archive: Path) -> None:
    try:
        (archive / "figures").mkdir(exist_ok=True)
    except OSError as error:
        raise ArchiveError(
            f"the folder for figures cannot be made: {error.strerror}", source=str(archive / "figures")
        ) from None


def _list_failures(path: Path, failed: Sequence[Failure], tried: set[Path]) -> None:
    """Write the failures of this run below those of earlier ones whose files are still there and were not tried."""
    with one_at_a_time(path.with_name(f".{path.name}.lock")):
        _merge_failures(path, failed, tried)


def _merge_failures(path: Path, failed: Sequence[Failure], tried: set[Path]) -> None:
    rows = [(str(failure.file), failure.reason) for failure in failed]
    with contextlib.suppress(ArchiveError, OSError, ValueError):
        text = read_regular(path, LONGEST_LIST).decode()
        now = {file.resolve() for file in tried}
        rows = [
            (earlier, reason)
            for earlier, reason in list(csv.reader(io.StringIO(text, newline="")))[1:]
            if Path(earlier).exists() and Path(earlier).resolve() not in now
        ] + rows
    if not rows:
        path.unlink(missing_ok=True)
        return
    lines = io.StringIO()
    csv.writer(lines, lineterminator="\n").writerows([("file", "reason"), *rows])
    write_whole(path, lines.getvalue().encode("utf-8", "backslashreplace"), replace=True)


# What is in the archive, processed again


@dataclass(frozen=True)
class Reprocessed:
    """A record of an archive, processed again from its stored raw samples.

    Parameters
    ----------
    record : str
        Its id.
    version : str
        The version of the software that made what is stored.
    same : bool
        Every number came out alike, to the last bit.
    moved : pandas.DataFrame, optional
        What did not; see `strongmotion.archive.moved`.
    failed : str
        Why it could not be processed; empty if it was.
    """

    record: str
    version: str = ""
    same: bool = False
    moved: pd.DataFrame | None = None
    failed: str = ""


@dataclass(frozen=True)
class _Again:
    archive: Path
    settings: Settings | None
    keep: bool
    threads: int | None
    by: str
    why: str


def reprocess(
    archive: Archive | str | Path,
    record_ids: Iterable[str] | None = None,
    settings: Settings | None = None,
    *,
    keep: bool = False,
    **run: Unpack[RunOptions],
) -> list[Reprocessed]:
    """Process records again from their stored raw samples, and say what moved.

    Parameters
    ----------
    archive : Archive or path
    record_ids : iterable of str, optional
        All records if not given.
    settings : Settings, optional
        Each record's own, as stored, if not given.
    keep : bool
        Add what moved as new versions; otherwise the archive is left as it is.
    **run
        As in `process_files`.

    Returns
    -------
    list of Reprocessed
        In the order of ids; after an interruption without those that were not begun.

    Raises
    ------
    ArchiveError
        There is no archive, or no such record.
    InputError
        `jobs` is below 1, or no scheduler answers.
    """
    jobs, cluster = run.get("jobs", 1), run.get("cluster")
    if jobs < 1:
        raise InputError(f"jobs must be at least 1, found {jobs}")
    store = archive if isinstance(archive, Archive) else Archive(archive)
    wanted = store.ids() if record_ids is None else list(dict.fromkeys(record_ids))
    for record_id in wanted if record_ids is not None else ():
        if record_id not in store:
            store[record_id]  # says what is wrong, and guesses
    by, why = run.get("by", ""), run.get("why", "")
    again = _Again(store.folder.absolute(), settings, keep, _threads(jobs, cluster), by, why)
    work = Run(_process_again, _lost_record, again, jobs, cluster, run.get("interrupted"), run.get("progress"))
    answers = dict(work.of(wanted))
    return [answers[record_id] for record_id in wanted if record_id in answers]


def _process_again(record_id: str, again: _Again) -> Reprocessed:
    from .result import process

    try:
        archive = Archive(again.archive)
        stored = archive[record_id]
        made = process(stored.record, again.settings or stored.settings, threads=again.threads)
        same = same_numbers(stored, made)
        table = None if same else moved(stored, made)
        if again.keep:
            archive.add(made, again.by, again.why or "processed again from the stored samples", automatic=True)
    except StrongMotionError as error:
        return Reprocessed(record_id, failed=str(error))
    except Exception as error:  # one record must not stop thousands
        return Reprocessed(record_id, failed=f"unexpected error, please report it: {type(error).__name__}: {error}")
    return Reprocessed(record_id, stored.version, same, table)


def _lost_record(record_id: str, why: str) -> Reprocessed:
    return Reprocessed(record_id, failed=why)
