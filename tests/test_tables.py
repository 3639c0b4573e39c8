"""JSON and MATLAB files by a layout with paths; hostile ones are refused before they are read."""

from __future__ import annotations

import json
import struct
import zlib

import numpy as np
import pytest
import scipy.io

from strongmotion.formats import read
from strongmotion.formats.header import Reading
from strongmotion.formats.matlab import read_matlab
from strongmotion.foundation.errors import RecordError, SettingsError, StrongMotionError

JSON = """format = "json"
[header]
dt = {path = "head.step", unit = "ms"}
unit.value = "gal"
station.path = "head.code"
[component.H1]
azimuth.path = "head.azimuth"
[block.paths]
H1 = "traces.0.data"
V = "rows.*.1"
"""
MATLAB = """format = "matlab"
[header]
dt.path = "rec.dt"
unit.value = "g"
station.path = "rec.station"
[block.paths]
H1 = "rec.ns"
H2 = "ew"
"""
NS, EW = np.sin(np.arange(50) / 3), np.cos(np.arange(50) / 5)
DOCUMENT = {
    "head": {"step": 10, "code": "QUAY", "azimuth": 35},
    "traces": [{"data": NS.tolist()}],
    "rows": [[0, value] for value in range(50)],
}


def by_layout(folder, layout, data, suffix):
    (folder / "plan.toml").write_text(layout)
    path = folder / f"quay.{suffix}"
    path.write_bytes(data)
    return read(path, layout=folder / "plan.toml")


def matlab(folder, **how):
    path = folder / "made.mat"
    scipy.io.savemat(path, {"rec": {"dt": 0.01, "station": "QUAY", "ns": NS}, "ew": EW}, **how)
    return path.read_bytes()


def test_json(tmp_path):
    record = by_layout(tmp_path, JSON, json.dumps(DOCUMENT).encode(), "json")
    assert (record.station.code, record.dt, record.names) == ("QUAY", 0.01, ("H1", "V"))
    assert record["H1"].samples.tolist() == NS.tolist()
    assert record["V"].samples.dtype == np.int64
    assert (record["H1"].azimuth, record["H1"].unit) == (35.0, "cm/s2")


@pytest.mark.parametrize("compressed", [False, True])
def test_matlab(tmp_path, compressed):
    record = by_layout(tmp_path, MATLAB, matlab(tmp_path, do_compression=compressed), "mat")
    assert (record.station.code, record.dt, record.names) == ("QUAY", 0.01, ("H1", "H2"))
    assert record["H1"].samples.tolist() == NS.tolist()
    assert record["H2"].samples.tolist() == EW.tolist()


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ('{"head": ', "the file is not JSON"),
        ('{"a": 1, "a": 2}', "a key occurs twice"),
        ('{"a": NaN}', "NaN is not a JSON number"),
        ("[" * 100_000, "the file is not JSON"),
        ("[]", "there is no head"),
        (json.dumps({**DOCUMENT, "rows": [[0, "x"]]}), "rows.\\*.1: element 0 is not a number: 'x'"),
        (json.dumps({**DOCUMENT, "rows": 3}), "there is no rows"),
        (json.dumps({**DOCUMENT, "head": {}}), "there is no head"),
    ],
)
def test_bad_json(tmp_path, text, words):
    with pytest.raises(RecordError, match=words):
        by_layout(tmp_path, JSON, text.encode(), "json")


def element(kind, body):
    return struct.pack("<II", kind, len(body)) + body + b"\0" * (-len(body) % 8)


def matrix(class_, dims, *parts):
    flags = element(6, struct.pack("<II", class_, 0))
    return element(14, flags + element(5, struct.pack(f"<{len(dims)}i", *dims)) + element(1, b"ew") + b"".join(parts))


HEAD = b"MATLAB 5.0".ljust(124) + struct.pack("<H", 0x0100) + b"IM"


