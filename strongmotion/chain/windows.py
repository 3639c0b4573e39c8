"""Where shaking begins and ends, and which parts before and after it are noise."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import uniform_filter1d

from ..arrivals import pick_onset, shaking_energy
from ..foundation.errors import SettingsError
from ..motion import Entry, Motion
from ..record import Finding
from ..settings import AUTO, OnsetSettings
from .order import step

__all__ = ["Windows", "find_windows"]

STEP = step("onset", 20)


HIGHEST_NOISE = 0.04
"""What comes before the onset is no measure of noise where it is louder than this part of the strongest second (root
mean square): common practice, without a source. The P of a record that begins late, taken for noise, would have the
motion itself cut off; loud noise, taken for shaking, costs no more than a look at the tail."""

HIGHEST_TAIL = 0.03
"""The tail begins after the last second louder than this part of the strongest (root mean square): common practice,
without a source."""

LEAST_TAIL = 5.0
"""Shortest tail, s, that tells of velocity at rest."""


@dataclass(frozen=True)
class Windows:
    """The record's onset, its pre-event window, its strong part and its tail, in samples.

    `onset` is 0 where shaking has begun before the record; `noise` is the number of samples, from the first, that
    are free of shaking, and 0 where there are too few to use. `strong` is the window in which the energy of the
    shaking grows from 5 to 95 %. `quiet_from` is the first sample of the tail, in which shaking is over; None where
    the record stops before.
    """

    onset: int
    noise: int
    strong: tuple[int, int] = (0, 0)
    quiet_from: int | None = None

    @property
    def pre_event(self) -> slice | None:
        """The samples before the onset that can be used, or None."""
        return slice(0, self.noise) if self.noise else None

    def named(self, name: str) -> slice | None:
        """Return the ``"pre-event"`` window or the ``"tail"``, or None."""
        return {"pre-event": self.pre_event, "tail": self.tail}[name]

    @property
    def tail(self) -> slice | None:
        """The samples after the shaking that can be used, or None."""
        return None if self.quiet_from is None else slice(self.quiet_from, None)


def find_windows(motions: Sequence[Motion], settings: OnsetSettings) -> tuple[Windows, Entry, tuple[Finding, ...]]:
    """Find the onset common to all components and the pre-event window before it.

    Parameters
    ----------
    motions : sequence of Motion
        The components of one record, not padded.
    settings : OnsetSettings
        A given onset wins over the picker and its pre-event window is trusted.

    Returns
    -------
    windows : Windows
    entry : Entry
        What was decided, for the history.
    findings : tuple of Finding
        ``late start`` where no pre-event window can be used.

    Raises
    ------
    SettingsError
        The given onset is beyond the record.
    """
    dt, n = motions[0].dt, len(motions[0])
    energy = shaking_energy([motion.acceleration for motion in motions], dt)
    if settings.time == AUTO:
        picked = pick_onset(energy, dt, settings.short_window, settings.long_window, settings.ratio)
        how = "picked by short-term over long-term energy"
    else:
        picked = round(float(settings.time) / dt)
        if picked >= n:
            raise SettingsError(
                f"onset.time = {settings.time} s is beyond the record, which ends at {(n - 1) * dt:g} s",
                remedy="Give the onset in seconds after the first sample",
            )
        how = "given in the settings"
    onset = picked or 0
    noise = max(0, onset - round(settings.margin / dt))
    second = min(n, max(1, round(1.0 / dt)))
    by_second = uniform_filter1d(energy, second, mode="nearest")
    strongest = float(by_second.max())
    level = float(np.sqrt(energy[:noise].mean() / strongest)) if noise and strongest > 0 else 0.0

    if picked is None:
        why = "no onset stands out from what is before it"
    elif settings.time == AUTO and level > HIGHEST_NOISE:
        why = f"what is before the onset is {level:.0%} as loud as the strongest second: shaking had begun"
        onset = 0
    elif noise * dt < settings.shortest_pre_event:
        why = f"only {noise * dt:.2f} s before the onset"
    else:
        why = ""
    strong, quiet_from = _strong_and_tail(energy, by_second, onset, noise, dt)
    tail = 0.0 if quiet_from is None else (n - quiet_from) * dt
    findings: tuple[Finding, ...] = ()
    if why:
        noise_length, noise = noise * dt, 0
        instead = "the tail" if tail else "the whole record"
        findings = (
            Finding(
                "late start", "doubt",
                what=f"no pre-event window can be used: {why}",
                effect=f"the zero line and the noise come from {instead}; "
                "velocity and displacement are less sure, and early peaks may be missing",
                remedy="look at the start of the record; set onset.time if the onset can be read, and filter.low_cut",
                span=(0.0, onset * dt),
                values={"noise_to_strongest_second": level, "before_onset_s": noise_length},
                confidence=0.8,
            ),
        )  # fmt: skip
    values = {
        "onset_s": onset * dt,
        "pre_event_s": noise * dt,
        "noise_to_strongest_second": level,
        "strong_from_s": strong[0] * dt,
        "strong_to_s": strong[1] * dt,
        "tail_s": tail,
    }
    ending = f"; {why}" if why else ""
    return Windows(onset, noise, strong, quiet_from), Entry(STEP, "", f"Onset {how}{ending}", values), findings


def _strong_and_tail(
    energy: NDArray[np.float64], by_second: NDArray[np.float64], onset: int, noise: int, dt: float
) -> tuple[tuple[int, int], int | None]:
    """Return the window of 5 to 95 % of the energy above noise, and the first sample of the tail, if there is one."""
    n, quiet = len(energy), float(energy[:noise].mean()) if noise else 0.0
    grown = np.maximum.accumulate(np.cumsum(energy[onset:] - quiet))
    if grown[-1] <= 0:
        return (onset, n), None
    begin, end = (onset + int(np.searchsorted(grown, part * grown[-1])) for part in (0.05, 0.95))
    # Where noise itself is louder than that part of the shaking, the tail begins where only noise is left.
    level = max(HIGHEST_TAIL**2 * float(by_second.max()), 2.0 * quiet)
    loud = np.flatnonzero(by_second > level)
    if loud.size == 0:
        return (begin, min(end, n)), None
    quiet_from = max(int(loud[-1]) + round(0.5 / dt), end) + 1
    return (begin, min(end, n)), quiet_from if (n - quiet_from) * dt >= LEAST_TAIL else None
