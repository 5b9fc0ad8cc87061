"""docs/line-faults.md is held to its word: each entry stands there once, and every test it names exists."""

import ast
import re
from pathlib import Path

import pytest

TESTS = Path(__file__).parent
PAGE = (TESTS.parent / "docs/line-faults.md").read_text(encoding="utf-8")
#: Entry → the cells of its line: what happens, what is read, tests.
ROWS = {
    cells[0]: cells[1:]
    for line in PAGE.splitlines()
    if line.startswith("| B")
    for cells in [[cell.strip() for cell in line.strip("| ").split(" | ")]]
}
#: The faults of the list that the page was written to: B01 to B37 without three.
ENTRIES = [f"B{number:02}" for number in range(1, 38) if number not in (15, 29, 34)]
#: Entries that only the real thing could show: Windows' own names of ports.
UNSHOWN = {"B21"}


def named_tests(entry: str) -> list[str]:
    """`path::name` of each test in an entry's line, the short form of the folder written out."""
    found = re.findall(r"`([\w/]+\.py::[\w:]+)`", ROWS[entry][2])
    return [re.sub(r"^bus/", "readout/bus/", one) for one in found]


def collected(file: Path) -> set[str]:
    """Functions of a test file that pytest collects, those of classes as `Class::name`."""
    names: set[str] = set()
    for node in ast.parse(file.read_text(encoding="utf-8")).body:
        inside = node.body if isinstance(node, ast.ClassDef) else [node]
        prefix = f"{node.name}::" if isinstance(node, ast.ClassDef) else ""
        names |= {
            prefix + one.name
            for one in inside
            if isinstance(one, ast.FunctionDef) and one.name.startswith("test_")
        }
    return names


def test_every_entry_has_its_line_in_their_order() -> None:
    assert list(ROWS) == ENTRIES
    assert {len(cells) for cells in ROWS.values()} == {3}
    assert PAGE.count("\n| B") == len(ENTRIES)


@pytest.mark.parametrize("entry", ENTRIES)
def test_every_test_that_an_entry_names_exists(entry: str) -> None:
    named = named_tests(entry)
    assert len(named) == ROWS[entry][2].count(".py::"), "each is written `path::name`"
    assert bool(named) != (entry in UNSHOWN), "an entry has tests, or says why not"
    for one in named:
        path, _, name = one.partition("::")
        assert name in collected(TESTS / path), one


@pytest.mark.parametrize("entry", sorted(UNSHOWN))
def test_what_no_test_shows_is_said_to_be_untested(entry: str) -> None:
    assert "**Untested" in ROWS[entry][1]
