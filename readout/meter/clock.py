"""A meter's clock set to the computer's: written as the second begins, and looked at after."""

import math
from dataclasses import dataclass
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import numpy as np

from protocols.modbus.timing import SerialFormat
from protocols.register_map.memory_model import MeterClock
from protocols.register_map.model import Column, Kind, RegisterMap, Value
from protocols.values.decode import Words, decode
from protocols.values.encode import encode
from readout.bus.outcome import Outcome, Status
from readout.clock import Clock
from readout.errors import FellShort, WrongUse
from readout.meter.asking import Meter, refusal, writes

#: How far a clock just set may be from the computer's, beyond what it cannot show [s].
TOLERANCE_S = 1.0
#: Time that is left before the instant of writing, so that nothing has to hurry [s].
AHEAD_S = 0.1
_PARTS_S = {"second": 1, "minute": 60}
_MOMENTS = (Kind.UNIX_TIME, Kind.CALENDAR)


@dataclass(frozen=True, slots=True)
class Shown:
    """What a meter's clock showed: figures as ms since 1970 (None: no time), and meter minus computer [s]."""

    told_ms: int | None
    offset_s: float | None


@dataclass(frozen=True, slots=True)
class ClockSetting:
    """A meter's clock: where it lies, what it shows (`kept`), the site's `zone`, and the line's format."""

    value: Value
    kept: MeterClock
    zone: ZoneInfo
    line: SerialFormat

    @property
    def resolution_s(self) -> int:
        """The finest it shows: 1 s, or 60 s for a calendar without seconds; WrongUse beyond."""
        if self.value.number.kind is not Kind.CALENDAR:
            return 1
        parts = {part for pair in self.value.layout for part in pair}
        found = [_PARTS_S[part] for part in ("second", "minute") if part in parts]
        if not found:
            raise WrongUse(f"{self.value.name} shows neither seconds nor minutes; set it at the meter.")
        return found[0]

    def figures(self, utc: float) -> datetime:
        """What the clock must show at an instant, its figures written as if they were UTC."""
        return datetime.fromtimestamp(utc + ahead_s(self.kept, self.zone, utc), UTC)

    def shown(self, words: dict[Column, int], utc: float) -> Shown:
        """What these words show, read at `utc`."""
        one = {
            column: Words(np.array([word], np.uint16), np.ones(1, np.bool_)) for column, word in words.items()
        }
        found = decode(self.value, one)
        if not found.available[0]:
            return Shown(None, None)
        told_ms = int(found.data[0])
        return Shown(told_ms, round(told_ms / 1000 - self.figures(utc).timestamp(), 3))

    def is_right(self, shown: Shown) -> bool:
        """Whether it agrees with the computer's, as far as it can show."""
        offset = shown.offset_s
        return offset is not None and -(self.resolution_s + TOLERANCE_S) <= offset <= TOLERANCE_S


def ahead_s(kept: MeterClock, zone: ZoneInfo, utc: float) -> int:
    """Seconds by which a right clock's figures are ahead of UTC's at an instant; `zone` is the site's."""
    if kept.offset_s is not None:
        return kept.offset_s
    local = datetime.fromtimestamp(utc, UTC).astimezone(zone).utcoffset()
    return 0 if local is None else round(local.total_seconds())


def kept_by(register_map: RegisterMap) -> MeterClock:
    """What the meter's clock shows: as its log memory says, else UTC."""
    memory = register_map.log_memory
    return MeterClock() if memory is None else memory.clock


def is_moment(setting: Value) -> bool:
    """Whether the setting is a date and time."""
    return setting.number.kind in _MOMENTS


def look(meter: Meter, setting: ClockSetting, clock: Clock) -> Shown:
    """What the meter's clock shows now; raises as `asking.trusted` does."""
    words, outcome = meter.heard(setting.value)
    return setting.shown(words, clock.utc() - (clock.monotonic() - outcome.ended))


def set_now(meter: Meter, setting: ClockSetting, clock: Clock) -> None:
    """Set the clock to the computer's as its next second (or minute) begins; FellShort where it refuses.

    Written once, so that the request's last bit arrives at that instant. Whether it was carried out, also
    where no reply came, is what the clock shows afterwards: `look`.
    """
    step = setting.resolution_s
    requests = writes(dict.fromkeys(setting.value.columns(), 0), meter.wire)
    characters = sum(len(request.pdu()) + 3 for request in requests)
    lead = setting.line.wire_time(characters) + setting.line.silence + meter.wire.pause
    now, since = clock.utc(), clock.monotonic()
    instant = math.ceil((now + lead + AHEAD_S) / step) * step
    words = encode(setting.value, setting.figures(instant))
    clock.sleep_until(since + (instant - lead - now))
    outcome = _written(meter, words)
    if outcome.status is Status.EXCEPTION:
        raise FellShort(refusal(outcome))


def _written(meter: Meter, words: dict[Column, int]) -> Outcome:
    """Each request once; what it did is not read back from its registers, which go on by themselves."""
    for request in writes(words, meter.wire):
        outcome = meter.line.write(meter.unit, request, meter.manners)
        if outcome.status is not Status.OK:
            break
    return outcome
