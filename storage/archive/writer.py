"""The one writer of an archive: opening it, finishing what a crash left, and sealing.

A sealing goes through these steps; a crash between any two is finished or undone at the next opening:

1. the file's bytes aside in `temporary/`, flushed        crash: removed, rows are still in the journal
2. the intent in the journal, committed                   from here on the opening goes forward
3. renamed to its name below `rows/`, folders flushed
4. the ledger's line, flushed
5. the journal's rows and the intent cut, committed
"""

import hashlib
import json
import threading
import time
from collections.abc import Callable, Mapping
from datetime import date
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING

from storage import lock
from storage.archive import columns, layout
from storage.archive.columns import Clash
from storage.archive.files import Inventory, SealedFile, inventory
from storage.durable import Disk, Step, no_step, told
from storage.errors import ArchiveAbsent, SealingRefused
from storage.journal import Intent, Journal
from storage.ledger import LEDGER, Kind, Ledger, read_file

if TYPE_CHECKING:
    import pyarrow as pa


class Archive:
    """An open archive, held by this process alone.

    `journal` is this object's own connection; a JournalWriter beside it opens its own on `journal.path`.
    `ledger` takes lines of any kind but those of sealing.
    """

    def __init__(self, root: Path, held: lock.ArchiveLock, step: Step, utc: Callable[[], float]) -> None:
        self.root = root
        self._held = held
        self._disk = Disk(root / layout.TEMPORARY, step)
        self._sealing = threading.Lock()
        lost = _lost(root)
        self.journal = Journal.open(root / layout.JOURNAL_FILE)
        try:
            self._disk.sync_folder(root / layout.JOURNAL)
            self.ledger = Ledger(root, self._disk, utc)
            self._open(lost)
        except BaseException:
            self.journal.close()
            raise

    @classmethod
    def open(cls, root: Path, *, step: Step = no_step, utc: Callable[[], float] = time.time) -> "Archive":
        """Open, or make in an absent or empty folder; finish what a crash left.

        `step` is told what was just done on the disk, `utc` gives the ledger's times [s since 1970].
        Raises ArchiveHeld, ArchiveAbsent (a folder with other things in it), ArchiveDenied,
        ArchiveTooNew, ArchiveDamaged, DiskFull.
        """
        if root.exists() and not layout.is_archive(root):
            known = {layout.JOURNAL, layout.TEMPORARY, layout.SUPERSEDED, layout.ROWS}
            with told(root):
                strange = not root.is_dir() or any(path.name not in known for path in root.iterdir())
            if strange:
                raise ArchiveAbsent(root, f"{root} is no archive and not empty: name a new folder.")
        disk = Disk(root / layout.TEMPORARY, step)
        for name in (layout.JOURNAL, layout.TEMPORARY, layout.SUPERSEDED, layout.ROWS):
            disk.make_folder(root.absolute() / name)
        held = lock.take(root / layout.LOCK)
        try:
            return cls(root, held, step, utc)
        except BaseException:
            held.release()
            raise

    def _open(self, lost: list[str]) -> None:
        found = inventory(self.ledger.opened_as.lines)
        known = layout.sequences_by_name(self.root) if lost else {}
        for key, last in found.last_sequences().items():
            known[key] = max(known.get(key, 0), last)
        self.journal.raise_sequences(known)
        self._columns = found.columns
        for what in lost:
            self.ledger.append(Kind.LOST, {"what": what, "text": f"the {what} was absent at opening"})
        self.finish()
        self._disk.empty_temporary()

    def close(self) -> None:
        """Close the journal and let others write."""
        self.journal.close()
        self._held.release()

    def __enter__(self) -> "Archive":
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def clashing_columns(self, point: str, source: str, wanted: Mapping[str, str]) -> list[Clash]:
        """Columns (name → type, see `column_types`) that would change a type already sealed."""
        return columns.clashes(self._columns.get((point, source), {}).values(), wanted)

    def seal(
        self,
        table: "pa.Table",
        *,
        point: str,
        source: str,
        date: date,
        first_sequence: int,
        last_sequence: int,
        metadata: Mapping[str, str],
    ) -> SealedFile:
        """Make rows final: when this returns the file, its ledger line and the journal's cut are durable.

        `table` holds the rows `first_sequence` to `last_sequence` in that order, `sequence` as int64.
        They must be the rows that the journal holds between these numbers; rows that never went through
        it need numbers above all given before. Raises SealingRefused, DiskFull (call again later), and
        writes nothing then that a reader would see.
        """
        with self._sealing:
            self._finish_all()
            return self._seal(table, point, source, date, first_sequence, last_sequence, metadata)

    def _seal(
        self,
        table: "pa.Table",
        point: str,
        source: str,
        day: date,
        first_sequence: int,
        last_sequence: int,
        metadata: Mapping[str, str],
    ) -> SealedFile:
        from storage.archive import parquet

        file = layout.file_name(point, source, day, first_sequence, last_sequence)
        self._check(table, file, point, source, first_sequence, last_sequence)
        data = parquet.encode(table, metadata)
        if not parquet.decode(data).equals(table):
            raise SealingRefused(
                self.root / file,
                f"{file} does not read back as the rows given: a missing value must be null.",
            )
        sealed = SealedFile(
            file=file, point=point, source=source, bytes=len(data), sha256=hashlib.sha256(data).hexdigest(),
            **parquet.described(table),  # type: ignore[arg-type]  # its keys are the other fields
        )  # fmt: skip
        told = {"kind": str(Kind.SEALED), **sealed.as_told()}
        types = columns.column_types(table.schema)
        if sealed.schema not in self._columns.get((point, source), {}):
            told["columns"] = types
        intent = Intent(
            file, f"{Path(file).name}.part", sealed.sha256, point, source, first_sequence, last_sequence,
            json.dumps(told),
        )  # fmt: skip
        self._disk.write_aside(Path(file).name, data, "sealed file")
        self.journal.add_intent(intent)
        self._disk.step("intent: committed")
        self._place(intent)
        self._tell(intent)
        self._cut(intent)
        self._columns.setdefault((point, source), {})[sealed.schema] = types
        return sealed

    def _check(self, table: "pa.Table", file: str, point: str, source: str, first: int, last: int) -> None:
        from storage.archive import parquet

        def refuse(why: str) -> SealingRefused:
            return SealingRefused(self.root / file, f"{file} was not written: {why}.")

        if table.num_rows == 0 or not parquet.ascending(table):
            raise refuse("its column sequence must be int64, never null, and grow with every row")
        given = table["sequence"].to_pylist()
        if (given[0], given[-1]) != (first, last):
            raise refuse(f"its rows go from {given[0]} to {given[-1]}, not from {first} to {last}")
        held = self.journal.sequences(point, source, first, last)
        if held and held != given:
            raise refuse(f"the journal holds {len(held)} rows there, the table other ones ({len(given)})")
        if not held and first <= self.journal.last_sequences().get((point, source), 0):
            raise refuse(f"sequence {first} was given before and is not in the journal")
        if found := self.clashing_columns(point, source, columns.column_types(table.schema)):
            told = ", ".join(f"{clash.name} ({clash.kept}, now {clash.wanted})" for clash in found)
            raise refuse(f"columns would change their type: {told}")

    def _place(self, intent: Intent) -> None:
        target = self.root / intent.file
        self._disk.make_folder(target.parent)
        self._disk.place(self.root / layout.TEMPORARY / intent.aside, target, "sealed file")

    def _tell(self, intent: Intent) -> None:
        content = json.loads(intent.line)
        self.ledger.append(Kind(content.pop("kind")), content)

    def _cut(self, intent: Intent) -> None:
        self.journal.cut(intent)
        self._disk.step("journal: cut")

    def finish(self) -> None:
        """Finish sealings that a crash or a full disk left in hand; nothing to do as a rule."""
        with self._sealing:
            self._finish_all()

    def _finish_all(self) -> None:
        intents = self.journal.intents()
        if not intents:
            return
        found = self._told()
        for intent in intents:
            self._finish(intent, found)
        self._columns = self._told().columns

    def _told(self) -> Inventory:
        """What the ledger says, without a line that it failed to flush and would write over."""
        lines = read_file(self.ledger.path).lines
        return inventory(line for line in lines if line.n <= self.ledger.tail.n)

    def _finish(self, intent: Intent, found: Inventory) -> None:
        """Forward where the bytes are whole, back where they are not; never a guess in between."""
        target = self.root / intent.file
        told = found.live.get(intent.file)
        if not _holds(target, intent.sha256):
            if told is not None and told.sha256 == intent.sha256:
                return  # damaged after it was told: the journal's rows are kept, verify names the file
            if not _holds(self.root / layout.TEMPORARY / intent.aside, intent.sha256):
                self.journal.drop_intent(intent)
                self._disk.step("intent: dropped")
                return
            self._place(intent)
        else:
            self._disk.sync_folder(target.parent)
        if told is None or told.sha256 != intent.sha256:
            self._tell(intent)
        self._cut(intent)


def _lost(root: Path) -> list[str]:
    """What is absent although rows were kept: "journal" (what it held unsealed is gone), "ledger"."""
    has_ledger, has_journal = (root / LEDGER).exists(), (root / layout.JOURNAL_FILE).exists()
    if has_ledger and has_journal:
        return []
    kept = has_ledger or any(layout.files_below(root / layout.ROWS))
    return [what for what, there in (("journal", has_journal), ("ledger", has_ledger)) if kept and not there]


def _holds(path: Path, sha256: str) -> bool:
    """Whether a file is there with exactly these bytes."""
    try:
        return hashlib.sha256(path.read_bytes()).hexdigest() == sha256
    except FileNotFoundError:
        return False
