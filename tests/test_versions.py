"""Versions, decisions and the manifest: nothing is lost, and whatever is changed, removed or put there is found."""

from __future__ import annotations

import contextlib
import dataclasses
import errno
import hashlib
import json
import os
import random
import shutil
import sqlite3
import subprocess
import sys
import tempfile
import threading
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import h5py
import numpy as np
import pandas as pd
import pytest
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule, run_state_machine_as_test
from test_archive import STATION, earlier_archive, make_result
from typer.testing import CliRunner

from strongmotion.archive import Archive, check_against, files, read_result, sign, typed
from strongmotion.archive import manifest as manifest_room
from strongmotion.archive.decisions import standing
from strongmotion.archive.manifest import Manifest
from strongmotion.cli import app
from strongmotion.foundation.errors import ArchiveError, InputError
from strongmotion.record import Component, Earthquake, Record, Source, Station
from strongmotion.settings import Settings

HERE = Path(__file__).parent
BY = {"by": "D. Analyst", "reason": "looked at"}


@pytest.fixture(scope="module")
def result():
    return make_result()


@pytest.fixture
def archive(tmp_path):
    return Archive(tmp_path / "archive", create=True)


def other_numbers(result, factor=2.0):
    return dataclasses.replace(result, peaks=result.peaks.assign(value=result.peaks.value * factor))


def problems_of(archive):
    return {problem.file.name: problem.what for problem in archive.verify()}


# What is current


def test_versions_are_kept_read_and_named(archive, result):
    name = result.record.id
    made = [result, other_numbers(result), other_numbers(result, 3.0)]
    paths = [archive.add(one) for one in made]
    assert [archive[name, number] for number in (1, 2, 3)] == made
    assert [archive[path.stem] for path in paths] == made
    assert archive[name] == made[-1]
    assert [version.differs for version in archive.versions(name)] == [(), ("numbers",), ("numbers",)]
    assert [version.supersedes for version in archive.versions(name)][1:] == [
        archive.versions(name)[n].name for n in (0, 1)
    ]
    with pytest.raises(ArchiveError, match=r"has no version 4\. Name one of 1-"):
        archive[name, 4]
    assert archive.ids() == [name]


def test_the_newest_accepted_version_is_current(archive, result):
    name = result.record.id
    archive.add(result)
    archive.decide(name, "accepted", **BY)
    archive.add(other_numbers(result))
    assert archive.version(name).number == 1
    archive.decide(name, "accepted", version=2, **BY)
    assert archive.version(name).number == 2
    archive.decide(name, "accepted", version=1, **BY)
    assert archive.version(name).number == 2  # newest, not last decided on
    archive.make_current(name, 1, "D. Analyst", "as delivered in 2031")
    assert archive.version(name).number == 1
    archive.decide(name, "rejected", version=1, **BY)
    assert archive.version(name).number == 2
    assert archive.state(name) == "accepted"


def test_a_batch_never_puts_its_version_before_a_reviewed_one(archive, result):
    name = result.record.id
    archive.add(result, automatic=True)
    by_hand = other_numbers(result)
    archive.add(by_hand, by="D. Analyst", why="corner by hand")
    archive.add(other_numbers(result, 3.0), by="night run", automatic=True)
    assert archive[name] == by_hand
    archive.add(result, automatic=True)  # the batch's first result again: newest of its kind, no new file
    assert [version.number for version in archive.versions(name)] == [2, 3, 1]
    assert archive[name] == by_hand


def test_a_rejected_record_stays_rejected_until_a_version_is_accepted(archive, result):
    name = result.record.id
    archive.add(result)
    archive.decide(name, "withdrawn", **BY)
    archive.add(other_numbers(result))
    assert archive.state(name) == "withdrawn"
    assert archive[name] == other_numbers(result)
    assert len(archive.find("pga_h > 0")) == 0
    assert archive.find("pga_h > 0", state="withdrawn").state.tolist() == ["withdrawn"]
    assert archive.find("pga_h > 0 and state == 'withdrawn'").record.tolist() == [name]
    archive.decide(name, "accepted", **BY)
    assert archive.state(name) == "accepted"
    assert archive.catalogue().state.tolist() == ["accepted"]


@pytest.mark.parametrize(
    ("state", "by", "reason"), [("maybe", "A", "b"), ("accepted", " ", "b"), ("rejected", "A", "")]
)
def test_a_decision_needs_a_person_and_a_reason(archive, result, state, by, reason):
    archive.add(result)
    with pytest.raises(InputError):
        archive.decide(result.record.id, state, by=by, reason=reason)
    assert len(archive.history(result.record.id)) == 1


