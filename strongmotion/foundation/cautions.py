"""The words every result carries: archive files, tables, figures and pages."""

__all__ = ["CAUTION", "CAUTIONS", "EVENT_CAUTION", "EVENT_CAUTIONS"]

CAUTIONS = (
    "For information only: these numbers depend on the processing choices recorded with them.",
    "They hold only within the usable band; ordinates outside it are marked.",
    "Use in design is for licensed engineers under the local code.",
)
"""The cautions in full, a sentence each."""

CAUTION = "For information; depends on processing choices. Design use: licensed engineers, under the local code."
"""The cautions in one line, for small print."""

EVENT_CAUTIONS = (
    "A first picture of an earthquake from few stations, for context and to check the records.",
    "Not for warning or public alert.",
    "The solution of the responsible seismological agency is the authority.",
)
"""What is said of an event located and sized here, a sentence each."""

EVENT_CAUTION = (
    "A first picture from few stations. Not for warning or public alert; the agencies' solution is the authority."
)
"""The same in one line."""
