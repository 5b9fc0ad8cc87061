"""A column keeps its type for the life of a point and source.

The ledger tells a file's columns where their set is new for that point and source, so that the question
"may I add these?" needs no Parquet file, and no pyarrow: types are their names as pyarrow prints them
(`int64`, `float`, `double`, `timestamp[ms, tz=UTC]`).
"""

import hashlib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import pyarrow as pa


@dataclass(frozen=True)
class Clash:
    """A column that is kept with one type and would now get another."""

    name: str
    kept: str
    wanted: str

    def __str__(self) -> str:
        return f"{self.name} (kept as {self.kept}, now {self.wanted})"


def column_types(schema: "pa.Schema") -> dict[str, str]:
    """Name → type of an Arrow schema, in its order."""
    return {field.name: str(field.type) for field in schema}


def digest(columns: Mapping[str, str]) -> str:
    """What tells one set of columns from another: 16 hexadecimal digits over sorted `name type` lines."""
    text = "".join(f"{name} {kind}\n" for name, kind in sorted(columns.items()))
    return hashlib.sha256(text.encode()).hexdigest()[:16]


def clashes(kept: Iterable[Mapping[str, str]], wanted: Mapping[str, str]) -> list[Clash]:
    """Columns whose type would change; new ones and absent ones are no clash."""
    known: dict[str, str] = {}
    for columns in kept:
        known.update(columns)
    return [Clash(name, known[name], kind) for name, kind in wanted.items() if known.get(name, kind) != kind]
