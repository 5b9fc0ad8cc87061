"""What readers file under the wrong register on a bad line: ours, and plain loops with two Modbus libraries.

Register n holds n, so a value tells the address it came from. Each client reads five addresses in turn, two
registers each, on a line of its own with the same seeded fault plan. What its library returns without
an error counts as a value: prints how many were right, how many another register's, how many
reads gave none.
"""

import logging
import time
from collections import Counter
from collections.abc import Callable, Sequence

import minimalmodbus
import serial
from figures import table
from meter import LineProcess
from pymodbus.client import ModbusSerialClient
from pymodbus.exceptions import ModbusException

from protocols.modbus.requests import ReadRequest
from protocols.modbus.tables import Table
from readout.bus.exchange import Line, Manners
from readout.bus.outcome import Status
from readout.bus.port import open_port
from readout.clock import SystemClock

BAUD, TURNAROUND_S, TIMEOUT_S = 19200, 0.005, 0.5
ADDRESSES, COUNT = (16, 18, 20, 22, 24), 2
ROUNDS = 30
#: Idle time behind each round of five reads, the same for all clients.
IDLE_S = 0.06
#: Three exchanges in ten go wrong: 520 ms late (three times as likely), doubled in one write, a bit and a
#: burst damaged, cut, headless, noise ahead and behind, echo, another unit's frame first, another master,
#: wrong unit, function and count, in pieces, silent.
PLAN = "random:520:share=0.3,faults=v520v520v520dxbchzyefkumqps"
PLANS = {
    "Late, doubled, damaged, foreign, echo, noise": PLAN,
    "The same, and second replies 10 and 30 ms after the first": PLAN + "d10d30",
}

#: What a round brought for each address: two words, or None where the client said that it has none.
Found = Sequence[Sequence[int] | None]
Client = Callable[[], Found]


def ours(wire: LineProcess) -> Client:
    """Our line, as the recorder uses it: a round's values count when the line was quiet behind it."""
    clock = SystemClock()
    line = Line(open_port(wire.port, wire.format), wire.format, clock)
    manners = Manners(reply_within=TIMEOUT_S)

    def round_() -> Found:
        outcomes = [line.read(1, ReadRequest(Table.INPUT, at, COUNT), manners) for at in ADDRESSES]
        final = line.settle(outcomes, clock.monotonic() + IDLE_S)
        return [outcome.words if outcome.status is Status.OK else None for outcome in final]

    return round_


def minimal_loop(wire: LineProcess) -> Client:
    """minimalmodbus on a pySerial port: an error is no value, and the next address is read."""
    meter = minimalmodbus.Instrument(serial.Serial(wire.port, BAUD, timeout=TIMEOUT_S), 1)

    def read(at: int) -> Sequence[int] | None:
        try:
            return list(meter.read_registers(at, COUNT, functioncode=4))
        except (minimalmodbus.ModbusException, ValueError):
            return None

    return lambda: [read(at) for at in ADDRESSES]


def pymodbus_loop(wire: LineProcess) -> Client:
    """pymodbus, synchronous, RTU framer, with its own three retries."""
    logging.getLogger("pymodbus").setLevel(logging.CRITICAL)  # it logs each of the faults
    client = ModbusSerialClient(wire.port, baudrate=BAUD, parity="N", timeout=TIMEOUT_S)
    if not client.connect():
        raise SystemExit(f"pymodbus did not open {wire.port}.")

    def read(at: int) -> Sequence[int] | None:
        try:
            reply = client.read_input_registers(at, count=COUNT, device_id=1)
        except ModbusException:
            return None
        return None if reply.isError() else list(reply.registers)

    return lambda: [read(at) for at in ADDRESSES]


def judged(found: Found) -> Counter[str]:
    """A round's values: those of the registers that were asked for, others, and none."""
    told: Counter[str] = Counter()
    for at, words in zip(ADDRESSES, found, strict=True):
        if words is None:
            told["none"] += 1
        else:
            told["right" if list(words) == list(range(at, at + COUNT)) else "wrong"] += 1
    return told


def row_of(name: str, make: Callable[[LineProcess], Client], plan: str) -> list[str]:
    """All rounds of one client, on a line that plays the plan from its start."""
    told: Counter[str] = Counter()
    with LineProcess(BAUD, TURNAROUND_S, plan) as wire:
        client = make(wire)
        begun = time.monotonic()
        for _ in range(ROUNDS):
            told += judged(client())
            time.sleep(IDLE_S)
        took = time.monotonic() - begun
        requests = wire.seen().requests
    counts = [str(told[kind]) for kind in ("right", "wrong", "none")]
    return [name, *counts, str(requests), f"{took:.0f}"]


def main() -> None:
    """Print a table for each plan."""
    clients = {"ours": ours, "minimalmodbus, plain loop": minimal_loop, "pymodbus, plain loop": pymodbus_loop}
    for title, plan in PLANS.items():
        rows = [row_of(name, make, plan) for name, make in clients.items()]
        print(f"\n{title}: {ROUNDS * len(ADDRESSES)} reads, time-out {TIMEOUT_S} s\n{plan}")
        print(table(["client", "right", "wrong", "without value", "requests", "seconds"], rows))


if __name__ == "__main__":
    main()
