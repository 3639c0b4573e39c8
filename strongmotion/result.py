"""The whole job for one record: `process` takes a `Record` and returns a `Result`."""

from __future__ import annotations

import importlib
import sys
from collections.abc import Callable, Collection, Iterable, Mapping
from dataclasses import dataclass, fields, replace
from typing import TYPE_CHECKING, Any, cast, overload

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from . import __version__
from .chain import (
    Band,
    Baseline,
    Choices,
    Corrected,
    Mended,
    Windows,
    band_of,
    correct,
    cut_to_shaking,
    members,
    narrowed,
    noise_in_peaks,
    noise_in_response,
)
from .checks import examine
from .foundation.cautions import CAUTIONS
from .foundation.errors import InputError, RecordError, SettingsError
from .measures import MEASURES, PERCENTILES, measure_table, peak_table
from .motion import Entry, History, Motion
from .record import Finding, Record, Severity
from .settings import Settings
from .spectra import QUANTITIES, default_periods, response_spectrum, rotated_spectrum

if TYPE_CHECKING:
    import xarray
    from matplotlib.figure import Figure

__all__ = ["Result", "process"]

Floats = NDArray[np.float64]

DAMAGING = (
    "clipping", "spikes", "stuck samples", "straight fill", "repeated block", "broken continuity", "gain jump",
)  # fmt: skip
"""Findings of wrong samples: no permanent displacement is resolved on such a component."""

CUT_SHORT = ("early stop", "cut off")
"""Findings of shaking that goes on after the record's end: what was recorded are lower bounds."""

NORMAL_95 = 1.645
"""Standard deviations within which 5 to 95 % of a normal distribution lie."""

RANKED_SEVERITIES = ("", "note", "doubt", "unfit")
"""Severities of findings, most severe last."""

STEADY = 0.2
"""Where the baseline shifts, an ordinate is usable up to this half-width of its band, as a part of it: a judgement. It
costs one in seven ordinates of such components, and most of those off by more than 15 % and outside their band."""

_UNITS = {
    "sd": "m", "psv": "m/s", "psa": "m/s2", "sv": "m/s", "sa": "m/s2", "psa_low": "m/s2", "psa_high": "m/s2",
}  # fmt: skip

SHORTEST_TRIED = 8.0
"""Sampling intervals in the shortest period at which other choices are tried: shorter ones cost far more."""