def test_unfit_records_are_found_only_when_asked_for(archive, result):
    finding = dataclasses.replace(result.findings[0], severity="unfit")
    archive.add(dataclasses.replace(result, findings=(finding,)))
    assert len(archive.find("pga_h > 0")) == 0
    assert len(archive.find("pga_h > 0", state="all")) == 1
    assert len(archive.find("severity == 'unfit'")) == 1


# Identity


def at(code="QUAY", start="2031-03-07T04:15:00", instrument="HN", seed=1, name="a.csv"):
    samples = np.random.default_rng(seed).integers(-9000, 9000, 400, dtype=np.int32)
    component = Component("H1", samples, 0.005, "counts", 4.2e5, np.datetime64(start))
    return Record((component,), Station(code, "XX", "00", instrument_code=instrument), Source(name))


def test_instruments_and_triggers_have_their_own_ids(archive):
    records = [
        at(), at(instrument="BN", seed=2), at(start="2031-03-07T04:15:00.250", seed=3),
        at(start="2031-03-07T04:15:00.750", seed=4),
    ]  # fmt: skip
    for record in records:
        archive.add(make_result(record))
    assert archive.ids() == [
        "XX.QUAY.00.BN_20310307T041500", "XX.QUAY.00.HN_20310307T041500", "XX.QUAY.00.HN_20310307T041500.250",
        "XX.QUAY.00.HN_20310307T041500.750",
    ]  # fmt: skip
    assert all(archive[record.id].record == record for record in records)


def test_a_re_issue_is_a_version_where_the_instrument_is_known(archive):
    archive.add(make_result(at()))
    archive.add(make_result(at(seed=2)))
    assert [version.differs for version in archive.versions(at().id)][1] == ("samples",)


def test_another_record_of_one_name_gets_its_own_id(archive):
    first, second = at(instrument=""), at(instrument="", seed=2)
    archive.add(make_result(first))
    path = archive.add(make_result(second))
    assert [archive[name].record for name in archive.ids()] == [first, second]
    assert archive.add(make_result(second)) == path
    assert archive.verify() == []
    assert len(archive.catalogue()) == 2


def test_corrected_metadata_are_a_version(archive):
    one = at(instrument="")
    archive.add(make_result(one))
    moved = dataclasses.replace(one, station=dataclasses.replace(one.station, latitude=12.5))
    archive.add(make_result(moved))
    quake = dataclasses.replace(moved, earthquake=Earthquake("quake/1", name="Off Tórvík", magnitude=6.1))
    archive.add(make_result(quake))
    turned = dataclasses.replace(quake, components=(dataclasses.replace(quake.components[0], azimuth=30.0),))
    archive.add(make_result(turned))
    assert [version.differs for version in archive.versions(one.id)] == [
        (),
        ("metadata",),
        ("metadata",),
        ("metadata",),
    ]
    assert archive.catalogue().latitude_deg.tolist() == [12.5]


# Places for what is to come


def test_every_known_type_comes_back_through_json(result):
    for value in (
        result.windows,
        result.baseline,
        result.record.station,
        Source("a", "b"),
        (1, (2.5, None), "x"),
        [1, {"a": float("inf")}],
    ):
        assert typed.from_json(typed.to_json(value)) == value
    with pytest.raises(TypeError, match="not a type that an archive can store"):
        typed.to_json(object())
    with pytest.raises(InputError, match="unknown type"):
        typed.from_json('{"is": "Path", "fields": {}}')
    with pytest.raises(ArchiveError, match="onset of Windows is 'x'"):
        typed.from_json('{"is": "Windows", "fields": {"onset": "x", "noise": 1}}')


def test_several_source_files_and_the_site_come_back(archive, result):
    station = Station(
        "QUAY", "XX", vs30=310.0, vs30_method="measured", site_class="C", housing="free field", sensor_depth=0.5
    )
    record = dataclasses.replace(
        result.record, station=station, joined=(Source("b.csv", "cd" * 32, "csv"), Source("c.csv"))
    )
    archive.add(make_result(record))
    assert archive[record.id].record == record
    row = archive.catalogue().iloc[0]
    assert (row.vs30_m_s, row.site_class, row.housing, row.sensor_depth_m) == (310.0, "C", "free field", 0.5)
    assert archive.find("vs30 > 300 and site_class == 'C'").record.tolist() == [record.id]


