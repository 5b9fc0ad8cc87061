"""Scripts: what one end of a line waits for and sends, byte by byte, each line with its time.

    # a damaged reply, and the repeat
    > 01 03 00 00 00 02 C4 0B          wait until exactly these bytes have come
    +20 < 01 03 04 11 11 22 22 37 B2   20 ms after the line before is finished, send these with one write
    > any                              wait for any whole request
    +20 <{1,3}/16 01 03 04 11 11 …     in pieces: 1 byte, 16 ms, 3 bytes, 16 ms, the rest
    +3 <x600 00                        600 times, each 3 ms after the one before
    +600 .                             say nothing for 600 ms
    HANGUP                             the port goes away
    RELINK 3000                        3 s later it is back under the same name

Numbers behind `+`, `/` and RELINK are milliseconds and may have a fraction. `#` starts a comment.
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from simulators.errors import WrongFaults
from simulators.faults.parse import file_text, shown

_NUMBER = r"\d{1,7}(?:\.\d{1,6})?"
_SENT = re.compile(rf"\+({_NUMBER})\s*<(?:\{{(\d+(?:,\d+)*)\}}/({_NUMBER}))?(?:x(\d{{1,7}}))?(?:\s+(.*))?")
_QUIET = re.compile(rf"\+({_NUMBER})\s*\.")
_RELINK = re.compile(rf"RELINK\s+({_NUMBER})")
_FORMS = "> HEX, > any, +MS < HEX, +MS <{1,3}/MS HEX, +MS <x3 HEX, +MS ., HANGUP, RELINK MS"


@dataclass(frozen=True, slots=True)
class Wait:
    """Wait for exactly `data`; None: any whole request frame. `line` counts from 1, in all steps."""

    line: int
    data: bytes | None


@dataclass(frozen=True, slots=True)
class Send:
    """`after` seconds later send `data`, `times` over, in pieces of the sizes `cut`, `gap` seconds apart."""

    line: int
    after: float
    data: bytes
    cut: tuple[int, ...] = ()
    gap: float = 0.0
    times: int = 1

    def writes(self) -> Iterator[tuple[float, bytes]]:
        """Each write with the seconds before it."""
        for _ in range(self.times):
            rest, wait = self.data, self.after
            for size in self.cut:
                yield wait, rest[:size]
                rest, wait = rest[size:], self.gap
            yield wait, rest


@dataclass(frozen=True, slots=True)
class Quiet:
    """Say nothing for `after` seconds."""

    line: int
    after: float


@dataclass(frozen=True, slots=True)
class HangUp:
    """The port goes away."""

    line: int


@dataclass(frozen=True, slots=True)
class Relink:
    """`after` seconds later the port is back under its name."""

    line: int
    after: float


Step = Wait | Send | Quiet | HangUp | Relink


@dataclass(frozen=True, slots=True)
class Script:
    """The steps of a script; `name` is its file, for messages."""

    steps: tuple[Step, ...]
    name: str = "script"


def parse_script(text: str, name: str = "script") -> Script:
    """The script in `text`. WrongFaults with every line that is none, one `name:line: sentence` each."""
    steps: list[Step] = []
    faults: list[str] = []
    for number, line in enumerate(text.splitlines(), 1):
        bare = line.partition("#")[0].strip()
        if not bare:
            continue
        try:
            steps.append(_step(bare, number))
        except ValueError as error:
            faults.append(f"{name}:{number}: {error}")
    if faults:
        raise WrongFaults("\n".join(faults))
    return Script(tuple(steps), name)


def read_script(path: Path) -> Script:
    """The script in a file of UTF-8 text; WrongFaults where it cannot be read or is wrong."""
    return parse_script(file_text(path), str(path))


def _step(line: str, number: int) -> Step:
    if line == "HANGUP":
        return HangUp(number)
    if line.startswith(">"):
        wanted = line[1:].strip()
        return Wait(number, None if wanted == "any" else _hex(wanted))
    if found := _SENT.fullmatch(line):
        return _send(number, *found.groups())
    if found := _QUIET.fullmatch(line):
        return Quiet(number, float(found[1]) / 1000)
    if found := _RELINK.fullmatch(line):
        return Relink(number, float(found[1]) / 1000)
    raise ValueError(f"'{shown(line[:40])}' is no line of a script; there are {_FORMS}.")


def _send(
    number: int, after: str, cuts: str | None, gap: str | None, times: str | None, text: str | None
) -> Send:
    data = _hex(text or "")
    cut = tuple(map(int, cuts.split(","))) if cuts else ()
    if 0 in cut or sum(cut) >= len(data):
        raise ValueError(f"pieces of {cuts} bytes and a rest cannot be cut from {len(data)} bytes.")
    if times is not None and int(times) == 0:
        raise ValueError("x0 would send nothing; for that there is '+MS .'.")
    return Send(number, float(after) / 1000, data, cut, float(gap or 0) / 1000, int(times or 1))


def _hex(text: str) -> bytes:
    try:
        data = bytes.fromhex(text)
    except ValueError:
        data = b""
    if not data:
        raise ValueError(f"'{shown(text[:40])}' is not bytes in hex, two digits each, as in 01 03 00 00.")
    return data
