"""How much of a recording has a value, file by file, without reading what need not be read.

A file whose rows are as many as its first and last moment have room for has no gap; its footer says how many
of them have no value, its status column why. That takes some 2 ms for a day of seconds. Only where this does
not tell it all, and for the last day, rows are looked at one by one.
"""

import json
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from readout.clock import ms_of
from readout.review.figures.coverage import NO_ROW, NOT_RUNNING
from storage.archive import SealedFile
from storage.errors import ArchiveDamaged

if TYPE_CHECKING:
    import pyarrow as pa
    import pyarrow.parquet as pq

Whole = NDArray[np.int64]
Span = tuple[int, int]  # ms since 1970 UTC, the end not part of it

#: Statuses with which a row may have a value of the flow and its own cause for none.
_OK, _PARTIAL = "ok", "partial"
_NOT_AVAILABLE = "not available"
#: A recorder's interval where a file does not tell it [ms].
_DEFAULT_MS = 1000


@dataclass(frozen=True, slots=True)
class Stretch:
    """What rows one behind the other come to: [`first_ms`, `end_ms`) in ms since 1970 UTC.

    `measured_ms` has a value of the flow, `missing_ms` none, by cause; `holes` have no row. `statuses` counts
    rows by their status.
    """

    first_ms: int
    end_ms: int
    measured_ms: int
    missing_ms: Mapping[str, int]
    statuses: Mapping[str, int]
    holes: Sequence[Span] = ()


@dataclass(frozen=True, slots=True)
class Rows:
    """Rows [n] of one interval [ms]: `due` and, when the reply was complete, `replied` [ms since 1970 UTC; 0:
    none came]; `there` tells whether the flow has a value.
    """

    interval_ms: int
    due: Whole
    replied: Whole
    status: "Words"
    clock: "Words"
    flag: "Words"
    there: NDArray[np.bool_]

    def between(self, since: int, until: int) -> "Rows":
        """Those that were due in [since, until)."""
        mine = (self.due >= since) & (self.due < until)
        return Rows(
            self.interval_ms, self.due[mine], self.replied[mine], self.status.at(mine), self.clock.at(mine),
            self.flag.at(mine), self.there[mine],
        )  # fmt: skip

    def stretch(self) -> Stretch | None:
        """What they come to; each lasts its interval, or until the next is due. None without any row."""
        if not len(self.due):
            return None
        order = np.argsort(self.due, kind="stable")
        due, there = self.due[order], self.there[order]
        lasts = np.minimum(np.diff(due, append=due[-1] + self.interval_ms), self.interval_ms)
        ends = due + lasts
        missing: Counter[str] = Counter()
        causes = self._causes(order[~there])
        for cause, ms in zip(causes, lasts[~there].tolist(), strict=True):
            missing[cause] += ms
        gaps = np.flatnonzero(due[1:] > ends[:-1])
        return Stretch(
            int(due[0]), int(ends[-1]), int(lasts[there].sum()), missing, self.status.counted(),
            list(zip(ends[gaps].tolist(), due[gaps + 1].tolist(), strict=True)),
        )  # fmt: skip

    def slowest_ms(self, since: int) -> int | None:
        """Longest time [ms] from due to the end of the reply since an instant; None without any reply."""
        answered = (self.due >= since) & (self.replied > 0)
        took = self.replied[answered] - self.due[answered]
        return int(took.max()) if len(took) else None

    def _causes(self, places: Whole) -> list[str]:
        """Why rows have no value: a flag where the meter answered, else how the round ended."""
        statuses, flags = self.status.texts(places), self.flag.texts(places)
        return [
            flag or _NOT_AVAILABLE
            if status in (None, _OK) or (status == _PARTIAL and flag is not None)
            else str(status)
            for status, flag in zip(statuses, flags, strict=True)
        ]


@dataclass(frozen=True, slots=True)
class Words:
    """A column of words: `codes` [n] are places in `words`, −1 for null."""

    codes: Whole
    words: Sequence[str]

    def at(self, rows: NDArray[Any]) -> "Words":
        """Some rows of it."""
        return Words(self.codes[rows], self.words)

    @property
    def last(self) -> str | None:
        """The last row's word."""
        return self.words[self.codes[-1]] if self.codes[-1] >= 0 else None

    def counted(self) -> Counter[str]:
        """Rows by word."""
        numbers = np.bincount(self.codes[self.codes >= 0], minlength=len(self.words)).tolist()
        found: Counter[str] = Counter()
        for word, number in zip(self.words, numbers, strict=True):
            if number:
                found[word] += number
        return found

    def texts(self, rows: NDArray[Any]) -> list[str | None]:
        """The words of some rows."""
        return [None if code < 0 else self.words[code] for code in self.codes[rows].tolist()]


def stretches_of(rows: Iterable[Rows]) -> list[Stretch]:
    """What each of some rows come to; nothing of none."""
    return [found for one in rows if (found := one.stretch()) is not None]


