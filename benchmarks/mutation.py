"""Whether the tests would notice a fault: one small change at a time, and the tests that run the changed line.

``python -m benchmarks mutation --places 150 --seed 1`` copies the tree, finds by coverage which test runs which line,
draws places at random over all rooms but compiled kernels, and for each makes one change and runs those tests, the
quickest first, until one fails. The working tree is never touched. Kinds of change:

    comparison   turned into its opposite
    sign         + and - exchanged, or a minus left out
    statement    a call, an assignment to a field or item, or a raise left out
    return       a function returns at once
    formula      a number in an expression changed by 5 to 20 %
    judgement    a named constant of a module, or the default of a setting, doubled or halved
"""

from __future__ import annotations

import argparse
import ast
import os
import random
import shutil
import subprocess
import sys
import tempfile
import time
import xml.etree.ElementTree as ElementTree
from collections import defaultdict
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from queue import Queue

ROOT = Path(__file__).parents[1]
KERNELS = {
    f"{name}.py"
    for name in ("_kernels", "_vector", "_plain", "_lanes", "_rotation", "_smoothing", "_yielding", "_numbers")
}
KINDS = ("comparison", "sign", "statement", "return", "formula", "judgement")
QUICK = 40
"""Tests run first."""

OPPOSITE = {
    ast.Lt: ast.GtE, ast.LtE: ast.Gt, ast.Gt: ast.LtE, ast.GtE: ast.Lt, ast.Eq: ast.NotEq, ast.NotEq: ast.Eq,
    ast.Is: ast.IsNot, ast.IsNot: ast.Is, ast.In: ast.NotIn, ast.NotIn: ast.In,
}  # fmt: skip

UNTESTED = ("test_house.py", "test_fuzz.py", "test_mutation.py", "test_fallback.py", "test_report_browser.py")
"""Tests of the source itself, of chance, and of what takes minutes to begin."""


@dataclass(frozen=True)
class Place:
    """Where one change is made: the file, the line, its kind, and which node in the order of `ast.walk`."""

    file: str
    line: int
    kind: str
    node: int
    names: tuple[str, ...] = ()

    @property
    def room(self) -> str:
        """The room of the house that the file is in."""
        return Path(self.file).parts[1].removesuffix(".py")


def places_in(source: str, file: str) -> list[Place]:
    """Return every place of a module that can be changed."""
    tree = ast.parse(source)
    found = []
    skipped = _skipped(tree)
    top = {id(node): node for node in tree.body}
    arithmetic = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.BinOp):
            arithmetic |= {id(node.left), id(node.right)}
    for number, node in enumerate(ast.walk(tree)):
        if id(node) in skipped or not hasattr(node, "lineno"):
            continue
        kind = _kind(node, arithmetic, top)
        if kind:
            names = ()
            if kind == "judgement" and isinstance(node, ast.Assign):
                names = tuple(
                    name.id for target in node.targets for name in ast.walk(target) if isinstance(name, ast.Name)
                )
            found.append(Place(file, node.lineno, kind, number, names))
    return found


def _skipped(tree: ast.Module) -> set[int]:
    """Return the nodes that say nothing of behaviour: annotations, docstrings, __all__, __repr__, type checking."""
    skipped: set[int] = set()

    def leave(node: ast.AST | None) -> None:
        if node is not None:
            skipped.update(id(part) for part in ast.walk(node))

    for node in ast.walk(tree):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            for argument in (*node.args.args, *node.args.kwonlyargs, *node.args.posonlyargs):
                leave(argument.annotation)
            leave(node.returns)
            for decorator in node.decorator_list:
                leave(decorator)
            if node.name in ("__repr__", "_repr_html_"):
                leave(node)
        elif isinstance(node, ast.AnnAssign):
            leave(node.annotation)
        elif (
            (isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant))
            or (isinstance(node, ast.Assign) and ast.unparse(node.targets[0]) == "__all__")
            or (isinstance(node, ast.If) and ast.unparse(node.test).endswith("TYPE_CHECKING"))
            or isinstance(node, ast.FormattedValue | ast.JoinedStr | ast.Assert | ast.Import | ast.ImportFrom)
        ):
            leave(node)
    return skipped


def _is_number(node: ast.AST) -> bool:
    return isinstance(node, ast.Constant) and isinstance(node.value, int | float) and not isinstance(node.value, bool)


