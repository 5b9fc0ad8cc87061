"""Rounds on a paced line: ours against the wire's limit, minimalmodbus and pymodbus, in one run.

Every client has a simulated line of its own, all of the same pace; they take turns (A B C A B C …). A turn is
some reads one behind the other after one that is not counted, so that each counted read has the silence
before it. Prints medians and spans of seconds a round, and their ratios.
"""

import time
from collections.abc import Callable
from contextlib import ExitStack
from pathlib import Path
from statistics import median
from tempfile import TemporaryDirectory

import minimalmodbus
import serial
from figures import interleaved, spread, table
from meter import LineProcess
from pymodbus.client import ModbusSerialClient

from protocols.modbus.requests import ReadRequest
from protocols.modbus.tables import Table
from protocols.register_map.model import RegisterMap
from protocols.register_map.parse import parse_map
from readout.bus.exchange import Line, Manners
from readout.bus.port import open_port
from readout.clock import SystemClock
from readout.plan.plan import plan_round
from readout.poll.round import PolledPoint, poll
from readout.sealing.record import pack
from storage.journal import JournalWriter, Row

TURNAROUND_S, TIMEOUT_S = 0.005, 0.5
BAUD_RATES = (9600, 19200, 115200)
TURNS, ROUNDS_A_TURN, EXCEPTIONS = 9, 10, 15

#: Ten values behind one another: 20 registers, one block.
BLOCK = [2 * place for place in range(10)]
#: Twelve values as they lie in a meter's map: two islands, each with registers of no interest inside.
SCATTERED = [16, 18, 21, 23, 25, 28, 60, 62, 65, 67, 69, 72]
#: The meter has no such register: exception 02.
ABSENT = 300


def map_of(starts: list[int]) -> RegisterMap:
    """A map of 32-bit values at those input registers; up to eight others may be bridged in a read."""
    lines = [f"  value_{start}: {{input: {start}, type: uint32}}" for start in starts]
    head = [
        "register_map: 1",
        "meter: Bench meter",
        "serial: {unit_address: 1}",
        "wire: {bridge: 8}",
        "readings:",
    ]
    parsed = parse_map("\n".join([*head, *lines, ""]).encode(), "bench")
    if parsed.map is None:
        raise SystemExit("\n".join(map(str, parsed.faults)))
    return parsed.map


class Ours:
    """Planned blocks over our line, each round handed to a journal that commits once a second."""

    def __init__(self, wire: LineProcess, starts: list[int], writer: JournalWriter) -> None:
        register_map = map_of(starts)
        plan = plan_round(register_map, register_map.readings, wire.format, 1)
        self.line = Line(open_port(wire.port, wire.format), wire.format, SystemClock())
        self.point = PolledPoint("bench", 1, plan, Manners())
        self.characters = [8 + read.reply_characters for read in plan.reads]
        self._writer, self._plan = writer, writer.add_plan("bench")

    def round(self) -> None:
        """One round and its row."""
        found = poll(self.line, self.point)
        words, present = pack(found.words)
        if None in found.words:
            raise SystemExit(f"A round failed: {found.text}")
        now = round(time.time() * 1000)
        row = Row(
            "bench", "live", self._plan, now, now, "unsynchronised", found.status.value, "", words, present
        )
        self._writer.put(row)

    def exception(self) -> None:
        """Ask for a register that is not there."""
        outcome = self.line.read(1, ReadRequest(Table.INPUT, ABSENT, 2), self.point.manners)
        if outcome.exception != 2:
            raise SystemExit(f"Exception 02 was expected: {outcome.text}")


class Minimal:
    """minimalmodbus on a pySerial port."""

    def __init__(self, wire: LineProcess) -> None:
        port = serial.Serial(wire.port, wire.format.baud_rate, timeout=TIMEOUT_S)
        self.meter = minimalmodbus.Instrument(port, 1)

    def block(self, start: int, count: int) -> None:
        """Registers in one read."""
        self.meter.read_registers(start, count, functioncode=4)

    def one_by_one(self, starts: list[int]) -> None:
        """32-bit values, a read each."""
        for start in starts:
            self.meter.read_long(start, functioncode=4)

    def exception(self) -> None:
        """Ask for a register that is not there."""
        try:
            self.block(ABSENT, 2)
        except minimalmodbus.ModbusException:
            return
        raise SystemExit("minimalmodbus did not notice the exception reply.")


