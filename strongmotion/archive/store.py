"""The folder of an archive: records and their versions, decisions, and what does not belong there."""

from __future__ import annotations

import contextlib
import dataclasses
import difflib
import hashlib
import json
import os
import random
import re
import secrets
import time
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from ..foundation.errors import AbsentError, ArchiveError, InputError
from ..foundation.files import flush_folder, printable, write_to_disk, write_whole
from ..foundation.workers import in_processes
from ..result import RANKED_SEVERITIES
from . import gate, layout
from .catalogue import Index
from .decisions import Standing, Version, check_decision, standing
from .derived import derived_problems
from .files import check_name, packed, read_bytes, read_result, result_in
from .identity import is_identified, made_of, samples_sha256
from .manifest import Entry, Manifest, is_unfinished, name_once
from .measures import measures_of
from .names import id_of_file, start_in_id, version_of_file
from .provenance import now, provenance

if TYPE_CHECKING:
    import pandas as pd
    import xarray

    from ..record import Finding, Record
    from ..result import Result
    from ..settings import Settings

__all__ = ["Archive", "Problem", "Summary"]

LEFT_OVER = 3600.0
"""Age, s, from which an unfinished file counts as abandoned: no write takes that long."""

MARK = "archive.json"
"""The file that says of which layout the folder is; without it, it is of an earlier one."""

MOST_SHOWN = 20
"""Rows of the table that a notebook shows of an archive."""

PROGRESS = ".verify.progress"
"""The file that lists the records a `verify` in hand has found sound."""

Key = str | tuple[str, int | str]


@dataclass(frozen=True)
class Problem:
    """What `Archive.verify` found wrong with one file, and what to do."""

    file: Path
    what: str

    def __str__(self) -> str:
        return f"{printable(self.file)}: {self.what}"


@dataclass(frozen=True)
class Summary:
    """What a record was made of, and its peaks and findings: the little that tells whether it is done."""

    raw_sha256: str
    settings: Settings
    peaks: pd.DataFrame
    findings: tuple[Finding, ...]

    @property
    def severity(self) -> str:
        """The most severe severity among the findings."""
        return max((finding.severity for finding in self.findings), key=RANKED_SEVERITIES.index, default="")


