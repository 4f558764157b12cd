"""Displays with one fault, made from the best panel of a kind and driven outside a shall limit.

A family is one fault with a size that can grow. `driven` finds the smallest size that puts a true
value outside a shall limit by 2U; a family for which no size up to its largest does so is a gap of
the rule. The largest sizes are what a user would not take for the deliverable at all.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np

import compliance
from outside import kinds, slots
from outside.acceptance import METERS, Case, Need, book_of
from outside.displays import PRIMARIES, Pair, uv_of, xyz_of
from outside.ideal import Corners, system_gamma
from outside.panel import Panel
from outside.qualities import Values, frame_of
from outside.rulebook import SPECS

Fault = Callable[[Panel, float], Panel]
"""Gives the panel with a fault of a size from 0 to 1; 1 is the family's largest."""


@dataclass(frozen=True)
class Family:
    """One fault; `declared` says whether the job states the nominal peak that it is right for."""

    name: str
    fault: Fault
    largest: str
    """What size 1 is, in words."""
    declares: Callable[[Panel], float] | None = None


def shifted(corner: Pair, angle: float, distance: float) -> Pair:
    """Move a chromaticity in u', v'."""
    u, v = uv_of(xyz_of((1.0, *corner))) + distance * np.array([np.cos(angle), np.sin(angle)])
    return float(9 * u / (6 * u - 16 * v + 12)), float(4 * v / (6 * u - 16 * v + 12))


def white_tint(angle: float) -> Fault:
    """Give a fault that moves the white by up to .012 in u'v'."""

    def fault(panel: Panel, size: float) -> Panel:
        return replace(panel, white_xy=shifted(panel.target.white_xy, angle, 0.012 * size))

    return fault


def own(panel: Panel) -> Corners:
    """Give the panel's primaries."""
    return panel.primaries or panel.target.primaries


def wrong_primaries(panel: Panel, size: float) -> Panel:
    """Shrink or widen the primaries towards another standard's."""
    there = PRIMARIES["p3"] if panel.target.primaries == PRIMARIES["bt709"] else PRIMARIES["bt709"]
    mixed = [
        tuple((1 - size) * np.array(a) + size * np.array(b))
        for a, b in zip(own(panel), there, strict=True)
    ]
    return replace(panel, primaries=tuple(mixed))  # type: ignore[arg-type]


def one_primary(index: int) -> Fault:
    """Give a fault that moves one primary towards white, by up to a quarter."""

    def fault(panel: Panel, size: float) -> Panel:
        corners = list(own(panel))
        start, end = np.array(corners[index]), np.array(panel.target.white_xy)
        corners[index] = tuple(start + 0.25 * size * (end - start))
        return replace(panel, primaries=tuple(corners))  # type: ignore[arg-type]

    return fault


def wrong_gamma(sign: int) -> Fault:
    """Give a fault of the curve: an exponent .3 off, HLG's γ .15, PQ's levels by a power."""

    def fault(panel: Panel, size: float) -> Panel:
        target = panel.target
        if target.curve == "hlg":
            power = panel.gamma or target.gamma()
            return replace(panel, gamma=power + sign * 0.15 * size)
        if target.curve == "srgb":
            if sign > 0:
                return replace(panel, curve="power", exponent=2.2 + 0.4 * size)
            return replace(panel, curve="power", exponent=2.2 - 0.4 * size)
        if target.curve == "pq":
            return replace(panel, bend=sign * 0.15 * size)
        return replace(panel, exponent=target.exponent + sign * 0.4 * size)

    return fault


def wrong_curve(panel: Panel, size: float) -> Panel:
    """Show another deliverable's curve; a size below 1 is not wrong at all."""
    if size < 1:
        return panel
    if panel.target.curve == "srgb":
        return replace(panel, curve="bt1886", form="lift", exponent=2.4)
    if panel.target.curve in ("bt1886", "power", "dcdm") and panel.target.container is not None:
        return replace(panel, curve="srgb")
    return replace(panel, bend=0.15)


