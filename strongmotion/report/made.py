"""What a record's page carries of its own making, so that an unchanged record need not be read again."""

from __future__ import annotations

import functools
import hashlib
import html
import json
import re
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from .. import __version__
from .decimate import peaks_kept

if TYPE_CHECKING:
    from ..result import Result

__all__ = ["FOLDER", "Made", "made_in", "made_of", "stamp_of", "thumbnail"]

FOLDER = Path(__file__).parent / "templates"
COMPARED, DAMPING = "RotD50", 0.05
"""The spectrum of a record that is drawn among those of all."""

LONGEST = 1 << 16
"""Bytes at the begin of a page within which its making stands."""

_META = re.compile(r'<meta name="made" content="([^"]*)">')


@dataclass(frozen=True)
class Made:
    """How a page was made, and what the archive's page needs of its record.

    Parameters
    ----------
    stamp : str
        What `stamp_of` gave: a page is made anew only where it differs.
    name : str
        Of the station.
    thumbnail : str
        Path of a small picture of the motion.
    spectrum : pandas.DataFrame
        ``component, damping, period, psa, usable`` of RotD50 at 5 % damping; no rows where the record has none.
    """

    stamp: str
    name: str
    thumbnail: str
    spectrum: pd.DataFrame

    def text(self) -> str:
        """Return it as JSON, for the head of a page."""
        table = self.spectrum
        values = {
            "stamp": self.stamp, "name": self.name, "thumbnail": self.thumbnail,
            "period": table["period"].tolist(),
            "psa": table["psa"].tolist(),
            "usable": "".join("01"[bool(one)] for one in table["usable"]),
        }  # fmt: skip
        return json.dumps(values, ensure_ascii=False, separators=(",", ":"))


def stamp_of(*parts: Any) -> str:
    """Return a hash of all that a page is made from: what is given, and the software with its templates."""
    return hashlib.sha256(json.dumps([__version__, _look(), *parts]).encode()).hexdigest()


@functools.cache
def _look() -> str:
    digest = hashlib.sha256()
    for path in sorted(FOLDER.iterdir()):
        digest.update(path.read_bytes())
    return digest.hexdigest()


def made_of(result: Result, stamp: str) -> Made:
    """Return what the page of a result carries, its numbers as a page holds them."""
    table = result.spectra
    its = table[(table["component"] == COMPARED) & np.isclose(table["damping"], DAMPING, rtol=1e-9, atol=0.0)]
    period = [float(f"{one:.6g}") for one in its["period"]]
    psa = [float(f"{one:.5g}") for one in its["psa"]]
    spectrum = _spectrum(period, psa, "".join("01"[bool(one)] for one in its["usable"]))
    return Made(stamp, result.record.station.name, thumbnail(result), spectrum)


def made_in(path: Path) -> Made | None:
    """Return how a page was made, read from its head; None where there is no such page, or it does not say.

    A page that someone changed makes no error: it is then written anew.
    """
    try:
        with path.open("rb") as file:
            found = _META.search(file.read(LONGEST).decode("utf-8", "replace"))
        values = json.loads(html.unescape(found[1])) if found else {}
        texts = [values[name] for name in ("stamp", "name", "thumbnail")]
        if not all(isinstance(one, str) for one in texts) or not re.fullmatch(r"[ML0-9 -]*", values["thumbnail"]):
            return None
        stamp, name, picture = texts
        return Made(stamp, name, picture, _spectrum(values["period"], values["psa"], values["usable"]))
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        return None


def _spectrum(period: list[float], psa: list[float], usable: str) -> pd.DataFrame:
    held = [one == "1" for one in usable]
    if not len(period) == len(psa) == len(held):
        raise ValueError("a spectrum of different lengths")
    return pd.DataFrame(
        {
            "component": [COMPARED] * len(held), "damping": DAMPING, "period": np.array(period, dtype=float),
            "psa": np.array(psa, dtype=float), "usable": np.array(held, dtype=bool),
        }
    )  # fmt: skip


def thumbnail(result: Result, width: int = 120, height: int = 28) -> str:
    """Return the acceleration of the first component as the path of a small SVG picture.

    Examples
    --------
    >>> thumbnail(result)                                  # doctest: +SKIP
    'M0 14L1 15L3 2...'
    """
    motion = next(iter(result.motion.values())).unpadded()
    time, values = peaks_kept(motion.time, motion.acceleration, width // 2)
    largest_value = float(np.abs(values).max()) or 1.0
    span = float(time[-1] - time[0]) or 1.0
    x = np.rint(width * (time - time[0]) / span).astype(int)
    y = np.rint(height / 2 - (height / 2 - 1) * values / largest_value).astype(int)
    return "M" + "L".join(f"{a} {b}" for a, b in zip(x, y, strict=True))
