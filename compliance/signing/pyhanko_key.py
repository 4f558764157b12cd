"""An identity's key for the signing library, and calls to it outside a running event loop.

The identity decides whether the key is in memory or in a token.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from typing import Any, TypeVar

from asn1crypto import tsp, x509
from pyhanko.sign.attributes import SigningCertificateV2Provider
from pyhanko.sign.general import as_signing_certificate_v2
from pyhanko.sign.signers.pdf_cms import Signer as PdfKey
from pyhanko_certvalidator.registry import SimpleCertificateStore

from compliance.signing.keys import Identity

T = TypeVar("T")


def run_outside_event_loop(do: Callable[[], T]) -> T:
    """Call `do`; in a thread of its own if an event loop runs in this one."""
    if not _running():
        return do()
    with ThreadPoolExecutor(1) as pool:
        return pool.submit(do).result()


def _running() -> bool:
    try:
        asyncio.get_running_loop()
    except RuntimeError:
        return False
    return True


DIGEST = "sha256"
EC_OVERHEAD = 16
"""Most bytes around the two numbers of an ECDSA signature."""


class PyHankoKey(PdfKey):
    """A key of the signing library that signs with an identity."""

    def __init__(self, identity: Identity) -> None:
        # The signing certificate stays out of the registry, or it would be embedded twice.
        others = SimpleCertificateStore()  # type: ignore[no-untyped-call]
        others.register_multiple([x509.Certificate.load(der) for der in identity.chain])
        own = x509.Certificate.load(identity.signer.certificate)
        super().__init__(signing_cert=own, cert_registry=others)
        self._identity = identity
        self._way = [own, *(x509.Certificate.load(der) for der in identity.chain)]
        bits = own.public_key.bit_size
        ec = own.public_key.algorithm == "ec"
        self._longest = 2 * -(-bits // 8) + EC_OVERHEAD if ec else -(-bits // 8)

    async def async_sign_raw(
        self, data: bytes, digest_algorithm: str, dry_run: bool = False
    ) -> bytes:
        """Sign `data`; with `dry_run` return as many bytes as a signature may have."""
        if digest_algorithm != DIGEST:
            raise ValueError(f"cannot sign with {digest_algorithm}; expected {DIGEST}")
        return bytes(self._longest) if dry_run else self._identity.sign(data)

    def _signed_attr_providers(self, *arguments: Any, **named: Any) -> Iterator[Any]:
        for each in super()._signed_attr_providers(*arguments, **named):
            if isinstance(each, SigningCertificateV2Provider):
                yield _WholeWay(self._way)
            else:
                yield each


class _WholeWay(SigningCertificateV2Provider):
    """The attribute that also binds the certificates above the signer's (RFC 5035, 4)."""

    def __init__(self, way: list[x509.Certificate]) -> None:
        super().__init__(way[0])
        self._way = way

    async def build_attr_value(self, dry_run: bool = False) -> tsp.SigningCertificateV2:
        named = [as_signing_certificate_v2(each)["certs"][0] for each in self._way]
        return tsp.SigningCertificateV2({"certs": named})
