"""Libraries that start an event loop, called from where one may be running already."""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from typing import TypeVar

__all__ = ["apart"]

T = TypeVar("T")


def apart(do: Callable[[], T]) -> T:
    """What `do` gives; done in a thread of its own where an event loop runs in this one."""
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
