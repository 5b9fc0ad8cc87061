"""A recorder left alone: adapters that come and go, told to a service manager of the test's own."""

import json
import signal
from collections.abc import Iterator
from contextlib import ExitStack, closing
from pathlib import Path
from socket import AF_UNIX, SOCK_DGRAM, socket
from types import ModuleType
from typing import Any

import pytest

WORDS = ("--archive", "archive", "--every", "200ms")


@pytest.fixture
def manager_socket(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[socket]:
    """Where a service manager would listen; a sign of life is asked for every 2 s."""
    with closing(socket(AF_UNIX, SOCK_DGRAM)) as listening:
        listening.bind(str(tmp_path / "notify"))
        listening.settimeout(20)
        monkeypatch.setenv("NOTIFY_SOCKET", str(tmp_path / "notify"))
        monkeypatch.setenv("WATCHDOG_USEC", "2000000")
        yield listening


def heard(listening: socket) -> list[str]:
    """All lines that have arrived."""
    lines: list[str] = []
    listening.setblocking(False)
    while True:
        try:
            lines += listening.recv(4096).decode().splitlines()
        except BlockingIOError:
            return lines


def test_a_port_that_comes_late_and_goes_three_times(
    manager_socket: socket, command: ModuleType, tmp_path: Path
) -> None:
    """The same process reads again each time; it was ready before, stays alive, and says its end once."""
    port = tmp_path / "adapter"
    command.write_point(tmp_path, "header", str(port))
    with command.running("log", "header.yaml", *WORDS, cwd=tmp_path) as log:
        assert manager_socket.recv(4096) == b"READY=1"
        lines = []
        for _ in range(4):
            with ExitStack() as plugged:
                line = plugged.enter_context(command.line())
                port.symlink_to(line.port)
                plugged.callback(port.unlink)
                command.until(lambda line=line: line.stats.requests >= 6, timeout=15, what="readings again")
                assert log.process.poll() is None
            lines += heard(manager_socket)
        done = log.end(by=15)
    lines += heard(manager_socket)
    assert done.status == 0, done
    assert "READY=1" not in lines
    assert lines.count("WATCHDOG=1") >= 2
    assert lines.count("STOPPING=1") == 1
    assert lines.index("STOPPING=1") > max(i for i, text in enumerate(lines) if text == "WATCHDOG=1")


def started(archive: Path) -> list[list[str]]:
    """The points of each start, by the ledger."""
    if not (archive / "ledger.jsonl").exists():
        return []
    lines = [json.loads(line) for line in (archive / "ledger.jsonl").read_text().splitlines()]
    return [sorted(line["points"]) for line in lines if line["kind"] == "started"]


def changes(archive: Path) -> list[dict[str, Any]]:
    """What the ledger tells of point files that changed."""
    lines = [json.loads(line) for line in (archive / "ledger.jsonl").read_text().splitlines()]
    return [line for line in lines if line.get("what") == "point file changed"]


def test_the_ledger_tells_what_a_changed_point_file_changed(command: ModuleType, tmp_path: Path) -> None:
    """Which part, the lines that went and came, and from when; a comment alone is told nothing of."""
    archive = tmp_path / "archive"
    with command.line() as line:
        file = command.write_point(tmp_path, "header", line.port)
        with command.running("log", "header.yaml", *WORDS, cwd=tmp_path) as log:
            command.until(lambda: line.stats.requests >= 6, what="three rounds")
            file.write_text(file.read_text() + "# seen by Hollow Mere\n")
            log.process.send_signal(signal.SIGHUP)
            command.until(lambda: len(started(archive)) == 2, what="the second start")
            file.write_text(file.read_text() + "customer: Hollow Mere\n")
            asked = line.stats.requests
            command.until(lambda: line.stats.requests >= asked + 6, what="rounds with the comment")
            log.process.send_signal(signal.SIGHUP)
            command.until(lambda: len(started(archive)) == 3, what="the third start")
            asked = line.stats.requests
            command.until(lambda: line.stats.requests >= asked + 6, what="rounds with the customer")
            done = log.end(by=signal.SIGTERM)
    assert done.status == 0, done
    (change,) = changes(archive)
    assert (change["point"], change["changed"]) == ("header", ["customer"])
    assert (change["was"], change["now"]) == ([], ["customer: Hollow Mere"])
    assert change["from"].endswith("Z")
    assert command.run("archive", "verify", "archive", cwd=tmp_path).status == 0


def test_changed_point_files_are_taken_up_and_faulty_ones_are_not(
    command: ModuleType, tmp_path: Path
) -> None:
    """SIGHUP: the same process, a line in the ledger with the points as they are now; no row is doubled."""
    archive = tmp_path / "archive"
    with command.line() as line:
        file = command.write_point(tmp_path, "header", line.port)
        good = file.read_text()
        with command.running("log", "header.yaml", *WORDS, cwd=tmp_path) as log:
            command.until(lambda: line.stats.requests >= 6, what="three rounds")
            file.write_text("measuring_point: 1\nname: [\n")
            log.process.send_signal(signal.SIGHUP)
            command.until(lambda: "stay as they were" in log.so_far().err, what="the fault is told")
            file.write_text(good.replace("name: header", "name: header-2", 1))
            log.process.send_signal(signal.SIGHUP)
            command.until(lambda: len(started(archive)) == 2, what="the second start")
            asked = line.stats.requests
            command.until(lambda: line.stats.requests >= asked + 8, what="rounds of the renamed point")
            done = log.end(by=signal.SIGTERM)
    assert done.status == 0, done
    assert started(archive) == [["header"], ["header-2"]]
    assert "header-2: " in done.err
    assert command.run("archive", "verify", "archive", cwd=tmp_path).status == 0


def test_a_map_that_would_change_a_columns_type_is_not_taken_up(command: ModuleType, tmp_path: Path) -> None:
    """The recorder goes on with the map that it has."""
    with command.line() as line:
        command.write_point(tmp_path, "header", line.port)
        with command.running("log", "header.yaml", *WORDS, cwd=tmp_path) as log:
            command.until(lambda: line.stats.requests >= 6, what="three rounds")
            file = tmp_path / "map.yaml"
            file.write_text(file.read_text().replace("scale: 0.001, ", ""))
            log.process.send_signal(signal.SIGHUP)
            command.until(lambda: "stay as they were" in log.so_far().err, what="the refusal")
            asked = line.stats.requests
            command.until(lambda: line.stats.requests >= asked + 6, what="rounds as before")
            done = log.end(by=signal.SIGTERM)
    assert done.status == 0, done
    assert started(tmp_path / "archive") == [["header"], ["header"]]
