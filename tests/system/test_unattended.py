"""A recorder left alone: adapters that come and go, told to a service manager of the test's own."""

import itertools
import json
import signal
import sqlite3
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack, closing
from dataclasses import dataclass, field
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


#: Seconds until a port that comes late is there; that it is away later; that readings may take.
LATE_S, AWAY_S, BACK_S = 20.0, 12.0, 5.0
#: The status is told every 10 s, of the rows since the last telling: a change shows in the second one.
TOLD_S = 22.0


def ok_rows(archive: Path, since: float) -> int:
    """Committed rows with readings that came after `since` [s, UTC], by the journal that is being written."""
    with closing(sqlite3.connect(f"file:{archive}/journal/journal.sqlite?mode=ro", uri=True)) as journal:
        asked = "SELECT count(*) FROM row WHERE status = 'ok' AND time > ?"
        return int(journal.execute(asked, (since * 1000,)).fetchone()[0])


@dataclass
class Heard:
    """Everything a service manager was told, and when [monotonic s]."""

    socket: socket
    lines: list[tuple[float, str]] = field(default_factory=list)

    def hear(self) -> "Heard":
        """Take what has arrived."""
        self.lines += [(time.monotonic(), line) for line in heard(self.socket)]
        return self

    def status(self) -> str:
        """What was told last of how it goes."""
        told = [line for _, line in self.lines if line.startswith("STATUS=")]
        return told[-1].removeprefix("STATUS=") if told else ""

    def times(self, line: str) -> list[float]:
        """When this was told."""
        return [at for at, told in self.lines if told == line]

    def until(self, true: Callable[[], bool], seconds: float, what: str) -> float:
        """Hear on until that is so; seconds it took."""
        began = time.monotonic()
        while not true():
            assert time.monotonic() - began < seconds, f"not within {seconds} s: {what}; {self.status()}"
            time.sleep(0.05)
            self.hear()
        return time.monotonic() - began


@pytest.mark.long
def test_readings_are_back_within_five_seconds_and_systemd_hears_how_it_goes(
    manager_socket: socket, command: ModuleType, tmp_path: Path
) -> None:
    """Started without the port, which comes 20 s later and is removed and made again three times (A12)."""
    port, archive = tmp_path / "adapter", tmp_path / "archive"
    command.write_point(tmp_path, "header", str(port))
    manager, took = Heard(manager_socket), []
    with command.running("log", "header.yaml", *WORDS, cwd=tmp_path) as log:
        started = time.monotonic()
        for away_s in (LATE_S, AWAY_S, AWAY_S, AWAY_S):
            gone = time.monotonic()
            manager.until(lambda: "now port lost" in manager.status(), TOLD_S, "the status says why")
            manager.until(lambda end=gone + away_s: time.monotonic() >= end, away_s, "the port")
            with ExitStack() as plugged:
                line = plugged.enter_context(command.line())
                port.symlink_to(line.port)
                plugged.callback(port.unlink)
                since = time.time()
                took.append(
                    manager.until(lambda since=since: ok_rows(archive, since) > 0, BACK_S, "readings")
                )
                manager.until(lambda: "now" not in manager.status(), TOLD_S, "the status has readings")
                assert log.process.poll() is None, "the same process"
        lasted = time.monotonic() - started
        done = log.end(by=signal.SIGTERM)
    lines = [line for _, line in manager.hear().lines]
    assert done.status == 0, done
    assert max(took) < BACK_S
    sys.stdout.write(f"seconds to a committed reading: {', '.join(f'{seconds:.1f}' for seconds in took)}\n")

    assert lines[0] == "READY=1"
    assert lines[1] == "WATCHDOG=1"
    assert lines[-2:] == ["STOPPING=1", "STATUS=sealing what is left"]
    assert lines.count("READY=1") == lines.count("STOPPING=1") == 1
    assert "WATCHDOG=1" not in lines[lines.index("STOPPING=1") :]
    told = [line.endswith("now port lost") for line in lines if line.startswith("STATUS=header")]
    if "STATUS=header 0 of 0 rows ok" in lines:
        told = told[1:]
    assert [lost for lost, _ in itertools.groupby(told)] == [True, False] * 4
    alive = manager.times("WATCHDOG=1")
    assert max(later - at for at, later in itertools.pairwise(alive)) < 2.0, "within what is asked for"
    assert alive[-1] - alive[0] > lasted - 10


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
