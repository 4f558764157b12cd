"""Sheets as pictures: a browser's viewer (PDFium) and poppler show the same, in colour and grey."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import pikepdf
import pytest
from helpers import seven_scripts
from helpers.browser import Browser, Picture, browser, picture
from helpers.signing import SIGNED, run, tool
from numpy.typing import NDArray

from compliance.model import Assessment, Verdict
from compliance.pictures.canvas import INK
from compliance.pictures.pdf_canvas import PdfCanvas
from compliance.sheet import draw_sheet
from compliance.sheet.elements import draw_mark

Sample = Callable[[str], Assessment]

SHOWN = (("failing", "a4"), ("compliant", "a4"), ("doubtful", "letter"))
PAGES = {"a4": (210 / 25.4, 297 / 25.4), "letter": (8.5, 11.0)}
"""Width and height in inches: ISO 216, ANSI/ASME Y14.1."""
DARK, GREYISH = 0.5, 0.85
"""Luma below which there is surely ink, and below which there may be some."""
NEAR = 2
"""Pixels within which ink of one picture must be found in the other."""
LONELY = 6
"""Pixels of ink of a page that need not be found: edges are smoothed differently."""


@pytest.fixture(scope="module")
def viewer(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Browser]:
    with browser(tmp_path_factory.mktemp("profile")) as one:
        yield one


@pytest.fixture(scope="module")
def sheet(sample: Sample, tmp_path_factory: pytest.TempPathFactory) -> Callable[[str, str], Path]:
    """The file of an invented assessment's sheet, by name and page size."""
    folder = tmp_path_factory.mktemp("sheets")

    def path(name: str, size: str) -> Path:
        found = folder / f"{name}-{size}.pdf"
        if not found.exists():
            found.write_bytes(draw_sheet(sample(name), page=size, signed=False).pdf)
        return found

    return path


def poppler(path: Path, number: int, size: tuple[int, int], *how: str) -> Picture:
    """A page by poppler, at a size of (width, height) pixels."""
    out = path.with_name(f"{path.stem}-{number}-{size[0]}{''.join(how)}")
    scale = ("-scale-to-x", str(size[0]), "-scale-to-y", str(size[1]))
    one = ("-f", str(number), "-l", str(number), "-singlefile")
    done = run([tool("pdftoppm"), "-png", *how, *scale, *one, path, out])
    assert done.returncode == 0, done.stderr
    assert not done.stderr.strip(), done.stderr
    return picture(Path(f"{out}.png").read_bytes())


def grey(image: Picture) -> Picture:
    """(height, width) luma of Recommendation ITU-R BT.601."""
    return np.asarray(image @ (0.299, 0.587, 0.114))


