"""Drafting a layout from a file: right where the file tells, open where it does not."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest
from test_layouts import AGENCIES, X, Y, Z
from typer.testing import CliRunner

from strongmotion.cli import app
from strongmotion.cli import record as record_commands
from strongmotion.formats import read
from strongmotion.formats.draft import draft_layout
from strongmotion.foundation.errors import RecordError, StrongMotionError


def save(folder, agency):
    path = folder / f"{agency}.txt"
    path.write_bytes(AGENCIES[agency][0].encode("latin-1" if agency == "dune" else "utf-8"))
    return path


# What each file says of itself; the draft is right if the file reads as this by it, unaided.
RIGHT = {
    "meadow": ("MEAD", 0.01, "cm/s2", {"H1": X, "H2": Y, "V": Z}),
    "cliff": ("CLIF", 0.005, "counts", {"H1": np.rint(X * 1000), "H2": np.rint(Y * 1000), "V": np.rint(Z * 1000)}),
    "forge": ("FORG", 0.005, "counts", {"C1": X, "C2": Y}),
    "dune": ("", 0.01, "m/s2", {"x": X, "y": np.array([float(f"{v:.4e}") for v in Y])}),
}


@pytest.mark.parametrize("agency", RIGHT)
def test_a_draft_is_right_unaided(tmp_path, agency):
    path = save(tmp_path, agency)
    draft = draft_layout(path)
    assert draft.problem == ""
    (tmp_path / "draft.toml").write_text(draft.toml)
    record = read(path, layout=tmp_path / "draft.toml")
    station, dt, unit, expected = RIGHT[agency]
    assert (record.station.code, record.dt, record.names) == (station, dt, tuple(expected))
    for name, values in expected.items():
        assert record[name].unit == unit
        assert record[name].samples.tolist() == values.tolist()
    if agency == "cliff":
        assert [component.sensitivity for component in record] == [400000, 400001, 400002]
    if agency == "forge":
        assert record["C1"].scale == pytest.approx(0.5 * 0.01, rel=1e-15)


def test_a_draft_says_what_it_is_unsure_of(tmp_path):
    doubts = {agency: " ".join(draft_layout(save(tmp_path, agency)).unsure) for agency in AGENCIES}
    assert doubts["meadow"] == ""
    assert "the direction of C1, C2 is not stated" in doubts["forge"]
    assert "encoding" in doubts["dune"]
    assert "the direction of x, y is not stated" in doubts["dune"]
    assert "the sampling interval" in doubts["loft"]
    assert "the unit of the numbers" in doubts["loft"]


def test_what_cannot_be_told_is_left_open(tmp_path):
    draft = draft_layout(save(tmp_path, "loft"))
    assert draft.record is None
    assert "leaves dt open (?)" in draft.problem
    assert 'dt = "?"' in draft.toml


def test_the_command_prints_the_layout_and_beside_it_the_doubts(tmp_path):
    result = CliRunner().invoke(app, ["layout", str(save(tmp_path, "forge"))])
    assert result.exit_code == 0
    assert result.stdout.startswith("# A draft: check every line")
    assert "# Unsure: the direction of C1, C2 is not stated" in result.stdout
    assert "40 samples every 0.005 s (200 Hz)" in result.stderr
    result = CliRunner().invoke(app, ["layout", str(save(tmp_path, "loft"))])
    assert result.exit_code == 1
    assert "the draft does not read the file yet" in result.stderr


def test_no_numbers_no_draft(tmp_path):
    path = tmp_path / "prose.txt"
    path.write_text("Dear all,\nthe record is in the other file.\n")
    with pytest.raises(RecordError, match=r"prose\.txt: no block of 3 or more lines of numbers"):
        draft_layout(path)
    path.write_bytes(b"\0\1\2" * 100)
    with pytest.raises(RecordError, match="is binary"):
        draft_layout(path)


@pytest.mark.parametrize("agency", AGENCIES)
def test_drafting_from_damaged_files_ends_in_a_draft_or_a_refusal(tmp_path, agency):
    from test_fuzz import mutated

    path = save(tmp_path, agency)
    data = path.read_bytes()
    rng = np.random.default_rng(20310504)
    for _ in range(100):
        path.write_bytes(mutated(data, rng))
        try:
            assert draft_layout(path).toml
        except StrongMotionError as error:
            assert path.name in str(error)  # noqa: PT017 -- most damaged files are drafted, and need raise nothing


def answer(path, answers, monkeypatch):
    """Draft on a terminal, where each doubt is asked for."""
    terminal = SimpleNamespace(isatty=lambda: True)
    monkeypatch.setattr(record_commands, "sys", SimpleNamespace(stdin=terminal, stderr=terminal))
    return CliRunner().invoke(app, ["layout", str(path)], input=answers)


def test_on_a_terminal_what_is_open_is_asked_for_with_a_preview(tmp_path, monkeypatch):
    path = tmp_path / "twice.txt"
    rows = "".join(f"{50 * np.sin(i / 5):.3f}\n" for i in range(80))
    path.write_text(f"Unit: gal\nSampling rate: 200 Hz\nSampling interval: 0.01 s\n{rows}")
    shown = answer(path, "a hundredth\n0.01\ny\n", monkeypatch)
    assert shown.exit_code == 0, shown.output
    assert "the sampling interval is 0.005 s" in shown.stderr
    assert "80 samples every 0.01 s (100 Hz), 0.79 s long" in shown.stderr
    assert "PGA 50 cm/s² = 0.05" in shown.stderr
    (tmp_path / "mine.toml").write_text(shown.stdout[shown.stdout.index("# A draft") :])
    assert read(path, layout=tmp_path / "mine.toml").dt == 0.01
    left = answer(path, "?\n", monkeypatch)
    assert left.exit_code == 1
    assert 'dt = "?"' in left.stdout
    assert "leaves dt open (?)" in " ".join(left.stderr.split())
