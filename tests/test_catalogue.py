"""The catalogue and its index: rebuilt at any time, never the only copy; questions; parts of archives."""

from __future__ import annotations

import dataclasses
import math
import os
import shutil
import sqlite3
import time
from concurrent.futures import ThreadPoolExecutor

import numpy as np
import pandas as pd
import pytest
from test_archive import STATION, make_result

from strongmotion import Archive, ArchiveError, Component, InputError, Record
from strongmotion.archive import catalogue as catalogue_room
from strongmotion.archive import write_catalogue
from strongmotion.record import Earthquake

G = 9.80665  # m/s², ISO 80000-3


@pytest.fixture
def archive(tmp_path):
    """Return an archive of six stations, its folder settled."""
    archive = Archive(tmp_path / "archive", create=True)
    for number in range(6):
        archive.add(result_of(f"S{number}", number))
    settle(archive)
    return archive


def result_of(code, seed=1):
    made = make_result(seed=seed)
    quake = Earthquake("quake/1", name="Off Tórvík", magnitude=6.1) if seed % 2 else None
    station = dataclasses.replace(STATION, code=code)
    return dataclasses.replace(made, record=dataclasses.replace(made.record, station=station, earthquake=quake))


def settle(archive):
    """Make the folder look as if nothing had changed in it of late."""
    folder = archive.folder / "records"
    then = folder.stat().st_mtime - 60
    os.utime(folder, (then, then))


@pytest.fixture
def read(monkeypatch):
    """Return the list of files that are read for their rows."""
    names, row_of = [], catalogue_room.row_of

    def counted(path, *more):
        names.append(path.name)
        return row_of(path, *more)

    monkeypatch.setattr(catalogue_room, "row_of", counted)
    return names


def test_only_new_and_changed_files_are_read(archive, read):
    first = archive.catalogue()
    assert len(read) == 6
    pd.testing.assert_frame_equal(archive.catalogue(), first)
    assert len(read) == 6
    nine = archive.add(result_of("S9", 9))
    stored = archive[archive.ids()[2]]
    path = archive.add(dataclasses.replace(stored, peaks=stored.peaks.assign(value=stored.peaks.value * 2)))
    gone = archive.files()[0]
    gone.unlink()
    again = archive.catalogue()
    assert sorted(read[6:]) == sorted([gone.name, path.name, nine.name])
    assert [gone.name in problem for problem in again.attrs["problems"]] == [True]
    del read[:]
    archive.catalogue()
    assert len(read) <= 1  # what cannot be read may have been mended
    assert again.station.tolist() == ["S1", "S2", "S3", "S4", "S5", "S9"]
    peaks = archive[path.stem].peaks.set_index(["component", "quantity"]).value
    assert again.set_index("station").pga_H1_m_s2["S2"] == peaks["H1", "PGA"]
    assert Archive(archive.folder, create=True).catalogue().equals(again)


def test_a_change_within_one_tick_of_the_clock_is_not_missed(archive):
    folder = archive.folder / "records"
    now = time.time_ns()
    os.utime(folder, ns=(now, now))
    assert len(archive.catalogue()) == 6
    archive.add(result_of("S9", 9))
    os.utime(folder, ns=(now, now))  # a file system whose clock stood still
    assert len(archive.catalogue()) == 7


def edit(index, command):
    base = sqlite3.connect(index)
    base.execute(command)
    base.commit()
    base.close()


