"""Read a rule's target and requirements, resolved and checked for sense.

The schema has checked each key's presence, form and bounds; here keys are checked together.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from compliance.colour.hlg import REFERENCE_SURROUND, hlg_system_gamma
from compliance.colour.spaces import PRIMARIES, WHITES
from compliance.model import (
    BUILT_IN_SETS,
    ENCODINGS,
    Band,
    Encoding,
    Level,
    Limits,
    Over,
    Pair,
    PatchSet,
    Requirement,
    Target,
)
from compliance.quantities.catalogue import QUANTITIES, RECORDED_FIELDS, Quantity
from compliance.rules.patch_sets import read_over
from compliance.yaml_nodes.messages import did_you_mean, inline_yaml, one_of, quoted
from compliance.yaml_nodes.nodes import Location
from compliance.yaml_nodes.schema_reader import as_float

Data = Mapping[str, Any]

# ---------------------------------------------------------------- the target

BLACKS: Mapping[str, tuple[str, ...]] = {
    "bt1886": ("lift", "add", "none"),
    "power": ("add", "none"),
    "srgb": ("add", "none"),
    "dcdm": ("add", "none"),
    "hlg": ("lift", "none"),
    "pq": ("none",),
}
"""Ways for the black to enter each curve; the first is the default."""

DCDM_EXPONENT = 2.6
SMALLEST_AREA = 0.005
"""Smallest area of a triangle of primaries in x, y; anything below is a typing error."""

Triangle = tuple[Pair, Pair, Pair]


def read_encoding(data: Data) -> Encoding:
    """The plan's encoding: as stated, else X'Y'Z' for the dcdm curve or 10-bit full RGB."""
    curve = data.get("target", {}).get("transfer", {}).get("curve")
    default = "xyz-12-full" if curve == "dcdm" else "rgb-10-full"
    return ENCODINGS[data.get("signal", {}).get("encoding", default)]


def read_target(data: Data, encoding: Encoding, here: Location) -> Target | None:
    """Read the target of a resolved rule; None if problems were noted."""
    before = here.problem_count
    curve = data["transfer"]["curve"]
    white, white_name = _white(data["white"])
    primaries, name = _primaries(data["primaries"])
    _check_triangle(primaries, white, here.at("primaries"))
    container, container_name = _container(data, encoding, (primaries, name), here.at("container"))
    if container and container is not primaries:
        _check_triangle(container, white, here.at("container"))
    _check_transfer(data, here)
    if not encoding.carries(curve):
        here.sources.at("signal", "encoding").problem(
            f"{encoding.name} carries dcdm or pq, not {curve}; expected e.g. rgb-10-full"
        )
    level, peak = _luminance(data["luminance"], curve, here.at("luminance", "peak"))
    if here.problem_count > before:
        return None
    black = data.get("black_level", "measured")
    return Target(
        primaries=primaries,
        primaries_name=name,
        white=white,
        white_name=white_name,
        curve=curve,
        exponent=DCDM_EXPONENT if curve == "dcdm" else as_float(data["transfer"].get("exponent")),
        black=data["transfer"].get("black", BLACKS[curve][0]),
        black_level=None if black == "measured" else float(black),
        scale=data.get("scale", "absolute" if curve == "pq" else "relative"),
        luminance_white=level,
        luminance_peak=peak,
        container=container,
        container_name=container_name,
        system_gamma=_system_gamma(data, level) if curve == "hlg" else None,
        surround=_surround(data) if curve == "hlg" else None,
    )


def _pair(data: Any) -> Pair:
    x, y = data
    return float(x), float(y)


def _white(data: Any) -> tuple[Pair, str | None]:
    return (WHITES[data], data) if isinstance(data, str) else (_pair(data), None)


def _primaries(data: Any) -> tuple[Triangle, str | None]:
    if isinstance(data, str):
        return PRIMARIES[data], data
    return (_pair(data["red"]), _pair(data["green"]), _pair(data["blue"])), None


def _container(
    data: Data, encoding: Encoding, own: tuple[Triangle, str | None], here: Location
) -> tuple[Triangle | None, str | None]:
    stated = data.get("container")
    if encoding.kind == "xyz":
        if stated not in (None, "none"):
            message = f"{encoding.name} has no RGB primaries; expected none, or leave the key out"
            here.problem(message)
        return None, None
    if stated == "none":
        here.problem(f"'none' is for xyz-12-full; {encoding.name} needs primaries")
        return own
    return own if stated is None else _primaries(stated)


def _check_triangle(triangle: Triangle, white: Pair, here: Location) -> None:
    """Check that primaries span an area, with the white inside it."""
    red, green, blue = triangle
    for name, (x, y) in zip(("red", "green", "blue"), triangle, strict=True):
        if y <= 0 or x + y > 1 + 1e-9:
            here.problem(
                f"{name} {inline_yaml([x, y])} is an impossible chromaticity; expected y above 0 "
                "and x + y at most 1"
            )
            return
    turns = [_turn(red, green, white), _turn(green, blue, white), _turn(blue, red, white)]
    if abs(_turn(red, green, blue)) / 2 < SMALLEST_AREA:
        here.problem("span no area; expected three different corners")
    elif white[1] <= 0 or sum(white) >= 1 or not (min(turns) > 0 or max(turns) < 0):
        here.problem(f"do not enclose the white {inline_yaml(list(white))}; check both")


def _turn(a: Pair, b: Pair, c: Pair) -> float:
    """Twice the signed area of a triangle."""
    return (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])


def _check_transfer(data: Data, here: Location) -> None:
    transfer, curve = data["transfer"], data["transfer"]["curve"]
    place = here.at("transfer")
    black = transfer.get("black")
    if black is not None and black not in BLACKS[curve]:
        allowed = one_of(BLACKS[curve])
        place.at("black").problem(f"'{black}' is not for {curve}; expected {allowed}")
    if curve == "power" and "exponent" not in transfer:
        place.at("exponent").problem("missing; the power curve needs one, e.g. exponent: 2.2")
    if curve != "power" and "exponent" in transfer:
        place.at("exponent").problem(
            f"belongs to power, not {curve}; leave it out, or use {{curve: power, exponent: …}}"
        )
    if curve == "pq" and data.get("scale") == "relative":
        here.at("scale").problem("pq is absolute; expected absolute, or leave the key out")
    if curve != "hlg" and "system_gamma" in transfer:
        place.at("system_gamma").problem(f"belongs to hlg, not {curve}; leave the key out")
    if isinstance(transfer.get("system_gamma"), float | int) and "surround" in data:
        here.at("surround").problem(
            "only affects an automatic system gamma, but system_gamma is a number; leave one out"
        )
    if curve != "hlg" and "surround" in data:
        here.at("surround").problem(
            f"only affects the target of hlg, not of {curve}; to limit the room's surround write "
            "a requirement {quantity: recorded, field: surround, …}"
        )


def _luminance(data: Data, curve: str, here: Location) -> tuple[float, float]:
    white = float(data["white"])
    peak = float(data.get("peak", white))
    if "peak" in data and curve != "pq":
        more = "white is the nominal peak" if curve == "hlg" else "white is the highest level"
        here.problem(f"belongs to pq; for {curve} {more}; leave the key out")
    elif peak < white:
        below = f"{inline_yaml(peak)} is below white {inline_yaml(white)}"
        here.problem(f"{below}; expected at least that")
    return white, peak


def _system_gamma(data: Data, peak: float) -> float:
    surround = _surround(data)
    if surround is None:
        return float(data["transfer"]["system_gamma"])
    return float(hlg_system_gamma(peak, surround))


def _surround(data: Data) -> float | None:
    """The surround in cd/m² that an automatic system gamma is for; None if it is a number."""
    if data["transfer"].get("system_gamma", "auto") != "auto":
        return None
    return float(data.get("surround", REFERENCE_SURROUND))


# ---------------------------------------------------------------- limits

LIMIT_KEYS = ("limits", "bands", "by_patch")
"""Keys of a requirement that hold its limits."""
KEYS = ("min", "max", "within", "nominal", "within_percent", "box")


def example_of(quantity: Quantity | None) -> str:
    """Limits as they might be written for a quantity: `{max: 110}`."""
    return f"{{{quantity.example if quantity else 'max: 1'}}}"


def unit_phrase(quantity: Quantity, field: str | None = None) -> str:
    """The quantity's unit in a message: its unit, or `a plain number`."""
    unit = quantity.unit
    if quantity.values == "stated":
        unit = RECORDED_FIELDS[field][0] if field and field in RECORDED_FIELDS else "1"
    return "a plain number" if unit == "1" else unit


