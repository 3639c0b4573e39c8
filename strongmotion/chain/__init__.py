"""Record -> corrected Motion, one file a step; `correct` holds the order."""

from __future__ import annotations

import difflib
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace

from ..foundation.errors import SettingsError
from ..motion import Entry, History, Motion
from ..record import Finding, Record, Touched
from ..settings import AUTO, FilterSettings, Settings
from .acceleration import to_acceleration
from .band import Band
from .baseline import Shift, remove_baseline
from .corners import SignalAndNoise, choose_bands, signal_and_noise
from .displacement import raise_low_cuts
from .endcheck import check_end, check_peak, keep_peaks
from .ensemble import Choices, band_of, members, noise_in_peaks, noise_in_response
from .filter import butterworth_gain, filter_band
from .instrument import of_response, remove_transducer, within_response
from .integrate import integrate, integrate_twice
from .low_motion import WholeMotion, WholePeak, estimate_whole, takes
from .mend import Mended, mend
from .method import BAND_LIMITED, Baseline, PermanentDisplacement, choose_method
from .order import in_order, step
from .pad import pad_ends
from .rivals import BaselineModel
from .shaking import Shock, cut_entry, cut_to_shaking, cut_to_shocks, shaking_in
from .touched import narrowed
from .windows import Windows, find_windows

__all__ = [
    "Band",
    "Baseline",
    "BaselineModel",
    "Choices",
    "Corrected",
    "Mended",
    "PermanentDisplacement",
    "Shift",
    "Shock",
    "SignalAndNoise",
    "WholeMotion",
    "WholePeak",
    "Windows",
    "band_of",
    "butterworth_gain",
    "check_end",
    "choose_bands",
    "choose_method",
    "correct",
    "cut_to_shaking",
    "cut_to_shocks",
    "estimate_whole",
    "filter_band",
    "find_windows",
    "integrate",
    "integrate_twice",
    "members",
    "mend",
    "narrowed",
    "noise_in_peaks",
    "noise_in_response",
    "pad_ends",
    "remove_baseline",
    "remove_transducer",
    "shaking_in",
    "signal_and_noise",
    "to_acceleration",
]

UNTOUCHED = step("already processed", 17)

CLOSE = 0.8
"""Where noise begins within this ratio of the low-cut, nothing between them is worth looking at."""


@dataclass(frozen=True)
class Corrected:
    """What the chain returns: corrected motion by component, usable bands, findings and the whole history.

    `choices` holds what it takes to choose otherwise. `windows` and `baseline` hold what was chosen, the
    permanent displacements among it, whether or not the method keeps them in the motion. `mended` holds the stretches
    of samples that were replaced.
    """

    motion: dict[str, Motion]
    usable_band: dict[str, Band]
    choices: dict[str, Choices]
    windows: Windows
    baseline: dict[str, Baseline]
    findings: tuple[Finding, ...]
    history: History
    mended: tuple[Mended, ...] = ()


