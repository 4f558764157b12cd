"""Read patch sets, and the patches that requirements take from them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from compliance.model import (
    BUILT_IN_SETS,
    ENCODINGS,
    POSITION_GROUPS,
    Encoding,
    Over,
    Pair,
    PatchSet,
    Target,
    Triple,
)
from compliance.yaml_nodes.messages import did_you_mean, inline_yaml, quoted
from compliance.yaml_nodes.nodes import Location
from compliance.yaml_nodes.schema_reader import as_float

Data = Mapping[str, Any]

KINDS = ("ramp", "hues", "saturations", "list", "positions", "windows", "repeats")
"""Keys of a set that determine its kind; the schema lists the further keys of each."""
OF_ONE_PATCH = ("positions", "windows", "repeats")
"""Kinds that show one built-in patch, named by `of`."""
HDR = ("pq", "hlg")


def expand_positions(data: str | Iterable[str]) -> tuple[str, ...]:
    """Expand names and groups to names, each once, in the order written."""
    names: dict[str, None] = {}
    for name in as_list(data):
        names.update(dict.fromkeys(POSITION_GROUPS.get(name, (name,))))
    return tuple(names)


def as_list(data: Any) -> list[Any]:
    """Return one value, or several, as a list."""
    return list(data) if isinstance(data, list | tuple) else [data]


def _pair(data: Any) -> Pair | None:
    return None if data is None else (float(data[0]), float(data[1]))


def read_sets(data: Data, target: Target | None, here: Location) -> dict[str, PatchSet]:
    """Read the sets of a resolved rule by name; problems are noted."""
    sets = {}
    for name, entry in data.items():
        if name in BUILT_IN_SETS:
            here.at(name).problem(f"'{name}' is a built-in set; choose another name")
        elif patch_set := _read_set(name, entry, target, here.at(name)):
            sets[name] = patch_set
    return sets


def _read_set(name: str, data: Data, target: Target | None, here: Location) -> PatchSet | None:
    kind = next(kind for kind in KINDS if kind in data)
    before = here.problem_count
    _check_values(data, target, here)
    listed, encoding = _listed(data.get("list"), here.at("list"))
    if here.problem_count > before:
        return None
    return PatchSet(
        name=name,
        kind=kind,
        steps=data.get("steps"),
        signal=_pair(data.get("signal")),
        hues=tuple(data.get("hues", data.get("saturations", ()))),
        neutral=as_float(data.get("neutral")),
        patches=listed,
        encoding=encoding,
        positions=expand_positions(data.get("positions", ())),
        windows=tuple(map(float, data.get("windows", ()))),
        repeats=data.get("repeats"),
        of=data.get("of", "white") if kind in OF_ONE_PATCH else None,
        window=as_float(data.get("window")),
        pattern=data.get("pattern"),
    )


def _check_values(data: Data, target: Target | None, here: Location) -> None:
    rising = data.get("signal")
    if rising and rising[0] >= rising[1]:
        here.at("signal").problem(f"{inline_yaml(rising)} does not rise; expected e.g. [0, 1]")
    if target is None:
        return
    if data.get("of") == "peak":
        _check_peak(target, here.at("of"))
    if data.get("neutral", 0) > max(target.luminance_white, target.luminance_peak):
        highest = inline_yaml(target.luminance_peak)
        message = f"{inline_yaml(data['neutral'])} is above the target's highest level"
        here.at("neutral").problem(f"{message}, {highest} cd/m²")


def _check_peak(target: Target, here: Location) -> None:
    if target.curve not in HDR:
        here.problem(f"'peak' is for pq and hlg, not {target.curve}; did you mean 'white'?")


def _listed(data: Any, here: Location) -> tuple[tuple[tuple[str, Triple], ...], Encoding | None]:
    if data is None:
        return (), None
    if isinstance(data, str):
        here.problem(f"{quoted(data)} is a path; a resolved rule contains the list itself")
        return (), None
    check_list(data, here)
    patches = tuple((name, _triple(codes)) for name, codes in data["patches"].items())
    return patches, ENCODINGS[data["encoding"]]


def _triple(codes: Any) -> Triple:
    a, b, c = codes
    return int(a), int(b), int(c)


def check_list(data: Data, here: Location) -> None:
    """Check that a patch list's codes fit its encoding and that no patch has two names."""
    encoding = ENCODINGS[data["encoding"]]
    known: dict[Triple, str] = {}
    for name, codes in data["patches"].items():
        place, stated = here.at("patches", name), inline_yaml(codes)
        if max(codes) > encoding.top:
            place.problem(f"{stated} is outside {encoding.name}, which ends at {encoding.top}")
        first = known.setdefault(_triple(codes), name)
        if first != name:
            place.problem(f"{stated} is already the patch '{first}'; keep one name")


def read_over(
    data: Any, sets: Data, needed: bool, target: Target | None, here: Location
) -> Over | None:
    """Read the patches of a requirement; None if a problem was noted.

    `sets` are the names that the rule defines. If patches are not `needed`, the quantity takes
    them by itself, and a mapping may leave `patches` out (the tuple is empty then).
    """
    narrowed = data if isinstance(data, Mapping) else {"patches": data}
    before = here.problem_count
    base = here.at("patches") if isinstance(data, Mapping) else here
    if "patches" not in narrowed and needed:
        base.problem("missing; expected a set, e.g. patches: grey")
    names = as_list(narrowed.get("patches", []))
    for number, name in enumerate(names):
        several = isinstance(narrowed.get("patches"), list)
        _check_set(name, sets, target, base.at(number) if several else base)
    for key in ("signal", "target"):
        ends = narrowed.get(key)
        if ends and ends[0] > ends[1]:
            here.at(key).problem(f"{inline_yaml(ends)} is reversed; expected the smaller end first")
    if here.problem_count > before:
        return None
    return Over(
        patches=tuple(names),
        signal=_pair(narrowed.get("signal")),
        target=_pair(narrowed.get("target")),
        position=expand_positions(narrowed["position"]) if "position" in narrowed else None,
        window=_numbers(narrowed.get("window")),
        pattern=narrowed.get("pattern"),
        seconds=_numbers(narrowed.get("seconds")),
        only=tuple(as_list(narrowed["only"])) if "only" in narrowed else None,
        exclude=tuple(as_list(narrowed.get("except", []))),
    )


def _check_set(name: str, sets: Data, target: Target | None, here: Location) -> None:
    if name == "peak" and target is not None:
        _check_peak(target, here)
    elif name not in sets and name not in BUILT_IN_SETS:
        known = (*sets, *BUILT_IN_SETS)
        here.problem(f"{quoted(name)} is not a set of this rule; {did_you_mean(name, known)}")


def _numbers(data: Any) -> tuple[float, ...] | None:
    return None if data is None else tuple(map(float, as_list(data)))
