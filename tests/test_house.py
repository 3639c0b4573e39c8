"""The shape of the house: imports run one way, the top level holds what it should, the public names are there."""

from __future__ import annotations

import ast
import fnmatch
import re
import subprocess
import sys
from pathlib import Path

import pytest

import strongmotion
import strongmotion.report
import strongmotion.review

ROOT = Path(__file__).parents[1]
PACKAGE = ROOT / "strongmotion"

FLOORS = (
    ("foundation",),
    ("settings",),
    ("record",),
    ("motion",),
    ("formats", "arrivals", "spectra"),
    ("measures", "checks"),
    ("chain",),
    ("result",),
    ("archive",),
    ("suite", "event"),
    ("report",),
    ("review",),
    ("batch",),
    ("guide",),
    ("cli",),
)
"""Rooms from the ground up; a room may import from its own floor and those below."""

FLOOR = {room: number for number, rooms in enumerate(FLOORS) for room in rooms}


def modules():
    """Return every module of the package by its dotted name, without the package itself."""
    names = {}
    for path in PACKAGE.rglob("*.py"):
        parts = path.relative_to(ROOT).with_suffix("").parts
        names[".".join(parts[:-1] if parts[-1] == "__init__" else parts)] = path
    del names["strongmotion"]
    return names


MODULES = modules()

DOOR = ("strongmotion.result", "from_above")
"""The one function through which a lower room reaches a higher one, and the room it stands in."""


def imports(module, *, only_when_loaded):
    """Return the modules of the package that `module` imports; those for type checkers alone do not count.

    With `only_when_loaded` imports inside functions are left out: they happen on use.
    """
    path = MODULES[module]
    package = module if path.name == "__init__.py" else module.rpartition(".")[0]
    found = set()
    waiting = list(ast.parse(path.read_text(encoding="utf-8")).body)
    while waiting:
        node = waiting.pop()
        if isinstance(node, ast.If) and ast.unparse(node.test).endswith("TYPE_CHECKING"):
            waiting += node.orelse
            continue
        if only_when_loaded and isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.Lambda):
            continue
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            base = node.module or ""
            if node.level:
                above = package.split(".")[: len(package.split(".")) - node.level + 1]
                base = ".".join([*above, *([node.module] if node.module else [])])
            # `from . import layout` names a module, `from .layout import read` a thing in one.
            for alias in node.names:
                full = f"{base}.{alias.name}"
                if base == "strongmotion" and alias.name in strongmotion._HOME:  # the lazy face: see through it
                    full = base = f"strongmotion.{strongmotion._HOME[alias.name]}"
                if (base, alias.name) != DOOR:
                    found.add(full if full in MODULES else base)
        waiting += ast.iter_child_nodes(node)
    return {name for name in found if name in MODULES and name != module}


def trees():
    for module, path in MODULES.items():
        yield module, ast.parse(path.read_text(encoding="utf-8"))


def room(module):
    return module.split(".")[1]


def find_cycle(edges):
    """Return one cycle of a graph as a list of its nodes, or None."""
    finished, trail = set(), []

    def visit(node):
        if node in trail:
            return [*trail[trail.index(node) :], node]
        if node in finished:
            return None
        trail.append(node)
        for other in sorted(edges.get(node, ())):
            if (cycle := visit(other)) is not None:
                return cycle
        trail.pop()
        finished.add(node)
        return None

    return next((cycle for node in sorted(edges) if (cycle := visit(node)) is not None), None)


def test_cycle_finder_finds_a_cycle():
    assert find_cycle({"a": {"b"}, "b": {"c"}, "c": {"b"}}) == ["b", "c", "b"]
    assert find_cycle({"a": {"b", "c"}, "b": {"c"}, "c": set()}) is None


def test_import_walker_sees_both_kinds_of_import():
    # cli.record imports errors when it is loaded, and batch only inside a function.
    assert "strongmotion.foundation.errors" in imports("strongmotion.cli.record", only_when_loaded=True)
    assert "strongmotion.batch" not in imports("strongmotion.cli.record", only_when_loaded=True)
    assert "strongmotion.batch" in imports("strongmotion.cli.record", only_when_loaded=False)