def test_event_membership_is_kept_with_its_distances(archive, result):
    archive.add(result)
    archive.assign(result.record.id, "quake/1", {"epicentral": 12.5}, by="D. Analyst")
    assert archive.standing(result.record.id).event == {"event": "quake/1", "distances": {"epicentral": 12.5}}


def test_names_of_channels_may_be_many_and_differ_by_case(archive):
    start = np.datetime64("2031-03-07T04:15:00")
    names = [f"{kind}{number}" for number in range(200) for kind in ("Roof", "roof")]
    rng = np.random.default_rng(3)
    record = Record(
        tuple(Component(name, rng.normal(size=40), 0.01, start=start) for name in names), Station("TOWER", "XX")
    )
    made = make_result(record)
    archive.add(made)
    assert archive[record.id] == made
    frame = archive.catalogue()
    peaks = made.peaks.set_index(["component", "quantity"]).value
    for name in ("Roof7", "roof7"):
        assert frame[f"pga_{name}_m_s2"].item() == peaks[name, "PGA"]
        peak = float(peaks[name, "PGA"])
        assert len(archive.find(f"pga_{name} > {0.999 * peak!r}")) == 1
        assert len(archive.find(f"pga_{name} > {1.001 * peak!r}")) == 0


# Same bytes


def test_equal_results_give_equal_bytes_beside_a_thread_that_holds_frames(result):
    first, stop = files.packed(result), threading.Event()

    def hold():
        held = []
        while not stop.is_set():
            held = [list(sys._current_frames().values())]
        del held

    thread = threading.Thread(target=hold)
    thread.start()
    try:
        assert all(files.packed(result) == first for _ in range(30))
    finally:
        stop.set()
        thread.join()


def test_merge_takes_the_same_content_in_other_bytes_for_the_same(tmp_path, archive, result):
    archive.add(result)
    earlier = earlier_archive(tmp_path / "old", "XX.QUAY.00_20310307T041500", HERE / "archives" / "layout_2.h5")
    both = Archive(tmp_path / "both", create=True)
    assert both.take_from([earlier]) == (1, 0)
    assert both[both.ids()[0]] == read_result(HERE / "archives" / "layout_2.h5")
    again = Archive(tmp_path / "again", create=True)
    again.add(read_result(HERE / "archives" / "layout_2.h5"))
    assert again.take_from([both]) == (0, 1)


# Verify


@pytest.fixture
def history(archive, result):
    """Return an archive of two records, one of them with three versions and two decisions."""
    archive.add(result)
    archive.add(other_numbers(result))
    archive.decide(result.record.id, "accepted", **BY)
    archive.add(other_numbers(result, 3.0))
    archive.decide(result.record.id, "rejected", version=3, **BY)
    archive.add(make_result(at()))
    assert archive.verify() == []
    return archive


def entry_files(archive, name):
    return sorted((archive.manifest.folder / name).iterdir())


class Killed(BaseException):
    """As by a signal that cannot be caught: nothing after it runs but what cleans up."""


@pytest.mark.parametrize("after", range(8))
def test_a_merge_that_was_interrupted_goes_on(tmp_path, history, monkeypatch, after):
    both = Archive(tmp_path / "both", create=True)
    put, calls = Manifest.put, iter(range(100))

    def dies(*arguments):
        if next(calls) == after:
            raise Killed
        put(*arguments)

    monkeypatch.setattr(Manifest, "put", dies)
    with contextlib.suppress(Killed):
        both.take_from([history])
    monkeypatch.setattr(Manifest, "put", put)
    both.finish_writes()
    assert both.verify() == []
    both.take_from([history])
    assert both.verify() == []
    for record in history.ids():
        assert both.history(record) == history.history(record)
        assert both.versions(record) == history.versions(record)
    assert both.take_from([history]) == (0, len(history))


def test_a_removed_file_is_found(history, result):
    path = history.path(result.record.id, 1)
    path.unlink()
    assert "is missing, but is listed in the manifest" in problems_of(history)[path.name]


def test_a_removed_record_is_found(history, result):
    for version in history.versions(result.record.id):
        (history.records / version.file).unlink()
    assert len(problems_of(history)) == 3


def test_an_added_file_is_found(history, result):
    path = history.path(at().id)
    added = history.records / f"{at().id}.v2-0a1b2c3d.h5"
    shutil.copy(path, added)
    assert "not in the manifest" in problems_of(history)[added.name]


