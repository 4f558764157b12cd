"""Check that a rule makes sense: its patches can be shown and judged, its limits can be met."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path
from typing import NamedTuple

import numpy as np

from compliance import targets
from compliance.colour import codes
from compliance.errors import Problem, RuleError
from compliance.grading.decide import inside
from compliance.grading.patches import HUES, Plan, PlannedPatch
from compliance.model import BUILT_IN_SETS, Array, Limits, Over, PatchSet, Requirement, Rule
from compliance.quantities.catalogue import QUANTITIES
from compliance.rules.library import NAME, load_rule_with_locations, read_repository
from compliance.rules.load import RuleSource, read_list
from compliance.targets import target_model
from compliance.yaml_nodes.messages import did_you_mean, inline_yaml, quoted
from compliance.yaml_nodes.nodes import Location, SourceLocations
from compliance.yaml_nodes.read_file import read_bytes, read_yaml


def check_ideal(requirement: Requirement, rule: Rule, here: Location) -> None:
    """Note limits that a display exactly on the target does not meet."""
    ideal = _ideal(requirement, rule)
    if ideal is None:
        return
    value, what = ideal
    for place, limits in _stated_limits(requirement, here):
        if not inside(value, limits):
            place.problem(
                f"exclude {inline_yaml(round(value, 4))}, the value of {what}; "
                "no display on the target can meet them"
            )
            return


def _ideal(requirement: Requirement, rule: Rule) -> tuple[float, str] | None:
    """The value on a display exactly on the target, if known beforehand, and its name."""
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
    return quantity.ideal, "the target's own gamut" if gamut else "an ideal display"


def _stated_limits(requirement: Requirement, here: Location) -> Iterator[tuple[Location, Limits]]:
    if requirement.limits is not None:
        yield here.at("limits"), requirement.limits
    for number, band in enumerate(requirement.bands):
        yield here.at("bands", number), band.limits
    for name, limits in requirement.by_patch.items():
        yield here.at("by_patch", name), limits


SOURCED = ("published", "digest", "memory")
"""Bases that are a document, which then must be named."""

FLOOR = {"pq": 0.05}
USUAL_FLOOR = 0.1
"""cd/m² of nominal target below which luminance-error and ΔE ITP are not judged."""

FULL = 1.005
"""Largest linear component that a signal can carry, as a share of full drive."""

SHOWN = 3
"""Names of patches that a message repeats."""


def lint(rule: Rule, places: SourceLocations) -> None:
    """Note in `places` what makes no sense in a valid rule."""
    plan = Plan(rule, rule.encoding)
    fitting = set(BUILT_IN_SETS)
    for name, patch_set in rule.sets.items():
        if _set_fits(patch_set, plan, places.at("patches", name, patch_set.kind)):
            fitting.add(name)
    for requirement in rule.requirements:
        here = places.at("requirements", requirement.id)
        if requirement.basis in SOURCED and requirement.clause is None:
            here.at("clause").problem(
                f"missing; the basis {requirement.basis} names a document, "
                'e.g. clause: "EBU Tech 3320 v4.1, 1.5.2"'
            )
        check_ideal(requirement, rule, here)
        over = requirement.over
        if over is None or not over.patches or not set(over.patches) <= fitting:
            continue
        if not QUANTITIES[requirement.quantity].roles:
            _check_patches(requirement, over, plan, here)


# ---------------------------------------------------------------- sets and the signal


def _set_fits(patch_set: PatchSet, plan: Plan, here: Location) -> bool:
    """Note colours that the signal cannot carry; return whether the patches could be made."""
    try:
        planned = plan.expanded(patch_set)
    except RuleError:
        name = patch_set.encoding.name if patch_set.encoding else ""
        here.problem(
            f"is a list in {name}, which does not go with the curve {plan.rule.target.curve}; "
            f"expected codes of RGB, e.g. in {plan.encoding.name}"
        )
        return False
    lost = list(_outside(patch_set, plan))
    if lost:
        where = plan.rule.target.container_name or "the signal's primaries"
        where = where if plan.encoding.kind == "rgb" else plan.encoding.name
        here.problem(
            f"the signal cannot carry {_names(lost)}: outside {where}, and clipping would show "
            "another colour; check target.container"
        )
    _check_doubles(planned, plan, here)
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


def _is_lost(linear: Array, plan: Plan) -> bool:
    """(3,) linear signal: a component below 0 by more than rounding, or above full drive."""
    largest = float(linear.max())
    too_much = plan.encoding.kind == "rgb" and plan.rule.target.curve != "pq" and largest > FULL
    return bool(linear.min() < targets.REACHABLE * max(largest, 0.0)) or too_much


def _check_doubles(planned: Iterable[PlannedPatch], plan: Plan, here: Location) -> None:
    """Note two patches with the same code."""
    known: dict[object, str] = {}
    doubles = []
    for patch in planned:
        triple = codes.encode(np.array(patch.signal), plan.encoding.bits, plan.encoding.narrow)
        key = (*map(int, triple), patch.position, patch.window, patch.pattern)
        first = known.setdefault(key, patch.name)
        if first != patch.name:
            doubles.append(f"{first} and {patch.name}")
    if doubles:
        here.problem(
            f"{quoted(doubles[0])} are the same code of {plan.encoding.name} "
            f"({len(known)} different patches in all); expected fewer steps"
        )


# ---------------------------------------------------------------- what a requirement asks for


def _check_patches(requirement: Requirement, over: Over, plan: Plan, here: Location) -> None:
    """Check that the patches of `over` exist, are judged and have limits."""
    place, sets = here.at("over"), ", ".join(over.patches)
    every = [patch.name for name in over.patches for patch in plan.patches(name)]
    for key, names in (("only", over.only or ()), ("except", over.exclude)):
        for name in names:
            if name not in every:
                message = f"{quoted(name)} is not a patch of {sets}; {did_you_mean(name, every)}"
                place.at(key).problem(message)
    asked = [patch for name in over.patches for patch in plan.asked(name, over)]
    if not asked:
        place.problem(f"leaves no patch of {sets}, so that nothing is judged")
        return
    if requirement.by_patch:
        _check_by_patch(requirement, [patch.name for patch in asked], here.at("by_patch"))
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
            place.problem(f"{_names(lost)}: {why}, could never be judged")
    if QUANTITIES[requirement.quantity].dark == "luminance":
        _check_floor(requirement, signal, plan, here)
    if len(requirement.bands) > 1:
        _check_edges(requirement, asked, plan, here.at("bands"))


def _check_by_patch(requirement: Requirement, asked: list[str], here: Location) -> None:
    for name in requirement.by_patch:
        if name not in asked:
            near = did_you_mean(name, asked)
            here.at(name).problem(f"{quoted(name)} is not a patch of this requirement; {near}")
    bare = [name for name in dict.fromkeys(asked) if name not in requirement.by_patch]
    if bare:
        here.problem(f"has no limits for {_names(bare)}")


def _check_floor(requirement: Requirement, signal: Array, plan: Plan, here: Location) -> None:
    floor = requirement.floor
    if floor is None:
        floor = FLOOR.get(plan.rule.target.curve, USUAL_FLOOR)
    if float(targets.nominal_xyz(signal, plan.model)[:, 1].max()) < floor * (1 - 1e-9):
        here.at("floor" if requirement.floor is not None else "over").problem(
            f"all patches are below {inline_yaml(floor)} cd/m², and {requirement.quantity} is "
            "not judged there; use a lower floor or other patches"
        )


def _check_edges(
    requirement: Requirement, asked: list[PlannedPatch], plan: Plan, here: Location
) -> None:
    """Note a patch so near a band's edge that rounding to another code changes its band."""
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
        low, exact_level, high = (float(end[near[0]]) for end in ends)
        others = f" ({len(near) - 1} more are as near)" if len(near) > 1 else ""
        here.at(number, "upto").problem(
            f"{asked[near[0]].name} is {exact_level:.4g} cd/m² and, one code away, {low:.4g} or "
            f"{high:.4g}: rounding decides its band; move the edge away from "
            f"{inline_yaml(edge)}{others}"
        )


