"""Files that each hold a component, joined into one record: every true one, and none that is not."""

from __future__ import annotations

import shutil
import signal
import tempfile
from dataclasses import replace
from functools import cache
from hashlib import sha256
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from typer.testing import CliRunner

import strongmotion
from strongmotion import Archive, Component, Record, Settings, Station, batch
from strongmotion.cli import app
from strongmotion.formats import read_joined
from strongmotion.formats.joining import Part, gathered

QUICK = Settings.from_dict({"spectra": {"periods": [0.0, 0.3, 1.0]}, "uncertainty": {"bands": False}})
START = np.datetime64("2031-04-17T03:26:27", "ns")
DIRECTIONS = {"N": ("H1", 0.0, 0.0), "E": ("H2", 90.0, 0.0), "Z": ("V", None, -90.0)}


@cache
def component(letter, size=600, *, start=START, dt=0.01, unit="cm/s2", seed=0):
    name, azimuth, dip = DIRECTIONS[letter]
    time = np.arange(size) * dt
    rng = np.random.default_rng([seed, ord(letter)])
    shaking = 80 * np.sin(15 * time + ord(letter)) * np.exp(-((time - 3) ** 2)) + rng.normal(0, 0.05, size)
    return Component(name, np.round(shaking, 3), dt, unit, start=start, azimuth=azimuth, dip=dip)


QUAY = Station("QUAY", "XX", "00")


def save(folder, name, one, station=QUAY):
    """Write a component as CSV: `write_csv` would flush each of thousands of files to the disk."""
    keys = {
        "station": station.code, "network": station.network, "location": station.location, "dt_s": repr(one.dt),
        "start": "" if one.start is None else f"{one.start}Z", f"azimuth_{one.name}": str(one.azimuth or ""),
        f"dip_{one.name}": str(one.dip or ""),
    }  # fmt: skip
    head = "".join(f"# {key}: {value}\n" for key, value in keys.items() if value)
    path = folder / name
    path.write_text(f"{head}{one.name} [{one.unit}]\n" + "".join(f"{value!r}\n" for value in one.samples.tolist()))
    return path


def triple(folder, **how):
    return [save(folder, f"quay.{letter}.csv", component(letter, **how)) for letter in "ENZ"]


def names(groups):
    return [tuple(part.name for part in group.parts) for group in groups if len(group.parts) > 1]


def part(letter, name="", **changes):
    """Return what a file says that gives a component of a record of 6 s at QUAY."""
    known = Part.of(Record((component(letter),), Station("QUAY", "XX", "00")), Path(name or f"quay.{letter}.csv"), 0)
    return replace(known, name=known.file.name, **changes)


def nameless(letter, name, **changes):
    """Return what a file says that states nothing but its numbers, interval and unit."""
    one = Component("C1", np.zeros(600), 0.01, "g")
    return replace(Part.of(Record((one,)), Path(name), 0), name=Path(name).name, **changes)


def test_three_files_are_one_record_with_every_source_and_its_hash(tmp_path):
    paths = triple(tmp_path)
    (record,), _, apart = read_joined(paths)
    assert not apart
    assert record.names == ("H1", "H2", "V")
    assert record.station == Station("QUAY", "XX", "00")
    for source, letter in zip((record.source, *record.joined), "NEZ", strict=True):
        path = tmp_path / f"quay.{letter}.csv"
        assert (source.file, source.sha256) == (path.name, sha256(path.read_bytes()).hexdigest())
        assert source.components == (DIRECTIONS[letter][0],)
        assert record[DIRECTIONS[letter][0]].samples.tolist() == component(letter).samples.tolist()


def test_what_was_found_in_a_file_is_said_of_its_component(tmp_path):
    paths = triple(tmp_path)
    paths[0].write_bytes(paths[0].read_bytes().rstrip())
    (record,), *_ = read_joined(paths)
    assert [(finding.name, finding.component) for finding in record.findings] == [("last line not ended", "H2")]


def test_a_part_of_a_joined_record_is_a_part_of_each_file(tmp_path):
    (record,), *_ = read_joined(triple(tmp_path))
    cut = record.window(1.0, 3.0)
    assert {(source.first_sample, source.file_samples) for source in (cut.source, *cut.joined)} == {(100, 600)}
    assert [source.components for source in (cut.source, *cut.joined)] == [("H1",), ("H2",), ("V",)]


