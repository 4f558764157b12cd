"""Nothing is told that the readings deny: each cause's own words against the readings.

A seeded table of displays by their physics, with one fault or two, also such as no model has.
LONG_TESTS=1 looks at many more of them.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator, Mapping

import numpy as np
import pytest
from helpers import physical
from helpers.physical import BT709, P3, WIDE, Panel, Read, matrix, white_xyz

from compliance.colour.spaces import PRIMARIES
from compliance.model import Cause
from compliance.report.words import cause_title, evidence_text

Array = np.ndarray
COUNT = 120 if os.environ.get("LONG_TESTS") == "1" else 8
RULES = list(physical.WHITES)
HUES = ("red", "green", "blue")

# ---------------------------------------------------------------- displays

Light = Callable[[Array], Array]


def displays(rule: str, count: int) -> Iterator[tuple[str, Callable[[Array], Array]]]:
    """Displays of a rule's kind with one or two things wrong, and their names."""
    random = np.random.RandomState(20 + RULES.index(rule))
    for _ in range(count):
        chosen = sorted(random.choice(len(FAULTS), size=random.randint(1, 3), replace=False))
        asked: dict[str, object] = {}
        built: dict[str, object] = {}
        lights: list[Light] = []
        for place in chosen:
            FAULTS[place](rule, random, asked, built, lights)
        signal_by = asked.pop("signal", None)
        name = f"{asked} {built} {[FAULTS[place].__name__ for place in chosen]} {signal_by}"
        yield name, _shows(rule, asked, built, lights, signal_by)


def _shows(
    rule: str, asked: dict[str, object], built: dict[str, object], lights: list[Light], by: object
) -> Callable[[Array], Array]:
    leak = built.pop("leak", False)
    peak = physical.WHITES[rule] * float(built.pop("headroom", 1.3))  # type: ignore[arg-type]
    black = physical.GOOD_BLACK[rule] if leak else 0.0
    panel = Panel(white=physical.white_of(rule), peak=peak, black=black, **built)  # type: ignore[arg-type]

    def shows(signal: Array) -> Array:
        if by is not None:
            signal = np.clip(signal + float(by), 0.0, 1.0)  # type: ignore[arg-type]
        light = panel.shows(physical.asked(rule, signal, **asked))  # type: ignore[arg-type]
        for change in lights:
            light = change(light)
        return light

    return shows


def _offset(
    rule: str, random: np.random.RandomState, asked: dict, built: dict, lights: list
) -> None:
    offset = np.zeros(3)
    offset[random.randint(3)] = random.choice([-0.03, -0.015, 0.01, 0.02, 0.04])
    built |= {"offset": tuple(offset), "gamma": float(random.choice([2.1, 2.25, 2.4]))}


def _gain(rule: str, random: np.random.RandomState, asked: dict, built: dict, lights: list) -> None:
    gain = np.ones(3)
    gain[random.randint(3)] = random.choice([0.8, 0.9, 1.1])
    built |= {"gain": tuple(gain), "primaries": (P3, WIDE)[random.randint(2)]}


def _flare(
    rule: str, random: np.random.RandomState, asked: dict, built: dict, lights: list
) -> None:
    level = float(random.choice([0.5, 2, 10, 40])) * physical.GOOD_BLACK[rule]
    lights.append(lambda xyz: xyz + level * white_xyz(*physical.white_of(rule)))


def _leak(rule: str, random: np.random.RandomState, asked: dict, built: dict, lights: list) -> None:
    built |= {"leak": True}
    asked |= {"black": 0.0}


def _black(
    rule: str, random: np.random.RandomState, asked: dict, built: dict, lights: list
) -> None:
    asked |= {"black": physical.GOOD_BLACK[rule] * float(random.choice([0.3, 4, 15]))}


def _exponent(
    rule: str, random: np.random.RandomState, asked: dict, built: dict, lights: list
) -> None:
    middle = 1.2 if rule == "hdr-hlg-1000" else 2.3
    asked |= {"exponent": float(middle * random.uniform(0.85, 1.15))}


def _lowered(
    rule: str, random: np.random.RandomState, asked: dict, built: dict, lights: list
) -> None:
    asked |= {"signal": float(random.choice([-0.06, -0.03, -0.01, 0.01, 0.03]))}


def _clips(
    rule: str, random: np.random.RandomState, asked: dict, built: dict, lights: list
) -> None:
    built |= {"top": float(random.choice([0.6, 0.75, 0.85])), "primaries": P3}


def _rolls(
    rule: str, random: np.random.RandomState, asked: dict, built: dict, lights: list
) -> None:
    whole = physical.WHITES[rule]
    peak = whole * float(random.choice([0.8, 0.62, 0.4]))
    lights.append(lambda xyz: physical.rolled_off(xyz, peak, whole))


