"""`map show` held against the manual's side: numbers as printed, addresses as sent, requests byte by byte.

Addresses as sent are those that tests/golden/meters/README.md lists by hand; checksums are crccheck's.
"""

import hashlib
import json
import re
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import pytest
from crccheck.crc import CrcModbus
from typer.testing import CliRunner, Result

from protocols.modbus.tables import Table
from readout.cli.main import app
from readout.errors import WrongUse
from readout.plan.refusals import Refusal, Refusals
from readout.poll.remembered import Remembered

ROOT = Path(__file__).parents[3]
GOLDEN = ROOT / "tests" / "golden" / "meters"
INSERTION = ROOT / "demo_data" / "bottling_hall" / "insertion-meter.yaml"
RINSE = ROOT / "demo_data" / "bottling_hall" / "rinse-water-meter.yaml"
HOSTILE = "<script>alert(1)</script>"


def shown(*words: object) -> Result:
    done = CliRunner().invoke(app, ["map", "show", *map(str, words)])
    assert done.exit_code == 0, done.output
    return done


def rows_of(file: Path) -> dict[str, dict[str, Any]]:
    values = json.loads(shown(file, "--json").stdout)["values"]
    return {row["name"]: row for row in values if row["name"]}


def as_file(folder: Path, body: str, head: str = "") -> Path:
    file = folder / "map.yaml"
    file.write_text(f"register_map: 1\nmeter: Mere 5 vane meter\nserial: {{unit_address: 5}}\n{head}{body}")
    return file


# ---- numbers


@pytest.mark.parametrize(
    ("numbering", "written", "printed", "sent"),
    [
        ("from 0", "107", "107", "holding 107"),
        ("from 0", "0x006B", "0x006B", "holding 107"),
        ("from 1", "108", "108", "holding 107"),
        ("from 1", "0x6c", "0x006C", "holding 107"),
        ("table digit", "40108", "40108", "holding 107"),
        ("table digit", "410001", "410001", "holding 10000"),
        ("'from 0, large numbers meant'", "40108", "40108", "holding 40108"),
    ],
)
def test_the_manuals_own_number_stands_beside_the_address(
    numbering: str, written: str, printed: str, sent: str, tmp_path: Path
) -> None:
    """40108 is sent as 107 (AP V1.1b3, 6.3: register 108 is addressed as 107)."""
    body = f"readings:\n  flow: {{holding: {written}, type: uint16, unit: m3/h, basis: actual}}\n"
    row = rows_of(as_file(tmp_path, body, f"wire: {{numbering: {numbering}}}\n"))["flow"]
    assert (row["printed"], row["sent"], row["function"]) == (printed, sent, "3")


def test_a_value_of_the_demonstration_in_full() -> None:
    rows = rows_of(INSERTION)
    assert "  raw          m³/h  " in shown(INSERTION).stdout, "people read m³/h, data say m3/h"
    flow = rows["flow"]
    assert (flow["printed"], flow["sent"], flow["function"]) == ("30001-30002", "input 0-1", "4")
    assert (flow["type"], flow["order"], flow["unit"], flow["range"]) == (
        "float32", "CDAB", "m3/h", "0 to 900"
    )  # fmt: skip
    assert flow["reference"] == "temperature in 40021 (holding 20), pressure in 40022 (holding 21)"
    assert (flow["access"], flow["read"]) == ("read", "r1")
    damping = rows["damping"]
    assert (damping["formula"], damping["access"], damping["function"], damping["read"]) == (
        "raw x 0.1", "read, write", "3, 16", "b1"
    )  # fmt: skip
    assert damping["remarks"] == ["only 0.5, 1, 2, 5, 10"]
    assert rows["velocity"]["reference"] == "reference conditions"


@pytest.mark.parametrize(
    ("words", "order", "letters"),
    [
        ("float32", "{}", "ABCD"),
        ("float32", "{word_order: low first}", "CDAB"),
        ("float32", "{byte_order: low first}", "BADC"),
        ("float32", "{word_order: low first, byte_order: low first}", "DCBA"),
        ("uint16", "{byte_order: low first}", "BA"),
        ("uint48", "{word_order: low first}", "EFCDAB"),
    ],
)
def test_orders_are_told_as_manuals_print_them(words: str, order: str, letters: str, tmp_path: Path) -> None:
    body = f"readings:\n  flow: {{holding: 0, type: {words}, unit: kg/h}}\n"
    assert rows_of(as_file(tmp_path, body, f"wire: {order}\n"))["flow"]["order"] == letters


def golden_places() -> dict[tuple[str, str], set[str]]:
    """Meter and value → first places as sent, from the table that was made by hand."""
    found: dict[tuple[str, str], set[str]] = {}
    for chapter in (GOLDEN / "README.md").read_text(encoding="utf-8").split("\n## ")[1:]:
        meter, _, body = chapter.partition("\n")
        for name, made in re.findall(r"^\| ([a-z_.]+) \| ([^|]+) \|", body, re.MULTILINE):
            places = re.findall(r"((?:input|holding|coil|discrete|record) \d+):", made)
            found.setdefault((meter, name), set()).update(places)
    return {key: places for key, places in found.items() if places}


