"""Size: local magnitude from a simulated Wood-Anderson seismometer, moment from the source spectrum, energy.

References
----------
Richter, C. F. (1935). An instrumental earthquake magnitude scale. Bulletin of the Seismological Society of America
25(1), 1-32.

Hutton, L. K. and Boore, D. M. (1987). The ML scale in southern California. Bulletin of the Seismological Society of
America 77(6), 2074-2094.

Uhrhammer, R. A. and Collins, E. R. (1990). Synthesis of Wood-Anderson seismograms from broadband digital records.
Bulletin of the Seismological Society of America 80(3), 702-716.

Brune, J. N. (1970). Tectonic stress and the spectra of seismic shear waves from earthquakes. Journal of Geophysical
Research 75(26), 4997-5009; correction (1971) 76(20), 5002.

Hanks, T. C. and Kanamori, H. (1979). A moment magnitude scale. Journal of Geophysical Research 84(B5), 2348-2350.

Gutenberg, B. and Richter, C. F. (1956). Magnitude and energy of earthquakes. Annali di Geofisica 9(1), 1-15.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import least_squares

from ..foundation.errors import InputError
from ..spectra import response_history

__all__ = [
    "CLASSICAL",
    "UHRHAMMER_COLLINS",
    "SourceSpectrum",
    "WoodAnderson",
    "local_magnitude",
    "moment_magnitude",
    "moment_of",
    "radiated_energy",
    "seismic_moment",
    "source_spectrum",
    "stress_drop",
    "wood_anderson",
]

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class WoodAnderson:
    """The standard seismometer of the local magnitude: natural period (s), damping ratio, magnification.

    The defaults, `UHRHAMMER_COLLINS`, are what the instruments really had (Uhrhammer & Collins 1990); `CLASSICAL` is
    what was long taken.
    """

    period: float = 0.8
    damping: float = 0.7
    magnification: float = 2080.0


UHRHAMMER_COLLINS = WoodAnderson()
"""Damping 0.7 and magnification 2080."""

CLASSICAL = WoodAnderson(0.8, 0.8, 2800.0)
"""The nominal constants: traces, and so magnitudes, come out larger by up to log10(2800/2080) = 0.13."""


def wood_anderson(acceleration: ArrayLike, dt: float, instrument: WoodAnderson = UHRHAMMER_COLLINS) -> Floats:
    """Return the trace the seismometer would have drawn, mm, by the exact recursion of its pendulum.

    Parameters
    ----------
    acceleration : array (n,)
        Of the ground, m/s².
    dt : float
        s.
    instrument : WoodAnderson

    Returns
    -------
    ndarray, shape (n,)
        mm on the paper.

    Examples
    --------
    >>> time = np.arange(4000) * 0.01
    >>> shaking = (2 * np.pi * 10) ** 2 * 1e-6 * np.sin(2 * np.pi * 10 * time)  # 0.001 mm, times 2080
    >>> trace = wood_anderson(shaking, 0.01)
    >>> float(np.round(np.abs(trace[1000:3000]).max(), 4))
    2.0576
    """
    swing = response_history(acceleration, dt, instrument.period, instrument.damping)[0]
    return 1000.0 * instrument.magnification * swing


def local_magnitude(amplitude: float, distance: float) -> float:
    """Return the local magnitude of one trace.

    Richter (1935) calls it 3 where the standard seismometer draws 1 mm at 100 km; how the trace falls off with
    distance is Hutton & Boore's (1987): ML = log10 A + 1.110 log10(r/100) + 0.00189 (r - 100) + 3.

    Parameters
    ----------
    amplitude : float
        Largest departure from zero of a horizontal trace, mm.
    distance : float
        To the hypocentre, km. The attenuation was found in southern California, from 10 to 700 km.

    Examples
    --------
    >>> local_magnitude(1.0, 100.0)
    3.0
    """
    if not (amplitude > 0 and distance > 0):
        raise InputError(f"a trace of {amplitude} mm at {distance} km has no magnitude: both must be above 0")
    return math.log10(amplitude) + 1.110 * math.log10(distance / 100) + 0.00189 * (distance - 100) + 3.0


def moment_magnitude(moment: float) -> float:
    """Return the moment magnitude (Hanks & Kanamori 1979): Mw = 2/3 (log10 M0 - 9.05), M0 in N m.

    Examples
    --------
    >>> round(moment_magnitude(10**18.05), 12)
    6.0
    """
    return (math.log10(moment) - 9.05) / 1.5


def moment_of(magnitude: float) -> float:
    """Return the seismic moment, N m, of a moment magnitude (Hanks & Kanamori 1979).

    Examples
    --------
    >>> f"{moment_of(6.0):.2e} N m"
    '1.12e+18 N m'
    """
    return 10 ** (1.5 * magnitude + 9.05)


def radiated_energy(magnitude: float) -> float:
    """Return the energy radiated in waves, J (Gutenberg & Richter 1956): log10 E = 1.5 M + 4.8.

    Examples
    --------
    >>> round(radiated_energy(6.0) / radiated_energy(5.0), 1)
    31.6
    """
    return 10 ** (1.5 * magnitude + 4.8)


@dataclass(frozen=True)
class SourceSpectrum:
    """Brune's spectrum fitted to that of the S waves.

    Parameters
    ----------
    plateau : float
        Level of the displacement spectrum at low frequency, m s, all components together.
    corner : float
        Hz.
    kappa : float
        Decay of high frequencies, exp(-pi kappa f), s.
    scatter : float
        Standard deviation of the spectrum about the fit, log10.
    lowest, highest : float
        Band of the fit, Hz: where the S waves stand out of the noise.
    floor : float
        Level of the displacement spectrum at the lowest frequencies of the band, m s: the plateau is at least so high.
    noise_known : bool
        There was quiet before P to compare with; where False microseism may pass for a plateau.
    """

    plateau: float
    corner: float
    kappa: float
    scatter: float
    lowest: float
    highest: float
    floor: float = math.nan
    noise_known: bool = True

    @property
    def plateau_seen(self) -> bool:
        """The band reaches an octave below the corner; where False the plateau is the fit's own guess."""
        return self.noise_known and self.lowest <= 0.5 * self.corner


