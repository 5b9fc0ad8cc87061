"""Recording started, stopped and erased through its register: what decides is what the meter then says."""

import pytest

from readout.errors import FellShort, WrongUse
from readout.meter.commands import (
    ERASE,
    IDLE,
    RECORDING,
    became,
    command,
    command_register,
    state_register,
    state_word,
)

MAP = """\
register_map: 1
meter: Hollow Mere test meter
serial: {{unit_address: 12}}
wire: {{reply_within: 100 ms, late_within: 100 ms}}
settings: {{log_interval: {{holding: 32, type: uint16, unit: s, steps: [10], write: allowed}}}}
log_memory:
  capacity: 100
  count: {{input: 90}}
  {recording}
  record: {{registers: 4, fields: {{time: {{at: 0, type: unix time}}, flow: {{at: 2, type: float32}}}}}}
  reached_by: {{registers: {{input: 1000}}}}
"""
REGISTER = "recording: {holding: 80, type: uint16, codes: {0: idle, 1: recording, 7: erase}, write: allowed}"


@pytest.fixture
def recorder(make_hall):
    """A meter with a memory, recording since it was switched on."""
    return make_hall(map_text=MAP.format(recording=REGISTER))


def register(hall, word: str = RECORDING):
    return command_register(hall.map.log_memory, word)


def test_a_word_is_written_once_and_the_meter_says_what_became_of_it(recorder) -> None:
    assert state_word(recorder.meter, register(recorder)) == RECORDING
    for word in (IDLE, RECORDING):
        assert command(recorder.meter, register(recorder), word).status == "ok"
        assert became(recorder.meter, register(recorder), word, recorder.clock) == word
    # Application Protocol V1.1b3, 6.12: one register from 0050 on, two bytes
    assert [frame[1:-2].hex(" ").upper() for frame in recorder.port.writes] == [
        "10 00 50 00 01 02 00 00",
        "10 00 50 00 01 02 00 01",
    ]


def test_a_lost_reply_is_no_failure_where_the_meter_obeyed(recorder) -> None:
    recorder.port.lost = 1
    command(recorder.meter, register(recorder), IDLE)
    assert became(recorder.meter, register(recorder), IDLE, recorder.clock) == IDLE
    assert len(recorder.port.writes) == 1


def test_a_command_that_never_arrived_is_not_sent_again(recorder) -> None:
    recorder.port.dropped = 1
    assert command(recorder.meter, register(recorder), IDLE).cause == "unanswered write"
    assert became(recorder.meter, register(recorder), IDLE, recorder.clock) == RECORDING
    assert len(recorder.port.writes) == 1


def test_an_erase_command_that_reads_back_as_something_else_is_done_all_the_same(recorder) -> None:
    """The register shows idle after it, not the command: it is read for what the meter does, not compared."""
    command(recorder.meter, register(recorder), IDLE)
    recorder.clock.advance(100)
    recorder.port.lost = 1
    command(recorder.meter, register(recorder), ERASE)
    assert state_word(recorder.meter, register(recorder)) == IDLE
    assert len(recorder.device.log.truth().number) == 0


def test_a_meter_that_refuses_is_explained(recorder) -> None:
    recorder.clock.advance(2000)  # 100 places of 10 s are full long before: recording has stopped
    assert state_word(recorder.meter, register(recorder)) == IDLE
    with pytest.raises(FellShort, match="The meter refuses: it does not take this value"):
        command(recorder.meter, register(recorder), RECORDING)


SEPARATE = """recording: {input: 89, type: uint16, codes: {0: idle, 5: recording}}
  command: {holding: 81, type: uint16, codes: {1: recording, 2: idle, 165: erase}, write: allowed}"""


def test_a_command_register_of_its_own_is_written_and_the_state_is_read_elsewhere(make_hall) -> None:
    """Application Protocol V1.1b3, 6.12: register 0051, one word, 0002 and then 00A5."""
    hall = make_hall(map_text=MAP.format(recording=SEPARATE))
    memory = hall.map.log_memory
    for word, becomes in ((IDLE, IDLE), (ERASE, IDLE), (RECORDING, RECORDING)):
        command(hall.meter, command_register(memory, word), word)
        assert became(hall.meter, state_register(memory), becomes, hall.clock) == becomes
    assert [frame[1:-2].hex(" ").upper() for frame in hall.port.writes] == [
        "10 00 51 00 01 02 00 02",
        "10 00 51 00 01 02 00 A5",
        "10 00 51 00 01 02 00 01",
    ]


def test_without_a_register_that_tells_the_state_nothing_is_started(make_hall) -> None:
    alone = SEPARATE[SEPARATE.index("command") :]
    memory = make_hall(map_text=MAP.format(recording=alone)).map.log_memory
    assert command_register(memory, ERASE).name == "command"
    with pytest.raises(WrongUse, match="nobody would know what became of it"):
        state_register(memory)


@pytest.mark.parametrize(
    ("recording", "word", "said"),
    [
        ("when_full: stop", RECORDING, "names no register that starts and stops"),
        (REGISTER.replace(", write: allowed", ""), IDLE, "lacks write: allowed"),
        (REGISTER.replace(", 7: erase", ""), ERASE, "the codes of recording are idle, recording"),
    ],
)
def test_what_the_map_does_not_tell_or_allow_is_refused(
    make_hall, recording: str, word: str, said: str
) -> None:
    hall = make_hall(map_text=MAP.format(recording=recording))
    with pytest.raises(WrongUse, match=said):
        register(hall, word)
