"""Plain English."""

from compliance.report.words.en.causes import CAUSES, EVIDENCE, FORMATS, fit_text
from compliance.report.words.en.decisions import REASONS
from compliance.report.words.en.remarks import REMARKS, SHORT_REMARKS
from compliance.report.words.en.verification import STEPS

STATEMENTS = {**REASONS, **STEPS}

__all__ = [
    "CAUSES",
    "EVIDENCE",
    "FORMATS",
    "REASONS",
    "REMARKS",
    "SHORT_REMARKS",
    "STATEMENTS",
    "STEPS",
    "fit_text",
]
