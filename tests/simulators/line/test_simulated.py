"""When a simulated line answers: to the microsecond, on a clock that is moved by hand.

Times by hand from SL V1.02, 2.5.1: a character of 11 bits at 9600 Bd takes 1.145833 ms, and 3.5 of them are
4.010417 ms.
"""

import pytest

from protocols.modbus.timing import SerialFormat
from simulators.clock import FakeClock
from simulators.line import UNPACED, Exchange, Pace, Piece, SimulatedLine

READ = bytes.fromhex("01 03 00 6B 00 03 74 17")
ANSWER = bytes.fromhex("01 03 06 02 2B 00 00 00 64 05 7A")
DIAGNOSE = bytes.fromhex("01 08 00 00 A5 37 DA 8D")
CHARACTER = 11 / 9600  # s


class ScriptedEnd:
    """Gives bytes at set times of the fake clock, and keeps what is written with its time."""

    port = "nowhere"

    def __init__(self, clock: FakeClock, script: list[tuple[float, bytes]]) -> None:
        self.clock = clock
        self.script = script
        self.written: list[tuple[float, bytes]] = []

    def read(self, timeout: float | None) -> bytes:
        due = self.script[0][0] if self.script else float("inf")
        now = self.clock.monotonic()
        if timeout is not None and due > now + timeout:
            self.clock.advance(timeout)
            return b""
        self.clock.advance(max(0.0, due - now))
        return self.script.pop(0)[1]

    def write(self, data: bytes) -> None:
        self.written.append((self.clock.monotonic(), data))

    def wake(self) -> None: ...

    def close(self) -> None: ...


class Meter:
    """Answers the one question it knows, refuses diagnostics, is silent on all else."""

    def reply(self, frame: bytes) -> bytes | None:
        return {READ: ANSWER, DIAGNOSE: b"\x01\x88\x01\x87\xc0"}.get(frame)


class Rig:
    def __init__(self, script: list[tuple[float, bytes]], pace: Pace, **more: object) -> None:
        self.clock = FakeClock(monotonic=0.0)
        self.end = ScriptedEnd(self.clock, script)
        self.exchanges: list[Exchange] = []
        self.line = SimulatedLine(
            [Meter()],
            end=self.end,
            pace=pace,
            clock=self.clock,
            watch=self.exchanges.append,
            **more,  # type: ignore[arg-type]
        )

    def run(self) -> "Rig":
        while self.end.script:
            self.line.step(None)
        self.line.step(1.0)
        self.line.step(1.0)
        return self


def paced(turnaround: float = 0.005) -> Pace:
    return Pace.of(SerialFormat(9600, "even"), turnaround)


def test_an_unpaced_line_answers_at_once_and_in_one_piece():
    rig = Rig([(1.0, READ)], UNPACED).run()
    assert rig.end.written == [(1.0, ANSWER)]
    assert rig.line.stats.too_soon == 0


def test_a_reply_ends_after_request_turnaround_and_its_own_characters():
    rig = Rig([(1.0, READ)], paced()).run()
    assert b"".join(data for _, data in rig.end.written) == ANSWER
    request_end = 1.0 + 8 * CHARACTER
    assert rig.end.written[-1][0] == pytest.approx(request_end + 0.005 + 11 * CHARACTER, abs=1e-9)
    done = 0
    for at, data in rig.end.written:  # no character is there before it can have arrived
        done += len(data)
        assert at == pytest.approx(request_end + 0.005 + done * CHARACTER, abs=1e-9)
    assert len(rig.end.written) >= 5


def test_a_request_in_two_lumps_is_not_finished_before_its_last_character():
    late = 1.0 + 20 * CHARACTER
    rig = Rig([(1.0, READ[:3]), (late - 12 * CHARACTER, READ[3:])], paced()).run()
    assert rig.end.written[-1][0] == pytest.approx(late - 7 * CHARACTER + 0.005 + 11 * CHARACTER, abs=1e-9)


@pytest.mark.parametrize(("gap", "too_soon"), [(3.4, 1), (3.6, 0)])
def test_a_request_within_three_and_a_half_characters_of_the_reply_is_counted(gap: float, too_soon: int):
    end = 1.0 + (8 + 11) * CHARACTER + 0.005
    rig = Rig([(1.0, READ), (end + gap * CHARACTER, READ)], paced()).run()
    assert rig.line.stats.requests == 2
    assert rig.line.stats.too_soon == too_soon
    assert [exchange.too_soon for exchange in rig.exchanges] == [False, too_soon == 1]


def test_a_request_sent_while_the_reply_is_still_on_its_way_is_too_soon():
    rig = Rig([(1.0, READ), (1.0 + 12 * CHARACTER, READ)], paced()).run()
    assert rig.line.stats.too_soon == 1


def test_a_request_of_unknown_length_is_refused_after_silence():
    rig = Rig([(1.0, DIAGNOSE)], paced()).run()
    assert b"".join(data for _, data in rig.end.written) == bytes.fromhex("01 88 01 87 C0")
    assert rig.end.written[0][0] > 1.0 + 8 * CHARACTER + 3.5 * CHARACTER


def test_rubbish_is_counted_and_the_next_request_after_silence_is_answered():
    rig = Rig([(1.0, b"AT\r"), (2.0, READ)], UNPACED).run()
    assert rig.end.written == [(2.0, ANSWER)]
    assert (rig.line.stats.damaged, rig.line.stats.requests) == (1, 1)


def test_a_torn_request_is_forgotten_before_the_next_one():
    rig = Rig([(1.0, READ[:5]), (2.0, READ)], UNPACED).run()
    assert rig.end.written == [(2.0, ANSWER)]


def test_what_lies_between_meter_and_line_may_change_the_reply_and_its_time():
    def late_and_doubled(request: bytes, reply: bytes | None) -> list[Piece]:
        assert request == READ
        assert reply == ANSWER
        return [Piece(0.65, ANSWER), Piece(0.1, b"\x00")]

    rig = Rig([(1.0, READ)], UNPACED, delivery=late_and_doubled).run()
    assert rig.end.written == [(pytest.approx(1.65), ANSWER), (pytest.approx(1.75), b"\x00")]


def test_a_silent_meter_is_watched_too():
    silent = bytes.fromhex("02 03 00 6B 00 03 74 24")
    rig = Rig([(1.0, silent)], UNPACED).run()
    assert [(e.request, e.reply) for e in rig.exchanges] == [(silent, None)]
    assert rig.end.written == []
