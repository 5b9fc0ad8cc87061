"""The one writer of an archive: opening it, finishing what a crash left, sealing, and replacing.

Both go through these steps; a crash between any two is finished or undone at the next opening:

1. the new files' bytes aside in `temporary/`, flushed    crash: removed, everything is as it was
2. the intent in the journal, committed                   from here on the opening goes forward
3. renamed to their names below `rows/`, folders flushed
4. one line in the ledger, flushed                        from here on readers of the ledger see the new files
5. the journal's rows cut; or the replaced files renamed into `superseded/`, folders flushed
6. the intent ended, committed (with a cut in one transaction)
"""

import hashlib
import json
import os
import threading
import time
from collections import deque
from collections.abc import Callable, Iterable, Iterator, Mapping
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import suppress
from dataclasses import dataclass
from datetime import date
from functools import partial
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING

from storage import lock
from storage.archive import columns, layout
from storage.archive.columns import Clash
from storage.archive.files import Inventory, Replacement, SealedFile
from storage.archive.finishing import Finisher, aside_name
from storage.archive.opening import Opening
from storage.durable import Disk, Step, no_step, told
from storage.errors import ArchiveAbsent, ArchiveDamaged, DiskFull, SealingRefused
from storage.journal import Intent, Journal
from storage.ledger import LEDGER, Kind, Ledger, Line
from storage.logbook.inbox import Inbox
from storage.reserve import Reserve

if TYPE_CHECKING:
    import pyarrow as pa

    from storage.archive.parquet import Proven

#: Replacements made side by side; with one more each way they are in memory whole, a day of seconds 20 MB.
_HANDS = min(2, os.cpu_count() or 1)


