"""What the journal holds, as values."""

import json
from dataclasses import dataclass
from datetime import date

#: What `Row.clock` says where the computer's clock had not been set.
UNSET = "unset"


@dataclass(frozen=True, slots=True)
class Row:
    """One scheduled round of one point, or one record of a meter's memory: raw, not yet decoded.

    `words` holds one unsigned 16-bit number a column of the plan, low byte first, zero where nothing
    came. `present` has one bit a column: bit i mod 8 of byte i div 8, lowest bit first.
    """

    point: str
    source: str  # live | memory
    plan: str  # id of a plan: SHA-256 of its text
    due: int  # scheduled, ms since 1970 UTC
    time: int | None  # reply complete, ms since 1970 UTC; None where nothing came
    clock: str  # what the computer's clock was worth: synchronised | unsynchronised | unset
    status: str
    cause: str = ""
    words: bytes = b""
    present: bytes = b""
    sequence: int = 0  # from 1 per point and source; 0 = the writer gives it
    boot: str = ""  # which start of the computer; "" where it is not known
    since_boot: int | None = None  # `due` by the clock that counts from that start, ms; it never steps
    shifted: int | None = None  # ms added to `due` and `time` once the clock had been set

    @property
    def is_timed(self) -> bool:
        """Whether `due` and `time` can be believed: the clock was set, or they were put right since."""
        return self.clock != UNSET or self.shifted is not None


@dataclass(frozen=True, slots=True)
class Stretch:
    """Neighbouring rows of one point and source that share plan and UTC date of `due`: one file to be.

    Rows whose time will never be known share the date that the caller of `Journal.stretches` gives.

    Neighbouring by sequence: where a stepped clock crosses midnight twice there are three stretches, so
    that the sequence ranges of two files never overlap.
    """

    point: str
    source: str
    plan: str
    date: date
    first: int  # sequence
    last: int  # sequence
    rows: int


@dataclass(frozen=True, slots=True)
class Intent:
    """New files lie flushed aside; their rename, their ledger line and what follows it are still to come.

    What follows is the journal's cut, or, where the line has `replaces`, those files' way to superseded/.
    """

    file: str  # final name of the first new file, relative to the archive, with /
    aside: str  # its name below temporary/
    sha256: str  # its
    point: str
    source: str
    first: int  # sequence
    last: int  # sequence
    line: str  # JSON object: what the ledger is to say, with its kind

    def new_files(self) -> dict[str, str]:
        """Final name → SHA-256 of every new file: the line's `files`, or the one there is."""
        several = json.loads(self.line).get("files")
        return {self.file: self.sha256} if several is None else {f["file"]: f["sha256"] for f in several}

    def replaced_files(self) -> list[str]:
        """The names of the files whose place they take; empty for rows from the journal."""
        return list(json.loads(self.line).get("replaces", ()))
