"""What a person looks at: figures of results, a page for each record, and a page for an archive."""

from .decimate import peaks_kept
from .motion_figures import husid_figure, motion_figure, offset_figure, particle_figure, raw_figure
from .processing_figure import processing_figure
from .spectrum_figures import (
    acceleration_displacement_figure,
    comparison_figure,
    rotation_figure,
    spectrum_figure,
    tripartite_figure,
)
from .style import save

__all__ = [
    "acceleration_displacement_figure",
    "comparison_figure",
    "husid_figure",
    "motion_figure",
    "offset_figure",
    "particle_figure",
    "peaks_kept",
    "processing_figure",
    "raw_figure",
    "rotation_figure",
    "save",
    "spectrum_figure",
    "tripartite_figure",
]
