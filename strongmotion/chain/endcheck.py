"""The checks of the finished motion: that it comes to rest, and that no filter took its peak.

After band-limiting, velocity and displacement must end near zero; what is left at the end is the error the chain
could not remove. And the ground stands still before the onset: displacement found there is a long-period error, such
as a step of the baseline or a clipped peak, spread backwards by the zero-phase filter. Both limits are common
practice, without a source.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from ..motion import Entry, Motion
from ..record import Finding, Quantity, Touched
from .band import Band
from .corners import HIGHEST, SignalAndNoise
from .filter import butterworth_gain, filter_band
from .order import step

__all__ = ["check_end", "check_peak", "keep_peaks"]

PEAK_TEST = step("peak test", 90)
END_CHECK = step("end check", 130)

PEAK_TAKEN, IN_NOISE = 0.03, 2.0
"""Fraction of the peak acceleration that a corner may take without a finding, and how many times the root mean square
of the noise it takes: judgements, without a source."""

RAISED = 1.2
"""A high-cut that takes part of the peak is raised in steps of this factor."""

FARTHER = 3.0
"""What a low-cut takes of the peak is measured against a low-cut lower by this factor, since without any there is no
zero line."""

TOO_MUCH = 0.2
"""Part of the peak that a filter chosen from noise may take before the component is unfit: likewise."""

LARGEST = 0.02
"""Largest end value of velocity or displacement, as a part of its own peak, that passes without a finding."""

LOOKED_AT = 15.0
"""Time before the onset, s, in which displacement is looked at, however much quiet there is."""

LARGEST_BEFORE = 0.25
"""Largest displacement before the onset, as a part of its peak, that passes without a finding."""


def check_end(
    motion: Motion, onset: int = 0, acausal: Motion | None = None, returns: bool = True
) -> tuple[Motion, tuple[Finding, ...]]:
    """Compare velocity and displacement where the ground stands still with their peaks.

    Parameters
    ----------
    motion : Motion
        Integrated motion.
    onset : int
        The record's sample at which shaking begins; 0 where it had begun before the record, and then only the end
        is looked at.
    acausal : Motion, optional
        The same motion filtered with zero phase, for what lies before the onset; `motion` itself if not given.
    returns : bool
        Whether displacement should end at zero; a permanent one does not.

    Returns
    -------
    Motion
        Unchanged but for its history.
    findings : tuple of Finding
        ``unsettled end`` where velocity or displacement ends above 2 % of its peak; ``displacement in doubt`` where
        displacement before the onset exceeds 25 % of it.

    Examples
    --------
    >>> from strongmotion.chain import integrate
    >>> pulse = np.repeat([0.0, 1.0, -1.0, 0.0], 100)  # at rest at the end, but displaced
    >>> motion, findings = check_end(integrate(Motion("H1", pulse, 0.01)))
    >>> [finding.name for finding in findings]
    ['unsettled end']
    """
    assert motion.velocity is not None
    assert motion.displacement is not None
    velocity, displacement = motion.velocity, np.abs(motion.displacement)
    pgv, pgd = float(np.abs(velocity).max()), float(displacement.max())
    end_velocity = abs(float(velocity[-1])) / pgv if pgv > 0 else 0.0
    end_displacement = float(displacement[-1]) / pgd if pgd > 0 else 0.0
    before = _before_onset(acausal or motion, onset)
    said = "" if before is None else f"; before the onset displacement reaches {before:.0%}"
    checked = motion.after(
        END_CHECK,
        f"Velocity ends at {end_velocity:.2%} of its peak, displacement at {end_displacement:.2%}{said}",
        {
            "end_velocity_m_s": float(velocity[-1]),
            "end_displacement_m": float(motion.displacement[-1]),
            "end_velocity_to_peak": end_velocity,
            "end_displacement_to_peak": end_displacement,
            "displacement_before_onset_to_peak": before,
        },
    )
    findings = []
    end = (len(motion) - motion.lead - motion.trail - 1) * motion.dt
    if max(end_velocity, end_displacement if returns else 0.0) > LARGEST:
        findings.append(
            Finding(
                "unsettled end", "doubt",
                what=f"velocity ends at {end_velocity:.0%} and displacement at {end_displacement:.0%} of its peak",
                effect="displacement, and velocity at long periods, hold an error of that size",
                remedy="look whether the record stops in the shaking; set filter.low_cut, or lower it if it is high",
                component=motion.component,
                span=(end, end),
                values={"end_velocity_to_peak": end_velocity, "end_displacement_to_peak": end_displacement},
                touches=Touched(("PGV", "PGD")),
            )
        )  # fmt: skip
    if before is not None and before > LARGEST_BEFORE:
        findings.append(
            Finding(
                "displacement in doubt", "doubt",
                what=f"before the onset, where the ground is at rest, displacement reaches {before:.0%} of its peak",
                effect="PGD, and spectra at the longest periods, hold an error of that size; "
                "a permanent displacement, if there is one, is not kept by this method",
                remedy="raise filter.low_cut until it falls, and look for clipping and steps of the baseline",
                component=motion.component,
                span=(0.0, onset * motion.dt),
                values={"displacement_before_onset_to_peak": before},
                confidence=0.7,
                touches=Touched(("PGD",)),
            )
        )  # fmt: skip
    return checked, tuple(findings)


def _before_onset(motion: Motion, onset: int) -> float | None:
    """Return the largest displacement before the onset as a part of its peak, or None where there is no such time."""
    assert motion.displacement is not None
    displacement = np.abs(motion.displacement)
    peak = float(displacement.max())
    last = motion.lead + onset
    before = displacement[max(0, last - round(LOOKED_AT / motion.dt)) : last]
    return float(before.max()) / peak if onset > 0 and peak > 0 else None


def keep_peaks(
    padded: Mapping[str, Motion],
    moved: Mapping[str, Motion],
    bands: Mapping[str, Band],
    noises: Mapping[str, SignalAndNoise],
    order: int,
    leave_out: bool,
) -> tuple[dict[str, Band], tuple[Entry, ...]]:
    """Raise the high-cuts that take more of the peak than noise explains, until they do not.

    Parameters
    ----------
    padded, moved : mapping of str to Motion
        Acceleration, m/s², before and after the filter, pads included, by component.
    bands : mapping of str to Band
        By component, and ``"horizontal"``.
    noises : mapping of str to SignalAndNoise
        By component.
    order : int
        Order of the filter.
    leave_out : bool
        Leave out such a high-cut altogether, where it was chosen from what may be motion and not noise.

    Returns
    -------
    bands : dict of str to Band
    entries : tuple of Entry
        An entry for each high-cut that was raised or left out.
    """
    kept, entries = dict(bands), []
    for name, motion in padded.items():
        band = bands[name]
        if not _high_cut_takes(motion, moved[name], band, noises[name], order):
            continue
        for count in range(1, 1 if leave_out else 40):
            tried = replace(band, high_cut=band.high_cut * RAISED**count)
            if tried.high_cut >= HIGHEST * band.nyquist:
                continue
            if not _high_cut_takes(motion, filter_band(motion, tried, order, "acausal"), tried, noises[name], order):
                kept[name], what = tried, "Raised the high-cut: it would take more of the peak than is noise"
                break
        else:
            kept[name] = replace(band, high_cut=0.0)
            what = "Left out the high-cut: it would take part of the peak"
            what += ", and the tail it came from may be motion" if leave_out else " that is not noise"
        values = {"high_cut_before_hz": band.high_cut, "high_cut_hz": kept[name].high_cut}
        entries.append(Entry(PEAK_TEST, name, what, values))
    if "horizontal" in kept:
        cuts = [kept[name].high_cut for name in ("H1", "H2") if kept[name].high_cut > 0]
        kept["horizontal"] = replace(kept["horizontal"], high_cut=min(cuts, default=0.0))
    return kept, tuple(entries)


def _high_cut_takes(padded: Motion, moved: Motion, band: Band, noise: SignalAndNoise, order: int) -> bool:
    return any("high_cut_hz" in finding.values for finding in check_peak(padded, moved, band, noise, order))


def check_peak(
    padded: Motion,
    moved: Motion,
    band: Band,
    noise: SignalAndNoise,
    order: int,
    automatic: tuple[bool, bool] = (True, True),
) -> tuple[Finding, ...]:
    """Say where a corner takes more of the peak acceleration than is noise.

    A filter is there to take noise. Where noise is that of a window that is not quiet, or where motion is no stronger
    than the noise, it takes motion.

    Parameters
    ----------
    padded, moved : Motion
        Acceleration, m/s², before and after the filter, pads included.
    band : Band
        The corners of the filter.
    noise : SignalAndNoise
        Of the component.
    order : int
        Order of the filter.
    automatic : (bool, bool)
        Whether low-cut and high-cut were chosen by the chain. What a corner given in the settings takes makes nothing
        unfit.

    Returns
    -------
    tuple of Finding
        ``peak cut`` for each corner that changes the peak by more than 3 % and more than is noise: unfit where the
        chain chose the corner and it takes more than a fifth of the peak, else a doubt.
    """
    kept = float(np.abs(moved.acceleration).max())
    findings = []
    for which, corner, without, chosen in (
        ("low-cut", band.low_cut, replace(band, low_cut=band.low_cut / FARTHER), automatic[0]),
        ("high-cut", band.high_cut, replace(band, high_cut=0.0), automatic[1]),
    ):
        if corner == 0:
            continue
        whole = float(np.abs(filter_band(padded, without, order, "acausal").acceleration).max())
        frequency, power = noise.noise_spectrum()
        gains = (butterworth_gain(frequency, its.low_cut, its.high_cut, order) for its in (without, band))
        taken = np.sqrt(np.trapezoid(power * np.subtract(*gains) ** 2, frequency))
        if abs(kept - whole) <= max(PEAK_TAKEN * kept, IN_NOISE * float(taken)):
            continue
        findings.append(
            Finding(
                "peak cut", "unfit" if chosen and kept < (1.0 - TOO_MUCH) * whole else "doubt", what="",
                effect="if what it took is motion and not noise, PGA and spectra at "
                f"{'long' if which == 'low-cut' else 'short'} periods are wrong by as much",
                remedy=f"look whether the record is quiet before the onset, and set onset.time; or set "
                f"filter.{which.replace('-', '_')}",
                component=padded.component,
                values={f"{which.replace('-', '_')}_hz": corner, "peak_before_m_s2": whole, "peak_after_m_s2": kept},
                confidence=0.8,
                says=(
                    f"the {which} of {corner:.3g} Hz changes the peak from ", Quantity("peak_before", whole, "m/s2", 4),
                    " to ", Quantity("peak_after", kept, "m/s2", 4),
                ),
            )
        )  # fmt: skip
    return tuple(findings)
