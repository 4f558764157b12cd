"""A rule in plain language: its target, its sets, what each requirement asks and why."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Literal

from compliance.model import (
    Accepted,
    Change,
    Decision,
    NotCovered,
    Over,
    PatchSet,
    Requirement,
    Rule,
    Target,
)
from compliance.quantities.catalogue import QUANTITIES, RECORDED_FIELDS
from compliance.report.numbers import format_plain, format_requirement_limits
from compliance.report.words.en.grammar import capital, counted

CURVES = {
    "bt1886": "BT.1886",
    "power": "power",
    "srgb": "sRGB curve",
    "pq": "PQ",
    "hlg": "HLG",
    "dcdm": "SDR cinema, exponent 2.6",
}
BLACKS = {
    "lift": "lifted to the black",
    "add": "added to the black",
    "none": "without the black",
}
REFERENCES = {
    "white": "from the measured white",
    "centre": "from the centre of the screen",
    "adapted": "from the target with the measured white",
}
AS_MEASURED = "as measured"
AS_TARGET = "as the target"
NOT_COVERED = "Not covered: what documents ask and this rule does not test"
NOT_COVERED_COLUMNS = ("clause", "what it asks", "why it is not tested")
ACCEPTS = "Also passes by intent"
SCALES = {"relative": "scaled to the measured white", "absolute": "absolute"}
ORDER = ("published", "digest", "memory", "practice", "house")


def rule_name(rule: Rule) -> str:
    """A rule by its id and revision."""
    return f"{rule.id}, revision {rule.revision}"


# ---------------------------------------------------------------- target and sets


def target_facts(target: Target) -> tuple[tuple[str, str], ...]:
    """A target as labels and values, without those that go without saying."""
    facts = _all_facts(target)
    if target.black_level is None:
        del facts["Black"]
    if target.container in (None, target.primaries):
        del facts["Signal's primaries"]
    return tuple(facts.items())


def accepted_words(accepted: Accepted, target: Target) -> str:
    """A display that may pass too: in what it differs from the target, and the reason."""
    facts, expected = _all_facts(accepted.target), _all_facts(target)
    differing = [
        f"{label.lower()} {value}" for label, value in facts.items() if value != expected[label]
    ]
    return f"{capital('; '.join(differing) or AS_TARGET)}: {accepted.reason}"


def clause_words(entry: NotCovered) -> str:
    """A clause that a rule does not test, and what it asks."""
    return f"{entry.clause}: {entry.what}"


def why_words(entry: NotCovered) -> str:
    """Why a rule does not test a clause."""
    return f"Why not: {entry.why}"


def _all_facts(target: Target) -> dict[str, str]:
    black = target.black_level
    curve = CURVES.get(target.curve, target.curve)
    if target.curve == "power" and target.exponent is not None:
        curve += f", exponent {format_plain(target.exponent)}"
    if target.system_gamma is not None:
        curve += f", system gamma {format_plain(round(target.system_gamma, 4))}"
        if target.surround is not None:
            curve += " at this peak"
    level = f"{format_plain(target.luminance_white)}\u00a0cd/m²"
    if target.luminance_peak != target.luminance_white:
        level += f", peak {format_plain(target.luminance_peak)}\u00a0cd/m²"
    return {
        "Primaries": target.primaries_name or _points(target.primaries),
        "White": target.white_name or _points((target.white,)),
        "Curve": f"{curve}, {_black(target)}",
        "Luminance": f"{level}, {SCALES[target.scale]}",
        "Black": AS_MEASURED if black is None else f"{format_plain(black)}\u00a0cd/m²",
        "Signal's primaries": target.container_name or _points(target.container or ()),
    }


def _black(target: Target) -> str:
    if target.curve == "hlg" and target.black == "lift":
        return "lifted or added to the black, as the greys tell"
    return BLACKS.get(target.black, target.black)


def _points(points: Iterable[tuple[float, float]]) -> str:
    return "; ".join(f"{format_plain(x)} {format_plain(y)}" for x, y in points)


def shown_words(along: Literal["window", "seconds"], size: str) -> str:
    """Where or when a patch was read: at a window of `size` % of the screen, or after `size` s."""
    if along == "window":
        return f"at {size}\u00a0% of the screen"
    return "at once" if size == "0" else f"after {size}\u00a0s"


def set_words(patch_set: PatchSet) -> str:
    """What a set of patches is made of, e.g. `21 neutral steps from 0 to 100 %`."""
    kind, of = patch_set.kind, patch_set.of or "white"
    if kind == "ramp":
        low, high = (format_plain(100 * end) for end in patch_set.signal or (0.0, 1.0))
        text = f"{patch_set.steps} neutral steps from {low} to {high}\u00a0% of the signal"
    elif kind in ("hues", "saturations"):
        text = ", ".join(patch_set.hues)
        if kind == "saturations":
            text += f", each in {patch_set.steps} steps from white"
        if patch_set.neutral is not None:
            text += f", at the drive of {format_plain(patch_set.neutral)}\u00a0cd/m² neutral"
    elif kind == "list":
        encoding = patch_set.encoding.name if patch_set.encoding else ""
        text = f"{len(patch_set.patches)} listed patches in {encoding}"
    elif kind == "positions":
        text = f"{of} at {', '.join(patch_set.positions)}"
    elif kind == "windows":
        sizes = ", ".join(format_plain(size) for size in patch_set.windows)
        text = f"{of} at {sizes}\u00a0% of area"
    else:
        text = f"{of} {patch_set.repeats} times"
    if patch_set.window is not None:
        text += f", window {format_plain(patch_set.window)}\u00a0%"
    return f"{text}, {patch_set.pattern}" if patch_set.pattern else text


# ---------------------------------------------------------------- requirements


def over_words(over: Over | None, sets: Mapping[str, PatchSet] | None = None) -> str:
    """Which patches a requirement is about, in short words; empty where roles are fixed.

    With `sets`, those of the rule, a set whose name tells nothing is told by what it is of.
    """
    if over is None:
        return ""
    parts = [", ".join(_set_words(name, (sets or {}).get(name)) for name in over.patches)]
    if over.signal is not None:
        low, high = (format_plain(100 * end) for end in over.signal)
        parts.append(f"signal {low} to {high}\u00a0%")
    if over.target is not None:
        low, high = (format_plain(end) for end in over.target)
        parts.append(f"target {low} to {high}\u00a0cd/m²")
    if over.position:
        parts.append("at " + ", ".join(over.position))
    if over.window:
        parts.append("window " + ", ".join(format_plain(size) for size in over.window) + "\u00a0%")
    if over.pattern:
        parts.append(over.pattern)
    if over.seconds:
        parts.append("after " + ", ".join(format_plain(time) for time in over.seconds) + "\u00a0s")
    if over.only:
        parts.append("only " + ", ".join(over.only))
    if over.exclude:
        parts.append("except " + ", ".join(over.exclude))
    return "; ".join(parts)


def _set_words(name: str, patch_set: PatchSet | None) -> str:
    if patch_set is None:
        return name
    of, kind = patch_set.of or "white", patch_set.kind
    if kind == "repeats":
        return f"{of} read again"
    if kind == "positions":
        return f"{of} over the screen"
    if kind == "windows":
        return f"{of} in several windows"
    return "saturations" if kind == "saturations" else name.replace("-", " ")


def requirement_unit(requirement: Requirement) -> str:
    """The unit of a requirement's limits; of a recorded condition that of its field."""
    if requirement.field is not None:
        return RECORDED_FIELDS[requirement.field][0]
    return QUANTITIES[requirement.quantity].unit


