"""A recorder of the invented Hollow Mere bottling hall, small enough to be killed at every step.

Loaded by conftest as the fixture `hall`, and run as a program by the crash tests:

    hall.py FOLDER seal STEP     records, seals twice, dies by SIGKILL when step number STEP was done
    hall.py FOLDER record        records until it is killed; prints how many rows are durable
    hall.py serve                reads orders, one JSON list a line: FOLDER, the words behind it, and a file
                                 for what is printed; each is done by a process of its own, forked from this
                                 one, whose exit status is the answer (-9: killed)

A row's flow is half its sequence number and its one raw word is the number itself, so that a lost,
doubled or exchanged row shows in its values.
"""

import json
import os
import signal
import struct
import sys
from collections.abc import Callable, Sequence
from pathlib import Path

from storage.archive import Archive
from storage.journal import Journal, JournalWriter, Row, Stretch

POINT = "bottling-hall-header"
MIDNIGHT = 1_777_766_400_000  # 2026-05-03T00:00Z in ms, UTC
SECOND = 1_000


def row(plan: str, number: int, *, point: str = POINT, due: int | None = None) -> Row:
    """Round `number`, from 1; the tenth is the last before midnight."""
    moment = MIDNIGHT + (number - 11) * SECOND if due is None else due
    return Row(
        point=point,
        source="live",
        plan=plan,
        due=moment,
        time=moment + 40,
        clock="synchronised",
        status="ok",
        words=struct.pack("<H", number),
        present=b"\x01",
    )


def decode(plan: str, rows: Sequence[Row]):
    """Journal rows as a table; a plan that names a further column adds it, always null."""
    import pyarrow as pa

    words = [struct.unpack("<H", row.words)[0] for row in rows]
    columns = {
        "sequence": pa.array([row.sequence for row in rows], pa.int64()),
        "due": pa.array([row.due for row in rows], pa.timestamp("ms", "UTC")),
        "time": pa.array([row.time for row in rows], pa.timestamp("ms", "UTC")),
        "status": pa.array([row.status for row in rows], pa.string()),
        "flow": pa.array([word / 2 for word in words], pa.float32()),
        "raw_input_16": pa.array(words, pa.uint16()),
    }
    if "pressure" in plan:
        columns["pressure"] = pa.array([word / 8 for word in words], pa.float64())
    return pa.table(columns)


def seal_one(archive: Archive, stretch: Stretch):
    """Seal a stretch as it is."""
    rows = list(archive.journal.rows(stretch.point, stretch.source, stretch.first, stretch.last))
    return archive.seal(
        decode(archive.journal.plan_text(stretch.plan), rows),
        point=stretch.point,
        source=stretch.source,
        date=stretch.date,
        first_sequence=stretch.first,
        last_sequence=stretch.last,
        metadata={"pipeledger.format": "1", "pipeledger.point": stretch.point},
    )


def seal_all(archive: Archive) -> list:
    """Seal everything that waits."""
    return [seal_one(archive, stretch) for stretch in archive.journal.stretches()]


def fill(journal: Journal, first: int, last: int, plan: str = "{}", point: str = POINT) -> None:
    """Commit rounds `first` to `last` with the numbers that follow."""
    from dataclasses import replace

    identity = journal.add_plan(plan)
    start = journal.next_sequence(point, "live")
    journal.append(
        replace(row(identity, number, point=point), sequence=start + number - first)
        for number in range(first, last + 1)
    )


def killer(step: int, names: list[str]) -> Callable[[str], None]:
    """Count steps; die as hard as a process can at number `step`, from 1."""

    def count(name: str) -> None:
        names.append(name)
        if len(names) == step:
            os.kill(os.getpid(), signal.SIGKILL)

    return count


def main(folder: Path, mode: str, step: int = 0) -> None:
    """See the module."""
    names: list[str] = []
    with Archive.open(folder, step=killer(step, names)) as archive:
        writer = JournalWriter(archive.journal.path)
        plan = writer.add_plan("{}")
        numbers = iter(range(1, 60_000))
        goal = 20 if mode == "seal" else 60_000
        for number in numbers:
            writer.put(row(plan, number))
            if number % 10 == 0 and writer.flush(30):
                print("durable", number, flush=True)  # noqa: T201  (the killer's way to know)
            if number == goal:
                break
            if mode == "record" and number % 50 == 0:
                seal_all(archive)
        seal_all(archive)
        writer.close()
    print("\n".join(names))  # noqa: T201


def serve() -> None:
    """Do one order after the other; what each needs is loaded once."""
    import pyarrow.parquet  # noqa: F401

    for line in sys.stdin:
        child = os.fork()
        if not child:
            _obey(*json.loads(line))
        _, status = os.waitpid(child, 0)
        print(os.waitstatus_to_exitcode(status), flush=True)  # noqa: T201  (the answer)


def _obey(folder: str, words: list[str], told: str) -> None:
    """One order in this process, which ends here."""
    os.dup2(os.open(told, os.O_WRONLY | os.O_CREAT | os.O_TRUNC), 1)
    try:
        main(Path(folder), words[0], *map(int, words[1:]))
        sys.stdout.flush()
    except BaseException:
        sys.excepthook(*sys.exc_info())
        os._exit(1)
    os._exit(0)


if __name__ == "__main__":
    if sys.argv[1] == "serve":
        serve()
    else:
        main(Path(sys.argv[1]), sys.argv[2], int(sys.argv[3]) if len(sys.argv) > 3 else 0)
