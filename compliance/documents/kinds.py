"""Which kind of document a file is, told from the keys at its top."""

from __future__ import annotations

from compliance.documents.nodes import Node

__all__ = ["kind_of", "other_kind"]

MARKS = {
    "rule": ("rule",),
    "job": ("job", "slots"),
    "meter": ("kind",),  # a job has the key meter, too
    "repository": ("specs",),
}
"""By the name of its schema: keys that documents of no other kind have."""


def kind_of(node: Node) -> str | None:
    """The kind of document that begins at `node`, as its schema is called; None: none of ours."""
    return next((kind for kind, marks in MARKS.items() if _marked(node, marks)), None)


def other_kind(node: Node, schema: str) -> str | None:
    """The kind of a document that is plainly not of the kind `schema`."""
    return None if _marked(node, MARKS.get(schema, ())) else kind_of(node)


def _marked(node: Node, marks: tuple[str, ...]) -> bool:
    return any(mark in node.entries for mark in marks)
