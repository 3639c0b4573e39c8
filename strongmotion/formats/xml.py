"""Reader for XML documents that may be hostile: no DTD, no entities, limited depth and size."""

from __future__ import annotations

import math
from collections.abc import Collection, Iterator
from dataclasses import dataclass, field
from xml.parsers.expat import ErrorString

import numpy as np

from ..foundation.errors import RecordError
from ..foundation.times import instant_in
from .header import INTEGER, NUMBER, shown

DEEPEST = 40
LONGEST_TEXT = 100_000
MOST_ELEMENTS = 5_000_000
MOST_KEPT = 200_000
"""Names of the elements kept. The coefficients of digital filters, which can be many, are not."""


@dataclass(slots=True)
class Node:
    """An element: tag without namespace, attributes, text, child elements, and line."""

    tag: str
    attributes: dict[str, str]
    file: str
    line: int
    text: str = ""
    children: list[Node] = field(default_factory=list)

    def error(self, what: str, remedy: str = "Correct the document") -> RecordError:
        """Return an error that names the file and this element's line."""
        return RecordError(f"<{self.tag}>: {what}", source=self.file, line=self.line, remedy=remedy)

    def all(self, *path: str) -> Iterator[Node]:
        """Yield the elements at a path of tags."""
        for child in self.children:
            if child.tag == path[0]:
                if len(path) == 1:
                    yield child
                else:
                    yield from child.all(*path[1:])

    def first(self, *path: str) -> Node | None:
        """Return the first element at a path, or None."""
        return next(self.all(*path), None)

    def words(self, *path: str) -> str:
        """Return the text at a path, or an empty string."""
        node = self.first(*path)
        return "" if node is None else " ".join(node.text.split())

    def number(self, *path: str) -> float | None:
        """Return the number at a path, or None."""
        node = self.first(*path)
        if node is None or not node.text.strip():
            return None
        text = node.text.strip()
        value = float(text) if NUMBER.fullmatch(text) else math.nan
        if not math.isfinite(value):
            raise node.error(f"expected a number, found {shown(text)}")
        return value

    def whole(self, *path: str) -> int | None:
        """Return the integer at a path, or None."""
        node = self.first(*path)
        if node is None or not node.text.strip():
            return None
        if not INTEGER.fullmatch(node.text.strip()) or len(node.text.strip()) > 18:
            raise node.error(f"expected a whole number, found {shown(node.text.strip())}")
        return int(node.text)

    def time(self, attribute: str) -> np.datetime64 | None:
        """Return the time in an attribute, or None if it is absent or so distant that it means "open"."""
        text = self.attributes.get(attribute, "").strip()
        return self.time_of(text) if text else None

    def time_of(self, text: str) -> np.datetime64 | None:
        """Return the time in a text of this element."""
        year = text[:4]
        if year.isdigit() and not 1900 <= int(year) <= 2150:
            return None
        try:
            return instant_in(text)
        except ValueError:
            raise self.error(f"expected a date and time, found {shown(text)}") from None


class _Builder:
    """Keeps the requested elements, and counts all."""

    def __init__(self, file: str, kept: Collection[str]) -> None:
        self.file, self.kept, self.parser = file, kept, None
        self.root: Node | None = None
        self.open: list[Node | None] = []
        self.seen = self.count = 0

    def line(self) -> int:
        return int(getattr(self.parser, "CurrentLineNumber", 1))

    def start(self, tag: str, attributes: dict[str, str]) -> None:
        self.seen += 1
        if len(self.open) >= DEEPEST or self.seen > MOST_ELEMENTS or self.count > MOST_KEPT:
            what = f"is nested deeper than {DEEPEST} levels" if len(self.open) >= DEEPEST else "has too many elements"
            raise RecordError(
                f"the document {what}", source=self.file, line=self.line(), remedy="Extract the part you need"
            )
        name = tag.rpartition("}")[2]
        parent = self.open[-1] if self.open else None
        node = None
        if not self.open or (parent is not None and name in self.kept):
            node = Node(
                name, {key.rpartition("}")[2]: text for key, text in attributes.items()}, self.file, self.line()
            )
            self.count += 1
            if parent is None:
                self.root = node
            else:
                parent.children.append(node)
        self.open.append(node)

    def end(self, tag: str) -> None:
        self.open.pop()

    def data(self, text: str) -> None:
        if (node := self.open[-1]) is not None and not text.isspace():
            if len(node.text) > LONGEST_TEXT:
                raise node.error(f"it has more than {LONGEST_TEXT} characters", "Extract the part you need")
            node.text += text

    def close(self) -> Node | None:
        return self.root


def is_xml(head: bytes) -> bool:
    """Whether the start of a file looks like XML."""
    return head.lstrip()[:1] == b"<"


def parse(data: bytes, file: str, root: str, kept: Collection[str]) -> Node:
    """Parse a document and return its root.

    Parameters
    ----------
    data : bytes
    file : str
        For messages.
    root : str
        The tag the root must have.
    kept : collection of str
        Tags of the elements to keep. Children are kept only if listed too.

    Raises
    ------
    RecordError
        The document is not well formed, has a DTD or entities, is too deep or too large, or has another root.
    """
    from xml.etree.ElementTree import ParseError

    from defusedxml.common import DefusedXmlException
    from defusedxml.ElementTree import DefusedXMLParser

    builder = _Builder(file, kept)
    parser = DefusedXMLParser(target=builder, forbid_dtd=True, forbid_entities=True, forbid_external=True)
    builder.parser = parser.parser
    try:
        parser.feed(data)
        node = parser.close()
    except DefusedXmlException as error:
        what = "declares a document type or entities, which no record needs and which can be an attack"
        raise RecordError(
            f"the document {what} ({type(error).__name__})",
            source=file,
            line=builder.line(),
            remedy="Remove the declaration",
        ) from None
    except ParseError as error:
        raise RecordError(
            f"the XML is not well formed: {ErrorString(error.code)}",
            source=file,
            line=error.position[0],
            remedy="Copy it again from its source",
        ) from None
    except (ValueError, LookupError) as error:  # an encoding unknown to expat
        raise RecordError(
            f"the XML cannot be read: {error}", source=file, line=builder.line(), remedy="Save it as UTF-8"
        ) from None
    if node is None or node.tag != root:
        raise RecordError(
            f"expected the root element {root}, found {shown(node.tag) if node else 'nothing'}",
            source=file,
            line=1,
            remedy="Give the right file",
        )
    return node
