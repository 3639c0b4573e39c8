"""Many records against a target spectrum: a table of their spectra, a comparison, and a choice with factors."""

from __future__ import annotations

from .compare import Comparison, compare
from .match import Match, PairMatch, match, match_pair
from .select import Selection, select
from .spectra import SuiteSpectra, spectra_of, target_named

__all__ = [
    "Comparison",
    "Match",
    "PairMatch",
    "Selection",
    "SuiteSpectra",
    "compare",
    "match",
    "match_pair",
    "select",
    "spectra_of",
    "target_named",
]
