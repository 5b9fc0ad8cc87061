"""What an export holds: a stream of tables with plain columns, each with its heading and unit.

Rows are read file by file and written as they come: a year of seconds passes through, it is never held.
"""

import json
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from readout.review.about.installation import Installation
from readout.review.about.logbook import LogBook, log_book
from readout.review.figures.corrections import corrections, factors
from readout.review.rows.measured import Measured
from readout.review.rows.streams import installation_of
from storage.archive import ArchiveReader, Held, column_types
from storage.errors import ArchiveDamaged

if TYPE_CHECKING:
    import pyarrow as pa

#: Rows a table: some MB.
BATCH = 50_000
CORRECTED = "_corrected"


@dataclass(frozen=True, slots=True)
class Column:
    """One column of an export."""

    name: str
    unit: str | None = None
    reference: str | None = None  # conditions, as text
    kind: str = "double"  # an Arrow type as the ledger names it

    @property
    def heading(self) -> str:
        """`flow [m3/h]`"""
        return f"{self.name} [{self.unit}]" if self.unit else self.name

    @property
    def type(self) -> Any:
        """The Arrow type."""
        import pyarrow as pa

        if self.kind.startswith("timestamp"):
            return pa.timestamp("ms", "UTC")
        alias: Any = self.kind
        return pa.type_for_alias(alias)


@dataclass(frozen=True)
class Stream:
    """Tables one after the other, all with `columns`; moments are in the column `time` (UTC, null allowed).

    `rows` is how many there are at most. `measured` is what the rows were worked out from, where they are
    means: it need not be asked for again.
    """

    about: Installation
    columns: Sequence[Column]
    rows: int
    tables: "Iterator[pa.Table]"
    measured: Measured | None = None


def with_rows(
    root: Path, point: str, source: str, since: int | None, until: int | None,
    write: Callable[[Stream], int], *, raw: "Raw",
) -> int:  # fmt: skip
    """Give `write` the rows of a span [ms since 1970 UTC) by sequence; returns what it returns.

    Asked again from the start where files were replaced meanwhile: `write` begins anew then.
    """
    book = log_book(root, point)

    def answer(held: Held) -> int:
        about = installation_of(root, point, source)
        if about is None:
            return 0
        columns = columns_of(about, held, book, raw)
        rows = sum(file.rows for file in held.files if file.may_hold(since, until))
        rows += sum(len(waiting) for _, waiting in held.waiting)
        tables = (
            _shaped(table, columns, book) for table in _tables(root, held, since, until) if table.num_rows
        )
        return write(Stream(about, columns, rows, tables))

    return ArchiveReader(root).ask(point, source, answer, waiting=True)


class Raw(StrEnum):
    """Whether raw registers are exported too."""

    WITH = "with"
    WITHOUT = "without"


def columns_of(about: Installation, held: Held, book: LogBook, raw: Raw) -> list[Column]:
    """Columns in their order: time, status, readings with flags, corrected flows, raw registers."""
    kinds: dict[str, str] = {}
    for columns in held.columns:
        kinds |= columns
    for plan, waiting in held.waiting:
        kinds |= column_types(_decoded(plan, waiting[:1]).schema)
    states = {name for name in kinds if name in about.states}
    corrected = any(one.flow_factor is not None for one in book.amendments)
    fixed = [Column(name, kind=kinds[name]) for name in ("sequence", "status", "clock") if name in kinds]
    made = [Column("time", kind="timestamp"), *fixed]
    for name, kind in _by_map(kinds, about):
        is_raw = name.startswith("raw_")
        if name in ("sequence", "due", "time", "clock", "status") or (is_raw and raw is Raw.WITHOUT):
            continue
        reading = about.readings.get(name)
        unit = None if reading is None or (reading.unit or "").startswith("see ") else reading.unit
        reference = None if reading is None else reading.reference
        made.append(Column(name, unit, reference, "string" if name in states else kind))
        if corrected and about.flow is not None and name == about.flow.name:
            made.append(Column(name + CORRECTED, unit, reference))
    return made


def _by_map(kinds: Mapping[str, str], about: Installation) -> list[tuple[str, str]]:
    """Columns with their types as the map orders them, flag and unit behind their reading; others last."""
    order = {name: place for place, name in enumerate(about.order)}

    def place(column: tuple[str, str]) -> tuple[int, int]:
        for turn, ending in enumerate(("", "_flag", "_unit")):
            base = column[0].removesuffix(ending)
            if base in order and column[0].endswith(ending):
                return order[base], turn
        return len(order), 0

    return sorted(kinds.items(), key=place)