def limits_from(data: Data) -> Limits:
    """The interval of limits as written; a stated centre is kept for print."""
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
    """The decimal as written, so that 2.4 ± .1 ends at 2.3 and 2.5."""
    return Decimal(repr(value))


def read_limits(data: Data, quantity: Quantity, here: Location) -> Limits | None:
    """Read limits that make sense for the quantity; None if a problem was noted."""
    fault = _wrong_for(data, quantity)
    if fault:
        key, message = fault
        here.at(key).problem(message)
        return None
    return limits_from(data)


Fault = tuple[str, str]


def _wrong_for(data: Data, quantity: Quantity) -> Fault | None:
    example = example_of(quantity)
    if quantity.pair != ("box" in data):
        key = next(key for key in KEYS if key in data)
        kind = "an offset in x and y" if quantity.pair else "one number"
        return key, f"does not fit: {quantity.name} is {kind}; expected e.g. {example}"
    limits = limits_from(data)
    low, high = limits.minimum, limits.maximum
    if low is not None and high is not None and low > high:
        message = f"{inline_yaml(low)} is above max {inline_yaml(high)}"
        return "min", f"{message}; the smaller belongs to min"
    if low is not None and low == high and limits.exclusive:
        bound = inline_yaml(low)
        message = f"min and max are both {bound}, and exclusive excludes {bound} itself"
        return "exclusive", f"{message}; correct min or max, or remove exclusive"
    if quantity.signed or quantity.values == "stated" or quantity.pair:
        return None
    if "within" in data and "nominal" not in data:
        wanted = inline_yaml({"max": data["within"]})
        return "within", f"is centred on 0, but {quantity.name} is never below 0; expected {wanted}"
    if high is not None and (high < 0 or (high == 0 and limits.exclusive)):
        key = "max" if "max" in data else "nominal"
        return key, f"can never be met: {quantity.name} is never below 0; expected e.g. {example}"
    return None


