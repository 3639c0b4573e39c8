"""The measures of many records in one table."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

import pandas as pd

from ..foundation.cautions import CAUTION
from ..foundation.errors import ArchiveError
from ..foundation.files import printable
from ..foundation.units import acceleration_unit, in_unit
from ..measures import COLUMNS
from . import gate, layout
from .files import read_bytes
from .names import version_of_file

__all__ = ["in_acceleration_unit", "measures_of"]


def measures_of(files: Iterable[Path], unit: str = "m/s2") -> pd.DataFrame:
    """Put the measures of record files into one table.

    Parameters
    ----------
    files : iterable of Path
    unit : {"m/s2", "cm/s2", "g"}
        For accelerations.

    Returns
    -------
    pandas.DataFrame
        ``record`` and the columns of `Result.measures`. ``attrs["caution"]`` is the caution, ``attrs["problems"]``
        lists the files that could not be read, which have no rows.
    """
    tables, problems = [], []
    for path in files:
        try:
            named = version_of_file(path.name)
            with gate.passed(read_bytes(path)[0]) as file:
                layout.check_layout(file)
                table = layout.read_table(file, "measures")
                table = table.reindex(columns=list(dict.fromkeys((*table.columns, *COLUMNS))))
                table["usable"] = table["usable"].eq(True)  # where nothing says so it is not
                table.insert(0, "record", named[0] if named else path.stem)
                tables.append(table)
        except ArchiveError as error:
            problems.append(str(error.at(printable(path))))
    whole = pd.concat(tables, ignore_index=True) if tables else pd.DataFrame(columns=["record", *COLUMNS])
    whole = in_acceleration_unit(whole, unit)
    whole.attrs = {"caution": CAUTION, "problems": problems}
    return whole


def in_acceleration_unit(measures: pd.DataFrame, unit: str) -> pd.DataFrame:
    """Return a table of measures with its accelerations in another unit.

    Examples
    --------
    >>> import strongmotion as sm
    >>> result = sm.process(sm.read("demo_records/quay.csv"))
    >>> "g" in set(result.measures["unit"]), "g" in set(in_acceleration_unit(result.measures, "g")["unit"])
    (False, True)
    """
    unit, factor = acceleration_unit(unit), in_unit(unit)
    changed = measures.copy()
    accelerations = changed["unit"] == "m/s2"
    for column in ("value", "band_low", "band_high"):
        if column in changed:
            changed.loc[accelerations, column] *= factor
    changed.loc[accelerations, "unit"] = unit
    return changed