CLEAR = 3.0
"""Amplitude of the S waves over that of the noise above which a frequency counts: common practice, without a source."""

LEAST_QUIET = 4.0
"""s of noise before P without which there is none to compare with."""

CHANCE = 2.0
"""Bins of noise scatter: the floor is taken lower by this factor, so that it stays a lower bound."""


def source_spectrum(
    components: Sequence[Floats],
    dt: float,
    begin: float,
    end: float,
    lowest: float,
    highest: float,
    quiet: tuple[float, float] | None = None,
) -> SourceSpectrum | None:
    """Fit Brune's (1970) spectrum plateau / (1 + (f/corner)²) to the S waves of one record.

    Parameters
    ----------
    components : sequence of ndarray, shape (n,)
        Acceleration, m/s²; their energies are added.
    dt : float
        s.
    begin, end : float
        Window of the S waves, s after the first sample; it is tapered outside, over a twentieth of its length.
    lowest, highest : float
        Usable frequencies, Hz; above 15 Hz nothing is used.
    quiet : tuple of float, optional
        Begin and end of the noise before P, s. The band is then the widest one in which the S waves are three times as
        strong; without it, or where it is too short, the result says that the noise is not known.

    Returns
    -------
    SourceSpectrum or None
        None where the band holds less than a factor of 5, the window too few cycles, or the components no motion.
    """
    noise_known = quiet is not None and quiet[1] - quiet[0] >= LEAST_QUIET
    if quiet is not None and noise_known:
        # So short a noise window says nothing of longer periods.
        band = _clear_band(components, dt, (begin, end), quiet, (max(lowest, 1.5 / (quiet[1] - quiet[0])), highest))
        if band is None:
            return None
        lowest, highest = band
    ramp = max(1, round(0.05 * (end - begin) / dt))
    first, last = max(0, round(begin / dt) - ramp), min(len(components[0]), round(end / dt) + ramp)
    length = (last - first) * dt
    lowest, highest = max(lowest, 1.5 / length if length > 0 else math.inf), min(highest, 15.0, 0.4 / dt)
    if not highest > 5 * lowest:
        return None
    n = last - first
    taper = 0.5 - 0.5 * np.cos(np.pi * np.minimum(1.0, np.minimum(np.arange(n), np.arange(n)[::-1]) / ramp))
    size = 4 * n
    frequency = np.fft.rfftfreq(size, dt)
    power = sum(np.abs(dt * np.fft.rfft(trace[first:last] * taper, size)) ** 2 for trace in components)
    edges = np.geomspace(lowest, highest, max(8, round(10 * math.log10(highest / lowest))) + 1)
    which = np.digitize(frequency, edges) - 1
    inside = (which >= 0) & (which < len(edges) - 1)
    count = np.bincount(which[inside], minlength=len(edges) - 1)
    total = np.bincount(which[inside], (power / np.maximum(2 * np.pi * frequency, 1e-9) ** 4)[inside])
    filled = count > 0
    centre = np.sqrt(edges[1:] * edges[:-1])[filled]
    if filled.sum() < 6 or not (total[filled] > 0).all():
        return None
    level = 0.5 * np.log(total[filled] / count[filled])

    def misfit(guess: Floats) -> Floats:
        return guess[0] - np.log1p((centre / np.exp(guess[1])) ** 2) - np.pi * guess[2] * centre - level

    fits = [
        least_squares(
            misfit, [level[:3].max(), math.log(corner), 0.03], loss="soft_l1", f_scale=0.5,
            bounds=([-np.inf, math.log(0.01), 0.0], [np.inf, math.log(highest), 0.15]),
        )
        for corner in np.geomspace(lowest, highest / 1.1, 4)
    ]  # fmt: skip
    best = min(fits, key=lambda fit: fit.cost)
    scatter = float(np.std(misfit(best.x), ddof=3)) / math.log(10)
    plateau, corner, kappa = math.exp(best.x[0]), math.exp(best.x[1]), float(best.x[2])
    floor = min(math.exp(float(np.median(level[:3]))) / CHANCE, plateau)
    return SourceSpectrum(plateau, corner, kappa, scatter, lowest, highest, floor, noise_known)