OPTIONS = ("floor", "above_black", "ignore", "scale", "diagram", "field", "declaration")
"""Keys that only some quantities take."""

NO_EXPONENT = ("srgb", "pq")
"""Curves without an exponent to fit."""


@dataclass(frozen=True, slots=True)
class Definitions:
    """The parts of a rule that its requirements refer to."""

    target: Target | None
    names: Data
    """The patch sets as written."""
    sets: Mapping[str, PatchSet]
    """The sets that could be read."""


def read_requirement(
    name: str, data: Data, known: Definitions, here: Location
) -> Requirement | None:
    """Read one requirement of a resolved rule; None if problems were noted."""
    quantity = QUANTITIES[data["quantity"]]
    before = here.problem_count
    _check_options(data, quantity, here)
    statistic, percentile = _statistic(data, quantity, here.at("statistic"))
    over = _over(data, quantity, known, here.at("over"))
    _check_reference(data, quantity, here.at("reference"))
    _check_sense(data, quantity, over, known, here)
    limits, bands, by_patch = _limits(data, quantity, statistic, here)
    _check_names(by_patch, over, known.sets, here)
    if here.problem_count > before:
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
        scale=data.get("scale"),
        statistic=statistic,
        percentile=percentile,
        floor=as_float(data.get("floor")),
        above_black=data.get("above_black", False),
        ignore_luminance=data.get("ignore") == "luminance",
        diagram=data.get("diagram", "uv"),
        field=data.get("field"),
        declaration=data.get("declaration"),
        displays=data.get("displays"),
    )


def _check_options(data: Data, quantity: Quantity, here: Location) -> None:
    """Check the unit, the options, and the keys that `recorded` and `declared` need."""
    for key in OPTIONS:
        if key in data and key not in quantity.options:
            owners = [row.name for row in QUANTITIES.values() if key in row.options]
            message = f"does not go with {quantity.name}, but with {', '.join(owners)}"
            here.at(key).problem(message)
    for key in ("field", "declaration"):
        if key in quantity.options and key not in data:
            wanted = (
                f"one of {', '.join(RECORDED_FIELDS)}"
                if key == "field"
                else "the name of the slot's declaration, e.g. declaration: local-dimming-off"
            )
            message = f"missing; the quantity '{quantity.name}' needs it; expected {wanted}"
            here.at(key).problem(message)
    if "unit" in data:
        unit = unit_phrase(quantity, data.get("field"))
        right = "1" if unit == "a plain number" else unit
        if data["unit"].replace("cd/m2", "cd/m²") != right:
            message = f"{quoted(data['unit'])} is not the unit of {quantity.name}"
            here.at("unit").problem(f"{message}; expected {right}, or leave the key out")


