"""What the low-cut takes: whether estimates hold motion whose long periods are known."""

from __future__ import annotations

import numpy as np
import pytest

from benchmarks import low_cuts
from strongmotion import Component, Record, Settings, process
from strongmotion.chain import correct, integrate_twice

DT = 0.01
TIME = np.arange(8000) * DT


def pulse(length: float) -> np.ndarray:
    """Return acceleration of a displacement (1 - y²)^6 m, from 30 s on for so long, at rest on both sides."""
    y = np.clip(2.0 * (TIME - 30.0) / length - 1.0, -1.0, 1.0)
    return (120.0 * y**2 * (1 - y**2) ** 4 - 12.0 * (1 - y**2) ** 5) * (2.0 / length) ** 2


def recorded(acceleration: np.ndarray, seed: int = 1) -> Record:
    noise = np.random.default_rng(seed).normal(0.0, 1e-4, TIME.size)
    return Record((Component("H1", acceleration + noise, DT),))


def cut_at(low_cut: float) -> Settings:
    return Settings.from_dict({"filter": {"low_cut": low_cut}})


def peaks_of(record: Record, settings: Settings):
    peaks = process(record, settings).peaks
    return peaks.set_index("quantity").loc[["PGV", "PGD"]]


@pytest.mark.parametrize("low_cut", [0.1, 0.2, 0.4])
def test_what_the_filter_took_of_a_pulse_is_within_the_band(low_cut):
    """A pulse of 4 s displaces by 1 m, and its spectrum is flat below 0.3 Hz."""
    acceleration = pulse(4.0)
    velocity, displacement = integrate_twice(acceleration, DT)
    peaks = peaks_of(recorded(acceleration), cut_at(low_cut))
    assert peaks.value["PGD"] < 0.85
    assert peaks.band_low["PGD"] < np.abs(displacement).max() < peaks.band_high["PGD"]
    assert peaks.band_low["PGV"] < np.abs(velocity).max() < peaks.band_high["PGV"]


def test_a_low_cut_far_below_the_motion_widens_little():
    cycles = np.sin(2 * np.pi * 2.0 * (TIME - 30.0)) * np.sin(np.pi * np.clip((TIME - 30.0) / 10.0, 0.0, 1.0)) ** 4
    peaks = peaks_of(recorded(cycles), cut_at(0.2))
    assert ((peaks.band_high - peaks.value) < 0.1 * peaks.value).all()


def test_scale_and_sign_of_the_motion_do_not_matter():
    one, other = (correct(recorded(factor * pulse(4.0)), cut_at(0.2)).choices["H1"].whole for factor in (1.0, -1.0))
    assert one.peaks["PGD"].middle == pytest.approx(other.peaks["PGD"].middle, rel=0.05)


def test_the_estimate_is_the_same_each_time():
    settings = cut_at(0.3)
    one, other = (correct(recorded(pulse(3.0)), settings).choices["H1"].whole for _ in range(2))
    assert one == other


def test_nothing_is_estimated_where_nothing_is_cut():
    corrected = correct(recorded(pulse(4.0)), cut_at(0.0))
    assert corrected.choices["H1"].whole is None
    assert "low-cut takes motion" not in {finding.name for finding in corrected.findings}


def test_bands_hold_over_low_cuts_as_often_as_they_say():
    """Motions made otherwise than those on which the chain's limits were chosen, low-cuts from 0.02 to 0.5 Hz."""
    rows = low_cuts.run(["stochastic"], 16, workers=1)
    peaks = rows[rows.quantity.isin(["PGV", "PGD"])]
    assert len(peaks) > 50
    # 90 % are asked for: of so many fewer than 78 % would be a chance of one in a hundred.
    assert peaks.held.mean() > 0.78
    low = peaks.low.astype(bool)
    assert peaks.said[low].mean() > 0.8
