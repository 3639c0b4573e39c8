"""Findings: seen where they are, silent where they are not."""

from __future__ import annotations

import numpy as np
import pytest

from strongmotion import Component, Finding, Record
from strongmotion.checks import clipping, dead_component, examine

WAVE = np.sin(2 * np.pi * 1.3 * np.arange(3000) * 0.01) * np.hanning(3000)


def component(samples):
    return Component("H1", samples, dt=0.01)


@pytest.mark.parametrize("level", [0.5, 0.9, 0.98])
def test_flat_tops_are_found_with_place_and_count(level):
    clipped = np.clip(WAVE, -level, level)
    finding = clipping(component(clipped))
    at_the_limit = np.flatnonzero(np.abs(clipped) == level)
    assert finding is not None
    assert finding.severity == "unfit"
    assert finding.where.startswith(f"{at_the_limit[0] * 0.01:.3f}")


def test_a_smooth_record_is_not_clipped():
    assert clipping(component(WAVE)) is None


def test_two_equal_samples_at_a_smooth_peak_are_not_clipping():
    coarse = np.round(np.sin(np.pi * (np.arange(11) - 0.5) / 10) * 100)
    assert clipping(component(coarse.astype(int))) is None


def test_quantised_pre_event_zeros_are_not_clipping():
    quiet = np.concatenate((np.zeros(500), WAVE))
    assert clipping(component(np.round(quiet * 1000).astype(int))) is None


def test_a_one_sided_spike_on_zeros_is_not_clipping():
    spike = np.zeros(1000)
    spike[500] = 1.0
    assert clipping(component(spike)) is None


def test_a_constant_record_is_dead_and_not_clipped():
    assert clipping(component(np.full(10, 3))) is None
    finding = dead_component(component(np.full(10, 3)))
    assert finding is not None
    assert "all 10 samples are 3: the record is constant" in finding.what


def test_findings_of_the_reader_come_first():
    note = Finding("truncated", "doubt", "cut off", "late motion is missing", "copy the file again")
    record = Record((component(np.full(10, 3)),), findings=(note,))
    assert [finding.name for finding in examine(record)] == ["truncated", "dead component"]


@pytest.mark.parametrize("amplitude", [50, 200, 500, 1500])
def test_smooth_motion_in_coarse_counts_is_not_clipping(amplitude):
    time = np.arange(6000) * 0.005
    packet = np.sin(2 * np.pi * time) * np.exp(-(((time - 15) / 5) ** 2))
    assert clipping(component(np.round(amplitude * packet).astype(np.int16))) is None
