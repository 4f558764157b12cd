"""Questions at the terminal for values that no option gives, and the types of the answers."""

from __future__ import annotations

import re
import sys
from collections.abc import Callable, Sequence
from typing import Any

import click

from compliance.cli._options import parse_date
from compliance.errors import UsageError
from compliance.yaml_nodes.json_schema import load_schema
from compliance.yaml_nodes.read_file import is_device_name

LONGEST = 300
"""Most characters of a text."""
LIGHT = click.FloatRange(0, 10_000, min_open=True)
"""cd/m²."""
PERCENT = click.FloatRange(0, 100, min_open=True)
OFFSET = click.FloatRange(0, 1, min_open=True)
LOWEST = click.FloatRange(0, 100)
FACTOR = click.FloatRange(0, 10, min_open=True)


class Words(click.ParamType):  # type: ignore[type-arg]  # generic from click 8.2 on
    """A text that can be printed on a sheet."""

    name = "text"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> str:
        """Return the text without space around it. Raises BadParameter."""
        text = str(value).strip()
        if not text or not text.isprintable() or len(text) > LONGEST:
            found = "an empty text" if not text else f"{text[:40]!r}"
            self.fail(f"{found}; expected 1 to {LONGEST} characters that can be printed")
        return text


class Day(click.ParamType):  # type: ignore[type-arg]  # generic from click 8.2 on
    """A date, as files write it."""

    name = "date"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> str:
        """Return the date as YYYY-MM-DD. Raises BadParameter."""
        return parse_date(ctx, param, str(value).strip()).isoformat()  # type: ignore[arg-type]


class RuleId(click.ParamType):  # type: ignore[type-arg]  # generic from click 8.2 on
    """A rule's id, which is also its file's name."""

    name = "id"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> str:
        """Return the id. Raises BadParameter."""
        text = str(value).strip()
        form = load_schema("rule")["$defs"]["id"]
        longest = form["maxLength"]
        if not re.fullmatch(form["pattern"], text) or len(text) > longest:
            self.fail(
                f"{text[:longest]!r} is not an id; expected small letters, digits and hyphens"
            )
        if is_device_name(text):
            self.fail(f"{text!r} is a name that Windows keeps for a device; choose another")
        return text


WORDS = Words()
DAY = Day()
RULE_ID = RuleId()


class Questions:
    """Asks at the terminal for what no option gave; elsewhere takes the default."""

    def __init__(self, declined: bool) -> None:
        self.asking = not declined and sys.stdin is not None and sys.stdin.isatty()

    def ask(self, given: Any, question: str, default: Any = None, kind: Any = WORDS) -> Any:
        """The value given, else the answer; None where it is left open."""
        if given is not None or not self.asking:
            return default if given is None else given
        shown = f"{question} (Enter: {'leave open' if default is None else default})"
        empty = "" if default is None else default
        convert: Any = _or_nothing(kind) if default is None else kind
        answer = click.prompt(
            shown, empty, type=convert, err=True, show_default=False, show_choices=False
        )
        return None if answer == "" else answer

    def need(self, given: Any, option: str, question: str, kind: Any = WORDS) -> Any:
        """The value given, else the answer. Raises UsageError where nobody can be asked."""
        if given is not None:
            return given
        if not self.asking:
            raise UsageError(f"{option} is required; questions are asked only at a terminal")
        return click.prompt(question, type=kind, err=True, show_default=False, show_choices=False)

    def several(self, given: Sequence[str], question: str, default: Sequence[str]) -> list[str]:
        """The values given, else those answered, with spaces between."""
        if given or not self.asking:
            return list(given or default)
        answer = self.ask(None, f"{question}, with spaces between", " ".join(default) or None)
        return answer.split() if answer else []


def _or_nothing(kind: Any) -> Callable[[str], Any]:
    checked = click.types.convert_type(kind)
    return lambda text: checked.convert(text, None, None) if text else ""
