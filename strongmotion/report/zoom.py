"""The motion at full resolution, packed to stand in a page, where a small script draws it (templates/motion.js)."""

from __future__ import annotations

import base64
import gzip
import json
import struct
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from ..foundation.units import in_unit, label
from .motion_figures import peak_words, pointed, shaking_begins
from .style import STYLES, shortened

if TYPE_CHECKING:
    from ..result import Result

__all__ = ["packed_motion"]

TRACES = (("acceleration", "PGA"), ("velocity", "PGV"), ("displacement", "PGD"))

STEPS = 32767
"""Largest number that a sample is rounded to: its error is at most 1/65534 of the trace's peak."""

LONG, FEWER_STEPS = 40_000, 511
"""A trace of more samples is rounded to fewer steps, 1/1022 of its peak: a twentieth of a pixel of the script's."""

HIGHEST_ORDER = 3

LEVEL = 4
"""Of gzip: a higher one takes twice as long for one part in a hundred."""


def packed_motion(result: Result, unit: str) -> str:
    """Return the corrected motion of all components over the record's own window as text for a page.

    Parameters
    ----------
    result : Result
    unit : {"m/s2", "cm/s2", "g"}
        Of acceleration.

    Returns
    -------
    str
        Base64 of gzip of: the length of a JSON head (4 bytes, little-endian), the head, and for each trace of the head
        the lower bytes and then the upper bytes of its int16 differences, of the order that the head says; sums are
        taken modulo 2^16. A sample is its number times the trace's ``scale``.
    """
    look, names = STYLES["light"], list(result.motion)
    onset, _ = shaking_begins(result)
    units = (label(unit), "m/s", "m")
    traces: list[dict[str, Any]] = []
    body = []
    for (history, quantity), its_unit in zip(TRACES, units, strict=True):
        factor = in_unit(unit) if history == "acceleration" else 1.0
        for index, name in enumerate(names):
            values = getattr(result.motion[name].unpadded(), history) * factor
            steps = STEPS if len(values) <= LONG else FEWER_STEPS
            scale = float(np.abs(values).max()) / steps or 1.0
            order, planes = _planes(np.rint(values / scale).astype(np.int16))
            words, time = peak_words(result, name, quantity, factor, its_unit)
            traces.append(
                {
                    "title": f"{name} {history}, {its_unit}", "scale": scale, "order": order, "peak": [words, time],
                    "colour": look.colour(name, index),
                    "findings": [
                        [shortened(one.name, 40), *span]
                        for one, span in pointed(result)
                        if history == "acceleration" and one.component in ("", name)
                    ],
                }
            )  # fmt: skip
            body.append(planes)
    motion = result.motion[names[0]].unpadded()
    head = {
        "dt": motion.dt, "begin": float(motion.time[0]), "samples": len(motion.time), "onset": onset, "traces": traces,
        "ink": look.ink, "faint": look.faint, "rule": look.rule, "alarm": look.alarm,
    }  # fmt: skip
    text = json.dumps(head, ensure_ascii=False, separators=(",", ":")).encode()
    content = b"".join((struct.pack("<I", len(text)), text, *body))
    return base64.b64encode(gzip.compress(content, LEVEL, mtime=0)).decode()


def _planes(numbers: NDArray[np.int16]) -> tuple[int, bytes]:
    """Return numbers as differences, of the order that makes the smallest ones, and their bytes, low and high apart."""
    every = [numbers]
    sizes = [_size(numbers)]
    while len(every) <= HIGHEST_ORDER and sizes[-1] == min(sizes):
        every.append(np.diff(every[-1], prepend=np.int16(0)))  # wraps at 2^16, as the sums do that undo it
        sizes.append(_size(every[-1]))
    order = int(np.argmin(sizes))
    pairs = every[order].astype("<i2").view(np.uint8).reshape(-1, 2)
    return order, pairs[:, 0].tobytes() + pairs[:, 1].tobytes()


def _size(numbers: NDArray[np.int16]) -> float:
    return float(np.abs(numbers.astype(np.float32)).sum())
