"""The command line and the batch under it: what each command prints, writes and returns."""

from __future__ import annotations

import csv
import dataclasses
import os
import re
import shutil
import signal
import subprocess
import sys
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from typer.testing import CliRunner

import strongmotion
from strongmotion import Archive, ArchiveError, Component, InputError, Record, Settings, SettingsError, Station, batch
from strongmotion.cli import app, main
from strongmotion.formats import write_csv
from strongmotion.foundation.cautions import CAUTION

DEMO = Path(__file__).parents[1] / "demo_records"
G = 9.80665  # m/s², ISO 80000-3
QUICK = Settings.from_dict({"spectra": {"periods": [0.0, 0.2, 0.3, 1.0, 3.0]}})

run = CliRunner().invoke


def record(code="QUAY", size=1.0, start="2031-04-17T03:26:27"):
    """Return a record of a burst whose peak is known by construction: `size` times 1, 0.8 and 0.5 m/s² at 12 s."""
    time = np.arange(4000) * 0.01
    noise = np.random.default_rng(len(code)).normal(0, 1e-4, (3, time.size))
    burst = np.sin(2 * np.pi * 2.0 * (time - 12) + np.pi / 2) * np.exp(-(((time - 12) / 1.5) ** 2))
    rows = size * np.outer((1.0, 0.8, 0.5), burst) + noise
    components = (
        Component(name, row, 0.01, start=np.datetime64(start))
        for name, row in zip(("H1", "H2", "V"), rows, strict=True)
    )
    return Record(
        tuple(components), Station(code=code, network="XX", name="Old Quay", latitude=-47.1, longitude=-124.7)
    )


@pytest.fixture
def folder(tmp_path):
    """Return a folder with two sound records, a damaged one, and files that are no records."""
    place = tmp_path / "raw"
    (place / "deeper").mkdir(parents=True)
    write_csv(record("QUAY"), place / "quay.csv")
    write_csv(record("PIER", size=2.0), place / "pier.csv")
    lines = (place / "quay.csv").read_text().splitlines()
    lines[100] = "0.1, not a number, 0.2"
    (place / "harm.csv").write_text("\n".join(lines))
    for name in ("README.md", ".hidden", "deeper/inner.csv", "notes.toml"):
        (place / name).write_text("not a record\n")
    return place


@pytest.fixture
def quick(tmp_path):
    path = tmp_path / "quick.toml"
    path.write_text(QUICK.to_toml())
    return path


@pytest.fixture(scope="module")
def stored(tmp_path_factory):
    """Return an archive of two records, to look at only."""
    raw, archive = tmp_path_factory.mktemp("raw"), tmp_path_factory.mktemp("out") / "archive"
    for code in ("QUAY", "PIER"):
        write_csv(record(code), raw / f"{code}.csv")
    outcome = batch.process_files([raw], archive, QUICK)
    assert len(outcome.done) == 2
    return archive


def call_main(monkeypatch, capsys, *words):
    """Run `main` as the installed script does; return exit status, output and errors."""
    monkeypatch.setattr(sys, "argv", ["strongmotion", *map(str, words)])
    with pytest.raises(SystemExit) as left:
        main()
    out, err = capsys.readouterr()
    return left.value.code or 0, out, err


def call_process(*words):
    """Run the command line as a process of its own, its output piped."""
    command = [sys.executable, "-m", "strongmotion.cli", *map(str, words)]
    environment = os.environ | {"FORCE_COLOR": "1", "COLUMNS": "40"}
    return subprocess.run(command, capture_output=True, text=True, env=environment, timeout=120)


# process


def test_process_stores_the_good_and_names_the_bad(folder, quick, tmp_path):
    archive = tmp_path / "archive"
    result = run(app, ["process", str(folder), "-o", str(archive), "--settings", str(quick), "--unit", "g"])
    assert result.exit_code == 1
    assert "2 processed, 0 skipped (unchanged), 1 failed" in result.stdout
    assert CAUTION in result.stdout
    assert re.search(r"harm\.csv: line 101: ", result.stderr)
    assert "quay.csv" not in result.stderr
    assert Archive(archive, create=True).ids() == ["XX.PIER_20310417T032627", "XX.QUAY_20310417T032627"]
    (row,) = [line.split() for line in result.stdout.splitlines() if line.startswith("XX.PIER")]
    assert float(row[1]) == pytest.approx(2.0 / G, rel=0.01)
    with (archive / "failed.csv").open(newline="") as file:
        failed = list(csv.reader(file))
    assert failed[0] == ["file", "reason"]
    assert [Path(line[0]).name for line in failed[1:]] == ["harm.csv"]
    assert "line 101" in failed[1][1]


