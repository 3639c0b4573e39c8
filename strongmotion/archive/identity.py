"""What makes a record the same record, and a result the same result."""

from __future__ import annotations

import hashlib
import json
from typing import TYPE_CHECKING, Any

import h5py
import numpy as np

from .. import __version__
from . import gate, layout
from .typed import encoded

if TYPE_CHECKING:
    from ..record import Record
    from ..settings import Settings

__all__ = ["canonical_sha256", "is_identified", "made_of", "metadata_sha256", "samples_sha256"]


def samples_sha256(record: Record) -> str:
    """Return the SHA-256 of the raw samples alone, in the order of the file, each with its type."""
    digest = hashlib.sha256()
    for component in record:
        digest.update(f"{component.samples.dtype.str} {len(component)}\n".encode())
        digest.update(component.samples.tobytes())
    return digest.hexdigest()


def metadata_sha256(record: Record) -> str:
    """Return the SHA-256 of what is known of a record but its samples and the files it came from."""
    known = {name: value for name, value in layout.about(record).items() if name not in ("source", "joined")}
    return hashlib.sha256(json.dumps(encoded(known), sort_keys=True).encode()).hexdigest()


def made_of(record: Record, settings: Settings, software: str = __version__) -> dict[str, str]:
    """Return what a result is a function of, as it stands in the manifest: where all is the same, so is the result.

    Examples
    --------
    >>> import strongmotion as sm
    >>> sorted(made_of(sm.read("demo_records/quay.csv"), sm.Settings()))
    ['metadata', 'samples', 'settings', 'software']
    """
    return {
        "samples": samples_sha256(record),
        "metadata": metadata_sha256(record),
        "settings": settings.sha256,
        "software": software,
    }


def is_identified(record: Record) -> bool:
    """Tell whether station, instrument and start are all known, so that one id is one record beyond doubt."""
    return bool(record.station.code and record.station.instrument_code and record.start is not None)


def canonical_sha256(content: bytes) -> str:
    """Return the SHA-256 of what a record file says, however HDF5 laid it out.

    Paths in alphabetical order, each with its attributes, type, shape and values; bookkeeping of dimension scales is
    left out. Two files of one layout with the same digest hold the same result.
    """
    digest = hashlib.sha256()
    with gate.passed(content) as file:
        items: dict[str, Any] = {"": file}
        file.visititems(lambda name, item: items.__setitem__(name, item))
        for name in sorted(items):
            item = items[name]
            digest.update(f"{name}\n".encode())
            for key in sorted(item.attrs):
                if key.islower() or key == "Conventions":
                    _add(digest, key, gate.attribute(item, key))
            if isinstance(item, h5py.Dataset):
                _add(digest, "", gate.texts(item) if h5py.check_string_dtype(item.dtype) else item[()])
    return digest.hexdigest()


def _add(digest: Any, name: str, value: Any) -> None:
    array = np.asarray(value)
    if array.dtype.kind in "biuf":
        digest.update(f"{name} {array.dtype.str} {array.shape}\n".encode())
        digest.update(np.ascontiguousarray(array).tobytes())
        return
    texts = [one.decode() if isinstance(one, bytes) else str(one) for one in np.ravel(value).tolist()]
    digest.update(f"{name} text {array.shape} {json.dumps(texts)}\n".encode())
