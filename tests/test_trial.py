"""The whole way of the guide's page on selecting: from 30 files to a table, a figure and seven scaled pairs."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from typer.testing import CliRunner

from strongmotion import read
from strongmotion.cli import app


@pytest.mark.slow
def test_from_30_files_to_seven_scaled_pairs_in_four_commands(tmp_path):
    rng, dt, n = np.random.default_rng(30), 0.01, 6000
    time, frequency = np.arange(n) * dt, np.fft.rfftfreq(n, dt)
    rise = np.maximum(time - 15, 0) / 5
    folder = tmp_path / "records"
    folder.mkdir()
    for number in range(30):
        corner, size = rng.uniform(0.15, 1.0), 10 ** rng.normal(-0.2, 0.3)
        gain = (frequency / corner) ** 2 / (1 + (frequency / corner) ** 2) * np.exp(-np.pi * 0.04 * frequency)
        waves = rng.standard_normal((3, n)) * size * rise**1.5 * np.exp(1.5 - 1.5 * rise)
        columns = 3 * np.fft.irfft(np.fft.rfft(waves) * gain, n) + rng.normal(0, 2e-4, (3, n))
        head = f"# station: S{number:02d}\n# network: XX\n# start: 2031-05-01T{number % 24:02d}:00:00Z\n# dt_s: {dt}\n"
        head += "# azimuth_H1: 0\n# azimuth_H2: 90\n"
        rows = "\n".join(",".join(f"{x:.7g}" for x in row) for row in columns.T)
        (folder / f"r{number:02d}.csv").write_text(f"{head}H1 [m/s2],H2 [m/s2],V [m/s2]\n{rows}\n")
    suite, chosen, out = (str(tmp_path / name) for name in ("suite", "chosen.csv", "out"))
    commands = (
        ["process", str(folder), "-o", suite],
        ["spectra", suite, "--unit", "g", "--excel", str(tmp_path / "spectra.xlsx")],
        ["select", suite, "--target", "asce7:sds=0.5,sd1=0.3,tl=8", "--range", "0.2", "1", "-n", "7",
         "--tolerance", "0.3", "--below", "0.25", "--csv", chosen, "--figure", str(tmp_path / "chosen.png")],
        ["export", suite, "--factors", chosen, "-o", out, "--text", "--unit", "g"],
    )  # fmt: skip
    for command in commands:
        shown = CliRunner().invoke(app, command)
        assert shown.exit_code == 0, shown.output
    assert pd.read_excel(tmp_path / "spectra.xlsx")["record"].nunique() == 30
    files = sorted((tmp_path / "out").iterdir())
    assert len(files) == 21  # seven pairs, each with its vertical
    assert {read(file).components[0].unit for file in files} == {"g"}
    assert (tmp_path / "chosen.png").stat().st_size > 10_000
