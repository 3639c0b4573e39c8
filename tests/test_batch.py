"""Batches that are killed, interrupted, starved of disk or run twice at once: nothing that was done is lost."""

from __future__ import annotations

import contextlib
import csv
import errno
import json
import multiprocessing
import multiprocessing.forkserver
import os
import random
import shutil
import signal
import stat
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

import strongmotion
from strongmotion import Archive, ArchiveError, Component, InputError, Record, Settings, Station, batch, process
from strongmotion.archive import moved
from strongmotion.formats import write_csv
from strongmotion.foundation import files as foundation_files
from strongmotion.foundation.workers import Run, in_processes

QUICK = Settings.from_dict({"spectra": {"periods": [0.0, 0.2, 0.3, 1.0, 3.0]}, "uncertainty": {"bands": False}})
RECORDS = 8
SEED = 20310417

FORKS = pytest.mark.skipif(os.name != "posix", reason="needs the signals and forks of POSIX")


def record(code, size=1.0):
    """Return a short record of a burst, 12 s of one horizontal component."""
    time = np.arange(1200) * 0.01
    noise = np.random.default_rng(sum(map(ord, code))).normal(0, 1e-4, time.size)
    burst = size * np.sin(2 * np.pi * 2.0 * time) * np.exp(-(((time - 7) / 1.0) ** 2))
    start = np.datetime64("2031-04-17T03:26:27")
    return Record((Component("H1", burst + noise, 0.01, start=start),), Station(code, "XX"))


@pytest.fixture(scope="module")
def raw(tmp_path_factory):
    folder = tmp_path_factory.mktemp("raw")
    for number in range(RECORDS):
        write_csv(record(f"S{number:02d}", 1 + number / 10), folder / f"s{number:02d}.csv")
    return folder


@pytest.fixture(scope="module")
def whole(raw, tmp_path_factory):
    """Return the catalogue of an uninterrupted run, and how long it took (s)."""
    archive = Archive(tmp_path_factory.mktemp("whole"), create=True)
    batch.process_files(sorted(raw.iterdir())[:1], archive, QUICK)
    begun = time.perf_counter()
    batch.process_files([raw], archive, QUICK)
    return catalogue_of(archive), time.perf_counter() - begun


def catalogue_of(archive):
    return archive.catalogue().drop(columns="path")


def forkserver():
    """Return processes that start in no time: forked from a server that has everything loaded."""
    context = multiprocessing.get_context("forkserver")
    context.set_forkserver_preload(["warm_batch"])
    with pytest.MonkeyPatch.context() as patch:  # the server does not take over the path of its parent
        patch.setenv("PYTHONPATH", os.pathsep.join([str(Path(__file__).parent), *filter(None, sys.path)]))
        multiprocessing.forkserver.ensure_running()
    return context


def run_batch(paths, archive, jobs=1):
    batch.process_files(paths, archive, QUICK, jobs=jobs)


# Killed


@FORKS
@pytest.mark.parametrize("kills", [6, pytest.param(200, marks=pytest.mark.slow)])
def test_a_killed_batch_leaves_whole_records_and_can_go_on(raw, whole, kills, tmp_path):
    expected, seconds = whole
    rng = random.Random(SEED)
    context = forkserver()
    begun = []
    for number in range(kills):
        archive = Archive(tmp_path / f"{number}", create=True)
        child = context.Process(target=run_batch, args=([raw], archive.folder))
        child.start()
        # Anywhere from before the first record to after the last one.
        behind = rng.randrange(RECORDS)
        wait_for(lambda archive=archive, behind=behind: len(archive) >= behind)
        time.sleep(rng.uniform(0, 1.5 * seconds / RECORDS))
        child.kill()
        child.join()
        assert archive.verify() == []
        begun.append(len(archive))
        # A record that was entered when the kill came only lacks its name, which the next batch gives it.
        entered = sum(bool(archive.manifest.entries(record_id)) for record_id in archive.manifest.records())
        assert entered - begun[-1] in (0, 1)
        outcome = batch.process_files([raw], archive, QUICK)
        assert outcome.failed == []
        assert len(outcome.skipped) == entered
        assert archive.verify() == []
        pd.testing.assert_frame_equal(catalogue_of(archive), expected)
    # The kills fell where they were meant to: most of them inside a run.
    assert sum(0 < there < RECORDS for there in begun) > kills / 4