@pytest.mark.parametrize(
    ("changes", "quantity", "words"),
    [
        ({"start": START + np.timedelta64(10, "ms")}, "start", "starts differ by 0.01 s (quay.N.csv and quay.E.csv)"),
        ({"samples": 601}, "samples", "lengths differ: 600 and 601 samples"),
        ({"dt": 0.005}, "dt", "sampling intervals differ: 0.01 and 0.005 s"),
        ({"units": ("g",)}, "unit", "units differ: cm/s2 and g"),
        ({"station": Station("QUAY", "YY", "00")}, "network", "network differs: 'XX' and 'YY'"),
        ({"station": Station("QUAY", "XX", "10")}, "location", "location differs: '00' and '10'"),
        ({"station": Station("QUAY", "XX")}, "location", "location differs: '00' and not stated"),
        ({"station": Station("QUAY", "XX", "00", instrument="KX")}, "instrument", "instrument differs"),
        ({"station": Station("QUAY", "XX", "00", latitude=45.5)}, "latitude", "latitude differs: not stated and 45.5"),
        ({"processed": (("processed", 1.0),)}, "processed", "their earlier processing differs"),
    ],
)
def test_what_prevents_joining_is_said(changes, quantity, words):
    one = part("N")
    two = part("E", **changes)
    groups, (apart,) = gathered([one, two])
    assert not names(groups)
    assert apart.quantity == quantity
    assert words in apart.what
    assert set(apart.files) == {one.file, two.file}
    assert apart.remedy


def ways(part_, **changes):
    return replace(part_, ways=tuple(way._replace(**changes) for way in part_.ways))


@pytest.mark.parametrize(
    ("parts", "quantity"),
    [
        ([part("N"), part("E"), part("Z"), part("E", "copy of quay.E.csv")], "component"),
        ([part("N"), ways(part("E"), azimuth=60.0)], "direction"),
        ([part("N"), part("E"), ways(part("Z"), name="X3", azimuth=45.0, dip=0.0)], "direction"),
        ([part("Z"), part("N"), ways(part("E"), name="down", azimuth=None, dip=90.0)], "direction"),
        ([part("N"), ways(part("E"), name="ch07", azimuth=None, dip=None)], "component"),
        ([part("N"), part("E"), part("Z"), ways(part("E", "q.X.csv"), name="X", azimuth=None)], "component"),
        ([part("N", "quay1_N.csv"), part("E", "quay2_E.csv")], "name"),
        ([part("N", "all.ms"), replace(part("E", "all.ms"), number=1)], "name"),
    ],
)  # fmt: skip
def test_what_contradicts_itself_stays_apart(parts, quantity):
    groups, (apart,) = gathered(parts)
    assert not names(groups)
    assert len(groups) == len(parts)
    assert apart.quantity == quantity


@pytest.mark.parametrize("off", [-5.0, 4.9])
def test_horizontals_within_five_degrees_of_right_angles_are_joined(off):
    assert names(gathered([part("N"), ways(part("E"), azimuth=90 + off)])[0])


@pytest.mark.parametrize(
    "files",
    [
        ("quay_NS.txt", "quay_EW.txt", "quay_UD.txt"),
        ("quayN.txt", "quayE.txt", "quayZ.txt"),
        ("0417.HNN.gz", "0417.HNE.gz", "0417.HNZ.gz"),
        ("a-H1-7.dat", "a-H2-7.dat", "a-V-7.dat"),
        ("ev.EW1", "ev.NS1", "ev.UD1"),
        ("x long.txt", "x tran.txt", "x vert.txt"),
        ("q_R.txt", "q_T.txt", "q_Z.txt"),
        ("q_X.txt", "q_Y.txt", "q_Z.txt"),
    ],
)
def test_three_names_that_differ_in_the_component_alone_are_one_record(files):
    others = [nameless("", name.replace(name[0], "other", 1)) for name in files[:2]]
    groups, _ = gathered([*(nameless("", name) for name in files), *others])
    assert names(groups) == [files]
    (group,) = (group for group in groups if len(group.parts) > 1)
    assert group.by_names
    assert [way.name for way in group.ways][2] == "V"


