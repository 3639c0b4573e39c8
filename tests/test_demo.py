"""The demo records: the invented earthquake obeys its published model, each record is spoiled as its README says."""

from __future__ import annotations

import importlib.util
import itertools
import json
import sys
from pathlib import Path

import h5py
import numpy as np
import pytest
from scipy.integrate import cumulative_trapezoid

from strongmotion.formats import read

FOLDER = Path(__file__).parents[1] / "demo_records"


def _load_make_demo():
    spec = importlib.util.spec_from_file_location("make_demo", FOLDER / "make_demo.py")
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module  # dataclasses look their module up
    spec.loader.exec_module(module)
    return module


demo = _load_make_demo()
EVENT = json.loads((FOLDER / "truth" / "event.json").read_text(encoding="utf-8"))
SITES = pytest.mark.parametrize("site", demo.SITES, ids=lambda site: site.station.code)
BY_CODE = {site.station.code: site for site in demo.SITES}


def truth(site, folder=FOLDER):
    with h5py.File(folder / "truth" / "truth.h5") as file:
        data = file[site.station.code]
        assert data.attrs["dt"] == site.dt
        return data[:] * data.attrs["scale_factor"]


def ends(acceleration, dt):
    """Last velocity and displacement. The trapezoidal rule is exact at the end where both end accelerations are 0."""
    velocity = cumulative_trapezoid(acceleration, dx=dt, initial=0.0)
    return velocity[-1], cumulative_trapezoid(velocity, dx=dt, initial=0.0)[-1]


@pytest.fixture(scope="module")
def made_again(tmp_path_factory):
    folder = tmp_path_factory.mktemp("demo")
    demo.main(folder)
    return folder


def test_folder_holds_six_records_and_stays_small():
    names = {path.name for path in FOLDER.iterdir() if not path.name.startswith((".", "__"))}
    assert names == {site.file for site in demo.SITES} | {
        "README.md",
        "make_demo.py",
        "make_figures.py",
        "truth",
        "figures",
    }
    assert sum(path.stat().st_size for path in FOLDER.rglob("*") if "__" not in str(path)) < 6e6


@SITES
def test_made_again_is_the_same(site, made_again):
    # FFTs may differ in their last digits between machines, so one count, not one byte, is what must hold.
    kept, made = read(FOLDER / site.file), read(made_again / site.file)
    assert kept.station == made.station == site.station
    for one, two in zip(kept, made, strict=True):
        assert (one.name, one.dt, one.start, one.unit) == (two.name, two.dt, two.start, two.unit)
        count = 1 if site.unit == "counts" else site.full_scale * 980.665 / 2 ** (site.bits - 1)
        assert np.abs(one.samples - two.samples).max() <= 1.01 * count
    assert np.abs(truth(site) - truth(site, made_again)).max() <= 1.01 * demo.TRUTH_STEP
    assert json.loads((made_again / "truth" / "event.json").read_text(encoding="utf-8")) == EVENT


def test_making_twice_gives_the_same_bytes(made_again, tmp_path):
    demo.main(tmp_path)
    for path in (path for path in tmp_path.rglob("*") if path.is_file()):
        assert path.read_bytes() == (made_again / path.relative_to(tmp_path)).read_bytes(), path.name


@SITES
def test_true_motion_starts_and_ends_at_rest(site):
    told = EVENT["stations"][site.station.code]["permanent_displacement_m"]
    for acceleration, permanent in zip(truth(site), told.values(), strict=True):
        assert acceleration[0] == acceleration[-1] == 0.0
        velocity, displacement = ends(acceleration, site.dt)
        assert abs(velocity) < 1e-6  # m/s, what rounding to TRUTH_STEP leaves
        assert abs(displacement - permanent) < 1e-5  # m


def test_only_the_near_fault_record_is_displaced():
    moved = {code for code, told in EVENT["stations"].items() if any(told["permanent_displacement_m"].values())}
    assert moved == {"SALT"}
    assert ends(truth(BY_CODE["SALT"])[1], BY_CODE["SALT"].dt)[1] == pytest.approx(0.42, abs=1e-5)


@SITES
def test_true_motion_lies_well_below_the_nyquist_frequency(site):
    for acceleration in truth(site):
        power = np.abs(np.fft.rfft(acceleration)) ** 2
        assert power[int(0.8 * power.size) :].sum() < 1e-6 * power.sum()


@SITES
def test_arrivals_agree_with_the_distance(site):
    station, told = read(FOLDER / site.file).station, EVENT["stations"][site.station.code]
    # Spherical law of cosines, against the haversine of the generator.
    here, there = np.radians([station.latitude, EVENT["latitude"]])
    apart = np.radians(station.longitude - EVENT["longitude"])
    angle = np.arccos(np.sin(here) * np.sin(there) + np.cos(here) * np.cos(there) * np.cos(apart))
    distance = np.hypot(6371.0 * angle, EVENT["depth_km"])
    assert told["hypocentral_distance_km"] == pytest.approx(distance, abs=1e-3)
    lag = told["s_arrival_s"] - told["p_arrival_s"]
    assert lag == pytest.approx(distance * (1 / 3.5 - 1 / 6.0), abs=1e-3)

    h1, _, v = truth(site)
    time = told["truth_begins_s"] + np.arange(v.size) * site.dt
    onset = time[np.argmax(np.abs(v) > 0.02 * np.abs(v).max())]
    assert 0 <= onset - told["p_arrival_s"] < 0.1
    assert np.all(v[time < told["p_arrival_s"] - site.dt] == 0)
    since = time - told["s_arrival_s"]
    before, after = h1[(since > -0.8) & (since < 0)], h1[(since > 0) & (since < 0.8)]
    assert after.std() > 2 * before.std()


