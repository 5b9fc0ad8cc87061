"""Means of each hour of the site's clock, over any length of archive, in bounded memory.

An hour is where its minutes are: the hour that a clock lives through twice in autumn is two hours, the one it
leaves out in spring is none, and where a zone is off by half an hour its hours are too. (A database's
date_trunc on zoned times makes one hour of the two in October.)
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, tzinfo
from errno import ENOENT
from pathlib import Path
from typing import TYPE_CHECKING

from readout.clock import ms_of
from readout.review.asking import asking
from storage.archive import ArchiveReader, Held, column_types
from storage.errors import ArchiveDamaged

if TYPE_CHECKING:
    import pyarrow as pa

_HOUR, _DAY = 3_600_000, 86_400_000  # ms
#: What the database may take for itself: the rest of a process that asks is below 150 MB.
_MEMORY = "128MB"
#: Column types, as the ledger names them, that have a mean.
_NUMBERS = frozenset(
    {"float", "double", "bool", *(f"{sign}int{bits}" for sign in ("", "u") for bits in (8, 16, 32, 64))}
)


@dataclass(frozen=True, slots=True)
class Since:
    """From `start` [ms since 1970 UTC] on, hours of the site's clock begin `shift` ms before those of UTC."""

    start: int
    shift: int


def hourly_means(
    root: Path,
    point: str,
    source: str,
    readings: Sequence[str],
    zone: tzinfo,
    *,
    since: int | None = None,
    until: int | None = None,
) -> "pa.Table":
    """One row for each hour that has rows, in order; rows still in the journal are counted.

    Columns: `hour` (timestamp[ms, UTC], its first instant, also where `since` comes later), `rows` (int64),
    and for each reading `NAME` (float64), its arithmetic mean over the rows that have it, null where none
    has, and `NAME_rows` (int64), how many those are. `since` (included) and `until` (excluded) are ms since
    1970 UTC, against `due`, for memory rows against `time`. Rows without a moment are in no hour.

    The files' bytes are not proven here: `verify` does that. Raises ArchiveAbsent, ArchiveDamaged, and
    ValueError for a column that holds no numbers.
    """

    def answer(held: Held) -> "pa.Table":
        return _Question(root, held, readings, since, until).answer(zone)

    return ArchiveReader(root).ask(point, source, answer, waiting=True)


