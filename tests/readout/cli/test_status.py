"""`status` in the words a person and a monitor read: line errors, clock, the meter's memory, what waits."""

import json
import time
from pathlib import Path
from types import ModuleType

import pytest
from typer.testing import CliRunner

from readout.cli.main import app
from readout.clock import iso
from storage.archive import Archive
from storage.ledger import Kind

HOUR = 3_600_000
RING = """\
  oldest: {{input: 40, type: uint32}}
  next: {{input: 42, type: uint32}}
  when_full: overwrite oldest
"""


@pytest.fixture(scope="module")
def archive(hall: ModuleType, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Rounds every five minutes for 40 h, up to now; ten records every 5 s, the newest of 65 h ago.

    50,000 records last 69 h 26 min 40 s, so some 4 h are left.
    """
    root = tmp_path_factory.mktemp("status") / "archive"
    step, now = 300_000, int(time.time() * 1000)
    end = (now // step + 1) * step  # the last row is due now
    log = hall.LOG.replace("  when_full: stop\n", RING).format(
        holds="sample", marked_at="start", reading="flow"
    )
    what = hall.record(step, map_text=hall.MAP.replace("readings:", log + "readings:"))
    newest = now - 65 * HOUR
    hall.memory(
        root, range(newest - 45_000, newest + 1, 5000), [1.0] * 10, 5000, holds="sample", marked_at="start"
    )
    clock = [newest]
    with Archive.open(root, utc=lambda: clock[0] / 1000) as opened:
        opened.ledger.append(Kind.RETRIEVED, {"point": hall.POINT, "expected": 10})
        begin, day = end - 40 * HOUR, end - 20 * HOUR
        ok, none = (300.0, 7000, 1), (None, None, None)
        hall.fill(opened, what, range(begin, begin + 3 * step, step), lambda _: none, status="no reply")
        hall.fill(opened, what, range(begin + 3 * step, day, step), lambda _: ok)
        hall.fill(opened, what, range(day, day + step, step), lambda _: none, status="exception")
        hall.fill(opened, what, range(day + step, end, step), lambda _: ok, clock="unsynchronised")
        clock[0] = now
        opened.ledger.append(Kind.EVENT, {"what": "late replies", "point": hall.POINT, "count": 2})
        # Told 30 h before the end, and at the end: 24 of those 30 h are the last day.
        asked = {"requests": 59_800, "failed": {"bad checksum": 392, "no reply": 6}, "rows": {"no reply": 3}}
        for at, told in ((end - 30 * HOUR, asked), (end, {"requests": 1500, "failed": {"bad checksum": 20}})):
            counted = {"what": "failed requests", "points": {hall.POINT: told}, "at": iso(at / 1000)}
            opened.ledger.append(Kind.EVENT, counted)
    return root


def test_a_person_reads_what_there_is_to_say_of_a_point(hall: ModuleType, archive: Path) -> None:
    """Sentences below the table; exit status 1 with what falls short on stderr."""
    done = CliRunner().invoke(app, ["status", str(archive)])
    assert done.exit_code == 1, done.output
    lines = [line for line in done.stdout.splitlines() if line.startswith(f"{hall.POINT}: ")]
    missing, errors, clock, memory = (line.removeprefix(f"{hall.POINT}: ") for line in lines)
    assert missing == "missing 3 × no reply, 1 × exception"
    assert errors == (
        "line errors: 1 × exception, 3 × no reply, 2 × late replies; "
        "in the last day 1 × exception, 2 × late replies"
    )
    assert clock == "this computer's clock: 239 × unsynchronised, of 288 rows in the last day"
    assert memory.startswith("the meter's memory: 50000 records every 5 s last 69 h 26 min 40 s; fetched ")
    assert "; overwrites what was not fetched in 4 h 2" in memory
    table = done.stdout.splitlines()
    table = table[[line.startswith("failed requests") for line in table].index(True) :][:4]
    assert [line.split() for line in table[1:]] == [
        [hall.POINT, "418", "of", "61300", "3", "20", "of", "1200", "0"],
        ["bad", "checksum", "412", "0", "20", "0"],
        ["no", "reply", "6", "3", "0", "0"],
    ]
    assert max(map(len, table)) <= 80
    assert "journal: 480 rows waiting, the oldest 1 d " in done.stdout
    assert "the meter's memory will overwrite records that were never fetched, from " in done.stderr


def test_a_monitor_reads_the_same_as_data(hall: ModuleType, archive: Path) -> None:
    done = CliRunner().invoke(app, ["status", str(archive), "--json"])
    told = json.loads(done.stdout)
    point = told["points"][hall.POINT]
    assert point["line_errors"] == {
        "start": {"exception": 1, "no reply": 3, "late replies": 2},
        "day": {"exception": 1, "late replies": 2},
    }
    assert point["requests"] == {
        "start": {"sent": 61_300, "failed": {"bad checksum": 412, "no reply": 6}, "rows": {"no reply": 3}},
        "day": {"sent": 1200, "failed": {"bad checksum": 20}, "rows": {}},
    }
    assert point["clock_day"] == {"synchronised": 49, "unsynchronised": 239}
    memory = point["memory"]
    assert (memory["capacity"], memory["when_full"]) == (50_000, "overwrite oldest")
    assert (memory["interval_s"], memory["lasts_s"]) == (5.0, 250_000.0)
    assert memory["left_s"] == pytest.approx(250_005 - 65 * 3600, abs=120)
    assert told["journal"]["waiting"] == 480
    assert told["journal"]["oldest_s"] == pytest.approx(40 * 3600, abs=600)
    assert any("memory" in sentence for sentence in told["short"])
