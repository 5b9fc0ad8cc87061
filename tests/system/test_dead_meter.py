"""One of eight meters dies on a paced line, in real time: what the other seven keep.

A line of eight that all live is recorded beside it by the same process: what a busy computer costs both is no
fault of the dead meter.
"""

import signal
import sys
import threading
import time
from collections.abc import Sequence
from contextlib import ExitStack
from pathlib import Path
from types import ModuleType

import pytest

from protocols.modbus.timing import SerialFormat
from simulators.line.pace import Pace, Piece, faithful
from simulators.line.simulated import SimulatedLine
from storage.archive import ArchiveReader

UNITS, DEAD = range(1, 9), 4
MINUTES, LEAST = 10, 0.995
#: 19200 8E1, and a meter's turnaround of 10 ms.
PACE = Pace.of(SerialFormat(19200, "even", 8, 1), 0.01)


def kept(root: Path, line: str, since: float) -> float:
    """Share of their rounds in the minutes since then [UTC s] that the seven of a line kept; all are rows."""
    statuses: list[str] = []
    for unit in UNITS:
        rows = ArchiveReader(root).read_rows(f"{line}-{unit}", "live")
        due = [moment.timestamp() for moment in rows["due"].to_pylist()]
        found = [
            status
            for moment, status in zip(due, rows["status"].to_pylist(), strict=True)
            if since <= moment < since + 60 * MINUTES
        ]
        assert len(found) == 60 * MINUTES, (line, unit)
        statuses += found if unit != DEAD else []
    return statuses.count("ok") / len(statuses)


@pytest.mark.long
def test_ten_minutes_from_the_moment_it_falls_silent(
    command: ModuleType, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Seven meters keep 99.5 % of their rounds at 1 s, with the usual patience of 0.5 s and 1 s after."""
    silent = threading.Event()

    def delivery(request: bytes, reply: bytes | None) -> Sequence[Piece]:
        return () if silent.is_set() and request[0] == DEAD else faithful(request, reply)

    text = command.MAP.replace("wire: {reply_within: 100 ms, late_within: 100 ms}\n", "")
    assert text != command.MAP
    (tmp_path / "map.yaml").write_text(text)
    files, ends = [], {"one-dead": delivery, "all-live": faithful}
    with ExitStack() as stack:
        for name, way in ends.items():
            meters = command.meters(*UNITS, text=text)
            line = stack.enter_context(SimulatedLine(meters, pace=PACE, delivery=way))
            files += [
                command.write_point(tmp_path, f"{name}-{unit}", line.port, unit=unit).name for unit in UNITS
            ]
        words = ("log", *files, "--archive", "archive", "--every", "1s")
        log = stack.enter_context(command.running(*words, cwd=tmp_path))
        command.until(lambda: line.stats.requests > 200, timeout=60, what="some rounds")
        died = time.time()
        silent.set()
        time.sleep(60 * MINUTES + 5)
        done = log.end(by=signal.SIGTERM)
    assert done.status == 0, done
    assert sum(f"one-dead-{DEAD}: " in text for text in done.err.splitlines()) <= 4
    beside_dead, beside_none = (kept(tmp_path / "archive", name, died) for name in ends)
    with capsys.disabled():
        sys.stdout.write(
            f"\nrounds kept: {beside_dead:.2%} beside a dead meter, {beside_none:.2%} beside none\n"
        )
    assert beside_dead >= LEAST * beside_none
