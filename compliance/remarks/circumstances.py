"""Remarks on the circumstances of readings; they never change a verdict.

On the session: times, order, the job. On the patches: background, area, room light, another
encoding.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import UTC, datetime, time, timedelta

import numpy as np

from compliance.errors import RuleError
from compliance.grading.correction import unmatched
from compliance.grading.hlg_target import limits_of_peak, telling_greys
from compliance.grading.match import MatchedReadings, Matcher, distinct_patches, matched
from compliance.grading.patch_groups import Along, groups_differing_only_in
from compliance.grading.patches import Plan
from compliance.model import (
    ENCODINGS,
    Display,
    Encoding,
    Facts,
    Job,
    Measurement,
    Meter,
    Readings,
    ReadingsEntry,
    Remark,
    Requirement,
    Rule,
    Slot,
)

FOOT_LAMBERT = 1 / (np.pi * 0.3048**2)
"""cd/m²: 1/π cd/ft², and the foot of 0.3048 m (NIST SP 811, B.8)."""
UNITS = {"fL": FOOT_LAMBERT, "mcd/m²": 0.001}
"""Units, each with its factor to cd/m²."""
ABOUT = 0.1
"""Share by which white may differ from its target in the other unit (practice)."""
DARK = 1e-6
"""cd/m²"""
EXACT = 0.005
"""Share by which the brightest of normalised readings may differ from 1 or 100."""
FAR = 0.3
"""Share by which it must then differ from its target."""
DRIFT = 0.5
"""% of the mean from which a drift of the repeated white gives a remark (practice)."""


def circumstance_remarks(
    measurement: Measurement,
    unproven: Sequence[Requirement],
    silent: Mapping[str, Sequence[str]],
    now: datetime,
) -> tuple[Remark, ...]:
    """All remarks on one set of readings, the most serious first.

    `unproven` are the requirements that the meter cannot prove, `silent` the keys that its file
    lacks for a probability, by requirement.
    """
    case, meter, measured = matched(measurement), measurement.meter, measurement.measured
    remarks = [
        _certificate(meter, measured),
        _correction(meter, measurement.measured_display),
        _no_meter(meter),
        _inadequate(unproven),
        _archived(case.rule),
        _changed_files(case.rule),
        _unversioned_files(case.rule),
        _correlation(meter),
        _silent(silent),
        _system_gamma(case),
        _form_of_black(case),
        _hidden_black(case),
        _future(measured, now),
        _older_than_calibration(measurement.slot, measured),
        _normalised(case),
        _other_unit(case),
        _drift(case, measurement.graded),
    ]
    return tuple(remark for remark in remarks if remark is not None)


def _certificate(meter: Meter | None, measured: datetime | None) -> Remark | None:
    due = meter.certificate.due if meter and meter.certificate else None
    if meter is None or due is None or measured is None:
        return None
    if measured < datetime.combine(due, time(), UTC) + timedelta(days=1):
        return None
    return Remark("meter-past-due", {"meter": meter.name, "due": due})


def _no_meter(meter: Meter | None) -> Remark | None:
    if meter is None:
        return Remark("no-meter")
    return Remark("no-uncertainty") if meter.uncertainty is None else None


def _inadequate(unproven: Sequence[Requirement]) -> Remark | None:
    titles = tuple(requirement.title for requirement in unproven)
    return Remark("meter-inadequate", {"titles": titles}) if titles else None


def _correlation(meter: Meter | None) -> Remark | None:
    uncertainty = meter.uncertainty if meter else None
    if uncertainty is None or uncertainty.correlation is not None or not uncertainty.chromaticity:
        return None
    return Remark("correlation-unknown")


def _archived(rule: Rule) -> Remark | None:
    archived = rule.archived
    if archived is None:
        return None
    if archived.replaced_by:
        return Remark("rule-replaced", {"used": archived.used, "by": archived.replaced_by})
    return Remark("rule-archived", {"used": archived.used, "newest": archived.newest})


def _changed_files(rule: Rule) -> Remark | None:
    files = tuple(file.path for file in rule.files if file.dirty)
    return Remark("rule-changed", {"files": files}) if files else None


def _unversioned_files(rule: Rule) -> Remark | None:
    files = tuple(file.path for file in rule.files if file.commit is None and not file.shipped)
    return Remark("rule-unversioned", {"files": files}) if files else None


def _silent(silent: Mapping[str, Sequence[str]]) -> Remark | None:
    """A remark on what the meter's file lacks, with the number of requirements."""
    keys = tuple(dict.fromkeys(key for some in silent.values() for key in some))
    return Remark("certificate-silent", {"keys": keys, "count": len(silent)}) if keys else None


