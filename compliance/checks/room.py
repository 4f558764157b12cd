"""Black: light of the room in it, or none at all."""

from __future__ import annotations

import math

from compliance.grading.case import Case
from compliance.model import Job, ReadingsEntry, Remark
from compliance.wording import format_number, format_plain

__all__ = ["ambient", "unseen"]

SCREEN = (0.01, 0.04)
"""Share of the light falling on a screen that it sends back (practice)."""
PROJECTION = (0.8, 1.0)
"""The same of a projection screen (practice)."""
WEIGHT = 0.3
"""Share of the black reading from which that light matters."""
LIGHTLESS = ("oled", "led")
"""Kinds of displays whose black gives no light."""
GLOW = 0.005
"""cd/m² that a lightless black may read."""
OFF = ("off", "dark", "none", "no", "0")
CONTACT = ("contact", "hood", "shroud")


def ambient(case: Case, job: Job | None, entry: ReadingsEntry | None) -> Remark | None:
    """A remark where what the room sends back, or light from elsewhere, is in the black."""
    index = case.built_in("black")
    if index is None:
        return None
    black = float(case.view.xyz[index, 1])
    if black <= 0 or black < case.lowest:
        return None
    technology = case.stated.technology
    stated = (entry.ambient or "").strip().lower() if entry else ""
    close = any(word in (entry.geometry or "").lower() for word in CONTACT) if entry else False
    light = job.room.ambient if job else None
    if light and stated not in OFF and not close:
        shares = PROJECTION if technology == "projector" else SCREEN
        low, high = (light * share / math.pi for share in shares)
        if WEIGHT * black <= low <= black:  # a darker black was read without that light
            how = "was on" if stated else "is not said to have been off"
            return Remark(
                "ambient-light",
                f"Black reads {format_number(black)}\u00a0cd/m². The room's light, stated as "
                f"{format_plain(light)}\u00a0lx on the screen, {how} while measuring; a screen "
                f"sends back some {low:.2g} to {high:.2g}\u00a0cd/m² of it, which the dark "
                "readings then hold.",
            )
    if technology in LIGHTLESS and black > max(GLOW, ABOVE_FLOOR * case.lowest):
        return Remark(
            "ambient-light",
            f"Black reads {format_number(black)}\u00a0cd/m² on a display whose black gives no "
            "light: the room's light, or the meter's own dark reading, may be in it.",
        )
    return None


ABOVE_FLOOR = 3.0
"""Times what the meter can tell from dark."""


def unseen(case: Case) -> Remark | None:
    """A remark where a black reads no light at all, on a display that may give some."""
    index = case.built_in("black")
    if index is None or case.view.xyz[index, 1] > 0 or case.stated.technology in LIGHTLESS:
        return None
    return Remark(
        "black-unseen",
        "Black reads no light at all: if the display gives any, as with a backlight or a lamp, the "
        "meter did not see it, and what is said of black, contrast and the curve in the dark does "
        "not hold.",
    )
