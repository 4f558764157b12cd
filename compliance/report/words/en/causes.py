"""Likely causes: what is wrong, how it shows, what to do; and the names of the numbers."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from functools import partial
from typing import Literal

from compliance.model import Fit, Texts
from compliance.report.numbers import format_plain
from compliance.report.words.en.rules import shown_words

Along = Literal["window", "seconds"]


def number(value: float, digits: int = 3) -> str:
    """To significant digits, as print."""
    return format_plain(float(f"{value:.{digits}g}"))


def percent(share: float, digits: int = 2) -> str:
    """A share as per cent."""
    return f"{number(100 * share, digits)}\u00a0%"


def fit_text(fit: Fit) -> str:
    """How well the readings fit, in sentences."""
    left = " More than a good display's share is left unexplained." if fit.poor else ""
    return (
        f"With it the readings differ from what is expected by ΔE ITP {number(fit.error, 2)} on "
        f"average, without it by {number(fit.error_without, 2)}.{left}"
    )


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


def stretched(low: int, high: int, full: int) -> Texts:
    return Texts(
        title="A full-range signal is shown as narrow range",
        text=(
            f"What is at or below code {low} of {full} shows as black, what is at or above "
            f"{high} as white, and all between is stretched."
        ),
        next_step=SET_RANGE,
    )


def squeezed(low: int, high: int, full: int) -> Texts:
    return Texts(
        title="A narrow-range signal is shown as full range",
        text=(
            f"Black shows as if it were code {low} of {full} and white as if it were {high}: "
            "blacks are raised and white stays below what the display can do."
        ),
        next_step=SET_RANGE,
    )


LOWER_CONTRAST = (
    "Lower the display's contrast or gain until the brightest steps differ, check that the "
    "display reaches the luminance asked for, and that nothing before it clips the signal."
)


def capped(top: float) -> Texts:
    return Texts(
        title=f"Nothing is brighter than {number(top)}\u00a0cd/m²",
        text=(
            f"Up to there the display follows; whatever the rule asks for above "
            f"{number(top)}\u00a0cd/m² shows at that."
        ),
        next_step=LOWER_CONTRAST,
    )


def _where(level: float, target: float) -> str:
    return f"{percent(level)} of the signal, where the target is {number(target)}\u00a0cd/m²"


def clipped(level: float, target: float) -> Texts:
    return Texts(
        title=f"Highlights are clipped from {percent(level)} of the signal",
        text=f"They end at {_where(level, target)}; everything brighter shows alike.",
        next_step=LOWER_CONTRAST,
    )


def bent(level: float, target: float, slope: float, top: float) -> Texts:
    return Texts(
        title=f"Highlights are bent from {percent(level)} of the signal",
        text=(
            f"From {_where(level, target)}, the signal rises only {percent(slope)} as fast as it "
            f"should; the brightest reading is {number(top)}\u00a0cd/m²."
        ),
        next_step=(
            "Switch off the display's own roll-off or tone mapping, its contrast enhancement and "
            "any knee between generator and display; then read the bright half of the greys again."
        ),
    )


# ------------------------------------------------------------ black

RAISE_BLACK = (
    "Raise the display's black level or brightness until the darkest steps differ, check the "
    "range of the signal, and switch off dynamic contrast and local dimming."
)


def crushed(level: float, target: float, *, lowered: bool = False) -> Texts:
    begins = (
        ", and what is above begins from there: the black level is set too low" if lowered else ""
    )
    return Texts(
        title=f"Blacks are crushed up to {percent(level)} of the signal",
        text=(
            f"Everything up to there, where the target is {number(target)}\u00a0cd/m², shows as "
            f"black{begins}."
        ),
        next_step=RAISE_BLACK,
    )


def lowered(lowered_by: float, level: float, luminance: float) -> Texts:
    return Texts(
        title="The black level is set too low",
        text=(
            f"The greys fit a signal that is lowered by {percent(lowered_by)} in the dark; the one "
            f"at {percent(level)} reads {number(luminance)}\u00a0cd/m²."
        ),
        next_step=RAISE_BLACK,
    )


def raised(black: float) -> Texts:
    return Texts(
        title="The black level is set too high",
        text=(
            f"Black reads {number(black)}\u00a0cd/m², and the dark greys fit a drive that is "
            "raised by as much."
        ),
        next_step=(
            "Lower the display's black level or brightness until black is within its limit and "
            "the darkest steps still differ, check the range of the signal, and calibrate again."
        ),
    )


def light_added(added: float, black: float, black_within: bool) -> Texts:
    within = (
        " Black itself is within its limit: a black level set a little too low shows much the same."
        if black_within
        else ""
    )
    return Texts(
        title="Light is added in the dark",
        text=(
            f"Every level fits its own light and {number(added)}\u00a0cd/m² beside it, of the "
            f"{number(black)}\u00a0cd/m² that black reads.{within}"
        ),
        next_step=(
            "Darken the room and shield the screen, read black with the meter covered to see what "
            "the meter itself adds, then lower the panel's own black (backlight, black level) and "
            "calibrate again."
        ),
    )


MANY = 3.0
"""Times from which no per cent are told."""


def _too_bright(luminance: float, asked: float) -> str:
    """How a luminance differs from the one that it should be, as words after "is"."""
    if asked <= 0:
        return "brighter than none at all"
    if luminance >= MANY * asked:
        return f"{number(luminance / asked)} times as bright as it should be"
    share = luminance / asked - 1
    return f"{percent(abs(share))} too {'bright' if share > 0 else 'dark'}"


def black_too_bright(black: float, most: float) -> Texts:
    return Texts(
        title=f"Black is {_too_bright(black, most)}",
        text=(
            f"Black reads {number(black)}\u00a0cd/m², where at most {number(most)}\u00a0cd/m² "
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
            f"At every level {channel} gives {percent(1 + share)} of the light that it should "
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


def luminance(white: float, asked: float) -> Texts:
    return Texts(
        title=f"White is {_too_bright(white, asked)}",
        text=(
            f"White reads {number(white)}\u00a0cd/m², where the rule asks for "
            f"{number(asked)}\u00a0cd/m², and nothing else explains it."
        ),
        next_step=(
            "Set the display's backlight, lamp or luminance so that white is the rule's, then "
            "calibrate again; if it no longer gets there, panel or lamp may be at the end."
        ),
    )


# ------------------------------------------------------------ colour

PRIMARIES = {
    "bt709": "BT.709",
    "bt2020": "BT.2020",
    "p3": "P3",
    "adobe-rgb": "Adobe RGB",
    "bt601-525": "BT.601 with 525 lines",
    "bt601-625": "BT.601 with 625 lines",
    None: "those of the rule",
}


def primaries_shown(primaries: str, rule: str | None) -> Texts:
    return Texts(
        title=f"The colours are those of {PRIMARIES[primaries]}, not {PRIMARIES[rule]}",
        text=(
            f"Red, green and blue and the colours between fit the primaries of "
            f"{PRIMARIES[primaries]}."
        ),
        next_step=(
            f"Choose {PRIMARIES[rule]} as the display's gamut and as the calibration's target, "
            "check that the slot's table is the one in use, and calibrate again."
        ),
    )


def primaries_assumed(primaries: str, rule: str | None) -> Texts:
    return Texts(
        title=f"The signal is taken for {PRIMARIES[primaries]}, not {PRIMARIES[rule]}",
        text=f"The colours fit a display that reads the signal as {PRIMARIES[primaries]}.",
        next_step=(
            f"Set the display's input, or what converts before it, to {PRIMARIES[rule]}, and read "
            "red, green and blue again."
        ),
    )


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


WHITES = {"dci": "the cinema's white", "e": "the equal-energy white"}


def _white(name: str, x: float, y: float, away: float, away_from_rule: float) -> Texts:
    return Texts(
        title=f"White is that of {name}",
        text=(
            f"White reads x {x:.4f}, y {y:.4f}: Δu'v' {number(away, 2)} from {name}, "
            f"{number(away_from_rule, 2)} from the rule's white."
        ),
        next_step=(
            "Choose the rule's white in the display's set-up and in the calibration's target, and "
            "check that the meter's correction is the one for this display; then calibrate again."
        ),
    )


def white_named(white: str, x: float, y: float, away: float, away_from_rule: float) -> Texts:
    return _white(WHITES.get(white, white.upper()), x, y, away, away_from_rule)


def white_daylight(kelvin: float, x: float, y: float, away: float, away_from_rule: float) -> Texts:
    return _white(f"daylight of {number(kelvin, 2)}\u00a0K", x, y, away, away_from_rule)


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
        text=f"White reads x {x:.4f}, y {y:.4f}, and nothing else explains it. {nearest}",
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


def _reads(along: Along, readings: Sequence[tuple[float, float]]) -> str:
    """Of each reading its place, % of the screen or s, and its luminance."""
    named = (
        f"{number(luminance)}\u00a0cd/m² {shown_words(along, number(place))}"
        for place, luminance in readings
    )
    return f"The same signal reads {', '.join(named)}."


def limiter(lost: float, readings: Sequence[tuple[float, float]]) -> Texts:
    return Texts(
        title=f"A limiter takes {percent(lost)} of the light on larger areas",
        text=_reads("window", readings),
        next_step=(
            "Switch off the display's power or brightness limiter if it lets you, measure at the "
            "window that the rule asks for, and lower the slot's peak until it holds."
        ),
    )


def sag(lost: float, readings: Sequence[tuple[float, float]]) -> Texts:
    return Texts(
        title=f"The light falls by {percent(lost)} while a patch is shown",
        text=_reads("seconds", readings),
        next_step=(
            "Switch off the display's power or static-picture limiter if it lets you, let it "
            "cool, and lower the slot's peak until it holds."
        ),
    )


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


CAUSES: Mapping[str, Callable[..., Texts]] = {
    "unloaded": unloaded,
    "range.stretched": stretched,
    "range.squeezed": squeezed,
    "curve": curve,
    "curve.gamma": gamma,
    "curve.system-gamma": system_gamma,
    "channels": swapped,
    "primaries.shown": primaries_shown,
    "primaries.assumed": primaries_assumed,
    "primaries.unnamed": primaries_unnamed,
    "white.named": white_named,
    "white.daylight": white_daylight,
    "white.elsewhere": white_elsewhere,
    "limiter": limiter,
    "sag": sag,
    "highlights.capped": capped,
    "highlights.clipped": clipped,
    "highlights.bent": bent,
    "blacks.crushed": crushed,
    "blacks.crushed-and-lowered": partial(crushed, lowered=True),
    "blacks.lowered": lowered,
    "raised-black.added": light_added,
    "raised-black.driven": raised,
    "raised-black.read": black_too_bright,
    "gain": gain,
    "offset": offset,
    "luminance": luminance,
    "drift": drift,
}

# ------------------------------------------------------------ numbers


def _luminance_shown(along: Along) -> Callable[[float], str]:
    def text(place: float) -> str:
        return f"luminance {shown_words(along, number(place))}".replace("\u00a0", " ")

    return text


EVIDENCE: Mapping[str, str | Callable[..., str]] = {
    "error": "mean difference with it",
    "error-without": "mean difference without it",
    "exponent": "exponent",
    "system-gamma": "system gamma",
    "exponent-in-rule's-form": "exponent in the rule's form",
    "black-code": "highest code that shows as black",
    "white-code": "lowest code that shows as white",
    "code-of-black": "code that black shows as",
    "code-of-white": "code that white shows as",
    "top": "highest luminance",
    "highlights-level": "signal from which",
    "target": "target there",
    "brightest": "brightest reading",
    "slope": "slope above it",
    "blacks-level": "signal up to which",
    "luminance": "reading there",
    "lowered-by": "signal lowered by",
    "lowest-grey": "lowest grey above it",
    "light-added": "light added",
    "black": "black as read",
    "black-admitted": "black that the rule admits",
    "gain": "light of {channel}",
    "offset": "offset of {channel}",
    "white": "white as read",
    "white-asked": "white that the rule asks for",
    "primaries-away": "largest distance of the two sets",
    "primary-away": "{primary} from the rule's",
    "white-x": "x of white as read",
    "white-y": "y",
    "away-from-rule": "from the rule's white",
    "away-from-named": "from the white named",
    "kelvin": "temperature of the nearest daylight",
    "away-from-daylight": "from that daylight",
    "luminance-by-window": _luminance_shown("window"),
    "luminance-by-seconds": _luminance_shown("seconds"),
    "patches-in-common": "patches in common",
    "median-difference": "median difference before and after",
    "95th-percentile": "95th percentile",
    "drift": "change of the light over the session",
    "scatter": "scatter about it",
    "repeats": "readings of repeated patches",
}
