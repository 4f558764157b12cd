"""Good slots of spectral panels, drawn for a rule: small smooth errors, contrasts from 1000:1.

Sizes of what a calibration leaves are those of `kinds.py` (practice), at a fraction that is drawn.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from outside import kinds
from outside.displays import Array
from outside.panel import Waves, wave
from outside.rulebook import Rulebook
from outside.spectra import Spectral, panels
from outside.spectral_slot import HEADROOM, Curve, Rows, Slot, Step

LCD_CONTRAST = (1000.0, 3000.0)


def kind_of(book: Rulebook, panel: Spectral) -> kinds.Kind | str:
    """Give the first kind of the panel that can meet the rule; or why none can."""
    reasons = []
    for name in panel.kinds:
        kind = next(kind for kind in kinds.KINDS if kind.name == name)
        if name == "lcd":
            kind = replace(kind, contrast=LCD_CONTRAST)
        reason = kinds.skipped(book, kind)
        if reason is None:
            return kind
        reasons.append(f"{name}: {reason}")
    return "; ".join(reasons)


def able(book: Rulebook) -> tuple[list[tuple[Spectral, kinds.Kind]], dict[str, str]]:
    """Give the panels that a rule is for, with their kinds, and why others are skipped."""
    found, skipped = [], {}
    for panel in panels().values():
        kind = kind_of(book, panel)
        if not panel.contains(book.target):
            skipped[panel.name] = "its gamut does not contain the rule's"
        elif isinstance(kind, str):
            skipped[panel.name] = kind
        else:
            found.append((panel, kind))
    return found, skipped


def uneven(tone: Waves, greys: tuple[Waves, Waves, Waves]) -> Step:
    """Give smooth errors of amounts along the level: of all channels, and of each."""

    def step(amounts: Array, rows: Rows) -> Array:
        level = np.clip(amounts, 0, 1) ** (1 / 2.4)
        error = wave(level, tone) + np.stack(
            [wave(level[:, i], greys[i]) for i in range(3)], axis=-1
        )
        return np.asarray(amounts * np.exp(error))

    return step


def ideal(book: Rulebook, panel: Spectral, kind: kinds.Kind) -> Slot:
    """Give a slot that is the rule's target, its leak of the white's colour."""
    best = kinds.best(book, kind)
    white = max(best.white, kinds.top_of(book))
    return Slot(
        book,
        panel,
        white,
        best.black,
        book.target,
        ceiling=white * HEADROOM,
        gamma=book.target.gamma(kinds.declared_peak(book, white)),
        points=best.points,
    )


def good(
    book: Rulebook, panel: Spectral, kind: kinds.Kind, generator: np.random.Generator, size: float
) -> Slot:
    """Draw a good slot; errors grow with the size."""
    drawn = kinds.draw(book, kind, generator, size)
    target = book.target
    bend = 0.15 if panel.technology == "lcd" else 0.0
    curves = [
        Curve(2.2 + float(generator.normal(0, 0.05)), bend * float(generator.uniform(0, 1)))
        for _ in range(3)
    ]
    slot = Slot(
        book,
        panel,
        drawn.white,
        drawn.black,
        target,
        ceiling=drawn.white * HEADROOM,
        corners=drawn.primaries,
        white_xy=drawn.white_xy,
        gamma=target.gamma(kinds.declared_peak(book, drawn.white)),
        curves=(curves[0], curves[1], curves[2]),
        leak_share=float(generator.uniform(0, 0.6)) * min(size, 1.0),
        points=drawn.points,
        flare=drawn.flare,
        loading=drawn.loading,
        sustained=drawn.sustained,
    )
    slot = slot.with_step("amounts", uneven(drawn.tone, drawn.greys))
    return slot.with_step("lights", drifting(drawn.drift))


def drifting(change: float, channels: tuple[float, float, float] = (1.0, 1.0, 1.0)) -> Step:
    """Give a warm-up: light changes by a share, most of it in the first third of the session."""

    def step(light: Array, rows: Rows) -> Array:
        along = (1 - np.exp(-4 * rows.time)) / (1 - np.exp(-4))
        return np.asarray(light * (1 + change * along[:, None] * np.array(channels)))

    return step
