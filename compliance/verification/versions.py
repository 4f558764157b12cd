"""Versions of this program: what a sheet that states another one may lack or state otherwise.

Only versions that were released explain a difference. A sheet that states one that never was is
held to what this version states.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from enum import StrEnum
from typing import Any

from compliance.model.stated import ENGINE, TOOL

RELEASED: Mapping[str, int] = {"0.1.0": 1}
"""The released versions, each with its definitions (engine); every release adds its own."""

READINGS = ("readings",), ("before", "readings")
OF_READINGS = "replaced", "started", "ended", "temperature", "humidity"
GAINED: Mapping[tuple[str, ...], str] = {
    ("replaces",): "0.2.0",
    ("lapsed",): "0.2.0",
    ("faces",): "0.2.0",
    ("timezone",): "0.2.0",
    ("appendices",): "0.2.0",
    ("slot", "nominal_peak"): "0.2.0",
    **{("job", key): "0.2.0" for key in ("measured_as", "authorised_as", "procedure")},
    ("meter", "certificate", "accreditation"): "0.2.0",
    ("rule", "archived"): "0.2.0",
    ("rule", "not_covered"): "0.2.0",
    **{(*path, key): "0.2.0" for path in READINGS for key in OF_READINGS},
}
"""Keys that documents have since a version; sheets of earlier ones lack them."""

VERSION = re.compile(r"(\d{1,6})\.(\d{1,6})\.(\d{1,6})(\.dev\d{1,6})?", re.ASCII)


class Standing(StrEnum):
    """How the version that a sheet states stands to this one."""

    OURS = "ours"
    RELEASED = "released"
    """Another version with these definitions."""
    EARLIER = "earlier"
    """A released version with earlier definitions."""
    LATER = "later"
    """A version above this one with these definitions."""
    LATER_ENGINE = "later-engine"
    """Definitions that this version does not know."""
    UNKNOWN = "unknown"
    """No release has this version and these definitions."""


def standing(version: Any, engine: Any) -> Standing:
    """Return how a stated version and engine stand to this program's."""
    if not isinstance(version, str) or not isinstance(engine, int) or isinstance(engine, bool):
        return Standing.UNKNOWN
    if (version, engine) == (TOOL.version, ENGINE):
        return Standing.OURS
    if engine > ENGINE:
        return Standing.LATER_ENGINE
    if RELEASED.get(version) == engine:
        return Standing.RELEASED if engine == ENGINE else Standing.EARLIER
    if engine == ENGINE and is_before(TOOL.version, version):
        return Standing.LATER
    return Standing.UNKNOWN


def is_before(one: str, other: str) -> bool:
    """Return whether a version is before another; never if one is not a version."""
    mine, theirs = _key(one), _key(other)
    return mine is not None and theirs is not None and mine < theirs


def _key(version: str) -> tuple[int, int, int, bool] | None:
    """Return what orders versions: the three numbers, a development version before its own."""
    found = VERSION.fullmatch(version)
    if found is None:
        return None
    first, second, third = (int(found[group]) for group in (1, 2, 3))
    return first, second, third, found[4] is None


def without_gained(
    computed: Mapping[str, Any], stated: Mapping[str, Any], version: Any
) -> dict[str, Any]:
    """Return a computed document without what a stated one of that version could not have yet."""
    if RELEASED.get(version if isinstance(version, str) else "") is None:
        return dict(computed)
    late = [path for path, since in GAINED.items() if is_before(version, since)]
    return _pruned(computed, stated, late)


def _pruned(
    computed: Mapping[str, Any], stated: Any, late: list[tuple[str, ...]]
) -> dict[str, Any]:
    if not isinstance(stated, Mapping):
        return dict(computed)
    left = {}
    for key, value in computed.items():
        if (key,) in late and key not in stated:
            continue
        below = [path[1:] for path in late if path[0] == key and len(path) > 1]
        nested = below and isinstance(value, Mapping)
        left[key] = _pruned(value, stated.get(key), below) if nested else value
    return left