def correct(
    record: Record, settings: Settings, damaged: Collection[str] = (), seen: Sequence[Finding] = ()
) -> Corrected:
    """Take a raw record through every step, in order.

    Acceleration, onset and quiet windows, baseline, method, corners, pads, filter, integration, check of the end.
    Onset, method and corners are decided over all components together; the other steps take one at a time.

    Parameters
    ----------
    record : Record
    settings : Settings
    damaged : collection of str
        Components with samples that are known to be wrong, for which no permanent displacement is resolved.
    seen : sequence of Finding
        What the checks found: the places to mend, where the settings ask for it.

    Returns
    -------
    Corrected

    Raises
    ------
    RecordError
        Counts without a sensitivity.
    SettingsError
        Corners that the sampling rate does not allow.

    Examples
    --------
    >>> import strongmotion as sm
    >>> done = correct(sm.read("demo_records/quay.csv"), Settings())
    >>> sorted(done.motion)
    ['H1', 'H2', 'V']
    """
    before = next((finding for finding in record.findings if finding.name == "already processed"), None)
    if settings.filter.again:
        before = None
    if before is not None:
        settings = _as_it_is(settings)
    record.check_sensitivities()
    motions = [to_acceleration(component) for component in record]
    mendings = [mend(motion, seen, settings.mend) for motion in motions]
    motions = [motion for motion, _, _ in mendings]
    windows, onset, late = find_windows(motions, settings.onset)
    motions = [
        remove_transducer(remove_baseline(motion, windows, settings.baseline), settings.instrument)
        for motion in motions
    ]
    own = _by_component(record, settings.filter)
    limits = of_response(record)
    keeps_low_cut = bool(limits) or any(its.low_cut not in (AUTO, 0) for its in own.values())
    chosen = choose_method(motions, windows, keeps_low_cut, settings.baseline, damaged)
    bands, compared, corners, low_signal = choose_bands(
        chosen.motions, windows, settings.filter, chosen.method == BAND_LIMITED, chosen.unknown, chosen.departures
    )
    bands, limited, outside = within_response(bands, limits)

    findings = [*(finding for _, _, its in mendings for finding in its), *late, *chosen.findings, *low_signal, *outside]
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
        others, _, _ = within_response(others, limits)
        for name in padded:
            if others[name] != bands[name]:
                acausal[name] = integrate(filter_band(padded[name], others[name], order, "acausal"))
        return others

    tested: tuple[Entry, ...] = ()
    automatic = {name: motion for name, motion in padded.items() if own[name].high_cut == AUTO}
    if automatic:
        others, tested = keep_peaks(automatic, acausal, bands, compared, order, leave_out=not windows.pre_event)
        bands = refiltered(others)
    before_test = bands
    automatic = {name: motion for name, motion in padded.items() if own[name].low_cut == AUTO}
    if "horizontal" in bands and not {"H1", "H2"} <= set(automatic):
        automatic = {name: motion for name, motion in automatic.items() if name not in ("H1", "H2")}
    if automatic:
        largest = settings.filter.displacement_at_rest
        others, raised = raise_low_cuts(automatic, acausal, bands, windows, order, largest)
        bands, tested = refiltered(others), (*tested, *raised)
    for name, motion in padded.items():
        removed, is_open = chosen.removed.get(name), name in chosen.open
        extremes = chosen.rivals[name].extremes if removed is not None or is_open else ()
        whole = None
        if bands[name].low_cut > 0:
            # Where noise begins elsewhere than at the low-cut, the record itself tells what lies between.
            clear = _clear_from(bands[name], before_test[name])
            seen_from = acausal[name]
            if clear != bands[name].low_cut:
                seen_from = integrate(filter_band(motion, replace(bands[name], low_cut=clear), order, "acausal"))
            moved_for_good = chosen.displacements.get(name)
            interval = None if moved_for_good is None else (moved_for_good.low, moved_for_good.high)
            whole = estimate_whole(seen_from, clear, bands[name], compared[name], windows, order, interval)
        choices[name] = Choices(motion, bands[name], removed, extremes, compared[name], whole)
        moved = acausal[name] if phase == "acausal" else integrate(filter_band(motion, bands[name], order, phase))
        moved, taken = takes(moved, bands[name].low_cut, whole)
        finished[name], unsettled = check_end(
            moved, windows.onset if windows.pre_event else 0, acausal[name], returns=chosen.method == BAND_LIMITED
        )
        chosen_by_chain = (own[name].low_cut == AUTO, own[name].high_cut == AUTO)
        findings += [
            *unsettled,
            *taken,
            *check_peak(motion, moved, bands[name], compared[name], order, chosen_by_chain),
        ]
    steps = [entry for motion in finished.values() for entry in motion.history]
    entries = in_order([*cut_entry(record), onset, *chosen.entries, *corners, *limited, *tested, *steps])
    baseline = {
        name: Baseline(
            chosen.method,
            chosen.removed.get(name),
            chosen.displacements.get(name),
            chosen.rivals[name].models if name in chosen.rivals else (),
        )
        for name in padded
    }
    if before is not None:
        low, high = (before.values.get(f"{cut}_cut_hz", 0.0) for cut in ("low", "high"))
        high = high if high < 0.5 / record.dt else 0.0
        bands = {name: replace(band, low_cut=low, high_cut=high) for name, band in bands.items()}
        entries = in_order([*entries, Entry(UNTOUCHED, "", "Applied neither baseline nor filter again", before.values)])
    mended = tuple(stretch for _, its, _ in mendings for stretch in its)
    return Corrected(finished, bands, choices, windows, baseline, tuple(findings), History(entries), mended)


def _clear_from(band: Band, before_test: Band) -> float:
    """Return the lowest frequency, Hz, at which the record shows the motion: the low-cut, or where noise begins."""
    raised = band.low_cut != before_test.low_cut
    clear = max(band.clear_from, band.steady_from)
    below_high_cut = clear < CLOSE * (band.high_cut or band.nyquist)
    apart = clear < CLOSE * band.low_cut or clear > band.low_cut / CLOSE
    return clear if apart and clear > 0 and below_high_cut and not raised else band.low_cut


def _by_component(record: Record, settings: FilterSettings) -> dict[str, FilterSettings]:
    """Return the settings of each component; refuse those of one that the record has not."""
    for key in ("low_cut", "high_cut"):
        value = getattr(settings, key)
        for name in value if isinstance(value, Mapping) else ():
            if name not in record.names:
                near = difflib.get_close_matches(name, record.names, n=1, cutoff=0.0)
                raise SettingsError(
                    f"filter.{key} names component {name!r}, which the record does not have, perhaps {near[0]!r}",
                    remedy=f"Name components of the record: {', '.join(record.names)}",
                )
    return {name: settings.for_component(name) for name in record.names}


def _as_it_is(settings: Settings) -> Settings:
    """Return the settings with neither baseline nor filter."""
    baseline = replace(settings.baseline, mean="none", velocity_trend=False, shift=False, method=BAND_LIMITED)
    return replace(settings, baseline=baseline, filter=replace(settings.filter, low_cut=0, high_cut=0))


def _not_at_right_angles(record: Record) -> Finding:
    one, two = record["H1"].azimuth, record["H2"].azimuth
    return Finding(
        "not at right angles", "doubt",
        what=f"H1 points to {one:g} and H2 to {two:g} degrees",
        values={"azimuth_H1_degrees": one or 0.0, "azimuth_H2_degrees": two or 0.0},
        effect="the two are not rotated: RotD needs components at right angles",
        remedy="correct the azimuths, or rotate the components before processing",
        touches=Touched(alone=False),
    )  # fmt: skip
