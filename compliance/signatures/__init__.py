"""Read the signatures of a PDF: what they cover, who made them, when, and their faults.

Stricter than a plain validation, which lets pass bytes after the end of the file,
rewritten metadata, and whatever of the signature container is not signed itself.
A fault is a sentence; no faults means that the file is as it was when signed last,
and that nothing but the expected signatures came after the first.
"""

from compliance.signatures.attached import read_attachments
from compliance.signatures.reading import Seal, Signature, count_signatures, read_signatures
from compliance.signatures.stamps import Stamp

__all__ = [
    "Seal",
    "Signature",
    "Stamp",
    "count_signatures",
    "read_attachments",
    "read_signatures",
]
