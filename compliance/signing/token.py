"""Keys that never leave a token: smart cards, USB tokens and modules with PKCS#11 (OASIS).

The token makes only the raw signature over a digest computed here: every token has the
mechanisms for this, CKM_ECDSA and CKM_RSA_PKCS.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from cryptography import x509
from cryptography.hazmat.primitives.asymmetric import ec, rsa

from compliance.errors import IdentityError, UsageError
from compliance.signing.certificates import signer_of
from compliance.signing.keys import (
    Identity,
    issuers_of,
    own_certificate,
    read_chain,
    require_key_size,
)

SHA256_INFO = bytes.fromhex("3031300d060960864801650304020105000420")
"""The prefix of a SHA-256 digest in an RSA signature (RFC 8017, 9.2, note 1)."""
MISSING = (
    "--pkcs11-module requires the package python-pkcs11; install it with: "
    "pip install 'deliverable-compliance[pkcs11]'"
)
ANSWERS = {
    "PinIncorrect": "the PIN is wrong; a token locks itself after a few wrong ones",
    "PinInvalid": "the PIN is wrong; a token locks itself after a few wrong ones",
    "PinLenRange": "the PIN is too short or too long",
    "PinLocked": "its PIN is locked after too many wrong ones",
    "PinExpired": "its PIN has expired",
    "UserPinNotInitialized": "it has no PIN yet",
    "DeviceRemoved": "it was removed",
    "TokenNotPresent": "no token in the slot",
    "TokenNotRecognised": "the module does not know this token",
}
"""The errors of a module in words, by the names of the library's exceptions."""


@dataclass(frozen=True, slots=True)
class TokenIdentity(Identity):
    """A key in a token, with its certificate. `key` is empty; the token signs."""

    handle: Any = field(default=None, repr=False, compare=False)
    """The library's object of the private key, its session open."""

    def sign(self, data: bytes) -> bytes:
        """Sign as `Identity.sign` does, in the token. Raises IdentityError if that fails."""
        import pkcs11
        from pkcs11.util.ec import encode_ecdsa_signature

        digest = hashlib.sha256(data).digest()
        try:
            if self.handle.key_type == pkcs11.KeyType.EC:
                raw = self.handle.sign(digest, mechanism=pkcs11.Mechanism.ECDSA)
                return bytes(encode_ecdsa_signature(raw))
            return bytes(
                self.handle.sign(SHA256_INFO + digest, mechanism=pkcs11.Mechanism.RSA_PKCS)
            )
        except pkcs11.PKCS11Error as fault:
            raise IdentityError(f"the token did not sign: {_why(fault)}") from None


def find_token(module: Path, label: str | None) -> Any:
    """Return the token with a label, or the only one, as the library's object.

    Raises UsageError if the library is not installed, IdentityError if the module cannot be
    loaded or there is no such token.
    """
    try:
        import pkcs11
    except ImportError:
        raise UsageError(MISSING) from None
    if not module.is_file():
        raise IdentityError(f"{module}: is not a file; expected a PKCS#11 module (.so, .dll)")
    try:
        library = pkcs11.lib(str(module.resolve()))
        tokens = [slot.get_token() for slot in library.get_slots(token_present=True)]
    except (pkcs11.PKCS11Error, OSError, RuntimeError) as fault:
        raise IdentityError(f"{module}: is not a working PKCS#11 module: {_why(fault)}") from None
    ready = [token for token in tokens if pkcs11.TokenFlag.TOKEN_INITIALIZED in token.flags]
    matching = [token for token in ready if label is None or token.label == label]
    if len(matching) == 1:
        return matching[0]
    labels = ", ".join(repr(token.label) for token in ready) or "none"
    problem = "has several tokens" if label is None else f"has no token {label!r}"
    if not ready:
        problem = "has no token"
    elif len(matching) > 1 and label is not None:
        problem = f"has several tokens {label!r}"
    raise IdentityError(f"{module}: {problem}; found {labels}; choose one with --token LABEL")


