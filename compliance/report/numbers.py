"""Numbers, limits, values and times as text, the same in every report."""

from __future__ import annotations

import math
from collections.abc import Iterable
from datetime import UTC, date, datetime
from decimal import ROUND_HALF_EVEN, Decimal
from statistics import NormalDist

from compliance.model import (
    Deviation,
    Finding,
    Interval,
    Limits,
    NotJudged,
    Point,
    Requirement,
    Value,
)
from compliance.model.local_time import written_offset
from compliance.quantities.catalogue import QUANTITIES

NOT_STATED = "not stated"
NONE = "–"
MINUS = "−"
MOST_DECIMALS = 17


# ---------------------------------------------------------------- numbers


def format_plain(value: float) -> str:
    """A stated number as a person writes it: no exponent, no rounding noise, a true minus sign."""
    if not math.isfinite(value):
        return NONE
    text = f"{Decimal(f'{value:.9g}'):f}"
    text = text.rstrip("0").rstrip(".") if "." in text else text
    return "0" if text in ("-0", "") else text.replace("-", MINUS)


def format_sheet_number(number: str) -> str:
    """A sheet's number as it is printed: its 32 digits in groups of four.

    Numbers of documents of version 1 have 8 digits, and stay as they are.
    """
    head, _, digits = number.rpartition("-")
    if len(digits) != 32:
        return number
    groups = (digits[start : start + 4] for start in range(0, 32, 4))
    return f"{head}-{' '.join(groups)}"


def format_number(
    value: float,
    limits: Limits | None = None,
    *,
    signed: bool = False,
    u: float | None = None,
    least: int = 0,
) -> str:
    """A value with enough digits to differ from each of its limits.

    The number of decimals depends on the size of the limits, four digits without limits, and ends
    at the first digit of the standard uncertainty `u` (after JCGM 100:2008, 7.2.6); more are added
    until the printed value is on the same side of each limit as the value itself. `signed` puts a
    plus before a positive value; `least` asks for so many decimals, if above 0.
    """
    if not math.isfinite(value):
        return NONE
    ends = _ends(limits)
    decimals = _decimals(value, limits)
    if u:
        decimals = min(decimals, -math.floor(math.log10(u)))
    if least:
        decimals = max(decimals, least)
    text = _fixed(value, decimals)
    while decimals < MOST_DECIMALS and not _same_side(value, text, ends):
        decimals += 1
        text = _fixed(value, decimals)
    if float(text) == 0:
        return text.lstrip("-")
    sign = "+" if signed and value > 0 else ""
    return sign + text.replace("-", MINUS)


def _fixed(value: float, decimals: int) -> str:
    step = Decimal(1).scaleb(-decimals)
    return f"{Decimal(repr(float(value))).quantize(step, rounding=ROUND_HALF_EVEN):f}"


def _ends(limits: Limits | None) -> tuple[float, ...]:
    if limits is None:
        return ()
    if limits.box is not None:
        return tuple(sign * width for width in limits.box for sign in (-1, 1))
    return tuple(end for end in (limits.minimum, limits.maximum) if end is not None)


def _decimals(value: float, limits: Limits | None) -> int:
    scale = _scale(limits)
    if scale == 0:
        size = abs(value)
        return max(0, 3 - math.floor(math.log10(size))) if size > 0 else 0
    fine = 1 if _two_sided(limits) or scale < 0.01 else 2
    return max(0, fine - math.floor(math.log10(scale) + 1e-9))


def _scale(limits: Limits | None) -> float:
    if limits is None:
        return 0.0
    if limits.box is not None:
        return min(limits.box)
    if limits.minimum is not None and limits.maximum is not None:
        return (limits.maximum - limits.minimum) / 2
    return max((abs(end) for end in _ends(limits)), default=0.0)


def _two_sided(limits: Limits | None) -> bool:
    if limits is None or limits.minimum is None or limits.maximum is None:
        return False
    return limits.minimum != -limits.maximum