def other_peak_gamma(factor: float) -> Fault:
    """Give an HLG display with the system gamma of another peak, the factor of its own."""

    def fault(panel: Panel, size: float) -> Panel:
        return replace(panel, gamma=system_gamma(panel.white * factor**size))

    return fault


def wrong_level(factor: float) -> Fault:
    """Give a fault of the white or peak."""

    def fault(panel: Panel, size: float) -> Panel:
        step = factor**size
        if panel.target.absolute and (factor > 1 or panel.target.peak == panel.target.white):
            return replace(panel, gain=step)  # a PQ display that clips higher is right
        return replace(panel, white=panel.white * step)

    return fault


def leak(panel: Panel, size: float) -> Panel:
    """Raise the black up to a hundredth of the white."""
    most = 0.01 * panel.white
    least = max(panel.black, 1e-5)
    return replace(panel, black=float(np.exp(np.log(least) + size * np.log(most / least))))


def uneven(panel: Panel, size: float) -> Panel:
    """Let luminance fall by up to 40 % to the corners, on one side more."""
    points = {}
    for name, (x, y, z) in panel.points.items():
        factor = 1 - size * (0.4 if "left" in name else 0.2)
        points[name] = (x * factor, y * factor, z * factor)
    return replace(panel, points=points)


def uneven_colour(panel: Panel, size: float) -> Panel:
    """Let the right side of the screen turn blue by up to .03 in u'v'."""
    points = dict(panel.points)
    for name, (x, y, z) in panel.points.items():
        if "right" in name:
            points[name] = (x, y, z * (1 + 0.3 * size))
    return replace(panel, points=points)


def unsteady(panel: Panel, size: float) -> Panel:
    """Let the light fall by up to 12 % while it is read."""
    return replace(panel, drift=-0.12 * size)


def clipped(share: float) -> Fault:
    """Give a white-subpixel panel whose colours stop at a share of the peak: 1000 → 250 to 400."""

    def fault(panel: Panel, size: float) -> Panel:
        if size < 1:
            return panel
        return replace(panel, colour_limit=share * panel.white)

    return fault


def boosted(panel: Panel, size: float) -> Panel:
    """Brighten the white alone by up to 40 %: colours are dim beside it."""
    return replace(panel, white_boost=1 + 0.4 * size)


