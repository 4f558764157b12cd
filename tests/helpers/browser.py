"""A browser without a window, controlled over two pipes, and the pages in its PDF viewer."""

from __future__ import annotations

import base64
import io
import json
import os
import select
import shutil
import subprocess
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image

Picture = NDArray[np.float64]
"""(height, width, 3) shares of full red, green and blue."""

PATIENCE = 600.0
"""s to wait for a page to be drawn."""
PAUSE = 0.2
FEW = 16
"""A picture with no more tones is an empty window."""
WINDOW = (1200, 1500)
NAMES = ("chromium", "chromium-browser", "google-chrome")


def picture(png: bytes) -> Picture:
    """A PNG file's pixels."""
    with Image.open(io.BytesIO(png)) as image:
        return np.asarray(image.convert("RGB"), dtype=np.float64) / 255


class Refused(Exception):
    """The browser refuses a command, or is not ready for it."""


class Browser:
    """A browser controlled by the DevTools protocol over two pipes."""

    def __init__(self, write: int, read: int) -> None:
        self._write, self._read = write, read
        self._pending = b""
        self._count = 0

    def call(self, method: str, session: str = "", **parameters: Any) -> Any:
        """The result of a command to the browser, or to one of its pages by its session."""
        self._count += 1
        message: dict[str, Any] = {"id": self._count, "method": method, "params": parameters}
        if session:
            message["sessionId"] = session
        os.write(self._write, json.dumps(message).encode() + b"\0")
        while True:
            answer = self._message()
            if answer.get("id") != self._count:
                continue
            if "error" in answer:
                raise Refused(answer["error"])
            return answer["result"]

    def _message(self) -> Any:
        end = time.monotonic() + PATIENCE
        while b"\0" not in self._pending:
            ready, _, _ = select.select([self._read], [], [], max(0.0, end - time.monotonic()))
            data = os.read(self._read, 1 << 20) if ready else b""
            assert data, "the browser does not answer"
            self._pending += data
        message, _, self._pending = self._pending.partition(b"\0")
        return json.loads(message)

    @contextmanager
    def opened(self, address: str) -> Iterator[str]:
        """The session of a new page at an address."""
        target = self.call("Target.createTarget", url="about:blank")["targetId"]
        try:
            session = self.call("Target.attachToTarget", targetId=target, flatten=True)["sessionId"]
            self.call("Page.enable", session)
            self.call("Page.navigate", session, url=address)
            yield session
        finally:
            self.call("Target.closeTarget", targetId=target)

    def settled(self, session: str) -> Picture:
        """The picture of a page, once it is not empty and the same twice."""
        end = time.monotonic() + PATIENCE
        last: Picture | None = None
        while time.monotonic() < end:
            time.sleep(PAUSE)
            now = self._shown(session)
            if now is not None and len(np.unique(now)) > FEW:
                if last is not None and np.array_equal(now, last):
                    return now
                last = now
        raise AssertionError("the page does not come to rest")

    def _shown(self, session: str) -> Picture | None:
        try:
            taken = self.call("Page.captureScreenshot", session, format="png")
        except Refused:  # between two documents
            return None
        return picture(base64.b64decode(taken["data"]))

    def page(self, path: Path, number: int) -> Picture:
        """A page of a PDF file in the browser's own viewer, cut out of its window."""
        address = f"{path.resolve().as_uri()}#toolbar=0&navpanes=0&view=Fit&page={number}"
        with self.opened(address) as session:
            return _paper(self.settled(session))


def _paper(shown: Picture) -> Picture:
    """The largest light page of a viewer's dark window."""
    light = shown.min(axis=2) > 0.75
    columns = np.flatnonzero(light.mean(axis=0) > 0.3)
    inside = light[:, columns[0] : columns[-1] + 1]
    rows = _longest(inside.mean(axis=1) > 0.1)
    return shown[rows, columns[0] : columns[-1] + 1]


def _longest(filled: NDArray[np.bool_]) -> slice:
    """The longest run of rows that are filled."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], filled, [False]]).astype(np.int8)))
    runs = edges.reshape(-1, 2)
    start, end = runs[np.argmax(runs[:, 1] - runs[:, 0])]
    return slice(int(start), int(end))


@contextmanager
def browser(profile: Path) -> Iterator[Browser]:
    """A browser that ends with the block; the test is skipped if none is installed."""
    found = next(filter(None, map(shutil.which, NAMES)), None)
    if found is None:
        pytest.skip("no browser is installed")
    to_read, to_write = os.pipe()
    from_read, from_write = os.pipe()
    flags = (
        "--headless=new", "--no-sandbox", "--disable-gpu", "--hide-scrollbars", "--no-first-run",
        "--disable-background-networking", "--disable-component-update", "--disable-sync",
        "--force-color-profile=srgb", f"--window-size={WINDOW[0]},{WINDOW[1]}",
        f"--user-data-dir={profile}", "--remote-debugging-pipe", "about:blank",
    )  # fmt: skip
    # The protocol's pipes are descriptors 3 and 4; not every shell takes more than one digit.
    script = f'exec "$0" "$@" 3<&{to_read} 4>&{from_write}'
    with subprocess.Popen(
        ["bash", "-c", script, found, *flags],
        pass_fds=(to_read, from_write),
        stdin=subprocess.DEVNULL,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    ) as process:
        os.close(to_read)
        os.close(from_write)
        try:
            yield Browser(to_write, from_read)
        finally:
            process.kill()
            os.close(to_write)
            os.close(from_read)