@pytest.mark.parametrize("meter", sorted({meter for meter, _ in golden_places()}))
def test_every_value_of_ten_meters_is_shown_where_it_lies(meter: str) -> None:
    """Every part of every reading, setting, identity entry and record field."""
    document = json.loads(shown(GOLDEN / "maps" / f"{meter}.yaml", "--json").stdout)
    found: dict[str, set[str]] = {}
    name = ""
    for row in document["values"]:
        name = row["name"] or name
        found.setdefault(name, set()).add(f"{row['table']} {row['first']}")
    for row in (document["log_memory"] or {"record": []})["record"]:
        name = f"record.{row['name']}" if row["name"] else name
        found.setdefault(name, set()).add(f"record {row['first']}")
    wanted = {name: places for (of, name), places in golden_places().items() if of == meter}
    assert {name: found[name] for name in wanted} == wanted


def test_requests_and_times_are_those_of_the_wire() -> None:
    """31 characters of 11 bits at 19200 Bd, 3.5 of silence, 10 ms guessed for the meter: 29.77 ms."""
    (first, second) = json.loads(shown(INSERTION, "--json").stdout)["reads"]
    for read in (first, second):
        frame = bytes.fromhex(read["request"])
        assert frame[-2:] == CrcModbus.calc(frame[:-2]).to_bytes(2, "little")
    assert bytes.fromhex(first["request"])[:6] == bytes((20, 4, 0, 0, 0, 9))
    assert first["reply_characters"] == 23
    assert first["wire_s"] == pytest.approx((8 + 23 + 3.5) * 11 / 19200 + 0.010, abs=1e-6)


def test_what_is_read_once_is_shown_apart() -> None:
    text = shown(INSERTION).stdout
    once = text.index("once, when recording begins")
    assert text.index("14 03 00 28 00 08 C6 C1", once) < text.index("\nread  ", once)


# ---- log memory


def test_the_log_memory_by_a_window() -> None:
    memory = json.loads(shown(INSERTION, "--json").stdout)["log_memory"]
    facts = memory["facts"]
    assert facts["capacity"] == "50000 records"
    assert facts["a record holds"] == "the mean of its interval"
    assert facts["a record's time"] == "started + (n + 1) x interval, n from 0: the end of its interval"
    assert facts["reached by"] == (
        "a window: the number of the first record wanted is written to 40063-40064 (holding 62-63) with "
        "function 16, then 7 records lie in 40103-40130 (holding 102-129); 40101-40102 (holding 100-101) "
        "tells which record comes first, in the same read; function 23 writes and reads in one request"
    ), "7 records of 4 registers are 28: 40103 to 40130"
    assert [(row["name"], row["sent"], row["type"]) for row in memory["record"]] == [
        ("flow", "0", "uint16"), ("pressure", "1", "uint16"), ("temperature", "2", "int16"),
        ("check", "3", "crc16"),
    ]  # fmt: skip
    pointer = next(row for row in memory["registers"] if row["name"] == "pointer")
    assert (pointer["printed"], pointer["function"], pointer["access"]) == (
        "40063-40064", "3, 16", "read, write"
    )  # fmt: skip


@pytest.mark.parametrize(
    ("meter", "said"),
    [
        ("brine-ledger",
         "registers of their own, in banks: n div 10000 is written to 0x0054 (holding 84) with "
         "function 16, then record n is at input 1000 + (n mod 10000) x 5"),
        ("steam-computer", "files (function 20): record n is in file 1 + n div 1250, record number "
         "(n mod 1250) x 6, n counted modulo the capacity"),
        ("rinse-counter",
         "a queue (function 24) at address 599 as sent, after the number of the first record "
         "wanted was written to 87 (holding 86) with function 16"),
    ],
)  # fmt: skip
def test_the_other_three_ways(meter: str, said: str) -> None:
    facts = json.loads(shown(GOLDEN / "maps" / f"{meter}.yaml", "--json").stdout)["log_memory"]["facts"]
    assert facts["reached by"] == said
    assert f"  {said}" in shown(GOLDEN / "maps" / f"{meter}.yaml").stdout


def test_the_manual_shows_what_is_shown() -> None:
    page = (ROOT / "docs" / "maps.md").read_text(encoding="utf-8")
    (block,) = re.findall(r"^```text\n(readings .*?)^```", page, re.MULTILINE | re.DOTALL)
    lines = shown(INSERTION).stdout.splitlines()
    assert len(block.splitlines()) == 3
    assert [line for line in block.splitlines() if line not in lines] == []


# ---- the page


