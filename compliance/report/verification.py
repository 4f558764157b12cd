"""Verifications as texts and as plain data: steps, a sheet's statement, the outcome."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping
from datetime import datetime
from typing import Any

from compliance.model import Outcome
from compliance.model.results import Check, DeliveryVerification, Status, Step, Verification
from compliance.model.signatures import ArchiveStamp, Revocation, Signature
from compliance.model.stated import ENGINE
from compliance.report.words import statement_text
from compliance.report.words.en import verification as words
from compliance.report.words.en.verdicts import OUTCOME_WORDS, outcome_word


def step_title(step: Step) -> str:
    """Name what a step checks."""
    return words.CHECKS[step.check]


def step_text(step: Step) -> str:
    """Describe the result of a step in one line."""
    return statement_text(step.result)


def step_details(step: Step) -> list[str]:
    """Return the further lines of a step."""
    return list(map(statement_text, step.details))


def step_line(step: Step) -> str:
    """Name what a step checks, and its result."""
    return f"{step_title(step)}: {step_text(step)}"


def sheet_says(sheet: Verification) -> str:
    """Return what a sheet states: verdict with its condition, and disposition."""
    if sheet.verdict is None:
        return "nothing"
    return _outcome_words(sheet.verdict, sheet.conditional, sheet.disposition)


def sheet_says_with_today(sheet: Verification) -> str:
    """Return what a sheet states and, if that is not as computed again, what came out."""
    stated, today = sheet_says(sheet), _today_words(sheet)
    told = today and (sheet.outcomes_apart or sheet.engine != ENGINE)
    return f"{stated}; {words.TODAY.format(today=today)}" if told else stated


def _today_words(sheet: Verification) -> str | None:
    today = sheet.today
    return _outcome_words(today.verdict, today.conditional, today.disposition) if today else None


def _outcome_words(verdict: str, conditional: bool, disposition: str | None) -> str:
    known = verdict in OUTCOME_WORDS
    word = outcome_word(Outcome(verdict), conditional) if known else verdict
    return ", ".join(part for part in (word, disposition) if part).replace("-", " ")


def sheet_outcome(sheet: Verification) -> list[str]:
    """Describe the outcome for a sheet, in lines of a sentence or two each."""
    stated, code = sheet_says(sheet), sheet.exit_code
    if code != 1 and sheet.is_newer:
        lines = [words.NEWER.format(engine=sheet.engine, stated=stated)]
    elif code == 1:
        lines = [words.SHEET_OUTCOMES[code], *_both_outcomes(sheet)]
    elif both := _both_outcomes(sheet):
        lines = [*both, words.INTACT]
    else:
        lines = [words.SHEET_OUTCOMES[code].format(stated=stated)]
    lines = [*_unproven_rule(sheet), *lines]
    pages = next(step for step in sheet.steps if step.check is Check.PAGES)
    if pages.status is Status.NOT_DONE and code != 1:
        lines[-1] += words.LETTERS_UNCHECKED.get(pages.result.kind, words.PAGES_UNCHECKED)
    return lines


def _unproven_rule(sheet: Verification) -> list[str]:
    """Name a rule that nobody ships, or that is not known here: the verdict is worth no more."""
    steps = [step for step in sheet.steps if step.check is Check.RULE]
    if sheet.exit_code == 1 or not steps or steps[0].status is not Status.UNKNOWN:
        return []
    return [words.UNPROVEN_RULE.format(why=step_text(steps[0]))]


def _both_outcomes(sheet: Verification) -> list[str]:
    """Describe what is stated and what came out, if definitions or outcomes are others."""
    today = _today_words(sheet)
    if today is None:
        return []
    earlier = sheet.exit_code != 1 and sheet.engine != ENGINE
    if not earlier and not sheet.outcomes_apart:
        return []
    lines = words.OTHER_DEFINITIONS if earlier else words.APART_OUTCOMES
    facts = {"stated": sheet_says(sheet), "today": today, "engine": sheet.engine}
    return [line.format(**facts) for line in lines]


def delivery_outcome(delivery: DeliveryVerification) -> str:
    """Describe the outcome for a delivery in a sentence or two."""
    stated = Counter(map(sheet_says_with_today, delivery.sheets.values()))
    counts = "; ".join(f"{count} {verdict}" for verdict, count in sorted(stated.items()))
    text = words.DELIVERY_OUTCOMES[delivery.exit_code]
    if delivery.exit_code == 3 and not delivery.signed:
        text = words.UNSIGNED
    if delivery.exit_code == 1 and {sheet.exit_code for sheet in delivery.sheets.values()} == {0}:
        text = words.APART
    return text.format(stated=counts)


def delivery_title(delivery: DeliveryVerification) -> str:
    """Name a delivery by its number of sheets."""
    count = len(delivery.sheets)
    return "a delivery of 1 sheet" if count == 1 else f"a delivery of {count} sheets"


def delivery_sheets(delivery: DeliveryVerification) -> Iterator[str]:
    """Yield a line for each sheet of a delivery."""
    for path, sheet in delivery.sheets.items():
        if sheet.exit_code != 1:
            yield f"{path}: {sheet.number}: {sheet_says_with_today(sheet)}"
        elif sheet.only_untrusted:
            yield f"{path}: signer not trusted"
        else:
            yield f"{path}: not valid"


# ---------------------------------------------------------------- plain data


def sheet_data(file: str, sheet: Verification) -> dict[str, Any]:
    """Return the verification of a sheet as plain data, its conclusion first."""
    outcome = sheet.computed
    return {
        "file": file,
        "exit_code": sheet.exit_code,
        "conclusion": sheet_outcome(sheet),
        "verdict": outcome.verdict if outcome else None,
        "conditional": outcome.conditional if outcome else None,
        "disposition": outcome.disposition if outcome else None,
        "stated": {
            "verdict": sheet.verdict,
            "conditional": sheet.conditional,
            "disposition": sheet.disposition,
        },
        "number": sheet.number,
        "replaces": sheet.replaces,
        "engine": sheet.engine,
        "steps": [_step_data(step) for step in sheet.steps],
        "signatures": [_signature_data(signature) for signature in sheet.signatures],
        "archive_stamps": [_archive_data(stamp) for stamp in sheet.stamps],
    }


def delivery_data(file: str, delivery: DeliveryVerification) -> dict[str, Any]:
    """Return the verification of a delivery, and of each sheet in it, as plain data."""
    return {
        "file": file,
        "exit_code": delivery.exit_code,
        "conclusion": [delivery_outcome(delivery)],
        "sheets": [sheet_data(path, sheet) for path, sheet in delivery.sheets.items()],
        "steps": [_step_data(step) for step in delivery.steps],
    }


def _step_data(step: Step) -> Mapping[str, Any]:
    return {
        "step": step.number,
        "title": step_title(step),
        "status": str(step.status),
        "text": step_text(step),
        "details": step_details(step),
    }


def _signature_data(signature: Signature) -> Mapping[str, Any]:
    signer, stamp = signature.signer, signature.stamp
    return {
        "field": signature.field,
        "role": signature.role,
        "name": signer.name,
        "organisation": signer.organisation,
        "email": signer.email,
        "issuer": signer.issuer,
        "sha256": signer.fingerprint,
        "claimed": _iso_time(signature.claimed),
        "stamped": _iso_time(stamp.time if stamp else None),
        "stamp_trusted": stamp is not None and stamp.trusted_as is not None,
        "trusted": signature.trusted_as is not None,
        "not_before": _iso_time(signer.not_before),
        "not_after": _iso_time(signer.not_after),
        "revocation": _revocation_data(signature.revocation),
    }


def _revocation_data(revocation: Revocation | None) -> Mapping[str, Any] | None:
    if revocation is None:
        return None
    return {
        "checked": revocation.checked,
        "until": _iso_time(revocation.until),
        "revoked": _iso_time(revocation.revoked),
    }


def _archive_data(archive: ArchiveStamp) -> Mapping[str, Any]:
    authority = archive.stamp.authority
    return {
        "field": archive.field,
        "stamped": _iso_time(archive.stamp.time),
        "authority": authority.name,
        "sha256": authority.fingerprint,
        "stamp_trusted": archive.stamp.trusted_as is not None,
        "not_after": _iso_time(authority.not_after),
    }


def _iso_time(moment: datetime | None) -> str | None:
    """Format a time in its own offset."""
    return None if moment is None else moment.isoformat().replace("+00:00", "Z")
