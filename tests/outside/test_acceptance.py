"""Good displays pass and bad ones do not, on a small budget; with LONG_TESTS=1 the bars.

`python -m outside.acceptance` and `python -m outside.bad` print the figures and the gaps.
"""

from __future__ import annotations

import os

import numpy as np
import pytest

from outside import acceptance, bad, kinds, right
from outside.qualities import Values, frame_of
from outside.rulebook import SPECS

LONG = os.environ.get("LONG_TESTS") == "1"
RULES = sorted(file.stem for file in SPECS.glob("*.yaml"))
FEW = ["hdr-pq-1000", "sdr-broadcast", "web-srgb"]


@pytest.mark.parametrize("rule", FEW)
def test_best_panels_are_inside(rule: str) -> None:
    """The best panel of each kind is inside every shall limit, so that good ones can be drawn."""
    book = acceptance.book_of(rule)
    able = [kind for kind in kinds.KINDS if kinds.skipped(book, kind) is None]
    assert len(able) >= 3
    for kind in able:
        true = kinds.best(book, kind).shown(book)
        values = Values.of(book, true, frame_of(book, true))
        for requirement in book.requirements:
            if requirement.shall and book.applies(requirement, kind.technology):
                assert values.points(requirement).margins().min() > 0, (kind.name, requirement.id)


@pytest.mark.parametrize("rule", FEW)
def test_good_displays_pass(rule: str) -> None:
    """A few good displays of each kind, read by a reference meter: no finding fails."""
    outcome = acceptance.simulate(rule, "reference", 4, draws=200)
    assert outcome.counts.sets == 4 and not outcome.impossible
    assert not outcome.counts.failed
    assert outcome.counts.not_compliant <= 0.25
    assert outcome.counts.undecided == 0


@pytest.mark.parametrize(
    ("rule", "faults"),
    [
        ("sdr-broadcast", ["white tint 45", "gamma high", "leak"]),
        ("web-srgb", ["grey tint 1", "gamma low", "green to white"]),
        ("hdr-pq-1000", ["white low", "dark greys high", "blue to white"]),
    ],
)
def test_bad_displays_do_not_pass(rule: str, faults: list[str]) -> None:
    """Displays with one fault, outside a shall limit by 2U: none is compliant."""
    report = bad.judged(rule, "reference", faults, draws=200)
    assert report.graded == len(faults)
    assert not report.accepted and not report.gaps


def test_right_displays_are_right() -> None:
    """A white near its own limit, an added black, a blue leak: no other limit is missed."""
    book = acceptance.book_of("sdr-broadcast")
    assert len(list(right.displays(book))) >= 20
    assert not right.missed(book)


def test_a_white_beyond_its_limit_is_no_right_display() -> None:
    """What stands at the limit is the white's colour alone, and it is there."""
    book = acceptance.book_of("sdr-broadcast")
    panel = kinds.best(book, kinds.KINDS[1])
    moved = right.near_the_limit(book, panel, kinds.KINDS[1], 0.0)
    assert 0.9 < right.used(book, moved, kinds.KINDS[1])["white-point"] <= 0.98
    assert right.used(book, panel, kinds.KINDS[1])["white-point"] < 0.05


def test_a_fault_that_no_limit_sees_is_a_gap() -> None:
    """What no shall limit sees at its largest size is told from what one sees."""
    case = acceptance.Case(
        acceptance.book_of("sdr-broadcast"), acceptance.REFERENCE, kinds.KINDS[0]
    )
    panel, needs = kinds.best(case.book, case.kind), case.needs()
    nothing = bad.Family("nothing", lambda panel, size: panel, "none")
    assert bad.driven(case, panel, nothing, needs) is None
    dark = bad.Family("dark", bad.wrong_level(0.6), "× .6")
    found = bad.driven(case, panel, dark, needs)
    assert found is not None and found[2]["white-level"] >= 2
    assert "white-level" in bad.nearest(case, found[0], needs, None)


def test_chance_is_allowed_for() -> None:
    """A bar is missed only beyond three standard errors."""
    counts = acceptance.Counts(sets=20, findings=200)
    counts.outside_but_held = 2
    assert not counts.missed()
    counts.outside_but_held = 12
    assert counts.missed() == ["12 of 20 not compliant"]
    counts.failed["tracking"] = 9
    assert len(counts.missed()) == 2
    counts.held.add("tracking")
    assert len(counts.missed()) == 1
    assert np.isclose(counts.fail_share, 0.045)


if LONG:

    @pytest.mark.parametrize("meter", sorted(acceptance.METERS))
    @pytest.mark.parametrize("rule", RULES)
    def test_bars(rule: str, meter: str) -> None:
        """Over 300 good displays: findings that fail, assessments that are not compliant."""
        outcome = acceptance.simulate(rule, meter, 300)
        assert not outcome.counts.missed() and not outcome.impossible

    @pytest.mark.parametrize("rule", sorted(set(RULES) - {"cinema-review-room"}))
    def test_no_right_display_fails(rule: str) -> None:
        """The review room apart: its steps and primaries are absolute by clause, so that a white
        near the ends of its own limits misses them (DCI CTP 1.4, 7.5.11 and 7.5.12)."""
        assert not right.missed(acceptance.book_of(rule))

    @pytest.mark.parametrize("rule", RULES)
    def test_no_bad_display_passes(rule: str) -> None:
        """Every family of faults that a shall limit sees."""
        report = bad.judged(rule, "reference")
        assert report.graded >= 15 and not report.accepted
