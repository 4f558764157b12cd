"""Whether a rule makes sense beyond its form: what it asks can be shown, judged and met."""

from __future__ import annotations

import pathlib
from collections.abc import Iterable, Iterator, Sequence

import numpy as np

from compliance import targets
from compliance.colour import codes
from compliance.errors import Problem, RuleError
from compliance.grading.patches import HUES, Plan, PlannedPatch
from compliance.model import BUILT_IN_SETS, Limits, PatchSet, Requirement, Rule
from compliance.quantities.catalogue import QUANTITIES
from compliance.rules.library import NAME, load_rule_with_locations, read_repository
from compliance.rules.load import RuleSource, read_list
from compliance.targets import target_model
from compliance.yaml_nodes import read_yaml
from compliance.yaml_nodes.locations import Path, SourceLocations
from compliance.yaml_nodes.messages import did_you_mean, inline_yaml, quoted
from compliance.yaml_nodes.nodes import Node
from compliance.yaml_nodes.read_file import read_bytes


def check_ideal(requirement: Requirement, rule: Rule, places: SourceLocations, path: Path) -> None:
    """A display that is exactly the target may not fail by that."""
    ideal = _ideal(requirement, rule)
    if ideal is None:
        return
    value, what = ideal
    for key, limits in _stated_limits(requirement):
        if not _within(value, limits):
            places.problem(
                (*path, *key),
                f"leave out {inline_yaml(round(value, 4))}, which is what {what} gives; "
                "nothing that follows the target can meet them",
            )
            return


def _ideal(requirement: Requirement, rule: Rule) -> tuple[float, str] | None:
    """The value on a display that is the target, where it is known beforehand."""
    quantity, target, over = QUANTITIES[requirement.quantity], rule.target, requirement.over
    if requirement.statistic not in ("each", "mean", "percentile"):
        return None
    if quantity.reading and over is not None:
        if over.patches == ("white",):
            return target.luminance_white, "the target's white"
        if over.patches == ("peak",):
            return target.luminance_peak, "the target's peak"
        return None
    if quantity.ideal == "exponent":
        exponent = target.system_gamma or target.exponent or 2.4
        return exponent, "the target's curve"
    if quantity.ideal is None:
        return None
    gamut = quantity.target == "primaries"
    return quantity.ideal, "the target's own gamut" if gamut else "a display that is the target"


def _stated_limits(requirement: Requirement) -> Iterator[tuple[Path, Limits]]:
    if requirement.limits is not None:
        yield ("limits",), requirement.limits
    for number, band in enumerate(requirement.bands):
        yield ("bands", number), band.limits
    for name, limits in requirement.by_patch.items():
        yield ("by_patch", name), limits


def _within(value: float, limits: Limits) -> bool:
    if limits.box is not None:
        return True
    low, high = limits.minimum, limits.maximum
    if limits.exclusive and value in (low, high):
        return False
    return (low is None or value >= low) and (high is None or value <= high)


SOURCED = ("published", "digest", "memory")
"""Words for a basis that is a document, which then has to be named."""

FLOOR = {"pq": 0.05}
USUAL_FLOOR = 0.1
"""cd/m² of nominal target below which luminance-error and ΔE ITP judge nothing."""

FULL = 1.005
"""Largest linear component, of full drive, that a signal is said to carry."""

SHOWN = 3
"""Names of patches that a message repeats."""


def lint(rule: Rule, places: SourceLocations) -> None:
    """Note in `places` what makes no sense in a rule that could be read."""
    plan = Plan(rule, rule.encoding)
    fitting = {name for name, one in rule.sets.items() if _set_fits(one, plan, places)}
    fitting |= set(BUILT_IN_SETS)
    for requirement in rule.requirements:
        path = ("requirements", requirement.id)
        _check_source(requirement, places, path)
        check_ideal(requirement, rule, places, path)
        over = requirement.over
        if over is None or not over.patches or not set(over.patches) <= fitting:
            continue
        if QUANTITIES[requirement.quantity].roles:
            continue
        _check_patches(requirement, plan, places, path)


# ---------------------------------------------------------------- where limits come from


def _check_source(requirement: Requirement, places: SourceLocations, path: Path) -> None:
    if requirement.basis in SOURCED and requirement.clause is None:
        places.problem(
            (*path, "clause"),
            f"missing; the basis {requirement.basis} names a document, "
            'e.g. clause: "EBU Tech 3320 v4.1, 1.5.2"',
        )


# ---------------------------------------------------------------- sets and the signal