def test_process_again_skips_what_is_done_and_forgets_old_failures(folder, quick, tmp_path):
    archive = tmp_path / "archive"
    command = ["process", str(folder), "-o", str(archive), "--settings", str(quick)]
    assert run(app, command).exit_code == 1
    before = {path: path.stat().st_mtime_ns for path in Archive(archive, create=True).files()}
    (folder / "harm.csv").unlink()
    result = run(app, command)
    assert result.exit_code == 0
    assert "0 processed, 2 skipped (unchanged), 0 failed" in result.stdout
    assert {path: path.stat().st_mtime_ns for path in Archive(archive, create=True).files()} == before
    assert not (archive / "failed.csv").exists()


def test_other_settings_make_a_version(folder, quick, tmp_path):
    archive = tmp_path / "archive"
    command = ["process", str(folder / "quay.csv"), "-o", str(archive), "--settings", str(quick)]
    assert run(app, command).exit_code == 0
    quick.write_text(QUICK.to_toml().replace('low_cut = "auto"', "low_cut = 0.3"))
    again = run(app, command)
    assert again.exit_code == 0
    assert re.search(r"version 2-[0-9a-f]{8}: other settings$", again.stdout, re.MULTILINE)
    store = Archive(archive)
    assert store["XX.QUAY_20310417T032627"].settings.filter.low_cut == 0.3
    assert store["XX.QUAY_20310417T032627", 1].settings.filter.low_cut == "auto"
    assert "0 processed, 1 skipped (unchanged), 0 failed" in run(app, command).stdout
    assert run(app, [*command, "--replace"]).exit_code == 2


def test_two_records_of_one_name_are_two_records(folder, quick, tmp_path):
    write_csv(record("QUAY", size=3.0), folder / "quay_again.csv")
    files = [folder / "quay.csv", folder / "quay_again.csv"]
    outcome = batch.process_files(files, tmp_path / "one", QUICK)
    assert outcome.failed == []
    first, second = (done.record for done in outcome.done)
    assert first == "XX.QUAY_20310417T032627"
    assert re.fullmatch(r"XX\.QUAY_20310417T032627~[0-9a-f]{10}", second)
    archive = Archive(tmp_path / "one")
    assert archive.ids() == sorted([first, second])
    assert (len(archive.versions(first)), len(archive.versions(second))) == (1, 1)
    again = batch.process_files(files, archive, QUICK)
    assert len(again.skipped) == 2
    assert archive.verify() == []
    assert len(archive.catalogue()) == 2


def test_figures_are_drawn_also_for_what_is_there_already(folder, quick, tmp_path):
    archive = tmp_path / "archive"
    command = ["process", str(folder / "quay.csv"), "-o", str(archive), "--settings", str(quick)]
    assert run(app, command).exit_code == 0
    assert not (archive / "figures").exists()
    assert run(app, [*command, "--figures"]).exit_code == 0
    names = sorted(path.name for path in (archive / "figures").iterdir())
    assert names == ["XX.QUAY_20310417T032627_motion.png", "XX.QUAY_20310417T032627_spectrum.png"]


def test_unexpected_error_stops_one_record_only(folder, monkeypatch, tmp_path):
    def process(record, settings, **more):
        if record.station.code == "PIER":
            raise ZeroDivisionError("a defect")
        return true_process(record, settings, **more)

    true_process = strongmotion.process
    monkeypatch.setattr("strongmotion.result.process", process)
    outcome = batch.process_files([folder / "pier.csv", folder / "quay.csv"], tmp_path / "archive", QUICK)
    assert [done.file.name for done in outcome.done] == ["quay.csv"]
    assert outcome.failed[0].reason == "unexpected error, please report it: ZeroDivisionError: a defect"


def test_archive_that_cannot_be_made_is_one_line(folder, tmp_path, monkeypatch, capsys):
    (tmp_path / "taken").write_text("a file, not a folder")
    status, out, err = call_main(monkeypatch, capsys, "process", folder, "-o", tmp_path / "taken")
    assert status == 1
    assert out == ""
    assert re.fullmatch(r"strongmotion: .*taken.*cannot be made.*\n", err)


