"""`map pick` on the golden table of ten meters, whose bytes were put together by hand, and on a stranger.

The first row of every value is what the meter holds. Many are extremes on purpose, such as the largest number
of a type: then the map may have oddities against it, but none of the other nine comes before it.
"""

import json
import struct
import subprocess
import sys
from pathlib import Path
from types import ModuleType

import pytest

from protocols.modbus.crc import with_crc
from protocols.modbus.requests import READ_TABLES
from protocols.modbus.timing import SerialFormat
from protocols.register_map.model import Column
from readout.bus.exchange import Line
from readout.diagnose.picking.answers import Answers
from readout.diagnose.picking.picking import LineMeter, Picked, pick
from readout.diagnose.picking.planning import candidate, patient
from readout.diagnose.picking.ranking import Verdict
from simulators.line import Tap

from .test_ten_meters import ALL, METERS, image, map_of

NAMES = sorted({golden.meter for golden in ALL})
CANDIDATES = [candidate(f"{name}.yaml", map_of(name)) for name in NAMES]
FORMAT = SerialFormat()
#: 2026-05-04 06:00 UTC, about when the table's clocks were read [ms].
NOW_MS = 1777874400_000


class GoldenPort:
    """A meter of bytes: the first row of every value, exception 02 elsewhere, 01 for what does not read."""

    name, notes = "golden", ()

    def __init__(self, meter: str) -> None:
        self.words: dict[Column, int] = {}
        for golden in ALL:
            if golden.meter == meter and not golden.name.startswith("record."):
                for column, word in golden.words().items():
                    self.words.setdefault(column, word)
        self.each = 2 if meter == "wide-registers" else 1
        self.due = b""

    def write(self, frame: bytes) -> None:
        table = READ_TABLES.get(frame[1])
        if table is None:
            self.due = with_crc(bytes((frame[0], frame[1] | 0x80, 1)))
            return
        start, count = struct.unpack(">HH", frame[2:6])
        columns = [Column(table, at, k) for at in range(start, start + count) for k in range(self.each)]
        if not all(column in self.words for column in columns if not (table.of_bits and column.word)):
            self.due = with_crc(bytes((frame[0], frame[1] | 0x80, 2)))
            return
        words = [self.words[column] for column in columns]
        data = struct.pack(f">{len(words)}H", *words)
        if table.of_bits:
            data = sum(1 << place for place, bit in enumerate(words) if bit).to_bytes(
                (count + 7) // 8, "little"
            )
        self.due = with_crc(bytes((frame[0], frame[1], len(data))) + data)

    def read(self, _wait: float) -> bytes:
        data, self.due = self.due, b""
        return data

    def reset(self) -> None:
        self.due = b""

    def close(self) -> None:
        pass


class Clock:
    """Every look at it takes a millisecond: nobody has to wait."""

    def __init__(self) -> None:
        self.at = 0.0

    def monotonic(self) -> float:
        self.at += 0.001
        return self.at

    def utc(self) -> float:
        return NOW_MS / 1000

    def sleep_until(self, deadline: float) -> None:
        self.at = max(self.at, deadline)


def picked(meter: str) -> Picked:
    clock = Clock()
    line = LineMeter(Line(GoldenPort(meter), FORMAT, clock), 5, patient(CANDIDATES), clock)
    return pick(CANDIDATES, Answers(line.read), line, NOW_MS)


@pytest.mark.parametrize("meter", NAMES)
def test_the_meters_own_map_comes_first(meter: str) -> None:
    first, *others = picked(meter).maps
    assert first.file == f"{meter}.yaml"
    assert not [one.file for one in others if one.verdict is not Verdict.DOES_NOT_FIT]


@pytest.mark.parametrize(
    ("meter", "said"),
    [
        ("pulse-counter", "broken_decade reads 07A1: no decimal digits"),
        ("header-flow", "velocity reads 0.25 m/s: below range 0.4 to 160"),
        ("dryer-dew-point", "step reads 17: unknown code"),
        ("wide-registers", "velocity reads 200.0 m/s: above range 0 to 150"),
        ("steam-computer", "last_reset reads 2106-02-07 06:28:15 UTC: far from the computer's time"),
    ],
)
def test_what_the_table_flags_speaks_against_the_map(meter: str, said: str) -> None:
    assert said in picked(meter).maps[0].speaks_against


def test_the_command_names_a_strangers_meter(command: ModuleType, tmp_path: Path) -> None:
    """A process of its own, a pseudo-terminal, and pymodbus, which answers 0 where the table has nothing."""
    (tmp_path / "maps").mkdir()
    for name in ("branch-vane", "header-flow", "loop-inputs"):
        (tmp_path / "maps" / f"{name}.yaml").write_bytes((METERS / "maps" / f"{name}.yaml").read_bytes())
    settings = {"unit": 3, "baud": 9600, **image("branch-vane")}
    with Tap() as tap:
        words = [sys.executable, str(Path(__file__).with_name("pymodbus_meter.py")), tap.meter_port]
        with subprocess.Popen([*words, json.dumps(settings)], stdout=subprocess.PIPE, text=True) as stranger:
            assert stranger.stdout is not None
            try:
                assert stranger.stdout.readline() == "ready\n"
                where = ("--maps", "maps", "--unit-address", "3", "--baud", "9600", "--characters", "8N2")
                found = command.run("map", "pick", tap.master_port, *where, cwd=tmp_path)
            finally:
                stranger.terminate()
    assert found.status == 0, found.err
    assert found.out.startswith("fits          branch-vane.yaml  Sallow 3 vane meter\n")
    assert 'serial_number reads "HM-3000"' in found.out
    assert found.out.count("\nfits ") == 0