def _clear_band(
    components: Sequence[Floats],
    dt: float,
    signal: tuple[float, float],
    quiet: tuple[float, float],
    band: tuple[float, float],
) -> tuple[float, float] | None:
    """Return the widest band in which the amplitude of a window is `CLEAR` times that of the noise, or None."""
    lowest, highest = band[0], min(band[1], 0.4 / dt)
    if not highest > lowest:
        return None
    edges = np.geomspace(lowest, highest, max(6, round(8 * math.log10(highest / lowest))) + 1)
    power = [_power(components, dt, window, edges) for window in (signal, quiet)]
    clear = np.asarray(power[0] > CLEAR**2 * power[1], dtype=int)
    changes = np.flatnonzero(np.diff(np.concatenate(([0], clear, [0]))))
    runs = changes.reshape(-1, 2)
    if len(runs) == 0:
        return None
    first, last = runs[int(np.argmax(runs[:, 1] - runs[:, 0]))]
    return float(edges[first]), float(edges[last])


def _power(components: Sequence[Floats], dt: float, window: tuple[float, float], edges: Floats) -> Floats:
    """Return the mean power of a window over bands of frequency; NaN where there is none of the transform's."""
    first, last = max(0, round(window[0] / dt)), min(len(components[0]), round(window[1] / dt))
    n = max(last - first, 8)
    taper = np.sin(np.pi * (np.arange(n) + 0.5) / n) ** 2
    size = 8 * n
    which = np.digitize(np.fft.rfftfreq(size, dt), edges) - 1
    inside = (which >= 0) & (which < len(edges) - 1)
    total = np.zeros(len(edges) - 1)
    for trace in components:
        here = np.zeros(n)
        part = trace[first:last] - trace[first:last].mean()
        here[: len(part)] = part
        total += np.bincount(which[inside], (np.abs(np.fft.rfft(here * taper, size)) ** 2)[inside], len(edges) - 1)
    # Of noise a longer window holds more in proportion to its length.
    return np.asarray(total / np.maximum(np.bincount(which[inside], minlength=len(edges) - 1), 1) / n)


PLAUSIBLE_STRESS = (1e5, 1e8)
"""Pa; stress drops of nearly all earthquakes lie between 0.1 and 100 MPa (Abercrombie 1995, from memory)."""

RICHTER_DISTANCES = (10.0, 700.0)
"""km; the attenuation of the local magnitude was found over these (Hutton & Boore 1987)."""

RICHTER_SATURATES = 5.5
"""Above it the local magnitude grows more slowly than the moment: it ends near 7 (Hanks & Kanamori 1979), and at 0.8 s
a source whose corner lies far below 1 Hz gains little. The limit itself is a judgement, without a source."""


def stress_drop(moment: float, corner: float, s_velocity: float = 3500.0) -> float:
    """Return the stress drop, Pa, of a circular source: 7/16 M0 / r³ with r = 2.34 velocity / (2 pi corner).

    Brune (1970), with the factor of the correction of 1971.

    Parameters
    ----------
    moment : float
        N m.
    corner : float
        Hz.
    s_velocity : float
        m/s.

    Examples
    --------
    >>> round(stress_drop(moment_of(5.0), 0.8) / 1e6, 1)
    3.6
    """
    radius = 2.34 * s_velocity / (2 * math.pi * corner)
    return 7.0 / 16.0 * moment / radius**3


def seismic_moment(
    plateau: float,
    distance: float,
    *,
    density: float = 2800.0,
    s_velocity: float = 3500.0,
    radiation: float = 0.63,
    free_surface: float = 2.0,
) -> float:
    """Return the seismic moment from the plateau of the S waves' displacement spectrum.

    M0 = 4 pi density velocity³ r plateau / (radiation free_surface): spherical spreading in an even ground,
    radiation averaged over the focal sphere (Boore & Boatwright 1984), and no amplification by soft ground.

    Parameters
    ----------
    plateau : float
        m s, all components together.
    distance : float
        To the hypocentre, km.
    density, s_velocity : float
        At the source, kg/m³ and m/s.
    radiation, free_surface : float

    Returns
    -------
    float
        N m.

    Examples
    --------
    >>> moment = seismic_moment(0.001, 20_000.0)
    >>> round(seismic_moment(0.002, 20_000.0) / moment, 6)  # proportional to the plateau
    2.0
    """
    return 4 * math.pi * density * s_velocity**3 * 1000 * distance * plateau / (radiation * free_surface)