@pytest.mark.parametrize(
    "files",
    [
        ("pier_N.txt", "pier_E.txt"),  # the piers in the north and in the east
        ("pier_N.txt", "pier_E.txt", "pier_S.txt", "pier_W.txt"),
        ("quay_1.txt", "quay_2.txt", "quay_3.txt"),  # three earthquakes
        ("quay_N.txt", "quay_EW.txt", "hill_UD.txt"),
        ("quay_N.txt", "quay_NS.txt", "quay_E.txt", "quay_Z.txt"),
        ("quay_H1.txt", "quay_E.txt", "quay_Z.txt"),
        ("N_E.txt", "N_N.txt", "N_Z.txt", "E_E.txt", "Z_E.txt"),  # two readings of N_E
        ("a/quay_N.txt", "b/quay_E.txt", "a/quay_Z.txt"),
    ],
)
def test_other_names_are_no_evidence(files):
    groups, apart = gathered([nameless("", name) for name in files])
    assert not names(groups)
    assert all(one.what for one in apart)


def test_names_do_not_overrule_what_files_state():
    files = ("quay_N.txt", "quay_E.txt", "quay_Z.txt")
    for changes in ({"samples": 601}, {"start": START}, {"station": Station("QUAY")}):
        groups, (apart,) = gathered([*(nameless("", name) for name in files[:2]), nameless("", files[2], **changes)])
        assert not names(groups)
        assert apart.quantity in ("samples", "start", "code")
    swapped = [replace(part(letter, name), start=None) for letter, name in zip("ENZ", files, strict=True)]
    assert not names(gathered(swapped)[0])
    stated = [replace(part(letter, name), start=None) for letter, name in zip("NEZ", files, strict=True)]
    assert names(gathered(stated)[0]) == [files]


def test_joining_by_names_is_said_in_the_record(tmp_path):
    rng = np.random.default_rng(3)
    for token in ("NS", "EW", "UD"):
        rows = "".join(f"{value:.5f}\n" for value in rng.normal(0, 0.1, 60))
        (tmp_path / f"quay_{token}.txt").write_text(rows)
    (record,), *_ = read_joined(sorted(tmp_path.iterdir()), dt=0.01, unit="g")
    assert record.names == ("H1", "H2", "V")
    assert (record["H1"].azimuth, record["H2"].azimuth, record["V"].dip) == (0.0, 90.0, -90.0)
    assert record["H1"].channel == "NS"
    assert record.id.startswith("quay_")
    (said,) = (finding for finding in record.findings if finding.name == "joined by file names")
    assert "H1 of quay_NS.txt, H2 of quay_EW.txt, V of quay_UD.txt" in said.what


def test_names_given_to_components_are_those_of_the_joined_record(tmp_path):
    for letter, name in zip("NEZ", ("X", "Y", "V"), strict=True):
        one = replace(component(letter), name=name, azimuth=None, dip=None)
        save(tmp_path, f"quay_{name}.csv", one)
    records, *_ = read_joined(sorted(tmp_path.iterdir()))
    assert [record.names for record in records] == [("X", "Y", "V")]
    records, *_ = read_joined(sorted(tmp_path.iterdir()), component="X=H1,Y=H2")
    assert [record.names for record in records] == [("H1", "H2", "V")]
    outcome = batch.process_files([tmp_path], tmp_path / "archive", QUICK, {"component": "X=H1,Y=H2"})
    assert [len(done.joined) for done in outcome.done] == [2]
    assert Archive(tmp_path / "archive")[outcome.done[0].record].record.horizontals == ("H1", "H2")


# Random folders


@st.composite
def folders(draw):
    """Return files, each a name and a part, and the groups of them that are truly one record.

    Recordings differ in little: the same few stations, networks, locations, starts (some 0.01 s apart), intervals,
    lengths and units. Each has one to three components, some of them twice (a copy, or a sensor that the files do not
    tell from another), and its names follow one of several fashions, of which some say nothing.
    """
    made, files = [], []
    keys = set()
    for number in range(draw(st.integers(1, 9))):
        key = (
            draw(st.sampled_from(["QUAY", "HILL"])), draw(st.sampled_from(["XX", ""])),
            draw(st.sampled_from(["", "00", "10"])), draw(st.sampled_from([0, 10, 60_000, 3_600_000])),
            draw(st.sampled_from([0.01, 0.005])), draw(st.sampled_from([40, 41])),
            draw(st.sampled_from(["g", "cm/s2"])),
        )  # fmt: skip
        if key in keys:
            continue
        keys.add(key)
        known = draw(st.integers(0, 4)) > 0
        letters = draw(st.sampled_from(["NEZ", "NEZ", "NEZ", "NE", "NZ", "N", "Z"]))
        twice = draw(st.sampled_from(["", "", "", "", "N", "E", "Z"]))
        fashion = draw(
            st.sampled_from(["{s}{n}_{c}.csv", "{c}.{s}{n}.csv", "{s}{n}HN{c}.csv", "{r}.csv", "{c}{r}.csv"])
        )
        if not known:
            fashion = draw(st.sampled_from(["q{n}_{c}.csv", "{n}.HN{c}.csv", "{r}.csv"]))
        mine = []
        for at, letter in enumerate(letters + (twice if twice in letters else "")):
            again = "b" if at >= len(letters) else ""
            name = fashion.format(s=key[0].lower(), n=number, c=letter, r=f"{number}{at}{again}k")
            name = again + name
            mine.append(name)
            files.append((name, letter, key, known))
        made.append((frozenset(mine), len(letters) == 3, known, bool(twice) and twice in letters, fashion))
    return files, made


