"""Patch sets and what requirements take from them."""

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
from compliance.yaml_nodes.locations import Path, SourceLocations
from compliance.yaml_nodes.messages import did_you_mean, inline_yaml, quoted

KINDS: Mapping[str, tuple[str, ...]] = {
    "ramp": ("steps", "signal"),
    "hues": ("neutral",),
    "saturations": ("steps", "neutral"),
    "list": (),
    "positions": ("of",),
    "windows": ("of",),
    "repeats": ("of",),
}
"""Kinds of sets and what else each takes; `window` and `pattern` go with any."""

COMMON = ("window", "pattern")
HDR = ("pq", "hlg")


def expand_positions(data: str | Iterable[str]) -> tuple[str, ...]:
    """Names and groups to names, each once, in the order written."""
    names: dict[str, None] = {}
    for name in as_list(data):
        names.update(dict.fromkeys(POSITION_GROUPS.get(name, (name,))))
    return tuple(names)


def as_list(data: Any) -> list[Any]:
    """One value, or several, as a list."""
    return list(data) if isinstance(data, list | tuple) else [data]


def _pair(data: Any) -> Pair | None:
    return None if data is None else (float(data[0]), float(data[1]))


def read_sets(
    data: Mapping[str, Any], target: Target | None, places: SourceLocations
) -> dict[str, PatchSet]:
    """The sets of a resolved rule by name; problems are noted."""
    sets = {}
    for name, entry in data.items():
        path = ("patches", name)
        if name in BUILT_IN_SETS:
            places.problem(path, f"'{name}' is built in; give the set another name")
            continue
        found = _read_set(name, entry, target, places, path)
        if found:
            sets[name] = found
    return sets


def _read_set(
    name: str, data: Mapping[str, Any], target: Target | None, places: SourceLocations, path: Path
) -> PatchSet | None:
    kinds = [kind for kind in KINDS if kind in data]
    if len(kinds) != 1:
        said = f"{' and '.join(kinds)} stand here" if kinds else "does not say what it is made of"
        places.problem(path, f"{said}; expected one of {', '.join(KINDS)}")
        return None
    kind = kinds[0]
    before = len(places.problems)
    _check_keys(kind, data, places, path)
    _check_values(kind, data, target, places, path)
    listed, encoding = _listed(data.get("list"), places, path)
    if len(places.problems) > before:
        return None
    return PatchSet(
        name=name,
        kind=kind,
        steps=data.get("steps"),
        signal=_pair(data.get("signal")),
        hues=tuple(data.get("hues", data.get("saturations", ()))),
        neutral=float(data["neutral"]) if "neutral" in data else None,
        patches=listed,
        encoding=encoding,
        positions=expand_positions(data.get("positions", ())),
        windows=tuple(float(window) for window in data.get("windows", ())),
        repeats=data.get("repeats"),
        of=data.get("of", "white") if "of" in KINDS[kind] else None,
        window=float(data["window"]) if "window" in data else None,
        pattern=data.get("pattern"),
    )


def _check_keys(kind: str, data: Mapping[str, Any], places: SourceLocations, path: Path) -> None:
    allowed = (kind, *KINDS[kind], *COMMON)
    for key in data:
        if key not in allowed:
            places.problem((*path, key), f"does not go with {kind}; {did_you_mean(key, allowed)}")
    if kind in ("ramp", "saturations") and "steps" not in data:
        places.problem((*path, "steps"), f"missing; {kind} needs it, e.g. steps: 21")


def _check_values(
    kind: str, data: Mapping[str, Any], target: Target | None, places: SourceLocations, path: Path
) -> None:
    if kind == "ramp" and data.get("steps") == 1:
        places.problem((*path, "steps"), "a ramp has both its ends; expected at least 2")
    rising = data.get("signal")
    if rising and rising[0] >= rising[1]:
        places.problem(
            (*path, "signal"), f"{inline_yaml(rising)} does not rise; expected e.g. [0, 1]"
        )
    if kind == "windows" and "window" in data:
        places.problem((*path, "window"), "windows says the sizes already; leave one of them out")
    if target is None:
        return
    if data.get("of") == "peak" and target.curve not in HDR:
        places.problem((*path, "of"), _no_peak(target))
    if data.get("neutral", 0) > max(target.luminance_white, target.luminance_peak):
        highest = inline_yaml(target.luminance_peak)
        places.problem(
            (*path, "neutral"),
            f"{inline_yaml(data['neutral'])} is above the target's highest level, {highest} cd/m²",
        )


def _no_peak(target: Target) -> str:
    return f"'peak' is for pq and hlg, not {target.curve}; did you mean 'white'?"


def _listed(
    data: Any, places: SourceLocations, path: Path
) -> tuple[tuple[tuple[str, Triple], ...], Encoding | None]:
    if data is None:
        return (), None
    if isinstance(data, str):
        places.problem((*path, "list"), f"{quoted(data)} is a path; a resolved rule names no files")
        return (), None
    check_list(data, places, (*path, "list"))
    patches = tuple((name, _triple(codes)) for name, codes in data["patches"].items())
    return patches, ENCODINGS[data["encoding"]]


def _triple(codes: Any) -> Triple:
    a, b, c = codes
    return int(a), int(b), int(c)


def check_list(data: Mapping[str, Any], places: SourceLocations, path: Path) -> None:
    """A patch list's codes fit its encoding, and no patch has two names."""
    encoding = ENCODINGS[data["encoding"]]
    known: dict[Triple, str] = {}
    for name, codes in data["patches"].items():
        here = (*path, "patches", name)
        if max(codes) > encoding.top:
            message = (
                f"{inline_yaml(codes)} is outside {encoding.name}, which ends at {encoding.top}"
            )
            places.problem(here, message)
        first = known.setdefault(_triple(codes), name)
        if first != name:
            places.problem(
                here, f"{inline_yaml(codes)} is the patch '{first}' already; keep one name"
            )


def read_over(
    data: Any,
    sets: Mapping[str, Any],
    roles: bool,
    target: Target | None,
    places: SourceLocations,
    path: Path,
) -> Over | None:
    """What a requirement is about; None where a problem was noted.

    `sets` are the names the rule defines; with `roles`, the quantity takes its patches by
    itself, and a mapping may leave `patches` out (the tuple is empty then).
    """
    narrowed = data if isinstance(data, Mapping) else {"patches": data}
    before = len(places.problems)
    base = (*path, "patches") if isinstance(data, Mapping) else path
    if "patches" not in narrowed and not roles:
        places.problem(base, "missing; expected a set, e.g. patches: grey")
    names = as_list(narrowed.get("patches", []))
    for number, name in enumerate(names):
        here = (*base, number) if isinstance(narrowed.get("patches"), list) else base
        _check_set(name, sets, target, places, here)
    for key in ("signal", "target"):
        ends = narrowed.get(key)
        if ends and ends[0] > ends[1]:
            places.problem((*path, key), f"{inline_yaml(ends)} falls; the smaller end stands first")
    if len(places.problems) > before:
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


def _check_set(
    name: str, sets: Mapping[str, Any], target: Target | None, places: SourceLocations, path: Path
) -> None:
    if name == "peak" and target is not None and target.curve not in HDR:
        places.problem(path, _no_peak(target))
    elif name not in sets and name not in BUILT_IN_SETS:
        known = (*sets, *BUILT_IN_SETS)
        places.problem(path, f"{quoted(name)} is no set of this rule; {did_you_mean(name, known)}")


def _numbers(data: Any) -> tuple[float, ...] | None:
    return None if data is None else tuple(float(value) for value in as_list(data))
