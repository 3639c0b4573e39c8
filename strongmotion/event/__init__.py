"""Several stations: distance, place, size and shaking of their earthquake."""

from __future__ import annotations

from .association import Arrived, associate
from .attenuation import FARTHEST, PGA_MAGNITUDES, PGA_SCATTER, PGV_MAGNITUDES, PGV_SCATTER, expected_pga, expected_pgv
from .describe import describe, spread_of_models
from .location import (
    Circle,
    ClockError,
    Ellipse,
    Hypocentre,
    Location,
    Region,
    Residual,
    StationDistance,
    StationTimes,
    locate,
    wadati,
)
from .magnitude import (
    CLASSICAL,
    UHRHAMMER_COLLINS,
    SourceSpectrum,
    WoodAnderson,
    local_magnitude,
    moment_magnitude,
    moment_of,
    radiated_energy,
    seismic_moment,
    source_spectrum,
    stress_drop,
    wood_anderson,
)
from .membership import keep_events
from .picks import PickFile, read_picks
from .quakeml import to_quakeml
from .statements import to_json
from .study import (
    Event,
    EventSettings,
    Reading,
    Size,
    events_in,
    read_archive,
    read_shocks,
    read_station,
    study,
    study_archive,
)
from .travel import VelocityModel, epicentral_distance, hypocentral_distance, time_at_station, travel_times

__all__ = [
    "CLASSICAL",
    "FARTHEST",
    "PGA_MAGNITUDES",
    "PGA_SCATTER",
    "PGV_MAGNITUDES",
    "PGV_SCATTER",
    "UHRHAMMER_COLLINS",
    "Arrived",
    "Circle",
    "ClockError",
    "Ellipse",
    "Event",
    "EventSettings",
    "Hypocentre",
    "Location",
    "PickFile",
    "Reading",
    "Region",
    "Residual",
    "Size",
    "SourceSpectrum",
    "StationDistance",
    "StationTimes",
    "VelocityModel",
    "WoodAnderson",
    "associate",
    "describe",
    "epicentral_distance",
    "events_in",
    "expected_pga",
    "expected_pgv",
    "hypocentral_distance",
    "keep_events",
    "local_magnitude",
    "locate",
    "moment_magnitude",
    "moment_of",
    "radiated_energy",
    "read_archive",
    "read_picks",
    "read_shocks",
    "read_station",
    "seismic_moment",
    "source_spectrum",
    "spread_of_models",
    "stress_drop",
    "study",
    "study_archive",
    "time_at_station",
    "to_json",
    "to_quakeml",
    "travel_times",
    "wadati",
    "wood_anderson",
]
