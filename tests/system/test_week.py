"""A recorder alone for a week, in fast motion: every scheduled round accounted for, by the meters' own truth.

Four lines with eight meters each, a round a minute, through the whole stack; faults by chance from a fault
plan, meters that die, adapters pulled out, restarts, a wall clock set back and forward, an hour without room
on the disk. What the recorder kept is held against what `week.py` wrote down at the meters.
"""

import gc
import importlib.util
import itertools
import json
import os
import subprocess
import sys
import time
from collections import Counter
from collections.abc import Iterator, Sequence
from contextlib import suppress
from pathlib import Path
from random import Random
from types import ModuleType, SimpleNamespace
from typing import Any

import minimalmodbus
import numpy as np
import pytest

from readout.review.about.logbook import log_book
from readout.review.about.requests import requests_of
from readout.review.figures.coverage import coverage
from readout.review.rows.measure import measure
from storage.archive import ArchiveReader
from storage.ledger import LEDGER, read_file
from storage.verify import verify_archive

#: 2026-05-04T00:00:20Z, a Monday: what happens does so well between two due times.
BEGIN = 1_777_852_820.0
#: Share of the exchanges that meet a fault.
SHARE = 0.03
HOUR, DAY = 60, 1440
DISK_BYTES = 192 << 20
#: A point may be told of so often in a day, whatever happens to it; a lost port or a full disk twice.
LINES_A_DAY, LINES_AN_EVENT = 60, 2
#: Kilobytes by which memory may grow in a simulated day, once it is warm.
GROWTH_KB = 1024


@pytest.fixture
def week() -> Iterator[ModuleType]:
    """The module week.py."""
    spec = importlib.util.spec_from_file_location("tests_week", Path(__file__).with_name("week.py"))
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    yield module
    del sys.modules[spec.name]


@pytest.fixture(autouse=True)
def fast_second_reader(monkeypatch: pytest.MonkeyPatch) -> None:
    """The second reader of each reply is kept from really waiting."""
    monkeypatch.setattr(minimalmodbus, "time", SimpleNamespace(monotonic=lambda: 0.0, sleep=lambda _: None))


@pytest.fixture(autouse=True)
def one_processor() -> Iterator[None]:
    """One thread works at a time here: where each wakes the next on another processor, a third is lost."""
    before = os.sched_getaffinity(0)
    with suppress(OSError):  # some containers forbid it
        os.sched_setaffinity(0, {max(before)})
        os.sched_setscheduler(0, os.SCHED_BATCH, os.sched_param(0))  # nor is the waking one interrupted
    yield
    with suppress(OSError):
        os.sched_setscheduler(0, os.SCHED_OTHER, os.sched_param(0))
        os.sched_setaffinity(0, before)


@pytest.fixture
def disk(tmp_path: Path) -> Iterator[Path]:
    """A file system of its own, in memory; mounting it takes the right to."""
    folder = tmp_path / "disk"
    folder.mkdir()
    subprocess.run(["mount", "-t", "tmpfs", "-o", f"size={DISK_BYTES}", "tmpfs", folder], check=True)
    yield folder
    subprocess.run(["umount", "--lazy", folder], check=True)


def full(hall: Any, disk: Path, minute: float, minutes: float) -> None:
    """The disk takes nothing for so long."""
    ballast = disk / "ballast"

    def fill() -> None:
        with ballast.open("wb", buffering=0) as file:
            try:
                while file.write(bytes(1 << 16)):
                    pass
            except OSError:
                return

    hall.at(minute, fill)
    hall.at(minute + minutes, ballast.unlink)


def resident_kb() -> int:
    """Memory of this process [kB], without what only waits to be collected."""
    gc.collect()
    status = Path("/proc/self/status").read_text(encoding="ascii")
    return next(int(line.split()[1]) for line in status.splitlines() if line.startswith("VmRSS"))


