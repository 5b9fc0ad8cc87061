"""A recorder with its page in a process of its own, a meter on a line, and a browser to look with."""

import http.client
import re
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, ExitStack, contextmanager
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest


@dataclass
class Recording:
    """A running `log` with a page at `port` of this computer, the meter's line, and the archive."""

    log: Any
    line: Any
    port: int
    archive: Path

    @property
    def url(self) -> str:
        return f"http://127.0.0.1:{self.port}/"

    def ask(
        self, method: str, path: str, body: str | None = None, **headers: str
    ) -> tuple[int, dict[str, str], bytes]:
        """Status, headers (names in small letters) and body of an answer; `_` in a header's name is `-`."""
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=30)
        try:
            given = {name.replace("_", "-"): text for name, text in headers.items()}
            connection.request(method, path, body, given)
            answer = connection.getresponse()
            told = {name.lower(): text for name, text in answer.getheaders()}
            return answer.status, told, answer.read()
        finally:
            connection.close()


Record = Callable[..., AbstractContextManager[Recording]]


@contextmanager
def recorded(
    command: ModuleType, folder: Path, *words: str, every: str = "200ms", line: Any = None,
    page: str = "127.0.0.1:0",
) -> Iterator[Recording]:  # fmt: skip
    """Record `header` (unit 12) into `archive`, with a page at any free port."""
    with ExitStack() as stack:
        opened = line or stack.enter_context(command.line())
        command.write_point(folder, "header", opened.port)
        given = ("log", "header.yaml", "--archive", "archive", "--every", every, "--page", page, *words)
        log = stack.enter_context(command.running(*given, cwd=folder))
        said = command.until(
            lambda: re.search(r"page: http://\S+?:(\d+)/", log.so_far().err), what="the page's address"
        )
        yield Recording(log, opened, int(said[1]), folder / "archive")


@pytest.fixture
def record(command: ModuleType, tmp_path: Path) -> Record:
    """Starts a recording in the test's folder; see `recorded`."""
    return partial(recorded, command, tmp_path)


@pytest.fixture(scope="module")
def shared(command: ModuleType, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Recording]:
    """One recording for many questions that change nothing."""
    with recorded(command, tmp_path_factory.mktemp("shared")) as recording:
        yield recording
