"""`find`, `line test` and `line listen` as somebody at a pseudo-terminal sees them, with exit statuses."""

import _thread
import json
import os
import threading
import time
import tty
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from protocols.register_map.parse import parse_map
from readout.cli.find import find, in_words
from readout.cli.line_listen import line_listen
from readout.cli.line_options import chosen_settings, unit_addresses
from readout.cli.line_test import line_test
from readout.errors import PortError, WrongUse
from simulators.device import SimulatedMeter
from simulators.line import Pace, Piece, PtyEnd, SimulatedLine

DEMO = Path(__file__).parents[3] / "demo_data/bottling_hall"
Q5 = bytes.fromhex("05 03 00 00 00 0A C4 49")
A5 = bytes.fromhex("05 03 14" + "00" * 20 + "91 94")


@pytest.fixture
def point(tmp_path: Path) -> Path:
    """The demonstration's point, its port a link beside it."""
    for file in DEMO.iterdir():
        (tmp_path / file.name).write_bytes(file.read_bytes())
    return tmp_path / "bottling-hall-header.yaml"


def meter(point: Path, delivery=None) -> SimulatedLine:
    parsed = parse_map((DEMO / "insertion-meter.yaml").read_bytes(), "insertion-meter.yaml")
    assert parsed.map is not None
    end = PtyEnd(point.parent / "meter-port")
    chosen = {} if delivery is None else {"delivery": delivery}
    return SimulatedLine([SimulatedMeter(parsed.map)], end=end, pace=Pace(0.0005, 0.002, 0.003), **chosen)


@pytest.fixture
def traffic() -> Iterator[Callable[[bytes, float], str]]:
    """A pseudo-terminal on which somebody else says the same again and again."""
    stop = threading.Event()
    ends, threads = [], []

    def start(data: bytes, every: float) -> str:
        wire, terminal = os.openpty()
        ends.extend((wire, terminal))
        tty.setraw(terminal)

        def talk() -> None:
            while not stop.wait(every):
                os.write(wire, data)

        threads.append(threading.Thread(target=talk, daemon=True))
        threads[-1].start()
        return os.ttyname(terminal)

    yield start
    stop.set()
    for thread in threads:
        thread.join()
    for end in ends:
        os.close(end)


def test_find_gives_lines_for_a_point_file(point: Path, capsys: pytest.CaptureFixture[str]) -> None:
    with meter(point) as line:
        status = find(line.port, units="18-22", baud="19200", characters="8E1")
    said = capsys.readouterr()
    assert status == 0
    wanted = f"line: {{port: {line.port}, baud_rate: 19200, parity: even, data_bits: 8, stop_bits: 1}}"
    assert wanted in said.out.splitlines()
    assert "meter: {unit_address: 20}" in said.out.splitlines()
    assert "asking 5 addresses at 1 settings with function 3" in said.err


def test_find_as_json(point: Path, capsys: pytest.CaptureFixture[str]) -> None:
    with meter(point) as line:
        assert find(line.port, units="20", baud="19200", characters="8E1", as_json=True) == 0
    document = json.loads(capsys.readouterr().out)
    assert [(found["unit_address"], found["line"]["baud_rate"]) for found in document["found"]] == [
        (20, 19200)
    ]
    assert document["garbage"] == []
    assert document["asked"] == 1


