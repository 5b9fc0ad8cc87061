"""Whether the meter that answers is the one that belongs to the point: another's rows never get its name."""

from collections.abc import Callable
from dataclasses import dataclass
from enum import Enum, auto
from typing import Any

from readout.bus.outcome import Status
from readout.poll.introduction import Introduction

#: Identity entry that tells one meter from another.
SERIAL_NUMBER = "serial_number"

#: Outcomes in which nothing came that could be trusted: it is still unknown who answers there.
_UNHEARD = frozenset({Status.NO_REPLY, Status.DAMAGED_REPLY, Status.WRONG_REPLY, Status.PORT_LOST})


class Met(Enum):
    """What came of asking a meter who it is."""

    EXPECTED = auto()  # the point's own, or one that cannot be told from it
    OTHER = auto()
    UNHEARD = auto()


@dataclass
class Identity:
    """Who a point's meter must be. `expected` None: whoever answers first.

    `tell` takes events for the ledger, `say` lines for the person; each change is told once.
    """

    point: str
    expected: str | None
    tell: Callable[[dict[str, Any]], None]
    say: Callable[[str], None]
    other: str | None = None

    def judge(self, found: Introduction) -> Met:
        """Compare what the meter told of itself with what is expected."""
        if found.status in _UNHEARD:
            return Met.UNHEARD
        told = found.meter.get(SERIAL_NUMBER)
        serial = None if told is None else str(told)
        if serial is None or self.expected is None or serial == self.expected:
            self.expected = self.expected or serial
            self._back()
            return Met.EXPECTED
        if serial != self.other:
            self.other = serial
            self.tell(
                {"what": "other meter", "point": self.point, "expected": self.expected, "found": serial}
            )
            self.say(
                f"{self.point}: ANOTHER METER answers: serial number {serial} instead of {self.expected}. "
                "Nothing of it is recorded under this point. If the meter was exchanged, write its serial "
                "number into the point file, then `systemctl reload` (SIGHUP) or start again."
            )
        return Met.OTHER

    def _back(self) -> None:
        if self.other is not None:
            self.other = None
            self.tell({"what": "meter back", "point": self.point, "found": self.expected})
            self.say(f"{self.point}: its own meter answers again, serial number {self.expected}")
