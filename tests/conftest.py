"""A test that is skipped has proven nothing: any skip fails the run."""

import pytest


def pytest_runtest_logreport(report: pytest.TestReport) -> None:
    if report.skipped and not hasattr(report, "wasxfail"):
        _skipped.append(report.nodeid)


def pytest_sessionfinish(session: pytest.Session) -> None:
    if _skipped:
        session.exitstatus = pytest.ExitCode.TESTS_FAILED


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    for nodeid in _skipped:
        terminalreporter.write_line(f"skipped, which counts as failed: {nodeid}")


_skipped: list[str] = []
