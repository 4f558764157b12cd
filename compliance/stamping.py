"""Ask a time-stamping authority over HTTP when it saw a signature (RFC 3161)."""

from __future__ import annotations

import asyncio
import http.client
import urllib.error
import urllib.request
from datetime import datetime
from typing import Any, ClassVar
from urllib.parse import urlsplit

from asn1crypto import cms, core, tsp
from pyhanko.sign.timestamps import TimeStamper

from compliance.errors import TimestampError, UsageError

__all__ = ["Reply", "Stamper"]

PATIENCE = 15.0
"""Seconds without a byte before a server is given up."""
LARGEST = 1 << 18
"""Bytes of an answer; real ones have some thousand."""
QUERY, REPLY = "application/timestamp-query", "application/timestamp-reply"
GRANTED = ("granted", "granted_with_mods")


class Reply(core.Sequence):  # type: ignore[misc]
    """The answer of a server; a refusal comes without a token (RFC 3161, 2.4.2)."""

    _fields: ClassVar = [
        ("status", tsp.PKIStatusInfo),
        ("time_stamp_token", cms.ContentInfo, {"optional": True}),
    ]


class Stamper(TimeStamper):
    """Asks one server. `optional` says whether a signature may go without its stamp."""

    def __init__(self, url: str, *, optional: bool = False, patience: float = PATIENCE) -> None:
        super().__init__()  # type: ignore[no-untyped-call]
        self.url = _checked(url)
        self.optional = optional
        self.last: datetime | None = None
        """The time in the last answer."""
        self.missed: TimestampError | None = None
        """Why signatures went without a stamp, where some did."""
        self._patience = patience

    async def async_timestamp(self, message_digest: bytes, md_algorithm: str) -> cms.ContentInfo:
        """A token over the digest. Raises TimestampError, in one line, where there is none."""
        nonce, request = self.request_cms(message_digest, md_algorithm)  # type: ignore[no-untyped-call]
        answer = await asyncio.to_thread(self._asked, request.dump())
        try:
            token, problem = _token(answer, message_digest, md_algorithm, nonce)
        except Exception:
            # The reader of the format raises what it likes on what is none.
            raise self._none("its answer cannot be read") from None
        if token is None:
            raise self._none(problem)
        faults = await asyncio.to_thread(_faults, token, message_digest)
        if faults:
            raise self._none(f"it would not hold: {faults[0]}")
        self.last = token["content"]["encap_content_info"]["content"].parsed["gen_time"].native
        return token

    def _asked(self, query: bytes) -> bytes:
        request = urllib.request.Request(
            self.url, data=query, headers={"Content-Type": QUERY, "Accept": REPLY}, method="POST"
        )
        try:
            with urllib.request.urlopen(request, timeout=self._patience) as answer:
                kind = answer.headers.get_content_type()
                data: bytes = answer.read(LARGEST + 1)
        except urllib.error.HTTPError as fault:
            raise self._none(f"it answered {fault.code} {fault.reason}".rstrip()) from None
        except TimeoutError:
            raise self._none(f"no answer within {self._patience:g} s") from None
        except urllib.error.URLError as fault:
            late = isinstance(fault.reason, TimeoutError)
            why = f"no answer within {self._patience:g} s" if late else _lower(fault.reason)
            raise self._none(why) from None
        except (OSError, http.client.HTTPException, ValueError) as fault:
            raise self._none(_lower(fault)) from None
        if kind != REPLY:
            raise self._none(f"it answered with {kind}; expected {REPLY}")
        if len(data) > LARGEST:
            raise self._none(f"its answer is larger than {LARGEST >> 10} KiB")
        return data

    def _none(self, why: str) -> TimestampError:
        return TimestampError(
            f"no time stamp from {self.url}: {why}; --timestamp-optional signs without one"
        )


def _token(
    answer: bytes, digest: bytes, algorithm: str, nonce: int
) -> tuple[cms.ContentInfo | None, str]:
    """The token in an answer, or what is wrong with it."""
    reply = Reply.load(answer, strict=True)
    status = reply["status"]
    if status["status"].native not in GRANTED:
        words = [*(status["status_string"].native or ()), *sorted(status["fail_info"].native or ())]
        said = f" ({'; '.join(words)})" if words else ""
        return None, f"it refused: {status['status'].native.replace('_', ' ')}{said}"
    token = reply["time_stamp_token"]
    said_of = token["content"]["encap_content_info"]["content"].parsed
    imprint = said_of["message_imprint"]
    if said_of["nonce"].native != nonce:
        return None, "its answer is to another question"
    if (
        imprint["hashed_message"].native != digest
        or imprint["hash_algorithm"]["algorithm"].native != algorithm
    ):
        return None, "it stamped something else than was asked for"
    return token, ""


def _faults(token: cms.ContentInfo, digest: bytes) -> list[str]:
    """What verification would say against a token: before it is in a sheet."""
    from compliance.signatures.container import token_faults
    from compliance.signatures.stamps import read_stamp

    try:
        return [*token_faults(token), *read_stamp(token, lambda _: digest).faults]
    except Exception as fault:
        return [str(fault) if isinstance(fault, ValueError) else type(fault).__name__]


def _checked(url: str) -> str:
    try:
        parts = urlsplit(url)
        usable = parts.scheme in ("http", "https") and bool(parts.hostname) and parts.port != 0
    except ValueError:
        usable = False
    if not usable or any(char.isspace() or not char.isprintable() for char in url):
        raise UsageError(f"--timestamp: {url!r} is no address; expected http://… or https://…")
    if parts.username is not None or parts.password is not None:
        raise UsageError("--timestamp: the address names a user; such servers are not supported")
    if not url.isascii():
        raise UsageError(f"--timestamp: {url!r} is not in ASCII; expected it as servers take it")
    return url


def _lower(fault: Any) -> str:
    text = str(getattr(fault, "strerror", None) or fault) or type(fault).__name__
    return text.splitlines()[0].lower()
