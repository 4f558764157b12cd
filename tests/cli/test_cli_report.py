"""The text report: table, details, columns, encodings."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest
from helpers.near_limit import AGAIN, assessment, both

from compliance.cli._findings_text import report
from compliance.cli._terminal import width
from compliance.cli._text import Style
from compliance.model import (
    Assessment,
    Change,
    Interval,
    Level,
    Limits,
    NotJudged,
    Outcome,
    Reason,
    Remark,
    Requirement,
    Rule,
    Statement,
    Texts,
    Verdict,
)
from compliance.report.exports import Fault, Result

UTF = Style("utf-8")


def stated(text: str) -> Statement:
    return Statement("", Texts(text))


def failing(make):
    limits = Limits(-5, 5)
    points = (
        make.point("grey-10", 7.04, limits, Verdict.FAIL),
        make.point("grey-12", -12.3, limits, Verdict.FAIL, target=24.13),
        make.point("grey-13", 2.0, limits, Verdict.PASS),
    )
    return make.finding(
        "tracking",
        Verdict.FAIL,
        title="Tracking",
        quantity="luminance-error",
        unit="%",
        value=-12.3,
        limits=limits,
        points=points,
        clause="A document, 1.5.5",
        basis="digest",
    )


def results(make):
    broadcast = make.assessment(
        [make.finding("white-level", title="White luminance"), failing(make)],
        Outcome.NOT_COMPLIANT,
        remarks=(Remark("order", Texts("Row 7 was read before row 6's patch had settled.")),),
        before=make.state([failing(make)], Outcome.NOT_COMPLIANT),
    )
    web = make.assessment(
        [
            make.finding(
                "contrast",
                Verdict.NOT_ASSESSED,
                title="Contrast",
                value=None,
                reason=Reason.MISSING_READINGS,
                missing=("black", "white", "a", "b", "c", "d"),
            ),
            make.finding("corners", Verdict.NOT_ASSESSED, reason=Reason.NOT_APPLICABLE, value=None),
        ],
        Outcome.UNDECIDED,
        reason=Reason.MISSING_READINGS,
        slot="Grading 2",
        deliverable="web-srgb",
    )
    return [
        Result("1", "sdr-broadcast", broadcast),
        Result("Grading 2", "web-srgb", web),
        Result("3", "web-srgb", None, Fault(("slot.csv:3: X: 'a' is not a number",), 2)),
    ]


def test_the_report_as_a_whole(make):
    assert report(results(make), UTF, ["KX-7 · A film about kelp"]) == (
        "KX-7 · A film about kelp\n"
        "\n"
        "slot       sdr-broadcast     web-srgb\n"
        "1          ⊖ not compliant\n"
        "Grading 2                    ◌ undecided\n"
        "3                            ! error\n"
        "\n"
        "Slot 1 · sdr-broadcast, revision 3                               ⊖ not compliant\n"
        "  Slot 1, as measured, does not meet 1 of the 2 requirements of Master for\n"
        "  broadcast.\n"
        "  Measured 2026-11-20 15:10 UTC, number KX-7-1-sdr-broadcast-0a1b2c3d.\n"
        "  ⊖ fail  Tracking (tracking)\n"
        "    Luminance error −12.30 %; limit ± 5 %; worst at grey-12, target 24.13 cd/m²\n"
        "    also outside: grey-10 (+7.04 %)\n"
        "    A document, 1.5.5 (digest)\n"
        "  ◐ White luminance  100.0 cd/m²  100 ± 5 cd/m²\n"
        "  Remarks\n"
        "  · Row 7 was read before row 6's patch had settled.\n"
        "  Before calibration: ⊖ not compliant, 1 requirement outside\n"
        "\n"
        "Slot Grading 2 · web-srgb, revision 3                                ◌ undecided\n"
        "  Whether slot Grading 2 meets Master for broadcast cannot be said: readings are\n"
        "  missing for 1 of the 1 requirements.\n"
        "  Measured 2026-11-20 15:10 UTC, number KX-7-Grading 2-web-srgb-0a1b2c3d.\n"
        "  ◌ not assessed  Contrast (contrast)\n"
        "    missing: black; white; a; b and 2 more\n"
        "    basis: practice\n"
        "  – Corners: not for this kind of display\n"
    )


@pytest.mark.parametrize("encoding", ["ascii", "latin-1", "cp1252", "utf-8"])
def test_every_line_can_be_shown_and_fits(make, encoding):
    rows = results(make)
    rows.append(
        Result(
            "Großes Zimmer 映像 3",
            "a-house-rule-with-a-name-that-is-longer-than-most",
            make.assessment(
                [failing(make), make.finding("x" * 70, Verdict.FAIL, title="Δu′v′ ≤ ● " * 12)],
                Outcome.NOT_COMPLIANT,
                slot="Großes Zimmer 映像 3",
                deliverable="a-house-rule-with-a-name-that-is-longer-than-most",
            ),
        )
    )
    text = report(rows, Style(encoding))
    text.encode(encoding)
    assert max(map(width, text.splitlines())) <= 80


def test_ascii_says_the_same(make):
    text = report(results(make), Style("ascii"))
    assert "x fail  Tracking (tracking)" in text
    assert "Luminance error -12.30 %; limit +/- 5 %; worst at grey-12, target 24.13" in text
    assert "White luminance  100.0 cd/m2  100 +/- 5 cd/m2" in text


def test_a_passing_value_close_to_its_limit_can_be_told_from_it(make):
    row = make.finding("white", Verdict.PASS, value=104.99996, limits=Limits(95, 105))
    assert "104.99996 cd/m²" in report([Result("1", "r", make.assessment([row]))], UTF)


def test_worst_first_and_shall_before_should(make):
    rows = [
        make.finding("near", Verdict.CONDITIONAL_PASS),
        make.finding("soft", Verdict.FAIL, level=Level.SHOULD),
        make.finding("open", Verdict.NOT_ASSESSED, value=None, reason=Reason.METER),
        make.finding("out", Verdict.FAIL),
        make.finding("almost", Verdict.CONDITIONAL_FAIL),
    ]
    text = report([Result("1", "r", make.assessment(rows, Outcome.NOT_COMPLIANT))], UTF)
    order = ["(out)", "(almost)", "(open)", "(near)", "(soft)"]
    assert sorted(order, key=text.index) == order
    assert "⊖ fail (should)  Soft (soft)" in text
    assert "beyond what the meter can tell" in text


def test_patches_that_could_not_be_judged_are_told(make):
    left = tuple(
        NotJudged((0, 0, code), f"grey-{code}", "centre", 100, stated("too dark"))
        for code in range(6)
    )
    clipped = NotJudged((9, 9, 9), "red", "centre", 100, stated("out of reach"))
    rows = [
        make.finding("grey", Verdict.PASS, title="Greys", not_judged=left),
        make.finding("ramp", Verdict.PASS, title="Ramp", not_judged=left[:1]),
        make.finding("edge", Verdict.FAIL, title="Edge", not_judged=(clipped, left[0])),
        make.finding(
            "hues", Verdict.NOT_ASSESSED, value=None, reason=Reason.METER, not_judged=left
        ),
    ]
    text = report([Result("1", "r", make.assessment(rows, Outcome.UNDECIDED))], UTF)
    assert text.endswith(
        "  Not judged in part, out of reach: Edge (1 patch)\n"
        "  Not judged in part, too dark: Edge (1 patch); Greys (6 patches); Ramp (1\n"
        "    patch)\n"
    )
    assert "    not judged: grey-0; grey-1; grey-2; grey-3 and 2 more: too dark\n" in text


def test_many_deliverables_make_several_blocks(make):
    rows = [Result("1", f"deliverable-{n}", None, Fault(("x",), 2)) for n in range(9)]
    lines = report(rows, UTF).splitlines()
    assert [line.split() for line in lines if line.startswith("slot")] == [
        ["slot", "deliverable-0", "deliverable-1", "deliverable-2", "deliverable-3"],
        ["slot", "deliverable-4", "deliverable-5", "deliverable-6", "deliverable-7"],
        ["slot", "deliverable-8"],
    ]


def test_text_from_files_cannot_steer_the_terminal(make):
    rows = [make.finding("x", title="a\x1b[2Jb\nc\u202ed")]
    text = report([Result("\x1b]0;t\x07", "r", make.assessment(rows, slot="\x1b]0;t\x07"))], UTF)
    assert "\x1b" not in text
    assert "\u202e" not in text
    assert "a\\x1b[2Jb c\\u202ed" in text


def test_ink_repeats_what_the_words_say(make):
    plain = report(results(make), UTF)
    inked = report(results(make), Style("utf-8", colour=True))
    assert "\x1b[35m⊖ not compliant\x1b[0m" in inked
    import re

    assert re.sub(r"\x1b\[\d+m", "", inked) == plain


def test_a_conditional_verdict_wraps_in_its_column(make):
    row = make.finding("white", Verdict.CONDITIONAL_PASS)
    made = make.assessment([row], conditional=True)
    lines = report([Result("1", "sdr-broadcast", made)], UTF).splitlines()
    assert lines[1:3] == ["1     ◐ conditionally", "      compliant"]


def test_before_calibration_is_said_in_the_table(make):
    made = make.assessment([make.finding("white")], heading="before")
    lines = report([Result("1", "sdr-broadcast", made)], UTF).splitlines()
    assert lines[1:3] == ["1     ● compliant", "      before"]


def test_names_in_a_list_are_not_broken(make):
    limits = Limits(-5, 5)
    points = tuple(
        make.point(f"grey {n} % of all", 7.0, limits, Verdict.FAIL) for n in range(40, 46)
    )
    row = make.finding("x", Verdict.FAIL, value=7.0, limits=limits, points=points)
    lines = report([Result("1", "r", make.assessment([row], Outcome.NOT_COMPLIANT))], UTF)
    first = lines[lines.index("    also outside") :].splitlines()[0]
    told = "grey 41 % of all (7.00 cd/m²); grey 42 % of all (7.00 cd/m²);"
    assert first == f"    also outside: {told}"


def test_what_a_house_rule_departs_in_is_told(make):
    made = make.assessment([make.finding("white-level", title="White luminance")])
    assert "departs" not in report([Result("1", "river", made)], UTF)
    white = Requirement(
        "white-level", "White luminance", "luminance", Level.SHALL, "house", None, None
    )
    agreed = {"reason": "older panel", "agreed_by": "Ada Marsh", "date": date(2026, 11, 2)}
    changes = (
        Change("requirements.white-level", **agreed),
        Change("requirements.contrast", withdrawn=True, **agreed),
        Change("target", **agreed),
    )
    house = replace(
        made.rule, id="river", extends="sdr-broadcast@1", requirements=(white,), changes=changes
    )

    def by_rule(rule: Rule) -> Assessment:
        measurement = replace(made.measurement, rule=rule)
        return replace(made, state=replace(made.state, measurement=measurement))

    lines = report([Result("1", "river", by_rule(house))], UTF).splitlines()
    place = lines.index(
        "  House rule river departs from sdr-broadcast@1 in 3 points: White luminance;"
    )
    assert lines[place + 1] == "  requirements.contrast, withdrawn; target."
    one = report([Result("1", "river", by_rule(replace(house, changes=changes[:1])))], UTF)
    assert "departs from sdr-broadcast@1 in 1 point: White luminance.\n" in one


def test_the_patch_that_a_probability_is_of_is_told(make):
    limits, bound = Limits(maximum=1), Interval(0, 1.33, 0.95, 1)
    points = (
        make.point("grey 85 %", 0.37, limits, Verdict.PASS, probability=0.9996),
        make.point(
            "grey 25 %", 0.04, limits, Verdict.CONDITIONAL_PASS, probability=0.86, interval=bound
        ),
    )
    row = make.finding(
        "grey", Verdict.CONDITIONAL_PASS, value=0.37, limits=limits, quantity="delta-uv-star",
        unit="1", points=points, probability=0.86, interval=Interval(0, 0.62, 0.95, 1),
    )  # fmt: skip
    text = report([Result("1", "r", make.assessment([row], conditional=True))], UTF)
    assert (
        "    Chroma difference Δu*v* 0.37; limit at most 1; worst at grey 85 %, target\n"
        "    10.00 cd/m²; 95 %: at most 0.62; p > 99 % that it is inside\n"
        "    least sure at grey 25 %: 0.04; 95 %: at most 1.33; p = 86 % that it is\n"
        "    inside\n"
    ) in text


def test_what_of_the_failures_is_not_accepted_is_named():
    text = report([Result("1", "tiny", assessment(both()[:1], now=AGAIN))], UTF)
    assert "  Accepted by the client; not accepted: White\n" in text
    whole = report([Result("1", "tiny", assessment(both(), now=AGAIN))], UTF)
    assert "  Accepted with deviations; the verdict stays\n" in whole
    assert "not accepted" not in whole


def test_of_many_only_what_is_open_is_told(make) -> None:
    many = [
        replace(row, slot=f"{row.slot}-{number}") for number in range(6) for row in results(make)
    ]
    told = report(many, UTF)
    assert "\n  ◐ " not in told
    assert all(row.slot in told for row in many)
    assert told.splitlines()[-1].endswith("--slot NAME.")
    full = report(results(make), UTF)
    assert "\n  ◐ " in full and "--slot NAME" not in full
