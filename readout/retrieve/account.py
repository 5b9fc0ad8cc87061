"""The account of one retrieval, as the contract's JSON and for the ledger."""

from dataclasses import dataclass, field
from typing import Any

from protocols.log_memory.walk.account import Statement
from protocols.log_memory.walk.reading import Cause, Problem


@dataclass(frozen=True, slots=True)
class MissingRecords:
    """Records `first` to `last` of a session, counted as the archive counts, that were not had, and why."""

    session: int
    first: int
    last: int
    cause: str
    text: str = ""

    @property
    def count(self) -> int:
        """How many."""
        return self.last - self.first + 1


@dataclass(frozen=True, slots=True)
class ChangedRecord:
    """A record that read otherwise than it is kept; the kept one stays."""

    session: int
    record: int
    kept: tuple[int, ...]
    read: tuple[int, ...]


@dataclass
class Retrieved:
    """What a retrieval brought. Record numbers are extended, session numbers the archive's.

    Of the records in the meter (`expected`, without empty places and the one of the running interval):
    `known` were archived before, `new` are archived now, the rest is in `gaps`. `reread` were asked for
    although known, `changed` are those of them that differ; `unfitting` are new ones whose own check does
    not fit. `ended` is why it stopped before its end; `interrupted`: somebody asked for it.
    """

    sessions: int = 0
    expected: int = 0
    known: int = 0
    new: int = 0
    reread: int = 0
    dummies: int = 0
    unfinished: int = 0
    restarted: int = 0
    unfitting: list[tuple[int, int]] = field(default_factory=list)
    changed: list[ChangedRecord] = field(default_factory=list)
    gaps: list[MissingRecords] = field(default_factory=list)
    ended: Problem | None = None
    interrupted: bool = False
    heard: bool = False  # some reply that could be trusted came
    refused: str = ""  # the last sentence of a reply that brought nothing
    requests: int = 0
    writes: int = 0
    damaged: int = 0  # replies that came and could not be trusted

    @property
    def complete(self) -> bool:
        """Whether nothing fell short."""
        return not (self.gaps or self.changed or self.unfitting or self.ended or self.interrupted)

    def state(self, statement: Statement, sessions: dict[int, int]) -> None:
        """Take over what the walker counted; `sessions` are the archive's numbers of the meter's list."""
        self.unfinished = statement.unfinished
        self.expected = statement.expected - statement.dummies - statement.unfinished
        self.ended = statement.ended
        for gap in statement.gaps:
            number = sessions.get(gap.session, gap.session + 1)
            self.gaps.append(MissingRecords(number, gap.first, gap.last, str(gap.cause), gap.text))

    def lost(self, cause: Cause) -> int:
        """Records in gaps with that cause."""
        return sum(gap.count for gap in self.gaps if gap.cause == cause)

    def as_json(
        self, flagged: int, first: str | None, last: str | None, offset_s: float | None
    ) -> dict[str, Any]:
        """The contract's document; `first` and `last` are ISO times of what the archive now holds."""
        return {
            "sessions": self.sessions,
            "expected": self.expected,
            "records_read": self.new + self.reread,
            "records_new": self.new,
            "records_known": self.known,
            "records_reread": self.reread,
            "records_changed": len(self.changed),
            "records_flagged": flagged,
            "gaps": [
                {"session": gap.session, "first": gap.first, "last": gap.last, "cause": gap.cause}
                for gap in self.gaps
            ],
            "first": first,
            "last": last,
            "clock_offset_s": offset_s,
        }
