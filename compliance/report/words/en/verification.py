"""What the steps of a verification come to: of a sheet, and of a delivery."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import UTC, datetime

from compliance.model.results import Check

SHORT = 16
"""Digits of a digest that tell two of one name apart."""

CHECKS: Mapping[Check, str] = {
    Check.INTACT: "file intact",
    Check.SIGNER: "signer",
    Check.TIMES: "time of signing",
    Check.ATTACHMENTS: "attachments",
    Check.RECOMPUTATION: "computed again",
    Check.PAGES: "pages",
    Check.WHOLE: "delivery whole",
    Check.SIGNED: "delivery signed",
    Check.SHEETS: "sheets",
    Check.AS_STATED: "as stated",
}


def format_utc(moment: datetime) -> str:
    """A time as it is printed."""
    return f"{moment.astimezone(UTC):%Y-%m-%d %H:%M} UTC"


# ---------------------------------------------------------------- who


def holder(name: str, organisation: str | None, email: str | None, issuer: str | None) -> str:
    """Whose a certificate is, and who issued it; None: itself."""
    kind = "self-issued" if issuer is None else f"issued by {issuer}"
    return f"{', '.join(word for word in (name, organisation, email) if word)} ({kind})"


def signer(role: str | None, trust: str, name: str, **more: str | None) -> str:
    who = f"{holder(name, **more)}: {trust}"
    return who if role is None else f"{role}: {who}"


def signed_twice(name: str, **more: str | None) -> str:
    who = holder(name, **more)
    return f"{who} signed twice, with one key; a second signature is somebody else's"


def signer_untrusted(trust: str, why_not: str) -> str:
    return f"{trust}: {why_not}" if why_not else trust


def countersigned_untrusted(trust: str, why_not: str) -> str:
    return f"countersigned; {signer_untrusted(trust, why_not)}"


def namesake(key: str) -> Callable[..., str]:
    """That another certificate or key of the same name is trusted."""

    def text(own: str, trusted: str) -> str:
        return (
            f"not among the trusted certificates: signed with another {key} of that name: "
            f"SHA-256 {own[:SHORT]}…; trusted is {trusted[:SHORT]}…"
        )

    return text


# ---------------------------------------------------------------- when


def when(moment: datetime, by_stamp: bool) -> str:
    how = "by a trusted time stamp" if by_stamp else "as the signer claims"
    return f"{format_utc(moment)} {how}"


def validity(valid_from: datetime, valid_to: datetime) -> str:
    return f"certificate valid {format_utc(valid_from)} to {format_utc(valid_to)}"


def time(moment: datetime, by_stamp: bool, **dates: datetime) -> str:
    return f"{when(moment, by_stamp)}; {validity(**dates)}"


def time_outside(moment: datetime, by_stamp: bool, **dates: datetime) -> str:
    return f"{when(moment, by_stamp)}, outside its certificate's dates ({validity(**dates)})"


def time_unstamped(moment: datetime, by_stamp: bool, **dates: datetime) -> str:
    return f"no time stamp: {time(moment, by_stamp, **dates)}"


def time_claimed_after_stamp(claimed: datetime, stamped: datetime) -> str:
    return f"claimed for {format_utc(claimed)}, but stamped at {format_utc(stamped)} already"


def time_stamped(moment: datetime, by_stamp: bool, authority: str, **dates: datetime) -> str:
    return f"{when(moment, by_stamp)}, {authority}; {validity(**dates)}"


def other_time(moment: datetime, by_stamp: bool, authority: str, stamped: datetime) -> str:
    stamp = f"a time stamp of {authority} says {format_utc(stamped)}"
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
        f"{other_time(moment, by_stamp, authority, stamped)}, but its authority is not among the "
        f"trusted{why}; {validity(**dates)}"
    )


# ---------------------------------------------------------------- what


def intact(count: int) -> str:
    if count == 1:
        return "as it was signed: 1 signature covers the whole file"
    return f"as it was signed: {count} signatures, the last covers all"


def attachments(names: tuple[str, ...]) -> str:
    return f"{', '.join(names)}: as stated"


def attachments_acceptor_untrusted(names: tuple[str, ...]) -> str:
    return f"{attachments(names)}; a deviation's signer is not among the trusted"


def sheet_step(path: str, check: str, result: str) -> str:
    return f"{path}: {CHECKS[Check(check)]}: {result}"


def all_hold(count: int) -> str:
    return "it holds" if count == 1 else f"all {count} hold"


STEPS: Mapping[str, str | Callable[..., str]] = {
    "more": "and {count} more",
    # 1: the file
    "unreadable-pdf": "cannot be read as a signed PDF: {fault}",
    "unsigned": "NOT SIGNED: nobody vouches for this sheet",
    "changed": "changed after it was signed, or never a sheet",
    "intact": intact,
    "only-signed": "{field}, {role}: nothing but this signature came since the one before",
    # 2: who
    "no-signer": "no signature to tell the signer by",
    "signed-twice": signed_twice,
    "signer": signer,
    "certificate-digest": "SHA-256 {sha256}",
    "name-trusted": "not checked; --trust CERTIFICATE says whom you expect",
    "signer-untrusted": signer_untrusted,
    "countersigned-untrusted": countersigned_untrusted,
    "any-signer": "accepted as any signer would be, not checked",
    "trust-unchecked": "not checked",
    "not-trusted": "not among the trusted certificates",
    "namesake-trusted.key": namesake("key"),
    "namesake-trusted.certificate": namesake("certificate"),
    # 3: when
    "no-time": "no signature to tell the time by",
    "by-role": "{role}: {statement}",
    "time-unnamed": "the signature names no time",
    "time": time,
    "time-outside-certificate": time_outside,
    "time-unstamped": time_unstamped,
    "time-claimed-after-stamp": time_claimed_after_stamp,
    "time-stamped": time_stamped,
    "time-stamp-unchecked": time_stamp_unchecked,
    "time-stamp-untrusted": time_stamp_untrusted,
    # 4: the attachments
    "unreadable-attachments": "cannot be read: {fault}",
    "not-the-source": "not what the assessment was made from",
    "shapeless": "assessment.json has not the shape of one",
    "attachments": attachments,
    "attachments.acceptor-untrusted": attachments_acceptor_untrusted,
    # 5: computed again
    "no-attachments": "not possible without the attachments",
    "not-computable": "not possible: {fault}",
    "same-again": "every value, limit and verdict comes out as stated",
    "other-remarks": "comes out as stated; version {version} had other remarks",
    "stated-less": (
        "comes out as stated; version {version} did not state all that is stated today"
    ),
    "other-definitions": (
        "stated with definitions {stated}, computed with {computed}: {count} differences, which "
        "that may explain"
    ),
    # 6: the pages
    "pages-unsigned": "not compared: the sheet is not signed",
    "no-evidence": "not possible without the evidence",
    "same-pages": "drawn again from the evidence, they are those of the sheet",
    "pages-of-version": "not compared: version {theirs} drew them, and this is {ours}",
    "pages-of-program": "not compared: {theirs} drew them, and this is {ours}",
    "pages-of-other-digits": (
        "not compared: the assessment, computed again, is not the same to the last digit"
    ),
    "pages-damaged": "the pages cannot be compared: the file is damaged",
    "other-pages": "the pages do not show what the evidence says",
    # of a delivery
    "not-as-packed": "not as it was packed",
    "as-packed": "{count} files as the manifests state",
    "only-sheets-signed": "not signed as a whole: only its sheets are",
    "signature-faulty": "{file}: {fault}",
    "delivery-signer": "{who}: {trust}",
    "list-signed": ("signed is the list of what was packed; the files are not as it says (step 1)"),
    "no-sheet": "there is no sheet in it",
    "sheet-step": sheet_step,
    "sheets-untrusted": "{count} of {all} are signed by nobody trusted",
    "sheets-broken": "{count} of {all} do not hold",
    "sheets-unchecked": "{count} of {all} not fully checked",
    "all-hold": all_hold,
    "states-otherwise": "what the delivery states is not what its sheets are",
    "as-listed": "{sheets} sheets with {signatures} signatures, as listed",
    "not-compared": "{file}: not compared with the sheets: {theirs} wrote it, and this is {ours}",
}

# ---------------------------------------------------------------- the outcome

SHEET_OUTCOMES: Mapping[int, str] = {
    0: "Intact, and computed again as stated. It says: {said}.",
    1: "NOT to be relied on, whatever it says.",
    3: "Intact as far as it was checked. It says: {said}.",
}
PAGES_UNCHECKED = " Whether its pages say so too was not checked."
DELIVERY_OUTCOMES: Mapping[int, str] = {
    0: "Whole, and every sheet in it is as it was signed. They say: {said}.",
    1: "NOT to be relied on as it is.",
    3: "Intact as far as it was checked. The sheets say: {said}.",
}
UNSIGNED = (
    "Nobody has signed that this is all of it: sheets may be missing. Those here say: {said}."
)
APART = (
    "NOT to be relied on as it is, though each sheet in it holds by itself: the steps that fail "
    "say what is wrong around them."
)
