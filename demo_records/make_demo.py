"""Make the demo records: an invented earthquake, recorded on an invented coast by six imperfect instruments.

``python demo_records/make_demo.py`` writes six raw records beside this file and what the ground truly did into
``truth/``. The ground motion is the stochastic point source of Boore (2003): noise under a window, given the spectrum
of Brune's (1970) source after its way through the crust. P and S are made apart, each starting at its travel time.
Then every instrument spoils its record in its own way; README.md tells the story.

Boore, D. M. (2003). Simulation of ground motion using the stochastic method. Pure appl. geophys. 160, 635-676.
Brune, J. N. (1970). Tectonic stress and the spectra of seismic shear waves from earthquakes. J. Geophys. Res. 75,
4997-5009; correction (1971) 76, 5002.
"""

from __future__ import annotations

import json
import math
import sys
from dataclasses import dataclass, replace
from pathlib import Path

import h5py
import numpy as np
from numpy.typing import NDArray
from scipy.fft import next_fast_len

from strongmotion.formats import write_csv, write_text
from strongmotion.foundation.units import ACCELERATION, COUNTS, G
from strongmotion.record import Component, Record, Station

Floats = NDArray[np.floating]

SEED = 20310417

ORIGIN = np.datetime64("2031-04-17T03:26:41.20", "ms")
LATITUDE, LONGITUDE, DEPTH_KM, MAGNITUDE = -47.30, -124.80, 9.0, 6.3
EARTH_RADIUS_KM = 6371.0

STRESS_DROP = 8e6  # Pa
DENSITY, S_VELOCITY = 2800.0, 3500.0  # at the source: kg/m³, m/s
QUALITY, QUALITY_POWER = 180.0, 0.6  # Q = 180 f^0.6
FREE_SURFACE = 2.0
# What the crust adds under generic rock, frequency in Hz: Boore & Joyner (1997); values from memory.
CRUST = np.array([
    (0.01, 1.00), (0.09, 1.10), (0.16, 1.18), (0.51, 1.42), (0.84, 1.58), (1.25, 1.74), (2.26, 2.06), (3.17, 2.25),
    (6.05, 2.58), (16.6, 3.13), (61.2, 4.00),
])  # fmt: skip

# Azimuth and dip in degrees, as in FDSN StationXML, and the FDSN channel code of an accelerometer.
COMPONENTS = {"H1": (0.0, 0.0, "HNN"), "H2": (90.0, 0.0, "HNE"), "V": (0.0, -90.0, "HNZ")}
FLING_RISE = 3.0  # s
TRUTH_STEP = 1e-7  # m/s² in one stored unit of truth.h5


@dataclass(frozen=True)
class Wave:
    """What sets P and S apart: velocity (m/s), radiation, corner frequency against that of S, kappa (s), shares."""

    velocity: float
    radiation: float
    corner_ratio: float
    kappa: float
    shares: tuple[float, float, float]  # of amplitude on H1, H2, V; their squares sum to 1


# Mean radiation over the focal sphere: Boore & Boatwright (1984). P's higher corner: Madariaga (1976). P comes up
# steeply, so most of it is on V.
P = Wave(6000.0, 0.52, 1.5, 0.035, (0.35, 0.35, 0.869))
S = Wave(S_VELOCITY, 0.63, 1.0, 0.040, (0.66, 0.66, 0.359))


