"""What is held of a point, in parts whose rows are read alike, and what was true of them from when on."""

import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby
from pathlib import Path
from typing import TYPE_CHECKING, Any

from readout.clock import ms_of
from readout.review.about.installation import LIVE, Installation, from_file, from_record, runs_in
from readout.sealing.record import Record
from storage.archive import ArchiveReader, Held, SealedFile
from storage.errors import ArchiveDamaged

if TYPE_CHECKING:
    import pyarrow as pa

_MINUTE = 60_000


@dataclass(frozen=True, slots=True)
class Form:
    """How rows are read.

    `sessions` gives the interval [ms] of each session of a meter's memory; `interval_ms` is the common one.
    """

    columns: frozenset[str]
    moment: str  # due | time
    interval_ms: int
    sessions: tuple[tuple[int, int], ...]
    holds: str
    marked_at: str

    @property
    def ends(self) -> bool:
        """Whether a row's time is the end of its interval; a sample's is its own moment."""
        return self.marked_at == "end" and self.holds != "sample"

    @property
    def on_minutes(self) -> bool:
        """Whether no interval reaches over the end of a minute: rounds come at multiples of theirs."""
        return self.moment == "due" and _MINUTE % self.interval_ms == 0

    def span_sql(self) -> str:
        """A row's interval [ms], as an expression."""
        if len({ms for _, ms in self.sessions}) < 2:
            return str(self.interval_ms)
        cases = " ".join(f"WHEN {number} THEN {ms}" for number, ms in self.sessions)
        return f"CASE session {cases} ELSE {self.interval_ms} END"


@dataclass(frozen=True, slots=True)
class Piece:
    """A file, or the rows from one sequence number to another in a file that was joined from several."""

    path: str
    sequences: tuple[int, int] | None = None


@dataclass(frozen=True, slots=True)
class Installed:
    """What was true of the rows from a moment to another [ms since 1970 UTC]."""

    first_ms: int
    last_ms: int
    about: Installation


@dataclass(frozen=True)
class Part:
    """Rows of one form in some files, or in the journal: `table` then, else `pieces`.

    `installed` is by its first moment; what held only outside the span asked for is not in it.
    """

    form: Form
    pieces: tuple[Piece, ...]
    table: "pa.Table | None"
    installed: tuple[Installed, ...]


def parts_of(
    root: Path, held: Held, point: str, source: str, since: int | None, until: int | None
) -> list[Part]:
    """The parts that may hold rows of the span [ms since 1970 UTC); the one with the latest rows last."""
    grouped: dict[Form, tuple[list[Piece], list[Installed]]] = {}
    for file in held.files:
        # An interval that ends in the span may have begun before it, and the other way round.
        if file.rows and file.first is not None and file.may_hold(_less(since), _more(until)):
            for form, piece, installed in _sealed(root, file, point, source):
                pieces, all_ = grouped.setdefault(form, ([], []))
                pieces.append(piece)
                all_ += installed
    parts = [Part(form, tuple(pieces), None, tuple(all_)) for form, (pieces, all_) in grouped.items()]
    parts += [_waiting(plan, rows) for plan, rows in held.waiting]
    within = [Part(part.form, part.pieces, part.table, _within(part, since, until)) for part in parts]
    if any(part.installed for part in within):
        parts = within
    return sorted(parts, key=lambda part: max((one.first_ms for one in part.installed), default=-1))


def installations(parts: Sequence[Part]) -> list[tuple[int, Installation]]:
    """(valid from [ms since 1970 UTC], what was true), ascending; the same twice in a row is there once.

    What was put back after a change is there again, from when it was put back.
    """
    found: list[tuple[int, Installation]] = []
    for one in sorted((one for part in parts for one in part.installed), key=lambda one: one.first_ms):
        if not found or _key(found[-1][1]) != _key(one.about):
            found.append((one.first_ms, one.about))
    return found


def _less(since: int | None) -> int | None:
    return None if since is None else since - 86_400_000


def _more(until: int | None) -> int | None:
    return None if until is None else until + 86_400_000


def _within(part: Part, since: int | None, until: int | None) -> tuple[Installed, ...]:
    """What held in the span; of records marked at their end, also what an interval reaches into it from."""
    reach = part.form.interval_ms if part.form.ends else 0
    found = [
        one
        for one in part.installed
        if (since is None or one.last_ms >= since) and (until is None or one.first_ms - reach < until)
    ]
    return tuple(sorted(found, key=lambda one: one.first_ms))


