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
from strongmotion.archive import Delivery, export, factors_in
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


def test_the_beginning_of_an_id_is_enough_where_one_record_has_it(tmp_path, result):
    archive = Archive(tmp_path / "archive", create=True)
    archive.add(result)
    begins = result.record.id[:6]
    assert archive.id_of(begins) == result.record.id
    shown = CliRunner().invoke(app, ["export", str(archive.folder), begins, "-o", str(tmp_path / "out")])
    assert shown.exit_code == 0
    assert result.record.id in shown.stdout.replace("\n", "")
    assert "current" in CliRunner().invoke(app, ["history", str(archive.folder), begins]).stdout


def test_export_command(tmp_path, result):
    archive = Archive(tmp_path / "archive", create=True)
    archive.add(result)
    shown = CliRunner().invoke(
        app, ["export", str(archive.folder), result.record.id, "-o", str(tmp_path / "out"), "--miniseed", "--parquet"]
    )
    assert shown.exit_code == 0, shown.output
    assert len(list((tmp_path / "out").iterdir())) == 4
    assert "licensed engineers" in shown.output


@pytest.fixture(scope="module")
def pair():
    """A pair of known azimuths and a vertical component; most motion is towards N 30° E."""
    rng = np.random.default_rng(8)
    time = np.arange(3000) * 0.01
    envelope = np.where(time > 8, (time - 8) * np.exp(-0.5 * (time - 8)), 0)
    smooth = np.ones(5) / 5
    along, across, up = (
        envelope * share * np.convolve(rng.normal(size=time.size), smooth, "same") for share in (1.0, 0.05, 0.3)
    )
    c, s = 3**0.5 / 2, 0.5
    waves = {"H1": c * along - s * across, "H2": s * along + c * across, "V": up}
    parts = []
    for name, azimuth, dip in (("H1", 0.0, 0.0), ("H2", 90.0, 0.0), ("V", None, -90.0)):
        samples = np.rint(4e5 * (waves[name] + rng.normal(0, 1e-4, time.size))).astype(np.int32)
        parts.append(Component(name, samples, 0.01, "counts", 4e5, START, azimuth, dip))
    record = Record(parts, Station("FERN", "XX", "00"))
    return process(record, Settings.from_dict({"spectra": {"periods": [0.2, 0.5], "damping": [0.05]}}))


@pytest.mark.parametrize("per_line", [1, 5])
@pytest.mark.parametrize(("unit", "one"), [("m/s2", 1.0), ("g", 9.80665), ("cm/s2", 0.01)])
def test_text_for_analysis_programs_is_read_back_by_its_layout(tmp_path, pair, unit, one, per_line):
    delivery = Delivery(factor=1.75, strike=30.0, unit=unit, per_line=per_line)
    paths = export(pair, tmp_path, ["text"], version="1-abc", state="automatic", delivery=delivery)
    ends = [path.name.removeprefix(pair.record.id) for path in paths]
    assert ends == ["_strike30_scaled_FP.txt", "_strike30_scaled_FN.txt", "_strike30_scaled_V.txt"]
    h1, h2 = (pair.motion[name].unpadded().acceleration for name in ("H1", "H2"))
    # By hand: motion towards 30 degrees, and towards 120.
    c, s = np.cos(np.deg2rad(30.0)), np.sin(np.deg2rad(30.0))
    truth = {"FP": c * h1 + s * h2, "FN": -s * h1 + c * h2, "V": pair.motion["V"].unpadded().acceleration}
    for path, (name, values) in zip(paths, truth.items(), strict=True):
        back = read(path)
        (component,) = back.components
        assert (component.name, component.unit, component.dt, back.start) == (name, unit, 0.01, START)
        assert component.azimuth == {"FP": 30.0, "FN": 120.0, "V": None}[name]
        np.testing.assert_allclose(component.samples * one, 1.75 * values, rtol=1e-12, atol=1e-12)
        said = next(finding for finding in back.findings if finding.name == "already processed")
        assert "scaled by 1.75" in said.what
        assert [f.severity for f in back.findings if f.name == "derived motion"] == ["unfit"]  # it is no record
        lines = path.read_text().splitlines()
        header = [line for line in lines if line.startswith("#")]
        assert header[-1] == f"# {len(header)} lines of header, then numbers"
        assert "# factor: 1.75" in header
        assert "licensed engineers" in header[-2]
        body = lines[len(header) :]
        assert [len(line.split()) for line in body[:-1]] == [per_line] * (len(body) - 1)
        plain = np.array(" ".join(body).split(), float)
        np.testing.assert_array_equal(plain, component.samples)
    assert np.abs(truth["FN"]).max() < 0.1 * np.abs(truth["FP"]).max()  # most motion was towards 30 degrees


def test_without_a_factor_text_holds_the_very_samples(tmp_path, pair):
    for path in export(pair, tmp_path, ["text"]):
        (component,) = read(path).components
        assert component.samples.tobytes() == pair.motion[component.name].unpadded().acceleration.tobytes()


