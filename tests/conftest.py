"""What all tests share: where the checkout is, which tests are slow, and that CI skips nothing.

`--fast` leaves out the tests that durations.json lists; `--record-durations` writes it anew. Both
together add to it what is slow once the others are left out, as what first needs a shared sample.
"""

from __future__ import annotations

import json
import os
import sys
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

ROOT = Path(__file__).resolve().parent.parent
DURATIONS = Path(__file__).with_name("durations.json")
SLOW = 0.2
"""Seconds of processor time (the same on a busy machine) from which on a test is slow: the mean
of all its parameters."""

FEW = 2
"""Parameters of a slow test that are all run; of more every fifth, all with LONG_TESTS=1."""
WHOLE = ("tests/adversary/", "tests/docs/test_followed.py")
"""Where all parameters run always: attacks, and pages whose commands follow one another."""

_skipped: list[str] = []
_seconds: Counter[str] = Counter()
_times: Counter[str] = Counter()
"""By test, without its parameters: processor time of all runs, and how many they were."""
_started: Counter[str] = Counter()
"""Processes by the name of their program."""
COUNTED = {"seconds": _seconds, "times": _times, "started": _started}
"""What each process of several counts for all."""


@pytest.fixture(scope="session")
def root() -> Path:
    """The top of the checkout."""
    return ROOT


# ---------------------------------------------------------------- slow tests


def pytest_addoption(parser: pytest.Parser) -> None:
    group = parser.getgroup("this project")
    group.addoption("--fast", action="store_true", help="leave out tests marked slow")
    group.addoption(
        "--record-durations",
        action="store_true",
        help=f"write {DURATIONS.name}, whose tests are slow",
    )


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Mark as slow what took long when durations were recorded; a new test is not slow."""
    recorded = _recorded()
    slow = [item for item in items if _name(item) in recorded]
    for item in slow:
        item.add_marker(pytest.mark.slow)
    if os.environ.get("LONG_TESTS") != "1":
        left_out = set(_beyond_the_sample(slow))
        config.hook.pytest_deselected(items=list(left_out))
        items[:] = [item for item in items if item not in left_out]
        slow = [item for item in slow if item not in left_out]
    if config.option.fast:
        config.hook.pytest_deselected(items=slow)
        items[:] = [item for item in items if _name(item) not in recorded]


def _beyond_the_sample(slow: list[pytest.Item]) -> Iterator[pytest.Item]:
    """Of slow tests with many parameters four of five; attackers are all tried."""
    count = Counter(map(_name, slow))
    seen: Counter[str] = Counter()
    for item in slow:
        name = _name(item)
        if count[name] > FEW and not name.startswith(WHOLE) and seen[name] % 5:
            yield item
        seen[name] += 1


def _recorded() -> dict[str, float]:
    return json.loads(DURATIONS.read_text("utf-8")) if DURATIONS.exists() else {}


def _name(item: pytest.Item) -> str:
    return item.nodeid.partition("[")[0]


@pytest.hookimpl(wrapper=True)
def pytest_runtest_protocol(item: pytest.Item) -> Iterator[None]:
    """Time a test with its fixtures and the processes that it waited for."""
    before = sum(os.times()[:4])
    try:
        return (yield)
    finally:
        _seconds[_name(item)] += sum(os.times()[:4]) - before
        _times[_name(item)] += 1


def _record_durations(*, add: bool) -> None:
    means = {name: round(took / _times[name], 2) for name, took in _seconds.items()}
    slow = {name: mean for name, mean in means.items() if mean >= SLOW}
    slow = dict(sorted({**(_recorded() if add else {}), **slow}.items()))
    DURATIONS.write_text(json.dumps(slow, indent=0) + "\n", "utf-8")


# ---------------------------------------------------------------- what is told of a run


def pytest_runtest_logreport(report: pytest.TestReport) -> None:
    if report.skipped and not hasattr(report, "wasxfail"):
        _skipped.append(report.nodeid)


def pytest_collectreport(report: pytest.CollectReport) -> None:
    if report.skipped:
        _skipped.append(report.nodeid)


def pytest_configure(config: pytest.Config) -> None:
    config.addinivalue_line("markers", f"slow: took {SLOW} s or more when it was recorded")
    sys.addaudithook(_count_process)


def _count_process(event: str, details: tuple[Any, ...]) -> None:
    if event == "subprocess.Popen":
        _started[Path(os.fsdecode(details[0])).name] += 1


@pytest.hookimpl(optionalhook=True)
def pytest_testnodedown(node: Any) -> None:
    """Add what a process of several has counted."""
    for name, counter in COUNTED.items():
        counter.update(getattr(node, "workeroutput", {}).get(name, {}))


@pytest.hookimpl(trylast=True)
def pytest_sessionfinish(session: pytest.Session) -> None:
    """Under CI a skipped test fails the run: everything that tests need is installed there."""
    if os.environ.get("CI") == "true" and _skipped and session.exitstatus == 0:
        session.exitstatus = pytest.ExitCode.TESTS_FAILED
    if hasattr(session.config, "workeroutput"):
        session.config.workeroutput |= {name: dict(each) for name, each in COUNTED.items()}
    elif session.config.option.record_durations:
        _record_durations(add=session.config.option.fast)


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    if _started:
        named = ", ".join(f"{count} {name}" for name, count in _started.most_common())
        terminalreporter.line(f"processes started: {_started.total()} ({named})")
    if os.environ.get("CI") == "true" and _skipped:
        terminalreporter.section("skipped in CI, which is a failure", red=True)
        for name in _skipped:
            terminalreporter.line(name)
