"""Grade display readings against the limits of a deliverable; write and verify signed sheets.

The names below are the public interface. Each is imported when it is first
used, so that a program pays only for what it needs.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from compliance.assessment import assess
    from compliance.errors import ComplianceError, InputError
    from compliance.job import load_job, only_slot
    from compliance.meter import load_meter
    from compliance.readings import load_readings
    from compliance.rules import load_rule, shipped_rules
    from compliance.sheet.write import write_sheet
    from compliance.signing import load_identity
    from compliance.verification import verify_sheet

__version__ = "0.1.0"

__all__ = [
    "ComplianceError",
    "InputError",
    "__version__",
    "assess",
    "load_identity",
    "load_job",
    "load_meter",
    "load_readings",
    "load_rule",
    "only_slot",
    "shipped_rules",
    "verify_sheet",
    "write_sheet",
]

_HOMES = {
    "ComplianceError": "compliance.errors",
    "InputError": "compliance.errors",
    "assess": "compliance.assessment",
    "load_identity": "compliance.signing",
    "load_job": "compliance.job",
    "load_meter": "compliance.meter",
    "load_readings": "compliance.readings",
    "load_rule": "compliance.rules",
    "only_slot": "compliance.job",
    "shipped_rules": "compliance.rules",
    "verify_sheet": "compliance.verification",
    "write_sheet": "compliance.sheet.write",
}


def __getattr__(name: str) -> Any:
    """Import a public name when it is first asked for (PEP 562)."""
    if name not in _HOMES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    value = getattr(import_module(_HOMES[name]), name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return sorted(__all__)
