"""Collect what is needed to judge signatures later: certificates, lists and answers.

For each certificate up to its root, from the addresses that it names. What is collected is
judged at once as verification will, so that nothing useless is kept; a revoked certificate
is an error.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import partial
from typing import Any

from asn1crypto import crl, ocsp, x509
from cryptography import x509 as pyca
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.serialization import pkcs7
from cryptography.x509.ocsp import OCSPRequestBuilder
from cryptography.x509.oid import AuthorityInformationAccessOID as Access

from compliance.errors import RevocationError
from compliance.signing.certificates import signer_of
from compliance.signing.fetch import Fetcher, FetchError
from compliance.signing.keys import LONGEST_CHAIN, is_root, issued
from compliance.signing.revocation import NOTHING, Material, is_material, revocation_of

QUERY = "application/ocsp-request"
MOST_ADDRESSES = 3
"""Most addresses of one kind that are tried for a certificate."""


@dataclass(frozen=True, slots=True)
class Chain:
    """A signer's or a stamp's certificate, and the others that came with it."""

    own: x509.Certificate
    others: tuple[x509.Certificate, ...]
    made: datetime
    """When it signed or stamped."""
    until: datetime
    """The time up to which revocation should be known."""


def collect(chains: Iterable[Chain], fetcher: Fetcher, known: Material = NOTHING) -> Material:
    """Collect certificates and revocation data for each chain, beside what is `known` already.

    Raises RevocationError if a certificate is revoked, or if there is nothing to judge it by.
    """
    found = NOTHING
    for chain in chains:
        found += _of_chain(chain, known + found, fetcher)
    return Material(*(_once(each) for each in (found.certificates, found.lists, found.answers)))


def _once(entries: Sequence[Any]) -> tuple[Any, ...]:
    return tuple({each.dump(): each for each in entries}.values())


def _of_chain(chain: Chain, known: Material, fetcher: Fetcher) -> Material:
    path, found = _path(chain, known, fetcher)
    top = path[-1]
    for certificate in reversed(path if not is_root(top) else path[:-1]):
        subject = _Subject(certificate, top, known + found + Material(chain.others), chain)
        issuer = None if certificate is top else path[path.index(certificate) + 1]
        found += _evidence(subject, issuer, fetcher, needed=certificate is path[0])
    return found


def _path(
    chain: Chain, known: Material, fetcher: Fetcher
) -> tuple[list[pyca.Certificate], Material]:
    """Return the certificates from the chain's own up, and those of authorities among them."""
    path = [_read(chain.own)]
    pool = list(map(_read, (*chain.others, *known.certificates)))
    while not is_root(path[-1]) and len(path) < LONGEST_CHAIN:
        issuer = _issuer(path[-1], pool, fetcher)
        if issuer is None or issuer in path:
            break
        path.append(issuer)
    return path, Material(tuple(map(_plain, path[1:])))


def _read(certificate: x509.Certificate) -> pyca.Certificate:
    return pyca.load_der_x509_certificate(certificate.dump())


def _plain(certificate: pyca.Certificate) -> x509.Certificate:
    return x509.Certificate.load(certificate.public_bytes(serialization.Encoding.DER))


# ---------------------------------------------------------------- issuers


def _issuer(
    certificate: pyca.Certificate, pool: Sequence[pyca.Certificate], fetcher: Fetcher
) -> pyca.Certificate | None:
    """Return the issuer's certificate: known, or fetched; None if there is none to be had."""
    for each in pool:
        if issued(certificate, each):
            return each
    for url in _access(certificate, Access.CA_ISSUERS):
        try:
            fetched = _certificates(fetcher.get(url))
        except FetchError:
            continue
        for each in fetched:
            if issued(certificate, each):
                return each
    return None


def _certificates(data: bytes) -> list[pyca.Certificate]:
    """Read what an address of an issuer has: one certificate, or several (RFC 5280, 4.2.2.1)."""
    for load in (_single, pkcs7.load_der_pkcs7_certificates, pyca.load_pem_x509_certificates):
        try:
            return list(load(data))
        except ValueError:
            continue
    return []


def _single(data: bytes) -> list[pyca.Certificate]:
    return [pyca.load_der_x509_certificate(data)]


# ---------------------------------------------------------------- lists and answers


