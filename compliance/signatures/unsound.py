"""A damaged file or signature, told in words of ours: a library's own tell its reader nothing."""

from __future__ import annotations

from collections.abc import Callable
from typing import TypeVar

from compliance.errors import ComplianceError

__all__ = ["DAMAGED", "UnsoundError", "in_words"]

DAMAGED = "it is damaged or cut off"
"""Of a file."""

T = TypeVar("T")


class UnsoundError(ValueError):
    """What is wrong with the signatures or attachments of a file, as its reader is told."""


def in_words(do: Callable[[], T], otherwise: str) -> T:
    """What `do` gives. UnsoundError with `otherwise` where it ends as only a library can say."""
    try:
        return do()
    except (UnsoundError, ComplianceError):
        raise
    except Exception as fault:
        # The libraries raise what they like on a damaged file.
        raise UnsoundError(otherwise) from fault