def with_other_settings(paths, archive, order):
    settings = Settings.from_dict(QUICK.to_dict() | {"filter": {"order": order}})
    batch.process_files(paths, archive, settings)


@FORKS
@pytest.mark.parametrize("kills", [4, pytest.param(60, marks=pytest.mark.slow)])
def test_killed_while_adding_versions_every_version_is_there(raw, whole, kills, tmp_path):
    archive = Archive(tmp_path, create=True)
    batch.process_files([raw], archive, QUICK)
    first = {record_id: archive[record_id] for record_id in archive}
    rng, context = random.Random(SEED), forkserver()
    for number in range(kills):
        known = {record_id: archive.versions(record_id) for record_id in archive}
        child = context.Process(target=with_other_settings, args=([raw], archive.folder, 2 + number % 5))
        child.start()
        time.sleep(rng.uniform(0, whole[1]))
        child.kill()
        child.join()
        assert archive.verify() == []
        for record_id, versions in known.items():
            files = [version.file for version in archive.versions(record_id)]
            assert {version.file for version in versions} <= set(files)
        assert all(archive[record_id, 1] == result for record_id, result in first.items())
        assert len(archive.catalogue()) == RECORDS
    archive.finish_writes()
    assert archive.verify() == []
    assert not [path for path in archive.records.iterdir() if path.name.startswith(".") and not path.stat().st_size]


@pytest.mark.skipif(not Path("/proc").is_dir(), reason="finds worker processes in /proc")
def test_workers_end_with_a_killed_parent(raw, tmp_path):
    archive = Archive(tmp_path, create=True)
    parent = start_command("process", raw, "-o", archive.folder, "--jobs", "2")
    wait_for(lambda: len(archive) >= 1)
    children = [int(pid) for pid in Path(f"/proc/{parent.pid}/task/{parent.pid}/children").read_text().split()]
    assert len(children) >= 2
    parent.kill()
    parent.communicate()
    wait_for(lambda: not any(Path(f"/proc/{pid}/cmdline").exists() and is_alive(pid) for pid in children))
    assert archive.verify() == []


def is_alive(pid):
    with contextlib.suppress(OSError):
        return Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()[0] != "Z"
    return False


def start_command(*words):
    command = [sys.executable, "-m", "strongmotion.cli", *map(str, words)]
    return subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)


def wait_for(held, seconds=60.0):
    until = time.monotonic() + seconds
    while not held():
        assert time.monotonic() < until, "waited in vain"
        time.sleep(0.002)


# Interrupted


@FORKS
@pytest.mark.parametrize("jobs", [1, 2])
def test_an_interruption_finishes_what_is_in_hand(raw, tmp_path, jobs):
    archive = Archive(tmp_path, create=True)
    parent = start_command("process", raw, "-o", archive.folder, "--jobs", jobs)
    wait_for(lambda: len(archive) >= 1)
    parent.send_signal(signal.SIGINT)
    out, err = parent.communicate(timeout=60)
    assert parent.returncode == 1, err
    assert "finishing the records in progress; interrupt again to stop immediately" in err
    done = len(archive)
    assert 1 <= done < RECORDS
    assert f"{done} processed, 0 skipped (unchanged), 0 failed" in out
    assert f"interrupted with {RECORDS - done} file" in err
    assert list((tmp_path / "records").glob(".*")) == []
    assert archive.verify() == []


def test_a_second_interruption_stops_at_once(raw, tmp_path, monkeypatch):
    def processed(file, job):
        signal.raise_signal(signal.SIGINT)
        told.append("first")
        signal.raise_signal(signal.SIGINT)
        told.append("never")

    told = []
    before = signal.getsignal(signal.SIGINT)  # a process started in the background ignores it
    monkeypatch.setattr(batch, "_process_file", processed)
    outcome = batch.process_files([raw], tmp_path, QUICK, interrupted=lambda: told.append("stopping"))
    assert told == ["stopping", "first"]
    assert len(outcome.remaining) == RECORDS
    assert signal.getsignal(signal.SIGINT) is before