@dataclass(frozen=True)
class Site:
    """A station, its ground, and how its instrument spoils what it records. Tuples run over H1, H2, V."""

    file: str
    station: Station
    dt: float  # s
    duration: float  # s, of the true motion
    pre_event: float  # s before P
    bits: int
    full_scale: float  # g
    noise: float  # m/s² rms
    offset: tuple[float, float, float]  # m/s², from the first sample
    drift: tuple[float, float, float]  # m/s², gained slowly from first sample to last
    ground: float = 1.0  # how much more than generic rock the ground under the station shakes
    unit: str = COUNTS
    layout: str = ""  # of a text file; CSV where empty
    trigger: float | None = None  # s after P at which recording starts; from the beginning where None
    fling: tuple[float, float, float] = (0.0, 0.0, 0.0)  # m, permanent displacement
    baseline_step: tuple[float, float, float] = (0.0, 0.0, 0.0)  # m/s², from STEP_DELAY after S

    @property
    def distance_km(self) -> float:
        """Distance to the hypocentre, km: great circle and depth."""
        here, there = math.radians(self.station.latitude or 0.0), math.radians(LATITUDE)
        apart = math.radians((self.station.longitude or 0.0) - LONGITUDE)
        haversine = math.sin((here - there) / 2) ** 2 + math.cos(here) * math.cos(there) * math.sin(apart / 2) ** 2
        return math.hypot(2 * EARTH_RADIUS_KM * math.asin(math.sqrt(haversine)), DEPTH_KM)

    def travel_time(self, wave: Wave) -> float:
        """Time from origin to arrival, s."""
        return 1000 * self.distance_km / wave.velocity

    @property
    def begins(self) -> float:
        """Time of the true motion's first sample after the origin, s, on a whole hundredth of a second."""
        return math.floor(100 * (self.travel_time(P) - self.pre_event)) / 100

    @property
    def first_recorded(self) -> int:
        """Sample of the true motion at which the raw record starts."""
        if self.trigger is None:
            return 0
        return round((self.travel_time(P) + self.trigger - self.begins) / self.dt)


STEP_DELAY = 2.0  # s


def _station(code: str, name: str, latitude: float, longitude: float, elevation: float, instrument: str) -> Station:
    return Station(code, "XX", "00", name, latitude, longitude, elevation, instrument)


SITES = (
    Site(
        "quay.csv",
        _station("QUAY", "Old Quay", -47.11, -124.68, 6.0, "force balance, 24 bit, 4 g"),
        dt=0.005, duration=80.0, pre_event=18.0, bits=24, full_scale=4.0, noise=2e-5,
        offset=(0.0031, -0.0018, 0.0044), drift=(1e-5, -2e-5, 1e-5), ground=0.9,
    ),
    Site(
        "salt.csv",
        _station("SALT", "Salt Pans", -47.275, -124.755, 3.0, "force balance, 20 bit, 2 g"),
        dt=0.005, duration=70.0, pre_event=15.0, bits=20, full_scale=2.0, noise=2e-4,
        offset=(0.021, -0.013, 0.035), drift=(1e-4, 1e-4, -1e-4),
        fling=(0.0, 0.42, 0.0), baseline_step=(0.004, -0.006, 0.002),
    ),
    Site(
        "bell.txt",
        _station("BELL", "Bell Point", -47.38, -124.70, 11.0, "force balance, 16 bit, 1/8 g"),
        dt=0.01, duration=70.0, pre_event=12.0, bits=16, full_scale=0.125, noise=3e-4,
        offset=(0.012, 0.030, -0.022), drift=(6e-4, -4e-4, 5e-4), ground=1.2, layout="harbour",
    ),
    Site(
        "mole.txt",
        _station("MOLE", "Long Mole", -47.60, -124.95, 2.0, "force balance, 16 bit, 1 g"),
        dt=0.01, duration=75.0, pre_event=15.0, bits=16, full_scale=1.0, noise=6e-4,
        offset=(-0.043, 0.027, 0.015), drift=(8e-4, 5e-4, -6e-4), ground=1.3, layout="harbour", trigger=2.4,
    ),
    Site(
        "fern.txt",
        _station("FERN", "Fern Gully", -47.36, -124.32, 140.0, "force balance, 18 bit, 1 g"),
        dt=0.01, duration=80.0, pre_event=15.0, bits=18, full_scale=1.0, noise=5e-4,
        offset=(0.009, -0.006, 0.014), drift=(3e-4, 9e-4, -4e-4), unit="cm/s2", layout="ridge",
    ),
    Site(
        "heath.txt",
        _station("HEATH", "High Heath", -46.72, -124.30, 410.0, "force balance, 16 bit, 1 g"),
        dt=0.01, duration=90.0, pre_event=20.0, bits=16, full_scale=1.0, noise=9e-4,
        offset=(0.055, 0.018, -0.037), drift=(-1.2e-3, 7e-4, 1e-3), ground=0.9, layout="ridge",
    ),
)  # fmt: skip


