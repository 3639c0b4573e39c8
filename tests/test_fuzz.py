"""Damaged files, thousands of each format: every one is read or refused with its name and place, and nothing else.

Each format's file is valid first; then bytes are flipped, cut, repeated and moved, and numbers are swapped for NaN,
1e999 and huge counts.
"""

from __future__ import annotations

import gzip
import json
import re
import resource
import signal
import struct
import sys
import time
from pathlib import Path

import numpy as np
import pytest
from shapes import headers
from test_channels import mixed
from test_containers import tarred, workbook, zipped
from test_layouts import AGENCIES, DUNE, DUNE_LAYOUT, FORGE, FORGE_LAYOUT
from test_miniseed import crc32c
from test_stationxml import THREE, channel, document, event, poles_zeros, quakeml
from test_tables import DOCUMENT, JSON, MATLAB, matlab

import strongmotion
from strongmotion.formats import lines, read_all, read_quakeml, write_csv, write_miniseed, write_text
from strongmotion.formats.channels import Choice
from strongmotion.formats.stationxml import described_by, read_stationxml
from strongmotion.foundation.errors import RecordError, SettingsError, StrongMotionError
from strongmotion.record import Component, Record, Station

LONGEST = 5  # s, of one read
MEMORY = 100e6  # bytes, beside ten times the file

START = np.datetime64("2031-04-17T03:26:27", "ns")
SPAN = ("2031-04-17T03:26:27.2", "2031-04-17T03:26:27.4")


def counts(n=40):
    wave = np.round(1000 * np.sin(np.arange(n) / 3)).astype(np.int32)
    names = (("H1", "HN1"), ("H2", "HN2"), ("V", "HNZ"))
    parts = (
        Component(name, wave + k, 0.005, "counts", 4e5, START, channel=code) for k, (name, code) in enumerate(names)
    )
    return Record(tuple(parts), Station("QUAY", "XX", "00", "Old Quay", 45.5, -12.25, 3.0))


def valid(form, folder):
    """Return a valid file of a format, and what reads such files."""
    path = folder / "quay.dat"
    record = counts(12)
    options = {}
    choices = ({}, {"missing": "truncate", "common_window": True, "gaps": "fill"}, {"gaps": "longest"})
    if form in ("csv", "gzip"):
        write_csv(record, path)
    elif form == "times":
        rows = "".join(f"{i * 0.01:.2f},{i * 0.25},{-i}\n" for i in range(12))
        path.write_text(f"# start: 2031-05-04\ntime [s],N [gal],UD [gal]\n{rows}")
    elif form in ("harbour", "ridge"):
        write_text(record, path, layout=form)
    elif form in ("dune", "forge"):
        text, toml = {"dune": (DUNE, DUNE_LAYOUT), "forge": (FORGE, FORGE_LAYOUT)}[form]
        options["layout"] = folder / f"{form}.toml"
        options["layout"].write_text(toml)
        path.write_bytes(text.encode("latin-1"))
    elif form in ("json", "matlab"):
        options["layout"] = folder / f"{form}.toml"
        options["layout"].write_text({"json": JSON, "matlab": MATLAB}[form])
        path.write_bytes(json.dumps(DOCUMENT).encode() if form == "json" else matlab(folder))
    elif form in ("zip", "tar"):
        write_csv(record, path)
        path.write_bytes(
            {"zip": zipped, "tar": tarred}[form]({"a.csv": path.read_bytes(), "b/c.csv": path.read_bytes()})
        )
    elif form == "workbook":
        rows = [[i * 0.01, i * i % 7 * 0.25, -i % 5] for i in range(12)]
        path.write_bytes(workbook(("data", [["time [s]", "N [gal]", "UD [gal]"], *rows])))
    elif form in DRAFTED:
        monkeypatched, headers.N = headers.N, 30
        shape = headers.shapes()[form]
        headers.N = monkeypatched
        path.write_bytes(shape.text.encode(shape.encoding))
        options.update(shape.options)
    elif form == "miniseed-many":
        path.write_bytes(mixed(60)[0])
        choices = ({}, {"channel": "HN?", "station": "QU*", "gaps": "split"}, {"sensor": "motion", "time": SPAN})
    elif form.startswith("miniseed"):
        version, encoding = int(form[8]), form[10:]
        write_miniseed(counts(300), path, version=version, encoding=encoding)
    elif form == "stationxml":
        path.write_text(document(*THREE[:2], channel("HNZ", stages=poles_zeros([complex(-100, 20)]))))
        return path, lambda file: described_by(record, read_stationxml(file))
    elif form == "response":
        seismometer = [complex(-4.4, 4.4), complex(-4.4, -4.4)]
        channels = [channel(f"HN{d}", unit="M/S", stages=poles_zeros(seismometer, [0j, 0j])) for d in "12Z"]
        path.write_text(document(*channels))
        record = counts(300)
        return path, lambda file: described_by(record, read_stationxml(file), choice=Choice("motion"))
    elif form == "quakeml":
        path.write_text(quakeml(event("e1"), event("e2")))
        return path, read_quakeml
    elif form == "layout":
        text, toml = AGENCIES["cliff"][:2]
        (folder / "cliff.txt").write_text(text)
        path.write_text(toml)
        return path, lambda file: read_all(folder / "cliff.txt", layout=file)
    if form == "gzip":
        path.write_bytes(gzip.compress(path.read_bytes()))
    turn = [0]

    def reads(file):
        turn[0] += 1
        return read_all(file, **options, **choices[turn[0] % 3])

    return path, reads