@dataclass(frozen=True, slots=True)
class _Subject:
    """A certificate of a chain that revocation data is needed for."""

    certificate: pyca.Certificate
    top: pyca.Certificate
    """The highest known authority."""
    have: Material
    chain: Chain

    @property
    def name(self) -> str:
        return signer_of(self.certificate).name

    def is_judged(self, by: Material, until: datetime) -> bool:
        """Whether it is known not to be revoked; RevocationError if it is."""
        found = revocation_of(
            _plain(self.certificate),
            self.have.certificates,
            [_plain(self.top)],
            self.have + by,
            until,
            proven=True,
        )
        if found.bad:
            raise RevocationError(
                f"the certificate of {self.name} was revoked on {found.revoked:%Y-%m-%d}"
            )
        return found.checked


def _evidence(
    subject: _Subject, issuer: pyca.Certificate | None, fetcher: Fetcher, *, needed: bool
) -> Material:
    """Return an answer or a list about one certificate; nothing if there is one already.

    An authority's certificate may name no address; `needed`: it may not. Without a root nothing
    can be judged here; the verifier has it.
    """
    judging = is_root(subject.top)
    if judging and subject.is_judged(NOTHING, subject.chain.until):
        return NOTHING
    why = ""
    for url, fetch in _sources(subject.certificate, issuer, fetcher):
        try:
            found = fetch()
        except FetchError as fault:
            why = f"{url}: {fault}"
            continue
        if not judging or subject.is_judged(found, subject.chain.until):
            return found
        why = f"{url}: what it answers does not tell"
    if judging and subject.is_judged(NOTHING, subject.chain.made):
        return NOTHING
    if why:
        raise RevocationError(
            f"no revocation list or answer for the certificate of {subject.name}: {why}"
        )
    if needed:
        raise RevocationError(
            f"the certificate of {subject.name} names no address of a revocation list (CRL) or "
            "of answers (OCSP), so that nobody could judge it later"
        )
    return NOTHING


def _sources(
    certificate: pyca.Certificate, issuer: pyca.Certificate | None, fetcher: Fetcher
) -> Iterator[tuple[str, Callable[[], Material]]]:
    """Yield addresses with how each is asked: answers, which are small, before lists."""
    if issuer is not None:
        for url in _access(certificate, Access.OCSP):
            yield url, partial(_answer, url, certificate, issuer, fetcher)
    for url in _lists(certificate):
        yield url, partial(_list, url, certificate, fetcher)


def _answer(
    url: str, certificate: pyca.Certificate, issuer: pyca.Certificate, fetcher: Fetcher
) -> Material:
    # SHA-1 names the certificate, as every responder knows it (RFC 6960, 4.3); it signs nothing.
    asked = OCSPRequestBuilder().add_certificate(certificate, issuer, hashes.SHA1()).build()
    data = fetcher.post(url, asked.public_bytes(serialization.Encoding.DER), QUERY)
    if not is_material("/OCSPs", data):
        raise FetchError("its answer is not one of OCSP (RFC 6960)")
    answer = ocsp.OCSPResponse.load(data)
    if answer["response_status"].native != "successful":
        raise FetchError(f"it answered {answer['response_status'].native.replace('_', ' ')}")
    return Material(answers=(answer,))


def _list(url: str, certificate: pyca.Certificate, fetcher: Fetcher) -> Material:
    data = fetcher.get(url)
    if not is_material("/CRLs", data):
        raise FetchError("it has no revocation list (RFC 5280, DER)")
    found = crl.CertificateList.load(data)
    if pyca.load_der_x509_crl(data).issuer != certificate.issuer:
        raise FetchError("its revocation list is another authority's")
    return Material(lists=(found,))


# ---------------------------------------------------------------- addresses in certificates


def _access(certificate: pyca.Certificate, kind: pyca.ObjectIdentifier) -> list[str]:
    try:
        found = certificate.extensions.get_extension_for_class(pyca.AuthorityInformationAccess)
    except (pyca.ExtensionNotFound, ValueError):
        return []
    return _urls(each.access_location for each in found.value if each.access_method == kind)


def _lists(certificate: pyca.Certificate) -> list[str]:
    try:
        found = certificate.extensions.get_extension_for_class(pyca.CRLDistributionPoints)
    except (pyca.ExtensionNotFound, ValueError):
        return []
    return _urls(name for point in found.value for name in point.full_name or ())


def _urls(names: Iterable[pyca.GeneralName]) -> list[str]:
    urls = [each.value for each in names if isinstance(each, pyca.UniformResourceIdentifier)]
    return [url for url in urls if url.lower().startswith("http")][:MOST_ADDRESSES]
