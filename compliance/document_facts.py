"""Remarks, causes, notes and reasons in an assessment document: kind and facts, without sentences.

A document of version 1 has sentences in their place; read, they are statements of the kind
`text-v1`, which keep the sentences.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import fields
from datetime import date
from numbers import Integral, Real
from typing import Any, TypeVar

from cattrs import Converter

from compliance.model import (
    TEXT_V1,
    Cause,
    Evidence,
    Explained,
    Fact,
    Facts,
    Fit,
    Remark,
    Statement,
    Texts,
)

S = TypeVar("S", bound=Statement)


def register_facts(converter: Converter) -> None:
    """Make a converter read and write statements as documents of version 2 have them."""
    for kind in (Statement, Remark):
        converter.register_unstructure_hook(kind, _written)
        converter.register_structure_hook(kind, lambda data, to: to(**_read(data)))
    converter.register_unstructure_hook(Evidence, _written_evidence)
    converter.register_structure_hook(Evidence, lambda data, _: _evidence(data))
    converter.register_unstructure_hook(
        Cause, lambda cause: {**_written(cause), **_of_cause(cause, converter)}
    )
    converter.register_structure_hook(Cause, lambda data, _: _cause(data, converter))


def register_texts(converter: Converter) -> None:
    """Make a converter read the sentences of documents of version 1."""
    converter.register_structure_hook(Statement, lambda data, _: _text(Statement, "", data))
    converter.register_structure_hook(
        Remark, lambda data, _: _text(Remark, data["kind"], data["text"])
    )
    converter.register_structure_hook(
        Evidence,
        lambda data, _: Evidence(TEXT_V1, float(data["value"]), data["unit"], Texts(data["what"])),
    )
    converter.register_structure_hook(Cause, lambda data, _: _cause_v1(data, converter))


# ---------------------------------------------------------------- written


def _written(statement: Statement) -> dict[str, Any]:
    kind, variant, facts = statement.kind, statement.variant, statement.facts
    if isinstance(facts, Texts) and kind != TEXT_V1:
        kind, variant = TEXT_V1, kind
    return {"kind": kind, "variant": variant or None, "facts": _written_facts(facts)}


def _written_facts(facts: Facts | Texts) -> dict[str, Any]:
    if isinstance(facts, Texts):
        texts = {field.name: getattr(facts, field.name) for field in fields(facts)}
        return {name: text for name, text in texts.items() if text}
    return {name: _written_fact(fact) for name, fact in facts.items()}


def _written_fact(fact: Fact) -> Any:
    """A fact as JSON: numbers of any library as Python's, dates as ISO 8601."""
    if fact is None or isinstance(fact, bool):
        return fact
    if isinstance(fact, str):
        return str(fact)
    if isinstance(fact, Integral):
        return int(fact)
    if isinstance(fact, Real):
        return float(fact)
    if isinstance(fact, date):
        return fact.isoformat()
    if isinstance(fact, Statement):
        return _written(fact)
    if not isinstance(fact, tuple | list):
        raise TypeError(f"a fact of type {type(fact).__name__}")
    return [_written_fact(each) for each in fact]


def _written_evidence(evidence: Evidence) -> dict[str, Any]:
    kind = TEXT_V1 if isinstance(evidence.facts, Texts) else evidence.kind
    facts = _written_facts(evidence.facts)
    return {"kind": kind, "value": evidence.value, "unit": evidence.unit, "facts": facts}


def _of_cause(cause: Cause, converter: Converter) -> dict[str, Any]:
    return {
        "rank": cause.rank,
        "explains": converter.unstructure(cause.explains),
        "share": cause.share,
        "evidence": list(map(_written_evidence, cause.evidence)),
        "fit": converter.unstructure(cause.fit),
    }


# ---------------------------------------------------------------- read


def _read(data: Mapping[str, Any]) -> dict[str, Any]:
    kind = data["kind"]
    return {"kind": kind, "variant": data["variant"] or "", "facts": _facts(kind, data["facts"])}


def _facts(kind: str, data: Mapping[str, Any]) -> Facts | Texts:
    return Texts(**data) if kind == TEXT_V1 else {name: _fact(each) for name, each in data.items()}


def _fact(data: Any) -> Fact:
    """A fact as it was written; a date stays the text of its day."""
    if isinstance(data, Mapping):
        return Statement(**_read(data))
    return tuple(map(_fact, data)) if isinstance(data, list | tuple) else data


def _evidence(data: Mapping[str, Any]) -> Evidence:
    kind = data["kind"]
    return Evidence(kind, float(data["value"]), data["unit"], _facts(kind, data["facts"]))


def _cause(data: Mapping[str, Any], converter: Converter) -> Cause:
    return Cause(
        **_read(data),
        rank=converter.structure(data["rank"], int),
        explains=converter.structure(data["explains"], tuple[Explained, ...]),
        share=converter.structure(data["share"], float | None),  # type: ignore[arg-type]
        evidence=converter.structure(data["evidence"], tuple[Evidence, ...]),
        fit=converter.structure(data["fit"], Fit | None),  # type: ignore[arg-type]
    )


def _cause_v1(data: Mapping[str, Any], converter: Converter) -> Cause:
    texts = Texts(data["text"], data["title"], data["next_step"])
    return Cause(
        TEXT_V1,
        texts,
        data["kind"],
        share=converter.structure(data["share"], float | None),  # type: ignore[arg-type]
        evidence=converter.structure(data["evidence"], tuple[Evidence, ...]),
    )


def _text(kind: Callable[..., S], stated: str, text: Any) -> S:
    if not isinstance(text, str):
        raise TypeError(f"expected str, found {type(text).__name__}")
    return kind(TEXT_V1, Texts(text), stated)
