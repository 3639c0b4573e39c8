"""The archive: what goes in comes out bit for bit, and nothing damaged ever becomes a number."""

from __future__ import annotations

import dataclasses
import errno
import hashlib
import math
import os
import random
import re
import shutil
import stat
import subprocess
import tempfile
from pathlib import Path

import h5py
import numpy as np
import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from strongmotion.archive import Archive, files, gate, read_result, write_catalogue
from strongmotion.chain import Band, Baseline, PermanentDisplacement, Shift, Windows
from strongmotion.foundation.cautions import CAUTION, CAUTIONS
from strongmotion.foundation.errors import ArchiveError, InputError
from strongmotion.foundation.files import write_whole
from strongmotion.motion import Entry, History, Motion
from strongmotion.record import Component, Finding, Record, Source, Station
from strongmotion.result import Result, process
from strongmotion.settings import Settings

START = np.datetime64("2031-03-07T04:15:00.123456789")
STATION = Station("QUAY", "XX", "00", "Harbour quay, Tórvík", 64.5, -21.25, None, "accelerograph")


SHIFT = Shift(0.01, 3.0, 1.0, 0.0, (2.0, 4.0), True, 0.1, 0.02)
CHOSEN = Baseline("band-limited", SHIFT, PermanentDisplacement(0.1, 0.05, 0.2, True))
FLAT_TOPS = Finding(
    "clipping", "doubt", "7 flat tops", "PGA is too low", "use another", "H1", "", (3.2, 4.5), {"samples": 7}, 0.1 + 0.2
)


def make_result(record: Record | None = None, history: History | None = None, seed: int = 1) -> Result:
    """Build a small result by hand: numbers of no meaning, of every kind a result may hold."""
    rng = np.random.default_rng(seed)
    if record is None:
        samples = rng.integers(-9000, 9000, (3, 400), dtype=np.int32)
        record = Record(
            tuple(
                Component(name, row, 0.005, "counts", 4.2e5, START, azimuth, dip, channel)
                for name, row, azimuth, dip, channel in zip(
                    ("H1", "H2", "V"), samples, (12.5, 102.5, None), (0.0, 0.0, -90.0), ("E", "N", "Z"), strict=True
                )
            ),
            STATION,
            Source("quay_03.csv", "ab" * 32, "csv"),
            (Finding("common window", "note", "2 samples were left out", "none", "none", "V"),),
        )
    history = history or History((Entry("filter", "H1", "Kept the band", {"low_cut_hz": 0.1, "passes": 2}),))
    names = record.names
    motion = {
        name: Motion(name, *rng.normal(size=(1, 520)), record.dt, *rng.normal(size=(2, 520)), 60, 60, history)
        for name in names
    }
    combined = (*names, "RotD50") if record.horizontals else names
    periods = np.array([0.0, 0.2, 0.3, 1.0, 3.0])
    tables = []
    for name in combined:
        columns = {quantity: rng.lognormal(size=10) for quantity in ("sd", "psv", "psa", "sv", "sa")}
        if name == "RotD50":
            columns |= {"sv": np.full(10, np.nan), "sa": np.full(10, np.nan)}
        axes = {"component": name, "damping": np.repeat([0.02, 0.05], 5), "period": np.tile(periods, 2)}
        tables.append(pd.DataFrame(axes | columns | {"usable": np.tile(periods < 2, 2)}))
    peaks = [
        (name, quantity, float(rng.lognormal()), unit, math.nan if name == "RotD50" else float(rng.uniform()))
        for name in combined
        for quantity, unit in (("PGA", "m/s2"), ("PGV", "m/s"), ("PGD", "m"))
    ]
    measures = [(name, "Arias intensity", float(rng.lognormal()), "m/s", "Arias (1970)") for name in names]
    return Result(
        record=record,
        settings=Settings.from_dict({"filter": {"low_cut": 0.1 + 0.2}, "spectra": {"damping": [0.02, 0.05]}}),
        motion=motion,
        usable_band={name: Band(0.1, 40.0, 100.0, 0.7) for name in (*names, "horizontal")},
        peaks=pd.DataFrame(peaks, columns=["component", "quantity", "value", "unit", "time"]),
        spectra=pd.concat(tables, ignore_index=True),
        measures=pd.DataFrame(measures, columns=["component", "measure", "value", "unit", "source"]),
        findings=(
            Finding(
                "clipping",
                "doubt",
                "7 flat tops",
                "PGA is too low",
                "use another",
                "H1",
                "",
                (3.2, 4.5),
                {"samples": 7},
                0.1 + 0.2,
            ),
        ),
        windows=Windows(120, 100, (130, 300), 350),
        baseline=dict.fromkeys(names, CHOSEN),
        history=history,
        version="0.1.0",
    )


