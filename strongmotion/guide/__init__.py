"""The guide: one page a task, in Markdown, read in a terminal or on the web as it is."""

from __future__ import annotations

from importlib import resources

from ..foundation.errors import InputError

__all__ = ["TOPICS", "page", "title"]

TOPICS = (
    "first-record", "formats", "corners", "displacement", "review", "spectra", "selecting", "archives",
    "batches", "events",
    "notebooks", "without-us", "numbers", "checks", "gallery", "changes",
)  # fmt: skip
"""The pages, in the order in which a newcomer reads them."""


def page(topic: str) -> str:
    """Return a page of the guide, Markdown.

    Parameters
    ----------
    topic : str
        One of `TOPICS`, or the beginning of one.

    Raises
    ------
    InputError
        There is no such page, or several begin so.

    Examples
    --------
    >>> page("corners").splitlines()[0]
    '# Choosing corners'
    """
    found = [name for name in TOPICS if name == topic] or [name for name in TOPICS if name.startswith(topic)]
    if len(found) != 1:
        raise InputError(f"no page {topic!r} in the guide", field="topic", remedy=f"Pages: {', '.join(TOPICS)}")
    return resources.files(__name__).joinpath(f"{found[0]}.md").read_text(encoding="utf-8")


def title(topic: str) -> str:
    """Return the title of a page.

    Examples
    --------
    >>> title("corners")
    'Choosing corners'
    """
    return page(topic).partition("\n")[0].removeprefix("# ")
