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
from . import cycles, duration, energy, frequency, intensity, orientation, peaks, rotated
from ._history import duration_between

__all__ = ["COLUMNS", "GROUPS", "MEASURES", "Measure", "UsablePeriods", "measure_table"]

COLUMNS = ("component", "measure", "value", "unit", "source", "band_low", "band_high", "usable")
"""Of the table. The band is that within which 5 to 95 % of equally fit processing choices leave the value; of a value
that a relation gives it holds the relation's scatter as well."""

GROUPS = ("peaks", "spectrum", "energy", "duration", "frequency", "intensity", "orientation")
"""What measures describe, in the order of the table."""

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

    def holds(self, period: ArrayLike) -> NDArray[np.bool_]: ...  # noqa: D102 -- the class says it


@dataclass(frozen=True)
class Measure:
    """One measure of a component, or of several.

    Parameters
    ----------
    name, unit, source : str
        As in the table; the unit of a pure number is ``"1"``.
    group : str
        What it describes, one of `GROUPS`: where it stands in tables and on pages.
    words : str
        What it means, in a sentence.
    value : callable or None
        Takes what is shared of the component, or of all of them; None where the processing supplies the value.
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
    column : str
        What its columns of the catalogue begin with; empty where the catalogue has none.
    scatter : float
        Standard deviation of the relation that gives the value; the band holds it beside the processing choices.

    Raises
    ------
    InputError
        A part of the line is missing.
    """

    name: str
    group: str
    unit: str
    source: str
    words: str
    value: Callable[..., float] | None = None
    periods: tuple[float, float] | None = ACCELERATION_PERIODS
    needs: str = "acceleration"
    components: tuple[str, ...] = ()
    named: str = ""
    perpendicular: bool = False
    column: str = ""
    scatter: float = 0.0

    def __post_init__(self) -> None:
        wanted = {
            "name": "a name",
            "unit": 'its unit, "1" for a pure number',
            "source": "the publication that defines it, or common practice",
            "words": "what it means, in a sentence",
        }
        for part, what in wanted.items():
            if not getattr(self, part).strip():
                raise InputError(
                    f"the measure {self.name!r} has no {part}", field=part, remedy=f"Add {what} to its line in MEASURES"
                )
        if self.group not in GROUPS:
            raise InputError(
                f"the measure {self.name!r} is in the unknown group {self.group!r}",
                field="group",
                remedy=f"Choose from {', '.join(GROUPS)}",
            )


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
        duration = self.significant(0.95)
        return duration, energy.rms_over(0.9 * float(self.arias[-1]), duration)

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

