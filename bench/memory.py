"""Retrieving a log memory: against the wire's limit by each way, and read lengths on a line that damages.

`python bench/memory.py [limit | length]`, both without a word. For the limit each retrieval is real: a
simulated meter in a process of its own at the pace of the wire, our line, each window durable in an archive's
journal before the next is asked for. The limit is what the map's way needs, proof of position included: its
characters, a silence before each request, the meter's turnaround. Read lengths are compared on a played
clock, so that damage by chance is the only noise: each fixed length, and the one that follows the line.
"""

import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager
from itertools import product
from pathlib import Path
from random import Random
from statistics import mean, median
from types import SimpleNamespace

import minimalmodbus
import numpy as np
from figures import table

from protocols.log_memory.ways import Reach, estimate
from protocols.modbus.timing import SerialFormat
from protocols.register_map.model import RegisterMap
from protocols.register_map.parse import parse_map
from readout.bus.exchange import Line, Manners
from readout.bus.port import open_port
from readout.clock import Clock, SystemClock
from readout.retrieve.holdings import Holdings
from readout.retrieve.retrieval import Retrieval, Task, Watch
from storage.archive import Archive
from storage.journal.memory import MemoryJournal, Window

TURNAROUND_S = 0.005
NAME = "bench"
HEAD = """\
register_map: 1
meter: Bench logging meter
serial: {unit_address: 1}
log_memory:
  capacity: 60000
  count: {holding: 10, type: uint32}
"""
RECORD = """\
  record:
    registers: 8
    fields:
      flow: {at: 0, type: float32, unit: m3/h, basis: actual}
      pressure: {at: 2, type: float32, unit: bar}
      temperature: {at: 4, type: float32, unit: degC}
      state: {at: 6, type: uint16, unit: 1}
      check: {at: 7, type: crc16}
"""
WAYS = {
    "window, function 23": "{window: {pointer: {holding: 82, type: uint32}, "
    "echo: {holding: 400, type: uint32}, data: {holding: 402}, records: 15, write_and_read: allowed}}",
    "registers": "{registers: {input: 1000, bank: {holding: 84}, records_per_bank: 5000}}",
    "files, function 20": "{files: {first_file: 1, records_per_file: 1000}}",
    "queue, function 24": "{queue: {address: 600, next_wanted: {holding: 86, type: uint32}}}",
}
#: Records retrieved at each baud rate, some seconds; of a queue, three a reply, a quarter of them.
RECORDS = {19200: 480, 115200: 2000}
TURNS = 3
#: Share of characters that are damaged, records of a retrieval, how often each is done; fixed lengths tried.
DAMAGE, DAMAGED_RECORDS, SEEDS = 0.003, 3000, range(3)
LENGTHS = (4, 5, 6, 8, 10, 15)


def map_text(way: str) -> str:
    """The map of a meter whose memory is reached by that way."""
    return f"{HEAD}{RECORD}  reached_by: {WAYS[way]}\n"


def map_of(text: str) -> RegisterMap:
    """The map of that text."""
    parsed = parse_map(text.encode(), "bench")
    if parsed.map is None or parsed.map.log_memory is None:
        raise SystemExit("\n".join(map(str, parsed.faults)))
    return parsed.map


# ---- the meter, in a process of its own


def serve(file: str, records: int, baud: int) -> None:
    """Print the port, then answer until stdin ends."""
    from simulators.device import SimulatedMeter
    from simulators.line import Pace, SimulatedLine
    from simulators.log_memory import LogOptions

    register_map = map_of(Path(file).read_text(encoding="utf-8"))
    log = LogOptions.prefilled(records, 5.0, recording=False)
    meter = SimulatedMeter(register_map, unit_address=1, log=log)
    with SimulatedLine([meter], pace=Pace.of(SerialFormat(baud, "even"), TURNAROUND_S)) as line:
        print(line.port, flush=True)
        sys.stdin.read()


@contextmanager
def meter(folder: Path, way: str, records: int, baud: int) -> Iterator[tuple[RegisterMap, str]]:
    """A map and the port of its meter."""
    text = map_text(way)
    file = folder / "map.yaml"
    file.write_text(text, encoding="utf-8")
    command = [sys.executable, __file__, "serve", str(file), str(records), str(baud)]
    process = subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
    assert process.stdout is not None
    try:
        port = process.stdout.readline().strip()
        if not port:
            raise SystemExit("The simulated meter has ended; see its message above.")
        yield map_of(text), port
    finally:
        process.communicate()


# ---- against the limit


def retrieve(
    folder: Path, register_map: RegisterMap, line: Line, clock: Clock, fmt: SerialFormat, records: int,
    length: int | None = None,
) -> float:  # fmt: skip
    """Seconds by that clock from the first request to the last window kept, in a new archive."""
    memory = register_map.log_memory
    assert memory is not None
    with Archive.open(folder) as archive, closing(MemoryJournal.open(archive.journal.path)) as journal:
        holdings = Holdings.load(archive.root, journal, NAME, None)
        plan = journal.add_plan("{}")
        task = Task(NAME, memory, register_map.wire, fmt, 1, Manners(), plan, records_per_read=length)
        retrieval = Retrieval(line, task, holdings, clock, threading.Event(), Watch(say=print))
        begun = clock.monotonic()
        found = retrieval.run()
        took = clock.monotonic() - begun
    if found.new != records or not found.complete:
        raise SystemExit(f"{found.new} of {records} records came: {found.ended or found.gaps}")
    return took