def _statistic(data: Data, quantity: Quantity, here: Location) -> tuple[str, float | None]:
    stated = data.get("statistic", "each")
    percentile = None
    if isinstance(stated, Mapping):
        percentile, stated = float(stated["percentile"]), "percentile"
    if stated not in quantity.statistics:
        why = "an offset in x and y" if quantity.pair else "one value of all patches together"
        why = "a stated value" if quantity.values == "stated" else why
        allowed = one_of(quantity.statistics)
        message = f"'{stated}' does not go with {quantity.name}, which is {why}; expected {allowed}"
        here.problem(message)
    return stated, percentile


def _over(data: Data, quantity: Quantity, known: Definitions, here: Location) -> Over | None:
    stated = quantity.values == "stated"
    by_itself = bool(quantity.roles) and quantity.compares is None
    if "over" not in data:
        if not by_itself and not stated:
            example = "grey" if quantity.compares == "steps" else "white"
            here.problem(f"missing; {quantity.name} needs a set of patches, e.g. over: {example}")
        return None
    if stated:
        here.problem(f"{quantity.name} uses no patches; leave the key out")
        return None
    needed = not by_itself or quantity.hues
    over = read_over(data["over"], known.names, needed, known.target, here)
    if over is not None and quantity.hues:
        _check_hues(over, known.sets, here)
    return over


def _check_hues(over: Over, sets: Mapping[str, PatchSet], here: Location) -> None:
    """Check that the first set has red, green and blue; the others do not matter."""
    name = over.patches[0]
    if name not in sets and name not in BUILT_IN_SETS:
        return  # the set's problem is noted elsewhere
    shown = {hue for hue in _names_of(name, sets) or () if over.only is None or hue in over.only}
    absent = [hue for hue in ("red", "green", "blue") if hue not in shown - {*over.exclude}]
    if absent:
        here.problem(
            f"{quoted(name)} has no {', '.join(absent)}; expected a set of hues with red, green "
            "and blue, or leave the key out"
        )


def _check_reference(data: Data, quantity: Quantity, here: Location) -> None:
    reference = data.get("reference", "target")
    if reference in quantity.references:
        return
    if len(quantity.references) == 1:
        message = f"does not go with {quantity.name}; leave the key out"
    else:
        message = f"'{reference}' does not go with {quantity.name}; "
        message += f"expected {one_of(quantity.references)}"
    here.problem(message)


def check_adapted(requirements: Sequence[Requirement], here: Location) -> None:
    """Check that a rule that adapts its target to the measured white judges the white itself."""
    judged = any(
        requirement.level is Level.SHALL
        and requirement.over is not None
        and "white" in requirement.over.patches
        and QUANTITIES[requirement.quantity].chromatic
        and requirement.reference == "target"
        for requirement in requirements
    )
    for requirement in requirements:
        if requirement.reference == "adapted" and not judged:
            here.at(requirement.id, "reference").problem(
                "'adapted' takes the white as measured, and no shall of the rule judges its "
                "chromaticity; expected target, or a requirement such as {quantity: "
                "chromaticity-difference, over: white, limits: {max: 0.003}}"
            )