def test_an_older_version_put_back_is_found(history, result):
    old, new = history.path(result.record.id, 1), history.path(result.record.id, 2)
    new.write_bytes(old.read_bytes())
    assert "other bytes than were entered" in problems_of(history)[new.name]
    with pytest.raises(ArchiveError, match="other bytes than were entered"):
        history[result.record.id]


@pytest.mark.parametrize("number", range(5))
def test_a_changed_entry_is_found(history, result, number):
    path = entry_files(history, result.record.id)[number]
    path.write_bytes(path.read_bytes().replace(b"D. Analyst", b"A. Nobody_").replace(b'"number": 1', b'"number": 9'))
    if b"Nobody" not in path.read_bytes():
        path.write_bytes(path.read_bytes() + b" ")
    assert "was changed" in problems_of(history)[path.name]
    with pytest.raises(ArchiveError, match="was changed"):
        history[result.record.id]
    assert history.catalogue().record.tolist() == [at().id]


@pytest.mark.parametrize("number", range(4))
def test_a_forged_entry_breaks_the_chain(history, result, number):
    path = entry_files(history, result.record.id)[number]
    content = path.read_bytes().replace(b'"by": "', b'"by": "X')
    path.unlink()
    forged = path.with_name(f"{path.name[:7]}{hashlib.sha256(content).hexdigest()}.json")
    forged.write_bytes(content)
    said = problems_of(history)
    assert any("follows an entry that is missing or was changed" in what for what in said.values())


@pytest.mark.parametrize("number", range(4))
def test_a_removed_entry_is_found(history, result, number):
    entry_files(history, result.record.id)[number].unlink()
    assert problems_of(history)


def test_entries_put_in_another_order_are_found(history, result):
    one, other = entry_files(history, result.record.id)[1:3]
    names = one.name, other.name
    one.rename(one.with_name(f"{names[1][:7]}{names[0][7:]}"))
    other.rename(one.with_name(f"{names[0][:7]}{names[1][7:]}"))
    assert sum("it was moved" in what for what in problems_of(history).values()) == 2


def test_an_entry_of_another_record_is_found(history, result):
    shutil.copy(entry_files(history, at().id)[0], history.manifest.folder / result.record.id)
    assert any("it was moved" in what for what in problems_of(history).values())


def test_an_edited_index_is_found_and_built_anew(history):
    whole = history.catalogue()
    state = history.index.path.stat()
    base = sqlite3.connect(history.index.path)
    base.execute("UPDATE rows SET pga_H1_m_s2 = 99.0")
    base.commit()
    base.close()
    os.utime(history.index.path, ns=(state.st_mtime_ns, state.st_mtime_ns))  # even with its time put back
    assert "was changed by another program" in problems_of(history)["catalogue.sqlite"]
    os.utime(history.index.path)
    pd.testing.assert_frame_equal(history.catalogue(), whole)
    assert history.verify() == []


@pytest.mark.parametrize("flips", [pytest.param(40, marks=pytest.mark.slow), 5])
def test_any_flipped_bit_of_the_manifest_is_found(history, result, flips):
    rng = random.Random(11)
    for path in entry_files(history, result.record.id):
        whole = path.read_bytes()
        for _ in range(flips):
            damaged = bytearray(whole)
            damaged[rng.randrange(len(whole))] ^= 1 << rng.randrange(8)
            path.write_bytes(damaged)
            assert path.name in {problem.file.name for problem in history.verify()}
        path.write_bytes(whole)
    assert history.verify() == []


def test_verify_goes_on_where_it_stopped(history, monkeypatch):
    seen = []

    def stop(done, total):
        seen.append((done, total))
        if done == 1:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        history.verify(progress=stop)
    steps = []
    assert history.verify(progress=lambda *n: steps.append(n), resume=True) == []
    assert steps == [(1, 2), (2, 2)]
    assert not list(history.folder.glob(".verify*"))


def test_verify_may_look_at_some_only(history, result):
    steps = []
    history.verify(progress=lambda *n: steps.append(n), sample=1)
    assert steps[-1] == (1, 1)
    history.verify(progress=lambda *n: steps.append(n), since="2999-01-01")
    assert steps[-1] == (0, 0)
    history.verify(progress=lambda *n: steps.append(n), since="2020-01-01")
    assert steps[-1] == (2, 2)


