"""One of eight meters dies on a paced line, in real time: what the other seven keep."""

import signal
import threading
import time
from collections import Counter
from collections.abc import Sequence
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


@pytest.mark.long
def test_ten_minutes_from_the_moment_it_falls_silent(command: ModuleType, tmp_path: Path) -> None:
    """Seven meters keep 99.5 % of their rounds at 1 s, with the usual patience of 0.5 s and 1 s after."""
    silent = threading.Event()

    def delivery(request: bytes, reply: bytes | None) -> Sequence[Piece]:
        return () if silent.is_set() and request[0] == DEAD else faithful(request, reply)

    text = command.MAP.replace("wire: {reply_within: 100 ms, late_within: 100 ms}\n", "")
    assert text != command.MAP
    (tmp_path / "map.yaml").write_text(text)
    with SimulatedLine(command.meters(*UNITS, text=text), pace=PACE, delivery=delivery) as line:
        files = [command.write_point(tmp_path, f"meter-{unit}", line.port, unit=unit).name for unit in UNITS]
        with command.running("log", *files, "--archive", "archive", "--every", "1s", cwd=tmp_path) as log:
            command.until(lambda: line.stats.requests > 200, timeout=60, what="some rounds")
            died = time.time()
            silent.set()
            time.sleep(60 * MINUTES + 5)
            done = log.end(by=signal.SIGTERM)
    assert done.status == 0, done
    assert sum("meter-4: " in text for text in done.err.splitlines()) <= 4
    for unit in UNITS:
        rows = ArchiveReader(tmp_path / "archive").read_rows(f"meter-{unit}", "live")
        due = [moment.timestamp() for moment in rows["due"].to_pylist()]
        found = Counter(
            status
            for moment, status in zip(due, rows["status"].to_pylist(), strict=True)
            if died <= moment < died + 60 * MINUTES
        )
        assert found.total() == 60 * MINUTES, (unit, found)
        if unit != DEAD:
            assert found["ok"] >= LEAST * found.total(), (unit, found)
