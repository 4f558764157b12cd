"""The words for verdicts, limits, numbers and times, the same in every report.

Pure functions of the model: the sheet and the text report both speak with them,
so that the two never say the same thing in two ways. Nothing here decides.
"""

from __future__ import annotations

from compliance.wording.decided import (
    applies,
    deciding,
    explanation,
    failing,
    left_open,
    risk_words,
    shall_of,
    tally_words,
    with_uncertainty,
)
from compliance.wording.figures import (
    NONE,
    NOT_STATED,
    format_date,
    format_finding_limits,
    format_limits,
    format_number,
    format_plain,
    format_point_value,
    format_probability,
    format_requirement_limits,
    format_time,
    format_value,
    point_name,
    with_unit,
)
from compliance.wording.points import interval_words, least_sure, value_point
from compliance.wording.sentences import (
    BASIS_WORDS,
    OUTCOME_WORDS,
    REASON_WORDS,
    VERDICT_WORDS,
    basis_words,
    decision_sentence,
    outcome_mark,
    outcome_sentence,
    outcome_word,
    over_words,
    verdict_word,
)

__all__ = [
    "BASIS_WORDS",
    "NONE",
    "NOT_STATED",
    "OUTCOME_WORDS",
    "REASON_WORDS",
    "VERDICT_WORDS",
    "applies",
    "basis_words",
    "deciding",
    "decision_sentence",
    "explanation",
    "failing",
    "format_date",
    "format_finding_limits",
    "format_limits",
    "format_number",
    "format_plain",
    "format_point_value",
    "format_probability",
    "format_requirement_limits",
    "format_time",
    "format_value",
    "interval_words",
    "least_sure",
    "left_open",
    "outcome_mark",
    "outcome_sentence",
    "outcome_word",
    "over_words",
    "point_name",
    "risk_words",
    "shall_of",
    "tally_words",
    "value_point",
    "verdict_word",
    "with_uncertainty",
    "with_unit",
]