def seismic_moment(magnitude: float) -> float:
    """Seismic moment, N m (Hanks & Kanamori 1979, in the form log10 M0 = 1.5 M + 9.05)."""
    return 10 ** (1.5 * magnitude + 9.05)


def corner_frequency(wave: Wave) -> float:
    """Brune's corner, Hz: f_c = 0.49 v_s (stress drop / M0)^(1/3) in SI units (Boore 2003)."""
    return wave.corner_ratio * 0.49 * S_VELOCITY * (STRESS_DROP / seismic_moment(MAGNITUDE)) ** (1 / 3)


def source_spectrum(frequency: Floats, distance_km: float, wave: Wave) -> NDArray[np.complex128]:
    """Fourier spectrum of acceleration from the source alone, m/s, at a distance, before it is shared among components.

    Moment, omega-squared source and 1/R spreading of Boore (2003). The phase is that of Brune's pulse
    t exp(-2 pi f_c t): nothing moves before its arrival, and velocity and displacement come to rest by themselves.
    """
    level = wave.radiation * FREE_SURFACE * seismic_moment(MAGNITUDE)
    level /= 4 * math.pi * DENSITY * wave.velocity**3 * 1000 * distance_km
    return level * (2j * math.pi * frequency) ** 2 / (1 + 1j * frequency / corner_frequency(wave)) ** 2


def path_gain(frequency: Floats, distance_km: float, wave: Wave) -> Floats:
    """Return what Q, the crust under generic rock and kappa make of the source's amplitude (Boore 2003)."""
    crust = np.exp(np.interp(np.log(np.maximum(frequency, CRUST[0, 0])), *np.log(CRUST).T))
    anelastic = frequency ** (1 - QUALITY_POWER) * 1000 * distance_km / (QUALITY * wave.velocity)
    return crust * np.exp(-math.pi * (anelastic + wave.kappa * frequency))


