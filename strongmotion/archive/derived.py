"""Motion made from a record that is no record itself, in a folder of its own beside the records of an archive.

``ARCHIVE/derived/<record>.<component>.<kind>-<first 8 digits of its SHA-256>.h5`` is HDF5 with a seal, as a record file
is, and passes the same gate. It names the version of the record it was made from by the SHA-256 of that file, and holds
what it was made with. The catalogue, `find`, spectra and selections never see it.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

import h5py
import numpy as np
from numpy.typing import NDArray

from .. import __version__
from ..foundation.errors import ArchiveError
from ..foundation.files import write_whole
from . import gate
from .writing import Writer

if TYPE_CHECKING:
    from .store import Archive, Problem

__all__ = ["DERIVED", "Derived", "derived_files", "derived_problems", "keep_derived", "read_derived"]

DERIVED = "derived"
"""The folder of an archive that holds them."""

LAYOUT, LAYOUT_VERSION = "strongmotion derived motion", 1
_MOTION = {
    "acceleration": ("ground acceleration", "m s-2"),
    "velocity": ("ground velocity", "m s-1"),
    "displacement": ("ground displacement", "m"),
}

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Derived:
    """One component of motion that was made from a record.

    Parameters
    ----------
    kind : str
        What was done: ``"matched"``.
    record, version : str
        What it was made from: the record's id, and the name of its version.
    component : str
    acceleration, velocity, displacement : array (n,)
        m/s², m/s and m.
    dt : float
        s.
    lead : int
        Samples before the record's first.
    made_with : mapping
        The choices and what came of them; texts and numbers, each key with its unit.
    spectrum : mapping of str to array (p,)
        ``period`` in s, and pseudo-accelerations in m/s² on it.
    cautions : tuple of str
        What whoever uses it must know.
    of_file : str
        SHA-256 of the file of that version; entered by `keep_derived`.
    """

    kind: str
    record: str
    version: str
    component: str
    acceleration: Floats
    velocity: Floats
    displacement: Floats
    dt: float
    lead: int
    made_with: Mapping[str, str | float]
    spectrum: Mapping[str, Floats] = field(default_factory=dict)
    cautions: tuple[str, ...] = ()
    of_file: str = ""


def keep_derived(archive: Archive, derived: Derived) -> Path:
    """Keep a derived motion in an archive, apart from its records; the same one is kept once.

    Raises
    ------
    ArchiveError
        The record or version it was made from is not in the archive, or the file cannot be written.
    """
    made_from = archive.version(derived.record, derived.version)
    content = gate.sealed(_written(derived, made_from.sha256))
    folder = archive.folder / DERIVED
    try:
        folder.mkdir(exist_ok=True)
    except OSError as error:
        raise ArchiveError(f"the folder cannot be made: {error.strerror}", source=str(folder)) from None
    digest = hashlib.sha256(content).hexdigest()
    path = folder / f"{derived.record}.{derived.component}.{derived.kind}-{digest[:8]}.h5"
    if not path.exists():
        write_whole(path, content, replace=True)
    return path


def derived_files(archive: Archive, record: str = "") -> list[Path]:
    """Return the files of derived motion: of one record, or of all."""
    folder = archive.folder / DERIVED
    if not folder.is_dir():
        return []
    return sorted(path for path in folder.glob("*.h5") if not record or path.name.startswith(f"{record}."))


def read_derived(path: str | Path) -> Derived:
    """Read a derived motion, after checking every byte of it against its seal.

    Raises
    ------
    ArchiveError
        The file cannot be read, is damaged, or holds something else.
    """
    path = Path(path)
    content = gate.read_regular(path)
    try:
        gate.check_seal(content)
        with gate.passed(content) as file:
            return _read(file)
    except ArchiveError as error:
        raise error.at(str(path)) from None


def derived_problems(archive: Archive) -> Iterator[Problem]:
    """Yield what is wrong with the derived motion of an archive, and with what it was made from."""
    from .store import Problem

    for path in derived_files(archive):
        try:
            its = read_derived(path)
            named = f"{its.record}.{its.component}.{its.kind}-"
            if not path.name.startswith(named):
                yield Problem(path, f"holds {named[:-1]}. Give the file its name back.")
            elif archive.version(its.record, its.version).sha256 != its.of_file:
                yield Problem(
                    path, f"was made from another file than version {its.version} of {its.record}. Make it anew."
                )
        except ArchiveError as error:
            yield Problem(path, str(error.at(None)))


def _written(derived: Derived, of_file: str) -> bytes:
    with Writer() as file:
        for name, value in {
            "layout": LAYOUT, "layout_version": LAYOUT_VERSION,
            "title": f"Derived motion, not a record: {derived.kind} from {derived.record}",
            "kind": derived.kind, "made_from_record": derived.record, "made_from_version": derived.version,
            "made_from_sha256": of_file, "component": derived.component, "dt_s": float(derived.dt),
            "lead_samples": int(derived.lead), "cautions": list(derived.cautions), "software_version": __version__,
        }.items():  # fmt: skip
            file.attribute(name, value)
        file.text("made_with", json.dumps(dict(derived.made_with), sort_keys=True), "what it was made with, JSON")
        motion = file.group("motion")
        time = motion.numbers("time", (np.arange(len(derived.acceleration)) - derived.lead) * derived.dt)
        time.attribute("long_name", "time after the record's first sample")
        time.attribute("units", "s")
        time.make_scale("time")
        for name, (long_name, unit) in _MOTION.items():
            dataset = motion.numbers(name, np.asarray(getattr(derived, name), dtype=np.float64))
            dataset.attach_scale(0, time)
            dataset.attribute("long_name", f"{long_name}, component {derived.component}, derived")
            dataset.attribute("units", unit)
        spectrum = file.group("spectrum")
        spectrum.attribute("columns", [name for name in derived.spectrum if name != "period"])
        if derived.spectrum:
            period = spectrum.numbers("period", np.asarray(derived.spectrum["period"], dtype=np.float64))
            period.attribute("long_name", "oscillator period")
            period.attribute("units", "s")
            period.make_scale("period")
            for name, values in derived.spectrum.items():
                if name != "period":
                    dataset = spectrum.numbers(name, np.asarray(values, dtype=np.float64))
                    dataset.attach_scale(0, period)
                    dataset.attribute("long_name", name.replace("_", " "))
                    dataset.attribute("units", "m s-2")
        return file.content()


def _read(file: h5py.File) -> Derived:
    if _said(file, "layout") != LAYOUT:
        raise ArchiveError("holds no derived motion", remedy="Give a file of the folder `derived` of an archive")
    if int(_said(file, "layout_version")) > LAYOUT_VERSION:
        raise ArchiveError("is of a later layout", remedy="Read it with a newer strongmotion")
    made_with = json.loads(gate.texts(_inside(file, "made_with")))
    if not isinstance(made_with, dict) or not all(isinstance(value, str | int | float) for value in made_with.values()):
        raise ArchiveError("what it was made with is not texts and numbers", remedy=gate.RESTORE)
    spectrum = {}
    columns = [str(name) for name in np.atleast_1d(gate.attribute(_inside(file, "spectrum"), "columns", []))]
    if columns:
        spectrum = {name: _row(file, f"spectrum/{name}") for name in ("period", *columns)}
    arrays = {name: _row(file, f"motion/{name}") for name in _MOTION}
    if len({len(array) for array in arrays.values()}) != 1 or len({len(array) for array in spectrum.values()}) > 1:
        raise ArchiveError("its arrays are not of one length", remedy=gate.RESTORE)
    return Derived(
        kind=_said(file, "kind"),
        record=_said(file, "made_from_record"),
        version=_said(file, "made_from_version"),
        component=_said(file, "component"),
        acceleration=arrays["acceleration"],
        velocity=arrays["velocity"],
        displacement=arrays["displacement"],
        dt=float(_said(file, "dt_s")),
        lead=int(_said(file, "lead_samples")),
        made_with=made_with,
        spectrum=spectrum,
        cautions=tuple(str(text) for text in np.atleast_1d(gate.attribute(file, "cautions", []))),
        of_file=_said(file, "made_from_sha256"),
    )


def _said(file: h5py.File, name: str) -> Any:
    value = gate.attribute(file, name)
    if value is None:
        raise ArchiveError(f"attribute {name} is missing", remedy=gate.RESTORE)
    return value.decode() if isinstance(value, bytes) else value


def _inside(file: h5py.File, name: str) -> Any:
    if name not in file:
        raise ArchiveError(f"/{name} is missing", remedy=gate.RESTORE)
    return file[name]


def _row(file: h5py.File, name: str) -> Floats:
    dataset = _inside(file, name)
    if not isinstance(dataset, h5py.Dataset) or dataset.ndim != 1 or dataset.dtype != np.float64:
        raise ArchiveError(f"/{name} is not a row of numbers", remedy=gate.RESTORE)
    return np.asarray(dataset[()])
