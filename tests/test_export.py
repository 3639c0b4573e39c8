"""Processed motion for other programs: exact, with units and cautions."""

from __future__ import annotations

import json

import numpy as np
import pandas as pd
import pyarrow.parquet as pq
import pymseed
import pytest
from typer.testing import CliRunner

from strongmotion import Archive, Component, InputError, Record, RecordError, Settings, Station, process, read
from strongmotion.archive import export
from strongmotion.cli import app

START = np.datetime64("2031-04-17T03:26:27.125", "ns")


@pytest.fixture(scope="module")
def result():
    rng = np.random.default_rng(5)
    time = np.arange(4000) * 0.01
    envelope = np.where(time > 12, np.exp(-0.2 * (time - 12)), 0)
    parts = []
    for k, (name, azimuth, dip, code) in enumerate((("H1", 17.0, 0.0, "HN1"), ("V", None, -90.0, "HNZ"))):
        wave = envelope * np.sin(2 * np.pi * (1 + k) * time) + rng.normal(0, 1e-3, time.size)
        samples = np.rint(4e5 * wave).astype(np.int32)
        parts.append(Component(name, samples, 0.01, "counts", 4e5, START, azimuth, dip, code))
    record = Record(parts, Station("QUAY", "XX", "00", "Old Quay", 45.5, -12.25, 3.0))
    return process(record, Settings.from_dict({"spectra": {"periods": [0.2, 1.0], "damping": [0.05]}}))


def cautions(path):
    return [line for line in path.read_text().splitlines() if line.startswith("# ")]


def test_csv_comes_back_bit_for_bit(tmp_path, result):
    paths = {path.name.removeprefix(result.record.id): path for path in export(result, tmp_path)}
    assert set(paths) == {"_acceleration.csv", "_velocity.csv", "_displacement.csv", "_spectra.csv"}
    back = read(paths["_acceleration.csv"])
    assert (back.station, back.start, back.dt) == (result.record.station, START, 0.01)
    (said,) = back.findings
    assert (said.name, said.severity) == ("already processed", "note")
    bands = [result.usable_band[name] for name in result.motion]
    assert said.values["low_cut_hz"] == max(band.low_cut for band in bands)
    assert said.values["high_cut_hz"] == min(band.high_cut or band.nyquist for band in bands)
    for raw, component in zip(result.record, back, strict=True):
        assert component.samples.tobytes() == result.motion[raw.name].unpadded().acceleration.tobytes()
        assert (component.azimuth, component.dip, component.unit) == (raw.azimuth, raw.dip, "m/s2")
    for quantity, unit in (("velocity", "m/s"), ("displacement", "m")):
        frame = pd.read_csv(paths[f"_{quantity}.csv"], comment="#")
        for name, motion in result.motion.items():
            assert np.array_equal(frame[f"{name} [{unit}]"], getattr(motion.unpadded(), quantity))
        with pytest.raises(RecordError, match=f"unknown unit '{unit}'"):
            read(paths[f"_{quantity}.csv"])  # it is no acceleration, and not taken for one
    for path in paths.values():
        assert [line[2:] for line in cautions(path)[:3]] == list(result.cautions)


def test_spectra_come_back_bit_for_bit(tmp_path, result):
    path = next(path for path in export(result, tmp_path) if path.name.endswith("_spectra.csv"))
    frame = pd.read_csv(path, comment="#")
    for column, name in (("psa", "psa_m_s2"), ("sd", "sd_m"), ("period", "period_s"), ("damping", "damping")):
        assert np.array_equal(frame[name], result.spectra[column], equal_nan=True)
    assert frame["usable"].tolist() == result.spectra["usable"].tolist()
    assert frame["component"].tolist() == result.spectra["component"].tolist()


def test_parquet_comes_back_bit_for_bit(tmp_path, result):
    (path,) = export(result, tmp_path, ["parquet"])
    frame = pd.read_parquet(path)
    for name, motion in result.motion.items():
        for quantity, unit in (("acceleration", "m_s2"), ("velocity", "m_s"), ("displacement", "m")):
            assert np.array_equal(frame[f"{name}_{quantity}_{unit}"], getattr(motion.unpadded(), quantity))
    said = pq.read_schema(path).metadata
    assert json.loads(said[b"cautions"]) == list(result.cautions)
    assert (said[b"dt_s"], said[b"start"]) == (b"0.01", b"2031-04-17T03:26:27.125000000Z")


def test_miniseed_comes_back_bit_for_bit(tmp_path, result):
    paths = {path.name.removeprefix(result.record.id): path for path in export(result, tmp_path, ["miniseed"])}
    for quantity in ("acceleration", "velocity", "displacement"):
        traces = pymseed.MS3TraceList.from_file(paths[f"_{quantity}.mseed"], unpack_data=True)
        # X is FDSN's source code of a derived channel.
        assert [trace.sourceid for trace in traces] == ["FDSN:XX_QUAY_00_H_X_1", "FDSN:XX_QUAY_00_H_X_Z"]
        for trace, motion in zip(traces, result.motion.values(), strict=True):
            assert np.array_equal(trace[0].np_datasamples, getattr(motion.unpadded(), quantity))
        first = next(iter(pymseed.MS3Record.from_file(paths[f"_{quantity}.mseed"])))
        assert (first.formatversion, first.encoding) == (3, pymseed.DataEncoding.FLOAT64)
        assert json.loads(first.extra)["strongmotion"]["caution"] == " ".join(result.cautions)
    back = read(paths["_acceleration.mseed"])
    assert (back.names, back.start, back.dt, back.station) == (("H1", "V"), START, 0.01, result.record.station)
    assert back["H1"].samples.tobytes() == result.motion["H1"].unpadded().acceleration.tobytes()
    with pytest.raises(RecordError, match="unknown unit 'm/s'"):
        read(paths["_velocity.mseed"])


def test_unknown_form_is_refused(tmp_path, result):
    with pytest.raises(InputError, match="no export as 'xlsx'"):
        export(result, tmp_path / "none", ["xlsx"])
    assert not (tmp_path / "none").exists()


def test_export_command(tmp_path, result):
    archive = Archive(tmp_path / "archive", create=True)
    archive.add(result)
    shown = CliRunner().invoke(
        app, ["export", str(archive.folder), result.record.id, "-o", str(tmp_path / "out"), "--miniseed", "--parquet"]
    )
    assert shown.exit_code == 0, shown.output
    assert len(list((tmp_path / "out").iterdir())) == 4
    assert "licensed engineers" in shown.output
