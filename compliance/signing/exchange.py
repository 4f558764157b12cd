"""HTTP exchanges with an end: one deadline for all of it, and a largest answer.

A time limit of a socket starts anew with every byte, so that a server which sends one byte a
second could hold a command for ever. Here every wait is for what is left of the deadline.
"""

from __future__ import annotations

import http.client
import io
import socket
import time
import urllib.request
from typing import Any


class Deadline:
    """A number of seconds from now, by the system's monotonic clock."""

    def __init__(self, seconds: float) -> None:
        self.seconds = seconds
        self._end = time.monotonic() + seconds

    def left(self) -> float:
        """Return the seconds that are left; TimeoutError if there are none."""
        left = self._end - time.monotonic()
        if left <= 0:
            raise TimeoutError(f"no answer within {self.seconds:g} s")
        return left


class BoundedSocket:
    """A connected socket, as far as `http.client` uses one, that waits until a deadline."""

    def __init__(self, connected: socket.socket, deadline: Deadline) -> None:
        self._socket = connected
        self._deadline = deadline

    def sendall(self, data: Any) -> None:
        """Send all of `data`."""
        self._socket.settimeout(self._deadline.left())
        self._socket.sendall(data)

    def makefile(self, mode: str) -> io.BufferedReader:
        """Return a file of what arrives."""
        assert mode == "rb"
        raw = self._socket.makefile("rb", buffering=0)
        return io.BufferedReader(_Arriving(self._socket, raw, self._deadline))

    def close(self) -> None:
        """Close the socket; a file of it stays open."""
        self._socket.close()


class _Arriving(io.RawIOBase):
    def __init__(self, connected: socket.socket, raw: Any, deadline: Deadline) -> None:
        self._socket, self._raw, self._deadline = connected, raw, deadline

    def readable(self) -> bool:
        return True

    def readinto(self, buffer: Any) -> int | None:
        self._socket.settimeout(self._deadline.left())
        count: int | None = self._raw.readinto(buffer)
        return count

    def close(self) -> None:
        self._raw.close()
        super().close()


def opener(deadline: Deadline) -> urllib.request.OpenerDirector:
    """Return an opener of addresses, with the system's proxies, that ends at a deadline."""

    class Connection(http.client.HTTPConnection):
        def connect(self) -> None:
            self.timeout = deadline.left()
            super().connect()
            self.sock: Any = BoundedSocket(self.sock, deadline)

    class SecureConnection(http.client.HTTPSConnection):
        def connect(self) -> None:
            self.timeout = deadline.left()
            super().connect()
            self.sock: Any = BoundedSocket(self.sock, deadline)

    class Handler(urllib.request.HTTPHandler):
        def http_open(self, req: urllib.request.Request) -> Any:
            return self.do_open(Connection, req)

    class SecureHandler(urllib.request.HTTPSHandler):
        def https_open(self, req: urllib.request.Request) -> Any:
            return self.do_open(SecureConnection, req)

    return urllib.request.build_opener(Handler, SecureHandler)
