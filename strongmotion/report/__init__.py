"""What a person looks at: figures of results, a page for each record, and a page for an archive."""

from .archive_figures import distribution_figure, station_figure
from .archive_page import Report, archive_page, write_report
from .decimate import peaks_kept
from .event_figures import map_figure, section_figure, shaking_figure, write_event
from .figures import FIGURES, FigureEntry, draw
from .match_figure import match_figure
from .motion_figures import husid_figure, motion_figure, offset_figure, particle_figure, raw_figure
from .notebook import notebook_view
from .page import record_page, write_record_page
from .pdf import write_pdf
from .processing_figure import processing_figure
from .spectrum_figures import (
    acceleration_displacement_figure,
    comparison_figure,
    rotation_figure,
    spectrum_figure,
    tripartite_figure,
)
from .style import save
from .suite_figure import suite_figure
from .suite_page import suite_page, write_suite_page
from .suite_summary import Member, write_suite_summary
from .summary import PAPERS, Prints

__all__ = [
    "FIGURES",
    "PAPERS",
    "FigureEntry",
    "Member",
    "Prints",
    "Report",
    "acceleration_displacement_figure",
    "archive_page",
    "comparison_figure",
    "distribution_figure",
    "draw",
    "husid_figure",
    "map_figure",
    "match_figure",
    "motion_figure",
    "notebook_view",
    "offset_figure",
    "particle_figure",
    "peaks_kept",
    "processing_figure",
    "raw_figure",
    "record_page",
    "rotation_figure",
    "save",
    "section_figure",
    "shaking_figure",
    "spectrum_figure",
    "station_figure",
    "suite_figure",
    "suite_page",
    "tripartite_figure",
    "write_event",
    "write_pdf",
    "write_record_page",
    "write_report",
    "write_suite_page",
    "write_suite_summary",
]
