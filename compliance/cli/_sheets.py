"""Sheets as commands read them: files of a folder, their bytes, and what they turn out to be."""

from __future__ import annotations

import json
import logging
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

from compliance.cli._files import read_bounded
from compliance.errors import SheetError, system_reason

if TYPE_CHECKING:
    from compliance.model.verification import Verification


def is_sheet_folder(path: Path) -> bool:
    """Whether `path` is a folder with nothing of a delivery in it, as `assess --out` writes one."""
    from compliance.delivery.bag import TOP

    if not path.is_dir():
        return False
    return not any((path / name).exists() for name in (*TOP, "data"))


def sheets_in(folder: Path) -> list[Path]:
    """The sheets that lie in a folder, in order. Raises OSError."""
    return sorted(file for file in folder.iterdir() if file.suffix.lower() == ".pdf")


def sheets_of(path: Path) -> list[Path]:
    """The sheets in a plain folder; anything else as it is. Raises SheetError.

    Only a delivery says which sheets there should be, so a folder without one holds as many
    as it happens to hold.
    """
    if not is_sheet_folder(path):
        return [path]
    try:
        sheets = sheets_in(path)
    except OSError as error:
        raise SheetError(f"{path}: {system_reason(error)}") from error
    if not sheets:
        raise SheetError(
            f"{path}: neither a delivery (there is no bagit.txt in it) nor a folder of sheets "
            "(there is no .pdf in it)"
        )
    return sheets


def read_sheet(file: Path) -> bytes:
    """The bytes of what should be a sheet. Raises SheetError."""
    from compliance.verification import LARGEST_SHEET

    return read_bounded(file, LARGEST_SHEET, SheetError, "that a sheet may have", unreadable="")


def reject_non_sheet(file: Path, data: bytes) -> None:
    """Refuse a JSON document that goes with sheets. Raises SheetError, with what to do instead."""
    from compliance.evidence.attachments import is_assessment

    document = _json_object(data)
    if document is None:
        return
    if is_assessment(document):
        sheet = file.with_suffix(".pdf")
        where = str(sheet) if sheet.is_file() else "the sheet made with it"
        raise SheetError(
            f"{file}: is an assessment without signature and evidence, so there is nothing to "
            f"check it by; verify {where}"
        )
    if {"deviation", "signature"} <= document.keys():
        raise SheetError(f"{file}: is a deviation; expected 'compliance deviation verify {file}'")


def _json_object(data: bytes) -> Mapping[str, Any] | None:
    if not data.lstrip().startswith(b"{"):
        return None
    try:
        document = json.loads(data)
    except (ValueError, RecursionError):
        return None
    return document if isinstance(document, dict) else None


def silence_libraries() -> None:
    """Keep the libraries of signatures from writing of a damaged file: the steps say it already."""
    for name in ("pyhanko", "pyhanko_certvalidator"):
        logging.getLogger(name).setLevel(logging.CRITICAL + 1)


def verify_any_signer(data: bytes) -> Verification:
    """What a sheet is found to be, by anybody's signature."""
    from compliance.verification import verify_sheet

    silence_libraries()
    return verify_sheet(data, any_signer=True)
