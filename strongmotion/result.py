"""The whole job for one record: `process` takes a `Record` and returns a `Result`."""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from . import __version__
from .cautions import CAUTIONS
from .chain import Band, Corrected, correct
from .checks import examine
from .errors import RecordError, SettingsError
from .measures import PERCENTILES, measure_table, peak_table
from .motion import History, Motion
from .record import Finding, Record
from .settings import Settings
from .spectra import QUANTITIES, default_periods, response_spectrum, rotated_spectrum

if TYPE_CHECKING:
    from matplotlib.figure import Figure

__all__ = ["Result", "process"]

GRAVITY = ("", "note", "doubt", "unfit")
"""Severities of findings, gravest last."""


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
        A row a component and combination: ``component, quantity, value, unit, time, sign``.
    spectra : pandas.DataFrame
        Long form: ``component, damping, period, sd, psv, psa, sv, sa, usable``; RotD rows have no sv and sa.
    measures : pandas.DataFrame
        ``component, measure, value, unit, source, band_low, band_high, usable``.
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

    def __eq__(self, other: object) -> bool:
        if not isinstance(other, Result):
            return NotImplemented
        pairs = ((getattr(self, item.name), getattr(other, item.name)) for item in fields(self))
        return all(one.equals(two) if isinstance(one, pd.DataFrame) else one == two for one, two in pairs)

    @property
    def severity(self) -> str:
        """The gravest severity among the findings: ``""``, ``"note"``, ``"doubt"`` or ``"unfit"``."""
        return max((finding.severity for finding in self.findings), key=GRAVITY.index, default="")

    def plot(self, what: str = "motion", **options: Any) -> Figure:
        """Draw one of the figures of `strongmotion.report`.

        Parameters
        ----------
        what : str
            ``"motion"``, ``"spectrum"``, ``"processing"`` and so on; see `strongmotion.draw`.
        **options
            As that figure takes them, such as ``unit="g"``, ``style="dark"``, ``axes=...``.

        Returns
        -------
        matplotlib.figure.Figure

        Raises
        ------
        InputError
            There is no such figure, or it cannot be drawn of this result.
        """
        # Figures are built on results, so this goes out by the public face and loads them on use.
        from . import draw

        return draw(self, what, **options)

    def _repr_html_(self) -> str:
        from . import notebook_view

        return notebook_view(self)


def process(record: Record, settings: Settings | None = None, *, threads: int | None = None) -> Result:
    """Take one record through the whole job: checks, chain, spectra and measures.

    Parameters
    ----------
    record : Record
        Raw samples, as from `strongmotion.read`.
    settings : Settings, optional
        The defaults if not given.
    threads : int, optional
        For the spectra, as in `strongmotion.response_spectrum`; the result is the same for any number.

    Returns
    -------
    Result

    Raises
    ------
    RecordError
        The record cannot be processed, such as counts without a sensitivity.
    SettingsError
        Settings that this record does not allow, such as a corner above its Nyquist frequency.

    Examples
    --------
    >>> import numpy as np
    >>> from strongmotion import Component, Record, process
    >>> time = np.arange(4000) * 0.01
    >>> shaking = np.where(time > 10, np.sin(2 * np.pi * time) * np.exp(-0.2 * (time - 10)), 0.0)
    >>> noise = np.random.default_rng(7).normal(0, 1e-4, time.size)
    >>> result = process(Record((Component("H1", shaking + noise, dt=0.01),)))
    >>> result.peaks[["quantity", "unit"]].values.tolist()
    [['PGA', 'm/s2'], ['PGV', 'm/s'], ['PGD', 'm']]
    """
    settings = settings or Settings()
    try:
        corrected = correct(record, settings)
    except RecordError as error:
        raise RecordError(error.what, source=record.source.file or None, remedy=error.remedy) from None
    except SettingsError as error:
        raise SettingsError(error.what, source=record.source.file or None, remedy=error.remedy) from None
    findings = (*examine(record), *corrected.findings)
    return Result(
        record=record,
        settings=settings,
        motion=corrected.motion,
        usable_band=corrected.usable_band,
        peaks=peak_table(corrected.motion, rotate="horizontal" in corrected.usable_band),
        spectra=_spectra(corrected, settings, findings, threads),
        measures=_with_offsets(
            measure_table(
                corrected.motion,
                corrected.usable_band,
                settings.measures,
                {finding.component for finding in findings if finding.severity == "unfit"},
                threads=threads,
            ),
            corrected,
        ),
        findings=findings,
        history=corrected.history,
    )


def _with_offsets(measures: pd.DataFrame, corrected: Corrected) -> pd.DataFrame:
    """Add the permanent displacements that can be told."""
    source = "after Boore (2001), Wang et al. (2011)"
    rows = [
        (name, "permanent displacement", offset.value, "m", source, offset.low, offset.high, True)
        for name, offset in corrected.offsets.items()
    ]
    if not rows:
        return measures
    return pd.concat([measures, pd.DataFrame(rows, columns=measures.columns)], ignore_index=True)


def _spectra(
    corrected: Corrected, settings: Settings, findings: tuple[Finding, ...], threads: int | None
) -> pd.DataFrame:
    """Tabulate response spectra of every component and, for a horizontal pair, of RotD00, 50 and 100.

    No ordinate of an unfit component is usable, nor any that it has a share in.
    """
    unfit = {finding.component for finding in findings if finding.severity == "unfit"}
    periods = np.array(settings.spectra.periods) if settings.spectra.periods else default_periods()
    damping = settings.spectra.damping
    tables = []
    for name, motion in corrected.motion.items():
        spectrum = response_spectrum(motion.acceleration, motion.dt, periods, damping, threads=threads)
        columns = {quantity: getattr(spectrum, quantity) for quantity in QUANTITIES}
        usable = corrected.usable_band[name].holds(periods) & (not unfit & {name, ""})
        tables.append(_long_form(name, periods, damping, columns, usable))
    chosen = np.isin(damping, settings.spectra.rotated_damping or damping)
    if "horizontal" in corrected.usable_band and chosen.any():
        one, two = corrected.motion["H1"], corrected.motion["H2"]
        rotated = rotated_spectrum(
            one.acceleration, two.acceleration, one.dt, periods, np.array(damping)[chosen], PERCENTILES, threads=threads
        )
        usable = corrected.usable_band["horizontal"].holds(periods) & (not unfit & {"H1", "H2", ""})
        usable = chosen[:, np.newaxis] & usable
        for i, percentile in enumerate(PERCENTILES):
            columns = {name: np.full(usable.shape, np.nan) for name in ("sd", "psv", "psa")}
            for name, grid in columns.items():
                grid[chosen] = getattr(rotated, name)[i]
            tables.append(_long_form(f"RotD{percentile:02d}", periods, damping, columns, usable))
    return pd.concat(tables, ignore_index=True)


def _long_form(
    component: str,
    periods: NDArray[np.float64],
    damping: tuple[float, ...],
    columns: dict[str, NDArray[np.float64]],
    usable: NDArray[np.bool_],
) -> pd.DataFrame:
    empty = np.full((len(damping), len(periods)), np.nan)
    return pd.DataFrame(
        {
            "component": component,
            "damping": np.repeat(np.array(damping, dtype=float), len(periods)),
            "period": np.tile(periods, len(damping)),
            **{quantity: columns.get(quantity, empty).ravel() for quantity in QUANTITIES},
            "usable": np.broadcast_to(usable, empty.shape).ravel(),
        }
    )