def test_workers_that_cannot_start_are_wrong_use(raw, tmp_path):
    # A script from standard input: a fresh process cannot load it anew.
    code = f"from strongmotion.batch import process_files\nprocess_files([{str(raw)!r}], {str(tmp_path)!r}, jobs=2)\n"
    done = subprocess.run([sys.executable, "-"], input=code, capture_output=True, text=True, timeout=120, check=False)
    assert done.returncode == 1
    assert "InputError: worker processes cannot start. Call this in a script file" in done.stderr
    assert len(Archive(tmp_path, create=True)) == 0


# Two at once


@FORKS
def test_two_batches_into_one_archive_at_once(raw, whole, tmp_path):
    archive = Archive(tmp_path / "archive", create=True)
    everything = sorted(raw.iterdir())
    halves = everything[: RECORDS - 2], everything[:1:-1]  # overlapping, and from both ends
    context = forkserver()
    writers = [context.Process(target=run_batch, args=(half, archive.folder)) for half in halves]
    for writer in writers:
        writer.start()
    for writer in writers:
        writer.join(60)
        assert writer.exitcode == 0
    assert not (archive.folder / "failed.csv").exists()
    assert archive.verify() == []
    assert list((archive.folder / "records").glob(".*")) == []
    pd.testing.assert_frame_equal(catalogue_of(archive), whole[0])


def test_a_record_that_another_writer_finished_first_is_not_a_failure(raw, tmp_path, monkeypatch):
    archive = Archive(tmp_path, create=True)
    add = Archive.add

    def second(self, result, *more, **named):
        monkeypatch.undo()
        add(self, result)
        return add(self, result, *more, **named)

    monkeypatch.setattr(Archive, "add", second)
    outcome = batch.process_files(sorted(raw.iterdir())[:1], archive, QUICK)
    assert (len(outcome.done), outcome.failed) == (1, [])
    assert len(archive.versions(archive.ids()[0])) == 1


# Faults


@pytest.fixture
def small_disk(tmp_path):
    place = tmp_path / "disk"
    place.mkdir()
    mount = shutil.which("mount")
    command = [mount, "-t", "tmpfs", "-o", "size=512k", "tmpfs", str(place)]
    if mount is None or subprocess.run(command, capture_output=True, check=False).returncode:
        pytest.skip("this user may not mount a small disk")
    yield place
    subprocess.run(["umount", str(place)], check=True)


def test_a_full_disk_names_itself_and_leaves_earlier_records_whole(raw, small_disk):
    outcome = batch.process_files([raw], small_disk / "archive", QUICK)
    archive = Archive(small_disk / "archive", create=True)
    assert 1 <= len(archive) == len(outcome.done) < RECORDS
    refused = [failure for failure in outcome.failed if failure.file.suffix == ".csv" and failure.file.parent == raw]
    assert len(refused) == RECORDS - len(archive)
    assert all("No space left on device" in failure.reason for failure in refused)
    assert archive.verify() == []
    assert len(archive.catalogue()) == len(archive)  # where the index finds no room it is built in memory


def test_a_disk_that_turns_read_only_names_itself(raw, small_disk):
    files = sorted(raw.iterdir())
    batch.process_files(files[:1], small_disk / "archive", QUICK)
    subprocess.run(["mount", "-o", "remount,ro", str(small_disk)], check=True)
    outcome = batch.process_files(files[:2], small_disk / "archive", QUICK)
    assert len(outcome.skipped) == 1
    assert "Read-only file system" in outcome.failed[0].reason
    archive = Archive(small_disk / "archive", create=True)
    assert archive.verify() == []
    assert len(archive.catalogue()) == 1


@pytest.mark.skipif(os.name != "posix" or os.getuid() == 0, reason="the superuser may write anywhere")
def test_a_read_only_folder_names_itself(raw, tmp_path):
    archive = Archive(tmp_path / "archive", create=True)
    files = sorted(raw.iterdir())
    batch.process_files(files[:1], archive, QUICK)
    (tmp_path / "archive" / "records").chmod(0o555)
    outcome = batch.process_files(files[:2], archive, QUICK)
    (tmp_path / "archive" / "records").chmod(0o755)
    assert "Permission denied" in outcome.failed[0].reason
    assert archive.verify() == []