@dataclass(frozen=True, eq=False)
class Result:
    """All that was made of one record, with what is needed to defend and to repeat it.

    Parameters
    ----------
    record : Record
        The raw record, untouched.
    settings : Settings
        The choices it was processed with.
    motion : dict of str to Motion
        Corrected motion by component, with its pads.
    usable_band : dict of str to Band
        The frequencies and periods over which the numbers hold, by component, and ``"horizontal"`` for the pair.
    peaks : pandas.DataFrame
        A row a component and combination: ``component, quantity, value, unit, time, sign, band_low, band_high, usable,
        bound``. The band is of 5 to 95 %. `usable` is False of an unfit component, of what one has a share in, and
        outside the usable band. `bound` is ``"at least"`` where the record can only tell that the true value is no
        smaller, as where it is clipped or ends in the shaking; else empty.
    spectra : pandas.DataFrame
        Long form: ``component, damping, period, sd, psv, psa, sv, sa, usable, psa_low, psa_high``; RotD rows have no sv
        and sa. The last two are the 5 and 95 % limits of psa.
    measures : pandas.DataFrame
        ``component, measure, value, unit, source, band_low, band_high, usable``.
    windows : Windows
        Onset, pre-event window, strong shaking and tail, in samples of the record.
    baseline : dict of str to Baseline
        By component: the method, the baseline shift that was removed, and the permanent displacement.
    findings : tuple of Finding
        What the checks say of the record and of its processing.
    history : History
        Every step, in order, with its numbers.
    mended : tuple of Mended
        The stretches of samples that were replaced by estimates, where ``[mend]`` of the settings asked for it.
    version : str
        The version of the software that made it.

    Examples
    --------
    >>> import strongmotion as sm
    >>> result = sm.process(sm.read("demo_records/quay.csv"))
    >>> result.peaks.query("component == 'H1' and quantity == 'PGA'")["unit"].item()
    'm/s2'
    >>> round(float(result.motion["H1"].velocity.max()), 3)  # m/s
    0.052
    """

    record: Record
    settings: Settings
    motion: dict[str, Motion]
    usable_band: dict[str, Band]
    peaks: pd.DataFrame
    spectra: pd.DataFrame
    measures: pd.DataFrame
    windows: Windows
    baseline: dict[str, Baseline]
    findings: tuple[Finding, ...]
    history: History
    mended: tuple[Mended, ...] = ()
    version: str = __version__
    cautions: tuple[str, ...] = CAUTIONS

    def __eq__(self, other: object) -> bool:
        if not isinstance(other, Result):
            return NotImplemented
        pairs = ((getattr(self, item.name), getattr(other, item.name)) for item in fields(self))
        return all(one.equals(two) if isinstance(one, pd.DataFrame) else one == two for one, two in pairs)

    @property
    def severity(self) -> str:
        """The most severe severity among the findings: ``""``, ``"note"``, ``"doubt"`` or ``"unfit"``."""
        return max((finding.severity for finding in self.findings), key=RANKED_SEVERITIES.index, default="")

    def plot(self, what: str = "motion", **options: Any) -> Figure:
        """Draw one of the figures of `strongmotion.report`.

        Parameters
        ----------
        what : str
            ``"motion"``, ``"spectrum"``, ``"processing"`` and so on; a wrong name is answered with all of them.
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
        return from_above("draw")(self, what, **options)

    def spectra_wide(self, quantity: str = "psa", damping: float = 0.05) -> pd.DataFrame:
        """Return one quantity of the spectra with a column for each component and a row for each period.

        Parameters
        ----------
        quantity : str
            ``"sd"`` (m), ``"psv"``, ``"sv"`` (m/s), ``"psa"`` or ``"sa"`` (m/s²).
        damping : float
            Ratio to critical, one of those of the spectra.

        Returns
        -------
        pandas.DataFrame
            Indexed by period, s. Ordinates outside the usable band are empty (NaN).

        Raises
        ------
        InputError
            The spectra do not hold this quantity or this damping.
        """
        if quantity not in QUANTITIES:
            raise InputError(f"unknown quantity {quantity!r}; choose one of {', '.join(QUANTITIES)}")
        chosen = self.spectra[np.isclose(self.spectra["damping"], damping, rtol=1e-9, atol=0)]
        if chosen.empty:
            there = ", ".join(f"{one:g}" for one in self.spectra["damping"].unique())
            raise InputError(f"no spectra of damping {damping:g}; these are there: {there}")
        order = chosen["component"].unique()
        usable = chosen.assign(value=chosen[quantity].where(chosen["usable"]))
        return usable.pivot(index="period", columns="component", values="value")[order]

    def to_xarray(self) -> xarray.Dataset:
        """Return motion and spectra as a dataset with named axes and units; needs the package xarray.

        Returns
        -------
        xarray.Dataset
            ``acceleration, velocity, displacement`` on ``component`` and ``time``, with pads, time 0 at the record's
            first sample; ``sd, psv, psa, sv, sa, psa_low, psa_high, usable`` on ``spectral_component``, ``damping`` and
            ``period``, since combinations such as RotD50 have spectra alone.

        Raises
        ------
        InputError
            xarray is not installed.
        """
        try:
            import xarray
        except ImportError:
            raise InputError("xarray is not installed", remedy="Install it: pip install xarray") from None
        names = list(self.motion)
        time = self.motion[names[0]].time
        columns = [name for name in self.spectra if name not in ("component", "damping", "period")]
        table = self.spectra.rename(columns={"component": "spectral_component"})
        axes = ["spectral_component", "damping", "period"]
        dataset: Any = xarray.Dataset.from_dataframe(table.set_index(axes)[columns])
        dataset = dataset.sel(spectral_component=table["spectral_component"].unique())
        for quantity, unit in (("acceleration", "m/s2"), ("velocity", "m/s"), ("displacement", "m")):
            values = np.array([getattr(self.motion[name], quantity) for name in names])
            dataset[quantity] = (("component", "time"), values, {"units": unit, "long_name": f"ground {quantity}"})
        dataset = dataset.assign_coords(component=names, time=("time", time, {"units": "s"}))
        for name, unit in (*_UNITS.items(), ("period", "s"), ("damping", "1")):
            if name in dataset:
                dataset[name].attrs["units"] = unit
        dataset.attrs |= {"record": self.record.id, "caution": " ".join(self.cautions), "software": self.version}
        return dataset

    def explore(self) -> Any:
        """Show the record view of the review desk for this result, without decisions; a notebook displays it.

        Returns
        -------
        Explored
            Its `link` opens in any browser of this machine; `stop` ends it.

        Raises
        ------
        InputError
            Bokeh is not installed.
        """
        return from_above("explore")(self)

    def __repr__(self) -> str:
        pga = self.peaks[(self.peaks["quantity"] == "PGA") & self.peaks["component"].isin(list(self.motion))]
        peaks = ", ".join(f"{row.component} {row.value:.3g}" for row in pga.itertuples())
        worst_first = sorted(self.findings, key=lambda one: -RANKED_SEVERITIES.index(one.severity))
        named = list(dict.fromkeys(f"{finding.name} ({finding.severity})" for finding in worst_first))
        found = ", ".join(named[:2]) + (f" and {len(named) - 2} more" if len(named) > 2 else "")
        return f"<Result of {self.record.id}: PGA {peaks} m/s²; findings: {found or 'none'}>"

    def _repr_html_(self) -> str:
        return str(from_above("notebook_view")(self))


def from_above(name: str) -> Callable[..., Any]:
    """Return a function of `strongmotion.report` or `strongmotion.review`, which are built on results.

    It is the one door that leads up.

    Parameters
    ----------
    name : {"draw", "notebook_view", "explore"}
        What a result shows of itself.
    """
    room = ".review" if name == "explore" else ".report"
    return getattr(importlib.import_module(room, __package__), name)


def _tell(done: int, of: int) -> None:
    """Write how far it is on a terminal's one line, and clear it at the end."""
    if sys.stderr.isatty():
        sys.stderr.write(f"\r{done} of {of} records" if done < of else f"\r{' ' * 40}\r")
        sys.stderr.flush()


