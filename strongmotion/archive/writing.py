"""HDF5 written so that equal content gives equal bytes, whatever else the process does."""

from __future__ import annotations

import secrets
from typing import Any, Self

import h5py
import numpy as np
from h5py import h5a, h5d, h5ds, h5g, h5p, h5s, h5t
from numpy.typing import NDArray

__all__ = ["Writer"]

_LONG = 4096
"""From so many numbers on, float64 arrays are not compressed: their last digits are noise, and packing them would take
more time than all other writing, to save a fifth of the space."""
_CHUNK = 1 << 20
"""Arrays of up to so many bytes lie in one piece."""


class Writer:
    """A file in the making, or a group or dataset of it.

    HDF5's bytes depend on when an object is closed, and Python closes an object when its last reference falls, which
    a debugger or profiler that holds frames delays. So every group and dataset stays open until the bytes are taken,
    and every attribute is closed right after it is written.

    Examples
    --------
    >>> with Writer() as file:
    ...     _ = file.group("raw").numbers("H1", np.arange(3))
    ...     content = file.content()
    >>> content[1:4]
    b'HDF'
    """

    def __init__(self) -> None:
        # In memory, so that a full disk is met where the bytes are written, not inside the HDF5 library.
        # HDF5 1.8 structures are what netCDF-4 reads, and they carry checksums.
        self._file = h5py.File(
            secrets.token_hex(), "w", driver="core", backing_store=False, block_size=1 << 20,
            libver=("v108", "v108"), track_order=True,
        )  # fmt: skip
        self._id: Any = h5g.open(self._file.id, b"/")
        self._kept: list[Writer] = [self]
        self._names: set[str] = set()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self._file.close()

    def content(self) -> bytes:
        """Return the bytes of the whole file."""
        self._file.flush()
        return bytes(self._file.id.get_file_image())

    def _inside(self, name: str, made: Any) -> Writer:
        child = Writer.__new__(Writer)
        child._file, child._id, child._kept, child._names = self._file, made, self._kept, set()
        self._kept.append(child)
        self._names.add(name)
        return child

    def __contains__(self, name: str) -> bool:
        return name in self._names

    def group(self, name: str) -> Writer:
        """Make a group."""
        plan = h5p.create(h5p.GROUP_CREATE)
        plan.set_obj_track_times(False)
        plan.set_link_creation_order(h5p.CRT_ORDER_TRACKED | h5p.CRT_ORDER_INDEXED)
        plan.set_attr_creation_order(h5p.CRT_ORDER_TRACKED | h5p.CRT_ORDER_INDEXED)
        return self._inside(name, h5g.create(self._id, name.encode(), gcpl=plan))

    def numbers(self, name: str, values: NDArray[Any]) -> Writer:
        """Make a dataset of numbers, with checksums."""
        kind = h5t.py_create(values.dtype, logical=True)
        return self._dataset(name, np.ascontiguousarray(values).reshape(values.shape), kind)

    def texts(self, name: str, values: NDArray[Any]) -> Writer:
        """Make a dataset of texts, UTF-8."""
        array, kind = _texts(values.ravel().tolist())
        return self._dataset(name, array.reshape(values.shape), kind)

    def text(self, name: str, text: str, long_name: str) -> Writer:
        """Make a dataset of one text."""
        array, kind = _texts([text])
        dataset = self._dataset(name, array.reshape(()), kind)
        dataset.attribute("long_name", long_name)
        return dataset

    def _dataset(self, name: str, array: NDArray[Any], kind: Any) -> Writer:
        plan = h5p.create(h5p.DATASET_CREATE)
        plan.set_attr_creation_order(h5p.CRT_ORDER_TRACKED | h5p.CRT_ORDER_INDEXED)
        plan.set_obj_track_times(False)
        # Neither a scalar nor an empty array can lie in chunks, and of texts they would hold no more than addresses.
        if array.shape and array.size and array.dtype != object:
            chunk = array.shape if array.nbytes <= _CHUNK else _pieces(array.shape, array.itemsize)
            plan.set_chunk(chunk)
            if array.dtype != np.float64 or array.size < _LONG:
                plan.set_shuffle()
                plan.set_deflate(1)
            plan.set_fletcher32()
        space = h5s.create_simple(array.shape) if array.shape else h5s.create(h5s.SCALAR)
        dataset = h5d.create(self._id, name.encode(), kind, space, plan)
        child = self._inside(name, dataset)
        if array.size:
            dataset.write(h5s.ALL, h5s.ALL, array)
        return child

    def attribute(self, name: str, value: Any) -> None:
        """Write an attribute: a number, a text, a list of texts or an array of numbers."""
        if isinstance(value, str):
            array, kind = _texts([value])
            array = array.reshape(())
        elif isinstance(value, list):
            array, kind = _texts(value)
        else:
            array = np.asarray(value)
            kind = h5t.py_create(array.dtype, logical=True)
        space = h5s.create_simple(array.shape) if array.shape else h5s.create(h5s.SCALAR)
        attribute = h5a.create(self._id, name.encode(), kind, space)
        if array.size:
            attribute.write(array)
        del attribute  # its last reference: closed now

    def make_scale(self, name: str) -> None:
        """Make this dataset a dimension scale."""
        h5ds.set_scale(self._id, name.encode())

    def attach_scale(self, axis: int, scale: Writer) -> None:
        """Give an axis of this dataset its scale."""
        h5ds.attach_scale(self._id, scale._id, axis)


def _pieces(shape: tuple[int, ...], item: int) -> tuple[int, ...]:
    """Return a chunk of at most `_CHUNK` bytes: whole rows where they fit."""
    chunk = list(shape)
    for axis in range(len(chunk)):
        rest = item
        for length in chunk[axis + 1 :]:
            rest *= length
        chunk[axis] = max(1, min(chunk[axis], _CHUNK // rest))
        if rest <= _CHUNK:
            break
    return tuple(chunk)


def _texts(texts: list[str]) -> tuple[NDArray[Any], Any]:
    """Return texts as an array, and the HDF5 type they have.

    They are of variable length: netCDF's library 4.9 reads beyond the end of a dataset of fixed-length texts.
    """
    for text in texts:
        if "\0" in text:
            raise ValueError("a text holds a NUL character")
        text.encode("utf-8")
    kind = h5py.string_dtype()
    array = np.empty(len(texts), dtype=kind)
    array[:] = texts
    return array, h5t.py_create(kind, logical=True)
