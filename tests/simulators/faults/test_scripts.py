"""Scripts and traces: what a line waited for and sent, at the times written down."""

from pathlib import Path

import pytest

from readout.bus.trace import Trace
from simulators.clock import FakeClock
from simulators.errors import WrongFaults
from simulators.faults.plan import alphabet_table
from simulators.faults.scripts import TraceMeter, parse_script, read_trace

ROOT = Path(__file__).parents[3]
Q0, A = bytes.fromhex("010300000002C40B"), bytes.fromhex("0103041111222237B3")
Q2, B = bytes.fromhex("01030002000265CB"), bytes.fromhex("01030433334444364B")


def test_a_script_is_what_is_written() -> None:
    script = parse_script(
        "> 01 03 00 00 00 02 C4 0B   # ask\n+20 <{1,3}/16 01 03 04 11 11\n+600 .\nRELINK 3000\n"
    )
    wait, send, *_ = script.steps
    assert wait.data == Q0
    assert list(send.writes()) == [(0.02, b"\x01"), (0.016, b"\x03\x04\x11"), (0.016, b"\x11")]
    assert [step.line for step in script.steps] == [1, 2, 3, 4]


@pytest.mark.parametrize("line", ["01 03", "+20 01", "> 0", "RELINK", "+x < 01", "> 01 GG"])
def test_a_wrong_line_is_told_with_its_number(line: str) -> None:
    with pytest.raises(WrongFaults, match="2"):
        parse_script(f"+600 .\n{line}\n", "faults.txt")


def test_what_a_trace_recorded_is_played_again(tmp_path: Path) -> None:
    """Each request finds its own reply, in pieces as it came; one that was never asked finds none."""
    clock = FakeClock()
    file = tmp_path / "line.trace"
    with Trace(file, clock) as trace:
        for request, reply in ((Q0, A), (Q2, B)):
            trace.sent("/dev/hollow-mere", request)
            clock.advance(0.02)
            trace.received("/dev/hollow-mere", reply[:4])
            clock.advance(0.016)
            trace.received("/dev/hollow-mere", reply[4:])
            clock.advance(1)
    meter = TraceMeter(read_trace(file))
    for request, reply in ((Q0, A), (Q2, B), (Q0, A)):
        meter.reply(request)
        pieces = meter.deliver(request, None)
        assert b"".join(piece.data for piece in pieces) == reply
        assert [len(piece.data) for piece in pieces] == [4, 5]
    unknown = bytes.fromhex("010300050001940B")
    assert meter.reply(unknown) is None
    assert list(meter.deliver(unknown, None)) == []


def test_the_manuals_table_is_the_alphabet() -> None:
    text = (ROOT / "docs/fault-plans.md").read_text(encoding="utf-8")
    rows = [line for line in text.split("\n## ")[0].splitlines() if line.startswith("| `")]
    assert rows == [f"| `{letter}` | {happens} |" for letter, happens in alphabet_table().items()]
