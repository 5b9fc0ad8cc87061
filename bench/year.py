"""A year of one-second rows of an invented meter, a day a file: what the archive's figures are taken on.

    .venv/bin/python bench/year.py FOLDER [DAYS]

Three float32 readings (flow, temperature, pressure) as a meter with fixed decimals tells them, one round in
two thousand without reply, and a reply time that varies by a few milliseconds. Every value is worked out from
the day's number, so that each run gives the same rows. Invented: Hollow Mere bottling hall, 2026, UTC days.
"""

import sys
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from time import process_time

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from protocols.modbus.timing import SerialFormat
from protocols.register_map.model import Column, RegisterMap
from protocols.register_map.parse import parse_map
from protocols.values.decode import Words
from readout.plan.plan import plan_round, polled_values, raw_name
from readout.sealing.arrays import numbers, words_of
from readout.sealing.record import Record
from readout.sealing.table import TIME, readings_of, schema_of
from storage.archive import Archive, SealedFile

POINT, SITE_ZONE = "bottling-hall-header", "Europe/Dublin"
FIRST_DAY, DAYS, DAY_S = date(2026, 1, 1), 365, 86_400
READINGS = ("flow", "temperature", "pressure")
MAP = """\
register_map: 1
meter: Mere 30 insertion meter
serial: {unit_address: 30}
readings:
  flow: {input: 0, type: float32, unit: m3/h, quantity: volume flow, range: [0, 900]}
  temperature: {input: 2, type: float32, unit: degC, range: [-20, 80]}
  pressure: {input: 4, type: float32, unit: bar, gauge: true, range: [0, 16]}
"""
#: What the meter shows: the steps of flow [m3/h], temperature [degC], pressure [bar].
STEPS = (0.1, 0.1, 0.001)
_SILENT = 2_000  # one round in so many has no reply


@dataclass(frozen=True, slots=True)
class Day:
    """One UTC day: its rows as they are sealed, and the numbers of the first and last."""

    date: date
    table: pa.Table
    first: int
    last: int


def register_map(text: str = MAP) -> RegisterMap:
    """The map of a text that has no faults."""
    found = parse_map(text.encode(), "map.yaml")
    if found.map is None:
        raise SystemExit(f"the bench's own map has faults: {found.faults}")
    return found.map


def record() -> Record:
    """What is true of every row."""
    found = register_map()
    plan = plan_round(found, polled_values(found), SerialFormat(19200, "even", 8, 1), 30)
    return Record(
        name=POINT, source="live", columns=plan.columns, map_text=MAP, map_sha256=found.sha256,
        point={"site": "Hollow Mere bottling hall"}, plan={"every_ms": 1000},
        meter={"identity": {"serial_number": "HM-0030"}}, settings={}, line={"port": "none"}, version="bench",
    )  # fmt: skip


def days(count: int = DAYS, *, noise: bool = False) -> Iterator[Day]:
    """The year's days in order; with `noise` the meter tells all digits of a float, not fixed steps."""
    what = record()
    for number in range(count):
        day = FIRST_DAY + timedelta(days=number)
        first = number * DAY_S + 1
        yield Day(day, _table(what, day, first, _measured(number, noise=noise)), first, first + DAY_S - 1)


def seal(archive: Archive, day: Day) -> SealedFile:
    """One day, one file."""
    entry = {"count": day.table.num_rows, "first_sequence": day.first, "last_sequence": day.last}
    return archive.seal(
        day.table, point=POINT, source="live", date=day.date, first_sequence=day.first,
        last_sequence=day.last, metadata=record().metadata(entry),
    )  # fmt: skip


