"""A requirement: its quantity, its limits, and what is missing or makes no sense."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from compliance.model import BUILT_IN_SETS, Band, Level, Limits, Over, PatchSet, Requirement, Target
from compliance.quantities.catalogue import QUANTITIES, RECORDED_FIELDS, Quantity
from compliance.rules.patch_sets import read_over
from compliance.yaml_nodes.locations import Path, SourceLocations
from compliance.yaml_nodes.messages import did_you_mean, inline_yaml, one_of, quoted
from compliance.yaml_nodes.schema_reader import as_float

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
    data: Mapping[str, Any], quantity: Quantity, places: SourceLocations, path: Path
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
        return (
            "min",
            f"{inline_yaml(low)} is above max {inline_yaml(high)}; the smaller belongs to min",
        )
    if low is not None and low == high and limits.exclusive:
        return "exclusive", f"leaves nothing between {inline_yaml(low)} and {inline_yaml(low)}"
    if quantity.signed or quantity.values == "stated" or quantity.pair:
        return None
    if "within" in data and "nominal" not in data:
        wanted = inline_yaml({"max": data["within"]})
        return "within", f"is about 0, and {quantity.name} is never below 0; expected {wanted}"
    if high is not None and (high < 0 or (high == 0 and limits.exclusive)):
        key = "max" if "max" in data else "nominal"
        return key, f"can never be met: {quantity.name} is never below 0; expected e.g. {example}"
    return None


OPTIONS = ("floor", "above_black", "ignore", "diagram", "field", "declaration")
"""Keys that only some quantities take."""

NO_EXPONENT = ("srgb", "pq")
"""Curves that have no exponent to fit."""


def read_requirement(
    name: str,
    data: Mapping[str, Any],
    names: Mapping[str, Any],
    sets: Mapping[str, PatchSet],
    target: Target | None,
    places: SourceLocations,
) -> Requirement | None:
    """One requirement of a resolved rule; None where problems were noted.

    `names` holds the patch sets as written, `sets` those of them that could be read.
    """
    path = ("requirements", name)
    quantity = _quantity(data, places, path)
    if quantity is None:
        return None
    before = len(places.problems)
    _check_options(data, quantity, places, path)
    statistic, percentile = _statistic(data, quantity, places, path)
    over = _over(data, quantity, names, target, places, path)
    _check_reference(data, quantity, places, path)
    _check_sense(data, quantity, over, sets, target, places, path)
    limits, bands, by_patch = _limits(data, quantity, statistic, places, path)
    _check_by_patch(by_patch, over, sets, places, path)
    if len(places.problems) > before:
        return None
    return Requirement(
        id=name,
        title=data.get("title") or name.replace("-", " ").capitalize(),
        quantity=quantity.name,
        level=Level(data.get("level", "shall")),
        basis=data.get("basis", "house"),
        clause=data.get("clause"),
        over=over,
        limits=limits,
        bands=bands,
        by_patch=by_patch,
        reference=data.get("reference", "target"),
        statistic=statistic,
        percentile=percentile,
        floor=float(data["floor"]) if "floor" in data else None,
        above_black=data.get("above_black", False),
        ignore_luminance=data.get("ignore") == "luminance",
        diagram=data.get("diagram", "uv"),
        field=data.get("field"),
        declaration=data.get("declaration"),
        displays=data.get("displays"),
    )


def _quantity(data: Mapping[str, Any], places: SourceLocations, path: Path) -> Quantity | None:
    if "quantity" not in data:
        places.problem((*path, "quantity"), "missing; expected e.g. quantity: luminance")
        return None
    return QUANTITIES[data["quantity"]]


def _check_options(
    data: Mapping[str, Any], quantity: Quantity, places: SourceLocations, path: Path
) -> None:
    """Unit, options and what `recorded` and `declared` need."""
    for key in OPTIONS:
        if key in data and key not in quantity.options:
            owners = [row.name for row in QUANTITIES.values() if key in row.options]
            places.problem(
                (*path, key), f"does not go with {quantity.name}, but with {', '.join(owners)}"
            )
    for key in ("field", "declaration"):
        if key in quantity.options and key not in data:
            example = "surround" if key == "field" else "local-dimming-off"
            message = f"missing; {quantity.name} needs it, e.g. {key}: {example}"
            places.problem((*path, key), message)
    if "unit" in data:
        unit = unit_phrase(quantity, data.get("field"))
        right = "1" if unit == "a plain number" else unit
        if data["unit"].replace("cd/m2", "cd/m²") != right:
            places.problem(
                (*path, "unit"), f"{quoted(data['unit'])} is not the unit of {quantity.name}; "
                f"expected {right}, or no such key",
            )  # fmt: skip


def _statistic(
    data: Mapping[str, Any], quantity: Quantity, places: SourceLocations, path: Path
) -> tuple[str, float | None]:
    stated = data.get("statistic", "each")
    percentile = None
    if isinstance(stated, Mapping):
        percentile, stated = float(stated["percentile"]), "percentile"
    if stated not in quantity.statistics:
        why = "an offset in x and y" if quantity.pair else "one value of all patches together"
        why = "no patch at all" if quantity.values == "stated" else why
        allowed = one_of(quantity.statistics)
        message = f"'{stated}' does not go with {quantity.name}, which is {why}; expected {allowed}"
        places.problem((*path, "statistic"), message)
    return stated, percentile


def _over(
    data: Mapping[str, Any],
    quantity: Quantity,
    names: Mapping[str, Any],
    target: Target | None,
    places: SourceLocations,
    path: Path,
) -> Over | None:
    if "over" not in data:
        if not quantity.roles and quantity.values != "stated":
            message = f"missing; {quantity.name} needs a set of patches, e.g. over: white"
            places.problem((*path, "over"), message)
        return None
    if quantity.values == "stated":
        places.problem((*path, "over"), f"{quantity.name} is about no patch; leave the key out")
        return None
    return read_over(data["over"], names, bool(quantity.roles), target, places, (*path, "over"))


def _check_reference(
    data: Mapping[str, Any], quantity: Quantity, places: SourceLocations, path: Path
) -> None:
    reference = data.get("reference", "target")
    if reference in quantity.references:
        return
    if len(quantity.references) == 1:
        message = f"does not go with {quantity.name}; leave the key out"
    else:
        message = f"'{reference}' does not go with {quantity.name}; "
        message += f"expected {one_of(quantity.references)}"
    places.problem((*path, "reference"), message)


def _check_sense(
    data: Mapping[str, Any],
    quantity: Quantity,
    over: Over | None,
    sets: Mapping[str, PatchSet],
    target: Target | None,
    places: SourceLocations,
    path: Path,
) -> None:
    """What quantity, target and sets cannot do together."""
    if quantity.ideal == "exponent" and target and target.curve in NO_EXPONENT:
        places.problem(
            (*path, "quantity"),
            f"{target.curve} has no exponent to fit; expected e.g. luminance-error",
        )
    if over is None or not over.patches:
        return
    many = _positions(over, sets)
    if many is None:
        return
    by_time = over.seconds is not None and quantity.compares == "centre"
    if quantity.by_position and not by_time and not many - {"centre"}:
        places.problem(
            (*path, "over"), f"{quantity.name} compares positions, and there is the centre only; "
            "expected a set of positions, e.g. {positions: [centre, corners], of: white}",
        )  # fmt: skip
    by_centre = data.get("reference") == "centre" and "centre" in quantity.references
    if by_centre and not many - {"centre"}:
        places.problem(
            (*path, "reference"), "'centre' compares positions, and over has the centre only; "
            "expected a set of positions, or another reference",
        )  # fmt: skip


def _positions(over: Over, sets: Mapping[str, PatchSet]) -> set[str] | None:
    """Positions of the patches a requirement is about; None where a set could not be read."""
    found: set[str] = set(over.position or ())
    for name in over.patches:
        if name in BUILT_IN_SETS:
            found |= {"centre"} if over.position is None else set()
        elif name not in sets:
            return None
        else:
            found |= set(sets[name].positions)
    return found & set(over.position) if over.position is not None else found


Limited = tuple[Limits | None, tuple[Band, ...], dict[str, Limits]]


def _limits(
    data: Mapping[str, Any], quantity: Quantity, statistic: str, places: SourceLocations, path: Path
) -> Limited:
    stated = [key for key in LIMIT_KEYS if key in data]
    if len(stated) != 1:
        if stated:
            message = f"{' and '.join(stated)} stand here; expected one of them"
            places.problem((*path, stated[-1]), message)
        else:
            message = f"missing; expected e.g. limits: {example_of(quantity)}"
            places.problem((*path, "limits"), message)
        return None, (), {}
    key = stated[0]
    here = (*path, key)
    if key == "limits":
        return read_limits(data["limits"], quantity, places, here), (), {}
    if statistic != "each" or quantity.values != "point":
        wanted = f"expected e.g. limits: {example_of(quantity)}"
        places.problem(here, f"go with one value per patch (statistic each); {wanted}")
        return None, (), {}
    if key == "bands":
        return None, _bands(data["bands"], quantity, places, here), {}
    found = {
        name: limits
        for name, entry in data["by_patch"].items()
        if (limits := read_limits(entry, quantity, places, (*here, name)))
    }
    return None, (), found


def _bands(
    data: list[Mapping[str, Any]], quantity: Quantity, places: SourceLocations, path: Path
) -> tuple[Band, ...]:
    bands: list[Band] = []
    reached = 0.0
    for number, entry in enumerate(data):
        here = (*path, number)
        limits = read_limits(entry, quantity, places, here)
        upto = entry.get("upto")
        last = number == len(data) - 1
        if last and upto is not None:
            message = "the last band is open; leave upto out, or add a band after it"
            places.problem((*here, "upto"), message)
        if not last and upto is None:
            message = "missing; every band but the last needs it, e.g. upto: 10"
            places.problem((*here, "upto"), message)
        if upto is not None and upto <= reached:
            message = f"{inline_yaml(upto)} does not rise above {inline_yaml(reached)} before it"
            places.problem((*here, "upto"), message)
        reached = upto or reached
        if limits:
            bands.append(Band(None if upto is None else float(upto), limits))
    return tuple(bands)


def _check_by_patch(
    by_patch: Mapping[str, Limits],
    over: Over | None,
    sets: Mapping[str, PatchSet],
    places: SourceLocations,
    path: Path,
) -> None:
    """Names that the sets are known to have: each patch named once, nothing else named."""
    if over is None or not over.patches:
        return
    known: list[str] = []
    for name in over.patches:
        found = _names(name, sets)
        if found is None:
            return
        known += found
    used = [(("over", "only"), name) for name in over.only or ()]
    used += [(("over", "except"), name) for name in over.exclude]
    used += [(("by_patch", name), name) for name in by_patch]
    for key, name in used:
        if name not in known:
            sets_named = ", ".join(over.patches)
            message = f"{quoted(name)} is no patch of {sets_named}; {did_you_mean(name, known)}"
            places.problem((*path, *key), message)
    for name in known if by_patch else ():
        left_out = name in over.exclude or (over.only is not None and name not in over.only)
        if name not in by_patch and not left_out:
            places.problem((*path, "by_patch"), f"has no limits for the patch {quoted(name)}")


def _names(name: str, sets: Mapping[str, PatchSet]) -> list[str] | None:
    """Names of a set's patches where they are known by its definition."""
    if name in BUILT_IN_SETS:
        return [name]
    found = sets.get(name)
    if found is None or found.kind not in ("hues", "list"):
        return None
    return [*found.hues, *(patch for patch, _ in found.patches)]