def test_every_form_is_turned_and_scaled_alike(tmp_path, pair):
    delivery = Delivery(factor=2.0, azimuth=120.0, unit="g")
    paths = export(pair, tmp_path, ["csv", "parquet", "miniseed"], delivery=delivery)
    by_end = {path.name.removeprefix(f"{pair.record.id}_az120_scaled"): path for path in paths}
    h1, h2 = (pair.motion[name].unpadded() for name in ("H1", "H2"))
    c, s = np.cos(np.deg2rad(120.0)), np.sin(np.deg2rad(120.0))
    frame = pd.read_parquet(by_end["_motion.parquet"])
    for quantity, one, suffix in (("acceleration", 9.80665, "g"), ("velocity", 1.0, "m_s"), ("displacement", 1.0, "m")):
        wanted = 2.0 * (c * getattr(h1, quantity) + s * getattr(h2, quantity))
        np.testing.assert_allclose(frame[f"H1_{quantity}_{suffix}"] * one, wanted, rtol=1e-11, atol=1e-12)
        shown = pd.read_csv(by_end[f"_{quantity}.csv"], comment="#")
        np.testing.assert_array_equal(shown[f"H1 [{suffix.replace('_', '/')}]"], frame[f"H1_{quantity}_{suffix}"])
    for end in ("_acceleration.csv", "_acceleration.mseed"):
        back = read(by_end[end])
        assert [component.azimuth for component in back][:2] == [120.0, 210.0] or end.endswith("mseed")
        np.testing.assert_array_equal(back["H1"].samples, frame["H1_acceleration_g"])
        assert back["H1"].unit == "g"
        assert any("turned to 120 degrees, scaled by 2.0" in finding.what for finding in back.findings)
    assert "# factor: 2.0" in by_end["_acceleration.csv"].read_text()
    spectra = pd.read_csv(by_end["_spectra.csv"], comment="#")
    assert set(spectra["component"]) == {"V", "RotD00", "RotD50", "RotD100"}
    own = pair.spectra[~pair.spectra["component"].isin(["H1", "H2"])]
    np.testing.assert_allclose(spectra["psa_g"] * 9.80665, 2.0 * own["psa"], rtol=1e-12)
    np.testing.assert_allclose(spectra["psa_low"] * 9.80665, 2.0 * own["psa_low"], rtol=1e-12)
    np.testing.assert_allclose(spectra["sd_m"], 2.0 * own["sd"], rtol=1e-12)


def test_miniseed_holds_a_pair_turned_to_a_fault(tmp_path, pair):
    paths = export(pair, tmp_path, ["miniseed"], delivery=Delivery(strike=30.0))
    back = read(next(path for path in paths if path.name.endswith("_acceleration.mseed")))
    assert len(back) == 3


def test_what_cannot_be_handed_over_is_refused(tmp_path, result, pair):
    with pytest.raises(InputError, match="no pair of horizontals"):
        export(result, tmp_path, delivery=Delivery(azimuth=10.0))
    blind = process(Record.from_arrays({name: pair.motion[name].acceleration for name in ("H1", "H2")}, 0.01))
    with pytest.raises(InputError, match="azimuths of the horizontals are unknown"):
        export(blind, tmp_path, delivery=Delivery(azimuth=10.0))
    for wrong in ({"factor": 0.0}, {"factor": np.nan}, {"azimuth": np.inf}, {"azimuth": 1.0, "strike": 2.0},
                  {"per_line": 0}, {"unit": "counts"}):  # fmt: skip
        with pytest.raises(InputError):
            Delivery(**wrong)
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("record,factor\n", "names no record"),
        ("record,factor\nA,0\n", "line 2: expected a record"),
        ("record,factor\nA,1\nA,2\n", "line 3: expected a record"),
        ("name,by\nA,1\n", "line 2: expected a record"),
    ],
)
def test_a_table_without_factors_is_refused(tmp_path, text, message):
    file = tmp_path / "f.csv"
    file.write_text(text)
    with pytest.raises(InputError, match=message):
        factors_in(file)
    with pytest.raises(InputError, match=r"no such file\. Give the table that `strongmotion select --csv`"):
        factors_in(tmp_path / "absent.csv")


def test_selected_records_are_handed_over_with_their_factors(tmp_path, pair):
    archive = Archive(tmp_path / "archive", create=True)
    archive.add(pair)
    target = tmp_path / "t.csv"
    psa = pair.spectra.query("component == 'RotD50'")["psa"].to_numpy()
    target.write_text(f"period [s],psa [m/s2]\n0.2,{3 * psa[0]}\n0.5,{3 * psa[1]}\n")
    chosen, out = tmp_path / "chosen.csv", tmp_path / "out"
    invoke = CliRunner().invoke
    asked = ["select", str(archive.folder), "--target", str(target), "--range", "0.2", "0.5", "-n", "1"]
    shown = invoke(app, [*asked, "--csv", str(chosen)])
    assert shown.exit_code == 0, shown.output
    shown = invoke(app, ["export", str(archive.folder), "--factors", str(chosen), "-o", str(out), "--text",
                         "--unit", "g", "--azimuth", "45"])  # fmt: skip
    assert shown.exit_code == 0, shown.output
    back = read(next(out.glob("*_az45_scaled_V.txt")))
    np.testing.assert_allclose(
        back["V"].samples * 9.80665, 3 * pair.motion["V"].unpadded().acceleration, rtol=1e-6, atol=1e-9
    )
    for arguments, message in (
        (["OTHER", "--factors", str(chosen)], "OTHER has no factor"),
        ([], "no record is named"),
    ):
        shown = invoke(app, ["export", str(archive.folder), *arguments, "-o", str(out)])
        assert isinstance(shown.exception, InputError)
        assert message in str(shown.exception)
