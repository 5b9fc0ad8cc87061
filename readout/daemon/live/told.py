"""A kept row as it is told: its values decoded from the words and the map that the journal holds."""

from collections.abc import Callable, Mapping
from contextlib import closing
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

from protocols.register_map.model import Column, RegisterMap
from readout.bus.outcome import Status
from readout.clock import iso
from readout.poll.readings import conditions_in, readings_in
from readout.sealing.record import UNSTEADY, Record
from readout.sealing.table import map_of, unsteady_names
from storage.archive.layout import JOURNAL_FILE
from storage.journal import Row, read_only


@dataclass(frozen=True, slots=True)
class ToldReading:
    """One reading. `value` is a JSON type as `read --json` gives it, None where there is none.

    `unit` says (g) of a gauge pressure, as a sealed column's metadata do; `reference` are a volume's
    reference conditions in words.
    """

    name: str
    value: Any
    unit: str | None
    flag: str | None
    reference: str | None = None

    @property
    def number(self) -> float | None:
        """The value where it is a number that a chart or a monitor can use."""
        if isinstance(self.value, bool) or not isinstance(self.value, int | float):
            return None
        return float(self.value)


@dataclass(frozen=True, slots=True)
class Told:
    """One row. `due_ms` and `time_ms` (reply complete; None where nothing came) are ms since 1970 UTC."""

    point: str
    sequence: int
    due_ms: int
    time_ms: int | None
    clock: str
    status: str
    cause: str
    readings: tuple[ToldReading, ...]

    @property
    def has_values(self) -> bool:
        """Whether the meter answered with anything."""
        return self.status in (Status.OK, Status.PARTIAL)

    def as_json(self) -> dict[str, Any]:
        """As `read --json` tells a reading, with number and due time, by which the row is found again."""
        return {
            "point": self.point,
            "sequence": self.sequence,
            "due": iso(self.due_ms / 1000),
            "time": None if self.time_ms is None else iso(self.time_ms / 1000),
            "clock": self.clock,
            "status": self.status,
            "readings": {
                reading.name: {"value": reading.value, "unit": reading.unit, "flag": reading.flag}
                for reading in self.readings
            },
        }


class Decoder:
    """Tells rows. `plan_text` looks up what the journal holds of a plan by its id."""

    def __init__(self, plan_text: Callable[[str], str]) -> None:
        self._known = lru_cache(maxsize=64)(lambda plan: _Known(plan_text(plan)))

    def tell(self, row: Row) -> Told:
        """The row, decoded. Raises what `plan_text` raises where the plan cannot be had."""
        known = self._known(row.plan)
        sent = _sent(known.record, row)
        conditions = conditions_in(sent, known.map)
        values = known.map.readings
        found = readings_in(sent, values, unsteady_names(row.cause))
        return Told(
            row.point, row.sequence, row.due, row.time, row.clock, row.status,
            row.cause.partition(UNSTEADY)[0].strip(),
            tuple(
                ToldReading(
                    value.name, found[value.name]["value"],
                    _unit(found[value.name]["unit"], gauge=value.gauge),
                    found[value.name]["flag"], conditions.get(value.name),
                )
                for value in values
            ),
        )  # fmt: skip


def plans_in(root: Path) -> Callable[[str], str]:
    """What looks a plan up in the journal of an archive; KeyError where it is not there."""

    def plan_text(plan: str) -> str:
        journal = read_only(root / JOURNAL_FILE)
        if journal is None:
            raise KeyError(plan)
        with closing(journal):
            return journal.plan_text(plan)

    return plan_text


class _Known:
    """A plan, parsed once."""

    def __init__(self, text: str) -> None:
        self.record = Record.from_text(text)
        self.map: RegisterMap = map_of(self.record.map_text)


def _sent(record: Record, row: Row) -> Mapping[Column, int | None]:
    """The words of a row by column; None for each that did not come."""
    if len(row.words) != 2 * len(record.columns):
        return dict.fromkeys(record.columns)
    return {
        column: int.from_bytes(row.words[2 * i : 2 * i + 2], "little")
        if row.present[i // 8] >> i % 8 & 1
        else None
        for i, column in enumerate(record.columns)
    }


def _unit(unit: str | None, *, gauge: bool) -> str | None:
    return f"{unit}(g)" if unit and gauge and not unit.endswith("(g)") else unit
