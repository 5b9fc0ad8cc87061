"""Our walker retrieves the memory of a meter by libmodbus: by function 23, by 16 and 3, by its registers."""

from collections.abc import Iterator

import numpy as np
import pytest

from protocols.log_memory.walk.walker import Walker
from protocols.modbus.replies import Registers, Reply, Written
from protocols.modbus.requests import ReadWriteRegisters, Request, WriteRegisters
from protocols.modbus.timing import SerialFormat
from protocols.register_map.parse import parse_map
from readout.bus.exchange import Line, Manners
from readout.bus.outcome import Status
from readout.bus.port import open_port
from readout.clock import SystemClock

UNIT = 17
FORMAT = SerialFormat(19200, "none", stop_bits=2)
MANNERS = Manners(reply_within=2.0)
WINDOW = "window: {pointer: {holding: 10}, echo: {holding: 20}, data: {holding: 21}, records: 5"
WAYS = {
    "function 23": WINDOW + ", write_and_read: allowed}",
    "window": WINDOW + "}",
    "registers": "registers: {input: 100}",
}


@pytest.fixture
def line(libmodbus_memory: str) -> Iterator[Line]:
    line = Line(open_port(libmodbus_memory, FORMAT), FORMAT, SystemClock())
    yield line
    line.close()


def ask(line: Line, request: Request) -> Reply:
    if isinstance(request, WriteRegisters):
        assert line.write(UNIT, request, MANNERS).status is Status.OK
        return Written(request.start, len(request.words))
    read = line.ask if isinstance(request, ReadWriteRegisters) else line.read
    outcome = read(UNIT, request, MANNERS)  # type: ignore[arg-type]  # each takes what it is given here
    assert outcome.status is Status.OK, outcome.text
    return Registers(tuple(outcome.words))


@pytest.mark.parametrize("way", WAYS)
def test_every_record_is_found_once_with_its_words(line: Line, way: str) -> None:
    text = (
        "register_map: 1\nmeter: a stranger's\nlog_memory:\n  capacity: 60\n  count: {input: 0}\n  record:\n"
        "    registers: 4\n    fields:\n      number: {at: 0, type: uint16}\n"
        "      a: {at: 1, type: uint16, unit: 1}\n"
        f"  reached_by:\n    {WAYS[way]}\n"
    )
    register_map = parse_map(text.encode(), "stranger.yaml").map
    assert register_map is not None
    assert register_map.log_memory is not None
    walker = Walker(register_map.log_memory, register_map.wire)
    found, sent = [], []
    while (step := walker.next()) is not None:
        sent.append(type(step.request))
        found += walker.take(ask(line, step.request)).batches
    words = np.concatenate([batch.words for batch in found])
    assert words.tolist() == [[n, 7 * n + 1, 60000 - n, n ^ 0x5555] for n in range(60)]
    assert (ReadWriteRegisters in sent, WriteRegisters in sent) == (way == "function 23", way == "window")