def check_folder(case):
    files, made = case
    with tempfile.TemporaryDirectory() as folder:
        paths = []
        for name, letter, (code, network, location, late, dt, size, unit), known in files:
            start = START + np.timedelta64(late, "ms") if known else None
            station = Station(code, network, location) if known else Station()
            one = component(letter, size, start=start, dt=dt, unit=unit)
            paths.append(save(Path(folder), name, one, station))
        records, *_ = read_joined(paths)
    found = [{record.source.file, *(one.file for one in record.joined)} for record in records]
    assert sorted(name for group in found for name in group) == sorted(name for name, *_ in files)
    for group in found:
        assert len(group) == 1 or any(group <= mine for mine, *_ in made), group  # none is false
    for mine, whole, known, twice, fashion in made:
        named = known or "{c}" in fashion
        if twice and known:
            assert not any(len(group) > 1 and group <= mine for group in found)  # nothing says which of the two
        elif whole and named and not twice:
            assert mine in found, (mine, found)  # every true one


@settings(max_examples=50, deadline=None)
@given(folders())
def test_random_folders_are_joined_rightly(case):
    check_folder(case)


@pytest.mark.slow
@settings(max_examples=500, deadline=None)
@given(folders())
def test_many_random_folders_are_joined_rightly(case):
    check_folder(case)


def test_a_folder_of_hundreds_is_joined_rightly(tmp_path):
    true = []
    for number in range(100):
        start = START + np.timedelta64(number % 7 * 20_000 + number, "ms")
        station = Station(f"S{number % 10:02d}", "XX")
        one = [save(tmp_path, f"{number:03d}.{c}.csv", component(c, 40, start=start), station) for c in "NEZ"]
        true.append({path.name for path in one})
    records, _, apart = read_joined(sorted(tmp_path.iterdir()))
    assert [{record.source.file, *(one.file for one in record.joined)} for record in records] == true
    assert not apart


# In batches


def test_a_folder_is_processed_joined_and_skipped_when_unchanged(tmp_path):
    inbox = tmp_path / "inbox"
    inbox.mkdir()
    triple(inbox)
    save(inbox, "hill.N.csv", component("N"), Station("HILL", "XX"))
    save(inbox, "hill.E.csv", component("E", start=START + np.timedelta64(10, "ms")), Station("HILL", "XX"))
    (inbox / "bad.csv").write_text("H1 [g],H1 [g]\n1,2\n")
    seen = []
    outcome = batch.process_files([inbox], tmp_path / "a", QUICK, progress=lambda *n: seen.append(n))
    assert [(done.record, done.file.name, len(done.joined)) for done in outcome.done] == [
        ("XX.HILL_20310417T032627.010", "hill.E.csv", 0),
        ("XX.HILL_20310417T032627", "hill.N.csv", 0),
        ("XX.QUAY.00_20310417T032627", "quay.E.csv", 2),
    ]
    assert [failure.file.name for failure in outcome.failed] == ["bad.csv"]
    (apart,) = outcome.apart
    assert (apart.quantity, apart.difference) == ("start", pytest.approx(0.01))
    assert seen[0] == (0, 6)
    assert seen[-1] == (6, 6)
    assert not outcome.remaining
    archive = Archive(tmp_path / "a")
    kept = archive["XX.QUAY.00_20310417T032627"].record
    assert [source.file for source in (kept.source, *kept.joined)] == ["quay.N.csv", "quay.E.csv", "quay.Z.csv"]
    assert kept.horizontals == ("H1", "H2")
    assert archive.verify() == []
    again = batch.process_files([inbox], tmp_path / "a", QUICK)
    assert (len(again.done), len(again.skipped)) == (0, 3)
    (tmp_path / "quick.toml").write_text(QUICK.to_toml())
    command = ["process", str(inbox), "-o", str(tmp_path / "a"), "--settings", str(tmp_path / "quick.toml")]
    shown = CliRunner().invoke(app, command)
    assert "0 processed, 3 skipped (unchanged), 1 failed" in shown.stdout
    assert "starts differ by 0.01 s (hill.N.csv and hill.E.csv)" in shown.stderr
    shown = CliRunner().invoke(app, [*command, "--no-join"])
    assert "3 processed, 2 skipped (unchanged), 1 failed" in shown.stdout
    assert "not joined" not in shown.stderr