# ---- from columns


def rows_of(table: "pa.Table", flow: str | None, interval_ms: int) -> Rows:
    """The rows of a table with the columns of a sealed file; those without a time are in no period."""
    there = np.zeros(table.num_rows, np.bool_)
    if flow is not None and flow in table.column_names:
        there = _valid(_one(table, flow))
    timed = _valid(_one(table, "due"))
    status, clock, flag = (_words(table, name).at(timed) for name in ("status", "clock", f"{flow}_flag"))
    due, replied = (_moments(table, name)[timed] for name in ("due", "time"))
    return Rows(interval_ms, due, replied, status, clock, flag, there[timed])


def _moments(table: "pa.Table", name: str) -> Whole:
    """ms since 1970 UTC, 0 for null; from the buffer, for to_numpy would import pandas where it is there."""
    array = _one(table, name)
    if array is None or not len(array):
        return np.zeros(table.num_rows, np.int64)
    return np.where(_valid(array), _buffer(array, np.int64), 0)


def _buffer(array: Any, kind: type[np.integer[Any]]) -> NDArray[Any]:
    return np.frombuffer(memoryview(array.buffers()[1]), kind)[array.offset :][: len(array)]


def _words(table: "pa.Table", name: str) -> Words:
    import pyarrow as pa

    array = _one(table, name)
    if array is None:
        return Words(np.full(table.num_rows, -1, np.int64), ())
    coded = array if isinstance(array, pa.DictionaryArray) else array.dictionary_encode()
    if not len(coded):
        return Words(np.zeros(0, np.int64), ())
    indices = coded.indices
    held = _buffer(indices, np.int32)
    words = [str(word) for word in coded.dictionary.to_pylist()]
    return Words(np.where(_valid(indices), held, -1).astype(np.int64), words)


def _one(table: "pa.Table", name: str) -> Any:
    """The column in one piece; None where there is none."""
    if name not in table.column_names:
        return None
    column = table[name]
    if column.num_chunks == 1:
        return column.chunk(0)
    return column.unify_dictionaries().combine_chunks()


def _valid(array: Any) -> NDArray[np.bool_]:
    bits = array.buffers()[0]
    if bits is None or not array.null_count:
        return np.ones(len(array), np.bool_)
    told = np.unpackbits(np.frombuffer(memoryview(bits), np.uint8), bitorder="little")
    return told[array.offset :][: len(array)].astype(np.bool_)


# ---- from files


@dataclass(frozen=True, slots=True)
class Look:
    """How files of a point are looked at: the folder of the archive, and the flow's column."""

    root: Path
    flow: str | None

    def stretches(self, files: Iterable[SealedFile]) -> list[Stretch]:
        """What each file comes to; one by one: a footer takes less than handing it to a thread."""
        return [one for file in files for one in self._stretches(file)]

    def _stretches(self, file: SealedFile) -> list[Stretch]:
        """From its footer and its status column, or from its rows where these do not tell it all."""
        with self._opened(file) as opened:
            runs = intervals_of(opened)
            quick = self._quick(file, opened, runs[0][1]) if len(runs) == 1 else None
            return [quick] if quick is not None else stretches_of(self._rows(opened, runs))

    def rows(self, file: SealedFile) -> list[Rows]:
        """Its rows, those of one interval together."""
        with self._opened(file) as opened:
            return self._rows(opened, intervals_of(opened))

    def _opened(self, file: SealedFile) -> "_Opened":
        return _Opened(self.root / file.file, ("status", "clock", f"{self.flow}_flag"))

    def _rows(self, opened: "pq.ParquetFile", runs: Sequence[tuple[int, int]]) -> list[Rows]:
        wanted = {"due", "time", "status", "clock", self.flow, f"{self.flow}_flag"}
        names = [name for name in opened.schema_arrow.names if name in wanted]
        table, first, found = opened.read(columns=names, use_threads=False), 0, []
        for count, interval_ms in runs:
            found.append(rows_of(table.slice(first, count), self.flow, interval_ms))
            first += count
        return found

    def _quick(self, file: SealedFile, opened: "pq.ParquetFile", interval_ms: int) -> Stretch | None:
        """None where gaps, flags or partial rounds have to be looked for in the rows.

        A round that ended otherwise than ok or partial has no word of the flow; so where these are as many as
        the rows without a value, they are the same.
        """
        if file.first is None or file.last is None:
            return None
        first, last = ms_of(file.first), ms_of(file.last)
        told = _told(opened, ("status", self.flow))
        without = _nulls(told[self.flow])
        if without is None or last - first != (file.rows - 1) * interval_ms:
            return None
        word = _only_word(told["status"])
        statuses: Mapping[str, int] = (
            _words(opened.read(columns=["status"], use_threads=False), "status").counted()
            if word is None
            else {word: file.rows}
        )
        failed = {word: number for word, number in statuses.items() if word != _OK}
        if sum(failed.values()) != without or _PARTIAL in failed:
            return None
        missing = {word: number * interval_ms for word, number in failed.items()}
        measured = (file.rows - without) * interval_ms
        return Stretch(first, last + interval_ms, measured, missing, statuses)


