"""What a recorder and its archive commands do to the disk, act by act, to be killed in the middle.

Loaded by conftest as the fixture `acts`, and run as a program, with `killer.c` loaded before it:

    acts.py              reads orders, one JSON object a line: {"act", "root", "at", "torn", "notes"}; does
                         each in a process of its own, which dies before its call number `at` (0: never),
                         and answers with that process's exit status (-9: killed)
    acts.py work         reads folders, one a line; for each a process of its own tells its number, then
                         records, seals, merges and decodes again until it is killed, and tells how many
                         rows are durable; then its exit status is told

Row number k has flow k + 0.5 and pressure word 7000 + k, so that a lost, doubled or exchanged row shows.
"""

import ctypes
import importlib.util
import json
import os
import sys
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, date, datetime
from pathlib import Path
from types import ModuleType
from typing import Any

from readout.sealing.merge import merge_days
from readout.sealing.redecode import redecode, to_decode
from readout.sealing.seal import seal_journal
from storage.archive import Archive, ArchiveReader
from storage.journal import ClockNow, JournalWriter
from storage.ledger import Kind

HALL = Path(__file__).parents[1] / "readout" / "sealing" / "hall.py"
#: The day after the last row's.
AFTER = date(2026, 5, 6)
#: What the registers mean by the map at first, and by the corrected one: bar a digit.
OLD_SCALE, NEW_SCALE = "0.001", "0.002"
#: Rows a day in `work`.
ROWS_A_DAY = 40


def load(file: Path) -> ModuleType:
    """A module by its file."""
    spec = importlib.util.spec_from_file_location(f"crash_{file.stem}", file)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


meter = load(HALL)