def test_an_archive_removed_in_mid_run_does_not_come_back_empty(raw, tmp_path):
    archive = Archive(tmp_path / "archive", create=True)

    def remove(finished, total):
        if finished == 2:
            archive.folder.rename(tmp_path / "elsewhere")

    outcome = batch.process_files([raw], archive, QUICK, progress=remove)
    assert len(outcome.done) == 2
    reasons = [failure.reason for failure in outcome.failed if failure.file.parent == raw]
    assert len(reasons) == RECORDS - 2
    assert all("there is no archive here" in reason for reason in reasons)
    assert not archive.folder.exists()
    assert Archive(tmp_path / "elsewhere", create=True).verify() == []
    assert len(Archive(tmp_path / "elsewhere", create=True)) == 2


@pytest.mark.parametrize("call", ["fsync", "link", "write", "open"])
@pytest.mark.parametrize("number", [errno.EIO, errno.EDQUOT, errno.ESTALE])
def test_a_failing_call_names_itself_and_leaves_no_trace(raw, tmp_path, monkeypatch, call, number):
    files = sorted(raw.iterdir())
    archive = Archive(tmp_path, create=True)
    batch.process_files(files[:1], archive, QUICK)
    before = archive.files()[0].read_bytes()

    def fail(*_, **__):
        raise OSError(number, os.strerror(number))

    monkeypatch.setattr(foundation_files.os, call, fail)
    if call == "link":  # where there are no hard links a rename does it
        monkeypatch.setattr(Path, "rename", fail)
    with pytest.raises(ArchiveError, match=os.strerror(number)):
        archive.add(process(record("NEW"), QUICK))
    monkeypatch.undo()
    assert [path.read_bytes() for path in archive.files()] == [before]
    assert list((tmp_path / "records").glob(".*")) == []
    assert archive.verify() == []


def test_a_file_that_is_entered_and_cannot_get_its_name_gets_it_later(tmp_path, monkeypatch):
    archive = Archive(tmp_path, create=True)
    path = archive.add(process(record("OLD"), QUICK))
    before, link = path.read_bytes(), os.link

    def fail(one, other):
        if str(other).endswith(".h5"):
            raise OSError(errno.EIO, "Input/output error")
        link(one, other)

    monkeypatch.setattr(os, "link", fail)
    monkeypatch.setattr(Path, "rename", lambda *_: (_ for _ in ()).throw(OSError(errno.EIO, "Input/output error")))
    other = Settings.from_dict(QUICK.to_dict() | {"filter": {"order": 6}})
    with pytest.raises(ArchiveError, match="Input/output error; it is entered, and will get its name"):
        archive.add(process(record("OLD"), other))
    monkeypatch.undo()
    assert path.read_bytes() == before
    assert archive.verify() == []
    assert [version.number for version in archive.versions(archive.ids()[0])] == [1]
    archive.finish_writes()
    assert [version.number for version in archive.versions(archive.ids()[0])] == [1, 2]
    assert archive[archive.ids()[0]].settings.filter.order == 6
    assert archive.verify() == []


def test_a_folder_that_cannot_be_flushed_is_told_of(tmp_path, monkeypatch):
    archive = Archive(tmp_path, create=True)
    archive.add(process(record("OLD"), QUICK))
    flush, calls = os.fsync, []

    def second_fails(descriptor):
        calls.append(descriptor)
        if len(calls) == 6:
            raise OSError(errno.EIO, os.strerror(errno.EIO))
        flush(descriptor)

    monkeypatch.setattr(os, "fsync", second_fails)
    # The file, its folder, the new folder of its entry, the entry, its folder, and again the file's folder.
    with pytest.raises(ArchiveError, match=r"was written, but its folder could not be flushed .* power failure"):
        archive.add(process(record("NEW"), QUICK))
    assert archive.verify() == []


def test_a_file_system_that_cannot_flush_folders_will_do(tmp_path, monkeypatch):
    archive = Archive(tmp_path, create=True)
    flush = os.fsync

    def only_files(descriptor):
        if stat.S_ISDIR(os.fstat(descriptor).st_mode):
            raise OSError(errno.EINVAL, os.strerror(errno.EINVAL))
        flush(descriptor)

    monkeypatch.setattr(os, "fsync", only_files)
    archive.add(process(record("NEW"), QUICK))
    assert archive.verify() == []


