"""The pages of known faults are held to their word: each entry is there once, every test it names exists."""

import ast
import re
from dataclasses import dataclass
from pathlib import Path

import pytest

TESTS = Path(__file__).parent


@dataclass(frozen=True)
class Page:
    """A page with one line an entry. `short`: what stands for which folder. `unshown`: without tests."""

    file: str
    entries: tuple[str, ...]
    short: tuple[tuple[str, str], ...]
    unshown: frozenset[str] = frozenset()

    @property
    def text(self) -> str:
        return (TESTS.parent / "docs" / self.file).read_text(encoding="utf-8")

    def rows(self) -> dict[str, list[str]]:
        """Entry → the cells of its line: what happens, what is read or said, tests."""
        return {
            cells[0]: cells[1:]
            for line in self.text.splitlines()
            if line.startswith(f"| {self.entries[0][0]}")
            for cells in [[cell.strip() for cell in line.strip("| ").split(" | ")]]
        }

    def named_tests(self, entry: str) -> list[str]:
        """`path::name` of each test in an entry's line, the short form of the folder written out."""
        found = re.findall(r"`([\w/]+\.py::[\w:]+)`", self.rows()[entry][2])
        for short, folder in self.short:
            found = [folder + one.removeprefix(short) if one.startswith(short) else one for one in found]
        return found


PAGES = (
    Page(
        "line-faults.md",
        # B01 to B37 without three that are not in use
        tuple(f"B{number:02}" for number in range(1, 38) if number not in (15, 29, 34)),
        (("bus/", "readout/bus/"),),
        frozenset({"B21"}),  # only the real thing could show it: Windows' own names of ports
    ),
    Page(
        "map-faults.md",
        tuple(f"M{number:02}" for number in range(1, 18)),
        (("map/", "protocols/register_map/"), ("values/", "protocols/values/")),
    ),
)
ENTRIES = [(page, entry) for page in PAGES for entry in page.entries]


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


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.file)
def test_every_entry_has_its_line_in_their_order(page: Page) -> None:
    rows = page.rows()
    assert tuple(rows) == page.entries
    assert {len(cells) for cells in rows.values()} == {3}
    assert page.text.count(f"\n| {page.entries[0][0]}") == len(page.entries)


@pytest.mark.parametrize(("page", "entry"), ENTRIES, ids=[entry for _, entry in ENTRIES])
def test_every_test_that_an_entry_names_exists(page: Page, entry: str) -> None:
    named = page.named_tests(entry)
    assert len(named) == page.rows()[entry][2].count(".py::"), "each is written `path::name`"
    assert bool(named) != (entry in page.unshown), "an entry has tests, or says why not"
    for one in named:
        path, _, name = one.partition("::")
        assert name in collected(TESTS / path), one


UNSHOWN = [(page, entry) for page in PAGES for entry in sorted(page.unshown)]


@pytest.mark.parametrize(("page", "entry"), UNSHOWN, ids=[entry for _, entry in UNSHOWN])
def test_what_no_test_shows_is_said_to_be_untested(page: Page, entry: str) -> None:
    assert "**Untested" in page.rows()[entry][1]
