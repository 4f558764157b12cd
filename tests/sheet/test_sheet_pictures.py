"""The pictures: guard bands in the tracking, the white's ellipse and limit."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from contextlib import AbstractContextManager, nullcontext
from dataclasses import dataclass, replace
from typing import Any

import pytest
from helpers.invented_charts import charts
from helpers.pdf_text import Said, everything

from compliance.model import Assessment
from compliance.pictures.axes import Area, Axis, Frame
from compliance.pictures.canvas import INK, Canvas
from compliance.pictures.charts import PLOTS, draw_tracking, draw_white, plots_of
from compliance.pictures.data import Charts, DifferencePoint, Differences, LevelPoint
from compliance.pictures.structure import Element, Silent
from compliance.sheet import draw_sheet

Sample = Callable[[str], Assessment]
Spots = Sequence[tuple[float, float]]
LENS = Frame(0.0, 0.0, 200.0, 200.0, Axis(0.0, 0.65, ()), Axis(0.0, 0.6, ()))


@dataclass(frozen=True)
class Stroke:
    points: tuple[tuple[float, float], ...]
    how: dict[str, Any]

    def ends(self, axis: int) -> tuple[float, float]:
        values = [point[axis] for point in self.points]
        return min(values), max(values)


class Recorder(Canvas):
    """A canvas that remembers paths, boxes and lines."""

    def __init__(self) -> None:
        self.paths: list[Stroke] = []
        self.boxes: list[tuple[float, float, Any]] = []
        self.lines: list[tuple[float, float, float, float]] = []

    def polyline(self, points: Spots, **style: Any) -> None:
        if len(points) > 1:
            self.paths.append(Stroke(tuple(points), style))

    polygon = polyline

    def box(self, x: float, y: float, w: float, h: float, **style: Any) -> None:
        self.boxes.append((y, h, style.get("fill")))

    def line(self, x0: float, y0: float, x1: float, y1: float, **style: Any) -> None:
        if style.get("ink") == INK.TEXT:
            self.lines.append((x0, y0, x1, y1))

    def text(self, x: float, y: float, text: str, **how: Any) -> None:
        """Not looked at."""

    def disc(self, x: float, y: float, radius: float, **style: Any) -> None:
        """Not looked at."""

    def clipped(self, x: float, y: float, w: float, h: float) -> AbstractContextManager[None]:
        return nullcontext()

    def turned(self, x: float, y: float) -> AbstractContextManager[None]:
        return nullcontext()

    def tagged(self, element: Element) -> AbstractContextManager[None]:
        return nullcontext()

    def silent(self, kind: Silent = "") -> AbstractContextManager[None]:
        return nullcontext()

    def filled(self, ink: Any) -> list[Stroke]:
        return [path for path in self.paths if path.how.get("fill") == ink]


def drawn(shown: Charts) -> Recorder:
    pen = Recorder()
    draw_tracking(pen, Area(0.0, 300.0, 300.0, 300.0), shown, [shown])
    return pen


def level(target: float, guard: tuple[float, float] | None) -> LevelPoint:
    low, high = guard or (None, None)
    return LevelPoint(f"{target:g}", target, target, 0.9 * target, 1.1 * target, low, high)


def test_the_guard_band_lies_inside_the_limits() -> None:
    shown = Charts(levels=(level(10.0, (9.5, 10.5)), level(100.0, (92.0, 108.0))))
    pen = drawn(shown)
    guards, limits = pen.filled(INK.GUARD), pen.filled(INK.BAND)[2:]
    assert len(guards) == 4
    assert len(limits) == 2
    for at, limit in enumerate(limits):
        lower, upper = guards[2 * at], guards[2 * at + 1]
        bottom, top = limit.ends(1)
        assert lower.ends(1)[0] == pytest.approx(bottom)
        assert upper.ends(1)[1] == pytest.approx(top)
        share = (0.5, 0.2)[at]  # of half of the limits: 9 to 9.5 of 9 to 10, 90 to 92 of 90 to 100
        for band in (lower, upper):
            low, high = band.ends(1)
            assert (high - low) / (top - bottom) == pytest.approx(share / 2)
    edges = [path for path in pen.paths if path.how.get("dash") == (1.6, 1.2)]
    assert len(edges) == 4


def test_guard_bands_that_meet_leave_nothing_between() -> None:
    pen = drawn(Charts(levels=(level(10.0, (11.5, 8.5)), level(100.0, (115.0, 85.0)))))
    lower, upper, *_ = pen.filled(INK.GUARD)
    assert lower.ends(1)[1] == pytest.approx(upper.ends(1)[0])


def test_without_uncertainty_there_is_no_guard_band() -> None:
    pen = drawn(Charts(levels=(level(10.0, None), level(100.0, None))))
    assert not pen.filled(INK.GUARD)
    assert pen.filled(INK.BAND)


def enlarged(shown: Charts, *others: Charts) -> Recorder:
    pen = Recorder()
    draw_white(pen, LENS, shown, [shown, *others])
    return pen


def ellipse_of(pen: Recorder) -> list[Stroke]:
    return [path for path in pen.paths if path.how.get("dash") == (2, 1.3)]


def test_white_has_its_limit_and_its_ellipse() -> None:
    shown = charts(sure=1.5)
    pen = enlarged(shown)
    (limit,), (ellipse,) = pen.filled(INK.BAND), ellipse_of(pen)
    across = limit.ends(0)[1] - limit.ends(0)[0], ellipse.ends(0)[1] - ellipse.ends(0)[0]
    assert across[0] / across[1] == pytest.approx(0.0031 / 0.0015, rel=0.02)
    inset = (200 - 4 - 0.43 * 200, 200 - 4)
    for path in (limit, ellipse):
        assert inset[0] <= path.ends(0)[0] < path.ends(0)[1] <= inset[1]


def test_before_and_after_share_the_scale_of_the_enlarged_white() -> None:
    now, before = charts(sure=1.5), charts(6.0, sure=1.5)
    sizes = []
    for shown, other in ((now, before), (before, now)):
        low, high = enlarged(shown, other).filled(INK.BAND)[0].ends(0)
        sizes.append(high - low)
    assert sizes[0] == pytest.approx(sizes[1])
    alone = enlarged(now).filled(INK.BAND)[0].ends(0)
    assert alone[1] - alone[0] > sizes[0]


def test_without_uncertainty_white_has_no_ellipse() -> None:
    pen = enlarged(charts())
    assert not ellipse_of(pen)
    assert pen.filled(INK.BAND)
    bare = enlarged(replace(charts(), white_limit=()))
    assert not bare.filled(INK.BAND)


def test_keys_tell_of_what_is_there() -> None:
    notes = {plot.title: plot.key for plot in PLOTS}
    track, diagram = notes["Luminance tracking"], notes["Colours in the CIE 1976 u′v′ diagram"]
    sure, plain = charts(sure=1.5), charts()
    assert "Darker: guard band of 1.64\u00a0u inside them." in track(sure)
    assert "guard" not in track(plain)
    assert "dashed ellipse: holds the true white with 95\u00a0%" in diagram(sure)
    assert "ellipse" not in diagram(plain)
    assert "shaded: limit" in diagram(plain)
    assert "shaded" not in diagram(replace(plain, white_limit=()))
    assert "Inset" not in diagram(replace(plain, measured_white=None))
    assert "solid triangle" not in diagram(replace(plain, measured_triangle=None))


def test_the_sheet_carries_the_keys(sample: Sample, said: list[Said]) -> None:
    draw_sheet(sample("both"), signed=True)
    whole = everything(said)
    assert "guard band of 1.64 u inside them." in whole
    assert "holds the true white with 95 %" in whole
    assert "side: Δu′v′ 0.012" in whole


BARS = (
    DifferencePoint("grey 5 %", 0.2, 1.0, 1.6),
    DifferencePoint("grey 50 %", 1.4, 1.0, 1.5),
    DifferencePoint("grey 95 %", 0.4, 1.0, 0.5),
)


def bars(points: tuple[DifferencePoint, ...] = BARS, **more: Any) -> Charts:
    return Charts(differences=(Differences("greys", "Δu*v*", points, **more),))


def test_a_bar_over_its_limit_is_filled_dark_and_each_has_its_bound() -> None:
    shown, pen = bars(), Recorder()
    (plot,) = plots_of([shown])
    plot.draw(pen, Area(0.0, 200.0, 200.0, 200.0), shown, [shown])
    filled = [box for box in pen.boxes if box[2] in (INK.PLUM, INK.HAIR)]
    assert [box[2] == INK.PLUM for box in filled] == [False, True, False]
    base, unit = filled[0][0], filled[1][1] / 1.4
    assert [height / unit for _, height, _ in filled] == pytest.approx([0.2, 1.4, 0.4])
    upright = [(y0, y1) for x0, y0, x1, y1 in pen.lines if x0 == x1]
    assert [(y1 - base) / unit for _, y1 in upright] == pytest.approx([1.6, 1.5, 0.5])
    assert [(y0 - base) / unit for y0, _ in upright] == pytest.approx([0.2, 1.4, 0.4])
    level = {round((y0 - base) / unit, 6) for x0, y0, x1, y1 in pen.lines if x1 - x0 > 40}
    assert level == {1.0}


def test_the_key_of_the_bars_tells_of_what_is_there() -> None:
    def key(shown: Charts) -> str:
        (plot,) = plots_of([shown])
        return plot.key(shown)

    assert key(bars(from_white=True)) == (
        "From the measured white. Thick lines: limits. Thin lines: up to the 95\u00a0% bound. "
        "Filled dark: over the limit."
    )
    free = tuple(replace(bar, limit=None, bound=None) for bar in BARS)
    assert key(bars(free)) == "The rule sets no limit on this difference."


def test_pictures_before_and_after_are_of_the_same_differences() -> None:
    """Where one of the two has no greys to show, its place stays."""
    titles = [plot.title for plot in plots_of([charts(), replace(charts(), differences=())])]
    assert titles[-2:] == ["Greys by patch: Δu*v*", "Colour differences by patch"]
    assert [plot.title for plot in plots_of([Charts()])] == []