def packed(body):
    body = zlib.compress(body)
    return struct.pack("<II", 15, len(body)) + body


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (HEAD + matrix(6, (1, 2_000_000_000), element(9, b"\0" * 16)), "a matrix of 2000000000 numbers has 16 bytes"),
        (HEAD + matrix(1, (1_000_000, 1_000), b""), "array of class 1, such as a cell"),
        (HEAD + matrix(17, (1, 1), b""), "array of class 17"),
        (HEAD + matrix(2, (1, 900_000_000), element(5, struct.pack("<i", 8)), element(1, b"a" * 8)), "is truncated"),
        (HEAD + packed(b"\0" * 200_000_000), "exceeds 100 MB"),
        (HEAD + packed(matrix(6, (1, -3), element(9, b"")))[:-6], "extends beyond the end"),
        (b"\x89HDF\r\n\x1a\n" + b"\0" * 600, "MATLAB 7.3, which is HDF5"),
        (b"hello", "not a MATLAB file"),
    ],
)  # fmt: skip
def test_bad_matlab(tmp_path, data, words):
    with pytest.raises(RecordError, match=words):
        by_layout(tmp_path, MATLAB, data, "mat")


def test_damaged_files_are_read_or_refused(tmp_path):
    rng = np.random.default_rng(20310504)
    for layout, data, suffix in (
        (JSON, json.dumps(DOCUMENT).encode(), "json"),
        (MATLAB, matlab(tmp_path), "mat"),
        (MATLAB, matlab(tmp_path, do_compression=True), "mat"),
    ):
        for _ in range(300):
            broken = bytearray(data)
            for _ in range(int(rng.integers(1, 4))):
                broken[int(rng.integers(len(broken)))] ^= 1 << int(rng.integers(8))
            try:
                by_layout(tmp_path, layout, bytes(broken), suffix)
            except StrongMotionError as error:
                assert isinstance(error, RecordError), error  # noqa: PT017
                assert "quay" in str(error)  # noqa: PT017


def test_such_a_layout_needs_paths(tmp_path):
    with pytest.raises(SettingsError, match="and only these, have paths in"):
        by_layout(tmp_path, 'format = "json"\n[header]\ndt.value = 1\n', b"{}", "json")


@pytest.mark.parametrize("compressed", [False, True])
def test_matlab_files_are_read_as_scipy_reads_them(tmp_path, compressed):
    # SciPy's reader is the reference here; ours is used since it does not crash on damaged files.
    made = {
        "plain": EW, "matrix": np.arange(12.0).reshape(3, 4), "small": np.arange(-5, 5, dtype=np.int16),
        "long": np.arange(5, dtype=np.uint64) + 2**60,
        "single": EW.astype(np.float32), "one": 3.25, "none": np.zeros(0),
        "text": "a quay", "rec": {"code": "QUAY", "inner": {"dt": 0.01, "rows": np.eye(3)}},
        "flags": np.array([True, False, True]),
    }  # fmt: skip
    made["list"] = np.array([(1.0, "x"), (2.0, "y")], dtype=[("a", object), ("b", object)])
    path = tmp_path / "made.mat"
    scipy.io.savemat(path, made, do_compression=compressed)
    ours = read_matlab(Reading("made.mat", path.read_bytes()))
    theirs = scipy.io.loadmat(path, simplify_cells=True)
    for name in made:
        same(ours[name], theirs[name], name)


def same(one, two, where):
    if isinstance(two, dict):
        assert list(one) == list(two), where
        for key in two:
            same(one[key], two[key], f"{where}.{key}")
    elif np.asarray(two).dtype.kind == "O":
        assert len(one) == len(two), where
        for at, (mine, other) in enumerate(zip(one, two, strict=True)):
            same(mine, other, f"{where}.{at}")
    elif isinstance(two, str):
        assert one == two, where
    elif np.size(two) == 0:
        assert np.size(one) == 0, where
    else:
        assert one.dtype.kind in (np.asarray(two).dtype.kind, "iu"[np.asarray(two).dtype.kind == "b"]), where
        assert np.array_equal(one, two), where
