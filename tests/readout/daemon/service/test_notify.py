"""What a service manager hears of a recorder, and how a hanging line is noticed."""

import os
from collections import Counter
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from socket import AF_UNIX, SOCK_DGRAM, socket
from types import ModuleType

import pytest

from readout.daemon.service.notify import ServiceManager, Stalls


class Hands:
    """A clock that is set by hand [s]."""

    now = 0.0

    def monotonic(self) -> float:
        return self.now

    def utc(self) -> float:
        return self.now

    def sleep_until(self, deadline: float) -> None:
        self.now = deadline


@pytest.fixture
def manager_socket(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[socket]:
    """Where a service manager would listen."""
    with closing(socket(AF_UNIX, SOCK_DGRAM)) as listening:
        listening.bind(str(tmp_path / "notify"))
        listening.settimeout(20)
        monkeypatch.setenv("NOTIFY_SOCKET", str(tmp_path / "notify"))
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


def test_ready_once_alive_at_half_the_time_and_stopping_once(manager_socket: socket) -> None:
    """sd_watchdog_enabled(3): signs of life are to come at half of WATCHDOG_USEC."""
    clock = Hands()
    rows = {"header": Counter(ok=1)}
    manager = ServiceManager(
        clock, {"NOTIFY_SOCKET": os.environ["NOTIFY_SOCKET"], "WATCHDOG_USEC": "10000000"}
    )
    stalls = Stalls({"header": 1.0}, clock, lambda _: None)
    for second in range(11):
        clock.now = float(second)
        rows["header"]["ok"] += 1
        stalls.look(rows)
        manager.recording(rows, stalls)
    manager.stopping()
    manager.stopping()
    lines = heard(manager_socket)
    assert lines[0] == "READY=1"
    assert lines.count("READY=1") == lines.count("STOPPING=1") == 1
    assert lines.count("WATCHDOG=1") == 3  # at 0, 5 and 10 s
    assert "STATUS=header 2 of 2 rows ok" in lines
    assert "STATUS=header 12 of 12 rows ok" in lines


def test_a_watchdog_meant_for_another_process_is_not_fed(manager_socket: socket) -> None:
    """WATCHDOG_PID names the process that is watched."""
    clock = Hands()
    environment = {
        "NOTIFY_SOCKET": os.environ["NOTIFY_SOCKET"],
        "WATCHDOG_USEC": "1000000",
        "WATCHDOG_PID": "1",
    }
    ServiceManager(clock, environment).recording({}, Stalls({}, clock, lambda _: None))
    assert "WATCHDOG=1" not in heard(manager_socket)


def test_one_hanging_line_is_named_and_only_a_still_recorder_is_restarted(manager_socket: socket) -> None:
    """The others' rows keep the recorder alive; when none moves any more, no sign of life is given."""
    clock, said = Hands(), list[str]()
    rows = {"header": Counter(ok=1), "packing": Counter(ok=1)}
    manager = ServiceManager(
        clock, {"NOTIFY_SOCKET": os.environ["NOTIFY_SOCKET"], "WATCHDOG_USEC": "2000000"}
    )
    stalls = Stalls({"header": 1.0, "packing": 1.0}, clock, said.append)

    def second(*moving: str) -> list[str]:
        clock.now += 1
        for name in moving:
            rows[name]["ok"] += 1
        stalls.look(rows)
        manager.recording(rows, stalls)
        return heard(manager_socket)

    lines = [line for _ in range(100) for line in second("header")]
    assert [line.split(":")[0] for line in said] == ["packing"]
    assert lines[-1] == "WATCHDOG=1"
    assert any("packing 1 of 1 rows ok, hangs" in line for line in lines)
    while not stalls.all_stalled:
        second()
    assert "WATCHDOG=1" not in [line for _ in range(30) for line in second()]
    second("header", "packing")
    assert said[-2:] == ["header: rows come again", "packing: rows come again"]


def test_the_status_says_what_keeps_a_point_from_readings(manager_socket: socket) -> None:
    """Of the rows since the last telling, and for as long as none of them has readings."""
    clock = Hands()
    rows = {"header": Counter[str]()}
    manager = ServiceManager(clock, {"NOTIFY_SOCKET": os.environ["NOTIFY_SOCKET"]})
    stalls = Stalls({}, clock, lambda _: None)

    def ten_seconds(**new: int) -> list[str]:
        clock.now += 10
        rows["header"].update({status.replace("_", " "): count for status, count in new.items()})
        manager.recording(rows, stalls)
        return [line.removeprefix("STATUS=") for line in heard(manager_socket) if line != "READY=1"]

    assert ten_seconds() == ["header 0 of 0 rows ok"]
    assert ten_seconds(port_lost=10) == ["header 0 of 10 rows ok, now port lost"]
    assert ten_seconds() == []  # no row, nothing new
    assert ten_seconds(port_lost=1, ok=9) == ["header 9 of 20 rows ok"]
    assert ten_seconds(no_reply=3, skipped=7) == ["header 9 of 30 rows ok, now no reply"]
    assert ten_seconds(skipped=10) == ["header 9 of 40 rows ok, now skipped"]
    rows["header"].clear()  # changed point files were taken up
    assert ten_seconds(ok=2) == ["header 2 of 2 rows ok"]


def test_a_real_log_says_ready_without_its_port_and_stopping_at_its_end(
    manager_socket: socket, command: ModuleType, tmp_path: Path
) -> None:
    """An absent adapter is waited for by a recorder that is ready: the rows say that there is no port."""
    command.write_point(tmp_path, "header", str(tmp_path / "absent"))
    words = ("log", "header.yaml", "--archive", "archive", "--every", "200ms")
    with command.running(*words, cwd=tmp_path) as log:
        assert manager_socket.recv(4096) == b"READY=1"
        done = log.end(by=15)
    assert done.status == 0, done
    assert "STOPPING=1" in heard(manager_socket)
