"""The holder that a certificate names, and the usages it needs to sign a sheet.

Certificates of web servers also have the key usage that signatures need: if the extended
usage were not checked, anyone with a server under a trusted authority could sign.
"""

from __future__ import annotations

import unicodedata

from asn1crypto import x509 as asn1
from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

from compliance.errors import IdentityError
from compliance.model.signatures import Signer


def signer_of(certificate: x509.Certificate) -> Signer:
    """Return the holder that a certificate names; IdentityError if it is malformed anywhere."""
    try:
        _read_all_parts(certificate)
        return _signer_of(certificate)
    except Exception as fault:
        # The libraries read extensions, names and keys when asked for, and raise any exception.
        raise IdentityError(MALFORMED) from fault


MALFORMED = "a certificate is malformed: its names, key, dates or extensions cannot be read"


def _read_all_parts(certificate: x509.Certificate) -> None:
    """Read what is read later, by both libraries."""
    der = certificate.public_bytes(serialization.Encoding.DER)
    same_key(der, der)
    list(certificate.extensions)
    parts = asn1.Certificate.load(der)["tbs_certificate"]
    for name in ("subject", "issuer", "validity", "subject_public_key_info"):
        _ = parts[name].native
    for extension in parts["extensions"]:
        if not extension["extn_id"].native[0].isdigit():
            _ = extension["extn_value"].parsed.native


def _signer_of(certificate: x509.Certificate) -> Signer:
    subject = certificate.subject
    return Signer(
        name=_attribute(subject, NameOID.COMMON_NAME) or subject.rfc4514_string(),
        organisation=_attribute(subject, NameOID.ORGANIZATION_NAME),
        email=_email(certificate),
        issuer=certificate.issuer.rfc4514_string(),
        self_issued=certificate.issuer == subject,
        not_before=certificate.not_valid_before_utc,
        not_after=certificate.not_valid_after_utc,
        fingerprint=certificate.fingerprint(hashes.SHA256()).hex(),
        certificate=certificate.public_bytes(serialization.Encoding.DER),
    )


def read_certificates(data: bytes, *, file: str = "certificate") -> tuple[Signer, ...]:
    """Read one or more certificates, PEM or DER; raises IdentityError if there is none."""
    try:
        if b"-----BEGIN" in data:
            found = x509.load_pem_x509_certificates(data)
        else:
            found = [x509.load_der_x509_certificate(data)]
    except (ValueError, x509.InvalidVersion) as fault:
        raise IdentityError(
            f"{file}: holds no certificate; expected PEM ('-----BEGIN CERTIFICATE-----') or DER"
        ) from fault
    try:
        return tuple(signer_of(certificate) for certificate in found)
    except IdentityError as fault:
        raise IdentityError(f"{file}: {fault}") from fault


def same_key(one: bytes, other: bytes) -> bool:
    """Return whether two certificates (DER) are for the same key, e.g. after a renewal."""
    return _public(one) == _public(other)


def same_organisation(one: Signer, other: Signer) -> bool:
    """Return whether two certificates name one organisation, spaces and case aside."""
    names = [_plain(each.organisation or "") for each in (one, other)]
    return bool(names[0]) and names[0] == names[1]


def _plain(name: str) -> str:
    return " ".join(unicodedata.normalize("NFKC", name).split()).casefold()


def _public(certificate: bytes) -> bytes:
    key = x509.load_der_x509_certificate(certificate).public_key()
    return key.public_bytes(
        serialization.Encoding.DER, serialization.PublicFormat.SubjectPublicKeyInfo
    )


def _attribute(name: x509.Name, kind: x509.ObjectIdentifier) -> str | None:
    found = name.get_attributes_for_oid(kind)
    return str(found[0].value) if found else None


def _email(certificate: x509.Certificate) -> str | None:
    try:
        names = certificate.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    except x509.ExtensionNotFound:
        return _attribute(certificate.subject, NameOID.EMAIL_ADDRESS)
    found = names.get_values_for_type(x509.RFC822Name)
    return found[0] if found else None


FOR_DOCUMENTS = frozenset(
    {
        ExtendedKeyUsageOID.ANY_EXTENDED_KEY_USAGE,
        ExtendedKeyUsageOID.EMAIL_PROTECTION,
        x509.ObjectIdentifier("1.3.6.1.5.5.7.3.36"),  # document signing, RFC 9336
        x509.ObjectIdentifier("1.3.6.1.4.1.311.10.3.12"),  # document signing, two vendors' own
        x509.ObjectIdentifier("1.2.840.113583.1.1.5"),
    }
)
"""Extended key usages; if a certificate has any, one of these must be among them."""


def usage_fault(certificate: x509.Certificate) -> str | None:
    """Return why a certificate is not for signing documents; None if it is or may be."""
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
            "is not for documents; expected extended key usage emailProtection or "
            "documentSigning, or none"
        )
    return None
