"""What 32 meters on four lines cost: processor time of `pipeledger log`, and how late rounds start.

Usage: python bench/fleet.py [MINUTES]     (default 30)

Exit status 1 where a meter costs more than 1 % of a processor core.
"""

import json
import os
import subprocess
import sys
import threading
import time
from collections import Counter
from contextlib import ExitStack
from pathlib import Path
from tempfile import TemporaryDirectory

from figures import percentile, table
from lateness import SETTLE_S, bare_loop, row
from meter import LineProcess
from point import PIPELEDGER, write_point

BAUD, TURNAROUND_S, EVERY_S = 19200, 0.005, 1.0
LINES, METERS_A_LINE = 4, 8
#: Most that a meter may cost at a round a second, as a share of one core.
MOST_CPU = 0.01


def record(folder: Path, lines: list[LineProcess], minutes: float) -> tuple[float, Counter[str]]:
    """Record all meters for so many minutes; the recorder's processor time [s] from its start to its end, and
    how many rows there are of each status."""
    points = [
        write_point(folder, line.port, BAUD, name=f"line-{place}-meter-{unit}", unit=unit)
        for place, line in enumerate(lines, 1)
        for unit in range(1, METERS_A_LINE + 1)
    ]
    command = [PIPELEDGER, "log", *map(str, points), "--archive", str(folder / "archive")]
    command += ["--every", f"{EVERY_S:g}s", "--for", f"{minutes * 60:g}s", "--json"]
    told = folder / "told.json"
    with told.open("wb") as out:
        recorder = subprocess.Popen(command, stdout=out)
    _, status, used = os.wait4(recorder.pid, 0)  # with whatever processes it started and awaited
    recorder.returncode = os.waitstatus_to_exitcode(status)
    if recorder.returncode:
        raise SystemExit(f"pipeledger log ended with {recorder.returncode}; see its message above.")
    rows: Counter[str] = Counter()
    for counts in json.loads(told.read_bytes())["points"].values():
        rows.update(counts)
    return used.ru_utime + used.ru_stime, rows


def late(instants: list[float], to_utc: float) -> tuple[list[float], int]:
    """Seconds by which the first request of each round came after it was due, and rounds without one."""
    firsts: dict[int, float] = {}
    for at in sorted(instant + to_utc for instant in instants):
        firsts.setdefault(int(at // EVERY_S), at % EVERY_S)
    settled = {due: after for due, after in firsts.items() if due >= min(firsts) + SETTLE_S}
    return list(settled.values()), max(settled) - min(settled) + 1 - len(settled)


def main(minutes: float) -> int:
    """Record, print; the exit status."""
    stop = threading.Event()
    with ExitStack() as stack:
        name = stack.enter_context(TemporaryDirectory())
        lines = [
            stack.enter_context(LineProcess(BAUD, TURNAROUND_S, meters=METERS_A_LINE)) for _ in range(LINES)
        ]
        other = stack.enter_context(LineProcess(BAUD, TURNAROUND_S))
        to_utc = time.time() - time.monotonic()
        beside = threading.Thread(target=bare_loop, args=(stop, to_utc, other.port))
        beside.start()
        try:
            cpu_s, rows = record(Path(name), lines, minutes)
        finally:
            stop.set()
            beside.join()
        seen = [late(line.seen().instants, to_utc) for line in lines]
        loop, _ = late(other.seen().instants, to_utc)
    ours = [lateness for found, _ in seen for lateness in found]
    missed = sum(missing for _, missing in seen)
    lateness = [row(f"line {place}", found) for place, (found, _) in enumerate(seen, 1)]
    print(table(["ms", "rounds", "median", "99 %", "max", "drift"], [*lateness, row("bare loop", loop)]))
    tail = percentile(ours, 0.99)
    print(f"99th percentile of all lines / bare loop: {tail / percentile(loop, 0.99):.2f}")
    share = cpu_s / (minutes * 60) / (LINES * METERS_A_LINE)
    print(f"processor time: {cpu_s:.1f} s in {minutes:g} min, {share:.3%} of one core a meter")
    print(f"rounds without a request: {missed}")
    scheduled = round(minutes * 60 / EVERY_S) * LINES * METERS_A_LINE
    told = ", ".join(f"{count} {status}" for status, count in rows.most_common())
    print(f"rows: {rows.total()} of {scheduled}: {told}")
    return 1 if share > MOST_CPU else 0


if __name__ == "__main__":
    sys.exit(main(float(sys.argv[1]) if len(sys.argv) > 1 else 30.0))