def families(panel: Panel) -> list[Family]:
    """Give the families that apply to a target."""
    bright = panel.target.peak > 150
    found = [
        *(
            Family(f"white tint {round(np.degrees(a))}°", white_tint(a), ".012 in u'v'")
            for a in np.arange(8) * np.pi / 4
        ),
        *(
            Family(f"grey tint {sign}", lambda p, s, k=sign: replace(p, tint=k * 0.12 * s), "12 %")  # type: ignore[misc]
            for sign in (-1, 1)
        ),
        *(
            Family(
                f"mixed colours {sum(c):+.2f} {i}",
                lambda p, s, c=c: replace(p, mixing=tuple(v * s for v in c)),  # type: ignore[misc]
                "10 %",
            )
            for i, c in enumerate([(0.1, -0.1, 0.1), (-0.1, 0.1, 0.0), (0.1, 0.1, -0.1),
                                   (-0.1, -0.1, -0.1), (0.1, 0.0, 0.0)])
        ),
        Family("wrong primaries", wrong_primaries, "another standard's"),
        *(Family(f"{hue} to white", one_primary(i), "a quarter of the way")
          for i, hue in enumerate(("red", "green", "blue"))),
        Family("gamma high", wrong_gamma(1), "+.4, HLG +.15"),
        Family("gamma low", wrong_gamma(-1), "−.4, HLG −.15"),
        Family("another curve", wrong_curve, "another deliverable's"),
        Family("white high", wrong_level(1.5), "× 1.5"),
        Family("white low", wrong_level(0.6), "× .6"),
        Family("leak", leak, "1 % of white"),
        Family("dark greys high", lambda p, s: replace(p, dark=0.5 * s), "+65 % at 1 cd/m²"),
        Family("dark greys low", lambda p, s: replace(p, dark=-0.5 * s), "−40 % at 1 cd/m²"),
        *(
            Family(
                f"dark greys' tint {sign}",
                lambda p, s, k=sign: replace(p, dark_tint=k * 0.2 * s),  # type: ignore[misc]
                "20 % at 1 cd/m²",
            )
            for sign in (-1, 1)
        ),
        Family(
            "dark mixed colours",
            lambda p, s: replace(p, mixing=(0.15 * s, -0.15 * s, 0.0), mixing_below=8.0),
            "15 % below 8 cd/m²",
        ),
        Family("white boosted", boosted, "+40 %"),
        Family("unsteady", unsteady, "12 %"),
    ]  # fmt: skip
    if panel.points:
        found.append(Family("uneven", uneven, "40 % at the left"))
        found.append(Family("uneven colour", uneven_colour, "Z +30 % at the right"))
    if bright:
        found += [
            Family(f"colours stop at {s:.0%} of the peak", clipped(s), "") for s in (0.25, 0.4)
        ]
        found.append(
            Family("dims after 60 s", lambda p, s: replace(p, sustained=1 - 0.5 * s), "to 50 %")
        )
    if panel.target.curve == "hlg":
        for factor in (0.5, 2.0):
            fault = other_peak_gamma(factor)
            name = f"HLG gamma of {factor:g} × the peak"
            found.append(Family(name, fault, f"× {factor:g}"))
            found.append(
                Family(
                    name + ", declared so", fault, f"× {factor:g}", lambda p, f=factor: p.white * f
                )  # type: ignore[misc]
            )
            found.append(
                Family(name + ", own peak declared", fault, f"× {factor:g}", lambda p: p.white)
            )
    return found


def outside_by(
    case: Case, panel: Panel, needs: Mapping[str, Need], declared: float | None
) -> dict[str, float]:
    """Give the shall requirements that a true value is outside of, and by how many U."""
    true = panel.shown(case.book)
    values = Values.of(case.book, true, frame_of(case.book, true, nominal_peak=declared))
    found = {}
    for requirement in case.judged:
        points = values.sure(requirement)
        expanded = np.maximum(needs[requirement.id].expanded, 1e-9)
        by = np.where(points.counted, -points.margins() / expanded, -np.inf)
        if by.max() > 0:
            found[requirement.id] = float(by.max())
    return found


def nearest(case: Case, panel: Panel, needs: Mapping[str, Need], declared: float | None) -> str:
    """Say which shall limit a fault comes nearest to, and which shoulds it breaks."""
    true = panel.shown(case.book)
    values = Values.of(case.book, true, frame_of(case.book, true, nominal_peak=declared))
    margins = {}
    for requirement in case.book.requirements:
        if case.book.applies(requirement, case.kind.technology):
            points = values.points(requirement)
            margins[requirement.id] = float(
                np.where(points.counted, points.relative_margins(), np.inf).min()
            )
    by_need = outside_by(case, panel, needs, declared)
    shalls = {r.id for r in case.judged}
    least = min(shalls, key=lambda id_: margins[id_])
    shoulds = sorted(id_ for id_, m in margins.items() if id_ not in shalls and m < 0)
    text = f"nearest shall {least}, {1 - margins[least]:.0%} of its limit used"
    if by_need:
        text += ", outside by " + ", ".join(f"{k} {v:.1f} U" for k, v in by_need.items())
    return text + (f"; shoulds outside: {', '.join(shoulds)}" if shoulds else "")


def driven(
    case: Case, panel: Panel, family: Family, needs: Mapping[str, Need]
) -> tuple[Panel, float, dict[str, float]] | None:
    """Find the smallest size, of steps of a fortieth, at which a value is outside by 2U."""

    def at(size: float) -> tuple[Panel, float, dict[str, float]]:
        made = family.fault(panel, size)
        declared = family.declares(panel) if family.declares else None
        return made, size, outside_by(case, made, needs, declared)

    low, high = 0.0, 1.0
    best = at(high)
    if max(best[2].values(), default=0) < 2:
        return None
    while high - low > 1 / 40:
        middle = (low + high) / 2
        tried = at(middle)
        if max(tried[2].values(), default=0) >= 2:
            high, best = middle, tried
        else:
            low = middle
    return best