def test_every_room_has_a_floor():
    assert {room(module) for module in MODULES} <= set(FLOOR)


@pytest.mark.parametrize("module", sorted(MODULES))
def test_imports_run_down(module):
    up = {
        other for other in imports(module, only_when_loaded=False) if FLOOR[room(other)] > FLOOR[room(module)]
    }  # fmt: skip
    assert not up, f"{module} imports from above: {sorted(up)}"


def test_the_door_is_used_to_show_records_and_results_and_for_nothing_else():
    users = {module for module, tree in trees() for node in ast.walk(tree)
             if isinstance(node, ast.Name | ast.Attribute) and ast.unparse(node).endswith("from_above")}  # fmt: skip
    assert users == {"strongmotion.record", "strongmotion.result"}
    assert all(hasattr(strongmotion.report, name) for name in ("draw", "notebook_view"))
    assert hasattr(strongmotion.review, "explore")


def test_no_private_name_crosses_rooms():
    crossing = []
    for module, tree in trees():
        for node in ast.walk(tree):
            if isinstance(node, ast.ImportFrom):
                package = module if MODULES[module].name == "__init__.py" else module.rpartition(".")[0]
                above = package.split(".")[: len(package.split(".")) - node.level + 1] if node.level else []
                whole = ".".join([*above, *([node.module] if node.module else [])])
                if not whole.startswith("strongmotion."):
                    continue
                names = [*whole.split(".")[2:], *(alias.name for alias in node.names)]
                private = [name for name in names if name.startswith("_") and not name.endswith("__")]
                if private and room(whole) != room(module):
                    crossing.append((module, whole, private))
    assert not crossing


READERS = {"search", "match", "fullmatch", "findall", "finditer", "split", "startswith", "endswith", "partition"}
"""Functions that take a text apart."""

SENTENCES = {"what", "effect", "remedy"}
"""Fields of findings, history entries and errors that hold sentences for people."""


def reads_a_sentence(node):
    """Return whether a call takes a sentence apart, or a comparison looks into one."""
    if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute) and node.func.attr in READERS:
        parts = [node.func.value, *node.args]
    elif isinstance(node, ast.Compare) and any(isinstance(op, ast.In | ast.NotIn) for op in node.ops):
        parts = node.comparators
    else:
        return False
    return any(
        (isinstance(part, ast.Attribute) and part.attr in SENTENCES)
        or (isinstance(part, ast.Call) and ast.unparse(part) in ("str(error)", "str(finding)", "str(entry)"))
        for part in parts
    )


def test_sentences_are_told_from_data():
    for text in ("re.search('a', finding.what)", "'x' in error.what", "entry.what.startswith('no')"):
        assert any(reads_a_sentence(node) for node in ast.walk(ast.parse(text)))
    assert not any(reads_a_sentence(node) for node in ast.walk(ast.parse("what in FIGURES; finding.values['x']")))


def test_no_sentence_is_read_back_as_data():
    assert not [
        (module, node.lineno, ast.unparse(node))
        for module, tree in trees()
        for node in ast.walk(tree)
        if reads_a_sentence(node)
    ]


KERNELS = {f"strongmotion.spectra.{name}" for name in ("_kernels", "_rotation", "_yielding")}
KERNELS |= {"strongmotion.formats._numbers"}


def test_functions_have_few_parameters():
    """At most eight, but for kernels, and commands, whose parameters are their options."""
    many = []
    for module, tree in trees():
        for node in ast.walk(tree):
            if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
                given = node.args
                names = {one.arg for one in (*given.posonlyargs, *given.args, *given.kwonlyargs)} - {"self", "cls"}
                command = any("app.command" in ast.unparse(one) for one in node.decorator_list)
                extra = (given.vararg is not None) + (given.kwarg is not None)
                if len(names) + extra > 8 and not command and module not in KERNELS:
                    many.append((module, node.name, len(names) + extra))
    assert not many


def test_rooms_import_without_cycles():
    edges = {}
    for module in MODULES:
        others = {room(other) for other in imports(module, only_when_loaded=False)}
        edges.setdefault(room(module), set()).update(others - {room(module)})
    assert find_cycle(edges) is None


