"""Tokens and objects of a PDF by its grammar, and by nothing else (ISO 32000-1, 7.2 and 7.3).

Readers repair what does not follow the grammar, each in its own way, so that one file shows
different things in different programs. Here it is a fault.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, NamedTuple

from compliance.signing.cms_checks import UnsoundError

SPACE = rb"\0\t\n\f\r "
END = rb"(?=[" + SPACE + rb"()<>\[\]{}/%]|\Z)"
"""The place after a token: a space, a delimiter or the end."""
NUMBER = re.compile(rb"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)")
"""(7.3.3): no exponent, no other base, no `nan`."""
GAP = re.compile(rb"[" + SPACE + rb"]*+")
TOKEN = re.compile(
    rb"(?P<number>[+-]?(?:[0-9]++\.?[0-9]*+|\.[0-9]++)" + END + rb")"
    rb"|(?P<name>/[^" + SPACE + rb"()<>\[\]{}/%]*+)"
    rb"|(?P<mark><<|>>|\[|\])"
    rb"|(?P<hex><[0-9A-Fa-f" + SPACE + rb"]*+>)"
    rb"|(?P<string>\()"
    rb"|(?P<word>[^" + SPACE + rb"()<>\[\]{}/%]++)"
)
PARENTHESIS = re.compile(rb"[()\\]")
REFERENCE = re.compile(rb"([0-9]{1,7})[" + SPACE + rb"]++0[" + SPACE + rb"]++R" + END)
ESCAPED = re.compile(rb"\\(?:([0-7]{1,3})|(\r\n|.))", re.DOTALL)
ESCAPES = {b"n": b"\n", b"r": b"\r", b"t": b"\t", b"b": b"\b", b"f": b"\f"}

LONGEST_NUMBER = 20
"""Most characters of a number; readers cut longer ones at different places."""
LONGEST_STRING = 1 << 18
"""Most bytes of a string; a signature with its certificates has some thousand."""
DEEPEST = 20
"""Most levels of objects within an object; a sheet has 5."""


class SyntaxFaultError(UnsoundError):
    """A text that does not follow the grammar; `place` is the byte."""

    def __init__(self, place: int, what: str) -> None:
        super().__init__(f"at byte {place}: {what}")


class Token(NamedTuple):
    """A token as it is in the file."""

    kind: str
    """`number`, `name`, `mark`, `hex`, `string` or `word`"""
    raw: bytes
    end: int


class Name(str):
    """A name without its slash, its #-codes decoded."""

    __slots__ = ()


class Ref(NamedTuple):
    """A reference to an object of generation 0."""

    number: int


def skip_space(data: bytes, at: int) -> int:
    """Return the place of the next byte that is not white space."""
    match = GAP.match(data, at)
    assert match is not None
    return match.end()


def read_token(data: bytes, at: int) -> Token:
    """Read the token that begins at a byte; SyntaxFaultError if none does, e.g. at a comment."""
    match = TOKEN.match(data, at)
    if match is None or match.lastgroup is None:
        raise SyntaxFaultError(at, "neither a value nor an operator")
    kind = match.lastgroup
    end = _string_end(data, at, at + LONGEST_STRING) if kind == "string" else match.end()
    if kind == "number" and end - at > LONGEST_NUMBER:
        raise SyntaxFaultError(at, f"a number of {end - at} characters")
    if end - at > LONGEST_STRING:
        raise SyntaxFaultError(at, f"a string of {end - at} bytes")
    return Token(kind, data[at:end], end)


def read_tokens(data: bytes) -> Iterator[Token]:
    """Yield the tokens of a text; SyntaxFaultError where it does not follow the grammar."""
    at = skip_space(data, 0)
    while at < len(data):
        token = read_token(data, at)
        yield token
        at = skip_space(data, token.end)


def _string_end(data: bytes, at: int, limit: int) -> int:
    """Return the place after a literal string, whose parentheses are balanced."""
    depth, place = 0, at
    while match := PARENTHESIS.search(data, place, limit):
        sign, place = match[0], match.end()
        if sign == b"\\":
            place += 1
            continue
        depth += 1 if sign == b"(" else -1
        if depth == 0:
            return place
    raise SyntaxFaultError(at, f"a string without end, or of more than {LONGEST_STRING} bytes")


@dataclass(slots=True)
class Budget:
    """What is left of the number of tokens that a file may have."""

    tokens: int

    def spend(self) -> None:
        """Take one token; UnsoundError if none is left."""
        self.tokens -= 1
        if self.tokens < 0:
            raise UnsoundError("it has more objects than any sheet")


def read_object(data: bytes, at: int, budget: Budget, depth: int = 0) -> tuple[Any, int]:
    """Read the object that begins at a byte, or after space; return it and the place after it.

    Dictionaries are dicts by key without slash, strings are bytes, names are `Name`, null is
    None. SyntaxFaultError if it does not follow the grammar or a key is there twice.
    """
    at = skip_space(data, at)
    budget.spend()
    if depth > DEEPEST:
        raise SyntaxFaultError(at, f"more than {DEEPEST} levels of objects")
    if reference := REFERENCE.match(data, at):
        return Ref(int(reference[1])), reference.end()
    kind, raw, end = read_token(data, at)
    if kind == "number":
        return (float(raw) if b"." in raw else int(raw)), end
    if kind == "name":
        return _name(raw, at), end
    if kind == "hex":
        digits = raw[1:-1].translate(None, b"\0\t\n\f\r ").decode()
        return bytes.fromhex(digits + "0" * (len(digits) % 2)), end
    if kind == "string":
        return ESCAPED.sub(_unescaped, raw[1:-1]), end
    if raw == b"[":
        return _read_array(data, end, budget, depth)
    if raw == b"<<":
        return _read_dictionary(data, end, budget, depth)
    if raw in WORDS:
        return WORDS[raw], end
    raise SyntaxFaultError(at, f"{raw[:20]!r} is not an object")


WORDS = {b"true": True, b"false": False, b"null": None}


def _read_array(data: bytes, at: int, budget: Budget, depth: int) -> tuple[list[Any], int]:
    values: list[Any] = []
    while True:
        at = skip_space(data, at)
        if data[at : at + 1] == b"]":
            return values, at + 1
        value, at = read_object(data, at, budget, depth + 1)
        values.append(value)


def _read_dictionary(
    data: bytes, at: int, budget: Budget, depth: int
) -> tuple[dict[str, Any], int]:
    entries: dict[str, Any] = {}
    while True:
        at = skip_space(data, at)
        if data[at : at + 2] == b">>":
            return entries, at + 2
        kind, raw, end = read_token(data, at)
        if kind != "name":
            raise SyntaxFaultError(at, "a dictionary's key is not a name")
        key = _name(raw, at)
        if key in entries:
            raise SyntaxFaultError(at, f"the key /{key} is there twice")
        entries[str(key)], at = read_object(data, end, budget, depth + 1)


def _name(raw: bytes, at: int) -> Name:
    try:
        return Name(CODED.sub(lambda match: bytes([int(match[1], 16)]), raw[1:]).decode("latin-1"))
    except ValueError:
        raise SyntaxFaultError(at, "a name that is not one") from None


CODED = re.compile(rb"#([0-9A-Fa-f]{2})")


def _unescaped(match: re.Match[bytes]) -> bytes:
    octal, sign = match[1], match[2]
    if octal is not None:
        return bytes([int(octal, 8) & 255])
    if sign in (b"\n", b"\r", b"\r\n"):
        return b""
    return ESCAPES.get(sign, sign)