def _set_fits(patch_set: PatchSet, plan: Plan, places: SourceLocations) -> bool:
    """The signal can carry what the set asks for; whether its patches could be made at all."""
    path = ("patches", patch_set.name, patch_set.kind)
    try:
        planned = plan.expanded(patch_set)
    except RuleError:
        name = patch_set.encoding.name if patch_set.encoding else ""
        places.problem(
            path, f"is a list in {name}, which the curve {plan.rule.target.curve} does not know; "
            f"expected codes of RGB, e.g. in {plan.encoding.name}",
        )  # fmt: skip
        return False
    lost = list(_outside(patch_set, plan))
    if lost:
        where = plan.rule.target.container_name or "the signal's primaries"
        where = where if plan.encoding.kind == "rgb" else plan.encoding.name
        places.problem(
            path, f"{_names(lost)} cannot be carried by the signal: outside {where}, so that "
            "clipping would show another colour; look at target.container",
        )  # fmt: skip
    _check_doubles(patch_set, planned, plan, places, path)
    return True


def _outside(patch_set: PatchSet, plan: Plan) -> Iterator[str]:
    """Names of colours that have no code in the container."""
    model = plan.model
    to_signal = np.linalg.inv(model.from_signal)
    if patch_set.kind in ("hues", "saturations"):
        share = plan.drive(patch_set) / model.white_luminance
        for hue in patch_set.hues:
            light = model.from_target @ np.array(HUES[hue], dtype=np.float64) * share
            if _is_lost(to_signal @ light, plan):
                yield hue
    if patch_set.encoding is None or patch_set.encoding.kind == plan.encoding.kind:
        return
    listed = target_model(plan.rule, patch_set.encoding)._replace(black_luminance=np.nan)
    bits, narrow = patch_set.encoding.bits, patch_set.encoding.narrow
    for name, triple in patch_set.patches:
        signal = np.asarray(codes.decode(np.array(triple), bits, narrow), dtype=np.float64)
        light = targets.nominal_xyz(signal, listed) / model.white_luminance
        if _is_lost(to_signal @ light, plan):
            yield name


def _is_lost(linear: np.ndarray[tuple[int, ...], np.dtype[np.float64]], plan: Plan) -> bool:
    """(3,) linear signal: a component below 0 by more than rounding, or above full drive."""
    largest = float(linear.max())
    too_much = plan.encoding.kind == "rgb" and plan.rule.target.curve != "pq" and largest > FULL
    return bool(linear.min() < targets.REACHABLE * max(largest, 0.0)) or too_much


def _check_doubles(
    patch_set: PatchSet,
    planned: Iterable[PlannedPatch],
    plan: Plan,
    places: SourceLocations,
    path: Path,
) -> None:
    """Two patches that are one code."""
    known: dict[object, str] = {}
    doubles = []
    for patch in planned:
        triple = codes.encode(np.array(patch.signal), plan.encoding.bits, plan.encoding.narrow)
        key = (*map(int, triple), patch.position, patch.window, patch.pattern)
        first = known.setdefault(key, patch.name)
        if first != patch.name:
            doubles.append(f"{first} and {patch.name}")
    if doubles:
        places.problem(
            path, f"{quoted(doubles[0])} are the same code of {plan.encoding.name} "
            f"({len(known)} different patches in all); expected fewer steps",
        )  # fmt: skip


# ---------------------------------------------------------------- what a requirement asks for


def _check_patches(
    requirement: Requirement, plan: Plan, places: SourceLocations, path: Path
) -> None:
    over = requirement.over
    assert over is not None
    every = [patch for name in over.patches for patch in plan.patches(name)]
    _check_names(requirement, [patch.name for patch in every], places, path)
    asked = [patch for name in over.patches for patch in plan.asked(name, over)]
    if not asked:
        sets = ", ".join(over.patches)
        places.problem((*path, "over"), f"leaves no patch of {sets}, so that nothing is judged")
        return
    _check_by_patch(requirement, asked, places, path)
    if not QUANTITIES[requirement.quantity].target:
        return
    signal = np.array([patch.signal for patch in asked])
    for why, mask in (
        ("beyond nominal black or white", targets.beyond_nominal(signal, plan.model)),
        ("above the target's peak", targets.above_peak(signal, plan.model)),
        ("outside the target's primaries", targets.unreachable(signal, plan.model)),
    ):
        lost = [patch.name for patch, yes in zip(asked, mask, strict=True) if yes]
        if lost:
            places.problem((*path, "over"), f"{_names(lost)}: {why}, could never be judged")
    nominal = targets.nominal_xyz(signal, plan.model)[:, 1]
    _check_floor(requirement, nominal, plan, places, path)
    _check_edges(requirement, asked, plan, places, path)