@pytest.mark.parametrize(
    "harm",
    ["deleted", "nonsense", "cut", "another version", "a number changed", "another state", "a view that computes"],
)
def test_the_index_can_be_rebuilt_at_any_time(archive, harm):
    whole = archive.catalogue()
    index = archive.folder / "catalogue.sqlite"
    if harm == "deleted":
        index.unlink()
    elif harm == "nonsense":
        index.write_bytes(b"nonsense" * 1000)
    elif harm == "cut":
        index.write_bytes(index.read_bytes()[:5000])
    elif harm == "a number changed":
        edit(index, "UPDATE rows SET pga_H1_m_s2 = 99.0")
    elif harm == "another state":
        edit(index, "UPDATE standing SET state = 'accepted'")
    elif harm == "a view that computes":
        edit(index, "DROP VIEW records")
        edit(index, "CREATE VIEW records AS SELECT *, 99.0 AS pga_H1_m_s2 FROM rows")
    else:
        edit(index, "UPDATE meta SET value = '0' WHERE key = 'version'")
    pd.testing.assert_frame_equal(archive.catalogue(), whole)
    archive.index.refresh(rebuild=True, jobs=2)
    pd.testing.assert_frame_equal(archive.catalogue(), whole)


def test_an_index_that_cannot_be_written_is_built_in_memory(archive, tmp_path):
    whole = archive.catalogue()
    (archive.folder / "catalogue.sqlite").unlink()
    (archive.folder / "catalogue.sqlite").mkdir()
    pd.testing.assert_frame_equal(archive.catalogue(), whole)


def test_a_damaged_file_mended_in_its_place_comes_back(archive):
    whole = archive.catalogue()
    path = archive.files()[1]
    content = path.read_bytes()
    path.write_bytes(content[:2000])
    archive.index.refresh(rebuild=True)
    assert len(archive.catalogue()) == 5
    path.write_bytes(content)  # which does not change the folder
    mended = archive.catalogue()
    assert mended.attrs["problems"] == []
    pd.testing.assert_frame_equal(mended, whole)


def test_many_may_build_the_index_at_once(archive):
    with ThreadPoolExecutor(4) as threads:
        frames = list(threads.map(lambda _: Archive(archive.folder, create=True).catalogue(), range(8)))
        asked = [[], [0.0]] * 4
        others = list(
            threads.map(lambda periods: Archive(archive.folder, create=True).catalogue(periods=periods), asked)
        )
    for frame in frames:
        pd.testing.assert_frame_equal(frame, frames[0])
    assert all(frame[frames[0].columns].equals(frames[0]) for frame in others)
    assert archive.catalogue().psa_0s_RotD50_m_s2.notna().all()


def test_any_sqlite_reader_can_ask_the_index(archive):
    whole = archive.catalogue().set_index("record")
    base = sqlite3.connect(archive.folder / "catalogue.sqlite")
    rows = base.execute("SELECT record, pga_h_m_s2 FROM records WHERE magnitude > 6").fetchall()
    base.close()
    assert dict(rows) == whole[whole.magnitude > 6].pga_h_m_s2.to_dict()
    assert len(rows) == 3


def test_the_catalogue_takes_other_periods(archive, read):
    assert not [name for name in archive.catalogue() if name.startswith("psa_0s")]
    frame = archive.catalogue(periods=[0.0])
    chosen = "component == 'RotD50' and damping == 0.05 and period == 0"
    psa = {record_id: archive[record_id].spectra.query(chosen).psa.item() for record_id in archive}
    assert frame.set_index("record").psa_0s_RotD50_m_s2.to_dict() == psa
    settle(archive)
    archive.catalogue()
    del read[:]
    archive.catalogue(periods=[0.0, 1.0])  # once asked for, it is kept
    assert read == []


def test_the_larger_horizontal_is_what_it_says(archive):
    row = archive.catalogue().iloc[0]
    assert row.pga_h_m_s2 == max(row.pga_H1_m_s2, row.pga_H2_m_s2)
    lone = make_result(Record((Component("V", np.array([1, 2, 3]), 0.01, "g"),)))
    archive.add(lone)
    assert math.isnan(archive.catalogue().set_index("record").pga_h_m_s2[lone.record.id])


# Questions


