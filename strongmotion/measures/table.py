"""The table of measures: a list of what is measured, and one function that measures all of it.

What several measures need, such as the build-up of Arias intensity or a spectrum, is computed once a component and
shared.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Protocol

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from ..foundation.arrays import positive, signal
from ..foundation.errors import InputError
from ..foundation.units import G
from ..motion import Motion
from ..settings import MeasuresSettings
from ..spectra import response_spectrum
from . import cycles, duration, energy, frequency, intensity, orientation, peaks
from ._history import duration_between

__all__ = ["COLUMNS", "MEASURES", "Measure", "UsablePeriods", "measure_table"]

COLUMNS = ("component", "measure", "value", "unit", "source", "band_low", "band_high", "usable")
"""Of the table. The band is that within which 5 to 95 % of equally fit processing choices leave the value."""

DAMPING = (0.05, 0.2)
"""Ratios to critical of the shared spectra; the second is that of Housner's intensity."""

PERIODS = np.unique(
    np.concatenate([np.geomspace(0.05, 0.1, 9), frequency.INTENSITY_PERIODS, np.geomspace(2.5, 5.0, 9)])
)
"""Oscillator periods, s, of the shared spectra; the predominant period is looked for among them."""

Floats = NDArray[np.float64]

ACCELERATION_PERIODS = (0.1, 1.0)
"""Periods, s, that hold most of the acceleration of strong shaking: common practice, without a source."""

VELOCITY_PERIODS = (0.1, 3.0)
"""Periods, s, that hold most of its velocity: common practice, without a source."""


class UsablePeriods(Protocol):
    """Anything that tells which oscillator periods (s) a processed motion is good for."""

    def holds(self, period: ArrayLike) -> NDArray[np.bool_]: ...  # noqa: D102


@dataclass(frozen=True)
class Measure:
    """One measure of a component, or of several.

    Parameters
    ----------
    name, unit, source : str
        As in the table; the unit of a pure number is ``"1"``.
    value : callable
        Takes what is shared of the component, or of all of them.
    periods : (float, float) or None
        The periods, s, that must be usable for it to be; None for those of the setting `kappa_band`.
    needs : str
        The history it needs; the measure is left out where the motion has none, for it was not integrated.
    components : tuple of str
        Those it combines; empty for a measure of each.
    named : str
        What the combination is called in the table.
    perpendicular : bool
        Whether it combines only components at right angles.
    """

    name: str
    unit: str
    source: str
    value: Callable[..., float]
    periods: tuple[float, float] | None = ACCELERATION_PERIODS
    needs: str = "acceleration"
    components: tuple[str, ...] = ()
    named: str = ""
    perpendicular: bool = False


class _Shared:
    """One component, and what is computed of it once."""

    def __init__(self, motion: Motion, settings: MeasuresSettings, threads: int | None) -> None:
        self.motion, self.settings, self.threads = motion, settings, threads
        self.acceleration = signal(f"{motion.component} acceleration", motion.acceleration)
        self.dt = positive("dt", motion.dt)
        self.recorded = motion.acceleration[motion.window]
        self.threshold = settings.threshold * G

    @cached_property
    def arias(self) -> Floats:
        return energy.arias_history(self.acceleration, self.dt)

    @cached_property
    def velocity(self) -> Floats:
        assert self.motion.velocity is not None
        return self.motion.velocity

    @cached_property
    def strong(self) -> tuple[float, float]:
        """Significant duration from 5 to 95 %, s, and the root mean square acceleration over it, m/s²."""
        lasting = self.significant(0.95)
        return lasting, energy.rms_over(0.9 * float(self.arias[-1]), lasting)

    @cached_property
    def spectra(self) -> tuple[Floats, Floats]:
        """PSV and PSA, shape (damping, period)."""
        spectrum = response_spectrum(self.acceleration, self.dt, PERIODS, DAMPING, ["psv", "psa"], threads=self.threads)
        assert spectrum.psv is not None
        assert spectrum.psa is not None
        return spectrum.psv, spectrum.psa

    @cached_property
    def plateau(self) -> float:
        return frequency.integral_over(PERIODS, self.spectra[1][0], frequency.PLATEAU)

    @cached_property
    def power(self) -> tuple[Floats, Floats]:
        return frequency.padded_power(self.acceleration, self.dt)

    @cached_property
    def decay(self) -> frequency.Kappa:
        first, last = self.settings.kappa_band
        return frequency.kappa(self.recorded, self.dt, (first, last))

    def significant(self, end: float) -> float:
        return duration_between(self.arias, self.dt, 0.05, end)[1]

    def peak(self, quantity: str) -> float:
        return float(np.abs(getattr(self.motion, _HISTORY[quantity])).max())


