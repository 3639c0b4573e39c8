"""What a notebook shows of a record or a result."""

from __future__ import annotations

from ..record import Record
from ..result import Result
from .page import templates
from .tables import DAGGER, SEVERITIES, facts, headline_table, most_severe_first

__all__ = ["notebook_view"]


def notebook_view(thing: Record | Result) -> str:
    """Return a record's facts, or a result's headline numbers and findings, as HTML for a notebook.

    Parameters
    ----------
    thing : Record or Result

    Returns
    -------
    str
        Accelerations are in m/s². Everything that came from a file is escaped.
    """
    result = thing if isinstance(thing, Result) else None
    record = thing if isinstance(thing, Record) else thing.record
    columns, rows = headline_table(result, "m/s2") if result else ([], [])
    findings = result.findings if result else record.findings
    return templates().get_template("notebook.html").render(
        title=record.station.name or record.id,
        facts=facts(record),
        components=list(record) if result is None else [],
        columns=columns,
        rows=rows,
        findings=sorted(findings, key=most_severe_first),
        severities=SEVERITIES,
        dagger=DAGGER,
        cautions=result.cautions if result else (),
    )  # fmt: skip
