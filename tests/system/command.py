"""The command as a user runs it, in a process of its own; and meters for it to read, in this process.

Not a test: loaded by the fixtures of this folder and by the command's contract tests.
"""

import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from protocols.modbus.crc import with_crc
from protocols.register_map.parse import parse_map
from simulators.device import SimulatedMeter
from simulators.line import Piece, SimulatedLine

PROGRAM = Path(sys.executable).with_name("pipeledger")

#: Two blocks, so that a round can be partial: input 0-4, holding 100-101.
MAP = """\
register_map: 1
meter: Hollow Mere test meter
fluid: water
serial: {baud_rate: 19200, parity: even, unit_address: 12}
wire: {reply_within: 100 ms, late_within: 100 ms}
readings:
  flow:     {input: 0, type: float32, unit: m3/h, quantity: volume flow}
  pressure: {input: 2, type: uint16, scale: 0.001, unit: bar, gauge: true, not_available: [65535]}
  state:    {input: 4, type: uint16, bits: {0: sensor fault, 1: supply low}}
  mode:     {holding: 100, type: uint16, codes: {0: standby, 1: measuring}}
  total:    {holding: 101, type: uint32, scale: 0.1, unit: m3, totaliser: true}
identity:
  serial_number: {holding: 200, type: text, registers: 5}
"""

POINT = """\
measuring_point: 1
name: {name}
site: {{name: Hollow Mere bottling hall, time_zone: Europe/Dublin}}
meter: {{map: {map}, unit_address: {unit}}}
line: {{port: "{port}"}}
"""


@dataclass(frozen=True)
class Done:
    """How a command ended: exit status, stdout, stderr."""

    status: int
    out: str
    err: str

    def json(self) -> Any:
        """Its stdout, which must be one JSON document on one line and nothing else."""
        assert self.out.endswith("\n"), self
        assert self.out.count("\n") == 1, self.out
        return json.loads(self.out)


def _environment() -> dict[str, str]:
    return {**os.environ, "NO_COLOR": "1", "COLUMNS": "110", "PYTHONFAULTHANDLER": "1"}


def run(*words: str | Path, cwd: Path, prefix: Sequence[str] = (), timeout: float = 120.0) -> Done:
    """Run `pipeledger WORDS` to its end; a traceback is a failure whatever else it did."""
    done = subprocess.run(
        [*prefix, str(PROGRAM), *map(str, words)],
        cwd=cwd, env=_environment(), capture_output=True, text=True, timeout=timeout, check=False,
    )  # fmt: skip
    assert "Traceback" not in done.stdout + done.stderr, done.stderr
    return Done(done.returncode, done.stdout, done.stderr)


class Running:
    """A command that has not ended yet. What it writes goes to files, so that it is never held up."""

    def __init__(self, words: Sequence[str | Path], cwd: Path, number: int) -> None:
        self.out_file, self.err_file = cwd / f".out-{number}", cwd / f".err-{number}"
        with self.out_file.open("w") as out, self.err_file.open("w") as err:
            self.process = subprocess.Popen(
                [str(PROGRAM), *map(str, words)], cwd=cwd, env=_environment(), stdout=out, stderr=err
            )
        self.pid = self.process.pid

    def so_far(self) -> Done:
        """What it has written until now; its status is 0 while it runs."""
        return Done(self.process.poll() or 0, self.out_file.read_text(), self.err_file.read_text())

    def end(self, by: signal.Signals | None = None, timeout: float = 60.0) -> Done:
        """Send it a signal, or none, and wait for its end."""
        if by is not None:
            self.process.send_signal(by)
        self.process.wait(timeout)
        done = self.so_far()
        assert "Traceback" not in done.out + done.err, done.err
        return done


_started = 0


@contextmanager
def running(*words: str | Path, cwd: Path) -> Iterator[Running]:
    """Start `pipeledger WORDS`; killed at the end where it still runs."""
    global _started
    _started += 1
    command = Running(words, cwd, _started)
    try:
        yield command
    finally:
        if command.process.poll() is None:
            command.process.kill()
            command.process.wait()


def until(true: Any, timeout: float = 60.0, what: str = "") -> Any:
    """Wait until `true()` is; gives what it gave. Fails after `timeout` seconds.

    Who claims how soon something is gives `timeout`. Without it, it only ends a wait for what never comes: on
    a busy computer a command may take long to start.
    """
    deadline = time.monotonic() + timeout
    while not (found := true()):
        assert time.monotonic() < deadline, f"not within {timeout} s: {what or true}"
        time.sleep(0.02)
    return found


def write_point(folder: Path, name: str, port: str, *, unit: int = 12, map_file: str = "map.yaml") -> Path:
    """A point file NAME.yaml, and the map beside it."""
    if not (folder / "map.yaml").exists():
        (folder / "map.yaml").write_text(MAP, encoding="utf-8")
    file = folder / f"{name}.yaml"
    file.write_text(POINT.format(name=name, port=port, unit=unit, map=map_file), encoding="utf-8")
    return file


def meters(*units: int, text: str = MAP) -> list[SimulatedMeter]:
    """Simulated meters of a map's text, one for each unit address."""
    parsed = parse_map(text.encode(), "map.yaml")
    assert parsed.map is not None, parsed.faults
    return [SimulatedMeter(parsed.map, unit_address=unit) for unit in units]


# What a line makes of a meter's reply.


def silent(_: bytes, reply: bytes | None) -> Sequence[Piece]:
    """Nothing comes."""
    return ()


def damaged(_: bytes, reply: bytes | None) -> Sequence[Piece]:
    """One bit of every reply is flipped."""
    return () if reply is None else (Piece(None, reply[:3] + bytes([reply[3] ^ 0x10]) + reply[4:]),)


def refusing(request: bytes, reply: bytes | None) -> Sequence[Piece]:
    """Every request is answered with exception 02 (illegal data address)."""
    return () if reply is None else (Piece(None, with_crc(bytes([request[0], request[1] | 0x80, 2]))),)


def half(request: bytes, reply: bytes | None) -> Sequence[Piece]:
    """Holding registers (function 3) are refused, input registers are answered."""
    if request[1] == 3:
        return refusing(request, reply)
    return () if reply is None else (Piece(None, reply),)


@contextmanager
def line(*units: int, delivery: Any = None) -> Iterator[SimulatedLine]:
    """A line on a pseudo-terminal with meters of the map above."""
    given = {} if delivery is None else {"delivery": delivery}
    with SimulatedLine(meters(*(units or (12,))), **given) as opened:
        yield opened
