"""Where shaking begins, and which part before it is noise."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..arrivals import pick_onset, shaking_energy
from ..errors import SettingsError
from ..motion import Entry, Motion
from ..record import Finding
from ..settings import AUTO, OnsetSettings

__all__ = ["Windows", "find_windows"]

LOUDEST_NOISE = 0.1
"""A pre-event window louder than this part of the strongest second (root mean square) is taken for shaking."""


@dataclass(frozen=True)
class Windows:
    """The record's onset and its pre-event window, in samples.

    `onset` is 0 where shaking has begun before the record; `noise` is the number of samples, from the first, that
    are free of shaking, and 0 where there are too few to use.
    """

    onset: int
    noise: int

    @property
    def pre_event(self) -> slice | None:
        """The samples before the onset that can be used, or None."""
        return slice(0, self.noise) if self.noise else None


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
    strongest = float(np.convolve(energy, np.full(second, 1.0 / second), "valid").max())
    loudness = float(np.sqrt(energy[:noise].mean() / strongest)) if noise and strongest > 0 else 0.0

    if picked is None:
        why = "no onset stands out from what is before it"
    elif settings.time == AUTO and loudness > LOUDEST_NOISE:
        why = f"what is before the onset is {loudness:.0%} as loud as the strongest second: shaking had begun"
        onset = 0
    elif noise * dt < settings.least_pre_event:
        why = f"only {noise * dt:.2f} s before the onset"
    else:
        why = ""
    findings: tuple[Finding, ...] = ()
    if why:
        noise = 0
        findings = (
            Finding(
                "late start", "doubt",
                what=f"no pre-event window can be used: {why}",
                effect="the zero line comes from the whole record and the low-cut from the settings; "
                "velocity and displacement are less sure, and early peaks may be missing",
                remedy="look at the start of the record; set onset.time if the onset can be read, and filter.low_cut",
                where=f"0 to {onset * dt:.2f} s",
                confidence=0.8,
            ),
        )  # fmt: skip
    values = {"onset_s": onset * dt, "pre_event_s": noise * dt, "noise_to_strongest_second": loudness}
    ending = f"; {why}" if why else ""
    return Windows(onset, noise), Entry("onset", "", f"Onset {how}{ending}", values), findings