class _Question:
    """One question about what is held at one instant."""

    def __init__(self, root: Path, held: Held, readings: Sequence[str], since: int | None, until: int | None):
        from readout.sealing.record import Record
        from readout.sealing.table import table_of

        self._root, self._readings, self._span = root, readings, (since, until)
        self._files = [file for file in held.files if file.may_hold(since, until)]
        self._sealed = held.columns
        self._waiting = [table_of(Record.from_text(plan), rows) for plan, rows in held.waiting]
        kinds: dict[str, str] = {}
        for columns in (*self._sealed, *(column_types(table.schema) for table in self._waiting)):
            kinds |= columns
        if texts := [name for name in readings if kinds.get(name, "double") not in _NUMBERS]:
            raise ValueError(f"{', '.join(texts)}: {kinds[texts[0]]} has no mean")
        self._moment = "time" if kinds and "due" not in kinds else "due"
        self._known = [name for name in readings if name in kinds]

    def answer(self, zone: tzinfo) -> "pa.Table":
        """See `hourly_means`."""
        import duckdb
        import pyarrow as pa

        paths = [str(self._root / file.file) for file in self._files]
        with asking(memory_limit=_MEMORY, preserve_insertion_order=False) as session:
            for number, table in enumerate(self._waiting):
                session.register(f"waiting_{number}", table)
            query = self._query(shifts(zone, *self._ends()))
            try:
                found: pa.Table = session.sql(query, params=[paths] if paths else []).to_arrow_table()
            except duckdb.Error as error:
                for path in paths:
                    if not Path(path).exists():
                        raise FileNotFoundError(ENOENT, "replaced meanwhile, or missing", path) from error
                text = f"{self._root}: a file cannot be read ({error}): verify the archive."
                raise ArchiveDamaged(self._root, text) from error
        return found.set_column(0, "hour", found["hour"].cast(pa.timestamp("ms", "UTC")))

    def _query(self, since: "list[Since]") -> str:
        """The whole question; `$1` are the files' paths. sum and count are what avg does, and give both."""
        sources = self._sources()
        rows = " UNION ALL BY NAME ".join(sources) if sources else self._nothing()
        found = ["count(*) AS rows"]
        for name in self._readings:
            column = _quoted(name) if name in self._known else "NULL"
            mean = f"(sum({column}) / count({column}))" if name in self._known else "NULL"
            found.append(f"{mean}::DOUBLE AS {_quoted(name)}")
            found.append(f"count({column}) AS {_quoted(f'{name}_rows')}")
        return (
            f"SELECT make_timestamptz(begin) AS hour, * EXCLUDE begin FROM ("
            f"SELECT {_begin(f'epoch_us({self._moment})', since)} AS begin, {', '.join(found)}"
            f" FROM ({rows}){self._within()} GROUP BY begin HAVING begin IS NOT NULL) ORDER BY hour"
        )

    def _sources(self) -> list[str]:
        """Where rows come from, the wanted columns of each."""
        found = []
        if self._files:
            # Looking into every footer beforehand is for columns that some of the files have not.
            by_name = any(name not in columns for columns in self._sealed for name in self._known)
            names = {name for columns in self._sealed for name in columns}
            options = f"hive_partitioning=false, union_by_name={str(by_name).lower()}"
            found.append(self._selected(names, f"read_parquet($1, {options})"))
        for number, table in enumerate(self._waiting):
            found.append(self._selected(set(table.column_names), f"waiting_{number}"))
        return found

    def _selected(self, names: set[str], source: str) -> str:
        wanted = [self._moment, *(name for name in self._known if name in names)]
        return f"SELECT {', '.join(map(_quoted, wanted))} FROM {source}"

    def _nothing(self) -> str:
        columns = [f"NULL::TIMESTAMPTZ AS {self._moment}", *(f"NULL AS {_quoted(n)}" for n in self._known)]
        return f"SELECT {', '.join(columns)} WHERE false"

    def _within(self) -> str:
        since, until = self._span
        bounds = [f"{self._moment} >= make_timestamptz({since * 1000})"] if since is not None else []
        bounds += [f"{self._moment} < make_timestamptz({until * 1000})"] if until is not None else []
        return f" WHERE {' AND '.join(bounds)}" if bounds else ""

    def _ends(self) -> tuple[int, int]:
        """A span that holds every row's moment [ms since 1970 UTC]."""
        import pyarrow as pa
        import pyarrow.compute as pc

        told = [text for file in self._files for text in (file.first, file.last) if text is not None]
        ends = [ms_of(text) for text in told]
        for table in self._waiting:
            span = pc.min_max(table[self._moment].cast(pa.int64()))
            ends += [span[end].as_py() for end in ("min", "max") if span[end].is_valid]
        return (min(ends), max(ends)) if ends else (0, 0)


def _quoted(name: str) -> str:
    return '"' + name.replace('"', '""') + '"'


def _begin(moment: str, since: "list[Since]") -> str:
    """The first instant [us since 1970 UTC] of the hour that `moment` [us] is in, as an expression."""

    def floor(shift: int) -> str:
        moved = f"{shift * 1000}" if shift else "0"
        return f"(({moment} + {moved}) // {_HOUR * 1000} * {_HOUR * 1000} - {moved})"

    first, *later = since
    begin = floor(first.shift)
    for one in later:  # an hour in which the clock is set by less than an hour ends there, another begins
        start = one.start * 1000
        begin = f"CASE WHEN {moment} < {start} THEN {begin} ELSE greatest({floor(one.shift)}, {start}) END"
    return begin


def shifts(zone: tzinfo, first: int, last: int) -> list[Since]:
    """How hours of the zone lie to those of UTC from `first` to `last` [ms since 1970 UTC], in order.

    One entry as a rule, also over changes by whole hours. A change is looked for once a day and then halved
    in on.
    """
    found = [Since(first, _shift(zone, first))]
    for day in range(first, last + _DAY, _DAY):
        shift = _shift(zone, day)
        if shift != found[-1].shift:
            low, high = day - _DAY, day
            while high - low > 1:
                middle = (low + high) // 2
                low, high = (low, middle) if _shift(zone, middle) == shift else (middle, high)
            found.append(Since(high, shift))
    return found


def _shift(zone: tzinfo, ms: int) -> int:
    offset = datetime.fromtimestamp(ms / 1000, UTC).astimezone(zone).utcoffset()
    assert offset is not None
    return round(offset.total_seconds() * 1000) % _HOUR
