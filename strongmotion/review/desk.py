"""What a review is made of, without a page: the queue, one record with its present settings, and decisions.

A `Queue` lists the records of an archive, those that need eyes first. A `Session` holds one of them: the version that
was opened, the settings as they are changed, and what they give. What a change does is shown at once by
`Session.preview`, which corrects the record and solves few oscillators; what is kept comes from `strongmotion.process`.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Iterable, Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from ..chain import Band, Baseline, Corrected, SignalAndNoise, Windows, correct
from ..checks import examine
from ..foundation.errors import ArchiveError, InputError, StrongMotionError
from ..motion import Motion
from ..record import Finding
from ..result import DAMAGING, Result, process
from ..settings import AUTO, Settings
from ..spectra import response_spectrum
from ..spectra.resampling import Interpolation

if TYPE_CHECKING:
    from ..archive import Archive, Standing, Version

__all__ = ["METHODS", "Listed", "Move", "Preview", "Queue", "Session", "settings_with", "what_moved"]

Floats = NDArray[np.float64]

METHODS = (AUTO, "band-limited", "offset-preserving", "polynomial")
"""Baseline methods to choose from."""

FEW_PERIODS = np.concatenate(([0.0], np.geomspace(0.02, 10.0, 22)))
"""Periods, s, at which a change is answered at once."""

LISTED_PERIODS = np.array([0.2, 0.5, 1.0, 2.0, 5.0])
"""Periods, s, of the table of what moved."""

NEEDED = ("to look at", "automatic")
"""States in which nobody has decided yet."""

WORST_FIRST = ("unfit", "doubt", "note", "")

DAMPING = np.array([0.05])


@dataclass(frozen=True)
class Listed:
    """A record as the list shows it; `pga` in m/s², of the larger horizontal, nan where it is not known."""

    record: str
    state: str
    station: str
    event: str
    pga: float
    worst: str
    findings: int
    problem: str = ""

    @property
    def decided(self) -> bool:
        """Whether a person accepted, rejected or withdrew it."""
        return self.state not in NEEDED


class Queue:
    """The records of an archive in the order in which they need eyes.

    Records that cannot be read come first, then those left to look at, then undecided ones by their most severe finding
    and PGA, then the decided ones.

    Parameters
    ----------
    archive : Archive
    """

    def __init__(self, archive: Archive) -> None:
        self.archive = archive
        self.items: tuple[Listed, ...] = ()
        self.refresh()

    def refresh(self) -> None:
        """Read the list again, as other reviewers and batches may have changed it."""
        table = self.archive.catalogue()
        rows = {str(row["record"]): row for row in table.to_dict("records")}
        items = []
        for record_id in self.archive.ids():
            row = rows.get(record_id)
            if row is None:
                items.append(Listed(record_id, "automatic", "", "", np.nan, "unfit", 0, "cannot be read"))
                continue
            code = ".".join(text for text in (_text(row["network"]), _text(row["station"])) if text)
            findings, worst = int(row["findings"]), _text(row["worst_finding"])
            pga = float(row.get("pga_h_m_s2", np.nan))
            event = _text(row.get("event"))
            items.append(Listed(record_id, str(row["state"]), code or record_id, event, pga, worst, findings))
        self.items = tuple(sorted(items, key=_need))

    @property
    def decided(self) -> int:
        """How many a person has decided."""
        return sum(item.decided for item in self.items)

    def __getitem__(self, record_id: str) -> Listed:
        return next(item for item in self.items if item.record == record_id)

    def filtered(self, text: str = "", state: str = "") -> tuple[Listed, ...]:
        """Return the records that hold a text in id, station, event or severity, and are of a state."""
        text = text.casefold()
        return tuple(
            item
            for item in self.items
            if (not state or item.state == state)
            and any(text in part.casefold() for part in (item.record, item.station, item.event, item.worst))
        )

    def beside(self, record_id: str, step: int, among: Iterable[Listed] | None = None) -> str:
        """Return the id of the next record of the list, or of the previous one; at its end the same."""
        ids = [item.record for item in (self.items if among is None else among)] or [record_id]
        at = ids.index(record_id) if record_id in ids else (-1 if step > 0 else 0)
        return ids[min(max(at + step, 0), len(ids) - 1)]

    def next_undecided(self, record_id: str) -> str:
        """Return the id of the next record that nobody has decided; the same where there is none."""
        ids = [item.record for item in self.items]
        at = ids.index(record_id) if record_id in ids else -1
        return next((item.record for item in (*self.items[at + 1 :], *self.items) if not item.decided), record_id)

    def alike(self, record_id: str, what: str) -> tuple[str, ...]:
        """Return the ids of the other records of its ``"station"`` or ``"event"``."""
        own = getattr(self[record_id], what)
        return tuple(i.record for i in self.items if own and getattr(i, what) == own and i.record != record_id)


def _text(value: Any) -> str:
    return value if isinstance(value, str) else ""


def _need(item: Listed) -> tuple[Any, ...]:
    worst = item.worst if item.worst in WORST_FIRST else ""
    return (
        not item.problem,
        item.decided,
        item.state != "to look at",
        WORST_FIRST.index(worst),
        -np.nan_to_num(item.pga),
        item.record,
    )


@dataclass(frozen=True)
class Preview:
    """What settings give, as far as it can be computed at once.

    `psa` holds pseudo-acceleration, m/s², at `periods`, s, and `listed` that at `LISTED_PERIODS`; by component.
    `peaks` holds PGA, PGV and PGD in SI units by component and quantity; `compared` the spectra of signal and noise.
    """

    settings: Settings
    motion: dict[str, Motion]
    bands: dict[str, Band]
    windows: Windows
    baseline: dict[str, Baseline]
    findings: tuple[Finding, ...]
    compared: dict[str, SignalAndNoise]
    peaks: dict[tuple[str, str], float]
    periods: Floats
    psa: dict[str, Floats]
    listed: dict[str, Floats]


@dataclass(frozen=True)
class Move:
    """One number of the table of what moved; `percent` is nan where there is none."""

    component: str
    quantity: str
    before: float
    after: float
    unit: str

    @property
    def percent(self) -> float:
        """The change, %."""
        if self.before == self.after:
            return 0.0
        ratio = self.after / self.before if self.before and np.isfinite(self.before) else np.nan
        return float(100.0 * (ratio - 1.0)) if np.isfinite(ratio) else np.nan


def what_moved(before: Preview, after: Preview) -> tuple[Move, ...]:
    """Tabulate peaks, spectral ordinates and usable periods of two previews, whether they moved or not."""
    units = {"PGA": "m/s²", "PGV": "m/s", "PGD": "m"}
    moves = []
    for name in after.motion:
        for quantity, unit in units.items():
            moves.append(Move(name, quantity, before.peaks[name, quantity], after.peaks[name, quantity], unit))
        for i, period in enumerate(LISTED_PERIODS):
            old, new = float(before.listed[name][i]), float(after.listed[name][i])
            moves.append(Move(name, f"PSA {period:g} s", old, new, "m/s²"))
        one, other = before.bands[name], after.bands[name]
        moves.append(Move(name, "usable to", one.longest_period, other.longest_period, "s"))
        moves.append(Move(name, "usable from", one.shortest_period, other.shortest_period, "s"))
    return tuple(moves)


def settings_with(
    settings: Settings,
    components: Iterable[str],
    *,
    onset: float | str | None = None,
    margin: float | None = None,
    method: str | None = None,
    low_cut: Mapping[str, float | str] | None = None,
    high_cut: Mapping[str, float | str] | None = None,
) -> Settings:
    """Return settings with what a reviewer changed, rounded to what a person can read back.

    Parameters
    ----------
    settings : Settings
    components : iterable of str
        All that the record has.
    onset : float or "auto", optional
        s after the first sample.
    margin : float, optional
        What is left out between the pre-event window and the onset, s.
    method : str, optional
        Of the baseline.
    low_cut, high_cut : mapping of str to float or "auto", optional
        Corners by component, Hz.
    """
    onsets, filters = settings.onset, settings.filter
    if onset is not None:
        onsets = dataclasses.replace(onsets, time=onset if onset == AUTO else round(float(onset), 3))
    if margin is not None:
        onsets = dataclasses.replace(onsets, margin=round(max(float(margin), 0.0), 3))
    for key, given in (("low_cut", low_cut), ("high_cut", high_cut)):
        if given:
            own = {name: getattr(filters.for_component(name), key) for name in components}
            own |= {name: value if isinstance(value, str) else float(f"{value:.3g}") for name, value in given.items()}
            same = len(set(own.values())) == 1
            chosen: Any = {key: next(iter(own.values())) if same else own}
            filters = dataclasses.replace(filters, **chosen)
    baseline = settings.baseline if method is None else dataclasses.replace(settings.baseline, method=method)
    return dataclasses.replace(settings, onset=onsets, baseline=baseline, filter=filters)


class Session:
    """One record on the desk.

    Parameters
    ----------
    result : Result
        What is looked at.
    archive : Archive, optional
        Where decisions go; without one there are none.
    record_id : str, optional
        Its id in the archive.
    by : str
        The reviewer.
    read_only : bool
        Decide nothing.
    """

    def __init__(
        self, result: Result, archive: Archive | None = None, record_id: str = "", by: str = "", read_only: bool = False
    ) -> None:
        self.archive, self.record_id, self.by = archive, record_id or result.record.id, by
        self.read_only = read_only or archive is None
        self.opened = result
        self.settings = result.settings
        self._seen = examine(result.record)
        self._damaged = {finding.component for finding in self._seen if finding.name in DAMAGING}
        # As it was kept; only the spectra of signal and noise are not kept, and are made again.
        made = dataclasses.replace(
            self._corrected(result.settings), motion=result.motion, usable_band=result.usable_band,
            windows=result.windows, baseline=result.baseline, findings=result.findings,
        )  # fmt: skip
        self.base = self._preview_of(result.settings, made)
        self.now = self.base
        self._undone: list[Standing] = []
        self.version: Version | None = None
        self._entries: tuple[str, ...] = ()
        if archive is not None:
            self.version = archive.version(self.record_id)
            self._entries = self._entered()

    @classmethod
    def open(cls, archive: Archive, record_id: str, by: str = "", read_only: bool = False) -> Session:
        """Open the current version of a record of an archive.

        Raises
        ------
        ArchiveError
            It is damaged, or there is none.
        """
        return cls(archive[record_id], archive, record_id, by, read_only)

    @property
    def changed(self) -> bool:
        """Whether the settings differ from those of the opened version."""
        return self.settings != self.opened.settings

    def change(self, **what: Any) -> Preview:
        """Change settings as `settings_with` takes them, and return what they give.

        Raises
        ------
        SettingsError, RecordError
            They are not allowed; then nothing has changed.
        """
        settings = settings_with(self.settings, self.opened.record.names, **what)
        self.now = self.preview(settings)
        self.settings = settings
        return self.now

    def reset(self) -> Preview:
        """Return to the settings of the opened version."""
        self.settings, self.now = self.opened.settings, self.base
        return self.now

    def preview(self, settings: Settings) -> Preview:
        """Return what settings give, at once: all of the correction, and few oscillators."""
        if settings == self.opened.settings:
            return self.base
        return self._preview_of(settings, self._corrected(settings))

    def _corrected(self, settings: Settings) -> Corrected:
        return correct(self.opened.record, settings, self._damaged, self._seen)

    def _preview_of(self, settings: Settings, made: Corrected) -> Preview:
        compared = {name: choice.noise for name, choice in made.choices.items()}
        peaks = {
            (name, quantity): float(np.abs(getattr(motion, of)).max())
            for name, motion in made.motion.items()
            for quantity, of in (("PGA", "acceleration"), ("PGV", "velocity"), ("PGD", "displacement"))
        }
        with ThreadPoolExecutor(len(made.motion)) as pool:
            solved = dict(zip(made.motion, pool.map(_solved, made.motion.values()), strict=True))
        psa, listed = ({name: both[i] for name, both in solved.items()} for i in (0, 1))
        unfit = {finding.component for finding in self.opened.findings if finding.severity == "unfit"}
        unfit |= {finding.component for finding in made.findings if finding.severity == "unfit"}
        bands = {name: _fit(band, name, unfit) for name, band in made.usable_band.items()}
        return Preview(
            settings, made.motion, bands, made.windows, made.baseline, made.findings, compared, peaks, FEW_PERIODS, psa,
            listed,
        )  # fmt: skip

    def full(self, settings: Settings | None = None) -> Result:
        """Return what is kept: the whole job, as `strongmotion.process` does it."""
        return process(self.opened.record, settings or self.settings)

    def baselines(self) -> dict[str, dict[str, Baseline]]:
        """Return what each baseline method gives with the present settings, by method and component.

        A method that the record does not allow is left out.
        """
        found = {}
        for method in METHODS[1:]:
            try:
                tried = settings_with(self.settings, self.opened.record.names, method=method)
                made = self.now.baseline if tried == self.now.settings else self._corrected(tried).baseline
            except StrongMotionError:
                continue
            if all(its.method == method for its in made.values()):
                found[method] = made
        return found

    # Decisions

    def _entered(self) -> tuple[str, ...]:
        assert self.archive is not None
        return tuple(entry.sha256 for entry in self.archive.history(self.record_id))

    def news(self) -> str:
        """Say what others entered since this session opened the record, or decided; empty where nothing."""
        if self.archive is None:
            return ""
        others = [e for e in self.archive.history(self.record_id) if e.sha256 not in set(self._entries)]
        said = []
        for entry in others:
            what = {"version": "added a version", "current": "put another version first"}.get(entry.kind, "changed it")
            if entry.kind == "decision":
                what = f"decided: {entry.values['state']}"
            said.append(
                f"{entry.by or 'A batch'} {what} on {entry.time[:16].replace('T', ' ')} UTC. {entry.why}".strip()
            )
        return " ".join(said)

    def _check(self, by: str, reason: str) -> Archive:
        """Refuse a decision that may not be, before anything is written."""
        if self.archive is None or self.read_only:
            raise InputError("nothing can be decided here", remedy="Start the review without --read-only")
        for name, text in (("by", by), ("reason", reason)):
            if not text.strip():
                word = "name" if name == "by" else name
                raise InputError(f"a decision needs a {word}", field=name, remedy="Say who decides, and why")
        if news := self.news():
            raise ArchiveError(
                f"somebody else has worked on this record since you opened it. {news}",
                remedy="Open it again (o), look at it, and decide then",
            )
        assert self.version is not None
        self.archive[self.record_id, self.version.name]  # damaged meanwhile: nothing is decided about it
        return self.archive

    def decide(self, state: str, by: str, reason: str, result: Result | None = None) -> None:
        """Accept or reject the record, or leave it to look at.

        Accepted with other settings than those of the opened version, the result of `strongmotion.process` is added as
        a version first.

        Parameters
        ----------
        state : {"accepted", "rejected", "to look at"}
        by, reason : str
        result : Result, optional
            That of the present settings, where it has been made already.

        Raises
        ------
        InputError
            Nobody or no reason is named, or the review is read-only.
        ArchiveError
            Somebody else has decided meanwhile, or the archive cannot be written. Nothing was lost then.
        """
        archive = self._check(by, reason)
        before = archive.standing(self.record_id)
        if state == "accepted":
            if self.changed:
                if result is None or result.settings != self.settings:
                    result = self.full()
                archive.add(result, by, reason)
                self.opened, self.settings = result, result.settings
                self.base = self.now
                self.version = archive.version(self.record_id)
            assert self.version is not None
            archive.decide(self.record_id, state, by, reason, self.version.name)
        else:
            archive.decide(self.record_id, state, by, reason)
        self._undone.append(before)
        self._entries = self._entered()

    def undo(self, by: str) -> bool:
        """Take back the last decision of this session; entries of the manifest stay.

        Returns
        -------
        bool
            Whether there was one.
        """
        if not self._undone:
            return False
        reason = "Undone in review"
        archive = self._check(by, reason)
        before = self._undone.pop()
        now = archive.standing(self.record_id)
        if before.current is not None and now.current != before.current:
            if now.current is None or now.current.name != before.current.name:
                archive.make_current(self.record_id, before.current.name, by, reason)
            now = archive.standing(self.record_id)
        if now.state != before.state:
            name = before.current.name if before.current is not None else None
            if before.state in ("rejected", "withdrawn"):
                archive.decide(self.record_id, before.state, by, reason)
            elif before.state == "accepted":
                archive.decide(self.record_id, "accepted", by, reason, name)
            else:
                whole = now.state in ("rejected", "withdrawn")
                archive.decide(self.record_id, "to look at", by, reason, None if whole else name)
        again = Session.open(archive, self.record_id, self.by, self.read_only)
        again._undone = self._undone
        self.__dict__.update(again.__dict__)
        return True

    def history(self) -> list[tuple[str, str, str, str]]:
        """Return when, who, what and why of each entry, the newest first."""
        if self.archive is None:
            return []
        rows = []
        for entry in self.archive.history(self.record_id):
            its = entry.values
            what = {
                "version": f"version {its.get('name')} added",
                "decision": f"{its.get('state')} {its.get('version') or 'as a whole'}",
                "current": f"version {its.get('version')} put first",
            }.get(entry.kind, entry.kind)
            rows.append((entry.time[:16].replace("T", " "), entry.by or "a batch", what, entry.why))
        return rows[::-1]

    def share(
        self,
        others: Iterable[str],
        by: str = "",
        reason: str = "",
        keep: bool = False,
        progress: Callable[[str], None] | None = None,
    ) -> dict[str, tuple[Move, ...] | str]:
        """Give what was changed here to other records; without `keep` only say what it would move.

        Parameters
        ----------
        others : iterable of str
            Ids.
        by, reason : str
            Kept with each version that is added.
        keep : bool
            Add the results as versions of their records. They stay undecided.
        progress : callable, optional
            Called with the id of each record as it is done.

        Returns
        -------
        dict of str to tuple of Move or str
            What moves in each, or why nothing can.
        """  # fmt: skip
        if self.archive is None or (keep and self.read_only):
            raise InputError("nothing can be kept here", remedy="Start the review without --read-only")
        if keep and not (by.strip() and reason.strip()):
            raise InputError("a change needs a name and a reason", remedy="Say who changes, and why")
        answers: dict[str, tuple[Move, ...] | str] = {}
        for record_id in others:
            try:
                other = Session.open(self.archive, record_id)
                other.settings = _carried(
                    self.opened.settings, self.settings, other.settings, other.opened.record.names
                )
                other.now = other.preview(other.settings)
                answers[record_id] = what_moved(other.base, other.now)
                if keep and other.changed:
                    self.archive.add(other.full(), by, reason)
            except StrongMotionError as error:
                answers[record_id] = str(error)
            if progress is not None:
                progress(record_id)
        return answers


def _carried(before: Settings, after: Settings, other: Settings, names: tuple[str, ...]) -> Settings:
    """Return another record's settings with what was changed here; its onset is its own."""
    sections: dict[str, Any] = {}
    for section in ("baseline", "filter", "onset"):
        old, new = getattr(before, section), getattr(after, section)
        moved = {
            item.name: getattr(new, item.name)
            for item in dataclasses.fields(new)
            if getattr(old, item.name) != getattr(new, item.name) and (section, item.name) != ("onset", "time")
        }
        for key, value in moved.items():
            if isinstance(value, Mapping):
                moved[key] = {name: its for name, its in value.items() if name in names} or AUTO
        sections[section] = dataclasses.replace(getattr(other, section), **moved)
    return dataclasses.replace(other, **sections)


def _solved(motion: Motion) -> tuple[Floats, Floats]:
    """Return PSA, m/s², at the few periods, straight lines between samples for the quick curve, and at those listed."""

    def psa(periods: Floats, how: Interpolation) -> Floats:
        of = (motion.acceleration, motion.dt, periods, DAMPING, ("psa",))
        spectrum = response_spectrum(*of, interpolation=how, threads=1).psa
        assert spectrum is not None
        return spectrum[0]

    return psa(FEW_PERIODS, "linear"), psa(LISTED_PERIODS, "band-limited")


def _fit(band: Band, name: str, unfit: set[str]) -> Band:
    share = {"H1", "H2"} if name == "horizontal" else {name}
    return dataclasses.replace(band, usable=not unfit & {"", *share})
