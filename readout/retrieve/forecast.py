"""How much there is to fetch, and how long it will take: before the first record, and while they come."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

from protocols.log_memory.numbers import memory_modulus, without
from protocols.log_memory.state import MemoryState
from protocols.log_memory.walk.account import Known
from protocols.log_memory.ways import Estimate, Reach, estimate
from protocols.modbus.timing import SerialFormat
from protocols.register_map.memory_model import LogMemory
from readout.retrieve.length import Cost

#: A meter's turnaround until one was measured [s].
TURNAROUND_S = 0.005
#: The share of a new measurement in the running mean of the rate.
NEWEST = 0.02


def wanted(memory: LogMemory, state: MemoryState, known: Iterable[Known]) -> list[range]:
    """The records the meter tells of and that are not known, as extended numbers, session by session."""
    held = {one.started_ms: one for one in known}
    modulus, found, end = memory_modulus(memory), [], 0
    for session in state.all_sessions(memory) or ():
        mine = held.get(session.started_ms, Known(session.started_ms, ()))
        after = mine.end
        if memory.is_ring or memory.number_wraps_at is not None:
            after = max(after, end + session.records)
        numbers = session.range_after(after, modulus)
        found += without(numbers, mine.ranges)
        end = numbers.stop
    return found


@dataclass
class LineCost:
    """What an exchange costs on this line; `turnaround_s` is the median of what was measured."""

    fmt: SerialFormat
    pause_s: float
    _measured: list[float] = field(default_factory=list)

    @property
    def silence_s(self) -> float:
        """Silence before a request: 3.5 characters, or the meter's own pause."""
        return max(self.fmt.silence, self.pause_s)

    def measure(self, characters: int, seconds: float) -> None:
        """One good exchange, from its sending to its last byte."""
        self._measured.append(max(0.0, seconds - self.fmt.wire_time(characters)))
        del self._measured[:-51]

    @property
    def turnaround_s(self) -> float:
        """Seconds a meter needs between request and reply."""
        if not self._measured:
            return TURNAROUND_S
        return sorted(self._measured)[len(self._measured) // 2]

    def of(self, reach: Reach, records: int) -> Cost:
        """Reading some records once, pointer and proof included; a bank, which many reads share, is not."""
        one, two = (
            estimate(
                reach, [range(count * records)], self.fmt.character_time, self.silence_s, self.turnaround_s,
                records,
            )
            for count in (1, 2)
        )  # fmt: skip
        return Cost(records * reach.registers * 2 + 5, two.seconds - one.seconds)

    def whole(self, reach: Reach, ranges: Sequence[range]) -> Estimate:
        """Fetching all these without a fault."""
        return estimate(reach, ranges, self.fmt.character_time, self.silence_s, self.turnaround_s)


@dataclass(frozen=True, slots=True)
class Progress:
    """How far a retrieval is. `records` of `total` came; `total` None where the meter does not tell.

    `rate` in records/s as lately measured, `left_s` what is still to come; None before anything came.
    `records_per_read` is how many are asked for at once now.
    """

    records: int
    total: int | None
    rate: float | None
    left_s: float | None
    records_per_read: int


@dataclass
class Pace:
    """The rate at which records come, over the last minutes; `now` in monotonic seconds."""

    total: int | None
    begun: float
    records: int = 0
    _seconds: float = 0.0
    _counted: float = 0.0
    _last: float | None = None

    def came(self, records: int, now: float) -> None:
        """Some records were kept."""
        since = self.begun if self._last is None else self._last
        self._last = now
        self.records += records
        keep = 1.0 if self.records == records else 1 - NEWEST
        self._seconds = self._seconds * keep + (now - since)
        self._counted = self._counted * keep + records

    def progress(self, records_per_read: int) -> Progress:
        """As of the last records."""
        rate = self._counted / self._seconds if self._seconds > 0 else None
        left = None
        if rate and self.total is not None:
            left = max(0, self.total - self.records) / rate
        total = None if self.total is None else max(self.total, self.records)  # the meter goes on recording
        return Progress(self.records, total, rate, left, records_per_read)