def test_a_silent_line_is_1_and_asked_with_both_functions(
    point: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    with meter(point) as line:
        assert find(line.port, units="3-4", baud="9600", characters="8N1", wait="20ms") == 1
    said = capsys.readouterr()
    assert "function 4" in said.err
    assert "nothing answered" in said.err
    assert said.out == ""


def test_garbage_is_4_and_shown_with_what_to_try(point: Path, capsys: pytest.CaptureFixture[str]) -> None:
    def login(_request: bytes, _reply: bytes | None) -> list[Piece]:
        return [Piece(0.001, b"\r\nlogin: ")]

    with meter(point, login) as line:
        status = find(line.port, units="1", baud="9600", characters="8N1")
    said = capsys.readouterr()
    assert status == 4
    assert "login:" in said.out
    assert "Try: " in said.out


def test_a_line_in_use_is_refused_until_told_otherwise(
    traffic: Callable[[bytes, float], str], capsys: pytest.CaptureFixture[str]
) -> None:
    port = traffic(Q5, 0.2)
    with pytest.raises(PortError, match="is in use") as refused:
        find(port, units="1", baud="9600", characters="8N1")
    assert refused.value.status == 3
    assert "--line-in-use" in str(refused.value)
    find(port, units="1", baud="9600", characters="8N1", line_in_use=True, wait="20ms")
    assert "caution" in capsys.readouterr().err


def test_listening_tells_who_is_asked_and_how_fast_it_answers(
    traffic: Callable[[bytes, float], str], capsys: pytest.CaptureFixture[str]
) -> None:
    port = traffic(Q5 + A5, 0.1)
    assert line_listen(port, baud="9600", characters="8N1", seconds="1s", as_json=True) == 0
    document = json.loads(capsys.readouterr().out)
    (unit,) = document["units"]
    assert unit["unit_address"] == 5
    assert unit["blocks"] == [{"function": 3, "start": 0, "count": 10, "times": unit["requests"]}]
    assert 7 <= unit["requests"] <= 10
    assert unit["replies"] == unit["requests"]


def test_listening_looks_for_the_settings_by_itself_and_ends_with_a_table(
    traffic: Callable[[bytes, float], str], capsys: pytest.CaptureFixture[str]
) -> None:
    assert line_listen(traffic(Q5, 0.1), seconds="2s") == 0
    out = capsys.readouterr().out
    assert "holding 0 to 9" in out
    assert "Unit 5 is asked and never answers." in out


def test_listening_to_nothing_is_1_and_to_something_else_4(
    traffic: Callable[[bytes, float], str], capsys: pytest.CaptureFixture[str]
) -> None:
    assert line_listen(traffic(b"", 1), baud="9600", seconds="300ms") == 1
    assert line_listen(traffic(b"ready\r\n", 0.05), baud="9600", seconds="300ms") == 4
    assert "no Modbus frames" in capsys.readouterr().out


def test_a_clean_line_is_tested_with_its_reply_times(point: Path, capsys: pytest.CaptureFixture[str]) -> None:
    with meter(point):
        assert line_test(point, reads=30) == 0
    out = capsys.readouterr().out
    assert "30 of 30 reads answered" in out
    assert "reply after" in out


def test_advice_put_into_the_map_makes_the_next_test_clean(
    point: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The meter ignores requests that begin less than 40 ms after its last reply."""
    last = [0.0]

    def tired(_request: bytes, reply: bytes | None) -> list[Piece]:
        if time.monotonic() - last[0] < 0.05 or reply is None:
            return []
        last[0] = time.monotonic()
        return [Piece(None, reply)]

    file = point.parent / "insertion-meter.yaml"
    quick = file.read_text().replace("reply_within: 250 ms", "reply_within: 60 ms\n  late_within: 20 ms")
    file.write_text(quick)
    with meter(point, tired):
        assert line_test(point, reads=12, as_json=True) == 1
        document = json.loads(capsys.readouterr().out)
        assert document["alternates"]
        (proposal,) = document["wire"]
        assert proposal["key"] == "pause"
        file.write_text(quick.replace("pause: 0 ms", f"pause: {proposal['seconds']:g} s"))
        assert line_test(point, reads=12) == 0
    assert "12 of 12 reads answered" in capsys.readouterr().out


def test_damaged_replies_are_told_with_their_bytes_and_are_4_if_nothing_else_comes(
    point: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    def cut(_request: bytes, reply: bytes | None) -> list[Piece]:
        return [] if reply is None else [Piece(None, reply[1:])]

    with meter(point, cut):
        assert line_test(point, reads=4, as_json=True) == 4
    (fault,) = json.loads(capsys.readouterr().out)["faults"]
    assert fault["kind"] == "start cut off"
    assert len(fault["try"]) == 2


def test_a_port_that_is_not_there_is_3(point: Path) -> None:
    with pytest.raises(PortError) as absent:
        line_test(point)
    assert absent.value.status == 3


@pytest.mark.parametrize("units", ["0", "248", "5-2", "a", "1-", ""])
def test_addresses_that_there_are_not_are_refused(units: str) -> None:
    with pytest.raises(WrongUse, match="--units"):
        unit_addresses(units)


def test_addresses_are_numbers_and_spans() -> None:
    assert unit_addresses("5, 1-3, 2") == (5, 1, 2, 3)


@pytest.mark.parametrize(("baud", "form"), [("fast", None), ("0", None), (None, "8X1"), (None, "9600")])
def test_settings_that_there_are_not_are_refused(baud: str | None, form: str | None) -> None:
    with pytest.raises(WrongUse, match=r"--(baud|characters) "):
        chosen_settings("/dev/ttyUSB0", baud, form)


@pytest.mark.parametrize(
    ("seconds", "words"), [(0.2, "1 s"), (8.4, "8 s"), (720, "12 min"), (3900, "1 h 5 min")]
)
def test_durations_in_words(seconds: float, words: str) -> None:
    assert in_words(seconds) == words


def test_an_interrupted_search_shows_what_was_found_and_is_130(
    point: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    def ctrl_c(request: bytes, reply: bytes | None) -> list[Piece]:
        if request[0] == 21:
            _thread.interrupt_main()
        return [] if reply is None else [Piece(None, reply)]

    with meter(point, ctrl_c) as line:
        assert find(line.port, units="20-200", baud="19200", characters="8E1") == 130
    assert "meter: {unit_address: 20}" in capsys.readouterr().out
