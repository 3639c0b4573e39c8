"""Versions of a record, the decisions about them, and what stands: the rules, with no file in sight.

An archive keeps every result of a record as a `Version`. What happens to versions is a list of entries in the manifest;
`standing` reads the list from its beginning and returns the `Standing` of the record: its versions with their states,
and which of them is current. The rules are these:

- A version is ``automatic`` until a person decides: ``accepted``, ``rejected`` or ``withdrawn``. ``to look at``
  leaves it for later, or takes back what was decided: it then stands as if nobody had decided, and says that somebody
  should.
- The newest accepted version is current; without one, the newest version that a person added; without one, the newest
  automatic version. Newest is what was entered last. So a batch never puts its version before a reviewed one.
- `Archive.make_current` puts one version first until a newer one is accepted, or it is rejected or withdrawn itself.
- A decision without a version is about the record: ``accepted`` means the version that is current at the time;
  ``rejected`` and ``withdrawn`` hold for the record, later automatic versions included, until a version is accepted or
  the record is left to look at.

Nothing is ever deleted: a withdrawn record keeps its files and can be read.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any, Literal, get_args

from ..foundation.errors import InputError

if TYPE_CHECKING:
    from .manifest import Entry

__all__ = ["DECISIONS", "STATES", "Decision", "Standing", "State", "Version", "check_decision", "standing"]

State = Literal["automatic", "accepted", "rejected", "withdrawn", "to look at"]

STATES: tuple[str, ...] = get_args(State)
DECISIONS = STATES[1:]
"""States that a person gives."""


@dataclass(frozen=True)
class Version:
    """One result of a record, as the manifest has it.

    Parameters
    ----------
    record : str
        Id of the record.
    number : int
        1 for the first. Two writers at the same instant may both write a version of one number; `name` tells them
        apart.
    name : str
        Number and first digits of the SHA-256, such as ``"2-1f0c9a7e"``.
    file : str
        Name of its file in the folder ``records``.
    sha256 : str
        Of the whole file.
    size : int
        Bytes of the file.
    state : {"automatic", "accepted", "rejected", "withdrawn", "to look at"}
    current : bool
        Whether ``Archive[record]`` returns this one.
    automatic : bool
        Whether a batch added it, and not a person.
    samples, metadata, settings : str
        SHA-256 of the raw samples, of what is known about them, and of the settings: what a batch compares.
    software : str
        Version of the software that made the numbers.
    by, why, time : str
        Who added it and why, where they said so, and when (UTC, ISO 8601, by the clock of the machine).
    differs : tuple of str
        What differs from the version it supersedes: ``"samples"``, ``"metadata"``, ``"settings"``, ``"software"``.
    supersedes : str
        Name of the version that was current before; empty for the first.
    provenance : dict
        Machine, Python and library versions, source revision, command; see `strongmotion.archive.provenance`.
    """

    record: str
    number: int
    name: str
    file: str
    sha256: str
    size: int
    state: str = "automatic"
    current: bool = False
    automatic: bool = True
    samples: str = ""
    metadata: str = ""
    settings: str = ""
    software: str = ""
    by: str = ""
    why: str = ""
    time: str = ""
    differs: tuple[str, ...] = ()
    supersedes: str = ""
    provenance: dict[str, Any] = field(default_factory=dict)


@dataclass(frozen=True)
class Decision:
    """What a person decided about a version, or about the record.

    Parameters
    ----------
    record : str
    state : {"accepted", "rejected", "withdrawn", "to look at"}
    by, reason : str
    time : str
        UTC, ISO 8601, by the clock of the machine.
    version : str
        Name of the version; empty where it is about the whole record.
    """

    record: str
    state: str
    by: str
    reason: str
    time: str
    version: str = ""


@dataclass(frozen=True)
class Standing:
    """How a record stands: its versions in the order they were entered, and what was decided.

    Parameters
    ----------
    record : str
    versions : tuple of Version
        Each file once, by its last entry.
    decisions : tuple of Decision
    state : str
        Of the record: that of its current version, unless the record was rejected or withdrawn as a whole.
    event : dict
        Event the record belongs to and its distances, as `Archive.assign` stored them last.
    """

    record: str
    versions: tuple[Version, ...] = ()
    decisions: tuple[Decision, ...] = ()
    state: str = "automatic"
    event: dict[str, Any] = field(default_factory=dict)

    @property
    def current(self) -> Version | None:
        """The version that counts; None of a record without versions."""
        return next((version for version in self.versions if version.current), None)


def check_decision(state: str, by: str, reason: str) -> None:
    """Refuse a decision without a person or a reason, or of an unknown state.

    Raises
    ------
    InputError

    Examples
    --------
    >>> check_decision("accepted", "D. Analyst", "corner checked")
    """
    if state not in DECISIONS:
        raise InputError(f"unknown decision {state!r}", field="state", remedy=f"Use {', '.join(DECISIONS)}")
    for name, text in (("by", by), ("reason", reason)):
        if not text.strip():
            raise InputError(f"a decision needs {name}", field=name, remedy="Say who decides, and why")


def standing(record: str, entries: Iterable[Entry]) -> Standing:
    """Return how a record stands after the entries of its manifest, in their order."""
    versions: dict[str, Version] = {}
    decisions: list[Decision] = []
    states: dict[str, str] = {}
    whole = ""  # the state of the record as a whole, where a person gave it one
    put_first = ""
    event: dict[str, Any] = {}
    for entry in entries:
        its = entry.values
        if entry.kind == "version":
            version = _version(record, entry)
            versions.pop(version.name, None)  # entered again: now the newest
            versions[version.name] = version
        elif entry.kind == "current":
            put_first = its["version"]
        elif entry.kind == "decision":
            name, state = its["version"], its["state"]
            decisions.append(Decision(record, state, entry.by, entry.why, entry.time, name))
            if name:
                states[name] = state
                order = list(versions)
                if state == "accepted":
                    whole = ""
                    if put_first in order and name in order and order.index(name) > order.index(put_first):
                        put_first = ""
                elif name == put_first and state != "to look at":
                    put_first = ""
            else:
                whole = state
        elif entry.kind == "event":
            event = dict(its)
    current = _current(versions, states, put_first)
    listed = tuple(
        replace(version, state=states.get(name, "automatic"), current=name == current)
        for name, version in versions.items()
    )
    state = whole or states.get(current, "automatic")
    return Standing(record, listed, tuple(decisions), state, event)


def _current(versions: dict[str, Version], states: dict[str, str], put_first: str) -> str:
    standing_ones = [name for name in versions if states.get(name) not in ("rejected", "withdrawn")]
    if put_first in standing_ones:
        return put_first
    ranked = (
        [name for name in standing_ones if states.get(name) == "accepted"],
        [name for name in standing_ones if not versions[name].automatic],
        standing_ones,
        list(versions),
    )
    return next((names[-1] for names in ranked if names), "")


def _version(record: str, entry: Entry) -> Version:
    its = entry.values
    return Version(
        record=record,
        number=its["number"],
        name=its["name"],
        file=its["file"],
        sha256=its["sha256"],
        size=its["size"],
        automatic=its["automatic"],
        samples=its["samples"],
        metadata=its["metadata"],
        settings=its["settings"],
        software=its["software"],
        by=entry.by,
        why=entry.why,
        time=entry.time,
        differs=tuple(its["differs"]),
        supersedes=its["supersedes"],
        provenance=entry.provenance,
    )