@pytest.fixture(scope="module")
def result():
    return make_result()


@pytest.fixture
def archive(tmp_path):
    return Archive(tmp_path / "archive", create=True)


def left_in(archive: Archive) -> list[str]:
    return sorted(path.name for path in (archive.folder / "records").iterdir())


# Round trip


def test_a_result_comes_back_bit_for_bit(archive, result):
    path = archive.add(result)
    assert path == archive.path(result.record.id)
    back = archive[result.record.id]
    assert back == result
    for name, motion in result.motion.items():
        assert back.motion[name].displacement.tobytes() == motion.displacement.tobytes()
    assert back.record.raw_sha256 == result.record.raw_sha256
    assert archive.verify() == []


def test_reprocessing_what_was_stored_gives_the_same_bits(archive):
    time = np.arange(3000) * 0.01
    shaking = np.where(time > 10, np.sin(2 * np.pi * time) * np.exp(-0.2 * (time - 10)), 0.0)
    noise = np.random.default_rng(7).normal(0, 1e-4, (3, time.size))
    counts = np.round((noise + np.outer([1.0, 0.7, 0.3], shaking)) * 1e5).astype(np.int32)
    names = ("H1", "H2", "V")
    record = Record(
        tuple(Component(name, row, 0.01, "counts", 1e5, START) for name, row in zip(names, counts, strict=True)),
        STATION,
    )
    made = process(record, Settings.from_dict({"spectra": {"periods": [0.0, 0.2, 1.0], "damping": [0.02, 0.05]}}))
    back = archive[archive.add(made).stem]
    assert back == made
    assert process(back.record, back.settings) == made
    row = archive.catalogue().iloc[0]
    duration = made.measures.query("component == 'H1' and measure == 'significant duration 5-95 %'").value.item()
    assert row.significant_duration_5_95_H1_s == duration
    assert row["psa_1s_RotD50_m_s2"] > 0


def test_it_acts_as_a_collection(archive, result):
    other = make_result(dataclasses.replace(result.record, station=Station("PIER", "XX")))
    for one in (result, other):
        archive.add(one)
    assert list(archive) == archive.ids() == sorted([result.record.id, other.record.id])
    assert len(archive) == 2
    assert result.record.id in archive
    assert "XX.NOWHERE" not in archive


def test_it_is_a_mapping_by_id_or_by_the_beginning_of_one(archive, result):
    other = make_result(dataclasses.replace(result.record, station=Station("PIER", "XX")))
    for one in (result, other):
        archive.add(one)
    assert archive.keys() == list(archive)
    assert [key for key, _ in archive.items()] == list(archive)
    assert [one.record.id for one in archive.values()] == list(archive)
    assert archive["XX.PIER"] == archive.get(other.record.id) == other
    assert archive.get("XX.NOWHERE") is None
    with pytest.raises(KeyError, match=r"there is no record .XX\.NOWHERE"):
        archive["XX.NOWHERE"]
    with pytest.raises(KeyError, match=r"2 records begin with .XX\."):
        archive["XX."]


def test_wide_spectra_leave_unusable_ordinates_empty(result):
    wide = result.spectra_wide()
    long = result.spectra[np.isclose(result.spectra["damping"], 0.05)]
    for row in long[long["component"] == "H1"].itertuples():
        value = wide.loc[row.period, "H1"]
        assert value == row.psa if row.usable else np.isnan(value)
    with pytest.raises(InputError, match=r"no spectra of damping 0\.37"):
        result.spectra_wide(damping=0.37)
    with pytest.raises(InputError, match="unknown quantity"):
        result.spectra_wide("pga")


def test_the_same_result_gives_the_same_file(archive, result):
    first = archive.add(result).read_bytes()
    assert files.packed(result) == first
    assert archive.add(result).read_bytes() == first
    assert len(archive.versions(result.record.id)) == 1


