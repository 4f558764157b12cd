"""Servers of an authority in this process: lists, answers, certificates, and time stamps."""

from __future__ import annotations

import threading
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.x509 import ocsp
from cryptography.x509.oid import ExtendedKeyUsageOID

from compliance.signing.timestamps import REPLY
from helpers.authorities import (
    YEAR,
    Clock,
    Holder,
    clock,
    found_at,
    issued,
    listed_at,
    revocation_list,
)
from helpers.signing import SIGNED

DER = serialization.Encoding.DER


@dataclass
class Desk:
    """What the servers answer, by the path of the address; it may be changed meanwhile."""

    now: datetime = SIGNED
    url: str = ""
    lists: dict[str, Holder] = field(default_factory=dict)
    """By path: the authority that signs the list there."""
    answers: dict[str, Holder] = field(default_factory=dict)
    """By path: the authority that signs answers (OCSP) there."""
    files: dict[str, bytes] = field(default_factory=dict)
    redirects: dict[str, str] = field(default_factory=dict)
    clocks: dict[str, Clock] = field(default_factory=dict)
    revoked: dict[Holder, datetime] = field(default_factory=dict)
    known: list[Holder] = field(default_factory=list)
    """The holders that answers are given about."""
    asked: list[str] = field(default_factory=list)
    """The paths that were asked."""

    def answer(self, path: str, data: bytes) -> tuple[int, Mapping[str, str], bytes]:
        """Status, headers and content."""
        self.asked.append(path)
        if path in self.redirects:
            return 302, {"Location": self.redirects[path]}, b""
        if path in self.lists:
            return 200, {}, revocation_list(self.lists[path], self.revoked, at=self.now)
        if path in self.files:
            return 200, {}, self.files[path]
        if path in self.clocks:
            return 200, {"Content-Type": REPLY}, self.clocks[path].answer(data, self.now)
        if path in self.answers:
            return 200, {}, self._told(self.answers[path], data)
        return 404, {}, b""

    def _told(self, by: Holder, data: bytes) -> bytes:
        request = ocsp.load_der_ocsp_request(data)
        holder = next(
            each for each in self.known if each.certificate.serial_number == request.serial_number
        )
        revoked = self.revoked.get(holder)
        builder = ocsp.OCSPResponseBuilder().add_response(
            holder.certificate,
            by.certificate,
            hashes.SHA1(),
            ocsp.OCSPCertStatus.REVOKED if revoked else ocsp.OCSPCertStatus.GOOD,
            self.now,
            self.now + timedelta(days=1),
            revoked,
            x509.ReasonFlags.key_compromise if revoked else None,
        )
        told = builder.responder_id(ocsp.OCSPResponderEncoding.HASH, by.certificate)
        return told.sign(by.key, hashes.SHA256()).public_bytes(DER)


@contextmanager
def serving_desk() -> Iterator[Desk]:
    """A desk behind a server on this machine; its address is in `url`."""
    desk = Desk()

    class Handler(BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            self._answer(b"")

        def do_POST(self) -> None:
            self._answer(self.rfile.read(int(self.headers["Content-Length"])))

        def _answer(self, data: bytes) -> None:
            status, headers, content = desk.answer(self.path, data)
            self.send_response(status)
            for name, value in headers.items():
                self.send_header(name, value)
            self.send_header("Content-Length", str(len(content)))
            self.end_headers()
            with suppress(BrokenPipeError):
                self.wfile.write(content)

        def log_message(self, *_: object) -> None:
            return

    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    thread = threading.Thread(target=server.serve_forever, daemon=True)
    thread.start()
    desk.url = f"http://127.0.0.1:{server.server_port}"
    try:
        yield desk
    finally:
        server.shutdown()
        server.server_close()
        thread.join()


@dataclass(frozen=True)
class People:
    """Holders whose certificates name a desk's addresses."""

    root: Holder
    middle: Holder
    facility: Holder
    client: Holder
    clock: Clock

    def trust(self) -> tuple[bytes, bytes]:
        """The roots of signers and of stamps (PEM)."""
        return self.root.pem, self.clock.root.pem


def people(desk: Desk) -> People:
    """Set up a desk for an authority with one below it, two signers, and a clock at `/tsa`.

    The facility has both addresses, and its certificate comes without those above it; the client
    only that of a list.
    """
    root = issued("Wide Authority", ca=True, life=20 * YEAR)
    above = [listed_at(f"{desk.url}/root.crl"), found_at(issuer=f"{desk.url}/root.cer")]
    middle = issued("Wide Signers", root, ca=True, life=5 * YEAR, more=above)
    own = [
        listed_at(f"{desk.url}/middle.crl"),
        found_at(f"{desk.url}/ocsp", f"{desk.url}/middle.cer"),
    ]
    facility = replace(issued("Wide Facility", middle, more=own), above=())
    client = issued("Cleo Client", middle, more=[listed_at(f"{desk.url}/middle.crl")])
    first = clock().root
    stamping = issued(
        "Wide Clock",
        first,
        key=clock().stamping.key,
        life=3 * YEAR,
        extended=[ExtendedKeyUsageOID.TIME_STAMPING],
        more=[listed_at(f"{desk.url}/clock.crl"), found_at(issuer=f"{desk.url}/clock.cer")],
    )
    desk.lists |= {"/root.crl": root, "/middle.crl": middle, "/clock.crl": first}
    desk.answers["/ocsp"] = middle
    for name, each in (("root", root), ("middle", middle), ("clock", first)):
        desk.files[f"/{name}.cer"] = each.certificate.public_bytes(DER)
    desk.clocks["/tsa"] = Clock(first, stamping)
    desk.known += [facility, client]
    return People(root, middle, facility, client, desk.clocks["/tsa"])