def _caps(rule: str, random: np.random.RandomState, asked: dict, built: dict, lights: list) -> None:
    peak = physical.WHITES[rule] * float(random.choice([0.9, 0.75, 0.6]))
    lights.append(lambda xyz: physical.capped(xyz, peak))


def _colours(
    rule: str, random: np.random.RandomState, asked: dict, built: dict, lights: list
) -> None:
    own = np.array(physical.CONTAINERS.get(rule, P3))
    wrong = own + random.uniform(-0.03, 0.03, size=(3, 2))
    wrong[:, 1] = np.minimum(wrong[:, 1], 1 - wrong[:, 0])
    if rule != "cinema-review-room":
        asked |= {"primaries": tuple(map(tuple, wrong))}


def _s_shaped(
    rule: str, random: np.random.RandomState, asked: dict, built: dict, lights: list
) -> None:
    whole, by = physical.WHITES[rule], float(random.choice([-0.25, 0.25]))

    def change(xyz: Array) -> Array:
        share = np.clip(xyz[:, 1:2] / whole, 1e-9, 1.0) ** (1 / 2.4)
        return np.asarray(xyz * (1 + by * np.sin(2 * np.pi * share)))

    lights.append(change)


def _whiter(
    rule: str, random: np.random.RandomState, asked: dict, built: dict, lights: list
) -> None:
    factor = float(random.choice([0.7, 0.9, 1.1, 1.4]))
    lights.append(lambda xyz: xyz * factor)


FAULTS = (
    _offset, _gain, _flare, _leak, _black, _exponent, _lowered, _clips, _rolls, _caps, _colours,
    _s_shaped, _whiter,
)  # fmt: skip

# ---------------------------------------------------------------- what the readings say


def number(cause: Cause, what: str) -> float | None:
    found = [each.value for each in cause.evidence if evidence_text(each) == what]
    return found[0] if found else None


def at_centre(found: Read) -> Array:
    """(R,) readings at the centre and the rule's window, at once."""
    read = found.readings
    window = 10.0 if found.rule.startswith("hdr") else 100.0
    centre = np.array([place == "centre" for place in read.position])
    plain = np.array([pattern != "checkerboard" for pattern in read.pattern])
    return np.asarray(centre & plain & (read.window == window) & (read.seconds == 0))


def greys(found: Read) -> tuple[Array, Array]:
    """Levels and XYZ of the neutral readings, the darkest first."""
    if found.rule == "cinema-review-room":
        into = np.linalg.inv(matrix(P3, physical.CINEMA)).T
        light = found.signal**2.6 @ into
        neutral = np.ptp(light, axis=1) <= 0.03 * np.maximum(light.max(axis=1), 1e-9)
        level = found.signal[:, 1] * (52.37 / 48) ** (1 / 2.6)
    else:
        neutral, level = found.grey, found.signal[:, 0]
    chosen = np.flatnonzero(neutral & at_centre(found))
    chosen = chosen[np.argsort(level[chosen], kind="stable")]
    return level[chosen], found.xyz[chosen]


def black_of(found: Read) -> float:
    level, xyz = greys(found)
    return float(xyz[level <= 1e-9, 1].mean())


def channels(found: Read, xyz: Array) -> Array:
    """Light of the rule's own primaries."""
    sets = {"sdr-broadcast": BT709, "web-srgb": BT709}
    into = matrix(sets.get(found.rule, P3), physical.white_of(found.rule))
    return np.asarray(xyz @ np.linalg.inv(into).T)


def beside(found: Read, xyz: Array, channel: int) -> Array:
    """A channel's light over the mean of the other two."""
    light = channels(found, xyz)
    return np.asarray(light[:, channel] / np.delete(light, channel, axis=1).mean(axis=1))


# ---------------------------------------------------------------- what is denied


def gain_denied(cause: Cause, found: Read) -> str | None:
    """A channel told as too strong is the stronger in the brightest grey."""
    (name,) = (hue for hue in HUES if number(cause, f"light of {hue}"))
    share = number(cause, f"light of {name}") or 0.0
    _, xyz = greys(found)
    read = float(beside(found, xyz[-1:], HUES.index(name))[0])
    return None if (share - 100) * (read - 1) > 0 else f"{share} %, where white reads {read}"


def offset_denied(cause: Cause, found: Read) -> str | None:
    """A raised channel is the stronger in the dark."""
    (name,) = (hue for hue in HUES if number(cause, f"offset of {hue}"))
    shift = number(cause, f"offset of {name}") or 0.0
    _, xyz = greys(found)
    lit = xyz[:, 1] > 3 * black_of(found) + 0.02
    ratio = beside(found, xyz[lit], HUES.index(name))
    dark = float(np.mean(ratio[:3]) / ratio[-1])
    return None if shift * (dark - 1) > 0 else f"{shift} %, where the dark reads {dark}"


