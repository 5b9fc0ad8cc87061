"""Every worked example of the pages on values: its map is read, its bytes are decoded, its values found."""

import re
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from protocols.register_map.model import Column, Kind, Number, Value
from protocols.register_map.parse import parse_map
from protocols.values.decode import Decoded, Words, decode, record_check
from protocols.values.flags import FLAG_WORDS, Flag
from protocols.values.types import ColumnType, output_type

DOCS = Path(__file__).parents[3] / "docs"
PAGE = DOCS / "value-forms.md"
PAGES = (PAGE, DOCS / "what-the-manual-means.md")
BLOCK = re.compile(
    r"```yaml\n(?P<yaml>.*?)```\n\n\| bytes \| value \| flag \|\n\| -[-| ]+\n(?P<rows>(?:\|[^\n]*\n)+)", re.S
)
ROW = re.compile(r"\| `(?P<bytes>[0-9A-F ]+)` \| (?P<value>.*?) \| (?P<flag>.*?) ?\|\n")
RECORD = re.compile(r"\| `(?P<bytes>[0-9A-F ]+)` \| (agrees|differs) \|")


@dataclass(frozen=True)
class Example:
    """One row of one table: what the map says, the bytes, and what the page claims of them."""

    yaml: str
    data: bytes
    value: str
    flag: str


def examples() -> list[Example]:
    return [
        Example(block["yaml"], bytes.fromhex(row["bytes"]), row["value"], row["flag"])
        for page in PAGES
        for block in BLOCK.finditer(page.read_text(encoding="utf-8"))
        for row in ROW.finditer(block["rows"])
    ]


def value_of(yaml: str) -> Value:
    """The one reading that the page shows, within the smallest map."""
    indented = "".join(f"  {line}\n" for line in yaml.splitlines())
    text = f"register_map: 1\nmeter: Example\nserial: {{unit_address: 12}}\nreadings:\n{indented}"
    parsed = parse_map(text.encode(), "value-forms.md")
    assert parsed.map is not None, [str(fault) for fault in parsed.faults]
    return parsed.map.readings[0]


def rows_of(columns: tuple[Column, ...], data: bytes) -> dict[Column, Words]:
    there = np.ones(1, np.bool_)
    words = np.frombuffer(data, ">u2").astype(np.uint16)
    assert len(words) == len(columns), "the page shows as many bytes as the value has"
    return {column: Words(words[i : i + 1], there) for i, column in enumerate(columns)}


def shown(value: Value, decoded: Decoded) -> str:
    """The value as the page writes it."""
    if not decoded.available[0]:
        return "none"
    data: Any = decoded.data[0]
    if output_type(value) is ColumnType.TIMESTAMP:
        moment = datetime(1970, 1, 1, tzinfo=UTC) + timedelta(milliseconds=int(data))
        return moment.strftime("%Y-%m-%dT%H:%M:%SZ")
    if output_type(value) is ColumnType.STRING:
        return f'"{data}"'
    unit = decoded.unit[0] if decoded.unit is not None else None
    return f"{data} {unit}" if unit else str(data)


@pytest.mark.parametrize("example", examples(), ids=lambda e: f"{e.value}:{e.data.hex()}")
def test_an_example_of_the_page_is_true(example: Example) -> None:
    value = value_of(example.yaml)
    decoded = decode(value, rows_of(value.columns(), example.data))
    assert shown(value, decoded) == example.value
    assert FLAG_WORDS.get(Flag(decoded.flag[0]), "") == example.flag


def test_the_records_check_on_the_page_is_true() -> None:
    found = RECORD.findall(PAGE.read_text(encoding="utf-8"))
    assert {claim for _, claim in found} == {"agrees", "differs"}
    for data, claim in found:
        sent = bytes.fromhex(data)
        columns = tuple(Column(None, i) for i in range(len(sent) // 2))
        check = Value("check", Number(None, len(columns) - 1, Kind.CRC16, 1, 1))
        assert record_check(check, rows_of(columns, sent))[0] == (claim == "agrees")


def test_every_chapter_has_a_picture_of_its_bytes() -> None:
    """Lines that stand four blanks in, with boxes, bits, or an arrow of numbers."""
    chapters = PAGE.read_text(encoding="utf-8").split("\n## ")[1:]
    without = [
        chapter.partition("\n")[0]
        for chapter in chapters
        if not re.search(r"^ {4}.*(│|─|[01]{4})", chapter, re.M)
    ]
    assert without == []


def test_the_page_shows_every_kind_a_map_can_name() -> None:
    page = PAGE.read_text(encoding="utf-8")
    shown_kinds = {kind for kind in Kind if re.search(rf"\b{kind.value}\b", page)}
    assert shown_kinds >= set(Kind) - {Kind.BIT}


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.name)
def test_no_example_of_a_page_is_left_out(page: Path) -> None:
    text = page.read_text(encoding="utf-8")
    tables = re.findall(r"^\| bytes \| value \| flag \|\n\|[-| ]+\n((?:\|.*\n)+)", text, re.M)
    found = list(BLOCK.finditer(text))
    assert len(found) == len(tables) >= 8, "each table of examples has its map above it"
    rows = sum(table.count("\n") for table in tables)
    assert sum(len(ROW.findall(block["rows"])) for block in found) == rows
