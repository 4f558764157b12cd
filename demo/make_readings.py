"""Makes the demo's readings. They are INVENTED: no display was measured for them.

`display_model.py` says how an imperfect display is modelled; below stand the faults of each
slot. The seed is fixed, so that the files come out the same each time:

    python demo/make_readings.py            # writes demo/readings/*.csv and demo/luts/slot-1.cube
"""

from __future__ import annotations

import sys
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from display_model import ImperfectDisplay, Noise

from compliance.colour import codes
from compliance.grading.patches import Plan, PlannedPatch
from compliance.model import ENCODINGS
from compliance.rules.library import load_rule

HERE = Path(__file__).resolve().parent
SEED = 417
COLUMNS = "r,g,b,X,Y,Z,position,window,pattern,seconds"
XYZ_COLUMNS = "c1,c2,c3,X,Y,Z,position,window,pattern,seconds"

COLORIMETER = Noise(relative=0.001, chromaticity=0.00006, dark=0.00004)
SPECTRORADIOMETER = Noise(relative=0.0015, chromaticity=0.00008, dark=0.0002)


@dataclass(frozen=True)
class Session:
    """One file of readings: which patches, shown by what, read by what."""

    rule: str
    encoding: str
    display: ImperfectDisplay
    noise: Noise
    extra: tuple[str, ...] = ()
    """Patches beside the rule's sets: `held peak`, `checkerboard`."""
    left_out: tuple[str, ...] = ()
    """Positions that nobody read."""


# Slot 1 calibrated: a tenth of a step off here and there.
BROADCAST = ImperfectDisplay(
    curve="bt1886",
    primaries=((0.6385, 0.3312), (0.3008, 0.5985), (0.1502, 0.0609)),
    white=(0.3130, 0.3293),
    white_luminance=99.4,
    black=0.0016,
    exponents=(2.405, 2.41, 2.40),
    tracking=(0.004, 0.002, -0.004),
    sides=0.985,
    corners=0.965,
    drift=0.003,
)
# The same slot half a year after its last calibration: dimmer, warmer, blue fallen behind.
BROADCAST_BEFORE = replace(
    BROADCAST,
    white=(0.3186, 0.3342),
    white_luminance=91.8,
    exponents=(2.36, 2.39, 2.47),
    tracking=(0.02, 0.0, -0.04),
)
# Slot 2: gamma 2.2 where sRGB is wanted, which passes; white and green drifted.
WEB = ImperfectDisplay(
    curve="power",
    primaries=((0.6465, 0.3280), (0.2925, 0.6160), (0.1508, 0.0560)),
    white=(0.3171, 0.3366),
    white_luminance=118.6,
    black=0.0021,
    exponents=(2.20, 2.20, 2.215),
    tracking=(0.007, -0.005, -0.009),
    drift=-0.002,
)
# Slot 3: colour is right, but a roll-off bends everything above 300 cd/m².
HDR = ImperfectDisplay(
    curve="pq",
    primaries=((0.6788, 0.3207), (0.2662, 0.6880), (0.1503, 0.0607)),
    white=(0.3130, 0.3286),
    white_luminance=99.1,
    black=0.0011,
    tracking=(0.010, 0.008, 0.004),
    roll_off=300.0,
    ceiling=720.0,
    drift=0.002,
    sag=0.06,
)
# Slot 4: the projector, good.
CINEMA = ImperfectDisplay(
    curve="cinema",
    primaries=((0.6795, 0.3203), (0.2662, 0.6882), (0.1505, 0.0607)),
    white=(0.3147, 0.3517),
    white_luminance=47.2,
    black=0.0178,
    tracking=(0.006, 0.003, -0.006),
    sides=0.862,
    corners=0.831,
    leak=0.0052,
    drift=0.002,
)

SESSIONS = {
    "slot-1-before": Session("sdr-broadcast", "rgb-10-narrow", BROADCAST_BEFORE, COLORIMETER),
    "slot-1": Session("sdr-broadcast", "rgb-10-narrow", BROADCAST, COLORIMETER),
    "slot-2": Session("web-srgb", "rgb-8-full", WEB, COLORIMETER),
    "slot-3": Session("hdr-pq-1000", "rgb-10-full", HDR, COLORIMETER, extra=("held peak",)),
    "slot-4": Session(
        "cinema-review-room",
        "xyz-12-full",
        CINEMA,
        SPECTRORADIOMETER,
        extra=("checkerboard",),
        left_out=("top-left", "top-right", "bottom-left", "bottom-right"),
    ),
}


def patches(session: Session) -> Iterator[PlannedPatch]:
    """The rule's patches in the order they were shown: whites first, in the middle and last."""
    rule = load_rule(session.rule)
    plan = Plan(rule, ENCODINGS[session.encoding])
    (white,), (black,) = plan.patches("white"), plan.patches("black")
    names = [name for name, one in rule.sets.items() if one.kind != "repeats"]
    yield from (white, black)
    for number, name in enumerate(names):
        if number == len(names) // 2:
            yield white
        yield from (one for one in plan.patches(name) if one.position not in session.left_out)
    if rule.target.curve == "pq":
        (peak,) = plan.patches("peak")
        yield peak
        if "held peak" in session.extra:
            yield replace(peak, seconds=60.0)
    if "checkerboard" in session.extra:
        yield replace(white, pattern="checkerboard")
        yield replace(black, pattern="checkerboard")
    yield white


def rows(session: Session, random: np.random.RandomState) -> Iterator[str]:
    """The file's lines."""
    encoding = ENCODINGS[session.encoding]
    yield XYZ_COLUMNS if encoding.kind == "xyz" else COLUMNS
    shown = list(patches(session))
    for number, patch in enumerate(shown):
        triple = codes.encode(np.array(patch.signal), encoding.bits, encoding.narrow)
        light = session.display.light(
            codes.decode(triple, encoding.bits, encoding.narrow),
            patch.position,
            patch.pattern,
            patch.seconds,
            number / (len(shown) - 1),
        )
        read = session.noise.add(light, random)
        numbers = ",".join([*(str(code) for code in triple), *(f"{value:.5g}" for value in read)])
        yield f"{numbers},{patch.position},{patch.window:g},{patch.pattern},{patch.seconds:g}"


def lookup_table() -> Iterator[str]:
    """What was loaded into slot 1: it takes back the faults of `BROADCAST_BEFORE`."""
    size = 33
    yield "# Invented, as are the readings; made by make_readings.py."
    yield 'TITLE "suite-2 slot 1"'
    yield f"LUT_1D_SIZE {size}"
    signal = np.linspace(0, 1, size)
    gains = (0.985, 1.0, 1.0)
    table = [
        np.minimum(gain * signal ** (2.4 / exponent), 1)
        for gain, exponent in zip(gains, BROADCAST_BEFORE.exponents, strict=True)
    ]
    for red, green, blue in zip(*table, strict=True):
        yield f"{red:.6f} {green:.6f} {blue:.6f}"


def write(folder: Path) -> list[Path]:
    """Write all files under `folder`; gives their paths."""
    written = []
    for number, (name, session) in enumerate(SESSIONS.items()):
        random = np.random.RandomState(SEED + number)
        written.append(_write(folder / "readings" / f"{name}.csv", rows(session, random)))
    written.append(_write(folder / "luts" / "slot-1.cube", lookup_table()))
    return written


def _write(path: Path, lines: Iterator[str]) -> Path:
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text("\n".join(lines) + "\n", encoding="utf-8", newline="\n")
    return path


if __name__ == "__main__":
    for path in write(Path(sys.argv[1]) if len(sys.argv) > 1 else HERE):
        print(path)
