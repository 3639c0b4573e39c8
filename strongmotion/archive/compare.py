"""What moved between two results of one record."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

if TYPE_CHECKING:
    from ..result import Result

__all__ = ["MOVED", "moved", "same_numbers"]

MOVED = ("record", "quantity", "component", "period_s", "damping", "before", "after", "unit", "change_percent")


def same_numbers(one: Result, other: Result) -> bool:
    """Tell whether motion, usable bands, peaks, spectra and measures of two results are alike to the last bit.

    Examples
    --------
    >>> import strongmotion as sm
    >>> result = sm.process(sm.read("demo_records/quay.csv"))
    >>> same_numbers(result, sm.process(result.record))
    True
    """
    tables = all(getattr(one, name).equals(getattr(other, name)) for name in ("peaks", "spectra", "measures"))
    return tables and one.usable_band == other.usable_band and _motions(one) == _motions(other)


def _motions(result: Result) -> dict[str, tuple[bytes | None, ...]]:
    return {
        name: tuple(
            None if array is None else array.tobytes()
            for array in (motion.acceleration, motion.velocity, motion.displacement)
        )
        for name, motion in result.motion.items()
    }


def moved(before: Result, after: Result) -> pd.DataFrame:
    """Tabulate the numbers that differ between two results of one record.

    Parameters
    ----------
    before, after : Result

    Returns
    -------
    pandas.DataFrame
        ``record, quantity, component, period_s, damping, before, after, unit, change_percent``: every peak, corner
        frequency and measure that moved, and of each pseudo-acceleration spectrum the ordinate that moved most, of
        those that both have. A number that only one of them has is missing in the other.

    Examples
    --------
    >>> import strongmotion as sm
    >>> result = sm.process(sm.read("demo_records/quay.csv"))
    >>> other = sm.process(result.record, sm.Settings.from_dict({"filter": {"low_cut": 0.1}}))
    >>> "PGD" in set(moved(result, other)["quantity"])
    True
    """
    spectra = _pairs(before.spectra, after.spectra, ["component", "damping", "period"], "psa", how="inner")
    spectra = spectra.assign(quantity="PSA", unit="m/s2")
    spectra = spectra[_differ(spectra)]
    size = (spectra["after"] / spectra["before"] - 1).abs().fillna(np.inf)
    spectra = spectra.loc[size.groupby(spectra["component"]).idxmax()] if len(spectra) else spectra
    peaks = _pairs(before.peaks, after.peaks, ["component", "quantity", "unit"])
    measures = _pairs(before.measures, after.measures, ["component", "measure", "unit"])
    corners = _pairs(_corners(before), _corners(after), ["component", "quantity", "unit"])
    table = pd.concat(
        [part for part in (corners, peaks, spectra, measures.rename(columns={"measure": "quantity"})) if len(part)]
        or [corners],
        ignore_index=True,
    )
    table = table.drop_duplicates(["quantity", "component", "unit"])  # peaks stand among the measures too
    table = table[_differ(table)].rename(columns={"period": "period_s"}).assign(record=before.record.id)
    with np.errstate(divide="ignore", invalid="ignore"):
        table["change_percent"] = 100 * (table["after"] / table["before"] - 1)
    return table.reindex(columns=list(MOVED)).reset_index(drop=True)


def _pairs(
    before: pd.DataFrame, after: pd.DataFrame, keys: list[str], value: str = "value", how: str = "outer"
) -> pd.DataFrame:
    old, new = (frame[[*keys, value]].drop_duplicates(keys) for frame in (before, after))
    # Joined in the order of the earlier one; what only the later has stands below.
    pairs = old.merge(new, on=keys, how="left" if how == "outer" else how, suffixes=("_old", "_new"))
    if how == "outer":
        alone = new.merge(old[keys], on=keys, how="left", indicator=True).query("_merge == 'left_only'")
        if len(alone):
            alone = alone.drop(columns="_merge").rename(columns={value: f"{value}_new"})
            pairs = pd.concat([pairs, alone.assign(**{f"{value}_old": np.nan})], ignore_index=True)
    return pairs.rename(columns={f"{value}_old": "before", f"{value}_new": "after"})


def _corners(result: Result) -> pd.DataFrame:
    rows = [
        (component, quantity, value, "Hz")
        for component, band in result.usable_band.items()
        for quantity, value in (("low-cut", band.low_cut), ("high-cut", band.high_cut))
    ]
    return pd.DataFrame(rows, columns=["component", "quantity", "value", "unit"])


def _differ(pairs: pd.DataFrame) -> pd.Series:
    return (pairs["before"] != pairs["after"]) & ~(pairs["before"].isna() & pairs["after"].isna())