class Pymodbus:
    """pymodbus, synchronous, RTU framer."""

    def __init__(self, wire: LineProcess) -> None:
        baud = wire.format.baud_rate
        self.client = ModbusSerialClient(wire.port, baudrate=baud, parity="N", timeout=TIMEOUT_S)
        if not self.client.connect():
            raise SystemExit(f"pymodbus did not open {wire.port}.")

    def block(self, start: int, count: int) -> None:
        """Registers in one read."""
        if self.client.read_input_registers(start, count=count, device_id=1).isError():
            raise SystemExit("pymodbus got no reply.")

    def exception(self) -> None:
        """Ask for a register that is not there."""
        if not self.client.read_input_registers(ABSENT, count=2, device_id=1).isError():
            raise SystemExit("pymodbus did not notice the exception reply.")


def turn(action: Callable[[], None]) -> Callable[[], float]:
    """Seconds a round, over a turn. Its first round is not counted: the silence before it has long passed."""

    def measured() -> float:
        action()
        begun = time.perf_counter()
        for _ in range(ROUNDS_A_TURN):
            action()
        return (time.perf_counter() - begun) / ROUNDS_A_TURN

    return measured


def compare(title: str, clients: dict[str, tuple[LineProcess, Callable[[], None]]], limit_s: float) -> None:
    """Measure in turn and print; the first client is the one others are compared with."""
    found = interleaved({name: turn(action) for name, (_, action) in clients.items()}, TURNS)
    first = median(next(iter(found.values())))
    rows = []
    for name, (wire, _) in clients.items():
        middle = median(found[name])
        soon = f"{(seen := wire.seen()).too_soon} of {seen.requests}"
        rows.append([name, spread(found[name]), f"{limit_s / middle:.3f}", f"{middle / first:.2f}", soon])
    print(f"\n{title}; the wire's limit is {limit_s * 1000:.3f} ms")
    print(
        table(
            ["client", "ms a round: median (min to max)", "limit / time", "time / ours", "sent too soon"],
            rows,
        )
    )


def exceptions(wires: dict[str, LineProcess], actions: dict[str, Callable[[], None]]) -> None:
    """From the last byte of an exception reply to knowing it."""

    def known_after(name: str) -> Callable[[], float]:
        def measured() -> float:
            actions[name]()
            known = time.monotonic()
            return known - wires[name].seen().last_write

        return measured

    found = interleaved({name: known_after(name) for name in actions}, EXCEPTIONS)
    ours = median(next(iter(found.values())))
    rows = [[name, spread(values), f"{median(values) / ours:.1f}"] for name, values in found.items()]
    print(f"\nException reply, time-out {TIMEOUT_S} s: from its last byte to knowing it")
    print(table(["client", "ms: median (min to max)", "time / ours"], rows))


def at(baud: int, writer: JournalWriter) -> None:
    """All comparisons at one baud rate."""
    names = ("ours", "minimalmodbus", "pymodbus")
    with ExitStack() as stack:
        wires = {name: stack.enter_context(LineProcess(baud, TURNAROUND_S)) for name in names}
        ours = Ours(wires["ours"], BLOCK, writer)
        minimal, pymodbus = Minimal(wires["minimalmodbus"]), Pymodbus(wires["pymodbus"])
        count = 2 * len(BLOCK)
        compare(
            f"{wires['ours'].format}: {len(BLOCK)} values in one block of {count} registers",
            {
                "ours, with journal": (wires["ours"], ours.round),
                "minimalmodbus, same block": (wires["minimalmodbus"], lambda: minimal.block(0, count)),
                "pymodbus, same block": (wires["pymodbus"], lambda: pymodbus.block(0, count)),
                "minimalmodbus, value by value": (wires["minimalmodbus"], lambda: minimal.one_by_one(BLOCK)),
            },
            sum(map(wires["ours"].limit_s, ours.characters)),
        )
        if baud == 19200:
            exceptions(
                wires, dict(zip(names, (ours.exception, minimal.exception, pymodbus.exception), strict=True))
            )
            scattered(wires, writer, minimal, ours.line)


def scattered(wires: dict[str, LineProcess], writer: JournalWriter, minimal: Minimal, line: Line) -> None:
    """Twelve values in two islands: planned blocks beside a read for each."""
    line.close()
    ours = Ours(wires["ours"], SCATTERED, writer)
    compare(
        f"{wires['ours'].format}: {len(SCATTERED)} scattered values, {len(ours.characters)} planned blocks",
        {
            "ours, with journal": (wires["ours"], ours.round),
            "minimalmodbus, value by value": (wires["minimalmodbus"], lambda: minimal.one_by_one(SCATTERED)),
        },
        sum(map(wires["ours"].limit_s, ours.characters)),
    )


def main() -> None:
    """Print a table for each baud rate."""
    with TemporaryDirectory() as folder:
        writer = JournalWriter(Path(folder) / "journal.sqlite")
        for baud in BAUD_RATES:
            at(baud, writer)
        writer.close()


if __name__ == "__main__":
    main()
