"""How late rounds start: `pipeledger log` beside a bare loop that sleeps until each due time and sends.

Usage: python bench/lateness.py [MINUTES]     (default 10)
"""

import subprocess
import sys
import threading
import time
from contextlib import ExitStack
from pathlib import Path
from statistics import median
from tempfile import TemporaryDirectory

import serial
from figures import percentile, table
from meter import LineProcess
from point import PIPELEDGER, write_point

from protocols.modbus.requests import ReadRequest
from protocols.modbus.tables import Table

BAUD, TURNAROUND_S, EVERY_S = 19200, 0.005, 1.0
#: Our own start and end do not count: the first due times pass while the command starts.
SETTLE_S = 3.0


def bare_loop(stop: threading.Event, to_utc: float, port: str) -> None:
    """Sleep until each whole second of UTC, send one request, do nothing else."""
    request = ReadRequest(Table.INPUT, 16, 6).frame(1)
    with serial.Serial(port, BAUD) as line:
        while not stop.is_set():
            now = time.monotonic() + to_utc
            time.sleep(now // EVERY_S * EVERY_S + EVERY_S - now)
            line.write(request)
            line.reset_input_buffer()


def drift(lateness: list[float]) -> float:
    """Seconds by which the last tenth of the rounds is later than the first, by their medians."""
    tenth = max(1, len(lateness) // 10)
    return median(lateness[-tenth:]) - median(lateness[:tenth])


def row(name: str, lateness: list[float]) -> list[str]:
    """Count, median, 99th percentile, maximum and drift in ms."""
    figures = (median(lateness), percentile(lateness, 0.99), max(lateness), drift(lateness))
    return [name, str(len(lateness)), *(f"{figure * 1000:.3f}" for figure in figures)]


def main(minutes: float) -> None:
    """Record for so many minutes and print both."""
    stop = threading.Event()
    with ExitStack() as stack:
        name = stack.enter_context(TemporaryDirectory())
        line, other = (stack.enter_context(LineProcess(BAUD, TURNAROUND_S)) for _ in range(2))
        folder = Path(name)
        point = write_point(folder, line.port, BAUD)
        to_utc = time.time() - time.monotonic()
        beside = threading.Thread(target=bare_loop, args=(stop, to_utc, other.port))
        command = [PIPELEDGER, "log", str(point), "--archive", str(folder / "archive")]
        command += ["--every", f"{EVERY_S:g}s", "--for", f"{minutes * 60:g}s"]
        recorder = subprocess.Popen(command, stdout=subprocess.DEVNULL)
        time.sleep(SETTLE_S)
        beside.start()
        status = recorder.wait()
        stop.set()
        beside.join()
        instants, bare_instants = line.seen().instants, other.seen().instants
        stepped = time.time() - time.monotonic() - to_utc
    if status:
        raise SystemExit(f"{' '.join(command)} ended with {status}; see its message above.")
    ours, loop = ([(at + to_utc) % EVERY_S for at in found] for found in (instants, bare_instants))
    print(
        table(["ms", "rounds", "median", "99 %", "max", "drift"], [row("log", ours), row("bare loop", loop)])
    )
    ratio = percentile(ours, 0.99) / percentile(loop, 0.99)
    print(f"99th percentile of log / bare loop: {ratio:.2f}; both up to the first byte on the wire")
    if abs(stepped) > 0.001:
        print(f"The computer's clock moved by {stepped * 1000:.1f} ms meanwhile: the figures contain that.")


if __name__ == "__main__":
    main(float(sys.argv[1]) if len(sys.argv) > 1 else 10.0)
