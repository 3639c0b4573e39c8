"""Where a version comes from: software, libraries, machine, command, person and time.

All of it goes into the manifest, none into the record file, so that the file is a function of record, settings and
software alone.
"""

from __future__ import annotations

import datetime
import functools
import hashlib
import importlib.metadata
import platform
import shlex
import sys
from pathlib import Path
from typing import Any

from .. import __version__

__all__ = ["now", "provenance", "source_sha256"]

_LIBRARIES = ("numpy", "scipy", "pandas", "numba", "h5py", "pymseed")
_LONGEST_COMMAND = 2000


def now() -> str:
    """Return the time by this machine's clock, UTC, ISO 8601. Nothing is ever put in order by it."""
    return datetime.datetime.now(datetime.UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")


def provenance() -> dict[str, Any]:
    """Return what made a version, as far as it is known; a person is never guessed."""
    command = shlex.join([Path(sys.argv[0]).name, *sys.argv[1:]]) if sys.argv and sys.argv[0] else ""
    return {**_fixed(), "command": command[:_LONGEST_COMMAND]}


@functools.cache
def _fixed() -> dict[str, Any]:
    import h5py

    libraries = {}
    for name in _LIBRARIES:
        try:
            libraries[name] = importlib.metadata.version(name)
        except importlib.metadata.PackageNotFoundError:
            continue
    libraries["HDF5"] = h5py.version.hdf5_version
    return {
        "software": f"strongmotion {__version__}",
        "source_sha256": source_sha256(),
        "python": platform.python_version(),
        "libraries": libraries,
        "machine": {"name": platform.node(), "system": platform.platform(), "processor": platform.machine()},
    }


@functools.cache
def source_sha256() -> str:
    """Return the SHA-256 over the source files of this software: its revision, installed from wherever it was."""
    digest = hashlib.sha256()
    top = Path(__file__).parents[1]
    for path in sorted(top.rglob("*.py")):
        digest.update(str(path.relative_to(top)).encode() + b"\0")
        digest.update(hashlib.sha256(path.read_bytes()).digest())
    return digest.hexdigest()
