"""Scripts on real ends: what a scripted meter sends, what it says of a wrong request, and unplugging."""

import os
import select
import socket
import time
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from simulators.errors import NotAsScripted, WrongFaults
from simulators.faults.scripts import ScriptedMeter, Unpluggable, parse_script
from simulators.faults.scripts.script import HangUp, Quiet, Relink, Send, Step, Wait
from simulators.line import PtyEnd, SimulatedLine, TcpEnd

Q0 = bytes.fromhex("01 03 00 00 00 02 C4 0B")
A = bytes.fromhex("01 03 04 11 11 22 22 37 B3")


def opened(port: str) -> int:
    return os.open(port, os.O_RDWR | os.O_NOCTTY)


def read_exactly(port: int, count: int) -> bytes:
    data = b""
    while len(data) < count and select.select([port], [], [], 5)[0]:
        data += os.read(port, count - len(data))
    return data


def test_a_late_reply_in_pieces_comes_at_its_times():
    script = parse_script("> 01 03 00 00 00 02 C4 0B\n+30 <{1,3}/16 01 03 04 11 11 22 22 37 B3\n+10 <x2 00\n")
    with ScriptedMeter(script) as meter:
        port = opened(meter.port)
        os.write(port, Q0)
        assert read_exactly(port, 11) == A + b"\x00\x00"
        meter.finish()
        os.close(port)
    begun = meter.received[-1][0]
    assert [data for _, data in meter.sent] == [A[:1], A[1:4], A[4:], b"\x00", b"\x00"]
    for (at, _), wanted in zip(meter.sent, (0.030, 0.046, 0.062, 0.072, 0.082), strict=True):
        assert wanted <= at - begun  # never early; how late is the machine's affair


def test_any_request_will_do_where_the_script_says_so():
    with ScriptedMeter(parse_script("> any\n+0 < 01 83 02 C0 F1\n")) as meter:
        port = opened(meter.port)
        os.write(port, Q0[:3])
        os.write(port, Q0[3:])
        assert read_exactly(port, 5) == bytes.fromhex("01 83 02 C0 F1")
        meter.finish()
        os.close(port)


def test_a_wrong_request_is_told_with_the_scripts_line_and_both_byte_strings():
    script = parse_script("# repeat\n> 01 03 00 00 00 02 C4 0B\n", "b32.script")
    with ScriptedMeter(script) as meter:
        port = opened(meter.port)
        os.write(port, bytes.fromhex("01 06 00 20 00 05 48 03"))
        with pytest.raises(NotAsScripted) as error:
            meter.finish()
        os.close(port)
    assert str(error.value) == (
        "b32.script:2: the script waits for 01 03 00 00 00 02 C4 0B, but 01 06 00 20 00 05 48 03 came."
    )


def test_a_request_that_is_cut_off_is_told_with_what_has_come():
    with ScriptedMeter(parse_script("> 01 03 00 00 00 02 C4 0B\n")) as meter:
        port = opened(meter.port)
        os.write(port, Q0[:7])
        with pytest.raises(NotAsScripted, match=r"still stands here, with 01 03 00 00 00 02 C4 so far"):
            meter.finish(within=0.2)
        os.close(port)


def test_a_request_sent_twice_is_told_as_coming_after_the_script():
    with ScriptedMeter(parse_script("> 01 03 00 00 00 02 C4 0B\n+0 < 01 83 02 C0 F1\n")) as meter:
        port = opened(meter.port)
        os.write(port, Q0 + Q0)
        with pytest.raises(NotAsScripted, match=r"the script is over, but 01 03 .* 0B came after it"):
            meter.finish()
        os.close(port)


def test_a_script_that_pulls_the_plug_wants_an_end_that_can_be_pulled_out():
    with pytest.raises(WrongFaults, match="script:1: this end cannot be pulled out"):
        ScriptedMeter(parse_script("HANGUP"))


def test_after_a_hangup_the_line_is_back_under_the_same_name(tmp_path: Path):
    link = tmp_path / "adapter"
    script = parse_script(
        "> 01 03 00 00 00 02 C4 0B\n+0 < 01 03 04 11\nHANGUP\nRELINK 100\n"
        "> 01 03 00 00 00 02 C4 0B\n+0 < 01 03 04 11 11 22 22 37 B3\n"
    )
    with ScriptedMeter(script, end=Unpluggable(lambda: PtyEnd(link))) as meter:
        port = opened(str(link))
        os.write(port, Q0)
        assert A.startswith(_until_gone(port))
        os.close(port)
        port = _opened_when_there(link)
        os.write(port, Q0)
        assert read_exactly(port, 9) == A
        meter.finish()
        os.close(port)