@dataclass
class Report:
    """What came of a rule's bad displays."""

    rule: str
    meter: str
    graded: int = 0
    accepted: list[str] = field(default_factory=list)
    gaps: list[str] = field(default_factory=list)
    """Families that no shall limit sees at their largest size."""
    too_near: list[str] = field(default_factory=list)
    """Families that a shall limit sees, but by less than 2U of this meter."""
    open: list[str] = field(default_factory=list)


def judged(rule: str, meter: str, chosen: Sequence[str] | None = None, draws: int = 300) -> Report:
    """Grade a rule's bad displays, each family on one kind of display in turn."""
    book = book_of(rule)
    loaded = compliance.load_rule(book.file)
    able = [kind for kind in kinds.KINDS if kinds.skipped(book, kind) is None]
    cases = [Case(book, METERS[meter], kind) for kind in able]
    needs = [case.needs() for case in cases]
    report = Report(rule, meter)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        read_by = slots.meter_of(METERS[meter].text(), folder)
        first = kinds.best(book, able[0])
        for number, family in enumerate(families(first)):
            if chosen and not any(text in family.name for text in chosen):
                continue
            case, need = cases[number % len(cases)], needs[number % len(cases)]
            panel = kinds.best(book, case.kind)
            found = driven(case, panel, family, need)
            if found is None:
                made = family.fault(panel, 1.0)
                declared = family.declares(panel) if family.declares else None
                worst = nearest(case, made, need, declared)
                text = f"{family.name} ({family.largest}; {case.kind.name}): {worst}"
                seen = outside_by(case, made, need, declared)
                (report.too_near if seen else report.gaps).append(text)
                continue
            bad, size, by = found
            declared = family.declares(panel) if family.declares else None
            generator = np.random.default_rng([41, number])
            xyz = case.readings(bad.shown(book), generator)
            by_text = ", ".join(f"{id_} {value:.1f} U" for id_, value in by.items())
            text = f"{family.name} (size {size:.2f}; {case.kind.name}): {by_text}"
            try:
                state = slots.grade(
                    loaded, book, xyz, read_by, folder, technology=case.kind.technology,
                    nominal_peak=declared, seed=number, draws=draws,
                )  # fmt: skip
            except compliance.ComplianceError as error:
                report.open.append(f"{text} → {error}")
                continue
            report.graded += 1
            text += f" → {state.verdict}"
            if str(state.verdict) == "compliant":
                report.accepted.append(text)
            elif str(state.verdict) != "not-compliant":
                report.open.append(text)
    return report


def lines(report: Report) -> Iterable[str]:
    """Give the report's lines."""
    yield f"{report.rule} × {report.meter}: {report.graded} bad displays graded"
    yield from (f"  ACCEPTED {text}" for text in report.accepted)
    yield from (f"  undecided {text}" for text in report.open)
    yield from (f"  GAP {text}" for text in report.gaps)
    yield from (f"  within 2U {text}" for text in report.too_near)


def main() -> int:
    """Print the reports."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument(
        "--rule", action="append", help="id of a shipped rule, or a file; default: all"
    )
    parser.add_argument("--meters", nargs="+", default=["reference"], choices=list(METERS))
    parser.add_argument("--only", nargs="+", help="families whose names have one of these texts")
    chosen = parser.parse_args()
    failures = 0
    for rule in chosen.rule or sorted(file.stem for file in SPECS.glob("*.yaml")):
        for meter in chosen.meters:
            report = judged(rule, meter, chosen.only)
            failures += len(report.accepted)
            print(*lines(report), sep="\n", flush=True)
    return int(failures > 0)


if __name__ == "__main__":
    sys.exit(main())
