"""A test that is skipped has proven nothing: any skip fails the run. And how to run the command."""

import compileall
import importlib.util
import os
import signal
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest
from hypothesis import settings

#: A loaded machine is slow, and that is no fault of what is tested.
settings.register_profile("pipeledger", deadline=None)
settings.load_profile("pipeledger")


def _module(name: str, file: str) -> ModuleType:
    """A file beside the tests that is no test, loaded once."""
    spec = importlib.util.spec_from_file_location(name, Path(__file__).parent / file)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module  # dataclasses look their module up
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="session")
def load() -> Callable[[str, str], ModuleType]:
    """See `_module`: for what tests of several folders share."""
    return _module


@pytest.fixture
def root(tmp_path: Path) -> Path:
    """Where an archive may be made."""
    return tmp_path / "archive"


@pytest.fixture(scope="session")
def command() -> ModuleType:
    """The module `system/command.py`: `pipeledger` in a process of its own, and meters for it to read."""
    return _module("tests_command", "system/command.py")


@pytest.fixture(scope="session")
def chromium() -> Iterator[Any]:
    """A browser, opened once for all tests; each page has a context of its own."""
    with _module("tests_chromium", "browser/chromium.py").Chromium() as browser:
        yield browser


def pytest_configure() -> None:
    """A shell that starts the tests in the background lets them, and what they start, ignore SIGINT."""
    if signal.getsignal(signal.SIGINT) is signal.SIG_IGN:
        signal.signal(signal.SIGINT, signal.default_int_handler)
    # Tests start many processes. Where the environment forbids them to keep what they have compiled, each
    # compiles the project anew, which takes longer than most of what they are started for.
    os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
    for room in ("protocols", "readout", "simulators", "storage"):
        compileall.compile_dir(Path(__file__).parents[1] / room, quiet=2)


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
