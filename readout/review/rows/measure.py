"""Rows of any length of archive, reduced by DuckDB to clock minutes: the base of every figure.

A row stands for one interval. A sample's begins with it; that of a mean, minimum, maximum or total begins or
ends with its time, as the map says. It is as long as the recording's interval and never longer, so nothing is
filled over a gap. Where two rows tell of the same moment (a clock that was put back), their mean counts.
"""

from collections.abc import Callable, Iterator, Sequence
from errno import ENOENT
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from readout.review.about.installation import MEMORY
from readout.review.asking import asking
from readout.review.rows.curves import Curve, curve_of
from readout.review.rows.holes import (
    LACKING,
    NO_EDGES,
    Counter,
    Hole,
    beside_holes,
    counter,
    holes_within,
    lacking,
)
from readout.review.rows.measured import Lost, Measured
from readout.review.rows.minutes import MINUTE_MS, Minutes, Values, joined, spread
from readout.review.rows.streams import Part, Piece, files_sql, installations, parts_of
from storage.archive import ArchiveReader, Held
from storage.errors import ArchiveDamaged

Progress = Callable[[float, str], None]

#: What the database may take for itself.
_MEMORY = "256MB"
#: Files that are asked at once: about a month of them, so that progress can be told in between.
_FILES = 30


def measure(
    root: Path,
    point: str,
    source: str,
    *,
    since: int | None = None,
    until: int | None = None,
    shares: Sequence[float] = (0.01, 0.05, 0.1, 0.25, 0.5, 0.75, 0.9, 0.95, 0.99),
    progress: Progress = lambda _share, _word: None,
) -> Measured | None:
    """Everything the figures need; None where the point has no rows in the span.

    `since` (included) and `until` (excluded) are ms since 1970 UTC. Rows still in the journal count.
    `progress` is told the share that is done, 0 to 1, and what is worked on.
    Raises ArchiveAbsent, ArchiveDamaged.
    """

    def answer(held: Held) -> Measured | None:
        parts = parts_of(root, held, point, source, since, until)
        return None if not parts else _Session(root, parts, since, until, shares, progress).measured()

    return ArchiveReader(root).ask(point, source, answer, waiting=True)


