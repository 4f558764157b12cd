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
    from compliance.job_file import load_job, only_slot
    from compliance.meter_file import load_meter
    from compliance.model import Measurement
    from compliance.readings.load import load_readings
    from compliance.rules.library import load_rule, shipped_rules
    from compliance.sheet.make_sheet import write_sheet
    from compliance.signing.keys import load_identity
    from compliance.verification import verify_sheet


__version__ = "0.2.0.dev0"

__all__ = [
    "ComplianceError",
    "InputError",
    "Measurement",
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
    "Measurement": "compliance.model",
    "assess": "compliance.assessment",
    "load_identity": "compliance.signing.keys",
    "load_job": "compliance.job_file",
    "load_meter": "compliance.meter_file",
    "load_readings": "compliance.readings.load",
    "load_rule": "compliance.rules.library",
    "only_slot": "compliance.job_file",
    "shipped_rules": "compliance.rules.library",
    "verify_sheet": "compliance.verification",
    "write_sheet": "compliance.sheet.make_sheet",
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