DRAFTED = ("two columns of blanks", "clock times", "degrees and minutes, three blocks", "sentences", "cards")
FORMS = [
    *DRAFTED,
    "csv", "times", "harbour", "ridge", "dune", "forge", "gzip", "stationxml", "quakeml", "layout",
    "response", "miniseed-many",
    "json", "matlab", "zip", "tar", "workbook",
    "miniseed2-steim2", "miniseed2-int32", "miniseed3-steim2", "miniseed3-int32", "miniseed3-float64",
]  # fmt: skip

STRANGE = (
    b"nan", b"NaN", b"inf", b"-inf", b"1e999", b"-1e999", b"1e-999", b"9" * 400, b"99999999999", b"-1", b"0", b"0x10",
    b"1_0", b"--1", b"1,5", b"", b"\xff\xfe", b"\0", b"1e308", b"5e-324", b"18446744073709551616",
)  # fmt: skip
PIECES = (b"-", b"e", b".", b"\n", b",", b";", b"[", b"#", b"=", b" ", b"\t", b"\r", b"<", b"&", b"/>", b'"', b"\xc3")
NUMBERS = re.compile(rb"[-+]?\d+(?:\.\d+)?")


def mutated(data, rng):
    """Flip, cut, repeat, move or insert bytes, or swap a number for a strange one; a few times."""
    changed = bytearray(data)
    for _ in range(rng.integers(1, 5)):
        at, size = int(rng.integers(len(changed))), int(rng.integers(1, 24))
        kind = rng.integers(10)
        if kind == 0:
            changed[at] ^= 1 << int(rng.integers(8))
        elif kind == 1:
            changed[at] = rng.integers(256)
        elif kind == 2:
            del changed[at : at + size]
        elif kind == 3:
            changed[at:at] = changed[at : at + size] * int(rng.integers(1, 6))
        elif kind == 4:
            piece = changed[at : at + size]
            del changed[at : at + size]
            to = int(rng.integers(len(changed) + 1))
            changed[to:to] = piece
        elif kind == 5:
            changed[at:at] = PIECES[rng.integers(len(PIECES))]
        elif kind in (6, 7):
            found = NUMBERS.search(changed, at)
            if found:
                changed[found.start() : found.end()] = STRANGE[rng.integers(len(STRANGE))]
        elif kind == 8:  # a huge, negative or zero count in binary
            width = int(rng.choice([1, 2, 4, 8]))
            changed[at : at + width] = bytes([rng.choice([0, 0x7F, 0x80, 0xFF])]) * width
        elif rng.integers(4) == 0:
            del changed[at:]
        changed = changed or bytearray(b" ")
    return bytes(changed)