@pytest.mark.parametrize(
    ("question", "held"),
    [
        ("pga_h > 0.1", lambda row: row.pga_h_g > 0.1),
        ("pga_h_g > 0.1 and usable_period > 2", lambda row: row.pga_h_g > 0.1),
        ("`psa_0.3s_RotD50` < 0.1 or pgv_h > 1", lambda row: row["psa_0.3s_RotD50_g"] < 0.1 or row.pgv_h_m_s > 1),
        ("station == 'S3'", lambda row: row.station == "S3"),
        ("station in ['S3', 'S4'] and severity == 'doubt'", lambda row: row.station in ("S3", "S4")),
        ("event.notna() and magnitude >= 6", lambda row: row.magnitude >= 6),
        ("usable_period < 0", lambda row: False),
        ("latitude > 60 and findings == 1", lambda row: True),
    ],
)
def test_find_answers_as_the_whole_catalogue_would(archive, question, held):
    whole = archive.catalogue("g")
    found = archive.find(question, unit="g")
    expected = [row.record for _, row in whole.iterrows() if held(row)]
    assert found.record.tolist() == expected
    pd.testing.assert_frame_equal(found, whole[whole.record.isin(expected)].reset_index(drop=True))


def test_accelerations_in_a_question_are_in_its_unit(archive):
    limit = float(archive.catalogue("g").pga_h_g.median())
    in_g = archive.find(f"pga_h > {limit!r}", unit="g").record.tolist()
    assert 0 < len(in_g) < 6
    assert archive.find(f"pga_h > {limit * G * (1 + 1e-12)!r}").record.tolist() == in_g
    with pytest.raises(InputError, match="no column is named"):
        archive.find("pga_h_m_s2 > 1", unit="g")


@pytest.mark.parametrize("question", ["pgx > 1", "pga_h >", "pga_h > 1 and nonsense > 2", "", "1 + 1", "@pga_h"])
def test_what_is_no_question_is_wrong_use(archive, question):
    with pytest.raises(InputError):
        archive.find(question)


# Parts of archives


def test_part_of_an_archive_into_a_new_one(archive, tmp_path):
    wanted = archive.ids()[1:3]
    part = Archive(tmp_path / "part", create=True)
    assert part.take_from([archive], wanted) == (2, 0)
    assert part.ids() == wanted
    assert all(part.path(id_).read_bytes() == archive.path(id_).read_bytes() for id_ in wanted)
    assert part.take_from([archive], wanted) == (0, 2)
    assert part.verify() == []
    with pytest.raises(ArchiveError, match=r"no record 'XX\.NONE'"):
        part.take_from([archive], ["XX.NONE"])


def test_two_archives_into_one(archive, tmp_path):
    other = Archive(tmp_path / "other", create=True)
    other.add(result_of("S0", 0))  # the same result
    other.add(result_of("PIER"))
    both = Archive(tmp_path / "both", create=True)
    assert both.take_from([archive, other]) == (7, 1)
    assert both.ids() == sorted({*archive.ids(), *other.ids()})
    assert both.verify() == []


def test_conflicts_are_named_and_nothing_is_copied(archive, tmp_path):
    other = Archive(tmp_path / "other", create=True)
    for name in archive.ids()[1], archive.ids()[4]:
        stored = archive[name]
        other.add(dataclasses.replace(stored, peaks=stored.peaks.assign(value=stored.peaks.value * 2)))
    both = Archive(tmp_path / "both", create=True)
    with pytest.raises(ArchiveError, match=r"2 records have different results .*XX\.S1.*XX\.S4.* Nothing was copied"):
        both.take_from([archive, other])
    assert len(both) == 0


