"""The desk without its page: queue, changes, decisions, two reviewers, a killed writer, damaged files."""

from __future__ import annotations

import os
import random
import signal
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest

from strongmotion import Archive, process, read
from strongmotion.archive import same_numbers
from strongmotion.foundation.errors import ArchiveError, InputError, SettingsError
from strongmotion.result import process as whole_job
from strongmotion.review import Queue, Session, what_moved
from strongmotion.settings import Settings

DEMO = Path(__file__).parents[1] / "demo_records"
FILES = ("quay.csv", "bell.txt", "heath.txt", "mole.txt")


@pytest.fixture(scope="module")
def results():
    return {name: process(read(DEMO / name)) for name in FILES}


@pytest.fixture
def archive(results, tmp_path):
    archive = Archive(tmp_path / "archive", create=True)
    for result in results.values():
        archive.add(result)
    return archive


def id_of(archive, code):
    return next(record for record in archive.ids() if f".{code}." in record)


def test_what_needs_eyes_comes_first(archive):
    queue = Queue(archive)
    assert [item.station for item in queue.items] == ["XX.BELL", "XX.MOLE", "XX.QUAY", "XX.HEATH"]
    archive.decide(id_of(archive, "BELL"), "rejected", "A. Reader", "clipped")
    archive.decide(id_of(archive, "HEATH"), "to look at", "A. Reader", "drift")
    queue.refresh()
    assert [item.station for item in queue.items] == ["XX.HEATH", "XX.MOLE", "XX.QUAY", "XX.BELL"]
    assert queue.decided == 1
    first = queue.items[0].record
    assert queue.beside(first, -1) == first
    assert queue.beside(first, 1) == id_of(archive, "MOLE")
    assert queue.next_undecided(id_of(archive, "BELL")) == first
    assert [item.station for item in queue.filtered("mole")] == ["XX.MOLE"]
    assert [item.station for item in queue.filtered(state="rejected")] == ["XX.BELL"]


