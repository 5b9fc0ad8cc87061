"""A paced simulated line in a process of its own, so that meter and master do not share an interpreter.

As a program (`python bench/meter.py BAUD TURNAROUND_S [FAULTS [METERS]]`) it prints its port, then
answers each line on stdin with one line of JSON: what the line has seen so far; it ends with its stdin.
FAULTS is a fault plan (docs/fault-plans.md), METERS how many answer, from unit address 1.
`LineProcess` drives it.
"""

import json
import struct
import subprocess
import sys
import time
from dataclasses import dataclass
from types import TracebackType

from protocols.modbus.crc import fits, with_crc
from protocols.modbus.timing import SerialFormat

#: Registers of the meter: 0 to 199 in both register tables, each holding its address; above: exception 02.
REGISTERS = 200


@dataclass(frozen=True, slots=True)
class Seen:
    """What the line has seen. Instants in seconds of the monotonic clock, which all processes share."""

    requests: int
    too_soon: int
    first_byte: float  # of the first request
    last_write: float  # of the last reply's last byte, when it has been handed to the master
    instants: list[float]  # first byte of every request


class LineProcess:
    """A line of meters with unit addresses 1, 2, …; a context manager. `faults`: what happens, as a plan."""

    def __init__(self, baud: int, turnaround_s: float, faults: str = "", *, meters: int = 1) -> None:
        self.format = SerialFormat(baud, "even")
        self.turnaround_s = turnaround_s
        self.faults = faults
        self.meters = meters
        self.port = ""
        self._process: subprocess.Popen[str] | None = None

    def __enter__(self) -> "LineProcess":
        settings = (str(self.format.baud_rate), str(self.turnaround_s), self.faults, str(self.meters))
        command = [sys.executable, __file__, *settings]
        self._process = subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
        self.port = self._line()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        assert self._process is not None
        self._process.communicate()

    def seen(self) -> Seen:
        """What the line has seen up to now."""
        assert self._process is not None
        assert self._process.stdin is not None
        self._process.stdin.write("seen\n")
        self._process.stdin.flush()
        return Seen(**json.loads(self._line()))

    def _line(self) -> str:
        assert self._process is not None
        assert self._process.stdout is not None
        line = self._process.stdout.readline().strip()
        if not line:
            raise SystemExit("The simulated line has ended; see its message above.")
        return line

    def limit_s(self, characters: int) -> float:
        """The least one transaction can take: its characters, one silence, the meter's turnaround."""
        return self.format.wire_time(characters) + self.format.silence + self.turnaround_s


class CountingMeter:
    """Functions 3 and 4: register n holds n."""

    def __init__(self, unit_address: int = 1) -> None:
        self._unit = unit_address

    def reply(self, frame: bytes) -> bytes | None:
        """The registers, or exception 02 for an address beyond them."""
        if not fits(frame) or frame[0] != self._unit:
            return None
        function, start, count = struct.unpack(">BHH", frame[1:6])
        if start + count > REGISTERS:
            return with_crc(bytes((self._unit, 0x80 | function, 2)))
        return with_crc(
            bytes((self._unit, function, 2 * count)) + struct.pack(f">{count}H", *range(start, start + count))
        )


def _serve(baud: int, turnaround_s: float, faults: str = "", meters: int = 1) -> None:
    # Imported here: the benches that drive this file need nothing of the simulators.
    from simulators.faults import FaultPlayer, parse_plan
    from simulators.line import Exchange, Pace, PtyEnd, SimulatedLine

    class WatchedEnd(PtyEnd):
        """Notes when the last byte was handed over."""

        last_write = 0.0

        def write(self, data: bytes) -> None:
            super().write(data)
            self.last_write = time.monotonic()

    end = WatchedEnd()
    instants: list[float] = []

    def watch(exchange: Exchange) -> None:
        instants.append(exchange.first_byte)

    pace = Pace.of(SerialFormat(baud, "even"), turnaround_s)
    player = FaultPlayer(parse_plan(faults), pace=pace)
    heard = player.before([CountingMeter(unit) for unit in range(1, meters + 1)])
    with SimulatedLine([heard], end=end, pace=pace, delivery=player.deliver, watch=watch) as line:
        print(line.port, flush=True)
        for _ in sys.stdin:
            first = instants[0] if instants else 0.0
            seen = (line.stats.requests, line.stats.too_soon, first, end.last_write, instants)
            print(json.dumps(dict(zip(Seen.__slots__, seen, strict=True))), flush=True)


if __name__ == "__main__":
    baud, turnaround, faults, meters = [*sys.argv[1:], *("", "1")[len(sys.argv) - 3 :]]
    _serve(int(baud), float(turnaround), faults, int(meters))
