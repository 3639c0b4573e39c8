"""The check book: what the tests held against published values and closed forms, as a page of the guide."""

from __future__ import annotations

import ast
import math
from dataclasses import dataclass
from pathlib import Path

import numpy as np

ROOT = Path(__file__).parents[1]
PUBLISHED = ROOT / "tests" / "published"
PAGE = ROOT / "strongmotion" / "guide" / "checks.md"

ROUNDING = 1e-9
"""Relative differences below this are round-off, which depends on the machine: only their power of ten is shown."""

BEFORE = """\
# What the numbers were held against

The tests compare the software with numbers that it did not make: printed in a paper, a standard or a handbook, or given
by a formula in closed form. This page lists them. It is written by the tests, so every number was computed in that run.

Each row is a check; *published* is the printed value or that of the closed form. Where a check compares several
values, *n* is their number, and the row shows the value that comes nearest to its tolerance. The difference has no
sign and is stated as the tolerance is: in percent or as a fraction of the published value, or in the unit of the
quantity. A difference such as "< 1e-12" is round-off. Where the source could not be read, the row says *from memory*:
the value is what the authors of the test remember. The section numbers of books are from memory too; a closed form
can be derived without the book.

Agreement here shows that the formulas are right. How well spoiled records are restored is another question, which
[the restoration table](../../DEVELOPERS.md#restored-from-known-truth) answers, class by class.
"""

AFTER = """\
## What can go wrong

- **A value from memory may be remembered wrongly**, in the test and in the software alike.
  [The list of what rests on memory](../../DEVELOPERS.md#from-memory) says what would settle each.
- **A tolerance is not an accuracy.** It says how closely a published value can be checked: two printed digits check two
  digits.
- **Your record may differ from these.** Most checks use simple motions or clean records. Look at the findings and the
  usable band of your own record.

Results are for information and depend on processing choices. Design use is for licensed engineers under the local code.
"""


@dataclass
class Row:
    """One check, and of its values the one that comes nearest to its tolerance.

    `nearest` holds what orders the values (the difference in tolerances, 0 for round-off; then the size) and value,
    ours and tolerance. `rounding` is the largest difference that is round-off.
    """

    beginning: str
    relative: bool
    unit: str
    count: int = 0
    nearest: tuple[float, float, float, float, float] = (-1.0, -1.0, 0.0, 0.0, 0.0)
    rounding: float = 0.0

    def add(self, printed: np.ndarray, ours: np.ndarray, tolerance: float) -> None:
        """Count values, and keep the nearest to the tolerance; among those that agree, the largest."""
        self.count += printed.size
        sizes = np.abs(printed)
        scales = sizes if self.relative else np.full(sizes.shape, sizes.max())
        differences = np.abs(ours - printed)
        for value, found, scale, difference in np.column_stack((printed, ours, scales, differences)).tolist():
            if difference <= ROUNDING * scale:
                fraction = 0.0
                self.rounding = max(self.rounding, difference / (scale or 1.0) if self.relative else difference)
            else:
                fraction = difference / (tolerance * scale if self.relative else tolerance)
            self.nearest = max(self.nearest, (fraction, abs(value), value, found, tolerance))

    def __str__(self) -> str:
        fraction, size, printed, ours, tolerance = self.nearest
        percent = self.relative and tolerance >= 1e-4
        factor, unit = (100.0, " %") if percent else (1.0, "" if self.relative or not self.unit else f" {self.unit}")
        if fraction > 0 or tolerance == 0:
            difference = f"{factor * fraction * tolerance:.2g}{unit}"
        else:
            difference = f"{below(factor * self.rounding)}{unit}"
        ours_text = to_digits(ours, tolerance * size if self.relative else tolerance)
        cells = [str(self.count), f"{printed:.7g}", ours_text, difference, f"{factor * tolerance:.2g}{unit}"]
        return self.beginning + " | ".join(cells) + " |"


def below(difference: float) -> str:
    """Return the power of ten above a difference, 1e-12 at least: round-off changes from machine to machine."""
    power = math.floor(math.log10(difference)) + 1 if difference > 0 else -12
    return f"< 1e{max(power, -12):03d}"


def to_digits(value: float, tolerance: float) -> str:
    """Return a value with one decimal more than its tolerance can tell, seven digits at most."""
    if value == 0 or tolerance == 0:
        return f"{value:.7g}"
    digits = math.floor(math.log10(abs(value))) - math.floor(math.log10(tolerance)) + 2
    return f"{value:.{min(max(digits, 2), 7)}g}"


class CheckBook:
    """Rows by test file, in the order in which the tests made them."""

    def __init__(self) -> None:
        self.files: dict[Path, dict[str, Row]] = {}

    def row(self, file: Path, beginning: str, relative: bool, unit: str) -> Row:
        """Return the row that begins so, a new one if there is none."""
        return self.files.setdefault(file, {}).setdefault(beginning, Row(beginning, relative, unit))

    def text(self) -> str:
        """Return the page, Markdown."""
        return "\n".join([BEFORE, *(section(file, rows) for file, rows in sorted(self.files.items())), AFTER])


def beginning(source: str, quantity: str, unit: str, memory: bool) -> str:
    """Return the first cell of a row, by which it is known."""
    return f"| {source}{', from memory' if memory else ''}: {quantity}{f', {unit}' if unit else ''} | "


def section(file: Path, rows: dict[str, Row]) -> str:
    """Return the section of one test file: its source, a link to it, and its rows."""
    document = ast.get_docstring(ast.parse(file.read_text(encoding="utf-8"))) or file.stem
    name = file.relative_to(ROOT).as_posix()
    head = "| source: quantity | n | published | ours | difference | tolerance |\n" + 6 * "|---" + "|"
    about = document.partition("\n")[0].rstrip(".")
    return f"## {about}\n\nMade by [{file.name}](../../{name}).\n\n{head}\n" + "".join(
        f"{row}\n" for row in rows.values()
    )