def _check_names(
    requirement: Requirement, known: list[str], places: SourceLocations, path: Path
) -> None:
    """`only` and `except` name patches there are, in sets whose names are made up late."""
    over = requirement.over
    assert over is not None
    for key, names in (("only", over.only or ()), ("except", over.exclude)):
        for name in names:
            if name not in known:
                message = f"{quoted(name)} is no patch of {', '.join(over.patches)}"
                places.problem((*path, "over", key), f"{message}; {did_you_mean(name, known)}")


def _check_by_patch(
    requirement: Requirement, asked: list[PlannedPatch], places: SourceLocations, path: Path
) -> None:
    if not requirement.by_patch:
        return
    known = [patch.name for patch in asked]
    for name in requirement.by_patch:
        if name not in known:
            message = (
                f"{quoted(name)} is no patch this requirement asks for; {did_you_mean(name, known)}"
            )
            places.problem((*path, "by_patch", name), message)
    bare = [name for name in dict.fromkeys(known) if name not in requirement.by_patch]
    if bare:
        places.problem((*path, "by_patch"), f"has no limits for {_names(bare)}")


def _check_floor(
    requirement: Requirement,
    nominal: np.ndarray[tuple[int, ...], np.dtype[np.float64]],
    plan: Plan,
    places: SourceLocations,
    path: Path,
) -> None:
    if QUANTITIES[requirement.quantity].dark != "luminance":
        return
    floor = requirement.floor
    if floor is None:
        floor = FLOOR.get(plan.rule.target.curve, USUAL_FLOOR)
    if float(nominal.max()) < floor * (1 - 1e-9):
        key = "floor" if requirement.floor is not None else "over"
        places.problem(
            (*path, key), f"every patch lies below {inline_yaml(floor)} cd/m², where "
            f"{requirement.quantity} is not judged; state a lower floor, or other patches",
        )  # fmt: skip


def _check_edges(
    requirement: Requirement,
    asked: list[PlannedPatch],
    plan: Plan,
    places: SourceLocations,
    path: Path,
) -> None:
    """A patch so near a band's edge that a rounding to another code would change its band."""
    if len(requirement.bands) < 2:
        return
    signal = np.array([patch.signal for patch in asked])
    ends = [
        targets.nominal_xyz(np.clip(signal + way * plan.model.step, 0, 1), plan.model)[:, 1]
        for way in (-1, 0, 1)
    ]
    exact = np.all((signal == 0) | (signal == 1), axis=1)
    for number, band in enumerate(requirement.bands[:-1]):
        edge = band.upto
        assert edge is not None
        near = [
            place
            for place in range(len(asked))
            if ends[0][place] <= edge <= ends[2][place] and not exact[place]
        ]
        if not near:
            continue
        low, here, high = (float(end[near[0]]) for end in ends)
        others = f" ({len(near) - 1} more are as near)" if len(near) > 1 else ""
        places.problem(
            (*path, "bands", number, "upto"),
            f"{asked[near[0]].name} is {here:.4g} cd/m² and one code away {low:.4g} or {high:.4g}, "
            f"so that rounding decides its band; move the edge away from "
            f"{inline_yaml(edge)}{others}",
        )


def _names(names: list[str]) -> str:
    """The first few of some names."""
    unique = list(dict.fromkeys(names))
    more = f" and {len(unique) - SHOWN} more" if len(unique) > SHOWN else ""
    return ", ".join(unique[:SHOWN]) + more


def check_file(path: pathlib.Path, search: Sequence[pathlib.Path] = ()) -> list[Problem]:
    """The complaints about a rule file, a patch list or a `.compliance.yaml`; empty if in order.

    Never raises for what stands in the file.
    """
    try:
        if path.name == NAME:
            read_repository(path)
        elif _is_list(path):
            read_list(RuleSource(path, str(path), str(path)))
        else:
            rule, places = load_rule_with_locations(path, search=search)
            lint(rule, places)
            places.raise_if_any()
    except RuleError as error:
        return list(error.problems)
    return []


def _is_list(path: pathlib.Path) -> bool:
    """A patch list: code values and their encoding, and nothing of a rule."""
    node: Node = read_yaml(read_bytes(path, RuleError, "rule"), str(path), RuleError)
    keys = set(node.entries)
    return "encoding" in keys and not keys & {"rule", "extends", "requirements", "target"}
