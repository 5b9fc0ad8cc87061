"""A simulated meter with a memory, asked frame by frame, and a map that may be wrong about it."""

from collections.abc import Callable, Sequence

import pytest

from protocols.errors import ReplyError
from protocols.log_memory.walk.reading import words_of
from protocols.modbus.crc import with_crc
from protocols.modbus.replies import ExceptionReply, read_reply
from protocols.modbus.requests import Request
from protocols.register_map.model import RegisterMap
from protocols.register_map.parse import parse_map
from readout.diagnose.memory.judging import Judged, Sample, distinct, judge
from readout.diagnose.memory.layouts import layouts
from readout.diagnose.memory.sampling import Sampler
from simulators.clock import FakeClock
from simulators.device import SimulatedMeter
from simulators.log_memory import LogOptions

UNIT = 12

MAP = """\
register_map: 1
meter: Hollow Mere test meter
serial: {{unit_address: 12}}
wire: {{word_order: {words}, byte_order: {bytes}}}
readings: {{flow: {{input: 0, type: float32, unit: m3/h, range: [0, 900]}}}}
settings: {{log_interval: {{holding: 32, type: uint16, unit: s, steps: [1, 10], write: allowed}}}}
log_memory:
  capacity: 400
  {extent}
  record:
    registers: {registers}
    fields: {fields}
  reached_by: {way}
"""
SESSIONS = """sessions:
    count: {input: 100}
    table: {input: 110, registers: 7}
    most: 8
    fields:
      started:  {at: 0, type: unix time}
      interval: {at: 2, type: uint16, unit: s}
      records:  {at: 3, type: uint32}
      first:    {at: 5, type: uint32}"""
COUNT = "count: {input: 100}"
FIELDS = "{flow: {at: 0, type: float32, unit: m3/h}, speed: {at: 2, type: uint16, scale: 0.1, unit: m/s}}"
WINDOW = "{window: {pointer: {holding: 82}, echo: {holding: 400}, data: {holding: 401}, records: 10}}"


def map_of(
    *,
    words: str = "high first",
    byte_order: str = "high first",
    extent: str = SESSIONS,
    registers: int = 3,
    fields: str = FIELDS,
    way: str = WINDOW,
) -> RegisterMap:
    text = MAP.format(
        words=words, bytes=byte_order, extent=extent, registers=registers, fields=fields, way=way
    )
    parsed = parse_map(text.encode(), "constructed.yaml")
    assert parsed.map is not None, parsed.faults
    return parsed.map


class Bench:
    """A meter that is as its map says, tried by another map."""

    def __init__(self, device: RegisterMap, log: LogOptions | None = None) -> None:
        self.clock = FakeClock()
        options = LogOptions.prefilled(200, 10.0) if log is None else log
        self.meter = SimulatedMeter(device, clock=self.clock, log=options)
        self.asked: list[Request] = []

    def ask(self, request: Request) -> Sequence[int] | None:
        self.asked.append(request)
        frame = self.meter.reply(with_crc(bytes([UNIT]) + request.pdu()))
        if frame is None:
            return None
        try:
            reply = read_reply(request, UNIT, frame)
        except ReplyError:
            return None
        return None if reply is None or isinstance(reply, ExceptionReply) else words_of(reply)

    def sampler(self, tried: RegisterMap) -> Sampler:
        assert tried.log_memory is not None
        return Sampler(tried.log_memory, tried.wire, self.ask, lambda: "It was refused.")

    def sample(self, tried: RegisterMap) -> Sample:
        ranges = {value.name: value.range for value in tried.readings if value.range is not None}
        return self.sampler(tried).sample(round(self.clock.utc() * 1000), {}, ranges)

    def judged(self, tried: RegisterMap) -> list[Judged]:
        """Everything that was tried, the plausible first."""
        memory, sample = tried.log_memory, self.sample(tried)
        assert memory is not None
        found = distinct(
            one for layout in layouts(memory) if (one := judge(memory, layout, sample)) is not None
        )
        return sorted(found, key=lambda one: not one.plausible)


@pytest.fixture
def maps() -> Callable[..., RegisterMap]:
    """Makes a map: `words`, `byte_order`, `extent`, `registers`, `fields`, `way`."""
    return map_of


@pytest.fixture
def bench() -> Callable[..., Bench]:
    """`bench(map, log)`: a meter that is as this map says."""
    return Bench
