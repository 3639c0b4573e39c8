"""Where shaking begins and ends, and which parts before and after it are noise."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import maximum_filter1d, uniform_filter1d

from ..arrivals import begins_in_shaking, level_before, pick_onset, rounding_energy, shaking_energy
from ..foundation.errors import SettingsError
from ..motion import Entry, Motion
from ..record import Finding
from ..settings import AUTO, OnsetSettings
from .order import step

__all__ = ["Windows", "find_windows"]

STEP = step("onset", 20)


HIGHEST_TAIL = 0.03
"""Shaking is over where no second exceeds this fraction of the strongest (root mean square): common practice, without
a source."""

ABOVE_NOISE = 4.0
"""Nor is a second shaking unless its energy exceeds this many times that of the noise. The energy of a second of noise
in the band of the picker follows a chi-squared distribution of some 38 degrees of freedom a component, which exceeds
four times its mean once in 10^13 seconds."""

LEAST_TAIL = 5.0
"""Shortest tail, s, that tells of velocity at rest."""

APART = 10.0
"""Quiet, s, that separates one shock from the next."""

MARGIN = (5.0, 15.0)
"""Shortest and longest time, s, that the signal window goes on after the shaking; between them it is half the length
of the shaking. Long periods last longer than the short ones that end the shaking: a judgement, without a source."""


@dataclass(frozen=True)
class Windows:
    """The record's onset, its pre-event window, its strong part and its tail, in samples.

    `onset` is 0 where shaking has begun before the record; `noise` is the number of samples, from the first, that
    are free of shaking, and 0 where there are too few to use. `strong` is the window in which the energy of the
    shaking grows from 5 to 95 %. `quiet_from` is the first sample of the tail, in which shaking is over; None where
    the record stops before. `shaking` is the signal window, whose spectrum is compared with that of the noise: the
    strongest shock with its margins, however much quiet there is around it; empty for all from the onset on.
    """

    onset: int
    noise: int
    strong: tuple[int, int] = (0, 0)
    quiet_from: int | None = None
    shaking: tuple[int, int] = (0, 0)

    @property
    def pre_event(self) -> slice | None:
        """The samples before the onset that can be used, or None."""
        return slice(0, self.noise) if self.noise else None

    def named(self, name: str) -> slice | None:
        """Return the ``"pre-event"`` window or the ``"tail"``, or None."""
        return {"pre-event": self.pre_event, "tail": self.tail}[name]

    @property
    def signal(self) -> slice:
        """The samples whose spectrum is that of the signal."""
        return slice(*self.shaking) if self.shaking[1] > self.shaking[0] else slice(self.onset, None)

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

    Examples
    --------
    >>> from strongmotion import read
    >>> from strongmotion.chain import to_acceleration
    >>> from strongmotion.settings import Settings
    >>> record = read("demo_records/quay.csv")
    >>> windows, entry, findings = find_windows([to_acceleration(one) for one in record], Settings().onset)
    >>> round(entry.values["onset_s"], 1)
    18.0
    """
    dt, n = motions[0].dt, len(motions[0])
    counts = [motion.count for motion in motions]
    energy = shaking_energy([motion.acceleration for motion in motions], dt, counts)
    if settings.time == AUTO:
        picked = pick_onset(
            energy, dt, settings.short_window, settings.long_window, settings.ratio, rounding_energy(counts, dt)
        )
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
    level, why = level_before(energy, noise, dt), ""
    if picked is None:
        why = "no onset stands out from the motion before it"
    elif settings.time == AUTO and begins_in_shaking(energy, noise, dt):
        why = f"the RMS level before the onset is {level:.0%} of that in the strongest second: shaking had begun"
        onset = 0
    elif noise * dt < settings.shortest_pre_event:
        why = f"only {noise * dt:.2f} s before the onset"
    strong, quiet_from, shaking = _shaking(energy, onset, noise, dt)
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
        "signal_from_s": shaking[0] * dt,
        "signal_to_s": shaking[1] * dt,
        "tail_s": tail,
    }
    ending = f"; {why}" if why else ""
    windows = Windows(onset, noise, strong, quiet_from, shaking)
    return windows, Entry(STEP, "", f"Onset {how}{ending}", values), findings


def _shaking(
    energy: NDArray[np.float64], onset: int, noise: int, dt: float
) -> tuple[tuple[int, int], int | None, tuple[int, int]]:
    """Return the window of 5 to 95 % of the energy above noise, the first sample of the tail, and the signal window.

    Energy is summed where seconds stand out from the noise, and only there: what noise gives over an hour of quiet
    would move the sums.
    """
    n, quiet = len(energy), float(energy[:noise].mean()) if noise else 0.0
    second = min(n, max(1, round(1.0 / dt)))
    by_second = uniform_filter1d(energy, second, mode="nearest")
    by_second[:onset] = 0.0
    level = max(HIGHEST_TAIL**2 * float(by_second.max()), ABOVE_NOISE * quiet)
    loud = np.flatnonzero(by_second > level)
    if loud.size == 0:
        return (onset, n), None, (max(0, onset - second), n)
    stands_out = maximum_filter1d(by_second > level, 2 * second + 1)
    grown = np.maximum.accumulate(np.cumsum(np.where(stands_out, energy - quiet, 0.0)[onset:]))
    if grown[-1] <= 0:
        return (onset, n), None, (max(0, onset - second), n)
    begin, end = (min(n, onset + int(np.searchsorted(grown, part * grown[-1]))) for part in (0.05, 0.95))
    over = max(int(loud[-1]) + round(0.5 / dt), end) + 1
    quiet_from = over if (n - over) * dt >= LEAST_TAIL else None
    # The strongest shock is the signal; others, after a time of quiet, are not.
    gaps = np.flatnonzero(np.diff(loud) > APART / dt)
    strongest = int(np.searchsorted(loud[gaps], int(np.argmax(by_second))))
    first = onset if strongest == 0 else int(loud[gaps[strongest - 1] + 1])
    last = int(loud[gaps[strongest]] if strongest < len(gaps) else loud[-1]) + 1
    margin = float(np.clip((last - first) * dt / 2, *MARGIN))
    return (begin, end), quiet_from, (max(0, first - second), min(n, last + round(margin / dt)))
