"""Run one benchmark by name, with options of its own, or all that take none."""

from __future__ import annotations

import importlib
import pkgutil
import sys
from pathlib import Path

APART = ("identity", "mutation")
"""Run only by name: they compare with an earlier state, or take long."""


def main(arguments: list[str]) -> int:
    known = sorted(module.name for module in pkgutil.iter_modules([str(Path(__file__).parent)]))
    known.remove("__main__")
    if arguments and arguments[0] in APART:
        return int(importlib.import_module(f"benchmarks.{arguments[0]}").main(arguments[1:]))
    if unknown := set(arguments) - set(known):
        print(f"no benchmark {', '.join(sorted(unknown))}; there are: {', '.join(known)}", file=sys.stderr)
        return 2
    for name in arguments or [name for name in known if name not in APART]:
        importlib.import_module(f"benchmarks.{name}").main()
    return 0


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