@pytest.mark.parametrize("unit", ["m/s2", "cm/s2", "g"])
def test_units_of_samples_come_back(archive, unit):
    record = Record((Component("H1", np.array([0.5, -1.5, 2.5], ">f4"), 0.02, unit),))
    assert archive[archive.add(make_result(record)).stem].record == record


texts = st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\0"), max_size=12)
floats = st.floats(allow_nan=False)
optional_angles = st.none() | st.floats(-90, 90)


@st.composite
def records(draw) -> Record:
    kind = draw(st.sampled_from(["<i2", ">i2", "<i4", ">i4", "<i8", "u1", "<u4", "<f4", ">f4", "<f8", ">f8"]))
    n = draw(st.integers(2, 40))
    finite = {"allow_nan": False, "allow_infinity": False} if "f" in kind else None
    start = draw(st.none() | st.integers(0, 4 * 10**18).map(lambda ns: np.datetime64(ns, "ns")))
    dt = draw(st.floats(1e-4, 1.0))
    components = tuple(
        Component(
            name,
            draw(hnp.arrays(kind, n, elements=finite)),
            dt,
            draw(st.sampled_from(["counts", "m/s2", "cm/s2", "g"])),
            draw(st.none() | st.floats(1e-3, 1e9)),
            start,
            draw(optional_angles),
            draw(optional_angles),
            draw(texts),
        )
        for name in draw(st.sampled_from([("H1",), ("H1", "H2"), ("V", "H2", "H1")]))
    )  # fmt: skip
    station = Station(
        draw(texts), draw(texts), draw(texts), draw(texts), draw(optional_angles), draw(optional_angles),
        draw(st.none() | floats), draw(texts),
    )  # fmt: skip
    return Record(components, station, Source(draw(texts), draw(texts), draw(texts)))


values = st.dictionaries(st.text(max_size=8), st.none() | st.booleans() | st.integers() | floats | st.text(max_size=8))
histories = st.lists(st.builds(Entry, st.text(max_size=8), st.text(max_size=8), st.text(max_size=8), values))


@settings(deadline=None, max_examples=40, suppress_health_check=[HealthCheck.too_slow])
@given(record=records(), entries=histories)
def test_any_record_comes_back_bit_for_bit(record, entries):
    made = make_result(record, History(tuple(entries)) if entries else None)
    with tempfile.TemporaryDirectory() as folder:
        archive = Archive(folder, create=True)
        back = read_result(archive.add(made))
        assert archive.verify() == []
    assert back == made
    assert [c.samples.dtype.str for c in back.record] == [c.samples.dtype.str for c in record]


def test_numbers_that_are_not_finite_come_back(archive):
    made = make_result(history=History((Entry("corners", "", "None was found", {"a": math.inf, "b": math.nan}),)))
    (entry,) = archive[archive.add(made).stem].history
    assert entry.values["a"] == math.inf
    assert math.isnan(entry.values["b"])


def test_text_that_hdf5_cannot_hold_is_refused(archive, result):
    record = dataclasses.replace(result.record, station=Station("QUAY", name="a\0b"))
    with pytest.raises(ArchiveError, match="cannot be stored"):
        archive.add(make_result(record))
    assert left_in(archive) == []


def test_spectra_that_are_no_grid_are_refused(archive, result):
    ragged = dataclasses.replace(result, spectra=result.spectra.drop(index=3))
    with pytest.raises(ArchiveError, match=rf"^{result.record.id}: .* full grid"):
        archive.add(ragged)


def test_motions_on_different_time_bases_are_refused(archive, result):
    ragged = result.motion | {"V": result.motion["V"].unpadded()}
    with pytest.raises(ArchiveError, match="one time base"):
        archive.add(dataclasses.replace(result, motion=ragged))