def limits_words(requirement: Requirement) -> str:
    """All limits of a requirement on one line, e.g. `± 10 % up to 10 cd/m²; ± 5 % above`."""
    return "; ".join(format_requirement_limits(requirement, requirement_unit(requirement)))


def subject_words(requirement: Requirement, sets: Mapping[str, PatchSet] | None = None) -> str:
    """What a requirement is about, e.g. `Luminance error of grey; target 1 to 100 cd/m²`.

    With the rule's `sets`, as `over_words` tells them.
    """
    row = QUANTITIES[requirement.quantity]
    if requirement.field is not None:
        return f"Recorded: {RECORDED_FIELDS[requirement.field][1]}"
    if requirement.declaration is not None:
        return f"Declared: {requirement.declaration.replace('-', ' ')}"
    parts = [row.title]
    if requirement.over is not None:
        words = over_words(requirement.over, sets)
        parts[0] += f" of {words}" if requirement.over.patches else f" {words}"
    parts += _ways(requirement)
    return ", ".join(part for part in parts if part)


def _ways(requirement: Requirement) -> Iterable[str]:
    yield statistic_words(requirement.statistic, requirement.percentile)
    yield REFERENCES.get(requirement.reference, "")
    if requirement.scale is not None:
        yield SCALES[requirement.scale]
    if requirement.above_black:
        yield "above the black"
    if requirement.ignore_luminance:
        yield "luminance ignored"
    if requirement.diagram == "xy":
        yield "in x, y"
    if requirement.floor is not None:
        yield f"from {format_plain(requirement.floor)}\u00a0cd/m² on"
    if requirement.displays is not None:
        yield f"{requirement.displays} displays only"