def _check_sense(
    data: Data, quantity: Quantity, over: Over | None, known: Definitions, here: Location
) -> None:
    """Check that quantity, target and sets fit together."""
    curve = known.target.curve if known.target else None
    if quantity.ideal == "exponent" and curve in NO_EXPONENT:
        message = f"{curve} has no exponent to fit; expected e.g. luminance-error"
        here.at("quantity").problem(message)
    if curve == "pq" and data.get("scale") == "relative":
        here.at("scale").problem("pq is absolute; leave the key out")
    if curve == "pq" and data.get("reference") == "adapted":
        here.at("reference").problem("'adapted' is not for pq, which is absolute; expected target")
    if over is None or not over.patches:
        return
    positions = _positions(over, known.sets)
    if positions is None or positions - {"centre"}:
        return
    by_time = over.seconds is not None and quantity.compares == "centre"
    if quantity.by_position and not by_time:
        here.at("over").problem(
            f"{quantity.name} compares positions, and over has only the centre; "
            "expected a set of positions, e.g. {positions: [centre, corners], of: white}"
        )
    if data.get("reference") == "centre" and "centre" in quantity.references:
        here.at("reference").problem(
            "'centre' compares positions, and over has only the centre; "
            "expected a set of positions, or another reference"
        )


def _positions(over: Over, sets: Mapping[str, PatchSet]) -> set[str] | None:
    """Positions of a requirement's patches; None if a set could not be read."""
    positions: set[str] = set(over.position or ())
    for name in over.patches:
        if name in BUILT_IN_SETS:
            positions |= {"centre"} if over.position is None else set()
        elif name not in sets:
            return None
        else:
            positions |= set(sets[name].positions)
    return positions & set(over.position) if over.position is not None else positions


Limited = tuple[Limits | None, tuple[Band, ...], dict[str, Limits]]


def _limits(data: Data, quantity: Quantity, statistic: str, here: Location) -> Limited:
    key = next(key for key in LIMIT_KEYS if key in data)
    place = here.at(key)
    if key == "limits":
        return read_limits(data["limits"], quantity, place), (), {}
    if statistic != "each" or quantity.values != "point":
        wanted = f"expected e.g. limits: {example_of(quantity)}"
        place.problem(f"need one value per patch (statistic each); {wanted}")
        return None, (), {}
    if key == "bands":
        return None, _bands(data["bands"], quantity, place), {}
    by_patch = {
        name: limits
        for name, entry in data["by_patch"].items()
        if (limits := read_limits(entry, quantity, place.at(name)))
    }
    return None, (), by_patch


def _bands(data: list[Data], quantity: Quantity, here: Location) -> tuple[Band, ...]:
    bands: list[Band] = []
    reached = 0.0
    for number, entry in enumerate(data):
        limits = read_limits(entry, quantity, here.at(number))
        upto, place = entry.get("upto"), here.at(number, "upto")
        last = number == len(data) - 1
        if last and upto is not None:
            place.problem("the last band is open; leave upto out, or add a band after it")
        if not last and upto is None:
            place.problem(
                "missing; every band but the last needs its upper end in cd/m², e.g. upto: 10"
            )
        if upto is not None and upto <= reached:
            before = inline_yaml(reached)
            place.problem(f"{inline_yaml(upto)} is not above {before} before it")
        reached = upto or reached
        if limits:
            bands.append(Band(as_float(upto), limits))
    return tuple(bands)


def _check_names(
    by_patch: Mapping[str, Limits], over: Over | None, sets: Mapping[str, PatchSet], here: Location
) -> None:
    """Check names of patches, if the sets define them: all known, and by_patch complete."""
    if over is None or not over.patches:
        return
    known: list[str] = []
    for name in over.patches:
        names = _names_of(name, sets)
        if names is None:
            return
        known += names
    used = [(("over", "only"), name) for name in over.only or ()]
    used += [(("over", "except"), name) for name in over.exclude]
    used += [(("by_patch", name), name) for name in by_patch]
    for key, name in used:
        if name not in known:
            message = f"{quoted(name)} is not a patch of {', '.join(over.patches)}"
            here.at(*key).problem(f"{message}; {did_you_mean(name, known)}")
    for name in known if by_patch else ():
        left_out = name in over.exclude or (over.only is not None and name not in over.only)
        if name not in by_patch and not left_out:
            here.at("by_patch").problem(f"has no limits for the patch {quoted(name)}")


def _names_of(name: str, sets: Mapping[str, PatchSet]) -> list[str] | None:
    """Names of a set's patches; None if its definition does not state them."""
    if name in BUILT_IN_SETS:
        return [name]
    patch_set = sets.get(name)
    if patch_set is None or patch_set.kind not in ("hues", "list"):
        return None
    return [*patch_set.hues, *(patch for patch, _ in patch_set.patches)]
