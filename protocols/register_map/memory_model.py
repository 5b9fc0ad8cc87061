"""The meter's own memory as frozen data: what it holds, who is in it, and the four ways to its records.

Record numbers count from 0, as the meter's `first` and pointer count them. On the wire a number may start
again at 0 (`LogMemory.modulus`); everything here and in `protocols.log_memory` speaks of extended numbers,
which go on. A word inside a record or inside an entry of the sessions table is a `Number` without a table:
its `address` is the field's `at`. All widths are 16-bit registers.
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum

from protocols.modbus.tables import Table
from protocols.register_map.model import WORDS, Kind, Number, Value


class WhenFull(StrEnum):
    """What the meter does once `capacity` records are stored."""

    STOP = "stop"
    OVERWRITE = "overwrite oldest"


class AfterPowerLoss(StrEnum):
    """What recording does when the supply comes back."""

    RESUMES = "resumes"
    NEW_SESSION = "new session"
    STOPS = "stops"


class Holds(StrEnum):
    """What a record's values are of their interval."""

    SAMPLE = "sample"
    MEAN = "mean"
    MINIMUM = "minimum"
    MAXIMUM = "maximum"
    TOTAL = "total"


class MarkedAt(StrEnum):
    """Which end of its interval a record's time is."""

    START = "start"
    END = "end"


class Empty(StrEnum):
    """Forms of a record that is none: every word 0000, or every word FFFF."""

    ALL_ZEROS = "all zeros"
    ALL_ONES = "all ones"

    @property
    def word(self) -> int:
        """The register every word of such a record holds."""
        return 0 if self is Empty.ALL_ZEROS else 0xFFFF


class Counts(StrEnum):
    """What the record number of function 20 counts in this meter."""

    REGISTERS = "registers"
    RECORDS = "records"


@dataclass(frozen=True, slots=True)
class MeterClock:
    """What the meter's clock shows: `utc`, `site` (the site's zone, summer time and all) or `+01:00`."""

    zone: str = "utc"

    @property
    def offset_s(self) -> int | None:
        """Seconds ahead of UTC; None for a clock that follows the site's zone."""
        if self.zone == "utc":
            return 0
        found = re.fullmatch(r"([+-])(\d\d):(\d\d)", self.zone)
        if found is None:
            return None
        sign, hours, minutes = found.groups()
        return (int(hours) * 3600 + int(minutes) * 60) * (1 if sign == "+" else -1)


@dataclass(frozen=True, slots=True)
class Place:
    """Registers from one address of one table on."""

    table: Table
    address: int


@dataclass(frozen=True, slots=True)
class Lock:
    """A holding register that opens the memory for one port.

    `open` and `close` are written to it; it reads `busy` while another port holds it (None: the map does not
    say). Closed, the memory answers exception 06.
    """

    register: Number
    open: int
    close: int
    busy: int | None = None


@dataclass(frozen=True, slots=True)
class SessionTable:
    """Where the meter lists its sessions, oldest first.

    `count` tells how many entries there are, `most` how many there can be (None: not said). Entry i begins
    at `table.address` + i × `registers`; `fields` lie in it at their `at`: `started` (a moment), `interval`
    (a time), `records` (a count), `first` (number of its first record).
    """

    count: Number
    table: Place
    registers: int
    fields: Mapping[str, Value]
    most: int | None = None

    @property
    def records(self) -> Value:
        """How many records a session has; every table tells it."""
        return self.fields["records"]


