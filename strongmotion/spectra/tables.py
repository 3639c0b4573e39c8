"""Spectra as tables: long form for pandas, named axes with units for xarray."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from ..foundation.arrays import Floats
from ..foundation.errors import InputError

if TYPE_CHECKING:
    import pandas as pd
    import xarray

__all__ = ["dataset", "long_table"]

LONG_NAMES = {
    "sd": ("relative displacement", "m"),
    "psv": ("pseudo-velocity", "m/s"),
    "psa": ("pseudo-acceleration", "m/s2"),
    "sv": ("relative velocity", "m/s"),
    "sa": ("absolute acceleration", "m/s2"),
    "period": ("natural period", "s"),
    "damping": ("damping ratio", "1"),
    "percentile": ("percentile over directions", "1"),
}
"""What an axis or a quantity is, and its unit."""


def long_table(damping: Floats, periods: Floats, columns: dict[str, Floats | None]) -> pd.DataFrame:
    """Return columns of shape (d, p) in long form, a row an oscillator, without those that are None."""
    import pandas as pd

    return pd.DataFrame(
        {
            "damping": np.repeat(damping, periods.size),
            "period": np.tile(periods, damping.size),
            **{name: values.ravel() for name, values in columns.items() if values is not None},
        }
    )


def dataset(axes: dict[str, Floats], columns: dict[str, Floats | None]) -> xarray.Dataset:
    """Return columns on their axes as an xarray dataset, with units and long names."""
    try:
        import xarray
    except ImportError:
        raise InputError("xarray is not installed", remedy="Install it: pip install xarray") from None

    def described(name: str) -> dict[str, str]:
        long_name, unit = LONG_NAMES[name]
        return {"long_name": long_name, "units": unit}

    return xarray.Dataset(
        {name: (tuple(axes), values, described(name)) for name, values in columns.items() if values is not None},
        {name: (name, values, described(name)) for name, values in axes.items()},
    )