def test_full_disk_fails_each_record_by_name(folder, monkeypatch, tmp_path):
    def add(self, result, *_, **__):
        raise ArchiveError("could not be written: No space left on device", remedy="Make room on the disk")

    monkeypatch.setattr(Archive, "add", add)
    outcome = batch.process_files([folder / "pier.csv", folder / "quay.csv"], tmp_path / "archive", QUICK)
    assert [failure.file.name for failure in outcome.failed] == ["pier.csv", "quay.csv"]
    assert all("No space left" in failure.reason for failure in outcome.failed)


def test_missing_file_is_named_and_the_rest_goes_on(folder, quick, tmp_path):
    words = ["process", str(folder / "none.csv"), str(folder / "quay.csv"), "-o", str(tmp_path / "archive")]
    result = run(app, [*words, "--settings", str(quick)])
    assert result.exit_code == 1
    assert "none.csv: no such file" in result.stderr
    assert "1 processed" in result.stdout


# The batch


def test_folder_stands_for_its_files(folder):
    assert [file.name for file in batch.files_of([folder])] == ["harm.csv", "pier.csv", "quay.csv"]
    # Named one by one, every file counts, once.
    files = batch.files_of([folder / "README.md", folder, folder / "quay.csv"])
    assert [file.name for file in files] == ["README.md", "harm.csv", "pier.csv", "quay.csv"]
    (folder / "empty").mkdir()
    with pytest.raises(InputError, match="no file to process"):
        batch.files_of([folder / "empty"])


def test_workers_give_the_same_archive_as_one_process(folder, tmp_path):
    seen = []
    alone = batch.process_files([folder], tmp_path / "one", QUICK)
    shared = batch.process_files([folder], tmp_path / "two", QUICK, jobs=2, progress=lambda *n: seen.append(n))
    assert shared == alone
    assert [Path(failure.file).name for failure in shared.failed] == ["harm.csv"]
    assert seen == [(0, 3), (1, 3), (2, 3), (3, 3)]
    one, two = Archive(tmp_path / "one", create=True), Archive(tmp_path / "two", create=True)
    assert one.ids() == two.ids()
    for record_id in one.ids():
        assert one[record_id] == two[record_id]


def test_interruption_keeps_what_is_done_and_names_the_rest(folder, tmp_path):
    def interrupt(finished, total):
        if finished == 1:
            signal.raise_signal(signal.SIGINT)

    files = [folder / "quay.csv", folder / "pier.csv"]
    outcome = batch.process_files(files, tmp_path / "archive", QUICK, progress=interrupt)
    assert [done.file for done in outcome.done] == files[:1]
    assert outcome.remaining == files[1:]
    assert Archive(tmp_path / "archive", create=True).verify() == []
    again = batch.process_files(files, tmp_path / "archive", QUICK)
    assert (len(again.skipped), len(again.done), again.remaining) == (1, 1, [])


def test_worker_that_dies_costs_its_own_file_only(folder, tmp_path, monkeypatch):
    monkeypatch.setattr(batch, "_process_item", _die_on_pier)
    files = [folder / "quay.csv", folder / "pier.csv", folder / "harm.csv"]
    outcome = batch.process_files(files, tmp_path / "archive", QUICK, jobs=2)
    assert [done.file.name for done in outcome.done] == ["quay.csv"]
    assert {failure.file.name: "worker process died" in failure.reason for failure in outcome.failed} == {
        "pier.csv": True,
        "harm.csv": False,
    }


def _die_on_pier(file, job):
    """Stand in for a record that makes the system kill its worker."""
    if file.name == "pier.csv":
        os._exit(9)
    if file.name == "harm.csv":
        return [batch.Failure(file, "damaged")]
    return [batch.Done(file, "XX.QUAY", 1.0, 0.1, 0.01, "")]


def test_no_workers_is_refused(folder, tmp_path):
    with pytest.raises(InputError, match="at least 1, found 0"):
        batch.process_files([folder], tmp_path / "archive", QUICK, jobs=0)


# Wrong use: exit status 2