def test_columns_of_any_name_and_kind_come_back(archive, result):
    rows = len(result.measures)
    more = {
        "verdict": ["weak", None, ""][:rows],
        "worth_it": [True, False, True][:rows],
        "row": np.arange(rows),
        "Δ / 2 (per cycle)": np.array([0.5, np.nan, -0.0][:rows], dtype=np.float32),
        "counted": np.arange(rows, dtype=np.uint16),
        "band_low": np.full(rows, np.nan),
    }
    measures = pd.concat([result.measures, pd.DataFrame(more)], axis=1)
    measures.attrs["units"] = {"Δ / 2 (per cycle)": "cm/s2", "counted": "counts"}
    spectra = result.spectra.assign(
        psa_low=result.spectra.psa * 0.9, row=1.5, note="as is", sure=result.spectra.psa > 1
    )
    spectra.attrs["units"] = {"row": "m/s", "period": "s"}
    peaks = result.peaks.assign(band_high=result.peaks.value * 1.1, unit=result.peaks.unit)
    made = dataclasses.replace(result, measures=measures, spectra=spectra, peaks=peaks)
    path = archive.add(made)
    back = archive[result.record.id]
    assert back == made
    for name in ("measures", "spectra", "peaks"):
        assert getattr(back, name).attrs == getattr(made, name).attrs
        pd.testing.assert_frame_equal(getattr(back, name), getattr(made, name))
    assert archive.verify() == []
    with h5py.File(path) as file:
        assert file["spectra/psa_low"].attrs["units"] == "m s-2"
        assert file["spectra/row"].attrs["units"] == "m s-1"
        odd = file[f"measures/column {measures.columns.get_loc('Δ / 2 (per cycle)')}"]
        assert (odd.attrs["long_name"], odd.attrs["units"]) == ("Δ / 2 (per cycle)", "cm s-2")


numbers_of_columns = st.sampled_from(["f8", "f4", "i8", "i2", "u1", "?", "text"])


@settings(deadline=None, max_examples=40, suppress_health_check=[HealthCheck.too_slow])
@given(data=st.data())
def test_any_table_comes_back(data):
    made = make_result()
    rows = len(made.peaks)
    names = data.draw(st.lists(texts.filter(lambda name: name not in made.peaks), unique=True, max_size=4))
    columns = {}
    for name in names:
        kind = data.draw(numbers_of_columns)
        entries = st.lists(st.none() | texts, min_size=rows, max_size=rows)
        columns[name] = data.draw(entries) if kind == "text" else data.draw(hnp.arrays(kind, rows))
    # A column that is all missing has no kind; the text kind of pandas is said outright.
    frame = pd.DataFrame({name: pd.Series(v, dtype="str") if isinstance(v, list) else v for name, v in columns.items()})
    made = dataclasses.replace(made, peaks=pd.concat([made.peaks, frame], axis=1))
    with tempfile.TemporaryDirectory() as folder:
        archive = Archive(folder, create=True)
        archive.add(made)
        assert archive[made.record.id] == made


def test_what_no_column_can_hold_is_refused(archive, result):
    for odd in ([b"bytes"], [3.5, "three"], [pd.Timestamp("2031-03-07")]):
        column = pd.Series((odd * len(result.peaks))[: len(result.peaks)])
        with pytest.raises(ArchiveError, match="column odd holds"):
            archive.add(dataclasses.replace(result, peaks=result.peaks.assign(odd=column)))
    with pytest.raises(ArchiveError, match="a text of its own as name"):
        archive.add(dataclasses.replace(result, peaks=result.peaks.assign(**{"odd": 1}).rename(columns={"odd": 7})))


def earlier_archive(folder, record, *files):
    """Return an archive as earlier software left it: record files, and neither versions nor manifest."""
    (folder / "records").mkdir(parents=True)
    for number, file in enumerate(files):
        shutil.copy(file, folder / "records" / f"{record}{number or ''}.h5")
    return Archive(folder)


def test_the_first_layout_still_opens(tmp_path):
    """The file was written by version 0.1.0, when layouts began."""
    path = Path(__file__).parent / "archives" / "layout_1.h5"
    back = read_result(path)
    with h5py.File(path) as file:
        assert file.attrs["layout_version"] == 1
        assert back.record.raw_sha256 == file.attrs["raw_sha256"]
        np.testing.assert_array_equal(back.peaks.value, file["peaks/value"][:])
        np.testing.assert_array_equal(back.spectra.psa, file["spectra/psa"][:].ravel())
    assert list(back.peaks.columns) == ["component", "quantity", "value", "unit", "time"]
    assert back.settings.filter.low_cut == 0.1 + 0.2
    archive = earlier_archive(tmp_path, "XX.QUAY.00_20310307T041500", path)
    assert archive.verify() == []
    peak = back.peaks.set_index(["component", "quantity"]).value["H1", "PGA"]
    assert archive.find("station == 'QUAY'").pga_H1_m_s2.item() == peak
    assert (back.usable_band["V"], back.findings[0].name) == (Band(0.1, 40.0, 100.0, 0.7), "clipping")