def statistic_words(statistic: str, percentile: float | None = None) -> str:
    """What is taken of several values; empty where each of them counts."""
    if percentile is not None:
        return f"{format_plain(percentile)}th percentile"
    return {
        "mean": "mean",
        "spread": "largest minus smallest",
        "pairwise": "largest between any two",
    }.get(statistic, "")


def asked_words(requirement: Requirement, sets: Mapping[str, PatchSet] | None = None) -> str:
    """A requirement in one line: what it is about and its limits."""
    return f"{subject_words(requirement, sets)}: {limits_words(requirement)}"


def source_words(requirement: Requirement) -> str:
    """Where a limit comes from: its basis and, where there is one, its clause."""
    return ", ".join(part for part in (requirement.basis, requirement.clause) if part)


def basis_summary(requirements: Iterable[Requirement]) -> str:
    """How many limits stand on which basis, the firmest first: `3 digest, 12 practice`."""
    found = [one.basis for one in requirements]
    return ", ".join(f"{found.count(basis)} {basis}" for basis in ORDER if basis in found)


def decision_words(decision: Decision) -> str:
    """The decision rule in a few words."""
    return f"{decision.acceptance} acceptance, confidence {format_plain(decision.confidence)}"


# ---------------------------------------------------------------- house rules


def changed_requirement(change: Change, rule: Rule) -> Requirement | None:
    """The requirement that a stated change is of; None where there is none, or none left."""
    key = change.subject.removeprefix("requirements.").split(".")[0]
    return next((one for one in rule.requirements if one.id == key), None)


def changed_words(change: Change, rule: Rule) -> str:
    """What a stated change is about: a requirement by its title, else the key."""
    requirement = changed_requirement(change, rule)
    what = requirement.title if requirement else change.subject
    return f"{what}, withdrawn" if change.withdrawn else what


def departing(rule: Rule) -> tuple[str, ...]:
    """What a house rule does not have as what it extends has it, each in a few words, once."""
    return tuple(dict.fromkeys(changed_words(change, rule) for change in rule.changes))


def departures_sentence(rule: Rule) -> str:
    """How far a house rule is not what it extends; empty where it departs in nothing."""
    told = departing(rule)
    if not told:
        return ""
    points = counted(len(told), "point")
    return f"House rule {rule.id} departs from {rule.extends} in {points}: {'; '.join(told)}."