@dataclass(frozen=True)
class _Made:
    """A replacement whose bytes are proven, and how its file will be called."""

    name: str
    files: tuple[SealedFile, ...]
    proven: "Proven"
    types: dict[str, str]


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
        self.reserve = Reserve(root / layout.RESERVE)
        self._inbox = Inbox(root)
        lost = _lost(root)
        self.journal = Journal.open(root / layout.JOURNAL_FILE)
        try:
            self._disk.sync_folder(root / layout.JOURNAL)
            opening = Opening()
            self.ledger = Ledger(root, self._disk, utc, opening.see)
            self._finisher = Finisher(
                root, self._disk, self.journal, self.ledger, self.reserve, opening.inventory
            )
            #: The latest line that told of a recorder's start or end when the archive was opened.
            self.last_run = opening.last_run
            self._entered = opening.entered
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
            try:
                return cls(root, held, step, utc)
            except DiskFull:
                if not Reserve(root / layout.RESERVE).release():
                    raise
                return cls(root, held, step, utc)
        except BaseException:
            held.release()
            raise

    def _open(self, lost: list[str]) -> None:
        found = self._finisher.told()
        known = layout.sequences_by_name(self.root) if lost else {}
        for key, last in found.last_sequences.items():
            known[key] = max(known.get(key, 0), last)
        self.journal.raise_sequences(known)
        self._know(found)
        for what in lost:
            self.ledger.append(Kind.LOST, {"what": what, "text": f"the {what} was absent at opening"})
        self.finish()
        self._disk.empty_temporary()
        self.take_in()
        self.reserve.fill()

    def _know(self, found: Inventory) -> None:
        """Remember which columns were told, and which of them live files have."""
        self._told = found.columns
        self._kept = {key: found.columns_of(files) for key, files in found.streams().items()}

    @property
    def is_in_place(self) -> bool:
        """False where the folder was moved or removed, or a disk mounted over it: nothing can be sealed."""
        return self._held.is_in_place

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

    def files(self) -> list[SealedFile]:
        """The live files, by point, source and sequence, without reading the ledger again."""
        return self._finisher.told().files()

    def clashing_columns(self, point: str, source: str, wanted: Mapping[str, str]) -> list[Clash]:
        """Columns (name → type, see `column_types`) that would change the type they have in live files."""
        return columns.clashes(self._kept.get((point, source), []), wanted)

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
            self.reserve.fill()
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
        file = layout.file_name(point, source, day, first_sequence, last_sequence)
        self._check(table, file, point, source, first_sequence, last_sequence)
        sealed = self._write(file, point, source, table, metadata)
        types = columns.column_types(table.schema)
        content = {"kind": str(Kind.SEALED), **self._entry(sealed, types)}
        self._carry_out([sealed], content, first_sequence, last_sequence)
        self._learn(sealed, types)
        return sealed

    def _write(
        self, file: str, point: str, source: str, table: "pa.Table", metadata: Mapping[str, str]
    ) -> SealedFile:
        """The file aside, flushed, its rows read back from the very bytes before."""
        from storage.archive import parquet

        proven, _ = parquet.proven(table, metadata, self.root / file)
        return self._put_aside(file, point, source, proven)

    def _put_aside(self, file: str, point: str, source: str, proven: "Proven") -> SealedFile:
        self._disk.write_aside(Path(file).name, proven.data, "sealed file")
        return SealedFile(
            file=file, point=point, source=source, bytes=len(proven.data), sha256=proven.sha256,
            **proven.described,  # type: ignore[arg-type]  # its keys are the other fields
        )  # fmt: skip

    def _entry(self, sealed: SealedFile, types: Mapping[str, str]) -> dict[str, object]:
        """What the ledger tells of a file; its columns only where they are new for the point and source."""
        known = sealed.schema in self._told.get((sealed.point, sealed.source), {})
        return sealed.as_told() if known else {**sealed.as_told(), "columns": dict(types)}

    def _carry_out(self, new: list[SealedFile], content: dict[str, object], first: int, last: int) -> None:
        one = new[0]
        intent = Intent(
            one.file, aside_name(one.file), one.sha256, one.point, one.source, first, last,
            json.dumps(content),
        )  # fmt: skip
        try:
            self.journal.add_intent(intent)
        except DiskFull:
            self._drop_asides(file.file for file in new)
            raise
        self._disk.step("intent: committed")
        self._finisher.carry_out(intent)

    def _drop_asides(self, files: Iterable[str]) -> None:
        for file in files:
            with suppress(OSError):
                (self.root / layout.TEMPORARY / aside_name(file)).unlink()

    def _learn(self, sealed: SealedFile, types: dict[str, str]) -> None:
        key = (sealed.point, sealed.source)
        self._told.setdefault(key, {})[sealed.schema] = types
        kept = self._kept.setdefault(key, [])
        if types not in kept:
            kept.append(types)

    def _check(self, table: "pa.Table", file: str, point: str, source: str, first: int, last: int) -> None:
        from storage.archive import parquet

        refuse = partial(_refusal, self.root, file)
        if table.num_rows == 0 or not parquet.ascending(table):
            raise refuse("its column sequence must be int64, never null, and grow with every row")
        given = table["sequence"]
        if (given[0].as_py(), given[-1].as_py()) != (first, last):
            raise refuse(f"its rows go from {given[0]} to {given[-1]}, not from {first} to {last}")
        held = self.journal.sequences(point, source, first, last)
        if held and held != given.to_pylist():
            raise refuse(f"the journal holds {len(held)} rows there, the table other ones ({len(given)})")
        if not held and first <= self.journal.last_sequences().get((point, source), 0):
            raise refuse(f"sequence {first} was given before and is not in the journal")
        if found := self.clashing_columns(point, source, columns.column_types(table.schema)):
            raise refuse(f"columns would change their type: {', '.join(map(str, found))}")

    def read(self, file: SealedFile) -> "pa.Table":
        """All rows of a live file, its metadata in the schema's; ArchiveDamaged where its bytes changed."""
        from storage.archive import parquet

        path = self.root / file.file
        try:
            with told(path):
                data = path.read_bytes()
        except FileNotFoundError:
            data = b""
        if hashlib.sha256(data).hexdigest() != file.sha256:
            raise ArchiveDamaged(
                path, f"{path} is missing or has other bytes than were written: verify the archive."
            )
        return parquet.decode(data)

    def replace(
        self,
        kind: Kind,
        new: Iterable[Replacement],
        *,
        unchanged: Callable[[str], bool],
        content: Mapping[str, object],
    ) -> list[SealedFile]:
        """Put new files in the place of old ones, all in one line of the ledger: all of them or none.

        All are of one point and source and are taken one at a time. Columns for which `unchanged(name)` is
        true must be bit for bit those of the old files; that is checked on the new files' bytes as they lie
        aside, before anything is renamed. Old files move to superseded/. `content` is added to the line.
        Raises SealingRefused, ArchiveDamaged, DiskFull; a reader then sees what it saw before.
        """
        with self._sealing:
            self._finish_all()
            self.reserve.fill()
            written: list[tuple[SealedFile, dict[str, str]]] = []
            old: list[SealedFile] = []
            try:
                for made in self._proven(new, unchanged):
                    first = made.files[0]
                    sealed = self._put_aside(made.name, first.point, first.source, made.proven)
                    written.append((sealed, made.types))
                    old += made.files
                if not written:
                    return []
                self._check_types_after(written, old)
                entries = [self._entry(*one) for one in written]
            except BaseException:
                self._drop_asides(sealed.file for sealed, _ in written)
                raise
            line = dict(entries[0]) if len(entries) == 1 else {"files": entries}
            line |= {"kind": str(kind), "replaces": [file.file for file in old], **content}
            self._carry_out(
                [sealed for sealed, _ in written], line, old[0].first_sequence, old[-1].last_sequence
            )
            self._know(self._finisher.told())
            return [sealed for sealed, _ in written]

    def _proven(self, new: Iterable[Replacement], unchanged: Callable[[str], bool]) -> "Iterator[_Made]":
        """Each replacement as bytes that were read back and compared, in order; a few are in memory at once.

        Encoding leaves the interpreter free: the next ones are decoded and encoded meanwhile.
        """
        with ThreadPoolExecutor(_HANDS) as hands:
            coming: deque[Future[_Made]] = deque()
            for replacement in new:
                coming.append(hands.submit(self._made, replacement, unchanged))
                if len(coming) > _HANDS:
                    yield coming.popleft().result()
            while coming:
                yield coming.popleft().result()

    def _made(self, new: Replacement, unchanged: Callable[[str], bool]) -> "_Made":
        from storage.archive import parquet

        first, last = new.files[0], new.files[-1]
        names = [file.file for file in new.files]
        several = len(names) > 1
        file = layout.file_name(
            first.point, first.source, layout.date_of(first.file), first.first_sequence, last.last_sequence,
            1 if several else layout.next_version(names),
        )  # fmt: skip
        refuse = partial(_refusal, self.root, file)
        if self.journal.sequences(first.point, first.source, first.first_sequence, last.last_sequence):
            raise refuse("the journal holds rows between its sequences")
        kept = [name for name in new.before.column_names if unchanged(name)]
        if "sequence" not in kept or not set(kept) <= set(new.table.column_names):
            raise refuse(f"its rows are not those of {', '.join(names)}")
        # Columns that stay as they were are smallest as they were; a whole day may differ from its hours.
        known = {} if several else parquet.encodings(self.root / first.file, kept)
        proven, back = parquet.proven(new.table, new.metadata, self.root / file, known)
        if not back.select(kept).equals(new.before.select(kept)):
            raise refuse(f"its rows are not those of {', '.join(names)}")
        return _Made(file, new.files, proven, columns.column_types(new.table.schema))

    def _check_types_after(
        self, written: list[tuple[SealedFile, dict[str, str]]], old: list[SealedFile]
    ) -> None:
        """No column may have two types among the files that will be live."""
        found = self._finisher.told()
        for file in old:
            del found.live[file.file]
        kept = found.columns_of(found.of(old[0].point, old[0].source))
        for sealed, types in written:
            if clashing := columns.clashes(kept, types):
                raise _refusal(
                    self.root, sealed.file, f"columns would differ: {', '.join(map(str, clashing))}"
                )
            kept.append(types)

    def take_in(self) -> list[Line]:
        """Write into the ledger what others left in the inbox; a recorder does this all the time."""
        return self._inbox.take_in(self.ledger, self._entered, self._disk)

    def finish(self) -> None:
        """Finish what a crash or a full disk left in hand; nothing to do as a rule."""
        with self._sealing:
            self._finish_all()

    def _finish_all(self) -> None:
        if self._finisher.finish_all():
            self._know(self._finisher.told())


def _lost(root: Path) -> list[str]:
    """What is absent although rows were kept: "journal" (what it held unsealed is gone), "ledger"."""
    has_ledger, has_journal = (root / LEDGER).exists(), (root / layout.JOURNAL_FILE).exists()
    if has_ledger and has_journal:
        return []
    kept = has_ledger or any(layout.files_below(root / layout.ROWS))
    return [what for what, there in (("journal", has_journal), ("ledger", has_ledger)) if kept and not there]


def _refusal(root: Path, file: str, why: str) -> SealingRefused:
    return SealingRefused(root / file, f"{file} was not written: {why}.")