def _measured(number: int, *, noise: bool) -> list[NDArray[np.float32]]:
    """Flow, temperature and pressure of one day [s], as the meter tells them."""
    random = np.random.default_rng(number)
    second = np.arange(DAY_S)
    hour = second / 3600
    working = (hour >= 6) & (hour < 22) & (number % 7 not in (2, 3))  # 3 January 2026 is a Saturday
    machines = sum(_on_and_off(random, share) * rate for share, rate in ((0.7, 140), (0.5, 60), (0.4, 25)))
    flow = 38 + working * machines + _damped(random.normal(0, 6, DAY_S))
    season = 16 - 9 * np.cos(2 * np.pi * number / 365)
    temperature = season + 4 * np.sin(2 * np.pi * (hour - 9) / 24) + _damped(random.normal(0, 0.2, DAY_S))
    compressor = (second % (240 - 100 * working)) / 240
    pressure = 7.2 - 0.5 * compressor + _damped(random.normal(0, 0.01, DAY_S))
    found = zip((flow, temperature, pressure), STEPS, strict=True)
    return [(value if noise else np.round(value / step) * step).astype(np.float32) for value, step in found]


def _on_and_off(random: np.random.Generator, share: float) -> NDArray[np.float64]:
    """A machine's state by the second: runs of some minutes, `share` of them on."""
    runs = random.integers(60, 900, DAY_S // 60)
    states = random.random(len(runs)) < share
    return _damped(np.repeat(states, runs)[:DAY_S].astype(np.float64))


def _damped(signal: NDArray[np.float64]) -> NDArray[np.float64]:
    """As a meter with a damping of 10 s shows it."""
    weights = np.exp(-np.arange(60) / 10)
    return np.convolve(signal, weights / weights.sum())[: len(signal)]


def _table(what: Record, day: date, first: int, values: list[NDArray[np.float32]]) -> pa.Table:
    random = np.random.default_rng(first)
    replied = random.integers(0, _SILENT, DAY_S) > 0
    midnight = int(datetime(day.year, day.month, day.day, tzinfo=UTC).timestamp() * 1000)
    due = midnight + np.arange(DAY_S, dtype=np.int64) * 1000
    words = _words(what.columns, values, replied)
    silent = (~replied).astype(np.uint8)
    arrays = {
        "sequence": numbers(np.arange(first, first + DAY_S, dtype=np.int64), pa.int64()),
        "due": numbers(due, TIME),
        "time": numbers(due + random.integers(28, 36, DAY_S), TIME, replied),
        "clock": words_of(np.zeros(DAY_S, np.uint8), ["synchronised"]),
        "status": words_of(silent, ["ok", "no reply"]),
        **readings_of(what, words, lambda _: None),
        **{raw_name(column): numbers(held.data, pa.uint16(), held.present) for column, held in words.items()},
    }
    schema = schema_of(what)
    return pa.Table.from_arrays([arrays[name] for name in schema.names], schema=schema)


def _words(
    columns: tuple[Column, ...], values: list[NDArray[np.float32]], replied: NDArray[np.bool_]
) -> dict[Column, Words]:
    """The two registers of each float, high word first; zero where nothing came."""
    whole = [value.view(np.uint32) for value in values]
    parts = [half for bits in whole for half in (bits >> 16, bits & 0xFFFF)]
    held = [np.where(replied, part, 0).astype(np.uint16) for part in parts]
    return {column: Words(data, replied) for column, data in zip(columns, held, strict=True)}


def write(root: Path, count: int = DAYS, *, noise: bool = False) -> float:
    """Seal the year below `root`; returns the processor seconds that sealing alone took."""
    spent = 0.0
    with Archive.open(root) as archive:
        for day in days(count, noise=noise):
            begun = process_time()
            seal(archive, day)
            spent += process_time() - begun
    return spent


def main() -> None:
    """Write it where the command line says."""
    folder, count = Path(sys.argv[1]), int(sys.argv[2]) if len(sys.argv) > 2 else DAYS
    spent = write(folder, count)
    print(f"{count * DAY_S} rows sealed below {folder}, {count * DAY_S / spent / 1e6:.2f} million rows/s")


if __name__ == "__main__":
    main()
