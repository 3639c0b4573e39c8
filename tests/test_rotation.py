"""Rotation: the pruned search against every direction by itself, and what is asked of a pair besides RotDnn."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import minimize_scalar

from strongmotion.foundation.errors import InputError
from strongmotion.spectra import (
    _kernels,
    _rotation,
    directional_spectrum,
    geometric_mean_spectrum,
    response_spectrum,
    rotated_spectrum,
)

DT = 0.01


def pair(n, seed, path):
    """Return two accelerations: of independent noise, along one line, round and round, or hardly off a line."""
    rng = np.random.default_rng(seed)
    one, two = rng.standard_normal((2, n)) * np.hanning(n + 2)[1:-1]
    if path == "line":
        return one, 0.75 * one
    if path == "circle":
        t = np.arange(n) * DT
        return np.cos(9 * t), np.sin(9 * t)
    return (one, two) if path == "noise" else (one, 0.02 * two)


def by_every_angle(a1, a2, h, omega, damping):
    out, each = np.empty((_rotation.ANGLES, omega.size)), np.empty((1, omega.size))
    for degree in range(_rotation.ANGLES):
        x = np.deg2rad(degree)
        _kernels.peaks(np.cos(x) * a1 + np.sin(x) * a2, h, omega, damping, each)
        out[degree] = each
    return out


@pytest.mark.parametrize("path", ["noise", "line", "circle", "thin"])
@pytest.mark.parametrize("damping", [0.0, 0.05, 0.7, 1.5])
@pytest.mark.parametrize("n", [31, 33, 64, 65, 1000])
def test_what_is_passed_over_could_not_count(n, damping, path):
    # From oscillators that swing round in 2.5 steps to ones that outlast the record a hundred times. A longer step may
    # have several extrema, and which of them is met depends on the rounding of a velocity that is nothing.
    omega = 2 * np.pi / np.geomspace(2.5 * DT, 1000, 29)
    ratios = np.full(omega.size, damping)
    a1, a2 = pair(n, n, path)
    out = np.empty((_rotation.ANGLES + 1, omega.size))
    _rotation.rotated_peaks(a1, a2, DT, omega, ratios, out)
    expected = by_every_angle(a1, a2, DT, omega, ratios)
    # A direction across a line has nothing but the rounding of the others.
    assert (np.abs(out[:-1] - expected) <= 1e-12 * expected.max(axis=0)).all()
    assert (out[-1] >= out[:-1].max(axis=0)).all()


@pytest.mark.parametrize(("n", "period"), [(400, 0.3), (400, 2.0), (400, 300.0), (60, 5.0), (33, 0.2)])
@pytest.mark.parametrize("path", ["noise", "thin", "circle"])
def test_largest_over_all_directions_against_a_search_of_them(n, period, path):
    a1, a2 = pair(n, 3, path)
    spectrum = rotated_spectrum(a1, a2, DT, [period], interpolation="linear")

    def turned(angle):
        return -directional_spectrum(a1, a2, DT, angle, [period], interpolation="linear").sd[0, 0]

    degrees = np.arange(0, 180, 0.5)
    rough = np.array([-turned(degree) for degree in degrees])
    best = max(
        -minimize_scalar(turned, bounds=(degree - 0.5, degree + 0.5), options={"xatol": 1e-7}).fun
        for degree in degrees[rough > rough.max() * (1 - 1e-4)][:12]
    )
    assert spectrum.largest_sd[0, 0] == pytest.approx(max(best, rough.max()), rel=1e-9)
    assert spectrum.largest_psa[0, 0] == pytest.approx((2 * np.pi / period) ** 2 * spectrum.largest_sd[0, 0])


def test_percentiles_are_those_of_numpy():
    a1, a2 = pair(500, 8, "noise")
    percentiles = (0, 5, 16, 50, 84, 99.7, 100)
    spectrum = rotated_spectrum(a1, a2, DT, [0.0, 0.5], [0.02, 0.05], percentiles)
    sd = np.array([directional_spectrum(a1, a2, DT, x, [0.5], [0.02, 0.05]).sd[:, 0] for x in range(180)])
    np.testing.assert_allclose(spectrum.sd[:, :, 1], np.percentile(sd, percentiles, axis=0), rtol=1e-11)
    pga = [np.abs(np.cos(x) * a1 + np.sin(x) * a2).max() for x in np.deg2rad(np.arange(180))]
    np.testing.assert_allclose(spectrum.psa[:, 0, 0], np.percentile(pga, percentiles), rtol=1e-12)
    assert spectrum.largest_psa[0, 0] == pytest.approx(np.hypot(a1, a2).max(), rel=1e-15)


def test_geometric_mean_and_one_direction():
    a1, a2 = pair(300, 2, "noise")
    periods = [0.0, 0.05, 0.5, 3.0]
    one, two = response_spectrum(a1, DT, periods), response_spectrum(a2, DT, periods)
    mean = geometric_mean_spectrum(a1, a2, DT, periods)
    for quantity in ("sd", "psv", "psa", "sv", "sa"):
        np.testing.assert_allclose(
            getattr(mean, quantity) ** 2, getattr(one, quantity) * getattr(two, quantity), rtol=1e-12
        )
        np.testing.assert_array_equal(
            getattr(directional_spectrum(a1, a2, DT, 0, periods), quantity), getattr(one, quantity)
        )
        np.testing.assert_allclose(
            getattr(directional_spectrum(a1, a2, DT, 90, periods), quantity), getattr(two, quantity), rtol=1e-10
        )
    with pytest.raises(InputError, match="angle"):
        directional_spectrum(a1, a2, DT, np.nan, periods)


def test_tables_and_datasets_name_their_axes_and_units():
    xarray = pytest.importorskip("xarray")
    a1, a2 = pair(100, 1, "noise")
    rotated = rotated_spectrum(a1, a2, DT, [0.5, 1.0], [0.02, 0.05])
    table = rotated.table()
    assert list(table.columns) == ["percentile", "damping", "period", "sd", "psv", "psa"]
    row = table.query("percentile == 50 and damping == 0.05 and period == 1.0")
    assert row.psa.item() == rotated.psa[1, 1, 1]
    data = rotated.to_xarray()
    assert data.psa.sel(percentile=50, damping=0.05, period=1.0) == row.psa.item()
    assert data.psa.units == "m/s2"
    assert data.period.units == "s"
    single = response_spectrum(a1, DT, [0.5, 1.0], [0.02, 0.05], ["sd", "sa"]).to_xarray()
    assert isinstance(single, xarray.Dataset)
    assert set(single) == {"sd", "sa"}
    assert single.sd.dims == ("damping", "period")
    assert single.sd.long_name == "relative displacement"


def test_geometric_mean_reports_the_worse_of_its_components():
    # The first is smooth, the second alternates from sample to sample: only that one has to be resampled.
    t = np.arange(800) * DT
    smooth, rough = np.sin(2 * np.pi * 0.5 * t) * np.hanning(800), (-1.0) ** np.arange(800) * np.hanning(800)
    for one, two in ((smooth, rough), (rough, smooth)):
        first, second = (response_spectrum(a, DT, [1.0]) for a in (one, two))
        mean = geometric_mean_spectrum(one, two, DT, [1.0])
        assert first.resampled != second.resampled
        np.testing.assert_array_equal(mean.resampled, np.maximum(first.resampled, second.resampled))
        worse = np.maximum(first.interpolation_error, second.interpolation_error)
        np.testing.assert_array_equal(mean.interpolation_error, worse)


def test_one_direction_takes_one_angle():
    with pytest.raises(InputError, match="one number"):
        directional_spectrum([0.0, 1.0], [0.0, 2.0], DT, [0.0, 90.0], [1.0])
