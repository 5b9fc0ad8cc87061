"""What a map says of recording in the meter: the intervals it takes, and what fetching the records costs."""

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from protocols.log_memory.ways import Reach, estimate
from protocols.modbus.timing import SerialFormat
from protocols.register_map.memory_model import LogMemory
from protocols.register_map.model import Kind, Value, Wire
from protocols.units import Dimension, Quantity, quantity_of
from protocols.values.words import WHOLE_LIMITS
from readout.errors import WrongUse
from readout.plan.blocks import TURNAROUND_GUESS
from readout.plan.endurance import offered_interval

#: The setting that tells how far apart records are.
LOG_INTERVAL = "log_interval"
#: What a meter is taken to offer where its map does not say [s].
TENTH_S = Decimal("0.1")
#: Records whose requests are counted one by one; of more, the same share is taken.
COUNTED = 10_000

_UNIT_S: Mapping[str, Decimal] = {
    "us": Decimal("0.000001"), "ms": Decimal("0.001"), "s": Decimal(1), "min": Decimal(60),
    "h": Decimal(3600), "d": Decimal(86400),
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Intervals:
    """The intervals a meter can record at, in seconds.

    With `steps` only those; without, multiples of `resolution_s` from `shortest_s` to `longest_s` (None: the
    map names no end). `told` is False where the map has no such setting and everything here is assumed.
    """

    steps: tuple[Decimal, ...] = ()
    resolution_s: Decimal = TENTH_S
    shortest_s: Decimal | None = None
    longest_s: Decimal | None = None
    told: bool = True

    def takes(self, interval_s: Fraction) -> bool:
        """Whether the meter can be set to exactly this interval."""
        if self.steps:
            return interval_s in [Fraction(step) for step in self.steps]
        whole = (interval_s / Fraction(self.resolution_s)).denominator == 1
        low = self.shortest_s is None or interval_s >= Fraction(self.shortest_s)
        return whole and low and (self.longest_s is None or interval_s <= Fraction(self.longest_s))

    def no_shorter(self, needed_s: Fraction) -> Fraction:
        """The shortest interval [s] it takes that is no shorter; WrongUse where its longest is too short."""
        needed_s = max(needed_s, Fraction(self.shortest_s or 0))
        if self.steps or self.longest_s is None or needed_s <= Fraction(self.longest_s):
            return offered_interval(needed_s, self.steps, self.resolution_s)
        return offered_interval(needed_s, (self.longest_s,))

    def __str__(self) -> str:
        """As a person reads it: `1, 2, 10, 20 s`, or `every 0.1 s`."""
        if self.steps:
            return f"{', '.join(_plain(step) for step in self.steps)} s"
        ends = [] if self.shortest_s is None else [f"from {_plain(self.shortest_s)} s"]
        ends += [] if self.longest_s is None else [f"up to {_plain(self.longest_s)} s"]
        return " ".join([f"multiples of {_plain(self.resolution_s)} s", *ends])


def intervals_of(setting: Value | None) -> Intervals:
    """What the setting `log_interval` takes; a map without it is taken to offer every tenth of a second."""
    if setting is None:
        return Intervals(told=False)
    words = [quantity_of(word) for word in setting.codes.values()]
    times = [word for word in words if isinstance(word, Quantity) and word.unit.dimension is Dimension.TIME]
    if times:
        return Intervals(tuple(sorted(word.number * _UNIT_S[word.unit.word] for word in times)))
    unit_s = _UNIT_S.get(setting.unit or "s")
    if unit_s is None:
        return Intervals(told=False)
    if setting.steps:
        return Intervals(tuple(sorted(step * unit_s for step in setting.steps)))
    number = setting.number
    low, high = None, None
    resolution = TENTH_S
    if number.kind in WHOLE_LIMITS and number.kind is not Kind.BIT:
        resolution = abs(number.scale) * unit_s
        low, high = resolution, WHOLE_LIMITS[number.kind][1] * resolution
    if setting.range is not None:
        low, high = setting.range.low * unit_s, setting.range.high * unit_s
    return Intervals((), resolution, low, high)


def retrieval_s(memory: LogMemory, wire: Wire, line: SerialFormat, records: int) -> float:
    """Seconds that fetching `records` takes on this line without a fault; the turnaround is a guess."""
    reach = Reach(memory, wire)
    part = min(records, COUNTED)
    pause = max(line.silence, wire.pause)
    found = estimate(reach, [range(part)], line.character_time, pause, TURNAROUND_GUESS)
    return found.seconds * (records / part) if part else 0.0


def setting_of(settings: tuple[Value, ...], name: str) -> Value | None:
    """The setting of that name, None where the map has none."""
    return next((setting for setting in settings if setting.name == name), None)


def memory_of(memory: LogMemory | None, where: str) -> LogMemory:
    """The memory; WrongUse where the map says of none. `where` names the map."""
    if memory is None:
        raise WrongUse(
            f"{where} says nothing of a log_memory: this meter has none, or its map does not tell."
        )
    return memory


def _plain(number: Decimal) -> str:
    return f"{number.normalize():f}"
