"""The manifest: for each record a chain of entries that only grows.

An entry is one immutable file, ``manifest/<record>/<sequence>-<its SHA-256>.json``, made under a hidden name, flushed
to disk and linked into place. Each holds the SHA-256 of the entries before it, those with the sequence below its own,
so that no entry that another follows can be changed, removed or moved unseen.

Nothing is locked. Two writers at once may both take one sequence: their entries are siblings, both are kept, and they
are ordered by rule, by sequence and then by hash, never by a clock. The next entry holds the hashes of both. What is
assumed of a shared file system: a file that was flushed and linked is seen whole by others, sooner or later; a writer
that does not yet see another's entry makes a sibling. Without hard links the hidden file is renamed; its name holds its
own hash, so a rename can only ever put the same bytes over themselves.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
import re
import secrets
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from ..foundation.errors import ArchiveError
from ..foundation.files import flush_folder, write_to_disk
from .gate import read_regular
from .typed import fits

__all__ = ["ENTRY_VERSION", "KINDS", "Entry", "Manifest", "heads_of"]

ENTRY_VERSION = 1
LARGEST_ENTRY = 1 << 20
_NAME = re.compile(r"(\d{6,12})-([0-9a-f]{64})\.json")

KINDS: dict[str, dict[str, Any]] = {
    "version": {
        "number": int, "name": str, "file": str, "sha256": str, "size": int, "automatic": bool, "samples": str,
        "metadata": str, "settings": str, "software": str, "differs": list[str], "supersedes": str,
        "formerly": dict[str, Any],
    },
    "current": {"version": str},
    "decision": {"version": str, "state": str},
    "event": {"event": str, "distances": dict[str, float]},
}  # fmt: skip
"""Kinds of entries, and what each holds."""

_FIELDS: dict[str, Any] = {
    "strongmotion_manifest": int, "record": str, "sequence": int, "before": list[str], "kind": str,
    "values": dict[str, Any], "by": str, "why": str, "time": str, "provenance": dict[str, Any],
}  # fmt: skip


@dataclass(frozen=True)
class Entry:
    """One entry of a record's manifest.

    Parameters
    ----------
    record : str
    sequence : int
        1 for the first.
    before : tuple of str
        SHA-256 of the entries with the sequence before, sorted.
    kind : {"version", "current", "decision", "event"}
    values : dict
        What `KINDS` says of the kind.
    by, why, time : str
    provenance : dict
    sha256 : str
        Of the file of the entry.
    """

    record: str
    sequence: int
    before: tuple[str, ...]
    kind: str
    values: dict[str, Any]
    by: str = ""
    why: str = ""
    time: str = ""
    provenance: dict[str, Any] = field(default_factory=dict)
    sha256: str = ""

    @property
    def file(self) -> str:
        """The name of its file."""
        return f"{self.sequence:06d}-{self.sha256}.json"

    def content(self) -> bytes:
        """Return the bytes of its file: JSON, keys sorted, UTF-8."""
        values = {
            "strongmotion_manifest": ENTRY_VERSION,
            "record": self.record,
            "sequence": self.sequence,
            "before": list(self.before),
            "kind": self.kind,
            "values": self.values,
            "by": self.by,
            "why": self.why,
            "time": self.time,
            "provenance": self.provenance,
        }
        return (json.dumps(values, sort_keys=True, indent=1, ensure_ascii=False) + "\n").encode()


class Manifest:
    """The manifest of an archive.

    Parameters
    ----------
    folder : Path
        The archive's folder ``manifest``.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def __contains__(self, record: str) -> bool:
        return (self.folder / record).is_dir()

    def records(self) -> list[str]:
        """Return the ids that have entries, sorted."""
        try:
            with os.scandir(self.folder) as entries:
                return sorted(entry.name for entry in entries if entry.is_dir(follow_symlinks=False))
        except FileNotFoundError:
            return []

    def entries(self, record: str) -> list[Entry]:
        """Return the entries of a record in their order; none if it has none.

        Raises
        ------
        ArchiveError
            An entry was changed, is of another record, or cannot be read.
        """
        names = sorted((found for found in self._names(record)), key=lambda found: (int(found[1]), found[2]))
        return [self._read(record, found) for found in names]

    def _names(self, record: str) -> Iterator[re.Match[str]]:
        if (self.folder / record).is_symlink():
            raise ArchiveError("is a link", source=str(self.folder / record), remedy="Restore the folder from a copy")
        try:
            with os.scandir(self.folder / record) as entries:
                for entry in entries:
                    if found := _NAME.fullmatch(entry.name):
                        yield found
        except (FileNotFoundError, NotADirectoryError):
            return
        except OSError as error:
            raise ArchiveError(f"cannot be read: {error.strerror}", source=str(self.folder / record)) from None

    def _read(self, record: str, found: re.Match[str]) -> Entry:
        path = self.folder / record / found[0]
        return entry_in(read_regular(path, LARGEST_ENTRY), record, int(found[1]), found[2], str(path))

    def problems(self, record: str) -> tuple[list[Entry], list[tuple[Path, str]]]:
        """Return the sound entries of a record, and what is wrong with the others and with the chain."""
        folder, sound, problems = self.folder / record, [], []
        try:
            with os.scandir(folder) as found:
                names = sorted(entry.name for entry in found)
        except FileNotFoundError:
            return [], []
        except OSError as error:
            return [], [(folder, f"cannot be read: {error.strerror}")]
        for name in names:
            match = _NAME.fullmatch(name)
            if match is None:
                if not is_unfinished(name):
                    problems.append((folder / name, "does not belong to the manifest. Move it elsewhere."))
                continue
            try:
                sound.append(self._read(record, match))
            except ArchiveError as error:
                problems.append((folder / name, str(error.at(None))))
        sound.sort(key=lambda entry: (entry.sequence, entry.sha256))
        by_sequence: dict[int, set[str]] = {}
        for entry in sound:
            by_sequence.setdefault(entry.sequence, set()).add(entry.sha256)
        for entry in sound:
            lacking = set(entry.before) - by_sequence.get(entry.sequence - 1, set())
            if lacking or bool(entry.before) != (entry.sequence > 1):
                what = f"follows an entry that is missing or was changed: {', '.join(sorted(lacking)) or 'none named'}"
                problems.append((folder / entry.file, f"{what}. Restore the manifest from a copy."))
        return sound, problems

    def add(
        self,
        record: str,
        kind: str,
        values: dict[str, Any],
        by: str = "",
        why: str = "",
        time: str = "",
        provenance: dict[str, Any] | None = None,
        earlier: Sequence[Entry] | None = None,
    ) -> Entry:
        """Write an entry after those that are there.

        Raises
        ------
        ArchiveError
            It cannot be written; nothing of it is kept.
        """
        known = self.entries(record) if earlier is None else earlier
        last = known[-1].sequence if known else 0
        before = tuple(sorted(entry.sha256 for entry in known if entry.sequence == last))
        entry = Entry(record, last + 1, before, kind, values, by, why, time, provenance or {})
        content = entry.content()
        digest = hashlib.sha256(content).hexdigest()
        # What is written must be what is read.
        entry_in(content, record, last + 1, digest, record)
        self.put(record, f"{last + 1:06d}-{digest}.json", content)
        return Entry(record, last + 1, before, kind, values, by, why, time, provenance or {}, digest)

    def put(self, record: str, name: str, content: bytes) -> None:
        """Give bytes their name in the manifest; the same bytes twice are one entry."""
        folder = self.folder / record
        try:
            if not folder.is_dir():
                folder.mkdir(parents=True, exist_ok=True)
                flush_folder(self.folder)
            put_once(folder / name, content)
        except OSError as error:
            raise ArchiveError(
                f"the manifest could not be written: {error.strerror}; nothing of it was kept",
                source=str(folder / name),
                remedy="Make room on the disk, or check the folder and its permissions",
            ) from error


