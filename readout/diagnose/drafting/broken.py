"""Tables as they come out of a PDF: cells broken over lines, columns parted by nothing but blanks.

What cannot be put together for certain stays as it is, or is refused: a cell in the wrong column is a wrong
map.
"""

import re

from readout.diagnose.drafting.cells import addresses

#: A line of the file, from 1, and its cells.
Line = tuple[int, list[str]]
_CHUNK = re.compile(r"\S+(?: \S+)*")


def mended(lines: list[Line], width: int) -> list[tuple[int, int, list[str]]]:
    """First line, last line and cells of each row; a row that was cut within a cell is one again.

    A row is cut where its cells and those of the lines below it, the first of which goes on with its last,
    make just the table's `width`, and where none of these lines begins with an address or a blank cell.
    """
    found = []
    place = 0
    while place < len(lines):
        line, cells = lines[place]
        whole, last = _whole(lines, place, width) if cells and addresses(cells[0]) is not None else (cells, 0)
        found.append((line, lines[place + last][0], whole))
        place += last + 1
    return found


def _whole(lines: list[Line], place: int, width: int) -> tuple[list[str], int]:
    """The cells of a row put together, and how many lines below it they took; else its first line's alone."""
    first = cells = lines[place][1]
    for count in range(1, len(lines) - place):
        further = lines[place + count][1]
        if len(cells) >= width or not further or not further[0].strip() or addresses(further[0]) is not None:
            break
        cells = [*cells[:-1], f"{cells[-1]} {further[0]}".strip(), *further[1:]]
        if len(cells) == width:
            return cells, count
    return first, 0


def aligned(text: str, begins: int) -> list[Line]:
    """The lines from `begins` on (from 1) cut below the headings of that line, which two blanks or more part.

    Raises:
        ValueError: a cell stands below two headings, or below none.
    """
    lines = text.expandtabs(8).splitlines()
    heads = [(one.start(), one.end()) for one in _CHUNK.finditer(lines[begins - 1])]
    starts = [start for start, _ in heads]
    found = []
    for number, line in enumerate(lines[begins - 1 :], begins):
        cells = [""] * len(heads)
        for chunk in _CHUNK.finditer(line):
            column = _below(chunk.start(), chunk.end(), starts, heads)
            if column is None or cells[column]:
                raise ValueError(
                    f"line {number}: {chunk[0]!r} does not stand below one heading alone; put a tab or a "
                    "semicolon between the columns"
                )
            cells[column] = chunk[0]
        found.append((number, cells))
    return found


def _below(start: int, end: int, starts: list[int], heads: list[tuple[int, int]]) -> int | None:
    """The column of a cell: it begins where the heading begins, or lies between it and the next one."""
    for column, (left, _) in enumerate(heads):
        right = starts[column + 1] if column + 1 < len(starts) else None
        if left <= start and (right is None or end <= right):
            return column
    ends = [column for column, (_, right) in enumerate(heads) if right == end]  # numbers set to the right
    return ends[0] if ends else None


def parted_by_blanks(text: str) -> list[Line]:
    """The first lines as they are cut at two blanks or more, to look for headings among them."""
    return [
        (number, _CHUNK.findall(line)) for number, line in enumerate(text.expandtabs(8).splitlines()[:50], 1)
    ]
