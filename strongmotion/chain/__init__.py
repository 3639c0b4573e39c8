"""Record -> corrected Motion, one file a step; `correct` holds the order."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

from ..motion import Entry, History, Motion
from ..record import Finding, Record
from ..settings import AUTO, Settings
from .acceleration import to_acceleration
from .band import Band
from .baseline import Shift, remove_baseline
from .corners import SignalAndNoise, choose_bands, signal_and_noise
from .displacement import raise_low_cuts
from .endcheck import check_end, check_peak, keep_peaks
from .ensemble import Choices, band_of, members, noise_in_peaks, noise_in_response
from .filter import butterworth_gain, filter_band
from .instrument import remove_transducer
from .integrate import integrate, integrate_twice
from .method import BAND_LIMITED, Baseline, PermanentDisplacement, choose_method
from .order import in_order
from .pad import pad_ends
from .windows import Windows, find_windows

__all__ = [
    "Band",
    "Baseline",
    "Choices",
    "Corrected",
    "PermanentDisplacement",
    "Shift",
    "SignalAndNoise",
    "Windows",
    "band_of",
    "butterworth_gain",
    "check_end",
    "choose_bands",
    "choose_method",
    "correct",
    "filter_band",
    "find_windows",
    "integrate",
    "integrate_twice",
    "members",
    "noise_in_peaks",
    "noise_in_response",
    "pad_ends",
    "remove_baseline",
    "remove_transducer",
    "signal_and_noise",
    "to_acceleration",
]


@dataclass(frozen=True)
class Corrected:
    """What the chain returns: corrected motion by component, usable bands, findings and the whole history.

    `choices` holds what it takes to choose otherwise. `windows` and `baseline` hold what was chosen, the
    permanent displacements among it, whether or not the method keeps them in the motion.
    """

    motion: dict[str, Motion]
    usable_band: dict[str, Band]
    choices: dict[str, Choices]
    windows: Windows
    baseline: dict[str, Baseline]
    findings: tuple[Finding, ...]
    history: History


def correct(record: Record, settings: Settings, damaged: Collection[str] = ()) -> Corrected:
    """Take a raw record through every step, in order.

    Acceleration, onset and quiet windows, baseline, method, corners, pads, filter, integration, check of the end.
    Onset, method and corners are decided over all components together; the other steps take one at a time.

    Parameters
    ----------
    record : Record
    settings : Settings
    damaged : collection of str
        Components with samples that are known to be wrong, of which no permanent displacement can be told.

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
    motions = [
        remove_transducer(remove_baseline(motion, windows, settings.baseline), settings.instrument)
        for motion in motions
    ]
    chosen = choose_method(motions, windows, settings.filter.low_cut not in (AUTO, 0), settings.baseline, damaged)
    bands, compared, corners, low_signal = choose_bands(
        chosen.motions, windows, settings.filter, chosen.method == BAND_LIMITED, chosen.unknown
    )

    findings = [*late, *chosen.findings, *low_signal]
    # One pad for all, the longest any of them needs, keeps the components on one time base.
    corners_set = [corner for band in bands.values() for corner in (band.low_cut, band.high_cut) if corner > 0]
    lowest = min(corners_set, default=0.0)
    if "horizontal" in bands and record.horizontals is None:
        del bands["horizontal"]
        findings.append(_not_at_right_angles(record))
    finished: dict[str, Motion] = {}
    choices: dict[str, Choices] = {}
    order, phase = settings.filter.order, settings.filter.phase
    padded = {motion.component: pad_ends(motion, lowest, order, settings.taper) for motion in chosen.motions}
    # Only a zero-phase filter carries an error to before the onset, where it can be seen.
    acausal = {name: integrate(filter_band(motion, bands[name], order, "acausal")) for name, motion in padded.items()}

    def refiltered(others: dict[str, Band]) -> dict[str, Band]:
        for name in padded:
            if others[name] != bands[name]:
                acausal[name] = integrate(filter_band(padded[name], others[name], order, "acausal"))
        return others

    tested: tuple[Entry, ...] = ()
    if settings.filter.high_cut == AUTO and not windows.pre_event:
        others, tested = keep_peaks(padded, acausal, bands, order)
        bands = refiltered(others)
    if settings.filter.low_cut == AUTO:
        largest = settings.filter.displacement_at_rest
        others, entries = raise_low_cuts(padded, acausal, bands, compared, windows, order, largest)
        bands, tested = refiltered(others), (*tested, *entries)
    for name, motion in padded.items():
        choices[name] = Choices(motion, bands[name], chosen.removed.get(name), chosen.open.get(name), compared[name])
        moved = acausal[name] if phase == "acausal" else integrate(filter_band(motion, bands[name], order, phase))
        finished[name], unsettled = check_end(
            moved, windows.onset if windows.pre_event else 0, acausal[name], comes_back=chosen.method == BAND_LIMITED
        )
        findings += [*unsettled, *check_peak(motion, moved, bands[name], order)]
    steps = [entry for motion in finished.values() for entry in motion.history]
    whole = in_order([onset, *chosen.entries, *corners, *tested, *steps])
    baseline = {
        name: Baseline(chosen.method, chosen.removed.get(name), chosen.displacements.get(name)) for name in padded
    }
    return Corrected(finished, bands, choices, windows, baseline, tuple(findings), History(whole))


def _not_at_right_angles(record: Record) -> Finding:
    one, two = record["H1"].azimuth, record["H2"].azimuth
    return Finding(
        "not at right angles", "doubt",
        what=f"H1 points to {one:g} and H2 to {two:g} degrees",
        values={"azimuth_H1_degrees": one or 0.0, "azimuth_H2_degrees": two or 0.0},
        effect="the two are not rotated: RotD needs components at right angles",
        remedy="correct the azimuths, or rotate the components before processing",
    )  # fmt: skip
