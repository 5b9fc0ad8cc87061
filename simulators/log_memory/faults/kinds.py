"""Each memory fault by its name. The manual's table, in docs/simulated-meters.md, is this one."""

from collections.abc import Mapping
from enum import StrEnum
from typing import NamedTuple


class Fault(StrEnum):
    """Names of memory faults, as they are written."""

    POINTER_IGNORED = "pointer ignored"
    POINTER_MOVES = "pointer moves"
    WINDOW_LAGS = "window lags"
    REPEATS = "repeats"
    REPLY_LOST = "reply lost"
    BUSY = "busy"
    REFUSED = "refused"
    OTHER_VALUE = "other value"
    ERASED = "erased"
    LOCKED = "locked"
    LAYOUT = "layout"
    SUPPLY_CUT = "supply cut"
    CLOCK_STEP = "clock step"
    CLOCK_RESET = "clock reset"
    CLOCK_RIGHT = "clock right"
    INVALID_TIME = "invalid time"
    DUMMY = "dummy"
    DAMAGED_CHECK = "damaged check"
    HALVES = "halves"
    BUSY_WRITING = "busy while writing"
    RUNNING_RECORD = "running record"
    FILE_INNER = "file inner length"
    FILE_OUTER = "file outer length"
    FILE_REFERENCE = "file reference"
    FILE_ZERO = "file zero length"
    QUEUE_COUNT = "queue count"


class Needs(StrEnum):
    """What a map must have for a fault to be played."""

    NOTHING = ""
    POINTER = "a register that says which records are wanted"
    FILES = "records reached by files"
    QUEUE = "records reached by a queue"
    TIME = "records with a time of their own"
    CHECK = "records with a check"
    EMPTY = "a form of an empty record (record: empty)"
    ADVANCE = "a window or queue that moves on by itself"


class Kind(NamedTuple):
    """One fault. `number` says what the number behind its name is, "" where it takes none; `usual` is taken
    where none is given (None: it must be). `recorded`: it strikes record N when it is written, not read."""

    happens: str
    number: str = ""
    usual: float | None = None
    needs: Needs = Needs.NOTHING
    recorded: bool = False
    for_ever: bool = False


KINDS: Mapping[Fault, Kind] = {
    Fault.POINTER_IGNORED: Kind(
        "the write of the number wanted is confirmed, and nothing comes of it", needs=Needs.POINTER
    ),
    Fault.POINTER_MOVES: Kind(
        "another master moves the pointer on, between the write and the read", "records", 1, Needs.POINTER
    ),
    Fault.WINDOW_LAGS: Kind(
        "after the write of the pointer, this many reads still show where it stood before",
        "reads", 2, Needs.POINTER,
    ),
    Fault.REPEATS: Kind("what moves on by itself does not, so that records come twice", needs=Needs.ADVANCE),
    Fault.REPLY_LOST: Kind("the meter does what was asked, moves on, and its reply is lost"),
    Fault.BUSY: Kind("exception 06"),
    Fault.REFUSED: Kind("an exception", "code", 4),
    Fault.OTHER_VALUE: Kind("one value comes wrong, with a check and checksum that fit"),
    Fault.ERASED: Kind("the memory is erased; a meter that was recording begins again at number 0"),
    Fault.LOCKED: Kind("another master holds the memory", "seconds", 300),
    Fault.LAYOUT: Kind("from now on records have another width, new words coming first", "registers"),
    Fault.SUPPLY_CUT: Kind("the meter is without supply", "seconds", 60),
    Fault.CLOCK_STEP: Kind("the meter's clock is put forward, or back", "seconds", recorded=True),
    Fault.CLOCK_RESET: Kind("the meter's clock starts again at 1 January", "year", 2000, recorded=True),
    Fault.CLOCK_RIGHT: Kind("the meter's clock is set to the right time", recorded=True),
    Fault.INVALID_TIME: Kind("the record's time is none", needs=Needs.TIME, recorded=True),
    Fault.DUMMY: Kind("an empty record lies in the place", needs=Needs.EMPTY, recorded=True),
    Fault.DAMAGED_CHECK: Kind("the record's check does not fit, ever", needs=Needs.CHECK, recorded=True),
    Fault.HALVES: Kind(
        "every record is written in two halves, the second so much later", "ms", 50, for_ever=True
    ),
    Fault.BUSY_WRITING: Kind(
        "records cannot be read (exception 06) until so long after each was due", "ms", 50, for_ever=True
    ),
    Fault.RUNNING_RECORD: Kind(
        "the record of the running interval is told of already, and changes until it is over", for_ever=True
    ),
    Fault.FILE_INNER: Kind("a reply's piece counts its registers instead of its bytes", needs=Needs.FILES),
    Fault.FILE_OUTER: Kind("a reply's length is one byte short", needs=Needs.FILES),
    Fault.FILE_REFERENCE: Kind("a reply's reference type is 7", needs=Needs.FILES),
    Fault.FILE_ZERO: Kind("a reply's piece has no length and no data", needs=Needs.FILES),
    Fault.QUEUE_COUNT: Kind("a reply counts one register more than it has", needs=Needs.QUEUE),
}  # fmt: skip


class MemoryFault(NamedTuple):
    """One fault of a plan: `times` it happens (None: for ever), where record `at` is touched (None: any)."""

    fault: Fault
    number: float = 0.0
    at: int | None = None
    times: int | None = 1

    def __str__(self) -> str:
        words = [self.fault.value]
        if KINDS[self.fault].number:
            words.append(f"{self.number:g}")
        if self.times != 1 and not KINDS[self.fault].for_ever:
            words.append("x*" if self.times is None else f"x{self.times}")
        if self.at is not None:
            words.append(f"at {self.at}")
        return " ".join(words)


def fault_table() -> Mapping[str, str]:
    """Each fault as it is written, with its number in capitals, and what happens: the manual's table."""
    found = {}
    for fault, kind in KINDS.items():
        number = f" {kind.number.upper()}" if kind.number else ""
        usual = f" (usually {kind.usual:g})" if kind.usual is not None else ""
        found[f"{fault}{number}"] = kind.happens + usual
    return found
