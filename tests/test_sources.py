"""Where a file comes from: paths of any kind, compression, standard input; each bounded."""

from __future__ import annotations

import gzip
import io
import sys
import time
import tracemalloc

import numpy as np
import pytest
from test_stationxml import THREE, document, event, quakeml
from typer.testing import CliRunner

from strongmotion.cli import app
from strongmotion.formats import read, read_stationxml, write_csv, write_miniseed
from strongmotion.formats import source as source_room
from strongmotion.foundation.errors import RecordError
from strongmotion.record import Component, Record, Station

START = np.datetime64("2031-04-17T03:26:27", "ns")


def quay():
    samples = np.round(1e5 * np.sin(np.arange(500) / 9)).astype(np.int32)
    return Record((Component("V", samples, 0.005, "counts", 4e5, START, channel="HNZ"),), Station("QUAY", "XX", "00"))


@pytest.mark.parametrize("name", ["Küste/Alter Käi.csv", "с берега.csv", "a b  c.csv", "岸.csv", "x;y&z.csv"])
def test_paths_with_spaces_and_any_letters(tmp_path, name):
    path = tmp_path / name
    path.parent.mkdir(exist_ok=True)
    write_csv(quay(), path)
    assert read(path).components == read(str(path)).components
    assert read(path).source.file == path.name


@pytest.mark.parametrize("write", [write_csv, write_miniseed])
def test_compressed_files_are_read_as_they_are(tmp_path, write):
    path = tmp_path / "quay.dat"
    write(quay(), path)
    plain = path.read_bytes()
    whole = read(path)
    path.write_bytes(gzip.compress(plain[:100]) + gzip.compress(plain[100:]))  # two members, as gzip allows
    assert np.array_equal(read(path)["V"].samples, whole["V"].samples)
    assert read(path).source.sha256 != whole.source.sha256  # of the bytes of the file itself


def test_compressed_stationxml(tmp_path):
    (tmp_path / "quay.xml.gz").write_bytes(gzip.compress(document(*THREE).encode()))
    assert len(read_stationxml(tmp_path).channels) == 3


def test_damaged_compression_is_named(tmp_path):
    path = tmp_path / "quay.csv.gz"
    write_csv(quay(), path)
    data = gzip.compress(path.read_bytes())
    for broken, words in (
        (data[:-20], "truncated at the end of the file"),
        (data[:50] + b"\xff" * 20 + data[70:], "are damaged in the part that begins at byte 1"),
        (data + b"junk", f"are damaged in the part that begins at byte {len(data) + 1}"),
        (gzip.compress(b""), "empty after decompression"),
    ):
        path.write_bytes(broken)
        with pytest.raises(RecordError, match=words) as caught:
            read(path)
        assert "quay.csv.gz" in str(caught.value)


def test_a_decompression_bomb_costs_little(tmp_path):
    path = tmp_path / "bomb.csv.gz"
    path.write_bytes(gzip.compress(bytes(60_000_000)))
    tracemalloc.start()
    with pytest.raises(RecordError, match="exceeds 11 MB when decompressed"):
        read(path)
    assert tracemalloc.get_traced_memory()[1] < 50e6
    tracemalloc.stop()


class Input:
    """Standard input that holds some bytes."""

    def __init__(self, data):
        self.buffer = io.BytesIO(data)


def test_standard_input(tmp_path, monkeypatch):
    write_miniseed(quay(), tmp_path / "a.ms")
    monkeypatch.setattr(sys, "stdin", Input((tmp_path / "a.ms").read_bytes()))
    record = read("-")
    assert record.components == quay().components
    assert record.source.file == "standard input"
    monkeypatch.setattr(sys, "stdin", Input(b""))
    with pytest.raises(RecordError, match="standard input: the file is empty"):
        read("-")
    monkeypatch.setattr(sys, "stdin", Input(b"x" * 2_000_000))
    monkeypatch.setattr(source_room, "LARGEST_FILE", 1_000_000)
    with pytest.raises(RecordError, match="standard input: the file is over"):
        read("-")


def test_inspect_says_what_is_missing_and_what_would_be_assumed(tmp_path):
    write_miniseed(quay(), tmp_path / "quay.ms", version=2)
    (tmp_path / "quay.xml").write_text(document(*THREE))
    (tmp_path / "event.xml").write_text(quakeml(event("e1")))

    def inspect(*arguments):
        result = CliRunner().invoke(app, ["inspect", *map(str, arguments)])
        assert result.exit_code == 0, result.output
        return result.stdout

    bare = inspect(tmp_path / "quay.ms")
    assert "V is in counts, but its sensitivity is unknown: to process it, give --sensitivity" in bare
    assert "The station's coordinates are not known" in bare
    full = inspect(tmp_path / "quay.ms", "--stationxml", tmp_path / "quay.xml", "--event", tmp_path / "event.xml")
    assert "not known:" not in full
    assert "Off Old Quay, Mw 6.1, 2031-04-17T03:26:20" in full
    channels = inspect(tmp_path / "quay.xml")
    assert "XX.QUAY.00.HN2" in channels
    assert "500000" in channels
    assert "Off Old Quay" in inspect(tmp_path / "event.xml")


def test_a_file_of_countless_gzip_parts_is_refused_quickly(tmp_path):
    parts = gzip.compress(b"# dt_s: 0.01\nH1 [g]\n1\n2\n")
    path = tmp_path / "quay.csv.gz"
    path.write_bytes(parts + gzip.compress(b"") * 100_000)
    begun = time.process_time()
    with pytest.raises(
        RecordError, match=r"quay\.csv\.gz: the file has more than 10000 gzip parts\. Decompress and inspect it"
    ):
        read(path)
    assert time.process_time() - begun < 2


def test_gzip_parts_are_joined_wherever_they_meet(tmp_path):
    # Data that hardly compress, so that parts end on all sides of the pieces they are read in.
    text = "".join(f"{number}\n" for number in np.random.default_rng(4).integers(0, 10**15, 40_000).tolist()).encode()
    whole = b"# dt_s: 0.01\nH1 [g]\n" + text
    for cut in (1, 70_000, 65_536 * 2, 500_000):
        path = tmp_path / "quay.csv.gz"
        path.write_bytes(gzip.compress(whole[:cut]) + gzip.compress(whole[cut:]) + bytes(300))
        assert "\n".join(map(str, read(path)["H1"].samples.tolist())) + "\n" == text.decode()