def _same_side(value: float, text: str, ends: Iterable[float]) -> bool:
    shown = float(text)
    return all((shown > end) == (value > end) and (shown < end) == (value < end) for end in ends)


def with_unit(text: str, unit: str) -> str:
    """`text` and its unit with a no-break space; plain numbers have no unit."""
    return text if unit in ("1", "", "as the field") or text == NONE else f"{text}\u00a0{unit}"


# ---------------------------------------------------------------- limits


def format_limits(limits: Limits | None, unit: str = "1") -> str:
    """Limits in plain language, e.g. `at most 0.05 cd/m²`, `100 ± 5 cd/m²`, `± 5 %`."""
    if limits is None:
        return NONE
    if limits.box is not None:
        dx, dy = (format_plain(width) for width in limits.box)
        return f"x\u00a0±\u00a0{dx}, y\u00a0±\u00a0{dy}"
    low, high = limits.minimum, limits.maximum
    if low is not None and high is not None:
        return _interval(low, high, limits, unit)
    if high is not None:
        return f"{'below' if limits.exclusive else 'at most'} {_quantity(high, unit)}"
    if low is not None:
        return f"{'above' if limits.exclusive else 'at least'} {_quantity(low, unit)}"
    return NONE


def _quantity(value: float, unit: str) -> str:
    return with_unit(format_plain(value), unit)


def _interval(low: float, high: float, limits: Limits, unit: str) -> str:
    inside = "inside " if limits.exclusive else ""
    if low == -high:
        return inside + with_unit(f"±\u00a0{format_plain(high)}", unit)
    centre = limits.nominal
    if centre is not None and math.isclose(high - centre, centre - low, rel_tol=1e-9):
        half = format_plain(high - centre)
        return inside + with_unit(f"{format_plain(centre)}\u00a0±\u00a0{half}", unit)
    return f"{inside}{format_plain(low)} to {_quantity(high, unit)}"


def _says_yes(quantity: str, limits: Limits | None) -> str | None:
    """`yes` or `no` if the limits of a declaration allow only that."""
    row = QUANTITIES.get(quantity)
    if row is None or "declaration" not in row.options or limits is None:
        return None
    if limits.minimum == 1 and limits.maximum in (None, 1):
        return "yes"
    if limits.maximum == 0 and limits.minimum in (None, 0):
        return "no"
    return None


def format_requirement_limits(requirement: Requirement, unit: str) -> tuple[str, ...]:
    """All limits of a requirement, one line per band or group of patches."""
    if requirement.bands:
        return tuple(_band_lines(requirement, unit))
    if requirement.by_patch:
        grouped: dict[Limits, list[str]] = {}
        for name, limits in requirement.by_patch.items():
            grouped.setdefault(limits, []).append(name)
        return tuple(
            f"{', '.join(names)}: {format_limits(limits, unit)}"
            for limits, names in grouped.items()
        )
    yes = _says_yes(requirement.quantity, requirement.limits)
    return (yes or format_limits(requirement.limits, unit),)


def _band_lines(requirement: Requirement, unit: str) -> Iterable[str]:
    below: float | None = None
    for band in requirement.bands:
        text = format_limits(band.limits, unit)
        if band.upto is not None:
            yield f"{text} up to {format_plain(band.upto)}\u00a0cd/m²"
        elif below is not None:
            yield f"{text} above {format_plain(below)}\u00a0cd/m²"
        else:
            yield text
        below = band.upto


def format_finding_limits(finding: Finding | Deviation) -> str:
    """The limits that decided a finding, or of a deviation, in plain language."""
    yes = _says_yes(finding.quantity, finding.limits)
    return yes or format_limits(finding.limits, finding.unit)


# ---------------------------------------------------------------- values


def _value(
    value: Value | None,
    limits: Limits | None,
    quantity: str,
    unit: str,
    interval: Interval | None = None,
    *,
    of_sizes: bool = False,
) -> str:
    if value is None:
        return NONE
    u = spread_of(interval)
    if isinstance(value, tuple):
        x, y = (format_number(part, limits, signed=True, u=u) for part in value)
        return f"x\u00a0{x}, y\u00a0{y}"
    if _says_yes(quantity, limits) and value in (0, 1):
        return "yes" if value else "no"
    row = QUANTITIES.get(quantity)
    signed = row is not None and row.signed and not of_sizes
    text = format_number(value, limits, signed=signed, u=u)
    return with_unit(text, unit)