def test_what_killed_writes_left_is_removed_once_it_is_old(raw, tmp_path):
    archive = Archive(tmp_path, create=True)
    old, young = (tmp_path / "records" / f".XX.{name}.h5.0a1b.part" for name in ("OLD", "YOUNG"))
    for path in (old, young):
        path.write_bytes(b"half")
    os.utime(old, (0, 0))
    assert [problem.file for problem in archive.verify()] == [old]  # the other may be in the making
    batch.process_files(sorted(raw.iterdir())[:1], archive, QUICK)
    assert (old.exists(), young.exists()) == (False, True)
    assert archive.verify() == []


def test_failures_are_kept_until_mended_or_gone(raw, tmp_path):
    folder = tmp_path / "more"
    folder.mkdir()
    bad, worse, good = folder / "bad.csv", folder / "worse.csv", sorted(raw.iterdir())[0]
    for path in (bad, worse):
        path.write_text("no record\n")
    archive = Archive(tmp_path / "archive", create=True)

    def listed():
        path = archive.folder / "failed.csv"
        lines = path.read_text().splitlines() if path.exists() else []
        return [Path(row["file"]).name for row in csv.DictReader(lines)]

    batch.process_files([bad, worse], archive, QUICK)
    assert listed() == ["bad.csv", "worse.csv"]
    batch.process_files([good], archive, QUICK)
    assert listed() == ["bad.csv", "worse.csv"]
    shutil.copy(sorted(raw.iterdir())[1], bad)
    worse.unlink()
    batch.process_files([bad], archive, QUICK)
    assert listed() == []


# Processed again


def test_reprocessing_gives_the_same_bits_or_says_what_moved(raw, tmp_path):
    archive = Archive(tmp_path, create=True)
    batch.process_files([raw], archive, QUICK)
    before = {path: path.read_bytes() for path in archive.files()}
    again = batch.reprocess(archive, jobs=2)
    assert [answer.record for answer in again] == archive.ids()
    assert all(answer.same and answer.moved is None and not answer.failed for answer in again)

    other = Settings.from_dict({"filter": {"low_cut": 1.5}, "spectra": {"periods": [0.0, 0.2, 0.5, 3.0]}})
    one = archive.ids()[0]
    (answer,) = batch.reprocess(archive, [one], other)
    assert not answer.same
    assert answer.version == archive[one].version
    made = process(archive[one].record, other)
    table = answer.moved.set_index(["quantity", "component"])
    stored = archive[one]
    assert table.before["low-cut", "H1"] == stored.usable_band["H1"].low_cut
    assert table.after["low-cut", "H1"] == 1.5
    pgd = [r.peaks.query("quantity == 'PGD' and component == 'H1'").value.item() for r in (stored, made)]
    assert table.change_percent["PGD", "H1"] == pytest.approx(100 * (pgd[1] / pgd[0] - 1), rel=1e-12)
    # Of the spectrum the ordinate that moved most, of those in both: 3 s, far beyond the corner.
    assert table.period_s["PSA", "H1"] == 3.0
    assert {path: path.read_bytes() for path in archive.files()} == before

    batch.reprocess(archive, [one], other, keep=True, by="A. Tester", why="a trial")
    assert archive[one] == made
    assert (archive[one, 1], archive.version(one).by) == (stored, "A. Tester")
    with pytest.raises(ArchiveError, match=r"there is no record 'XX\.S99'"):
        batch.reprocess(archive, ["XX.S99"])
    with pytest.raises(InputError, match="at least 1"):
        batch.reprocess(archive, jobs=0)


def test_nothing_moved_between_equals():
    made = process(record("ONE"), QUICK)
    assert len(moved(made, made)) == 0


def test_a_record_that_cannot_be_processed_again_does_not_stop_the_rest(raw, tmp_path):
    archive = Archive(tmp_path, create=True)
    batch.process_files([raw], archive, QUICK)
    path = archive.files()[0]
    path.write_bytes(path.read_bytes()[:1000])
    first, *others = batch.reprocess(archive)
    assert path.name in first.failed
    assert all(answer.same for answer in others)


# Only some dampings rotated


