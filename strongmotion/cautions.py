"""The words every result carries: archive files, tables, figures and pages."""

__all__ = ["CAUTION", "CAUTIONS"]

CAUTIONS = (
    "For information only: these numbers depend on the processing choices recorded with them.",
    "They hold only within the usable band; ordinates outside it are marked.",
    "Use in design is for licensed engineers under the local code.",
)
"""The cautions in full, a sentence each."""

CAUTION = "For information; depends on processing choices. Design use: licensed engineers, under the local code."
"""The cautions in one line, for small print."""