def commit_ms(folder: Path) -> float:
    """What it takes to make one window durable here, in ms: part of every turn."""
    took = []
    with Archive.open(folder) as archive, closing(MemoryJournal.open(archive.journal.path)) as journal:
        plan = journal.add_plan("{}")
        numbers = np.arange(15, dtype="<i8").tobytes()
        for _ in range(50):
            begun = time.perf_counter()
            journal.keep(Window(NAME, 1, plan, 0, numbers, bytes(240), b"\x01" * 15))
            took.append(time.perf_counter() - begun)
    return median(took) * 1000


def limit_s(register_map: RegisterMap, baud: int, records: int) -> float:
    """What the way itself needs for all records at once."""
    fmt = SerialFormat(baud, "even")
    memory = register_map.log_memory
    assert memory is not None
    reach = Reach(memory, register_map.wire)
    return estimate(reach, [range(records)], fmt.character_time, fmt.silence, TURNAROUND_S).seconds


def against_the_limit() -> None:
    """A table: seconds and share of the limit, by way and baud rate."""
    rows = []
    for baud, way in product(RECORDS, WAYS):
        fmt = SerialFormat(baud, "even")
        records = RECORDS[baud] // (4 if way.startswith("queue") else 1)
        with (
            tempfile.TemporaryDirectory() as name,
            meter(Path(name), way, records, baud) as (found, port),
        ):
            took = []
            for turn in range(TURNS):
                line = Line(open_port(port, fmt), fmt, SystemClock())
                folder = Path(name) / f"archive-{turn}"
                took.append(retrieve(folder, found, line, SystemClock(), fmt, records))
                line.close()
            commit = commit_ms(Path(name) / "commits")
        limit = limit_s(found, baud, records)
        figures = (f"{limit:.3f}", f"{median(took):.3f}", f"{limit / median(took):.3f}", f"{commit:.2f}")
        rows.append([str(fmt), way, str(records), *figures])
    print(table(["line", "way", "records", "limit [s]", "time [s]", "limit / time", "a commit [ms]"], rows))


# ---- read lengths


def damaged(way: str, length: int | None, damage: float, seed: int) -> float:
    """Seconds on a played clock at 19200 8E1 where that share of the characters of replies is damaged."""
    from simulators.clock import FakeClock
    from simulators.device import SimulatedMeter
    from simulators.faults import InnerPort
    from simulators.line.pace import Pace, Piece
    from simulators.log_memory import LogOptions

    fmt, clock, chance = SerialFormat(19200, "even"), FakeClock(), Random(seed)
    register_map = map_of(map_text(way))
    log = LogOptions.prefilled(DAMAGED_RECORDS, 5.0, recording=False)
    meter = SimulatedMeter(register_map, clock=clock, unit_address=1, log=log)

    def deliver(_: bytes, reply: bytes | None) -> tuple[Piece, ...]:
        if reply is None:
            return ()
        hit = (byte ^ 1 << chance.randrange(8) if chance.random() < damage else byte for byte in reply)
        return (Piece(None, bytes(hit)),)

    port = InnerPort(meter, clock, delivery=deliver, pace=Pace.of(fmt, TURNAROUND_S))
    with tempfile.TemporaryDirectory() as name:
        line = Line(port, fmt, clock)
        return retrieve(Path(name) / "archive", register_map, line, clock, fmt, DAMAGED_RECORDS, length)


def read_lengths() -> None:
    """A table for each way: seconds by fixed length, and by the one that follows the line."""
    # The second reader of each reply rests by the computer's clock; on a played one that would be real time.
    still = SimpleNamespace(monotonic=lambda: 0.0, sleep=lambda _: None)
    minimalmodbus.time = still  # type: ignore[attr-defined]  # a module's name, which its stubs do not list
    rows = []
    for way in ("window, function 23", "registers", "files, function 20"):
        fixed = {n: mean(damaged(way, n, DAMAGE, seed) for seed in SEEDS) for n in LENGTHS}
        follows = mean(damaged(way, None, DAMAGE, seed) for seed in SEEDS)
        best = min(fixed, key=lambda n: fixed[n])
        longest = fixed[LENGTHS[-1]]
        clean = damaged(way, LENGTHS[-1], 0.0, 0) / damaged(way, None, 0.0, 0)
        share = (longest - follows) / (longest - fixed[best])
        figures = (
            f"{longest:.1f}",
            f"{fixed[best]:.1f} ({best})",
            f"{follows:.1f}",
            f"{share:.2f}",
            f"{clean:.3f}",
        )
        rows.append([way, *figures])
        print(way, *(f"{n}: {seconds:.1f}" for n, seconds in fixed.items()), sep="  ", flush=True)
    head = ["way", f"{LENGTHS[-1]} a read [s]", "best fixed [s]", "follows [s]", "of the gain", "clean line"]
    print(f"\n19200 8E1, {DAMAGE:.1%} of the characters of replies damaged, {DAMAGED_RECORDS} records")
    print(table(head, rows))


if __name__ == "__main__":
    if sys.argv[1:2] == ["serve"]:
        serve(sys.argv[2], int(sys.argv[3]), int(sys.argv[4]))
    else:
        if sys.argv[1:] in ([], ["limit"]):
            against_the_limit()
        if sys.argv[1:] in ([], ["length"]):
            read_lengths()