def near(ink: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Ink, grown by `NEAR` pixels every way."""
    grown = np.zeros_like(ink)
    wide = np.pad(ink, NEAR)
    high, width = ink.shape
    for down, right in itertools.product(range(2 * NEAR + 1), repeat=2):
        grown |= wide[down : down + high, right : right + width]
    return grown


def lonely(one: Picture, other: Picture) -> int:
    """Pixels with ink in one of two pictures and none near them in the other."""
    first, second = grey(one), grey(other)
    missing = (first < DARK) & ~near(second < GREYISH)
    added = (second < DARK) & ~near(first < GREYISH)
    return int(missing.sum() + added.sum())


def count(path: Path) -> int:
    with pikepdf.open(path) as pdf:
        return len(pdf.pages)


@pytest.mark.parametrize(("name", "size"), SHOWN)
def test_a_browser_shows_what_poppler_shows(
    viewer: Browser, sheet: Callable[[str, str], Path], name: str, size: str
) -> None:
    path = sheet(name, size)
    wide, high = PAGES[size]
    for number in range(1, count(path) + 1):
        seen = viewer.page(path, number)
        assert seen.shape[0] / seen.shape[1] == pytest.approx(high / wide, rel=0.004)
        drawn = poppler(path, number, (seen.shape[1], seen.shape[0]))
        assert (grey(drawn) < DARK).sum() > 1000
        assert lonely(seen, drawn) <= LONELY, f"page {number}"


def test_a_browser_shows_letters_of_seven_scripts(viewer: Browser, tmp_path: Path) -> None:
    """In a file that can be read aloud, whose letters are of other faces."""
    seven_scripts.require_faces()
    path = tmp_path / "seven.pdf"
    path.write_bytes(seven_scripts.sheet())
    seen = viewer.page(path, 1)
    drawn = poppler(path, 1, (seen.shape[1], seen.shape[0]))
    assert lonely(seen, drawn) <= LONELY


def test_a_browser_shows_both_signatures(viewer: Browser, root: Path, tmp_path: Path) -> None:
    """The pictures of signatures are annotations: each kind of reader draws those its own way."""
    path = tmp_path / "countersigned.pdf"
    path.write_bytes((root / "tests/golden/0.1.0/countersigned.pdf").read_bytes())
    seen = viewer.page(path, 1)
    drawn = poppler(path, 1, (seen.shape[1], seen.shape[0]))
    assert lonely(seen, drawn) <= LONELY
    bare = without_signatures(path)
    drawn = poppler(bare, 1, (seen.shape[1], seen.shape[0]))
    assert lonely(seen, drawn) > 500


def without_signatures(path: Path) -> Path:
    """The file with page 1's annotations taken off."""
    bare = path.with_name("bare.pdf")
    with pikepdf.open(path) as pdf:
        del pdf.pages[0]["/Annots"]
        pdf.save(bare)
    return bare


def lettered(ink: NDArray[np.bool_], share: float) -> tuple[int, int]:
    """Top and left of 18 by 18 pixels with letters, not a thin line, so far down the page's ink."""
    rows, columns = np.nonzero(ink)
    for at in range(int(share * (len(rows) - 1)), -1, -1):
        top, left = max(0, int(rows[at]) - 9), max(0, int(columns[at]) - 9)
        if 40 < ink[top : top + 18, left : left + 18].sum() < 160:
            return top, left
    raise AssertionError("no letters on the page")


def test_the_comparison_sees_a_word_that_is_not_there(
    viewer: Browser, sheet: Callable[[str, str], Path]
) -> None:
    """A few letters are blanked in one of the pictures, of either kind of reader."""
    path = sheet("failing", "a4")
    seen = viewer.page(path, 1)
    drawn = poppler(path, 1, (seen.shape[1], seen.shape[0]))
    for share in (0.3, 0.6, 0.97):
        top, left = lettered((grey(drawn) < DARK) & (grey(seen) < DARK), share)
        blank = drawn.copy()
        blank[top : top + 18, left : left + 18] = 1
        assert lonely(seen, blank) > 2 * LONELY
        assert lonely(blank, seen) > 2 * LONELY


@pytest.mark.parametrize("size", PAGES)
def test_grey_is_what_colour_is_without_its_colour(
    sheet: Callable[[str, str], Path], size: str
) -> None:
    """Nothing goes on a printer of greys: ink in colour is at least half as dark in grey."""
    path = sheet("doubtful", size)
    for number in range(1, count(path) + 1):
        shape = (830, round(830 * PAGES[size][1] / PAGES[size][0]))
        coloured = poppler(path, number, shape)
        plain = poppler(path, number, shape, "-gray")[..., 0]
        assert (plain < 0.97).sum() > 1000
        darkest = 1 - coloured.min(axis=2)
        assert np.all(1 - plain > 0.5 * darkest - 0.15)


def luminance(ink: tuple[float, float, float]) -> float:
    """Relative luminance (Web Content Accessibility Guidelines 2.2, its definition)."""
    linear = (v / 12.92 if v <= 0.04045 else ((v + 0.055) / 1.055) ** 2.4 for v in ink)
    red, green, blue = linear
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


@pytest.mark.parametrize("name", ["TEXT", "QUIET", "TEAL", "PLUM", "GREY"])
def test_print_has_the_contrast_of_readable_text(name: str) -> None:
    """4.5 : 1 (Web Content Accessibility Guidelines 2.2, success criterion 1.4.3)."""
    assert 1.05 / (luminance(getattr(INK, name)) + 0.05) >= 4.5


def marks(folder: Path) -> dict[Verdict, Picture]:
    """(200, 200) of each mark, 1 where there is ink of whatever colour."""
    found = {}
    for verdict in Verdict:
        path = folder / f"{verdict.name}.pdf"
        canvas = PdfCanvas(24, 24, created=SIGNED)
        draw_mark(canvas, 12, 12, 10, verdict)
        canvas.end_page()
        path.write_bytes(canvas.finish())
        found[verdict] = (grey(poppler(path, 1, (200, 200), "-gray")) < 0.8).astype(np.float64)
    return found


def test_marks_are_told_apart_without_colour(tmp_path: Path) -> None:
    """By shape alone: any two differ on a tenth of the mark's disc."""
    disc = np.pi * (10 / 24 * 200) ** 2
    for (one, first), (other, second) in itertools.combinations(marks(tmp_path).items(), 2):
        assert np.abs(first - second).sum() > 0.1 * disc, (one, other)