def _names(names: list[str]) -> str:
    """The first few of some names."""
    unique = list(dict.fromkeys(names))
    more = f" and {len(unique) - SHOWN} more" if len(unique) > SHOWN else ""
    return ", ".join(unique[:SHOWN]) + more


class Checked(NamedTuple):
    """What a check of a file found."""

    problems: tuple[Problem, ...] = ()
    remarks: tuple[Problem, ...] = ()
    """What is right and should be known; does not fail a check."""


def check_file(path: Path, search: Sequence[Path] = ()) -> Checked:
    """Check a rule file, a patch list or a `.compliance.yaml`.

    Never raises because of the file's content.
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
            return Checked(remarks=tuple(_remarks(rule, places)))
    except RuleError as error:
        return Checked(error.problems)
    return Checked()


def _remarks(rule: Rule, places: SourceLocations) -> Iterator[Problem]:
    if rule.archived is not None:
        used, other, by = rule.archived.used, rule.archived.other, rule.archived.replaced_by
        file, line = places.find(("extends",))
        kind = f"rule, replaced by {' and '.join(by)}" if by else f"revision; the newest is {other}"
        yield Problem(
            file,
            f"the limits are those of {used}, an archived {kind}; see what changed with: "
            f"compliance rules diff {used} {other}",
            line,
            "extends",
        )


def _is_list(path: Path) -> bool:
    """Return whether a file is a patch list: an encoding, and none of a rule's keys."""
    keys = set(read_yaml(read_bytes(path, RuleError, "rule"), str(path), RuleError).entries)
    return "encoding" in keys and not keys & {"rule", "extends", "requirements", "target"}
