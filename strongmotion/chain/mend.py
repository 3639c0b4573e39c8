"""Mending on request: spikes and short gaps by the model's prediction, clipped tops by a constrained fit.

The record is Gaussian motion about zero with the autocorrelation of the record itself. Given the samples on both sides,
the samples that are missing then have a normal distribution, whose mean is the smoothest continuation (Wiener, 1949;
the conditional Gaussian distribution is in any textbook) and whose spread is the estimated error. Clipped samples are
not missing altogether: the truth lies beyond the level. Their mean is drawn to it where it falls short.

The raw samples stay in the record: what is changed is the acceleration that the chain works on.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import cho_factor, cho_solve, toeplitz

from ..motion import Motion
from ..record import Finding, Quantity
from ..settings import MendSettings
from .order import step

__all__ = ["Mended", "mend"]

STEP = step("mend", 15)

Floats = NDArray[np.float64]

STEP = step("mend", 15)

SIDE = 24
"""Samples on either side that missing ones are predicted from."""

WHITE = 1e-6
"""White noise added to the autocorrelation at lag 0, as a part of it."""

ROUNDS = 50
"""Rounds, at most, in which clipped samples are drawn to the level."""

NORMAL_95 = 1.645
"""Half width of a band of 5 to 95 %, in standard deviations."""


@dataclass(frozen=True)
class Mended:
    """A stretch of one component that was mended.

    Parameters
    ----------
    component : str
    kind : str
        ``"spike"``, ``"gap"`` or ``"clipping"``.
    span : (float, float)
        First and last time, s after the first sample.
    samples : int
        How many were replaced.
    largest : float
        Largest change, m/s².
    error : float
        Estimated standard deviation of the worst of the samples put in, m/s².
    low, high : float
        Band of 5 to 95 %, m/s², of the sample put in that is largest in size.
    """

    component: str
    kind: str
    span: tuple[float, float]
    samples: int
    largest: float
    error: float
    low: float
    high: float


def mend(
    motion: Motion, findings: Sequence[Finding], settings: MendSettings
) -> tuple[Motion, tuple[Mended, ...], tuple[Finding, ...]]:
    """Replace the samples of one component that findings say are wrong, as far as the settings ask for it.

    Parameters
    ----------
    motion : Motion
        Acceleration, m/s², not padded.
    findings : sequence of Finding
        Those of the checks; the samples are found again within their spans.
    settings : MendSettings

    Returns
    -------
    motion : Motion
        With an entry in its history where something was mended.
    mended : tuple of Mended
        A stretch each.
    findings : tuple of Finding
        ``mended``, one for each kind: a doubt, since what is put in is an estimate.

    Examples
    --------
    >>> from strongmotion import Settings
    >>> motion = Motion("H1", np.sin(np.arange(1000) * 0.1), 0.01)
    >>> mended, pieces, findings = mend(motion, (), Settings().mend)
    >>> mended is motion, pieces
    (True, ())
    """
    own = [finding for finding in findings if finding.component == motion.component]
    values = motion.acceleration - np.median(motion.acceleration)
    stretches: list[tuple[str, int, int, float]] = []
    for finding in own:
        if finding.span is None:
            continue
        first, last = (round(time / motion.dt) for time in finding.span)
        if settings.spikes and finding.name == "spikes":
            times = [finding.values[key] for key in finding.values if key.startswith("spike_")]
            stretches += [("spike", at, at + 1, 0.0) for at in sorted({round(time / motion.dt) for time in times})]
        if settings.gaps > 0 and finding.name in ("stuck samples", "straight fill"):
            if finding.values.get("runs", finding.values.get("fills", 1.0)) > 1:
                continue  # a finding holds the place of all of them together only
            if (last - first) * motion.dt <= settings.gaps:
                # The first sample of a stuck run is true, the last is not; both ends of a straight line are.
                stretches.append(("gap", first + 1, last + (finding.name == "stuck samples"), 0.0))
        if settings.clipping and finding.name == "clipping":
            stretches += _tops(values, first, last)
    if not stretches:
        return motion, (), ()
    lags = _autocorrelation(values, stretches)
    mended, filled = [], values.copy()
    for kind, first, last, level in stretches:
        if first < 1 or last > len(values) - 1:
            continue
        new, spread = _predicted(filled, first, last, lags, level)
        at = int(np.argmax(np.abs(new)))
        half = NORMAL_95 * float(spread[at])
        low, high = float(new[at]) - half, float(new[at]) + half
        if kind == "clipping":  # the truth lies beyond the level
            low, high = (max(low, level), high) if level > 0 else (low, min(high, level))
        mended.append(
            Mended(
                motion.component, kind, (first * motion.dt, (last - 1) * motion.dt), last - first,
                float(np.abs(new - values[first:last]).max()), float(spread.max()), low, high,
            )
        )  # fmt: skip
        filled[first:last] = new
    if not mended:
        return motion, (), ()
    changed = motion.after(
        STEP,
        "Replaced samples that the checks found wrong, as the settings ask for",
        {
            "stretches": len(mended),
            "samples": sum(one.samples for one in mended),
            "largest_change_m_s2": max(one.largest for one in mended),
            "estimated_error_m_s2": max(one.error for one in mended),
        },
        acceleration=filled + np.median(motion.acceleration),
    )
    return changed, tuple(mended), tuple(_said(motion.component, mended))


def _said(component: str, mended: Sequence[Mended]) -> list[Finding]:
    findings = []
    for kind in dict.fromkeys(one.kind for one in mended):
        its = [one for one in mended if one.kind == kind]
        count, error = sum(one.samples for one in its), max(one.error for one in its)
        findings.append(
            Finding(
                "mended", "doubt", what="",
                effect="peaks and spectra may be those of the estimate",
                remedy="compare with mending switched off; the raw samples are in the record",
                component=component,
                span=(its[0].span[0], its[-1].span[1]),
                values={
                    "samples": count, "stretches": len(its), "error_m_s2": error,
                    "largest_change_m_s2": max(one.largest for one in its),
                },
                confidence=0.9,
                says=(
                    f"{count} samples of {len(its)} {kind} stretches were replaced by an estimate, uncertain by ",
                    Quantity("error", error, "m/s2"),
                ),
            )
        )  # fmt: skip
    return findings


def _tops(values: Floats, first: int, last: int) -> list[tuple[str, int, int, float]]:
    """Return the flat tops within a span: runs within 2 % of the largest sample of their side."""
    tops: list[tuple[str, int, int, float]] = []
    piece = values[first : last + 1]
    for sign in (1.0, -1.0):
        side = sign * piece
        # Both sides may lie in the span; only one of them may be cut off, at the level of its flat samples.
        level = float(side.max())
        held = np.concatenate(([False], side >= 0.98 * level, [False])).astype(np.int8)
        runs = np.flatnonzero(np.diff(held)).reshape(-1, 2)
        if level > 0 and level >= 0.98 * float((sign * values).max()) and (np.diff(runs) >= 2).any():
            tops += [("clipping", first + int(a), first + int(b), sign * float(side[a:b].min())) for a, b in runs]
    return sorted(tops, key=lambda one: one[1])


def _autocorrelation(values: Floats, stretches: Sequence[tuple[str, int, int, float]]) -> Floats:
    """Return the autocorrelation of the strong part, lags 0 to what the longest stretch needs, (m/s²)²."""
    longest = max(last - first for _, first, last, _ in stretches) + 2 * SIDE
    clean = values.copy()
    for _, first, last, _ in stretches:
        a, b = max(first - 1, 0), min(last, len(values) - 1)
        clean[first:last] = np.interp(np.arange(first, last), (a, b), (values[a], values[b]))
    lags = np.array([(clean[: len(clean) - lag] * clean[lag:]).sum() for lag in range(min(longest + 1, len(clean)))])
    lags = np.pad(lags, (0, longest + 1 - len(lags)))
    # The strong part holds nearly all the energy: per sample of it, not of the whole record.
    fourth = float((clean**4).sum())
    lags /= max(float((clean**2).sum()) ** 2 / max(fourth, np.finfo(float).tiny), 1.0)
    lags[0] *= 1.0 + WHITE
    return lags


def _predicted(values: Floats, first: int, last: int, lags: Floats, level: float) -> tuple[Floats, Floats]:
    """Return the mean and the standard deviation of the samples first to last given those on both sides.

    With a level other than 0 the samples lie beyond it: those whose mean falls short are held at it, and the others
    are predicted from them too, until none falls short.
    """
    begin, end = max(0, first - SIDE), min(len(values), last + SIDE)
    covariance = toeplitz(lags[: end - begin])
    hidden = np.zeros(end - begin, dtype=bool)
    hidden[first - begin : last - begin] = True
    window = values[begin:end].copy()
    held = np.zeros_like(hidden)
    sign = np.sign(level)
    mean, spread = window[hidden], np.zeros(last - first)
    for _ in range(ROUNDS):
        open_, known = hidden & ~held, ~hidden | held
        if not open_.any():
            break
        cross = covariance[np.ix_(open_, known)]
        factor = cho_factor(covariance[np.ix_(known, known)])
        window[open_] = cross @ cho_solve(factor, window[known])
        left = covariance[np.ix_(open_, open_)] - cross @ cho_solve(factor, cross.T)
        mean = window[hidden]
        spread = np.zeros(hidden.sum())
        spread[open_[hidden]] = np.sqrt(np.maximum(np.diag(left), 0.0))
        short = open_ & (sign * window < sign * level) if level else np.zeros_like(hidden)
        if not short.any():
            break
        window[short] = level
        held |= short
        mean = window[hidden]
    return mean, spread
