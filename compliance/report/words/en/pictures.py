"""The texts of pictures: titles, the meaning of their signs, and what each shows, in sentences.

The sentences are for readers who hear a page or see it without pictures: how many values lie
inside their limits, which is the worst, and at which patch.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import groupby

from compliance.model import Limits, Verdict
from compliance.report.numbers import MINUS, format_number, format_plain
from compliance.report.words.en.grammar import capital, counted
from compliance.report.words.en.verdicts import VERDICT_WORDS

# ---------------------------------------------------------------- marks of verdicts

SHAPES = {
    Verdict.PASS: "filled disc",
    Verdict.CONDITIONAL_PASS: "disc filled on the left",
    Verdict.CONDITIONAL_FAIL: "barred ring, half filled",
    Verdict.FAIL: "barred ring",
    Verdict.NOT_ASSESSED: "dotted ring",
}


def legend(words: Mapping[Verdict, str]) -> str:
    """What marks look like, with their words."""
    return f"Marks: {'; '.join(f'{SHAPES[mark]}: {word}' for mark, word in words.items())}."


def marks(verdicts: Sequence[Verdict]) -> str:
    """What a row of marks shows, one for each requirement in the rule's order."""
    runs = [(verdict, len(list(run))) for verdict, run in groupby(verdicts)]
    words = ", ".join(f"{count} {VERDICT_WORDS[verdict]}" for verdict, count in runs)
    return f"In the rule's order: {words}."


# ---------------------------------------------------------------- sentences to be heard


def spoken(text: str) -> str:
    """`text` with signs that voices leave out or misread as words."""
    plain = text.replace("Δ", "delta ").replace("′", "'").replace("\u00a0", " ")
    return " ".join(plain.split())


def _fixed(value: float, decimals: int, *, signed: bool = False) -> str:
    """A number with so many decimals, as voices read it."""
    text = f"{value:+.{decimals}f}" if signed else f"{value:.{decimals}f}"
    return text.replace("-", MINUS)


def _distance(value: float) -> str:
    """A distance in the u'v' diagram."""
    return f"delta u'v' {_fixed(value, 4)}"


INSIDE = {1: "The one with limits is inside.", 2: "Both with limits are inside."}


def _inside(limited: int, outside: int) -> str:
    """How many of the values with limits are inside them."""
    if not limited:
        return "The rule sets no limits on them."
    if not outside:
        return INSIDE.get(limited, f"All {limited} with limits are inside.")
    return f"{outside} of {limited} with limits {'is' if outside == 1 else 'are'} outside."


# ---------------------------------------------------------------- luminance tracking

TRACKING = "Luminance tracking"
TARGET_AXIS = "Target, cd/m²"
MEASURED_AXIS = "Measured, cd/m²"
DEVIATION_AXIS = "Off target, %"


def tracking_key(*, limits: bool, guarded: bool, outside: bool, zero: bool) -> str:
    """The meaning of the signs in use; `zero`: a level of zero is left out."""
    sentences = ["Dots: measured. Dashed line: target."]
    if limits:
        sentences.append("Shaded: limits.")
    if guarded:
        sentences.append("Darker: guard band of 1.64\u00a0u inside them.")
    if outside:
        sentences.append("Barred rings: outside.")
    if zero:
        sentences.append("Zero cannot be drawn.")
    return " ".join(sentences)


def tracking_shown(
    count: int,
    limited: int,
    outside: int,
    *,
    name: str,
    target: float,
    measured: float,
    low: float | None,
    high: float | None,
) -> str:
    """What the picture shows; the named grey is the one farthest off, luminances in cd/m²."""
    limits = None if low is None and high is None else Limits(minimum=low, maximum=high)
    off = _fixed(100 * (measured / target - 1), 1, signed=True)
    ends = [
        f"at {end} {format_number(value)}"
        for end, value in (("least", low), ("most", high))
        if value is not None
    ]
    bounds = f", limits {' and '.join(ends)}" if ends else ""
    return (
        f"Measured luminance of {counted(count, 'grey')} against the target. "
        f"{_inside(limited, outside)} Farthest off: {spoken(name)}, "
        f"{format_number(measured, limits)} cd/m² for {format_number(target)} cd/m² "
        f"({off} %{bounds})."
    )


