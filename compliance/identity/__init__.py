"""A signer's identity: a private key with its certificate.

`issue` makes a self-issued one, or a request to an authority; `keys` opens files that
hold one, `usage` says what a certificate must allow, `signer` what it says of its holder.
"""

from compliance.identity.issue import LIFE, SHORTEST_PASSWORD, new_identity, new_request
from compliance.identity.keys import Identity, load_identity, needs_password
from compliance.identity.signer import Signer, read_certificates, same_key

__all__ = [
    "LIFE",
    "SHORTEST_PASSWORD",
    "Identity",
    "Signer",
    "load_identity",
    "needs_password",
    "new_identity",
    "new_request",
    "read_certificates",
    "same_key",
]
