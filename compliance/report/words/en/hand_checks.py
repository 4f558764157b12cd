"""What anyone can check of a sheet or a delivery without this program, and what that proves.

The programs are openssl, those of poppler (pdfsig, pdfdetach) and of coreutils (sha256sum, head,
tail). Words in capitals stand for the reader's own files and numbers.
"""

from __future__ import annotations

from dataclasses import dataclass

HEADING = "How to check this without our software"


@dataclass(frozen=True, slots=True)
class HandCheck:
    """Commands of a shell, and what they prove together."""

    commands: tuple[str, ...]
    proves: str


OF_CERTIFICATES = HandCheck(
    ("openssl x509 -in FACILITY.pem -noout -fingerprint -sha256",),
    "Whose signature you are about to check: have the number confirmed by another way than the one "
    "by which you got the file, such as the telephone.",
)

OF_SHEETS = (
    HandCheck(
        ("pdfsig SHEET.pdf",),
        "Who signed and when, by their own account. The last of the signatures has to say Total "
        "document signed: otherwise something was added after it.",
    ),
    OF_CERTIFICATES,
    HandCheck(
        (
            "pdfsig -dump SHEET.pdf",
            "(head -c A SHEET.pdf; head -c C SHEET.pdf | tail -c +$((B+1))) > signed.bin",
            "openssl cms -verify -binary -inform DER -in SHEET.pdf.sig0 -content signed.bin "
            "-CAfile FACILITY.pem -out /dev/null",
        ),
        "That the holder of the facility's key signed these bytes. A, B and C are from the line "
        "Signed Ranges: [0 - A], [B - C] of pdfsig; C is the size of the file as it was then.",
    ),
    HandCheck(
        ("pdfdetach -saveall SHEET.pdf", "sha256sum readings.* rule.json"),
        "That the attached readings and rule are those whose SHA-256 the sheet states. Every value "
        "can be computed again from them.",
    ),
)
"""With a sheet SHEET.pdf and the facility's certificate FACILITY.pem."""

NOT_ENOUGH = (
    "A viewer's “signature valid” is not enough: it says so as well of a sheet of which a page was "
    "painted over after signing, since the bytes that were signed are still there. And none of "
    "this shows that the verdict follows from the readings: compliance verify computes it again, "
    "and draws the pages again."
)

OF_DELIVERIES = (
    HandCheck(
        (
            "sha256sum --check --strict manifest-sha256.txt",
            "sha256sum --check --strict tagmanifest-sha256.txt",
        ),
        "That the files named in the two lists are as they were packed. Files that no list names "
        "are not part of the delivery.",
    ),
    OF_CERTIFICATES,
    HandCheck(
        (
            "openssl cms -verify -binary -inform DER -in signature.p7s "
            "-content tagmanifest-sha256.txt -CAfile FACILITY.pem -out /dev/null",
        ),
        "That the holder of the facility's key signed the lists, if there is a signature.p7s.",
    ),
)
"""In the folder of a delivery, unpacked, with the facility's certificate FACILITY.pem."""
