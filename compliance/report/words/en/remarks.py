"""Remarks: what is odd about readings, in sentences."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from functools import partial
from typing import Literal

from compliance.grading.deviation_check import Lapse
from compliance.report.numbers import format_number, format_plain
from compliance.report.words.en.rules import shown_words

Amount = float | Sequence[float]

FOLLOWING = "following pages"
"""In each text on page 1 that refers to the pages after it."""
MOST_NAMED = 4
"""Things named in one remark: of a long list always, of others where the remark is short."""


def _luminance(value: float) -> str:
    return f"{format_number(value)}\u00a0cd/m²"


def _shortened(items: Sequence[str]) -> str | None:
    """The first of several things and how many more there are; None where all are few enough."""
    if len(items) <= MOST_NAMED + 1:
        return None
    named = "; ".join(items[:MOST_NAMED])
    return f"{named} and {len(items) - MOST_NAMED} more, on the {FOLLOWING}."


# ------------------------------------------------------------ circumstances


def meter_inadequate(titles: Sequence[str], *, short: bool = False) -> str:
    named = _shortened(titles) if short else None
    return (
        "The meter's uncertainty is too large for the limits of these requirements, so that "
        f"their verdicts rest on an inadequate meter: {named or '; '.join(titles) + '.'}"
    )


MEANINGS = {
    "luminance": "the uncertainty of these luminances",
    "repeatability": "how well readings repeat",
    "dark": "the zero of a session (dark)",
    "resolution": "the last digit (resolution)",
    "lowest": "the lowest luminance it can tell (lowest)",
    "saturated.relative": "the luminance of saturated colours (saturated)",
    "chromaticity": "the uncertainty of these chromaticities",
    "saturated": "the chromaticity of saturated colours (saturated)",
}
"""What the keys of a meter's file state."""


def certificate_silent(keys: Sequence[str], count: float) -> str:
    some = "one requirement" if count == 1 else f"{count:.0f} requirements"
    return (
        f"The meter's file leaves open {'; '.join(MEANINGS[key] for key in keys)}. Of {some} the "
        "probability is therefore not known, at some points or at all; what passes so is met "
        "conditionally."
    )


WHY_LAPSED = {
    Lapse.EXPIRED: "that day was over when this was assessed",
    Lapse.EARLY: "that was after this assessment",
    Lapse.OTHER_DISPLAY: "the display is another one now",
    Lapse.OTHER_RULE: "the rule has changed since",
    Lapse.OTHER_LIMITS: "other limits decide now",
    Lapse.FURTHER: "the value is now {now}",
    Lapse.NOT_NEEDED: "the value is not outside its limits now",
    Lapse.REPLACED: "a later deviation for the same requirement takes its place",
}
"""Why a deviation has no effect."""


def deviation_lapsed(
    why: str, title: str, value: Amount, unit: str, by: str, until: str, now: Amount = 0.0
) -> str:
    """A deviation that covered a value up to the one named, and does not hold."""
    reason = why.format(now=_amount(now, unit))
    return (
        f"A deviation without effect: {title} up to {_amount(value, unit)}, accepted by {by} until "
        f"{until}; {reason}."
    )


def _amount(value: Amount, unit: str) -> str:
    numbers = value if isinstance(value, tuple | list) else (value,)
    text = ", ".join(f"{each:.6g}" for each in numbers)
    return text if unit == "1" else f"{text}\u00a0{unit}"


def hidden_black(lowest: float, black: float) -> str:
    unseen = f"Black reads less than the {format_plain(lowest)}\u00a0cd/m² that the meter can tell"
    if black > 0:
        fits = "the target takes the black that fits the dark greys best"
        return f"{unseen}; {fits}, {_taken(black)}."
    return f"{unseen}; the target's black is taken as 0, and in the draws as anything up to that."


def rule_replaced(used: str, by: Sequence[str]) -> str:
    return (
        f"The limits are those of {used}, an archived rule that was replaced by "
        f"{' and '.join(by)}. See what changed with: compliance rules diff {used} {by[0]}"
    )


def gamma_declared(
    gamma: float, rule_gamma: float, nominal: float, measured: float, declared: float
) -> str:
    return (
        f"The HLG target has the system gamma of the slot's nominal peak, {_plain(declared)}: "
        f"{_gamma(gamma)}. That of the rule's, {_plain(nominal)}, is {_gamma(rule_gamma)}; the "
        f"peak reads {_luminance(measured)}."
    )


