"""Results on disk: one HDF5 file a record, and the catalogue over all of them."""

from .catalogue import write_catalogue
from .compare import MOVED, moved, same_numbers
from .export import export
from .files import read_result
from .measures import in_acceleration_unit, measures_of
from .store import Archive, Problem, Summary

__all__ = [
    "MOVED",
    "Archive",
    "Problem",
    "Summary",
    "export",
    "in_acceleration_unit",
    "measures_of",
    "moved",
    "read_result",
    "same_numbers",
    "write_catalogue",
]
