"""Simulated earthquakes with known truth: how often what is stated of an event holds.

Arrival times come from rays through a ground that is unlike the model of the location, in code of their own: nothing
here uses `strongmotion.event.travel`. Each station has a delay that P and S share, some clocks are wrong, some picks
missing. `python -m benchmarks events` prints the coverage by class for seeds that were not used in development.
"""

from __future__ import annotations

import contextlib
import io
import math
import tempfile
import time
from collections import defaultdict
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from strongmotion import Archive, Component, Record, RecordError, process
from strongmotion.arrivals import Arrivals, Pick, pick_arrivals
from strongmotion.event import Reading, StationTimes, events_in, locate, source_spectrum, wood_anderson
from strongmotion.foundation.geodesy import Plane, azimuthal_gap
from strongmotion.record import Station

from . import archive as many_records
from . import simulations

Floats = NDArray[np.float64]

DEVELOPMENT, REPORTED = (1, 2, 3), (401, 402)
"""Seeds on which limits were chosen, and seeds whose figures are reported."""

EVENTS = 300
"""Events of a seed."""


@dataclass(frozen=True)
class Ground:
    """Flat layers: tops in km, velocities of P and S in km/s; the last is a half-space."""

    kind: str
    top: tuple[float, ...]
    vp: tuple[float, ...]
    vs: tuple[float, ...]

    def first_arrival(self, phase: str, distance: float, depth: float) -> float:
        """Return the time of the first arrival, s: the direct ray by bisection of its slowness, and every head wave."""
        velocity = self.vp if phase == "P" else self.vs
        bottom = (*self.top[1:], math.inf)
        above = [(min(depth, b) - t, v) for t, b, v in zip(self.top, bottom, velocity, strict=True) if t < depth]
        low, high = 0.0, 1.0 / max(v for _, v in above)
        for _ in range(80):
            p = 0.5 * (low + high)
            reach = sum(h * p * v / math.sqrt(max(1e-300, 1 - (p * v) ** 2)) for h, v in above)
            low, high = (p, high) if reach < distance else (low, p)
        first = sum(h / v / math.sqrt(max(1e-300, 1 - (low * v) ** 2)) for h, v in above)
        # A ray that grazes its fastest layer is ill conditioned in p: T = p x + sum h sqrt(1/v² - p²) is not.
        first = low * distance + sum(h * math.sqrt(max(0.0, v**-2 - low**2)) for h, v in above)
        source = len(above) - 1
        for below in range(source + 1, len(velocity)):
            p = 1.0 / velocity[below]
            legs = [*above]  # up from the source, and down to the refractor and up again as far as the source
            legs += [(2 * (bottom[source] - depth), velocity[source])]
            legs += [(2 * (bottom[layer] - self.top[layer]), velocity[layer]) for layer in range(source + 1, below)]
            if any(v * p >= 1 for _, v in legs):
                continue
            if distance >= sum(h * p * v / math.sqrt(1 - (p * v) ** 2) for h, v in legs):
                first = min(first, p * distance + sum(h * math.sqrt(v**-2 - p**2) for h, v in legs))
        return first


def ground(rng: np.random.Generator, kind: str) -> Ground:
    """Return a homogeneous or layered ground, with or without sediment."""
    if kind == "homogeneous":
        vp = rng.uniform(5.5, 6.7)
        return Ground(kind, (0.0,), (vp,), (vp / rng.uniform(1.68, 1.80),))
    top = [0.0, rng.uniform(0.3, 4.0), rng.uniform(10, 20), rng.uniform(25, 45)]
    vp_all = [rng.uniform(3.0, 5.2), rng.uniform(5.7, 6.3), rng.uniform(6.4, 7.0), rng.uniform(7.8, 8.2)]
    vs_all = [vp_all[0] / rng.uniform(1.75, 2.0), *(vp / rng.uniform(1.69, 1.80) for vp in vp_all[1:])]
    return Ground(kind, tuple(top), tuple(vp_all), tuple(vs_all))


GEOMETRIES = ("inside", "outside", "one-sided", "collinear")


