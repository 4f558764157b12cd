"""Decide every requirement of a slot with the draws of its readings."""

from __future__ import annotations

from collections.abc import Container, Sequence
from itertools import compress

import numpy as np
from numpy.typing import NDArray

from compliance.colour import spaces
from compliance.grading.grade import grade
from compliance.grading.match import MatchedReadings
from compliance.grading.measurement_model import Draws
from compliance.grading.patch_roles import needs_black, needs_white
from compliance.grading.samples import Graded, SampleCounts, apply_samples, nearest_of
from compliance.model import Finding, Level, Requirement, Uncertainty
from compliance.quantities.catalogue import QUANTITIES
from compliance.quantities.measured import NOWHERE


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
    """All findings of a case, with interval and probability if the meter's file allows it."""
    grades = [grade(requirement, case) for requirement in case.rule.requirements]
    if uncertainty is None or not uncertainty.luminance or not count:
        return tuple(graded.finding for graded in grades)
    tallies = sample_requirements(grades, case, uncertainty, count=count, seed=seed)
    confidence = case.rule.decision.confidence
    return tuple(
        apply_samples(graded, answers, confidence)
        for graded, answers in zip(grades, tallies, strict=True)
    )


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
    known = [graded.question is not None and _known(graded, draws) for graded in grades]
    asked = list(compress(grades, known))
    tallies: list[list[SampleCounts]] = []
    for graded, is_known in zip(grades, known, strict=True):
        many = draws.correlations
        if not QUANTITIES[graded.requirement.quantity].chromatic:
            many = many[:1]
        counted = is_known and graded.requirement.level in levels
        tallies.append([_tally(graded) for _ in many] if counted else [])
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
    company = (view.white[own], view.black[own], view.centre[own], view.start[own])
    return {*own, *(int(index) for some in company for index in some if index != NOWHERE)}


def _tally(graded: Graded) -> SampleCounts:
    question = graded.question
    assert question is not None
    worst = 0
    if question.places:
        worst = nearest_of([graded.finding.points[place] for place in question.places])
    return SampleCounts(question, worst)


def _known(graded: Graded, draws: Draws) -> bool:
    """Whether the meter's file states everything that the probability of a finding needs."""
    requirement, case = graded.requirement, draws.case
    chromatic = QUANTITIES[requirement.quantity].chromatic
    if chromatic and not draws.chromatic:
        return False
    if not compares(requirement, case):
        return True
    indices = _involved(graded, case)
    if np.isnan(draws.patches.luminance[indices]).any():
        return False
    return not (chromatic and np.isnan(draws.patches.xy[indices]).any())


def compares(requirement: Requirement, case: MatchedReadings) -> bool:
    """Whether a requirement compares readings with each other.

    Without a known repeatability nothing is known about such a comparison, because everything
    that the readings share cancels out.
    """
    return (
        QUANTITIES[requirement.quantity].comparing
        or requirement.statistic in ("spread", "pairwise")
        or requirement.reference != "target"
        or needs_white(requirement, case)
        or needs_black(requirement, case)
    )


def _involved(graded: Graded, case: MatchedReadings) -> list[int]:
    """Patches in use, with their whites, blacks, centres and first readings."""
    view = case.view
    own = list(graded.patches)
    others: list[int] = []
    if needs_white(graded.requirement, case):
        others += [int(view.white[index]) for index in own]
    if needs_black(graded.requirement, case):
        others += [int(view.black[index]) for index in own]
    if graded.requirement.reference == "centre":
        others += [int(view.centre[index]) for index in own]
    if QUANTITIES[graded.requirement.quantity].compares == "centre":
        others += [int(index) for index in (*view.centre[own], *view.start[own])]
    return [index for index in {*own, *others} if index != NOWHERE]
