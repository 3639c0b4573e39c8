"""Which peaks and periods a doubt about the baseline touches.

A check sees that the baseline moved, or that displacement drifts, before there are spectra. Once there are, the numbers
that it touches can be named: those that the explanations which fit the quiet windows equally well do not agree on, or
that the drift is large against. Short periods and PGA are then free of a doubt that is about long ones.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pandas as pd

from ..foundation.arrays import Floats
from ..record import NO_PERIODS, Finding, Touched
from .band import Band

__all__ = ["AGREED", "narrowed"]

AGREED = 0.05
"""Part of a number up to which it is not in doubt: half its 5 to 95 % band, or the drift in it; a judgement."""

DRIFTS = {"unsettled end": "end_displacement_to_peak", "displacement in doubt": "displacement_before_onset_to_peak"}
"""Findings about a drift of displacement, and which of their values is the drift as a part of PGD."""


def narrowed(
    findings: tuple[Finding, ...], peaks: pd.DataFrame, spectra: pd.DataFrame, bands: dict[str, Band]
) -> tuple[Finding, ...]:
    """Return the findings, those about the baseline with the numbers that they touch.

    Parameters
    ----------
    findings : tuple of Finding
    peaks : pandas.DataFrame
        ``component, quantity, value, band_low, band_high``.
    spectra : pandas.DataFrame
        ``component, damping, period, psa, psa_low, psa_high``; m/s².
    bands : dict of str to Band

    Returns
    -------
    tuple of Finding
        Where there are no bands of uncertainty, a baseline shift touches what it did before: PGV, PGD and all periods.

    Notes
    -----
    The bands span rival baselines (Akkar & Boore 2009), so a ``baseline shift`` touches PGV and PGD where half the band
    is wider than `AGREED`, and the ordinates from the first period beyond the largest PSA at which half theirs is. PGA
    is touched where the shift itself is larger than `AGREED` of it. A drift of displacement that is the part p of PGD,
    at frequencies about the low-cut f, is an acceleration of p PGD (2 pi f)², which is held against PSA.
    """
    done = []
    for finding in findings:
        name = finding.component
        its = peaks[peaks["component"] == name].set_index("quantity")
        table = spectra[spectra["component"] == name]
        if len(table):
            table = table[(table["damping"] == table["damping"].iloc[0]) & (table["period"] > 0)].sort_values("period")
        if its.empty or table.empty or name not in bands:
            done.append(finding)
        elif finding.name == "baseline shift":
            done.append(replace(finding, touches=_by_bands(finding, its, table)))
        elif finding.name in DRIFTS:
            drift = finding.values[DRIFTS[finding.name]] * float(its.loc["PGD", "value"])
            low_cut = bands[name].low_cut
            part = drift * (2 * math.pi * low_cut) ** 2 / np.maximum(table["psa"].to_numpy(dtype=float), 1e-300)
            periods = _from_first(table, part) if low_cut > 0 else finding.touches.periods
            done.append(replace(finding, touches=replace(finding.touches, periods=periods)))
        else:
            done.append(finding)
    return tuple(done)


def _by_bands(finding: Finding, peaks: pd.DataFrame, table: pd.DataFrame) -> Touched:
    half = {
        quantity: (row["band_high"] - row["band_low"]) / 2 / max(row["value"], 1e-300)
        for quantity, row in peaks.to_dict("index").items()
    }
    size = abs(finding.values["shift_m_s2"]) + abs(finding.values["transient_m_s2"])
    touched = ["PGA"] if size > AGREED * float(peaks.loc["PGA", "value"]) else []
    # What has no band is touched: nothing is known of how well the explanations agree.
    touched += [quantity for quantity in ("PGV", "PGD") if not half.get(str(quantity), math.nan) <= AGREED]
    low, high, psa = (table[column].to_numpy(dtype=float) for column in ("psa_low", "psa_high", "psa"))
    if not np.isfinite(low).all():
        return Touched(tuple(touched))
    return Touched(tuple(touched), _from_first(table, (high - low) / 2 / np.maximum(psa, 1e-300)))


def _from_first(table: pd.DataFrame, part: Floats) -> tuple[float, float]:
    """Return all periods from the first beyond the largest PSA on at which a part of it is more than agreed."""
    period = table["period"].to_numpy(dtype=float)
    largest = int(table["psa"].to_numpy(dtype=float).argmax())
    over = np.flatnonzero(part[largest:] > AGREED)
    return (float(period[largest + over[0]]), math.inf) if over.size else NO_PERIODS
