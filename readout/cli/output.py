"""How commands speak: results on stdout, everything else on stderr, JSON plainly."""

import json
import sys
from collections.abc import Iterable, Sequence


def say(text: str) -> None:
    """A line for the person, on stderr."""
    print(text, file=sys.stderr, flush=True)


def tell(text: str = "") -> None:
    """A line of the result, on stdout."""
    print(text, flush=True)


def tell_json(document: object) -> None:
    """The result as one JSON document on one line; non-numbers are never written."""
    print(json.dumps(document, ensure_ascii=False, allow_nan=False), flush=True)


def counted(number: int, thing: str) -> str:
    """`1 file`, `20 rows`: a number and its noun, which takes an s where it is not one."""
    return f"{number} {thing}" if number == 1 else f"{number} {thing}s"


def columns(rows: Iterable[Sequence[str]], *, right: frozenset[int] = frozenset()) -> list[str]:
    """Rows of cells as lines with aligned columns; the columns named in `right` are aligned right."""
    table = [list(row) for row in rows]
    if not table:
        return []
    widths = [max(len(row[i]) for row in table) for i in range(len(table[0]))]
    return [
        "  ".join(
            cell.rjust(width) if i in right else cell.ljust(width)
            for i, (cell, width) in enumerate(zip(row, widths, strict=True))
        ).rstrip()
        for row in table
    ]
