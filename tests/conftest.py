"""What all tests share: where the checkout is, and that CI skips nothing."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent

_skipped: list[str] = []


@pytest.fixture(scope="session")
def root() -> Path:
    """The top of the checkout."""
    return ROOT


def pytest_runtest_logreport(report: pytest.TestReport) -> None:
    if report.skipped and not hasattr(report, "wasxfail"):
        _skipped.append(report.nodeid)


def pytest_collectreport(report: pytest.CollectReport) -> None:
    if report.skipped:
        _skipped.append(report.nodeid)


@pytest.hookimpl(trylast=True)
def pytest_sessionfinish(session: pytest.Session) -> None:
    """Under CI a skipped test fails the run: everything that tests need is installed there."""
    if os.environ.get("CI") == "true" and _skipped and session.exitstatus == 0:
        session.exitstatus = pytest.ExitCode.TESTS_FAILED


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    if os.environ.get("CI") == "true" and _skipped:
        terminalreporter.section("skipped in CI, which is a failure", red=True)
        for name in _skipped:
            terminalreporter.line(name)