def _until_gone(port: int) -> bytes:
    """What came before the port failed, as it does for a reader whose adapter is pulled out."""
    data = b""
    while select.select([port], [], [], 5)[0]:
        try:
            more = os.read(port, 100)
        except OSError:
            return data
        if not more:
            return data
        data += more
    raise AssertionError("the port is still there")


def _opened_when_there(link: Path) -> int:
    deadline = time.monotonic() + 5
    while time.monotonic() < deadline:
        try:
            return opened(str(link))
        except OSError:
            time.sleep(0.005)
    raise AssertionError("the port did not come back")


class Answers:
    def reply(self, frame: bytes) -> bytes | None:
        return A if frame == Q0 else None


def test_a_served_line_can_be_pulled_out_and_put_in_ten_times_while_it_serves(tmp_path: Path):
    link = tmp_path / "adapter"
    end = Unpluggable(lambda: PtyEnd(link))
    with SimulatedLine([Answers()], end=end) as line:
        for _ in range(10):
            port = opened(line.port)
            os.write(port, Q0)
            assert read_exactly(port, 9) == A
            end.unplug()
            assert not link.is_symlink()
            assert _until_gone(port) == b""
            os.close(port)
            end.plug()
            assert link.is_symlink()


def test_a_tcp_line_that_is_pulled_out_ends_its_connection_and_listens_again():
    with socket.create_server(("127.0.0.1", 0)) as free:
        number = free.getsockname()[1]
    end = Unpluggable(lambda: TcpEnd("127.0.0.1", number))
    with SimulatedLine([Answers()], end=end):
        for _ in range(2):
            with socket.create_connection(("127.0.0.1", number), timeout=5) as client:
                client.sendall(Q0)
                assert client.recv(100) == A
                end.unplug()
                assert client.recv(100) == b""
            end.plug()


_MS = st.integers(0, 9_999_999)
_DATA = st.binary(min_size=1, max_size=12)


@st.composite
def _lines(draw: st.DrawFn) -> tuple[str, Step]:
    kind, ms, data = draw(st.integers(0, 5)), draw(_MS), draw(_DATA)
    hexadecimal, after = data.hex(" "), ms / 1000
    if kind == 0:
        return f"> {hexadecimal}", Wait(0, data)
    if kind == 1:
        times = draw(st.integers(1, 9999))
        return f"+{ms} <x{times} {hexadecimal}", Send(0, after, data, times=times)
    if kind == 2:
        gap = draw(_MS)
        cut = draw(st.integers(1, 4))
        data += bytes(cut)
        return f"+{ms} <{{{cut}}}/{gap} {data.hex()}", Send(0, after, data, (cut,), gap / 1000)
    if kind == 3:
        return f"+{ms} .", Quiet(0, after)
    return ("HANGUP", HangUp(0)) if kind == 4 else (f"RELINK {ms}", Relink(0, after))


@given(st.lists(_lines(), max_size=8), st.sampled_from(["\n", "\n\n", "  # why\n"]))
def test_every_line_that_can_be_written_is_read_as_it_is_meant(lines: list[tuple[str, Step]], between: str):
    script = parse_script("".join(text + between for text, _ in lines))
    told = [(type(step), *(getattr(step, n) for n in step.__slots__ if n != "line")) for step in script.steps]
    meant = [(type(step), *(getattr(step, n) for n in step.__slots__ if n != "line")) for _, step in lines]
    assert told == meant
    assert [step.line for step in script.steps] == sorted({step.line for step in script.steps})


@given(st.text(max_size=60))
def test_any_text_is_a_script_or_sentences_each_with_its_line(text: str):
    told = ""
    try:
        parse_script(text)
    except WrongFaults as error:
        told = str(error)
    assert all(line.startswith("script:") for line in told.splitlines())


@pytest.mark.parametrize(
    ("line", "sentence"),
    [
        ("< 01", "script:1: '< 01' is no line of a script; there are > HEX, > any"),
        ("+20 < ", "script:1: '' is not bytes in hex"),
        ("+20 <{4}/5 01 02 03", "script:1: pieces of 4 bytes and a rest cannot be cut from 3 bytes"),
        ("+20 <x0 01", "script:1: x0 would send nothing"),
    ],
)
def test_a_wrong_line_is_told_with_what_is_allowed(line: str, sentence: str):
    with pytest.raises(WrongFaults) as error:
        parse_script(line)
    assert str(error.value).startswith(sentence)