@SITES
def test_p_is_richer_on_the_vertical_and_s_on_the_horizontals(site):
    since = np.arange(round(site.duration / site.dt)) * site.dt + site.begins
    p = (since > site.travel_time(demo.P)) & (since < site.travel_time(demo.S))
    s = (since > site.travel_time(demo.S)) & (since < site.travel_time(demo.S) + 8)
    h1, h2, v = truth(site)
    assert v[p].std() > 1.5 * max(h1[p].std(), h2[p].std())
    assert v[s].std() < min(h1[s].std(), h2[s].std())


# Brune (1970, 1971): plateau R F M0 / (4 pi rho v³ distance); f_c = 2.34 v / (2 pi r), r³ = 7 M0 / (16 stress drop);
# path and site as in Boore (2003). The generator takes f_c in Boore's form, 0.49 v (stress drop / M0)^(1/3).
@pytest.mark.parametrize("code", ["SALT", "QUAY", "HEATH"])
def test_mean_spectrum_of_s_is_the_brune_model(code):
    site, seeds = BY_CODE[code], 300
    samples = round(site.duration / site.dt)
    frequency = np.fft.rfftfreq(samples, site.dt)[1:]
    power = np.zeros(frequency.size)
    for seed in range(seeds):
        motion = demo.simulate(site, demo.S, samples, np.random.default_rng(seed))
        power += np.abs(np.fft.rfft(motion)[1:] * site.dt) ** 2 / seeds

    moment = 10 ** (1.5 * 6.3 + 9.05)
    radius = (7 * moment / (16 * 8e6)) ** (1 / 3)
    corner = 2.34 * 3500.0 / (2 * np.pi * radius)
    distance = 1000 * site.distance_km
    plateau = 0.63 * 2 * moment / (4 * np.pi * 2800.0 * 3500.0**3 * distance)
    quality = 180 * frequency**0.6
    crust = np.exp(np.interp(np.log(frequency), *np.log(demo.CRUST).T))
    model = (
        site.ground * crust * plateau * (2 * np.pi * frequency) ** 2 / (1 + (frequency / corner) ** 2)
        * np.exp(-np.pi * frequency * (distance / (quality * 3500.0) + 0.04))
    )  # fmt: skip
    edges = np.geomspace(0.1, 0.29 / site.dt, 15)  # to just below the anti-alias fade
    for low, high in itertools.pairwise(edges):
        band = (frequency >= low) & (frequency < high)
        # Neighbouring frequencies go together under a short window, so 300 seeds leave up to 3 % of statistical error.
        assert np.sqrt(np.mean(power[band] / model[band] ** 2)) == pytest.approx(1.0, abs=0.1), (low, high)


@SITES
def test_raw_record_is_the_truth_spoiled_as_told(site):
    record, first = read(FOLDER / site.file), site.first_recorded
    assert record.names == ("H1", "H2", "V")
    assert [(part.azimuth, part.dip) for part in record] == [(0.0, 0.0), (90.0, 0.0), (0.0, -90.0)]
    assert record.start == np.datetime64(EVENT["origin_time"].rstrip("Z")) + np.timedelta64(
        round(1000 * (site.begins + first * site.dt)), "ms"
    )
    for i, component in enumerate(record):
        raw, true = component.samples * component.scale, truth(site)[i, first:]
        unclipped = np.abs(raw) < 0.999 * site.full_scale * 9.80665
        spoilt = (raw - true)[unclipped]
        allowed = abs(site.drift[i]) + abs(site.baseline_step[i]) + 7 * site.noise
        assert np.abs(spoilt - site.offset[i]).max() < allowed
        assert unclipped.all() or site.station.code == "BELL"


def test_clipped_record_has_flat_tops():
    site = BY_CODE["BELL"]
    for component, true in zip(read(FOLDER / site.file), truth(site), strict=True):
        flat = np.abs(component.samples) == 2**15 - 1
        assert np.max(np.convolve(flat, np.ones(3), "valid")) == 3
        assert np.abs(true).max() > 1.2 * np.abs(component.samples * component.scale).max()
        assert np.abs(true[flat]).min() > 0.95 * site.full_scale * 9.80665


def test_late_record_starts_between_p_and_s_and_the_others_before_p():
    for site in demo.SITES:
        told = EVENT["stations"][site.station.code]
        start = (read(FOLDER / site.file).start - demo.ORIGIN) / np.timedelta64(1, "s")
        if site.station.code == "MOLE":
            assert told["p_arrival_s"] + 1 < start < told["s_arrival_s"]
        else:
            assert 10 < told["p_arrival_s"] - start < 21
