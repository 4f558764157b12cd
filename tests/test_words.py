"""Facts and their words: every kind that code makes has words, and no words are without a kind."""

from __future__ import annotations

import ast
from collections.abc import Iterator, Sequence
from pathlib import Path

from compliance.diagnosis import diagnose
from compliance.grading.deviation_check import Lapse
from compliance.model import Cause, Remark, Texts
from compliance.report.words import cause_next_step, cause_text, cause_title, en, remark_text

PACKAGE = Path(__file__).resolve().parent.parent / "compliance"
PARTS = ("diagnosis", "remarks", "grading", "planning")
"""Parts that make statements, and have no words for them."""


def calls(part: str, *names: str) -> Iterator[ast.Call]:
    """The calls of some functions in a part of the package."""
    for file in sorted((PACKAGE / part).glob("*.py")):
        for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and getattr(node.func, "id", None) in names:
                yield node


def texts(node: ast.expr) -> list[str]:
    """What an argument may be: one text, or either of two."""
    if isinstance(node, ast.IfExp):
        return texts(node.body) + texts(node.orelse)
    return [node.value] if isinstance(node, ast.Constant) and isinstance(node.value, str) else []


def variants(call: ast.Call) -> list[str]:
    named = [word.value for word in call.keywords if word.arg == "variant"]
    return [text for node in (*named, *call.args[2:3]) for text in texts(node)]


def kinds(*names: str, parts: Sequence[str] = PARTS) -> set[str]:
    """Kinds, with their variants, of the statements that code makes with some functions."""
    return {
        f"{kind}.{variant}" if variant else kind
        for part in parts
        for call in calls(part, *names)
        for kind in texts(call.args[0])
        for variant in variants(call) or [""]
    }


def test_every_remark_has_its_words() -> None:
    lapsed = {f"deviation-lapsed.{why}" for why in Lapse}
    assert kinds("Remark") - {"deviation-lapsed"} | lapsed == set(en.REMARKS)
    assert set(en.SHORT_REMARKS) < set(en.REMARKS)


def test_every_reason_has_its_words() -> None:
    assert kinds("Statement") == set(en.REASONS)


def test_every_step_has_its_words() -> None:
    """Faults that were worded where they were found have none of their own."""
    made = kinds("Statement", parts=("verification", "delivery"))
    assert made - {"fault"} == set(en.STEPS)
    assert not set(en.STEPS) & set(en.REASONS)


def test_every_number_of_a_cause_has_its_words() -> None:
    made = {kind for call in calls("diagnosis", "number") for kind in texts(call.args[0])}
    assert made == set(en.EVIDENCE)


def test_every_cause_has_its_words() -> None:
    assert {key.split(".")[0] for key in en.CAUSES} == set(diagnose.CAUSES)
    options = {
        f"{cause.value}.{variant}"
        for call in calls("diagnosis", "Option")
        for cause in call.args[:1]
        if isinstance(cause, ast.Constant)
        for variant in texts(call.args[1])
    }
    fitted = {text for call in calls("diagnosis", "fitted_cause") for text in variants(call)}
    direct = kinds("Cause")
    for key in en.CAUSES:
        variant = key.partition(".")[2]
        assert not variant or variant in fitted or key in options | direct, key
    worded = {key.partition(".")[2] for key in en.CAUSES}
    assert fitted <= worded and direct <= set(en.CAUSES)


def test_no_sentence_stands_beside_facts() -> None:
    """Parts that make facts hold no text of several words but those of errors and docstrings."""
    for name in ("diagnosis", "remarks", "planning"):
        for file in (PACKAGE / name).glob("*.py"):
            nodes = list(ast.walk(ast.parse(file.read_text(encoding="utf-8"))))
            apart = [node for node in nodes if isinstance(node, ast.Raise | ast.Expr)]
            left_out = {inner for node in apart for inner in ast.walk(node)}
            for node in nodes:
                if isinstance(node, ast.Constant) and node not in left_out:
                    said = str(node.value)
                    assert said.count(" ") < 3 or file.name in WITH_WORDS, (file.name, said)


WITH_WORDS = ("diagnose.py",)
"""`CAUSES` says what each cause is about."""


def test_title_and_text_of_a_gain_agree() -> None:
    """8 % too strong is 108 % of the light, not 110 %."""
    for share, title, text in ((0.079, "7.9", "108"), (-0.21, "21", "79")):
        cause = Cause("gain", {"channel": "red", "share": share})
        assert f"{title}\u00a0%" in cause_title(cause)
        assert f"{text}\u00a0% of the light" in cause_text(cause)


def test_texts_of_a_document_stay_as_they_are() -> None:
    assert remark_text(Remark("floor", Texts("As it was."))) == "As it was."
    cause = Cause("drift", Texts("How it shows.", "What it is", "What to do."))
    assert (cause_title(cause), cause_text(cause), cause_next_step(cause)) == (
        "What it is",
        "How it shows.",
        "What to do.",
    )
