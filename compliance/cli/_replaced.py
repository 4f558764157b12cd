"""The assessment whose files are overwritten: its number, which the new one states."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from compliance.cli._files import read_sheet
from compliance.cli._terminal import print_note
from compliance.documents import numbered
from compliance.errors import SheetError
from compliance.evidence.attachments import (
    ASSESSMENT,
    largest_size,
    numbering_fault,
    parse_json,
    read_assessment,
)
from compliance.model import Assessment


def replacing(assessment: Assessment, paths: Sequence[Path]) -> Assessment:
    """Return an assessment that states the number of the one whose files it will overwrite.

    The sheet among `paths` counts before the document. An assessment that says the same as the
    old one keeps its number, so that the same input gives the same files again. If the old
    number cannot be read, a note says so.
    """
    existing = [path for path in paths if path.is_file()]
    for path in sorted(existing, key=lambda path: path.suffix != ".pdf"):
        try:
            old = _document(path)
        except (ValueError, SheetError):
            print_note(f"{path}: no number can be read that the new assessment would replace")
            continue
        same = numbered(replace(assessment, replaces=old.get("replaces")))
        if same.number == old["number"]:
            return same
        return numbered(replace(assessment, replaces=old["number"]))
    return assessment


def _document(path: Path) -> Mapping[str, Any]:
    """Read an assessment document with a number that fits it; ValueError or SheetError."""
    data = read_sheet(path)
    if path.suffix == ".pdf":
        from compliance.signing.attached_files import read_attachments

        document = read_assessment(read_attachments(data, largest=largest_size))
    else:
        document = parse_json(data, ASSESSMENT)
    if not isinstance(document, dict) or numbering_fault(document) or not _is_numbered(document):
        raise ValueError(f"{path}: has no number that fits it")
    return document


def _is_numbered(document: Mapping[str, Any]) -> bool:
    return isinstance(document.get("number"), str) and (
        document.get("replaces") is None or isinstance(document["replaces"], str)
    )
