"""What the transducer took from the motion, given back.

A mechanical accelerometer is itself a damped pendulum. Its relative motion r obeys r'' + 2 h w0 r' + w0² r = -a, and
its record, scaled as acceleration, is x = -w0² r. So the ground's acceleration is

    a = x + 2 h x' / w0 + x'' / w0²,

in the frequency domain x divided by H = 1 / (1 - (f/f0)² + 2 i h f/f0). Far above f0 that blows up noise as (f/f0)²; so
the division is damped, conj(H) / (|H|² + e²) (Tikhonov & Arsenin, 1977; from memory), which leaves what is well above e
as it is.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
from scipy.fft import irfft, next_fast_len, rfft, rfftfreq

from ..motion import Entry, Motion
from ..record import Finding, Record
from ..settings import InstrumentSettings
from .band import Band
from .order import step

__all__ = ["of_response", "remove_transducer", "within_response"]

STEP = step("instrument", 40)

LIMITS = step("response", 75)

REACH = 20.0
"""Periods of the transducer by which the record is continued at each end, as its mirror image."""


def remove_transducer(motion: Motion, settings: InstrumentSettings) -> Motion:
    """Correct for a transducer of known natural frequency and damping; a sensor without them has a gain alone.

    Parameters
    ----------
    motion : Motion
        Recorded acceleration, m/s², baseline removed, not padded.
    settings : InstrumentSettings
        A natural frequency of 0 leaves the motion as it is.

    Returns
    -------
    Motion
        Its history says what was corrected, and the largest gain of the correction.

    Examples
    --------
    >>> from strongmotion import Settings
    >>> motion = Motion("H1", np.sin(np.arange(1000) * 0.1), 0.01)
    >>> remove_transducer(motion, Settings().instrument) is motion  # no transducer is given
    True
    """
    f0, damping, floor = settings.natural_frequency, settings.damping, settings.regularisation
    if f0 == 0:
        return motion
    n, reach = len(motion), min(len(motion) - 1, int(np.ceil(REACH / f0 / motion.dt)))
    length = next_fast_len(n + 2 * reach, real=True)
    continued = np.pad(motion.acceleration, (reach, length - n - reach), mode="reflect" if n > 2 * reach else "edge")
    ratio = rfftfreq(length, motion.dt) / f0
    response = 1.0 / (1.0 - ratio**2 + 2j * damping * ratio)
    inverse = response.conj() / (np.abs(response) ** 2 + floor**2) * (1.0 + floor**2)  # 1 at long periods
    corrected = irfft(rfft(continued) * inverse, length)[reach : reach + n]
    return motion.after(
        STEP,
        f"Corrected for a transducer of {f0:g} Hz with {damping:g} of critical damping",
        {
            "natural_frequency_hz": f0,
            "damping": damping,
            "regularisation": floor,
            "largest_gain": float(np.abs(inverse).max()),
        },
        acceleration=np.ascontiguousarray(corrected),
    )


def of_response(record: Record) -> dict[str, Finding]:
    """Return, by component, the findings that a response was divided out in a band, outside which nothing is known."""
    return {one.component: one for one in record.findings if one.name == "response divided out"}


def within_response(
    bands: Mapping[str, Band], limits: Mapping[str, Finding]
) -> tuple[dict[str, Band], list[Entry], list[Finding]]:
    """Return the bands, none beyond that in which a response was divided out.

    The horizontals share the narrower limits, so that they can be rotated.

    Returns
    -------
    bands : dict of str to Band
    entries : list of Entry
        On those that were narrowed.
    findings : list of Finding
        ``outside response`` where nothing of a band is left; it is then that of the response.
    """
    found, entries, findings = dict(bands), [], []
    for name, band in bands.items():
        names = ("H1", "H2") if name in ("H1", "H2", "horizontal") and "horizontal" in bands else (name,)
        its = [limits[one].values for one in names if one in limits]
        if not its:
            continue
        low, high = max(one["low_hz"] for one in its), min(one["high_hz"] for one in its)
        corners = max(band.low_cut, low), min(band.high_cut or high, high)
        if not corners[0] < corners[1]:
            corners = low, high
            if name in limits:
                findings.append(_outside(name, band, low, high))
        found[name] = replace(
            band, low_cut=corners[0], high_cut=corners[1], clear_from=max(band.clear_from, low)
        )  # fmt: skip
        if found[name] != band:
            what = f"Kept the band within that of the response, {low:.3g} to {high:.3g} Hz"
            values = {"low_cut_hz": corners[0], "high_cut_hz": corners[1]}
            entries.append(Entry(LIMITS, name, what, values))
    return found, entries, findings


def _outside(name: str, band: Band, low: float, high: float) -> Finding:
    return Finding(
        "outside response", "unfit",
        what=f"the shaking is clear of noise from {band.low_cut:.3g} to {band.high_cut or band.nyquist:.3g} Hz, and "
        f"the sensor's response is known from {low:.3g} to {high:.3g} Hz",
        values={"low_cut_hz": band.low_cut, "high_cut_hz": band.high_cut, "low_hz": low, "high_hz": high},
        effect="nothing of the shaking is known as acceleration",
        remedy="use an accelerometer of the same place, if there is one",
        component=name,
    )  # fmt: skip