@dataclass(frozen=True, slots=True)
class Record:
    """One record: its width and its fields.

    `registers` is the width the map describes: as stated, else up to the end of the last field. `told` is a
    register in which the meter tells the width, None where it has none: any other number than `registers`
    there is another layout, unless the map states no width (`stated` False), when wider records are taken
    too and their further words kept raw.
    """

    registers: int
    fields: tuple[Value, ...]
    told: Number | None = None
    stated: bool = True
    empty: tuple[Empty, ...] = ()

    def field(self, name: str) -> Value | None:
        """The field of that name, None where the record has none."""
        return next((field for field in self.fields if field.name == name), None)

    @property
    def number(self) -> Value | None:
        """The record's own number."""
        return self.field("number")

    @property
    def time(self) -> Value | None:
        """The record's own time, by the meter's clock."""
        return self.field("time")

    @property
    def check(self) -> Value | None:
        """The record's own checksum over the words before it."""
        return self.field("check")

    @property
    def values(self) -> tuple[Value, ...]:
        """The measured values: every field without a meaning of its own."""
        return tuple(field for field in self.fields if field.name not in ("number", "time", "check"))


@dataclass(frozen=True, slots=True)
class ByWindow:
    """Write the number of a record to `pointer`, read up to `records` records from `data` on.

    `echo` tells, in the same read, the number of the first record in the window; where the map names none,
    the pointer itself serves if one read can hold it too. `write_and_read`: function 23 does both at once.
    `advance`: reading the window's last register moves pointer and window on by `records`.
    """

    pointer: Number
    data: Place
    records: int
    echo: Number | None = None
    write_and_read: bool = False
    advance: bool = False


@dataclass(frozen=True, slots=True)
class ByRegisters:
    """Record n lies at `data` + (n mod `records_per_bank`) × registers of bank n div `records_per_bank`.

    `bank` None: all records lie at addresses of their own.
    """

    data: Place
    bank: Number | None = None
    records_per_bank: int | None = None


@dataclass(frozen=True, slots=True)
class ByFiles:
    """Function 20: record n is in file `first_file` + n div `records_per_file`.

    Its record number there is n mod `records_per_file`, times the record's registers unless the file
    `counts` records.
    """

    first_file: int
    records_per_file: int
    counts: Counts = Counts.REGISTERS


@dataclass(frozen=True, slots=True)
class ByQueue:
    """Function 24 at `address`: whole records, at most 31 registers a reply.

    `next_wanted` takes the number of the first record wanted, before every request. Without it the queue
    moves on by itself with every read.
    """

    address: int
    next_wanted: Number | None = None

    @property
    def advance(self) -> bool:
        """Whether every read takes records out of the queue."""
        return self.next_wanted is None


Way = ByWindow | ByRegisters | ByFiles | ByQueue


@dataclass(frozen=True, slots=True)
class LogMemory:
    """Everything a map says of the meter's memory.

    `recording` has the codes `idle` and `recording`, and may have `erase`; `command` takes those words where
    another register than `recording` does. `oldest` and `next` are the numbers of the oldest
    record held and of the one written next; `count` how many are held, which tells an empty memory from one
    that has gone round exactly. `interval` and `started` of a memory without sessions are settings of the
    map, or not known.
    """

    capacity: int
    record: Record
    reached_by: Way
    when_full: WhenFull = WhenFull.STOP
    after_power_loss: AfterPowerLoss | None = None
    holds: Holds | None = None
    marked_at: MarkedAt = MarkedAt.START
    clock: MeterClock = MeterClock()
    recording: Value | None = None
    command: Value | None = None
    oldest: Number | None = None
    next: Number | None = None
    count: Number | None = None
    number_wraps_at: int | None = None
    lock: Lock | None = None
    sessions: SessionTable | None = None

    @property
    def is_ring(self) -> bool:
        """Whether new records overwrite the oldest."""
        return self.when_full is WhenFull.OVERWRITE

    def modulus(self, number: Number) -> int:
        """The number at which this register's count of records starts again at 0.

        `number_wraps_at` where the map says it, but never more than the register's own width.
        """
        digits = {Kind.BCD16: 10**4, Kind.BCD32: 10**8}
        width = digits.get(number.kind) or 1 << (16 * WORDS.get(number.kind, number.words))
        return min(width, self.number_wraps_at or width)
