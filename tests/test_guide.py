"""The guide: every page is listed, every link leads somewhere, and the terminal shows what the file holds."""

from __future__ import annotations

import importlib
import inspect
import re
import sys
from pathlib import Path

import pytest
from typer.testing import CliRunner

import strongmotion
from strongmotion import InputError
from strongmotion.cli import app
from strongmotion.guide import TOPICS, page, title

ROOT = Path(__file__).parents[1]
PAGES = sorted((ROOT / "strongmotion" / "guide").glob("*.md"))
run = CliRunner().invoke


def anchors(path: Path) -> set[str]:
    """Return the anchors of a page's headings, as web hosts make them."""
    headings = re.findall(r"^#+ (.*)$", path.read_text(encoding="utf-8"), re.MULTILINE)
    return {re.sub(r"[^\w -]", "", heading.lower()).replace(" ", "-") for heading in headings}


def test_every_page_is_a_topic():
    assert {path.stem for path in PAGES} == set(TOPICS)


@pytest.mark.parametrize("path", [*PAGES, ROOT / "README.md"], ids=lambda path: path.stem)
def test_links_lead_somewhere(path):
    text = path.read_text(encoding="utf-8")
    links = [link for link in re.findall(r"\]\(([^)\s]+)\)", text) if not link.startswith("https://")]
    for link in links:
        file, _, anchor = link.partition("#")
        target = (path.parent / file).resolve() if file else path
        assert target.exists(), link
        assert not anchor or anchor in anchors(target), link


@pytest.mark.parametrize("topic", TOPICS)
def test_a_page_has_a_title_and_says_what_can_go_wrong(topic):
    text = page(topic)
    assert text.startswith(f"# {title(topic)}\n")
    assert max(map(len, re.sub(r"^\|.*$", "", text, flags=re.MULTILINE).splitlines())) <= 125
    if topic not in ("numbers", "gallery", "changes"):
        assert "\n## What can go wrong\n" in text


def blocks(text: str, kind: str) -> list[str]:
    """Return the lines of a page's blocks of one kind."""
    return [line for block in re.findall(rf"^```{kind}\n(.*?)^```", text, re.DOTALL | re.MULTILINE)
            for line in block.splitlines()]  # fmt: skip


@pytest.mark.parametrize("topic", TOPICS)
def test_commands_and_python_fit_a_terminal_of_80_columns(topic):
    lines = blocks(page(topic), "sh") + blocks(page(topic), "python")
    lines += [line for line in blocks(page(topic), "text") if line.startswith("strongmotion ")]
    assert [line for line in lines if len(line) > 78] == []


@pytest.mark.parametrize("topic", ["first-record", "corners", "displacement", "review", "spectra", "selecting",
                                   "archives", "batches", "events", "notebooks", "numbers"])  # fmt: skip
def test_a_page_teaches_by_a_figure(topic):
    figures = re.findall(r"!\[[^\]]{10,}\]\(([^)]+\.png)\)", page(topic))
    assert figures
    assert all((ROOT / "strongmotion" / "guide" / figure).exists() for figure in figures)


def test_the_check_book_names_every_file_of_published_checks():
    text = page("checks")
    for path in (ROOT / "tests" / "published").glob("test_*.py"):
        assert f"](../../tests/published/{path.name})" in text


def test_the_command_lists_the_pages_and_shows_one():
    listed = run(app, ["guide"]).stdout
    assert all(topic in listed and title(topic) in listed for topic in TOPICS)
    assert run(app, ["guide", "corners"]).stdout == page("corners")
    assert run(app, ["guide", "arch"]).stdout == page("archives")


def test_a_page_that_is_not_there_is_an_error_with_all_names():
    with pytest.raises(InputError, match=r"no page 'x' in the guide\. Pages: first-record, formats"):
        page("x")


def test_the_readme_is_short():
    assert len((ROOT / "README.md").read_text(encoding="utf-8").splitlines()) <= 120


EXAMPLES_IN = (
    "settings",
    "record",
    "motion",
    "formats",
    "arrivals",
    "spectra",
    "measures",
    "checks",
    "result",
    "guide",
)
"""Rooms in which every public function shows an example."""


def public(room: str) -> dict[str, object]:
    """Return what a room offers, by name."""
    module = importlib.import_module(f"strongmotion.{room}")
    return {name: getattr(module, name) for name in module.__all__}


@pytest.mark.parametrize("room", EXAMPLES_IN)
def test_every_public_function_of_a_room_shows_an_example(room):
    functions = {name: thing for name, thing in public(room).items() if inspect.isfunction(thing)}
    assert [name for name, thing in functions.items() if ">>> " not in (thing.__doc__ or "")] == []


def test_every_public_name_shows_an_example():
    things = {name: getattr(strongmotion, name) for name in strongmotion.__all__ if name != "__version__"}
    things = {name: thing for name, thing in things.items() if not name.endswith("Error")}
    assert [name for name, thing in things.items() if ">>> " not in (thing.__doc__ or "")] == []
    # An example that is skipped teaches what nobody has tried.
    assert [name for name, thing in things.items() if "+SKIP" in (thing.__doc__ or "")] == []


def test_the_reference_holds_every_room_and_names_what_is_missing(tmp_path, monkeypatch):
    from strongmotion.guide.reference import ROOMS, write_reference

    assert all(
        (ROOT / "strongmotion" / room).is_dir() or (ROOT / "strongmotion" / f"{room}.py").exists() for room in ROOMS
    )
    monkeypatch.setitem(sys.modules, "pdoc", None)
    with pytest.raises(InputError, match=r"pip install 'strongmotion\[docs\]'"):
        write_reference(tmp_path)