# Signed


@pytest.fixture
def keys(tmp_path):
    pytest.importorskip("cryptography")
    from cryptography.hazmat.primitives import serialization
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

    paths = []
    for name in ("one", "other"):
        key = Ed25519PrivateKey.generate()
        private, public = tmp_path / f"{name}.pem", tmp_path / f"{name}.pub"
        private.write_bytes(
            key.private_bytes(
                serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
            )
        )
        public.write_bytes(
            key.public_key().public_bytes(serialization.Encoding.PEM, serialization.PublicFormat.SubjectPublicKeyInfo)
        )
        paths += [private, public]
    return paths


def test_the_newest_entry_removed_with_its_file_is_found_by_a_checkpoint(history, keys, result, tmp_path):
    private, public, _, stranger = keys
    checkpoint = tmp_path / "checkpoint.json"
    assert sign(history, private, checkpoint, by="D. Analyst") == 2
    assert check_against(history, public, checkpoint) == []
    history.add(other_numbers(result, 5.0))  # more than the checkpoint knows is no problem
    assert check_against(history, public, checkpoint) == []
    with pytest.raises(ArchiveError, match="not signed by this key"):
        check_against(history, stranger, checkpoint)
    (entry,) = entry_files(history, at().id)
    history.path(at().id).unlink()
    shutil.rmtree(entry.parent)
    assert history.verify() == []  # by itself the archive cannot know
    (problem,) = check_against(history, public, checkpoint)
    assert problem.file.name == at().id
    words = ["verify", str(history.folder), "--key", str(public), "--checkpoint", str(checkpoint)]
    assert CliRunner().invoke(app, words).exit_code == 1
    text = checkpoint.read_text()
    checkpoint.write_text(text.replace("D. Analyst", "D. Analysis"))
    with pytest.raises(ArchiveError, match="not signed by this key, or was changed"):
        check_against(history, public, checkpoint)
    checkpoint.write_text("[]")
    with pytest.raises(ArchiveError, match="is no checkpoint"):
        check_against(history, public, checkpoint)


# Many writers, no hard links, a clock that runs backward


def test_two_writers_at_once_make_siblings_and_both_are_kept(archive, result, monkeypatch):
    archive.add(result)
    name = result.record.id
    known = archive.manifest.entries(name)
    for state in ("accepted", "rejected"):  # two machines that do not see each other's entry yet
        values = {"version": archive.version(name).name, "state": state}
        archive.manifest.add(name, "decision", values, "A", state, "2031-01-01", earlier=known)
    assert [entry.sequence for entry in archive.manifest.entries(name)] == [1, 2, 2]
    assert archive.verify() == []
    last = archive.manifest.entries(name)[-1].values["state"]
    assert archive.state(name) == last  # by rule, whoever asks
    archive.decide(name, "withdrawn", **BY)
    assert len(archive.manifest.entries(name)[-1].before) == 2
    assert archive.verify() == []


def test_writers_and_readers_at_once(archive, result):
    made = [other_numbers(result, factor) for factor in (1.0, 2.0, 3.0, 4.0)]
    seen = []

    def write(one):
        Archive(archive.folder).add(one)
        Archive(archive.folder).decide(result.record.id, "accepted", **BY)

    def read(_):
        if result.record.id in archive:
            seen.append(archive[result.record.id])
            archive.catalogue()

    with ThreadPoolExecutor(6) as pool:
        jobs = [pool.submit(write, one) for one in made] + [pool.submit(read, n) for n in range(8)]
    for job in jobs:
        job.result()
    assert archive.verify() == []
    kept = [archive[result.record.id, version.name] for version in archive.versions(result.record.id)]
    assert len(kept) == 4
    assert all(one in kept for one in (*made, *seen))


@pytest.mark.parametrize("links", [False])
def test_a_file_system_without_hard_links_will_do(archive, result, monkeypatch, links):
    monkeypatch.setattr(os, "link", lambda *_: (_ for _ in ()).throw(OSError(errno.EPERM, "no hard links")))
    archive.add(result)
    archive.add(other_numbers(result))
    archive.decide(result.record.id, "accepted", version=1, **BY)
    assert archive[result.record.id] == result
    assert archive.verify() == []
    assert not list(archive.folder.rglob(".*.part"))


