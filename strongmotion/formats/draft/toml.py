"""Write a drafted layout as TOML: a rule for each value, tested on the file first."""

from __future__ import annotations

import re
from collections.abc import Sequence

import re2

from ...foundation.errors import SettingsError
from ..layout import Rule
from ..patterns import Pattern, PatternError
from .weigh import Choice

_NUMBER = r"([-+.,0-9eEdD]+)"


def quoted(text: str) -> str:
    """Return a text as a TOML string."""
    if "'" not in text and all(character.isprintable() for character in text):
        return f"'{text}'"
    escaped = "".join(
        f"\\{c}" if c in '\\"' else c if c.isprintable() else f"\\u{ord(c):04x}" if ord(c) < 65536 else "?"
        for c in text
    )
    return f'"{escaped}"'


def rule_text(choice: Choice, lines: Sequence[tuple[int, str]], numeric: bool) -> tuple[str, Rule | None]:
    """Return the keys of a rule that finds a choice's text in a header, and the rule; None if there is no such rule.

    Parameters
    ----------
    choice : Choice
        The text of its item must be in its line.
    lines : sequence of (int, str)
        The header's lines and their numbers in the file, from 0.
    numeric : bool
        Whether the text is a number.
    """
    item = choice.item
    assert item is not None
    return _where(item.text if choice.quantity != "start" else item.stated, item.line, item.label, lines, numeric)


def _where(text: str, at: int, label: str, lines: Sequence[tuple[int, str]], numeric: bool) -> tuple[str, Rule | None]:
    first = lines[0][0] if lines else 0
    raw = next((line for number, line in lines if number == at), "")
    places = _places(raw, text, label)
    if not places:
        return "", None
    plain_lines = [line for _, line in lines]
    for place in places:
        for keys in _tries(raw, place, text, numeric):
            try:
                rule = Rule(pattern=Pattern(keys))
            except PatternError:
                continue
            found = rule.find(plain_lines, first + 1)
            if found is not None and found.text == text and found.line == at + 1:
                return f"pattern = {quoted(keys)}", rule
        begin = place
        while numeric and begin > 0 and raw[begin - 1] == " ":
            begin -= 1
        begin = min(begin + (1 if begin and begin < place else 0), place)
        rule = Rule(line=at - first + 1, columns=(begin + 1, place + len(text)))
        found = rule.find(plain_lines, first + 1)
        if found is not None and found.text == text:
            return f"line = {at - first + 1}, columns = [{begin + 1}, {place + len(text)}]", rule
    return "", None


def _places(raw: str, text: str, label: str) -> list[int]:
    """Return the positions of a text in a line, those after its label first."""
    found, at = [], raw.find(text)
    while at >= 0 and text:
        before, after = raw[at - 1 : at], raw[at + len(text) : at + len(text) + 1]
        apart = not (text[0].isalnum() and before.isalnum()) and not (
            before in ("-", "+", ".") and text[0].isdigit() and raw[at - 2 : at - 1] in ("", " ")
        )
        if apart and not (text[-1].isdigit() and after.isdigit()):
            found.append(at)
        at = raw.find(text, at + 1)
    word = next(iter(label.split()), "")
    behind = raw.lower().find(word) if word else -1
    return sorted(found, key=lambda place: (place < behind, place))


def _tries(raw: str, place: int, text: str, numeric: bool) -> list[str]:
    before, after = raw[:place], raw[place + len(text) :]
    if numeric:
        group = _NUMBER
    elif not after.strip():
        group = r"(.*\S)"
    elif " " not in text:
        group = r"([^\s;,]+)"
    elif after.lstrip()[:1] in ";,)":
        group = rf"([^{re.escape(after.lstrip()[:1])}]*[^\s{re.escape(after.lstrip()[:1])}])"
    else:
        group = rf"(\S.{{{max(len(text) - 2, 0)}}}\S)"
    tries = []
    cell = re.split(r"\t|;|\||  +", before.rstrip())[-1].strip()
    beside = re.split(r"\d[\d.,:+-]*", cell)[-1].strip(" ,")
    if beside != before.strip() and len(re2.findall(r"\pL", beside)) >= 3:
        gap = before[before.rfind(beside) + len(beside) :]
        between = literal(gap) if gap.strip() else r"\s+" if gap else ""
        tries.append(f"{literal(beside)}{between}{group}")
    words = re.split(r"\d[\d.,:+-]*", before)[-1]
    if re2.search(r"\pL{2}|=", words):
        anchor = "^" if words == before else ""
        tries.append(f"{anchor}{literal(words)}{group}")
        if anchor:
            tries.append(f"{literal(words.lstrip())}{group}")
    if re2.search(r"\pL{2}", before) and words != before:
        tries.append(f"^{literal(before)}{group}")
    suffix = re.split(r"\d", after)[0]
    if re2.search(r"\pL{2}", suffix) and not re2.search(r"\pL{2}", words):
        tries.append(f"{'^ *' if not before.strip() else ''}{group}{literal(suffix.rstrip())}")
    return tries


def literal(text: str) -> str:
    """Return a pattern for a text in which any blanks match its blanks and any number its numbers."""
    escaped = re.sub(r"[.^$*+?{}\[\]\\|()]", lambda match: "\\" + match[0], text)
    escaped = re.sub(r"\d+", r"[0-9]+", escaped)
    return re.sub(r"[ \t]+", lambda match: r"\s+" if len(match[0]) > 1 or "\t" in match[0] else " +", escaped)


def name_of(stem: str) -> str:
    """Return a layout name for a file."""
    return re.sub(r"[^A-Za-z0-9_-]", "-", stem)[:40] or "layout"


def checked(text: str) -> str:
    """Return a TOML text that is a valid layout, or raise an error."""
    if len(text) > 100_000:
        raise SettingsError("the draft is too long", remedy="Write the layout by hand")
    return text