def test_modules_load_without_cycles():
    edges = {module: imports(module, only_when_loaded=True) for module in MODULES}
    # A module loads its package first, but a package's own `__init__` names its modules on purpose.
    assert find_cycle(edges) is None


@pytest.mark.parametrize("name", strongmotion.__all__)
def test_public_names_resolve(name):
    assert getattr(strongmotion, name) is not None
    assert name in dir(strongmotion)


def test_unknown_public_name_is_an_attribute_error():
    with pytest.raises(AttributeError, match="no_such_thing"):
        strongmotion.no_such_thing  # noqa: B018 -- asking for it is what is tested


def test_no_room_bears_the_name_of_a_public_function():
    assert not {name for name in strongmotion.__all__ if name in FLOOR}


@pytest.mark.skipif(not (ROOT / ".git").exists(), reason="only a checkout shows what is kept")
def test_top_level_holds_just_what_it_should():
    kept = {
        "strongmotion", "tests", "benchmarks", "demo_records",
        "README.md", "DEVELOPERS.md", "pyproject.toml", "LICENSE", ".ci", ".gitignore", ".git",
    }  # fmt: skip
    ignored = [line.strip().strip("/") for line in (ROOT / ".gitignore").read_text(encoding="utf-8").split()]
    found = {path.name for path in ROOT.iterdir()}
    assert not {
        name for name in found - kept if not any(fnmatch.fnmatch(name, pattern) for pattern in ignored)
    }  # fmt: skip


@pytest.mark.parametrize("module", ["strongmotion", "strongmotion.cli"])
def test_importing_stays_light(module):
    heavy = "numpy", "pandas", "numba", "scipy", "h5py", "matplotlib", "bokeh"
    code = f"import sys, {module}; print([name for name in {heavy} if name in sys.modules])"
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert run.stdout.strip() == "[]"


# Words of the trade's former dialect, in the sense of "resolved", "severity", "level", "method", "transient" and so on.
DIALECT = (
    r"told|routes?|routed|gravity|gravest|loud(?:er|est|ness)?|shifts? of the zero|zero moved|there already|lasting|"
    r"passing|heed(?:ed)?|spoken|grown|left over|comes? back|swaying|reckoned|swings?"
)
ALLOWED = {
    "strongmotion.foundation.units": {"gravity"},  # the acceleration of gravity
    "strongmotion.formats.draft.concepts": {"gravity"},  # likewise, in headers
    "strongmotion.archive.layout": {"route", "passing", "lasting"},  # names in files of earlier layouts
    "strongmotion.measures.intensity": {"swing"},  # what lamps do, in the scales of intensity
    "strongmotion.spectra._kernels": {"swing"},  # what oscillators do
    "strongmotion.spectra._rotation": {"swings"},
    "strongmotion.spectra._yielding": {"swing"},
}


def dialect(text):
    return {word.lower() for word in re.findall(rf"\b(?:{DIALECT})\b", text, re.IGNORECASE)}


def words_of(path):
    """Yield every text and every public name of a module."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Constant) and isinstance(node.value, str):
            yield node.value
        elif isinstance(node, ast.FunctionDef | ast.ClassDef) and not node.name.startswith("_"):
            yield node.name.replace("_", " ")
        elif isinstance(node, ast.arg | ast.keyword) and node.arg:
            yield node.arg.replace("_", " ")
        elif isinstance(node, ast.AnnAssign) and isinstance(node.target, ast.Name):
            yield node.target.id.replace("_", " ")


def test_the_dialect_is_found():
    assert dialect("What cannot be told of the Loudest second") == {"told", "loudest"}


@pytest.mark.parametrize("module", MODULES)
def test_words_are_plain(module):
    found = set().union(*map(dialect, words_of(MODULES[module])))
    assert found == ALLOWED.get(module, set())


@pytest.mark.parametrize("page", [*sorted((PACKAGE / "guide").glob("*.md")), ROOT / "README.md"], ids=lambda p: p.stem)
def test_words_of_pages_are_plain(page):
    assert dialect(page.read_text(encoding="utf-8")) <= {"gravity"}  # the acceleration of gravity
