"""A server in this process that answers requests for time stamps as a test specifies."""

from __future__ import annotations

import socket
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer

from compliance.signing.timestamps import QUERY

__all__ = ["Answer", "dripping", "serving"]

Answer = tuple[int, str, bytes]


@contextmanager
def dripping(start: bytes) -> Iterator[str]:
    """The address of a server that answers every request with `start`, then a byte every tenth
    of a second for ever."""
    ended = threading.Event()
    listener = socket.create_server(("127.0.0.1", 0))

    def drip() -> None:
        with listener, suppress(OSError):
            while True:
                asking, _ = listener.accept()
                with asking, suppress(OSError):
                    asking.recv(1 << 16)
                    asking.sendall(start)
                    while not ended.wait(0.1):
                        asking.sendall(b"x")

    thread = threading.Thread(target=drip, daemon=True)
    thread.start()
    try:
        yield f"http://127.0.0.1:{listener.getsockname()[1]}/tsa"
    finally:
        ended.set()
        listener.shutdown(socket.SHUT_RDWR)
        thread.join()


@contextmanager
def serving(answer: Callable[[bytes], Answer]) -> Iterator[str]:
    """The address of a server with these answers."""

    class Handler(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            query = self.rfile.read(int(self.headers["Content-Length"]))
            assert self.headers["Content-Type"] == QUERY
            status, kind, data = answer(query)
            self.send_response(status)
            self.send_header("Content-Type", kind)
            self.send_header("Content-Length", str(len(data)))
            self.end_headers()
            with suppress(BrokenPipeError):
                self.wfile.write(data)

        def log_message(self, *_: object) -> None:
            return

    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    thread = threading.Thread(target=server.serve_forever, daemon=True)
    thread.start()
    try:
        yield f"http://127.0.0.1:{server.server_port}/tsa"
    finally:
        server.shutdown()
        server.server_close()
        thread.join()