def due_of(number: int) -> int:
    """Row `number`'s due time in ms: 1 to 10 in the first hour, then ten in each hour, four hours a day."""
    hour = (number - 1) // 10
    return meter.MIDNIGHT + (hour // 4 * 24 + hour % 4) * meter.HOUR + (number - 1) % 10 * 1000


def words(number: int) -> list[int]:
    """Row `number`'s registers."""
    return meter.words_of(number + 0.5, 7000 + number % 10_000)


def put(archive: Archive, first: int, last: int) -> None:
    """Commit rows `first` to `last`."""
    meter.fill(
        archive, meter.record(), [due_of(n) for n in range(first, last + 1)], lambda i: words(first + i)
    )


#: The computer's start, when it was (ms since 1970), and how far its clock was behind before it was set [ms].
BOOT, STARTED, BEHIND = "this start", meter.MIDNIGHT - 1_000_000, meter.MIDNIGHT - 60_000


def seal(archive: Archive) -> None:
    """Seal all that waits, by a clock that has been set by now."""
    now = meter.MIDNIGHT + 300 * meter.HOUR
    seal_journal(archive, ClockNow(BOOT, now, now - STARTED, "synchronised"))


# What the tests start from.


def nothing(root: Path) -> None:
    """An archive that was opened once."""
    Archive.open(root).close()


def waiting(root: Path) -> None:
    """Rows of two days in the journal."""
    with Archive.open(root) as archive:
        put(archive, 31, 50)


def unset(root: Path) -> None:
    """The same rows, but told by a clock that stood in 1970."""
    with Archive.open(root) as archive:
        plan = archive.journal.add_plan(meter.record().to_text())
        rows = []
        for number in range(31, 51):
            row, told = live(plan, number), due_of(number) - BEHIND
            rows.append(
                replace(row, due=told, time=told + 31, clock="unset", boot=BOOT,
                        since_boot=due_of(number) - STARTED, sequence=number - 30)
            )  # fmt: skip
        archive.journal.append(rows)


def hourly(root: Path) -> None:
    """Sealed files: four hours of one day, two of the next."""
    with Archive.open(root) as archive:
        for hour in range(6):
            put(archive, hour * 10 + 1, hour * 10 + 10)
            seal(archive)


# The acts. Each opens the archive, so that what a crash left is finished first.


def record(root: Path, told: Callable[[int], None]) -> None:
    """Live recording: four commits of three rows by the journal's thread, and the ledger's start and stop."""
    with Archive.open(root) as archive:
        archive.ledger.append(Kind.STARTED, {"points": {}})
        writer = JournalWriter(archive.journal.path, interval=3600)
        plan = writer.add_plan(meter.record().to_text())
        for commit in range(4):
            for number in range(commit * 3 + 1, commit * 3 + 4):
                writer.put(live(plan, number))
            assert writer.flush(60)
            told(commit * 3 + 3)
        writer.close()
        archive.ledger.append(Kind.STOPPED, {"rows": {}})


def live(plan: str, number: int) -> Any:
    """Row `number` as a line's thread hands it over."""
    packed, present = meter.pack(words(number))
    due = due_of(number)
    return meter.Row(
        point=meter.POINT, source="live", plan=plan, due=due, time=due + 31, clock="synchronised",
        status="ok", words=packed, present=present,
    )  # fmt: skip


def seal_all(root: Path, _: Callable[[int], None]) -> None:
    """Sealing: a file for each day."""
    with Archive.open(root) as archive:
        seal(archive)


def merge(root: Path, _: Callable[[int], None]) -> None:
    """Merging: each day's files become one."""
    with Archive.open(root) as archive:
        merge_days(archive, AFTER)


def decode_again(root: Path, _: Callable[[int], None]) -> None:
    """Re-decoding: every file replaced by one with the corrected map's values, all in one line."""
    with Archive.open(root) as archive:
        correct(archive, NEW_SCALE)


def correct(archive: Archive, scale: str) -> None:
    """Decode all sealed files by the map with this scale."""
    new = meter.parsed(meter.MAP.replace(OLD_SCALE, scale))
    files = ArchiveReader(archive.root).inventory().of(meter.POINT, "live")
    redecode(archive, to_decode(archive.root, files, new.sha256), new, "0")


ACTS: dict[str, Callable[[Path, Callable[[int], None]], None]] = {
    "record": record,
    "seal": seal_all,
    "put times right": seal_all,
    "merge": merge,
    "decode again": decode_again,
}
#: What each act starts from.
BEFORE: dict[str, Callable[[Path], None]] = {
    "record": nothing,
    "seal": waiting,
    "put times right": unset,
    "merge": hourly,
    "decode again": hourly,
}


def serve() -> None:
    """Do one order after the other."""
    for line in sys.stdin:
        order = json.loads(line)
        child = os.fork()
        if not child:
            obey(order)
        _, status = os.waitpid(child, 0)
        print(os.waitstatus_to_exitcode(status), flush=True)  # noqa: T201  (the answer)


def obey(order: dict[str, Any]) -> None:
    """One act in this process, which ends here."""
    notes = os.open(order["notes"], os.O_WRONLY | os.O_CREAT | os.O_TRUNC)
    library = ctypes.CDLL(None)
    library.killer_arm(order["root"].encode(), ctypes.c_long(order["at"]), int(order["torn"]), notes)
    try:
        ACTS[order["act"]](Path(order["root"]), lambda rows: os.write(notes, f"durable {rows}\n".encode()))
    except BaseException:
        sys.excepthook(*sys.exc_info())
        os._exit(1)
    os._exit(0)


def work(root: Path) -> None:
    """All acts in turn, for ever; a day is merged when it is over, every third day all is decoded again."""
    with Archive.open(root) as archive:
        seal(archive)
        writer = JournalWriter(archive.journal.path, interval=3600)
        plan = writer.add_plan(meter.record().to_text())
        while True:
            row = writer.put(live(plan, archive.journal.next_sequence(meter.POINT, "live")))
            for number in range(row.sequence + 1, row.sequence + 5):
                writer.put(live(plan, number))
            assert writer.flush(60)
            done = row.sequence + 4
            print("durable", done, flush=True)  # noqa: T201  (the killer's way to know)
            if done % 10 == 0:
                seal(archive)
            if done % ROWS_A_DAY == 0:
                merge_days(archive, datetime.fromtimestamp(due_of(done + 1) / 1000, UTC).date())
            if done % (3 * ROWS_A_DAY) == 0:
                correct(archive, NEW_SCALE if done // (3 * ROWS_A_DAY) % 2 else OLD_SCALE)


def live_on() -> None:
    """One life after the other, until each is killed."""
    for line in sys.stdin:
        child = os.fork()
        if not child:
            print("life", os.getpid(), flush=True)  # noqa: T201  (for the killer)
            try:
                work(Path(line.rstrip("\n")))
            except BaseException:
                sys.excepthook(*sys.exc_info())
                os._exit(1)
        _, status = os.waitpid(child, 0)
        print("\nended", os.waitstatus_to_exitcode(status), flush=True)  # noqa: T201  (the answer)


if __name__ == "__main__":
    (live_on if sys.argv[1:2] == ["work"] else serve)()
