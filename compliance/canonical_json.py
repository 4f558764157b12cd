"""Canonical JSON (RFC 8785), and digests over it."""

from __future__ import annotations

import hashlib
from typing import Any

import rfc8785


def canonical_bytes(data: Any) -> bytes:
    """`data` (mappings, lists, texts, numbers, booleans, null) as RFC 8785 JSON.

    ValueError where it has no such form: NaN, infinities, integers beyond 2^53, keys that
    are no text, lone surrogates.
    """
    try:
        return rfc8785.dumps(data)
    except (rfc8785.CanonicalizationError, UnicodeEncodeError, RecursionError) as fault:
        raise ValueError(f"no canonical JSON: {fault}") from fault


def digest(data: Any) -> str:
    """SHA-256 over the canonical JSON of `data`, in hex."""
    return hashlib.sha256(canonical_bytes(data)).hexdigest()
