"""Whether a colorimeter's correction is known to be the one for the measured display."""

from __future__ import annotations

from datetime import date
from typing import Literal, NamedTuple

from compliance.model import Display, Facts, Meter

COLORIMETER = "colorimeter"


class Unmatched(NamedTuple):
    """Why a colorimeter is not known to be matched to a display."""

    why: Literal["none", "other", "older"]
    """No correction, one for another display, or one that is older than the certificate."""
    facts: Facts


def unmatched(meter: Meter | None, display: Display | None) -> Unmatched | None:
    """The reason why a colorimeter's correction does not fit; None for any other meter, or if
    nothing is known against it."""
    if meter is None or meter.kind != COLORIMETER:
        return None
    if meter.correction is None:
        return Unmatched("none", {})
    made_for, day = meter.correction.get("made_for"), meter.correction.get("date")
    serial = display.serial if display else None
    if made_for is not None and serial is not None and str(made_for) != serial:
        return Unmatched("other", {"made_for": str(made_for), "serial": serial})
    issued = meter.certificate.issued if meter.certificate else None
    made = None if day is None else date.fromisoformat(str(day))
    if made is not None and issued is not None and made < issued:
        return Unmatched("older", {"date": made, "issued": issued})
    return None
