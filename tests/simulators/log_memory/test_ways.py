"""A simulated meter's memory by each of the four ways: what a reader finds is what the meter recorded."""

from types import SimpleNamespace

import pytest

from protocols.modbus.exceptions import ExceptionCode
from protocols.modbus.replies import ExceptionReply
from protocols.modbus.requests import FilePart, ReadFileRecords, ReadQueue, ReadRequest
from protocols.modbus.tables import Table
from simulators.clock import FakeClock
from simulators.device import SimulatedMeter
from simulators.log_memory import LogOptions

WAYS = (
    "window", "function 23", "window that moves on", "registers", "banks", "files",
    "files that count records", "queue", "queue that moves on",
)  # fmt: skip


@pytest.mark.parametrize("way", WAYS)
@pytest.mark.parametrize("records", [0, 1, 137, 200])
def test_everything_recorded_before_is_found_once_in_order_with_its_values(
    logs: SimpleNamespace, clock: FakeClock, way: str, records: int
) -> None:
    options = LogOptions.prefilled(records, 5.0, recording=False)
    meter = SimulatedMeter(logs.map_of(logs.map_text(way)), clock=clock, log=options)
    truth = meter.log.truth()
    found = logs.retrieve(meter)
    assert found.numbers == list(range(records)) == truth.number.tolist()
    if records:
        assert found.values("pressure") == truth.values["pressure"].data.tolist()
        assert found.values("time") == truth.meter_ms.tolist()
    assert found.walker.statement().gaps == ()


@pytest.mark.parametrize("way", WAYS)
def test_a_ring_that_has_gone_round_is_found_from_its_oldest_record_on(
    logs: SimpleNamespace, clock: FakeClock, way: str
) -> None:
    text = logs.map_text(way, when_full="overwrite oldest")
    meter = SimulatedMeter(
        logs.map_of(text), clock=clock, log=LogOptions.prefilled(450, 5.0, recording=False)
    )
    found = logs.retrieve(meter)
    assert found.numbers == list(range(250, 450))
    logs.same_as_truth(found, meter)


@pytest.mark.parametrize("way", WAYS)
def test_numbers_that_start_again_at_0_go_on_in_the_archive(
    logs: SimpleNamespace, clock: FakeClock, way: str
) -> None:
    # oldest 65530 and next 4 are ten records
    extent = "  oldest: {input: 50}\n  next: {input: 51}\n  count: {input: 52}\n"
    text = logs.map_text(way, extent, capacity=256, when_full="overwrite oldest")
    options = LogOptions.prefilled(10, 5.0, recording=False)
    options = LogOptions(options.past, recording=False, first_number=65530)
    meter = SimulatedMeter(logs.map_of(text), clock=clock, log=options)
    found = logs.retrieve(meter)
    assert found.numbers == list(range(65530, 65540))
    logs.same_as_truth(found, meter)


def test_beyond_a_file_or_the_queues_address_the_meter_refuses(
    logs: SimpleNamespace, clock: FakeClock
) -> None:
    # AP V1.1b3, 6.14, p. 33: a file or record that is not there is exception 02
    refused = ExceptionReply(20, ExceptionCode.ILLEGAL_DATA_ADDRESS)
    options = LogOptions.prefilled(200, recording=False)
    meter = SimulatedMeter(logs.map_of(logs.map_text("files")), clock=clock, log=options)
    for file, record, count in ((2, 0, 8), (3, 70 * 8, 8), (3, 69 * 8, 16), (5, 60 * 8, 8), (6, 0, 1)):
        assert logs.ask(meter, ReadFileRecords((FilePart(file, record, count),))) == refused
    assert logs.ask(meter, ReadQueue(600)) == ExceptionReply(24, ExceptionCode.ILLEGAL_FUNCTION)
    queue = SimulatedMeter(logs.map_of(logs.map_text("queue")), clock=clock, log=options)
    assert logs.ask(queue, ReadQueue(601)) == ExceptionReply(24, ExceptionCode.ILLEGAL_DATA_ADDRESS)


def test_the_bridged_registers_of_a_memory_answer_zeros_and_the_ones_behind_it_refuse(
    logs: SimpleNamespace, clock: FakeClock
) -> None:
    meter = SimulatedMeter(logs.map_of(logs.map_text("window")), clock=clock)
    assert logs.ask(meter, ReadRequest(Table.HOLDING, 400, 42)).words == (0,) * 42
    refused = ExceptionReply(3, ExceptionCode.ILLEGAL_DATA_ADDRESS)
    assert logs.ask(meter, ReadRequest(Table.HOLDING, 400, 43)) == refused
