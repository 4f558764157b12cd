"""Verify a sheet: is it intact, who signed it, when, and does its evidence give the same result?

The plan; the functions of `steps` carry it out.

    1  The file is as it was when last signed: every signature is valid and covers what it
       must, the fields are the expected ones, nothing was added after the last signature.
    2  The signer, by certificate, and whether that certificate is trusted as the facility's; a
       second signature has another key, and one that is trusted as the client's.
    3  The time of signing, claimed by the signer or stamped by an authority, is within the
       certificate's validity; the facility signed within three days of the assessment, others
       not before it, nobody in the future; attached deviations had effect then.
    4  All attachments are present under their fixed names, with the digests that the
       assessment states; deviations among them are signed by a person trusted as the client's,
       and not with a key of the organisation that signed the sheet.
    5  The assessment, recomputed from the attachments with the draws of every document, is as
       stated. A verdict that arithmetic alone can turn is told both ways and not judged. Of a
       sheet of an earlier engine evidence, rule and limits must be as stated; its outcome is told
       beside today's and not judged. A sheet of a later engine is not recomputed.
    6  The pages, drawn again from the attachments, are those of the sheet, and so are the boxes
       of the signatures, drawn again from what these state; what another version or other
       libraries drew may differ and is not compared. Never may a sheet have hidden parts,
       actions or other fields.
    7  The rule is the one that is shipped under its id and revision, or a copy that the client
       gives; a house rule's departures from its parent have their records.

What was not compared or not judged is no fault, and the sheet is not called valid.

Steps 1 to 4 are carried out even if an earlier one failed, so that all changes of a sheet are
found; 5 to 7 only on a file that is as it was signed, since anyone can make another that costs
much to compute. An exception in a step means that it failed.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from compliance.documents import statement
from compliance.evidence.attachments import Attached, Document, largest_size, read_assessment
from compliance.lettering.choose import Lettering, stated_letters
from compliance.lettering.font_files import given_fonts
from compliance.lettering.texts import signer_texts
from compliance.model import Statement
from compliance.model.results import (
    Check,
    Expected,
    Status,
    Step,
    Today,
    Verification,
    known_rules,
)
from compliance.model.signatures import Signer
from compliance.signing.attached_files import read_attachments
from compliance.signing.certificates import read_certificates
from compliance.signing.pyhanko_key import run_outside_event_loop
from compliance.signing.read import PdfSignatures, read_signatures
from compliance.signing.revocation import read_list
from compliance.time_zones import Zone, statement_in, zone_as_stated
from compliance.verification.compare import tool_version
from compliance.verification.page_check import check_pages
from compliance.verification.signer_check import check_signer, countersigned
from compliance.verification.steps import (
    WithheldError,
    check_attachments,
    check_intact,
    check_recomputation,
    one_line,
    result_or_exception,
)
from compliance.verification.time_check import check_times
from compliance.verification.versions import Standing, standing
from compliance.yaml_nodes.json_schema import as_time

if TYPE_CHECKING:
    from compliance.model import Assessment, Rule


LARGEST_SHEET = 64 << 20
"""Most bytes of a sheet; real ones have some hundred thousand."""


def verify_sheet(
    data: bytes,
    *,
    trust: Sequence[bytes] = (),
    client_trust: Sequence[bytes] = (),
    timestamp_trust: Sequence[bytes] = (),
    any_signer: bool = False,
    now: datetime | None = None,
    rules: Sequence[Rule | str] = (),
    crls: Sequence[bytes] = (),
    fonts: Sequence[Path] = (),
) -> Verification:
    """Carry out the plan on a sheet's bytes.

    `trust` holds certificates, PEM or DER: of a facility's signer, or of an authority that issues
    them; `client_trust` likewise of people who countersign and accept deviations, and
    `timestamp_trust` of time-stamping authorities, and requires a time stamp of every
    signature. With `any_signer` step 2 accepts any signer. `now` (aware) is the time after which
    nothing can have been signed; without it this is not checked. `rules` are your own copies of
    rules that are not shipped, loaded, or the 64 hex digits of their digests. `crls` are
    revocation lists, PEM or DER, beside those that the sheet contains; `fonts` are files of type
    faces that its letters may be drawn with, beside the system's. Raises IdentityError if a
    file of trust contains no certificate, or one of `crls` no list, SheetError if one of `fonts`
    cannot be used; a file that is not a sheet
    raises nothing, its steps fail. Can be called while an event loop is running.
    """
    if fonts:
        given_fonts(fonts)  # SheetError now, not as a fault of the sheet
    expected = Expected(
        signers=tuple(signer for each in trust for signer in read_certificates(each)),
        stamping=tuple(signer for each in timestamp_trust for signer in read_certificates(each)),
        any_signer=any_signer,
        clients=tuple(signer for each in client_trust for signer in read_certificates(each)),
        lists=tuple(map(read_list, crls)),
        now=now,
        rules=known_rules(rules),
        fonts=tuple(fonts),
    )
    return verify_as(data, expected)


def verify_as(data: bytes, expected: Expected) -> Verification:
    """Carry out the plan as `verify_sheet` does, with certificates already read."""
    return run_outside_event_loop(lambda: _verified(data, expected))


def _verified(data: bytes, expected: Expected) -> Verification:
    seal = result_or_exception(
        lambda: read_signatures(
            _checked(data),
            expected.signers,
            expected.stamping,
            expected.clients,
            expected.lists,
        )
    )
    file = seal.file if isinstance(seal, PdfSignatures) else None
    attached = result_or_exception(
        lambda: read_attachments(_checked(data), largest=largest_size, file=file)
    )
    stated = (
        attached
        if isinstance(attached, Exception)
        else result_or_exception(lambda: read_assessment(attached))
    )
    letters = _letters(seal, stated, expected)
    again = _again(seal, attached, stated, letters)
    document = stated if isinstance(stated, Mapping) else {}
    zone = _zone(again)
    steps = (
        check_intact(seal),
        check_signer(seal, expected, stated),
        check_times(
            seal,
            stated,
            attached,
            stamps_asked=bool(expected.stamping),
            now=expected.now,
        ),
        check_attachments(attached, stated, expected, _facility(seal)),
        check_recomputation(stated, again),
        check_pages(data, seal, stated, again, letters, expected.fonts),
        _rule_step(stated, again, expected),
    )
    until = _end(document, again)
    return Verification(
        steps=tuple(_step_in(zone, step) for step in steps),
        signatures=seal.signatures if isinstance(seal, PdfSignatures) else (),
        stamps=seal.stamps if isinstance(seal, PdfSignatures) else (),
        number=_word(document.get("number")),
        verdict=_word(document.get("verdict")),
        disposition=_word(document.get("disposition")),
        conditional=document.get("conditional") is True,
        replaces=_word(document.get("replaces")),
        engine=_whole(tool_version(document)[1]),
        today=_today(document, again),
        valid_until=until and zone.local(until),
        countersigned=countersigned(seal, expected),
    )


def _zone(again: Assessment | Exception) -> Zone:
    """Return the time zone of the job; UTC if its evidence could not be read."""
    if isinstance(again, Exception) or again.job is None:
        return Zone()
    return replace(zone_as_stated(statement(again).timezone), name=again.job.timezone)


def _step_in(zone: Zone, step: Step) -> Step:
    details = tuple(statement_in(zone, each) for each in step.details)
    return replace(step, result=statement_in(zone, step.result), details=details)


def _end(stated: Document, again: Assessment | Exception) -> datetime | None:
    """Return when the verdict's validity ends, stated or computed, whichever is first."""
    text = stated.get("valid_until")
    ends = [as_time(text) if isinstance(text, str) else None]
    if not isinstance(again, Exception):
        ends.append(again.valid_until)
    return min((end for end in ends if end is not None), default=None)