def _kind(node: ast.AST, arithmetic: set[int], top: dict[int, ast.stmt]) -> str:
    texts = (ast.Constant, ast.JoinedStr, ast.List, ast.Tuple)
    if isinstance(node, ast.Compare) and len(node.ops) == 1 and type(node.ops[0]) in OPPOSITE:
        return "comparison"
    if isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.USub):
        return "sign"
    if isinstance(node, ast.BinOp) and isinstance(node.op, ast.Add | ast.Sub):
        sides = [side for side in (node.left, node.right) if isinstance(side, texts) and not _is_number(side)]
        return "" if sides else "sign"
    if isinstance(node, ast.Raise | ast.AugAssign) or (isinstance(node, ast.Expr) and isinstance(node.value, ast.Call)):
        return "statement" if id(node) not in top else ""
    if (
        isinstance(node, ast.Assign)
        and id(node) not in top
        and isinstance(node.targets[0], ast.Attribute | ast.Subscript)
    ):
        return "statement"
    if isinstance(node, ast.FunctionDef) and len(node.body) > 1:
        return "return"
    if id(node) in arithmetic and _is_number(node) and isinstance(node, ast.Constant):
        return "formula" if isinstance(node.value, float) or abs(node.value) > 2 else ""
    if id(node) in top and isinstance(node, ast.Assign) and ast.unparse(node.targets[0]).strip("_").isupper():
        return "judgement" if any(_is_number(part) for part in ast.walk(node.value)) else ""
    if isinstance(node, ast.Call) and ast.unparse(node.func) == "_setting" and node.args and _is_number(node.args[0]):
        return "judgement"
    return ""


def changed(source: str, place: Place, chance: random.Random) -> tuple[str, str, str]:
    """Return the source with one change, and the changed piece before and after."""
    tree = ast.parse(source)
    node = list(ast.walk(tree))[place.node]
    before = ast.unparse(node).splitlines()[0]
    shown: ast.AST = node
    if place.kind == "comparison":
        assert isinstance(node, ast.Compare)
        node.ops = [OPPOSITE[type(node.ops[0])]()]
    elif place.kind == "sign" and isinstance(node, ast.BinOp):
        node.op = ast.Sub() if isinstance(node.op, ast.Add) else ast.Add()
    elif place.kind == "sign":
        assert isinstance(node, ast.UnaryOp)
        node.op = ast.UAdd()
    elif place.kind == "statement":
        shown = _replace(tree, node, ast.Pass())
    elif place.kind == "return":
        assert isinstance(node, ast.FunctionDef)
        at = 1 if ast.get_docstring(node) is not None else 0
        node.body.insert(at, ast.Return(value=None))
        return ast.unparse(ast.fix_missing_locations(tree)), before, "return at once"
    else:
        numbers = [node] if _is_number(node) else [part for part in ast.walk(node) if _is_number(part)]
        if isinstance(node, ast.Call):
            numbers = [node.args[0]]
        number = chance.choice(numbers)
        assert isinstance(number, ast.Constant)
        factor = (
            chance.choice((0.5, 2.0))
            if place.kind == "judgement"
            else 1 + chance.choice((-1, 1)) * chance.uniform(0.05, 0.2)
        )
        value = number.value * factor
        if isinstance(number.value, int):
            value = round(value) if round(value) != number.value else number.value + 1
        number.value = value if value != number.value else 1.0
    return ast.unparse(ast.fix_missing_locations(tree)), before, ast.unparse(shown).splitlines()[0]


def _replace(tree: ast.AST, old: ast.AST, new: ast.stmt) -> ast.stmt:
    for node in ast.walk(tree):
        for _, value in ast.iter_fields(node):
            if isinstance(value, list) and any(part is old for part in value):
                value[[part is old for part in value].index(True)] = ast.copy_location(new, old)
    return new


def draw(places: list[Place], count: int, seed: int, lines: dict[str, int]) -> list[Place]:
    """Draw places: the room by its lines of code, then the kind, then the place, each evenly."""
    chance = random.Random(seed)
    by_room: dict[str, dict[str, list[Place]]] = defaultdict(lambda: defaultdict(list))
    for place in places:
        by_room[place.room][place.kind].append(place)
    rooms = sorted(by_room)
    drawn: list[Place] = []
    while len(drawn) < min(count, len(places)):
        kinds = by_room[chance.choices(rooms, [lines[room] for room in rooms])[0]]
        place = chance.choice(kinds[chance.choice(sorted(kinds))])
        if place not in drawn:
            drawn.append(place)
    return drawn