@dataclass(frozen=True)
class Simulated:
    """An event, what its stations tell, and the truth."""

    seed: int
    geometry: str
    ground: Ground
    latitude: float
    longitude: float
    depth: float
    origin: float
    magnitude: float
    delay: float
    stations: tuple[StationTimes, ...]
    clocks: dict[str, float]
    """Stations whose clock is off, s."""

    @property
    def classes(self) -> tuple[str, ...]:
        """The classes whose coverage the event counts for."""
        count = len(self.stations)
        size = "3" if count == 3 else "4-5" if count < 6 else "6-10" if count < 11 else "11-20"
        return (
            "all", f"geometry: {self.geometry}", f"truth: {self.ground.kind}", f"stations: {size}",
            f"depth: {'2-10' if self.depth < 10 else '10-30' if self.depth < 30 else '30-80'} km",
            f"delay: {'0.05-0.12' if self.delay < 0.12 else '0.12-0.20'} s",
            f"clock: {'one wrong' if self.clocks else 'right'}",
        )  # fmt: skip


def _network(rng: np.random.Generator, geometry: str, count: int) -> Floats:
    """Return the stations' places about the epicentre, km east and north."""
    turn = rng.uniform(0, 2 * math.pi)
    while True:
        if geometry == "inside":
            far, azimuth = rng.uniform(3, 90, count), rng.uniform(0, 2 * math.pi, count)
            at = np.column_stack((far * np.sin(azimuth), far * np.cos(azimuth)))
            if azimuthal_gap(np.degrees(azimuth).tolist()) > 180:
                continue
        elif geometry == "outside":
            away = rng.uniform(60, 130)
            at = rng.uniform(-35, 35, (count, 2)) + away * np.array([math.sin(turn), math.cos(turn)])
        elif geometry == "one-sided":
            far, azimuth = rng.uniform(5, 110, count), turn + math.radians(60) * rng.uniform(-1, 1, count)
            at = np.column_stack((far * np.sin(azimuth), far * np.cos(azimuth)))
        else:
            along, across = rng.uniform(-80, 80, count), rng.uniform(-50, 50) + rng.normal(0, 1.0, count)
            at = np.column_stack((along, across)) @ np.array(
                [[math.cos(turn), math.sin(turn)], [-math.sin(turn), math.cos(turn)]]
            )
        gaps = np.hypot(*(at[:, None] - at[None]).transpose(2, 0, 1)) + 1e3 * np.eye(count)
        if gaps.min() > 1.0:
            return np.asarray(at)