def _system_gamma(case: MatchedReadings) -> Remark | None:
    """A remark on an HLG target's system gamma that is not the rule's, or on a nominal peak that is
    not used for it."""
    gamma = case.system_gamma
    if gamma is None or (gamma.source == "rule" and not gamma.beyond):
        return None
    facts: Facts = {
        "gamma": gamma.value,
        "rule_gamma": case.plan.model.system_gamma,
        "nominal": case.rule.target.luminance_white,
        "measured": gamma.measured,
    }
    if gamma.source == "declared":
        return Remark("system-gamma", {**facts, "declared": gamma.declared}, variant="declared")
    if not gamma.beyond:
        return Remark("system-gamma", facts, variant="measured")
    ends = tuple(end if math.isfinite(end) else None for end in limits_of_peak(case.rule))
    facts = {
        **facts,
        "declared": gamma.declared,
        "source": gamma.source,
        "limits": ends if gamma.beyond == "limits" else None,
    }
    return Remark("system-gamma", facts, variant="not-used")


def _form_of_black(case: MatchedReadings) -> Remark | None:
    """A remark on the form of an HLG target's black, as the greys tell it."""
    white, view = case.built_in("white"), case.view
    if white is None or telling_greys(view, white) is None:
        return None
    black = float(view.target_black(np.array([white]))[0])
    if black <= 0 and not view.black_hidden[white]:
        return None
    return Remark("black-form", {"black": black}, variant="lifted" if view.model.lift else "added")


def _hidden_black(case: MatchedReadings) -> Remark | None:
    """A remark on the black that the target takes where the meter cannot see it."""
    white, black = case.built_in("white"), case.built_in("black")
    if white is None or black is None or not case.hidden_blacks[black]:
        return None
    if case.plan.model.blackless:
        return None
    taken = float(case.view.target_black(np.array([white]))[0])
    return Remark("hidden-black", {"lowest": case.lowest, "black": taken})


def _correction(meter: Meter | None, display: Display | None) -> Remark | None:
    """A remark on a colorimeter that is not known to be matched to this display."""
    lacking = unmatched(meter, display)
    if lacking is None:
        return None
    if lacking.why == "none":
        return Remark("correction", variant="none")
    return Remark(
        "correction", lacking.facts, variant="other" if lacking.why == "other" else "older"
    )


def _future(measured: datetime | None, now: datetime) -> Remark | None:
    return None if measured is None or measured <= now else Remark("measured-later")


def _older_than_calibration(slot: Slot | None, measured: datetime | None) -> Remark | None:
    if slot is None or slot.readings is None or slot.calibrated is None or measured is None:
        return None
    if measured != slot.readings.measured or measured >= slot.calibrated:
        return None
    return Remark("older-than-calibration")


def _normalised(case: MatchedReadings) -> Remark | None:
    index = case.built_in("white")
    if index is not None and float(case.view.xyz[index, 1]) == 100.0:
        return Remark("normalised", variant="white")
    brightest = int(np.argmax(case.view.xyz[:, 1]))
    read = float(case.view.xyz[brightest, 1])
    nominal = max(float(case.patches.nominal[brightest]), DARK)
    for whole in (1.0, 100.0):
        if abs(read / whole - 1) <= EXACT and abs(read / nominal - 1) > FAR:
            return Remark("normalised", {"read": read, "nominal": nominal}, variant="brightest")
    return None


def _other_unit(case: MatchedReadings) -> Remark | None:
    """A remark if white and the brightest patch would fit the rule in another unit."""
    index = case.built_in("white")
    if index is None:
        return None
    brightest = int(np.argmax(case.view.xyz[:, 1]))
    asked = np.maximum(case.patches.nominal[[index, brightest]], DARK)
    shares = case.view.xyz[[index, brightest], 1] / asked
    read, nominal = float(case.view.xyz[index, 1]), float(case.patches.nominal[index])
    for unit, factor in UNITS.items():
        if np.abs(shares * factor - 1).max() <= ABOUT:
            return Remark(
                "unit",
                {"read": read, "unit": unit, "converted": read * factor, "nominal": nominal},
            )
    return None


def _drift(case: MatchedReadings, readings: Readings) -> Remark | None:
    """A remark on a linear drift of the repeated white in the order of the file."""
    index = case.built_in("white")
    if index is None or case.patches.count[index] < 3:
        return None
    places = np.sort(case.patches.order[case.patches.readings_of(index)])
    luminance = readings.xyz[places, 1]
    if luminance.mean() <= 0:
        return None
    slope = float(np.polyfit(np.linspace(0.0, 1.0, len(places)), luminance, 1)[0])
    change = 100 * slope / float(luminance.mean())
    if abs(change) < DRIFT:
        return None
    return Remark("drift", {"change": change, "times": len(places)})


def background(case: MatchedReadings) -> Remark | None:
    """A remark if patches differ only in their background."""
    several = groups_differing_only_in(case, "background")
    if not several:
        return None
    names = sorted({case.patches.stimulus[index].background for each in several for index in each})
    return Remark("backgrounds", {"patches": len(several), "names": tuple(names)})


LEAST = 0.03
"""Share of its luminance that a patch must lose (practice)."""
LIT = 5.0
"""cd/m² below which a patch is ignored."""