# Which test runs which line


def copy_of_tree(folder: Path) -> Path:
    """Copy what is tracked into a folder."""
    listed = subprocess.run(["git", "ls-files", "-z"], cwd=ROOT, capture_output=True, text=True, check=True).stdout
    for name in filter(None, listed.split("\0")):
        if (ROOT / name).is_file():
            (folder / name).parent.mkdir(parents=True, exist_ok=True)
            shutil.copy2(ROOT / name, folder / name)
    return folder


def _environment() -> dict[str, str]:
    return {**os.environ, "CI": "1", "PYTHONHASHSEED": "0", "OMP_NUM_THREADS": "1", "PYTHONDONTWRITEBYTECODE": "1"}


def cover(tree: Path, file: str) -> None:
    """Run a test file; keep which function of it ran which line, and how long each took."""
    data = tree / f".coverage.{Path(file).stem}"
    if data.exists() and Path(f"{data}.xml").exists():
        return  # kept from an earlier run
    subprocess.run(
        [sys.executable, "-m", "coverage", "run", f"--data-file={data}", "--source=strongmotion", f"--context={file}",
         f"--rcfile={tree / '.coveragerc'}", "-m", "pytest", "-q", "-p", "no:cacheprovider",
         f"--junitxml={data}.xml", "-o", "addopts=", "-m", "not slow", file],
        cwd=tree, env=_environment(), capture_output=True, check=False,
    )  # fmt: skip


def coverage_of(tree: Path) -> tuple[dict[tuple[str, int], set[str]], dict[str, float]]:
    """Return the tests that run each line (whole files where a fixture runs it), and how long each takes, s."""
    from coverage import CoverageData

    ran: dict[tuple[str, int], set[str]] = defaultdict(set)
    took: dict[str, float] = defaultdict(float)
    for path in sorted(tree.glob(".coverage.test_*.xml")):
        for case in ElementTree.parse(path).iter("testcase"):
            file = case.get("classname", "").replace(".", "/") + ".py"
            seconds = float(case.get("time", "0"))
            took[f"{file}::{case.get('name', '').partition('[')[0]}"] += seconds
            took[file] += seconds
    for path in sorted(tree.glob(".coverage.test_*")):
        if path.suffix == ".xml":
            continue
        data = CoverageData(str(path))
        data.read()
        for measured in data.measured_files():
            name = str(Path(measured).resolve().relative_to(tree.resolve()))
            for line, contexts in data.contexts_by_lineno(measured).items():
                for context in contexts:
                    file, _, function = context.partition("|")
                    test = f"{file}::{function.rpartition('.')[2]}" if function else file
                    ran[name, line].add(test)
    return ran, took


def tests_of(place: Place, source: str, ran: dict[tuple[str, int], set[str]], took: dict[str, float]) -> list[str]:
    """Return the tests that would meet a change, the quickest first; whole files only where nothing smaller does."""
    lines = {place.line}
    if place.names or place.kind == "judgement":  # of a constant: the functions that name it
        tree = ast.parse(source)
        names = set(place.names)
        lines = {node.lineno for node in ast.walk(tree) if isinstance(node, ast.Name) and node.id in names}
    if place.kind == "return":
        function = next(
            n for n in ast.walk(ast.parse(source)) if isinstance(n, ast.FunctionDef) and n.lineno == place.line
        )
        lines = {function.body[-1].lineno, function.body[min(1, len(function.body) - 1)].lineno}
    tests = set().union(*(ran.get((place.file, line), set()) for line in lines)) if lines else set()
    if not tests or all("::" not in test for test in tests):  # met at import, or in other modules
        tests = tests or {test for (file, _), its in ran.items() if file == place.file for test in its}
    small = sorted((test for test in tests if "::" in test), key=lambda test: took.get(test, 0.0))
    files = sorted((test for test in tests if "::" not in test), key=lambda test: took.get(test, 0.0))
    return small + files


