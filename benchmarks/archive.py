"""The archive at size: verifying, growth, questions over 100 000 records, and engines for the catalogue.

100 000 records are made cheaply: each has its own manifest entry and record file, the file a hard link to one of a few
real ones, named for the record; so listing, the manifest, the index and the questions are those of a real archive,
while the disk holds megabytes. Rows of the index are those of the few real files, under the names of the records.
"""

from __future__ import annotations

import contextlib
import hashlib
import os
import shutil
import sqlite3
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any
from unittest import mock

import numpy as np
import pandas as pd

from strongmotion import Archive, Component, Record, Settings, Station, process
from strongmotion.archive import catalogue, files, gate
from strongmotion.archive.manifest import Entry

from .spectra import processor

SIZES = (1_000, 10_000, 100_000)
SAMPLES = 12_000
ROWS = 1_000_000
SETTINGS = Settings.from_dict({"uncertainty": {"bands": False}})


def shaking(seed: int) -> Record:
    rng = np.random.default_rng(seed)
    time_s = np.arange(SAMPLES) * 0.01
    burst = np.exp(-(((time_s - 40) / 8) ** 2)) * np.sin(2 * np.pi * 1.7 * time_s)
    start = np.datetime64("2031-03-07T04:15:00") + np.timedelta64(seed, "h")
    rows = np.round((rng.normal(0, 1e-4, (3, SAMPLES)) + np.outer([1.0, 0.7, 0.4], burst)) * 4e5).astype(np.int32)
    return Record(
        tuple(
            Component(name, row, 0.01, "counts", 4e5, start) for name, row in zip(("H1", "H2", "V"), rows, strict=True)
        ),
        Station(f"S{seed:04d}", "XX", "00", instrument_code="HN"),
    )


def best(call: Callable[[], Any], times: int = 3) -> float:
    taken = []
    for _ in range(times):
        begun = time.perf_counter()
        call()
        taken.append(time.perf_counter() - begun)
    return min(taken)


def verifying(folder: Path) -> None:
    """Print what `verify` takes beside reading and hashing the same files."""
    archive = Archive(folder / "real", create=True)
    made = [process(shaking(seed), SETTINGS) for seed in range(24)]
    begun = time.perf_counter()
    for result in made:
        archive.add(result)
    adding = time.perf_counter() - begun
    size = sum(path.stat().st_size for path in archive.files())

    def read_and_hash() -> None:
        for path in archive.files():
            hashlib.sha256(path.read_bytes()).hexdigest()

    plain = best(read_and_hash)
    whole = best(archive.verify)
    archive.index.refresh()
    indexed = best(archive.verify)
    print(
        f"  24 records of 3 x {SAMPLES} samples, {size / 24e6:.2f} MB each; added in {1000 * adding / 24:.1f} ms each"
    )
    print(f"  read and hashed    {1000 * plain / 24:7.2f} ms a record")
    print(f"  verified           {1000 * whole / 24:7.2f} ms a record, {whole / plain:.1f} times (no index yet)")
    print(f"  verified           {1000 * indexed / 24:7.2f} ms a record, {indexed / plain:.1f} times (wanted: 2)")
    begun = time.perf_counter()
    archive.index.refresh(rebuild=True)
    print(f"  index built        {1000 * (time.perf_counter() - begun) / 24:7.2f} ms a record\n")


def cheap(folder: Path, number: int, models: list[Path]) -> Archive:
    """Make an archive of many records from few files."""
    archive = Archive(folder, create=True)
    content = [(path, *files.read_bytes(path)) for path in models]
    for at in range(number):
        path, whole, digest = content[at % len(content)]
        record = f"XX.S{at:06d}.00.HN_20310307T041500"
        name = f"1-{digest[:8]}"
        file = archive.records / f"{record}.v{name}.h5"
        values = {
            "number": 1, "name": name, "file": file.name, "sha256": digest, "size": len(whole), "automatic": True,
            "samples": "", "metadata": "", "settings": "", "software": "", "differs": [], "supersedes": "",
            "formerly": {},
        }  # fmt: skip
        entry = Entry(record, 1, (), "version", values).content()
        place = archive.manifest.folder / record
        place.mkdir()
        (place / f"000001-{hashlib.sha256(entry).hexdigest()}.json").write_bytes(entry)
        try:
            os.link(path, file)
        except OSError:  # a file takes only so many links
            copy = path.with_name(f"{path.name}.{at}")
            shutil.copy(path, copy)
            content[at % len(content)] = (copy, whole, digest)
            os.link(copy, file)
    return archive