def causal(gain: Floats, samples: int) -> NDArray[np.complex128]:
    """Give a gain over `samples` // 2 + 1 frequencies its minimum phase, so that it answers only after its input.

    By folding the cepstrum (Oppenheim & Schafer, Discrete-Time Signal Processing, ch. on the cepstrum).
    """
    cepstrum = np.fft.irfft(np.log(np.maximum(gain, 1e-6 * gain.max())), samples)
    cepstrum[1 : (samples + 1) // 2] *= 2
    cepstrum[samples // 2 + 1 :] = 0
    return np.exp(np.fft.rfft(cepstrum))


def window(time: Floats, duration: float, end: float) -> Floats:
    """Envelope of a wave and its coda, `time` s after its arrival; nothing before 0 and after `end`.

    The exponential window of Boore (2003), after Saragoni & Hart (1974), with his eta of 0.05 and t_eta of
    twice the `duration`. Our own choices: an epsilon of 0.08, not his 0.2, for an onset that can be picked; and a
    coda that dies slowly.
    """
    epsilon, eta = 0.08, 0.05
    b = -epsilon * math.log(eta) / (1 + epsilon * (math.log(epsilon) - 1))
    after = np.clip(time, 0.0, None)
    x = after / (2 * duration)
    main = (math.e / epsilon) ** b * x**b * np.exp(-b / epsilon * x)
    coda = 0.1 * (1 - np.exp(-x)) * np.exp(-after / (3 * duration))
    fade = np.cos(0.5 * math.pi * np.clip(after / end, 0.0, 1.0)) ** 2
    return (main + coda) * fade * (time > 0)


def simulate(site: Site, wave: Wave, samples: int, generator: np.random.Generator, share: float = 1.0) -> Floats:
    """One component of one wave, m/s², over `samples` samples from `site.begins`; the method of Boore (2003).

    Windowed noise is normalised to unit mean square spectrum, then shaped. An anti-alias fade from 0.6 to 0.8 of the
    Nyquist frequency keeps the samples a faithful picture of a continuous motion.
    """
    padded = next_fast_len(2 * samples, real=True)
    time = np.arange(padded) * site.dt + site.begins - site.travel_time(wave)
    end = samples * site.dt + site.begins - site.travel_time(wave) - 12.0
    noise = window(time, 1 / corner_frequency(S) + 0.05 * site.distance_km, end) * generator.normal(size=padded)
    noise /= math.sqrt(np.sum(noise**2))
    frequency = np.fft.rfftfreq(padded, site.dt)
    fade = np.cos(0.5 * math.pi * np.clip((2 * frequency * site.dt - 0.6) / 0.2, 0.0, 1.0)) ** 2
    spectrum = source_spectrum(frequency, site.distance_km, wave)
    spectrum *= causal(share * site.ground * path_gain(frequency, site.distance_km, wave) * fade, padded)
    motion = np.fft.irfft(np.fft.rfft(noise) * spectrum, padded) / site.dt
    return np.where(time > 0, motion, 0.0)[:samples]  # the band limit rings ahead of the arrival, a part in a million


def fling(time: Floats, displacement: float) -> Floats:
    """Acceleration that leaves a permanent `displacement`: one sine cycle, from `time` 0 on.

    The fling-step pulse of Kalkan & Kunnath (2006), their type A: a = 2 pi D/T² sin(2 pi t/T).
    """
    phase = 2 * math.pi * time / FLING_RISE
    inside = (time >= 0) & (time <= FLING_RISE)
    return np.where(inside, 2 * math.pi * displacement / FLING_RISE**2 * np.sin(phase), 0.0)


def integrate(acceleration: Floats, dt: float) -> tuple[Floats, Floats]:
    """Velocity and displacement from rest, exact for acceleration that is linear between samples."""
    a0, a1 = acceleration[:-1], acceleration[1:]
    velocity = np.append(0.0, np.cumsum(dt / 2 * (a0 + a1)))
    displacement = np.append(0.0, np.cumsum(dt * velocity[:-1] + dt**2 / 6 * (2 * a0 + a1)))
    return velocity, displacement


def at_rest(acceleration: Floats, dt: float, onset: float) -> Floats:
    """Start and end the motion at rest: no acceleration, velocity or displacement.

    Q and kappa leave faint traces long after the motion has died. Those are faded out over the last
    5 s, and what they would have added to velocity and displacement is spread smoothly over the motion.
    """
    time = np.arange(len(acceleration)) * dt
    left = time[-1] - time
    acceleration = acceleration * np.sin(0.5 * math.pi * np.clip((left - 1.0) / 4.0, 0.0, 1.0)) ** 2
    span = np.clip((time - onset) / (time[-1] - 1.0 - onset), 0.0, 1.0)
    bell = np.sin(math.pi * span) ** 2
    shapes = (bell, bell * span)
    ends = np.array([[part[-1] for part in integrate(shape, dt)] for shape in shapes]).T
    error = np.array([part[-1] for part in integrate(acceleration, dt)])
    return acceleration - np.linalg.solve(ends, error) @ np.array(shapes)


def true_motion(site: Site, generator: np.random.Generator) -> NDArray[np.int32]:
    """Return what the ground did, in whole units of TRUTH_STEP; shape (3, n)."""
    samples = round(site.duration / site.dt)
    since_s = np.arange(samples) * site.dt + site.begins - site.travel_time(S)
    motion = []
    for p_share, s_share, offset in zip(P.shares, S.shares, site.fling, strict=True):
        shaking = simulate(site, P, samples, generator, p_share) + simulate(site, S, samples, generator, s_share)
        onset = site.travel_time(P) - site.begins
        motion.append(at_rest(shaking, site.dt, onset) + fling(since_s, offset))
    return np.rint(np.array(motion) / TRUTH_STEP).astype(np.int32)


def sensor_noise(samples: int, dt: float, rms: float, generator: np.random.Generator) -> Floats:
    """Noise that is white above 0.5 Hz and grows as 1/sqrt(f) below, m/s²."""
    frequency = np.fft.rfftfreq(samples, dt)
    frequency[0] = frequency[1]
    noise = np.fft.irfft(np.fft.rfft(generator.normal(size=samples)) * np.sqrt(1 + 0.5 / frequency), samples)
    return rms * noise / noise.std()


def spoil(site: Site, truth: NDArray[np.int32], generator: np.random.Generator) -> Record:
    """Record the true motion as the site's instrument would."""
    samples = truth.shape[1]
    time = np.arange(samples) * site.dt
    stepped = time + site.begins > site.travel_time(S) + STEP_DELAY
    largest = 2 ** (site.bits - 1) - 1
    sensitivity = round(largest / (site.full_scale * G), 1)
    start = ORIGIN + np.timedelta64(round(1000 * (site.begins + site.first_recorded * site.dt)), "ms")
    components = []
    for i, (name, (azimuth, dip, channel)) in enumerate(COMPONENTS.items()):
        felt = truth[i] * TRUTH_STEP + site.offset[i] + site.baseline_step[i] * stepped
        felt += site.drift[i] * (1 - np.cos(math.pi * time / site.duration)) / 2
        felt += sensor_noise(samples, site.dt, site.noise, generator)
        counts = np.clip(np.rint(felt * sensitivity), -largest, largest).astype(np.int32)[site.first_recorded :]
        component = Component(name, counts, site.dt, COUNTS, sensitivity, start, azimuth, dip, channel)
        if site.unit != COUNTS:
            converted = np.round(counts / sensitivity / ACCELERATION[site.unit], 4)
            component = replace(component, samples=converted, unit=site.unit, sensitivity=None)
        components.append(component)
    return Record(tuple(components), site.station)


def event_truth() -> dict:
    """Return what is true of the event and of each station's arrivals, ready for JSON."""
    return {
        "note": "An invented event on an invented coast. Times are UTC; arrivals in s after the origin.",
        "origin_time": f"{ORIGIN}Z",
        "latitude": LATITUDE,
        "longitude": LONGITUDE,
        "depth_km": DEPTH_KM,
        "moment_magnitude": MAGNITUDE,
        "p_velocity_km_s": P.velocity / 1000,
        "s_velocity_km_s": S.velocity / 1000,
        "stations": {
            site.station.code: {
                "file": site.file,
                "hypocentral_distance_km": round(site.distance_km, 4),
                "p_arrival_s": round(site.travel_time(P), 4),
                "s_arrival_s": round(site.travel_time(S), 4),
                "truth_begins_s": site.begins,
                "first_recorded_sample": site.first_recorded,
                "permanent_displacement_m": dict(zip(COMPONENTS, site.fling, strict=True)),
            }
            for site in SITES
        },
    }


def main(folder: Path) -> None:
    """Write the six raw records into `folder`, and the truth into its subfolder ``truth``."""
    (folder / "truth").mkdir(parents=True, exist_ok=True)
    with h5py.File(folder / "truth" / "truth.h5", "w") as file:
        for number, site in enumerate(SITES):
            generator = np.random.default_rng([SEED, number])  # a change at one station leaves the others alone
            truth = true_motion(site, generator)
            record = spoil(site, truth, generator)
            if site.layout:
                write_text(record, folder / site.file, layout=site.layout)
            else:
                write_csv(record, folder / site.file)
            data = file.create_dataset(
                site.station.code, data=truth, chunks=(1, truth.shape[1]), compression="gzip", shuffle=True
            )
            data.attrs.update(
                units="m s-2", scale_factor=TRUTH_STEP, dt=site.dt, components=",".join(COMPONENTS),
                long_name=f"true ground acceleration at {site.station.name} (invented)",
            )  # fmt: skip
    text = json.dumps(event_truth(), indent=2)
    (folder / "truth" / "event.json").write_text(text + "\n", encoding="utf-8")


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).parent)
