"""Record -> corrected Motion, one file a step; `correct` holds the order."""

from __future__ import annotations

from dataclasses import dataclass

from ..motion import History, Motion
from ..record import Finding, Record
from ..settings import Settings
from .acceleration import to_acceleration
from .band import Band
from .baseline import remove_baseline
from .corners import choose_bands
from .endcheck import check_end
from .filter import butterworth_gain, filter_band
from .integrate import integrate, integrate_twice
from .pad import pad_ends
from .windows import Windows, find_windows

__all__ = [
    "Band",
    "Corrected",
    "Windows",
    "butterworth_gain",
    "check_end",
    "choose_bands",
    "correct",
    "filter_band",
    "find_windows",
    "integrate",
    "integrate_twice",
    "pad_ends",
    "remove_baseline",
    "to_acceleration",
]

ORDER = ("acceleration", "onset", "baseline", "corners", "pad", "filter", "integrate", "end check")
"""The steps, as their entries in the history name them."""


@dataclass(frozen=True)
class Corrected:
    """What the chain returns: corrected motion by component, usable bands, findings and the whole history."""

    motion: dict[str, Motion]
    usable_band: dict[str, Band]
    findings: tuple[Finding, ...]
    history: History


def correct(record: Record, settings: Settings) -> Corrected:
    """Take a raw record through every step, in order.

    Acceleration, onset and pre-event window, baseline, corners, pads, filter, integration, and the check of the end.
    Onset and corners are decided over all components together; the other steps take one at a time.

    Parameters
    ----------
    record : Record
    settings : Settings

    Returns
    -------
    Corrected

    Raises
    ------
    RecordError
        Counts without a sensitivity.
    SettingsError
        Corners that the sampling rate does not allow.
    """
    motions = [to_acceleration(component) for component in record]
    windows, onset, late = find_windows(motions, settings.onset)
    motions = [remove_baseline(motion, windows, settings.baseline) for motion in motions]
    bands, corners, low_signal = choose_bands(motions, windows, settings.filter)

    finished: dict[str, Motion] = {}
    findings = [*late, *low_signal]
    # One pad for all, the longest any of them needs, keeps the components on one time base.
    lowest = min((bands[name].low_cut for name in record.names if bands[name].low_cut > 0), default=0.0)
    for motion in motions:
        band = bands[motion.component]
        padded = pad_ends(motion, lowest, settings.filter.order, settings.taper)
        moved = integrate(filter_band(padded, band, settings.filter.order, settings.filter.phase))
        finished[motion.component], unsettled = check_end(moved, windows.onset if windows.pre_event else 0)
        findings += unsettled
    steps = [entry for motion in finished.values() for entry in motion.history]
    whole = sorted([onset, *corners, *steps], key=lambda entry: ORDER.index(entry.step))
    return Corrected(finished, bands, tuple(findings), History(tuple(whole)))
