"""The words for facts: what a remark, a cause, a reason or a note says to a reader."""

from __future__ import annotations

from compliance.model import Cause, Evidence, Finding, NotJudged, Remark


def remark_text(remark: Remark) -> str:
    """A remark in sentences."""
    return remark.text


def cause_title(cause: Cause) -> str:
    """What is likely wrong, in a line."""
    return cause.title


def cause_text(cause: Cause) -> str:
    """How a cause shows, in sentences."""
    return cause.text


def cause_next_step(cause: Cause) -> str:
    """What to do about a cause, in a sentence."""
    return cause.next_step


def evidence_text(evidence: Evidence) -> str:
    """What a number that a cause rests on is of."""
    return evidence.what


def reason_text(patch: NotJudged) -> str:
    """Why a patch could not be judged, as a clause."""
    return patch.why


def note_text(finding: Finding) -> str | None:
    """How to read a finding's value, as a clause; None where there is nothing to add."""
    return finding.note
