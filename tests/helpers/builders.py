"""Small rules and readings for tests of the engine, made directly from the model."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np

from compliance.model import (
    ENCODINGS,
    Certificate,
    ChromaticityBand,
    Decision,
    Encoding,
    Level,
    Limits,
    Linearity,
    LuminanceBand,
    Meter,
    Over,
    PatchSet,
    Readings,
    RepeatabilityBand,
    Requirement,
    Rule,
    Saturated,
    Target,
    Uncertainty,
)

BT709 = ((0.640, 0.330), (0.300, 0.600), (0.150, 0.060))
P3 = ((0.680, 0.320), (0.265, 0.690), (0.150, 0.060))
BT2020 = ((0.708, 0.292), (0.170, 0.797), (0.131, 0.046))
D65 = (0.3127, 0.3290)
DCI = (0.314, 0.351)


def target(curve: str = "bt1886", **changes: Any) -> Target:
    """A target with the defaults of its curve."""
    black = {"bt1886": "lift", "hlg": "lift", "pq": "none"}.get(curve, "add")
    made = Target(
        primaries=BT709,
        primaries_name="bt709",
        white=D65,
        white_name="d65",
        curve=curve,
        exponent=None,
        black=black,
        black_level=None,
        scale="absolute" if curve == "pq" else "relative",
        luminance_white=100.0,
        luminance_peak=100.0,
        container=BT709,
        container_name="bt709",
        system_gamma=1.2 if curve == "hlg" else None,
    )
    return replace(made, **changes)


def cinema() -> Target:
    """The X'Y'Z' cinema target of SMPTE ST 428-1 at 48 cd/m²."""
    return target(
        "dcdm",
        primaries=P3,
        white=DCI,
        exponent=2.6,
        luminance_white=48.0,
        luminance_peak=48.0,
        container=None,
    )


def pq(peak: float = 1000.0, **changes: Any) -> Target:
    """P3-D65 inside BT.2020, PQ."""
    made = target("pq", primaries=P3, container=BT2020, luminance_peak=peak)
    return replace(made, **changes)


def requirement(quantity: str, over: Over | str | None, **changes: Any) -> Requirement:
    """A shall on a quantity."""
    if isinstance(over, str):
        over = Over((over,))
    made = Requirement(
        id="it",
        title="It",
        quantity=quantity,
        level=Level.SHALL,
        basis="practice",
        clause=None,
        over=over,
        limits=Limits(maximum=1.0),
    )
    return replace(made, **changes)


def rule(
    target: Target,
    *requirements: Requirement,
    encoding: str = "rgb-8-full",
    sets: tuple[PatchSet, ...] = (),
    window: float = 100.0,
    decision: Decision | None = None,
) -> Rule:
    """A rule in memory, without a file."""
    return Rule(
        id="test-rule",
        title="A rule for tests",
        revision=1,
        valid_days=30,
        target=target,
        encoding=ENCODINGS[encoding],
        window=window,
        decision=decision or Decision(),
        sets={one.name: one for one in sets},
        requirements=requirements,
        resolved={},
        digest="0" * 64,
        files=(),
    )


def ramp(steps: int = 21, **changes: Any) -> PatchSet:
    return replace(PatchSet(name="grey", kind="ramp", steps=steps), **changes)


HUES = PatchSet(name="primaries", kind="hues", hues=("red", "green", "blue"))


def readings(
    codes: Any,
    xyz: Any,
    encoding: str | Encoding = "rgb-8-full",
    *,
    position: tuple[str, ...] | None = None,
    window: Any = None,
    pattern: tuple[str, ...] | None = None,
    seconds: Any = None,
) -> Readings:
    """Readings in memory; defaults as in a file that does not state the rest."""
    codes = np.asarray(codes, dtype=np.int64).reshape(-1, 3)
    count = len(codes)
    return Readings(
        encoding=ENCODINGS[encoding] if isinstance(encoding, str) else encoding,
        codes=codes,
        xyz=np.asarray(xyz, dtype=np.float64).reshape(-1, 3),
        position=position or ("centre",) * count,
        window=np.full(count, np.nan) if window is None else np.asarray(window, dtype=np.float64),
        pattern=pattern or ("",) * count,
        background=("",) * count,
        seconds=np.zeros(count) if seconds is None else np.asarray(seconds, dtype=np.float64),
        deviation=np.full(count, np.nan),
        lines=tuple(range(2, count + 2)),
        file="made.csv",
        data=b"",
        sha256="0" * 64,
    )


def meter(correlation: float | None = 0.0, **changes: Any) -> Meter:
    """A meter with every part of the model, far from any floor."""
    given: dict[str, Any] = {
        "k": 2.0,
        "luminance": (LuminanceBand(0.001, 4.0), LuminanceBand(1.0, 2.0)),
        "linearity": Linearity(),
        "dark": 0.002,
        "resolution": 0.0,
        "chromaticity": (
            ChromaticityBand(0.001, 0.004, 0.003),
            ChromaticityBand(1.0, 0.002, 0.001),
        ),
        "saturated": Saturated(1e-6, 1e-6, 1e-4),
        "correlation": correlation,
        "repeatability": (RepeatabilityBand(0.0, 0.6, 0.0005, 0.0004),),
    }
    return Meter(
        name="m",
        kind="spectroradiometer",
        make=None,
        model=None,
        serial=None,
        certificate=Certificate(None, None, None, None),
        uncertainty=Uncertainty(**(given | changes)),
        stated_lowest=0.0,
        settle=None,
        reading_time=(),
        correction=None,
        document={},
        file="m.yaml",
        sha256="",
    )
