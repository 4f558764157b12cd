"""Page 1 says what decided the verdict, and the risk that this leaves.

The statements and their risks: ILAC-G8:09/2019, 4.2 and 5, and JCGM 106:2012, 8.3.3.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import pytest
from helpers.pdf_text import Said, everything, on_page

from compliance.model import Assessment, Reason, Remark, Texts
from compliance.model.stated import ENGINE
from compliance.sheet import draw_sheet

Sample = Callable[[str], Assessment]

GUARDED = (
    "Guarded acceptance: accepted only inside its limits by a guard band of 1.64 u (u: standard "
    "uncertainty), at a risk of at most 5 %, for each value taken alone."
)
SIMPLE = (
    "Simple acceptance: compared directly with the limits; uncertainty is shown. Each risk is "
    "that of one value taken alone."
)

SAID = {
    "unproven": (
        "Undecided",
        "the measurement uncertainty leaves 5 of the 11 requirements open.",
        "Measure again with less uncertainty, or adjust the slot away from the limits.",
        "6 of 11 met, 5 left open",
        "Left open",
        "Gamma 2.4 95 %: 1.0 to 2.0 2.4 ± 0.1 p = 76 %",
        "White chromaticity x +0.0012, y −0.0004 x ± 0.002, y ± 0.002 p = 94.996 %",
        GUARDED,
        "What is open lies inside as measured, but p is less than the 95 % asked for: it is shown "
        "neither to be met nor to be missed.",
        "Where p is missing, the measurement uncertainty is not known.",
        "open or not assessed",
    ),
    "near": (
        "Conditionally compliant",
        "5 of the 11 only conditionally, as the measurement uncertainty reaches across the limits "
        "of 4 and is not stated for 1.",
        "11 of 11 met, 5 of them conditionally",
        "Nearest their limits",
        "Grey balance 0.6 95 %: 1.0 to 2.0 at most 1 p = 92 %",
        SIMPLE,
        "The risk of accepting a value wrongly is here at most 24 %. For the others it is at most "
        "5 %.",
        "For one value the uncertainty is not known.",
    ),
    "split": (
        "Grey balance 0.61 95 %: at most 0.82 at most 1 p = 86 % The value is that of grey 5 %, "
        "nearest its limit "
        "(p > 99 %); p is that of grey 10 %, 0.04 (95 %: at most 1.33).",
    ),
    "doubtful": (
        "Not compliant",
        "does not meet 2 of the 11 requirements",
        "Outside limits",
        "Gamma 2.296 2.4 ± 0.1 p = 31 %",
        "Luminance tracking +12.41 % ± 5 % p < 1 %",
        "The risk of rejecting a value wrongly is p.",
        "p: probability that the true value lies inside.",
    ),
    "proven": (
        "Compliant",
        "11 of 11 met",
        GUARDED,
        "wrongly is at most 5 %.",
        "Nearest their limits",
    ),
    "proven-simply": (
        "Compliant",
        SIMPLE,
        "The risk of accepting a value wrongly is at most 5 %.",
    ),
    "guarded": (
        "Undecided",
        "the measurement uncertainty is not known, which leaves 11 of the 11 requirements open.",
        "State the meter's uncertainty in its file, then assess again.",
        "0 of 11 met, 11 left open",
        "They were judged without measurement uncertainty: inside as measured, which shows "
        "neither met nor missed.",
        "Also: ",
    ),
    "undecided": (
        "Undecided",
        "readings are missing for 1 of the 11 requirements.",
        "Not assessed",
        "12 readings missing: red 25 %, red 50 %, red 75 %, red 100 % and 8 more",
        "A requirement without readings is neither met nor missed, and leaves the verdict open.",
    ),
    "failing": (
        "Outside limits",
        "Gamma 2.21 2.4 ± 0.1",
        "All values were judged without measurement uncertainty.",
    ),
    "compliant": (
        "Simple acceptance: compared directly with the limits.",
        "Near a limit the risk of accepting one wrongly is 50 %.",
    ),
    "many": ("Also: ", "White luminance, field 42 (99.4 cd/m², limit 100 ± 5 cd/m²)."),
}


@pytest.mark.parametrize("name", sorted(SAID))
def test_page_1_says_what_decided_and_the_risk(sample: Sample, name: str, said: list[Said]) -> None:
    draw_sheet(sample(name), signed=True)
    front = on_page(said, 0)
    for words in SAID[name]:
        assert words in front, words


@pytest.mark.parametrize("name", ["compliant", "guarded", "one", "many"])
def test_without_uncertainty_no_probability_is_told(
    sample: Sample, name: str, said: list[Said]
) -> None:
    draw_sheet(sample(name), signed=True)
    front = on_page(said, 0)
    assert "p =" not in front
    assert "joint" not in front
    assert "compared directly with the limits." in front or "Guarded acceptance" in front
    assert "uncertainty is shown" not in front


def test_what_the_meter_cannot_tell_stays_open(sample: Sample, said: list[Said]) -> None:
    told = sample("undecided")
    findings = tuple(
        replace(row, reason=Reason.METER, missing=()) if row.missing else row
        for row in told.state.findings
    )
    state = replace(told.state, findings=findings, reason=Reason.METER)
    draw_sheet(replace(told, state=state), signed=True)
    front = on_page(said, 0)
    for words in (
        "1 of the 11 requirements stay open; what they ask is beyond what the meter can tell.",
        "Measure again with a meter that reaches far enough.",
        "Hues and saturations beyond what the meter can tell",
        "A requirement that the meter cannot tell is neither met nor missed",
    ):
        assert words in front, words


@pytest.mark.parametrize("page", ["a4", "letter"])
@pytest.mark.parametrize("name", ["doubtful", "long-names"])
def test_a_poor_meter_and_a_past_certificate_stand_on_page_1(
    sample: Sample, name: str, page: str, said: list[Said]
) -> None:
    told = sample(name)
    serious = sample("doubtful").state.remarks
    state = replace(told.state, remarks=(*told.state.remarks, *serious))
    draw_sheet(replace(told, state=state), page=page, signed=True)
    front = on_page(said, 0)
    assert "The certificate of meter spot-1 was due on 2026-03-02." in front
    assert "on an inadequate meter: White luminance; Black luminance;" in front
    assert "and 5 more, on the following pages." in front
    later = everything([line for line in said if line.page > 0])
    assert "Grey balance; Gamma; Luminance tracking; Primaries; White chromaticity." in later


def test_only_a_compliant_slot_is_valid_until_a_day(sample: Sample, said: list[Said]) -> None:
    draw_sheet(sample("proven"), signed=True)
    assert "Valid until" in on_page(said, 0)
    for name in ("unproven", "failing", "undecided"):
        said.clear()
        draw_sheet(sample(name), signed=True)
        assert "Valid until" not in on_page(said, 0)


def test_of_many_the_remark_tells_a_sheet_that_has_but_one(
    sample: Sample, said: list[Said]
) -> None:
    told = sample("compliant")
    text = "The repeated white drifted by 0.3 % over the readings."
    remark = Remark("drift", Texts(text))
    state = replace(told.state, remarks=(remark,))
    draw_sheet(replace(told, state=state), signed=True)
    assert everything(said).count(text) == 1


def test_method_and_engine_are_told(sample: Sample, said: list[Said]) -> None:
    draw_sheet(sample("near"), signed=True)
    whole = everything(said)
    assert "propagated through all readings by Monte Carlo (JCGM 101)" in whole
    assert "20000" not in whole and "seed" not in whole
    assert f"Engine {ENGINE}" in whole
    said.clear()
    draw_sheet(sample("compliant"), signed=True)
    assert "Uncertainty without measurement uncertainty" in everything(said)


def test_the_joint_probability_is_printed_and_decides_nothing(
    sample: Sample, said: list[Said]
) -> None:
    draw_sheet(sample("near"), signed=True)
    whole = everything(said)
    assert "joint p = 97 %" in whole
    assert "the joint probability that all of them do, which decides nothing." in whole
    assert "the joint probability is printed for the reader, and decides nothing." in whole


def test_a_row_names_the_patch_that_the_probability_is_of(sample: Sample, said: list[Said]) -> None:
    """Value and probability are the least of all patches, each by itself: JCGM 106, 7.3."""
    draw_sheet(sample("split"), signed=True)
    later = everything([line for line in said if line.page > 0])
    told = (
        "at grey 5 % 95 %: at most 0.82 p > 99 % least sure at grey 10 % 0.04 95 %: at most "
        "1.33 p = 86 %"
    )
    assert told in later
    said.clear()
    draw_sheet(sample("near"), signed=True)
    assert "least sure at" not in everything(said)