def test_damaged_records_are_not_handed_on(archive, tmp_path):
    path = archive.files()[0]
    damaged = bytearray(path.read_bytes())
    damaged[len(damaged) // 2] ^= 1
    path.write_bytes(damaged)
    with pytest.raises(ArchiveError, match=path.name):
        Archive(tmp_path / "part", create=True).take_from([archive])


def test_verify_in_processes_finds_the_same(archive):
    path = archive.files()[2]
    path.write_bytes(path.read_bytes()[:-1])
    shutil.copy(archive.files()[0], path.parent / "XX.RENAMED.h5")
    seen = []
    found = archive.verify(jobs=2, progress=lambda *n: seen.append(n))
    assert found == archive.verify()
    assert len(found) == 2
    assert seen == [(n, 6) for n in range(7)]


@pytest.mark.parametrize(
    "question",
    [
        "9**9**9**9 > 1",
        "record.to_pickle('{trap}')",
        "pga_h > 0 and pga_h.to_csv('{trap}') is None",
        "pga_h.values.tofile('{trap}')",
        "pga_h > @pga_h",
        "pga_h.__class__",
        "station.str.encode('ascii').to_pickle('{trap}')",
    ],
)
def test_a_question_only_asks(archive, tmp_path, question):
    trap = tmp_path / "written"
    with pytest.raises(InputError):
        archive.find(question.format(trap=trap))
    assert not trap.exists()


def test_texts_may_be_asked_for_their_parts(archive):
    assert len(archive.find("station.str.contains('S') and `network` == 'XX'")) == 6
    assert len(archive.find("not (station in ['S1', 'S2']) and ~(pga_h * 2 < 0)")) == 4


def test_swapped_files_are_not_taken_for_each_other(archive, tmp_path):
    one, other = archive.files()[:2]
    ids = archive.ids()[:2]
    content = one.read_bytes(), other.read_bytes()
    one.write_bytes(content[1])
    other.write_bytes(content[0])
    with pytest.raises(ArchiveError, match="holds other bytes than were entered"):
        archive[ids[0]]
    frame = archive.catalogue()
    assert not set(ids) & set(frame.record)
    assert sum("other bytes than were entered" in problem for problem in frame.attrs["problems"]) == 2
    with pytest.raises(ArchiveError, match="holds other bytes"):
        Archive(tmp_path / "part", create=True).take_from([archive], ids[:1])


@pytest.mark.parametrize("to", ["nowhere", "itself"])
def test_a_link_to_nothing_is_told_of(archive, to):
    link = archive.files()[0]
    link.unlink()
    link.symlink_to(link if to == "itself" else "nowhere.h5")
    frame = archive.catalogue()
    assert len(frame) == 5
    assert any(link.name in problem for problem in frame.attrs["problems"])
    with pytest.raises(ArchiveError, match="cannot be read"):
        archive[link.stem]


def test_an_index_that_cannot_be_removed_names_itself(archive):
    archive.index.refresh()
    index = archive.folder / "catalogue.sqlite"
    index.unlink()
    index.mkdir()
    assert len(archive.catalogue()) == 6
    with pytest.raises(ArchiveError, match="cannot be built anew"):
        archive.index.refresh(rebuild=True)


@pytest.mark.parametrize("jobs", [0, -1])
def test_less_than_one_worker_is_wrong_use(archive, jobs):
    with pytest.raises(InputError, match="jobs must be at least 1"):
        archive.verify(jobs=jobs)
    with pytest.raises(InputError, match="jobs must be at least 1"):
        archive.index.refresh(rebuild=True, jobs=jobs)


@pytest.mark.parametrize("code", ["=1+1", "+1", "-1+1", "@SUM(A1)", "S"])
def test_a_spreadsheet_computes_no_text(tmp_path, code):
    # Common practice (OWASP, CSV injection, from memory): an apostrophe before a text that begins like a formula.
    frame = pd.DataFrame({"station": [code, "--"], "low_hz": [-1.5, 2.0]})
    write_catalogue(frame, csv=tmp_path / "c.csv")
    back = pd.read_csv(tmp_path / "c.csv")
    assert back.station.tolist() == [code if code == "S" else f"'{code}", "--"]
    assert back.low_hz.tolist() == [-1.5, 2.0]