def highlights_denied(cause: Cause, found: Read) -> str | None:
    """What is told as the brightest is, and a bend begins below the very top."""
    top = float(found.xyz[at_centre(found), 1].max())
    for what in ("highest luminance", "brightest reading"):
        told = number(cause, what)
        if told is not None and abs(told / top - 1) > 1e-3:
            return f"{what} {told}, where {top} is read"
    level = number(cause, "signal from which")
    return f"from {level} %" if level is not None and level > 98 else None


def blacks_denied(cause: Cause, found: Read) -> str | None:
    """Of what is crushed up to a level, a grey was read there, and it reads as black."""
    level, xyz = greys(found)
    upto = number(cause, "signal up to which")
    if upto is None:
        by = number(cause, "signal lowered by")
        above = number(cause, "lowest grey above it")
        assert by is not None
        assert above is not None
        return None if above > by else f"lowered by {by} %, where a grey is read at {above} %"
    below = xyz[(level > 1e-9) & (level <= upto / 100 + 1e-3), 1]
    black = black_of(found)
    if not len(below):
        return f"up to {upto} %, where nothing is read"
    return f"{below.max()} is not {black}" if below.max() > 1.3 * black + 0.004 else None


def raised_denied(cause: Cause, found: Read) -> str | None:
    """Black reads what is told, and nothing reads less than the light that is added to all."""
    read, added = black_of(found), number(cause, "light added")
    if abs((number(cause, "black as read") or 0) / read - 1) > 1e-3:
        return f"black reads {read}"
    least = float(found.xyz[at_centre(found), 1].min())
    if added is not None and added > 1.01 * least:
        return f"{added} added, where {least} is read"
    return None


def curve_denied(cause: Cause, found: Read) -> str | None:
    """An exponent is within those that single greys have, in one form or the other; a signal that
    is lowered too raises theirs, by .08 where the display's own is 2.42."""
    told = number(cause, "exponent")
    if told is None:
        return None
    level, xyz = greys(found)
    black, white = black_of(found), float(xyz[-1, 1])
    middle = (level > 0.15) & (level < 0.9) & (xyz[:, 1] > 2 * black)
    share = np.log(np.maximum(xyz[middle, 1] - black, 1e-9) / (white - black))
    added = share / np.log(level[middle])
    local = np.diff(share) / np.diff(np.log(level[middle]))
    low, high = min(added.min(), local.min()) - 0.12, max(added.max(), local.max()) + 0.35
    return None if low <= told <= high else f"{told}, where {low} to {high} is read"


def primaries_denied(cause: Cause, found: Read) -> str | None:
    """Each primary of a set that is told is near where it was read."""
    if cause.variant != "shown" or found.rule not in ("sdr-broadcast", "web-srgb"):
        return None
    read = []
    for channel in range(3):
        light = np.eye(3)[channel]
        away = np.abs(found.signal - found.signal.max() * light).max(axis=1)
        xyz = found.xyz[int(np.argmin(away))]
        read.append(xyz[:2] / xyz.sum())
    assert isinstance(cause.facts, Mapping)
    named = str(cause.facts["primaries"])
    off = np.linalg.norm(uv(np.array(PRIMARIES[named])) - uv(np.array(read)), axis=1)
    return f"{named} is {off} away" if off.max() > 0.03 else None


def uv(xy: Array) -> Array:
    low = -2 * xy[:, 0] + 12 * xy[:, 1] + 3
    return np.stack([4 * xy[:, 0] / low, 9 * xy[:, 1] / low], axis=1)


def luminance_denied(cause: Cause, found: Read) -> str | None:
    """White reads away from what the rule asks for, by more than the narrowest limit on it."""
    read, asked = number(cause, "white as read"), number(cause, "white that the rule asks for")
    assert read is not None
    assert asked is not None
    return f"white reads {read}, {asked} is asked" if abs(read / asked - 1) < 0.03 else None


DENIED = {
    "gain": gain_denied,
    "offset": offset_denied,
    "highlights": highlights_denied,
    "blacks": blacks_denied,
    "raised-black": raised_denied,
    "curve": curve_denied,
    "primaries": primaries_denied,
    "luminance": luminance_denied,
}


@pytest.mark.parametrize("rule", RULES)
def test_nothing_is_told_that_the_readings_deny(rule: str) -> None:
    denied, told = [], 0
    for name, shows in displays(rule, COUNT):
        found = physical.read(rule, shows)
        for cause in found.causes:
            told += 1
            why = DENIED[cause.kind](cause, found) if cause.kind in DENIED else None
            if why:
                denied.append(f"{name}: {cause_title(cause)}: {why}")
    print(f"{rule}: {told} causes told, {len(denied)} denied")
    assert told >= COUNT / 3
    assert not denied, "\n".join(denied)
