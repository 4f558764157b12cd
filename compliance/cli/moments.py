"""The option `--now`: a time given to a command instead of the clock's."""

from __future__ import annotations

from datetime import date, datetime

import click

__all__ = ["day", "moment"]


def moment(ctx: click.Context, param: click.Parameter, value: str | None) -> datetime | None:
    """The aware time that `value` writes, None where the option is not given (a click callback)."""
    if value is None:
        return None
    from compliance.documents.typed import as_time

    found = as_time(value)
    if found is None:
        raise click.BadParameter(
            f"{value!r} is no time; expected RFC 3339 with its offset, e.g. 2026-11-20T16:00:00Z",
            ctx,
            param,
        )
    return found


def day(ctx: click.Context, param: click.Parameter, value: str | None) -> date | None:
    """The date that `value` writes, None where the option is not given (a click callback)."""
    if value is None:
        return None
    from compliance.documents.typed import as_date

    found = as_date(value)
    if found is None:
        raise click.BadParameter(f"{value!r} is no date; expected one like 2026-12-31", ctx, param)
    return found