def with_checksums(data):
    """Return miniSEED 3 with the checksum of each record made to fit."""
    made, at = bytearray(data), 0
    while at + 40 <= len(made) and made[at : at + 3] == b"MS\x03":
        identifier, extra, payload = struct.unpack_from("<BHI", made, at + 33)
        end = at + 40 + identifier + extra + payload
        if end > len(made):
            break
        made[at + 28 : at + 32] = bytes(4)
        made[at + 28 : at + 32] = struct.pack("<I", crc32c(bytes(made[at:end])))
        at = end
    return bytes(made)


opened: list[str] = []
watching = [False]


def watch(name, arguments):
    """Note each file that is opened and each connection that is made."""
    if watching[0] and (name == "open" or name.startswith(("socket.", "subprocess.", "os.system"))):
        opened.append(f"{name} {arguments[0]!r}")


sys.addaudithook(watch)


class HangError(Exception):
    """One read took longer than it may."""


def stop(*_):
    raise HangError


def check(error, number):
    message = str(error)
    assert "quay.dat" in message or "cliff.txt" in message, (number, message)
    assert error.remedy, (number, message)
    assert "\n" not in message, (number, message)
    assert len(message) < 900, (number, message)


@pytest.mark.parametrize("files", [150, pytest.param(20_000, marks=pytest.mark.slow)])
@pytest.mark.parametrize("form", FORMS)
def test_damaged_files_are_read_or_refused(tmp_path, form, files, monkeypatch):
    path, reads = valid(form, tmp_path)
    monkeypatch.setattr(lines, "COMPILED_FROM", 0)
    reads(path)  # valid, and all modules are loaded
    data = path.read_bytes()
    rng = np.random.default_rng(20310504)
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    refused = read = 0
    longest = 0.0
    # The file, the layout given beside it, and what Python and this library load of themselves.
    own = Path(strongmotion.__file__).parent
    allowed = (str(tmp_path), f"'{sys.prefix}", f"'{sys.base_prefix}", f"'{own}")
    signal.signal(signal.SIGPROF, stop)
    try:
        for number in range(files):
            broken = mutated(data, rng)
            # Small blocks are read text by text; every other one here by the compiled reader of large ones.
            monkeypatch.setattr(lines, "COMPILED_FROM", 0 if number % 2 else 10**9)
            if form.startswith("miniseed3") and number % 2:
                broken = with_checksums(broken)  # so that damage gets past the first check
            path.write_bytes(broken)
            signal.setitimer(signal.ITIMER_PROF, LONGEST)
            begun = time.process_time()
            opened.clear()
            watching[0] = True
            try:
                unread = getattr(reads(path), "unread", ())  # of a file of many, what is damaged spoils itself alone
                for one in unread:
                    check(one.error, number)
                refused, read = refused + bool(unread), read + (not unread)
            except (RecordError, SettingsError) as error:
                refused += 1
                check(error, number)
            except StrongMotionError as error:
                raise AssertionError(f"mutation {number}: {type(error).__name__}: {error}") from error
            finally:
                watching[0] = False
                signal.setitimer(signal.ITIMER_PROF, 0)
            longest = max(longest, time.process_time() - begun)
            foreign = {what for what in opened if not any(place in what for place in allowed)}
            assert not foreign, (number, foreign)
    finally:
        signal.signal(signal.SIGPROF, signal.SIG_DFL)
    grown = (resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before) * 1024
    print(f"{form}: {read} read, {refused} refused, longest {longest:.3f} s, memory grew by {grown / 1e6:.0f} MB")
    assert grown < MEMORY + 10 * 2 * len(data)
    assert longest < LONGEST
    assert read > files / 100 or form in ("gzip", "zip", "workbook")  # a checksum finds nearly all damage
    assert refused > files / 5
