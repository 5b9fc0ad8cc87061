"""Options that several commands share, and how their words become numbers."""

import re
from datetime import timedelta
from decimal import Decimal
from pathlib import Path
from typing import Annotated

import typer

from readout.errors import WrongUse

_UNITS_MS = {"ms": 1, "s": 1000, "min": 60_000, "h": 3_600_000, "d": 86_400_000}
_DURATION = re.compile(r" ?(\d+(?:\.\d+)?) ?(ms|s|min|h|d)", re.ASCII)


def milliseconds(text: str, option: str) -> int:
    """A duration such as `1s`, `500 ms`, `1h30min` or `9d` as whole milliseconds.

    Raises:
        WrongUse: it is none, is not a whole number of milliseconds, or is zero.
    """
    total, end = Decimal(0), 0
    for part in _DURATION.finditer(text.strip()):
        if part.start() != end:
            break
        total += Decimal(part[1]) * _UNITS_MS[part[2]]
        end = part.end()
    if end == 0 or end != len(text.strip()):
        raise WrongUse(
            f"{option} {text}: not a duration; write a number and a unit, such as 500ms, 1.5s, 15min or 9d"
        )
    if total != int(total) or total <= 0:
        raise WrongUse(f"{option} {text}: write a whole number of milliseconds, at least 1ms")
    return int(total)


def share_of_percent(text: str, option: str) -> float:
    """`95`, `95%` or `99.5 %` as 0 to 1.

    Raises:
        WrongUse: it is no number, or not from 0 to 100.
    """
    number = text.strip().removesuffix("%").rstrip()
    if not re.fullmatch(r"\d{1,3}(\.\d{1,6})?", number, re.ASCII) or Decimal(number) > 100:
        raise WrongUse(f"{option} {text}: a share in percent is wanted, 0 to 100, such as 95 or 99.5")
    return float(Decimal(number) / 100)


def duration_words(ms: int) -> str:
    """Milliseconds in words a person reads: `1 s`, `1 h 30 min`, `250 ms`."""
    if ms % 1000:
        return f"{ms} ms"
    rest, words = timedelta(milliseconds=ms), []
    for unit, size in (
        ("d", timedelta(days=1)),
        ("h", timedelta(hours=1)),
        ("min", timedelta(minutes=1)),
        ("s", timedelta(seconds=1)),
    ):
        count, rest = divmod(rest, size)
        if count:
            words.append(f"{count} {unit}")
    return " ".join(words) or "0 s"


PointFiles = Annotated[
    list[Path], typer.Argument(metavar="POINT…", help="Point files (YAML), one for each measuring point.")
]
MapFile = Annotated[Path, typer.Argument(metavar="MAP", help="The register map (YAML).")]
ArchiveFolder = Annotated[Path, typer.Argument(metavar="DIR", help="The archive's folder.")]
AsJson = Annotated[bool, typer.Option("--json", help="Print one JSON document instead of text.")]
TraceFile = Annotated[
    Path | None,
    typer.Option("--trace", metavar="FILE", help="Write the raw bytes of the line, both ways, with times."),
]
