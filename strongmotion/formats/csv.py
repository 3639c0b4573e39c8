"""Comma-separated values: ``# key: value`` lines, a row that names the columns with their units, then numbers.

::

    # station: QUAY
    # dt_s: 0.005
    # sensitivity_H1: 427336.5
    H1 [counts],H2 [counts],V [counts]
    12,-7,3

A column ``time [s]`` may stand among the others, in place of ``dt_s``. The delimiter may be a comma, a semicolon or a tab.
"""

from __future__ import annotations

from pathlib import Path

from ..record import Record
from .layout import described, save


def write_csv(record: Record, path: str | Path) -> None:
    """Write a record as CSV, so that reading it gives the same samples bit for bit.

    Parameters
    ----------
    record : Record
    path : str or Path
        The file to write; an existing one is replaced.

    Raises
    ------
    RecordError
        The file cannot be written.
    """
    lines = []
    for at, component in enumerate(record):
        words = described(record, component)
        for key, text in words.items():
            if not text or key in ("component", "unit", "sampling_rate"):
                continue
            if key in ("channel", "sensitivity", "azimuth", "dip"):
                lines.append(f"# {key}_{component.name}: {text}")
            elif at == 0:
                lines.append(f"# {'dt_s' if key == 'dt' else key}: {' '.join(text.split())}")
    lines.append(",".join(f"{component.name} [{component.unit}]" for component in record))
    lines.extend(map(",".join, zip(*(map(repr, c.samples.tolist()) for c in record), strict=True)))
    save(path, ("\n".join(lines) + "\n").encode())
