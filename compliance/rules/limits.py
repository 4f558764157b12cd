"""The forms in which limits are written, and the tolerance interval each means."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from compliance.documents import as_float, flow
from compliance.model import Limits
from compliance.quantities.table import RECORDED_FIELDS, Quantity
from compliance.rules.places import Path, Places

__all__ = ["FORMS", "KEYS", "LIMIT_KEYS", "example_of", "limits_from", "read_limits", "unit_phrase"]

FORMS = (
    ("min",),
    ("max",),
    ("min", "max"),
    ("within",),
    ("nominal", "within"),
    ("nominal", "within_percent"),
    ("box",),
)
LIMIT_KEYS = ("limits", "bands", "by_patch")
"""Keys of a requirement that hold its limits."""
KEYS = ("min", "max", "within", "nominal", "within_percent", "box")


def example_of(quantity: Quantity | None) -> str:
    """Limits as they might be written for a quantity: `{max: 110}`."""
    return f"{{{quantity.example if quantity else 'max: 1'}}}"


def unit_phrase(quantity: Quantity, field: str | None = None) -> str:
    """What a number of the quantity is called in a message: its unit, or `a plain number`."""
    unit = quantity.unit
    if quantity.values == "stated":
        unit = RECORDED_FIELDS[field][0] if field and field in RECORDED_FIELDS else "1"
    return "a plain number" if unit == "1" else unit


def limits_from(data: Mapping[str, Any]) -> Limits:
    """The interval of limits in one of `FORMS`; a stated centre is kept for print."""
    exclusive = bool(data.get("exclusive", False))
    if "box" in data:
        dx, dy = data["box"]
        return Limits(box=(float(dx), float(dy)), exclusive=exclusive)
    if "within" not in data and "within_percent" not in data:
        return Limits(as_float(data.get("min")), as_float(data.get("max")), exclusive=exclusive)
    centre = _exact(data.get("nominal", 0))
    if "within" in data:
        half = _exact(data["within"])
    else:
        half = abs(centre) * _exact(data["within_percent"]) / 100
    return Limits(
        float(centre - half), float(centre + half), as_float(data.get("nominal")), None, exclusive
    )


def _exact(value: float) -> Decimal:
    """The decimal as it was written, so that 2.4 ± .1 ends at 2.3 and 2.5."""
    return Decimal(repr(value))


def read_limits(
    data: Mapping[str, Any], quantity: Quantity, places: Places, path: Path
) -> Limits | None:
    """Limits that make sense for the quantity; None where a problem was noted."""
    fault = _wrong_form(data, quantity) or _wrong_for(data, quantity)
    if fault:
        key, message = fault
        places.problem((*path, key) if key else path, message)
        return None
    return limits_from(data)


Fault = tuple[str | None, str]


def _wrong_form(data: Mapping[str, Any], quantity: Quantity) -> Fault | None:
    keys = tuple(key for key in KEYS if key in data)
    example = example_of(quantity)
    if not keys:
        return None, f"no limit stands here; expected a limit, e.g. {example}"
    if any(set(keys) == set(form) for form in FORMS):
        return None
    if keys == ("nominal",):
        return "nominal", "alone is no limit; add within or within_percent, e.g. within: 5"
    if keys == ("within_percent",):
        return "within_percent", "is a share of nominal, which is missing; e.g. nominal: 100"
    forms = ", ".join(" with ".join(form) for form in FORMS)
    return keys[-1], f"{' and '.join(keys)} do not go together; expected one of: {forms}"


def _wrong_for(data: Mapping[str, Any], quantity: Quantity) -> Fault | None:
    example = example_of(quantity)
    if quantity.pair != ("box" in data):
        key = next(key for key in KEYS if key in data)
        kind = "an offset in x and y" if quantity.pair else "one number"
        return key, f"does not fit: {quantity.name} is {kind}; expected e.g. {example}"
    limits = limits_from(data)
    low, high = limits.minimum, limits.maximum
    if low is not None and high is not None and low > high:
        return "min", f"{flow(low)} is above max {flow(high)}; the smaller belongs to min"
    if low is not None and low == high and limits.exclusive:
        return "exclusive", f"leaves nothing between {flow(low)} and {flow(low)}"
    if quantity.signed or quantity.values == "stated" or quantity.pair:
        return None
    if "within" in data and "nominal" not in data:
        wanted = flow({"max": data["within"]})
        return "within", f"is about 0, and {quantity.name} is never below 0; expected {wanted}"
    if high is not None and (high < 0 or (high == 0 and limits.exclusive)):
        key = "max" if "max" in data else "nominal"
        return key, f"can never be met: {quantity.name} is never below 0; expected e.g. {example}"
    return None
