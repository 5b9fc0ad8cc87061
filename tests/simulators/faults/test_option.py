"""`--faults`: plans and traces on the port that the command offers, and the manual's own examples."""

import os
import select
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from crccheck.crc import CrcModbus

from protocols.register_map.model import RegisterMap
from simulators.errors import NotSimulated, WrongFaults
from simulators.faults.choose import read_faults
from simulators.faults.scripts import parse_script
from simulators.serve import Offer, Placed, run

MANUAL = (Path(__file__).parents[3] / "docs/fault-plans.md").read_text(encoding="utf-8")
Q0 = bytes.fromhex("01 03 00 00 00 02 C4 0B")
A = bytes.fromhex("01 03 04 11 11 22 22 37 B3")


def with_sum(text: str) -> bytes:
    data = bytes.fromhex(text)
    return data + CrcModbus.calc(data).to_bytes(2, "little")


#: log_interval of the invented meter, 10 s.
ASK, TOLD = with_sum("0C 03 0020 0001"), with_sum("0C 03 02 000A")


@contextmanager
def served(register_map: RegisterMap, faults: str) -> Iterator[int]:
    """A descriptor of the meter's port."""
    stop, ready, ports = threading.Event(), threading.Event(), []

    def announce(port: str) -> None:
        ports.append(port)
        ready.set()

    thread = threading.Thread(
        target=run,
        args=([Placed(register_map)], Offer(faults=faults)),
        kwargs={"ready": announce, "stop": stop},
    )
    thread.start()
    assert ready.wait(60)
    port = os.open(ports[0], os.O_RDWR | os.O_NOCTTY)
    try:
        yield port
    finally:
        os.close(port)
        stop.set()
        thread.join(5)
        assert not thread.is_alive()


def exchange(port: int, request: bytes, wait: float = 0.15) -> bytes:
    """All that comes until nothing has come for `wait` seconds."""
    os.write(port, request)
    data = b""
    while select.select([port], [], [], wait)[0]:
        data += os.read(port, 1000)
    return data


def test_the_option_plays_a_plan_on_the_meters_port(meter_map: RegisterMap):
    with served(meter_map, ".x0s[d!06]") as port:
        told = [exchange(port, ASK) for _ in range(5)]
    busy = with_sum("0C 83 06")
    assert told == [TOLD, b"\x0d" + TOLD[1:], b"", busy, TOLD]


def test_the_option_replays_a_trace_at_its_times(meter_map: RegisterMap, tmp_path: Path):
    # the example of the trace's own manual, written by hand
    file = tmp_path / "visit.trace"
    file.write_text(
        "2026-05-04T06:00:00.000Z 512.000000 /dev/ttyUSB0 = opened for 9600 8N1\n"
        "2026-05-04T06:00:00.000Z 512.000310 /dev/ttyUSB0 > 01 03 00 00 00 02 C4 0B\n"
        "2026-05-04T06:00:00.080Z 512.080310 /dev/ttyUSB0 < 01 03 04 11\n"
        "2026-05-04T06:00:00.096Z 512.096310 /dev/ttyUSB0 < 11 22 22 37 B3\n"
        "2026-05-04T06:00:01.000Z 513.000310 /dev/ttyUSB0 > 01 03 00 00"
    )
    with served(meter_map, f"trace:{file}") as port:
        begun = time.monotonic()
        os.write(port, Q0)
        data = b""
        while len(data) < len(A):
            data += os.read(port, 100)
        took = time.monotonic() - begun
        assert data == A
        assert took >= 0.096
        assert exchange(port, ASK) == b""  # never asked in the trace


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("", "has no request at all"),
        ("2026-05-04T06:00:00.000Z 1.0 a < 01\n", "has no request at all"),
        ("hello\n", ":1: 'hello' is no line of a trace: it has no time, port, way"),
        ("t 1.0 a > 0\n", ":1: 't 1.0 a > 0' is no line of a trace"),
        ("t inf a > 01\n", ":1: 't inf a > 01' is no line of a trace: inf is no time"),
        ("t 1 a > 01\nt 2 b%20c > 01\n", "has 2 ports: choose one, as in trace:"),
    ],
)
def test_a_trace_that_cannot_be_replayed_is_told(tmp_path: Path, text: str, sentence: str):
    file = tmp_path / "visit.trace"
    file.write_text(text)
    with pytest.raises(WrongFaults) as error:
        read_faults(f"trace:{file}")
    assert str(file) in str(error.value)
    assert sentence in str(error.value)


def test_one_port_of_a_trace_can_be_chosen(tmp_path: Path):
    file = tmp_path / "visit.trace"
    file.write_text("t 1 a > 01\nt 2 b%20c > 02\nt 2.5 a < 03\nt 3 b%20c < 04\n")
    meter = read_faults(f"trace:{file}#b c")
    assert meter.reply(b"\x02") == b"\x04"  # type: ignore[union-attr]  # a trace is a meter
    assert meter.reply(b"\x01") is None  # type: ignore[union-attr]


def test_bytes_that_nobody_waited_for_any_more_do_not_hold_up_a_replay(tmp_path: Path):
    file = tmp_path / "visit.trace"
    file.write_text("t 1 a > 01\nt 2 a < 03\nt 100 a < 04\n")
    assert read_faults(f"trace:{file}").reply(b"\x01") == b"\x03"  # type: ignore[union-attr]


def test_a_trace_goes_with_no_pace_and_no_values(meter_map: RegisterMap, tmp_path: Path):
    file = tmp_path / "visit.trace"
    file.write_text("t 1 a > 01\n")
    with pytest.raises(NotSimulated, match="A trace has its own times and bytes"):
        run(
            [Placed(meter_map)],
            Offer(faults=f"trace:{file}", baud_rate=9600),
            ready=lambda port: pytest.fail(port),
            stop=threading.Event(),
        )


#: Every plan that the manual's text shows, and how it is written there.
SHOWN = {
    "(....x)*": "--faults '(....x)*'",
    **{
        plan: f"`{plan}`"
        for plan in (
            "..x",
            "s*3",
            "(..x)*4",
            "(..x)*",
            "[zy]",
            "z2,40",
            "!06",
            "!0B",
            "seed=7,unit=12: ..x",
            "random:7:share=0.05",
            "random:7:share=0.2,faults=xsv,exchanges=1000",
        )
    },
    "rest=100: .": "`rest=100`",
    "change=30: .": "`change=30`",
}


@pytest.mark.parametrize("plan", SHOWN)
def test_a_plan_in_the_manual_is_one(plan: str):
    assert SHOWN[plan] in MANUAL
    read_faults(plan)


def test_the_script_in_the_manual_is_one():
    text = MANUAL.split("```")[1]
    assert len(parse_script(text, "docs/fault-plans.md").steps) == 8