def growing(folder: Path) -> None:
    """Print what questions take over 1 000 to 100 000 records."""
    real = Archive(folder / "real")
    models = real.files()[:8]
    by_digest = {}
    for path in models:
        record = path.name.split(".v")[0]
        row = catalogue.row_of(path, record, "", catalogue.PERIODS)
        by_digest[row["sha256"]] = row

    def listed(_: Any, calls: Iterator[tuple[Path, str, str, Any]], jobs: int) -> Iterator[dict[str, Any]]:
        for _path, _record, digest, _periods in calls:
            yield by_digest[digest]

    print("  records   listed  index    catalogue  find     verify")
    print("              s     s, MB        s        s      ms each")
    for number in SIZES:
        archive = cheap(folder / f"many{number}", number, models)
        time.sleep(2.5)  # so that the folders are settled
        begun = time.perf_counter()
        with mock.patch.object(catalogue, "in_processes", listed):
            archive.index.refresh()
        built = time.perf_counter() - begun
        size = archive.index.path.stat().st_size / 1e6
        listing = best(lambda archive=archive: archive.index._folders())
        whole = best(lambda archive=archive: Archive(archive.folder).catalogue())
        asked = best(lambda archive=archive: Archive(archive.folder).find("pga_h > 0.998 and station == 'S0003'"))
        begun = time.perf_counter()
        problems = archive.verify()
        verify = (time.perf_counter() - begun) / number
        assert not problems, problems[:3]
        times = f"{whole:7.2f}  {asked:7.2f}   {1000 * verify:6.2f}"
        print(f"  {number:7d}   {listing:5.2f}  {built:5.1f} {size:5.1f}   {times}")
    print("  (wanted at 100 000: catalogue and find below 1 s)\n")


def engines(folder: Path) -> None:
    """Print SQLite against DuckDB over Parquet on a table of 1 000 000 rows."""
    rng = np.random.default_rng(1)
    numbers = [name for name in catalogue._OF_FILE if not catalogue._is_text(name)]
    table = pd.DataFrame({name: rng.lognormal(size=ROWS) for name in numbers})
    table.insert(0, "record", [f"XX.S{number:07d}.00.HN_20310307T041500" for number in range(ROWS)])
    table.insert(1, "station", [f"S{number % 3000:04d}" for number in range(ROWS)])
    place = folder / "engine.sqlite"
    begun = time.perf_counter()
    with contextlib.closing(sqlite3.connect(place)) as base:
        base.execute("PRAGMA journal_mode = OFF")
        base.execute(f"CREATE TABLE records ({', '.join(catalogue._quoted(name) for name in table)})")
        marks = ", ".join("?" * table.shape[1])
        base.executemany(f"INSERT INTO records VALUES ({marks})", table.itertuples(index=False, name=None))
        base.commit()
    written = time.perf_counter() - begun
    question = '"pga_h_m_s2" > 5 AND "longest_usable_period_s" > 2'

    def sqlite_whole() -> pd.DataFrame:
        with contextlib.closing(sqlite3.connect(place)) as base:
            names = ["record", "pga_h_m_s2", "longest_usable_period_s"]
            rows = base.execute(f"SELECT {catalogue._listed(names)} FROM records").fetchall()
            return pd.DataFrame(dict(zip(names, map(np.array, zip(*rows, strict=True)), strict=True)))

    def sqlite_find() -> int:
        with contextlib.closing(sqlite3.connect(place)) as base:
            return len(base.execute(f"SELECT * FROM records WHERE {question}").fetchall())

    print(f"  {ROWS} rows, {table.shape[1]} columns            written    size   3 columns  question")
    print(
        f"  SQLite {sqlite3.sqlite_version:26} {written:7.1f} s {place.stat().st_size / 1e6:6.0f} MB "
        f"{best(sqlite_whole):7.2f} s {best(sqlite_find):7.2f} s"
    )
    try:
        import duckdb
    except ImportError:
        print("  DuckDB is not installed: pip install duckdb")
        return
    parquet = folder / "engine.parquet"
    begun = time.perf_counter()
    table.to_parquet(parquet, index=False)
    written = time.perf_counter() - begun

    def duck(text: str) -> Any:
        with contextlib.closing(duckdb.connect()) as base:
            return base.execute(text).fetchnumpy()

    whole = best(lambda: duck(f"SELECT record, pga_h_m_s2, longest_usable_period_s FROM '{parquet}'"))
    asked = best(lambda: duck(f"SELECT * FROM '{parquet}' WHERE {question}"))
    print(
        f"  DuckDB {duckdb.__version__:6} over Parquet        {written:7.1f} s {parquet.stat().st_size / 1e6:6.0f} MB "
        f"{whole:7.2f} s {asked:7.2f} s\n"
    )


def same_bytes(folder: Path) -> None:
    """Print how many of 60 equal results have equal bytes beside a thread that holds the interpreter's frames."""
    import threading

    result = Archive(folder / "real")[Archive(folder / "real").ids()[0]]
    first, stop = files.packed(result), threading.Event()

    def hold() -> None:
        while not stop.is_set():
            held = list(sys._current_frames().values())
        del held

    thread = threading.Thread(target=hold)
    thread.start()
    same = sum(files.packed(result) == first for _ in range(60))
    stop.set()
    thread.join()
    taken = best(lambda: files.packed(result))
    print(f"  {same} of 60 files equal beside a busy thread; packed in {1000 * taken:.1f} ms")
    content = files.packed(result)

    def walk() -> None:
        with gate.passed(content):
            pass

    print(f"  the gate's walk over it takes {1000 * best(walk):.1f} ms\n")


def main() -> None:
    print(f"{processor()}, {os.cpu_count()} processors, load {os.getloadavg()[0]:.1f}\n")
    folder = Path(tempfile.mkdtemp())
    try:
        verifying(folder)
        same_bytes(folder)
        growing(folder)
        engines(folder)
    finally:
        shutil.rmtree(folder)
