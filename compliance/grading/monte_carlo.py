"""Decide every requirement of a slot with the draws of its readings."""

from __future__ import annotations

from collections.abc import Container, Iterator, Mapping, Sequence
from itertools import chain

import numpy as np
from numpy.typing import NDArray

from compliance.colour import spaces
from compliance.grading.grade import grade
from compliance.grading.match import MatchedReadings
from compliance.grading.measurement_model import Draws, correlations
from compliance.grading.patch_roles import needs_black, needs_white, select_roles
from compliance.grading.rule_size import MOST_DRAWN, check_drawn
from compliance.grading.samples import Graded, SampleCounts, apply_samples, nearest_of
from compliance.model import Finding, Level, Requirement, Uncertainty
from compliance.quantities.catalogue import QUANTITIES, is_stated
from compliance.quantities.measured import NOWHERE

MANY_PATCHES = 1000
"""With more of them, only those that requirements use are drawn."""


def white_spread(
    case: MatchedReadings, uncertainty: Uncertainty | None, *, count: int, seed: int
) -> NDArray[np.float64] | None:
    """(2, 2) covariance of the measured white's u'v', from the same draws as its findings."""
    white = case.built_in("white")
    if uncertainty is None or not uncertainty.chromaticity or white is None or not count:
        return None
    if not uncertainty.luminance or case.view.xyz[white, 1] < case.chromaticity_floor:
        return None
    draws = Draws(case, uncertainty, count=count, seed=seed)
    uv = [spaces.xyz_to_uv(views[0].xyz[:, white]) for views in draws.views([white])]
    return np.asarray(np.cov(np.concatenate(uv).T))


def findings_of(
    case: MatchedReadings, uncertainty: Uncertainty | None, *, count: int, seed: int
) -> tuple[Finding, ...]:
    """All findings of a case, with interval and probability if the meter's file allows it.

    RuleError if requirements need too many values from draws.
    """
    grades = [grade(requirement, case) for requirement in case.rule.requirements]
    if uncertainty is None or not uncertainty.luminance or not count:
        return tuple(graded.finding for graded in grades)
    check_drawn(case.rule, _drawn_values(grades, case, uncertainty))
    tallies = sample_requirements(*_narrowed(grades, case), uncertainty, count=count, seed=seed)
    confidence = case.rule.decision.confidence
    return tuple(
        apply_samples(graded, answers, confidence)
        for graded, answers in zip(grades, tallies, strict=True)
    )


def _drawn_values(grades: Sequence[Graded], case: MatchedReadings, uncertainty: Uncertainty) -> int:
    """How many values each draw needs: readings, and patches that requirements judge."""
    asked = [graded for graded in grades if graded.question is not None]
    tried = len(correlations(uncertainty))
    judged = 0
    for graded in asked:
        quantity = QUANTITIES[graded.requirement.quantity]
        judged += len(graded.patches) * quantity.effort * (tried if quantity.chromatic else 1)
    if judged > MOST_DRAWN:
        return judged
    means = {patch for graded in asked for patch in _with_company(graded.patches, case)}
    single = {patch for graded in asked if graded.single_readings for patch in graded.patches}
    readings = int(sum(case.patches.count[patch] for patch in (*means, *single)))
    return judged + readings * tried


def _narrowed(
    grades: Sequence[Graded], case: MatchedReadings
) -> tuple[Sequence[Graded], MatchedReadings]:
    """The case with only the patches that its requirements use, and those graded in it.

    The draws of patches that nothing uses would fill the memory.
    """
    if len(case.patches) <= MANY_PATCHES:
        return grades, case
    chosen = [
        patch.index
        for requirement in case.rule.requirements
        if not is_stated(requirement.quantity)
        for patch in select_roles(requirement, case).chosen
    ]
    only = case.only(np.array(sorted(_with_company(chosen, case)), dtype=np.int64))
    return [grade(graded.requirement, only) for graded in grades], only


def sample_requirements(
    grades: Sequence[Graded],
    case: MatchedReadings,
    uncertainty: Uncertainty,
    *,
    count: int,
    seed: int,
    own_scatter: bool = True,
    levels: Container[Level] = frozenset(Level),
) -> list[list[SampleCounts]]:
    """Counts of the draws for each requirement, one for each correlation of x and y.

    An empty list for a requirement of another level, without a quantity to sample, or that needs
    data missing in the meter's file. The draws are the same for all `levels`.
    """
    draws = Draws(case, uncertainty, count=count, seed=seed, own_scatter=own_scatter)
    known = [_known_places(graded, draws) for graded in grades]
    asked = [graded for graded, places in zip(grades, known, strict=True) if any(places)]
    tallies: list[list[SampleCounts]] = []
    for graded, places in zip(grades, known, strict=True):
        many = draws.correlations
        if not QUANTITIES[graded.requirement.quantity].chromatic:
            many = many[:1]
        counted = any(places) and graded.requirement.level in levels
        tallies.append([_tally(graded, places) for _ in many] if counted else [])
    if not any(tallies):
        return tallies
    single = [patch for graded in asked if graded.single_readings for patch in graded.patches]
    means = {patch for graded in asked for patch in _with_company(graded.patches, case)}
    for views in draws.views(means, single):
        for answers in tallies:
            for tally, view in zip(answers, views, strict=False):
                tally.add(view)
    return tallies


