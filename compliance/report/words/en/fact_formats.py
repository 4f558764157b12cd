"""How facts are printed in the words of causes."""

from __future__ import annotations

from compliance.report.numbers import format_plain


def number(value: float, digits: int = 3) -> str:
    """To significant digits, as print."""
    return format_plain(float(f"{value:.{digits}g}"))


def percent(share: float, digits: int = 2) -> str:
    """A share as per cent."""
    return f"{number(100 * share, digits)}\u00a0%"


def luminance(value: float) -> str:
    return f"{number(value)}\u00a0cd/m²"
