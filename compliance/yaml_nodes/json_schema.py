"""The project's JSON Schemas, and jsonschema's validators of them with our formats.

The library is imported when the first document is read.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator, Mapping
from datetime import date, datetime
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from jsonschema import Draft202012Validator, FormatChecker, ValidationError

Schema = Mapping[str, Any]

SCHEMAS = Path(__file__).resolve().parent.parent / "schemas"


@cache
def load_schema(name: str) -> Any:
    """The JSON Schema `name`: one of the files in `schemas/`, without its suffix."""
    return json.loads((SCHEMAS / f"{name}.json").read_text(encoding="utf-8"))


@cache
def validator(name: str, start: str = "#") -> Draft202012Validator:
    """The library's validator of one of these schemas, or of its part `start`."""
    return validator_of(load_schema(name), start)


def validator_of(schema: Schema, start: str = "#") -> Draft202012Validator:
    """The library's validator of a schema, or of its part `start`."""
    kind, formats = _validator_kind()
    plain = {key: part for key, part in schema.items() if key != "$schema"}  # would choose the kind
    return kind(plain, format_checker=formats).evolve(schema={"$ref": start})


@cache
def _validator_kind() -> tuple[type[Draft202012Validator], FormatChecker]:
    """The validator of Draft 2020-12 with our dates, and with `uniqueItems` in one pass.

    The library compares every pair of entries if they cannot be sorted.
    """
    from jsonschema import Draft202012Validator, FormatChecker, ValidationError
    from jsonschema.validators import extend

    formats = FormatChecker(formats=())
    formats.checks("date")(lambda value: as_date(str(value)) is not None)
    formats.checks("date-time")(lambda value: as_time(str(value)) is not None)

    def unique(_: Any, wanted: bool, entries: Any, schema: Any) -> Iterator[ValidationError]:
        known = set()
        for number, entry in enumerate(entries if wanted and isinstance(entries, list) else ()):
            if isinstance(entry, str | int | float):
                if entry in known:
                    yield ValidationError("is listed twice", path=(number,))
                known.add(entry)

    return extend(Draft202012Validator, {"uniqueItems": unique}), formats


# ---------------------------------------------------------------- formats

DATE = re.compile(r"\d{4}-\d{2}-\d{2}", re.ASCII)
TIME = re.compile(
    r"\d{4}-\d{2}-\d{2}[Tt ]\d{2}:\d{2}:\d{2}(\.\d{1,6})?([Zz]|[+-]\d{2}:\d{2})", re.ASCII
)
YEARS = range(1970, 2200)


def as_date(text: str) -> date | None:
    """A date `YYYY-MM-DD`, or None."""
    try:
        day = date.fromisoformat(text) if DATE.fullmatch(text) else None
    except ValueError:
        return None
    return day if day and day.year in YEARS else None


def as_time(text: str) -> datetime | None:
    """An RFC 3339 time with its offset, or None."""
    if not TIME.fullmatch(text):
        return None
    try:
        time = datetime.fromisoformat(text.upper().replace("Z", "+00:00"))
    except ValueError:
        return None
    return time if time.year in YEARS else None