# Other people's readers


@pytest.mark.parametrize(("engine", "package"), [("netcdf4", "netCDF4"), ("h5netcdf", "h5netcdf")])
@pytest.mark.parametrize("group", ["raw", "motion", "spectra", "peaks", "measures", "usable_band"])
def test_xarray_reads_labelled_arrays(archive, result, group, engine, package):
    xarray = pytest.importorskip("xarray")
    pytest.importorskip(package)
    path = archive.add(result)
    with xarray.open_dataset(path, engine=engine) as whole:
        assert whole.attrs["record"] == result.record.id
        assert whole.attrs["layout_version"] == 3
        assert tuple(whole.attrs["cautions"]) == CAUTIONS
    with xarray.open_dataset(path, group=group, engine=engine) as data:
        data.load()
    if group == "raw":
        np.testing.assert_array_equal(data["H1"], result.record["H1"].samples)
        assert data["H1"].dims == ("time",)
    if group == "motion":
        np.testing.assert_array_equal(data["velocity_H2"], result.motion["H2"].velocity)
        np.testing.assert_array_equal(data["time"], result.motion["H2"].time)
        assert data["acceleration_H1"].units == "m s-2"
    if group == "spectra":
        psa = data["psa"].sel(component="H2", damping=0.05, period=0.3)
        row = result.spectra.query("component == 'H2' and damping == 0.05 and period == 0.3")
        assert float(psa) == row.psa.item()
        assert data["usable"].dtype == bool
    if group in ("peaks", "measures"):
        np.testing.assert_array_equal(data["value"], getattr(result, group).value)


def printed_by(tool, *words):
    """Return what a tool of Debian's hdf5-tools or netcdf-bin prints."""
    place = shutil.which(tool)
    if place is None:
        pytest.skip(f"{tool} is not installed")
    return subprocess.run([place, *map(str, words)], capture_output=True, text=True, check=True).stdout


def test_h5dump_reads_every_dataset(archive, result):
    path = archive.add(result)
    shown = printed_by("h5dump", "-d", "/raw/H1", "-w", "1", path)
    samples = re.findall(r"^ *\(\d+\): (-?\d+)", shown, re.MULTILINE)[: result.record.samples]
    np.testing.assert_array_equal(np.array(samples, int), result.record["H1"].samples)
    assert result.settings.to_toml().splitlines()[0] in printed_by("h5dump", "-d", "/settings", path)
    names: list[str] = []
    with h5py.File(path) as file:
        file.visititems(lambda name, item: names.append(name) if isinstance(item, h5py.Dataset) else None)
    whole = printed_by("h5dump", path)  # it stops with an error at what it cannot read
    assert whole.count("DATASET") >= len(names) > 40


def test_ncdump_reads_every_group(archive, result):
    path = archive.add(result)
    whole = printed_by("ncdump", "-p", "9,17", path)
    for group in ("raw", "motion", "spectra", "peaks", "measures", "usable_band"):
        assert f"group: {group} {{" in whole
    shown = printed_by("ncdump", "-p", "9,17", "-v", "/spectra/psa", path)
    values = re.search(r"\n +psa =([^;]*);", shown)[1].split(",")
    np.testing.assert_array_equal(np.array(values, float), result.spectra.psa)
    assert 'psa:units = "m s-2"' in shown


def test_every_number_names_itself(archive, result):
    bare = []

    def look(name: str, item: object) -> None:
        if isinstance(item, h5py.Dataset):
            named = "long_name" in item.attrs
            measured = item.dtype.kind == "O" or "units" in item.attrs or name in ("peaks/value", "measures/value")
            if not (named and measured):
                bare.append(name)

    with h5py.File(archive.add(result)) as file:
        file.visititems(look)
    assert bare == []


def test_every_dataset_of_numbers_has_checksums(archive, result):
    bare = []

    def look(name: str, item: object) -> None:
        if isinstance(item, h5py.Dataset) and item.dtype.kind in "iuf" and not item.fletcher32:
            bare.append(name)

    with h5py.File(archive.add(result)) as file:
        file.visititems(look)
    assert bare == []


# Writing: whole or not at all


def test_another_result_is_a_version_and_nothing_is_overwritten(archive, result):
    path = archive.add(result)
    before = path.read_bytes()
    other = make_result(result.record, seed=2)
    second = archive.add(other)
    assert path.read_bytes() == before
    assert archive[result.record.id] == other
    assert (archive[result.record.id, 1], archive[result.record.id, 2]) == (result, other)
    assert left_in(archive) == sorted([path.name, second.name])


