"""Write the computed patch lists of specs/patches: dark ramp, cinema steps in RGB, colours.

    python scripts/make_patch_lists.py

Nothing in them is copied from a chart. Each list states in its header how it was computed; a
test compares the files with a fresh run.
"""

from __future__ import annotations

import textwrap
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from compliance.colour import codes, hlg, pq, spaces, transfer
from compliance.colour.spaces import PRIMARIES, WHITES, rgb_to_xyz_matrix
from compliance.model import ENCODINGS

Array = NDArray[np.float64]
Triple = tuple[int, int, int]

FOLDER = Path(__file__).resolve().parent.parent / "specs" / "patches"

COLOURS: Mapping[str, tuple[float, float, float]] = {
    **{f"skin-{lightness}": (lightness, 22, 50) for lightness in (30, 40, 50, 60, 70, 80)},
    "brick": (45, 40, 40),
    "orange": (65, 60, 60),
    "wood": (50, 25, 65),
    "sand": (75, 25, 80),
    "grass": (55, 45, 125),
    "foliage": (40, 30, 130),
    "sea": (50, 25, 220),
    "sky": (65, 30, 250),
    "deep-sky": (45, 35, 265),
}
"""CIELAB lightness, chroma and hue angle of skin and memory colours: round numbers, invented."""

DIFFUSE_WHITE = 203.0
"""cd/m² of L* 100 in the HDR lists; ITU-R BT.2408-8."""
HLG_PEAK, HLG_GAMMA = 1000.0, 1.2
CINEMA_STEPS = (396, 792, 1188, 1584, 1980, 2376, 2772, 3168, 3564, 3960)
CINEMA_DARK_STEPS = (128, 255, 383, 511, 639, 766, 894, 1022, 1150, 1277)
CINEMA_WHITE = 3960
CINEMA_EXPONENT = 2.6


@dataclass(frozen=True)
class Signal:
    """The signal of a list of colours."""

    file: str
    words: str
    encoding: str
    primaries: str | None
    """None: X'Y'Z'."""
    inverse: Callable[[Array], Array]
    """Linear light of the container, 1 at L* 100, to signal."""
    white: str = "d65"


def _hlg(linear: Array) -> Array:
    light = linear * DIFFUSE_WHITE / HLG_PEAK
    return hlg.hlg_oetf(hlg.hlg_ootf_inverse(light, 1.0, HLG_GAMMA))


SIGNALS = (
    Signal(
        "bt709",
        "BT.709 primaries and the inverse of a 2.4 power (ITU-R BT.1886 with no black)",
        "rgb-10-narrow",
        "bt709",
        lambda linear: transfer.power(linear, 1 / 2.4),
    ),
    Signal(
        "bt2020",
        "BT.2020 primaries and the inverse of a 2.4 power (ITU-R BT.1886 with no black)",
        "rgb-10-narrow",
        "bt2020",
        lambda linear: transfer.power(linear, 1 / 2.4),
    ),
    Signal(
        "p3-srgb",
        "P3 primaries with white D65 and the inverse of the sRGB curve",
        "rgb-8-full",
        "p3",
        transfer.srgb_inverse,
    ),
    Signal(
        "adobe-rgb",
        "Adobe RGB (1998) primaries and the inverse of a 563/256 power",
        "rgb-8-full",
        "adobe-rgb",
        lambda linear: transfer.power(linear, 256 / 563),
    ),
    Signal(
        "p3-cinema",
        "P3 primaries with white D65 and the inverse of a 2.6 power",
        "rgb-10-full",
        "p3",
        lambda linear: transfer.power(linear, 1 / CINEMA_EXPONENT),
    ),
    Signal(
        "pq",
        "BT.2020 primaries and the inverse of PQ (ITU-R BT.2100), L* 100 at 203 cd/m²",
        "rgb-10-full",
        "bt2020",
        lambda linear: pq.pq_inverse(linear * DIFFUSE_WHITE),
    ),
    Signal(
        "hlg",
        "BT.2020 primaries and the inverse of HLG at 1000 cd/m² (ITU-R BT.2100), L* 100 at "
        "203 cd/m²",
        "rgb-10-narrow",
        "bt2020",
        _hlg,
    ),
    Signal(
        "srgb",
        "BT.709 primaries and the inverse of the sRGB curve",
        "rgb-8-full",
        "bt709",
        transfer.srgb_inverse,
    ),
    Signal(
        "adobe-rgb-d50",
        "Adobe RGB (1998) primaries about a white of D50 and the inverse of a 563/256 power",
        "rgb-8-full",
        "adobe-rgb",
        lambda linear: transfer.power(linear, 256 / 563),
        "d50",
    ),
    Signal(
        "p3-cinema-dci",
        "P3 primaries with white .314, .351 and the inverse of a 2.6 power",
        "rgb-10-full",
        "p3",
        lambda linear: transfer.power(linear, 1 / CINEMA_EXPONENT),
        "dci",
    ),
    Signal(
        "pq-p3",
        "P3 primaries with white D65 and the inverse of PQ (ITU-R BT.2100), L* 100 at 203 cd/m²",
        "rgb-10-full",
        "p3",
        lambda linear: pq.pq_inverse(linear * DIFFUSE_WHITE),
    ),
    Signal(
        "cinema-xyz",
        "SMPTE ST 428-1 (X'Y'Z'), L* 100 at 48 cd/m² and .314, .351",
        "xyz-12-full",
        None,
        lambda linear: transfer.dcdm_inverse(linear * 48.0),
        "dci",
    ),
    Signal(
        "cinema-hdr-xyz",
        "PQ of X, Y and Z (DCI HDR D-Cinema Addendum 1.2, 6.1.2), L* 100 at 203 cd/m²",
        "xyz-12-full",
        None,
        lambda linear: pq.pq_inverse(linear * DIFFUSE_WHITE),
    ),
)

