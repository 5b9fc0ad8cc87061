"""Settings on the line: what is sent, never twice, and what comes of a reply that is lost."""

import pytest

from protocols.modbus.tables import Table
from protocols.register_map.model import Column, Wire
from readout.errors import FellShort, NothingTrusted, WrongUse
from readout.meter.asking import refusal, trusted, writes
from readout.meter.wanted import wanted, words_for

HOLDING = Table.HOLDING


def told(hall, name: str, text: str) -> dict:
    setting = hall.setting(name)
    before = dict.fromkeys(setting.columns(), 0x7777)
    return words_for(setting, wanted(setting, text, setting.unit), before)


def test_two_registers_are_one_request_of_function_16(hall) -> None:
    """Bytes by hand from the Application Protocol V1.1b3, 6.12: start 001E, 2 registers, 4 bytes."""
    words = told(hall, "inside_diameter", "53.1 mm")
    assert hall.meter.write(words).status == "ok"
    (frame,) = hall.port.writes
    assert frame[:-2].hex(" ").upper() == "0C 10 00 1E 00 02 04 66 66 42 54"
    assert hall.meter.words_of(hall.setting("inside_diameter")) == words


def test_a_meter_that_takes_one_register_at_a_time_gets_function_6(make_hall) -> None:
    """6.6: address, value; the registers in their order."""
    hall = make_hall(6)
    words = told(hall, "inside_diameter", "53.1 mm")
    assert hall.meter.write(words).status == "ok"
    assert [frame[1:-2].hex(" ").upper() for frame in hall.port.writes] == [
        "06 00 1E 66 66",
        "06 00 1F 42 54",
    ]
    assert hall.meter.words_of(hall.setting("inside_diameter")) == words


def test_a_coil_is_written_with_function_5(hall) -> None:
    """6.5: FF00 switches on."""
    assert hall.meter.write(told(hall, "output", "on")).status == "ok"
    assert hall.port.writes[0][1:-2].hex(" ").upper() == "05 00 03 FF 00"
    assert list(hall.meter.words_of(hall.setting("output")).values()) == [1]


def test_registers_apart_are_written_apart_and_long_runs_in_pieces() -> None:
    """6.12: at most 123 registers in one write."""
    apart = {Column(HOLDING, address): address for address in (7, 5, 6, 9)}
    assert [(one.start, one.words) for one in writes(apart, Wire())] == [(5, (5, 6, 7)), (9, (9,))]
    long = {Column(HOLDING, address): 1 for address in range(200)}
    assert [(one.start, len(one.words)) for one in writes(long, Wire())] == [(0, 123), (123, 77)]


@pytest.mark.parametrize(
    ("column", "said"),
    [(Column(Table.INPUT, 1), "only holding registers and coils"), (Column(HOLDING, 1, 1), "32 bits")],
)
def test_what_nobody_can_write_is_refused(column: Column, said: str) -> None:
    with pytest.raises(WrongUse, match=said):
        writes({column: 0}, Wire())


def test_a_lost_reply_is_read_back_and_nothing_is_written_twice(hall) -> None:
    hall.port.lost = 1
    words = told(hall, "inside_diameter", "53.1 mm")
    outcome = hall.meter.write(words)
    assert (outcome.status, outcome.cause) == ("ok", "read back")
    assert len(hall.port.writes) == 1


def test_a_write_that_the_meter_never_heard_is_not_repeated_either(hall) -> None:
    hall.port.dropped = 1
    before = hall.meter.words_of(hall.setting("inside_diameter"))
    outcome = hall.meter.write(told(hall, "inside_diameter", "60 mm"))
    assert outcome.cause == "unanswered write"
    assert "was not carried out" in outcome.text
    assert len(hall.port.writes) == 1
    assert hall.meter.words_of(hall.setting("inside_diameter")) == before


def test_of_two_writes_the_second_is_not_sent_where_the_first_failed(make_hall) -> None:
    hall = make_hall(6)
    hall.port.dropped = 1
    assert hall.meter.write(told(hall, "inside_diameter", "60 mm")).cause == "unanswered write"
    assert len(hall.port.writes) == 1


def test_a_refusal_is_explained(hall) -> None:
    """Exception 03: a step that the meter, against its map, does not take."""
    words = {Column(HOLDING, 32): 7}
    outcome = hall.meter.write(words)
    assert outcome.exception == 3
    assert "The meter refuses: it does not take this value" in refusal(outcome)
    with pytest.raises(FellShort, match="illegal data value"):
        trusted(outcome)


def test_silence_and_rubbish_are_told_apart(hall) -> None:
    hall.port.instead = lambda _: None
    with pytest.raises(FellShort, match="no reply within"):
        hall.meter.words_of(hall.setting("gas"))
    hall.port.instead = lambda frame: (hall.device.reply(frame) or b"")[:-1] + b"\x55"
    with pytest.raises(NothingTrusted):
        hall.meter.words_of(hall.setting("gas"))
