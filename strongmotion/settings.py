"""What may be chosen in each step: typed, commented, from TOML.

The defaults are the documentation: `Settings().to_toml()` writes every setting with its comment, and the same text
read back gives the same settings. Unknown keys are refused, with the nearest known name.
"""

from __future__ import annotations

import dataclasses
import difflib
import hashlib
import json
import math
import re
import tomllib
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Self

from .foundation.errors import SettingsError
from .foundation.times import instant_in

__all__ = [
    "BaselineSettings",
    "Changed",
    "ChecksSettings",
    "FilterSettings",
    "InstrumentSettings",
    "MeasuresSettings",
    "MendSettings",
    "OnsetSettings",
    "Settings",
    "SpectraSettings",
    "TaperSettings",
    "UncertaintySettings",
    "WindowSettings",
]

AUTO = "auto"

COMPONENT = re.compile(r"[A-Za-z0-9_-]{1,32}")
"""The name of a component."""

BY_RECORD = ("window", "onset", "baseline", "filter")
"""Sections that a record may have of its own."""


def _setting(default: Any, comment: str, allowed: Callable[[Any], bool], must: str, by_component: bool = False) -> Any:
    """Declare one setting: its default, its comment, what it must be, and whether components may differ in it."""
    return field(
        default=default,
        metadata={"comment": comment, "allowed": allowed, "must": must, "by_component": by_component},
    )


def _number(value: Any) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value)


def _positive(value: Any) -> bool:
    return _number(value) and value > 0


def _not_negative(value: Any) -> bool:
    return _number(value) and value >= 0


def _numbers(value: Any) -> bool:
    return isinstance(value, tuple) and all(_not_negative(v) for v in value)


@dataclass(frozen=True)
class _Section:
    def __post_init__(self) -> None:
        for item in dataclasses.fields(self):
            value = getattr(self, item.name)
            if isinstance(value, list):
                value = tuple(value)
                object.__setattr__(self, item.name, value)
            values = [value]
            if isinstance(value, Mapping) and item.metadata["by_component"]:
                object.__setattr__(self, item.name, dict(value))
                for name in value:
                    if not (isinstance(name, str) and COMPONENT.fullmatch(name)):
                        raise SettingsError(f"{item.name}: {name!r} cannot be the name of a component, such as H1")
                values = list(value.values())
            for one in values:
                if not item.metadata["allowed"](one):
                    raise SettingsError(f"{item.name} = {one!r} is not allowed: it must be {item.metadata['must']}")

    def for_component(self, component: str) -> Self:
        """Return the section with each value that of one component; its default where the value does not name it."""
        own = {
            item.name: value.get(component, item.default)
            for item in dataclasses.fields(self)
            if isinstance(value := getattr(self, item.name), Mapping)
        }
        return dataclasses.replace(self, **own) if own else self


def _time(value: Any) -> bool:
    """Tell whether a value is "auto", seconds that are not negative, or UTC."""
    if value == AUTO or _not_negative(value):
        return True
    try:
        return isinstance(value, str) and bool(instant_in(value))
    except ValueError:
        return False


@dataclass(frozen=True)
class WindowSettings(_Section):
    """Which part of the file is the record."""

    begin: str | float = _setting(
        AUTO,
        "First instant of the record, s after the file's first sample or UTC as in 2031-03-17T03:26:31; "
        '"auto" for all, but for a file longer than `longest`.',
        _time,
        '"auto", a time in s, not negative, or UTC as in 2031-03-17T03:26:31',
    )
    end: str | float = _setting(
        AUTO,
        "Last instant of the record, in the same form.",
        _time,
        '"auto", a time in s, not negative, or UTC as in 2031-03-17T03:26:31',
    )
    longest: float = _setting(
        900.0,
        "A file longer than this, s, is treated as continuous data and cut to its strongest shaking, unless begin, end "
        "or onset.time is given.",
        _positive,
        "a positive time in s",
    )
    before: float = _setting(120.0, "What such a cut leaves before the onset, s.", _positive, "a positive time in s")
    after: float = _setting(120.0, "What it leaves after the end of the shaking, s.", _positive, "a positive time in s")


