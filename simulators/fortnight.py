"""A fortnight of the invented bottling hall whose truth is known: what a report of it must find.

Two weeks from Monday 11 May 2026, 00:00 in Dublin. A leak begins on the sixth day and stays; the compressors
are stopped for half of a Sunday; a large user pulls the pressure down for twenty minutes; the meter is
without supply for a while, the recorder for another. The truth comes from the plant's integrals in closed
form over spans of time: no row, no sample and no sensor has a part in it.
"""

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from enum import Enum

import numpy as np
from numpy.typing import NDArray

from protocols.register_map.model import Column, RegisterMap
from protocols.values.encode import encode
from simulators.device.defaults import setting
from simulators.log_memory.kept.fields import Field
from simulators.plant import AirPlant, Episode, PlantValues
from simulators.plant.air import HOUR, shifts_of
from simulators.plant.series import quantities

Span = tuple[float, float]  # [begin, end) in seconds since 1970


class Why(Enum):
    """Why nothing was measured."""

    METER_SILENT = "the meter was without supply: rows, and no reply in them"
    NOT_RECORDING = "the recorder did not run: no rows"


def _utc(text: str) -> float:
    return datetime.fromisoformat(text).replace(tzinfo=UTC).timestamp()


FIRST_DAY, DAYS = date(2026, 5, 11), 14
BEGIN, END = _utc("2026-05-10T23:00"), _utc("2026-05-24T23:00")  # midnights in Dublin
#: Saturday 16 May, 03:20 in Dublin.
LEAK = Episode(_utc("2026-05-16T02:20"), math.inf, 18.0, -0.03)
#: Sunday 17 May, 09:00 to 13:00: compressors stopped for service, the network runs down.
STOPPED = Episode(_utc("2026-05-17T08:00"), _utc("2026-05-17T12:00"), -40.0, -3.9)
#: Wednesday 20 May, 10:30 to 10:50: a tanker is blown out.
DIP = Episode(_utc("2026-05-20T09:30"), _utc("2026-05-20T09:50"), 120.0, -1.1)
#: Thursday 14 May, 09:10 to 11:25, and Tuesday 19 May, 13:00 to 13:45.
LOST: Mapping[Why, Span] = {
    Why.METER_SILENT: (_utc("2026-05-14T08:10"), _utc("2026-05-14T10:25")),
    Why.NOT_RECORDING: (_utc("2026-05-19T12:00"), _utc("2026-05-19T12:45")),
}


def plant() -> AirPlant:
    """The hall's header in these two weeks, Monday to Friday worked, none of them a holiday."""
    return AirPlant(closed=(), episodes=(LEAK, STOPPED, DIP))


@dataclass(frozen=True, slots=True)
class KnownTruth:
    """What is true of the time that was measured; volumes at the plant's reference conditions.

    `out_of_hours` is the mean flow outside shifts and at weekends, but for the hours in which the compressors
    were stopped. `elapsed_s` is the whole fortnight.
    """

    elapsed_s: float
    measured_s: float
    silent_s: float
    not_recording_s: float
    total_m3: float
    out_of_hours_m3_h: float
    out_of_hours_s: float
    leak_begins: float  # seconds since 1970
    leak_m3_h: float


def truth() -> KnownTruth:
    """From the plant's integrals over spans of time."""
    hall, whole = plant(), [(BEGIN, END)]
    measured = without(whole, LOST.values())
    idle = without(measured, [*_worked(hall), (STOPPED.begin, STOPPED.end)])
    silent, not_recording = (LOST[why] for why in (Why.METER_SILENT, Why.NOT_RECORDING))
    return KnownTruth(
        elapsed_s=END - BEGIN,
        measured_s=_length(measured),
        silent_s=_length([silent]),
        not_recording_s=_length([not_recording]),
        total_m3=sum(hall.volume_between(*span) for span in measured),
        out_of_hours_m3_h=sum(hall.volume_between(*span) for span in idle) / _length(idle) * HOUR,
        out_of_hours_s=_length(idle),
        leak_begins=LEAK.begin,
        leak_m3_h=LEAK.flow,
    )


def without(spans: Iterable[Span], cuts: Iterable[Span]) -> list[Span]:
    """What is left of spans once every cut is taken out of them."""
    left = list(spans)
    for low, high in cuts:
        pieces = [(a, b) for begin, end in left for a, b in ((begin, min(end, low)), (max(begin, high), end))]
        left = [(begin, end) for begin, end in pieces if end > begin]
    return left


def _worked(hall: AirPlant) -> list[Span]:
    days = (FIRST_DAY + timedelta(n) for n in range(-1, DAYS))
    return [(start, end) for day in days for _, start, end in shifts_of(hall, day)]


def _length(spans: Iterable[Span]) -> float:
    return sum(end - begin for begin, end in spans)


@dataclass(frozen=True, slots=True)
class Rounds:
    """Rounds of a recorder [n]: when each was `due` (s since 1970), and where the meter was `silent`."""

    due: NDArray[np.float64]
    silent: NDArray[np.bool_]

    @property
    def days(self) -> "Sequence[tuple[date, Rounds]]":
        """The rounds of each UTC day."""
        numbers = (self.due // 86_400).astype(np.int64)
        found = []
        for number in np.unique(numbers).tolist():
            mine = numbers == number
            found.append((date(1970, 1, 1) + timedelta(number), Rounds(self.due[mine], self.silent[mine])))
        return found


def rounds(every: float) -> "tuple[Rounds, ...]":
    """What a recorder asked for, one round every so many seconds, before and after it did not run."""
    due = np.arange(BEGIN, END, every)
    (begin, end), (off, on) = LOST[Why.METER_SILENT], LOST[Why.NOT_RECORDING]
    silent = (due >= begin) & (due < end)
    return tuple(Rounds(due[mine], silent[mine]) for mine in (due < off, due >= on))


def registers(register_map: RegisterMap, due: NDArray[np.float64]) -> dict[Column, NDArray[np.uint16]]:
    """What a meter fitted to the plant holds at each moment: every word [n] that a round asks for."""
    values = PlantValues(plant())
    held: dict[Column, NDArray[np.uint16]] = {}
    for value in register_map.readings:
        columns = value.columns()
        table = np.zeros((len(due), 1 + max(column.address for column in columns)), np.uint16)
        field = Field(value)
        field.write(table, quantities(values, value, field.unit, due, due - BEGIN))
        held |= {column: table[:, column.address] for column in columns}
    for condition in register_map.told_conditions():
        words = encode(condition, setting(condition))
        held |= {column: np.full(len(due), word, np.uint16) for column, word in words.items()}
    return held