@pytest.mark.parametrize(
    ("text", "shown"),
    [("[filter]\nlowcut = 0.1\n", "filter.lowcut"), ("[filter]\norder = 'four'\n", "order"), ("[filter", "TOML")],
)
def test_wrong_settings_are_wrong_use(folder, tmp_path, monkeypatch, capsys, text, shown):
    (tmp_path / "s.toml").write_text(text)
    words = ("process", folder, "-o", tmp_path / "archive", "--settings", tmp_path / "s.toml")
    status, out, err = call_main(monkeypatch, capsys, *words)
    assert (status, out) == (2, "")
    assert shown in err
    assert err.count("\n") == 1
    assert not (tmp_path / "archive").exists()


def test_layout_that_is_not_sound_is_wrong_use(folder, tmp_path):
    (tmp_path / "l.toml").write_text("nonsense = 1\n")
    with pytest.raises(SettingsError, match=r"l\.toml"):
        batch.process_files([folder], tmp_path / "archive", QUICK, {"layout": tmp_path / "l.toml"})
    assert not (tmp_path / "archive").exists()


@pytest.mark.parametrize(
    "words",
    [
        ["process", "x.csv"],
        ["process", "x.csv", "-o", "archive", "--unit", "furlong"],
        ["process", "x.csv", "-o", "archive", "--unit", "counts"],
        ["process", "x.csv", "-o", "archive", "--jobs", "0"],
        ["process", "x.csv", "-o", "archive", "--no-such-option"],
        ["no-such-command"],
        ["verify"],
        ["event"],
    ],
)
def test_wrong_use_is_status_2_and_writes_nothing(words, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    assert run(app, words).exit_code == 2
    assert list(tmp_path.iterdir()) == []


# inspect


def test_inspect_shows_what_is_in_a_file(folder):
    result = run(app, ["inspect", str(folder / "quay.csv"), "--unit", "cm/s2"])
    assert result.exit_code == 0
    facts = dict(re.split(r"  +", line, maxsplit=1) for line in result.stdout.split("\n\n")[0].splitlines())
    assert facts["station"] == "XX, QUAY"
    assert facts["samples"] == "4000, every 0.01 s"
    assert facts["duration"] == "39.99 s"
    assert facts["start"].startswith("2031-04-17T03:26:27")
    assert "47.1° S" in facts["place"]
    assert "raw peak cm/s2" in result.stdout
    (row,) = [line.split() for line in result.stdout.splitlines() if line.startswith("H1 ")]
    assert float(row[-1]) == pytest.approx(100.0, rel=0.01)


def test_inspect_shows_findings(tmp_path):
    dead = Record((Component("H1", np.zeros(1000), 0.01), Component("V", np.sin(np.arange(1000.0)), 0.01)))
    write_csv(dead, tmp_path / "dead.csv")
    result = run(app, ["inspect", str(tmp_path / "dead.csv")])
    assert result.exit_code == 0
    assert re.search(r"^unfit: .*\(H1", result.stdout, re.MULTILINE)
    assert "Remedy: " in result.stdout


def test_inspect_shows_what_the_default_processing_finds(tmp_path):
    time = np.arange(4000) * 0.01
    shaking = np.sin(2 * np.pi * 2 * time) * np.exp(-(((time - 20) / 4) ** 2))
    moved = shaking + np.where(time > 20, 0.02, 0.0) + np.random.default_rng(3).normal(0, 1e-4, 4000)
    write_csv(Record((Component("H1", moved, 0.01),)), tmp_path / "moved.csv")
    result = run(app, ["inspect", str(tmp_path / "moved.csv")])
    assert result.exit_code == 0
    assert "doubt: baseline shift (H1" in result.stdout


def test_inspect_does_not_invent_a_scale(tmp_path):
    counts = Component("H1", np.arange(1000) % 7, 0.01, unit="counts")
    write_csv(Record((counts,)), tmp_path / "counts.csv")
    result = run(app, ["inspect", str(tmp_path / "counts.csv")])
    assert result.exit_code == 0
    assert re.search(r"^H1 .*counts .*not known$", result.stdout, re.MULTILINE)


def test_inspect_of_a_bad_file_is_one_line(folder, monkeypatch, capsys):
    status, out, err = call_main(monkeypatch, capsys, "inspect", folder / "harm.csv")
    assert (status, out) == (1, "")
    assert re.fullmatch(r"strongmotion: harm\.csv, line 101: .*\n", err)


# settings, catalogue, verify


def test_settings_prints_the_defaults(tmp_path):
    result = run(app, ["settings"])
    (tmp_path / "s.toml").write_text(result.stdout)
    assert result.exit_code == 0
    assert Settings.load(tmp_path / "s.toml") == Settings()


def test_catalogue_prints_and_writes(stored, tmp_path):
    table, parquet = tmp_path / "c.csv", tmp_path / "c.parquet"
    words = ["catalogue", str(stored), "--unit", "g", "--csv", str(table), "--parquet", str(parquet)]
    result = run(app, words)
    assert result.exit_code == 0
    assert CAUTION in result.stdout
    header, first = result.stdout.splitlines()[:2]
    assert re.split(r"  +", header)[:3] == ["record", "PGA H1 g", "PGA H2 g"]
    assert "PSA 1s RotD50 g" in header
    assert "PGV RotD50 m/s" in header
    assert float(first.split()[1]) == pytest.approx(1.0 / G, rel=0.01)
    frame = pd.read_csv(table)
    assert set(frame["caution"]) == {CAUTION}
    assert frame["record"].tolist() == Archive(stored, create=True).ids()
    assert pd.read_parquet(parquet)["pga_H1_g"].tolist() == pytest.approx(frame["pga_H1_g"].tolist())


def test_a_catalogue_on_a_terminal_fits_it(stored, monkeypatch, capsys):
    monkeypatch.setattr("sys.stdout.isatty", lambda: True)
    monkeypatch.setenv("COLUMNS", "60")
    _, out, _ = call_main(monkeypatch, capsys, "catalogue", stored)
    table, *_ = re.sub(r"\x1b\[[0-9;]*m", "", out).split("2 records,")
    assert "PGA H1" in table
    assert "worst" not in table
    assert max(map(len, table.splitlines())) <= 60
    assert all(record_id in table for record_id in Archive(stored).ids())  # whole, not folded
    assert "--csv" in out


def test_catalogue_and_verify_make_no_archive(tmp_path, monkeypatch, capsys):
    for command in ("catalogue", "verify"):
        status, out, err = call_main(monkeypatch, capsys, command, tmp_path / "nowhere")
        assert (status, out) == (1, "")
        assert "there is no archive here" in err
    assert not (tmp_path / "nowhere").exists()


def test_verify_finds_one_changed_byte(folder, tmp_path):
    batch.process_files([folder / "quay.csv", folder / "pier.csv"], tmp_path / "archive", QUICK)
    sound = run(app, ["verify", str(tmp_path / "archive")])
    assert (sound.exit_code, sound.stdout) == (0, "2 records, all sound.\n")
    victim = Archive(tmp_path / "archive", create=True).files()[0]
    content = bytearray(victim.read_bytes())
    content[len(content) // 2] ^= 1
    victim.write_bytes(content)
    damaged = run(app, ["verify", str(tmp_path / "archive")])
    assert damaged.exit_code == 1
    assert victim.name in damaged.stderr
    assert "1 problems" not in damaged.stdout
    assert "1 problem." in damaged.stdout
    assert run(app, ["catalogue", str(tmp_path / "archive")]).exit_code in (0, 1)


# measures


def test_measures_of_a_file_and_of_an_archive_are_the_same(folder, quick, tmp_path):
    archive, one, whole = tmp_path / "archive", tmp_path / "one.csv", tmp_path / "all.csv"
    run(app, ["process", str(folder), "-o", str(archive), "--settings", str(quick)])
    result = run(app, ["measures", str(folder / "quay.csv"), "--settings", str(quick), "--csv", str(one)])
    assert result.exit_code == 0
    assert re.search(r"^\d+ rows of 1 record are in .*one\.csv\.$", result.stdout, re.MULTILINE)
    assert CAUTION in result.stdout
    result = run(app, ["measures", str(archive), "--csv", str(whole)])
    assert result.exit_code == 0
    file, stored = (pd.read_csv(path) for path in (one, whole))
    assert set(stored.record) == set(Archive(archive, create=True).ids())
    pd.testing.assert_frame_equal(file, stored[stored.record == file.record[0]].reset_index(drop=True))


def test_measures_shows_a_table_a_record(stored):
    result = run(app, ["measures", str(stored)])
    assert result.exit_code == 0
    assert all(record_id in result.stdout for record_id in Archive(stored, create=True).ids())
    assert len(re.findall(r"^Arias intensity +m/s( +\S+){5}$", result.stdout, re.MULTILINE)) == 2
    assert "Modified Mercalli intensity from PGV, 2012" in result.stdout
    assert "* not usable" in result.stdout
    assert CAUTION in result.stdout


def test_measures_in_g(folder):
    plain, in_g = (run(app, ["measures", str(folder / "quay.csv"), *more]).stdout for more in ((), ("--unit", "g")))
    line = r"^PGA +(\S+) +(\S+)"
    (unit, value), (other, scaled) = (re.search(line, text, re.MULTILINE).groups() for text in (plain, in_g))
    assert (unit, other) == ("m/s²", "g")
    assert float(value.strip("*")) / float(scaled.strip("*")) == pytest.approx(G, rel=1e-3)


def test_measures_of_nothing(tmp_path, monkeypatch, capsys):
    status, _, error = call_main(monkeypatch, capsys, "measures", tmp_path / "absent.csv")
    assert status == 1
    assert "absent.csv" in error
    assert call_main(monkeypatch, capsys, "measures", tmp_path)[0] == 1  # a folder that is no archive


def test_measures_names_a_damaged_file_of_an_archive(stored, tmp_path):
    harmed = shutil.copytree(stored, tmp_path / "harmed")
    path = Archive(harmed, create=True).files()[0]
    path.write_bytes(path.read_bytes()[:100])
    result = run(app, ["measures", str(harmed)])
    assert result.exit_code == 1
    assert path.name in result.stderr
    assert Archive(harmed, create=True).ids()[1] in result.stdout


# The command line itself


# find, reprocess, extract, merge


def test_find_answers_in_the_unit_asked(stored):
    words = ["find", str(stored), "pga_h > 0.05 and station == 'QUAY'", "--unit", "g"]
    unfit = run(app, words)  # components that are copies of each other, as these are, are not fit
    assert (unfit.exit_code, "0 records, " in unfit.stdout) == (0, True)
    result = run(app, [*words, "--state", "all"])
    assert result.exit_code == 0
    assert re.search(r"^XX\.QUAY", result.stdout, re.MULTILINE)
    assert "XX.PIER" not in result.stdout
    assert "1 record, " in result.stdout
    assert CAUTION in result.stdout


def test_a_question_of_no_sense_is_wrong_use(stored, monkeypatch, capsys):
    status, out, err = call_main(monkeypatch, capsys, "find", stored, "no_such > 1")
    assert (status, out) == (2, "")
    assert "The columns are: " in err


def test_reprocess_says_same_bits_or_what_moved(stored, tmp_path):
    result = run(app, ["reprocess", str(stored)])
    assert result.exit_code == 0
    assert result.stdout.count("the same bits") == 2
    assert "2 the same to the last bit, 0 moved, 0 failed" in result.stdout
    (tmp_path / "s.toml").write_text(QUICK.to_toml().replace('low_cut = "auto"', "low_cut = 0.5"))
    words = ["reprocess", str(stored), "XX.QUAY_20310417T032627", "--settings", str(tmp_path / "s.toml")]
    result = run(app, [*words, "--csv", str(tmp_path / "moved.csv")])
    assert result.exit_code == 0  # moved for a reason
    assert "0 the same to the last bit, 1 moved, 0 failed" in result.stdout
    table = pd.read_csv(tmp_path / "moved.csv")
    assert set(table.record) == {"XX.QUAY_20310417T032627"}
    assert table.query("quantity == 'low-cut' and component == 'H1'").after.item() == 0.5


def test_reprocess_without_a_reason_to_move_is_status_1(stored, tmp_path):
    # Settings of the same version that give other numbers than the file holds: put in by hand.
    archive = Archive(tmp_path / "archive", create=True)
    archive.take_from([Archive(stored, create=True)])
    one = archive[archive.ids()[0]]
    archive.add(dataclasses.replace(one, peaks=one.peaks.assign(value=one.peaks.value * 1.5)))
    result = run(app, ["reprocess", str(archive.folder)])
    assert result.exit_code == 1
    assert "1 the same to the last bit, 1 moved, 0 failed" in result.stdout
    assert "-33.3" in result.stdout


def test_extract_and_merge_copy_records(stored, tmp_path):
    part, rest, both = (str(tmp_path / name) for name in ("part", "rest", "both"))
    result = run(app, ["extract", str(stored), "-o", part, "--where", "station == 'PIER' and severity == 'unfit'"])
    assert (result.exit_code, "1 record copied, 0 skipped (unchanged)" in result.stdout) == (0, True)
    assert run(app, ["extract", str(stored), "XX.QUAY_20310417T032627", "-o", rest]).exit_code == 0
    result = run(app, ["merge", part, rest, str(stored), "-o", both])
    assert (result.exit_code, "2 records copied, 2 skipped (unchanged)" in result.stdout) == (0, True)
    assert Archive(both, create=True).ids() == Archive(stored, create=True).ids()


def test_a_question_that_no_record_meets_is_answered_with_its_unit(stored, tmp_path):
    for asked in (
        ("reject", str(stored), "--by", "D. Analyst", "--reason", "clipped"),
        ("extract", str(stored), "-o", str(tmp_path / "part")),
        ("export", str(stored), "-o", str(tmp_path / "files")),
    ):
        answer = run(app, [*asked, "--where", "pga_h > 1e6", "--unit", "g"])
        assert answer.exit_code == 0
        assert "no record meets 'pga_h > 1e6', with accelerations in g (--unit)" in answer.stderr


def test_records_are_named_by_their_beginnings_or_by_a_question(stored, tmp_path):
    part, files = tmp_path / "part", tmp_path / "files"
    assert "1 record copied" in run(app, ["extract", str(stored), "XX.QUAY_2031", "-o", str(part)]).stdout
    exported = run(app, ["export", str(part), "--where", "severity != 'x'", "-o", str(files)])
    assert exported.exit_code == 0
    assert all(path.name.startswith("XX.QUAY_2031") for path in files.iterdir())
    accepted = run(app, ["accept", str(part), "XX.QUAY", "--by", "D. Analyst", "--reason", "seen"])
    assert "1 record accepted" in accepted.stdout


def test_extract_of_nothing_is_wrong_use(stored, tmp_path, monkeypatch, capsys):
    status, _, err = call_main(monkeypatch, capsys, "extract", stored, "-o", tmp_path / "part")
    assert status == 2
    assert "no record is named" in err


def test_catalogue_of_other_periods(stored, tmp_path):
    words = ["catalogue", str(stored), "--periods", "0,3", "--rebuild", "--csv", str(tmp_path / "c.csv")]
    assert run(app, words).exit_code == 0
    assert "psa_0s_RotD50_m_s2" in pd.read_csv(tmp_path / "c.csv")


COMMANDS = [
    "process", "inspect", "layout", "settings", "measures", "reprocess", "catalogue", "find", "report", "verify",
    "history", "accept", "reject", "withdraw", "upgrade", "sign", "extract", "merge", "export", "review",
    "spectra", "compare", "select", "match", "event", "guide",
]  # fmt: skip


@pytest.mark.parametrize("command", COMMANDS)
def test_help_teaches_with_the_demo(command):
    result = run(app, [command, "--help"])
    assert result.exit_code == 0
    assert "Example" in result.stdout
    assert re.search(rf"^ +strongmotion {command}", result.stdout, re.MULTILINE)
    for name in re.findall(r"demo_records/\S+", result.stdout):
        assert (DEMO.parent / name).exists()


def test_help_lists_just_the_commands_and_no_arguments_is_help():
    result = run(app, ["--help"])
    listed = result.stdout.split("\nA record:\n")[1]
    assert re.findall(r"^  (\w+) ", listed, re.MULTILINE) == COMMANDS
    assert re.findall(r"^\w.*:$", listed, re.MULTILINE) == ["An archive:", "A design:", "An earthquake:", "Help:"]
    assert "Exit status: 0 all well; 1 some records failed" in result.stdout
    assert run(app, []).output == result.output


def test_the_shell_completes_commands_and_options():
    def completed(words: str, at: int) -> list[str]:
        settings = {"_STRONGMOTION_COMPLETE": "complete_bash", "COMP_WORDS": words, "COMP_CWORD": str(at)}
        run = subprocess.run(
            [sys.executable, "-m", "strongmotion.cli"], env={**os.environ, **settings}, capture_output=True, text=True
        )
        assert run.returncode == 0
        return run.stdout.split()

    assert completed("strongmotion pro", 1) == ["process"]
    assert {"--output", "--settings"} <= set(completed("strongmotion process --", 2))


def test_version():
    result = run(app, ["--version"])
    assert (result.exit_code, result.stdout) == (0, f"strongmotion {strongmotion.__version__}\n")


def test_piped_output_is_plain_and_whole(stored):
    # Colours asked for and a narrow screen: neither may reach a pipe.
    result = call_process("catalogue", stored)
    assert result.returncode == 0
    assert "\x1b" not in result.stdout + result.stderr
    assert "…" not in result.stdout
    assert all(record_id in result.stdout for record_id in Archive(stored, create=True).ids())


def test_terminal_table_keeps_every_record_id_whole(stored, monkeypatch, capsys):
    monkeypatch.setattr(sys.stdout, "isatty", lambda: True)
    monkeypatch.setenv("COLUMNS", "100")
    monkeypatch.setenv("TERM", "xterm")
    _, out, _ = call_main(monkeypatch, capsys, "catalogue", stored)
    assert "─────" in out
    assert all(record_id in out for record_id in Archive(stored, create=True).ids())
    assert CAUTION in out


def test_process_as_a_process(folder, quick, tmp_path):
    words = ["process", folder, "-o", tmp_path / "archive", "--settings", quick, "--jobs", 2]
    result = call_process(*words)
    assert result.returncode == 1
    assert "\x1b" not in result.stdout + result.stderr
    assert "harm.csv: line 101" in result.stderr
    assert len(Archive(tmp_path / "archive", create=True)) == 2
    assert call_process("process", folder).returncode == 2


def test_help_loads_nothing_heavy():
    """What makes `--help` slow is what it imports; `python -m benchmarks startup` gives the time beside Typer's."""
    show = (
        "import sys; sys.argv = ['strongmotion', '--help']\n"
        "from strongmotion.cli import main\n"
        "try: main()\n"
        "except SystemExit: pass\n"
        "heavy = {'numpy', 'scipy', 'pandas', 'numba', 'h5py', 'matplotlib', 'rich'} & set(sys.modules)\n"
        "sys.exit(f'loaded {heavy}' if heavy else 0)"
    )
    done = subprocess.run([sys.executable, "-c", show], capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    assert "catalogue" in done.stdout


def test_catalogue_marks_what_is_outside_the_usable_periods(tmp_path):
    def run(*words):
        return CliRunner().invoke(app, [str(word) for word in words])

    settings = tmp_path / "high.toml"
    settings.write_text("[filter]\nlow_cut = 2.5\n")
    run("process", DEMO / "fern.txt", "-o", tmp_path / "a", "--settings", settings)
    shown = run("catalogue", tmp_path / "a").stdout
    assert re.search(r"PSA 1s.*", shown)
    row = next(line for line in shown.splitlines() if line.startswith("XX.FERN"))
    assert row.count(" *") == 1  # 1 s lies outside, 0.2 s inside
    assert "* not to be used: outside the usable periods, or of an unfit record." in shown


def test_what_is_unfit_is_marked_in_tables(tmp_path):
    def run(*words):
        return CliRunner().invoke(app, [str(word) for word in words]).stdout

    (settings := tmp_path / "quick.toml").write_text(QUICK.to_toml())
    shown = run("process", DEMO / "bell.txt", "-o", tmp_path / "a", "--settings", settings)
    row = next(line for line in shown.splitlines() if line.startswith("XX.BELL"))
    assert re.search(r" ≥ [0-9.]+ \*  [0-9.]+ \*  [0-9.]+ \*  unfit", row)
    assert "≥: at least this large. *: not to be used" in shown
    row = next(line for line in run("catalogue", tmp_path / "a").splitlines() if line.startswith("XX.BELL"))
    assert len(re.findall(r"[0-9.]+ \*", row)) == 6  # PGA of three components, PGV, PSA at two periods


def test_inspect_shows_a_stored_record(stored, tmp_path, monkeypatch, capsys):
    file = next(file for file in Archive(stored).files() if "QUAY" in file.name)
    status, out, _ = call_main(monkeypatch, capsys, "inspect", file, "--unit", "g")
    assert status == 0
    whole = Archive(stored)[file.stem]
    for entry in whole.history:
        assert entry.what in out
    pga = whole.peaks.set_index(["component", "quantity"]).loc[("RotD50", "PGA")]
    assert f"{pga.value / G:.4g} ({pga.band_low / G:.4g} to {pga.band_high / G:.4g})" in out
    assert CAUTION in out
    (tmp_path / "cut.h5").write_bytes(file.read_bytes()[:5000])
    assert "cut.h5: is damaged" in call_main(monkeypatch, capsys, "inspect", tmp_path / "cut.h5")[2]
