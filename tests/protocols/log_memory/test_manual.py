"""docs/memory-in-maps.md: its maps fetch record 4321 by its very requests, and read it from its replies.

The page's bytes were put together by hand after the specification's own layouts (AP V1.1b3, 6.3, 6.4, 6.12,
6.14, 6.18); their checksums are done again here by crccheck.
"""

import re
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
from crccheck.crc import CrcModbus

from protocols.log_memory.records import columns, fits, own_numbers, split
from protocols.log_memory.walk.reading import words_of
from protocols.log_memory.ways import Reach
from protocols.modbus.replies import read_reply
from protocols.register_map.parse import parse_map
from protocols.values.decode import decode
from protocols.values.types import ColumnType, output_type
from protocols.values.words import raw_numbers

PAGE = (Path(__file__).parents[3] / "docs/memory-in-maps.md").read_text(encoding="utf-8")
RECORD, UNIT = 4321, 12


@dataclass(frozen=True)
class Way:
    """One chapter of the page."""

    name: str
    map: str
    dialogue: tuple[tuple[str, bytes], ...]
    values: dict[str, str]


def chapters() -> list[Way]:
    found = []
    for chapter in PAGE.split("\n## ")[1:]:
        name, _, body = chapter.partition("\n")
        block = re.search(r"```yaml\n(.*?)```", body, re.DOTALL)
        if block is None:
            continue
        frames = re.findall(r"^([→←]) ([0-9A-F ]+)$", body, re.M)
        rows = re.findall(r"^\| ([a-z]+) \| (\S+) \|$", body, re.M)
        text = f"register_map: 1\nmeter: Hollow Mere meter\n{block[1]}"
        dialogue = tuple((way, bytes.fromhex(frame)) for way, frame in frames)
        found.append(Way(name, text, dialogue, {k: v for k, v in rows if k != "field"}))
    return found


ALL = chapters()


def test_all_four_ways_are_shown() -> None:
    assert [way.name for way in ALL] == [
        "By a window", "By registers of their own", "By files", "By a queue",
    ]  # fmt: skip


@pytest.mark.parametrize("way", ALL, ids=lambda way: way.name)
def test_the_checksums_of_the_page_are_right(way: Way) -> None:
    for _, frame in way.dialogue:
        assert CrcModbus.calc(frame[:-2]) == int.from_bytes(frame[-2:], "little"), frame.hex(" ")


@pytest.mark.parametrize("way", ALL, ids=lambda way: way.name)
def test_the_map_asks_as_the_page_says_and_reads_what_it_shows(way: Way) -> None:
    parsed = parse_map(way.map.encode(), "map.yaml")
    assert parsed.faults == (), [str(fault) for fault in parsed.faults]
    assert parsed.map is not None
    memory = parsed.map.log_memory
    assert memory is not None
    fetch = Reach(memory, parsed.map.wire).fetch(RECORD, 1)
    requests = [*fetch.point, fetch.data]
    assert [request.frame(UNIT) for request in requests] == [f for to, f in way.dialogue if to == "→"]
    replies = [frame for to, frame in way.dialogue if to == "←"]
    words = [
        words_of(read_reply(request, UNIT, frame)) for request, frame in zip(requests, replies, strict=True)
    ][-1]
    if fetch.echo is not None:
        echoed = np.array([words[fetch.echo_at : fetch.echo_at + fetch.echo.words]], np.uint16)
        raw, _ = raw_numbers(echoed, fetch.echo.kind, fetch.echo.word_order, fetch.echo.byte_order)
        assert raw.tolist() == [RECORD], "the echo proves where the window stands"
    record = split(words, fetch.skip, memory.record.registers, 1)
    assert fits(memory.record, record).all()
    numbers = own_numbers(memory.record, record)
    assert numbers is None or numbers.tolist() == [RECORD]
    shown = {}
    for value in memory.record.fields:
        if value.name != "check":
            decoded = decode(value, columns(record))
            data = decoded.data[0].item()
            if output_type(value) is ColumnType.TIMESTAMP:
                moment = datetime(1970, 1, 1, tzinfo=UTC) + timedelta(milliseconds=int(data))
                data = moment.strftime("%Y-%m-%dT%H:%M:%SZ")
            shown[value.name] = str(decoded.data[0]) if isinstance(data, float) else str(data)
    assert shown == way.values
