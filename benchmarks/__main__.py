"""Run one benchmark by name, or all."""

from __future__ import annotations

import importlib
import pkgutil
import sys
from pathlib import Path


def main(names: list[str]) -> int:
    known = sorted(module.name for module in pkgutil.iter_modules([str(Path(__file__).parent)]))
    known.remove("__main__")
    if unknown := set(names) - set(known):
        print(f"no benchmark {', '.join(sorted(unknown))}; there are: {', '.join(known)}", file=sys.stderr)
        return 2
    for name in names or known:
        importlib.import_module(f"benchmarks.{name}").main()
    return 0


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
