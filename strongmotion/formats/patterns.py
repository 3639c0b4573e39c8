"""Regular expressions that cannot hang: a search takes time in proportion to pattern times line, whatever they are.

Python's own matcher tries alternatives one after another, and for some patterns that takes time beyond all bounds. It
is used where a bound from the pattern's shape and the line's length is small. Elsewhere the same search is made by a
matcher that enters each place of the pattern at each place of the line once at most (after Thompson 1968; the order of
trying, and so what is found, is Python's). What needs more than such a matcher, looking around and back-references, is
refused.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Any

MOST_INSTRUCTIONS = 2000
MOST_STEPS = 1_000_000
"""Of all searches in one file: seconds."""
_QUICK = 100_000

Found = tuple[str | None, ...]
"""The match and its groups."""


class EffortError(Exception):
    """Searching has taken as many steps as one file may cost."""


@dataclass
class Effort:
    """The steps left for the searches in one file."""

    left: int = MOST_STEPS

    def spend(self, steps: int) -> None:
        """Take steps away.

        Raises
        ------
        EffortError
            None are left.
        """
        self.left -= steps
        if self.left < 0:
            raise EffortError


class Pattern:
    """A regular expression, to be searched in single lines.

    Raises
    ------
    re.error
        It is not a regular expression, or needs what is refused here.
    """

    def __init__(self, text: str) -> None:
        self.text = text
        self._python = re.compile(text)
        self.groups = self._python.groups
        tree = _parsed(text)
        self._program = _Compiler().program(tree)
        self._order = _order(tree) + (0 if text.startswith("^") and "|" not in text else 1)
        self._literal = _literal(tree)
        self.beginning = _beginning(text)

    def search(self, line: str, effort: Effort) -> Found | None:
        """Return the leftmost match and its groups, as `re.search` finds them; None if there is none."""
        if self._literal not in line:
            effort.spend(1)
            return None
        most = max(len(line), 2) ** min(self._order, 20)
        if most <= _QUICK:
            effort.spend(1 + most // 100)
            match = self._python.search(line)
            return None if match is None else (match[0], *match.groups())
        return self._bounded(line, effort)

    def _bounded(self, line: str, effort: Effort) -> Found | None:
        seen: set[tuple[int, int]] = set()
        for start in range(len(line) + 1):
            effort.spend(1)
            stack: list[tuple[int, int, tuple[int, ...]]] = [(0, start, (-1,) * (2 * self.groups))]
            while stack:
                at, place, saved = stack.pop()
                if (at, place) in seen:
                    continue
                seen.add((at, place))
                effort.spend(1)
                kind, what = self._program[at]
                if kind == "one":
                    if place < len(line) and what(line[place]):
                        stack.append((at + 1, place + 1, saved))
                elif kind == "go":
                    stack.extend((target, place, saved) for target in reversed(what))
                elif kind == "save":
                    stack.append((at + 1, place, (*saved[:what], place, *saved[what + 1 :])))
                elif kind == "if":
                    if what(line, place):
                        stack.append((at + 1, place, saved))
                else:
                    pairs = zip(saved[::2], saved[1::2], strict=True)
                    return (line[start:place], *(None if end < 0 else line[begin:end] for begin, end in pairs))
        return None


def _parsed(text: str) -> Any:
    tree = re._parser.parse(text)  # type: ignore[attr-defined]
    if tree.state.flags & ~re.UNICODE:
        raise re.error("flags are not allowed in it")
    return tree


def _beginning(text: str) -> str:
    """Return plain characters that a line must begin with to match; empty where that is not plain to see."""
    if not text.startswith("^") or "|" in text:
        return ""
    literal = re.match(r"[A-Za-z0-9 %#:;=_,<>~@!&'\"/-]*", text[1:])
    assert literal is not None
    rest = text[1 + literal.end() :]
    return literal[0][:-1] if rest[:1] in ("*", "?", "{", "+") else literal[0]


def _literal(tree: Iterable[Any]) -> str:
    """Return the longest run of plain characters that every match holds."""
    runs = [""]
    for op, value in tree:
        if str(op) == "LITERAL":
            runs[-1] += chr(value)
        else:
            runs.append("")
    return max(runs, key=len)


def _order(tree: Iterable[Any]) -> float:
    """Return how many choices of length a match has, so that length to this power bounds what backtracking costs."""
    total = 0.0
    for op, value in tree:
        name = str(op)
        if name in ("MAX_REPEAT", "MIN_REPEAT"):
            least, most, inside = value
            inner = _order(inside)
            total += inner if most == 1 == least else (20.0 if inner else float(least != most))
        elif name == "SUBPATTERN":
            total += _order(value[3])
        elif name == "BRANCH":
            total += 1 + max(_order(branch) for branch in value[1])
    return total


_WORD = re.compile(r"\w")
_CATEGORIES: dict[str, Callable[[str], Any]] = {
    "CATEGORY_DIGIT": re.compile(r"\d").match, "CATEGORY_NOT_DIGIT": re.compile(r"\D").match,
    "CATEGORY_SPACE": re.compile(r"\s").match, "CATEGORY_NOT_SPACE": re.compile(r"\S").match,
    "CATEGORY_WORD": _WORD.match, "CATEGORY_NOT_WORD": re.compile(r"\W").match,
}  # fmt: skip


def _edge(line: str, place: int) -> bool:
    before = place > 0 and bool(_WORD.match(line[place - 1]))
    after = place < len(line) and bool(_WORD.match(line[place]))
    return before != after


_PLACES: dict[str, Callable[[str, int], bool]] = {
    "AT_BEGINNING": lambda line, place: place == 0,
    "AT_BEGINNING_STRING": lambda line, place: place == 0,
    "AT_END": lambda line, place: place == len(line) or line[place:] == "\n",
    "AT_END_STRING": lambda line, place: place == len(line),
    "AT_BOUNDARY": _edge,
    "AT_NON_BOUNDARY": lambda line, place: not _edge(line, place) and len(line) > 0,
}


class _Compiler:
    """Turns Python's parse of a pattern into instructions: one character, go to, save a place, if at a place, done."""

    def __init__(self) -> None:
        self.code: list[tuple[str, Any]] = []

    def program(self, tree: Iterable[Any]) -> list[tuple[str, Any]]:
        self.sequence(tree)
        self.add("done", None)
        return self.code

    def add(self, kind: str, what: Any) -> int:
        if len(self.code) >= MOST_INSTRUCTIONS:
            raise re.error("it is too long, or repeats too much")
        self.code.append((kind, what))
        return len(self.code) - 1

    def sequence(self, tree: Iterable[Any]) -> None:
        for op, value in tree:
            name = str(op)
            if name == "SUBPATTERN":
                group, add_flags, del_flags, inside = value
                if add_flags or del_flags:
                    raise re.error("flags are not allowed in it")
                if group is not None:
                    self.add("save", 2 * group - 2)
                self.sequence(inside)
                if group is not None:
                    self.add("save", 2 * group - 1)
            elif name == "BRANCH":
                self.branch(value[1])
            elif name in ("MAX_REPEAT", "MIN_REPEAT"):
                self.repeat(*value, greedy=name == "MAX_REPEAT")
            elif name == "AT":
                self.add("if", _PLACES[str(value)])
            else:
                self.add("one", _one(name, value))

    def branch(self, branches: list[Any]) -> None:
        fork = self.add("go", ())
        begins, ends = [], []
        for branch in branches:
            begins.append(len(self.code))
            self.sequence(branch)
            ends.append(self.add("go", ()))
        self.code[fork] = ("go", tuple(begins))
        for end in ends:
            self.code[end] = ("go", (len(self.code),))

    def repeat(self, least: int, most: int, inside: Any, *, greedy: bool) -> None:
        for _ in range(least):
            self.sequence(inside)
        endless = most == re._constants.MAXREPEAT  # type: ignore[attr-defined]
        forks = []
        for _ in range(1 if endless else most - least):
            forks.append(self.add("go", ()))
            self.sequence(inside)
            if endless:
                self.add("go", (forks[-1],))
        for fork in forks:
            ways = (fork + 1, len(self.code))
            self.code[fork] = ("go", ways if greedy else ways[::-1])


def _one(name: str, value: Any) -> Callable[[str], Any]:
    if name == "LITERAL":
        return chr(value).__eq__
    if name == "NOT_LITERAL":
        return chr(value).__ne__
    if name == "ANY":
        return "\n".__ne__
    if name == "IN":
        negated = str(value[0][0]) == "NEGATE"
        tests = [_member(str(op), what) for op, what in value[negated:]]
        return lambda character: any(test(character) for test in tests) != negated
    raise re.error("looking around, back-references and possessive repeats are not allowed in it")


def _member(name: str, value: Any) -> Callable[[str], Any]:
    if name == "RANGE":
        return lambda character: value[0] <= ord(character) <= value[1]
    if name == "CATEGORY":
        return _CATEGORIES[str(value)]
    return chr(value).__eq__