# ---------------------------------------------------------------- colours

GAMUT = "Colours in the CIE 1976 u′v′ diagram"


def gamut_key(*, colours: bool, target: bool, measured: bool) -> str:
    """The meaning of crosses and rings, and of the triangles."""
    targets, seen = (["crosses"], ["rings"]) if colours else ([], [])
    if target:
        targets.append("dashed triangle")
    if measured:
        seen.append("solid triangle")
    return " ".join(
        f"{capital(' and '.join(signs))}: {meaning}."
        for signs, meaning in ((targets, "target"), (seen, "measured"))
        if signs
    )


def white_key(*, limit: bool, ellipse: bool) -> str:
    """The meaning of the signs of the enlarged white."""
    parts = ["white enlarged"]
    if limit:
        parts.append("shaded: limit")
    if ellipse:
        parts.append("dashed ellipse: holds the true white with 95\u00a0%")
    return f"Inset: {'; '.join(parts)}."


def white_side(length: float) -> str:
    """The scale of the enlarged white."""
    return f"side: Δu′v′ {format_plain(length)}"


def white_shown(offset: float, verdict: Verdict | None) -> str:
    """What the picture shows of white: its distance from the target's, and the verdict on it."""
    words = f": {VERDICT_WORDS[verdict]}" if verdict is not None else ""
    return f"White is {_distance(offset)} from its target{words}."


def colours_shown(count: int, name: str, offset: float) -> str:
    """What the picture shows of colours; the named one is the farthest from its target."""
    return (
        f"Of {counted(count, 'colour')}, {spoken(name)} is the farthest from its target: "
        f"{_distance(offset)}."
    )


def primaries_shown(offsets: Sequence[float]) -> str:
    """What the picture shows of the triangle of primaries."""
    red, green, blue = map(_distance, offsets)
    return f"Primaries, from their targets: red {red}, green {green}, blue {blue}."


# ---------------------------------------------------------------- grey balance

GREY_BALANCE = "Grey balance"
GREY_BALANCE_KEY = "Dots, solid line: Δu′. Squares, dashed line: Δv′."
FROM_WHITE_AXIS = "From the measured white"


def grey_balance_shown(count: int, target: float, du: float, dv: float) -> str:
    """What the picture shows; the grey of `target` cd/m² is the farthest from white."""
    across, up = (_fixed(each, 4, signed=True) for each in (du, dv))
    return (
        f"Colour of {counted(count, 'grey')} against the measured white. Farthest off: the grey of "
        f"{format_number(target)} cd/m², delta u' {across}, delta v' {up}."
    )


# ---------------------------------------------------------------- differences as bars


def bars_title(name: str, *, greys: bool) -> str:
    """The title of bars of the quantity `name`."""
    return f"Greys by patch: {name}" if greys else "Colour differences by patch"


def bars_key(*, from_white: bool, limits: bool, bounds: bool, over: bool) -> str:
    """The meaning of the signs in use."""
    sentences = ["From the measured white."] if from_white else []
    if limits:
        sentences.append("Thick lines: limits.")
    else:
        sentences.append("The rule sets no limit on this difference.")
    if bounds:
        sentences.append("Thin lines: up to the 95\u00a0% bound.")
    if over:
        sentences.append("Filled dark: over the limit.")
    return " ".join(sentences)


def bars_shown(
    count: int, limited: int, outside: int, *, quantity: str, name: str, value: float,
    limit: float | None,
) -> str:  # fmt: skip
    """What bars show; the named patch is the worst."""
    bound = f", limit {format_plain(limit)}" if limit is not None else ""
    limits = Limits(maximum=limit) if limit is not None else None
    return (
        f"{capital(spoken(quantity))} of {counted(count, 'patch', 'patches')}. "
        f"{_inside(limited, outside)} "
        f"Worst: {spoken(name)}, {format_number(value, limits)}{bound}."
    )
