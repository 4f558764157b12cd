"""A rule's target: names resolved, defaults filled in, sense checked."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from compliance.colour.hlg import REFERENCE_SURROUND, hlg_system_gamma
from compliance.colour.spaces import PRIMARIES, WHITES
from compliance.model import ENCODINGS, Encoding, Pair, Target
from compliance.yaml_nodes.locations import Location, SourceLocations
from compliance.yaml_nodes.messages import inline_yaml, one_of
from compliance.yaml_nodes.schema_reader import as_float

Data = Mapping[str, Any]

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
"""Of a triangle of primaries in x, y; anything below is a slip of the pen."""

Triangle = tuple[Pair, Pair, Pair]


def read_encoding(data: Data) -> Encoding:
    """What the plan emits: as stated, else X'Y'Z' for the dcdm curve and 10-bit full RGB."""
    curve = data.get("target", {}).get("transfer", {}).get("curve")
    default = "xyz-12-full" if curve == "dcdm" else "rgb-10-full"
    return ENCODINGS[data.get("signal", {}).get("encoding", default)]


def read_target(data: Data, encoding: Encoding, places: SourceLocations) -> Target | None:
    """The target of a resolved rule; None where problems were noted."""
    here = places.at("target")
    before = here.problem_count
    for key, example in _NEEDED.items():
        if key not in data:
            here.at(key).problem(f"missing; expected e.g. {key}: {example}")
    if here.problem_count > before:
        return None
    curve = data["transfer"]["curve"]
    white, white_name = _white(data["white"])
    primaries, name = _primaries(data["primaries"])
    _check_triangle(primaries, white, here.at("primaries"))
    container, container_name = _container(data, encoding, (primaries, name), here.at("container"))
    if container and container is not primaries:
        _check_triangle(container, white, here.at("container"))
    _check_transfer(data, here)
    if encoding.kind == "xyz" and curve not in ("dcdm", "pq"):
        places.at("signal", "encoding").problem(
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
    )


_NEEDED = {
    "primaries": "bt709",
    "white": "d65",
    "transfer": "{curve: bt1886}",
    "luminance": "{white: 100}",
}


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
    """Primaries that span an area, with the white inside it."""
    red, green, blue = triangle
    if any(y <= 0 or x + y > 1 + 1e-9 for x, y in triangle):
        here.problem("holds no chromaticity: y is above 0, and x + y at most 1")
        return
    turns = [_turn(red, green, white), _turn(green, blue, white), _turn(blue, red, white)]
    if abs(_turn(red, green, blue)) / 2 < SMALLEST_AREA:
        here.problem("span no area; expected three different corners")
    elif white[1] <= 0 or sum(white) >= 1 or not (min(turns) > 0 or max(turns) < 0):
        here.problem(f"do not enclose the white {inline_yaml(list(white))}; look at both")


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
            f"{curve} has its own; leave the key out, or take {{curve: power, exponent: …}}"
        )
    if curve == "pq" and data.get("scale") == "relative":
        here.at("scale").problem("pq is absolute; expected absolute, or no such key")
    if curve != "hlg" and "system_gamma" in transfer:
        place.at("system_gamma").problem(f"belongs to hlg, not {curve}; leave the key out")
    if isinstance(transfer.get("system_gamma"), float | int) and "surround" in data:
        here.at("surround").problem(
            "enters an automatic system gamma only, and a number is stated; leave one of them out"
        )
    if curve != "hlg" and "surround" in data:
        here.at("surround").problem(
            f"enters the target of hlg only, not of {curve}; to limit the room's surround write "
            "a requirement {quantity: recorded, field: surround, …}"
        )


def _luminance(data: Data, curve: str, here: Location) -> tuple[float, float]:
    white = float(data["white"])
    peak = float(data.get("peak", white))
    if "peak" in data and curve != "pq":
        more = "white is the nominal peak" if curve == "hlg" else "white is the highest level"
        here.problem(f"belongs to pq; in {curve} {more}, leave the key out")
    elif peak < white:
        below = f"{inline_yaml(peak)} is below white {inline_yaml(white)}"
        here.problem(f"{below}; expected at least that")
    return white, peak


def _system_gamma(data: Data, peak: float) -> float:
    stated = data["transfer"].get("system_gamma", "auto")
    if stated != "auto":
        return float(stated)
    return float(hlg_system_gamma(peak, data.get("surround", REFERENCE_SURROUND)))
