"""Model data as plain data and back, its canonical JSON (RFC 8785), and digests of that.

Plain data is limited to JSON: mappings, lists, texts, numbers, booleans and None. Enums become
their values, times RFC 3339 in UTC, dates ISO 8601 and tuples lists. Reading converts no types:
a number is not accepted as text, nor a text as a list.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Mapping, Sequence
from dataclasses import is_dataclass
from datetime import UTC, date, datetime
from enum import StrEnum
from types import NoneType, UnionType
from typing import Any, TypeVar, get_args, get_origin, overload

import rfc8785
from cattrs import Converter
from cattrs.gen import make_dict_structure_fn, make_dict_unstructure_fn, override

from compliance.model import ChromaticityBand, Limits, LuminanceBand, Pair, RepeatabilityBand

T = TypeVar("T")

KEYS: Mapping[type[Any], Mapping[str, str]] = {
    Limits: {"minimum": "min", "maximum": "max"},
    LuminanceBand: {"start": "from"},
    ChromaticityBand: {"start": "from"},
    RepeatabilityBand: {"start": "from"},
}
"""Fields that have another name in plain data."""

MALFORMED = (KeyError, TypeError, ValueError, AttributeError, OverflowError)
"""Errors caused by data in another shape than the model's."""


class ShapeError(ValueError):
    """Plain data does not have the shape of the model data."""


def to_plain(data: Any) -> Any:
    """Model data as plain data."""
    return CONVERTER.unstructure(data)


@overload
def from_plain(data: Any, kind: type[T], converter: Converter | None = None) -> T: ...
@overload
def from_plain(data: Any, kind: UnionType, converter: Converter | None = None) -> Any: ...
def from_plain(data: Any, kind: Any, converter: Converter | None = None) -> Any:
    """Model data of a kind from plain data; unknown keys are ignored. Raises ShapeError."""
    try:
        return (converter or CONVERTER).structure(data, kind)
    except MALFORMED as fault:
        raise ShapeError(f"{type(fault).__name__}: {fault}") from None


def canonical_bytes(data: Any) -> bytes:
    """Plain data as RFC 8785 JSON.

    Raises ValueError if that is not possible: NaN, infinities, integers beyond 2^53, keys that
    are not text, lone surrogates.
    """
    try:
        return rfc8785.dumps(data)
    except (rfc8785.CanonicalizationError, UnicodeEncodeError, RecursionError) as fault:
        raise ValueError(f"no canonical JSON: {fault}") from fault


def digest(data: Any) -> str:
    """SHA-256 of the canonical JSON of plain data, in hex."""
    return hashlib.sha256(canonical_bytes(data)).hexdigest()


def timestamp(time: datetime | None) -> str | None:
    """RFC 3339 in UTC, without fractions if the second is exact."""
    return None if time is None else time.astimezone(UTC).isoformat().replace("+00:00", "Z")


# ---------------------------------------------------------------- the rules of conversion


def _exactly(*kinds: type[Any]) -> Callable[[Any, Any], Any]:
    """Accept only a value of these kinds, unchanged; True and False are not numbers."""

    def read(data: Any, _: Any) -> Any:
        if type(data) not in kinds:
            raise TypeError(f"expected {kinds[0].__name__}, found {type(data).__name__}")
        return data

    return read


def _number(data: Any, _: Any) -> float:
    if type(data) not in (int, float):
        raise TypeError(f"expected a number, found {type(data).__name__}")
    return float(data)


def _time(data: Any, _: Any) -> datetime:
    return datetime.fromisoformat(data.upper())


def _date(data: Any, _: Any) -> date:
    return date.fromisoformat(data)


def _is_value(kind: Any) -> bool:
    """Whether a type is a number or a pair of them, or None."""
    return set(get_args(kind)) - {NoneType} == {float, Pair}


def _value(data: Any, kind: Any) -> float | Pair | None:
    if data is None and NoneType in get_args(kind):
        return None
    if isinstance(data, list | tuple):
        x, y = data
        return _number(x, float), _number(y, float)
    return _number(data, float)


def _renamed(kind: type[Any]) -> dict[str, Any]:
    return {field: override(rename=key) for field, key in KEYS.get(kind, {}).items()}


def dataclass_reader(kind: type[Any], converter: Converter) -> Callable[[Any, Any], Any]:
    """Read a mapping as a dataclass; missing keys take the defaults of their fields."""
    read = make_dict_structure_fn(kind, converter, **_renamed(kind))

    def checked(data: Any, _: Any) -> Any:
        if not isinstance(data, Mapping):
            raise TypeError(f"expected a mapping, found {type(data).__name__}")
        return read(data, kind)

    return checked


def _dataclass_writer(kind: type[Any], converter: Converter) -> Callable[[Any], dict[str, Any]]:
    return make_dict_unstructure_fn(kind, converter, **_renamed(kind))


def _is_list(kind: Any) -> bool:
    """Whether a type is a tuple of any length."""
    return get_origin(kind) is tuple and get_args(kind)[-1] is Ellipsis


def _list_reader(kind: Any, converter: Converter) -> Callable[[Any, Any], tuple[Any, ...]]:
    entry = get_args(kind)[0]
    read = converter.get_structure_hook(entry)

    def checked(data: Any, _: Any) -> tuple[Any, ...]:
        if not isinstance(data, list | tuple):
            raise TypeError(f"expected a list, found {type(data).__name__}")
        return tuple(read(each, entry) for each in data)

    return checked


def _converter() -> Converter:
    """The one converter between the model and plain data."""
    converter = Converter(
        detailed_validation=False, unstruct_collection_overrides={Sequence: list, tuple: list}
    )
    for kind in (str, int, bool):
        converter.register_structure_hook(kind, _exactly(kind))
    converter.register_structure_hook(float, _number)
    converter.register_structure_hook(datetime, _time)
    converter.register_unstructure_hook(datetime, timestamp)
    converter.register_structure_hook(date, _date)
    converter.register_unstructure_hook(date, date.isoformat)
    converter.register_structure_hook(StrEnum, lambda data, kind: kind(data))
    converter.register_unstructure_hook(StrEnum, lambda member: member.value)
    converter.register_structure_hook_func(_is_value, _value)
    converter.register_structure_hook_factory(_is_list, _list_reader)
    converter.register_structure_hook_factory(is_dataclass, dataclass_reader)
    converter.register_unstructure_hook_factory(is_dataclass, _dataclass_writer)
    return converter


CONVERTER = _converter()
