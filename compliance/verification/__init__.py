"""Check a sheet: is it whole, whose is it, when, and does its evidence still say the same?

The plan; `seal`, `evidence` and `pages` carry it out.

    1  The file is as it was when signed last: every signature holds and covers what it
       must, the fields are the expected ones, nothing was added after the last signature.
    2  The signer, by certificate, and whether that certificate is trusted; a second
       signature is of another key.
    3  The time of signing, claimed by the signer or stamped by an authority, lies within
       the certificate's validity.
    4  The attachments are all there under their fixed names, with the digests that the
       assessment states; deviations among them are signed by somebody trusted, and not
       with the key that signed the sheet first.
    5  The assessment, computed again from the attachments, comes out as stated.
    6  The pages, drawn again from the attachments, are those of the sheet; pages that
       another version drew, or other libraries, may look otherwise and are not compared.

Every step is carried out, whatever became of those before it: a sheet that was
changed shall say what was changed. An exception in a step means that it failed.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import TYPE_CHECKING, Any

from compliance.enclosures import Attached, Document, stated_in
from compliance.identity import Signer, read_certificates
from compliance.loops import apart
from compliance.signatures import Seal, read_attachments, read_signatures
from compliance.verification.evidence import as_stated, computed_again
from compliance.verification.outcome import (
    TITLES,
    Expected,
    Outcome,
    Status,
    Step,
    Verification,
    attempt,
)
from compliance.verification.pages import as_drawn
from compliance.verification.seal import intact, signed_by, signed_when

if TYPE_CHECKING:
    from compliance.model import Assessment

__all__ = [
    "LARGEST_SHEET",
    "Expected",
    "Status",
    "Step",
    "Verification",
    "verify_as",
    "verify_sheet",
]

LARGEST_SHEET = 64 << 20
"""Bytes of a sheet, and of each attachment; real ones have some hundred thousand."""


def verify_sheet(
    data: bytes,
    *,
    trust: Sequence[bytes] = (),
    timestamp_trust: Sequence[bytes] = (),
    any_signer: bool = False,
) -> Verification:
    """Carry out the plan on a sheet's bytes.

    `trust` holds certificates, PEM or DER: a signer's own, or of an authority that issues
    them; `timestamp_trust` likewise those of time-stamping authorities, and asks every
    signature for a stamp. With `any_signer` step 2 holds for whoever signed. Raises
    IdentityError if one of them holds no certificate; a file that is no sheet raises
    nothing, its steps fail. Can be called where an event loop is running.
    """
    expected = Expected(
        signers=tuple(signer for each in trust for signer in read_certificates(each)),
        stamping=tuple(signer for each in timestamp_trust for signer in read_certificates(each)),
        any_signer=any_signer,
    )
    return verify_as(data, expected)


def verify_as(data: bytes, expected: Expected) -> Verification:
    """As `verify_sheet`, by certificates that were read already."""
    return apart(lambda: _verified(data, expected))


def _verified(data: bytes, expected: Expected) -> Verification:
    seal = attempt(lambda: read_signatures(_checked(data), expected.signers, expected.stamping))
    attached = attempt(lambda: read_attachments(_checked(data), largest=LARGEST_SHEET))
    stated = attached if isinstance(attached, Exception) else attempt(lambda: stated_in(attached))
    again = _again(attached, stated)
    outcomes: tuple[Outcome, ...] = (
        intact(seal),
        signed_by(seal, expected.signers, expected.any_signer),
        signed_when(seal, bool(expected.stamping)),
        as_stated(attached, stated, expected, _facility(seal)),
        computed_again(stated, again if isinstance(again, Exception) else again.document),
        as_drawn(_certified(data, seal), stated, again, signed=_meant_signed(seal)),
    )
    document = stated if isinstance(stated, Mapping) else {}
    return Verification(
        steps=tuple(
            Step(number, title, *outcome)
            for number, (title, outcome) in enumerate(zip(TITLES, outcomes, strict=True), 1)
        ),
        signatures=seal.signatures if isinstance(seal, Seal) else (),
        number=_word(document.get("number")),
        verdict=_word(document.get("verdict")),
        disposition=_word(document.get("disposition")),
        conditional=document.get("conditional") is True,
    )


def _again(attached: Attached | Exception, stated: Document | Exception) -> Assessment | Exception:
    """The assessment computed again, once for the steps that need it."""
    if isinstance(attached, Exception):
        return attached
    return stated if isinstance(stated, Exception) else attempt(lambda: _assess()(attached))


def _facility(seal: Seal | Exception) -> Signer | None:
    """Whose the first signature is."""
    return seal.signatures[0].signer if isinstance(seal, Seal) and seal.signatures else None


def _meant_signed(seal: Seal | Exception) -> bool:
    """Whether the pages were drawn to be signed, as far as can be seen."""
    return isinstance(seal, Exception) or bool(seal.signatures)


def _assess() -> Callable[[Attached], Assessment]:
    from compliance.evidence import assess_again

    return assess_again


def _certified(data: bytes, seal: Seal | Exception) -> bytes:
    """The file as its facility signed it: what came later is a matter of step 1."""
    return data[: seal.certified] if isinstance(seal, Seal) and seal.certified else data


def _checked(data: bytes) -> bytes:
    if not data.startswith(b"%PDF-"):
        raise ValueError("it does not begin as a PDF does")
    if len(data) > LARGEST_SHEET:
        raise ValueError(f"it has {len(data)} bytes; a sheet has {LARGEST_SHEET} at most")
    return data


def _word(value: Any) -> str | None:
    return value if isinstance(value, str) else None
