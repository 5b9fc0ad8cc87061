"""A trace keeps every byte both ways with its time, and can be read again."""

from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from protocols.modbus.requests import ReadRequest
from protocols.modbus.tables import Table
from readout.bus.exchange import Manners
from readout.bus.trace import Event, Trace, Way, read_trace
from readout.errors import ArchiveError, WrongUse


def test_an_exchange_leaves_its_bytes_and_their_times(play, clock, tmp_path: Path) -> None:
    path = tmp_path / "line.trace"
    with Trace(path, clock) as trace:
        played = play("> 01 03 00 00 00 02 C4 0B\n+20 <{1}/16 01 83 02 C0 F1", trace=trace)
        played.line.read(1, ReadRequest(Table.HOLDING, 0, 2), Manners())
    events = list(read_trace(path))
    assert [(event.way, event.data) for event in events if event.data] == [
        (Way.SENT, bytes.fromhex("01 03 00 00 00 02 C4 0B")),
        (Way.RECEIVED, b"\x01"),
        (Way.RECEIVED, bytes.fromhex("83 02 C0 F1")),
    ]
    assert events[0].remark == "opened for 9600 8N1"


def test_a_line_of_it_can_be_read_by_people(clock, tmp_path: Path) -> None:
    path = tmp_path / "line.trace"
    with Trace(path, clock) as trace:
        trace.sent("/dev/hollow mere", b"\x01\x03")
        trace.remark("/dev/hollow mere", "two\nlines")
    assert path.read_text() == (
        "2026-05-04T06:16:40.000Z 1000.000000 /dev/hollow%20mere > 01 03\n"
        "2026-05-04T06:16:40.000Z 1000.000000 /dev/hollow%20mere = two lines\n"
    )


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.lists(st.binary(min_size=1, max_size=20), max_size=8))
def test_what_was_written_is_read(clock, tmp_path: Path, pieces: list[bytes]) -> None:
    path = tmp_path / "again.trace"
    path.unlink(missing_ok=True)
    with Trace(path, clock) as trace:
        for piece in pieces:
            trace.received("COM7", piece)
    expected = [Event("2026-05-04T06:16:40.000Z", 1000.0, "COM7", Way.RECEIVED, piece) for piece in pieces]
    assert list(read_trace(path)) == expected


def test_a_second_run_goes_on_behind_the_first(clock, tmp_path: Path) -> None:
    path = tmp_path / "line.trace"
    for data in (b"\x01", b"\x02"):
        with Trace(path, clock) as trace:
            trace.sent("COM7", data)
    assert [event.data for event in read_trace(path)] == [b"\x01", b"\x02"]


def test_a_torn_last_line_is_left_out_and_a_broken_one_is_told(clock, tmp_path: Path) -> None:
    path = tmp_path / "line.trace"
    with Trace(path, clock) as trace:
        trace.sent("COM7", b"\x01\x02")
    whole = path.read_text()
    path.write_text(whole + whole[:-4])
    assert [event.data for event in read_trace(path)] == [b"\x01\x02"]
    path.write_text(whole + "nonsense\n" + whole)
    with pytest.raises(ArchiveError, match=r"line\.trace:2: "):
        list(read_trace(path))


def test_a_trace_that_cannot_be_written_is_told_in_words(clock, tmp_path: Path) -> None:
    with pytest.raises(WrongUse, match="cannot be written"):
        Trace(tmp_path / "no such folder" / "line.trace", clock)
