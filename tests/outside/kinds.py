"""Good displays of five kinds, drawn for a rule: small smooth errors, and a leak of the kind.

Sizes are practice, no source: what a calibrated display of the kind has left. A draw with a smaller
`size` has proportionately smaller errors.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from outside.displays import Pair, uv_of, xyz_of
from outside.panel import Panel, Waves
from outside.rulebook import Rulebook

BRIGHTEST_PROJECTOR = 350.0
"""cd/m² that a projected screen of a suite reaches; practice."""


@dataclass(frozen=True)
class Kind:
    """A kind of display: its contrast, the colour of its leak, its screen, its loading."""

    name: str
    technology: str
    contrast: tuple[float, float]
    leak_colour: float
    """Standard deviation of the leak's x and y."""
    leak_blue: float
    """How far the leak is off to blue, in x and y."""
    edge: tuple[float, float]
    """Factors at the corners; the sides have half of that loss."""
    loading: Mapping[float, float]
    sustained: tuple[float, float]
    flare: tuple[float, float]
    additive: bool = True
    """Whether colours add up however bright; else up to a limit above what the rule asks for."""


KINDS = (
    Kind("lcd", "lcd", (1000, 1500), 0.004, 0.02, (0.93, 0.99), {}, (0.98, 1.0), (1e-4, 3e-4)),
    Kind(
        "oled", "oled", (2e5, 5e6), 0.004, 0.0, (0.97, 1.0),
        {25.0: 0.9, 50.0: 0.7, 100.0: 0.5}, (0.94, 0.99), (0.0, 1e-5),
    ),
    Kind(
        "white-subpixel", "oled", (1e5, 2e6), 0.004, 0.0, (0.96, 1.0),
        {25.0: 0.8, 50.0: 0.5, 100.0: 0.3}, (0.92, 0.98), (0.0, 1e-5), False,
    ),
    Kind(
        "projector", "projector", (1800, 5000), 0.005, 0.005, (0.83, 0.90), {}, (0.97, 1.0),
        (2e-3, 8e-3),
    ),
    Kind(
        "dual-layer", "lcd", (5e4, 1e6), 0.006, 0.01, (0.95, 0.99),
        {50.0: 0.95, 100.0: 0.9}, (0.97, 1.0), (1e-5, 1e-4),
    ),
)  # fmt: skip


def luminance_limits(book: Rulebook, of: str) -> tuple[float, float]:
    """Give the shall limits on the luminance of white, peak or black, of all that have one."""
    low, high = 0.0, np.inf
    for requirement in book.requirements:
        over: Any = requirement.body.get("over")
        named = over.get("patches") if isinstance(over, Mapping) else over
        centred = not (isinstance(over, Mapping) and ({"pattern", "position"} & set(over)))
        if requirement.quantity == "luminance" and requirement.shall and named == of and centred:
            least, most = requirement.limits[0]
            low = max(low, -np.inf if least is None else least)
            high = min(high, np.inf if most is None else most)
    return low, high


def least_contrast(book: Rulebook) -> float:
    """Give the shall limit on contrast, 0 if there is none."""
    return max(
        (
            requirement.limits[0][0] or 0.0
            for requirement in book.requirements
            if requirement.quantity == "contrast" and requirement.shall
        ),
        default=0.0,
    )


def top_of(book: Rulebook) -> float:
    """Give the highest luminance that the rule asks for."""
    return max(book.target.white, book.target.peak)


def black_range(book: Rulebook, kind: Kind, white: float) -> tuple[float, float]:
    """Give the blacks that the kind has and the rule's shall limits allow."""
    low, high = luminance_limits(book, "black")
    contrast = least_contrast(book)
    if contrast:
        high = min(high, white / contrast)
    room = 0.0 if low == 0 or not np.isfinite(high) else 0.2 * (high - low)
    least = max(white / kind.contrast[1], low + room)
    return least, min(white / kind.contrast[0], (high - room if room else 0.85 * high))


def skipped(book: Rulebook, kind: Kind) -> str | None:
    """Say why a kind cannot meet a rule; None if it can."""
    if kind.technology == "projector" and top_of(book) > BRIGHTEST_PROJECTOR:
        return f"no projected screen reaches {top_of(book):g} cd/m²"
    low, high = black_range(book, kind, top_of(book))
    if low >= high:
        limits = luminance_limits(book, "black")
        return (
            f"its black, {top_of(book) / kind.contrast[1]:.2g} to "
            f"{top_of(book) / kind.contrast[0]:.2g} cd/m², is not within {limits[0]:g} to "
            f"{limits[1]:g} with a contrast of {least_contrast(book):g}"
        )
    return None


def waves(generator: np.random.Generator, size: float) -> Waves:
    """Draw three half waves, the shorter the smaller."""
    return tuple(
        (float(generator.normal(0, size / (k + 1))), float(generator.uniform(0, 2 * np.pi)))
        for k in range(3)
    )


def moved(corner: Pair, size: float, generator: np.random.Generator) -> Pair:
    """Move a chromaticity by a normal draw."""
    x, y = np.asarray(corner) + generator.normal(0, size, 2)
    return float(x), float(y)


def moved_uv(corner: Pair, size: float, generator: np.random.Generator) -> Pair:
    """Move a chromaticity by a normal draw in u', v'."""
    u, v = uv_of(xyz_of((1.0, *corner))) + generator.normal(0, size, 2)
    return float(9 * u / (6 * u - 16 * v + 12)), float(4 * v / (6 * u - 16 * v + 12))