class Archive:
    """Processed records in a folder: every result of a record is a version of it, an HDF5 file of its own.

    Parameters
    ----------
    folder : str or Path
        Where the archive lies. Record files are in its subfolder ``records``, the history of each record in
        ``manifest``.
    create : bool
        Make the archive if it is not there.

    Raises
    ------
    ArchiveError
        The archive is not there, or cannot be made.

    Notes
    -----
    Nothing is ever overwritten or deleted. Each file ends in a seal, the SHA-256 of all bytes before it, which HDF5
    readers pass over, and the manifest holds the SHA-256 of every file; so any changed byte is found when a record is
    read. Several processes may add to one archive at once.

    Examples
    --------
    >>> import tempfile
    >>> import numpy as np
    >>> from strongmotion import Archive, Component, Record, Station, process
    >>> noise = np.random.default_rng(1).normal(size=2000)
    >>> shaking = Component("H1", noise, dt=0.01, start=np.datetime64("2031-03-07T04:15"))
    >>> archive = Archive(tempfile.mkdtemp(), create=True)
    >>> archive.add(process(Record((shaking,), Station("QUAY", "XX")))).name
    'XX.QUAY_20310307T041500.v1-...h5'
    >>> archive.ids()
    ['XX.QUAY_20310307T041500']
    >>> archive["XX.QUAY_20310307T041500"].record.station.code
    'QUAY'
    >>> [version.number for version in archive.versions("XX.QUAY_20310307T041500")]
    [1]
    """

    def __init__(self, folder: str | Path, create: bool = False) -> None:
        self.folder = Path(folder).expanduser()
        self._records = self.folder / "records"
        self.manifest = Manifest(self.folder / "manifest")
        try:
            if create and not self._records.is_dir():
                self._records.mkdir(parents=True, exist_ok=True)
                for folder in (self.folder, self.folder.parent):
                    flush_folder(folder)
                self.mark()
        except OSError as error:
            raise ArchiveError(
                f"the archive cannot be made: {error.strerror}", source=str(folder), remedy="Choose another folder"
            ) from None
        if not self._records.is_dir():
            raise ArchiveError(
                "there is no archive here",
                source=str(folder),
                remedy="Give the folder that `process -o` wrote, or make an archive with create=True",
            )

    def __repr__(self) -> str:
        return f"Archive({str(self.folder)!r})"

    def mark(self) -> None:
        """Say in the folder that it is of this layout."""
        mark = self.folder / MARK
        self.manifest.folder.mkdir(exist_ok=True)
        if not mark.exists():
            content = json.dumps({"layout": layout.LAYOUT_VERSION, "archive": "strongmotion"}) + "\n"
            with contextlib.suppress(FileExistsError):
                write_whole(mark, content.encode(), replace=False)

    @property
    def is_earlier(self) -> bool:
        """Whether the archive is of an earlier layout: it can be read, and `upgrade` brings it over."""
        return not (self.folder / MARK).exists()

    # Adding

    def add(
        self,
        result: Result,
        by: str = "",
        why: str = "",
        automatic: bool | None = None,
        formerly: Mapping[str, Any] | None = None,
        upgrading: bool = False,
    ) -> Path:
        """Keep a result as a new version of its record, whole or not at all.

        A result that the archive has already, to the last bit, is not added again.

        Parameters
        ----------
        result : Result
        by, why : str
            Who adds it and why; nothing is guessed.
        automatic : bool, optional
            Whether a batch adds it: then it never comes before a version that a person added or accepted. By default
            it is where nobody is named.
        formerly : mapping, optional
            Where it comes from in another archive or layout; kept in the manifest.
        upgrading : bool
            Add to an archive of an earlier layout; for `upgrade`.

        Returns
        -------
        Path
            The file, named for the record and the version.

        Raises
        ------
        ArchiveError
            The archive is of an earlier layout, the disk is full, or the folder cannot be written. Nothing that was in
            the archive before has changed.
        """
        if not upgrading:
            self._check_layout()
        record_id = self.id_for(result.record)
        self._check_id(record_id)
        automatic = not by if automatic is None else automatic
        content = packed(result)
        digest = hashlib.sha256(content).hexdigest()
        entries = self.manifest.entries(record_id)
        now_standing = self._entered(record_id, entries)
        same = next((version for version in now_standing.versions if version.sha256 == digest), None)
        alike = [version for version in now_standing.versions if version.automatic == automatic]
        if same is not None and (same.current or (alike and alike[-1] == same)):
            return self._records / same.file
        if same is None:
            every = [entry.values["number"] for entry in entries if entry.kind == "version"]
            number = 1 + max(every, default=0)
            name = f"{number}-{digest[:8]}"
        else:
            number, name = same.number, same.name
        before = (alike[-1] if alike and automatic else None) or now_standing.current
        its = made_of(result.record, result.settings, result.version)
        differs: list[str] = []
        if before is not None:
            differs = [what for what, value in its.items() if getattr(before, what) != value] or ["numbers"]
        path = self._records / f"{record_id}.v{name}.h5"
        values = {
            "number": number, "name": name, "file": path.name, "sha256": digest, "size": len(content),
            "automatic": automatic, **its, "differs": differs,
            "supersedes": now_standing.current.name if now_standing.current else "", "formerly": dict(formerly or {}),
        }  # fmt: skip

        def enter() -> None:
            self.manifest.add(record_id, "version", values, by, why, now(), provenance(), entries)

        self.put(path, content, enter)
        return path

    def put(self, path: Path, content: bytes, enter: Callable[[], None]) -> None:
        """Write a record file under a hidden name, enter it in the manifest, and give it its name.

        A writer that is killed before the entry leaves nothing; after it, all there is to do is to give the file its
        name, which the next batch does; see `finish_writes`.
        """
        if path.exists():
            enter()
            return
        part = path.with_name(f".{path.name}.{secrets.token_hex(6)}.part")
        entered = False
        try:
            try:
                write_to_disk(part, content)
                flush_folder(path.parent)
                enter()
                entered = True
                name_once(part, path)
                with contextlib.suppress(OSError):
                    part.unlink(missing_ok=True)
            finally:
                if not entered:
                    with contextlib.suppress(OSError):
                        part.unlink(missing_ok=True)
        except OSError as error:
            kept = "it is entered, and will get its name with the next batch" if entered else "nothing of it was kept"
            raise ArchiveError(
                f"could not be written: {error.strerror}; {kept}",
                source=str(path),
                remedy="Make room on the disk, or check the folder and its permissions, and run again",
            ) from error
        try:
            flush_folder(path.parent)
        except OSError as error:
            raise ArchiveError(
                f"was written, but its folder could not be flushed to disk: {error.strerror}; a power failure may "
                "undo it",
                source=str(path),
                remedy="Check the disk, then verify the archive",
            ) from error

    def id_for(self, record: Record) -> str:
        """Return the id a record has, or would have, in this archive.

        It is `Record.id`, unless another record has that already: one of other samples, where the codes of station and
        instrument and the start do not say that it is a re-issue of the same one. Then the first digits of the hash of
        the samples are added. A record joined of several files is the record of the components that were there first,
        and components of other names are no re-issue.
        """
        versions = self._entered(record.id, self.manifest.entries(record.id)).versions
        if not versions:
            return record.id
        samples = samples_sha256(record)
        if any(version.samples == samples for version in versions):
            return record.id
        try:
            there = self[record.id, versions[-1].name].record
        except ArchiveError:  # damaged: nothing speaks against a re-issue
            return record.id if is_identified(record) else f"{record.id}~{samples[:10]}"
        again = is_identified(record) and bool(set(there.names) & set(record.names))
        if again or (record.joined and all(component in record.components for component in there)):
            return record.id
        return f"{record.id}~{samples[:10]}"

    def _check_layout(self) -> None:
        if self.is_earlier:
            if any(self.earlier_files()):
                raise ArchiveError(
                    "the archive is of an earlier layout, which is only read",
                    source=str(self.folder),
                    remedy=f"Run `strongmotion upgrade {self.folder}`",
                )
            self.mark()

    # Decisions

    def decide(self, record_id: str, state: str, by: str, reason: str, version: int | str | None = None) -> Entry:
        """Accept, reject or withdraw a record, or leave it to look at; nothing is deleted.

        Parameters
        ----------
        record_id : str
        state : {"accepted", "rejected", "withdrawn", "to look at"}
        by, reason : str
            The person who decides, and why.
        version : int or str, optional
            The version it is about. Without one ``accepted`` is about the version that is current now, the others are
            about the record: they hold until a version of it is accepted.

        Returns
        -------
        Entry
            As it stands in the manifest.

        Raises
        ------
        ArchiveError
            There is no such record or version, or the manifest cannot be written.
        InputError
            No such state, or nobody or no reason is named.
        """
        check_decision(state, by, reason)
        self._check_layout()
        name = ""
        if version is not None or state == "accepted":
            name = self.version(record_id, version).name
        elif not self.standing(record_id).versions:
            raise self._absent(record_id)
        return self._enter(record_id, "decision", {"version": name, "state": state}, by, reason)

    def make_current(self, record_id: str, version: int | str, by: str, why: str) -> Entry:
        """Put one version first, until a newer one is accepted or this one is rejected; see `decide` for errors."""
        check_decision("accepted", by, why)
        self._check_layout()
        return self._enter(record_id, "current", {"version": self.version(record_id, version).name}, by, why)

    def assign(self, record_id: str, event: str, distances: Mapping[str, float], by: str = "", why: str = "") -> Entry:
        """Enter the event a record is of, and its distances, km, such as ``{"epicentral": 12.5}``."""
        self._check_layout()
        self.version(record_id)
        values = {"event": event, "distances": {name: float(value) for name, value in distances.items()}}
        return self._enter(record_id, "event", values, by, why)

    def _enter(self, record_id: str, kind: str, values: dict[str, Any], by: str, why: str) -> Entry:
        return self.manifest.add(record_id, kind, values, by, why, now(), provenance())

    def standing(self, record_id: str) -> Standing:
        """Return the versions and decisions of a record; without versions if it is not there.

        Raises
        ------
        ArchiveError
            Its manifest was changed.
        """
        self._check_id(record_id)
        found = self._entered(record_id, self.manifest.entries(record_id))
        if not found.versions and self.is_earlier and os.path.lexists(self._records / f"{record_id}.h5"):
            only = Version(record_id, 1, "1", f"{record_id}.h5", "", 0, current=True)
            return dataclasses.replace(found, versions=(only,))
        return found

    def _entered(self, record_id: str, entries: Iterable[Entry]) -> Standing:
        there = [entry for entry in entries if entry.kind != "version" or self._is_finished(entry.values["file"])]
        return standing(record_id, there)

    def _is_finished(self, name: str) -> bool:
        """Tell whether an entered file has its name; one that lost it counts as well, so that its loss is reported."""
        path = self._records / name
        if "/" in name or "\0" in name or os.path.lexists(path):
            return True
        unfinished = any(self._records.glob(f".{name}.*.part"))
        return os.path.lexists(path) or not unfinished

    def versions(self, record_id: str) -> tuple[Version, ...]:
        """Return the versions of a record in the order they were entered.

        Raises
        ------
        ArchiveError
            There is no such record, or its manifest was changed.
        """
        found = self.standing(record_id).versions
        if not found:
            raise self._absent(record_id)
        return found

    def version(self, record_id: str, version: int | str | None = None) -> Version:
        """Return one version of a record: by its number or name, or the current one.

        Raises
        ------
        ArchiveError
            There is no such record or version, or two writers made versions of one number at once.
        """
        every = self.versions(record_id)
        if version is None:
            return next(one for one in every if one.current)
        text = str(version)
        found = [one for one in every if text in (one.name, str(one.number))]
        if len(found) == 1:
            return found[0]
        names = ", ".join(one.name for one in found or every)
        raise ArchiveError(
            f"record {record_id} has {'no' if not found else len(found)} version{'s' * (len(found) > 1)} {text}",
            source=str(self.folder),
            remedy=f"Name one of {names}",
        )

    def state(self, record_id: str) -> str:
        """Return one of `strongmotion.archive.STATES`."""
        self.version(record_id)
        return self.standing(record_id).state

    def history(self, record_id: str) -> list[Entry]:
        """Return all that happened to a record: every entry of its manifest, in order."""
        self.versions(record_id)
        return self.manifest.entries(record_id)

    # Reading

    def path(self, record_id: str, version: int | str | None = None) -> Path:
        """Return the file of a record's current version, or of another one.

        Raises
        ------
        ArchiveError
            Not an id (it could lead out of the archive), or there is no such record or version.
        """
        return self._file(self.version(record_id, version))

    def _file(self, version: Version) -> Path:
        named = version_of_file(version.file)
        earlier = version.file == f"{version.record}.h5"
        if not earlier and (named is None or named != (version.record, version.name)):
            raise ArchiveError(
                f"the manifest of {version.record} names a file {version.file!r}",
                source=str(self.folder),
                remedy="Restore the manifest from a copy",
            )
        return self._records / version.file

    def _check_id(self, record_id: str) -> None:
        if not re.fullmatch(r"[A-Za-z0-9_-][A-Za-z0-9._~-]{0,200}", record_id):
            raise ArchiveError(
                f"{record_id!r} is not a record id",
                remedy="Ids are letters, digits, '.', '-', '_' and '~'; see `ids()`",
            )

    def _absent(self, record_id: str) -> AbsentError:
        near = difflib.get_close_matches(record_id, self.ids(), n=1)
        return AbsentError(
            f"there is no record {record_id!r}" + (f", perhaps {near[0]!r}" if near else ""),
            source=str(self.folder),
            remedy="The catalogue lists the records",
        )

    def __getitem__(self, key: Key) -> Result:
        """Read a result: ``archive[record]`` the current version, ``archive[record, version]`` any other.

        The stem of a file, ``archive["XX.QUAY_20310307T041500.v2-1f0c9a7e"]``, names its version as well. The
        beginning of an id is enough where only one record has it.

        Raises
        ------
        AbsentError
            There is no such record, or several begin so; it is a `KeyError` as well.
        ArchiveError
            There is no such version, or the file or the manifest is damaged.
        """
        record_id, version = self._asked(key)
        return self._read(self.id_of(record_id), version)

    def id_of(self, beginning: str) -> str:
        """Return the id of the one record that begins so; what is given where none does.

        Raises
        ------
        AbsentError
            Several records begin so.
        """
        if beginning in self:
            return beginning
        self._check_id(beginning)
        found = [record_id for record_id in self.ids() if record_id.startswith(beginning)]
        if len(found) > 1:
            raise AbsentError(
                f"{len(found)} records begin with {beginning!r}: {', '.join(found[:3])}" + ", ..." * (len(found) > 3),
                source=str(self.folder),
                remedy="Give more of the id",
            )
        return found[0] if found else beginning

    def get(self, key: Key, default: Result | None = None) -> Result | None:
        """Return the result ``archive[key]``, or `default` if there is no such record."""
        try:
            return self[key]
        except AbsentError:
            return default

    def keys(self) -> list[str]:
        """Return the ids of all records, sorted: the same as `ids`."""
        return self.ids()

    def values(self) -> Iterator[Result]:
        """Yield the current result of each record, read when its turn comes."""
        return (self[record_id] for record_id in self)

    def items(self) -> Iterator[tuple[str, Result]]:
        """Yield each id with its current result, read when its turn comes."""
        return ((record_id, self[record_id]) for record_id in self)

    def _asked(self, key: Key) -> tuple[str, int | str | None]:
        if isinstance(key, tuple):
            return key
        return version_of_file(f"{key}.h5") or (key, None)

    def _read(self, record_id: str, version: int | str | None) -> Result:
        found = self.version(record_id, version)
        path = self._file(found)
        content = self._content(found)
        result = result_in(content, path)
        check_name(path, result.record, record_id)
        return result

    def _content(self, version: Version) -> bytes:
        """Return the bytes of a version, after checking that they are those that were entered."""
        path = self._file(version)
        content, digest = read_bytes(path)
        if version.sha256 and digest != version.sha256:
            raise ArchiveError(
                "holds other bytes than were entered in the manifest", source=str(path), remedy=gate.RESTORE
            )
        return content

    def summary(self, record_id: str, version: int | str | None = None) -> Summary:
        """Read the little of a record that tells whether it is done.

        Raises
        ------
        ArchiveError
            The record is not there or cannot be read.
        """
        found = self.version(record_id, version)
        path = self._file(found)
        try:
            with gate.passed(self._content(found)) as file:
                layout.check_layout(file)
                return Summary(
                    layout.raw_sha256(file),
                    layout.read_settings(file),
                    layout.read_table(file, "peaks"),
                    layout.read_findings(file),
                )
        except ArchiveError as error:
            raise error.at(str(path)) from error

    def __contains__(self, record_id: object) -> bool:
        try:
            return isinstance(record_id, str) and bool(self.standing(record_id).versions)
        except ArchiveError:
            return False

    def __iter__(self) -> Iterator[str]:
        return iter(self.ids())

    def __len__(self) -> int:
        return len(self.ids())

    def ids(self, begin: np.datetime64 | None = None, end: np.datetime64 | None = None) -> list[str]:
        """Return the ids of all records, sorted.

        Parameters
        ----------
        begin, end : numpy.datetime64, optional
            Only records that begin within these times, UTC, both included. Ids hold the start to the ms, so no file is
            opened; a record whose start is not known is left out.
        """
        every = sorted(self._by_id())
        if begin is None and end is None:
            return every
        first, last = (None if time is None else time.astype("datetime64[ms]") for time in (begin, end))
        starts = ((record_id, start_in_id(record_id)) for record_id in every)
        return [
            record_id
            for record_id, start in starts
            if start is not None and (first is None or start >= first) and (last is None or start <= last)
        ]

    def marks(self) -> dict[str, str]:
        """Return for each record a text that differs once anything of it does; no file is opened for it.

        It is a hash of the names of the record's files and of its manifest's entries, which hold the hashes of their
        content; in an archive of an earlier layout, of names, sizes and times.
        """
        marks, earlier = {}, self.is_earlier
        for record_id, names in self._by_id().items():
            entries = [] if earlier and record_id not in self.manifest else _names_in(self.manifest.folder / record_id)
            parts = [*names, "", *(name for name in entries if not name.startswith("."))]
            if earlier:
                parts += [
                    f"{its.st_size} {its.st_mtime_ns}" for its in (os.lstat(self._records / name) for name in names)
                ]
            marks[record_id] = hashlib.sha256("\n".join(parts).encode("utf-8", "surrogateescape")).hexdigest()
        return marks

    def files(self) -> list[Path]:
        """Return the file of each record's current version, sorted by id."""
        files = []
        for record_id, names in sorted(self._by_id().items()):
            name = names[0]
            if len(names) > 1:
                name = max(names, key=lambda one: (len(one), one))
                with contextlib.suppress(ArchiveError):  # reading the record says what is wrong
                    name = self.version(record_id).file
            files.append(self._records / name)
        return files

    def _by_id(self) -> dict[str, list[str]]:
        earlier = self.is_earlier
        entered = None if earlier else set(self.manifest.records())  # a file that was never entered is no record
        found: dict[str, list[str]] = {}
        for name in _names_in(self._records):
            record_id = id_of_file(name, earlier)
            if record_id is not None and (entered is None or record_id in entered):
                found.setdefault(record_id, []).append(name)
        return found

    def earlier_files(self) -> Iterator[Path]:
        """Yield the record files of an earlier layout."""
        for name in _names_in(self._records):
            if id_of_file(name, True) is not None and version_of_file(name) is None:
                yield self._records / name

    def to_xarray(self, question: str = "") -> xarray.Dataset:
        """Return the spectra of all records, or of those a question holds for, as a dataset; needs the package xarray.

        Parameters
        ----------
        question : str
            As in `find`.

        Returns
        -------
        xarray.Dataset
            ``psa, psa_low, psa_high`` (m/s²) and ``usable`` on the axes ``record, component, damping, period``, not a
            number where a record has no such ordinate; ``station`` and ``earthquake`` of each record.

        Raises
        ------
        InputError
            xarray is not installed, or there is no record.
        """
        from .arrays import spectra_dataset

        ids = self.find(question)["record"].tolist() if question else self.ids()
        return spectra_dataset((record_id, self[record_id]) for record_id in ids)

    def _repr_html_(self) -> str:
        import html

        from ..foundation.cautions import CAUTION

        table = self.catalogue()
        wanted = (
            "record",
            "station",
            "start",
            "magnitude",
            "pga_h",
            "pgv_h",
            "longest_usable_period",
            "worst",
            "state",
        )
        shown = table[[column for column in table if column.startswith(wanted)]].head(MOST_SHOWN)
        more = f", of which {len(shown)} are shown" if len(table) > len(shown) else ""
        return (
            f"<p>Archive {html.escape(printable(self.folder))}: {len(table)} records{more}.</p>"
            f"{shown.to_html(index=False, escape=True, na_rep='')}<p><small>{CAUTION}</small></p>"
        )

    @property
    def index(self) -> Index:
        """The index behind the catalogue, the file ``catalogue.sqlite``; see `Index.refresh`."""
        return Index(self)

    @property
    def records(self) -> Path:
        """The folder of the record files."""
        return self._records

    def catalogue(self, unit: str = "m/s2", periods: Iterable[float] = ()) -> pd.DataFrame:
        """Tabulate the archive, a row a record.

        Parameters
        ----------
        unit : {"m/s2", "cm/s2", "g"}
            For accelerations.
        periods : iterable of float
            Oscillator periods, s, of pseudo-spectral accelerations to have beside 0.2, 0.3, 1 and 3 s. The first time
            they are asked for, every file is read.

        Returns
        -------
        pandas.DataFrame
            Who, where and when (``record, station, network, location, instrument, latitude_deg, longitude_deg, start,
            earthquake, magnitude, source_file``); the current ``version`` and its ``state``; the ``event`` it was
            assigned to, else the earthquake its file names, with ``epicentral_distance_km`` and
            ``hypocentral_distance_km`` of the former; what is known of the site
            (``vs30_m_s, vs30_method, site_class, housing, sensor_depth_m``); peaks by component and combination
            (``pga_H1_m_s2``), and the larger one of the horizontal components (``pga_h_m_s2``); pseudo-spectral
            accelerations of RotD50 at 5 % damping (``psa_1s_RotD50_m_s2``); Arias intensity and significant duration by
            component; corner frequencies and usable periods, of the horizontal pair where there is one, else of the
            first component; findings; ``path``. Every column of a physical quantity ends in its unit.
            ``attrs["caution"]`` is the caution, ``attrs["problems"]`` lists the files that could not be read, which
            have no row.
        """
        return self.index.frame(unit, periods)

    def measures(self, unit: str = "m/s2") -> pd.DataFrame:
        """Put the measures of all records into one table; see `measures_of`.

        Parameters
        ----------
        unit : {"m/s2", "cm/s2", "g"}
            For accelerations.
        """
        return measures_of(self.files(), unit)

    def find(self, question: str, unit: str = "m/s2", state: str = "") -> pd.DataFrame:
        """Tabulate the records that a question holds for.

        Rejected, withdrawn and unfit records are left out, unless the question names ``state`` or ``severity``, or
        `state` asks for them.

        Parameters
        ----------
        question : str
            A pandas query over the columns of the catalogue. A column may be named without its unit, ``pga_h`` for
            ``pga_h_m_s2``; ``usable_period`` stands for the longest usable one, ``severity`` for that of the most
            severe finding. A name with a dot stands in backticks.
        unit : {"m/s2", "cm/s2", "g"}
            For accelerations, in the question and in the answer.
        state : {"", "all", "automatic", "accepted", "rejected", "withdrawn", "to look at"}
            Look at all records, or at those of one state.

        Returns
        -------
        pandas.DataFrame
            As `catalogue`; without rows where nothing is found.

        Raises
        ------
        InputError
            The question names no column, or is no query.

        Examples
        --------
        >>> import tempfile
        >>> len(Archive(tempfile.mkdtemp(), create=True).find("pga_h > 0.3 and usable_period > 2", unit="g"))
        0
        """
        return self.index.find(question, unit, state)

    # Checking

    def verify(
        self,
        jobs: int = 1,
        progress: Callable[[int, int], None] | None = None,
        *,
        since: str = "",
        sample: int | None = None,
        resume: bool = False,
    ) -> list[Problem]:
        """Hold every file and the manifest against each other, and return what is wrong.

        Parameters
        ----------
        jobs : int
            Worker processes; 1 works in this process.
        progress : callable, optional
            Called with the number of records looked at and of all records.
        since : str
            Only records with an entry of this time or later, ISO 8601, UTC.
        sample : int, optional
            Only so many records, drawn at random.
        resume : bool
            Leave out the records that an earlier call, which did not finish, found sound.

        Returns
        -------
        list of Problem
            Empty when every byte is as it was written, and everything that was entered is there. A file that is just
            being written is no problem.

        Raises
        ------
        InputError
            `jobs` or `sample` is below 1.
        """
        if jobs < 1:
            raise InputError(f"jobs must be at least 1, found {jobs}")
        if sample is not None and sample < 1:
            raise InputError(f"sample must be at least 1, found {sample}")
        problems, files = self._look_around()
        records = sorted({*files, *self.manifest.records()})
        if since:
            records = [record for record in records if self._is_since(record, since)]
        if sample is not None and sample < len(records):
            records = sorted(random.SystemRandom().sample(records, sample))
        whole = not since and sample is None
        sound_before = _Progress(self.folder / PROGRESS, resume and whole, whole)
        waiting = [record for record in records if record not in sound_before]
        problems += derived_problems(self)
        index_problem, passed = self.index.checked()
        if index_problem:
            problems.append(Problem(self.index.path, index_problem))
        total, done = len(records), len(records) - len(waiting)
        if progress:
            progress(done, total)
        earlier = self.is_earlier
        calls = (
            (self.folder, record, tuple(sorted(files.get(record, ()))), passed.get(record, ""), earlier)
            for record in waiting
        )
        with sound_before:
            for record, found in zip(waiting, in_processes(_problems_of, calls, jobs), strict=True):
                problems += found
                if not found:
                    sound_before.note(record)
                done += 1
                if progress:
                    progress(done, total)
            sound_before.finish()
        return sorted(problems, key=lambda problem: str(problem.file))

    def _is_since(self, record_id: str, since: str) -> bool:
        try:
            return any(entry.time >= since for entry in self.manifest.entries(record_id))
        except ArchiveError:
            return True

    def _look_around(self) -> tuple[list[Problem], dict[str, list[str]]]:
        """Return what does not belong in the folder, and the files of each record."""
        problems: list[Problem] = []
        files: dict[str, list[str]] = {}
        earlier = self.is_earlier
        for name in _names_in(self._records):
            path = self._records / name
            if is_unfinished(name):
                waits = self._is_entered(name) and not os.path.lexists(self._records / name[1:].rsplit(".", 2)[0])
                if _is_left_over(path) and not waits:
                    problems.append(Problem(path, "was left by a write that did not finish. Delete it."))
                continue
            record_id = id_of_file(name, earlier)
            odd = gate.describe_odd(path)
            if record_id is None and not odd and id_of_file(name, True) is not None:
                try:
                    content, _ = read_bytes(path)
                    held = result_in(content, path).record.id
                    what = f"holds record {held} and is not in the manifest. Run `strongmotion upgrade` or move it."
                except ArchiveError as error:
                    what = str(error.at(None))
                problems.append(Problem(path, what))
            elif record_id is None:
                problems.append(Problem(path, f"{odd or 'does not belong to the archive'}. Move it elsewhere."))
            else:
                files.setdefault(record_id, []).append(name)
        if not earlier:
            with os.scandir(self.manifest.folder) as entries:
                for entry in sorted(entries, key=lambda one: one.name):
                    if not entry.is_dir(follow_symlinks=False):
                        what = "does not belong to the manifest. Move it elsewhere."
                        problems.append(Problem(Path(entry.path), what))
        return problems, files

    def _is_entered(self, part: str) -> bool:
        """Tell whether an unfinished file is entered and waits for its name only."""
        named = version_of_file(part[1:].rsplit(".", 2)[0])
        if named is None:
            return False
        try:
            return any(
                entry.kind == "version" and entry.values["file"] == part[1:].rsplit(".", 2)[0]
                for entry in self.manifest.entries(named[0])
            )
        except ArchiveError:
            return False

    def finish_writes(self) -> None:
        """Give entered files the names that a killed writer did not come to give; delete what is left of others.

        What was never entered is deleted once it is an hour old; nothing of it is a record.
        """
        for part in list(self._records.glob(".*.part")):
            with contextlib.suppress(OSError, ArchiveError):
                path = self._records / part.name[1:].rsplit(".", 2)[0]
                if not self._is_entered(part.name):
                    if _is_left_over(part):
                        part.unlink()
                    continue
                digest = path.stem.rpartition("-")[2]
                if not path.exists() and hashlib.sha256(gate.read_regular(part)).hexdigest().startswith(digest):
                    name_once(part, path)
                    flush_folder(self._records)
                if path.exists() and _is_left_over(part):
                    part.unlink(missing_ok=True)

    # From other archives and layouts

    def take_from(self, others: Iterable[Archive], record_ids: Iterable[str] | None = None) -> tuple[int, int]:
        """Copy records of other archives with all their versions and their manifests, byte for byte.

        A copy that was interrupted goes on where it stopped.

        Parameters
        ----------
        others : iterable of Archive
        record_ids : iterable of str, optional
            Those to copy; all if not given.

        Returns
        -------
        copied, there : int
            Records copied, and those that were skipped because the same version is present (unchanged).

        Raises
        ------
        ArchiveError
            A record is not there, or two archives hold different results of it that have no history in common: nothing
            is copied then. A record is damaged: the others are copied.
        """
        from .taking import take

        self._check_layout()
        return take(self, list(others), None if record_ids is None else list(dict.fromkeys(record_ids)))

    def upgrade(self, progress: Callable[[int, int], None] | None = None) -> tuple[int, list[Problem]]:
        """Bring an archive of an earlier layout to this one, in place.

        Each record is read, written anew as version 1 with the SHA-256 of its former file in the manifest, read back,
        and only then is the former file removed. Killed at any point, the next call goes on.

        Returns
        -------
        upgraded : int
            Records brought over.
        problems : list of Problem
            Files that cannot be read, which are left as they are; the archive stays of the earlier layout until they
            are restored or moved.
        """
        from .taking import upgrade

        return upgrade(self, progress)


