"""What is true of every row of a stretch and is kept with it: map, point, meter, line, plan of reads.

The journal keeps it as text beside the rows (`to_text`), each sealed file carries it as metadata, so that a
file alone is enough to understand its rows and to decode them again.
"""

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from protocols.modbus.tables import Table
from protocols.register_map.model import Column

#: Version of the metadata's meaning, written as `pipeledger.format`.
FORMAT = 1

#: How the journal's `cause` says that values read apart did not agree: after this word, names with blanks.
UNSTEADY = "unsteady:"


@dataclass(frozen=True, slots=True)
class Record:
    """One installation as it was while rows were measured.

    `columns` are the words of a row in their order. `meter` and `settings` are identity and settings as the
    meter told them, `line` the port and serial format, `plan` the reads as plain data, `point` the point
    file (texts and what was understood of them). `clock_offset` is meter minus computer in seconds, None
    where it was not measured.
    """

    name: str
    source: str
    columns: tuple[Column, ...]
    map_text: str
    map_sha256: str
    point: Mapping[str, Any]
    plan: Mapping[str, Any]
    meter: Mapping[str, Any]
    settings: Mapping[str, Any]
    line: Mapping[str, Any]
    version: str
    clock_offset: float | None = None

    def to_text(self) -> str:
        """As one line of JSON with sorted keys: equal records give equal text."""
        return _json(
            {
                "format": FORMAT,
                "name": self.name,
                "source": self.source,
                "columns": [[column.table, column.address, column.word] for column in self.columns],
                "map_text": self.map_text,
                "map_sha256": self.map_sha256,
                "point": self.point,
                "plan": self.plan,
                "meter": self.meter,
                "settings": self.settings,
                "line": self.line,
                "version": self.version,
                "clock_offset": self.clock_offset,
            }
        )

    @classmethod
    def from_text(cls, text: str) -> "Record":
        """The record that `to_text` wrote. KeyError or ValueError where it was written by something else."""
        found = json.loads(text)
        del found["format"]
        columns = tuple(
            Column(None if table is None else Table(table), address, word)
            for table, address, word in found.pop("columns")
        )
        return cls(columns=columns, **found)

    def metadata(self, rows: Mapping[str, Any]) -> dict[str, str]:
        """The file's metadata, each entry a JSON document; `rows` says which rows the file holds."""
        entries: dict[str, Any] = {
            "format": FORMAT,
            "point": {"name": self.name, "source": self.source, **self.point},
            "map": self.map_text,
            "map_sha256": self.map_sha256,
            "plan": self.plan,
            "meter": self.meter,
            "settings": self.settings,
            "clock_offset": self.clock_offset,
            "line": self.line,
            "version": self.version,
            "rows": rows,
        }
        return {f"pipeledger.{key}": _json(entry) for key, entry in entries.items()}


def pack(words: Sequence[int | None]) -> tuple[bytes, bytes]:
    """A row's words as the journal keeps them: uint16 low byte first, and a bitmap of those received."""
    present = bytearray((len(words) + 7) // 8)
    packed = bytearray()
    for index, word in enumerate(words):
        if word is not None:
            present[index // 8] |= 1 << index % 8
        packed += (word or 0).to_bytes(2, "little")
    return bytes(packed), bytes(present)


def _json(entry: object) -> str:
    return json.dumps(entry, ensure_ascii=False, sort_keys=True, allow_nan=False)
