"""Watch one input: its processor time, the process's peak of memory, and what it raises."""

from __future__ import annotations

import resource
import signal
import traceback
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from time import process_time
from types import FrameType

SECONDS = 10.0
"""Most processor time of one input."""
MEGABYTES = 500
"""Most memory of the process, with its libraries and samples."""
ALONE = 150
"""MB of a process that only reads such inputs: one with other work before may have more."""


class FaultError(AssertionError):
    """What must not happen, in a line."""


class OvertimeError(BaseException):
    """Raised in the midst of an input that takes too long; nothing that is watched catches it."""


@dataclass(frozen=True, slots=True)
class Seen:
    """How an input ended."""

    end: str
    """`refused`, `read`, ...; `fault` if it was wrong."""
    fault: str
    seconds: float
    peak: float
    """MB"""


def watched(judge: Callable[[], str]) -> Seen:
    """Judge an input; every exception is a fault."""
    forget_peak()
    held = peak_memory()  # what a process with other work before may have already
    start, fault, end = process_time(), "", "fault"
    try:
        with _overtime(2 * SECONDS):
            end = judge()
    except OvertimeError:
        fault = f"more than {2 * SECONDS} s: {traceback.format_exc()}"
    except Exception:
        fault = traceback.format_exc()
    seconds, peak = process_time() - start, peak_memory()
    if not fault and seconds > SECONDS:
        end, fault = "fault", f"{seconds:.1f} s"
    if not fault and peak > MEGABYTES and peak - held > MEGABYTES - ALONE:
        end, fault = "fault", f"{peak:.0f} MB"
    return Seen(end, fault, seconds, peak)


@contextmanager
def _overtime(seconds: float) -> Iterator[None]:
    def stop(number: int, frame: FrameType | None) -> None:
        raise OvertimeError

    before = signal.signal(signal.SIGPROF, stop)
    signal.setitimer(signal.ITIMER_PROF, seconds)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_PROF, 0)
        signal.signal(signal.SIGPROF, before)


def peak_memory() -> float:
    """MB that the process has had at most since `forget_peak`."""
    status = Path("/proc/self/status")
    if not status.exists():
        return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    line = next(each for each in status.read_text().splitlines() if each.startswith("VmHWM"))
    return int(line.split()[1]) / 1024


def forget_peak() -> None:
    """Let `peak_memory` begin anew, where the system can."""
    references = Path("/proc/self/clear_refs")
    if references.exists():
        references.write_text("5")