class _Progress:
    """The records that a `verify` in hand has found sound, in a file, so that the next one can go on."""

    def __init__(self, path: Path, resume: bool, keep: bool) -> None:
        self._path, self._keep = path, keep
        self._known: set[str] = set()
        self._file: Any = None
        if resume:
            with contextlib.suppress(ArchiveError, UnicodeDecodeError):
                self._known = set(gate.read_regular(path).decode().split("\n")[:-1])

    def __contains__(self, record: str) -> bool:
        return record in self._known

    def __enter__(self) -> _Progress:
        if self._keep:
            with contextlib.suppress(OSError):  # an archive that may only be read is checked as well
                self._path.unlink(missing_ok=True)  # whatever it is: a pipe of this name would be waited for
                self._file = self._path.open("x", encoding="utf-8", buffering=1)
                self._file.writelines(f"{record}\n" for record in sorted(self._known))
        return self

    def note(self, record: str) -> None:
        if self._file is not None:
            self._file.write(f"{record}\n")

    def finish(self) -> None:
        if self._file is not None:
            self._file.close()
            self._path.unlink(missing_ok=True)

    def __exit__(self, *_: object) -> None:
        if self._file is not None:
            self._file.close()


def _problems_of(folder: Path, record: str, names: tuple[str, ...], passed: str, earlier: bool) -> list[Problem]:
    """Return what is wrong with one record: its manifest, its files, and how they fit."""
    archive = Archive(folder)
    if earlier and record not in archive.manifest:
        return [problem for name in names for problem in _wrong_with(archive.records / name, record, None, False)]
    entries, found = archive.manifest.problems(record)
    problems = [Problem(path, what) for path, what in found]
    entered = {entry.values["file"]: entry.values for entry in entries if entry.kind == "version"}
    for name in sorted({*entered, *names}):
        path = archive.records / name
        its = entered.get(name)
        if its is None and not (earlier and version_of_file(name) is None):
            odd = gate.describe_odd(path) or _why_not(path) or "is sound"
            problems.append(Problem(path, f"{odd}; it is not in the manifest. Move it elsewhere."))
        elif name not in names:
            if not any(archive.records.glob(f".{name}.*.part")) and not os.path.lexists(path):
                problems.append(Problem(path, f"is missing, but is listed in the manifest. {gate.RESTORE}."))
        else:
            problems += _wrong_with(path, record, its, its is not None and its["sha256"] == passed)
    return problems


def _why_not(path: Path) -> str:
    try:
        read_result(path)
    except ArchiveError as error:
        return str(error.at(None)).rstrip(".")
    return ""


def _wrong_with(path: Path, record: str, its: Mapping[str, Any] | None, passed: bool) -> list[Problem]:
    try:
        content, digest = read_bytes(path)
        if its is not None and digest != its["sha256"]:
            return [Problem(path, f"holds other bytes than were entered in the manifest. {gate.RESTORE}.")]
        if not passed:
            check_name(path, result_in(content, path).record, record)
    except ArchiveError as error:
        return [Problem(path, str(error.at(None)))]
    return []


def _is_left_over(path: Path) -> bool:
    try:
        return time.time() - os.lstat(path).st_mtime > LEFT_OVER
    except OSError:  # it has got its name meanwhile
        return False


def _names_in(folder: Path) -> list[str]:
    with os.scandir(folder) as entries:
        return sorted(entry.name for entry in entries)
