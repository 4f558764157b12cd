"""What `verify` requires of a sheet beyond its being intact, and how long the sheet holds."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import UTC, date, datetime
from typing import Any

import click

from compliance.cli._options import Command, parse_date, together
from compliance.grading.deviation_check import end_of_day
from compliance.model.results import (
    Answer,
    DeliveryVerification,
    Required,
    Validity,
    Verification,
)
from compliance.plain_data import timestamp
from compliance.report.verdict import allows_something
from compliance.report.words.en.validity import (
    answer_words,
    delivery_validity_words,
    validity_words,
)
from compliance.verification.requirements import (
    required_code,
    requirements_of,
    requirements_of_delivery,
    validity,
)
from compliance.yaml_nodes.messages import did_you_mean

Subject = Verification | DeliveryVerification


def requirement_options() -> Callable[[Command], Command]:
    """`--require`, passed as `required`, and `--on`."""
    return together(
        click.option(
            "--require",
            "required",
            metavar="NAME,...",
            callback=_names,
            help="Also require, for programs: compliant, current, countersigned (for the client), "
            "stamped (every signature). Exit code 1 if one is not met, 3 instead of 0 if one "
            "cannot be told; of a delivery every sheet has to meet it.",
        ),
        click.option(
            "--on",
            metavar="DATE",
            callback=_day,
            help="Day (UTC) to the end of which a sheet must be valid, e.g. 2026-12-31; "
            "default: now.",
        ),
    )


def _names(ctx: click.Context, param: click.Parameter, value: str | None) -> tuple[Required, ...]:
    names = [each.strip() for each in value.split(",")] if value is not None else []
    known = [str(each) for each in Required]
    for name in names:
        if name not in known:
            message = f"{name!r} cannot be required; {did_you_mean(name, known)}"
            raise click.BadParameter(message, ctx, param)
    return tuple(Required(name) for name in dict.fromkeys(names))


def _day(ctx: click.Context, param: click.Parameter, value: str | None) -> date | None:
    return None if value is None else parse_date(ctx, param, value)


@dataclass(frozen=True, slots=True)
class Requirements:
    """What is required of every sheet, and the time at which its validity is judged."""

    asked: tuple[Required, ...]
    at: datetime

    @classmethod
    def given(cls, asked: Iterable[Required], on: date | None, now: datetime) -> Requirements:
        """Take the options of a call; a day counts to its end."""
        return cls(tuple(asked), end_of_day(on) if on is not None else now.astimezone(UTC))

    def answers(self, subject: Subject) -> tuple[Answer, ...]:
        """Return whether a sheet, or every sheet of a delivery, has what is required."""
        if isinstance(subject, DeliveryVerification):
            return requirements_of_delivery(subject, self.asked, self.at)
        return requirements_of(subject, self.asked, self.at)

    def code(self, subject: Subject) -> int:
        """Return the exit code for a sheet or a delivery, with what is required."""
        return required_code(subject.exit_code, self.answers(subject))

    def validity_line(self, subject: Subject) -> str:
        """Say how long a sheet or a delivery holds; nothing if it is broken or allows nothing."""
        if isinstance(subject, DeliveryVerification):
            if subject.exit_code == 1:
                return ""
            return delivery_validity_words(
                [
                    (self._state(sheet), sheet.valid_until)
                    for sheet in subject.sheets.values()
                    if allows_something(sheet.verdict, sheet.disposition)
                ]
            )
        if not allows_something(subject.verdict, subject.disposition):
            return ""
        return validity_words(self._state(subject), subject.valid_until)

    def validity_tail(self, sheet: Verification) -> str:
        """Say it at the end of a line about the sheet."""
        held = self.validity_line(sheet)
        return f"; {held[:1].lower()}{held[1:]}" if held else ""

    def answer_lines(self, subject: Subject) -> list[str]:
        """Say whether each requirement is met."""
        return list(map(answer_words, self.answers(subject)))

    def data(self, subject: Subject) -> dict[str, Any]:
        """Return validity and requirements as plain data."""
        data: dict[str, Any] = {}
        if isinstance(subject, Verification):
            data["validity"] = {
                "state": str(self._state(subject)),
                "until": timestamp(subject.valid_until),
                "at": timestamp(self.at),
            }
        if self.asked:
            answers = self.answers(subject)
            data["requirements"] = {str(each.name): {"met": each.met} for each in answers}
        return data

    def _state(self, sheet: Verification) -> Validity:
        return validity(sheet, self.at)