def put_once(path: Path, content: bytes) -> None:
    """Write a file whose name holds its hash: whole, flushed, and never another's bytes under its name.

    Raises
    ------
    OSError
    """
    if path.exists():
        return
    part = path.with_name(f".{path.name}.{secrets.token_hex(6)}.part")
    try:
        write_to_disk(part, content)
        name_once(part, path)
    finally:
        with contextlib.suppress(OSError):
            part.unlink(missing_ok=True)
    flush_folder(path.parent)


def name_once(part: Path, path: Path) -> None:
    """Give a file its name. Where there are no hard links it is renamed: the name holds the hash of the bytes."""
    try:
        os.link(part, path)
    except FileExistsError:
        pass
    except OSError:
        if not path.exists():
            part.rename(path)


def is_unfinished(name: str) -> bool:
    """Tell whether a name is that of a write that has not finished."""
    return name.startswith(".") and name.endswith(".part")


def entry_in(content: bytes, record: str, sequence: int, digest: str, place: str) -> Entry:
    """Read an entry, and check that it is the one its name and folder say.

    Raises
    ------
    ArchiveError
    """
    remedy = "Restore the manifest from a copy"
    if hashlib.sha256(content).hexdigest() != digest:
        raise ArchiveError("was changed: its bytes do not match its name", source=place, remedy=remedy)
    try:
        values = json.loads(bytes(content))
    except (ValueError, RecursionError) as error:
        raise ArchiveError(f"is no entry: {error}", source=place, remedy=remedy) from None
    version = values.get("strongmotion_manifest") if isinstance(values, dict) else None
    if isinstance(version, int) and version > ENTRY_VERSION:
        raise ArchiveError("was written by newer software", source=place, remedy="Read it with that version")
    if not (isinstance(values, dict) and set(values) == set(_FIELDS)):
        raise ArchiveError("is no entry of a manifest", source=place, remedy=remedy)
    kind = KINDS.get(values["kind"]) if isinstance(values["kind"], str) else None
    its = values["values"]
    whole = all(fits(values[name], hint) for name, hint in _FIELDS.items()) and kind is not None
    if not whole or kind is None or set(its) != set(kind) or not all(fits(its[k], hint) for k, hint in kind.items()):
        raise ArchiveError("is not a manifest entry: a field is missing or wrong", source=place, remedy=remedy)
    if values["record"] != record or values["sequence"] != sequence:
        raise ArchiveError(
            f"is entry {values['sequence']} of record {values['record']}: it was moved", source=place, remedy=remedy
        )
    return Entry(
        record, sequence, tuple(values["before"]), values["kind"], its, values["by"], values["why"], values["time"],
        values["provenance"], digest,
    )  # fmt: skip


def heads_of(entries: Iterable[Entry]) -> list[str]:
    """Return the hashes of the entries that no other one follows, sorted: with them all others are known."""
    every = list(entries)
    followed = {before for entry in every for before in entry.before}
    return sorted(entry.sha256 for entry in every if entry.sha256 not in followed)