def test_a_clock_that_runs_backward_changes_no_order(archive, result, monkeypatch):
    times = iter(["2031-01-09", "2031-01-05", "2030-01-01", "1999-01-01"])
    monkeypatch.setattr("strongmotion.archive.store.now", lambda: next(times))
    archive.add(result)
    archive.add(other_numbers(result))
    archive.decide(result.record.id, "rejected", **BY)
    archive.decide(result.record.id, "accepted", version=2, **BY)
    assert [entry.sequence for entry in archive.history(result.record.id)] == [1, 2, 3, 4]
    assert (archive.state(result.record.id), archive[result.record.id]) == ("accepted", other_numbers(result))
    assert archive.verify() == []


def stop_at(monkeypatch, number):
    """Raise at the n-th change of the disk, as a kill would: nothing after it happens."""
    calls = {"made": 0}

    def counted(name, true):
        def call(*arguments, **named):
            calls["made"] += 1
            if calls["made"] >= number:
                raise SystemExit("killed")
            return true(*arguments, **named)

        return call

    for name in ("open", "link", "write", "fsync", "mkdir", "unlink", "rename"):
        monkeypatch.setattr(os, name, counted(name, getattr(os, name)))
    return calls


@pytest.mark.parametrize("every", [pytest.param(1, marks=pytest.mark.slow), 3])
@pytest.mark.parametrize("what", ["add", "decide", "upgrade", "take"])
def test_killed_at_any_call_nothing_is_lost(tmp_path, result, what, every, monkeypatch):
    """At each system call in turn the writer dies at once, its cleaning up included; then all goes on."""
    for number in range(1, 60, every):
        folder = tmp_path / f"{number}"
        if what == "upgrade":
            archive = earlier_archive(folder, "XX.QUAY.00_20310307T041500", HERE / "archives" / "layout_2.h5")
            expected = archive["XX.QUAY.00_20310307T041500"]
        else:
            archive = Archive(folder, create=True)
            archive.add(result)
        source = Archive(tmp_path / "source", create=True)
        if not source.ids():
            source.add(other_numbers(make_result(at())))
            source.decide(at().id, "accepted", **BY)
        act = {
            "add": lambda archive=archive: archive.add(other_numbers(result)),
            "decide": lambda archive=archive: archive.decide(result.record.id, "accepted", **BY),
            "upgrade": lambda archive=archive: archive.upgrade(),
            "take": lambda archive=archive, source=source: archive.take_from([source]),
        }[what]
        with pytest.MonkeyPatch.context() as patch:
            calls = stop_at(patch, number)
            try:
                act()
                killed = False
            except SystemExit:
                killed = True
        assert archive.verify() == [], number
        archive.finish_writes()
        assert archive.verify() == []
        act()
        assert archive.verify() == []
        if what == "add":
            assert archive[result.record.id] == other_numbers(result)
            assert archive[result.record.id, 1] == result
        elif what == "decide":
            assert archive.state(result.record.id) == "accepted"
        elif what == "upgrade":
            assert [archive[name] for name in archive] == [expected]
            assert not archive.is_earlier
        else:
            assert archive[at().id] == source[at().id]
            assert archive.state(at().id) == "accepted"
        if not killed:
            assert calls["made"] < number
            return
    raise AssertionError("it never came to its end")


# Earlier layouts


def test_layout_2_still_opens_and_is_upgraded_without_loss(tmp_path):
    old = HERE / "archives" / "layout_2.h5"
    before = read_result(old)
    archive = earlier_archive(tmp_path / "archive", "XX.QUAY.00_20310307T041500", old)
    assert archive["XX.QUAY.00_20310307T041500"] == before
    assert archive.verify() == []
    assert archive.catalogue().record.tolist() == ["XX.QUAY.00_20310307T041500"]
    with pytest.raises(ArchiveError, match=r"earlier layout, which is only read.*Run `strongmotion upgrade"):
        archive.add(before)
    result = CliRunner().invoke(app, ["upgrade", str(archive.folder)])
    assert (result.exit_code, "1 record upgraded, 0 not upgraded" in result.stdout) == (0, True)
    name = "XX.QUAY.00_20310307T041500.123"
    assert archive.ids() == [name]
    assert archive[name] == before
    (entry,) = archive.history(name)
    assert entry.values["formerly"] == {
        "file": "XX.QUAY.00_20310307T041500.h5", "record": "XX.QUAY.00_20310307T041500",
        "sha256": hashlib.sha256(old.read_bytes()).hexdigest(),
    }  # fmt: skip
    assert archive.verify() == []
    with h5py.File(archive.path(name)) as file:
        assert file.attrs["layout_version"] == 3
    assert archive.upgrade() == (0, [])