def test_components_that_come_later_make_a_version_of_the_record(tmp_path):
    paths = triple(tmp_path)
    first = batch.process_files(paths[1:2], tmp_path / "a", QUICK)
    second = batch.process_files(paths, tmp_path / "a", QUICK)
    (done,) = second.done
    assert done.record == first.done[0].record
    assert done.differs == ("samples", "metadata") or "samples" in done.differs
    assert len(Archive(tmp_path / "a").versions(done.record)) == 2
    assert [one.skipped for one in batch.process_files(paths, tmp_path / "a", QUICK).skipped] == [True]


def test_files_of_single_channels_are_no_versions_of_each_other(tmp_path):
    station = Station("QUAY", "XX", "00", instrument_code="HN")
    archive = Archive(tmp_path / "a", create=True)
    for letter in "NEZ":
        archive.add(strongmotion.process(Record((component(letter),), station), QUICK), automatic=True)
    assert len(archive) == 3
    changed = Record((component("N", seed=5),), station)
    assert archive.id_for(changed) == changed.id  # a re-issue


def test_an_interruption_while_files_are_read_begins_no_record(tmp_path, monkeypatch):
    paths = triple(tmp_path)
    read = batch._process_file

    def interrupting(file, job):
        signal.raise_signal(signal.SIGINT)
        return read(file, job)

    monkeypatch.setattr(batch, "_process_file", interrupting)
    outcome = batch.process_files(paths, tmp_path / "a", QUICK, interrupted=lambda: None)
    assert outcome.remaining == paths
    assert not outcome.done


def test_watching_waits_for_the_other_components(tmp_path, monkeypatch):
    inbox, ready = tmp_path / "inbox", tmp_path / "ready"
    inbox.mkdir()
    ready.mkdir()
    paths = triple(ready)
    hill = save(ready, "hill.N.csv", component("N"), Station("HILL", "XX"))
    for path in (*paths[:2], hill):
        shutil.copy(path, inbox)
    comes = {6: paths[2], 30: save(ready, "hill.Z.csv", component("Z"), Station("HILL", "XX"))}
    look, files_of = [0], batch.files_of

    def looked(wanted):
        look[0] += 1
        if look[0] in comes:
            shutil.copy(comes[look[0]], inbox)
        return files_of(wanted)

    monkeypatch.setattr(batch, "files_of", looked)
    monkeypatch.setattr(batch, "monotonic", lambda: look[0])  # a second a look
    seen = []
    for outcome in batch.watch_folders([inbox], tmp_path / "a", QUICK, every=0.001, siblings=10):
        seen.append([(done.record[:7], len(done.joined), "samples" in done.differs) for done in outcome.done])
        if len(seen) == 3:
            signal.raise_signal(signal.SIGINT)
    assert seen == [[("XX.QUAY", 2, False)], [("XX.HILL", 0, False)], [("XX.HILL", 1, True)]]


def test_what_still_waits_when_watching_ends_is_named(tmp_path):
    inbox = tmp_path / "inbox"
    inbox.mkdir()
    save(inbox, "quay.N.csv", component("N"))
    (inbox / "bad.csv").write_text("H1 [g],H1 [g]\n1,2\n")
    outcomes = []
    for outcome in batch.watch_folders([inbox], tmp_path / "a", QUICK, every=0.001):
        outcomes.append(outcome)
        signal.raise_signal(signal.SIGINT)
    assert [failure.file.name for failure in outcomes[0].failed] == ["bad.csv"]
    assert [file.name for file in outcomes[1].remaining] == ["quay.N.csv"]