class Page(HTMLParser):
    """Tags and text of the page."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.text: list[str] = []
        self.feed(html)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))

    def handle_data(self, data: str) -> None:
        self.text.append(data)

    @property
    def boxes(self) -> int:
        return sum(attributes.get("class") == "box" for _, attributes in self.tags)


def page_of(folder: Path, file: Path) -> str:
    shown(file, "--html", folder / "map.html")
    return (folder / "map.html").read_text(encoding="utf-8")


def test_the_page_has_a_box_for_every_row_and_read(tmp_path: Path) -> None:
    document = json.loads(shown(INSERTION, "--json").stdout)
    memory = document["log_memory"]
    wanted = len(document["values"]) + len(document["reads"]) + len(document["beginning"]["reads"])
    wanted += sum(len(memory[part]) for part in ("facts", "registers", "session", "record"))
    page = Page(page_of(tmp_path, INSERTION))
    assert page.boxes == wanted == (6 + 2 + 5 + 2) + (9 + 4 + 4 + 4) + (2 + 3)


def test_the_page_names_its_map_beyond_doubt(tmp_path: Path) -> None:
    text = " ".join(Page(page_of(tmp_path, INSERTION)).text)
    assert hashlib.sha256(INSERTION.read_bytes()).hexdigest() in text
    assert "insertion-meter.yaml, version 2" in text
    assert "Mere 20 interface description (invented), revision C, page 12" in text
    assert re.search(r"20\d\d-\d\d-\d\d \d\d:\d\d UTC", text)


def test_the_page_needs_nothing_else(tmp_path: Path) -> None:
    html = page_of(tmp_path, RINSE)
    assert "m³/h" in html
    assert "m3/h" not in html
    page = Page(html)
    assert not {tag for tag, _ in page.tags} & {"script", "link", "img", "iframe", "object"}
    assert not [name for _, attributes in page.tags for name in attributes if name in ("src", "href")]
    assert "url(" not in html
    assert "@import" not in html


def test_hostile_text_stays_text(tmp_path: Path) -> None:
    """A map from a stranger: tags in the meter's name, the manual, a code, and the file's name."""
    file = tmp_path / "<b>map.yaml"
    file.write_text(
        f'register_map: 1\nmeter: "{HOSTILE}"\nmanual: "{HOSTILE}"\nserial: {{unit_address: 5}}\n'
        f'readings:\n  state: {{input: 0, type: uint16, codes: {{0: "{HOSTILE}", 1: ok}}}}\n'
    )
    html = page_of(tmp_path, file)
    page = Page(html)
    assert not {tag for tag, _ in page.tags} & {"script", "b"}
    assert "".join(page.text).count(HOSTILE) == 4, "title, heading, manual, code"
    assert "<b>map.yaml" in "".join(page.text)


def test_what_a_meter_refuses_is_on_the_page_and_its_value_comes_with_no_read(tmp_path: Path) -> None:
    """State (input 8) was refused: it keeps its row, and the round reads 0 to 7 only."""
    file = tmp_path / "insertion-meter.yaml"
    file.write_bytes(INSERTION.read_bytes())
    sha256 = hashlib.sha256(INSERTION.read_bytes()).hexdigest()
    learned = Refusal(Table.INPUT, 8, 1, 2, None, ("state",), 1777896000.0, 1777896000.0)
    Remembered(file, sha256, "hall", "M20-0117", print).keep(Refusals((learned,)))
    text = " ".join(Page(page_of(tmp_path, file)).text)
    assert "What a meter was found to refuse" in text
    assert "the meter of hall, serial number M20-0117, learned on 2026-05-04" in text
    rows = rows_of(file)
    assert (rows["total"]["read"], rows["state"]["read"]) == ("r1", "")


def test_the_page_prints_on_a4_with_nothing_cut_off(tmp_path: Path, chromium: Any) -> None:
    """In a real browser: no table is wider than a landscape page's 275 mm (297 less 22), whatever a name.

    On the screen the page has margins of 6 mm on both sides of that.
    """
    wide = tmp_path / "wide.yaml"
    long_name = "a" * 40
    wide.write_text(
        INSERTION.read_text(encoding="utf-8")
        .replace("  velocity:", f"  {long_name}:")
        .replace("supply low", "supply" + "x" * 50),
        encoding="utf-8",
    )
    page_of(tmp_path, wide)
    tab = chromium.open((tmp_path / "map.html").as_uri(), round(287 / 25.4 * 96), 900)
    tab.until(lambda: tab.run("document.querySelectorAll('.box').length > 40"), "the page is there")
    cut = "[...document.querySelectorAll('.wide')].filter(e => e.scrollWidth > e.clientWidth + 1).length"
    assert tab.run(cut) == 0
    assert tab.run("document.documentElement.scrollWidth <= innerWidth")
    assert tab.complaints() == []
    assert len(tab.requests()) == 1, "the page itself, and nothing else"


def test_a_page_that_cannot_be_written(tmp_path: Path) -> None:
    done = CliRunner().invoke(app, ["map", "show", str(INSERTION), "--html", str(tmp_path / "no" / "x.html")])
    assert isinstance(done.exception, WrongUse)
    assert "cannot be written" in str(done.exception)
