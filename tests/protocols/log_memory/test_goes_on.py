"""A meter that goes on recording, or stays busy, while it is read."""

from types import SimpleNamespace

from protocols.log_memory.walk.reading import BUSY_TRIES, Cause, Purpose
from protocols.log_memory.walk.walker import Walker
from protocols.modbus.replies import ExceptionReply, Registers, Reply
from protocols.modbus.requests import ReadRequest, Request

#: A count at input 10, whether it records at input 11, records of one register from input 1000 on.
MAP = (
    "register_map: 1\nmeter: Hollow Mere model\nlog_memory:\n  capacity: 100\n  holds: mean\n"
    "  count: {input: 10}\n  recording: {input: 11, type: uint16, codes: {0: idle, 1: recording}}\n"
    "  record: {registers: 1, fields: {flow: {at: 0, type: uint16, unit: 1}}}\n"
    "  reached_by: {registers: {input: 1000}}\n"
)


class Growing:
    """Record n reads 500 + n, the newest 1 too little until it is over; `grows` says how many there are."""

    def __init__(self, *grows: int) -> None:
        self.grows = list(grows)
        self.count = 0

    def answer(self, request: Request) -> Reply:
        assert isinstance(request, ReadRequest)
        if request.start == 10:
            self.count = self.grows.pop(0) if len(self.grows) > 1 else self.grows[0]
            return Registers((self.count, 1))
        numbers = range(request.start - 1000, request.start - 1000 + request.count)
        return Registers(tuple(500 + n - (n == self.count - 1) for n in numbers))


def test_a_running_record_is_fetched_again_once_it_is_over(model: SimpleNamespace) -> None:
    """Left out as unfinished in the first pass, whole in the second; only the newest stays open."""
    register_map = model.map_of(MAP)
    walker = Walker(register_map.log_memory, register_map.wire)
    batches = model.drive(walker, Growing(5, 8).answer)
    whole = {
        number: int(words[0])
        for batch in batches
        for number, words, running in zip(batch.numbers.tolist(), batch.words, batch.unfinished, strict=True)
        if not running
    }
    assert whole == {number: 500 + number for number in range(7)}
    found = walker.statement()
    assert (found.expected, found.read, found.unfinished, found.gaps) == (8, 7, 1, ())


def test_a_running_record_alone_is_not_asked_for_again_and_again(model: SimpleNamespace) -> None:
    register_map = model.map_of(MAP)
    walker = Walker(register_map.log_memory, register_map.wire)
    meter = Growing(5)
    asked: list[Request] = []

    def answer(request: Request) -> Reply:
        asked.append(request)
        return meter.answer(request)

    model.drive(walker, answer)
    assert [request.start for request in asked if isinstance(request, ReadRequest)] == [10, 1000, 10]


def test_a_meter_that_stays_busy_is_given_up_after_one_series_of_waits(model: SimpleNamespace) -> None:
    """Not after one for each width of a read: each of them takes half a minute of waiting."""
    register_map = model.map_of(MAP)
    walker = Walker(register_map.log_memory, register_map.wire)
    meter, refused = Growing(50), 0
    while (step := walker.next()) is not None:
        busy = step.purpose is Purpose.RECORDS
        refused += busy
        walker.take(ExceptionReply(4, 6) if busy else meter.answer(step.request))
    assert refused == BUSY_TRIES
    ended = walker.statement().ended
    assert ended is not None
    assert ended.cause is Cause.BUSY
