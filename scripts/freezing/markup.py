"""A page of HTML as its outline: one line per element and per text, indented."""

from __future__ import annotations

from html.parser import HTMLParser

__all__ = ["html_outline"]

VOID = ("area", "base", "br", "col", "embed", "hr", "img", "input", "link", "meta", "source", "wbr")


class Outline(HTMLParser):
    """Collect the lines."""

    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.lines: list[str] = []
        self._open: list[str] = []

    def _add(self, line: str) -> None:
        self.lines.append("  " * len(self._open) + line)

    def handle_decl(self, decl: str) -> None:
        self._add(f"<!{decl}>")

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self._add(" ".join([f"<{tag}>", *(f"{name}={value!r}" for name, value in sorted(attrs))]))
        if tag not in VOID:
            self._open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.handle_starttag(tag, attrs)
        self.handle_endtag(tag)

    def handle_endtag(self, tag: str) -> None:
        if tag in self._open:
            while self._open.pop() != tag:
                pass

    def handle_data(self, data: str) -> None:
        if "pre" in self._open:
            self._add(repr(data))
        elif words := data.split():
            self._add(" ".join(words))

    def handle_comment(self, data: str) -> None:
        self._add(f"<!-- {' '.join(data.split())} -->")


def html_outline(data: bytes) -> str:
    """The outline; white space counts as one space, between elements as none, in `pre` as it is."""
    outline = Outline()
    outline.feed(data.decode())
    outline.close()
    return "\n".join(outline.lines) + "\n"