def _today(stated: Document, again: Assessment | Exception) -> Today | None:
    """Return the outcome that comes out of the evidence by definitions that are known here."""
    if isinstance(again, Exception) or standing(*tool_version(stated)) is Standing.LATER_ENGINE:
        return None
    return Today(again.state.verdict, again.state.conditional, again.disposition)


def _rule_step(
    stated: Document | Exception, again: Assessment | Exception, expected: Expected
) -> Step:
    """Check the rule (7), where it could be read."""
    if isinstance(again, WithheldError):
        return Step(Check.RULE, Status.NOT_DONE, again.why)
    if isinstance(stated, Mapping) and (standing(*tool_version(stated)) is Standing.LATER_ENGINE):
        return Step(Check.RULE, Status.NOT_DONE, Statement("rule-of-later"))
    if isinstance(again, Exception):
        return Step(Check.RULE, Status.FAIL, Statement("no-evidence"))
    from compliance.verification.shipped_rule import check_rule

    rule = again.measurement.rule
    step = result_or_exception(lambda: check_rule(rule, expected.rules))
    if not isinstance(step, Exception):
        return step
    return Step(Check.RULE, Status.FAIL, Statement("not-computable", {"fault": one_line(step)}))


def _letters(
    seal: PdfSignatures | Exception, stated: Document | Exception, expected: Expected
) -> Lettering | Exception:
    """Find the faces that a signed sheet states."""
    if isinstance(seal, Exception) or isinstance(stated, Exception) or seal.all_faults:
        return Lettering()
    return result_or_exception(lambda: stated_letters(stated, expected.fonts))


def _again(
    seal: PdfSignatures | Exception,
    attached: Attached | Exception,
    stated: Document | Exception,
    letters: Lettering | Exception,
) -> Assessment | Exception:
    """Recompute the assessment of a signed sheet, once for all steps that need it."""
    if isinstance(seal, Exception) or not seal.signatures or seal.all_faults:
        return WithheldError(unsigned=isinstance(seal, PdfSignatures) and not seal.signatures)
    if isinstance(attached, Exception):
        return attached
    for fault in (stated, letters):
        if isinstance(fault, Exception):
            return fault
    faces = letters.faces if isinstance(letters, Lettering) else ()
    names = signer_texts(seal.signatures[0].signer)
    return result_or_exception(lambda: _assess()(attached, faces=faces, signed_by=names))


def _facility(seal: PdfSignatures | Exception) -> Signer | None:
    """Return the signer of the first signature."""
    return (
        seal.signatures[0].signer if isinstance(seal, PdfSignatures) and seal.signatures else None
    )


def _assess() -> Callable[..., Assessment]:
    from compliance.evidence.recompute import assess_again

    return assess_again


def _checked(data: bytes) -> bytes:
    if not data.startswith(b"%PDF-"):
        raise ValueError("it is not a PDF")
    if len(data) > LARGEST_SHEET:
        raise ValueError(f"it has {len(data)} bytes; expected at most {LARGEST_SHEET}")
    return data


def _whole(value: Any) -> int | None:
    return value if isinstance(value, int) and not isinstance(value, bool) else None


def _word(value: Any) -> str | None:
    return value if isinstance(value, str) else None
