"""Ten invented meters, each numbering, ordering and scaling in its own way, against a table made by hand.

The table is tests/golden/meters/README.md. It is checked three times: its bytes by `struct`, its values by
our decoder, and its first row of every reading through the command, from a meter that pymodbus serves.
"""

import json
import re
import struct
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest
from ruamel.yaml import YAML

from protocols.modbus.tables import Table
from protocols.register_map.model import Column, RegisterMap, Value
from protocols.register_map.parse import parse_map
from readout.poll.readings import as_told
from simulators.line import Tap

HERE = Path(__file__).parent
METERS = HERE.parent / "golden" / "meters"
ROW = re.compile(r"\| ([a-z_.]+) \| ([^|]+) \| ([^|]+) \| ([^|]+) \| ([^|]*) \| ([^|]*) \|")
FORMS = {
    "int16": ">h", "uint16": ">H", "int32": ">i", "uint32": ">I", "int64": ">q", "uint64": ">Q",
    "float32": ">f", "float64": ">d",
}  # fmt: skip
#: pymodbus answers two bytes a register, whatever the meter.
NOT_SERVED = {"wide-registers"}


@dataclass(frozen=True)
class Golden:
    """One row: bytes or a bit at each place, and what they read as."""

    meter: str
    name: str
    made_of: dict[tuple[str, int], str]
    sent: dict[tuple[str, int], str]
    value: Any
    unit: str | None
    flag: str | None

    def __str__(self) -> str:
        return f"{self.meter}-{self.name}-{self.value}"

    def words(self) -> dict[Column, int]:
        """As a round brings them: columns counted as the table of the golden row counts places."""
        return {
            column: word for place, sent in self.sent.items() for column, word in self._columns(place, sent)
        }

    def _columns(self, place: tuple[str, int], sent: str) -> Iterator[tuple[Column, int]]:
        table = None if place[0] == "record" else Table(place[0])
        each = 2 if self.meter == "wide-registers" else 1
        for i, word in enumerate(sent.split()):
            yield Column(table, place[1] + i // each, i % each), int(word, 16)


def goldens() -> list[Golden]:
    found: list[Golden] = []
    text = (METERS / "README.md").read_text(encoding="utf-8")
    for chapter in text.split("\n## ")[1:]:
        meter, _, body = chapter.partition("\n")
        for name, made, sent, value, unit, flag in (row.groups() for row in ROW.finditer(body)):
            if name == "value":
                continue
            parts = [part.strip().split(": ", 1) for part in made.split(";")]
            places = [(place.split()[0], int(place.split()[1])) for place, _ in parts]
            bytes_sent = [each.strip() for each in sent.split(";")]
            found.append(
                Golden(
                    meter, name, dict(zip(places, (how for _, how in parts), strict=True)),
                    dict(zip(places, bytes_sent, strict=True)), _read(value.strip()),
                    unit.strip() or None, flag.strip() or None,
                )
            )  # fmt: skip
    return found


def _read(value: str) -> Any:
    """A number, a truth value, null, a list of words, or else the text itself."""
    if value.startswith("["):
        return [word.strip() for word in value[1:-1].split(",") if word.strip()]
    try:
        return json.loads(value)
    except ValueError:
        return value


def bytes_of(made_of: str) -> bytes:
    """What a meter sends for it, by `struct` and by taking bytes in the order that the letters tell."""
    kind, *rest = made_of.split()
    if kind == "digits":
        return bytes.fromhex("".join(rest))
    if kind == "bits":
        return sum(1 << int(bit) for bit in rest[:-1]).to_bytes(2, "big")
    if kind == "text":
        padded = rest[0].encode("latin-1").ljust(2 * int(rest[2]), b"\0")
        pairs = [padded[i : i + 2] for i in range(0, len(padded), 2)]
        return b"".join(pair if rest[1] == "AB" else pair[::-1] for pair in pairs)
    number, order = rest
    if kind == "bcd":
        straight = bytes.fromhex(number)
    elif kind in {"int48", "uint48"}:
        straight = int(number).to_bytes(6, "big", signed=kind == "int48")
    else:
        straight = struct.pack(FORMS[kind], float(number) if kind.startswith("float") else int(number))
    return bytes(straight[ord(letter) - ord("A")] for letter in order)


def map_of(meter: str) -> RegisterMap:
    file = METERS / "maps" / f"{meter}.yaml"
    parsed = parse_map(file.read_bytes(), file.name)
    assert parsed.map is not None, [str(fault) for fault in parsed.faults]
    return parsed.map


def values_of(register_map: RegisterMap) -> dict[str, Value]:
    """Every reading, setting, identity entry and field of a log record by name."""
    found = {
        value.name: value
        for values in (register_map.readings, register_map.settings, register_map.identity)
        for value in values
    }
    if register_map.log_memory is not None:
        found |= {f"record.{value.name}": value for value in register_map.log_memory.record.fields}
    return found


ALL = goldens()


@pytest.mark.parametrize("golden", ALL, ids=str)
def test_the_tables_bytes_are_those_of_its_numbers(golden: Golden) -> None:
    for place, made_of in golden.made_of.items():
        if made_of.startswith("bit "):
            assert made_of == f"bit {golden.sent[place]}"
        else:
            assert bytes_of(made_of) == bytes.fromhex(golden.sent[place])


@pytest.mark.parametrize("golden", ALL, ids=str)
def test_a_meters_bytes_read_as_the_table_says(golden: Golden) -> None:
    value = values_of(map_of(golden.meter))[golden.name]
    assert set(value.columns()) == set(golden.words()), "the map looks elsewhere"
    assert as_told(value, golden.words()) == {
        "value": golden.value, "unit": golden.unit, "flag": golden.flag
    }  # fmt: skip


def test_every_value_of_every_map_is_in_the_table() -> None:
    in_maps = {
        (file.stem, name)
        for file in (METERS / "maps").glob("*.yaml")
        for name, value in values_of(map_of(file.stem)).items()
        if value.number.kind != "crc16"
    }
    assert len({meter for meter, _ in in_maps}) == 10
    assert in_maps == {(golden.meter, golden.name) for golden in ALL}


def image(meter: str) -> dict[str, list[int]]:
    """What the tables of a meter hold: the first row of every value, zeros between and behind."""
    tables = {"coil": [0] * 32, "discrete": [0] * 32, "holding": [0] * 140, "input": [0] * 140}
    seen: set[str] = set()
    for golden in ALL:
        if golden.meter == meter and golden.name not in seen and not golden.name.startswith("record."):
            seen.add(golden.name)
            for column, word in golden.words().items():
                assert column.table is not None
                tables[column.table.value][column.address] = word
    return tables


@pytest.mark.parametrize("meter", sorted({golden.meter for golden in ALL} - NOT_SERVED))
def test_read_tells_what_a_strangers_meter_holds(meter: str, command: ModuleType, tmp_path: Path) -> None:
    """The whole way: map, block reads, line, values; the meter is pymodbus and knows only words and bits."""
    file = METERS / "maps" / f"{meter}.yaml"
    serial = YAML(typ="safe").load(file)["serial"]
    settings = {
        "unit": serial["unit_address"], "baud": serial["baud_rate"], **image(meter),
    }  # fmt: skip
    with Tap() as tap:
        words = [sys.executable, str(HERE / "pymodbus_meter.py"), tap.meter_port, json.dumps(settings)]
        with subprocess.Popen(words, stdout=subprocess.PIPE, text=True) as stranger:
            assert stranger.stdout is not None
            try:
                assert stranger.stdout.readline() == "ready\n"
                (tmp_path / "map.yaml").write_bytes(file.read_bytes())
                command.write_point(tmp_path, meter, tap.master_port, unit=serial["unit_address"])
                found = command.run("read", f"{meter}.yaml", "--json", cwd=tmp_path).json()
            finally:
                stranger.terminate()
    wanted = {
        golden.name: {"value": golden.value, "unit": golden.unit, "flag": golden.flag}
        for golden in reversed(ALL)
        if golden.meter == meter
    }
    assert found["status"] == "ok"
    assert found["readings"]
    assert found["readings"] == {name: wanted[name] for name in found["readings"]}
