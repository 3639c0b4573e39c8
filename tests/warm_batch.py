"""Loaded by the fork server of `test_batch`, so that its children begin with everything loaded and compiled."""

from __future__ import annotations

import tempfile
from pathlib import Path

from test_batch import QUICK, record

from strongmotion import Archive, process, read, write_csv

with tempfile.TemporaryDirectory() as folder:
    write_csv(record("WARM"), Path(folder) / "warm.csv")
    # In one thread: a process that has threads must not fork.
    Archive(folder, create=True).add(process(read(Path(folder) / "warm.csv"), QUICK, threads=1))
