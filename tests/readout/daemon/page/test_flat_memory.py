"""Requests by the thousand leave the page's process as large as it was."""

import http.client
import subprocess
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

#: What a browser and a monitor ask for; `/chart` reads, `/metrics` collects, `/missing` refuses.
PATHS = ("/metrics", "/", "/page.js", "/chart?point=header&reading=flow&span=15min", "/missing")
#: Requests until caches are full and the allocator has settled.
WARM_UP = 2000
#: What the process may grow by [KiB]: rows and history go on growing meanwhile, by far less.
MOST_KIB = 12 * 1024


def resident_kib(process: int) -> int:
    lines = Path(f"/proc/{process}/status").read_text().splitlines()
    return next(int(line.split()[1]) for line in lines if line.startswith("VmRSS"))


def ask(port: int, times: int) -> None:
    """So many requests, a hundred on each connection; each is answered as it should be."""
    for first in range(0, times, 100):
        connection = http.client.HTTPConnection("127.0.0.1", port, timeout=60)
        for number in range(first, min(times, first + 100)):
            path = PATHS[number % len(PATHS)]
            connection.request("GET", path)
            answer = connection.getresponse()
            answer.read()
            assert answer.status == (404 if path == "/missing" else 200), path
        connection.close()


@pytest.mark.parametrize("times", [1000, pytest.param(100_000, marks=pytest.mark.long)])
def test_requests_leave_memory_flat(record: Any, command: ModuleType, tmp_path: Path, times: int) -> None:
    with record() as recording:
        command.until(lambda: b"pipeledger_reading{" in recording.ask("GET", "/metrics")[2], what="a row")
        recorder = command.run("status", "archive", "--json", cwd=tmp_path).json()["recorder"]["pid"]
        words = ["pgrep", "-P", str(recorder), "-f", "outlet.process"]
        (page,) = subprocess.run(words, capture_output=True, text=True, check=True).stdout.split()
        ask(recording.port, WARM_UP)
        before = resident_kib(int(page))
        ask(recording.port, times)
        grown = resident_kib(int(page)) - before
    assert grown < MOST_KIB, f"{times} requests: from {before} KiB by {grown} KiB"
    print(f"{times} requests: from {before} KiB by {grown} KiB")  # noqa: T201  (shown by pytest -s)