def gamma_measured(gamma: float, rule_gamma: float, nominal: float, measured: float) -> str:
    return (
        f"The peak reads {_luminance(measured)}, too far from the rule's {_plain(nominal)} for its "
        f"system gamma of {_gamma(rule_gamma)}, and the slot states no nominal peak: the HLG "
        f"target has the system gamma of the reading, {_gamma(gamma)}."
    )


def gamma_not_used(
    gamma: float,
    rule_gamma: float,
    nominal: float,
    measured: float,
    declared: float,
    source: str,
    limits: tuple[float | None, float | None] | None,
) -> str:
    why = f"is more than 10\u00a0% from the reading, {_luminance(measured)}"
    if limits is not None:
        low, high = limits
        if high is None:
            ends = f"at least {_plain(low or 0.0)}"
        elif low is None:
            ends = f"at most {_plain(high)}"
        else:
            ends = f"{format_plain(low)} to {_plain(high)}"
        why = f"is outside the rule's limits for the peak, {ends}"
    taken = f"the rule's for {_plain(nominal)}, {_gamma(gamma)}"
    if source == "measured":
        taken = f"that of the reading, {_gamma(gamma)}; the rule's is {_gamma(rule_gamma)}"
    return (
        f"The slot's nominal peak of {_plain(declared)} is not used, because it {why}. The HLG "
        f"target's system gamma is {taken}."
    )


def black_lifted(black: float) -> str:
    return (
        f"The greys fit an HLG display that lifts the signal to its black, {_taken(black)} "
        "(β of ITU-R BT.2100), better than one whose black is added light, and are judged so."
    )


def black_added(black: float) -> str:
    """A black of 0 is one that the meter cannot see."""
    size = f", {_taken(black)}," if black > 0 else ""
    return (
        f"The greys fit an HLG display whose black{size} is added light no worse than one that "
        "lifts the signal to it (β of ITU-R BT.2100), and are judged so."
    )


def _taken(black: float) -> str:
    return f"{black:.2g}\u00a0cd/m²"


def _plain(luminance: float) -> str:
    return f"{format_plain(luminance)}\u00a0cd/m²"


def _gamma(value: float) -> str:
    return format_plain(round(value, 3))


def rule_changed(files: Sequence[str]) -> str:
    return (
        f"{_of_files(files)} {', '.join(files)} had changes that were not committed: no commit "
        "holds the text used here, only the digests in this assessment say which it was."
    )


def rule_unversioned(files: Sequence[str]) -> str:
    verb = "is" if len(files) == 1 else "are"
    return (
        f"{_of_files(files)} {', '.join(files)} {verb} under no version control: only the digests "
        "in this assessment say which text was used."
    )


def _of_files(files: Sequence[str]) -> str:
    return "The rule's file" if len(files) == 1 else "Of the rule's files,"


UNITS = {"fL": "foot-lamberts", "mcd/m²": "mcd/m²"}


def unit(read: float, unit: str, converted: float, nominal: float) -> str:
    return (
        f"White reads {read:.4g}; were that in {UNITS[unit]}, it would be {converted:.3g} "
        f"cd/m² where the rule's is {nominal:.4g}. Readings are taken to be in cd/m²."
    )


def drift(change: float, times: int) -> str:
    text = f"White drifted by {change:+.1f} % over the {times} times it was read."
    return text.replace("-", "−")


# ------------------------------------------------------------ replaced rows


def replaced(
    replaced: float,
    count: float,
    reasons: Sequence[tuple[str, float]],
    titles: Sequence[str],
    *,
    short: bool = False,
) -> str:
    """How many rows were replaced and why, and the values that rest on a patch read again."""
    why = [reason if times == 1 else f"{reason} ({times:.0f} times)" for reason, times in reasons]
    given = _shortened(why) if short else None
    text = (
        f"{replaced:.0f} of {count:.0f} readings were replaced by others taken again; reason: "
        f"{given or '; '.join(why) + '.'}"
    )
    if not titles:
        return text
    named = _shortened(titles) if short else None
    return f"{text} Values of a patch that was read again: {named or '; '.join(titles) + '.'}"


# ------------------------------------------------------------ order


def out_of_order(readings: Sequence[tuple[int, int, float, float]]) -> str:
    """Of each reading its line, the line whose patch it fits, and ΔE ITP from that and its own."""
    named = "; ".join(
        f"line {line} fits the patch of line {other} (ΔE ITP {away:.1f}) and not its own "
        f"({own:.1f})"
        for line, other, away, own in readings[:MOST_NAMED]
    )
    rest = len(readings) - MOST_NAMED
    more = f"; and {rest} more" if rest > 0 else ""
    return f"Patches may be out of order in the readings: {named}{more}."


