"""Results on disk: one HDF5 file a record, and the catalogue over all of them."""

from .catalogue import write_catalogue
from .files import read_result, write_whole
from .store import Archive, Problem

__all__ = ["Archive", "Problem", "read_result", "write_catalogue", "write_whole"]
