"""The spectra of many records on one set of periods, each ordinate with its mark."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from ..foundation.arrays import Floats, above_zero
from ..foundation.errors import InputError
from ..foundation.units import in_unit
from ..result import Result
from ..spectra import TargetSpectrum, asce7_spectrum, ec8_elastic_spectrum, target_from_table

__all__ = ["SuiteSpectra", "spectra_of", "target_named"]

SHAPES = {
    "asce7": ("sds", "sd1", "tl"),
    "ec8": ("ag", "s", "tb", "tc", "td"),
}
"""Code shapes by name, with their parameters."""


@dataclass(frozen=True, eq=False)
class SuiteSpectra:
    """Pseudo-acceleration of many records.

    Parameters
    ----------
    records : tuple of str
        Ids, shape (n,).
    events, stations : tuple of str
        Of each record; empty where unknown. A record without an event counts as an event of its own.
    periods : array (p,)
        s, above 0.
    psa : array (n, p)
        m/s².
    low, high : array (n, p)
        Limits of 5 and 95 % of PSA, m/s²; not a number where the record has none.
    usable : bool array (n, p)
        Whether the ordinate lies in the record's usable band.
    component : str
    damping : float
        Ratio to critical.
    """

    records: tuple[str, ...]
    events: tuple[str, ...]
    stations: tuple[str, ...]
    periods: Floats
    psa: Floats
    low: Floats
    high: Floats
    usable: NDArray[np.bool_]
    component: str
    damping: float

    def __len__(self) -> int:
        return len(self.records)

    def at(self, periods: ArrayLike) -> SuiteSpectra:
        """Return the spectra at some of their periods, s.

        Raises
        ------
        InputError
            They hold no such period.
        """
        asked = above_zero("periods", periods)
        away = np.abs(self.periods[:, None] / asked - 1.0)
        missing = asked[away.min(axis=0) > 1e-6]
        if missing.size:
            near = np.sort(self.periods[np.argsort(np.abs(self.periods - missing[0]))[:2]])
            raise InputError(
                f"the records have no spectra at {missing[0]:g} s; next to it they are at "
                f"{' s and '.join(f'{period:g}' for period in near)} s",
                source="periods",
                remedy="Choose those, or process the records with the period among spectra.periods",
            )
        places = np.unique(away.argmin(axis=0))
        return replace(
            self, periods=self.periods[places], psa=self.psa[:, places], low=self.low[:, places],
            high=self.high[:, places], usable=self.usable[:, places],
        )  # fmt: skip

    def table(self, unit: str = "m/s2", wide: bool = False, keep_unusable: bool = False) -> pd.DataFrame:
        """Return one table of all spectra.

        Parameters
        ----------
        unit : {"m/s2", "cm/s2", "g"}
            Of PSA.
        wide : bool
            A row a record and a column a period, in place of a row an ordinate.
        keep_unusable : bool
            Keep ordinates outside the usable band, marked; left empty otherwise.

        Returns
        -------
        pandas.DataFrame
            Long: ``record, component, damping, period_s, psa_<unit>, usable``. Wide: ``record``, the first and the last
            usable of these periods (``usable_from_s, usable_to_s``; none where no ordinate is), and a column
            ``psa_<period>s_<unit>`` for each period.
        """
        suffix = unit.replace("/", "_")
        psa = self.psa * in_unit(unit)
        if not keep_unusable:
            psa = np.where(self.usable, psa, np.nan)
        if wide:
            columns = {f"psa_{period:g}s_{suffix}": psa[:, i] for i, period in enumerate(self.periods)}
            held = self.usable.any(axis=1)
            ends = (self.usable.argmax(axis=1), self.usable.shape[1] - 1 - self.usable[:, ::-1].argmax(axis=1))
            first, last = (np.where(held, self.periods[places], np.nan) for places in ends)
            return pd.DataFrame({"record": self.records, "usable_from_s": first, "usable_to_s": last, **columns})
        n, p = psa.shape
        return pd.DataFrame(
            {
                "record": np.repeat(np.array(self.records, dtype=object), p),
                "component": self.component,
                "damping": self.damping,
                "period_s": np.tile(self.periods, n),
                f"psa_{suffix}": psa.ravel(),
                "usable": self.usable.ravel(),
            }
        )


def spectra_of(results: Iterable[Result], component: str = "RotD50", damping: float = 0.05) -> SuiteSpectra:
    """Collect the spectra of many results.

    Parameters
    ----------
    results : iterable of Result
        Each with spectra at the same periods; taken one at a time, so an archive's may be given as they are read.
    component : str
        ``"RotD00"``, ``"RotD50"``, ``"RotD100"``, ``"geometric mean"`` (of H1 and H2) or a component.
    damping : float
        Ratio to critical.

    Returns
    -------
    SuiteSpectra
        Without the period 0.

    Raises
    ------
    InputError
        No result, or one without this component, this damping or these periods.

    Examples
    --------
    >>> import strongmotion as sm
    >>> result = sm.process(sm.read("demo_records/quay.csv"))
    >>> suite = spectra_of([result], "H1")
    >>> len(suite), suite.psa.shape[1] == suite.periods.size
    (1, True)
    """
    names: list[str] = []
    events: list[str] = []
    stations: list[str] = []
    rows: list[tuple[Floats, ...]] = []
    periods: Floats | None = None
    for result in results:
        record = result.record
        found = _ordinates(result, component, damping)
        if periods is None:
            periods = found[0]
        elif not np.array_equal(periods, found[0]):
            raise InputError(
                f"record {record.id} has spectra at other periods than {names[0]}",
                source=record.id,
                remedy="Process all records with the same periods",
            )
        names.append(record.id)
        events.append("" if record.earthquake is None else record.earthquake.id or record.earthquake.name)
        stations.append(".".join(part for part in (record.station.network, record.station.code) if part))
        rows.append(found[1:])
    if periods is None:
        raise InputError(
            f"no record has a spectrum of {component} at {100 * damping:g} % damping",
            remedy="Choose another component or damping, or a wider question; RotD spectra need two horizontals",
        )
    psa, low, high, usable = (np.array(part) for part in zip(*rows, strict=True))
    return SuiteSpectra(
        tuple(names), tuple(events), tuple(stations), periods, psa, low, high, usable.astype(bool), component, damping
    )


def has_spectrum(result: Result, component: str, damping: float) -> bool:
    """Return whether a result has the spectrum of a component, named as in `spectra_of`, at a damping ratio."""
    return not any(part.empty for part in _tables(result, component, damping))


def _tables(result: Result, component: str, damping: float) -> list[pd.DataFrame]:
    table = result.spectra
    table = table[np.isclose(table["damping"], damping) & (table["period"] > 0)]
    wanted = ("H1", "H2") if component == "geometric mean" else (component,)
    return [table[table["component"] == name] for name in wanted]


def _ordinates(result: Result, component: str, damping: float) -> tuple[Floats, ...]:
    parts = _tables(result, component, damping)
    if any(part.empty for part in parts):
        raise InputError(
            f"record {result.record.id} has no spectrum of {component} at {100 * damping:g} % damping",
            source=result.record.id,
            remedy="Choose another component, leave the record out, or process with it in spectra.damping",
        )
    columns = [[part[name].to_numpy(dtype=float) for name in ("psa", "psa_low", "psa_high")] for part in parts]
    psa, low, high = (np.exp(np.mean(np.log(np.maximum(its, 1e-300)), axis=0)) for its in zip(*columns, strict=True))
    usable = np.all([part["usable"].to_numpy(dtype=bool) for part in parts], axis=0)
    return parts[0]["period"].to_numpy(dtype=float), psa, low, high, usable


def target_named(text: str, damping: float = 0.05) -> TargetSpectrum:
    """Return a target by what a person writes: a CSV file, or a code shape with its parameters.

    Parameters
    ----------
    text : str
        A path, ``asce7:sds=1.0,sd1=0.6,tl=8`` (g, s), or ``ec8:ag=2.0,s=1.2,tb=0.15,tc=0.5,td=2.0`` (m/s², s); for 5 %
        damping.
    damping : float
        To bring it to, by `TargetSpectrum.damped`; the name then says so.

    Raises
    ------
    InputError
        The shape is unknown, or a parameter is missing, unknown or no number.
    RecordError
        The file cannot be read as a target.

    Examples
    --------
    >>> target_named("asce7:sds=1.0,sd1=0.6,tl=8").name
    'ASCE/SEI 7-16, 11.4.6'
    """
    target = _at_five_per_cent(text)
    return target if np.isclose(damping, target.damping) else target.damped(damping)


def _at_five_per_cent(text: str) -> TargetSpectrum:
    shape, colon, rest = text.partition(":")
    if not colon or shape.lower() not in SHAPES:
        if Path(text).suffix or Path(text).exists():
            return target_from_table(text)
        raise InputError(
            f"{text!r} is neither a file nor a shape",
            source="target",
            remedy="Give a CSV file of period [s],psa [g], or one of "
            + "; ".join(f"{name}:{'=...,'.join(its)}=..." for name, its in SHAPES.items()),
        )
    given = dict(part.split("=", 1) for part in rest.split(",") if "=" in part)
    wanted = SHAPES[shape.lower()]
    if set(given) != set(wanted):
        raise InputError(
            f"the shape {shape} needs {', '.join(wanted)}, found {', '.join(given) or 'none'}",
            source="target",
            remedy=f"Write {shape}:{'=X,'.join(wanted)}=X",
        )
    try:
        values = [float(given[name]) for name in wanted]
    except ValueError:
        raise InputError(f"the parameters of {text!r} must be numbers", source="target") from None
    return asce7_spectrum(*values) if shape.lower() == "asce7" else ec8_elastic_spectrum(*values)