def test_a_record_that_cannot_be_read_is_listed_first_and_refused_with_a_reason(archive):
    record = id_of(archive, "QUAY")
    path = archive.path(record)
    content = bytearray(path.read_bytes())
    content[len(content) // 2] ^= 1
    path.chmod(0o644)
    path.write_bytes(content)
    queue = Queue(archive)
    assert queue.items[0].record == record
    assert queue.items[0].problem == "cannot be read"
    with pytest.raises(ArchiveError, match=path.name):
        Session.open(archive, record)


def test_preview_has_the_bits_of_the_whole_job(archive, results):
    session = Session.open(archive, id_of(archive, "HEATH"))
    now = session.change(low_cut={"H1": 0.2, "H2": 0.2}, onset=20.0, margin=1.0)
    made = whole_job(read(DEMO / "heath.txt"), session.settings)
    for name, motion in made.motion.items():
        assert np.array_equal(now.motion[name].displacement, motion.displacement)
        spectrum = made.spectra[(made.spectra.component == name) & (made.spectra.period == 0.5)]
        assert now.listed[name][1] == spectrum.psa.iloc[0]
    assert now.bands == made.usable_band
    assert now.windows == made.windows


def test_moves_are_in_percent_and_none_where_nothing_changed(archive):
    session = Session.open(archive, id_of(archive, "HEATH"))
    assert {move.percent for move in what_moved(session.base, session.now)} == {0.0}
    session.change(low_cut={"H1": 0.5, "H2": 0.5})
    moves = {(move.component, move.quantity): move for move in what_moved(session.base, session.now)}
    pgd = moves["H1", "PGD"]
    assert pgd.percent == pytest.approx(100 * (pgd.after - pgd.before) / pgd.before)
    assert pgd.percent < -5
    assert abs(moves["V", "PGD"].percent) < 0.1  # only its pad is another
    assert moves["H1", "usable to"].after == pytest.approx(0.6 / 0.5)


def test_settings_that_are_not_allowed_change_nothing(archive):
    session = Session.open(archive, id_of(archive, "HEATH"))
    before = session.settings, session.now
    with pytest.raises(SettingsError):
        session.change(low_cut={"H1": 40.0, "H2": 40.0}, high_cut={"H1": 10.0, "H2": 10.0})
    assert (session.settings, session.now) == before


def test_every_baseline_method_is_offered_with_its_displacement(archive):
    session = Session.open(archive, id_of(archive, "HEATH"))
    found = session.baselines()
    assert {"band-limited", "polynomial"} <= set(found)
    assert all(its.method == method for method, by in found.items() for its in by.values())


def test_accepting_a_change_keeps_a_version_with_the_bits_of_process_and_undo_brings_the_other_back(archive):
    record = id_of(archive, "HEATH")
    automatic = archive.version(record).name
    session = Session.open(archive, record)
    session.change(low_cut={"H1": 0.2, "H2": 0.2})
    session.decide("accepted", "A. Reader", "long periods are noise")
    kept = archive[record]
    settings = Settings.from_dict({"filter": {"low_cut": {"H1": 0.2, "H2": 0.2, "V": "auto"}}})
    assert same_numbers(kept, process(read(DEMO / "heath.txt"), settings))
    stands = archive.standing(record)
    assert (stands.state, stands.decisions[-1].by, stands.decisions[-1].reason) == (
        "accepted", "A. Reader", "long periods are noise")  # fmt: skip
    assert next(version.name for version in archive.versions(record)) == automatic
    assert session.undo("A. Reader")
    assert archive.version(record).name == automatic
    assert archive.state(record) == "automatic"
    assert not session.undo("A. Reader")
    assert len(archive.versions(record)) == 2
    assert list(archive.verify()) == []


@pytest.mark.parametrize("state", ["accepted", "rejected", "to look at"])
def test_a_decision_without_a_change_adds_no_version_and_can_be_undone(archive, state):
    record = id_of(archive, "MOLE")
    session = Session.open(archive, record)
    session.decide(state, "A. Reader", "seen")
    assert archive.state(record) == state
    assert len(archive.versions(record)) == 1
    session.undo("A. Reader")
    assert archive.state(record) == "to look at"
    assert not Queue(archive)[record].decided


def test_undo_restores_an_earlier_decision(archive):
    record = id_of(archive, "MOLE")
    archive.decide(record, "rejected", "B. Reader", "late start")
    session = Session.open(archive, record)
    session.change(low_cut={"H1": 0.3, "H2": 0.3})
    session.decide("accepted", "A. Reader", "usable above 0.3 Hz")
    assert archive.state(record) == "accepted"
    session.undo("A. Reader")
    assert archive.state(record) == "rejected"
    assert archive.version(record).number == 1


def test_the_second_reviewer_sees_that_the_first_has_decided(archive):
    record = id_of(archive, "MOLE")
    one, two = Session.open(archive, record), Session.open(archive, record)
    one.decide("accepted", "A. Reader", "fine")
    assert "A. Reader decided: accepted" in two.news()
    two.change(low_cut={"H1": 0.3, "H2": 0.3})
    entries = archive.history(record)
    with pytest.raises(ArchiveError, match="Reader decided: accepted"):
        two.decide("rejected", "B. Reader", "late")
    assert archive.history(record) == entries
    again = Session.open(archive, record)
    again.decide("rejected", "B. Reader", "late")
    assert archive.state(record) == "rejected"


@pytest.mark.parametrize(("by", "reason"), [("", "x"), ("A. Reader", " ")])
def test_nobody_decides_without_a_reason(archive, by, reason):
    session = Session.open(archive, id_of(archive, "MOLE"))
    with pytest.raises(InputError, match="a decision needs a"):
        session.decide("accepted", by, reason)


def test_read_only_decides_nothing(archive):
    session = Session.open(archive, id_of(archive, "MOLE"), read_only=True)
    session.change(low_cut={"H1": 0.3, "H2": 0.3})
    with pytest.raises(InputError, match="nothing can be decided here"):
        session.decide("accepted", "A. Reader", "x")
    with pytest.raises(InputError, match="nothing can be kept here"):
        session.share([id_of(archive, "HEATH")], "A. Reader", "x", keep=True)
    assert len(archive.history(session.record_id)) == 1


def test_a_record_damaged_while_open_is_not_decided(archive):
    record = id_of(archive, "MOLE")
    session = Session.open(archive, record)
    path = archive.path(record)
    path.chmod(0o644)
    path.write_bytes(path.read_bytes()[:-100])
    with pytest.raises(ArchiveError, match=path.name):
        session.decide("accepted", "A. Reader", "x")
    assert archive.standing(record).decisions == ()


def test_a_change_is_shown_for_other_records_before_it_is_made(archive):
    session = Session.open(archive, id_of(archive, "HEATH"))
    session.change(low_cut={"H1": 0.3, "H2": 0.3}, onset=20.0)
    others = [id_of(archive, "MOLE"), id_of(archive, "QUAY")]
    shown = session.share(others)
    assert all(any(move.percent for move in moves) for moves in shown.values())
    assert all(len(archive.versions(record)) == 1 for record in others)
    assert session.share(others, "A. Reader", "one corner for the event", keep=True) == shown
    for record in others:
        kept = archive[record]
        assert kept.settings.filter.low_cut == {"H1": 0.3, "H2": 0.3, "V": "auto"}
        assert kept.settings.onset.time == "auto"  # each record has its own
        assert archive.state(record) == "automatic"  # nobody has looked at it yet


KILLED = """
import sys
from strongmotion import Archive
from strongmotion.review import Session
archive, record = Archive(sys.argv[1]), sys.argv[2]
print("ready", flush=True)
for corner in range(100, 1000):
    session = Session.open(archive, record)
    session.change(low_cut={"H1": corner / 1000, "H2": corner / 1000})
    session.decide("accepted", "A. Reader", "again")
"""


@pytest.mark.parametrize("kills", [3, pytest.param(12, marks=pytest.mark.slow)])
def test_a_killed_server_loses_nothing(archive, kills):
    record, wait = id_of(archive, "MOLE"), random.Random(17)
    counts = [1]
    for _ in range(kills):
        run = subprocess.Popen(
            [sys.executable, "-c", KILLED, str(archive.folder), record], stdout=subprocess.PIPE, text=True
        )
        assert run.stdout.readline() == "ready\n"
        time.sleep(wait.uniform(1.5, 4.0))
        os.kill(run.pid, signal.SIGKILL)
        run.wait()
        run.stdout.close()
        assert list(archive.verify()) == []
        counts.append(len(archive.versions(record)))
        assert all(archive[record, version.name] for version in archive.versions(record))
    assert counts == sorted(counts)
    assert counts[-1] > 1
    assert archive.version(record).state in ("accepted", "automatic")  # killed between version and decision


def test_opening_one_record_after_another_changes_nothing(archive):
    pytest.importorskip("bokeh")
    from bokeh.document import Document

    from strongmotion.review.page import Desk

    desk = Desk(Document(), archive, "A. Reader")
    for _ in range(len(archive)):
        for key in ("1", "2", "3"):
            desk.key(key)
        assert not desk.session.changed
        assert desk.view._wanted == {}
        assert desk.view._scheduled is False
        desk.key("j")
