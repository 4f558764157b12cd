"""What a call names besides sheets and deliveries: folders, and what is neither."""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from compliance.errors import SheetError

__all__ = ["is_plain", "refuse_other", "sheets_in", "sheets_of"]


def is_plain(path: Path) -> bool:
    """Whether `path` is a folder with nothing of a delivery in it, as `assess --out` writes one."""
    from compliance.delivery.bag import TOP

    if not path.is_dir():
        return False
    return not any((path / name).exists() for name in (*TOP, "data"))


def sheets_in(folder: Path) -> list[Path]:
    """The sheets that lie in a folder, in order. Raises OSError."""
    return sorted(each for each in folder.iterdir() if each.suffix.lower() == ".pdf")


def sheets_of(path: Path) -> list[Path]:
    """The sheets in a plain folder; anything else as it is. Raises SheetError.

    Only a delivery says which sheets there should be, so a folder without one holds as many
    as it happens to hold.
    """
    if not is_plain(path):
        return [path]
    try:
        found = sheets_in(path)
    except OSError as error:
        raise SheetError(f"{path}: {(error.strerror or str(error)).lower()}") from error
    if not found:
        raise SheetError(
            f"{path}: neither a delivery (there is no bagit.txt in it) nor a folder of sheets "
            "(there is no .pdf in it)"
        )
    return found


def refuse_other(file: Path, data: bytes) -> None:
    """Refuse a JSON document that goes with sheets. Raises SheetError, with what to do instead."""
    from compliance.enclosures import is_assessment

    found = _json_object(data)
    if found is None:
        return
    if is_assessment(found):
        sheet = file.with_suffix(".pdf")
        where = str(sheet) if sheet.is_file() else "the sheet made with it"
        raise SheetError(
            f"{file}: is an assessment without signature and evidence, so there is nothing to "
            f"check it by; verify {where}"
        )
    if {"deviation", "signature"} <= found.keys():
        raise SheetError(f"{file}: is a deviation; expected 'compliance deviation verify {file}'")


def _json_object(data: bytes) -> Mapping[str, Any] | None:
    if not data.lstrip().startswith(b"{"):
        return None
    try:
        found = json.loads(data)
    except (ValueError, RecursionError):
        return None
    return found if isinstance(found, dict) else None