def test_a_damaged_file_is_left_by_the_upgrade(tmp_path):
    old = HERE / "archives" / "layout_2.h5"
    archive = earlier_archive(tmp_path / "archive", "XX.QUAY.00_20310307T041500", old, old)
    damaged = archive.records / "XX.QUAY.00_20310307T0415001.h5"
    damaged.write_bytes(old.read_bytes()[:5000])
    done, (problem,) = archive.upgrade()
    assert (done, problem.file) == (1, damaged)
    assert damaged.exists()
    assert archive.is_earlier
    damaged.unlink()
    assert archive.upgrade() == (0, [])
    assert not archive.is_earlier


def test_layout_3_still_opens():
    back = read_result(HERE / "archives" / "layout_3.h5")
    assert back.record.station.vs30 == 310.0
    assert back.record.joined == (Source("b.csv", "cd" * 32, "csv"),)
    assert back.windows.strong == (130, 300)


# Another program


OUTSIDE = """
import hashlib, json, pathlib, sys
import h5py

top = pathlib.Path(sys.argv[1])
said, known = [], {}
for folder in sorted((top / "manifest").iterdir()):
    entries = []
    for path in sorted(folder.glob("[0-9]*.json")):
        sequence, digest = path.stem.split("-")
        content = path.read_bytes()
        if hashlib.sha256(content).hexdigest() != digest:
            said.append(f"{path.name} changed")
            continue
        entry = json.loads(content)
        if (entry["record"], entry["sequence"]) != (folder.name, int(sequence)):
            said.append(f"{path.name} moved")
        entries.append((int(sequence), digest, entry))
    for sequence, digest, entry in entries:
        before = {d for s, d, _ in entries if s == sequence - 1}
        if not set(entry["before"]) <= before or bool(entry["before"]) != (sequence > 1):
            said.append(f"{digest} follows nothing")
        if entry["kind"] == "version":
            known[entry["values"]["file"]] = entry["values"]
for path in sorted((top / "records").glob("*.h5")):
    its = known.pop(path.name, None)
    content = path.read_bytes()
    if its is None:
        said.append(f"{path.name} not entered")
    elif hashlib.sha256(content).hexdigest() != its["sha256"]:
        said.append(f"{path.name} changed")
    else:
        seal = content[-91:].split()[-1].decode()
        assert hashlib.sha256(content[:-91]).hexdigest() == seal
        with h5py.File(path) as file:
            assert file.attrs["layout_version"] == 3
            samples = hashlib.sha256()
            for name in file.attrs["components"]:
                array = file["raw"][name][()]
                samples.update(f"{array.dtype.str} {len(array)}\\n".encode() + array.tobytes())
            assert samples.hexdigest() == its["samples"]
said += [f"{name} missing" for name in known]
print("\\n".join(said) or "sound")
"""
"""A checker by DEVELOPERS.md, of h5py and hashlib alone."""


def test_another_program_can_check_an_archive(history, result):
    def said():
        done = subprocess.run(
            [sys.executable, "-c", OUTSIDE, history.folder], capture_output=True, text=True, check=True
        )
        return done.stdout.split("\n")[:-1]

    assert said() == ["sound"]
    path = history.path(result.record.id, 1)
    path.rename(path.with_name("elsewhere.h5"))
    assert sorted(said()) == sorted([f"{path.name} missing", "elsewhere.h5 not entered"])


# A year of events