@dataclass(frozen=True)
class OnsetSettings(_Section):
    """Where the shaking begins, and which part before it counts as noise."""

    time: str | float = _setting(
        AUTO,
        'Time of the first arrival, s after the first sample; "auto" picks it.',
        lambda v: v == AUTO or _not_negative(v),
        '"auto" or a time in s, not negative',
    )
    ratio: float = _setting(
        4.0,
        "The picker declares shaking where short-term energy exceeds this many times the long-term energy.",
        lambda v: _number(v) and v > 1,
        "a number above 1",
    )
    short_window: float = _setting(0.5, "Short-term window of the picker, s.", _positive, "a positive time in s")
    long_window: float = _setting(5.0, "Long-term window of the picker, s.", _positive, "a positive time in s")
    margin: float = _setting(
        0.5, "Left out between pre-event window and onset, s.", _not_negative, "a time in s, not negative"
    )
    shortest_pre_event: float = _setting(
        2.0,
        "A pre-event window shorter than this, s, is not used for baseline or noise.",
        _positive,
        "a positive time in s",
    )


@dataclass(frozen=True)
class InstrumentSettings(_Section):
    """The transducer. The gain is part of the record."""

    natural_frequency: float = _setting(
        0.0,
        "Natural frequency of a mechanical transducer, Hz, to be corrected for; 0 for a sensor of flat response.",
        _not_negative,
        "a frequency in Hz, or 0",
    )
    damping: float = _setting(
        0.6,
        "Its fraction of critical damping.",
        lambda v: _positive(v) and v <= 2,
        "a number above 0 and up to 2",
    )
    regularisation: float = _setting(
        0.03,
        "Where the transducer passes less than this fraction of the motion, the correction stops growing.",
        lambda v: _positive(v) and v < 1,
        "a number above 0 and below 1",
    )


@dataclass(frozen=True)
class BaselineSettings(_Section):
    """The baseline of acceleration."""

    mean: str = _setting(
        AUTO,
        'The mean to remove: of the "pre-event" window, of the "tail", of the "whole" record, or "none"; "auto" takes '
        "the first of these that there is.",
        lambda v: v in (AUTO, "pre-event", "tail", "whole", "none"),
        '"auto", "pre-event", "tail", "whole" or "none"',
    )
    velocity_trend: bool = _setting(
        False,
        "Also fit a straight line to velocity and remove its slope from acceleration.",
        lambda v: isinstance(v, bool),
        "true or false",
    )

    shift: bool = _setting(
        True,
        "Remove a baseline shift during the shaking, where velocity after it shows one.",
        lambda v: isinstance(v, bool),
        "true or false",
    )
    method: str = _setting(
        AUTO,
        '"band-limited" removes any permanent displacement, "offset-preserving" keeps it and cuts nothing low, '
        '"polynomial" is for comparison; "auto" keeps a permanent displacement where it is resolved.',
        lambda v: v in (AUTO, "band-limited", "offset-preserving", "polynomial"),
        '"auto", "band-limited", "offset-preserving" or "polynomial"',
    )
    resolved_fraction: float = _setting(
        0.1,
        "A permanent displacement is resolved where half its interval of 5 to 95 % is below this fraction of it,",
        _positive,
        "a positive number",
    )
    resolved_length: float = _setting(0.03, "or below this length, m.", _positive, "a positive length in m")
    degree: int = _setting(
        2,
        "Degree of the polynomial fitted to velocity for the polynomial method.",
        lambda v: isinstance(v, int) and not isinstance(v, bool) and 1 <= v <= 6,
        "a whole number from 1 to 6",
    )