class _Session:
    """One database session over the parts held at one instant."""

    def __init__(
        self, root: Path, parts: Sequence[Part], since: int | None, until: int | None,
        shares: Sequence[float], progress: Progress,
    ) -> None:  # fmt: skip
        self._root, self._parts, self._shares, self._progress = root, parts, shares, progress
        self._since, self._until = since, until
        self._latest = installations(parts)[-1][1]
        known = {name for part in parts for name in part.form.columns}
        self._known = known
        self._names = [name for name in self._latest.readings if name in known]
        flow = self._latest.flow
        self._primary = flow.name if flow and flow.name in self._names else next(iter(self._names), None)

    def measured(self) -> Measured | None:
        import duckdb

        with asking(memory_limit=_MEMORY, threads=2) as session:
            self._sql = session
            try:
                return self._measured()
            except duckdb.Error as error:
                for path in (piece.path for part in self._parts for piece in part.pieces):
                    if not Path(path).exists():
                        raise FileNotFoundError(ENOENT, "replaced meanwhile, or missing", path) from error
                text = f"{self._root}: a file cannot be read ({error}): verify the archive."
                raise ArchiveDamaged(self._root, text) from error

    def _measured(self) -> Measured | None:
        for number, part in enumerate(self._parts):
            if part.table is not None:
                self._sql.register(f"waiting_{number}", part.table)
        minutes = joined(list(self._tables()), self._names)
        if not len(minutes.begin) or not self._names:
            return None
        last = self._parts[-1].form
        self._progress(0.5, "gaps")
        untimed = self._all(f"SELECT count(*) FROM ({self._everything('true', null=True)})")[0][0]
        return Measured(
            installations=installations(self._parts),
            minutes=minutes,
            holes=self._holes(minutes),
            lost=self._lost(),
            curves=self._curves(minutes),
            counts=self._counts(),
            counter=self._counter(),
            interval_ms=last.interval_ms,
            holds=last.holds,
            marked_at=last.marked_at,
            untimed=int(untimed),
            units=self._told_units(),
        )

    # ---- rows as SQL

    def _rows(self, number: int, *, null: bool = False, pieces: Sequence[Piece] | None = None) -> str:
        """The part's rows: begin [ms], span [ms], status, clock, flags, readings; absent columns null.

        `pieces` are some of its own; without them all.
        """
        part = self._parts[number]
        form = part.form
        source = f"waiting_{number}" if part.table is not None else files_sql(pieces or part.pieces)
        moment = f"epoch_ms({form.moment})"
        span = form.span_sql()
        shift = span if form.ends else "0"
        columns = [f"{moment} - {shift} AS begin", f"{span}::BIGINT AS span"]
        for name in ("status", "clock", *self._names, *self._words()):
            columns.append(f"{_quoted(name) if name in form.columns else 'NULL'} AS {_quoted(name)}")
        rows = f"SELECT {', '.join(columns)} FROM {source}"
        if null:
            return f"{rows} WHERE {form.moment} IS NULL"
        within = ["begin IS NOT NULL"]
        within += [f"begin >= {self._since}"] if self._since is not None else []
        within += [f"begin < {self._until}"] if self._until is not None else []
        return f"SELECT * FROM ({rows}) WHERE {' AND '.join(within)}"

    def _words(self) -> list[str]:
        """Columns of words that are counted: flags, and units that meters tell."""
        return sorted(name for name in self._known if name.endswith(("_flag", "_unit")))

    def _everything(self, condition: str, *, null: bool = False) -> str:
        parts = [
            f"SELECT * FROM ({self._rows(n, null=null)}) WHERE {condition}" for n in range(len(self._parts))
        ]
        return " UNION ALL ".join(parts)

    def _all(self, query: str) -> list[tuple[Any, ...]]:
        return list(self._sql.sql(query).fetchall())

    def _table(self, query: str) -> dict[str, NDArray[Any]]:
        """Columns as arrays; nulls are NaN, or 0 in whole numbers, which have none here."""
        import numpy.ma as ma

        found = self._sql.sql(query).fetchnumpy()
        return {
            name: ma.filled(column.astype(np.float64), np.nan) if ma.isMaskedArray(column) else column
            for name, column in found.items()
        }

    # ---- minutes

    def _tables(self) -> Iterator[Minutes]:
        """The minutes of every part, some files at a time: half of the work, as far as anybody can see."""
        total, done = sum(max(1, len(part.pieces)) for part in self._parts), 0
        for number, part in enumerate(self._parts):
            if part.form.interval_ms > MINUTE_MS:
                yield self._slow(number)
                done += max(1, len(part.pieces))
                continue
            for first in range(0, max(1, len(part.pieces)), _FILES):
                self._progress(0.5 * (done + first) / total, f"minutes, {done + first} of {total} files")
                yield self._quick(number, part.pieces[first : first + _FILES])
            done += max(1, len(part.pieces))

    def _quick(self, number: int, some: Sequence[Piece]) -> Minutes:
        """Rows with intervals of up to a minute: grouped by the database, cut where a minute ends."""
        form, minute = self._parts[number].form, f"(begin // {MINUTE_MS} * {MINUTE_MS})"
        end = f"({minute} + {MINUTE_MS})"
        pieces = (
            f"SELECT *, {minute} AS minute, begin AS start, least(span, {end} - begin) AS piece FROM rows"
        )
        if not form.on_minutes:
            pieces += (
                f" UNION ALL SELECT *, {end} AS minute, {end} AS start, begin + span - {end} AS piece"
                f" FROM rows WHERE begin + span > {end}"
            )
        told = ["min(start) AS first", "max(start + piece) AS last", "sum(piece)::DOUBLE AS covered"]
        for index, name in enumerate(self._names):
            value = f"{_quoted(name)}::DOUBLE"
            amount = f"{value} * piece / span" if form.holds == "total" else f"{value} * piece / 1000"
            told += [
                f"coalesce(sum(piece) FILTER ({value} IS NOT NULL), 0)::DOUBLE / 1000 AS s{index}",
                f"coalesce(sum({amount}), 0)::DOUBLE AS i{index}",
                f"min({value}) AS l{index}",
                f"max({value}) AS h{index}",
            ]
        found = self._table(
            f"WITH rows AS ({self._rows(number, pieces=some)}), pieces AS ({pieces})"
            f" SELECT minute, {', '.join(told)} FROM pieces GROUP BY minute ORDER BY minute"
        )
        values = {
            name: Values(found[f"s{i}"], found[f"i{i}"], found[f"l{i}"], found[f"h{i}"])
            for i, name in enumerate(self._names)
        }
        whole = [found[name].astype(np.int64) for name in ("minute", "first", "last")]
        return Minutes(whole[0], whole[1], whole[2], found["covered"] / 1000, values)

    def _slow(self, number: int) -> Minutes:
        """Rows further apart than a minute: taken as they are, and spread over the minutes they cover."""
        columns = ", ".join(f"{_quoted(name)}::DOUBLE AS {_quoted(name)}" for name in self._names)
        found = self._table(f"SELECT begin, span, {columns} FROM ({self._rows(number)}) ORDER BY begin")
        values = {name: found[name].astype(np.float64) for name in self._names}
        return spread(
            found["begin"].astype(np.int64),
            found["span"].astype(np.int64),
            values,
            self._parts[number].form.holds,
        )

    # ---- the rest

    def _lost(self) -> list[Lost]:
        """Rows without a value of the flow, runs of the same cause joined."""
        if self._primary is None:
            return []
        name, flag = self._primary, f"{self._primary}_flag"
        flagged = _quoted(flag) if flag in self._known else "NULL"
        cause = (
            f"CASE WHEN status IS NULL OR status = 'ok' OR (status = 'partial' AND {flagged} IS NOT NULL)"
            f" THEN coalesce({flagged}, 'not available') ELSE status END"
        )
        found = self._all(
            f"SELECT begin // {MINUTE_MS} AS minute, {cause} AS cause, min(begin), max(begin + span),"
            f" sum(span)::DOUBLE / 1000 FROM ({self._everything(f'{_quoted(name)} IS NULL')})"
            " GROUP BY minute, cause ORDER BY 3, 2"
        )
        joined_: list[Lost] = []
        for _, word, first, last, seconds in found:
            before = joined_[-1] if joined_ else None
            if before and before.cause == word and first <= before.last_ms:
                joined_[-1] = Lost(
                    before.first_ms, max(last, before.last_ms), before.missing_s + seconds, word
                )
            else:
                joined_.append(Lost(int(first), int(last), float(seconds), str(word)))
        return joined_

    def _curves(self, minutes: Minutes) -> dict[str, Curve]:
        names = [name for name in self._names if not self._is_total(name)]
        found = {}
        for place, name in enumerate(names):
            self._progress(0.55 + 0.35 * place / len(names), f"distribution of {name}")
            rows = self._everything(f"{_quoted(name)} IS NOT NULL")
            value = f"{_quoted(name)}::DOUBLE"
            found[name] = curve_of(self._table, rows, value, minutes.values[name], self._shares)
        self._progress(0.9, "counts")
        return found

    def _counts(self) -> dict[str, dict[str, int]]:
        names = ["status", "clock"] if self._latest.source != MEMORY else []
        names += [name for name in self._words() if name.endswith("_flag")]
        counted: dict[str, dict[str, int]] = {}
        for name in names:
            found = self._all(
                f"SELECT {_quoted(name)}, count(*) FROM ({self._everything(f'{_quoted(name)} IS NOT NULL')})"
                " GROUP BY 1 ORDER BY 1"
            )
            counted[name] = {str(word): int(number) for word, number in found}
        return counted

    def _told_units(self) -> dict[str, list[str]]:
        told = {}
        for name in self._words():
            if name.endswith("_unit"):
                rows = self._everything(f"{_quoted(name)} IS NOT NULL")
                found = self._all(f"SELECT DISTINCT {_quoted(name)} FROM ({rows}) ORDER BY 1")
                told[name.removesuffix("_unit")] = [str(word) for (word,) in found]
        return told

    def _is_total(self, name: str) -> bool:
        return self._latest.readings[name].totaliser

    def _holes(self, minutes: Minutes) -> list[Hole]:
        which = lacking(minutes)
        if not len(which):
            return []
        self._look_into(minutes.begin[which] // MINUTE_MS)
        return holes_within(minutes, which, self._table, self._everything("true"))

    def _look_into(self, minutes: NDArray[Any]) -> None:
        """Make these minutes [number of minutes since 1970 UTC] the ones that are looked into."""
        import pyarrow as pa

        self._sql.register(LACKING, pa.table({"minute": pa.array(minutes)}))

    def _counter(self) -> Counter:
        """First and last row of the totaliser in each minute, and those beside a hole within it."""
        total = self._latest.totaliser
        if total is None or total.name not in self._names:
            return Counter(np.zeros(0, np.int64), np.zeros(0), np.zeros(0, np.bool_))
        value, rows = f"{_quoted(total.name)}::DOUBLE", self._everything(f"{_quoted(total.name)} IS NOT NULL")
        found = self._table(
            f"SELECT min(begin) AS a, max(begin) AS b, arg_min({value}, begin) AS x,"
            f" arg_max({value}, begin) AS y, arg_max(span, begin) AS span, sum(span)::DOUBLE AS covered"
            f" FROM ({rows}) GROUP BY begin // {MINUTE_MS} ORDER BY 1"
        )
        lacks = found["b"] - found["a"] + found["span"] - found["covered"] > 0.5 * found["span"]
        if not lacks.any():  # the rows need no second look
            return counter(found, NO_EDGES)
        self._look_into(found["a"][lacks] // MINUTE_MS)
        return counter(found, beside_holes(self._table, rows, value, 0.5))


def _quoted(name: str) -> str:
    return '"' + name.replace('"', '""') + '"'