WHITE_NAMES = {"d65": "D65", "d50": "D50", "dci": ".314, .351"}


def lab_to_xyz(lightness: float, chroma: float, hue: float, white: str) -> Array:
    """(3,) XYZ of CIELAB lightness, chroma and hue angle in degrees; Y = 1 at L* 100.

    Source: ISO/CIE 11664-4.
    """
    angle = np.deg2rad(hue)
    middle = (lightness + 16) / 116
    roots = np.array(
        [middle + chroma * np.cos(angle) / 500, middle, middle - chroma * np.sin(angle) / 200]
    )
    ratio = np.where(roots > 6 / 29, roots**3, 3 * (6 / 29) ** 2 * (roots - 4 / 29))
    return np.asarray(ratio * spaces.xy_to_xyz(np.asarray(WHITES[white]), 1.0))


def colours(signal: Signal) -> dict[str, Triple]:
    """Code values of the skin and memory colours in one signal."""
    encoding = ENCODINGS[signal.encoding]
    own = np.eye(3)
    if signal.primaries is not None:
        own = rgb_to_xyz_matrix(PRIMARIES[signal.primaries], WHITES[signal.white])
    into = np.linalg.inv(own)
    found: dict[str, Triple] = {}
    for name, place in COLOURS.items():
        linear = into @ lab_to_xyz(*place, signal.white)
        if linear.min() < 0 or (signal.primaries is not None and linear.max() > 1):
            raise ValueError(f"{name} is outside {signal.primaries}")
        triple = codes.encode(signal.inverse(linear), encoding.bits, encoding.narrow)
        found[name] = (int(triple[0]), int(triple[1]), int(triple[2]))
    return found


def colour_list(signal: Signal) -> str:
    """The file of the skin and memory colours in one signal."""
    rows = [
        f"  {f'{name}:':<10}{list(triple)!s:<20}# L* {COLOURS[name][0]:g}, "
        f"C* {COLOURS[name][1]:g}, h {COLOURS[name][2]:g}°"
        for name, triple in colours(signal).items()
    ]
    head = wrapped(f"Skin and memory colours through {signal.words}.")
    more = wrapped(
        "Computed (scripts/make_patch_lists.py), copied from no chart: round numbers of CIELAB "
        f"lightness, chroma and hue angle under {WHITE_NAMES[signal.white]}, our own choice. Skin "
        "is one hue and chroma in six lightnesses."
    )
    return _file(f"{head}\n#\n{more}", signal.encoding, "computed from CIELAB; practice", rows)


def wrapped(text: str) -> str:
    """A paragraph of a comment."""
    return textwrap.fill(text, 98, initial_indent="# ", subsequent_indent="# ")


def steps_list(words: str, printed: str, steps: tuple[int, ...]) -> str:
    """The file of neutral cinema steps as RGB codes of the same luminance."""
    encoding = ENCODINGS["rgb-10-full"]
    rows = []
    for step in steps:
        code = int(codes.encode(np.array(step / CINEMA_WHITE), encoding.bits, encoding.narrow))
        luminance = 48 * (code / encoding.top) ** CINEMA_EXPONENT
        triple = f"[{code}, {code}, {code}]"
        rows.append(f"  y-{step:04d}: {triple:<22}# {luminance:.4f} cd/m² above black")
    head = wrapped(
        f"Ten neutral steps {words}, as R'G'B' of a 2.6 power with white at full signal."
    )
    more = wrapped(
        "Computed (scripts/make_patch_lists.py): code = 1023·Y'/3960, so that at 48 cd/m² each "
        f"shows the luminance of the step Y' of {printed} (within the rounding to 10 bits). Names "
        "keep the Y'."
    )
    return _file(f"{head}\n#\n{more}", encoding.name, f"computed from {printed}", rows)


def dark_ramp() -> str:
    """The file of the dark ramp of narrow-range RGB."""
    rows = []
    for code in range(64, 153, 8):
        level = float(codes.decode(np.array(code), 10, True))
        rows.append(f"  code-{code:04d}: [{code}, {code}, {code}]".ljust(32) + f"# {level:.2%}")
    return _file(
        "# Twelve neutral steps from black to a tenth of the signal, every eighth code.\n"
        "#\n"
        "# Computed (scripts/make_patch_lists.py): 64 + 8·n, n = 0 to 11. Practice, no source.",
        "rgb-10-narrow",
        "computed; practice",
        rows,
    )


def _file(head: str, encoding: str, clause: str, rows: list[str]) -> str:
    lines = [head, "", f"encoding: {encoding}", f'clause: "{clause}"', "patches:", *rows]
    return "\n".join(lines) + "\n"


def files() -> dict[str, str]:
    """Every computed list: file name in specs/patches and text."""
    made = {f"skin-and-memory-{signal.file}.yaml": colour_list(signal) for signal in SIGNALS}
    made["dark-ramp.yaml"] = dark_ramp()
    made["cinema-steps-rgb.yaml"] = steps_list(
        "up to the cinema white", "SMPTE RP 431-2, Table A-2", CINEMA_STEPS
    )
    made["cinema-dark-steps-rgb.yaml"] = steps_list(
        "in the dark of the cinema signal", "SMPTE RP 431-2, Table A-3", CINEMA_DARK_STEPS
    )
    return made


if __name__ == "__main__":
    for name, text in files().items():
        (FOLDER / name).write_text(text, encoding="utf-8", newline="\n")
