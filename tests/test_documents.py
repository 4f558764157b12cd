"""Documents and plain data: read back as they were written, and refused where they are none."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, date, datetime
from typing import Any

import pytest
from helpers import near_limit
from helpers.evidence_of_a_slot import assessment

from compliance.documents import read_document, statement, written
from compliance.model import Limits, Outcome, Pair, Value, Verdict
from compliance.plain_data import ShapeError, from_plain, to_plain

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


def test_texts_are_kept_as_they_are() -> None:
    document = near_limit.document(assessment())
    document["remarks"] = [{"kind": "other", "text": "Said by another version."}]
    document["findings"][0]["note"] = "noted by another version"
    stated = read_document(document)
    assert written(stated)["findings"][0]["note"] == "noted by another version"
    assert written(stated)["remarks"] == document["remarks"]


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


def test_keys_of_a_later_version_are_left_out() -> None:
    document = near_limit.document()
    later = {**document, "more": 1, "tool": {**document["tool"], "more": [2]}}
    assert read_document(later) == read_document(document)


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


@pytest.mark.parametrize("key", ["before", "calibration", "causes", "deviations", "disposition"])
def test_what_earlier_documents_lack_is_none(key: str) -> None:
    document = near_limit.document(assessment())
    del document[key]
    assert not getattr(read_document(document), key)