def _key(about: Installation) -> str:
    """Two with the same tell the same; a meter's clock is another in each file."""
    settings = {name: value for name, value in about.settings.items() if name != "clock"}
    told = (about.map_sha256, about.serial_number, about.site, about.zone.key, about.role, settings,
            dict(about.units))  # fmt: skip
    said = (about.measuring_point, about.calendar, about.energy)
    return json.dumps(told, sort_keys=True, default=str) + repr(said)


def _sealed(
    root: Path, file: SealedFile, point: str, source: str
) -> Iterator[tuple[Form, Piece, list[Installed]]]:
    """The rows of a file: as one, or run by run where runs that were joined are to be read differently."""
    import pyarrow as pa

    path = root / file.file
    try:
        columns, runs = runs_in(path, point, source)
    except FileNotFoundError:
        raise
    except (pa.ArrowException, OSError) as error:
        raise ArchiveDamaged(path, f"{path} cannot be read ({error}): verify the archive.") from error
    if not runs:
        raise ArchiveDamaged(path, f"{path} tells no register map: verify the archive.")
    read = [(_form(columns, source, told), told["rows"], about) for told, about in runs]
    for form, group in groupby(read, key=lambda one: one[0]):
        mine = list(group)
        installed = [Installed(*_moments(rows, file), about) for _, rows, about in mine]
        whole = len(mine) == len(read)
        sequences = None if whole else (mine[0][1]["first_sequence"], mine[-1][1]["last_sequence"])
        yield form, Piece(str(path), sequences), installed


def _moments(rows: Mapping[str, Any], file: SealedFile) -> tuple[int, int]:
    """First and last moment of a run [ms since 1970 UTC]; the file's where its rows have none."""
    ends = [rows.get(f"{end}_due") or rows.get(f"{end}_time") for end in ("first", "last")]
    first, last = (_ms(own or of_file) for own, of_file in zip(ends, (file.first, file.last), strict=True))
    return min(first, last), max(first, last)


def _ms(text: str | None) -> int:
    assert text is not None  # a file without a moment is in no part
    return ms_of(text)


def _form(columns: frozenset[str], source: str, told: Mapping[str, Any]) -> Form:
    if source == LIVE:
        return _live(columns, told.get("plan") or {})
    memory = told.get("memory") or {}
    sessions = {
        int(number): int(session["interval_ms"])
        for number, session in memory.get("sessions", {}).items()
        if session.get("interval_ms")
    }
    common = max(sessions.values(), default=1000)
    holds, marked = memory.get("holds") or "sample", memory.get("marked_at") or "start"
    return Form(columns, "time", common, tuple(sorted(sessions.items())), holds, marked)


def _live(columns: frozenset[str], plan: Mapping[str, Any]) -> Form:
    return Form(columns, "due", int(plan.get("every_ms") or 1000), (), "sample", "start")


def _waiting(plan: str, rows: Sequence[Any]) -> Part:
    from readout.sealing.table import table_of

    record = Record.from_text(plan)
    table = table_of(record, rows)
    form = _live(frozenset(table.column_names), record.plan)
    return Part(form, (), table, (Installed(rows[0].due, rows[-1].due, from_record(record)),))


def files_sql(pieces: Sequence[Piece]) -> str:
    """The rows of some pieces of one part, as an expression; all of a part have the same columns."""
    whole = [_quoted_text(piece.path) for piece in pieces if piece.sequences is None]
    rows = [f"SELECT * FROM read_parquet([{', '.join(whole)}], hive_partitioning=false)"] if whole else []
    rows += [
        f"SELECT * FROM read_parquet({_quoted_text(piece.path)}, hive_partitioning=false)"
        f" WHERE sequence BETWEEN {piece.sequences[0]} AND {piece.sequences[1]}"
        for piece in pieces
        if piece.sequences is not None
    ]
    return f"({' UNION ALL BY NAME '.join(rows)})"


def _quoted_text(text: str) -> str:
    return "'" + text.replace("'", "''") + "'"


def installation_of(root: Path, point: str, source: str) -> Installation | None:
    """What is known of a point by its latest rows; None where it has none."""

    def answer(held: Held) -> Installation | None:
        if held.waiting:
            return from_record(Record.from_text(held.waiting[-1][0]))
        return from_file(root / held.files[-1].file, point, source) if held.files else None

    return ArchiveReader(root).ask(point, source, answer, waiting=True)
