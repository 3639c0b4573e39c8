"""From raw accelerograms to peaks, response spectra and an archive an engineer can defend.

The names below are loaded when first used, so that ``import strongmotion`` and the command line start quickly.
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

__version__ = "0.1.0"

_HOME = {
    "Archive": "archive",
    "ArchiveError": "foundation.errors",
    "Component": "record",
    "Earthquake": "record",
    "Finding": "record",
    "InputError": "foundation.errors",
    "Motion": "motion",
    "Record": "record",
    "RecordError": "foundation.errors",
    "Result": "result",
    "Settings": "settings",
    "SettingsError": "foundation.errors",
    "Station": "record",
    "StrongMotionError": "foundation.errors",
    "default_periods": "spectra",
    "fourier_spectrum": "spectra",
    "process": "result",
    "read": "formats",
    "read_all": "formats",
    "read_joined": "formats",
    "read_quakeml": "formats",
    "read_stationxml": "formats",
    "response_history": "spectra",
    "response_spectrum": "spectra",
    "rotated_spectrum": "spectra",
    "write_csv": "formats",
    "write_miniseed": "formats",
}

__all__ = ["__version__", *sorted(_HOME)]

if TYPE_CHECKING:
    from .archive import Archive as Archive
    from .formats import read as read
    from .formats import read_all as read_all
    from .formats import read_joined as read_joined
    from .formats import read_quakeml as read_quakeml
    from .formats import read_stationxml as read_stationxml
    from .formats import write_csv as write_csv
    from .formats import write_miniseed as write_miniseed
    from .foundation.errors import ArchiveError as ArchiveError
    from .foundation.errors import InputError as InputError
    from .foundation.errors import RecordError as RecordError
    from .foundation.errors import SettingsError as SettingsError
    from .foundation.errors import StrongMotionError as StrongMotionError
    from .motion import Motion as Motion
    from .record import Component as Component
    from .record import Earthquake as Earthquake
    from .record import Finding as Finding
    from .record import Record as Record
    from .record import Station as Station
    from .result import Result as Result
    from .result import process as process
    from .settings import Settings as Settings
    from .spectra import default_periods as default_periods
    from .spectra import fourier_spectrum as fourier_spectrum
    from .spectra import response_history as response_history
    from .spectra import response_spectrum as response_spectrum
    from .spectra import rotated_spectrum as rotated_spectrum


def __getattr__(name: str) -> Any:
    if name in _HOME:
        return getattr(importlib.import_module(f".{_HOME[name]}", __name__), name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted(__all__)