@pytest.mark.parametrize("links", [True, False])
def test_of_two_writers_one_is_refused(archive, monkeypatch, links):
    path = archive.records / "XX.QUAY.h5"
    if not links:
        monkeypatch.setattr(os, "link", lambda *_: (_ for _ in ()).throw(OSError(errno.EPERM, "no hard links")))
    write_whole(path, b"first", replace=False)
    with pytest.raises(FileExistsError, match=r"XX\.QUAY"):
        write_whole(path, b"second", replace=False)
    assert path.read_bytes() == b"first"
    assert left_in(archive) == [path.name]


@pytest.mark.skipif(os.name == "nt", reason="Windows has no handle on a folder to flush")
def test_a_file_is_on_disk_before_it_has_its_name_and_the_name_after(archive, monkeypatch):
    path = archive.records / "XX.QUAY.h5"
    flushed = []
    fsync = os.fsync

    def watched(descriptor: int) -> None:
        kind = "folder" if stat.S_ISDIR(os.fstat(descriptor).st_mode) else "file"
        flushed.append((kind, path.exists()))
        fsync(descriptor)

    monkeypatch.setattr(os, "fsync", watched)
    write_whole(path, b"whole", replace=False)
    assert flushed == [("file", False), ("folder", True)]


@pytest.mark.parametrize("call", ["write", "fsync"])
@pytest.mark.parametrize("known", [True, False])
def test_a_full_disk_leaves_everything_as_it_was(archive, result, monkeypatch, call, known):
    earlier = archive.add(result)
    before = earlier.read_bytes()
    record = result.record if known else dataclasses.replace(result.record, station=Station("PIER", "XX"))
    monkeypatch.setattr(os, call, lambda *_: (_ for _ in ()).throw(OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))))
    with pytest.raises(ArchiveError, match=r"could not be written: No space left.* Make room"):
        archive.add(make_result(record, seed=2))
    monkeypatch.undo()
    assert left_in(archive) == [earlier.name]
    assert earlier.read_bytes() == before


def test_a_write_stopped_by_the_system_leaves_everything_as_it_was(archive, result):
    resource = pytest.importorskip("resource")
    earlier = archive.add(result)
    before = earlier.read_bytes()
    limits = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (len(before) // 2, limits[1]))  # Python ignores the signal, SIGXFSZ
    try:
        with pytest.raises(ArchiveError, match=r"File too large.* Make room"):
            archive.add(make_result(result.record, seed=2))
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, limits)
    assert left_in(archive) == [earlier.name]
    assert earlier.read_bytes() == before


def test_a_folder_without_permission_is_an_error(archive, result, monkeypatch):
    # The refusal is put in by hand: a test run by root may write anywhere.
    monkeypatch.setattr(os, "open", lambda *_: (_ for _ in ()).throw(OSError(errno.EACCES, os.strerror(errno.EACCES))))
    with pytest.raises(ArchiveError, match=r"Permission denied.* permissions"):
        archive.add(result)
    monkeypatch.undo()
    assert left_in(archive) == []


def test_a_folder_that_is_no_archive_is_an_error(tmp_path):
    with pytest.raises(ArchiveError, match="no archive here"):
        Archive(tmp_path / "absent", create=False)
    assert not (tmp_path / "absent").exists()
    (tmp_path / "file").touch()
    with pytest.raises(ArchiveError, match="cannot be made"):
        Archive(tmp_path / "file", create=True)


@pytest.mark.parametrize("strange", ["../secret", "/etc/passwd", "", ".hidden", "a/b", "a\\b", "a\0b", ".."])
def test_ids_cannot_lead_out_of_the_archive(archive, strange):
    assert strange not in archive
    with pytest.raises(ArchiveError, match="is not a record id"):
        archive[strange]


def test_an_absent_record_is_an_error_that_guesses(archive, result):
    archive.add(result)
    with pytest.raises(ArchiveError, match=rf"no record .*perhaps '{result.record.id}'"):
        archive[result.record.id[:-1] + "x"]


# Reading: damage


