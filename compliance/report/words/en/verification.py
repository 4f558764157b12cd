"""Texts for the steps and outcomes of a verification, of a sheet and of a delivery."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import date, datetime

from compliance.model.results import Check
from compliance.model.stated import ENGINE
from compliance.report.numbers import format_time

SHORT = 16
"""Digits of a digest that distinguish two certificates of the same name."""

CHECKS: Mapping[Check, str] = {
    Check.INTACT: "file intact",
    Check.SIGNER: "signer",
    Check.TIMES: "time of signing",
    Check.ATTACHMENTS: "attachments",
    Check.RECOMPUTATION: "computed again",
    Check.PAGES: "pages",
    Check.RULE: "rule",
    Check.WHOLE: "delivery complete",
    Check.SIGNED: "delivery signed",
    Check.SHEETS: "sheets",
    Check.AS_STATED: "as stated",
}


# ---------------------------------------------------------------- who


def holder(name: str, organisation: str | None, email: str | None, issuer: str | None) -> str:
    """Describe the holder of a certificate and its issuer (None: self-issued)."""
    kind = "self-issued" if issuer is None else f"issued by {issuer}"
    return f"{', '.join(word for word in (name, organisation, email) if word)} ({kind})"


def signer(role: str | None, trust: str, name: str, **more: str | None) -> str:
    who = f"{holder(name, **more)}: {trust}"
    return who if role is None else f"{role}: {who}"


def signed_twice(name: str, **more: str | None) -> str:
    who = holder(name, **more)
    return f"{who} signed twice with the same key; a second signature needs another person's"


def signer_untrusted(trust: str, why_not: str) -> str:
    return f"{trust}: {why_not}" if why_not else trust


def countersigned_untrusted(trust: str, why_not: str) -> str:
    return f"countersigned; {signer_untrusted(trust, why_not)}"


def other_facility(organisation: str | None, facility: str) -> str:
    named = f"names {organisation}" if organisation else "names no organisation"
    return f"the certificate {named}; the job's facility is {facility}"


def revoked_by_then(revoked: datetime, until: datetime, above: bool, proven: bool) -> str:
    whose = "the certificate of an authority above it" if above else "its certificate"
    return f"{whose} was revoked on {format_time(revoked)}, before {when(until, proven)}"


def revoked_later(revoked: datetime, until: datetime, above: bool, proven: bool) -> str:
    return (
        f"its certificate, or an authority's above it, was revoked on {format_time(revoked)}; no "
        f"trusted time stamp proves that it was signed before ({when(until, proven)})"
    )


def certificate_expected(name: str, **more: str | None) -> str:
    return f"expected: {holder(name, **more)}"


def namesake(key: str) -> Callable[..., str]:
    """Make the text that another certificate or key under the same name is trusted."""

    def text(own: str, trusted: str) -> str:
        return (
            f"not among the trusted certificates: signed with another {key} under the same name: "
            f"SHA-256 {own[:SHORT]}…; trusted: {trusted[:SHORT]}…"
        )

    return text


# ---------------------------------------------------------------- when


def when(moment: datetime, by_stamp: bool) -> str:
    how = "by a trusted time stamp" if by_stamp else "as the signer claims"
    return f"{format_time(moment)} {how}"


def validity(valid_from: datetime, valid_to: datetime) -> str:
    return f"certificate valid {format_time(valid_from)} to {format_time(valid_to)}"


def time(moment: datetime, by_stamp: bool, **dates: datetime) -> str:
    return f"{when(moment, by_stamp)}; {validity(**dates)}"


def time_outside(moment: datetime, by_stamp: bool, **dates: datetime) -> str:
    return f"{when(moment, by_stamp)}, outside its certificate's dates ({validity(**dates)})"


def time_unstamped(moment: datetime, by_stamp: bool, **dates: datetime) -> str:
    return f"no time stamp: {time(moment, by_stamp, **dates)}"


def time_claimed_after_stamp(claimed: datetime, stamped: datetime) -> str:
    return (
        f"the claimed time, {format_time(claimed)}, is later than the time stamp, "
        f"{format_time(stamped)}"
    )


def time_stamped(moment: datetime, by_stamp: bool, authority: str, **dates: datetime) -> str:
    return f"{when(moment, by_stamp)}, {authority}; {validity(**dates)}"


def other_time(moment: datetime, by_stamp: bool, authority: str, stamped: datetime) -> str:
    stamp = f"time stamp of {authority}: {format_time(stamped)}"
    return f"{when(moment, by_stamp)}; {stamp}"


def time_stamp_unchecked(
    moment: datetime, by_stamp: bool, authority: str, stamped: datetime, **dates: datetime
) -> str:
    hint = "its authority not checked (--timestamp-trust CERTIFICATE)"
    return f"{other_time(moment, by_stamp, authority, stamped)}, {hint}; {validity(**dates)}"


def time_stamp_untrusted(
    moment: datetime,
    by_stamp: bool,
    authority: str,
    stamped: datetime,
    why_not: str,
    **dates: datetime,
) -> str:
    why = f": {why_not}" if why_not else ""
    return (
        f"{other_time(moment, by_stamp, authority, stamped)}, but its authority is not trusted"
        f"{why}; {validity(**dates)}"
    )


def in_future(moment: datetime, now: datetime) -> str:
    return f"{format_time(moment)}, in the future: by the clock here it is {format_time(now)}"


def before_assessed(moment: datetime, assessed: datetime) -> str:
    return (
        f"the facility signed on {format_time(moment)}, before the assessment, "
        f"{format_time(assessed)}"
    )


def long_after(moment: datetime, assessed: datetime, hours: int) -> str:
    return (
        f"the facility signed on {format_time(moment)}; expected within {hours} hours of the "
        f"assessment, {format_time(assessed)}"
    )


def before_first(role: str, moment: datetime, first: datetime) -> str:
    return (
        f"{role}: {format_time(moment)}, before the facility's own signature, {format_time(first)}"
    )


def deviation_over(file: str, requirement: str, until: date, moment: datetime) -> str:
    return (
        f"{file}: {requirement} was accepted until {until:%Y-%m-%d}, but the sheet was signed on "
        f"{format_time(moment)}"
    )


def deviation_early(file: str, requirement: str, accepted: datetime, moment: datetime) -> str:
    return (
        f"{file}: {requirement} was accepted on {format_time(accepted)}, after the sheet was "
        f"signed, {format_time(moment)}"
    )


def archived(stamped: datetime, authority: str, valid_to: datetime) -> str:
    return (
        f"archive stamp: {when(stamped, True)}, {authority}, whose certificate is valid to "
        f"{format_time(valid_to)}"
    )


def archived_unchecked(stamped: datetime, authority: str, valid_to: datetime) -> str:
    return (
        f"archive stamp of {authority}: {format_time(stamped)}, its authority not checked "
        "(--timestamp-trust CERTIFICATE)"
    )


def archived_untrusted(stamped: datetime, authority: str, valid_to: datetime, why_not: str) -> str:
    why = f": {why_not}" if why_not else ""
    return (
        f"archive stamp of {authority}: {format_time(stamped)}, but its authority is not "
        f"trusted{why}"
    )


def archived_before_signed(
    stamped: datetime, authority: str, valid_to: datetime, claimed: datetime
) -> str:
    return (
        f"archive stamp of {authority}: {format_time(stamped)}, earlier than a signature before it "
        f"claims, {format_time(claimed)}"
    )


# ---------------------------------------------------------------- what


def box_of_program(theirs: str | None, ours: str) -> str:
    by = "another program" if theirs is None else theirs
    return f"the box of the countersignature was not compared: drawn by {by}; this is {ours}"


def intact(count: int, stamps: int) -> str:
    signed = "1 signature" if count == 1 else f"{count} signatures"
    if stamps:
        stamped = "1 archive stamp" if stamps == 1 else f"{stamps} archive stamps"
        return f"unchanged since signing: {signed} and {stamped}, the last covers the whole file"
    last = "" if count == 1 else ", the last"
    return f"unchanged since signing: {signed}{last} covers the whole file"


def attachments(names: tuple[str, ...]) -> str:
    return f"{', '.join(names)}: as stated"


def attachments_acceptor_untrusted(names: tuple[str, ...]) -> str:
    return f"{attachments(names)}; the signer of a deviation was not checked as the client's"


def sheet_step(path: str, check: str, result: str) -> str:
    return f"{path}: {CHECKS[Check(check)]}: {result}"


def all_hold(count: int) -> str:
    return "it is valid" if count == 1 else f"all {count} are valid"


def other_definitions(stated: int, computed: int, count: int, all: int) -> str:
    """Tell how many of all requirements come out otherwise than stated."""
    came = "all requirements come out as stated"
    if count:
        came = f"{count} of {all} requirements {'comes' if count == 1 else 'come'} out otherwise"
    return (
        f"evidence, rule and limits are as stated; the outcome was computed with definitions "
        f"(engine) {stated}, and with today's, {computed}, {came}"
    )


STEPS: Mapping[str, str | Callable[..., str]] = {
    "more": "and {count} more",
    # 1: the file
    "unreadable-pdf": "cannot be read as a signed PDF: {fault}",
    "unsigned": "NOT SIGNED: the sheet has no signature",
    "changed": "changed after it was signed, or not a compliance sheet",
    "intact": intact,
    "only-signed": "{field}, {role}: only this signature was added since the one before",
    "only-stamped": "{field}: only a time stamp and revocation data were added",
    # 2: who
    "no-signer": "unknown: there is no signature",
    "signed-twice": signed_twice,
    "signer": signer,
    "certificate-digest": "SHA-256 {sha256}",
    "name-trusted": "not checked; give the expected signer with --trust CERTIFICATE",
    "signer-untrusted": signer_untrusted,
    "countersigned-untrusted": countersigned_untrusted,
    "countersigned-by-facility": (
        "countersigned for the facility's own organisation, so not for the client"
    ),
    "name-client": "countersigned; not checked; give the client's with --client-trust CERTIFICATE",
    "facility-trust": (
        "its certificate is trusted for the facility (--trust), not for the client (--client-trust)"
    ),
    "other-facility": other_facility,
    "other-person": "the certificate is of {name}; the job names as authorised: {person}",
    "revoked": revoked_by_then,
    "revoked-later": revoked_later,
    "any-signer": "any signer is accepted; not checked",
    "trust-unchecked": "not checked",
    "certificate-expected": certificate_expected,
    "not-trusted": "not among the trusted certificates",
    "namesake-trusted.key": namesake("key"),
    "namesake-trusted.certificate": namesake("certificate"),
    # 3: when
    "no-time": "unknown: there is no signature",
    "by-role": "{role}: {statement}",
    "time-unnamed": "the signature has no time",
    "time": time,
    "time-outside-certificate": time_outside,
    "time-unstamped": time_unstamped,
    "time-claimed-after-stamp": time_claimed_after_stamp,
    "time-stamped": time_stamped,
    "time-stamp-unchecked": time_stamp_unchecked,
    "time-stamp-untrusted": time_stamp_untrusted,
    "time-in-future": in_future,
    "signed-before-assessed": before_assessed,
    "signed-long-after": long_after,
    "signed-before-first": before_first,
    "deviation-over": deviation_over,
    "deviation-early": deviation_early,
    "archived": archived,
    "archived-unchecked": archived_unchecked,
    "archived-untrusted": archived_untrusted,
    "archived-before-signed": archived_before_signed,
    # 4: the attachments
    "unreadable-attachments": "cannot be read: {fault}",
    "not-the-source": "not what the assessment was made from",
    "shapeless": "assessment.json is not an assessment document",
    "attachments": attachments,
    "attachments.acceptor-untrusted": attachments_acceptor_untrusted,
    "acceptor-namesake": "{file}: {trust}",
    "short-number": (
        "its number has {digits} digits of the digest, as documents of version 1 have; today's "
        "have {today}"
    ),
    # 5 and 6, where no signature holds
    "not-done-unsigned": "not done: the sheet is not signed (step 1)",
    "not-done-changed": "not done: the file is not as it was signed (step 1)",
    # 5: computed again
    "no-attachments": "not possible without the attachments",
    "not-computable": "not possible: {fault}",
    "same-again": "every value, limit and verdict is as stated",
    "as-stated": "every value, limit and verdict is as stated, by a version that is not known",
    "on-the-edge": "as stated but for verdicts so close to a limit that rounding turns them",
    "other-remarks": (
        "as stated, except for remarks, causes or reasons, which version {version} made otherwise"
    ),
    "later-version": (
        "as stated as far as this version, {ours}, knows what version {version} states; use a "
        "newer version"
    ),
    "never-released": "no version {version} with definitions (engine) {engine} was released",
    "other-definitions": other_definitions,
    "newer-engine": (
        "not possible: made with definitions (engine) {stated}, and this version knows them up to "
        "{ours}; use a newer version"
    ),
    # 6: the pages
    "no-evidence": "not possible without the evidence",
    "same-pages": "the same as drawn again from the evidence",
    "pages-of-version": "not compared: drawn by version {theirs}; this is {ours}",
    "pages-of-program": "not compared: drawn by {theirs}; this is {ours}",
    "pages-of-other-assessment": "not compared: the evidence gives another assessment (step 5)",
    "pages-of-other-digits": "not compared: the values, computed again, differ in the last digits",
    "box-of-program": box_of_program,
    "letters-unsure": (
        "the same as drawn again, but letter shapes not checked: type faces are not here as the "
        "facility had them; install them from their makers, or give such files with --font FILE"
    ),
    "box-letters-unsure": (
        "the box of the second signature is not compared: its names have letters that another type "
        "face may have drawn; who signed is told in step 2"
    ),
    "hidden-parts": "the file contains what no sheet has",
    "pages-damaged": "the pages cannot be compared: the file is damaged",
    "other-pages": "the pages do not show the evidence",
    # 7: the rule
    "rule-of-later": "not compared: made with definitions that this version does not know",
    "rule-shipped": "{id}, revision {revision}, as it is shipped",
    "rule-archived": "{id}, revision {revision}, as it was shipped; today's is {today}",
    "rule-given": "{id}, revision {revision}, as in your own copy",
    "rule-unshipped": (
        "nobody ships {id}, revision {revision}: SHA-256 {found}; if it is the rule that you "
        "agreed to, give your copy: --rules FOLDER, or its digest"
    ),
    "rule-newer": (
        "{id}, revision {revision}, is above what this version ships, {newest}; use a newer version"
    ),
    "rule-never-shipped": (
        "{id} was never shipped with revision {revision}; the newest is {newest}"
    ),
    "rule-altered": (
        "it is not {id}, revision {revision}, as it is shipped: SHA-256 {expected} expected, "
        "{found} attached"
    ),
    "rule-unlike-given": (
        "it is not {id}, revision {revision}, as in your own copy: SHA-256 {expected} expected, "
        "{found} attached"
    ),
    "rule-parent-unknown": (
        "{id}, revision {revision}, extends {parent}, which is neither shipped nor given "
        "(--rules FOLDER): its departures cannot be checked"
    ),
    "departures-unrecorded": (
        "{id}, revision {revision}, departs from {parent} without a record of who agreed to it"
    ),
    "rule-key": "differs: {key}",
    # of a delivery
    "not-as-packed": "not as it was packed",
    "not-done-unread": "not done: nothing of it was read (step 1)",
    "as-packed": "{count} files, as the manifests state",
    "only-sheets-signed": "the delivery itself is not signed; only its sheets are",
    "signature-faulty": "{file}: {fault}",
    "delivery-signer": "{who}: {trust}",
    "list-signed": "the list of files is signed, but the files do not match it (step 1)",
    "no-sheet": "it contains no sheet",
    "sheet-step": sheet_step,
    "sheets-untrusted": "{count} of {all} have no trusted signer",
    "sheets-broken": "{count} of {all} not valid",
    "sheets-unchecked": "{count} of {all} not fully checked",
    "all-hold": all_hold,
    "states-otherwise": "the delivery does not describe its sheets correctly",
    "as-listed": "{sheets} sheets with {signatures} signatures, as listed",
    "not-compared": "{file}: not compared with the sheets: written by {theirs}; this is {ours}",
    "not-compared.unreadable": "{files}: not compared: not every sheet's assessment can be read",
}

# ---------------------------------------------------------------- the outcome

SHEET_OUTCOMES: Mapping[int, str] = {
    0: "Valid: intact, and computed again as stated. The sheet states: {stated}.",
    1: "Not valid: do not rely on this sheet.",
    3: "Intact as far as it was checked. The sheet states: {stated}.",
}
OTHER_DEFINITIONS = (
    "The sheet states: {stated} (definitions of engine {engine}).",
    f"Computed again by today's definitions (engine {ENGINE}): {{today}}.",
)
APART_OUTCOMES = (
    "The sheet states: {stated}.",
    "Computed again from its evidence: {today}.",
)
UNPROVEN_RULE = "Its rule was not proven: {why}."
INTACT = "Intact as far as it was checked."
TODAY = "computed again: {today}"
NEWER = (
    "Made with definitions (engine {engine}) that this version does not know: use a newer version "
    "to check it. The sheet states: {stated}."
)
PAGES_UNCHECKED = " Its pages were not compared with the evidence."
LETTERS_UNCHECKED = {
    "letters-unsure": " The shapes of letters in another type face were not checked.",
    "box-letters-unsure": " The box of its second signature was not compared.",
}
"""In place of that, by the kind of the step's result."""
DELIVERY_OUTCOMES: Mapping[int, str] = {
    0: "Valid: complete, and every sheet is as it was signed. The sheets state: {stated}.",
    1: "Not valid: do not rely on this delivery.",
    3: "Intact as far as it was checked. The sheets state: {stated}.",
}
UNSIGNED = (
    "The delivery itself is not signed: sheets may be missing. Those included state: {stated}."
)
APART = (
    "Not valid as a delivery, although each sheet in it is valid by itself: see the steps that "
    "failed."
)