def open_token(
    token: Any, key_label: str | None, pin: str | None, chain: bytes | None, chain_file: str
) -> TokenIdentity:
    """Open a token with its PIN and take its key, by label or the only one.

    The key's certificate is in the token, or among those of `chain`. Raises IdentityError, in
    one line; a wrong PIN is tried once.
    """
    import pkcs11

    name = f"token {token.label!r}"
    try:
        session = token.open(user_pin=pin)
        key = _key(session, key_label, name)
        found = list(_certificates(session))
    except pkcs11.PKCS11Error as fault:
        raise IdentityError(f"{name}: {_why(fault)}") from None
    whose = f"{name}, key {key.label!r}"
    if chain is not None:
        found += read_chain(chain, chain_file)
        whose = f"{whose} and {chain_file}"
    own = _own(key, found, whose)
    require_key_size(own.public_key(), whose)
    return TokenIdentity(signer=signer_of(own), key=b"", chain=issuers_of(own, found), handle=key)


def _key(session: Any, label: str | None, name: str) -> Any:
    import pkcs11

    wanted: dict[Any, Any] = {pkcs11.Attribute.CLASS: pkcs11.ObjectClass.PRIVATE_KEY}
    if label is not None:
        wanted[pkcs11.Attribute.LABEL] = label
    keys = list(session.get_objects(wanted))
    if len(keys) != 1:
        everything = session.get_objects({pkcs11.Attribute.CLASS: pkcs11.ObjectClass.PRIVATE_KEY})
        labels = ", ".join(sorted(repr(each.label) for each in everything)) or "none"
        what = "key" if label is None else f"key {label!r}"
        count = "no" if not keys else "more than one"
        raise IdentityError(f"{name}: {count} {what}; it has {labels}; choose one with --key-label")
    if keys[0].key_type not in (pkcs11.KeyType.EC, pkcs11.KeyType.RSA):
        raise IdentityError(f"{name}: its key is neither EC nor RSA; expected one of these")
    return keys[0]


def _certificates(session: Any) -> Iterable[x509.Certificate]:
    import pkcs11

    for each in session.get_objects({pkcs11.Attribute.CLASS: pkcs11.ObjectClass.CERTIFICATE}):
        with suppress(ValueError, pkcs11.PKCS11Error):
            yield x509.load_der_x509_certificate(bytes(each[pkcs11.Attribute.VALUE]))


def _own(key: Any, found: list[x509.Certificate], whose: str) -> x509.Certificate:
    return own_certificate(lambda each: _fits(key, each.public_key()), found, whose)


def _fits(key: Any, public: object) -> bool:
    import pkcs11

    if key.key_type == pkcs11.KeyType.RSA:
        return isinstance(public, rsa.RSAPublicKey) and (
            int.from_bytes(key[pkcs11.Attribute.MODULUS], "big") == public.public_numbers().n
        )
    return isinstance(public, ec.EllipticCurvePublicKey) and _signs_for(key, public)


def _signs_for(key: Any, public: ec.EllipticCurvePublicKey) -> bool:
    """Try a signature: an elliptic private key in a token does not reveal its public key."""
    import pkcs11
    from cryptography.exceptions import InvalidSignature
    from cryptography.hazmat.primitives import hashes
    from pkcs11.util.ec import encode_ecdsa_signature

    trial = b"Which certificate is this key's?"
    raw = key.sign(hashlib.sha256(trial).digest(), mechanism=pkcs11.Mechanism.ECDSA)
    try:
        public.verify(encode_ecdsa_signature(raw), trial, ec.ECDSA(hashes.SHA256()))
    except (InvalidSignature, ValueError):
        return False
    return True


def _why(fault: BaseException) -> str:
    lines = str(fault).strip().splitlines()
    return ANSWERS.get(type(fault).__name__) or (lines[0] if lines else type(fault).__name__)
