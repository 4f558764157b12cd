"""Sheets that tell another state of a job than its files are in now."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING, Any

from compliance.enclosures import BEFORE, JOB, METER, READINGS, named, parsed
from compliance.model import Rule

if TYPE_CHECKING:
    from compliance.cli.cases import Case
    from compliance.delivery.sheets import Sheet
    from compliance.model import Readings

__all__ = ["outdated"]


def outdated(sheet: Sheet, case: Case) -> Iterator[str]:
    """What of a sheet's evidence is no longer that of its case, each in a few words.

    Raises ComplianceError where the case's files cannot be read.
    """
    readings, before, meter = case.source.read()
    job = case.source.job
    yield from _keys(_document(sheet, JOB), job.document if job else None, "job")
    yield from _read(sheet, READINGS, readings)
    yield from _read(sheet, BEFORE, before)
    yield from _keys(_document(sheet, METER), meter.document if meter else None, "meter")
    if not isinstance(case.rule, Rule):
        raise case.rule
    if sheet.stated["rule"]["digest"] != case.rule.digest:
        yield f"rule {case.rule.id}"


def _document(sheet: Sheet, name: str) -> Any:
    return parsed(sheet.attached[name], name) if name in sheet.attached else None


def _read(sheet: Sheet, part: str, readings: Readings | None) -> Iterator[str]:
    data = sheet.attached.get(named(part, sheet.attached))
    if data != (readings.data if readings else None):
        yield f"{part} ({readings.file})" if readings else part


def _keys(stated: Any, now: Any, place: str) -> Iterator[str]:
    """The places in which two documents differ, not deeper than where one is no mapping."""
    if isinstance(stated, Mapping) and isinstance(now, Mapping):
        for key in dict.fromkeys([*stated, *now]):
            yield from _keys(stated.get(key), now.get(key), f"{place}.{key}")
    elif isinstance(stated, list) and isinstance(now, list) and len(stated) == len(now):
        for one, other in zip(stated, now, strict=True):
            yield from _keys(one, other, place)
    elif stated != now:
        yield place
