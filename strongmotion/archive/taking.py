"""Records brought into an archive: from other archives, and from earlier layouts."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING

from ..foundation.errors import ArchiveError
from ..foundation.files import flush_folder
from . import gate
from .files import check_name, read_bytes, read_result, result_in
from .identity import canonical_sha256
from .manifest import LARGEST_ENTRY, Entry
from .names import version_of_file

if TYPE_CHECKING:
    from .store import Archive, Problem

__all__ = ["take", "upgrade"]


def take(own: Archive, others: Sequence[Archive], wanted: Sequence[str] | None) -> tuple[int, int]:
    """Copy records of other archives; see `Archive.take_from`."""
    for record_id in wanted or ():
        if not any(record_id in other for other in others):
            raise ArchiveError(
                f"there is no record {record_id!r}",
                source=", ".join(str(other.folder) for other in others),
                remedy="The catalogue lists the records",
            )
    copies: list[tuple[Archive, str]] = []
    conflicts: list[str] = []
    chosen: dict[str, list[Archive]] = {}
    there = 0
    left_out: list[str] = []
    for other in others:
        for record_id in other.ids() if wanted is None else wanted:
            if wanted is not None and record_id not in other:
                continue
            try:
                _check_whole(other, record_id)
            except ArchiveError as error:
                left_out.append(str(error))
                continue
            earlier = chosen.setdefault(record_id, [own] if record_id in own else [])
            known = [_relation(one, other, record_id) for one in earlier]
            if "conflict" in known:
                conflicts.append(record_id)
            elif "there" in known:
                there += 1
            else:
                copies.append((other, record_id))
                earlier.append(other)
    if conflicts:
        raise ArchiveError(
            f"{len(conflicts)} records have different results in two archives: {', '.join(sorted(conflicts))}",
            source=str(own.folder),
            remedy="Nothing was copied. Choose the records by name, or reject the results that are not wanted and "
            "extract the others",
        )
    for other, record_id in copies:
        _copy(own, other, record_id)
    if left_out:
        raise ArchiveError(
            f"{len(left_out)} records cannot be read and were left out, {len(copies)} were copied: {left_out[0]}",
            source=str(own.folder),
            remedy="`strongmotion verify` names all that is wrong",
        )
    return len(copies), there


def _check_whole(other: Archive, record_id: str) -> None:
    """Raise an `ArchiveError` unless every version of a record is there as it was entered."""
    for version in other.versions(record_id):
        path = other.path(record_id, version.name)
        content, digest = read_bytes(path)
        if version.sha256 and digest != version.sha256:
            raise ArchiveError(
                "holds other bytes than were entered in the manifest", source=str(path), remedy=gate.RESTORE
            )
        check_name(path, result_in(content, path).record, record_id)


def _relation(one: Archive, other: Archive, record_id: str) -> str:
    """Tell how `other`'s record stands to `one`'s: all of it ``there``, ``more``, or a ``conflict``."""
    ours = {entry.sha256 for entry in one.manifest.entries(record_id)}
    theirs = {entry.sha256 for entry in other.manifest.entries(record_id)}
    files = {version.sha256 for version in one.versions(record_id)}
    if theirs and theirs <= ours:
        return "there" if files >= {version.sha256 for version in other.versions(record_id)} else "more"
    if ours & theirs:
        return "more"  # one history, gone two ways: both are kept
    return "there" if _same_content(one, other, record_id) else "conflict"


def _same_content(one: Archive, other: Archive, record_id: str) -> bool:
    """Tell whether two histories that know nothing of each other end in the same result."""
    paths = one.path(record_id), other.path(record_id)
    contents = [read_bytes(path)[0] for path in paths]
    if contents[0] == contents[1]:
        return True
    digests = [canonical_sha256(content) for content in contents]
    if digests[0] == digests[1]:
        return True
    results = [result_in(content, path) for content, path in zip(contents, paths, strict=True)]
    return bool(results[0] == results[1])  # the same, in two layouts


def _copy(own: Archive, other: Archive, record_id: str) -> None:
    entries = other.manifest.entries(record_id)
    if not entries:  # of an earlier layout
        path = other.path(record_id)
        own.add(read_result(path), why=f"taken from {path.name}", automatic=True, formerly=_former(path))
        return
    files = {entry.values["file"]: entry.values["sha256"] for entry in entries if entry.kind == "version"}
    for name, digest in files.items():
        named = version_of_file(name)
        if named is None:
            raise ArchiveError(f"names a file {name!r}", source=str(other.manifest.folder / record_id))
        content, found = read_bytes(other.path(record_id, named[1]))
        if found != digest:
            raise ArchiveError("holds other bytes than were entered in the manifest", source=name)
        its = [entry for entry in entries if entry.kind == "version" and entry.values["file"] == name]

        def enter(its: list[Entry] = its) -> None:
            for entry in entries[: entries.index(its[0]) + 1]:
                _copy_entry(own, other, entry)

        own.put(own.records / name, content, enter)
    for entry in entries:
        _copy_entry(own, other, entry)


def _copy_entry(own: Archive, other: Archive, entry: Entry) -> None:
    path = other.manifest.folder / entry.record / entry.file
    own.manifest.put(entry.record, entry.file, bytes(gate.read_regular(path, LARGEST_ENTRY)))


def _former(path: object) -> dict[str, str]:
    from pathlib import Path

    name = Path(str(path))
    return {"file": name.name, "sha256": hashlib.sha256(gate.read_regular(name)).hexdigest()}


def upgrade(own: Archive, progress: Callable[[int, int], None] | None) -> tuple[int, list[Problem]]:
    """Bring an archive of an earlier layout to this one; see `Archive.upgrade`."""
    from .store import Problem

    problems: list[Problem] = []
    files = list(own.earlier_files())
    own.manifest.folder.mkdir(exist_ok=True)
    own.finish_writes()
    done = 0
    if progress:
        progress(0, len(files))
    for number, path in enumerate(files, 1):
        try:
            result = read_result(path)
            check_name(path, result.record, path.stem)
            new = own.add(
                result,
                why="upgraded from an earlier layout",
                automatic=True,
                formerly={**_former(path), "record": path.stem},
                upgrading=True,
            )
            if read_result(new) != result:
                raise ArchiveError(f"reads differently from {new.name}; it is left as it is")
            path.unlink()
            flush_folder(path.parent)
            done += 1
        except ArchiveError as error:
            problems.append(Problem(path, str(error.at(None))))
        if progress:
            progress(number, len(files))
    if not problems:
        own.mark()
    return done, problems