@overload
def process(record: Record, settings: Settings | None = None, *, threads: int | None = None) -> Result: ...


@overload
def process(
    record: Iterable[Record],
    settings: Settings | None = None,
    *,
    threads: int | None = None,
    progress: Callable[[int, int], None] | None = None,
) -> list[Result]: ...


def process(
    record: Record | Iterable[Record],
    settings: Settings | None = None,
    *,
    threads: int | None = None,
    progress: Callable[[int, int], None] | None = None,
) -> Result | list[Result]:
    """Take one record, or each of several, through the whole job: checks, correction, spectra and measures.

    The baseline is corrected, the band chosen from signal and noise and kept by a filter, and acceleration integrated
    to velocity and displacement. The record itself is never changed; of one of continuous data, longer than
    ``window.longest``, or where ``window.begin`` or ``window.end`` is given, a part is processed, and is the record of
    the result. Look at ``result.findings`` first, then at
    ``result.peaks``, ``result.spectra`` and ``result.measures``, tables in SI units with the uncertainty of each
    number; ``result.usable_band`` says over which periods they hold, and ``result.plot()`` draws the motion.

    Parameters
    ----------
    record : Record, or iterable of Record
        Raw samples, as from `strongmotion.read`. Of several a list of results is returned, in their order; how far it
        is stands on the terminal. One that cannot be processed ends it: a batch of files, which sets such ones aside,
        is `strongmotion process`.
    settings : Settings, optional
        Choices of processing, as from `Settings.load`; the defaults, which `strongmotion settings` prints, if not
        given.
    threads : int, optional
        For the spectra, as in `strongmotion.response_spectrum`; the result is the same for any number.
    progress : callable, optional
        Called with the number of records done and of all, in place of the line on the terminal.

    Returns
    -------
    Result, or list of Result

    Raises
    ------
    InputError
        No `Record`, or no `Settings`, was given.
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
    if not isinstance(record, Record | str | bytes | Mapping) and isinstance(record, Iterable):
        records = list(record)
        results = []
        for number, one in enumerate(records):
            (progress or _tell)(number, len(records))
            results.append(process(one, settings, threads=threads))
        (progress or _tell)(len(records), len(records))
        return results
    if not isinstance(record, Record):
        raise InputError(
            f"expected a Record, found {type(record).__name__}", remedy="Read the file first: process(read(file))"
        )
    if not isinstance(settings, Settings):
        raise InputError(
            f"expected Settings, found {type(settings).__name__}", remedy="Load the file first: Settings.load(file)"
        )
    try:
        whole, general = record, settings
        record = cut_to_shaking(whole, general.for_record(whole.id))
        settings = general.for_record(whole.id, record.id)
        seen = examine(record)
        corrected = correct(record, settings, {finding.component for finding in seen if finding.name in DAMAGING}, seen)
    except (RecordError, SettingsError) as error:
        raise error.at(record.source.file or None) from None
    findings, overruled = _overrule((*seen, *corrected.findings), settings)
    unfit = {finding.component for finding in findings if finding.severity == "unfit"}
    corrected = replace(corrected, usable_band=_without_unfit(corrected.usable_band, unfit))
    rotate = "horizontal" in corrected.usable_band
    others: list[dict[str, Motion]] | None = None
    if settings.uncertainty.bands:
        others = members(corrected.motion, corrected.choices, settings.filter.order, settings.uncertainty)
    peaks = _peaks(corrected, rotate, settings, others)
    spectra = _spectra(corrected, settings, unfit, others, threads)
    corrected, spectra = _without_unsteady(corrected, spectra)
    measures = _measures(corrected, settings, unfit, others, peaks, record.horizontals is not None, threads)
    peaks = peaks.assign(usable=_usable_peaks(peaks, measures), bound=_bounds(peaks, findings))
    return Result(
        record=record,
        settings=settings,
        motion=corrected.motion,
        usable_band=corrected.usable_band,
        peaks=peaks,
        spectra=spectra,
        measures=measures,
        windows=corrected.windows,
        baseline=corrected.baseline,
        findings=narrowed(findings, peaks, spectra, corrected.usable_band),
        history=corrected.history.add(*overruled),
        mended=corrected.mended,
    )


def _overrule(findings: tuple[Finding, ...], settings: Settings) -> tuple[tuple[Finding, ...], tuple[Entry, ...]]:
    """Give findings the severities of the settings; each change is an entry of the history."""
    chosen = dict(text.rsplit("=", 1) for text in settings.checks.severity)
    severities = {name.strip(): severity.strip() for name, severity in chosen.items()}
    changed = {f.name: f.severity for f in findings if severities.get(f.name, f.severity) != f.severity}
    entries = tuple(
        Entry("checks", "", f"Severity of {name}: {severities[name]} instead of {before}, given in the settings")
        for name, before in changed.items()
    )
    weighed = tuple(replace(f, severity=cast(Severity, severities.get(f.name, f.severity))) for f in findings)
    return weighed, entries


def _without_unfit(bands: dict[str, Band], unfit: set[str]) -> dict[str, Band]:
    """Return the bands, those of unfit components, and of the pair that one has a share in, without usable periods."""
    shares = {name: {"H1", "H2"} if name == "horizontal" else {name} for name in bands}
    return {name: replace(band, usable=not unfit & {"", *shares[name]}) for name, band in bands.items()}


def _without_unsteady(corrected: Corrected, spectra: pd.DataFrame) -> tuple[Corrected, pd.DataFrame]:
    """End usable bands where baselines that explain the record equally well leave too little of an ordinate certain.

    Of components with a baseline shift, from the first period beyond the largest PSA at which half the band of PSA is
    wider than `STEADY`.
    """
    bands = dict(corrected.usable_band)
    for name, choice in corrected.choices.items():
        table = spectra[(spectra["component"] == name) & (spectra["period"] > 0)]
        if choice.shift is None or table.empty or table["psa_low"].isna().any():
            continue
        table = table[table["damping"] == table["damping"].iloc[0]].sort_values("period")
        psa = table["psa"].to_numpy()
        half = (table["psa_high"] - table["psa_low"]).to_numpy() / 2 / np.maximum(psa, 1e-300)
        largest = int(psa.argmax())
        unsteady = np.flatnonzero(half[largest:] > STEADY)
        if not unsteady.size:
            continue
        last = table["period"].to_numpy()[max(0, largest + int(unsteady[0]) - 1)]
        for own in (name, "horizontal") if name in ("H1", "H2") and "horizontal" in bands else (name,):
            band = bands[own]
            bands[own] = replace(band, steady_from=max(band.steady_from, band.period_fraction / float(last)))
    inside = {name: band.holds(spectra["period"].to_numpy()) for name, band in bands.items()}
    usable = spectra["usable"].to_numpy().copy()
    for component in spectra["component"].unique():
        of_it = (spectra["component"] == component).to_numpy()
        usable[of_it] &= inside[component if component in bands else "horizontal"][of_it]
    return replace(corrected, usable_band=bands), spectra.assign(usable=usable)


def _peaks(
    corrected: Corrected, rotate: bool, settings: Settings, others: list[dict[str, Motion]] | None
) -> pd.DataFrame:
    """Tabulate peaks, with their bands where `others` are given."""
    peaks = peak_table(corrected.motion, rotate=rotate)
    low = high = np.full(len(peaks), np.nan)
    if others is not None:
        noise = {name: noise_in_peaks(choice, settings.filter.order) for name, choice in corrected.choices.items()}
        # In whatever direction, noise is at most that of the noisier component.
        added = [
            noise[name][quantity] if name in noise else max(its[quantity] for its in noise.values())
            for name, quantity in zip(peaks.component, peaks.quantity, strict=True)
        ]
        values = [peak_table(member, rotate=rotate).value.to_numpy() for member in others]
        low, high = band_of(peaks.value.to_numpy(), values, np.array(added))
        low, high = _with_long_periods(peaks, low, high, np.array(added), corrected)
    return peaks.assign(band_low=low, band_high=high)


def _with_long_periods(
    peaks: pd.DataFrame, low: Floats, high: Floats, noise: Floats, corrected: Corrected
) -> tuple[Floats, Floats]:
    """Return the limits of peaks, moved upward by what the low-cut takes.

    A lower or higher corner moves a peak as well, but in a way that is known: where all draws of the whole motion have
    larger peaks, that of a higher corner is no lower limit. Of several components the largest change of any counts.
    """
    own = peaks.set_index(["component", "quantity"]).value
    change = {
        (name, quantity): np.array([its.low, its.high]) / max(float(own[name, quantity]), 1e-300) - 1.0
        for name, choice in corrected.choices.items()
        if choice.whole is not None
        for quantity, its in choice.whole.peaks.items()
    }
    names = list(corrected.motion)
    ends = []
    for row in peaks.itertuples():
        parts = [(part, str(row.quantity)) for part in _parts(str(row.component), names)]
        known = np.array([change.get(part, (-1.0, 0.0)) for part in parts])
        # The draws know nothing of shaking before the record, or of a baseline that moved.
        unsettled = not corrected.windows.noise or any(corrected.choices[name].rivals for name, _ in parts)
        ends.append((-1.0 if unsettled else min(known[:, 0].min(), 0.0), max(known[:, 1].max(), 0.0)))
    less, more = np.array(ends).T
    value = peaks.value.to_numpy()
    low = np.maximum(low, value - np.hypot(less * value, NORMAL_95 * noise))
    return low, np.maximum(high, value + np.hypot(more * value, NORMAL_95 * noise))


def _parts(combination: str, names: Collection[str]) -> Collection[str]:
    """Return the components that a component or combination of the table of peaks is made of."""
    return {combination} if combination in names else set(names) if combination == "resultant" else {"H1", "H2"}


def _usable_peaks(peaks: pd.DataFrame, measures: pd.DataFrame) -> list[bool]:
    """Tell which peaks may be used: where the same measure of every component that it is made of may be."""
    usable = {(row.component, row.measure): bool(row.usable) for row in measures.itertuples()}
    names = {component for component, measure in usable if measure == "PGA" and component in set(peaks.component)}
    return [all(usable[part, row.quantity] for part in _parts(str(row.component), names)) for row in peaks.itertuples()]


def _bounds(peaks: pd.DataFrame, findings: tuple[Finding, ...]) -> list[str]:
    """Tell which peaks are lower bounds.

    Shaking that goes on after the record's end can only raise a peak. So can what was clipped, but only that of the
    acceleration, of the component itself and of the longest vector: in other directions the sum of two components can
    be larger for what one of them lacks, and the error of velocity has either sign.
    """
    short = any(finding.name in CUT_SHORT for finding in findings)
    clipped = {finding.component for finding in findings if finding.name == "clipping"}
    largest = clipped | ({"resultant"} if clipped else set()) | ({"RotD100"} if clipped & {"H1", "H2"} else set())
    return [
        "at least" if short or (row.quantity == "PGA" and row.component in largest) else ""
        for row in peaks.itertuples()
    ]


def _measures(
    corrected: Corrected,
    settings: Settings,
    unfit: set[str],
    others: list[dict[str, Motion]] | None,
    peaks: pd.DataFrame,
    perpendicular: bool,
    threads: int | None,
) -> pd.DataFrame:
    """Tabulate measures, their bands from the first two members, and the permanent displacements that are resolved.

    A peak has the band of the table of peaks, from all members and from noise.
    """

    def measured(motion: dict[str, Motion]) -> pd.DataFrame:
        return measure_table(
            motion, corrected.usable_band, settings.measures, unfit, perpendicular=perpendicular, threads=threads
        )

    measures = measured(corrected.motion)
    if others is not None:
        values = [measured(member).value.to_numpy() for member in others[:2]]
        low, high = band_of(measures.value.to_numpy(), values, 0.0)
        measures = measures.assign(band_low=low, band_high=high)
        keys = pd.MultiIndex.from_frame(measures[["component", "measure"]])
        known = peaks.set_index(["component", "quantity"])[["band_low", "band_high"]].reindex(keys)
        has_band = known.band_low.notna().to_numpy()
        measures.loc[has_band, ["band_low", "band_high"]] = known.to_numpy()[has_band]
        scatter = NORMAL_95 * measures["measure"].map({one.name: one.scatter for one in MEASURES}).to_numpy(dtype=float)
        value = measures["value"].to_numpy()
        measures = measures.assign(
            band_low=value - np.hypot(value - measures["band_low"], scatter),
            band_high=value + np.hypot(measures["band_high"] - value, scatter),
        )
    measure = next(one for one in MEASURES if one.name == "permanent displacement")
    rows = [
        (name, measure.name, its.value, measure.unit, measure.source, its.low, its.high, not unfit & {name, ""})
        for name, its in ((name, chosen.displacement) for name, chosen in corrected.baseline.items())
        if its is not None and its.resolved
    ]
    if not rows:
        return measures
    return pd.concat([measures, pd.DataFrame(rows, columns=measures.columns)], ignore_index=True)


def _spectra(
    corrected: Corrected,
    settings: Settings,
    unfit: set[str],
    others: list[dict[str, Motion]] | None,
    threads: int | None,
) -> pd.DataFrame:
    """Tabulate response spectra of every component and, for a horizontal pair, of RotD00, 50 and 100.

    No ordinate of an unfit component is usable, nor any that it has a share in.
    """
    periods = np.array(settings.spectra.periods) if settings.spectra.periods else default_periods()
    damping = np.array(settings.spectra.damping)
    few = _telling_periods(periods, corrected.usable_band, settings) if others else np.empty(0)
    order = settings.filter.order
    noise = {}
    if others is not None:
        noise = {name: noise_in_response(choice, order, periods, damping) for name, choice in corrected.choices.items()}

    whole = {name: _whole_factor(choice, periods) for name, choice in corrected.choices.items()}

    def bands(
        psa: Floats, central: Floats, by_members: list[Floats], added: Floats, factor: Floats
    ) -> dict[str, Floats]:
        if others is None:
            return {"psa_low": np.full_like(psa, np.nan), "psa_high": np.full_like(psa, np.nan)}
        low, high = band_of(psa, [psa * _ratio(one, central, few, periods) for one in by_members], added)
        return {"psa_low": low, "psa_high": np.maximum(high, psa + np.hypot((factor - 1.0) * psa, NORMAL_95 * added))}

    tables = []
    for name, motion in corrected.motion.items():
        spectrum = response_spectrum(motion.acceleration, motion.dt, periods, damping, threads=threads)
        central, *by_members = (
            [_psa(member[name], few, damping, threads) for member in (corrected.motion, *(others or ()))]
            if few.size
            else [np.empty(0)]
        )
        columns = {quantity: getattr(spectrum, quantity) for quantity in QUANTITIES}
        columns |= bands(columns["psa"], central, by_members, noise.get(name, np.empty(0)), whole[name])
        usable = corrected.usable_band[name].holds(periods) & (not unfit & {name, ""})
        tables.append(_long_form(name, periods, damping, columns, usable))
    chosen = np.isin(damping, settings.spectra.rotated_damping or damping)
    if "horizontal" in corrected.usable_band and chosen.any():
        one, two = corrected.motion["H1"], corrected.motion["H2"]
        rotated = rotated_spectrum(
            one.acceleration, two.acceleration, one.dt, periods, damping[chosen], PERCENTILES, threads=threads
        )
        central, *turned = (
            [
                rotated_spectrum(
                    member["H1"].acceleration,
                    member["H2"].acceleration,
                    one.dt,
                    few,
                    damping[chosen],
                    PERCENTILES,
                    interpolation="linear",
                    threads=threads,
                ).psa
                for member in (corrected.motion, *(others or ()))
            ]
            if few.size
            else [np.empty((len(PERCENTILES), 0))]
        )
        added = np.maximum(noise["H1"], noise["H2"])[chosen] if noise else np.empty(0)
        usable = corrected.usable_band["horizontal"].holds(periods) & (not unfit & {"H1", "H2", ""})
        usable = chosen[:, np.newaxis] & usable
        for i, percentile in enumerate(PERCENTILES):
            its = {"sd": rotated.sd[i], "psv": rotated.psv[i], "psa": rotated.psa[i]}
            its |= bands(
                rotated.psa[i], central[i], [psa[i] for psa in turned], added, np.maximum(whole["H1"], whole["H2"])
            )
            columns = {name: np.full(usable.shape, np.nan) for name in its}
            for name, grid in columns.items():
                grid[chosen] = its[name]
            tables.append(_long_form(f"RotD{percentile:02d}", periods, damping, columns, usable))
    return pd.concat(tables, ignore_index=True)


def _whole_factor(choice: Choices, periods: Floats) -> Floats:
    """Return by how much the response may be larger with what the low-cut takes, at least 1."""
    return np.ones_like(periods) if choice.whole is None else choice.whole.psa_factor(periods)


def _psa(motion: Motion, periods: Floats, damping: Floats, threads: int | None) -> Floats:
    # Of these only ratios count, so the samples are taken as they are.
    psa = response_spectrum(
        motion.acceleration, motion.dt, periods, damping, ("psa",), interpolation="linear", threads=threads
    ).psa
    assert psa is not None
    return psa


def _telling_periods(periods: Floats, bands: dict[str, Band], settings: Settings) -> Floats:
    """Return the few periods, s, at which other corners are tried: those whose oscillators feel a corner.

    An oscillator feels a zero-phase low-cut from about a seventh of its period up, and a high-cut up to three of its
    periods. Between them the ratio to the central spectrum is interpolated; below the shortest it stays.
    """
    factor = settings.uncertainty.corner_factor
    lowest = max((band.low_cut for band in bands.values()), default=0.0) * factor
    highest = min((band.high_cut for band in bands.values() if band.high_cut > 0), default=np.inf) / factor
    dt = 0.5 / min(band.nyquist for band in bands.values())
    positive = np.unique(periods[periods >= SHORTEST_TRIED * dt])
    long = positive[positive * max(lowest, 0.02) > 0.15]
    short = positive[positive * highest < 3.0]
    return np.unique(np.concatenate((positive[:1], _thinned(short, 2), _thinned(long, 8))))


def _thinned(periods: Floats, count: int) -> Floats:
    return periods[np.unique(np.linspace(0, len(periods) - 1, count).round().astype(int))] if len(periods) else periods


def _ratio(few_psa: Floats, central: Floats, few: Floats, periods: Floats) -> Floats:
    """Interpolate the ratio of a member to the central spectrum from the few periods to all."""
    ratio = np.divide(few_psa, central, out=np.ones_like(few_psa), where=central > 0)
    log_period = np.log(np.maximum(periods, 1e-3))
    return np.stack([np.interp(log_period, np.log(few), one) for one in ratio])


def _long_form(
    component: str,
    periods: Floats,
    damping: Floats,
    columns: dict[str, Floats],
    usable: NDArray[np.bool_],
) -> pd.DataFrame:
    empty = np.full((len(damping), len(periods)), np.nan)
    return pd.DataFrame(
        {
            "component": component,
            "damping": np.repeat(damping, len(periods)),
            "period": np.tile(periods, len(damping)),
            **{quantity: columns.get(quantity, empty).ravel() for quantity in QUANTITIES},
            "usable": np.broadcast_to(usable, empty.shape).ravel(),
            "psa_low": columns["psa_low"].ravel(),
            "psa_high": columns["psa_high"].ravel(),
        }
    )