def _decoded(plan: str, rows: Sequence[Any]) -> "pa.Table":
    from readout.sealing.record import Record
    from readout.sealing.table import table_of

    return table_of(Record.from_text(plan), rows)


def _tables(root: Path, held: Held, since: int | None, until: int | None) -> "Iterator[pa.Table]":
    """By sequence: sealed files, then what waits in the journal."""
    import pyarrow as pa
    import pyarrow.parquet as pq

    for file in held.files:
        if file.may_hold(since, until):
            path = root / file.file
            try:
                with pq.ParquetFile(path, page_checksum_verification=True) as opened:
                    for batch in opened.iter_batches(BATCH):
                        yield _between(pa.Table.from_batches([batch]), since, until)
            except FileNotFoundError:
                raise
            except (pa.ArrowException, OSError) as error:
                text = f"{path} cannot be read ({error}): verify the archive."
                raise ArchiveDamaged(path, text) from error
    for plan, rows in held.waiting:
        for first in range(0, len(rows), BATCH):
            yield _between(_decoded(plan, rows[first : first + BATCH]), since, until)


def _between(table: "pa.Table", since: int | None, until: int | None) -> "pa.Table":
    import pyarrow as pa
    import pyarrow.compute as pc

    name = "due" if "due" in table.column_names else "time"
    kind = table.schema.field(name).type
    if since is not None:
        table = table.filter(pc.field(name) >= pa.scalar(since, kind))
    if until is not None:
        table = table.filter(pc.field(name) < pa.scalar(until, kind))
    return table


def _shaped(table: "pa.Table", columns: Sequence[Column], book: LogBook) -> "pa.Table":
    """The columns wanted; one that a file has not is null, `time` is when a row was due."""
    import pyarrow as pa

    moment = table["due" if "due" in table.column_names else "time"]
    found: dict[str, Any] = {}
    for column in columns:
        if column.name == "time":
            found["time"] = moment
        elif column.name.endswith(CORRECTED):
            kept = column.name.removesuffix(CORRECTED)
            found[column.name] = _corrected(table, kept, moment, book)
        elif column.name in table.column_names:
            found[column.name] = _in_words(table, column.name).cast(column.type)
        else:
            found[column.name] = pa.nulls(table.num_rows, column.type)
    return pa.table(found)


def _corrected(table: "pa.Table", name: str, moment: Any, book: LogBook) -> Any:
    import pyarrow as pa
    import pyarrow.compute as pc

    if name not in table.column_names:
        return pa.nulls(table.num_rows, pa.float64())
    begins = np.asarray(moment.cast(pa.int64()).fill_null(0).to_numpy())
    by = factors(corrections(book.amendments), begins)
    assert by is not None
    return pc.multiply(table[name].cast(pa.float64()), pa.array(by))


def _in_words(table: "pa.Table", name: str) -> Any:
    """States and bits by their words, as the map has them; other columns as they are."""
    import pyarrow as pa

    told = (table.schema.field(name).metadata or {}).get(b"words")
    if told is None:
        return table[name]
    words: Mapping[str, Mapping[str, str]] = json.loads(told)
    numbers = table[name].to_pylist()
    known = {number: _word(number, words) for number in set(numbers)}
    return pa.array([known[number] for number in numbers], pa.string())


def _word(number: int | None, words: Mapping[str, Mapping[str, str]]) -> str | None:
    if number is None:
        return None
    if "codes" in words:
        return words["codes"].get(str(number), str(number))
    return ", ".join(word for bit, word in words["bits"].items() if number >> int(bit) & 1) or "none"


def site_times(moments: Any, zone: str) -> tuple[Any, Any, Any]:
    """(UTC, site time, offset) of moments as ISO 8601 texts: …T00:30:00.000Z, …T01:30:00.000, +01:00."""
    import pyarrow as pa
    import pyarrow.compute as pc

    utc = pc.strftime(moments.cast(pa.timestamp("ms", "UTC")), format="%Y-%m-%dT%H:%M:%SZ")
    local = moments.cast(pa.timestamp("ms", zone))
    offset = pc.strftime(local, format="%Ez")
    return utc, pc.strftime(local, format="%Y-%m-%dT%H:%M:%S"), offset
