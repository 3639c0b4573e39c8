"""Response spectra, rotated spectra and Fourier spectra of bare arrays: m/s² and s in, SI out."""

from __future__ import annotations

from .ductility import (
    HystereticDemand,
    YieldingResponse,
    constant_ductility_spectrum,
    constant_strength_spectrum,
    hysteretic_demand,
    park_ang_index,
    yielding_response,
)
from .fourier import (
    FourierSpectrum,
    effective_amplitude_spectrum,
    fourier_spectrum,
    horizontal_to_vertical,
    konno_ohmachi,
    log_box,
    power_spectral_density,
)
from .matching import MatchedMotion, match_spectrum
from .pairs import coherence, spectral_ratio, vertical_to_horizontal
from .response import (
    QUANTITIES,
    ResponseSpectrum,
    default_periods,
    response_history,
    response_spectra,
    response_spectrum,
)
from .rotation import (
    RotatedSpectrum,
    directional_spectrum,
    geometric_mean_spectrum,
    rotated_peaks,
    rotated_spectrum,
)
from .spectrogram import spectrogram
from .target import (
    TargetSpectrum,
    asce7_spectrum,
    best_scale,
    damping_factor,
    ec8_elastic_spectrum,
    ratio,
    target_from_table,
)

__all__ = [
    "QUANTITIES",
    "FourierSpectrum",
    "HystereticDemand",
    "MatchedMotion",
    "ResponseSpectrum",
    "RotatedSpectrum",
    "TargetSpectrum",
    "YieldingResponse",
    "asce7_spectrum",
    "best_scale",
    "coherence",
    "constant_ductility_spectrum",
    "constant_strength_spectrum",
    "damping_factor",
    "default_periods",
    "directional_spectrum",
    "ec8_elastic_spectrum",
    "effective_amplitude_spectrum",
    "fourier_spectrum",
    "geometric_mean_spectrum",
    "horizontal_to_vertical",
    "hysteretic_demand",
    "konno_ohmachi",
    "log_box",
    "match_spectrum",
    "park_ang_index",
    "power_spectral_density",
    "ratio",
    "response_history",
    "response_spectra",
    "response_spectrum",
    "rotated_peaks",
    "rotated_spectrum",
    "spectral_ratio",
    "spectrogram",
    "target_from_table",
    "vertical_to_horizontal",
    "yielding_response",
]
