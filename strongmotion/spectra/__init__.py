"""Response spectra, rotated spectra and Fourier spectra of bare arrays: m/s² and s in, SI out."""

from __future__ import annotations

from .fourier import FourierSpectrum, fourier_spectrum, konno_ohmachi
from .response import QUANTITIES, ResponseSpectrum, default_periods, response_history, response_spectrum
from .rotation import RotatedSpectrum, rotated_peak, rotated_spectrum

__all__ = [
    "QUANTITIES",
    "FourierSpectrum",
    "ResponseSpectrum",
    "RotatedSpectrum",
    "default_periods",
    "fourier_spectrum",
    "konno_ohmachi",
    "response_history",
    "response_spectrum",
    "rotated_peak",
    "rotated_spectrum",
]