class Year(RuleBasedStateMachine):
    """Records come, are re-issued, processed, reviewed, decided on and copied; a plain list says what must be there."""

    @initialize()
    def begin(self):
        self.folder = tempfile.mkdtemp()
        self.archive = Archive(Path(self.folder) / "archive", create=True)
        self.kept: dict[str, list] = {}  # id: results in the order of their versions
        self.line: dict[str, list] = {}  # id: (result, automatic) in the order they were entered
        self.accepted: dict[str, list] = {}
        self.decided = 0

    def teardown(self):
        if hasattr(self, "folder"):
            shutil.rmtree(self.folder)

    def keep(self, name, made, automatic):
        kept = self.kept.setdefault(name, [])
        if made not in kept:
            kept.append(made)
        line = self.line.setdefault(name, [])
        known = [one for one, of in line if of == automatic]
        if made == self.current(name) or (known and known[-1] == made):
            return
        if made in [one for one, _ in line]:
            line[:] = [(one, of) for one, of in line if one != made]
        line.append((made, automatic))

    def current(self, name):
        line = self.line.get(name, [])
        for chosen in (
            [one for one, _ in line if one in self.accepted.get(name, [])],
            [one for one, automatic in line if not automatic],
            [one for one, _ in line],
        ):
            if chosen:
                return chosen[-1]
        return None

    @rule(
        instrument=st.sampled_from(["HN", "BN", ""]), trigger=st.sampled_from(["00", "00.250", "00.750"]),
        issue=st.integers(1, 3), low_cut=st.sampled_from([0.1, 0.2]), place=st.sampled_from([None, 12.5]),
    )  # fmt: skip
    def batch(self, instrument, trigger, issue, low_cut, place):
        self.add(instrument, trigger, issue, low_cut, place, automatic=True)

    @rule(
        instrument=st.sampled_from(["HN", "BN"]),
        trigger=st.sampled_from(["00", "00.250"]),
        low_cut=st.sampled_from([0.3, 0.4]),
    )
    def review(self, instrument, trigger, low_cut):
        self.add(instrument, trigger, 1, low_cut, None, automatic=False)

    def add(self, instrument, trigger, issue, low_cut, place, automatic):
        record = at(instrument=instrument, start=f"2031-03-07T04:15:{trigger}", seed=issue)
        record = dataclasses.replace(record, station=dataclasses.replace(record.station, latitude=place))
        chosen = Settings.from_dict({"filter": {"low_cut": low_cut}, "spectra": {"damping": [0.02, 0.05]}})
        made = dataclasses.replace(make_result(record, seed=int(low_cut * 10)), settings=chosen)
        path = self.archive.add(made, by="" if automatic else "D. Analyst")
        name = path.name.split(".v")[0]
        if instrument:
            assert name == record.id
        else:
            same = [n for n, kept in self.kept.items() if n.split("~")[0] == record.id and n != name]
            theirs = [one.record.components[0].samples.tobytes() for n in same for one in self.kept[n]]
            assert record.components[0].samples.tobytes() not in theirs
        self.keep(name, made, automatic)

    @rule(data=st.data())
    def accept(self, data):
        if self.kept:
            name = data.draw(st.sampled_from(sorted(self.kept)))
            number = data.draw(st.integers(1, len(self.kept[name])))
            self.archive.decide(name, "accepted", version=number, **BY)
            self.accepted.setdefault(name, []).append(self.kept[name][number - 1])
            self.decided += 1

    @rule()
    def copy(self):
        other = Archive(Path(self.folder) / f"copy{random.random()}", create=True)
        other.take_from([self.archive])
        assert other.verify() == []
        self.archive = other

    @invariant()
    def all_is_there(self):
        if not hasattr(self, "kept"):
            return
        assert self.archive.ids() == sorted(self.kept)
        for name, kept in self.kept.items():
            assert [self.archive[name, number] for number in range(1, len(kept) + 1)] == kept
            assert self.archive[name] == self.current(name)
        decisions = sum(len(self.archive.standing(name).decisions) for name in self.kept)
        assert decisions == self.decided

    @rule()
    def look(self):
        assert self.archive.verify() == []
        frame = self.archive.catalogue()
        assert frame.record.tolist() == sorted(self.kept)
        for row in frame.itertuples():
            peak = self.current(row.record).peaks.query("component == 'H1' and quantity == 'PGA'").value.item()
            assert row.pga_H1_m_s2 == peak


def test_a_year_of_events_loses_nothing():
    few = settings(max_examples=3, stateful_step_count=20, deadline=None, suppress_health_check=list(HealthCheck))
    run_state_machine_as_test(Year, settings=few)


@pytest.mark.slow
def test_many_years_of_events_lose_nothing():
    many = settings(max_examples=60, stateful_step_count=40, deadline=None, suppress_health_check=list(HealthCheck))
    run_state_machine_as_test(Year, settings=many)


def test_what_stands_is_a_function_of_the_entries_alone(history, result):
    entries = history.history(result.record.id)
    assert standing(result.record.id, entries) == history.standing(result.record.id)
    parsed = [manifest_room.entry_in(e.content(), e.record, e.sequence, e.sha256, "") for e in entries]
    assert parsed == entries
    assert json.loads(entries[0].content())["provenance"]["libraries"]["numpy"] == np.__version__
    assert STATION.code == "QUAY"