@dataclass(frozen=True)
class FilterSettings(_Section):
    """The band that is kept."""

    low_cut: str | float | Mapping[str, str | float] = _setting(
        AUTO,
        'Low-cut corner, Hz; 0 for none; "auto" chooses it from the signal-to-noise ratio. By component: '
        "{H1 = 0.1, V = 0.2}.",
        lambda v: v == AUTO or _not_negative(v),
        '"auto", 0 or a frequency in Hz',
        by_component=True,
    )
    high_cut: str | float | Mapping[str, str | float] = _setting(
        AUTO,
        'High-cut corner, Hz; 0 for none; "auto" chooses it from the signal-to-noise ratio. By component as well.',
        lambda v: v == AUTO or _not_negative(v),
        '"auto", 0 or a frequency in Hz',
        by_component=True,
    )
    order: int = _setting(
        4,
        "Butterworth order n after all passes: beyond a corner the gain falls as (f/corner)^n, and at it is 0.707.",
        lambda v: isinstance(v, int) and not isinstance(v, bool) and 2 <= v <= 16,
        "a whole number from 2 to 16",
    )
    phase: str = _setting(
        "acausal",
        '"acausal" keeps the phase, so spectra hardly depend on the corner; "causal" filters forward in time only.',
        lambda v: v in ("acausal", "causal"),
        '"acausal" or "causal"',
    )
    # Why 3. Signal and noise are mean amplitudes over a few independent numbers, and the signal window holds noise as
    # well: where there is no signal the ratio scatters about 1. The mean of m amplitudes of Gaussian noise scatters by
    # 0.52 / sqrt(m) (Rayleigh's distribution), so with m = 2 on both sides the ratio does by about a half, and 3 is
    # four deviations off. Where it holds, noise is at most a ninth of the power: 5 % of the amplitude. It is common
    # practice as well, without a source.
    signal_to_noise: float = _setting(
        3.0,
        "Least ratio of signal to noise in the smoothed Fourier spectra of the band that is kept.",
        lambda v: _number(v) and v >= 1,
        "a number of at least 1",
    )
    # Why 20. The weight of Konno & Ohmachi (1998), (sin y / y)^4 with y = b log10(f / f_c), is a half at y = 1.0, so at
    # b = 20 the window is a third of an octave wide, 12 % to either side. Over T s the amplitudes are 1/T apart: the
    # window holds m = 2 from 9 cycles in the record on. A smaller b would hold more, and blur the corner; a larger one
    # would let the ratio fall below 3 by chance within the band of a short shaking.
    smoothing: float = _setting(
        20.0,
        "Bandwidth b of the Konno & Ohmachi smoothing for that ratio; larger smooths less.",
        _positive,
        "a positive number",
    )
    displacement_at_rest: float = _setting(
        0.15,
        "Largest displacement before the onset and late in the tail, as a fraction of its peak: an automatic low-cut "
        "is raised until it is met, if it can be.",
        _positive,
        "a positive number",
    )
    fallback_low_cut: float = _setting(
        0.1,
        "Low-cut, Hz, for a record without noise window.",
        _not_negative,
        "a frequency in Hz, not negative",
    )
    again: bool = _setting(
        False,
        "Process a file again that was processed before; otherwise neither baseline nor filter is applied to it.",
        lambda v: isinstance(v, bool),
        "true or false",
    )
    period_fraction: float = _setting(
        0.6,
        "The longest usable period is this fraction of 1 / low-cut: order 4 takes 0.8 % there (2.8 % at 0.7).",
        lambda v: _number(v) and 0 < v <= 1,
        "a number above 0 and up to 1",
    )


@dataclass(frozen=True)
class TaperSettings(_Section):
    """The ends of the record, before it is padded with zeros."""

    longest: float = _setting(
        2.0,
        "Each end is brought to zero at its outermost zero crossing within this many s; else by a taper this long.",
        _not_negative,
        "a time in s, not negative",
    )


@dataclass(frozen=True)
class SpectraSettings(_Section):
    """Which oscillators."""

    periods: tuple[float, ...] = _setting(
        (),
        "Oscillator periods, s; empty for the default set: 0, and 0.01 to 20 s.",
        _numbers,
        "a list of periods in s, none negative",
    )
    damping: tuple[float, ...] = _setting(
        (0.05,),
        "Fractions of critical damping.",
        lambda v: _numbers(v) and len(v) > 0 and all(z < 1 for z in v),
        "a list of fractions from 0 to below 1, such as [0.02, 0.05] for 2 and 5 %",
    )
    rotated_damping: tuple[float, ...] = _setting(
        (),
        "Those of them that RotD is given for; empty for all. It takes longer than all else.",
        _numbers,
        "a list of fractions, each also in damping",
    )


