"""Which way a record's baseline goes: band-limited, offset-preserving, or polynomial.

A low-cut removes every permanent displacement with the errors at long periods. Where velocity after the shaking tells
how the zero of acceleration moved, the permanent displacement can be kept instead (Iwan, Moser & Peng, 1985; Boore,
2001; Wang et al., 2011), provided that it is resolved: that all baselines which explain the quiet windows as well
(`rivals`) leave the ground at nearly one place. Where they do not, saying so is the honest answer.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..motion import Entry, Motion, Value
from ..record import NO_PERIODS, Finding, Quantity, Touched
from ..settings import AUTO, BaselineSettings
from .baseline import Shift, fit_shift, remove_polynomial, remove_shift
from .integrate import integrate_twice
from .order import step
from .rivals import BaselineModel, Rivals, rival_baselines
from .tail import read_tail
from .windows import Windows

__all__ = [
    "BAND_LIMITED",
    "OFFSET_PRESERVING",
    "POLYNOMIAL",
    "Baseline",
    "Chosen",
    "PermanentDisplacement",
    "choose_method",
]

RIVALS = step("rival baselines", 45)
STEP = step("method", 50)

BAND_LIMITED, OFFSET_PRESERVING, POLYNOMIAL = "band-limited", "offset-preserving", "polynomial"

MATTERS = 0.02
"""A shift matters where the velocity it leaves at the end of the record exceeds this part of the peak velocity."""


@dataclass(frozen=True)
class PermanentDisplacement:
    """Where the ground ended, m: the middle and the ends of the interval of 5 to 95 %.

    It is resolved where the whole interval is narrow; where it is not, only the interval means something.
    """

    value: float
    low: float
    high: float
    resolved: bool

    @property
    def least(self) -> float:
        """The smallest displacement, m, without its sign, inside the interval."""
        return 0.0 if self.low <= 0.0 <= self.high else min(abs(self.low), abs(self.high))


@dataclass(frozen=True)
class Baseline:
    """What was chosen for the baseline of one component.

    Parameters
    ----------
    method : str
        ``"band-limited"``, ``"offset-preserving"`` or ``"polynomial"``.
    shift : Shift or None
        The baseline shift that was removed.
    displacement : PermanentDisplacement or None
        None without quiet before and after the shaking.
    models : tuple of BaselineModel
        The rival explanations of the quiet windows, from which the interval of the displacement comes.
    """

    method: str
    shift: Shift | None = None
    displacement: PermanentDisplacement | None = None
    models: tuple[BaselineModel, ...] = ()


@dataclass(frozen=True)
class Chosen:
    """The motions with their zero corrected, the method they take, and what is known of permanent displacement.

    `removed` holds the baseline shifts that were removed, by component; `open` the components of a band-limited
    motion that could as well have been kept whole. `unknown` is what is not known of them, m/s², where they matter: as
    good as noise. `rivals` are what else explains the quiet windows, and `departures` how far they lie from what was
    removed, m/s², where a shift matters.
    """

    motions: list[Motion]
    method: str
    removed: dict[str, Shift]
    open: set[str]
    unknown: dict[str, NDArray[np.float64]]
    displacements: dict[str, PermanentDisplacement]
    rivals: dict[str, Rivals]
    departures: dict[str, NDArray[np.float64]]
    entries: tuple[Entry, ...]
    findings: tuple[Finding, ...]


def choose_method(
    motions: Sequence[Motion],
    windows: Windows,
    keeps_low_cut: bool,
    settings: BaselineSettings,
    damaged: Collection[str] = (),
) -> Chosen:
    """Correct baseline shifts, and choose the method for all components together, so that they can be rotated.

    Parameters
    ----------
    motions : sequence of Motion
        Acceleration, m/s², the mean of the pre-event window removed.
    windows : Windows
    keeps_low_cut : bool
        A low-cut is given in the settings: then nothing but the band-limited method honours it.
    settings : BaselineSettings
        A method given there wins.
    damaged : collection of str
        Components with wrong samples: each may leave a jump of velocity that the tail does not tell of.

    Returns
    -------
    Chosen
        Findings: ``baseline shift``, and ``permanent displacement`` or ``permanent displacement not resolved``.

    Examples
    --------
    >>> from strongmotion import Settings, read
    >>> from strongmotion.chain import find_windows, to_acceleration
    >>> settings = Settings()
    >>> motions = [to_acceleration(one) for one in read("demo_records/quay.csv")]
    >>> windows, *_ = find_windows(motions, settings.onset)
    >>> chosen = choose_method(motions, windows, True, settings.baseline)
    >>> chosen.method
    'band-limited'
    """
    # A shift is one from the zero of the pre-event window: without that zero there is none to see.
    zeroed = settings.mean in (AUTO, "pre-event")
    shifts: dict[str, Shift | None] = {}
    rivals: dict[str, Rivals] = {}
    for motion in motions:
        tail = read_tail(motion.acceleration, motion.dt, windows) if zeroed else None
        shift = None if tail is None else fit_shift(motion.acceleration, motion.dt, windows, tail)
        shifts[motion.component] = shift
        if tail is not None and shift is not None:
            rivals[motion.component] = rival_baselines(motion, windows, tail, shift)
    displacements = {name: _displacement(its, name not in damaged, settings) for name, its in rivals.items()}
    narrow = {name: name in displacements and displacements[name].resolved for name in shifts}
    resolved = [
        name for name, shift in shifts.items()
        if shift and narrow[name] and not shift.returns and displacements[name].least > settings.resolved_length
    ]  # fmt: skip
    method, why = settings.method, "given in the settings"
    if method == AUTO:
        method, why = _automatic(motions, narrow, resolved, keeps_low_cut)
    if method == OFFSET_PRESERVING and not all(shifts.values()):
        method, why = BAND_LIMITED, "offset-preserving needs a pre-event window and a tail, which this record has not"
    corrected: list[Motion] = []
    findings: list[Finding] = []
    unknown, removed, departures = {}, {}, {}
    for motion in motions:
        shift = shifts[motion.component]
        if method == POLYNOMIAL:
            motion = remove_polynomial(motion, windows, settings.degree)
        elif shift is not None:
            matters = settings.shift and shift.significant and _matters(motion, shift)
            if matters:
                findings.append(_shifted(motion, shift))
                unknown[motion.component] = shift.open_error(len(motion), motion.dt)
                line = shift.zero_line(len(motion), motion.dt, shift.half_length)
                departures[motion.component] = np.array(rivals[motion.component].extremes) - line
            if method == OFFSET_PRESERVING or matters:
                motion = remove_shift(motion, shift)
                removed[motion.component] = shift
        corrected.append(motion)
    open_ = {
        name
        for name, shift in shifts.items()
        if shift
        and method == BAND_LIMITED
        and not keeps_low_cut
        and (narrow[name] or (not shift.returns and displacements[name].least > 0))
    }
    values: dict[str, Value] = {"method": method}
    for name, displacement in displacements.items():
        if name in resolved:
            findings.append(_displaced(name, displacement, method))
        elif not narrow[name] and (name in removed or displacement.least > settings.resolved_length):
            findings.append(_not_resolved(name, displacement.low, displacement.high))
        values[f"permanent_displacement_{name}_low_m"] = displacement.low
        values[f"permanent_displacement_{name}_high_m"] = displacement.high
        values[f"permanent_displacement_{name}_resolved"] = displacement.resolved
    return Chosen(
        corrected,
        method,
        removed,
        open_,
        unknown,
        displacements,
        rivals,
        departures,
        (*(_explained(name, its) for name, its in rivals.items()), Entry(STEP, "", f"Method {method}: {why}", values)),
        tuple(findings),
    )


def _displacement(rivals: Rivals, whole: bool, settings: BaselineSettings) -> PermanentDisplacement:
    """Return where the ground ended; only that of whole samples can be resolved."""
    low, high = rivals.low, rivals.high
    narrow = (high - low) / 2 <= max(settings.resolved_length, settings.resolved_fraction * abs(high + low) / 2)
    return PermanentDisplacement((low + high) / 2, low, high, whole and narrow)


def _explained(name: str, rivals: Rivals) -> Entry:
    values: dict[str, Value] = {}
    for model in rivals.models:
        key = model.name.replace(" ", "_")
        values |= {f"{key}_weight": model.weight, f"{key}_misfit": model.misfit}
        values |= {f"{key}_displacement_low_m": model.low, f"{key}_displacement_high_m": model.high}
    return Entry(RIVALS, name, "Weighed the baselines that explain the quiet windows", values)


def _automatic(
    motions: Sequence[Motion], narrow: dict[str, bool], resolved: Sequence[str], keeps_low_cut: bool
) -> tuple[str, str]:
    """Return the method, and why."""
    if keeps_low_cut:
        return BAND_LIMITED, "a low-cut is given in the settings"
    if not resolved:
        return BAND_LIMITED, "no permanent displacement is resolved"
    # All go one way, so those without a resolved displacement must at least be known not to drift away.
    open_ones = [motion.component for motion in motions if not narrow[motion.component]]
    if open_ones:
        which = " and ".join(open_ones)
        return (
            BAND_LIMITED,
            f"the permanent displacement of {which} cannot be determined, and all components take one method",
        )
    return OFFSET_PRESERVING, f"the permanent displacement of {' and '.join(resolved)} is resolved"


def _matters(motion: Motion, shift: Shift) -> bool:
    line = shift.zero_line(len(motion), motion.dt, 0.0)
    left = abs(float(line.sum())) * motion.dt
    velocity, _ = integrate_twice(motion.acceleration - line, motion.dt)
    return left > MATTERS * float(np.abs(velocity).max())


def _shifted(motion: Motion, shift: Shift) -> Finding:
    half = shift.half_length
    says: list[str | Quantity] = ["the baseline of acceleration shifted by ", Quantity("shift", shift.size, "m/s2")]
    if shift.transient:
        says += [", and by ", Quantity("transient", shift.transient, "m/s2"), " for a while"]
    return Finding(
        "baseline shift", "doubt", what="",
        effect="it was removed; velocity, displacement and long-period spectra depend on when and how it moved",
        remedy="look for tilt, spikes and clipping; compare the methods with baseline.method",
        component=motion.component,
        span=(shift.middle - half, shift.middle + half),
        values={"shift_m_s2": shift.size, "transient_m_s2": shift.transient},
        confidence=0.9,
        touches=Touched(("PGV", "PGD")),
        says=(*says, ": velocity does not come to rest after the shaking"),
    )  # fmt: skip


def _displaced(name: str, offset: PermanentDisplacement, method: str) -> Finding:
    kept = "it is kept" if method == OFFSET_PRESERVING else f"the {method} method does not keep it"
    return Finding(
        "permanent displacement", "note",
        what=f"the ground moved for good by {offset.value:.3g} m, 5 to 95 %: {offset.low:.3g} to {offset.high:.3g} m",
        effect=f"PGD and displacement include it only where it is kept: {kept}",
        remedy="compare with a neighbour or with satellite positions; choose with baseline.method",
        component=name,
        values={"displacement_m": offset.value, "low_m": offset.low, "high_m": offset.high},
        confidence=0.9,
        touches=Touched(("PGD",), NO_PERIODS),
    )  # fmt: skip


def _not_resolved(name: str, low: float, high: float) -> Finding:
    return Finding(
        "permanent displacement not resolved", "note",
        what=f"the ground may have moved for good by {low:.3g} to {high:.3g} m",
        effect="displacement is without it, and PGD may be that of the vibration alone",
        remedy="use satellite positions or a neighbouring instrument",
        component=name,
        values={"low_m": low, "high_m": high},
        confidence=0.9,
        touches=Touched(("PGD",), NO_PERIODS),
    )  # fmt: skip
