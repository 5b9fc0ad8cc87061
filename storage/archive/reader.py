"""Reading an archive beside its recorder, or a copy of it: sealed files and journal as one.

The journal is read first, the ledger after it: a row sealed between the two is then found in both, and is
dropped from the journal's because a sealed file's sequence range covers it. Never doubled, never missed.
"""

from collections.abc import Callable, Iterable, Mapping, Sequence
from contextlib import closing
from dataclasses import dataclass, replace
from itertools import groupby
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

from storage.archive import layout
from storage.archive.columns import column_types, digest
from storage.archive.files import History, Inventory, SealedFile, added, follow, inventory
from storage.errors import ArchiveAbsent, ArchiveDamaged
from storage.journal import Journal, Row, read_only
from storage.ledger import LEDGER, TAIL, Reading, Walk, against_tail, read_tail

if TYPE_CHECKING:
    import pyarrow as pa

#: Turns journal rows that share a plan (its text first) into a table with the columns of a sealed file.
Decode = Callable[[str, Sequence[Row]], "pa.Table"]
#: Is told a file that cannot be read, and why; reading then goes on without it.
OnDamage = Callable[[str, str], None]

#: Rows of the journal that share a plan, one run behind the other: (plan's text, rows).
Runs = list[tuple[str, list[Row]]]

#: Times the ledger is read again when a file it named was replaced meanwhile.
_TRIES = 5

_Answer = TypeVar("_Answer")


@dataclass(frozen=True)
class Held:
    """What a point and source hold at one instant: each row is in one of the files or among the waiting."""

    files: list[SealedFile]  # by sequence
    columns: list[dict[str, str]]  # name → type, once for each set of columns that one of the files has
    waiting: Runs  # by sequence