def white_of(book: Rulebook, generator: np.random.Generator, size: float) -> float:
    """Draw the luminance of full signal (PQ: where it clips)."""
    target = book.target
    low, high = luminance_limits(book, "white")
    if target.curve in ("pq", "hlg") and target.peak > 100:
        low_peak, high_peak = luminance_limits(book, "peak")
        low, high = max(low, low_peak), min(high, high_peak)
    if target.curve == "pq" and target.peak != target.white:
        return float(target.peak * generator.uniform(1.0, 1 + 0.06 * size))
    if low == 0 or not np.isfinite(high):
        return float(max(target.white, low) * generator.uniform(1.04, 1.04 + 0.05 * size))
    middle, half = (low + high) / 2, (high - low) / 2
    return float(middle + generator.uniform(-0.6, 0.6) * half * size)


def colour_limit(book: Rulebook, white: float) -> float:
    """Give the limit of a good white-subpixel panel: above every colour of the plan."""
    own = np.linalg.inv(book.target.matrix(book.target.primaries)).T
    drive = book.target.xyz(book.codes, white) @ own
    asked = (drive.max(axis=1) - drive.min(axis=1)).max()
    return float(max(0.6 * white, 1.1 * asked))


def best(book: Rulebook, kind: Kind) -> Panel:
    """Give the kind's best panel: ideal but for its leak, of the white's colour."""
    generator = np.random.default_rng(0)
    white = white_of(book, generator, 0.0)
    low, high = black_range(book, kind, top_of(book))
    limited = luminance_limits(book, "black")[0] > 0
    black = (low + high) / 2 if limited else low
    screen = _screen(book, kind, np.random.default_rng(0), 0.0)
    return Panel(book.target, white, black, book.target.white_xy, points=screen)


def _screen(
    book: Rulebook, kind: Kind, generator: np.random.Generator, size: float
) -> dict[str, tuple[float, float, float]]:
    """Draw the factors of X, Y, Z at each point of the screen."""
    corner = generator.uniform(*kind.edge)
    for requirement in book.requirements:
        if requirement.quantity == "luminance" and any(
            book.patches[i].position != "centre" for i in requirement.patches
        ):
            corner = max(corner, 0.99)
    if kind.technology == "projector" and not any(
        requirement.body.get("displays") or "edge" in requirement.id
        for requirement in book.requirements
    ):
        corner = generator.uniform(0.93, 0.97)
    if kind.technology == "projector":
        for requirement in book.requirements:
            if requirement.quantity == "relative-luminance" and requirement.shall:
                low, high = requirement.limits[0]
                if low is not None and any(
                    book.patches[i].position != "centre" for i in requirement.patches
                ):
                    top = 100 if high is None else high
                    corner = (low + generator.uniform(0.45, 0.6) * (top - low)) / 100
    points = {}
    for name in {patch.position for patch in book.patches} - {"centre"}:
        loss = (1 - corner) * (1.0 if "-" in name and not name.startswith("inner") else 0.8)
        factor = 1 - loss * (1 + 0.1 * size * generator.normal())
        x, z = 1 + generator.normal(0, 0.003 * size, 2)
        points[name] = (float(factor * x), float(factor), float(factor * z))
    return points


def draw(book: Rulebook, kind: Kind, generator: np.random.Generator, size: float) -> Panel:
    """Draw a good display of a kind."""
    target = book.target
    white = white_of(book, generator, size)
    low, high = black_range(book, kind, top_of(book))
    black = float(np.exp(generator.uniform(np.log(low), np.log(high))))
    gamma = target.gamma(declared_peak(book, white))
    leak = moved(
        (target.white_xy[0] - kind.leak_blue * size, target.white_xy[1] - kind.leak_blue * size),
        kind.leak_colour * size,
        generator,
    )
    red, green, blue = (moved_uv(c, 0.0015 * size, generator) for c in target.primaries)
    exponent = target.exponent * (1 + generator.normal(0, 0.004 * size))
    form = "lift"
    if target.curve == "hlg":
        form = str(generator.choice(["lift", "add"]))
    screen = _screen(book, kind, generator, size)
    mixing = generator.normal(0, 0.008 * size, 3)
    return Panel(
        target,
        white,
        black,
        leak,
        primaries=(red, green, blue),
        white_xy=moved(target.white_xy, 0.0007 * size, generator),
        exponent=float(exponent),
        gamma=gamma * (1 + float(generator.normal(0, 0.004 * size))),
        form=form if target.curve in ("hlg", "bt1886") else None,
        lifts_container=bool(generator.random() < 0.3) and target.container != target.primaries,
        gain=1 + float(generator.normal(0, 0.01 * size)) if target.curve == "pq" else 1.0,
        tone=waves(generator, 0.012 * size),
        greys=(
            waves(generator, 0.0025 * size),
            waves(generator, 0.0015 * size),
            waves(generator, 0.004 * size),
        ),
        mixing=tuple(float(v) for v in mixing),  # type: ignore[arg-type]
        colour_limit=np.inf if kind.additive else colour_limit(book, white),
        loading=kind.loading if top_of(book) > 150 and book.window < 50 else {},
        sustained=float(generator.uniform(*kind.sustained)),
        points=screen,
        drift=float(generator.normal(0, 0.003 * size)),
        flare=float(generator.uniform(*kind.flare)),
    )


def declared_peak(book: Rulebook, white: float) -> float:
    """Give the peak that HLG's γ follows: the rule's near it, else the display's own."""
    low, high = luminance_limits(book, "peak")
    nominal = book.target.white
    if low == 0 or not np.isfinite(high):
        low, high = 0.9 * nominal, 1.1 * nominal
    return nominal if low <= white <= high else white
