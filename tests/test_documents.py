"""Documents and plain data: read back as they were written, and refused where they are none."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from helpers import near_limit
from helpers.evidence_of_a_slot import assessment
from pikepdf import Pdf

from compliance.documents import (
    assessment_document,
    read_document,
    read_part,
    statement,
    written,
)
from compliance.evidence.recompute import assess_again
from compliance.model import (
    TEXT_V1,
    Limits,
    NotCovered,
    Outcome,
    Pair,
    Remark,
    Statement,
    Value,
    Verdict,
)
from compliance.plain_data import ShapeError, digest, from_plain, to_plain
from compliance.report.explanation import explanation
from compliance.report.numbers import format_sheet_number
from compliance.report.words import (
    cause_next_step,
    cause_text,
    cause_title,
    evidence_text,
    note_text,
    remark_text,
)

GOLDEN = Path(__file__).parent / "golden" / "0.1.0"

Document = dict[str, Any]


def exactly(plain: Any) -> Any:
    """Plain data with the type of every number beside it: 1 is not 1.0 in a file."""
    if isinstance(plain, dict):
        return [(key, exactly(value)) for key, value in plain.items()]
    if isinstance(plain, list):
        return [exactly(value) for value in plain]
    return type(plain), plain


@pytest.mark.parametrize("made", [assessment, near_limit.assessment])
def test_a_document_comes_out_as_it_was_read(made: Callable[[], Any]) -> None:
    document = near_limit.document(made())
    stated = read_document(document)
    assert exactly(written(stated)) == exactly(document)
    assert stated.number == made().number
    assert stated.state.verdict is made().verdict


def golden(name: str) -> Document:
    """The document of version 1 in a sheet of release 0.1.0."""
    with Pdf.open(GOLDEN / name) as sheet:
        data: Document = json.loads(sheet.attachments["assessment.json"].get_file().read_bytes())
    return data


def test_a_document_of_version_1_keeps_its_sentences() -> None:
    document = golden("accepted.pdf")
    stated = read_document(document)
    assert document["causes"]
    assert document["remarks"]
    for cause, said in zip(stated.causes, document["causes"], strict=True):
        assert (cause.kind, cause.variant) == (TEXT_V1, said["kind"])
        words = cause_title(cause), cause_text(cause), cause_next_step(cause)
        assert words == (said["title"], said["text"], said["next_step"])
        shown = [evidence_text(each) for each in cause.evidence]
        assert shown == [each["what"] for each in said["evidence"]]
    for remark, said in zip(stated.state.remarks, document["remarks"], strict=True):
        assert (remark.variant, remark_text(remark)) == (said["kind"], said["text"])
    shown = [note_text(finding) for finding in stated.state.findings]
    assert shown == [finding["note"] for finding in document["findings"]]
    explained = explanation(stated)
    assert [each.kind for each in explained.causes] == [each["kind"] for each in document["causes"]]
    assert written(stated)["remarks"][0]["kind"] == TEXT_V1


def test_version_1_may_lack_late_keys_and_have_unknown_ones() -> None:
    document = golden("accepted.pdf")
    later = {**document, "more": 1, "tool": {**document["tool"], "more": [2]}}
    assert read_document(later) == read_document(document)
    for key in ("before", "calibration", "causes", "deviations", "disposition"):
        assert not getattr(read_document({k: v for k, v in document.items() if k != key}), key)
    with pytest.raises(ShapeError, match=r"^rule\.title: missing$"):
        title = {key: value for key, value in document["rule"].items() if key != "title"}
        read_document({**document, "rule": title})


STATEMENT = Statement("why", {"at": (1, 2.5, "x", None)}, "odd")


@pytest.mark.parametrize(
    ("fact", "plain"),
    [
        (3, 3),
        (3.25, 3.25),
        (True, True),
        ("name", "name"),
        (None, None),
        (Verdict.PASS, "pass"),
        (np.float64(0.5), 0.5),
        (np.int64(7), 7),
        (date(2026, 11, 20), "2026-11-20"),
        ((1, (2, 3)), [1, [2, 3]]),
        (STATEMENT, {"kind": "why", "variant": "odd", "facts": {"at": [1, 2.5, "x", None]}}),
    ],
)
def test_facts_are_stored_as_they_are(fact: Any, plain: Any) -> None:
    data = written(Remark("drift", {"fact": fact}))
    assert exactly(data) == exactly({"kind": "drift", "variant": None, "facts": {"fact": plain}})
    again = read_part(data, Remark)
    assert exactly(written(again)) == exactly(data)
    assert isinstance(fact, date) or again.facts == {"fact": fact}


def test_what_is_no_fact_is_not_stored() -> None:
    with pytest.raises(TypeError, match="a fact of type dict"):
        written(Remark("drift", {"fact": {}}))  # type: ignore[dict-item]


def test_no_sentence_is_stored() -> None:
    """What the documents of the demo say in words is in none of their texts."""
    with Pdf.open(GOLDEN / "accepted.pdf") as sheet:
        files = {name: part.get_file().read_bytes() for name, part in sheet.attachments.items()}
    made = assess_again(files)
    text = json.dumps(assessment_document(made), ensure_ascii=False)
    said = [remark_text(remark) for remark in made.state.remarks]
    said += [part(cause) for cause in made.state.causes for part in (cause_text, cause_next_step)]
    assert len(said) > 3
    assert not [each for each in said if each in text]
    again = read_document(json.loads(text)).state.remarks
    assert [remark_text(remark) for remark in again] == said[: len(again)]


@pytest.mark.parametrize(
    ("kind", "facts"), [("unheard-of", {}), ("drift", {}), ("drift", {"change": "a", "times": 3})]
)
def test_a_statement_without_words_is_refused(kind: str, facts: Document) -> None:
    document = near_limit.document()
    document["remarks"] = [{"kind": kind, "variant": None, "facts": facts}]
    with pytest.raises(ShapeError, match=f"^remarks: this version has no words for .*{kind}"):
        read_document(document)


def test_what_an_assessment_states_is_what_its_document_says() -> None:
    made = assessment()
    assert written(statement(made)) == near_limit.document(made)
    assert statement(made).state.verdict is Outcome.COMPLIANT


@pytest.mark.parametrize(
    ("path", "value"),
    [
        (("rule",), None),
        (("rule", "title"), 7),
        (("rule", "revision"), 1.5),
        (("seed",), True),
        (("assessed",), 7),
        (("assessed",), "yesterday"),
        (("conditional",), "no"),
        (("verdict",), "excellent"),
        (("findings",), {}),
        (("findings",), "abc"),
        (("findings", 0), []),
        (("findings", 0, "verdict"), "excellent"),
        (("findings", 0, "value"), "112.5"),
        (("findings", 0, "value"), [1.0]),
        (("findings", 0, "value"), 10**400),
        (("findings", 0, "limits"), []),
        (("findings", 0, "missing"), "white"),
        (("before",), []),
        (("deviations",), 7),
    ],
)
def test_another_shape_is_refused(path: tuple[str | int, ...], value: Any) -> None:
    document = near_limit.document()
    part: Any = document
    for key in path[:-1]:
        part = part[key]
    part[path[-1]] = value
    with pytest.raises(ShapeError):
        read_document(document)


@pytest.mark.parametrize("key", ["number", "rule", "findings", "verdict", "tool"])
def test_a_missing_key_is_named(key: str) -> None:
    document = near_limit.document()
    del document[key]
    with pytest.raises(ShapeError, match=f"^{key}: missing$"):
        read_document(document)


@pytest.mark.parametrize(
    ("path", "value", "message"),
    [
        ((), [], "the document: found '[]'; expected type object"),
        (("draws",), -1, "draws: found '-1'; expected minimum 0"),
        (("rule", "title"), 7, "rule.title: found '7'; expected type string"),
        (("verdict",), "excellent", "verdict: found 'excellent'; expected enum [compliant, "),
        (("rule", "digest"), "0", "rule.digest: found '0'; expected pattern ^[0-9a-f]{64}$"),
        (("findings", 0, "value"), "1", "findings[0].value: found '1'; expected another form"),
        (("findings", 0, "limits"), {}, "findings[0].limits.box: missing"),
    ],
)
def test_what_breaks_the_schema_is_named_with_its_place(
    path: tuple[str | int, ...], value: Any, message: str
) -> None:
    document = near_limit.document()
    part: Any = {"document": document}
    for key in ("document", *path)[:-1]:
        part = part[key]
    part[("document", *path)[-1]] = value
    with pytest.raises(ShapeError) as failure:
        read_document(document if path else value)
    assert str(failure.value).startswith(message)


def test_a_document_that_nests_without_end_is_refused() -> None:
    deep: list[Any] = []
    for _ in range(100_000):
        deep = [deep]
    with pytest.raises(ShapeError, match="is nested too deeply"):
        read_document({**near_limit.document(), "seed": deep})


@pytest.mark.parametrize("place", [(), ("tool",), ("findings", 0)])
def test_an_unknown_key_is_refused(place: tuple[str | int, ...]) -> None:
    document = near_limit.document()
    part: Any = document
    for key in place:
        part = part[key]
    part["more"] = 1
    with pytest.raises(ShapeError, match=r"more: unknown key$"):
        read_document(document)


@pytest.mark.parametrize("data", [None, 7, "text", [], {}])
def test_no_document_is_refused(data: Any) -> None:
    with pytest.raises(ShapeError):
        read_document(data)


@pytest.mark.parametrize(
    ("model", "plain"),
    [
        (Verdict.PASS, "pass"),
        (datetime(2026, 11, 20, 16, tzinfo=UTC), "2026-11-20T16:00:00Z"),
        (date(2026, 11, 20), "2026-11-20"),
        ((0.3, 0.4), [0.3, 0.4]),
        ({"at": (date(2026, 11, 20), None)}, {"at": ["2026-11-20", None]}),
        (
            Limits(box=(0.1, 0.2)),
            {"min": None, "max": None, "nominal": None, "box": [0.1, 0.2], "exclusive": False},
        ),
    ],
)
def test_model_data_as_plain_data(model: Any, plain: Any) -> None:
    assert exactly(to_plain(model)) == exactly(plain)


def test_plain_data_as_model_data() -> None:
    assert from_plain([1, 2.5], Value) == (1.0, 2.5)
    assert from_plain(3, Value) == 3.0
    assert from_plain([0.3, 0.4], Pair) == (0.3, 0.4)
    assert from_plain({"max": 5, "odd": 1}, Limits) == Limits(maximum=5.0)
    assert type(from_plain({"max": 5}, Limits).maximum) is float


@pytest.mark.parametrize(
    "path",
    [
        ("value",),
        ("limits",),
        ("points",),
        ("not_judged",),
        ("probability",),
        ("limits", "max"),
        ("points", 0, "interval"),
    ],
)
def test_a_finding_that_states_less_is_refused(path: tuple[str | int, ...]) -> None:
    """A limit that is left out is not a limit that there is none of."""
    document = near_limit.document(assessment())
    place: Any = document["findings"][0]
    for key in path[:-1]:
        place = place[key]
    del place[path[-1]]
    with pytest.raises(ShapeError, match=str(path[-1])):
        read_document(document)


def test_what_a_rule_does_not_cover_is_stated() -> None:
    """With the texts of the rule's file; a document of version 1 states none."""
    made = assessment()
    entry = NotCovered("EBU Tech 3320 v4.1, 1.5.6", "15 test colours", "codes not at hand")
    measurement = replace(made.measurement, rule=replace(made.rule, not_covered=(entry,)))
    document = near_limit.document(
        replace(made, state=replace(made.state, measurement=measurement))
    )
    assert document["rule"]["not_covered"] == [
        {
            "clause": "EBU Tech 3320 v4.1, 1.5.6",
            "what": "15 test colours",
            "why": "codes not at hand",
        }
    ]
    assert read_document(document).rule.not_covered == (entry,)
    assert read_document(golden("accepted.pdf")).rule.not_covered == ()
    del document["rule"]["not_covered"]
    with pytest.raises(ShapeError, match=r"^rule\.not_covered: missing$"):
        read_document(document)


@pytest.mark.parametrize("key", ["before", "calibration", "causes", "deviations", "disposition"])
def test_nothing_may_be_left_out(key: str) -> None:
    document = near_limit.document(assessment())
    del document[key]
    with pytest.raises(ShapeError, match=f"^{key}: missing$"):
        read_document(document)


def test_the_number_has_32_digits_of_the_rest() -> None:
    document = near_limit.document()
    number = document.pop("number")
    assert number.rpartition("-")[2] == digest(document)[:32]
    assert format_sheet_number("J-1-web-0a1b2c3d") == "J-1-web-0a1b2c3d"
    assert format_sheet_number(f"J-1-web-{'0a1b' * 8}") == "J-1-web-" + " ".join(["0a1b"] * 8)
