"""Whether a point's kept rows were decoded by another map than the one at hand, and what differs.

Rows of two scales under one name are the worst an archive can hold: each of them looks right.
"""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

from protocols.register_map.model import Number, Order, RegisterMap, Value
from readout.errors import WrongUse
from readout.sealing.redecode import map_sha256, map_text
from readout.sealing.table import map_of
from storage.archive import ArchiveReader, is_archive
from storage.archive.parquet import read_metadata
from storage.errors import ArchiveDamaged
from storage.ledger import LEDGER, Kind, Line, lines_of

LIVE = "live"


@dataclass(frozen=True, slots=True)
class Otherwise:
    """One reading that two maps decode otherwise: which key of theirs, as `before` and as `now` have it.

    Both are None for a key that is too long to be told.
    """

    name: str
    key: str
    before: str | None = None
    now: str | None = None

    def __str__(self) -> str:
        """For a sentence: `pressure has scale 0.01 there and 0.001 here`."""
        if self.before is None:
            return f"{self.name} has another {self.key}"
        return f"{self.name} has {self.key} {self.before} there and {self.now} here"


@dataclass(frozen=True, slots=True)
class Another:
    """The map by which rows were decoded, other than the one at hand.

    `redecoded`: when they were decoded again by it [ISO 8601 UTC]; None where it is that of the run before.
    `otherwise` is empty where no file with that map can be read any more.
    """

    redecoded: str | None
    otherwise: tuple[Otherwise, ...]


def by_another_map(root: Path, source: str, at_hand: Mapping[str, RegisterMap]) -> dict[str, Another]:
    """By point, the map of the last redecoding, else of the run before, where it decodes otherwise than the
    one `at_hand`.

    Looks at the ledger, once, and only where another map stands there into files. None in an archive without
    rows.
    """
    if not is_archive(root):
        return {}
    lines = list(lines_of(root / LEDGER, Kind.STARTED, Kind.REDECODED))
    found = {point: _another(root, lines, point, source, by) for point, by in at_hand.items()}
    return {point: another for point, another in found.items() if another is not None}


def _another(
    root: Path, lines: Iterable[Line], point: str, source: str, at_hand: RegisterMap
) -> Another | None:
    mine = [line for line in lines if _sha256(line, point, source) is not None]
    last = next((line for line in reversed(mine) if line.kind == Kind.REDECODED), mine[-1] if mine else None)
    if last is None or _sha256(last, point, source) == at_hand.sha256:
        return None
    redecoded = last.time if last.kind == Kind.REDECODED else None
    before = _map_kept(root, point, source, str(_sha256(last, point, source)))
    if before is None:
        return None if redecoded is None else Another(redecoded, ())
    found = tuple(decoded_otherwise(values_of(before, source), values_of(at_hand, source)))
    return Another(redecoded, found) if found else None


def decoded_otherwise(before: Iterable[Value], now: Iterable[Value]) -> Iterator[Otherwise]:
    """What values of one name say otherwise in two maps, as far as it changes what a row holds."""
    old = {value.name: value for value in before}
    for value in now:
        if value.name in old and (first := next(_keys(old[value.name], value), None)) is not None:
            yield Otherwise(value.name, *first)


def values_of(found: RegisterMap, source: str) -> tuple[Value, ...]:
    """What a map says of the rows of a source: readings, or the fields of a log record."""
    if source == LIVE:
        return found.readings
    return () if found.log_memory is None else found.log_memory.record.fields


def _keys(old: Value, new: Value) -> Iterator[tuple[str, ...]]:
    yield from _number(old.number, new.number)
    if old.unit != new.unit:
        yield "unit", str(old.unit), str(new.unit)
    if old.gauge != new.gauge:
        yield "gauge", str(old.gauge).lower(), str(new.gauge).lower()
    for key in ("plus", "times_ten_to", "told_unit", "codes", "bits", "not_available", "layout", "coding"):
        if getattr(old, key) != getattr(new, key):
            yield (key,)


def _number(old: Number, new: Number) -> Iterator[tuple[str, ...]]:
    if (old.table, old.address) != (new.table, new.address):
        yield "register", _register(old), _register(new)
    for key, one, other in (
        ("type", old.kind.value, new.kind.value),
        ("word_order", _order(old.word_order), _order(new.word_order)),
        ("byte_order", _order(old.byte_order), _order(new.byte_order)),
        ("scale", f"{old.scale:f}", f"{new.scale:f}"),
        ("offset", f"{old.offset:f}", f"{new.offset:f}"),
    ):
        if one != other:
            yield key, one, other


def _order(order: Order) -> str:
    return order.value


def _register(number: Number) -> str:
    return str(number.address) if number.table is None else f"{number.table} {number.address}"


def _sha256(line: Line, point: str, source: str) -> str | None:
    """The map by which this line's rows of the point are decoded; None where it tells of none."""
    told = line.content
    if line.kind == Kind.REDECODED and (told.get("point"), told.get("source")) == (point, source):
        return None if told.get("map_sha256") is None else str(told["map_sha256"])
    if line.kind == Kind.STARTED and source == LIVE:
        found = told.get("points", {}).get(point, {}).get("map_sha256")
        return None if found is None else str(found)
    return None


def _map_kept(root: Path, point: str, source: str, sha256: str) -> RegisterMap | None:
    """The map of that SHA-256 from the newest file that has it; None where no readable one has."""
    for file in reversed(ArchiveReader(root).inventory().of(point, source)):
        try:
            metadata = read_metadata(root / file.file)
            if map_sha256(metadata) == sha256:
                return map_of(map_text(metadata))
        except (ArchiveDamaged, WrongUse, ValueError):
            continue
    return None