class ArchiveReader:
    """Needs only the right to read. Keeps nothing open between calls. ArchiveAbsent where there is none."""

    def __init__(self, root: Path) -> None:
        if not layout.is_archive(root):
            raise ArchiveAbsent(
                root, f"{root} holds no archive: neither {LEDGER} nor {layout.JOURNAL_FILE} is there."
            )
        self.root = root

    def inventory(self, history: History | None = None) -> Inventory:
        """The ledger followed to its end, as of now; `history` takes the replaced files and the lines."""
        return inventory(Walk.through(self.root / LEDGER), history)

    def files(self) -> list[SealedFile]:
        """The files that hold, by point, source and sequence; never one that was replaced."""
        return self.inventory().files()

    def streams(self) -> list[tuple[str, str]]:
        """Every point and source that has rows, sealed or not."""
        found = set(self.inventory().streams())
        journal = read_only(self.root / layout.JOURNAL_FILE)
        if journal is not None:
            with closing(journal):
                found |= journal.count().keys()
        return sorted(found)

    def waiting_rows(self, point: str, source: str) -> Runs:
        """Rows not sealed yet, by sequence, in runs that share a plan: (plan's text, rows).

        Rows whose sealed file is in the ledger by now are left out.
        """
        waiting, found = self._both(point, source)
        return _unsealed(waiting, found.of(point, source))

    def waiting(self) -> dict[tuple[str, str], int]:
        """How many rows are not sealed yet, per point and source; absent where none."""

        def count(_: Reading, held: Mapping[tuple[str, str], Held]) -> dict[tuple[str, str], int]:
            counts = {stream: sum(len(rows) for _, rows in one.waiting) for stream, one in held.items()}
            return {stream: rows for stream, rows in counts.items() if rows}

        return self.ask_all(count)

    def read_rows(
        self,
        point: str,
        source: str,
        *,
        decode: Decode | None = None,
        columns: Sequence[str] | None = None,
        since: int | None = None,
        until: int | None = None,
        on_damage: OnDamage | None = None,
    ) -> "pa.Table":
        """All rows of a point and source by sequence, as one table; columns unified by name.

        With `decode` the journal's rows are there too. `since` (included) and `until` (excluded) are ms
        since 1970 UTC against `due`, for memory rows against `time`. `columns` are names to keep; one
        that no file has is left out. A file that cannot be read raises ArchiveDamaged, or is told to
        `on_damage` and left out. A row without a time is in no span. Without
        any rows the table has no columns.
        """
        import pyarrow as pa

        def read(held: Held) -> "list[pa.Table]":
            tables = [
                table
                for file in held.files
                if file.may_hold(since, until) and (table := self._read(file, columns, on_damage)) is not None
            ]
            return tables + [decode(plan, rows) for plan, rows in held.waiting if decode]

        tables = self.ask(point, source, read, waiting=decode is not None)
        if not tables:
            return pa.table({})
        table = _between(pa.concat_tables(tables, promote_options="default"), since, until)
        return table if columns is None else table.select([n for n in table.column_names if n in columns])

    def ask(self, point: str, source: str, question: Callable[[Held], _Answer], *, waiting: bool) -> _Answer:
        """The answer to a question about what is held now; without `waiting` the journal is not read.

        The question raises FileNotFoundError where a file is not there: it is asked again with what took the
        file's place meanwhile. ArchiveDamaged where nothing did.
        """

        def one() -> tuple[Inventory, Callable[[], _Answer]]:
            runs, found = self._both(point, source) if waiting else ([], self.inventory())
            return found, lambda: question(_held(found, found.of(point, source), runs))

        return self._asked(one)

    def ask_all(self, question: Callable[[Reading, Mapping[tuple[str, str], Held]], _Answer]) -> _Answer:
        """As `ask` with `waiting`, about every point and source at one instant, and with the ledger.

        Journal and ledger are read once, so that many points of a long archive cost no more than one. The
        reading's lines are all but those that add files; its faults tell of lines cut off the end, too.
        """

        def all_() -> tuple[Inventory, Callable[[], _Answer]]:
            runs: dict[tuple[str, str], Runs] = {}
            journal = read_only(self.root / layout.JOURNAL_FILE)
            if journal is not None:
                with closing(journal), journal.snapshot():
                    runs = {stream: _runs(journal, *stream) for stream in journal.count()}
            found = Inventory()
            ledger = self._ledger(found)
            sealed = found.streams()
            held = {
                stream: _held(found, sealed.get(stream, []), runs.get(stream, []))
                for stream in sorted({*sealed, *runs})
            }
            return found, lambda: question(ledger, held)

        return self._asked(all_)

    def _ledger(self, found: Inventory) -> Reading:
        """The ledger against its tail, which is read first: lines only come. Its files go to `found`."""
        walk, tail, faults = Walk.through(self.root / LEDGER), None, list[str]()
        try:
            tail = read_tail(self.root / TAIL)
        except ArchiveDamaged as error:
            faults.append(str(error))
        last = 0 if tail is None else tail.n
        reading = walk.reading(line for line in walk if not follow(line, found) or line.n == last)
        if tail is not None and (cut := against_tail(reading, tail)) is not None:
            faults.append(cut)
        lines = tuple(line for line in reading.lines if not added(line))
        return replace(reading, lines=lines, faults=(*reading.faults, *faults))

    def _asked(self, prepare: Callable[[], tuple[Inventory, Callable[[], _Answer]]]) -> _Answer:
        for attempt in range(_TRIES):
            found, answer = prepare()
            try:
                return answer()
            except FileNotFoundError as error:
                if attempt + 1 == _TRIES or self.inventory().live.keys() == found.live.keys():
                    gone = [self.root / file for file in found.live if not (self.root / file).exists()]
                    name = gone[0] if gone else error.filename  # a Parquet reader's error names none
                    raise ArchiveDamaged(
                        self.root, f"{name} is missing although the ledger knows it: verify the archive."
                    ) from error
        raise AssertionError("the last try returns or raises")

    def _both(self, point: str, source: str) -> tuple[Runs, Inventory]:
        """The journal's rows in runs, and the inventory read after them."""
        runs: Runs = []
        journal = read_only(self.root / layout.JOURNAL_FILE)
        if journal is not None:
            with closing(journal), journal.snapshot():
                runs = _runs(journal, point, source)
        return runs, self.inventory()

    def _read(
        self, file: SealedFile, columns: Sequence[str] | None, on_damage: OnDamage | None
    ) -> "pa.Table | None":
        import pyarrow as pa
        import pyarrow.parquet as pq

        path = self.root / file.file
        try:
            with pq.ParquetFile(path, page_checksum_verification=True) as opened:
                names = opened.schema_arrow.names
                if (opened.metadata.num_rows, digest(column_types(opened.schema_arrow))) != (
                    file.rows,
                    file.schema,
                ):
                    raise pa.ArrowInvalid("it has other rows or columns than were written")
                needed = {_moment(names), *(names if columns is None else columns)}
                return opened.read(columns=[name for name in names if name in needed])
        except FileNotFoundError:
            if on_damage is None:
                raise
            on_damage(file.file, "is missing")
        except (pa.ArrowException, OSError) as error:
            if on_damage is None:
                raise ArchiveDamaged(path, f"{path} cannot be read ({error}): verify the archive.") from error
            on_damage(file.file, f"cannot be read ({error})")
        return None


def _runs(journal: Journal, point: str, source: str) -> Runs:
    return [
        (journal.plan_text(plan), list(rows))
        for plan, rows in groupby(journal.rows(point, source), key=lambda row: row.plan)
    ]


def _held(found: Inventory, files: list[SealedFile], runs: Runs) -> Held:
    return Held(files, found.columns_of(files), _unsealed(runs, files))


def _unsealed(runs: Iterable[tuple[str, list[Row]]], files: Sequence[SealedFile]) -> Runs:
    """The runs without the rows that a sealed file covers."""
    left: Runs = []
    for plan, rows in runs:
        first = rows[0].sequence
        near = [(f.first_sequence, f.last_sequence) for f in files if f.last_sequence >= first]
        kept = [row for row in rows if not any(low <= row.sequence <= high for low, high in near)]
        if kept:
            left.append((plan, kept))
    return left


def _moment(names: Sequence[str]) -> str | None:
    return next((name for name in ("due", "time") if name in names), None)


def _between(table: "pa.Table", since: int | None, until: int | None) -> "pa.Table":
    """The rows of a span; a row without a moment is in no span."""
    import pyarrow as pa
    import pyarrow.compute as pc

    name = _moment(table.column_names)
    if name is None or (since is None and until is None):
        return table
    kind = table.schema.field(name).type
    if since is not None:
        table = table.filter(pc.field(name) >= pa.scalar(since, kind))
    if until is not None:
        table = table.filter(pc.field(name) < pa.scalar(until, kind))
    return table