# ------------------------------------------------------------ the meter's limits


def alike(count: int, luminance: float) -> str:
    return (
        f"All {count} readings of different patches are the same to the last digit, "
        f"{_luminance(luminance)}: the meter can hardly have read the screen."
    )


def saturation(count: int, lowest: float, highest: float, luminance: float) -> str:
    return (
        f"{count} readings of different patches, of targets from {format_number(lowest)} to "
        f"{_luminance(highest)}, are the same to the last digit, {_luminance(luminance)}: the "
        "meter may have been at its upper end."
    )


def floor_below(count: int, lowest: float) -> str:
    return (
        f"{count} readings of patches brighter than that are below {_luminance(lowest)}, the "
        "least that the meter can tell from dark."
    )


def floor_alike(count: int, highest: float, luminance: float) -> str:
    return (
        f"{count} readings of different patches, of targets up to {_luminance(highest)}, are the "
        f"same to the last digit, {_luminance(luminance)}: the meter may have been at its lower "
        "end."
    )


def observer(away: float) -> str:
    return (
        f"Blue is Δu'v' {format_plain(round(away, 3))} off its target, and red, green and "
        "blue together fit what the 10° observer of 1964 sees of it better than what the 2° "
        "observer of 1931 does: the meter may have been set to the 10° observer, and these rules "
        "are for the 2° one."
    )


def repeatability(scatter: float, times: float) -> str:
    return (
        f"Readings repeated at once scatter by {format_plain(float(f'{scatter:.2g}'))}\u00a0% "
        f"(standard deviation), {format_plain(float(f'{times:.2g}'))} times what the meter's file "
        "states: display or conditions were unsteady, or the meter was."
    )


def conflicting(patch: tuple[int, int, int], count: int, lowest: float, highest: float) -> str:
    return (
        f"Patch {patch} was read {count} times, as {format_number(lowest)} to "
        f"{_luminance(highest)}: these can hardly be of one patch, and their mean is judged."
    )


# ------------------------------------------------------------ surroundings


def backgrounds(patches: int, names: Sequence[str]) -> str:
    """An empty name is of a background that is not stated."""
    named = ", ".join(f"“{name}”" if name else "none stated" for name in names[:MOST_NAMED])
    more = f" and {len(names) - MOST_NAMED} more" if len(names) > MOST_NAMED else ""
    were = "1 patch was" if patches == 1 else f"{patches} patches were"
    return (
        f"{were} read on several backgrounds: {named}{more}. Where a requirement takes such a "
        "patch by itself, the reading on the first of these counts and the others do not."
    )


def _dimmed(along: Literal["window", "seconds"]) -> Callable[..., str]:
    def text(luminances: Sequence[float], places: Sequence[float], lost: float) -> str:
        before, after = (
            f"{luminance:.4g}\u00a0cd/m² {shown_words(along, format_plain(place))}"
            for luminance, place in zip(luminances, places, strict=True)
        )
        return (
            f"The same patch reads {before} and {after}: "
            f"{100 * lost / luminances[0]:.0f}\u00a0% less."
        )

    return text


def other_plan(every: int, found: int) -> str:
    return (
        f"Of {every} patches that the rule names {found or 'none'} "
        f"{'is' if found == 1 else 'are'} among the readings: they may have been taken for another "
        "rule."
    )


def room_light(black: float, ambient: float, stated_on: bool, lowest: float, highest: float) -> str:
    was_on = "was on" if stated_on else "is not said to have been off"
    return (
        f"Black reads {_luminance(black)}. The room's light, stated as "
        f"{format_plain(ambient)}\u00a0lx on the screen, {was_on} while measuring; a screen "
        f"sends back some {lowest:.2g} to {highest:.2g}\u00a0cd/m² of it, which the dark "
        "readings then hold."
    )


def glow(black: float) -> str:
    return (
        f"Black reads {_luminance(black)} on a display whose black gives no light: the room's "
        "light, or the meter's own dark reading, may be in it."
    )


# ------------------------------------------------------------ before and after calibration


def headroom(patch: str, luminance: float, asked: float, wanted: float, end: float | None) -> str:
    ended = "" if end is None else f"; it ended at {_luminance(end)}"
    return (
        f"Before calibration {patch} read {_luminance(luminance)}. Calibration costs "
        f"10 to 15\u00a0% of the luminance (practice), so a slot that shall end at "
        f"{format_plain(asked)}\u00a0cd/m² wants about "
        f"{format_plain(float(f'{wanted:.3g}'))}\u00a0cd/m² to start from{ended}."
    )


