"""Every byte on a line, both ways, with its time: a text file to look at, to send, and to replay.

One line an event, written at once, so that a crash loses none. Its fields are parted by single spaces: UTC,
monotonic seconds, port (spaces in it as %20), `>` sent, `<` received or `=` remark, then the bytes in hex, or
the words of the remark:

    2026-05-04T06:00:00.000Z 512.000310 /dev/ttyUSB0 > 01 03 00 00 00 02 C4 0B
    2026-05-04T06:00:00.021Z 512.021640 /dev/ttyUSB0 < 01 03 04 11 11 22 22 37 B3
"""

import threading
from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path
from typing import Self

from readout.clock import Clock, iso
from readout.errors import ArchiveError, WrongUse


class Way(StrEnum):
    """Which way an event went."""

    SENT = ">"
    RECEIVED = "<"
    REMARK = "="


@dataclass(frozen=True, slots=True)
class Event:
    """One line of a trace. `at` is monotonic seconds; `data` is empty for a remark, `remark` for bytes."""

    utc: str
    at: float
    port: str
    way: Way
    data: bytes = b""
    remark: str = ""


class Trace:
    """Appends to a trace file. May be shared by the lines of several threads."""

    def __init__(self, path: Path, clock: Clock) -> None:
        self._clock = clock
        self._lock = threading.Lock()
        try:
            self._file = path.open("a", encoding="utf-8", buffering=1)
        except OSError as error:
            raise WrongUse(
                f"The trace {path} cannot be written: {error.strerror}. Name another file."
            ) from error

    def sent(self, port: str, data: bytes) -> None:
        """Bytes that were handed to the port."""
        self._write(port, Way.SENT, data.hex(" ").upper())

    def received(self, port: str, data: bytes) -> None:
        """Bytes that arrived together."""
        self._write(port, Way.RECEIVED, data.hex(" ").upper())

    def remark(self, port: str, text: str) -> None:
        """Something worth knowing about the line."""
        self._write(port, Way.REMARK, " ".join(text.split()))

    def _write(self, port: str, way: Way, text: str) -> None:
        at = self._clock.monotonic()
        line = f"{iso(self._clock.utc())} {at:.6f} {port.replace(' ', '%20')} {way} {text}\n"
        with self._lock:
            self._file.write(line)

    def close(self) -> None:
        """No more events."""
        self._file.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()


def read_trace(path: Path) -> Iterator[Event]:
    """The events of a trace, in order. A torn last line is left out; ArchiveError for any other bad line."""
    text = path.read_text(encoding="utf-8")
    lines = text.split("\n")
    for number, line in enumerate(lines[:-1], 1):  # what stands behind the last newline was not finished
        try:
            yield _event(line)
        except ValueError as error:
            raise ArchiveError(f"{path}:{number}: this is no line of a trace: {line[:60]!r}.") from error


def _event(line: str) -> Event:
    utc, at, port, way, rest = line.split(" ", 4)
    found = Way(way)
    port = port.replace("%20", " ")
    if found is Way.REMARK:
        return Event(utc, float(at), port, found, remark=rest)
    return Event(utc, float(at), port, found, data=bytes.fromhex(rest))