MEASURES = [
    Measure(
        "PGA", "peaks", "m/s2", "common practice, largest sample",
        "Peak ground acceleration: the largest corrected acceleration of either sign among the samples.",
        lambda c: c.peak("PGA"),
    ),
    Measure(
        "PGV", "peaks", "m/s", "common practice, largest sample",
        "Peak ground velocity: the largest corrected velocity of either sign among the samples.",
        lambda c: c.peak("PGV"),
        periods=VELOCITY_PERIODS, needs="velocity",
    ),
    Measure(
        "PGD", "peaks", "m", "common practice, largest sample",
        "Peak ground displacement: the largest corrected displacement of either sign among the samples. It depends "
        "on the low-cut more than any other peak.",
        lambda c: c.peak("PGD"),
        periods=VELOCITY_PERIODS, needs="displacement",
    ),
    Measure(
        "PGV / PGA", "peaks", "s", "common practice",
        "Peak velocity over peak acceleration: long where slow motion prevails.",
        lambda c: _ratio(c.peak("PGV"), c.peak("PGA")),
        periods=VELOCITY_PERIODS, needs="velocity",
    ),
    Measure(
        "sustained maximum acceleration, third", "peaks", "m/s2", "Nuttli (1979)",
        "The third highest peak of acceleration, one a half-cycle.",
        lambda c: peaks.sustained_maximum(c.acceleration, 3),
    ),
    Measure(
        "sustained maximum acceleration, fifth", "peaks", "m/s2", "Nuttli (1979)",
        "The fifth highest peak of acceleration, one a half-cycle.",
        lambda c: peaks.sustained_maximum(c.acceleration, 5),
    ),
    Measure(
        "sustained maximum velocity, third", "peaks", "m/s", "Nuttli (1979)",
        "The third highest peak of velocity, one a half-cycle.",
        lambda c: peaks.sustained_maximum(c.velocity, 3),
        periods=VELOCITY_PERIODS, needs="velocity",
    ),
    Measure(
        "sustained maximum velocity, fifth", "peaks", "m/s", "Nuttli (1979)",
        "The fifth highest peak of velocity, one a half-cycle.",
        lambda c: peaks.sustained_maximum(c.velocity, 5),
        periods=VELOCITY_PERIODS, needs="velocity",
    ),
    Measure(
        "permanent displacement", "peaks", "m", "after Boore (2001), Akkar & Boore (2009)",
        "Displacement of the ground after the shaking, with the interval that the record allows.",
    ),
    Measure(
        "effective peak acceleration", "spectrum", "m/s2", "ATC 3-06 (1978)",
        "Mean PSA at 5 % damping over periods from 0.1 to 0.5 s, divided by 2.5.",
        lambda c: c.plateau / (frequency.PLATEAU[1] - frequency.PLATEAU[0]) / 2.5,
        periods=frequency.PLATEAU,
    ),
    Measure(
        "Housner spectrum intensity", "spectrum", "m", "Housner (1952), damping 20 %",
        "The integral of pseudo-velocity, 20 % damping, over periods from 0.1 to 2.5 s.",
        lambda c: frequency.integral_over(PERIODS, c.spectra[0][1], frequency.VELOCITY_BAND),
        periods=frequency.VELOCITY_BAND,
    ),
    Measure(
        "velocity spectrum intensity", "spectrum", "m", "Von Thun et al. (1988)",
        "The integral of pseudo-velocity, 5 % damping, over periods from 0.1 to 2.5 s.",
        lambda c: frequency.integral_over(PERIODS, c.spectra[0][0], frequency.VELOCITY_BAND),
        periods=frequency.VELOCITY_BAND,
    ),
    Measure(
        "acceleration spectrum intensity", "spectrum", "m/s", "Von Thun et al. (1988)",
        "The integral of PSA, 5 % damping, over periods from 0.1 to 0.5 s.",
        lambda c: c.plateau,
        periods=frequency.PLATEAU,
    ),
    Measure(
        "Arias intensity", "energy", "m/s", "Arias (1970)",
        "pi / (2 g) times the integral over time of acceleration squared.",
        lambda c: float(c.arias[-1]),
        column="arias_intensity",
    ),
    Measure(
        "cumulative absolute velocity", "energy", "m/s", "EPRI (1988)",
        "The integral over time of the absolute acceleration.",
        lambda c: energy.cumulative_absolute_velocity(c.acceleration, c.dt),
    ),
    Measure(
        "standardized cumulative absolute velocity", "energy", "m/s", "EPRI (1991)",
        "The integral of the absolute acceleration over those windows of one second in which it reaches 0.025 g.",
        lambda c: energy.standardized_cumulative_absolute_velocity(c.recorded, c.dt),
    ),
    Measure(
        "cumulative absolute velocity above 5 cm/s2", "energy", "m/s", "Kramer & Mitchell (2006)",
        "The integral of absolute acceleration while it reaches 5 cm/s².",
        lambda c: energy.cumulative_absolute_velocity(c.acceleration, c.dt, energy.CAV5_THRESHOLD),
    ),
    Measure(
        "squared-velocity integral", "energy", "m2/s", "after Sarma (1971)",
        "The integral over time of velocity squared.",
        lambda c: energy.squared_velocity_integral(c.velocity, c.dt),
        periods=VELOCITY_PERIODS, needs="velocity",
    ),
    Measure(
        "rms acceleration", "energy", "m/s2", "over the significant duration 5-95 %",
        "The root mean square acceleration over the significant duration from 5 to 95 %.",
        lambda c: c.strong[1],
    ),
    Measure(
        "characteristic intensity", "energy", "m^1.5/s^2.5", "Park, Ang & Wen (1985)",
        "rms acceleration to the power 1.5 times the root of the duration, both over the significant duration from "
        "5 to 95 %.",
        lambda c: c.strong[1] ** 1.5 * c.strong[0] ** 0.5,
    ),
    Measure(
        "Arias intensity", "energy", "m/s", "Arias (1970)",
        "pi / (2 g) times the integral over time of acceleration squared.",
        lambda one, two: float(one.arias[-1] + two.arias[-1]),
        components=_PAIR, named="horizontal", perpendicular=True, column="arias_intensity",
    ),
    Measure(
        "Arias intensity", "energy", "m/s", "Arias (1970); RotD after Boore (2010)",
        "The median over all horizontal directions of Arias intensity.",
        lambda one, two: rotated.rotated_arias_intensity(one.acceleration, two.acceleration, one.dt)[0],
        components=_PAIR, named="RotD50", perpendicular=True,
    ),
    Measure(
        "cumulative absolute velocity", "energy", "m/s", "EPRI (1988); RotD after Boore (2010)",
        "The median over all horizontal directions of the integral over time of the absolute acceleration.",
        lambda one, two: rotated.rotated_cumulative_absolute_velocity(one.acceleration, two.acceleration, one.dt)[0],
        components=_PAIR, named="RotD50", perpendicular=True,
    ),
    Measure(
        "significant duration 5-95 %", "duration", "s", "Trifunac & Brady (1975); RotD after Boore (2010)",
        "The median over all horizontal directions of the time over which Arias intensity grows from 5 to 95 %.",
        lambda one, two: rotated.rotated_significant_duration(one.acceleration, two.acceleration, one.dt)[0],
        components=_PAIR, named="RotD50", perpendicular=True,
    ),
    Measure(
        "significant duration 5-75 %", "duration", "s", "after Trifunac & Brady (1975), to 75 %",
        "The time over which Arias intensity grows from 5 to 75 % of its whole.",
        lambda c: c.significant(0.75),
    ),
    Measure(
        "significant duration 5-95 %", "duration", "s", "Trifunac & Brady (1975)",
        "The time over which Arias intensity grows from 5 to 95 % of its whole.",
        lambda c: c.strong[0],
        column="significant_duration_5_95",
    ),
    Measure(
        "bracketed duration", "duration", "s", "Bolt (1973)",
        "From the first to the last time the acceleration reaches the threshold of the settings.",
        lambda c: duration.bracketed_duration(c.acceleration, c.dt, c.threshold)[1],
    ),
    Measure(
        "uniform duration", "duration", "s", "Bolt (1973)",
        "For how long in all the acceleration is at or above the threshold of the settings.",
        lambda c: duration.uniform_duration(c.acceleration, c.dt, c.threshold),
    ),
    Measure(
        "effective duration", "duration", "s", "Bommer & Martinez-Pereira (1999)",
        "From an Arias intensity of 0.01 m/s to 0.125 m/s less than its whole.",
        lambda c: duration.duration_of_history(c.arias, c.dt)[1],
    ),
    Measure(
        "effective cycles", "duration", "1", "Hancock & Bommer (2005); rainflow count of ASTM E1049",
        "Cycles of the largest range that would do as much as all, each by its range squared.",
        lambda c: cycles.effective_cycles(c.acceleration),
    ),
    Measure(
        "mean period", "frequency", "s", "Rathje et al. (1998)",
        "The mean of 1 / f weighted by the squared Fourier amplitude, from 0.25 to 20 Hz.",
        lambda c: frequency.mean_of(*c.power),
        periods=(0.05, 4.0),
    ),
    Measure(
        "predominant period", "frequency", "s", "common practice, PSA at 5 % damping",
        "The period at which PSA is largest.",
        lambda c: frequency.predominant_period(PERIODS, c.spectra[1][0]),
    ),
    Measure(
        "central frequency", "frequency", "Hz", "Vanmarcke (1976)",
        "The root of the second over the zeroth spectral moment.",
        lambda c: frequency.vanmarcke(*c.power)[0],
    ),
    Measure(
        "spectral bandwidth", "frequency", "1", "Vanmarcke (1976)",
        "sqrt(1 - m1² / (m0 m2)) of the spectral moments: 0 for one sinusoid, towards 1 for noise.",
        lambda c: frequency.vanmarcke(*c.power)[1],
    ),
    Measure(
        "kappa", "frequency", "s", "Anderson & Hough (1984)",
        "How fast the Fourier amplitude falls, as exp(-pi kappa f), in the band of the settings.",
        lambda c: c.decay.kappa,
        periods=None,
    ),
    Measure(
        "standard error of kappa", "frequency", "s", "Anderson & Hough (1984)",
        "That of the straight line through the logarithm of the amplitude.",
        lambda c: c.decay.standard_error,
        periods=None,
    ),
    Measure(
        "Modified Mercalli intensity from PGA, 1999", "intensity", "grade", _WALD,
        "The grade that the relation gives for the larger PGA of H1 and H2.",
        _larger_peak("PGA", "Wald 1999"),
        components=_PAIR, named="horizontal",
        scatter=intensity.MERCALLI_RELATIONS["Wald 1999", "PGA"].sigma,
    ),
    Measure(
        "Modified Mercalli intensity from PGV, 1999", "intensity", "grade", _WALD,
        "The grade that the relation gives for the larger PGV of H1 and H2.",
        _larger_peak("PGV", "Wald 1999"),
        periods=VELOCITY_PERIODS, needs="velocity", components=_PAIR, named="horizontal",
        scatter=intensity.MERCALLI_RELATIONS["Wald 1999", "PGV"].sigma,
    ),
    Measure(
        "Modified Mercalli intensity from PGA, 2012", "intensity", "grade", _WORDEN,
        "The grade that the relation gives for the larger PGA of H1 and H2.",
        _larger_peak("PGA", "Worden 2012"),
        components=_PAIR, named="horizontal",
        scatter=intensity.MERCALLI_RELATIONS["Worden 2012", "PGA"].sigma,
    ),
    Measure(
        "Modified Mercalli intensity from PGV, 2012", "intensity", "grade", _WORDEN,
        "The grade that the relation gives for the larger PGV of H1 and H2.",
        _larger_peak("PGV", "Worden 2012"),
        periods=VELOCITY_PERIODS, needs="velocity", components=_PAIR, named="horizontal",
        scatter=intensity.MERCALLI_RELATIONS["Worden 2012", "PGV"].sigma,
    ),
    Measure(
        "Japanese seismic intensity", "intensity", "grade", "JMA (1996)",
        "From the three components under the filter of the definition, by the level that is exceeded for 0.3 s in "
        "all.",
        lambda one, two, up: intensity.japanese_intensity(one.acceleration, two.acceleration, up.acceleration, one.dt),
        periods=(0.1, 2.0), components=_ALL, named="all", perpendicular=True,
    ),
    Measure(
        "rectilinearity", "orientation", "1", "Jurkevics (1988)",
        "How far the motion keeps to one line: 1 on a line, 0 alike in all directions.",
        lambda *three: _axes(*three).rectilinearity,
        components=_ALL, named="all", perpendicular=True,
    ),
]  # fmt: skip
"""Every measure, in the order of the table: one line each is all that a new one needs."""


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
        if measure.value is not None and not measure.components and _possible(measure, (name,), shared)
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
    assert measure.value is not None
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
