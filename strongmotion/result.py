"""The whole job for one record: `process` takes a `Record` and returns a `Result`."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import pandas as pd

from . import __version__
from .cautions import CAUTIONS
from .chain import Band, correct
from .checks import examine
from .measures import measure_table, peak_table
from .motion import History, Motion
from .record import Finding, Record
from .settings import Settings
from .spectra import response_spectrum, rotated_spectrum

__all__ = ["Result", "process"]


@dataclass(frozen=True, eq=False)
class Result:
    """All that was made of one record, with what is needed to defend and to repeat it.

    Parameters
    ----------
    record : Record
        The raw record, untouched.
    settings : Settings
        What the chain was told.
    motion : dict of str to Motion
        Corrected motion by component, with its pads.
    usable_band : dict of str to Band
        The frequencies and periods over which the numbers hold, by component, and ``"horizontal"`` for the pair.
    peaks : pandas.DataFrame
        A row a component and combination: ``component, quantity, value, unit, time``.
    spectra : pandas.DataFrame
        Long form: ``component, damping, period, sd, psv, psa, sv, sa, usable``; RotD rows have no sv and sa.
    measures : pandas.DataFrame
        ``component, measure, value, unit, source``.
    findings : tuple of Finding
        What the checks say of the record and of its processing.
    history : History
        Every step, in order, with its numbers.
    version : str
        The version of the software that made it.
    """

    record: Record
    settings: Settings
    motion: dict[str, Motion]
    usable_band: dict[str, Band]
    peaks: pd.DataFrame
    spectra: pd.DataFrame
    measures: pd.DataFrame
    findings: tuple[Finding, ...]
    history: History
    version: str = __version__
    cautions: tuple[str, ...] = CAUTIONS
