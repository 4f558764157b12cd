"""XML as a small tree with line numbers, without the rest of XML.

No document type, so no entities of its own and nothing fetched; limited depth, number of
elements and length of text. Source: XML 1.0 (Fifth Edition), read by expat.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from xml.parsers import expat

from compliance.readings.text import Problems

DEEPEST = 16
MOST_ELEMENTS = 500_000
LONGEST = 131_072
"""Characters of one tag and the text up to the next."""


@dataclass(slots=True)
class Element:
    """One element; names without their prefix."""

    name: str
    space: str
    """The namespace's name; empty if there is none."""
    line: int
    attributes: dict[str, str]
    text: str = ""
    """Its character data, without the blanks around them."""
    children: list[Element] = field(default_factory=list)

    def each(self, name: str) -> Iterator[Element]:
        """The children of that name."""
        return (child for child in self.children if child.name == name)

    def first(self, name: str) -> Element | None:
        """The first child of that name."""
        return next(self.each(name), None)

    def text_at(self, *names: str) -> str:
        """The text of the element at a path of names; empty if there is none."""
        element = self.at(*names)
        return element.text if element else ""

    def at(self, *names: str) -> Element | None:
        """The element at a path of names, the first of each name; None if there is none."""
        element: Element | None = self
        for name in names:
            element = element.first(name) if element else None
        return element


class _Builder:
    """Builds elements from expat's events."""

    def __init__(self, problems: Problems) -> None:
        self.root: Element | None = None
        self._problems = problems
        self._open: list[Element] = []
        self._texts: list[list[str]] = []
        self._count = 0
        self.parser = expat.ParserCreate(encoding="utf-8", namespace_separator="\n")
        self.parser.buffer_text = True
        self.parser.StartElementHandler = self._start
        self.parser.EndElementHandler = self._end
        self.parser.CharacterDataHandler = self._data
        self.parser.StartDoctypeDeclHandler = self._doctype
        self.parser.XmlDeclHandler = self._declaration

    def _start(self, name: str, attributes: dict[str, str]) -> None:
        line = self.parser.CurrentLineNumber
        self._count += 1
        if self._count > MOST_ELEMENTS:
            message = f"more than {MOST_ELEMENTS} elements; split the file"
            raise self._problems.stop(message, line)
        if len(self._open) >= DEEPEST:
            raise self._problems.stop(f"elements are nested more than {DEEPEST} deep", line)
        space, _, local = name.rpartition("\n")
        plain = {key.rpartition("\n")[2]: value for key, value in attributes.items()}
        element = Element(local, space, line, plain)
        if self._open:
            self._open[-1].children.append(element)
        else:
            self.root = element
        self._open.append(element)
        self._texts.append([])

    def _end(self, _name: str) -> None:
        self._open.pop().text = "".join(self._texts.pop()).strip()

    def _data(self, text: str) -> None:
        if self._texts:
            self._texts[-1].append(text)

    def _doctype(self, *_stated: object) -> None:
        message = "a document type (DOCTYPE) is declared; remove it: readings need none"
        raise self._problems.stop(message, self.parser.CurrentLineNumber)

    def _declaration(self, _version: str, encoding: str | None, _standalone: int) -> None:
        if encoding is not None and encoding.upper() not in ("UTF-8", "UTF8", "US-ASCII"):
            message = f"the XML declares {encoding[:40]!r}; save it as UTF-8"
            raise self._problems.stop(message, self.parser.CurrentLineNumber)


def tree_of(text: str, problems: Problems) -> Element:
    """The root element of an XML text. Raises ReadingsError if it is not plain XML."""
    _check_lengths(text, problems)
    builder = _Builder(problems)
    try:
        builder.parser.Parse(text.encode("utf-8"), True)
    except expat.ExpatError as error:
        message = f"not well-formed XML: {expat.ErrorString(error.code)}"
        raise problems.stop(message, error.lineno) from None
    except UnicodeEncodeError:
        raise problems.stop("contains a character that XML does not allow") from None
    assert builder.root is not None
    return builder.root


def _check_lengths(text: str, problems: Problems) -> None:
    """Check, before parsing, that no tag or text is too long and that tags are not too many."""
    at = count = 0
    while at < len(text):
        following = text.find("<", at + 1)
        end = len(text) if following < 0 else following
        count += 1
        if end - at > LONGEST or count > 2 * MOST_ELEMENTS + 100_000:
            line = text.count("\n", 0, at) + 1
            long = f"a tag or text has more than {LONGEST} characters"
            message = long if end - at > LONGEST else f"more than {MOST_ELEMENTS} elements"
            raise problems.stop(f"{message}; split the file", line)
        at = end
