"""What a record accepts, refuses and keeps."""

from __future__ import annotations

import pickle

import numpy as np
import pytest

from strongmotion import Component, Record, RecordError, Station
from strongmotion.foundation.errors import ArchiveError, InputError, SettingsError
from strongmotion.foundation.units import acceleration_unit, in_unit

WAVE = np.sin(np.arange(100) / 5)
START = np.datetime64("2031-05-04T03:02:01", "ns")


def component(name="H1", samples=WAVE, **more):
    return Component(name, samples, **{"dt": 0.01, **more})


def test_samples_keep_their_type_and_cannot_be_changed():
    counts = np.arange(10, dtype=np.int16)
    kept = component(samples=counts, unit="counts").samples
    assert kept.dtype == np.int16
    counts[0] = 99
    assert kept[0] == 0
    with pytest.raises(ValueError, match="read-only"):
        kept[0] = 1


@pytest.mark.parametrize(
    ("wrong", "message"),
    [
        ({"samples": [1.0]}, "has 1 sample, at least 2 are needed"),
        ({"samples": []}, "has 0 samples"),
        ({"samples": [1.0, np.nan, 2.0, np.inf]}, r"sample 2 is nan \(2 such in all\)"),
        ({"samples": np.zeros((2, 2))}, r"one row of numbers, found shape \(2, 2\)"),
        ({"samples": ["a", "b"]}, "must be one row of numbers"),
        ({"dt": 0.0}, "sampling interval is 0.0 s, it must be positive"),
        ({"dt": float("nan")}, "sampling interval is nan"),
        ({"name": "../H1"}, "name '../H1' is not usable"),
        ({"sensitivity": 0.0}, "sensitivity is 0.0"),
    ],
)
def test_a_component_refuses_what_is_not_a_record(wrong, message):
    with pytest.raises(RecordError, match=message):
        component(**wrong)


def test_a_near_unit_is_not_guessed():
    with pytest.raises(InputError, match=r"unknown unit 'cm/s3'. Use m/s2"):
        component(unit="cm/s3")
    # The international foot and inch are exact, so is standard gravity (ISO 80000-3).
    assert component(unit="mg").scale == pytest.approx(0.00980665, rel=1e-15)
    assert component(unit="ft/sec^2").scale == 0.3048
    assert component(unit="in/s/s").scale == 0.0254


@pytest.mark.parametrize("spelling", ["m/s²", "M/S^2", " m/s/s ", "m s-2"])
def test_spellings_of_a_unit(spelling):
    assert acceleration_unit(spelling) == "m/s2"


# ISO 80000-3: the standard acceleration of free fall is 9.80665 m/s² exactly.
def test_standard_gravity():
    assert component(unit="g").scale == 9.80665
    assert 9.80665 * in_unit("g") == pytest.approx(1.0, abs=1e-15)
    assert in_unit("gal") == 100.0


@pytest.mark.parametrize(
    ("other", "quantity"),
    [
        ({"samples": WAVE[:-1]}, "length"),
        ({"dt": 0.02}, "sampling interval"),
        ({"start": START}, "start time"),
    ],
)
def test_components_that_do_not_match_are_refused_with_the_reason(other, quantity):
    with pytest.raises(RecordError, match=f"H1 and H2 differ in {quantity}"):
        Record((component(), component("H2", **other)))


def test_two_components_of_one_name_are_refused():
    with pytest.raises(RecordError, match="two components are named H1"):
        Record((component(), component()))


def test_common_window_keeps_what_all_share_and_says_what_it_cut():
    later = START + np.timedelta64(50, "ms")
    record = Record.from_components(
        (component(start=START), component("H2", np.arange(100.0), start=later)), common_window=True
    )
    assert record.start == later
    assert record.samples == 95
    np.testing.assert_array_equal(record["H1"].samples, WAVE[5:])
    np.testing.assert_array_equal(record["H2"].samples, np.arange(95.0))
    assert [(f.component, f.what[:30]) for f in record.findings] == [
        ("H1", "5 samples before and 0 after t"),
        ("H2", "0 samples before and 5 after t"),
    ]


def test_common_window_without_start_times_begins_together():
    record = Record.from_components((component(), component("H2", WAVE[:60])), common_window=True)
    assert record.samples == 60


@pytest.mark.parametrize(("shift_ms", "message"), [(5, "off the others' instants"), (5000, "share no time span")])
def test_no_common_window(shift_ms, message):
    later = START + np.timedelta64(shift_ms, "ms")
    with pytest.raises(RecordError, match=message):
        Record.from_components((component(start=START), component("H2", start=later)), common_window=True)


def test_equality_is_of_every_bit():
    assert component() == component()
    nudged = WAVE.copy()
    nudged[3] = np.nextafter(nudged[3], 2)
    assert component() != component(samples=nudged)
    assert component(samples=np.arange(5)) != component(samples=np.arange(5.0))
    assert Record((component(),)).raw_sha256 != Record((component(dt=0.02),)).raw_sha256


def test_id_is_safe_as_a_file_name():
    station = Station(code="QUAY/../x", network="IV")
    assert Record((component(start=START),), station).id == "IV.QUAY-..-x_20310504T030201"
    assert Record((component(),)).id.startswith("record_")


def test_stations_off_the_globe_are_refused():
    with pytest.raises(RecordError, match="latitude of station 'QUAY' is 95"):
        Station(code="QUAY", latitude=95.0)


@pytest.mark.parametrize("kind", [RecordError, SettingsError, ArchiveError, InputError])
def test_errors_survive_the_way_back_from_a_worker(kind):
    error = kind("nothing was found", source="quay.csv", line=7, remedy="Look again")
    back = pickle.loads(pickle.dumps(error))
    assert type(back) is kind
    assert str(back) == "quay.csv, line 7: nothing was found. Look again."


def test_a_record_of_arrays_is_one_of_components():
    arrays = {"H1": [0, 1, -2], "V": np.array([3, 4, 5], dtype=np.int16)}
    start = "2031-04-17T03:26:27.31"
    made = Record.from_arrays(arrays, 0.005, "counts", sensitivity=4e5, start=start, station=Station("QUAY"))
    parts = (Component(name, np.asarray(array), 0.005, "counts", 4e5, np.datetime64(start, "ns"))
             for name, array in arrays.items())  # fmt: skip
    assert made == Record(tuple(parts), Station("QUAY"))
    with pytest.raises(RecordError, match=r"'soon' is no time\. Give it as ISO 8601"):
        Record.from_arrays(arrays, 0.005, start="soon")
