"""How long `strongmotion --help` takes, beside the import of Typer alone."""

from __future__ import annotations

import subprocess
import sys
import time

ROUNDS = 7


def shortest(code: str) -> float:
    times = []
    for _ in range(ROUNDS):
        begun = time.perf_counter()
        subprocess.run([sys.executable, "-c", code], capture_output=True, check=True)
        times.append(time.perf_counter() - begun)
    return min(times)


def main() -> None:
    alone = shortest("import typer")
    shown = shortest("import sys; sys.argv = ['strongmotion', '--help']; from strongmotion.cli import main; main()")
    print(f"import typer {alone:.3f} s; strongmotion --help {shown:.3f} s, {shown / alone:.2f} times as long")