def test_rotd_may_be_left_out_where_it_is_not_wanted():
    one, other = (record(code).components[0] for code in ("ONE", "OTHER"))
    pair = Record((one, Component("H2", other.samples, other.dt, start=other.start)))
    choices = {"periods": [0.0, 0.3, 1.0], "damping": [0.02, 0.05, 0.1]}
    whole = process(pair, Settings.from_dict({"spectra": choices})).spectra
    some = process(pair, Settings.from_dict({"spectra": choices | {"rotated_damping": [0.05]}})).spectra
    rotated = whole.component.str.startswith("RotD")
    kept = ~rotated | (whole.damping == 0.05)
    assert rotated.any()
    pd.testing.assert_frame_equal(some[kept], whole[kept])
    assert some[~kept].psa.isna().all()
    assert not some[~kept].usable.any()


# On a cluster


def test_a_cluster_that_loses_a_worker_loses_no_record(raw, whole, tmp_path):
    distributed = pytest.importorskip("distributed")
    archive = Archive(tmp_path / "archive", create=True)
    killed = []
    # Its log of the loss is expected.
    options = {"silence_logs": 50, "dashboard_address": ":0", "local_directory": str(tmp_path)}
    with distributed.LocalCluster(n_workers=2, threads_per_worker=1, **options) as cluster:

        def kill_one(finished, total):
            if finished == 1:
                killed.append(cluster.workers[0].pid)
                os.kill(killed[0], signal.SIGKILL)

        outcome = batch.process_files(
            [raw], archive, QUICK, cluster=cluster.scheduler_address, progress=kill_one
        )  # fmt: skip
    assert len(killed) == 1
    assert outcome.failed == []
    assert len(outcome.done) + len(outcome.skipped) == RECORDS
    assert archive.verify() == []
    pd.testing.assert_frame_equal(catalogue_of(archive), whole[0])


def test_a_lost_scheduler_is_a_sentence_and_what_remains(raw, tmp_path):
    pytest.importorskip("distributed")
    archive = Archive(tmp_path / "archive", create=True)
    scheduler = subprocess.Popen(
        [sys.executable, "-m", "distributed.cli.dask_scheduler", "--port", "0", "--no-dashboard", "--no-show",
         "--scheduler-file", str(tmp_path / "s.json")], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
    )  # fmt: skip
    worker = None
    try:
        wait_for(lambda: (tmp_path / "s.json").exists() and (tmp_path / "s.json").stat().st_size > 0)
        address = json.loads((tmp_path / "s.json").read_text())["address"]
        worker = subprocess.Popen(
            [sys.executable, "-m", "distributed.cli.dask_worker", address, "--nthreads", "1", "--no-dashboard",
             "--local-directory", str(tmp_path / "w"), "--death-timeout", "20"],
            stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
        )  # fmt: skip

        def kill(finished, total):
            if finished == 2:
                scheduler.kill()

        outcome = batch.process_files([raw], archive, QUICK, cluster=address, progress=kill)
    finally:
        scheduler.kill()
        scheduler.wait()
        if worker is not None:
            worker.kill()
            worker.wait()
    assert "the scheduler of the cluster was lost" in outcome.stopped
    assert len(outcome.done) >= 2
    assert len(outcome.done) + len(outcome.remaining) == RECORDS
    assert outcome.failed == []
    assert archive.verify() == []
    again = batch.process_files([raw], archive, QUICK)
    assert (len(again.skipped) + len(again.done), again.failed, again.remaining) == (RECORDS, [], [])


def job_on_a_cluster(archive, **other):
    values = {
        "archive": archive.folder, "settings": QUICK, "reading": {}, "figures": False, "unit": "g", "threads": 1,
        "by": "", "why": "", "on_cluster": True, "version": strongmotion.__version__,
    }  # fmt: skip
    return batch._Job(**(values | other))


def test_a_worker_without_the_files_or_of_another_version_says_so(raw, tmp_path):
    archive = Archive(tmp_path / "archive", create=True)
    (failure,) = batch._process_file(tmp_path / "elsewhere.csv", job_on_a_cluster(archive))
    assert "does not see the file. Workers need the files and the archive under the same paths" in failure.reason
    (failure,) = batch._process_file(sorted(raw.iterdir())[0], job_on_a_cluster(archive, version="99.0"))
    assert f"runs strongmotion {strongmotion.__version__}, this is 99.0. Install one version" in failure.reason