class _Opened:
    """A file open for a while; its columns of words stay numbers. ArchiveDamaged where it cannot be read."""

    def __init__(self, path: Path, words: Sequence[str]) -> None:
        self._path, self._words = path, list(words)

    def __enter__(self) -> "pq.ParquetFile":
        import pyarrow.parquet as pq

        try:
            self._file = pq.ParquetFile(self._path, read_dictionary=self._words, pre_buffer=False)
        except BaseException as error:
            self._told(error)
            raise
        return self._file

    def __exit__(self, _kind: object, error: BaseException | None, _trace: object) -> None:
        self._file.close()
        self._told(error)

    def _told(self, error: BaseException | None) -> None:
        import pyarrow as pa

        if isinstance(error, FileNotFoundError):
            return
        if isinstance(error, pa.ArrowException | OSError):
            raise ArchiveDamaged(
                self._path, f"{self._path} cannot be read ({error}): verify the archive."
            ) from error


def intervals_of(opened: "pq.ParquetFile") -> list[tuple[int, int]]:
    """Runs of rows, as many and the interval between two rounds [ms], by the plans in the file's metadata.

    One run as a rule; a day's joined file may have several, where a recorder was started with another one.
    """
    metadata, count = opened.metadata.metadata or {}, opened.metadata.num_rows
    whole = _interval_ms(json.loads(metadata.get(b"pipeledger.plan", b"{}")))
    parts = json.loads(metadata.get(b"pipeledger.parts", b"[]"))
    runs = [
        (part["rows"]["count"], _interval_ms(part["plan"]) if "plan" in part else whole) for part in parts
    ]
    if len({interval_ms for _, interval_ms in runs}) > 1 and sum(rows for rows, _ in runs) == count:
        return runs
    return [(count, whole)]


def _interval_ms(plan: Mapping[str, Any]) -> int:
    return int(plan.get("every_ms") or _DEFAULT_MS)


def _told(opened: "pq.ParquetFile", names: Iterable[str | None]) -> dict[str | None, list[Any]]:
    """What the footer tells of columns: the statistics of each piece of one, None for a piece without."""
    found: dict[str | None, list[Any]] = {name: [] for name in names}
    meta = opened.metadata
    for number in range(meta.num_row_groups):
        group = meta.row_group(number)
        for chunk in (group.column(place) for place in range(group.num_columns)):
            if (name := chunk.path_in_schema) in found:
                found[name].append(chunk.statistics)
    return found


def _nulls(told: Sequence[Any]) -> int | None:
    """Rows without a value in a column; None where the footer does not count them."""
    counts = [piece.null_count for piece in told if piece is not None and piece.null_count is not None]
    return sum(counts) if told and len(counts) == len(told) else None


def _only_word(told: Sequence[Any]) -> str | None:
    """The word that every row of a column has; None where the footer does not tell of just one."""
    ends = {
        end for piece in told for end in ((piece.min, piece.max) if piece and piece.has_min_max else (None,))
    }
    return ends.pop() if len(ends) == 1 and _nulls(told) == 0 else None


# ---- all together


@dataclass
class Account:
    """Stretches added up over [since, until) [ms since 1970 UTC], gaps between them named."""

    since: int
    until: int
    measured_ms: int = 0
    missing_ms: Counter[str] = field(default_factory=Counter)
    statuses: Counter[str] = field(default_factory=Counter)

    @property
    def share(self) -> float:
        """Measured share of the time, 0 to 1."""
        elapsed = self.until - self.since
        return min(1.0, self.measured_ms / elapsed) if elapsed > 0 else 0.0

    def rounds(self, interval_ms: int) -> dict[str, int]:
        """What is missing, by cause, as rounds of that interval."""
        return {cause: round(ms / interval_ms) for cause, ms in self.missing_ms.items()}


def added_up(stretches: Iterable[Stretch], ran: Sequence[Span], since: int, until: int) -> Account:
    """What stretches come to in a period; where there is no row, `ran` tells whether a recorder was there."""
    account, edge = Account(since, until), since
    for one in sorted(stretches, key=lambda stretch: stretch.first_ms):
        account.measured_ms += one.measured_ms
        account.missing_ms.update(one.missing_ms)
        account.statuses.update(one.statuses)
        for hole in ((edge, one.first_ms), *one.holes):
            _add_hole(account, hole, ran)
        edge = max(edge, one.end_ms)
    _add_hole(account, (edge, until), ran)
    return account


def _add_hole(account: Account, hole: Span, ran: Sequence[Span]) -> None:
    first, last = hole
    if last > first:
        within = any(began <= first and last <= ended for began, ended in ran)
        account.missing_ms[NO_ROW if within else NOT_RUNNING] += last - first