def noticed(tree: Path, place: Place, new: str, tests: list[str], longest: float) -> tuple[bool, bool, float]:
    """Make a change, run tests until one fails, and take it back; say whether one failed, and whether they hung."""
    path, begun = tree / place.file, time.perf_counter()
    path.write_text(new, encoding="utf-8")
    try:
        for some in (tests[:QUICK], tests[QUICK:]):
            left = longest - (time.perf_counter() - begun)
            if not some or left <= 0:
                continue
            options = ["-q", "-x", "-p", "no:cacheprovider", "-o", "addopts=", "-m", "not slow"]
            command = [sys.executable, "-m", "pytest", *options, *some]
            try:
                run = subprocess.run(
                    command, cwd=tree, env=_environment(), capture_output=True, timeout=left, check=False
                )
            except subprocess.TimeoutExpired:
                # The quickest tests have passed by then; what is left over is too long to say.
                return some is tests[:QUICK], True, time.perf_counter() - begun
            if run.returncode not in (0, 5):
                return True, False, time.perf_counter() - begun
        return False, False, time.perf_counter() - begun
    finally:
        shutil.copy2(ROOT / place.file, path)


def main(arguments: list[str] | None = None) -> int:
    parser = argparse.ArgumentParser(prog="python -m benchmarks mutation", description=__doc__.partition("\n")[0])
    parser.add_argument("--rooms", default="", help="Rooms with commas between; all if not given.")
    parser.add_argument("--places", type=int, default=150)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument(
        "--longest", type=float, default=240.0, metavar="S",
        help="Seconds after which the quickest tests hang, and so notice; more on a busy machine.",
    )  # fmt: skip
    parser.add_argument("--coverage", type=Path, help="Keep coverage here, and use what is there.")
    chosen = parser.parse_args(arguments)
    rooms = set(filter(None, chosen.rooms.split(",")))
    sources, lines, places = {}, defaultdict(int), []
    for path in sorted((ROOT / "strongmotion").rglob("*.py")):
        name = str(path.relative_to(ROOT))
        if path.name in KERNELS or path.name == "__main__.py" or name == "strongmotion/__init__.py":
            continue
        sources[name] = path.read_text(encoding="utf-8")
        its = [place for place in places_in(sources[name], name) if not rooms or place.room in rooms]
        places += its
        if its:
            lines[its[0].room] += sources[name].count("\n")
    drawn = draw(places, chosen.places, chosen.seed, lines)
    with tempfile.TemporaryDirectory() as folder:
        kept = chosen.coverage or Path(folder) / "coverage"
        tree = kept
        if not (kept / "pyproject.toml").exists():
            copy_of_tree(kept)
        (tree / ".coveragerc").write_text("[run]\ndynamic_context = test_function\nparallel = false\n")
        files = [
            str(path.relative_to(tree))
            for path in sorted((tree / "tests").rglob("test_*.py"))
            if path.name not in UNTESTED
        ]
        with ThreadPoolExecutor(chosen.jobs) as pool:
            list(pool.map(lambda file: cover(tree, file), files))
        ran, took = coverage_of(kept)
        print(f"{len(took)} tests run {len(ran)} lines; {len(drawn)} of {len(places)} places drawn, seed {chosen.seed}")
        trees: Queue[Path] = Queue()
        for number in range(chosen.jobs):
            trees.put(copy_of_tree(Path(folder) / f"tree{number}"))

        def try_one(numbered: tuple[int, Place]) -> tuple[Place, str, str, bool, float, int]:
            number, place = numbered
            new, before, after = changed(sources[place.file], place, random.Random(f"{chosen.seed} {number}"))
            tests = tests_of(place, sources[place.file], ran, took)
            tree = trees.get()
            try:
                killed, hung, seconds = noticed(tree, place, new, tests, chosen.longest)
            finally:
                trees.put(tree)
            word = "hung" if killed and hung else "noticed" if killed else "SURVIVED"
            where = f"{place.kind:10} {place.file}:{place.line}"
            print(f"{number + 1:4} {word:8} {seconds:5.0f} s {where}: {before} -> {after}", flush=True)
            return place, before, after, killed, seconds, len(tests)

        with ThreadPoolExecutor(chosen.jobs) as pool:
            results = list(pool.map(try_one, enumerate(drawn)))
    for what, key in (("room", lambda place: place.room), ("kind", lambda place: place.kind)):
        count: dict[str, list[bool]] = defaultdict(list)
        for place, _, _, killed, *_ in results:
            count[key(place)].append(killed)
        print("; ".join(f"{what} {name}: {sum(its)} of {len(its)}" for name, its in sorted(count.items())))
    killed = sum(result[3] for result in results)
    print(f"{killed} of {len(results)} changes were noticed: {killed / len(results):.1%} (seed {chosen.seed})")
    return 0


if __name__ == "__main__":
    sys.exit(main())
