"""What engineers measure on a motion. Each function takes bare arrays; `measure_table` measures everything at once."""

from __future__ import annotations

from .cycles import Cycles, effective_cycles, rainflow
from .duration import bracketed_duration, effective_duration, significant_duration, uniform_duration
from .energy import (
    CAV5_THRESHOLD,
    arias_history,
    arias_intensity,
    characteristic_intensity,
    cumulative_absolute_velocity,
    rms_acceleration,
    squared_velocity_integral,
    standardized_cumulative_absolute_velocity,
)
from .energy_spectrum import EnergySpectrum, energy_history, energy_spectrum
from .frequency import (
    Kappa,
    acceleration_spectrum_intensity,
    average_spectral_acceleration,
    central_frequency,
    effective_peak_acceleration,
    housner_intensity,
    kappa,
    mean_period,
    predominant_period,
    spectral_bandwidth,
    velocity_spectrum_intensity,
)
from .incremental import filtered_incremental_velocity
from .intensity import japanese_intensity, japanese_words, mercalli_words, modified_mercalli, peak_of_mercalli
from .orientation import PrincipalAxes, principal_axes, radial_transverse, rotate
from .peaks import PERCENTILES, peak_table, sustained_maximum
from .pulse import VelocityPulse, velocity_pulse
from .rotated import (
    rotated_arias_intensity,
    rotated_cumulative_absolute_velocity,
    rotated_significant_duration,
)
from .table import COLUMNS, GROUPS, MEASURES, Measure, measure_table

__all__ = [
    "CAV5_THRESHOLD",
    "COLUMNS",
    "GROUPS",
    "MEASURES",
    "PERCENTILES",
    "Cycles",
    "EnergySpectrum",
    "Kappa",
    "Measure",
    "PrincipalAxes",
    "VelocityPulse",
    "acceleration_spectrum_intensity",
    "arias_history",
    "arias_intensity",
    "average_spectral_acceleration",
    "bracketed_duration",
    "central_frequency",
    "characteristic_intensity",
    "cumulative_absolute_velocity",
    "effective_cycles",
    "effective_duration",
    "effective_peak_acceleration",
    "energy_history",
    "energy_spectrum",
    "filtered_incremental_velocity",
    "housner_intensity",
    "japanese_intensity",
    "japanese_words",
    "kappa",
    "mean_period",
    "measure_table",
    "mercalli_words",
    "modified_mercalli",
    "peak_of_mercalli",
    "peak_table",
    "predominant_period",
    "principal_axes",
    "radial_transverse",
    "rainflow",
    "rms_acceleration",
    "rotate",
    "rotated_arias_intensity",
    "rotated_cumulative_absolute_velocity",
    "rotated_significant_duration",
    "significant_duration",
    "spectral_bandwidth",
    "squared_velocity_integral",
    "standardized_cumulative_absolute_velocity",
    "sustained_maximum",
    "uniform_duration",
    "velocity_pulse",
    "velocity_spectrum_intensity",
]
