"""Plain English."""

from compliance.report.words.en.cause_numbers import EVIDENCE
from compliance.report.words.en.causes import CAUSES, FORMATS, fit_text
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