def growth_kb(samples: Sequence[tuple[float, int]]) -> float:
    """Growth in a day: the median of the slopes of all pairs, which a step of the allocator does not move.

    Theil-Sen (P. K. Sen, J. Am. Stat. Assoc. 63, 1968, 1379). `samples`: days and kB.
    """
    slopes = [
        (b[1] - a[1]) / (b[0] - a[0]) for a, b in itertools.combinations(samples, 2) if b[0] - a[0] >= 0.5
    ]
    return float(np.median(slopes))


def check_rows(hall: Any, week: ModuleType, name: str) -> None:
    """Each scheduled round once, with the status and the words that the meter's truth says."""
    truth, moments = hall.truths[name], hall.scheduled()
    port, unit = name.split("-meter-")
    table = ArchiveReader(hall.archive).read_rows(name, "live").sort_by("sequence")
    due = table["due"].to_numpy().astype("datetime64[s]").astype(np.int64) // 60 - truth.base
    assert due.tolist() == list(moments), name
    status = np.array(table["status"].to_pylist())
    sent = truth.sent[due]
    np.testing.assert_array_equal(status == "ok", sent, err_msg=name)
    for register in range(week.REGISTERS):
        words = table[f"raw_input_{register}"].to_pylist()
        expected = [
            word if there else None for word, there in zip(truth.words[due, register], sent, strict=True)
        ]
        assert words == expected, name
    before = "ok"
    for minute, found in zip(due.tolist(), status.tolist(), strict=True):
        if week.within(hall.unplugged[port], moments[minute]):
            assert found == "port lost", (name, minute)
        elif week.within(hall.witnesses[port].dead[int(unit)], moments[minute]):
            assert found in ("no reply", "skipped"), (name, minute, found)
        else:
            assert found in ("ok", "no reply", "damaged reply", "wrong reply", "exception"), (name, minute)
            # Damage and silence are asked again about, unless the meter was silent before.
            once = before in ("no reply", "skipped") or found not in ("no reply", "damaged reply")
            assert truth.asked[minute] >= (1 if once else 2), (name, minute)
        before = found


def check_coverage(hall: Any, name: str) -> None:
    """The review's coverage is the share of the time for which the meter's truth has a value."""
    measured = measure(hall.archive, name, "live")
    assert measured is not None
    found = coverage(measured, "flow", log_book(hall.archive, name).ran)
    moments = list(hall.scheduled())
    sent = int(hall.truths[name].sent[moments].sum())
    elapsed = (moments[-1] + 1 - moments[0]) * 60
    assert found.elapsed_s == elapsed
    assert found.measured_s == pytest.approx(60 * sent, abs=0.01)
    assert sum(found.missing_s.values()) == pytest.approx(elapsed - 60 * sent, abs=0.01)
    pulled = hall.unplugged[name.partition("-meter-")[0]]
    lost = sum(
        any(since <= moment < until for since, until in pulled) for moment in hall.scheduled().values()
    )
    assert found.missing_s.get("port lost", 0.0) == pytest.approx(60 * lost, abs=0.01)


def events(hall: Any) -> Counter[str]:
    """What the ledger tells, by kind, events by what they are."""
    lines = [json.loads(line) for line in (hall.archive / "ledger.jsonl").read_text().splitlines()]
    return Counter(line.get("what") if line["kind"] == "event" else line["kind"] for line in lines)


def check(hall: Any, week: ModuleType) -> None:
    """Everything that is kept, against the truth."""
    assert verify_archive(hall.archive).faults == ()
    for name in hall.truths:
        check_rows(hall, week, name)
    # Every meter of a line, and one of each other: what is told of the others was held against the rows.
    for name in [f"line-0-meter-{unit}" for unit in range(1, 9)] + [f"line-{n}-meter-1" for n in (1, 2, 3)]:
        check_coverage(hall, name)
    due, ledger = list(hall.scheduled()), read_file(hall.archive / LEDGER).lines
    for name, truth in hall.truths.items():
        assert log_book(hall.archive, name).late_replies == int(truth.late[due].sum()), name
        found = requests_of(ledger, name)
        assert (found.sent, sum(found.failed.values())) == (truth.asked.sum(), truth.failed), name
    told = events(hall)
    assert (told["started"], told["stopped"], told["killed before"], told["lost"]) == (4, 4, 0, 0)
    assert (told["clock step"], told["disk full"], told["disk free"]) == (2, 1, 1)
    pulled = sum(map(len, hall.unplugged.values()))
    assert (told["port lost"], told["port back"]) == (pulled, pulled)
    points = Counter(line.partition(":")[0] for line in hall.said)
    days = hall.minutes / DAY
    for name in hall.truths:
        assert points[name] <= max(1, days) * LINES_A_DAY, name