def format_value(finding: Finding, among: Iterable[Finding] = ()) -> str:
    """A finding's value with unit, with enough digits for the limit; `–` without a value.

    `among` are the findings of the same report: a value under two limits reads the same in both.
    """
    sizes = _unsigned(finding)
    texts = (
        _value(
            finding.value,
            limits,
            finding.quantity,
            finding.unit,
            finding.interval,
            of_sizes=sizes,
        )
        for limits in alike_limits(finding, among)
    )
    text = max(texts, key=len)
    return f"at least {text}" if finding.bound == "at-least" and text != NONE else text


def alike_limits(finding: Finding, among: Iterable[Finding] = ()) -> list[Limits | None]:
    """The limits of a finding, and of others with the same measured value."""
    row = QUANTITIES.get(finding.quantity)
    measured = row is not None and row.values != "stated"
    own = finding.quantity, finding.value
    return [finding.limits] + [
        other.limits for other in among if measured and (other.quantity, other.value) == own
    ]


def format_accepted_value(deviation: Deviation) -> str:
    """The value that a deviation accepts, with unit, and how far another may lie."""
    kind = deviation.limits, deviation.quantity, deviation.unit
    value = _value(deviation.value, *kind)
    if deviation.up_to is None:
        return value
    return f"{value}, and up to {_value(deviation.up_to, *kind)},"


def format_point_value(point: Point, finding: Finding) -> str:
    """A point's value with unit, with enough digits for its own limits."""
    return _value(point.value, point.limits, finding.quantity, finding.unit, point.interval)


def point_name(point: Point | NotJudged) -> str:
    """A point's name for readers, without line breaks, and its position if it is off centre."""
    name = point.name or " ".join(str(code) for code in point.patch)
    shown = name.replace(" ", "\u00a0")
    if point.position == "centre" or name.endswith(point.position):
        return shown
    return f"{shown}, {point.position}"


# ---------------------------------------------------------------- times


def format_time(moment: datetime | None) -> str:
    """An instant to the minute, e.g. `2026-11-20 15:10 UTC`.

    It is printed with the offset that it carries (`model.local_time`), e.g. `2026-11-20 16:10
    +01:00`, else in UTC.
    """
    if moment is None:
        return NOT_STATED
    local = _local(moment)
    return f"{local:%Y-%m-%d %H:%M} {local.tzname()}"


def _local(moment: datetime) -> datetime:
    return moment if written_offset(moment) is not None else moment.astimezone(UTC)


def format_date(day: date | datetime | None) -> str:
    """A date as `2026-11-20`; an instant's is that of the offset that it carries, or of UTC."""
    if day is None:
        return NOT_STATED
    if isinstance(day, datetime):
        day = _local(day).date()
    return day.isoformat()


# ---------------------------------------------------------------- how sure


def format_interval(
    interval: Interval, limits: Limits | None, *, least: float | None = None
) -> str:
    """An interval with its coverage, digits as for a value with these limits.

    `least` is the smallest possible value: the interval ends there.
    """
    share = f"{format_plain(100 * interval.coverage)}\u00a0%"
    low, high, u = interval.low, interval.high, spread_of(interval)
    if isinstance(low, tuple) and isinstance(high, tuple):
        ends = [
            f"{axis} {' to '.join(_apart(start, end, limits, u, signed=True))}"
            for axis, start, end in zip("xy", low, high, strict=True)
        ]
        return f"{share}: {', '.join(ends)}"
    if isinstance(low, tuple) or isinstance(high, tuple):
        return NONE
    if interval.sided == 1:
        return f"{share}: at most {format_number(high, limits)}"
    if least is not None:
        low, high = max(low, least), max(high, least)
    if low == least:
        return f"{share}: {format_plain(low)} to {format_number(high, limits, u=u)}"
    start, end = _apart(low, high, limits, u)
    return f"{share}: {start} to {end}"


