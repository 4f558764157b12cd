"""What a certificate must allow so that its key may sign a sheet.

Certificates of web servers, too, have the key usage that signatures need: without a
look at the extended usage, whoever runs one under a trusted authority could sign.
"""

from __future__ import annotations

from cryptography import x509
from cryptography.x509.oid import ExtendedKeyUsageOID

__all__ = ["usage_fault"]

FOR_DOCUMENTS = frozenset(
    {
        ExtendedKeyUsageOID.ANY_EXTENDED_KEY_USAGE,
        ExtendedKeyUsageOID.EMAIL_PROTECTION,
        x509.ObjectIdentifier("1.3.6.1.5.5.7.3.36"),  # document signing, RFC 9336
        x509.ObjectIdentifier("1.3.6.1.4.1.311.10.3.12"),  # document signing, two vendors' own
        x509.ObjectIdentifier("1.2.840.113583.1.1.5"),
    }
)
"""Extended key usages, of which one must stand there where there are any."""


def usage_fault(certificate: x509.Certificate) -> str | None:
    """Why a certificate is not for signing documents; None if it is, or does not say."""
    try:
        usage = certificate.extensions.get_extension_for_class(x509.KeyUsage).value
        if not (usage.digital_signature or usage.content_commitment):
            return "is not for signing; expected key usage digitalSignature or nonRepudiation"
    except x509.ExtensionNotFound:
        pass
    try:
        extended = certificate.extensions.get_extension_for_class(x509.ExtendedKeyUsage).value
    except x509.ExtensionNotFound:
        return None
    if FOR_DOCUMENTS.isdisjoint(extended):
        return (
            "is for something else than documents; expected extended key usage "
            "emailProtection or documentSigning, or none"
        )
    return None
