"""How often each meter of a line was asked, and what went wrong each time that brought no answer.

An exchange that was made good by asking again ends well, and tells nothing of it; this does. Every sending
counts: repeats, and the short reads that a line asks behind silence.
"""

from dataclasses import dataclass, field


@dataclass(slots=True)
class Tally:
    """Sendings to one meter; `failed` counts by cause those that brought no value that could be trusted.

    A cause is a short name of `protocols.modbus.replies.Cause` or `readout.bus.hearing.manners.Heard`, or
    `exception 06`; of a short read behind silence an exception is no failure. A value that was taken back
    has failed too. A sending that met the loss of the port is not counted.
    """

    requests: int = 0
    failed: dict[str, int] = field(default_factory=dict)


class Tallies:
    """Of one line, by unit address."""

    def __init__(self) -> None:
        self._by_unit: dict[int, Tally] = {}

    def sent(self, unit: int) -> None:
        """One request more."""
        self._of(unit).requests += 1

    def failed(self, unit: int, cause: str, count: int = 1) -> None:
        """So many of its requests failed."""
        failed = self._of(unit).failed
        failed[cause] = failed.get(cause, 0) + count

    def take(self, unit: int) -> Tally | None:
        """What has been counted of a unit since this was called last; None for nothing."""
        return self._by_unit.pop(unit, None)

    def _of(self, unit: int) -> Tally:
        found = self._by_unit.get(unit)
        if found is None:
            found = self._by_unit[unit] = Tally()
        return found