@dataclass(frozen=True)
class MeasuresSettings(_Section):
    """Choices inside the measures."""

    threshold: float = _setting(
        0.05,
        "Acceleration that bracketed and uniform duration count from, g.",
        _positive,
        "a positive acceleration in g",
    )
    kappa_band: tuple[float, ...] = _setting(
        (10.0, 25.0),
        "First and last frequency, Hz, of the fit of the high-frequency decay kappa.",
        lambda v: _numbers(v) and len(v) == 2 and 0 < v[0] < v[1],
        "two rising frequencies in Hz",
    )


def _severities(value: Any) -> bool:
    return isinstance(value, tuple) and all(
        isinstance(text, str)
        and text.rpartition("=")[1]
        and text.rpartition("=")[2].strip() in ("note", "doubt", "unfit")
        for text in value
    )


@dataclass(frozen=True)
class ChecksSettings(_Section):
    """Severities of findings."""

    severity: tuple[str, ...] = _setting(
        (),
        'Severities that replace those of the checks, such as ["late start = note"]: note, doubt or unfit.',
        _severities,
        'a list such as ["late start = note"], each note, doubt or unfit',
    )


@dataclass(frozen=True)
class MendSettings(_Section):
    """Replacing samples that the checks found wrong, by estimates. The raw samples stay in the record."""

    spikes: bool = _setting(
        False, "Replace spikes by what their neighbours predict.", lambda v: isinstance(v, bool), "true or false"
    )
    gaps: float = _setting(
        0.0,
        "Replace stuck samples and straight fills of up to this length, s, by what their neighbours predict; 0 for "
        "none.",
        lambda v: _not_negative(v) and v <= 0.5,
        "a time in s from 0 to 0.5",
    )
    clipping: bool = _setting(
        False,
        "Restore clipped peaks by the smoothest motion beyond the clipping level.",
        lambda v: isinstance(v, bool),
        "true or false",
    )


@dataclass(frozen=True)
class UncertaintySettings(_Section):
    """How far results move under equally fit choices."""

    bands: bool = _setting(
        True,
        "Give each number a band of 5 to 95 %, from a few other choices and from noise.",
        lambda v: isinstance(v, bool),
        "true or false",
    )
    corner_factor: float = _setting(
        1.5,
        "Factor by which the corner frequencies are varied in the ensemble.",
        lambda v: _number(v) and v >= 1,
        "a number of at least 1",
    )
    order_change: int = _setting(
        2,
        "Amount by which the order of the filter is varied in the ensemble.",
        lambda v: isinstance(v, int) and not isinstance(v, bool) and 0 <= v <= 8,
        "a whole number from 0 to 8",
    )


@dataclass(frozen=True)
class Changed:
    """A setting that differs from its default: its name, its value and its default as TOML, and its comment."""

    name: str
    value: str
    default: str
    comment: str


