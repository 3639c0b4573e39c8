"""Results on disk: one HDF5 file a version of a record, what was decided about it, and the catalogue over all."""

from .catalogue import write_catalogue
from .compare import MOVED, moved, same_numbers
from .decisions import DECISIONS, STATES, Decision, Standing, Version, check_decision
from .derived import Derived, derived_files, keep_derived, read_derived
from .export import Delivery, export, export_derived, factors_in
from .files import read_result
from .gate import read_regular
from .identity import made_of
from .manifest import Entry
from .measures import in_acceleration_unit, measures_of
from .names import version_of_file
from .signing import check_against, sign
from .store import Archive, Problem, Summary

__all__ = [
    "DECISIONS",
    "MOVED",
    "STATES",
    "Archive",
    "Decision",
    "Delivery",
    "Derived",
    "Entry",
    "Problem",
    "Standing",
    "Summary",
    "Version",
    "check_against",
    "check_decision",
    "derived_files",
    "export",
    "export_derived",
    "factors_in",
    "in_acceleration_unit",
    "keep_derived",
    "made_of",
    "measures_of",
    "moved",
    "read_derived",
    "read_regular",
    "read_result",
    "same_numbers",
    "sign",
    "version_of_file",
    "write_catalogue",
]