def test_one_worker_two_workers_and_a_cluster_write_the_same_bytes(raw, tmp_path):
    distributed = pytest.importorskip("distributed")
    options = {"silence_logs": 50, "dashboard_address": ":0", "local_directory": str(tmp_path)}
    batch.process_files([raw], tmp_path / "one", QUICK)
    batch.process_files([raw], tmp_path / "two", QUICK, jobs=2)
    with distributed.LocalCluster(n_workers=2, threads_per_worker=1, **options) as cluster:
        batch.process_files([raw], tmp_path / "dask", QUICK, cluster=cluster.scheduler_address)
    one, two, dask = (
        {path.name: path.read_bytes() for path in Archive(tmp_path / name).files()} for name in ("one", "two", "dask")
    )
    assert len(one) == RECORDS
    assert one == two == dask


# An inbox


def test_files_are_processed_as_they_arrive_once_they_are_whole(raw, tmp_path):
    inbox = tmp_path / "inbox"
    inbox.mkdir()
    files = sorted(raw.iterdir())
    shutil.copy(files[0], inbox)
    with (inbox / files[1].name).open("wb") as half:
        seen = []
        for number, outcome in enumerate(
            batch.watch_folders(
                [inbox], tmp_path / "archive", QUICK, every=0.05, siblings=0.2, interrupted=lambda: seen.append("stop")
            )
        ):
            seen.append([done.file.name for done in outcome.done])
            if number == 0:
                half.write(files[1].read_bytes())
                half.flush()
            elif number == 1:
                shutil.copy(files[2], inbox)
            else:
                signal.raise_signal(signal.SIGINT)
    assert seen == [[files[0].name], [files[1].name], [files[2].name], "stop"]
    assert Archive(tmp_path / "archive").verify() == []


def _break(item, job):
    """Stand in for a function that a worker cannot load."""
    raise ImportError("no module named strongmotion")


def test_a_cluster_whose_workers_cannot_begin_says_why(tmp_path):
    distributed = pytest.importorskip("distributed")
    options = {"silence_logs": 50, "dashboard_address": ":0", "local_directory": str(tmp_path)}
    with distributed.LocalCluster(n_workers=1, threads_per_worker=1, processes=False, **options) as cluster:
        run = Run(_break, lambda item, why: why, None, 1, cluster.scheduler_address)
        answers = run.of(["one", "two"])
    assert sorted(item for item, _ in answers) == ["one", "two"]
    assert all("a worker could not begin: ImportError" in why for _, why in answers)


def test_a_cluster_that_does_not_answer_is_wrong_use(raw, tmp_path, monkeypatch):
    distributed = pytest.importorskip("distributed")

    def no_answer(address, timeout):
        raise OSError(f"Timed out trying to connect to {address}")

    monkeypatch.setattr(distributed, "Client", no_answer)
    with pytest.raises(InputError, match=r"no scheduler answers at 'tcp://127\.0\.0\.1:9'.*dask scheduler"):
        batch.process_files([raw], tmp_path / "archive", QUICK, cluster="tcp://127.0.0.1:9")


@FORKS
def test_batches_that_end_at_once_keep_each_others_failures(tmp_path):
    files = [tmp_path / f"bad{number}.csv" for number in range(12)]
    for file in files:
        file.write_text("no record")
    listed = tmp_path / batch.FAILURES
    context = multiprocessing.get_context("fork")
    writers = [
        context.Process(target=batch._list_failures, args=(listed, [batch.Failure(file, "bad")], {file}))
        for file in files
    ]
    for writer in writers:
        writer.start()
    for writer in writers:
        writer.join()
    with listed.open(newline="") as rows:
        assert sorted(row[0] for row in csv.reader(rows)) == sorted(["file", *map(str, files)])


@FORKS
def test_workers_that_die_are_named():
    with pytest.raises(ArchiveError, match="a worker process died"):
        list(in_processes(_die, [(1,), (2,)], jobs=2))


def _die(_):
    os.kill(os.getpid(), signal.SIGKILL)