@dataclass(frozen=True)
class Settings:
    """All settings of the chain, a section a step.

    Examples
    --------
    >>> settings = Settings.from_dict({"filter": {"low_cut": 0.08}})
    >>> settings.filter.low_cut
    0.08
    >>> Settings.from_dict({"filter": {"lowcut": 0.08}})
    Traceback (most recent call last):
    ...
    strongmotion.foundation.errors.SettingsError: unknown setting 'filter.lowcut', perhaps 'low_cut'. See ...
    """

    checks: ChecksSettings = ChecksSettings()
    window: WindowSettings = WindowSettings()
    mend: MendSettings = MendSettings()
    onset: OnsetSettings = OnsetSettings()
    instrument: InstrumentSettings = InstrumentSettings()
    baseline: BaselineSettings = BaselineSettings()
    taper: TaperSettings = TaperSettings()
    filter: FilterSettings = FilterSettings()
    spectra: SpectraSettings = SpectraSettings()
    measures: MeasuresSettings = MeasuresSettings()
    uncertainty: UncertaintySettings = UncertaintySettings()
    records: Mapping[str, Mapping[str, Mapping[str, Any]]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        whole = {item.name: getattr(self, item.name) for item in _sections(type(self))}
        for record_id, chosen in self.records.items():
            where = f'records."{record_id}"'
            if not isinstance(chosen, Mapping):
                raise SettingsError(f"{where} must hold sections, such as [{where}.filter], found {chosen!r}")
            for name in chosen:
                if name not in BY_RECORD:
                    raise _unknown(f"{where}.{name}", name, BY_RECORD, None)
            _chosen_sections(whole, chosen, None, f"{where}.")
        kept = {name: {part: dict(its) for part, its in chosen.items()} for name, chosen in self.records.items()}
        object.__setattr__(self, "records", kept)

    def for_record(self, *record_ids: str) -> Settings:
        """Return the settings that hold for one record: those of its own section in place of the general ones.

        Parameters
        ----------
        *record_ids : str
            The record's id, and that of the part cut from it, if there is one: the last wins.

        Returns
        -------
        Settings
            Without sections by record. What they do not name is as it is in general.

        Examples
        --------
        >>> settings = Settings.from_dict({"records": {"QUAY_20310317T032627": {"filter": {"low_cut": {"H1": 0.2}}}}})
        >>> settings.for_record("QUAY_20310317T032627").filter.low_cut
        {'H1': 0.2}
        >>> settings.for_record("BELL_20310317T032627").filter.low_cut
        'auto'
        """
        sections = {item.name: getattr(self, item.name) for item in _sections(type(self))}
        for record_id in dict.fromkeys(record_ids):
            sections |= _chosen_sections(sections, self.records.get(record_id, {}), None)
        return Settings(**sections)

    @classmethod
    def from_dict(cls, values: dict[str, Any], source: str | None = None) -> Settings:
        """Build settings from nested dictionaries; what is not named keeps its default.

        Raises
        ------
        SettingsError
            An unknown section or key, or a value that is not allowed; it names `source`.
        """
        known: dict[str, _Section] = {item.name: getattr(cls, item.name) for item in _sections(cls)}
        records = values.get("records", {})
        if not isinstance(records, dict):
            raise SettingsError(
                f'records must hold sections, [records."ID"], found {records!r}',
                source=source,
                remedy="See `strongmotion settings`",
            )
        for name in values:
            if name not in known and name != "records":
                raise _unknown(name, name, [*known, "records"], source)
        general = {name: chosen for name, chosen in values.items() if name != "records"}
        sections: dict[str, Any] = _chosen_sections(known, general, source)
        try:
            return cls(**sections, records=records)
        except SettingsError as error:
            raise error.at(source) from None

    def replace(self, **sections: Mapping[str, Any]) -> Settings:
        """Return settings in which some are changed; names and values are checked at once.

        Parameters
        ----------
        **sections : mapping of str to value
            By section, the settings to change; all others keep their value. ``records`` is replaced as a whole.

        Raises
        ------
        SettingsError
            An unknown section or setting, or a value that is not allowed.

        Examples
        --------
        >>> settings = Settings().replace(filter={"low_cut": 0.1}, spectra={"damping": [0.02, 0.05]})
        >>> settings.filter.low_cut, settings.filter.order == Settings().filter.order
        (0.1, True)
        """
        known = {item.name: getattr(self, item.name) for item in _sections(type(self))}
        for name in sections:
            if name not in known and name != "records":
                raise _unknown(name, name, [*known, "records"], None)
        chosen = {name: values for name, values in sections.items() if name != "records"}
        changed: dict[str, Any] = _chosen_sections(known, chosen, None)
        if "records" in sections:
            changed["records"] = sections["records"]
        return dataclasses.replace(self, **changed)

    @classmethod
    def load(cls, path: str | Path) -> Settings:
        """Read settings from a TOML file.

        Raises
        ------
        SettingsError
            The file cannot be read, is not TOML, or holds an unknown or wrong setting.
        """
        try:
            values = tomllib.loads(Path(path).expanduser().read_text(encoding="utf-8"))
        except OSError as error:
            raise SettingsError(
                f"the file cannot be read: {error.strerror}", source=str(path), remedy="Check its name and folder"
            ) from None
        except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
            raise SettingsError(
                f"is not TOML: {error}", source=str(path), remedy="Start from `strongmotion settings`"
            ) from None
        return cls.from_dict(values, source=str(path))

    def to_dict(self) -> dict[str, dict[str, Any]]:
        """Return the settings as nested dictionaries; ``"records"`` is among them where a record has its own."""
        values = dataclasses.asdict(self)
        if not self.records:
            del values["records"]
        return values

    def to_toml(self) -> str:
        """Return the settings as TOML, a comment above each.

        Examples
        --------
        >>> Settings.from_dict(tomllib.loads(Settings().to_toml())) == Settings()
        True
        """
        lines = ["# Settings of the strongmotion chain. Times in s, frequencies in Hz."]
        for section in _sections(type(self)):
            values = getattr(self, section.name)
            lines += ["", f"# {type(values).__doc__}", f"[{section.name}]"]
            for item in dataclasses.fields(values):
                lines += [f"# {item.metadata['comment']}", f"{item.name} = {_toml(getattr(values, item.name))}"]
        example = f'[records."ID".filter], of the sections {", ".join(BY_RECORD)}'
        lines += ["", f"# What holds for one record alone, by its id: {example}."]
        for record_id, chosen in self.records.items():
            for name, values in chosen.items():
                lines += ["", f"[records.{json.dumps(record_id)}.{name}]"]
                lines += [f"{key} = {_toml(value)}" for key, value in values.items()]
        return "\n".join(lines) + "\n"

    def changed(self) -> list[Changed]:
        """Return the settings that differ from their defaults, in their order; those by record are left out.

        Examples
        --------
        >>> Settings.from_dict({"filter": {"order": 6}}).changed()[0].name
        'filter.order'
        """
        return [
            Changed(f"{section.name}.{item.name}", _toml(value), _toml(item.default), item.metadata["comment"])
            for section in _sections(type(self))
            for item in dataclasses.fields(getattr(self, section.name))
            if (value := getattr(getattr(self, section.name), item.name)) != item.default
        ]

    @property
    def sha256(self) -> str:
        """SHA-256 of the settings, to tell whether two results were made alike."""
        # 1 and 1.0 are the same setting.
        values = json.loads(json.dumps(self.to_dict()), parse_int=float)
        return hashlib.sha256(json.dumps(values, sort_keys=True).encode()).hexdigest()


def _sections(settings: type[Settings]) -> list[Any]:
    """Return the fields of the settings that are sections."""
    return [item for item in dataclasses.fields(settings) if item.name != "records"]


def _chosen_sections(
    known: Mapping[str, Any], values: Mapping[str, Any], source: str | None, prefix: str = ""
) -> dict[str, Any]:
    """Return the sections that `values` names, changed as it says."""
    sections: dict[str, Any] = {}
    for name, chosen in values.items():
        if not isinstance(chosen, Mapping):
            raise SettingsError(
                f"{prefix}{name} must be a section, [{prefix}{name}], found {chosen!r}",
                source=source,
                remedy="See `strongmotion settings`",
            )
        keys = [item.name for item in dataclasses.fields(known[name])]
        for key in chosen:
            if key not in keys:
                raise _unknown(f"{prefix}{name}.{key}", key, keys, source)
        try:
            sections[name] = dataclasses.replace(known[name], **chosen)
        except SettingsError as error:
            raise SettingsError(
                f"[{prefix}{name}] {error.what}", source=source, remedy="See `strongmotion settings`"
            ) from None
    return sections


def _toml(value: Any) -> str:
    """Return a value of a setting as TOML, of which JSON is a part but for tables."""
    if isinstance(value, Mapping):
        return "{" + ", ".join(f"{json.dumps(name)} = {_toml(its)}" for name, its in value.items()) + "}"
    return json.dumps(list(value) if isinstance(value, tuple) else value)


def _unknown(shown: str, name: str, known: Any, source: str | None) -> SettingsError:
    near = difflib.get_close_matches(name, list(known), n=1, cutoff=0.5)
    guess = f", perhaps {near[0]!r}" if near else ""
    return SettingsError(f"unknown setting {shown!r}{guess}", source=source, remedy="See `strongmotion settings`")
