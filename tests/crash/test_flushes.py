"""How often a recorder makes the disk flush, counted on its system calls."""

import re
from collections import Counter
from dataclasses import dataclass
from pathlib import Path
from types import ModuleType

import pytest

CALLS = "trace=fsync,fdatasync"
LOG, DATABASE, LEDGER = "journal/journal.sqlite-wal", "journal/journal.sqlite", "ledger.jsonl"
#: SQLite flushes the folder once when it makes its log.
JOURNAL = "journal"
#: How long after its first flush a sealing has certainly made its last one [s].
SEALED_WITHIN_S = 5.0


@dataclass(frozen=True)
class Flush:
    """One fsync or fdatasync: when [s], and of which file of the archive."""

    at: float
    path: str


def flushes(trace: Path, root: Path) -> list[Flush]:
    """All that concern the archive, in order."""
    pattern = re.compile(rf"(\d+\.\d+) f(?:data)?sync\(\d+<{re.escape(str(root))}/?([^>]*)>")
    found = (pattern.search(line) for line in trace.read_text(errors="replace").splitlines())
    return [Flush(float(match[1]), match[2]) for match in found if match]


def record(command: ModuleType, folder: Path, *words: str) -> tuple[list[Flush], Path]:
    """`log` under strace; its flushes and its archive."""
    trace, root = folder / "trace", folder / "archive"
    with command.line() as line:
        command.write_point(folder, "header", line.port)
        done = command.run(
            "log", "header.yaml", "--archive", root, "--every", "100ms", *words, cwd=folder,
            prefix=["strace", "-f", "-y", "-ttt", "-e", CALLS, "-o", str(trace)], timeout=900,
        )  # fmt: skip
    assert done.status == 0, done
    return flushes(trace, root), root


def while_recording(found: list[Flush]) -> list[Flush]:
    """Those of the longest stretch without a sealing: one may come just after the begin."""
    started = next(i for i, flush in enumerate(found) if flush.path == LEDGER)
    begins = next(flush.at for flush in found[started:] if flush.path == LOG)
    sealings = [flush.at for flush in found[started:] if flush.path.startswith("temporary/0")]
    first, end = max(
        zip([begins, *(at + SEALED_WITHIN_S for at in sealings)], sealings, strict=False),
        key=lambda stretch: stretch[1] - stretch[0],
    )
    return [flush for flush in found[started:] if first <= flush.at < end]


def assert_one_a_second(found: list[Flush]) -> None:
    """A commit's flush at most once a second; two more where SQLite folds its log into the database."""
    counts = Counter(flush.path for flush in found)
    assert set(counts) <= {LOG, DATABASE, JOURNAL}
    assert counts[JOURNAL] <= 1
    seconds = found[-1].at - found[0].at
    # What keeping a plan costs, and the last commit, are no interval's.
    assert counts[LOG] <= seconds + 3 + 2 * counts[DATABASE]
    assert counts[LOG] >= 3


def test_rows_cost_one_flush_a_second_however_many_they_are(command: ModuleType, tmp_path: Path) -> None:
    """Five seconds of ten rounds a second."""
    found, _ = record(command, tmp_path, "--for", "5s", "--seal-every", "1d")
    assert_one_a_second(while_recording(found))


@pytest.mark.long
def test_ten_minutes(command: ModuleType, tmp_path: Path) -> None:
    """6,000 rounds, five sealings: one flush a second, nine a sealing, and folding the log in."""
    found, root = record(command, tmp_path, "--for", "10min", "--seal-every", "2min")
    files = len(list((root / "rows").rglob("*.parquet")))
    assert files >= 5
    seconds = found[-1].at - found[0].at
    counts = Counter(flush.path.split("/")[0] if "/" in flush.path else flush.path for flush in found)
    print(f"{len(found)} flushes in {seconds:.0f} s with {files} sealings: {dict(counts)}")  # noqa: T201  (told)
    log = sum(flush.path == LOG for flush in found)
    folded = sum(flush.path == DATABASE for flush in found)
    assert log <= seconds + 2 * files + 2 * folded + 10
    assert len(found) - log - folded <= 7 * files + 50
    assert_one_a_second(while_recording(found))
