"""A trace of a real line as a meter: each request is answered as it was then, byte for byte, at its time.

A trace is text, one event a line, its fields parted by single spaces: UTC, monotonic seconds, port (spaces in
it as %20), `>` sent to the meter, `<` received from it or `=` remark, then the bytes in hex, or words.
"""

import bisect
import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from simulators.errors import WrongFaults
from simulators.faults.parse import file_text
from simulators.line.pace import Piece

#: What came so many seconds after the bytes before it answered nobody, and is not replayed.
LONGEST_WAIT = 10.0


@dataclass(frozen=True, slots=True)
class RecordedExchange:
    """One request and all that came until the next: `pieces` with the seconds since the one before each."""

    request: bytes
    pieces: tuple[Piece, ...]


def parse_trace(text: str, file: str = "trace", port: str | None = None) -> tuple[RecordedExchange, ...]:
    """The exchanges in a trace's text, in order; what came before the first request is left out.

    A last line without its end is left out too: the program that wrote it was stopped. `port` chooses one of
    several. WrongFaults for anything else, with `file:line`.
    """
    ports: dict[str, list[tuple[bytes, list[Piece]]]] = {}
    last: dict[str, float] = {}
    for number, line in enumerate(text.split("\n")[:-1], 1):
        try:
            name, at, way, data = _event(line)
        except ValueError as error:
            raise WrongFaults(f"{file}:{number}: {line[:60]!r} is no line of a trace: {error}.") from error
        if way == "=":
            continue
        exchanges = ports.setdefault(name, [])
        if way == ">":
            exchanges.append((data, []))
        elif exchanges and at - last[name] <= LONGEST_WAIT:
            exchanges[-1][1].append(Piece(max(0.0, at - last[name]), data))
        last[name] = at
    names = [name for name, exchanges in ports.items() if exchanges]
    if port is None and len(names) > 1:
        raise WrongFaults(f"{file} has {len(names)} ports: choose one, as in trace:{file}#{names[0]}")
    chosen = ports.get(port if port is not None else names[0] if names else "", [])
    if not chosen:
        raise WrongFaults(f"{file} has no request {'at all' if port is None else f'on the port {port}'}.")
    return tuple(RecordedExchange(request, tuple(pieces)) for request, pieces in chosen)


def read_trace(path: Path, port: str | None = None) -> tuple[RecordedExchange, ...]:
    """The exchanges in a trace file; WrongFaults as `parse_trace`, or where it cannot be read."""
    return parse_trace(file_text(path), str(path), port)


def _event(line: str) -> tuple[str, float, str, bytes]:
    fields = line.split(" ", 4)
    if len(fields) < 5 or fields[3] not in ("<", ">", "="):
        raise ValueError("it has no time, port, way (>, < or =) and bytes")
    _, at, port, way, rest = fields
    if not math.isfinite(float(at)):
        raise ValueError(f"{at} is no time")
    return port.replace("%20", " "), float(at), way, b"" if way == "=" else bytes.fromhex(rest)


class TraceMeter:
    """Answers as in a trace. Unlike a simulated meter it knows no registers, only what was said.

    The exchanges are gone through in their order: a request is answered by its next occurrence, from the
    start again where there is none behind the last one found. A request that never occurs meets silence.
    """

    def __init__(self, exchanges: Sequence[RecordedExchange]) -> None:
        """Start in front of the first exchange."""
        self._exchanges = tuple(exchanges)
        self._places: dict[bytes, list[int]] = {}
        for place, exchange in enumerate(self._exchanges):
            self._places.setdefault(exchange.request, []).append(place)
        self._next = 0
        self._pieces: tuple[Piece, ...] = ()

    def reply(self, frame: bytes) -> bytes | None:
        """See `simulators.line.simulated.Meter`: all that was received then, together."""
        self._pieces = ()
        places = self._places.get(frame)
        if places is None:
            return None
        found = bisect.bisect_left(places, self._next)
        place = places[found if found < len(places) else 0]
        self._next = place + 1
        self._pieces = self._exchanges[place].pieces
        return b"".join(piece.data for piece in self._pieces) or None

    def deliver(self, _: bytes, __: bytes | None) -> Sequence[Piece]:
        """See `simulators.line.Delivery`: the pieces as they came then, at their times."""
        return self._pieces
