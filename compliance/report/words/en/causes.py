"""Likely causes: what is wrong, how it shows, what to do.

A fact stands in braces, printed as `FORMATS` says; a function chooses words by the facts.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import Any, Literal

from compliance.model import Fit, Texts
from compliance.report.words.en.colour_names import PRIMARIES, WHITES
from compliance.report.words.en.fact_formats import luminance, number, percent
from compliance.report.words.en.grammar import joined
from compliance.report.words.en.meter_cause import meter
from compliance.report.words.en.panel_causes import PANEL_CAUSES
from compliance.report.words.en.rules import shown_words

CLEARLY, LIKELY = 2.0, 1.25
"""Times the error that the next best explanation leaves, from which a cause is clear or likely."""


def fit_text(fit: Fit, other: str) -> str:
    """How well the readings fit, and how much better than with the next best cause, whose title
    is `other`, in sentences."""
    left = " More than a good display's share is left unexplained." if fit.poor else ""
    return (
        f"With it the readings differ from what is expected by ΔE ITP {number(fit.error, 2)} on "
        f"average, without it by {number(fit.error_without, 2)}.{left} {_next_best(fit, other)}"
    )


def _next_best(fit: Fit, other: str) -> str:
    if fit.error_of_next is None:
        return "No other known cause comes near."
    times = fit.error_of_next / max(fit.error, 1e-9)
    next_best = f"The next best explanation (“{other}”) leaves {number(fit.error_of_next, 2)}"
    if not fit.next_apart:
        return f"{next_best}, {_beside(times)}: check both."
    if times >= CLEARLY:
        return f"{next_best}, far more: this cause is clear."
    if times >= LIKELY:
        return f"{next_best}: this cause is likely, not certain."
    return f"{next_best}, {'hardly' if times > 1 else 'no'} more: check both."


def _beside(times: float) -> str:
    """How a cause of the same rank fits that leaves so many times the error."""
    if times >= CLEARLY:
        return "far more, but the readings do not rule it out"
    if times <= 1 / CLEARLY:
        return "far less, but the readings do not rule this one out"
    return "and the readings do not tell the two apart"


def moved(title: str, value: str, without: str, *, together: bool, within: bool) -> str:
    """A requirement with its value, and what it would be without a cause, or without this and the
    others together."""
    left = "it and the other causes" if together else "it"
    return f"{title} ({value}, without {left} {without}{', inside' if within else ''})"


def explained_text(requirements: Sequence[str]) -> str:
    """What a cause explains."""
    return f"It explains: {'; '.join(requirements)}."


def only_recommended() -> str:
    """Say that no mandatory requirement is among those that a cause explains."""
    return "These are recommendations: they do not decide the verdict."


def unexplained_text(titles: Sequence[str]) -> str:
    """What no cause explains."""
    return f"Not explained by any of these causes: {joined(titles)}."


# ------------------------------------------------------------ tone

CURVES = {
    "bt1886": "BT.1886",
    "srgb": "the sRGB curve",
    "pq": "PQ",
    "hlg": "HLG",
    "dcdm": "the exponent 2.6 of SDR cinema",
}
FORMS = {
    "lift": "BT.1886's form, the black in the drive, with exponent",
    "add": "the black and a power of the signal beside it, with exponent",
    "drive": "a signal decoded as it should be and own channels with exponent",
}


def _curve(display: str, fitted: str, rule: str, choose: str, measured: float | None) -> Texts:
    in_own_form = (
        ""
        if measured is None
        else f" In the rule's own form the exponent measures {number(measured)}."
    )
    return Texts(
        title=f"The display follows {display}, not {rule}",
        text=f"The greys fit {fitted}.{in_own_form}",
        next_step=(
            f"Choose {choose} in the display's set-up and in the calibration's target, check that "
            "the slot's own table is the one in use, and calibrate again."
        ),
    )


def _rule_curve(curve: str, exponent: float) -> str:
    return CURVES.get(curve, f"gamma {number(exponent)}")


def gamma(
    form: str, exponent: float, rule: str, rule_exponent: float, measured: float | None
) -> Texts:
    rule_name = _rule_curve(rule, rule_exponent)
    display = f"gamma {number(exponent)}"
    fitted = f"{FORMS[form]} {number(exponent)}"
    return _curve(display, fitted, rule_name, rule_name, measured)


def curve(curve: str, rule: str, rule_exponent: float, measured: float | None) -> Texts:
    rule_name = _rule_curve(rule, rule_exponent)
    return _curve(CURVES[curve], CURVES[curve], rule_name, rule_name, measured)


def system_gamma(gamma: float, rule_gamma: float, measured: float | None) -> Texts:
    display = f"HLG with system gamma {number(gamma)}"
    return _curve(display, display, number(rule_gamma), CURVES["hlg"], measured)


SET_RANGE = (
    "Set generator, what lies between and the display's input to one range, check the "
    "encoding that the job states for the readings, and read white, black and a mid grey again."
)


LOWER_CONTRAST = (
    "Lower the display's contrast or gain until the brightest steps differ, check that the "
    "display reaches the luminance asked for, and that nothing before it clips the signal."
)


RAISE_BLACK = (
    "Raise the display's black level or brightness until the darkest steps differ, check the "
    "range of the signal, and switch off dynamic contrast and local dimming."
)


MANY = 3.0
"""Times from which no per cent are told."""


def _too_bright(read: float, asked: float) -> str:
    """How a luminance differs from the one that it should be, as words after "is"."""
    if asked <= 0:
        return "brighter than none at all"
    if read >= MANY * asked:
        return f"{number(read / asked)} times as bright as it should be"
    share = read / asked - 1
    return f"{percent(abs(share))} too {'bright' if share > 0 else 'dark'}"


def black_too_bright(black: float, most: float) -> Texts:
    return Texts(
        title=f"Black is {_too_bright(black, most)}",
        text=(
            f"Black reads {luminance(black)}, where at most {luminance(most)} "
            "belong. Nothing else explains it, and the dark greys do not tell light that is added "
            "from a black level set too high."
        ),
        next_step=(
            "Darken the room and read black with the meter covered to see what the meter itself "
            "adds; then lower the display's black level, or its backlight, and calibrate again."
        ),
    )


# ------------------------------------------------------------ channels and light


def swapped(moved: Sequence[tuple[str, str]]) -> Texts:
    """Of each channel that is not in its place: its name, and that of the place."""
    *others, last = (f"{shown} where {place} belongs" for shown, place in moved)
    return Texts(
        title="Channels are swapped",
        text=f"The colours fit a display that shows {', '.join(others)} and {last}.",
        next_step=(
            "Check cables, the order of the channels in generator and converter, and the signal "
            "format of the display's input; then show red, green and blue one by one."
        ),
    )


def gain(channel: str, share: float) -> Texts:
    strong = "strong" if share > 0 else "weak"
    return Texts(
        title=f"{channel.capitalize()} is {percent(abs(share))} too {strong}",
        text=(
            f"At every level {channel} gives {percent(1 + share, 3)} of the light that it should "
            "beside the other two."
        ),
        next_step=(
            f"Adjust the gain of {channel} in the display's set-up, or calibrate its white again; "
            "look whether the panel is even and whether the meter is made for this kind of display."
        ),
    )


def offset(channel: str, shift: float) -> Texts:
    moved = f"{'raised' if shift > 0 else 'lowered'} by {percent(abs(shift))}"
    return Texts(
        title=f"{channel.capitalize()} is {moved} of full drive",
        text=(
            f"The panel's drive of {channel} is {moved} of what the rule's peak takes, at every "
            "level, which shows most in the dark."
        ),
        next_step=(
            f"Adjust the offset (bias, cut-off) of {channel} in the display's set-up, then the "
            "greys again from dark to bright."
        ),
    )


def white_too_bright(white: float, asked: float) -> Texts:
    return Texts(
        title=f"White is {_too_bright(white, asked)}",
        text=(
            f"White reads {luminance(white)}, where the rule asks for "
            f"{luminance(asked)}, and nothing else explains it."
        ),
        next_step=(
            "Set the display's backlight, lamp or luminance so that white is the rule's, then "
            "calibrate again; if it no longer gets there, panel or lamp may be at the end."
        ),
    )


# ------------------------------------------------------------ colour


def primaries_unnamed(xy: Sequence[tuple[str, float, float]], rule: str | None) -> Texts:
    """Of each primary its name and its x, y as read."""
    read = ", ".join(f"{name} reads x {number(x)}, y {number(y)}" for name, x, y in xy)
    return Texts(
        title=(
            "The colours are those of none of the known sets of primaries, nor of "
            f"{PRIMARIES[rule]}"
        ),
        text=f"{read.capitalize()}; the colours between fit these.",
        next_step=(
            f"Choose {PRIMARIES[rule]} as the display's gamut and as the calibration's target; if "
            "that is what it is set to, let the calibration make them of the panel's own, and "
            "check that the meter's correction is the one for this display."
        ),
    )


def white_elsewhere(
    x: float, y: float, away_from_rule: float, kelvin: float | None, away: float, towards: str
) -> Texts:
    """`kelvin` is that of the nearest daylight, None far from it."""
    nearest = (
        "It is far from daylight of any temperature."
        if kelvin is None
        else f"The nearest daylight is that of {number(kelvin, 2)}\u00a0K, from which it lies "
        f"Δu'v' {number(away, 2)} towards {towards}."
    )
    return Texts(
        title=f"White is off by Δu'v' {number(away_from_rule, 2)}",
        text=(
            f"White reads x {x:.4f}, y {y:.4f}, and no other fault of the display explains it. "
            f"{nearest}"
        ),
        next_step=(
            "Set the white with the gains of two channels, or calibrate it again, and check that "
            "the meter's correction is the one for this display."
        ),
    )


# ------------------------------------------------------------ session


def unloaded(common: int, middle: float, most: float, same_file: bool) -> Texts:
    same = " Both files are the same, byte for byte." if same_file else ""
    return Texts(
        title="Calibration changed nothing: the slot may never have been loaded",
        text=(
            f"{common} patches read before and after calibration differ by ΔE ITP "
            f"{number(middle, 2)} in the middle, 19 of 20 by no more than "
            f"{number(most, 2)}: no more than two readings of the same state.{same}"
        ),
        next_step=(
            "Load the calibration into this slot, see that the display shows this slot and "
            "that its table is active, check that the right files were named, and read again."
        ),
    )


def _reads(along: Literal["window", "seconds"]) -> Callable[[Sequence[tuple[float, float]]], str]:
    """Readings with their places: % of the screen, or s."""

    def text(readings: Sequence[tuple[float, float]]) -> str:
        return ", ".join(
            f"{luminance(read)} {shown_words(along, number(place))}" for place, read in readings
        )

    return text


def drift(change: float, scatter: float, repeats: int) -> Texts:
    rose = "rose" if change > 0 else "fell"
    return Texts(
        title=f"The light {rose} by {percent(abs(change))} during the session",
        text=(
            f"{repeats} readings of patches shown again follow it within {percent(scatter)}; at "
            f"the end they stand at {percent(1 + change, 3)} of the light at the start."
        ),
        next_step=(
            "Let the display warm up (30 minutes or more) with a moving picture, keep room "
            "and settings as they are, and take the readings again."
        ),
    )


def misread(
    patch: tuple[int, int, int], line: int, read: float, expected: float, away: float, looks: str
) -> Texts:
    """`looks`: what the reading looks like, as a sentence."""
    return Texts(
        title=f"The reading of patch {patch} is off",
        text=(
            f"Line {line} reads {luminance(read)}; by the readings beside it, which agree, "
            f"{luminance(expected)} belong there, and it lies ΔE ITP {number(away, 2)} from that. "
            f"{looks}"
        ),
        next_step=(
            "Read this patch again once it has settled, and add the reading with `compliance "
            "convert READINGS WHOLE --encoding ENCODING --retake AGAIN --reason TEXT`; if it "
            "reads the same, the display is off at this one colour."
        ),
    )


def misread_unsettled(share: float, **facts: Any) -> Texts:
    return misread(
        **facts,
        looks=(
            f"It is what a mixture with {percent(share)} of the light of the patch before it "
            "would read: it may have been read before the display or the meter had settled."
        ),
    )


def misread_unsettled_or_covered(share: float, **facts: Any) -> Texts:
    return misread(
        **facts,
        looks=(
            f"It is what a mixture with {percent(share)} of the light of the patch before it "
            "would read, and also what its own colour would with less light: it may have been "
            "read before the display or the meter had settled, the meter may have slipped, or "
            "something may have covered the patch."
        ),
    )


def misread_covered(**facts: Any) -> Texts:
    return misread(
        **facts,
        looks=(
            "Its colour is right and its light is not: the meter may have slipped, or something "
            "may have covered the patch."
        ),
    )


def misread_otherwise(**facts: Any) -> Texts:
    return misread(
        **facts, looks="The meter may have moved, or the patch may have been another one."
    )


def colour_drift(change: float, scatter: float, repeats: int, towards: str) -> Texts:
    return Texts(
        title=f"White moved by Δu'v' {number(change, 2)} towards {towards} during the session",
        text=(
            f"{repeats} readings of white and greys shown again follow it within Δu'v' "
            f"{number(scatter, 2)}, so colours read early and late do not belong together."
        ),
        next_step=(
            "Let display and meter warm up (30 minutes or more) with a moving picture, keep "
            "settings and the meter's place as they are, and take the readings again."
        ),
    )


FORMATS: Mapping[str, Callable[..., str]] = {
    "number": number,
    "two-digits": lambda value: number(value, 2),
    "percent": percent,
    "luminance": luminance,
    "primaries": PRIMARIES.__getitem__,
    "white": lambda white: WHITES.get(white, white.upper()),
    "by-window": _reads("window"),
    "by-seconds": _reads("seconds"),
}
"""How a fact in braces is printed, by the word after its colon."""
CHECK_WHITE = (
    "Choose the rule's white in the display's set-up and in the calibration's target, and "
    "check that the meter's correction is the one for this display; then calibrate again."
)
CRUSHED = "Blacks are crushed up to {level:percent} of the signal"
CLIPPED_AT = "{level:percent} of the signal, where the target is {target:luminance}"
LIGHT_ADDED = Texts(
    title="Light is added in the dark",
    text=(
        "Every level fits its own light and {added:luminance} beside it, of the "
        "{black:luminance} that black reads."
    ),
    next_step=(
        "Darken the room and shield the screen, read black with the meter covered to see what "
        "the meter itself adds, then lower the panel's own black (backlight, black level) and "
        "calibrate again."
    ),
)

CAUSES: Mapping[str, Texts | Callable[..., Texts]] = {
    "unloaded": unloaded,
    "range.stretched": Texts(
        title="A full-range signal is shown as narrow range",
        text=(
            "What is at or below code {low} of {full} shows as black, what is at or above "
            "{high} as white, and all between is stretched."
        ),
        next_step=SET_RANGE,
    ),
    "range.squeezed": Texts(
        title="A narrow-range signal is shown as full range",
        text=(
            "Black shows as if it were code {low} of {full} and white as if it were {high}: "
            "blacks are raised and white stays below what the display can do."
        ),
        next_step=SET_RANGE,
    ),
    "curve": curve,
    "curve.gamma": gamma,
    "curve.system-gamma": system_gamma,
    "channels": swapped,
    "primaries.shown": Texts(
        title="The colours are those of {primaries:primaries}, not {rule:primaries}",
        text=(
            "Red, green and blue and the colours between fit the primaries of "
            "{primaries:primaries}."
        ),
        next_step=(
            "Choose {rule:primaries} as the display's gamut and as the calibration's target, "
            "check that the slot's table is the one in use, and calibrate again."
        ),
    ),
    "primaries.assumed": Texts(
        title="The signal is taken for {primaries:primaries}, not {rule:primaries}",
        text="The colours fit a display that reads the signal as {primaries:primaries}.",
        next_step=(
            "Set the display's input, or what converts before it, to {rule:primaries}, and read "
            "red, green and blue again."
        ),
    ),
    "primaries.unnamed": primaries_unnamed,
    "white.named": Texts(
        title="White is that of {white:white}",
        text=(
            "White reads x {x:.4f}, y {y:.4f}: Δu'v' {away:two-digits} from {white:white}, "
            "{away_from_rule:two-digits} from the rule's white."
        ),
        next_step=CHECK_WHITE,
    ),
    "white.daylight": Texts(
        title="White is that of daylight of {kelvin:two-digits}\u00a0K",
        text=(
            "White reads x {x:.4f}, y {y:.4f}: Δu'v' {away:two-digits} from daylight of "
            "{kelvin:two-digits}\u00a0K, {away_from_rule:two-digits} from the rule's white."
        ),
        next_step=CHECK_WHITE,
    ),
    "white.elsewhere": white_elsewhere,
    "limiter": Texts(
        title="A limiter takes {lost:percent} of the light on larger areas",
        text="The same signal reads {readings:by-window}.",
        next_step=(
            "Switch off the display's power or brightness limiter if it lets you, measure at the "
            "window that the rule asks for, and lower the slot's peak until it holds."
        ),
    ),
    "limiter.power": Texts(
        title="A limiter seems to take light from white and bright colours",
        text=(
            "White reads {white:luminance} in a window of {window:number} % of the screen; red, "
            "green and blue together have {excess:percent} more light than it. Dark and single "
            "colours fit, and what takes more power is dimmed."
        ),
        next_step=(
            "Read white in windows of several sizes (`compliance plan RULE --windows`): if small "
            "ones are brighter, switch off the display's power or brightness limiter, or lower "
            "the slot's white until it holds; if not, look for highlights that the display bends."
        ),
    ),
    "sag": Texts(
        title="The light falls by {lost:percent} while a patch is shown",
        text="The same signal reads {readings:by-seconds}.",
        next_step=(
            "Switch off the display's power or static-picture limiter if it lets you, let it "
            "cool, and lower the slot's peak until it holds."
        ),
    ),
    "highlights.capped": Texts(
        title="Nothing is brighter than {top:luminance}",
        text=(
            "Up to there the display follows; whatever the rule asks for above {top:luminance} "
            "shows at that."
        ),
        next_step=LOWER_CONTRAST,
    ),
    "highlights.clipped": Texts(
        title="Highlights are clipped from {level:percent} of the signal",
        text=f"They end at {CLIPPED_AT}; everything brighter shows alike.",
        next_step=LOWER_CONTRAST,
    ),
    "highlights.bent": Texts(
        title="Highlights are bent from {level:percent} of the signal",
        text=(
            f"From {CLIPPED_AT}, the signal rises only {{slope:percent}} as fast as it should; "
            "the brightest reading is {top:luminance}."
        ),
        next_step=(
            "Switch off the display's own roll-off or tone mapping, its contrast enhancement and "
            "any knee between generator and display; then read the bright half of the greys again."
        ),
    ),
    "blacks.crushed": Texts(
        title=CRUSHED,
        text="Everything up to there, where the target is {target:luminance}, shows as black.",
        next_step=RAISE_BLACK,
    ),
    "blacks.crushed-and-lowered": Texts(
        title=CRUSHED,
        text=(
            "Everything up to there, where the target is {target:luminance}, shows as black, and "
            "what is above begins from there: the black level is set too low."
        ),
        next_step=RAISE_BLACK,
    ),
    "blacks.lowered": Texts(
        title="The black level is set too low",
        text=(
            "The greys fit a signal that is lowered by {lowered_by:percent} in the dark; the one "
            "at {level:percent} reads {luminance:luminance}."
        ),
        next_step=RAISE_BLACK,
    ),
    "raised-black.added": LIGHT_ADDED,
    "raised-black.added-within": replace(
        LIGHT_ADDED,
        text=(
            f"{LIGHT_ADDED.text} Black itself is within its limit: a black level set a little too "
            "low shows much the same."
        ),
    ),
    "raised-black.driven": Texts(
        title="The black level is set too high",
        text=(
            "Black reads {black:luminance}, and the dark greys fit a drive that is raised by as "
            "much."
        ),
        next_step=(
            "Lower the display's black level or brightness until black is within its limit and "
            "the darkest steps still differ, check the range of the signal, and calibrate again."
        ),
    ),
    "raised-black.read": black_too_bright,
    "gain": gain,
    "offset": offset,
    "luminance": white_too_bright,
    **PANEL_CAUSES,
    "misread": misread_otherwise,
    "misread.unsettled": misread_unsettled,
    "misread.covered": misread_covered,
    "misread.unsettled-or-covered": misread_unsettled_or_covered,
    "drift": drift,
    "colour-drift": colour_drift,
    "meter": meter,
}