def dimming(case: MatchedReadings, along: Along) -> Remark | None:
    """A remark on the patch that loses most light from its brightest reading to a larger one, or
    to one shown for longer."""
    most, pair = 0.0, None
    for group in groups_differing_only_in(case, along):
        level = case.view.xyz[group, 1]
        first = int(np.argmax(level))
        last = first + int(np.argmin(level[first:]))
        lost = float(level[first] - level[last])
        if level[first] >= LIT and lost > max(most, LEAST * level[first]):
            most, pair = lost, (group[first], group[last])
    if pair is None:
        return None
    places = (float(getattr(case.patches.stimulus[index], along)) for index in pair)
    luminances = (float(case.view.xyz[index, 1]) for index in pair)
    return Remark(
        "dimmed-by-area" if along == "window" else "dimmed-in-time",
        {"luminances": tuple(luminances), "places": tuple(places), "lost": most},
    )


FEW = 0.5
"""Share of the rule's patches that is found, above which there is no remark."""
HARDLY = 0.1
"""Largest share that is found of a rule's patches if another plan was measured."""
MOST = 0.9
"""Share that must be found in another encoding; of the patches read, if these are fewer."""
ENOUGH, TIMES = 8, 3
"""If they are fewer: patches that must be found, and times as many as in the stated encoding."""


def encoding(case: MatchedReadings, readings: Readings) -> Remark | None:
    """A remark if most patches are missing, but found with the codes in another encoding."""
    here, every = _found(case.matcher)
    if here > FEW * every:
        return None
    others = {name: _found_in(case, readings, other) for name, other in ENCODINGS.items()}
    best = max(others, key=lambda name: others[name])
    if not _fits_better(others[best], here, every, len(case.patches)):
        return _of_another_plan(here, every, len(case.patches))
    return Remark(
        "encoding",
        {
            "every": every,
            "found": here,
            "encoding": readings.encoding.name,
            "found_then": others[best],
            "other": best,
        },
    )


def _fits_better(then: int, here: int, every: int, read: int) -> bool:
    """Whether so many planned patches found in another encoding tell that the codes are in it, if
    `here` are found as stated, of `every` one that is planned and `read` that were measured."""
    if then >= MOST * every:
        return True
    return then >= max(ENOUGH, TIMES * here, MOST * min(every, read))


def _of_another_plan(here: int, every: int, read: int) -> Remark | None:
    """A remark if hardly any of the rule's patches was measured, but many others."""
    if here > HARDLY * every or read <= 2 * here:
        return None
    return Remark("other-plan", {"every": every, "found": here})


def _found_in(case: MatchedReadings, readings: Readings, other: Encoding) -> int:
    """The number of the rule's patches that are found if the codes are in another encoding."""
    if other == readings.encoding or readings.codes.max(initial=0) > other.top:
        return 0
    try:
        plan = Plan(case.rule, other)
    except RuleError:  # X'Y'Z' codes for a rule that takes RGB
        return 0
    count, _ = _found(Matcher(plan, distinct_patches(replace(readings, encoding=other), plan)))
    return count


def _found(matcher: Matcher) -> tuple[int, int]:
    """The number of patches in the rule's sets that are among the readings, and of all of them."""
    plan = matcher.plan
    names = ("white", "black", *plan.rule.sets)
    patches = [patch for name in names for patch in plan.patches(name)]
    return sum(matcher.find(patch) is not None for patch in patches), len(patches)


SCREEN = (0.01, 0.04)
"""Share of the incident light that a screen reflects (practice)."""
PROJECTION = (0.8, 1.0)
"""The same for a projection screen (practice)."""
WEIGHT = 0.3
"""Share of the black reading from which that light matters."""
LIGHTLESS = ("oled", "led")
"""Display technologies without light in black."""
GLOW = 0.005
"""Largest reading in cd/m² of such a black."""
OFF = ("off", "dark", "none", "no", "0")
CONTACT = ("contact", "hood", "shroud")


def ambient(case: MatchedReadings, job: Job | None, entry: ReadingsEntry | None) -> Remark | None:
    """A remark if the black contains light of the room, or other stray light."""
    black = case.luminance("black")
    if black is None or black <= 0 or black < case.lowest:
        return None
    technology = case.stated.technology
    stated = (entry.ambient or "").strip().lower() if entry else ""
    close = any(word in (entry.geometry or "").lower() for word in CONTACT) if entry else False
    light = job.room.ambient if job else None
    if light and stated not in OFF and not close:
        shares = PROJECTION if technology == "projector" else SCREEN
        low, high = (light * share / math.pi for share in shares)
        if WEIGHT * black <= low <= black:  # a darker black was read without that light
            return Remark(
                "ambient-light",
                {
                    "black": black,
                    "ambient": light,
                    "stated_on": bool(stated),
                    "lowest": low,
                    "highest": high,
                },
                variant="room",
            )
    if technology in LIGHTLESS and black > max(GLOW, ABOVE_FLOOR * case.lowest):
        return Remark("ambient-light", {"black": black}, variant="glow")
    return None


ABOVE_FLOOR = 3.0
"""Times the meter's lowest luminance."""


def black_unmeasured(case: MatchedReadings) -> Remark | None:
    """A remark if black reads no light at all, on a display that may have some."""
    black = case.luminance("black")
    if black is None or black > 0 or case.stated.technology in LIGHTLESS:
        return None
    return Remark("black-unseen")
