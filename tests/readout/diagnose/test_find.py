"""Finding meters on a simulated line with a clock that jumps: order, duration, late and damaged replies."""

from protocols.modbus.crc import with_crc
from protocols.modbus.symptoms import Kind
from protocols.modbus.tables import Table
from protocols.modbus.timing import SerialFormat
from readout.diagnose.find import Finder, expected_seconds, listen_first
from readout.diagnose.settings import likely_settings, stages

EVEN = SerialFormat(19200, "even")
NONE = SerialFormat(9600, "none")
TWO = SerialFormat(38400, "none", stop_bits=2)


def meter(unit: int, *, functions=(3,), after: float = 0.02, reply: bytes | None = None):
    """A meter that holds 4711 in every register of its tables, and refuses nothing."""

    def replies(frame: bytes, _now: float) -> list[tuple[float, bytes]]:
        if frame[0] != unit or frame[1] not in functions:
            return []
        return [(after, reply or with_crc(bytes((unit, frame[1], 2, 0x12, 0x67))))]

    return replies


def search(hall, units, *, table=Table.HOLDING, formats=None, first_only=False, wait=0.1):
    plan = tuple(stages(formats or likely_settings(), units))
    finder = Finder(hall.open, hall.clock, wait=wait)
    return finder.run(plan, table, first_only=first_only), plan


def found(result) -> set[tuple[int, str]]:
    return {(answer.unit, str(answer.format)) for answer in result.answers}


def test_three_meters_of_different_settings_are_all_found_in_the_announced_time(hall) -> None:
    hall.meters = [(EVEN, meter(12)), (NONE, meter(1)), (TWO, meter(247))]
    begun = hall.clock.at
    result, plan = search(hall, range(1, 248))
    assert found(result) == {(12, "19200 8E1"), (1, "9600 8N1"), (247, "38400 8N2")}
    took = hall.clock.at - begun
    assert abs(took - expected_seconds(plan, 0.1, 0.0)) < 0.15 * took


def test_likely_settings_and_low_addresses_come_first_and_none_is_left_out(hall) -> None:
    search(hall, range(1, 248))
    order = [(fmt, frame[0]) for _, fmt, frame in hall.sent]
    assert order[0] == (EVEN, 1)
    assert {fmt for fmt, _ in order[: 4 * 16]} == {
        EVEN,
        SerialFormat(9600, "even"),
        SerialFormat(19200, "none"),
        NONE,
    }
    assert len(order) == len(set(order)) == 247 * 32
    assert all(unit <= 16 for _, unit in order[: 16 * 32])


def test_every_request_reads_one_register(hall) -> None:
    search(hall, [1, 5], formats=[EVEN])
    search(hall, [1], formats=[EVEN], table=Table.INPUT)
    assert [frame[1:6] for _, _, frame in hall.sent] == [
        bytes.fromhex("03 00 00 00 01"),
        bytes.fromhex("03 00 00 00 01"),
        bytes.fromhex("04 00 00 00 01"),
    ]


def test_a_refusal_is_an_answer(hall) -> None:
    hall.meters = [(EVEN, meter(1, reply=bytes.fromhex("01 83 02 C0 F1")))]
    result, _ = search(hall, [1], formats=[EVEN])
    assert found(result) == {(1, "19200 8E1")}
    assert "illegal data address" in result.answers[0].text


def test_the_first_answer_may_end_the_search(hall) -> None:
    hall.meters = [(EVEN, meter(3)), (EVEN, meter(9))]
    result, _ = search(hall, range(1, 248), first_only=True)
    assert found(result) == {(3, "19200 8E1")}
    assert len(hall.sent) == 3


def test_a_meter_slower_than_the_waiting_is_found_under_its_own_address(hall) -> None:
    hall.meters = [(EVEN, meter(4, after=0.25))]
    result, _ = search(hall, range(1, 11), formats=[EVEN])
    assert found(result) == {(4, "19200 8E1")}
    assert len(result.answers) == 1


def test_the_same_address_at_two_settings_is_two_meters(hall) -> None:
    hall.meters = [(EVEN, meter(1)), (NONE, meter(1))]
    result, _ = search(hall, [1, 2])
    assert found(result) == {(1, "19200 8E1"), (1, "9600 8N1")}


def test_what_cannot_be_understood_is_kept_with_its_kind(hall) -> None:
    hall.meters = [(EVEN, meter(1, reply=b"\r\nlogin: "))]
    result, _ = search(hall, [1], formats=[EVEN])
    assert not result.answers
    assert result.garbage[0][2].kind is Kind.TEXT


def test_an_adapter_that_hears_itself_is_no_answer(hall) -> None:
    hall.meters = [(EVEN, lambda frame, _: [(0.0, frame)])]
    result, _ = search(hall, range(1, 6), formats=[EVEN])
    assert not result.answers
    assert not result.garbage


def test_before_anything_is_sent_the_line_is_listened_to_for_some_seconds(hall) -> None:
    listening = listen_first(hall.open, likely_settings(), hall.clock)
    assert 2 <= hall.clock.at - 1000.0 <= 3
    assert not hall.sent
    assert listening.disturbing is None
    assert {fmt.baud_rate for fmt in hall.opened} == {19200, 9600, 38400, 115200}


def test_somebody_elses_polling_is_heard_and_named(hall) -> None:
    hall.traffic = [(1000.8, bytes.fromhex("05 03 00 00 00 0A C4 49"))]
    heard = listen_first(hall.open, likely_settings(), hall.clock).disturbing
    assert heard is not None
    assert heard.in_use
    assert "5" in heard.sentence()


def test_polling_at_a_setting_that_is_not_tried_is_use_all_the_same(hall) -> None:
    hall.traffic = [(1001.0, bytes.fromhex("06 80 1E 80 60 80 06 60"))]
    heard = listen_first(hall.open, likely_settings(), hall.clock).disturbing
    assert heard is not None
    assert heard.in_use


def test_a_noise_byte_is_no_use_and_endless_zeros_are_a_stuck_line(hall) -> None:
    hall.traffic = [(1000.5, b"\0")]
    assert listen_first(hall.open, likely_settings(), hall.clock).disturbing is None
    hall.traffic = [(hall.clock.at + 0.003 * count, b"\0") for count in range(600)]
    heard = listen_first(hall.open, likely_settings(), hall.clock).disturbing
    assert heard is not None
    assert heard.stuck
    assert "stuck" in heard.sentence()