def pair(mismatches: Sequence[str], *, short: bool = False) -> str:
    named = _shortened(mismatches) if short else None
    check = "Check that both are of this slot and that its settings are those stated."
    return (
        "The readings before and after calibration are hardly of one slot as it was: "
        f"{named or '; '.join(mismatches) + f'. {check}'}"
    )


MAY_BE_NORMALISED = (
    "the file may have been normalised to white, and its values would then be no luminances."
)

REMARKS: Mapping[str, str | Callable[..., str]] = {
    **{
        f"deviation-lapsed.{variant}": partial(deviation_lapsed, why)
        for variant, why in WHY_LAPSED.items()
    },
    "meter-past-due": (
        "The certificate of meter {meter} was due on {due}, before these readings were taken."
    ),
    "no-meter": (
        "No meter is stated: its reach, its uncertainty and its certificate are not known."
    ),
    "no-uncertainty": "The meter's file states no measurement uncertainty.",
    "meter-inadequate": meter_inadequate,
    "correlation-unknown": (
        "How the meter's errors in x and y go together is not known; each probability is the "
        "smallest of those with correlations −0.9, 0 and 0.9."
    ),
    "rule-archived": (
        "The limits are those of {used}, an archived revision; the newest is {newest}. See what "
        "changed with: compliance rules diff {used} {newest}"
    ),
    "rule-replaced": rule_replaced,
    "rule-changed": rule_changed,
    "rule-unversioned": rule_unversioned,
    "certificate-silent": certificate_silent,
    "system-gamma.declared": gamma_declared,
    "system-gamma.measured": gamma_measured,
    "system-gamma.not-used": gamma_not_used,
    "black-form.lifted": black_lifted,
    "black-form.added": black_added,
    "hidden-black": hidden_black,
    "correction.none": (
        "The meter is a colorimeter, and its file names no correction for this display: its "
        "stated uncertainty may not hold here."
    ),
    "correction.other": (
        "The meter's correction was made for another display ({made_for}); this one is {serial}."
    ),
    "correction.older": (
        "The meter's correction, of {date}, is older than its certificate, of {issued}: make it "
        "again."
    ),
    "measured-later": "The readings are dated after this assessment was made.",
    "older-than-calibration": "The readings were taken before the slot was last calibrated.",
    "normalised.white": f"White reads exactly 100.0000 cd/m²; {MAY_BE_NORMALISED}",
    "normalised.brightest": (
        "The brightest patch reads {read:.4g}, where the rule's is {nominal:.4g} cd/m²; "
        f"{MAY_BE_NORMALISED}"
    ),
    "unit": unit,
    "drift": drift,
    "out-of-order": out_of_order,
    "out-of-order.all": (
        "Nearly all readings fit the patch {neighbour} theirs better than their own: patches "
        "and readings may have come out of step from the start."
    ),
    "alike": alike,
    "saturation": saturation,
    "floor.below": floor_below,
    "floor.alike": floor_alike,
    "observer": observer,
    "repeatability": repeatability,
    "conflicting": conflicting,
    "copied": (
        "{count} patches were read several times, each the same to the last digit: rows may "
        "have been copied."
    ),
    "backgrounds": backgrounds,
    "dimmed-by-area": _dimmed("window"),
    "dimmed-in-time": _dimmed("seconds"),
    "encoding": (
        "Of {every} patches that the rule names {found} are among the readings as {encoding}, and "
        "{found_then} would be as {other}: the code values may be in that encoding."
    ),
    "other-plan": other_plan,
    "ambient-light.room": room_light,
    "ambient-light.glow": glow,
    "black-unseen": (
        "Black reads no light at all: if the display gives any, as with a backlight or a lamp, "
        "the meter did not see it, and what is said of black, contrast and the curve in the dark "
        "does not hold."
    ),
    "headroom": headroom,
    "luminance-lost": (
        "Calibration took {lost:.0f}\u00a0% of the luminance of {patch}, more than the usual 10 to "
        "15\u00a0% (practice), and it ends below what is asked for."
    ),
    "pair": pair,
    "replaced": replaced,
}

SHORT_REMARKS: Mapping[str, Callable[..., str]] = {
    "meter-inadequate": partial(meter_inadequate, short=True),
    "pair": partial(pair, short=True),
    "replaced": partial(replaced, short=True),
}
"""For page 1, where a long list has no room."""