_HISTORY = {"PGA": "acceleration", "PGV": "velocity", "PGD": "displacement"}


def _larger_peak(quantity: str, relation: str) -> Callable[[_Shared, _Shared], float]:
    def grade(one: _Shared, two: _Shared) -> float:
        return intensity.modified_mercalli(max(one.peak(quantity), two.peak(quantity)), quantity, relation)[0]

    return grade


def _axes(*shared: _Shared) -> orientation.PrincipalAxes:
    return orientation.principal_axes(*(one.acceleration for one in shared))


_WALD, _WORDEN = "Wald et al. (1999)", "Worden et al. (2012)"
_PAIR, _ALL = ("H1", "H2"), ("H1", "H2", "V")

MEASURES = (
    # Peaks; `peak_table` has their times, and what combines components
    Measure("PGA", "m/s2", "common practice, largest sample", lambda c: c.peak("PGA")),
    Measure("PGV", "m/s", "common practice, largest sample", lambda c: c.peak("PGV"), VELOCITY_PERIODS, "velocity"),
    Measure("PGD", "m", "common practice, largest sample", lambda c: c.peak("PGD"), VELOCITY_PERIODS, "displacement"),
    Measure("PGV / PGA", "s", "common practice", lambda c: _ratio(c.peak("PGV"), c.peak("PGA")), VELOCITY_PERIODS,
            "velocity"),
    Measure("sustained maximum acceleration, third", "m/s2", "Nuttli (1979)",
            lambda c: peaks.sustained_maximum(c.acceleration, 3)),
    Measure("sustained maximum acceleration, fifth", "m/s2", "Nuttli (1979)",
            lambda c: peaks.sustained_maximum(c.acceleration, 5)),
    Measure("sustained maximum velocity, third", "m/s", "Nuttli (1979)",
            lambda c: peaks.sustained_maximum(c.velocity, 3), VELOCITY_PERIODS, "velocity"),
    Measure("sustained maximum velocity, fifth", "m/s", "Nuttli (1979)",
            lambda c: peaks.sustained_maximum(c.velocity, 5), VELOCITY_PERIODS, "velocity"),
    Measure("effective peak acceleration", "m/s2", "ATC 3-06 (1978)",
            lambda c: c.plateau / (frequency.PLATEAU[1] - frequency.PLATEAU[0]) / 2.5, frequency.PLATEAU),
    # Energy
    Measure("Arias intensity", "m/s", "Arias (1970)", lambda c: float(c.arias[-1])),
    Measure("cumulative absolute velocity", "m/s", "EPRI (1988)",
            lambda c: energy.cumulative_absolute_velocity(c.acceleration, c.dt)),
    Measure("standardized cumulative absolute velocity", "m/s", "EPRI (1991)",
            lambda c: energy.standardized_cumulative_absolute_velocity(c.recorded, c.dt)),
    Measure("cumulative absolute velocity above 5 cm/s2", "m/s", "Kramer & Mitchell (2006)",
            lambda c: energy.cumulative_absolute_velocity(c.acceleration, c.dt, energy.CAV5_THRESHOLD)),
    Measure("squared-velocity integral", "m2/s", "common practice",
            lambda c: energy.squared_velocity_integral(c.velocity, c.dt), VELOCITY_PERIODS, "velocity"),
    Measure("rms acceleration", "m/s2", "over the significant duration 5-95 %", lambda c: c.strong[1]),
    Measure("characteristic intensity", "m^1.5/s^2.5", "Park, Ang & Wen (1985)",
            lambda c: c.strong[1] ** 1.5 * c.strong[0] ** 0.5),
    Measure("Housner spectrum intensity", "m", "Housner (1952), damping 20 %",
            lambda c: frequency.integral_over(PERIODS, c.spectra[0][1], frequency.VELOCITY_BAND),
            frequency.VELOCITY_BAND),
    Measure("velocity spectrum intensity", "m", "Von Thun et al. (1988)",
            lambda c: frequency.integral_over(PERIODS, c.spectra[0][0], frequency.VELOCITY_BAND),
            frequency.VELOCITY_BAND),
    Measure("acceleration spectrum intensity", "m/s", "Von Thun et al. (1988)", lambda c: c.plateau, frequency.PLATEAU),
    # Duration
    Measure("significant duration 5-75 %", "s", "after Trifunac & Brady (1975), to 75 %",
            lambda c: c.significant(0.75)),
    Measure("significant duration 5-95 %", "s", "Trifunac & Brady (1975)", lambda c: c.strong[0]),
    Measure("bracketed duration", "s", "Bolt (1973)",
            lambda c: duration.bracketed_duration(c.acceleration, c.dt, c.threshold)[1]),
    Measure("uniform duration", "s", "Bolt (1973)",
            lambda c: duration.uniform_duration(c.acceleration, c.dt, c.threshold)),
    Measure("effective duration", "s", "Bommer & Martinez-Pereira (1999)",
            lambda c: duration.duration_of_history(c.arias, c.dt)[1]),
    Measure("effective cycles", "1", "Hancock & Bommer (2005); rainflow count of ASTM E1049",
            lambda c: cycles.effective_cycles(c.acceleration)),
    # Frequency
    Measure("mean period", "s", "Rathje et al. (1998)", lambda c: frequency.mean_of(*c.power), (0.05, 4.0)),
    Measure("predominant period", "s", "common practice, PSA at 5 % damping",
            lambda c: frequency.predominant_period(PERIODS, c.spectra[1][0])),
    Measure("central frequency", "Hz", "Vanmarcke (1976)", lambda c: frequency.vanmarcke(*c.power)[0]),
    Measure("spectral bandwidth", "1", "Vanmarcke (1976)", lambda c: frequency.vanmarcke(*c.power)[1]),
    Measure("kappa", "s", "Anderson & Hough (1984)", lambda c: c.decay.kappa, None),
    Measure("standard error of kappa", "s", "Anderson & Hough (1984)", lambda c: c.decay.standard_error, None),
    # Several components
    Measure("Arias intensity", "m/s", "Arias (1970)", lambda one, two: float(one.arias[-1] + two.arias[-1]),
            components=_PAIR, named="horizontal", perpendicular=True),
    Measure("Modified Mercalli intensity from PGA, 1999", "grade", _WALD, _larger_peak("PGA", "Wald 1999"),
            components=_PAIR, named="horizontal"),
    Measure("Modified Mercalli intensity from PGV, 1999", "grade", _WALD, _larger_peak("PGV", "Wald 1999"),
            VELOCITY_PERIODS, "velocity", _PAIR, "horizontal"),
    Measure("Modified Mercalli intensity from PGA, 2012", "grade", _WORDEN, _larger_peak("PGA", "Worden 2012"),
            components=_PAIR, named="horizontal"),
    Measure("Modified Mercalli intensity from PGV, 2012", "grade", _WORDEN, _larger_peak("PGV", "Worden 2012"),
            VELOCITY_PERIODS, "velocity", _PAIR, "horizontal"),
    Measure("Japanese seismic intensity", "grade", "JMA (1996)",
            lambda one, two, up: intensity.japanese_intensity(
                one.acceleration, two.acceleration, up.acceleration, one.dt
            ), (0.1, 2.0),
            components=_ALL, named="all", perpendicular=True),
    Measure("rectilinearity", "1", "Jurkevics (1988)", lambda *three: _axes(*three).rectilinearity,
            components=_ALL, named="all", perpendicular=True),
)  # fmt: skip
"""Every measure of the table, in its order."""


