"""Fetch what certificates name by address: certificates, revocation lists, answers.

Whoever made a certificate chose these addresses. Only http and https are asked, no private
address unless allowed, for a bounded time, number of bytes and of redirects; the connection
goes to the address that was checked, whatever the name resolves to next.
"""

from __future__ import annotations

import http.client
import ipaddress
import socket
import ssl
import time
from typing import Any
from urllib.parse import urljoin, urlsplit

from compliance.signing.exchange import BoundedSocket, Deadline
from compliance.signing.revocation import LARGEST

PATIENCE = 10.0
"""Seconds for one address, with its redirects."""
WHOLE_PATIENCE = 60.0
"""Seconds for all addresses of one call of a command."""
MOST_REDIRECTS = 3
MOST_FETCHES = 100
"""Most addresses in one call of a command."""
LONGEST_URL = 2000
EMBEDDED = tuple(map(ipaddress.IPv6Network, ("64:ff9b::/96", "64:ff9b:1::/48")))
"""Addresses of IPv6 whose last four bytes are one of IPv4 (RFC 6052, RFC 8215)."""

Address = ipaddress.IPv4Address | ipaddress.IPv6Address


class FetchError(ValueError):
    """An address that may not be asked, or gave no answer; in one line, without the address."""


class Fetcher:
    """Asks addresses, each once. `allow_private`: also those of a private network."""

    def __init__(
        self,
        *,
        allow_private: bool = False,
        patience: float = PATIENCE,
        whole: float = WHOLE_PATIENCE,
    ) -> None:
        self._allow_private = allow_private
        self._patience = patience
        self._left = whole
        self._answers: dict[tuple[str, bytes | None], bytes | FetchError] = {}

    def get(self, url: str) -> bytes:
        """Return what is at an address. Raises FetchError."""
        return self._asked(url, None, {})

    def post(self, url: str, data: bytes, kind: str) -> bytes:
        """Return the answer to `data` of a media type. Raises FetchError."""
        return self._asked(url, data, {"Content-Type": kind})

    def _asked(self, url: str, data: bytes | None, headers: dict[str, str]) -> bytes:
        if (url, data) not in self._answers:
            if len(self._answers) >= MOST_FETCHES:
                raise FetchError(f"more than {MOST_FETCHES} addresses in one call")
            if self._left <= 0:
                raise FetchError("the addresses before it took all the time there is")
            begun = time.monotonic()
            try:
                self._answers[url, data] = self._fetched(url, data, headers)
            except FetchError as fault:
                self._answers[url, data] = fault
            self._left -= time.monotonic() - begun
        answer = self._answers[url, data]
        if isinstance(answer, FetchError):
            raise answer
        return answer

    def _fetched(self, url: str, data: bytes | None, headers: dict[str, str]) -> bytes:
        deadline = Deadline(self._patience)
        for _ in range(MOST_REDIRECTS + 1):
            try:
                status, place, answer = self._exchange(url, data, headers, deadline)
            except FetchError:
                raise
            except TimeoutError:
                raise FetchError(f"no answer within {self._patience:g} s") from None
            except (OSError, http.client.HTTPException, ValueError) as fault:
                text = str(getattr(fault, "strerror", None) or fault) or type(fault).__name__
                raise FetchError(text.splitlines()[0].lower()) from None
            if status == 200:
                return answer
            if status not in (301, 302, 303, 307, 308) or data is not None or not place:
                raise FetchError(f"it answered {status}")
            url = urljoin(url, place)
        raise FetchError(f"it redirects more than {MOST_REDIRECTS} times")

    def _exchange(
        self, url: str, data: bytes | None, headers: dict[str, str], deadline: Deadline
    ) -> tuple[int, str, bytes]:
        """Return status, where it redirects to, and content."""
        secure, host, port, target = _parts(url)
        connected = self._connected(host, port, deadline)
        try:
            if secure:
                connected.settimeout(deadline.left())
                within = ssl.create_default_context()
                connected = within.wrap_socket(connected, server_hostname=host)
            connection = http.client.HTTPConnection(host, port)
            connection.sock = _as_socket(BoundedSocket(connected, deadline))
            connection.request("GET" if data is None else "POST", target, data, headers)
            response = connection.getresponse()
            with response:
                content = response.read(LARGEST + 1)
        finally:
            connected.close()
        if len(content) > LARGEST:
            raise FetchError(f"its answer is larger than {LARGEST >> 20} MiB")
        return response.status, response.headers.get("Location", ""), content

    def _connected(self, host: str, port: int, deadline: Deadline) -> socket.socket:
        """Connect to a checked address of a host."""
        fault: OSError | None = None
        places = {entry[4][0] for entry in socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)}
        addresses = [ipaddress.ip_address(str(place).partition("%")[0]) for place in places]
        if not self._allow_private:
            for each in addresses:
                if not is_public(each):
                    raise FetchError(f"{each} is not a public address")
        for each in addresses:
            try:
                return socket.create_connection((str(each), port), deadline.left())
            except TimeoutError:
                raise
            except OSError as other:
                fault = other
        raise fault or OSError("the name has no address")


def is_public(address: Address) -> bool:
    """Return whether an address is one of the public internet, also one embedded in IPv6."""
    if isinstance(address, ipaddress.IPv6Address):
        embedded = [address.ipv4_mapped, address.sixtofour, *(address.teredo or ())]
        if any(address in network for network in EMBEDDED):
            embedded.append(ipaddress.IPv4Address(int(address) & 0xFFFFFFFF))
        if any(each is not None and not is_public(each) for each in embedded):
            return False
        if address.ipv4_mapped is not None:
            return True
    return address.is_global and not address.is_multicast and not address.is_reserved


def _parts(url: str) -> tuple[bool, str, int, str]:
    """Return whether it is https, the host, the port, and what to ask it for."""
    unusable = FetchError("is not an address of http or https")
    if len(url) > LONGEST_URL or not url.isascii() or not url.isprintable() or " " in url:
        raise unusable
    try:
        parts = urlsplit(url)
        port = parts.port
    except ValueError:
        raise unusable from None
    named = parts.username is None and parts.password is None and parts.hostname and port != 0
    if parts.scheme not in ("http", "https") or not named:
        raise unusable
    secure = parts.scheme == "https"
    target = (parts.path or "/") + (f"?{parts.query}" if parts.query else "")
    return secure, str(parts.hostname), port or (443 if secure else 80), target


def _as_socket(bounded: BoundedSocket) -> Any:
    return bounded