def _with_company(patches: Sequence[int], case: MatchedReadings) -> set[int]:
    """Patches, with all patches that they may be compared with."""
    view, own = case.view, list(patches)
    company = [view.white[own], view.black[own], view.centre[own], view.start[own]]
    company += [np.array(_greys_beside(index, case), dtype=np.int64) for index in own]
    return {*own, *(int(index) for some in company for index in some if index != NOWHERE)}


def _greys_beside(index: int, case: MatchedReadings) -> Sequence[int]:
    """The greys that tell the black of a patch, if the meter cannot see it."""
    view = case.view
    if not view.black_hidden[index] or not view.model.lift:
        return ()
    return [int(grey) for grey in view.greys.get(int(view.white[index]), ())]


def _tally(graded: Graded, known: tuple[bool, ...]) -> SampleCounts:
    question = graded.question
    assert question is not None
    worst = 0
    if question.places:
        worst = nearest_of([graded.finding.points[place] for place in question.places])
    return SampleCounts(question, worst, known)


def _known_places(graded: Graded, draws: Draws) -> tuple[bool, ...]:
    """Of each value of a finding, whether the meter's file states all that its probability needs.

    None is, if there is nothing to sample.
    """
    return tuple(not keys for keys in _silent_places(graded, draws))


def _silent_places(graded: Graded, draws: Draws) -> Iterator[tuple[str, ...]]:
    """Of each value of a finding, the keys of the meter's file that its probability lacks."""
    question = graded.question
    if question is None:
        return
    together = not question.places
    for patches in (
        [graded.patches] if together else [[graded.patches[place]] for place in question.places]
    ):
        yield _silent(graded.requirement, patches, draws)


def silent_requirements(
    case: MatchedReadings, uncertainty: Uncertainty
) -> Mapping[str, tuple[str, ...]]:
    """By requirement, the keys that the meter's file lacks for a probability; none if none."""
    draws = Draws(case, uncertainty, count=1, seed=0)
    silent = {
        requirement.id: silent_keys(grade(requirement, case), draws)
        for requirement in case.rule.requirements
    }
    return {name: keys for name, keys in silent.items() if keys}


def silent_keys(graded: Graded, draws: Draws) -> tuple[str, ...]:
    """Keys of the meter's file that the probability of a finding, or of a point of it, lacks."""
    return tuple(dict.fromkeys(chain.from_iterable(_silent_places(graded, draws))))


def _silent(requirement: Requirement, patches: Sequence[int], draws: Draws) -> tuple[str, ...]:
    quantity = QUANTITIES[requirement.quantity]
    own, beside = list(patches), _compared(requirement, patches, draws.case)
    coloured = own + _references(requirement, own, draws) if quantity.chromatic else []
    lit = beside if quantity.chromatic and quantity.target != "light" else own + beside
    return draws.reach.silent(lit, coloured)


def _references(requirement: Requirement, own: Sequence[int], draws: Draws) -> list[int]:
    """Patches whose measured chromaticity is the reference of others."""
    view = draws.case.view
    white = view.white
    places = {"white": white, "adapted": white, "centre": view.centre}.get(requirement.reference)
    return [] if places is None else [int(places[index]) for index in own]


def _compared(requirement: Requirement, patches: Sequence[int], case: MatchedReadings) -> list[int]:
    """Whites, blacks, centres and first readings with which patches are compared."""
    view, own = case.view, list(patches)
    others: list[int] = []
    if needs_white(requirement, case):
        others += [int(view.white[index]) for index in own]
    if needs_black(requirement, case):
        others += [int(view.black[index]) for index in own]
        others += [grey for index in own for grey in _greys_beside(index, case)]
    if requirement.reference == "centre":
        others += [int(view.centre[index]) for index in own]
    if QUANTITIES[requirement.quantity].compares == "centre":
        others += [int(index) for index in (*view.centre[own], *view.start[own])]
    return [index for index in dict.fromkeys(others) if index != NOWHERE]