def measure_table(
    motion: Mapping[str, Motion],
    usable: Mapping[str, UsablePeriods] | None = None,
    settings: MeasuresSettings | None = None,
    unfit: Collection[str] = (),
    *,
    perpendicular: bool = True,
    threads: int | None = None,
) -> pd.DataFrame:
    """Measure everything in `MEASURES`.

    Parameters
    ----------
    motion : mapping of str to Motion
        Corrected motion by component, on one time base.
    usable : mapping of str to UsablePeriods, optional
        By component, such as the bands the chain chose; without it every measure is marked usable.
    settings : MeasuresSettings, optional
        The defaults if not given.
    unfit : collection of str
        Components whose measures are not usable, whatever the band; an empty name stands for all.
    perpendicular : bool
        Whether H1 and H2 are at right angles; where they are not, what needs it is left out.
    threads : int, optional
        For the spectra, as in `strongmotion.response_spectrum`.

    Returns
    -------
    pandas.DataFrame
        A row a measure and component: ``component, measure, value, unit, source, band_low, band_high, usable``. SI
        units. The value is not a number where the record does not allow the measure, such as one too short for it, or
        where it has no meaning, such as a mean period without motion; the band is not a number here.

    Raises
    ------
    InputError
        An acceleration is not finite, or an interval is not above 0.

    Examples
    --------
    >>> shaking = np.sin(2 * np.pi * np.arange(4000) * 0.01)
    >>> table = measure_table({"H1": Motion("H1", shaking, 0.01)})
    >>> table[table.measure == "Arias intensity"][["component", "unit", "source"]].values.tolist()
    [['H1', 'm/s', 'Arias (1970)']]
    """
    settings = settings or MeasuresSettings()
    shared = {name: _Shared(component, settings, threads) for name, component in motion.items()}
    rows = [
        (name, *_row(measure, (name,), shared, usable, unfit))
        for name in shared
        for measure in MEASURES
        if not measure.components and _possible(measure, (name,), shared)
    ]
    rows += [
        (measure.named, *_row(measure, measure.components, shared, usable, unfit))
        for measure in MEASURES
        if measure.components
        and (perpendicular or not measure.perpendicular)
        and _possible(measure, measure.components, shared)
    ]
    return pd.DataFrame(rows, columns=list(COLUMNS))


def _row(
    measure: Measure,
    names: tuple[str, ...],
    shared: Mapping[str, _Shared],
    usable: Mapping[str, UsablePeriods] | None,
    unfit: Collection[str],
) -> tuple[str, float, str, str, float, float, bool]:
    try:
        value = measure.value(*(shared[name] for name in names))
    except InputError:
        value = np.nan
    fit = not {"", *names} & set(unfit) and bool(np.isfinite(value))
    if fit and usable is not None:
        first, last = shared[names[0]].settings.kappa_band
        periods = measure.periods or (1.0 / last, 1.0 / first)
        fit = all(bool(np.all(usable[name].holds(periods))) for name in names)
    return measure.name, value, measure.unit, measure.source, np.nan, np.nan, fit


def _possible(measure: Measure, names: tuple[str, ...], shared: Mapping[str, _Shared]) -> bool:
    return all(name in shared and getattr(shared[name].motion, measure.needs) is not None for name in names)


def _ratio(one: float, two: float) -> float:
    return one / two if two > 0 else np.nan
