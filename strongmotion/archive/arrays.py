"""Results as xarray datasets: named axes, units, cautions."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from ..foundation.errors import InputError

if TYPE_CHECKING:
    import xarray

    from ..result import Result

__all__ = ["spectra_dataset"]

_SPECTRA = ("psa", "psa_low", "psa_high", "usable")


def spectra_dataset(results: Iterable[tuple[str, Result]]) -> xarray.Dataset:
    """Return the pseudo-acceleration spectra of many results on the axes ``record, component, damping, period``.

    Raises
    ------
    InputError
        xarray is not installed, or there is no result.
    """
    try:
        import xarray
    except ImportError:
        raise InputError("xarray is not installed", remedy="Install it: pip install xarray") from None
    tables, about = [], []
    cautions: tuple[str, ...] = ()
    for name, result in results:
        record = result.record
        event = "" if record.earthquake is None else record.earthquake.id or record.earthquake.name
        about.append((name, record.station.code, event))
        tables.append(result.spectra[["component", "damping", "period", *_SPECTRA]].assign(record=name))
        cautions = result.cautions
    if not tables:
        raise InputError("there are no records", remedy="Add some first")
    axes = ["record", "component", "damping", "period"]
    table = pd.concat(tables, ignore_index=True).set_index(axes)
    dataset: Any = xarray.Dataset.from_dataframe(table)
    dataset["usable"] = dataset["usable"].fillna(False).astype(bool)
    for name in _SPECTRA[:3]:
        dataset[name].attrs.update(units="m/s2", long_name="pseudo-acceleration response spectrum")
    dataset["period"].attrs.update(units="s", long_name="oscillator period")
    dataset["damping"].attrs.update(units="1", long_name="fraction of critical damping")
    order = {name: k for k, name in enumerate(dataset["record"].values.tolist())}
    rows = sorted(about, key=lambda row: order[row[0]])
    dataset = dataset.assign_coords(
        station=("record", np.array([row[1] for row in rows])),
        earthquake=("record", np.array([row[2] for row in rows])),
    )
    dataset.attrs["caution"] = " ".join(cautions)
    return dataset
