"""Words about a meter that is not matched to the display, by what is known of its correction."""

from __future__ import annotations

from collections.abc import Sequence

from compliance.model import Texts
from compliance.report.words.en.fact_formats import number

CORRECT_METER = (
    "Leave the slot as it is. Correct the meter for this display against a spectroradiometer, or "
    "read white, red, green and blue with another instrument too: if that one reads what the rule "
    "asks for, the display is right. Then read again."
)
COMPARE_METERS = (
    "Before you touch the slot, read white, red, green and blue with another instrument: if it "
    "reads the same, the display is at fault."
)
CORRECTIONS = {
    "none": ("It is a colorimeter whose file names no correction.", CORRECT_METER),
    "other": (
        "It is a colorimeter corrected for another display ({made_for}); this one is {serial}.",
        CORRECT_METER,
    ),
    "older": (
        "It is a colorimeter whose correction, of {date}, is older than its certificate, of "
        "{issued}.",
        CORRECT_METER,
    ),
    "stated": (
        "Its file names a correction: it may be the wrong one, or not have been active.",
        COMPARE_METERS,
    ),
    "spectroradiometer": ("It is a spectroradiometer, which seldom errs so.", COMPARE_METERS),
    "unknown": ("Nothing is known of the meter.", COMPARE_METERS),
}
"""What is known of a meter's correction, and the next step."""


def meter(moved: Sequence[tuple[str, float]], correction: str, **known: object) -> Texts:
    """Of white and each primary its name and Δu'v' by which the meter moves it."""
    by = ", ".join(f"{colour} by {number(round(away, 4), 2)}" for colour, away in moved)
    about, next_step = CORRECTIONS[correction]
    return Texts(
        title="The meter is not matched to this display",
        text=(
            f"One matrix on all colours explains the readings; in Δu'v' it moves {by}. "
            f"{about.format(**known)} The readings alone do not tell a meter that errs so "
            "from a display with other primaries and another white."
        ),
        next_step=next_step,
    )