def _apart(
    low: float, high: float, limits: Limits | None, u: float | None, *, signed: bool = False
) -> tuple[str, str]:
    """Both ends of an interval, with digits enough to tell them apart."""
    for decimals in range(MOST_DECIMALS):
        start, end = (
            format_number(each, limits, signed=signed, u=u, least=decimals) for each in (low, high)
        )
        if start != end or low >= high:
            break
    return start, end


def format_probability(probability: float, confidence: float = 0.95) -> str:
    """A probability in per cent with its sign, with enough digits for the required confidence.

    Even if no draw is outside there is no certainty, so none is printed as 0 or 100 %.
    """
    most, least = max(0.99, confidence), min(0.01, round(1 - confidence, 12))
    if probability > most:
        return f">\u00a0{format_plain(100 * most)}\u00a0%"
    if probability < least:
        return f"<\u00a0{format_plain(100 * least)}\u00a0%"
    doubtful = round(1 - confidence, 12)
    sides = probability >= confidence, probability <= doubtful
    for digits in range(6):
        text = f"{100 * probability:.{digits}f}"
        shown = round(float(text) / 100, 12)
        if (shown >= confidence, shown <= doubtful) == sides:
            break
    return f"=\u00a0{text}\u00a0%"


def spread_of(interval: Interval | None) -> float | None:
    """Standard uncertainty of a two-sided interval, the smaller of a pair; None without one."""
    if interval is None or interval.sided == 1:
        return None
    low, high = interval.low, interval.high
    if isinstance(low, tuple) and isinstance(high, tuple):
        width = min(end - start for start, end in zip(low, high, strict=True))
    elif isinstance(low, tuple) or isinstance(high, tuple):
        return None
    else:
        width = high - low
    factor = 2 * NormalDist().inv_cdf((1 + interval.coverage) / 2)
    return width / factor if width > 0 else None


def value_point(finding: Finding) -> Point | None:
    """The point of a finding's value; None if the value is of all points together."""
    if finding.statistic != "each" or finding.value is None:
        return None
    own = finding.value, finding.limits
    counted = (point for point in finding.points if point.verdict is not None)
    return next((point for point in counted if (point.value, point.limits) == own), None)


def least_sure(finding: Finding, confidence: float = 0.95) -> Point | None:
    """The point of a finding's probability, if it differs from the point of its value.

    Value and probability of a finding of `each` are the worst of all points, separately,
    and so need not be of the same patch. None if they are, or if the two probabilities are the
    same to a reader.
    """
    nearest, lowest = value_point(finding), finding.probability
    if nearest is None or lowest is None:
        return None
    if nearest.probability is not None and _alike(nearest.probability, lowest, confidence):
        return None
    counted = (point for point in finding.points if point.verdict is not None)
    return next((point for point in counted if point.probability == lowest), None)


def _alike(first: float, second: float, confidence: float) -> bool:
    """Whether two probabilities read the same."""
    return format_probability(first, confidence) == format_probability(second, confidence)


def interval_words(
    finding: Finding, point: Point | None = None, among: Iterable[Finding] = ()
) -> str:
    """The interval of a finding, or of a point of it; empty if it is not known.

    It ends at 0 if the value cannot be negative, even if draws are. Its digits are
    those of the value, given `among` other findings.
    """
    interval = point.interval if point else finding.interval
    if interval is None:
        return ""
    least = 0.0 if _unsigned(finding) else None
    limits = [point.limits] if point else alike_limits(finding, among)
    return max((format_interval(interval, each, least=least) for each in limits), key=len)


def _unsigned(finding: Finding) -> bool:
    """Whether a finding's value cannot be negative; means and ranges are of absolute values."""
    row = QUANTITIES.get(finding.quantity)
    if row is None or row.pair:
        return False
    return not row.signed or finding.statistic != "each"
