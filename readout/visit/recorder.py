"""Whether rows of a point are kept: the recorder at work in an archive, and what came since an instant.

For meters without a memory that the map describes: there `log` is the recording, and a visit that never
looked for it would leave a tag on a pipe of which nothing is kept.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from readout.clock import iso, ms_of
from readout.sealing.record import Record
from readout.visit.verdict import Check, go, no_go, to_decide
from storage import lock
from storage.archive import ArchiveReader, is_archive
from storage.archive.layout import JOURNAL_FILE
from storage.ledger import LEDGER, Kind, lines_of

LIVE, MEMORY = "live", "memory"
#: A row older than so many intervals does not show that rows come now; the same as `status` calls overdue.
RECENT_ROUNDS = 3
#: A row is on its way this long [ms] after its round was due: the round, and the journal's commit.
ON_ITS_WAY_MS = 5000
#: A recorder stopped for the visit has ended no longer ago than this [ms], or this share of the measurement.
STOPPED_MS, STOPPED_SHARE = 900_000, 0.05


@dataclass(frozen=True, slots=True)
class Recorder:
    """A recorder at work now, started at `since_ms` [ms since 1970 UTC].

    `process` is its number, None where it cannot be told. `every_ms` is the point's interval, None where this
    recorder does not record the point.
    """

    process: int | None
    since_ms: int
    every_ms: int | None

    def __str__(self) -> str:
        """How it is named in a sentence."""
        return "a recorder" if self.process is None else f"process {self.process}"


@dataclass(frozen=True, slots=True)
class Kept:
    """Live rows of a point from an instant on: all, those that are ok, the last one's status and due [ms]."""

    rows: int = 0
    whole: int = 0
    status: str = ""
    last_ms: int = 0


def recorder_of(root: Path, point: str) -> Recorder | None:
    """The recorder that holds the archive; None where none does. Another command that holds it is none."""
    held = (root / JOURNAL_FILE).with_name("lock")
    if not is_archive(root) or not lock.is_held(held):
        return None
    ends = list(lines_of(root / LEDGER, Kind.STARTED, Kind.STOPPED))
    if not ends or ends[-1].kind == Kind.STOPPED:
        return None
    told = ends[-1].content.get("points", {}).get(point)
    return Recorder(lock.holder(held), ms_of(ends[-1].time), None if told is None else int(told["every_ms"]))


def kept_since(root: Path, point: str, since_ms: int) -> Kept:
    """What is kept of a point since an instant [ms since 1970 UTC], sealed or not yet."""
    import pyarrow.compute as pc

    from readout.sealing.table import table_of

    table = ArchiveReader(root).read_rows(
        point,
        LIVE,
        decode=lambda plan, waiting: table_of(Record.from_text(plan), waiting),
        columns=["due", "status"],
        since=since_ms,
    )
    if not table.num_rows:
        return Kept()
    statuses = table["status"].to_pylist()
    due = pc.max(table["due"]).as_py()
    last_ms = 0 if due is None else round(due.timestamp() * 1000)
    return Kept(table.num_rows, statuses.count("ok"), str(statuses[-1]), last_ms)


def recent(recorder: Recorder, now_ms: int) -> int:
    """Since when [ms since 1970 UTC] a row shows that this recorder records the point now."""
    every_ms = recorder.every_ms or 0
    return max(recorder.since_ms, now_ms - RECENT_ROUNDS * every_ms - ON_ITS_WAY_MS)


def in_use_check(recorder: Recorder, port: str, archive: str, to_read: Sequence[str]) -> Check:
    """Whether a visit can go on while the archive's own recorder has the line: where it need not read it."""
    said = f"{port} is in use: the recorder of {archive} ({recorder}) records this point"
    if not to_read:
        return go(f"{said}; this visit has read all it needs from the meter", port=port)
    advice = "stop it for the visit (Ctrl-C where it runs, or stop its service), and run this again"
    reads = ", ".join(name.replace("_", " ") for name in to_read)
    return no_go(f"{said}, and the visit has still to read the meter for: {reads}", advice, status=3)


def recording_check(recorder: Recorder | None, kept: Kept, archive: str, command: str, now_ms: int) -> Check:
    """Whether rows of the point come into the archive now. `command` is the `log` that would record it."""
    start = f"in another terminal, or as a service (`pipeledger service`): {command}; then run this again"
    if recorder is None:
        return no_go(f"nothing records this point: no recorder runs in {archive}", f"start it {start}")
    if recorder.every_ms is None:
        advice = f"end that one, and start one for all its points and this one {start}"
        return no_go(f"the recorder of {archive} ({recorder}) does not record this point", advice)
    every = f"every {recorder.every_ms / 1000:g} s"
    figures = {"process": recorder.process, "every_s": recorder.every_ms / 1000, "rows": kept.rows}
    if kept.whole:
        said = f"{recorder} records it into {archive} {every}; {kept.whole} of the last {kept.rows} rows ok"
        return go(said, **figures)
    if kept.rows:
        advice = f"`pipeledger status {archive}` tells why; the port and the meter answered this visit before"
        return no_go(f"{recorder} records it {every}, and no row has a value: {kept.status}", advice)
    first_ms = (recorder.since_ms // recorder.every_ms + 1) * recorder.every_ms
    if now_ms <= first_ms + ON_ITS_WAY_MS:
        left = max(0.0, (first_ms - now_ms) / 1000)
        advice = "run this again then, to see that it comes"
        return to_decide(f"{recorder} records it {every}; its first row is due in {left:.0f} s", advice)
    advice = f"see `pipeledger status {archive}`, and what its terminal or its service says"
    return no_go(f"{recorder} is to record it {every}, and no row came", advice)


def kept_check(kept: Kept, since: str, since_ms: int, now_ms: int) -> Check:
    """Whether a measurement without a memory left anything behind, and went on until the visit.

    `since`: from when, as it is told; `since_ms` the same [ms since 1970 UTC], 0 where nobody began it.
    """
    if not kept.rows:
        advice = (
            "are the rows in another archive? was `log` started? leave the meter, record, and run this again"
        )
        return no_go(f"nothing was recorded: no row of this point since {since}", advice)
    if not kept.whole:
        advice = "leave the meter: `pipeledger review` tells the causes; see to it, record, run this again"
        return no_go(f"{kept.rows} rows since {since}, and none has a value", advice, rows=kept.rows)
    said = f"{kept.rows} rows since {since}, {kept.whole} ok"
    ago_ms = now_ms - kept.last_ms
    if since_ms and ago_ms > max(STOPPED_MS, STOPPED_SHARE * (now_ms - since_ms)):
        advice = "did the recorder end by itself? see `pipeledger review`; accept it, or record again"
        ended = f"{said}; they ended at {iso(kept.last_ms / 1000)}"
        return to_decide(ended, advice, rows=kept.rows, ok=kept.whole)
    return go(said, rows=kept.rows, ok=kept.whole)


def records_check(root: Path, point: str, since_ms: int, since: str) -> Check:
    """The same for a measurement that the meter's memory was to keep; records without a time count."""
    files = [file for file in ArchiveReader(root).inventory().of(point, MEMORY) if file.rows]
    advice = "was its recording started? see `memory list`; leave the meter, record, and run this again"
    if not files:
        return no_go("nothing was recorded: the archive has no record of this meter's memory", advice)
    if all(file.last is not None and ms_of(file.last) < since_ms for file in files):
        return to_decide(
            f"no record since {since}: the latest is from {max(str(f.last) for f in files)}", advice
        )
    return go("")