def simulate(seed: int, number: int) -> Simulated:
    """Return one event of a seed."""
    rng = np.random.default_rng([seed, number])
    geometry = GEOMETRIES[number % 4]
    truth = ground(rng, ("homogeneous", "layered")[number // 4 % 2])
    count = 3 if number % 5 == 0 else int(np.exp(rng.uniform(math.log(4), math.log(20.99))))
    centre = rng.uniform(-65, 65), rng.uniform(-180, 180)
    depth = float(np.exp(rng.uniform(math.log(2), math.log(80))))
    delay, origin, plane = rng.uniform(0.05, 0.20), rng.uniform(0, 100), Plane(*centre)
    clocks: dict[str, float] = {}
    if rng.random() < 0.3:
        clocks["S0"] = float(rng.choice([-1, 1]) * np.exp(rng.uniform(0, math.log(60))))
    stations = []
    for index, (east, north) in enumerate(_network(rng, geometry, count)):
        name, distance = f"S{index}", math.hypot(east, north)
        late = rng.normal(0, delay)
        error_p, error_s = 0.05 * math.exp(rng.uniform(0, 1)), 0.1 * math.exp(rng.uniform(0, 1))
        ratio = truth.vp[0] / truth.vs[0]
        p = origin + truth.first_arrival("P", distance, depth) + late + rng.normal(0, error_p)
        s = origin + truth.first_arrival("S", distance, depth) + ratio * late + rng.normal(0, error_s)
        offset = clocks.get(name, 0.0)
        lost = rng.random() if name not in clocks else 1.0
        stations.append(
            StationTimes(
                name, *plane.back(east, north), None if lost < 0.05 else p + offset,
                None if 0.05 <= lost < 0.2 else max(s, p + 0.05) + offset, error_p, error_s,
            )
        )  # fmt: skip
    magnitude = rng.uniform(3, 8)
    return Simulated(
        seed, geometry, truth, *centre, depth, origin, magnitude, delay, tuple(stations), clocks
    )  # fmt: skip


def coverage(seeds: tuple[int, ...], count: int = EVENTS) -> None:
    """Print how often region and depth interval hold the truth, by class, and what is said of clocks."""
    held: dict[str, list[tuple[bool, bool]]] = defaultdict(list)
    kinds: dict[str, int] = defaultdict(int)
    refused: dict[str, int] = defaultdict(int)
    named = due = accused = 0
    times, areas, untold, origins = [], [], 0, []
    for seed in seeds:
        for number in range(count):
            event = simulate(seed, number)
            begin = time.perf_counter()
            found = locate(event.stations)
            times.append(time.perf_counter() - begin)
            kinds[found.kind] += 1
            told = {clock.station for clock in found.clocks}
            if event.clocks and len(event.stations) >= 6:
                due += 1
                named += told == set(event.clocks)
            accused += bool((told | set(found.left_out)) - set(event.clocks))
            if found.region is None:
                refused[found.notes[-1]] += 1
                continue
            inside = found.holds(event.latitude, event.longitude)
            low, high = found.depth_interval
            untold += not found.depth_resolved
            areas.append(found.region.area)
            for name in event.classes:
                held[name].append((inside, low <= event.depth <= high))
            if found.point is not None and math.isfinite(found.point.origin_time):
                origins.append(abs(found.point.origin_time - event.origin) < 1.96 * found.point.origin_uncertainty)
    print(f"Location, {len(seeds)} x {count} events, seeds {seeds}: {dict(kinds)}")
    for name in sorted(held):
        pairs = np.array(held[name])
        print(
            f"  {name:24s} {len(pairs):4d} events: epicentre in {100 * pairs[:, 0].mean():5.1f} %, "
            f"depth in {100 * pairs[:, 1].mean():5.1f} %"
        )
    print(f"  no region: {dict(refused)}")
    print(f"  origin time of points within 1.96 errors: {100 * np.mean(origins):.1f} % of {len(origins)}")
    print(f"  depth called not constrained: {untold}; median area {np.median(areas):.0f} km²")
    print(f"  clocks off by 1 s or more named where five others are right: {named} of {due}")
    print(f"  stations accused wrongly: in {accused} of {len(times)} events")
    print(f"  time of a location: median {np.median(times):.3f} s, largest {max(times):.3f} s")


def accelerogram(
    rng: np.random.Generator, magnitude: float, distance: float, arrivals: tuple[float, float], dt: float = 0.01
) -> Floats:
    """Return three components of acceleration, m/s², by the stochastic method (Boore 2003, from memory).

    Brune's source with a stress drop of 1 to 20 MPa, spherical spreading, attenuation, amplification by the ground,
    microseism and noise. The record begins at 0 s, and P and S are where they are said to arrive.
    """
    moment, stress = 10 ** (1.5 * magnitude + 9.05), math.exp(rng.uniform(math.log(1e6), math.log(2e7)))
    beta, density = 3500.0, 2800.0
    corner = 2.34 * beta / (2 * math.pi) * (16 / 7 * stress / moment) ** (1 / 3)
    duration = 1 / corner + 0.05 * distance + 2.0
    n = round((arrivals[1] + 3 * duration + 40.0) / dt)
    time_, frequency = np.arange(n) * dt, np.fft.rfftfreq(n, dt)
    plateau = 0.63 * 2.0 * moment / (4 * math.pi * density * beta**3 * 1000 * distance)
    site = 10 ** rng.normal(0.08, 0.15)
    shape = (2 * math.pi * frequency) ** 2 / (1 + (frequency / corner) ** 2)
    shape *= np.exp(-math.pi * rng.uniform(0.02, 0.06) * frequency)
    shape *= np.exp(-math.pi * frequency**0.3 * distance / (200 * 3.5))
    hiss, swell_rms = 10 ** rng.uniform(-5, -3), 10 ** rng.uniform(-6, -4)
    traces = []
    for of_p, of_s in ((0.1, 0.65), (0.1, 0.65), (0.2, 0.4)):
        total = hiss * rng.normal(size=n)
        for arrival, part in zip(arrivals, (of_p, of_s), strict=True):
            after = np.clip(time_ - arrival, 0, None) / duration
            envelope = np.minimum(1, after / 0.1) * np.exp(-3 * np.clip(after - 0.7, 0, None))
            spectrum = np.fft.rfft(rng.normal(size=n) * envelope) / math.sqrt(float((envelope**2).sum()))
            total += part * np.fft.irfft(spectrum * shape * plateau * site / dt, n)
        swell = np.fft.irfft(np.fft.rfft(rng.normal(size=n)) * np.exp(-(((frequency - 0.2) / 0.06) ** 2)), n)
        traces.append(total + swell_rms * swell / swell.std())
    return np.array(traces)


def reading_of(event: Simulated, index: int, rng: np.random.Generator) -> Reading:
    """Return what one station of an event tells, with its picks as simulated."""
    station, dt = event.stations[index], 0.01
    east, north = Plane(event.latitude, event.longitude).onto([station.latitude], [station.longitude])[0]
    slant = math.hypot(east, north, event.depth)
    begin = min(at for at in (station.p, station.s) if at is not None) - 20.0
    p, s = (None if at is None else at - begin for at in (station.p, station.s))
    at_s = s if s is not None else p + slant / 8.0 if p is not None else 30.0
    at_p = p if p is not None else max(5.0, at_s - slant / 8.0)
    traces = accelerogram(rng, event.magnitude, slant, (at_p, at_s), dt)
    picks = Arrivals(
        None if p is None else Pick("P", p, station.p_uncertainty),
        None if s is None else Pick("S", s, station.s_uncertainty),
    )
    spectrum = None
    if s is not None:
        energy = np.cumsum((traces[:2] ** 2).sum(axis=0))
        end = max(float(np.searchsorted(energy, 0.95 * energy[-1])) * dt, s + 20.0)
        quiet = None if p is None else (0.0, p - 0.5)
        spectrum = source_spectrum(list(traces), dt, s - 0.3, end, 0.03, 20.0, quiet)
    peaks = {f"H{number}": float(np.abs(wood_anderson(traces[number - 1], dt)).max()) for number in (1, 2)}
    start = np.datetime64("2031-04-17T00:00:00", "ns") + np.timedelta64(round(begin * 1e9), "ns")
    place = Station(code=station.station, latitude=station.latitude, longitude=station.longitude)
    return Reading(
        f"record {index}", place, start, picks, None, float(np.abs(traces[:2]).max()), math.nan, math.nan, peaks,
        spectrum, (), np.arange(2.0), np.zeros(2),
    )  # fmt: skip


def sizes(seed: int, count: int) -> None:
    """Print how far sizes are from the truth, and how often one off by more than 0.5 comes without a warning."""
    off: list[float] = []
    unwarned: list[tuple[int, float, str, float]] = []
    bounds = broken = none = energies = 0
    for number in range(count):
        event = simulate(seed, number)
        rng = np.random.default_rng([seed, number, 1])
        chosen = range(min(len(event.stations), 5))
        try:
            found = events_in([reading_of(event, index, rng) for index in chosen])[0]
        except RecordError:
            none += 1
            continue
        size = found.size
        if size is None:
            none += 1
        elif size.at_least:
            bounds += 1
            broken += size.value > event.magnitude + 0.5
            energies += found.energy is not None
        else:
            off.append(size.value - event.magnitude)
            warned = any("differ by" in note or "below the least" in note for note in found.notes)
            if abs(off[-1]) > 0.5 and not warned:
                unwarned.append((number, round(event.magnitude, 2), size.kind, round(size.value, 2)))
    print(f"Sizes, {count} events of M 3 to 8, seed {seed}: {len(off)} sizes, {bounds} lower bounds, {none} without")
    print(f"  off by {np.mean(off):+.2f} on average, standard deviation {np.std(off):.2f}")
    print(f"  off by more than 0.5 without a warning: {len(unwarned)} of {count}: {unwarned[:6]}")
    print(f"  lower bounds above the truth by more than 0.5: {broken} of {bounds}; energies from bounds: {energies}")


def picked(seed: int, bits: int, number: int, drift: float = 0.0) -> tuple[simulations.Motion, Arrivals]:
    """Return a motion, and the picks of its record, whose noise is a twentieth of a count to one count.

    The zero line may drift by some counts.
    """
    rng = np.random.default_rng([seed, bits, number])
    peak = simulations.log_uniform(rng, 0.05, 5)
    motion = simulations.draw_motion(rng, rate=100.0, peak=peak, before=rng.uniform(8, 40))
    largest = float(np.abs(motion.acceleration).max())
    scale = largest / 9.80665 * simulations.log_uniform(rng, 2, 40 if bits > 8 else 4)
    count = scale * 9.80665 / 2 ** (bits - 1)
    ground_ = motion.acceleration + count * simulations.log_uniform(rng, 0.05, 1.0) * rng.normal(
        size=motion.acceleration.shape
    )
    ground_ += drift * count * np.linspace(0, 1, ground_.shape[1])
    counts, count, _ = simulations.digitise(ground_, bits, scale, rng)
    parts = dict(zip(("H1", "H2", "V"), counts * count, strict=True))
    return motion, pick_arrivals(parts, motion.dt, counts=[count] * 3)


def picks(seed: int, count: int) -> None:
    """Print how often P is early, how often the errors stated of picks hold, and how late S is picked."""
    print(f"Picks, {count} records of each size of count, seed {seed}")
    for bits, drift in ((8, 0.0), (12, 0.0), (16, 0.0), (16, 1.0), (18, 0.0), (24, 0.0)):
        of_p, of_s, early, late = [], [], 0, 0
        for number in range(count):
            motion, found = picked(seed, bits, number, drift)
            if found.p is not None:
                off = found.p.time - motion.onset * motion.dt
                early += off < -0.5
                of_p.append(abs(off) / found.p.uncertainty)
            if found.s is not None:
                of_s.append(abs(found.s.time - motion.s_onset * motion.dt) / found.s.uncertainty)
                energy = np.cumsum((motion.acceleration[:2] ** 2).sum(axis=0))
                late += energy[min(round(found.s.time / motion.dt), len(energy) - 1)] > 0.5 * energy[-1]
        within = " ".join(
            f"{phase} {100 * np.mean(np.array(off) < 1):.0f} and {100 * np.mean(np.array(off) < 2):.0f} %"
            for phase, off in (("P", of_p), ("S", of_s))
        )
        print(
            f"  {bits:2d} bits, drift of {drift:g} counts: P early in {early}, S after half of the energy in {late}; "
            f"{len(of_p)} P and {len(of_s)} S, within one and two stated errors: {within}"
        )


def recorded(event: Simulated, index: int, rng: np.random.Generator, start: np.datetime64) -> Record:
    """Return the record of one station of an event, in counts of 24 bits."""
    station, dt = event.stations[index], 0.01
    east, north = Plane(event.latitude, event.longitude).onto([station.latitude], [station.longitude])[0]
    distance, slant = math.hypot(east, north), math.hypot(east, north, event.depth)
    p, s = (event.ground.first_arrival(phase, distance, event.depth) for phase in "PS")
    traces = accelerogram(rng, event.magnitude, slant, (20.0, 20.0 + s - p), dt)
    begin = start + np.timedelta64(round((event.origin + p - 20.0) * 1e9), "ns")
    counts = np.round(traces * 4e5).astype(np.int32)
    return Record(
        tuple(
            Component(name, row, dt, "counts", 4e5, begin) for name, row in zip(("H1", "H2", "V"), counts, strict=True)
        ),
        Station(f"A{index}", "XX", "00", latitude=station.latitude, longitude=station.longitude),
    )


def among_many(records: int = 5000) -> None:
    """Print what `event --from --to` takes on an archive of many records, beside an archive of that event alone."""
    from typer.testing import CliRunner

    from strongmotion.cli import app

    event = next(e for e in (simulate(1, number) for number in range(40)) if len(e.stations) >= 6 and e.magnitude < 6)
    start = np.datetime64("2032-05-06T00:00:00", "ns")
    made = [process(recorded(event, index, np.random.default_rng(index), start)) for index in range(6)]
    with tempfile.TemporaryDirectory() as place:
        alone = Archive(Path(place) / "alone", create=True)
        models = Archive(Path(place) / "models", create=True)
        for number in range(4):
            models.add(process(many_records.shaking(number), many_records.SETTINGS))
        many = many_records.cheap(Path(place) / "many", records - len(made), models.files())
        for result in made:
            alone.add(result)
            many.add(result)
        time.sleep(2.5)  # so that the folders are settled
        taken: dict[str, list[float]] = {}
        for _ in range(4):  # the first is to warm up
            for name, archive in (("alone", alone), ("among many", many)):
                window = ["--from", "2032-05-06", "--to", "2032-05-07"]
                begun = time.perf_counter()
                with contextlib.redirect_stdout(io.StringIO()):
                    outcome = CliRunner().invoke(app, ["event", str(archive.folder), "-o", f"{place}/out", *window])
                taken.setdefault(name, []).append(time.perf_counter() - begun)
                assert outcome.exit_code == 0, outcome.output
    best = {name: min(times[1:]) for name, times in taken.items()}
    times = best["among many"] / best["alone"]
    print(
        f"event --from --to, {len(made)} records: alone {best['alone']:.2f} s, among {records} without an index "
        f"{best['among many']:.2f} s, {times:.2f} times (wanted: 1.5)"
    )


def main() -> None:
    """Print the coverage for the reported seeds."""
    among_many()
    coverage(REPORTED)
    sizes(REPORTED[0], 150)
    picks(REPORTED[0], 100)


if __name__ == "__main__":
    main()