def test_any_flipped_bit_is_found(archive, result):
    path = archive.add(result)
    whole = path.read_bytes()
    rng = random.Random(5)
    ends = [0, 1, 7, 8, 9, len(whole) - 1, len(whole) - 40, len(whole) - 92]
    for offset in ends + rng.sample(range(len(whole)), 80):
        damaged = bytearray(whole)
        damaged[offset] ^= 1 << rng.randrange(8)
        path.write_bytes(damaged)
        (problem,) = archive.verify()
        assert problem.file == path
        with pytest.raises(ArchiveError, match=path.name):
            archive[path.stem]
    path.write_bytes(whole)
    assert archive.verify() == []


def test_the_seal_finds_every_flipped_bit(archive, result, monkeypatch):
    # What the damage is called is for the test above; here only whether it is seen, at thousands of places.
    monkeypatch.setattr(files, "diagnosed", lambda content, error: error)
    path = archive.add(result)
    whole = bytearray(path.read_bytes())
    rng = random.Random(6)
    for bit in rng.sample(range(8 * len(whole)), 2500):
        whole[bit // 8] ^= 1 << bit % 8
        path.write_bytes(whole)
        whole[bit // 8] ^= 1 << bit % 8
        with pytest.raises(ArchiveError):
            files.read_bytes(path)


@pytest.mark.parametrize("kept", [0, 7, 100, 0.5, -1, -91])
def test_a_file_cut_off_is_found(archive, result, kept):
    path = archive.add(result)
    whole = path.read_bytes()
    path.write_bytes(whole[: round(kept * len(whole))] if isinstance(kept, float) else whole[:kept])
    assert [problem.file for problem in archive.verify()] == [path]


@pytest.mark.parametrize("name", ["raw/H1", "motion/velocity_V", "spectra/psa", "peaks/unit", "history"])
def test_a_missing_dataset_is_named(archive, result, name):
    path = archive.add(result)
    with h5py.File(path, "r+") as file:
        del file[name]
    (problem,) = archive.verify()
    assert problem.file == path
    assert f"/{name} is missing" in problem.what


@pytest.mark.parametrize("name", ["raw/H1", "motion/velocity_V", "spectra/psa", "peaks/value"])
def test_a_damaged_dataset_is_named(archive, result, name):
    path = archive.add(result)
    with h5py.File(path) as file:
        place = file[name].id.get_chunk_info(0)
    damaged = bytearray(path.read_bytes())
    damaged[place.byte_offset + place.size // 2] ^= 0x10
    path.write_bytes(damaged)
    (problem,) = archive.verify()
    assert f"/{name} is damaged" in problem.what


def test_damage_by_another_program_is_found_even_where_nothing_is_missing(archive, result):
    path = archive.add(result)
    with h5py.File(path, "r+") as file:
        file["raw/H1"][7] += 1
    (problem,) = archive.verify()
    assert "raw samples are not those that were stored" in problem.what
    path = archive.add(make_result(result.record, seed=2))
    with h5py.File(path, "r+") as file:
        file["spectra/psa"][0, 0, 0] += 1
    _, problem = archive.verify()
    assert "seal" in problem.what


def test_foreign_files_are_named(archive, result):
    path = archive.add(result)
    folder = path.parent
    (folder / "notes.txt").write_text("call the harbour master")
    (folder / "notes.h5").write_text("call the harbour master")
    with h5py.File(folder / "other.h5", "w") as file:
        file["x"] = [1, 2]
    left = folder / f".{path.name}.0a1b.part"
    left.write_bytes(path.read_bytes()[:100])
    os.utime(left, (0, 0))
    shutil.copy(path, folder / path.name.replace("QUAY", "PIER"))
    shutil.copy(path, folder / "XX.RENAMED.h5")
    said = {problem.file.name: problem.what for problem in archive.verify()}
    assert set(said) == set(left_in(archive)) - {path.name}
    assert "does not belong" in said["notes.txt"]
    assert "is sound; it is not in the manifest" in said[path.name.replace("QUAY", "PIER")]
    assert "not an HDF5 file" in said["notes.h5"]
    assert "not a record of an archive" in said["other.h5"]
    assert "did not finish" in said[f".{path.name}.0a1b.part"]
    assert f"holds record {result.record.id}" in said["XX.RENAMED.h5"]


def test_a_newer_layout_is_refused(archive, result):
    path = archive.add(result)
    with h5py.File(path, "r+") as file:
        file.attrs["layout_version"] = 4
    with pytest.raises(ArchiveError, match=rf"{path.name}: has layout 4, .* up to 3\. Read it with a newer"):
        archive[path.stem]


def test_settings_of_another_version_are_not_called_damage(archive, result):
    path = archive.add(result)
    with h5py.File(path, "r+") as file:
        del file["settings"]
        file["settings"] = "[filter]\nshape = 3\n"
    with pytest.raises(ArchiveError, match=r"does not accept: unknown setting 'filter\.shape'"):
        archive[path.stem]


def test_the_seal_is_what_a_shell_would_compute(archive, result):
    content = archive.add(result).read_bytes()
    body, seal = content[: -gate.SEAL_LENGTH], content[-gate.SEAL_LENGTH :]
    assert seal.split()[-1].decode() == hashlib.sha256(body).hexdigest()


# Catalogue


def test_the_catalogue_has_a_row_a_record(archive, result):
    archive.add(result)
    lone = Record((Component("H1", np.array([1, 2, 3]), 0.01, "g"),), Station("PIER"))
    archive.add(make_result(lone))
    frame = archive.catalogue()
    assert list(frame.record) == archive.ids()
    row = frame.set_index("record").loc[result.record.id]
    peak = result.peaks.set_index(["component", "quantity"]).value
    assert row.pga_H1_m_s2 == peak["H1", "PGA"]
    assert row.pgv_RotD50_m_s == peak["RotD50", "PGV"]
    spectra = result.spectra.query("component == 'RotD50' and damping == 0.05").set_index("period")
    assert row["psa_0.3s_RotD50_m_s2"] == spectra.psa[0.3]
    assert row.arias_intensity_V_m_s == result.measures.set_index("component").value["V"]
    assert row.start == pd.Timestamp(START, tz="UTC")
    assert (row.latitude_deg, row.longitude_deg) == (64.5, -21.25)
    assert row.longest_usable_period_s == pytest.approx(7.0)
    assert (row.worst_finding, row.findings) == ("doubt", 1)
    assert Path(row.path) == archive.path(result.record.id)
    other = frame.set_index("record").loc[lone.id]
    assert math.isnan(other.pga_V_m_s2)
    assert frame.attrs["caution"] == CAUTION
    assert frame.attrs["problems"] == []


def test_the_catalogue_speaks_other_units(archive, result):
    archive.add(result)
    metres = archive.catalogue().iloc[0]
    gravities = archive.catalogue(unit="g").iloc[0]
    centimetres = archive.catalogue(unit="gal").iloc[0]
    # g is 9.80665 m/s² exactly: ISO 80000-3.
    assert gravities.pga_H1_g == pytest.approx(metres.pga_H1_m_s2 / 9.80665, rel=1e-15)
    assert centimetres["psa_1s_RotD50_cm_s2"] == pytest.approx(100 * metres["psa_1s_RotD50_m_s2"], rel=1e-15)
    assert gravities.pgv_H1_m_s == metres.pgv_H1_m_s


def test_an_unreadable_file_does_not_stop_the_catalogue(archive, result):
    path = archive.add(result)
    (path.parent / "broken.v1-0a1b2c3d.h5").write_bytes(path.read_bytes()[:300])
    frame = archive.catalogue()
    assert list(frame.record) == [result.record.id]
    (problem,) = frame.attrs["problems"]
    assert "broken.v1-0a1b2c3d.h5" in problem


def test_an_empty_archive_has_an_empty_catalogue(archive):
    frame = archive.catalogue()
    assert len(frame) == 0
    assert "longest_usable_period_s" in frame
    assert frame.attrs["caution"] == CAUTION


def test_a_written_catalogue_carries_its_caution(archive, result, tmp_path):
    archive.add(result)
    frame = archive.catalogue()
    write_catalogue(frame, csv=tmp_path / "c.csv")
    back = pd.read_csv(tmp_path / "c.csv", parse_dates=["start"])
    assert back.caution.tolist() == [CAUTION]
    assert list(back) == [*frame, "caution"]
    assert back.pga_H1_m_s2[0] == frame.pga_H1_m_s2[0]
    pytest.importorskip("pyarrow")
    write_catalogue(frame, parquet=tmp_path / "c.parquet")
    back = pd.read_parquet(tmp_path / "c.parquet")
    pd.testing.assert_frame_equal(back, frame)
    assert back.attrs["caution"] == CAUTION
