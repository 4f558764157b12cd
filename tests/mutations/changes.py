"""Changes at random: to bytes, to texts, and to the data of a JSON file."""

from __future__ import annotations

import json
import random
import re
from collections.abc import Sequence
from typing import Any

COMMON = (b"\n", b"\r", b"\x00", b"\xff", b'"', b"<", b">", b"&", b"/", b"-", b"9" * 30, b"e99")
YAML = tuple(each.encode() for each in " \t:,-?[]{}'\"\\#&*!|>%@`~<=.0159eE_+xyz/\n")
YAML += (b"---", b"...", b"%YAML 1.9\n", b"<<: ", b"null", b"1e999", b"- ", b"? ", b"&a ", b"*a")
CSV = (b",", b"END_DATA", b"BEGIN_DATA_FORMAT", b"<cc:X>", b"</cc:Object>", b"e99", b"nan", b"]]>")
PDF = (b"<<", b">>", b"(", b")", b"[", b"]", b" R", b" obj", b"endobj", b"stream", b"%%EOF", b"%")
ZIP = (b"PK\x03\x04", b"PK\x01\x02", b"PK\x05\x06", b"../", b"PK\x07\x08")
NUMBERS = (b"", b"1e9", b"-1", b".5", b"1,5", b"00", b"x", b".", b"0", b"99999999999")


def changed_bytes(source: random.Random, data: bytes, signs: Sequence[bytes] = COMMON) -> bytes:
    """A few bytes replaced, taken out, put in or repeated; numbers replaced; or the end cut off."""
    made = bytearray(data)
    for _ in range(source.choice((1, 1, 1, 2, 5))):
        at = source.randrange(len(made) + 1)
        what = source.randrange(8)
        if what == 0 and at < len(made):
            made[at] = source.randrange(256)
        elif what == 1 and at < len(made):
            made[at] ^= 1 << source.randrange(8)
        elif what == 2:
            del made[at : at + source.choice((1, 2, 8, 60))]
        elif what == 3:
            made[at:at] = source.choice(signs)
        elif what == 4:
            start = source.randrange(len(made) + 1)
            made[at:at] = made[start : start + source.choice((1, 10, 200))]
        elif what == 5 and not source.randrange(4):
            del made[at:]
        elif what == 6 and not source.randrange(4):
            made += source.choice(signs) * source.choice((1, 1, 30))
        else:
            _change_number(source, made, at)
    return bytes(made)


def _change_number(source: random.Random, made: bytearray, at: int) -> None:
    """Replace the next number."""
    found = re.compile(rb"[0-9.]+").search(made, at) or re.search(rb"[0-9.]+", made)
    if found:
        made[slice(*found.span())] = source.choice(NUMBERS)


def changed_file(source: random.Random, data: bytes, signs: Sequence[bytes], of: int) -> bytes:
    """A text changed once or twice: one time in `of` in its lines, else in its bytes."""
    for _ in range(source.choice((1, 1, 2))):
        if source.randrange(of):
            data = changed_bytes(source, data, signs)
        else:
            data = changed_text(source, data)
    return data


def changed_text(source: random.Random, data: bytes) -> bytes:
    """The lines of a text put elsewhere, repeated, indented or joined."""
    lines = data.split(b"\n")
    at, to = source.randrange(len(lines)), source.randrange(len(lines))
    what = source.randrange(5)
    if what == 0:
        lines[at], lines[to] = lines[to], lines[at]
    elif what == 1:
        lines.insert(to, lines[at])
    elif what == 2:
        lines[at] = b" " * source.choice((1, 2, 7)) + lines[at]
    elif what == 3:
        del lines[at]
    else:
        lines[at] = lines[at].replace(b": ", source.choice((b":", b" : ", b": [", b": {", b": |")))
    return b"\n".join(lines)


LEAVES: tuple[Any, ...] = (
    *(None, True, False, 0, 1, -1, 0.5, 1e308, 10**30, "", "x", "\0", "\u202e", "a\nb", "ß" * 70),
    *([], {}, [0], {"a": 1}, "2026-11-31", "2026-11-20T09:00:00Z", "../x", -0.0),
)


def changed_value(source: random.Random, data: Any) -> Any:
    """A copy with one value somewhere replaced, taken out, added or taken from elsewhere."""
    if isinstance(data, dict) and data and source.randrange(8):
        key = source.choice(sorted(data))
        if not source.randrange(12):
            return {name: each for name, each in data.items() if name != key}
        if not source.randrange(20):
            return {**data, source.choice(("x", "id", "Title", "")): source.choice(LEAVES)}
        return {**data, key: changed_value(source, data[key])}
    if isinstance(data, list) and data and source.randrange(8):
        place = source.randrange(len(data))
        if not source.randrange(12):
            return [*data[:place], *data[place + 1 :]]
        if not source.randrange(12):
            return [*data, data[place]]
        return [*data[:place], changed_value(source, data[place]), *data[place + 1 :]]
    return _changed_leaf(source, data)


def _changed_leaf(source: random.Random, data: Any) -> Any:
    if isinstance(data, bool) or not source.randrange(3):
        return source.choice(LEAVES)
    if isinstance(data, int | float):
        return source.choice((data + 1, -data, data * 1.0000001, data / 2, str(data), float(data)))
    if isinstance(data, str) and data:
        at = source.randrange(len(data))
        return source.choice(
            (data[:at], data + " ", data[:at] + "x" + data[at + 1 :], data.upper())
        )
    return source.choice(LEAVES)


def dumped(data: Any) -> bytes:
    """Data as the program writes it into a JSON file."""
    return (json.dumps(data, ensure_ascii=True, indent=1) + "\n").encode()
