"""What goes wrong in a damaged file, as a value: a step that meets it goes on, and tells it."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from itertools import islice
from typing import TypeVar

from compliance.errors import ComplianceError, InputError
from compliance.model import Statement, Texts

MOST_DETAILS = 20
"""Faults told one by one; the rest is counted."""

T = TypeVar("T")


def result_or_exception(do: Callable[[], T]) -> T | Exception:
    """What `do` gives, or the exception that it ends in: a damaged file can raise any."""
    try:
        return do()
    except Exception as fault:
        return fault


def one_line(fault: Exception) -> str:
    """An exception in one line."""
    if isinstance(fault, InputError):
        return "; ".join(str(problem) for problem in fault.problems)
    words = str(fault).splitlines()[0] if str(fault) else ""
    if isinstance(fault, ValueError | ComplianceError):
        return words or type(fault).__name__
    return f"{type(fault).__name__}: {words}"


def quoted(text: str) -> Statement:
    """A fault that was put into words where it was found."""
    return Statement("fault", Texts(text))


def first_details(details: Iterable[Statement], most: int = MOST_DETAILS) -> tuple[Statement, ...]:
    """The first of many details, and how many more there are."""
    rest = iter(details)
    first = tuple(islice(rest, most))
    left = sum(1 for _ in rest)
    return (*first, Statement("more", {"count": left})) if left else first
