"""A simulated meter on a line whose port and clock are played; replies can be lost behind the request."""

from collections.abc import Callable
from dataclasses import dataclass, field

import pytest

from protocols.modbus.timing import SerialFormat
from protocols.register_map.model import RegisterMap, Value
from protocols.register_map.parse import parse_map
from readout.bus.exchange import Line, Manners
from readout.meter.asking import Meter
from simulators.clock import FakeClock
from simulators.device import SimulatedMeter

FORMAT = SerialFormat(19200, "even", 8, 1)
#: Function codes that write (Application Protocol V1.1b3, 6.5, 6.6, 6.11, 6.12).
WRITING = (5, 6, 15, 16)

MAP = """\
register_map: 1
meter: Hollow Mere test meter
serial: {{unit_address: 12}}
wire: {{reply_within: 100 ms, late_within: 100 ms, write_with: {write_with}, word_order: low first}}
readings:
  flow: {{input: 0, type: float32, unit: m3/h}}
settings:
  inside_diameter: {{holding: 30, type: float32, unit: mm, range: [12, 900], write: allowed}}
  log_interval: {{holding: 32, type: uint16, unit: s, steps: [1, 2, 10, 20, 60, 300], write: allowed}}
  clock: {{holding: 34, type: unix time, write: allowed}}
  damping: {{holding: 36, type: uint16, scale: 0.1, unit: s}}
  gas: {{holding: 38, type: uint16, codes: {{0: air, 1: nitrogen, 2: carbon dioxide}}, write: allowed}}
  alarms:
    {{holding: 39, type: uint16, bits: {{0: sensor fault, 1: supply low, 9: memory full}}, write: allowed}}
  label: {{holding: 44, type: text, registers: 4, write: allowed}}
  zero: {{holding: 50, type: int16, scale: 0.01, write: allowed}}
  line_pressure: {{holding: 51, type: uint16, scale: 0.001, unit: bar, gauge: true, write: allowed}}
  reference_pressure: {{holding: 52, type: uint16, unit: mbar, write: allowed}}
  reference_temperature: {{holding: 53, type: int16, scale: 0.1, unit: degC, write: allowed}}
  output: {{coil: 3, write: allowed}}
  pulse: {{holding: 54, type: uint16, unit: furlong, write: allowed}}
identity:
  serial_number: {{holding: 60, type: text, registers: 4}}
"""


def parsed(text: str) -> RegisterMap:
    found = parse_map(text.encode(), "constructed.yaml")
    assert found.map is not None, found.faults
    return found.map


def hall_map(write_with: int = 16) -> RegisterMap:
    return parsed(MAP.format(write_with=write_with))


@dataclass
class PlayedPort:
    """The meter's reply is there 5 ms after the request.

    `lost` counts writes whose reply never comes although they were carried out, `dropped` requests that the
    meter does not even hear; `sent` has every frame, `heard_at` when its last bit was sent [monotonic s].
    """

    meter: SimulatedMeter
    clock: FakeClock
    lost: int = 0
    dropped: int = 0
    sent: list[bytes] = field(default_factory=list)
    heard_at: list[float] = field(default_factory=list)
    instead: Callable[[bytes], bytes | None] | None = None
    name = "/dev/hollow-mere"
    notes: tuple[str, ...] = ()
    _waiting: bytes = b""

    def write(self, data: bytes) -> None:
        self.sent.append(data)
        self.clock.advance(FORMAT.wire_time(len(data)))
        self.heard_at.append(self.clock.utc())
        writing = data[1] in WRITING
        if writing and self.dropped:
            self.dropped -= 1
            self._waiting = b""
            return
        answer = self.meter.reply if self.instead is None else self.instead
        self._waiting = answer(data) or b""
        if writing and self.lost:
            self.lost -= 1
            self._waiting = b""

    def read(self, wait: float) -> bytes:
        self.clock.advance(min(wait, 0.005) if self._waiting else wait)
        came, self._waiting = self._waiting, b""
        return came

    def reset(self) -> None:
        self._waiting = b""

    def close(self) -> None:
        """Nothing is held."""

    @property
    def writes(self) -> list[bytes]:
        """The frames that write."""
        return [frame for frame in self.sent if frame[1] in WRITING]


class Hall:
    """The map, the meter behind the port, and our side of the line."""

    format = FORMAT

    def __init__(self, write_with: int = 16, map_text: str = "") -> None:
        self.map = parsed(map_text) if map_text else hall_map(write_with)
        self.clock = FakeClock(utc=1_777_852_800.4)
        self.device = SimulatedMeter(self.map, clock=self.clock)
        self.port = PlayedPort(self.device, self.clock)
        line = Line(self.port, FORMAT, self.clock)
        manners = Manners(reply_within=0.1, late_within=0.1, busy_within=1.0)
        self.meter = Meter(line, 12, manners, self.map.wire)

    def setting(self, name: str) -> Value:
        return next(value for value in self.map.settings if value.name == name)


@pytest.fixture
def hall() -> Hall:
    """A meter that is written with function 16."""
    return Hall()


@pytest.fixture
def make_hall() -> Callable[..., Hall]:
    """`make_hall(6)`: one that takes one register at a time; `make_hall(map_text=...)`: any map."""
    return Hall