def test_four_hours_of_a_recorder_left_alone(tmp_path: Path, disk: Path, week: ModuleType) -> None:
    """About 7,500 exchanges, with everything that befalls the week's recorder too."""
    hall = week.Hall(tmp_path, disk / "archive", BEGIN, 4 * HOUR + 10, SHARE)
    hall.dies("line-0", 3, 30.2, 65)
    hall.dies("line-2", 8, 60.3, 12)
    hall.unplug("line-1", 40.2, 20)
    for minute in (80.2, 83.2, 86.2):
        hall.unplug("line-3", minute, 1.1)
    hall.step(120.1, -40.0)
    hall.step(130.8, 85.0)
    full(hall, disk, 135.2, HOUR)
    for since, until in ((0, 20.5), (23.1, 100.5), (107.1, 210.5), (211.1, 4 * HOUR + 0.5)):
        summary = hall.record(since, until)
        assert (summary.lost, summary.unsealed) == (0, None)
    check(hall, week)


@pytest.mark.long
def test_a_week_of_a_recorder_left_alone(
    tmp_path: Path, disk: Path, week: ModuleType, capsys: pytest.CaptureFixture[str]
) -> None:
    """About 327,000 exchanges; memory stays flat. Prints how long it took."""
    hall = week.Hall(tmp_path, disk / "archive", BEGIN, 7 * DAY + 10, SHARE)
    chance, memory = Random(6), list[tuple[float, int]]()
    for _ in range(40):
        port, unit = f"line-{chance.randrange(4)}", chance.randint(1, 8)
        hall.dies(port, unit, chance.randrange(20, 5 * DAY) + 0.2, chance.choice((4, 35, 240)) + 0.1)
    hall.dies("line-0", 3, DAY + 40.2, 26 * HOUR)
    for day in range(5):
        hall.unplug(f"line-{day % 4}", day * DAY + 60.2, 47)
    for n in range(6):
        hall.unplug("line-3", 2 * DAY + 153.2 + 3 * n, 1.1)
    hall.step(5 * DAY + 200.1, -40.0)
    hall.step(5 * DAY + 230.8, 85.0)
    full(hall, disk, 6 * DAY + 235.2, HOUR)
    for minute in range(5 * DAY + 300, 7 * DAY, 4 * HOUR):  # in the last run, warm by then
        hall.at(minute, lambda minute=minute: memory.append((minute / DAY, resident_kb())))
    began, worked = time.monotonic(), time.process_time()
    for since, until in (
        (0, DAY + 820.5), (DAY + 823.1, 3 * DAY + 180.5), (3 * DAY + 187.1, 5 * DAY + 10.5),
        (5 * DAY + 11.1, 7 * DAY + 0.5),
    ):  # fmt: skip
        summary = hall.record(since, until)
        assert (summary.lost, summary.unsealed) == (0, None)
    took, worked = time.monotonic() - began, time.process_time() - worked
    exchanges = sum(witness.exchanges for witness in hall.witnesses.values())
    with capsys.disabled():
        each = (
            f"{worked:.0f} s of them worked, {worked / exchanges * 1e3:.2f} ms each; {len(hall.said)} lines"
        )
        grown = f"memory grew by {growth_kb(memory):.0f} kB a day, from {memory[0][1]} to {memory[-1][1]} kB"
        sys.stdout.write(f"\n{exchanges} exchanges in {took:.0f} s, {each}; {grown}\n")
    check(hall, week)
    assert len(summary.files) <= 32 * (24 + 3), "of days that have ended only what they were joined to"
    assert growth_kb(memory) < GROWTH_KB, memory
    assert exchanges > 320_000
